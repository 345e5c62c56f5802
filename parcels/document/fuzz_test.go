package document

// Any bytes as a site, criteria or a plan: a document or an input error with
// its faults, never a panic, and what is taken is whole.

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/parcels"
)

// seeds are small site documents that reach most readers of layers.
var seeds = []string{
	lotLonLat,
	`{}`,
	`{"layers":{"parcels":{"type":"FeatureCollection","features":[null]}}}`,
	`{"site":"s","crs":"EPSG:2274","elevation_unit":"ft","origin":"mapped","vertical_datum":"NAVD88","layers":{` +
		`"parcels":{"type":"FeatureCollection","features":[{"type":"Feature","id":1,"geometry":{"type":"Polygon","coordinates":[[[2131346,598421],[2131419,598446],[2131372,598567],[2131307,598545],[2131346,598421]]]},"properties":{"lot":"1","line_roles":["front","side","rear","side"],"line_source":"gis","clearance_ft":2}}]},` +
		`"buildings":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[2131350,598450],[2131377,598459],[2131370,598480],[2131350,598450]]]},"properties":{"outline":"roof","overhang_ft":1,"roof_area_ft2":900}}]},` +
		`"inlets":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[2131372,598567]},"properties":{"inlet":"I1","system":"storm","rim_ft":543.4,"invert_ft":539.4,"outgoing_diameter_in":15,"tailwater":[[0,164],[60,165]]}}]},` +
		`"intakes":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[2131350,598450]},"properties":{"intake":"D1","lot":"1","kind":"downspout","roof_area_ft2":618.3,"rim_ft":544}}]},` +
		`"spots":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[2131350,598450,544]},"properties":{}}]},` +
		`"obstacles":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"LineString","coordinates":[[2131350,598450],[2131360,598490]]},"properties":{"kind":"utility","width_m":0.1,"cover_m":0.9}}]}},` +
		`"rainfall":{"table":[{"duration_min":5,"return_years":10,"depth_in":0.6},{"duration_min":10,"return_years":10,"depth_in":0.9}]},"soil":{"texture":"silt loam","infiltration_inh":0.3},"criteria":{"clearance":{"lot_line_ft":2}}}`,
}

// finite fails on a position that is no number.
func finite(t *testing.T, g orb.Geometry) {
	b := g.Bound()
	for _, v := range []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("a position that is no number was taken: %v", b)
		}
	}
}

// refusal holds that an error is about the input and has a place.
func refusal(t *testing.T, err error) {
	var in *parcels.InputError
	if !errors.As(err, &in) {
		t.Fatalf("refused, and not as input: %v", err)
	}
	if len(in.Faults) == 0 {
		t.Fatalf("refused without a fault: %v", err)
	}
	for _, f := range in.Faults {
		if f.Slug == "" || f.Detail == "" {
			t.Fatalf("a fault that says nothing: %+v", f)
		}
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range seeds {
		f.Add([]byte(s), false)
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, b []byte, keepGoing bool) {
		before := bytes.Clone(b)
		s, err := Read(b, Options{Limits: ServiceLimits, KeepGoing: keepGoing})
		if !bytes.Equal(before, b) {
			t.Fatal("the reader wrote into its input")
		}
		if err != nil {
			refusal(t, err)
			return
		}
		if s.Frame == nil {
			t.Fatal("taken without a frame")
		}
		names := map[string]bool{}
		for _, l := range s.Lots {
			finite(t, l.Shape)
			if faults := shape.Check(l.Shape); len(faults) > 0 {
				t.Fatalf("lot %q was taken and is not valid: %v", l.ID, faults[0])
			}
			if names[l.ID] {
				t.Fatalf("two lots are called %q", l.ID)
			}
			names[l.ID] = true
		}
		if len(s.Lots) == 0 && !keepGoing {
			t.Fatal("taken without a lot")
		}
	})
}

func FuzzReadCriteria(f *testing.F) {
	f.Add([]byte(parcels.CriteriaText()))
	f.Add([]byte("clearance: {lot_line_ft: 2}\npipe: {least_slope: 0.005}\n"))
	f.Add([]byte(`{"pipe":{"stock":[{"size":"4 in","pipe":"solid","wall":"smooth","diameter_mm":101.6,"outside_diameter_mm":107,"n":0.012,"stick_m":3}]}}`))
	f.Add([]byte("a: &a [*a, *a]\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, given, err := ReadCriteria(b)
		if err != nil {
			refusal(t, err)
			return
		}
		if given == nil && len(bytes.TrimSpace(b)) > 0 && len(c.Pipe.Stock) == 0 {
			t.Fatal("taken, and there is no pipe")
		}
		for _, v := range []float64{float64(c.Clearance.LotLine), float64(c.Pipe.LeastSlope), float64(c.Trench.Width), float64(c.Pipe.GreatestDepth)} {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Fatalf("taken with a quantity of %v", v)
			}
		}
	})
}

func FuzzReadPlan(f *testing.F) {
	site, err := Read([]byte(lotLonLat), Options{})
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte(`{}`))
	f.Add([]byte(`{"status":"preliminary","frame":{"crs":"OGC:CRS84","metres_per_unit":1},"summary":{"verdict":"feasible","lots":["7"],"length_m":1},"network":{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[-86.9,36.1]},"properties":{"point":"a","kind":"intake","ground_m":1}},{"type":"Feature","geometry":{"type":"LineString","coordinates":[[-86.9,36.1],[-86.8999,36.1]]},"properties":{"run":"R1","from":"a","to":"b","length_m":9}}]},"trenches":[],"profiles":[{"rows":[]}],"findings":[]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := ReadPlan(b, site.Frame)
		if err != nil {
			refusal(t, err)
			return
		}
		for _, r := range p.Runs {
			if len(r.Line) < 2 {
				t.Fatalf("run %q was taken with %d positions", r.ID, len(r.Line))
			}
			finite(t, r.Line)
		}
		once, err := WritePlan(p, site.Frame)
		if err != nil {
			t.Fatalf("read, and cannot be written: %v", err)
		}
		if _, err := ReadPlan(once, site.Frame); err != nil {
			t.Fatalf("written, and cannot be read: %v", err)
		}
	})
}
