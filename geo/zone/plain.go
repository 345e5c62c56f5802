package zone

// The plain lot: no curve is cut but by the mitres with its neighbours.
//
// Then the zone's edge is all the curves, one after another as the rings run,
// and they are drawn, measured and linked in one go: about half the work. It is
// the same certificate (certify.go), and here it shows too that no piece was
// missed: all of every curve is on the edge, but what its neighbours take. The
// first thing in doubt leaves the lot to the general way.

import (
	"math"

	"github.com/paulmach/orb"
)

// plain draws and certifies a plain lot; false where it is none.
func (w *scratch) plain() bool {
	for i := range w.sides {
		if s := &w.sides[i]; s.l > 0 && (s.hi-s.lo <= numeric || !s.mitred && (w.sides[s.next].c != s.c || !s.inward())) {
			return false
		}
	}
	w.pts, w.loops, w.fans = w.pts[:0], w.loops[:0], w.fans[:0]
	w.open()
	shell := false
	own := 0
	size, off := 0.0, 0.0
	for k := range w.rings {
		from, fans := len(w.pts), len(w.fans)
		whole, ok := w.run(k, own)
		if !ok {
			return false
		}
		for own < len(w.runs) && int(w.runs[own].ring) == k {
			own++
		}
		start := w.pts[from]
		if !w.ground(start) {
			w.pts, w.fans = w.pts[:from], w.fans[:fans]
			continue
		}
		w.pts = append(w.pts, start)
		l := w.loop(from)
		if math.Abs(l.area) < 10*float64(leastPiece) {
			return false
		}
		shell = shell || l.area > 0
		w.loops = append(w.loops, l)
		size += math.Abs(l.area)
		off += math.Abs(whole - l.area)
	}
	return shell && off <= 1e-6*(1+math.Sqrt(size)) && w.bare() && w.simple()
}

// run draws and measures the curves of ring k, whose first run is own. It gives
// the area that they should enclose.
func (w *scratch) run(k, own int) (whole float64, ok bool) {
	l := &w.rings[k]
	s := &w.sides[l.first]
	if s.l == 0 {
		w.look(l.first, own, w.rows[0])
		c := curve{p: s.a, d: s.d, e: s.d, l: 4, r: s.c}
		for r := range w.runs {
			if r != own && w.rows[0][r].beyond != w.runs[r].full {
				return 0, false
			}
		}
		kites, ok := w.bow(&c, s.d, s.d, 4)
		return -c.r * c.r * kites, ok
	}
	first, row, next := w.rows[0], w.rows[0], w.rows[1]
	w.look(l.first, own, first)
	start := s.start()
	p := start
	cross := func(a, b *orb.Point) float64 {
		return (a[0]-start[0])*(b[1]-start[1]) - (b[0]-start[0])*(a[1]-start[1])
	}
	kites := 0.0
	for i := l.first; i < l.end; i++ {
		s := &w.sides[i]
		f := &w.sides[s.next]
		after := start
		to := first
		if i+1 < l.end {
			for i+1 >= w.runs[own].first+int32(w.runs[own].n) {
				own++
			}
			to, after = next, f.start()
			w.look(i+1, own, to)
		}
		q := after
		if !s.mitred {
			q = orb.Point{s.b[0] + s.c*s.n[0], s.b[1] + s.c*s.n[1]}
		}
		w.hits = w.hits[:0]
		for r := range row {
			if m := ^(row[r].beyond | row[r].behind) & w.runs[r].full; m != 0 {
				w.hit(r, m)
			}
		}
		if !s.holds(&p, &q) {
			return 0, false
		}
		for _, j := range w.hits {
			if !w.sides[j].clearOf(&p, &q) {
				return 0, false
			}
		}
		w.pts = append(w.pts, p)
		whole += cross(&p, &q)
		if !s.mitred {
			w.hits = w.hits[:0]
			for r := range row {
				if m := ^(row[r].beyond | to[r].beyond | row[r].behind&to[r].behind) & w.runs[r].full; m != 0 {
					w.hit(r, m)
				}
			}
			c := curve{wedge: true, own: i, also: s.next, p: s.b, r: s.c}
			t := turned(s.n, f.n)
			if s.ahead < 0 && math.Abs(s.turn) <= level {
				t = 2 // straight back
			}
			k, ok := w.bow(&c, s.n, f.n, t)
			if !ok {
				return 0, false
			}
			kites += k * s.c * s.c
			whole += cross(&q, &s.b) + cross(&s.b, &after)
		}
		p = after
		if row, next = to, row; i == l.first {
			next = w.rows[2]
		}
	}
	return whole/2 - kites, true
}

// start is where the curve beside an edge begins.
func (s *side) start() orb.Point {
	return orb.Point{s.a[0] + s.c*s.n[0] + s.lo*s.d[0], s.a[1] + s.c*s.n[1] + s.lo*s.d[1]}
}

// bow draws and measures an arc from direction u to v, t further on, its last
// point left out; w.hits are the edges to measure it against.
func (w *scratch) bow(c *curve, u, v orb.Point, t float64) (kites float64, ok bool) {
	f := fan{from: int32(len(w.pts)), v: c.p, u: u, r: c.r}
	w.pts = append(w.pts, c.out(u))
	if !w.draw(&f, v, t) {
		return 0, false
	}
	w.pts = append(w.pts, c.out(v))
	ok = w.arched(c, &f, w.hits)
	w.pts = w.pts[:f.to]
	w.fans = append(w.fans, f)
	return f.kites, ok
}
