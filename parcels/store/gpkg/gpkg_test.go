package gpkg

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/exchange"
	"fallwright/parcels/store/storetest"
)

func TestSuite(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Opener {
		path := filepath.Join(t.TempDir(), "a b'c%20.gpkg")
		return func(t *testing.T) parcels.Store {
			s, err := Open(path, Options{})
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { s.Close() })
			return s
		}
	})
}

func sample(t *testing.T) (*Store, string) {
	path := filepath.Join(t.TempDir(), "store.gpkg")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	if _, err := s.PutSite(context.Background(), "elm", []byte(storetest.Document), 0, "ann"); err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	if _, err := s.PutRaster(ctx, parcels.Raster{Site: "elm", Name: "dtm.tif", Format: "GeoTIFF", CRS: "EPSG:2274", Columns: 2, Rows: 2, ElevationUnit: 1, Bytes: 3}, strings.NewReader("II*"), 0, "ann"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutResult(ctx, parcels.Result{Site: "elm", Kind: "plan", Document: []byte(storetest.Document), Body: []byte("{}")}); err != nil {
		t.Fatal(err)
	}
	if err := s.PutJob(ctx, parcels.Job{ID: "j", Body: []byte("{}")}); err != nil {
		t.Fatal(err)
	}
	w, err := s.Write(context.Background(), "world", parcels.LayerParcels, "", false)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 500 {
		x := -86 + float64(i)*0.001
		if err := w.Add(context.Background(), parcels.StoredFeature{ID: fmt.Sprint(i), Properties: fmt.Appendf(nil, `{"lot":"%d"}`, i),
			Geometry: fmt.Appendf(nil, `{"type":"Polygon","coordinates":[[[%g,36],[%g,36],[%g,36.001],[%g,36]]]}`, x, x+0.0005, x+0.0005, x)}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := w.Commit(context.Background(), "ann"); err != nil {
		t.Fatal(err)
	}
	return s, path
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		t.Skip(name + " is not installed here (gdal-bin, python3-gdal, sqlite3)")
	}
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

// Oracle: GDAL's own validator passes the file, and ogrinfo reads the layers,
// systems, counts, heights and windows, while the store has it open and after.
func TestOracleGDAL(t *testing.T) {
	s, path := sample(t)
	for _, when := range []string{"open", "closed"} {
		if when == "closed" {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			if left, _ := filepath.Glob(path + "-*"); len(left) > 0 {
				t.Errorf("left beside the file: %v", left)
			}
		}
		out := run(t, "ogrinfo", "-ro", "-so", "-al", path)
		for _, want := range []string{"Layer name: parcels\n", "Layer name: parcels_4326", "Layer name: inlets", "Feature Count: 500", "Feature Count: 2", "lot: String", "rim_m: Real",
			`ID["EPSG",2274]`, `ID["EPSG",4326]`, "Geometry: 3D Point", "Extent: (1700000.000000, 600000.000000) - (1700200.000000, 600080.500000)"} {
			if !strings.Contains(out, want) {
				t.Errorf("%s: ogrinfo does not say %q:\n%s", when, want, out)
			}
		}
		if strings.Contains(out, "Warning") || strings.Contains(out, "ERROR") {
			t.Errorf("%s: %s", when, out)
		}
		// every table of ours opens by its name, with its columns
		for _, u := range upgrades {
			for _, name := range u.tables {
				if out := run(t, "ogrinfo", "-ro", "-so", path, name); !strings.Contains(out, "Layer name: "+name) || !strings.Contains(out, "Feature Count: ") || strings.Contains(out, "ERROR") {
					t.Errorf("%s: %s: %s", when, name, out)
				}
			}
		}
		if out := run(t, "ogrinfo", "-ro", "-al", path, "fallwright_rasters"); !strings.Contains(out, "name (String) = dtm.tif") {
			t.Errorf("rasters: %s", out)
		}
		if out := run(t, "ogrinfo", "-ro", "-al", path, "inlets"); !strings.Contains(out, "POINT Z (1700050.125 599990.0 698.25)") || !strings.Contains(out, "rim_m (Real) = 213.1") {
			t.Errorf("inlets: %s", out)
		}
		if out := run(t, "ogrinfo", "-ro", "-so", "-spat", "-86.0001", "35.9", "-85.9989", "37", path, "parcels_4326"); !strings.Contains(out, "Feature Count: 2") {
			t.Errorf("window: %s", out)
		}
	}
	script := ""
	for _, p := range []string{"/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py"} {
		if _, err := os.Stat(p); err == nil {
			script = p
		}
	}
	if script == "" {
		t.Skip("validate_gpkg.py is not installed here (python3-gdal)")
	}
	run(t, "/usr/bin/python3", script, "-k", path)
}

// Oracle: an edit by another program keeps the index right, since the triggers
// are the standard's; ours sees the edit.
func TestOracleEditByGDAL(t *testing.T) {
	s, path := sample(t)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	run(t, "ogrinfo", path, "-sql", "DELETE FROM inlets WHERE fid = 1")
	run(t, "ogr2ogr", "-append", "-f", "GPKG", path, path, "-nln", "parcels_4326", "-sql", "SELECT ST_Translate(geom, 1, 0, 0) AS geom, 'world' AS site, 'moved' AS feature_id FROM parcels_4326 WHERE feature_id = '0'")
	if out := run(t, "ogrinfo", "-ro", "-so", "-spat", "-85.0001", "35.9", "-84.9998", "37", path, "parcels_4326"); !strings.Contains(out, "Feature Count: 1\n") {
		t.Errorf("window: %s", out)
	}
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if out := run(t, "sqlite3", path, "PRAGMA quick_check; SELECT count(*) FROM rtree_inlets_geom"); out != "ok\n0\n" {
		t.Errorf("%s", out)
	}
}

func TestHandHeader(t *testing.T) {
	s, path := sample(t)
	s.Close()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// SQLite file format, offsets 60 and 68: user version and application id
	if v := binary.BigEndian.Uint32(b[60:]); v != 10300 {
		t.Errorf("user_version %d", v)
	}
	if string(b[68:72]) != "GPKG" {
		t.Errorf("application_id %q", b[68:72])
	}
}

func kind(err error) parcels.Kind {
	var e *parcels.Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return ""
}

func TestOpenRefusals(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.gpkg")
	if err := os.WriteFile(text, []byte("this is no database, only text"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(text, Options{}); kind(err) != parcels.Conflict {
		t.Errorf("text: %v", err)
	}
	if b, _ := os.ReadFile(text); string(b) != "this is no database, only text" {
		t.Error("a file that is no store was changed")
	}
	if _, err := Open(filepath.Join(dir, "none", "x.gpkg"), Options{}); kind(err) != parcels.Failed {
		t.Errorf("no folder: %v", err)
	}
	if _, err := Open(filepath.Join(dir, "none.gpkg"), Options{ReadOnly: true}); kind(err) != parcels.NotFound {
		t.Errorf("read only, missing: %v", err)
	}
	foreign := filepath.Join(dir, "foreign.gpkg")
	src := filepath.Join(dir, "a.geojson")
	if err := os.WriteFile(src, []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"a":1},"geometry":{"type":"Point","coordinates":[1,2]}}]}`), 0o644); err != nil {
		t.Fatal(err)
	}
	run(t, "ogr2ogr", foreign, src)
	before, _ := os.ReadFile(foreign)
	if _, err := Open(foreign, Options{}); kind(err) != parcels.Conflict {
		t.Errorf("another's GeoPackage: %v", err)
	}
	if after, _ := os.ReadFile(foreign); string(after) == "" || len(after) != len(before) {
		t.Error("another's GeoPackage was changed")
	}
}

func TestHold(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.gpkg")
	s, err := Open(path, Options{Hold: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(path, Options{Hold: true}); kind(err) != parcels.Busy || !strings.Contains(err.Error(), fmt.Sprintf("process %d", os.Getpid())) {
		t.Errorf("a second server: %v", err)
	}
	reader, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		t.Fatalf("a reader beside the server: %v", err)
	}
	if _, err := reader.PutSite(context.Background(), "x", []byte(storetest.Document), 0, "ann"); kind(err) != parcels.Unsupported {
		t.Errorf("a write by a reader: %v", err)
	}
	reader.Close()
	s.Close()
	s, err = Open(path, Options{Hold: true})
	if err != nil {
		t.Fatalf("after the first has gone: %v", err)
	}
	s.Close()
}

// Oracle: a layer given away passes GDAL's validator, and what GDAL reads is
// what was stored.
func TestOracleExport(t *testing.T) {
	s, _ := sample(t)
	path := filepath.Join(t.TempDir(), "out.gpkg")
	set := exchange.Set{Name: "inlets", CRS: "EPSG:2274", Features: s.Features(context.Background(), "elm", parcels.LayerInlets, parcels.Window{})}
	if err := Export(context.Background(), path, set); err != nil {
		t.Fatal(err)
	}
	out := run(t, "ogrinfo", "-ro", "-al", path)
	for _, want := range []string{"POINT Z (1700050.125 599990.0 698.25)", "rim_m (Real) = 213.1", "inlet (String) = CB-1", `ID["EPSG",2274]`} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in %s", want, out)
		}
	}
	if strings.Contains(out, "fallwright") || strings.Contains(out, "Warning") {
		t.Errorf("%s", out)
	}
	validator := "/usr/lib/python3/dist-packages/osgeo_utils/samples/validate_gpkg.py"
	if _, err := os.Stat(validator); err != nil {
		t.Skip("validate_gpkg.py is not installed here (python3-gdal)")
	}
	run(t, "/usr/bin/python3", validator, "-k", path)
	empty := exchange.Set{Name: "x", Features: func(func(parcels.StoredFeature, error) bool) {}}
	if err := Export(context.Background(), path+"2", empty); err == nil {
		t.Error("an empty file was written without a word")
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".fallwright*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

// A store that somebody has put code into is not opened, and nothing of it
// runs; plain tables and indexes of other programs are let be.
func TestStoreWithCode(t *testing.T) {
	s, path := sample(t)
	s.Close()
	clean, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, text string
		refused    bool
	}{
		{"view", "CREATE VIEW sites AS SELECT * FROM fallwright_sites", true},
		{"endless view in place of a table", "ALTER TABLE fallwright_history RENAME TO x; CREATE VIEW fallwright_history AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i FROM n) SELECT i AS site, i AS version, i AS at, i AS who, i AS what FROM n", true},
		{"trigger", "CREATE TRIGGER t AFTER INSERT ON fallwright_history BEGIN DELETE FROM parcels; END", true},
		{"trigger in place of the standard's", `DROP TRIGGER rtree_parcels_geom_delete; CREATE TRIGGER rtree_parcels_geom_delete AFTER DELETE ON parcels WHEN old.geom NOT NULL BEGIN DELETE FROM inlets; END`, true},
		{"trigger on a table of the standard", "CREATE TRIGGER t AFTER UPDATE ON gpkg_contents BEGIN DELETE FROM parcels; END", true},
		{"trigger on a table of one system", "CREATE TRIGGER t AFTER UPDATE ON parcels_4326 BEGIN DELETE FROM parcels; END", true},
		{"virtual table", "CREATE VIRTUAL TABLE f USING fts5(a)", true},
		{"table of another program", "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY, style TEXT); CREATE INDEX styles ON layer_styles (style); CREATE TRIGGER t AFTER INSERT ON layer_styles BEGIN UPDATE layer_styles SET style = ''; END", false},
	} {
		f := filepath.Join(t.TempDir(), "store.gpkg")
		if err := os.WriteFile(f, clean, 0o644); err != nil {
			t.Fatal(err)
		}
		db, err := sql.Open("sqlite", "file:"+f)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(c.text); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		db.Close()
		for _, o := range []Options{{}, {ReadOnly: true}} {
			s, err := Open(f, o)
			if c.refused && (kind(err) != parcels.Invalid || !strings.Contains(err.Error(), "would run code")) || !c.refused && err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
			if err == nil {
				s.Close()
			}
		}
	}
}

// A store of the first version is brought up to date when it is opened for
// writing; what it holds stays.
func TestUpgrade(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.gpkg")
	latest := upgrades
	upgrades = latest[:1]
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	if err := create(context.Background(), tx); err != nil {
		t.Fatal(err)
	}
	if err := upgrade(context.Background(), tx, 0); err != nil {
		t.Fatal(err)
	}
	upgrades = latest
	if _, err := tx.Exec(`INSERT INTO fallwright_sites VALUES ('elm', '', 3, '2026-03-01T12:00:00.000Z', '{"layers":{}}');
		INSERT INTO fallwright_results (site, kind, version, input_sha256, program, made, body) VALUES ('elm', 'plan', 3, 'x', 'p', '2026-03-01T12:00:00.000Z', '{}')`); err != nil {
		t.Fatal(err)
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	db.Close()
	if _, err := Open(path, Options{ReadOnly: true}); kind(err) != parcels.Unsupported {
		t.Errorf("for reading only: %v", err)
	}
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	list, err := s.Results(context.Background(), "elm", "plan")
	if err != nil || len(list) != 1 || list[0].Ground != "" {
		t.Errorf("%v %v", list, err)
	}
	if _, err := s.writes.Exec("UPDATE fallwright_store SET version = 99"); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(path, Options{}); kind(err) != parcels.Unsupported {
		t.Errorf("of a later program: %v", err)
	}
}
