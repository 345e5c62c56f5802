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

// With 10 mm of straight pipe between fittings a perforated run of 10 mm comes before one
// that is brought down by 0.3 m to the solid pipe beside it. It starts lower too, at 45
// degrees at most and not at 88; the bounds of the criteria, which ask 50 mm, leave that
// out only where ground is level.
func TestHandShortRunBroughtDown(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	s.Criteria.Route.LeastStraight = 0.01
	plan, _, err := (&planner.Planner{Verifier: verify.Checker{}}).Plan(context.Background(), s, planner.Options{Lots: []string{"B4"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	short := 0
	for i := range plan.Runs {
		if r := &plan.Runs[i]; r.Pipe == "perforated" && r.Length < 0.05 {
			short++
			if *r.Fall > r.Length+0.001 {
				t.Errorf("run %s falls %.3f m over %.3f", r.ID, float64(*r.Fall), float64(r.Length))
			}
		}
	}
	if short == 0 {
		t.Error("no short run: this shows nothing")
	}
}
