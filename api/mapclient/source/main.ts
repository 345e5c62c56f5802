// The page: joins its parts to the controls.

import { $, button, choice, el, refuse, tell } from './dom';
import { addPoint, check, choose as take, chosen, dropLast, grips, helpOf, mend, mode, showCheck, startDrawing } from './draw';
import { fitBuilt, startBuilt, takeShots } from './built';
import { startKeeping } from './keep';
import { startLocating } from './locate';
import { chooseLarge, listStored, openNamed, startOpening } from './open';
import { startPanels, workAgain } from './panels';
import { choose, replan, showCautions, showPlan, sliders, stand, startPlan, tellMark } from './plan';
import { DocumentScene } from './scene';
import * as service from './service';
import { remember, remembered, startBackdrop } from './settings';
import { changed } from './site';
import { after, board, redo, state, undo } from './state';
import { swatch, switches } from './style';
import { askSize, dropCorner, place, startThings, takeAway } from './things';
import * as u from './units';

// --- what follows a change ----------------------------------------------------

/** The open document, and the changed one that the scene was made of. */
let made: { doc: unknown; shown: unknown } = { doc: null, shown: null };
after.edit = () => {
  button('undo').disabled = !state.past.length; button('redo').disabled = !state.future.length;
  if (!state.doc || !state.plane) return;
  if (made.doc !== state.doc) made = { doc: state.doc, shown: state.doc }; // opening has made the scene of the document as it is
  const now = changed(state.doc, state.edits);
  if (!state.large && now !== made.shown) board.setScene(new DocumentScene(now, state.plane), state.plane);
  made.shown = now;
  board.setRoute(state.edits.route);
  grips(); board.redraw(); sliders();
};
after.undo = was => {
  const e = state.edits;
  if (e.moves !== was.moves || e.added !== was.added || e.gone !== was.gone || e.what !== was.what || e.outlet !== was.outlet) void replan(); else if (e.shots !== was.shots) void fitBuilt();
  void check(true);
};

board.handlers.mark = tellMark;
board.handlers.view = () => { $('tale').hidden = true; };
board.handlers.pick = name => { if (state.large) void chooseLarge(name); else choose(name); };

// --- layers and legend ---------------------------------------------------------

function legend(): void {
  $('layers').replaceChildren(...switches.map(([key, name]) => {
    const l = el('label', 'switch'), box = document.createElement('input');
    box.type = 'checkbox'; box.checked = !!board.on[key];
    box.onchange = () => { board.on[key] = box.checked; board.repaint(); };
    l.append(box, swatch(key), el('span', '', name));
    return l;
  }), el('p', 'help', 'Pipes of the plan are dark: solid pipe a full line, perforated pipe dashed. Red, yellow, orange, blue, green and purple mark existing utilities only. A square marks a stop, a triangle a warning, a ring a note; a cross is a shot on the laid pipe.'));
}

// --- keys ----------------------------------------------------------------------

let gripped = -1;
$('board').addEventListener('keydown', e => {
  if (!board.scene || !state.plane || e.target !== $('board') || e.ctrlKey || e.metaKey || e.altKey) return;
  const plane = state.plane, step = e.shiftKey ? 100 : 30, middle = () => board.plain([board.width / 2, board.height / 2]);
  const arrow = ({ ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] } as Record<string, [number, number]>)[e.key];
  const done = () => e.preventDefault();
  if (arrow) {
    const [dx, dy] = arrow, h = board.handles[gripped]; done();
    const moved = (p: [number, number]): [number, number] => { const s = board.screen(p); return board.plain([s[0] - dx / 6, s[1] - dy / 6]); };
    if (board.mode === 'draw' || board.mode === 'measure' || board.mode === 'add') { board.cross = moved(board.cross ?? middle()); board.show(board.cross); }
    else if (board.mode === 'move' && h) { h.at = moved(h.at); const g = gripped; board.handlers.moved(h); gripped = g; const now = board.handles[g]; if (now) board.show(now.at); }
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
    case 'd': case 'D': done(); mode('draw'); if (board.mode === 'draw') { board.cross = middle(); board.redraw(); tell(helpOf('draw')); } break;
    case 't': case 'T': done(); mode('add'); if (board.mode === 'add') { board.cross = middle(); board.redraw(); tell(helpOf('add')); } break;
    case 'Delete': if (board.mode === 'move') { done(); takeAway(chosen()); } break;
    case 'l': case 'L': done(); mode('measure'); board.cross = middle(); board.redraw(); tell(helpOf('measure')); break;
    case 'm': case 'M': {
      done();
      if (board.mode === 'move' && board.handles.length) gripped = (gripped + 1) % board.handles.length; else { mode('move'); gripped = board.mode === 'move' && board.handles.length ? 0 : -1; }
      const h = board.handles[gripped];
      if (h) { take(h); tell(`${h.text}: arrows move it, Delete takes it away, M takes the next.`); board.cross = h.at; board.show(h.at); }
      break;
    }
    case 'Enter': {
      if (board.mode === 'look') { done(); const l = board.lotAt(middle()); if (l) board.handlers.pick(l.name); else tell('No lot lies in the middle of the plan: arrows bring one there.'); }
      if (!board.cross) break;
      if (board.mode === 'draw') { done(); addPoint(board.snap(board.screen(board.cross)) ?? plane.toDoc(board.cross)); }
      else if (board.mode === 'measure') { done(); board.handlers.measure(board.cross); }
      else if (board.mode === 'add') { done(); place(board.cross); }
      break;
    }
    case 'a': case 'A': if (board.route.length > 1) { done(); mend(); } break;
    case 'Backspace': if (board.mode === 'draw') { done(); dropLast(); } else if (board.mode === 'add') { done(); dropCorner(); } break;
    case 'Escape': done(); mode('look'); break;
  }
});
document.addEventListener('keydown', e => {
  if (e.key === 'Escape' && !$('report').hidden) button('reportClose').click();
  if (!(e.ctrlKey || e.metaKey) || e.key.toLowerCase() !== 'z' || (e.target instanceof HTMLInputElement && e.target.type !== 'range') || e.target instanceof HTMLTextAreaElement) return;
  e.preventDefault(); if (e.shiftKey) redo(); else undo();
});
button('undo').onclick = undo; button('redo').onclick = redo;
button('zoomIn').onclick = () => board.zoom(1.5); button('zoomOut').onclick = () => board.zoom(1 / 1.5);
button('fitLot').onclick = () => board.fitLot(); button('fitSite').onclick = () => board.fitSite();
button('reportClose').onclick = () => { $('report').hidden = true; $('board').focus({ preventScroll: true }); };

const unitsNow = () => { for (const n of document.querySelectorAll('.unitLength')) n.textContent = u.lengthUnit(); askSize(); sliders(); };
choice('units').onchange = () => {
  u.setUnits(choice('units').value); remember('units', choice('units').value);
  unitsNow(); showPlan(); workAgain(); if (state.check) showCheck(state.check); if (state.built) void fitBuilt(); board.repaint();
};

if (remembered('units') === 'si') { choice('units').value = 'si'; u.setUnits('si'); }
startOpening(takeShots); startPlan(); startPanels(); startDrawing(); startThings(); startBuilt(); startKeeping(); startLocating();
legend(); unitsNow(); mode('look');
if (matchMedia('(max-width: 62rem)').matches) $<HTMLDetailsElement>('findingsBox').open = true;
service.get('/assets/cautions.json').then(showCautions).catch(e => refuse(e, 'The cautions cannot be shown'));
void startBackdrop();
void listStored();
openNamed();
window.addEventListener('hashchange', openNamed); // an address put into this very page
document.documentElement.dataset.ready = 'yes';
