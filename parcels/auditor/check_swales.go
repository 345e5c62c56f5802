package auditor

// Do swales run on from lot to lot, and do they carry what comes? One row for
// each lot along a swale, with the water of all lots upstream.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/channel"
	"fallwright/hydro/runoff"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

const (
	// beside is how far to either side of a flow line a lot is looked for: lot
	// lines are drawn as chords, flow lines as surveyed.
	beside = 1.5
	// pace is the step along a swale by which its lots are found.
	pace = 1.0
	// joined is within what the end of one swale is the start of the next, or an
	// inlet takes it.
	joined = 2.0
	// defaultN is the roughness taken for a swale that states none: short grass
	// (practice; HEC-22 has 0.030 to 0.045 for grass at this depth).
	defaultN hydro.Roughness = 0.035
)

// flowing is a swale with its levels and the water in it.
type flowing struct {
	s     *parcels.Swale
	name  string
	z     []unit.Elevation // by vertex
	along []unit.Length
	// reversed: it was drawn upstream and is worked the other way round.
	line  orb.LineString
	lots  []lotStretch
	own   []part // of its own lots
	parts []part // all that is in it at its end
	inlet string // that takes it at its end
	next  int    // the swale it runs on into, -1: none
	done  bool
}

// lotStretch is the part of a swale along one lot.
type lotStretch struct {
	lot      int // its place among those at hand
	id       string
	from, to unit.Length
}

// part is one lot's water: its areas, and the time it has been on the way when
// it reaches the start of the swale it is in.
type part struct {
	lot     string
	area    unit.Area
	ca      unit.Area
	surface []runoff.Part
	enters  unit.Length // along the swale
	before  hydro.Duration
}

func checkSwales(w *siteWork) error {
	swales := w.base.Swales
	if len(swales) == 0 {
		return nil
	}
	var all []*flowing
	for i := range swales {
		f := w.levels(&swales[i])
		a, err := w.land.around(f.line.Bound().Pad(2 * beside))
		if err != nil {
			return err
		}
		w.continuity(a, f)
		a.along(f)
		seen := map[int]bool{}
		for _, l := range f.lots {
			if !seen[l.lot] { // a lot that is passed twice sheds once
				seen[l.lot] = true
				f.own = append(f.own, a.shed(l, f))
			}
		}
		end := f.line[len(f.line)-1]
		for k := range a.site.Inlets {
			if in := &a.site.Inlets[k]; dist(in.At, end) <= joined && target(in) {
				f.inlet = in.ID
				break
			}
		}
		all = append(all, f)
	}
	for i, f := range all {
		f.next = -1
		if f.inlet != "" {
			continue
		}
		end := f.line[len(f.line)-1]
		for k, g := range all {
			if k != i && dist(g.line[0], end) <= joined {
				f.next = k
				break
			}
		}
		if f.next < 0 {
			at := end
			w.find(parcels.Finding{Code: "swale_ends", Severity: parcels.Note, Feature: f.name, Location: &at,
				Message: fmt.Sprintf("Swale %s ends at no inlet and at no other swale.", f.name)})
		}
	}
	// upstream first; a ring of swales is told and broken
	for _, i := range order(all) {
		if err := w.carry(all, all[i]); err != nil {
			return err
		}
	}
	w.audit.Assumptions = append(w.audit.Assumptions,
		"Swales: of each lot, the ground nearer to the swale than to its front line or a street is taken to shed to it, roofs in the same share; it enters where the lot begins along the swale.",
		"Swales: an inlet at the end of a swale is taken to take all of it; n is 0.035 where the swale states none.")
	return nil
}

// levels turns a swale downstream and gives it levels: its own, else the
// surface's.
func (w *siteWork) levels(s *parcels.Swale) *flowing {
	f := &flowing{s: s, name: siting.Label(s.Common), line: s.Line, z: s.Z}
	if f.z == nil && w.surface != nil {
		for _, p := range s.Line {
			l, ok := w.surface.At(p)
			if !ok {
				f.z = nil
				break
			}
			f.z = append(f.z, l.Elevation)
		}
	}
	if n := len(f.z); n > 1 && f.z[0] < f.z[n-1] {
		f.line, f.z = slices.Clone(f.line), slices.Clone(f.z)
		slices.Reverse(f.line)
		slices.Reverse(f.z)
	}
	f.along = make([]unit.Length, len(f.line))
	for i := 1; i < len(f.line); i++ {
		f.along[i] = f.along[i-1] + unit.Length(dist(f.line[i-1], f.line[i]))
	}
	if f.z == nil {
		at := f.line[0]
		w.find(parcels.Finding{Code: "swale_levels_unknown", Severity: parcels.Warn, Feature: f.name, Location: &at, NotProven: true,
			Message: "The levels of swale " + f.name + " are not known: neither its flow nor its low spots can be worked.", Cure: "Shoot the flow line of swale " + f.name + "."})
	}
	return f
}

// continuity tells of low spots and of stretches flatter than a swale may be.
func (w *siteWork) continuity(a *Auditor, f *flowing) {
	if f.z == nil {
		return
	}
	c := w.base.Criteria.Ground
	n := len(f.z)
	// a hollow holds water up to the highest flow line downstream of it
	top := f.z[n-1]
	best, at := unit.Length(0), 0
	for i := n - 1; i >= 0; i-- {
		if d := top.Above(f.z[i]); d > best {
			best, at = d, i
		}
		top = max(top, f.z[i])
	}
	if best > c.PondLeastDepth {
		p := f.line[at]
		w.find(parcels.Finding{Code: "swale_low_spot", Severity: parcels.Stop, Feature: f.name, Lot: a.lotAt(p), Location: &p, Measured: ptr(float64(best)), Required: ptr(float64(c.PondLeastDepth)), Unit: "m", Source: "P-46",
			Message: fmt.Sprintf("Swale %s rises downstream: a low spot %.3f m deep at %.1f m from its start.", f.name, float64(best), float64(f.along[at]))})
	}
	// flat stretches, neighbours joined
	for i := 1; i < n; {
		if f.flat(i, c.SwaleLeastSlope) {
			k := i
			for k+1 < n && f.flat(k+1, c.SwaleLeastSlope) {
				k++
			}
			s := float64(f.z[i-1].Above(f.z[k]) / (f.along[k] - f.along[i-1]))
			p := f.line[i-1]
			w.find(parcels.Finding{Code: "swale_flat", Severity: parcels.Warn, Feature: f.name, Lot: a.lotAt(p), Location: &p, Measured: &s, Required: ptr(float64(c.SwaleLeastSlope)), Source: "P-42",
				Message: fmt.Sprintf("Swale %s falls %.2f %% from %.1f to %.1f m; %.2f %% are asked for.", f.name, 100*s, float64(f.along[i-1]), float64(f.along[k]), 100*float64(c.SwaleLeastSlope))})
			i = k
		}
		i++
	}
}

// flat says whether the piece that ends at a vertex is flatter than asked, or
// rises.
func (f *flowing) flat(i int, least unit.Slope) bool {
	l := f.along[i] - f.along[i-1]
	return l > 0 && f.z[i-1].Above(f.z[i]) < least.Over(l)-1e-9
}

// lotAt names the lot that holds a place.
func (a *Auditor) lotAt(p orb.Point) string {
	if i := a.lotIndex(p); i >= 0 {
		return a.site.Lots[i].ID
	}
	return ""
}

func (a *Auditor) lotIndex(p orb.Point) int {
	for _, i := range a.index.lots.in(p.Bound(), nil) {
		if shape.Locate(p, a.site.Lots[i].Shape) != shape.Outside {
			return int(i)
		}
	}
	return -1
}

// along finds the lots on either side of a swale, in the order of its water.
func (a *Auditor) along(f *flowing) {
	whole := f.along[len(f.along)-1]
	steps := int(math.Ceil(float64(whole) / pace))
	open := map[int]int{} // lot -> place in f.lots of the stretch that goes on
	for k := range steps {
		from, to := unit.Length(float64(k)*pace), min(unit.Length(float64(k+1)*pace), whole)
		p, q := shape.PointAt(f.line, from), shape.PointAt(f.line, to)
		l := dist(p, q)
		if l == 0 {
			continue
		}
		nx, ny := -(q[1]-p[1])/l, (q[0]-p[0])/l
		seen := map[int]bool{}
		for _, off := range []float64{-beside, beside} {
			i := a.lotIndex(orb.Point{(p[0]+q[0])/2 + nx*off, (p[1]+q[1])/2 + ny*off})
			if i < 0 || seen[i] {
				continue
			}
			seen[i] = true
			if n, ok := open[i]; ok && f.lots[n].to == from {
				f.lots[n].to = to
				continue
			}
			open[i] = len(f.lots)
			f.lots = append(f.lots, lotStretch{i, a.site.Lots[i].ID, from, to})
		}
	}
	slices.SortStableFunc(f.lots, func(a, b lotStretch) int {
		switch {
		case a.from < b.from || a.from == b.from && a.lot < b.lot:
			return -1
		case a.from == b.from && a.lot == b.lot:
			return 0
		}
		return 1
	})
}

// order lists swales so that each stands after those that run into it.
func order(all []*flowing) []int {
	var out []int
	state := make([]int, len(all))
	var visit func(i int)
	visit = func(i int) {
		if state[i] != 0 {
			return
		}
		state[i] = 1
		for k, f := range all {
			if f.next == i && state[k] == 0 {
				visit(k)
			}
		}
		out = append(out, i)
	}
	for i := range all {
		visit(i)
	}
	return out
}

// carry works the flow down one swale, lot by lot, and hands it on.
func (w *siteWork) carry(all []*flowing, f *flowing) error {
	f.done = true
	c := w.base.Criteria
	f.parts = append(f.parts, f.own...)
	ch := channel.Channel{N: defaultN}
	if f.s.N != nil {
		ch.N = *f.s.N
	}
	if f.s.SideSlope != nil {
		ch.Side = *f.s.SideSlope
	}
	if f.s.BottomWidth != nil {
		ch.Bottom = *f.s.BottomWidth
	}
	known := ch.Check() == nil && (f.s.SideSlope != nil || f.s.BottomWidth != nil) && f.z != nil
	velocity := 0.5 // until worked
	for i, l := range f.lots {
		row := parcels.SharedRow{Kind: "swale", Feature: f.name, Order: i + 1, Lot: l.id, Lots: []string{},
			From: round4(l.from), To: round4(l.to), Line: shape.Substring(f.line, l.from, l.to)}
		var slope unit.Slope
		if f.z != nil {
			s := f.slope(l.from, l.to)
			row.Slope = ptr(roundTo(s, 1e6))
			if slope = s; slope > steepest {
				if known {
					w.find(tooSteep("Swale", f.name, slope, shape.PointAt(f.line, l.from)))
				}
				known = false
			}
		}
		var q *hydro.Flow
		for pass := 0; pass < 2; pass++ {
			var in []runoff.Part
			row.Lots, row.Area, row.CA = row.Lots[:0], 0, 0
			for _, p := range f.parts {
				if p.enters >= l.to {
					continue
				}
				row.Lots = append(row.Lots, p.lot)
				row.Area += p.area
				row.CA += p.ca
				travel := p.before + hydro.Duration(float64(l.to-p.enters)/velocity/60)
				for _, s := range p.surface {
					s.Tc += travel
					in = append(in, s)
				}
			}
			var err error
			if q, err = w.peak(in, c); err != nil {
				return err
			}
			if q == nil || !known || slope <= 0 {
				break
			}
			y, err := ch.NormalDepth(*q, slope)
			if err != nil {
				return err
			}
			sec, err := ch.At(y)
			if err != nil {
				return err
			}
			if sec.Area > 0 {
				velocity = float64(*q) / float64(sec.Area)
			}
			row.Depth, row.Width = ptr(round4(y)), ptr(round4(sec.TopWidth))
		}
		row.Area, row.CA = round4(row.Area), round4(row.CA)
		if q != nil {
			row.Flow = ptr(roundTo(*q, 1e7))
		}
		if known && slope > 0 && f.s.Depth != nil {
			full, err := ch.FlowAt(*f.s.Depth, slope)
			if err != nil {
				return err
			}
			row.Capacity = ptr(roundTo(full, 1e7))
			if q != nil && *q > full {
				at := shape.PointAt(f.line, l.to)
				w.find(parcels.Finding{Code: "swale_over_capacity", Severity: parcels.Stop, Feature: f.name, Lot: row.Lot, Location: &at, Measured: ptr(float64(*q)), Required: ptr(float64(full)), Unit: "m3/s", Source: "P-176",
					Message: fmt.Sprintf("At lot %s swale %s takes the water of %d lots, %.4f m3/s, and carries %.4f m3/s at its depth of %.3f m.", row.Lot, f.name, len(row.Lots), float64(*q), float64(full), float64(*f.s.Depth))})
			}
		}
		w.audit.Shared = append(w.audit.Shared, row)
	}
	if f.next >= 0 {
		g := all[f.next]
		if g.done {
			at := f.line[len(f.line)-1]
			w.find(parcels.Finding{Code: "swales_in_a_ring", Severity: parcels.Warn, Feature: f.name, Location: &at, NotProven: true,
				Message: fmt.Sprintf("Swales run in a ring at %s: their flow is not summed across it.", f.name), Cure: "Check the levels of swale " + f.name + "."})
			return nil
		}
		whole := f.along[len(f.along)-1]
		var on []part
		for _, p := range f.parts {
			p.before += hydro.Duration(float64(whole-p.enters) / velocity / 60)
			p.enters = 0
			on = append(on, p)
		}
		g.parts = append(on, g.parts...)
	}
	return nil
}

// slope is the mean slope between two places along the swale.
func (f *flowing) slope(from, to unit.Length) unit.Slope {
	return unit.Grade(f.level(from).Above(f.level(to)), to-from)
}

func (f *flowing) level(d unit.Length) unit.Elevation {
	for i := 1; i < len(f.along); i++ {
		if d <= f.along[i] || i == len(f.along)-1 {
			l := f.along[i] - f.along[i-1]
			if l == 0 {
				return f.z[i]
			}
			return f.z[i-1] + (f.z[i]-f.z[i-1])*unit.Elevation((d-f.along[i-1])/l)
		}
	}
	return f.z[0]
}

// shed is the water of a lot that comes to the swale.
func (a *Auditor) shed(l lotStretch, f *flowing) part {
	s, lot := a.site, &a.site.Lots[l.lot]
	c := s.Criteria
	var roof unit.Area
	for _, i := range a.index.buildings.in(lot.Shape.Bound(), nil) {
		b := &s.Buildings[i]
		if b.Lot == lot.ID || b.Lot == "" && shape.Locate(siting.Middle(b.Shape), lot.Shape) != shape.Outside {
			if b.RoofArea != nil {
				roof += *b.RoofArea
			} else {
				roof += shape.Area(b.Shape)
			}
		}
	}
	whole := shape.Area(lot.Shape)
	share := a.share(lot, f)
	roof = min(roof, whole) * unit.Area(share)
	yard := whole*unit.Area(share) - roof
	p := part{lot: l.id, area: roof + yard, enters: l.from}
	if roof > 0 {
		p.surface = append(p.surface, runoff.Part{Surface: runoff.Surface{Area: roof, C: c.Runoff.RoofC}, Tc: c.Storm.RoofMin})
	}
	if yard > 0 {
		p.surface = append(p.surface, runoff.Part{Surface: runoff.Surface{Area: yard, C: c.Runoff.YardC}, Tc: c.Storm.YardMin})
	}
	p.ca = unit.Area(float64(roof)*c.Runoff.RoofC + float64(yard)*c.Runoff.YardC)
	return p
}

// share is the part of a lot nearer to the swale than to its front line or a
// street, on a raster of some 400 points.
func (a *Auditor) share(lot *parcels.Lot, f *flowing) float64 {
	var fronts []orb.LineString
	ring := lot.Shape[0][0]
	if len(lot.Roles) == len(ring)-1 {
		for e, r := range lot.Roles {
			if r == parcels.Front {
				fronts = append(fronts, orb.LineString{ring[e], ring[e+1]})
			}
		}
	}
	if fronts == nil {
		for _, i := range a.index.streets.in(lot.Shape.Bound().Pad(near), nil) {
			switch g := a.site.Streets[i].Geometry.(type) {
			case orb.LineString:
				fronts = append(fronts, g)
			case orb.Polygon:
				fronts = append(fronts, ringLines(orb.MultiPolygon{g})...)
			case orb.MultiPolygon:
				fronts = append(fronts, ringLines(g)...)
			}
		}
	}
	if fronts == nil {
		return 1
	}
	b := lot.Shape.Bound()
	dx, dy := (b.Max[0]-b.Min[0])/20, (b.Max[1]-b.Min[1])/20
	in, to := 0, 0
	for i := range 20 {
		for k := range 20 {
			p := orb.Point{b.Min[0] + (float64(i)+0.5)*dx, b.Min[1] + (float64(k)+0.5)*dy}
			if shape.Locate(p, lot.Shape) == shape.Outside {
				continue
			}
			in++
			d, _ := shape.PointLine(p, f.line)
			nearer := true
			for _, l := range fronts {
				if e, _ := shape.PointLine(p, l); e < d {
					nearer = false
					break
				}
			}
			if nearer {
				to++
			}
		}
	}
	if in == 0 {
		return 1
	}
	return float64(to) / float64(in)
}
