package verify

// Distances and sides: decided in float64 where the rounding error can't
// matter, else with rational numbers.

import (
	"math"
	"math/big"
	"strconv"
)

// limit is a distance given as a sum of decimal numbers, kept so that it can be
// had exactly.
type limit struct {
	m     float64
	terms []float64
}

func sum(terms ...float64) limit {
	l := limit{terms: terms}
	for _, t := range terms {
		l.m += t
	}
	return l
}

func (l limit) plus(t ...float64) limit {
	return sum(append(append([]float64(nil), l.terms...), t...)...)
}

// decimal is the rational number that the shortest decimal of f names.
func decimal(f float64) *big.Rat {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(f, 'g', -1, 64))
	if !ok {
		return new(big.Rat)
	}
	return r
}

func (l limit) rat() *big.Rat {
	r := new(big.Rat)
	for _, t := range l.terms {
		r.Add(r, decimal(t))
	}
	return r
}

type rpt struct{ x, y *big.Rat }

func (p *plane) rational(q pt) rpt {
	if !q.exact || p == nil {
		x, y := new(big.Rat), new(big.Rat)
		x.SetFloat64(q.x)
		y.SetFloat64(q.y)
		return rpt{x, y}
	}
	u := big.NewRat(p.ratio[0], p.ratio[1])
	at := func(i int) *big.Rat {
		r := decimal(q.doc[i])
		r.Sub(r, decimal(p.origin[i]))
		return r.Mul(r, u)
	}
	return rpt{at(0), at(1)}
}

// rounding bounds the error of a distance worked in float64 from coordinates of
// this size: a shift and a product round each coordinate by at most 2^-52 of
// itself, a distance between segments moves by no more than its ends do, and
// the cross product over the length adds a few 2^-53 of the arms. The true bound
// is under 1e-14 of the coordinates; a hundred thousand times that is taken.
func rounding(ps ...pt) float64 {
	m := 1.0
	for _, p := range ps {
		m = max(m, math.Abs(p.x), math.Abs(p.y))
	}
	return 1e-9 * m
}

func cross(a, b, c pt) float64 { return (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x) }

// side is +1 where c lies left of a to b, -1 right, 0 on the line. Exact.
func (p *plane) side(a, b, c pt) int {
	l := (b.x - a.x) * (c.y - a.y)
	r := (b.y - a.y) * (c.x - a.x)
	// each coordinate is off by up to 2^-52 of itself, each difference so by
	// that of the larger coordinate
	m := max(math.Abs(a.x), math.Abs(a.y), math.Abs(b.x), math.Abs(b.y), math.Abs(c.x), math.Abs(c.y))
	arm := max(math.Abs(b.x-a.x), math.Abs(b.y-a.y), math.Abs(c.x-a.x), math.Abs(c.y-a.y))
	if e := 1e-14*m*arm + 1e-14*(math.Abs(l)+math.Abs(r)) + 1e-28*m*m; l-r > e {
		return 1
	} else if l-r < -e {
		return -1
	}
	return rside(p.rational(a), p.rational(b), p.rational(c))
}

func rside(a, b, c rpt) int {
	l := new(big.Rat).Mul(new(big.Rat).Sub(b.x, a.x), new(big.Rat).Sub(c.y, a.y))
	r := new(big.Rat).Mul(new(big.Rat).Sub(b.y, a.y), new(big.Rat).Sub(c.x, a.x))
	return l.Cmp(r)
}

func fromSegment(p, a, b pt) float64 {
	dx, dy := b.x-a.x, b.y-a.y
	px, py := p.x-a.x, p.y-a.y
	dd := dx*dx + dy*dy
	t := px*dx + py*dy
	switch {
	case dd == 0 || t <= 0:
		return math.Hypot(px, py)
	case t >= dd:
		return math.Hypot(p.x-b.x, p.y-b.y)
	}
	return math.Abs(dx*py-dy*px) / math.Sqrt(dd)
}

// between is the distance of two segments in float64.
func between(a, b, c, d pt) float64 {
	if s, t := cross(a, b, c), cross(a, b, d); (s > 0) != (t > 0) {
		if s, t := cross(c, d, a), cross(c, d, b); (s > 0) != (t > 0) {
			return 0
		}
	}
	return min(fromSegment(a, c, d), fromSegment(b, c, d), fromSegment(c, a, b), fromSegment(d, a, b))
}

// apart says whether the segments a-b and c-d are at least l from each other.
// Exact.
func (p *plane) apart(a, b, c, d pt, l limit) bool {
	return p.apartAt(between(a, b, c, d), a, b, c, d, l)
}

// apartAt is apart where f is how far they are apart in float64.
func (p *plane) apartAt(f float64, a, b, c, d pt, l limit) bool {
	if l.m <= 0 {
		return true
	}
	e := rounding(a, b, c, d)
	if f > l.m+e {
		return true
	}
	if f < l.m-e {
		return false
	}
	ra, rb, rc, rd := p.rational(a), p.rational(b), p.rational(c), p.rational(d)
	r := l.rat()
	r2 := new(big.Rat).Mul(r, r)
	// two segments that are apart by a positive distance do not meet, and their
	// least distance is from an end of one to the other
	if meet(ra, rb, rc, rd) {
		return false
	}
	return rclear(ra, rc, rd, r2) && rclear(rb, rc, rd, r2) && rclear(rc, ra, rb, r2) && rclear(rd, ra, rb, r2)
}

func meet(a, b, c, d rpt) bool {
	s1, s2 := rside(a, b, c), rside(a, b, d)
	s3, s4 := rside(c, d, a), rside(c, d, b)
	if s1*s2 < 0 && s3*s4 < 0 {
		return true
	}
	return s1 == 0 && within(a, b, c) || s2 == 0 && within(a, b, d) || s3 == 0 && within(c, d, a) || s4 == 0 && within(c, d, b)
}

// within says whether p, known to be on the line of a and b, lies between them.
func within(a, b, p rpt) bool {
	in := func(u, v, w *big.Rat) bool {
		if u.Cmp(v) > 0 {
			u, v = v, u
		}
		return u.Cmp(w) <= 0 && w.Cmp(v) <= 0
	}
	return in(a.x, b.x, p.x) && in(a.y, b.y, p.y)
}

// rclear says whether p is at least the root of r2 from the segment a-b.
func rclear(p, a, b rpt, r2 *big.Rat) bool {
	sub := func(u, v *big.Rat) *big.Rat { return new(big.Rat).Sub(u, v) }
	dot := func(ux, uy, vx, vy *big.Rat) *big.Rat {
		m := new(big.Rat).Mul(ux, vx)
		return m.Add(m, new(big.Rat).Mul(uy, vy))
	}
	dx, dy := sub(b.x, a.x), sub(b.y, a.y)
	px, py := sub(p.x, a.x), sub(p.y, a.y)
	dd, t := dot(dx, dy, dx, dy), dot(px, py, dx, dy)
	switch {
	case dd.Sign() == 0 || t.Sign() <= 0:
		return dot(px, py, px, py).Cmp(r2) >= 0
	case t.Cmp(dd) >= 0:
		qx, qy := sub(p.x, b.x), sub(p.y, b.y)
		return dot(qx, qy, qx, qy).Cmp(r2) >= 0
	}
	c := new(big.Rat).Sub(new(big.Rat).Mul(dx, py), new(big.Rat).Mul(dy, px))
	c.Mul(c, c)
	return c.Cmp(new(big.Rat).Mul(r2, dd)) >= 0
}

// noLonger says whether the segment a-b is at most l long. Exact.
func (p *plane) noLonger(a, b pt, l limit) bool {
	f, e := math.Hypot(b.x-a.x, b.y-a.y), rounding(a, b)
	if f < l.m-e {
		return true
	}
	if f > l.m+e {
		return false
	}
	ra, rb := p.rational(a), p.rational(b)
	dx, dy := new(big.Rat).Sub(rb.x, ra.x), new(big.Rat).Sub(rb.y, ra.y)
	dx.Mul(dx, dx)
	dy.Mul(dy, dy)
	r := l.rat()
	return dx.Add(dx, dy).Cmp(r.Mul(r, r)) <= 0
}

type box struct{ x0, y0, x1, y1 float64 }

func emptyBox() box { return box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)} }

func (b *box) add(p pt) {
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, p.x), min(b.y0, p.y), max(b.x1, p.x), max(b.y1, p.y)
}

func (b *box) join(c box) {
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, c.x0), min(b.y0, c.y0), max(b.x1, c.x1), max(b.y1, c.y1)
}

func (b box) far(c box, d float64) bool {
	return b.x0 > c.x1+d || c.x0 > b.x1+d || b.y0 > c.y1+d || c.y0 > b.y1+d
}

// poly is a polygon, its rings without the repeated last position.
type poly struct {
	rings [][]pt
	box   box
}

const (
	outside = -1
	onEdge  = 0
	insideP = 1
)

// where says whether q is inside the polygon, on its edge, or outside. Exact.
func (p *plane) where(g poly, q pt) int {
	if q.x < g.box.x0-1e-6 || q.x > g.box.x1+1e-6 || q.y < g.box.y0-1e-6 || q.y > g.box.y1+1e-6 {
		return outside
	}
	in := false
	for _, r := range g.rings {
		for i := range r {
			a, b := r[i], r[(i+1)%len(r)]
			if q.y < min(a.y, b.y)-1e-6 || q.y > max(a.y, b.y)+1e-6 || q.x > max(a.x, b.x)+1e-6 {
				continue
			}
			ca, cb := p.compareY(a, q), p.compareY(b, q)
			s := p.side(a, b, q)
			if s == 0 && within(p.rational(a), p.rational(b), p.rational(q)) {
				return onEdge
			}
			// a ray to the right: upward edges count when q is left of them
			if ca <= 0 && cb > 0 && s > 0 || cb <= 0 && ca > 0 && s < 0 {
				in = !in
			}
		}
	}
	if in {
		return insideP
	}
	return outside
}

func (p *plane) compareY(a, b pt) int {
	if d := a.y - b.y; math.Abs(d) > 1e-9*max(1, math.Abs(a.y), math.Abs(b.y)) {
		if d > 0 {
			return 1
		}
		return -1
	}
	return p.rational(a).y.Cmp(p.rational(b).y)
}

// inset is the outline moved in by d, edge by edge, its corners where the moved
// edges meet: the wall behind the eaves. ok is false where an edge vanishes.
func inset(g poly, d float64) (out poly, ok bool) {
	out.box = emptyBox()
	for k, r := range g.rings {
		area := 0.0
		for i := range r {
			j := (i + 1) % len(r)
			area += r[i].x*r[j].y - r[j].x*r[i].y
		}
		s := d
		if (area > 0) != (k == 0) {
			s = -d
		}
		var ring []pt
		n := len(r)
		type line struct{ x, y, dx, dy float64 }
		var ls []line
		for i := range r {
			a, b := r[i], r[(i+1)%n]
			l := math.Hypot(b.x-a.x, b.y-a.y)
			if l < 1e-9 {
				continue
			}
			dx, dy := (b.x-a.x)/l, (b.y-a.y)/l
			if len(ls) > 0 && math.Abs(ls[len(ls)-1].dx*dy-ls[len(ls)-1].dy*dx) < 1e-9 && ls[len(ls)-1].dx*dx+ls[len(ls)-1].dy*dy > 0 {
				continue // straight on
			}
			ls = append(ls, line{a.x - dy*s, a.y + dx*s, dx, dy})
		}
		for len(ls) > 2 {
			f, l := ls[0], ls[len(ls)-1]
			if math.Abs(l.dx*f.dy-l.dy*f.dx) >= 1e-9 || l.dx*f.dx+l.dy*f.dy < 0 {
				break
			}
			ls = ls[1:]
		}
		if len(ls) < 3 {
			return out, false
		}
		for i := range ls {
			u, v := ls[(i+len(ls)-1)%len(ls)], ls[i]
			den := u.dx*v.dy - u.dy*v.dx
			if math.Abs(den) < 1e-9 {
				return out, false
			}
			t := ((v.x-u.x)*v.dy - (v.y-u.y)*v.dx) / den
			ring = append(ring, pt{x: u.x + t*u.dx, y: u.y + t*u.dy})
		}
		for i := range ring {
			a, b := ring[i], ring[(i+1)%len(ring)]
			if (b.x-a.x)*ls[i].dx+(b.y-a.y)*ls[i].dy <= 0 {
				return out, false
			}
			out.box.add(a)
		}
		out.rings = append(out.rings, ring)
	}
	return out, len(out.rings) > 0
}
