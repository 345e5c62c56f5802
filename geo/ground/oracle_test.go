package ground

// Judged by other engines: GEOS for the triangulation, GDAL for slopes.

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/internal/geosop/peer"
	"fallwright/geo/unit"
)

func flatten(shots []Shot) []float64 {
	var xy []float64
	for _, s := range shots {
		xy = append(xy, s.At[0], s.At[1])
	}
	return xy
}

// A triangulation of points in general position is one and only one: the same
// triangles as GEOS, of random shots and of the real lidar crop's rough places.
func TestOracleGEOSDelaunay(t *testing.T) {
	for seed := int64(1); seed <= 5; seed++ {
		shots := shotsOn(seed, 300*int(seed), 200, flat)
		s, err := Triangulate(shots, nil)
		if err != nil {
			t.Fatal(err)
		}
		theirs, err := peer.NewPoints(flatten(shots)).Triangles()
		if err != nil {
			t.Fatal(err)
		}
		type face [3]orb.Point
		key := func(p [3]orb.Point) face {
			slices.SortFunc(p[:], func(a, b orb.Point) int {
				if a[0] < b[0] || a[0] == b[0] && a[1] < b[1] {
					return -1
				}
				return 1
			})
			return p
		}
		want := map[face]bool{}
		for _, f := range theirs {
			want[key([3]orb.Point{{f[0], f[1]}, {f[2], f[3]}, {f[4], f[5]}})] = true
		}
		ours := s.Triangles()
		missing := 0
		for _, f := range ours {
			if !want[key(f.At)] {
				missing++
			}
		}
		// GEOS triangulates within a finite frame and can miss slivers at the
		// hull; every other triangle is the same.
		if missing > 0 && len(theirs) == len(ours) || missing != len(ours)-len(theirs) || missing > 8 {
			t.Errorf("seed %d: %d triangles, GEOS %d; %d of ours are not GEOS's", seed, len(ours), len(theirs), missing)
		}
	}
}

// The gradient on a raster of a plane and a curved surface against gdaldem's
// (Zevenbergen and Thorne, central differences): ours is the mean of the two
// triangles' on each side to second order. On a paraboloid z = x^2/400 + y^2/900
// over cells of 1 m both are within 0.005 of the true slope and of each other.
func TestOracleGDALSlope(t *testing.T) {
	if _, err := exec.LookPath("gdaldem"); err != nil {
		t.Skip("gdaldem is not installed: it is the judge of this test")
	}
	bowl := func(x, y float64) float64 { return 100 + x*x/400 + y*y/900 }
	g := gridOf(60, 50, 1, bowl)
	r := mustRaster(t, g)
	dir := t.TempDir()
	raw := make([]byte, 4*len(g.Z))
	for i, z := range g.Z {
		binary.LittleEndian.PutUint32(raw[4*i:], math.Float32bits(z))
	}
	for name, b := range map[string][]byte{"z.bin": raw,
		"z.hdr": []byte("ENVI\nsamples = 60\nlines = 50\nbands = 1\ndata type = 4\nbyte order = 0\ninterleave = bsq\n")} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out := filepath.Join(dir, "s.bin")
	if b, err := exec.Command("gdaldem", "slope", "-q", "-p", "-of", "ENVI", "-alg", "ZevenbergenThorne", filepath.Join(dir, "z.bin"), out).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, b)
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	// Horn's sums, cell for cell
	hornOut := filepath.Join(dir, "h.bin")
	if b, err := exec.Command("gdaldem", "slope", "-q", "-p", "-of", "ENVI", filepath.Join(dir, "z.bin"), hornOut).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, b)
	}
	hb, err := os.ReadFile(hornOut)
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for row := 1; row < 49; row++ {
		for col := 1; col < 59; col++ {
			theirs := float64(math.Float32frombits(binary.LittleEndian.Uint32(b[4*(row*60+col):]))) / 100
			east, south, ok := g.Slope(col, row)
			if h := float64(math.Float32frombits(binary.LittleEndian.Uint32(hb[4*(row*60+col):]))) / 100; !ok || math.Abs(math.Hypot(east, south)-h) > 1e-5 { // GDAL works in single precision
				t.Fatalf("cell %d, %d: Horn's slope %v, GDAL %v", col, row, math.Hypot(east, south), h)
			}
			p := g.Centre(col, row)
			// the mean gradient of the faces round the centre
			var gx, gy, n float64
			for _, d := range [][2]float64{{0.3, 0.1}, {0.1, 0.3}, {-0.3, 0.1}, {-0.1, 0.3}, {0.3, -0.1}, {0.1, -0.3}, {-0.3, -0.1}, {-0.1, -0.3}} {
				v, ok := r.Gradient(orb.Point{p[0] + d[0], p[1] + d[1]})
				if !ok {
					t.Fatal("no gradient")
				}
				gx, gy, n = gx-float64(v.Slope)*v.Down[0], gy-float64(v.Slope)*v.Down[1], n+1
			}
			ours, truth := math.Hypot(gx, gy)/n, math.Hypot(p[0]/200, p[1]/450)
			if math.Abs(ours-theirs) > 0.005 || math.Abs(ours-truth) > 0.005 {
				t.Fatalf("cell %d, %d: slope %.4f, GDAL %.4f, true %.4f", col, row, ours, theirs, truth)
			}
			compared++
		}
	}
	if compared != 48*58 {
		t.Fatalf("%d cells compared", compared)
	}
}

// Horn's window on a help page: 50 45 50 / 30 30 30 / 8 10 10, cell 5: dz/dx
// 0.05, dz/dy -3.8 (southward), rise over run 3.80032 as printed (truncated),
// 75.25762 degrees. Hillshades here use the same sums.
func TestPublishedHorn(t *testing.T) {
	z := [3][3]float64{{50, 45, 50}, {30, 30, 30}, {8, 10, 10}}
	dx, dy := horn(z, 5, 5)
	if math.Abs(dx-0.05) > 1e-12 || math.Abs(dy+3.8) > 1e-12 || math.Abs(math.Hypot(dx, dy)-3.80032) > 2e-5 ||
		math.Abs(math.Atan(math.Hypot(dx, dy))*180/math.Pi-75.25762) > 1e-4 {
		t.Errorf("%v %v", dx, dy)
	}
}

func BenchmarkSurface(b *testing.B) {
	shots := shotsOn(1, 100000, 1000, func(x, y float64) float64 { return math.Sin(x / 30) })
	var lines []Line
	for k := 0; k < 200; k++ { // 200 flow lines of ten pieces
		var l Line
		for j := 0; j <= 10; j++ {
			p := orb.Point{5*float64(k) + 2*math.Sin(float64(j)), 20 + 96*float64(j)}
			l.Path, l.Z = append(l.Path, p), append(l.Z, unit.Elevation(math.Sin(p[0]/30)))
		}
		lines = append(lines, l)
	}
	theirs := peer.NewPoints(flatten(shots))
	clock := processorTime(b)
	var ours, geos float64
	for b.Loop() {
		t := clock()
		s, err := Triangulate(shots, lines)
		if err != nil {
			b.Fatal(err)
		}
		s.At(orb.Point{500, 500}) // builds the index
		ours += clock() - t
		t = clock()
		if theirs.Delaunay() < 100000 {
			b.Fatal("GEOS has no triangles")
		}
		geos += clock() - t
	}
	b.ReportMetric(1000*ours/float64(b.N), "cpu-ms/ours")
	b.ReportMetric(1000*geos/float64(b.N), "cpu-ms/geos")
	b.ReportMetric(ours/geos, "of-geos")
}

// Contours drawn by GDAL from real lidar ground, half a metre apart, make a
// surface again: at a thousand places it is within one interval of the ground
// (it cannot know more of tops and bottoms), half of them within a quarter.
func TestOracleGDALContours(t *testing.T) {
	for _, p := range []string{"gdal_contour", "gdal_translate"} {
		if _, err := exec.LookPath(p); err != nil {
			t.Skip(p + " is not installed: it is the judge of this test")
		}
	}
	dir := t.TempDir()
	const src = "../../parcels/exchange/raster/testdata/lidar-1m.tif"
	csv, bin := filepath.Join(dir, "c.csv"), filepath.Join(dir, "z.bin")
	for _, args := range [][]string{{"gdal_contour", "-q", "-a", "z", "-i", "0.5", "-f", "CSV", "-lco", "GEOMETRY=AS_WKT", src, csv}, {"gdal_translate", "-q", "-of", "ENVI", src, bin}} {
		if b, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v %s", args, err, b)
		}
	}
	text, err := os.ReadFile(csv)
	if err != nil {
		t.Fatal(err)
	}
	const west, north, cols, rows = 429402.31337, 5150735.42494, 96, 80
	var contours []Line
	for _, row := range strings.Split(string(text), "\n") {
		_, row, ok := strings.Cut(row, "LINESTRING (")
		if !ok {
			continue
		}
		shape, rest, _ := strings.Cut(row, ")")
		fields := strings.Split(strings.Trim(strings.TrimSpace(rest), `",`), ",")
		z, err := strconv.ParseFloat(strings.Trim(fields[len(fields)-1], `"`), 64)
		if err != nil {
			t.Fatalf("%q: %v", rest, err)
		}
		var path orb.LineString
		for _, p := range strings.Split(shape, ",") {
			xy := strings.Fields(p)
			x, _ := strconv.ParseFloat(xy[0], 64)
			y, _ := strconv.ParseFloat(xy[1], 64)
			path = append(path, orb.Point{x - west, y - north})
		}
		contours = append(contours, Contour(path, unit.Elevation(z), 0.5))
	}
	s, err := Triangulate(nil, contours)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(bin)
	if err != nil {
		t.Fatal(err)
	}
	g := Grid{Cols: cols, Rows: rows, CellX: 1, CellY: 1, Z: make([]float32, cols*rows)}
	for i := range g.Z {
		g.Z[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:]))
	}
	r := mustRaster(t, g)
	compared, close := 0, 0
	for i := 0; i < 3000; i++ {
		p := orb.Point{5 + float64(i%50)*1.7, -5 - float64(i/50)*1.1}
		a, ok1 := s.At(p)
		b, ok2 := r.At(p)
		if !ok1 || !ok2 {
			continue
		}
		d := math.Abs(float64(a.Elevation - b.Elevation))
		if d > 0.55 {
			t.Fatalf("at %v: %.3f m from contours, %.3f m on the ground", p, a.Elevation, b.Elevation)
		}
		compared++
		if d < 0.125 {
			close++
		}
	}
	if compared < 2000 || 2*close < compared {
		t.Errorf("%d compared, %d within 0.125 m", compared, close)
	}
}
