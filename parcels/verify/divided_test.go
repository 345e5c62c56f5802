package verify_test

import (
	"context"
	"testing"

	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// Three lots of the sample divided between two inlets, and two lots with a drain
// each to one, told with one thing changed: each lie is caught by the check named.
func TestHandDividedLies(t *testing.T) {
	doc := sampledata.StatePlane()
	s, err := document.Read(doc, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	bodies := map[bool][]byte{}
	for shared, lots := range map[bool][]string{true: {"B1", "B2", "B3"}, false: {"B1", "C1"}} {
		plan, body, err := p.Plan(context.Background(), s, planner.Options{Lots: lots, Shared: shared, Quick: true})
		if err != nil {
			t.Fatal(err)
		}
		if want := map[bool]string{true: "I2, I1", false: "I2"}[shared]; plan.Summary.Outlet != want {
			t.Fatalf("the lots %v drain to %s", lots, plan.Summary.Outlet)
		}
		bodies[shared] = body
	}
	type obj = map[string]any
	share := func(plan obj, lot string) obj {
		for _, x := range plan["shares"].([]any) {
			if x.(obj)["lot"] == lot {
				return x.(obj)
			}
		}
		t.Fatal("no share of lot " + lot)
		return nil
	}
	for _, l := range []struct {
		name, check string
		shared      bool
		tell        func(site, plan obj)
	}{
		{"a lot on the other trunk", "trunks_apart", true, func(_, plan obj) { share(plan, "B3")["outlet"] = "I2" }},
		{"a lot on none", "trunks_apart", true, func(_, plan obj) { delete(share(plan, "B3"), "outlet") }},
		{"a trench into the other trunk's", "trunks_apart", true, func(_, plan obj) {
			for _, x := range plan["trenches"].([]any) {
				x.(obj)["width_m"] = 40.0
			}
		}},
		{"a backed-up drain of other lots", "storage", true, func(_, plan obj) { plan["storage"].(obj)["lots"] = []any{"B1", "B2", "B3"} }},
		{"part of the trunk for the whole", "cost_shares", true, func(_, plan obj) { share(plan, "B3")["share"] = 1.0 }},
		{"a basin that runs over at the other inlet", "water_levels", true, func(_, plan obj) {
			for _, f := range plan["findings"].([]any) {
				if f.(obj)["code"] == "runs_over" {
					f.(obj)["feature"] = "I1"
				}
			}
		}},
		{"two drains over the limit of one inlet", "outlet", false, func(site, _ obj) {
			for _, f := range site["layers"].(obj)["inlets"].(obj)["features"].([]any) {
				if q := f.(obj)["properties"].(obj); q["inlet"] == "I2" {
					q["flow_limit_m3s"] = 0.015
				}
			}
		}},
		{"true", "", true, func(_, _ obj) {}},
		{"true of two", "", false, func(_, _ obj) {}},
	} {
		t.Run(l.name, func(t *testing.T) { lieIsCaught(t, doc, s.Criteria, bodies[l.shared], l.tell, l.check) })
	}
}
