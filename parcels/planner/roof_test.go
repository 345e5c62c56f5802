package planner_test

import (
	"bytes"
	"context"
	"math"
	"regexp"
	"testing"

	"fallwright/geo/shape"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// The sample lot with no roof area stated: each downspout gets the part of the
// house nearest to it along the eaves, the parts add up to the footprint, a
// finding tells each, and the plan passes the checker.
func TestPropertyRoofShares(t *testing.T) {
	text := regexp.MustCompile(`"roof_area_(m2|ft2)": ?[0-9.]+,? ?`).ReplaceAll(sampledata.StatePlane(), nil)
	text = regexp.MustCompile(`,(\s*)}`).ReplaceAll(text, []byte("$1}"))
	if bytes.Contains(text, []byte("roof_area")) {
		t.Fatal("the sample still states roof areas")
	}
	s, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}, Program: "test"}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{sampledata.Sample}})
	if err != nil {
		t.Fatal(err)
	}
	roof, house, told := 0.0, 0.0, 0
	for i := range plan.Points {
		if a := plan.Points[i].RoofArea; a != nil {
			roof += float64(*a)
		}
	}
	for i := range s.Buildings {
		if s.Buildings[i].Lot == sampledata.Sample {
			house += float64(shape.Area(s.Buildings[i].Shape))
		}
	}
	for _, f := range plan.Findings {
		switch f.Code {
		case "roof_shared":
			told++
		case "area_missing":
			t.Errorf("%s", f.Message)
		}
	}
	if told != 5 || math.Abs(roof-house) > 0.05 {
		t.Errorf("%d downspouts share %.2f m2 of a house of %.2f m2", told, roof, house)
	}
	area := 0.0
	for i := range plan.Runs {
		if r := &plan.Runs[i]; r.To == plan.Summary.Outlet {
			area += float64(r.Area)
		}
	}
	if area < roof {
		t.Errorf("%.2f m2 reach the outlet, the roof has %.2f", area, roof)
	}
}
