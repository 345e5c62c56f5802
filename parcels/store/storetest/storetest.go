// Package storetest is the one suite that every store passes. For tests only.
package storetest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"fallwright/parcels"
)

// Opener opens the same store again and again: what one wrote the next sees.
type Opener func(t *testing.T) parcels.Store

// Run runs the suite; each test gets a store of its own from fresh.
func Run(t *testing.T, fresh func(t *testing.T) Opener) {
	for _, c := range []struct {
		name string
		run  func(t *testing.T, open Opener)
	}{
		{"empty", empty}, {"whole documents", whole}, {"versions", versions}, {"windows", windows}, {"layers", layers},
		{"nothing without commit", abort}, {"ids", ids}, {"reference systems", systems}, {"results", results}, {"delete", remove},
		{"hostile text", hostile}, {"readers during an import", concurrent}, {"two writers", writers}, {"property: what goes in comes out", property}, {"sort", sorted}, {"the list is never an old one", listed},
		{"inputs of results", inputs}, {"settings", settings}, {"rasters", rasters}, {"jobs", jobs}, {"replies", replies},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t, fresh(t)) })
	}
}

var ctx = context.Background()

func ok[T any](t *testing.T) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// kindOf is the kind of an error, "" for none of ours.
func kindOf(err error) parcels.Kind {
	var e *parcels.Error
	var in *parcels.InputError
	switch {
	case errors.As(err, &in):
		return in.Kind
	case errors.As(err, &e):
		return e.Kind
	}
	return ""
}

func slug(err error) string {
	var in *parcels.InputError
	if errors.As(err, &in) && len(in.Faults) > 0 {
		return in.Faults[0].Slug
	}
	return ""
}

func wantKind(t *testing.T, err error, k parcels.Kind) {
	t.Helper()
	if kindOf(err) != k {
		t.Fatalf("got %v (%v), want kind %v", kindOf(err), err, k)
	}
}

// Document is a site document with two lots, an inlet and things unknown.
const Document = `{ "site": "Elm Court", "crs": "EPSG:2274", "vertical_datum": "NAVD88", "note": {"a": [1, 2.50]},
 "layers": {
  "parcels": {"type": "FeatureCollection", "origin": "mapped", "features": [
   {"type": "Feature", "id": 9007199254740993, "geometry": {"type": "Polygon", "coordinates": [[[1700000,600000],[1700100,600000],[1700100,600080.5],[1700000,600080.5],[1700000,600000]]]}, "properties": {"lot": "1", "owner's \"note\"": "é \u00e9"}},
   {"type": "Feature", "id": "two", "geometry": {"type": "MultiPolygon", "coordinates": [[[[1700100,600000,700],[1700200,600000,701],[1700200,600080,702],[1700100,600080,703],[1700100,600000,700]]]]}, "properties": null}]},
  "inlets": {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": {"type": "Point", "coordinates": [1700050.125, 599990, 698.25]}, "properties": {"inlet": "CB-1", "rim_m": 213.1, "invert_m": 211.0}}]},
  "easements": {"type": "FeatureCollection", "features": []},
  "whatnot": [1, 2, 3]
 }}`

func empty(t *testing.T, open Opener) {
	s := open(t)
	if got := ok[[]parcels.SiteInfo](t)(s.Sites(ctx)); len(got) != 0 {
		t.Errorf("sites of an empty store: %v", got)
	}
	if err := s.Ready(ctx); err != nil {
		t.Error(err)
	}
	_, err := s.Site(ctx, "none")
	wantKind(t, err, parcels.NotFound)
	_, err = s.Document(ctx, "none")
	wantKind(t, err, parcels.NotFound)
	_, err = s.History(ctx, "none")
	wantKind(t, err, parcels.NotFound)
	_, err = s.Count(ctx, "none", parcels.LayerParcels, parcels.Window{})
	wantKind(t, err, parcels.NotFound)
	for _, err := range s.Features(ctx, "none", parcels.LayerParcels, parcels.Window{}) {
		wantKind(t, err, parcels.NotFound)
	}
	wantKind(t, s.DeleteSite(ctx, "none", "ann"), parcels.NotFound)
	_, err = s.PutResult(ctx, parcels.Result{Site: "none", Kind: "plan"})
	wantKind(t, err, parcels.NotFound)
	_, err = s.Result(ctx, "r1")
	wantKind(t, err, parcels.NotFound)
	_, err = s.Result(ctx, "'; DROP TABLE x")
	wantKind(t, err, parcels.NotFound)
	_, err = s.Site(ctx, "")
	wantKind(t, err, parcels.NotFound)
}

// listed: a write by this store or by another that has it open is in the very
// next list, and the list itself is the caller's own.
func listed(t *testing.T, open Opener) {
	s, other := open(t), open(t)
	names := func(s parcels.Store) (out string) {
		for _, i := range ok[[]parcels.SiteInfo](t)(s.Sites(ctx)) {
			out += fmt.Sprintf("%s.%d.%d ", i.Name, i.Version, i.Features[parcels.LayerParcels])
		}
		return out
	}
	hold := func(want string) {
		t.Helper()
		for range 2 { // the second is the one kept
			if a, b := names(s), names(other); a != want || b != want {
				t.Fatalf("listed %q and %q, want %q", a, b, want)
			}
		}
	}
	hold("")
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	hold("elm.1.2 ")
	ok[parcels.SiteInfo](t)(other.PutSite(ctx, "ash", []byte(Document), 0, "ann"))
	hold("ash.1.2 elm.1.2 ")
	ok[[]parcels.SiteInfo](t)(s.Sites(ctx))[0].Name = "changed"
	hold("ash.1.2 elm.1.2 ")
	w := ok[parcels.LayerWriter](t)(other.Write(ctx, "elm", parcels.LayerParcels, "EPSG:2274", true))
	hold("ash.1.2 elm.1.2 ")
	ok[parcels.SiteInfo](t)(w.Commit(ctx, "ann"))
	hold("ash.1.2 elm.2.0 ")
	if err := other.DeleteSite(ctx, "ash", "ann"); err != nil {
		t.Fatal(err)
	}
	hold("elm.2.0 ")
	gone, cancel := context.WithCancel(ctx)
	cancel()
	if list, err := s.Sites(gone); err == nil {
		t.Errorf("a caller that has gone got %v", list)
	}
	hold("elm.2.0 ")
}

func whole(t *testing.T, open Opener) {
	s := open(t)
	info := ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	if info.Version != 1 || info.CRS != "EPSG:2274" || info.Features[parcels.LayerParcels] != 2 || info.Features[parcels.LayerInlets] != 1 {
		t.Errorf("info %+v", info)
	}
	if n, has := info.Features[parcels.LayerEasements]; !has || n != 0 {
		t.Error("an empty layer that was given is a layer")
	}
	if _, has := info.Features[parcels.LayerBuildings]; has {
		t.Error("a layer that was not given is none")
	}
	if want := [4]float64{1700000, 599990, 1700200, 600080.5}; info.Bounds == nil || *info.Bounds != want {
		t.Errorf("bounds %v, want %v", info.Bounds, want)
	}
	if d := time.Since(info.Changed); d < -time.Minute || d > time.Minute {
		t.Errorf("changed %v", info.Changed)
	}
	s.Close()
	s = open(t)
	if got := ok[[]byte](t)(s.Document(ctx, "elm")); string(got) != Document {
		t.Errorf("not byte for byte: %s", got)
	}
	fs := all(t, s, "elm", parcels.LayerParcels, parcels.Window{})
	if len(fs) != 2 || fs[0].ID != "9007199254740993" || fs[1].ID != "two" {
		t.Fatalf("features %v", fs)
	}
	same(t, fs[0].Geometry, `{"type":"Polygon","coordinates":[[[1700000,600000],[1700100,600000],[1700100,600080.5],[1700000,600080.5],[1700000,600000]]]}`)
	same(t, fs[1].Geometry, `{"type":"MultiPolygon","coordinates":[[[[1700100,600000,700],[1700200,600000,701],[1700200,600080,702],[1700100,600080,703],[1700100,600000,700]]]]}`)
	same(t, fs[0].Properties, `{"lot":"1","owner's \"note\"":"é é"}`)
	for _, w := range []parcels.Window{{ID: "two"}, {Equal: map[string]string{"lot": "1"}}, {Equal: map[string]string{`owner's "note"`: "é é"}}} {
		if got := all(t, s, "elm", parcels.LayerParcels, w); len(got) != 1 {
			t.Errorf("%+v: %d features", w, len(got))
		}
		if n := ok[int](t)(s.Count(ctx, "elm", parcels.LayerParcels, w)); n != 1 {
			t.Errorf("%+v: counted %d", w, n)
		}
	}
	if got := all(t, s, "elm", parcels.LayerInlets, parcels.Window{Equal: map[string]string{"invert_m": "211.0"}}); len(got) != 1 {
		t.Error("a number is found by the text it was given as")
	}
	if got := all(t, s, "elm", parcels.LayerBuildings, parcels.Window{}); len(got) != 0 {
		t.Error("a layer that is none has features")
	}
}

func same(t *testing.T, got []byte, want string) {
	t.Helper()
	var a, b any
	if json.Unmarshal(got, &a) != nil || json.Unmarshal([]byte(want), &b) != nil || fmt.Sprint(a) != fmt.Sprint(b) {
		t.Errorf("got %s, want %s", got, want)
	}
}

func all(t *testing.T, s parcels.Store, site string, l parcels.Layer, w parcels.Window) (out []parcels.StoredFeature) {
	t.Helper()
	for f, err := range s.Features(ctx, site, l, w) {
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, f)
	}
	return out
}

func versions(t *testing.T, open Opener) {
	s := open(t)
	_, err := s.PutSite(ctx, "elm", []byte(Document), 7, "ann")
	wantKind(t, err, parcels.Conflict)
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	changed := strings.Replace(Document, "CB-1", "CB-2", 1)
	if v := ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(changed), 1, "bob")).Version; v != 2 {
		t.Errorf("version %d", v)
	}
	_, err = s.PutSite(ctx, "elm", []byte(Document), 1, "ann")
	wantKind(t, err, parcels.Conflict)
	if got := ok[[]byte](t)(s.Document(ctx, "elm")); string(got) != changed {
		t.Error("a refused put has changed the document")
	}
	h := ok[[]parcels.Edit](t)(s.History(ctx, "elm"))
	if len(h) != 2 || h[0].Who != "ann" || h[1].Who != "bob" || h[0].Version != 1 || h[1].Version != 2 || h[1].What == "" {
		t.Errorf("history %+v", h)
	}
	if got := all(t, s, "elm", parcels.LayerInlets, parcels.Window{}); len(got) != 1 || !strings.Contains(string(got[0].Properties), "CB-2") {
		t.Errorf("inlets %v", got)
	}
	// a put that cannot be stored changes nothing
	bad := strings.Replace(Document, `[1700050.125, 599990, 698.25]`, `[1700050.125]`, 1)
	if _, err := s.PutSite(ctx, "elm", []byte(bad), 0, "ann"); slug(err) != "position-invalid" {
		t.Errorf("got %v", err)
	}
	if i := ok[parcels.SiteInfo](t)(s.Site(ctx, "elm")); i.Version != 2 || i.Features[parcels.LayerParcels] != 2 {
		t.Errorf("after a refused put: %+v", i)
	}
	if got := ok[[]byte](t)(s.Document(ctx, "elm")); string(got) != changed {
		t.Error("a refused put has changed the document")
	}
}

// lot is a square lot with its lower left corner at x, y.
func lot(id string, x, y, size float64) parcels.StoredFeature {
	return parcels.StoredFeature{ID: id, Geometry: fmt.Appendf(nil, `{"type":"Polygon","coordinates":[[[%g,%g],[%g,%g],[%g,%g],[%g,%g],[%g,%g]]]}`,
		x, y, x+size, y, x+size, y+size, x, y+size, x, y), Properties: fmt.Appendf(nil, `{"lot":%q}`, "L"+id)}
}

func importLots(t *testing.T, s parcels.Store, site, crs string, replace bool, fs ...parcels.StoredFeature) parcels.SiteInfo {
	t.Helper()
	w := ok[parcels.LayerWriter](t)(s.Write(ctx, site, parcels.LayerParcels, crs, replace))
	for _, f := range fs {
		if err := w.Add(ctx, f); err != nil {
			t.Fatal(err)
		}
	}
	return ok[parcels.SiteInfo](t)(w.Commit(ctx, "ann"))
}

func windows(t *testing.T, open Opener) {
	s := open(t)
	// state plane feet: where single precision is half a foot wide
	const x0, y0 = 6_000_000.0, 2_100_000.0
	var fs []parcels.StoredFeature
	for i := range 100 {
		for j := range 10 {
			fs = append(fs, lot(fmt.Sprintf("%d-%d", i, j), x0+float64(i), y0+float64(j), 0.9))
		}
	}
	importLots(t, s, "big", "EPSG:2227", true, fs...)
	importLots(t, s, "other", "EPSG:2227", true, lot("x", x0, y0, 50))
	count := func(w parcels.Window) int {
		t.Helper()
		n := ok[int](t)(s.Count(ctx, "big", parcels.LayerParcels, w))
		got := len(all(t, s, "big", parcels.LayerParcels, w))
		if w.Limit == 0 && got != n || w.Limit > 0 && got > w.Limit {
			t.Errorf("%+v: counted %d, got %d", w, n, got)
		}
		return got
	}
	box := func(a, b, c, d float64) *orb.Bound {
		return &orb.Bound{Min: orb.Point{x0 + a, y0 + b}, Max: orb.Point{x0 + c, y0 + d}}
	}
	for _, c := range []struct {
		w    parcels.Window
		want int
	}{
		{parcels.Window{}, 1000},
		{parcels.Window{Bounds: box(0.91, 0, 0.99, 9)}, 0},     // in the gap between two columns
		{parcels.Window{Bounds: box(0.9, 0, 0.99, 9)}, 10},     // touching counts
		{parcels.Window{Bounds: box(2.5, 3.5, 4.5, 5.5)}, 9},   // 3 by 3
		{parcels.Window{Bounds: box(-10, -10, 200, 20)}, 1000}, // all
		{parcels.Window{Bounds: box(-10, -10, -5, 20)}, 0},
		{parcels.Window{Limit: 7}, 7},
		{parcels.Window{Bounds: box(2.5, 3.5, 4.5, 5.5), Limit: 4}, 4},
		{parcels.Window{Equal: map[string]string{"lot": "L5-5"}}, 1},
		{parcels.Window{Equal: map[string]string{"lot": "L5-5"}, Bounds: box(5, 5, 5.1, 5.1)}, 1},
		{parcels.Window{Equal: map[string]string{"lot": "L5-5"}, Bounds: box(7, 5, 7.1, 5.1)}, 0},
		{parcels.Window{Equal: map[string]string{"lot": "' OR 1=1 --"}}, 0},
		{parcels.Window{Equal: map[string]string{"' OR 1=1 --": "x"}}, 0},
		{parcels.Window{ID: "99-9"}, 1},
		{parcels.Window{ID: "x"}, 0}, // of the other site
	} {
		if got := count(c.w); got != c.want {
			t.Errorf("%+v %v: %d, want %d", c.w, c.w.Bounds, got, c.want)
		}
	}
	// paging meets each feature once, in the order of import
	var seen []string
	after := int64(0)
	for {
		page := all(t, s, "big", parcels.LayerParcels, parcels.Window{Limit: 333, After: after})
		if len(page) == 0 {
			break
		}
		for _, f := range page {
			if f.FID <= after {
				t.Fatal("fids do not rise")
			}
			after = f.FID
			seen = append(seen, f.ID)
		}
	}
	if len(seen) != 1000 || seen[0] != "0-0" || seen[999] != "99-9" {
		t.Errorf("paged through %d", len(seen))
	}
	// leaving off early frees the reader
	for range 50 {
		for range s.Features(ctx, "big", parcels.LayerParcels, parcels.Window{}) {
			break
		}
	}
}

func layers(t *testing.T, open Opener) {
	s := open(t)
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	w := ok[parcels.LayerWriter](t)(s.Write(ctx, "elm", parcels.LayerInlets, "EPSG:2274", false))
	add := parcels.StoredFeature{ID: "new", Geometry: []byte(`{"type":"Point","coordinates":[1700060,599990]}`), Properties: []byte(`{"inlet":"CB-9"}`)}
	if err := w.Add(ctx, add); err != nil {
		t.Fatal(err)
	}
	info := ok[parcels.SiteInfo](t)(w.Commit(ctx, "bob"))
	if info.Version != 2 || info.Features[parcels.LayerInlets] != 2 || info.Features[parcels.LayerParcels] != 2 {
		t.Errorf("info %+v", info)
	}
	if _, err := w.Commit(ctx, "bob"); err == nil {
		t.Error("committed twice")
	}
	if err := w.Add(ctx, add); err == nil {
		t.Error("added after the end")
	}
	if err := w.Abort(); err != nil {
		t.Errorf("abort after commit: %v", err)
	}
	doc := ok[[]byte](t)(s.Document(ctx, "elm"))
	var d struct {
		Site, CRS string
		Vertical  string `json:"vertical_datum"`
		Note      json.RawMessage
		Layers    map[string]json.RawMessage
	}
	if err := json.Unmarshal(doc, &d); err != nil {
		t.Fatalf("%v: %s", err, doc)
	}
	if d.Site != "Elm Court" || d.CRS != "EPSG:2274" || d.Vertical != "NAVD88" || string(d.Note) != `{"a": [1, 2.50]}` || string(d.Layers["whatnot"]) != "[1, 2, 3]" {
		t.Errorf("what was not imported has changed: %s", doc)
	}
	if !bytes.Contains(d.Layers["parcels"], []byte(`"origin": "mapped"`)) || !bytes.Contains(d.Layers["parcels"], []byte("9007199254740993")) {
		t.Errorf("parcels %s", d.Layers["parcels"])
	}
	if !bytes.Contains(d.Layers["inlets"], []byte("CB-9")) || !bytes.Contains(d.Layers["inlets"], []byte("CB-1")) {
		t.Errorf("inlets %s", d.Layers["inlets"])
	}
	w = ok[parcels.LayerWriter](t)(s.Write(ctx, "elm", parcels.LayerInlets, "EPSG:2274", true))
	if err := w.Add(ctx, add); err != nil {
		t.Fatal(err)
	}
	if info = ok[parcels.SiteInfo](t)(w.Commit(ctx, "bob")); info.Features[parcels.LayerInlets] != 1 {
		t.Errorf("replaced: %+v", info)
	}
	if got := all(t, s, "elm", parcels.LayerInlets, parcels.Window{Bounds: &orb.Bound{Min: orb.Point{1700050, 599980}, Max: orb.Point{1700061, 599999}}}); len(got) != 1 {
		t.Errorf("the index holds what was replaced: %v", got)
	}
	// a site made by an import alone
	importLots(t, s, "new", "EPSG:2274", false, lot("1", 1700000, 600000, 50))
	if doc := ok[[]byte](t)(s.Document(ctx, "new")); !bytes.Contains(doc, []byte(`"crs":"EPSG:2274"`)) || !bytes.Contains(doc, []byte(`"site":"new"`)) {
		t.Errorf("document %s", doc)
	}
	if _, err := s.Write(ctx, "new", "no_such_layer", "", false); err == nil {
		t.Error("a layer that there is not was taken")
	}
}

func abort(t *testing.T, open Opener) {
	s := open(t)
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	w := ok[parcels.LayerWriter](t)(s.Write(ctx, "elm", parcels.LayerParcels, "EPSG:2274", true))
	for i := range 500 {
		if err := w.Add(ctx, lot(fmt.Sprint(i), 1700000+float64(i), 600000, 1)); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(all(t, s, "elm", parcels.LayerParcels, parcels.Window{})); n != 2 {
		t.Errorf("an import under way shows: %d features", n)
	}
	if err := w.Abort(); err != nil {
		t.Fatal(err)
	}
	if i := ok[parcels.SiteInfo](t)(s.Site(ctx, "elm")); i.Version != 1 || i.Features[parcels.LayerParcels] != 2 {
		t.Errorf("after an abort: %+v", i)
	}
	if got := ok[[]byte](t)(s.Document(ctx, "elm")); string(got) != Document {
		t.Error("an abort has changed the document")
	}
	// a context that ends takes the import with it, and the turn comes back
	c, cancel := context.WithCancel(ctx)
	w = ok[parcels.LayerWriter](t)(s.Write(c, "elm", parcels.LayerParcels, "EPSG:2274", true))
	cancel()
	if _, err := w.Commit(c, "ann"); err == nil {
		t.Error("committed after its context ended")
	}
	_ = w.Abort()
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 1, "ann"))
}

func ids(t *testing.T, open Opener) {
	s := open(t)
	importLots(t, s, "a", "EPSG:2274", false, lot("1", 0, 0, 1), lot("2", 2, 0, 1))
	importLots(t, s, "b", "EPSG:2274", false, lot("1", 0, 0, 1)) // another site: its own ids
	twice := func(fs ...parcels.StoredFeature) error {
		w := ok[parcels.LayerWriter](t)(s.Write(ctx, "a", parcels.LayerParcels, "EPSG:2274", false))
		var err error
		for _, f := range fs {
			if err = w.Add(ctx, f); err != nil {
				break
			}
		}
		if err == nil {
			_, err = w.Commit(ctx, "ann")
		}
		_ = w.Abort()
		return err
	}
	for name, err := range map[string]error{
		"stored":  twice(lot("3", 4, 0, 1), lot("2", 2, 0, 1)),
		"in file": twice(lot("7", 4, 0, 1), lot("8", 4, 0, 1), lot("7", 2, 0, 1)),
	} {
		if kindOf(err) != parcels.Conflict || slug(err) != "duplicate-id" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if n := ok[int](t)(s.Count(ctx, "a", parcels.LayerParcels, parcels.Window{})); n != 2 {
		t.Errorf("%d features", n)
	}
	none := lot("", 0, 0, 1)
	importLots(t, s, "a", "EPSG:2274", false, none, none) // without ids none is twice
}

func systems(t *testing.T, open Opener) {
	s := open(t)
	importLots(t, s, "feet", "EPSG:2274", false, lot("1", 1700000, 600000, 50))
	importLots(t, s, "degrees", "", false, lot("1", -86, 36, 0.001))
	importLots(t, s, "also", "EPSG:4326", false, lot("1", -86, 36, 0.001))
	importLots(t, s, "metres", "EPSG:26916", false, lot("1", 500000, 4000000, 30))
	for name, crs := range map[string]string{"feet": "EPSG:2274", "degrees": "", "also": "", "metres": "EPSG:26916"} {
		if i := ok[parcels.SiteInfo](t)(s.Site(ctx, name)); i.CRS != crs {
			t.Errorf("%s: system %q, want %q", name, i.CRS, crs)
		}
	}
	if got := all(t, s, "degrees", parcels.LayerParcels, parcels.Window{}); len(got) != 1 || !strings.Contains(string(got[0].Geometry), "[-86,36]") {
		t.Errorf("longitude comes first: %v", got)
	}
	// a layer in another system is brought into the site's, and it is told
	w := ok[parcels.LayerWriter](t)(s.Write(ctx, "metres", parcels.LayerSpots, "", false))
	if err := w.Add(ctx, parcels.StoredFeature{Geometry: []byte(`{"type":"Point","coordinates":[-87,36,12.5]}`)}); err != nil {
		t.Fatal(err)
	}
	if err := w.Add(ctx, parcels.StoredFeature{Geometry: []byte(`{"type":"Point","coordinates":[]}`)}); kindOf(err) != parcels.Invalid {
		t.Errorf("a point of nothing: %v", err)
	}
	_ = w.Abort()
	w = ok[parcels.LayerWriter](t)(s.Write(ctx, "metres", parcels.LayerSpots, "", false))
	if err := w.Add(ctx, parcels.StoredFeature{Geometry: []byte(`{"type":"Point","coordinates":[-87,36,12.5]}`)}); err != nil {
		t.Fatal(err)
	}
	if i := ok[parcels.SiteInfo](t)(w.Commit(ctx, "ann")); i.CRS != "EPSG:26916" || len(i.Notes) != 1 || !strings.Contains(i.Notes[0], "from EPSG:4326 into EPSG:26916") {
		t.Errorf("brought: %+v", i)
	}
	onMeridian(t, all(t, s, "metres", parcels.LayerSpots, parcels.Window{})[0])
	if h := ok[[]parcels.Edit](t)(s.History(ctx, "metres")); !strings.Contains(h[len(h)-1].What, "into EPSG:26916") {
		t.Errorf("history %+v", h)
	}
	if _, err := s.Write(ctx, "feet", parcels.LayerSpots, "EPSG:999999", false); slug(err) != "crs-unknown" {
		t.Errorf("got %v", err)
	}
	// the only layer may come back in another system
	importLots(t, s, "feet", "EPSG:26916", true, lot("1", 500000, 4000000, 30))
	// a layer of a document in a system of its own is brought into the site's
	doc := `{"crs":"EPSG:26916","layers":{"parcels":{"type":"FeatureCollection","features":[]},
	  "inlets":{"type":"FeatureCollection","crs":"EPSG:4326","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[-87,36,12.5]},"properties":{}}]}}}`
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "mixed", []byte(doc), 0, "ann"))
	onMeridian(t, all(t, s, "mixed", parcels.LayerInlets, parcels.Window{})[0])
}

// onMeridian wants the point -87, 36, 12.5 in zone 16: on its central meridian
// the easting is 500000 exactly; the northing of 36 degrees is 0.9996 times the
// meridian arc 3985.0 km (tables).
func onMeridian(t *testing.T, f parcels.StoredFeature) {
	t.Helper()
	var p struct{ Coordinates []float64 }
	if err := json.Unmarshal(f.Geometry, &p); err != nil {
		t.Fatal(err)
	}
	if len(p.Coordinates) != 3 || p.Coordinates[0] < 499995 || p.Coordinates[0] > 500005 || p.Coordinates[1] < 3.98e6 || p.Coordinates[1] > 3.99e6 || p.Coordinates[2] != 12.5 {
		t.Errorf("moved to %v", p.Coordinates)
	}
}

func results(t *testing.T, open Opener) {
	s := open(t)
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	made := time.Date(2026, 3, 1, 12, 0, 0, 123e6, time.UTC)
	r := parcels.Result{Site: "elm", Kind: "plan", Version: 1, InputSHA: "abc", Program: "fallwright 1", Made: made, Inputs: []byte(`{"lots": ["1"]}`), Body: []byte(`{"summary": {} }`)}
	a := ok[parcels.Result](t)(s.PutResult(ctx, r))
	b := ok[parcels.Result](t)(s.PutResult(ctx, r))
	r.Kind = "zone"
	ok[parcels.Result](t)(s.PutResult(ctx, r))
	if a.ID == "" || a.ID == b.ID {
		t.Errorf("ids %q, %q", a.ID, b.ID)
	}
	got := ok[parcels.Result](t)(s.Result(ctx, a.ID))
	if string(got.Body) != `{"summary": {} }` || string(got.Inputs) != `{"lots": ["1"]}` || !got.Made.Equal(made) || got.Program != "fallwright 1" || got.InputSHA != "abc" || got.Version != 1 || got.Site != "elm" || got.Kind != "plan" {
		t.Errorf("result %+v", got)
	}
	if list := ok[[]parcels.Result](t)(s.Results(ctx, "elm", "plan")); len(list) != 2 || list[0].ID != a.ID {
		t.Errorf("plans %v", list)
	}
	if list := ok[[]parcels.Result](t)(s.Results(ctx, "elm", "")); len(list) != 3 {
		t.Errorf("results %v", list)
	}
	// results stay with their version when the site is put again
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	if got := ok[parcels.Result](t)(s.Result(ctx, a.ID)); got.Version != 1 {
		t.Errorf("version %d", got.Version)
	}
}

func remove(t *testing.T, open Opener) {
	s := open(t)
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	importLots(t, s, "oak", "EPSG:2274", false, lot("1", 1700000, 600000, 50))
	r := ok[parcels.Result](t)(s.PutResult(ctx, parcels.Result{Site: "elm", Kind: "plan"}))
	if err := s.DeleteSite(ctx, "elm", "bob"); err != nil {
		t.Fatal(err)
	}
	_, err := s.Site(ctx, "elm")
	wantKind(t, err, parcels.NotFound)
	_, err = s.Result(ctx, r.ID)
	wantKind(t, err, parcels.NotFound)
	if list := ok[[]parcels.SiteInfo](t)(s.Sites(ctx)); len(list) != 1 || list[0].Name != "oak" || list[0].Features[parcels.LayerParcels] != 1 {
		t.Errorf("left: %+v", list)
	}
	// a name that comes back goes on counting, so that no old tag fits it
	i := ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	if i.Version <= 1 {
		t.Errorf("version %d again", i.Version)
	}
	if h := ok[[]parcels.Edit](t)(s.History(ctx, "elm")); len(h) != 3 || h[1].Who != "bob" {
		t.Errorf("history %+v", h)
	}
}

func hostile(t *testing.T, open Opener) {
	s := open(t)
	name := `x'); DROP TABLE parcels; -- "quoted" <b>é`
	id := `a'b"c;--` + "\u202e"
	f := lot("", 1700000, 600000, 50)
	f.ID, f.Properties = id, []byte(`{"lot":"'; DELETE FROM parcels; --","__proto__":{"x":1},"=1+1":"<script>","big":123456789012345678901234567890.10}`)
	importLots(t, s, name, "EPSG:2274", false, f)
	got := all(t, s, name, parcels.LayerParcels, parcels.Window{ID: id})
	if len(got) != 1 || got[0].ID != id || string(got[0].Properties) != string(f.Properties) {
		t.Errorf("got %v", got)
	}
	if got := all(t, s, name, parcels.LayerParcels, parcels.Window{Equal: map[string]string{"big": "123456789012345678901234567890.10"}}); len(got) != 1 {
		t.Error("a number is kept digit for digit")
	}
	for _, g := range []string{`{"type":"Point","coordinates":[1,2]}`, `{"type":"Polygon","coordinates":[]}`, `{"type":"Polygon","coordinates":[[[1,2],[3]]]}`,
		`{"type":"Polygon","coordinates":[[[1,2],[3,4,5]]]}`, `{"type":"Polygon"`, `[]`, `{"type":"Polygon","coordinates":[[[1e999,2]]]}`, `{"type":"GeometryCollection","geometries":[]}`} {
		w := ok[parcels.LayerWriter](t)(s.Write(ctx, name, parcels.LayerParcels, "EPSG:2274", false))
		if err := w.Add(ctx, parcels.StoredFeature{Geometry: []byte(g)}); kindOf(err) != parcels.Invalid {
			t.Errorf("%s: %v", g, err)
		}
		if err := w.Abort(); err != nil {
			t.Fatal(err)
		}
	}
	if i := ok[parcels.SiteInfo](t)(s.Site(ctx, name)); i.Version != 1 {
		t.Errorf("version %d", i.Version)
	}
	if _, err := s.PutSite(ctx, name, []byte(`{"layers":`), 0, "ann"); kindOf(err) != parcels.Unreadable {
		t.Errorf("got %v", err)
	}
}

func concurrent(t *testing.T, open Opener) {
	s := open(t)
	other := open(t) // as another process would
	importLots(t, s, "a", "EPSG:2274", false, lot("1", 1700000, 600000, 50))
	w := ok[parcels.LayerWriter](t)(s.Write(ctx, "a", parcels.LayerParcels, "EPSG:2274", true))
	var group sync.WaitGroup
	for i := range 4 {
		group.Go(func() {
			r := s
			if i%2 == 1 {
				r = other
			}
			for range 20 {
				start := time.Now()
				n := 0
				for _, err := range r.Features(ctx, "a", parcels.LayerParcels, parcels.Window{}) {
					if err != nil {
						t.Error(err)
						return
					}
					n++
				}
				if n != 1 {
					t.Errorf("a reader saw %d features of an import under way", n)
				}
				if d := time.Since(start); d > 3*time.Second {
					t.Errorf("a reader was held up for %v", d)
				}
			}
		})
	}
	for i := range 2000 {
		if err := w.Add(ctx, lot(fmt.Sprint(i), 1700000+float64(i), 600000, 1)); err != nil {
			t.Fatal(err)
		}
	}
	group.Wait()
	// a second writer waits for its turn
	second := make(chan error, 1)
	go func() {
		_, err := s.PutSite(ctx, "b", []byte(Document), 0, "bob")
		second <- err
	}()
	time.Sleep(100 * time.Millisecond)
	ok[parcels.SiteInfo](t)(w.Commit(ctx, "ann"))
	if err := <-second; err != nil {
		t.Errorf("the second writer: %v", err)
	}
	if n := len(all(t, other, "a", parcels.LayerParcels, parcels.Window{})); n != 2000 {
		t.Errorf("after the commit a reader sees %d", n)
	}
}

func property(t *testing.T, open Opener) {
	s := open(t)
	r := rand.New(rand.NewSource(8))
	var want []parcels.StoredFeature
	for range 300 {
		z := r.Intn(2) == 1
		pos := func() []float64 {
			p := []float64{r.NormFloat64() * 1e6, r.Float64() * 1e-3, r.Float64()}
			if !z {
				return p[:2]
			}
			return p
		}
		ring := func() (out [][]float64) {
			for range 3 + r.Intn(5) {
				out = append(out, pos())
			}
			return append(out, out[0])
		}
		var g any
		switch r.Intn(3) {
		case 0:
			g = map[string]any{"type": "Polygon", "coordinates": [][][]float64{ring(), ring()}}
		case 1:
			g = map[string]any{"type": "MultiPolygon", "coordinates": [][][][]float64{{ring()}, {ring(), ring()}}}
		}
		f := parcels.StoredFeature{}
		if g != nil {
			f.Geometry, _ = json.MarshalIndent(g, "", " ")
		}
		if r.Intn(4) > 0 {
			f.Properties, _ = json.Marshal(map[string]any{"lot": r.Intn(50), "x": r.Float64()})
		}
		want = append(want, f)
	}
	importLots(t, s, "a", "EPSG:2274", false, want...)
	got := all(t, s, "a", parcels.LayerParcels, parcels.Window{})
	if len(got) != len(want) {
		t.Fatalf("%d features, want %d", len(got), len(want))
	}
	for i, w := range want {
		if len(w.Geometry) == 0 {
			if len(got[i].Geometry) != 0 {
				t.Errorf("%d: geometry %s, want none", i, got[i].Geometry)
			}
		} else {
			same(t, got[i].Geometry, string(w.Geometry))
		}
		if string(got[i].Properties) != string(w.Properties) {
			t.Errorf("%d: properties %s, want %s", i, got[i].Properties, w.Properties)
		}
	}
}

func sorted(t *testing.T, open Opener) {
	s := open(t)
	var fs []parcels.StoredFeature
	for i, v := range []string{`3`, `"b"`, `1`, `null`, `"a"`, `20`} {
		f := lot(fmt.Sprint(i), 1700000, 600000, 50)
		f.Properties = []byte(`{"v":` + v + `}`)
		fs = append(fs, f)
	}
	importLots(t, s, "a", "EPSG:2274", false, fs...)
	order := func(w parcels.Window) (out string) {
		for _, f := range all(t, s, "a", parcels.LayerParcels, w) {
			out += f.ID
		}
		return out
	}
	if got := order(parcels.Window{Sort: "v"}); got != "205413" {
		t.Errorf("sorted %s", got)
	}
	if got := order(parcels.Window{Sort: "-v", Limit: 3}); got != "145" {
		t.Errorf("sorted down %s", got)
	}
}
