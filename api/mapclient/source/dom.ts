// Elements of the page: finding them, making them, telling things in them.
// Texts of features go in as text, never as markup.

import { Refusal } from './service';

/** The element of an id; a test holds every id asked for to the page. */
export const $ = <T extends HTMLElement = HTMLElement>(id: string): T => document.getElementById(id) as T;
export const button = (id: string) => $<HTMLButtonElement>(id);
export const input = (id: string) => $<HTMLInputElement>(id);
export const choice = (id: string) => $<HTMLSelectElement>(id);

export function el<K extends keyof HTMLElementTagNameMap>(tag: K, cls: string, text?: string): HTMLElementTagNameMap[K] {
  const e = document.createElement(tag);
  if (cls) e.className = cls;
  if (text !== undefined) e.textContent = text;
  return e;
}
/** A button that does something, in words. */
export function act(text: string, then: () => void, cls = ''): HTMLButtonElement {
  const b = el('button', cls, text);
  b.type = 'button'; b.onclick = then;
  return b;
}
/** A name of the service in words. */
export const words = (s: unknown): string => String(s ?? '').replaceAll('_', ' ');
export function facts(pairs: [string, string][]): HTMLElement {
  const d = el('dl', 'facts');
  for (const [k, v] of pairs) d.append(el('dt', '', k), el('dd', '', v));
  return d;
}
/** A table that scrolls sideways where it is too wide. */
export function table(head: string[], rows: (string | HTMLElement)[][], caption = ''): HTMLElement {
  const t = document.createElement('table'), h = t.createTHead().insertRow();
  if (caption) t.createCaption().textContent = caption;
  for (const one of head) { const th = el('th', '', one); th.setAttribute('scope', 'col'); h.append(th); }
  const b = t.createTBody();
  for (const row of rows) { const tr = b.insertRow(); for (const one of row) { const c = tr.insertCell(); if (typeof one === 'string') { c.textContent = one; if (one.length < 16) c.className = 'brief'; } else c.append(one); } }
  const w = el('div', 'wide'); w.tabIndex = 0; w.setAttribute('role', 'region'); w.setAttribute('aria-label', caption || head.filter(Boolean).join(', ')); w.append(t);
  return w;
}

const NS = 'http://www.w3.org/2000/svg';
export function svg<K extends keyof SVGElementTagNameMap>(name: K, attributes: Record<string, string | number>, text?: string): SVGElementTagNameMap[K] {
  const e = document.createElementNS(NS, name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, String(v));
  if (text !== undefined) e.textContent = text;
  return e;
}

/** The verdict line: none, busy, good, unsure or stop; again: what its button tries once more. */
export function say(word: string, text: string, kind = 'none', again?: () => void): void {
  $('verdict').dataset.state = kind;
  $('verdictWord').textContent = word;
  $('verdictText').textContent = text;
  button('again').hidden = !again; button('again').onclick = again ?? null;
}

let quiet = 0, held = '';
const line = (text: string): void => { const l = $('live'); l.textContent = text; l.hidden = !text; };
/** A line on the plan, gone after a few seconds. */
export function tell(text: string): void {
  line(text || held);
  clearTimeout(quiet);
  if (text) quiet = window.setTimeout(() => line(held), 6000);
}
/** A line that stays on the plan, and comes back after others; empty: none does. */
export function hold(text: string): void {
  if (text || $('live').textContent === held) { clearTimeout(quiet); line(text); }
  held = text;
}

/** What is wrong with what was opened, or what was read. */
export function report(title: string, text: string, lines: string[] = []): void {
  $('reportTitle').textContent = title;
  $('reportText').textContent = text;
  $('reportList').replaceChildren(...lines.slice(0, 100).map(l => el('li', '', l)));
  $('report').hidden = false;
}
/** What went wrong, in the service's words, with the place of each fault. */
export function refuse(e: unknown, what: string): void {
  if (e instanceof DOMException && e.name === 'AbortError') return;
  if (!(e instanceof Refusal)) { report(what, e instanceof Error ? e.message : String(e)); return; }
  const [one, ...more] = e.faults;
  report(what, `${e.title}. ${e.message}`, one && !more.length && one.detail === e.message ? [] : e.faults.map(f => `${[f.layer, f.id === undefined ? '' : String(f.id)].filter(Boolean).join(', ')}${f.layer ? ': ' : ''}${f.detail ?? f.slug}`));
}
export const reason = (e: unknown): string => e instanceof Refusal ? `${e.title}. ${e.message}` : e instanceof Error ? e.message : String(e);
