package verify_test

// The storage run worked twice: by the planner with hydro/storage, a second at a
// time, and by the checker from the printed plan. And lies about it.

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// backedUp is the sample with the water in inlet I2 higher by so much and, where
// given, another limit of flow.
func backedUp(t testing.TB, higher, limit float64, byYears bool) *parcels.Site {
	t.Helper()
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	for _, f := range doc["layers"].(map[string]any)["inlets"].(map[string]any)["features"].([]any) {
		p := f.(map[string]any)["properties"].(map[string]any)
		if p["inlet"] != "I2" {
			continue
		}
		for _, r := range p["tailwater"].([]any) {
			r.([]any)[1] = r.([]any)[1].(float64) + higher
		}
		if limit > 0 {
			p["flow_limit_m3s"] = limit
		} else {
			delete(p, "flow_limit_m3s")
		}
		if byYears {
			p["tailwater"] = map[string]any{"10": p["tailwater"], "100": []any{[]any{0.0, 165.0}, []any{60.0, 165.5}}}
		}
	}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func planB1(t testing.TB, s *parcels.Site) ([]byte, parcels.Verification) {
	t.Helper()
	p := &planner.Planner{Verifier: verify.Checker{}}
	plan, body, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"B1"}, Quick: true})
	var refuted *planner.Refuted
	if errors.As(err, &refuted) {
		return refuted.Plan, refuted.Verification
	}
	if err != nil {
		t.Fatal(err)
	}
	return body, *plan.Verification
}

func rowOf(v parcels.Verification, name string) (parcels.Check, bool) {
	i := slices.IndexFunc(v.Checks, func(c parcels.Check) bool { return c.Check == name })
	if i < 0 {
		return parcels.Check{}, false
	}
	return v.Checks[i], true
}

// Both workings agree within the checker's tolerances from an inlet that stays
// low to one that stands over the rims of the lot, with and without a limit.
func TestOracleStorageAgain(t *testing.T) {
	seen := map[bool]int{}
	for _, c := range []struct {
		higher, limit float64
		byYears       bool
	}{{-1.2, 0.05, false}, {-0.4, 0, false}, {0, 0.05, true}, {0, 0, false}, {0.3, 0.01, false}, {0.7, 0.05, false}, {1.0, 0, false}, {1.4, 0.02, false}} {
		s := backedUp(t, c.higher, c.limit, c.byYears)
		body, v := planB1(t, s)
		k, ok := rowOf(v, "storage")
		if !ok || !k.Passed || !v.Passed {
			t.Errorf("%+v: %+v", c, k)
			for _, x := range v.Checks {
				if !x.Passed {
					t.Logf("    %s %s %s", x.Check, x.Where, x.Detail)
				}
			}
			continue
		}
		var p struct {
			Storage struct {
				Without struct {
					Overflow float64 `json:"overflow_m3"`
					Minutes  float64 `json:"minutes_above_outlet"`
				} `json:"without_valve"`
			}
		}
		if err := json.Unmarshal(body, &p); err != nil {
			t.Fatal(err)
		}
		seen[p.Storage.Without.Overflow > 0.01]++
		t.Logf("%+v: line full %.1f min, %.2f m3 come out; highest level within %.1f mm (%s)", c, p.Storage.Without.Minutes, p.Storage.Without.Overflow, 1000**k.Worst, k.Where)
	}
	if seen[true] == 0 || seen[false] == 0 {
		t.Errorf("overflow and none must both be tried: %v", seen)
	}
}

// Two lots into one inlet that backs up: each drain has its own storage run, and
// the checker works both.
func TestHandStorageOfEachLot(t *testing.T) {
	s := backedUp(t, 0.3, 0, false)
	p := &planner.Planner{Verifier: verify.Checker{}}
	plan, body, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"B1", "C1"}, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	runs := plan.Backed()
	if len(runs) != 2 || runs[0].Lots[0] != "B1" || runs[1].Lots[0] != "C1" || runs[0].Run == runs[1].Run || runs[1].Without.VoidVolume <= 0 {
		t.Fatalf("%d storage runs", len(runs))
	}
	for name, lie := range map[string]func(p map[string]any){
		"the second lot's left out": func(p map[string]any) { delete(p, "more_storage") },
		"the first lot's twice":     func(p map[string]any) { p["more_storage"] = []any{p["storage"]} },
		"of the other lot":          func(p map[string]any) { p["more_storage"].([]any)[0].(map[string]any)["lots"] = []any{"B1"} },
		"the first lot's figures": func(p map[string]any) {
			p["more_storage"].([]any)[0].(map[string]any)["without_valve"] = p["storage"].(map[string]any)["without_valve"]
		},
	} {
		var doc map[string]any
		if err := json.Unmarshal(body, &doc); err != nil {
			t.Fatal(err)
		}
		lie(doc)
		text, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		v, err := verify.Checker{}.Verify(s.Document, s.Criteria, text)
		if err != nil {
			t.Fatal(err)
		}
		if k, ok := rowOf(v, "storage"); !ok || k.Passed {
			t.Errorf("%s: not caught (%+v)", name, k)
		}
	}
}

// Each lie about the storage run is caught by the check of that name.
func TestHandStorageLies(t *testing.T) {
	s := backedUp(t, 1.0, 0.05, false)
	body, v := planB1(t, s)
	if !v.Passed {
		t.Fatal("the plan itself does not pass")
	}
	type obj = map[string]any
	state := func(p obj, key string) obj { return p["storage"].(obj)[key].(obj) }
	times := func(key, what string, by, plus float64) func(obj) {
		return func(p obj) {
			if v, ok := state(p, key)[what].(float64); ok {
				state(p, key)[what] = v*by + plus
			} else {
				state(p, key)[what] = plus
			}
		}
	}
	lies := map[string]func(obj){
		"no storage run":        func(p obj) { p["storage"] = nil },
		"of another run":        func(p obj) { p["storage"].(obj)["run"] = "R1" },
		"of another outlet":     func(p obj) { p["storage"].(obj)["outlet"] = "I1" },
		"two pipes for one":     func(p obj) { p["storage"].(obj)["pipe_count"] = 2.0 },
		"no state with a valve": func(p obj) { p["storage"].(obj)["with_valve"] = nil },
		"states exchanged": func(p obj) {
			q := p["storage"].(obj)
			q["with_valve"], q["without_valve"] = q["without_valve"], q["with_valve"]
		},
		"voids doubled": times("without_valve", "void_volume_m3", 2, 0),
		"all voids of use": func(p obj) {
			state(p, "without_valve")["usable_volume_m3"] = state(p, "without_valve")["void_volume_m3"]
		},
		"nothing from the sewer": times("without_valve", "filled_from_sewer_m3", 0, 0),
		"sewer through a valve":  times("with_valve", "filled_from_sewer_m3", 1, 0.2),
		"peak 30 mm lower":       times("without_valve", "peak_level_m", 1, -0.03),
		"peak 30 mm higher":      times("with_valve", "peak_level_m", 1, 0.03),
		"a third of the minutes": times("without_valve", "minutes_above_outlet", 0.33, 0),
		"nothing comes out":      func(p obj) { q := state(p, "without_valve"); q["overflow_m3"], q["first_to_spill"] = 0.0, nil },
		"half of it comes out":   times("without_valve", "overflow_m3", 0.5, 0),
		"out at another basin":   func(p obj) { state(p, "without_valve")["first_to_spill"] = "B1-DS9" },
		"empty in no time":       times("without_valve", "empty_after_h", 0, 0.01),
		"empty when it is not":   func(p obj) { state(p, "with_valve")["empty_after_h"] = 0.2 },
		"a series cut short":     func(p obj) { q := state(p, "without_valve"); q["series"] = q["series"].([]any)[:20] },
		"levels of the series": func(p obj) {
			for _, r := range state(p, "without_valve")["series"].([]any) {
				r.([]any)[1] = r.([]any)[1].(float64) - 0.05
			}
		},
		"inflow of the series": func(p obj) {
			for _, r := range state(p, "without_valve")["series"].([]any) {
				r.([]any)[2] = r.([]any)[2].(float64) * 0.8
			}
		},
		"stored in the series": func(p obj) {
			for _, r := range state(p, "without_valve")["series"].([]any) {
				r.([]any)[3] = r.([]any)[3].(float64) * 1.3
			}
		},
		"two pipes hold less": func(p obj) {
			q := p["storage"].(obj)["other_pipe_count"].(obj)["without_valve"].(obj)
			q["void_volume_m3"] = 0.1
		},
		"the same count again": func(p obj) { q := p["storage"].(obj); q["other_pipe_count"].(obj)["pipe_count"] = q["pipe_count"] },
	}
	for name, lie := range lies {
		var p obj
		if err := json.Unmarshal(body, &p); err != nil {
			t.Fatal(err)
		}
		lie(p)
		text, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		v, err := verify.Checker{}.Verify(s.Document, s.Criteria, text)
		if err != nil {
			t.Fatal(err)
		}
		if k, ok := rowOf(v, "storage"); !ok || k.Passed || k.Where == "" || k.Detail == "" {
			t.Errorf("%s: not caught by storage (%+v)", name, k)
		}
	}
	t.Logf("%d lies", len(lies))
}

// What working the storage run again costs a check of a plan, beside the same
// plan without a backed-up inlet.
func BenchmarkStorageAgain(b *testing.B) {
	s := backedUp(b, 0, 0.05, false)
	body, _ := planB1(b, s)
	none := []byte(strings.Replace(string(s.Document), `"tailwater"`, `"tailwater_left_out"`, 1))
	var p map[string]any
	if err := json.Unmarshal(body, &p); err != nil {
		b.Fatal(err)
	}
	p["storage"] = nil
	without, err := json.Marshal(p)
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		doc, plan []byte
	}{{"with", s.Document, body}, {"without", none, without}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := (verify.Checker{}).Verify(c.doc, s.Criteria, c.plan); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
