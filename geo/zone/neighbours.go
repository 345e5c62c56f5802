package zone

// Parcels side by side: which edges face a street, and where two parcels leave
// a gap between them or lie over one another.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/tidwall/rtree"

	"fallwright/geo/internal/geosop"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Neighbours is a set of parcels that can be asked what lies around each. It is
// safe for use by several goroutines at once.
type Neighbours struct {
	lots []orb.MultiPolygon
	box  []orb.Bound
	tree rtree.RTreeG[int]
}

// NewNeighbours takes up valid parcels; an empty one holds a number and nothing
// else.
func NewNeighbours(lots []orb.MultiPolygon) *Neighbours {
	n := &Neighbours{lots: lots, box: make([]orb.Bound, len(lots))}
	for i, l := range lots {
		if len(l) > 0 {
			n.box[i] = l.Bound()
			n.tree.Insert(n.box[i].Min, n.box[i].Max, i)
		}
	}
	return n
}

// near visits the parcels whose bounds meet a box, except one.
func (n *Neighbours) near(b orb.Bound, but int, visit func(i int)) {
	n.tree.Search(b.Min, b.Max, func(_, _ [2]float64, i int) bool {
		if i != but {
			visit(i)
		}
		return true
	})
}

// Role is the role of a lot line.
type Role string

const (
	Front Role = "front" // faces a street
	Side  Role = "side"
	Rear  Role = "rear" // opposite the front
)

// Basis says what roles were worked out from.
type Basis string

const (
	FromStreets Basis = "streets" // a streets layer
	FromGaps    Basis = "gaps"    // the ground between parcels that none of them holds
	FromShape   Basis = "shape"   // the lot alone: a guess
)

// Roles are the roles of the edges of a lot's outer ring (of its first part).
type Roles struct {
	Edge  []Role
	Basis Basis
	// Guessed: the front does not follow from a streets layer. Why says from
	// what it does, in one sentence.
	Guessed bool
	Why     string
	// Corner: the lot faces streets on two sides or more; each is a front, and
	// the rear is opposite the shorter.
	Corner bool
	// Flag: a pole leads to the street; the rear is opposite its end.
	Flag bool
}

const (
	streetReach = 3.0  // a street area this near to an edge is faced by it, m
	centreReach = 25.0 // so is a street's centre line, if no parcel is between
	gapReach    = 60.0 // a gap wider than this, or without end, is open land, m
	gapLeast    = 2.5  // a narrower gap is two drawings of one line, or a path
	cornerTurn  = 40.0 // a turn of the line by more parts two fronts, degrees
)

// Roles works out the roles of one parcel's edges: front is an edge along a
// street, rear the edges opposite, side the rest. streets holds areas or centre
// lines; where none lies by the lot, a gap between the parcels counts as the
// street, else open ground, else the shape alone.
func (n *Neighbours) Roles(lot int, streets []orb.Geometry) Roles {
	if len(n.lots[lot]) == 0 || len(n.lots[lot][0]) == 0 {
		return Roles{Basis: FromShape, Guessed: true, Why: "the lot has no shape"}
	}
	ring := n.lots[lot][0][0]
	es := make([]edge, len(ring)-1)
	for i := range es {
		es[i] = newEdge(ring[i], ring[i+1], 0)
	}
	outward := -1.0 // of the left normal
	if shape.RingArea(ring) < 0 {
		outward = 1
	}
	r := Roles{Edge: make([]Role, len(es))}
	facing := make([]bool, len(es))
	some := func(f func(p, out orb.Point) bool) bool {
		hits, most := make([]int, len(es)), 0
		for i, e := range es {
			for _, t := range []float64{0.15, 0.325, 0.5, 0.675, 0.85} {
				p := orb.Point{e.a[0] + t*(e.b[0]-e.a[0]), e.a[1] + t*(e.b[1]-e.a[1])}
				if f(p, orb.Point{outward * e.n[0], outward * e.n[1]}) {
					hits[i]++
				}
			}
			most = max(most, hits[i])
		}
		for i := range es { // the greater part of an edge, or what there is
			facing[i] = hits[i] >= 3 || most < 3 && hits[i] > 0
		}
		return most > 0
	}
	switch {
	case len(streets) > 0 && some(func(p, out orb.Point) bool { return n.facesStreet(lot, p, out, streets) }):
		r.Basis, r.Why = FromStreets, "the front is the edge along a street of the streets layer"
	case some(func(p, out orb.Point) bool {
		d, ok := n.across(lot, p, out, gapReach)
		return ok && d >= gapLeast
	}):
		r.Basis, r.Guessed, r.Why = FromGaps, true, "no street is given beside the lot: the gap between its edge and the parcels opposite is taken for one"
	case some(func(p, out orb.Point) bool {
		_, ok := n.across(lot, p, out, gapReach)
		return !ok
	}) && !all(facing):
		r.Basis, r.Guessed, r.Why = FromGaps, true, "no street is given and no parcel lies opposite: the edge on open ground is taken for the front"
	default:
		r.Basis, r.Guessed, r.Why = FromShape, true, "neither street nor neighbour tells the front: the shorter side of the lot is taken for it"
		copy(facing, shortSide(es))
	}
	r.settle(es, facing, outward)
	return r
}

func all(b []bool) bool {
	for _, v := range b {
		if !v {
			return false
		}
	}
	return true
}

// facesStreet tells whether going straight out from a place on the lot's edge
// meets a street before another parcel.
func (n *Neighbours) facesStreet(lot int, p, out orb.Point, streets []orb.Geometry) bool {
	for _, s := range streets {
		reach := streetReach
		var line []orb.LineString
		var area orb.MultiPolygon
		switch g := s.(type) {
		case orb.LineString:
			line, reach = []orb.LineString{g}, centreReach
		case orb.MultiLineString:
			line, reach = g, centreReach
		case orb.Polygon:
			area = orb.MultiPolygon{g}
		case orb.MultiPolygon:
			area = g
		}
		far := orb.Point{p[0] + reach*out[0], p[1] + reach*out[1]}
		if s == nil || !(orb.MultiPoint{p, far}).Bound().Intersects(s.Bound()) {
			continue
		}
		for _, poly := range area {
			for _, r := range poly {
				line = append(line, orb.LineString(r))
			}
		}
		first := math.Inf(1)
		if area != nil && shape.Locate(orb.Point{p[0] + 1e-3*out[0], p[1] + 1e-3*out[1]}, area) != shape.Outside {
			first = 0
		}
		for _, l := range line {
			for i := 1; i < len(l); i++ {
				if m, at := shape.Cross(p, far, l[i-1], l[i]); m != shape.Apart {
					first = math.Min(first, math.Hypot(at[0]-p[0], at[1]-p[1]))
				}
			}
		}
		if math.IsInf(first, 1) {
			continue
		}
		if d, ok := n.across(lot, p, out, first); !ok || d >= first-1e-3 || area != nil && first == 0 {
			return true
		}
	}
	return false
}

// across is how far straight out from a place on the lot's edge the next parcel
// begins, 0 where one adjoins; false when none does within reach.
func (n *Neighbours) across(lot int, p, out orb.Point, reach float64) (float64, bool) {
	far := orb.Point{p[0] + reach*out[0], p[1] + reach*out[1]}
	near := orb.Point{p[0] + 0.05*out[0], p[1] + 0.05*out[1]} // beyond two drawings of one line
	first := math.Inf(1)
	n.near(orb.MultiPoint{p, far}.Bound(), lot, func(i int) {
		if shape.Locate(near, n.lots[i]) != shape.Outside {
			first = 0
			return
		}
		for _, poly := range n.lots[i] {
			for _, r := range poly {
				for e := 1; e < len(r); e++ {
					if m, at := shape.Cross(p, far, r[e-1], r[e]); m != shape.Apart {
						first = math.Min(first, math.Hypot(at[0]-p[0], at[1]-p[1]))
					}
				}
			}
		}
	})
	return first, first <= reach
}

// shortSide picks one side of the least rectangle about the lot: a short one.
func shortSide(es []edge) []bool {
	best, dir := math.Inf(1), orb.Point{}
	for _, e := range es {
		lo, hi, l2, h2 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		for _, f := range es {
			u, v := f.a[0]*e.d[0]+f.a[1]*e.d[1], f.a[0]*e.n[0]+f.a[1]*e.n[1]
			lo, hi, l2, h2 = math.Min(lo, u), math.Max(hi, u), math.Min(l2, v), math.Max(h2, v)
		}
		if area := (hi - lo) * (h2 - l2); area < best*(1-numeric) {
			best, dir = area, e.n
			if hi-lo > h2-l2 { // the front looks along the longer extent
				dir = e.d
			}
		}
	}
	out := make([]bool, len(es))
	most, at := math.Inf(-1), 0
	for i, e := range es {
		if d := math.Abs(e.n[0]*dir[0]+e.n[1]*dir[1]) * math.Hypot(e.b[0]-e.a[0], e.b[1]-e.a[1]); d > most*(1+numeric) {
			most, at = d, i
		}
	}
	out[at] = true
	return out
}

// settle turns which edges face a street into roles.
func (r *Roles) settle(es []edge, facing []bool, outward float64) {
	n := len(es)
	length := func(i int) float64 { return math.Hypot(es[i].b[0]-es[i].a[0], es[i].b[1]-es[i].a[1]) }
	turn := func(i int) float64 { // at the end of edge i
		e, f := es[i], es[(i+1)%n]
		return math.Abs(math.Atan2(e.d[0]*f.d[1]-e.d[1]*f.d[0], e.d[0]*f.d[0]+e.d[1]*f.d[1])) * 180 / math.Pi
	}
	// runs of edges along one street
	type run struct {
		edges  []int
		length float64
		out    orb.Point // mean direction outward, by length
	}
	start := 0
	for i := range es {
		if !facing[i] || !facing[(i+n-1)%n] || turn((i+n-1)%n) > cornerTurn {
			start = i
			break
		}
	}
	var runs []run
	for k := 0; k < n; k++ {
		i := (start + k) % n
		if !facing[i] {
			continue
		}
		r.Edge[i] = Front
		if k == 0 || !facing[(i+n-1)%n] || turn((i+n-1)%n) > cornerTurn {
			runs = append(runs, run{})
		}
		u := &runs[len(runs)-1]
		u.edges = append(u.edges, i)
		u.length += length(i)
		u.out[0] += outward * es[i].n[0] * length(i)
		u.out[1] += outward * es[i].n[1] * length(i)
	}
	if len(runs) == 0 {
		return
	}
	longest := 0.0
	for _, u := range runs {
		longest = math.Max(longest, u.length)
	}
	main := run{length: math.Inf(1)}
	fronts := 0
	for _, u := range runs {
		if u.length < longest/5 && u.length < 3 {
			continue // a cut corner is no street front of its own
		}
		fronts++
		if u.length < main.length {
			main = u
		}
	}
	r.Corner = fronts > 1
	out := main.out
	if l := math.Hypot(out[0], out[1]); l > 0 {
		out = orb.Point{out[0] / l, out[1] / l}
	}
	// depth behind the front, along its mean direction
	front := 0.0
	for _, i := range main.edges {
		front += (es[i].a[0]*out[0] + es[i].a[1]*out[1] + es[i].b[0]*out[0] + es[i].b[1]*out[1]) / 2 * length(i) / main.length
	}
	deepest := 0.0
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, e := range es {
		deepest = math.Max(deepest, front-e.a[0]*out[0]-e.a[1]*out[1])
		v := -e.a[0]*out[1] + e.a[1]*out[0]
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	r.Flag = main.length < 8 && main.length < (hi-lo)/2 && !r.Corner
	for i, e := range es {
		if r.Edge[i] != "" {
			continue
		}
		r.Edge[i] = Side
		mid := front - ((e.a[0]+e.b[0])*out[0]+(e.a[1]+e.b[1])*out[1])/2
		if outward*(e.n[0]*out[0]+e.n[1]*out[1]) < -math.Sqrt(0.5) && mid > 0.5*deepest {
			r.Edge[i] = Rear
		}
	}
}

// BorderKind says how two parcels disagree about their line.
type BorderKind string

const (
	Gap     BorderKind = "gap"
	Overlap BorderKind = "overlap"
	// Within: B holds all the ground of A, so that their lines need not meet.
	Within BorderKind = "within"
)

// Border is a stretch along which two parcels do not share their line.
type Border struct {
	A, B int // the parcels' numbers
	Kind BorderKind
	// Line is the stretch of B's boundary: within A for an overlap, beside it
	// for a gap; of a lot within another, A's own outline.
	Line   orb.LineString
	Length unit.Length
	// Width is the greatest distance between the two lines along it, at At; of a
	// lot within another, of an end of A's lines from B's, 0 where both have one
	// outline.
	Width unit.Length
	At    orb.Point
}

func (b Border) String() string {
	return fmt.Sprintf("%s of parcels %d and %d along %.2f m, up to %.3f m wide", b.Kind, b.A, b.B, float64(b.Length), float64(b.Width))
}

// Borders lists the gaps narrower than most and the overlaps between one parcel
// and its neighbours that are wider than least (the rounding of the drawing), and
// the parcels that hold all of its ground, in the order of their numbers. A place where lines part at a corner is no gap: a
// gap is at least three times as long as wide; nor is ground that a parcel holds,
// be it a third one or the neighbour itself, whose far side is near too where it
// is a sliver.
// An owner's clearance is measured from the line nearest to the owner's side:
// for an overlap that is Line, which lies within A.
func (n *Neighbours) Borders(lot int, least, most unit.Length) []Border {
	if len(n.lots[lot]) == 0 {
		return nil
	}
	own := n.lots[lot]
	var room [16]int
	others := room[:0]
	n.near(n.box[lot].Pad(float64(most)), lot, func(i int) { others = append(others, i) })
	slices.Sort(others)
	var edges [24][2]orb.Point
	edge := bar{segments: edges[:0]}
	for _, poly := range own {
		for _, ring := range poly {
			for e := 1; e < len(ring); e++ {
				edge.segments = append(edge.segments, [2]orb.Point{ring[e-1], ring[e]})
			}
		}
	}
	var walls [16][2]orb.Point
	hull := hullEdges(own, walls[:0])
	var out []Border
	for _, i := range others {
		if b, ok := n.within(lot, i, float64(least)); ok {
			out = append(out, b)
		}
		for _, poly := range n.lots[i] {
			for _, ring := range poly {
				r := ruler{line: orb.LineString(ring)}
				if !parted(hull, ring) {
					r, within := r.seam(r.sides(own, shape.Inside))
					out = append(out, r.borders(lot, i, Overlap, within, edge, float64(least))...)
				}
				var few [8]interval
				close := few[:0]
				s := 0.0
				for e := 1; e < len(ring); e++ {
					p, q := ring[e-1], ring[e]
					if boxGap(p, q, n.box[lot].Min, n.box[lot].Max) < float64(most) {
						for _, g := range edge.segments {
							// an edge that both have is the usual case, and no gap
							if p == g[1] && q == g[0] || p == g[0] && q == g[1] || boxGap(p, q, g[0], g[1]) >= float64(most) || !alike(p, q, g[0], g[1]) {
								continue
							}
							if v, ok := beside(p, q, g[0], g[1], float64(most)); ok {
								close = append(close, interval{s + v.from, s + v.to})
							}
						}
					}
					s += math.Hypot(q[0]-p[0], q[1]-p[1])
				}
				if close = merge(close); len(close) > 0 {
					joined := close[:1]
					for _, v := range close[1:] { // a bend in a gap does not end it
						if last := &joined[len(joined)-1]; v.from-last.to <= float64(most) {
							last.to = v.to
						} else {
							joined = append(joined, v)
						}
					}
					open := both(joined, r.sides(own, shape.Outside))
					r, bare := r.seam(n.bare(r, lot, open, edge, float64(most)))
					out = append(out, r.borders(lot, i, Gap, bare, edge, float64(least))...)
				}
			}
		}
	}
	return out
}

// within tells of a parcel all of whose ground another one holds too: no end of
// its lines lies outside the other by more than the rounding of the drawing, its
// middle lies inside, and no line of the other within it (that is an overlap).
func (n *Neighbours) within(lot, other int, least float64) (Border, bool) {
	in := n.box[other].Pad(least)
	if !in.Contains(n.box[lot].Min) || !in.Contains(n.box[lot].Max) {
		return Border{}, false
	}
	own, all := n.lots[lot], n.lots[other]
	b := Border{A: lot, B: other, Kind: Within, Line: orb.LineString(own[0][0])}
	for _, poly := range own {
		for e := 1; e < len(poly[0]); e++ {
			p := poly[0][e]
			off, _, _ := shape.LineBoundary(orb.LineString{p, {p[0] + 1e-6, p[1]}}, all)
			if shape.Locate(p, all) == shape.Outside {
				if float64(off) > least {
					return Border{}, false
				}
			} else if off > b.Width {
				b.Width, b.At = off, p
			}
			b.Length += unit.Length(math.Hypot(p[0]-poly[0][e-1][0], p[1]-poly[0][e-1][1]))
		}
	}
	// Ends alone do not tell of a line of the other that comes in between two of them,
	// nor of a yard that it leaves open.
	if shared, err := n.Shared(lot, other); err != nil || float64(shape.Area(shared)) < float64(shape.Area(own))-2*least*float64(b.Length) {
		return Border{}, false
	}
	if b.Width == 0 {
		b.At = own[0][0][0]
	}
	return b, true
}

// hullEdges appends the edges of a lot of one plain polygon that have all of it
// to their left: those of a convex one, however it runs, and some of another's.
// None of a lot of many edges, where looking for them costs more than they save.
func hullEdges(lot orb.MultiPolygon, to [][2]orb.Point) [][2]orb.Point {
	if len(lot) != 1 || len(lot[0]) != 1 || len(lot[0][0]) > 24 {
		return to
	}
	ring := lot[0][0]
	for e := 1; e < len(ring); e++ {
		a, b := ring[e-1], ring[e]
		left, right := true, true
		for _, v := range ring[1:] {
			o := shape.Orient(a, b, v)
			left, right = left && o >= 0, right && o <= 0
			if !left && !right {
				break
			}
		}
		switch {
		case left:
			to = append(to, [2]orb.Point{a, b})
		case right:
			to = append(to, [2]orb.Point{b, a})
		}
	}
	return to
}

// parted says that one of a lot's hull edges has all of a ring to its right or
// on its line, so that they have no ground in common. Exact; it may miss some.
func parted(hull [][2]orb.Point, ring orb.Ring) bool {
	for _, h := range hull {
		beyond := true
		for _, v := range ring {
			if shape.Orient(h[0], h[1], v) > 0 {
				beyond = false
				break
			}
		}
		if beyond {
			return true
		}
	}
	return false
}

// Shared is the ground that two parcels both hold, without what is too thin to
// be an area.
func (n *Neighbours) Shared(a, b int) (orb.MultiPolygon, error) {
	all, err := geosop.Intersection(n.lots[a], n.lots[b])
	if err != nil {
		return nil, err
	}
	var out orb.MultiPolygon
	for _, p := range all {
		if len(shape.Check(p)) == 0 {
			out = append(out, p)
		}
	}
	return out, nil
}

// bare leaves of stretches of a neighbour's line those from which straight to
// the lot's edge no parcel holds the ground. Between two places where a vertex
// of a parcel lies across, the ground is held throughout or nowhere, so one way
// across in the middle tells.
func (n *Neighbours) bare(r ruler, lot int, iv []interval, edge bar, most float64) []interval {
	var out []interval
	for _, v := range iv {
		stretch := shape.Substring(r.line, unit.Length(v.from), unit.Length(v.to))
		box := stretch.Bound().Pad(most)
		cuts := []float64{v.from, v.to}
		cut := func(mp orb.MultiPolygon) {
			for _, poly := range mp {
				for _, ring := range poly {
					for _, p := range ring[1:] {
						if !box.Contains(p) {
							continue
						}
						if at := shape.Nearest(stretch, p); float64(at.Off) <= most {
							cuts = append(cuts, v.from+float64(at.Along))
						}
					}
				}
			}
		}
		cut(n.lots[lot])
		var holders []int
		n.near(box, lot, func(i int) {
			holders = append(holders, i)
			cut(n.lots[i])
		})
		slices.Sort(cuts)
		for k := 1; k < len(cuts); k++ {
			if cuts[k]-cuts[k-1] <= numeric {
				continue
			}
			p := shape.PointAt(r.line, unit.Length((cuts[k]+cuts[k-1])/2))
			_, q := edge.distance(p)
			way := ruler{line: orb.LineString{p, q}}
			held := false
			for _, i := range holders {
				for _, in := range way.sides(n.lots[i], shape.Inside) {
					held = held || in.to-in.from > float64(shape.Weld)
				}
			}
			if held {
				continue
			}
			if last := len(out) - 1; last >= 0 && cuts[k-1]-out[last].to <= numeric {
				out[last].to = cuts[k]
			} else {
				out = append(out, interval{cuts[k-1], cuts[k]})
			}
		}
	}
	return out
}

// alike tells whether two segments run the same way or against each other,
// within 30 degrees.
func alike(a, b, c, d orb.Point) bool {
	ux, uy, vx, vy := b[0]-a[0], b[1]-a[1], d[0]-c[0], d[1]-c[1]
	cross := ux*vy - uy*vx
	return cross*cross <= 0.25*(ux*ux+uy*uy)*(vx*vx+vy*vy)
}

// both gives what two lists of sorted, separate intervals share.
func both(a, b []interval) []interval {
	var out []interval
	for i, j := 0, 0; i < len(a) && j < len(b); {
		if v := (interval{math.Max(a[i].from, b[j].from), math.Min(a[i].to, b[j].to)}); v.to-v.from > numeric {
			out = append(out, v)
		}
		if a[i].to < b[j].to {
			i++
		} else {
			j++
		}
	}
	return out
}

// seam makes one of a stretch that runs to the end of a ring and one that begins
// there. The ruler that it gives goes round twice where that takes it.
func (r ruler) seam(iv []interval) (ruler, []interval) {
	n := len(iv)
	if n < 2 || iv[0].from > numeric {
		return r, iv
	}
	whole := float64(shape.Length(r.line))
	if whole-iv[n-1].to > 1e-6 { // two sums of the same lengths
		return r, iv
	}
	twice := append(append(orb.LineString(nil), r.line...), r.line[1:]...)
	return ruler{line: twice}, append(slices.Clone(iv[1:n-1]), interval{iv[n-1].from, whole + iv[0].to})
}

func (r ruler) borders(a, b int, kind BorderKind, iv []interval, edge bar, least float64) []Border {
	var out []Border
	for _, v := range iv {
		f := r.greatest(v, edge)
		if f.dist <= least || kind == Gap && v.to-v.from < 3*f.dist {
			continue
		}
		l := shape.Substring(r.line, unit.Length(v.from), unit.Length(v.to))
		out = append(out, Border{A: a, B: b, Kind: kind, Line: l, Length: unit.Length(v.to - v.from), Width: unit.Length(f.dist), At: f.on})
	}
	return out
}
