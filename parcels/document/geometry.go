package document

// GeoJSON features and geometries (RFC 7946), read strictly: every position,
// ring and part is accounted for, or is a fault with its place.

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// Feature is one feature as it stood in the text: coordinates in the
// collection's system, elevations apart because orb has none.
type Feature struct {
	Index      int
	ID         json.RawMessage // as given; nil: none
	Geometry   orb.Geometry    // nil: null, where the caller lets that pass
	Z          []float64       // one a vertex in order of writing; nil: two dimensions
	Properties map[string]json.RawMessage
	Notes      []string // accepted oddities: repeated positions, clockwise shells
}

// IDText is the id as text: "7" for 7 and for "7"; empty for none.
func (f Feature) IDText() string {
	if len(f.ID) == 0 {
		return ""
	}
	if f.ID[0] == '"' {
		return unquote(f.ID)
	}
	return string(f.ID)
}

// Collection is a FeatureCollection as read.
type Collection struct {
	CRS      string // of its own old-style member; empty: none
	Features []Feature
	read     []readFeature // the same with their texts
}

// reader gathers faults while one document is read.
type reader struct {
	limits   Limits
	vertices int // of all features so far
	// like is what was read of the layer from other texts, each without a fault;
	// features that have not changed are taken from there.
	like   [][]readFeature
	full   bool
	layer  string
	base   string // pointer of the collection
	faults []parcels.Fault
	bad    map[int]bool // features of the current layer that have a fault
	whole  bool         // a fault that is of no one feature
	told   int          // all faults ever
}

func (r *reader) fault(f parcels.Fault) {
	r.told++
	f.Layer = r.layer
	if f.Feature != nil {
		if r.bad == nil {
			r.bad = map[int]bool{}
		}
		r.bad[*f.Feature] = true
		if r.layer != "" {
			f.Detail = "Layer " + r.layer + ": " + strings.ToLower(f.Detail[:1]) + f.Detail[1:]
		}
	} else {
		r.whole = true
	}
	r.faults = append(r.faults, f)
}

// place is where in a feature the reader stands.
type place struct {
	feature int
	id      json.RawMessage
	pointer string
	ring    int // -1: none
	vertex  int
}

// featurePointer is the JSON pointer of a feature of the collection at base.
func featurePointer(base string, i int) string { return base + "/features/" + strconv.Itoa(i) }

func (p place) name() string {
	if len(p.id) > 0 {
		return fmt.Sprintf("Feature %d (id %s)", p.feature, parcels.Excerpt(Feature{ID: p.id}.IDText()))
	}
	return fmt.Sprintf("Feature %d", p.feature)
}

func (p place) fault(slug, detail string) parcels.Fault {
	i := p.feature
	f := parcels.Fault{Slug: slug, Feature: &i, Pointer: p.pointer, Detail: p.name() + detail}
	if len(p.id) > 0 {
		f.ID = p.id
	}
	if p.ring >= 0 {
		n := p.ring
		f.Ring = &n
	}
	if p.vertex >= 0 {
		n := p.vertex
		f.Vertex = &n
	}
	return f
}

// collection reads a FeatureCollection (or a single Feature) at the pointer.
// Types lists the geometry types taken.
func (r *reader) collection(raw []byte, types []string, nullGeometry bool) Collection {
	var c Collection
	r.bad = nil
	notGeoJSON := func(found string) {
		r.fault(parcels.Fault{Slug: "not-geojson", Pointer: r.base,
			Detail: fmt.Sprintf("%s is %s, not a GeoJSON FeatureCollection. Export the layer as a FeatureCollection.", r.what(), found)})
	}
	if kindOf(raw) != "object" {
		notGeoJSON("a JSON " + kindOf(raw))
		return c
	}
	var features []byte
	kind := ""
	for _, m := range members(raw) {
		switch m.key {
		case "type":
			if kindOf(m.raw) == "text" {
				kind = unquote(m.raw)
			}
		case "features":
			features = m.raw
		case "crs":
			c.CRS = r.crsMember(m.raw)
		}
	}
	switch kind {
	case "FeatureCollection":
	case "Feature":
		if f, ok := r.feature(raw, 0, r.base, types, nullGeometry); ok {
			c.Features = append(c.Features, f)
		}
		return c
	case "":
		notGeoJSON("an object without a type")
		return c
	default:
		notGeoJSON(fmt.Sprintf("of type %q", parcels.Excerpt(kind)))
		return c
	}
	if features == nil || kindOf(features) != "array" {
		r.fault(parcels.Fault{Slug: "feature-invalid", Pointer: r.base + "/features",
			Detail: r.what() + " has no array of features. Give \"features\": [] where there are none."})
		return c
	}
	each(features, func(i int, f []byte) bool {
		if was := r.again(i, f); was != nil {
			r.vertices += was.vertices
			c.Features, c.read = append(c.Features, was.feature), append(c.read, *was)
			return true
		}
		if r.like != nil {
			f = bytes.Clone(f) // not to hold all of the text for what is new in it
		}
		before := r.vertices
		if v, ok := r.feature(f, i, featurePointer(r.base, i), types, nullGeometry); ok {
			c.Features, c.read = append(c.Features, v), append(c.read, readFeature{v, f, r.vertices - before})
		}
		return !r.full
	})
	return c
}

// readFeature is a feature with the text that it was read from.
type readFeature struct {
	feature  Feature
	text     []byte
	vertices int
}

// again is the feature that was read from the same text in the same place of the
// layer before; nil where none was.
func (r *reader) again(i int, text []byte) *readFeature {
	for _, before := range r.like {
		if i >= len(before) || !bytes.Equal(before[i].text, text) {
			continue
		}
		if most := r.limits.AllVertices; most > 0 && r.vertices+before[i].vertices > most {
			return nil // it is read, and says where it is full
		}
		return &before[i]
	}
	return nil
}

func (r *reader) what() string {
	if r.layer == "" {
		return "The document"
	}
	return "Layer " + r.layer
}

func (r *reader) crsMember(raw []byte) string {
	var old struct {
		Properties struct {
			Name string `json:"name"`
		} `json:"properties"`
	}
	name := ""
	switch kindOf(raw) {
	case "text":
		name = unquote(raw)
	case "object":
		_ = json.Unmarshal(raw, &old)
		name = old.Properties.Name
	case "null":
		return ""
	}
	info, err := frame.Lookup(name)
	if name == "" || err != nil {
		r.fault(parcels.Fault{Slug: "crs-unknown", Pointer: r.base + "/crs",
			Detail: fmt.Sprintf("%s names the reference system %q, which is not known. Give a code of the form EPSG:NNNN.", r.what(), parcels.Excerpt(name))})
		return ""
	}
	if info.Geographic {
		return "EPSG:4326"
	}
	return info.Code
}

func (r *reader) feature(raw []byte, index int, pointer string, types []string, nullGeometry bool) (Feature, bool) {
	f := Feature{Index: index}
	p := place{feature: index, pointer: pointer, ring: -1, vertex: -1}
	before := len(r.faults)
	if kindOf(raw) != "object" {
		r.fault(p.fault("feature-invalid", fmt.Sprintf(" is %s, not an object. Remove it or give a whole feature.", kindOf(raw))))
		return f, false
	}
	var geometry []byte
	kind := ""
	ms := members(raw)
	for _, m := range ms {
		if m.key == "id" && !isNull(m.raw) {
			switch kindOf(m.raw) {
			case "text", "number":
				f.ID = m.raw
				p.id = m.raw
			default:
				r.fault(p.fault("feature-invalid", " has an id that is neither text nor a number. Give a text or a number."))
			}
		}
	}
	for _, m := range ms {
		switch m.key {
		case "type":
			if kindOf(m.raw) == "text" {
				kind = unquote(m.raw)
			}
		case "geometry":
			geometry = m.raw
		case "properties":
			switch kindOf(m.raw) {
			case "object":
				f.Properties = r.properties(m.raw, p)
			case "null":
			default:
				r.fault(p.fault("feature-invalid", fmt.Sprintf(" has %s where its properties should be an object or null.", kindOf(m.raw))))
			}
		}
	}
	if kind != "Feature" {
		r.fault(p.fault("feature-invalid", fmt.Sprintf(" has the type %q, not \"Feature\".", parcels.Excerpt(kind))))
		return f, false
	}
	p.pointer = pointer + "/geometry"
	if isNull(geometry) {
		if !nullGeometry {
			r.fault(p.fault("geometry-missing", fmt.Sprintf(" has no geometry; %s is needed. Draw it or remove the feature.", oneOf(types))))
		}
		return f, nullGeometry && len(r.faults) == before
	}
	g, z, notes := r.geometry(geometry, p, types)
	f.Geometry, f.Z, f.Notes = g, z, notes
	return f, len(r.faults) == before && g != nil
}

func oneOf(types []string) string {
	if len(types) == 0 {
		return "a geometry"
	}
	if len(types) == 1 {
		return "a " + types[0]
	}
	return "a " + strings.Join(types[:len(types)-1], ", ") + " or " + types[len(types)-1]
}

func (r *reader) properties(raw []byte, p place) map[string]json.RawMessage {
	ms := members(raw)
	if r.limits.Properties > 0 && len(ms) > r.limits.Properties {
		f := p.fault("too-many-properties", fmt.Sprintf(" has %d properties; at most %d are taken. Leave out what is not needed.", len(ms), r.limits.Properties))
		f.Limit, f.Actual = r.limits.Properties, len(ms)
		r.fault(f)
		return nil
	}
	out := make(map[string]json.RawMessage, len(ms))
	for _, m := range ms {
		if r.limits.Properties > 0 && kindOf(m.raw) == "text" && len(m.raw) > MostString {
			f := p.fault("property-too-long", fmt.Sprintf(" has a text of %d bytes in %q; at most %d are taken. Shorten it.", len(m.raw), parcels.Excerpt(m.key), MostString))
			f.Limit, f.Actual = MostString, len(m.raw)
			r.fault(f)
			continue
		}
		out[m.key] = json.RawMessage(m.raw)
	}
	return out
}

// coords decodes positions and remembers what a geometry may only have once.
type coords struct {
	r     *reader
	p     place
	z     []float64
	n     int
	dims  int
	ok    bool
	notes []string
}

func (r *reader) geometry(raw []byte, p place, types []string) (orb.Geometry, []float64, []string) {
	if kindOf(raw) != "object" {
		r.fault(p.fault("geometry-type", fmt.Sprintf(" has %s for its geometry; %s is needed.", kindOf(raw), oneOf(types))))
		return nil, nil, nil
	}
	kind := ""
	var coordinates []byte
	for _, m := range members(raw) {
		switch m.key {
		case "type":
			if kindOf(m.raw) == "text" {
				kind = unquote(m.raw)
			}
		case "coordinates":
			coordinates = m.raw
		}
	}
	wanted := len(types) == 0
	for _, t := range types {
		wanted = wanted || t == kind
	}
	if !wanted {
		q := p
		q.pointer += "/type"
		remedy := ""
		if one, multi := strings.CutPrefix(kind, "Multi"); multi && slices.Contains(types, one) {
			remedy = " Take it apart into single parts, each with a name of its own."
		}
		f := q.fault("geometry-type", fmt.Sprintf(" is a %q; %s is needed.%s", parcels.Excerpt(kind), oneOf(types), remedy))
		f.Actual = parcels.Excerpt(kind)
		r.fault(f)
		return nil, nil, nil
	}
	p.pointer += "/coordinates"
	c := &coords{r: r, p: p, ok: true}
	if coordinates == nil || kindOf(coordinates) != "array" {
		r.fault(p.fault("geometry-empty", fmt.Sprintf(" is a %s without an array of coordinates.", kind)))
		return nil, nil, nil
	}
	var g orb.Geometry
	switch kind {
	case "Point":
		v := c.position(coordinates, p)
		g = v
	case "MultiPoint":
		g = orb.MultiPoint(c.line(coordinates, p, 1))
	case "LineString":
		g = c.line(coordinates, p, 2)
	case "MultiLineString":
		var m orb.MultiLineString
		c.parts(coordinates, p, func(i int, raw []byte, q place) {
			q.ring = i
			m = append(m, c.line(raw, q, 2))
		})
		g = m
	case "Polygon":
		g = c.polygon(coordinates, p)
	case "MultiPolygon":
		var m orb.MultiPolygon
		c.parts(coordinates, p, func(_ int, raw []byte, q place) { m = append(m, c.polygon(raw, q)) })
		g = m
	default:
		r.fault(p.fault("geometry-type", fmt.Sprintf(" is a %q, which is not taken here; %s is needed.", parcels.Excerpt(kind), oneOf(types))))
		return nil, nil, nil
	}
	if !c.ok {
		return nil, nil, nil
	}
	if c.dims < 3 {
		c.z = nil
	}
	return g, c.z, c.notes
}

func (c *coords) bad(f parcels.Fault) {
	c.ok = false
	c.r.fault(f)
}

func (c *coords) parts(raw []byte, p place, f func(i int, raw []byte, q place)) {
	n := each(raw, func(i int, e []byte) bool {
		q := p
		q.pointer = fmt.Sprintf("%s/%d", p.pointer, i)
		if kindOf(e) != "array" {
			c.bad(q.fault("position-invalid", fmt.Sprintf(" has %s where an array of positions is due.", kindOf(e))))
			return true
		}
		f(i, e, q)
		return !c.r.full
	})
	if n == 0 {
		c.bad(p.fault("geometry-empty", " has no parts. Draw it or remove the feature."))
	}
}

func (c *coords) polygon(raw []byte, p place) orb.Polygon {
	var poly orb.Polygon
	c.parts(raw, p, func(i int, e []byte, q place) {
		q.ring = i
		ring := orb.Ring(c.line(e, q, 0))
		n := len(ring)
		switch {
		case !c.ok:
		case n < 4:
			c.bad(q.fault("ring-too-short", fmt.Sprintf(", ring %d has %d positions; a ring needs 4, the last equal to the first.", i, n)))
		case ring[0] != ring[n-1]:
			q.vertex = n - 1
			c.bad(q.fault("ring-not-closed", fmt.Sprintf(", ring %d is not closed: its last position (vertex %d) differs from its first. Repeat the first position at the end.", i, n-1)))
		case flat(ring):
			c.bad(q.fault("ring-no-area", fmt.Sprintf(", ring %d has no area: its positions lie on one line. Draw it again or remove it.", i)))
		}
		poly = append(poly, ring)
	})
	return poly
}

// flat says whether all positions of a ring lie on one line as they are
// written. Degrees on one line bend a little in the plane, where geo/shape
// would see a sliver.
func flat(ring orb.Ring) bool {
	o, far := ring[0], ring[0]
	length := func(p orb.Point) float64 { return math.Hypot(p[0]-o[0], p[1]-o[1]) }
	for _, p := range ring {
		if length(p) > length(far) {
			far = p
		}
	}
	if length(far) > 1e100 { // no coordinate: said elsewhere
		return false
	}
	const digits = 1e-14 // of the product of two lengths: rounding of the text's numbers
	for _, p := range ring {
		cross := (far[0]-o[0])*(p[1]-o[1]) - (far[1]-o[1])*(p[0]-o[0])
		if math.Abs(cross) > digits*length(far)*(length(far)+math.Abs(o[0])+math.Abs(o[1])) {
			return false
		}
	}
	return true
}

func (c *coords) line(raw []byte, p place, least int) orb.LineString {
	var out orb.LineString
	n := each(raw, func(i int, e []byte) bool {
		q := p
		q.vertex = i
		pt := c.position(e, q)
		out = append(out, pt)
		return !c.r.full
	})
	if n < least {
		c.bad(p.fault("geometry-empty", fmt.Sprintf(" has %d positions where at least %d are needed.", n, least)))
	}
	return out
}

// position reads one position; q.vertex is its place in its ring, -1 in a Point.
func (c *coords) position(raw []byte, q place) orb.Point {
	at := func() place {
		if q.vertex >= 0 {
			q.pointer = fmt.Sprintf("%s/%d", q.pointer, q.vertex)
		}
		return q
	}
	c.n++
	c.r.vertices++
	if l := c.r.limits; l.Vertices > 0 && c.n > l.Vertices || l.AllVertices > 0 && c.r.vertices > l.AllVertices {
		f := c.p.fault("too-many-vertices", fmt.Sprintf(" has more than %d vertices (or the whole request more than %d). Split or simplify it.", l.Vertices, l.AllVertices))
		f.Limit = l.Vertices
		c.bad(f)
		c.r.full = true
		return orb.Point{}
	}
	if kindOf(raw) != "array" {
		c.bad(at().fault("position-invalid", fmt.Sprintf(", vertex %d is %s, not a position. Give [x, y] or [x, y, z].", max(q.vertex, 0), kindOf(raw))))
		return orb.Point{}
	}
	var v [3]float64
	bad := ""
	n := each(raw, func(i int, e []byte) bool {
		x, ok, isNumber := number(e)
		switch {
		case !isNumber:
			bad = "position-invalid"
		case !ok && bad == "":
			bad = "number-out-of-range"
		}
		if i < 3 {
			v[i] = x
		}
		return i < 4
	})
	switch {
	case bad == "number-out-of-range":
		c.bad(at().fault(bad, fmt.Sprintf(", vertex %d has a number too large for any coordinate. Correct it.", max(q.vertex, 0))))
		return orb.Point{}
	case bad != "" || n < 2 || n > 3:
		c.bad(at().fault("position-invalid", fmt.Sprintf(", vertex %d has %s. Give two numbers, or three with an elevation.", max(q.vertex, 0), plural(n, "member", bad != ""))))
		return orb.Point{}
	}
	if c.dims == 0 {
		c.dims = n
	} else if c.dims != n {
		c.bad(at().fault("mixed-dimensions", fmt.Sprintf(", vertex %d has %d numbers where those before have %d. Give every position of a geometry an elevation, or none.", max(q.vertex, 0), n, c.dims)))
		c.dims = n
	}
	if n == 3 {
		c.z = append(c.z, v[2])
	}
	return orb.Point{v[0], v[1]}
}

func plural(n int, noun string, odd bool) string {
	s := fmt.Sprintf("%d %ss", n, noun)
	if n == 1 {
		s = "1 " + noun
	}
	if odd {
		s += ", not all of them numbers"
	}
	return s
}

// outOfRange looks for the first coordinate of a feature that its system cannot
// hold, and says which fault that is.
func outOfRange(info frame.Info, given bool, g orb.Geometry) (slug, detail string, part []int, vertex int, at orb.Point) {
	walk(g, func(path []int, i int, p orb.Point) bool {
		big := math.Abs(p[0]) > 1e8 || math.Abs(p[1]) > 1e8
		if info.Geographic {
			if math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90 {
				return true
			}
			switch {
			case big:
				slug, detail = "coordinate-out-of-range", "is no longitude and latitude (allowed: -180 to 180, -90 to 90)"
			case math.Abs(p[0]) <= 90 && math.Abs(p[1]) <= 180:
				slug, detail = "axes-swapped", fmt.Sprintf("has the latitude %g outside -90 to 90, and would fit as latitude, longitude. Write longitude first", p[1])
			case given:
				slug, detail = "crs-units-mismatch", "cannot be in degrees, which the crs says. Give the crs that the coordinates are in"
			default:
				slug, detail = "crs-units-mismatch", "cannot be longitude and latitude, and no crs is given. Add \"crs\": \"EPSG:NNNN\" of the coordinates"
			}
		} else {
			if !big {
				return true
			}
			slug, detail = "coordinate-out-of-range", "lies outside any projected system (allowed: -1e8 to 1e8)"
		}
		part, vertex, at = append([]int(nil), path...), i, p
		return false
	})
	return
}

// walk visits every vertex with the path of its ring ([ring], or [part, ring])
// until f says stop.
func walk(g orb.Geometry, f func(path []int, vertex int, p orb.Point) bool) bool {
	ring := func(path []int, ps []orb.Point) bool {
		for i, p := range ps {
			if !f(path, i, p) {
				return false
			}
		}
		return true
	}
	switch g := g.(type) {
	case orb.Point:
		return f(nil, -1, g)
	case orb.MultiPoint:
		return ring(nil, g)
	case orb.LineString:
		return ring(nil, g)
	case orb.MultiLineString:
		for i, l := range g {
			if !ring([]int{i}, l) {
				return false
			}
		}
	case orb.Polygon:
		for i, l := range g {
			if !ring([]int{i}, l) {
				return false
			}
		}
	case orb.MultiPolygon:
		for i, p := range g {
			for j, l := range p {
				if !ring([]int{i, j}, l) {
					return false
				}
			}
		}
	}
	return true
}

// mapPoints returns g with every vertex put through f.
func mapPoints(g orb.Geometry, f func(orb.Point) orb.Point) orb.Geometry {
	pts := func(ps []orb.Point) []orb.Point {
		out := make([]orb.Point, len(ps))
		for i, p := range ps {
			out[i] = f(p)
		}
		return out
	}
	switch g := g.(type) {
	case orb.Point:
		return f(g)
	case orb.MultiPoint:
		return orb.MultiPoint(pts(g))
	case orb.LineString:
		return orb.LineString(pts(g))
	case orb.MultiLineString:
		out := make(orb.MultiLineString, len(g))
		for i, l := range g {
			out[i] = pts(l)
		}
		return out
	case orb.Polygon:
		out := make(orb.Polygon, len(g))
		for i, l := range g {
			out[i] = pts(l)
		}
		return out
	case orb.MultiPolygon:
		out := make(orb.MultiPolygon, len(g))
		for i, p := range g {
			out[i] = mapPoints(p, f).(orb.Polygon)
		}
		return out
	}
	return g
}
