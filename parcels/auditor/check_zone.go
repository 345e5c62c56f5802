package auditor

// Is there room for a trench inside the line?

import (
	"fmt"

	"fallwright/parcels"
	"fallwright/parcels/siting"
)

func checkZone(w *lotWork) error {
	z, err := w.trench()
	if err != nil {
		return err
	}
	area := round4(z.Area)
	w.row.Zone, w.row.Pieces = &area, ptr(z.Pieces)
	least := w.site.Criteria.Audit.LeastZone
	at := siting.Middle(w.lot.Shape)
	switch {
	case z.Pieces == 0:
		w.find(parcels.Finding{Code: "zone_empty", Severity: parcels.Stop, Location: &at, Measured: ptr(0.0), Unit: "m2", Source: "criteria clearance",
			Message: "There is no room for a trench: " + z.EmptyReason + "."})
	case area < least:
		w.find(parcels.Finding{Code: "zone_small", Severity: parcels.Stop, Location: &at, Measured: ptr(float64(area)), Required: ptr(float64(least)), Unit: "m2", Source: "criteria audit.least_zone_m2",
			Message: fmt.Sprintf("The trench zone has %.2f m2 and counts as none under %.2f m2.", float64(area), float64(least))})
	}
	return nil
}

// checkPassages looks how narrow the zone gets, and whether a trench leads
// through it from end to end.
func checkPassages(w *lotWork) error {
	z, err := w.trench()
	if err != nil || z.Pieces == 0 {
		return err
	}
	g, err := w.siting()
	if err != nil {
		return err
	}
	width := w.site.Criteria.Trench.Width
	pieces := z.Pieces
	if p := z.Passages(g.Lines, g.Barred()); len(p) > 0 {
		w.row.Narrowest = ptr(round4(p[0].Width))
		if p[0].Width <= width {
			// where the middle of a trench may lie tells whether one leads through
			m, err := g.CentreLine(width)
			if err != nil {
				return err
			}
			pieces = m.Pieces
		}
	}
	if pieces > len(w.lot.Shape) && z.Area >= w.site.Criteria.Audit.LeastZone {
		at := siting.Middle(w.lot.Shape)
		w.find(parcels.Finding{Code: "zone_in_pieces", Severity: parcels.Warn, Location: &at, Measured: ptr(float64(pieces)), Required: ptr(float64(len(w.lot.Shape))), Source: "criteria clearance",
			Message: fmt.Sprintf("The trench zone is in %d pieces for a trench of %.3f m: none leads from one to another.", pieces, float64(width))})
	}
	return nil
}
