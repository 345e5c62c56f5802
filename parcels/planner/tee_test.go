package planner_test

import (
	"context"
	"encoding/json"
	"os"
	"slices"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// An easement in the shape of a T (testdata/tee.json, invented): a branch 6 m wide from
// the north between six lots, a strip 13 m wide along the south, most of it on ground of
// no lot, with two lots beyond; the inlet stands at the strip's east end. By hand: the
// trunk comes down the branch, 82 m, and along the south edge of the strip, 73 m, past
// the downspouts of lots 7 and 8; six lots have 13 m along the house and 20 m to the
// trunk, two 9 m to it from each of two downspouts: 155 + 198 + 36 m and the first runs
// make 405 m. Nobody's water comes into the north half of the strip but by the branch,
// and there is no trench in it.
func TestHandTee(t *testing.T) {
	doc, err := os.ReadFile("testdata/tee.json")
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(doc, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, body, err := p.Plan(context.Background(), s, planner.Options{Shared: true, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Summary.Verdict == parcels.NotFeasible {
		t.Fatal(plan.Summary.WhyNot)
	}
	if l := float64(plan.Summary.TrenchLength); l < 380 || l > 415 {
		t.Errorf("%.1f m of trench, by hand 405", l)
	}
	for i := range plan.Runs {
		r := &plan.Runs[i]
		for _, q := range r.Line {
			d := s.Frame.Document(q)
			x, y := d[0]-500000, d[1]-5000000
			if y > 1 && y < 9.5 && x < 69 && (x < 37 || x > 43) {
				t.Errorf("run %s comes by (%.1f, %.1f), where nothing is to be drained", r.ID, x, y)
			}
		}
	}
	// Without lots 7 and 8 the trunk goes from the branch straight to the inlet, over
	// ground of no lot.
	six, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"1", "2", "3", "4", "5", "6"}, Shared: true, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	if i := slices.IndexFunc(six.Runs, func(r parcels.Run) bool { return r.Lot == "" }); i < 0 || len(six.Runs[i].Easements) != 1 || six.Summary.Verdict == parcels.NotFeasible {
		t.Errorf("no run lies on the ground of no lot: %s", six.Summary.WhyNot)
	}
	// A run that lies on lots and names none is caught.
	var told map[string]any
	if err := json.Unmarshal(body, &told); err != nil {
		t.Fatal(err)
	}
	for _, f := range told["network"].(map[string]any)["features"].([]any) {
		if props := f.(map[string]any)["properties"].(map[string]any); props["easements"] != nil {
			delete(props, "lot")
			delete(props, "over_lots")
		}
	}
	text, err := json.Marshal(told)
	if err != nil {
		t.Fatal(err)
	}
	v, err := verify.Checker{}.Verify(s.Document, s.Criteria, text)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(v.Checks, func(c parcels.Check) bool { return c.Check == "easement_run" && !c.Passed }) {
		t.Error("the checker took runs that name no lot and lie on some")
	}
}
