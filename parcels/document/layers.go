package document

// One reader a layer: features into the domain's words. A new layer kind is
// one entry in layerTypes and one case here.

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
)

const (
	point        = "Point"
	line         = "LineString"
	polygon      = "Polygon"
	multiPolygon = "MultiPolygon"
)

// layerTypes says which geometry types each layer takes.
var layerTypes = map[parcels.Layer][]string{
	parcels.LayerParcels:        {polygon, multiPolygon},
	parcels.LayerStreets:        {polygon, multiPolygon, line},
	parcels.LayerDistricts:      {polygon, multiPolygon},
	parcels.LayerBuildings:      {polygon, multiPolygon},
	parcels.LayerOpenings:       {point},
	parcels.LayerEasements:      {polygon, multiPolygon, line},
	parcels.LayerSwales:         {line},
	parcels.LayerInlets:         {point},
	parcels.LayerOutlets:        {point},
	parcels.LayerIntakes:        {point},
	parcels.LayerPerforatedRuns: {line},
	parcels.LayerObstacles:      {point, line, polygon, multiPolygon},
	parcels.LayerDrains:         {line},
	parcels.LayerSpots:          {point},
	parcels.LayerContours:       {line},
	parcels.LayerBreaklines:     {line},
}

// GeometryTypes says which geometry types a layer takes, nil for a layer that
// is not read.
func GeometryTypes(l parcels.Layer) []string { return slices.Clone(layerTypes[l]) }

// take checks the features' shapes in the plane and hands each to its layer.
func (d *siteReader) take(l parcels.Layer, t layerText, fs []Feature, plane func(orb.Point) orb.Point) {
	origin := d.beside(l, t)
	ids := map[string]int{}
	for _, f := range fs {
		d.feature(l, f, origin, ids, plane)
	}
	if len(d.faults) > 0 {
		d.keepGoing()
	}
}

// beside reads what stands beside the features of a layer: its own datum, and
// its origin, which it gives.
func (d *siteReader) beside(l parcels.Layer, t layerText) parcels.Origin {
	m := map[string]json.RawMessage{}
	t.Members(func(key string, v Cut, _ int) {
		switch key {
		case "origin", "vertical_datum", "vertical_shift_m", "vertical_shift_ft":
			m[key] = v.Text
		}
	})
	q := props{r: d.reader, p: place{feature: -1, pointer: d.base, ring: -1, vertex: -1}, m: m, site: d.s}
	origin, datum := parcels.Origin(q.one("origin", "", "measured", "mapped", "assumed")), q.text("vertical_datum")
	shift := q.quantity("vertical_shift", -mostShift, mostShift, form{"_m", 1}, form{"_ft", foot})
	d.shift = 0
	if shift != nil {
		d.shift = *shift
	}
	if datum != "" && datum != d.s.VerticalDatum && shift == nil {
		d.fault(parcels.Fault{Slug: "vertical-datum-conflict", Pointer: d.base + "/vertical_datum",
			Detail: fmt.Sprintf("The layer %s is on the vertical datum %q, the site on %q. Give vertical_shift_m (what to add to the layer's elevations), measured at a common point.", l, parcels.Excerpt(datum), parcels.Excerpt(d.s.VerticalDatum))})
	}
	return origin
}

// mostShift is the most that two vertical datums stand apart, metres: more is a slip.
const mostShift = 500

// feature takes one feature of a layer; ids are those of the features before it.
func (d *siteReader) feature(l parcels.Layer, f Feature, origin parcels.Origin, ids map[string]int, plane func(orb.Point) orb.Point) {
	before := len(d.faults)
	p := place{feature: f.Index, id: f.ID, pointer: featurePointer(d.base, f.Index), ring: -1, vertex: -1}
	if len(f.ID) > 0 && !d.part {
		id := f.IDText()
		if first, ok := ids[id]; ok {
			ft := p.fault("duplicate-id", fmt.Sprintf(" has the id of feature %d. Give each feature its own id.", first))
			ft.First = &first
			d.fault(ft)
			return
		}
		ids[id] = f.Index
	}
	g := mapPoints(f.Geometry, plane)
	if !d.part {
		gp := p
		gp.pointer += "/geometry/coordinates"
		if !d.valid(g, gp) {
			return
		}
	}
	c := parcels.Common{Index: f.Index, FeatureID: f.IDText(), Origin: origin, Properties: f.Properties}
	q := props{r: d.reader, p: p, m: f.Properties, site: d.s}
	q.p.pointer += "/properties"
	if o := q.one("origin", string(origin), "measured", "mapped", "assumed"); o != "" {
		c.Origin = parcels.Origin(o)
	} else if d.s.Origin != "" {
		c.Origin = d.s.Origin
	}
	if len(d.faults) == before {
		d.one(l, f, g, c, q)
	}
}

func hasMember(raw []byte, key string) bool {
	for _, m := range members(raw) {
		if m.key == key {
			return true
		}
	}
	return false
}

// valid reports every fault of a shape.
func (d *siteReader) valid(g orb.Geometry, p place) bool {
	_, multi := g.(orb.MultiPolygon)
	faults := shape.Check(g)
	for _, e := range faults {
		d.fault(shapeFault(p, multi, e, d.s.Frame.Document))
	}
	return len(faults) == 0
}

// tidy orients the rings of a valid polygon and drops repeated vertices, and
// notes what it did.
func (d *siteReader) tidy(g orb.Geometry, q props) orb.MultiPolygon {
	return d.clean(g, q).Shape
}

func (d *siteReader) clean(g orb.Geometry, q props) shape.Cleaned {
	var mp orb.MultiPolygon
	switch g := g.(type) {
	case orb.Polygon:
		mp = orb.MultiPolygon{g}
	case orb.MultiPolygon:
		mp = g
	}
	out, faults := shape.Clean(mp)
	for _, e := range faults {
		p := q.p
		p.pointer = strings.TrimSuffix(p.pointer, "/properties") + "/geometry/coordinates"
		_, multi := g.(orb.MultiPolygon)
		d.fault(shapeFault(p, multi, e, d.s.Frame.Document))
	}
	reversed, repeated := 0, 0
	for _, c := range out.Changes {
		if c.Kind == shape.RingReversed {
			reversed++
		} else {
			repeated++
		}
	}
	if repeated > 0 {
		d.s.Findings = append(d.s.Findings, parcels.Finding{Code: "shape_cleaned", Severity: parcels.Note, Feature: q.label(),
			Message: fmt.Sprintf("Layer %s: %s repeats %d positions within 1 mm; they count once.", d.layerName(), q.p.name(), repeated)})
	}
	d.reversed += reversed
	return out
}

func (d *siteReader) layerName() string {
	if d.layer == "" {
		return "parcels"
	}
	return d.layer
}

// label is how findings name a feature: its id, else its place in the file.
func (q props) label() string {
	if id := (Feature{ID: q.p.id}).IDText(); id != "" {
		return id
	}
	return fmt.Sprintf("#%d", q.p.feature)
}

// name gives an identifying property, else the feature's label.
func (q props) name(key string) string {
	if v := q.text(key); v != "" {
		return v
	}
	return q.label()
}

// nameKey stands for a name: 128 bits of its SHA-256, so that the names of a
// county take little room.
type nameKey [16]byte

func keyOf(noun, name string) nameKey {
	h := sha256.Sum256([]byte(noun + " " + name))
	return nameKey(h[:16])
}

// pointName gives the name of an intake, inlet or outlet. A plan names its points
// by them, so none of these may bear another's. Where two layers merely number their
// features alike and the name was not stated, the noun in front makes it one of its
// own; twice says that even so another bears it.
func (d *siteReader) pointName(q props, noun string, index int) (name string, twice bool) {
	name = q.name(noun)
	if _, borne := d.names[keyOf(pointNoun, name)]; borne && q.text(noun) == "" && d.pointLayer(name) != d.layer {
		name, d.renamed = noun+" "+name, true
	}
	return name, d.twice(q, noun, name, index)
}

// pointNoun stands for intake, inlet and outlet among the names.
const pointNoun = "point"

// pointLayer is the layer of the intake, inlet or outlet of a name.
func (d *siteReader) pointLayer(name string) string {
	switch {
	case slices.ContainsFunc(d.s.Inlets, func(v parcels.Inlet) bool { return v.ID == name }):
		return string(parcels.LayerInlets)
	case slices.ContainsFunc(d.s.Outlets, func(v parcels.Outlet) bool { return v.ID == name }):
		return string(parcels.LayerOutlets)
	}
	return string(parcels.LayerIntakes)
}

// twice faults a name that another feature of its kind bears already.
func (d *siteReader) twice(q props, noun, name string, index int) bool {
	if d.part {
		return false
	}
	if d.names == nil {
		d.names = map[nameKey]int{}
	}
	key, of := keyOf(noun, name), ""
	if noun != "lot" {
		key = keyOf(pointNoun, name)
	}
	first, ok := d.names[key]
	if !ok {
		d.names[key] = index
		d.named = append(d.named, key)
		return false
	}
	if noun != "lot" {
		if l := d.pointLayer(name); l != d.layer {
			of = " of the layer " + l
		}
	}
	ft := q.p.fault("duplicate-id", fmt.Sprintf(" is %s %q, which feature %d%s is already. Give each its own name.", noun, parcels.Excerpt(name), first, of))
	ft.First = &first
	if ft.ID == nil {
		ft.ID = name
	}
	d.fault(ft)
	return true
}

// z gives the elevations of a line's vertices in metres on the site's datum.
func (d *siteReader) z(f Feature) []unit.Elevation {
	if f.Z == nil {
		return nil
	}
	out := make([]unit.Elevation, len(f.Z))
	for i, z := range f.Z {
		out[i] = unit.Elevation(z*d.zUnit + d.shift)
	}
	return out
}

// elev reads an elevation property on the site's datum and remembers it for
// the look at placeholders. set puts it, or takes it away again.
func (d *siteReader) elev(q props, c parcels.Common, l parcels.Layer, stem string, set func(*unit.Elevation)) {
	v := q.elevation(stem)
	if v == nil {
		return
	}
	raw := float64(*v)
	e := unit.Elevation(raw + d.shift)
	set(&e)
	d.levels = append(d.levels, level{raw: raw, value: float64(e), clear: func() { set(nil) }, what: stem, layer: l, common: c})
}

func (d *siteReader) grate(q props) parcels.Grate {
	return parcels.Grate{Length: q.length("length", 10), Width: q.length("width", 10),
		OpenRatio: q.number("open_ratio", 0, 1), Clogging: q.number("clogging", 0, 1)}
}

func (d *siteReader) one(l parcels.Layer, f Feature, g orb.Geometry, c parcels.Common, q props) {
	s := d.s
	switch l {
	case parcels.LayerParcels:
		d.lot(g, c, q)
	case parcels.LayerStreets:
		s.Streets = append(s.Streets, parcels.Street{Common: c, Geometry: d.lineOrArea(g, q), Trench: parcels.TrenchRule(q.one("trench", "", "allowed", "permission", "forbidden"))})
	case parcels.LayerDistricts:
		s.Districts = append(s.Districts, parcels.District{Common: c, Shape: d.tidy(g, q), Criteria: f.Properties["criteria"]})
	case parcels.LayerBuildings:
		b := parcels.Building{Common: c, Lot: q.text("lot"), Shape: d.tidy(g, q), RoofArea: q.area("roof_area"), Roof: q.one("outline", "wall", "wall", "roof") == "roof",
			Overhang: 0.45, FootingDepth: q.length("footing_depth", 20)}
		if o := q.length("overhang", 5); o != nil {
			b.Overhang = *o
		}
		s.Buildings = append(s.Buildings, b)
	case parcels.LayerOpenings:
		o := parcels.Opening{Common: c, At: g.(orb.Point), Kind: q.one("kind", "window_well", "window_well", "sill", "door", "vent")}
		s.Openings = append(s.Openings, o)
		i := len(s.Openings) - 1
		d.elev(q, c, l, "level", func(e *unit.Elevation) { s.Openings[i].Level = e })
	case parcels.LayerEasements:
		e := parcels.Easement{Common: c, ID: q.name("easement"), Geometry: d.lineOrArea(g, q), Width: q.length("width", 500), Kind: q.one("kind", "other", "drainage", "utility", "access", "other")}
		def := "forbidden"
		if e.Kind == "drainage" || e.Kind == "utility" {
			def = "permission"
		}
		e.Trench = parcels.TrenchRule(q.one("trench", def, "allowed", "permission", "forbidden"))
		if !q.has("kind") {
			s.Assumptions = append(s.Assumptions, fmt.Sprintf("Easement %s has no kind: taken as other, where no trench may lie.", e.ID))
		}
		if _, isLine := g.(orb.LineString); isLine && e.Width == nil {
			q.r.fault(q.p.fault("property-invalid", " is a line without width_m. Give the width of the easement, or its area."))
		}
		s.Easements = append(s.Easements, e)
	case parcels.LayerSwales:
		w := parcels.Swale{Common: c, Line: g.(orb.LineString), Z: d.z(f), SideSlope: q.number("side_slope", 0, 100), BottomWidth: q.length("bottom_width", 100),
			Depth: q.length("depth", 20), N: as[hydro.Roughness](q.number("n", 0.005, 1)), MayDischarge: q.flag("may_discharge"), MaintainedBy: q.text("maintained_by")}
		if w.Z == nil {
			up, down := q.elevation("invert_up"), q.elevation("invert_down")
			if up != nil && down != nil {
				w.Z = between(w.Line, *up+unit.Elevation(d.shift), *down+unit.Elevation(d.shift))
			}
		}
		s.Swales = append(s.Swales, w)
	case parcels.LayerInlets:
		d.inlet(g, c, q)
	case parcels.LayerOutlets:
		id, twice := d.pointName(q, "outlet", c.Index)
		if twice {
			return
		}
		o := parcels.Outlet{Common: c, ID: id, At: g.(orb.Point), Kind: q.one("kind", "daylight", "daylight", "emitter", "dry_well", "curb_core"),
			RiserDiameter: q.size("riser_diameter", 2), OpeningHead: q.length("opening_head", 2), Weep: q.flag("weep")}
		s.Outlets = append(s.Outlets, o)
		i := len(s.Outlets) - 1
		d.elev(q, c, l, "level", func(e *unit.Elevation) { s.Outlets[i].Level = e })
	case parcels.LayerIntakes:
		id, twice := d.pointName(q, "intake", c.Index)
		if twice {
			return
		}
		in := parcels.Intake{Common: c, ID: id, Lot: q.text("lot"), At: g.(orb.Point),
			Kind:     q.one("kind", "yard_basin", "downspout", "yard_basin", "channel_drain", "window_well", "stair_well", "sump"),
			RoofArea: q.area("roof_area"), RoofC: q.number("roof_c", 0, 1), YardArea: q.area("yard_area"), YardC: q.number("yard_c", 0, 1),
			Tc: as[hydro.Duration](q.number("tc_min", 0, 1440)), Flow: as[hydro.Flow](q.quantity("flow", 0, 100, form{"_m3s", 1}, form{"_cfs", foot * foot * foot}, form{"_gpm", 0.003785411784 / 60})),
			StartCover: q.length("start_cover", 5), Grate: d.grate(q)}
		if !q.has("kind") {
			s.Assumptions = append(s.Assumptions, fmt.Sprintf("Intake %s has no kind: taken as yard_basin.", in.ID))
		}
		s.Intakes = append(s.Intakes, in)
		i := len(s.Intakes) - 1
		d.elev(q, c, l, "rim", func(e *unit.Elevation) { s.Intakes[i].Rim = e })
		d.elev(q, c, l, "invert", func(e *unit.Elevation) { s.Intakes[i].Invert = e })
	case parcels.LayerPerforatedRuns:
		n := 1
		if v := q.number("pipe_count", 1, 2); v != nil {
			n = int(*v)
		}
		s.PerforatedRuns = append(s.PerforatedRuns, parcels.PerforatedRun{Common: c, ID: q.name("run"), Lot: q.text("lot"), Line: g.(orb.LineString), PipeCount: n, Width: q.length("width", 5), Depth: q.length("depth", 5)})
	case parcels.LayerObstacles:
		d.obstacle(g, c, q)
	case parcels.LayerDrains:
		dr := parcels.Drain{Common: c, ID: q.name("drain"), Lot: q.text("lot"), Line: g.(orb.LineString), Z: d.z(f),
			Status: parcels.DrainStatus(q.one("status", "proposed", "existing", "proposed", "laid")), Keep: q.flag("keep"),
			Diameter: q.size("diameter", 5), Pipe: q.one("pipe", "", "solid", "perforated"), N: as[hydro.Roughness](q.number("n", 0.005, 0.2)),
			Flow:   as[hydro.Flow](q.quantity("flow", 0, 100, form{"_m3s", 1}, form{"_cfs", foot * foot * foot}, form{"_gpm", 0.003785411784 / 60})),
			Intake: as[hydro.Flow](q.quantity("intake_flow", 0, 100, form{"_m3s", 1}, form{"_cfs", foot * foot * foot}, form{"_gpm", 0.003785411784 / 60})),
			End:    q.one("end", "", "open", "not_found")}
		s.Drains = append(s.Drains, dr)
		i := len(s.Drains) - 1
		d.elev(q, c, l, "outlet_level", func(e *unit.Elevation) { s.Drains[i].OutletLevel = e })
		d.elev(q, c, l, "invert_up", func(e *unit.Elevation) { s.Drains[i].InvertUp = e })
		d.elev(q, c, l, "invert_down", func(e *unit.Elevation) { s.Drains[i].InvertDown = e })
	case parcels.LayerSpots:
		z := d.z(f)
		if z == nil {
			if v := q.elevation("elevation"); v != nil {
				z = []unit.Elevation{*v + unit.Elevation(d.shift)}
			}
		}
		if z == nil {
			d.fault(q.p.fault("elevation-missing", " is a spot without an elevation. Give it as the third coordinate or as elevation_m."))
			return
		}
		s.Spots = append(s.Spots, parcels.Spot{Common: c, At: g.(orb.Point), Z: z[0], Description: q.text("description")})
	case parcels.LayerContours, parcels.LayerBreaklines:
		ln := parcels.GroundLine{Common: c, Line: g.(orb.LineString), Z: d.z(f)}
		if ln.Z == nil {
			if v := q.elevation("elevation"); v != nil {
				ln.Z = make([]unit.Elevation, len(ln.Line))
				for i := range ln.Z {
					ln.Z[i] = *v + unit.Elevation(d.shift)
				}
			}
		}
		if l == parcels.LayerContours {
			if ln.Z == nil {
				d.fault(q.p.fault("elevation-missing", " is a contour without an elevation. Give elevation_m."))
				return
			}
			s.Contours = append(s.Contours, ln)
		} else {
			s.Breaklines = append(s.Breaklines, ln)
		}
	}
}

// between spreads two end elevations along a line by its length.
func between(l orb.LineString, up, down unit.Elevation) []unit.Elevation {
	total := float64(shape.Length(l))
	out := make([]unit.Elevation, len(l))
	run := 0.0
	for i := range l {
		if i > 0 {
			run += math.Hypot(l[i][0]-l[i-1][0], l[i][1]-l[i-1][1])
		}
		out[i] = up
		if total > 0 {
			out[i] = up + (down-up)*unit.Elevation(run/total)
		}
	}
	return out
}

func (d *siteReader) lineOrArea(g orb.Geometry, q props) orb.Geometry {
	if _, ok := g.(orb.LineString); ok {
		return g
	}
	return d.tidy(g, q)
}

func (d *siteReader) lot(g orb.Geometry, c parcels.Common, q props) {
	s := d.s
	cleaned := d.clean(g, q)
	if len(cleaned.Shape) == 0 {
		return // faults said why
	}
	lot := parcels.Lot{Common: c, Shape: cleaned.Shape}
	switch {
	case q.text("lot") != "":
		lot.ID = q.text("lot")
	case c.FeatureID != "":
		lot.ID = c.FeatureID
	default:
		lot.ID = fmt.Sprintf("#%d", c.Index)
	}
	if d.twice(q, "lot", lot.ID, c.Index) {
		return
	}
	lot.Clearance = q.length("clearance", 1000)
	// Roles and sources are given for the edges as drawn; cleaning says which of
	// them each edge now is.
	edge := cleaned.Edge[0][0]
	drawn := len(firstRing(g)) - 1
	if roles := d.list(q, "line_roles", drawn, "front", "side", "rear"); roles != nil {
		lot.Roles = carry(edge, roles, func(v string) parcels.LineRole { return parcels.LineRole(v) })
	}
	if src := d.list(q, "line_source", drawn, "survey", "pins", "gis"); src != nil {
		lot.LineSources = carry(edge, src, func(v string) parcels.LineSource { return parcels.LineSource(v) })
	}
	if q.has("line_sd_m") {
		raw := q.m["line_sd_m"]
		var sds []string
		if kindOf(raw) == "array" {
			each(raw, func(_ int, e []byte) bool { sds = append(sds, string(e)); return true })
		} else {
			sds = slices.Repeat([]string{string(raw)}, drawn)
		}
		if len(sds) != drawn {
			q.wrong("line_sd_m", fmt.Sprintf("one number, or %d, one an edge", drawn))
			return
		}
		lot.LineSDs = carry(edge, sds, func(v string) unit.Length {
			x, ok, _ := number([]byte(v))
			if !ok || x < 0 || x > 100 {
				q.wrong("line_sd_m", "numbers of metres from 0 to 100")
			}
			return unit.Length(x)
		})
	}
	s.Lots = append(s.Lots, lot)
}

func firstRing(g orb.Geometry) orb.Ring {
	switch g := g.(type) {
	case orb.Polygon:
		return g[0]
	case orb.MultiPolygon:
		return g[0][0]
	}
	return nil
}

// list reads a text, or an array with one text an edge.
func (d *siteReader) list(q props, key string, n int, allowed ...string) []string {
	if !q.has(key) {
		return nil
	}
	raw := q.m[key]
	if kindOf(raw) == "text" {
		v := q.one(key, "", allowed...)
		if v == "" {
			return nil
		}
		return slices.Repeat([]string{v}, n)
	}
	var out []string
	ok := kindOf(raw) == "array"
	if ok {
		each(raw, func(_ int, e []byte) bool {
			v := ""
			if kindOf(e) == "text" {
				v = unquote(e)
			}
			ok = ok && slices.Contains(allowed, v)
			out = append(out, v)
			return true
		})
	}
	if !ok || len(out) != n {
		q.wrong(key, fmt.Sprintf("%d entries (one an edge of the outer ring, as drawn), each one of %v", n, allowed))
		return nil
	}
	return out
}

// carry brings a value an edge as drawn to the edges as cleaned.
func carry[T any](edge []int, values []string, conv func(string) T) []T {
	out := make([]T, len(edge))
	for i, e := range edge {
		out[i] = conv(values[e])
	}
	return out
}

func (d *siteReader) inlet(g orb.Geometry, c parcels.Common, q props) {
	s := d.s
	id, twice := d.pointName(q, "inlet", c.Index)
	if twice {
		return
	}
	in := parcels.Inlet{Common: c, ID: id, At: g.(orb.Point), Kind: q.one("kind", "grate", "grate", "curb", "manhole"),
		System: parcels.System(q.one("system", "unknown", "storm", "combined", "sanitary", "unknown")), Owner: q.text("owner"),
		OutgoingDiameter: q.size("outgoing_diameter", 10), Sump: q.length("sump", 20), Grate: d.grate(q),
		FlowLimit: as[hydro.Flow](q.quantity("flow_limit", 0, 1000, form{"_m3s", 1}, form{"_cfs", foot * foot * foot}, form{"_gpm", 0.003785411784 / 60}))}
	s.Inlets = append(s.Inlets, in)
	i := len(s.Inlets) - 1
	l := parcels.LayerInlets
	d.elev(q, c, l, "rim", func(e *unit.Elevation) { s.Inlets[i].Rim = e })
	d.elev(q, c, l, "invert", func(e *unit.Elevation) { s.Inlets[i].Invert = e })
	d.elev(q, c, l, "tie_in", func(e *unit.Elevation) { s.Inlets[i].TieIn = e })
	dip := q.length("dip", 50)
	if dip != nil {
		switch rim := s.Inlets[i].Rim; {
		case s.Inlets[i].Invert != nil:
			q.wrong("dip_m", "either invert_m or dip_m, not both")
		case rim != nil:
			inv := rim.Plus(-*dip)
			s.Inlets[i].Invert = &inv
		default:
			s.Findings = append(s.Findings, parcels.Finding{Code: "dip_without_rim", Severity: parcels.Warn, Feature: in.ID, NotProven: true,
				Cure:    "Measure the rim of inlet " + in.ID + ".",
				Message: "Inlet " + in.ID + " has a dip but no rim, so its invert is unknown."})
		}
	}
	if q.has("tailwater_m") || q.has("tailwater_ft") {
		d.elev(q, c, l, "tailwater", func(e *unit.Elevation) { s.Inlets[i].Tailwater = e })
	}
	if raw := q.m["tailwater"]; !isNull(raw) {
		curve := func(raw []byte) []parcels.LevelAt {
			var out []parcels.LevelAt
			ok := kindOf(raw) == "array"
			if ok {
				each(raw, func(_ int, e []byte) bool {
					var v [2]float64
					n := 0
					if kindOf(e) == "array" {
						n = each(e, func(k int, x []byte) bool {
							f, good, _ := number(x)
							ok = ok && good
							if k < 2 {
								v[k] = f
							}
							return true
						})
					}
					ok = ok && n == 2 && (len(out) == 0 || v[0] > float64(out[len(out)-1].Minute))
					out = append(out, parcels.LevelAt{Minute: hydro.Duration(v[0]), Level: unit.Elevation(v[1] + d.shift)})
					return true
				})
			}
			if !ok || len(out) == 0 {
				q.wrong("tailwater", "[[minute, level_m], ...] with rising minutes, or an object of such by return period")
				return nil
			}
			return out
		}
		if kindOf(raw) == "object" {
			s.Inlets[i].TailwaterByReturn = map[hydro.ReturnPeriod][]parcels.LevelAt{}
			for _, m := range members(raw) {
				years, ok, _ := number([]byte(m.key))
				if !ok || years <= 0 {
					q.wrong("tailwater", "return periods in years as member names")
					continue
				}
				s.Inlets[i].TailwaterByReturn[hydro.ReturnPeriod(years)] = curve(m.raw)
			}
		} else {
			s.Inlets[i].TailwaterCurve = curve(raw)
		}
	}
	if !q.has("system") {
		s.Assumptions = append(s.Assumptions, fmt.Sprintf("Inlet %s has no system: unknown, so a tie-in there is not proven.", in.ID))
	}
}

// crossingDefault is what a trench may do at an obstacle when the input is
// silent (the contract, section 2).
func crossingDefault(kind string) string {
	switch kind {
	case "pool", "wall", "tree", "septic", "well":
		return "forbidden"
	case "paving":
		return "costly"
	}
	return "free"
}

func (d *siteReader) obstacle(g orb.Geometry, c parcels.Common, q props) {
	o := parcels.Obstacle{Common: c, ID: q.name("obstacle"), Geometry: g,
		Kind:   q.one("kind", "other", "tree", "utility", "irrigation", "paving", "wall", "fence", "shed", "pool", "septic", "well", "existing_drain", "other"),
		Radius: q.length("radius", 200), Width: q.length("width", 200), Trunk: q.size("trunk", 10),
		CrossingCostPerMetre: q.number("crossing_cost_per_m", 0, 1e9), Cover: q.length("cover", 50), KeepClear: q.length("keep_clear", 100),
		FenceBottom: q.one("bottom", "", "solid", "open"), Confidence: q.text("confidence")}
	if _, isPoly := g.(orb.Point); !isPoly {
		if _, isLine := g.(orb.LineString); !isLine {
			o.Geometry = d.tidy(g, q)
		}
	}
	o.Crossing = parcels.Crossing(q.one("crossing", crossingDefault(o.Kind), "free", "costly", "forbidden"))
	if _, isPoint := g.(orb.Point); isPoint && o.Radius == nil && o.Trunk == nil {
		if o.Kind == "tree" {
			q.r.fault(q.p.fault("property-invalid", " is a tree without radius_m (the whole root zone) or trunk_mm. Give one of them."))
			return
		}
		d.s.Assumptions = append(d.s.Assumptions, fmt.Sprintf("Obstacle %s is a point without radius_m: taken as having none.", o.ID))
	}
	d.s.Obstacles = append(d.s.Obstacles, o)
	i := len(d.s.Obstacles) - 1
	d.elev(q, c, parcels.LayerObstacles, "elevation", func(e *unit.Elevation) { d.s.Obstacles[i].Elevation = e })
}

// heights notes the heights of the ground that the site has.
func (d *siteReader) heights() {
	for _, sp := range d.s.Spots {
		if !IsSentinel(float64(sp.Z)) {
			d.ground = append(d.ground, float64(sp.Z))
		}
	}
	for _, ls := range [][]parcels.GroundLine{d.s.Contours, d.s.Breaklines} {
		for _, l := range ls {
			for _, z := range l.Z {
				d.ground = append(d.ground, float64(z))
			}
		}
	}
}

// middle is the middle of the ground's heights, or of the sound levels; NaN
// where nothing is known.
func (d *siteReader) middle() float64 {
	all := d.ground
	if len(all) == 0 {
		all = d.sound
		for _, l := range d.levels {
			if !IsSentinel(l.raw) {
				all = append(all, l.value)
			}
		}
	}
	if len(all) == 0 {
		return math.NaN()
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// sentinels takes away levels that cannot be meant: a number that exports
// write for "unknown", far from the site's own heights, whose middle is asked for
// where there is such a number.
func (d *siteReader) sentinels(middle func() float64) {
	const far = 20.0 // metres from the site's heights: no yard spans this
	middle = sync.OnceValue(middle)
	cannotBe := func(raw, value float64) bool {
		return IsSentinel(raw) && (math.IsNaN(middle()) || math.Abs(value-middle()) > far)
	}
	for _, l := range d.levels {
		if !cannotBe(l.raw, l.value) {
			continue
		}
		l.clear()
		name := l.common.FeatureID
		if name == "" {
			name = fmt.Sprintf("#%d", l.common.Index)
		}
		d.s.Findings = append(d.s.Findings, parcels.Finding{Code: "value_missing", Severity: parcels.Warn, Feature: name, Measured: parcels.Num(l.raw), Unit: "m",
			Message: fmt.Sprintf("Layer %s, feature %s: %s_m of %g cannot be meant and is taken as missing.", l.layer, name, l.what, l.raw), Source: "P-19, P-28",
			Cure: fmt.Sprintf("Measure %s of %s %s.", l.what, l.layer, name)})
	}
	out := func(sp parcels.Spot) bool {
		return IsSentinel(float64(sp.Z)/d.zUnit) && !math.IsNaN(middle()) && math.Abs(float64(sp.Z)-middle()) > far
	}
	if !slices.ContainsFunc(d.s.Spots, out) {
		return
	}
	kept := d.s.Spots[:0] // a layer with such a shot is not in memory
	for _, sp := range d.s.Spots {
		if raw := float64(sp.Z) / d.zUnit; out(sp) {
			d.s.Findings = append(d.s.Findings, parcels.Finding{Code: "value_missing", Severity: parcels.Warn, Feature: fmt.Sprintf("#%d", sp.Index), Measured: parcels.Num(raw),
				Message: fmt.Sprintf("Layer spots, feature %d: an elevation of %g cannot be meant; the shot is left out.", sp.Index, raw), Source: "P-19", Location: parcels.Num(sp.At)})
			continue
		}
		kept = append(kept, sp)
	}
	d.s.Spots = kept
}

// notSupplied says, for a layer left out, what cannot be known without it.
var notSupplied = []struct {
	layer     parcels.Layer
	message   string
	cure      string
	notProven bool
}{
	{parcels.LayerBuildings, "No footprints were supplied: clearance to foundations is not known.", "Supply the footprints.", true},
	{parcels.LayerSpots, "No ground was supplied: cover, depth and fall are not known.", "Shoot the ground, or supply contours or a raster.", true},
	{parcels.LayerEasements, "No easements were supplied: absence in a map is not absence of an easement; read the plat.", "Read the plat for easements.", false},
	{parcels.LayerObstacles, "No obstacles were supplied: trees, walls and utilities are not located.", "Locate utilities and trees.", false},
	{parcels.LayerInlets, "No storm inlets were supplied.", "Find the nearest storm structure, its rim and invert.", false},
	{parcels.LayerOpenings, "No lowest openings were supplied: freeboard of window wells, sills and doors is not known.", "Shoot the lowest openings.", false},
	{parcels.LayerSwales, "No swales were supplied.", "", false},
}

func (d *siteReader) suppliedLayers() {
	s := d.s
	for _, n := range notSupplied {
		have := s.Supplied[n.layer]
		if n.layer == parcels.LayerSpots {
			have = have || s.Supplied[parcels.LayerContours] || s.Supplied[parcels.LayerBreaklines] || s.Terrain != ""
		}
		if have {
			continue
		}
		s.Findings = append(s.Findings, parcels.Finding{Code: "layer_not_supplied", Severity: parcels.Warn, Feature: string(n.layer), Message: n.message, Cure: n.cure, NotProven: n.notProven})
	}
	utility := d.utility
	for _, o := range s.Obstacles {
		utility = utility || o.Kind == "utility"
	}
	if s.Supplied[parcels.LayerObstacles] && !utility {
		s.Findings = append(s.Findings, parcels.Finding{Code: "layer_not_supplied", Severity: parcels.Warn, Feature: "utilities", Message: "No utilities are among the obstacles: not located.", Cure: "Call the utility locating service; find the private lines."})
	}
}
