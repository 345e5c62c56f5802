package planner_test

// The main job on real municipal parcels. No set has parcels, inlets and ground
// together, so the test places what is missing and says what: the ground is a
// plane that falls 2 % towards the inlet, the inlet stands in the middle of the
// lowest lot line of 4 m or more, 1.2 m deep, and a yard basin stands inside, as
// far from it as the zone goes. Parcels and footprints are as their publisher left them.

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// sharedData is the folder of real data beside the checkout, or "".
func sharedData() string {
	if dir := os.Getenv("FALLWRIGHT_SHARED"); dir != "" {
		return filepath.Join(dir, "data")
	}
	for d := "../.."; len(d) < 30; d += "/.." {
		if _, err := os.Stat(filepath.Join(d, "shared", "data")); err == nil {
			return filepath.Join(d, "shared", "data")
		}
	}
	return ""
}

func TestRealParcels(t *testing.T) {
	own := "testdata/cadastre-fr-25354"
	sets := []struct{ name, parcels, buildings, easements string }{
		{"village sample (in the repository)", own + "/parcels.geojson", own + "/buildings.geojson", ""},
	}
	if d := sharedData(); d != "" {
		sets = append(sets,
			[]struct{ name, parcels, buildings, easements string }{
				{"cadastre-fr-25354", d + "/cadastre-fr-25354/parcels.geojson", d + "/cadastre-fr-25354/buildings.geojson", ""},
				{"cadastre-fr-epinay", d + "/cadastre-fr-epinay/parcels.geojson", "", ""},
				{"williamsburg-va", d + "/williamsburg-va/parcels.geojson", "", d + "/williamsburg-va/easements.geojson"},
			}...)
	}
	for _, set := range sets {
		t.Run(set.name, func(t *testing.T) {
			layers := map[string]json.RawMessage{}
			for l, f := range map[string]string{"parcels": set.parcels, "buildings": set.buildings, "easements": set.easements} {
				if f == "" {
					continue
				}
				b, err := os.ReadFile(f)
				if err != nil {
					t.Fatal(err)
				}
				layers[l] = b
			}
			doc, _ := json.Marshal(map[string]any{"layers": layers})
			s, err := document.Read(doc, document.Options{KeepGoing: true})
			if err != nil {
				t.Fatal(err)
			}
			zones, err := answer.Zones(context.Background(), s, answer.Options{})
			if err != nil {
				t.Fatal(err)
			}
			none := 0
			for _, z := range zones.Zones {
				if z.Pieces == 0 {
					none++
					if z.EmptyReason == nil || *z.EmptyReason == "" {
						t.Errorf("lot %s has no zone and no reason", z.Lot)
					}
				}
			}
			refused := 0
			for _, f := range s.Findings {
				if f.Code == "feature_refused" {
					refused++
				}
			}
			t.Logf("%d lots, %d without ground for a trench, %d features refused", len(zones.Zones), none, refused)
			planOne(t, s)
		})
	}
}

// planOne plans the lot whose area is nearest to 900 m2 among those with room,
// with what the test places.
func planOne(t *testing.T, s *parcels.Site) {
	best, off := -1, math.Inf(1)
	for i := range s.Lots {
		if len(s.Lots[i].Shape) != 1 || len(s.Lots[i].Shape[0]) != 1 {
			continue
		}
		a := float64(shape.Area(s.Lots[i].Shape))
		house := len(s.Buildings) == 0
		for j := range s.Buildings {
			house = house || shape.Locate(s.Buildings[j].Shape[0][0][0], s.Lots[i].Shape) == shape.Inside
		}
		if d := math.Abs(a - 900); house && d < off {
			best, off = i, d
		}
	}
	planLot(t, s, best, true)
	if os.Getenv("FALLWRIGHT_LONG") == "" {
		return
	}
	// the block about it: the dozen lots nearest to it
	c := s.Lots[best].Shape.Bound().Center()
	order := make([]int, len(s.Lots))
	for i := range order {
		order[i] = i
	}
	off2 := func(i int) float64 {
		m := s.Lots[i].Shape.Bound().Center()
		return math.Hypot(m[0]-c[0], m[1]-c[1])
	}
	sort.SliceStable(order, func(a, b int) bool { return off2(order[a]) < off2(order[b]) })
	for n, i := range order[:min(len(order), 13)] {
		if n > 0 && len(s.Lots[i].Shape) == 1 && len(s.Lots[i].Shape[0]) == 1 {
			planLot(t, s, i, false)
		}
	}
}

// planLot plans one lot; must says that it has to come out, else it may also be
// told why not. The gap to the bound is printed.
func planLot(t *testing.T, s *parcels.Site, which int, must bool) {
	lot := s.Lots[which]
	ring := lot.Shape[0][0]
	c := lot.Shape.Bound().Center()
	var low orb.Point
	far := math.Inf(-1)
	for i := 0; i+1 < len(ring); i++ { // the line furthest to the south-east
		a, b := ring[i], ring[i+1]
		m := orb.Point{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2}
		if math.Hypot(b[0]-a[0], b[1]-a[1]) >= 4 && m[0]-m[1] > far {
			low, far = m, m[0]-m[1]
		}
	}
	down := orb.Point{low[0] - c[0], low[1] - c[1]}
	n := math.Hypot(down[0], down[1])
	ground := func(p orb.Point) float64 {
		return 100 - 0.02*((p[0]-c[0])*down[0]+(p[1]-c[1])*down[1])/n
	}
	doc := map[string]any{}
	var read map[string]json.RawMessage
	_ = json.Unmarshal(s.Document, &read)
	for k, v := range read {
		doc[k] = v
	}
	layers := map[string]json.RawMessage{}
	_ = json.Unmarshal(read["layers"], &layers)
	point := func(p orb.Point, props map[string]any, z ...float64) map[string]any {
		q := s.Frame.Document(p)
		return map[string]any{"type": "Feature", "properties": props, "geometry": map[string]any{"type": "Point", "coordinates": append([]float64{q[0], q[1]}, z...)}}
	}
	col := func(fs ...map[string]any) json.RawMessage {
		b, _ := json.Marshal(map[string]any{"type": "FeatureCollection", "features": fs})
		return b
	}
	var shots []map[string]any
	b := lot.Shape.Bound().Pad(15)
	for x := b.Min[0]; x <= b.Max[0]; x += 7.5 {
		for y := b.Min[1]; y <= b.Max[1]; y += 7.5 {
			shots = append(shots, point(orb.Point{x, y}, map[string]any{}, ground(orb.Point{x, y})))
		}
	}
	layers["spots"] = col(shots...)
	g := ground(low)
	layers["inlets"] = col(point(low, map[string]any{"inlet": "placed by the test", "system": "storm", "rim_m": g, "invert_m": g - 1.2, "outgoing_diameter_mm": 300}))
	zones, err := answer.Zones(context.Background(), s, answer.Options{Lots: []string{lot.ID}})
	if err != nil || zones.Zones[0].Pieces == 0 {
		if err == nil && !must {
			t.Logf("lot %s, %.0f m2: no ground for a trench: %s", lot.ID, float64(shape.Area(lot.Shape)), *zones.Zones[0].EmptyReason)
			return
		}
		t.Fatalf("lot %s has no zone (%v)", lot.ID, err)
	}
	var intakes []map[string]any
	for k, p := range interior(s, zones, low) {
		intakes = append(intakes, point(p, map[string]any{"intake": fmt.Sprintf("basin %d", k+1), "lot": lot.ID, "kind": "yard_basin", "yard_area_m2": 150}))
	}
	if len(intakes) == 0 && !must {
		t.Logf("lot %s, %.0f m2: no place for a basin 0.8 m inside its zone", lot.ID, float64(shape.Area(lot.Shape)))
		return
	}
	layers["intakes"] = col(intakes...)
	doc["layers"] = layers
	doc["rainfall"] = map[string]any{"intensity_mmh": 120, "return_years": 10}
	text, _ := json.Marshal(doc)
	site, err := document.Read(text, document.Options{KeepGoing: true})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, body, err := p.Plan(context.Background(), site, planner.Options{Lots: []string{lot.ID}})
	if err != nil {
		t.Fatal(err)
	}
	keep(t, lot.ID, text, body)
	sum := plan.Summary
	gap := "no bound"
	if plan.Bound.Gap != nil {
		gap = fmt.Sprintf("gap %.1f %%", 100**plan.Bound.Gap)
	}
	t.Logf("lot %s, %.0f m2: %s, %.1f m of pipe to the inlet (placed by the test), fall %.2f m, %s %s", lot.ID, float64(shape.Area(lot.Shape)), sum.Verdict, float64(sum.Length), float64(*orZero(sum.Fall)), gap, sum.WhyNot)
	if !must {
		if sum.Verdict == parcels.NotFeasible && sum.WhyNot == "" {
			t.Errorf("lot %s is not told why not", lot.ID)
		}
		return
	}
	if sum.Verdict == parcels.NotFeasible {
		t.Errorf("lot %s: %s", lot.ID, sum.WhyNot)
	}
	if sum.Length < 5 {
		t.Errorf("lot %s: only %.2f m of pipe", lot.ID, float64(sum.Length))
	}
}

// keep leaves what was planned and its plan in the folder FALLWRIGHT_PICTURES, if
// one is named, for sheets to be drawn from and looked at.
func keep(t *testing.T, lot string, site, plan []byte) {
	dir := os.Getenv("FALLWRIGHT_PICTURES")
	if dir == "" {
		return
	}
	name := filepath.Join(dir, strings.NewReplacer("/", "_", " ", "_", "(", "", ")", "").Replace(t.Name()+"_"+lot))
	for ending, text := range map[string][]byte{".site.json": site, ".plan.json": plan} {
		if err := os.WriteFile(name+ending, text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func orZero(l *unit.Length) *unit.Length {
	if l == nil {
		return new(unit.Length)
	}
	return l
}

// interior picks two points well inside the zone, far from the low corner.
func interior(s *parcels.Site, zones *answer.Collection, low orb.Point) []orb.Point {
	var col struct {
		Features []struct {
			Geometry struct{ Coordinates [][][][2]float64 }
		}
	}
	_ = json.Unmarshal(zones.Body, &col)
	var area orb.MultiPolygon
	for _, p := range col.Features[0].Geometry.Coordinates {
		var poly orb.Polygon
		for _, r := range p {
			var ring orb.Ring
			for _, q := range r {
				ring = append(ring, s.Frame.Plane(q))
			}
			poly = append(poly, ring)
		}
		area = append(area, poly)
	}
	// Only the piece that lies nearest to the inlet: a house can cut a lot in two.
	near, piece := math.Inf(1), 0
	for i := range area {
		for _, p := range area[i][0] {
			if d := math.Hypot(p[0]-low[0], p[1]-low[1]); d < near {
				near, piece = d, i
			}
		}
	}
	one := orb.MultiPolygon{area[piece]}
	b := one.Bound()
	var out []orb.Point
	best := [2]float64{}
	for i := 1; i < 20; i++ {
		for j := 1; j < 20; j++ {
			p := orb.Point{b.Min[0] + float64(i)/20*(b.Max[0]-b.Min[0]), b.Min[1] + float64(j)/20*(b.Max[1]-b.Min[1])}
			if shape.Locate(p, one) != shape.Inside {
				continue
			}
			if d, _, _ := shape.LineBoundary(orb.LineString{p, {p[0] + 0.01, p[1]}}, one); d < 0.8 {
				continue
			}
			d := math.Hypot(p[0]-low[0], p[1]-low[1])
			if len(out) == 0 {
				out, best[0] = append(out, p), d
			} else if d > best[0] {
				out[0], best[0] = p, d
			}
		}
	}
	return out
}
