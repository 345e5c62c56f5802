package siting

// What is worked out of a lot's ground, kept by content: a lot's zones stay the
// same while a drain is drawn on it, whatever else is sent anew.

import (
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels/memory"
)

// With is t with a memory for what it works out; nil: none.
func (t *Siting) With(m *memory.Memory) *Siting {
	return &Siting{site: t.site, fabric: t.fabric, memory: m}
}

// Memory is that of t; nil: none.
func (t *Siting) Memory() *memory.Memory { return t.memory }

// content hashes a geometry: its type, its counts and its positions.
func content(h *memory.Hash, g orb.Geometry) {
	switch x := g.(type) {
	case nil:
		h.Count(-1)
	case orb.Point:
		h.Text("p").Number(x[0], x[1])
	case orb.LineString:
		h.Text("l").Count(len(x))
		for _, p := range x {
			h.Number(p[0], p[1])
		}
	case orb.Polygon:
		content(h, orb.MultiPolygon{x})
	case orb.MultiPolygon:
		h.Text("a").Count(len(x))
		for _, poly := range x {
			h.Count(len(poly))
			for _, ring := range poly {
				h.Count(len(ring))
				for _, p := range ring {
					h.Number(p[0], p[1])
				}
			}
		}
	default:
		h.Text(fmt.Sprintf("%T%v", x, x))
	}
}

func keepOuts(h *memory.Hash, ks []zone.KeepOut) {
	h.Count(len(ks))
	for _, k := range ks {
		cross := 0
		if k.MayCross {
			cross = 1
		}
		h.Text(k.ID).Text(k.Kind).Number(float64(k.Clearance)).Count(cross)
		content(h, k.Geometry)
	}
}

// key names a result over the lot's lines and what bears on them.
func (g *Ground) key(kind string, of ...float64) memory.Key {
	h := memory.NewHash("siting." + kind)
	content(h, g.Lines.Shape)
	h.Number(float64(g.Lines.Clearance)).Count(len(g.Lines.Edges))
	for _, part := range g.Lines.Edges {
		h.Count(len(part))
		for _, ring := range part {
			h.Count(len(ring))
			for _, e := range ring {
				h.Number(float64(e))
			}
		}
	}
	keepOuts(h, g.KeepOuts)
	return h.Number(of...).Key()
}

// sizeOf is about how many bytes an area takes.
func sizeOf(mp orb.MultiPolygon) int64 {
	n := int64(64)
	for _, poly := range mp {
		for _, ring := range poly {
			n += 64 + 16*int64(len(ring))
		}
	}
	return n
}

// area keeps what work gives, which depends on the lines and keep-outs and on
// the numbers of alone.
func (g *Ground) area(kind string, of []float64, work func() (orb.MultiPolygon, error)) (orb.MultiPolygon, error) {
	return memory.Of(g.siting.memory, func() memory.Key { return g.key(kind, of...) }, func() (orb.MultiPolygon, int64, error) {
		mp, err := work()
		return mp, sizeOf(mp), err
	})
}

// piece is an area, or a strip along a line.
type piece struct {
	area  orb.MultiPolygon
	line  orb.LineString
	width unit.Length
}

// digKey names what the owner may dig: the pieces joined and the things taken out.
func digKey(dug []piece, barred []zone.KeepOut) memory.Key {
	h := memory.NewHash("siting.mayDig").Count(len(dug))
	for _, d := range dug {
		if d.line != nil {
			content(h, d.line)
		} else {
			content(h, d.area)
		}
		h.Number(float64(d.width))
	}
	keepOuts(h, barred)
	return h.Key()
}
