package shape

// Exact predicates: the sign of a turn, and how two segments meet.

import (
	"math"

	"github.com/paulmach/orb"
)

// orientBound is Shewchuk's for the filtered determinant: (3 + 16u) u, u = 2^-53.
const orientBound = 3.3306690738754716e-16

// Orient tells on which side of the line from a to b the point c lies: +1
// left, -1 right, 0 on it. It is exact for coordinates under 1e150 that do not
// underflow: a floating-point filter first, expansions where that can't tell.
func Orient(a, b, c orb.Point) int {
	l := (a[0] - c[0]) * (b[1] - c[1])
	r := (a[1] - c[1]) * (b[0] - c[0])
	det := l - r
	if e := orientBound * (math.Abs(l) + math.Abs(r)); det > e {
		return 1
	} else if det < -e {
		return -1
	} else if l == 0 && r == 0 && (a[0] == c[0] || b[1] == c[1]) && (a[1] == c[1] || b[0] == c[0]) {
		return 0
	}
	return orientExact(a, b, c)
}

// orientExact sums the six products of the expanded determinant without
// rounding: ax by - ax cy - cx by - ay bx + ay cx + cy bx.
func orientExact(a, b, c orb.Point) int {
	var e expansion
	e.addProduct(a[0], b[1])
	e.addProduct(-a[0], c[1])
	e.addProduct(-c[0], b[1])
	e.addProduct(-a[1], b[0])
	e.addProduct(a[1], c[0])
	e.addProduct(c[1], b[0])
	return e.sign()
}

// expansion is a sum of doubles that do not overlap, least first.
type expansion struct {
	part [16]float64
	n    int
}

func (e *expansion) addProduct(x, y float64) {
	hi := x * y
	e.add(math.FMA(x, y, -hi))
	e.add(hi)
}

func (e *expansion) add(q float64) {
	n := 0
	for i := 0; i < e.n; i++ {
		s := q + e.part[i]
		bb := s - q
		low := (q - (s - bb)) + (e.part[i] - bb)
		q = s
		if low != 0 {
			e.part[n] = low
			n++
		}
	}
	if q != 0 {
		e.part[n] = q
		n++
	}
	e.n = n
}

// sign is that of the greatest part, which outweighs the others.
func (e *expansion) sign() int {
	switch {
	case e.n == 0:
		return 0
	case e.part[e.n-1] > 0:
		return 1
	}
	return -1
}

// Meeting says how two segments meet.
type Meeting int

const (
	// Apart: no point in common.
	Apart Meeting = iota
	// Crossing: one common point, inside both segments.
	Crossing
	// Touching: one common point that is an end of at least one of them.
	Touching
	// Overlapping: a stretch in common.
	Overlapping
)

// Cross tells how segment ab meets segment cd, exactly, and gives a common
// point: rounded where they cross, an end where they touch, an end of the
// common stretch where they overlap. The point means nothing when Apart.
func Cross(a, b, c, d orb.Point) (Meeting, orb.Point) {
	if max(a[0], b[0]) < min(c[0], d[0]) || max(c[0], d[0]) < min(a[0], b[0]) ||
		max(a[1], b[1]) < min(c[1], d[1]) || max(c[1], d[1]) < min(a[1], b[1]) {
		return Apart, orb.Point{}
	}
	oc, od := Orient(a, b, c), Orient(a, b, d)
	if oc*od > 0 {
		return Apart, orb.Point{}
	}
	oa, ob := Orient(c, d, a), Orient(c, d, b)
	if oa*ob > 0 {
		return Apart, orb.Point{}
	}
	if oc*od < 0 && oa*ob < 0 {
		return Crossing, crossingPoint(a, b, c, d)
	}
	if oc == 0 && od == 0 && oa == 0 && ob == 0 {
		return overlap(a, b, c, d)
	}
	switch {
	case oc == 0 && between(a, b, c):
		return Touching, c
	case od == 0 && between(a, b, d):
		return Touching, d
	case oa == 0 && between(c, d, a):
		return Touching, a
	case ob == 0 && between(c, d, b):
		return Touching, b
	}
	return Apart, orb.Point{}
}

// crossingPoint divides cd in the ratio of its ends' distances from line ab.
func crossingPoint(a, b, c, d orb.Point) orb.Point {
	ux, uy := b[0]-a[0], b[1]-a[1]
	fc := ux*(c[1]-a[1]) - uy*(c[0]-a[0])
	fd := ux*(d[1]-a[1]) - uy*(d[0]-a[0])
	t := 0.5
	if fc != fd {
		t = math.Min(1, math.Max(0, fc/(fc-fd)))
	}
	return orb.Point{c[0] + t*(d[0]-c[0]), c[1] + t*(d[1]-c[1])}
}

// between tells whether p, known to be on line ab, lies within the segment.
func between(a, b, p orb.Point) bool {
	return p[0] >= min(a[0], b[0]) && p[0] <= max(a[0], b[0]) &&
		p[1] >= min(a[1], b[1]) && p[1] <= max(a[1], b[1])
}

// overlap is Cross for four points on one line.
func overlap(a, b, c, d orb.Point) (Meeting, orb.Point) {
	k := 0
	if math.Abs(b[1]-a[1])+math.Abs(d[1]-c[1]) > math.Abs(b[0]-a[0])+math.Abs(d[0]-c[0]) {
		k = 1
	}
	if a[k] > b[k] {
		a, b = b, a
	}
	if c[k] > d[k] {
		c, d = d, c
	}
	lo, hi := a, b
	if c[k] > lo[k] {
		lo = c
	}
	if d[k] < hi[k] {
		hi = d
	}
	switch {
	case lo[k] > hi[k]:
		return Apart, orb.Point{}
	case lo[k] == hi[k]:
		return Touching, lo
	}
	return Overlapping, lo
}

// Place of a point against an area.
type Place int

const (
	Outside Place = iota
	OnBoundary
	Inside
)

// LocateInRing places p against the area within one closed ring, exactly.
func LocateInRing(p orb.Point, r orb.Ring) Place {
	odd := false
	for i := 0; i+1 < len(r); i++ {
		a, b := r[i], r[i+1]
		if a[0] < p[0] && b[0] < p[0] || a[1] < p[1] && b[1] < p[1] || a[1] > p[1] && b[1] > p[1] {
			continue
		}
		hit, on := rayEdge(p, a, b)
		if on {
			return OnBoundary
		}
		odd = odd != hit
	}
	if odd {
		return Inside
	}
	return Outside
}

// rayEdge tells whether the ray from p to the right crosses edge ab, ends at
// the upper end only, and whether p is on the edge.
func rayEdge(p, a, b orb.Point) (hit, on bool) {
	if p == a || p == b {
		return false, true
	}
	up, down := a[1] <= p[1] && b[1] > p[1], b[1] <= p[1] && a[1] > p[1]
	if !up && !down {
		// a level edge at p's height holds p or counts for nothing
		return false, a[1] == p[1] && b[1] == p[1] && between(a, b, p)
	}
	o := Orient(a, b, p)
	return o != 0 && up == (o > 0), o == 0 // the edge passes to the right of p
}

// Locate places p against a polygon or multipolygon of valid rings, exactly.
func Locate(p orb.Point, mp orb.MultiPolygon) Place {
	for _, poly := range mp {
		if w := LocateInPolygon(p, poly); w != Outside {
			return w
		}
	}
	return Outside
}

// LocateInPolygon places p against one polygon.
func LocateInPolygon(p orb.Point, poly orb.Polygon) Place {
	if len(poly) == 0 {
		return Outside
	}
	w := LocateInRing(p, poly[0])
	if w != Inside {
		return w
	}
	for _, hole := range poly[1:] {
		switch LocateInRing(p, hole) {
		case Inside:
			return Outside
		case OnBoundary:
			return OnBoundary
		}
	}
	return Inside
}
