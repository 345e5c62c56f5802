// The ground as the page draws it: a shaded relief from a grid of heights, and
// the fall of the ground under a drawn line.

import type { Relief, XY } from './answers';

/** Light from the north-west, 45 degrees up, heights drawn three times as high: lawns are flat. */
const light = [-0.5, 0.5, Math.SQRT1_2] as const, lift = 3;

/** Greys to multiply with, clear where no height is known; null where there is no grid. */
export function shade(r: Relief): HTMLCanvasElement | null {
  if (!r || r.columns < 2 || r.rows < 2) return null;
  const c = document.createElement('canvas'); c.width = r.columns; c.height = r.rows;
  const t = c.getContext('2d')!, image = t.createImageData(r.columns, r.rows), h = r.heights_mm;
  const z = (x: number, y: number, otherwise: number) => { const v = h[Math.min(r.rows - 1, Math.max(0, y)) * r.columns + Math.min(r.columns - 1, Math.max(0, x))]!; return v < 0 ? otherwise : v; };
  for (let y = 0; y < r.rows; y++) for (let x = 0; x < r.columns; x++) {
    const i = y * r.columns + x, here = h[i]!;
    if (here < 0) continue;
    const dx = lift * (z(x + 1, y, here) - z(x - 1, y, here)) / 2000 / r.cell_m, dy = lift * (z(x, y - 1, here) - z(x, y + 1, here)) / 2000 / r.cell_m;
    const lit = Math.max(0, (-dx * light[0] - dy * light[1] + light[2]) / Math.sqrt(dx * dx + dy * dy + 1));
    // level ground stays as it is, slopes to the light are a little paler
    const grey = Math.max(90, Math.min(255, Math.round(255 - 190 * Math.max(0, light[2] - lit) + 30 * Math.max(0, lit - light[2]))));
    // no edge of the ground lies where the grid ends: it fades out there
    const rim = Math.min(x, y, r.columns - 1 - x, r.rows - 1 - y) / Math.min(16, r.columns / 8, r.rows / 8);
    image.data.set([grey, grey, grey, Math.round(255 * Math.min(1, rim))], 4 * i);
  }
  t.putImageData(image, 0, 0);
  return c;
}

/** Height of the ground in the drawing's plane, between the heights of the grid; null where none is known. */
export function heightAt(r: Relief, corner: XY, p: XY): number | null {
  const x = (p[0] - corner[0]) / r.cell_m, y = (corner[1] - p[1]) / r.cell_m, c = Math.floor(x), w = Math.floor(y);
  if (c < 0 || w < 0 || c >= r.columns - 1 || w >= r.rows - 1) return null;
  const [v0, v1, v2, v3] = [0, 1, r.columns, r.columns + 1].map(k => r.heights_mm[w * r.columns + c + k]!) as [number, number, number, number];
  if (v0 < 0 || v1 < 0 || v2 < 0 || v3 < 0) return null;
  const a = x - c, b = y - w;
  return r.base_m + ((v0 * (1 - a) + v1 * a) * (1 - b) + (v2 * (1 - a) + v3 * a) * b) / 1000;
}

/** How the ground falls along a line, its highest rise over the straight, and where along that is. */
export interface Along { from: number; to: number; length: number; highest: number; at: number }

/** The ground along a line of the plane, at its ends and every half metre; null where a height is not known. */
export function groundAlong(r: Relief, corner: XY, line: XY[]): Along | null {
  const heights: [number, number][] = [];
  let s = 0;
  for (let i = 1; i < line.length; i++) {
    const a = line[i - 1]!, b = line[i]!, d = Math.hypot(b[0] - a[0], b[1] - a[1]), n = Math.max(1, Math.ceil(d / 0.5));
    for (let k = i === 1 ? 0 : 1; k <= n; k++) {
      const z = heightAt(r, corner, [a[0] + (b[0] - a[0]) * k / n, a[1] + (b[1] - a[1]) * k / n]);
      if (z === null) return null;
      heights.push([s + d * k / n, z]);
    }
    s += d;
  }
  if (s === 0 || heights.length < 2) return null;
  const from = heights[0]![1], to = heights[heights.length - 1]![1];
  let highest = 0, at = 0;
  for (const [x, z] of heights) { const over = z - (from + (to - from) * x / s); if (over > highest) { highest = over; at = x; } }
  return { from, to, length: s, highest, at };
}
