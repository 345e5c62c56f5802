// Features as the plan paints them: in metres of the drawing's plane, found by
// where they lie.

import type { Box, Feature, Geometry, Properties } from './answers';
import type { Plane } from './plane';
import { grow } from './site';

/** A feature's outline: x and y in turn, a part a ring, line or point. */
export interface Shape { area: boolean; parts: Float64Array[]; box: Box; properties: Properties }

const empty = (): Box => [Infinity, Infinity, -Infinity, -Infinity];

/** The shapes of a feature, of which a geometry collection has several. */
export function shapesOf(f: Feature, plane: Plane): Shape[] {
  const out: Shape[] = [], properties = f.properties ?? {};
  const trace = (g: Geometry | null | undefined): void => {
    if (!g) return;
    if (g.type === 'GeometryCollection') { for (const one of g.geometries ?? []) trace(one); return; }
    const shape: Shape = { area: /Polygon$/.test(g.type), parts: [], box: empty(), properties };
    const line = (c: unknown): void => {
      if (!Array.isArray(c)) return;
      const xy = new Float64Array(2 * c.length);
      let n = 0;
      for (const p of c) {
        if (!Array.isArray(p) || !Number.isFinite(p[0]) || !Number.isFinite(p[1])) continue;
        const q = plane.toPlane(p);
        grow(shape.box, q); xy[n++] = q[0]; xy[n++] = q[1];
      }
      if (n) shape.parts.push(n < xy.length ? xy.slice(0, n) : xy);
    };
    const each = (c: unknown, then: (one: unknown) => void): void => { if (Array.isArray(c)) c.forEach(then); };
    switch (g.type) {
      case 'Point': line([g.coordinates]); break;
      case 'MultiPoint': each(g.coordinates, p => line([p])); break;
      case 'LineString': line(g.coordinates); break;
      case 'MultiLineString': case 'Polygon': each(g.coordinates, line); break;
      case 'MultiPolygon': each(g.coordinates, p => each(p, line)); break;
    }
    if (shape.parts.length) out.push(shape);
  };
  trace(f.geometry);
  return out;
}

/** Whether a point lies in a shape, holes taken out. */
export function holds(s: Shape, x: number, y: number): boolean {
  let inside = false;
  for (const p of s.parts) for (let i = 0, j = p.length - 2; i < p.length; j = i, i += 2) {
    const xi = p[i]!, yi = p[i + 1]!, xj = p[j]!, yj = p[j + 1]!;
    if (yi > y !== yj > y && x < (xj - xi) * (y - yi) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}

/** The widest piece of areas along a line from west to east, from and to; nothing there: the same twice. */
export function widest(areas: Shape[], y: number): [number, number] {
  const at: number[] = [];
  for (const s of areas) for (const p of s.parts) for (let i = 0, j = p.length - 2; i < p.length; j = i, i += 2) {
    const yi = p[i + 1]!, yj = p[j + 1]!;
    if (yi > y !== yj > y) at.push(p[i]! + (y - yi) / (yj - yi) * (p[j]! - p[i]!));
  }
  at.sort((a, b) => a - b);
  let best: [number, number] = [0, 0];
  for (let i = 0; i + 1 < at.length; i += 2) if (at[i + 1]! - at[i]! > best[1] - best[0]) best = [at[i]!, at[i + 1]!];
  return best;
}

export const touches = (a: Box, b: Box): boolean => a[0] <= b[2] && a[2] >= b[0] && a[1] <= b[3] && a[3] >= b[1];

/** Things with boxes, found by box: sorted into strips and tiles once, sixteen to a node. */
export class Index<T extends { box: Box }> {
  private readonly nodes: { box: Box; from: number; to: number }[][] = [];
  readonly items: T[];
  constructor(items: T[]) {
    const middle = (b: Box, k: 0 | 1) => b[k] + b[k + 2 as 2 | 3];
    const strips = Math.ceil(Math.sqrt(items.length / 16)) || 1, wide = Math.ceil(items.length / strips);
    const byX = [...items].sort((a, b) => middle(a.box, 0) - middle(b.box, 0));
    this.items = [];
    for (let i = 0; i < byX.length; i += wide) this.items.push(...byX.slice(i, i + wide).sort((a, b) => middle(a.box, 1) - middle(b.box, 1)));
    let below: { box: Box }[] = this.items;
    while (below.length > 1) {
      const level: { box: Box; from: number; to: number }[] = [];
      for (let i = 0; i < below.length; i += 16) {
        const box = empty(), to = Math.min(i + 16, below.length);
        for (let k = i; k < to; k++) { const b = below[k]!.box; grow(box, b); grow(box, [b[2], b[3]]); }
        level.push({ box, from: i, to });
      }
      this.nodes.push(level);
      if (level.length === 1) break;
      below = level;
    }
  }
  /** Those whose boxes touch a box, in no order. */
  within(box: Box): T[] {
    const out: T[] = [];
    if (!this.nodes.length) return this.items.filter(i => touches(i.box, box));
    const down = (level: number, from: number, to: number): void => {
      for (let k = from; k < to; k++) {
        if (level < 0) { const i = this.items[k]!; if (touches(i.box, box)) out.push(i); continue; }
        const n = this.nodes[level]![k]!;
        if (touches(n.box, box)) down(level - 1, n.from, n.to);
      }
    };
    down(this.nodes.length - 1, 0, this.nodes[this.nodes.length - 1]!.length);
    return out;
  }
}
