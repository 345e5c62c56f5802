// A stored site of many lots, seen through the service's vector tiles: only what
// is looked at is fetched.

import type { Box, Properties, XY } from './answers';
import type { Plane } from './plane';
import type { Lot, Mark, Scene } from './scene';
import { indexOf, markOf } from './scene';
import * as service from './service';
import { Index, touches, type Shape } from './shapes';
import { grow } from './site';
import { pointLayers, steps } from './style';
import type { Georeference } from './world';

/** A feature of a tile: kind 1 points, 2 lines, 3 areas; parts in units of the tile. */
export interface TileFeature { kind: number; parts: number[][]; properties: Properties }
export interface TileLayer { name: string; extent: number; features: TileFeature[] }

/** Reads a vector tile (version 2 of its specification). */
export function readTile(bytes: Uint8Array): TileLayer[] {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength), words = new TextDecoder();
  const fields = (from: number, to: number, see: (field: number, wire: number, at: number, end: number) => void): void => {
    let at = from;
    const varint = (): number => { let v = 0, f = 1; for (; ;) { const b = bytes[at++]!; v += (b & 127) * f; if (b < 128) return v; f *= 128; } };
    while (at < to) {
      const tag = varint(), wire = tag & 7;
      if (wire === 2) { const n = varint(); see(tag >> 3, wire, at, at + n); at += n; }
      else if (wire === 0) { const start = at; varint(); see(tag >> 3, wire, start, at); }
      else { const n = wire === 1 ? 8 : 4; see(tag >> 3, wire, at, at + n); at += n; }
    }
  };
  const numbers = (from: number, to: number): number[] => { const out: number[] = []; let v = 0, f = 1; for (let i = from; i < to; i++) { const b = bytes[i]!; v += (b & 127) * f; if (b < 128) { out.push(v); v = 0; f = 1; } else f *= 128; } return out; };
  const zigzag = (n: number): number => n % 2 ? -(n + 1) / 2 : n / 2;
  const text = (from: number, to: number): string => words.decode(bytes.subarray(from, to));
  const value = (from: number, to: number): string | number | boolean => {
    let v: string | number | boolean = '';
    fields(from, to, (field, _, a, b) => { v = field === 1 ? text(a, b) : field === 2 ? view.getFloat32(a, true) : field === 3 ? view.getFloat64(a, true) : field === 6 ? zigzag(numbers(a, b)[0]!) : field === 7 ? numbers(a, b)[0] === 1 : numbers(a, b)[0]!; });
    return v;
  };
  const parts = (commands: number[]): number[][] => {
    const out: number[][] = [];
    let x = 0, y = 0, part: number[] = [];
    for (let i = 0; i < commands.length;) {
      const c = commands[i++]!, id = c & 7, n = c >> 3;
      if (id === 7) continue; // close: areas are closed by their kind
      for (let k = 0; k < n && i + 1 < commands.length; k++) {
        x += zigzag(commands[i++]!); y += zigzag(commands[i++]!);
        if (id === 1) { part = []; out.push(part); }
        part.push(x, y);
      }
    }
    return out;
  };
  const layers: TileLayer[] = [];
  fields(0, bytes.length, (field, _, from, to) => {
    if (field !== 3) return;
    const layer: TileLayer = { name: '', extent: 4096, features: [] }, keys: string[] = [], values: (string | number | boolean)[] = [], raw: [number, number][] = [];
    fields(from, to, (f, _w, a, b) => {
      if (f === 1) layer.name = text(a, b); else if (f === 2) raw.push([a, b]); else if (f === 3) keys.push(text(a, b)); else if (f === 4) values.push(value(a, b)); else if (f === 5) layer.extent = numbers(a, b)[0]!;
    });
    for (const [a, b] of raw) {
      const feature: TileFeature = { kind: 0, parts: [], properties: {} };
      fields(a, b, (f, _w, s, e) => {
        if (f === 2) { const t = numbers(s, e); for (let i = 0; i + 1 < t.length; i += 2) feature.properties[keys[t[i]!]!] = values[t[i + 1]!]; }
        else if (f === 3) feature.kind = numbers(s, e)[0]!;
        else if (f === 4) feature.parts = parts(numbers(s, e));
      });
      layer.features.push(feature);
    }
    layers.push(layer);
  });
  return layers;
}

interface Tile { box: Box; state: 'asked' | 'here'; steps: (Index<Shape> | undefined)[]; marks: Index<Mark>; lots: Index<Lot>; full: boolean }

/** Tiles kept, more than the widest screen shows; one has a few hundred features. */
const kept = 480;

export class TiledScene implements Scene {
  private readonly tiles = new Map<string, Tile>();
  private readonly asking = new Map<string, AbortController>();
  private level = -1;
  private readonly queue: [key: string, z: number, x: number, y: number][] = [];
  /** changed: the box has more to paint now. k: pixels a metre of what is looked at. */
  constructor(private readonly path: string, private readonly plane: Plane, private readonly world: Georeference, readonly bounds: Box, private readonly changed: (box: Box) => void, private readonly scale: () => number, private readonly failed: (e: unknown) => void) { }

  /** Another site is looked at: nothing more is fetched. */
  stop(): void { this.queue.length = 0; for (const c of this.asking.values()) c.abort(); }

  /** The tiles over a box at the scale that is looked at, asking for those that are not here. */
  private over(box: Box): Tile[] {
    const out: Tile[] = [];
    const c: XY[] = [[box[0], box[1]], [box[2], box[1]], [box[2], box[3]], [box[0], box[3]]];
    const m = c.map(p => this.world.mercator(p));
    const x0 = Math.min(...m.map(p => p[0])), x1 = Math.max(...m.map(p => p[0])), y0 = Math.min(...m.map(p => p[1])), y1 = Math.max(...m.map(p => p[1]));
    const metre = (this.world.mercator([this.bounds[0] + 100, this.bounds[1]])[0] - this.world.mercator([this.bounds[0], this.bounds[1]])[0]) / 100;
    // a tile takes 200 to 400 pixels of the screen; nearer than 17 the same tile is drawn larger
    const z = Math.max(0, Math.min(17, Math.floor(Math.log2(this.scale() / metre / 200)))), n = 2 ** z;
    if (z !== this.level) {
      // what is on its way for another scale is not looked at any more
      this.level = z;
      for (const c of this.asking.values()) c.abort();
      for (const [key] of this.queue) this.tiles.delete(key);
      this.queue.length = 0;
    }
    for (let x = Math.floor(x0 * n); x <= Math.floor(x1 * n); x++) for (let y = Math.floor(y0 * n); y <= Math.floor(y1 * n); y++) {
      const key = `${z}/${x}/${y}`;
      let t = this.tiles.get(key);
      if (!t) {
        const a = this.world.plane([x / n, (y + 1) / n]), b = this.world.plane([(x + 1) / n, y / n]);
        t = { box: [a[0], a[1], b[0], b[1]], state: 'asked', steps: [], marks: new Index<Mark>([]), lots: new Index<Lot>([]), full: true };
        this.tiles.set(key, t);
        if (touches(t.box, this.bounds)) { this.queue.push([key, z, x, y]); this.next(); } else t.state = 'here';
        if (this.tiles.size > kept) for (const [old, o] of this.tiles) { if (this.tiles.size <= kept) break; if (o.state === 'here' && !touches(o.box, box)) this.tiles.delete(old); }
      } else if (t.state === 'here') { this.tiles.delete(key); this.tiles.set(key, t); }
      if (t.state === 'here') out.push(t);
    }
    return out;
  }
  private next(): void {
    while (this.asking.size < 4 && this.queue.length) {
      const [key, z, x, y] = this.queue.pop()!; // the newest first: the view has moved on
      const t = this.tiles.get(key);
      if (!t) continue;
      const c = new AbortController();
      this.asking.set(key, c);
      service.bytes(`${this.path}/tiles/${z}/${x}/${y}.mvt`, c.signal)
        .then(b => { this.take(t, z, x, y, b ? readTile(new Uint8Array(b)) : []); this.changed(t.box); })
        .catch(e => { this.tiles.delete(key); if (!c.signal.aborted) this.failed(e); })
        .finally(() => { if (this.asking.get(key) === c) this.asking.delete(key); this.next(); });
    }
  }
  private take(t: Tile, z: number, x: number, y: number, layers: TileLayer[]): void {
    const n = 2 ** z, byLayer = new Map<string, Shape[]>(), marks: Mark[] = [], lots: Lot[] = [];
    // inside a tile the plane is bent by far less than a pixel: its corners carry the map
    const p0 = this.world.plane([x / n, y / n]), px = this.world.plane([(x + 1) / n, y / n]), py = this.world.plane([x / n, (y + 1) / n]);
    for (const l of layers) {
      if (l.name === '_incomplete') { t.full = false; continue; }
      const at = (u: number, v: number): XY => { const a = u / l.extent, b = v / l.extent; return [p0[0] + a * (px[0] - p0[0]) + b * (py[0] - p0[0]), p0[1] + a * (px[1] - p0[1]) + b * (py[1] - p0[1])]; };
      const symbol = pointLayers.find(p => p[0] === l.name)?.[1];
      for (const f of l.features) {
        const shape: Shape = { area: f.kind === 3, parts: [], box: [Infinity, Infinity, -Infinity, -Infinity], properties: f.properties };
        for (const q of f.parts) {
          const xy = new Float64Array(q.length);
          for (let i = 0; i < q.length; i += 2) { const w = at(q[i]!, q[i + 1]!); xy[i] = w[0]; xy[i + 1] = w[1]; grow(shape.box, w); }
          shape.parts.push(xy);
        }
        if (!shape.parts.length) continue;
        if (symbol) { const c = shape.parts[0]!; const w: XY = [c[0]!, c[1]!]; marks.push(markOf(l.name, symbol, f.properties, f.properties.id, w, this.plane.toDoc(w))); continue; }
        const had = byLayer.get(l.name);
        if (had) had.push(shape); else byLayer.set(l.name, [shape]);
        if (l.name === 'parcels') lots.push({ name: String(f.properties.lot ?? f.properties.id), box: shape.box, shapes: [shape] });
      }
    }
    t.steps = steps.map(s => { return typeof s === 'string' ? undefined : indexOf(s, byLayer.get(s.layer) ?? []); });
    t.marks = new Index(marks); t.lots = new Index(lots); t.state = 'here';
  }

  shapes(step: number, box: Box): Shape[] {
    // what lies over the edge of a tile comes with both: it is drawn once
    const tiles = this.over(box), all = tiles.flatMap(t => t.steps[step]?.within(box) ?? []);
    if (tiles.length < 2) return all;
    const seen = new Set<unknown>();
    return all.filter(s => { const id = s.properties.id; if (id === undefined) return true; if (seen.has(id)) return false; seen.add(id); return true; });
  }
  marks(box: Box): Mark[] { return this.over(box).flatMap(t => t.marks.within(box).filter(m => m.at[0] >= t.box[0] && m.at[0] < t.box[2] && m.at[1] >= t.box[1] && m.at[1] < t.box[3])); }
  lots(box: Box): Lot[] {
    // a lot that lies over an edge is in both tiles; its larger part counts
    const by = new Map<string, Lot>();
    const size = (l: Lot) => (l.box[2] - l.box[0]) * (l.box[3] - l.box[1]);
    for (const l of this.over(box).flatMap(t => t.lots.within(box))) { const had = by.get(l.name); if (!had || size(l) > size(had)) by.set(l.name, l); }
    return [...by.values()];
  }
  lot(name: string): Lot | undefined { return this.chosen?.name === name ? this.chosen : undefined; }
  /** The chosen lot whole, as the features of the service have it. */
  chosen: Lot | null = null;
}
