// As built: shots on the laid pipe held against the plan by the service, shown
// on the plan, along the section and as a table.

import type { Built, BuiltRun, XY } from './answers';
import type { BuiltMarks } from './board';
import { $, button, choice, el, facts, input, reason, table, tell, words } from './dom';
import { part, pointAt } from './plane';
import { setProfile, short, showWalk, stand } from './plan';
import * as service from './service';
import { board, change, criteria, profiles, site, state } from './state';
import * as u from './units';
import { runsOf } from './walk';

/** A file of points is taken for shots on the pipe where a plan is shown and the reader says so. */
export async function takeShots(f: File): Promise<boolean> {
  if (!state.plan) return false;
  const text = await f.text();
  // a table of areas is no point file
  if (/\b(POLYGON|LINESTRING|MULTI)/.test(text.slice(0, 4000))) return false;
  const ask = $<HTMLDialogElement>('shotsAsk');
  $('shotsName').textContent = f.name;
  choice('shotsUnit').value = state.edits.shots?.unit ?? (u.isUS() ? 'ft' : 'm');
  ask.returnValue = ''; ask.showModal();
  await new Promise(done => { ask.onclose = done; });
  if (ask.returnValue === 'layer') return false;
  if (ask.returnValue === 'built') setShots(text, choice('shotsUnit').value);
  return true;
}
function setShots(text: string, unit: string): void {
  $<HTMLDetailsElement>('builtBox').open = true;
  change({ ...state.edits, shots: text.trim() ? { text, unit } : null }, () => void fitBuilt());
}

let asked: AbortController | null = null;
/** Another site: an answer that is on its way is not wanted. */
export function stopShots(): void { asked?.abort(); asked = null; }
/** Asks the service again: the shots or the plan have changed. */
export async function fitBuilt(): Promise<void> {
  stopShots();
  const s = state.edits.shots, plan = state.plan;
  if (!s || !plan) { if (state.built || board.built) { state.built = null; board.setBuilt(null); showWalk(); } show(); return; }
  const mine = asked = new AbortController();
  $('built').replaceChildren(el('p', 'help', 'The service holds the shots against the plan…'));
  try {
    const got: Built = await service.execute('asbuilt', site(), { lots: [state.lot], plan, ...criteria(), shots: s.text, options: { shot_unit: s.unit } }, mine.signal);
    if (mine.signal.aborted) return;
    state.built = got;
    board.setBuilt(marks(got));
    showWalk(); show(); standAtWorst(got);
  } catch (e) {
    if (mine.signal.aborted) return;
    state.built = null; board.setBuilt(null); showWalk();
    const faults = e instanceof service.Refusal ? e.faults.map(f => String(f.detail ?? '')).filter(Boolean).slice(0, 5) : [];
    $('built').replaceChildren(el('p', 'told stop', `The shots were not read: ${reason(e)}`), ...faults.map(f => el('p', '', f)), el('p', 'help', 'They are kept below; put them right and hold them against the plan again.'));
  }
}

/** The walk goes to where most water stands. */
function standAtWorst(b: Built): void {
  const worst = (b.runs ?? []).flatMap(r => (r.pools ?? []).map(p => ({ run: r.run, at: p.at_m, depth: p.depth_m }))).sort((x, y) => y.depth - x.depth)[0];
  const k = worst ? profiles().findIndex(p => (p.runs ?? []).includes(worst.run)) : -1, p = profiles()[k];
  if (!worst || !p || !state.plan) return;
  let along = worst.at;
  for (const r of runsOf(state.plan, p)) { if (r.properties!.run === worst.run) break; along += r.properties!.length_m ?? 0; }
  setProfile(k);
  let best = 0;
  state.rows.forEach((s, i) => { if (Math.abs(s.station_m - along) < Math.abs(state.rows[best]!.station_m - along)) best = i; });
  stand(best, false);
}

const lineOf = (run: string): XY[] => {
  const f = (state.plan?.network?.features ?? []).find(n => n.properties?.run === run);
  return f?.geometry?.type === 'LineString' ? f.geometry.coordinates.map((p: number[]) => state.plane!.toPlane(p)) : [];
};
/** The stretches of a run that hold water or rise downstream. */
function troubles(r: BuiltRun): { from: number; to: number; text: string }[] {
  const pools = (r.pools ?? []).map(p => ({ from: p.from_m, to: p.to_m, text: `${words(p.code)}: water stands ${u.depth(p.depth_m)}` }));
  if (pools.length) return pools;
  // neighbouring stretches that rise are told as one
  const rises: { from: number; to: number; rise: number }[] = [];
  for (const s of r.stretches ?? []) {
    const last = rises[rises.length - 1];
    if (s.fall_m >= 0) continue;
    if (last && Math.abs(last.to - s.from_m) < 0.01) { last.to = s.to_m; last.rise -= s.fall_m; } else rises.push({ from: s.from_m, to: s.to_m, rise: -s.fall_m });
  }
  return rises.map(s => ({ from: s.from, to: s.to, text: `rises ${u.depth(s.rise)} downstream` }));
}
function marks(b: Built): BuiltMarks {
  const out: BuiltMarks = { shots: [], stretches: [] };
  for (const r of b.runs ?? []) {
    const line = lineOf(r.run);
    if (line.length < 2) continue;
    for (const l of r.levels ?? []) { const at = pointAt(line, l.station_m); if (at) out.shots.push({ at, text: l.shot, bad: l.standing_m > 0.0005 }); }
    for (const t of troubles(r)) { const piece = part(line, Math.max(0, t.from), Math.min(t.to, r.length_m)); if (piece.length > 1) out.stretches.push({ line: piece, text: `${r.run} ${t.text}` }); }
  }
  return out;
}

function show(): void {
  const b = state.built, at = $('built'), s = state.edits.shots;
  $<HTMLTextAreaElement>('shotsText').value = s?.text ?? '';
  if (s) choice('shotsUnitNow').value = s.unit;
  fillRuns();
  if (!b) { at.replaceChildren(el('p', 'help', state.plan ? 'Choose a file of points, or add shots below.' : 'Plan a lot first: the shots are held against its plan.')); return; }
  const shot = (b.runs ?? []).filter(r => (r.levels ?? []).length);
  const head: [string, string][] = [['As laid', short(b.verdict)]];
  if (b.why_not) head.push(['Why not', u.text(b.why_not)]);
  if (b.cure) head.push(['Cure', u.text(b.cure)]);
  if (b.shift_m != null) head.push(['Taken out of all levels', u.depth(b.shift_m)]);
  const sign: Record<string, string> = { stop: '■', warn: '▲', note: '○' }, order: Record<string, number> = { stop: 0, warn: 1, note: 2 };
  const findings = el('ul', 'plainList');
  for (const f of [...(b.findings ?? [])].sort((x, y) => (order[x.severity] ?? 3) - (order[y.severity] ?? 3)).slice(0, 60)) findings.append(el('li', f.severity, `${sign[f.severity] ?? '○'} ${words(f.severity)}: ${u.text(f.message)}${f.cure ? ' ' + u.text(f.cure) : ''}`));
  at.replaceChildren(facts(head), findings,
    ...(shot.length ? [table(['Run', 'Shots', 'Planned', 'Laid', 'Flattest', 'Off grade', 'Beside the line', 'Least cover', 'Water left'], shot.map(r => [`${r.run} ${r.from}–${r.to}`, String((r.levels ?? []).length), u.slope(r.planned_slope), u.slope(r.slope), u.slope(r.flattest_slope), u.off(r.greatest_off_m), u.depth(r.greatest_beside_m), u.depth(r.least_cover_m), r.standing_m3 > 0 ? u.water(r.standing_m3) : 'none']), 'Laid pipe against the plan')] : []),
    ...shot.flatMap(r => troubles(r).length ? [table(['Shot', 'Along', 'Laid', 'Planned', 'Off', 'Beside', 'Water left'], (r.levels ?? []).map(l => [l.shot, u.length(l.station_m), u.elevation(l.invert_m), u.elevation(l.planned_m), u.off(l.off_m), u.depth(l.beside_m), l.standing_m > 0.0005 ? u.depth(l.standing_m) : '']), `Shots on ${r.run}`)] : []));
}
function fillRuns(): void {
  const select = choice('shotRun'), was = select.value, runs = (state.plan?.network?.features ?? []).flatMap(f => f.properties?.run ? [f.properties] : []);
  select.replaceChildren(...runs.map(r => new Option(`${r.run} ${r.from}–${r.to}`, String(r.run))));
  if (runs.some(r => String(r.run) === was)) select.value = was;
}

export function startBuilt(): void {
  input('shotsFile').onchange = async () => { const f = input('shotsFile').files?.[0]; input('shotsFile').value = ''; if (f && state.plan) setShots(await f.text(), choice('shotsUnitNow').value); else if (f) tell('Plan the lot first: the shots are held against its plan.'); };
  $<HTMLFormElement>('shotsForm').onsubmit = e => { e.preventDefault(); setShots($<HTMLTextAreaElement>('shotsText').value, choice('shotsUnitNow').value); };
  button('shotsOff').onclick = () => { if (state.edits.shots) change({ ...state.edits, shots: null }, () => void fitBuilt()); };
  // one shot by hand: the place is read off the planned run, the level is what the rod said
  $<HTMLFormElement>('shotForm').onsubmit = e => {
    e.preventDefault();
    const run = choice('shotRun').value, along = Number(input('shotAlong').value), z = Number(input('shotLevel').value), line = lineOf(run);
    if (line.length < 2 || !state.plane || input('shotLevel').value.trim() === '' || !Number.isFinite(z) || !(along >= 0)) { tell('A shot needs the run, how far along it from its upper end, and the level of the invert.'); return; }
    const long = state.plan?.network?.features.find(f => f.properties?.run === run)?.properties?.length_m ?? 0, at = pointAt(line, u.typedLength(along));
    if (!at || u.typedLength(along) > long + 0.05) { tell(`${run} is not so long.`); return; }
    const d = state.plane.toDoc(at), unit = state.edits.shots?.unit ?? (u.isUS() ? 'ft' : 'm'), had = (state.edits.shots?.text ?? '').replace(/\s*$/, '');
    const level = u.typedLength(z) / ({ ft: 0.3048, us_ft: 1200 / 3937 }[unit] ?? 1); // what was typed is in feet or metres, the file in its own unit
    setShots(`${had}${had ? '\n' : ''}${had ? had.split('\n').length + 1 : 1},${d[1]},${d[0]},${+level.toFixed(4)},INV ${run}\n`, unit);
    input('shotLevel').value = ''; input('shotAlong').focus();
  };
  $('builtBox').addEventListener('toggle', show);
}
