package profile

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Tables of the normal distribution: Phi(-1) = 0.158655, Phi(-2) = 0.022750,
// Phi(-3) = 0.001350 (values from memory of any such table).
//
//	20 m at 1 % falls 0.200 m; at the least slope of 0.5 %, 0.100: spare 0.100 m.
//	An error of 0.1/sqrt(2) at each end is 0.1 m for the fall: one standard error;
//	half of it two, a third of it three. At the least slope itself: one half.
func TestHandChanceUnder(t *testing.T) {
	for _, c := range []struct{ length, fall, ground, laying, want, tol float64 }{
		{20, 0.2, 0.1 / math.Sqrt2, 0, 0.158655, 1e-6},
		{20, 0.2, 0.05 / math.Sqrt2, 0, 0.022750, 1e-6},
		{20, 0.2, 0, 0.1 / 3 / math.Sqrt2, 0.001350, 1e-6},
		{20, 0.1, 0.01, 0.01, 0.5, 1e-12},
		{20, 0.2, 0, 0, 0, 0},
		{20, 0.09, 0, 0, 1, 0},
	} {
		got, _, err := ChanceUnder(unit.Length(c.length), unit.Length(c.fall), 0.005, Errors{unit.Length(c.ground), unit.Length(c.laying)})
		if err != nil {
			t.Fatal(err)
		}
		near1(t, "chance", got, c.want, c.tol)
	}
	for _, e := range []Errors{{-1, 0}, {0, unit.Length(math.NaN())}, {math.MaxFloat64, 0}} {
		var r *hydro.RangeError
		if _, _, err := ChanceUnder(20, 0.2, 0.005, e); !errors.As(err, &r) {
			t.Errorf("%v: %v", e, err)
		}
	}
}

// Monte Carlo of the stated model, seeded: 400,000 draws know a chance P to
// sqrt(P(1-P)/400000); four of those are allowed.
func TestOracleChanceMonteCarlo(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 7))
	const draws = 400000
	within := func(what string, got float64, hits int) {
		t.Helper()
		p := float64(hits) / draws
		if tol := 4*math.Sqrt(math.Max(p*(1-p), 1e-6)/draws) + 2e-6; math.Abs(got-p) > tol {
			t.Errorf("%s: %.6f, drawn %.6f (within %.6f)", what, got, p, tol)
		}
	}
	for _, c := range []struct{ length, slope, ground, laying float64 }{
		{20, 0.01, 0.01, 0.006},
		{12, 0.007, 0.012, 0.006},
		{6.5, 0.0055, 0.003, 0.004},
		{2, 0.01, 0.01, 0.006},
	} {
		fall := c.length * c.slope
		under := 0
		for range draws {
			up := r.NormFloat64()*c.ground + r.NormFloat64()*c.laying
			down := r.NormFloat64()*c.ground + r.NormFloat64()*c.laying
			if fall+up-down < 0.005*c.length {
				under++
			}
		}
		u, _, err := ChanceUnder(unit.Length(c.length), unit.Length(fall), 0.005, Errors{unit.Length(c.ground), unit.Length(c.laying)})
		if err != nil {
			t.Fatal(err)
		}
		within("under", u, under)
	}
}

// Each run steeper, longer at a slope above the least, or better laid, is surer.
func TestPropertyChance(t *testing.T) {
	at := func(l, s, g, e float64) float64 {
		v, _, err := ChanceUnder(unit.Length(l), unit.Length(l*s), 0.005, Errors{unit.Length(g), unit.Length(e)})
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	r := rand.New(rand.NewPCG(6, 8))
	for range 1000 {
		l, s, g, e := 1+r.Float64()*30, 0.005+r.Float64()*0.01, r.Float64()*0.02, 0.001+r.Float64()*0.02
		v := at(l, s, g, e)
		if at(l, s+0.001, g, e) > v || at(l+1, s, g, e) > v || at(l, s, g+0.001, e) < v || at(l, s, g, e+0.001) < v {
			t.Fatalf("%g m at %g, errors %g and %g: %g", l, s, g, e, v)
		}
	}
}

// Spare by hand, on the run of TestHandOneRun: a tie-in at 99.45 leaves
// 99.59085 - 0.10 - 99.45 = 40.85 mm at the least slope.
func TestHandSpare(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99.45}, Rules: yardRules(), Stock: smooth,
	}
	v, err := NewSolver().Spare(p)
	if err != nil {
		t.Fatal(err)
	}
	near1(t, "spare", float64(v), 0.04085, 1e-6)
}
