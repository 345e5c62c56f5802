package auditor

// What lies near a lot: a site cut down to the features that can bear on it.

import (
	"github.com/paulmach/orb"
	"github.com/tidwall/rtree"

	"fallwright/parcels"
)

// near is how far beyond a lot's box a feature can bear on it; as far as
// package siting looks.
const near = 30.0

// places finds features of one layer by their boxes.
type places struct {
	tree  rtree.RTreeGN[float64, int32]
	count int
}

func (p *places) add(i int, b orb.Bound, grow float64) {
	p.tree.Insert([2]float64{b.Min[0] - grow, b.Min[1] - grow}, [2]float64{b.Max[0] + grow, b.Max[1] + grow}, int32(i))
	p.count++
}

// in lists the features whose boxes meet b, in the order of the layer.
func (p *places) in(b orb.Bound) []int32 {
	if p.count == 0 {
		return nil
	}
	var out []int32
	p.tree.Search([2]float64{b.Min[0], b.Min[1]}, [2]float64{b.Max[0], b.Max[1]}, func(_, _ [2]float64, i int32) bool {
		k := len(out)
		for k > 0 && out[k-1] > i {
			k--
		}
		out = append(out, 0)
		copy(out[k+1:], out[k:])
		out[k] = i
		return true
	})
	return out
}

// nearest gives the feature whose box is nearest to a point, of those that
// good takes; -1 where none is. Of equals the first in the layer.
func (p *places) nearest(at orb.Point, good func(int32) bool) int32 {
	best, bestDist := int32(-1), 0.0
	if p.count == 0 {
		return best
	}
	p.tree.Nearby(func(min, max [2]float64, _ int32, item bool) float64 {
		return boxDist(at, min, max)
	}, func(min, max [2]float64, i int32, dist float64) bool {
		if best >= 0 && dist > bestDist {
			return false
		}
		if good(i) && (best < 0 || i < best) {
			best, bestDist = i, dist
		}
		return true
	})
	return best
}

func boxDist(p orb.Point, lo, hi [2]float64) float64 {
	var s float64
	for k := range 2 {
		d := max(lo[k]-p[k], 0, p[k]-hi[k])
		s += d * d
	}
	return s
}

// index holds every layer that bears on lots.
type index struct {
	lots, buildings, openings, easements, swales, inlets, outlets, intakes, obstacles, drains, streets, districts places
	byLot                                                                                                         map[string][]int32 // intakes that name their lot
}

func newIndex(s *parcels.Site) *index {
	x := &index{}
	for i := range s.Lots {
		x.lots.add(i, s.Lots[i].Shape.Bound(), 0)
	}
	for i := range s.Buildings {
		x.buildings.add(i, s.Buildings[i].Shape.Bound(), 0)
	}
	for i := range s.Openings {
		x.openings.add(i, s.Openings[i].At.Bound(), 0)
	}
	for i := range s.Easements {
		grow := 0.0
		if w := s.Easements[i].Width; w != nil {
			grow = float64(*w) / 2
		}
		x.easements.add(i, s.Easements[i].Geometry.Bound(), grow)
	}
	for i := range s.Swales {
		x.swales.add(i, s.Swales[i].Line.Bound(), 0)
	}
	for i := range s.Inlets {
		x.inlets.add(i, s.Inlets[i].At.Bound(), 0)
	}
	for i := range s.Outlets {
		x.outlets.add(i, s.Outlets[i].At.Bound(), 0)
	}
	for i := range s.Intakes {
		x.intakes.add(i, s.Intakes[i].At.Bound(), 0)
	}
	for i := range s.Obstacles {
		grow := 0.0
		if r := s.Obstacles[i].Radius; r != nil {
			grow = float64(*r)
		}
		if t := s.Obstacles[i].Trunk; t != nil {
			grow = max(grow, float64(*t)*s.Criteria.Clearance.RootZonePerTrunk)
		}
		x.obstacles.add(i, s.Obstacles[i].Geometry.Bound(), grow)
	}
	for i := range s.Drains {
		x.drains.add(i, s.Drains[i].Line.Bound(), 0)
	}
	for i := range s.Streets {
		x.streets.add(i, s.Streets[i].Geometry.Bound(), 0)
	}
	for i := range s.Districts {
		x.districts.add(i, s.Districts[i].Shape.Bound(), 0)
	}
	return x
}

func pick[T any](all []T, idx []int32) []T {
	if len(idx) == 0 {
		return nil
	}
	out := make([]T, len(idx))
	for k, i := range idx {
		out[k] = all[i]
	}
	return out
}

// view is the site as one lot sees it: the features near the box, under the
// criteria given.
func (x *index) view(s *parcels.Site, box orb.Bound, c parcels.Criteria) *parcels.Site {
	b := box.Pad(near)
	return &parcels.Site{Name: s.Name, CRS: s.CRS, Frame: s.Frame, VerticalDatum: s.VerticalDatum, Supplied: s.Supplied,
		Rain: s.Rain, Soil: s.Soil, Criteria: c,
		Lots: pick(s.Lots, x.lots.in(b)), Streets: pick(s.Streets, x.streets.in(b)),
		Buildings: pick(s.Buildings, x.buildings.in(b)), Openings: pick(s.Openings, x.openings.in(b)),
		Easements: pick(s.Easements, x.easements.in(b)), Swales: pick(s.Swales, x.swales.in(b)),
		Inlets: pick(s.Inlets, x.inlets.in(b)), Outlets: pick(s.Outlets, x.outlets.in(b)),
		Intakes: pick(s.Intakes, x.intakes.in(b)), Obstacles: pick(s.Obstacles, x.obstacles.in(b)),
		Drains: pick(s.Drains, x.drains.in(b))}
}
