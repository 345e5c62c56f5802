// The page: what is open, what was changed, what the service answered, and how
// these meet the controls.

import { Board, switches, svg, symbol } from './board.js';
import { planeOf } from './plane.js';
import * as site from './site.js';
import * as service from './service.js';
import * as u from './units.js';
import { groundAlong } from './ground.js';
import { papers, sizes } from './papers.js';
import { stations, drawSection, fillCard, el, words, facts, table } from './walk.js';

const $ = id => /** @type {any} */ (document.getElementById(id));
const yearsOf = [2, 5, 10, 25, 50, 100];

/** What the user changed; every change makes a new one, so that undo is a step back in a list.
 * @typedef {{moves: Object<string, number[]>, route: number[][], what: {clearance?: number, slope?: number, years?: number, wall?: string}, outlet: string}} Edits */
/** @returns {Edits} */
const noEdits = () => ({ moves: {}, route: [], what: {}, outlet: '' });

const state = {
  /** @type {any} */ doc: null, /** @type {string} */ name: '', /** @type {any} */ plane: null,
  lot: '', edits: noEdits(), /** @type {Edits[]} */ past: [], /** @type {Edits[]} */ future: [],
  /** @type {any} */ plan: null, /** @type {any} */ base: null, /** @type {any} */ check: null,
  rows: [], station: 0, profile: 0, source: '', version: 0,
};
const board = new Board($('board'));

// --- telling ---------------------------------------------------------------

function say(word, text, kind = 'none') {
  $('verdict').dataset.state = kind;
  $('verdictWord').textContent = word;
  $('verdictText').textContent = text;
}

/** What went wrong, in the service's words, with the place of each fault. */
function refuse(e, what) {
  if (e instanceof DOMException && e.name === 'AbortError') return;
  const faults = e.faults ?? [];
  $('reportTitle').textContent = what;
  $('reportText').textContent = e instanceof service.Refusal ? `${e.title}. ${e.message}` : e.message;
  $('reportList').replaceChildren(...faults.slice(0, 100).map(f => el('li', '', `${[f.layer, f.id === undefined ? '' : String(f.id)].filter(Boolean).join(', ')}${f.layer ? ': ' : ''}${f.detail ?? f.slug}`)));
  $('report').hidden = false;
}
$('reportClose').onclick = () => { $('report').hidden = true; $('board').focus(); };

// --- opening -----------------------------------------------------------------

/** @param {any} doc @param {string|null} text the document as it was dropped @param {string} from @param {string[]} notes */
async function open(doc, text, from, notes = []) {
  const lots = site.features(doc, 'parcels');
  const box = site.bounds(lots);
  if (!box) throw new Error('The layer parcels has no positions, so there is nothing to draw.');
  const names = lots.map(site.lotName);
  say('Reading', 'The service is reading the site…', 'busy');
  // the service judges the text as it is; the first lot's zone also tells the frame
  const first = await service.execute('zone', text ?? doc, { lots: [names[0]] });
  $('report').hidden = true;
  const plane = planeOf(doc, box);
  plane.setMetresPerUnit(first.frame?.metres_per_unit ?? 1);
  Object.assign(state, { doc, plane, name: String(doc.site ?? 'site'), lot: '', edits: noEdits(), past: [], future: [], plan: null, base: null, check: null, rows: [], source: from, version: 0 });
  const select = $('lot');
  select.replaceChildren(new Option('choose…', ''), ...names.map(n => new Option(n, n)));
  select.disabled = false;
  board.setPlan(null, ''); board.setZone(null); board.setGround(null); board.route = []; board.stretches = []; board.station = null;
  board.setSite(site.edited(doc, { moves: {}, route: [] }, ''), plane);
  board.fitSite();
  restore();
  $('saveSite').disabled = false;
  showPlan();
  const stops = (first.findings ?? []).filter(f => f.message);
  say(`${state.name}: ${names.length} lots`, [...notes, 'Click a lot or choose it above to plan it.', ...stops.slice(0, 2).map(f => f.message)].join(' '));
  share();
}

async function openSample(lot = '') {
  try {
    const text = await service.text('/assets/sample.json');
    await open(JSON.parse(text), text, 'sample');
    if (lot) choose(lot);
  } catch (e) { refuse(e, 'The sample cannot be opened'); say('No site is open', '', 'none'); }
}
$('sample').onclick = () => openSample();

async function openFiles(list) {
  try {
    const files = [];
    for (const f of list) {
      if (f.size > 64 << 20) throw new Error(`${f.name} has ${(f.size / 1048576).toFixed(0)} MiB; the service takes 64.`);
      if (!/\.(geo)?json$/i.test(f.name)) { await bringIn(f); return; }
      files.push({ name: f.name, text: await f.text() });
    }
    if (!files.length) return;
    const got = site.read(files, state.doc);
    await open(got.doc, got.text, 'file', got.notes);
  } catch (e) { refuse(e, 'The files were not opened; what was open stays as it was'); if (!state.doc) say('No site is open', 'Open the sample, or drop a site document or layer files on the page.'); else showVerdict(); }
}
/** The layer that a file's name says, or the one that the user chose. */
const layerOf = name => site.layerNames.find(l => name.toLowerCase().replace(/[ -]/g, '_').startsWith(l)) ?? '';
const media = { zip: 'application/zip', gpkg: 'application/geopackage+sqlite3', csv: 'text/csv', tif: 'image/tiff', tiff: 'image/tiff' };
/** An export of a GIS program goes into a stored site, where the service reads it; then that site is opened. @param {File} f */
async function bringIn(f) {
  const type = media[f.name.split('.').pop()?.toLowerCase() ?? ''];
  if (!type) throw new Error(`${f.name}: give a site document, GeoJSON layers, a zipped shapefile, a GeoPackage, a CSV or a GeoTIFF.`);
  if ($('store').hidden) throw new Error(`${f.name} is read into a stored site, and this service keeps none: start it with --store FILE.gpkg. GeoJSON and site documents open without.`);
  const ask = $('bring');
  $('bringName').textContent = f.name;
  $('bringLayer').replaceChildren(...site.layerNames.map(l => new Option(l.replaceAll('_', ' '), l)));
  $('bringLayer').value = layerOf(f.name) || 'parcels';
  $('bringLayerBox').hidden = type === 'image/tiff';
  $('bringSite').value = state.source === 'store' ? state.name : f.name.replace(/\.[^.]*$/, '').replace(/[^A-Za-z0-9 _.-]+/g, '_');
  ask.returnValue = ''; ask.showModal();
  await new Promise(done => { ask.onclose = done; });
  if (ask.returnValue !== 'read') return;
  const name = $('bringSite').value.trim(), q = new URLSearchParams({ site: name });
  if (type !== 'image/tiff') q.set('layer', $('bringLayer').value);
  if ($('bringCRS').value.trim()) q.set('crs', $('bringCRS').value.trim());
  say('Reading', `The service is reading ${f.name}…`, 'busy');
  const got = await service.upload(`/sites?${q}`, type, f);
  await listStored();
  const told = [`Version ${got.version} of ${got.site}.`, ...Object.entries(got.features ?? {}).map(([l, n]) => `${l}: ${n}`), ...(got.warnings ?? [])];
  if (got.features?.parcels) await openStored(got.site); else showVerdict();
  $('reportTitle').textContent = `${f.name} was read`; $('reportText').textContent = got.features?.parcels ? '' : 'The site has no lots yet: bring in its parcels next.';
  $('reportList').replaceChildren(...told.map(t => el('li', '', t))); $('report').hidden = false;
}
$('file').onchange = async e => { await openFiles([...e.target.files]); e.target.value = ''; };
let over = 0;
document.addEventListener('dragenter', e => { e.preventDefault(); over++; $('drop').hidden = false; });
document.addEventListener('dragleave', () => { if (--over <= 0) { over = 0; $('drop').hidden = true; } });
document.addEventListener('dragover', e => e.preventDefault());
document.addEventListener('drop', e => { e.preventDefault(); over = 0; $('drop').hidden = true; openFiles([...(e.dataTransfer?.files ?? [])]); });

async function listStored() {
  try {
    const got = await service.get('/sites?f=json');
    $('storedBox').hidden = !got.sites.length; $('store').hidden = false;
    $('stored').replaceChildren(new Option('choose…', ''), ...got.sites.map(s => new Option(s.site, s.site)));
  } catch { $('storedBox').hidden = true; /* no store: files and the sample remain */ }
}
async function openStored(name, lot = '') {
  try { const at = `/sites/${encodeURIComponent(name)}`, { version } = await service.get(`${at}?f=json`), text = await service.text(`${at}/document`); await open(JSON.parse(text), text, 'store'); state.name = name; state.version = version; share(); if (lot) choose(lot); } catch (e) { refuse(e, `${name} cannot be opened`); }
}
$('stored').onchange = e => { if (e.target.value) openStored(e.target.value); };
$('keyForm').onsubmit = e => { e.preventDefault(); service.setKey($('key').value); listStored(); };

/** The address says what is open, so that it can be passed on. */
function share() {
  const p = new URLSearchParams();
  if (state.source === 'sample') p.set('sample', ''); else if (state.source === 'store') p.set('site', state.name); else { history.replaceState(null, '', '/'); return; }
  if (state.lot) p.set('lot', state.lot);
  history.replaceState(null, '', '#' + p);
}

// --- edits ---------------------------------------------------------------------

const keep = () => `fallwright.edits.${state.source}.${state.name}`;
/** @param {Edits} next */
function change(next, then = replan) {
  state.past.push(state.edits); if (state.past.length > 200) state.past.shift();
  state.future = []; state.edits = next;
  settle(then);
}
function settle(then = replan) {
  try {
    if (JSON.stringify(state.edits) === JSON.stringify(noEdits())) localStorage.removeItem(keep());
    else localStorage.setItem(keep(), JSON.stringify({ edits: state.edits, lot: state.lot }));
  } catch { /* storage is off or full: the edits live as long as the page */ }
  $('undo').disabled = !state.past.length; $('redo').disabled = !state.future.length;
  applyEdits(); then();
}
function applyEdits() {
  if (!state.doc) return;
  board.route = state.edits.route;
  board.setSite(site.edited(state.doc, { moves: state.edits.moves, route: [] }, state.lot), state.plane);
  gripsOf(); sliders();
}
function restore() {
  $('undo').disabled = $('redo').disabled = true;
  let kept = null;
  try { kept = JSON.parse(localStorage.getItem(keep()) ?? 'null'); } catch { /* not ours */ }
  if (kept?.edits && Array.isArray(kept.edits.route)) {
    state.past = [noEdits()];
    state.edits = { ...noEdits(), ...kept.edits };
    $('undo').disabled = false;
    applyEdits();
    tell('Your edits of this site were kept in this browser and are back. Undo takes them away.');
    if (kept.lot) queueMicrotask(() => choose(kept.lot));
  } else sliders();
}
function undo() { const p = state.past.pop(); if (!p) return; state.future.push(state.edits); state.edits = p; settle(after); }
function redo() { const n = state.future.pop(); if (!n) return; state.past.push(state.edits); state.edits = n; settle(after); }
const after = () => { replan(); check(true); };
$('undo').onclick = undo; $('redo').onclick = redo;

let quiet = 0;
function tell(text) { const l = $('live'); l.textContent = text; l.hidden = !text; clearTimeout(quiet); if (text) quiet = setTimeout(() => { if (!state.edits.route.length) l.hidden = true; }, 6000); }

// --- plan ------------------------------------------------------------------------

/** The site's criteria with the sliders over them, or undefined where none was touched. */
function criteria(w = state.edits.what) {
  if (!Object.keys(w).some(k => k !== 'tilt')) return undefined;
  const c = structuredClone(state.doc.criteria ?? {});
  if (w.clearance !== undefined) c.clearance = { ...c.clearance, lot_line_m: w.clearance };
  if (w.slope !== undefined) { c.pipe = { ...c.pipe, target_slope: w.slope }; if (w.slope < (c.pipe.least_slope ?? 0.005)) c.pipe.least_slope = w.slope; }
  if (w.wall) c.pipe = { ...c.pipe, wall: w.wall };
  if (w.years !== undefined) c.storm = { ...c.storm, return_years: w.years };
  return c;
}

function choose(lot) {
  if (!state.doc || !lot) return;
  const same = state.lot === lot;
  state.lot = lot; $('lot').value = lot;
  if (!same) { state.base = null; state.plan = null; state.edits = { ...state.edits, outlet: '' }; board.setZone(null); board.setGround(null); }
  board.setPlan(state.plan, lot); gripsOf(); share();
  if (!same) board.fitLot();
  replan();
  if (state.edits.route.length > 1) check(true);
}
$('lot').onchange = e => choose(e.target.value);

/** @type {AbortController|null} */ let running = null;
async function replan() {
  if (!state.lot) { showVerdict(); return; }
  running?.abort(); running = new AbortController();
  const signal = running.signal, lot = state.lot, e = state.edits;
  const doc = site.edited(state.doc, { moves: e.moves, route: [] }, lot), c = criteria();
  const more = { lots: [lot], ...(c ? { criteria: c } : {}) };
  say('Planning', `The service is planning lot ${lot}…`, 'busy');
  try {
    const zone = service.execute('zone', doc, more, signal).then(z => { if (!signal.aborted) board.setZone(z); });
    zone.catch(() => { /* told below, where it is awaited */ });
    const options = { ...(e.outlet ? { outlet: e.outlet } : {}), ...(e.what.tilt ? { what_if: [{ key: 'ground.tilt', value: e.what.tilt }] } : {}) };
    const plan = await service.execute('plan', doc, { ...more, ...(Object.keys(options).length ? { options } : {}) }, signal);
    if (signal.aborted) return;
    look(doc, lot, signal);
    const fresh = !state.plan;
    state.plan = plan;
    if (!c && !Object.keys(e.moves).length && !e.outlet) state.base = plan;
    showCautions(plan.cautions);
    showPlan(fresh);
    await zone;
  } catch (err) {
    if (signal.aborted) return;
    state.plan = null; showPlan();
    refuse(err, `Lot ${lot} is not planned`);
    say('No plan', err.message, 'stop');
  }
}

/** The ground round the lot; a site without any is drawn without. */
async function look(doc, lot, signal) {
  if (!doc.terrain && !['spots', 'breaklines', 'contours', 'swales'].some(l => site.features(doc, l).length)) { board.setGround(null); return; }
  try {
    const got = await service.execute('ground', doc, { lots: [lot] }, signal);
    if (!signal.aborted && state.lot === lot) board.setGround(got);
  } catch (e) { if (!signal.aborted) { board.setGround(null); if (!e.faults?.some(f => f.slug === 'ground-missing')) tell(`The ground is not drawn: ${e.message}`); } }
}

/** A quick plan while something is dragged: one at a time, the newest waits. The full plan follows on release. */
let quickRunning = false; /** @type {Edits|null} */ let quickNext = null;
async function livePlan(e) {
  if (!state.lot) return;
  if (quickRunning) { quickNext = e; return; }
  quickRunning = true;
  const before = state.edits, lot = state.lot;
  try {
    const c = criteria(e.what);
    const plan = await service.execute('plan', site.edited(state.doc, { moves: e.moves, route: [] }, lot), { lots: [lot], options: { quick: true, ...(e.outlet ? { outlet: e.outlet } : {}) }, ...(c ? { criteria: c } : {}) });
    if (state.edits === before && state.lot === lot) { state.plan = plan; showPlan(); }
  } catch (err) { if (state.edits === before) tell(err.message); } finally {
    quickRunning = false;
    if (quickNext) { const n = quickNext; quickNext = null; if (state.edits === before) livePlan(n); }
  }
}

const verdictWords = { feasible: 'Feasible by the numbers', not_proven: 'Not proven', not_feasible: 'Not feasible' };
function showVerdict() {
  const s = state.plan?.summary;
  if (!s) { if (state.doc) say(state.name, 'Click a lot or choose it above to plan it.'); return; }
  const numbers = s.length_m ? [`${u.length(s.length_m)} of pipe`, s.outlet ? `to ${s.outlet}` : '', s.fall_m == null ? '' : `falling ${u.depth(s.fall_m)}`, s.flow_m3s == null ? '' : `${u.flow(s.flow_m3s)}`, s.greatest_depth_m == null ? '' : `deepest ${u.depth(s.greatest_depth_m)}`].filter(Boolean).join(', ') + '. ' : '';
  const checks = state.plan.verification;
  const judged = checks?.passed ? `Checked by the second program: ${checks.checks.length} checks hold. ` : '';
  say(`Lot ${state.lot}: ${verdictWords[s.verdict] ?? words(s.verdict)}`, `${numbers}${s.why_not ? s.why_not + ' ' : ''}${s.cure ? s.cure + ' ' : ''}${judged}Preliminary.`, s.verdict === 'feasible' ? 'good' : s.verdict === 'not_proven' ? 'unsure' : 'stop');
}

function showPlan(fresh = false) {
  const plan = state.plan;
  showVerdict();
  board.setPlan(plan, state.lot);
  if (fresh) board.fitLot();
  for (const id of ['savePlan', 'saveNetwork']) $(id).disabled = !plan;
  for (const b of document.querySelectorAll('#papers button')) b.disabled = !plan;
  // the walk
  const profiles = plan?.profiles ?? [], select = $('profile');
  const longest = profiles.reduce((best, p, i) => ((p.rows.at(-1)?.station_m ?? 0) > (profiles[best]?.rows.at(-1)?.station_m ?? -1) ? i : best), 0);
  const was = fresh ? -1 : profiles.findIndex(p => p.from === select.value);
  select.replaceChildren(...profiles.map(p => new Option(`${p.from} to ${p.to}`, p.from)));
  select.disabled = !profiles.length;
  state.profile = was >= 0 ? was : longest;
  if (profiles.length) select.value = profiles[state.profile].from;
  state.rows = stations(profiles[state.profile]);
  stand(Math.min(was >= 0 ? state.station : 0, Math.max(0, state.rows.length - 1)), false);
  // findings
  const order = { stop: 0, warn: 1, note: 2 };
  const list = (plan?.findings ?? []).map((f, i) => ({ f, n: i + 1 })).sort((a, b) => (order[a.f.severity] ?? 3) - (order[b.f.severity] ?? 3));
  $('tale').hidden = true;
  if (fresh && list.some(x => x.f.severity === 'stop')) $('findingsBox').open = true;
  const count = k => list.filter(x => x.f.severity === k).length;
  $('findingCount').textContent = plan ? `${count('stop')} stop, ${count('warn')} warn, ${count('note')} note` : '';
  $('findings').replaceChildren(...(list.length ? list.map(({ f, n }) => {
    const li = el('li', f.severity), b = el('button', '', '');
    b.type = 'button';
    b.append(el('span', 'sign', `${{ stop: '■', warn: '▲', note: '○' }[f.severity] ?? '○'} ${n}`), el('span', '', `${words(f.severity)}: ${f.message}${f.cure ? ' ' + f.cure : ''}`));
    b.onclick = () => { const at = f.location ? state.plane.toPlane(f.location) : board.placeOf(f); if (at) { board.station = at; board.show(at); } };
    li.append(b); return li;
  }) : [el('li', '', plan ? 'Nothing was found.' : 'None yet.')]));
  showAlternatives(); showCompare(); showStorms(); showQuantities(); showRests();
}

function stand(i, move = true) {
  if (move) $('tale').hidden = true;
  const rows = state.rows;
  state.station = i;
  $('prev').disabled = i <= 0; $('next').disabled = i >= rows.length - 1;
  drawSection($('section'), rows, i, n => stand(n));
  if (!rows.length) {
    board.station = null; board.draw();
    $('card').replaceChildren(el('p', '', state.plan ? 'No run was laid, so there is nothing to walk. The verdict and the findings say why.' : 'Choose a lot: its drain is planned, and this card walks down it, station by station.'));
    return;
  }
  fillCard($('card'), state.plan, state.plan.profiles[state.profile], rows, i, n => stand(n));
  board.station = state.plane.toPlane(rows[i].at);
  if (move) board.show(board.station); else board.draw();
}
$('prev').onclick = () => stand(state.station - 1);
$('next').onclick = () => stand(state.station + 1);
$('profile').onchange = () => { state.profile = $('profile').selectedIndex; state.rows = stations(state.plan.profiles[state.profile]); stand(0); };
new ResizeObserver(() => { if (state.rows.length) drawSection($('section'), state.rows, state.station, n => stand(n)); }).observe($('section'));

const short = v => ({ feasible: 'feasible', not_proven: 'not proven', not_feasible: 'not feasible' }[v] ?? words(v));
function showAlternatives() {
  const list = state.plan?.alternatives ?? [];
  if (!list.length) { $('alternatives').textContent = state.plan ? 'The service named no other end.' : 'Plan a lot first.'; return; }
  $('alternatives').replaceChildren(table(['End', 'Verdict', 'Pipe', 'Cost index', 'Why', ''], list.map(a => {
    const b = el('button', '', a.outlet === state.plan.summary.outlet ? 'shown' : 'Plan to it'); b.type = 'button'; b.disabled = a.outlet === state.plan.summary.outlet;
    b.onclick = () => change({ ...state.edits, outlet: a.outlet });
    return [a.outlet, short(a.verdict), u.length(a.length_m), a.cost_index == null ? '–' : String(a.cost_index), a.reason ?? (a.short_m ? `short by ${u.depth(a.short_m)}` : ''), b];
  })));
}
function showCompare() {
  const a = state.base?.summary, b = state.plan?.summary, parts = [];
  for (const w of state.plan?.what_if ?? []) {
    const row = (name, f) => [name, f(w.as_planned), f(w.then)], by = Number(w.change.value);
    parts.push(table(['', 'As planned', `Ground ${Math.abs(100 * by)} % ${by > 0 ? 'steeper' : 'flatter'}`], [
      row('Verdict', s => short(s.verdict)), row('End', s => s.outlet || '–'), row('Pipe', s => u.length(s.length_m)), row('Least slope', s => u.slope(s.least_slope)), row('Deepest', s => u.depth(s.greatest_depth_m)),
      row('Dig', s => u.volume(s.excavation_m3)), row('Largest pipe', s => s.largest_pipe), row('Cost index', s => s.cost_index == null ? '–' : String(s.cost_index))]));
  }
  if (!a || !b || state.base === state.plan) { $('compare').replaceChildren(...parts, b ? 'This is the plan under the site’s own rules.' : ''); return; }
  const row = (name, f) => [name, f(a), f(b)];
  $('compare').replaceChildren(...parts, table(['', 'As the site stands', 'As changed'], [
    row('Verdict', s => short(s.verdict)), row('End', s => s.outlet ?? '–'), row('Pipe', s => u.length(s.length_m)), row('Fall', s => u.depth(s.fall_m)), row('Least slope', s => u.slope(s.least_slope)),
    row('Flow', s => u.flow(s.flow_m3s)), row('Deepest', s => u.depth(s.greatest_depth_m)), row('Cost index', s => s.cost_index == null ? '–' : String(s.cost_index))]));
}
function showStorms() {
  const p = state.plan, at = $('storms');
  if (!p) { at.textContent = 'Plan a lot first.'; return; }
  const parts = [];
  if (p.water_cases?.length) parts.push(table(['Storm', 'Water at the end', 'What happens'], p.water_cases.map(c => [`${c.return_years ?? '–'} years, ${words(c.case)}`, u.elevation(c.outlet_level_m), c.message ?? (c.first_spill ? `${c.first_spill} spills first` : '')])));
  const backed = p.storage ? [p.storage, ...(p.more_storage ?? [])] : [];
  for (const b of backed) for (const [key, name] of [['without_valve', 'Storage in the trenches, without a valve'], ['with_valve', 'Storage in the trenches, with a valve']]) {
    const s = b[key]; if (!s) continue;
    parts.push(el('h3', '', backed.length > 1 ? `${name}: lot ${(b.lots ?? []).join(', ')}` : name), facts([['Void', u.volume(s.void_volume_m3)], ['Usable', u.volume(s.usable_volume_m3)], ['Highest water', u.elevation(s.peak_level_m)], ['Runs over', u.volume(s.overflow_m3)], ['Empty after', s.empty_after_h == null ? '–' : `${s.empty_after_h} h`]]), curve(s.series ?? []));
  }
  if (!p.storage) parts.push(el('p', 'help', 'The plan holds no storage run, so there is no storage curve.'));
  at.replaceChildren(...parts);
}
/** Water level and stored volume over the minutes. */
function curve(series) {
  const rows = series.filter(r => Number.isFinite(r[0]));
  const w = 320, h = 140, s = svg('svg', { viewBox: `0 0 ${w} ${h}`, class: 'curve', role: 'img' });
  if (rows.length < 2) return s;
  const t1 = rows[rows.length - 1][0], most = k => Math.max(1e-9, ...rows.map(r => r[k] ?? 0));
  const draw = (k, from, to, cls) => s.append(svg('path', { class: cls, d: rows.filter(r => Number.isFinite(r[k])).map((r, i) => `${i ? 'L' : 'M'}${(34 + r[0] / t1 * (w - 44)).toFixed(1)} ${(h - 22 - (r[k] - from) / Math.max(1e-9, to - from) * (h - 40)).toFixed(1)}`).join('') }));
  draw(3, 0, most(3), 'stored'); draw(2, 0, most(2), 'inflow');
  s.append(svg('path', { d: `M34 8V${h - 22}H${w - 8}`, class: 'axisLine' }), svg('text', { x: 34, y: h - 6 }, '0 min'), svg('text', { x: w - 8, y: h - 6, 'text-anchor': 'end' }, `${t1} min`), svg('text', { x: 40, y: 14 }, `solid: stored, most ${u.volume(most(3))}; dashed: inflow, most ${u.flow(most(2))}`));
  s.setAttribute('aria-label', `Stored water over ${t1} minutes, most ${u.volume(most(3))}`);
  return s;
}
function showQuantities() {
  const p = state.plan, at = $('quantities');
  if (!p) { at.textContent = 'Plan a lot first.'; return; }
  const runs = (p.network?.features ?? []).filter(f => f.properties?.run).map(f => f.properties);
  at.replaceChildren(
    table(['Run', 'Pipe', 'Length', 'Slope', 'Flow', 'Full', 'Speed', 'Least clearance', 'Too flat by chance'], runs.map(r => [`${r.run} ${r.from}–${r.to}`, `${r.size} ${r.pipe}`, u.length(r.length_m), u.slope(r.slope), u.flow(r.flow_m3s), r.fill_ratio == null ? '–' : `${Math.round(100 * r.fill_ratio)} %`, u.velocity(r.velocity_ms), u.depth(r.least_clearance_m), r.chance_under_least_fall == null ? '–' : r.chance_under_least_fall < 0.005 ? '< 1 %' : `${Math.round(100 * r.chance_under_least_fall)} %`])),
    table(['Trench', 'Length', 'Width', 'Deepest', 'Dig', 'Stone', 'Fabric'], (p.trenches ?? []).map(t => [t.trench, u.length(t.length_m), u.depth(t.width_m), u.depth(t.greatest_depth_m), u.volume(t.excavation_m3), u.volume(t.stone_m3), u.area(t.fabric_m2)])));
}
function showRests() {
  const p = state.plan, at = $('rests');
  if (!p) { at.textContent = 'Plan a lot first.'; return; }
  const r = p.rests_on ?? {}, ul = el('ul', '');
  for (const a of p.assumptions ?? []) ul.append(el('li', '', a));
  at.replaceChildren(facts([['Measured', (r.measured ?? []).join(', ') || 'nothing'], ['Mapped', (r.mapped ?? []).join(', ') || 'nothing'], ['Assumed', (r.assumed ?? []).join(', ') || 'nothing'], ['Plane', p.frame?.plane ?? '–']]), el('h3', '', 'Assumptions'), ul);
}
function showCautions(list) { if (list?.length) $('cautionList').replaceChildren(...list.map(c => el('li', '', c))); }
$('cautionsMore').onclick = () => { const on = $('cautions').classList.toggle('all'); $('cautionsMore').setAttribute('aria-expanded', String(on)); $('cautionsMore').textContent = on ? 'Fewer' : 'All cautions'; };

// --- drawing a route -----------------------------------------------------------

const help = {
  look: 'Look: drag the plan, click a lot to plan it.',
  draw: 'Draw: click to set points, drag a square to move one. Points catch inlets, intakes, other ends and the edge of the trench zone. Escape ends drawing.',
  move: 'Move: drag a ring (intake or tree of the lot). The service plans again when you let go.',
};
function mode(m) {
  if (m === 'draw' && !state.lot) { tell('Choose a lot first: the route is checked against its lines.'); return; }
  board.mode = m; board.sheet.dataset.mode = m; board.cross = null;
  for (const [id, one] of [['modeLook', 'look'], ['modeDraw', 'draw'], ['modeMove', 'move']]) $(id).setAttribute('aria-pressed', String(one === m));
  $('modeHelp').textContent = help[m];
  $('tale').hidden = true;
  gripsOf(); board.draw();
}
$('modeLook').onclick = () => mode('look'); $('modeDraw').onclick = () => mode('draw'); $('modeMove').onclick = () => mode('move');

function addPoint(p) { change({ ...state.edits, route: [...state.edits.route, p.map(Number)] }, () => check(true)); }
function dropLast() { if (state.edits.route.length) change({ ...state.edits, route: state.edits.route.slice(0, -1) }, () => check(true)); }
$('clearRoute').onclick = () => { if (state.edits.route.length) change({ ...state.edits, route: [] }, () => check(true)); };
$('typed').onsubmit = e => {
  e.preventDefault();
  const b = Number($('bearing').value), d = Number($('distance').value);
  if (!state.edits.route.length) { tell('Set the first point on the plan, then type bearing and distance.'); return; }
  if ($('bearing').value.trim() === '' || !Number.isFinite(b) || !(d > 0)) { tell('A bearing in degrees and a distance above nothing are needed.'); return; }
  const last = state.plane.toPlane(state.edits.route.at(-1)), m = u.typedLength(d);
  addPoint(state.plane.toDoc([last[0] + m * Math.sin(b * Math.PI / 180), last[1] + m * Math.cos(b * Math.PI / 180)]));
};

/** Tells the findings of a mark beside it on the plan. */
board.handlers.mark = (numbers, at) => {
  const t = $('tale'), list = state.plan?.findings ?? [];
  t.hidden = !numbers.length;
  t.replaceChildren(...numbers.map(n => el('p', list[n - 1]?.severity ?? '', `${n} · ${words(list[n - 1]?.severity)}: ${list[n - 1]?.message}${list[n - 1]?.cure ? ' ' + list[n - 1].cure : ''}`)));
  const left = board.width - at[0] < 390 && at[0] > 390;
  t.style.left = left ? 'auto' : `${Math.round(at[0] + 18)}px`; t.style.right = left ? `${Math.round(board.width - at[0] + 18)}px` : 'auto';
  t.style.top = `${Math.max(8, Math.min(Math.round(at[1] - 10), Math.round(board.height - 150)))}px`;
};
board.onview = () => { $('tale').hidden = true; };
board.handlers.pick = name => choose(name);
board.handlers.point = addPoint;
let dragged = null;
board.handlers.dragRoute = (i, p) => {
  dragged ??= state.edits.route;
  const r = [...board.route]; r[i] = p.map(Number);
  board.route = r; board.draw(); check(false);
};
board.handlers.dropRoute = () => { if (!dragged) return; dragged = null; change({ ...state.edits, route: board.route }, () => check(true)); };

/** One check is on its way at a time; the newest line waits for it. */
let checking = false, waiting = null;
async function check(whole) {
  const line = board.route;
  if (line.length < 2 || !state.lot) { board.stretches = []; state.check = null; $('routeAnswer').replaceChildren(); $('live').hidden = true; board.draw(); return; }
  if (checking) { waiting = { whole }; return; }
  checking = true;
  try {
    const moved = site.edited(state.doc, { moves: state.edits.moves, route: whole ? line : [] }, state.lot), c = criteria();
    const began = performance.now();
    const got = await service.execute('check', whole ? moved : site.forDrag(moved, line, state.lot), { lots: [state.lot], ...(c ? { criteria: c } : {}) });
    state.checkTime = performance.now() - began;
    const mine = (got.features ?? []).find(f => f.properties?.drain === 'drawn here');
    if (mine && board.route.length > 1) showCheck(mine.properties);
    showCautions(got.cautions);
  } catch (e) {
    tell(`The route is not checked: ${e.message}`);
  } finally {
    checking = false;
    if (waiting) { const w = waiting; waiting = null; check(w.whole); }
  }
}
/** What the ground does along the drawn route, in the direction in which it was drawn. */
function fallOf() {
  const g = board.ground, line = board.route.map(p => state.plane.toPlane(p));
  const got = g && line.length > 1 ? groundAlong(g.relief, g.corner, line) : null;
  if (!got) return '';
  const fall = got.from - got.to, aim = state.plan ? (criteria()?.pipe?.target_slope ?? state.doc.criteria?.pipe?.target_slope ?? 0.01) : 0.01;
  const need = aim * got.length;
  return `${fall >= 0 ? 'falls' : 'rises'} ${u.depth(Math.abs(fall))} (${u.slope(Math.abs(fall) / got.length)})${fall < need ? `, so the lower end lies ${u.depth(need - fall)} deeper than the upper at ${u.slope(aim)}` : ''}${got.highest > 0.05 ? `; a rise ${u.depth(got.highest)} over the straight ${u.length(got.at)} along` : ''}`;
}
function showCheck(p) {
  state.check = p;
  board.stretches = (p.stretches ?? []).map(s => ({ ...s, text: `${s.outside ? 'over' : 'short of'} ${s.against} by ${u.depth(s.short_m)}` }));
  const word = `${short(p.verdict)}: ${u.length(p.length_m)}, nearest ${u.depth(p.least_clearance_m)} to a lot line, ${u.depth(p.least_foundation_clearance_m)} to a foundation${p.length_outside_m ? `, ${u.length(p.length_outside_m)} outside` : ''}`;
  const under = fallOf(), l = $('live'); l.textContent = `Route: ${word}${under ? `; ${under}` : ''}`; l.dataset.ms = String(Math.round(state.checkTime)); l.hidden = false;
  const ul = el('ul', '');
  for (const f of p.findings ?? []) ul.append(el('li', f.severity, `${words(f.severity)}: ${f.message}`));
  $('routeAnswer').replaceChildren(el('p', '', `Your route is ${word}.`), ...(under ? [el('p', '', `Of the ground along it: ${under}.`)] : []), ul, el('p', 'help', 'The check holds the route against lot lines, foundations and what lies in the ground. Falls and sizes come with a plan.'));
  board.draw();
}

// --- moving things -----------------------------------------------------------

function gripsOf() {
  board.handles = [];
  if (!state.doc || !state.lot) return;
  for (const layer of ['intakes', 'obstacles']) site.features(board.doc, layer).forEach((f, index) => {
    if (f.geometry?.type !== 'Point' || String(f.properties?.lot) !== state.lot) return;
    if (layer === 'obstacles' && f.properties.kind !== 'tree') return;
    board.handles.push({ key: `${layer}/${index}`, at: state.plane.toPlane(f.geometry.coordinates), text: String(f.properties.intake ?? f.properties.kind ?? '') });
  });
}
board.handlers.moving = h => livePlan({ ...state.edits, moves: { ...state.edits.moves, [h.key]: state.plane.toDoc(h.at) } });
board.handlers.moved = h => change({ ...state.edits, moves: { ...state.edits.moves, [h.key]: state.plane.toDoc(h.at) } });
let gripped = -1;

// --- what if ---------------------------------------------------------------------

function sliders() {
  const w = state.edits.what, c = state.doc?.criteria ?? {};
  const clear = w.clearance ?? c.clearance?.lot_line_m, slope = w.slope ?? c.pipe?.target_slope, years = w.years ?? c.storm?.return_years;
  const builtIn = ' (built in)';
  $('ifClear').value = String(clear ?? 0.6096); $('ifClearOut').textContent = clear === undefined ? `${u.depth(0.6096)}${builtIn}` : u.depth(clear);
  $('ifSlope').value = String(100 * (slope ?? 0.01)); $('ifSlopeOut').textContent = slope === undefined ? `${u.slope(0.01)}${builtIn}` : u.slope(slope);
  $('ifWall').value = w.wall ?? ''; $('ifTilt').value = w.tilt ?? '';
  const i = yearsOf.indexOf(years ?? 10); $('ifYears').value = String(i < 0 ? 2 : i); $('ifYearsOut').textContent = `${years ?? 10} years${years === undefined ? builtIn : ''}`;
}
const touch = (id, key, value, text) => {
  $(id).oninput = () => { $(`${id}Out`).textContent = text(value()); if (state.doc) livePlan({ ...state.edits, what: { ...state.edits.what, [key]: value() } }); };
  $(id).onchange = () => { if (state.doc) change({ ...state.edits, what: { ...state.edits.what, [key]: value() } }, after); };
};
touch('ifClear', 'clearance', () => Number($('ifClear').value), u.depth);
touch('ifSlope', 'slope', () => +(Number($('ifSlope').value) / 100).toFixed(4), u.slope);
$('ifWall').onchange = e => { if (state.doc) { const what = { ...state.edits.what }; if (e.target.value) what.wall = e.target.value; else delete what.wall; change({ ...state.edits, what }, after); } };
$('ifTilt').onchange = e => { if (state.doc) { const what = { ...state.edits.what }; if (e.target.value) what.tilt = e.target.value; else delete what.tilt; change({ ...state.edits, what }, after); } };
touch('ifYears', 'years', () => yearsOf[Number($('ifYears').value)], y => `${y} years`);
$('ifReset').onclick = () => { if (state.doc) change({ ...state.edits, what: {}, outlet: '' }, after); };

// --- layers and legend ---------------------------------------------------------

function legend() {
  $('layers').replaceChildren(...switches.map(([key, name]) => {
    const l = el('label', 'switch'), box = document.createElement('input');
    box.type = 'checkbox'; box.checked = board.on[key];
    box.onchange = () => { board.on[key] = box.checked; board.draw(); };
    l.append(box, swatch(key), el('span', '', name));
    return l;
  }), el('p', 'help', 'Pipes of the plan are dark: solid pipe a full line, perforated pipe dashed. Red, yellow, orange, blue, green and purple mark existing utilities only. A square marks a stop, a triangle a warning, a ring a note.'));
}
function swatch(key) {
  const c = document.createElement('canvas'), d = 2; c.width = 30 * d; c.height = 16 * d; c.className = 'swatch'; c.setAttribute('aria-hidden', 'true');
  const t = c.getContext('2d'); t.scale(d, d);
  const shape = { spots: 'dot', openings: 'notch', intakes: 'intake', outlets: 'outlet', inlets: 'inlet' }[key];
  if (shape) { symbol(t, shape, 15, 8); return c; }
  const line = (colour, width, dash = [], y = 8) => { t.strokeStyle = colour; t.lineWidth = width; t.setLineDash(dash); t.beginPath(); t.moveTo(1, y); t.lineTo(29, y); t.stroke(); };
  const fill = (colour, edge) => { t.fillStyle = colour; t.fillRect(2, 2, 26, 12); t.strokeStyle = edge ?? colour; t.lineWidth = 1; t.strokeRect(2, 2, 26, 12); };
  switch (key) {
    case 'streets': fill('#bdb6a9'); break;
    case 'parcels': fill('#d8d1c4', '#1f1c19'); break;
    case 'zone': fill('#fffdf8', '#8f8678'); break;
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
    case 'network': line('#1f1c19', 3, [], 5); line('#1f1c19', 3, [4, 4], 12); break;
    case 'marks': t.strokeStyle = '#1f1c19'; t.beginPath(); t.moveTo(15, 2); t.lineTo(22, 14); t.lineTo(8, 14); t.closePath(); t.stroke();
  }
  return c;
}

// --- keep and hand on -----------------------------------------------------------

const download = (name, type, value) => save(name, new Blob([JSON.stringify(value, null, 1)], { type }));
/** @param {string} name @param {Blob} blob */
function save(name, blob) {
  const a = document.createElement('a'), url = URL.createObjectURL(blob);
  a.href = url; a.download = name; a.click(); setTimeout(() => URL.revokeObjectURL(url), 1000);
}
const fileName = end => `${`${state.name}-${state.lot}`.replace(/[^A-Za-z0-9_.-]+/g, '_')}-${end}`;
$('savePlan').onclick = () => download(fileName('plan.json'), 'application/json', state.plan);
$('saveNetwork').onclick = () => download(fileName('network.geojson'), 'application/geo+json', state.plan.network);
$('saveSite').onclick = () => download(fileName('site.json'), 'application/json', site.edited(state.doc, state.edits, state.lot));
$('store').onclick = async () => {
  if (!state.doc) return;
  try {
    const got = await service.store(site.edited(state.doc, state.edits, state.lot), state.source === 'store' || !state.doc.site ? state.name : '', state.source === 'store' ? state.version : 0);
    state.version = got.version;
    tell(`Stored as ${got.site}, version ${got.version}.`); listStored();
  } catch (e) { refuse(e, e.status === 412 ? 'Somebody else stored this site since you opened it; your edits are still here. Open it again, and draw them anew or store under another name' : 'The site was not stored; your edits are still here'); }
};
{
  const size = $('paperSize');
  size.replaceChildren(...sizes.map(([v, t]) => new Option(t, v)));
  $('papers').replaceChildren(...papers.map(([kind, name, formats]) => {
    const li = el('li', ''), group = el('span', 'rows');
    group.append(...formats.map(format => {
      const b = el('button', '', format.toUpperCase()); b.type = 'button'; b.disabled = true; b.setAttribute('aria-label', `${name}, ${format.toUpperCase()}`);
      b.onclick = () => fetchPaper(kind, name, format, b);
      return b;
    }));
    li.append(el('span', '', name), group);
    return li;
  }));
}
/** The service makes the paper from the plan that is shown, which it checks anew. */
async function fetchPaper(kind, name, format, button) {
  if (!state.plan) return;
  button.disabled = true; tell(`${name} is being made…`);
  try {
    const c = criteria(), doc = site.edited(state.doc, { moves: state.edits.moves, route: [] }, state.lot);
    const got = await service.paper(doc, { lots: [state.lot], plan: state.plan, ...(c ? { criteria: c } : {}), options: { kind, format, paper: $('paperSize').value, units: u.isUS() ? 'us' : 'si', ...(format === 'ics' ? { from: new Date().toISOString().slice(0, 10) } : {}) } });
    save(got.name || fileName(`${kind}.${format}`), got.blob);
    tell(`${name}: ${(got.blob.size / 1024).toFixed(0)} KiB of ${format.toUpperCase()}${got.pages > 1 ? `, the first of ${got.pages} pages` : ''}.`);
  } catch (e) { refuse(e, `${name} was not made`); } finally { button.disabled = !state.plan; }
}
$('print').onclick = $('printHere').onclick = () => window.print();
/** The sheet has the findings and the runs on it, whatever is open on the screen. */
let openBefore = [];
window.addEventListener('beforeprint', () => {
  openBefore = [...document.querySelectorAll('.drawers details')].map(d => { const was = d.open; d.removeAttribute('name'); d.open = d.id === 'findingsBox' || d.id === 'runsBox'; return was; });
  board.resize();
});
window.addEventListener('afterprint', () => { [...document.querySelectorAll('.drawers details')].forEach((d, i) => { d.open = openBefore[i]; d.name = 'work'; }); });

// --- where the reader stands -------------------------------------------------------

let watch = 0;
$('whereAmI').onclick = () => {
  const b = $('whereAmI'), on = !watch;
  b.setAttribute('aria-pressed', String(on));
  if (!on) { navigator.geolocation.clearWatch(watch); watch = 0; board.here = null; board.draw(); return; }
  if (!state.plane?.geographic) { b.setAttribute('aria-pressed', 'false'); tell('Your position can be shown on sites in longitude and latitude only.'); return; }
  if (!navigator.geolocation) { b.setAttribute('aria-pressed', 'false'); tell('This browser gives no position.'); return; }
  watch = navigator.geolocation.watchPosition(p => {
    board.here = { at: state.plane.toPlane([p.coords.longitude, p.coords.latitude]), accuracy: p.coords.accuracy };
    nextStake();
    tell(`You are within ${u.length(p.coords.accuracy)} of the ring's middle. This is no survey: never set a stake or find a lot line by it.`);
    board.draw();
  }, e => { navigator.geolocation.clearWatch(watch); watch = 0; b.setAttribute('aria-pressed', 'false'); tell(`No position: ${e.message || 'the browser gives none'}.`); }, { enableHighAccuracy: true });
};

/** The station nearest to the reader, on whichever run it is, with its cut. */
function nextStake() {
  let best = null;
  (state.plan?.profiles ?? []).forEach((p, k) => stations(p).forEach((row, i) => {
    const d = Math.hypot(...state.plane.toPlane(row.at).map((v, n) => v - board.here.at[n]));
    if (!best || d < best.d) best = { d, k, i };
  }));
  if (!best) return;
  if (best.k !== state.profile) { $('profile').selectedIndex = best.k; state.profile = best.k; state.rows = stations(state.plan.profiles[best.k]); }
  if (best.i !== state.station || best.k !== state.profile) stand(best.i, false);
  $('card').prepend(el('p', 'help', `The nearest station to you, ${u.length(best.d)} off.`));
}

// --- keys and the rest -------------------------------------------------------------

$('zoomIn').onclick = () => board.zoom(1.5); $('zoomOut').onclick = () => board.zoom(1 / 1.5);
$('fitLot').onclick = () => board.fitLot(); $('fitSite').onclick = () => board.fitSite();
$('board').addEventListener('keydown', e => {
  if (!state.doc || e.target !== $('board') || e.ctrlKey || e.metaKey || e.altKey) return;
  const step = e.shiftKey ? 100 : 30, arrows = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
  const done = () => e.preventDefault();
  if (arrows[e.key]) {
    const [dx, dy] = arrows[e.key]; done();
    if (board.mode === 'draw') { const s = board.screen(board.cross ?? board.plain([board.width / 2, board.height / 2])); board.cross = board.plain([s[0] - dx / 6, s[1] - dy / 6]); board.show(board.cross); }
    else if (board.mode === 'move' && gripped >= 0 && board.handles[gripped]) { const h = board.handles[gripped], s = board.screen(h.at), g = gripped; h.at = board.plain([s[0] - dx / 6, s[1] - dy / 6]); board.handlers.moved(h); gripped = g; board.show(board.handles[g].at); }
    else board.pan(dx, dy);
    return;
  }
  switch (e.key) {
    case '+': case '=': done(); board.zoom(1.3); break;
    case '-': case '_': done(); board.zoom(1 / 1.3); break;
    case '0': done(); board.fitLot(); break;
    case '9': done(); board.fitSite(); break;
    case 'n': case 'N': done(); if (state.station < state.rows.length - 1) stand(state.station + 1); break;
    case 'p': case 'P': done(); if (state.station > 0) stand(state.station - 1); break;
    case 'd': case 'D': done(); mode('draw'); if (board.mode === 'draw') { board.cross = board.plain([board.width / 2, board.height / 2]); board.draw(); tell(help.draw); } break;
    case 'm': case 'M': done(); if (board.mode === 'move' && board.handles.length) gripped = (gripped + 1) % board.handles.length; else { mode('move'); gripped = board.handles.length ? 0 : -1; }
      if (gripped >= 0) { tell(`${board.handles[gripped].text}: arrows move it, M takes the next.`); board.cross = board.handles[gripped].at; board.show(board.handles[gripped].at); } break;
    case 'Enter': if (board.mode === 'draw' && board.cross) { done(); addPoint(board.snap(board.screen(board.cross)) ?? state.plane.toDoc(board.cross)); } break;
    case 'Backspace': if (board.mode === 'draw') { done(); dropLast(); } break;
    case 'Escape': done(); mode('look'); break;
  }
});
document.addEventListener('keydown', e => {
  if (!(e.ctrlKey || e.metaKey) || e.key.toLowerCase() !== 'z' || (e.target instanceof HTMLInputElement && e.target.type !== 'range')) return;
  e.preventDefault(); if (e.shiftKey) redo(); else undo();
});
$('units').onchange = e => {
  u.setUnits(e.target.value);
  try { localStorage.setItem('fallwright.units', e.target.value); } catch { /* off */ }
  for (const n of document.querySelectorAll('.unitLength')) n.textContent = u.lengthUnit();
  sliders(); showPlan(); if (state.check) showCheck(state.check); board.draw();
};

legend(); sliders(); mode('look');
if (matchMedia('(max-width: 62rem)').matches) $('findingsBox').open = true;
try { const kept = localStorage.getItem('fallwright.units'); if (kept === 'si') { $('units').value = 'si'; u.setUnits('si'); for (const n of document.querySelectorAll('.unitLength')) n.textContent = 'm'; sliders(); } } catch { /* off */ }
service.get('/assets/cautions.json').then(showCautions).catch(e => refuse(e, 'The cautions cannot be shown'));
listStored();
{
  const p = new URLSearchParams(location.hash.slice(1));
  if (p.has('sample')) openSample(p.get('lot') ?? ''); else if (p.get('site')) openStored(p.get('site'), p.get('lot') ?? '');
}
