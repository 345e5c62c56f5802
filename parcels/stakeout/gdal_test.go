package stakeout_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels/display"
	"fallwright/parcels/stakeout"
)

// GDAL reads the same stakes out of every format: the northings, eastings and
// inverts of the CSV, from GPX through its own change of coordinates, from DXF as
// they stand, from the workbook cell by cell.
func TestOracleSamePlaces(t *testing.T) {
	if _, err := exec.LookPath("ogr2ogr"); err != nil {
		t.Skip("ogr2ogr is not installed: GPX, DXF and XLSX are not read back")
	}
	f, err := frame.New("EPSG:2274", orb.Bound{Min: orb.Point{2131600, 598300}, Max: orb.Point{2131700, 598400}})
	if err != nil {
		t.Fatal(err)
	}
	plan := small()
	lines, stakes, err := stakeout.Of(plan, stakeout.Options{})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := func(ext string) string {
		b, err := stakeout.Write(ext, lines, stakes, f, display.US)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(dir, "s"+ext)
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	read := func(b []byte) [][]string {
		r := csv.NewReader(bytes.NewReader(b))
		r.FieldsPerRecord = -1
		rows, err := r.ReadAll()
		if err != nil || len(rows) < 2 {
			t.Fatalf("%v: %d rows of %q", err, len(rows), b)
		}
		return rows
	}
	through := func(args ...string) [][]string {
		t.Helper()
		out, err := exec.Command("ogr2ogr", append([]string{"-f", "CSV", "/vsistdout/"}, args...)...).Output()
		if err != nil {
			t.Fatalf("%v: %v", args, err)
		}
		return read(out)
	}
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("%q is no number", s)
		}
		return v
	}
	b, err := os.ReadFile(file(".csv"))
	if err != nil {
		t.Fatal(err)
	}
	want := read(b)[1:] // number, northing, easting, elevation

	gpx := through(file(".gpx"), "waypoints", "-lco", "GEOMETRY=AS_XY", "-s_srs", "EPSG:4326", "-t_srs", "EPSG:2274", "-select", "name")[1:]
	dxf := through(file(".dxf"), "-lco", "GEOMETRY=AS_XYZ", "-where", "Layer='DRAIN_STAKE'")[1:]
	xlsx := through(file(".xlsx"))[1:]
	if len(gpx) != len(want) || len(dxf) != len(want) || len(xlsx) != len(want) {
		t.Fatalf("%d stakes, %d in GPX, %d in DXF, %d in the workbook", len(want), len(gpx), len(dxf), len(xlsx))
	}
	for i, w := range want {
		n, e, z := num(w[1]), num(w[2]), num(w[3])
		// nine decimals of a degree are a tenth of a millimetre
		if d := math.Hypot(num(gpx[i][0])-e, num(gpx[i][1])-n); d > 0.002 {
			t.Errorf("stake %s: GPX is off by %.4f ft", w[0], d)
		}
		if d := math.Hypot(num(dxf[i][0])-e, num(dxf[i][1])-n); d > 0.0002 || math.Abs(num(dxf[i][2])-z) > 0.006 {
			t.Errorf("stake %s: DXF is off by %.5f ft, invert %s for %v", w[0], d, dxf[i][2], z)
		}
		for k := range 4 {
			if math.Abs(num(xlsx[i][k])-num(w[k])) > 1e-9 {
				t.Errorf("stake %s: the workbook has %q, the CSV %q", w[0], xlsx[i][k], w[k])
			}
		}
	}
}
