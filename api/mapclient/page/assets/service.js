// The service as the page calls it. An answer that says no becomes a Refusal
// with the service's own words.

let key = '';
/** @param {string} k bearer key; kept in memory only */
export function setKey(k) { key = k.trim(); }

export class Refusal extends Error {
  /** @param {string} title @param {string} detail @param {object[]} faults */
  constructor(title, detail, faults = [], status = 0) {
    super(detail);
    this.title = title;
    this.faults = faults;
    this.status = status;
  }
}

/** @param {string} path @param {RequestInit} [init] */
async function call(path, init = {}) {
  const headers = { Accept: 'application/json, application/geo+json', ...init.headers };
  if (key) headers.Authorization = `Bearer ${key}`;
  let r;
  try {
    r = await fetch(path, { ...init, headers });
  } catch (e) {
    if (e instanceof DOMException && e.name === 'AbortError') throw e;
    throw new Refusal('The service does not answer', 'Nothing you drew is lost: it is kept in this browser. Check that the service runs, then try again.');
  }
  const text = await r.text();
  let body = null;
  try { body = JSON.parse(text); } catch { /* said below */ }
  if (!r.ok) throw new Refusal(body?.title ?? `The service says ${r.status}`, body?.detail ?? 'It gave no reason.', body?.errors ?? [], r.status);
  if (body === null) throw new Refusal('The answer cannot be read', 'The service sent something that is no JSON.');
  return body;
}

/**
 * Runs a process. site is the document, or its text exactly as it was dropped,
 * so that the service judges what is in the file and not what a parser made of it.
 * @param {string} process @param {object|string} site @param {object} more other inputs @param {AbortSignal} [signal]
 */
export function execute(process, site, more = {}, signal) {
  const document = typeof site === 'string' ? site : JSON.stringify(site);
  const rest = JSON.stringify(more).slice(1, -1);
  return call(`/processes/${process}/execution`, {
    method: 'POST', headers: { 'Content-Type': 'application/json' }, signal,
    body: `{"inputs":{"site":${document}${rest ? ',' + rest : ''}}}`,
  });
}

export const get = path => call(path);
/** Text of a document, unparsed. @param {string} path */
export async function text(path) {
  const r = await fetch(path, { headers: key ? { Authorization: `Bearer ${key}` } : {} });
  if (!r.ok) throw new Refusal('It cannot be fetched', `${path}: the service says ${r.status}.`);
  return r.text();
}
/** @param {object} site @param {string} name @param {number} version that it takes the place of; 0: of whatever is there */
export const store = (site, name, version) => call(`/sites?replace=true${name ? '&site=' + encodeURIComponent(name) : ''}`, { method: 'POST', headers: { 'Content-Type': 'application/json', ...(version ? { 'If-Match': `"v${version}"` } : {}) }, body: JSON.stringify(site) });
/** @param {string} path @param {string} type media type @param {Blob} body */
export const upload = (path, type, body) => call(path, { method: 'POST', headers: { 'Content-Type': type }, body });

/**
 * A paper: its bytes, the name that the service gives it, and of how many pages
 * it is the first.
 * @param {object} site @param {object} more other inputs
 */
export async function paper(site, more) {
  const headers = { 'Content-Type': 'application/json', ...(key ? { Authorization: `Bearer ${key}` } : {}) };
  let r;
  try { r = await fetch('/processes/sheet/execution', { method: 'POST', headers, body: JSON.stringify({ inputs: { site, ...more } }) }); } catch {
    throw new Refusal('The service does not answer', 'Nothing you drew is lost: it is kept in this browser. Check that the service runs, then try again.');
  }
  if (!r.ok) {
    let body = null;
    try { body = await r.json(); } catch { /* said below */ }
    throw new Refusal(body?.title ?? `The service says ${r.status}`, body?.detail ?? 'It gave no reason.', body?.errors ?? [], r.status);
  }
  const name = /filename="?([^";]+)"?/.exec(r.headers.get('Content-Disposition') ?? '')?.[1] ?? '';
  return { blob: await r.blob(), name, pages: Number(r.headers.get('Sheet-Count') ?? 0) };
}
