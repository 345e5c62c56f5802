package planner_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

// Two lots of 20 m by 40 m side by side, ground falling 2 % to the west, a
// drainage easement 4 m wide along the rear line (y = 0) that reaches 3 m beyond
// lot 1 to the west, where the inlet stands at (-2, 2). Lot 1 has 100 m2 of roof
// at (8, 14), lot 2 has 300 m2 at (28, 14).
func twoLots(t *testing.T, trench string) *parcels.Site {
	t.Helper()
	var spots []string
	for x := -5.0; x <= 45; x += 5 {
		for y := -5.0; y <= 45; y += 5 {
			spots = append(spots, fmt.Sprintf(`{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[%.3f,%.3f,%.4f]}}`, e0+x, n0+y, 100+0.02*x))
		}
	}
	text := `{"site":"two","crs":"EPSG:26915","elevation_unit":"m","vertical_datum":"assumed","layers":{
	"parcels":` + col(feature("Polygon", rect(0, 0, 20, 40), `"lot":"1","line_source":"survey"`), feature("Polygon", rect(20, 0, 40, 40), `"lot":"2","line_source":"survey"`)) + `,
	"buildings":` + col(feature("Polygon", rect(8, 14, 16, 26), `"lot":"1"`), feature("Polygon", rect(28, 14, 36, 26), `"lot":"2"`)) + `,
	"easements":` + col(feature("Polygon", rect(-3, 0, 40, 4), `"easement":"E","kind":"drainage","trench":"`+trench+`"`)) + `,
	"obstacles":` + col() + `,"openings":` + col() + `,"swales":` + col() + `,
	"inlets":` + col(feature("Point", pt(-2, 2), `"inlet":"I","system":"storm","rim_m":99.9,"invert_m":98.0,"outgoing_diameter_mm":300,"tailwater_m":98.1`)) + `,
	"intakes":` + col(feature("Point", pt(8, 14), `"intake":"D1","lot":"1","kind":"downspout","roof_area_m2":100`), feature("Point", pt(28, 14), `"intake":"D2","lot":"2","kind":"downspout","roof_area_m2":300`)) + `,
	"spots":` + col(spots...) + `},"rainfall":{"intensity_mmh":120,"return_years":10}}`
	if !json.Valid([]byte(text)) {
		t.Fatal("the test's own document is no JSON")
	}
	s, err := document.Read([]byte(text), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// By hand: where both lots' water runs, lot 1 pays 100/(100+300) = 1/4 and lot 2
// 3/4; where one's runs, it pays all. The tie-in (12 index points) is shared like
// the last run.
func TestHandShares(t *testing.T) {
	s := twoLots(t, "permission")
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"1", "2"}, Shared: true})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Summary.Verdict == parcels.NotFeasible || plan.Summary.Outlet != "I" {
		t.Fatal(plan.Summary.WhyNot)
	}
	want := map[string]float64{}
	both := 0
	for i := range plan.Runs {
		r := &plan.Runs[i]
		one := math.Abs(float64(r.Area)-100) < 0.01
		two := math.Abs(float64(r.Area)-300) < 0.01
		f := map[string]float64{"1": 0.25, "2": 0.75}
		switch {
		case one:
			f = map[string]float64{"1": 1}
		case two:
			f = map[string]float64{"2": 1}
		case math.Abs(float64(r.Area)-400) < 0.01:
			both++
		default:
			t.Errorf("run %s drains %.1f m2", r.ID, float64(r.Area))
		}
		cost := *r.CostIndex
		if r.To == "I" {
			cost += 12
		}
		for lot, x := range f {
			if math.Abs(r.Shares[lot]-x) > 1e-6 {
				t.Errorf("lot %s has %.4f of run %s, by hand %.4f", lot, r.Shares[lot], r.ID, x)
			}
			want[lot] += x * cost
		}
	}
	if both == 0 {
		t.Fatal("no run carries the water of both")
	}
	sum := 0.0
	for _, x := range plan.Shares {
		if math.Abs(x.CostIndex-want[x.Lot]) > 0.1 {
			t.Errorf("lot %s pays %.2f, by hand %.2f", x.Lot, x.CostIndex, want[x.Lot])
		}
		sum += x.CostIndex
	}
	if math.Abs(sum-*plan.Summary.CostIndex) > 1e-6 {
		t.Errorf("the lots pay %.4f together, the whole costs %.4f", sum, *plan.Summary.CostIndex)
	}
	// the trunk goes over the line between the lots in the easement, with leave
	crossed, told, asked := false, false, false
	for i := range plan.Runs {
		crossed = crossed || len(plan.Runs[i].Easements) > 0
	}
	for _, f := range plan.Findings {
		told = told || f.Code == "owner_permission" && f.Lot == "1" && strings.Contains(f.Message, "lot 2")
		asked = asked || f.Code == "permission_needed"
	}
	if !crossed || !told || !asked {
		t.Errorf("easement used %v, owner's permission told %v, easement's asked %v", crossed, told, asked)
	}
	// by itself lot 2 has no way, and with the easement barred neither
	for _, c := range []struct {
		lots   []string
		trench string
	}{{[]string{"2"}, "permission"}, {[]string{"1", "2"}, "forbidden"}} {
		plan, _, err := p.Plan(context.Background(), twoLots(t, c.trench), planner.Options{Lots: c.lots, Shared: c.trench == "forbidden"})
		if err != nil {
			t.Fatal(err)
		}
		if plan.Summary.Verdict != parcels.NotFeasible {
			t.Errorf("lots %v, easement %s: %s", c.lots, c.trench, plan.Summary.Verdict)
		}
	}
}

// Three lots of the sample on one trunk: a lot that has no way by itself drains
// with its neighbours, flows and sizes grow towards the inlet, and the checker
// agrees.
func TestPropertySharedTrunk(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"B1", "B2", "B3"}, Shared: true, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Summary.Verdict != parcels.Feasible {
		t.Fatalf("%s: %s", plan.Summary.Verdict, plan.Summary.WhyNot)
	}
	down := map[string]*parcels.Run{}
	for i := range plan.Runs {
		down[plan.Runs[i].From] = &plan.Runs[i]
	}
	for i := range plan.Runs {
		r := &plan.Runs[i]
		if d := down[r.To]; d != nil && (d.Diameter < r.Diameter || d.RoofCA+d.YardCA < r.RoofCA+r.YardCA-1e-3) {
			t.Errorf("run %s below %s is smaller or gathers less", d.ID, r.ID)
		}
	}
	if len(plan.Shares) != 3 {
		t.Errorf("%d lots pay", len(plan.Shares))
	}
}

func TestHostileShared(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for i := range s.Lots {
		all = append(all, s.Lots[i].ID)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	if _, _, err := p.Plan(context.Background(), s, planner.Options{Lots: all, Shared: true}); err == nil || !strings.Contains(err.Error(), "at most 30") {
		t.Errorf("%d lots on one trunk: %v", len(all), err)
	}
}

// A trunk has no jog: no two bends on it turn opposite ways by more than 30 degrees
// with less than 2 m between them (common practice). Lots B1 to B3 of the sample: the
// trunk is led by the easements and by a perforated run that lies beside them.
func TestPropertyTrunkWithoutJog(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := planner.Planner{Verifier: verify.Checker{}}
	plan, _, err := p.Plan(context.Background(), s, planner.Options{Lots: []string{"B1", "B2", "B3"}, Shared: true, Outlet: "I2"})
	if err != nil {
		t.Fatal(err)
	}
	solid := map[string]*parcels.Run{}
	for i := range plan.Runs {
		if r := &plan.Runs[i]; r.Pipe == "solid" {
			solid[r.From] = r
		}
	}
	turn := func(a, b *parcels.Run) float64 { // degrees, to the left
		ux, uy := a.Line[1][0]-a.Line[0][0], a.Line[1][1]-a.Line[0][1]
		vx, vy := b.Line[1][0]-b.Line[0][0], b.Line[1][1]-b.Line[0][1]
		return math.Atan2(ux*vy-uy*vx, ux*vx+uy*vy) * 180 / math.Pi
	}
	trunks := 0
	for _, a := range solid {
		b := solid[a.To]
		if b == nil || solid[b.To] == nil || len(b.Shares) < 2 {
			continue
		}
		trunks++
		if c := solid[b.To]; b.Length < 2 && !c.TieIn {
			if one, two := turn(a, b), turn(b, c); one*two < 0 && math.Min(math.Abs(one), math.Abs(two)) > 30 && plan.Point(b.From).Kind == parcels.PointBend && plan.Point(c.From).Kind == parcels.PointBend {
				t.Errorf("the trunk turns by %.0f and %.0f degrees at both ends of %s, %.2f m", one, two, b.ID, float64(b.Length))
			}
		}
	}
	if trunks < 5 {
		t.Errorf("%d runs of trunk: the plan shows nothing", trunks)
	}
}
