package zone

// The direct routine's second half: parts linked into loops, and arcs drawn.

import "math"

// join is how far the end of a part may lie from the start of the next.
const join = 1e-7

// drawn is a part as drawn: from the point pts[from] to pts[to].
type drawn struct {
	part     int32
	fan      int32 // of an arc
	from, to int32
}

// loop is a closed run of points pts[from:to], the first repeated at the end.
type loop struct {
	from, to int
	area     float64
}

// fan is where an arc about v was drawn: its points are pts[from:to+1].
type fan struct {
	from, to int32
	arc      int32
	even     int32 // how many of its points after the first are from the table
	v, u     vec   // u is the direction of its start
	r        float64
	kites    float64 // the sum of the tangents of its half steps
}

// assemble links the parts into loops; false when an end finds no start, or
// there is nothing.
func (w *scratch) assemble() bool {
	w.pts, w.loops, w.fans, w.drawn = w.pts[:0], w.loops[:0], w.fans[:0], w.drawn[:0]
	id, shell := int32(0), false
	for i := range w.parts {
		if w.parts[i].loop > 0 {
			continue
		}
		id++
		from, fans, run := len(w.pts), len(w.fans), len(w.drawn)
		start := w.parts[i].p0
		open := false
		for k := int32(i); ; {
			p := &w.parts[k]
			p.loop = id
			if !w.stroke(k) {
				return false
			}
			if apart2(p.p1, start) <= join*join {
				break
			}
			if k = w.follow(k); k < 0 {
				// beyond the lot line or within a thing a chain ends where a
				// curve on the far side would go on; on the ground none does
				if w.ground(start) {
					return false
				}
				open = true
				break
			}
		}
		if open || !w.ground(start) {
			w.pts, w.fans, w.drawn = w.pts[:from], w.fans[:fans], w.drawn[:run]
			continue
		}
		w.pts = append(w.pts, start)
		l := w.loop(from)
		if math.Abs(l.area) < 10*float64(leastPiece) {
			return false // a piece about too small to be one
		}
		shell = shell || l.area > 0
		w.loops = append(w.loops, l)
	}
	return shell
}

// loop is that of the points from one on, closed.
func (w *scratch) loop(from int) loop {
	pts := w.pts[from:]
	start := pts[0]
	x, y := 0.0, 0.0
	a, b := 0.0, 0.0 // two sums at a time, which wait for one another less
	i := 1
	for ; i+1 < len(pts); i += 2 { // about the start, to keep the digits
		u, v := pts[i].x-start.x, pts[i].y-start.y
		a += x*v - u*y
		x, y = pts[i+1].x-start.x, pts[i+1].y-start.y
		b += u*y - x*v
	}
	if i < len(pts) {
		u, v := pts[i].x-start.x, pts[i].y-start.y
		a += x*v - u*y
	}
	return loop{from: from, to: len(w.pts), area: (a + b) / 2}
}

// follow finds the part that starts where part k ends: the next one, or any; -1
// for none.
func (w *scratch) follow(k int32) int32 {
	p := w.parts[k].p1
	if m := k + 1; int(m) < len(w.parts) && w.parts[m].loop == 0 && apart2(p, w.parts[m].p0) <= join*join {
		return m
	}
	for m := range w.parts {
		if w.parts[m].loop == 0 && apart2(p, w.parts[m].p0) <= join*join {
			return int32(m)
		}
	}
	return -1
}

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
			if (p.x-a.x)*(b.y-a.y) < (b.x-a.x)*(p.y-a.y) == up {
				in = !in
			}
		}
	}
	return in
}

// ground tells whether a point clear of all edges is in the lot and in no thing.
func (w *scratch) ground(p vec) bool {
	in, thing := false, int32(-1)
	at := int32(0) // of the ring, in verts
	for k := range w.rings {
		l := &w.rings[k]
		if l.thing != thing {
			if in != (thing < 0) {
				return false // not in the lot, or in this thing
			}
			in, thing = false, l.thing
		}
		from := at
		at += l.end - l.first + 1
		if !l.area || p.x < l.x0 || p.x > l.x1 || p.y < l.y0 || p.y > l.y1 {
			continue
		}
		if inside(p, w.verts[from:at]) {
			in = !in
		}
	}
	return in == (thing < 0)
}

// stroke adds the points of a part, its last one left to the next part. An arc
// is drawn by tangents at even steps and one more that is left over. It is false
// where a point falls on the one before.
func (w *scratch) stroke(k int32) bool {
	p := &w.parts[k]
	n := len(w.pts)
	if n > 0 && apart2(w.pts[n-1], p.p0) <= numeric*numeric {
		return false
	}
	w.pts = append(w.pts, p.p0)
	if p.arc < 0 {
		w.drawn = append(w.drawn, drawn{part: k, fan: -1, from: int32(n), to: int32(n + 1)})
		return true
	}
	c := &w.arcs[p.arc]
	f := fan{from: int32(n), arc: p.arc, u: p.u0, v: c.p, r: c.r}
	t := turned(p.u0, p.u1)
	switch {
	case t > 3 && p.wide < 1:
		t = 0
	case t < 1 && p.wide > 3:
		t = 4
	}
	if !w.draw(&f, p.u1, t) {
		return false
	}
	w.drawn = append(w.drawn, drawn{part: k, fan: int32(len(w.fans)), from: f.from, to: f.to})
	w.fans = append(w.fans, f)
	return true
}

// draw adds the points of an arc between its ends, the last in direction v, t
// further on than the first.
func (w *scratch) draw(f *fan, v vec, t float64) bool {
	s := w.table(f.r)
	if s == nil {
		return false
	}
	x, y := f.u.x, f.u.y
	cx, cy := f.v.x, f.v.y
	n := len(w.pts)
	if most := n + len(s.steps) + 1; most > cap(w.pts) {
		w.pts = append(make([]vec, 0, 2*most), w.pts...)
	}
	steps := s.steps
	pts := w.pts[n : n+len(steps)+1]
	m := 0
	for ; m < len(steps); m++ {
		q := &steps[m]
		if q.end > t {
			break
		}
		pts[m] = vec{cx + q.x*x + q.y*y, cy + q.x*y - q.y*x}
	}
	if m == len(steps) && t < 4 && !s.whole {
		return false // too many
	}
	f.even = int32(m)
	f.kites = float64(m) * s.half
	if m > 0 {
		q := &steps[m-1]
		x, y = x*q.cos+y*q.sin, y*q.cos-x*q.sin
	}
	if dot := x*v.x + y*v.y; 1-dot > 1e-15 { // else nothing is left over
		h := f.r / (1 + dot)
		f.kites += math.Sqrt((1 - dot) / (1 + dot))
		pts[m] = vec{cx + h*(x+v.x), cy + h*(y+v.y)}
		m++
	}
	w.pts = w.pts[:n+m]
	f.to = int32(n + m)
	return true
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
	for i := range w.tables {
		if w.tables[i].r == r {
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
