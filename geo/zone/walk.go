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
	w.near(0)
	own := 0 // the run that the edge is in
	for k := range w.rings {
		own = w.walkRing(k, own)
	}
}

// walkRing draws the chains of ring k; own is the run of the edge before, and of
// its last edge in the end.
func (w *scratch) walkRing(k, own int) int {
	l := &w.rings[k]
	s := &w.sides[l.first]
	head := len(w.chains)
	w.at, w.down = int32(k), false
	own = w.enterRun(l.first, own)
	first := w.look(l.first, 0)
	if s.l == 0 { // a point: a full circle
		c := curve{own: l.first, also: l.first, p: s.a, d: s.d, e: s.d, l: 4, r: s.c}
		h := len(w.hits)
		for k := range first {
			r := &first[k]
			w.hit(r.run, ^r.out&^(1<<uint32(l.first-w.runs[r.run].first)))
		}
		w.round(&c, h)
		w.join(head, c.out(c.d))
		return own
	}
	row := first
	start := s.at
	p := start
	for i := l.first; i < l.end; i++ {
		s := &w.sides[i]
		after, to := start, first
		if i+1 < l.end {
			own = w.enterRun(i+1, own)
			after, to = w.sides[s.next].at, w.look(i+1, 1+int(i&1))
		}
		if s.mitred {
			w.straight(i, row, p, after)
		} else {
			q := s.left(s.b)
			w.straight(i, row, p, q)
			if !w.wedge(s, &w.sides[s.next], row, to, q, after) {
				w.corner(i, row, to, q)
			}
		}
		p, row = after, to
	}
	w.join(head, start)
	return own
}

// enterRun gives the run that slot i is in, own or the one after it, and what is
// near that.
func (w *scratch) enterRun(i int32, own int) int {
	if i >= w.runs[own].first+w.runs[own].n {
		own++
		w.near(own)
	}
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
