package answer_test

// What a reader is told of a lot's trench zone, worked by hand; and every real
// parcel set whole, each lot answered.

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/document"
)

// area is a feature with one ring of x and y in turn, in metres from a corner.
func area(properties string, xy ...float64) string {
	at := make([]string, 0, len(xy)/2+1)
	for i := 0; i <= len(xy); i += 2 {
		at = append(at, fmt.Sprintf("[%.4f,%.4f]", 900_000+xy[i%len(xy)], 6_700_000+xy[(i+1)%len(xy)]))
	}
	return fmt.Sprintf(`{"type":"Feature","properties":{%s},"geometry":{"type":"Polygon","coordinates":[[%s]]}}`, properties, strings.Join(at, ","))
}

func zones(t *testing.T, parcel, building, inlet string) *answer.Collection {
	t.Helper()
	layer := func(f string) string { return `{"type":"FeatureCollection","features":[` + f + `]}` }
	s, err := document.Read([]byte(`{"crs":"EPSG:2154","layers":{"parcels":`+layer(parcel)+`,"buildings":`+layer(building)+`,"inlets":`+layer(inlet)+`}}`), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c, err := answer.Zones(context.Background(), s, answer.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func find(row answer.ZoneRow, code string) *parcels.Finding {
	for i := range row.Findings {
		if row.Findings[i].Code == code {
			return &row.Findings[i]
		}
	}
	return nil
}

func near(a, b float64) bool { return math.Abs(a-b) < 0.0025 }

// Hand: a lot of 30 m by 40 m. A house leaves 3 m of side yard on the left and
// 1 m on the right, where 0.6096 + 0.9144 m are kept clear: the zone is
// 3 - 1.524 = 1.476 m wide on the left, and goes round on that side only.
func TestHandSideYard(t *testing.T) {
	c := zones(t, area(`"lot":"a"`, 0, 0, 30, 0, 30, 40, 0, 40), area("", 3, 15, 29, 15, 29, 25, 3, 25), "")
	r := c.Zones[0]
	f := find(r, "narrow_place")
	if f == nil || !near(*f.Measured, 1.476) || f.Severity != parcels.Note || !strings.Contains(f.Message, "in the side yard between lot line 3 and building #0, which are 3.000 m apart") && !strings.Contains(f.Message, "in the side yard between building #0 and lot line 3, which are 3.000 m apart") {
		t.Errorf("%+v", f)
	}
	if f := find(r, "zone_in_pieces"); f != nil {
		t.Errorf("%+v", f)
	}
	// the house and its clearance, with round corners, as far as the lot goes
	want := (26+0.9144+0.9144)*(10+2*0.9144) - 4*(1-math.Pi/4)*0.9144*0.9144
	if len(r.Removed) != 1 || r.Removed[0].ID != "#0" || r.Removed[0].Kind != "building" || !near(float64(r.Removed[0].Area)/want, 1) {
		t.Errorf("%+v, want %v m2", r.Removed, want)
	}
}

// Hand: the house leaves 1 m on both sides: the zone is in two pieces, and the
// inlet 1 m behind the rear line is in reach of the one behind the house.
func TestHandPiecesReachInlets(t *testing.T) {
	inlet := `{"type":"Feature","properties":{"inlet":"I","system":"storm"},"geometry":{"type":"Point","coordinates":[900015,6700041]}}`
	r := zones(t, area(`"lot":"a"`, 0, 0, 30, 0, 30, 40, 0, 40), area("", 1, 15, 29, 15, 29, 25, 1, 25), inlet).Zones[0]
	f := find(r, "zone_in_pieces")
	// 28.7808 m wide, 15 - 0.9144 - 0.6096 deep, less two round corners each
	one := 28.7808 * (15 - 1.524)
	if f == nil || r.Pieces != 2 || strings.Count(f.Message, "is in reach of inlet I") != 1 || strings.Count(f.Message, "is in reach of no inlet") != 1 || !near(float64(r.Area)/(2*one), 1) {
		t.Errorf("%+v %v m2, want %v", f, r.Area, 2*one)
	}
}

// Hand: a shed leaves 0.8 m of the zone in a corner of its lot: 0.8 by 0.8 less
// the round corner, under 1 m2, is counted and not described.
func TestHandSliverIsCounted(t *testing.T) {
	c := zones(t, area(`"lot":"a"`, 0, 0, 30, 0, 30, 40, 0, 40), area("", 2.324, 0, 30, 0, 30, 25, 0, 25, 0, 2.324, 2.324, 2.324), "")
	f := find(c.Zones[0], "zone_in_pieces")
	if f == nil || *f.Measured != 2 || !strings.Contains(f.Message, "; 1 of under 1 m2.") || strings.Count(f.Message, "piece ") != 1 {
		t.Errorf("%+v", f)
	}
}

// Hand: lot b takes 0.2 m of lot a over 40 m, and 0.1 m lie between a and c. The
// clearance from b counts from its line, 0.2 m within a.
func TestHandBorders(t *testing.T) {
	c := zones(t, area(`"lot":"a"`, 0, 0, 30, 0, 30, 40, 0, 40)+","+area(`"lot":"b"`, 29.8, 0, 60, 0, 60, 40, 29.8, 40)+","+area(`"lot":"c"`, 0, 40.1, 30, 40.1, 30, 80, 0, 80), "", "")
	a, b := c.Zones[0], c.Zones[1]
	for _, r := range []answer.ZoneRow{a, b} {
		if f := find(r, "parcels_overlap"); f == nil || !near(*f.Measured, 0.2) || !strings.Contains(f.Message, "40.0 m") {
			t.Errorf("lot %s: %+v", r.Lot, f)
		}
	}
	if f := find(a, "parcels_gap"); f == nil || !near(*f.Measured, 0.1) || f.Feature != "c" {
		t.Errorf("%+v", f)
	}
	const in = 2 * 0.6096
	if want := (29.8 - in) * (40 - in); !near(float64(a.Area)/want, 1) || math.Abs(float64(a.Area)-want) > 0.05 {
		t.Errorf("lot a: %v m2, want %v", a.Area, want)
	}
	if len(a.Removed) != 1 || a.Removed[0].Kind != "lot" || a.Removed[0].ID != "b" {
		t.Errorf("%+v", a.Removed)
	}
}

// Hand: a drain runs 0.3 m inside the west line of a lot of 30 by 40 m. Half a
// trench is 0.1524 m, so its edge has 0.1476 m of the 0.6096 m: the arrow leads
// 0.462 m east from the drain. The same arrow stands beside the numbers and in
// the collection of all, in the coordinates of the input.
func TestHandMendArrow(t *testing.T) {
	layer := func(f string) string { return `{"type":"FeatureCollection","features":[` + f + `]}` }
	drain := `{"type":"Feature","properties":{"drain":"d","lot":"a"},"geometry":{"type":"LineString","coordinates":[[900000.3,6700010],[900000.3,6700030]]}}`
	s, err := document.Read([]byte(`{"crs":"EPSG:2154","layers":{"parcels":`+layer(area(`"lot":"a"`, 0, 0, 30, 0, 30, 40, 0, 40))+`,"drains":`+layer(drain)+`}}`), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c, err := answer.Checks(context.Background(), s, answer.Options{})
	if err != nil {
		t.Fatal(err)
	}
	type feature struct {
		Type     string
		Geometry struct {
			Type        string
			Coordinates [][2]float64
		}
		Properties struct {
			Drain, Lot, Against string
			Shift               float64 `json:"shift_m"`
			Mends               bool    `json:"shift_mends"`
		}
	}
	var got struct {
		Features []struct {
			Properties struct{ Stretches []struct{ Mend feature } }
		}
		Mends struct {
			Type     string
			CRS      *struct{ Properties struct{ Name string } }
			Features []feature
		}
	}
	if err := json.Unmarshal(c.Body, &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Features) != 1 || len(got.Features[0].Properties.Stretches) != 1 || got.Mends.Type != "FeatureCollection" || len(got.Mends.Features) != 1 || got.Mends.CRS == nil {
		t.Fatalf("%s", c.Body)
	}
	for _, m := range []feature{got.Features[0].Properties.Stretches[0].Mend, got.Mends.Features[0]} {
		g, p := m.Geometry, m.Properties
		if m.Type != "Feature" || g.Type != "LineString" || len(g.Coordinates) != 2 || p.Drain != "d" || p.Lot != "a" || p.Against != "lot line 3" || !p.Mends || !near(p.Shift, 0.462) {
			t.Fatalf("%+v", m)
		}
		a, b := g.Coordinates[0], g.Coordinates[1]
		if !near(a[0], 900000.3) || !near(b[0], 900000.762) || !near(a[1], b[1]) || a[1] < 6700010 || a[1] > 6700030 {
			t.Errorf("%v", g.Coordinates)
		}
	}
}

// Each lot of the real sets gets a zone or a reason. The share of each is told.
func TestPropertyRealSets(t *testing.T) {
	dir := os.Getenv("FALLWRIGHT_SHARED")
	for d := "../.."; dir == "" && len(d) < 30; d += "/.." {
		if _, err := os.Stat(filepath.Join(d, "shared", "data")); err == nil {
			dir = filepath.Join(d, "shared")
		}
	}
	if dir == "" {
		t.Skip("no real parcel sets here: set FALLWRIGHT_SHARED to the folder that holds data")
	}
	for _, set := range []struct{ name, buildings string }{{"cadastre-fr-epinay", ""}, {"cadastre-fr-25354", "buildings.geojson"}, {"williamsburg-va", ""}} {
		layers := map[string]json.RawMessage{}
		for l, f := range map[string]string{"parcels": "parcels.geojson", "buildings": set.buildings} {
			if f == "" {
				continue
			}
			b, err := os.ReadFile(filepath.Join(dir, "data", set.name, f))
			if err != nil {
				t.Fatal(err)
			}
			layers[l] = b
		}
		doc, err := json.Marshal(map[string]any{"layers": layers})
		if err != nil {
			t.Fatal(err)
		}
		s, err := document.Read(doc, document.Options{KeepGoing: true})
		if err != nil {
			t.Fatal(err)
		}
		c, err := answer.Zones(context.Background(), s, answer.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(c.Zones) != len(s.Lots) {
			t.Errorf("%s: %d lots, %d answers", set.name, len(s.Lots), len(c.Zones))
		}
		with, told := 0, map[string]int{}
		for _, r := range c.Zones {
			switch {
			case r.Pieces > 0 && r.EmptyReason == nil && r.Area > 0:
				with++
			case r.Pieces == 0 && r.EmptyReason != nil && *r.EmptyReason != "" && r.Area == unit.Area(0):
			default:
				t.Errorf("%s, lot %s: no answer: %+v", set.name, r.Lot, r)
			}
			for _, f := range r.Findings {
				told[f.Code]++
			}
		}
		t.Logf("%s: %d lots, %d with a zone, %d with a reason; findings %v", set.name, len(c.Zones), with, len(c.Zones)-with, told)
	}
}
