package zone

// Areas put together before anyone asks for a zone in them.

import (
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/geo/internal/geosop"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Strip is the ground within half the width of a line, with round ends whose
// arcs lie on or outside the true ones by at most a millimetre: an easement
// drawn as its middle. Width must be positive.
func Strip(l orb.LineString, width unit.Length) (orb.MultiPolygon, error) {
	if !(width > 0 && width <= MostClearance) {
		return nil, &shape.InvalidError{Rule: RuleClearance, Detail: fmt.Sprintf("the width of a strip is %v m; give more than 0, at most %v m", float64(width), float64(MostClearance))}
	}
	if f := shape.Check(l); len(f) > 0 {
		return nil, f[0]
	}
	es := edges(l, false, func(int) float64 { return float64(width / 2) })
	return geosop.Union(around.pieces(es, false))
}

// MeasureRemoved fills in how much ground of the lot each thing in Removed takes:
// the lot and the things are those the zone was made from. Arcs lie on or outside
// the true ones by at most a millimetre.
func (z *Zone) MeasureRemoved(lot Lot, out []KeepOut) error {
	next := 0
	for i := range z.Removed {
		m := &z.Removed[i]
		for next < len(out) && (out[next].MayCross || out[next].ID != m.ID || out[next].Kind != m.Kind) {
			next++
		}
		if next == len(out) {
			return fmt.Errorf("zone: %s %s took ground of the zone and is not among the things given", m.Kind, m.ID)
		}
		all, err := geosop.Union(around.grown(out[next].Geometry, float64(out[next].Clearance+z.more)))
		next++
		if err != nil {
			return err
		}
		if all, err = geosop.Intersection(lot.Shape, all); err != nil {
			return err
		}
		a := shape.Area(all)
		m.Area = &a
	}
	return nil
}

// Merge is the union of areas less the things grown by their clearances. Areas
// may overlap; each is valid by itself.
func Merge(areas []orb.MultiPolygon, without []KeepOut) (orb.MultiPolygon, error) {
	var pieces []orb.Polygon
	for _, a := range areas {
		pieces = append(pieces, a...)
	}
	all, err := geosop.Union(pieces)
	if err != nil || len(all) == 0 || len(without) == 0 {
		return all, err
	}
	var cut []orb.Polygon
	for _, k := range without {
		if err := k.check(); err != nil {
			return nil, err
		}
		cut = append(cut, around.grown(k.Geometry, float64(k.Clearance))...)
	}
	return geosop.Without(all, cut)
}

// Near is the part of an area within a distance of a point; the arc lies on or
// outside the true one by at most a millimetre.
func Near(area orb.MultiPolygon, p orb.Point, d unit.Length) (orb.MultiPolygon, error) {
	if !(d > 0 && d <= MostClearance) {
		return nil, &shape.InvalidError{Rule: RuleClearance, Detail: fmt.Sprintf("the distance is %v m; give more than 0, at most %v m", float64(d), float64(MostClearance))}
	}
	disc, err := geosop.Union(around.grown(p, float64(d)))
	if err != nil {
		return nil, err
	}
	return geosop.Intersection(area, disc)
}

// Between is the least distance between a thing and a line, 0 where they meet or
// the line lies inside.
func Between(g orb.Geometry, l orb.LineString) (unit.Length, error) {
	if f := shape.Check(l); len(f) > 0 {
		return 0, f[0]
	}
	switch x := g.(type) {
	case orb.Polygon:
		return Between(orb.MultiPolygon{x}, l)
	case orb.MultiPolygon:
		if shape.Locate(l[0], x) != shape.Outside {
			return 0, nil
		}
		d, _, _ := shape.LineBoundary(l, x)
		return d, nil
	case orb.LineString:
		d, _, _ := shape.LineLine(x, l)
		return d, nil
	case orb.Point:
		d, _ := shape.PointLine(x, l)
		return d, nil
	}
	return 0, &shape.InvalidError{Rule: shape.RuleType, Detail: fmt.Sprintf("a %s has no distance here", g.GeoJSONType())}
}
