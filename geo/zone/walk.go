package zone

// The walk along the rings: each edge's curve and the arc at its end, drawn and
// certified in one go.
//
// Most curves are whole: no other edge takes anything of them, and where one
// ends the next begins. They need no linking, and what tells that nothing is
// taken is the certificate too (certify.go). A curve that is cut ends the chain
// under the pen and starts another behind the cut; such an end is certified when
// it is known which chain goes on there (link.go).

// walk draws all chains.
func (w *scratch) walk() {
	w.arcs, w.hits, w.pts, w.fans, w.chains = w.arcs[:0], w.hits[:0], w.pts[:0], w.fans[:0], w.chains[:0]
	if m := len(w.runs) * len(w.rings); cap(w.clear) < m {
		w.clear = make([]uint64, 2*m)
	} else {
		w.clear = w.clear[:m]
	}
	own := 0 // the run that the edge is in
	for k := range w.rings {
		own = w.walkRing(k, own) + 1
	}
}

// walkRing draws the chains of ring k, whose first run is own. It gives its last
// run.
func (w *scratch) walkRing(k, own int) int {
	l := &w.rings[k]
	s := &w.sides[l.first]
	head := len(w.chains)
	w.down = false
	w.near(own)
	w.look(l.first, own, 0)
	if s.l == 0 { // a point: a full circle
		c := curve{own: l.first, also: l.first, p: s.a, d: s.d, e: s.d, l: 4, r: s.c}
		h := len(w.hits)
		for k := range w.rows[0] {
			if r := &w.rows[0][k]; int(r.run) != own {
				w.hit(r.run, ^r.beyond)
			}
		}
		w.round(&c, h)
		w.join(head, c.out(c.d))
		return own
	}
	row, next := 0, 1
	start := s.at
	p := start
	for i := l.first; i < l.end; i++ {
		s := &w.sides[i]
		after, to := start, 0
		if i+1 < l.end {
			if i+1 >= w.runs[own].first+int32(w.runs[own].n) {
				own++
				w.near(own)
			}
			after, to = w.sides[s.next].at, next
			w.look(i+1, own, to)
		}
		if s.mitred {
			w.straight(i, w.rows[row], p, after)
		} else {
			q := s.left(s.b)
			w.straight(i, w.rows[row], p, q)
			if !w.wedge(s, &w.sides[s.next], w.rows[row], w.rows[to], q, after) {
				w.corner(i, w.rows[row], w.rows[to], q)
			}
		}
		p = after
		if row, next = to, row; i == l.first {
			next = 2
		}
	}
	w.join(head, start)
	return own
}

// join ends the walk of a ring whose first chain is head: one under the pen goes on
// into it where it begins, at p.
func (w *scratch) join(head int, p vec) {
	if !w.down {
		return
	}
	if c := w.end(p); w.pts[w.chains[head].from] == p {
		c.next = int32(head)
	}
}
