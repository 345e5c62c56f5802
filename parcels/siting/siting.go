// Package siting says where on a lot a trench may lie: it turns a site, a lot
// and the criteria into what geo/zone is asked, and the answers into findings.
// The planner, the audit and the commands zone and check all ask here, so that
// they cannot disagree.
//
// Geometry is in the site's plane. The room may import parcels and geo.
package siting

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
	"fallwright/parcels/memory"
)

// Ground is what bears on the trenches of one lot.
type Ground struct {
	Site *parcels.Site
	Lot  *parcels.Lot
	// Pipe is solid or perforated: it decides the foundation clearance.
	Pipe string
	// Lines is the lot with the clearance of each line.
	Lines zone.Lot
	// Roles has one role an edge of the outer ring of the first part; nil where
	// they are not known.
	Roles []parcels.LineRole
	// KeepOuts are the things near the lot with what the trench edge keeps from
	// them, those that may be crossed included.
	KeepOuts []zone.KeepOut
	// Findings of this step: what was guessed.
	Findings []parcels.Finding
	// Borders are where the lot and a neighbour do not share their line, told as
	// what is laid in the zone has it.
	Borders []parcels.Finding

	siting *Siting

	digOnce sync.Once
	dig     orb.MultiPolygon
	digErr  error
}

// near is how far beyond the lot's box a thing can bear on it: further than
// any clearance in use.
const near = 30 * unit.Metre

// Siting answers for the lots of one site. It may be used by several goroutines
// at once.
type Siting struct {
	site   *parcels.Site
	fabric *fabric
	memory *memory.Memory

	mu    sync.Mutex
	under map[string]*parcels.Site // by the districts that rule
}

// Strip is the ground within half the width of a line of the site (zone.Strip),
// worked out once. It is not to be written to.
func (t *Siting) Strip(line orb.LineString, width unit.Length) (orb.MultiPolygon, error) {
	key := func() memory.Key {
		h := memory.NewHash("siting.Strip").Number(float64(width))
		content(h, line)
		return h.Key()
	}
	m := t.memory
	if m == nil {
		m = t.fabric.strips()
	}
	return memory.Of(m, key, func() (orb.MultiPolygon, int64, error) {
		mp, err := zone.Strip(line, width)
		return mp, sizeOf(mp), err
	})
}

// fabric is what follows from the parcels alone, made when first asked.
type fabric struct {
	lots       []parcels.Lot
	neighbours func() *zone.Neighbours
	places     func() map[string]int      // of the lots, by ID
	borders    []atomic.Pointer[[]Border] // by the lot's place
	strips     func() *memory.Memory      // where there is none for all
}

// mostStrips is how many bytes the strips of one site may take.
const mostStrips = 4 << 20

// New takes up a site.
func New(s *parcels.Site) *Siting {
	return &Siting{site: s, fabric: &fabric{lots: s.Lots, borders: make([]atomic.Pointer[[]Border], len(s.Lots)), neighbours: sync.OnceValue(func() *zone.Neighbours {
		shapes := make([]orb.MultiPolygon, len(s.Lots))
		for i := range s.Lots {
			shapes[i] = s.Lots[i].Shape
		}
		return zone.NewNeighbours(shapes)
	}), strips: sync.OnceValue(func() *memory.Memory { return memory.New(mostStrips) }), places: sync.OnceValue(func() map[string]int {
		at := make(map[string]int, len(s.Lots))
		for i := range s.Lots {
			if _, ok := at[s.Lots[i].ID]; !ok {
				at[s.Lots[i].ID] = i
			}
		}
		return at
	})}}
}

// Within is t for a view of its site: fewer things, other criteria, but the
// same parcels all round.
func (t *Siting) Within(view *parcels.Site) *Siting {
	return &Siting{site: view, fabric: t.fabric, memory: t.memory}
}

// place is that of a lot among the site's.
func (t *Siting) place(lot *parcels.Lot) (int, bool) {
	if i := lot.Index; i >= 0 && i < len(t.fabric.lots) && &t.fabric.lots[i] == lot {
		return i, true
	}
	i, ok := t.fabric.places()[lot.ID]
	return i, ok
}

// Neighbours are the site's parcels, by their places in it.
func (t *Siting) Neighbours() *zone.Neighbours { return t.fabric.neighbours() }

// Ground gathers what bears on a lot of the site. Pipe is "solid" or
// "perforated"; the criteria are those of the lot (Under). The error is one of a
// shape or of a district's criteria.
func (t *Siting) Ground(lot *parcels.Lot, pipe string) (*Ground, error) {
	s, told, err := t.Under(lot)
	if err != nil {
		return nil, err
	}
	g := &Ground{Site: s, Lot: lot, Pipe: pipe, Lines: zone.Lot{Shape: lot.Shape}, Findings: slices.Clone(told), siting: t}
	c := s.Criteria
	g.roles()
	switch {
	case lot.Clearance != nil:
		g.Lines.Clearance = *lot.Clearance + c.Clearance.LineMargin
	default:
		g.Lines.Clearance = c.LineClearance("")
		if g.Roles != nil {
			edges := make([]unit.Length, len(g.Roles))
			for i, r := range g.Roles {
				edges[i] = c.LineClearance(r)
			}
			g.Lines.Edges = [][][]unit.Length{{edges}}
		}
	}
	box := lot.Shape.Bound().Pad(float64(near))
	foundation := c.Clearance.Foundation
	if pipe == "perforated" {
		foundation = c.Clearance.FoundationPerforated
	}
	g.KeepOuts = make([]zone.KeepOut, 0, min(16, len(s.Buildings)+len(s.Obstacles)+len(s.Easements))) // of a whole site few are near
	for i := range s.Buildings {
		b := &s.Buildings[i]
		if !b.Shape.Bound().Intersects(box) {
			continue
		}
		walls, err := Walls(b)
		if err != nil {
			return nil, err
		}
		if len(walls) == 0 {
			continue
		}
		g.KeepOuts = append(g.KeepOuts, zone.KeepOut{ID: Label(b.Common), Kind: "building", Geometry: walls, Clearance: foundation})
	}
	for i := range s.Obstacles {
		o := &s.Obstacles[i]
		if !o.Geometry.Bound().Pad(float64(Extent(o, c))).Intersects(box) {
			continue
		}
		g.KeepOuts = append(g.KeepOuts, zone.KeepOut{ID: o.ID, Kind: o.Kind, Geometry: o.Geometry,
			Clearance: Extent(o, c) + KeepClear(o, c), MayCross: o.Crossing != parcels.CrossingForbidden})
	}
	for i := range s.Easements {
		e := &s.Easements[i]
		if !e.Geometry.Bound().Pad(float64(half(e.Width))).Intersects(box) {
			continue
		}
		g.KeepOuts = append(g.KeepOuts, zone.KeepOut{ID: e.ID, Kind: "easement", Geometry: e.Geometry, Clearance: easementHalf(e),
			MayCross: e.Trench != parcels.TrenchForbidden})
	}
	twice, err := g.disputed()
	g.KeepOuts = append(g.KeepOuts, twice...)
	return g, err
}

// Walls is a footprint's wall line: a roof outline is first taken in by its
// overhang.
func Walls(b *parcels.Building) (orb.MultiPolygon, error) {
	if !b.Roof || b.Overhang == 0 {
		return b.Shape, nil
	}
	return zone.Walls(b.Shape, b.Overhang)
}

// Label is how findings name a feature without a name of its own.
func Label(c parcels.Common) string {
	if c.FeatureID != "" {
		return c.FeatureID
	}
	return fmt.Sprintf("#%d", c.Index)
}

func half(w *unit.Length) unit.Length {
	if w == nil {
		return 0
	}
	return *w / 2
}

func easementHalf(e *parcels.Easement) unit.Length {
	if _, ok := e.Geometry.(orb.LineString); ok {
		return half(e.Width)
	}
	return 0
}

// Extent is how far an obstacle reaches from its geometry: the radius of a
// point (a tree's whole root zone, or its trunk times the criteria's rule),
// half the width of a line.
func Extent(o *parcels.Obstacle, c parcels.Criteria) unit.Length {
	switch o.Geometry.(type) {
	case orb.Point:
		switch {
		case o.Radius != nil:
			return *o.Radius
		case o.Trunk != nil:
			return unit.Length(float64(*o.Trunk) * c.Clearance.RootZonePerTrunk)
		}
	case orb.LineString:
		return half(o.Width)
	}
	return 0
}

// KeepClear is what the trench edge keeps from an obstacle on top of its
// extent: its own, else the criteria's for utilities, septic and wells, else 0.
func KeepClear(o *parcels.Obstacle, c parcels.Criteria) unit.Length {
	switch {
	case o.KeepClear != nil:
		return *o.KeepClear
	case o.Kind == "utility":
		return c.Clearance.Utility
	case o.Kind == "septic":
		return c.Clearance.Septic
	case o.Kind == "well":
		return c.Clearance.Well
	}
	return 0
}

// roles takes the roles the input gives; where it is silent and the criteria
// tell roles apart, it works them out and says that it guessed.
func (g *Ground) roles() {
	c := g.Site.Criteria.Clearance
	if len(g.Lot.Roles) == len(g.Lot.Shape[0][0])-1 {
		g.Roles = g.Lot.Roles
		return
	}
	if c.Front == nil && c.Side == nil && c.Rear == nil || g.Lot.Clearance != nil {
		return // one clearance for all: the roles do not matter
	}
	roles := g.siting.Roles(g.Lot)
	g.Roles = roles.Edge
	if roles.Guessed {
		g.Findings = append(g.Findings, parcels.Finding{Code: "line_roles_guessed", Severity: parcels.Warn, Lot: g.Lot.ID, NotProven: true,
			Message: "The roles of the lines of lot " + g.Lot.ID + " (front, side, rear) are not given: " + roles.Why + ".",
			Cure:    "Give line_roles for lot " + g.Lot.ID + ", or one clearance for all lines."})
	}
}

// Roles are the roles of a lot's lines: as given, else worked out.
type Roles struct {
	Edge    []parcels.LineRole
	Guessed bool
	Why     string
}

// Roles gives the roles of the edges of the lot's outer ring.
func (t *Siting) Roles(lot *parcels.Lot) Roles {
	if len(lot.Roles) == len(lot.Shape[0][0])-1 {
		return Roles{Edge: lot.Roles}
	}
	at, ok := t.place(lot)
	if !ok {
		return Roles{Guessed: true, Why: "the lot is none of the site's"}
	}
	var streets []orb.Geometry
	for i := range t.site.Streets {
		streets = append(streets, t.site.Streets[i].Geometry)
	}
	r := t.Neighbours().Roles(at, streets)
	out := Roles{Guessed: r.Guessed, Why: r.Why}
	for _, e := range r.Edge {
		out.Edge = append(out.Edge, parcels.LineRole(e))
	}
	return out
}

// Zone is the trench zone of the lot, edge to edge.
func (g *Ground) Zone() (zone.Zone, error) { return zone.Trench(g.Lines, g.Barred()) }

// CentreLine is where the middle of a trench of the width may lie.
func (g *Ground) CentreLine(width unit.Length) (zone.Zone, error) {
	z, err := memory.Of(g.siting.memory, func() memory.Key { return g.key("CentreLine", float64(width)) }, func() (zone.Zone, int64, error) {
		z, err := zone.CentreLine(g.Lines, g.Barred(), width)
		return z, sizeOf(z.Shape) + 128*int64(len(z.Removed)), err
	})
	z.Removed = slices.Clone(z.Removed) // what they take is filled in there
	return z, err
}

// LeadOff is where the middle of a first run may lie: as the zone, but up to
// the walls (a hand's breadth into the mapped footprint, since downspouts are
// drawn on it).
func (g *Ground) LeadOff(width unit.Length) (orb.MultiPolygon, error) {
	return g.area("LeadOff", []float64{float64(width)}, func() (orb.MultiPolygon, error) { return g.leadOff(width) })
}

func (g *Ground) leadOff(width unit.Length) (orb.MultiPolygon, error) {
	lines := g.Lines
	lines.Clearance += width / 2
	if lines.Edges != nil {
		edges := make([]unit.Length, len(lines.Edges[0][0]))
		for i, e := range lines.Edges[0][0] {
			edges[i] = e + width/2
		}
		lines.Edges = [][][]unit.Length{{edges}}
	}
	var out []zone.KeepOut
	for _, k := range g.Barred() {
		if k.Kind == "building" {
			if !k.Geometry.Bound().Intersects(g.Lot.Shape.Bound()) {
				continue // it takes nothing of the lot
			}
			in, err := zone.Walls(k.Geometry.(orb.MultiPolygon), intoWall)
			if err != nil {
				return nil, err
			}
			if len(in) == 0 {
				continue
			}
			k.Geometry, k.Clearance = in, 0
		} else {
			k.Clearance += width / 2
		}
		out = append(out, k)
	}
	z, err := zone.Trench(lines, out)
	return z.Shape, err
}

// intoWall is how far inside a mapped footprint a downspout may stand and its
// first run still begin there.
const intoWall = 0.15 * unit.Metre

// Barred are the keep-outs that take ground.
func (g *Ground) Barred() []zone.KeepOut {
	out := make([]zone.KeepOut, 0, len(g.KeepOuts))
	for _, k := range g.KeepOuts {
		if !k.MayCross {
			out = append(out, k)
		}
	}
	return out
}

// LastRun is where, besides the zone, the middle of a last run to a structure
// may lie, so that the trench, edge to edge, lies over the owner's lot, or over
// easements and streets where a trench is allowed or allowed with permission;
// never over another lot outside one, a building or another forbidden thing.
// For the last half width before the structure only the middle counts: there
// the pipe enters it.
func (g *Ground) LastRun(to orb.Point, width unit.Length) (orb.MultiPolygon, error) {
	may, err := g.mayDig()
	if err != nil || len(may) == 0 {
		return nil, err
	}
	key := func() memory.Key {
		h := memory.NewHash("siting.LastRun").Number(to[0], to[1], float64(width))
		content(h, may)
		return h.Key()
	}
	return memory.Of(g.siting.memory, key, func() (orb.MultiPolygon, int64, error) {
		mp, err := lastRun(may, to, width)
		return mp, sizeOf(mp), err
	})
}

func lastRun(may orb.MultiPolygon, to orb.Point, width unit.Length) (orb.MultiPolygon, error) {
	in, err := zone.Trench(zone.Lot{Shape: may, Clearance: width / 2}, nil)
	if err != nil {
		return nil, err
	}
	end, err := zone.Near(may, to, width/2+0.002)
	if err != nil {
		return nil, err
	}
	return zone.Merge([]orb.MultiPolygon{in.Shape, end}, nil)
}

// mayDig is the ground where the owner may dig, with leave where it is needed.
func (g *Ground) mayDig() (orb.MultiPolygon, error) {
	g.digOnce.Do(func() { g.dig, g.digErr = g.workMayDig() })
	return g.dig, g.digErr
}

func (g *Ground) workMayDig() (orb.MultiPolygon, error) {
	box := g.Lot.Shape.Bound().Pad(float64(g.Site.Criteria.TieIn.Reach) + 1)
	dug := []piece{{area: g.Lot.Shape}}
	add := func(geom orb.Geometry, width *unit.Length) {
		if !geom.Bound().Pad(float64(half(width))).Intersects(box) {
			return
		}
		switch x := geom.(type) {
		case orb.MultiPolygon:
			dug = append(dug, piece{area: x})
		case orb.LineString:
			if width != nil {
				dug = append(dug, piece{line: x, width: *width})
			}
		}
	}
	for i := range g.Site.Easements {
		if e := &g.Site.Easements[i]; e.Trench != parcels.TrenchForbidden {
			add(e.Geometry, e.Width)
		}
	}
	for i := range g.Site.Streets {
		if st := &g.Site.Streets[i]; st.Trench == parcels.TrenchAllowed || st.Trench == parcels.TrenchPermission {
			add(st.Geometry, nil)
		}
	}
	barred := g.barredShapes(box)
	return memory.Of(g.siting.memory, func() memory.Key { return digKey(dug, barred) }, func() (orb.MultiPolygon, int64, error) {
		var areas []orb.MultiPolygon
		for _, d := range dug {
			if d.line != nil {
				strip, err := g.siting.Strip(d.line, d.width)
				if err != nil {
					return nil, 0, err
				}
				d.area = strip
			}
			areas = append(areas, d.area)
		}
		all, err := zone.Merge(areas, barred)
		if err != nil {
			return nil, 0, err
		}
		all = WithoutSlivers(all)
		return all, sizeOf(all), nil
	})
}

// WithoutSlivers drops parts and holes of less than a square centimetre: what an
// overlay leaves where two drawings of one line do not quite meet. No trench
// lies in one.
func WithoutSlivers(mp orb.MultiPolygon) orb.MultiPolygon {
	const least = 1e-4
	var out orb.MultiPolygon
	for _, p := range mp {
		if len(p) == 0 || math.Abs(float64(shape.RingArea(p[0]))) < least {
			continue
		}
		q := orb.Polygon{p[0]}
		for _, h := range p[1:] {
			if math.Abs(float64(shape.RingArea(h))) >= least {
				q = append(q, h)
			}
		}
		out = append(out, q)
	}
	return out
}

// barredShapes are the forbidden things' own extents, as keep-outs without the
// criteria's clearances, as far as they reach into the box.
func (g *Ground) barredShapes(box orb.Bound) []zone.KeepOut {
	var out []zone.KeepOut
	for i := range g.Site.Obstacles {
		o := &g.Site.Obstacles[i]
		// a line without a width still bars: it must take ground
		ext := max(Extent(o, g.Site.Criteria), unit.Millimetre)
		if o.Crossing == parcels.CrossingForbidden && o.Geometry.Bound().Pad(float64(ext)).Intersects(box) {
			out = append(out, zone.KeepOut{ID: o.ID, Kind: o.Kind, Geometry: o.Geometry, Clearance: ext})
		}
	}
	for _, k := range g.KeepOuts {
		if k.Kind == "building" || k.Kind == "easement" && !k.MayCross {
			if k.Kind == "building" {
				k.Clearance = 0
			}
			out = append(out, k)
		}
	}
	return out
}

// Consents are the easements and streets of a site where others must agree to a
// trench; gathered once for all runs of a plan.
type Consents []consent

type consent struct {
	name     string
	geometry orb.Geometry
	reach    unit.Length // from the geometry
	box      orb.Bound   // of the geometry
}

// ConsentsOf gathers those of a site.
func ConsentsOf(s *parcels.Site) Consents {
	var out Consents
	for i := range s.Easements {
		if e := &s.Easements[i]; e.Trench == parcels.TrenchPermission {
			out = append(out, consent{"easement " + e.ID + " (" + e.Kind + ")", e.Geometry, easementHalf(e), e.Geometry.Bound()})
		}
	}
	for i := range s.Streets {
		if st := &s.Streets[i]; st.Trench == parcels.TrenchPermission {
			out = append(out, consent{"street " + Label(st.Common), st.Geometry, 0, st.Geometry.Bound()})
		}
	}
	return out
}

// On names those that a trench of the width along the line reaches into.
func (cs Consents) On(line orb.LineString, width unit.Length) []string {
	var out []string
	box := line.Bound()
	for i := range cs {
		c := &cs[i]
		within := c.reach + width/2
		if !c.box.Pad(float64(within)).Intersects(box) {
			continue
		}
		if d, err := zone.Between(c.geometry, line); err == nil && float64(d) <= math.Max(float64(within), 0) {
			out = append(out, c.name)
		}
	}
	return out
}
