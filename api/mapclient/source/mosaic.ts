// The ground below the plan, painted in square pieces that are kept: a pan only
// moves them, and what is missing is painted a few milliseconds a frame, so that
// the hand is never waited for.

import type { Box, XY } from './answers';
import type { Shape } from './shapes';
import { touches } from './shapes';

/** Side of a piece, pixels of the screen. */
const side = 256;
/** Of a frame, for painting, milliseconds. */
const share = 7;
/** Pieces kept at most, by pixels. */
const mostPixels = 24e6;

/** What paints one piece: yields now and then so that the frame can end. */
export type Painter = (c: CanvasRenderingContext2D, box: Box, pen: Pen) => Generator<void, void, void>;

/** From metres of the plane to pixels of a piece. */
export class Pen {
  private readonly x0: number;
  private readonly y0: number;
  constructor(readonly k: number, i: number, j: number) { this.x0 = side * i; this.y0 = side * j; }
  at(p: readonly number[]): XY { return [p[0]! * this.k - this.x0, -p[1]! * this.k - this.y0]; }
  /** Adds a shape to the path; points nearer than a third of a pixel to the last are passed over. Gives the count of points. */
  trace(c: CanvasRenderingContext2D, s: Shape, radius: number): number {
    const { k, x0, y0 } = this;
    let n = 0;
    for (const p of s.parts) {
      const last = p.length - 2;
      let x = p[0]! * k - x0, y = -p[1]! * k - y0;
      if (last === 0) { const r = radius * k; c.moveTo(x + r, y); c.arc(x, y, r, 0, 7); n += 8; continue; }
      c.moveTo(x, y); n++;
      for (let i = 2; i <= last; i += 2) {
        const u = p[i]! * k - x0, v = -p[i + 1]! * k - y0;
        if (i < last && Math.abs(u - x) + Math.abs(v - y) < 0.33) continue;
        c.lineTo(u, v); x = u; y = v; n++;
      }
      if (s.area) c.closePath();
    }
    return n;
  }
}

interface Piece { k: number; i: number; j: number; box: Box; canvas: HTMLCanvasElement | null; stale: boolean; used: number; work: { canvas: HTMLCanvasElement; steps: Generator<void, void, void> } | null }

export class Mosaic {
  private pieces = new Map<string, Piece>();
  private below: Piece[] = [];
  private scale = 0;
  private dense = 1;
  private clock = 0;
  /** Set by whoever draws the frames: asks for another. */
  again = (): void => { };
  constructor(private readonly paint: Painter) { }

  /** Paints anew what touches the box, or all; until it has been, the old stays in sight. */
  stale(box?: Box): void {
    for (const p of this.pieces.values()) if (!box || touches(p.box, box)) { p.stale = true; p.work = null; }
    this.again();
  }
  /** Forgets all: another site. */
  clear(): void { this.pieces.clear(); this.below = []; }

  private piece(k: number, i: number, j: number): Piece {
    const key = `${i}/${j}`;
    let p = this.pieces.get(key);
    if (!p) { p = { k, i, j, box: [side * i / k, -side * (j + 1) / k, side * (i + 1) / k, -side * j / k], canvas: null, stale: true, used: 0, work: null }; this.pieces.set(key, p); }
    p.used = ++this.clock;
    return p;
  }

  /**
   * Draws the view: x, y in the middle, k pixels a metre, on a canvas of width
   * by height at dense pixels each. Gives whether all is there.
   */
  draw(c: CanvasRenderingContext2D, view: { x: number; y: number; k: number }, width: number, height: number, dense: number): boolean {
    const { x, y, k } = view, ended = performance.now() + share;
    if (k !== this.scale || dense !== this.dense) {
      const whole = [...this.pieces.values()].filter(p => p.canvas);
      // what was on the screen stays there, stretched, until the new is painted
      if (whole.length > this.below.length / 2 || dense !== this.dense) this.below = whole.sort((a, b) => b.used - a.used).slice(0, 60);
      this.pieces = new Map(); this.scale = k; this.dense = dense;
    }
    const left = Math.round((x * k - width / 2) * dense) / dense, top = Math.round((-y * k - height / 2) * dense) / dense;
    const i0 = Math.floor(left / side), i1 = Math.floor((left + width) / side), j0 = Math.floor(top / side), j1 = Math.floor((top + height) / side);
    const inView: Piece[] = [], around: Piece[] = [];
    for (let j = j0 - 1; j <= j1 + 1; j++) for (let i = i0 - 1; i <= i1 + 1; i++) (i >= i0 && i <= i1 && j >= j0 && j <= j1 ? inView : around).push(this.piece(k, i, j));
    const middle = (p: Piece) => Math.hypot((p.i + 0.5) * side - left - width / 2, (p.j + 0.5) * side - top - height / 2);
    inView.sort((a, b) => middle(a) - middle(b)); around.sort((a, b) => middle(a) - middle(b));
    const waiting = [...inView.filter(p => p.stale), ...around.filter(p => p.stale)];
    for (const p of waiting) { this.advance(p, ended); if (performance.now() > ended) break; }
    const bare = inView.some(p => !p.canvas);
    if (bare) for (const p of this.below) {
      if (!p.canvas) continue;
      const f = k / p.k; // -j: y goes up in the plane, down on the screen
      c.drawImage(p.canvas, (p.i * side * f - left) * dense, (p.j * side * f - top) * dense, side * f * dense + 0.5, side * f * dense + 0.5);
    } else this.below = [];
    for (const p of inView) if (p.canvas) c.drawImage(p.canvas, Math.round((p.i * side - left) * dense), Math.round((p.j * side - top) * dense));
    this.drop();
    if ([...inView, ...around].some(p => p.stale)) this.again();
    return !inView.some(p => p.stale);
  }

  private advance(p: Piece, ended: number): void {
    if (!p.work) {
      const canvas = document.createElement('canvas'); canvas.width = canvas.height = Math.ceil(side * this.dense);
      const c = canvas.getContext('2d')!;
      c.scale(this.dense, this.dense);
      p.work = { canvas, steps: this.paint(c, p.box, new Pen(p.k, p.i, p.j)) };
    }
    do {
      if (p.work.steps.next().done) { p.canvas = p.work.canvas; p.work = null; p.stale = false; return; }
    } while (performance.now() < ended);
  }

  private drop(): void {
    const most = Math.max(40, mostPixels / (side * side * this.dense * this.dense));
    if (this.pieces.size <= most) return;
    for (const [key, p] of [...this.pieces].sort((a, b) => a[1].used - b[1].used).slice(0, this.pieces.size - most)) if (p.used < this.clock - 200) this.pieces.delete(key);
  }
}
