package runoff

// Times of concentration: travel times along a path, and the lumped formulas.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/rain"
	"fallwright/hydro/source"
)

// SheetRoughness are Manning's n of sheet flow, far above those of channels.
// Source: TR55, table 3-1.
func SheetRoughness() map[string]float64 {
	return map[string]float64{
		"smooth surface": 0.011, "fallow": 0.05, "short grass": 0.15, "dense grass": 0.24, "bermuda grass": 0.41,
		"range": 0.13, "woods, light underbrush": 0.40, "woods, dense underbrush": 0.80,
	}
}

func checkPath(l unit.Length, s unit.Slope, most float64, src string) error {
	if err := hydro.Check("length of flow", float64(l), 0, most, "m", src); err != nil {
		return err
	}
	return hydro.Check("slope of the ground", float64(s), 1e-5, 10, "m/m", "")
}

// Sheet returns the travel time of sheet flow over length l:
//
//	Tt = 0.0913 (n L)^0.8 / (P2^0.5 s^0.4)     h, with L m, P2 mm
//
// n 0.005 to 1 (SheetRoughness), l to 91.44 m (300 ft; NRCS now asks 30.48 m), P2
// the 2-year 24-hour depth. Source: TR55, equation 3-3 (0.007 in feet and inches).
func Sheet(n float64, l unit.Length, p2 hydro.Depth, s unit.Slope) (hydro.Duration, error) {
	if err := checkPath(l, s, 91.44+1e-9, source.TR55); err != nil {
		return 0, err
	}
	if err := hydro.Check("sheet-flow n", n, 0.005, 1, "", source.TR55); err != nil {
		return 0, err
	}
	if err := hydro.Check("2-year 24-hour depth", float64(p2), hydro.Positive, 1000, "mm", ""); err != nil {
		return 0, err
	}
	// 0.007 (L/0.3048)^0.8 / (P/25.4)^0.5, kept exact.
	h := 0.007 * math.Pow(n*float64(l)/0.3048, 0.8) / (math.Sqrt(p2.Inches()) * math.Pow(float64(s), 0.4))
	return hydro.Duration(h * 60), nil
}

// ShallowVelocity returns the velocity of shallow concentrated flow: 16.1345 s^0.5
// ft/s unpaved, 20.3282 s^0.5 paved. Source: TR55, appendix F.
func ShallowVelocity(s unit.Slope, paved bool) (hydro.Velocity, error) {
	if err := checkPath(0, s, 1, ""); err != nil {
		return 0, err
	}
	k := 16.1345
	if paved {
		k = 20.3282
	}
	return hydro.Velocity(k * 0.3048 * math.Sqrt(float64(s))), nil
}

// Travel returns the time along length l at velocity v: channels and pipes, with
// Manning's velocity.
func Travel(l unit.Length, v hydro.Velocity) (hydro.Duration, error) {
	if err := hydro.Check("length of flow", float64(l), 0, 1e6, "m", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("velocity", float64(v), hydro.Positive, 100, "m/s", ""); err != nil {
		return 0, err
	}
	return hydro.Duration(float64(l) / float64(v) / 60), nil
}

// Surface kinds of Kirpich, by factor.
const (
	KirpichChannel         = 1.0 // rural, channelled, slopes of 3 to 10 %
	KirpichGrassOverland   = 2.0
	KirpichPavedOverland   = 0.4
	KirpichConcreteChannel = 0.2
)

// Kirpich returns tc = 0.0078 L^0.77 S^-0.385 min, L in feet, times a factor of
// the surface. The metric form in print, 0.0195 with metres, agrees within 0.3 %.
// (NEH630 prints the coefficient rounded to 0.007; it is not used.) Source:
// Kirpich1940.
func Kirpich(l unit.Length, s unit.Slope, factor float64) (hydro.Duration, error) {
	if err := checkPath(l, s, 1e5, source.Kirpich1940); err != nil {
		return 0, err
	}
	if err := hydro.Check("Kirpich factor", factor, 0.2, 2, "", source.Kirpich1940); err != nil {
		return 0, err
	}
	return hydro.Duration(factor * 0.0078 * math.Pow(l.Feet(), 0.77) * math.Pow(float64(s), -0.385)), nil
}

// FAA returns tc = 1.8 (1.1 - C) L^0.5 / S^(1/3) min, L in feet, S in percent. C is
// the 5-year coefficient. Source: FAA1970.
func FAA(c float64, l unit.Length, s unit.Slope) (hydro.Duration, error) {
	if err := checkPath(l, s, 1e4, source.FAA1970); err != nil {
		return 0, err
	}
	if err := hydro.Check("runoff coefficient C", c, 0, 1, "", source.FAA1970); err != nil {
		return 0, err
	}
	return hydro.Duration(1.8 * (1.1 - c) * math.Sqrt(l.Feet()) / math.Cbrt(100*float64(s))), nil
}

// Lag returns tc of the NRCS lag equation: Lag = l^0.8 (S+1)^0.7 / (1900 Y^0.5) h,
// l feet, Y percent, S = 1000/CN - 10; tc = Lag/0.6. CN 50 to 95. Source: NEH630.
func Lag(l unit.Length, cn float64, s unit.Slope) (hydro.Duration, error) {
	if err := checkPath(l, s, 1e5, source.NEH630); err != nil {
		return 0, err
	}
	if err := hydro.Check("curve number", cn, 50, 95, "", source.NEH630); err != nil {
		return 0, err
	}
	lag := math.Pow(l.Feet(), 0.8) * math.Pow(1000/cn-9, 0.7) / (1900 * math.Sqrt(100*float64(s)))
	return hydro.Duration(lag / 0.6 * 60), nil
}

// Kinematic returns the travel time of sheet flow under intensity i:
//
//	Tt = (6.9/i^0.4) (n L/S^0.5)^0.6     min, i mm/h, L m
//
// Source: HDS2, equation 2.5 (0.93 in feet and inches an hour; HEC22 prints 6.92
// and 0.933). See KinematicIn for the intensity of the very time that results.
func Kinematic(n float64, l unit.Length, s unit.Slope, i hydro.Intensity) (hydro.Duration, error) {
	if err := checkPath(l, s, 1000, source.HDS2); err != nil {
		return 0, err
	}
	if err := hydro.Check("sheet-flow n", n, 0.005, 1, "", source.HDS2); err != nil {
		return 0, err
	}
	if err := hydro.Check("rainfall intensity", float64(i), hydro.Positive, 2000, "mm/h", ""); err != nil {
		return 0, err
	}
	return hydro.Duration(6.9 / math.Pow(float64(i), 0.4) * math.Pow(n*float64(l)/math.Sqrt(float64(s)), 0.6)), nil
}

// KinematicIn solves Kinematic with the intensity that the rainfall has for the
// time that results, to 0.001 min.
func KinematicIn(n float64, l unit.Length, s unit.Slope, r rain.Rainfall, t hydro.ReturnPeriod) (hydro.Duration, []hydro.Note, error) {
	if r == nil {
		return 0, nil, fmt.Errorf("runoff: no rainfall is given")
	}
	if l == 0 {
		return 0, nil, checkPath(l, s, 1000, source.HDS2)
	}
	// Time grows as intensity falls and intensity falls as time grows, each slower
	// than in proportion: plain repetition converges.
	tt := hydro.Duration(10)
	for k := 0; k < 200; k++ {
		i, notes, err := r.Intensity(tt, t)
		if err != nil {
			return 0, nil, err
		}
		next, err := Kinematic(n, l, s, i)
		if err != nil {
			return 0, nil, err
		}
		if math.Abs(float64(next-tt)) < 0.001 {
			return next, notes, nil
		}
		tt = next
	}
	return 0, nil, fmt.Errorf("runoff: kinematic time of concentration does not settle near %.2f min", float64(tt))
}

// Floored returns tc, or the least that the rules allow, and says whether it was
// held up. Codes commonly ask 5 min, some 10.
func Floored(tc, least hydro.Duration) (hydro.Duration, bool) {
	if tc < least {
		return least, true
	}
	return tc, false
}
