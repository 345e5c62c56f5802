package planner_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// Two lots side by side, 40 m by 40 m, on ground that falls 5 % to the east; a
// house of 10 m by 10 m on the west one with a downspout in the middle of its
// east wall, (20, 15), whose roof is 100 m2; and an emitter.
func emitterPlan(t *testing.T, x, y float64) *parcels.Plan {
	t.Helper()
	var spots []string
	for x := -20.0; x <= 100; x += 5 {
		for y := -20.0; y <= 60; y += 5 {
			spots = append(spots, fmt.Sprintf(`{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[%.3f,%.3f,%.4f]}}`, e0+x, n0+y, 100-0.05*x))
		}
	}
	text := `{"site":"emitter","crs":"EPSG:26915","elevation_unit":"m","vertical_datum":"assumed","layers":{
	"parcels":` + col(feature("Polygon", rect(0, 0, 40, 40), `"lot":"W","line_source":"survey"`), feature("Polygon", rect(40, 0, 80, 40), `"lot":"E","line_source":"survey"`)) + `,
	"buildings":` + col(feature("Polygon", rect(10, 10, 20, 20), `"lot":"W"`)) + `,
	"easements":` + col() + `,"obstacles":` + col() + `,"openings":` + col() + `,"swales":` + col() + `,"inlets":` + col() + `,
	"outlets":` + col(feature("Point", pt(x, y), fmt.Sprintf(`"outlet":"O","kind":"daylight","level_m":%.3f`, 100-0.05*x-0.45))) + `,
	"intakes":` + col(feature("Point", pt(20, 15), `"intake":"DS","lot":"W","kind":"downspout"`)) + `,
	"spots":` + col(spots...) + `},"rainfall":{"intensity_mmh":120,"return_years":10}}`
	s, err := document.Read([]byte(text), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plan, _, err := (&planner.Planner{Verifier: verify.Checker{}, Program: "test"}).Plan(context.Background(), s, planner.Options{Lots: []string{"W"}})
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// Let out where the roof's water ran before, the plan changes nothing over the
// line; let out 20 m north of it, all of it is new to the neighbour.
func TestHandEmitterOnNeighbour(t *testing.T) {
	below := emitterPlan(t, 33, 15)
	if below.Summary.Verdict == parcels.NotFeasible {
		t.Fatalf("%s", below.Summary.WhyNot)
	}
	out := false
	for _, l := range below.LineFlows {
		if l.Line == 1 {
			out = true
			if l.Before == nil || *l.Before >= 0 || math.Abs(float64(*l.After-*l.Before)) > 1e-6 || l.AfterTotal == nil || math.Abs(float64(*l.AfterTotal)/float64(*l.After)-600) > 1 {
				t.Errorf("%+v", l)
			}
			// by hand: 15 m of ground beyond the west line and the lot less the house
			// by C 0.35, the roof by 0.95, 120 mm/h: (0.35 (55*40-100) + 95) 120/3.6e6
			if want := (0.35*(55*40-100) + 95) * 120 / 3.6e6; math.Abs(-float64(*l.Before)/want-1) > 0.02 {
				t.Errorf("%v m3/s leave, by hand %.5f", *l.Before, want)
			}
		}
	}
	if !out {
		t.Errorf("no flow over the east line: %+v", below.LineFlows)
	}
	away := emitterPlan(t, 33, 35)
	if away.Summary.Verdict != parcels.NotFeasible || !strings.Contains(fmt.Sprint(away.Alternatives, away.Summary.WhyNot), "lot E") {
		t.Errorf("%s: %s %+v", away.Summary.Verdict, away.Summary.WhyNot, away.Alternatives)
	}
}
