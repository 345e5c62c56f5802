package verify_test

import (
	"context"
	"os"
	"testing"

	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
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
