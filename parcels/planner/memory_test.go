package planner_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"sync"
	"testing"

	"fallwright/parcels/answer"
	"fallwright/parcels/document"
	"fallwright/parcels/memory"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// moved is the sample with something of a layer moved or changed: what a
// designer sends while he drags.
func moved(t *testing.T, layer string, change func(feature map[string]any)) []byte {
	t.Helper()
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	for _, f := range doc["layers"].(map[string]any)[layer].(map[string]any)["features"].([]any) {
		change(f.(map[string]any))
	}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// Documents that differ in one thing each, planned and checked with a memory that
// has seen all of them, give the bytes that they give without one: nothing is
// taken for another's. By several goroutines at once (go test -race).
func TestPropertyMemoryChangesNothing(t *testing.T) {
	docs := [][]byte{sampledata.StatePlane()}
	for _, c := range []struct {
		layer string
		do    func(f map[string]any)
	}{
		{"intakes", func(f map[string]any) { // of the lot that is planned, half a foot east
			p := f["properties"].(map[string]any)
			if at := f["geometry"].(map[string]any)["coordinates"].([]any); p["lot"] == sampledata.Sample && p["kind"] != "downspout" {
				at[0] = at[0].(float64) + 0.5
			}
		}},
		{"spots", func(f map[string]any) { // one place in seven a quarter inch higher
			at := f["geometry"].(map[string]any)["coordinates"].([]any)
			if int(at[0].(float64))%7 == 0 {
				at[2] = at[2].(float64) + 0.02
			}
		}},
		{"parcels", func(f map[string]any) { f["properties"].(map[string]any)["clearance_m"] = 0.7 }},
		{"inlets", func(f map[string]any) {
			p := f["properties"].(map[string]any)
			if rim, ok := p["rim_ft"].(float64); ok {
				p["rim_ft"] = rim + 0.3
			}
		}},
		{"buildings", func(f map[string]any) { f["properties"].(map[string]any)["outline"] = "roof" }},
	} {
		docs = append(docs, moved(t, c.layer, c.do))
	}
	ctx := context.Background()
	answers := func(p planner.Planner, doc []byte, o document.Options, quick bool) string {
		s, err := document.Read(doc, o)
		if err != nil {
			return err.Error()
		}
		_, body, err := p.Plan(ctx, s, planner.Options{Lots: []string{sampledata.Sample}, Quick: quick})
		if err != nil {
			return err.Error()
		}
		c, err := answer.Checks(ctx, s, answer.Options{Memory: p.Memory})
		if err != nil {
			return err.Error()
		}
		z, err := answer.Zones(ctx, s, answer.Options{Lots: []string{sampledata.Sample}, Memory: p.Memory})
		if err != nil {
			return err.Error()
		}
		return string(body) + string(c.Body) + string(z.Body)
	}
	plain := planner.Planner{Verifier: verify.Checker{}}
	type ask struct {
		doc   int
		quick bool
	}
	want := map[ask]string{}
	different := map[string]bool{}
	for i := range docs {
		for _, quick := range []bool{true, false} {
			if !quick && i > 2 && testing.Short() {
				continue
			}
			want[ask{i, quick}] = answers(plain, docs[i], document.Options{}, quick)
			if w := want[ask{i, quick}]; w[0] != '{' {
				t.Fatalf("document %d: %s", i, w)
			}
			different[want[ask{i, quick}]] = true
		}
	}
	// a change may miss the quick plan of the lot
	if len(different) < len(want)-2 {
		t.Errorf("%d different answers to %d questions: the test tells nothing apart", len(different), len(want))
	}
	m := memory.New(64 << 20)
	held := planner.Planner{Verifier: verify.Checker{Kept: verify.Keep(4 << 20)}, Memory: m}
	var wg sync.WaitGroup
	for g := range 3 {
		wg.Go(func() {
			for k := range 2 * len(docs) {
				i := (k + g) % len(docs)
				for _, quick := range []bool{true, false} {
					w, ok := want[ask{i, quick}]
					if !ok || !quick && k >= len(docs) {
						continue
					}
					if got := answers(held, bytes.Clone(docs[i]), document.Options{Memory: m}, quick); got != w {
						t.Errorf("document %d, quick %v: another answer with a memory: %s", i, quick, differs(got, w))
					}
				}
			}
		})
	}
	wg.Wait()
	if _, hits, _ := m.Held(); hits == 0 {
		t.Error("nothing was found in memory")
	}
}

func differs(a, b string) string {
	i := 0
	for i < min(len(a), len(b)) && a[i] == b[i] {
		i++
	}
	cut := func(s string) string { return s[max(0, i-60):min(len(s), i+60)] }
	return fmt.Sprintf("at byte %d: %q against %q", i, cut(a), cut(b))
}

// A faulty document is told all its faults each time, whatever is in memory.
func TestPropertyMemoryTellsFaults(t *testing.T) {
	m := memory.New(16 << 20)
	bad := moved(t, "inlets", func(f map[string]any) { f["properties"].(map[string]any)["system"] = "no such" })
	_, want := document.Read(bad, document.Options{})
	if want == nil {
		t.Fatal("the document was to be faulty")
	}
	for range 3 {
		if _, err := document.Read(sampledata.StatePlane(), document.Options{Memory: m}); err != nil {
			t.Fatal(err)
		}
		if _, err := document.Read(bad, document.Options{Memory: m}); err == nil || err.Error() != want.Error() {
			t.Errorf("%v, without a memory %v", err, want)
		}
	}
}
