// The plane that the page draws in, metres east and north of the middle of the
// site. For drawing alone: every length that is told comes from the service.

import type { Box, SiteDocument, XY } from './answers';

export interface Plane {
  geographic: boolean;
  /** A projected system says its unit with the service's first answer. */
  setMetresPerUnit(k: number): void;
  toPlane(p: readonly number[]): XY;
  toDoc(p: readonly number[]): XY;
}

/** box: of the document's coordinates. */
export function planeOf(doc: Pick<SiteDocument, 'crs'>, box: Box): Plane {
  const x0 = (box[0] + box[2]) / 2, y0 = (box[1] + box[3]) / 2;
  let kx = 1, ky = 1, digits = 4;
  const geographic = isGeographic(doc.crs, box);
  if (geographic) {
    // radii of curvature of WGS 84 at the middle; over a subdivision the
    // drawing is true to a few centimetres
    const a = 6378137, e2 = 0.00669437999014, s = Math.sin(y0 * Math.PI / 180);
    const w = Math.sqrt(1 - e2 * s * s);
    kx = a / w * Math.cos(y0 * Math.PI / 180) * Math.PI / 180;
    ky = a * (1 - e2) / (w * w * w) * Math.PI / 180;
    digits = 9;
  }
  return {
    geographic,
    setMetresPerUnit(k) { if (!geographic && k > 0) kx = ky = k; },
    toPlane: p => [(p[0]! - x0) * kx, (p[1]! - y0) * ky],
    toDoc: p => [+(x0 + p[0]! / kx).toFixed(digits), +(y0 + p[1]! / ky).toFixed(digits)],
  };
}

/** The name of a document's system, empty for longitude and latitude by default. */
export function crsName(crs: unknown): string {
  return typeof crs === 'string' ? crs : String((crs as { properties?: { name?: string } } | undefined)?.properties?.name ?? '');
}

function isGeographic(crs: unknown, box: Box): boolean {
  const name = crsName(crs);
  if (name === '') return true;
  if (/(CRS84|4326|4269)\s*$/.test(name)) return true;
  return Math.abs(box[0]) <= 180 && Math.abs(box[2]) <= 180 && Math.abs(box[1]) <= 90 && Math.abs(box[3]) <= 90;
}

export const distance = (a: XY, b: XY): number => Math.hypot(b[0] - a[0], b[1] - a[1]);

/** The place at a length along a line, its end where it is shorter; undefined: the line is none. */
export function pointAt(line: XY[], along: number): XY | undefined {
  const long = line.reduce((d, p, i) => i ? d + distance(line[i - 1]!, p) : 0, 0);
  return along >= long ? line.at(-1) : part(line, along, long)[0];
}

/** The part of a line between two lengths along it. */
export function part(line: XY[], from: number, to: number): XY[] {
  const out: XY[] = [];
  let done = 0;
  for (let i = 1; i < line.length; i++) {
    const a = line[i - 1]!, b = line[i]!, d = distance(a, b);
    const at = (s: number): XY => { const t = d === 0 ? 0 : (s - done) / d; return [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]; };
    if (done + d >= from && done <= to) {
      if (out.length === 0) out.push(at(Math.max(from, done)));
      out.push(at(Math.min(to, done + d)));
    }
    done += d;
  }
  return out;
}

/** The line with the part between two lengths along it moved; a corner nearer than a foot to an end of that part goes into it. */
export function shifted(line: XY[], from: number, to: number, by: XY): XY[] {
  const near = 0.3, before: XY[] = [], behind: XY[] = [];
  let done = 0;
  line.forEach((p, i) => {
    if (i) done += distance(line[i - 1]!, p);
    if (done < from - near) before.push(p); else if (done > to + near) behind.push(p);
  });
  return [...before, ...part(line, before.length ? from : 0, behind.length ? to : done).map((p): XY => [p[0] + by[0], p[1] + by[1]]), ...behind];
}
