// The walk down the run: the section drawn beside the plan with downstream down
// the page, and the card of one station.

import { svg } from './board.js';
import * as u from './units.js';

/** One station a place: where two runs meet the profile has a row for each.
 * @param {object} profile @returns {object[]} */
export function stations(profile) {
  const out = [];
  for (const row of profile?.rows ?? []) {
    const last = out[out.length - 1];
    if (last && Math.abs(last.station_m - row.station_m) < 0.0005) { last.leaves = row; last.point ??= row.point; } else out.push({ ...row, leaves: row });
  }
  return out;
}

/**
 * Draws the section. x is the elevation, high at the left, so that ground and
 * pipe go down to the right as the water does; y is the way along the run.
 * @param {SVGSVGElement} at @param {object[]} rows @param {number} chosen @param {(i: number) => void} choose
 */
export function drawSection(at, rows, chosen, choose) {
  const r = at.getBoundingClientRect(), w = Math.max(120, r.width), h = Math.max(160, r.height);
  at.setAttribute('viewBox', `0 0 ${w} ${h}`);
  if (rows.length < 2) { at.replaceChildren(); return; }
  const out = [], top = 34, bottom = h - 14, left = 14, right = w - 14;
  const all = rows.flatMap(s => [s.ground_m, s.invert_m, s.leaves.invert_m, s.water_level_m]).filter(Number.isFinite);
  const high = Math.max(...all), low = Math.min(...all), long = rows[rows.length - 1].station_m || 1;
  const x = z => left + (high - z) / Math.max(0.1, high - low) * (right - left);
  const y = s => top + s / long * (bottom - top);
  const path = pts => pts.map((p, i) => `${i ? 'L' : 'M'}${p[0].toFixed(1)} ${p[1].toFixed(1)}`).join('');
  const ground = rows.filter(s => Number.isFinite(s.ground_m)).map(s => [x(s.ground_m), y(s.station_m)]);
  const invert = rows.flatMap(s => [[x(s.invert_m), y(s.station_m)], [x(s.leaves.invert_m), y(s.station_m)]]);
  const crown = rows.flatMap(s => [[x(s.crown_m), y(s.station_m)], [x(s.leaves.crown_m), y(s.station_m)]]);
  out.push(svg('path', { d: path([...ground, ...[...invert].reverse()]) + 'Z', class: 'trench' }));
  out.push(svg('path', { d: path([...crown, ...[...invert].reverse()]) + 'Z', class: 'bore' }));
  out.push(svg('path', { d: path(ground), class: 'groundLine' }), svg('path', { d: path(invert), class: 'invertLine' }));
  let water = [];
  const pour = () => { if (water.length > 1) out.push(svg('path', { d: path(water), class: 'waterLine' })); water = []; };
  for (const s of rows) if (Number.isFinite(s.water_level_m)) water.push([x(s.water_level_m), y(s.station_m)]);
  pour();
  // scale of elevations along the top
  for (const z of [high, low]) out.push(svg('text', { x: x(z), y: 12, class: 'axis', 'text-anchor': z === high ? 'start' : 'end' }, u.elevation(z)));
  out.push(svg('text', { x: (left + right) / 2, y: 26, class: 'axis', 'text-anchor': 'middle' }, 'lower →'));
  rows.forEach((s, i) => {
    if (!s.point && i !== chosen) return;
    out.push(svg('circle', { cx: x(s.leaves.invert_m), cy: y(s.station_m), r: 2.4, class: 'stop' }));
  });
  const s = rows[chosen];
  if (s) {
    const yy = y(s.station_m);
    out.push(svg('path', { d: `M0 ${yy.toFixed(1)}H${w}`, class: 'here' }));
    out.push(svg('circle', { cx: x(s.leaves.invert_m), cy: yy, r: 6, class: 'hereDot' }));
  }
  at.replaceChildren(...out);
  at.onclick = e => {
    const b = at.getBoundingClientRect(), to = ((e.clientY - b.top) / b.height * h - top) / (bottom - top) * long;
    let best = 0; rows.forEach((q, i) => { if (Math.abs(q.station_m - to) < Math.abs(rows[best].station_m - to)) best = i; });
    choose(best);
  };
  at.setAttribute('aria-label', `Section from ${rows[0].point ?? 'the start'}: ${u.length(long)} long; ground from ${u.elevation(rows[0].ground_m)} to ${u.elevation(rows[rows.length - 1].ground_m)}, invert from ${u.elevation(rows[0].invert_m)} to ${u.elevation(rows[rows.length - 1].leaves.invert_m)}`);
}

/** The card of a station. Texts of features go in as text.
 * @param {HTMLElement} card @param {object} plan @param {object} profile @param {object[]} rows @param {number} i
 * @param {(i: number) => void} choose */
export function fillCard(card, plan, profile, rows, i, choose) {
  const s = rows[i], f = plan.network?.features ?? [];
  const point = f.find(n => n.properties?.point === s.point && s.point);
  const run = runFrom(plan, profile, rows, i);
  const parts = [];
  parts.push(el('p', 'where', `${u.length(s.station_m)} of ${u.length(rows[rows.length - 1].station_m)}`));
  parts.push(el('h3', '', point ? `${point.properties.point}: ${words(point.properties.kind)}` : run ? `along ${run.properties.run}` : 'station'));
  const list = [['Ground', u.elevation(s.ground_m)]];
  if (Math.abs(s.invert_m - s.leaves.invert_m) > 0.0015) list.push(['Invert in', u.elevation(s.invert_m)], ['Invert out', u.elevation(s.leaves.invert_m)]);
  else list.push(['Invert', u.elevation(s.leaves.invert_m)]);
  list.push(['Cut', u.depth(s.leaves.cut_m)]);
  if (Number.isFinite(s.ground_m) && Number.isFinite(s.leaves.crown_m)) list.push(['Over crown', u.depth(s.ground_m - s.leaves.crown_m)]);
  list.push(['Water', s.water_level_m == null ? 'not told here' : u.elevation(s.water_level_m)]);
  if (point?.properties.freeboard_m != null) list.push(['Freeboard', u.depth(point.properties.freeboard_m)]);
  parts.push(facts(list));
  if (point?.properties.fittings?.length) parts.push(el('p', 'todo', `Set here: ${point.properties.fittings.join(', ')}.`));
  if (run) parts.push(el('p', '', `${i === rows.length - 1 ? 'Arrives by' : 'On by'} ${run.properties.run}: ${run.properties.size} ${run.properties.pipe}, ${u.slope(run.properties.slope)}${run.properties.flow_m3s == null ? '' : `, ${u.flow(run.properties.flow_m3s)} of ${u.flow(run.properties.capacity_m3s)}`}.`));
  (plan.findings ?? []).forEach((g, n) => { if (g.feature && (g.feature === s.point || (s.point && g.feature === run?.properties.run))) parts.push(el('p', `told ${g.severity}`, `${n + 1} · ${g.message}`)); });
  // what comes next, so that the walk can skip to it
  const ahead = rows.map((r, n) => ({ r, n })).filter(x => x.n > i && x.r.point).slice(0, 6);
  if (ahead.length) {
    const nav = el('ol', 'ahead');
    for (const { r, n } of ahead) {
      const kind = f.find(q => q.properties?.point === r.point)?.properties.kind, b = el('button', '', `${u.length(r.station_m)}  ${r.point} ${words(kind)}`);
      b.setAttribute('type', 'button'); b.onclick = () => choose(n);
      const li = el('li', ''); li.append(b, el('span', '', `cut ${u.depth(r.leaves.cut_m)}`)); nav.append(li);
    }
    parts.push(el('h4', '', 'Further down'), nav);
  }
  card.replaceChildren(...parts);
}

/** The run that the water takes from station i on (into it, at the end). */
function runFrom(plan, profile, rows, i) {
  const runs = (profile.runs ?? []).map(id => (plan.network?.features ?? []).find(n => n.properties?.run === id)).filter(Boolean);
  let at = 0;
  for (const r of runs) { at += r.properties.length_m ?? 0; if (rows[i].station_m < at - 0.01) return r; }
  return runs[runs.length - 1];
}

/** @param {string} tag @param {string} cls @param {string} [text] */
export function el(tag, cls, text) { const e = document.createElement(tag); if (cls) e.className = cls; if (text !== undefined) e.textContent = text; return e; }
/** @param {string} s */
export const words = s => String(s ?? '').replaceAll('_', ' ');
/** @param {[string, string][]} pairs */
export function facts(pairs) { const d = el('dl', 'facts'); for (const [k, v] of pairs) d.append(el('dt', '', k), el('dd', '', v)); return d; }
/** @param {string[]} head @param {(string|HTMLElement)[][]} rows */
export function table(head, rows) {
  const t = document.createElement('table'), h = t.createTHead().insertRow();
  for (const one of head) { const th = el('th', '', one); th.setAttribute('scope', 'col'); h.append(th); }
  const b = t.createTBody();
  for (const row of rows) { const tr = b.insertRow(); for (const one of row) { const c = tr.insertCell(); if (one instanceof HTMLElement) c.append(one); else c.textContent = one; } }
  const w = el('div', 'wide'); w.tabIndex = 0; w.append(t); return w;
}
