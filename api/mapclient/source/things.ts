// What a designer puts on the site or takes away: intakes, and what lies in the
// ground or stands on it, each with what the site document asks of its kind.

import type { XY } from './answers';
import { $, button, choice, input, tell } from './dom';
import { replanAndCheck } from './plan';
import { features } from './site';
import { board, change, state } from './state';
import * as u from './units';

/** A size that is asked for a kind: its property in metres or square metres, its words, and what it is at first, metres; none: it may be left out. */
interface Size { key: string; words: string; area?: boolean; first?: number }
interface Kind { words: string; layer: 'intakes' | 'obstacles'; shape: 'point' | 'line' | 'area'; properties: Record<string, string>; size?: Size; mark?: string }

const yard: Size = { key: 'yard_area_m2', words: 'Ground that sheds to it', area: true };
const cover: Size = { key: 'cover_m', words: 'Cover over it' };
const intake = (kind: string, words: string, mark: string, size: Size): Kind => ({ words, layer: 'intakes', shape: 'point', properties: { kind }, size, mark });
const obstacle = (kind: string, words: string, shape: Kind['shape'], size?: Size, more: Record<string, string> = {}): Kind => ({ words, layer: 'obstacles', shape, properties: { kind, ...more }, ...(size ? { size } : {}) });
const utility = (name: string, words: string): Kind => obstacle('utility', words, 'line', cover, { utility: name });
const kinds: Kind[] = [
  intake('downspout', 'Downspout', 'DS', { key: 'roof_area_m2', words: 'Roof that sheds to it', area: true }),
  intake('yard_basin', 'Yard basin', 'YB', yard), intake('channel_drain', 'Channel drain', 'CD', yard), intake('window_well', 'Window well', 'WW', yard),
  intake('stair_well', 'Stair well', 'SW', yard), intake('sump', 'Sump', 'SU', yard),
  obstacle('tree', 'Tree', 'point', { key: 'radius_m', words: 'Radius of its root zone', first: 3.048 }),
  obstacle('well', 'Well', 'point', { key: 'radius_m', words: 'Radius', first: 0.1524 }),
  utility('water', 'Water line'), utility('sewer', 'Sewer line'), utility('gas', 'Gas line'), utility('electric', 'Electric line'), utility('communications', 'Telephone or cable'),
  obstacle('irrigation', 'Irrigation line', 'line', cover), obstacle('existing_drain', 'Existing drain', 'line', cover),
  obstacle('wall', 'Wall', 'line', { key: 'width_m', words: 'Width', first: 0.3048 }), obstacle('fence', 'Fence', 'line'),
  obstacle('paving', 'Paving', 'area'), obstacle('pool', 'Pool', 'area'), obstacle('shed', 'Shed', 'area'), obstacle('septic', 'Septic system', 'area'), obstacle('other', 'Something else', 'area'),
];
const kind = (): Kind => kinds[+choice('addKind').value] ?? kinds[0]!;

const ways: Record<Kind['shape'], string> = {
  point: 'click where it is', line: 'click its points, the last twice', area: 'click its corners, then the first again',
};
export const addHelp = (): string => { const k = kind(); return `Add: ${k.words.toLowerCase()}: ${ways[k.shape]}. ${k.size && k.size.first === undefined ? 'Its size may be left out. ' : ''}What is wrong goes by undo, or by Move things.`; };

/** What the control of the size says of the kind chosen. */
export function askSize(): void {
  const s = kind().size;
  $('addSizeBox').hidden = !s;
  $('addSizeWords').textContent = s ? `${s.words}, ${s.area ? u.areaUnit() : u.lengthUnit()}` : '';
  input('addSize').value = s?.first === undefined ? '' : String(+u.shownLength(s.first).toFixed(2));
}

/** Metres or square metres of what was typed; null: nothing; NaN: no size. */
function typed(s: Size): number | null {
  const t = input('addSize').value.trim(), v = Number(t);
  if (t === '') return s.first === undefined ? null : NaN;
  return v > 0 && Number.isFinite(v) ? +(s.area ? u.typedArea(v) : u.typedLength(v)).toFixed(4) : NaN;
}

/** A name that no intake, inlet or outlet bears. */
function freeName(mark: string): string {
  const borne = new Set([...['intakes', 'inlets', 'outlets'].flatMap(l => features(state.doc, l)), ...state.edits.added.map(a => a.feature)].flatMap(f => [f.id, f.properties?.intake, f.properties?.inlet, f.properties?.outlet].map(String)));
  let n = 1;
  while (borne.has(`${state.lot}-${mark}${n}`)) n++;
  return `${state.lot}-${mark}${n}`;
}

/** A place was given: a point stands there; of a line or an area it is the next corner, or the one again that ends it. */
export function place(p: XY): void {
  const k = kind(), pts = board.tape, near = (q: XY | undefined): boolean => !!q && Math.hypot(q[0] - p[0], q[1] - p[1]) * board.view.k < 14;
  if (k.shape === 'point') { put([p]); return; }
  if (pts.length && near(k.shape === 'line' ? pts.at(-1) : pts[0])) { finish(); return; }
  board.tape = [...pts, p]; board.redraw();
  button('addFinish').hidden = board.tape.length < (k.shape === 'line' ? 2 : 3);
  tell(`${k.words}: ${ways[k.shape]}.`);
}
export function finish(): void {
  const k = kind(), least = k.shape === 'line' ? 2 : 3;
  if (board.tape.length < least) { tell(`${k.words}: ${least} points are the least.`); return; }
  if (put(board.tape)) { board.tape = []; button('addFinish').hidden = true; board.redraw(); }
}
export function dropCorner(): void { board.tape = board.tape.slice(0, -1); board.redraw(); }

function put(pts: XY[]): boolean {
  const plane = state.plane, k = kind(), lot = board.lotAt(pts[0]!)?.name;
  if (!plane || !state.lot) return false;
  if (k.layer === 'intakes' && lot !== state.lot) { tell(`This does not lie on lot ${state.lot}, which is the one that is planned.`); return false; }
  const size = k.size ? typed(k.size) : null;
  if (Number.isNaN(size)) { tell(`${k.words}: ${k.size!.words.toLowerCase()} is to be a number above nothing${k.size!.first === undefined ? ', or left out' : ''}.`); $('addSize').focus(); return false; }
  const at = pts.map(p => plane.toDoc(p)), name = k.mark ? freeName(k.mark) : '';
  const properties = { ...k.properties, ...(lot ? { lot } : {}), ...(name ? { intake: name } : {}), ...(k.size && size !== null ? { [k.size.key]: size } : {}) };
  const geometry = k.shape === 'point' ? { type: 'Point', coordinates: at[0]! } : k.shape === 'line' ? { type: 'LineString', coordinates: at } : { type: 'Polygon', coordinates: [[...at, at[0]!]] };
  change({ ...state.edits, added: [...state.edits.added, { layer: k.layer, feature: { type: 'Feature', geometry, properties } }] }, replanAndCheck);
  tell(`${name || k.words} is added. Click for the next.`);
  return true;
}

/** Takes what is chosen among what can be moved off the site. */
export function takeAway(key: string): void {
  const h = board.handles.find(one => one.key === key);
  if (!h) return;
  change({ ...state.edits, gone: [...state.edits.gone, key] }, replanAndCheck);
  tell(`${h.text} is taken away; undo brings it back.`);
}

export function startThings(): void {
  choice('addKind').replaceChildren(...kinds.map((k, i) => new Option(k.words, String(i))));
  choice('addKind').onchange = () => { askSize(); board.tape = []; button('addFinish').hidden = true; board.redraw(); if (board.mode === 'add') $('modeHelp').textContent = addHelp(); };
  button('addFinish').onclick = finish;
  board.handlers.place = place;
  askSize();
}
