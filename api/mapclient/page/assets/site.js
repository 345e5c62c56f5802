// The site document on the page: reading dropped files, the lots, edits.

export const layerNames = ['parcels', 'streets', 'districts', 'buildings', 'openings', 'easements', 'swales', 'inlets', 'outlets', 'intakes',
  'perforated_runs', 'obstacles', 'drains', 'spots', 'contours', 'breaklines'];

/**
 * Reads what was dropped: one site document, or layer files that are named by
 * their layer (parcels.geojson, inlets.geojson, ...).
 * @param {{name: string, text: string}[]} files
 * @param {object|null} open the site that layer files without parcels are added to
 * @returns {{doc: object, text: string|null, notes: string[]}}
 */
export function read(files, open) {
  const notes = [], layers = {};
  for (const f of files) {
    let v;
    try { v = JSON.parse(f.text.replace(/^\uFEFF/, '')); } catch (e) {
      throw new Error(`${f.name} is no JSON: ${e instanceof Error ? e.message : e}. Give a GeoJSON file or a site document.`);
    }
    if (v && typeof v === 'object' && v.layers && typeof v.layers === 'object') {
      if (files.length > 1) throw new Error(`${f.name} is a whole site document: open it alone, then add layer files.`);
      return { doc: v, text: f.text, notes };
    }
    if (v?.type !== 'FeatureCollection' || !Array.isArray(v.features)) throw new Error(`${f.name} is neither a site document nor a GeoJSON FeatureCollection.`);
    const stem = f.name.replace(/\.[^.]*$/, '').toLowerCase().replace(/[ -]/g, '_');
    if (!layerNames.includes(stem)) throw new Error(`${f.name}: name the file by its layer, one of ${layerNames.join(', ')}.`);
    layers[stem] = v;
    notes.push(`${v.features.length} features into ${stem}.`);
  }
  if (!layers.parcels && !open) throw new Error('There are no lots: add parcels.geojson to the files.');
  const doc = layers.parcels ? { layers } : { ...open, layers: { ...open.layers, ...layers } };
  return { doc, text: null, notes };
}

/** @param {object} doc @param {string} layer @returns {object[]} */
export const features = (doc, layer) => Array.isArray(doc?.layers?.[layer]?.features) ? doc.layers[layer].features.filter(f => f && typeof f === 'object') : [];

/** The name by which the service knows a lot. @param {object} f @param {number} i */
export const lotName = (f, i) => String(f.properties?.lot ?? f.id ?? `#${i}`);

/** Calls back with each position of a geometry. @param {any} g @param {(p: number[]) => void} visit */
export function positions(g, visit) {
  if (!g) return;
  if (g.type === 'GeometryCollection') { for (const one of g.geometries ?? []) positions(one, visit); return; }
  const down = c => { if (!Array.isArray(c)) return; if (typeof c[0] === 'number') { if (Number.isFinite(c[0]) && Number.isFinite(c[1])) visit(c); } else for (const one of c) down(one); };
  down(g.coordinates);
}

/** @param {object[]} list @returns {[number,number,number,number]|null} */
export function bounds(list) {
  const b = [Infinity, Infinity, -Infinity, -Infinity];
  for (const f of list) positions(f.geometry, p => { b[0] = Math.min(b[0], p[0]); b[1] = Math.min(b[1], p[1]); b[2] = Math.max(b[2], p[0]); b[3] = Math.max(b[3], p[1]); });
  return b[0] === Infinity ? null : /** @type {any} */ (b);
}

/**
 * The document with the edits in it. The document itself is left as it is.
 * @param {object} doc @param {{moves: Object<string, number[]>, route: number[][]}} edits @param {string} lot
 */
export function edited(doc, edits, lot) {
  const layers = { ...doc.layers };
  for (const [where, at] of Object.entries(edits.moves)) {
    const [layer, index] = where.split('/');
    const l = layers[layer], f = l?.features?.[+index];
    if (!f || f.geometry?.type !== 'Point') continue;
    const list = [...l.features];
    list[+index] = { ...f, geometry: { ...f.geometry, coordinates: [...at, ...f.geometry.coordinates.slice(2)] } };
    layers[layer] = { ...l, features: list };
  }
  if (edits.route.length > 1) layers.drains = { ...(layers.drains ?? { type: 'FeatureCollection' }), features: [...(layers.drains?.features ?? []), drawn(edits.route, lot)] };
  return { ...doc, layers };
}

/** The drawn route as a drain. @param {number[][]} line @param {string} lot */
export const drawn = (line, lot) => ({ type: 'Feature', id: 'drawn here', geometry: { type: 'LineString', coordinates: line }, properties: { drain: 'drawn here', lot, status: 'proposed', pipe: 'solid' } });

/**
 * What a check of one drawn route needs: ground and intakes are left out, so
 * that a drag is answered at once. The whole site is checked on release.
 * @param {object} doc @param {number[][]} line @param {string} lot
 */
export function forDrag(doc, line, lot) {
  const layers = {};
  for (const name of ['parcels', 'streets', 'districts', 'buildings', 'easements', 'inlets', 'outlets', 'obstacles']) if (doc.layers[name]) layers[name] = doc.layers[name];
  layers.drains = { type: 'FeatureCollection', features: [drawn(line, lot)] };
  return { ...doc, layers };
}
