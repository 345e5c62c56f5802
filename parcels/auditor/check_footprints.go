package auditor

// Does a building stand over the setback, over the line, or in an easement?

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

// speck is the overlap that is told of at least: a hundredth of a square metre,
// the grain of mapped outlines.
const speck unit.Area = 0.01

func checkFootprints(w *lotWork) error {
	for i := range w.site.Buildings {
		b := &w.site.Buildings[i]
		if b.Lot == "" && !meets(boxOf(b.Shape), w.box) || !w.owns(b) {
			continue
		}
		if err := w.footprint(b); err != nil {
			return err
		}
	}
	return nil
}

func (w *lotWork) footprint(b *parcels.Building) error {
	walls, err := siting.Walls(b)
	if err != nil {
		return err
	}
	name := siting.Label(b.Common)
	// over the line
	crosses := false
	if !w.holdsAll(walls) {
		for _, p := range walls {
			for _, r := range p {
				crosses = crosses || len(outside(orb.LineString(r), w.lot.Shape)) > 0
			}
		}
	}
	if crosses {
		rest, err := without(walls, w.lot.Shape)
		if err != nil {
			return err
		}
		if a := shape.Area(rest); a > speck {
			w.find(parcels.Finding{Code: "building_over_line", Severity: parcels.Stop, Feature: name, Location: ptr(siting.Middle(rest)), Measured: ptr(float64(a)), Required: ptr(0.0), Unit: "m2", Source: "the lot line as given",
				Message: fmt.Sprintf("Building %s stands over the lot line with %.2f m2.", name, float64(a))})
		}
	}
	// in an easement
	box := boxOf(walls)
	for i := range w.site.Easements {
		e := &w.site.Easements[i]
		area, err := easementShape(e)
		if err != nil {
			return err
		}
		if area == nil || !meets(boxOf(area), box) {
			continue
		}
		a, spot, err := common(walls, area)
		if err != nil {
			return err
		}
		if a <= speck {
			continue
		}
		w.find(parcels.Finding{Code: "building_in_easement", Severity: parcels.Stop, Feature: name, Location: &spot, Measured: ptr(float64(a)), Required: ptr(0.0), Unit: "m2", Source: "P-37",
			Message: fmt.Sprintf("Building %s stands in %s easement %s with %.2f m2.", name, e.Kind, e.ID, float64(a))})
	}
	return w.setback(b, walls, name)
}

// holdsAll says that a convex lot holds an area: no corner of it lies beyond any
// of the lot's edges. Of other lots it says nothing.
func (w *lotWork) holdsAll(mp orb.MultiPolygon) bool {
	if len(w.lot.Shape) != 1 || len(w.lot.Shape[0]) != 1 || !convex(w.lot.Shape[0][0]) {
		return false
	}
	ring := w.lot.Shape[0][0]
	for e := 1; e < len(ring); e++ {
		for _, p := range mp {
			for _, v := range p[0] {
				if shape.Orient(ring[e-1], ring[e], v) < 0 {
					return false
				}
			}
		}
	}
	return true
}

// setback finds the lot edge that the walls come too close to, by role.
func (w *lotWork) setback(b *parcels.Building, walls orb.MultiPolygon, name string) error {
	sb := w.site.Criteria.BuildingSetback
	if sb.Front == nil && sb.Side == nil && sb.Rear == nil {
		return nil
	}
	roles, err := w.roles()
	if err != nil {
		return err
	}
	at := siting.Middle(walls)
	if roles == nil {
		w.find(parcels.Finding{Code: "setback_not_proven", Severity: parcels.Warn, Feature: name, Location: &at, NotProven: true,
			Message: "The setback of building " + name + " cannot be judged: the roles of the lot's lines are not known.", Cure: "Give line_roles for lot " + w.lot.ID + "."})
		return nil
	}
	for _, role := range []parcels.LineRole{parcels.Front, parcels.Side, parcels.Rear} {
		need := map[parcels.LineRole]*unit.Length{parcels.Front: sb.Front, parcels.Side: sb.Side, parcels.Rear: sb.Rear}[role]
		if need == nil {
			continue
		}
		least, spot := unit.Length(math.Inf(1)), at
		ring := w.lot.Shape[0][0]
		for e, r := range roles {
			if r != role {
				continue
			}
			for _, l := range ringLines(walls) {
				if d, q, _ := shape.LineLine(l, orb.LineString{ring[e], ring[e+1]}); d < least {
					least, spot = d, q
				}
			}
		}
		if least < *need {
			w.find(parcels.Finding{Code: "building_over_setback", Severity: parcels.Stop, Feature: name, Location: &spot, Measured: ptr(float64(least)), Required: ptr(float64(*need)), Unit: "m", Source: "criteria building_setback",
				Message: fmt.Sprintf("Building %s stands %.3f m from the %s line; the setback is %.3f m.", name, float64(least), role, float64(*need))})
		}
	}
	return nil
}

// easementShape is the ground of an easement; nil for a line without a width.
func easementShape(e *parcels.Easement) (orb.MultiPolygon, error) {
	switch g := e.Geometry.(type) {
	case orb.Polygon:
		return orb.MultiPolygon{g}, nil
	case orb.MultiPolygon:
		return g, nil
	case orb.LineString:
		if e.Width != nil && *e.Width > 0 {
			return zone.Strip(g, *e.Width)
		}
	}
	return nil, nil
}

// common is the ground that two areas share, and a place in it. Against one
// convex polygon without holes, as most easements are, it is cut directly
// (Sutherland and Hodgman 1974, from memory); else by overlay.
func common(a, b orb.MultiPolygon) (unit.Area, orb.Point, error) {
	if len(b) == 1 && len(b[0]) == 1 && convex(b[0][0]) {
		var sum unit.Area
		var spot orb.Point
		most := unit.Area(0)
		for _, p := range a {
			for k, r := range p {
				c := clip(r, b[0][0])
				if len(c) < 4 {
					continue
				}
				x := shape.RingArea(c)
				sum += x // holes run the other way and count off
				if k == 0 && x > most {
					most, spot = x, siting.Middle(orb.MultiPolygon{{c}})
				}
			}
		}
		return sum, spot, nil
	}
	if !meet(a, b) {
		return 0, orb.Point{}, nil
	}
	rest, err := without(a, b)
	if err != nil {
		return 0, orb.Point{}, err
	}
	sum := shape.Area(a) - shape.Area(rest)
	if sum <= 0 {
		return 0, orb.Point{}, nil
	}
	both, err := without(a, rest)
	return sum, siting.Middle(both), err
}

// convex says whether a counter-clockwise ring turns left only, and once round:
// its edges change between leftward and rightward twice, not more.
func convex(r orb.Ring) bool {
	n := len(r) - 1
	changes, way := 0, 0
	for i := range n {
		if shape.Orient(r[i], r[i+1], r[(i+2)%n]) < 0 {
			return false
		}
	}
	for i := range 2 * n {
		now := 0
		switch d := r[i%n+1][0] - r[i%n][0]; {
		case d > 0:
			now = 1
		case d < 0:
			now = -1
		}
		if now == 0 || now == way {
			continue
		}
		if i >= n && way != 0 {
			changes++
		}
		way = now
	}
	return changes <= 2
}

// clip cuts a ring to a convex one, edge by edge; nil where nothing is left.
func clip(r, by orb.Ring) orb.Ring {
	for i := 1; i < len(by); i++ { // all of it beyond one edge: the usual case
		a, b := by[i-1], by[i]
		beyond := true
		for _, p := range r {
			beyond = beyond && (b[0]-a[0])*(p[1]-a[1]) <= (b[1]-a[1])*(p[0]-a[0])
		}
		if beyond {
			return nil
		}
	}
	in := r[:len(r)-1]
	for i := 1; i < len(by) && len(in) > 0; i++ {
		a, b := by[i-1], by[i]
		left := func(p orb.Point) float64 { return (b[0]-a[0])*(p[1]-a[1]) - (b[1]-a[1])*(p[0]-a[0]) }
		var out orb.Ring
		for k, p := range in {
			q := in[(k+1)%len(in)]
			lp, lq := left(p), left(q)
			if lp >= 0 {
				out = append(out, p)
			}
			if (lp > 0) != (lq > 0) && lp != 0 && lq != 0 {
				t := lp / (lp - lq)
				out = append(out, orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])})
			}
		}
		in = out
	}
	if len(in) < 3 {
		return nil
	}
	return append(slices.Clone(in), in[0])
}

// without is an area less another.
func without(a, b orb.MultiPolygon) (orb.MultiPolygon, error) {
	if len(a) == 0 {
		return nil, nil
	}
	return zone.Merge([]orb.MultiPolygon{a}, []zone.KeepOut{{Kind: "area", Geometry: b}})
}

// meet says, exactly and at no great cost, whether two areas have more than
// their boundaries in common, or might.
func meet(a, b orb.MultiPolygon) bool {
	for _, x := range []struct{ p, q orb.MultiPolygon }{{a, b}, {b, a}} {
		for _, poly := range x.p {
			for _, r := range poly {
				for _, v := range r {
					if shape.Locate(v, x.q) == shape.Inside {
						return true
					}
				}
			}
		}
		if shape.Locate(siting.Middle(x.p), x.q) == shape.Inside {
			return true
		}
	}
	found := false
	eachEdge(a, func(_, _, _ int, p, q orb.Point) {
		if found {
			return
		}
		lo := orb.Point{math.Min(p[0], q[0]), math.Min(p[1], q[1])}
		hi := orb.Point{math.Max(p[0], q[0]), math.Max(p[1], q[1])}
		eachEdge(b, func(_, _, _ int, r, s orb.Point) {
			if found || math.Max(r[0], s[0]) < lo[0] || math.Min(r[0], s[0]) > hi[0] || math.Max(r[1], s[1]) < lo[1] || math.Min(r[1], s[1]) > hi[1] {
				return
			}
			m, _ := shape.Cross(p, q, r, s)
			found = m == shape.Crossing
		})
	})
	return found
}
