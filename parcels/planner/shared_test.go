package planner_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// A lot of 30 m by 40 m whose ground falls 2 % to the east, an inlet in the
// middle of its east line at y = 3 m, a perforated run wanted along y = 3 m from
// x = 6 to 24 m, and a downspout at the house's corner (8, 9): its water goes
// down the same trench in a solid pipe of its own, beside the perforated one,
// and the two join at the lower end of the drawn line.
func sharedSite(t *testing.T, drawn ...string) *parcels.Site {
	t.Helper()
	runs := col(feature("LineString", "["+pt(6, 3)+","+pt(24, 3)+"]", `"lot":"1"`))
	if len(drawn) > 0 {
		runs = col()
	}
	var spots []string
	for x := -5.0; x <= 40; x += 5 {
		for y := -5.0; y <= 45; y += 5 {
			spots = append(spots, fmt.Sprintf(`{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[%.3f,%.3f,%.4f]}}`, e0+x, n0+y, 100-0.02*x))
		}
	}
	text := `{"site":"shared","crs":"EPSG:26915","elevation_unit":"m","vertical_datum":"assumed","layers":{
	"parcels":` + col(feature("Polygon", rect(0, 0, 30, 40), `"lot":"1","line_source":"survey"`)) + `,
	"buildings":` + col(feature("Polygon", rect(8, 9, 22, 24), `"lot":"1"`)) + `,
	"easements":` + col() + `,"obstacles":` + col() + `,"openings":` + col() + `,"swales":` + col() + `,
	"inlets":` + col(feature("Point", pt(30, 3), `"inlet":"I","system":"storm","rim_m":99.4,"invert_m":98.0,"outgoing_diameter_mm":300,"tailwater_m":98.1`)) + `,
	"intakes":` + col(feature("Point", pt(8, 9), `"intake":"DS","lot":"1","kind":"downspout","roof_area_m2":100`)) + `,
	"perforated_runs":` + runs + `,"drains":` + col(drawn...) + `,
	"spots":` + col(spots...) + `},"rainfall":{"intensity_mmh":120,"return_years":10}}`
	if !json.Valid([]byte(text)) {
		t.Fatal("the test's own document is no JSON")
	}
	s, err := document.Read([]byte(text), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestHandSharedTrench(t *testing.T) {
	s := sharedSite(t)
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Summary.Verdict == parcels.NotFeasible {
		t.Fatal(plan.Summary.WhyNot)
	}
	shared := 0.0
	for i := range plan.Runs {
		r := &plan.Runs[i]
		if r.Pipe != "perforated" {
			continue
		}
		if r.Carries == parcels.CarriesRoof {
			t.Errorf("roof water in perforated run %s", r.ID)
		}
		for k := range plan.Runs {
			o := &plan.Runs[k]
			if o.Pipe == "solid" && o.Trench == r.Trench {
				shared += float64(r.Length)
				if *r.InvertUp > *o.InvertUp+0.0005 || *r.InvertDown > *o.InvertDown+0.0005 {
					t.Errorf("the perforated pipe of %s lies above the solid one beside it", r.ID)
				}
			}
		}
	}
	// The downspout's trench comes down on the drawn line at 45 degrees or
	// square, between x = 8 and 12 m, and goes with it to x = 24 m.
	if shared < 12 || shared > 18 {
		t.Errorf("%.2f m of trench hold both pipes, want 12 to 18", shared)
	}
	sum := 0.0
	for _, tr := range plan.Trenches {
		sum += float64(tr.Length)
		kinds := map[string]bool{}
		for _, id := range tr.Runs {
			kinds[plan.Run(id).Pipe] = true
		}
		if len(kinds) == 2 && tr.Width < 0.39 { // two 4 in pipes and room (P-115: 15 to 16 in)
			t.Errorf("trench %s of two pipes is %.3f m wide", tr.ID, float64(tr.Width))
		}
	}
	if math.Abs(sum-float64(plan.Summary.TrenchLength)) > 0.02 {
		t.Errorf("trenches of %.3f m, the summary says %.3f", sum, float64(plan.Summary.TrenchLength))
	}
	if plan.Summary.Length <= plan.Summary.TrenchLength {
		t.Error("as much pipe as trench, though two pipes share one")
	}
}

// A drain drawn along y = 2 m is kept where it is drawn, solid, and the
// downspout's water is brought to it.
func TestHandDrawnDrainKept(t *testing.T) {
	s := sharedSite(t, `{"type":"Feature","properties":{"drain":"D1","lot":"1","status":"proposed","keep":true,"pipe":"solid"},"geometry":{"type":"LineString","coordinates":[[500006,5000002],[500022,5000002]]}}`)
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Summary.Verdict == parcels.NotFeasible {
		t.Fatal(plan.Summary.WhyNot)
	}
	along := 0.0
	for i := range plan.Runs {
		r := &plan.Runs[i]
		if r.Pipe != "solid" {
			t.Errorf("run %s is %s", r.ID, r.Pipe)
		}
		a, b := s.Frame.Document(r.Line[0]), s.Frame.Document(r.Line[1])
		if math.Abs(a[1]-5000002) < 0.002 && math.Abs(b[1]-5000002) < 0.002 {
			along += float64(r.Length)
		}
	}
	if along < 10 {
		t.Errorf("only %.2f m of the drawn line are in the plan", along)
	}
}

// The first run begins at the wall itself. With 12 in of cover, 4 in of pipe and
// 2 in of bedding its trench is about 0.47 m deep there, above a footing 0.5 m
// down; with 1 m of cover it is 1.16 m deep and goes below that footing, but not
// below one 2 m down. By hand.
func TestHandFooting(t *testing.T) {
	for _, c := range []struct {
		footing, cover float64
		told           bool
	}{{0.5, 0.3048, false}, {0.5, 1.0, true}, {2.0, 1.0, false}} {
		s := sharedSite(t)
		s.Buildings[0].FootingDepth = parcels.Num(unit.Length(c.footing))
		s.Criteria.Pipe.LeastCover = unit.Length(c.cover)
		s.Criteria.Pipe.GreatestDepth = 3
		p := planner.Planner{Verifier: verify.Checker{}}
		plan, _, err := p.Plan(context.Background(), s, planner.Options{})
		if err != nil {
			t.Fatal(err)
		}
		told := false
		for _, f := range plan.Findings {
			told = told || f.Code == "undermines_footing"
		}
		if told != c.told {
			t.Errorf("footing %.1f m, cover %.2f m: told %v, want %v", c.footing, c.cover, told, c.told)
		}
	}
}

// A drain drawn to be kept that leaves the lot is told and not kept: the plan
// never leaves the lot for it. By hand: from (6, 2) to (6, -4), of which the zone
// ends at y = 0.6096 + 0.1524 + 0.001 m, 4.763 m lie outside.
func TestHandDrawnOverTheLine(t *testing.T) {
	s := sharedSite(t, `{"type":"Feature","properties":{"drain":"D1","lot":"1","status":"proposed","keep":true,"pipe":"solid"},"geometry":{"type":"LineString","coordinates":[[500006,5000002],[500006,4999996]]}}`)
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{})
	if err != nil {
		t.Fatal(err)
	}
	told := false
	for _, f := range plan.Findings {
		if f.Code == "drawn_drain_outside_zone" {
			told = true
			if f.Feature != "D1" || math.Abs(*f.Measured-4.763) > 0.002 {
				t.Errorf("%s: %.3f m", f.Feature, *f.Measured)
			}
		}
	}
	if !told || plan.Summary.Verdict != parcels.NotFeasible {
		t.Errorf("told %v, %s", told, plan.Summary.Verdict)
	}
}
