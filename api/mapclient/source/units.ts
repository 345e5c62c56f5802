// What people read: SI from the service into the units chosen, as the service's
// papers have them, which a test holds them to. Nothing else on the page turns
// units.

import type { Num } from './answers';

const FT = 0.3048, GAL = 0.003785411784, YARD = 0.764554857984; // exact
let us = true;

/** "us" or "si". */
export function setUnits(system: string): void { us = system !== 'si'; }
export function isUS(): boolean { return us; }

const none = '–';
const known = (v: Num, f: (n: number) => string): string => (v === null || v === undefined || !Number.isFinite(v) ? none : f(v));

/** So many digits behind the point, and no minus before nothing. */
const fixed = (v: number, digits: number): string => { const t = v.toFixed(digits); return /[1-9]/.test(t) ? t : t.replace('-', ''); };

/** A plan length in metres. */
export const length = (m: Num) => known(m, v => us ? `${fixed(v / FT, 1)} ft` : `${fixed(v, 2)} m`);
/** A depth or clearance, where a hand's breadth counts. */
export const depth = (m: Num) => known(m, v => us ? `${fixed(v / FT, 2)} ft` : `${fixed(v, 3)} m`);
/** What a level stands off: in thousandths of a foot or in millimetres, signed. */
export const off = (m: Num) => known(m, v => `${v > 0 ? '+' : v < 0 ? '−' : ''}${us ? `${Math.abs(v / FT).toFixed(3)} ft` : `${Math.abs(1000 * v).toFixed(0)} mm`}`);
export const elevation = depth;
/** Rise over run. */
export const slope = (s: Num) => known(s, v => `${fixed(100 * v, 2)} %`);
/** Gallons a minute below one cubic foot a second. */
export const flow = (q: Num) => known(q, v => { const cfs = v / FT ** 3; return !us ? `${fixed(1000 * v, 2)} L/s` : cfs < 1 ? `${fixed(v / GAL * 60, 0)} gpm` : `${fixed(cfs, 2)} cfs`; });
export const velocity = (w: Num) => known(w, v => us ? `${fixed(v / FT, 1)} ft/s` : `${fixed(v, 2)} m/s`);
export const area = (a: Num) => known(a, v => us ? `${fixed(v / FT ** 2, 0)} ft²` : `${fixed(v, 1)} m²`);
/** Of ground or stone. */
export const volume = (c: Num) => known(c, v => us ? `${fixed(v / YARD, 1)} cu yd` : `${fixed(v, 2)} m³`);
export const water = (c: Num) => known(c, v => us ? `${fixed(v / GAL, 0)} gal` : `${fixed(v, 2)} m³`);
/** So many of a thing. */
export const count = (n: number, thing: string): string => `${n} ${thing}${n === 1 ? '' : 's'}`;
const quantity = /(-?\d+(?:\.(\d+))?) (mm\/h|mm|m3\/s|m\/s|m3|m2|m|litres|l\/s)\b(?: \((\d+(?:\.\d+)? ft)\))?/g;
/** A sentence of the service, which has metric quantities, in the units shown. */
export const text = (s: string | undefined): string => !us ? s ?? '' : (s ?? '').replace(quantity, (q, number: string, part: string | undefined, unit: string, feet: string | undefined) => {
  const v = Number(number), places = part?.length ?? 0;
  if (feet) return feet;
  switch (unit) {
    case 'mm/h': return `${fixed(v / 25.4, 2)} in/h`;
    case 'mm': return `${fixed(v / 25.4, 1)} in`;
    case 'm3/s': return flow(v);
    case 'm/s': return `${fixed(v / FT, Math.min(places, 2))} ft/s`;
    case 'm3': return water(v);
    case 'l/s': return flow(v / 1000);
    case 'litres': return water(v / 1000);
    case 'm2': return area(v);
  }
  // a whole foot that the metres were rounded from stays one: 3.05 m is 10 ft
  const ft = v / FT, whole = Math.round(ft), stays = whole !== 0 && places >= 2 && Math.abs(ft - whole) * FT <= 0.5 * 10 ** -places;
  return `${fixed(stays ? whole : ft, Math.min(Math.max(places, 1), 2))} ft`;
});
export const lengthUnit = () => us ? 'ft' : 'm';
/** Metres of a length that was typed; and the other way. */
export const typedLength = (v: number) => us ? v * FT : v;
export const areaUnit = () => us ? 'ft²' : 'm²';
/** Square metres of an area that was typed. */
export const typedArea = (v: number) => us ? v * FT ** 2 : v;
export const shownLength = (m: number) => us ? m / FT : m;
/** A round length for the scale bar, no longer than most metres. */
export function roundLength(most: number): { metres: number; text: string } {
  const unit = us ? FT : 1, n = most / unit, ten = 10 ** Math.floor(Math.log10(n));
  const take = [5, 2, 1].find(k => k * ten <= n) ?? 1;
  return { metres: take * ten * unit, text: `${+(take * ten).toPrecision(3)} ${us ? 'ft' : 'm'}` };
}
