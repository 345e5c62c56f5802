package planner_test

import (
	"context"
	"math"
	"os"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// An easement in the shape of a Y (testdata/wye.json, invented): two arms 6 m wide that
// meet square at (0, 0), three lots at the outer side of each, and a stem of 38 m south
// to the inlet. By hand: a trunk down each arm, at most 68 m from its uppermost
// downspout to where they meet, one down the stem, 38 m, and 12 laterals of 3 to 4 m:
// some 217 m. The arms join in one wye by the fork, with the flow, each with the water
// of three lots, 240 m2 of roof; in the stem there is one trench.
func TestHandWye(t *testing.T) {
	doc, err := os.ReadFile("testdata/wye.json")
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(doc, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Shared: true, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Summary.Verdict != parcels.Feasible {
		t.Fatal(plan.Summary.Verdict, plan.Summary.WhyNot)
	}
	if l := float64(plan.Summary.TrenchLength); l < 205 || l > 230 {
		t.Errorf("%.1f m of trench, by hand 217", l)
	}
	place := func(i, k int) (x, y float64) {
		d := s.Frame.Document(plan.Runs[i].Line[k])
		return d[0] - 500000, d[1] - 5000000
	}
	arms := map[string][]int{} // by where it ends: runs with the water of one arm
	stem := 0
	for i := range plan.Runs {
		r := &plan.Runs[i]
		_, y0 := place(i, 0)
		x1, y1 := place(i, 1)
		if len(r.Shares) > 1 && y1 > y0 {
			t.Errorf("trunk run %s goes up the easement", r.ID)
		}
		if y0 > -20 && y1 <= -20 {
			stem++
			if math.Abs(x1) > 1 || math.Abs(float64(r.Area)-480) > 0.01 {
				t.Errorf("%s in the stem at x = %.2f has the water of %.1f m2", r.ID, x1, float64(r.Area))
			}
		}
		if math.Abs(float64(r.Area)-240) < 0.01 {
			arms[r.To] = append(arms[r.To], i)
		}
	}
	if stem != 1 {
		t.Errorf("%d trenches in the stem", stem)
	}
	forks := 0
	for id, in := range arms {
		if len(in) < 2 {
			continue
		}
		forks++
		if x, y := place(in[0], 1); plan.Point(id).Kind != parcels.PointWye || math.Abs(x) > 3 || math.Abs(y) > 8 {
			t.Errorf("the arms join in a %s at (%.2f, %.2f)", plan.Point(id).Kind, x, y)
		}
	}
	if forks != 1 {
		t.Errorf("the arms join at %d places", forks)
	}
}
