package document

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"reflect"
	"slices"
	"sort"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/memory"
	"fallwright/sampledata"
)

var seed = flag.Uint64("seed", 1, "of the random changes to a document")

// small is the sample with some features of each layer.
func small(t *testing.T) []byte {
	t.Helper()
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	for _, l := range doc["layers"].(map[string]any) {
		l := l.(map[string]any)
		fs := l["features"].([]any)
		l["features"] = fs[:min(len(fs), 5)]
	}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// told is all that reading gives.
func told(s *parcels.Site, err error) string {
	if err != nil {
		return err.Error()
	}
	c := *s
	c.Frame = nil
	return fmt.Sprintf("{%x} %+v %v", memory.NewHash("site").Value(c).Key(), c.Findings, c.Assumptions)
}

// verticesOf is the least limit within which a document is read.
func verticesOf(t *testing.T, text []byte) int {
	t.Helper()
	const most = 100000
	n := 1 + sort.Search(most, func(n int) bool {
		_, err := Read(text, Options{Limits: Limits{AllVertices: n + 1}})
		return err == nil
	})
	if n > most {
		t.Fatal("the document is not read")
	}
	return n
}

// Text that differs in a few bytes from what was read before, faulty or not, is
// read as without a memory: with the same faults at the same places.
func TestPropertyKeptTells(t *testing.T) {
	text := small(t)
	r := rand.New(rand.NewPCG(*seed, 0))
	m := memory.New(32 << 20)
	if s, err := Read(text, Options{Memory: m}); err != nil || len(s.Lots) == 0 {
		t.Fatal(err)
	}
	const some = `0123456789-.,:"{}[]\ aetfn` + "\x00\xff"
	faulty := 0
	for n := range 1500 {
		doc := bytes.Clone(text)
		for range 1 + r.IntN(2) {
			at := r.IntN(len(doc))
			switch r.IntN(3) {
			case 0:
				doc[at] = some[r.IntN(len(some))]
			case 1:
				doc = append(doc[:at], doc[at+1+r.IntN(3)%(len(doc)-at):]...)
			default:
				doc = append(doc[:at:at], append([]byte{some[r.IntN(len(some))]}, doc[at:]...)...)
			}
		}
		o := Options{KeepGoing: n%2 == 0, Limits: ServiceLimits}
		want := told(Read(doc, o))
		if !strings.HasPrefix(want, "{") {
			faulty++
		}
		o.Memory = m
		for again := range 2 {
			if got := told(Read(doc, o)); got != want {
				t.Fatalf("seed %d, change %d, time %d: %.300s\nwithout a memory: %.300s", *seed, n, again, got, want)
			}
		}
	}
	if faulty < 300 || faulty > 1450 {
		t.Errorf("%d of 1500 changes are faults: the test tells little", faulty)
	}
}

// Features taken out, put in, doubled and changed about are read as without a
// memory, to the last vertex that is allowed.
func TestPropertyKeptFeatures(t *testing.T) {
	var doc map[string]any
	text := small(t)
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	all := verticesOf(t, text)
	r, m := rand.New(rand.NewPCG(*seed, 1)), memory.New(32<<20)
	var names []string
	for n := range doc["layers"].(map[string]any) {
		names = append(names, n)
	}
	slices.Sort(names)
	read, faulty := 0, 0
	for n := range 400 {
		l := doc["layers"].(map[string]any)[names[r.IntN(len(names))]].(map[string]any)
		was := l["features"].([]any)
		fs := slices.Clone(was)
		i, k := r.IntN(len(fs)), r.IntN(len(fs))
		switch r.IntN(4) {
		case 0:
			fs[i], fs[k] = fs[k], fs[i]
		case 1:
			fs = slices.Delete(fs, i, i+1)
		case 2:
			fs = slices.Insert(fs, i, fs[k])
		default:
			f := maps.Clone(fs[i].(map[string]any))
			f["properties"] = map[string]any{"note": n}
			fs[i] = f
		}
		l["features"] = fs
		text, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		o := Options{KeepGoing: n%2 == 0, Limits: ServiceLimits}
		if n%3 == 0 {
			o.Limits.AllVertices = all - 20 + r.IntN(40)
		}
		want := told(Read(text, o))
		o.Memory = m
		if got := told(Read(text, o)); got != want {
			t.Fatalf("seed %d, change %d: %.300s\nwithout a memory: %.300s", *seed, n, got, want)
		}
		if strings.HasPrefix(want, "{") {
			read++
		} else {
			faulty++
		}
		if strings.HasPrefix(want, "{") && len(fs) == len(was) && r.IntN(3) > 0 {
			continue // the next change comes on top of this one
		}
		l["features"] = was
	}
	if read < 50 || faulty < 50 {
		t.Errorf("%d read, %d refused: the test tells little", read, faulty)
	}
}

// A layer that was passed at one depth is looked into again where it would stand
// too deep, and one at which the limit on the whole is passed is told.
func TestHandKeptLimits(t *testing.T) {
	m := memory.New(1 << 20)
	layer := `{"a":` + strings.Repeat("[", 50) + `"` + strings.Repeat("x", longFrom) + `"` + strings.Repeat("]", 50) + `}`
	for _, c := range []struct {
		above int
		slug  string
	}{{1, ""}, {12, ""}, {13, "json-too-deep"}, {5, ""}} { // 51 levels in the layer, above and 1 around it; 64 are taken
		text := strings.Repeat(`{"a":`, c.above) + `{"spots":` + layer + `}` + strings.Repeat("}", c.above)
		_, err := ScanWith([]byte(text), m)
		_, want := Scan([]byte(text))
		if fmt.Sprint(err) != fmt.Sprint(want) || (err == nil) != (c.slug == "") {
			t.Errorf("%d levels above: %v, without a memory %v", c.above, err, want)
		}
	}
	text := small(t)
	all := verticesOf(t, text)
	held := memory.New(32 << 20)
	for _, n := range []int{all, all - 1, all} {
		o := Options{Limits: Limits{AllVertices: n}}
		want := told(Read(text, o))
		o.Memory = held
		if got := told(Read(text, o)); got != want {
			t.Errorf("%d vertices: %.200s, without a memory %.200s", n, got, want)
		}
	}
}

// What a scan has seen of a text is what looking again would see.
func TestPropertyCut(t *testing.T) {
	text := append([]byte("\xef\xbb\xbf \n"), small(t)...)
	c, err := ScanWith(text, memory.New(1<<20))
	if err != nil {
		t.Fatal(err)
	}
	c, _ = c.Trimmed()
	seen, long := 0, 0
	var compare func(c Cut)
	compare = func(c Cut) {
		var got, want []string
		c.Members(func(key string, v Cut, at int) {
			got = append(got, fmt.Sprint(key, at, string(v.Text)))
			if len(v.Text) >= longFrom {
				long++
			}
			if v.known() != nil {
				seen++
			}
			if kindOf(v.Text) == "object" {
				compare(v)
			}
		})
		Members(c.Text, func(key string, v []byte, at int) { want = append(want, fmt.Sprint(key, at, string(v))) })
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%q, want %q", got, want)
		}
	}
	compare(c)
	if seen < 5 || long < 10 {
		t.Errorf("%d layers, %d long values", seen, long)
	}
}

// Text with a line a member is what json.Indent makes of it.
func TestOracleIndented(t *testing.T) {
	for _, text := range []string{string(small(t)), `{}`, `[]`, `[[],{},[{}],"",0]`, `"{[,:]}"`, `{"a\"{":"\\","b":[-1.5e-7,true,null,"\\\","]}`, `null`, `{"":{"":[]}}`} {
		for depth := range 3 {
			var compact, want bytes.Buffer
			if err := json.Compact(&compact, []byte(text)); err != nil {
				t.Fatal(err)
			}
			if err := json.Indent(&want, compact.Bytes(), strings.Repeat(" ", depth), " "); err != nil {
				t.Fatal(err)
			}
			if got := indented(nil, compact.Bytes(), depth); !bytes.Equal(got, want.Bytes()) {
				t.Errorf("%.100s, %d deep: %.300s", text, depth, got)
			}
		}
	}
}
