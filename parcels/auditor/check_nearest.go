package auditor

// The nearest inlet by straight line: the quick question, for a county.

import (
	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

func checkNearest(w *lotWork) error {
	w.nearest(siting.Middle(w.lot.Shape))
	return nil
}

// nearest fills the row with the inlet nearest to a point and how far it is in a
// straight line. Sanitary and combined structures are no target.
func (w *lotWork) nearest(at orb.Point) {
	t := w.a.targets
	i := t.nearest(at)
	if i < 0 {
		return
	}
	w.row.Inlet = ptr(t.id[i])
	w.row.Length, w.row.LengthBy = ptr(round4(unit.Length(dist(at, t.at[i])))), "line"
}

// target says whether a structure may be tied into at all.
func target(in *parcels.Inlet) bool {
	return in.System != parcels.SystemSanitary && in.System != parcels.SystemCombined
}

// tieIn is the level at which a pipe may arrive at an inlet, by the contract's
// order; nil where nothing is known.
func tieIn(in *parcels.Inlet) *unit.Elevation {
	switch {
	case in.TieIn != nil:
		return in.TieIn
	case in.Invert != nil && in.OutgoingDiameter != nil:
		return ptr(in.Invert.Plus(*in.OutgoingDiameter))
	}
	return in.Invert
}

// offLot is how far a point lies beyond a lot; 0 on it.
func offLot(p orb.Point, lot *parcels.Lot) unit.Length {
	if shape.Locate(p, lot.Shape) != shape.Outside {
		return 0
	}
	best := unit.Length(-1)
	for _, l := range ringLines(lot.Shape) {
		if d, _ := shape.PointLine(p, l); best < 0 || d < best {
			best = d
		}
	}
	return best
}
