package zone

// The plain lot: no curve is cut but by the mitres with its neighbours.
//
// Then the zone's edge is all the curves, one after another as the rings run,
// and they are drawn, measured and linked in one go: about half the work. It is
// the same certificate (certify.go), and here it shows too that no piece was
// missed: all of every curve is on the edge, but what its neighbours take. The
// first thing in doubt leaves the lot to the general way.

import "math"

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
		w.near(own)
		w.look(l.first, own, 0)
		c := curve{p: s.a, d: s.d, e: s.d, l: 4, r: s.c}
		if len(w.rows[0]) > 1 { // more than itself
			return 0, false
		}
		kites, ok := w.bow(&c, s.d, s.d, 4)
		return -c.r * c.r * kites, ok
	}
	w.near(own)
	w.look(l.first, own, 0)
	row, next := 0, 1
	start := s.start()
	p := start
	cross := func(a, b vec) float64 {
		return (a.x-start.x)*(b.y-start.y) - (b.x-start.x)*(a.y-start.y)
	}
	kites := 0.0
	for i := l.first; i < l.end; i++ {
		s := &w.sides[i]
		f := &w.sides[s.next]
		after := start
		to := 0
		if i+1 < l.end {
			if i+1 >= w.runs[own].first+int32(w.runs[own].n) {
				own++
				w.near(own)
			}
			to, after = next, f.start()
			w.look(i+1, own, to)
		}
		q := after
		if !s.mitred {
			q = s.left(s.b)
		}
		w.hits = w.hits[:0]
		w.hitStraight(w.rows[row])
		if !s.holds(p, q) {
			return 0, false
		}
		for _, j := range w.hits {
			if !w.sides[j].clearOf(p, q) {
				return 0, false
			}
		}
		w.pts = append(w.pts, p)
		whole += cross(p, q)
		if !s.mitred {
			w.hits = w.hits[:0]
			w.hitWedge(w.rows[row], w.rows[to])
			c := curve{wedge: true, own: i, also: s.next, p: s.b, r: s.c}
			t := turned(s.d, f.d)
			if s.ahead < 0 && math.Abs(s.turn) <= level {
				t = 2 // straight back
			}
			k, ok := w.bow(&c, s.normal(), f.normal(), t)
			if !ok {
				return 0, false
			}
			kites += k * s.c * s.c
			whole += cross(q, s.b) + cross(s.b, after)
		}
		p = after
		if row, next = to, row; i == l.first {
			next = 2
		}
	}
	return whole/2 - kites, true
}

// start is where the curve beside an edge begins.
func (s *side) start() vec {
	return vec{s.a.x - s.c*s.d.y + s.lo*s.d.x, s.a.y + s.c*s.d.x + s.lo*s.d.y}
}

// bow draws and measures an arc from direction u to v, t further on, its last
// point left out; w.hits are the edges to measure it against.
func (w *scratch) bow(c *curve, u, v vec, t float64) (kites float64, ok bool) {
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
