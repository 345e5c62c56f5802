package profile

// Convex functions of a level, made of straight pieces, in one growing slab of
// memory that is emptied at once.

import "math"

// tight is the numeric tolerance of levels, in metres: nearer than this is the
// same place. It is no rule's tolerance.
const tight = 1e-9

// A pt is a level and the least price of arriving there.
type pt struct{ x, y float64 }

// A fn is a convex function on [first x, last x] of slab[a:b]; b == a means
// that no level is possible. One point means that one level only is.
type fn struct{ a, b int32 }

type slab struct{ p []pt }

func (s *slab) pts(f fn) []pt { return s.p[f.a:f.b] }

func (f fn) empty() bool { return f.b <= f.a }

// open begins a function at the end of the slab; push and done finish it.
func (s *slab) open() int32 { return int32(len(s.p)) }

// push adds a point to the function begun at a. Points come with ascending x.
// A point that lies on the line of its neighbours is left out.
func (s *slab) push(a int32, x, y float64) {
	n := int32(len(s.p))
	if n > a {
		q := &s.p[n-1]
		if x <= q.x+1e-12 {
			if y < q.y {
				q.y = y
			}
			return
		}
		if n > a+1 {
			o := s.p[n-2]
			// q on the line from o to (x, y)
			if d := (q.y-o.y)*(x-o.x) - (y-o.y)*(q.x-o.x); d < 1e-13*(x-o.x)*(1+math.Abs(q.y)) && d > -1e-13*(x-o.x)*(1+math.Abs(q.y)) {
				*q = pt{x, y}
				return
			}
		}
	}
	s.p = append(s.p, pt{x, y})
}

func (s *slab) done(a int32) fn { return fn{a, int32(len(s.p))} }

// at is the value of f at x; x beyond the ends takes the end's.
func at(p []pt, x float64) float64 {
	if x <= p[0].x {
		return p[0].y
	}
	for i := 1; i < len(p); i++ {
		if x <= p[i].x {
			o, q := p[i-1], p[i]
			if q.x-o.x < 1e-12 {
				return min(o.y, q.y)
			}
			return o.y + (q.y-o.y)*((x-o.x)/(q.x-o.x))
		}
	}
	return p[len(p)-1].y
}

// lowest is the index of the least value; of equals, the highest level.
func lowest(p []pt) int {
	j := 0
	for i := 1; i < len(p); i++ {
		if p[i].y <= p[j].y {
			j = i
		}
	}
	return j
}

// window returns g(u) = min f(d) over d in [u+o, u+o+drop], for u in [lo, hi]:
// the price upstream of an arriving pipe, as a function of the level of the
// pipe that takes it on.
func (s *slab) window(f fn, o, drop, lo, hi float64) fn {
	p := s.pts(f)
	j := lowest(p)
	a := s.open()
	first, last := p[0].x-o-drop, p[len(p)-1].x-o
	if last < lo-tight || first > hi+tight || hi < lo-tight {
		return fn{a, a}
	}
	if hi < lo {
		hi = lo
	}
	value := func(u float64) float64 {
		switch d := p[j].x; {
		case u+o > d:
			return at(p, u+o)
		case u+o+drop < d:
			return at(p, u+o+drop)
		}
		return p[j].y
	}
	x0, x1 := max(first, lo), min(last, hi)
	if x1 < x0 {
		x1 = x0
	}
	s.push(a, x0, value(x0))
	for i := 0; i <= j; i++ {
		if x := p[i].x - o - drop; x > x0 && x < x1 {
			s.push(a, x, p[i].y)
		}
	}
	for i := j; i < len(p); i++ {
		if x := p[i].x - o; x > x0 && x < x1 {
			s.push(a, x, p[i].y)
		}
	}
	s.push(a, x1, value(x1))
	return s.done(a)
}

// sum returns f + g where both are.
func (s *slab) sum(f, g fn) fn {
	p, q := s.pts(f), s.pts(g)
	a := s.open()
	lo, hi := max(p[0].x, q[0].x), min(p[len(p)-1].x, q[len(q)-1].x)
	if lo > hi+tight {
		return fn{a, a}
	}
	if hi < lo {
		hi = lo
	}
	s.push(a, lo, at(p, lo)+at(q, lo))
	i, j := 0, 0
	for {
		for i < len(p) && p[i].x <= lo {
			i++
		}
		for j < len(q) && q[j].x <= lo {
			j++
		}
		x := hi
		if i < len(p) && p[i].x < x {
			x = p[i].x
		}
		if j < len(q) && q[j].x < x {
			x = q[j].x
		}
		if x >= hi {
			break
		}
		s.push(a, x, at(p, x)+at(q, x))
		lo = x
	}
	s.push(a, hi, at(p, hi)+at(q, hi))
	return s.done(a)
}

// covers says that f offers every level of g at no higher price: g may go.
func covers(p, q []pt) bool {
	m, n := len(p)-1, len(q)-1
	if p[0].x > q[0].x+tight || p[m].x < q[n].x-tight {
		return false
	}
	if n == 0 || m == 0 {
		return at(p, q[0].x) <= q[0].y+1e-12*(1+math.Abs(q[0].y))
	}
	// Two functions of straight pieces: the corners of both decide.
	for _, c := range q {
		if at(p, c.x) > c.y+1e-12*(1+math.Abs(c.y)) {
			return false
		}
	}
	for _, c := range p {
		if c.x > q[0].x && c.x < q[n].x && c.y > at(q, c.x)+1e-12*(1+math.Abs(c.y)) {
			return false
		}
	}
	return true
}
