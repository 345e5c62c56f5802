package main

// Hostile input through the command: what the service refuses the command
// refuses, by the same rule, in bounded time and memory; and what is text stays
// text in what it writes.

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Every file of the hostile set ends the command with bad usage or bad input
// and a line that says why, or is taken; never with a fault of ours.
func TestHostileThroughTheCommand(t *testing.T) {
	dir := sharedData()
	if dir == "" {
		t.Skip("the hostile files are not beside the checkout; package document has its own")
	}
	raw, err := os.ReadFile(filepath.Join(dir, "hostile", "index.json"))
	if err != nil {
		t.Skip("no index of hostile files beside the checkout")
	}
	var index []struct {
		File   string
		Expect struct{ Type any }
	}
	if err := json.Unmarshal(raw, &index); err != nil {
		t.Fatal(err)
	}
	good := sample(t)
	for _, c := range index {
		path := filepath.Join(dir, "hostile", c.File)
		args := []string{"zone", path}
		switch filepath.Ext(c.File) {
		case ".zip", ".gpkg", ".gz", ".xml":
			args = []string{"import", path, "--store", filepath.Join(t.TempDir(), "s.gpkg"), "--site", "hostile", "--layer", "parcels"}
		case ".tif":
			args = []string{"plan", good, path, "--lot", "B4"}
		}
		if strings.HasPrefix(c.File, "24-") || strings.HasPrefix(c.File, "26-") {
			continue // these need the crs of a request
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		started := time.Now()
		code, out, errs := call(t, "", args...)
		took := time.Since(started)
		runtime.ReadMemStats(&after)
		if took > 30*time.Second {
			t.Errorf("%s: %v", c.File, took)
		}
		if grown := int64(after.Sys) - int64(before.Sys); grown > 512<<20 {
			t.Errorf("%s: memory grew by %d MB", c.File, grown>>20)
		}
		taken := c.Expect.Type == nil
		switch c.File[:3] {
		case "15-", // limits on size are the service's
			"37-", // a trigger may be passed over
			"39-": // an import goes on without a refused feature, and tells it
			taken = true
		}
		if strings.HasPrefix(c.File, "39-") && !strings.Contains(out+errs, "more than 8 deep") {
			t.Errorf("%s: the refused feature is not told: %.300s", c.File, out+errs)
		}
		if code == exitInput && strings.TrimSpace(errs) == "" {
			t.Errorf("%s: refused without a word", c.File)
		}
		if code != exitInput && !(taken && (code == exitDone || code == exitStop)) {
			t.Errorf("%s: exit %d, want it %s: %.300s", c.File, code, map[bool]string{true: "taken or refused", false: "refused"}[taken], errs)
		}
		if strings.Contains(errs, "goroutine ") || strings.Contains(errs, "\x1b") {
			t.Errorf("%s: a trace or a control character in %.300q", c.File, errs)
		}
		if testing.Verbose() {
			t.Logf("%-40s exit %d in %v: %.120s", c.File, code, took.Round(time.Millisecond), strings.SplitN(errs, "\n", 2)[0])
		}
	}
}

// formulas are names that a spreadsheet would run.
var formulas = []string{`=1+1`, `+1`, `-1`, `@SUM(A1)`, "\t=1+1", "\r=1+1", ` =cmd|' /C calc'!A0`, `=HYPERLINK("http://x.example","y")`}

// No cell of a table that is written is a formula, whatever a lot is called.
func TestHandNoFormulaInTables(t *testing.T) {
	var fs []any
	for i, n := range formulas {
		x := float64(i) * 0.001
		fs = append(fs, map[string]any{"type": "Feature", "properties": map[string]any{"lot": n}, "geometry": map[string]any{"type": "Polygon",
			"coordinates": [][][]float64{{{x, 40}, {x + 0.0004, 40}, {x + 0.0004, 40.0004}, {x, 40.0004}, {x, 40}}}}})
	}
	site, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": fs})
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "audit.csv")
	if code, _, errs := call(t, string(site), "audit", "-", "--out", out); code != exitDone && code != exitStop {
		t.Fatalf("exit %d: %s", code, errs)
	}
	f, err := os.Open(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+len(formulas) {
		t.Fatalf("%d rows for %d lots", len(rows), len(formulas))
	}
	for _, r := range rows {
		if _, err := strconv.ParseFloat(r[0], 64); err == nil {
			continue // a plain number runs nothing
		}
		if s := strings.TrimSpace(r[0]); strings.ContainsAny(s[:1], "=+-@") || strings.ContainsAny(r[0], "\t\r\n") {
			t.Errorf("the cell %q would be run", r[0])
		}
	}
}

// A document of many faults tells the first fifty and how many there are more.
func TestHandManyFaults(t *testing.T) {
	spots := make([]string, 80)
	for i := range spots {
		spots[i] = `{"type":"Feature","properties":{"elevation_m":1},"geometry":{"type":"Point","coordinates":["x",36.1]}}`
	}
	text := `{"layers":{"parcels":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"lot":"L"},"geometry":{"type":"Polygon","coordinates":[[[-86.9,36.1],[-86.899,36.1],[-86.899,36.101],[-86.9,36.1]]]}}]},"spots":{"type":"FeatureCollection","features":[` + strings.Join(spots, ",") + `]}}}`
	code, _, errs := call(t, text, "plan", "-")
	if n := strings.Count(errs, "\n"); code != exitInput || n != 51 || !strings.Contains(errs, "and 30 more faults") {
		t.Errorf("exit %d, %d lines: %.300s", code, n, errs)
	}
}
