package auditor

// Do parcels fit together? Each pair is told of once, on the lot that stands
// first in the site.

import (
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
)

const (
	// leastBorder is what neighbouring lines may differ by and still be one line
	// drawn twice; mostBorder where a strip is an alley and no gap any more:
	// P-34 has 0.1 to 1 ft.
	leastBorder unit.Length = 0.005
	mostBorder  unit.Length = 0.5
)

func checkFabric(w *lotWork) error {
	n := w.a.fabric.Neighbours()
	for _, b := range n.Borders(w.at, leastBorder, mostBorder) {
		if b.B < b.A {
			continue
		}
		other := &w.a.site.Lots[b.B]
		if b.Kind == zone.Gap && w.held(b.At) {
			continue
		}
		wide := fmt.Sprintf("up to %.3f m", float64(b.Width))
		if b.Width >= mostBorder-1e-6 {
			// the two lines part: beyond this it is an alley, not a gap
			wide = fmt.Sprintf("%.1f m or more", float64(mostBorder))
		}
		f := parcels.Finding{Code: "parcels_gap", Severity: parcels.Note, Feature: other.ID, Location: ptr(b.At), Measured: ptr(float64(b.Width)), Required: ptr(0.0), Unit: "m", Source: "P-34",
			Message: fmt.Sprintf("Between lots %s and %s lies a strip of no lot, %s wide over %.1f m.", w.lot.ID, other.ID, wide, float64(b.Length))}
		if b.Kind == zone.Overlap {
			f.Code, f.Severity, f.NotProven = "parcels_overlap", parcels.Warn, true
			f.Message = fmt.Sprintf("Lots %s and %s overlap, by up to %.3f m over %.1f m.", w.lot.ID, other.ID, float64(b.Width), float64(b.Length))
			f.Cure = "Have the line between them found on the plat or by survey."
		}
		w.find(f)
	}
	return nil
}

// held says whether the ground between a place on a neighbour's line and the
// lot belongs to some lot: the far side of a sliver is no gap, nor is a lot that
// lies between two others.
func (w *lotWork) held(at orb.Point) bool {
	near, q := unit.Length(-1), at
	for _, l := range ringLines(w.lot.Shape) {
		if d, p := shape.PointLine(at, l); near < 0 || d < near {
			near, q = d, p
		}
	}
	mid := orb.Point{(at[0] + q[0]) / 2, (at[1] + q[1]) / 2}
	lots := w.neighbours()
	for i := range lots {
		if shape.Locate(mid, lots[i].Shape) != shape.Outside {
			return true
		}
	}
	return false
}
