// A background of picture tiles under the plan, of the reader's own choosing.
// Nothing is fetched until one is chosen; the service's content policy lets
// through only those that it was started with.

import type { Box, XY } from './answers';
import type { Georeference } from './world';
import type { Pen } from './mosaic';

const size = 256, deepest = 21, kept = 300;

/** The address of a tile of an XYZ or WMTS address. */
export function tileAddress(template: string, z: number, x: number, y: number): string {
  const values: Record<string, string> = { z: `${z}`, x: `${x}`, y: `${y}`, '-y': `${2 ** z - 1 - y}`, TileMatrix: `${z}`, TileCol: `${x}`, TileRow: `${y}` };
  return template.replace(/\{(-?[A-Za-z]+)\}/g, (all, k: string) => values[k] ?? all);
}
/** Whether an address says where a tile goes. */
export const isTemplate = (t: string): boolean => /^https?:\/\//.test(t) && ((t.includes('{z}') && t.includes('{x}') && /\{-?y\}/.test(t)) || (t.includes('{TileMatrix}') && t.includes('{TileCol}') && t.includes('{TileRow}')));

export class Backdrop {
  private readonly tiles = new Map<string, HTMLImageElement | 'none'>();
  /** came: paint this box anew. failed: nothing came of the first tiles. */
  constructor(private readonly template: string, private readonly world: Georeference, private readonly came: (box: Box) => void, private readonly failed: () => void) { }
  private any = false;

  paint(c: CanvasRenderingContext2D, box: Box, pen: Pen): void {
    const corners: XY[] = [[box[0], box[1]], [box[2], box[1]], [box[2], box[3]], [box[0], box[3]]];
    const m = corners.map(p => this.world.mercator(p));
    const x0 = Math.min(...m.map(p => p[0])), x1 = Math.max(...m.map(p => p[0])), y0 = Math.min(...m.map(p => p[1])), y1 = Math.max(...m.map(p => p[1]));
    const across = (box[2] - box[0]) * pen.k; // pixels that x1 - x0 takes
    const z = Math.max(0, Math.min(deepest, Math.round(Math.log2(across / Math.max(1e-12, x1 - x0) / size)))), n = 2 ** z;
    for (let x = Math.floor(x0 * n); x <= Math.floor(x1 * n); x++) for (let y = Math.floor(y0 * n); y <= Math.floor(y1 * n); y++) {
      if (x < 0 || y < 0 || x >= n || y >= n) continue;
      const drawn = this.ready(z, x, y) ?? this.coarser(z, x, y);
      if (!drawn) continue;
      const { image, part } = drawn;
      // a tile is small: the three corners make the map of it, to well under a pixel
      const a = pen.at(this.world.plane([x / n, y / n])), b = pen.at(this.world.plane([(x + 1) / n, y / n])), d = pen.at(this.world.plane([x / n, (y + 1) / n]));
      c.save();
      c.transform((b[0] - a[0]) / size, (b[1] - a[1]) / size, (d[0] - a[0]) / size, (d[1] - a[1]) / size, a[0], a[1]);
      c.drawImage(image, part[0], part[1], part[2], part[2], 0, 0, size + 0.6, size + 0.6);
      c.restore();
    }
  }

  private ready(z: number, x: number, y: number): { image: HTMLImageElement; part: [number, number, number] } | null {
    const key = `${z}/${x}/${y}`, t = this.tiles.get(key);
    if (t === 'none') return null;
    if (t) return t.complete && t.naturalWidth ? { image: t, part: [0, 0, t.naturalWidth] } : null;
    const image = new Image();
    this.tiles.set(key, image);
    if (this.tiles.size > kept) this.tiles.delete(this.tiles.keys().next().value!);
    image.decoding = 'async'; image.referrerPolicy = 'no-referrer';
    image.onload = () => {
      this.any = true;
      const n = 2 ** z, a = this.world.plane([x / n, (y + 1) / n]), b = this.world.plane([(x + 1) / n, y / n]);
      this.came([Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[0], b[0]), Math.max(a[1], b[1])]);
    };
    image.onerror = () => { this.tiles.set(key, 'none'); if (!this.any) this.failed(); };
    image.src = tileAddress(this.template, z, x, y);
    return null;
  }
  /** The part of a coarser tile that is already here. */
  private coarser(z: number, x: number, y: number): { image: HTMLImageElement; part: [number, number, number] } | null {
    for (let up = 1; up < 6 && up <= z; up++) {
      const t = this.tiles.get(`${z - up}/${x >> up}/${y >> up}`);
      if (!t || t === 'none' || !t.complete || !t.naturalWidth) continue;
      const side = t.naturalWidth / 2 ** up;
      return { image: t, part: [(x & (2 ** up - 1)) * side, (y & (2 ** up - 1)) * side, side] };
    }
    return null;
  }
}
