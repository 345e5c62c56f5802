// Words on the plan: where each of them stands, so that no two touch. Each has
// places where it may stand; the greater takes its own first, and what finds
// none free is left out.

import type { XY } from './answers';
import { svg } from './dom';

/** A rectangle on the screen about its middle, pixels, turned by degrees. */
export interface Plate { x: number; y: number; w: number; h: number; turn?: number }

/** Pixels that are to lie between any two. */
const gap = 3;
const half = Math.PI / 180;

/** Whether two rectangles lie nearer to each other than words may. */
export function touch(a: Plate, b: Plate): boolean {
  const dx = b.x - a.x, dy = b.y - a.y, reach = (a.w + a.h + b.w + b.h) / 2 + gap;
  if (Math.abs(dx) > reach || Math.abs(dy) > reach) return false;
  if (!a.turn && !b.turn) return Math.abs(dx) < (a.w + b.w) / 2 + gap && Math.abs(dy) < (a.h + b.h) / 2 + gap;
  // they are apart if they are in the direction of a side of either
  for (const [p, q] of [[a, b], [b, a]] as const) {
    const t = (p.turn ?? 0) * half, c = Math.cos(t), s = Math.sin(t), r = (q.turn ?? 0) * half - t, rc = Math.abs(Math.cos(r)), rs = Math.abs(Math.sin(r));
    if (Math.abs(dx * c + dy * s) >= (p.w + q.w * rc + q.h * rs) / 2 + gap || Math.abs(dy * c - dx * s) >= (p.h + q.w * rs + q.h * rc) / 2 + gap) return false;
  }
  return true;
}

/** What is free of a part of the screen. */
export class Room {
  readonly taken: Plate[];
  constructor(private readonly left: number, private readonly top: number, private readonly width: number, private readonly height: number, taken: Plate[]) { this.taken = [...taken]; }
  private inside(p: Plate): boolean {
    const t = (p.turn ?? 0) * half, c = Math.abs(Math.cos(t)), s = Math.abs(Math.sin(t)), w = (p.w * c + p.h * s) / 2, h = (p.w * s + p.h * c) / 2;
    return p.x - w >= this.left && p.y - h >= this.top && p.x + w <= this.left + this.width && p.y + h <= this.top + this.height;
  }
  /** Takes the first place that is whole on the screen and free, rather one that no line crosses; null: there is none. */
  take(places: Plate[], lines: Plate[] = []): Plate | null {
    let p: Plate | null = null;
    for (const q of places) {
      if (!this.inside(q) || this.taken.some(t => touch(t, q))) continue;
      p ??= q;
      if (!lines.some(l => touch(l, q))) { p = q; break; }
    }
    if (p) this.taken.push(p);
    return p;
  }
  /** The place moved as far as needed for it to be whole on the screen. */
  into(p: Plate): Plate {
    const within = (v: number, from: number, wide: number, own: number) => Math.max(from + own / 2 + 4, Math.min(v, from + wide - own / 2 - 4));
    return { ...p, x: within(p.x, this.left, this.width, p.w), y: within(p.y, this.top, this.height, p.h) };
  }
}

/** Weight and size, pixels, of each kind of words. */
const kinds = { tell: [700, 13], gripText: [600, 12], count: [700, 11], size: [600, 12], name: [600, 12], level: [400, 12] } as const;
export type Kind = keyof typeof kinds;
interface Measure { w: number; up: number; down: number }
const pen = document.createElement('canvas').getContext('2d')!;
const measured = new Map<string, Measure>();
let family = '';
function measure(kind: Kind, text: string): Measure {
  const key = `${kind} ${text}`;
  let m = measured.get(key);
  if (!m) {
    const [weight, size] = kinds[kind];
    family ||= getComputedStyle(document.body).fontFamily;
    pen.font = `${weight} ${size}px ${family}`;
    const t = pen.measureText(text);
    m = { w: t.width, up: t.fontBoundingBoxAscent, down: t.fontBoundingBoxDescent };
    if (measured.size > 5000) measured.clear();
    measured.set(key, m);
  }
  return m;
}
/** The plate of words, a line of the list a line, about a middle. */
export function plateOf(kind: Kind, lines: string[], x: number, y: number, turn = 0): Plate {
  const all = lines.map(l => measure(kind, l));
  return { x, y, w: Math.max(...all.map(m => m.w)), h: all.reduce((h, m) => h + m.up + m.down, 0), turn };
}
/** The words; a sentence on a plate of its own, so that no line between two of its words reads as a sign. */
export function write(kind: Kind, lines: string[], p: Plate): SVGElement[] {
  const [weight, size] = kinds[kind], at: Record<string, string> = p.turn ? { transform: `translate(${p.x.toFixed(1)} ${p.y.toFixed(1)}) rotate(${p.turn.toFixed(1)})` } : {}, [x, y] = p.turn ? [0, 0] : [p.x, p.y];
  let top = y - p.h / 2;
  const back = kind === 'tell' ? [svg('polygon', { class: 'plate', points: [[-1, -1], [1, -1], [1, 1], [-1, 1]].map(([i, j]) => `${(x + i! * (p.w / 2 + 2)).toFixed(1)},${(y + j! * p.h / 2).toFixed(1)}`).join(' '), ...at })] : [];
  return [...back, ...lines.map(l => {
    const m = measure(kind, l), base = top + m.up;
    top = base + m.down;
    return svg('text', { class: kind, 'font-weight': weight, 'font-size': size, 'text-anchor': 'middle', x: x.toFixed(1), y: base.toFixed(1), ...at }, l);
  })];
}

/** A line as plates, one a piece of it. */
export function plates(line: XY[]): Plate[] {
  return line.slice(1).map((z, i) => { const a = line[i]!, x = z[0] - a[0], y = z[1] - a[1]; return { x: a[0] + x / 2, y: a[1] + y / 2, w: Math.hypot(x, y), h: 3, turn: Math.atan2(y, x) / half }; });
}

/** Places of a plate beside a point that is to stay clear by so many pixels: right and above first, then round it, then further off. */
export function around(p: Plate, clear: number): Plate[] {
  const out: Plate[] = [];
  for (const far of [clear, clear + 14]) {
    const dx = p.w / 2 + far, dy = p.h / 2 + far;
    for (const [x, y] of [[dx, -far], [-dx, -far], [dx, far], [-dx, far], [dx, 0], [-dx, 0], [0, -dy], [0, dy]] as const) out.push({ ...p, x: p.x + x, y: p.y + y });
  }
  return out;
}
