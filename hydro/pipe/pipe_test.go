package pipe

import (
	"errors"
	"fmt"
	"math"
	"math/rand"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/internal/published"
	"fallwright/hydro/source"
)

const inch = unit.Inch

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// mp-elements: hydraulic elements relative to full. A and R read; V and Q follow
// from Manning.
func TestPublishedHydraulicElements(t *testing.T) {
	area := []float64{0.052, 0.1424, 0.2523, 0.3735, 0.5, 0.6265, 0.7477, 0.8576, 0.948, 1}
	radius := []float64{0.254, 0.482, 0.684, 0.857, 1, 1.111, 1.185, 1.217, 1.192, 1}
	vel := []float64{0.401, 0.615, 0.776, 0.902, 1, 1.072, 1.12, 1.14, 1.124, 1}
	flow := []float64{0.0209, 0.0876, 0.1958, 0.337, 0.5, 0.672, 0.837, 0.977, 1.066, 1}
	p := Pipe{0.3, 0.013}
	qf := must(p.Capacity(0.01))
	fullSec := must(Circle(p.Diameter, p.Diameter))
	for i := range area {
		y := unit.Length(i+1) / 10 * p.Diameter
		s := must(Circle(p.Diameter, y))
		q := must(p.FlowAt(y, 0.01))
		loc := fmt.Sprintf("appendix A, y/D %.1f", float64(i+1)/10)
		published.Check(t,
			published.Value{What: "A/Afull", Src: source.Chow1959, Loc: loc, Got: float64(s.Area / fullSec.Area), Want: area[i], Tol: 0.001},
			published.Value{What: "R/Rfull", Src: source.Chow1959, Loc: loc, Got: float64(s.HydraulicRadius / fullSec.HydraulicRadius), Want: radius[i], Tol: 0.001},
			published.Value{What: "V/Vfull", Src: source.Chow1959, Loc: loc + ", follows from Manning", Got: float64(q/qf) / float64(s.Area/fullSec.Area), Want: vel[i], Tol: 0.001},
			published.Value{What: "Q/Qfull", Src: source.Chow1959, Loc: loc + ", follows from Manning", Got: float64(q / qf), Want: flow[i], Tol: 0.001})
	}
}

// mp-maxima: found by a scan of the curve, not from the constants of the solver.
func TestPublishedMaxima(t *testing.T) {
	p := Pipe{1, 0.013}
	qf := must(p.Capacity(0.01))
	af := must(Circle(1, 1)).Area
	var yq, q, yv, v float64
	for i := 1; i <= 100000; i++ {
		y := float64(i) / 100000
		qi := float64(must(p.FlowAt(unit.Length(y), 0.01)) / qf)
		vi := qi / float64(must(Circle(1, unit.Length(y))).Area/af)
		if qi > q {
			yq, q = y, qi
		}
		if vi > v {
			yv, v = y, vi
		}
	}
	const loc = "section 6-4, from memory"
	published.Check(t,
		published.Value{What: "y/D at Qmax", Src: source.Chow1959, Loc: loc, Got: yq, Want: 0.938, Tol: 0.003},
		published.Value{What: "Qmax/Qfull", Src: source.Chow1959, Loc: loc, Got: q, Want: 1.076, Tol: 0.001},
		published.Value{What: "y/D at Vmax", Src: source.Chow1959, Loc: loc, Got: yv, Want: 0.81, Tol: 0.003},
		published.Value{What: "Vmax/Vfull", Src: source.Chow1959, Loc: loc, Got: v, Want: 1.14, Tol: 0.001})
	if math.Abs(PeakRatio-q) > 1e-5 || math.Abs(depthAt(1, thetaPeak)-yq) > 2e-5 {
		t.Errorf("the solver's constants %g, %g are not the maximum %g at %g", PeakRatio, depthAt(1, thetaPeak), q, yq)
	}
}

// mp-half
func TestPublishedHalfFull(t *testing.T) {
	p := Pipe{0.1524, 0.012}
	s := must(Circle(p.Diameter, p.Diameter/2))
	q := must(p.FlowAt(p.Diameter/2, 0.01))
	c := must(p.Capacity(0.01))
	published.Check(t,
		published.Value{What: "Q/Qfull", Src: source.Definition, Loc: "half-full identity", Got: float64(q / c), Want: 0.5, Tol: 1e-9},
		published.Value{What: "V/Vfull", Src: source.Definition, Loc: "half-full identity", Got: float64(q/c) / (float64(s.Area) / (math.Pi / 4 * float64(p.Diameter*p.Diameter))), Want: 1, Tol: 1e-9},
		published.Value{What: "R/D", Src: source.Definition, Loc: "half-full identity", Got: float64(s.HydraulicRadius / p.Diameter), Want: 0.25, Tol: 1e-9})
}

// mp-capacity-grid: the US constant 1.486 is rounded from 1.4859, hence 0.1 %.
func TestPublishedCapacityGrid(t *testing.T) {
	d := []unit.Length{3, 4, 6, 8, 10, 12}
	rows := []struct {
		n    hydro.Roughness
		s    unit.Slope
		want []float64
	}{
		{0.01, 0.005, []float64{0.08123, 0.1749, 0.5158, 1.111, 2.014, 3.275}},
		{0.01, 0.01, []float64{0.1149, 0.2474, 0.7294, 1.571, 2.848, 4.632}},
		{0.01, 0.02, []float64{0.1625, 0.3499, 1.032, 2.222, 4.028, 6.55}},
		{0.012, 0.005, []float64{0.06769, 0.1458, 0.4298, 0.9257, 1.678, 2.729}},
		{0.012, 0.01, []float64{0.09573, 0.2062, 0.6079, 1.309, 2.374, 3.86}},
		{0.012, 0.02, []float64{0.1354, 0.2916, 0.8597, 1.851, 3.357, 5.458}},
		{0.013, 0.005, []float64{0.06249, 0.1346, 0.3968, 0.8545, 1.549, 2.519}},
		{0.013, 0.01, []float64{0.08837, 0.1903, 0.5611, 1.208, 2.191, 3.563}},
		{0.013, 0.02, []float64{0.125, 0.2691, 0.7935, 1.709, 3.099, 5.039}},
		{0.015, 0.005, []float64{0.05415, 0.1166, 0.3439, 0.7405, 1.343, 2.183}},
		{0.015, 0.01, []float64{0.07659, 0.1649, 0.4863, 1.047, 1.899, 3.088}},
		{0.015, 0.02, []float64{0.1083, 0.2333, 0.6877, 1.481, 2.685, 4.367}},
		{0.018, 0.005, []float64{0.04513, 0.09719, 0.2866, 0.6171, 1.119, 1.819}},
		{0.018, 0.01, []float64{0.06382, 0.1374, 0.4052, 0.8727, 1.582, 2.573}},
		{0.018, 0.02, []float64{0.09026, 0.1944, 0.5731, 1.234, 2.238, 3.639}},
		{0.024, 0.005, []float64{0.03385, 0.07289, 0.2149, 0.4628, 0.8392, 1.365}},
		{0.024, 0.01, []float64{0.04787, 0.1031, 0.3039, 0.6546, 1.187, 1.93}},
		{0.024, 0.02, []float64{0.06769, 0.1458, 0.4298, 0.9257, 1.678, 2.729}},
	}
	for _, r := range rows {
		for i, want := range r.want {
			published.Check(t, published.Value{What: fmt.Sprintf("%g in, n %g, S %g", float64(d[i]), r.n, r.s), Src: source.TxDOT,
				Loc: "Manning friction with 1.486; input ours", Got: must(Pipe{d[i] * inch, r.n}.Capacity(r.s)).CFS(), Want: want, Rel: 0.001})
		}
	}
}

// mp-concrete-013, printed to three figures.
func TestPublishedConcreteCoefficient(t *testing.T) {
	for i, d := range []unit.Length{12, 15, 18, 24} {
		want := []float64{35.7, 64.7, 105, 226}[i]
		published.Check(t, published.Value{What: "C1", Src: source.ACPA, Loc: "full-flow coefficient, n 0.013, from memory",
			Got: must(Pipe{d * inch, 0.013}.Capacity(1)).CFS(), Want: want, Rel: 0.003})
	}
}

// sc-min-slope-v: printed to two figures.
func TestPublishedLeastSlopes(t *testing.T) {
	for i, d := range []unit.Length{12, 15, 18, 24} {
		p := Pipe{d * inch, 0.013}
		published.Check(t,
			published.Value{What: "2.5 ft/s", Src: source.StateSlope, Loc: "figure 6-3", Got: float64(must(p.SlopeForVelocity(2.5 * 0.3048))),
				Want: []float64{0.003, 0.0023, 0.0018, 0.0012}[i], Tol: 0.00006},
			published.Value{What: "3 ft/s", Src: source.StateSlope, Loc: "figure 6-3", Got: float64(must(p.SlopeForVelocity(3 * 0.3048))),
				Want: []float64{0.0044, 0.0032, 0.0025, 0.0017}[i], Tol: 0.00006})
	}
}

// sc-small
func TestPublishedSmallPipeSlopes(t *testing.T) {
	for i, d := range []unit.Length{3, 4, 6} {
		published.Check(t, published.Value{What: "2 ft/s full", Src: source.TxDOT, Loc: "Manning rearranged; input ours",
			Got: float64(must(Pipe{d * inch, 0.01}.SlopeForVelocity(2 * 0.3048))), Want: []float64{0.007303, 0.004977, 0.002898}[i], Rel: 0.005})
	}
}

// sc-tau: 8 in full at 0.4 %.
func TestPublishedShear(t *testing.T) {
	tau := float64(Shear(must(Circle(8*inch, 8*inch)).HydraulicRadius, 0.004))
	published.Check(t,
		published.Value{What: "shear, Pa", Src: source.MerrittShear, Loc: "tau = gamma R S; input ours", Got: tau, Want: 1.989, Rel: 0.005},
		published.Value{What: "shear, lb/ft2", Src: source.MerrittShear, Loc: "tau = gamma R S; input ours", Got: tau / 47.880, Want: 0.0416, Rel: 0.005},
		published.Value{What: "1 mm sand", Src: source.ASCE60, Loc: "0.867 d^0.277, from memory", Got: float64(must(CriticalShear(0.001))), Want: 0.867, Tol: 0.0005})
}

// hg-darcy-eq: friction part; losses at entrance and exit are tested in gradeline.
func TestPublishedDarcy(t *testing.T) {
	p := Pipe{0.3, 0.013}
	f := must(p.DarcyFactor())
	q := hydro.Flow(math.Pi / 4 * 0.09)
	published.Check(t,
		published.Value{What: "f", Src: source.Darcy, Loc: "f = 124.5 n^2/D^(1/3), g 9.8; input ours", Got: f, Want: 0.03143, Rel: 0.005},
		published.Value{What: "hf by Darcy", Src: source.Darcy, Loc: "L 30 m, V 1 m/s", Got: f * 30 / 0.3 / (2 * hydro.Gravity), Want: 0.1604, Rel: 0.005},
		published.Value{What: "hf by Manning", Src: source.Darcy, Loc: "L 30 m, V 1 m/s", Got: 30 * float64(must(p.FrictionSlope(q))), Want: 0.1604, Rel: 0.005})
}

// hg-sf-12in
func TestPublishedFrictionSlope(t *testing.T) {
	sf := float64(must(Pipe{12 * inch, 0.013}.FrictionSlope(hydro.FlowCFS(3.57))))
	published.Check(t,
		published.Value{What: "Sf", Src: source.TxDOT, Loc: "chapter 6 section 3, z 0.4644; input ours", Got: sf, Want: 0.01, Rel: 0.015},
		published.Value{What: "hf, ft", Src: source.TxDOT, Loc: "chapter 6 section 3, 100 ft", Got: sf * 100, Want: 1, Rel: 0.015})
}

// mp-n-values: the table of roughness.
func TestPublishedRoughness(t *testing.T) {
	rows := []struct {
		name, src string
		lo, hi    hydro.Roughness
	}{
		{"smooth plastic", source.HEC22, 0.009, 0.011},
		{"concrete", source.HEC22, 0.010, 0.013},
		{"clay", source.HEC22, 0.012, 0.014},
		{"corrugated plastic, smooth inside", source.HEC22, 0.009, 0.015},
		{"corrugated plastic, single wall", source.HEC22, 0.018, 0.025},
		{"corrugated metal, 68 by 13 mm", source.HEC22, 0.024, 0.024},
		{"corrugated plastic drain, 3 to 8 in", source.NEH650, 0.015, 0.015},
		{"corrugated plastic drain, 10 to 12 in", source.NEH650, 0.017, 0.017},
		{"corrugated plastic drain, over 12 in", source.NEH650, 0.020, 0.020},
		{"smooth plastic drain", source.NEH650, 0.013, 0.013},
	}
	for _, want := range rows {
		found := false
		for _, m := range Materials() {
			if m.Name == want.name && m.Source == want.src {
				found = true
				if m.Low != want.lo || m.High != want.hi {
					t.Errorf("%s (%s): %g to %g, want %g to %g", m.Name, m.Source, m.Low, m.High, want.lo, want.hi)
				}
			}
		}
		if !found {
			t.Errorf("%s (%s) is not in the table", want.name, want.src)
		}
	}
}

// Hand: a 6 in pipe, n 0.012 at 1 % in US units: A 0.19635 ft2, R 0.125 ft,
// R^(2/3) 0.25, Q = 1.486/0.012 * 0.19635 * 0.25 * 0.1 = 0.6079 cfs = 272.8 gpm.
func TestHandSixInch(t *testing.T) {
	q := must(Pipe{6 * inch, 0.012}.Capacity(0.01))
	if math.Abs(q.GPM()-272.8) > 0.3 {
		t.Errorf("got %.2f gpm, want 272.8", q.GPM())
	}
}

// Oracle: Newton against bisection on the section's own formula, written apart.
func TestOracleDepths(t *testing.T) {
	rng := rand.New(rand.NewSource(5))
	for i := 0; i < 3000; i++ {
		p := Pipe{unit.Length(0.05 + rng.Float64()), hydro.Roughness(0.009 + 0.015*rng.Float64())}
		s := unit.Slope(math.Pow(10, -4+3.5*rng.Float64()))
		r := math.Pow(10, -6+6*rng.Float64()) * PeakRatio
		q := r * float64(must(p.Capacity(s)))
		y := must(p.NormalDepth(hydro.Flow(q), s))
		lo, hi := 0.0, 0.93818*float64(p.Diameter)
		for k := 0; k < 100; k++ {
			m := (lo + hi) / 2
			sec := must(Circle(p.Diameter, unit.Length(m)))
			v := math.Pow(float64(sec.HydraulicRadius), 2.0/3) * math.Sqrt(float64(s)) / float64(p.N)
			if v*float64(sec.Area) < q {
				lo = m
			} else {
				hi = m
			}
		}
		tol := 1e-9 * float64(p.Diameter)
		if r > 1.06 { // the curve is flat at its top
			tol = 1e-3 * float64(p.Diameter)
		}
		if math.Abs(float64(y)-lo) > tol {
			t.Fatalf("normal depth: D %g r %g: got %.12g, bisection %.12g", p.Diameter, r, y, lo)
		}
		yc := must(p.CriticalDepth(hydro.Flow(q)))
		lo, hi = 0, float64(p.Diameter)
		for k := 0; k < 100; k++ {
			m := (lo + hi) / 2
			sec := must(Circle(p.Diameter, unit.Length(m)))
			if q*q*float64(sec.TopWidth) > hydro.Gravity*math.Pow(float64(sec.Area), 3) {
				lo = m
			} else {
				hi = m
			}
		}
		if math.Abs(float64(yc)-lo) > 1e-7*float64(p.Diameter) {
			t.Fatalf("critical depth: D %g q %g: got %.12g, bisection %.12g", p.Diameter, q, yc, lo)
		}
	}
}

func TestPropertyCapacityGrows(t *testing.T) {
	last := hydro.Flow(0)
	for d := unit.Length(0.05); d < 1; d += 0.01 {
		q := must(Pipe{d, 0.012}.Capacity(0.01))
		if q <= last {
			t.Fatalf("capacity fell with diameter at %g", d)
		}
		last = q
	}
	last = 0
	for s := unit.Slope(0.001); s < 0.5; s *= 1.1 {
		q := must(Pipe{0.1, 0.012}.Capacity(s))
		if q <= last {
			t.Fatalf("capacity fell with slope at %g", s)
		}
		last = q
	}
}

// SI and US closed forms agree to 0.1 %: Q = 0.4632/n D^(8/3) S^(1/2), ft and cfs.
func TestPropertyUnitsAgree(t *testing.T) {
	for _, ft := range []float64{0.25, 0.5, 1, 2} {
		us := 0.4632 / 0.013 * math.Pow(ft, 8.0/3) * 0.1
		si := must(Pipe{unit.Length(ft) * unit.Foot, 0.013}.Capacity(0.01)).CFS()
		if math.Abs(us/si-1) > 0.001 {
			t.Errorf("%g ft: US %g, SI %g cfs", ft, us, si)
		}
	}
}

func TestPropertyShareSums(t *testing.T) {
	rng := rand.New(rand.NewSource(7))
	for i := 0; i < 500; i++ {
		b := Barrels{{0.1016, 0.012}, {0.1524, 0.016}, {unit.Length(0.05 + 0.3*rng.Float64()), 0.013}}[:2+rng.Intn(2)]
		c := must(b.Capacity(0.01))
		q := c * hydro.Flow(1.5*rng.Float64())
		qs, st, err := b.Share(q, 0.01)
		if err != nil {
			t.Fatal(err)
		}
		var sum hydro.Flow
		for k := range qs {
			sum += qs[k]
			if q < c && st[k].Surcharged {
				t.Fatalf("pipe %d surcharged at %.3f of capacity", k, q/c)
			}
		}
		if math.Abs(float64(sum-q)) > 1e-9*float64(c) {
			t.Fatalf("flows sum to %g of %g", sum, q)
		}
	}
	// Two alike carry half each.
	qs, _, err := Alike(2, Pipe{0.1, 0.012}).Share(0.004, 0.01)
	if err != nil || math.Abs(float64(qs[0]-0.002)) > 1e-12 || math.Abs(float64(qs[1]-0.002)) > 1e-12 {
		t.Errorf("two alike: %v, %v", qs, err)
	}
}

// A leak takes (1-f)^joints; with enough of it the grit stays behind.
func TestHandDeliver(t *testing.T) {
	p := Pipe{0.1016, 0.012}
	sealed, err := p.Deliver(0.002, 0.01, 12, 0, RoofGrit)
	if err != nil || sealed.Out != 0.002 || !sealed.Carried {
		t.Errorf("sealed: %+v, %v", sealed, err)
	}
	// 0.9^12 = 0.28243
	leaky, err := p.Deliver(0.002, 0.01, 12, 0.1, RoofGrit)
	if err != nil || math.Abs(leaky.Lost-(1-0.28243)) > 1e-5 || leaky.AtEnd.Shear >= sealed.AtEnd.Shear {
		t.Errorf("leaky: %+v, %v", leaky, err)
	}
}

func TestBadInput(t *testing.T) {
	p := Pipe{0.1, 0.012}
	nan := math.NaN()
	for name, err := range map[string]error{
		"zero slope":        errOf(p.Capacity(0)),
		"negative slope":    errOf(p.Capacity(-0.01)),
		"NaN slope":         errOf(p.Capacity(unit.Slope(nan))),
		"zero diameter":     errOf(Pipe{0, 0.012}.Capacity(0.01)),
		"negative diameter": errOf(Pipe{-0.1, 0.012}.Capacity(0.01)),
		"NaN diameter":      errOf(Pipe{unit.Length(nan), 0.012}.Capacity(0.01)),
		"no roughness":      errOf(Pipe{0.1, 0}.Capacity(0.01)),
		"rough as rock":     errOf(Pipe{0.1, 1.2}.Capacity(0.01)),
		"negative flow":     errOf(p.State(-1, 0.01)),
		"infinite flow":     errOf(p.State(hydro.Flow(math.Inf(1)), 0.01)),
		"too much flow":     errOf(p.NormalDepth(1, 0.01)),
		"depth over crown":  errOf(Circle(0.1, 0.2)),
		"no pipes":          errOf(Barrels{}.Capacity(0.01)),
		"leak above one":    errOf(p.Deliver(0.001, 0.01, 3, 1.2, RoofGrit)),
		"boulder":           errOf(CriticalShear(0.5)),
		"no velocity":       errOf(p.SlopeForVelocity(0)),
	} {
		var r *hydro.RangeError
		if !errors.As(err, &r) {
			t.Errorf("%s: got %v, want a RangeError", name, err)
		}
	}
	if st := must(p.State(0, 0.01)); st.Depth != 0 || st.Velocity != 0 {
		t.Errorf("no flow: %+v", st)
	}
}

func errOf[T any](_ T, err error) error { return err }
