package zone

// The ground within a distance of a line, as polygons on the safe side.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

const (
	// arcError is how far an arc drawn with straight sides lies beyond the true
	// one at most.
	arcError = 0.00098
	// numeric is the distance in metres below which two places are one to
	// arithmetic. It is no allowance in any verdict.
	numeric = 1e-9
)

// arc says how arcs are drawn with straight sides: as tangents, so that the
// drawn disc holds the true one, or as chords, the other way round; and how far
// off the true arc they lie at most.
type arc struct {
	chords bool
	off    float64
}

var (
	around = arc{off: arcError}
	within = arc{off: arcError, chords: true}
)

// append adds the points of the arc about v from v+r*n to v+r*m, turned by
// angle (signed, radians), both ends included.
func (side arc) append(pts []orb.Point, v orb.Point, r float64, n, m orb.Point, angle float64) []orb.Point {
	pts = append(pts, orb.Point{v[0] + r*n[0], v[1] + r*n[1]})
	steps := math.Max(1, math.Ceil(math.Abs(angle)/(2*math.Acos(r/(r+side.off)))))
	step := angle / steps
	q, first := r, step
	if !side.chords {
		q, first = r/math.Cos(step/2), step/2
	}
	s, c := math.Sincos(first)
	x, y := q*(n[0]*c-n[1]*s), q*(n[0]*s+n[1]*c)
	s, c = math.Sincos(step)
	for k := int(steps); k > 0; k-- {
		if !side.chords || k > 1 {
			pts = append(pts, orb.Point{v[0] + x, v[1] + y})
		}
		x, y = x*c-y*s, x*s+y*c
	}
	return append(pts, orb.Point{v[0] + r*m[0], v[1] + r*m[1]})
}

// edge is a stretch of a line with its clearance; d is its direction, n the
// normal to its left.
type edge struct {
	a, b orb.Point
	d, n orb.Point
	c    float64
}

func newEdge(a, b orb.Point, c float64) edge {
	l := math.Hypot(b[0]-a[0], b[1]-a[1])
	d := orb.Point{(b[0] - a[0]) / l, (b[1] - a[1]) / l}
	return edge{a: a, b: b, d: d, n: orb.Point{-d[1], d[0]}, c: c}
}

// edges are those of a line, vertices that bend it by less than the numeric
// tolerance left out where the clearance stays the same. clearance is asked
// for each edge of the line as given.
func edges(l []orb.Point, closed bool, clearance func(i int) float64) []edge {
	var es []edge
	for i := 1; i < len(l); i++ {
		if l[i] == l[i-1] {
			continue
		}
		c := clearance(i - 1)
		if n := len(es); n > 0 && es[n-1].c == c && straight(es[n-1].a, l[i-1], l[i]) {
			es[n-1] = newEdge(es[n-1].a, l[i], c)
			continue
		}
		es = append(es, newEdge(l[i-1], l[i], c))
	}
	if n := len(es); closed && n > 3 && es[n-1].c == es[0].c && straight(es[n-1].a, es[0].a, es[0].b) {
		es[0] = newEdge(es[n-1].a, es[0].b, es[0].c)
		es = es[:n-1]
	}
	return es
}

// straight tells whether b lies on the segment from a to c, to arithmetic.
func straight(a, b, c orb.Point) bool {
	d, _ := shape.PointSegment(b, a, c)
	return float64(d) <= numeric && (b[0]-a[0])*(c[0]-b[0])+(b[1]-a[1])*(c[1]-b[1]) > 0
}

// pieces are polygons that together cover the ground within each edge's
// clearance of it and, arcs apart, no more. Each piece names corners that it
// shares with the next, so that no crack opens between them.
func (side arc) pieces(es []edge, closed bool) []orb.Polygon {
	var out []orb.Polygon
	add := func(pts []orb.Point) { out = append(out, orb.Polygon{append(orb.Ring(pts), pts[0])}) }
	left := func(e edge, p orb.Point) orb.Point { return orb.Point{p[0] + e.c*e.n[0], p[1] + e.c*e.n[1]} }
	right := func(e edge, p orb.Point) orb.Point { return orb.Point{p[0] - e.c*e.n[0], p[1] - e.c*e.n[1]} }
	back := func(n orb.Point) orb.Point { return orb.Point{-n[0], -n[1]} }
	capEnd := func(e edge) {
		if e.c > 0 {
			add(append(side.append(nil, e.b, e.c, e.n, back(e.n), -math.Pi), e.b))
		}
	}
	capStart := func(e edge) {
		if e.c > 0 {
			add(append(side.append(nil, e.a, e.c, back(e.n), e.n, -math.Pi), e.a))
		}
	}
	for i, e := range es {
		if e.c > 0 {
			add([]orb.Point{left(e, e.a), e.a, right(e, e.a), right(e, e.b), e.b, left(e, e.b)})
		}
		if !closed && i == 0 {
			capStart(e)
		}
		if !closed && i == len(es)-1 {
			capEnd(e)
			break
		}
		f := es[(i+1)%len(es)]
		turn := math.Atan2(e.d[0]*f.d[1]-e.d[1]*f.d[0], e.d[0]*f.d[0]+e.d[1]*f.d[1])
		switch {
		case e.c != f.c:
			capEnd(e)
			capStart(f)
		case e.c == 0:
		case turn > 0:
			add(append(side.append(nil, e.b, e.c, back(e.n), back(f.n), turn), e.b))
		case turn < 0:
			add(append(side.append(nil, e.b, e.c, e.n, f.n, turn), e.b))
		}
	}
	return out
}

// disc is the ground within r of a point.
func (side arc) disc(p orb.Point, r float64) orb.Polygon {
	east, west := orb.Point{1, 0}, orb.Point{-1, 0}
	pts := side.append(nil, p, r, east, west, math.Pi)
	pts = side.append(pts[:len(pts)-1], p, r, west, east, math.Pi)
	pts[len(pts)-1] = pts[0]
	return orb.Polygon{orb.Ring(pts)}
}

// grown are polygons that together cover a geometry and the ground within r of
// it.
func (side arc) grown(g orb.Geometry, r float64) []orb.Polygon {
	var out []orb.Polygon
	line := func(l []orb.Point, closed bool) {
		out = append(out, side.pieces(edges(l, closed, func(int) float64 { return r }), closed)...)
	}
	polygon := func(p orb.Polygon) {
		out = append(out, p)
		for _, ring := range p {
			line(ring, true)
		}
	}
	switch g := g.(type) {
	case orb.Point:
		if r > 0 {
			out = append(out, side.disc(g, r))
		}
	case orb.MultiPoint:
		for _, p := range g {
			out = append(out, side.grown(p, r)...)
		}
	case orb.LineString:
		line(g, false)
	case orb.MultiLineString:
		for _, l := range g {
			line(l, false)
		}
	case orb.Polygon:
		polygon(g)
	case orb.MultiPolygon:
		for _, p := range g {
			polygon(p)
		}
	}
	return out
}
