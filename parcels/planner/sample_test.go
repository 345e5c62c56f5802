package planner_test

import (
	"context"
	"fmt"
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
