// What stands over the ground, in SVG: the plan, the drawn route, shots, marks,
// the reader's place. While the plan is panned the whole drawing is moved; it is
// made anew when the scale changes or it was moved far. What a hand drags is a
// drawing of its own above the rest, so that the browser paints a line and not
// the plan under it for every step of the hand. Words and marks are placed so that
// no two touch (labels.ts), anew when the view has come to rest.

import type { Board } from './board';
import { svg } from './dom';
import { around, plateOf, plates, Room, touch, write, type Kind, type Plate } from './labels';
import { distance, part } from './plane';
import type { Lot } from './scene';
import { widest } from './shapes';
import type { Box, Finding, XY } from './answers';
import { elevation } from './units';

const rank: Record<string, number> = { stop: 0, warn: 1, note: 2 };
/** What stands on the plan while the hand draws: words, or a mark with the numbers of its findings. */
interface Standing { plate: Plate; drawn: SVGElement[]; numbers: number[]; hidden: boolean }
/** Milliseconds without a move after which the view is at rest. */
const rest = 120;
/** Pixels that the plan may be panned before words are placed on what came into sight. */
const fresh = 110;

export class Over {
  private readonly layers: Record<'plan' | 'built' | 'names' | 'route' | 'grips' | 'words' | 'top', SVGGElement>;
  private readonly dirty = new Set<keyof Over['layers']>();
  private standing: Standing[] = [];
  /** What lies over the plan, buttons and lines of text, when the words were placed; and by how much it was moved then. */
  private furniture: Plate[] = [];
  private placed: XY = [0, 0];
  /** The planned pipes, which words rather do not cross. */
  private pipes: Plate[] = [];
  private waiting = 0;
  private moved: XY = [0, 0]; // pixels that the whole is shifted by
  private from = { x: 0, y: 0, k: 0 };

  constructor(private readonly board: Board, private readonly sheets: SVGSVGElement[]) {
    const g = () => svg('g', {});
    this.layers = { plan: g(), built: g(), names: g(), route: g(), grips: g(), words: g(), top: g() };
    const { plan, built, names, route, grips, words, top } = this.layers;
    sheets[0]!.replaceChildren(plan, built, names);
    sheets[1]!.replaceChildren(route, grips, words, top);
    const sizes = new ResizeObserver(() => this.later());
    for (const e of board.sheet.querySelectorAll('#live, #tale')) sizes.observe(e);
  }
  /** Words are placed anew when nothing has moved for a while. */
  private later(): void {
    clearTimeout(this.waiting);
    this.board.sheet.dataset.words = 'moving';
    this.waiting = window.setTimeout(() => { if (this.board.hand) { this.later(); return; } this.dirty.add('names'); this.board.draw(); }, rest);
  }
  all(): void { for (const k of Object.keys(this.layers) as (keyof Over['layers'])[]) this.dirty.add(k); }
  route(): void { this.dirty.add('route'); }
  grips(): void { this.dirty.add('grips'); }

  draw(): void {
    const b = this.board, v = b.view;
    const dx = (this.from.x - v.x) * v.k, dy = (v.y - this.from.y) * v.k;
    if (this.from.k !== v.k || Math.abs(dx) > b.width / 2 || Math.abs(dy) > b.height / 2) this.all();
    if (this.dirty.size === Object.keys(this.layers).length) {
      this.from = { ...v }; this.moved = [0, 0];
      for (const s of this.sheets) { s.style.transform = ''; s.setAttribute('viewBox', `0 0 ${b.width} ${b.height}`); }
    } else if (dx !== this.moved[0] || dy !== this.moved[1]) {
      this.moved = [dx, dy]; for (const s of this.sheets) s.style.transform = `translate(${dx}px,${dy}px)`;
      if (Math.hypot(dx - this.placed[0], dy - this.placed[1]) > fresh) this.dirty.add('names');
      this.later();
    }
    if (!b.plane) { for (const g of Object.values(this.layers)) g.replaceChildren(); this.dirty.clear(); return; }
    if (this.dirty.has('names')) { clearTimeout(this.waiting); b.sheet.dataset.words = 'placed'; }
    if (['names', 'route', 'grips'].some(k => this.dirty.has(k as keyof Over['layers']))) this.dirty.add('words');
    // the hand's words come after what they have to keep clear of
    for (const k of Object.keys(this.layers) as (keyof Over['layers'])[]) if (this.dirty.has(k)) {
      const made = this[`make_${k}`]();
      if (k === 'route' || k === 'grips' || k === 'words') renew(this.layers[k], made); else this.layers[k].replaceChildren(...made);
    }
    this.dirty.clear();
  }

  /** Pixels of the drawing, which may be moved. */
  private place(p: readonly number[]): XY { const s = this.board.screen(p); return [s[0] - this.moved[0], s[1] - this.moved[1]]; }
  private doc(p: readonly number[]): XY { return this.place(this.board.plane!.toPlane(p)); }
  private line(points: XY[], attributes: Record<string, string | number>): SVGElement {
    return svg('polyline', { points: points.map(p => `${p[0].toFixed(1)},${p[1].toFixed(1)}`).join(' '), fill: 'none', 'stroke-linejoin': 'round', 'stroke-linecap': 'round', ...attributes });
  }

  private make_plan(): SVGElement[] {
    const b = this.board, { plan, on } = b, out: SVGElement[] = [];
    const lot = b.scene?.lot(b.lot);
    if (lot) for (const s of lot.shapes) for (const r of s.parts) {
      const pts: XY[] = [];
      for (let i = 0; i < r.length; i += 2) pts.push(this.place([r[i]!, r[i + 1]!]));
      out.push(svg('polygon', { points: pts.map(p => `${p[0].toFixed(1)},${p[1].toFixed(1)}`).join(' '), class: 'chosenLot' }));
    }
    if (!plan) return out;
    if (on.flows) for (const o of plan.overflow ?? []) {
      const path = o.path?.coordinates ?? o.path;
      if (!Array.isArray(path)) continue;
      const pts = path.map((p: number[]) => this.doc(p)), n = pts.length;
      out.push(this.line(pts, { class: 'spill' }));
      if (n > 1) { const a = pts[n - 2]!, z = pts[n - 1]!, turn = Math.atan2(z[1] - a[1], z[0] - a[0]) * 180 / Math.PI; out.push(svg('path', { class: 'spillHead', d: 'M0 0L-9-4L-9 4Z', transform: `translate(${z[0].toFixed(1)} ${z[1].toFixed(1)}) rotate(${turn.toFixed(1)})` })); }
    }
    if (on.ponds && !b.ground) for (const p of plan.ponds ?? []) {
      if (!p.location) continue;
      const q = this.doc(p.location), r = Math.max(5, Math.sqrt((p.area_m2 ?? 1) / Math.PI) * b.view.k);
      out.push(svg('circle', { cx: q[0], cy: q[1], r, class: 'pond' }));
    }
    if (!on.network) return out;
    const all = plan.network?.features ?? [], runs = all.filter(f => f.geometry?.type === 'LineString');
    for (const f of runs) out.push(this.line(f.geometry!.coordinates.map((p: number[]) => this.doc(p)), { class: 'casing' }));
    for (const f of runs) {
      const p = f.properties!, w = 2 + Math.min(4, (p.diameter_mm ?? 100) / 75), pts: XY[] = f.geometry!.coordinates.map((q: number[]) => this.doc(q));
      out.push(this.line(pts, { class: 'pipe', 'stroke-width': w, ...(p.pipe === 'perforated' ? { 'stroke-dasharray': `${w * 1.6} ${w * 1.5}`, 'stroke-linecap': 'butt' } : {}) }));
    }
    for (const f of all) if (f.geometry?.type === 'Point' && b.view.k > 1.5) {
      const s = this.doc(f.geometry.coordinates), kind = f.properties?.kind;
      if (kind === 'cleanout') out.push(svg('circle', { cx: s[0], cy: s[1], r: 4.5, class: 'node open' }));
      else if (kind !== 'intake' && kind !== 'inlet') out.push(svg('circle', { cx: s[0], cy: s[1], r: 2.6, class: 'node' }));
    }
    return out;
  }

  private make_built(): SVGElement[] {
    const { built, on } = this.board, out: SVGElement[] = [];
    if (!built || !on.built) return out;
    for (const s of built.stretches) { const pts = s.line.map(p => this.place(p)); out.push(this.line(pts, { class: 'bad' }), this.line(pts, { class: 'badDash' })); }
    for (const s of built.shots) {
      const [x, y] = this.place(s.at);
      out.push(svg('path', { d: `M${(x - 4).toFixed(1)} ${(y - 4).toFixed(1)}l8 8m0-8l-8 8`, class: s.bad ? 'shot off' : 'shot' }));
    }
    return out;
  }

  private make_route(): SVGElement[] {
    const b = this.board, out: SVGElement[] = [];
    if (b.tape.length) {
      const pts = b.tape.map(p => this.place(p));
      out.push(this.line(pts, { class: 'tape' }), ...pts.map(p => svg('circle', { cx: p[0], cy: p[1], r: 4, class: 'tapeEnd' })));
    }
    if (!b.route.length) return out;
    const pts = b.route.map(p => b.plane!.toPlane(p)), seen = pts.map(p => this.place(p));
    out.push(this.line(seen, { class: 'routeCasing' }), this.line(seen, { class: 'route' }));
    for (const s of b.stretches) {
      const piece = part(pts, s.from_m, s.to_m).map(p => this.place(p));
      if (piece.length < 2) continue;
      out.push(this.line(piece, { class: 'bad' }), this.line(piece, { class: 'badDash' }));
      const arrow = s.mend?.geometry?.coordinates as number[][] | undefined;
      if (arrow?.length === 2) out.push(...this.mend(piece, this.doc(arrow[0]!), this.doc(arrow[1]!), !!s.shift_mends));
    }
    seen.forEach((s, i) => out.push(svg('rect', { x: s[0] - 6, y: s[1] - 6, width: 12, height: 12, class: 'handle', 'data-vertex': i })));
    return out;
  }

  /** Where the smallest shift brings a stretch, and the way there; a shift that leaves it too near to something else is drawn hollow. */
  private mend(piece: XY[], from: XY, to: XY, whole: boolean): SVGElement[] {
    const by: XY = [to[0] - from[0], to[1] - from[1]], long = Math.hypot(...by);
    if (long < 1) return [];
    const cls = whole ? 'mend' : 'mend part', x = by[0] / long, y = by[1] / long;
    return [
      ...whole ? [this.line(piece.map((p): XY => [p[0] + by[0], p[1] + by[1]]), { class: 'mendLine' })] : [],
      this.line([from, to], { class: 'mendCasing' }), this.line([from, to], { class: cls }),
      // by points, not by a transform, which the browser would take for a change of style at each step of the hand
      svg('polygon', { class: cls, points: [[0, 0], [-10, -5], [-10, 5]].map(([a, c]) => `${(to[0] + a! * x - c! * y).toFixed(1)},${(to[1] + a! * y + c! * x).toFixed(1)}`).join(' ') }),
    ];
  }

  private make_grips(): SVGElement[] {
    const b = this.board;
    return b.mode !== 'move' ? [] : b.handles.map(h => { const s = this.place(h.at); return svg('circle', { cx: s[0], cy: s[1], r: 11, class: 'grip' }); });
  }

  // --- words and marks ---------------------------------------------------------

  /** The screen in pixels of the drawing, with what lies over the plan taken out. */
  private room(taken: Plate[] = []): Room {
    const [x, y] = this.moved;
    return new Room(-x, -y, this.board.width, this.board.height, [...this.furniture.map(p => ({ ...p, x: p.x - x, y: p.y - y })), ...taken]);
  }

  /** Words and marks from the greatest worth to the least: what is wrong with the laid pipe, findings, names, sizes, levels. */
  private make_names(): SVGElement[] {
    const b = this.board, { on, plan, scene } = b, k = b.view.k, sheet = b.sheet.getBoundingClientRect();
    this.standing = []; this.placed = [...this.moved];
    this.furniture = [...b.sheet.querySelectorAll('.zoom, #north, #bar, #live, #tale')].map(e => e.getBoundingClientRect()).filter(r => r.width > 0).map(r => ({ x: r.x + r.width / 2 - sheet.x, y: r.y + r.height / 2 - sheet.y, w: r.width, h: r.height }));
    if (!scene) return [];
    const seen = b.seen, wide: Box = [seen[0] - 20 / k, seen[1] - 20 / k, seen[2] + 20 / k, seen[3] + 20 / k];
    const points = scene.marks(wide).filter(m => on[m.layer] && k >= 0.25 && (m.layer === 'inlets' || m.layer === 'outlets'));
    const signs = points.map(m => { const s = this.place(m.at); return { x: s[0], y: s[1], w: 14, h: 14 }; }), ring = b.station && this.place(b.station);
    const room = this.room(ring ? [...signs, { x: ring[0], y: ring[1], w: 26, h: 26 }] : signs);
    const runs = (on.network ? plan?.network?.features ?? [] : []).filter(f => f.geometry?.type === 'LineString').map(f => ({ size: String(f.properties?.size), line: f.geometry!.coordinates.map((p: number[]) => this.doc(p)) as XY[] }));
    this.pipes = runs.flatMap(r => plates(r.line));
    const say = (kind: Kind, text: string | string[], places: Plate[]): void => { const p = room.take(places, this.pipes); if (p) this.standing.push({ plate: p, drawn: write(kind, [text].flat(), p), numbers: [], hidden: false }); };

    if (b.built && on.built) for (const s of b.built.stretches) {
      const m = this.sight(s.line, 0, s.line.reduce((d, p, i) => i ? d + distance(s.line[i - 1]!, p) : 0, 0));
      if (m) say('tell', ...this.sentence(s.text, m, room));
    }
    if (plan && on.marks) this.marks(room);
    if (k > 0.8) for (const m of points) if (m.text) { const s = this.place(m.at); say('name', m.text, around(plateOf('name', [m.text], s[0], s[1]), 11)); }
    const lots = on.parcels && k >= 0.9 ? scene.lots(wide) : [], size = (x: Box): number => (x[2] - x[0]) * (x[3] - x[1]);
    // a name stands within its lot, where that is wide enough for it
    const lot = (l: Lot): void => {
      const p = plateOf('name', [l.name], 0, 0);
      if ((l.box[2] - l.box[0]) * k < p.w) return;
      say('name', l.name, [0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74].flatMap(t => {
        const y = l.box[1] + t * (l.box[3] - l.box[1]), [from, to] = widest(l.shapes, y), s = this.place([(from + to) / 2, y]);
        return (to - from) * k < p.w ? [] : [{ ...p, x: s[0], y: s[1] }];
      }));
    };
    const own = lots.find(l => l.name === b.lot);
    if (own) lot(own);
    const ends = runs.map(({ size, line }) => { const a = line[0]!, z = line[line.length - 1]!; return { size, a, z, long: Math.hypot(z[0] - a[0], z[1] - a[1]) }; });
    for (const { a, z, long, size } of ends.filter(r => r.long > 48).sort((x, y) => y.long - x.long)) {
      let turn = Math.atan2(z[1] - a[1], z[0] - a[0]) * 180 / Math.PI;
      const back = turn > 90 || turn < -90, text = back ? `◂ ${size}` : `${size} ▸`; if (back) turn += 180;
      // beside the pipe, above it first
      const x = (z[0] - a[0]) / long, y = (z[1] - a[1]) / long, up = back ? -12 : 12;
      say('size', text, [0.5, 0.35, 0.65, 0.2, 0.8].flatMap(t => [up, -up].map(d => plateOf('size', [text], a[0] + t * (z[0] - a[0]) + d * y, a[1] + t * (z[1] - a[1]) - d * x, turn))));
    }
    for (const l of lots.filter(l => l !== own).sort((x, y) => size(y.box) - size(x.box))) lot(l);
    if (b.ground && on.contours && k > 3) for (const l of b.ground.levels) {
      const text = elevation(l.z).split(' ')[0]!;
      say('level', text, l.at.map(p => { const s = this.place(p); return plateOf('level', [text], s[0], s[1]); }));
    }
    return this.standing.flatMap(s => s.drawn);
  }

  /** The middle of a part of a line, or a place of it that is in sight. */
  private sight(line: XY[], from: number, to: number): XY | undefined {
    const { width, height } = this.board;
    return [0.5, 0.3, 0.7, 0.1, 0.9].flatMap(t => part(line, from + t * (to - from), to).slice(0, 1)).map(p => this.place(p)).find(q => { const x = q[0] + this.moved[0], y = q[1] + this.moved[1]; return x >= 0 && y >= 0 && x <= width && y <= height; });
  }
  /** A sentence beside a place, whole on the screen, in two lines where one is too wide; with the places where it may stand. */
  private sentence(text: string, at: XY, room: Room): [string[], Plate[]] {
    const words = plateOf('tell', [text], 0, 0).w > this.board.width - 130 ? text.split(/(?<=:) /) : [text], p = plateOf('tell', words, at[0], at[1]);
    const rows = [-1, 1, -2, 2, -3, 3, -4, 4, -6, 6].map(n => n * (p.h / 2 + 10));
    return [words, rows.flatMap(dy => [p.w / 2 + 8, 0, -p.w / 2 - 8].map(dx => room.into({ ...p, x: p.x + dx, y: p.y + dy })))];
  }

  /** Marks that would lie on each other become one, which shows the worst and how many more. */
  private marks(room: Room): void {
    const b = this.board, heaps: { at: XY; list: { severity: string; n: number; worth: number }[] }[] = [];
    (b.plan!.findings ?? []).forEach((f, i) => {
      const at = placeOf(b, f);
      if (!at) return;
      const s = this.place(at), one = { severity: f.severity, n: i + 1, worth: rank[f.severity] ?? 3 };
      const heap = heaps.find(h => Math.hypot(h.at[0] - s[0], h.at[1] - s[1]) < 34);
      if (heap) heap.list.push(one); else heaps.push({ at: s, list: [one] });
    });
    for (const h of heaps) h.list.sort((a, c) => a.worth - c.worth);
    for (const h of heaps.sort((a, c) => a.list[0]!.worth - c.list[0]!.worth)) {
      const more = h.list.length > 1 ? `+${h.list.length - 1}` : '', wide = more ? plateOf('count', [more], 0, 0).w + 3 : 0;
      const places = [20, 32, 46].flatMap(d => [[1, -1], [-1, -1], [1, 1], [-1, 1], [1.3, 0], [-1.3, 0], [0, -1.4], [0, 1.4]].map(([x, y]): Plate => ({ x: h.at[0] + x! * d + wide / 2, y: h.at[1] + y! * d, w: 27 + wide, h: 27 })));
      const p = room.take(places);
      if (p) this.standing.push({ plate: p, drawn: mark(h.list[0]!.severity, p.x - wide / 2, p.y, h.list[0]!.n, h.at, more), numbers: h.list.map(one => one.n), hidden: false });
    }
  }
  /** The numbers of the findings whose mark stands at a place of the screen. */
  marksAt(s: XY): number[] {
    const x = s[0] - this.moved[0], y = s[1] - this.moved[1];
    return this.standing.find(m => !m.hidden && Math.abs(m.plate.x - x) < m.plate.w / 2 + 4 && Math.abs(m.plate.y - y) < m.plate.h / 2 + 4)?.numbers ?? [];
  }

  /** The words of what the hand draws or moves: they keep clear of what stands, or it gives way to them when the hand lets go. */
  private make_words(): SVGElement[] {
    const b = this.board, out: SVGElement[] = [], seen = b.route.map(p => this.doc(p)), hand: Plate[] = [];
    const corners = seen.map((s): Plate => ({ x: s[0], y: s[1], w: 12, h: 12 })), rings = b.mode === 'move' ? b.handles.map((h): Plate => { const s = this.place(h.at); return { x: s[0], y: s[1], w: 24, h: 24 }; }) : [];
    if (b.station) { const s = this.place(b.station); corners.push({ x: s[0], y: s[1], w: 26, h: 26 }); }
    const clear = this.room([...corners, ...rings, ...this.standing.map(s => s.plate)]), bare = this.room([...corners, ...rings]), lines = [...this.pipes, ...plates(seen)];
    const say = (kind: Kind, words: string[], places: Plate[]): boolean => {
      const p = clear.take(places, lines) ?? (b.hand ? null : bare.take(places, lines)); // while it drags nothing else is painted anew
      if (!p) return false;
      clear.taken.push(p); bare.taken.push(p); hand.push(p);
      out.push(...write(kind, words, p));
      return true;
    };
    const pts = b.route.map(p => b.plane!.toPlane(p));
    let told = 0;
    for (const s of [...b.stretches].sort((a, c) => (c.short_m ?? 0) - (a.short_m ?? 0))) {
      if (!s.text || told === 4) continue; // the list beside the plan has them all
      const m = this.sight(pts, s.from_m, s.to_m);
      if (m && say('tell', ...this.sentence(s.text, m, bare))) told++;
    }
    if (b.mode === 'move') b.handles.forEach((h, i) => { if (h.text) say('gripText', [h.text], around(plateOf('gripText', [h.text], rings[i]!.x, rings[i]!.y), 16)); });
    if (!b.hand) for (const s of this.standing) {
      const hide = hand.some(p => touch(p, s.plate));
      if (hide !== s.hidden) { s.hidden = hide; for (const e of s.drawn) e.style.visibility = hide ? 'hidden' : ''; }
    }
    return out;
  }

  private make_top(): SVGElement[] {
    const b = this.board, out: SVGElement[] = [];
    if (b.here) {
      const s = this.place(b.here.at), r = Math.max(7, b.here.accuracy * b.view.k);
      out.push(svg('circle', { cx: s[0], cy: s[1], r, class: 'accuracy' }), svg('circle', { cx: s[0], cy: s[1], r: 5, class: 'hereDot' }));
    }
    if (b.station) { const s = this.place(b.station); out.push(svg('circle', { cx: s[0], cy: s[1], r: 12, class: 'standOuter' }), svg('circle', { cx: s[0], cy: s[1], r: 12, class: 'stand' })); }
    if (b.cross) { const s = this.place(b.cross); out.push(svg('path', { d: `M${s[0] - 16} ${s[1]}h32M${s[0]} ${s[1] - 16}v32`, class: 'cross' })); }
    return out;
  }
}

/**
 * Makes what a hand draws look as it was made now. What was there stays and is
 * given what differs: for elements that are new to it the browser works out
 * styles and places once more, which takes longer than making them.
 */
function renew(g: SVGGElement, made: SVGElement[]): void {
  const had = [...g.children];
  made.forEach((e, i) => {
    const old = had[i];
    if (!old || old.tagName !== e.tagName) { if (old) old.replaceWith(e); else g.append(e); return; }
    for (const { name } of [...old.attributes]) if (!e.hasAttribute(name)) old.removeAttribute(name);
    for (const { name, value } of e.attributes) if (old.getAttribute(name) !== value) old.setAttribute(name, value);
    const text = old.firstChild;
    if (text instanceof Text && e.firstChild) { if (text.data !== e.textContent) text.data = e.textContent!; } else if (text || e.firstChild) old.replaceChildren(...e.childNodes);
  });
  for (const old of had.slice(made.length)) old.remove();
}

/** Where a finding stands: its own place, or that of the run or point that it names. */
export function placeOf(b: Board, f: Finding): XY | null {
  if (!b.plane) return null;
  if (f.location) return b.plane.toPlane(f.location);
  const one = (b.plan?.network?.features ?? []).find(n => n.id === f.feature || n.properties?.run === f.feature);
  if (!one?.geometry) return null;
  const c: number[][] = one.geometry.type === 'Point' ? [one.geometry.coordinates] : one.geometry.coordinates;
  const a = b.plane.toPlane(c[0]!), z = b.plane.toPlane(c[c.length - 1]!);
  return [(a[0] + z[0]) / 2, (a[1] + z[1]) / 2];
}

/** A numbered mark, its severity by shape: stop a square, warning a triangle, note a ring. */
function mark(severity: string, x: number, y: number, n: number, from: XY, more: string): SVGElement[] {
  const long = Math.hypot(x - from[0], y - from[1]), t = Math.max(0, 1 - 8 / long);
  const d = severity === 'stop' ? 'M-11-11h22v22h-22z' : severity === 'warn' ? 'M0-13L13 10H-13z' : 'M0-10a10 10 0 1 0 .01 0z';
  const g = svg('g', { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})`, class: `mark ${severity === 'stop' || severity === 'warn' ? severity : 'note'}` });
  g.append(svg('path', { d }), svg('text', { y: severity === 'warn' ? 7 : 4, 'text-anchor': 'middle' }, String(n)));
  if (more) g.append(svg('text', { x: 15, y: 4, class: 'more' }, more));
  return [svg('path', { d: `M${from[0].toFixed(1)} ${from[1].toFixed(1)}L${(from[0] + t * (x - from[0])).toFixed(1)} ${(from[1] + t * (y - from[1])).toFixed(1)}`, class: 'leader' }), g];
}
