package planner_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// rimSite is a lot of 40 m by 40 m on ground that falls 2 % to the east, with a house of
// 10 m by 10 m, a downspout at its east wall, a basin north of it and an inlet near the
// east line, where the ground lies at 99.24 m.
func rimSite(t *testing.T, basin, inlet, criteria string) *parcels.Site {
	t.Helper()
	var spots []string
	for x := -20.0; x <= 60; x += 5 {
		for y := -20.0; y <= 60; y += 5 {
			spots = append(spots, fmt.Sprintf(`{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[%.3f,%.3f,%.4f]}}`, e0+x, n0+y, 100-0.02*x))
		}
	}
	text := `{"site":"rim","crs":"EPSG:26915","elevation_unit":"m","vertical_datum":"assumed","layers":{
	"parcels":` + col(feature("Polygon", rect(0, 0, 40, 40), `"lot":"L","line_source":"survey"`)) + `,
	"buildings":` + col(feature("Polygon", rect(10, 10, 20, 20), `"lot":"L"`)) + `,
	"easements":` + col() + `,"obstacles":` + col() + `,"openings":` + col() + `,"swales":` + col() + `,"outlets":` + col() + `,
	"inlets":` + col(feature("Point", pt(38, 25), `"inlet":"I","kind":"grate","system":"storm",`+inlet)) + `,
	"intakes":` + col(feature("Point", pt(20, 15), `"intake":"DS","lot":"L","kind":"downspout"`), feature("Point", pt(25, 32), `"lot":"L","kind":"yard_basin","area_m2":60,"runoff_c":0.4,`+basin)) + `,
	"spots":` + col(spots...) + `},"rainfall":{"intensity_mmh":120,"return_years":10},"criteria":{` + criteria + `}}`
	s, err := document.Read([]byte(text), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The planner's own points bear no name that something in the site bears.
func TestHandNamesKeptClear(t *testing.T) {
	for _, name := range []string{"P1", "P2", "R1", "T1", "DS1"} {
		s := rimSite(t, `"intake":"`+name+`"`, `"rim_m":99.24,"invert_m":98.0,"outgoing_diameter_mm":300`, "")
		for _, o := range []planner.Options{{}, {Lots: []string{"L"}, Shared: true}} {
			plan, _, err := (&planner.Planner{Verifier: verify.Checker{}, Program: "test"}).Plan(context.Background(), s, o)
			if err != nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			if plan.Summary.Verdict == parcels.NotFeasible || plan.Point(name) == nil || plan.Point(name).Kind != parcels.PointIntake {
				t.Errorf("%s: %s %s", name, plan.Summary.Verdict, plan.Summary.WhyNot)
			}
		}
	}
}

// However wide the pipe, its outside top comes in at the rim of the inlet or below it.
// Where there is less between the lowest arrival and the rim than the thinnest pipe is
// high (4 in: 104 mm), nothing can be let in, and the plan says so.
func TestHandPipeUnderRim(t *testing.T) {
	for _, size := range []float64{101.6, 152.4, 203.2, 254, 304.8} {
		for _, inlet := range []string{`"rim_m":98.9,"invert_m":98.0,"outgoing_diameter_mm":300`, `"rim_m":98.9`, `"rim_m":98.9,"tie_in_m":98.85`, `"rim_m":98.9,"tie_in_m":98.75`} {
			s := rimSite(t, `"intake":"B"`, inlet, fmt.Sprintf(`"pipe":{"least_diameter_mm":%g,"least_cover_m":0.05}`, size))
			for _, o := range []planner.Options{{}, {Lots: []string{"L"}, Shared: true}} {
				plan, _, err := (&planner.Planner{Verifier: verify.Checker{}, Program: "test"}).Plan(context.Background(), s, o)
				if err != nil {
					t.Errorf("%g mm, %s: %v", size, inlet, err)
					continue
				}
				for i := range plan.Runs {
					r := &plan.Runs[i]
					if r.To != "I" || r.InvertDown == nil || plan.Summary.Verdict == parcels.NotFeasible {
						continue
					}
					if top := float64(*r.InvertDown) + (r.Diameter+r.OutsideDiameter)/2000; top > 98.9005 {
						t.Errorf("%g mm, %s: the top comes in at %.3f", size, inlet, top)
					}
				}
				if full := strings.Contains(inlet, "98.85"); full && (plan.Summary.Verdict != parcels.NotFeasible || !strings.Contains(plan.Summary.WhyNot, "50 mm above")) {
					t.Errorf("%g mm, %s: %s %s", size, inlet, plan.Summary.Verdict, plan.Summary.WhyNot)
				}
				if !strings.Contains(inlet, "tie_in") && size < 300 && plan.Summary.Verdict == parcels.NotFeasible {
					t.Errorf("%g mm, %s: %s", size, inlet, plan.Summary.WhyNot)
				}
			}
		}
	}
}
