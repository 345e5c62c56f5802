package api

// The worked examples of the document are what the program answers. After a
// change that is meant: go test ./api -run TestGoldenExamples -update

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"testing"

	"fallwright/parcels"
)

var update = flag.Bool("update", false, "write the worked examples anew")

// drawn is the example's site with a drain that lies 4 in over the east line.
func drawn(t *testing.T) []byte {
	var site map[string]any
	if err := json.Unmarshal(example(t, "site"), &site); err != nil {
		t.Fatal(err)
	}
	site["layers"].(map[string]any)["drains"] = map[string]any{"type": "FeatureCollection", "features": []any{map[string]any{"type": "Feature",
		"geometry":   map[string]any{"type": "LineString", "coordinates": [][]float64{{1740099.8333, 640020}, {1740099.8333, 640060}}},
		"properties": map[string]any{"drain": "N-1", "lot": "12", "status": "existing"}}}}
	b, err := json.Marshal(site)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestGoldenExamples(t *testing.T) {
	c := newClient(t, real)
	type told struct {
		Summary  parcels.Summary
		Rows     []parcels.AuditRow
		Features []struct {
			Properties struct {
				Lot     string
				Verdict parcels.Verdict
				Inside  bool
				Pieces  int
				Area    float64 `json:"area_m2"`
			}
		}
	}
	for _, name := range []string{"zone", "check", "plan", "audit"} {
		site := example(t, "site")
		if name == "check" {
			site = drawn(t)
		}
		res := c.do("POST /processes/"+name+"/execution", `{"inputs":{"site":`+string(site)+`}}`)
		c.want(res, 200, "")
		var got, want told
		var b bytes.Buffer
		_, _ = b.ReadFrom(res.Body)
		if *update {
			var out bytes.Buffer
			if err := json.Indent(&out, bytes.TrimSpace(b.Bytes()), "", " "); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile("../openapi/example/"+name+".json", append(out.Bytes(), '\n'), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if err := json.Unmarshal(b.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(example(t, name), &want); err != nil {
			t.Fatal(err)
		}
		if got.Summary.Verdict != want.Summary.Verdict || got.Summary.Outlet != want.Summary.Outlet || len(got.Rows) != len(want.Rows) || len(got.Features) != len(want.Features) {
			t.Errorf("%s: the example is no longer what is answered: %+v, example %+v", name, got.Summary, want.Summary)
		}
		for i := range min(len(got.Features), len(want.Features)) {
			a, b := got.Features[i].Properties, want.Features[i].Properties
			if a.Lot != b.Lot || a.Verdict != b.Verdict || a.Inside != b.Inside || a.Pieces != b.Pieces || a.Area-b.Area > 0.01 || b.Area-a.Area > 0.01 {
				t.Errorf("%s: %+v, example %+v", name, a, b)
			}
		}
	}
}
