package zone

// The least distance of a drawn line from edges, without memory of its own.
//
// Seen from one leg of the line, along it and across, the box of an edge gives a
// lower bound of their distance at two products a vertex; only what that bound
// leaves in doubt is measured exactly.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// leg is a segment of a drawn line: its start, direction and length.
type leg struct {
	p, q   orb.Point
	dx, dy float64
	l      float64
}

// fewLegs is how many legs a drawn line has at most for them to be held without
// memory of their own.
const fewLegs = 8

// legsOf are the segments of a line that have a length, put into into.
func legsOf(line orb.LineString, into []leg) []leg {
	for i := 1; i < len(line); i++ {
		p, q := line[i-1], line[i]
		x, y := q[0]-p[0], q[1]-p[1]
		if l := math.Sqrt(x*x + y*y); l > 0 {
			into = append(into, leg{p, q, x / l, y / l, l})
		}
	}
	return into
}

// sound tells whether a line is valid where that is soon told; false means not
// known.
func sound(line orb.LineString) bool {
	differ := false
	for _, p := range line {
		if !(math.Abs(p[0]) < 1e15 && math.Abs(p[1]) < 1e15) {
			return false
		}
		differ = differ || p != line[0]
	}
	return differ
}

// closest is the least distance found of a line from edges.
type closest struct {
	d     float64
	on    orb.Point // of the line
	edge  int       // of its chain, by its first vertex
	short bool      // one is nearer than it needs to be
}

func noneClose() closest { return closest{d: math.Inf(1)} }

// chain measures the edges of a chain, each of which must be need, or its own
// each and need, away.
func (c *closest) chain(legs []leg, pts []orb.Point, each []unit.Length, need float64) {
	if len(pts) == 1 {
		pts = []orb.Point{pts[0], pts[0]}
	}
	for i := range legs {
		g := &legs[i]
		x0, y0 := pts[0][0]-g.p[0], pts[0][1]-g.p[1]
		x0, y0 = g.dx*x0+g.dy*y0, g.dx*y0-g.dy*x0
		limit := max(c.d, need)
		for e := 1; e < len(pts); e++ {
			x1, y1 := pts[e][0]-g.p[0], pts[e][1]-g.p[1]
			x1, y1 = g.dx*x1+g.dy*y1, g.dx*y1-g.dy*x1
			own := need
			if each != nil {
				own += float64(each[e-1])
				limit = max(c.d, own)
			}
			far := y0 >= limit && y1 >= limit || y0 <= -limit && y1 <= -limit || x0 <= -limit && x1 <= -limit || x0 >= g.l+limit && x1 >= g.l+limit
			x0, y0 = x1, y1
			if far {
				continue
			}
			d, on, _ := shape.SegmentSegment(g.p, g.q, pts[e-1], pts[e])
			if float64(d) < own {
				c.short = true
			}
			if float64(d) < c.d {
				c.d, c.on, c.edge = float64(d), on, e-1
				limit = max(c.d, own)
			}
		}
	}
}

// thing measures the edges of a geometry, each of which must be need away.
func (c *closest) thing(legs []leg, g orb.Geometry, need float64) {
	switch g := g.(type) {
	case orb.Point:
		c.chain(legs, []orb.Point{g}, nil, need)
	case orb.MultiPoint:
		for i := range g {
			c.chain(legs, g[i:i+1], nil, need)
		}
	case orb.LineString:
		c.chain(legs, g, nil, need)
	case orb.MultiLineString:
		for _, l := range g {
			c.chain(legs, l, nil, need)
		}
	case orb.Polygon:
		for _, r := range g {
			c.chain(legs, r, nil, need)
		}
	case orb.MultiPolygon:
		for _, p := range g {
			for _, r := range p {
				c.chain(legs, r, nil, need)
			}
		}
	}
}

// enclosed tells whether a point lies inside a thing that has an inside.
func enclosed(p orb.Point, g orb.Geometry) bool {
	switch g := g.(type) {
	case orb.Polygon:
		return shape.LocateInPolygon(p, g) == shape.Inside
	case orb.MultiPolygon:
		return shape.Locate(p, g) == shape.Inside
	}
	return false
}

// Keeps tells whether a trench of the given width along a line keeps every
// clearance of a lot and of things: what CheckLine finds, without the places.
// Errors are as of CheckLine.
func Keeps(line orb.LineString, width unit.Length, lot Lot, out []KeepOut) (bool, error) {
	if err := checkLine(line, width, lot, out, 0); err != nil {
		return false, err
	}
	return ruler{line: line, half: float64(width) / 2, lot: lot, out: out}.clear(), nil
}
