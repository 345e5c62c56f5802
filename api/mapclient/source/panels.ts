// The drawers below the plan that show what the service answered. One that is
// shut is filled when it is opened.

import type { Plan, Properties, QuantityRow } from './answers';
import { $, act, button, el, facts, input, reason, svg, table, words } from './dom';
import * as service from './service';
import { change, criteria, site, state } from './state';
import { replan } from './plan';
import * as u from './units';

const fills: Record<string, () => void> = { endsBox: showAlternatives, ifBox: showCompare, stormsBox: showStorms, runsBox: showRuns, quantitiesBox: () => void showQuantities(), restsBox: showRests };
const old = new Set<string>();
/** The plan changed: drawers that are open are filled now. */
export function dirty(): void {
  for (const id of Object.keys(fills)) { old.add(id); fill(id); }
}
function fill(id: string): void { if (old.has(id) && $<HTMLDetailsElement>(id).open) { old.delete(id); fills[id]!(); } }
/** For print: these drawers, whatever is open. */
export function fillNow(...ids: string[]): void { for (const id of ids) if (old.has(id)) { old.delete(id); fills[id]!(); } }

const none = 'Plan a lot first.';
export const short = (v: string): string => ({ feasible: 'feasible', not_proven: 'not proven', not_feasible: 'not feasible' } as Record<string, string>)[v] ?? words(v);

function showAlternatives(): void {
  const plan = state.plan, list = plan?.alternatives ?? [], at = $('alternatives');
  if (!plan || !list.length) { at.textContent = plan ? 'The service named no other end.' : none; return; }
  at.replaceChildren(table(['End', '', 'Verdict', 'Pipe', 'Cost index', 'Why'], list.map(a => {
    const here = a.outlet === plan.summary.outlet, b = act(here ? 'shown' : 'Plan to it', () => change({ ...state.edits, outlet: a.outlet }, () => void replan()), 'small');
    b.disabled = here;
    return [String(a.outlet ?? words(a.remedy ?? a.kind)), a.outlet ? b : '', short(String(a.verdict)), u.length(a.length_m), a.cost_index == null ? '–' : String(a.cost_index), a.reason ? u.text(a.reason) : a.short_m ? `short by ${u.depth(a.short_m)}` : ''];
  })));
}
function showCompare(): void {
  const a = state.base?.summary, b = state.plan?.summary, at = $('compare');
  const tilted = (state.plan?.what_if ?? []).map(w => {
    const by = Number(w.change.value), row = (name: string, f: (s: Properties) => string) => [name, f(w.as_planned), f(w.then)];
    return table(['', 'As planned', `Ground ${Math.abs(100 * by)} % ${by > 0 ? 'steeper' : 'flatter'}`], [
      row('Verdict', s => short(s.verdict)), row('End', s => s.outlet || '–'), row('Pipe', s => u.length(s.length_m)), row('Least slope', s => u.slope(s.least_slope)), row('Deepest', s => u.depth(s.greatest_depth_m)),
      row('Dig', s => u.volume(s.excavation_m3)), row('Largest pipe', s => s.largest_pipe || '–'), row('Cost index', s => s.cost_index == null ? '–' : String(s.cost_index))]);
  });
  if (!a || !b || state.base === state.plan) { at.replaceChildren(...tilted, b ? 'This is the plan under the site’s own rules.' : ''); return; }
  const row = (name: string, f: (s: NonNullable<typeof a>) => string) => [name, f(a), f(b)];
  at.replaceChildren(...tilted, table(['', 'As the site stands', 'As changed'], [
    row('Verdict', s => short(s.verdict)), row('End', s => s.outlet ?? '–'), row('Pipe', s => u.length(s.length_m)), row('Fall', s => u.depth(s.fall_m)), row('Least slope', s => u.slope(s.least_slope)),
    row('Flow', s => u.flow(s.flow_m3s)), row('Deepest', s => u.depth(s.greatest_depth_m)), row('Cost index', s => s.cost_index == null ? '–' : String(s.cost_index))]));
}
function showStorms(): void {
  const p = state.plan, at = $('storms');
  if (!p) { at.textContent = none; return; }
  const parts: HTMLElement[] = [];
  if (p.water_cases?.length) parts.push(table(['Storm', 'Water at the end', 'What happens'], p.water_cases.map(c => [`${c.return_years ?? '–'} years, ${words(c.case)}`, u.elevation(c.outlet_level_m), c.message ? u.text(c.message) : (c.first_spill ? `${c.first_spill} spills first` : '')])));
  const backed = p.storage ? [p.storage, ...(p.more_storage ?? [])] : [];
  for (const b of backed) for (const [key, name] of [['without_valve', 'Storage in the trenches, without a valve'], ['with_valve', 'Storage in the trenches, with a valve']] as const) {
    const s = b[key];
    if (!s) continue;
    const drawn = el('div', '');
    drawn.append(curve(s.series ?? []));
    parts.push(el('h3', '', backed.length > 1 ? `${name}: lot ${(b.lots ?? []).join(', ')}` : name), facts([['Void', u.water(s.void_volume_m3)], ['Usable', u.water(s.usable_volume_m3)], ['Highest water', u.elevation(s.peak_level_m)], ['Runs over', u.water(s.overflow_m3)], ['Empty after', s.empty_after_h == null ? '–' : `${s.empty_after_h} h`]]), drawn);
  }
  if (!p.storage) parts.push(el('p', 'help', 'The end stands clear of the water, so nothing is stored in the trenches and there is no storage curve.'));
  at.replaceChildren(...parts);
}
/** Stored water and inflow over the minutes. */
function curve(series: number[][]): SVGElement {
  const rows = series.filter(r => Number.isFinite(r[0])), w = 320, h = 140, s = svg('svg', { viewBox: `0 0 ${w} ${h}`, class: 'curve', role: 'img' });
  if (rows.length < 2) return s;
  const end = rows[rows.length - 1]![0]!, most = (k: number) => Math.max(1e-9, ...rows.map(r => r[k] ?? 0));
  const draw = (k: number, to: number, cls: string) => s.append(svg('path', { class: cls, d: rows.filter(r => Number.isFinite(r[k])).map((r, i) => `${i ? 'L' : 'M'}${(34 + r[0]! / end * (w - 44)).toFixed(1)} ${(h - 22 - r[k]! / to * (h - 40)).toFixed(1)}`).join('') }));
  draw(3, most(3), 'stored'); draw(2, most(2), 'inflow');
  s.append(svg('path', { d: `M34 8V${h - 22}H${w - 8}`, class: 'axisLine' }), svg('text', { x: 34, y: h - 6 }, '0 min'), svg('text', { x: w - 8, y: h - 6, 'text-anchor': 'end' }, `${end} min`), svg('text', { x: 40, y: 14 }, `solid: stored, most ${u.water(most(3))}; dashed: inflow, most ${u.flow(most(2))}`));
  s.setAttribute('aria-label', `Stored water over ${end} minutes, most ${u.water(most(3))}`);
  return s;
}

// --- runs and their calculation --------------------------------------------------

const chance = (p: number | null | undefined): string => p == null ? '–' : p < 0.005 ? '< 1 %' : `${Math.round(100 * p)} %`;
function showRuns(): void {
  const p = state.plan;
  if (!p) { $('runs').textContent = none; $('steps').replaceChildren(); return; }
  const runs = (p.network?.features ?? []).filter(f => f.properties?.run).map(f => f.properties!);
  if (!runs.length) $('runs').textContent = 'No run was laid: the verdict and the findings say why.';
  else $('runs').replaceChildren(
    table(['Run', 'Pipe', 'Length', 'Slope', 'Flow', 'Full', 'Speed', 'Least clearance', 'Too flat by chance', ''], runs.map(r => [`${r.run} ${r.from}–${r.to}`, `${r.size} ${r.pipe}`, u.length(r.length_m), u.slope(r.slope), u.flow(r.flow_m3s), r.fill_ratio == null ? '–' : `${Math.round(100 * r.fill_ratio)} %`, u.velocity(r.velocity_ms), u.depth(r.least_clearance_m), chance(r.chance_under_least_fall), act('Steps', () => void showSteps(String(r.run)), 'small')])),
    table(['Trench', 'Length', 'Width', 'Deepest', 'Dig', 'Stone', 'Fabric'], (p.trenches ?? []).map(t => [String(t.trench), u.length(t.length_m), u.depth(t.width_m), u.depth(t.greatest_depth_m), u.volume(t.excavation_m3), u.volume(t.stone_m3), u.area(t.fabric_m2)])));
  if (!runs.some(r => String(r.run) === stepsRun)) { stepsRun = ''; $('steps').replaceChildren(); }
  else if (stepsOf !== p) $('steps').replaceChildren(el('p', 'help', `The plan has changed since ${stepsRun} was worked.`), act(`Work ${stepsRun} again`, () => void showSteps(stepsRun)));
}
/** The units shown are others: the calculation that is open is told in them. */
export function workAgain(): void { if (stepsRun && stepsOf === state.plan && $('steps').childElementCount) void showSteps(stepsRun, false); }
/** Opens the drawer of the runs at the calculation of one. */
export function openRun(run: string): void {
  $<HTMLDetailsElement>('runsBox').open = true;
  fill('runsBox');
  void showSteps(run);
}

interface Step { title: string; formula?: string; given?: Symbol[]; result: Symbol; source?: string; place?: string; remark?: string }
interface Symbol { symbol: string; name: string; value: number; unit?: string }
let stepsRun = '', stepsOf: Plan | null = null;
const digits = (v: number): string => String(+v.toPrecision(Math.abs(v) >= 100 ? 7 : 6)).replace('-', '−');
/** The working of a run as the service sends it: with its formulas, its values and its sources. */
async function showSteps(run: string, come = true): Promise<void> {
  const plan = state.plan, at = $('steps');
  if (!plan) return;
  stepsRun = run; stepsOf = plan;
  if (come) { at.replaceChildren(el('p', 'help', `The service is working run ${run}…`)); at.scrollIntoView({ block: 'nearest' }); }
  try {
    const got = await service.execute('steps', site(), { lots: [state.lot], plan, ...criteria(), options: { runs: [run] } });
    if (stepsRun !== run || stepsOf !== plan) return;
    const w: { subject: string; steps: Step[]; notes?: { text: string }[]; why_not?: string } = got.runs[0];
    const list = el('ol', 'working');
    for (const s of w.steps) {
      const li = el('li', ''), math = el('p', 'math');
      const first = s.given?.map(g => `${greek(g.symbol)} = ${digits(g.value)}${unit(g.unit)}`).join(', ') ?? '';
      math.textContent = `${greek(s.result.symbol)} = ${s.formula ? `${written(s.formula)} = ` : ''}${digits(s.result.value)}${unit(s.result.unit)}${customary(s.result)}`;
      li.append(el('p', 'title', s.title), math);
      if (first) li.append(el('p', 'with', `with ${first}`));
      if (s.remark) li.append(el('p', 'with', s.remark));
      if (s.source) li.append(el('p', 'from', `${s.source}${s.place ? ', ' + s.place : ''}`));
      list.append(li);
    }
    at.replaceChildren(el('h3', '', w.subject), ...(w.why_not ? [el('p', '', w.why_not)] : [list]), ...(w.notes ?? []).map(n => el('p', 'help', n.text)));
    if (come) at.scrollIntoView({ block: 'nearest' });
  } catch (e) { at.replaceChildren(el('p', 'told stop', `Run ${run} was not worked: ${reason(e)}`)); }
}
/** A result of the metric working in the units shown, where these are others. */
function customary(r: Symbol): string {
  const metric = `${+r.value.toPrecision(6)} ${r.unit ?? ''}`, shown = u.text(metric);
  return shown === metric || !/^(m3?\/s|mm\/h|mm|m[23]?)$/.test(r.unit ?? '') ? '' : ` (${shown})`;
}
/** A formula of the service with the signs that people write. */
const greek = (t: string): string => t.replace(/\bpi\b/g, 'π').replace(/\btheta\b/g, 'θ');
const unit = (t: string | undefined): string => t ? ' ' + t.replace(/m2\b/, 'm²').replace(/m3\b/, 'm³') : '';
const written = (f: string): string => greek(f).replaceAll('*', ' · ').replace(/\^\(1\/2\)/g, '^½').replace(/\^2\b/g, '²').replace(/\^3\b/g, '³').replace(/\s*-\s*/g, ' − ').replace(/\s*\+\s*/g, ' + ').replace(/\s+/g, ' ');

// --- quantities and cost -----------------------------------------------------------

let prices = '', pricesName = '', askedFor = 0;
interface Takeoff { quantities: QuantityRow[]; cost?: { lines: { line: string; low: number | null; likely: number | null; high: number | null; note: string }[]; currency: string } | null }
const number = (v: number | null | undefined): string => v == null ? '' : v.toLocaleString('en-US', { maximumFractionDigits: 2 });
/** The takeoff of the plan shown, in the units shown, with the firm's prices beside it where there is a price book. */
async function showQuantities(): Promise<void> {
  const plan = state.plan, at = $('quantities'), mine = ++askedFor;
  if (!plan) { delete at.dataset.state; at.textContent = none; return; }
  const plain = (plan.quantities ?? []).length > 0 && u.isUS() && !prices;
  if (plain) { put({ quantities: plan.quantities! }); return; }
  // while the hand moves, the last answer stays and says so
  at.dataset.state = 'old';
  await new Promise(done => setTimeout(done, 250));
  if (mine !== askedFor) return;
  try {
    const got = await service.paper(site(), { lots: [state.lot], plan, ...criteria(), ...(prices ? { prices } : {}), options: { kind: 'takeoff', format: 'json', units: u.isUS() ? 'us' : 'si' } });
    const t: Takeoff = JSON.parse(await got.blob.text());
    if (mine === askedFor) put(t);
  } catch (e) { if (mine === askedFor) { delete at.dataset.state; at.replaceChildren(el('p', 'told stop', `${prices ? `The quantities were not priced by ${pricesName}` : 'The quantities were not reckoned'}: ${reason(e)}${e instanceof service.Refusal ? ' ' + e.faults.map(f => f.detail).filter(Boolean).slice(0, 3).join(' ') : ''}`)); } }
}
function put(t: Takeoff): void {
  const at = $('quantities'), priced = !!t.cost;
  delete at.dataset.state;
  const parts: HTMLElement[] = [];
  if (t.cost) parts.push(table(['', 'Low', 'Likely', 'High', ''], t.cost.lines.map(l => [l.line, number(l.low), number(l.likely), number(l.high), l.note]), `Cost by ${pricesName}, ${t.cost.currency}`));
  if (!t.quantities.length) parts.push(el('p', 'help', 'Nothing is to be ordered: no run was laid.'));
  else parts.push(table(['Item', 'Net', '', 'Order', '', ...(priced ? ['Unit price', 'Cost'] : []), 'How it was reckoned'], t.quantities.map(q => [q.item, number(q.net), q.net_unit ?? '', number(q.order_quantity), q.order_unit, ...(priced ? [number(q.unit_cost), number(q.cost)] : []), q.basis]), 'Quantities of the plan shown'));
  at.replaceChildren(...parts);
}
function showRests(): void {
  const p = state.plan, at = $('rests');
  if (!p) { at.textContent = none; return; }
  const r = p.rests_on ?? {}, ul = el('ul', '');
  for (const a of p.assumptions ?? []) ul.append(el('li', '', a));
  at.replaceChildren(facts([['Measured', (r.measured ?? []).join(', ') || 'nothing'], ['Mapped', (r.mapped ?? []).join(', ') || 'nothing'], ['Assumed', (r.assumed ?? []).join(', ') || 'nothing'], ['Plane', p.frame?.plane ?? '–']]), el('h3', '', 'Assumptions'), ul);
}

export function startPanels(): void {
  for (const id of Object.keys(fills)) $<HTMLDetailsElement>(id).addEventListener('toggle', () => fill(id));
  input('prices').onchange = async () => {
    const f = input('prices').files?.[0];
    if (f) { prices = await f.text(); pricesName = f.name; }
    input('prices').value = '';
    button('pricesOff').hidden = !prices;
    void showQuantities();
  };
  button('pricesOff').onclick = () => { prices = ''; button('pricesOff').hidden = true; void showQuantities(); };
}
