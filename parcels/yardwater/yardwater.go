package yardwater

// From a site and its surface to ponds, line flows, overflows and findings.

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/overland"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Limits of the raster that is laid over a triangulated surface.
const (
	leastCell = 0.5 * unit.Metre
	mostCells = 1_000_000
	beyond    = 15 * unit.Metre // how far round the lots the ground is looked at
	// AtHouse is how far from a footprint a downspout still belongs to it, and
	// how far from the downspout open ground is looked for, for its water.
	AtHouse = 3 * unit.Metre
	// followed is how far from a clogged grate its water is followed.
	followed = 60 * unit.Metre
	// leastVolume of a hollow that is told: 50 litres.
	leastVolume = 0.05
	// mostPonds are told, the greatest; of a city's raster they would be a million.
	mostPonds = 20_000
)

// Pond is a hollow that holds water while its intakes are shut.
type Pond struct {
	Location  orb.Point      // its deepest place
	Level     unit.Elevation // full
	Depth     unit.Length    // there
	Area      unit.Area      // of the full pond
	Volume    float64        // m3
	Spill     *orb.Point     // where it runs over
	Catchment unit.Area      // what drains to it
	Shape     orb.MultiPolygon
	Runs      []overland.Run // its cells
	Lots      []string       // on which it lies
	Intakes   []string       // yard basins and drains that stand in it
	Houses    []string       // buildings against which it stands
}

// LineFlow is what crosses a lot line, net; see Report.LineFlows.
type LineFlow struct {
	Lot   string
	Line  int    // edge of the outer ring, from vertex Line on
	Other string // the lot beyond; empty: a street or land beyond the site
	Into  bool
	// Before and After are C times area, m2; AreaBefore the plain area. After is
	// negative where the water has turned round.
	Before, After unit.Area
	AreaBefore    unit.Area
	Length        unit.Length // of the line that is crossed
	// Rise is the C A by which what leaves the lot at one place of the line
	// (overland.OnePlace) grows, RiseAt where; 0: nowhere.
	Rise   unit.Area
	RiseAt orb.Point
}

// Drained is what a plan does to the water over the ground.
type Drained struct {
	// Taken are the intakes whose water a pipe takes: a downspout its roof's, a
	// basin or channel what reaches it.
	Taken map[string]bool
	// Outfall is where the pipe lets its water out over the ground; nil: into an
	// inlet, or nowhere.
	Outfall *orb.Point
}

// Overflow is where the water of a clogged grate goes.
type Overflow struct {
	Intake string
	Level  unit.Elevation
	Depth  unit.Length
	Path   orb.LineString
	Lots   []string // it passes, in its order, its own first
	Houses []string // it or its pond touches
	// Freeboard is the least height of an opening of a touched or near house
	// over the water; nil where no opening's level is known.
	Freeboard *unit.Length
	Opening   string
}

// Report is all of it.
type Report struct {
	Cell      unit.Length // of the raster it was worked on
	Ponds     []Pond
	Overflows []Overflow
	Findings  []parcels.Finding
	// MorePonds is how many smaller hollows are not told.
	MorePonds int
	Water     *overland.Water // as the ground lies, inlets open
	Field     *overland.Field // the same in memory; nil for a surface that is not

	look *look
}

// grid is the raster of the ground round the lots: a raster's own cells, or a
// square one laid over a triangulated surface.
func grid(s *parcels.Site, surface ground.Surface) (ground.Grid, error) {
	if r, ok := surface.(*ground.Raster); ok {
		return r.Grid(), nil
	}
	box := s.Lots[0].Shape.Bound()
	for i := range s.Lots {
		box = box.Union(s.Lots[i].Shape.Bound())
	}
	box = box.Pad(float64(beyond))
	b := surface.Bounds()
	for k := range box.Min {
		box.Min[k], box.Max[k] = math.Max(box.Min[k], b.Min[k]), math.Min(box.Max[k], b.Max[k])
	}
	if !(box.Min[0] < box.Max[0] && box.Min[1] < box.Max[1]) {
		return ground.Grid{}, fmt.Errorf("yardwater: the ground does not cover the lots")
	}
	cell := math.Max(float64(leastCell), math.Sqrt((box.Max[0]-box.Min[0])*(box.Max[1]-box.Min[1])/mostCells))
	return overland.Sample(surface, box, unit.Length(cell), mostCells*2)
}

// cells hands out a grid that is in memory.
type cells struct{ ground.Grid }

func (c cells) Read(col, row, width, height int, dst []float32) error {
	for r := 0; r < height; r++ {
		copy(dst[r*width:(r+1)*width], c.Z[(row+r)*c.Cols+col:])
	}
	return nil
}

// takes says whether an intake takes water off the ground.
func takes(i parcels.Intake) bool { return i.Kind == "yard_basin" || i.Kind == "channel_drain" }

// Look works the water over a site's ground. The site has lots; the error tells
// a ground that does not cover them.
func Look(s *parcels.Site, surface ground.Surface) (*Report, error) {
	l, err := Survey(s, surface)
	if err != nil {
		return nil, err
	}
	return l.Look(s)
}

// Lie is what of the water over a site's ground no basin or drain changes: the
// raster, where water goes, the hollows, the roofs, the ground at the walls. It
// follows from the site without its grates (WithoutGrates) and the surface alone.
type Lie struct {
	site    *parcels.Site // without its grates
	surface ground.Surface
	houses  []orb.MultiPolygon
	lots    []orb.MultiPolygon
	place   ground.Grid // of the raster, without elevations
	rows    ground.Rows // and these
	drains  []orb.Point // the open inlets
	water   *overland.Water
	field   *overland.Field // the same in memory, if it is there
	roofs   []Roof
	hollows []hollow
	more    int               // smaller hollows
	told    []parcels.Finding // of roofs
	walls   []parcels.Finding

	once   sync.Once // a lie is kept and asked by several plans at once
	now    *asItLies
	nowErr error
}

// hollow is a pond before it is known which intakes stand in it.
type hollow struct {
	Pond
	lot    string
	houses []overland.Standing
}

// WithoutGrates is the site without the intakes that take water off the ground.
func WithoutGrates(s *parcels.Site) *parcels.Site {
	bare := *s
	bare.Intakes = slices.DeleteFunc(slices.Clone(s.Intakes), takes)
	return &bare
}

// Survey works what Look needs of the ground. The site has lots; the error tells a
// ground that does not cover them.
func Survey(s *parcels.Site, surface ground.Surface) (*Lie, error) {
	if len(s.Lots) == 0 || surface == nil {
		return nil, fmt.Errorf("yardwater: %d lots, ground known: %v", len(s.Lots), surface != nil)
	}
	g, err := grid(s, surface)
	if err != nil {
		return nil, err
	}
	l := newLie(s, surface, g, cells{g})
	if l.field, err = overland.Flow(overland.Input{Ground: g, Blocked: l.houses, Drains: l.drains}); err != nil {
		return nil, err
	}
	l.water = &l.field.Water
	l.lay()
	return l, nil
}

// Workplace is where the water over a raster is worked that does not fit into
// memory: it keeps what tiles find, and gives it back.
type Workplace struct {
	Store interface {
		overland.Store
		overland.Kept
	}
	Workers  int
	Progress func(done, total int) // nil: nobody is told
}

// LookWide is Look over a raster that is not in memory, tile by tile: the same
// report, without the field in memory, so that LineFlows cannot be asked of it.
func LookWide(s *parcels.Site, surface *ground.Wide, w Workplace) (*Report, error) {
	if len(s.Lots) == 0 {
		return nil, fmt.Errorf("yardwater: no lots")
	}
	l := newLie(s, surface, surface.Place(), surface)
	t := overland.Tiles{Place: l.place, Rows: surface, Store: w.Store, Blocked: l.houses, Drains: l.drains, Workers: w.Workers, Progress: w.Progress}
	if err := t.Flow(); err != nil {
		return nil, err
	}
	l.water = &overland.NewWide(l.place, w.Store).Water
	l.lay()
	r, err := l.Look(s)
	if err == nil {
		err = l.water.Err()
	}
	return r, err
}

// newLie is what is known before the water is.
func newLie(s *parcels.Site, surface ground.Surface, place ground.Grid, rows ground.Rows) *Lie {
	place.Z = nil
	l := &Lie{site: WithoutGrates(s), surface: surface, place: place, rows: rows}
	for _, b := range s.Buildings {
		l.houses = append(l.houses, b.Shape)
	}
	for i := range s.Lots {
		l.lots = append(l.lots, s.Lots[i].Shape)
	}
	for _, x := range s.Inlets {
		if at, ok := l.open(x.At); ok && (x.Kind == "grate" || x.Kind == "curb") {
			l.drains = append(l.drains, at)
		}
	}
	return l
}

// lay works the rest once the water is known.
func (l *Lie) lay() {
	l.roofs, l.told = Roofs(l.site)
	l.hollow()
	l.foundations()
}

// Size is about how many bytes a Lie holds.
func (l *Lie) Size() int64 { return 80 * int64(l.place.Cols) * int64(l.place.Rows) }

// open is the middle of the open cell at or beside a place.
func (l *Lie) open(p orb.Point) (orb.Point, bool) {
	return overland.NearestOpen(l.place, l.rows, l.houses, p, unit.Length(2*math.Max(l.place.CellX, l.place.CellY)))
}

// Look works the water with the basins and drains of a site that is else the one
// surveyed.
func (l *Lie) Look(s *parcels.Site) (*Report, error) {
	r := &look{Lie: l, site: s, report: &Report{Cell: unit.Length(math.Max(l.place.CellX, l.place.CellY)), Water: l.water, Field: l.field, MorePonds: l.more, Findings: slices.Clone(l.told)}}
	r.report.look = r
	r.ponds()
	drains := slices.Clone(l.drains)
	for _, x := range s.Intakes {
		if at, ok := l.open(x.At); ok && takes(x) {
			r.grates = append(r.grates, x)
			drains = append(drains, at)
		}
	}
	if err := r.overflows(drains); err != nil {
		return nil, err
	}
	r.report.Findings = append(r.report.Findings, l.walls...)
	return r.report, nil
}

type look struct {
	*Lie
	site   *parcels.Site    // with its grates
	grates []parcels.Intake // the last drains of the input, in order
	report *Report
}

func (l *look) find(f parcels.Finding) { l.report.Findings = append(l.report.Findings, f) }

func (l *Lie) lotAt(p orb.Point) string {
	for i := range l.site.Lots {
		if shape.Locate(p, l.lots[i]) != shape.Outside {
			return l.site.Lots[i].ID
		}
	}
	return ""
}

func (l *Lie) house(i int) string { return BuildingName(l.site.Buildings[i]) }

// hollow lists the hollows on the lots.
func (l *Lie) hollow() {
	c, f := l.site.Criteria.Ground, l.water
	found, more := f.Ponds(c.PondLeastDepth, leastVolume, mostPonds)
	l.more = more
	houses := map[int][]overland.Standing{}
	for _, s := range f.AgainstHouses(found, l.houses) {
		houses[s.Pond] = append(houses[s.Pond], s)
	}
	// On a triangulated surface a hollow away from houses is known exactly.
	var exact []overland.Hollow
	if t, ok := l.surface.(*ground.TIN); ok {
		exact = overland.Hollows(t, c.PondLeastDepth, leastVolume)
	}
	boxes := make([]orb.Bound, len(l.lots))
	for i := range l.lots {
		boxes[i] = l.lots[i].Bound()
	}
	for k, p := range found {
		q := hollow{Pond: Pond{Location: p.Lowest, Level: p.Level, Depth: p.Depth, Area: p.Area, Volume: p.Volume, Spill: p.Spill,
			Catchment: unit.Area(float64(p.Catchment)) * f.Grid.CellArea(), Shape: f.Shape(p), Runs: p.Runs}, houses: houses[k]}
		for i := range l.site.Lots {
			if boxes[i].Intersects(q.Shape.Bound()) && overland.Touches(f.Grid, p.Runs, l.lots[i]) {
				q.Lots = append(q.Lots, l.site.Lots[i].ID)
			}
		}
		for _, h := range exact {
			if i, ok := f.CellAt(h.Lowest, 0); ok && overland.Holds(p.Runs, i) && len(q.houses) == 0 && math.Abs(float64(h.Level-p.Level)) < 0.05 {
				q.Location, q.Level, q.Depth, q.Area, q.Volume, q.Spill = h.Lowest, h.Level, h.Depth, h.Area, h.Volume, &h.Spill
				break
			}
		}
		if len(q.Lots) == 0 {
			continue // on the street or beyond the site
		}
		for _, s := range q.houses {
			q.Houses = append(q.Houses, l.house(s.House))
		}
		if q.lot = l.lotAt(q.Location); q.lot == "" {
			q.lot = q.Lots[0]
		}
		l.hollows = append(l.hollows, q)
	}
}

// ponds lists the hollows with what stands in them and tells those that nothing
// empties.
func (l *look) ponds() {
	c := l.site.Criteria.Ground
	for _, h := range l.hollows {
		q, lot := h.Pond, h.lot
		for _, x := range l.site.Intakes {
			if i, ok := l.water.CellAt(x.At, 0); ok && takes(x) && overland.Holds(h.Runs, i) {
				q.Intakes = append(q.Intakes, x.ID)
			}
		}
		at := q.Location
		if len(q.Intakes) == 0 {
			l.find(parcels.Finding{Code: "low_point_no_outlet", Severity: parcels.Warn, Lot: lot, Location: &at, Measured: parcels.Num(round(float64(q.Depth))), Required: parcels.Num(float64(c.PondLeastDepth)), Unit: "m", Source: "P-65",
				Message: fmt.Sprintf("A low spot holds water up to %.2f m deep (%.1f m3) and no basin or drain stands in it.", float64(q.Depth), q.Volume), Cure: "Set a basin there, or grade it to fall."})
		}
		for k, s := range h.houses {
			at := s.At
			l.find(parcels.Finding{Code: "pond_at_house", Severity: parcels.Warn, Lot: lot, Feature: q.Houses[k], Location: &at, Measured: parcels.Num(round(float64(s.Depth))), Required: parcels.Num(0.0), Unit: "m", Source: "P-64",
				Message: fmt.Sprintf("Water stands up to %.2f m deep against %s before it runs on.", float64(s.Depth), q.Houses[k]), Cure: "Raise the ground along the wall, or drain the low spot."})
		}
		l.report.Ponds = append(l.report.Ponds, q)
	}
}

func round(v float64) float64 { return math.Round(v*1000) / 1000 }

// LineFlows reckons C A over every lot line: as the ground lies, roofs coming
// down at their downspouts; and after a plan. Returned is the C A of a plan's
// outfall that runs back to where the plan takes it in again; 0 as a rule.
//
// The plan takes what the same roofs and the same raster bring, and lets out
// the same, so that before and after differ by what the plan does alone and not
// by how areas were reckoned. Grates take all that reaches them (Clogged:
// nothing).
func (r *Report) LineFlows(d Drained) (flows []LineFlow, returned unit.Area, err error) {
	l, f := r.look, r.Field
	if f == nil {
		return nil, 0, fmt.Errorf("yardwater: what crosses the lot lines is worked in memory, and this ground is not there")
	}
	now, err := l.asItLies()
	if err != nil {
		return nil, 0, err
	}
	var left []overland.Inflow // of the roofs that no pipe takes
	var taken unit.Area
	for k, in := range now.roofs {
		if i := now.intake[k]; i >= 0 && d.Taken[l.Lie.site.Intakes[i].ID] {
			taken += in.Area
		} else {
			left = append(left, in)
		}
	}
	var caught []int
	for _, x := range l.site.Intakes {
		if i, ok := f.CellAt(x.At, 0); ok && takes(x) && d.Taken[x.ID] {
			if p, wet := f.PondAt(i); wet {
				for _, u := range p.Runs {
					for j := u.First; j <= u.Last; j++ {
						caught = append(caught, j)
					}
				}
			} else {
				caught = append(caught, i)
			}
		}
	}
	slices.Sort(caught)
	caught = slices.Compact(caught)
	held := func(a []float64) (sum unit.Area) {
		for _, i := range caught {
			sum += unit.Area(a[i])
		}
		return sum
	}
	after, err := f.Accumulate(now.weight, left, AtHouse, caught)
	if err != nil {
		return nil, 0, err
	}
	if d.Outfall != nil {
		grates := held(after)
		if i, ok := f.CellAt(*d.Outfall, AtHouse); ok { // else it lies beyond the ground looked at
			more := float64(taken + grates)
			for ok {
				after[i] += more
				if _, kept := slices.BinarySearch(caught, i); kept {
					break
				}
				i, ok = f.Next(i)
			}
			returned = max(0, held(after)-grates)
		}
	}
	for k, v := range now.crossed.Flows(now.before, after) {
		if v.Part != 0 {
			continue
		}
		x := LineFlow{Lot: l.site.Lots[v.Lot].ID, Line: v.Line, Into: v.Into, Before: v.Before, After: v.After, AreaBefore: now.plain[k].Before, Length: v.Length,
			Rise: v.Rise, RiseAt: v.RiseAt}
		if v.Other >= 0 {
			x.Other = l.site.Lots[v.Other].ID
		}
		flows = append(flows, x)
	}
	return flows, returned, nil
}

// asItLies is what of the line flows no plan changes, worked once a
// survey.
type asItLies struct {
	weight  []float32
	roofs   []overland.Inflow // of the roofs on the raster, C A
	intake  []int             // of each, -1: none
	before  []float64
	crossed *overland.Crossings
	plain   []overland.LineFlow // the areas, without C
}

func (l *Lie) asItLies() (*asItLies, error) {
	l.once.Do(func() { l.now, l.nowErr = l.reckon() })
	return l.now, l.nowErr
}

func (l *Lie) reckon() (*asItLies, error) {
	f, run := l.field, l.site.Criteria.Runoff
	now := &asItLies{weight: make([]float32, len(f.Dir))}
	for i := range now.weight {
		now.weight[i] = float32(run.YardC)
	}
	var roofAreas []overland.Inflow
	for _, r := range l.roofs {
		if _, ok := f.CellAt(r.At, AtHouse); !ok {
			continue // beyond the raster
		}
		c := run.RoofC
		if r.Intake >= 0 && l.site.Intakes[r.Intake].RoofC != nil {
			c = *l.site.Intakes[r.Intake].RoofC
		}
		now.roofs = append(now.roofs, overland.Inflow{At: r.At, Area: unit.Area(c) * r.Area})
		now.intake = append(now.intake, r.Intake)
		roofAreas = append(roofAreas, overland.Inflow{At: r.At, Area: r.Area})
	}
	var err error
	if now.before, err = f.Accumulate(now.weight, now.roofs, AtHouse, nil); err != nil {
		return nil, err
	}
	area, err := f.Accumulate(nil, roofAreas, AtHouse, nil)
	if err != nil {
		return nil, err
	}
	now.crossed = f.Crossings(l.lots)
	now.plain = now.crossed.Flows(area, area)
	return now, nil
}

// overflows shuts each grate in turn, the others open.
func (l *look) overflows(drains []orb.Point) error {
	first := len(drains) - len(l.grates)
	for k, x := range l.grates {
		// the ground round the grate, and the drains on it with the grate first
		at := drains[first+k]
		near, err := ground.Window(l.place, l.rows, orb.Bound{Min: at, Max: at}, followed)
		if err != nil {
			return err
		}
		part := overland.Input{Ground: near, Blocked: l.houses, Drains: []orb.Point{at}}
		for j, d := range drains {
			if _, _, ok := near.Cell(d); ok && j != first+k {
				part.Drains = append(part.Drains, d)
			}
		}
		o, err := overland.Clogged(part, 0, l.lots, l.houses)
		if err != nil {
			return err
		}
		v := Overflow{Intake: x.ID, Level: o.Level, Depth: o.Depth, Path: o.Path}
		for _, i := range o.Lots {
			v.Lots = append(v.Lots, l.site.Lots[i].ID)
		}
		for _, h := range o.Houses {
			v.Houses = append(v.Houses, l.house(h))
			for _, p := range l.site.Openings {
				if p.Level == nil || nearest(l.houses, p.At) != h {
					continue
				}
				if free := p.Level.Above(o.Level); v.Freeboard == nil || free < *v.Freeboard {
					v.Freeboard, v.Opening = &free, p.FeatureID
				}
			}
		}
		at = x.At
		if v.Freeboard != nil && *v.Freeboard < l.site.Criteria.Storm.Freeboard {
			l.find(parcels.Finding{Code: "overflow_at_opening", Severity: parcels.Warn, Lot: x.Lot, Feature: x.ID, Location: &at, Measured: parcels.Num(round(float64(*v.Freeboard))),
				Required: parcels.Num(float64(l.site.Criteria.Storm.Freeboard)), Unit: "m", Source: "P-111",
				Message: fmt.Sprintf("With its grate clogged, %s fills to %.2f m before it runs over: %.2f m under the lowest opening beside it.", x.ID, float64(o.Level), float64(*v.Freeboard)),
				Cure:    "Give the low spot a lower way out over the ground."})
		} else if len(o.Houses) > 0 {
			l.find(parcels.Finding{Code: "overflow_at_house", Severity: parcels.Warn, Lot: x.Lot, Feature: x.ID, Location: &at, Source: "P-111",
				Message: fmt.Sprintf("With its grate clogged, the water of %s runs along or stands against %s.", x.ID, v.Houses[0]), Cure: "Lead the overflow away from the house."})
		}
		for _, lot := range v.Lots {
			if lot != x.Lot {
				l.find(parcels.Finding{Code: "overflow_on_neighbour", Severity: parcels.Note, Lot: x.Lot, Feature: x.ID, Location: &at, Source: "P-52",
					Message: fmt.Sprintf("With its grate clogged, the water of %s runs over lot %s.", x.ID, lot)})
				break
			}
		}
		l.report.Overflows = append(l.report.Overflows, v)
	}
	return nil
}

// foundations tells walls from which the ground does not fall away.
func (l *Lie) foundations() {
	c := l.site.Criteria.Ground
	for b := range l.houses {
		var within orb.MultiPolygon
		lot := l.site.Buildings[b].Lot
		for i := range l.site.Lots {
			if l.site.Lots[i].ID == lot {
				within = l.lots[i]
			}
		}
		others := append(append([]orb.MultiPolygon(nil), l.houses[:b]...), l.houses[b+1:]...)
		for _, w := range overland.FoundationFall(l.surface, l.houses[b], within, others, c.FoundationFallOver, 1.5*unit.Metre) {
			at := w.At
			name := l.house(b)
			if w.Unknown == w.Places {
				l.walls = append(l.walls, parcels.Finding{Code: "foundation_ground_unknown", Severity: parcels.Note, Lot: lot, Feature: name, Source: "P-64",
					Message: fmt.Sprintf("There is no ground to tell whether it falls away from wall %d of %s.", w.Edge, name), Cure: "Shoot the lawn at the wall and 10 ft out."})
				continue
			}
			if w.Slope >= c.FoundationFall && w.Crest <= c.PondLeastDepth {
				continue
			}
			f := parcels.Finding{Code: "foundation_fall", Severity: parcels.Warn, Lot: lot, Feature: name, Location: &at, Measured: parcels.Num(round(float64(w.Slope))), Required: parcels.Num(float64(c.FoundationFall)), Source: "P-64",
				Cure: "Grade the ground to fall away, or set a swale or drain where there is no room (IRC R401.3)."}
			switch {
			case math.Abs(float64(w.Fall)) < 0.005 && w.Crest <= c.PondLeastDepth:
				f.Message = fmt.Sprintf("The ground is level within %.2f m of wall %d of %s; %.1f %% is asked.", float64(w.Over), w.Edge, name, 100*float64(c.FoundationFall))
			case w.Slope < 0 || w.Crest > c.PondLeastDepth:
				f.Message = fmt.Sprintf("The ground rises from wall %d of %s: %.2f m higher within %.2f m.", w.Edge, name, math.Max(float64(w.Crest), -float64(w.Fall)), float64(w.Over))
			default:
				f.Message = fmt.Sprintf("The ground falls %.2f m in %.2f m from wall %d of %s, %.1f %%; %.1f %% is asked.", float64(w.Fall), float64(w.Over), w.Edge, name, 100*float64(w.Slope), 100*float64(c.FoundationFall))
			}
			if short := float64(c.FoundationFall.Over(w.Over) - w.Fall); w.Slope >= 0 && short < 2*float64(w.StdErr) {
				f.Severity = parcels.Note
				f.Message += fmt.Sprintf(" The shots are good to %.2f m, so this is not proven.", float64(w.StdErr))
			}
			l.walls = append(l.walls, f)
		}
	}
}
