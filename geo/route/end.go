package route

// Targets made ready, and the trunk's way to them.

import (
	"fmt"
	"slices"

	"github.com/paulmach/orb"
)

type end struct {
	target  int
	at      orb.Point
	inZone  bool
	reach   float64
	within  *field
	entries []orb.Point // points of the zone from which a last run may start
	why     string      // not empty: it can't be reached at all
}

// endOf is target t made ready, once.
func (s *site) endOf(t int) *end {
	if s.ends == nil {
		s.ends = make([]*end, len(s.p.Targets))
	}
	if s.ends[t] == nil {
		s.ends[t] = s.newEnd(t)
	}
	return s.ends[t]
}

func (s *site) newEnd(t int) *end {
	g := &s.p.Targets[t]
	e := &end{target: t, at: sub(g.At, s.origin), reach: float64(g.Reach), within: s.groundOf(g.LastRunWithin)}
	if g.Closed != "" {
		e.why = g.Closed
		return e
	}
	e.inZone = s.zone.holds(e.at)
	if e.inZone {
		return e
	}
	_, off := s.zone.nearest(e.at)
	if off > e.reach+eps {
		e.why = fmt.Sprintf("the zone ends %.3f m from it and a last run may be %.3f m long", off, e.reach)
		return e
	}
	for _, ed := range s.zone.edges {
		q := foot(e.at, ed.p, ed.q)
		if d := dist(q, e.at); d > eps && d < s.ls { // too short by itself: it begins farther in
			if q = along(e.at, unitVec(e.at, q), s.ls); !s.zone.holds(q) {
				continue
			}
		}
		if dist(q, e.at) >= s.ls-eps && s.lastRun(e, q) && !slices.ContainsFunc(e.entries, func(p orb.Point) bool { return dist(p, q) < 1e-6 }) {
			e.entries = append(e.entries, q)
		}
	}
	if len(e.entries) == 0 {
		e.why = fmt.Sprintf("a straight last run from the zone, %.3f m away, would leave the ground where it may lie", off)
	}
	return e
}

// lastRun tells whether the last run may go straight from a to the target.
func (s *site) lastRun(e *end, a orb.Point) bool {
	l := dist(a, e.at)
	if l > e.reach+eps || l <= eps || s.crosses(a, e.at) {
		return false
	}
	var buf [32]float64
	ts, _ := s.zone.cuts(a, e.at, true, buf[:0])
	ts, _ = e.within.cuts(a, e.at, true, ts)
	ts = append(ts, 0, l)
	slices.Sort(ts)
	for i := 0; i+1 < len(ts); i++ {
		if ts[i+1]-ts[i] > 4*eps {
			m := lerp(a, e.at, (ts[i]+ts[i+1])/2/l)
			if !s.zone.holds(m) && !e.within.holds(m) {
				return false
			}
		}
	}
	return true
}

// exit returns where the straight way from a to the target leaves the zone for
// the last time without having left it before, or, where that is too near to the
// target for a run, where it is no longer.
func (s *site) exit(e *end, a orb.Point) (orb.Point, bool) {
	l := dist(a, e.at)
	if l <= eps {
		return a, false
	}
	var buf [32]float64
	ts, _ := s.zone.cuts(a, e.at, true, buf[:0])
	slices.Sort(ts)
	last := 0.0
	for _, t := range append(ts, l) {
		if t-last > 4*eps && !s.zone.holds(lerp(a, e.at, (last+t)/2/l)) {
			break
		}
		last = t
	}
	if last = min(last, l-s.ls); last < s.ls {
		return a, false
	}
	return lerp(a, e.at, last/l), true
}

// trunk returns the cheapest way of source k to the target that costs less than
// cost, nil if none.
func (s *site) trunk(k int, e *end, cost float64) *branch {
	var best *branch
	h := &s.heads[k]
	w := s.waysOf(k, nil, func(_ int, at orb.Point, cost float64) float64 { return cost + s.metre*dist(at, e.at) })
	consider := func(v int, base float64, tail ...orb.Point) {
		a := s.graph.spots[v].at
		c := base + s.p.Prices.TieIn + s.metre*dist(a, tail[0])
		if len(tail) > 1 {
			c += s.metre * dist(tail[0], tail[1])
		}
		if c >= cost-1e-9 || dist(a, tail[0]) < s.ls-eps || !s.graph.spots[v].useful(tail[0]) {
			return
		}
		if _, ok := s.turnAt(w, s.before(w, v), v, tail[0]); !ok {
			return
		}
		if len(tail) == 2 {
			if _, ok := s.bendAt(a, tail[0], tail[1]); !ok || !s.open(a, tail[0]) {
				return
			}
		} else if e.inZone {
			if !s.open(a, tail[0]) {
				return
			}
		} else if !s.lastRun(e, a) {
			return
		}
		b := &branch{src: k, pts: append(s.way(w, v), tail...), head: len(h.pts), kept: h.kept, tail: 1, up: -1, tie: !e.inZone}
		b.cost = s.branchPrice(b)
		if b.cost < cost-1e-9 {
			best, cost = b, b.cost
		}
	}
	for {
		v := s.next(w, cost-s.p.Prices.TieIn)
		if v < 0 {
			break
		}
		base := w.label[v].cost
		a := s.graph.spots[v].at
		consider(v, base, e.at)
		if !e.inZone {
			if x, ok := s.exit(e, a); ok && s.lastRun(e, x) {
				consider(v, base, x, e.at)
			}
			for _, x := range e.entries {
				consider(v, base, x, e.at)
			}
		}
	}
	return best
}
