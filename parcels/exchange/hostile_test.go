package exchange

// What must never be taken: the catalogue of hostile files where it lies beside
// the checkout, and small ones made here always.

import (
	"archive/zip"
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/exchange/wkb"
)

// shared is the folder of shared data, "" where there is none.
func shared() string {
	if d := os.Getenv("FALLWRIGHT_SHARED"); d != "" {
		return filepath.Join(d, "data")
	}
	dir, _ := os.Getwd()
	for range 8 {
		dir = filepath.Dir(dir)
		if d := filepath.Join(dir, "shared", "data"); exists(d) {
			return d
		}
	}
	return ""
}

func exists(p string) bool { _, err := os.Stat(p); return err == nil }

func slugsOf(err error) (out []string) {
	var in *parcels.InputError
	if errors.As(err, &in) {
		for _, f := range in.Faults {
			out = append(out, f.Slug)
		}
	}
	return out
}

func read(name string, data []byte, o Options) (Report, []parcels.StoredFeature, error) {
	if o.Layer == "" {
		o.Layer = parcels.LayerParcels
	}
	var fs []parcels.StoredFeature
	r, err := Import(context.Background(), name, data, o, func(f parcels.StoredFeature) error {
		fs = append(fs, f)
		return nil
	})
	return r, fs, err
}

type list []string

func (l *list) UnmarshalJSON(b []byte) error {
	var one *string
	if json.Unmarshal(b, &one) == nil {
		if one == nil {
			*l = list{""}
		} else {
			*l = list{*one}
		}
		return nil
	}
	var many []*string
	if err := json.Unmarshal(b, &many); err != nil {
		return err
	}
	for _, s := range many {
		if s == nil {
			*l = append(*l, "")
		} else {
			*l = append(*l, *s)
		}
	}
	return nil
}

func TestPublishedHostileCatalogue(t *testing.T) {
	dir := filepath.Join(shared(), "hostile")
	b, err := os.ReadFile(filepath.Join(dir, "index.json"))
	if err != nil {
		t.Skip("the catalogue of hostile files is not beside this checkout")
	}
	var index struct {
		Files []json.RawMessage
	}
	var files []json.RawMessage
	if json.Unmarshal(b, &files) != nil {
		if err := json.Unmarshal(b, &index); err != nil {
			t.Fatal(err)
		}
		files = index.Files
	}
	ran := 0
	for _, raw := range files {
		var e struct {
			File   string
			Expect struct {
				Type     list
				Where    map[string]any
				Given    struct{ CRS string }
				WithinMS int `json:"within_ms"`
			}
		}
		if err := json.Unmarshal(raw, &e); err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(e.File, ".gz") || strings.HasSuffix(e.File, ".tif") {
			continue // the service unpacks bodies; rasters are package raster's
		}
		ran++
		data, err := os.ReadFile(filepath.Join(dir, e.File))
		if err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		_, features, err := read(e.File, data, Options{CRS: e.Expect.Given.CRS, Service: true})
		if d := time.Since(start); e.Expect.WithinMS > 0 && d > 10*time.Duration(e.Expect.WithinMS)*time.Millisecond {
			t.Errorf("%s: took %v", e.File, d)
		}
		got := ""
		if s := slugsOf(err); len(s) > 0 {
			got = s[0]
		} else if err != nil {
			t.Errorf("%s: %v", e.File, err)
			continue
		}
		if !slices.Contains(e.Expect.Type, got) {
			t.Errorf("%s: %q, want %q: %v", e.File, got, e.Expect.Type, err)
			continue
		}
		if got == "" {
			if len(features) == 0 {
				t.Errorf("%s: accepted, and no features", e.File)
			}
			continue
		}
		var in *parcels.InputError
		errors.As(err, &in)
		text, _ := json.Marshal(in.Faults[0])
		var fault map[string]any
		if err := json.Unmarshal(text, &fault); err != nil {
			t.Fatal(err)
		}
		for k, want := range e.Expect.Where {
			have, ok := fault[k]
			switch w := want.(type) {
			case bool:
			case []any:
				if k == "any_of" {
					ok = slices.ContainsFunc(w, func(n any) bool { _, is := fault[n.(string)]; return is })
				} else if k == "near" {
					at, _ := fault["at"].([]any)
					ok = len(at) == 2
					for i := range at {
						d := at[i].(float64) - w[i].(float64)
						ok = ok && d < 1e-6 && d > -1e-6
					}
				}
			default:
				ok = ok && fmt.Sprint(have) == fmt.Sprint(want) || k == "pointer" && want == "" && !ok
				if k == "pointer" && want == "" {
					ok = true
				}
			}
			if !ok {
				t.Errorf("%s: %s is %v, want %v: %s", e.File, k, have, want, text)
			}
		}
		if len(in.Faults[0].Detail) < 20 || !strings.HasSuffix(in.Faults[0].Detail, ".") {
			t.Errorf("%s: detail %q", e.File, in.Faults[0].Detail)
		}
	}
	if ran < 30 {
		t.Errorf("only %d files", ran)
	}
}

type entry struct {
	name string
	data []byte
	mode fs.FileMode
	flag uint16
}

func zipped(t *testing.T, es ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range es {
		h := &zip.FileHeader{Name: e.name, Method: zip.Deflate, Flags: e.flag}
		if e.mode != 0 {
			h.SetMode(e.mode)
		}
		w, err := z.CreateHeader(h)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(e.data); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const aLot = `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"lot":"1"},"geometry":{"type":"Polygon","coordinates":[[[-86,36],[-85.999,36],[-85.999,36.001],[-86,36.001],[-86,36]]]}}]}`

func TestHostileArchives(t *testing.T) {
	lot := entry{name: "parcels.geojson", data: []byte(aLot)}
	if _, fs, err := read("a.zip", zipped(t, lot), Options{}); err != nil || len(fs) != 1 {
		t.Fatalf("a good archive: %v", err)
	}
	var many []entry
	for i := range 70 {
		many = append(many, entry{name: fmt.Sprintf("f%d", i)})
	}
	encrypted := zipped(t, lot)
	for _, sig := range []string{"PK\x03\x04", "PK\x01\x02"} { // the flag stands 6 or 8 bytes in
		i := bytes.Index(encrypted, []byte(sig))
		encrypted[i+map[string]int{"PK\x03\x04": 6, "PK\x01\x02": 8}[sig]] |= 1
	}
	for _, c := range []struct {
		name, slug string
		data       []byte
	}{
		{"climbs", "archive-entry-path", zipped(t, lot, entry{name: "../x"})},
		{"climbs inside", "archive-entry-path", zipped(t, lot, entry{name: "a/../../x"})},
		{"absolute", "archive-entry-path", zipped(t, entry{name: "/etc/x"}, lot)},
		{"backslash", "archive-entry-path", zipped(t, entry{name: `..\x`}, lot)},
		{"drive", "archive-entry-path", zipped(t, entry{name: "C:x"}, lot)},
		{"NUL", "archive-entry-path", zipped(t, entry{name: "a\x00.geojson"}, lot)},
		{"not UTF-8", "archive-entry-path", zipped(t, entry{name: "\xff\xfe"}, lot)},
		{"twice", "archive-entry-path", zipped(t, lot, entry{name: "PARCELS.geojson"})},
		{"link", "archive-entry-type", zipped(t, lot, entry{name: "l", mode: fs.ModeSymlink | 0o777, data: []byte("/etc/passwd")})},
		{"device", "archive-entry-type", zipped(t, lot, entry{name: "d", mode: fs.ModeDevice | 0o666})},
		{"encrypted", "archive-entry-type", encrypted},
		{"many", "archive-too-many-entries", zipped(t, many...)},
		{"bomb", "archive-too-large", zipped(t, entry{name: "parcels.geojson", data: bytes.Repeat([]byte(" "), 8<<20)})},
		{"zip in zip", "archive-entry-type", zipped(t, entry{name: "a.zip", data: zipped(t, lot)})},
		{"nothing to read", "archive-empty", zipped(t, entry{name: "readme.txt"})},
		{"cut", "unreadable", zipped(t, lot)[:60]},
		{"broken inside", "archive-corrupt", func() []byte { b := zipped(t, lot); b[60] ^= 0xff; b[70] ^= 0xff; return b }()},
		{"two files", "table-unknown", zipped(t, entry{name: "a.geojson", data: []byte(aLot)}, entry{name: "b.geojson", data: []byte(aLot)})},
	} {
		r, fs, err := read("a.zip", c.data, Options{Service: true})
		if s := slugsOf(err); len(s) == 0 || s[0] != c.slug || len(fs) != 0 || r.Taken != 0 {
			t.Errorf("%s: %v (%v), want %s", c.name, s, err, c.slug)
		}
	}
	// the command has no limit on size, but no export packs 500 to one
	if _, _, err := read("a.zip", zipped(t, entry{name: "parcels.geojson", data: bytes.Repeat([]byte(" "), 8<<20)}), Options{}); len(slugsOf(err)) == 0 || slugsOf(err)[0] != "archive-too-large" {
		t.Errorf("bomb: %v", err)
	}
}

// shapefile makes one square a record by hand, as the white paper lays it out.
func shapefile(n int) map[string][]byte {
	le, be := binary.LittleEndian, binary.BigEndian
	header := func(size int) []byte {
		h := make([]byte, 100)
		be.PutUint32(h, 9994)
		be.PutUint32(h[24:], uint32(size/2))
		le.PutUint32(h[28:], 1000)
		le.PutUint32(h[32:], 5)
		return h
	}
	content := 44 + 4 + 5*16
	shp, shx := header(100+n*(8+content)), header(100+8*n)
	for i := range n {
		shx = be.AppendUint32(shx, uint32(len(shp)/2))
		shx = be.AppendUint32(shx, uint32(content/2))
		shp = be.AppendUint32(shp, uint32(i+1))
		shp = be.AppendUint32(shp, uint32(content/2))
		shp = le.AppendUint32(shp, 5)
		shp = append(shp, make([]byte, 32)...)
		shp = le.AppendUint32(le.AppendUint32(le.AppendUint32(shp, 1), 5), 0)
		x := 1700000 + float64(i)*20
		for _, p := range [][2]float64{{x, 600000}, {x, 600010}, {x + 10, 600010}, {x + 10, 600000}, {x, 600000}} {
			for _, v := range p {
				shp, _ = binary.Append(shp, le, v)
			}
		}
	}
	dbf := make([]byte, 32)
	dbf[0] = 3
	le.PutUint32(dbf[4:], uint32(n))
	le.PutUint16(dbf[8:], 97)
	le.PutUint16(dbf[10:], 21)
	for _, f := range []struct {
		name string
		kind byte
		n    byte
	}{{"APN", 'C', 10}, {"AREA", 'N', 10}} {
		d := make([]byte, 32)
		copy(d, f.name)
		d[11], d[16] = f.kind, f.n
		dbf = append(dbf, d...)
	}
	dbf = append(dbf, 0x0d)
	for i := range n {
		dbf = append(dbf, fmt.Sprintf(" %-10s%10s", fmt.Sprintf("caf\xe9%d", i), "100.50")...)
	}
	const prj = `PROJCS["NAD_1983_StatePlane_Tennessee_FIPS_4100_Feet",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Lambert_Conformal_Conic"],PARAMETER["False_Easting",1968500.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-86.0],PARAMETER["Standard_Parallel_1",35.25],PARAMETER["Standard_Parallel_2",36.41666666666666],PARAMETER["Latitude_Of_Origin",34.33333333333334],UNIT["Foot_US",0.3048006096012192]]`
	return map[string][]byte{"p.shp": shp, "p.shx": shx, "p.dbf": dbf, "p.prj": []byte(prj), "p.cpg": []byte("ISO-8859-1")}
}

func packed(t *testing.T, parts map[string][]byte) []byte {
	var es []entry
	for _, n := range []string{"p.shp", "p.shx", "p.dbf", "p.prj", "p.cpg"} {
		if b, ok := parts[n]; ok {
			es = append(es, entry{name: n, data: b})
		}
	}
	return zipped(t, es...)
}

func TestHostileShapefiles(t *testing.T) {
	r, fs, err := read("p.zip", packed(t, shapefile(3)), Options{})
	if err != nil || len(fs) != 3 || r.CRS != "EPSG:2274" {
		t.Fatalf("%+v %v", r, err)
	}
	if want := `{"APN":"café1","AREA":100.50,"lot":"café1"}`; string(fs[1].Properties) != want {
		t.Errorf("properties %s, want %s", fs[1].Properties, want)
	}
	if want := `{"type":"Polygon","coordinates":[[[1700000,600000],[1700010,600000],[1700010,600010],[1700000,600010],[1700000,600000]]]}`; string(fs[0].Geometry) != want {
		t.Errorf("geometry %s", fs[0].Geometry)
	}
	for _, c := range []struct {
		name, slug string
		change     func(p map[string][]byte)
	}{
		{"shp cut", "shapefile-corrupt", func(p map[string][]byte) { p["p.shp"] = p["p.shp"][:200] }},
		{"shp empty", "shapefile-corrupt", func(p map[string][]byte) { p["p.shp"] = nil }},
		{"record longer than the file", "shapefile-corrupt", func(p map[string][]byte) { binary.BigEndian.PutUint32(p["p.shp"][104:], 1<<30) }},
		{"point count", "shapefile-corrupt", func(p map[string][]byte) { binary.LittleEndian.PutUint32(p["p.shp"][148:], 0x7fffffff) }},
		{"part count", "shapefile-corrupt", func(p map[string][]byte) { binary.LittleEndian.PutUint32(p["p.shp"][144:], 0xffffffff) }},
		{"part start", "shapefile-corrupt", func(p map[string][]byte) { binary.LittleEndian.PutUint32(p["p.shp"][152:], 77) }},
		{"type", "shapefile-corrupt", func(p map[string][]byte) { binary.LittleEndian.PutUint32(p["p.shp"][108:], 3) }},
		{"multipatch", "shapefile-corrupt", func(p map[string][]byte) { binary.LittleEndian.PutUint32(p["p.shp"][32:], 31) }},
		{"shx lies", "shapefile-corrupt", func(p map[string][]byte) { binary.BigEndian.PutUint32(p["p.shx"][100:], 9) }},
		{"shx cut", "shapefile-corrupt", func(p map[string][]byte) { p["p.shx"] = p["p.shx"][:108] }},
		{"dbf cut", "shapefile-corrupt", func(p map[string][]byte) { p["p.dbf"] = p["p.dbf"][:110] }},
		{"dbf rows", "shapefile-corrupt", func(p map[string][]byte) { p["p.dbf"][4] = 2 }},
		{"dbf fields", "shapefile-corrupt", func(p map[string][]byte) { p["p.dbf"][32+16] = 200 }},
		{"no dbf", "shapefile-corrupt", func(p map[string][]byte) { delete(p, "p.dbf") }},
		{"no prj", "crs-unknown", func(p map[string][]byte) { delete(p, "p.prj") }},
		{"odd prj", "crs-unknown", func(p map[string][]byte) { p["p.prj"] = []byte(`LOCAL_CS["site",UNIT["Meter",1]]`) }},
		{"odd encoding", "encoding-unknown", func(p map[string][]byte) { p["p.cpg"] = []byte("EBCDIC") }},
		{"not the encoding it says", "not-utf8", func(p map[string][]byte) { p["p.cpg"] = []byte("UTF-8") }},
		{"NaN", "coordinate-not-finite", func(p map[string][]byte) { binary.LittleEndian.PutUint64(p["p.shp"][156:], 0x7ff8000000000000) }},
		{"null shape", "geometry-missing", func(p map[string][]byte) { binary.LittleEndian.PutUint32(p["p.shp"][108:], 0) }},
	} {
		p := shapefile(3)
		c.change(p)
		_, fs, err := read("p.zip", packed(t, p), Options{})
		if s := slugsOf(err); len(s) == 0 || s[0] != c.slug {
			t.Errorf("%s: %v (%v), want %s", c.name, s, err, c.slug)
		}
		_ = fs
	}
	p := shapefile(3)
	delete(p, "p.prj")
	if r, fs, err := read("p.zip", packed(t, p), Options{CRS: "EPSG:2274"}); err != nil || len(fs) != 3 || r.CRS != "EPSG:2274" {
		t.Errorf("no prj, but given: %v", err)
	}
	if _, _, err := read("p.zip", packed(t, shapefile(3)), Options{CRS: "EPSG:2227"}); len(slugsOf(err)) == 0 || slugsOf(err)[0] != "crs-conflict" {
		t.Errorf("prj against the request: %v", err)
	}
	// a cut at every byte of the parts never panics and never takes a feature too many
	for _, part := range []string{"p.shp", "p.shx", "p.dbf", "p.prj"} {
		whole := shapefile(2)[part]
		for n := 0; n < len(whole); n += 7 {
			p := shapefile(2)
			p[part] = whole[:n]
			if _, fs, err := read("p.zip", packed(t, p), Options{}); err == nil && len(fs) != 2 {
				t.Errorf("%s cut at %d: %d features", part, n, len(fs))
			}
		}
	}
}

// geopackage makes one by plain SQL.
func geopackage(t *testing.T, more ...string) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.gpkg")
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	square, box, _, err := wkb.FromGeoJSON(nil, []byte(`{"type":"Polygon","coordinates":[[[1700000,600000],[1700010,600000],[1700010,600010],[1700000,600000]]]}`))
	if err != nil {
		t.Fatal(err)
	}
	blob := append(wkb.AppendHeader(nil, 2274, box), square...)
	for _, text := range append([]string{
		`CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT, srs_id INTEGER PRIMARY KEY, organization TEXT, organization_coordsys_id INTEGER, definition TEXT, description TEXT)`,
		`CREATE TABLE gpkg_contents (table_name TEXT PRIMARY KEY, data_type TEXT, identifier TEXT, srs_id INTEGER)`,
		`CREATE TABLE gpkg_geometry_columns (table_name TEXT PRIMARY KEY, column_name TEXT, geometry_type_name TEXT, srs_id INTEGER, z INTEGER, m INTEGER)`,
		`INSERT INTO gpkg_spatial_ref_sys VALUES ('x', 2274, 'EPSG', 2274, 'undefined', '')`,
		`INSERT INTO gpkg_contents VALUES ('lots', 'features', 'lots', 2274)`,
		`INSERT INTO gpkg_geometry_columns VALUES ('lots', 'geom', 'POLYGON', 2274, 0, 0)`,
		`CREATE TABLE lots (fid INTEGER PRIMARY KEY, geom BLOB, apn TEXT, n INTEGER, ok BOOLEAN, x REAL)`,
		fmt.Sprintf(`INSERT INTO lots VALUES (7, x'%x', '00-1', 3, 1, 2.5)`, blob),
	}, more...) {
		if _, err := db.Exec(text); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
	}
	db.Close()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestHostileGeoPackages(t *testing.T) {
	r, fs, err := read("a.gpkg", geopackage(t), Options{})
	if err != nil || len(fs) != 1 || r.CRS != "EPSG:2274" || string(fs[0].Properties) != `{"apn":"00-1","n":3,"ok":true,"x":2.5,"lot":"00-1"}` {
		t.Fatalf("%+v %v %v", r, fs, err)
	}
	blob := func(hex string) string { return `UPDATE lots SET geom = x'47500001e2080000` + hex + `'` }
	good := geopackage(t)
	for _, c := range []struct {
		name, slug string
		data       []byte
	}{
		{"view", "geopackage-schema-not-allowed", geopackage(t, `ALTER TABLE lots RENAME TO l`, `CREATE VIEW lots AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n) SELECT i AS fid, x'00' AS geom FROM n`, `UPDATE gpkg_contents SET table_name='lots'`, `UPDATE gpkg_geometry_columns SET table_name='lots'`)},
		{"virtual", "geopackage-schema-not-allowed", geopackage(t, `DROP TABLE lots`, `CREATE VIRTUAL TABLE lots USING rtree(fid, a, b)`)},
		{"contents is a view", "geopackage-schema-not-allowed", geopackage(t, `ALTER TABLE gpkg_contents RENAME TO c`, `CREATE VIEW gpkg_contents AS SELECT * FROM c`)},
		{"generated column", "geopackage-schema-not-allowed", geopackage(t, `DROP TABLE lots`, `CREATE TABLE lots (fid INTEGER PRIMARY KEY, geom BLOB, a TEXT GENERATED ALWAYS AS (printf('%.*c', 100000000, 'x')) VIRTUAL)`)},
		{"quotes in the name", "geopackage-schema-not-allowed", geopackage(t, `CREATE TABLE "a""; DROP TABLE lots; --" (fid INTEGER PRIMARY KEY, geom BLOB)`, `UPDATE gpkg_contents SET table_name = 'a"; DROP TABLE lots; --'`, `UPDATE gpkg_geometry_columns SET table_name = 'a"; DROP TABLE lots; --'`)},
		{"quotes in a column", "geopackage-schema-not-allowed", geopackage(t, `ALTER TABLE lots ADD COLUMN "a""b" TEXT`)},
		{"plain SQLite", "not-geopackage", geopackage(t, `DROP TABLE gpkg_contents`)},
		{"no layers", "not-geopackage", geopackage(t, `DELETE FROM gpkg_contents`)},
		{"text", "not-geopackage", []byte("no database")},
		{"cut", "geopackage-corrupt", good[:len(good)/2]},
		{"overwritten", "geopackage-corrupt", append(append(append([]byte(nil), good[:4096]...), bytes.Repeat([]byte{0xaa}, 4096)...), good[8192:]...)},
		{"no system", "crs-unknown", geopackage(t, `UPDATE gpkg_geometry_columns SET srs_id = -1`)},
		{"two layers", "table-unknown", geopackage(t, `CREATE TABLE b (fid INTEGER PRIMARY KEY, geom BLOB)`, `INSERT INTO gpkg_contents VALUES ('b','features','b',2274)`, `INSERT INTO gpkg_geometry_columns VALUES ('b','geom','POLYGON',2274,0,0)`)},
		{"count beyond the blob", "geometry-corrupt", geopackage(t, blob("0103000000ffffff00"))},
		{"byte order", "geometry-corrupt", geopackage(t, blob("0903000000ffffff00"))},
		{"type", "geometry-corrupt", geopackage(t, blob("0199000000ffffff00"))},
		{"NaN", "coordinate-not-finite", geopackage(t, blob("010300000001000000010000000000000000000000"+"000000000000f87f"))},
		{"deep", "geometry-too-deep", geopackage(t, blob(strings.Repeat("010700000001000000", 20)+"0101000000"+strings.Repeat("00", 16)))},
		{"no geometry", "geometry-missing", geopackage(t, `UPDATE lots SET geom = NULL`)},
	} {
		_, fs, err := read("a.gpkg", c.data, Options{Service: true})
		if s := slugsOf(err); len(s) == 0 || s[0] != c.slug || len(fs) > 0 {
			t.Errorf("%s: %v (%v), want %s", c.name, s, err, c.slug)
		}
	}
	r, fs, err = read("a.gpkg", geopackage(t, `CREATE TABLE victim (a)`, `CREATE TRIGGER boom AFTER INSERT ON lots BEGIN DELETE FROM lots; END`), Options{})
	if err != nil || len(fs) != 1 || !strings.Contains(strings.Join(r.Notes, " "), "boom") {
		t.Errorf("a trigger: %v %v", r.Notes, err)
	}
	// faults name table and row
	_, _, err = read("a.gpkg", geopackage(t, `UPDATE lots SET geom = NULL`), Options{})
	var in *parcels.InputError
	if !errors.As(err, &in) || in.Faults[0].Table != "lots" || in.Faults[0].FID == nil || *in.Faults[0].FID != 7 {
		t.Errorf("%+v", in)
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "fallwright-*.gpkg")); len(left) > 0 {
		t.Errorf("temporary files left: %v", left)
	}
}

func TestHostileTexts(t *testing.T) {
	for _, c := range []struct{ name, text, slug string }{
		{"a.csv", "", "csv-invalid"},
		{"a.csv", "a,b\n1,2\n", "geometry-missing"},
		{"a.csv", "x,y\n1,2,3\n", "csv-invalid"},
		{"a.csv", "x,y,a,a\n1,2,3,4\n", "csv-invalid"},
		{"a.csv", "x,y\n1,zwei\n", "position-invalid"},
		{"a.csv", "x,y\nNaN,2\n", "position-invalid"},
		{"a.csv", "x,y,n\n1,2,caf\xe9\n", "not-utf8"},
		{"a.csv", "x,y\n500000,4000000\n", "crs-units-mismatch"},
		{"a.csv", "wkt\nPOINT(1 2\n", "geometry-corrupt"},
		{"a.csv", "wkt\nPOINT(1)\n", "geometry-corrupt"},
		{"a.csv", "wkt\nPOINT EMPTY\n", "geometry-empty"},
		{"a.csv", "wkt\nPOINT(nan 2)\n", "coordinate-not-finite"},
		{"a.csv", "wkt\nCIRCULARSTRING(1 2)\n", "geometry-type"},
		{"a.csv", "wkt\n\"LINESTRING(1 2, 3 4)\"\n", "geometry-type"},
		{"a.ndjson", "{\"type\":\"Feature\"\n", "json-syntax"},
		{"a.ndjson", "[1]\n", "feature-invalid"},
		{"a.xml", `<?xml version="1.0"?><!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><a>&x;</a>`, "xml-doctype-not-allowed"},
		{"a.kml", "<kml/>", "media-type"},
		{"a.bin", "\x00\x01", "media-type"},
		{"a.tif", "II*\x00", "media-type"},
		{"a.shp", "\x00\x00\x27\x0a", "media-type"},
		{"a.geojson", `{"type":"Topology"}`, "not-geojson"},
		{"a.geojson", `{"type":"FeatureCollection"}`, "feature-invalid"},
		{"a.geojson.gz", "\x1f\x8b\x08", "media-type"},
		{"a.fgb", "fgb\x03fgb\x00", "media-type"},
		{"a.parquet", "PAR1", "media-type"},
	} {
		_, fs, err := read(c.name, []byte(c.text), Options{Layer: parcels.LayerInlets})
		if c.slug == "media-type" && c.name != "a.shp" && !strings.Contains(err.Error(), "`") {
			t.Errorf("%s: no command is told: %v", c.name, err)
		}
		if s := slugsOf(err); len(s) == 0 || s[0] != c.slug || len(fs) > 0 {
			t.Errorf("%s %q: %v (%v), want %s", c.name, c.text, s, err, c.slug)
		}
	}
}

// A table that is cut off within a quoted cell is refused at its line.
func TestHandCutTable(t *testing.T) {
	_, _, err := read("a.csv", []byte("lot,x,y\n1,1700000,600000\n\"2"), Options{CRS: "EPSG:2274"})
	var in *parcels.InputError
	if !errors.As(err, &in) || in.Faults[0].Slug != "csv-invalid" || in.Faults[0].Line == nil || *in.Faults[0].Line != 3 {
		t.Errorf("%v", err)
	}
}

// An entry that says it packs and unpacks to far more than the archive has costs no
// more memory than there is, and no crash.
func TestHostileArchiveSizes(t *testing.T) {
	for _, claimed := range []uint64{1 << 33, 1 << 45, 1 << 62, 1<<64 - 2} {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		w, err := z.CreateRaw(&zip.FileHeader{Name: "parcels.geojson", Method: zip.Store, CompressedSize64: claimed, UncompressedSize64: claimed})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(aLot)); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _, err = read("a.zip", b.Bytes(), Options{Service: true})
		runtime.ReadMemStats(&after)
		var in *parcels.InputError
		if !errors.As(err, &in) {
			t.Errorf("%d bytes claimed: %v", claimed, err)
		}
		if grown := after.TotalAlloc - before.TotalAlloc; grown > 16<<20 {
			t.Errorf("%d bytes claimed: %d bytes taken", claimed, grown)
		}
	}
}
