package planner_test

// What a shared trunk costs as the lots on it grow in number: a street of equal
// lots on a rear drainage easement.

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/memory"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// street makes n lots of 20 m by 40 m side by side, each with a house and four
// downspouts of 25 m2 of roof, on ground that falls 1 % to the west and 2 % to
// the rear; a drainage easement of 4 m along the rear line leads to an inlet
// beyond the first lot.
func street(tb testing.TB, n int) (s *parcels.Site, lots []string) {
	tb.Helper()
	const e0, n0 = 500000.0, 5000000.0
	at := func(x, y float64) string { return fmt.Sprintf("[%.3f,%.3f]", e0+x, n0+y) }
	rect := func(x0, y0, x1, y1 float64) string {
		return `{"type":"Polygon","coordinates":[[` + strings.Join([]string{at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1), at(x0, y0)}, ",") + "]]}"
	}
	layers := map[string][]string{"obstacles": {}, "openings": {}, "swales": {}}
	add := func(layer, geometry, properties string) {
		layers[layer] = append(layers[layer], `{"type":"Feature","properties":{`+properties+`},"geometry":`+geometry+`}`)
	}
	wide := 20 * float64(n)
	for i := range n {
		x := 20 * float64(i)
		lot := fmt.Sprintf(`"lot":"%d"`, i+1)
		lots = append(lots, fmt.Sprint(i+1))
		add("parcels", rect(x, 0, x+20, 40), lot+`,"line_source":"survey"`)
		add("buildings", rect(x+5, 14, x+15, 26), lot)
		for k, c := range [][2]float64{{5, 14}, {15, 14}, {5, 26}, {15, 26}} {
			add("intakes", `{"type":"Point","coordinates":`+at(x+c[0], c[1])+`}`, fmt.Sprintf(`"intake":"D%d-%d",%s,"kind":"downspout","roof_area_m2":25`, i+1, k+1, lot))
		}
	}
	add("easements", rect(-3, 0, wide, 4), `"easement":"E","kind":"drainage","trench":"allowed"`)
	add("inlets", `{"type":"Point","coordinates":`+at(-2, 2)+`}`, `"inlet":"I","system":"storm","rim_m":99.9,"invert_m":97.0,"outgoing_diameter_mm":600,"tailwater_m":97.1`)
	for x := -5.0; x <= wide+5; x += 5 {
		for y := -5.0; y <= 45; y += 5 {
			add("spots", fmt.Sprintf(`{"type":"Point","coordinates":[%.3f,%.3f,%.4f]}`, e0+x, n0+y, 100+0.01*x+0.02*y), "")
		}
	}
	collections := map[string]json.RawMessage{}
	for l, fs := range layers {
		collections[l] = json.RawMessage(`{"type":"FeatureCollection","features":[` + strings.Join(fs, ",") + `]}`)
	}
	text, err := json.Marshal(map[string]any{"site": "street", "crs": "EPSG:26915", "elevation_unit": "m", "vertical_datum": "assumed", "layers": collections,
		"rainfall": map[string]any{"intensity_mmh": 60, "return_years": 10}})
	if err != nil {
		tb.Fatal(err)
	}
	if s, err = document.Read(text, document.Options{}); err != nil {
		tb.Fatal(err)
	}
	return s, lots
}

func streetPlan(tb testing.TB, n int) *parcels.Plan {
	s, lots := street(tb, n)
	p := planner.Planner{Verifier: verify.Checker{}, Memory: memory.New(128 << 20)}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: lots, Shared: true})
	if err != nil {
		tb.Fatal(err)
	}
	return plan
}

// Nine lots, and thirty, the most that one trunk takes. By hand: 30 lots of four
// downspouts with 25 m2 of roof are 3000 m2; at 60 mm/h and the built-in
// coefficient of 0.95 they bring 3000 * 0.95 * 0.060 / 3600 = 0.0475 m3/s to the
// inlet, and lots that are alike grow the trunk from lot to lot. The trunk is no
// shorter than from the middle of the last lot to the inlet, and goes straight
// along the easement: it is little longer.
func TestHandStreet(t *testing.T) {
	t.Run("9", func(t *testing.T) { streetOf(t, 9) })
	t.Run("30", func(t *testing.T) { streetOf(t, planner.MostShared) })
}

func streetOf(t *testing.T, n int) {
	plan := streetPlan(t, n)
	if plan.Summary.Verdict != parcels.Feasible {
		t.Fatal(plan.Summary.Verdict, plan.Summary.WhyNot, plan.Summary.Cure)
	}
	flow := 0.0475 * float64(n) / 30
	joined := 0
	for i := range plan.Points {
		if plan.Points[i].Kind == parcels.PointIntake {
			joined++
		}
	}
	if joined != 4*n {
		t.Errorf("%d intakes are joined, want %d", joined, 4*n)
	}
	last := 0
	for i := range plan.Runs {
		r := &plan.Runs[i]
		if r.To != "I" {
			continue
		}
		last++
		if r.Flow == nil || math.Abs(float64(*r.Flow)-flow) > 1e-6 {
			t.Errorf("the last run carries %v m3/s, by hand %v", *r.Flow, flow)
		}
	}
	if last != 1 {
		t.Errorf("%d runs enter the inlet, want one trunk", last)
	}
	sum := 0.0
	for _, x := range plan.Shares {
		sum += x.CostIndex
	}
	if len(plan.Shares) != n || math.Abs(sum-*plan.Summary.CostIndex) > 1e-6 {
		t.Errorf("%d lots pay %.4f together, the whole costs %.4f", len(plan.Shares), sum, *plan.Summary.CostIndex)
	}
	if len(plan.Trunks) != 1 {
		t.Fatalf("%d trunks", len(plan.Trunks))
	}
	was, from := 0.0, 0.0
	for _, q := range plan.Trunks[0].Points {
		if float64(q.Flow) < was-1e-6 {
			t.Errorf("the flow falls from %.5f to %.5f m3/s at %s", was, float64(q.Flow), q.Point)
		}
		was, from = float64(q.Flow), max(from, float64(q.Station))
	}
	if most := 20*float64(n) + 60; from < 20*float64(n-1) || from > most {
		t.Errorf("the trunk is %.1f m long, by hand between %d and %.0f", from, 20*(n-1), most)
	}
}

// BenchmarkSharedTrunk plans streets of several lengths, check and all.
func BenchmarkSharedTrunk(b *testing.B) {
	for _, n := range []int{3, 9, planner.MostShared} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				streetPlan(b, n)
			}
		})
	}
}
