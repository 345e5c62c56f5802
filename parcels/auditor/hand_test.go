package auditor

// Each question of a reviewer on a site small enough to be answered by hand.
// What is not here is in auditor_test.go: zone, drains, footprints and setback
// (TestHandSmallSite), reach (TestHandReach), shared drains (TestHandSharedDrain).

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"fallwright/hydro"
	"fallwright/parcels"
)

// row30 makes lots of 30 m by 40 m side by side, from x = 900000, with further
// layers and members.
func row30(n int, more string) string {
	var lots []string
	for i := range n {
		x := 900000 + 30*i
		lots = append(lots, fmt.Sprintf(`{"type":"Feature","properties":{"lot":"%c","line_roles":["front","side","rear","side"]},"geometry":{"type":"Polygon","coordinates":[[[%d,6700000],[%d,6700000],[%d,6700040],[%d,6700040],[%d,6700000]]]}}`, 'A'+i, x, x+30, x+30, x, x))
	}
	return `{"crs":"EPSG:2154","layers":{"parcels":{"type":"FeatureCollection","features":[` + strings.Join(lots, ",") + `]}` + more
}

// A swale along the rear line of three lots, drawn from its low end: it is worked
// the other way round. It falls 1 % to x = 30, 2 % to 45, rises from 99.4 to
// 99.6 m at 60, falls 1 % to 90: a low spot 0.2 m deep at 45 m, on lot B, and a
// stretch of -0.2/15 = -1.33 % where 0.5 % are asked for. Each lot sheds the
// share that lies nearer to the swale than to its front line, the rear half:
// 600 m2. In 72 mm/h, with the coefficient C of a yard, that is
// C x 600 x 72 / 3.6e6 = 0.012 C m3/s a lot, and 1, 2 and 3 times that along A, B
// and C.
func TestHandSwale(t *testing.T) {
	text := row30(3, `,"swales":{"type":"FeatureCollection","features":[{"type":"Feature","id":"S","properties":{"bottom_width_m":0.5,"side_slope":3,"depth_m":0.05,"n":0.035},
"geometry":{"type":"LineString","coordinates":[[900090,6700040,99.3],[900060,6700040,99.6],[900045,6700040,99.4],[900030,6700040,99.7],[900000,6700040,100]]}}]}},"rainfall":{"intensity_mmh":72}}`)
	s := readSite(t, []byte(text))
	a := auditOf(t, s, Options{Checks: []string{"swales"}})
	low := findingOf(a.Findings, "swale_low_spot")
	if low == nil || low.Lot != "B" || low.Severity != parcels.Stop || math.Abs(*low.Measured-0.2) > 1e-6 || !strings.Contains(low.Message, "45.0 m from its start") {
		t.Errorf("the low spot: %+v", low)
	}
	flat := findingOf(a.Findings, "swale_flat")
	if flat == nil || flat.Lot != "B" || math.Abs(*flat.Measured+0.2/15) > 1e-4 {
		t.Errorf("the stretch that rises: %+v", flat)
	}
	if f := findingOf(a.Findings, "swale_ends"); f == nil || math.Abs(f.Location[0]-(90+s.Lots[0].Shape[0][0][0][0])) > 1e-6 {
		t.Errorf("the end of the swale: %+v", f)
	}
	if len(a.Shared) != 3 {
		t.Fatalf("%d rows: %+v", len(a.Shared), a.Shared)
	}
	c := s.Criteria.Runoff.YardC * s.Criteria.Runoff.FrequencyFactor[int(s.Criteria.Storm.ReturnYears)]
	for i, r := range a.Shared {
		want := float64(i+1) * 0.012 * c
		if r.Lot != string(rune('A'+i)) || r.Order != i+1 || len(r.Lots) != i+1 || math.Abs(float64(r.From)-30*float64(i)) > 1e-6 || math.Abs(float64(*r.Flow)-want) > 1e-6 || math.Abs(float64(r.Area)-600*float64(i+1)) > 1e-6 {
			t.Errorf("row %d: %+v, flow %v, want %v", i, r, *r.Flow, want)
		}
	}
	// Manning at 0.05 m on lot A: area 0.5 x 0.05 + 3 x 0.05^2 = 0.0325 m2, wetted
	// 0.5 + 2 x 0.05 x sqrt(10) = 0.81623 m, radius 0.039817 m, slope 1 %:
	// 0.0325 / 0.035 x 0.039817^(2/3) x 0.1 = 0.010828 m3/s
	if q := float64(*a.Shared[0].Capacity); math.Abs(q-0.010828) > 2e-6 {
		t.Errorf("capacity %v", q)
	}
}

// Two swales end to end: the second takes on what the first brings, and the inlet
// at its end is where it stops. Drawn across the join they would be one.
func TestHandSwalesRunOn(t *testing.T) {
	text := row30(2, `,"swales":{"type":"FeatureCollection","features":[
{"type":"Feature","id":"low","properties":{},"geometry":{"type":"LineString","coordinates":[[900030,6700040,99.7],[900060,6700040,99.4]]}},
{"type":"Feature","id":"high","properties":{},"geometry":{"type":"LineString","coordinates":[[900000,6700040,100],[900030,6700040,99.7]]}}]},
"inlets":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"inlet":"I","system":"storm"},"geometry":{"type":"Point","coordinates":[900060.5,6700040]}}]}},"rainfall":{"intensity_mmh":72}}`)
	a := auditOf(t, readSite(t, []byte(text)), Options{Checks: []string{"swales"}})
	if len(a.Shared) != 2 || a.Shared[0].Feature != "high" || a.Shared[1].Feature != "low" || list(a.Shared[1].Lots) != "A, B" || *a.Shared[1].Flow != 2**a.Shared[0].Flow {
		t.Errorf("%+v", a.Shared)
	}
	for _, code := range []string{"swale_ends", "swale_low_spot", "swale_flat", "swales_in_a_ring"} {
		if f := findingOf(a.Findings, code); f != nil {
			t.Errorf("%+v", f)
		}
	}
}

// Three lots tie in to one inlet with 3, 4 and 2 l/s, one does not reach it, and
// one has it as the nearest only: 9 l/s against a limit of 8.
func TestHandInletLimit(t *testing.T) {
	s := readSite(t, []byte(row30(2, `,"inlets":{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"inlet":"I","system":"storm","flow_limit_m3s":0.008},"geometry":{"type":"Point","coordinates":[900031,6700040]}},
{"type":"Feature","properties":{"inlet":"J","system":"storm"},"geometry":{"type":"Point","coordinates":[900001,6700040]}}]}}}`)))
	a, err := New(s, Options{Checks: []string{"inlets"}})
	if err != nil {
		t.Fatal(err)
	}
	row := func(lot, inlet string, reach parcels.Reach, by string, q float64) parcels.AuditRow {
		return parcels.AuditRow{Lot: lot, Inlet: &inlet, Reach: reach, LengthBy: by, Flow: ptr(hydro.Flow(q))}
	}
	rows := []parcels.AuditRow{
		row("a", "I", parcels.ReachYes, "route", 0.003), row("b", "I", parcels.ReachYes, "route", 0.004), row("c", "I", parcels.ReachNotProven, "route", 0.002),
		row("d", "I", parcels.ReachNo, "route", 0.005), row("e", "I", parcels.ReachNotProven, "line", 0.005), row("f", "J", parcels.ReachYes, "route", 0.1)}
	out, err := a.sum(rows, Options{})
	if err != nil {
		t.Fatal(err)
	}
	over := findingOf(out.Findings, "inlet_over_limit")
	if over == nil || over.Feature != "I" || over.Severity != parcels.Stop || math.Abs(*over.Measured-0.009) > 1e-9 || *over.Required != 0.008 {
		t.Errorf("%+v", over)
	}
	if len(out.Inlets) != 2 || list(out.Inlets[0].Lots) != "a, b, c" || list(out.Inlets[1].Lots) != "f" || findingOf(out.Findings, "inlet_limit_unknown").Feature != "J" {
		t.Errorf("%+v", out.Inlets)
	}
	// under the limit nothing is found; with a flow that is not known nothing is said
	if out, err = a.sum(rows[:2], Options{}); err != nil || findingOf(out.Findings, "inlet_over_limit") != nil || *out.Inlets[0].Flow != 0.007 {
		t.Errorf("%+v %v", out.Inlets, err)
	}
	rows[0].Flow = nil
	if out, err = a.sum(rows, Options{}); err != nil || findingOf(out.Findings, "inlet_over_limit") != nil || out.Inlets[0].Flow != nil {
		t.Errorf("%+v %v", out.Inlets, err)
	}
}

// Fences over a swale: closed to the ground it is dammed, open it is a warning,
// not known it is not proven; one that stands beside it is left alone.
func TestHandFences(t *testing.T) {
	fence := func(id, bottom string, x int) string {
		return fmt.Sprintf(`{"type":"Feature","properties":{"obstacle":%q,"kind":"fence"%s},"geometry":{"type":"LineString","coordinates":[[%d,6700030],[%d,6700040]]}}`, id, bottom, x, x)
	}
	a := auditOf(t, readSite(t, []byte(row30(3, `,"swales":{"type":"FeatureCollection","features":[{"type":"Feature","id":"S","properties":{"bottom_width_m":1},"geometry":{"type":"LineString","coordinates":[[900000,6700037],[900080,6700037]]}}]},
"obstacles":{"type":"FeatureCollection","features":[`+fence("shut", `,"bottom":"solid"`, 900010)+","+fence("open", `,"bottom":"open"`, 900040)+","+fence("untold", "", 900070)+","+fence("beside", `,"bottom":"solid"`, 900085)+`]}}}`))), Options{Checks: []string{"fences"}})
	for lot, want := range map[string]parcels.Finding{"A": {Code: "fence_dams_swale", Severity: parcels.Stop, Feature: "shut"}, "B": {Code: "fence_over_swale", Severity: parcels.Warn, Feature: "open"},
		"C": {Code: "fence_dams_swale", Severity: parcels.Warn, Feature: "untold", NotProven: true}} {
		fs := rowOf(t, a, lot).Findings
		if len(fs) != 1 || fs[0].Code != want.Code || fs[0].Severity != want.Severity || fs[0].Feature != want.Feature || fs[0].NotProven != want.NotProven {
			t.Errorf("lot %s: %+v", lot, fs)
		}
	}
}

// A lot that a fence names by number, as exports do, is that lot; a lot of null is no
// name.
func TestHandFenceOfNumberedLot(t *testing.T) {
	for lot, want := range map[string]int{`7`: 1, `"7"`: 1, `null`: 1, `8`: 0} {
		text := strings.Replace(row30(1, `,"swales":{"type":"FeatureCollection","features":[{"type":"Feature","id":"S","properties":{},"geometry":{"type":"LineString","coordinates":[[900000,6700037],[900020,6700037]]}}]},
"obstacles":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"obstacle":"shut","kind":"fence","bottom":"solid","lot":`+lot+`},"geometry":{"type":"LineString","coordinates":[[900010,6700030],[900010,6700040]]}}]}}}`), `"lot":"A"`, `"lot":7`, 1)
		if fs := rowOf(t, auditOf(t, readSite(t, []byte(text)), Options{Checks: []string{"fences"}}), "7").Findings; len(fs) != want {
			t.Errorf("lot %s: %+v", lot, fs)
		}
	}
}

// A house 2.4 m from the side line, with 3.048 m asked for: the ground cannot
// fall away from it, so the side yard has to fall along. It falls 0.3 m to the
// front over the house's 10 m: 3 %, no finding. Level it is flat; with a dip in
// the middle it holds water. The other side yard is 15.6 m wide and falls away.
func TestHandSideYards(t *testing.T) {
	site := func(front, mid, rear float64) string {
		spot := func(x, y, z float64) string {
			return fmt.Sprintf(`{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[%v,%v,%v]}}`, 900000+x, 6700000+y, z)
		}
		var spots []string
		for _, x := range []float64{-1, 0, 1.2, 2.4} { // the same across: nothing falls away
			spots = append(spots, spot(x, 0, front), spot(x, 15, front), spot(x, 20, mid), spot(x, 25, rear), spot(x, 40, rear))
		}
		// the far side falls 6 % away
		for _, y := range []float64{0, 15, 20, 25, 40} {
			spots = append(spots, spot(14.4, y, 102), spot(30, y, 102-0.06*15.6))
		}
		return row30(1, `,"buildings":{"type":"FeatureCollection","features":[{"type":"Feature","id":"H","properties":{"lot":"A"},"geometry":{"type":"Polygon","coordinates":[[[900002.4,6700015],[900014.4,6700015],[900014.4,6700025],[900002.4,6700025],[900002.4,6700015]]]}}]},
"spots":{"type":"FeatureCollection","features":[`+strings.Join(spots, ",")+`]}}}`)
	}
	for _, c := range []struct {
		front, mid, rear float64
		want             string
	}{{100, 100.15, 100.3, ""}, {100, 100, 100, "side_yard_flat"}, {100, 99.9, 100, "side_yard_low_spot"}} {
		a := auditOf(t, readSite(t, []byte(site(c.front, c.mid, c.rear))), Options{Checks: []string{"side_yards"}})
		got := ""
		for _, f := range a.Rows[0].Findings {
			got += f.Code
		}
		if got != c.want {
			t.Errorf("front %v, middle %v, rear %v: %q, want %q: %+v", c.front, c.mid, c.rear, got, c.want, a.Rows[0].Findings)
		}
		if c.want == "side_yard_low_spot" {
			if f := a.Rows[0].Findings[0]; math.Abs(*f.Measured-0.1) > 1e-6 {
				t.Errorf("the low spot is %v m deep", *f.Measured)
			}
		}
	}
}

// Lots of 30 m with a gap of 0.3 m between A and B and an overlap of 0.2 m of B
// and C, each told once, on the lot that stands first.
func TestHandFabric(t *testing.T) {
	lot := func(id string, x0, x1 float64) string {
		return fmt.Sprintf(`{"type":"Feature","properties":{"lot":%q},"geometry":{"type":"Polygon","coordinates":[[[%v,6700000],[%v,6700000],[%v,6700040],[%v,6700040],[%v,6700000]]]}}`, id, x0, x1, x1, x0, x0)
	}
	a := auditOf(t, readSite(t, []byte(`{"crs":"EPSG:2154","layers":{"parcels":{"type":"FeatureCollection","features":[`+lot("A", 900000, 900030)+","+lot("B", 900030.3, 900060)+","+lot("C", 900059.8, 900090)+`]}}}`)), Options{Checks: []string{"fabric"}})
	gap, over := findingOf(rowOf(t, a, "A").Findings, "parcels_gap"), findingOf(rowOf(t, a, "B").Findings, "parcels_overlap")
	if gap == nil || gap.Feature != "B" || math.Abs(*gap.Measured-0.3) > 1e-3 || over == nil || over.Feature != "C" || math.Abs(*over.Measured-0.2) > 1e-3 || len(rowOf(t, a, "C").Findings) != 0 {
		t.Errorf("%+v %+v %+v", gap, over, rowOf(t, a, "C").Findings)
	}
}
