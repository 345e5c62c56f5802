package exchange

// What goes out is judged by GDAL and by our own readers.

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/parcels"
)

func ogrinfo(t *testing.T, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("ogrinfo is not installed here (gdal-bin)")
	}
	out, err := exec.Command("ogrinfo", append([]string{"-ro", "-al"}, args...)...).CombinedOutput()
	if err != nil || strings.Contains(string(out), "ERROR") || strings.Contains(string(out), "Warning") {
		t.Errorf("ogrinfo %v: %v\n%s", args, err, out)
	}
	return string(out)
}

// mixed has areas with a hole and in parts, a line with heights, and points.
func mixed() Set {
	fs := []parcels.StoredFeature{
		{ID: "a", Geometry: []byte(`{"type":"Polygon","coordinates":[[[1700000,600000],[1700100,600000],[1700100,600100],[1700000,600100],[1700000,600000]],[[1700010,600010],[1700010,600020],[1700020,600020],[1700010,600010]]]}`), Properties: []byte(`{"lot":"=1+1","owner":"Müller,\n\"x\"","area_m2":12.25,"n":7}`)},
		{ID: "b", Geometry: []byte(`{"type":"MultiPolygon","coordinates":[[[[1700200,600000],[1700300,600000],[1700300,600100],[1700200,600000]]],[[[1700400,600000],[1700500,600000],[1700500,600100],[1700400,600000]]]]}`), Properties: []byte(`{"lot":"2","area_m2":-3,"n":123456789012,"a_very_long_name":"x","a_very_long_other":true}`)},
		{Geometry: []byte(`{"type":"LineString","coordinates":[[1700000,600000,101.5],[1700050,600050,100.25]]}`), Properties: []byte(`{"run":"R1"}`)},
		{Geometry: []byte(`{"type":"Point","coordinates":[1700007.125,600007]}`), Properties: []byte(`{"point":"P1"}`)},
	}
	return Set{Name: "network", CRS: "EPSG:2274", Features: func(yield func(parcels.StoredFeature, error) bool) {
		for _, f := range fs {
			if !yield(f, nil) {
				return
			}
		}
	}}
}

func TestOracleShapefileOut(t *testing.T) {
	var b bytes.Buffer
	notes, err := WriteShapefile(&b, mixed())
	if err != nil || !strings.Contains(strings.Join(notes, " "), "a_very_long_other is called") {
		t.Fatalf("%v %v", notes, err)
	}
	dir := t.TempDir()
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, f.Name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	areas := ogrinfo(t, filepath.Join(dir, "network_areas.shp"))
	for _, want := range []string{"Feature Count: 2", `ID["EPSG",2274]`, "FEATURE_ID (String) = a", "Müller", "area_m2 (Real) = 12.25", "n (Integer64) = 123456789012", "area_m2 (Real) = -3", "MULTIPOLYGON (((1700200"} {
		if !strings.Contains(areas, want) && !(want == `ID["EPSG",2274]` && strings.Contains(areas, "Tennessee")) {
			t.Errorf("no %q in %s", want, areas)
		}
	}
	if out := ogrinfo(t, filepath.Join(dir, "network_lines.shp")); !strings.Contains(out, "LINESTRING Z (1700000.0 600000.0 101.5,1700050.0 600050.0 100.25)") && !strings.Contains(out, "LINESTRING Z (1700000 600000 101.5,1700050 600050 100.25)") {
		t.Errorf("%s", out)
	}
	if out := ogrinfo(t, filepath.Join(dir, "network_points.shp")); !strings.Contains(out, "POINT (1700007.125 600007") {
		t.Errorf("%s", out)
	}
	// and back by our own reader
	r, fs, err := read("n.zip", b.Bytes(), Options{Table: "network_areas"})
	if err != nil || len(fs) != 2 || r.CRS != "EPSG:2274" {
		t.Fatalf("%+v %v", r, err)
	}
	i := 0
	for f := range mixed().Features {
		if i < 2 {
			var a, b any
			if json.Unmarshal(f.Geometry, &a) != nil || json.Unmarshal(fs[i].Geometry, &b) != nil {
				t.Fatal("no JSON")
			}
			x, _ := json.Marshal(a)
			y, _ := json.Marshal(b)
			if string(x) != string(y) {
				t.Errorf("back: %s, want %s", y, x)
			}
		}
		i++
	}
	if _, err := WriteShapefile(io.Discard, Set{Name: "x", Features: func(func(parcels.StoredFeature, error) bool) {}}); err == nil {
		t.Error("an empty shapefile was written without a word")
	}
}

func TestOracleTextOut(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		name  string
		write func(io.Writer, Set) error
		want  []string
	}{
		{"a.csv", WriteCSV, []string{"Feature Count: 4", "POLYGON ((1700000 600000,", "LINESTRING Z (1700000 600000 101.5,"}},
		{"a.geojson", WriteGeoJSON, []string{"Feature Count: 4", "POINT (1700007.125 600007", `ID["EPSG",2274]`}},
		{"a.dxf", func(w io.Writer, s Set) error {
			return WriteDXF(w, s, func(m map[string]json.RawMessage) string {
				return Plain(m["lot"]) + Plain(m["run"]) + Plain(m["owner"])
			})
		}, []string{"Layer (String) = NETWORK", "LINESTRING Z (1700000", "POINT", `Text (String) = R1`}},
	} {
		var b bytes.Buffer
		if err := c.write(&b, mixed()); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, c.name)
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		args := []string{path}
		if c.name == "a.csv" {
			args = append(args, "-oo", "GEOM_POSSIBLE_NAMES=WKT")
			if lines := strings.Count(b.String(), "\n"); lines != 5 {
				t.Errorf("%d lines: %s", lines, b.String())
			}
			if !strings.Contains(b.String(), "'=1+1") || strings.Contains(b.String(), ",=1+1") || !strings.Contains(b.String(), ",-3,") {
				t.Errorf("cells: %s", b.String())
			}
		}
		out := strings.ReplaceAll(ogrinfo(t, args...), ".0 ", " ")
		out = strings.ReplaceAll(out, ".0,", ",")
		for _, want := range c.want {
			if !strings.Contains(out, want) {
				t.Errorf("%s: no %q in %s", c.name, want, out)
			}
		}
	}
	s := mixed()
	s.CRS = ""
	if err := WriteDXF(io.Discard, s, func(map[string]json.RawMessage) string { return "" }); err == nil {
		t.Error("a drawing in degrees was written")
	}
}
