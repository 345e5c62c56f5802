package profile

import (
	"math"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// four inches of smooth pipe, outside 107.1 mm: 2.75 mm of wall.
var smooth = []Pipe{
	{Inside: 0.1016, Outside: 0.1071, N: 0.012, Price: 0.305},
	{Inside: 0.1524, Outside: 0.1594, N: 0.012, Price: 0.457},
	{Inside: 0.2032, Outside: 0.2134, N: 0.012, Price: 0.610},
}

func yardRules() Rules {
	return Rules{TargetSlope: 0.01, LeastSlope: 0.005, LeastCover: 0.3048, GreatestDepth: 1.2192, Bedding: 0.0508, LeastVelocity: 0.6}
}

func ramp(l, up, down float64) []Station {
	return []Station{{0, unit.Elevation(up)}, {unit.Length(l), unit.Elevation(down)}}
}

func solve(t testing.TB, p *Problem) *Result {
	t.Helper()
	var out Result
	if err := NewSolver().Solve(p, &out); err != nil {
		t.Fatal(err)
	}
	return &out
}

func near1(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6f, want %.6f (within %g)", what, got, want, tol)
	}
}

// One run of 20 m on level ground at 100.000, 4 in pipe, 1 %.
//
//	outside top at most 100.000 - 0.3048 = 99.6952
//	invert up   99.6952 - (0.1016 + 0.00275) = 99.59085, down to the mm: 99.590
//	invert down 99.590 - 0.20 = 99.390
//	depth up    100 - (99.590 - 0.00275 - 0.0508) = 0.46355
//	depth down  0.66355
//	price       20·1 + 1.2·20·(0.46355+0.66355)/2 + 20·0.305 = 20 + 13.5252 + 6.1
func TestHandOneRun(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99}, Rules: yardRules(), Stock: smooth,
	}
	r := solve(t, p)
	l := r.Reaches[0]
	near1(t, "invert up", float64(l.InvertUp), 99.590, 1e-9)
	near1(t, "invert down", float64(l.InvertDown), 99.390, 1e-9)
	near1(t, "depth", float64(l.Depth), 0.66355, 1e-9)
	near1(t, "cost", r.Cost, 39.6252, 1e-9)
	near1(t, "margin", float64(r.Margin), 0.39, 1e-9)
	if r.Verdict != Arrives || !r.Target || !r.Settled || l.Pipe != 0 || r.Binds.Kind != Cover || r.Binds.At != 0 {
		t.Errorf("%+v", r)
	}
}

// The same run with the tie-in at 99.450: the fall at hand is
// 99.59085 - 99.450 = 0.14085 over 20 m, 0.70 %: between least and target.
// With the tie-in at 99.550 it is 0.04085, 0.20 %: short. At 0.5 % it arrives at
// 99.590 - 0.100 = 99.490, short by 60 mm; it binds at the start's cover.
func TestHandThinnedAndShort(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99.45}, Rules: yardRules(), Stock: smooth,
	}
	r := solve(t, p)
	if r.Verdict != Arrives || r.Target {
		t.Errorf("thinned: %+v", r)
	}
	near1(t, "slope", float64(r.Slope), 0.0070, 1e-4) // two millimetres of rounding
	near1(t, "margin", float64(r.Margin), 0.0005, 1e-3)
	p.End.TieIn = 99.55
	r = solve(t, p)
	if r.Verdict != Short || r.Binds.Kind != Cover || r.Binds.Reach != 0 || r.Binds.At != 0 {
		t.Errorf("short: %+v", r)
	}
	near1(t, "margin", float64(r.Margin), -0.060, 1e-9)
}

// A dip: ground 100, 99.6 at 10 m, 100 at 20 m. The outside top is at most
// 99.2952 there, the invert 99.19085. At 1 % the highest arrival is
// 99.19085 - 0.10 = 99.09085; the end covers alone would give 99.390.
func TestHandDip(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: []Station{{0, 100}, {10, 99.6}, {20, 100}}, Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99.0905}, Rules: yardRules(), Stock: smooth,
	}
	r := solve(t, p)
	near1(t, "invert down", float64(r.Reaches[0].InvertDown), 99.09085, 1.5e-3)
	near1(t, "cover", float64(r.Reaches[0].Cover), 0.3048, 1.5e-3)
	if r.Verdict != Arrives || r.Binds.Kind != Cover || r.Binds.At != 10 {
		t.Errorf("%+v", r)
	}
}

var _ = hydro.Flow(0)
