package planner

// What if the ground were steeper: the site tilted about its outlet.
//
// The axis is the level line through the plan's outlet, at right angles to the
// way from there to the middle of its intakes. Ground rises by the tilt times
// the distance on the intakes' side of the axis and sinks by as much on the other.
// What stands on or in the ground goes with it: shots, breaklines, contours,
// swales, raster heights, rims and inverts of intakes, lowest openings. What is
// built to a level of its own stays: inlets (rim, invert, tie-in, water),
// outlets, existing drains, utilities of given level.

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// tiltKey is the key of the change.
const tiltKey = "ground.tilt"

// mostTilt bounds the tilt either way: past one in five no yard is drained as
// before.
const mostTilt = 0.2

// tilt is a plane through the outlet: by Slope along Up, a unit vector.
type tilt struct {
	at, up orb.Point
	slope  float64
}

// raise is what the tilt adds to the level of a place.
func (t tilt) raise(p orb.Point) unit.Elevation {
	return unit.Elevation(t.slope * ((p[0]-t.at[0])*t.up[0] + (p[1]-t.at[1])*t.up[1]))
}

// tiltOf reads the change against the plan that it changes: its outlet is the
// axis, its intakes give the direction.
func tiltOf(value string, plan *parcels.Plan, bad func(string) error) (tilt, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > mostTilt || v == 0 {
		return tilt{}, bad(fmt.Sprintf("The tilt of the ground is rise over run, from %g to %g and not 0: 0.02 for 2 %% steeper.", -mostTilt, mostTilt))
	}
	end := plan.Point(plan.Summary.Outlet)
	if end == nil {
		return tilt{}, bad("The ground is tilted about the outlet, and the plan has not one outlet. Name one lot, or an outlet.")
	}
	var mid orb.Point
	n := 0.0
	for _, kind := range []parcels.PointKind{parcels.PointIntake, parcels.PointCleanout} { // a perforated run alone begins at a cleanout
		for i := range plan.Points {
			if pt := &plan.Points[i]; pt.Kind == kind {
				mid[0], mid[1], n = mid[0]+pt.At[0], mid[1]+pt.At[1], n+1
			}
		}
		if n > 0 {
			break
		}
	}
	t := tilt{at: end.At, slope: v}
	t.up = orb.Point{mid[0]/n - end.At[0], mid[1]/n - end.At[1]}
	d := math.Hypot(t.up[0], t.up[1])
	if n == 0 || d < 0.01 {
		return tilt{}, bad("The ground is tilted about the outlet toward the intakes, and the plan has none away from it.")
	}
	t.up[0], t.up[1] = t.up[0]/d, t.up[1]/d
	return t, nil
}

// site is the site on tilted ground, with a document that says the same.
func (t tilt) site(s *parcels.Site) (*parcels.Site, error) {
	out := *s
	line := func(l orb.LineString, z []unit.Elevation) []unit.Elevation {
		if z == nil {
			return nil
		}
		to := make([]unit.Elevation, len(z))
		for i := range z {
			to[i] = z[i] + t.raise(l[i])
		}
		return to
	}
	level := func(e *unit.Elevation, at orb.Point) *unit.Elevation {
		if e == nil {
			return nil
		}
		return parcels.Num(*e + t.raise(at))
	}
	doc, err := openTilted(s)
	if err != nil {
		return nil, err
	}
	out.Spots = append([]parcels.Spot(nil), s.Spots...)
	for i := range out.Spots {
		sp := &out.Spots[i]
		sp.Z += t.raise(sp.At)
		doc.heights(parcels.LayerSpots, sp.Index, []unit.Elevation{sp.Z})
	}
	lines := func(layer parcels.Layer, ls []parcels.GroundLine) []parcels.GroundLine {
		to := append([]parcels.GroundLine(nil), ls...)
		for i := range to {
			to[i].Z = line(to[i].Line, to[i].Z)
			doc.heights(layer, to[i].Index, to[i].Z)
		}
		return to
	}
	out.Breaklines, out.Contours = lines(parcels.LayerBreaklines, s.Breaklines), lines(parcels.LayerContours, s.Contours)
	out.Swales = append([]parcels.Swale(nil), s.Swales...)
	for i := range out.Swales {
		w := &out.Swales[i]
		w.Z = line(w.Line, w.Z)
		doc.heights(parcels.LayerSwales, w.Index, w.Z)
	}
	out.Intakes = append([]parcels.Intake(nil), s.Intakes...)
	for i := range out.Intakes {
		in := &out.Intakes[i]
		in.Rim, in.Invert = level(in.Rim, in.At), level(in.Invert, in.At)
		doc.level(parcels.LayerIntakes, in.Index, "rim", in.Rim)
		doc.level(parcels.LayerIntakes, in.Index, "invert", in.Invert)
	}
	out.Openings = append([]parcels.Opening(nil), s.Openings...)
	for i := range out.Openings {
		o := &out.Openings[i]
		o.Level = level(o.Level, o.At)
		doc.level(parcels.LayerOpenings, o.Index, "level", o.Level)
	}
	out.Document, err = doc.write()
	return &out, err
}

// surface is a raster tilted cell by cell; a triangulated ground follows its
// shots and needs none.
func (t tilt) surface(s ground.Surface) (ground.Surface, error) {
	if s == nil {
		return nil, nil
	}
	r, ok := s.(*ground.Raster)
	if !ok {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: what-if", Err: fmt.Errorf("a ground of type %T cannot be tilted", s)}
	}
	g := r.Grid()
	g.Z = append([]float32(nil), g.Z...)
	for row := range g.Rows {
		for col := range g.Cols {
			g.Z[row*g.Cols+col] += float32(t.raise(g.Centre(col, row))) // a cell without data stays one
		}
	}
	return ground.NewRaster(g, r.StdErr())
}

// tilted is a document being changed, a layer at a time as it is touched.
type tilted struct {
	top, layers map[string]json.RawMessage
	open        map[parcels.Layer]*openLayer
	unit        float64 // of z, in metres
	err         error
}

type openLayer struct {
	members  map[string]json.RawMessage
	features []map[string]json.RawMessage
	shift    float64
}

func openTilted(s *parcels.Site) (*tilted, error) {
	d := &tilted{open: map[parcels.Layer]*openLayer{}, unit: 1}
	if d.take(json.Unmarshal(s.Document, &d.top)) && d.top["layers"] != nil {
		d.take(json.Unmarshal(d.top["layers"], &d.layers))
	}
	var u string
	if raw := d.top["elevation_unit"]; raw != nil {
		d.take(json.Unmarshal(raw, &u))
	}
	switch u {
	case "ft":
		d.unit = float64(unit.Foot)
	case "us_ft":
		d.unit = float64(unit.SurveyFoot)
	}
	return d, d.failed()
}

// take keeps the first error.
func (d *tilted) take(err error) bool {
	if err != nil && d.err == nil {
		d.err = err
	}
	return err == nil
}

func (d *tilted) failed() error {
	if d.err == nil {
		return nil
	}
	return &parcels.Error{Kind: parcels.Failed, Op: "planner: what-if", Err: d.err}
}

func (d *tilted) feature(l parcels.Layer, i int) (*openLayer, map[string]json.RawMessage) {
	o := d.open[l]
	if o == nil {
		o = &openLayer{}
		d.open[l] = o
		if !d.take(json.Unmarshal(d.layers[string(l)], &o.members)) || !d.take(json.Unmarshal(o.members["features"], &o.features)) {
			return o, nil
		}
		if raw := o.members["vertical_shift_m"]; raw != nil {
			d.take(json.Unmarshal(raw, &o.shift))
		}
	}
	if i < 0 || i >= len(o.features) {
		d.take(fmt.Errorf("layer %s has no feature %d", l, i))
		return o, nil
	}
	return o, o.features[i]
}

// put writes v as member key of m.
func (d *tilted) put(m map[string]json.RawMessage, key string, v any) {
	b, err := json.Marshal(v)
	if d.take(err) {
		m[key] = b
	}
}

// heights writes the levels of a feature's positions as their third members; a
// level for all of them, as a property, gives way.
func (d *tilted) heights(l parcels.Layer, i int, z []unit.Elevation) {
	if z == nil || d.err != nil {
		return
	}
	o, f := d.feature(l, i)
	if f == nil {
		return
	}
	var g map[string]json.RawMessage
	if !d.take(json.Unmarshal(f["geometry"], &g)) {
		return
	}
	var at [][]json.RawMessage
	if l == parcels.LayerSpots {
		at = make([][]json.RawMessage, 1)
		d.take(json.Unmarshal(g["coordinates"], &at[0]))
	} else {
		d.take(json.Unmarshal(g["coordinates"], &at))
	}
	if d.err == nil && len(at) != len(z) {
		d.take(fmt.Errorf("layer %s, feature %d: %d positions, %d levels", l, i, len(at), len(z)))
	}
	for k := range at {
		if d.err != nil || len(at[k]) < 2 {
			return
		}
		b, err := json.Marshal((float64(z[k]) - o.shift) / d.unit)
		if d.take(err) {
			at[k] = append(at[k][:2:2], b)
		}
	}
	if l == parcels.LayerSpots {
		d.put(g, "coordinates", at[0])
	} else {
		d.put(g, "coordinates", at)
	}
	d.put(f, "geometry", g)
	d.properties(f, func(p map[string]json.RawMessage) {
		for _, key := range []string{"elevation", "invert_up", "invert_down"} {
			delete(p, key+"_m")
			delete(p, key+"_ft")
		}
	})
}

// level writes a level property in the unit that it is given in.
func (d *tilted) level(l parcels.Layer, i int, stem string, e *unit.Elevation) {
	if e == nil || d.err != nil {
		return
	}
	o, f := d.feature(l, i)
	if f == nil {
		return
	}
	d.properties(f, func(p map[string]json.RawMessage) {
		if p[stem+"_ft"] != nil {
			d.put(p, stem+"_ft", (float64(*e)-o.shift)/float64(unit.Foot))
			return
		}
		d.put(p, stem+"_m", float64(*e)-o.shift)
	})
}

func (d *tilted) properties(f map[string]json.RawMessage, change func(p map[string]json.RawMessage)) {
	p := map[string]json.RawMessage{}
	if raw := f["properties"]; len(raw) > 0 && raw[0] == '{' && !d.take(json.Unmarshal(raw, &p)) {
		return
	}
	change(p)
	d.put(f, "properties", p)
}

// write puts the changed layers back.
func (d *tilted) write() ([]byte, error) {
	for l, o := range d.open {
		d.put(o.members, "features", o.features)
		d.put(d.layers, string(l), o.members)
	}
	if len(d.open) > 0 {
		d.put(d.top, "layers", d.layers)
	}
	if err := d.failed(); err != nil {
		return nil, err
	}
	b, err := json.Marshal(d.top)
	d.take(err)
	return b, d.failed()
}
