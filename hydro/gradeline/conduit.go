package gradeline

// Gradually varied flow in one run, from the depth at its lower end to the depth
// at its upper end.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
)

// conduit is a run's cross-section as a function of depth above its invert: the
// sum of its pipes, or one of several alike with its share of the flow.
//
//	q   flow, m3/s          d   height, m (of the tallest pipe)
//	kf  conveyance full     af  area full
type conduit struct {
	pipes      []pipe.Pipe
	q          float64
	d, kf, af  float64
	yc, yn, s0 float64 // critical and normal depth; yn is NaN where there is none
}

func newConduit(b pipe.Barrels, q, s0 float64) conduit {
	c := conduit{pipes: b, q: q, s0: s0}
	alike := true
	for _, p := range b[1:] {
		alike = alike && p == b[0]
	}
	if alike {
		c.pipes, c.q = b[:1], q/float64(len(b))
	}
	for _, p := range c.pipes {
		s, _ := pipe.Circle(p.Diameter, p.Diameter)
		c.d = math.Max(c.d, float64(p.Diameter))
		c.kf += s.Conveyance(p.N)
		c.af += float64(s.Area)
	}
	c.yc = c.critical()
	c.yn = math.NaN()
	if s0 > 0 && c.q <= c.kf*math.Sqrt(s0) {
		c.yn = c.normal()
	}
	return c
}

// at returns area, top width and conveyance at depth y. Conveyance is held at
// that of the full pipe, so that it never falls with depth.
func (c *conduit) at(y float64) (a, t, k float64) {
	if rel := y / c.d; len(c.pipes) == 1 && rel > tabled && rel < 1-tabled {
		x := rel * elementSteps
		i := int(x)
		f := x - float64(i)
		e, g := &elements[i], &elements[i+1]
		return c.d * c.d * (e.a + f*(g.a-e.a)), c.d * 2 * math.Sqrt(rel*(1-rel)), c.kf * math.Min(1, e.k+f*(g.k-e.k))
	}
	for _, p := range c.pipes {
		d := p.Diameter
		s, _ := pipe.Circle(d, min(max(unit.Length(y), 0), d))
		a += float64(s.Area)
		t += float64(s.TopWidth)
		k += s.Conveyance(p.N)
	}
	return a, t, math.Min(k, c.kf)
}

// elements are area over D^2 and conveyance over that of the full pipe in equal
// steps of depth over D: the curves are walked hundreds of thousands of times, and
// between these steps they are straight within a hundred-thousandth, except in a thin film
// and just under the crown, where the section is worked afresh.
const (
	elementSteps = 2048
	tabled       = 0.1
)

var elements = func() (e [elementSteps + 1]struct{ a, k float64 }) {
	f, _ := pipe.Circle(1, 1)
	for i := range e {
		s, _ := pipe.Circle(1, unit.Length(i)/elementSteps)
		e[i].a, e[i].k = float64(s.Area), s.Conveyance(1)/f.Conveyance(1)
	}
	return e
}()

// velocity is the mean velocity at depth y.
func (c *conduit) velocity(y float64) float64 {
	if c.q <= 0 {
		return 0
	}
	if y >= c.d {
		return c.q / c.af
	}
	a, _, _ := c.at(y)
	return c.q / a
}

func (c *conduit) critical() float64 {
	if c.q <= 0 {
		return 0
	}
	if len(c.pipes) == 1 {
		y, _ := c.pipes[0].CriticalDepth(hydro.Flow(c.q))
		return float64(y)
	}
	return bisect(0, c.d, func(y float64) bool {
		a, t, _ := c.at(y)
		return hydro.Gravity*a*a*a > c.q*c.q*t
	})
}

func (c *conduit) normal() float64 {
	if c.q <= 0 {
		return 0
	}
	if len(c.pipes) == 1 {
		y, _ := c.pipes[0].NormalDepth(hydro.Flow(c.q), unit.Slope(c.s0))
		return float64(y)
	}
	want := c.q / math.Sqrt(c.s0)
	return bisect(0, c.d, func(y float64) bool {
		_, _, k := c.at(y)
		return k >= want
	})
}

// bisect returns where above turns true in lo..hi.
func bisect(lo, hi float64, above func(float64) bool) float64 {
	for i := 0; i < 60; i++ {
		if m := (lo + hi) / 2; above(m) {
			hi = m
		} else {
			lo = m
		}
	}
	return hi
}

// momentum is Q^2/(g A) + A z, m3.
func (c *conduit) momentum(y float64) float64 {
	m, a := 0.0, 0.0
	for _, p := range c.pipes {
		s, _ := pipe.Circle(p.Diameter, min(unit.Length(y), p.Diameter))
		m += s.FirstMoment(p.Diameter)
		if over := y - float64(p.Diameter); over > 0 {
			m += over * float64(s.Area)
		}
		a += float64(s.Area)
	}
	return c.q*c.q/(hydro.Gravity*a) + m
}

// profile is what backwater found.
type profile struct {
	up, down float64 // depths above the invert at both ends; above d under pressure
	regime   Regime
	full     float64 // length under pressure
	jump     float64 // distance of a hydraulic jump from the lower end, NaN: none
}

// backwater works from depth y at the lower end upward along length l. record,
// where given, gets distance from the lower end and depth, in rising distance.
//
// With x upward, depth follows dy/dx = -(S0 - Sf)/(1 - Fr^2), Sf = (Q/K)^2,
// Fr^2 = Q^2 T/(g A^3). It is integrated as x over y, which has no trouble at
// critical depth; towards normal depth y = yn + (y0 - yn) e^-s makes x smooth
// in s.
func (c *conduit) backwater(y, l float64, record func(x, y float64)) profile {
	if record == nil {
		record = func(x, y float64) {}
	}
	s0 := c.s0
	if c.q <= 0 {
		y = math.Max(y, 0)
		up := math.Max(y-s0*l, 0)
		record(0, y)
		if up == 0 && y > 0 && s0 > 0 {
			record(y/s0, 0)
		}
		record(l, up)
		p := profile{up: up, down: y, regime: Still, jump: math.NaN()}
		if y > c.d {
			p.full = l
			if s0 > 0 {
				p.full = math.Min(l, (y-c.d)/s0)
			}
		}
		return p
	}
	sff := (c.q / c.kf) * (c.q / c.kf)
	uniform := !math.IsNaN(c.yn)
	steep := uniform && c.yn < c.yc
	p := profile{down: y, jump: math.NaN()}
	if y <= c.yc {
		if steep {
			// Falls free at the lower end; critical depth where the steep pipe begins.
			p.down, p.up, p.regime = c.yn, c.yc, Steep
			record(0, c.yn)
			record(l, c.yc)
			return p
		}
		y = c.yc
		p.down = y
	}
	x := 0.0
	record(0, y)
	if y >= c.d {
		p.regime = Full
		if s0 <= sff || (y-c.d) >= (s0-sff)*l {
			p.up, p.full = y-(s0-sff)*l, l
			record(l, p.up)
			return p
		}
		x, y = (y-c.d)/(s0-sff), c.d
		p.full, p.regime = x, FullBelow
		record(x, y)
	}
	switch {
	case steep:
		x0, y0, ys := x, y, y
		want := c.momentum(c.yn)
		x, y = c.march(x, y, l, 16, func(f float64) (float64, float64) { return ys + f*(c.yc-ys), c.yc - ys },
			func(x, y float64) {
				if math.IsNaN(p.jump) {
					p.jump = c.jump(want, x0, y0, x, y)
				}
				x0, y0 = x, y
				record(x, y)
			})
		if x < l {
			// Backwater reaches critical depth before the upper end: a jump stands below.
			y = c.yc
			record(l, y)
		} else {
			p.jump = math.NaN()
		}
		p.up = y
		if p.regime != FullBelow {
			p.regime = Backwater
		}
	case uniform:
		y0 := y
		if y > c.yn && p.regime != FullBelow {
			p.regime = Backwater
		} else if y <= c.yn {
			p.regime = Drawdown
		}
		if math.Abs(y-c.yn) > 1e-9*c.d {
			x, y = c.march(x, y, l, 40, func(f float64) (float64, float64) {
				e := (y0 - c.yn) * math.Exp(-14*f)
				return c.yn + e, -14 * e
			}, record)
		}
		if x < l {
			y = c.yn
			record(l, y)
		}
		p.up = y
	default:
		// No uniform depth: the friction slope is steeper than the pipe, the depth
		// rises upward to the crown and on under pressure.
		p.regime = FullAbove
		x, y = c.march(x, y, l, 24, func(f float64) (float64, float64) { return y + f*(c.d-y), c.d - y }, record)
		if x < l {
			p.full = l - x
			y += (sff - s0) * (l - x)
			record(l, y)
		}
		p.up = y
	}
	return p
}

// march integrates x over the path y(f), f from 0 to 1 in n panels by Simpson's
// rule, and stops at length l. It returns where it got to.
func (c *conduit) march(x, y0, l float64, n int, path func(f float64) (y, dydf float64), record func(x, y float64)) (float64, float64) {
	if y0 == 0 {
		return x, y0
	}
	rate := func(f float64) float64 { // dx/df, upward
		y, dy := path(f)
		a, t, k := c.at(y)
		sf := (c.q / k) * (c.q / k)
		fr2 := c.q * c.q * t / (hydro.Gravity * a * a * a)
		den := c.s0 - sf
		if den == 0 {
			return math.Inf(1) // uniform: the depth stays as it is
		}
		r := -(1 - fr2) / den * dy
		if r < 0 {
			return 0 // rounding at critical depth
		}
		return r
	}
	h := 1 / float64(n)
	r0 := rate(0)
	for i := 0; i < n; i++ {
		f0 := float64(i) * h
		r1, r2 := rate(f0+h/2), rate(f0+h)
		dx := h / 6 * (r0 + 4*r1 + r2)
		if x+dx >= l || math.IsInf(dx, 1) || math.IsNaN(dx) {
			// Inside this panel x is near the parabola's integral; find its f.
			f := f0
			if !math.IsInf(dx, 1) && !math.IsNaN(dx) {
				u := bisect(0, 1, func(u float64) bool {
					// integral of the quadratic through r0, r1, r2 from 0 to u
					return h*u*(r0+u*((-3*r0+4*r1-r2)/2+u*(2*r0-4*r1+2*r2)/3)) >= l-x
				})
				f = f0 + u*h
			}
			y, _ := path(f)
			record(l, y)
			return l, y
		}
		x += dx
		y, _ := path(f0 + h)
		record(x, y)
		r0 = r2
	}
	y, _ := path(1)
	return x, y
}

// jump returns where, between two stations of the backwater of a steep run, its
// momentum has sunk to want, that of uniform flow; NaN where it has not.
func (c *conduit) jump(want, x0, y0, x1, y1 float64) float64 {
	m1 := c.momentum(y1)
	if m1 > want {
		return math.NaN()
	}
	if m0 := c.momentum(y0); m0 > want {
		return x0 + (x1-x0)*(m0-want)/(m0-m1)
	}
	return x0
}
