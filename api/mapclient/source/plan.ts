// Planning and showing the plan: the verdict, the walk, the findings.

import type { Plan, Zone } from './answers';
import { placeOf } from './over';
import { $, act, button, choice, el, reason, refuse, say, tell, words } from './dom';
import * as service from './service';
import { features, noEdits, untouched, type Edits } from './site';
import { board, change, criteria, leaveLot, profiles, site, state } from './state';
import { check, grips } from './draw';
import { share } from './open';
import { dirty, openRun, short } from './panels';
import { fitBuilt } from './built';
import { drawSection, fillCard, shotLevels, stations, type ShotLevel } from './walk';
import * as u from './units';

export function choose(lot: string): void {
  if (!state.doc || !lot) { if (!state.large) choice('lot').value = state.lot; return; }
  const same = state.lot === lot, first = state.lot === '';
  state.lot = lot;
  if (!state.large) choice('lot').value = lot;
  if (!same) { state.base = null; state.plan = null; state.built = null; if (!first) leaveLot(); board.setZone(null); board.setGround(null); board.setBuilt(null); }
  board.setPlan(state.plan, lot); grips(); share();
  if (!same) board.fitLot();
  void replan();
  if (state.edits.route.length > 1) void check(true);
}

let running: AbortController | null = null;
/** Another site: a plan that is on its way is not wanted. */
export function stopPlanning(): void { running?.abort(); running = null; }
export async function replan(): Promise<void> {
  if (!state.lot) { showVerdict(); return; }
  stopPlanning(); running = new AbortController();
  const signal = running.signal, { lot, edits: e } = state, doc = site(e), c = criteria(), more = { lots: [lot], ...c };
  say('Planning', `The service is planning lot ${lot}…`, 'busy');
  try {
    const zone = service.execute('zone', doc, more, signal).then((z: Zone) => { if (!signal.aborted) board.setZone(z); });
    zone.catch(() => { if (!signal.aborted) board.setZone(null); });
    const options = { ...(e.outlet ? { outlet: e.outlet } : {}), ...(e.what.tilt ? { what_if: [{ key: 'ground.tilt', value: e.what.tilt }] } : {}) };
    const plan: Plan = await service.execute('plan', doc, { ...more, ...(Object.keys(options).length ? { options } : {}) }, signal);
    if (signal.aborted) return;
    zone.catch(e => { if (!signal.aborted) tell(`The trench zone is not drawn: ${reason(e)}`); });
    void look(doc, lot, signal);
    const fresh = !state.plan;
    state.plan = plan;
    if (!Object.keys(c).length && untouched(e) && !e.outlet) state.base = plan;
    showCautions(plan.cautions);
    showPlan(fresh);
    void fitBuilt();
  } catch (err) {
    if (signal.aborted) return;
    state.plan = null; showPlan(); void fitBuilt();
    refuse(err, `Lot ${lot} is not planned`);
    say('No plan', reason(err), 'stop', replanAndCheck);
  }
}

/** The ground round the lot; a site without any is drawn without. */
async function look(doc: service.SiteInput, lot: string, signal: AbortSignal): Promise<void> {
  if (!state.large && !state.doc!.terrain && !['spots', 'breaklines', 'contours', 'swales'].some(l => features(state.doc, l).length)) { board.setGround(null); return; }
  try {
    const got = await service.execute('ground', doc, { lots: [lot] }, signal);
    if (!signal.aborted && state.lot === lot) board.setGround(got);
  } catch (e) {
    if (signal.aborted) return;
    board.setGround(null);
    if (!(e instanceof service.Refusal && e.faults.some(f => f.slug === 'ground-missing'))) tell(`The ground is not drawn: ${reason(e)}`);
  }
}

/** A quick plan while something is dragged: one at a time, the newest waits. The full plan follows on release. */
let quickRunning = false, quickNext: Edits | null = null;
export async function livePlan(e: Edits): Promise<void> {
  if (!state.lot) return;
  if (quickRunning) { quickNext = e; return; }
  quickRunning = true;
  const before = state.edits, lot = state.lot;
  try {
    const plan: Plan = await service.execute('plan', site(e), { lots: [lot], options: { quick: true, ...(e.outlet ? { outlet: e.outlet } : {}) }, ...criteria(e.what) });
    if (state.edits === before && state.lot === lot) { state.plan = plan; showPlan(); }
  } catch (err) { if (state.edits === before) tell(reason(err)); } finally {
    quickRunning = false;
    if (quickNext) { const n = quickNext; quickNext = null; if (state.edits === before) void livePlan(n); }
  }
}

const verdictWords: Record<string, string> = { feasible: 'Feasible by the numbers', not_proven: 'Not proven', not_feasible: 'Not feasible' };
export function showVerdict(): void {
  const s = state.plan?.summary;
  if (!s) { if (state.doc) say(state.name, state.large ? 'Click a lot or type its name above to plan it.' : 'Click a lot or choose it above to plan it.'); return; }
  const numbers = s.length_m ? [`${u.length(s.length_m)} of pipe`, s.outlet ? `to ${s.outlet}` : '', s.fall_m == null ? '' : `falling ${u.depth(s.fall_m)}`, s.flow_m3s == null ? '' : `${u.flow(s.flow_m3s)}`, s.greatest_depth_m == null ? '' : `deepest ${u.depth(s.greatest_depth_m)}`].filter(Boolean).join(', ') + '. ' : '';
  const checks = state.plan?.verification, bare = !state.large && state.plan?.findings?.some(f => f.code === 'nothing_to_drain') ? 'Add things (key T) puts them on the plan. ' : '';
  const judged = checks?.passed ? `Checked by the second program: ${checks.checks.length} checks hold. ` : '';
  say(`Lot ${state.lot}: ${verdictWords[s.verdict] ?? words(s.verdict)}`, `${numbers}${s.why_not ? u.text(s.why_not) + ' ' : ''}${s.cure ? u.text(s.cure) + ' ' : ''}${bare}${judged}Preliminary.`, s.verdict === 'feasible' ? 'good' : s.verdict === 'not_proven' ? 'unsure' : 'stop');
}

export function showPlan(fresh = false): void {
  const plan = state.plan;
  showVerdict();
  board.setPlan(plan, state.lot);
  if (fresh) board.fitLot();
  for (const id of ['savePlan', 'saveNetwork']) button(id).disabled = !plan;
  for (const b of document.querySelectorAll<HTMLButtonElement>('#papers button')) b.disabled = !plan;
  showWalk(fresh);
  showFindings(fresh);
  dirty();
}

// --- the walk -------------------------------------------------------------------

let shots: ShotLevel[] = [];
export function showWalk(fresh = false): void {
  const all = profiles(), select = choice('profile');
  const longest = all.reduce((best, p, i) => ((p.rows.at(-1)?.station_m ?? 0) > (all[best]?.rows.at(-1)?.station_m ?? -1) ? i : best), 0);
  const was = fresh ? -1 : all.findIndex(p => p.from === select.value);
  select.replaceChildren(...all.map(p => new Option(`${p.from} to ${p.to}`, p.from)));
  select.disabled = !all.length;
  setProfile(was >= 0 ? was : longest);
  stand(Math.min(was >= 0 ? state.station : 0, Math.max(0, state.rows.length - 1)), false);
}
export function setProfile(i: number): void {
  const p = profiles()[i];
  state.profile = i; state.rows = stations(p);
  if (p) choice('profile').selectedIndex = i;
  shots = p && state.plan && state.built?.runs ? shotLevels(state.plan, p, state.built.runs) : [];
}
const section = (): void => drawSection(document.querySelector<SVGSVGElement>('#section')!, state.rows, state.station, n => stand(n), shots);

export function stand(i: number, move = true): void {
  if (move) $('tale').hidden = true;
  const rows = state.rows, p = profiles()[state.profile];
  state.station = i;
  button('prev').disabled = i <= 0; button('next').disabled = i >= rows.length - 1;
  section();
  const row = rows[i];
  if (!row || !p || !state.plan || !state.plane) {
    board.station = null; board.redraw();
    $('card').replaceChildren(el('p', '', state.plan ? 'No run was laid, so there is nothing to walk. The verdict and the findings say why.' : 'Choose a lot: its drain is planned, and this card walks down it, station by station.'));
    return;
  }
  fillCard($('card'), state.plan, p, rows, i, n => stand(n), openRun, shots);
  board.station = state.plane.toPlane(row.at);
  if (move) board.show(board.station); else board.redraw();
}

// --- findings -------------------------------------------------------------------

const order: Record<string, number> = { stop: 0, warn: 1, note: 2 }, signs: Record<string, string> = { stop: '■', warn: '▲', note: '○' };
function showFindings(fresh: boolean): void {
  const plan = state.plan;
  const list = (plan?.findings ?? []).map((f, i) => ({ f, n: i + 1 })).sort((a, b) => (order[a.f.severity] ?? 3) - (order[b.f.severity] ?? 3));
  $('tale').hidden = true;
  if (fresh && list.some(x => x.f.severity === 'stop')) $<HTMLDetailsElement>('findingsBox').open = true;
  const count = (k: string) => list.filter(x => x.f.severity === k).length;
  $('findingCount').textContent = plan ? `${count('stop')} stop, ${count('warn')} warn, ${count('note')} note` : '';
  $('findings').replaceChildren(...(list.length ? list.map(({ f, n }) => {
    const li = el('li', f.severity), b = act('', () => { const at = placeOf(board, f); if (at) { board.station = at; board.show(at); board.sheet.scrollIntoView({ block: 'nearest' }); } });
    b.append(el('span', 'sign', `${signs[f.severity] ?? '○'} ${n}`), el('span', '', `${words(f.severity)}: ${u.text(f.message)}${f.cure ? ' ' + u.text(f.cure) : ''}`));
    li.append(b); return li;
  }) : [el('li', '', plan ? 'Nothing was found.' : 'None yet.')]));
}
/** Tells the findings of a mark beside it on the plan. */
export function tellMark(numbers: number[], at: readonly number[]): void {
  const t = $('tale'), list = state.plan?.findings ?? [];
  t.hidden = !numbers.length;
  t.replaceChildren(...numbers.map(n => { const f = list[n - 1]; return el('p', f?.severity ?? '', `${n} · ${words(f?.severity)}: ${u.text(f?.message)}${f?.cure ? ' ' + u.text(f.cure) : ''}`); }));
  const left = board.width - at[0]! < 390 && at[0]! > 390;
  t.style.left = left ? 'auto' : `${Math.max(8, Math.min(Math.round(at[0]! + 18), Math.round(board.width - 310)))}px`; t.style.right = left ? `${Math.round(board.width - at[0]! + 18)}px` : 'auto';
  t.style.top = `${Math.max(8, Math.min(Math.round(at[1]! - 10), Math.round(board.height - 150)))}px`;
}
export function showCautions(list: string[] | undefined): void { if (list?.length) $('cautionList').replaceChildren(...list.map(c => el('li', '', c))); }

// --- what if --------------------------------------------------------------------

const yearsOf = [2, 5, 10, 25, 50, 100];
export function sliders(): void {
  const w = state.edits.what, c = state.doc?.criteria ?? {};
  const clear = w.clearance ?? c.clearance?.lot_line_m, slope = w.slope ?? c.pipe?.target_slope, years = w.years ?? c.storm?.return_years;
  const built = ' (built in)', set = (id: string, v: number, text: string, silent: boolean) => { $<HTMLInputElement>(id).value = String(v); $(`${id}Out`).textContent = text + (silent ? built : ''); };
  // whole quarters of a foot, or whole halves of a decimetre
  Object.assign($('ifClear'), u.isUS() ? { max: '6.5', step: '0.25' } : { max: '2', step: '0.05' });
  set('ifClear', u.shownLength(clear ?? 0.6096), u.depth(clear ?? 0.6096), clear === undefined);
  set('ifSlope', 100 * (slope ?? 0.01), u.slope(slope ?? 0.01), slope === undefined);
  const i = yearsOf.indexOf(years ?? 10);
  set('ifYears', i < 0 ? 2 : i, `${years ?? 10} years`, years === undefined);
  choice('ifWall').value = w.wall ?? ''; choice('ifTilt').value = w.tilt ?? '';
}
export const replanAndCheck = (): void => { void replan(); void check(true); };
export function startPlan(): void {
  const touch = (id: string, key: 'clearance' | 'slope' | 'years', value: (v: number) => number, text: (v: number) => string) => {
    const i = $<HTMLInputElement>(id), what = () => ({ ...state.edits.what, [key]: value(Number(i.value)) });
    i.oninput = () => { $(`${id}Out`).textContent = text(value(Number(i.value))); if (state.doc) void livePlan({ ...state.edits, what: what() }); };
    i.onchange = () => { if (state.doc) change({ ...state.edits, what: what() }, replanAndCheck); };
  };
  touch('ifClear', 'clearance', v => +u.typedLength(v).toFixed(4), u.depth);
  touch('ifSlope', 'slope', v => +(v / 100).toFixed(4), u.slope);
  touch('ifYears', 'years', v => yearsOf[v] ?? 10, y => `${y} years`);
  choice('ifWall').onchange = () => { if (!state.doc) return; const { wall: _, ...what } = state.edits.what, v = choice('ifWall').value; change({ ...state.edits, what: v ? { ...what, wall: v } : what }, replanAndCheck); };
  choice('ifTilt').onchange = () => { if (!state.doc) return; const { tilt: _, ...what } = state.edits.what, v = choice('ifTilt').value; change({ ...state.edits, what: v ? { ...what, tilt: v } : what }, replanAndCheck); };
  button('ifReset').onclick = () => { if (state.doc) change({ ...state.edits, what: noEdits().what, outlet: '' }, replanAndCheck); };
  choice('lot').onchange = () => choose(choice('lot').value);
  button('prev').onclick = () => stand(state.station - 1);
  button('next').onclick = () => stand(state.station + 1);
  choice('profile').onchange = () => { setProfile(choice('profile').selectedIndex); stand(0); };
  new ResizeObserver(() => { if (state.rows.length) section(); }).observe($('section'));
  button('cautionsMore').onclick = () => { const on = $('cautions').classList.toggle('all'); button('cautionsMore').setAttribute('aria-expanded', String(on)); button('cautionsMore').textContent = on ? 'Fewer' : 'All cautions'; };
}
export { short };
