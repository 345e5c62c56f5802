// The plan: the ground in painted pieces on a canvas, the plan and what is being
// drawn in SVG above it, pan and zoom for pointer, touch and keyboard.

import type { Backdrop } from './backdrop';
import type { Box, Geometry, Ground, Plan, Relief, Stretch, XY, Zone } from './answers';
import { shade } from './ground';
import { Mosaic, type Pen } from './mosaic';
import { Over } from './over';
import type { Plane } from './plane';
import type { Lot, Mark, Scene } from './scene';
import { holds, shapesOf, type Shape } from './shapes';
import { grow, positions } from './site';
import { hatching, paper, rippling, sand, steps, switches, symbol } from './style';
import { roundLength } from './units';
import { svg } from './dom';

export interface Handle { key: string; at: XY; text: string }
/** Shots on the laid pipe where they were taken, and stretches of runs that hold water or rise. */
export interface BuiltMarks { shots: { at: XY; text: string; bad: boolean }[]; stretches: { line: XY[]; text: string }[] }
interface DrawnGround { relief: Relief; shade: HTMLCanvasElement | null; corner: XY; box: Box; light: Shape[]; heavy: Shape[]; ponds: Shape[]; flows: { shapes: Shape[]; width: number }[]; levels: { at: XY[]; z: number }[] }

export class Board {
  readonly on: Record<string, boolean> = Object.fromEntries(switches.map(s => [s[0], s[2]]));
  view = { x: 0, y: 0, k: 1 }; // plane position in the middle, pixels a metre
  width = 1; height = 1;
  plane: Plane | null = null;
  scene: Scene | null = null;
  lot = '';
  plan: Plan | null = null;
  ground: DrawnGround | null = null; // what the service says of the ground round the lot
  route: number[][] = [];
  stretches: Stretch[] = [];
  handles: Handle[] = [];
  built: BuiltMarks | null = null;
  /** What is measured: points of the plane. */
  tape: XY[] = [];
  cross: XY | null = null;
  station: XY | null = null;
  here: { at: XY; accuracy: number } | null = null; // where the reader stands, and how well that is known
  mode = 'look';
  /** A point or a ring is being dragged. */
  hand = false;
  backdrop: Backdrop | null = null;
  handlers = {
    pick: (_name: string) => { }, point: (_p: number[]) => { }, dragRoute: (_i: number, _p: number[]) => { }, dropRoute: () => { }, measure: (_p: XY) => { }, place: (_p: XY) => { },
    mark: (_numbers: number[], _at: number[]) => { }, moving: (_h: Handle) => { }, moved: (_h: Handle) => { }, chosen: (_h: Handle) => { }, left: () => { }, view: () => { },
  };
  private zone: { shapes: Shape[]; box: Box } | null = null;
  private refit: (() => void) | null = null;
  private dense = 1;
  private asked = 0; // the frame that was asked for
  /** The painted ground is to be laid out anew with the next frame; what stands over it always is. */
  private laid = false;
  private readonly canvas: HTMLCanvasElement;
  private readonly pen: CanvasRenderingContext2D;
  private readonly mosaic = new Mosaic((c, box, pen) => this.paintPiece(c, box, pen));
  private readonly over: Over;
  /** The newest of what a pointer does, carried out once a frame. */
  private pointed: (() => void) | null = null;

  constructor(readonly sheet: HTMLElement) {
    this.canvas = sheet.querySelector('canvas')!;
    this.pen = this.canvas.getContext('2d', { alpha: false })!;
    this.over = new Over(this, [...sheet.querySelectorAll<SVGSVGElement>('#overlay svg')]);
    this.mosaic.again = () => this.draw();
    new ResizeObserver(() => this.resize()).observe(sheet);
    this.pointers();
    this.resize();
  }

  resize(): void {
    const r = this.sheet.getBoundingClientRect(), d = window.devicePixelRatio || 1;
    if (r.width === this.width && r.height === this.height && d === this.dense) return;
    this.width = Math.max(1, r.width); this.height = Math.max(1, r.height); this.dense = d;
    this.canvas.width = Math.round(this.width * d); this.canvas.height = Math.round(this.height * d);
    if (this.refit) this.refit(); else { this.over.all(); this.draw(); }
  }

  setScene(scene: Scene, plane: Plane): void {
    if (plane !== this.plane) this.mosaic.clear();
    this.scene = scene; this.plane = plane;
    this.mosaic.stale(); this.over.all(); this.draw();
  }
  /** Layers were switched or the backdrop changed: paint the ground anew. */
  repaint(box?: Box): void { this.mosaic.stale(box); this.over.all(); this.draw(); }

  setZone(zone: Zone | null): void {
    if (!this.plane) return;
    if (this.zone) this.mosaic.stale(this.zone.box);
    const shapes = (zone?.features ?? []).flatMap(f => shapesOf(f, this.plane!));
    this.zone = shapes.length ? { shapes, box: around(shapes) } : null;
    if (this.zone) this.mosaic.stale(this.zone.box);
    this.draw();
  }

  setGround(answer: Ground | null): void {
    if (this.ground) this.mosaic.stale(this.ground.box);
    this.ground = null;
    const relief = answer?.relief, plane = this.plane;
    if (relief?.columns && plane) {
      const of = (kind: string, more: (p: Record<string, any>) => boolean = () => true) => (answer?.features ?? []).filter(f => f.properties?.kind === kind && more(f.properties)).flatMap(f => shapesOf(f, plane));
      const corner = plane.toPlane(relief.corner), m = relief.cell_m;
      const heavy = of('contour', p => !!p.heavy);
      this.ground = {
        relief, shade: shade(relief), corner, box: [corner[0] - m, corner[1] - m * relief.rows, corner[0] + m * relief.columns, corner[1] + m],
        light: of('contour', p => !p.heavy), heavy, ponds: of('pond'),
        flows: of('flow').map(s => ({ shapes: [s], width: Math.min(4, 1 + Math.sqrt(s.properties.area_m2 ?? 0) / 25) })),
        levels: heavy.flatMap(s => { const p = s.parts[0]!, n = p.length >> 1; return n > 8 ? [{ at: [0.5, 0.35, 0.65, 0.2, 0.8].map((t): XY => { const i = 2 * Math.floor(t * n); return [p[i]!, p[i + 1]!]; }), z: Number(s.properties.elevation_m) }] : []; }),
      };
      this.mosaic.stale(this.ground.box);
    }
    this.sheet.dataset.ground = this.ground ? 'shown' : 'none';
    this.over.all(); this.draw();
  }

  setPlan(plan: Plan | null, lot: string): void { this.plan = plan; this.lot = lot; this.over.all(); this.draw(); }
  setRoute(route: number[][], stretches = this.stretches): void { this.route = route; this.stretches = stretches; this.over.route(); this.soonest(); }
  setBuilt(built: BuiltMarks | null): void { this.built = built; this.over.all(); this.draw(); }
  /** What is drawn over the plan changed: station, cross, handles, tape, where the reader stands. */
  redraw(): void { this.over.all(); this.draw(); }

  // --- view -----------------------------------------------------------------

  screen(p: readonly number[]): XY { return [this.width / 2 + (p[0]! - this.view.x) * this.view.k, this.height / 2 - (p[1]! - this.view.y) * this.view.k]; }
  plain(s: readonly number[]): XY { return [this.view.x + (s[0]! - this.width / 2) / this.view.k, this.view.y - (s[1]! - this.height / 2) / this.view.k]; }
  /** What the view shows, metres of the plane. */
  get seen(): Box { const a = this.plain([0, this.height]), b = this.plain([this.width, 0]); return [a[0], a[1], b[0], b[1]]; }

  fit(box: Box | null | undefined, margin = 0.9): void {
    if (!box) return;
    this.refit = () => {
      // on a narrow screen the buttons would lie on it
      const side = this.width < 600 ? 66 : 0, k = margin * Math.min((this.width - side) / Math.max(1, box[2] - box[0]), this.height / Math.max(1, box[3] - box[1]));
      this.view = { x: (box[0] + box[2] + side / k) / 2, y: (box[1] + box[3]) / 2, k };
      this.over.all(); this.handlers.view(); this.draw();
    };
    this.refit();
  }
  fitSite(): void { this.fit(this.scene?.bounds); }
  fitLot(name = this.lot): void {
    const l = this.scene?.lot(name);
    if (!l || !this.plane) { this.fitSite(); return; }
    const b: Box = [...l.box];
    for (const f of this.plan?.network?.features ?? []) positions(f.geometry, p => grow(b, this.plane!.toPlane(p)));
    this.fit(b, 0.86);
  }
  zoom(by: number, at: readonly number[] = [this.width / 2, this.height / 2]): void {
    const p = this.plain(at);
    this.view.k = Math.min(400, Math.max(0.005, this.view.k * by));
    const q = this.plain(at);
    this.view.x += p[0] - q[0]; this.view.y += p[1] - q[1];
    this.refit = null; this.over.all(); this.handlers.view(); this.draw();
  }
  pan(dx: number, dy: number): void { this.view.x -= dx / this.view.k; this.view.y += dy / this.view.k; this.refit = null; this.handlers.view(); this.draw(); }
  /** Brings a place into sight if it is out of it. */
  show(p: XY): void { const s = this.screen(p); if (s[0] < 40 || s[1] < 40 || s[0] > this.width - 40 || s[1] > this.height - 40) { this.view.x = p[0]; this.view.y = p[1]; this.refit = null; this.handlers.view(); } this.redraw(); }

  draw(): void { this.laid = false; this.soonest(); }
  /** Draws what stands over the ground with the next frame; the ground stays as it is painted. */
  private soonest(): void { this.asked ||= requestAnimationFrame(() => { this.asked = 0; this.frame(); }); }

  private frame(): void {
    const then = this.pointed; this.pointed = null; then?.();
    cancelAnimationFrame(this.asked); this.asked = 0; // what the pointer did is drawn in this very frame
    if (!this.laid) {
      this.laid = true; // unless a piece that is missing asks for another frame
      const c = this.pen;
      c.setTransform(1, 0, 0, 1, 0, 0);
      c.fillStyle = sand; c.fillRect(0, 0, this.canvas.width, this.canvas.height);
      if (!this.scene) return;
      const whole = this.mosaic.draw(c, this.view, this.width, this.height, this.dense);
      this.sheet.dataset.painted = whole ? 'yes' : 'no';
      this.paintBar();
    }
    if (this.scene) this.over.draw();
  }

  private paintedBar = '';
  private paintBar(): void {
    const n = roundLength(Math.min(160, this.width / 3) / this.view.k), w = n.metres * this.view.k, is = `${w} ${n.text}`;
    if (is === this.paintedBar) return;
    this.paintedBar = is;
    const bar = this.sheet.querySelector<HTMLElement>('#bar')!, s = bar.firstElementChild!;
    bar.hidden = false;
    s.setAttribute('width', String(w + 60)); s.setAttribute('height', '26');
    s.replaceChildren(svg('path', { d: `M2 18h${w / 2}v-5h${w / 2}v5H2z`, class: 'barFill' }), svg('path', { d: `M2 11v8h${w}v-8`, class: 'barLine' }), svg('text', { x: w + 8, y: 20 }, n.text));
    bar.setAttribute('aria-label', `Scale bar: ${n.text} are ${Math.round(w)} pixels`);
  }

  // --- painting a piece of the ground -----------------------------------------

  private *paintPiece(c: CanvasRenderingContext2D, box: Box, pen: Pen): Generator<void, void, void> {
    const scene = this.scene, k = pen.k;
    c.fillStyle = sand; c.fillRect(0, 0, 260, 260);
    if (!scene) return;
    const wide = (pixels: number): Box => [box[0] - pixels / k, box[1] - pixels / k, box[2] + pixels / k, box[3] + pixels / k];
    const photo = !!this.backdrop && this.on.backdrop;
    if (photo) this.backdrop!.paint(c, box, pen);
    const near = wide(6), thin = Math.min(1, Math.max(0.25, k / 0.6)); // from far off lines would cover what they bound
    for (const [n, step] of steps.entries()) {
      if (step === 'zone') {
        if (!this.on.zone || !this.zone) continue;
        c.beginPath(); for (const s of this.zone.shapes) pen.trace(c, s, 0);
        c.fillStyle = photo ? '#fffdf8b0' : paper; c.fill('evenodd'); c.strokeStyle = '#8f8678'; c.lineWidth = 1; c.setLineDash([]); c.stroke();
        continue;
      }
      if (step === 'relief') { if (this.on.relief && this.ground?.shade && !photo) this.paintRelief(c, pen, this.ground); continue; }
      if (step === 'ground') { if (this.ground) { this.paintGround(c, pen, this.ground); yield; } continue; }
      if (!this.on[step.key]) continue;
      let points = 0, open = false;
      const close = () => {
        if (!open) return;
        if (step.fill && !(photo && (step.key === 'parcels' || step.key === 'streets'))) { c.fillStyle = step.fill; c.fill('evenodd'); }
        if (step.hatch) { c.fillStyle = c.createPattern(hatching(), 'repeat')!; c.fill('evenodd'); }
        if (step.stroke) { c.strokeStyle = step.stroke; c.lineWidth = (step.width ?? 1) * thin; c.setLineDash(step.dash ?? []); c.lineJoin = 'round'; c.stroke(); }
        open = false; points = 0;
      };
      for (const s of scene.shapes(n, near)) {
        if (!open) { c.beginPath(); open = true; }
        points += pen.trace(c, s, step.radius?.(s.properties) ?? 0.3);
        if (points > 700) { close(); yield; }
      }
      close();
    }
    c.setLineDash([]);
    yield;
    let drawn = 0;
    for (const m of scene.marks(wide(10))) {
      if (!this.on[m.layer] || (k < 2.5 && m.layer !== 'inlets') || k < 0.25) continue;
      const s = pen.at(m.at);
      symbol(c, m.symbol, s[0], s[1]);
      if (++drawn % 60 === 0) yield;
    }
  }

  private paintRelief(c: CanvasRenderingContext2D, pen: Pen, g: DrawnGround): void {
    const m = g.relief.cell_m, [x, y] = pen.at([g.corner[0] - m / 2, g.corner[1] + m / 2]);
    c.save(); c.globalCompositeOperation = 'multiply'; c.imageSmoothingEnabled = true;
    c.drawImage(g.shade!, x, y, m * g.relief.columns * pen.k, m * g.relief.rows * pen.k);
    c.restore();
  }

  /** Contours, hollows and ways of water. */
  private paintGround(c: CanvasRenderingContext2D, pen: Pen, g: DrawnGround): void {
    const path = (shapes: Shape[]) => { c.beginPath(); for (const s of shapes) pen.trace(c, s, 0); };
    c.setLineDash([]); c.lineJoin = c.lineCap = 'round';
    if (this.on.ponds) { path(g.ponds); c.fillStyle = c.createPattern(rippling(), 'repeat')!; c.fill('evenodd'); c.strokeStyle = '#3f3830'; c.lineWidth = 1; c.stroke(); }
    if (this.on.contours) { c.strokeStyle = '#7d6b50'; path(g.light); c.lineWidth = 0.5; c.stroke(); path(g.heavy); c.lineWidth = 1.3; c.stroke(); }
    if (this.on.flows) { c.strokeStyle = '#3f3830'; c.setLineDash([0.01, 5]); for (const f of g.flows) { path(f.shapes); c.lineWidth = f.width; c.stroke(); } c.setLineDash([]); }
    c.lineCap = 'butt';
  }

  // --- pointers ------------------------------------------------------------

  /** The point that a new point of a route snaps to, in document coordinates, or null. */
  snap(s: readonly number[]): number[] | null {
    if (!this.scene) return null;
    let best: Mark | null = null, least = 14;
    const p = this.plain(s), r = least / this.view.k;
    for (const m of this.scene.marks([p[0] - r, p[1] - r, p[0] + r, p[1] + r])) {
      if (m.layer === 'spots' || m.layer === 'openings') continue;
      const q = this.screen(m.at), d = Math.hypot(q[0] - s[0]!, q[1] - s[1]!);
      if (d < least) { least = d; best = m; }
    }
    return best?.doc ?? this.snapToZone(p);
  }

  /** The nearest place at which a trench's middle keeps just inside the trench zone, or null. */
  private snapToZone(p: XY): number[] | null {
    if (!this.zone || !this.plane) return null;
    const half = (this.plan?.trenches?.[0]?.width_m ?? 0.3048) / 2 + 0.005;
    let best: XY | null = null, least = 9 / this.view.k;
    for (const s of this.zone.shapes) for (const r of s.parts) for (let i = 2; i < r.length; i += 2) {
      const ax = r[i - 2]!, ay = r[i - 1]!, dx = r[i]! - ax, dy = r[i + 1]! - ay, l = Math.hypot(dx, dy);
      if (l === 0) continue;
      const t = ((p[0] - ax) * dx + (p[1] - ay) * dy) / l / l;
      if (t < 0 || t > 1) continue;
      const q = [ax + t * dx, ay + t * dy] as const;
      for (const way of [1, -1]) {
        const m: XY = [q[0] - way * dy / l * half, q[1] + way * dx / l * half], d = Math.hypot(m[0] - p[0], m[1] - p[1]);
        if (d < least && this.zone.shapes.some(z => holds(z, m[0], m[1]))) { least = d; best = m; }
      }
    }
    return best && this.plane.toDoc(best);
  }

  /** What a pointer does is carried out with the next frame, the newest alone. */
  private soon(then: () => void): void { this.pointed = then; this.soonest(); }

  private pointers(): void {
    const down = new Map<number, XY>();
    let drag: { vertex: number } | { handle: number } | null = null, moved = 0, spread = 0, panned: XY = [0, 0];
    // where the sheet lies is asked once a drag: the browser would lay out the page for each answer
    let corner: XY = [0, 0];
    const lie = (): void => { const r = this.sheet.getBoundingClientRect(); corner = [r.left, r.top]; };
    const at = (e: MouseEvent): XY => [e.clientX - corner[0], e.clientY - corner[1]];
    const reach = (e: PointerEvent) => e.pointerType === 'touch' ? 24 : 13;
    this.sheet.addEventListener('pointerdown', e => {
      if (e.target instanceof Element && e.target.closest('button')) return;
      if (!this.scene || !this.plane || e.button > 0) return;
      lie(); const s = at(e); down.set(e.pointerId, s); moved = 0; spread = 0; drag = null;
      try { this.sheet.setPointerCapture(e.pointerId); } catch { /* a pointer made by a script */ }
      if (down.size > 1) return;
      const near = (list: XY[]) => { let best = -1, least = reach(e); list.forEach((p, i) => { const q = this.screen(p), d = Math.hypot(q[0] - s[0], q[1] - s[1]); if (d < least) { least = d; best = i; } }); return best; };
      if (this.mode === 'draw') { const i = near(this.route.map(p => this.plane!.toPlane(p))); if (i >= 0) drag = { vertex: i }; }
      else if (this.mode === 'move') { const i = near(this.handles.map(h => h.at)); if (i >= 0) drag = { handle: i }; }
      this.hand = !!drag;
    });
    this.sheet.addEventListener('pointermove', e => {
      const before = down.get(e.pointerId);
      if (!before || !this.plane) return;
      const s = at(e); down.set(e.pointerId, s);
      moved += Math.abs(s[0] - before[0]) + Math.abs(s[1] - before[1]);
      if (down.size === 2) {
        const [a, b] = [...down.values()] as [XY, XY], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (spread) this.zoom(now / spread, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
        spread = now;
      } else if (drag && 'vertex' in drag) { const i = drag.vertex; this.soon(() => this.handlers.dragRoute(i, this.snap(s) ?? this.plane!.toDoc(this.plain(s)))); }
      else if (drag) { const h = this.handles[drag.handle]; if (h) this.soon(() => { h.at = this.plain(s); this.over.grips(); this.handlers.moving(h); }); }
      else if (moved > 4) { panned = [panned[0] + s[0] - before[0], panned[1] + s[1] - before[1]]; this.soon(() => { const p = panned; panned = [0, 0]; this.pan(p[0], p[1]); }); }
    });
    const up = (e: PointerEvent): void => {
      if (!down.delete(e.pointerId)) return;
      this.pointed?.(); this.pointed = null;
      const s = at(e);
      if (down.size > 0) { moved = 99; return; }
      const ended = drag; drag = null; this.hand = false;
      if (ended && (moved <= 2 || e.type === 'pointercancel')) {
        this.handlers.left();
        const h = 'handle' in ended && e.type !== 'pointercancel' ? this.handles[ended.handle] : undefined;
        if (h) this.handlers.chosen(h);
      }
      else if (ended && 'vertex' in ended) this.handlers.dropRoute();
      else if (ended) { const h = this.handles[ended.handle]; if (h) this.handlers.moved(h); }
      else if (moved <= 4 && e.type !== 'pointercancel') this.click(s);
    };
    this.sheet.addEventListener('pointerup', up);
    this.sheet.addEventListener('pointercancel', up);
    this.sheet.addEventListener('wheel', e => { if (!this.scene) return; e.preventDefault(); lie(); this.zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0016)), at(e)); }, { passive: false });
  }

  private click(s: XY): void {
    if (this.mode === 'draw') { this.handlers.point(this.snap(s) ?? this.plane!.toDoc(this.plain(s))); return; }
    if (this.mode === 'measure') { const q = this.snap(s); this.handlers.measure(q ? this.plane!.toPlane(q) : this.plain(s)); return; }
    if (this.mode === 'add') { this.handlers.place(this.plain(s)); return; }
    if (this.mode !== 'look') return;
    const numbers = this.over.marksAt(s);
    this.handlers.mark(numbers, s);
    if (numbers.length) return;
    const p = this.plain(s), l = this.lotAt(p);
    if (l) this.handlers.pick(l.name);
  }
  /** The lot that a place of the plane lies in. */
  lotAt(p: XY): Lot | undefined { return this.scene?.lots([p[0], p[1], p[0], p[1]]).find(l => l.shapes.some(one => holds(one, p[0], p[1]))); }
}

function around(shapes: Shape[]): Box { const b: Box = [Infinity, Infinity, -Infinity, -Infinity]; for (const s of shapes) { grow(b, s.box); grow(b, [s.box[2], s.box[3]]); } return b; }
/** The lines of a geometry in the plane. */
export function linesOf(g: Geometry | null, plane: Plane): XY[][] {
  const c = g?.coordinates;
  return g?.type === 'LineString' ? [c.map((p: number[]) => plane.toPlane(p))] : g?.type === 'MultiLineString' ? c.map((l: number[][]) => l.map(p => plane.toPlane(p))) : [];
}
