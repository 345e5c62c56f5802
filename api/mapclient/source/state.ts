// What is open, what was changed and what the service answered; every part of
// the page reads and sets it here.

import type { Built, Plan, Profile, Station } from './answers';
import type { SiteDocument } from './answers';
import { Board } from './board';
import { $ } from './dom';
import type { Plane } from './plane';
import * as service from './service';
import { changed, noEdits, untouched, type Edits } from './site';

export const state = {
  doc: null as SiteDocument | null,
  /** The stored site whose lots are more than a browser should hold: doc then has what lies round the chosen lot. */
  large: '',
  name: '', plane: null as Plane | null, lot: '',
  edits: noEdits(), past: [] as Edits[], future: [] as Edits[],
  plan: null as Plan | null,
  /** The plan under the site's own rules, to stand beside a changed one. */
  base: null as Plan | null,
  check: null as Record<string, any> | null,
  built: null as Built | null,
  rows: [] as Station[], station: 0, profile: 0,
  /** sample, file or store; mark tells files apart that have the same name. */
  source: '', mark: '', version: 0,
};
export const board = new Board($('board'));

export const profiles = (): Profile[] => state.plan?.profiles ?? [];

/** The site's criteria with the sliders over them; nothing where none was touched. */
export function criteria(w = state.edits.what): { criteria: Record<string, any> } | Record<string, never> {
  // the tilt of the ground is no criterion: it goes along as a what-if
  if (!Object.keys(w).some(k => k !== 'tilt')) return {};
  const c = structuredClone(state.doc?.criteria ?? {});
  if (w.clearance !== undefined) c.clearance = { ...c.clearance, lot_line_m: w.clearance };
  if (w.slope !== undefined) { c.pipe = { ...c.pipe, target_slope: w.slope }; if (w.slope < (c.pipe.least_slope ?? 0.005)) c.pipe.least_slope = w.slope; }
  if (w.wall) c.pipe = { ...c.pipe, wall: w.wall };
  if (w.years !== undefined) c.storm = { ...c.storm, return_years: w.years };
  return { criteria: c };
}

/** The site as the service is to work on it: with what was moved, added and taken away, and for a large site that nobody changed, by its name. */
export function site(e: Edits = state.edits): service.SiteInput {
  if (state.large && untouched(e)) return { stored: state.large };
  return changed(state.doc!, e);
}

// --- edits -------------------------------------------------------------------

/** What follows a change: the parts of the page that show what was changed. */
export const after = { edit: () => { }, undo: (_was: Edits) => { } };

const keep = (): string => `fallwright.edits.${state.source}.${state.name}${state.mark}`;
export function change(next: Edits, then: () => void): void {
  state.past.push(state.edits); if (state.past.length > 200) state.past.shift();
  state.future = []; state.edits = next;
  settle(then);
}
function settle(then: () => void): void { save(); after.edit(); then(); }
function save(): void {
  try {
    if (JSON.stringify(state.edits) === JSON.stringify(noEdits())) localStorage.removeItem(keep());
    else localStorage.setItem(keep(), JSON.stringify({ edits: state.edits, lot: state.lot }));
  } catch { /* storage is off or full: the edits live as long as the page */ }
}
/** Another lot is chosen: the end chosen and the shots were of the one before, in what undo goes back to as well. */
export function leaveLot(): void {
  const bare = (e: Edits): Edits => e.outlet || e.shots ? { ...e, outlet: '', shots: null } : e;
  const same = (a: Edits, b: Edits | undefined): boolean => !!b && (Object.keys(a) as (keyof Edits)[]).every(k => a[k] === b[k]);
  state.edits = bare(state.edits);
  const past = state.past.map(bare), future = state.future.map(bare);
  // a step that changed nothing else is none any more
  state.past = past.filter((e, i) => !same(e, past[i + 1] ?? state.edits));
  state.future = future.filter((e, i) => !same(e, future[i + 1] ?? state.edits));
  save(); after.edit();
}
export function undo(): void { const p = state.past.pop(), was = state.edits; if (!p) return; state.future.push(was); state.edits = p; settle(() => after.undo(was)); }
export function redo(): void { const n = state.future.pop(), was = state.edits; if (!n) return; state.past.push(was); state.edits = n; settle(() => after.undo(was)); }
/** The edits of this site that this browser kept, taken up again; gives the lot that they were of. */
export function restore(): string | null {
  let kept: { edits?: Edits; lot?: string } | null = null;
  try { kept = JSON.parse(localStorage.getItem(keep()) ?? 'null'); } catch { /* not ours */ }
  if (!kept?.edits || !Array.isArray(kept.edits.route)) return null;
  state.past = [noEdits()];
  state.edits = { ...noEdits(), ...kept.edits };
  return kept.lot ?? '';
}
