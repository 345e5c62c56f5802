package zone

// Chains of curves: how they are drawn, linked into loops, and certified where
// that had to wait for the link; and how arcs are drawn.

import "math"

// join is how far the end of a chain may lie from the start of the next.
const join = 1e-7

// chain is a run of curves as drawn, each from where the one before ends: the
// points pts[from:to+1], of which the last is where the next chain starts, once
// that is known.
type chain struct {
	from, to int32
	fans     stretch
	next     int32 // the chain it runs on into; -1 where that is to be found
	loop     int32 // the loop it was linked into, from 1
	ring     int32 // that it was drawn round
	beside   bool  // a piece of it runs beside an edge
	sure     bool  // it is certified but for last
	last     piece
	area     float64 // what its pieces hold with the origin
}

// piece is the end of a chain that was cut off: what it is to be measured against
// when it is known where the next one starts.
type piece struct {
	own, arc int32 // the edge that a straight one runs beside, or the arc in arcs
	fan      int32 // of an arc; -1 for a straight one
	hits     stretch
}

// loop is a closed run of points, the first repeated at the end.
type loop struct {
	pts  []vec
	area float64
}

// fan is where an arc about v was drawn: its points are pts[from:to+1].
type fan struct {
	from, to int32
	even     int32 // how many of its points after the first are from the table
	v, u     vec   // u is the direction of its start
	r        float64
	kites    float64 // the sum of the tangents of its half steps
}

// begin starts a piece at p: on from the piece before where the pen is down, else
// as a chain of its own.
func (w *scratch) begin(p vec, sure bool) *chain {
	if !w.down {
		w.open()
	}
	w.pts = append(w.pts, p)
	c := &w.chains[len(w.chains)-1]
	c.sure = c.sure && sure
	return c
}

// beside starts a straight piece from p to q.
func (w *scratch) beside(p, q vec, sure bool) {
	c := w.begin(p, sure)
	c.area += cross(p, q) / 2
	c.beside = true
}

// open adds a chain and sets the pen down.
func (w *scratch) open() {
	w.down = true
	w.chains = append(w.chains, chain{from: int32(len(w.pts)), ring: w.at, fans: stretch{from: int32(len(w.fans))}, next: -1, sure: true, last: piece{own: -1}})
}

// end ends the chain at p.
func (w *scratch) end(p vec) *chain {
	w.down = false
	c := &w.chains[len(w.chains)-1]
	c.to, c.fans.to = int32(len(w.pts)), int32(len(w.fans))
	w.pts = append(w.pts, p)
	return c
}

// lift ends the chain at p if there is one under the pen.
func (w *scratch) lift(p vec) {
	if w.down {
		w.end(p)
	}
}

// assemble links the chains into loops and certifies them; false when an end finds
// no start, the certificate does not hold, or there is nothing.
func (w *scratch) assemble() bool {
	w.loops, w.joined = w.loops[:0], w.joined[:0]
	id, shell := int32(0), false
	size, off := 0.0, 0.0
	for i := range w.chains {
		if w.chains[i].loop > 0 {
			continue
		}
		id++
		w.order = w.order[:0]
		start := w.pts[w.chains[i].from]
		closed := false
		for k := int32(i); ; {
			c := &w.chains[k]
			c.loop = id
			w.order = append(w.order, k)
			k = c.next
			if k < 0 {
				if apart2(w.pts[c.to], start) <= join*join {
					k = int32(i)
				} else {
					k = w.follow(w.pts[c.to])
				}
			}
			if closed = k == int32(i); closed || k < 0 || w.chains[k].loop > 0 {
				break
			}
		}
		ground := w.ground(start, w.chains[i].ring)
		if !ground {
			// beyond the lot line or within a thing a chain may end where a curve
			// on the far side would go on
			for _, k := range w.order {
				for m := w.chains[k].fans.from; m < w.chains[k].fans.to; m++ {
					w.fans[m].to = w.fans[m].from
				}
			}
			continue
		}
		if !closed {
			return false
		}
		l, whole, ok := w.bind(w.order)
		if !ok || l.area > -10*float64(leastPiece) && l.area < float64(leastPiece) {
			// in doubt; or a piece too small to be one as drawn, for arcs take from it;
			// or a hole about too small, to which they add
			return false
		}
		size += math.Abs(l.area)
		off += math.Abs(l.area - whole)
		shell = shell || l.area > 0
		w.loops = append(w.loops, l)
	}
	return shell && off <= sameArea*(1+math.Sqrt(size)) && w.bare() && w.simple() && w.nested()
}

// bind makes a loop of chains that follow one another, and certifies what waited
// for that. It gives too the area that its pieces should enclose.
func (w *scratch) bind(order []int32) (l loop, whole float64, ok bool) {
	for i, k := range order {
		c := &w.chains[k]
		next := &w.chains[order[0]]
		if i+1 < len(order) {
			next = &w.chains[order[i+1]]
		}
		if !c.sure {
			return loop{}, 0, false
		}
		if c.beside {
			w.rings[c.ring].met = true
		}
		p, e, q := w.pts[c.to-1], w.pts[c.to], w.pts[next.from]
		w.pts[c.to] = q
		switch o := &c.last; {
		case o.own < 0: // certified
		case apart2(p, q) <= numeric*numeric:
			return loop{}, 0, false
		case o.fan >= 0:
			if !w.arched(&w.arcs[o.arc], &w.fans[o.fan], w.hits[o.hits.from:o.hits.to]) {
				return loop{}, 0, false
			}
		case !w.side(o.own, o.hits, p, q):
			return loop{}, 0, false
		case apart2(e, q) > numeric*numeric: // not what the edges left out are clear of
			for j := range w.sides {
				if !w.sides[j].clearOf(p, q) {
					return loop{}, 0, false
				}
			}
		}
		whole += c.area
		// reckoned to the end as drawn; the next chain begins up to join off it
		whole += cross(p, vec{q.x - e.x, q.y - e.y}) / 2
	}
	if len(order) == 1 {
		c := &w.chains[order[0]]
		l.pts = w.pts[c.from : c.to+1 : c.to+1]
	} else {
		from := len(w.joined)
		for _, k := range order {
			c := &w.chains[k]
			w.joined = append(w.joined, w.pts[c.from:c.to]...)
		}
		w.joined = append(w.joined, w.joined[from])
		l.pts = w.joined[from:len(w.joined):len(w.joined)]
	}
	l.area = areaOf(l.pts)
	return l, whole, true
}

// areaOf is the area within a closed ring, negative where it runs clockwise.
func areaOf(pts []vec) float64 {
	if vector {
		return twice(&pts[0], int64(len(pts))) / 2
	}
	return twiceArea(pts) / 2
}

// twiceArea reckons about the ring's start and side by side, to keep the digits, and
// in two sums at a time, which wait for one another less.
func twiceArea(pts []vec) float64 {
	start := pts[0]
	a, b := 0.0, 0.0
	var p vec // the end of the last pair of sides
	i := 1
	for ; i+1 < len(pts); i += 2 {
		q := vec{pts[i].x - start.x, pts[i].y - start.y}
		r := vec{pts[i+1].x - start.x, pts[i+1].y - start.y}
		a += p.x*q.y - p.y*q.x
		b += q.x*r.y - q.y*r.x
		p = r
	}
	if i < len(pts) {
		q := vec{pts[i].x - start.x, pts[i].y - start.y}
		a += p.x*q.y - p.y*q.x
	}
	return a + b
}

// follow finds a chain that starts at p; -1 for none.
func (w *scratch) follow(p vec) int32 {
	for k := range w.chains {
		if c := &w.chains[k]; c.loop == 0 && apart2(p, w.pts[c.from]) <= join*join {
			return int32(k)
		}
	}
	return -1
}

// cross is twice the area of the triangle of two points and the origin.
func cross(a, b vec) float64 { return a.x*b.y - b.x*a.y }

func apart2(a, b vec) float64 {
	x, y := a.x-b.x, a.y-b.y
	return x*x + y*y
}

// inside tells whether a point clear of a closed ring's edge is within it.
func inside(p vec, r []vec) bool {
	in := false
	above := r[0].y > p.y
	for i := 1; i < len(r); i++ {
		if up := r[i].y > p.y; up != above {
			above = up
			a, b := &r[i-1], &r[i]
			in = in != ((p.x-a.x)*(b.y-a.y) < (b.x-a.x)*(p.y-a.y) == up)
		}
	}
	return in
}

// ground tells whether a point clear of all edges, at which a curve about ring own
// begins, is in the lot and in no thing. Where the ring has one clearance it is on
// its ground side: on the way to the edge it keeps that from lies nothing of the
// ring, which would be nearer.
func (w *scratch) ground(p vec, own int32) bool {
	in, thing := false, int32(-1)
	for k := range w.rings {
		l := &w.rings[k]
		if l.thing != thing {
			if in != (thing < 0) {
				return false // not in the lot, or in this thing
			}
			in, thing = false, l.thing
		}
		if l.even && int32(k) == own {
			in = in != l.inner
			continue
		}
		if !l.area || p.x < l.x0 || p.x > l.x1 || p.y < l.y0 || p.y > l.y1 {
			continue
		}
		if w.verts.hold(l.first, l.end, p) {
			in = !in
		}
	}
	return in == (thing < 0)
}

// fan draws an arc about v from direction u to m, t further on, where it ends at q,
// and adds it to the chain: its first point is drawn already, the last is left to
// what follows. It gives the fan, or -1 where it can't be drawn.
func (w *scratch) fan(v vec, r float64, u, m vec, t float64, q vec) int32 {
	n := len(w.fans)
	if n == cap(w.fans) {
		w.fans = append(w.fans, fan{})
	}
	w.fans = w.fans[:n+1]
	f := &w.fans[n]
	f.from, f.v, f.u, f.r = int32(len(w.pts)-1), v, u, r
	p := &w.pts[f.from]
	// the kites lie to the right of the arc, with the triangles of its ends about
	// the centre
	area := (p.x-q.x)*v.y - (p.y-q.y)*v.x
	l := &w.chains[len(w.chains)-1]
	if !w.draw(f, m, t) {
		w.fans = w.fans[:n]
		l.sure = false
		return -1
	}
	l.area += area/2 - r*r*f.kites
	return int32(n)
}

// draw adds the points of an arc between its ends, the last in direction v, t
// further on than the first.
func (w *scratch) draw(f *fan, v vec, t float64) bool {
	s := w.table(f.r)
	if s == nil {
		return false
	}
	n := len(w.pts)
	if most := n + len(s.steps) + 1; most > cap(w.pts) {
		w.pts = append(make([]vec, 0, 2*most), w.pts...)
	}
	steps := s.steps
	pts := w.pts[n : n+len(steps)+1]
	m := 0
	for m < len(steps) && !(steps[m].end > t) {
		m++
	}
	if m == len(steps) && t < 4 && !s.whole {
		return false // too many
	}
	f.even = int32(m)
	f.kites = float64(m) * s.half
	x, y := f.u.x, f.u.y
	if m > 0 {
		if vector {
			turn(&pts[0], &steps[0], int64(m), &f.v, &f.u)
		} else {
			turnSteps(pts, steps[:m], f.v, f.u)
		}
		q := &steps[m-1]
		x, y = x*q.cos+y*q.sin, y*q.cos-x*q.sin
	}
	if dot := x*v.x + y*v.y; 1-dot > 1e-15 { // else nothing is left over
		k := 1 / (1 + dot)
		f.kites += math.Abs(x*v.y-y*v.x) * k // the tangent of half the angle
		pts[m] = vec{f.v.x + f.r*k*(x+v.x), f.v.y + f.r*k*(y+v.y)}
		m++
	}
	w.pts = w.pts[:n+m]
	f.to = int32(n + m)
	return true
}

// turnSteps gives the points of an arc about at that begins in direction u.
func turnSteps(pts []vec, steps []step, at, u vec) {
	for i := range steps {
		q := &steps[i]
		pts[i] = vec{at.x + q.x*u.x + q.y*u.y, at.y + q.x*u.y - q.y*u.x}
	}
}

// table holds the even steps of an arc of radius r, as far round as it goes: at
// most mostSteps.
type table struct {
	r     float64
	half  float64 // tangent of half a step
	whole bool    // once round
	steps []step
}

// step is where the tangent of a step and the one before meet, times the radius,
// along the start and clockwise across; and the direction at the step's end with
// its place as of turned.
type step struct{ x, y, cos, sin, end float64 }

const mostSteps = 1024

// table is that of a radius, its steps the greatest whose tangents meet no more
// than arcError beyond it.
func (w *scratch) table(r float64) *table {
	if t := &w.tables[w.latest]; t.r == r {
		return t
	}
	return w.tableOf(r)
}

// tableOf is the table of a radius that is not that of the last one asked for.
func (w *scratch) tableOf(r float64) *table {
	for i := range w.tables {
		if w.tables[i].r == r {
			w.latest = i
			return &w.tables[i]
		}
	}
	w.latest = (w.latest + 1) % len(w.tables)
	t := &w.tables[w.latest]
	half := math.Acos(r / (r + arcError))
	t.r, t.half, t.steps, t.whole = r, math.Tan(half), t.steps[:0], false
	k := r / math.Cos(half)
	for i := 0; i < mostSteps; i++ {
		a := float64(2*i+2) * half
		if a > 2*math.Pi {
			t.whole = true
			break
		}
		s, c := math.Sincos(a - half)
		q := step{x: k * c, y: k * s}
		q.sin, q.cos = math.Sincos(a)
		q.end = place(q.cos, q.sin)
		t.steps = append(t.steps, q)
	}
	if !t.certify() {
		t.r = -1
		return nil
	}
	return t
}
