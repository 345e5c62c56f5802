// Package channel works steady uniform flow in open channels of trapezoid
// section, a swale or a ditch: geometry, Manning capacity, normal depth.
//
// Units are SI. Side slopes are horizontal over vertical and alike on both
// sides; a bottom width of 0 is a triangle. Roughness is constant with depth; a
// grassed swale at the depth of its grass is rougher than any n for it says.
// The room may import hydro, hydro/source and geo/unit.
//
// Sources: source.Chow1959 (section elements of a trapezoid, table 2-1),
// source.HEC22 (Manning's formula).
package channel

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Channel is a trapezoid section.
type Channel struct {
	Bottom unit.Length     // not negative
	Side   float64         // horizontal over vertical; 0 only where Bottom is positive
	N      hydro.Roughness // Manning, 0.005 to 1
}

// Section is the wetted part at one depth.
type Section struct {
	Depth           unit.Length
	Area            unit.Area
	WettedPerimeter unit.Length
	TopWidth        unit.Length
}

// Check gives the *hydro.RangeError of a section that is none.
func (c Channel) Check() error {
	for _, r := range []hydro.RangeError{
		{Quantity: "bottom width", Got: float64(c.Bottom), Max: 1000, Unit: "m"},
		{Quantity: "side slope", Got: c.Side, Max: 1000, Unit: "horizontal over vertical"},
		{Quantity: "Manning's n", Got: float64(c.N), Min: 0.005, Max: 1, Source: source.Chow1959},
	} {
		if !(r.Got >= r.Min && r.Got <= r.Max) {
			return &r
		}
	}
	if c.Bottom == 0 && c.Side == 0 {
		return &hydro.RangeError{Quantity: "side slope of a channel without a bottom", Got: 0, Min: math.SmallestNonzeroFloat64, Max: 1000}
	}
	return nil
}

// At returns the section at depth y, not negative:
//
//	A = (b + z y) y     P = b + 2 y sqrt(1 + z^2)     T = b + 2 z y
func (c Channel) At(y unit.Length) (Section, error) {
	if err := c.Check(); err != nil {
		return Section{}, err
	}
	if !(y >= 0 && y <= 100) {
		return Section{}, &hydro.RangeError{Quantity: "depth", Got: float64(y), Max: 100, Unit: "m"}
	}
	b, z, d := float64(c.Bottom), c.Side, float64(y)
	return Section{Depth: y, Area: unit.Area((b + z*d) * d), WettedPerimeter: unit.Length(b + 2*d*math.Sqrt(1+z*z)), TopWidth: unit.Length(b + 2*z*d)}, nil
}

// FlowAt returns the Manning flow at depth y on slope s, positive to 10:
//
//	Q = (1/n) A (A/P)^(2/3) s^(1/2)
func (c Channel) FlowAt(y unit.Length, s unit.Slope) (hydro.Flow, error) {
	k, err := c.At(y)
	if err != nil {
		return 0, err
	}
	if !(s > 0 && s <= 10) {
		return 0, &hydro.RangeError{Quantity: "slope", Got: float64(s), Min: math.SmallestNonzeroFloat64, Max: 10}
	}
	if y == 0 {
		return 0, nil
	}
	a, p := float64(k.Area), float64(k.WettedPerimeter)
	return hydro.Flow(a * math.Pow(a/p, 2.0/3) * math.Sqrt(float64(s)) / float64(c.N)), nil
}

// NormalDepth returns the depth of uniform flow q, not negative, on slope s. A
// flow over that of 100 m of depth is a *hydro.RangeError. Found by halving, to
// a thousandth of a millimetre.
func (c Channel) NormalDepth(q hydro.Flow, s unit.Slope) (unit.Length, error) {
	most, err := c.FlowAt(100, s)
	if err != nil {
		return 0, err
	}
	if !(q >= 0 && q <= most) {
		return 0, &hydro.RangeError{Quantity: "flow", Got: float64(q), Max: float64(most), Unit: "m3/s"}
	}
	lo, hi := 0.0, 100.0
	for hi-lo > 1e-6 {
		m := (lo + hi) / 2
		f, err := c.FlowAt(unit.Length(m), s)
		if err != nil {
			return 0, err
		}
		if f < q {
			lo = m
		} else {
			hi = m
		}
	}
	if q == 0 {
		return 0, nil
	}
	return unit.Length(hi), nil
}
