package auditor

// Do parcels fit together? Each pair is told of once, on the lot that stands
// first in the site.

func checkFabric(w *lotWork) error {
	for _, b := range w.a.fabric.Borders(w.at) {
		if b.B > b.A {
			w.find(b.Finding)
		}
	}
	return nil
}
