// The plane that the page draws in, metres east and north of the middle of the
// site. For drawing alone: every length that is told comes from the service.

/** @typedef {[number, number]} XY */

/**
 * @param {object} doc site document
 * @param {[number,number,number,number]} box of its coordinates
 */
export function planeOf(doc, box) {
  const x0 = (box[0] + box[2]) / 2, y0 = (box[1] + box[3]) / 2;
  let kx, ky, digits;
  const geographic = isGeographic(doc.crs, box);
  if (geographic) {
    // radii of curvature of WGS 84 at the middle; over a subdivision the
    // drawing is true to a few centimetres
    const a = 6378137, e2 = 0.00669437999014, s = Math.sin(y0 * Math.PI / 180);
    const w = Math.sqrt(1 - e2 * s * s);
    kx = a / w * Math.cos(y0 * Math.PI / 180) * Math.PI / 180;
    ky = a * (1 - e2) / (w * w * w) * Math.PI / 180;
    digits = 9;
  } else { kx = ky = 1; digits = 4; }
  return {
    geographic,
    /** A projected system says its unit with the service's first answer. @param {number} k */
    setMetresPerUnit(k) { if (!geographic && k > 0) kx = ky = k; },
    /** @param {number[]} p @returns {XY} */
    toPlane: p => [(p[0] - x0) * kx, (p[1] - y0) * ky],
    /** @param {XY} p @returns {XY} */
    toDoc: p => [+(x0 + p[0] / kx).toFixed(digits), +(y0 + p[1] / ky).toFixed(digits)],
  };
}

function isGeographic(crs, box) {
  const name = typeof crs === 'string' ? crs : crs?.properties?.name ?? '';
  if (name === '') return true;
  if (/(CRS84|4326|4269)\s*$/.test(name)) return true;
  return Math.abs(box[0]) <= 180 && Math.abs(box[2]) <= 180 && Math.abs(box[1]) <= 90 && Math.abs(box[3]) <= 90;
}

/** @param {XY} a @param {XY} b */
export const distance = (a, b) => Math.hypot(b[0] - a[0], b[1] - a[1]);

/** The part of a line between two lengths along it. @param {XY[]} line @param {number} from @param {number} to @returns {XY[]} */
export function part(line, from, to) {
  const out = [];
  let done = 0;
  for (let i = 1; i < line.length; i++) {
    const d = distance(line[i - 1], line[i]);
    const at = s => { const t = d === 0 ? 0 : (s - done) / d; return /** @type {XY} */ ([line[i - 1][0] + t * (line[i][0] - line[i - 1][0]), line[i - 1][1] + t * (line[i][1] - line[i - 1][1])]); };
    if (done + d >= from && done <= to) {
      if (out.length === 0) out.push(at(Math.max(from, done)));
      out.push(at(Math.min(to, done + d)));
    }
    done += d;
  }
  return out;
}
