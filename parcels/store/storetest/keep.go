package storetest

// What stores keep besides sites: inputs of results, rasters, jobs, replies.

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math/rand"
	"strings"
	"sync"
	"testing"
	"time"

	"fallwright/geo/unit"
	"fallwright/parcels"
)

func sum(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

func inputs(t *testing.T, open Opener) {
	s := open(t)
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	r := ok[parcels.Result](t)(s.PutResult(ctx, parcels.Result{Site: "elm", Kind: "plan", Version: 1, Document: []byte(Document), Ground: strings.Repeat("0", 64)}))
	if r.InputSHA != sum([]byte(Document)) {
		t.Errorf("checksum %s", r.InputSHA)
	}
	ok[parcels.Result](t)(s.PutResult(ctx, parcels.Result{Site: "elm", Kind: "plan", Document: []byte(Document), InputSHA: r.InputSHA}))
	// the site goes on; the result's document stays, byte for byte
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(strings.Replace(Document, "CB-1", "CB-2", 1)), 0, "ann"))
	got := ok[parcels.Result](t)(s.Result(ctx, r.ID))
	if got.Ground != strings.Repeat("0", 64) || got.InputSHA != r.InputSHA {
		t.Errorf("result %+v", got)
	}
	if doc := ok[[]byte](t)(s.Input(ctx, got)); string(doc) != Document {
		t.Errorf("not byte for byte: %s", doc)
	}
	_, err := s.PutResult(ctx, parcels.Result{Site: "elm", Kind: "plan", Document: []byte(Document), InputSHA: sum(nil)})
	wantKind(t, err, parcels.Invalid)
	without := ok[parcels.Result](t)(s.PutResult(ctx, parcels.Result{Site: "elm", Kind: "plan", InputSHA: sum([]byte("x"))}))
	_, err = s.Input(ctx, without)
	wantKind(t, err, parcels.NotFound)
	if err := s.DeleteSite(ctx, "elm", "ann"); err != nil {
		t.Fatal(err)
	}
	_, err = s.Input(ctx, got)
	wantKind(t, err, parcels.NotFound)
}

func settings(t *testing.T, open Opener) {
	s := open(t)
	_, err := s.PutSettings(ctx, "elm", map[string]json.RawMessage{"soil": []byte(`{}`)}, 0, "ann")
	wantKind(t, err, parcels.NotFound)
	importLots(t, s, "oak", "EPSG:2274", false, lot("1", 1700000, 600000, 50))
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	_, err = s.PutSettings(ctx, "elm", map[string]json.RawMessage{"soil": []byte(`{}`)}, 7, "ann")
	wantKind(t, err, parcels.Conflict)
	for _, key := range []string{"layers", "crs"} {
		_, err := s.PutSettings(ctx, "elm", map[string]json.RawMessage{key: []byte(`"EPSG:4326"`)}, 0, "ann")
		wantKind(t, err, parcels.Invalid)
	}
	for _, site := range []string{"elm", "oak"} {
		before := ok[[]byte](t)(s.Document(ctx, site))
		i := ok[parcels.SiteInfo](t)(s.PutSettings(ctx, site, map[string]json.RawMessage{"soil": []byte(`{"texture": "loam"}`), "vertical_datum": []byte(`"NGVD29"`)}, 1, "bob"))
		if i.Version != 2 || i.CRS != "EPSG:2274" || i.Features[parcels.LayerParcels] == 0 {
			t.Errorf("%s: %+v", site, i)
		}
		var a, b map[string]json.RawMessage
		if err := json.Unmarshal(before, &a); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(ok[[]byte](t)(s.Document(ctx, site)), &b); err != nil {
			t.Fatal(err)
		}
		if string(b["soil"]) != `{"texture": "loam"}` || string(b["vertical_datum"]) != `"NGVD29"` {
			t.Errorf("%s: %s %s", site, b["soil"], b["vertical_datum"])
		}
		for k, v := range a {
			if k != "vertical_datum" && string(b[k]) != string(v) {
				t.Errorf("%s: %s has become %s", site, k, b[k])
			}
		}
		if h := ok[[]parcels.Edit](t)(s.History(ctx, site)); h[1].What != "set soil, vertical_datum" || h[1].Who != "bob" {
			t.Errorf("history %+v", h)
		}
		ok[parcels.SiteInfo](t)(s.PutSettings(ctx, site, map[string]json.RawMessage{"soil": []byte(`null`)}, 0, "bob"))
		if doc := ok[[]byte](t)(s.Document(ctx, site)); bytes.Contains(doc, []byte("loam")) || !bytes.Contains(doc, []byte("NGVD29")) {
			t.Errorf("%s: %s", site, doc)
		}
	}
	// an import holds to the version that it is told
	w := ok[parcels.LayerWriter](t)(s.Write(ctx, "oak", parcels.LayerParcels, "EPSG:2274", true))
	wantKind(t, w.Expect(ctx, 2), parcels.Conflict)
	if err := w.Expect(ctx, 3); err != nil {
		t.Error(err)
	}
	if err := w.Expect(ctx, 0); err != nil {
		t.Error(err)
	}
	if err := w.Abort(); err != nil {
		t.Error(err)
	}
}

func rasters(t *testing.T, open Opener) {
	s := open(t)
	// longer than the parts it is cut into, and of no round length
	data := make([]byte, 3<<20+123)
	rand.New(rand.NewSource(4)).Read(data)
	r := parcels.Raster{Site: "elm", Name: "dtm.tif", Format: "GeoTIFF", CRS: "EPSG:2274", Columns: 400, Rows: 300, Bounds: [4]float64{1, 2.5, 3, 4}, ElevationUnit: unit.SurveyFoot, Bytes: int64(len(data))}
	_, err := s.PutRaster(ctx, r, bytes.NewReader(data), 0, "ann")
	wantKind(t, err, parcels.NotFound)
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	if list := ok[[]parcels.Raster](t)(s.Rasters(ctx, "elm")); len(list) != 0 {
		t.Errorf("rasters %v", list)
	}
	a := ok[parcels.Raster](t)(s.PutRaster(ctx, r, bytes.NewReader(data), 1, "ann"))
	if a.SHA256 != sum(data) || a.Stored.IsZero() {
		t.Errorf("stored %+v", a)
	}
	if h := ok[[]parcels.Edit](t)(s.History(ctx, "elm")); len(h) != 2 || !strings.Contains(h[1].What, "dtm.tif") {
		t.Errorf("history %+v", h)
	}
	// the document names no terrain: it gets this one, all else as it was
	if doc := string(ok[[]byte](t)(s.Document(ctx, "elm"))); !strings.Contains(doc, `"terrain":"dtm.tif"`) || !strings.Contains(doc, `{"a": [1, 2.50]}`) {
		t.Errorf("document %s", doc)
	}
	_, err = s.PutRaster(ctx, r, bytes.NewReader(data), 1, "ann") // the site is at version 2
	wantKind(t, err, parcels.Conflict)
	s.Close()
	s = open(t)
	got, file, err := s.OpenRaster(ctx, "elm", "dtm.tif")
	if err != nil {
		t.Fatal(err)
	}
	if got != a {
		t.Errorf("got %+v, want %+v", got, a)
	}
	rnd := rand.New(rand.NewSource(5))
	var group sync.WaitGroup
	for range 4 {
		seed := rnd.Int63()
		group.Go(func() {
			rnd := rand.New(rand.NewSource(seed))
			for range 100 {
				off, n := rnd.Intn(len(data)), rnd.Intn(600<<10)
				b := make([]byte, n)
				k, err := file.ReadAt(b, int64(off))
				if want := min(n, len(data)-off); k != want || want < n && err != io.EOF || want == n && err != nil || !bytes.Equal(b[:k], data[off:off+k]) {
					t.Errorf("at %d, %d bytes: %d, %v", off, n, k, err)
				}
			}
		})
	}
	group.Wait()
	if n, err := file.ReadAt(make([]byte, 1), int64(len(data))); n != 0 || err != io.EOF {
		t.Errorf("at the end: %d %v", n, err)
	}
	// replaced while open: the reader goes on with what it opened
	ok[parcels.Result](t)(s.PutResult(ctx, parcels.Result{Site: "elm", Kind: "plan", Ground: a.SHA256}))
	small := []byte("another raster")
	r.Bytes = int64(len(small))
	b := ok[parcels.Raster](t)(s.PutRaster(ctx, r, bytes.NewReader(small), 0, "bob"))
	whole, err := io.ReadAll(io.NewSectionReader(file, 0, a.Bytes))
	if err != nil || !bytes.Equal(whole, data) {
		t.Errorf("after it was replaced: %d bytes, %v", len(whole), err)
	}
	if err := file.Close(); err != nil {
		t.Error(err)
	}
	if list := ok[[]parcels.Raster](t)(s.Rasters(ctx, "elm")); len(list) != 1 || list[0] != b {
		t.Errorf("rasters %v", list)
	}
	// a result rests on the old one, so it is there by its checksum
	old, file, err := s.OpenRaster(ctx, "elm", a.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	whole, err = io.ReadAll(io.NewSectionReader(file, 0, old.Bytes))
	if err != nil || !bytes.Equal(whole, data) || old != a {
		t.Errorf("by its checksum: %d bytes, %v", len(whole), err)
	}
	file.Close()
	// the old one comes back under its name
	r.Bytes = a.Bytes
	if back := ok[parcels.Raster](t)(s.PutRaster(ctx, r, bytes.NewReader(data), 0, "bob")); back.SHA256 != a.SHA256 {
		t.Errorf("back %+v", back)
	}
	_, _, err = s.OpenRaster(ctx, "elm", b.SHA256) // nothing rests on the new one
	wantKind(t, err, parcels.NotFound)
	r.Bytes = b.Bytes
	ok[parcels.Raster](t)(s.PutRaster(ctx, r, bytes.NewReader(small), 0, "bob"))
	if err := s.DeleteRaster(ctx, "elm", "dtm.tif", 0, "bob"); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"dtm.tif", b.SHA256, "'; DROP TABLE x"} {
		_, _, err := s.OpenRaster(ctx, "elm", name)
		wantKind(t, err, parcels.NotFound)
	}
	wantKind(t, s.DeleteRaster(ctx, "elm", "dtm.tif", 0, "bob"), parcels.NotFound)
	for what, bad := range map[string]parcels.Raster{
		"no name": {Site: "elm", Bytes: 14, Columns: 1, Rows: 1, ElevationUnit: 1}, "named as a checksum": {Site: "elm", Name: sum(nil), Bytes: 14, Columns: 1, Rows: 1, ElevationUnit: 1},
		"no bytes": {Site: "elm", Name: "x", Columns: 1, Rows: 1, ElevationUnit: 1}, "no unit": {Site: "elm", Name: "x", Bytes: 14, Columns: 1, Rows: 1},
		"longer than it is": {Site: "elm", Name: "x", Bytes: 15, Columns: 1, Rows: 1, ElevationUnit: 1}, "wrong checksum": {Site: "elm", Name: "x", Bytes: 14, Columns: 1, Rows: 1, ElevationUnit: 1, SHA256: sum(nil)},
	} {
		if _, err := s.PutRaster(ctx, bad, bytes.NewReader(small), 0, "ann"); kindOf(err) != parcels.Invalid {
			t.Errorf("%s: %v", what, err)
		}
	}
	v := ok[parcels.SiteInfo](t)(s.Site(ctx, "elm")).Version
	// a source that changes between its two readings leaves nothing
	if _, err := s.PutRaster(ctx, r, &fickle{}, 0, "ann"); kindOf(err) != parcels.Conflict {
		t.Errorf("a source that changes: %v", err)
	}
	if got := ok[parcels.SiteInfo](t)(s.Site(ctx, "elm")); got.Version != v || len(ok[[]parcels.Raster](t)(s.Rasters(ctx, "elm"))) != 0 {
		t.Errorf("a refused raster has changed the site: %+v", got)
	}
}

// fickle gives other bytes each time it is read.
type fickle struct{ n byte }

func (f *fickle) ReadAt(p []byte, _ int64) (int, error) {
	f.n++
	for i := range p {
		p[i] = f.n
	}
	return len(p), nil
}

func jobs(t *testing.T, open Opener) {
	s := open(t)
	if list := ok[[]parcels.Job](t)(s.Jobs(ctx, "", "")); len(list) != 0 {
		t.Errorf("jobs %v", list)
	}
	_, err := s.Job(ctx, "none")
	wantKind(t, err, parcels.NotFound)
	wantKind(t, s.PutJob(ctx, parcels.Job{}), parcels.Invalid)
	made := time.Date(2026, 3, 1, 12, 0, 0, 123e6, time.UTC)
	put := func(j parcels.Job) {
		t.Helper()
		if err := s.PutJob(ctx, j); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 5 {
		put(parcels.Job{ID: fmt.Sprintf("j%d", i), Owner: []string{"ann", "bob"}[i%2], Site: "elm", State: "accepted", Created: made.Add(time.Duration(i) * time.Second), Updated: made, Status: []byte(`{"status": "accepted"}`), Request: []byte(`{"inputs":{}}`)})
	}
	expires := made.Add(time.Hour)
	done := parcels.Job{ID: "j0", Owner: "ann", Site: "elm", State: "successful", Created: made, Updated: made.Add(time.Minute), Expires: &expires, Status: []byte(`{}`), Media: "application/json", Body: []byte(`{"summary": {} }`)}
	put(done)
	s.Close()
	s = open(t)
	got := ok[parcels.Job](t)(s.Job(ctx, "j0"))
	if string(got.Body) != string(done.Body) || got.Bytes != int64(len(done.Body)) || got.State != "successful" || !got.Created.Equal(made) || !got.Updated.Equal(done.Updated) || got.Expires == nil || !got.Expires.Equal(expires) || got.Media != done.Media || string(got.Status) != "{}" || got.Owner != "ann" || got.Site != "elm" || len(got.Request) != 0 {
		t.Errorf("job %+v", got)
	}
	if got := ok[parcels.Job](t)(s.Job(ctx, "j1")); got.Body != nil || got.Expires != nil || string(got.Request) != `{"inputs":{}}` {
		t.Errorf("job %+v", got)
	}
	for _, c := range []struct {
		owner, state string
		want         string
	}{{"", "", "j0 j1 j2 j3 j4"}, {"ann", "", "j0 j2 j4"}, {"ann", "accepted", "j2 j4"}, {"", "successful", "j0"}, {"eve", "", ""}, {"' OR 1=1 --", "", ""}} {
		var ids []string
		for _, j := range ok[[]parcels.Job](t)(s.Jobs(ctx, c.owner, c.state)) {
			ids = append(ids, j.ID)
			if j.Body != nil || j.Request != nil {
				t.Error("a list holds bodies")
			}
		}
		if got := strings.Join(ids, " "); got != c.want {
			t.Errorf("%q %q: %s, want %s", c.owner, c.state, got, c.want)
		}
	}
	if n := ok[int](t)(s.Expire(ctx, expires)); n != 0 {
		t.Errorf("%d expired before their time", n)
	}
	if n := ok[int](t)(s.Expire(ctx, expires.Add(time.Second))); n != 1 {
		t.Errorf("%d expired", n)
	}
	for range 2 {
		if err := s.DeleteJob(ctx, "j1"); err != nil {
			t.Error(err)
		}
	}
	// jobs about a site go with it
	ok[parcels.SiteInfo](t)(s.PutSite(ctx, "elm", []byte(Document), 0, "ann"))
	put(parcels.Job{ID: "other"})
	if err := s.DeleteSite(ctx, "elm", "ann"); err != nil {
		t.Fatal(err)
	}
	if list := ok[[]parcels.Job](t)(s.Jobs(ctx, "", "")); len(list) != 1 || list[0].ID != "other" || list[0].Created.IsZero() {
		t.Errorf("left %v", list)
	}
}

func replies(t *testing.T, open Opener) {
	s := open(t)
	_, err := s.Reply(context.Background(), "k")
	wantKind(t, err, parcels.NotFound)
	made := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	r := parcels.Reply{Key: "ann/k", SHA256: sum(nil), Made: made, Expires: made.Add(time.Hour), Status: 201, Header: []byte(`{"ETag":["x"]}`), Body: []byte{0, 1, 255}}
	for range 2 {
		if err := s.PutReply(ctx, r); err != nil {
			t.Fatal(err)
		}
	}
	got := ok[parcels.Reply](t)(s.Reply(ctx, "ann/k"))
	if got.Key != r.Key || got.SHA256 != r.SHA256 || !got.Made.Equal(made) || !got.Expires.Equal(r.Expires) || got.Status != 201 || string(got.Header) != string(r.Header) || !bytes.Equal(got.Body, r.Body) {
		t.Errorf("got %+v", got)
	}
	if n := ok[int](t)(s.Expire(ctx, made.Add(2*time.Hour))); n != 1 {
		t.Errorf("%d expired", n)
	}
	_, err = s.Reply(ctx, "ann/k")
	wantKind(t, err, parcels.NotFound)
}
