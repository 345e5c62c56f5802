// What the reader set for this browser: units, and the background.

import type { Box } from './answers';
import { Backdrop, isTemplate } from './backdrop';
import { $, button, choice, input, reason, tell } from './dom';
import { crsName } from './plane';
import * as service from './service';
import { board, state } from './state';
import { georeference } from './world';

export function remembered(name: string): string { try { return localStorage.getItem(`fallwright.${name}`) ?? ''; } catch { return ''; } }
export function remember(name: string, value: string): void { try { if (value) localStorage.setItem(`fallwright.${name}`, value); else localStorage.removeItem(`fallwright.${name}`); } catch { /* storage is off */ } }

/** Addresses that the service was started with; its content policy lets their origins through and no others. */
let offered: string[] = [];
const host = (t: string): string => { try { return new URL(t.replace(/[{}]/g, '')).origin; } catch { return ''; } };
const own = 'own';

let said: Promise<{ tiles: string[]; store: boolean }> | null = null;
/** What the service was started with: addresses of backgrounds, and whether it keeps sites. Where it does not say, it is asked again. */
export const settings = (): Promise<{ tiles: string[]; store: boolean }> => said ??= service.get('/assets/settings.json').catch(() => { said = null; return { tiles: [], store: false }; });

export async function startBackdrop(): Promise<void> {
  offered = (await settings()).tiles;
  const select = choice('backdrop'), kept = remembered('backdrop');
  select.replaceChildren(new Option('none', ''), ...offered.map(t => new Option(host(t).replace(/^https?:\/\//, ''), t)), new Option('an own address…', own));
  const isOwn = kept !== '' && !offered.includes(kept);
  select.value = isOwn ? own : kept;
  input('backdropAddress').value = isOwn ? kept : '';
  $('backdropOwn').hidden = !isOwn;
  help();
  select.onchange = () => {
    $('backdropOwn').hidden = select.value !== own;
    if (select.value === own) { input('backdropAddress').focus(); return; }
    remember('backdrop', select.value); showBackdrop();
  };
  $<HTMLFormElement>('backdropOwn').onsubmit = e => {
    e.preventDefault();
    const t = input('backdropAddress').value.trim();
    if (t && !isTemplate(t)) { tell('The address does not say where a tile goes: {z}, {x} and {y}, or for WMTS {TileMatrix}, {TileCol} and {TileRow}.'); return; }
    if (t && host(t) !== location.origin && !offered.some(o => host(o) === host(t))) { tell(`This service lets the page fetch no pictures from ${host(t)}. Start it with --tiles "${t}".`); return; }
    remember('backdrop', t); showBackdrop();
  };
  button('backdropUse').disabled = false;
  showBackdrop();
}
function help(): void {
  $('backdropHelp').textContent = offered.length ? 'Pictures of the chosen address lie under the plan. They show no lot line and no pipe to be trusted.' : 'Nothing is fetched from outside. To lay a background under the plan, start the service with --tiles and the address of its tiles (XYZ or WMTS).';
}

/** The box of the site in its document's coordinates. */
function siteBox(): Box | null {
  const b = board.scene?.bounds, plane = state.plane;
  return b && plane ? [...plane.toDoc([b[0], b[1]]), ...plane.toDoc([b[2], b[3]])] : null;
}
/** Lays the chosen background under what is open. */
export function showBackdrop(box: Box | null = siteBox()): void {
  const template = remembered('backdrop'), plane = state.plane;
  board.backdrop = null;
  board.sheet.dataset.backdrop = 'none';
  if (!template || !plane || !state.doc || !box || (host(template) !== location.origin && !offered.some(o => host(o) === host(template)))) { board.repaint(); return; }
  georeference(plane, crsName(state.doc.crs), box).then(world => {
    if (state.plane !== plane) return;
    board.backdrop = new Backdrop(template, world, came => { board.sheet.dataset.backdrop = 'shown'; board.repaint(came); }, () => tell(`No background came from ${host(template)}.`));
    board.repaint();
  }, e => tell(`The background is not shown: ${reason(e)}`));
}
