package profile

import (
	"errors"
	"math"
	"strings"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Every way to put a problem badly is refused with the reach or the pipe and
// the value in the text, and nothing is laid.
func TestHostile(t *testing.T) {
	nan := math.NaN()
	base := func() *Problem {
		return &Problem{
			Reaches: []Reach{
				{Down: 1, Length: 10, Ground: ramp(10, 100, 100), Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
				{Down: Outlet, Length: 10, Ground: ramp(10, 100, 100), Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
			},
			End: End{TieIn: 99}, Rules: yardRules(), Stock: append([]Pipe(nil), smooth...),
		}
	}
	level := func(v float64) *unit.Elevation { e := unit.Elevation(v); return &e }
	length := func(v float64) *unit.Length { e := unit.Length(v); return &e }
	for _, c := range []struct {
		name  string
		spoil func(*Problem)
		text  string
	}{
		{"nothing", func(p *Problem) { p.Reaches = nil }, "no reaches"},
		{"ring", func(p *Problem) { p.Reaches[1].Down = 0 }, "ring"},
		{"into itself", func(p *Problem) { p.Reaches[1].Down = 1 }, "reach 1"},
		{"into nowhere", func(p *Problem) { p.Reaches[1].Down = 7 }, "reach 7"},
		{"below the outlet", func(p *Problem) { p.Reaches[1].Down = -2 }, "reach 1"},
		{"no length", func(p *Problem) { p.Reaches[0].Length = 0 }, "length of reach 0"},
		{"length NaN", func(p *Problem) { p.Reaches[0].Length = unit.Length(nan) }, "length of reach 0"},
		{"no ground", func(p *Problem) { p.Reaches[0].Ground = nil }, "ground stations"},
		{"ground NaN", func(p *Problem) { p.Reaches[0].Ground[1].Ground = unit.Elevation(nan) }, "ground of reach 0, station 1"},
		{"stations backwards", func(p *Problem) { p.Reaches[0].Ground[0].At, p.Reaches[0].Ground[1].At = 10, 0 }, "ascend"},
		{"ground too short", func(p *Problem) { p.Reaches[0].Ground[1].At = 9 }, "from 0 m to 9 m"},
		{"flow negative", func(p *Problem) { p.Reaches[0].Stated = -1 }, "stated flow into reach 0"},
		{"flow NaN", func(p *Problem) { p.Reaches[0].Stated = hydro.Flow(nan) }, "stated flow"},
		{"area without rain", func(p *Problem) { p.Reaches[0].Inflow = []Inflow{{CA: 10, Tc: 5}} }, "no rain intensity"},
		{"area negative", func(p *Problem) { p.Reaches[0].Inflow = []Inflow{{CA: -10, Tc: 5}} }, "C times area"},
		{"time NaN", func(p *Problem) { p.Reaches[0].Inflow = []Inflow{{CA: 10, Tc: hydro.Duration(nan)}} }, "time of concentration"},
		{"rain NaN", func(p *Problem) {
			p.Reaches[0].Inflow = []Inflow{{CA: 10, Tc: 5}}
			p.Intensity = func(hydro.Duration) hydro.Intensity { return hydro.Intensity(nan) }
		}, "rain intensity"},
		{"rain that grows", func(p *Problem) {
			p.Reaches[0].Inflow = []Inflow{{CA: 10, Tc: 5}, {CA: 10, Tc: 9}}
			p.Intensity = func(t hydro.Duration) hydro.Intensity { return hydro.Intensity(t) }
		}, "rain intensity"},
		{"no pipes side by side", func(p *Problem) { p.Reaches[0].Count = 0 }, "side by side"},
		{"drop negative", func(p *Problem) { p.Reaches[0].Drop = -0.1 }, "drop"},
		{"price NaN", func(p *Problem) { p.Reaches[0].DepthPrice = nan }, "price of reach 0"},
		{"price infinite", func(p *Problem) { p.Reaches[0].Fixed = math.Inf(1) }, "price of reach 0"},
		{"start NaN", func(p *Problem) { p.Reaches[0].Start.Invert = level(nan) }, "start level"},
		{"start cover negative", func(p *Problem) { p.Reaches[0].Start.Cover = length(-1) }, "start cover"},
		{"no such pipe", func(p *Problem) { p.Reaches[0].Pipes = []int{9} }, "stock pipe 9"},
		{"no pipe", func(p *Problem) { p.Reaches[0].Pipes = []int{} }, "no pipe"},
		{"crossing off the reach", func(p *Problem) { p.Reaches[0].Crossings = []Crossing{{At: 11}} }, "station of a crossing"},
		{"crossing upside down", func(p *Problem) { p.Reaches[0].Crossings = []Crossing{{At: 1, Low: 2, High: 1}} }, "band"},
		{"too many crossings", func(p *Problem) { p.Reaches[0].Crossings = make([]Crossing, 5) }, "split the reach"},
		{"laid uphill", func(p *Problem) { p.Reaches[0].Laid, p.Reaches[0].Pipes = &Levels{99, 99.1}, []int{0} }, "uphill"},
		{"laid with no pipe", func(p *Problem) { p.Reaches[0].Laid = &Levels{99.1, 99} }, "not with one pipe"},
		{"laid NaN", func(p *Problem) { p.Reaches[0].Laid = &Levels{unit.Elevation(nan), 99} }, "as laid"},
		{"laid and held", func(p *Problem) {
			p.Reaches[0].Laid, p.Reaches[0].Pipes, p.Reaches[0].Start.Invert = &Levels{99.1, 99}, []int{0}, level(99)
		}, "another level"},
		{"empty stock", func(p *Problem) { p.Stock = nil }, "0 pipes in stock"},
		{"pipe NaN", func(p *Problem) { p.Stock[1].Inside = unit.Length(nan) }, "stock pipe 1"},
		{"wall inside out", func(p *Problem) { p.Stock[1].Outside = 0.1 }, "outside diameter of stock pipe 1"},
		{"stock unsorted", func(p *Problem) { p.Stock[0], p.Stock[1] = p.Stock[1], p.Stock[0] }, "narrower"},
		{"n in percent", func(p *Problem) { p.Stock[0].N = 1.2 }, "roughness"},
		{"target under least", func(p *Problem) { p.Rules.TargetSlope = 0.001 }, "target slope"},
		{"slope in percent", func(p *Problem) { p.Rules.TargetSlope = 1 }, "target slope"},
		{"cover negative", func(p *Problem) { p.Rules.LeastCover = -1 }, "least cover"},
		{"no depth", func(p *Problem) { p.Rules.GreatestDepth = 0 }, "greatest depth"},
		{"tie-in NaN", func(p *Problem) { p.End.TieIn = unit.Elevation(nan) }, "tie-in"},
		{"arrival under the tie-in", func(p *Problem) { p.End.AtMost = level(98) }, "highest arrival"},
		{"rim NaN", func(p *Problem) { p.End.Rim = level(nan) }, "rim"},
	} {
		p := base()
		c.spoil(p)
		var out Result
		err := NewSolver().Solve(p, &out)
		if err == nil {
			t.Errorf("%s: no error, %v", c.name, out.Verdict)
			continue
		}
		var r *hydro.RangeError
		if !strings.Contains(err.Error(), c.text) || !errors.As(err, &r) && !strings.HasPrefix(err.Error(), "hydro/profile: ") {
			t.Errorf("%s: %q does not say %q", c.name, err, c.text)
		}
	}
	var out Result
	if err := NewSolver().Solve(base(), &out); err != nil || out.Verdict != Arrives {
		t.Errorf("unspoilt: %v, %v", err, out.Verdict)
	}
}

// A solver that has just been given something bad answers the next as a fresh
// one does.
func TestPropertySolverForgets(t *testing.T) {
	s := NewSolver()
	a, b := neighbourhood(3, 40, 0.012, 98, false), neighbourhood(4, 7, 0.004, 99.4, false)
	var first, again, fresh Result
	for _, p := range []*Problem{a, b} {
		if err := s.Solve(p, &first); err != nil {
			t.Fatal(err)
		}
	}
	bad := neighbourhood(5, 12, 0.01, 99, false)
	bad.Reaches[3].Down = 3
	if s.Solve(bad, &again) == nil {
		t.Fatal("a ring was taken")
	}
	if err := s.Solve(a, &again); err != nil {
		t.Fatal(err)
	}
	if err := NewSolver().Solve(a, &fresh); err != nil {
		t.Fatal(err)
	}
	if again.Cost != fresh.Cost || again.Verdict != fresh.Verdict || len(again.Reaches) != len(fresh.Reaches) {
		t.Errorf("used again %v %g, fresh %v %g", again.Verdict, again.Cost, fresh.Verdict, fresh.Cost)
	}
	for i := range again.Reaches {
		if again.Reaches[i] != fresh.Reaches[i] {
			t.Errorf("reach %d: %+v, fresh %+v", i, again.Reaches[i], fresh.Reaches[i])
		}
	}
}
