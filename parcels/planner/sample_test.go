package planner_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// Every lot of the sample is planned to an outlet or told why not, with what would
// mend it; the gap to the bound is printed (-v). FALLWRIGHT_LONG=1 for all 36 lots,
// else six.
func TestPropertyEverySampleLot(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	for i := range s.Lots {
		if os.Getenv("FALLWRIGHT_LONG") == "" && i%7 != 1 {
			continue
		}
		lot := s.Lots[i].ID
		plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{lot}})
		if err != nil {
			t.Errorf("lot %s: %v", lot, err)
			continue
		}
		sum := plan.Summary
		gap := "no bound"
		if plan.Bound.Gap != nil {
			gap = fmt.Sprintf("gap %.1f %%", 100**plan.Bound.Gap)
		}
		mends := 0
		for _, r := range plan.Remedies {
			if r.Verdict != parcels.NotFeasible {
				mends++
			}
		}
		why := sum.WhyNot
		if len(why) > 160 {
			why = why[:160] + "..."
		}
		t.Logf("%s %s to %q, %s; %d alternatives, %d of %d remedies do it. %s", lot, sum.Verdict, sum.Outlet, gap, len(plan.Alternatives), mends, len(plan.Remedies), why)
		if sum.Verdict == parcels.NotFeasible && sum.WhyNot == "" || sum.Verdict != parcels.NotFeasible && len(plan.Runs) == 0 {
			t.Errorf("lot %s is neither planned nor told why not", lot)
		}
	}
}

// What joining does to the perforated run of the lot whose inlet backs up: the
// note says how far the water of the case stands over the run's lower invert, and
// stands only where it does. And where the house has openings, each case has the
// freeboard of the lowest.
func TestHandWaterAtTheJoin(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plan, _, err := (&planner.Planner{Verifier: verify.Checker{}}).Plan(context.Background(), s, planner.Options{Lots: []string{"B1"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	stated := plan.WaterCases[0]
	for _, k := range plan.WaterCases {
		if k.Name == "stated" && k.Return == s.Criteria.Storm.ReturnYears {
			stated = k
		}
	}
	joins, notes := 0, 0
	for i := range plan.Runs {
		r := &plan.Runs[i]
		if r.Pipe != "perforated" {
			continue
		}
		for k := range plan.Runs {
			if plan.Runs[k].From != r.To || plan.Runs[k].Pipe != "solid" {
				continue
			}
			joins++
			want, told := float64(stated.Levels[r.To]-*r.InvertDown), false
			for _, f := range plan.Findings {
				if f.Code == "water_into_stone" && f.Feature == r.ID {
					told = true
					notes++
					if math.Abs(*f.Measured-want) > 0.0015 {
						t.Errorf("%s: %.3f m told, %.3f by its case", r.ID, *f.Measured, want)
					}
				}
			}
			if told != (want >= 0.005) {
				t.Errorf("%s: water stands %.3f m over its invert, told: %v", r.ID, want, told)
			}
		}
	}
	if joins == 0 || notes == 0 {
		t.Errorf("%d joins, %d notes: the lot shows nothing", joins, notes)
	}
	for _, k := range plan.WaterCases {
		if (k.Freeboard != nil) != (k.Opening != "") {
			t.Errorf("%s, %g years: %v over opening %q", k.Name, float64(k.Return), k.Freeboard, k.Opening)
		}
	}
}
