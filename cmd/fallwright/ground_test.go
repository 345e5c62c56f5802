package main

// The ground through the command: a plan on a raster and on a surveyor's shots, the
// picture of the ground, and what bad ground is answered with.

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/sampledata"
)

const rasterSamples = "../../parcels/exchange/raster/testdata/"

// siteAt is a lot of 40 by 30 m with a house, two downspouts and an inlet, its
// south-west corner at a place of EPSG:26915.
func siteAt(t *testing.T, x, y float64) string {
	t.Helper()
	type obj = map[string]any
	at := func(pts ...[2]float64) (out [][2]float64) {
		for _, p := range pts {
			out = append(out, [2]float64{x + p[0], y + p[1]})
		}
		return out
	}
	area := func(properties obj, pts ...[2]float64) obj {
		return obj{"type": "Feature", "properties": properties, "geometry": obj{"type": "Polygon", "coordinates": [][][2]float64{at(append(pts, pts[0])...)}}}
	}
	point := func(properties obj, a, b float64) obj {
		return obj{"type": "Feature", "properties": properties, "geometry": obj{"type": "Point", "coordinates": at([2]float64{a, b})[0]}}
	}
	col := func(f ...obj) obj { return obj{"type": "FeatureCollection", "features": f} }
	text, err := json.Marshal(obj{"crs": "EPSG:26915", "layers": obj{
		"parcels":   col(area(obj{"lot": "1", "line_roles": []string{"rear", "side", "front", "side"}}, [2]float64{0, 0}, [2]float64{40, 0}, [2]float64{40, 30}, [2]float64{0, 30})),
		"buildings": col(area(obj{"lot": "1"}, [2]float64{14, 12}, [2]float64{26, 12}, [2]float64{26, 22}, [2]float64{14, 22})),
		"intakes":   col(point(obj{"intake": "D1", "lot": "1", "kind": "downspout"}, 14, 12), point(obj{"intake": "D2", "lot": "1", "kind": "downspout"}, 26, 12)),
		"inlets":    col(point(obj{"inlet": "I1", "system": "storm", "kind": "grate"}, 2, 1)),
	}})
	if err != nil {
		t.Fatal(err)
	}
	f := filepath.Join(t.TempDir(), "site.json")
	if err := os.WriteFile(f, text, 0o644); err != nil {
		t.Fatal(err)
	}
	return f
}

// A plan on the crop of a real lidar raster: its runs start from the raster's
// heights. The first corner of the house lies at 14, 12 of the lot, in the middle of
// four cells of 1 m whose heights GDAL reads; the ground there is their bilinear
// mean, within 0.15 m (this ground falls 0.3 m a metre, and the cells' faces are
// triangles). With the whole rasters beside the checkout the same site is planned
// on those: the crop's cells are the raster's own, so the plan is the same.
func TestOraclePlanOnRaster(t *testing.T) {
	site := siteAt(t, 429412, 5150670)
	crop := rasterSamples + "lidar-1m.tif"
	plan := func(raster string) (first string, ground float64) {
		code, out, errs := call(t, "", "plan", site, raster, "--terrain-unit", "m", "--json")
		if code != exitDone && code != exitStop {
			t.Fatalf("%s: exit %d: %s", raster, code, errs)
		}
		var p struct {
			Profiles []struct {
				Rows []struct {
					Point  string   `json:"point"`
					Ground *float64 `json:"ground_m"`
				}
			}
		}
		if err := json.Unmarshal([]byte(out), &p); err != nil {
			t.Fatal(err)
		}
		for _, q := range p.Profiles {
			for _, r := range q.Rows {
				if r.Point == "D1" && r.Ground != nil {
					return out, *r.Ground
				}
			}
		}
		t.Fatalf("no ground at D1 in %.600s", out)
		return "", 0
	}
	out, ground := plan(crop)
	for _, s := range []string{`"roof_shared"`, `"foundation_fall"`} {
		if !strings.Contains(out, s) {
			t.Errorf("the plan on a raster does not tell %s", s)
		}
	}
	if _, err := exec.LookPath("gdallocationinfo"); err == nil {
		text, err := exec.Command("gdallocationinfo", "-valonly", "-geoloc", crop, "429426", "5150682").Output()
		var cell float64
		if _, serr := fmt.Sscan(string(text), &cell); err != nil || serr != nil {
			t.Fatal(err, serr)
		}
		if math.Abs(ground-cell) > 0.15 {
			t.Errorf("the ground at D1 is %.3f m, the raster's cell there %.3f m", ground, cell)
		}
	}
	if dir := sharedData(); dir != "" {
		whole := filepath.Join(dir, "dem-lidar-1m-mn", "dem.tif")
		if _, err := os.Stat(whole); err == nil {
			if _, again := plan(whole); math.Abs(again-ground) > 1e-6 {
				t.Errorf("on the whole raster the ground at D1 is %.4f m, on its crop %.4f m", again, ground)
			}
		}
	}
}

// asciiGrid writes an ASCII grid over the lot of siteAt(500000, 4000000): 60 by 50 cells of
// 1 m from 499990, 3999990 on; z gives the height of a cell.
func asciiGrid(t *testing.T, west, south, cell float64, z func(c, r int) float64) string {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, "ncols 60\nnrows 50\nxllcorner %v\nyllcorner %v\ncellsize %v\nNODATA_value -9999\n", west, south, cell)
	for r := range 50 {
		for c := range 60 {
			fmt.Fprintf(&b, "%.3f ", z(c, r))
		}
		b.WriteByte('\n')
	}
	f := filepath.Join(t.TempDir(), "dem.asc")
	if err := os.WriteFile(f, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return f
}

func plane(c, r int) float64 { return 100 - 0.02*float64(c) - 0.03*float64(50-r) }

// Bad rasters: the line names the file, says where or by how much, and what to do.
func TestHandBadRasters(t *testing.T) {
	site := siteAt(t, 500000, 4000000)
	dir := t.TempDir()
	good, err := os.ReadFile(rasterSamples + "city-2m.tif")
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
	// a TIFF of 50,000 by 50,000 cells in one strip of 16 bytes
	le := func(v ...uint32) (b []byte) {
		for _, x := range v {
			b = append(b, byte(x), byte(x>>8), byte(x>>16), byte(x>>24))
		}
		return b
	}
	entry := func(tag, kind uint16, value uint32) []byte {
		return append(append([]byte{byte(tag), byte(tag >> 8), byte(kind), byte(kind >> 8)}, le(1)...), le(value)...)
	}
	bomb := append([]byte("II*\x00"), le(8)...)
	bomb = append(bomb, 8, 0)
	for _, e := range [][]byte{entry(256, 4, 50000), entry(257, 4, 50000), entry(258, 3, 32), entry(259, 3, 8), entry(273, 4, 110), entry(278, 4, 50000), entry(279, 4, 16), entry(339, 3, 3)} {
		bomb = append(bomb, e...)
	}
	bomb = append(bomb, make([]byte, 40)...)
	for _, c := range []struct {
		name, file string
		args, says []string
	}{
		{"in degrees", asciiGrid(t, -105.2, 38.9, 0.0003, plane), nil, []string{"dem.asc", "in degrees", "-105.2", "Reproject it to a projected system"}},
		{"no reference system", asciiGrid(t, 499990, 3999990, 1, plane), []string{"--terrain-unit", "m"}, []string{"dem.asc", "names no coordinate system", "--crs EPSG:NNNN"}},
		{"no vertical unit", rasterSamples + "lidar-1m.tif", nil, []string{"lidar-1m.tif", "in which unit its elevations are", "--terrain-unit m, ft or us_ft"}},
		{"all without elevation", asciiGrid(t, 499990, 3999990, 1, func(int, int) float64 { return -9999 }), []string{"--terrain-unit", "m", "--crs", "EPSG:26915"}, []string{"dem.asc", "no ground under the parcels", "Give a raster that covers them"}},
		{"elsewhere", rasterSamples + "lidar-1m.tif", []string{"--terrain-unit", "m"}, []string{"lidar-1m.tif", "no ground under the parcels", "Give a raster that covers them"}},
		{"cut short", write("cut.tif", good[:len(good)*2/3]), []string{"--terrain-unit", "m"}, []string{"cut.tif", "offset", "cut short or damaged"}},
		{"a bomb", write("bomb.tif", bomb), []string{"--terrain-unit", "m"}, []string{"bomb.tif", "50000 by 50000", "Write it again in tiles of 256 by 256"}},
		{"no raster", write("text.tif", []byte("ncols five\nnrows six\n")), []string{"--terrain-unit", "m"}, []string{"text.tif"}},
		{"not there", filepath.Join(dir, "none.tif"), nil, []string{"none.tif", "cannot be read"}},
	} {
		code, _, errs := call(t, "", append([]string{"plan", site, c.file}, c.args...)...)
		if code != exitInput {
			t.Errorf("%s: exit %d: %s", c.name, code, errs)
		}
		for _, s := range c.says {
			if !strings.Contains(errs, s) {
				t.Errorf("%s: %q is not in %q", c.name, s, errs)
			}
		}
	}
	// taken where the caller says what the file does not
	if code, out, errs := call(t, "", "plan", site, asciiGrid(t, 499990, 3999990, 1, plane), "--terrain-unit", "m", "--crs", "EPSG:26915", "--json"); code != exitDone && code != exitStop || !strings.Contains(out, "names no coordinate system; EPSG:26915 as given") {
		t.Errorf("a grid whose system is given: exit %d: %s%.300s", code, errs, out)
	}
	// elevations in another unit than stated
	if _, err := exec.LookPath("gdal_translate"); err != nil {
		t.Skip("gdal_translate, which writes a raster of feet, is not installed")
	}
	feet := filepath.Join(dir, "feet.tif")
	if text, err := exec.Command("gdal_translate", "-q", "-a_srs", "EPSG:26915+6360", rasterSamples+"lidar-1m.tif", feet).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, text)
	}
	code, _, errs := call(t, "", "plan", siteAt(t, 429412, 5150670), feet, "--terrain-unit", "m")
	if code != exitInput || !strings.Contains(errs, "feet.tif") || !strings.Contains(errs, "0.304800") || !strings.Contains(errs, "Correct one of them") {
		t.Errorf("feet stated as metres: exit %d %q", code, errs)
	}
	// rotated: the remedy makes it straight
	turned := filepath.Join(dir, "turned.tif")
	if text, err := exec.Command("gdal_translate", "-q", "-of", "VRT", rasterSamples+"lidar-1m.tif", filepath.Join(dir, "t.vrt")).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, text)
	}
	vrt, err := os.ReadFile(filepath.Join(dir, "t.vrt"))
	if err != nil {
		t.Fatal(err)
	}
	a, b := bytes.Index(vrt, []byte("<GeoTransform>")), bytes.Index(vrt, []byte("</GeoTransform>"))
	vrt = append(append(append([]byte{}, vrt[:a]...), []byte("<GeoTransform>429402,0.96,0.28,5150700,0.28,-0.96")...), vrt[b:]...)
	if err := os.WriteFile(filepath.Join(dir, "t.vrt"), vrt, 0o644); err != nil {
		t.Fatal(err)
	}
	if text, err := exec.Command("gdal_translate", "-q", filepath.Join(dir, "t.vrt"), turned).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, text)
	}
	code, _, errs = call(t, "", "plan", siteAt(t, 429412, 5150670), turned, "--terrain-unit", "m")
	if code != exitInput || !strings.Contains(errs, "turned.tif") || !strings.Contains(errs, "gdalwarp") {
		t.Errorf("a rotated raster: exit %d %q", code, errs)
	}
}

// Bad shots: two heights at one place are refused with both named; a shot 3 m off
// its neighbours and ground that ends within the lot are told, with the place.
func TestHandBadShots(t *testing.T) {
	site := siteAt(t, 500000, 4000000)
	shots := func(more string, out ...[2]float64) string {
		var b strings.Builder
		n := 0
		for x := -5.0; x <= 45; x += 5 {
			for y := -5.0; y <= 35; y += 5 {
				skip := false
				for _, o := range out {
					skip = skip || x >= o[0] && y >= o[1]
				}
				if n++; !skip {
					fmt.Fprintf(&b, "%d,%.2f,%.2f,%.3f,gs\n", n, 4000000+y, 500000+x, 100-0.02*x-0.03*(30-y))
				}
			}
		}
		f := filepath.Join(t.TempDir(), "shots.csv")
		if err := os.WriteFile(f, []byte(b.String()+more), 0o644); err != nil {
			t.Fatal(err)
		}
		return f
	}
	plan := func(file string, args ...string) (int, string, string) {
		return call(t, "", append([]string{"plan", site, file, "--terrain-unit", "m"}, args...)...)
	}
	if code, out, errs := plan(shots("")); code != exitDone && code != exitStop || strings.Contains(out, "bust") {
		t.Errorf("good shots: exit %d: %s%.400s", code, errs, out)
	}
	code, _, errs := plan(shots("900,4000012.50,500012.50,98.000,gs\n901,4000012.50,500012.50,98.400,gs\n"))
	if code != exitInput {
		t.Errorf("two heights at one place: exit %d %s", code, errs)
	}
	for _, s := range []string{"shots.csv", "shot 900 and shot 901, at 500012.5", "4000012.5", "98.000 m and 98.400 m", "delete the wrong one"} {
		if !strings.Contains(errs, s) {
			t.Errorf("two heights at one place: %q is not in %q", s, errs)
		}
	}
	code, out, errs := plan(shots("900,4000007.50,500007.50,102.175,gs\n"), "--json")
	if code != exitDone && code != exitStop || !strings.Contains(out, `"likely_bust"`) || !strings.Contains(out, "Shot 900 stands 3.0") {
		t.Errorf("a shot 3 m off: exit %d %s %.300s", code, errs, out)
	}
	// the ground ends before the lot does
	code, out, errs = plan(shots("", [2]float64{15, -9}), "--json")
	if code != exitDone && code != exitStop || !strings.Contains(out, "outside the ground") && !strings.Contains(out, "beyond the ground") && !strings.Contains(out, "no ground") && !strings.Contains(out, "not covered") {
		t.Errorf("shots on a part of the lot: exit %d %s %.1500s", code, errs, out)
	}
}

// The ground of the sample: its two bowls as the table tells them, by hand. A bowl
// is a cone of depth h and radius r over level ground: pi r2 h / 3. The picture is
// whole XML, numbers the hollows and holds the relief; a raster alone is a lot.
func TestHandGround(t *testing.T) {
	dir := t.TempDir()
	picture := filepath.Join(dir, "sample.svg")
	code, out, errs := call(t, "", "ground", sample(t), "--picture", picture, "--json")
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var doc struct {
		Features []struct {
			Properties struct {
				Kind    string
				Volume  float64 `json:"volume_m3"`
				Depth   float64 `json:"depth_m"`
				Lots    []string
				Intakes []string
			}
		}
	}
	if err := json.Unmarshal([]byte(out), &doc); err != nil {
		t.Fatal(err)
	}
	for _, b := range sampledata.Bowls {
		found := false
		for _, f := range doc.Features {
			if p := f.Properties; p.Kind == "pond" && len(p.Intakes) == 1 && p.Intakes[0] == b.Lot+"-YB1" {
				found = true
				if math.Abs(p.Volume/b.VolumeM3()-1) > 0.01 || math.Abs(p.Depth/(0.3048*b.DepthFt)-1) > 0.01 {
					t.Errorf("bowl on %s: %.3f m3 and %.3f m deep, made %.3f m3", b.Lot, p.Volume, p.Depth, b.VolumeM3())
				}
			}
		}
		if !found {
			t.Errorf("no hollow with the basin of %s", b.Lot)
		}
	}
	whole := func(file string) string {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for d := xml.NewDecoder(bytes.NewReader(b)); ; {
			if _, err := d.Token(); err != nil {
				if err.Error() != "EOF" {
					t.Errorf("%s: %v", file, err)
				}
				break
			}
		}
		return string(b)
	}
	if svg := whole(picture); !strings.Contains(svg, "The ground of") || strings.Count(svg, "<circle") != 12 || strings.Count(svg, "data:image/png;base64,") != 2 {
		t.Error("the picture lacks its title, its twelve numbers or its relief")
	}
	if code, _, errs := call(t, "", "ground", sample(t), "--picture", filepath.Join(dir, "x.png")); code != exitInput || !strings.Contains(errs, ".svg") {
		t.Errorf("a picture in another format: exit %d %s", code, errs)
	}
	rasters := []string{rasterSamples + "lidar-1m.tif", rasterSamples + "city-2m.tif"}
	if d := sharedData(); d != "" {
		rasters = append(rasters, filepath.Join(d, "dem-lidar-1m-mn", "dem.tif"), filepath.Join(d, "alexandria-va-dtm", "dtm.tif"))
	}
	for k, r := range rasters {
		if _, err := os.Stat(r); err != nil {
			continue
		}
		file := filepath.Join(dir, fmt.Sprintf("%d.svg", k))
		code, out, errs := call(t, "", "ground", r, "--terrain-unit", "m", "--units", "si", "--picture", file)
		if code != exitDone || !strings.Contains(out, "hollow on") {
			t.Errorf("%s: exit %d %s %.200s", r, code, errs, out)
			continue
		}
		if svg := whole(file); !strings.Contains(svg, "<circle") {
			t.Errorf("%s: no hollow is numbered", r)
		}
	}
	if code, _, errs := call(t, "", "plan", rasters[0], "--terrain-unit", "m"); code != exitInput || !strings.Contains(errs, "parcels") {
		t.Errorf("a plan without parcels: exit %d %s", code, errs)
	}
}
