package verify_test

import (
	"context"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// Two lots on one trunk in a rear easement (testdata/two_lots.json, invented),
// planned, then told with one thing changed: each lie is caught by the check
// named.
func TestHandSharedLies(t *testing.T) {
	doc, err := os.ReadFile("testdata/two_lots.json")
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(doc, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	_, body, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"1", "2"}, Shared: true, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	type obj = map[string]any
	runs := func(plan obj, do func(p obj)) {
		for _, f := range plan["network"].(obj)["features"].([]any) {
			if q := f.(obj)["properties"].(obj); q["run"] != nil {
				do(q)
			}
		}
	}
	crossing := func(plan obj, do func(p obj)) {
		n := 0
		runs(plan, func(p obj) {
			if p["over_lots"] != nil {
				n++
				do(p)
			}
		})
		if n == 0 {
			t.Fatal("no run lies over another lot")
		}
	}
	easement := func(site obj) obj {
		return site["layers"].(obj)["easements"].(obj)["features"].([]any)[0].(obj)
	}
	share := func(plan obj, i int) obj { return plan["shares"].([]any)[i].(obj) }
	for _, l := range []struct {
		name, check string
		tell        func(site, plan obj)
	}{
		{"over the line by no right", "inside_lot", func(_, plan obj) {
			crossing(plan, func(p obj) { delete(p, "easements"); delete(p, "over_lots") })
		}},
		{"an easement that is not there", "easement_run", func(_, plan obj) { crossing(plan, func(p obj) { p["easements"] = []any{"X"} }) }},
		{"a trench forbidden in the easement", "easement_run", func(site, _ obj) { easement(site)["properties"].(obj)["trench"] = "forbidden" }},
		{"an easement of a metre", "easement_run", func(site, _ obj) {
			ring := easement(site)["geometry"].(obj)["coordinates"].([]any)[0].([]any)
			for _, q := range ring {
				if c := q.([]any); c[1].(float64) > 5000000 {
					c[1] = 5000001.0
				}
			}
		}},
		{"a lot not named", "easement_run", func(_, plan obj) { crossing(plan, func(p obj) { delete(p, "over_lots") }) }},
		{"a lot named that is not under it", "easement_run", func(_, plan obj) {
			crossing(plan, func(p obj) { p["lot"], p["over_lots"] = "2", []any{"1", "9"} })
			runs(plan, func(p obj) {
				if p["to"] == "I" {
					p["easements"], p["over_lots"] = []any{"E"}, []any{"2"}
				}
			})
		}},
		{"an easement's run that nobody shares", "easement_run", func(_, plan obj) { delete(plan, "shares") }},
		{"an unfair share", "cost_shares", func(_, plan obj) {
			runs(plan, func(p obj) {
				if p["to"] == "I" {
					p["shares"] = obj{"1": 0.5, "2": 0.5}
				}
			})
		}},
		{"shares of more than all", "cost_shares", func(_, plan obj) {
			runs(plan, func(p obj) {
				if p["to"] == "I" {
					p["shares"] = obj{"1": 0.25, "2": 0.85}
				}
			})
		}},
		{"a lot pays for the other", "cost_shares", func(_, plan obj) {
			a, b := share(plan, 0), share(plan, 1)
			a["cost_index"], b["cost_index"] = a["cost_index"].(float64)+5, b["cost_index"].(float64)-5
		}},
		{"the parts are not the whole", "cost_shares", func(_, plan obj) {
			share(plan, 0)["cost_index"] = share(plan, 0)["cost_index"].(float64) + 0.02
		}},
		{"a lot left out", "cost_shares", func(_, plan obj) { plan["shares"] = plan["shares"].([]any)[:1] }},
		{"a run for nothing", "cost_shares", func(_, plan obj) {
			runs(plan, func(p obj) {
				if p["to"] == "I" {
					p["cost_index"] = 0.1
				}
			})
		}},
		{"another part than the cost", "cost_shares", func(_, plan obj) { share(plan, 0)["share"] = 0.9 }},
		{"the neighbour not asked", "owner_permission", func(_, plan obj) {
			var keep []any
			for _, f := range plan["findings"].([]any) {
				if f.(obj)["code"] != "owner_permission" {
					keep = append(keep, f)
				}
			}
			plan["findings"] = keep
		}},
		{"true", "", func(_, _ obj) {}},
	} {
		t.Run(l.name, func(t *testing.T) { lieIsCaught(t, doc, s.Criteria, body, l.tell, l.check) })
	}
}

// lieIsCaught tells a site and its plan otherwise and asks that the check named
// fails; "": that none does.
func lieIsCaught(t *testing.T, doc []byte, criteria parcels.Criteria, body []byte, tell func(site, plan map[string]any), check string) {
	t.Helper()
	var site, plan map[string]any
	if json.Unmarshal(doc, &site) != nil || json.Unmarshal(body, &plan) != nil {
		t.Fatal("no JSON")
	}
	tell(site, plan)
	a, _ := json.Marshal(site)
	b, _ := json.Marshal(plan)
	v, err := verify.Checker{}.Verify(a, criteria, b)
	if err != nil {
		t.Fatal(err)
	}
	var failed []string
	for _, c := range v.Checks {
		if !c.Passed {
			failed = append(failed, c.Check+": "+c.Detail)
		}
	}
	all := strings.Join(failed, "\n")
	if check == "" && len(failed) > 0 || check != "" && !strings.Contains("\n"+all, "\n"+check+": ") {
		t.Errorf("want %q, failed were:\n%.900s", check, all)
	}
}
