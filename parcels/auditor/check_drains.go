package auditor

// Do drains stray over the line, or come too close to it?

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
)

func checkDrains(w *lotWork) error {
	if !w.a.site.Supplied[parcels.LayerDrains] {
		return nil // not asked of: the row says nothing
	}
	var out unit.Length
	for i := range w.site.Drains {
		d := &w.site.Drains[i]
		if !w.ownDrain(d) {
			continue
		}
		o, err := w.drain(d)
		if err != nil {
			return err
		}
		out += o
	}
	w.row.DrainsOutside = ptr(round4(out))
	return nil
}

// ownDrain says whether a drain is the lot's: it names it, or names none and
// more of it lies on the lot than on any other.
func (w *lotWork) ownDrain(d *parcels.Drain) bool {
	if d.Lot != "" {
		return d.Lot == w.lot.ID
	}
	own := total(within(d.Line, w.lot.Shape))
	if own == 0 {
		return false
	}
	lots := w.neighbours()
	for i := range lots {
		o := &lots[i]
		if o.ID == w.lot.ID || !o.Shape.Bound().Intersects(d.Line.Bound()) {
			continue
		}
		t := total(within(d.Line, o.Shape))
		if t > own || t == own && o.Index < w.lot.Index {
			return false
		}
	}
	return true
}

// drain tells of one drain and returns the length of its middle beyond the lot,
// less a last run that may leave it.
func (w *lotWork) drain(d *parcels.Drain) (unit.Length, error) {
	c := w.site.Criteria
	g, err := w.siting()
	if err != nil {
		return 0, err
	}
	line := d.Line
	end, inlet := w.lastRun(d.Line)
	if inlet != "" {
		over := total(outside(d.Line, w.lot.Shape))
		if over > 0 {
			w.find(parcels.Finding{Code: "tie_in_permission", Severity: parcels.Warn, Feature: d.ID, Location: ptr(d.Line[len(d.Line)-1]), Source: "P-55",
				Measured: ptr(float64(over)), Required: ptr(float64(c.TieIn.Reach)), Unit: "m",
				Message: fmt.Sprintf("Drain %s leaves the lot for its last %.3f m to inlet %s: that needs written permission.", d.ID, float64(over), inlet)})
		}
		line = shape.Substring(d.Line, 0, end)
	}
	if shape.Length(line) == 0 {
		return 0, nil
	}
	k, err := zone.CheckLine(line, c.Trench.Width, g.Lines, nil, c.Clearance.FencePost)
	if err != nil {
		return 0, err
	}
	over := k.LengthOffLot
	if over > 0 {
		// how far the middle strays, measured from the nearest line of the lot
		far, at := unit.Length(0), orb.Point{}
		for _, s := range outside(line, w.lot.Shape) {
			far, at = w.farthest(shape.Substring(line, s.from, s.to), far, at)
		}
		w.find(parcels.Finding{Code: "drain_outside", Severity: parcels.Stop, Feature: d.ID, Location: ptr(at), Measured: ptr(float64(far)), Required: ptr(0.0), Unit: "m", Source: "P-52",
			Message: fmt.Sprintf("Drain %s lies over the lot line for %.3f m, by up to %.3f m, on %s.", d.ID, float64(over), float64(far), w.whose(at))})
		return over, nil
	}
	if s := k.Worst(); s != nil {
		w.find(parcels.Finding{Code: "drain_too_close", Severity: parcels.Stop, Feature: d.ID, Location: ptr(s.Worst), Measured: ptr(float64(s.Measured)), Required: ptr(float64(s.Required)), Unit: "m", Source: "P-50",
			Message: fmt.Sprintf("The trench of drain %s (taken as %.3f m wide) comes within %.3f m of the lot line for %.3f m; %.3f m are asked for.",
				d.ID, float64(c.Trench.Width), math.Max(0, float64(s.Measured)), float64(k.LengthOutside), float64(s.Required))})
	}
	return 0, nil
}

// farthest looks along a line for the point farthest beyond the lot: at its
// vertices and, since the lot's line may bend the other way, between them.
func (w *lotWork) farthest(l orb.LineString, far unit.Length, at orb.Point) (unit.Length, orb.Point) {
	look := func(p orb.Point) {
		if o := offLot(p, w.lot); o > far {
			far, at = o, p
		}
	}
	for k, v := range l {
		look(v)
		for q := 1; k > 0 && q < 8; q++ {
			t := float64(q) / 8
			look(orb.Point{l[k-1][0] + t*(v[0]-l[k-1][0]), l[k-1][1] + t*(v[1]-l[k-1][1])})
		}
	}
	return far, at
}

// whose names the ground that a place beyond the lot lies on.
func (w *lotWork) whose(at orb.Point) string {
	lots := w.neighbours()
	for i := range lots {
		if o := &lots[i]; o.ID != w.lot.ID && shape.Locate(at, o.Shape) != shape.Outside {
			return "lot " + o.ID
		}
	}
	return "no lot"
}

// lastRun finds where a drain that ends at an inlet leaves the lot for good, no
// farther from its end than the reach; the inlet is "" where it does not.
func (w *lotWork) lastRun(l orb.LineString) (unit.Length, string) {
	end := l[len(l)-1]
	for i := range w.site.Inlets {
		in := &w.site.Inlets[i]
		// a structure is about a metre across
		if !target(in) || dist(in.At, end) > 1 {
			continue
		}
		whole := shape.Length(l)
		from := max(0, whole-w.site.Criteria.TieIn.Reach)
		for _, s := range outside(l, w.lot.Shape) {
			if s.to == whole && s.from >= from {
				return s.from, in.ID
			}
		}
		return from, in.ID
	}
	return 0, ""
}
