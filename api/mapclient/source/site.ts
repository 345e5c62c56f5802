// The site document on the page: reading dropped files, the lots, edits.

import type { Box, Collection, Feature, Geometry, SiteDocument } from './answers';
import { count } from './units';

export const layerNames = ['parcels', 'streets', 'districts', 'buildings', 'openings', 'easements', 'swales', 'inlets', 'outlets', 'intakes',
  'perforated_runs', 'obstacles', 'drains', 'spots', 'contours', 'breaklines'];

/** What the user changed; every change makes a new one, so that undo is a step back in a list. */
export interface Edits {
  /** New positions in the document's coordinates, by key: "layer/index", or "layer/+n" of the n-th that was added. */
  moves: Record<string, number[]>;
  /** What was put on the site, and the keys of what was taken off it. */
  added: { layer: string; feature: Feature }[];
  gone: string[];
  route: number[][];
  what: { clearance?: number; slope?: number; years?: number; wall?: string; tilt?: string };
  outlet: string;
  /** Shots on the laid pipe as a point file, and the unit of its elevations: m, ft or us_ft. */
  shots: { text: string; unit: string } | null;
}
export const noEdits = (): Edits => ({ moves: {}, added: [], gone: [], route: [], what: {}, outlet: '', shots: null });

/**
 * Reads what was dropped: one site document, or layer files that are named by
 * their layer (parcels.geojson, inlets.geojson, ...), which are added to the
 * open site where no parcels are among them; these are told as added.
 */
export function read(files: { name: string; text: string }[], open: SiteDocument | null): { doc: SiteDocument; text: string | null; notes: string[]; added: string[] } {
  const notes: string[] = [], layers: Record<string, Collection> = {};
  for (const f of files) {
    let v: any;
    try { v = JSON.parse(f.text.replace(/^\uFEFF/, '')); } catch (e) {
      throw new Error(`${f.name} is no JSON: ${e instanceof Error ? e.message : e}. Give a GeoJSON file or a site document.`);
    }
    if (v && typeof v === 'object' && v.layers && typeof v.layers === 'object') {
      if (files.length > 1) throw new Error(`${f.name} is a whole site document: open it alone, then add layer files.`);
      return { doc: v, text: f.text, notes, added: [] };
    }
    if (v?.type !== 'FeatureCollection' || !Array.isArray(v.features)) throw new Error(`${f.name} is neither a site document nor a GeoJSON FeatureCollection.`);
    const stem = f.name.replace(/\.[^.]*$/, '').toLowerCase().replace(/[ -]/g, '_');
    if (!layerNames.includes(stem)) throw new Error(`${f.name}: name the file by its layer, one of ${layerNames.join(', ')}.`);
    layers[stem] = v;
    notes.push(`${count(v.features.length, 'feature')} into ${stem}.`);
  }
  if (layers.parcels) return { doc: { layers }, text: null, notes, added: [] };
  if (!open) throw new Error('There are no lots: add parcels.geojson to the files.');
  return { doc: { ...open, layers: { ...open.layers, ...layers } }, text: null, notes, added: Object.keys(layers) };
}

export function features(doc: SiteDocument | null, layer: string): Feature[] {
  const list = doc?.layers?.[layer]?.features;
  return Array.isArray(list) ? list.filter(f => f && typeof f === 'object') : [];
}

/** The name by which the service knows a lot. */
export const lotName = (f: Feature, i: number): string => String(f.properties?.lot ?? f.id ?? `#${i}`);

/** Calls back with each position of a geometry. */
export function positions(g: Geometry | null | undefined, visit: (p: number[]) => void): void {
  if (!g) return;
  if (g.type === 'GeometryCollection') { for (const one of g.geometries ?? []) positions(one, visit); return; }
  const down = (c: unknown): void => { if (!Array.isArray(c)) return; if (typeof c[0] === 'number') { if (Number.isFinite(c[0]) && Number.isFinite(c[1])) visit(c); } else for (const one of c) down(one); };
  down(g.coordinates);
}

export function bounds(list: Feature[]): Box | null {
  const b: Box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const f of list) positions(f.geometry, p => grow(b, p));
  return b[0] === Infinity ? null : b;
}
export function grow(b: Box, p: readonly number[]): void {
  if (p[0]! < b[0]) b[0] = p[0]!;
  if (p[1]! < b[1]) b[1] = p[1]!;
  if (p[0]! > b[2]) b[2] = p[0]!;
  if (p[1]! > b[3]) b[3] = p[1]!;
}

/** What of the edits changes the things that lie on the site. */
export type Changes = Pick<Edits, 'moves' | 'added' | 'gone'>;
export const untouched = (e: Changes): boolean => !e.added.length && !e.gone.length && !Object.keys(e.moves).length;

/** The features of a layer with the changes in them, each with its key. */
export function keyed(doc: SiteDocument | null, layer: string, e: Changes): { key: string; feature: Feature }[] {
  const own = doc?.layers?.[layer]?.features, list = Array.isArray(own) ? own : [];
  return [...list.map((feature, i) => ({ key: `${layer}/${i}`, feature })), ...e.added.flatMap(({ layer: l, feature }, i) => l === layer ? [{ key: `${layer}/+${i}`, feature }] : [])]
    .flatMap(one => e.gone.includes(one.key) ? [] : [e.moves[one.key] ? { ...one, feature: moved(one.feature, e.moves[one.key]!) } : one]);
}
/** A point or a shape shifted as a whole, its first position to a place. */
function moved(f: Feature, to: number[]): Feature {
  const g = f?.geometry;
  let by: number[] | null = null;
  const shift = (c: any): any => {
    if (!Array.isArray(c) || typeof c[0] !== 'number') return Array.isArray(c) ? c.map(shift) : c;
    by ??= [to[0]! - c[0], to[1]! - c[1]];
    return g?.type === 'Point' ? [...to, ...c.slice(2)] : [c[0] + by[0]!, c[1] + by[1]!, ...c.slice(2)];
  };
  return g ? { ...f, geometry: { ...g, coordinates: shift(g.coordinates) } } : f;
}

/** The last document that was changed: asked again, it is the same, whose layers nobody reads or writes out twice. */
let last: { doc: SiteDocument; e: Changes; out: SiteDocument } | null = null;
/** The document with the changes in it. The document itself is left as it is. */
export function changed(doc: SiteDocument, e: Changes): SiteDocument {
  if (untouched(e)) return doc;
  if (last?.doc === doc && last.e.moves === e.moves && last.e.added === e.added && last.e.gone === e.gone) return last.out;
  const layers: Record<string, Collection> = { ...doc.layers };
  for (const layer of new Set([...Object.keys(e.moves), ...e.gone].map(key => key.split('/')[0]!).concat(e.added.map(a => a.layer)))) {
    const list = keyed(doc, layer, e);
    if (layers[layer] || list.length) layers[layer] = { ...(layers[layer] ?? { type: 'FeatureCollection' }), features: list.map(one => one.feature) };
  }
  const out = { ...doc, layers };
  last = { doc, e, out };
  return out;
}
/** The document with all that was changed and drawn. */
export function edited(doc: SiteDocument, edits: Edits, lot: string): SiteDocument {
  const out = changed(doc, edits);
  return edits.route.length > 1 ? { ...out, layers: { ...out.layers, drains: withRoute(doc, edits.route, lot) } } : out;
}
/** The drains of a document with the drawn route, in place of one that was stored with it before. */
export const withRoute = (doc: SiteDocument, line: number[][], lot: string): Collection => ({ ...(doc.layers.drains ?? { type: 'FeatureCollection' }), features: [...features(doc, 'drains').filter(f => f.properties?.drain !== here), drawn(line, lot)] });

/** The name of the drain that is drawn on the page. */
export const here = 'drawn here';
/** The drawn route as a drain. */
const drawn = (line: number[][], lot: string): Feature => ({ type: 'Feature', id: here, geometry: { type: 'LineString', coordinates: line }, properties: { drain: here, lot, status: 'proposed', pipe: 'solid' } });

const near = ['parcels', 'streets', 'districts', 'buildings', 'easements', 'inlets', 'outlets', 'obstacles'];
/** What was kept of a document for the drags over a lot: the layers, cut to a box. */
let cut: { doc: SiteDocument; lot: string; box: Box; layers: Record<string, Collection> } | null = null;
/** Another site: nothing of the last is held. */
export function forgetCut(): void { cut = null; last = null; }
/**
 * What a check of one drawn route needs: ground and intakes are left out, and
 * all that lies far from the lot and the line, so that a drag is answered at
 * once. The layers stay the same while the line keeps near the lot: neither the
 * page nor the service reads them twice. The whole site is checked on release.
 */
export function forDrag(doc: SiteDocument, line: number[][], lot: string): SiteDocument {
  const inside = (b: Box): boolean => line.every(p => p[0]! >= b[0] && p[0]! <= b[2] && p[1]! >= b[1] && p[1]! <= b[3]);
  if (!cut || near.some(n => cut!.doc.layers[n] !== doc.layers[n]) || cut.lot !== lot || !inside(cut.box)) {
    const own = features(doc, 'parcels').find((f, i) => lotName(f, i) === lot), b = own ? bounds([own]) : null;
    const layers: Record<string, Collection> = {};
    let far: Box = [-Infinity, -Infinity, Infinity, Infinity], box = far;
    if (b) {
      for (const p of line) grow(b, p);
      const wide = 0.5 * Math.max(b[2] - b[0], b[3] - b[1]); // half of it is room for the line to go on
      box = [b[0] - wide / 2, b[1] - wide / 2, b[2] + wide / 2, b[3] + wide / 2];
      far = [b[0] - wide, b[1] - wide, b[2] + wide, b[3] + wide];
    }
    const keep = (f: Feature): boolean => { const o = bounds([f]); return !b || !!o && o[0] <= far[2] && o[2] >= far[0] && o[1] <= far[3] && o[3] >= far[1]; };
    for (const name of near) { const l = doc.layers[name]; if (l) layers[name] = { ...l, features: features(doc, name).filter(keep) }; }
    cut = { doc, lot, box, layers };
  }
  return { ...doc, layers: { ...cut.layers, drains: { type: 'FeatureCollection', features: [drawn(line, lot)] } } };
}
