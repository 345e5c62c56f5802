package stakeout_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/stakeout"
)

// A line of 60 ft: 40 ft due north from an inlet, then 20 ft due east to a
// downspout; and a lateral of 10 ft that joins at the corner from the west, 0.20 ft
// above the main. Invert at the inlet 100.00 ft, grade 1 %; ground level at 103.00.
func small() *parcels.Plan {
	ft := func(v float64) float64 { return v * 0.3048 }
	el := func(v float64) unit.Elevation { return unit.Elevation(ft(v)) }
	p := &parcels.Plan{Frame: parcels.FrameStatement{CRS: "EPSG:2274"}}
	add := func(id, from, to string, a, b orb.Point, up, down float64) parcels.Run {
		r := parcels.Run{ID: id, From: from, To: to, Line: orb.LineString{a, b}, Size: "4 in", Pipe: "solid", Diameter: 101.6, OutsideDiameter: 107.1, PipeCount: 1,
			Length: unit.Length(math.Hypot(b[0]-a[0], b[1]-a[1])), InvertUp: parcels.Num(el(up)), InvertDown: parcels.Num(el(down))}
		r.Slope = parcels.Num(unit.Slope(float64(*r.InvertUp-*r.InvertDown) / float64(r.Length)))
		p.Runs = append(p.Runs, r)
		return r
	}
	in, corner, ds, lat := orb.Point{0, 0}, orb.Point{0, ft(40)}, orb.Point{ft(20), ft(40)}, orb.Point{-ft(10), ft(40)}
	r1 := add("R1", "DS", "P1", ds, corner, 100.6, 100.4)
	r2 := add("R2", "P1", "I1", corner, in, 100.4, 100)
	r3 := add("R3", "L", "P1", lat, corner, 101, 100.6)
	p.Points = []parcels.Point{{ID: "DS", Kind: parcels.PointIntake, At: ds}, {ID: "P1", Kind: parcels.PointWye, At: corner}, {ID: "I1", Kind: parcels.PointInlet, At: in}, {ID: "L", Kind: parcels.PointIntake, At: lat}}
	profile := func(rs ...parcels.Run) {
		pr := parcels.Profile{From: rs[0].From, To: rs[len(rs)-1].To}
		s := unit.Length(0)
		for _, r := range rs {
			pr.Runs = append(pr.Runs, r.ID)
			row := func(at unit.Length, q orb.Point, pt string, inv unit.Elevation) {
				g := el(103)
				pr.Rows = append(pr.Rows, parcels.ProfileRow{Station: s + at, At: q, Point: pt, Ground: &g, Invert: inv, Crown: inv + 0.1016})
			}
			row(0, r.Line[0], r.From, *r.InvertUp)
			row(r.Length, r.Line[1], r.To, *r.InvertDown)
			s += r.Length
		}
		p.Profiles = append(p.Profiles, pr)
	}
	profile(r3, r2)
	profile(r1, r2)
	return p
}

// Line A goes from the inlet to DS (60 ft is longer than 50), stakes at 0, 25, 40
// (P1), 50, 60; line B from P1 to L, stakes at 0, 10. At 25 ft the invert is 100.25,
// the cut 2.75 ft = 2 ft 9 in; the trench bottom is wall 2.75 mm and bedding 2 in
// lower: 2.75 + 0.0090 + 0.1667 = 2.926 ft.
func TestHandStakes(t *testing.T) {
	lines, stakes, err := stakeout.Of(small(), stakeout.Options{Bedding: 2 * unit.Inch})
	if err != nil {
		t.Fatal(err)
	}
	if len(lines) != 2 || lines[0].From != "I1" || lines[0].To != "DS" || lines[1].From != "P1" || lines[1].To != "L" {
		t.Fatalf("lines %+v", lines)
	}
	var got []string
	for _, s := range stakes {
		got = append(got, s.Line+" "+stakeout.Station(s.Station, display.US)+" "+s.Point)
	}
	if want := "A 0+00.0 I1|A 0+25.0 |A 0+40.0 P1|A 0+50.0 |A 0+60.0 DS|B 0+00.0 P1|B 0+10.0 L"; strings.Join(got, "|") != want {
		t.Errorf("stakes %s\nwant   %s", strings.Join(got, "|"), want)
	}
	s := stakes[1]
	if math.Abs(unit.Length(s.Invert).Feet()-100.25) > 1e-9 || stakeout.Cut(*s.Cut) != "2 ft 9 in" || math.Abs(s.Dig.Feet()-2.9257) > 0.0001 {
		t.Errorf("at 0+25: invert %v ft, cut %s, bottom %v ft", unit.Length(s.Invert).Feet(), stakeout.Cut(*s.Cut), s.Dig.Feet())
	}
	// The line runs north there: the right side is east, 3 ft.
	if math.Abs(s.Stake[0]-0.9144) > 1e-6 || math.Abs(s.Stake[1]-25*0.3048) > 1e-6 {
		t.Errorf("stake at %v, want 0.9144, 7.62", s.Stake)
	}
	if stakes[5].Invert != *small().Runs[2].InvertDown {
		t.Errorf("the lateral starts at its own invert, got %v", stakes[5].Invert)
	}
}

func TestHandText(t *testing.T) {
	for _, w := range []struct{ got, want string }{
		{stakeout.Station(unit.Length(125*0.3048), display.US), "1+25.0"},
		{stakeout.Station(unit.Length(99.96*0.3048), display.US), "1+00.0"},
		{stakeout.Station(1038.1, display.SI), "1+038.1"},
		{stakeout.Cut(unit.Length(2.41 * 0.3048)), "2 ft 4 7/8 in"}, // 28.92 in
		{stakeout.Cut(unit.Length(2.9999 * 0.3048)), "3 ft 0 in"},
		{stakeout.Cut(unit.Length(-0.5 * 0.3048)), "fill 0 ft 6 in"},
	} {
		if w.got != w.want {
			t.Errorf("%q, want %q", w.got, w.want)
		}
	}
	if _, _, err := stakeout.Of(&parcels.Plan{}, stakeout.Options{}); !errors.As(err, new(*parcels.InputError)) {
		t.Errorf("a plan without levels: %v", err)
	}
	if _, _, err := stakeout.Of(small(), stakeout.Options{Every: unit.Length(math.NaN())}); err == nil {
		t.Error("stakes every NaN are set")
	}
}

// Every format is read by another reader: CSV by the standard library, the rest by
// GDAL, which counts the features.
func TestOracleFormats(t *testing.T) {
	f, err := frame.New("EPSG:2274", orb.Bound{Min: orb.Point{2131600, 598300}, Max: orb.Point{2131700, 598400}})
	if err != nil {
		t.Fatal(err)
	}
	lines, stakes, err := stakeout.Of(small(), stakeout.Options{})
	if err != nil {
		t.Fatal(err)
	}
	write := func(ext string) []byte {
		b, err := stakeout.Write(ext, lines, stakes, f, display.US)
		if err != nil {
			t.Fatal(err)
		}
		if again, _ := stakeout.Write(ext, lines, stakes, f, display.US); !bytes.Equal(b, again) {
			t.Errorf("%s: other bytes the second time", ext)
		}
		return b
	}
	rows, err := csv.NewReader(bytes.NewReader(write(".csv"))).ReadAll()
	if err != nil || len(rows) != len(stakes)+1 || rows[2][1] != "598374.9999" && rows[2][1] != "598375" && rows[2][1] != "598374.99995" {
		t.Errorf("csv: %v, %d rows, northing %v", err, len(rows), rows[2])
	}
	if b := write(".xlsx"); len(b) == 0 {
		t.Error("no workbook")
	}
	if _, err := stakeout.Write(".doc", lines, stakes, f, display.US); err == nil {
		t.Error("an unknown ending is taken")
	}
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("ogrinfo is not installed: GPX, DXF and GeoJSON are not read back")
	}
	dir := t.TempDir()
	for ext, want := range map[string]string{".gpx": "Feature Count: 7", ".dxf": "Feature Count: 16", ".geojson": "Feature Count: 7"} {
		file := filepath.Join(dir, "s"+ext)
		if err := os.WriteFile(file, write(ext), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("ogrinfo", "-ro", "-so", "-al", file).CombinedOutput()
		if err != nil || !strings.Contains(string(out), want) {
			t.Errorf("%s: %v, want %q in\n%s", ext, err, want, out)
		}
	}
}
