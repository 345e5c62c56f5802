package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/exchange"
	"fallwright/parcels/store/storetest"
)

func command(args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(&env{ctx: context.Background(), stdin: strings.NewReader(""), stdout: &o, stderr: &e}, args)
	return code, o.String(), e.String()
}

const twoLots = `{"type":"FeatureCollection","features":[
 {"type":"Feature","properties":{"APN":"1"},"geometry":{"type":"Polygon","coordinates":[[[-86,36],[-85.999,36],[-85.999,36.001],[-86,36.001],[-86,36]]]}},
 {"type":"Feature","properties":{"APN":"2"},"geometry":{"type":"Polygon","coordinates":[[[-86,36],[-85.999,36.001],[-85.999,36],[-86,36.001],[-86,36]]]}}]}`

func TestImport(t *testing.T) {
	dir := t.TempDir()
	store, lots, rep := filepath.Join(dir, "s.gpkg"), filepath.Join(dir, "lots.geojson"), filepath.Join(dir, "report.json")
	if err := os.WriteFile(lots, []byte(twoLots), 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, errs := command("import", lots, "--store", store, "--site", "elm", "--dry-run")
	if code != 0 || !strings.Contains(out, "1 would be taken") || !strings.Contains(out, "refused: ") {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	if _, err := os.Stat(store); err == nil {
		t.Error("a dry run has made a store")
	}
	code, out, errs = command("import", lots, "--store", store, "--site", "elm", "--report", rep)
	if code != 0 || !strings.Contains(out, "1 taken into parcels of elm, 1 refused") || !strings.Contains(out, "guessed from the file's name") {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	b, err := os.ReadFile(rep)
	var r exchange.Report
	if err != nil || json.Unmarshal(b, &r) != nil || r.Taken != 1 || len(r.Refused) != 1 || r.Refused[0].Slug != "self-intersection" {
		t.Errorf("%s %v", b, err)
	}
	if code, _, errs := command("import", lots, "--store", store, "--site", "oak", "--strict"); code != 2 || !strings.Contains(errs, "Feature 1") {
		t.Errorf("%d %s", code, errs)
	}
	// inlets in another system are brought into the site's, and it is told
	inlets := filepath.Join(dir, "catch basins.csv")
	if err := os.WriteFile(inlets, []byte("easting,northing,cb_id\n1968500,600000,CB-1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := command("import", inlets, "--store", store, "--site", "elm", "--crs", "EPSG:2274"); code != 0 || !strings.Contains(out, "brought from EPSG:2274") {
		t.Errorf("%d %s %s", code, out, errs)
	}
	st, err := openStore(store, storeRead)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	list, err := st.Sites(context.Background())
	if err != nil || len(list) != 1 || list[0].Features[parcels.LayerParcels] != 1 || list[0].Features[parcels.LayerInlets] != 1 || list[0].Version != 2 {
		t.Errorf("%+v %v", list, err)
	}
	doc := filepath.Join(dir, "site.json")
	if err := os.WriteFile(doc, []byte(storetest.Document), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := command("import", doc, "--store", store); code != 0 || !strings.Contains(out, "stored as Elm Court, version 1") {
		t.Errorf("%d %s %s", code, out, errs)
	}
	for _, c := range []struct {
		want string
		args []string
	}{
		{"Which layer", []string{"import", inlets + "x", "--store", store, "--site", "x"}},
		{"no layer", []string{"import", lots, "--store", store, "--site", "x", "--layer", "houses"}},
		{"Into which site", []string{"import", lots, "--store", store}},
		{"ends in .gpkg", []string{"import", lots, "--store", "x.db", "--site", "x"}},
		{"cannot be read", []string{"import", filepath.Join(dir, "none.geojson"), "--store", store, "--site", "x"}},
		{"no GeoPackage", []string{"import", lots, "--store", doc + ".gpkg", "--site", "x"}},
	} {
		if strings.HasSuffix(c.args[1], "x") {
			_ = os.WriteFile(filepath.Join(dir, "zzz.csv"), []byte("x,y\n1,2\n"), 0o644)
			c.args[1] = filepath.Join(dir, "zzz.csv")
		}
		if c.want == "no GeoPackage" {
			_ = os.WriteFile(doc+".gpkg", []byte("something else, quite long"), 0o644)
		}
		if code, out, errs := command(c.args...); code != 2 || !strings.Contains(errs, c.want) {
			t.Errorf("%v: %d %s %s", c.args, code, out, errs)
		}
	}
}

func TestExport(t *testing.T) {
	dir := t.TempDir()
	store, lots := filepath.Join(dir, "s.gpkg"), filepath.Join(dir, "lots.geojson")
	if err := os.WriteFile(lots, []byte(twoLots), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := command("import", lots, "--store", store, "--site", "elm"); code != 0 {
		t.Fatal(errs)
	}
	for _, ending := range []string{".geojson", ".csv", ".zip", ".gpkg"} {
		out := filepath.Join(dir, "out"+ending)
		if code, _, errs := command("export", "--store", store, "--site", "elm", "--layer", "parcels", "-o", out); code != 0 {
			t.Errorf("%s: %s", ending, errs)
			continue
		}
		// what went out comes in again
		if code, told, errs := command("import", out, "--store", store, "--site", "back"+ending, "--layer", "parcels"); code != 0 || !strings.Contains(told, "1 taken") {
			t.Errorf("%s: %s %s", ending, told, errs)
		}
	}
	if code, _, errs := command("export", "--store", store, "--site", "elm", "--layer", "parcels", "-o", filepath.Join(dir, "a.dxf")); code != 2 || !strings.Contains(errs, "--crs") {
		t.Errorf("a drawing in degrees: %d %s", code, errs)
	}
	if code, _, errs := command("export", "--store", store, "--site", "elm", "--layer", "parcels", "--crs", "EPSG:2274", "-o", filepath.Join(dir, "a.dxf")); code != 0 {
		t.Errorf("%d %s", code, errs)
	}
	plan := filepath.Join(dir, "plan.json")
	if err := os.WriteFile(plan, []byte(`{"summary":{},"crs":"EPSG:2274","network":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[1700000,600000]},"properties":{"point":"CB-1"}}]}}`), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := command("export", plan, "-o", "-"); code != 0 || !strings.Contains(out, "EPSG::2274") || !strings.Contains(out, "CB-1") {
		t.Errorf("%d %s %s", code, out, errs)
	}
	for _, args := range [][]string{{"export", "-o", "x.csv"}, {"export", plan, "-o", "x.xyz"}, {"export", "--store", store, "--site", "elm", "--layer", "drains", "-o", "x.csv"}, {"export", "--store", filepath.Join(dir, "none.gpkg"), "--site", "elm", "--layer", "parcels", "-o", "x.csv"}} {
		if code, _, errs := command(args...); code != 2 || errs == "" {
			t.Errorf("%v: %d %s", args, code, errs)
		}
	}
}
