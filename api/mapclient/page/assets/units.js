// What people read: SI from the service into the units chosen. Nothing else on
// the page turns units.

const FT = 0.3048;
let us = true;

/** @param {string} system "us" or "si" */
export function setUnits(system) { us = system !== 'si'; }
export function isUS() { return us; }

const none = '–';
/** @param {number|null|undefined} v @param {(n:number)=>string} f */
const known = (v, f) => (v === null || v === undefined || !Number.isFinite(v) ? none : f(v));

/** A plan length in metres. @param {number|null|undefined} m */
export const length = m => known(m, v => us ? `${(v / FT).toFixed(1)} ft` : `${v.toFixed(2)} m`);
/** A depth or clearance, where a hand's breadth counts. @param {number|null|undefined} m */
export const depth = m => known(m, v => us ? `${(v / FT).toFixed(2)} ft` : `${v.toFixed(3)} m`);
/** An elevation. @param {number|null|undefined} m */
export const elevation = m => known(m, v => us ? `${(v / FT).toFixed(2)} ft` : `${v.toFixed(3)} m`);
/** Rise over run. @param {number|null|undefined} s */
export const slope = s => known(s, v => `${(100 * v).toFixed(2)} %`);
/** @param {number|null|undefined} q */
export const flow = q => known(q, v => us ? `${(v / (FT * FT * FT)).toFixed(3)} ft³/s` : `${(1000 * v).toFixed(2)} L/s`);
/** @param {number|null|undefined} w */
export const velocity = w => known(w, v => us ? `${(v / FT).toFixed(2)} ft/s` : `${v.toFixed(2)} m/s`);
/** @param {number|null|undefined} a */
export const area = a => known(a, v => us ? `${(v / (FT * FT)).toFixed(0)} ft²` : `${v.toFixed(1)} m²`);
/** @param {number|null|undefined} c */
export const volume = c => known(c, v => us ? `${(v / (FT * FT * FT)).toFixed(1)} ft³` : `${v.toFixed(3)} m³`);
export const lengthUnit = () => us ? 'ft' : 'm';
/** Metres of a length that was typed. @param {number} v */
export const typedLength = v => us ? v * FT : v;
/** A round length for the scale bar, no longer than most metres. @param {number} most */
export function roundLength(most) {
  const unit = us ? FT : 1, n = most / unit, ten = 10 ** Math.floor(Math.log10(n));
  const take = [5, 2, 1].find(k => k * ten <= n) ?? 1;
  return { metres: take * ten * unit, text: `${+(take * ten).toPrecision(3)} ${us ? 'ft' : 'm'}` };
}
