package document

// One layer on its own, feature by feature, with the checks and the faults of
// a site document: what an import needs.

import (
	"encoding/json"
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/shape"
	"fallwright/parcels"
)

// EachFeature cuts scanned text of a GeoJSON FeatureCollection (or one Feature)
// and hands over each feature's text with its pointer until f says stop. crs is
// that of an old-style member, empty for none. The error is a
// *parcels.InputError.
func EachFeature(text []byte, start func(crs string) error, f func(index int, raw []byte, pointer string) bool) error {
	r := &reader{}
	invalid := func() error { return &parcels.InputError{Kind: parcels.Invalid, Faults: r.faults} }
	notGeoJSON := func(found string) error {
		r.fault(parcels.Fault{Slug: "not-geojson", Detail: fmt.Sprintf("The document is %s, not a GeoJSON FeatureCollection. Export the layer as a FeatureCollection.", found)})
		return invalid()
	}
	text = text[blank(text, 0):]
	if kindOf(text) != "object" {
		return notGeoJSON("a JSON " + kindOf(text))
	}
	var features []byte
	kind, crs := "", ""
	for _, m := range members(text) {
		switch m.key {
		case "type":
			if kindOf(m.raw) == "text" {
				kind = unquote(m.raw)
			}
		case "features":
			features = m.raw
		case "crs":
			crs = r.crsMember(m.raw)
		}
	}
	if len(r.faults) > 0 {
		return invalid()
	}
	switch kind {
	case "Feature":
		if err := start(crs); err != nil {
			return err
		}
		f(0, text, "")
		return nil
	case "FeatureCollection":
	case "":
		return notGeoJSON("an object without a type")
	default:
		return notGeoJSON(fmt.Sprintf("of type %q", parcels.Excerpt(kind)))
	}
	if features == nil || kindOf(features) != "array" {
		r.fault(parcels.Fault{Slug: "feature-invalid", Pointer: "/features", Detail: "The document has no array of features. Give \"features\": [] where there are none."})
		return invalid()
	}
	if err := start(crs); err != nil {
		return err
	}
	each(features, func(i int, raw []byte) bool { return f(i, raw, featurePointer("", i)) })
	return nil
}

// Checked is a feature that has passed.
type Checked struct {
	ID         string
	Geometry   json.RawMessage
	Properties map[string]json.RawMessage
	// Given is the text of the properties; nil where there are none.
	Given json.RawMessage
	// Notes: clockwise shells, repeated positions and the like, accepted.
	Notes []string
}

// Checker holds the features of one layer against the rules that hold for a
// site document. It is for one goroutine.
type Checker struct {
	r     *reader
	types []string
	info  frame.Info
	given bool
	frame *frame.Frame
	mid   orb.Point
	ids   map[string]int32

	n         int
	degrees   bool
	firstBox  orb.Bound
	firstText string
}

// NewChecker makes a checker for a layer whose coordinates are in crs; given
// says that somebody has named it, and not that it is the default. The error
// is a *parcels.InputError.
func NewChecker(l parcels.Layer, crs string, given bool, limits Limits) (*Checker, error) {
	info, err := frame.Lookup(crs)
	if err != nil {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "crs-unknown", Pointer: "/crs",
			Detail: fmt.Sprintf("The reference system %q is not known. Give a code of the form EPSG:NNNN.", parcels.Excerpt(crs))}}}
	}
	return &Checker{r: &reader{limits: limits}, types: layerTypes[l], info: info, given: given, ids: map[string]int32{}, degrees: !info.Geographic}, nil
}

// Full says that a limit on the whole has been passed: nothing more is looked
// at.
func (c *Checker) Full() bool { return c.r.full }

// Feature checks the scanned text of one feature. With faults it is not taken.
func (c *Checker) Feature(raw []byte, index int, pointer string) (Checked, []parcels.Fault) {
	c.r.faults, c.r.bad = c.r.faults[:0], nil
	f, ok := c.r.feature(raw, index, pointer, c.types, false)
	out := Checked{ID: f.IDText(), Properties: f.Properties, Notes: f.Notes}
	if !ok {
		return out, append([]parcels.Fault(nil), c.r.faults...)
	}
	p := place{feature: index, id: f.ID, pointer: pointer + "/geometry/coordinates", ring: -1, vertex: -1}
	if slug, detail, path, v, at := outOfRange(c.info, c.given, f.Geometry); slug != "" {
		c.r.vertexFault(p, slug, path, v, at, detail)
	} else if c.info.Geographic {
		if slug, detail, path, v, at := antimeridian(f.Geometry); slug != "" {
			c.r.vertexFault(p, slug, path, v, at, detail)
		}
	}
	if len(c.r.faults) == 0 {
		c.place(f, p)
	}
	if len(c.r.faults) == 0 && len(f.ID) > 0 {
		id := f.IDText()
		if first, twice := c.ids[id]; twice {
			ft := p.fault("duplicate-id", fmt.Sprintf(" has the id of feature %d. Give each feature its own id.", first))
			n := int(first)
			ft.First, ft.Pointer = &n, pointer
			c.r.fault(ft)
		} else {
			c.ids[id] = int32(index)
		}
	}
	if len(c.r.faults) > 0 {
		return out, append([]parcels.Fault(nil), c.r.faults...)
	}
	for _, m := range members(raw) {
		switch m.key {
		case "geometry":
			out.Geometry = m.raw
		case "properties":
			out.Given = m.raw
		}
	}
	return out, nil
}

// place checks where the feature lies and its shape, in a plane about it.
func (c *Checker) place(f Feature, p place) {
	b := f.Geometry.Bound()
	if c.n == 0 {
		c.firstBox, c.firstText = b, p.name()
	}
	c.n++
	c.degrees = c.degrees && math.Abs(b.Min[0]) <= 180 && math.Abs(b.Max[0]) <= 180 && math.Abs(b.Min[1]) <= 90 && math.Abs(b.Max[1]) <= 90
	mid := b.Center()
	if c.frame == nil || c.info.Geographic && (math.Abs(mid[0]-c.mid[0]) > 2 || math.Abs(mid[1]-c.mid[1]) > 2) {
		fr, err := frameOf(c.info.Code, b)
		if err != nil {
			c.r.fault(p.fault("crs-unknown", " is in a reference system that cannot be used: "+err.Error()+"."))
			return
		}
		c.frame, c.mid = fr, mid
	}
	if !c.info.Geographic && !c.degrees {
		const slack = 1.0 // degrees
		ll := c.frame.LonLat(c.frame.Plane(mid))
		if !(ll[0] >= c.info.West-slack && ll[0] <= c.info.East+slack && ll[1] >= c.info.South-slack && ll[1] <= c.info.North+slack) {
			ft := p.fault("coordinate-out-of-range", fmt.Sprintf(" lies at longitude %.3f, latitude %.3f, outside the area that %s is for (%.2f, %.2f to %.2f, %.2f). Check the crs and the order easting, northing.", ll[0], ll[1], c.info.Code, c.info.West, c.info.South, c.info.East, c.info.North))
			ft.Limit = []float64{c.info.West, c.info.South, c.info.East, c.info.North}
			c.r.fault(ft)
			return
		}
	}
	g := mapPoints(f.Geometry, c.frame.Plane)
	_, multi := g.(orb.MultiPolygon)
	for _, e := range shape.Check(g) {
		c.r.fault(shapeFault(p, multi, e, c.frame.Document))
	}
}

// End tells what only the whole shows: every coordinate reads as degrees in a
// system that is in metres or feet.
func (c *Checker) End() []parcels.Fault {
	if !c.degrees || c.n == 0 {
		return nil
	}
	b, zero := c.firstBox, 0
	return []parcels.Fault{{Slug: "crs-units-mismatch", Feature: &zero, Pointer: "/features/0/geometry/coordinates", Actual: []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]},
		Detail: fmt.Sprintf("%s spans %.6g, %.6g to %.6g, %.6g, which reads as degrees where %s is in metres or feet, as do all others. Leave the crs out for longitude, latitude, or give coordinates in it.",
			c.firstText, b.Min[0], b.Min[1], b.Max[0], b.Max[1], c.info.Code)}}
}
