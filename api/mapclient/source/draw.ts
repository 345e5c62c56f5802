// Drawing a route and moving things: what the hand does, and the service's check
// of it.

import type { Num, Stretch, XY } from './answers';
import type { Handle } from './board';
import { $, act, button, el, hold, input, reason, tell, words } from './dom';
import { groundAlong } from './ground';
import { showCautions, livePlan, replan, short } from './plan';
import { shifted } from './plane';
import * as service from './service';
import { changed, forDrag, here, keyed, positions, withRoute } from './site';
import { board, change, criteria, state } from './state';
import { addHelp, takeAway } from './things';
import * as u from './units';

const help: Record<string, string> = {
  look: 'Look: drag the plan, click a lot to plan it.',
  draw: 'Draw: click to set points, drag a square to move one. Points catch inlets, intakes, other ends and the edge of the trench zone. An arrow shows the smallest shift that mends a stretch; A makes it. Escape ends drawing.',
  move: 'Move: drag a ring (intake or tree of the lot, or what was added). The service plans again when you let go. A tap chooses one to take away.',
  measure: 'Measure: click two points or more; the length is told on the plan. It is as good as the map, no better.',
};
export const helpOf = (m: string): string => m === 'add' ? addHelp() : help[m] ?? '';
export function mode(m: string): void {
  if (m === 'draw' && !state.lot) { tell('Choose a lot first: the route is checked against its lines.'); return; }
  if (m === 'add' && !state.lot) { tell('Choose a lot first: what is added is planned with it.'); return; }
  if ((m === 'move' || m === 'add') && state.large) { tell('This site has too many lots to be changed here: open its lots as a site of their own to move or add things.'); return; }
  board.mode = m; board.sheet.dataset.mode = m; board.cross = null;
  board.tape = []; button('addFinish').hidden = true; choose(null);
  for (const [id, one] of [['modeLook', 'look'], ['modeDraw', 'draw'], ['modeAdd', 'add'], ['modeMove', 'move'], ['modeMeasure', 'measure']] as const) button(id).setAttribute('aria-pressed', String(one === m));
  $('modeHelp').textContent = helpOf(m);
  $('tale').hidden = true;
  grips(); board.redraw();
}

const checkAll = (): void => void check(true);
export function addPoint(p: readonly number[]): void {
  const last = state.edits.route.at(-1);
  if (last && last[0] === p[0] && last[1] === p[1]) { tell('This is where the last point lies: go on from there.'); return; }
  change({ ...state.edits, route: [...state.edits.route, p.map(Number)] }, checkAll);
}
export function dropLast(): void { if (state.edits.route.length) change({ ...state.edits, route: state.edits.route.slice(0, -1) }, checkAll); }

/** One check is on its way at a time; the newest line waits for it. */
let checking = false, waiting: { whole: boolean } | null = null;
/** The line that the stretches are of. */
let checked: number[][] = [];
export async function check(whole: boolean): Promise<void> {
  const line = board.route, { doc, lot } = state;
  if (line.length < 2 || !lot || !doc) { unchecked(''); return; }
  if (checking) { waiting = { whole }; return; }
  checking = true;
  // what was asked for is still looked at; while a line is dragged the last answer will do until the next
  const still = () => state.doc === doc && state.lot === lot && board.route.length > 1 && (line === board.route || dragged);
  try {
    const moved = changed(doc, state.edits), began = performance.now();
    const sent = whole ? { ...moved, layers: { ...moved.layers, drains: withRoute(moved, line, lot) } } : forDrag(moved, line, lot);
    const got = await service.execute('check', sent, { lots: [lot], ...criteria() });
    $('live').dataset[whole ? 'ms' : 'dragMs'] = String(Math.round(performance.now() - began));
    const mine = ((got.features ?? []) as { properties: Record<string, any> }[]).find(f => f.properties.drain === here);
    if (mine && still()) { checked = line; showCheck(mine.properties); }
    if (whole) showCautions(got.cautions);
  } catch (e) {
    if (still() && !waiting) {
      unchecked(`The route is not checked: ${reason(e)}`);
      $('routeAnswer').append(act('Check it again', checkAll));
    }
  } finally {
    checking = false;
    if (waiting) { const w = waiting; waiting = null; void check(w.whole); }
  }
}
/** What was told of the route holds no more. */
function unchecked(why: string): void {
  state.check = null; checked = [];
  $('routeAnswer').replaceChildren(...(why ? [el('p', 'told stop', why)] : []));
  hold(''); if (why) tell(why);
  button('mendWorst').hidden = true;
  board.setRoute(board.route, []);
}
/** What the ground does along the drawn route, in the direction in which it was drawn; brief: without what follows from it. */
function fallOf(brief: boolean): string {
  const g = board.ground, line = board.route.map(p => state.plane!.toPlane(p));
  const got = g && line.length > 1 ? groundAlong(g.relief, g.corner, line) : null;
  if (!got) return '';
  const fall = got.from - got.to, c = criteria(), aim: number = ('criteria' in c ? c.criteria?.pipe?.target_slope : undefined) ?? state.doc?.criteria?.pipe?.target_slope ?? 0.01;
  const need = aim * got.length;
  return `${fall >= 0 ? 'falls' : 'rises'} ${u.depth(Math.abs(fall))} (${u.slope(Math.abs(fall) / got.length)})${brief ? '' : fall < need ? `, so the lower end lies ${u.depth(need - fall)} deeper than the upper at ${u.slope(aim)}` : ''}${!brief && got.highest > 0.05 ? `; a rise ${u.depth(got.highest)} over the straight ${u.length(got.at)} along` : ''}`;
}
/** A direction of the compass, of eight. */
const heading = (east: number, north: number): string => ['north', 'north-east', 'east', 'south-east', 'south', 'south-west', 'west', 'north-west'][(Math.round(Math.atan2(east, north) * 4 / Math.PI) + 8) % 8]!;
const shift = (s: Stretch): string => `${u.depth(Math.hypot(s.shift_east_m ?? 0, s.shift_north_m ?? 0))} ${heading(s.shift_east_m ?? 0, s.shift_north_m ?? 0)}`;
const gap = (m: Num, clear: string, beyond: string): string => `${u.depth(typeof m === 'number' ? Math.abs(m) : m)} ${typeof m === 'number' && m < 0 ? beyond : clear} at the nearest`;
/** What a stretch strays from; a thing that is named by its kind is named once. */
const named = (s: Stretch): string => (s.against ?? '').replace(/^(\w+) (?=\1\b)/, '');
/** A longer shift than this, metres, is no mend of what was drawn but another route. */
const farthest = 3;
const worthwhile = (s: Stretch): boolean => !!s.shift_mends && Math.hypot(s.shift_east_m ?? 0, s.shift_north_m ?? 0) <= farthest;
/** Stretches that a shift mends whole, the worst first. */
const mendable = (): Stretch[] => board.stretches.filter(worthwhile).sort((a, b) => (b.short_m ?? 0) - (a.short_m ?? 0));
/** Moves a stretch of the route by its mend; the route is checked anew, and undo takes it back. */
export function mend(s: Stretch | undefined = mendable()[0]): void {
  const plane = state.plane;
  if (!plane || board.route.length < 2) return;
  if (board.route !== checked) { tell('The route is being checked: a moment.'); return; }
  if (!s) { tell(board.stretches.length ? 'No single shift mends a stretch of this route: draw it another way.' : 'The route has nothing to mend.'); return; }
  const east = s.shift_east_m ?? 0, north = s.shift_north_m ?? 0, long = Math.hypot(east, north) || 1, more = 1 + 0.003 / long; // the service tells millimetres: a hair beyond
  const line = shifted(board.route.map(p => plane.toPlane(p)), s.from_m, s.to_m, [east * more, north * more]);
  change({ ...state.edits, route: line.map(p => plane.toDoc(p)) }, checkAll);
}
export function showCheck(p: Record<string, any>): void {
  state.check = p;
  const word = `${short(p.verdict)}: ${u.length(p.length_m)}, ${gap(p.least_clearance_m, 'from a lot line', 'over a lot line')}, ${gap(p.least_foundation_clearance_m, 'from a foundation', 'into a foundation')}${p.length_outside_m ? `, ${u.length(p.length_outside_m)} outside` : ''}`;
  const under = fallOf(false);
  board.setRoute(board.route, (p.stretches ?? []).map((s: Stretch) => ({ ...s, ...(worthwhile(s) ? {} : { mend: undefined }), text: `${s.outside ? 'over' : 'short of'} ${named(s)} by ${u.depth(s.short_m)}${worthwhile(s) ? `: move ${shift(s)}` : ''}` })));
  const list = mendable(), first = list[0];
  hold(`Route: ${word}${first ? `. Mend (key A) moves the worst stretch ${shift(first)}, which mends it` : ''}${under ? `. The ground ${fallOf(true)}` : ''}`);
  button('mendWorst').hidden = !first;
  if (dragged) return; // the list follows when the hand lets go
  const ul = el('ul', '');
  for (const f of p.findings ?? []) ul.append(el('li', f.severity, `${words(f.severity)}: ${u.text(f.message)}`));
  const mends = el('p', 'rows');
  for (const s of list) mends.append(act(`Move ${u.length(s.from_m)} to ${u.length(s.to_m)}, ${named(s)}: ${shift(s)}`, () => mend(s), 'small'));
  $('routeAnswer').replaceChildren(el('p', '', `Your route is ${word}.`), ...(list.length ? [mends] : []), ...(under ? [el('p', '', `Of the ground along it: ${under}.`)] : []), ul, ...(state.large ? [el('p', 'help', 'Checked under the built-in rules and your sliders: of a site of so many lots its own rules are known to the plan alone.')] : []), el('p', 'help', 'The check holds the route against lot lines, foundations and what lies in the ground. Falls and sizes come with a plan.'));
}
let dragged = false, moving = false;

/** The key of what is chosen among what can be moved. */
let held = '';
export const chosen = (): string => held;
export function choose(h: Handle | null): void {
  held = h?.key ?? '';
  button('takeAway').hidden = !h;
  if (h) { button('takeAway').textContent = `Remove ${h.text}`; button('takeAway').title = `Take ${h.text} off the site (Delete)`; }
}
/** What can be moved or taken away: intakes and trees of the lot, and what was added. */
export function grips(): void {
  board.handles = [];
  if (!state.doc || !state.lot || !state.plane) return;
  for (const layer of ['intakes', 'obstacles']) for (const { key, feature: f } of keyed(state.doc, layer, state.edits)) {
    const own = key.includes('/+'), lot = f?.properties?.lot;
    if (String(lot) !== state.lot && !(own && lot === undefined)) continue;
    if (!own && (f.geometry?.type !== 'Point' || layer === 'obstacles' && f.properties?.kind !== 'tree')) continue;
    let at: number[] | undefined;
    positions(f.geometry, p => { at ??= p; });
    if (at) board.handles.push({ key, at: state.plane.toPlane(at), text: String(f.properties?.intake ?? words(f.properties?.utility ?? f.properties?.kind)) });
  }
  if (!board.handles.some(h => h.key === held)) choose(null);
}

export function startDrawing(): void {
  for (const [id, m] of [['modeLook', 'look'], ['modeDraw', 'draw'], ['modeAdd', 'add'], ['modeMove', 'move'], ['modeMeasure', 'measure']] as const) button(id).onclick = () => { mode(m); if (m !== 'look') board.sheet.scrollIntoView({ block: 'nearest' }); };
  button('mendWorst').onclick = () => mend();
  button('clearRoute').onclick = () => { if (state.edits.route.length) change({ ...state.edits, route: [] }, checkAll); };
  $<HTMLFormElement>('typed').onsubmit = e => {
    e.preventDefault();
    const b = Number(input('bearing').value), d = Number(input('distance').value), last = state.edits.route.at(-1);
    if (!last || !state.plane) { tell('Set the first point on the plan, then type bearing and distance.'); return; }
    if (input('bearing').value.trim() === '' || !Number.isFinite(b) || !(d > 0)) { tell('A bearing in degrees and a distance above nothing are needed.'); return; }
    const p = state.plane.toPlane(last), m = u.typedLength(d);
    addPoint(state.plane.toDoc([p[0] + m * Math.sin(b * Math.PI / 180), p[1] + m * Math.cos(b * Math.PI / 180)]));
  };
  button('takeAway').onclick = () => takeAway(held);
  const h = board.handlers;
  h.chosen = one => { choose(one); tell(`${one.text}: drag it, or remove it (Delete).`); };
  h.point = addPoint;
  h.dragRoute = (i, p) => { dragged = true; const r = [...board.route]; r[i] = p.map(Number); board.setRoute(r); void check(false); };
  h.dropRoute = () => { if (!dragged) return; dragged = false; change({ ...state.edits, route: board.route }, checkAll); };
  /** The hand let go without having moved, or was interrupted. */
  h.left = () => {
    if (dragged) { dragged = false; board.setRoute(state.edits.route); checkAll(); }
    if (moving) { moving = false; grips(); board.redraw(); void replan(); }
  };
  h.moving = one => { moving = true; void livePlan({ ...state.edits, moves: { ...state.edits.moves, [one.key]: state.plane!.toDoc(one.at) } }); };
  h.moved = one => { moving = false; change({ ...state.edits, moves: { ...state.edits.moves, [one.key]: state.plane!.toDoc(one.at) } }, () => void replan()); };
  h.measure = (p: XY) => {
    board.tape = [...board.tape, p]; board.redraw();
    let d = 0; board.tape.forEach((q, i) => { const a = board.tape[i - 1]; if (a) d += Math.hypot(q[0] - a[0], q[1] - a[1]); });
    tell(board.tape.length > 1 ? `${u.length(d)} measured on the plan. Measure (key L) begins anew.` : 'From here: click the next point.');
  };
}
