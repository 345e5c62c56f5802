package profile

import (
	"math"
	"slices"
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

// The run on level ground at 100.000 into a structure whose rim is at 99.400, under
// which its outside top must come in: a 4 in pipe's invert at 99.400 - 0.10435 =
// 99.29565 at most, a 6 in pipe's at 99.400 - (0.1524 + 0.0035) = 99.2441, each down to
// the millimetre. With the tie-in at 99.280 the 6 in pipe has no room, and is told.
func TestHandRim(t *testing.T) {
	rim := unit.Elevation(99.4)
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99, Rim: &rim}, Rules: yardRules(), Stock: smooth,
	}
	for _, c := range []struct {
		size, tieIn, want float64
	}{{0.1016, 99, 99.295}, {0.1524, 99, 99.244}, {0.1016, 99.28, 99.295}} {
		p.Reaches[0].Pipes = []int{slices.IndexFunc(p.Stock, func(k Pipe) bool { return k.Inside == unit.Length(c.size) })}
		p.End.TieIn = unit.Elevation(c.tieIn)
		r := solve(t, p)
		near1(t, "arrival", float64(r.Arrival), c.want, 1e-9)
		if r.Verdict != Arrives || len(r.Breaches) > 0 {
			t.Errorf("%g m: %+v", c.size, r)
		}
	}
	p.Reaches[0].Pipes = []int{slices.IndexFunc(p.Stock, func(k Pipe) bool { return k.Inside == 0.1524 })}
	r := solve(t, p)
	if len(r.Breaches) != 1 || r.Breaches[0].Kind != TieIn {
		t.Errorf("no room for the pipe, and %+v", r.Breaches)
	}
}

// A gas line under level ground at 100, its keep-clear band 99.30 to 99.60, at
// 10 m of 20. Over it the outside bottom is at 99.60 or more, so the invert at
// 99.60275 or more and the top at 99.70710: cover 0.293, less than 0.3048. So
// it must go under: top at 99.30, invert at 99.30 - 0.10435 = 99.19565 at 10 m,
// and at 1 % 99.09565 at the end.
func TestHandCrossing(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2,
			Crossings: []Crossing{{At: 10, Low: 99.30, High: 99.60}}}},
		End: End{TieIn: 99}, Rules: yardRules(), Stock: smooth,
	}
	r := solve(t, p)
	if r.Verdict != Arrives || r.Binds.Kind != Utility || r.Binds.At != 10 {
		t.Fatalf("%+v", r)
	}
	l := r.Reaches[0]
	near1(t, "invert at 10 m", float64(l.InvertUp+l.InvertDown)/2, 99.19565, 1.5e-3)
	// Lower the band: over it is possible, and cheaper.
	p.Reaches[0].Crossings[0] = Crossing{At: 10, Low: 99.00, High: 99.30}
	r = solve(t, p)
	near1(t, "over: invert up", float64(r.Reaches[0].InvertUp), 99.590, 1e-9)
	// Held under it, the top is at 99.00: the depth there is
	// 100 - (99.00 - 0.10435 - 0.00275 - 0.0508) = 1.158 m, and 1.258 m at the
	// end with 1 %, too deep; with 0.5 % it is 1.208, which fits under 1.2192.
	p.Reaches[0].Crossings[0].Pass = Under
	p.End.TieIn = 98
	r = solve(t, p)
	if r.Verdict != Arrives || r.Target {
		t.Fatalf("under: %+v", r)
	}
	near1(t, "under: depth", float64(r.Reaches[0].Depth), 1.2192, 3e-3)
	// And between both in a sleeve that is too high for the cover: broken.
	p.Reaches[0].Crossings[0] = Crossing{At: 10, Low: 99.60, High: 99.80, Pass: Within}
	r = solve(t, p)
	if r.Verdict != Broken || len(r.Breaches) == 0 || r.Breaches[0].Kind != Utility {
		t.Fatalf("sleeve: %+v", r)
	}
}

// A 4 in and a 6 in pipe meet at matched crowns: the trunk's invert is
// 0.1524 - 0.1016 = 50.8 mm under that of the 4 in pipe.
//
//	4 in: start 99.59085, 10 m at 1 %: 99.49085
//	6 in: cover at the wye 100 - 0.3048 - 0.1559 = 99.5393; crown match
//	      99.49085 - 0.0508 = 99.44005 rules
func TestHandCrowns(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{
			{Down: 1, Length: 10, Ground: ramp(10, 100, 100), Stated: 0.001, Count: 1, Pipes: []int{0}, TrenchPrice: 1, DepthPrice: 1.2},
			{Down: Outlet, Length: 10, Ground: ramp(10, 100, 100), Stated: 0.009, Count: 1, Pipes: []int{1}, TrenchPrice: 1, DepthPrice: 1.2},
		},
		End: End{TieIn: 99}, Rules: yardRules(), Stock: smooth,
	}
	r := solve(t, p)
	near1(t, "4 in arrives", float64(r.Reaches[0].InvertDown), 99.490, 1e-9)
	near1(t, "6 in begins", float64(r.Reaches[1].InvertUp), 99.439, 1e-9)
	p.Rules.Match = Inverts
	r = solve(t, p)
	near1(t, "6 in begins at matched inverts", float64(r.Reaches[1].InvertUp), 99.490, 1e-9)
	// The other way round there is no pipe for the second reach.
	p.Reaches[0].Pipes, p.Reaches[1].Pipes = []int{1}, []int{0}
	if err := NewSolver().Solve(p, r); err == nil {
		t.Errorf("6 in into 4 in: %+v", r)
	}
}

// A lateral from higher ground, start 100.8, joins a wye without a drop: it is
// laid steeper, to the trunk's level, and not with a step.
//
//	trunk  20 m + 20 m at 1 %: 99.590, 99.390 at the wye
//	lateral 10 m from 101.0 - 0.40915 = 100.59085 down to 99.390: 12 %
//
// With 0.3 m of drop allowed it comes down to 99.690 only.
func TestHandWyeAndDrop(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{
			{Down: 2, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
			{Down: 2, Length: 10, Ground: ramp(10, 101, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
			{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
		},
		End: End{TieIn: 99}, Rules: yardRules(), Stock: smooth[:1],
	}
	r := solve(t, p)
	near1(t, "lateral arrives", float64(r.Reaches[1].InvertDown), 99.390, 1.1e-3)
	near1(t, "lateral slope", float64(r.Reaches[1].Slope), 0.120, 1e-3)
	p.Reaches[2].Drop = 0.3
	// The lateral's own cover at the wye allows 99.590.
	r = solve(t, p)
	near1(t, "lateral with a drop", float64(r.Reaches[1].InvertDown), 99.590, 1.1e-3)
}

// A start that is built already, at 99.40, stays there; one at 99.65 leaves
// 100 - 99.65 - 0.10435 = 0.24565 m of cover and is told.
func TestHandGivenStart(t *testing.T) {
	v := unit.Elevation(99.4)
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2, Start: Start{Invert: &v}}},
		End:     End{TieIn: 99}, Rules: yardRules(), Stock: smooth,
	}
	r := solve(t, p)
	near1(t, "invert up", float64(r.Reaches[0].InvertUp), 99.4, 0)
	near1(t, "invert down", float64(r.Reaches[0].InvertDown), 99.2, 1e-9)
	if r.Verdict != Arrives || r.Binds.Kind != StartLevel {
		t.Errorf("%+v", r)
	}
	v = 99.65
	r = solve(t, p)
	if r.Verdict != Broken || r.Breaches[0].Kind != Cover || r.Breaches[0].At != 0 {
		t.Errorf("%+v", r)
	}
	near1(t, "cover told", r.Breaches[0].Measured, 0.24565, 1e-9)
}

// Three runs of 20 m on level ground, planned at 1 %: 99.590, 99.390, 99.190, 98.990;
// tie-in 98.950. The first was laid from 99.570 to 99.340, 50 mm too deep at its
// lower end. What is left is 99.340 - 98.950 = 0.390 over 40 m: 0.975 %.
// Then a root is found at 10 m of the last run, to be passed under at 98.95 and
// lower: the invert at most 98.95 - 0.10435 = 98.84565 there: short.
func TestHandLaid(t *testing.T) {
	reach := func(down int) Reach {
		return Reach{Down: down, Length: 20, Ground: ramp(20, 100, 100), Count: 1, TrenchPrice: 1, DepthPrice: 1.2}
	}
	p := &Problem{Reaches: []Reach{reach(1), reach(2), reach(Outlet)}, End: End{TieIn: 98.95}, Rules: yardRules(), Stock: smooth}
	p.Reaches[0].Stated = 0.001
	p.Rules.GreatestDepth = 2
	r := solve(t, p)
	near1(t, "planned end", float64(r.Arrival), 98.990, 1e-9)
	p.Reaches[0].Laid, p.Reaches[0].Pipes = &Levels{99.570, 99.340}, []int{0}
	r = solve(t, p)
	if r.Verdict != Arrives || r.Target {
		t.Fatalf("%+v", r)
	}
	near1(t, "stays", float64(r.Reaches[0].InvertDown), 99.340, 0)
	near1(t, "goes on", float64(r.Reaches[1].InvertUp), 99.340, 1e-9)
	near1(t, "slope of the rest", float64(r.Common), 0.00975, 1e-4)
	p.Reaches[2].Crossings = []Crossing{{At: 10, Low: 98.95, High: 99.05, Pass: Under}}
	r = solve(t, p)
	if r.Verdict != Short || r.Binds.Kind != Utility || r.Binds.Reach != 2 {
		t.Fatalf("%+v", r)
	}
	// 98.84565 less 0.5 % of 10 m, down to the millimetre: 98.795.
	near1(t, "short by", float64(r.Margin), 98.795-98.95, 1.1e-3)
	// A pipe that was laid flatter than the least slope is told as its own
	// fault and does not spoil the verdict on the rest.
	p.Reaches[2].Crossings = nil
	p.Reaches[0].Laid = &Levels{99.570, 99.530}
	r = solve(t, p)
	if r.Verdict != Arrives || len(r.Breaches) != 1 || !r.Breaches[0].Laid || r.Breaches[0].Kind != Slope {
		t.Fatalf("%+v", r)
	}
	// The line above cannot reach a trunk that was laid too high.
	p = &Problem{Reaches: []Reach{reach(1), reach(Outlet)}, End: End{TieIn: 98.95}, Rules: yardRules(), Stock: smooth}
	p.Reaches[0].Stated = 0.001
	p.Reaches[1].Laid, p.Reaches[1].Pipes = &Levels{99.55, 99.30}, []int{0}
	r = solve(t, p)
	if r.Verdict != Broken || r.Breaches[0].Kind != StartLevel || r.Breaches[0].Reach != 1 {
		t.Fatalf("%+v", r)
	}
	// At the least slope it would have to lie at 99.490: 60 mm lower.
	near1(t, "trunk would have to lie at", r.Breaches[0].Measured, 99.490, 1e-9)
}

// A hump of 0.9 m at mid-run: at the highest profile under the ends' cover the
// trench is 0.9 + 0.56355 = 1.46355 m deep there (0.56355: half way between the
// depths of TestHandOneRun), over 1.2192.
func TestHandHump(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: []Station{{0, 100}, {10, 100.9}, {20, 100}}, Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99}, Rules: yardRules(), Stock: smooth,
	}
	r := solve(t, p)
	if r.Verdict != Broken || r.Breaches[0].Kind != Depth || r.Breaches[0].At != 10 {
		t.Fatalf("%+v", r)
	}
	// At the least slope, half the fall of the run: 0.46355 + 0.05 + 0.9.
	near1(t, "depth", r.Breaches[0].Measured, 1.41355, 1.1e-3)
}

// Flow and travel time by hand. i = 3000/(t+15) mm/h.
//
//	reach 0: 60 m2 at 5 min: i = 150, q = 150·60/3.6e6 = 2.500 l/s
//	reach 1: 40 m of 4 in at 1 % from there on. Full: V = 0.7201 m/s, Q = 5.838 l/s;
//	         it carries the 2.5 l/s and 100 m2 of yard at 30 min
//	         at 30 min: i = 66.67, A = 160: 2.963 l/s
//	         at 5 min and the travel of reach 0: i = 150 nearly, A = 60: 2.5 l/s less
//	so the late, whole area governs; with 20 m2 of yard it is the roof alone:
//	         at 30 min: 66.67·80/3.6e6 = 1.481 l/s; at 5 min + travel: 2.5 l/s less
func TestHandFlow(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{
			{Down: 1, Length: 10, Ground: ramp(10, 100.1, 100), Inflow: []Inflow{{CA: 60, Tc: 5}}, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
			{Down: Outlet, Length: 40, Ground: ramp(40, 100, 99.6), Inflow: []Inflow{{CA: 100, Tc: 30}}, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
		},
		End: End{TieIn: 90}, Rules: yardRules(), Stock: smooth,
		Intensity: func(t hydro.Duration) hydro.Intensity { return hydro.Intensity(3000 / (t + 15)) },
	}
	r := solve(t, p)
	near1(t, "roof", float64(r.Reaches[0].Flow)*1000, 2.5, 1e-9)
	near1(t, "both", float64(r.Reaches[1].Flow)*1000, 2.963, 5e-4)
	near1(t, "tc", float64(r.Reaches[1].Tc), 30, 1e-9)
	p.Reaches[1].Inflow[0].CA = 20
	r = solve(t, p)
	// Travel of reach 0: 2.5 of 5.838 l/s: Q/Qfull 0.428, V/Vfull 0.961
	// (hydraulic elements), 10 m / 0.692 m/s = 0.241 min; i = 3000/20.241.
	near1(t, "travel", float64(r.Reaches[0].Travel), 0.241, 0.001)
	near1(t, "roof alone governs", float64(r.Reaches[1].Flow)*1000, 3000/20.241*60/3600, 1e-3)
	near1(t, "area that makes it", float64(r.Reaches[1].CA), 60, 1e-9)
	// Held to one round it says that it has not settled.
	held := *p
	held.Rules.MostRounds = 1
	if h := solve(t, &held); h.Rounds != 1 || h.Settled {
		t.Errorf("held to one round: %d rounds, settled %v", h.Rounds, h.Settled)
	}
	if r.Rounds > 4 || !r.Settled {
		t.Errorf("rounds %d, settled %v", r.Rounds, r.Settled)
	}
}

// A storm with a cliff: 180 mm/h up to 10.3 min, 40 mm/h after. A steep, small
// pipe brings the water before the cliff, a wide one after, so that flow and
// size chase each other. Whatever comes of it, the pipe carries the flow that
// its own travel time brings, and the rounds are bounded.
func TestHandChase(t *testing.T) {
	for _, ca := range []unit.Area{60, 80, 100, 120, 140, 160} {
		for _, l := range []unit.Length{10, 15, 20, 25, 30, 40} {
			p := &Problem{
				Reaches: []Reach{
					{Down: 1, Length: l, Ground: ramp(float64(l), 100, 99.9), Inflow: []Inflow{{CA: ca, Tc: 10}}, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
					{Down: Outlet, Length: 10, Ground: ramp(10, 99.9, 99.8), Inflow: []Inflow{{CA: ca, Tc: 10}}, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
				},
				End: End{TieIn: 98.5}, Rules: yardRules(), Stock: smooth,
				Intensity: func(t hydro.Duration) hydro.Intensity {
					if t <= 10.3 {
						return 180
					}
					return 40
				},
			}
			r := solve(t, p)
			if r.Rounds > 20 {
				t.Fatalf("%d rounds", r.Rounds)
			}
			for i, x := range r.Reaches {
				if x.Flow > x.Capacity*(1+1e-6) {
					t.Errorf("%g m2, %g m, reach %d: %g over %g", ca, l, i, x.Flow, x.Capacity)
				}
			}
		}
	}
}

// A trunk of three runs at 1 % with laterals of 3 and 6 l/s at its nodes. The full 4 in
// pipe carries 5.838 l/s, the 6 in pipe 17.21 l/s at 1 %:
//
//	3 l/s: 4 in; 6 l/s: 4 in asks 1.06 % (6² : 5.838²), 6 mm a side more: still 4 in
//	12 l/s: 4 in would ask 4.22 %, 0.845 m over 20 m: 0.32 m deeper on the mean,
//	7.7 of digging; 6 in lies 51 mm lower (crowns) and costs 3.0 more for pipe,
//	4.3 in all: the size grows here
func TestHandTrunk(t *testing.T) {
	flat := func(down int, q float64) Reach {
		return Reach{Down: down, Length: 20, Ground: ramp(20, 100, 100), Stated: hydro.Flow(q), Count: 1, TrenchPrice: 1, DepthPrice: 1.2, Drop: 0.5}
	}
	p := &Problem{
		Reaches: []Reach{flat(1, 0.003), flat(2, 0), flat(Outlet, 0), flat(1, 0.003), flat(2, 0.006)},
		End:     End{TieIn: 90}, Rules: yardRules(), Stock: smooth,
	}
	p.Rules.GreatestDepth = 3
	p.Reaches[3].Length, p.Reaches[3].Ground = 5, ramp(5, 100, 100)
	p.Reaches[4].Length, p.Reaches[4].Ground = 5, ramp(5, 100, 100)
	r := solve(t, p)
	steps, err := Trunk(p, r, Outlet)
	if err != nil {
		t.Fatal(err)
	}
	if len(steps) != 3 || steps[0].Reach != 0 || steps[1].Reach != 1 || steps[2].Reach != 2 {
		t.Fatalf("%+v", steps)
	}
	for i, want := range []struct {
		flow, added, at float64
		pipe            int
		grown           bool
		joins           int
	}{{0.003, 0.003, 0, 0, false, 0}, {0.006, 0.003, 20, 0, false, 1}, {0.012, 0.006, 40, 1, true, 1}} {
		s := steps[i]
		near1(t, "flow", float64(s.Flow), want.flow, 1e-12)
		near1(t, "added", float64(s.Added), want.added, 1e-12)
		near1(t, "station", float64(s.Station), want.at, 1e-12)
		if s.Pipe != want.pipe || s.Grown != want.grown || len(s.Joins) != want.joins {
			t.Errorf("step %d: %+v", i, s)
		}
	}
	near1(t, "spare of 4 in at 3 l/s", steps[0].Spare, 1-3/5.838, 0.001)
	if _, err := Trunk(p, r, 1); err == nil {
		t.Error("a root in the middle was taken")
	}
}

// A thick wall: 4 in pipe with 25 mm of wall before 20 m of 6 in pipe with a thin one.
// Under level ground the 4 in pipe's crown lies 25 mm under the cover, and takes
// the crown of the trunk down with it from -2 mm: 20 m·23 mm. A 6 in pipe for
// the first metre too costs 1 m·(50.8 mm deeper) and 0.15 of pipe: less.
func TestHandThickWall(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{
			{Down: 1, Length: 1, Ground: ramp(1, 100, 99.99), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
			{Down: Outlet, Length: 20, Ground: ramp(20, 99.99, 99.79), Count: 1, Pipes: []int{1}, TrenchPrice: 1, DepthPrice: 1.2},
		},
		End: End{TieIn: 90}, Rules: yardRules(),
		Stock: []Pipe{{Inside: 0.1016, Outside: 0.1516, N: 0.012, Price: 0.305}, {Inside: 0.1524, Outside: 0.1564, N: 0.012, Price: 0.457}},
	}
	if r := solve(t, p); r.Reaches[0].Pipe != 1 {
		t.Errorf("%+v", r.Reaches)
	}
}
