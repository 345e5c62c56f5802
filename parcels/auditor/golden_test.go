package auditor

// Golden audits of the sample and of real parcels. They show that nothing has
// changed; that it was right was judged by a person once: what was odd and why
// stands in testdata/README.md.

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/store/gpkg"
)

var update = flag.Bool("update", false, "write the golden files anew")

// realSet is one set of real parcels: files by layer.
type realSet struct {
	name   string
	layers map[string]string
	// open: its licence lets findings be kept here; else hashes and counts only.
	open bool
}

var realSets = []realSet{
	{"cadastre-fr-25354", map[string]string{"parcels": "parcels.geojson", "buildings": "buildings.geojson"}, true},
	{"cadastre-fr-epinay", map[string]string{"parcels": "parcels.geojson"}, true},
	{"williamsburg-va", map[string]string{"parcels": "parcels.geojson", "easements": "easements.geojson"}, false},
}

func (r realSet) site(t testing.TB) *parcels.Site {
	t.Helper()
	s, err := document.Read(r.document(t), document.Options{KeepGoing: true})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (r realSet) document(t testing.TB) []byte {
	t.Helper()
	dir := shared()
	if dir == "" {
		t.Skip("the shared data are not here: set FALLWRIGHT_SHARED to their folder")
	}
	var b bytes.Buffer
	b.WriteString(`{"site":"` + r.name + `","layers":{`)
	names := []string{}
	for l := range r.layers {
		names = append(names, l)
	}
	slices.Sort(names)
	for i, l := range names {
		text, err := os.ReadFile(filepath.Join(dir, r.name, r.layers[l]))
		if err != nil {
			t.Skip("the shared data are not whole: ", err)
		}
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%q:%s", l, text)
	}
	b.WriteString("}}")
	return b.Bytes()
}

// digest is what a golden file holds: counts, the hash of what is decided of each
// lot, and, where findings may be kept, one line for each lot that has more
// than what all lots have.
func digest(t *testing.T, a *parcels.Audit, findings bool) []byte {
	t.Helper()
	var b bytes.Buffer
	x := a.Totals
	fmt.Fprintf(&b, "checks %s\nlots %d feasible %d not_proven %d not_feasible %d set_aside %d\n", strings.Join(a.Checks, " "), x.Lots, x.Feasible, x.NotProven, x.NotFeasible, x.SetAside)
	fmt.Fprintf(&b, "zone %.0f m2, empty %d; reach yes %d no %d not_proven %d; drains outside %.3f m\n", x.Zone, x.ZoneEmpty, x.ReachYes, x.ReachNo, x.ReachNotProven, x.DrainsOutside)
	codes := []string{}
	for c := range x.Findings {
		codes = append(codes, c)
	}
	slices.Sort(codes)
	for _, c := range codes {
		fmt.Fprintf(&b, "%6d %s\n", x.Findings[c], c)
	}
	// what is decided of each lot; numbers that a finer arc or a shorter route
	// moves by a hair are left to the tests that know them
	said := sha256.New()
	for i := range a.Rows {
		r := &a.Rows[i]
		fmt.Fprint(said, r.Lot, " ", r.Verdict, " ", r.Reach, " ", name(r.Inlet))
		if r.Pieces != nil {
			fmt.Fprint(said, " ", *r.Pieces)
		}
		for _, f := range r.Findings {
			fmt.Fprint(said, " ", f.Severity, " ", f.Code, " ", f.Feature)
		}
		fmt.Fprintln(said)
	}
	fmt.Fprintf(&b, "decided sha256 %x\n", said.Sum(nil))
	if !findings {
		return b.Bytes()
	}
	common := map[string]bool{}
	for c, n := range x.Findings {
		common[c] = n > 1 && n >= x.Lots
	}
	fmt.Fprintf(&b, "worst %s\n", strings.Join(a.Worst, " "))
	for i := range a.Rows {
		r := &a.Rows[i]
		if r.LengthBy == "route" {
			fmt.Fprintf(&b, "%s reaches %s: %s\n", r.Lot, *r.Inlet, r.Reach)
		}
	}
	for i := range a.Rows {
		for _, f := range a.Rows[i].Findings {
			if !common[f.Code] {
				fmt.Fprintf(&b, "%s %s %s: %s\n", f.Lot, f.Severity, f.Code, f.Message)
			}
		}
	}
	for _, f := range a.Findings {
		fmt.Fprintf(&b, "site %s %s: %s\n", f.Severity, f.Code, f.Message)
	}
	return b.Bytes()
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(want, got) {
		return
	}
	w, g := strings.Split(string(want), "\n"), strings.Split(string(got), "\n")
	n := 0
	for i := 0; i < max(len(w), len(g)) && n < 10; i++ {
		var x, y string
		if i < len(w) {
			x = w[i]
		}
		if i < len(g) {
			y = g[i]
		}
		if x != y {
			n++
			t.Errorf("%s line %d\nwas  %s\nnow  %s", path, i+1, x, y)
		}
	}
}

func TestGoldenSample(t *testing.T) {
	_, a := sample()
	golden(t, "sample", digest(t, a, true))
}

func TestGoldenRealSets(t *testing.T) {
	for _, r := range realSets {
		t.Run(r.name, func(t *testing.T) {
			s := r.site(t)
			golden(t, r.name, digest(t, auditOf(t, s, Options{}), r.open))
		})
	}
}

// Each real set, whole, from a store by windows: the bytes of the audit in
// memory.
func TestRealSetsStored(t *testing.T) {
	for _, r := range realSets {
		t.Run(r.name, func(t *testing.T) {
			doc := r.document(t)
			st, err := gpkg.Open(filepath.Join(t.TempDir(), "s.gpkg"), gpkg.Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer st.Close()
			put(t, st, r.name, doc)
			s := r.site(t)
			want, err := Write(auditOf(t, s, Options{Zones: true}), s.Frame)
			if err != nil {
				t.Fatal(err)
			}
			differ(t, r.name, want, storedJSON(t, st, Request{Site: r.name, KeepGoing: true, Zones: true}, Options{Workers: 2, Chunk: 300}))
		})
	}
}
