package exchange

// Any bytes as a file of each format: features that a store can keep, or an
// error that says what is wrong with the file; never a panic, never long.

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"testing"
	"time"

	"fallwright/parcels"
)

// imported imports a file and holds what comes of it.
func imported(t *testing.T, name string, data []byte) {
	started := time.Now()
	n := 0
	r, err := Import(context.Background(), name, data, Options{Layer: parcels.LayerParcels, CRS: "EPSG:2274"}, func(f parcels.StoredFeature) error {
		n++
		var g struct{ Type string }
		if e := json.Unmarshal(f.Geometry, &g); e != nil || g.Type == "" {
			t.Fatalf("a feature without a geometry that can be read: %v %.200q", e, f.Geometry)
		}
		if f.Properties != nil && !json.Valid(f.Properties) {
			t.Fatalf("properties are no JSON: %.200q", f.Properties)
		}
		return nil
	})
	var in *parcels.InputError
	var e *parcels.Error
	switch {
	case errors.As(err, &in):
		if len(in.Faults) == 0 || in.Faults[0].Slug == "" || in.Faults[0].Detail == "" {
			t.Fatalf("refused without a word: %+v", in)
		}
	case errors.As(err, &e):
		if e.Kind == parcels.Failed {
			t.Fatalf("a fault of ours: %v", err)
		}
	case err != nil:
		t.Fatalf("an error of no kind: %v", err)
	case n != r.Taken+r.Parts:
		t.Fatalf("%d features handed over, %d and %d parts told", n, r.Taken, r.Parts)
	}
	if d := time.Since(started); d > 20*time.Second {
		t.Fatalf("took %v", d)
	}
}

// FuzzImport is about the formats that are one text.
func FuzzImport(f *testing.F) {
	var csv, geo bytes.Buffer
	if err := errors.Join(WriteCSV(&csv, mixed()), WriteGeoJSON(&geo, mixed())); err != nil {
		f.Fatal(err)
	}
	f.Add(uint8(0), geo.Bytes())
	f.Add(uint8(1), csv.Bytes())
	f.Add(uint8(1), []byte("lot;x;y\n1;1700000,5;600000\n"))
	f.Add(uint8(2), []byte("{\"type\":\"Feature\",\"geometry\":null,\"properties\":{}}\n\x1e{}\n"))
	f.Add(uint8(0), []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,0]]]},"properties":{"a":[1]}}]}`))
	f.Add(uint8(3), []byte("SQLite format 3\x00"))
	names := []string{"a.geojson", "a.csv", "a.ndjson", "a.gpkg"}
	f.Fuzz(func(t *testing.T, to uint8, data []byte) {
		imported(t, names[int(to)%len(names)], data)
	})
}

// FuzzShapefile is about the parts of one, zipped here so that the fuzzer sees
// them plain.
func FuzzShapefile(f *testing.F) {
	var out bytes.Buffer
	if _, err := WriteShapefile(&out, mixed()); err != nil {
		f.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(out.Bytes()), int64(out.Len()))
	if err != nil {
		f.Fatal(err)
	}
	parts := map[string][]byte{}
	for _, e := range z.File {
		r, err := e.Open()
		if err != nil {
			f.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			f.Fatal(err)
		}
		parts[e.Name[len(e.Name)-4:]] = b
	}
	f.Add(parts[".shp"], parts[".shx"], parts[".dbf"], parts[".prj"])
	f.Add(parts[".shp"], []byte{}, parts[".dbf"], []byte{})
	f.Fuzz(func(t *testing.T, shp, shx, dbf, prj []byte) {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		for _, p := range []struct {
			name string
			b    []byte
		}{{"a.shp", shp}, {"a.shx", shx}, {"a.dbf", dbf}, {"a.prj", prj}} {
			if len(p.b) == 0 {
				continue
			}
			w, err := z.CreateHeader(&zip.FileHeader{Name: p.name, Method: zip.Store})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := w.Write(p.b); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		imported(t, "a.zip", out.Bytes())
	})
}
