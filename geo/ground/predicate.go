package ground

// The sign that must be right beside shape.Orient: inside or outside a
// circle. A floating-point filter decides the clear cases, expansions (sums of
// doubles that are exact together) the rest, so that a grid of shots, where
// every four are on one circle, triangulates without a wrong turn.

import "math"

// Error bound of Shewchuk's filter, in units of the permanent.
const (
	epsilon       = 1.1102230246251565e-16 // 2^-53
	inCircleBound = (10 + 96*epsilon) * epsilon
)

// inCircle is positive where d lies inside the circle through a, b, c (which
// turn left), negative outside, zero exactly on it.
func inCircle(ax, ay, bx, by, cx, cy, dx, dy float64) float64 {
	adx, ady := ax-dx, ay-dy
	bdx, bdy := bx-dx, by-dy
	cdx, cdy := cx-dx, cy-dy
	bc1, bc2 := bdx*cdy, cdx*bdy
	ca1, ca2 := cdx*ady, adx*cdy
	ab1, ab2 := adx*bdy, bdx*ady
	al, bl, cl := adx*adx+ady*ady, bdx*bdx+bdy*bdy, cdx*cdx+cdy*cdy
	det := al*(bc1-bc2) + bl*(ca1-ca2) + cl*(ab1-ab2)
	perm := al*(math.Abs(bc1)+math.Abs(bc2)) + bl*(math.Abs(ca1)+math.Abs(ca2)) + cl*(math.Abs(ab1)+math.Abs(ab2))
	if bound := inCircleBound * perm; det > bound || -det > bound {
		return det
	}
	return inCircleExact(ax, ay, bx, by, cx, cy, dx, dy)
}

func inCircleExact(ax, ay, bx, by, cx, cy, dx, dy float64) float64 {
	var d [6][2]float64
	adx, ady := diff(d[0][:0], ax, dx), diff(d[1][:0], ay, dy)
	bdx, bdy := diff(d[2][:0], bx, dx), diff(d[3][:0], by, dy)
	cdx, cdy := diff(d[4][:0], cx, dx), diff(d[5][:0], cy, dy)
	// The usual case: the differences are exact, each one double; then the
	// terms have at most 4*4*2 parts and stay on the stack.
	var t1, t2, t3, u, v [64]float64
	term := func(dst []float64, px, py, qx, qy, rx, ry []float64) []float64 {
		var m1, m2, c, l [32]float64
		cross := sum(c[:0], mul(m1[:0], qx, ry), neg(mul(m2[:0], qy, rx)))
		lift := sum(l[:0], mul(m1[:0], px, px), mul(m2[:0], py, py))
		return mul(dst, lift, cross)
	}
	a := term(t1[:0], adx, ady, bdx, bdy, cdx, cdy)
	b := term(t2[:0], bdx, bdy, cdx, cdy, adx, ady)
	c := term(t3[:0], cdx, cdy, adx, ady, bdx, bdy)
	return sign(sum(v[:0], sum(u[:0], a, b), c))
}

// Expansions: doubles that do not overlap, smallest first, no zeros. An empty
// one is zero. Each function appends its result to dst (empty on entry).

func sign(e []float64) float64 {
	if len(e) == 0 {
		return 0
	}
	return e[len(e)-1]
}

func neg(e []float64) []float64 {
	for i := range e {
		e[i] = -e[i]
	}
	return e
}

func twoSum(a, b float64) (s, err float64) {
	s = a + b
	bb := s - a
	return s, (a - (s - bb)) + (b - bb)
}

func diff(dst []float64, a, b float64) []float64 {
	s, e := twoSum(a, -b)
	return pair(dst, s, e)
}

func pair(dst []float64, s, e float64) []float64 {
	if e != 0 {
		dst = append(dst, e)
	}
	if s != 0 {
		dst = append(dst, s)
	}
	return dst
}

// sum merges two expansions by magnitude and carries the error along.
func sum(dst, e, f []float64) []float64 {
	if len(e) == 0 {
		return append(dst, f...)
	}
	if len(f) == 0 {
		return append(dst, e...)
	}
	i, j := 0, 0
	next := func() float64 {
		if j >= len(f) || i < len(e) && math.Abs(e[i]) < math.Abs(f[j]) {
			i++
			return e[i-1]
		}
		j++
		return f[j-1]
	}
	q := next()
	for i < len(e) || j < len(f) {
		var r float64
		q, r = twoSum(q, next())
		if r != 0 {
			dst = append(dst, r)
		}
	}
	if q != 0 {
		dst = append(dst, q)
	}
	return dst
}

// mul multiplies two expansions.
func mul(dst, e, f []float64) []float64 {
	if len(e) == 1 && len(f) == 1 {
		p := e[0] * f[0]
		return pair(dst, p, math.FMA(e[0], f[0], -p))
	}
	var acc, part, next [64]float64
	total := acc[:0]
	spare := next[:0]
	for _, b := range f {
		total, spare = sum(spare[:0], total, scale(part[:0], e, b)), total
	}
	return append(dst, total...)
}

// scale multiplies an expansion by a double.
func scale(dst, e []float64, b float64) []float64 {
	if len(e) == 0 || b == 0 {
		return dst
	}
	q := e[0] * b
	if r := math.FMA(e[0], b, -q); r != 0 {
		dst = append(dst, r)
	}
	for _, v := range e[1:] {
		p := v * b
		lo := math.FMA(v, b, -p)
		s, r := twoSum(q, lo)
		if r != 0 {
			dst = append(dst, r)
		}
		q, r = twoSum(p, s)
		if r != 0 {
			dst = append(dst, r)
		}
	}
	if q != 0 {
		dst = append(dst, q)
	}
	return dst
}
