package asbuilt

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/parcels"
)

// fixture is an invented plan on level ground at 100.000: a downspout line R1
// (20 m, 1 %) and a second one R3 (15 m, 1.33 %) meet at W1; R2 (12 m, 1 %)
// leads to the inlet. 4 in pipe, 107.1 mm outside.
func fixture() Input {
	up, mid, low := unit.Elevation(99.590), unit.Elevation(99.390), unit.Elevation(99.270)
	run := func(id, from, to string, a, b orb.Point, u, d unit.Elevation) parcels.Run {
		return parcels.Run{ID: id, From: from, To: to, Line: orb.LineString{a, b}, Lot: "7", Trench: "T", Pipe: "solid", Size: "4 in", Diameter: 101.6, OutsideDiameter: 107.1, PipeCount: 1,
			Length: unit.Length(math.Hypot(b[0]-a[0], b[1]-a[1])), InvertUp: &u, InvertDown: &d}
	}
	d1, w1, i1, d2 := orb.Point{1203, 3405}, orb.Point{1203, 3425}, orb.Point{1203, 3437}, orb.Point{1218, 3425}
	row := func(at float64, p orb.Point) parcels.ProfileRow {
		g := unit.Elevation(100)
		return parcels.ProfileRow{Station: unit.Length(at), At: p, Ground: &g}
	}
	p := &parcels.Plan{
		Runs:     []parcels.Run{run("R1", "D1", "W1", d1, w1, up, mid), run("R2", "W1", "I1", w1, i1, mid, low), run("R3", "D2", "W1", d2, w1, up, mid)},
		Trenches: []parcels.Trench{{ID: "T", Width: 0.3048}},
		Profiles: []parcels.Profile{
			{From: "D1", To: "I1", Runs: []string{"R1", "R2"}, Rows: []parcels.ProfileRow{row(0, d1), row(20, w1), row(20, w1), row(32, i1)}},
			{From: "D2", To: "I1", Runs: []string{"R3", "R2"}, Rows: []parcels.ProfileRow{row(0, d2), row(15, w1), row(15, w1), row(27, i1)}},
		},
	}
	lot := parcels.Lot{ID: "7", Shape: orb.MultiPolygon{{{{1200, 3400}, {1230, 3400}, {1230, 3440}, {1200, 3440}, {1200, 3400}}}}}
	return Input{Plan: p, Lots: []parcels.Lot{lot}, Criteria: parcels.DefaultCriteria()}
}

func assess(t testing.TB, name string) *Report {
	t.Helper()
	in := fixture()
	text, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	in.Shots, _, err = ReadPoints(text, name, unit.Metre, nil, in.Plan, in.Criteria)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Assess(in)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func codes(r *Report, notes bool) []string {
	var c []string
	for _, f := range r.Findings {
		if notes || f.Severity != parcels.Note {
			c = append(c, f.Code+" "+f.Feature)
		}
	}
	for i := range c {
		c[i] = strings.TrimSpace(c[i])
	}
	slices.Sort(c)
	return slices.Compact(c)
}

// Each file was made from the planned levels, off by a millimetre or two, with
// one thing wrong in it (testdata); the codes are what a foreman would say of it.
func TestHandTellsApart(t *testing.T) {
	for _, c := range []struct {
		file    string
		want    []string
		verdict parcels.Verdict
	}{
		{"good.csv", nil, parcels.Feasible},
		{"belly.csv", []string{"belly R1"}, parcels.NotFeasible},
		{"back_fall.csv", []string{"back_fall R2"}, parcels.NotFeasible},
		{"tilted.csv", []string{"back_fall R1", "off_grade R1"}, parcels.NotFeasible},
		{"lifted.csv", []string{"pipe_lifted R1"}, parcels.NotFeasible},
		{"lifted_dry.csv", []string{"built_below_least_slope R1", "pipe_lifted R1"}, parcels.Feasible},
		{"wrong_datum.csv", []string{"wrong_datum"}, parcels.NotFeasible},
		{"wrong_benchmark.csv", []string{"wrong_datum"}, parcels.NotFeasible},
		{"pipe_top.csv", []string{"shot_on_pipe_top"}, parcels.NotFeasible},
		{"swapped.csv", []string{"northing_easting_swapped"}, parcels.NotFeasible},
		{"positions_in_feet.csv", []string{"coordinate_unit_mix"}, parcels.NotFeasible},
		{"elevations_in_feet.csv", []string{"elevation_unit_mix"}, parcels.NotFeasible},
		{"some_in_feet.csv", []string{"elevation_unit_mix"}, parcels.NotFeasible},
		{"elsewhere.csv", []string{"shot_off_plan"}, parcels.NotFeasible},
		{"too_few.csv", []string{"run_not_shot R2", "run_not_shot R3", "too_few_shots R1"}, parcels.NotProven},
		{"missing_end.csv", []string{"end_not_shot R1"}, parcels.NotProven},
		{"another_run.csv", []string{"end_not_shot R3", "run_not_shot R1", "run_not_shot R2", "shots_of_another_run R1"}, parcels.NotFeasible},
		{"off_line.csv", []string{"off_line R1"}, parcels.Feasible},
		{"near_lot_line.csv", []string{"built_clearance R1", "off_line R1"}, parcels.NotFeasible},
		{"bust.csv", []string{"shot_bust R1", "too_few_shots R1"}, parcels.NotProven},
		{"no_elevation.csv", []string{"elevation_missing", "too_few_shots R1", "too_few_shots R3"}, parcels.NotProven},
		{"cover.csv", []string{"built_cover R1", "off_grade R1"}, parcels.NotFeasible},
		{"flat.csv", []string{"built_below_least_slope R2", "off_grade R2"}, parcels.NotFeasible},
		{"disagree.csv", []string{"shots_disagree R1"}, parcels.NotProven},
		{"with_ground.csv", nil, parcels.Feasible},
	} {
		r := assess(t, c.file)
		if got := codes(r, false); !slices.Equal(got, c.want) {
			t.Errorf("%s: got %q, want %q", c.file, got, c.want)
			for _, f := range r.Findings {
				t.Logf("    %s %s: %s", f.Severity, f.Code, f.Message)
			}
		}
		if r.Verdict != c.verdict {
			t.Errorf("%s: verdict %s, want %s", c.file, r.Verdict, c.verdict)
		}
		if len(r.Cautions) == 0 || r.Status != parcels.Preliminary {
			t.Errorf("%s: no cautions", c.file)
		}
	}
}

// The belly of belly.csv: inverts 99.540, 99.420, 99.440 at 5, 10 and 15 m. Water
// stands up to 99.440: 20 mm at 10 m, back to 5 + 5·100/120 = 9.167 m. The segment of
// depth y of a circle D is D²(w - sin w)/8, w = 2 acos(1 - 2y/D):
//
//	20 mm: w 1.8387, 0.0011282 m2; 10 mm: w 1.2769, 0.0004127 m2
//	mean along a straight invert, by Simpson: (0 + 4·0.0004127 + 0.0011282)/6 = 0.0004632
//	·(15 - 9.167) = 0.002702 m3
func TestHandBelly(t *testing.T) {
	r := assess(t, "belly.csv")
	p := r.Runs[0].Pools
	if len(p) != 1 || p[0].Sill != "4" {
		t.Fatalf("%+v", p)
	}
	near1(t, "depth", float64(p[0].Depth), 0.020, 1e-9)
	near1(t, "from", float64(p[0].From), 9.167, 1e-3)
	near1(t, "to", float64(p[0].To), 15, 1e-9)
	near1(t, "volume", p[0].Volume, 0.002702, 0.002702*0.01)
	near1(t, "slope of 10 to 15 m", float64(r.Runs[0].Stretches[2].Slope), -0.004, 1e-9)
	near1(t, "off grade", float64(r.Runs[0].Levels[2].Off), -0.070, 1e-9)
	// cover there: 100 - 99.420 - 0.1016 - 0.00275
	near1(t, "cover", float64(*r.Runs[0].Levels[2].Cover), 0.47565, 1e-4)
	// R1 lies 3 m inside the lot line; half the trench is 0.1524
	near1(t, "lot line", float64(*r.Runs[0].LeastLotLine), 2.8476, 1e-3)
}

// A pool that reaches over a fitting: back_fall.csv has R2 rise by 30 mm from W1
// at 99.390 to 99.420. The water stands 30 mm at W1, back in R1 (1.0 % from
// 99.439 at 15 m to 99.390 at 20 m) to 15 + 5·19/49 = 16.94 m, and in R3.
//
//	30 mm: w 2.2981, 0.002002 m2; 15 mm: w 1.5771, 0.000745 m2; Simpson 0.000830
//	R2 12 m, R1 3.06 m, R3 (99.459 at 10 m): 5·30/69 = 2.17 m: 17.23 m·0.000830 = 0.01430 m3
func TestHandPoolOverFittings(t *testing.T) {
	r := assess(t, "back_fall.csv")
	var pools []Pool
	for _, b := range r.Runs {
		pools = append(pools, b.Pools...)
	}
	if len(pools) != 1 || pools[0].Code != CodeBackFall {
		t.Fatalf("%+v", pools)
	}
	near1(t, "depth", float64(pools[0].Depth), 0.030, 1e-9)
	near1(t, "volume", pools[0].Volume, 0.01430, 0.01430*0.01)
}

func near1(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6f, want %.6f (within %g)", what, got, want, tol)
	}
}

// A shift of all levels leaves slopes and pools as they were.
func TestPropertyShift(t *testing.T) {
	in := fixture()
	text, err := os.ReadFile("testdata/belly.csv")
	if err != nil {
		t.Fatal(err)
	}
	in.Shots, _, err = ReadPoints(text, "belly.csv", unit.Metre, nil, in.Plan, in.Criteria)
	if err != nil {
		t.Fatal(err)
	}
	a, err := Assess(in)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range []unit.Elevation{-40, -0.3, 0.2, 5} {
		q := in
		q.Shots = slices.Clone(in.Shots)
		for i := range q.Shots {
			z := *q.Shots[i].Z + d
			q.Shots[i].Z = &z
		}
		b, err := Assess(q)
		if err != nil {
			t.Fatal(err)
		}
		if b.Shift == nil || math.Abs(float64(*b.Shift)-float64(d)) > 0.02 {
			t.Fatalf("shift %v: %v", d, b.Shift)
		}
		if len(b.Runs[0].Pools) != 1 || b.Runs[0].Pools[0].Code != CodeBelly || math.Abs(b.Runs[0].Pools[0].Volume-a.Runs[0].Pools[0].Volume) > 1e-6 {
			t.Errorf("shift %v: pools %+v", d, b.Runs[0].Pools)
		}
		if !slices.Contains(codes(b, false), CodeDatum) || b.Runs[0].LeastCover != nil {
			t.Errorf("shift %v: %v, cover %v", d, codes(b, false), b.Runs[0].LeastCover)
		}
	}
}

// Bad input is an error that names what is missing; nothing of the wild below
// brings the judgement down.
func TestHostile(t *testing.T) {
	z := unit.Elevation(99.5)
	one := []Shot{{ID: "1", At: orb.Point{1203, 3410}, Z: &z}}
	for _, c := range []struct {
		name  string
		spoil func(*Input)
		text  string
	}{
		{"no plan", func(in *Input) { in.Plan = nil }, "no runs"},
		{"empty plan", func(in *Input) { in.Plan = &parcels.Plan{} }, "no runs"},
		{"no shots", func(in *Input) { in.Shots = nil }, "no shots"},
		{"unknown run", func(in *Input) { in.Only = "R9" }, "no run"},
		{"plan without levels", func(in *Input) { in.Plan.Runs[1].InvertUp = nil }, "no inverts"},
		{"run without length", func(in *Input) { in.Plan.Runs[0].Line = in.Plan.Runs[0].Line[:1] }, "no length"},
		{"run of one place", func(in *Input) { in.Plan.Runs[0].Line[1] = in.Plan.Runs[0].Line[0] }, "no length"},
		{"plan in a ring", func(in *Input) { in.Plan.Runs[1].To = "D1" }, "ring"},
	} {
		in := fixture()
		in.Shots = one
		c.spoil(&in)
		_, err := Assess(in)
		var e *parcels.InputError
		if !errors.As(err, &e) || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: %v does not say %q", c.name, err, c.text)
		}
	}
	nan, inf := unit.Elevation(math.NaN()), unit.Elevation(math.Inf(1))
	big := unit.Elevation(1e300)
	for name, shots := range map[string][]Shot{
		"NaN level":           {{ID: "1", At: orb.Point{1203, 3410}, Z: &nan}},
		"infinite level":      {{ID: "1", At: orb.Point{1203, 3410}, Z: &inf}},
		"level of a star":     {{ID: "1", At: orb.Point{1203, 3410}, Z: &big}, {ID: "2", At: orb.Point{1203, 3412}, Z: &big}},
		"NaN place":           {{ID: "1", At: orb.Point{math.NaN(), 3410}, Z: &z}},
		"place of a star":     {{ID: "1", At: orb.Point{1e308, 1e308}, Z: &z}},
		"no level":            {{ID: "1", At: orb.Point{1203, 3410}}},
		"all in one place":    {{ID: "1", At: orb.Point{1203, 3410}, Z: &z}, {ID: "2", At: orb.Point{1203, 3410}, Z: &z}, {ID: "3", At: orb.Point{1203, 3410}, Z: &z}},
		"a run nobody has":    {{ID: "1", At: orb.Point{1203, 3410}, Z: &z, Run: "R77"}},
		"markup in the name":  {{ID: "<b>\r\n=1+1", At: orb.Point{1203, 3410}, Z: &z}},
		"all of other things": {{ID: "1", At: orb.Point{1203, 3410}, Z: &z, Kind: "tree"}},
	} {
		in := fixture()
		in.Shots = shots
		r, err := Assess(in)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if r.Verdict == parcels.Feasible || len(r.Findings) == 0 {
			t.Errorf("%s: %s with %d findings", name, r.Verdict, len(r.Findings))
		}
		if _, err := r.Document(nil); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Shots that a site document holds: a laid drain with elevations, one with its
// two inverts only, a spot with a code.
func TestHandFromSite(t *testing.T) {
	in := fixture()
	up, down := unit.Elevation(99.390), unit.Elevation(99.270)
	site := &parcels.Site{Criteria: in.Criteria,
		Drains: []parcels.Drain{
			{ID: "R1", Status: "laid", Line: orb.LineString{{1203, 3405}, {1203, 3412}, {1203, 3418}, {1203, 3425}}, Z: []unit.Elevation{99.590, 99.520, 99.460, 99.390}},
			{ID: "R2", Status: "laid", Line: orb.LineString{{1203, 3425}, {1203, 3437}}, InvertUp: &up, InvertDown: &down},
			{ID: "old", Status: "existing", Line: orb.LineString{{1203, 3425}, {1203, 3437}}, InvertUp: &up, InvertDown: &down},
		},
		Spots: []parcels.Spot{{At: orb.Point{1213, 3425}, Z: 99.523, Description: "INV R3"}, {At: orb.Point{1213, 3425}, Z: 100, Description: "GS"}},
	}
	shots := FromSite(site, in.Plan)
	if len(shots) != 7 || shots[6].Run != "R3" || shots[0].Run != "R1" {
		t.Fatalf("%+v", shots)
	}
	in.Shots = shots
	r, err := Assess(in)
	if err != nil {
		t.Fatal(err)
	}
	if got := codes(r, true); !slices.Contains(got, "laid_as_planned R1") || !slices.Contains(got, "too_few_shots R2") || !slices.Contains(got, "too_few_shots R3") {
		t.Errorf("%q", got)
	}
}

// What is locked: R1 of good.csv from 99.588 to 99.391 as shot; of belly.csv
// nothing, nor of a file in another datum.
func TestHandEnds(t *testing.T) {
	up, down, ok := assess(t, "good.csv").Ends("R1")
	if !ok {
		t.Fatal("a good run cannot be locked")
	}
	near1(t, "up", float64(up), 99.588, 1e-9)
	near1(t, "down", float64(down), 99.391, 1e-9)
	for _, f := range []string{"belly.csv", "wrong_datum.csv", "missing_end.csv", "too_few.csv"} {
		if _, _, ok := assess(t, f).Ends("R1"); ok {
			t.Errorf("%s: R1 is locked", f)
		}
	}
}
