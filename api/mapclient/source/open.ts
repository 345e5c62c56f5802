// Opening a site: the sample, files, the store; and saying in the address what
// is open.

import type { Box, Feature, SiteDocument, Zone } from './answers';
import { $, button, choice, input, refuse, report, say, tell } from './dom';
import { planeOf } from './plane';
import { stopShots } from './built';
import { mode } from './draw';
import { choose, showPlan, showVerdict, stopPlanning } from './plan';
import { DocumentScene } from './scene';
import * as service from './service';
import { shapesOf } from './shapes';
import * as sites from './site';
import { board, restore, state, after } from './state';
import { settings, showBackdrop } from './settings';
import { TiledScene } from './tiles';
import * as u from './units';
import { georeference } from './world';

/** Of more lots a stored site is looked at through tiles, and its document stays where it is. */
const mostLots = 5000;
const nothing = 'Open the sample, or drop a site document or layer files on the page.';

/** Counts what was asked to be opened: what comes of an earlier wish is passed over. */
let wishes = 0;
function failed(wish: number, e: unknown, what: string): void {
  if (wish !== wishes) return;
  refuse(e, what);
  if (state.doc) showVerdict(); else say('No site is open', nothing);
}

function fresh(doc: SiteDocument, name: string, from: string, mark = ''): void {
  // what is on its way is of the site before
  stopPlanning(); stopShots(); sites.forgetCut();
  if (board.scene instanceof TiledScene) board.scene.stop();
  Object.assign(state, { doc, mark, large: '', name, lot: '', edits: sites.noEdits(), past: [], future: [], plan: null, base: null, check: null, built: null, rows: [], source: from, version: 0 });
  board.setPlan(null, ''); board.setZone(null); board.setGround(null); board.setBuilt(null); board.setRoute([], []); board.station = null; board.tape = []; board.here = null;
  mode('look');
}
function listLots(names: string[]): void {
  const select = choice('lot');
  select.replaceChildren(new Option('choose…', ''), ...names.map(n => new Option(n, n)));
  select.disabled = false;
  $('lotBox').hidden = false; $('lotNamedBox').hidden = true;
}

/** text: the document as it was dropped, which the service judges. Gives whether it is open: another may be wished for meanwhile. */
async function open(wish: number, doc: SiteDocument, text: string | null, from: string, name = String(doc.site ?? 'site'), notes: string[] = []): Promise<boolean> {
  const lots = sites.features(doc, 'parcels'), box = sites.bounds(lots);
  if (!box) throw new Error('The layer parcels has no positions, so there is nothing to draw.');
  const names = lots.map(sites.lotName);
  say('Reading', 'The service is reading the site…', 'busy');
  // the first lot's zone also tells the frame
  const first: Zone = await service.execute('zone', text === null ? doc : { text }, { lots: [names[0]] });
  if (wish !== wishes) return false;
  $('report').hidden = true;
  const plane = planeOf(doc, box);
  plane.setMetresPerUnit(first.frame?.metres_per_unit ?? 1);
  fresh(doc, name, from, from === 'file' ? `.${names.length}@${box.map(n => n.toPrecision(8)).join()}` : '');
  state.plane = plane;
  listLots(names);
  board.setScene(new DocumentScene(doc, plane), plane);
  board.fitSite();
  showBackdrop(box);
  button('saveSite').disabled = false;
  showPlan();
  const stops = (first.findings ?? []).filter(f => f.message);
  say(`${state.name}: ${u.count(names.length, 'lot')}`, [...notes, 'Click a lot or choose it above to plan it.', ...stops.slice(0, 2).map(f => f.message)].join(' '));
  takeUp();
  share();
  return true;
}
function takeUp(): void {
  const lot = restore();
  after.edit();
  if (lot === null) return;
  tell('Your edits of this site were kept in this browser and are back. Undo takes them away.');
  if (lot) queueMicrotask(() => { if (state.large) void chooseLarge(lot); else choose(lot); }); // what lies round a lot of a large site is to be fetched first
}

export async function openSample(lot = ''): Promise<void> {
  const wish = ++wishes;
  try {
    const text = await service.text('/assets/sample.json');
    if (await open(wish, JSON.parse(text), text, 'sample') && lot) choose(lot);
  } catch (e) { failed(wish, e, 'The sample cannot be opened'); }
}

export async function openFiles(list: File[]): Promise<void> {
  const wish = ++wishes;
  try {
    const files: { name: string; text: string }[] = [], exports: File[] = [];
    for (const f of list) {
      if (f.size > 64 << 20) throw new Error(`${f.name} has ${(f.size / 1048576).toFixed(0)} MiB; the service takes 64.`);
      if (/\.(geo)?json$/i.test(f.name)) files.push({ name: f.name, text: await f.text() }); else exports.push(f);
    }
    if (files.length && exports.length) throw new Error(`${files[0]!.name} opens as it is, ${exports[0]!.name} is read into a stored site: give them one after the other.`);
    for (const f of exports) if (!await bringIn(wish, f)) return;
    if (!files.length) return;
    const got = sites.read(files, state.doc), { edits, past, future, lot } = state;
    if (!await open(wish, got.doc, got.text, 'file', undefined, got.notes) || !got.added.length) return;
    // layers were added to what was open: what was done there goes on, but for what was moved or taken away of a layer that is another now
    const holds = (key: string): boolean => key.includes('/+') || !got.added.includes(key.split('/')[0]!);
    const stays = (e: sites.Edits): sites.Edits => ({ ...e, moves: Object.fromEntries(Object.entries(e.moves).filter(([key]) => holds(key))), gone: e.gone.filter(holds) });
    Object.assign(state, { edits: stays(edits), past: past.map(stays), future: future.map(stays) });
    after.edit();
    if (lot) choose(lot);
  } catch (e) { failed(wish, e, 'The files were not opened; what was open stays as it was'); }
}
/** The layer that a file's name says. */
const layerOf = (name: string): string => sites.layerNames.find(l => name.toLowerCase().replace(/[ -]/g, '_').startsWith(l)) ?? '';
const media: Record<string, string> = { zip: 'application/zip', gpkg: 'application/geopackage+sqlite3', csv: 'text/csv', tif: 'image/tiff', tiff: 'image/tiff' };

/** An export of a GIS program goes into a stored site, where the service reads it; then that site is opened. Gives whether it was read. */
async function bringIn(wish: number, f: File): Promise<boolean> {
  const type = media[f.name.split('.').pop()?.toLowerCase() ?? ''];
  if (!type) throw new Error(`${f.name}: give a site document, GeoJSON layers, a zipped shapefile, a GeoPackage, a CSV or a GeoTIFF.`);
  if ($('store').hidden) throw new Error(`${f.name} is read into a stored site, and this service keeps none: start it with --store FILE.gpkg. GeoJSON and site documents open without.`);
  const ask = $<HTMLDialogElement>('bring');
  $('bringName').textContent = f.name;
  choice('bringLayer').replaceChildren(...sites.layerNames.map(l => new Option(l.replaceAll('_', ' '), l)));
  choice('bringLayer').value = layerOf(f.name) || 'parcels';
  $('bringLayerBox').hidden = type === 'image/tiff';
  input('bringSite').value = state.source === 'store' ? state.name : f.name.replace(/\.[^.]*$/, '').replace(/[^A-Za-z0-9 _.-]+/g, '_');
  ask.returnValue = ''; ask.showModal();
  await new Promise(done => { ask.onclose = done; });
  if (ask.returnValue !== 'read' || wish !== wishes) return false;
  const q = new URLSearchParams({ site: input('bringSite').value.trim() }), crs = input('bringCRS').value.trim();
  if (type !== 'image/tiff') q.set('layer', choice('bringLayer').value);
  if (crs) q.set('crs', crs);
  say('Reading', `The service is reading ${f.name}…`, 'busy');
  const got = await service.upload(`/sites?${q}`, type, f);
  await listStored();
  const lots = !!got.features?.parcels;
  if (lots) await openStored(got.site, '', wish); else showVerdict();
  report(`${f.name} was read`, lots ? '' : 'The site has no lots yet: bring in its parcels next.', [`Version ${got.version} of ${got.site}.`, ...Object.entries(got.features ?? {}).map(([l, n]) => `${l}: ${n}`), ...(got.warnings ?? [])]);
  return true;
}

// --- stored sites ---------------------------------------------------------------

/** Gives whether the service let it see them. */
export async function listStored(): Promise<boolean> {
  const { store } = await settings();
  takes(store);
  if (!store) return true; // files and the sample remain
  try {
    const got = await service.get('/sites?f=json');
    $('storedBox').hidden = !got.sites.length; $('store').hidden = false;
    choice('stored').replaceChildren(new Option('choose…', ''), ...got.sites.map((s: { site: string }) => new Option(s.site, s.site)));
    showStored();
    return true;
  } catch { $('storedBox').hidden = true; return false; /* it asks for a key: files and the sample remain */ }
}
/** The list says which of the stored sites is open. */
function showStored(): void { choice('stored').value = state.source === 'store' ? state.name : ''; }
/** What the page offers to open: exports of GIS programs are read into a store, which not every service has. */
function takes(store: boolean): void {
  input('file').accept = store ? '.json,.geojson,.zip,.gpkg,.csv,.txt,.tif,.tiff' : '.json,.geojson,.csv,.txt';
  $('shotsLayer').hidden = !store;
  input('file').parentElement!.title = $('fileHelp').textContent = store ? 'Site documents and GeoJSON open as they are; zipped shapefiles, GeoPackages, CSV and GeoTIFF are read into a stored site.'
    : 'Site documents and GeoJSON open here. Shapefiles, GeoPackages, CSV and GeoTIFF are read into a store, and this service was started without one (serve --store FILE.gpkg).';
}
interface StoredSite { site: string; crs?: string; version: number; features: Record<string, number>; bounds?: Box }
export async function openStored(name: string, lot = '', wish = ++wishes): Promise<void> {
  try {
    const at = `/sites/${encodeURIComponent(name)}`, info: StoredSite = await service.get(`${at}?f=json`);
    if ((info.features.parcels ?? 0) > mostLots && info.bounds) { if (!await openLarge(wish, info, info.bounds)) return; }
    else { const text = await service.text(`${at}/document`); if (!await open(wish, JSON.parse(text), text, 'store', name)) return; }
    state.version = info.version; share();
    if (lot) { if (state.large) await chooseLarge(lot); else choose(lot); }
  } catch (e) { failed(wish, e, `${name} cannot be opened`); } finally { showStored(); }
}

/** What stands beside the features of a large site's layers. */
let beside: Record<string, Record<string, unknown>> = {};

/** A site of many lots: tiles to look at, and what lies round a lot when one is chosen. */
async function openLarge(wish: number, info: StoredSite, box: Box): Promise<boolean> {
  say('Reading', `${info.site} has many lots; it is looked at in tiles…`, 'busy');
  // rules, rain, units and datums are the site's own; ground of a raster comes with the stored site alone
  const { terrain: _, ...head }: SiteDocument = await service.get(`/sites/${encodeURIComponent(info.site)}/document?features=false`);
  const doc: SiteDocument = { ...head, site: info.site, layers: {}, ...(info.crs ? { crs: info.crs } : {}) };
  const more = Object.fromEntries(Object.entries(head.layers).map(([name, { features: _, crs: __, ...more }]) => [name, more])); // features are asked for in the site's system
  const plane = planeOf(doc, box);
  if (!plane.geographic) {
    const one: { features: Feature[] } = await items(info.site, 'parcels', new URLSearchParams({ limit: '1' }), info.crs);
    const frame: Zone = await service.execute('zone', { ...doc, layers: { parcels: { type: 'FeatureCollection', features: one.features } } });
    plane.setMetresPerUnit(frame.frame?.metres_per_unit ?? 1);
  }
  const world = await georeference(plane, info.crs ?? '', box);
  if (wish !== wishes) return false;
  fresh(doc, info.site, 'store');
  beside = more;
  state.plane = plane; state.large = info.site;
  $('report').hidden = true; $('lotBox').hidden = true; $('lotNamedBox').hidden = false;
  const a = plane.toPlane([box[0], box[1]]), b = plane.toPlane([box[2], box[3]]);
  let told = false;
  board.setScene(new TiledScene(`/sites/${encodeURIComponent(info.site)}`, plane, world, [a[0], a[1], b[0], b[1]], c => board.repaint(c), () => board.view.k, e => { if (!told) { told = true; refuse(e, 'A part of the plan could not be fetched'); } }), plane);
  board.fitSite();
  showBackdrop(box);
  button('saveSite').disabled = true;
  showPlan();
  say(`${info.site}: ${info.features.parcels} lots`, 'Click a lot or type its name above to plan it.');
  takeUp();
  return true;
}
async function items(site: string, layer: string, q: URLSearchParams, crs: string | undefined): Promise<{ features: Feature[] }> {
  q.set('site', site); q.set('f', 'json');
  const uri = crs && /^EPSG:\d+$/.test(crs) ? `http://www.opengis.net/def/crs/EPSG/0/${crs.slice(5)}` : '';
  if (uri) { q.set('crs', uri); if (q.has('bbox')) q.set('bbox-crs', uri); }
  return service.get(`/collections/${layer}/items?${q}`);
}
let chosen = 0;
/** Fetches what lies round a lot of a large site, then plans it. */
export async function chooseLarge(lot: string): Promise<void> {
  const plane = state.plane, scene = board.scene, name = state.large;
  if (!plane || !(scene instanceof TiledScene) || !lot) return;
  const mine = ++chosen;
  try {
    say('Reading', `What lies round lot ${lot} is fetched…`, 'busy');
    const crs = state.doc?.crs as string | undefined;
    const own = (await items(name, 'parcels', new URLSearchParams({ lot, limit: '1' }), crs)).features[0];
    const box = own && sites.bounds([own]);
    if (!own || !box) throw new Error(`${name} has no lot ${lot}. Lots are named by the property lot of their parcels.`);
    const m = 150 / Math.hypot(...plane.toPlane(plane.toDoc([1, 0]))) * Math.abs(plane.toDoc([1, 0])[0] - plane.toDoc([0, 0])[0]); // 150 m in the document's units
    const wide = [box[0] - m, box[1] - m, box[2] + m, box[3] + m].join(',');
    const info: StoredSite = await service.get(`/sites/${encodeURIComponent(name)}?f=json`);
    const layers: SiteDocument['layers'] = {};
    await Promise.all(Object.entries(info.features).map(async ([layer, n]) => { if (n) layers[layer] = { ...beside[layer], type: 'FeatureCollection', features: (await items(name, layer, new URLSearchParams({ bbox: wide, limit: '2000' }), crs)).features }; }));
    if (state.large !== name || mine !== chosen) return;
    state.doc = { ...state.doc!, layers };
    const shapes = shapesOf(own, plane);
    if (shapes[0]) scene.chosen = { name: lot, shapes, box: shapes[0].box };
    input('lotNamed').value = lot;
    choose(lot);
  } catch (e) { if (state.large === name && mine === chosen) { refuse(e, `Lot ${lot} is not planned`); showVerdict(); } }
}

/** The address says what is open, so that it can be passed on. */
export function share(): void {
  const p = new URLSearchParams();
  if (state.source === 'sample') p.set('sample', ''); else if (state.source === 'store') p.set('site', state.name); else { history.replaceState(null, '', '/'); return; }
  if (state.lot) p.set('lot', state.lot);
  history.replaceState(null, '', '#' + p);
}

/** What the address names. */
export function openNamed(): void {
  const p = new URLSearchParams(location.hash.slice(1)), at = p.get('site'), lot = p.get('lot') ?? '';
  if (p.has('sample')) void openSample(lot); else if (at) void openStored(at, lot);
}

export function startOpening(onShots: (f: File) => Promise<boolean>): void {
  const files = async (list: File[]) => { const one = list.length === 1 ? list[0]! : null; if (one && /\.(csv|txt|pnt|xyz)$/i.test(one.name) && await onShots(one)) return; await openFiles(list); };
  button('sample').onclick = () => openSample();
  input('file').onchange = async () => { const list = [...(input('file').files ?? [])]; await files(list); input('file').value = ''; };
  let over = 0;
  document.addEventListener('dragenter', e => { e.preventDefault(); over++; $('drop').hidden = false; });
  document.addEventListener('dragleave', () => { if (--over <= 0) { over = 0; $('drop').hidden = true; } });
  document.addEventListener('dragover', e => e.preventDefault());
  document.addEventListener('drop', e => { e.preventDefault(); over = 0; $('drop').hidden = true; void files([...(e.dataTransfer?.files ?? [])]); });
  choice('stored').onchange = () => { if (choice('stored').value) void openStored(choice('stored').value); };
  $<HTMLFormElement>('lotNamedForm').onsubmit = e => { e.preventDefault(); void chooseLarge(input('lotNamed').value.trim()); };
  $<HTMLFormElement>('keyForm').onsubmit = e => { e.preventDefault(); service.setKey(input('key').value); void listStored().then(ok => tell(ok ? 'The key goes along from now on, until the page is closed.' : 'The service did not take the key, or it does not answer.')); };
}
