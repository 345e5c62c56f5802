package planner_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"fallwright/geo/shape"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// Hand: the sample lot lies in a district that asks 10 ft from every lot line
// (its own criteria ask 2 ft) and a pipe 18 in under ground. The plan keeps
// both, and the plan of the same lot without the district is refuted by the
// document with it. A lot of another block is planned as before.
func TestHandDistrictRulesItsLots(t *testing.T) {
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	layers := doc["layers"].(map[string]any)
	var ring any
	for _, f := range layers["parcels"].(map[string]any)["features"].([]any) {
		if f := f.(map[string]any); f["id"] == sampledata.Sample {
			ring = f["geometry"].(map[string]any)["coordinates"]
		}
	}
	layers["districts"] = map[string]any{"type": "FeatureCollection", "features": []any{map[string]any{"type": "Feature", "id": "overlay",
		"geometry":   map[string]any{"type": "Polygon", "coordinates": ring},
		"properties": map[string]any{"criteria": map[string]any{"clearance": map[string]any{"lot_line_ft": 10}, "pipe": map[string]any{"least_cover_in": 18}}}}}}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	with, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	without, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), with, planner.Options{Lots: []string{sampledata.Sample}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	least := math.Inf(1)
	lot := with.Lot(sampledata.Sample)
	for _, r := range plan.Runs {
		if r.TieIn {
			continue
		}
		off, _, _ := shape.LineBoundary(r.Line, lot.Shape)
		least = math.Min(least, float64(off)-float64(with.Criteria.Trench.Width)/2)
		if r.LeastCover != nil && *r.LeastCover < 0.4572-0.001 {
			t.Errorf("run %s has %.3f m of cover, the district asks 0.4572", r.ID, float64(*r.LeastCover))
		}
	}
	if !(least >= 3.048-0.001) {
		t.Errorf("a trench comes to %.3f m from the lot line, the district asks 3.048", least)
	}
	_, body, err := p.Plan(context.Background(), without, planner.Options{Lots: []string{sampledata.Sample}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	v, err := verify.Checker{}.Verify(text, with.Criteria, body)
	if err != nil {
		t.Fatal(err)
	}
	bad := map[string]bool{}
	for _, c := range v.Checks {
		bad[c.Check] = !c.Passed
	}
	if !bad["lot_line_clearance"] || !bad["cover"] {
		t.Errorf("the plan made without the district: %v", v.Checks)
	}
	other, mine, err := p.Plan(context.Background(), with, planner.Options{Lots: []string{"B5"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	_, before, err := p.Plan(context.Background(), without, planner.Options{Lots: []string{"B5"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(mine, before) {
		t.Error("the district changes the plan of a lot outside it")
	}
	for _, f := range other.Findings {
		if f.Code == "district_border" && f.Severity != parcels.Note {
			t.Errorf("%+v", f)
		}
	}
	// Both lots in one plan, each by its own rules.
	if _, _, err := p.Plan(context.Background(), with, planner.Options{Lots: []string{sampledata.Sample, "B5"}, Quick: true}); err != nil {
		t.Error(err)
	}
}

// Hand: the district of lot B4 lays 4 and 6 in pipe only, that of lot B5 asks 8 in and
// lays it. Each lot is planned; on one trunk no pipe suits both, and that is a fault of
// the criteria, told with the remedy.
func TestHandDistrictsWithoutAPipe(t *testing.T) {
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	layers := doc["layers"].(map[string]any)
	pipe := func(inside, outside float64) any {
		return map[string]any{"size": "x", "pipe": "solid", "wall": "smooth", "diameter_mm": inside, "outside_diameter_mm": outside, "n": 0.012, "stick_m": 3}
	}
	var districts []any
	for _, f := range layers["parcels"].(map[string]any)["features"].([]any) {
		f := f.(map[string]any)
		rule := map[string]any{"B4": map[string]any{"stock": []any{pipe(101.6, 107.1), pipe(152.4, 159.4)}},
			"B5": map[string]any{"stock": []any{pipe(203.2, 213.4)}, "least_diameter_mm": 203.2}}[f["id"].(string)]
		if rule != nil {
			districts = append(districts, map[string]any{"type": "Feature", "id": "of " + f["id"].(string), "geometry": map[string]any{"type": "Polygon", "coordinates": f["geometry"].(map[string]any)["coordinates"]},
				"properties": map[string]any{"criteria": map[string]any{"pipe": rule}}})
		}
	}
	layers["districts"] = map[string]any{"type": "FeatureCollection", "features": districts}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	for _, lot := range []string{"B4", "B5"} {
		if _, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{lot}, Quick: true}); err != nil {
			t.Errorf("%s: %v", lot, err)
		}
	}
	_, _, err = p.Plan(context.Background(), s, planner.Options{Lots: []string{"B4", "B5"}, Shared: true, Quick: true})
	var bad *parcels.InputError
	if !errors.As(err, &bad) || bad.Faults[0].Slug != "criterion-invalid" || !strings.Contains(bad.Faults[0].Detail, "203.2 mm") || !strings.Contains(bad.Faults[0].Detail, "apart") {
		t.Errorf("%v", err)
	}
}
