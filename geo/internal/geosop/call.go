package geosop

// One way into GEOS and out of it.

import (
	"fmt"
	"math"
	"runtime"
	"sync"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"
	geos "github.com/twpayne/go-geos"
)

// MaxVertices is the most vertices that one call takes, all operands together.
const MaxVertices = 2_000_000

// Error says which operation failed and why.
type Error struct {
	Op     string
	Reason string
}

func (e *Error) Error() string { return fmt.Sprintf("geosop: %s: %s", e.Op, e.Reason) }

// contexts are those not in use. count is what live geometries have been made
// of since the collector last ran, in vertices.
var contexts struct {
	sync.Mutex
	free  []*geos.Context
	count int
}

// collectAfter vertices (at about 40 bytes each in C, some 80 MB) the collector
// is run, so that geometries no longer used are given back.
const collectAfter = 2_000_000

func take() *geos.Context {
	contexts.Lock()
	defer contexts.Unlock()
	if n := len(contexts.free); n > 0 {
		c := contexts.free[n-1]
		contexts.free = contexts.free[:n-1]
		return c
	}
	return geos.NewContext()
}

func give(c *geos.Context, vertices int) {
	contexts.Lock()
	contexts.free = append(contexts.free, c)
	contexts.count += vertices
	collect := contexts.count > collectAfter
	if collect {
		contexts.count = 0
	}
	contexts.Unlock()
	if collect {
		runtime.GC()
	}
}

// call runs f with a context of its own and turns every way of failing into an
// *Error.
func call(op string, vertices int, f func(c *geos.Context) error) (err error) {
	if vertices > MaxVertices {
		return &Error{op, fmt.Sprintf("%d vertices, at most %d are taken", vertices, MaxVertices)}
	}
	c := take()
	defer give(c, vertices)
	defer func() {
		if p := recover(); p != nil {
			err = &Error{op, fmt.Sprint(p)}
		}
	}()
	if err := f(c); err != nil {
		return &Error{op, err.Error()}
	}
	return nil
}

// check refuses what GEOS must not see and counts the vertices.
func check(op string, gs ...orb.Geometry) (vertices int, err error) {
	points := func(ps []orb.Point) {
		for _, p := range ps {
			// beyond 1e15 m no arithmetic on products is left
			if !(math.Abs(p[0]) <= 1e15 && math.Abs(p[1]) <= 1e15) && err == nil {
				err = &Error{op, fmt.Sprintf("a coordinate is %v, %v", p[0], p[1])}
			}
		}
		vertices += len(ps)
	}
	rings := func(p orb.Polygon) {
		for _, r := range p {
			if (len(r) < 4 || r[0] != r[len(r)-1]) && err == nil {
				err = &Error{op, fmt.Sprintf("a ring of %d positions is not closed", len(r))}
			}
			points(r)
		}
	}
	for _, g := range gs {
		switch g := g.(type) {
		case orb.Point:
			points([]orb.Point{g})
		case orb.MultiPoint:
			points(g)
		case orb.LineString:
			if len(g) < 2 && err == nil {
				err = &Error{op, "a line has fewer than two positions"}
			}
			points(g)
		case orb.MultiLineString:
			for _, l := range g {
				if len(l) < 2 && err == nil {
					err = &Error{op, "a line has fewer than two positions"}
				}
				points(l)
			}
		case orb.Polygon:
			rings(g)
		case orb.MultiPolygon:
			for _, p := range g {
				rings(p)
			}
		default:
			return 0, &Error{op, fmt.Sprintf("a %T is not taken", g)}
		}
	}
	return vertices, err
}

func toGEOS(c *geos.Context, g orb.Geometry) (*geos.Geom, error) {
	b, err := wkb.Marshal(g)
	if err != nil {
		return nil, err
	}
	return c.NewGeomFromWKB(b)
}

// areas gives the polygons of an answer; lines and points in it, which overlay
// leaves where areas only touch, are no area and are left out.
func areas(g *geos.Geom) (orb.MultiPolygon, error) {
	if g == nil {
		return nil, fmt.Errorf("no answer and no reason")
	}
	if g.IsEmpty() {
		return nil, nil
	}
	o, err := wkb.Unmarshal(g.ToWKB())
	if err != nil {
		return nil, err
	}
	var out orb.MultiPolygon
	var gather func(o orb.Geometry)
	gather = func(o orb.Geometry) {
		switch o := o.(type) {
		case orb.Polygon:
			if len(o) > 0 {
				out = append(out, o)
			}
		case orb.MultiPolygon:
			for _, p := range o {
				gather(p)
			}
		case orb.Collection:
			for _, p := range o {
				gather(p)
			}
		}
	}
	gather(o)
	return out, nil
}

// overlay runs an operation on operands whose answer is an area.
func overlay(op string, gs []orb.Geometry, f func(c *geos.Context, gs []*geos.Geom) *geos.Geom) (out orb.MultiPolygon, err error) {
	n, err := check(op, gs...)
	if err != nil {
		return nil, err
	}
	err = call(op, n, func(c *geos.Context) error {
		in := make([]*geos.Geom, len(gs))
		for i, g := range gs {
			var err error
			if in[i], err = toGEOS(c, g); err != nil {
				return err
			}
		}
		out, err = areas(f(c, in))
		runtime.KeepAlive(in)
		return err
	})
	return out, err
}

// number runs an operation on operands whose answer is one number.
func number(op string, a, b orb.Geometry, f func(a, b *geos.Geom) float64) (out float64, err error) {
	n, err := check(op, a, b)
	if err != nil {
		return 0, err
	}
	err = call(op, n, func(c *geos.Context) error {
		g, err := toGEOS(c, a)
		if err != nil {
			return err
		}
		h, err := toGEOS(c, b)
		if err != nil {
			return err
		}
		out = f(g, h)
		runtime.KeepAlive(g)
		runtime.KeepAlive(h)
		return nil
	})
	return out, err
}
