package route

// Ways between two points by themselves, with no rules and no prices.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// ShortestWay returns the shortest line from a to b inside the zone and its
// length; false where none leads there because a or b is outside, or they lie in
// pieces of the zone that do not meet. Pieces that touch at a point only do not
// meet.
func ShortestWay(zone orb.MultiPolygon, a, b orb.Point) (orb.LineString, unit.Length, bool) {
	p := &Problem{Zone: zone, Rules: Rules{JoinAngle: 90 * Degree, BendAngle: 180 * Degree, LeastStraight: eps},
		Prices: Prices{Metre: 1}, Sources: []Source{{At: a}}}
	s := newSite(p)
	h := &s.heads[0]
	if q := sub(b, s.origin); h.why != "" || !s.zone.holds(q) {
		return nil, 0, false
	}
	corners := s.zone.outline().corners
	for i := range corners {
		if c := &corners[i]; c.reflex() {
			s.addSpot(c.spot())
		}
	}
	if dist(h.pts[0], sub(b, s.origin)) <= eps {
		return orb.LineString{a, b}, 0, true
	}
	// the ends are spots of their own, see addSpot
	h.spot = len(s.graph.spots)
	to := h.spot + 1
	s.graph.spots = append(s.graph.spots, spot{at: h.pts[0], source: -1}, spot{at: sub(b, s.origin), source: -1})
	s.link(0)
	goal := s.graph.spots[to].at
	w := s.waysOf(0, nil, func(_ int, at orb.Point, cost float64) float64 { return cost + dist(at, goal) })
	for v := -1; v != to; {
		if v = s.next(w, math.Inf(1)); v < 0 {
			return nil, 0, false
		}
	}
	var line orb.LineString
	for _, q := range s.way(w, to) {
		line = append(line, add(q, s.origin))
	}
	return line, unit.Length(w.label[to].cost), true
}
