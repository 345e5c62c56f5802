package shape

// Lengths, areas and distances, in the plane.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Length is the length of a line.
func Length(l orb.LineString) unit.Length {
	s := 0.0
	for i := 1; i < len(l); i++ {
		s += hypot(l[i-1], l[i])
	}
	return unit.Length(s)
}

// hypot needs no care for overflow: coordinates are metres on a site.
func hypot(a, b orb.Point) float64 {
	x, y := b[0]-a[0], b[1]-a[1]
	return math.Sqrt(x*x + y*y)
}

// RingArea is the area within a closed ring, positive when it runs counter-
// clockwise. Products are taken about the first vertex to keep their digits.
func RingArea(r orb.Ring) unit.Area {
	s := 0.0
	for i := 1; i+2 < len(r); i++ {
		s += (r[i][0]-r[0][0])*(r[i+1][1]-r[0][1]) - (r[i+1][0]-r[0][0])*(r[i][1]-r[0][1])
	}
	return unit.Area(s / 2)
}

// Area is the area of a multipolygon, holes taken off, whichever way its rings
// run.
func Area(mp orb.MultiPolygon) unit.Area {
	s := unit.Area(0)
	for _, p := range mp {
		for i, r := range p {
			a := unit.Area(math.Abs(float64(RingArea(r))))
			if i > 0 {
				a = -a
			}
			s += a
		}
	}
	return s
}

// PointSegment is the distance from p to segment ab, and its nearest point.
func PointSegment(p, a, b orb.Point) (unit.Length, orb.Point) {
	ux, uy := b[0]-a[0], b[1]-a[1]
	n := ux*ux + uy*uy
	if n == 0 {
		return unit.Length(hypot(p, a)), a
	}
	t := ((p[0]-a[0])*ux + (p[1]-a[1])*uy) / n
	switch {
	case t <= 0:
		return unit.Length(hypot(p, a)), a
	case t >= 1:
		return unit.Length(hypot(p, b)), b
	}
	// across the line: the cross product keeps more digits than p minus foot
	d := math.Abs(ux*(p[1]-a[1])-uy*(p[0]-a[0])) / math.Sqrt(n)
	return unit.Length(d), orb.Point{a[0] + t*ux, a[1] + t*uy}
}

// SegmentSegment is the distance between segments ab and cd, with the nearest
// point on each; 0 when they meet.
func SegmentSegment(a, b, c, d orb.Point) (dist unit.Length, onAB, onCD orb.Point) {
	if m, at := Cross(a, b, c, d); m != Apart {
		return 0, at, at
	}
	dist, onAB = PointSegment(c, a, b)
	onCD = c
	if e, q := PointSegment(d, a, b); e < dist {
		dist, onAB, onCD = e, q, d
	}
	if e, q := PointSegment(a, c, d); e < dist {
		dist, onAB, onCD = e, a, q
	}
	if e, q := PointSegment(b, c, d); e < dist {
		dist, onAB, onCD = e, b, q
	}
	return dist, onAB, onCD
}

// PointLine is the distance from p to a line of at least one vertex, and its
// nearest point. For no vertex it is +Inf.
func PointLine(p orb.Point, l orb.LineString) (unit.Length, orb.Point) {
	if len(l) == 1 {
		return unit.Length(hypot(p, l[0])), l[0]
	}
	best, at := unit.Length(math.Inf(1)), orb.Point{}
	for i := 1; i < len(l); i++ {
		if d, q := PointSegment(p, l[i-1], l[i]); d < best {
			best, at = d, q
		}
	}
	return best, at
}

// LineLine is the distance between two lines of at least two vertices, with
// the nearest point on each; +Inf when one has fewer.
func LineLine(l, m orb.LineString) (dist unit.Length, onL, onM orb.Point) {
	dist = unit.Length(math.Inf(1))
	for i := 1; i < len(l); i++ {
		for j := 1; j < len(m); j++ {
			if apartBy(l[i-1], l[i], m[j-1], m[j]) >= float64(dist) {
				continue
			}
			if d, p, q := SegmentSegment(l[i-1], l[i], m[j-1], m[j]); d < dist {
				dist, onL, onM = d, p, q
			}
		}
	}
	return dist, onL, onM
}

// apartBy is a lower bound of the distance of two segments, from their boxes.
func apartBy(a, b, c, d orb.Point) float64 {
	g := 0.0
	for k := 0; k < 2; k++ {
		g = math.Max(g, math.Max(math.Min(c[k], d[k])-math.Max(a[k], b[k]), math.Min(a[k], b[k])-math.Max(c[k], d[k])))
	}
	return g
}

// LineBoundary is the distance from a line to the boundary of an area, from
// inside or outside alike, with the nearest points on the line and on the
// boundary; 0 when the line meets it.
func LineBoundary(l orb.LineString, mp orb.MultiPolygon) (dist unit.Length, onLine, onBoundary orb.Point) {
	dist = unit.Length(math.Inf(1))
	for _, poly := range mp {
		for _, r := range poly {
			if d, p, q := LineLine(l, orb.LineString(r)); d < dist {
				dist, onLine, onBoundary = d, p, q
			}
		}
	}
	return dist, onLine, onBoundary
}
