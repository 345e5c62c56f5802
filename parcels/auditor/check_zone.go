package auditor

// Is there room for a trench inside the line?

import (
	"fmt"

	"fallwright/parcels"
)

func checkZone(w *lotWork) error {
	z, err := w.trench()
	if err != nil {
		return err
	}
	area := round4(z.Area)
	w.row.Zone, w.row.Pieces = &area, ptr(z.Pieces)
	g, err := w.siting()
	if err != nil {
		return err
	}
	pieces := z.Pieces
	if p := z.Passages(g.Lines, g.Barred()); len(p) > 0 {
		w.row.Narrowest = ptr(round4(p[0].Width))
		if p[0].Width <= w.site.Criteria.Trench.Width {
			// where the middle of a trench may lie tells whether one leads through
			m, err := g.CentreLine(w.site.Criteria.Trench.Width)
			if err != nil {
				return err
			}
			pieces = m.Pieces
		}
	}
	least := w.site.Criteria.Audit.LeastZone
	at := inner(w.lot.Shape)
	switch {
	case z.Pieces == 0:
		w.find(parcels.Finding{Code: "zone_empty", Severity: parcels.Stop, Location: &at, Measured: ptr(0.0), Unit: "m2", Source: "criteria clearance",
			Message: "There is no room for a trench: " + z.EmptyReason + "."})
	case area < least:
		w.find(parcels.Finding{Code: "zone_small", Severity: parcels.Stop, Location: &at, Measured: ptr(float64(area)), Required: ptr(float64(least)), Unit: "m2", Source: "criteria audit.least_zone_m2",
			Message: fmt.Sprintf("The trench zone has %.2f m2 and counts as none under %.2f m2.", float64(area), float64(least))})
	case pieces > len(w.lot.Shape):
		w.find(parcels.Finding{Code: "zone_in_pieces", Severity: parcels.Warn, Location: &at, Measured: ptr(float64(pieces)), Required: ptr(float64(len(w.lot.Shape))), Source: "P-174",
			Message: fmt.Sprintf("The trench zone is in %d pieces for a trench of %.3f m: none leads from one to another.", pieces, float64(w.site.Criteria.Trench.Width))})
	}
	return nil
}
