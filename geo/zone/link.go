package zone

// The direct routine's second half: parts linked into loops, and arcs drawn.

import (
	"math"

	"github.com/paulmach/orb"
)

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
	even     int32     // how many of its points after the first are from the table
	v, u     orb.Point // u is the direction of its start
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
	l := loop{from: from, to: len(w.pts)}
	start := w.pts[from]
	x, y := 0.0, 0.0
	for _, p := range w.pts[from+1:] { // about the start, to keep the digits
		u, v := p[0]-start[0], p[1]-start[1]
		l.area += x*v - u*y
		x, y = u, v
	}
	l.area /= 2
	return l
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

func apart2(a, b orb.Point) float64 {
	x, y := a[0]-b[0], a[1]-b[1]
	return x*x + y*y
}

// inside tells whether a point clear of a closed ring's edge is within it.
func inside(p orb.Point, r []orb.Point) bool {
	in := false
	for i := 1; i < len(r); i++ {
		if a, b := &r[i-1], &r[i]; (a[1] > p[1]) != (b[1] > p[1]) {
			if (p[0]-a[0])*(b[1]-a[1]) < (b[0]-a[0])*(p[1]-a[1]) == (b[1] > a[1]) {
				in = !in
			}
		}
	}
	return in
}

// ground tells whether a point clear of all edges is in the lot and in no thing.
func (w *scratch) ground(p orb.Point) bool {
	in, thing := false, int32(-1)
	for k := range w.rings {
		l := &w.rings[k]
		if l.thing != thing {
			if in != (thing < 0) {
				return false // not in the lot, or in this thing
			}
			in, thing = false, l.thing
		}
		if !l.area || p[0] < l.x0 || p[0] > l.x1 || p[1] < l.y0 || p[1] > l.y1 {
			continue
		}
		for j := l.first; j < l.end; j++ {
			if s := &w.sides[j]; (s.a[1] > p[1]) != (s.b[1] > p[1]) {
				if (p[0]-s.a[0])*(s.b[1]-s.a[1]) < (s.b[0]-s.a[0])*(p[1]-s.a[1]) == (s.b[1] > s.a[1]) {
					in = !in
				}
			}
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
func (w *scratch) draw(f *fan, v orb.Point, t float64) bool {
	s := w.table(f.r)
	if s == nil {
		return false
	}
	x, y := f.u[0], f.u[1]
	m := 0
	pts := w.pts
	for ; m < len(s.steps) && s.steps[m].end <= t; m++ {
		q := &s.steps[m]
		pts = append(pts, orb.Point{f.v[0] + q.x*x + q.y*y, f.v[1] + q.x*y - q.y*x})
	}
	if m == len(s.steps) && t < 4 && !s.whole {
		return false // too many
	}
	f.even = int32(m)
	f.kites = float64(m) * s.half
	if m > 0 {
		q := &s.steps[m-1]
		x, y = x*q.cos+y*q.sin, y*q.cos-x*q.sin
	}
	if dot := x*v[0] + y*v[1]; 1-dot > 1e-15 { // else nothing is left over
		h := f.r / (1 + dot)
		f.kites += math.Sqrt((1 - dot) / (1 + dot))
		pts = append(pts, orb.Point{f.v[0] + h*(x+v[0]), f.v[1] + h*(y+v[1])})
	}
	w.pts = pts
	f.to = int32(len(pts))
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
