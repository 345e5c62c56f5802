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
	if _, err := ChanceAnyStick(20, 0.2, 0, 0.005, 0.006); err == nil {
		t.Error("a stick of no length was taken")
	}
	if _, err := ChanceAnyStick(1e6, 0.2, 1e-3, 0.005, 0.006); err == nil {
		t.Error("a thousand million sticks were taken")
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
	for _, c := range []struct{ length, slope, ground, laying, stick float64 }{
		{20, 0.01, 0.01, 0.006, 3.048},
		{12, 0.007, 0.012, 0.006, 3.048},
		{6.5, 0.0055, 0.003, 0.004, 3.048},
		{2, 0.01, 0.01, 0.006, 3.048}, // shorter than a stick
	} {
		fall := c.length * c.slope
		n := int(math.Ceil(c.length/c.stick - 1e-9))
		under, any, back := 0, 0, 0
		e := make([]float64, n+1)
		for range draws {
			up := r.NormFloat64()*c.ground + r.NormFloat64()*c.laying
			down := r.NormFloat64()*c.ground + r.NormFloat64()*c.laying
			if fall+up-down < 0.005*c.length {
				under++
			}
			for j := range e {
				e[j] = r.NormFloat64() * c.laying
			}
			a, b := false, false
			for j := range n {
				l := math.Min(c.stick, c.length-float64(j)*c.stick)
				f := l*c.slope + e[j] - e[j+1]
				a = a || f < 0.005*l
				b = b || f < 0
			}
			if a {
				any++
			}
			if b {
				back++
			}
		}
		u, _, err := ChanceUnder(unit.Length(c.length), unit.Length(fall), 0.005, Errors{unit.Length(c.ground), unit.Length(c.laying)})
		if err != nil {
			t.Fatal(err)
		}
		within("under", u, under)
		a, err := ChanceAnyStick(unit.Length(c.length), unit.Length(fall), unit.Length(c.stick), 0.005, unit.Length(c.laying))
		if err != nil {
			t.Fatal(err)
		}
		within("any stick", a, any)
		b, err := ChanceAnyStick(unit.Length(c.length), unit.Length(fall), unit.Length(c.stick), 0, unit.Length(c.laying))
		if err != nil {
			t.Fatal(err)
		}
		within("back-fall", b, back)
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

// What the target slope costs on the run of TestHandOneRun: at 0.5 % the lower
// end lies 0.10 m higher, the trench is 0.05 m shallower on average:
// 1.2·20·0.05 = 1.2 less, and the end 0.10 m less deep.
func TestHandCompare(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99}, Rules: yardRules(), Stock: smooth,
	}
	q := *p
	q.Rules.TargetSlope = 0.005
	a, b := solve(t, p), solve(t, &q)
	d := Compare(p, a, &q, b)
	near1(t, "cost", d.Cost, -1.2, 1e-9)
	near1(t, "depth", float64(d.GreatestDepth), -0.1, 1e-9)
	near1(t, "margin", float64(d.Margin), 0.1, 1e-9)
	near1(t, "mean invert", float64(d.MeanInvert), 0.05, 1e-9)
	near1(t, "slope", float64(d.Slope), -0.005, 1e-9)
	if !d.SameTree || len(d.Reaches) != 1 {
		t.Errorf("%+v", d)
	}
	if same := Compare(p, a, p, a); same.Cost != 0 || len(same.Reaches) != 0 || !same.SameTree {
		t.Errorf("a result against itself: %+v", same)
	}
	// Corrugated for smooth: n 0.016, walls 8.9 mm thick. The cover of 0.3048 puts
	// the invert 6.15 mm lower.
	q = *p
	q.Stock = []Pipe{{Inside: 0.1016, Outside: 0.1194, N: 0.016, Price: 0.305}}
	d = Compare(p, a, &q, solve(t, &q))
	near1(t, "corrugated lies lower", float64(d.MeanInvert), -0.00615, 1e-3)
	// The tie-in at 99.45 leaves 99.59085 - 0.10 - 99.45 = 40.85 mm at the least slope.
	q = *p
	q.End.TieIn = 99.45
	v, err := NewSolver().Spare(&q)
	if err != nil {
		t.Fatal(err)
	}
	near1(t, "spare", float64(v), 0.04085, 1e-6)
	c, err := Chances(p, a, Errors{0.01, 0.006}, 3.048)
	if err != nil {
		t.Fatal(err)
	}
	if !(c[0].Under < 1e-6 && c[0].Back < c[0].Stick && c[0].Stick > 0.1 && c[0].Stick < 0.5) {
		t.Errorf("%+v", c)
	}
}
