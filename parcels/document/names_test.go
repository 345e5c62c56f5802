package document

// Names of points, datums of layers, and reference systems in degrees.

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/memory"
)

// pointLayer is a layer of points, one for each members of a feature given.
func pointLayer(features ...string) string {
	var out []string
	for i, f := range features {
		out = append(out, fmt.Sprintf(`{"type":"Feature",%s,"geometry":{"type":"Point","coordinates":[%g,36.1002]}}`, f, -86.9+0.00001*float64(i+1)))
	}
	return `{"type":"FeatureCollection","features":[` + strings.Join(out, ",") + `]}`
}

// Exports number the features of each layer from 1, or not at all. A plan names its
// points by these numbers: of two alike the later layer's has its noun in front.
func TestHandNumbersAlike(t *testing.T) {
	text := `{"layers":{"parcels":` + lotLonLat + `,
		"inlets":` + pointLayer(`"id":1,"properties":{}`, `"id":"2","properties":{}`, `"properties":{}`) + `,
		"outlets":` + pointLayer(`"id":1,"properties":{}`, `"id":7,"properties":{"outlet":"swale end"}`) + `,
		"intakes":` + pointLayer(`"id":1,"properties":{}`, `"id":3,"properties":{}`, `"properties":{}`, `"id":2,"properties":{"intake":"DS"}`) + `}}`
	m := memory.New(1 << 20)
	for round := range 3 {
		o := Options{}
		if round > 0 {
			o.Memory = m
		}
		s, err := Read([]byte(text), o)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, v := range s.Inlets {
			got = append(got, v.ID)
		}
		for _, v := range s.Outlets {
			got = append(got, v.ID)
		}
		for _, v := range s.Intakes {
			got = append(got, v.ID)
		}
		if want := []string{"1", "2", "#2", "outlet 1", "swale end", "intake 1", "3", "intake #2", "DS"}; !slices.Equal(got, want) {
			t.Errorf("round %d: %q, want %q", round, got, want)
		}
	}
	// the same intakes beside other inlets
	s, err := Read([]byte(strings.Replace(text, `"id":1,"properties":{}`, `"id":8,"properties":{}`, 1)), Options{Memory: m})
	if err != nil {
		t.Fatal(err)
	}
	if s.Intakes[0].ID != "intake 1" || s.Outlets[0].ID != "1" {
		t.Errorf("intake %q, outlet %q", s.Intakes[0].ID, s.Outlets[0].ID)
	}
}

// A name that was stated is nobody else's.
func TestHandNamesTwice(t *testing.T) {
	for _, c := range []struct{ layers, pointer, says string }{
		{`"inlets":` + pointLayer(`"properties":{"inlet":"A"}`) + `,"intakes":` + pointLayer(`"properties":{"intake":"A"}`), "/layers/intakes/features/0", `"A", which feature 0 of the layer inlets is already`},
		{`"inlets":` + pointLayer(`"properties":{"inlet":"A"}`) + `,"outlets":` + pointLayer(`"properties":{}`, `"properties":{"outlet":"A"}`), "/layers/outlets/features/1", "feature 0 of the layer inlets"},
		{`"outlets":` + pointLayer(`"properties":{"outlet":"A"}`, `"properties":{"outlet":"A"}`), "/layers/outlets/features/1", `which feature 0 is already`},
		{`"intakes":` + pointLayer(`"properties":{"intake":"2"}`, `"id":2,"properties":{}`), "/layers/intakes/features/1", `which feature 0 is already`},
	} {
		f := faults(t, `{"layers":{"parcels":`+lotLonLat+`,`+c.layers+`}}`)[0]
		if f.Slug != "duplicate-id" || !strings.HasPrefix(f.Pointer, c.pointer) || !strings.Contains(f.Detail, c.says) {
			t.Errorf("%s at %s: %s", f.Slug, f.Pointer, f.Detail)
		}
	}
}

// What is added to a layer's elevations is a number, in either unit; what is none
// moves nothing in silence.
func TestHandVerticalShift(t *testing.T) {
	site := func(beside string) string {
		spots := strings.Replace(pointLayer(`"properties":{"elevation_m":100}`), `{"type":"FeatureCollection"`, `{"type":"FeatureCollection","vertical_datum":"NGVD 29",`+beside+`"x":1`, 1)
		return `{"vertical_datum":"NAVD 88","layers":{"parcels":` + lotLonLat + `,"spots":` + spots + `}}`
	}
	for beside, want := range map[string]float64{`"vertical_shift_m":-0.25,`: 99.75, `"vertical_shift_ft":-1,`: 99.6952, `"vertical_shift_m":"-0.25",`: 99.75} {
		s, err := Read([]byte(site(beside)), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if z := float64(s.Spots[0].Z); math.Abs(z-want) > 1e-9 {
			t.Errorf("%s %g, want %g", beside, z, want)
		}
	}
	for beside, want := range map[string]string{`"vertical_shift_m":"a foot",`: "property-invalid", `"vertical_shift_m":null,`: "vertical-datum-conflict", `"vertical_shift_m":9999,`: "property-invalid",
		`"vertical_shift_m":1,"vertical_shift_ft":1,`: "property-invalid", `"origin":"guessed",`: "property-invalid"} {
		if f := faults(t, site(beside))[0]; f.Slug != want || !strings.HasPrefix(f.Pointer, "/layers/spots/") {
			t.Errorf("%s %s at %s: %s", beside, f.Slug, f.Pointer, f.Detail)
		}
	}
}

// Counties write longitudes and latitudes on NAD 83 (EPSG:4269), in the document, in a
// layer, or in both.
func TestHandDegreesOfOtherDatums(t *testing.T) {
	own := strings.Replace(lotLonLat, `{"type":"FeatureCollection"`, `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::4269"}}`, 1)
	for _, text := range []string{`{"crs":"EPSG:4269","layers":{"parcels":` + lotLonLat + `}}`, `{"layers":{"parcels":` + own + `}}`, `{"crs":"EPSG:4269","layers":{"parcels":` + own + `}}`} {
		s, err := Read([]byte(text), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if s.CRS != "" || !s.Frame.Geographic() {
			t.Errorf("system %q", s.CRS)
		}
		if slices.ContainsFunc(s.Findings, func(f parcels.Finding) bool { return f.Code == "layer_reprojected" }) {
			t.Error("reprojected")
		}
	}
	if f := faults(t, `{"crs":"EPSG:2274","layers":{"parcels":`+own+`}}`)[0]; f.Slug != "crs-conflict" {
		t.Errorf("%s: %s", f.Slug, f.Detail)
	}
}
