package shape

// Validity: every fault of a geometry, with its place.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

const (
	// MaxFaults is how many faults of one geometry Check lists at most.
	MaxFaults = 1000
	// grid is 0.001 international foot: a ring that rounds to a line on it has
	// no area.
	grid = 0.0003048
	// comparisons bounds the work of one Check: some seconds. Beyond it the
	// shape is too complex to be a lot.
	comparisons = 200_000_000
)

// Check lists the faults of a Point, LineString, Polygon, a multi-geometry of
// these or a Ring, empty when it is valid. All faults are listed, up to MaxFaults.
// Lines may cross themselves; a ring may not meet itself, not even in a point;
// a hole may meet its shell or another hole in a point, as long as the inside
// stays in one piece; parts may meet in points. Repeated vertices and the way a
// ring runs are no faults (see Clean). Cost O(n log n) for shapes as found on
// maps; a comb of combs ends in RuleTooComplex.
func Check(g orb.Geometry) []*InvalidError {
	switch g := g.(type) {
	case orb.Polygon:
		if soundArea(g) {
			return nil
		}
	case orb.MultiPolygon:
		if len(g) == 1 && soundArea(g[0]) {
			return nil
		}
	}
	c := &checker{}
	switch g := g.(type) {
	case orb.Point:
		c.finite(0, 0, []orb.Point{g})
	case orb.MultiPoint:
		if len(g) == 0 {
			c.add(RuleEmpty, Spot{}, nil, nil, "the geometry has no positions; give at least one")
		}
		c.finite(0, 0, g)
	case orb.LineString:
		c.line(0, g)
	case orb.MultiLineString:
		if len(g) == 0 {
			c.add(RuleEmpty, Spot{}, nil, nil, "the geometry has no lines; give at least one")
		}
		for i, l := range g {
			c.line(i, l)
		}
	case orb.Ring:
		c.polygons(orb.MultiPolygon{{g}})
	case orb.Polygon:
		c.polygons(orb.MultiPolygon{g})
	case orb.MultiPolygon:
		c.polygons(g)
	case nil:
		c.add(RuleEmpty, Spot{}, nil, nil, "there is no geometry")
	default:
		c.add(RuleType, Spot{}, nil, nil, fmt.Sprintf("a %s is not taken; give a point, a line or a polygon", g.GeoJSONType()))
	}
	return c.faults
}

type checker struct {
	faults []*InvalidError
	seg    []segment
	ring   []ringRef
	tree   *boxTree
}

// ringRef is a ring without structural faults: its place, its segments
// seg[first:first+n] (repeated vertices skipped).
type ringRef struct {
	part, ring, first, n int
	met                  map[int]bool // other rings it crosses or shares a line with
	touch                map[orb.Point]bool
}

type segment struct {
	a, b   orb.Point
	ring   int // in checker.ring
	k      int // place among the ring's segments
	vertex int // of a, in the ring as given
}

func (c *checker) full() bool { return len(c.faults) >= MaxFaults }

func (c *checker) add(r Rule, s Spot, at *orb.Point, other *Spot, detail string) {
	if c.full() {
		return
	}
	if at != nil {
		p := *at
		at = &p
	}
	c.faults = append(c.faults, &InvalidError{Rule: r, Part: s.Part, Ring: s.Ring, Vertex: s.Vertex, At: at, Other: other, Detail: detail})
}

func (c *checker) finite(part, ring int, ps []orb.Point) bool {
	ok := true
	for i, p := range ps {
		if math.IsNaN(p[0]+p[1]) || math.IsInf(p[0], 0) || math.IsInf(p[1], 0) || math.Abs(p[0]) > 1e150 || math.Abs(p[1]) > 1e150 {
			c.add(RuleNotFinite, Spot{part, ring, i}, nil, nil, fmt.Sprintf("vertex %d is not a pair of numbers that can be reckoned with; give its coordinates", i))
			ok = false
		}
	}
	return ok
}

func (c *checker) line(part int, l orb.LineString) {
	if len(l) == 0 {
		c.add(RuleEmpty, Spot{Part: part}, nil, nil, "the line has no positions; give at least two")
		return
	}
	if !c.finite(part, 0, l) {
		return
	}
	for _, p := range l {
		if p != l[0] {
			return
		}
	}
	c.add(RuleLineTooShort, Spot{Part: part}, &l[0], nil, "the line has no two different positions; give at least two")
}

func (c *checker) polygons(mp orb.MultiPolygon) {
	if len(mp) == 0 {
		c.add(RuleEmpty, Spot{}, nil, nil, "the geometry has no polygons; give at least one")
		return
	}
	for i, poly := range mp {
		if len(poly) == 0 {
			c.add(RuleEmpty, Spot{Part: i}, nil, nil, fmt.Sprintf("part %d has no rings; give its outer ring", i))
		}
		for j, r := range poly {
			if c.structure(i, j, r) {
				c.enter(i, j, r)
			}
		}
	}
	if len(c.seg) == 0 || c.full() {
		return
	}
	c.meetings()
	c.nesting(mp)
}

// structure checks what can be said of a ring alone without comparing edges.
func (c *checker) structure(part, ring int, r orb.Ring) bool {
	at := Spot{part, ring, 0}
	if len(r) == 0 {
		c.add(RuleEmpty, at, nil, nil, fmt.Sprintf("ring %d has no positions; give at least four", ring))
		return false
	}
	if !c.finite(part, ring, r) {
		return false
	}
	ok := true
	if last := len(r) - 1; r[last] != r[0] {
		c.add(RuleRingNotClosed, Spot{part, ring, last}, &r[last], &Spot{part, ring, 0},
			fmt.Sprintf("ring %d is not closed: its last position (vertex %d) differs from its first; repeat the first position at the end", ring, last))
		ok = false
	}
	if len(r) < 4 {
		c.add(RuleRingTooShort, Spot{part, ring, len(r) - 1}, &r[0], nil,
			fmt.Sprintf("ring %d has %d positions; a ring needs at least four, the last equal to the first", ring, len(r)))
		return false
	}
	if ok && flat(r) {
		c.add(RuleRingNoArea, at, &r[0], nil, fmt.Sprintf("ring %d encloses no area: its positions lie on one line", ring))
		return false
	}
	return ok
}

// flat tells whether all positions lie on one line, as given or rounded to the
// grid about the first.
func flat(r orb.Ring) bool {
	exact, rounded := true, true
	round := func(p orb.Point) orb.Point {
		return orb.Point{math.Round((p[0] - r[0][0]) / grid), math.Round((p[1] - r[0][1]) / grid)}
	}
	far := r[0]
	for _, p := range r {
		if hypot(r[0], p) > hypot(r[0], far) {
			far = p
		}
	}
	for _, p := range r {
		exact = exact && Orient(r[0], far, p) == 0
		rounded = rounded && Orient(orb.Point{}, round(far), round(p)) == 0
		if !exact && !rounded {
			return false
		}
	}
	return true
}

// enter takes a ring's edges up for comparison, repeated vertices skipped.
func (c *checker) enter(part, ring int, r orb.Ring) {
	id := len(c.ring)
	first := len(c.seg)
	from := 0
	for i := 1; i < len(r); i++ {
		if r[i] == r[from] {
			continue
		}
		// the last of equal vertices starts the next edge
		c.seg = append(c.seg, segment{a: r[from], b: r[i], ring: id, k: len(c.seg) - first, vertex: i - 1})
		from = i
	}
	c.ring = append(c.ring, ringRef{part: part, ring: ring, first: first, n: len(c.seg) - first})
}

func (c *checker) spot(s segment) Spot {
	return Spot{c.ring[s.ring].part, c.ring[s.ring].ring, s.vertex}
}

type touch struct {
	i, j int // segments
	at   orb.Point
}

// meetings compares edges with edges.
func (c *checker) meetings() {
	boxes := make([]box, len(c.seg))
	for i, s := range c.seg {
		boxes[i] = edgeBox(s.a, s.b)
	}
	c.tree = newBoxTree(boxes)
	var touches []touch
	shared := map[orb.Point]bool{} // ends of edges that share a stretch
	done := c.tree.pairs(comparisons, func(i, j int) bool {
		s, t := c.seg[i], c.seg[j]
		m, at := Cross(s.a, s.b, t.a, t.b)
		if m == Apart {
			return true
		}
		if s.ring == t.ring && m == Touching {
			if n := c.ring[s.ring].n; (s.k+1)%n == t.k || (t.k+1)%n == s.k {
				return true
			}
		}
		switch m {
		case Touching:
			touches = append(touches, touch{i, j, at})
		case Overlapping:
			shared[s.a], shared[s.b], shared[t.a], shared[t.b] = true, true, true, true
			c.meet(i, j, at, true)
		case Crossing:
			c.meet(i, j, at, false)
		}
		return !c.full() && len(touches) < 1_000_000
	})
	if !done && !c.full() {
		c.add(RuleTooComplex, c.spot(c.seg[0]), &c.seg[0].a, nil, "its edges lie across one another too often to be compared; simplify it")
		return
	}
	c.touches(touches, shared)
}

// meet records that two edges cross or share a stretch.
func (c *checker) meet(i, j int, at orb.Point, along bool) {
	s, t := c.seg[i], c.seg[j]
	r, q := &c.ring[s.ring], &c.ring[t.ring]
	other := c.spot(t)
	how := "crosses"
	if along {
		how = "runs along"
	}
	if s.ring != t.ring {
		r.mark(t.ring)
		q.mark(s.ring)
	}
	switch {
	case r.part != q.part:
		c.add(RulePartsOverlap, c.spot(s), &at, &other, fmt.Sprintf("the boundary of part %d %s that of part %d; make the parts one or take them apart", r.part, how, q.part))
	case s.ring == t.ring:
		c.add(RuleSelfIntersection, c.spot(s), &at, &other, fmt.Sprintf("ring %d %s itself: edge %d and edge %d; correct the outline", r.ring, how, s.vertex, t.vertex))
	case along:
		hole := max(r.ring, q.ring)
		spot := c.spot(s)
		if q.ring == hole {
			spot, other = other, spot
		}
		c.add(RuleHoleTouches, spot, &at, &other, fmt.Sprintf("hole ring %d runs along ring %d; take the hole off the outline instead", hole, min(r.ring, q.ring)))
	default:
		c.add(RuleSelfIntersection, c.spot(s), &at, &other, fmt.Sprintf("ring %d crosses ring %d; correct the outlines", r.ring, q.ring))
	}
}

func (r *ringRef) mark(other int) {
	if r.met == nil {
		r.met = map[int]bool{}
	}
	r.met[other] = true
}

// touches judges the points where edges meet end on: a ring with itself, a hole
// that leaves its shell through a vertex, holes that cut the inside apart.
func (c *checker) touches(all []touch, shared map[orb.Point]bool) {
	type pair struct {
		r, q int
		at   orb.Point
	}
	seen := map[pair]bool{}
	knots := map[orb.Point]int{} // touch point -> its node after the rings
	var parent []int
	for range c.ring {
		parent = append(parent, len(parent))
	}
	root := func(n int) int {
		for parent[n] != n {
			parent[n] = parent[parent[n]]
			n = parent[n]
		}
		return n
	}
	joined := map[[2]int]bool{}
	for _, t := range all {
		s, u := c.seg[t.i], c.seg[t.j]
		k := pair{min(s.ring, u.ring), max(s.ring, u.ring), t.at}
		if seen[k] {
			continue
		}
		seen[k] = true
		r, q := &c.ring[s.ring], &c.ring[u.ring]
		other := c.spot(u)
		if s.ring == u.ring {
			if !shared[t.at] {
				c.add(RuleSelfIntersection, c.spot(s), &t.at, &other, fmt.Sprintf("ring %d touches itself: edge %d and edge %d; correct the outline", r.ring, s.vertex, u.vertex))
			}
			continue
		}
		for _, e := range []*ringRef{r, q} {
			if e.touch == nil {
				e.touch = map[orb.Point]bool{}
			}
			e.touch[t.at] = true
		}
		if c.through(s, u, t.at) {
			c.meet(t.i, t.j, t.at, false)
			continue
		}
		if r.part != q.part || shared[t.at] {
			continue
		}
		n, ok := knots[t.at]
		if !ok {
			n = len(parent)
			knots[t.at] = n
			parent = append(parent, n)
		}
		for _, id := range []int{s.ring, u.ring} {
			if joined[[2]int{id, n}] {
				continue
			}
			joined[[2]int{id, n}] = true
			if a, b := root(id), root(n); a != b {
				parent[a] = b
			} else {
				c.add(RuleHoleTouches, c.spot(s), &t.at, &other, fmt.Sprintf("rings %d and %d touch so that the inside falls apart here; make it two parts", r.ring, q.ring))
			}
		}
	}
}

// through tells whether the ring of s passes from one side of the ring of u to
// the other at their common point p.
func (c *checker) through(s, u segment, p orb.Point) bool {
	sa, sb := c.around(s, p)
	ua, ub := c.around(u, p)
	one, two := wedge(p, ub, ua, sa), wedge(p, ub, ua, sb)
	return one*two < 0
}

// around gives the neighbours of p on the ring of s, before and after.
func (c *checker) around(s segment, p orb.Point) (before, after orb.Point) {
	r := c.ring[s.ring]
	before, after = s.a, s.b
	if p == s.a {
		before = c.seg[r.first+(s.k+r.n-1)%r.n].a
	} else if p == s.b {
		after = c.seg[r.first+(s.k+1)%r.n].b
	}
	return before, after
}

// wedge places direction pd against the counter-clockwise wedge from pb to pe:
// +1 inside, -1 outside, 0 along a side.
func wedge(p, b, e, d orb.Point) int {
	ob, oe := Orient(p, b, d), Orient(p, e, d)
	along := func(o int, q orb.Point) bool {
		return o == 0 && (q[0]-p[0])*(d[0]-p[0])+(q[1]-p[1])*(d[1]-p[1]) > 0
	}
	if along(ob, b) || along(oe, e) {
		return 0
	}
	var in bool
	if Orient(p, b, e) >= 0 { // at most a half turn
		in = ob > 0 && oe < 0
		if Orient(p, b, e) == 0 {
			in = ob > 0
		}
	} else {
		in = ob > 0 || oe < 0
	}
	if in {
		return 1
	}
	return -1
}

// locate is LocateInRing through the tree.
func (c *checker) locate(p orb.Point, ring int) Place {
	odd, on := false, false
	c.tree.meeting(box{p[0], p[1], math.Inf(1), p[1]}, func(i int) {
		if s := c.seg[i]; s.ring == ring {
			hit, touch := rayEdge(p, s.a, s.b)
			odd = odd != hit
			on = on || touch
		}
	})
	switch {
	case on:
		return OnBoundary
	case odd:
		return Inside
	}
	return Outside
}

// freePoint is a point of a ring that lies on no other ring, as far as found.
func (c *checker) freePoint(r ringRef) orb.Point {
	for _, s := range c.seg[r.first : r.first+r.n] {
		if !r.touch[s.a] {
			return s.a
		}
	}
	s := c.seg[r.first]
	return orb.Point{(s.a[0] + s.b[0]) / 2, (s.a[1] + s.b[1]) / 2}
}

// nesting checks that holes lie in their shell and not in one another, and that
// no part lies in another.
func (c *checker) nesting(mp orb.MultiPolygon) {
	if len(c.ring) < 2 || c.full() {
		return
	}
	shell := make([]int, len(mp)) // of each part, in c.ring; -1: faulty
	for i := range shell {
		shell[i] = -1
	}
	boxes := make([]box, len(c.ring))
	for i, r := range c.ring {
		if r.ring == 0 {
			shell[r.part] = i
		}
		b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		for _, s := range c.seg[r.first : r.first+r.n] {
			b = b.with(box{s.a[0], s.a[1], s.a[0], s.a[1]})
		}
		boxes[i] = b
	}
	for i, r := range c.ring {
		s := shell[r.part]
		if r.ring == 0 || s < 0 || r.met[s] {
			continue
		}
		p := c.freePoint(r)
		if c.locate(p, s) == Outside {
			c.add(RuleHoleOutside, Spot{r.part, r.ring, 0}, &p, &Spot{r.part, 0, 0}, fmt.Sprintf("hole ring %d lies outside its outer ring; take it out or make it a part", r.ring))
			c.ring[i].mark(s) // says nothing more of it
		}
	}
	done := newBoxTree(boxes).pairs(comparisons, func(i, j int) bool {
		r, q := c.ring[i], c.ring[j]
		if r.met[j] || c.full() {
			return !c.full()
		}
		switch {
		case r.part == q.part && r.ring > 0 && q.ring > 0:
			if p := c.freePoint(q); c.locate(p, i) == Inside {
				c.add(RuleHoleOutside, Spot{q.part, q.ring, 0}, &p, &Spot{r.part, r.ring, 0}, fmt.Sprintf("hole ring %d lies inside hole ring %d; take it out or make it a part", q.ring, r.ring))
			} else if p := c.freePoint(r); c.locate(p, j) == Inside {
				c.add(RuleHoleOutside, Spot{r.part, r.ring, 0}, &p, &Spot{q.part, q.ring, 0}, fmt.Sprintf("hole ring %d lies inside hole ring %d; take it out or make it a part", r.ring, q.ring))
			}
		case r.part != q.part && r.ring == 0 && q.ring == 0:
			p := c.freePoint(q)
			a, b := r, q
			if !c.inPart(p, mp, r.part, i) {
				p = c.freePoint(r)
				a, b = q, r
				if !c.inPart(p, mp, q.part, j) {
					return true
				}
			}
			c.add(RulePartsOverlap, Spot{b.part, 0, 0}, &p, &Spot{a.part, 0, 0}, fmt.Sprintf("part %d lies within part %d; take one out", b.part, a.part))
		}
		return true
	})
	if !done && !c.full() {
		c.add(RuleTooComplex, Spot{}, nil, nil, "it has too many rings over one another to be compared; simplify it")
	}
}

// inPart tells whether p is inside a part: in its shell, in none of its holes.
func (c *checker) inPart(p orb.Point, mp orb.MultiPolygon, part, shell int) bool {
	if c.locate(p, shell) != Inside {
		return false
	}
	for i := shell + 1; i < len(c.ring) && c.ring[i].part == part; i++ {
		if c.locate(p, i) != Outside {
			return false
		}
	}
	return true
}
