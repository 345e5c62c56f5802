// How each layer is drawn, from the ground up; the legend draws the same.
//
// Colour: the ground is stone, the trench zone a light band in it, pipes are
// ink. Red, yellow, orange, blue, green and purple mark existing utilities and
// nothing else, as the locating services paint them.

import type { Properties } from './answers';

export const ink = '#1f1c19', stone = '#d8d1c4', paper = '#fffdf8', sand = '#ece7dd';
const utilityColour: Record<string, string> = {
  electric: '#c4161c', lighting: '#c4161c', gas: '#d9a900', steam: '#d9a900', telephone: '#e06c00', communications: '#e06c00', cable: '#e06c00',
  water: '#1d5fb8', sewer: '#1f7a3a', sanitary: '#1f7a3a', storm: '#1f7a3a', drain: '#1f7a3a', irrigation: '#7b3fa0', reclaimed: '#7b3fa0',
};

/** What can be switched, from the ground up: key, words, whether on at first. */
export const switches: [key: string, name: string, on: boolean][] = [
  ['backdrop', 'Own background', true],
  ['streets', 'Streets', true], ['parcels', 'Lots', true], ['zone', 'Trench zone', true], ['relief', 'Relief of the ground', true], ['easements', 'Easements', true], ['districts', 'Districts', false],
  ['buildings', 'Footprints', true], ['openings', 'Low openings', false], ['swales', 'Swales', true], ['obstacles', 'Trees, walls, paving', true], ['utilities', 'Utilities, irrigation, old drains', true],
  ['inlets', 'Storm inlets', true], ['outlets', 'Other ends', true], ['intakes', 'Intakes', true], ['perforated_runs', 'Perforated runs asked for', true],
  ['spots', 'Ground shots', false], ['contours', 'Contours', true], ['breaklines', 'Breaklines', false], ['ponds', 'Hollows that hold water', true], ['flows', 'Ways of water over the ground', true], ['network', 'Planned network', true], ['built', 'Shots on the laid pipe', true], ['marks', 'Finding marks', true],
];

/** One way of drawing the features of a layer that it takes. */
export interface Style {
  key: string; layer: string; takes?: (p: Properties) => boolean;
  fill?: string; stroke?: string; width?: number; dash?: number[]; hatch?: boolean;
  /** Of a point, metres. */
  radius?: (p: Properties) => number;
}
/** Where among the styles what is no layer comes: the trench zone, and the ground below and above the footprints. */
export type Step = Style | 'zone' | 'relief' | 'ground';

function radius(otherwise: number): (p: Properties) => number {
  return p => Number.isFinite(p.radius_m) ? p.radius_m : Number.isFinite(p.radius_ft) ? p.radius_ft * 0.3048 : otherwise;
}
const kind = (...k: string[]) => (p: Properties): boolean => k.includes(p.kind);
const utility = (p: Properties): string => p.kind === 'irrigation' ? 'irrigation' : p.kind === 'existing_drain' ? 'drain' : p.kind === 'utility' ? String(p.utility).toLowerCase() : '';

export const steps: Step[] = [
  { key: 'streets', layer: 'streets', fill: '#bdb6a9' },
  { key: 'parcels', layer: 'parcels', fill: stone },
  'zone', 'relief',
  { key: 'easements', layer: 'easements', hatch: true, stroke: '#6d655a', dash: [8, 4], width: 1 },
  { key: 'districts', layer: 'districts', stroke: '#6d655a', dash: [2, 5], width: 1.5 },
  { key: 'obstacles', layer: 'obstacles', takes: kind('paving'), fill: '#c9c3ba', stroke: '#a59d90', width: 0.7 },
  { key: 'buildings', layer: 'buildings', fill: '#857a6c', stroke: '#3f3830', width: 1.2 },
  { key: 'contours', layer: 'contours', stroke: '#8f7d62', width: 0.7 },
  'ground',
  { key: 'breaklines', layer: 'breaklines', stroke: '#8f7d62', width: 1, dash: [6, 2, 1, 2] },
  { key: 'swales', layer: 'swales', stroke: '#5c564d', width: 2.2, dash: [10, 3, 2, 3] },
  { key: 'obstacles', layer: 'obstacles', takes: p => !kind('tree', 'utility', 'irrigation', 'existing_drain', 'paving', 'fence')(p), fill: '#a89e90', stroke: '#3f3830', width: 1, radius: radius(0.5) },
  { key: 'obstacles', layer: 'obstacles', takes: kind('fence'), stroke: '#4d453c', width: 1.2, dash: [1, 4] },
  { key: 'obstacles', layer: 'obstacles', takes: kind('tree'), fill: '#6b615433', stroke: '#6b6154', width: 1, dash: [3, 2], radius: radius(1.5) },
  { key: 'obstacles', layer: 'obstacles', takes: kind('tree'), fill: '#4d453c', radius: () => 0.3 },
  ...Object.entries(utilityColour).map(([name, stroke]): Style => ({ key: 'utilities', layer: 'obstacles', takes: p => utility(p) === name, stroke, width: 1.6, dash: [7, 3], radius: radius(0.3) })),
  { key: 'utilities', layer: 'obstacles', takes: p => p.kind === 'utility' && !(utility(p) in utilityColour), stroke: '#5c564d', width: 1.6, dash: [7, 3], radius: radius(0.3) },
  { key: 'utilities', layer: 'drains', takes: p => p.status === 'existing', stroke: utilityColour.drain!, width: 2, dash: [7, 3] },
  { key: 'perforated_runs', layer: 'perforated_runs', stroke: '#8a6d4d', width: 4, dash: [2, 3] },
  { key: 'network', layer: 'drains', takes: p => p.status !== 'existing' && p.status !== 'laid', stroke: '#4d453c', width: 1.5, dash: [10, 3] },
  { key: 'parcels', layer: 'parcels', stroke: ink, width: 1 },
];

/** Layers of points and their symbols. */
export const pointLayers: [layer: string, symbol: string][] = [['spots', 'dot'], ['openings', 'notch'], ['intakes', 'intake'], ['outlets', 'outlet'], ['inlets', 'inlet']];

export function symbol(c: CanvasRenderingContext2D, shape: string, x: number, y: number): void {
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

let hatch: HTMLCanvasElement | null = null, ripples: HTMLCanvasElement | null = null;
/** Slanted strokes, for easements. */
export function hatching(): HTMLCanvasElement {
  if (hatch) return hatch;
  hatch = document.createElement('canvas'); hatch.width = hatch.height = 8;
  const t = hatch.getContext('2d')!; t.strokeStyle = '#6d655a66'; t.lineWidth = 1; t.beginPath(); t.moveTo(-2, 10); t.lineTo(10, -2); t.moveTo(-2, 2); t.lineTo(2, -2); t.moveTo(6, 10); t.lineTo(10, 6); t.stroke();
  return hatch;
}
/** Level strokes, as still water is drawn. */
export function rippling(): HTMLCanvasElement {
  if (ripples) return ripples;
  ripples = document.createElement('canvas'); ripples.width = 16; ripples.height = 6;
  const t = ripples.getContext('2d')!; t.strokeStyle = '#3f383088'; t.lineWidth = 1; t.beginPath(); t.moveTo(0, 1.5); t.lineTo(9, 1.5); t.moveTo(8, 4.5); t.lineTo(16, 4.5); t.stroke();
  return ripples;
}

/** The sample of a switch in the legend. */
export function swatch(key: string): HTMLCanvasElement {
  const c = document.createElement('canvas'), d = 2; c.width = 30 * d; c.height = 16 * d; c.className = 'swatch'; c.setAttribute('aria-hidden', 'true');
  const t = c.getContext('2d')!; t.scale(d, d);
  const shape = ({ spots: 'dot', openings: 'notch', intakes: 'intake', outlets: 'outlet', inlets: 'inlet' } as Record<string, string>)[key];
  if (shape) { symbol(t, shape, 15, 8); return c; }
  const line = (colour: string, width: number, dash: number[] = [], y = 8) => { t.strokeStyle = colour; t.lineWidth = width; t.setLineDash(dash); t.beginPath(); t.moveTo(1, y); t.lineTo(29, y); t.stroke(); };
  const fill = (colour: string, edge = colour) => { t.fillStyle = colour; t.fillRect(2, 2, 26, 12); t.strokeStyle = edge; t.lineWidth = 1; t.strokeRect(2, 2, 26, 12); };
  switch (key) {
    case 'backdrop': fill('#ece7dd', '#8f8678'); line('#bdb6a9', 5, [], 8); t.strokeStyle = '#bdb6a9'; t.lineWidth = 4; t.beginPath(); t.moveTo(11, 2); t.lineTo(20, 14); t.stroke(); break;
    case 'streets': fill('#bdb6a9'); break;
    case 'parcels': fill(stone, ink); break;
    case 'zone': fill(paper, '#8f8678'); break;
    case 'buildings': fill('#857a6c', '#3f3830'); break;
    case 'easements': t.strokeStyle = '#6d655a'; t.lineWidth = 1; for (let i = 0; i < 34; i += 5) { t.beginPath(); t.moveTo(i - 8, 14); t.lineTo(i + 4, 2); t.stroke(); } break;
    case 'districts': line('#6d655a', 1.5, [2, 4]); break;
    case 'swales': line('#5c564d', 2.2, [10, 3, 2, 3]); break;
    case 'obstacles': t.fillStyle = '#6b615433'; t.beginPath(); t.arc(9, 8, 7, 0, 7); t.fill(); t.strokeStyle = '#6b6154'; t.setLineDash([3, 2]); t.stroke(); t.setLineDash([]); t.fillStyle = '#a89e90'; t.fillRect(18, 3, 11, 10); break;
    case 'utilities': line('#c4161c', 2, [7, 3], 2); line('#1d5fb8', 2, [7, 3], 6); line('#1f7a3a', 2, [7, 3], 10); line('#7b3fa0', 2, [7, 3], 14); break;
    case 'perforated_runs': line('#8a6d4d', 4, [2, 3]); break;
    case 'contours': line('#7d6b50', 0.6, [], 4); line('#7d6b50', 0.6, [], 8); line('#7d6b50', 1.4, [], 12); break;
    case 'relief': { const g = t.createLinearGradient(2, 2, 28, 14); g.addColorStop(0, '#fff'); g.addColorStop(0.5, '#cfc9bd'); g.addColorStop(1, '#8f8678'); t.fillStyle = g; t.fillRect(2, 2, 26, 12); break; }
    case 'flows': t.lineCap = 'round'; line('#3f3830', 2, [0.01, 5]); break;
    case 'breaklines': line('#8f7d62', 1, [6, 2, 1, 2]); break;
    case 'ponds': t.strokeStyle = '#3f3830'; t.lineWidth = 1; t.beginPath(); t.ellipse(15, 8, 11, 6, 0, 0, 7); t.stroke(); t.beginPath(); for (const y of [5, 8, 11]) { t.moveTo(9, y); t.lineTo(21, y); } t.stroke(); break;
    case 'network': line(ink, 3, [], 5); line(ink, 3, [4, 4], 12); break;
    case 'built': t.strokeStyle = ink; t.lineWidth = 1.6; t.beginPath(); t.moveTo(4, 4); t.lineTo(12, 12); t.moveTo(12, 4); t.lineTo(4, 12); t.stroke(); line('#6a3d22', 5, [2, 2], 8); t.clearRect(0, 0, 14, 16); t.strokeStyle = ink; t.lineWidth = 1.6; t.setLineDash([]); t.beginPath(); t.moveTo(3, 4); t.lineTo(11, 12); t.moveTo(11, 4); t.lineTo(3, 12); t.stroke(); break;
    case 'marks': t.strokeStyle = ink; t.beginPath(); t.moveTo(15, 2); t.lineTo(22, 14); t.lineTo(8, 14); t.closePath(); t.stroke();
  }
  return c;
}
