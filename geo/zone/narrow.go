package zone

// Narrow places of a zone, and which pieces of it are in reach of a point.

import (
	"math"
	"slices"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// PassageError is how far a passage's true width can lie above the width
// stated: each side may be an arc up to arcError too far out. It never lies
// below it.
const PassageError unit.Length = 2 * arcError

// Holder is what holds one side of a passage: a lot line (part, ring, edge) or a
// thing of the list of keep-outs, and its place nearest to the passage.
type Holder struct {
	Edge     *shape.Spot
	Thing    *int
	ID, Kind string
	At       orb.Point
}

// Passage is a narrow place: on either side of it the zone is wider, or no
// narrower.
type Passage struct {
	// Width is between the zone's edges there; a trench no wider gets through.
	Width unit.Length
	At    orb.Point // its middle
	Ends  [2]orb.Point
	Sides [2]Holder
	// SideYard: it lies between a building and a lot line, which are Yard apart
	// (as exact as Width).
	SideYard bool
	Yard     unit.Length
}

// Passages finds the narrow places of a zone that Trench or CentreLine gave for
// the same lot and things, narrowest first; none for a zone without a hollow.
//
// A narrow place is a circle within the zone that touches its edge at two
// opposite points: where the medial axis is nearest to both sides. At least one
// of the two is a corner that points into the zone, and each is the other's
// nearest. So from each such corner the edge is looked at through the cone between
// the normals of its two sides, nearest first: what lies further than the nearest
// there by more than the cone allows has that within its circle. The circles that
// are left are measured against the whole edge. Exact for the zone's polygon; for
// the true zone see PassageError. Cost: near to n log n of the edge's vertices,
// but for corners that turn by a right angle or more, which look at all in their
// cone.
func (z Zone) Passages(lot Lot, out []KeepOut) []Passage {
	var all []Passage
	for _, piece := range z.Shape {
		all = append(all, passages(piece)...)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].Width < all[j].Width })
	bars := make([]bar, len(out))
	for i, k := range out {
		if !k.MayCross {
			bars[i] = barOf(i, k)
		}
	}
	var kept []Passage
	for _, p := range all {
		if slices.ContainsFunc(kept, p.close) {
			continue
		}
		for i := range p.Ends {
			p.Sides[i] = z.holder(p.Ends[i], lot, out, bars)
		}
		if slices.ContainsFunc(kept, p.again) {
			continue
		}
		a, b := p.Sides[0], p.Sides[1]
		if b.Edge != nil {
			a, b = b, a
		}
		if a.Edge != nil && b.Kind == Building {
			p.SideYard = true
			p.Yard = p.Width + lot.edge(a.Edge.Part, a.Edge.Ring, a.Edge.Vertex) + out[*b.Thing].Clearance + 2*z.more
		}
		kept = append(kept, p)
	}
	return kept
}

// close tells whether a passage found before is close by: the same place.
func (p Passage) close(k Passage) bool {
	return shape.Length(orb.LineString{p.At, k.At}) <= max(k.Width, unit.Metre)
}

// again tells whether a passage found before is the other end of a straight way
// between the same two.
func (p Passage) again(k Passage) bool {
	same := func(a, b Holder) bool {
		if a.Edge != nil && b.Edge != nil {
			return *a.Edge == *b.Edge
		}
		return a.Thing != nil && b.Thing != nil && *a.Thing == *b.Thing
	}
	return p.Width-k.Width < PassageError &&
		(same(p.Sides[0], k.Sides[0]) && same(p.Sides[1], k.Sides[1]) || same(p.Sides[0], k.Sides[1]) && same(p.Sides[1], k.Sides[0]))
}

// corner is a vertex of a ring with its neighbours.
type corner struct{ before, at, after orb.Point }

// faces tells whether no way along the ring from the corner leads nearer to q.
func (c corner) faces(q orb.Point) bool {
	x, y := q[0]-c.at[0], q[1]-c.at[1]
	slip := numeric * math.Hypot(x, y)
	return x*(c.before[0]-c.at[0])+y*(c.before[1]-c.at[1]) <= slip && x*(c.after[0]-c.at[0])+y*(c.after[1]-c.at[1]) <= slip
}

func passages(piece orb.Polygon) []Passage {
	var corners []corner // hollow corners: the ground lies to the left of a ring
	var sides []segmentOf
	for _, r := range piece {
		n := len(r) - 1
		for i := 0; i < n; i++ {
			c := corner{r[(i+n-1)%n], r[i], r[i+1]}
			sides = append(sides, segmentOf{r[i], r[i+1], r[(i+2)%n]})
			if shape.Orient(c.before, c.at, c.after) < 0 {
				corners = append(corners, c)
			}
		}
	}
	t := treeOf(sides)
	var out []Passage
	for _, c := range corners {
		u, v := orb.Point{c.before[0] - c.at[0], c.before[1] - c.at[1]}, orb.Point{c.after[0] - c.at[0], c.after[1] - c.at[1]}
		// the cosine of the cone's angle, which is that of the corner's turn
		cos := -(u[0]*v[0] + u[1]*v[1]) / math.Sqrt((u[0]*u[0]+u[1]*u[1])*(v[0]*v[0]+v[1]*v[1]))
		limit := math.Inf(1)
		ahead := func(b *box4) bool {
			return boxGap(c.at, c.at, orb.Point{b.x0, b.y0}, orb.Point{b.x1, b.y1}) <= limit &&
				leastAlong(b, c.at, u) <= coneSlip && leastAlong(b, c.at, v) <= coneSlip
		}
		// once to find how far to look, once to look
		for _, look := range [2]bool{false, true} {
			t.visit(ahead, func(i int) {
				s := &sides[i]
				if c.at == s.a || c.at == s.b {
					return
				}
				w, q := shape.PointSegment(c.at, s.a, s.b)
				d := float64(w)
				if q == s.a || d <= numeric || d > limit || !c.faces(q) {
					return // the start of a side is the end of the one before
				}
				if (c.after[0]-c.before[0])*(q[1]-c.at[1]) <= (c.after[1]-c.before[1])*(q[0]-c.at[0]) {
					return // behind the edge: where the sides run nearly straight on the cone has two ends
				}
				if !look {
					if cos > 0 {
						limit = min(limit, d/cos*(1+1e-6)+1e-6)
					}
					return
				}
				if q == s.b && !(corner{s.a, s.b, s.next}.faces(c.at)) {
					return
				}
				mid := orb.Point{(c.at[0] + q[0]) / 2, (c.at[1] + q[1]) / 2}
				if !t.free(mid, d/2-1e-7) {
					return
				}
				out = append(out, Passage{Width: w, At: mid, Ends: [2]orb.Point{c.at, q}})
			})
		}
	}
	return out
}

// coneSlip is how far outside the cone of a corner a place may seem to lie, times
// the length of its side.
const coneSlip = 1e-6

// leastAlong is the least of (p-c).u over a box.
func leastAlong(b *box4, c, u orb.Point) float64 {
	x, y := b.x0, b.y0
	if u[0] < 0 {
		x = b.x1
	}
	if u[1] < 0 {
		y = b.y1
	}
	return (x-c[0])*u[0] + (y-c[1])*u[1]
}

// segmentOf is a side of a ring from a to b and the vertex after b.
type segmentOf struct{ a, b, next orb.Point }

// sideTree holds boxes about sides that follow one another: boxes[0] of each few,
// boxes[1] of each few of those, and so on.
type sideTree struct {
	sides []segmentOf
	boxes [][]box4
}

// few is how many go into one box of a sideTree.
const few = 6

func treeOf(sides []segmentOf) *sideTree {
	t := &sideTree{sides: sides}
	of := make([]box4, len(sides))
	for i := range sides {
		of[i] = boxOf(sides[i].a, sides[i].b)
	}
	t.boxes = append(t.boxes, of)
	for len(of) > 1 {
		up := make([]box4, 0, len(of)/few+1)
		for i := 0; i < len(of); i += few {
			b := of[i]
			for k := i + 1; k < min(i+few, len(of)); k++ {
				b.join(&of[k])
			}
			up = append(up, b)
		}
		t.boxes = append(t.boxes, up)
		of = up
	}
	return t
}

// visit goes to the sides whose box, and those about it, want.
func (t *sideTree) visit(want func(b *box4) bool, each func(i int)) {
	var down func(level, i int)
	down = func(level, i int) {
		if !want(&t.boxes[level][i]) {
			return
		}
		if level == 0 {
			each(i)
			return
		}
		for k := few * i; k < min(few*(i+1), len(t.boxes[level-1])); k++ {
			down(level-1, k)
		}
	}
	if top := len(t.boxes) - 1; len(t.sides) > 0 {
		down(top, 0)
	}
}

// free tells whether no side is nearer to p than r.
func (t *sideTree) free(p orb.Point, r float64) bool {
	open := true
	t.visit(func(b *box4) bool {
		return open && boxGap(p, p, orb.Point{b.x0, b.y0}, orb.Point{b.x1, b.y1}) < r
	}, func(i int) {
		if d, _ := shape.PointSegment(p, t.sides[i].a, t.sides[i].b); float64(d) < r {
			open = false
		}
	})
	return open
}

// holder finds what a place on the zone's edge keeps away from.
func (z Zone) holder(p orb.Point, lot Lot, out []KeepOut, bars []bar) (h Holder) {
	least := math.Inf(1)
	for i, poly := range lot.Shape {
		for j, r := range poly {
			for e := 0; e+1 < len(r); e++ {
				d, at := shape.PointSegment(p, r[e], r[e+1])
				if s := math.Abs(float64(d - lot.edge(i, j, e) - z.more)); s < least {
					spot := shape.Spot{Part: i, Ring: j, Vertex: e}
					least, h = s, Holder{Edge: &spot, At: at}
				}
			}
		}
	}
	for i, k := range out {
		if k.MayCross {
			continue
		}
		d, at := bars[i].distance(p)
		if s := math.Abs(d - float64(k.Clearance+z.more)); s < least {
			least, h = s, Holder{Thing: &i, ID: k.ID, Kind: k.Kind, At: at}
		}
	}
	return h
}

// PiecesNear lists the pieces of the zone within reach of a point, nearest
// first: those from which a last run of that length gets there.
func (z Zone) PiecesNear(p orb.Point, reach unit.Length) []int {
	type near struct {
		piece int
		d     unit.Length
	}
	var found []near
	for i, poly := range z.Shape {
		d := unit.Length(0)
		if shape.LocateInPolygon(p, poly) == shape.Outside {
			d, _, _ = shape.LineBoundary(orb.LineString{p, p}, orb.MultiPolygon{poly})
		}
		if d <= reach {
			found = append(found, near{i, d})
		}
	}
	sort.SliceStable(found, func(i, j int) bool { return found[i].d < found[j].d })
	var out []int
	for _, f := range found {
		out = append(out, f.piece)
	}
	return out
}
