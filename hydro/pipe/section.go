package pipe

// The part-full circular section: one place for its geometry, in the central
// angle theta of the wetted arc, which all the solvers iterate in.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Section is the wetted part of a circular pipe at one depth.
type Section struct {
	Depth           unit.Length
	Area            unit.Area
	WettedPerimeter unit.Length
	HydraulicRadius unit.Length
	TopWidth        unit.Length // zero when full
}

// Circle returns the section of a pipe of inside diameter d at depth y.
//
//	theta = 2 acos(1 - 2y/D)      central angle of the wetted arc, rad
//	A     = D^2 (theta - sin theta)/8
//	P     = D theta/2
//	T     = D sin(theta/2)
//
// d must be positive, y in 0 to d; else *hydro.RangeError. An empty pipe has a
// hydraulic radius of zero. Source: Chow1959, appendix A.
func Circle(d, y unit.Length) (Section, error) {
	if err := checkDiameter(d); err != nil {
		return Section{}, err
	}
	if err := hydro.Check("depth in the pipe", float64(y), 0, float64(d), "m", ""); err != nil {
		return Section{}, err
	}
	return section(float64(d), float64(y)), nil
}

func section(d, y float64) Section {
	th := angle(y / d)
	s := Section{
		Depth:           unit.Length(y),
		Area:            unit.Area(areaAt(d, th)),
		WettedPerimeter: unit.Length(d * th / 2),
		TopWidth:        unit.Length(d * math.Sin(th/2)),
	}
	if y >= d {
		s.TopWidth = 0
	}
	if th > 0 {
		s.HydraulicRadius = unit.Length(float64(s.Area) / (d * th / 2))
	}
	return s
}

// angle returns theta for a relative depth y/D, held to 0..2 pi.
func angle(rel float64) float64 {
	switch {
	case rel <= 0:
		return 0
	case rel >= 1:
		return 2 * math.Pi
	}
	return 2 * math.Acos(1-2*rel)
}

// depthAt returns y for theta. sin^2 keeps the digits of a thin film of water
// that 1-cos would lose.
func depthAt(d, th float64) float64 {
	s := math.Sin(th / 4)
	return d * s * s
}

// areaAt returns the wetted area for theta.
func areaAt(d, th float64) float64 { return d * d / 8 * (th - math.Sin(th)) }

func checkDiameter(d unit.Length) error {
	return hydro.Check("inside diameter", float64(d), hydro.Positive, 100, "m", "")
}
