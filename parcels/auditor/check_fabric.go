package auditor

import "fallwright/geo/zone"

// Do parcels fit together? Each pair is told of once, on the lot that stands
// first in the site; that a lot lies within another, on that lot.

func checkFabric(w *lotWork) error {
	for _, b := range w.a.fabric.Borders(w.at) {
		if b.B > b.A || b.Kind == zone.Within && b.Width > 0 {
			w.find(b.Finding)
		}
	}
	return nil
}
