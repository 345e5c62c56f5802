package zone

// The zone of a lot: its shape, what it was made from, and why it is empty.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/internal/geosop"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Lot is a parcel and how far the trench keeps from its lines.
type Lot struct {
	// Shape is valid, each ring closed; holes keep the clearance too.
	Shape orb.MultiPolygon
	// Clearance holds for every edge that Edges says nothing of: 0 to MostClearance.
	Clearance unit.Length
	// Edges[p][r][e] is the clearance of edge e of ring r of part p. Edges, an
	// Edges[p] or an Edges[p][r] that is nil leaves it to Clearance; otherwise
	// it has one entry an edge. Parts and rings at the end may be left out.
	Edges [][][]unit.Length
}

// edge gives the clearance of one edge.
func (l Lot) edge(part, ring, e int) unit.Length {
	if part < len(l.Edges) && ring < len(l.Edges[part]) && l.Edges[part][ring] != nil {
		return l.Edges[part][ring][e]
	}
	return l.Clearance
}

// uniform tells whether all edges have one clearance.
func (l Lot) uniform() bool {
	for _, p := range l.Edges {
		for _, r := range p {
			for _, c := range r {
				if c != l.Clearance {
					return false
				}
			}
		}
	}
	return true
}

// MostClearance is the greatest clearance taken: more is a slip of the unit.
const MostClearance = 1000 * unit.Metre

// KeepOut is a thing that takes ground out of the zone: a footprint, a tree, an
// easement.
type KeepOut struct {
	ID   string
	Kind string // what it is to the reader: "building", "tree", ...
	// Geometry is its own extent: a point, line or area.
	Geometry orb.Geometry
	// Clearance is what the trench edge keeps from it, 0 to MostClearance.
	Clearance unit.Length
	// MayCross: it takes no ground; it is here to be told of only.
	MayCross bool
}

// Rules of bad input that is no fault of a shape.
const (
	RuleClearance shape.Rule = "clearance-out-of-range"
	RuleCount     shape.Rule = "entries-not-one-an-edge"
)

// Method says how a zone was worked out.
type Method string

const (
	// Direct: the project's own routine, certified.
	Direct Method = "direct"
	// ByOverlay: GEOS overlay of exact pieces.
	ByOverlay Method = "overlay"
)

// Removed is a thing that takes ground out of the lot.
type Removed struct {
	ID, Kind  string
	Clearance unit.Length
	// Area is the ground of the lot within it and its clearance, whatever else
	// lies there too; nil until MeasureRemoved is asked.
	Area *unit.Area
}

// Zone is the ground where a trench may lie.
type Zone struct {
	Shape  orb.MultiPolygon
	Area   unit.Area
	Pieces int
	// EmptyReason says why there is no ground, in one sentence; empty where
	// there is some.
	EmptyReason string
	// Removed names the things that reach into the lot, in the order given.
	Removed []Removed
	By      Method
	more    unit.Length // beyond the clearances: half the trench, of a centre line
}

// leastPiece is the area below which a piece is none: a square centimetre.
const leastPiece unit.Area = 1e-4

// Trench gives the zone of a lot: the points at least the clearance from each
// of its edges, inside it, and outside each thing grown by its clearance. A bad
// shape is a *shape.InvalidError (the first of its faults, wrapped with the
// thing's id); so is a clearance that is negative, no number or absurd, and a
// lot whose lines are too many or too tangled to be worked out in seconds.
func Trench(lot Lot, out []KeepOut) (Zone, error) { return work(lot, out, 0) }

// CentreLine gives the zone of the middle of a trench of the given width: half
// the width further from everything.
func CentreLine(lot Lot, out []KeepOut, width unit.Length) (Zone, error) {
	if !(width >= 0 && width <= MostClearance) {
		return Zone{}, &shape.InvalidError{Rule: RuleClearance, Detail: fmt.Sprintf("the trench width is %v m; give 0 to %v m", float64(width), float64(MostClearance))}
	}
	return work(lot, out, width/2)
}

// Workspace finds the zones of many lots one after another in memory that is used
// again. The zero Workspace is ready; it serves one goroutine.
type Workspace struct {
	scratch scratch
	room    room
}

// Trench is Trench whose Zone is good until the next call.
func (w *Workspace) Trench(lot Lot, out []KeepOut) (Zone, error) {
	if z, ok, err := w.scratch.zone(lot, out, 0, &w.room); ok || err != nil {
		return z, err
	}
	return overlay(lot, out, 0)
}

func work(lot Lot, out []KeepOut, more unit.Length) (Zone, error) {
	if z, ok, err := direct(lot, out, more); ok || err != nil {
		return z, err
	}
	return overlay(lot, out, more)
}

// check tells the first thing that is wrong with a lot or a thing.
func check(lot *Lot, out []KeepOut) error {
	if err := lot.check(); err != nil {
		return err
	}
	for i := range out {
		if err := out[i].check(); err != nil {
			return err
		}
	}
	return nil
}

func overlay(lot Lot, out []KeepOut, more unit.Length) (Zone, error) {
	if err := limit(lot, out, more); err != nil {
		return Zone{}, err
	}
	return byOverlay(lot, out, more, around)
}

func (l *Lot) check() error {
	if f := shape.Check(l.Shape); len(f) > 0 {
		return f[0]
	}
	return l.clearances()
}

// clearances checks that each is in range and there is one an edge.
func (l *Lot) clearances() error {
	if !inRange(l.Clearance) {
		return clearanceError(shape.Spot{}, nil, l.Clearance)
	}
	if len(l.Edges) > len(l.Shape) {
		return &shape.InvalidError{Rule: RuleCount, Detail: fmt.Sprintf("clearances for %d parts, the lot has %d", len(l.Edges), len(l.Shape))}
	}
	for p := range l.Edges {
		if len(l.Edges[p]) > len(l.Shape[p]) {
			return &shape.InvalidError{Rule: RuleCount, Part: p, Detail: fmt.Sprintf("clearances for %d rings, the part has %d", len(l.Edges[p]), len(l.Shape[p]))}
		}
		for r, cs := range l.Edges[p] {
			if cs == nil {
				continue
			}
			if n := len(l.Shape[p][r]) - 1; len(cs) != n {
				return &shape.InvalidError{Rule: RuleCount, Part: p, Ring: r, Detail: fmt.Sprintf("%d clearances, the ring has %d edges; give one an edge", len(cs), n)}
			}
			for e, c := range cs {
				if !inRange(c) {
					return clearanceError(shape.Spot{Part: p, Ring: r, Vertex: e}, &l.Shape[p][r][e], c)
				}
			}
		}
	}
	return nil
}

func inRange(c unit.Length) bool { return c >= 0 && c <= MostClearance }

func clearanceError(s shape.Spot, at *orb.Point, c unit.Length) error {
	return &shape.InvalidError{Rule: RuleClearance, Part: s.Part, Ring: s.Ring, Vertex: s.Vertex, At: at,
		Detail: fmt.Sprintf("the clearance is %v m; give 0 to %v m", float64(c), float64(MostClearance))}
}

func (k *KeepOut) check() error {
	if f := shape.Check(k.Geometry); len(f) > 0 {
		return fmt.Errorf("zone: %s: %w", k.name(), f[0])
	}
	if !inRange(k.Clearance) {
		return fmt.Errorf("zone: %s: %w", k.name(), clearanceError(shape.Spot{}, nil, k.Clearance))
	}
	return nil
}

// name is what a message calls the thing.
func (k KeepOut) name() string {
	kind := k.Kind
	if kind == "" {
		kind = "keep-out"
	}
	if k.ID == "" {
		return kind
	}
	return kind + " " + k.ID
}

// byOverlay cuts exact pieces out of the lot with GEOS. It is right for every
// valid input; it is the reference of the direct routine.
func byOverlay(lot Lot, out []KeepOut, more unit.Length, arcs arc) (Zone, error) {
	var strips []orb.Polygon
	for p, poly := range lot.Shape {
		for r, ring := range poly {
			es := edges(ring, true, func(i int) float64 { return float64(lot.edge(p, r, i) + more) })
			strips = append(strips, arcs.pieces(es, true)...)
		}
	}
	inset, err := geosop.Without(lot.Shape, strips)
	if err != nil {
		return Zone{}, fmt.Errorf("zone: %w", err)
	}
	z := Zone{By: ByOverlay, more: more}
	reach := lot.Shape.Bound()
	var cuts []orb.Polygon
	for _, k := range out {
		if k.MayCross || !k.Geometry.Bound().Pad(float64(k.Clearance+more)+arcError).Intersects(reach) {
			continue
		}
		cuts = append(cuts, arcs.grown(k.Geometry, float64(k.Clearance+more))...)
		z.Removed = append(z.Removed, Removed{ID: k.ID, Kind: k.Kind, Clearance: k.Clearance})
	}
	mp, err := geosop.Without(inset, cuts)
	if err != nil {
		return Zone{}, fmt.Errorf("zone: %w", err)
	}
	z.take(mp)
	if z.Pieces == 0 {
		z.EmptyReason, err = whyEmpty(lot, out, more, inset)
	}
	return z, err
}

// take keeps the pieces that are ground, in a fixed order.
func (z *Zone) take(mp orb.MultiPolygon) {
	for _, p := range mp {
		if p = tidy(p); p != nil {
			z.Shape = append(z.Shape, p)
		}
	}
	z.Area = shape.Area(z.Shape)
	z.Pieces = len(z.Shape)
}

// tidy orients a piece, leaves out vertices that bend a ring by no more than
// the numeric tolerance, and gives nil for what is no ground.
func tidy(p orb.Polygon) orb.Polygon {
	var out orb.Polygon
	for i, r := range p {
		var t orb.Ring
		for _, v := range r[:len(r)-1] {
			for len(t) > 1 && dull(t[len(t)-2], t[len(t)-1], v) {
				t = t[:len(t)-1]
			}
			if len(t) == 0 || !same(t[len(t)-1], v) {
				t = append(t, v)
			}
		}
		for len(t) > 2 && (same(t[len(t)-1], t[0]) || dull(t[len(t)-2], t[len(t)-1], t[0])) {
			t = t[:len(t)-1]
		}
		for len(t) > 2 && dull(t[len(t)-1], t[0], t[1]) {
			t = t[1:]
		}
		ok := len(t) > 2
		if ok {
			t = append(t, t[0])
			a := shape.RingArea(t)
			if ok = unit.Area(math.Abs(float64(a))) >= leastPiece; (a < 0) == (i == 0) {
				t.Reverse()
			}
		}
		switch {
		case ok:
			out = append(out, t)
		case i == 0:
			return nil
		}
	}
	if shape.Area(orb.MultiPolygon{out}) < leastPiece {
		return nil
	}
	return out
}

func same(a, b orb.Point) bool { return math.Hypot(a[0]-b[0], a[1]-b[1]) <= numeric }

// dull tells whether b can be left out between a and c: it lies on their
// segment, or is the tip of a spike without width.
func dull(a, b, c orb.Point) bool {
	d, _ := shape.PointSegment(b, a, c)
	if float64(d) <= numeric {
		return true
	}
	e, _ := shape.PointSegment(c, a, b)
	f, _ := shape.PointSegment(a, b, c)
	return float64(e) <= numeric && !same(b, c) || float64(f) <= numeric && !same(a, b)
}

// whyEmpty says what leaves no ground. inset is the lot without its strips.
func whyEmpty(lot Lot, out []KeepOut, more unit.Length, inset orb.MultiPolygon) (string, error) {
	var left Zone
	left.take(inset)
	if left.Pieces == 0 {
		_, r, err := geosop.InscribedCircle(lot.Shape, 0.001)
		if err != nil {
			return "", fmt.Errorf("zone: %w", err)
		}
		least, most := lot.extremes()
		c := fmt.Sprintf("%.3f m", float64(least+more))
		if most != least {
			c = fmt.Sprintf("%.3f to %.3f m", float64(least+more), float64(most+more))
		}
		return fmt.Sprintf("the lot is nowhere wide enough: the widest circle in it is %.3f m across, and the clearance from its lines is %s a side", 2*float64(r), c), nil
	}
	for _, k := range out {
		if k.MayCross {
			continue
		}
		mp, err := geosop.Without(inset, around.grown(k.Geometry, float64(k.Clearance+more)))
		if err != nil {
			return "", fmt.Errorf("zone: %w", err)
		}
		var rest Zone
		if rest.take(mp); rest.Pieces == 0 {
			return fmt.Sprintf("%s with its clearance of %.3f m fills what the lot lines leave (%.1f m2)", k.name(), float64(k.Clearance+more), float64(left.Area)), nil
		}
	}
	names := ""
	for _, k := range out {
		if !k.MayCross {
			if names != "" {
				names += ", "
			}
			names += k.name()
		}
	}
	return fmt.Sprintf("%s with their clearances together fill what the lot lines leave (%.1f m2)", names, float64(left.Area)), nil
}

// extremes are the least and greatest clearance of the lot's edges.
func (l Lot) extremes() (least, most unit.Length) {
	if l.Edges == nil {
		return l.Clearance, l.Clearance
	}
	least, most = unit.Length(math.Inf(1)), 0
	for p, poly := range l.Shape {
		for r, ring := range poly {
			for e := range ring[1:] {
				c := l.edge(p, r, e)
				least, most = min(least, c), max(most, c)
			}
		}
	}
	return least, most
}

// Walls takes a roof outline in by its overhang: the area the walls enclose.
// Arcs lie so that no wall comes out further in than it stands; an outline too
// narrow for its overhang is given back as it is, which is the safe side.
func Walls(roof orb.MultiPolygon, overhang unit.Length) (orb.MultiPolygon, error) {
	if f := shape.Check(roof); len(f) > 0 {
		return nil, f[0]
	}
	if !inRange(overhang) {
		return nil, clearanceError(shape.Spot{}, nil, overhang)
	}
	var strips []orb.Polygon
	for _, poly := range roof {
		for _, ring := range poly {
			strips = append(strips, within.pieces(edges(ring, true, func(int) float64 { return float64(overhang) }), true)...)
		}
	}
	in, err := geosop.Without(roof, strips)
	if err != nil {
		return nil, fmt.Errorf("zone: %w", err)
	}
	var walls Zone
	if walls.take(in); walls.Pieces == 0 {
		return roof, nil
	}
	return walls.Shape, nil
}
