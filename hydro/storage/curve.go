package storage

// Volume below a level: stone, pipes and basins, summed into one table.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
)

// Part is a body that holds water. Volume below a level never falls with it.
type Part interface {
	Below(level unit.Elevation) hydro.Volume
	Span() (bottom, top unit.Elevation)
	check() error
}

// Stone is a length of trench filled with open-graded stone: its bottom falls
// evenly from BottomUp to BottomDown and the stone stands Height over it. Pipes is
// the outside cross-section of all pipes in it, taken evenly over the height.
// Voids 0.35 to 0.40 for clean open-graded stone (source YardPractice).
type Stone struct {
	Length, Width        unit.Length
	BottomUp, BottomDown unit.Elevation
	Height               unit.Length
	Voids                float64
	Pipes                unit.Area
}

// Below returns Voids (W H - pipes)/H times the wetted part of the length.
func (s Stone) Below(level unit.Elevation) hydro.Volume {
	w := s.Voids * (float64(s.Width) - float64(s.Pipes)/float64(s.Height))
	h := float64(s.Height)
	g := func(u float64) float64 {
		switch {
		case u <= 0:
			return 0
		case u <= h:
			return u * u / 2
		}
		return h*h/2 + h*(u-h)
	}
	return hydro.Volume(w * along(s.Length, s.BottomUp, s.BottomDown, level, g, func(u float64) float64 { return math.Min(math.Max(u, 0), h) }))
}

// Span returns the lowest bottom and the highest top of the stone.
func (s Stone) Span() (bottom, top unit.Elevation) {
	return min(s.BottomUp, s.BottomDown), max(s.BottomUp, s.BottomDown).Plus(s.Height)
}

func (s Stone) check() error {
	for _, e := range []error{
		hydro.Check("length of the trench", float64(s.Length), hydro.Positive, 1e5, "m", ""),
		hydro.Check("width of the trench", float64(s.Width), hydro.Positive, 100, "m", ""),
		hydro.Check("height of the stone", float64(s.Height), hydro.Positive, 100, "m", ""),
		hydro.Check("void ratio of the stone", s.Voids, 0.05, 0.6, "", source.YardPractice),
		hydro.Check("cross-section of the pipes", float64(s.Pipes), 0, float64(s.Width*s.Height), "m2", ""),
		hydro.Check("bottom of the trench", float64(s.BottomUp), -1e4, 1e4, "m", ""),
		hydro.Check("bottom of the trench", float64(s.BottomDown), -1e4, 1e4, "m", ""),
	} {
		if e != nil {
			return e
		}
	}
	return nil
}

// Bore is the inside of a pipe, Count alike.
type Bore struct {
	Diameter             unit.Length
	Count                int
	Length               unit.Length
	InvertUp, InvertDown unit.Elevation
}

// Below integrates the circular section along the slope: the integral of the area
// over depth is the section's first moment.
func (b Bore) Below(level unit.Elevation) hydro.Volume {
	d := float64(b.Diameter)
	area := func(u float64) float64 {
		s, _ := pipe.Circle(b.Diameter, min(max(unit.Length(u), 0), b.Diameter))
		return float64(s.Area)
	}
	g := func(u float64) float64 {
		if u <= 0 {
			return 0
		}
		s, _ := pipe.Circle(b.Diameter, min(unit.Length(u), b.Diameter))
		m := s.FirstMoment(b.Diameter)
		if u > d {
			m += float64(s.Area) * (u - d)
		}
		return m
	}
	return hydro.Volume(float64(b.Count) * along(b.Length, b.InvertUp, b.InvertDown, level, g, area))
}

// Span returns the lowest invert and the highest crown.
func (b Bore) Span() (bottom, top unit.Elevation) {
	return min(b.InvertUp, b.InvertDown), max(b.InvertUp, b.InvertDown).Plus(b.Diameter)
}

func (b Bore) check() error {
	if _, err := pipe.Circle(b.Diameter, 0); err != nil {
		return err
	}
	for _, e := range []error{
		hydro.Check("number of pipes", float64(b.Count), 1, 100, "", ""),
		hydro.Check("length of the pipe", float64(b.Length), hydro.Positive, 1e5, "m", ""),
		hydro.Check("invert", float64(b.InvertUp), -1e4, 1e4, "m", ""),
		hydro.Check("invert", float64(b.InvertDown), -1e4, 1e4, "m", ""),
	} {
		if e != nil {
			return e
		}
	}
	return nil
}

// Basin is an upright basin, sump or well of even plan area.
type Basin struct {
	Area        unit.Area
	Bottom, Top unit.Elevation
}

// Below returns the area times the wetted height.
func (b Basin) Below(level unit.Elevation) hydro.Volume {
	return hydro.Volume(float64(b.Area) * math.Min(math.Max(float64(level.Above(b.Bottom)), 0), float64(b.Top.Above(b.Bottom))))
}

// Span returns bottom and top.
func (b Basin) Span() (bottom, top unit.Elevation) { return b.Bottom, b.Top }

func (b Basin) check() error {
	for _, e := range []error{
		hydro.Check("plan area of the basin", float64(b.Area), hydro.Positive, 1e6, "m2", ""),
		hydro.Check("bottom of the basin", float64(b.Bottom), -1e4, 1e4, "m", ""),
		hydro.Check("top of the basin", float64(b.Top), float64(b.Bottom)+1e-6, 1e4, "m", ""),
	} {
		if e != nil {
			return e
		}
	}
	return nil
}

// along integrates a section over a length whose bottom falls evenly: g is the
// integral of the section over depth, at the section itself, for a level bottom.
func along(l unit.Length, up, down, level unit.Elevation, g, at func(u float64) float64) float64 {
	lo, hi := float64(min(up, down)), float64(max(up, down))
	h := float64(level)
	if hi-lo < 1e-9 {
		return float64(l) * at(h-lo)
	}
	return float64(l) * (g(h-lo) - g(h-hi)) / (hi - lo)
}

// Curve is volume against level in equal steps; it is held outside them.
type Curve struct {
	bottom, step float64
	volumes      []float64
}

// Tabulate sums the parts into a curve of 512 steps from their lowest bottom to
// their highest top. No parts, or parts out of range, is an error.
func Tabulate(parts ...Part) (Curve, error) {
	if err := hydro.Check("number of storage parts", float64(len(parts)), 1, 1e5, "", ""); err != nil {
		return Curve{}, err
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, p := range parts {
		if err := p.check(); err != nil {
			return Curve{}, fmt.Errorf("storage: part %d: %w", i, err)
		}
		b, t := p.Span()
		lo, hi = math.Min(lo, float64(b)), math.Max(hi, float64(t))
	}
	const n = 512
	c := Curve{bottom: lo, step: (hi - lo) / n, volumes: make([]float64, n+1)}
	for i := range c.volumes {
		for _, p := range parts {
			c.volumes[i] += float64(p.Below(unit.Elevation(lo + float64(i)*c.step)))
		}
	}
	return c, nil
}

// Below returns the volume below a level.
func (c Curve) Below(level unit.Elevation) hydro.Volume { return hydro.Volume(c.at(float64(level))) }

// Bottom and Top are the ends of the curve.
func (c Curve) Bottom() unit.Elevation { return unit.Elevation(c.bottom) }

// Top is the level above which nothing more is held.
func (c Curve) Top() unit.Elevation {
	return unit.Elevation(c.bottom + c.step*float64(len(c.volumes)-1))
}

func (c *Curve) at(h float64) float64 {
	x := (h - c.bottom) / c.step
	if x <= 0 {
		return 0
	}
	i := int(x)
	if i >= len(c.volumes)-1 {
		return c.volumes[len(c.volumes)-1]
	}
	return c.volumes[i] + (x-float64(i))*(c.volumes[i+1]-c.volumes[i])
}
