package document

// The site document (the contract's section 2) into a parcels.Site.

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/memory"
)

// Options of reading.
type Options struct {
	Limits Limits
	// KeepGoing turns a faulty feature into a finding; the rest goes on. Faults
	// of text or structure refuse the document all the same.
	KeepGoing bool
	// Criteria are those of a file, under the document's own; nil: built in.
	Criteria *parcels.Criteria
	// CriteriaGiven lists the keys that the file set, for the assumptions.
	CriteriaGiven map[string]bool
	// Memory, where not nil, keeps what was read by its content: sites and layers.
	// A site from it may be another caller's too: it is not to be written to.
	Memory *memory.Memory
	// Scanned is the text to be read, where a scan has passed it, by itself or as
	// part of another; a zero Cut: it is yet to be scanned.
	Scanned Cut
}

// IsSite says whether scanned text is a site document rather than GeoJSON.
func IsSite(text []byte) bool {
	text = bytes.TrimSpace(text)
	return kindOf(text) == "object" && hasMember(text, "layers")
}

// reserved lists the members of a site document that are read.
var reserved = map[string]bool{"site": true, "crs": true, "elevation_unit": true, "vertical_datum": true,
	"benchmark": true, "origin": true, "layers": true, "terrain": true, "rainfall": true, "soil": true, "criteria": true}

type layerText struct {
	Cut
	base string
}

// Read reads a site document. A bare FeatureCollection of polygons is taken as
// a document whose only layer is parcels. The error is a *parcels.InputError.
func Read(data []byte, o Options) (*parcels.Site, error) {
	if o.Scanned.Text == nil {
		var err error
		if o.Scanned, err = ScanWith(data, o.Memory); err != nil {
			return nil, err
		}
	}
	if o.Memory == nil {
		return read(o)
	}
	key, err := contentOf(o)
	if err != nil {
		return nil, err
	}
	return memory.Of(o.Memory, func() memory.Key { return key }, func() (*parcels.Site, int64, error) {
		o.Scanned = o.Scanned.own()
		s, err := read(o)
		// more than it takes, its layers being reckoned by themselves: a document that is
		// worked on is seldom asked for again, and is not to fill the memory
		return s, 6 * int64(len(data)), err
	})
}

// contentOf is the key of all that a site is read from.
func contentOf(o Options) (memory.Key, error) {
	h := memory.NewHash("document.Read")
	o.Scanned.hash(h)
	h.Count(o.Limits.Vertices).Count(o.Limits.AllVertices).Count(o.Limits.Properties)
	flags := 0
	if o.KeepGoing {
		flags |= 1
	}
	if o.Criteria != nil {
		flags |= 2
	}
	h.Count(flags)
	if o.Criteria != nil {
		c, err := json.Marshal(o.Criteria)
		if err != nil {
			return memory.Key{}, fmt.Errorf("document: criteria: %w", err)
		}
		h.Bytes(c)
		for _, k := range slices.Sorted(maps.Keys(o.CriteriaGiven)) {
			if o.CriteriaGiven[k] {
				h.Text(k)
			}
		}
	}
	return h.Key(), nil
}

func read(o Options) (*parcels.Site, error) {
	d, layers, err := open(o)
	if err != nil {
		return nil, err
	}
	d.s.Document = o.Scanned.Text
	if d.layers(layers); d.full || d.fatal {
		return nil, d.error(parcels.Invalid)
	}
	d.wholeShows(func() float64 { d.heights(); return d.middle() })
	if len(d.faults) > 0 {
		return nil, d.error(parcels.Invalid)
	}
	return d.s, nil
}

// open reads what stands beside the layers and cuts these out.
func open(o Options) (*siteReader, map[parcels.Layer]layerText, error) {
	r := &reader{limits: o.Limits}
	s := &parcels.Site{Supplied: map[parcels.Layer]bool{}, Unknown: map[string]json.RawMessage{}}
	d := &siteReader{reader: r, s: s, o: o}
	text, _ := o.Scanned.Trimmed()
	if kindOf(text.Text) != "object" {
		r.fault(parcels.Fault{Slug: "not-geojson", Pointer: "", Detail: fmt.Sprintf("The document is a JSON %s, not an object. Give a site document or a FeatureCollection of parcels.", kindOf(text.Text))})
		return nil, nil, r.error(parcels.Invalid)
	}
	top, within := map[string][]byte{}, Cut{}
	text.Members(func(key string, v Cut, _ int) {
		top[key] = v.Text
		if key == "layers" {
			within = v
		}
	})
	layers := map[parcels.Layer]layerText{}
	switch t, hasLayers := top["type"], top["layers"] != nil; {
	case !hasLayers && t != nil:
		layers[parcels.LayerParcels] = layerText{text, ""}
		if raw, ok := top["crs"]; ok && kindOf(raw) == "text" {
			s.CRS = unquote(raw)
		}
		delete(top, "features")
		top = map[string][]byte{}
	case !hasLayers:
		r.fault(parcels.Fault{Slug: "not-geojson", Pointer: "", Detail: "The document has neither \"layers\" nor a GeoJSON \"type\". Give {\"layers\": {\"parcels\": {FeatureCollection}}} or a FeatureCollection of parcels."})
		return nil, nil, r.error(parcels.Invalid)
	case kindOf(top["layers"]) != "object":
		r.fault(parcels.Fault{Slug: "not-geojson", Pointer: "/layers", Detail: "The member \"layers\" is not an object. Give one FeatureCollection a layer."})
		return nil, nil, r.error(parcels.Invalid)
	default:
		within.Members(func(key string, v Cut, _ int) {
			if l := parcels.Layer(key); !slices.Contains(parcels.Layers, l) {
				s.Unknown["layers/"+key] = v.Text
			} else if !isNull(v.Text) {
				layers[l] = layerText{v, "/layers/" + escapePointer(key)}
			}
		})
	}
	for k, v := range top {
		if !reserved[k] {
			s.Unknown[k] = v
		}
	}
	if len(s.Unknown) > 0 {
		names := make([]string, 0, len(s.Unknown))
		for k := range s.Unknown {
			names = append(names, parcels.Excerpt(k))
		}
		sort.Strings(names)
		s.Findings = append(s.Findings, parcels.Finding{Code: "unknown_member", Severity: parcels.Note,
			Message: "Not read, handed back as given: " + strings.Join(names, ", ") + ". Check the spelling if one of these was meant to count."})
	}
	d.top = top
	d.settings()
	if _, ok := layers[parcels.LayerParcels]; !ok {
		r.fault(parcels.Fault{Slug: "no-parcels", Pointer: "/layers/parcels", Detail: "The document has no layer parcels. Give the lots as a FeatureCollection of polygons in \"layers\": {\"parcels\": ...}."})
		return nil, nil, r.error(parcels.Invalid)
	}
	return d, layers, nil
}

// wholeShows adds what only a look at all features shows; middle gives the middle of
// the site's heights.
func (d *siteReader) wholeShows(middle func() float64) {
	if d.reversed > 0 {
		d.s.Findings = append(d.s.Findings, parcels.Finding{Code: "rings_reversed", Severity: parcels.Note,
			Message: fmt.Sprintf("%d rings ran against the right-hand rule of RFC 7946 and were turned; no line moved.", d.reversed)})
	}
	d.sentinels(middle)
	d.suppliedLayers()
}

func (r *reader) error(k parcels.Kind) error {
	for _, f := range r.faults {
		if f.Slug == "too-many-vertices" {
			k = parcels.Invalid
		}
	}
	return &parcels.InputError{Kind: k, Faults: r.faults}
}

type siteReader struct {
	*reader
	s     *parcels.Site
	o     Options
	top   map[string][]byte
	fatal bool
	// reversed counts rings that ran the other way than RFC 7946 asks.
	reversed int
	names    map[nameKey]int // "lot 12" and the like -> feature
	named    []nameKey       // those, as they came
	zUnit    float64
	info     frame.Info
	shift    float64 // of the current layer's elevations to the site's datum
	// levels are elevations that may be placeholders, checked at the end against
	// the middle of the ground's heights, or of the sound levels themselves.
	levels  []level
	ground  []float64
	sound   []float64
	utility bool // an obstacle is one
	// renamed: a feature has another name than it would have by itself.
	renamed bool
	// part: features that have been read once before (see Pieces).
	part bool
}

// level is an elevation to look at once the site's range is known.
type level struct {
	raw    float64 // as given, in its own unit
	value  float64 // metres
	clear  func()
	what   string
	layer  parcels.Layer
	common parcels.Common
	ground bool
}

func (d *siteReader) settings() {
	s := d.s
	m := map[string]json.RawMessage{}
	for k, v := range d.top {
		m[k] = v
	}
	q := props{r: d.reader, p: place{feature: -1, ring: -1, vertex: -1}, m: m, site: s}
	s.Name = q.text("site")
	if s.CRS == "" {
		s.CRS = q.text("crs")
	}
	s.VerticalDatum = q.text("vertical_datum")
	s.Benchmark = q.text("benchmark")
	s.Origin = parcels.Origin(q.one("origin", "", "measured", "mapped", "assumed"))
	s.Terrain = q.text("terrain")
	d.zUnit = 1
	switch u := q.one("elevation_unit", "", "m", "ft", "us_ft"); u {
	case "ft":
		d.zUnit = foot
	case "us_ft":
		d.zUnit = float64(unit.SurveyFoot)
	case "":
		d.s.Assumptions = append(d.s.Assumptions, "elevation_unit is not given: elevations in z are taken in metres.")
	}
	if s.VerticalDatum == "" {
		s.Assumptions = append(s.Assumptions, "vertical_datum is not given: every elevation is taken to be on one datum.")
	}
	base := parcels.DefaultCriteria()
	given := map[string]bool{}
	if d.o.Criteria != nil {
		base = *d.o.Criteria
		given = copyFlags(d.o.CriteriaGiven)
	}
	s.Criteria = base
	if raw := d.top["criteria"]; raw != nil && !isNull(raw) {
		c, keys, faults := mergeCriteria(raw, base, "/criteria")
		for _, f := range faults {
			d.fault(f)
		}
		s.Criteria = c
		for k := range keys {
			given[k] = true
		}
	}
	s.Assumptions = append(s.Assumptions, d.criteriaAssumptions(given)...)
	d.rainfall()
	d.soil()
}

func copyFlags(m map[string]bool) map[string]bool {
	out := map[string]bool{}
	for k, v := range m {
		out[k] = v
	}
	return out
}

// object returns a reader of the members of an object at a pointer.
func (d *siteReader) object(raw []byte, pointer string, known ...string) (props, bool) {
	if kindOf(raw) != "object" {
		d.fault(parcels.Fault{Slug: "property-invalid", Pointer: pointer, Detail: fmt.Sprintf("The member %s is %s, not an object.", pointer, kindOf(raw))})
		return props{}, false
	}
	m := map[string]json.RawMessage{}
	for _, x := range members(raw) {
		m[x.key] = x.raw
		ok := false
		for _, k := range known {
			ok = ok || k == x.key
		}
		if !ok {
			d.s.Findings = append(d.s.Findings, parcels.Finding{Code: "unknown_member", Severity: parcels.Note,
				Message: fmt.Sprintf("Not read: %s/%s. Check the spelling if it was meant to count.", pointer, parcels.Excerpt(x.key))})
		}
	}
	return props{r: d.reader, p: place{feature: -1, pointer: pointer, ring: -1, vertex: -1}, m: m, site: d.s}, true
}

// rainfall reads the rainfall, or takes it from memory where its text was read before
// and nothing was to be told of it.
func (d *siteReader) rainfall() {
	raw := d.top["rainfall"]
	if isNull(raw) {
		return
	}
	told, findings := d.told, len(d.s.Findings)
	d.s.Rain, _ = memory.Of(d.o.Memory, func() memory.Key { return memory.NewHash("document.rainfall").Bytes(raw).Key() }, func() (*parcels.Rainfall, int64, error) {
		rain := d.readRainfall(raw)
		if d.told > told || len(d.s.Findings) > findings {
			return rain, 0, errFaulty
		}
		return rain, 2 * int64(len(raw)), nil
	})
}

// readRainfall gives nil where a fault says why.
func (d *siteReader) readRainfall(raw []byte) *parcels.Rainfall {
	q, ok := d.object(raw, "/rainfall", "intensity_mmh", "intensity_inh", "duration_min", "return_years", "table", "curve", "origin", "source", "series", "note")
	if !ok {
		return nil
	}
	rain := &parcels.Rainfall{Intensity: q.rate("intensity")}
	rain.Duration = as[hydro.Duration](q.number("duration_min", 0.1, 1e5))
	rain.Return = as[hydro.ReturnPeriod](q.number("return_years", 0.1, 1e5))
	if t := q.m["table"]; !isNull(t) {
		if kindOf(t) != "array" {
			q.wrong("table", "an array of rows")
			return nil
		}
		each(t, func(i int, e []byte) bool {
			rq, ok := d.object(e, fmt.Sprintf("/rainfall/table/%d", i), "duration_min", "return_years", "depth_mm", "depth_in", "intensity_mmh", "intensity_inh")
			if !ok {
				return true
			}
			dur := rq.number("duration_min", 0.1, 1e6)
			ret := rq.number("return_years", 0.1, 1e5)
			depth := rq.quantity("depth", 0, 5000, form{"_mm", 1}, form{"_in", 25.4})
			rate := rq.rate("intensity")
			if dur == nil || ret == nil || (depth == nil) == (rate == nil) {
				d.fault(parcels.Fault{Slug: "property-invalid", Pointer: rq.p.pointer, Detail: fmt.Sprintf("Row %d of the rainfall table needs duration_min, return_years and one of depth_mm and intensity_mmh.", i)})
				return true
			}
			row := parcels.RainRow{Duration: hydro.Duration(*dur), Return: hydro.ReturnPeriod(*ret)}
			if depth != nil {
				row.DepthMM = *depth
			} else {
				row.DepthMM = float64(*rate) * *dur / 60
			}
			rain.Table = append(rain.Table, row)
			return true
		})
	}
	if c := q.m["curve"]; !isNull(c) {
		if cq, ok := d.object(c, "/rainfall/curve", "a", "b", "c"); ok {
			a, b, e := cq.number("a", 0, 1e6), cq.number("b", 0, 1e4), cq.number("c", 0, 5)
			if a == nil || b == nil || e == nil {
				d.fault(parcels.Fault{Slug: "property-invalid", Pointer: "/rainfall/curve", Detail: "The rainfall curve i = a/(t+b)^c needs a, b and c."})
			} else {
				rain.Curve = &struct{ A, B, C float64 }{*a, *b, *e}
			}
		}
	}
	n := 0
	for _, have := range []bool{rain.Intensity != nil, len(rain.Table) > 0, rain.Curve != nil} {
		if have {
			n++
		}
	}
	if n != 1 {
		d.fault(parcels.Fault{Slug: "property-invalid", Pointer: "/rainfall", Detail: "The rainfall needs exactly one of intensity_mmh, table and curve."})
		return nil
	}
	return rain
}

func (d *siteReader) soil() {
	raw := d.top["soil"]
	if isNull(raw) {
		return
	}
	q, ok := d.object(raw, "/soil", "texture", "conductivity_mh", "conductivity_inh", "infiltration_mmh", "infiltration_inh", "water_table_depth_m", "water_table_depth_ft", "origin", "source", "note")
	if !ok {
		return
	}
	d.s.Soil = &parcels.Soil{
		Texture:        q.text("texture"),
		ConductivityMH: q.quantity("conductivity", 0, 1000, form{"_mh", 1}, form{"_inh", 0.0254}),
		InfiltrationMM: q.rate("infiltration"),
		WaterTable:     q.length("water_table_depth", 1000),
	}
}

// layers reads parcels first, because the frame stands on them, then the rest.
func (d *siteReader) layers(texts map[parcels.Layer]layerText) {
	s := d.s
	pt := texts[parcels.LayerParcels]
	d.layer, d.base = "parcels", pt.base
	if pt.base == "" {
		d.layer = ""
	}
	col := d.kept(parcels.LayerParcels, pt)
	s.Supplied[parcels.LayerParcels] = true
	given, ok := d.system(col.CRS)
	if !ok {
		d.fatal = true
		return
	}
	info := d.info
	features := d.inRange(col.Features, info, given)
	if len(features) == 0 {
		if len(d.faults) == 0 {
			d.fault(parcels.Fault{Slug: "no-parcels", Pointer: d.base + "/features", Detail: "The layer parcels has no lots. Give at least one polygon."})
		}
		d.fatal = true // nothing to go on with: the faults are the answer
		return
	}
	b := features[0].Geometry.Bound()
	for _, f := range features {
		b = b.Union(f.Geometry.Bound())
	}
	if !d.over(b) {
		d.fatal = true
		return
	}
	d.areaOfUse(features)
	d.taken(parcels.LayerParcels, pt, b, given, func() { d.take(parcels.LayerParcels, pt, features, s.Frame.Plane) })
	for _, l := range parcels.Layers[1:] {
		t, ok := texts[l]
		if !ok {
			continue
		}
		s.Supplied[l] = true
		d.layer, d.base = string(l), t.base
		d.taken(l, t, b, given, func() { d.further(l, t, given) })
		if d.full {
			return
		}
	}
	d.layer = ""
}

// further reads a layer beside the parcels.
func (d *siteReader) further(l parcels.Layer, t layerText, given bool) {
	s := d.s
	col := d.kept(l, t)
	plane, info := s.Frame.Plane, d.info
	if col.CRS != "" && !sameSystem(col.CRS, s.CRS) {
		li, err := frame.Lookup(col.CRS)
		if err != nil {
			return // crsMember has said so
		}
		info, given = li, true
		to, err := s.Frame.From(col.CRS)
		if err != nil {
			d.fault(parcels.Fault{Slug: "crs-unknown", Pointer: t.base + "/crs", Detail: "The layer's reference system cannot be used: " + err.Error() + "."})
			return
		}
		plane = to
		s.Findings = append(s.Findings, parcels.Finding{Code: "layer_reprojected", Severity: parcels.Note,
			Message: fmt.Sprintf("The layer %s is in %s and was brought into the site's plane; between datums such a shift is good to some metres only.", l, col.CRS)})
	}
	d.take(l, t, d.inRange(col.Features, info, given), plane)
}

// system settles the reference system of the site, own being what the parcels
// say of themselves; given says that one of the two named it.
func (d *siteReader) system(own string) (given, ok bool) {
	s := d.s
	crs := s.CRS
	given = crs != ""
	if own != "" {
		if given && !sameSystem(crs, own) {
			d.fault(parcels.Fault{Slug: "crs-conflict", Pointer: d.base + "/crs", Detail: fmt.Sprintf("The parcels say they are in %s, the document says %s. Make them agree.", own, parcels.Excerpt(crs))})
			return given, false
		}
		crs, given = own, true
	}
	info, err := frame.Lookup(crs)
	if err != nil {
		d.fault(parcels.Fault{Slug: "crs-unknown", Pointer: "/crs", Detail: fmt.Sprintf("The reference system %q is not known. Give a code of the form EPSG:NNNN of a projected system, or leave it out for longitude, latitude.", parcels.Excerpt(crs))})
		return given, false
	}
	s.CRS, d.info = info.Code, info
	if info.Geographic {
		s.CRS = ""
	}
	if !given {
		s.Assumptions = append(s.Assumptions, "crs is not given: coordinates are longitude, latitude on WGS 84.")
	}
	return given, true
}

// sameSystem says whether two names are of one system. Longitudes and latitudes of
// whatever datum are: they are taken as they stand, as on WGS 84.
func sameSystem(a, b string) bool {
	if frame.Normalise(a) == frame.Normalise(b) {
		return true
	}
	ia, errA := frame.Lookup(a)
	ib, errB := frame.Lookup(b)
	return errA == nil && errB == nil && ia.Geographic && ib.Geographic
}

// over lays the site's plane over the bounds of its parcels.
func (d *siteReader) over(b orb.Bound) bool {
	f, err := frameOf(d.info.Code, b)
	if err != nil {
		d.fault(parcels.Fault{Slug: "crs-unknown", Pointer: "/crs", Detail: "The reference system cannot be used: " + err.Error() + "."})
		return false
	}
	d.s.Frame = f
	return true
}

// keepGoing turns the faults so far into findings, where they may be such.
func (d *siteReader) keepGoing() {
	if !d.o.KeepGoing || d.whole {
		return
	}
	for _, f := range d.faults {
		loc := ""
		if f.Feature != nil {
			loc = fmt.Sprintf("#%d", *f.Feature)
		}
		if id, ok := f.ID.(json.RawMessage); ok {
			loc = Feature{ID: id}.IDText()
		}
		// A refused lot stops that lot; a refused thing leaves the others unproven.
		finding := parcels.Finding{Code: "feature_refused", Severity: parcels.Stop, Message: f.Detail, Lot: lotOf(d.layer, loc), Feature: loc, Source: f.Slug}
		if finding.Lot == "" {
			finding.Severity, finding.NotProven, finding.Cure = parcels.Warn, true, "Correct feature "+loc+" of the layer "+d.layer+"."
		}
		d.s.Findings = append(d.s.Findings, finding)
	}
	d.faults = nil
}

func lotOf(layer, id string) string {
	if layer == "" || layer == "parcels" {
		return id
	}
	return ""
}

// inRange drops features whose coordinates their system cannot hold, each with
// its fault.
func (d *siteReader) inRange(fs []Feature, info frame.Info, given bool) []Feature {
	out, degrees := d.holds(fs, info, given)
	if degrees && len(out) > 0 {
		d.fault(d.readsAsDegrees(out[0], info))
		return nil
	}
	return out
}

// holds drops features whose coordinates their system cannot hold; degrees says
// that all that are left read as degrees in a system of metres or feet.
func (d *siteReader) holds(fs []Feature, info frame.Info, given bool) (out []Feature, degrees bool) {
	degrees = !info.Geographic
	for _, f := range fs {
		slug, detail, path, v, at := outOfRange(info, given, f.Geometry)
		if slug == "" && info.Geographic {
			slug, detail, path, v, at = antimeridian(f.Geometry)
		}
		if slug != "" {
			p := place{feature: f.Index, id: f.ID, pointer: featurePointer(d.base, f.Index) + "/geometry/coordinates", ring: -1, vertex: -1}
			d.vertexFault(p, slug, path, v, at, detail)
			continue
		}
		b := f.Geometry.Bound()
		degrees = degrees && math.Abs(b.Min[0]) <= 180 && math.Abs(b.Max[0]) <= 180 && math.Abs(b.Min[1]) <= 90 && math.Abs(b.Max[1]) <= 90
		out = append(out, f)
	}
	return out, degrees
}

func (d *siteReader) readsAsDegrees(first Feature, info frame.Info) parcels.Fault {
	b := first.Geometry.Bound()
	f := place{feature: first.Index, id: first.ID, pointer: featurePointer(d.base, first.Index) + "/geometry/coordinates", ring: -1, vertex: -1}.fault("crs-units-mismatch",
		fmt.Sprintf(" spans %.6g, %.6g to %.6g, %.6g, which reads as degrees where %s is in metres or feet. Leave the crs out for longitude, latitude, or give coordinates in it.", b.Min[0], b.Min[1], b.Max[0], b.Max[1], info.Code))
	f.Actual = []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}
	return f
}

func (r *reader) vertexFault(p place, slug string, path []int, v int, at orb.Point, detail string) {
	for _, i := range path {
		p.pointer = fmt.Sprintf("%s/%d", p.pointer, i)
		p.ring = i
	}
	p.vertex = v
	if v >= 0 && slug != "crosses-antimeridian" { // that is a fault of the ring
		p.pointer = fmt.Sprintf("%s/%d", p.pointer, v)
	}
	f := p.fault(slug, fmt.Sprintf(", vertex %d (%g, %g) %s.", max(v, 0), at[0], at[1], detail))
	f.At = &[2]float64{at[0], at[1]}
	r.fault(f)
}

func antimeridian(g orb.Geometry) (slug, detail string, part []int, vertex int, at orb.Point) {
	var last orb.Point
	walk(g, func(path []int, i int, p orb.Point) bool {
		if i > 0 && math.Abs(p[0]-last[0]) > 180 {
			slug, detail = "crosses-antimeridian", "lies across the 180th meridian from the one before. Cut the shape there into two parts (RFC 7946, section 3.1.9)"
			part, vertex, at = append([]int(nil), path...), i, p
			return false
		}
		last = p
		return true
	})
	return
}

// areaOfUse refuses lots that lie outside the area a projected system is for.
func (d *siteReader) areaOfUse(fs []Feature) {
	if d.info.Geographic {
		return
	}
	const slack = 1.0 // degrees
	for _, f := range fs {
		c := f.Geometry.Bound().Center()
		ll := d.s.Frame.LonLat(d.s.Frame.Plane(c))
		if ll[0] >= d.info.West-slack && ll[0] <= d.info.East+slack && ll[1] >= d.info.South-slack && ll[1] <= d.info.North+slack {
			continue
		}
		p := place{feature: f.Index, id: f.ID, pointer: featurePointer(d.base, f.Index) + "/geometry/coordinates", ring: -1, vertex: -1}
		ft := p.fault("coordinate-out-of-range", fmt.Sprintf(" lies at longitude %.3f, latitude %.3f, outside the area that %s is for (%.2f, %.2f to %.2f, %.2f). Check the crs and the order easting, northing.", ll[0], ll[1], d.info.Code, d.info.West, d.info.South, d.info.East, d.info.North))
		ft.Limit = []float64{d.info.West, d.info.South, d.info.East, d.info.North}
		d.fault(ft)
	}
}

// shapeFault turns what geo/shape says of a geometry into a fault of the
// feature; multi says that pointers count parts.
func shapeFault(p place, multi bool, e *shape.InvalidError, back func(orb.Point) orb.Point) parcels.Fault {
	switch {
	case e.Rule == shape.RulePartsOverlap:
		part := e.Part
		if e.Other != nil { // the later of the two is the one to look at
			part = max(part, e.Other.Part)
		}
		p.pointer = fmt.Sprintf("%s/%d", p.pointer, part)
	case multi:
		p.pointer = fmt.Sprintf("%s/%d/%d", p.pointer, e.Part, e.Ring)
	default:
		p.pointer = fmt.Sprintf("%s/%d", p.pointer, e.Ring)
	}
	p.ring = e.Ring
	if e.Rule == shape.RuleRingNotClosed || e.Rule == shape.RuleNotFinite {
		p.vertex = e.Vertex
	}
	detail := fmt.Sprintf(", part %d, ring %d: %s", e.Part, e.Ring, strings.TrimSuffix(e.Detail, "."))
	f := p.fault(string(e.Rule), detail)
	if e.At != nil {
		at := back(*e.At)
		f.At = &[2]float64{at[0], at[1]}
		f.Detail += fmt.Sprintf(" (near %.9g, %.9g)", at[0], at[1])
	}
	f.Detail += "."
	return f
}
