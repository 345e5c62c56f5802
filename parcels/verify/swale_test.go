package verify_test

import (
	"context"
	"encoding/json"
	"os"
	"strings"
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
		t.Run(l.name, func(t *testing.T) {
			var site, plan obj
			if json.Unmarshal(doc, &site) != nil || json.Unmarshal(body, &plan) != nil {
				t.Fatal("no JSON")
			}
			l.tell(site, plan)
			a, _ := json.Marshal(site)
			b, _ := json.Marshal(plan)
			v, err := verify.Checker{}.Verify(a, s.Criteria, b)
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
			if l.check == "" && len(failed) > 0 || l.check != "" && !strings.Contains("\n"+all, "\n"+l.check+": ") {
				t.Errorf("want %q, failed were:\n%s", l.check, all)
			}
		})
	}
}
