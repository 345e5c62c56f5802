package verify

// What is taken from documents read before is what reading again would give.

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"sync"
	"testing"

	"fallwright/sampledata"
)

// TestPropertyPartsChangeNothing changes a document at each of its bytes, and reads
// it with and without what was read of the unchanged one.
func TestPropertyPartsChangeNothing(t *testing.T) {
	const doc = `{"site":"a","layers":{"spots":{"features":[{"p":[1,2.5,-3e1]},{}]}, "lots" : {"n":"\u00e9","a":{"b":[[[]]]}},"x":{},"y":null,"z":[{}]},"rain":{"curve":{"a":1}}}`
	first := &reader{parts: parts{}}
	if _, err := first.document([]byte(doc)); err != nil {
		t.Fatal(err)
	}
	if len(first.parts) != 4 {
		t.Fatalf("%d parts taken down, 4 objects stand in objects of the document", len(first.parts))
	}
	try := func(text []byte) {
		t.Helper()
		want, bad := readJSON(text)
		r := &reader{parts: parts{}, before: []parts{first.parts}}
		got, err := r.document(text)
		if fmt.Sprint(err) != fmt.Sprint(bad) {
			t.Fatalf("%s: %v, read anew %v", text, err, bad)
		}
		if bad == nil && !reflect.DeepEqual(got, want) {
			t.Fatalf("%s: %v, read anew %v", text, got, want)
		}
	}
	try([]byte(doc))
	for i := range doc {
		for _, c := range []byte(`{}[],:"0 n\`) {
			try([]byte(doc[:i] + string(c) + doc[i+1:]))
			try([]byte(doc[:i] + string(c) + doc[i:]))
		}
		try([]byte(doc[:i]))
		try([]byte(doc[:i] + doc[i+1:]))
	}
}

// TestPropertyLayersChangeNothing reads the sample with one layer changed, or the
// plane or the unit, after documents of which it has the other layers.
func TestPropertyLayersChangeNothing(t *testing.T) {
	whole := sampledata.StatePlane()
	variant := func(change func(doc, layers map[string]any)) []byte {
		var doc map[string]any
		if err := json.Unmarshal(whole, &doc); err != nil {
			t.Fatal(err)
		}
		change(doc, doc["layers"].(map[string]any))
		text, err := json.Marshal(doc)
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	docs := [][]byte{variant(func(_, _ map[string]any) {})}
	var names []string
	variant(func(_, layers map[string]any) { names = slices.Sorted(maps.Keys(layers)) })
	for _, name := range names {
		docs = append(docs, variant(func(_, layers map[string]any) {
			l := layers[name].(map[string]any)
			l["features"] = l["features"].([]any)[1:]
		}), variant(func(_, layers map[string]any) {
			if name != "parcels" && name != "streets" {
				layers[name] = nil
			}
		}), variant(func(_, layers map[string]any) {
			f := layers[name].(map[string]any)["features"].([]any)[0].(map[string]any)
			f["properties"].(map[string]any)["width_m"] = map[string]any{} // a fault where it is read
		}))
	}
	docs = append(docs, variant(func(doc, _ map[string]any) { doc["elevation_unit"] = "us_ft" }),
		variant(func(doc, layers map[string]any) { doc["else"] = map[string]any{"spots": layers["inlets"]} }),
		variant(func(_, layers map[string]any) {
			for _, f := range layers["spots"].(map[string]any)["features"].([]any) {
				c := f.(map[string]any)["geometry"].(map[string]any)["coordinates"].([]any)
				c[2] = c[2].(float64) + 30
			}
		}))
	k := Keep(int64(8 * len(whole)))
	bad, taken := 0, 0
	for n, doc := range docs {
		before := k.latest()
		read := func(k *Kept) (*site, error) {
			s, ok, err := k.readFor(doc, func(s *site) bool {
				p, ok := projectedPlane(1200.0/3937, s.middle)
				s.plane = p
				return ok
			})
			if err == nil && !ok {
				t.Fatal("no plane")
			}
			return s, err
		}
		want, werr := read(nil)
		got, err := read(k)
		if fmt.Sprint(err) != fmt.Sprint(werr) {
			t.Fatalf("document %d: %v, read anew %v", n, err, werr)
		}
		if err != nil {
			continue
		}
		if len(want.faults) > 0 {
			bad++
		}
		g, w := *got, *want
		g.parts, w.parts = nil, nil
		bare := *g.ground
		bare.asked, g.ground = nil, &bare
		// placeholders that are not numbers are not equal to themselves
		for _, o := range []*site{&g, &w} {
			for i := range o.obstacles {
				if math.IsNaN(o.obstacles[i].keep) {
					o.obstacles[i].keep = -1
				}
			}
		}
		if !reflect.DeepEqual(g, w) {
			for i := range reflect.TypeFor[site]().NumField() {
				if a, b := reflect.ValueOf(g).Field(i), reflect.ValueOf(w).Field(i); fmt.Sprint(a) != fmt.Sprint(b) {
					t.Errorf("document %d: %s %.200s, read anew %.200s", n, reflect.TypeFor[site]().Field(i).Name, fmt.Sprint(a), fmt.Sprint(b))
				}
			}
			t.Fatalf("document %d is read as another", n)
		}
		for _, o := range before {
			if &got.streets[0] == &o.streets[0] {
				taken++
				break
			}
		}
	}
	if taken < len(docs)/2 {
		t.Errorf("%d of %d documents have the streets of one before", taken, len(docs))
	}
	if bad < 3 {
		t.Errorf("%d documents with faults: the test tells little", bad)
	}
}

// TestPropertyAskedChangesNothing asks for the ground along lines, more than are held,
// several at once and again, with and without what was asked for before.
func TestPropertyAskedChangesNothing(t *testing.T) {
	var s site
	for x := range 9 {
		for y := range 9 {
			s.shots = append(s.shots, shot{pt{x: float64(10 * x), y: float64(10 * y)}, 100 + float64((x*7+y*5)%11)/10})
		}
	}
	s.breaks = []edge{{s.shots[3].pt, s.shots[60].pt}}
	plain, holds := newSurface(&s), newSurface(&s)
	holds.asked = &asked{lines: map[[4]float64][]station{}, spots: map[[2]float64]level{}}
	var wg sync.WaitGroup
	for g := range 3 {
		wg.Go(func() {
			for n := range mostAsked + 500 {
				m := (n + 100*g) % (mostAsked + 300)
				a, b := pt{x: float64(m%83) - 1, y: float64(m/83) + 0.5}, pt{x: float64(m%83) + 0.7, y: float64(m/83) + 1.9}
				if got, want := holds.along(a, b), plain.along(a, b); !reflect.DeepEqual(got, want) {
					t.Errorf("%v to %v: %v, asked anew %v", a, b, got, want)
				}
				lo, hi, ok := holds.about(a)
				if wlo, whi, wok := plain.about(a); lo != wlo || hi != whi || ok != wok {
					t.Errorf("at %v: %g %g %v, asked anew %g %g %v", a, lo, hi, ok, wlo, whi, wok)
				}
			}
		})
	}
	wg.Wait()
	if n := len(holds.asked.lines); n == 0 || n > mostAsked || len(holds.asked.spots) > mostAsked {
		t.Errorf("%d lines and %d places are held, at most %d", n, len(holds.asked.spots), mostAsked)
	}
}
