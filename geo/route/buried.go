package route

// Lines in the ground that are crossed as near to square as is asked.

import (
	"math"

	"github.com/paulmach/orb"
)

// buried is a line made ready.
type buried struct {
	pts     []orb.Point
	boxes   []box   // of all that touches each piece of the line
	box             // of all that touches the line
	sin     float64 // of the least angle
	price   float64
	forbids bool
}

func (s *site) bury() {
	for _, b := range s.p.Buried {
		if !(b.LeastAngle > 0) || b.Aslant == 0 {
			continue
		}
		d := buried{sin: math.Sin(float64(min(b.LeastAngle, 90*Degree)) - angleEps), price: b.Aslant, forbids: math.IsInf(b.Aslant, 1)}
		d.box = emptyBox()
		for _, p := range b.Line {
			p = sub(p, s.origin)
			if n := len(d.pts); n > 0 {
				x := boxOf(d.pts[n-1], p)
				for c := range 2 {
					x.lo[c], x.hi[c] = x.lo[c]-touching, x.hi[c]+touching
				}
				d.boxes = append(d.boxes, x)
				d.take(x)
			}
			d.pts = append(d.pts, p)
		}
		s.buried = append(s.buried, d)
	}
}

// aslant counts how often a run meets the line at less than the least angle; a
// run that only touches it, or lies along it, meets it.
func (b *buried) aslant(m *beam) int {
	if m.misses(&b.box) {
		return 0
	}
	n := 0
	d := sub(m.b, m.a)
	for i := range b.boxes {
		if m.misses(&b.boxes[i]) || !touches(m.a, m.b, b.pts[i], b.pts[i+1]) {
			continue
		}
		e := sub(b.pts[i+1], b.pts[i])
		if math.Abs(cross(d, e)) < b.sin*math.Sqrt(dot(d, d)*dot(e, e)) {
			n++
		}
	}
	return n
}

// crosses tells whether a run meets a buried line at an angle that is forbidden.
func (s *site) crosses(p, q orb.Point) bool {
	if len(s.buried) == 0 || p == q {
		return false
	}
	m := newBeam(p, q, dist(p, q), eps)
	for i := range s.buried {
		if b := &s.buried[i]; b.forbids && b.aslant(&m) > 0 {
			return true
		}
	}
	return false
}

// open tells whether a run may lie between p and q: in the zone, and over no
// buried line at an angle that is forbidden.
func (s *site) open(p, q orb.Point) bool {
	m := s.recall(p, q)
	if m.open == 0 {
		m.open = -1
		if s.zone.clear(p, q) && !s.crosses(p, q) {
			m.open = 1
		}
	}
	return m.open > 0
}

// aslantPrice is what a run costs for meeting the line aslant, where that is not
// forbidden.
func (b *buried) aslantPrice(m *beam) float64 {
	if b.forbids {
		return 0
	}
	return b.price * float64(b.aslant(m))
}

// addCrossings puts places into the graph from which a run crosses a buried line
// square: beside where the straight way from each head to each target meets it,
// and beside the feet of heads and targets on it.
func (s *site) addCrossings() {
	var ends, targets []orb.Point
	for i := range s.heads {
		if h := &s.heads[i]; h.why == "" && h.target < 0 {
			ends = append(ends, h.pts[len(h.pts)-1])
		}
	}
	for i := range s.p.Targets {
		if s.p.Targets[i].Closed == "" {
			targets = append(targets, sub(s.p.Targets[i].At, s.origin))
		}
	}
	off := math.Max(s.ls, 0.5)
	for _, b := range s.buried {
		for i := 0; i+1 < len(b.pts); i++ {
			p, q := b.pts[i], b.pts[i+1]
			if dist(p, q) < off {
				continue
			}
			u := unitVec(p, q)
			put := func(at orb.Point) {
				for _, side := range []float64{off, -off} {
					if c := along(at, orb.Point{-u[1], u[0]}, side); s.zone.holds(c) {
						s.addSpot(spot{at: c, source: -1})
					}
				}
			}
			for _, e := range append(append([]orb.Point(nil), ends...), targets...) {
				if f := foot(e, p, q); dist(f, e) > off {
					put(f)
				}
			}
			for _, e := range ends {
				for _, t := range targets {
					if touches(e, t, p, q) {
						if m, ok := meet(p, u, e, unitVec(e, t)); ok {
							put(m)
						}
					}
				}
			}
		}
	}
}
