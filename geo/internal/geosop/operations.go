package geosop

// The operations, each on areas, lines and points of one plane.

import (
	"errors"
	"math"
	"runtime"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"
	geos "github.com/twpayne/go-geos"

	"fallwright/geo/unit"
)

// Buffer grows a geometry by d (an area shrinks for negative d), arcs by chords
// of which quadrant go to a quarter circle. It is no legal distance: chords lie
// inside the arc, and GEOS smooths hollows by up to a hundredth of d.
func Buffer(g orb.Geometry, d unit.Length, quadrant int) (orb.MultiPolygon, error) {
	if math.IsNaN(float64(d)) || math.IsInf(float64(d), 0) {
		return nil, &Error{"buffer", "the distance is no number"}
	}
	return overlay("buffer", []orb.Geometry{g}, func(_ *geos.Context, in []*geos.Geom) *geos.Geom {
		return in[0].Buffer(float64(d), quadrant)
	})
}

// Difference is a without b.
func Difference(a, b orb.MultiPolygon) (orb.MultiPolygon, error) {
	if len(a) == 0 || len(b) == 0 {
		return a, nil
	}
	return overlay("difference", []orb.Geometry{a, b}, func(_ *geos.Context, in []*geos.Geom) *geos.Geom {
		return in[0].Difference(in[1])
	})
}

// Without is a without any of the pieces, which may lie over one another.
func Without(a orb.MultiPolygon, pieces []orb.Polygon) (orb.MultiPolygon, error) {
	if len(a) == 0 || len(pieces) == 0 {
		return a, nil
	}
	return overlay("difference of a union", []orb.Geometry{a, orb.MultiPolygon(pieces)}, func(_ *geos.Context, in []*geos.Geom) *geos.Geom {
		return in[0].Difference(in[1].UnaryUnion())
	})
}

// Union is all pieces together, which may lie over one another.
func Union(pieces []orb.Polygon) (orb.MultiPolygon, error) {
	if len(pieces) == 0 {
		return nil, nil
	}
	return overlay("union", []orb.Geometry{orb.MultiPolygon(pieces)}, func(_ *geos.Context, in []*geos.Geom) *geos.Geom {
		return in[0].UnaryUnion()
	})
}

// Intersection is what a and b share.
func Intersection(a, b orb.MultiPolygon) (orb.MultiPolygon, error) {
	if len(a) == 0 || len(b) == 0 {
		return nil, nil
	}
	return overlay("intersection", []orb.Geometry{a, b}, func(_ *geos.Context, in []*geos.Geom) *geos.Geom {
		return in[0].Intersection(in[1])
	})
}

// SymmetricDifference is what one of a and b has and the other has not.
func SymmetricDifference(a, b orb.MultiPolygon) (orb.MultiPolygon, error) {
	switch {
	case len(a) == 0:
		return b, nil
	case len(b) == 0:
		return a, nil
	}
	return overlay("symmetric difference", []orb.Geometry{a, b}, func(_ *geos.Context, in []*geos.Geom) *geos.Geom {
		return in[0].SymDifference(in[1])
	})
}

// ValidReason is empty for a valid geometry, else GEOS's own words.
func ValidReason(g orb.Geometry) (reason string, err error) {
	n, err := check("validity", g)
	if err != nil {
		return "", err
	}
	err = call("validity", n, func(c *geos.Context) error {
		h, err := toGEOS(c, g)
		if err != nil {
			return err
		}
		if !h.IsValid() {
			reason = h.IsValidReason()
		}
		runtime.KeepAlive(h)
		return nil
	})
	return reason, err
}

// Distance is the least distance of two geometries.
func Distance(a, b orb.Geometry) (unit.Length, error) {
	d, err := number("distance", a, b, func(a, b *geos.Geom) float64 { return a.Distance(b) })
	return unit.Length(d), err
}

// Hausdorff is the greatest distance from a vertex of either geometry to the
// other: exact where the greatest is at a vertex, which a fraction below 1
// helps by looking also at each such fraction of an edge.
func Hausdorff(a, b orb.Geometry, fraction float64) (unit.Length, error) {
	d, err := number("hausdorff distance", a, b, func(a, b *geos.Geom) float64 {
		if fraction > 0 && fraction < 1 {
			return a.HausdorffDistanceDensify(b, fraction)
		}
		return a.HausdorffDistance(b)
	})
	return unit.Length(d), err
}

// InscribedCircle is the greatest circle within an area: its centre and its
// radius, no more than tolerance too small.
func InscribedCircle(mp orb.MultiPolygon, tolerance unit.Length) (centre orb.Point, radius unit.Length, err error) {
	if !(tolerance > 0) {
		return centre, 0, &Error{"inscribed circle", "the tolerance is not above 0"}
	}
	n, err := check("inscribed circle", mp)
	if err != nil {
		return centre, 0, err
	}
	err = call("inscribed circle", n, func(c *geos.Context) error {
		g, err := toGEOS(c, mp)
		if err != nil {
			return err
		}
		o, err := wkb.Unmarshal(g.MaximumInscribedCircle(float64(tolerance)).ToWKB())
		if err != nil {
			return err
		}
		l, ok := o.(orb.LineString)
		if !ok || len(l) != 2 {
			return errors.New("no circle and no reason")
		}
		centre, radius = l[0], unit.Length(math.Hypot(l[1][0]-l[0][0], l[1][1]-l[0][1]))
		return nil
	})
	return centre, radius, err
}
