package yardwater_test

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/yardwater"
	"fallwright/sampledata"
)

func sample(t testing.TB) (*parcels.Site, ground.Surface) {
	t.Helper()
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	surface, _, err := planner.Surface(s)
	if err != nil || surface == nil {
		t.Fatal(err, surface)
	}
	return s, surface
}

// The two closed bowls of the sample are found, with the volume of the cones
// they are made of (to a part in a hundred: shots are rounded to a hundredth of a foot), and
// the basins that stand in them.
func TestHandBowls(t *testing.T) {
	s, surface := sample(t)
	r, err := yardwater.Look(s, surface)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range sampledata.Bowls {
		found := false
		for _, p := range r.Ponds {
			if slices.Contains(p.Lots, b.Lot) && len(p.Intakes) == 1 && p.Intakes[0] == b.Lot+"-YB1" {
				found = true
				t.Logf("%s: %.3f m3 of %.3f, %.3f m deep, %.1f m2", b.Lot, p.Volume, b.VolumeM3(), float64(p.Depth), float64(p.Area))
				if math.Abs(p.Volume/b.VolumeM3()-1) > 0.01 || math.Abs(float64(p.Depth)/(0.3048*b.DepthFt)-1) > 0.01 {
					t.Errorf("%s: %.3f m3 and %.3f m deep, made %.3f and %.3f", b.Lot, p.Volume, float64(p.Depth), b.VolumeM3(), 0.3048*b.DepthFt)
				}
			}
		}
		if !found {
			t.Errorf("%s: no pond with its basin", b.Lot)
		}
	}
	codes := map[string]int{}
	for _, f := range r.Findings {
		codes[f.Code]++
	}
	all := map[string]bool{}
	for _, i := range s.Intakes {
		all[i.ID] = true
	}
	flows, returned, err := r.LineFlows(yardwater.Drained{Taken: all})
	if err != nil || returned != 0 {
		t.Fatal(err, returned)
	}
	t.Logf("cell %.2f m, %d ponds, %d line flows, %d overflows, findings %v", float64(r.Cell), len(r.Ponds), len(flows), len(r.Overflows), codes)
	if len(flows) < 36 {
		t.Errorf("%d line flows of 36 lots", len(flows))
	}
	for _, l := range flows {
		if l.Before < 0 || l.Rise > 1e-6 {
			t.Errorf("basins and pipes take water away: %+v", l)
		}
	}
}

// Two lots on a plane that falls east at 4 %: what leaves the west lot is its
// lawn times its coefficient and its roof times its own, and it all goes into
// the east lot. With the downspout piped the roof is gone.
func TestHandLineFlows(t *testing.T) {
	var shots []ground.Shot
	for _, x := range []float64{-20, 0, 20, 40, 60} {
		for _, y := range []float64{-20, 0, 30, 50} {
			shots = append(shots, ground.Shot{At: orb.Point{x, y}, Z: unit.Elevation(100 - 0.04*x), SD: 0.01})
		}
	}
	surface, err := ground.Triangulate(shots, nil)
	if err != nil {
		t.Fatal(err)
	}
	box := func(x0, y0, x1, y1 float64) orb.MultiPolygon {
		return orb.MultiPolygon{{{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}}}}
	}
	s := &parcels.Site{Criteria: parcels.DefaultCriteria(),
		Lots:      []parcels.Lot{{ID: "W", Shape: box(0, 0, 20, 30)}, {ID: "E", Shape: box(20, 0, 40, 30)}},
		Buildings: []parcels.Building{{Lot: "W", Shape: box(5, 10, 15, 18)}},
		Intakes:   []parcels.Intake{{ID: "DS1", Lot: "W", Kind: "downspout", At: orb.Point{15.1, 14}}},
	}
	r, err := yardwater.Look(s, surface)
	if err != nil {
		t.Fatal(err)
	}
	run := s.Criteria.Runoff
	east := func(d yardwater.Drained) *yardwater.LineFlow {
		t.Helper()
		flows, returned, err := r.LineFlows(d)
		if err != nil || returned != 0 {
			t.Fatal(err, returned)
		}
		for i, l := range flows {
			if l.Lot == "W" && l.Other == "E" && !l.Into && l.Line == 1 {
				return &flows[i]
			}
		}
		t.Fatalf("%+v", flows)
		return nil
	}
	piped := map[string]bool{"DS1": true}
	leaves := east(yardwater.Drained{Taken: piped})
	// the ground beyond the lots, 15 m to the west, runs on too: 35 m by 30 m less the house
	lawn, roof := run.YardC*(35*30-80), run.RoofC*80
	if math.Abs(float64(leaves.Before)-lawn-roof) > 0.02*(lawn+roof) || math.Abs(float64(leaves.After)-lawn) > 0.02*lawn || math.Abs(float64(leaves.Length)-30) > 0.5 {
		t.Errorf("%+v; lawn %.1f, roof %.1f", leaves, lawn, roof)
	}
	if leaves.Rise != 0 {
		t.Errorf("a pipe that takes a roof away raises what leaves by %v", leaves.Rise)
	}
	// Let out on the ground at the line, 10 m north of where it ran before, the
	// roof's water is new there, all of it; let out at the downspout it is not.
	if l := east(yardwater.Drained{Taken: piped, Outfall: &orb.Point{18, 24}}); math.Abs(float64(l.Rise)-roof) > 1e-6 || math.Hypot(l.RiseAt[0]-20, l.RiseAt[1]-24) > 1 || math.Abs(float64(l.After-l.Before)) > 1e-6 {
		t.Errorf("an emitter at the line: %+v, roof %.1f", l, roof)
	}
	if l := east(yardwater.Drained{Taken: piped, Outfall: &orb.Point{18, 14}}); l.Rise > 1e-6 {
		t.Errorf("an emitter below the downspout: %+v", l)
	}
	if l := east(yardwater.Drained{}); l.Before != l.After || l.Rise != 0 {
		t.Errorf("no plan: %+v", l)
	}
	// 4 % all round: three walls fall short of 5 %, and to the west the ground rises
	walls := 0
	for _, f := range r.Findings {
		if f.Code == "foundation_fall" {
			walls++
			if f.Location == nil || shape.Locate(*f.Location, s.Buildings[0].Shape) == shape.Inside {
				t.Errorf("%+v", f)
			}
		}
	}
	if walls != 4 {
		t.Errorf("%d walls told: %+v", walls, r.Findings)
	}
	if _, err := yardwater.Look(&parcels.Site{}, surface); err == nil {
		t.Error("a site without lots was looked at")
	}
	s.Lots[0].Shape, s.Lots[1].Shape = box(900, 900, 910, 910), box(910, 900, 920, 910)
	if _, err := yardwater.Look(s, surface); err == nil {
		t.Error("ground that does not cover the lots was taken")
	}
}

// Each roof of the sample is shared out whole; stated areas are kept; a sum that
// cannot be right is told.
func TestHandRoofs(t *testing.T) {
	s, _ := sample(t)
	roofs, _ := yardwater.Roofs(s)
	sum := make([]unit.Area, len(s.Buildings))
	for _, r := range roofs {
		sum[r.Building] += r.Area
		if r.Intake >= 0 && s.Intakes[r.Intake].Kind != "downspout" {
			t.Errorf("%+v is no downspout", r)
		}
	}
	whole := 0
	for b, a := range sum {
		want := shape.Area(s.Buildings[b].Shape)
		if s.Buildings[b].RoofArea != nil {
			want = *s.Buildings[b].RoofArea
		}
		if math.Abs(float64(a-want)) <= 0.02*float64(want) {
			whole++
		}
	}
	if whole < len(sum)*9/10 {
		t.Errorf("%d of %d roofs add up", whole, len(sum))
	}
	box := orb.MultiPolygon{{{{0, 0}, {12, 0}, {12, 8}, {0, 8}, {0, 0}}}}
	big := unit.Area(500)
	one := &parcels.Site{Criteria: parcels.DefaultCriteria(), Buildings: []parcels.Building{{Lot: "1", Shape: box}},
		Intakes: []parcels.Intake{{ID: "A", Kind: "downspout", At: orb.Point{0, 0}, RoofArea: &big}, {ID: "B", Kind: "downspout", At: orb.Point{12, 8}}, {ID: "C", Kind: "downspout", At: orb.Point{90, 90}}}}
	roofs, told := yardwater.Roofs(one)
	if len(roofs) != 2 || len(told) != 1 || told[0].Code != "roof_areas_differ" || math.Abs(float64(roofs[0].Area-48)) > 0.5 {
		t.Errorf("%+v %+v", roofs, told)
	}
	one.Intakes = nil
	if roofs, _ := yardwater.Roofs(one); len(roofs) != 4 || roofs[0].Intake != -1 {
		t.Errorf("a house without downspouts sheds at its corners: %+v", roofs)
	}
}
