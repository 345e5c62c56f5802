// Keeping and handing on: downloads, the store, papers, print.

import { $, button, choice, el, refuse, tell } from './dom';
import { listStored } from './open';
import { papers, sizes } from './papers';
import { fillNow } from './panels';
import * as service from './service';
import { edited } from './site';
import { board, criteria, site, state } from './state';
import * as u from './units';

const download = (name: string, type: string, value: unknown): void => save(name, new Blob([JSON.stringify(value, null, 1)], { type }));
function save(name: string, blob: Blob): void {
  const a = document.createElement('a'), url = URL.createObjectURL(blob);
  a.href = url; a.download = name; a.click(); setTimeout(() => URL.revokeObjectURL(url), 1000);
}
const fileName = (end: string): string => `${`${state.name}-${state.lot}`.replace(/[^A-Za-z0-9_.-]+/g, '_')}-${end}`;
const withEdits = () => edited(state.doc!, state.edits, state.lot);

/** The service makes the paper from the plan that is shown, which it checks anew. */
async function fetchPaper(kind: string, name: string, format: string, b: HTMLButtonElement): Promise<void> {
  if (!state.plan) return;
  b.disabled = true; tell(`${name} is being made…`);
  try {
    const got = await service.paper(site(), { lots: [state.lot], plan: state.plan, ...criteria(), options: { kind, format, paper: choice('paperSize').value, units: u.isUS() ? 'us' : 'si', ...(format === 'ics' ? { from: new Date().toISOString().slice(0, 10) } : {}) } });
    save(got.name || fileName(`${kind}.${format}`), got.blob);
    tell(`${name}: ${(got.blob.size / 1024).toFixed(0)} KiB of ${format.toUpperCase()}${got.pages > 1 ? `, the first of ${got.pages} pages` : ''}.`);
  } catch (e) { refuse(e, `${name} was not made`); } finally { b.disabled = !state.plan; }
}

export function startKeeping(): void {
  button('savePlan').onclick = () => download(fileName('plan.json'), 'application/json', state.plan);
  button('saveNetwork').onclick = () => download(fileName('network.geojson'), 'application/geo+json', state.plan?.network);
  button('saveSite').onclick = () => { if (state.doc) download(fileName('site.json'), 'application/json', withEdits()); };
  button('store').onclick = async () => {
    if (!state.doc) { tell('Open a site first: there is nothing to store.'); return; }
    if (state.large) { tell('This site is in the store, and nothing of it was changed here.'); return; }
    try {
      const got = await service.store(withEdits(), state.source === 'store' || !state.doc.site ? state.name : '', state.source === 'store' ? state.version : 0);
      state.version = got.version;
      tell(`Stored as ${got.site}, version ${got.version}.`); void listStored();
    } catch (e) { refuse(e, e instanceof service.Refusal && e.status === 412 ? 'Somebody else stored this site since you opened it; your edits are still here. Open it again, and draw them anew or store under another name' : 'The site was not stored; your edits are still here'); }
  };
  choice('paperSize').replaceChildren(...sizes.map(([v, t]) => new Option(t, v)));
  $('papers').replaceChildren(...papers.map(([kind, name, formats]) => {
    const li = el('li', ''), group = el('span', 'rows');
    group.append(...formats.map(format => {
      const b = el('button', '', format.toUpperCase()); b.type = 'button'; b.disabled = true; b.setAttribute('aria-label', `${name}, ${format.toUpperCase()}`);
      b.onclick = () => void fetchPaper(kind, name, format, b);
      return b;
    }));
    li.append(el('span', '', name), group);
    return li;
  }));
  button('print').onclick = button('printHere').onclick = () => window.print();
  // the sheet has the findings and the runs on it, whatever is open on the screen
  let before: boolean[] = [];
  const drawers = () => [...document.querySelectorAll<HTMLDetailsElement>('.drawers details')];
  window.addEventListener('beforeprint', () => {
    before = drawers().map(d => { const was = d.open; d.removeAttribute('name'); d.open = d.id === 'findingsBox' || d.id === 'runsBox'; return was; });
    fillNow('runsBox');
    board.resize();
  });
  window.addEventListener('afterprint', () => { drawers().forEach((d, i) => { d.open = before[i] ?? false; d.name = 'work'; }); });
}
