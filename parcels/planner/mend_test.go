package planner_test

import (
	"context"
	"math"
	"testing"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// shortSite is the shared trench's yard with the tie-in at 99.100 m. By hand: the
// ground falls 2 % to the east, steeper than the pipe must, so that the cover at
// the lot line holds it down: under ground of 99.40 m lie 0.3048 m of cover and
// 0.1044 m from the top of a 4 in pipe to its invert: 98.991 m, 109 mm short.
func shortSite(t *testing.T) *parcels.Site {
	s := sharedSite(t)
	s.Inlets[0].Invert, s.Inlets[0].TieIn = nil, parcels.Num(unit.Elevation(99.1))
	return s
}

func planOf(t *testing.T, s *parcels.Site) *parcels.Plan {
	t.Helper()
	p := planner.Planner{Verifier: trusting{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// trusting passes every plan: for sites changed in memory, whose document the
// checker would read as it was.
type trusting struct{}

func (trusting) Verify([]byte, parcels.Criteria, []byte) (parcels.Verification, error) {
	return parcels.Verification{Passed: true}, nil
}

func arrives(plan *parcels.Plan) bool {
	for _, f := range plan.Findings {
		if f.Code == "no_gravity_route" || f.Code == "arrival_level" || f.Code == "least_cover" {
			return false
		}
	}
	return plan.Summary.Outlet != ""
}

// Each remedy that says it does it is tried: with it the plan arrives, and with
// 3 mm less of it, it does not.
func TestPropertyRemediesHold(t *testing.T) {
	s := shortSite(t)
	plan := planOf(t, s)
	if arrives(plan) {
		t.Fatal("the yard drains as it is: nothing to mend")
	}
	for _, r := range plan.Remedies {
		if r.Kind == parcels.LowerTieIn && math.Abs(float64(*r.To)-98.991) > 0.0015 {
			t.Errorf("the tie-in would have to lie at %.4f m, by hand 98.991", *r.To)
		}
	}
	seen := map[string]bool{}
	for _, r := range plan.Remedies {
		t.Logf("%s: %s; %s", r.Kind, r.Verdict, r.Message)
		seen[r.Kind] = true
		if r.Verdict != parcels.Feasible {
			if r.CostIndex != nil {
				t.Errorf("%s does not do it and has a price", r.Kind)
			}
			continue
		}
		if r.CostIndex == nil || *r.CostIndex <= 0 {
			t.Errorf("%s has no price", r.Kind)
		}
		for _, less := range []float64{0, 0.003} {
			try := shortSite(t)
			switch r.Kind {
			case parcels.LowerTieIn:
				try.Inlets[0].TieIn = parcels.Num(unit.Elevation(*r.To + less))
			case parcels.LessCover:
				try.Criteria.Pipe.LeastCover = unit.Length(*r.To + less)
			default:
				continue
			}
			if got := arrives(planOf(t, try)); got != (less == 0) {
				t.Errorf("%s with %.0f mm less of it: arrives %v", r.Kind, 1000*less, got)
			}
		}
	}
	for _, k := range []string{parcels.LowerTieIn, parcels.LessCover, parcels.Pump} {
		if !seen[k] {
			t.Errorf("no remedy %s", k)
		}
	}
}

// The pump of that yard by hand: 100 m2 of roof at 120 mm/h and C 0.95 bring
// 100 * 0.95 * 120 / 3.6e6 = 3.167 L/s. The sump stops 0.3 m under the invert that
// arrives at the lot line, 98.995 m or a few mm more; the line's highest place is
// the tie-in, 99.1 m: 0.40 m of lift. In a 4 in pipe (0.39 m/s) five velocity
// heads are 39 mm and friction is under 2 mm a metre: 0.44 m.
func TestHandPumpDuty(t *testing.T) {
	for _, r := range planOf(t, shortSite(t)).Remedies {
		if r.Kind != parcels.Pump {
			continue
		}
		if math.Abs(float64(*r.Flow)-0.003167) > 2e-5 {
			t.Errorf("the pump lifts %.6f m3/s, 0.003167 come", float64(*r.Flow))
		}
		if math.Abs(float64(*r.Head)-0.44) > 0.02 {
			t.Errorf("%.3f m of head, by hand 0.44", float64(*r.Head))
		}
	}
}

// By hand from the sample: lot C4's zone ends 6.55 m from inlet I1, a last run may be
// 15 ft (4.572 m) long; named another outlet, lot B1 is told of I2, which it drains to.
func TestHandOtherInlet(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	for _, c := range []struct{ lot, outlet, other string }{{"C4", "", "I1"}, {"B1", "I5", "I2"}} {
		plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{c.lot}, Outlet: c.outlet})
		if err != nil {
			t.Fatal(err)
		}
		told := false
		for _, r := range plan.Remedies {
			if r.Kind != parcels.OtherInlet {
				continue
			}
			t.Logf("lot %s: %s, %s: %s", c.lot, r.Outlet, r.Verdict, r.Message)
			told = told || r.Outlet == c.other
			if c.lot == "C4" && (r.To == nil || *r.To < 6.55 || *r.To > 9) {
				t.Errorf("lot C4: a last run of %v m", r.To)
			}
		}
		if !told {
			t.Errorf("lot %s is not told of inlet %s: %+v", c.lot, c.other, plan.Remedies)
		}
	}
}

// A lot far from every inlet is told of the nearest, and of the way over its
// neighbours.
func TestPropertyFarLot(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	for _, lot := range []string{"A9", "D8", "D9"} {
		plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{lot}})
		if err != nil {
			t.Fatal(err)
		}
		if len(plan.Alternatives) == 0 || plan.Alternatives[0].Reason == "" || len(plan.Remedies) == 0 {
			t.Errorf("lot %s: alternatives %+v, remedies %+v", lot, plan.Alternatives, plan.Remedies)
		}
	}
}
