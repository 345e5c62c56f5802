// What lies on the ground, ready to paint: the layers of a site document, each
// turned into shapes once and found by where it lies.

import type { Box, Collection, Feature, SiteDocument, XY } from './answers';
import type { Plane } from './plane';
import { Index, shapesOf, type Shape } from './shapes';
import { features, grow, lotName } from './site';
import { pointLayers, steps, type Style } from './style';

export interface Lot { name: string; box: Box; shapes: Shape[] }
export interface Mark { layer: string; symbol: string; at: XY; box: Box; text: string; doc: number[] }

/** What a painter asks; a site in tiles answers the same. */
export interface Scene {
  /** Shapes for a step of the styles. */
  shapes(step: number, box: Box): Shape[];
  marks(box: Box): Mark[];
  lots(box: Box): Lot[];
  lot(name: string): Lot | undefined;
  /** Of all lots. */
  readonly bounds: Box | null;
}

/** A layer's shapes by step, kept as long as the layer itself: edits leave the other layers as they are. */
const prepared = new WeakMap<Plane, WeakMap<Collection, (Index<Shape> | undefined)[]>>();
const lotsOf = new WeakMap<Plane, WeakMap<Collection, { index: Index<Lot>; byName: Map<string, Lot>; bounds: Box | null }>>();
function kept<K extends object, V>(all: WeakMap<Plane, WeakMap<K, V>>, plane: Plane): WeakMap<K, V> {
  let m = all.get(plane);
  if (!m) { m = new WeakMap(); all.set(plane, m); }
  return m;
}
const boxOf = (shapes: Shape[]): Box => { const b: Box = [Infinity, Infinity, -Infinity, -Infinity]; for (const s of shapes) { grow(b, s.box); grow(b, [s.box[2], s.box[3]]); } return b; };

/** The mark of a point feature. */
export function markOf(layer: string, symbol: string, p: Record<string, any>, id: unknown, at: XY, doc: number[]): Mark {
  return { layer, symbol, at, box: [at[0], at[1], at[0], at[1]], text: layer === 'inlets' ? String(p.inlet ?? id ?? '') : '', doc };
}

/** What a step of the styles draws of shapes, found by what it covers: a point is drawn with a radius. */
export function indexOf(s: Style, shapes: Shape[]): Index<Shape> | undefined {
  const mine = shapes.filter(one => !s.takes || s.takes(one.properties)).map(one => {
    const r = s.radius && one.parts.some(p => p.length === 2) ? s.radius(one.properties) : 0, [a, b, c, d] = one.box;
    return r > 0 ? { ...one, box: [a - r, b - r, c + r, d + r] as Box } : one;
  });
  return mine.length ? new Index(mine) : undefined;
}

/** The scene of a document. */
export class DocumentScene implements Scene {
  private readonly steps: (Index<Shape> | undefined)[] = [];
  private readonly points: Index<Mark>;
  private readonly own: { index: Index<Lot>; byName: Map<string, Lot>; bounds: Box | null };

  constructor(doc: SiteDocument, plane: Plane) {
    const byLayer = kept(prepared, plane);
    for (const layer of new Set(steps.flatMap(s => typeof s === 'string' ? [] : [s.layer]))) {
      const collection = doc.layers?.[layer];
      if (!collection) continue;
      let indices = byLayer.get(collection);
      if (!indices) {
        const shapes = features(doc, layer).flatMap(f => shapesOf(f, plane));
        indices = steps.map(s => {
          if (typeof s === 'string' || s.layer !== layer) return undefined;
          return indexOf(s, shapes);
        });
        byLayer.set(collection, indices);
      }
      indices.forEach((x, i) => { if (x) this.steps[i] = x; });
    }
    this.points = new Index(pointLayers.flatMap(([layer, symbol]) => features(doc, layer).flatMap((f: Feature) => {
      const c = f.geometry?.coordinates;
      return f.geometry?.type === 'Point' && Array.isArray(c) && Number.isFinite(c[0]) && Number.isFinite(c[1]) ? [markOf(layer, symbol, f.properties ?? {}, f.id, plane.toPlane(c), c.slice(0, 2))] : [];
    })));
    const parcels = doc.layers?.parcels, all = kept(lotsOf, plane);
    let own = parcels && all.get(parcels);
    if (!own) {
      const lots = features(doc, 'parcels').flatMap((f, i): Lot[] => { const shapes = shapesOf(f, plane); return shapes.length ? [{ name: lotName(f, i), shapes, box: boxOf(shapes) }] : []; });
      const bounds = lots.length ? boxOf(lots.flatMap(l => l.shapes)) : null;
      own = { index: new Index(lots), byName: new Map(lots.map(l => [l.name, l])), bounds };
      if (parcels) all.set(parcels, own);
    }
    this.own = own;
  }
  get bounds(): Box | null { return this.own.bounds; }
  shapes(step: number, box: Box): Shape[] { return this.steps[step]?.within(box) ?? []; }
  marks(box: Box): Mark[] { return this.points.within(box); }
  lots(box: Box): Lot[] { return this.own.index.within(box); }
  lot(name: string): Lot | undefined { return this.own.byName.get(name); }
}
