package verify

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/parcels"
)

// FuzzPlan hands any bytes as the plan of a right site: never a panic, and what
// passes is a plan, with all its cautions, that other readers of JSON read the
// same way.
func FuzzPlan(f *testing.F) {
	fx := feet(&testing.T{})
	site, plan := fx.bytes()
	f.Add(string(plan))
	f.Add("{}")
	f.Add(`{"status":"preliminary","frame":{"crs":"EPSG:2274","metres_per_unit":0.3048006096012192},"summary":{"verdict":"not_feasible","lots":["1"],"length_m":0,"trench_length_m":0},"network":{"type":"FeatureCollection","features":[]}}`)
	c := parcels.DefaultCriteria()
	f.Fuzz(func(t *testing.T, s string) {
		v, err := Checker{}.Verify(site, c, []byte(s))
		if err != nil {
			return
		}
		if len(v.Checks) == 0 {
			t.Fatal("judged, and no row")
		}
		if v.Passed {
			passes(t, s)
		}
	})
}

// passes holds what no plan may pass without.
func passes(t *testing.T, s string) {
	var p parcels.Plan
	if err := json.Unmarshal([]byte(strings.TrimPrefix(s, "\ufeff")), &p); err != nil {
		t.Fatalf("passed, and is no plan: %v", err)
	}
	if p.Status != parcels.Preliminary || len(p.Cautions) < len(parcels.Cautions) {
		t.Fatal("passed without status or cautions")
	}
	if p.Summary.Verdict == parcels.Feasible && len(p.Profiles) == 0 {
		t.Fatal("passed as feasible without a profile")
	}
	for _, f := range p.Findings {
		if f.Severity == parcels.Stop && p.Summary.Verdict != parcels.NotFeasible {
			t.Fatal("passed with a stop")
		}
	}
}

// FuzzSite hands any bytes as the site of a right plan.
func FuzzSite(f *testing.F) {
	fx := feet(&testing.T{})
	site, plan := fx.bytes()
	f.Add(string(site))
	f.Add("{}")
	c := parcels.DefaultCriteria()
	f.Fuzz(func(t *testing.T, s string) {
		v, err := Checker{}.Verify([]byte(s), c, plan)
		if err == nil && v.Passed {
			passes(t, string(plan))
		}
	})
}

// FuzzBoth changes one number of both documents at a place: the position in the
// text of each is the fuzzer's.
func FuzzBoth(f *testing.F) {
	fx := degrees(&testing.T{})
	site, plan := fx.bytes()
	f.Add(10, 20, "1", "2")
	f.Add(900, 2000, "1e300", "-0")
	c := parcels.DefaultCriteria()
	f.Fuzz(func(t *testing.T, i, k int, a, b string) {
		put := func(s []byte, at int, with string) string {
			if at < 0 || at+len(with) > len(s) {
				return string(s)
			}
			return string(s[:at]) + with + string(s[at+len(with):])
		}
		p := put(plan, k, b)
		if v, err := (Checker{}).Verify([]byte(put(site, i, a)), c, []byte(p)); err == nil && v.Passed {
			passes(t, p)
		}
	})
}

// FuzzJSON: what the reader takes, the standard library takes too, and reads
// the same values.
func FuzzJSON(f *testing.F) {
	for _, s := range []string{`{"a":[1,2.5e3,null,true,"é\n😀"]}`, `[`, `{"a":1,"a":2}`, `1e400`, `"\ud800"`, "\ufeff[]", `[[[[]]]]`, `-0`, `01`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := readJSON([]byte(s))
		if err != nil {
			return
		}
		s = strings.TrimPrefix(s, "\ufeff")
		var want any
		if e := json.Unmarshal([]byte(s), &want); e != nil {
			t.Fatalf("taken, and the standard library says %v", e)
		}
		if !same(v, want) {
			t.Fatalf("read as %v, the standard library reads %v", v, want)
		}
	})
}

func same(v val, want any) bool {
	switch w := want.(type) {
	case nil:
		return v.k == null
	case bool:
		return v.k == boolean && (v.n == 1) == w
	case float64:
		return v.k == number && v.n == w
	case string:
		return v.k == text && v.s == w
	case []any:
		if v.k != list || len(v.a) != len(w) {
			return false
		}
		for i := range w {
			if !same(v.a[i], w[i]) {
				return false
			}
		}
		return true
	case map[string]any:
		if v.k != object || len(v.ms) != len(w) {
			return false
		}
		for k, x := range w {
			if !v.has(k) || !same(v.get(k), x) {
				return false
			}
		}
		return true
	}
	return false
}

// The corpora are kept small and are run by the ordinary tests.
func TestCorpusIsThere(t *testing.T) {
	for _, n := range []string{"FuzzPlan", "FuzzSite", "FuzzBoth", "FuzzJSON"} {
		if fs, _ := filepath.Glob(filepath.Join("testdata", "fuzz", n, "*")); len(fs) == 0 {
			t.Errorf("no corpus of %s", n)
		}
	}
}
