package main

// The service on a store of its own: put, ask, stop, start, ask again.

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/api"
	"fallwright/parcels"
	"fallwright/parcels/jobs/pgtemp"
	"fallwright/parcels/store/storetest"
)

// served starts the service over a store file; stop ends both.
func served(t *testing.T, path string) (address string, stop func()) {
	t.Helper()
	s, err := openStore(path, storeServed)
	if err != nil {
		t.Fatal(err)
	}
	service, err := api.New(api.Options{Engine: engine{store: s}, Store: s, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(service)
	return srv.URL, func() {
		srv.Close()
		if err := service.Close(context.Background()); err != nil {
			t.Error(err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

// httpServed starts the service over an open store, until the test ends.
func httpServed(t *testing.T, s parcels.Store) string {
	t.Helper()
	service, err := api.New(api.Options{Engine: engine{store: s}, Store: s, Version: version()})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(service)
	t.Cleanup(func() {
		srv.Close()
		_ = service.Close(context.Background()) // nothing runs
	})
	return srv.URL
}

// asURL is the address of a database as --store takes it.
func asURL(dsn string) string {
	host, _, _ := strings.Cut(strings.TrimPrefix(dsn, "host="), " ")
	return "postgres://postgres@/postgres?sslmode=disable&host=" + url.QueryEscape(host)
}

func ask(t *testing.T, method, url, media string, body []byte) (int, []byte) {
	t.Helper()
	r, err := http.NewRequest(method, url, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if media != "" {
		r.Header.Set("Content-Type", media)
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, b
}

func TestServiceWithStore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.gpkg")
	url, stop := served(t, path)
	if code, b := ask(t, "POST", url+"/sites", "application/json", []byte(storetest.Document)); code != 201 {
		t.Fatalf("%d %s", code, b)
	}
	if code, _ := ask(t, "POST", url+"/sites", "application/json", []byte(storetest.Document)); code != 409 {
		t.Errorf("the same name again: %d", code)
	}
	stop()
	url, stop = served(t, path)
	defer stop()
	code, b := ask(t, "GET", url+"/sites/Elm%20Court/document", "", nil)
	if code != 200 || string(b) != storetest.Document {
		t.Errorf("%d %s", code, b)
	}
	code, b = ask(t, "GET", url+"/collections", "", nil)
	if code != 200 || !strings.Contains(string(b), `"parcels"`) || !strings.Contains(string(b), `"inlets"`) {
		t.Errorf("%d %s", code, b)
	}
	var items struct {
		NumberMatched int
		Features      []struct {
			ID         any
			Properties map[string]any
		}
	}
	code, b = ask(t, "GET", url+"/collections/parcels/items?lot=1", "", nil)
	if err := json.Unmarshal(b, &items); err != nil || code != 200 || items.NumberMatched != 1 || len(items.Features) != 1 || items.Features[0].ID != "9007199254740993" {
		t.Errorf("%d %s", code, b)
	}
	if code, b := ask(t, "GET", url+"/collections/parcels/items?bbox=1700150,600010,1700160,600020&bbox-crs=EPSG:2274", "", nil); code != 200 || !strings.Contains(string(b), `"two"`) || strings.Contains(string(b), "9007199254740993") {
		t.Errorf("%d %s", code, b)
	}
	if code, b := ask(t, "GET", url+"/readyz", "", nil); code != 200 {
		t.Errorf("%d %s", code, b)
	}
	if code, b := ask(t, "DELETE", url+"/sites/Elm%20Court", "", nil); code != 204 {
		t.Errorf("%d %s", code, b)
	}
	if code, _ := ask(t, "GET", url+"/sites/Elm%20Court", "", nil); code != 404 {
		t.Errorf("after it was deleted: %d", code)
	}
}

func TestServiceImports(t *testing.T) {
	url, stop := served(t, filepath.Join(t.TempDir(), "store.gpkg"))
	defer stop()
	lots := []byte("wkt,APN\n\"POLYGON((-86 36,-85.999 36,-85.999 36.001,-86 36.001,-86 36))\",1\n")
	code, b := ask(t, "POST", url+"/sites?site=elm&layer=parcels", "text/csv", lots)
	if code != 201 || !strings.Contains(string(b), "lot was taken from APN") {
		t.Fatalf("%d %s", code, b)
	}
	if code, b := ask(t, "POST", url+"/sites?site=elm&layer=inlets", "text/csv", []byte("lon,lat,facilityid\n-86,36,CB-1\n")); code != 200 {
		t.Errorf("%d %s", code, b)
	}
	// a layer in another system is brought into the site's, and it is told: the
	// UTM zone 16 coordinates of -86, 36 by cs2cs
	utm := []byte(`{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::26916"}},"features":[{"type":"Feature","properties":{"elevation_m":200},"geometry":{"type":"Point","coordinates":[590129.05,3984410.79]}}]}`)
	if code, b := ask(t, "POST", url+"/sites?site=elm&layer=spots", "application/geo+json", utm); code != 200 || !strings.Contains(string(b), "brought from EPSG:26916 into EPSG:4326") {
		t.Errorf("%d %s", code, b)
	}
	if code, b := ask(t, "GET", url+"/collections/spots/items?site=elm&bbox=-86.001,35.999,-85.999,36.001", "", nil); code != 200 || !strings.Contains(string(b), `"numberMatched":1`) {
		t.Errorf("%d %s", code, b)
	}
	bad := bytes.Replace(lots, []byte("-85.999 36.001,-86 36.001,"), nil, 1)
	if code, b := ask(t, "POST", url+"/sites?site=oak&layer=parcels", "text/csv", bad); code != 422 || !strings.Contains(string(b), "ring-too-short") || !strings.Contains(string(b), `"line":2`) {
		t.Errorf("%d %s", code, b)
	}
	if code, b := ask(t, "POST", url+"/sites?site=oak&layer=parcels", "application/zip", []byte("PK\x03\x04cut")); code != 400 {
		t.Errorf("%d %s", code, b)
	}
	if code, _ := ask(t, "GET", url+"/sites/oak", "", nil); code != 404 {
		t.Errorf("a refused import left a site: %d", code)
	}
	if code, b := ask(t, "POST", url+"/sites?site=oak", "image/tiff", []byte("II*\x00\x08\x00\x00\x00")); code != 422 {
		t.Errorf("%d %s", code, b)
	}
	if code, b := ask(t, "GET", url+"/sites/elm/document", "", nil); code != 200 || !strings.Contains(string(b), `"lot":"1"`) || !strings.Contains(string(b), "CB-1") {
		t.Errorf("%d %s", code, b)
	}
}

// The same by the address of a database.
func TestImportIntoPostGIS(t *testing.T) {
	store := asURL(pgtemp.Start(t))
	lots := filepath.Join(t.TempDir(), "lots.geojson")
	if err := os.WriteFile(lots, []byte(twoLots), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := command("import", lots, "--store", store, "--site", "elm"); code != 0 || !strings.Contains(out, "1 taken") {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	if code, out, errs := command("export", "--store", store, "--site", "elm", "--layer", "parcels", "-o", "-"); code != 0 || !strings.Contains(out, `"lot":"1"`) {
		t.Errorf("%d %s %s", code, out, errs)
	}
	if code, _, errs := command("import", lots, "--store", "postgres://nobody:secret@/x?host=/nonexistent", "--site", "elm"); code != 3 || strings.Contains(errs, "secret") {
		t.Errorf("a database that is away: %d %s", code, errs)
	}
}
