// Where the reader stands: the browser's position with its accuracy, and the
// station that is next. No survey, and it says so.

import { $, button, el, reason, tell } from './dom';
import { setProfile, stand } from './plan';
import { board, profiles, state } from './state';
import * as u from './units';
import { stations } from './walk';
import { georeference, type Georeference } from './world';
import { crsName, type Plane } from './plane';
import { bounds, features } from './site';
import type { XY } from './answers';

let watch = 0, nearest = '', world: { of: Plane; is: Georeference } | null = null;

function stop(): void { navigator.geolocation.clearWatch(watch); watch = 0; nearest = ''; board.here = null; board.redraw(); button('whereAmI').setAttribute('aria-pressed', 'false'); }
async function toPlane(lon: number, lat: number): Promise<XY | null> {
  const plane = state.plane, box = bounds(features(state.doc, 'parcels'));
  if (!plane || !box) return null;
  if (plane.geographic) return plane.toPlane([lon, lat]);
  if (world?.of !== plane) world = { of: plane, is: await georeference(plane, crsName(state.doc?.crs), box) };
  const s = Math.sin(lat * Math.PI / 180);
  return world.is.plane([lon / 360 + 0.5, 0.5 - Math.log((1 + s) / (1 - s)) / (4 * Math.PI)]);
}

/** The station nearest to the reader, on whichever run it is, with its cut. */
function nextStake(): void {
  const here = board.here, plane = state.plane;
  if (!here || !plane) return;
  let best: { d: number; k: number; i: number } | null = null;
  profiles().forEach((p, k) => stations(p).forEach((row, i) => {
    const q = plane.toPlane(row.at), d = Math.hypot(q[0] - here.at[0], q[1] - here.at[1]);
    if (!best || d < best.d) best = { d, k, i };
  }));
  if (!best) return;
  const { d, k, i } = best as { d: number; k: number; i: number };
  // it follows the reader, who may have walked on by the buttons meanwhile
  const at = `${k}/${i}`, came = at !== nearest;
  nearest = at;
  if (came && (i !== state.station || k !== state.profile)) { if (k !== state.profile) setProfile(k); stand(i, false); }
  if (i !== state.station || k !== state.profile) return;
  $('card').querySelector('.nearest')?.remove();
  $('card').prepend(el('p', 'help nearest', `The nearest station to you, ${u.length(d)} off.`));
}

export function startLocating(): void {
  button('whereAmI').onclick = () => {
    if (watch) { stop(); return; }
    if (!state.plane) { tell('Open a site first.'); return; }
    if (!navigator.geolocation) { tell('This browser gives no position.'); return; }
    button('whereAmI').setAttribute('aria-pressed', 'true');
    watch = navigator.geolocation.watchPosition(p => {
      void toPlane(p.coords.longitude, p.coords.latitude).then(at => {
        if (!at || !watch) return;
        board.here = { at, accuracy: p.coords.accuracy };
        nextStake();
        tell(`You are within ${u.length(p.coords.accuracy)} of the ring's middle. This is no survey: never set a stake or find a lot line by it.`);
        board.redraw();
      }, e => tell(`No position on this site: ${reason(e)}`));
    }, e => { stop(); tell(`No position: ${e.message || 'the browser gives none'}.`); }, { enableHighAccuracy: true });
  };
}
