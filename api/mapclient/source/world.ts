// Where the site lies in the world: between the drawing's plane and web
// mercator, in which background pictures and the service's vector tiles are cut.
// For drawing alone.

import type { Box, XY } from './answers';
import type { Plane } from './plane';
import * as service from './service';

export interface Georeference {
  /** Web mercator, 0 to 1 east and south, of a position of the plane. */
  mercator(p: XY): XY;
  plane(m: XY): XY;
}

const toMercator = (lon: number, lat: number): XY => { const s = Math.sin(lat * Math.PI / 180); return [lon / 360 + 0.5, 0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI)]; };
const fromMercator = (m: XY): XY => [(m[0] - 0.5) * 360, Math.atan(Math.sinh((0.5 - m[1]) * 2 * Math.PI)) * 180 / Math.PI];

/** box: of the site, in the document's coordinates. A projected system is asked of the service at 25 places. */
export async function georeference(plane: Plane, crs: string, box: Box): Promise<Georeference> {
  if (plane.geographic) return {
    mercator: p => { const d = plane.toDoc(p); return toMercator(d[0], d[1]); },
    plane: m => plane.toPlane(fromMercator(m)),
  };
  const places: XY[] = [], grow = 0.2;
  const w = Math.max(box[2] - box[0], 100), h = Math.max(box[3] - box[1], 100);
  for (let i = 0; i < 5; i++) for (let j = 0; j < 5; j++) places.push([box[0] - grow * w + i / 4 * (1 + 2 * grow) * w, box[1] - grow * h + j / 4 * (1 + 2 * grow) * h]);
  const got = await service.get(`/positions?crs=${encodeURIComponent(crs)}${places.map(p => `&at=${p[0].toFixed(3)},${p[1].toFixed(3)}`).join('')}`);
  const inPlane = places.map(p => plane.toPlane(p)), inWorld: XY[] = got.positions.map((p: XY) => toMercator(p[0], p[1]));
  const to = fit(inPlane, inWorld), back = fit(inWorld, inPlane);
  return { mercator: to, plane: back };
}

/** The polynomial of the second degree that takes the ones to the others; over a county the third is under a tenth of a metre. */
function fit(from: XY[], to: XY[]): (p: XY) => XY {
  const mean = (k: 0 | 1) => from.reduce((s, p) => s + p[k], 0) / from.length;
  const mx = mean(0), my = mean(1), spread = Math.max(...from.map(p => Math.max(Math.abs(p[0] - mx), Math.abs(p[1] - my)))) || 1;
  const terms = (p: XY): number[] => { const x = (p[0] - mx) / spread, y = (p[1] - my) / spread; return [1, x, y, x * x, x * y, y * y]; };
  const solve = (values: number[]): number[] => {
    // normal equations of six unknowns, by elimination with pivots
    const a = Array.from({ length: 6 }, () => new Array<number>(7).fill(0));
    from.forEach((p, i) => { const t = terms(p); for (let r = 0; r < 6; r++) { for (let c = 0; c < 6; c++) a[r]![c]! += t[r]! * t[c]!; a[r]![6]! += t[r]! * values[i]!; } });
    for (let c = 0; c < 6; c++) {
      let pivot = c;
      for (let r = c + 1; r < 6; r++) if (Math.abs(a[r]![c]!) > Math.abs(a[pivot]![c]!)) pivot = r;
      [a[c], a[pivot]] = [a[pivot]!, a[c]!];
      for (let r = 0; r < 6; r++) if (r !== c) { const f = a[r]![c]! / a[c]![c]!; for (let k = c; k < 7; k++) a[r]![k]! -= f * a[c]![k]!; }
    }
    return a.map((row, r) => row[6]! / row[r]!);
  };
  const u = to.map(p => p[0]), v = to.map(p => p[1]), u0 = u[0]!, v0 = v[0]!;
  const cu = solve(u.map(n => n - u0)), cv = solve(v.map(n => n - v0));
  return p => { const t = terms(p); let x = u0, y = v0; for (let i = 0; i < 6; i++) { x += cu[i]! * t[i]!; y += cv[i]! * t[i]!; } return [x, y]; };
}
