package hydro

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// cases are the published check values of the hydraulic rooms, by the name that
// the test of each bears in its comment.
var cases = []string{
	"rat-const-us", "rat-const-si", "rat-hec22-3-1-exist", "rat-composite-256ac", "rat-c-table", "rat-cf",
	"tc-tr55-3-1-sheet", "tc-shallow-k", "tc-kirpich-units", "tc-faa", "tc-kinematic", "cn-table2-1-P2",
	"cn-table2-1-P3", "cn-table2-1-P5", "cn-table2-1-P6", "cn-ex2-1", "cn-ex2-3", "cn-composite",
	"cn-table2-2a", "cn-zero", "cn-chow551", "tr55-ex4-1", "idf-noaa-table", "idf-moh", "idf-wenzel-denver",
	"idf-hydro35", "idf-15from30", "mp-elements", "mp-maxima", "mp-capacity-grid", "mp-concrete-013",
	"mp-n-values", "mp-half", "pc-0104", "pc-upc-appD-ex", "pc-nspc-vertical", "pc-upc-horizontal",
	"pc-ipc-1106.2", "pc-ipc-2012-vs-2021", "pc-min-slope", "pc-irc-grade", "pc-wall", "in-txdot-gutter",
	"in-hec22-sag-grate", "in-yard-grate", "in-yard-clogged", "in-curb-sag", "sub-hooghoudt-ilri", "sub-donnan",
	"sub-coeff", "sub-dupuit", "sub-stone-grading", "rt-chow-8-2", "rt-tr55-ex6-1", "rt-habitat-cs",
	"hg-sf-12in", "hg-darcy-eq", "hg-ke", "hg-tw-rule", "sc-min-slope-v", "sc-small", "sc-tau", "tr-d2321",
	"tr-osha-slopes", "tr-osha-limits", "tr-local-width",
}

// Every published case has a test that names it.
func TestPropertyEveryCaseIsTested(t *testing.T) {
	var text strings.Builder
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") || path == "cases_test.go" {
			return err
		}
		b, err := os.ReadFile(path)
		text.Write(b)
		text.WriteByte('\n')
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	words := map[string]bool{}
	for _, w := range strings.FieldsFunc(text.String(), func(r rune) bool { return strings.ContainsRune(" \t\n,:;()\"", r) }) {
		words[strings.TrimSuffix(w, ".")] = true
	}
	for _, c := range cases {
		if !words[c] {
			t.Errorf("no test names the case %s", c)
		}
	}
}
