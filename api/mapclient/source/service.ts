// The service as the page calls it. An answer that says no becomes a Refusal
// with the service's own words.

import type { Collection, Properties, SiteDocument } from './answers';

let key = '';
/** The bearer key; kept in memory only. */
export function setKey(k: string): void { key = k.trim(); }

export class Refusal extends Error {
  constructor(readonly title: string, detail: string, readonly faults: Properties[] = [], readonly status = 0) { super(detail); }
}

const unreachable = () => new Refusal('The service does not answer', 'Nothing you drew is lost: it is kept in this browser. Check that the service runs, then try again.');

async function send(path: string, init: RequestInit = {}): Promise<Response> {
  const headers = new Headers(init.headers);
  if (key) headers.set('Authorization', `Bearer ${key}`);
  let r: Response;
  try { r = await fetch(path, { ...init, headers }); } catch (e) {
    if (e instanceof DOMException && e.name === 'AbortError') throw e;
    throw unreachable();
  }
  if (r.ok) return r;
  let body: any = null;
  try { body = await r.json(); } catch { /* said below */ }
  throw new Refusal(body?.title ?? `The service says ${r.status}`, body?.detail ?? 'It gave no reason.', body?.errors ?? [], r.status);
}

async function call(path: string, init: RequestInit = {}): Promise<any> {
  const r = await send(path, { ...init, headers: { Accept: 'application/json, application/geo+json', ...(init.headers as Record<string, string> | undefined) } });
  try { return await r.json(); } catch (e) {
    if (e instanceof DOMException && e.name === 'AbortError') throw e;
    throw new Refusal('The answer cannot be read', 'The service sent something that is no JSON.');
  }
}

/** Layers do not change once they are in a document: each is written out once. */
const written = new WeakMap<Collection, string>();
/** A site document as JSON. */
export function writeSite(site: SiteDocument): string {
  const { layers, ...rest } = site;
  const parts = Object.entries(layers).map(([name, l]) => {
    let t = written.get(l);
    if (t === undefined) { t = JSON.stringify(l); written.set(l, t); }
    return `${JSON.stringify(name)}:${t}`;
  });
  const head = JSON.stringify(rest).slice(0, -1);
  return `${head}${head.length > 1 ? ',' : ''}"layers":{${parts.join(',')}}}`;
}

/** A site as an input: a document, its text exactly as it was dropped (so that
 * the service judges what is in the file and not what a parser made of it), or
 * the name of a stored one. */
export type SiteInput = SiteDocument | { text: string } | { stored: string };
const siteText = (s: SiteInput): string => 'stored' in s ? JSON.stringify(s.stored) : typeof (s as { text?: unknown }).text === 'string' ? (s as { text: string }).text : writeSite(s as SiteDocument);
const inputs = (site: SiteInput, more: object): string => { const rest = JSON.stringify(more).slice(1, -1); return `{"inputs":{"site":${siteText(site)}${rest ? ',' + rest : ''}}}`; };

/** Runs a process; more are its other inputs. */
export function execute(process: string, site: SiteInput, more: object = {}, signal?: AbortSignal): Promise<any> {
  return call(`/processes/${process}/execution`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, ...(signal ? { signal } : {}), body: inputs(site, more) });
}

export const get = (path: string, signal?: AbortSignal): Promise<any> => call(path, signal ? { signal } : {});
/** Text of a document, unparsed. */
export const text = async (path: string): Promise<string> => (await send(path)).text();
/** Bytes; null where there are none. */
export async function bytes(path: string, signal?: AbortSignal): Promise<ArrayBuffer | null> {
  const r = await send(path, signal ? { signal } : {});
  return r.status === 204 ? null : r.arrayBuffer();
}
/** version: that it takes the place of; 0: of whatever is there. */
export const store = (site: SiteDocument, name: string, version: number): Promise<any> => call(`/sites?replace=true${name ? '&site=' + encodeURIComponent(name) : ''}`, { method: 'POST', headers: { 'Content-Type': 'application/json', ...(version ? { 'If-Match': `"v${version}"` } : {}) }, body: writeSite(site) });
export const upload = (path: string, type: string, body: Blob): Promise<any> => call(path, { method: 'POST', headers: { 'Content-Type': type }, body });

/** A paper: its bytes, the name that the service gives it, and of how many pages it is the first. */
export async function paper(site: SiteInput, more: object): Promise<{ blob: Blob; name: string; pages: number }> {
  const r = await send('/processes/sheet/execution', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: inputs(site, more) });
  const name = /filename="?([^";]+)"?/.exec(r.headers.get('Content-Disposition') ?? '')?.[1] ?? '';
  return { blob: await r.blob(), name, pages: Number(r.headers.get('Sheet-Count') ?? 0) };
}
