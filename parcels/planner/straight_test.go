package planner_test

import (
	"context"
	"fmt"
	"testing"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// A corner of the house is an arc of many chords in the zone. What drains a lot with
// 1 m of straight pipe between fittings drains it with less: lots B3 and C3 of the
// sample, which do at 1 m, do at each length below, every straight as long as asked
// (the checker holds that too).
func TestPropertyChordedCorners(t *testing.T) {
	p := planner.Planner{Verifier: verify.Checker{}}
	for _, lot := range []string{"B3", "C3"} {
		for _, least := range []unit.Length{2.5, 2.2, 2, 1.5, 1, 0.7, 0.6, 0.5, 0.3048} {
			t.Run(fmt.Sprint(lot, " ", float64(least)), func(t *testing.T) {
				s, err := document.Read(sampledata.StatePlane(), document.Options{})
				if err != nil {
					t.Fatal(err)
				}
				s.Criteria.Route.LeastStraight = least
				plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{lot}, Quick: true})
				if err != nil {
					t.Fatal(err)
				}
				if plan.Summary.Verdict == parcels.NotFeasible {
					t.Fatal(plan.Summary.WhyNot)
				}
				for i := range plan.Runs {
					if r := &plan.Runs[i]; !r.LeadOff && !r.TieIn && r.Length < least {
						t.Errorf("run %s is %.3f m long", r.ID, float64(r.Length))
					}
				}
			})
		}
	}
}
