package main

// A stored site from import to the plan that is worked again.

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/jobs/pgtemp"
	"fallwright/sampledata"
)

// slope writes an ASCII grid over a box: a plane that falls to the east by 2 in
// 100, with its highest elevation at the west edge.
func slope(t *testing.T, box [4]float64, west float64) string {
	t.Helper()
	const n = 60
	cell := max(box[2]-box[0], box[3]-box[1]) * 1.2 / n
	x0, y0 := box[0]-0.1*(box[2]-box[0]), box[1]-0.1*(box[3]-box[1])
	var b bytes.Buffer
	fmt.Fprintf(&b, "ncols %d\nnrows %d\nxllcorner %.3f\nyllcorner %.3f\ncellsize %.6f\nNODATA_value -9999\n", n, n, x0, y0, cell)
	for range n {
		for i := range n {
			fmt.Fprintf(&b, "%.3f ", west-0.02*cell*float64(i))
		}
		b.WriteString("\n")
	}
	f := filepath.Join(t.TempDir(), "ground.asc")
	if err := os.WriteFile(f, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return f
}

// again walks a store through: site, raster, plan kept, all of it changed, plan
// worked again.
func again(t *testing.T, name string) {
	site := sample(t)
	if code, out, errs := command("import", site, "--store", name, "--site", "hollow"); code != 0 {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	st, err := openStore(name, storeThere)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	info, err := st.Site(context.Background(), "hollow")
	if err != nil {
		t.Fatal(err)
	}
	grid := slope(t, *info.Bounds, 700)
	if code, _, errs := command("import", grid, "--store", name, "--site", "hollow", "--crs", info.CRS); code != 2 || !strings.Contains(errs, "unit") {
		t.Errorf("a raster whose unit nobody knows: %d %s", code, errs)
	}
	into := []string{"import", grid, "--store", name, "--site", "hollow", "--crs", info.CRS, "--elevation-unit", "ft"}
	if code, out, errs := command(append(into, "--dry-run")...); code != 0 || !strings.Contains(out, "would be stored as raster ground.asc of hollow") {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	if code, out, errs := command(into...); code != 0 || !strings.Contains(out, "stored as raster ground.asc of hollow") || !strings.Contains(out, "213.36 m") {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	first := filepath.Join(t.TempDir(), "first.json")
	code, _, errs := command("plan", "--store", name, "--site", "hollow", "--lot", sampledata.Sample, "--keep", "--out", first)
	if code > 1 || !strings.Contains(errs, "Kept as r1") {
		t.Fatalf("%d %s", code, errs)
	}
	body, err := os.ReadFile(first)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(body, []byte("ground.asc")) {
		t.Error("the plan does not rest on the raster")
	}
	// by the service too, with the same bytes
	s := httpServed(t, st)
	if code, b := ask(t, "POST", s+"/processes/plan/execution", "application/json", fmt.Appendf(nil, `{"inputs":{"site":"hollow","lots":[%q],"options":{"store":true}}}`, sampledata.Sample)); code != 200 || !bytes.Equal(b, body) {
		t.Errorf("the service: %d, %d bytes of %d", code, len(b), len(body))
	}
	// the site and its ground go on
	other := slope(t, *info.Bounds, 650)
	if code, _, errs := command("import", other, "--store", name, "--site", "hollow", "--crs", info.CRS, "--elevation-unit", "ft"); code != 0 {
		t.Fatal(errs)
	}
	var doc map[string]any
	if err := json.Unmarshal(sampledata.StatePlane(), &doc); err != nil {
		t.Fatal(err)
	}
	doc["criteria"] = map[string]any{"pipe": map[string]any{"target_slope": 0.02}}
	text, _ := json.Marshal(doc)
	if _, err := st.PutSite(context.Background(), "hollow", text, 0, "bob"); err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"r1", "r2"} {
		out := filepath.Join(t.TempDir(), "again.json")
		code, _, errs := command("plan", "--store", name, "--again", id, "--out", out)
		if code > 1 || !strings.Contains(errs, "same bytes as the stored plan "+id) && id == "r1" {
			t.Errorf("%s: %d %s", id, code, errs)
		}
		if got, _ := os.ReadFile(out); !bytes.Equal(got, body) {
			t.Errorf("%s: other bytes", id)
		}
	}
	if code, out, errs := command("plan", "--store", name, "--site", "hollow", "--lot", sampledata.Sample, "--json"); code > 1 || out == string(body) {
		t.Errorf("planned anew, the changed site gives the old plan: %d %s", code, errs)
	}
	// a stored body that is not what its inputs give is told
	forged, err := st.Result(context.Background(), "r1")
	if err != nil {
		t.Fatal(err)
	}
	forged.Document, err = st.Input(context.Background(), forged)
	if err != nil {
		t.Fatal(err)
	}
	forged.Body = bytes.Replace(forged.Body, []byte("feasible"), []byte("Feasible"), 1)
	if forged, err = st.PutResult(context.Background(), forged); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := command("plan", "--store", name, "--again", forged.ID); code != 3 || !strings.Contains(errs, "differs from byte") {
		t.Errorf("a forged plan: %d %s", code, errs)
	}
	// what the store holds, by command
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"sites"}, "hollow"}, {[]string{"history", "--site", "hollow"}, "raster ground.asc: 60 by 60 cells"}, {[]string{"rasters", "--site", "hollow"}, "60 x 60"},
		{[]string{"results", "--site", "hollow", "--kind", "plan"}, "r1"}, {[]string{"history", "--site", "hollow", "--json"}, `"who": "bob"`}, {[]string{"result", "r1"}, `"summary"`},
	} {
		if code, out, errs := command(append(append([]string{"store"}, c.args...), "--store", name)...); code != 0 || !strings.Contains(out, c.want) {
			t.Errorf("%v: %d %s %s", c.args, code, out, errs)
		}
	}
	back := filepath.Join(t.TempDir(), "back.asc")
	want, _ := os.ReadFile(other)
	if code, _, errs := command("export", "--store", name, "--site", "hollow", "--raster", "ground.asc", "-o", back); code != 0 {
		t.Error(errs)
	}
	if got, _ := os.ReadFile(back); !bytes.Equal(got, want) {
		t.Error("the raster came back with other bytes")
	}
	// settings beside the layers, held against the reader and the version
	info, err = st.Site(context.Background(), "hollow")
	if err != nil {
		t.Fatal(err)
	}
	firm := filepath.Join(t.TempDir(), "firm.yaml")
	_ = os.WriteFile(firm, []byte("pipe: {target_slope: 0.015}\n"), 0o644)
	for _, c := range []struct {
		code int
		want string
		args []string
	}{
		{2, "KEY=VALUE", []string{"layers={}"}}, {2, "There is no criterion", []string{`criteria={"pipe":{"no_such_key":1}}`}}, {2, "is not stored", []string{"terrain=none.tif"}},
		{2, "is stored, not", []string{"vertical_datum=NAVD88", "--if-version", "1"}},
		{0, fmt.Sprintf("now version %d", info.Version+1), []string{"criteria=@" + firm, `rainfall={"intensity_mmh":100}`, "terrain=ground.asc", "--if-version", fmt.Sprint(info.Version)}},
		{0, fmt.Sprintf("now version %d", info.Version+2), []string{"rainfall="}},
	} {
		if code, out, errs := command(append([]string{"store", "set", "--store", name, "--site", "hollow"}, c.args...)...); code != c.code || !strings.Contains(out+errs, c.want) {
			t.Errorf("%v: %d %s %s", c.args, code, out, errs)
		}
	}
	changed, err := st.Document(context.Background(), "hollow")
	if err != nil || !bytes.Contains(changed, []byte(`{"pipe":{"target_slope":0.015}}`)) {
		t.Errorf("the criteria are not in the document: %v", err)
	}
	if code, _, errs := command("import", site, "--store", name, "--site", "hollow", "--if-version", "1"); code != 2 || !strings.Contains(errs, "is stored, not 1") {
		t.Errorf("a document over a later version: %d %s", code, errs)
	}
	// delete asks for the name
	if code, _, errs := call(t, "holow\n", "store", "delete", "--store", name, "--site", "hollow"); code != 2 || !strings.Contains(errs, "3 results go for good") || !strings.Contains(errs, "Not deleted") {
		t.Errorf("the wrong name: %d %s", code, errs)
	}
	if code, _, errs := call(t, "", "store", "delete", "--store", name, "--site", "hollow", "--confirm", "x"); code != 2 {
		t.Errorf("the wrong name: %d %s", code, errs)
	}
	if code, out, errs := call(t, "hollow\n", "store", "delete", "--store", name, "--site", "hollow"); code != 0 || !strings.Contains(out, "Deleted hollow") {
		t.Errorf("%d %s %s", code, out, errs)
	}
	if code, _, _ := command("store", "history", "--store", name, "--site", "hollow"); code != 2 {
		t.Errorf("a site that is gone: %d", code)
	}
}

func TestPropertyPlanAgain(t *testing.T) {
	t.Run("GeoPackage", func(t *testing.T) { again(t, filepath.Join(t.TempDir(), "store.gpkg")) })
	t.Run("PostGIS", func(t *testing.T) { again(t, asURL(pgtemp.Start(t))) })
}

func TestStoredPlanRefusals(t *testing.T) {
	store := filepath.Join(t.TempDir(), "store.gpkg")
	site := filepath.Join(t.TempDir(), "site.json")
	doc := bytes.Replace(sampledata.StatePlane(), []byte("{"), []byte(`{"terrain":"dtm.tif",`), 1)
	if err := os.WriteFile(site, doc, 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := command("import", site, "--store", store, "--site", "hollow"); code != 0 {
		t.Fatal(errs)
	}
	st, err := openStore(store, storeThere)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.PutResult(context.Background(), parcels.Result{Site: "hollow", Kind: "zone", Document: doc}); err != nil {
		t.Fatal(err)
	}
	if _, err := st.PutResult(context.Background(), parcels.Result{Site: "hollow", Kind: "plan", InputSHA: "x"}); err != nil {
		t.Fatal(err)
	}
	info, err := st.Site(context.Background(), "hollow")
	if err != nil {
		t.Fatal(err)
	}
	bounds := *info.Bounds
	st.Close()
	none := filepath.Join(t.TempDir(), "none.gpkg")
	for _, c := range []struct {
		want string
		args []string
	}{
		{"names the raster dtm.tif", []string{"plan", "--store", store, "--site", "hollow"}},
		{"no such site", []string{"plan", "--store", store, "--site", "oak"}},
		{"no such result", []string{"plan", "--store", store, "--again", "r9"}},
		{"of kind zone", []string{"plan", "--store", store, "--again", "r1"}},
		{"was not stored with it", []string{"plan", "--store", store, "--again", "r2"}},
		{"store alone", []string{"plan", "--store", store, "--again", "r1", "--lot", "1"}},
		{"Give --store", []string{"plan", "--site", "hollow"}},
		{"Give --store", []string{"plan", "--again", "r1"}},
		{"stored site is kept", []string{"plan", site, "--keep"}},
		{"from the store alone", []string{"plan", site, "--store", store, "--site", "hollow"}},
		{"no such store", []string{"store", "delete", "--store", none, "--site", "x", "--confirm", "x"}},
		{"no such store", []string{"plan", "--store", none, "--site", "x", "--keep"}},
	} {
		if code, _, errs := command(c.args...); code != 2 || !strings.Contains(errs, c.want) {
			t.Errorf("%v: %d %s", c.args, code, errs)
		}
	}
	if _, err := os.Stat(none); err == nil {
		t.Error("a store was made by a verb that needs one")
	}
	grid := slope(t, [4]float64{0, 0, 100, 100}, 700)
	if code, out, errs := command("import", grid, "--store", store, "--crs", "EPSG:2274", "--elevation-unit", "ft", "--site", "hollow"); code != 2 || !strings.Contains(errs, "lies nowhere under the site") {
		t.Errorf("ground elsewhere: %d %s %s", code, out, errs)
	}
	grid = slope(t, bounds, 700)
	for _, c := range []struct {
		want string
		args []string
	}{
		{"Import its parcels first", []string{"--site", "oak"}}, {"a raster is ground", []string{"--site", "hollow", "--layer", "spots"}},
		{"Into which site", nil}, {"names dtm.tif as its terrain", []string{"--site", "hollow"}},
	} {
		_, out, errs := command(append([]string{"import", grid, "--store", store, "--crs", "EPSG:2274", "--elevation-unit", "ft"}, c.args...)...)
		if !strings.Contains(strings.ToLower(out+errs), strings.ToLower(c.want)) {
			t.Errorf("%v: %s %s", c.args, out, errs)
		}
	}
	cut := filepath.Join(t.TempDir(), "cut.asc")
	text, _ := os.ReadFile(grid)
	_ = os.WriteFile(cut, text[:len(text)/2], 0o644)
	if code, _, errs := command("import", cut, "--store", store, "--crs", "EPSG:2274", "--elevation-unit", "ft", "--site", "hollow"); code != 2 || errs == "" {
		t.Errorf("cut short: %d %s", code, errs)
	}
}
