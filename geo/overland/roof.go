package overland

// Which downspout takes how much of a roof.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Downspout is a place at the eaves where roof water comes down. Area is its
// share where somebody has stated it.
type Downspout struct {
	At   orb.Point
	Area *unit.Area
}

// RoofSplit is the shares of a roof, one a downspout. Area is the whole roof;
// Left is what no downspout takes: parts of the footprint without one. Shares
// and Left add up to Area.
type RoofSplit struct {
	Area   unit.Area
	Shares []unit.Area
	Left   unit.Area
}

// SplitRoof shares a roof among its downspouts. The roof is taken as hipped
// with one pitch all round: each point of it sheds to the nearest eave and the
// gutter carries the water to the downspout nearest along the eaves (a gutter
// without a high point elsewhere; another layout needs stated areas). total is
// the roof's area, nil for the footprint's plan area; the shares scale with it.
// Stated areas are kept, the other downspouts take the rest in proportion.
//
// The error tells a footprint without area, a downspout further than reach
// from the footprint, or stated areas that do not leave a rest of 0 or more
// (all stated: that do not add up to the roof within 1 %).
//
// Shares are sums over a square lattice of some ten thousand points: exact to
// about a half of one percent of the roof; their sum is exact.
func SplitRoof(footprint orb.MultiPolygon, spouts []Downspout, total *unit.Area, reach unit.Length) (RoofSplit, error) {
	plan := shape.Area(footprint)
	if !(plan > 0) {
		return RoofSplit{}, fmt.Errorf("overland: a footprint of %.3f m2 has no roof to split", float64(plan))
	}
	r := RoofSplit{Area: plan, Shares: make([]unit.Area, len(spouts))}
	if total != nil {
		if !(*total > 0) {
			return r, fmt.Errorf("overland: a roof of %.3f m2", float64(*total))
		}
		r.Area = *total
	}
	eaves := make([]eave, len(footprint))
	for i, poly := range footprint {
		eaves[i] = eave{ring: poly[0], length: float64(shape.Length(orb.LineString(poly[0])))}
	}
	for k, s := range spouts {
		best, at := -1, shape.Position{Off: unit.Length(math.Inf(1))}
		for i := range eaves {
			if p := shape.Nearest(orb.LineString(eaves[i].ring), s.At); p.Off < at.Off {
				best, at = i, p
			}
		}
		if best < 0 || at.Off > reach {
			return r, fmt.Errorf("overland: downspout %d at %.2f, %.2f m is %.2f m from the footprint, further than %.2f m", k, s.At[0], s.At[1], float64(at.Off), float64(reach))
		}
		eaves[best].spouts = append(eaves[best].spouts, k)
		eaves[best].along = append(eaves[best].along, float64(at.Along))
	}
	// lattice points by the downspout they shed to; the last is for none
	points := make([]float64, len(spouts)+1)
	step := math.Sqrt(float64(plan) / 10000)
	n := 0.0
	for i, poly := range footprint {
		eaves[i].shed(poly, step, func(k int) {
			if k < 0 {
				k = len(spouts)
			}
			points[k]++
			n++
		})
	}
	stated, free := unit.Area(0), 0.0
	for k, s := range spouts {
		if s.Area != nil {
			if !(*s.Area >= 0) {
				return r, fmt.Errorf("overland: downspout %d has a stated roof area of %.3f m2", k, float64(*s.Area))
			}
			stated += *s.Area
		} else {
			free += points[k]
		}
	}
	rest := r.Area - stated
	open := free + points[len(spouts)]
	switch {
	case rest < -r.Area/100:
		return r, fmt.Errorf("overland: stated roof areas add up to %.2f m2, the roof has %.2f m2", float64(stated), float64(r.Area))
	case open == 0 && rest > r.Area/100:
		return r, fmt.Errorf("overland: stated roof areas add up to %.2f m2 of a roof of %.2f m2, and no downspout is left for the rest", float64(stated), float64(r.Area))
	}
	rest = max(rest, 0)
	if free > 0 && stated > 0 {
		open = free // what is not stated goes to the downspouts that are left
		points[len(spouts)] = 0
	}
	for k, s := range spouts {
		switch {
		case s.Area != nil:
			r.Shares[k] = *s.Area
		case open > 0:
			r.Shares[k] = unit.Area(float64(rest) * points[k] / open)
		}
	}
	if open > 0 {
		r.Left = unit.Area(float64(rest) * points[len(spouts)] / open)
	}
	return r, nil
}

// eave is the outline of one part of a roof and the downspouts on it.
type eave struct {
	ring   orb.Ring
	length float64
	spouts []int
	along  []float64
}

// shed calls take with the downspout of each lattice point of a part, -1 where
// it has none.
func (e eave) shed(poly orb.Polygon, step float64, take func(int)) {
	b := poly.Bound()
	line := orb.LineString(e.ring)
	for y := b.Min[1] + step/2; y < b.Max[1]; y += step {
		for x := b.Min[0] + step/2; x < b.Max[0]; x += step {
			p := orb.Point{x, y}
			if shape.LocateInPolygon(p, poly) == shape.Outside {
				continue
			}
			best, d := -1, math.Inf(1)
			if len(e.spouts) > 0 {
				at := float64(shape.Nearest(line, p).Along)
				for k, s := range e.along {
					v := math.Abs(at - s)
					if v = math.Min(v, e.length-v); v < d {
						best, d = e.spouts[k], v
					}
				}
			}
			take(best)
		}
	}
}
