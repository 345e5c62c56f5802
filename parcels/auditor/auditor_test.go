package auditor

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
	"fallwright/parcels/siting"
	"fallwright/sampledata"
)

func readSite(t testing.TB, text []byte) *parcels.Site {
	t.Helper()
	s, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func auditOf(t testing.TB, s *parcels.Site, o Options) *parcels.Audit {
	t.Helper()
	a, err := New(s, o)
	if err != nil {
		t.Fatal(err)
	}
	out, err := a.Audit(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// sample is the audit of the sample with every check that is on by default;
// worked once, never changed.
var sample = sync.OnceValues(func() (*parcels.Site, *parcels.Audit) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		panic(err)
	}
	a, err := New(s, Options{Zones: true})
	if err != nil {
		panic(err)
	}
	out, err := a.Audit(context.Background(), Options{})
	if err != nil {
		panic(err)
	}
	return s, out
})

func rowOf(t *testing.T, a *parcels.Audit, lot string) *parcels.AuditRow {
	t.Helper()
	for i := range a.Rows {
		if a.Rows[i].Lot == lot {
			return &a.Rows[i]
		}
	}
	t.Fatalf("no row of lot %s", lot)
	return nil
}

func findingOf(fs []parcels.Finding, code string) *parcels.Finding {
	for i := range fs {
		if fs[i].Code == code {
			return &fs[i]
		}
	}
	return nil
}

// Every hard case of the sample is found, with the number that its maker put
// there, and the plain lot is clean.
func TestHandHardCasesOfTheSample(t *testing.T) {
	_, a := sample()
	plain := rowOf(t, a, sampledata.Sample)
	if plain.Reach != parcels.ReachYes || *plain.Inlet != sampledata.NearInlet(sampledata.Sample) || plain.LengthBy != "route" || plain.Verdict == parcels.NotFeasible {
		t.Errorf("the plain lot: %+v", plain)
	}
	if *plain.FallAvailable <= *plain.FallNeeded || *plain.DrainsOutside != 0 || *plain.Narrowest < 0.5 {
		t.Errorf("the plain lot: fall %v of %v, drains outside %v", *plain.FallAvailable, *plain.FallNeeded, *plain.DrainsOutside)
	}
	for _, c := range []struct {
		lot, code string
		severity  parcels.Severity
		measured  *float64
		tol       float64
	}{
		{sampledata.SideTooNarrow, "zone_in_pieces", parcels.Warn, ptr(2.0), 0},
		{sampledata.SplitByEasement, "zone_in_pieces", parcels.Warn, ptr(2.0), 0},
		{sampledata.SplitByEasement, "no_gravity_route", parcels.Stop, nil, 0},
		{sampledata.BelowInlet, "no_gravity_route", parcels.Stop, nil, 0},
		// 4 in, US survey feet
		{sampledata.DrainStrays, "drain_outside", parcels.Stop, ptr(4.0 / 12 * 1200 / 3937), 2e-4},
		// the garage's rear wall, 20 ft long, stands 4 ft into the 10 ft that lie
		// on this side of the line: 20 x 4 less the bend of the band
		{sampledata.GarageInEasement, "building_in_easement", parcels.Stop, ptr(20 * 4 * 0.0929), 0.5},
		{sampledata.FenceDamsSwale, "fence_dams_swale", parcels.Stop, nil, 0},
		{"C5", "drain_too_close", parcels.Stop, nil, 0},
	} {
		r := rowOf(t, a, c.lot)
		f := findingOf(r.Findings, c.code)
		if f == nil {
			t.Errorf("lot %s: no %s among %d findings", c.lot, c.code, len(r.Findings))
			continue
		}
		if f.Severity != c.severity || f.Lot != c.lot || f.Location == nil {
			t.Errorf("lot %s: %+v", c.lot, f)
		}
		if c.measured != nil && math.Abs(*f.Measured-*c.measured) > c.tol {
			t.Errorf("lot %s, %s: measured %v, want %v", c.lot, c.code, *f.Measured, *c.measured)
		}
		if c.severity == parcels.Stop && r.Verdict != parcels.NotFeasible {
			t.Errorf("lot %s has a stop and is %s", c.lot, r.Verdict)
		}
	}
	if r := rowOf(t, a, sampledata.TwoPieces); *r.Pieces != 2 || findingOf(r.Findings, "zone_in_pieces") != nil {
		t.Errorf("the lot in two pieces: %d pieces, %v", *r.Pieces, r.Findings)
	}
	if r := rowOf(t, a, sampledata.BelowInlet); *r.FallAvailable > -1 || r.LengthBy != "line" {
		t.Errorf("the lot below its inlet: fall %v, length by %s", *r.FallAvailable, r.LengthBy)
	}
	if f := findingOf(a.Findings, "swale_low_spot"); f == nil || f.Feature != "S2" || f.Severity != parcels.Stop || f.Location == nil {
		t.Errorf("the filled swale: %+v", f)
	}
	f := findingOf(a.Findings, "inlet_over_limit")
	if f == nil || f.Feature != "I3" || *f.Required != 0.008 {
		t.Errorf("the inlet over its limit: %+v", f)
	}
	// no house of the sample stands over a line, no lots gap
	for code, n := range a.Totals.Findings {
		if strings.HasPrefix(code, "parcels_") || code == "building_over_line" {
			t.Errorf("%d %s", n, code)
		}
	}
	stops := 0
	for _, r := range a.Rows {
		for _, f := range r.Findings {
			if f.Severity == parcels.Stop {
				stops++
			}
		}
	}
	// and those of the site: the filled swale, the inlet
	if a.Totals.Stops != stops+2 {
		t.Errorf("%d stops, %d of lots", a.Totals.Stops, stops)
	}
	if a.Worst[0] == sampledata.Sample || !a.Complete || a.Totals.Lots != 36 || a.Totals.Feasible+a.Totals.NotProven+a.Totals.NotFeasible != 36 {
		t.Errorf("%+v %v", a.Totals, a.Worst)
	}
}

// Flow grows down a swale and the area is the sum of what came in.
func TestPropertySharedRows(t *testing.T) {
	_, a := sample()
	last := map[string]parcels.SharedRow{}
	n := 0
	for _, r := range a.Shared {
		p, ok := last[r.Feature]
		if ok && (r.Order != p.Order+1 || r.From < p.From) {
			t.Errorf("%s: row %d after %d", r.Feature, r.Order, p.Order)
		}
		if ok && r.To >= p.To {
			for _, lot := range p.Lots {
				if !slices.Contains(r.Lots, lot) {
					t.Errorf("%s: the water of %s is lost at %s", r.Feature, lot, r.Lot)
				}
			}
			if r.Area < p.Area || r.Flow == nil || float64(*r.Flow) < 0.98*float64(*p.Flow) {
				t.Errorf("%s: %v m2, %v after %v m2, %v", r.Feature, r.Area, *r.Flow, p.Area, *p.Flow)
			}
		}
		if !slices.Contains(r.Lots, r.Lot) {
			t.Errorf("%s: lot %s is not in its own row", r.Feature, r.Lot)
		}
		if r.Capacity != nil && r.Depth != nil && (*r.Flow < *r.Capacity) != (float64(*r.Depth) < 0.7*0.3048) {
			t.Errorf("%s %d: %v deep, %v of %v", r.Feature, r.Order, *r.Depth, *r.Flow, *r.Capacity)
		}
		last[r.Feature] = r
		n++
	}
	if n < 15 || len(last) != 4 {
		t.Errorf("%d rows of %d swales", n, len(last))
	}
}

// The result is the same byte for byte whatever the workers and chunks, and
// again from the start.
func TestPropertySameBytes(t *testing.T) {
	s, whole := sample()
	want, err := Write(whole, s.Frame)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Write(auditOf(t, s, Options{Zones: true, Workers: 3, Chunk: 5}), s.Frame)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(want, got) {
		t.Error("three workers give other bytes than one run")
	}
	quick := []string{"zone", "passages", "drains", "footprints", "fences", "fabric", "swales"}
	var first []byte
	for _, o := range []Options{{Workers: 1, Chunk: 1}, {Workers: 1, Chunk: 100}, {Workers: 2, Chunk: 3}, {Workers: 4, Chunk: 7}, {Workers: 8, Chunk: 1}} {
		o.Checks = quick
		b, err := Write(auditOf(t, s, o), s.Frame)
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b
		}
		if !bytes.Equal(first, b) {
			t.Errorf("%d workers, chunks of %d: other bytes", o.Workers, o.Chunk)
		}
	}
	// and a lot audited alone stands as it stood among all
	alone := auditOf(t, s, Options{Checks: []string{"zone", "drains", "footprints", "fences", "fabric"}, Lots: []string{"C3", "B5"}})
	among := auditOf(t, s, Options{Checks: []string{"zone", "drains", "footprints", "fences", "fabric"}})
	for i := range alone.Rows {
		x, _ := json.Marshal(alone.Rows[i])
		y, _ := json.Marshal(rowOf(t, among, alone.Rows[i].Lot))
		if !bytes.Equal(x, y) {
			t.Errorf("alone: %s\namong: %s", x, y)
		}
	}
}

// The same site in longitude and latitude: the same verdicts and findings;
// lengths differ by the scale of the grid, 5 in 100,000 here.
func TestPropertyBothSystems(t *testing.T) {
	_, a := sample()
	checks := []string{"zone", "passages", "drains", "footprints", "fences", "fabric", "swales"}
	b := auditOf(t, readSite(t, sampledata.LonLat()), Options{Checks: checks})
	for i := range b.Rows {
		r := rowOf(t, a, b.Rows[i].Lot)
		if math.Abs(float64(*r.Zone / *b.Rows[i].Zone)-1) > 5e-4 {
			t.Errorf("lot %s: zone of %v and %v m2", r.Lot, *r.Zone, *b.Rows[i].Zone)
		}
		for _, f := range b.Rows[i].Findings {
			if g := findingOf(r.Findings, f.Code); g == nil || g.Severity != f.Severity {
				t.Errorf("lot %s: %s in one system only", r.Lot, f.Code)
			}
		}
	}
}

// The audit as it is sent: contract keys, positions in the document's system,
// collections that hold what the rows hold.
func TestWritten(t *testing.T) {
	s, a := sample()
	b, err := Write(a, s.Frame)
	if err != nil {
		t.Fatal(err)
	}
	var out struct {
		Status   string
		Rows     []map[string]json.RawMessage
		Cautions []string
		Lots     struct {
			Type     string
			Features []struct {
				Geometry struct {
					Type        string
					Coordinates json.RawMessage
				}
				Properties map[string]json.RawMessage
			}
		}
		Zones, Findings json.RawMessage
		FindingPoints   struct{ Features []json.RawMessage } `json:"finding_points"`
	}
	if err := json.Unmarshal(b, &out); err != nil {
		t.Fatal(err)
	}
	if out.Status != "preliminary" || len(out.Rows) != 36 || len(out.Lots.Features) != 36 || len(out.Cautions) == 0 || out.Lots.Type != "FeatureCollection" {
		t.Errorf("%s, %d rows, %d features", out.Status, len(out.Rows), len(out.Lots.Features))
	}
	for _, k := range []string{"lot", "verdict", "zone_m2", "narrowest_m", "reach_inlet", "inlet", "length_m", "fall_available_m", "fall_needed_m", "drains_outside_m", "findings"} {
		if out.Rows[0][k] == nil {
			t.Errorf("rows have no %s", k)
		}
	}
	var ring [][][2]float64
	if err := json.Unmarshal(out.Lots.Features[0].Geometry.Coordinates, &ring); err != nil || ring[0][0][0] < 2e6 || ring[0][0][0] > 2.2e6 {
		t.Errorf("lot positions %v %v", ring, err)
	}
	at := findingOf(rowOf(t, a, "C3").Findings, "drain_outside").Location
	p := document.Position(s.Frame, *at)
	if !bytes.Contains(b, []byte(fmt.Sprintf("%.4f", p[0]))) {
		t.Errorf("no location at easting %.4f", p[0])
	}
	if len(out.FindingPoints.Features) < 36 {
		t.Errorf("%d finding points", len(out.FindingPoints.Features))
	}
	var table bytes.Buffer
	if err := Of(a, s).WriteTable(&table); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(table.String(), "\n"); n != 37 {
		t.Errorf("%d lines", n)
	}
}

// A small site by hand: two lots of 30 m by 40 m that overlap by a strip of
// 0.2 m, a house 1 m over the line, one 2 m from it, easements as polygon and
// as line, a drain outside, one too close, one that ends at an inlet beyond the
// line. Plane metres (EPSG:2154).
const small = `{"crs":"EPSG:2154","layers":{
"parcels":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"lot":"1","line_roles":["front","side","rear","side"]},"geometry":{"type":"Polygon","coordinates":[[[900000,6700000],[900030,6700000],[900030,6700040],[900000,6700040],[900000,6700000]]]}},
{"type":"Feature","properties":{"lot":"2","line_roles":["front","side","rear","side"]},"geometry":{"type":"Polygon","coordinates":[[[900029.8,6700000],[900060,6700000],[900060,6700040],[900029.8,6700040],[900029.8,6700000]]]}},
{"type":"Feature","properties":{"lot":"3"},"geometry":{"type":"Polygon","coordinates":[[[900060.1,6700000],[900061.2,6700000],[900061.2,6700040],[900060.1,6700040],[900060.1,6700000]]]}}]},
"buildings":{"type":"FeatureCollection","features":[
{"type":"Feature","id":"h1","properties":{"lot":"1"},"geometry":{"type":"Polygon","coordinates":[[[900010,6700030],[900020,6700030],[900020,6700041],[900010,6700041],[900010,6700030]]]}},
{"type":"Feature","id":"h2","properties":{},"geometry":{"type":"Polygon","coordinates":[[[900040,6700010],[900050,6700010],[900050,6700020],[900040,6700020],[900040,6700010]]]}}]},
"easements":{"type":"FeatureCollection","features":[
{"type":"Feature","id":"e1","properties":{"kind":"drainage"},"geometry":{"type":"Polygon","coordinates":[[[900000,6700036],[900060,6700036],[900060,6700040],[900000,6700040],[900000,6700036]]]}},
{"type":"Feature","id":"e2","properties":{"kind":"utility","width_m":2},"geometry":{"type":"LineString","coordinates":[[900039,6700000],[900039,6700034]]}}]},
"inlets":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"inlet":"SAN","system":"sanitary","rim_m":100,"invert_m":97},"geometry":{"type":"Point","coordinates":[900050,6700041]}},
{"type":"Feature","properties":{"inlet":"ST","system":"storm","rim_m":100,"invert_m":97},"geometry":{"type":"Point","coordinates":[900058,6700042]}}]},
"drains":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"drain":"out","lot":"1"},"geometry":{"type":"LineString","coordinates":[[900005,6700010],[899999,6700010],[899999,6700014],[900005,6700014]]}},
{"type":"Feature","properties":{"drain":"close"},"geometry":{"type":"LineString","coordinates":[[900059.5,6700005],[900059.5,6700009]]}},
{"type":"Feature","properties":{"drain":"last","lot":"2"},"geometry":{"type":"LineString","coordinates":[[900055,6700025],[900055,6700039],[900058,6700042]]}}]}},
"criteria":{"building_setback":{"side_m":12,"rear_m":3}}}`

func TestHandSmallSite(t *testing.T) {
	a := auditOf(t, readSite(t, []byte(small)), Options{Checks: []string{"zone", "nearest_inlet", "drains", "footprints", "fabric"}})
	one, two, three := rowOf(t, a, "1"), rowOf(t, a, "2"), rowOf(t, a, "3")
	want := []struct {
		r        *parcels.AuditRow
		code, of string
		measured float64
	}{
		{one, "building_over_line", "h1", 10},      // 10 m x 1 m
		{one, "building_in_easement", "h1", 40},    // 10 m x 4 m
		{one, "building_over_setback", "h1", 0},    // across the rear line
		{two, "building_over_setback", "h2", 10},   // 60 - 50, side
		{one, "drain_outside", "out", 1},           // 1 m beyond
		{two, "drain_too_close", "close", 0.3476},  // 0.5 less half of 0.3048
		{two, "tie_in_permission", "last", 2.8284}, // sqrt 8 of the last run beyond the line
		{one, "parcels_overlap", "2", 0.2},         //
		{two, "parcels_gap", "3", 0.1},             //
		{three, "zone_empty", "", 0},               // 1.1 m wide
	}
	for _, c := range want {
		found := false
		for _, f := range c.r.Findings {
			found = found || f.Code == c.code && (c.of == "" || f.Feature == c.of) && math.Abs(*f.Measured-c.measured) < 1e-3
		}
		if !found {
			t.Errorf("lot %s: no %s of %s with %v among %+v", c.r.Lot, c.code, c.of, c.measured, c.r.Findings)
		}
	}
	if f := findingOf(two.Findings, "building_in_easement"); f != nil {
		t.Errorf("%+v: the house touches the band of the utility easement and no more", f)
	}
	// beyond the line: two legs of 1 m and 4 m along
	if *one.DrainsOutside != 6 || *two.DrainsOutside != 0 || *three.DrainsOutside != 0 {
		t.Errorf("drains outside %v, %v, %v", *one.DrainsOutside, *two.DrainsOutside, *three.DrainsOutside)
	}
	// the sanitary manhole is nearer and no target; lot 2's middle is (44.9, 20)
	if *two.Inlet != "ST" || two.LengthBy != "line" || math.Abs(float64(*two.Length)-math.Hypot(58-44.9, 22)) > 0.02 {
		t.Errorf("nearest inlet %s at %v by %s", *two.Inlet, *two.Length, two.LengthBy)
	}
	// 30 x 40 less 0.6096 a side and 0.2 m that lot 2 takes too, less the house
	// with its 0.9144 m within that
	w, h := 30-0.2-2*0.6096, 40-2*0.6096
	cut := (10 + 2*0.9144) * (40 - 0.6096 - 30 + 0.9144)
	corner := 2 * (1 - math.Pi/4) * 0.9144 * 0.9144 // two round corners
	if got := float64(*one.Zone); math.Abs(got-(w*h-cut+corner)) > 0.02 {
		t.Errorf("zone of %v m2, want %v", got, w*h-cut+corner)
	}
}

// Reach by hand: flat ground at 100 m, one lot of 30 m by 40 m, a basin 20 m
// from an inlet on the rear line. A 4 in pipe (107.1 mm outside, 101.6 inside), the
// smallest that may be buried, under 0.3048 m of cover starts at
// 100 - 0.3048 - 0.1071 + 0.00275 = 99.59085 m. At 1 % over 20 m it needs 0.2 m and
// arrives at 99.39085.
func TestHandReach(t *testing.T) {
	site := func(tie float64, more string) *parcels.AuditRow {
		text := fmt.Sprintf(`{"crs":"EPSG:2154","elevation_unit":"m","layers":{
"parcels":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"lot":"1"},"geometry":{"type":"Polygon","coordinates":[[[900000,6700000],[900030,6700000],[900030,6700040],[900000,6700040],[900000,6700000]]]}}]},
"intakes":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"intake":"b","lot":"1","kind":"yard_basin","yard_area_m2":300},"geometry":{"type":"Point","coordinates":[900015,6700020]}}]},
"inlets":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"inlet":"I","system":"storm","owner":"town","rim_m":100,"tie_in_m":%g},"geometry":{"type":"Point","coordinates":[900015,6700040]}}]},
"spots":{"type":"FeatureCollection","features":[%s
{"type":"Feature","properties":{"elevation_m":100},"geometry":{"type":"Point","coordinates":[899990,6699990]}},{"type":"Feature","properties":{"elevation_m":100},"geometry":{"type":"Point","coordinates":[900040,6699990]}},
{"type":"Feature","properties":{"elevation_m":100},"geometry":{"type":"Point","coordinates":[900040,6700050]}},{"type":"Feature","properties":{"elevation_m":100},"geometry":{"type":"Point","coordinates":[899990,6700050]}}]}},
"rainfall":{"intensity_mmh":100}}`, tie, more)
		return &auditOf(t, readSite(t, []byte(text)), Options{Checks: []string{"reach"}}).Rows[0]
	}
	r := site(99.2, "")
	if r.Reach != parcels.ReachYes || *r.Inlet != "I" || math.Abs(float64(*r.Length)-20) > 1e-3 || math.Abs(float64(*r.FallAvailable)-0.39085) > 1e-4 || math.Abs(float64(*r.FallNeeded)-0.2) > 1e-3 {
		t.Errorf("%s %v %v %v", r.Reach, *r.Length, *r.FallAvailable, *r.FallNeeded)
	}
	// 300 m2 x 0.35 x 100 mm/h
	if math.Abs(float64(*r.Flow)-300*0.35*100/3.6e6) > 1e-7 {
		t.Errorf("flow %v", *r.Flow)
	}
	// arrives at 99.39085 at 1 %, at 99.49085 at 0.5 %: reached, under the target
	r = site(99.46, "")
	if f := findingOf(r.Findings, "slope_below_target"); r.Reach != parcels.ReachYes || f == nil || math.Abs(float64(*r.FallNeeded)-0.1) > 1e-3 {
		t.Errorf("%s %v %+v", r.Reach, *r.FallNeeded, r.Findings)
	}
	// a straight line at 0.5 % does not get to 99.52
	r = site(99.52, "")
	if f := findingOf(r.Findings, "no_gravity_route"); r.Reach != parcels.ReachNo || r.LengthBy != "line" || f == nil || r.Verdict != parcels.NotFeasible {
		t.Errorf("%s by %s %+v", r.Reach, r.LengthBy, r.Findings)
	}
	// a dip to 99.5 m across the way holds the pipe down to 99.09085 there: both
	// ends are fine, the middle is not
	dip := ""
	for _, y := range []int{28, 30, 32} {
		for _, x := range []int{-1, 15, 31} {
			z := 100.0
			if y == 30 {
				z = 99.5
			}
			dip += fmt.Sprintf(`{"type":"Feature","properties":{"elevation_m":%g},"geometry":{"type":"Point","coordinates":[%d,%d]}},`, z, 900000+x, 6700000+y)
		}
	}
	if r = site(99.2, dip); r.Reach != parcels.ReachNo || r.LengthBy != "route" {
		t.Errorf("through the dip: %s by %s", r.Reach, r.LengthBy)
	}
	if r = site(98.9, dip); r.Reach != parcels.ReachYes {
		t.Errorf("through the dip to a deep inlet: %s %+v", r.Reach, r.Findings)
	}
}

// A drain over three lots: 100 mm at 1 % and n 0.012 carries
// (1/0.012) (pi/4 0.1^2) (0.1/4)^(2/3) 0.1 = 0.005596 m3/s; each lot sends
// 200 m2 of roof at 0.95 and 72 mm/h, 0.0038 m3/s: one fits, two do not.
func TestHandSharedDrain(t *testing.T) {
	var lots, intakes []string
	for i := range 3 {
		x := 900000 + 30*i
		lots = append(lots, fmt.Sprintf(`{"type":"Feature","properties":{"lot":"%d"},"geometry":{"type":"Polygon","coordinates":[[[%d,6700000],[%d,6700000],[%d,6700040],[%d,6700040],[%d,6700000]]]}}`, i+1, x, x+30, x+30, x, x))
		intakes = append(intakes, fmt.Sprintf(`{"type":"Feature","properties":{"intake":"d%d","lot":"%d","kind":"downspout","roof_area_m2":200},"geometry":{"type":"Point","coordinates":[%d,6700020]}}`, i+1, i+1, x+15))
	}
	text := `{"crs":"EPSG:2154","layers":{"parcels":{"type":"FeatureCollection","features":[` + strings.Join(lots, ",") + `]},"intakes":{"type":"FeatureCollection","features":[` + strings.Join(intakes, ",") + `]},
"drains":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"drain":"S","diameter_mm":100,"n":0.012,"invert_up_m":10,"invert_down_m":9.2},"geometry":{"type":"LineString","coordinates":[[900005,6700038],[900085,6700038]]}},
{"type":"Feature","properties":{"drain":"own","lot":"1"},"geometry":{"type":"LineString","coordinates":[[900005,6700030],[900033,6700030]]}}]}},"rainfall":{"intensity_mmh":72}}`
	a := auditOf(t, readSite(t, []byte(text)), Options{Checks: []string{"shared_drains"}})
	if len(a.Shared) != 3 {
		t.Fatalf("%d rows: %+v", len(a.Shared), a.Shared)
	}
	for i, want := range []float64{0.0038, 0.0076, 0.0114} {
		r := a.Shared[i]
		if r.Kind != "drain" || r.Feature != "S" || len(r.Lots) != i+1 || math.Abs(float64(*r.Flow)-want) > 1e-7 || math.Abs(float64(*r.Capacity)-0.005596) > 1e-6 || *r.Slope != 0.01 {
			t.Errorf("%+v %v %v %v", r, *r.Flow, *r.Capacity, *r.Slope)
		}
	}
	n := 0
	for _, f := range a.Findings {
		if f.Code == "drain_over_capacity" {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%d findings of capacity", n)
	}
	// its upper invert in feet where metres are said: it falls 17 m a metre. That is
	// told, and the rest of the audit goes on.
	a = auditOf(t, readSite(t, []byte(strings.Replace(text, `"invert_up_m":10`, `"invert_up_m":1400`, 1))), Options{Checks: []string{"shared_drains"}})
	if f := findingOf(a.Findings, "levels_unlikely"); f == nil || f.Feature != "S" || !f.NotProven || len(a.Shared) != 3 || a.Shared[0].Capacity != nil || a.Shared[0].Flow == nil {
		t.Errorf("%+v %+v", a.Findings, a.Shared)
	}
}

// The same drain where no roof areas are stated: each lot has a house of 20 m by
// 10 m, 200 m2, with a downspout in the middle of each short wall, which by symmetry
// take 100 m2 each. A house with one downspout and a stated roof of 200 m2 gives all
// of it to that one.
func TestHandRoofOfBareDownspouts(t *testing.T) {
	var lots, houses, intakes []string
	for i := range 3 {
		x := 900000 + 30*i
		lots = append(lots, fmt.Sprintf(`{"type":"Feature","properties":{"lot":"%d"},"geometry":{"type":"Polygon","coordinates":[[[%d,6700000],[%d,6700000],[%d,6700040],[%d,6700040],[%d,6700000]]]}}`, i+1, x, x+30, x+30, x, x))
		roof := ""
		if i == 2 {
			roof = `,"roof_area_m2":200`
		}
		houses = append(houses, fmt.Sprintf(`{"type":"Feature","properties":{"lot":"%d"%s},"geometry":{"type":"Polygon","coordinates":[[[%d,6700015],[%d,6700015],[%d,6700025],[%d,6700025],[%d,6700015]]]}}`, i+1, roof, x+5, x+25, x+25, x+5, x+5))
		for k, dx := range []int{5, 25} {
			if i == 2 && k == 1 {
				continue
			}
			intakes = append(intakes, fmt.Sprintf(`{"type":"Feature","properties":{"intake":"d%d%d","lot":"%d","kind":"downspout"},"geometry":{"type":"Point","coordinates":[%d,6700020]}}`, i+1, k, i+1, x+dx))
		}
	}
	text := `{"crs":"EPSG:2154","layers":{"parcels":{"type":"FeatureCollection","features":[` + strings.Join(lots, ",") + `]},"buildings":{"type":"FeatureCollection","features":[` + strings.Join(houses, ",") + `]},"intakes":{"type":"FeatureCollection","features":[` + strings.Join(intakes, ",") + `]},
"drains":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"drain":"S","diameter_mm":100,"n":0.012,"invert_up_m":10,"invert_down_m":9.2},"geometry":{"type":"LineString","coordinates":[[900005,6700038],[900085,6700038]]}}]}},"rainfall":{"intensity_mmh":72}}`
	a := auditOf(t, readSite(t, []byte(text)), Options{Checks: []string{"shared_drains"}})
	if len(a.Shared) != 3 {
		t.Fatalf("%d rows: %+v", len(a.Shared), a.Shared)
	}
	for i, want := range []float64{0.0038, 0.0076, 0.0114} { // as in TestHandSharedDrain
		if r := a.Shared[i]; math.Abs(float64(*r.Flow)-want) > 1e-5 {
			t.Errorf("lot %s sends %v, want %v", r.Lot, *r.Flow, want)
		}
	}
}

// A side yard 2 m wide between a wall and the line, by hand: yardLine is the
// stretch that the wall faces, 1 m in; deepest is the water that stays.
func TestHandSideYard(t *testing.T) {
	l := yardLine(orb.LineString{{2, 10}, {12, 10}, {12, 22}, {2, 22}, {2, 10}}, orb.LineString{{0, 40}, {0, 0}}, 2)
	if len(l) != 2 || dist(l[0], orb.Point{1, 22}) > 1e-9 || dist(l[1], orb.Point{1, 10}) > 1e-9 {
		t.Errorf("%v", l)
	}
	for _, c := range []struct {
		z    []float64
		want float64
		at   int
	}{{[]float64{3, 2, 1}, 0, 0}, {[]float64{3, 1, 2}, 1, 1}, {[]float64{1, 3, 2, 4, 2.5}, 1, 2}, {[]float64{5}, 0, 0}} {
		if d, i := deepest(c.z); math.Abs(d-c.want) > 1e-12 || i != c.at {
			t.Errorf("%v: %v at %d", c.z, d, i)
		}
	}
}

// A sliver 0.4 m wide between two lots that it touches on both sides: no gap
// across it, neither between the outer two nor from its far side.
func TestHandSliverIsNoGap(t *testing.T) {
	lot := func(name string, x0, x1 int) string {
		return fmt.Sprintf(`{"type":"Feature","properties":{"lot":%q},"geometry":{"type":"Polygon","coordinates":[[[%[2]d.%[3]d,6700000],[%[4]d.%[5]d,6700000],[%[4]d.%[5]d,6700040],[%[2]d.%[3]d,6700040],[%[2]d.%[3]d,6700000]]]}}`,
			name, 900000+x0/10, x0%10, 900000+x1/10, x1%10)
	}
	text := `{"crs":"EPSG:2154","layers":{"parcels":{"type":"FeatureCollection","features":[` + lot("a", 0, 300) + "," + lot("sliver", 300, 304) + "," + lot("b", 304, 600) + `]}}}`
	a := auditOf(t, readSite(t, []byte(text)), Options{Checks: []string{"fabric"}})
	for _, r := range a.Rows {
		if len(r.Findings) > 0 {
			t.Errorf("lot %s: %+v", r.Lot, r.Findings)
		}
	}
}

// Nothing to go by: no inlets, no ground, no intakes. Rows still stand, and say
// what is not known.
func TestBareParcels(t *testing.T) {
	a := auditOf(t, readSite(t, []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[6.33,47.37],[6.3304,47.37],[6.3304,47.3704],[6.33,47.3704],[6.33,47.37]]]}}]}`)), Options{})
	r := a.Rows[0]
	if r.Lot != "#0" || r.Reach != parcels.ReachNotProven || findingOf(r.Findings, "no_inlets") == nil || r.Verdict != parcels.NotProven || r.Zone == nil || *r.Zone < 1000 {
		t.Errorf("%+v", r)
	}
	if r.DrainsOutside != nil || r.FallAvailable != nil || r.Inlet != nil || r.Flow != nil {
		t.Errorf("numbers from nowhere: %+v", r)
	}
}

func TestRefusedNames(t *testing.T) {
	s := readSite(t, []byte(small))
	var in *parcels.InputError
	if _, err := New(s, Options{Checks: []string{"zone", "zones", "<b>"}}); !errors.As(err, &in) || len(in.Faults) != 2 || !strings.Contains(in.Error(), "nearest_inlet") {
		t.Errorf("%v", err)
	}
	a, err := New(s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := a.Audit(t.Context(), Options{Lots: []string{"1", "9"}}); !errors.As(err, &in) || len(in.Faults) != 1 {
		t.Errorf("%v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := a.Audit(ctx, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled audit: %v", err)
	}
}

// A lot whose work fails is set aside, told, and the rest goes on.
func TestPoisonLot(t *testing.T) {
	s := readSite(t, []byte(small))
	a, err := New(s, Options{Checks: []string{"zone"}})
	if err != nil {
		t.Fatal(err)
	}
	a.checks = append(a.checks, Check{Name: "poison", Lot: func(w *lotWork) error {
		switch w.lot.ID {
		case "2":
			panic("bad ground")
		case "3":
			return errors.New("worse ground")
		}
		return nil
	}})
	var last jobs.Progress
	out, err := a.Audit(t.Context(), Options{Workers: 2, Chunk: 1, Report: func(p jobs.Progress) { last = p }})
	if err != nil {
		t.Fatal(err)
	}
	if out.Complete || out.Totals.SetAside != 2 || out.Rows[0].Error != "" || !strings.Contains(out.Rows[1].Error, "bad ground") || !strings.Contains(out.Rows[2].Error, "worse ground") {
		t.Errorf("%+v %q %q", out.Totals, out.Rows[1].Error, out.Rows[2].Error)
	}
	if out.Rows[1].Verdict != parcels.NotProven || last.Done != 3 || last.SetAside != 2 {
		t.Errorf("%s, %+v", out.Rows[1].Verdict, last)
	}
}

// Districts: the south slope of the sample asks 3 ft at the rear, 7.5 ft of
// building setback at the side; the rest does not.
func TestHandDistricts(t *testing.T) {
	s, _ := sample()
	a, err := New(s, Options{Checks: []string{"zone"}})
	if err != nil {
		t.Fatal(err)
	}
	for lot, want := range map[string]*unit.Length{"D3": ptr(unit.Length(0.9144)), "B4": nil} {
		i := slices.IndexFunc(s.Lots, func(l parcels.Lot) bool { return l.ID == lot })
		under, _, err := a.fabric.Under(&s.Lots[i])
		if err != nil {
			t.Fatal(err)
		}
		if got := under.Criteria.Clearance.Rear; (got == nil) != (want == nil) || got != nil && *got != *want {
			t.Errorf("lot %s: rear clearance %v, want %v", lot, got, want)
		}
	}
}

// Comparing an audit with itself finds nothing; under a wider clearance every
// zone shrinks and the narrow lot says why.
func TestCompare(t *testing.T) {
	s := readSite(t, []byte(small))
	o := Options{Checks: []string{"zone", "drains", "footprints"}}
	before := auditOf(t, s, o)
	if c := Compare(before, auditOf(t, s, o)); c.Same != 3 || len(c.Changes) != 0 || c.Changed+c.Added+c.Removed != 0 {
		t.Errorf("%+v", c)
	}
	wide := *s
	wide.Criteria.Clearance.LotLine = 1.5
	wide.Lots = slices.Clone(s.Lots)[:2]
	wide.Drains = s.Drains[:1]
	c := Compare(before, auditOf(t, &wide, Options{Checks: []string{"zone", "drains", "fabric"}}))
	if c.Changed != 2 || c.Removed != 1 || c.Added != 0 || len(c.Changes) != 3 || c.Changes[2].What != "removed" || c.Changes[2].Lot != "3" {
		t.Errorf("%+v", c)
	}
	if !slices.Equal(c.OnlyFirst, []string{"footprints"}) || !slices.Equal(c.OnlyLast, []string{"fabric"}) {
		t.Errorf("checks %v %v", c.OnlyFirst, c.OnlyLast)
	}
	why := strings.Join(c.Changes[1].Why, "; ")
	if !strings.Contains(why, "trench zone: ") || !strings.Contains(why, "gone: The trench of drain close") {
		t.Errorf("lot 2: %s", why)
	}
}

// A letter over two rounds: numbers stay, what is mended is closed, what is new
// is numbered on, replies stand under their round.
func TestLetter(t *testing.T) {
	s := readSite(t, []byte(small))
	o := Options{Checks: []string{"drains", "footprints"}}
	one := Review(auditOf(t, s, o), nil)
	if one.Round != 1 || len(one.Comments) < 6 {
		t.Fatalf("round %d with %d comments", one.Round, len(one.Comments))
	}
	number := func(l *Letter, code, feature string) *Comment {
		for i := range l.Comments {
			if l.Comments[i].Code == code && l.Comments[i].Feature == feature {
				return &l.Comments[i]
			}
		}
		t.Fatalf("no comment on %s %s", code, feature)
		return nil
	}
	out := number(one, "drain_outside", "out")
	if err := one.Answer(out.Number, "The drain was moved."); err != nil {
		t.Fatal(err)
	}
	for n, text := range map[int]string{out.Number: " ", 0: "x", 99: "x"} {
		if one.Answer(n, text) == nil {
			t.Errorf("reply %q to comment %d was taken", text, n)
		}
	}
	next := *s
	next.Drains = slices.Clone(s.Drains)
	next.Drains[0].Line = orb.LineString{s.Drains[0].Line[0], {s.Drains[0].Line[0][0] + 1, s.Drains[0].Line[0][1]}}
	next.Drains[1].Line = orb.LineString{{s.Drains[1].Line[0][0] + 0.4, s.Drains[1].Line[0][1]}, s.Drains[1].Line[1]}
	two := Review(auditOf(t, &next, o), one)
	if c := number(two, "drain_outside", "out"); c.Open || c.Closed != 2 || c.Number != out.Number || len(c.Replies) != 1 {
		t.Errorf("the mended drain: %+v", c)
	}
	if c := number(two, "building_over_line", "h1"); !c.Open || c.Round != 1 {
		t.Errorf("the house: %+v", c)
	}
	if two.Answer(out.Number, "again") == nil {
		t.Error("a closed comment took a reply")
	}
	text := strings.Join(strings.Fields(two.Text(display.SI)), " ") // lines are broken anywhere
	for _, w := range []string{"round 2", "LOT 1 ", "Building h1 stands over the lot line", "Open since round 1.", "practice note P-37)", fmt.Sprintf("%d. (1, round 2) Drain out", out.Number), "Reply, round 1: The drain was moved.", parcels.Cautions[0]} {
		if !strings.Contains(text, w) {
			t.Errorf("the letter does not say %q:\n%s", w, text)
		}
	}
	for i, c := range two.Comments {
		if c.Number != i+1 {
			t.Errorf("comment %d is numbered %d", i+1, c.Number)
		}
	}
}

// inner lies inside: a comb, a ring, a sliver.
func TestPropertyInner(t *testing.T) {
	for _, mp := range []orb.MultiPolygon{
		{{{{0, 0}, {10, 0}, {10, 10}, {9, 10}, {9, 1}, {1, 1}, {1, 10}, {0, 10}, {0, 0}}}},
		{{{{0, 0}, {10, 0}, {10, 10}, {0, 10}, {0, 0}}, {{1, 1}, {1, 9}, {9, 9}, {9, 1}, {1, 1}}}},
		{{{{0, 0}, {100, 0.01}, {100, 0.02}, {0, 0}}}},
		{{{{0, 0}, {5, 5}, {10, 0}, {10, 10}, {5, 5.0001}, {0, 10}, {0, 0}}}},
	} {
		if p := siting.Middle(mp); shape.Locate(p, mp) != shape.Inside {
			t.Errorf("%v is not inside %v", p, mp)
		}
	}
}

// What a house and a convex easement share, cut directly and by overlay.
func TestOracleCommon(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for range 400 {
		x, y := rng.Float64()*20, rng.Float64()*20
		house := orb.MultiPolygon{{{{x, y}, {x + 8, y}, {x + 8, y - 3}, {x + 12, y - 3}, {x + 12, y + 9}, {x, y + 9}, {x, y}}}}
		var ring orb.Ring // corners on a circle: convex
		n := 3 + rng.IntN(6)
		for i := range n {
			s, c := math.Sincos((float64(i) + 0.8*rng.Float64()) * 2 * math.Pi / float64(n))
			ring = append(ring, orb.Point{15 + 14*c, 15 + 9*s})
		}
		ring = append(ring, ring[0])
		easement := orb.MultiPolygon{{ring}}
		if !convex(ring) || !convex(orb.Ring{{0, 0}, {4, 0}, {4, 2}, {0, 2}, {0, 0}}) || convex(house[0][0]) {
			t.Fatalf("convex: %v", ring)
		}
		got, at, err := common(house, easement)
		if err != nil {
			t.Fatal(err)
		}
		rest, err := without(house, easement)
		if err != nil {
			t.Fatal(err)
		}
		if want := shape.Area(house) - shape.Area(rest); math.Abs(float64(got-want)) > 1e-6 {
			t.Fatalf("%v and %v share %v m2, by overlay %v", house, easement, got, want)
		}
		if got > 0.1 && (shape.Locate(at, house) == shape.Outside || shape.Locate(at, easement) == shape.Outside) {
			t.Fatalf("%v is not in both %v and %v", at, house, easement)
		}
	}
}

// The nearest of points, against looking at all: spread, on a line, in one
// place; asked from within and far off.
func TestOracleNearest(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for round := range 60 {
		n := rng.IntN(80)
		var at []orb.Point
		var which []int32
		for i := range n {
			p := orb.Point{rng.Float64() * 1000, rng.Float64() * 300}
			switch round % 4 {
			case 1:
				p[1] = 7
			case 2:
				p = orb.Point{3, 4}
			case 3:
				p = orb.Point{math.Floor(p[0] / 100), math.Floor(p[1] / 100)} // many equals
			}
			at, which = append(at, p), append(which, int32(2*i))
		}
		d := newDots(at, which)
		for range 60 {
			p := orb.Point{rng.Float64()*3000 - 1000, rng.Float64()*3000 - 1500}
			want, least := int32(-1), math.Inf(1)
			for i, q := range at {
				if s := dist(p, q); s < least {
					want, least = which[i], s
				}
			}
			if got := d.nearest(p); got != want {
				t.Fatalf("round %d: nearest to %v is %d, want %d", round, p, got, want)
			}
		}
	}
}

// A line across a square in and out, along its edge and through its corner.
func TestHandOutside(t *testing.T) {
	sq := orb.MultiPolygon{{{{0, 0}, {10, 0}, {10, 10}, {0, 10}, {0, 0}}}}
	for _, c := range []struct {
		l    orb.LineString
		want unit.Length
	}{
		{orb.LineString{{-2, 5}, {12, 5}}, 4},
		{orb.LineString{{0, 0}, {10, 0}}, 0},
		{orb.LineString{{-3, 0}, {13, 0}}, 6},
		{orb.LineString{{-5, -5}, {15, 15}}, unit.Length(10 * math.Sqrt2)},
		{orb.LineString{{2, 2}, {8, 8}}, 0},
		{orb.LineString{{20, 20}, {30, 20}, {30, 21}}, 11},
	} {
		if got := total(outside(c.l, sq)); math.Abs(float64(got-c.want)) > 1e-9 {
			t.Errorf("%v: %v outside, want %v", c.l, got, c.want)
		}
		if got := total(within(c.l, sq)) + total(outside(c.l, sq)); math.Abs(float64(got-shape.Length(c.l))) > 1e-9 {
			t.Errorf("%v: parts sum to %v", c.l, got)
		}
	}
}

// shared finds the folder of real data: FALLWRIGHT_SHARED (that folder, or the
// one that holds it as data), else shared/data beside a parent folder; "" where
// it is not there.
func shared() string {
	var try []string
	if d := os.Getenv("FALLWRIGHT_SHARED"); d != "" {
		try = append(try, d+"/data", d)
	}
	for d := "../.."; len(d) < 30; d += "/.." {
		try = append(try, d+"/shared/data")
	}
	for _, d := range try {
		if _, err := os.Stat(d + "/README.md"); err == nil {
			return d
		}
	}
	return ""
}
