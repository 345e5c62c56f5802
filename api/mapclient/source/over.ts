// What stands over the ground, in SVG: the plan, the drawn route, shots, marks,
// the reader's place. While the plan is panned the whole drawing is moved; it is
// made anew when the scale changes or it was moved far. What a hand drags is a
// drawing of its own above the rest, so that the browser paints a line and not
// the plan under it for every step of the hand.

import type { Board } from './board';
import { svg } from './dom';
import { part } from './plane';
import type { Finding, XY } from './answers';

interface Heap { at: XY; list: { severity: string; n: number; worth: number }[] }
const rank: Record<string, number> = { stop: 0, warn: 1, note: 2 };

export class Over {
  private readonly layers: Record<'plan' | 'route' | 'grips' | 'marks' | 'built' | 'top', SVGGElement>;
  private readonly dirty = new Set<keyof Over['layers']>();
  private heaps: Heap[] = [];
  private moved: XY = [0, 0]; // pixels that the whole is shifted by
  private from = { x: 0, y: 0, k: 0 };

  constructor(private readonly board: Board, private readonly sheets: SVGSVGElement[]) {
    const g = () => svg('g', {});
    this.layers = { plan: g(), built: g(), marks: g(), route: g(), grips: g(), top: g() };
    const { plan, built, marks, route, grips, top } = this.layers;
    sheets[0]!.replaceChildren(plan, built, marks);
    sheets[1]!.replaceChildren(route, grips, top);
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
    } else if (dx !== this.moved[0] || dy !== this.moved[1]) { this.moved = [dx, dy]; for (const s of this.sheets) s.style.transform = `translate(${dx}px,${dy}px)`; }
    if (!b.plane) { for (const g of Object.values(this.layers)) g.replaceChildren(); this.dirty.clear(); return; }
    for (const k of this.dirty) this.layers[k].replaceChildren(...this[`make_${k}`]());
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
      const a = pts[0]!, z = pts[pts.length - 1]!, long = Math.hypot(z[0] - a[0], z[1] - a[1]);
      if (long <= 48) continue;
      let turn = Math.atan2(z[1] - a[1], z[0] - a[0]) * 180 / Math.PI;
      const back = turn > 90 || turn < -90; if (back) turn += 180;
      out.push(svg('text', { class: 'size', transform: `translate(${((a[0] + z[0]) / 2).toFixed(1)} ${((a[1] + z[1]) / 2).toFixed(1)}) rotate(${turn.toFixed(1)})`, y: -8, 'text-anchor': 'middle' }, back ? `◂ ${p.size}` : `${p.size} ▸`));
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
    const told: XY[] = [];
    for (const s of built.stretches) {
      const pts = s.line.map(p => this.place(p));
      out.push(this.line(pts, { class: 'bad' }), this.line(pts, { class: 'badDash' }));
      const m = pts[pts.length >> 1]!, left = m[0] > this.board.width / 2;
      let y = m[1] - 18;
      while (told.some(t => Math.abs(t[1] - y) < 17 && Math.abs(t[0] - m[0]) < 220)) y -= 17;
      told.push([m[0], y]);
      out.push(svg('text', { x: (m[0] + (left ? -9 : 9)).toFixed(1), y: y.toFixed(1), class: 'tell', 'text-anchor': left ? 'end' : 'start' }, s.text));
    }
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
    const told: number[] = [];
    for (const s of [...b.stretches].sort((a, c) => (c.short_m ?? 0) - (a.short_m ?? 0))) {
      const piece = part(pts, s.from_m, s.to_m).map(p => this.place(p));
      if (piece.length < 2) continue;
      out.push(this.line(piece, { class: 'bad' }), this.line(piece, { class: 'badDash' }));
      const arrow = s.mend?.geometry?.coordinates as number[][] | undefined;
      if (arrow?.length === 2) out.push(...this.mend(piece, this.doc(arrow[0]!), this.doc(arrow[1]!), !!s.shift_mends));
      if (told.length === 4) continue; // the list beside the plan has them all
      const m = piece[piece.length >> 1]!, wide = 7.6 * (s.text ?? '').length; // 13 px bold, about
      let y = m[1] - 16;
      while (told.some(t => Math.abs(t - y) < 17) || (y > m[1] - 12 && y < m[1] + 18)) y += 6;
      told.push(y);
      out.push(svg('text', { x: Math.max(6, Math.min(m[0] + 8, b.width - wide - 6)).toFixed(1), y: y.toFixed(1), class: 'tell' }, s.text ?? ''));
    }
    seen.forEach((s, i) => out.push(svg('rect', { x: s[0] - 6, y: s[1] - 6, width: 12, height: 12, class: 'handle', 'data-vertex': i })));
    return out;
  }

  /** Where the smallest shift brings a stretch, and the way there; a shift that leaves it too near to something else is drawn hollow. */
  private mend(piece: XY[], from: XY, to: XY, whole: boolean): SVGElement[] {
    const by: XY = [to[0] - from[0], to[1] - from[1]], long = Math.hypot(...by);
    if (long < 1) return [];
    const turn = (Math.atan2(by[1], by[0]) * 180 / Math.PI).toFixed(1), cls = whole ? 'mend' : 'mend part';
    return [
      ...whole ? [this.line(piece.map((p): XY => [p[0] + by[0], p[1] + by[1]]), { class: 'mendLine' })] : [],
      this.line([from, to], { class: 'mendCasing' }), this.line([from, to], { class: cls }),
      svg('path', { class: cls, d: 'M0 0L-10-5L-10 5Z', transform: `translate(${to[0].toFixed(1)} ${to[1].toFixed(1)}) rotate(${turn})` }),
    ];
  }

  private make_grips(): SVGElement[] {
    const b = this.board;
    return b.mode !== 'move' ? [] : b.handles.flatMap(h => {
      const s = this.place(h.at), ring = svg('circle', { cx: s[0], cy: s[1], r: 11, class: 'grip' });
      return h.text ? [ring, svg('text', { x: s[0] + 13, y: s[1] + 4, class: 'gripText' }, h.text)] : [ring];
    });
  }

  /** Marks that would lie on each other become one, which shows the worst and how many more. */
  private make_marks(): SVGElement[] {
    const b = this.board, out: SVGElement[] = [];
    this.heaps = [];
    if (!b.plan || !b.on.marks) return out;
    (b.plan.findings ?? []).forEach((f, i) => {
      const at = placeOf(b, f);
      if (!at) return;
      const s = this.place(at), one = { severity: f.severity, n: i + 1, worth: rank[f.severity] ?? 3 };
      const heap = this.heaps.find(h => Math.hypot(h.at[0] - s[0], h.at[1] - s[1]) < 34);
      if (heap) heap.list.push(one); else this.heaps.push({ at: s, list: [one] });
    });
    for (const h of this.heaps) { h.list.sort((a, c) => a.worth - c.worth); mark(out, h.list[0]!.severity, h.at[0] + 20, h.at[1] - 20, h.list[0]!.n, h.at, h.list.length - 1); }
    return out;
  }
  /** The numbers of the findings whose mark stands at a place of the screen. */
  marksAt(s: XY): number[] {
    const x = s[0] - this.moved[0], y = s[1] - this.moved[1];
    return this.heaps.find(h => Math.hypot(h.at[0] + 20 - x, h.at[1] - 20 - y) < 17)?.list.map(one => one.n) ?? [];
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
function mark(out: SVGElement[], severity: string, x: number, y: number, n: number, from: XY, more: number): void {
  out.push(svg('path', { d: `M${from[0].toFixed(1)} ${from[1].toFixed(1)}L${(x - 6).toFixed(1)} ${(y + 6).toFixed(1)}`, class: 'leader' }));
  const d = severity === 'stop' ? 'M-11-11h22v22h-22z' : severity === 'warn' ? 'M0-13L13 10H-13z' : 'M0-10a10 10 0 1 0 .01 0z';
  const g = svg('g', { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})`, class: `mark ${severity === 'stop' || severity === 'warn' ? severity : 'note'}` });
  g.append(svg('path', { d }), svg('text', { y: severity === 'warn' ? 7 : 4, 'text-anchor': 'middle' }, String(n)));
  if (more) g.append(svg('text', { x: 14, y: 4, class: 'more' }, `+${more}`));
  out.push(g);
}
