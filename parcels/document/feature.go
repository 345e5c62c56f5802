package document

// One feature at a time going out, for collections too large to be held.

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// CollectionEnds are what stands before and after the features of a collection
// in the frame's system; between features stands a comma.
func CollectionEnds(f *frame.Frame) (head, tail string) {
	head = "{"
	if c := crsOf(f); c != nil {
		b, _ := json.Marshal(c) // texts only
		head += `"crs":` + string(b) + ","
	}
	return head + `"features":[`, `],"type":"FeatureCollection"}`
}

// AppendFeature appends a row as one GeoJSON feature without white space, its
// geometry in the frame's system.
func AppendFeature(b []byte, f *frame.Frame, r Row) ([]byte, error) {
	b = append(b, `{"type":"Feature",`...)
	if r.ID != "" {
		id, err := AppendJSON(nil, r.ID)
		if err != nil {
			return nil, err
		}
		b = append(append(append(b, `"id":`...), id...), ',')
	}
	b = append(b, `"geometry":`...)
	w := appender{writer{f}, b, true}
	w.geometry(r.Geometry)
	if !w.finite {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "document: write", Err: errNotFinite}
	}
	b = append(w.b, `,"properties":`...)
	b, err := AppendJSON(b, r.Properties)
	return append(b, '}'), err
}

// AppendJSON appends a value as JSON, without white space, < and > as they are.
func AppendJSON(b []byte, v any) ([]byte, error) {
	buf := bytes.NewBuffer(b)
	enc := json.NewEncoder(buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "document: write", Err: err}
	}
	return bytes.TrimSuffix(buf.Bytes(), []byte("\n")), nil
}

type appender struct {
	writer
	b      []byte
	finite bool
}

func (w *appender) geometry(g orb.Geometry) {
	kind := func(name string) { w.b = append(append(append(w.b, `{"type":"`...), name...), `","coordinates":`...) }
	switch g := g.(type) {
	case orb.Point:
		kind("Point")
		w.point(g)
	case orb.LineString:
		kind("LineString")
		w.points(g)
	case orb.Polygon:
		kind("Polygon")
		w.polygon(g)
	case orb.MultiPolygon:
		kind("MultiPolygon")
		for i, p := range g {
			w.sep(i)
			w.polygon(p)
		}
		w.end(len(g))
	default:
		w.b = append(w.b, "null"...)
		return
	}
	w.b = append(w.b, '}')
}

func (w *appender) sep(i int) {
	if i == 0 {
		w.b = append(w.b, '[')
	} else {
		w.b = append(w.b, ',')
	}
}

func (w *appender) end(n int) {
	if n == 0 {
		w.b = append(w.b, '[')
	}
	w.b = append(w.b, ']')
}

func (w *appender) polygon(p orb.Polygon) {
	for i, r := range p {
		w.sep(i)
		w.points(orb.LineString(r))
	}
	w.end(len(p))
}

func (w *appender) points(l orb.LineString) {
	for i, p := range l {
		w.sep(i)
		w.point(p)
	}
	w.end(len(l))
}

func (w *appender) point(p orb.Point) {
	p = w.f.Document(p)
	w.finite = w.finite && !math.IsNaN(p[0]+p[1]) && !math.IsInf(p[0]+p[1], 0)
	w.b = appendPosition(w.b, p, w.f.Decimals())
}

func appendPosition(b []byte, p orb.Point, decimals int) []byte {
	b = strconv.AppendFloat(append(b, '['), p[0], 'f', decimals, 64)
	b = strconv.AppendFloat(append(b, ','), p[1], 'f', decimals, 64)
	return append(b, ']')
}
