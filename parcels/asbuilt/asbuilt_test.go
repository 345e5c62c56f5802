package asbuilt

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
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

// readFile reads a point file: number, northing, easting, elevation, code.
func readFile(t testing.TB, name string) []Shot {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var out []Shot
	for _, r := range rows {
		s := Shot{ID: r[0], At: orb.Point{number(r[2]), number(r[1])}}
		if r[3] != "" {
			s.Z = parcels.Num(unit.Elevation(number(r[3])))
		}
		code, rest, _ := strings.Cut(r[4], " ")
		s.Kind, s.Run = map[string]string{"INV": "invert", "GS": "ground"}[code], rest
		out = append(out, s)
	}
	return out
}

func assess(t testing.TB, name string) *Report {
	t.Helper()
	in := fixture()
	in.Shots = readFile(t, name)
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

var _ = errors.Is
