// The walk down the run: the section drawn beside the plan with downstream down
// the page, and the card of one station.

import type { BuiltRun, Feature, Plan, Profile, Station } from './answers';
import { act, el, facts, svg, words } from './dom';
import * as u from './units';

/** One station a place: where two runs meet the profile has a row for each. */
export function stations(profile: Profile | undefined): Station[] {
  const out: Station[] = [];
  for (const row of profile?.rows ?? []) {
    const last = out[out.length - 1];
    if (last && Math.abs(last.station_m - row.station_m) < 0.0005) { last.leaves = row; last.point ??= row.point!; } else out.push({ ...row, leaves: row });
  }
  return out;
}

/** A level that was shot, at its station of the profile. */
export interface ShotLevel { station: number; z: number; off: number; standing: number }
/** The shots on the runs of a profile, along it. */
export function shotLevels(plan: Plan, profile: Profile, built: BuiltRun[]): ShotLevel[] {
  let at = 0;
  const out: ShotLevel[] = [];
  for (const r of runsOf(plan, profile)) {
    for (const l of built.find(b => b.run === r.properties!.run)?.levels ?? []) out.push({ station: at + l.station_m, z: l.invert_m, off: l.off_m, standing: l.standing_m });
    at += r.properties!.length_m ?? 0;
  }
  return out.sort((a, b) => a.station - b.station);
}
export const runsOf = (plan: Plan, profile: Profile): Feature[] => (profile.runs ?? []).flatMap(id => (plan.network?.features ?? []).filter(n => n.properties?.run === id));

/**
 * Draws the section. x is the elevation, high at the left, so that ground and
 * pipe go down to the right as the water does; y is the way along the run.
 */
export function drawSection(at: SVGSVGElement, rows: Station[], chosen: number, choose: (i: number) => void, shots: ShotLevel[] = []): void {
  const r = at.getBoundingClientRect(), w = Math.max(120, r.width), h = Math.max(160, r.height);
  at.setAttribute('viewBox', `0 0 ${w} ${h}`);
  if (rows.length < 2) { at.replaceChildren(); at.setAttribute('aria-label', 'No section: nothing is planned yet'); return; }
  const out: SVGElement[] = [], top = 34, bottom = h - 14, left = 14, right = w - 14;
  const all = [...rows.flatMap(s => [s.ground_m, s.invert_m, s.leaves.invert_m, s.water_level_m]), ...shots.map(s => s.z)].filter((z): z is number => Number.isFinite(z));
  const high = Math.max(...all), low = Math.min(...all), last = rows[rows.length - 1]!, long = last.station_m || 1;
  const x = (z: number) => left + (high - z) / Math.max(0.1, high - low) * (right - left);
  const y = (s: number) => top + s / long * (bottom - top);
  const path = (pts: number[][]) => pts.map((p, i) => `${i ? 'L' : 'M'}${p[0]!.toFixed(1)} ${p[1]!.toFixed(1)}`).join('');
  const ground = rows.filter(s => Number.isFinite(s.ground_m)).map(s => [x(s.ground_m), y(s.station_m)]);
  const invert = rows.flatMap(s => [[x(s.invert_m), y(s.station_m)], [x(s.leaves.invert_m), y(s.station_m)]]);
  const crown = rows.flatMap(s => [[x(s.crown_m), y(s.station_m)], [x(s.leaves.crown_m), y(s.station_m)]]);
  out.push(svg('path', { d: path([...ground, ...[...invert].reverse()]) + 'Z', class: 'trench' }));
  out.push(svg('path', { d: path([...crown, ...[...invert].reverse()]) + 'Z', class: 'bore' }));
  out.push(svg('path', { d: path(ground), class: 'groundLine' }), svg('path', { d: path(invert), class: 'invertLine' }));
  const water = rows.filter(s => Number.isFinite(s.water_level_m)).map(s => [x(s.water_level_m!), y(s.station_m)]);
  if (water.length > 1) out.push(svg('path', { d: path(water), class: 'waterLine' }));
  if (shots.length) {
    out.push(svg('path', { d: path(shots.map(s => [x(s.z), y(s.station)])), class: 'laidLine' }));
    for (const s of shots) out.push(svg('path', { d: `M${(x(s.z) - 3).toFixed(1)} ${(y(s.station) - 3).toFixed(1)}l6 6m0-6l-6 6`, class: s.standing > 0.0005 ? 'shot off' : 'shot' }));
  }
  // scale of elevations along the top
  for (const z of [high, low]) out.push(svg('text', { x: x(z), y: 12, class: 'axis', 'text-anchor': z === high ? 'start' : 'end' }, u.elevation(z)));
  out.push(svg('text', { x: (left + right) / 2, y: 26, class: 'axis', 'text-anchor': 'middle' }, 'lower →'));
  rows.forEach((s, i) => { if (s.point || i === chosen) out.push(svg('circle', { cx: x(s.leaves.invert_m), cy: y(s.station_m), r: 2.4, class: 'stop' })); });
  const s = rows[chosen];
  if (s) {
    const yy = y(s.station_m);
    out.push(svg('path', { d: `M0 ${yy.toFixed(1)}H${w}`, class: 'here' }), svg('circle', { cx: x(s.leaves.invert_m), cy: yy, r: 6, class: 'hereDot' }));
  }
  at.replaceChildren(...out);
  at.onclick = e => {
    const b = at.getBoundingClientRect(), to = ((e.clientY - b.top) / b.height * h - top) / (bottom - top) * long;
    let best = 0; rows.forEach((q, i) => { if (Math.abs(q.station_m - to) < Math.abs(rows[best]!.station_m - to)) best = i; });
    choose(best);
  };
  at.setAttribute('aria-label', `Section from ${rows[0]!.point ?? 'the start'}: ${u.length(long)} long; ground from ${u.elevation(rows[0]!.ground_m)} to ${u.elevation(last.ground_m)}, invert from ${u.elevation(rows[0]!.invert_m)} to ${u.elevation(last.leaves.invert_m)}${shots.length ? `; ${shots.length} shots on the laid pipe` : ''}`);
}

/** The card of a station. */
export function fillCard(card: HTMLElement, plan: Plan, profile: Profile, rows: Station[], i: number, choose: (i: number) => void, openRun: (run: string) => void, shots: ShotLevel[]): void {
  const s = rows[i]!, f = plan.network?.features ?? [];
  const point = f.find(n => n.properties?.point === s.point && s.point), pp = point?.properties;
  const run = runFrom(plan, profile, rows, i)?.properties;
  const parts: HTMLElement[] = [];
  parts.push(el('p', 'where', `${u.length(s.station_m)} of ${u.length(rows[rows.length - 1]!.station_m)}`));
  parts.push(el('h3', '', pp ? `${pp.point}: ${words(pp.kind)}` : run ? `along ${run.run}` : 'station'));
  const list: [string, string][] = [['Ground', u.elevation(s.ground_m)]];
  if (Math.abs(s.invert_m - s.leaves.invert_m) > 0.0015) list.push(['Invert in', u.elevation(s.invert_m)], ['Invert out', u.elevation(s.leaves.invert_m)]);
  else list.push(['Invert', u.elevation(s.leaves.invert_m)]);
  list.push(['Cut', u.depth(s.leaves.cut_m)]);
  if (Number.isFinite(s.ground_m) && Number.isFinite(s.leaves.crown_m)) list.push(['Over crown', u.depth(s.ground_m - s.leaves.crown_m)]);
  list.push(['Water', s.water_level_m == null ? 'not told here' : u.elevation(s.water_level_m)]);
  if (pp?.freeboard_m != null) list.push(['Freeboard', u.depth(pp.freeboard_m)]);
  const laid = shots.filter(l => Math.abs(l.station - s.station_m) < 0.75).sort((a, b) => Math.abs(a.station - s.station_m) - Math.abs(b.station - s.station_m))[0];
  if (laid) list.push(['Laid', `${u.elevation(laid.z)} (${u.off(laid.off)})`]);
  parts.push(facts(list));
  if (laid && laid.standing > 0.0005) parts.push(el('p', 'told stop', `Water stands ${u.depth(laid.standing)} deep here.`));
  if (pp?.fittings?.length) parts.push(el('p', 'todo', `Set here: ${pp.fittings.join(', ')}.`));
  if (run) {
    const id = String(run.run);
    parts.push(el('p', '', `${i === rows.length - 1 ? 'Arrives by' : 'On by'} ${id}: ${run.size} ${run.pipe}, ${u.slope(run.slope)}${run.flow_m3s == null ? '' : `, ${u.flow(run.flow_m3s)} of ${u.flow(run.capacity_m3s)}`}.`), act(`Calculation of ${id}`, () => openRun(id)));
  }
  (plan.findings ?? []).forEach((g, n) => { if (g.feature && (g.feature === s.point || (s.point && g.feature === run?.run))) parts.push(el('p', `told ${g.severity}`, `${n + 1} · ${u.text(g.message)}`)); });
  // what comes next, so that the walk can skip to it
  const ahead = rows.map((r, n) => ({ r, n })).filter(x => x.n > i && x.r.point).slice(0, 6);
  if (ahead.length) {
    const nav = el('ol', 'ahead');
    for (const { r, n } of ahead) {
      const kind = f.find(q => q.properties?.point === r.point)?.properties?.kind, li = el('li', '');
      li.append(act(`${u.length(r.station_m)}  ${r.point} ${words(kind)}`, () => choose(n)), el('span', '', `cut ${u.depth(r.leaves.cut_m)}`)); nav.append(li);
    }
    parts.push(el('h4', '', 'Further down'), nav);
  }
  card.replaceChildren(...parts);
}

/** The run that the water takes from station i on (into it, at the end). */
function runFrom(plan: Plan, profile: Profile, rows: Station[], i: number): Feature | undefined {
  const runs = runsOf(plan, profile);
  let at = 0;
  for (const r of runs) { at += r.properties!.length_m ?? 0; if (rows[i]!.station_m < at - 0.01) return r; }
  return runs[runs.length - 1];
}
