package asbuilt

import (
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
)

// A straight 4 in drain of 20 m, n 0.012, shot every 5 m.
//
//	full at 1 %: 0.3117/0.012·0.1016^(8/3)·0.1 = 5.838 l/s
func TestHandOldDrain(t *testing.T) {
	flow := func(q float64) *hydro.Flow { return parcels.Num(hydro.Flow(q / 1000)) }
	level := func(z float64) *unit.Elevation { return parcels.Num(unit.Elevation(z)) }
	good := []unit.Elevation{99.60, 99.55, 99.50, 99.45, 99.40}
	for _, c := range []struct {
		name  string
		z     []unit.Elevation
		spoil func(*Old)
		want  Judgement
		codes []string
	}{
		{"sound", good, nil, Keep, nil},
		{"sags at mid-length by 70 mm", []unit.Elevation{99.60, 99.55, 99.43, 99.45, 99.40}, nil, Mend, []string{CodeBelly}},
		{"falls the wrong way", []unit.Elevation{99.40, 99.45, 99.50, 99.55, 99.60}, nil, Abandon, []string{CodeBackFall, CodeFlat, CodeCapacity}},
		{"flat for 15 m of 20", []unit.Elevation{99.60, 99.50, 99.50, 99.50, 99.50}, nil, Abandon, []string{CodeFlat}},
		{"no end", good, func(o *Old) { o.Ends = false }, Abandon, []string{CodeNoOutlet}},
		{"end under water", good, func(o *Old) { o.Water = level(99.45) }, Mend, []string{CodeDrowned}},
		{"all of it under water", good, func(o *Old) { o.Water = level(99.65) }, Abandon, []string{CodeDrowned}},
		{"too small by a third", good, func(o *Old) { o.Flow, o.Intake = flow(8.7), nil }, Mend, []string{CodeCapacity}},
		{"a third of what is needed", good, func(o *Old) { o.Flow, o.Intake = flow(17), nil }, Abandon, []string{CodeCapacity}},
		{"water cannot get in", good, func(o *Old) { o.Intake = flow(1) }, Mend, []string{CodeIntake}},
		{"nothing known of the water", good, func(o *Old) { o.Flow, o.Water = nil, nil }, Keep, []string{CodeUnknown}},
	} {
		o := Old{ID: "old", Diameter: 0.1016, N: 0.012, Z: c.z, Flow: flow(3), Intake: flow(4), Ends: true, Water: level(99.2)}
		for i := range c.z {
			o.Line = append(o.Line, orb.Point{0, float64(5 * i)})
		}
		if c.spoil != nil {
			c.spoil(&o)
		}
		r, err := LookInto(o, parcels.DefaultCriteria())
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		var got []string
		for _, f := range r.Findings {
			if f.Severity != parcels.Note {
				got = append(got, f.Code)
			}
		}
		slices.Sort(got)
		got = slices.Compact(got)
		if r.Judgement != c.want || !slices.Equal(got, c.codes) {
			t.Errorf("%s: %s %q, want %s %q", c.name, r.Judgement, got, c.want, c.codes)
			for _, f := range r.Findings {
				t.Logf("    %s %s: %s", f.Severity, f.Code, f.Message)
			}
		}
		if c.name == "sound" {
			near1(t, "capacity, l/s", float64(r.Capacity)*1000, 5.838, 0.001)
		}
	}
	var e *parcels.InputError
	for _, o := range []Old{{}, {ID: "x", Line: orb.LineString{{0, 0}, {1, 1}}, Z: []unit.Elevation{1, unit.Elevation(math.NaN())}, Diameter: 0.1},
		{ID: "x", Line: orb.LineString{{0, 0}, {1, 1}}, Z: []unit.Elevation{1, 0.9}, Diameter: 101.6},
		{ID: "x", Line: orb.LineString{{0, 0}, {0, 0}}, Z: []unit.Elevation{1, 0.9}, Diameter: 0.1}} {
		if _, err := LookInto(o, parcels.DefaultCriteria()); !errors.As(err, &e) {
			t.Errorf("%+v: %v", o, err)
		}
	}
}
