package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/sampledata"
)

// From a site to what leaves the office, each by one command.
func TestHandStakeAndSheets(t *testing.T) {
	dir := t.TempDir()
	site, plan := filepath.Join(dir, "site.json"), filepath.Join(dir, "plan.json")
	if err := os.WriteFile(site, sampledata.LonLat(), 0o600); err != nil {
		t.Fatal(err)
	}
	do := func(args ...string) (int, string, string) { return call(t, "", args...) }
	if code, _, errs := do("plan", site, "--lot", "C3", "--out", plan); code != exitDone {
		t.Fatalf("plan: %d %s", code, errs)
	}
	file := func(name string) string { return filepath.Join(dir, name) }
	for _, w := range []struct {
		args  []string
		out   string
		holds string
	}{
		{[]string{"stake", plan}, "s.csv", "number,latitude,longitude,elevation_ft"},
		{[]string{"stake", plan, site, "--units", "si"}, "s.gpx", "<wpt lat="},
		{[]string{"stake", plan}, "s.dxf", "AC1009"},
		{[]string{"stake", plan}, "s.pdf", "%PDF-"},
		{[]string{"sheet", site, plan}, "p.pdf", "%PDF-"},
		{[]string{"sheet", site, plan, "--kind", "permit"}, "n.pdf", "%PDF-"},
		{[]string{"sheet", site, plan, "--kind", "closeout"}, "o.pdf", "%PDF-"},
		{[]string{"sheet", plan, site, "--paper", "a3"}, "p.svg", "<svg"},
		{[]string{"sheet", site, plan, "--kind", "takeoff"}, "t.csv", "stone, washed open-graded"},
		{[]string{"sheet", site, plan, "--kind", "takeoff"}, "t.xlsx", "PK"},
		{[]string{"sheet", site, plan, "--kind", "proposal", "--from", "2026-06-01"}, "u.ics", "BEGIN:VCALENDAR"},
	} {
		code, _, errs := do(append(w.args, "--out", file(w.out))...)
		b, _ := os.ReadFile(file(w.out))
		if code != exitDone || !strings.Contains(string(b), w.holds) {
			t.Errorf("%v: exit %d, %d bytes, want %q in them; %s", w.args, code, len(b), w.holds, errs)
		}
	}
	own := filepath.Join(dir, "words")
	if err := os.Mkdir(own, 0o700); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := do("sheet", "--show-templates", own); code != exitDone {
		t.Fatal(errs)
	}
	if code, _, errs := do("sheet", site, plan, "--kind", "crew", "--templates", own, "--out", file("c.pdf")); code != exitDone {
		t.Error(errs)
	}
	if err := os.WriteFile(filepath.Join(own, "crew.tmpl"), []byte("{{.Nobody}}"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, w := range []struct {
		args []string
		says string
	}{
		{[]string{"sheet", site, plan, "--templates", own, "--out", file("x.pdf")}, "no field Nobody"},
		{[]string{"sheet", site, plan, "--templates", filepath.Join(dir, "none"), "--out", file("x.pdf")}, "NAME.tmpl"},
		{[]string{"stake", site}, "None of the files is a plan"},
		{[]string{"sheet", plan, "--out", file("x.pdf")}, "give the site document"},
		{[]string{"sheet", site, plan}, "--out"},
		{[]string{"sheet", site, plan, "--out", file("x.doc")}, "give pdf or svg"},
		{[]string{"stake", plan, "--out", file("x.doc")}, "give .csv"},
		{[]string{"sheet", site, plan, "--kind", "proposal", "--out", file("x.ics")}, "YYYY-MM-DD"},
		{[]string{"stake", plan, plan}, "second plan"},
		{[]string{"stake", plan, "--every=-3"}, "negative"},
	} {
		if code, _, errs := do(w.args...); code != exitInput || !strings.Contains(errs, w.says) {
			t.Errorf("%v: exit %d, %q, want %q", w.args, code, errs, w.says)
		}
	}
}
