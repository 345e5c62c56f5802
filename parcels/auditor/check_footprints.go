package auditor

// Does a building stand over the setback, over the line, or in an easement?

import (
	"fmt"
	"math"

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
		if !b.Shape.Bound().Intersects(w.lot.Shape.Bound()) || !w.owns(b) {
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
	for _, p := range walls {
		for _, r := range p {
			crosses = crosses || len(outside(orb.LineString(r), w.lot.Shape)) > 0
		}
	}
	if crosses {
		rest, err := without(walls, w.lot.Shape)
		if err != nil {
			return err
		}
		if a := shape.Area(rest); a > speck {
			w.find(parcels.Finding{Code: "building_over_line", Severity: parcels.Stop, Feature: name, Location: ptr(inner(rest)), Measured: ptr(float64(a)), Required: ptr(0.0), Unit: "m2",
				Message: fmt.Sprintf("Building %s stands over the lot line with %.2f m2.", name, float64(a))})
		}
	}
	// in an easement
	for i := range w.site.Easements {
		e := &w.site.Easements[i]
		area, err := easementShape(e)
		if err != nil {
			return err
		}
		if area == nil || !area.Bound().Intersects(walls.Bound()) || !meet(walls, area) {
			continue
		}
		rest, err := without(walls, area)
		if err != nil {
			return err
		}
		a := shape.Area(walls) - shape.Area(rest)
		if a <= speck {
			continue
		}
		common, err := without(walls, rest)
		if err != nil {
			return err
		}
		w.find(parcels.Finding{Code: "building_in_easement", Severity: parcels.Stop, Feature: name, Location: ptr(inner(common)), Measured: ptr(float64(a)), Required: ptr(0.0), Unit: "m2", Source: "P-37",
			Message: fmt.Sprintf("Building %s stands in %s easement %s with %.2f m2.", name, e.Kind, e.ID, float64(a))})
	}
	return w.setback(b, walls, name)
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
	at := inner(walls)
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
		if shape.Locate(inner(x.p), x.q) == shape.Inside {
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
