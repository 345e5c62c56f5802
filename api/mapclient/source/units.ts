// What people read: SI from the service into the units chosen. Nothing else on
// the page turns units.

import type { Num } from './answers';

const FT = 0.3048;
let us = true;

/** "us" or "si". */
export function setUnits(system: string): void { us = system !== 'si'; }
export function isUS(): boolean { return us; }

const none = '–';
const known = (v: Num, f: (n: number) => string): string => (v === null || v === undefined || !Number.isFinite(v) ? none : f(v));

/** A plan length in metres. */
export const length = (m: Num) => known(m, v => us ? `${(v / FT).toFixed(1)} ft` : `${v.toFixed(2)} m`);
/** A depth or clearance, where a hand's breadth counts. */
export const depth = (m: Num) => known(m, v => us ? `${(v / FT).toFixed(2)} ft` : `${v.toFixed(3)} m`);
/** What a level stands off: in hundredths of a foot or in millimetres, signed. */
export const off = (m: Num) => known(m, v => `${v > 0 ? '+' : v < 0 ? '−' : ''}${us ? `${Math.abs(v / FT).toFixed(3)} ft` : `${Math.abs(1000 * v).toFixed(0)} mm`}`);
export const elevation = (m: Num) => known(m, v => us ? `${(v / FT).toFixed(2)} ft` : `${v.toFixed(3)} m`);
/** Rise over run. */
export const slope = (s: Num) => known(s, v => `${(100 * v).toFixed(2)} %`);
export const flow = (q: Num) => known(q, v => us ? `${(v / (FT * FT * FT)).toFixed(3)} ft³/s` : `${(1000 * v).toFixed(2)} L/s`);
export const velocity = (w: Num) => known(w, v => us ? `${(v / FT).toFixed(2)} ft/s` : `${v.toFixed(2)} m/s`);
export const area = (a: Num) => known(a, v => us ? `${(v / (FT * FT)).toFixed(0)} ft²` : `${v.toFixed(1)} m²`);
export const volume = (c: Num) => known(c, v => us ? `${(v / (FT * FT * FT)).toFixed(1)} ft³` : `${v.toFixed(3)} m³`);
export const lengthUnit = () => us ? 'ft' : 'm';
/** Metres of a length that was typed. */
export const typedLength = (v: number) => us ? v * FT : v;
/** A round length for the scale bar, no longer than most metres. */
export function roundLength(most: number): { metres: number; text: string } {
  const unit = us ? FT : 1, n = most / unit, ten = 10 ** Math.floor(Math.log10(n));
  const take = [5, 2, 1].find(k => k * ten <= n) ?? 1;
  return { metres: take * ten * unit, text: `${+(take * ten).toPrecision(3)} ${us ? 'ft' : 'm'}` };
}
