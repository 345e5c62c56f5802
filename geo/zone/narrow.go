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
// nearest, so all pairs of such a corner with another piece of the edge are
// tried and the circle is measured against the whole edge. Exact for the zone's
// polygon; for the true zone see PassageError. Cost: corners times edges.
func (z Zone) Passages(lot Lot, out []KeepOut) []Passage {
	var all []Passage
	for _, piece := range z.Shape {
		all = append(all, passages(piece)...)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].Width < all[j].Width })
	var kept []Passage
	for _, p := range all {
		for i := range p.Ends {
			p.Sides[i] = z.holder(p.Ends[i], lot, out)
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

// again tells whether a passage found before is the same place: close by, or the
// other end of a straight way between the same two.
func (p Passage) again(k Passage) bool {
	if shape.Length(orb.LineString{p.At, k.At}) <= max(k.Width, unit.Metre) {
		return true
	}
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
	var out []Passage
	for _, c := range corners {
		for _, s := range sides {
			if c.at == s.a || c.at == s.b {
				continue
			}
			d, q := shape.PointSegment(c.at, s.a, s.b)
			if q == s.a || d <= numeric || !c.faces(q) {
				continue // the start of a side is the end of the one before
			}
			if q == s.b && !(corner{s.a, s.b, s.next}.faces(c.at)) {
				continue
			}
			mid := orb.Point{(c.at[0] + q[0]) / 2, (c.at[1] + q[1]) / 2}
			if !free(mid, float64(d)/2-1e-7, sides) || shape.LocateInPolygon(mid, piece) != shape.Inside {
				continue
			}
			out = append(out, Passage{Width: d, At: mid, Ends: [2]orb.Point{c.at, q}})
		}
	}
	return out
}

// segmentOf is a side of a ring from a to b and the vertex after b.
type segmentOf struct{ a, b, next orb.Point }

// free tells whether no side is nearer to p than r.
func free(p orb.Point, r float64, sides []segmentOf) bool {
	for _, s := range sides {
		if boxGap(p, p, s.a, s.b) < r {
			if d, _ := shape.PointSegment(p, s.a, s.b); float64(d) < r {
				return false
			}
		}
	}
	return true
}

// holder finds what a place on the zone's edge keeps away from.
func (z Zone) holder(p orb.Point, lot Lot, out []KeepOut) (h Holder) {
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
		d, at := barOf(i, k).distance(p)
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
