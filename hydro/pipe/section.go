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

// Conveyance returns K of the section for roughness n, so that Q = K sqrt(S):
// K = A R^(2/3)/n, m3/s.
func (s Section) Conveyance(n hydro.Roughness) float64 {
	c := math.Cbrt(float64(s.HydraulicRadius))
	return float64(s.Area) * c * c / float64(n)
}

// FirstMoment returns the wetted area times the depth of its centroid below the
// surface, m3, of a section of a pipe of inside diameter d: the pressure term of
// the momentum function Q^2/(g A) + A z.
//
//	A z = D^3/24 (3 sin b - sin^3 b - 3 b cos b),  b = theta/2
//
// Source: Chow1959, section 3-7 (specific force).
func (s Section) FirstMoment(d unit.Length) float64 {
	b := angle(float64(s.Depth/d)) / 2
	sin, cos := math.Sincos(b)
	return math.Pow(float64(d), 3) / 24 * (3*sin - sin*sin*sin - 3*b*cos)
}

func section(d, y float64) Section {
	rel := math.Min(math.Max(y/d, 0), 1)
	// sin and cos of theta/2 are algebraic in y/D: one inverse sine does for all.
	half, cos := 2*math.Sqrt(rel*(1-rel)), 1-2*rel
	th := angle(rel)
	s := Section{
		Depth:           unit.Length(y),
		Area:            unit.Area(d * d / 8 * (th - 2*half*cos)),
		WettedPerimeter: unit.Length(d * th / 2),
		TopWidth:        unit.Length(d * half),
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
	return 4 * math.Asin(math.Sqrt(rel)) // 2 acos(1-2 rel), with the digits of a thin film
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
