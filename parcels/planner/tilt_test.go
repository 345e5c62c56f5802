package planner_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

// A lot of 30 m by 40 m on a plane that rises 1 % to the north, z = 100 + 0.01 y;
// basin B at (15, 33), inlet I at (15, 3) straight south of it, deep enough that
// nothing but cover binds. Given in feet where asked: z in us_ft, rim in feet.
func planeSite(t *testing.T, feet bool, raster bool) (*parcels.Site, planner.Options) {
	t.Helper()
	const e0, n0 = 500000.0, 5000000.0
	z := func(y float64) float64 { return 100 + 0.01*y }
	unit, to, rim := "m", 1.0, fmt.Sprintf(`"rim_m":%.6f`, z(33))
	if feet {
		unit, to, rim = "us_ft", 3937.0/1200, fmt.Sprintf(`"rim_ft":%.6f`, z(33)/0.3048)
	}
	var spots []string
	for x := -10.0; x <= 40; x += 5 {
		for y := -10.0; y <= 50; y += 5 {
			spots = append(spots, fmt.Sprintf(`{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[%.3f,%.3f,%.6f]}}`, e0+x, n0+y, to*z(y)))
		}
	}
	layers := ""
	if !raster {
		layers = `"spots":{"type":"FeatureCollection","features":[` + strings.Join(spots, ",") + `]},
		"contours":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"elevation_m":100.2},"geometry":{"type":"LineString","coordinates":[[499990,5000020],[500040,5000020]]}}]},
		"swales":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"invert_up_m":100.4,"invert_down_m":100.1},"geometry":{"type":"LineString","coordinates":[[500002,5000040],[500002,5000010]]}}]},`
	}
	text := `{"site":"plane","crs":"EPSG:26915","elevation_unit":"` + unit + `","vertical_datum":"assumed","layers":{
	"parcels":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"lot":"W","line_source":"survey"},"geometry":{"type":"Polygon","coordinates":[[[500000,5000000],[500030,5000000],[500030,5000040],[500000,5000040],[500000,5000000]]]}}]},
	"inlets":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"inlet":"I","system":"storm","rim_m":100.03,"invert_m":98.5,"outgoing_diameter_mm":300},"geometry":{"type":"Point","coordinates":[500015,5000003]}}]},
	"intakes":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"intake":"B","lot":"W","kind":"yard_basin","yard_area_m2":300,` + rim + `},"geometry":{"type":"Point","coordinates":[500015,5000033]}}]},
	"openings":{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"kind":"sill","level_m":101},"geometry":{"type":"Point","coordinates":[500015,5000038]}}]},
	` + layers + `"buildings":{"type":"FeatureCollection","features":[]}},"rainfall":{"intensity_mmh":120,"return_years":10}}`
	s, err := document.Read([]byte(text), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	o := planner.Options{Lots: []string{"W"}}
	if raster {
		at := s.Frame.Plane(orb.Point{e0, n0})
		g := ground.Grid{West: at[0] - 10, North: at[1] + 50, CellX: 1, CellY: 1, Cols: 50, Rows: 60, Z: make([]float32, 50*60)}
		for r := range g.Rows {
			for c := range g.Cols {
				g.Z[r*g.Cols+c] = float32(z(g.Centre(c, r)[1] - at[1]))
			}
		}
		if o.Surface, err = ground.NewRaster(g, 0.05); err != nil {
			t.Fatal(err)
		}
	}
	return s, o
}

// By hand: the axis runs east-west through the inlet (y = 3), the ground there
// stays at 100.03 and rises by 0.01 + 0.02 a metre to the north. A pipe on least
// cover lies along the ground, so the slope goes from 1 % to 3 %, the depth
// stays, and so does the digging. With 0.004 less the ground falls 0.6 % and the
// pipe keeps the target of 1 %: 30 m · 0.004 = 0.12 m deeper at the inlet, half of
// it on average, in a trench of 0.3048 m.
func TestHandGroundTilted(t *testing.T) {
	p := &planner.Planner{Verifier: verify.Checker{}, Program: "test"}
	for _, c := range []struct {
		name         string
		feet, raster bool
	}{{"metres", false, false}, {"feet", true, false}, {"raster", false, true}} {
		s, o := planeSite(t, c.feet, c.raster)
		before := string(s.Document)
		plan, _, err := p.Plan(context.Background(), s, o)
		if err != nil {
			t.Fatal(c.name, err)
		}
		rows, err := p.WhatIf(context.Background(), s, o, plan, []planner.Change{{Key: "ground.tilt", Value: "0.02"}, {Key: "ground.tilt", Value: "-0.004"}})
		if err != nil {
			t.Fatal(c.name, err)
		}
		for i, want := range []float64{0.03, 0.01} {
			as, then, more := rows[i].As, rows[i].Then, float64(i)*0.3048*30*0.12/2
			if as.LeastSlope == nil || math.Abs(float64(*as.LeastSlope)-0.01) > 2e-4 || then.LeastSlope == nil || math.Abs(float64(*then.LeastSlope)-want) > 2e-4 {
				t.Errorf("%s: least slope %v, then %v, by hand 0.01 and %g (%s %s)", c.name, deref(as.LeastSlope), deref(then.LeastSlope), want, then.Verdict, then.WhyNot)
			}
			if as.Excavation == nil || then.Excavation == nil || math.Abs(*as.Excavation+more-*then.Excavation) > 0.02 || then.Length != as.Length || then.Verdict != as.Verdict {
				t.Errorf("%s: %.3f m3 dug, then %.3f, by hand %.3f more; %+v, then %+v", c.name, deref(as.Excavation), deref(then.Excavation), more, as, then)
			}
		}
		if string(s.Document) != before || math.Abs(float64(*s.Intakes[0].Rim)-100.33) > 1e-5 {
			t.Errorf("%s: the site itself was changed", c.name)
		}
	}
}

func deref[T ~float64](v *T) float64 {
	if v == nil {
		return math.NaN()
	}
	return float64(*v)
}

// A tilt that cannot be meant, or that has no one outlet to tilt about, is faulty
// input.
func TestHandTiltRefused(t *testing.T) {
	s, o := planeSite(t, false, false)
	p := &planner.Planner{Verifier: verify.Checker{}, Program: "test"}
	plan, _, err := p.Plan(context.Background(), s, o)
	if err != nil {
		t.Fatal(err)
	}
	nowhere := *plan
	nowhere.Summary.Outlet = ""
	for _, c := range []struct {
		value string
		plan  *parcels.Plan
	}{{"0", plan}, {"", plan}, {"steep", plan}, {"NaN", plan}, {"0.3", plan}, {"-1", plan}, {"0.02", &nowhere}} {
		_, err := p.WhatIf(context.Background(), s, o, c.plan, []planner.Change{{Key: "ground.tilt", Value: c.value}})
		var in *parcels.InputError
		if !errors.As(err, &in) || len(in.Faults) != 1 || in.Faults[0].Detail == "" {
			t.Errorf("%q: %v", c.value, err)
		}
	}
}
