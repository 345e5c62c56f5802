package answer_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"testing"

	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/document"
	"fallwright/sampledata"
)

// bowl is a lot of 40 by 40 m whose ground is a plain at 10 m with a cone 1 m
// deep and 10 m in radius in its middle.
func bowl(t *testing.T) *parcels.Site {
	t.Helper()
	type obj = map[string]any
	var spots []any
	spot := func(x, y, z float64) {
		spots = append(spots, obj{"type": "Feature", "geometry": obj{"type": "Point", "coordinates": []float64{500000 + x, 4000000 + y}}, "properties": obj{"elevation_m": z}})
	}
	for _, x := range []float64{-20, 0, 20, 40, 60} {
		for _, y := range []float64{-20, 0, 20, 40, 60} {
			if x != 20 || y != 20 {
				spot(x, y, 10)
			}
		}
	}
	spot(20, 20, 9)
	const n = 72
	for k := range n {
		a := 2 * math.Pi * float64(k) / n
		spot(20+10*math.Cos(a), 20+10*math.Sin(a), 10)
	}
	doc := obj{"crs": "EPSG:32616", "layers": obj{
		"parcels": obj{"type": "FeatureCollection", "features": []any{obj{"type": "Feature", "properties": obj{"lot": "1"},
			"geometry": obj{"type": "Polygon", "coordinates": [][][]float64{{{500000, 4000000}, {500040, 4000000}, {500040, 4000040}, {500000, 4000040}, {500000, 4000000}}}}}}},
		"spots": obj{"type": "FeatureCollection", "features": spots}}}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	s, err := document.Read(text, document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Hand: the cone holds pi r2 h/3 = 104.7 m3 (its 72-gon 104.6); its contours
// every 0.25 m are the closed lines at 9.25, 9.5 and 9.75 and no line on the
// plain; the relief knows its bottom.
func TestHandGroundOfABowl(t *testing.T) {
	g, err := answer.Ground(context.Background(), bowl(t), answer.GroundOptions{Interval: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	if len(g.Ponds) != 1 || math.Abs(g.Ponds[0].Volume-104.6) > 0.3 || math.Abs(float64(g.Ponds[0].Depth)-1) > 0.01 {
		t.Errorf("ponds %+v", g.Ponds)
	}
	var doc struct {
		Relief   answer.Relief
		Features []struct{ Properties answer.ContourRow }
	}
	if err := json.Unmarshal(g.Body, &doc); err != nil {
		t.Fatal(err)
	}
	closed := map[float64]int{}
	for _, f := range doc.Features {
		if f.Properties.Kind == "contour" && f.Properties.Elevation < 10 {
			if !f.Properties.Closed {
				t.Errorf("an open contour at %v", f.Properties.Elevation)
			}
			closed[float64(f.Properties.Elevation)]++
		}
	}
	if len(closed) != 3 || closed[9.25] != 1 || closed[9.5] != 1 || closed[9.75] != 1 {
		t.Errorf("contours %v", closed)
	}
	if r := doc.Relief; len(r.Heights) != r.Columns*r.Rows || r.Columns == 0 || math.Abs(float64(r.Base)-9) > 0.06 {
		t.Errorf("relief of %d by %d with %d heights over %v", r.Columns, r.Rows, len(r.Heights), r.Base)
	}
}

// Every lot of the sample has its ground, and a site without says what to give.
func TestGroundBadInput(t *testing.T) {
	s, err := document.Read(sampledata.StatePlane(), document.Options{})
	if err != nil {
		t.Fatal(err)
	}
	slug := func(o answer.GroundOptions) string {
		_, err := answer.Ground(context.Background(), s, o)
		var in *parcels.InputError
		if errors.As(err, &in) && len(in.Faults) > 0 {
			return in.Faults[0].Slug
		}
		return ""
	}
	for _, o := range []struct {
		want string
		o    answer.GroundOptions
	}{{"option-invalid", answer.GroundOptions{Interval: -1}}, {"option-invalid", answer.GroundOptions{Interval: 1e-6}}, {"lot-unknown", answer.GroundOptions{Lots: []string{"Z9"}}}, {"", answer.GroundOptions{Lots: []string{"B4"}}}} {
		if got := slug(o.o); got != o.want {
			t.Errorf("%+v: %q, want %q", o.o, got, o.want)
		}
	}
	s.Spots, s.Breaklines, s.Swales, s.Contours = nil, nil, nil, nil
	if got := slug(answer.GroundOptions{}); got != "ground-missing" {
		t.Errorf("no ground: %q", got)
	}
}
