package main

// Ten files of shots on the laid pipe of the sample's backed-up lot, each with
// one thing wrong, told apart by the command; and the rest laid to what is laid.

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fallwright/api"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/planner"
	"fallwright/sampledata"
)

// line is a row of a crew's file, in the document's feet.
type line struct {
	run                  string
	along                float64 // m
	north, east, z       float64
	length, slope, start float64
}

// shots are every run of the written plan, each 2 m and at both ends, as laid to
// the plan with a millimetre of reading.
func shots(t *testing.T, plan []byte) []line {
	t.Helper()
	var p struct {
		Network struct {
			Features []struct {
				Geometry   struct{ Coordinates json.RawMessage }
				Properties struct {
					Run        string
					Length     float64 `json:"length_m"`
					Slope      float64
					Up         float64 `json:"invert_up_m"`
					Down       float64 `json:"invert_down_m"`
					Pipe, From string
				}
			}
		}
	}
	if err := json.Unmarshal(plan, &p); err != nil {
		t.Fatal(err)
	}
	var out []line
	for _, f := range p.Network.Features {
		q := f.Properties
		if q.Run == "" {
			continue
		}
		var c [][2]float64
		if err := json.Unmarshal(f.Geometry.Coordinates, &c); err != nil {
			t.Fatal(err)
		}
		n := max(1, int(math.Ceil(q.Length/2)))
		for i := range n + 1 {
			k := float64(i) / float64(n)
			out = append(out, line{run: q.Run, along: k * q.Length, north: c[0][1] + k*(c[1][1]-c[0][1]), east: c[0][0] + k*(c[1][0]-c[0][0]),
				z: (q.Up + k*(q.Down-q.Up) + 0.001*float64(len(out)%3-1)) / 0.3048, length: q.Length, slope: q.Slope, start: q.Up})
		}
	}
	return out
}

func csvOf(ls []line) string {
	var b strings.Builder
	for i, l := range ls {
		fmt.Fprintf(&b, "%d,%.4f,%.4f,%.4f,INV %s\n", i+1, l.north, l.east, l.z, l.run) // two pipes in one trench: the run is named
	}
	return b.String()
}

func TestHandTenFilesToldApart(t *testing.T) {
	site, dir := sample(t), t.TempDir()
	planFile := filepath.Join(dir, "plan.json")
	if code, _, errs := call(t, "", "plan", site, "--lot", "B1", "--out", planFile); code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	plan, err := os.ReadFile(planFile)
	if err != nil {
		t.Fatal(err)
	}
	good := shots(t, plan)
	// the longest flat run is the one to spoil
	long := good[0]
	for _, l := range good {
		if l.length > long.length && l.slope < 0.02 {
			long = l
		}
	}
	each := func(do func(l *line)) []line {
		ls := slices.Clone(good)
		for i := range ls {
			do(&ls[i])
		}
		return ls
	}
	on := func(do func(l *line, f float64)) []line {
		return each(func(l *line) {
			if l.run == long.run {
				do(l, l.along/l.length)
			}
		})
	}
	foot := 0.3048
	for _, c := range []struct {
		name  string
		file  []line
		code  string // "" for none of warn or stop about the pipe
		words string // in what the command prints
		exit  int
	}{
		{"good", good, "", "feasible", exitDone},
		{"belly", on(func(l *line, f float64) {
			if f > 0.35 && f < 0.65 {
				l.z -= 0.12 / foot
			}
		}), asbuilt.CodeBelly, "sags", exitStop},
		{"back-fall", on(func(l *line, f float64) { l.z += (f - 0.5) * 2.4 * l.slope * l.length / foot }), asbuilt.CodeBackFall, "", exitStop},
		{"wrong datum", each(func(l *line) { l.z -= 437.19 }), asbuilt.CodeDatum, "datum", exitStop},
		{"northing and easting swapped", each(func(l *line) { l.north, l.east = l.east, l.north }), asbuilt.CodeSwapped, "", exitStop},
		{"elevations in metres", each(func(l *line) { l.z *= foot }), asbuilt.CodeLevelUnit, "", exitStop},
		{"positions in metres", each(func(l *line) { l.north, l.east = l.north*1200/3937, l.east*1200/3937 }), asbuilt.CodePlanUnit, "", exitStop},
		{"lifted by the stone", on(func(l *line, f float64) {
			if f > 0.3 && f < 0.7 {
				l.z += 0.06 * math.Sin((f-0.3)/0.4*math.Pi) / foot
			}
		}), asbuilt.CodeLifted, "", -1},
		{"a stretch not shot", slices.DeleteFunc(slices.Clone(good), func(l line) bool { return l.run == long.run && l.along > 2.1 && l.along < l.length-2.1 }), asbuilt.CodeFew, "", exitDone},
		{"off the pipe", append(slices.Clone(good), line{north: good[0].north + 60, east: good[0].east + 60, z: good[0].z}, line{north: good[0].north + 62, east: good[0].east + 60, z: good[0].z}), asbuilt.CodeOffPlan, "", -1},
		{"on top of the pipe", each(func(l *line) { l.z += 0.1044 / foot }), asbuilt.CodeTop, "", exitStop},
		{"in no order", func() []line {
			ls := slices.Clone(good)
			slices.Reverse(ls)
			for i := 0; i+7 < len(ls); i += 7 {
				ls[i], ls[i+5] = ls[i+5], ls[i]
			}
			return ls
		}(), "", "feasible", exitDone},
	} {
		file := filepath.Join(dir, "shots.csv")
		if err := os.WriteFile(file, []byte(csvOf(c.file)), 0o644); err != nil {
			t.Fatal(err)
		}
		code, text, errs := call(t, "", "asbuilt", site, planFile, file, "--json")
		if code == exitInput || code == exitFailed || c.exit >= 0 && code != c.exit {
			t.Errorf("%s: exit %d %s", c.name, code, errs)
			continue
		}
		var r struct {
			Verdict  parcels.Verdict
			Findings []parcels.Finding
		}
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		var codes []string
		for _, f := range r.Findings {
			// a basin takes a step between its pipes: two inverts at one place; and
			// a file without headings is told
			if f.Severity != parcels.Note && f.Code != asbuilt.CodeDisagree && f.Code != "axes_assumed" && f.Feature != "" || f.Severity == parcels.Stop {
				codes = append(codes, f.Code)
			}
		}
		slices.Sort(codes)
		codes = slices.Compact(codes)
		t.Logf("%-30s exit %d %s %q", c.name, code, r.Verdict, codes)
		if c.code == "" && len(codes) > 0 || c.code != "" && !slices.Contains(codes, c.code) && !slices.ContainsFunc(r.Findings, func(f parcels.Finding) bool { return f.Code == c.code }) {
			t.Errorf("%s: told %q, want %q", c.name, codes, c.code)
		}
		if _, table, _ := call(t, "", "asbuilt", site, planFile, file); !strings.Contains(table, c.words) || !strings.Contains(table, "Cautions") {
			t.Errorf("%s: the table lacks %q or the cautions", c.name, c.words)
		}
	}
}

// The command and the service lay the rest to what is laid, and say the same.
func TestResolveCommandAndService(t *testing.T) {
	site, dir := sample(t), t.TempDir()
	planFile, again := filepath.Join(dir, "plan.json"), filepath.Join(dir, "again.json")
	if code, _, errs := call(t, "", "plan", site, "--lot", "B1", "--out", planFile); code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	plan, err := os.ReadFile(planFile)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(dir, "other.json")
	if err := os.WriteFile(other, bytes.Replace(plan, []byte(`"B1"`), []byte(`"B99"`), 1), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := call(t, "", "asbuilt", site, other); code != exitInput || !strings.Contains(errs, "other.json") || !strings.Contains(errs, `"B99"`) {
		t.Errorf("a plan of another site: exit %d, %s", code, errs)
	}
	all := shots(t, plan)
	last := all[len(all)-1].run
	var laid []line
	for _, l := range all {
		if l.run == last {
			l.z = (l.start - 0.015*(1-l.along/l.length) - l.slope*l.along) / 0.3048
			laid = append(laid, l)
		}
	}
	file := filepath.Join(dir, "shots.csv")
	if err := os.WriteFile(file, []byte(csvOf(laid)), 0o644); err != nil {
		t.Fatal(err)
	}
	met := fmt.Sprintf("%s@3=rock:500", all[0].run)
	code, text, errs := call(t, "", "asbuilt", site, planFile, file, "--resolve", "--met", met, "--new-plan", again)
	if code != exitDone && code != exitStop || !strings.Contains(text, "Stays as laid: "+last) || !strings.Contains(text, "lower by") {
		t.Fatalf("exit %d %s\n%s", code, errs, text)
	}
	if code, stakes, errs := call(t, "", "stake", site, again, "--out", "-"); code != exitDone && code != exitStop || strings.Count(stakes, "\n") < 20 {
		t.Errorf("the new plan is not staked: exit %d %s", code, errs)
	}
	for _, bad := range [][]string{{"--met", met}, {"--new-plan", again}, {"--resolve", "--met", "R1"}, {"--resolve", "--met", "R1@x=rock:1"}, {"--resolve", "--met", "R999@1=rock:1"}, {"--resolve", "--met", "R1@1=root:3"}} {
		if code, _, errs := call(t, "", append([]string{"asbuilt", site, planFile, file}, bad...)...); code != exitInput || errs == "" {
			t.Errorf("%q: exit %d %s", bad, code, errs)
		}
	}

	// the service takes what was laid as a drain of status laid
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	var c []any
	for _, l := range laid {
		c = append(c, []any{l.east, l.north, l.z})
	}
	layers := doc["layers"].(map[string]any)
	old, _ := layers["drains"].(map[string]any)
	if old == nil {
		old = map[string]any{"type": "FeatureCollection", "features": []any{}}
		layers["drains"] = old
	}
	unit := 1.0
	if doc["elevation_unit"] == nil || doc["elevation_unit"] == "m" {
		unit = 0.3048
	}
	for _, p := range c {
		p.([]any)[2] = p.([]any)[2].(float64) * unit
	}
	old["features"] = append(old["features"].([]any), map[string]any{"type": "Feature", "geometry": map[string]any{"type": "LineString", "coordinates": c}, "properties": map[string]any{"drain": last, "lot": "B1", "status": "laid"}})
	body, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	a, err := engine{}.Execute(context.Background(), api.Request{Process: "asbuilt", Site: body, Extra: map[string]json.RawMessage{"plan": plan},
		Options: json.RawMessage(fmt.Sprintf(`{"resolve":true,"met":[{"run":%q,"station_m":0.9144,"kind":"rock","high_m":152.4}]}`, all[0].run)), Progress: func(int, int, string) {}})
	if err != nil {
		t.Fatal(err)
	}
	var r struct{ Resolved *asbuilt.Resolved }
	if err := json.Unmarshal(a.Body, &r); err != nil || r.Resolved == nil || !slices.Contains(r.Resolved.Locked, last) || len(r.Resolved.Plan) == 0 || len(r.Resolved.Changes) == 0 {
		t.Fatalf("%v: %.600s", err, a.Body)
	}
}

// What-if from the service and from the command: the same outcomes.
func TestWhatIfCommandAndService(t *testing.T) {
	changes := []planner.Change{{Key: "pipe.target_slope", Value: "0.005"}, {Key: "pipe.wall", Value: "corrugated"}, {Key: "outlet", Value: "I1"}, {Key: "perforated.pipe_count", Value: "2"}, {Key: "ground.tilt", Value: "0.02"}}
	args := []string{"plan", sample(t), "--lot", "B1"}
	for _, c := range changes {
		args = append(args, "--what-if", c.Key+"="+c.Value)
	}
	code, text, errs := call(t, "", args...)
	if code != exitDone {
		t.Fatalf("exit %d %s", code, errs)
	}
	options, err := json.Marshal(map[string]any{"what_if": changes})
	if err != nil {
		t.Fatal(err)
	}
	a, err := engine{}.Execute(context.Background(), api.Request{Process: "plan", Site: sampledata.StatePlane(), Lots: []string{"B1"}, Options: options, Progress: func(int, int, string) {}})
	if err != nil {
		t.Fatal(err)
	}
	var p struct {
		Summary parcels.Summary
		WhatIf  []planner.WhatIf `json:"what_if"`
	}
	if err := json.Unmarshal(a.Body, &p); err != nil || len(p.WhatIf) != len(changes) || p.Summary.Outlet != "I2" {
		t.Fatalf("%v: %d outcomes", err, len(p.WhatIf))
	}
	for i, w := range p.WhatIf {
		if w.Change != changes[i] || !strings.Contains(text, w.Change.String()) {
			t.Errorf("%v is not told", w.Change)
		}
		if w.As.CostIndex == nil || w.Then.CostIndex != nil && math.Abs(*w.Then.CostIndex-*w.As.CostIndex) < 1e-9 && w.Then.Verdict == w.As.Verdict && w.Then.Outlet == w.As.Outlet && *w.Then.Usable == *w.As.Usable {
			t.Errorf("%v changes nothing: %+v", w.Change, w.Then)
		}
		t.Logf("%v: %s, outlet %s, cost index %v against %v", w.Change, w.Then.Verdict, w.Then.Outlet, deref(w.Then.CostIndex), deref(w.As.CostIndex))
	}
	for _, bad := range []string{`{"what_if":[{"key":"pipe.nothing","value":"1"}]}`, `{"what_if":[{"key":"outlet","value":"I99"}]}`, `{"what_if":[{"key":"perforated.pipe_count","value":"3"}]}`, `{"what_if":[{"key":"ground.tilt","value":"0"}]}`, `{"what_if":[{"key":"ground.tilt","value":"2 %"}]}`, `{"what_if":[{"key":"ground.tilt","value":"0.21"}]}`, `{"what_if":` + "[" + strings.Repeat(`{"key":"outlet","value":"I1"},`, 12) + `{"key":"outlet","value":"I1"}]}`} {
		_, err := engine{}.Execute(context.Background(), api.Request{Process: "plan", Site: sampledata.StatePlane(), Lots: []string{"B1"}, Options: json.RawMessage(bad), Progress: func(int, int, string) {}})
		var in *parcels.InputError
		if !errors.As(err, &in) || in.File != "options" {
			t.Errorf("%.60s: %v", bad, err)
		}
	}
}

func deref(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
