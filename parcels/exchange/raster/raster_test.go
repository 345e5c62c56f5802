package raster

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

var metres = Options{ElevationUnit: unit.Metre}

func open(t testing.TB, path string, opt Options) *File {
	t.Helper()
	f, err := openErr(path, opt)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func openErr(path string, opt Options) (*File, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Open(bytes.NewReader(b), int64(len(b)), filepath.Base(path), opt)
}

func all(t testing.TB, f *File) []float32 {
	t.Helper()
	z := make([]float32, f.Cols*f.Rows)
	if err := f.Read(0, 0, f.Cols, f.Rows, z); err != nil {
		t.Fatal(err)
	}
	return z
}

// gdal runs a program of GDAL, or skips where it is not installed.
func gdal(t testing.TB, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		t.Skip(name + " is not installed: it is the judge of this test")
	}
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

// xyz reads a raster with GDAL: the centre and the number of each cell.
func xyz(t testing.TB, path string) (x, y, z []float64) {
	t.Helper()
	s := bufio.NewScanner(strings.NewReader(gdal(t, "gdal_translate", "-q", "-of", "XYZ", "-co", "SIGNIFICANT_DIGITS=17", path, "/vsistdout/")))
	for s.Scan() {
		var v [3]float64
		for i, w := range strings.Fields(s.Text()) {
			v[i], _ = strconv.ParseFloat(w, 64)
		}
		x, y, z = append(x, v[0]), append(y, v[1]), append(z, v[2])
	}
	return x, y, z
}

func equalToGDAL(t *testing.T, path string, opt Options) {
	t.Helper()
	f := open(t, path, opt)
	x, y, z := xyz(t, path)
	got := all(t, f)
	if len(z) != len(got) {
		t.Fatalf("%s: %d cells, GDAL %d", path, len(got), len(z))
	}
	missing := 0
	for i := range z {
		cx := f.West + (float64(i%f.Cols)+0.5)*f.CellX
		cy := f.North - (float64(i/f.Cols)+0.5)*f.CellY
		if math.Abs(cx-x[i]) > 1e-5 || math.Abs(cy-y[i]) > 1e-5 {
			t.Fatalf("%s: cell %d at %.6f, %.6f, GDAL %.6f, %.6f", path, i, cx, cy, x[i], y[i])
		}
		if f.empty(z[i]) {
			missing++
			if got[i] == got[i] {
				t.Fatalf("%s: cell %d is %v, GDAL says nodata", path, i, got[i])
			}
			continue
		}
		if want := float32((z[i]*f.scale + f.offset) * float64(f.ElevationUnit)); got[i] != want {
			t.Fatalf("%s: cell %d is %v, GDAL %v", path, i, got[i], want)
		}
	}
	if missing == len(z) {
		t.Fatalf("%s: nothing was compared", path)
	}
}

// Every form of the same raster, written by GDAL, cell for cell.
func TestOracleGDALForms(t *testing.T) {
	dir := t.TempDir()
	src := "testdata/lidar-1m.tif"
	for i, args := range []string{
		"",
		"-co COMPRESS=LZW",
		"-co COMPRESS=LZW -co PREDICTOR=2",
		"-co COMPRESS=LZW -co PREDICTOR=3",
		"-co COMPRESS=DEFLATE -co PREDICTOR=2 -co TILED=YES -co BLOCKXSIZE=32 -co BLOCKYSIZE=16",
		"-co COMPRESS=DEFLATE -co PREDICTOR=3 -co TILED=YES -co BLOCKXSIZE=64 -co BLOCKYSIZE=64",
		"-co COMPRESS=PACKBITS",
		"-co ENDIANNESS=BIG",
		"-co ENDIANNESS=BIG -co COMPRESS=LZW -co PREDICTOR=2",
		"-co BIGTIFF=YES -co COMPRESS=LZW",
		"-co BIGTIFF=YES -co ENDIANNESS=BIG",
		"-ot Float64 -co COMPRESS=DEFLATE -co PREDICTOR=3",
		"-ot Float64 -co COMPRESS=LZW -co PREDICTOR=2",
		"-ot Int16 -a_nodata -32768 -co COMPRESS=LZW -co PREDICTOR=2",
		"-ot UInt16 -a_nodata 0 -co COMPRESS=DEFLATE",
		"-ot Int32 -a_nodata -1 -co COMPRESS=DEFLATE -co PREDICTOR=2",
		"-ot UInt32 -a_nodata 0",
		"-scale 370 420 0 255 -ot Byte -a_nodata 0 -co COMPRESS=LZW -co PREDICTOR=2",
		"-co BLOCKYSIZE=7 -co COMPRESS=DEFLATE",
		"-a_scale 0.5 -a_offset 10",
		"-mo AREA_OR_POINT=Point",
		"-co SPARSE_OK=TRUE",
	} {
		path := filepath.Join(dir, fmt.Sprintf("%d.tif", i))
		gdal(t, "gdal_translate", append(append([]string{"-q"}, strings.Fields(args)...), src, path)...)
		t.Run(args, func(t *testing.T) {
			equalToGDAL(t, path, metres)
			if strings.Contains(args, "Point") {
				return
			}
			// windows give what the whole gives
			f := open(t, path, metres)
			whole := all(t, f)
			w := make([]float32, 17*13)
			if err := f.Read(31, 42, 17, 13, w); err != nil {
				t.Fatal(err)
			}
			for i, z := range w {
				if want := whole[(42+i/17)*f.Cols+31+i%17]; z != want && z == z {
					t.Fatalf("window cell %d is %v, in the whole %v", i, z, want)
				}
			}
		})
	}
	// overviews are passed over
	path := filepath.Join(dir, "overviews.tif")
	gdal(t, "gdal_translate", "-q", src, path)
	gdal(t, "gdaladdo", "-q", path, "2", "4")
	equalToGDAL(t, path, metres)
	equalToGDAL(t, "testdata/city-2m.tif", metres)
	equalToGDAL(t, "testdata/bijou-5m.asc", Options{CRS: "EPSG:26913", ElevationUnit: unit.Metre})
}

// What the two rasters' makers and gdalinfo say of them, read from its output.
func TestPublishedPlace(t *testing.T) {
	f := open(t, "testdata/lidar-1m.tif", metres)
	if f.CRS != "EPSG:26915" || f.MetresPerUnit != 1 || f.CellX != 1 || math.Abs(f.West-429402.31337) > 1e-5 || math.Abs(f.North-5150735.42494) > 1e-5 {
		t.Errorf("lidar: %+v", f)
	}
	f = open(t, "testdata/city-2m.tif", metres)
	if f.CRS != "EPSG:26918" || f.CellX != 2 || f.West != 321498 || f.North != 4298018 || f.NoData == nil || *f.NoData != -9999 {
		t.Errorf("city: %+v", f)
	}
}

func slugOf(err error) (parcels.Fault, bool) {
	var e *parcels.InputError
	if !errors.As(err, &e) || len(e.Faults) == 0 {
		return parcels.Fault{}, false
	}
	return e.Faults[0], true
}

func wantSlug(t *testing.T, name string, err error, slug string) parcels.Fault {
	t.Helper()
	f, ok := slugOf(err)
	if !ok || f.Slug != slug || f.Detail == "" || f.Entry == "" {
		t.Errorf("%s: %v (%q), want %s", name, err, f.Slug, slug)
	}
	return f
}

// System and unit: what the file does not say is asked for, what contradicts is
// refused, degrees are refused.
func TestHandSystemAndUnit(t *testing.T) {
	dir := t.TempDir()
	make := func(name string, args ...string) string {
		p := filepath.Join(dir, name)
		gdal(t, "gdal_translate", append(append([]string{"-q"}, args...), "testdata/lidar-1m.tif", p)...)
		return p
	}
	_, err := openErr("testdata/lidar-1m.tif", Options{})
	wantSlug(t, "silent unit", err, "dem-unit-unknown")
	_, err = openErr("testdata/bijou-5m.asc", metres)
	wantSlug(t, "grid without system", err, "crs-unknown")
	_, err = openErr("testdata/lidar-1m.tif", Options{CRS: "EPSG:26914", ElevationUnit: unit.Metre})
	wantSlug(t, "other system", err, "crs-conflict")
	_, err = openErr("testdata/bijou-5m.asc", Options{CRS: "EPSG:99999", ElevationUnit: unit.Metre})
	wantSlug(t, "no such system", err, "crs-unknown")
	_, err = openErr("testdata/bijou-5m.asc", Options{CRS: "EPSG:4326", ElevationUnit: unit.Metre})
	wantSlug(t, "degrees given", err, "crs-units-mismatch")

	deg := filepath.Join(dir, "deg.tif")
	gdal(t, "gdalwarp", "-q", "-t_srs", "EPSG:4326", "testdata/lidar-1m.tif", deg)
	_, err = openErr(deg, metres)
	wantSlug(t, "degrees", err, "crs-units-mismatch")
	_, err = openErr(make("claims.tif", "-a_srs", "EPSG:26915", "-a_ullr", "-93.9", "46.6", "-93.8", "46.5"), metres)
	wantSlug(t, "degrees under a projected name", err, "crs-units-mismatch")

	nav := make("navd.tif", "-a_srs", "EPSG:26915+5703")
	f := open(t, nav, Options{})
	if f.ElevationUnit != unit.Metre || f.VerticalDatum != "NAVD88" {
		t.Errorf("NAVD88 metres: %+v", f)
	}
	_, err = openErr(nav, Options{ElevationUnit: unit.Foot})
	wantSlug(t, "feet given, metres written", err, "crs-units-mismatch")
	f = open(t, make("navdft.tif", "-a_srs", "EPSG:26915+6360"), Options{})
	if f.ElevationUnit != unit.SurveyFoot {
		t.Errorf("NAVD88 feet: %+v", f)
	}
	// feet become metres: a cell of 395 ft is 120.396 m
	feet := open(t, "testdata/lidar-1m.tif", Options{ElevationUnit: unit.Foot})
	a, b := all(t, open(t, "testdata/lidar-1m.tif", metres)), all(t, feet)
	if math.Abs(float64(b[0])-0.3048*float64(a[0])) > 1e-4 {
		t.Errorf("%v m of %v ft", b[0], a[0])
	}
	// state plane in survey feet
	f = open(t, make("ft.tif", "-a_srs", "EPSG:2277", "-a_ullr", "3100000", "10000000", "3100192", "9999840"), metres)
	if math.Abs(f.MetresPerUnit-1200.0/3937) > 1e-12 {
		t.Errorf("survey feet: %v", f.MetresPerUnit)
	}
	// what GDAL itself writes but does not read back the same
	_, err = openErr(make("big3.tif", "-co", "ENDIANNESS=BIG", "-co", "COMPRESS=DEFLATE", "-co", "PREDICTOR=3"), metres)
	wantSlug(t, "big-endian predictor 3", err, "raster-unsupported")
	vrt := filepath.Join(dir, "turned.vrt")
	gdal(t, "gdal_translate", "-q", "-of", "VRT", "testdata/lidar-1m.tif", vrt)
	b2, _ := os.ReadFile(vrt)
	from, rest, _ := strings.Cut(string(b2), "<GeoTransform>")
	_, rest, _ = strings.Cut(rest, "</GeoTransform>")
	abs, _ := filepath.Abs("testdata/lidar-1m.tif")
	text := from + "<GeoTransform>500000, 1, 0.1, 5000000, 0.1, -1</GeoTransform>" + rest
	text = regexp.MustCompile(`<SourceFilename[^>]*>[^<]*<`).ReplaceAllString(text, `<SourceFilename relativeToVRT="0">`+abs+"<")
	if err := os.WriteFile(vrt, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	turned := filepath.Join(dir, "turned.tif")
	gdal(t, "gdal_translate", "-q", vrt, turned)
	_, err = openErr(turned, metres)
	wantSlug(t, "turned", err, "raster-unsupported")
}

// A raster in another system than the site's is brought into its plane: the
// site in longitude and latitude, the raster in UTM. The elevation at a place
// must be the raster's own at that place.
func TestPropertyOtherSystem(t *testing.T) {
	f := open(t, "testdata/lidar-1m.tif", metres)
	utm, err := frame.New("EPSG:26915", orb.Bound{Min: orb.Point{429400, 5150650}, Max: orb.Point{429500, 5150740}})
	if err != nil {
		t.Fatal(err)
	}
	b, _ := f.Bound(utm)
	sw, ne := utm.LonLat(b.Min), utm.LonLat(b.Max)
	site, err := frame.New("", orb.Bound{Min: sw, Max: ne})
	if err != nil {
		t.Fatal(err)
	}
	own, rep, err := f.Window(utm, b, 0)
	if err != nil || rep.Resampled || rep.Missing != 0 {
		t.Fatal(err, rep)
	}
	if own.Cols != 96 || own.Rows != 80 {
		t.Fatalf("own window %d by %d", own.Cols, own.Rows)
	}
	box, _ := f.Bound(site)
	g, rep, err := f.Window(site, box, 0)
	if err != nil || !rep.Resampled {
		t.Fatal(err, rep)
	}
	compared := 0
	for i, z := range g.Z {
		if z != z {
			continue
		}
		p := utm.FromLonLat(site.LonLat(g.Centre(i%g.Cols, i/g.Cols)))
		c, r, ok := own.Cell(p)
		if !ok {
			continue
		}
		// between its four nearest centres
		lo, hi := math.Inf(1), math.Inf(-1)
		for dr := -1; dr <= 1; dr++ {
			for dc := -1; dc <= 1; dc++ {
				if c+dc >= 0 && c+dc < own.Cols && r+dr >= 0 && r+dr < own.Rows {
					v := float64(own.Z[(r+dr)*own.Cols+c+dc])
					lo, hi = math.Min(lo, v), math.Max(hi, v)
				}
			}
		}
		if float64(z) < lo-1e-4 || float64(z) > hi+1e-4 {
			t.Fatalf("cell %d: %v, the raster has %v to %v there", i, z, lo, hi)
		}
		compared++
	}
	if compared < 7000 || float64(rep.Missing) > 0.15*float64(rep.Cells) {
		t.Fatalf("%d cells compared, %+v", compared, rep)
	}
	if _, _, err = f.Window(utm, orb.Bound{Min: orb.Point{9000, 9000}, Max: orb.Point{9100, 9100}}, 5); err == nil {
		t.Fatal("a site off the raster was taken")
	} else {
		wantSlug(t, "off the raster", err, "dem-no-data")
	}
}

func TestHandASCII(t *testing.T) {
	const head = "ncols 3\nnrows 2\nxllcorner 100\nyllcorner 200\ncellsize 10\n"
	read := func(s string, opt Options) (*File, error) {
		opt.CRS, opt.ElevationUnit = "EPSG:26915", unit.Metre
		return Open(strings.NewReader(s), int64(len(s)), "g.asc", opt)
	}
	f, err := read(head+"1.5e+01 2 3\r\n4 -9999\t6", Options{})
	if err != nil {
		t.Fatal(err)
	}
	z := all(t, f)
	if z[0] != 15 || z[3] != 4 || z[4] == z[4] || f.North != 220 || f.West != 100 {
		t.Errorf("%v %+v", z, f)
	}
	f, err = read(strings.Replace(strings.Replace(head, "xllcorner", "XLLCENTER", 1), "yllcorner", "yllcenter", 1)+"NODATA_value 2\n1 2 3 4 5 6\n", Options{})
	if err != nil || f.West != 95 || f.North != 215 {
		t.Errorf("centre: %v %+v", err, f)
	} else if z := all(t, f); z[1] == z[1] {
		t.Error("nodata 2 was read as an elevation")
	}
	for name, c := range map[string]struct{ text, slug, says string }{
		"short":      {head + "1 2 3\n4 5\n", "raster-corrupt", "after 5 of 6"},
		"long":       {head + "1 2 3\n4 5 6 7\n", "raster-corrupt", "line 7"},
		"no number":  {head + "1 2 3\n4 x5 6\n", "raster-corrupt", "Cell 1, 1"},
		"twice":      {"ncols 3\n" + head + "1 2 3 4 5 6", "raster-corrupt", "twice"},
		"no size":    {strings.Replace(head, "cellsize 10", "cellsize 0", 1) + "1 2 3 4 5 6", "raster-corrupt", "cellsize"},
		"half cols":  {strings.Replace(head, "ncols 3", "ncols 3.5", 1) + "1 2 3 4 5 6", "raster-corrupt", "ncols"},
		"no corner":  {strings.Replace(head, "xllcorner 100\n", "", 1) + "1 2 3 4 5 6", "raster-corrupt", "xllcorner"},
		"lies":       {strings.Replace(head, "ncols 3", "ncols 30000", 1) + "1 2 3 4 5 6", "raster-corrupt", "30000"},
		"great lies": {strings.Replace(head, "ncols 3", "ncols 3e300", 1) + "1 2 3 4 5 6", "raster-too-large", "cells"},
		"other text": {"hello world this is no grid", "raster-corrupt", "hello"},
		"json":       {`{"type":"FeatureCollection"}`, "raster-corrupt", "FeatureCollection"},
	} {
		_, err := read(c.text, Options{})
		if f := wantSlug(t, name, err, c.slug); !strings.Contains(f.Detail, c.says) {
			t.Errorf("%s: %q does not say %q", name, f.Detail, c.says)
		}
	}
	_, err = read(head+"1 2 3 4 5 6", Options{MaxCells: 5})
	wantSlug(t, "limit", err, "raster-too-large")
}

// Implausible numbers are missing and counted, never elevations.
func TestHandImplausible(t *testing.T) {
	s := "ncols 4\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 10\nnodata_value -1\n200 -9999 3.4e38 inf\n"
	f, err := Open(strings.NewReader(s), int64(len(s)), "g.asc", Options{CRS: "EPSG:26915", ElevationUnit: unit.Metre})
	if err != nil {
		t.Fatal(err)
	}
	z := all(t, f)
	if z[0] != 200 || z[1] == z[1] || z[2] == z[2] || z[3] == z[3] || f.Implausible() != 3 {
		t.Errorf("%v, %d implausible", z, f.Implausible())
	}
}

// Masks and bands as GDAL writes them: a band of opacity and an inner mask leave
// out the cells that they leave out; of several bands the one that is named is
// read, in cells and in bands, with every predictor; unnamed they are an error
// that says how to go on.
func TestOracleBandsAndMasks(t *testing.T) {
	dir := t.TempDir()
	at := func(n string) string { return filepath.Join(dir, n) }
	src := filepath.Join("testdata", "lidar-1m.tif")
	whole := open(t, src, metres)
	// ten metres beyond the raster on each side
	m := 10.0
	wide := []string{fmt.Sprint(whole.West - m), fmt.Sprint(whole.North - float64(whole.Rows) - m), fmt.Sprint(whole.West + float64(whole.Cols) + m), fmt.Sprint(whole.North + m)}
	gdal(t, "gdalwarp", append(append([]string{"-q", "-dstalpha", "-te"}, wide...), "-tr", "1", "1", src, at("alpha.tif"))...)
	gdal(t, "gdal_translate", "-q", "-ot", "Float32", "-scale", "0", "1", "10", "11", src, at("up.tif"))
	gdal(t, "gdalbuildvrt", "-q", "-separate", at("two.vrt"), src, at("up.tif"))
	same := func(name string, f *File, margin int, lift float32) {
		t.Helper()
		want, got := all(t, whole), all(t, f)
		shown := 0
		for i, z := range got {
			c, r := i%f.Cols-margin, i/f.Cols-margin
			if c < 0 || r < 0 || c >= whole.Cols || r >= whole.Rows {
				if z == z {
					t.Fatalf("%s: cell %d, %d beyond the raster has %v", name, c, r, z)
				}
				continue
			}
			if v := want[r*whole.Cols+c] + lift; math.Abs(float64(z-v)) > 1e-4 || z != z {
				t.Fatalf("%s: cell %d, %d has %v, want %v", name, c, r, z, v)
			}
			shown++
		}
		if shown != whole.Cols*whole.Rows {
			t.Fatalf("%s: %d cells", name, shown)
		}
	}
	for _, co := range [][]string{{"INTERLEAVE=PIXEL"}, {"INTERLEAVE=BAND"}, {"INTERLEAVE=PIXEL", "COMPRESS=DEFLATE", "PREDICTOR=3"}, {"INTERLEAVE=PIXEL", "COMPRESS=LZW", "PREDICTOR=2", "TILED=YES", "BLOCKXSIZE=32", "BLOCKYSIZE=32"}, {"INTERLEAVE=BAND", "COMPRESS=DEFLATE", "PREDICTOR=3", "TILED=YES", "BLOCKXSIZE=48", "BLOCKYSIZE=32"}} {
		var args []string
		for _, o := range co {
			args = append(args, "-co", o)
		}
		name := strings.Join(co, " ")
		gdal(t, "gdal_translate", append(append([]string{"-q"}, args...), at("alpha.tif"), at("a.tif"))...)
		same("opacity, "+name, open(t, at("a.tif"), metres), 10, 0)
		gdal(t, "gdal_translate", append(append([]string{"-q", "--config", "GDAL_TIFF_INTERNAL_MASK", "YES", "-b", "1", "-mask", "2"}, args...), at("alpha.tif"), at("m.tif"))...)
		if f := open(t, at("m.tif"), metres); f.mask == nil {
			t.Errorf("mask, %s: GDAL wrote none", name)
		} else {
			same("mask, "+name, f, 10, 0)
		}
		gdal(t, "gdal_translate", append(append([]string{"-q"}, args...), at("two.vrt"), at("two.tif"))...)
		_, err := openErr(at("two.tif"), metres)
		wantSlug(t, "two bands, "+name, err, "raster-unsupported")
		if err == nil || !strings.Contains(err.Error(), "gdal_translate -b 1") {
			t.Errorf("no remedy: %v", err)
		}
		for band, lift := range map[int]float32{1: 0, 2: 10} {
			same(fmt.Sprintf("band %d, %s", band, name), open(t, at("two.tif"), Options{ElevationUnit: unit.Metre, Band: band}), 0, lift)
		}
		_, err = openErr(at("two.tif"), Options{ElevationUnit: unit.Metre, Band: 3})
		wantSlug(t, "band 3 of two", err, "raster-unsupported")
	}
}

// disk is a file that can be read until it is broken.
type disk struct {
	*os.File
	broken *bool
}

func (d disk) ReadAt(p []byte, at int64) (int, error) {
	if *d.broken {
		return 0, errBroken
	}
	return d.File.ReadAt(p, at)
}

var errBroken = errors.New("input/output error")

// A raster that cannot be read is not one that lies elsewhere: that is no fault of
// the file.
func TestHandReadFails(t *testing.T) {
	file, err := os.Create(filepath.Join(t.TempDir(), "g.tif"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	o := Output{Cols: 100, Rows: 100, CRS: "EPSG:2154", West: 900000, North: 6700100, CellX: 1, CellY: 1, Bits: 32, Elevations: true,
		Row: func(row int, dst []float64) error { return nil }}
	if err := o.Write(file); err != nil {
		t.Fatal(err)
	}
	info, err := file.Stat()
	if err != nil {
		t.Fatal(err)
	}
	broken := false
	f, err := Open(disk{file, &broken}, info.Size(), "g.tif", Options{})
	if err != nil {
		t.Fatal(err)
	}
	fr, err := frame.New("EPSG:2154", orb.Bound{Min: orb.Point{900000, 6700000}, Max: orb.Point{900100, 6700100}})
	if err != nil {
		t.Fatal(err)
	}
	var in *parcels.InputError
	if _, _, err = f.Window(fr, orb.Bound{Min: orb.Point{9000, 0}, Max: orb.Point{9010, 10}}, 0); !errors.As(err, &in) || in.Faults[0].Slug != "dem-no-data" {
		t.Errorf("elsewhere: %v", err)
	}
	broken = true
	if _, _, err = f.Window(fr, orb.Bound{Min: orb.Point{-20, -20}, Max: orb.Point{20, 20}}, 0); !errors.Is(err, errBroken) || errors.As(err, &in) {
		t.Errorf("broken: %v", err)
	}
}
