package auditor

// Audits of stored sites, read window by window: the same bytes as of the
// document in memory, whatever the windows, the workers, the store.

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs/pgtemp"
	"fallwright/parcels/store/gpkg"
	postgisstore "fallwright/parcels/store/postgis"
	"fallwright/sampledata"
)

// asDocument writes a site's lots, buildings, easements, inlets and drains as a
// document.
func asDocument(t testing.TB, s *parcels.Site) []byte {
	t.Helper()
	var b bytes.Buffer
	fmt.Fprintf(&b, `{"site":%q,"crs":"EPSG:2154","layers":{`, s.Name)
	layer := func(l parcels.Layer, n int, f func(i int) document.Row) {
		t.Helper()
		head, tail := document.CollectionEnds(s.Frame)
		if l != parcels.LayerParcels {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%q:%s", l, head)
		for i := range n {
			if i > 0 {
				b.WriteString(",\n")
			}
			ft, err := document.AppendFeature(nil, s.Frame, f(i))
			if err != nil {
				t.Fatal(err)
			}
			b.Write(ft)
		}
		b.WriteString(tail)
	}
	type props map[string]any
	layer(parcels.LayerParcels, len(s.Lots), func(i int) document.Row {
		return document.Row{Geometry: geometry(s.Lots[i].Shape), Properties: props{"lot": s.Lots[i].ID}}
	})
	layer(parcels.LayerBuildings, len(s.Buildings), func(i int) document.Row {
		return document.Row{ID: s.Buildings[i].FeatureID, Geometry: geometry(s.Buildings[i].Shape), Properties: props{"lot": s.Buildings[i].Lot}}
	})
	layer(parcels.LayerEasements, len(s.Easements), func(i int) document.Row {
		return document.Row{Geometry: geometry(s.Easements[i].Geometry.(orb.MultiPolygon)), Properties: props{"easement": s.Easements[i].ID, "kind": "drainage"}}
	})
	layer(parcels.LayerInlets, len(s.Inlets), func(i int) document.Row {
		return document.Row{Geometry: s.Inlets[i].At, Properties: props{"inlet": s.Inlets[i].ID, "system": "storm"}}
	})
	layer(parcels.LayerDrains, len(s.Drains), func(i int) document.Row {
		return document.Row{Geometry: s.Drains[i].Line, Properties: props{"drain": s.Drains[i].ID, "lot": s.Drains[i].Lot}}
	})
	b.WriteString("}}")
	return b.Bytes()
}

// stores opens one of each kind.
func stores(t testing.TB) map[string]parcels.Store {
	t.Helper()
	file, err := gpkg.Open(filepath.Join(t.TempDir(), "s.gpkg"), gpkg.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { file.Close() })
	db, err := postgisstore.Open(pgtemp.Start(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return map[string]parcels.Store{"GeoPackage": file, "PostGIS": db}
}

func put(t testing.TB, st parcels.Store, name string, doc []byte) {
	t.Helper()
	if _, err := st.PutSite(context.Background(), name, doc, 0, "test"); err != nil {
		t.Fatal(err)
	}
}

func storedJSON(t testing.TB, st parcels.Store, r Request, o Options) []byte {
	t.Helper()
	res, err := Stored(context.Background(), st.(Source), r, o)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Close()
	var b bytes.Buffer
	if err := res.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// differ says where two texts part.
func differ(t testing.TB, what string, want, got []byte) {
	t.Helper()
	if bytes.Equal(want, got) {
		return
	}
	i := 0
	for i < min(len(want), len(got)) && want[i] == got[i] {
		i++
	}
	t.Errorf("%s: %d bytes in place of %d; at %d\nwant %.300s\ngot  %.300s", what, len(got), len(want), i, want[max(0, i-100):], got[max(0, i-100):])
}

// faulty is a site with what is refused or mended: two lots of one name, a lot
// that crosses itself, a building without a shape, inlets whose levels are
// placeholders, a clockwise ring, a shot that is one.
const faulty = `{"crs":"EPSG:2154","layers":{
"parcels":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"lot":"1"},"geometry":{"type":"Polygon","coordinates":[[[900000,6700000],[900030,6700000],[900030,6700040],[900000,6700040],[900000,6700000]]]}},
{"type":"Feature","properties":{"lot":"x"},"geometry":{"type":"Polygon","coordinates":[[[900100,6700000],[900130,6700040],[900130,6700000],[900100,6700040],[900100,6700000]]]}},
{"type":"Feature","properties":{"lot":"1"},"geometry":{"type":"Polygon","coordinates":[[[900060,6700000],[900090,6700000],[900090,6700040],[900060,6700040],[900060,6700000]]]}},
{"type":"Feature","properties":{"lot":"2","clearance_m":"wide"},"geometry":{"type":"Polygon","coordinates":[[[900030,6700000],[900030,6700040],[900060,6700040],[900060,6700000],[900030,6700000]]]}},
{"type":"Feature","id":"k","properties":{},"geometry":{"type":"Polygon","coordinates":[[[900000,6700040],[900030,6700040],[900030,6700080],[900000,6700080],[900000,6700040]]]}}]},
"buildings":{"type":"FeatureCollection","features":[
{"type":"Feature","id":"h1","properties":{"lot":"1"},"geometry":{"type":"Polygon","coordinates":[[[900010,6700010],[900020,6700010],[900020,6700021],[900010,6700021],[900010,6700010]]]}},
{"type":"Feature","id":"h2","properties":{},"geometry":null},
{"type":"Feature","id":"h3","properties":{},"geometry":{"type":"Polygon","coordinates":[[[900010,6700050],[900020,6700050],[900020,6700050.0002],[900020,6700061],[900010,6700061],[900010,6700050]]]}}]},
"inlets":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"inlet":"A","system":"storm","rim_m":0,"invert_m":97},"geometry":{"type":"Point","coordinates":[900031,6700041]}},
{"type":"Feature","properties":{"inlet":"A","system":"storm"},"geometry":{"type":"Point","coordinates":[900032,6700041]}},
{"type":"Feature","properties":{"inlet":"B","rim_m":100,"invert_m":9999},"geometry":{"type":"Point","coordinates":[900059,6700042]}}]},
"spots":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[900000,6700000,100]}},
{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[900060,6700000,101]}},
{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[900030,6700020,999]}},
{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[900030,6700080,100.4]}}]},
"obstacles":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"obstacle":"t","kind":"tree","radius_m":45},"geometry":{"type":"Point","coordinates":[900090,6700060]}}]}}}`

func TestStored(t *testing.T) {
	st := stores(t)
	t.Run("PropertySameBytes", func(t *testing.T) { storedSameBytes(t, st) })
	t.Run("ByLayer", func(t *testing.T) { storedByLayer(t, st) })
}

func storedSameBytes(t *testing.T, stores map[string]parcels.Store) {
	quick := []string{"zone", "passages", "nearest_inlet", "drains", "footprints", "side_yards", "fences", "fabric", "swales", "shared_drains", "inlets"}
	type site struct {
		name   string
		doc    []byte
		checks []string
		going  bool
		tries  []Options
	}
	all := []site{
		{"sample", sampledata.StatePlane(), nil, false, []Options{{Workers: 2, Chunk: 5}}}, // over PostGIS: see package jobs
		{"quick", sampledata.StatePlane(), quick, false, []Options{{Workers: 1, Chunk: 1}, {Workers: 3, Chunk: 7}, {Workers: 2}}},
		{"degrees", sampledata.LonLat(), quick, false, []Options{{Workers: 2, Chunk: 4}, {Workers: 1}}},
		{"county", asDocument(t, county(t, 400)), append(countyChecks, "fabric", "shared_drains", "inlets"), false, []Options{{Workers: 2, Chunk: 40}, {Workers: 1}}},
		{"faulty", []byte(faulty), nil, true, []Options{{Workers: 1, Chunk: 1}, {Workers: 2}}},
	}
	_, sampleAudit := sample()
	for kind, st := range stores {
		for _, x := range all {
			put(t, st, x.name, x.doc)
			if x.checks == nil && !x.going && kind == "PostGIS" {
				continue
			}
			s, err := document.Read(x.doc, document.Options{KeepGoing: x.going})
			if err != nil {
				t.Fatal(err)
			}
			a := sampleAudit
			if x.checks != nil || x.going {
				a = auditOf(t, s, Options{Checks: x.checks, Zones: true})
			}
			want, err := Write(a, s.Frame)
			if err != nil {
				t.Fatal(err)
			}
			if x.going { // the document has no name, the store gives it one
				want = bytes.Replace(want, []byte(`{"status":"preliminary",`), []byte(`{"status":"preliminary","site":"faulty",`), 1)
			}
			for _, o := range x.tries {
				got := storedJSON(t, st, Request{Site: x.name, Checks: x.checks, Zones: true, KeepGoing: x.going}, o)
				differ(t, fmt.Sprintf("%s, %s, %d workers, windows of %d", kind, x.name, o.Workers, o.Chunk), want, got)
			}
		}
		// some lots only
		s, _ := sample()
		want, err := Write(auditOf(t, s, Options{Checks: quick, Lots: []string{"B4", "A1", "D9"}}), s.Frame)
		if err != nil {
			t.Fatal(err)
		}
		differ(t, kind+", three lots", want, storedJSON(t, st, Request{Site: "sample", Checks: quick, Lots: []string{"D9", "B4", "A1"}}, Options{Chunk: 2}))
	}
}

// Layers that were imported one by one, after a document or without one.
func storedByLayer(t *testing.T, stores map[string]parcels.Store) {
	ctx := context.Background()
	s := county(t, 60)
	doc := asDocument(t, s)
	for kind, st := range stores {
		put(t, st, "whole", doc)
		for _, l := range []parcels.Layer{parcels.LayerParcels, parcels.LayerBuildings, parcels.LayerEasements, parcels.LayerInlets, parcels.LayerDrains} {
			w, err := st.Write(ctx, "county", l, "EPSG:2154", true)
			if err != nil {
				t.Fatal(err)
			}
			for f, err := range st.Features(ctx, "whole", l, parcels.Window{}) {
				if err == nil {
					err = w.Add(ctx, f)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
			if _, err := w.Commit(ctx, "test"); err != nil {
				t.Fatal(err)
			}
		}
		want := storedJSON(t, st, Request{Site: "whole", Checks: countyChecks}, Options{Chunk: 9})
		differ(t, kind, want, storedJSON(t, st, Request{Site: "county", Checks: countyChecks}, Options{Chunk: 16}))
	}
}

// Whatever an audit of a stored site is refused for.
func TestStoredRefused(t *testing.T) {
	ctx := context.Background()
	st, err := gpkg.Open(filepath.Join(t.TempDir(), "s.gpkg"), gpkg.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	put(t, st, "faulty", []byte(faulty))
	put(t, st, "sample", sampledata.StatePlane())
	var in *parcels.InputError
	if _, err := Stored(ctx, st, Request{Site: "faulty"}, Options{}); !errors.As(err, &in) || len(in.Faults) != 5 {
		t.Errorf("a faulty site: %v", err)
	}
	_, err = document.Read([]byte(faulty), document.Options{})
	if errors.As(err, &in); err == nil {
		t.Fatal("read")
	}
	want := regexp.MustCompile(`(?m)^`).ReplaceAllString(err.Error(), "")
	if _, err := Stored(ctx, st, Request{Site: "faulty"}, Options{}); err == nil || err.Error() != want {
		t.Errorf("faults of the stored site:\n%v\nof the document:\n%s", err, want)
	}
	if _, err := Stored(ctx, st, Request{Site: "sample", Lots: []string{"B4", "Z9"}}, Options{}); !errors.As(err, &in) || in.Faults[0].Slug != "lot-unknown" || !strings.Contains(in.Faults[0].Detail, "Z9") {
		t.Errorf("an unknown lot: %v", err)
	}
	if _, err := Stored(ctx, st, Request{Site: "sample", Checks: []string{"zonne"}}, Options{}); !errors.As(err, &in) || in.Faults[0].Slug != "check-unknown" {
		t.Errorf("an unknown check: %v", err)
	}
	var e *parcels.Error
	if _, err := Stored(ctx, st, Request{Site: "nowhere"}, Options{}); !errors.As(err, &e) || e.Kind != parcels.NotFound {
		t.Errorf("no such site: %v", err)
	}
	if _, err := Stored(ctx, st, Request{Site: "sample", Version: 7}, Options{}); !errors.As(err, &e) || e.Kind != parcels.Conflict {
		t.Errorf("another version: %v", err)
	}
	// the site changes while it is audited
	r := Request{Site: "sample", Checks: []string{"zone"}}
	j, err := r.prepare(ctx, st, 4, 1)
	if err != nil {
		t.Fatal(err)
	}
	put(t, st, "sample", sampledata.StatePlane())
	if _, err := j.open(ctx, 0, nil); !errors.As(err, &e) || e.Kind != parcels.Conflict {
		t.Errorf("a changed site: %v", err)
	}
}
