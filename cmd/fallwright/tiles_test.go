package main

// The ground of rasters by tiles, through the command: the same answers as in
// memory, and bad files told on this way too.

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fallwright/parcels/exchange/raster"
)

// noise is between -0.5 and 0.5, from the place alone.
func noise(x, y int) float64 {
	n := uint64(x)*0x9E3779B97F4A7C15 ^ uint64(y)*0xC2B2AE3D27D4EB4F
	n ^= n >> 29
	n *= 0xBF58476D1CE4E5B9
	return float64(n>>40)/float64(1<<24) - 0.5
}

// wavy writes a GeoTIFF of 1 m cells of waves, a slope and noise, a lake, and a few
// cells without ground, its upper left corner at 500000, 4001000 of EPSG:26915.
func wavy(t *testing.T, file string, cols, rows int) {
	t.Helper()
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	o := raster.Output{Cols: cols, Rows: rows, CRS: "EPSG:26915", West: 500000, North: 4001000, CellX: 1, CellY: 1, Bits: 32, NoData: "nan", Elevations: true, Workers: 2, Row: func(r int, dst []float64) error {
		for c := range dst {
			z := 200 + 3*math.Sin(float64(c)/97)*math.Cos(float64(r)/83) + 0.4*math.Sin(float64(c)/23)*math.Cos(float64(r)/19) + 0.004*float64(c) + 0.02*noise(c, r)
			if c > cols/3 && c < 2*cols/3 && r > rows/3 && r < 2*rows/3 {
				z = 198 + 0.02*noise(c/3, r/3) // over the tiles' borders
			}
			if noise(c/5, r/5) > 0.4999 {
				z = math.NaN()
			}
			dst[c] = z
		}
		return nil
	}}
	if err := o.Write(f); err != nil {
		t.Fatal(err)
	}
}

// A raster of two by two tiles worked by tiles gives what it gives in memory, byte
// for byte: the document with ponds, contours, ways and findings, the picture with
// catchments, and the three rasters; alone and under a lot with house, downspouts
// and an inlet; tiled or striped. GDAL reads the rasters as they are meant.
func TestOracleGroundByTiles(t *testing.T) {
	dir := t.TempDir()
	tif := filepath.Join(dir, "wavy.tif")
	const cols, rows = 1090, 1040
	wavy(t, tif, cols, rows)
	run := func(name string, args ...string) map[string][]byte {
		at := func(s string) string { return filepath.Join(dir, name+s) }
		code, out, errs := call(t, "", append([]string{"ground", "--units", "si", "--json", "--picture", at(".svg"), "--filled", at("-f.tif"), "--directions", at("-d.tif"), "--area", at("-a.tif")}, args...)...)
		if code != exitDone {
			t.Fatalf("%s: exit %d %s", name, code, errs)
		}
		if tiles := strings.Contains(errs, "water over the ground, tiles: "); tiles != strings.Contains(strings.Join(args, " "), "--tiles-over") || tiles && !strings.Contains(errs, "raster read: ") {
			t.Errorf("%s: progress %q", name, errs)
		}
		all := map[string][]byte{"document": []byte(out)}
		for _, s := range []string{".svg", "-f.tif", "-d.tif", "-a.tif"} {
			b, err := os.ReadFile(at(s))
			if err != nil {
				t.Fatal(err)
			}
			all[s] = b
		}
		return all
	}
	same := func(name string, a, b map[string][]byte) {
		t.Helper()
		for k := range a {
			if !bytes.Equal(a[k], b[k]) {
				t.Errorf("%s: by tiles another %s (%d bytes, in memory %d)", name, k, len(b[k]), len(a[k]))
			}
		}
	}
	memory := run("memory", tif)
	tiles := run("tiles", tif, "--tiles-over", "1000000")
	same("the raster alone", memory, tiles)
	var doc struct {
		Features []struct{ Properties struct{ Kind string } }
	}
	if err := json.Unmarshal(tiles["document"], &doc); err != nil {
		t.Fatal(err)
	}
	kinds := map[string]int{}
	for _, f := range doc.Features {
		kinds[f.Properties.Kind]++
	}
	if kinds["pond"] < 10 || kinds["contour"] < 20 || kinds["flow"] < 100 {
		t.Errorf("little to compare: %v", kinds)
	}
	// a lot round the middle, where the tiles meet, with what stands on it
	site := siteAt(t, 500000+1004, 4001000-1034)
	same("a lot", run("lot", site, tif), run("lot-tiles", site, tif, "--tiles-over", "1000"))
	if _, err := exec.LookPath("gdal_translate"); err != nil {
		t.Log("gdal_translate, which reads and writes rasters its own way, is not installed")
		return
	}
	for name, args := range map[string][]string{"strips": {"-co", "COMPRESS=LZW", "-co", "PREDICTOR=3"}, "odd tiles": {"-co", "TILED=YES", "-co", "BLOCKXSIZE=48", "-co", "BLOCKYSIZE=304", "-co", "COMPRESS=DEFLATE"}} {
		file := filepath.Join(dir, strings.ReplaceAll(name, " ", "-")+".tif")
		if out, err := exec.Command("gdal_translate", append(append([]string{"-q"}, args...), tif, file)...).CombinedOutput(); err != nil {
			t.Fatalf("%v %s", err, out)
		}
		got := run(name, file, "--tiles-over", "1000000")
		got[".svg"] = memory[".svg"] // its title is the file's name
		same(name, memory, got)
	}
	// GDAL's view of what was written: cells of the filled ground lie on or over the
	// ground; where no cell is missing, what leaves adds up to the whole
	for s, want := range map[string]string{"-f.tif": "Type=Float32", "-d.tif": "Type=Byte", "-a.tif": "Type=Float64"} {
		out, err := exec.Command("gdalinfo", "-checksum", filepath.Join(dir, "tiles"+s)).CombinedOutput()
		if text := string(out); err != nil || !strings.Contains(text, want) || !strings.Contains(text, "Size is 1090, 1040") || !strings.Contains(text, `ID["EPSG",26915]`) || !strings.Contains(text, "Origin = (500000.0000") {
			t.Errorf("GDAL reads %s: %v %.900s", s, err, text)
		}
	}
	value := func(s string, c, r int) float64 {
		out, err := exec.Command("gdallocationinfo", "-valonly", filepath.Join(dir, "tiles"+s), strconv.Itoa(c), strconv.Itoa(r)).Output()
		v, perr := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil || perr != nil {
			t.Fatal(err, perr)
		}
		return v
	}
	// follow the water from the middle by GDAL's numbers: the area grows on the way
	// and the filled ground does not rise
	step := map[int][2]int{1: {1, 0}, 2: {1, 1}, 4: {0, 1}, 8: {-1, 1}, 16: {-1, 0}, 32: {-1, -1}, 64: {0, -1}, 128: {1, -1}}
	c, r := 640, 320
	for n := 0; n < 25; n++ {
		d, ok := step[int(value("-d.tif", c, r))]
		if !ok {
			t.Fatalf("no direction at %d, %d", c, r)
		}
		x, y := c+d[0], r+d[1]
		if x < 0 || y < 0 || x >= cols || y >= rows {
			break
		}
		if value("-a.tif", x, y) <= value("-a.tif", c, r) || value("-f.tif", x, y) > value("-f.tif", c, r) {
			t.Errorf("from %d, %d to %d, %d the area does not grow or the water rises", c, r, x, y)
		}
		c, r = x, y
	}
}

// Bad files and flags on the way by tiles.
func TestHandGroundByTilesRefuses(t *testing.T) {
	dir := t.TempDir()
	tif := filepath.Join(dir, "wavy.tif")
	wavy(t, tif, 600, 500)
	good, err := os.ReadFile(tif)
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, b []byte) string {
		f := filepath.Join(dir, name)
		if err := os.WriteFile(f, b, 0o644); err != nil {
			t.Fatal(err)
		}
		return f
	}
	damaged := bytes.Clone(good)
	for i := len(damaged) / 2; i < len(damaged)/2+40; i++ {
		damaged[i] ^= 0x5a
	}
	// the directory's width of a hundred thousand cells over the same blocks
	bomb := bytes.Clone(good)
	at := int(uint64(bomb[8]) | uint64(bomb[9])<<8 | uint64(bomb[10])<<16 | uint64(bomb[11])<<24)
	copy(bomb[at+8+12:], []byte{0xa0, 0x86, 0x01, 0, 0, 0, 0, 0})
	none := asciiGrid(t, 499990, 3999990, 1, func(int, int) float64 { return -9999 })
	for _, c := range []struct {
		name string
		args []string
		says []string
	}{
		{"cut short", []string{write("cut.tif", good[:len(good)*2/3])}, []string{"cut.tif", "outside the file", "fetch it again"}},
		{"damaged within", []string{write("damaged.tif", damaged)}, []string{"damaged.tif", "does not decode", "fetch it again"}},
		{"a bomb", []string{write("bomb.tif", bomb)}, []string{"bomb.tif", "100000 by 500", "blocks"}},
		{"all without elevation", []string{none, "--terrain-unit", "m", "--crs", "EPSG:26915"}, []string{"dem.asc", "none of the 3000 cells", "Give a raster that covers them"}},
		{"no such limit", []string{tif, "--tiles-over", "0"}, []string{"--tiles-over", "1 at least"}},
		{"a raster of another kind", []string{tif, "--filled", filepath.Join(dir, "x.png")}, []string{"x.png", ".tif"}},
	} {
		code, _, errs := call(t, "", append([]string{"ground", "--tiles-over", "1000"}, c.args...)...)
		if code != exitInput {
			t.Errorf("%s: exit %d %s", c.name, code, errs)
		}
		for _, s := range c.says {
			if !strings.Contains(errs, s) {
				t.Errorf("%s: %q is not in %q", c.name, s, errs)
			}
		}
	}
	t.Setenv("TMPDIR", filepath.Join(dir, "no-such-folder"))
	if code, _, errs := call(t, "", "ground", "--tiles-over", "1000", tif); code != exitFailed || !strings.Contains(errs, "no-such-folder") {
		t.Errorf("no room on disk: exit %d %s", code, errs)
	}
}

// A raster larger than memory through the command: where FALLWRIGHT_LARGE gives its
// side in cells (make large). It takes minutes and some 30 bytes of disk a cell.
func TestLargeGround(t *testing.T) {
	side, _ := strconv.Atoi(os.Getenv("FALLWRIGHT_LARGE"))
	if side == 0 {
		t.Skip("minutes and gigabytes: set FALLWRIGHT_LARGE to a side in cells (make large)")
	}
	dir := t.TempDir()
	tif := filepath.Join(dir, "large.tif")
	wavy(t, tif, side, side)
	at := func(s string) string { return filepath.Join(dir, s) }
	code, out, errs := call(t, "", "ground", tif, "--units", "si", "-o", at("large.geojson"), "--picture", at("large.svg"), "--filled", at("f.tif"), "--directions", at("d.tif"), "--area", at("a.tif"))
	if code != exitDone {
		t.Fatalf("exit %d %s", code, errs)
	}
	peak := 0
	status, _ := os.ReadFile("/proc/self/status")
	for _, l := range strings.Split(string(status), "\n") {
		if v, ok := strings.CutPrefix(l, "VmHWM:"); ok {
			peak, _ = strconv.Atoi(strings.Fields(v)[0])
		}
	}
	for _, f := range []string{"large.tif", "large.geojson", "large.svg", "f.tif", "d.tif", "a.tif"} {
		if st, err := os.Stat(at(f)); err != nil {
			t.Error(err)
		} else {
			t.Logf("%s %d MB", f, st.Size()>>20)
		}
	}
	first, _, _ := strings.Cut(out, "\n")
	t.Logf("%d by %d cells, at most %d MB; %s", side, side, peak/1024, first)
	if peak > 2<<20 {
		t.Errorf("took %d MB, more than 2 GB", peak/1024)
	}
}
