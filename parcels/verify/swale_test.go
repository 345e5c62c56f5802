package verify_test

import (
	"context"
	"os"
	"testing"

	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// A drain that comes out in a swale (testdata/swale.json, invented), then told
// with one thing changed: each lie is caught by the check named.
func TestHandSwaleLies(t *testing.T) {
	doc, err := os.ReadFile("testdata/swale.json")
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(doc, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	_, body, err := p.Plan(context.Background(), s, planner.Options{Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	type obj = map[string]any
	swale := func(site obj) obj {
		return site["layers"].(obj)["swales"].(obj)["features"].([]any)[0].(obj)
	}
	without := func(plan obj, code string) {
		var keep []any
		for _, f := range plan["findings"].([]any) {
			if f.(obj)["code"] != code {
				keep = append(keep, f)
			}
		}
		if len(keep) == len(plan["findings"].([]any)) {
			t.Fatalf("no finding %s", code)
		}
		plan["findings"] = keep
	}
	for _, l := range []struct {
		name, check string
		tell        func(site, plan obj)
	}{
		{"a swale that may take no water", "places", func(site, _ obj) { swale(site)["properties"].(obj)["may_discharge"] = false }},
		{"a bed above the pipe", "arrival", func(site, _ obj) {
			for _, q := range swale(site)["geometry"].(obj)["coordinates"].([]any) {
				q.([]any)[2] = q.([]any)[2].(float64) + 0.3
			}
		}},
		{"the thin cover not told", "cover", func(_, plan obj) { without(plan, "thin_cover_at_end") }},
		{"the thin cover told of another run", "cover", func(_, plan obj) {
			for _, f := range plan["findings"].([]any) {
				if f := f.(obj); f["code"] == "thin_cover_at_end" {
					f["feature"] = "R0"
				}
			}
		}},
		{"true", "", func(_, _ obj) {}},
	} {
		t.Run(l.name, func(t *testing.T) { lieIsCaught(t, doc, s.Criteria, body, l.tell, l.check) })
	}
}

// Lots beside one swale, each with a drain of its own: each comes to it at its own
// place, and what would mend one of them says nothing of the other.
func TestHandLotsOfOneSwale(t *testing.T) {
	doc := sampledata.StatePlane()
	s, err := document.Read(doc, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, body, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"A4", "A5"}})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Point("A4/S4") == nil || plan.Point("A5/S4") == nil || plan.Summary.Outlet != "S4" || len(plan.Remedies) == 0 {
		t.Fatalf("outlet %q, %d remedies", plan.Summary.Outlet, len(plan.Remedies))
	}
	for i := range plan.Remedies {
		if r := &plan.Remedies[i]; r.Lot != "A4" && r.Lot != "A5" {
			t.Errorf("remedy %s is of lot %q", r.Kind, r.Lot)
		}
	}
	// remedy is the one of a kind and a lot
	remedy := func(plan obj, kind, lot string) obj {
		for _, r := range plan["remedies"].([]any) {
			if r := r.(obj); r["remedy"] == kind && r["lot"] == lot {
				return r
			}
		}
		t.Fatalf("no remedy %s of lot %s", kind, lot)
		return nil
	}
	for _, l := range []struct {
		name, check string
		tell        func(site, plan obj)
	}{
		{"an end at another swale", "outlet", func(_, plan obj) {
			for _, list := range []any{plan["network"].(obj)["features"], plan["profiles"]} {
				for _, x := range list.([]any) {
					x := x.(obj)
					if p, ok := x["properties"]; ok {
						if x["id"] == "A5/S4" {
							x["id"] = "A5/S1"
						}
						x = p.(obj)
					}
					for _, member := range []string{"point", "to"} {
						if x[member] == "A5/S4" {
							x[member] = "A5/S1"
						}
					}
				}
			}
		}},
		{"a bed as one lot needs it told of the other", "remedies", func(_, plan obj) { remedy(plan, "regrade_swale", "A5")["lot"] = "A4" }},
		{"a remedy of no lot of the plan", "remedies", func(_, plan obj) { remedy(plan, "pump", "A5")["lot"] = "A6" }},
		{"an outlet tried for no lot of the plan", "summary", func(_, plan obj) { plan["alternatives"].([]any)[0].(obj)["lot"] = "A6" }},
		{"true", "", func(_, _ obj) {}},
	} {
		t.Run(l.name, func(t *testing.T) { lieIsCaught(t, doc, s.Criteria, body, l.tell, l.check) })
	}
}
