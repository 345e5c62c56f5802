package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/sampledata"
)

// call runs the command with arguments and standard input.
func call(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(&env{ctx: context.Background(), stdin: strings.NewReader(stdin), stdout: &out, stderr: &errs}, args)
	return code, out.String(), errs.String()
}

func sample(t *testing.T) string {
	t.Helper()
	f := filepath.Join(t.TempDir(), "site.json")
	if err := os.WriteFile(f, sampledata.StatePlane(), 0o644); err != nil {
		t.Fatal(err)
	}
	return f
}

func TestPlanSampleLot(t *testing.T) {
	site := sample(t)
	out := filepath.Join(t.TempDir(), "plan.json")
	code, table, errs := call(t, "", "plan", site, "--lot", sampledata.Sample, "--out", out)
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	for _, want := range []string{"FEASIBLE", "Outlet I1", "tie-in", "Cautions:", "locating service", "checks passed", "gpm"} {
		if !strings.Contains(table, want) {
			t.Errorf("the table does not show %q", want)
		}
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	var plan struct {
		Status       string
		Summary      struct{ Verdict string }
		Verification struct{ Passed bool }
		Cautions     []string
	}
	if err := json.Unmarshal(b, &plan); err != nil {
		t.Fatal(err)
	}
	if plan.Status != "preliminary" || plan.Summary.Verdict != "feasible" || !plan.Verification.Passed || len(plan.Cautions) == 0 {
		t.Errorf("%+v", plan)
	}
	if code, _, _ := call(t, "", "plan", site, "--lot", sampledata.BelowInlet); code != exitStop {
		t.Errorf("the lot below its inlet: exit %d, want %d", code, exitStop)
	}
}

// What a county's export looks like: longitudes and latitudes on NAD 83, and features
// that each layer numbers from 1. The plan is made and passes the checker.
func TestPlanOfNumberedFeatures(t *testing.T) {
	var site map[string]any
	if err := json.Unmarshal(sampledata.LonLat(), &site); err != nil {
		t.Fatal(err)
	}
	site["crs"] = "EPSG:4269"
	for layer, name := range map[string]string{"intakes": "intake", "inlets": "inlet", "outlets": "outlet"} {
		l := site["layers"].(map[string]any)[layer].(map[string]any)
		kept := []any{}
		for _, f := range l["features"].([]any) {
			f, p := f.(map[string]any), f.(map[string]any)["properties"].(map[string]any)
			if layer == "intakes" && p["lot"] != sampledata.Sample {
				continue
			}
			delete(p, name)
			kept = append(kept, f)
			f["id"] = len(kept)
		}
		l["features"] = kept
	}
	text, err := json.Marshal(site)
	if err != nil {
		t.Fatal(err)
	}
	code, table, errs := call(t, string(text), "plan", "-", "--lot", sampledata.Sample)
	if code != exitDone || !strings.Contains(table, "Outlet 1 ") || !strings.Contains(table, "intake 1 ") {
		t.Errorf("exit %d: %s%s", code, errs, table)
	}
}

func TestNetworkForGIS(t *testing.T) {
	code, out, errs := call(t, "", "plan", sample(t), "--lot", sampledata.Sample, "--out", filepath.Join(t.TempDir(), "n.geojson"), "--units", "si")
	if code != 0 || !strings.Contains(out, "mm solid") {
		t.Fatalf("exit %d %s\n%s", code, errs, out)
	}
}

func TestZoneAndCheck(t *testing.T) {
	site := sample(t)
	code, out, errs := call(t, "", "zone", site, "--json")
	if code != exitDone {
		t.Fatalf("zone: exit %d: %s", code, errs)
	}
	var col struct {
		Features []struct{ Properties struct{ Lot string } }
	}
	if err := json.Unmarshal([]byte(out), &col); err != nil || len(col.Features) != 36 {
		t.Fatalf("%d zones, %v", len(col.Features), err)
	}
	code, out, errs = call(t, "", "check", site)
	if code != exitStop {
		t.Errorf("check: exit %d, want %d for the drain that strays: %s", code, exitStop, errs)
	}
	if !strings.Contains(out, "DR-C3") || !strings.Contains(out, "not feasible") {
		t.Errorf("the straying drain is not told:\n%s", out)
	}
}

// A lot of 100 ft by 150 ft with a clearance of 2 ft leaves exactly 96 ft by
// 146 ft = 14 016 ft2. By hand.
func TestHandZoneOfRectangle(t *testing.T) {
	text := `{"crs":"EPSG:2274","layers":{"parcels":{"type":"FeatureCollection","features":[{"type":"Feature","id":"1","properties":{},"geometry":{"type":"Polygon","coordinates":[[[1700000,650000],[1700100,650000],[1700100,650150],[1700000,650150],[1700000,650000]]]}}]},
	"buildings":{"type":"FeatureCollection","features":[]}}, "criteria":{"clearance":{"lot_line_m":0.60960121920243841}}}`
	code, out, errs := call(t, text, "zone", "-", "--json")
	if code != 0 {
		t.Fatal(errs)
	}
	var col struct {
		Features []struct {
			Geometry   struct{ Coordinates [][][][2]float64 }
			Properties struct {
				Area float64 `json:"area_m2"`
			}
		}
	}
	if err := json.Unmarshal([]byte(out), &col); err != nil {
		t.Fatal(err)
	}
	ring := col.Features[0].Geometry.Coordinates[0][0]
	lo, hi := ring[0], ring[0]
	for _, p := range ring {
		lo = [2]float64{min(lo[0], p[0]), min(lo[1], p[1])}
		hi = [2]float64{max(hi[0], p[0]), max(hi[1], p[1])}
	}
	if hi[0]-lo[0] != 96 || hi[1]-lo[1] != 146 || len(ring) != 5 {
		t.Errorf("zone %v to %v", lo, hi)
	}
}

func TestBadInput(t *testing.T) {
	site := sample(t)
	for _, c := range []struct {
		name, stdin string
		args        []string
		says        string
	}{
		{"not JSON", "{", []string{"plan", "-"}, "not JSON"},
		{"no parcels", `{"layers":{}}`, []string{"zone", "-"}, "no layer parcels"},
		{"unknown lot", "", []string{"plan", site, "--lot", "Z99"}, "no lot \"Z99\""},
		{"unknown outlet", "", []string{"plan", site, "--lot", "B4", "--outlet", "XX"}, "no inlet or outlet"},
		{"missing file", "", []string{"plan", "/nowhere.json"}, "cannot be read"},
		{"unknown flag", "", []string{"plan", site, "--nonsense"}, "nonsense"},
		{"unknown verb", "", []string{"dig"}, "dig"},
		{"open ring", `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[0,0],[0.001,0],[0.001,0.001],[0,0.001]]]}}]}`, []string{"zone", "-"}, "Repeat the first position"},
		{"unknown layer", "", []string{"zone", "trenches=" + site}, "no layer"},
		{"packed", "\x1f\x8b\x08", []string{"zone", "-"}, "gunzip"},
		{"a GeoPackage", "SQLite format 3\x00", []string{"plan", "-"}, "fallwright import"},
		{"a page", " <html>", []string{"check", "-"}, "XML or HTML"},
		{"a plan that was cut short", `{"summary":{},"network":{"type":`, []string{"stake", "-"}, "The text is not JSON"},
		{"no plan", `{"layers":{}}`, []string{"stake", "-"}, "None of the files is a plan"},
		{"a number too large", `{"type":"FeatureCollection","features":[{"type":"Feature","id":"a","properties":{},"geometry":{"type":"Point","coordinates":[1e400,1]}}]}`, []string{"export", "-", "--out", "-"}, "Feature 0 (id a)"},
		{"a slip in the criteria", "", []string{"plan", site, "--lot", "B4", "--what-if", "pipe.wall=smoth"}, "pipe.wall"},
	} {
		code, _, errs := call(t, c.stdin, c.args...)
		if code != exitInput || !strings.Contains(errs, c.says) {
			t.Errorf("%s: exit %d, %q; want %d and %q", c.name, code, errs, exitInput, c.says)
		}
	}
}

type no struct{}

func (no) Verify([]byte, parcels.Criteria, []byte) (parcels.Verification, error) {
	return parcels.Verification{Checks: []parcels.Check{{Check: "all", Detail: "refused by the test"}}}, nil
}

// A plan that the checker refutes is not returned.
func TestRefutedPlanIsNotReturned(t *testing.T) {
	was := verifier
	verifier = no{}
	defer func() { verifier = was }()
	out := filepath.Join(t.TempDir(), "plan.json")
	code, table, errs := call(t, "", "plan", sample(t), "--lot", sampledata.Sample, "--out", out)
	if code != exitFailed || table != "" || !strings.Contains(errs, "refused by the test") {
		t.Errorf("exit %d, %q, %q", code, table, errs)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("the refuted plan was written")
	}
}

func TestAuditSample(t *testing.T) {
	site := sample(t)
	out := filepath.Join(t.TempDir(), "audit.csv")
	code, table, errs := call(t, "", "audit", site, "--out", out)
	if code != exitStop {
		t.Fatalf("exit %d: %s", code, errs)
	}
	if !strings.Contains(table, "36 lots audited") || !strings.Contains(table, "Cautions:") {
		t.Errorf("%s", table)
	}
	b, err := os.ReadFile(out)
	if err != nil || strings.Count(string(b), "\n") != 37 {
		t.Errorf("%d lines in the CSV, %v", strings.Count(string(b), "\n"), err)
	}
}

// A drain laid exactly as planned is as built; one laid 10 cm low in the middle
// of a run is told.
func TestAsBuilt(t *testing.T) {
	site := sample(t)
	dir := t.TempDir()
	plan := filepath.Join(dir, "plan.json")
	if code, _, errs := call(t, "", "plan", site, "--lot", sampledata.Sample, "--out", plan); code != exitDone {
		t.Fatal(errs)
	}
	b, err := os.ReadFile(plan)
	if err != nil {
		t.Fatal(err)
	}
	var p struct {
		Profiles []struct {
			Rows []struct {
				At     [2]float64 `json:"at"`
				Invert float64    `json:"invert_m"`
			}
		}
	}
	if err := json.Unmarshal(b, &p); err != nil {
		t.Fatal(err)
	}
	var csv strings.Builder
	n := 0
	for _, pr := range p.Profiles {
		for _, r := range pr.Rows {
			n++
			fmt.Fprintf(&csv, "%d,%.4f,%.4f,%.4f,INV\n", n, r.At[1], r.At[0], r.Invert/0.3048)
		}
	}
	shots := filepath.Join(dir, "shots.csv")
	if err := os.WriteFile(shots, []byte(csv.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	code, table, errs := call(t, "", "asbuilt", site, plan, shots)
	if code == exitInput || code == exitFailed || !strings.Contains(table, "R1") {
		t.Errorf("exit %d %s\n%s", code, errs, table)
	}
}

// Each run with a flow can be followed by hand: every sheet passes the check
// that works its printed figures again.
func TestSteps(t *testing.T) {
	code, _, errs := call(t, "", "plan", sample(t), "--lot", sampledata.Sample, "--steps", "R1", "--units", "si")
	if code != exitInput || !strings.Contains(errs, "R1") {
		t.Errorf("ground water has no steps: exit %d, %s", code, errs)
	}
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plan, _, err := newPlanner().Plan(context.Background(), s, planner.Options{Lots: []string{sampledata.Sample}})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for i := range plan.Runs {
		if plan.Runs[i].Flow == nil {
			continue
		}
		sheet, err := planner.Steps(plan, plan.Runs[i].ID)
		if err != nil {
			t.Fatal(err)
		}
		if err := sheet.Check(); err != nil {
			t.Errorf("run %s: %v", plan.Runs[i].ID, err)
		}
		n++
	}
	if n < 10 {
		t.Errorf("only %d runs have steps", n)
	}
}

// The sample's own shots as a surveyor's file give the same plan as the layer.
func TestShotFile(t *testing.T) {
	var doc map[string]json.RawMessage
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	var layers map[string]json.RawMessage
	_ = json.Unmarshal(doc["layers"], &layers)
	var spots struct {
		Features []struct {
			Geometry struct{ Coordinates [3]float64 }
		}
	}
	_ = json.Unmarshal(layers["spots"], &spots)
	var csv strings.Builder
	for i, f := range spots.Features {
		fmt.Fprintf(&csv, "%d,%.4f,%.4f,%.4f,\n", i+1, f.Geometry.Coordinates[1], f.Geometry.Coordinates[0], f.Geometry.Coordinates[2])
	}
	delete(layers, "spots")
	doc["layers"], _ = json.Marshal(layers)
	site, _ := json.Marshal(doc)
	dir := t.TempDir()
	for name, b := range map[string]string{"site.json": string(site), "shots.csv": csv.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(b), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	length := func(args ...string) string {
		code, out, errs := call(t, "", append([]string{"plan"}, args...)...)
		if code != exitDone {
			t.Fatalf("exit %d: %s", code, errs)
		}
		for _, l := range strings.Split(out, "\n") {
			if strings.HasPrefix(l, "Outlet ") {
				return l
			}
		}
		return ""
	}
	want := length(sample(t), "--lot", sampledata.Sample)
	got := length(filepath.Join(dir, "site.json"), filepath.Join(dir, "shots.csv"), "--lot", sampledata.Sample, "--terrain-unit", "ft")
	if got != want || want == "" {
		t.Errorf("shots as a file: %q\nshots as a layer: %q", got, want)
	}
	if code, _, errs := call(t, "", "plan", filepath.Join(dir, "site.json"), filepath.Join(dir, "shots.csv"), "--lot", sampledata.Sample, "--terrain-unit", "ft", "--shot-order", "PENZD"); code != exitInput || errs == "" {
		t.Errorf("northing and easting swapped: exit %d, %s", code, errs)
	}
}

// What a choice costs, shown beside the plan: less slope is less deep, two
// perforated pipes leave more room in the voids when inlet I2 backs up.
func TestWhatIf(t *testing.T) {
	code, out, errs := call(t, "", "plan", sample(t), "--lot", "B1", "--json", "--out", filepath.Join(t.TempDir(), "p.json"), "--what-if", "pipe.target_slope=0.005", "--what-if", "perforated.pipe_count=2")
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var w struct {
		Status string           `json:"status"`
		WhatIf []planner.WhatIf `json:"what_if"`
	}
	if err := json.Unmarshal([]byte(out), &w); err != nil || len(w.WhatIf) != 2 || w.Status == "" { // one document
		t.Fatal(err, len(w.WhatIf))
	}
	flat, two := w.WhatIf[0], w.WhatIf[1]
	if *flat.Then.CostIndex > *flat.As.CostIndex+1e-6 {
		t.Errorf("half the slope costs more: %.2f against %.2f", *flat.Then.CostIndex, *flat.As.CostIndex)
	}
	if *two.Then.Usable <= *two.As.Usable {
		t.Errorf("two pipes leave %.3f m3, one %.3f", *two.Then.Usable, *two.As.Usable)
	}
	if code, _, errs := call(t, "", "plan", sample(t), "--lot", "B1", "--what-if", "pipe.slop=1"); code != exitInput || !strings.Contains(errs, "pipe.slop") {
		t.Errorf("an unknown criterion: exit %d, %s", code, errs)
	}
}

// Standard output that is a plan's JSON is one document: text is not put after it.
func TestHandOneDocument(t *testing.T) {
	for _, to := range [][]string{{"--json"}, {"--out", "-"}} {
		args := append([]string{"plan", sample(t), "--lot", sampledata.Sample}, to...)
		if code, out, errs := call(t, "", append(args, "--steps", "R1")...); code != exitInput || out != "" || !strings.Contains(errs, "--out FILE") {
			t.Errorf("%v: exit %d, %d bytes, %s", to, code, len(out), errs)
		}
		_, out, errs := call(t, "", append(args, "--what-if", "pipe.target_slope=0.005")...)
		var w map[string]json.RawMessage
		if err := json.Unmarshal([]byte(out), &w); err != nil || w["what_if"] == nil || w["network"] == nil {
			t.Errorf("%v: %v %s", to, err, errs)
		}
	}
}

func TestServeConfiguration(t *testing.T) {
	code, out, _ := call(t, "", "serve", "--new-key", "office")
	if code != exitDone || !strings.Contains(out, "sha256:") {
		t.Errorf("exit %d: %s", code, out)
	}
	bad := filepath.Join(t.TempDir(), "c.yaml")
	if err := os.WriteFile(bad, []byte("adress: 127.0.0.1:1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := call(t, "", "serve", "--config", bad); code != exitInput || !strings.Contains(errs, "adress") {
		t.Errorf("an unknown key: exit %d, %s", code, errs)
	}
	// Beyond loopback without keys the service does not start, and says how.
	if code, _, errs := call(t, "", "serve", "--addr", "0.0.0.0:0"); code != exitFailed || !strings.Contains(errs, "key") {
		t.Errorf("beyond loopback without keys: exit %d, %s", code, errs)
	}
}
