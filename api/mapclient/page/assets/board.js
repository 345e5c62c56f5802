// The plan: site layers on a canvas, the plan and what is being drawn in an SVG
// above it, pan and zoom for pointer, touch and keyboard.
//
// Colour: the ground is stone, the trench zone a light band in it, pipes are
// ink. Red, yellow, orange, blue, green and purple mark existing utilities and
// nothing else, as the locating services paint them.

import { features, positions, bounds, lotName } from './site.js';
import { part } from './plane.js';
import { shade } from './ground.js';
import { roundLength, elevation } from './units.js';

const ink = '#1f1c19', stone = '#d8d1c4', paper = '#fffdf8';
const utilityColour = { electric: '#c4161c', lighting: '#c4161c', gas: '#d9a900', steam: '#d9a900', telephone: '#e06c00', communications: '#e06c00', cable: '#e06c00',
  water: '#1d5fb8', sewer: '#1f7a3a', sanitary: '#1f7a3a', storm: '#1f7a3a', drain: '#1f7a3a', irrigation: '#7b3fa0', reclaimed: '#7b3fa0' };

/** What can be switched, from the ground up: key, words, whether on at first. */
export const switches = [
  ['streets', 'Streets', true], ['parcels', 'Lots', true], ['zone', 'Trench zone', true], ['relief', 'Relief of the ground', true], ['easements', 'Easements', true], ['districts', 'Districts', false],
  ['buildings', 'Footprints', true], ['openings', 'Low openings', false], ['swales', 'Swales', true], ['obstacles', 'Trees, walls, paving', true], ['utilities', 'Utilities, irrigation, old drains', true],
  ['inlets', 'Storm inlets', true], ['outlets', 'Other ends', true], ['intakes', 'Intakes', true], ['perforated_runs', 'Perforated runs asked for', true],
  ['spots', 'Ground shots', false], ['contours', 'Contours', true], ['breaklines', 'Breaklines', false], ['ponds', 'Hollows that hold water', true], ['flows', 'Ways of water over the ground', true], ['network', 'Planned network', true], ['marks', 'Finding marks', true],
];

const NS = 'http://www.w3.org/2000/svg';
/** @param {string} name @param {Object<string, any>} attributes @param {string} [text] */
export function svg(name, attributes, text) {
  const e = document.createElementNS(NS, name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, String(v));
  if (text !== undefined) e.textContent = text;
  return e;
}

export class Board {
  /** @param {HTMLElement} sheet */
  constructor(sheet) {
    this.sheet = sheet;
    this.canvas = /** @type {HTMLCanvasElement} */ (sheet.querySelector('canvas'));
    this.overlay = /** @type {SVGSVGElement} */ (sheet.querySelector('svg#overlay'));
    this.on = Object.fromEntries(switches.map(s => [s[0], s[2]]));
    this.view = { x: 0, y: 0, k: 1 }; // plane position in the middle, pixels a metre
    this.groups = [];
    this.labels = [];
    this.doc = null;
    this.lot = '';
    this.zone = null;
    this.ground = null; // what the service says of the ground round the lot
    this.plan = null;
    this.route = [];
    this.stretches = [];
    this.handles = [];
    this.cross = null;
    this.station = null;
    this.here = null; // where the reader stands, and how well that is known
    this.mode = 'look';
    this.handlers = { pick: () => { }, point: () => { }, dragRoute: () => { }, dropRoute: () => { }, mark: () => { }, moving: () => { }, moved: () => { } };
    new ResizeObserver(() => this.resize()).observe(sheet);
    this.pointers();
    this.resize();
  }

  resize() {
    const r = this.sheet.getBoundingClientRect(), d = window.devicePixelRatio || 1;
    this.width = Math.max(1, r.width); this.height = Math.max(1, r.height); this.dense = d;
    this.canvas.width = Math.round(this.width * d); this.canvas.height = Math.round(this.height * d);
    if (this.refit) this.refit(); else this.draw();
  }

  /** @param {object} doc @param {ReturnType<import('./plane.js').planeOf>} plane */
  setSite(doc, plane) {
    this.doc = doc; this.plane = plane;
    this.build();
  }

  // --- the ground ---------------------------------------------------------

  /** Turns the layers into paths, in chunks with their boxes, so that far ones are passed over. */
  build() {
    this.groups = []; this.labels = []; this.lots = [];
    const add = (key, list, style) => {
      for (let i = 0; i < list.length; i += 150) {
        const path = new Path2D(), box = [Infinity, Infinity, -Infinity, -Infinity];
        for (const f of list.slice(i, i + 150)) this.trace(path, f.geometry, box, style.radius?.(f));
        if (box[0] !== Infinity) this.groups.push({ key, path, box, ...style });
      }
    };
    const of = name => features(this.doc, name);
    add('streets', of('streets'), { fill: '#bdb6a9' });
    const parcels = of('parcels');
    add('parcels', parcels, { fill: stone });
    parcels.forEach((f, i) => { const b = this.boxOf(f); if (b) { this.lots.push({ name: lotName(f, i), box: b, geometry: f.geometry, path: null }); this.labels.push({ key: 'parcels', at: [(b[0] + b[2]) / 2, (b[1] + b[3]) / 2], text: lotName(f, i), least: 0.9, bold: true }); } });
    this.groups.push({ key: 'zone', zone: true }, { key: 'relief', relief: true });
    add('easements', of('easements'), { hatch: true, stroke: '#6d655a', dash: [8, 4], width: 1 });
    add('districts', of('districts'), { stroke: '#6d655a', dash: [2, 5], width: 1.5 });
    const obstacles = of('obstacles'), kind = k => obstacles.filter(f => f.properties?.kind === k);
    const known = ['tree', 'utility', 'irrigation', 'existing_drain', 'paving', 'fence'];
    add('obstacles', kind('paving'), { fill: '#c9c3ba', stroke: '#a59d90', width: 0.7 });
    add('buildings', of('buildings'), { fill: '#857a6c', stroke: '#3f3830', width: 1.2 });
    add('contours', of('contours'), { stroke: '#8f7d62', width: 0.7 });
    this.groups.push({ key: 'ground', ground: true });
    add('breaklines', of('breaklines'), { stroke: '#8f7d62', width: 1, dash: [6, 2, 1, 2] });
    add('swales', of('swales'), { stroke: '#5c564d', width: 2.2, dash: [10, 3, 2, 3] });
    add('obstacles', obstacles.filter(f => !known.includes(f.properties?.kind)), { fill: '#a89e90', stroke: '#3f3830', width: 1, radius: f => radius(f, 0.5) });
    add('obstacles', kind('fence'), { stroke: '#4d453c', width: 1.2, dash: [1, 4] });
    add('obstacles', kind('tree'), { fill: '#6b615433', stroke: '#6b6154', width: 1, dash: [3, 2], radius: f => radius(f, 1.5) });
    add('obstacles', kind('tree'), { fill: '#4d453c', radius: () => 0.3 });
    for (const [name, colour] of Object.entries(utilityColour)) {
      const mine = obstacles.filter(f => (f.properties?.kind === 'utility' && String(f.properties.utility).toLowerCase() === name) || (f.properties?.kind === 'irrigation' && name === 'irrigation') || (f.properties?.kind === 'existing_drain' && name === 'drain'));
      add('utilities', mine, { stroke: colour, width: 1.6, dash: [7, 3], radius: f => radius(f, 0.3) });
    }
    add('utilities', obstacles.filter(f => f.properties?.kind === 'utility' && !(String(f.properties.utility).toLowerCase() in utilityColour)), { stroke: '#5c564d', width: 1.6, dash: [7, 3], radius: f => radius(f, 0.3) });
    add('utilities', of('drains').filter(f => f.properties?.status === 'existing'), { stroke: utilityColour.drain, width: 2, dash: [7, 3] });
    add('perforated_runs', of('perforated_runs'), { stroke: '#8a6d4d', width: 4, dash: [2, 3] });
    add('network', of('drains').filter(f => f.properties?.status !== 'existing'), { stroke: '#4d453c', width: 1.5, dash: [10, 3] });
    add('parcels', parcels, { stroke: ink, width: 1 });
    this.points = [];
    for (const [key, shape] of [['spots', 'dot'], ['openings', 'notch'], ['intakes', 'intake'], ['outlets', 'outlet'], ['inlets', 'inlet']])
      of(key).forEach((f, index) => {
        if (f.geometry?.type === 'Point') positions(f.geometry, p => this.points.push({ key, shape, index, at: this.plane.toPlane(p), kind: f.properties?.kind, text: key === 'inlets' ? String(f.properties?.inlet ?? f.id ?? '') : '' }));
      });
    this.draw();
  }

  boxOf(f) {
    const b = [Infinity, Infinity, -Infinity, -Infinity];
    positions(f.geometry, p => grow(b, this.plane.toPlane(p)));
    return b[0] === Infinity ? null : b;
  }

  trace(path, g, box, r) {
    if (!g) return;
    if (g.type === 'GeometryCollection') { for (const one of g.geometries ?? []) this.trace(path, one, box, r); return; }
    const line = (c, close) => {
      if (!Array.isArray(c)) return;
      let first = true;
      for (const p of c) {
        if (!Array.isArray(p) || !Number.isFinite(p[0]) || !Number.isFinite(p[1])) continue;
        const q = this.plane.toPlane(p); grow(box, q);
        if (first) path.moveTo(q[0], q[1]); else path.lineTo(q[0], q[1]);
        first = false;
      }
      if (close && !first) path.closePath();
    };
    const c = g.coordinates;
    if (!Array.isArray(c)) return;
    switch (g.type) {
      case 'Point': { if (!Number.isFinite(c[0]) || !Number.isFinite(c[1])) return; const q = this.plane.toPlane(c), d = r ?? 0.3; grow(box, q); path.moveTo(q[0] + d, q[1]); path.arc(q[0], q[1], d, 0, 7); return; }
      case 'MultiPoint': for (const p of c) this.trace(path, { type: 'Point', coordinates: p }, box, r); return;
      case 'LineString': line(c, false); return;
      case 'MultiLineString': for (const l of c) line(l, false); return;
      case 'Polygon': for (const l of c) line(l, true); return;
      case 'MultiPolygon': for (const p of c) if (Array.isArray(p)) for (const l of p) line(l, true);
    }
  }

  /** @param {object|null} zone answer of the zone process */
  setZone(zone) {
    this.zone = null;
    if (zone) { const path = new Path2D(), box = [Infinity, Infinity, -Infinity, -Infinity]; const rings = []; for (const f of zone.features ?? []) { this.trace(path, f.geometry, box); const g = f.geometry; for (const polygon of g?.type === 'Polygon' ? [g.coordinates] : g?.type === 'MultiPolygon' ? g.coordinates : []) for (const r of polygon) rings.push(r.map(q => this.plane.toPlane(q))); } this.zone = { path, box, rings }; }
    this.draw();
  }

  /** @param {object|null} answer of the ground process */
  setGround(answer) {
    this.ground = null;
    if (answer?.relief?.columns) {
      const g = { relief: answer.relief, shade: shade(answer.relief), corner: this.plane.toPlane(answer.relief.corner), light: new Path2D(), heavy: new Path2D(), ponds: new Path2D(), flows: [], levels: [] };
      for (const f of answer.features ?? []) {
        const p = f.properties ?? {};
        if (p.kind === 'contour') {
          this.trace(p.heavy ? g.heavy : g.light, f.geometry, [0, 0, 0, 0]);
          const c = f.geometry?.coordinates ?? [];
          if (p.heavy && c.length > 8) g.levels.push({ at: this.plane.toPlane(c[Math.floor(c.length / 2)]), z: p.elevation_m });
        } else if (p.kind === 'pond') this.trace(g.ponds, f.geometry, [0, 0, 0, 0]);
        else if (p.kind === 'flow') { const path = new Path2D(); this.trace(path, f.geometry, [0, 0, 0, 0]); g.flows.push({ path, width: Math.min(4, 1 + Math.sqrt(p.area_m2 ?? 0) / 25) }); }
      }
      this.ground = g;
    }
    this.sheet.dataset.ground = this.ground ? 'shown' : 'none';
    this.draw();
  }

  /** Relief, contours, hollows and ways of water, in the metres of the plane. */
  paintGround(c, k, relief) {
    const g = this.ground;
    if (!g) return;
    if (relief) {
      if (!this.on.relief || !g.shade) return;
      const m = g.relief.cell_m;
      c.save(); c.globalCompositeOperation = 'multiply'; c.imageSmoothingEnabled = true; c.translate(g.corner[0] - m / 2, g.corner[1] + m / 2); c.scale(1, -1);
      c.drawImage(g.shade, 0, 0, m * g.relief.columns, m * g.relief.rows); c.restore();
      return;
    }
    c.setLineDash([]); c.lineJoin = c.lineCap = 'round';
    if (this.on.ponds) { c.fillStyle = this.rippling(c); c.fill(g.ponds, 'evenodd'); c.strokeStyle = '#3f3830'; c.lineWidth = 1 / k; c.stroke(g.ponds); }
    if (this.on.contours) { c.strokeStyle = '#7d6b50'; c.lineWidth = 0.5 / k; c.stroke(g.light); c.lineWidth = 1.3 / k; c.stroke(g.heavy); }
    if (this.on.flows) { c.strokeStyle = '#3f3830'; c.setLineDash([0.01, 5 / k]); for (const f of g.flows) { c.lineWidth = f.width / k; c.stroke(f.path); } c.setLineDash([]); }
    c.lineCap = 'butt';
  }

  /** Level strokes, as still water is drawn. */
  rippling(c) {
    if (!this.ripples) {
      const tile = document.createElement('canvas'); tile.width = 16; tile.height = 6;
      const t = tile.getContext('2d'); t.strokeStyle = '#3f383088'; t.lineWidth = 1; t.beginPath(); t.moveTo(0, 1.5); t.lineTo(9, 1.5); t.moveTo(8, 4.5); t.lineTo(16, 4.5); t.stroke();
      this.ripples = c.createPattern(tile, 'repeat');
    }
    this.ripples.setTransform(new DOMMatrix().scale(1 / this.view.k, 1 / this.view.k));
    return this.ripples;
  }

  setPlan(plan, lot) { this.plan = plan; this.lot = lot; this.draw(); }

  // --- view -----------------------------------------------------------------

  screen(p) { return [this.width / 2 + (p[0] - this.view.x) * this.view.k, this.height / 2 - (p[1] - this.view.y) * this.view.k]; }
  plain(s) { return /** @type {[number, number]} */ ([this.view.x + (s[0] - this.width / 2) / this.view.k, this.view.y - (s[1] - this.height / 2) / this.view.k]); }

  /** @param {number[]} box of the plane */
  fit(box, margin = 0.9) {
    if (!box) return;
    this.refit = () => {
      this.view = { x: (box[0] + box[2]) / 2, y: (box[1] + box[3]) / 2, k: margin * Math.min(this.width / Math.max(1, box[2] - box[0]), this.height / Math.max(1, box[3] - box[1])) };
      this.draw();
    };
    this.refit();
  }
  fitSite() { if (this.doc) { const b = this.boxOf({ geometry: { type: 'GeometryCollection', geometries: features(this.doc, 'parcels').map(f => f.geometry) } }); this.fit(b); } }
  fitLot(name = this.lot) {
    const l = this.lots?.find(one => one.name === name);
    if (!l) { this.fitSite(); return; }
    const b = [...l.box];
    for (const f of this.plan?.network?.features ?? []) positions(f.geometry, p => grow(b, this.plane.toPlane(p)));
    this.fit(b, 0.86);
  }
  zoom(by, at = [this.width / 2, this.height / 2]) {
    const p = this.plain(at);
    this.view.k = Math.min(400, Math.max(0.02, this.view.k * by));
    const q = this.plain(at);
    this.view.x += p[0] - q[0]; this.view.y += p[1] - q[1];
    this.refit = null; this.onview?.(); this.draw();
  }
  pan(dx, dy) { this.onview?.(); this.view.x -= dx / this.view.k; this.view.y += dy / this.view.k; this.refit = null; this.draw(); }
  /** Brings a place into sight if it is out of it. */
  show(p) { const s = this.screen(p); if (s[0] < 40 || s[1] < 40 || s[0] > this.width - 40 || s[1] > this.height - 40) { this.view.x = p[0]; this.view.y = p[1]; this.refit = null; } this.draw(); }

  draw() { if (this.waiting) return; this.waiting = true; requestAnimationFrame(() => { this.waiting = false; this.paint(); }); }

  paint() {
    const c = this.canvas.getContext('2d'), { k, x, y } = this.view, d = this.dense;
    c.setTransform(1, 0, 0, 1, 0, 0);
    c.fillStyle = '#ece7dd'; c.fillRect(0, 0, this.canvas.width, this.canvas.height);
    if (!this.doc) { this.overlay.replaceChildren(); return; }
    c.setTransform(k * d, 0, 0, -k * d, d * (this.width / 2 - x * k), d * (this.height / 2 + y * k));
    const low = this.plain([0, this.height]), high = this.plain([this.width, 0]);
    for (const g of this.groups) {
      if (g.relief || g.ground) { this.paintGround(c, k, g.relief); continue; }
      if (!this.on[g.key]) continue;
      if (g.zone) {
        if (this.zone) { c.fillStyle = paper; c.fill(this.zone.path, 'evenodd'); c.strokeStyle = '#8f8678'; c.lineWidth = 1 / k; c.setLineDash([]); c.stroke(this.zone.path); }
        continue;
      }
      if (g.box[2] < low[0] || g.box[0] > high[0] || g.box[3] < low[1] || g.box[1] > high[1]) continue;
      if (g.fill) { c.fillStyle = g.fill; c.fill(g.path, 'evenodd'); }
      if (g.hatch) { c.fillStyle = this.hatching(c); c.fill(g.path, 'evenodd'); }
      if (g.stroke) { c.strokeStyle = g.stroke; c.lineWidth = g.width / k; c.setLineDash((g.dash ?? []).map(n => n / k)); c.lineJoin = 'round'; c.stroke(g.path); }
    }
    c.setLineDash([]);
    const chosen = this.lots.find(l => l.name === this.lot);
    if (chosen) {
      if (!chosen.path) { chosen.path = new Path2D(); this.trace(chosen.path, chosen.geometry, [0, 0, 0, 0]); }
      c.strokeStyle = ink; c.lineWidth = 3 / k; c.stroke(chosen.path);
    }
    c.setTransform(d, 0, 0, d, 0, 0);
    for (const p of this.points) {
      if (!this.on[p.key] || p.at[0] < low[0] || p.at[0] > high[0] || p.at[1] < low[1] || p.at[1] > high[1]) continue;
      if (k < 2.5 && p.key !== 'inlets') continue;
      const s = this.screen(p.at);
      symbol(c, p.shape, s[0], s[1]);
      if (p.text && k > 0.8) this.letter(c, p.text, s[0] + 9, s[1] - 9, 'left', true);
    }
    for (const l of this.labels) if (this.on[l.key] && k >= l.least && l.at[0] > low[0] && l.at[0] < high[0] && l.at[1] > low[1] && l.at[1] < high[1]) { const s = this.screen(l.at); this.letter(c, l.text, s[0], s[1], 'center', l.bold); }
    if (this.ground && this.on.contours && k > 3) for (const l of this.ground.levels) { const s = this.screen(l.at); this.letter(c, elevation(l.z).split(' ')[0], s[0], s[1], 'center', false); }
    this.paintOver();
    this.paintBar();
  }

  letter(c, text, x, y, align, bold) {
    c.font = `${bold ? '600 ' : ''}12px system-ui, sans-serif`; c.textAlign = align; c.textBaseline = 'middle';
    c.lineWidth = 3; c.strokeStyle = '#fffdf8cc'; c.strokeText(text, x, y); c.fillStyle = ink; c.fillText(text, x, y);
  }

  hatching(c) {
    if (!this.hatch) {
      const tile = document.createElement('canvas'); tile.width = tile.height = 8;
      const t = tile.getContext('2d'); t.strokeStyle = '#6d655a66'; t.lineWidth = 1; t.beginPath(); t.moveTo(-2, 10); t.lineTo(10, -2); t.moveTo(-2, 2); t.lineTo(2, -2); t.moveTo(6, 10); t.lineTo(10, 6); t.stroke();
      this.hatch = c.createPattern(tile, 'repeat');
    }
    this.hatch.setTransform(new DOMMatrix().scale(1 / this.view.k, 1 / this.view.k));
    return this.hatch;
  }

  // --- the plan above the ground ---------------------------------------------

  paintOver() {
    const top = this.overlay;
    top.setAttribute('viewBox', `0 0 ${this.width} ${this.height}`);
    const out = [];
    const line = (coordinates, attributes) => { const pts = coordinates.map(p => this.screen(p)); out.push(svg('polyline', { points: pts.map(p => p.map(n => n.toFixed(1)).join(',')).join(' '), fill: 'none', 'stroke-linejoin': 'round', 'stroke-linecap': 'round', ...attributes })); return pts; };
    const words = (x, y, text, cls) => out.push(svg('text', { x: x.toFixed(1), y: y.toFixed(1), class: cls }, text));
    const plan = this.plan;
    this.heaps = [];
    if (plan && this.on.flows) for (const o of plan.overflow ?? []) if (Array.isArray(o.path?.coordinates ?? o.path)) {
      const pts = line((o.path.coordinates ?? o.path).map(p => this.plane.toPlane(p)), { class: 'spill' }), n = pts.length;
      if (n > 1) { const a = pts[n - 2], b = pts[n - 1], turn = Math.atan2(b[1] - a[1], b[0] - a[0]) * 180 / Math.PI; out.push(svg('path', { class: 'spillHead', d: 'M0 0L-9-4L-9 4Z', transform: `translate(${b[0].toFixed(1)} ${b[1].toFixed(1)}) rotate(${turn.toFixed(1)})` })); }
    }
    if (plan && this.on.ponds && !this.ground) for (const p of plan.ponds ?? []) {
      if (!p.location) continue;
      const q = this.screen(this.plane.toPlane(p.location)), r = Math.max(5, Math.sqrt((p.area_m2 ?? 1) / Math.PI) * this.view.k);
      out.push(svg('circle', { cx: q[0], cy: q[1], r, class: 'pond' }));
    }
    const runs = (plan?.network?.features ?? []).filter(f => f.geometry?.type === 'LineString');
    if (plan && this.on.network) {
      for (const f of runs) line(f.geometry.coordinates.map(p => this.plane.toPlane(p)), { class: 'casing' });
      for (const f of runs) {
        const p = f.properties, w = 2 + Math.min(4, (p.diameter_mm ?? 100) / 75);
        const pts = line(f.geometry.coordinates.map(q => this.plane.toPlane(q)), { class: 'pipe', 'stroke-width': w, ...(p.pipe === 'perforated' ? { 'stroke-dasharray': `${w * 1.6} ${w * 1.5}`, 'stroke-linecap': 'butt' } : {}) });
        const a = pts[0], b = pts[pts.length - 1], long = Math.hypot(b[0] - a[0], b[1] - a[1]);
        if (long > 48) {
          let turn = Math.atan2(b[1] - a[1], b[0] - a[0]) * 180 / Math.PI;
          const back = turn > 90 || turn < -90; if (back) turn += 180;
          const n = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
          out.push(svg('text', { class: 'size', transform: `translate(${n[0].toFixed(1)} ${n[1].toFixed(1)}) rotate(${turn.toFixed(1)})`, y: -8, 'text-anchor': 'middle' }, back ? `◂ ${p.size}` : `${p.size} ▸`));
        }
      }
      for (const f of plan.network?.features ?? []) if (f.geometry?.type === 'Point' && this.view.k > 1.5) {
        const s = this.screen(this.plane.toPlane(f.geometry.coordinates)), kind = f.properties?.kind;
        if (kind === 'cleanout') out.push(svg('circle', { cx: s[0], cy: s[1], r: 4.5, class: 'node open' }));
        else if (kind !== 'intake' && kind !== 'inlet') out.push(svg('circle', { cx: s[0], cy: s[1], r: 2.6, class: 'node' }));
      }
    }
    if (this.route.length) {
      const pts = this.route.map(p => this.plane.toPlane(p));
      line(pts, { class: 'routeCasing' }); line(pts, { class: 'route' });
      const told = [];
      for (const s of [...this.stretches].sort((a, b) => (b.short_m ?? 0) - (a.short_m ?? 0))) {
        const piece = part(pts, s.from_m, s.to_m);
        if (piece.length < 2) continue;
        line(piece, { class: 'bad' }); line(piece, { class: 'badDash' });
        if (told.length === 4) continue; // the list beside the plan has them all
        const m = this.screen(piece[Math.floor(piece.length / 2)]), left = m[0] > this.width / 2;
        let y = m[1] - 16;
        while (told.some(t => Math.abs(t - y) < 17) || (y > m[1] - 12 && y < m[1] + 18)) y += 6;
        told.push(y);
        out.push(svg('text', { x: (left ? m[0] - 8 : m[0] + 8).toFixed(1), y: y.toFixed(1), class: 'tell', 'text-anchor': left ? 'end' : 'start' }, s.text));
      }
      pts.forEach((p, i) => { const s = this.screen(p); out.push(svg('rect', { x: s[0] - 6, y: s[1] - 6, width: 12, height: 12, class: 'handle', 'data-vertex': i })); });
    }
    if (this.mode === 'move') for (const h of this.handles) { const s = this.screen(h.at); out.push(svg('circle', { cx: s[0], cy: s[1], r: 11, class: 'grip' })); if (h.text) words(s[0] + 13, s[1] + 4, h.text, 'gripText'); }
    if (plan && this.on.marks) {
      // marks that would lie on each other become one, which shows the worst and how many more
      const rank = { stop: 0, warn: 1, note: 2 }, heaps = [];
      (plan.findings ?? []).forEach((f, i) => {
        const at = f.location ? this.plane.toPlane(f.location) : this.placeOf(f);
        if (!at) return;
        const s = this.screen(at), one = { severity: f.severity, n: i + 1, worth: rank[f.severity] ?? 3 };
        const heap = heaps.find(h => Math.hypot(h.at[0] - s[0], h.at[1] - s[1]) < 34);
        if (heap) heap.list.push(one); else heaps.push({ at: s, list: [one] });
      });
      this.heaps = heaps;
      for (const h of heaps) { h.list.sort((a, b) => a.worth - b.worth); mark(out, h.list[0].severity, h.at[0] + 20, h.at[1] - 20, h.list[0].n, h.at, h.list.length - 1); }
    }
    if (this.here) {
      const s = this.screen(this.here.at), r = Math.max(7, this.here.accuracy * this.view.k);
      out.push(svg('circle', { cx: s[0], cy: s[1], r, class: 'accuracy' }), svg('circle', { cx: s[0], cy: s[1], r: 5, class: 'hereDot' }));
    }
    if (this.station) { const s = this.screen(this.station); out.push(svg('circle', { cx: s[0], cy: s[1], r: 12, class: 'standOuter' }), svg('circle', { cx: s[0], cy: s[1], r: 12, class: 'stand' })); }
    if (this.cross) { const s = this.screen(this.cross); out.push(svg('path', { d: `M${s[0] - 16} ${s[1]}h32M${s[0]} ${s[1] - 16}v32`, class: 'cross' })); }
    top.replaceChildren(...out);
  }

  /** Where a finding stands that names a run or a point but no place. */
  placeOf(f) {
    const one = (this.plan?.network?.features ?? []).find(n => n.id === f.feature || n.properties?.run === f.feature);
    if (!one) return null;
    const c = one.geometry.type === 'Point' ? [one.geometry.coordinates] : one.geometry.coordinates;
    const a = this.plane.toPlane(c[0]), b = this.plane.toPlane(c[c.length - 1]);
    return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  }

  paintBar() {
    const bar = this.sheet.querySelector('#bar'), n = roundLength(Math.min(160, this.width / 3) / this.view.k), w = n.metres * this.view.k;
    const s = bar.firstElementChild;
    s.setAttribute('width', String(w + 60)); s.setAttribute('height', '26');
    s.replaceChildren(svg('path', { d: `M2 18h${w / 2}v-5h${w / 2}v5H2z`, class: 'barFill' }), svg('path', { d: `M2 11v8h${w}v-8`, class: 'barLine' }), svg('text', { x: w + 8, y: 20 }, n.text));
    bar.setAttribute('aria-label', `Scale bar: ${n.text} are ${Math.round(w)} pixels`);
  }

  // --- pointers ------------------------------------------------------------

  /** The point that a new point of a route snaps to, in document coordinates, or null. */
  snap(s) {
    let best = null, least = 14;
    const look = (at, doc) => { const q = this.screen(at), d = Math.hypot(q[0] - s[0], q[1] - s[1]); if (d < least) { least = d; best = doc; } };
    for (const key of ['inlets', 'outlets', 'intakes']) for (const f of features(this.doc, key)) if (f.geometry?.type === 'Point') positions(f.geometry, p => look(this.plane.toPlane(p), p.slice(0, 2)));
    return best ?? this.snapToZone(s);
  }

  /** The nearest place at which a trench's middle keeps just inside the trench zone, or null. */
  snapToZone(s) {
    if (!this.zone) return null;
    const p = this.plain(s), half = (this.plan?.trenches?.[0]?.width_m ?? 0.3048) / 2 + 0.005, c = this.canvas.getContext('2d');
    c.setTransform(1, 0, 0, 1, 0, 0);
    let best = null, least = 9 / this.view.k;
    for (const ring of this.zone.rings) for (let i = 1; i < ring.length; i++) {
      const a = ring[i - 1], b = ring[i], dx = b[0] - a[0], dy = b[1] - a[1], l = Math.hypot(dx, dy);
      if (l === 0) continue;
      const t = ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / l / l;
      if (t < 0 || t > 1) continue;
      const q = [a[0] + t * dx, a[1] + t * dy];
      for (const way of [1, -1]) {
        const m = /** @type {[number, number]} */ ([q[0] - way * dy / l * half, q[1] + way * dx / l * half]), d = Math.hypot(m[0] - p[0], m[1] - p[1]);
        if (d < least && c.isPointInPath(this.zone.path, m[0], m[1], 'evenodd')) { least = d; best = m; }
      }
    }
    return best && this.plane.toDoc(best);
  }

  pointers() {
    const down = new Map();
    let drag = null, moved = 0, spread = 0;
    const at = e => { const r = this.sheet.getBoundingClientRect(); return [e.clientX - r.left, e.clientY - r.top]; };
    const reach = e => e.pointerType === 'touch' ? 24 : 13;
    this.sheet.addEventListener('pointerdown', e => {
      if (e.target instanceof Element && e.target.closest('button')) return;
      if (!this.doc || e.button > 0) return;
      const s = at(e); down.set(e.pointerId, s); moved = 0; spread = 0; drag = null;
      try { this.sheet.setPointerCapture(e.pointerId); } catch { /* a pointer made by a script */ }
      if (down.size > 1) return;
      const near = list => { let best = -1, least = reach(e); list.forEach((p, i) => { const q = this.screen(p), d = Math.hypot(q[0] - s[0], q[1] - s[1]); if (d < least) { least = d; best = i; } }); return best; };
      if (this.mode !== 'move') { const i = near(this.route.map(p => this.plane.toPlane(p))); if (i >= 0 && this.mode === 'draw') drag = { vertex: i }; }
      else { const i = near(this.handles.map(h => h.at)); if (i >= 0) drag = { handle: i }; }
    });
    this.sheet.addEventListener('pointermove', e => {
      const before = down.get(e.pointerId); if (!before) return;
      const s = at(e); down.set(e.pointerId, s);
      moved += Math.abs(s[0] - before[0]) + Math.abs(s[1] - before[1]);
      if (down.size === 2) {
        const [a, b] = [...down.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (spread) this.zoom(now / spread, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
        spread = now;
      } else if (drag && 'vertex' in drag) { this.handlers.dragRoute(drag.vertex, this.snap(s) ?? this.plane.toDoc(this.plain(s))); }
      else if (drag) { this.handles[drag.handle].at = this.plain(s); this.draw(); this.handlers.moving(this.handles[drag.handle]); }
      else if (moved > 4) this.pan(s[0] - before[0], s[1] - before[1]);
    });
    const up = e => {
      if (!down.delete(e.pointerId)) return;
      const s = at(e);
      if (down.size > 0) { moved = 99; return; }
      if (e.type === 'pointercancel') return;
      if (drag && 'vertex' in drag) { if (moved > 2) this.handlers.dropRoute(); }
      else if (drag) { if (moved > 2) this.handlers.moved(this.handles[drag.handle]); }
      else if (moved <= 4) this.click(s);
      drag = null;
    };
    this.sheet.addEventListener('pointerup', up);
    this.sheet.addEventListener('pointercancel', up);
    this.sheet.addEventListener('wheel', e => { if (!this.doc) return; e.preventDefault(); this.zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0016)), at(e)); }, { passive: false });
  }

  click(s) {
    if (this.mode === 'draw') { this.handlers.point(this.snap(s) ?? this.plane.toDoc(this.plain(s))); return; }
    if (this.mode !== 'look') return;
    const heap = (this.heaps ?? []).find(h => Math.hypot(h.at[0] + 20 - s[0], h.at[1] - 20 - s[1]) < 17);
    this.handlers.mark(heap ? heap.list.map(one => one.n) : [], s);
    if (heap) return;
    const p = this.plain(s), c = this.canvas.getContext('2d');
    c.setTransform(1, 0, 0, 1, 0, 0);
    for (const l of this.lots) {
      if (p[0] < l.box[0] || p[0] > l.box[2] || p[1] < l.box[1] || p[1] > l.box[3]) continue;
      if (!l.path) { l.path = new Path2D(); this.trace(l.path, l.geometry, [0, 0, 0, 0]); }
      if (c.isPointInPath(l.path, p[0], p[1], 'evenodd')) { this.handlers.pick(l.name, p); return; }
    }
  }
}

function grow(b, p) { if (p[0] < b[0]) b[0] = p[0]; if (p[1] < b[1]) b[1] = p[1]; if (p[0] > b[2]) b[2] = p[0]; if (p[1] > b[3]) b[3] = p[1]; }
function radius(f, otherwise) { const p = f.properties ?? {}; return Number.isFinite(p.radius_m) ? p.radius_m : Number.isFinite(p.radius_ft) ? p.radius_ft * 0.3048 : otherwise; }

/** The symbols of points; the legend draws them too. */
export function symbol(c, shape, x, y) {
  c.strokeStyle = ink; c.fillStyle = ink; c.lineWidth = 1.5; c.setLineDash([]);
  c.beginPath();
  switch (shape) {
    case 'dot': c.arc(x, y, 1.3, 0, 7); c.fill(); break;
    case 'notch': c.moveTo(x - 4, y - 3); c.lineTo(x + 4, y - 3); c.lineTo(x, y + 4); c.closePath(); c.stroke(); break;
    case 'intake': c.arc(x, y, 4.5, 0, 7); c.fillStyle = paper; c.fill(); c.stroke(); c.beginPath(); c.moveTo(x, y - 2.5); c.lineTo(x, y + 2.5); c.stroke(); break;
    case 'outlet': c.moveTo(x - 6, y + 5); c.lineTo(x + 6, y + 5); c.lineTo(x, y - 6); c.closePath(); c.fillStyle = paper; c.fill(); c.stroke(); break;
    case 'inlet': c.rect(x - 7, y - 7, 14, 14); c.fillStyle = paper; c.fill(); c.stroke(); c.beginPath(); for (const i of [-3.5, 0, 3.5]) { c.moveTo(x + i, y - 7); c.lineTo(x + i, y + 7); } c.stroke();
  }
}

/** A numbered mark, its severity by shape: stop a square, warning a triangle, note a ring. */
function mark(out, severity, x, y, n, from, more) {
  out.push(svg('path', { d: `M${from[0].toFixed(1)} ${from[1].toFixed(1)}L${(x - 6).toFixed(1)} ${(y + 6).toFixed(1)}`, class: 'leader' }));
  const d = severity === 'stop' ? 'M-11-11h22v22h-22z' : severity === 'warn' ? 'M0-13L13 10H-13z' : 'M0-10a10 10 0 1 0 .01 0z';
  const g = svg('g', { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})`, class: `mark ${severity === 'stop' || severity === 'warn' ? severity : 'note'}` });
  g.append(svg('path', { d }), svg('text', { y: severity === 'warn' ? 7 : 4, 'text-anchor': 'middle' }, String(n)));
  if (more) g.append(svg('text', { x: 14, y: 4, class: 'more' }, `+${more}`));
  out.push(g);
}
