package planner_test

import (
	"context"
	"errors"
	"os"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// hard are the lots planned in longitude and latitude too.
var hard = map[string]bool{sampledata.Sample: true, sampledata.BelowInlet: true, sampledata.DrainStrays: true, sampledata.TwoPieces: true}

// Every lot of the sample is planned or told why not, and every plan passes the
// checker, in the state plane and, for some, in longitude and latitude.
func TestSampleLots(t *testing.T) {
	for name, text := range map[string][]byte{"state plane": sampledata.StatePlane(), "longitude, latitude": sampledata.LonLat()} {
		s, err := document.Read(text, document.Options{})
		if err != nil {
			t.Fatal(err)
		}
		p := planner.Planner{Verifier: verify.Checker{}, Program: "test"}
		for i := range s.Lots {
			id := s.Lots[i].ID
			if name != "state plane" && !hard[id] {
				continue // the same lots again: a sample of them is enough
			}
			plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{id}})
			if err != nil {
				t.Errorf("%s, lot %s: %v", name, id, err)
				var r *planner.Refuted
				if errors.As(err, &r) && os.Getenv("KEEP_REFUTED") != "" {
					_ = os.WriteFile(os.Getenv("KEEP_REFUTED")+"/"+id+".json", r.Plan, 0o644)
				}
				continue
			}
			if plan.Summary.Verdict == parcels.NotFeasible && plan.Summary.WhyNot == "" {
				t.Errorf("%s, lot %s: not feasible without a reason", name, id)
			}
		}
	}
}

// Lots planned side by side, each with a drain of its own, that come to one
// inlet at different levels are one plan that the checker takes.
func TestTwoLotsAtOneInlet(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"B1", "C1"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	ends := 0
	for _, r := range plan.Runs {
		if r.To == sampledata.BackedUp {
			ends++
		}
	}
	if ends != 2 {
		t.Errorf("%d runs end at %s: the lots do not meet there", ends, sampledata.BackedUp)
	}
}
