package zone

// The direct routine: the zone of the usual lot without GEOS.
//
// The edge of a zone is made of pieces of curves that run beside the lot lines
// and the walls at their clearance: straight ones along edges, arcs round the
// corners that point into the ground. From each such curve the stretches nearer
// to any other edge than that one's clearance are taken out (cut.go); what is
// left are parts of the zone's edge, each cut where it meets the next. Most are
// whole and follow one another as the ring runs (walk.go); the chains of these,
// linked end to start, form loops (link.go). A loop that lies outside the lot or
// within a thing goes, the rest are shells (counter-clockwise) and holes. A loop
// keeps its distance from every edge, so one of its points decides for all.
//
// The routine never answers "empty", and what it answers is certified by
// distances (certify.go) before it is used; whatever is in doubt is left to the
// overlay. Places on an arc are held as directions from its centre, which needs
// no trigonometry; all is reckoned about the lot's first vertex, to keep the
// digits.

import (
	"math"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

const (
	// leastOwn is the least clearance the routine takes on: below it a curve
	// does not keep clear of the edges that it must not cross.
	leastOwn = 0.001
	// mostEdges is the greatest number of edges it takes on.
	mostEdges = 4000
	// level is the sine of a turn below which a ring runs straight on.
	level = 1e-9
	// runSlots is how many slots of sides are looked at in one go at most. Where
	// there are more, each ring is looked at in runs of runEdges.
	runSlots, runEdges = 64, 15
)

// vec is a point about the lot's first vertex, or a direction. It is no array
// like orb.Point, for the compiler keeps a struct in registers, and an array in
// memory: that halves the time.
type vec struct{ x, y float64 }

// side is an edge from a to b in direction d with the ground on its left, its
// clearance c and its length l; l is 0 for a point.
type side struct {
	a, b, d     vec
	c, l        float64
	turn, ahead float64 // sine and cosine of the turn at its end
	// what the mitres with the edges that adjoin leave of the curve beside it, and
	// where that begins
	lo, hi     float64
	at         vec
	next, prev int32 // along the ring
	own        int32 // the edge it is the back of (a line has two), else itself
	mitred     bool  // the one at its end is on both curves
}

// along is how far x, y lies in the edge's direction, across how far to its
// left.
func (s *side) along(x, y float64) float64  { return s.d.x*x + s.d.y*y }
func (s *side) across(x, y float64) float64 { return s.d.x*y - s.d.y*x }

// off is how far p lies to the left of the edge's line.
func (s *side) off(p vec) float64 { return s.d.x*(p.y-s.a.y) - s.d.y*(p.x-s.a.x) }

// left is the point c to the left of p.
func (s *side) left(p vec) vec { return vec{p.x - s.c*s.d.y, p.y + s.c*s.d.x} }

// normal is the direction to the left.
func (s *side) normal() vec { return vec{-s.d.y, s.d.x} }

// loopOf is a ring taken up: sides[first:end] with its first vertex again in the
// slot behind, the box of its edges grown by their clearances, and whether it has
// an inside of its own: the lot's rings (thing -1) and those of an area do, a line
// and a point don't.
type loopOf struct {
	box4
	first, end int32
	thing      int32
	area       bool
	inner      bool    // ground is within it: it is a shell of the lot or a hole of a thing
	around     float64 // its length
	even       bool    // its edges have one clearance
	met        bool    // a curve beside one of its edges is on the zone's edge
}

// run is what is looked at in one go: n slots of sides, of which those with
// their bit in edges are edges. Its vertices are those of the slots and the next.
type run struct {
	mid, half vec     // centre and half the size of the box of its vertices
	g         float64 // the greatest clearance of its edges
	first, n  int32
	edges     uint64
}

// scratch is the memory of one run, kept for the next.
type scratch struct {
	origin orb.Point
	sides  []side   // of all rings, behind each a slot that holds no edge
	verts  vertices // where each begins, an empty slot its ring's first again
	rings  []loopOf
	runs   []run
	taken  []int32 // the things that reach into the lot
	toTell bool    // the walk is to tell whether the rings are sound
	by     []int32 // the runs near the one that looks
	rows   [3][]sight
	sights [runSlots]sight // of all edges, where there is but one run
	hits   []int32         // of each curve: the edges to be measured
	arcs   []curve         // those that were cut
	out    []span
	cuts   []spot
	pts    []vec
	chains []chain
	at     int32 // the ring being walked
	down   bool  // the pen: the last chain goes on
	fans   []fan
	order  []int32 // the chains of a loop
	joined []vec   // the points of loops of several chains
	loops  []loop
	boxes  []box4 // of loops, where there are several
	tables [4]table
	latest int // of tables
}

var scratches = sync.Pool{New: func() any { return new(scratch) }}

// direct gives the zone, or false where it is not its own to answer; an error for
// what is no lot or thing.
func direct(lot Lot, out []KeepOut, more unit.Length) (Zone, bool, error) {
	w := scratches.Get().(*scratch)
	z, ok, err := w.zone(lot, out, more, nil)
	scratches.Put(w)
	return z, ok, err
}

// zone answers in memory of its own, or in room where there is some. Of the usual
// lot the walk itself tells that the rings are sound.
func (w *scratch) zone(lot Lot, out []KeepOut, more unit.Length, m *room) (Zone, bool, error) {
	w.toTell = plain(&lot, out)
	checked := !w.toTell
	if checked {
		if err := check(&lot, out); err != nil {
			return Zone{}, false, err
		}
	}
	ok := w.enter(lot, out, float64(more))
	if !checked && !(ok && w.toTell) {
		checked = true
		if err := check(&lot, out); err != nil {
			return Zone{}, false, err
		}
	}
	if !ok {
		return Zone{}, false, nil
	}
	w.walk()
	if !checked && !w.sound() {
		if err := check(&lot, out); err != nil {
			return Zone{}, false, err
		}
	}
	if !w.assemble() {
		return Zone{}, false, nil
	}
	if m == nil {
		n := 0
		for i := range w.loops {
			n += len(w.loops[i].pts)
		}
		m = newRoom(n)
	}
	z, ok := w.answer(out, more, m)
	return z, ok, nil
}

// room is the memory of an answer.
type room struct {
	points  []orb.Point
	rings   []orb.Ring
	pieces  orb.MultiPolygon
	removed []Removed
}

// newRoom is one block for n points and one for all else of the usual lot.
func newRoom(n int) *room {
	m := new(struct {
		room
		rings   [3]orb.Ring
		pieces  [1]orb.Polygon
		removed [2]Removed
	})
	m.room = room{make([]orb.Point, 0, n), m.rings[:0], m.pieces[:0], m.removed[:0]}
	return &m.room
}

// answer puts the loops found where they can be kept.
func (w *scratch) answer(out []KeepOut, more unit.Length, m *room) (Zone, bool) {
	flat := m.points[:0]
	by := vec{w.origin[0], w.origin[1]}
	z := Zone{By: Direct, more: more}
	removed := m.removed[:0]
	for _, i := range w.taken {
		k := &out[i]
		removed = append(removed, Removed{ID: k.ID, Kind: k.Kind, Clearance: k.Clearance})
	}
	if len(removed) > 0 {
		z.Removed = removed
	}
	rings, mp := m.rings[:0], m.pieces[:0]
	// shells first, each a piece
	for i := range w.loops {
		l := &w.loops[i]
		z.Area += unit.Area(l.area)
		if l.area > 0 {
			var r orb.Ring
			flat, r = l.put(flat, &by)
			rings = append(rings, r)
			mp = append(mp, nil)
		}
	}
	for i := range mp {
		mp[i] = orb.Polygon(rings[i : i+1 : i+1])
	}
	for i := range w.loops {
		l := &w.loops[i]
		if l.area > 0 {
			continue
		}
		var hole orb.Ring
		flat, hole = l.put(flat, &by)
		home := -1
		for k := range mp {
			if len(mp) == 1 && inside(l.pts[0], w.shell()) || len(mp) > 1 && shape.LocateInRing(hole[0], mp[k][0]) == shape.Inside {
				if home >= 0 {
					return Zone{}, false
				}
				home = k
			}
		}
		if home < 0 {
			return Zone{}, false
		}
		if len(mp) == 1 { // the one piece goes on in the common block
			rings = append(rings, hole)
			mp[0] = orb.Polygon(rings[:len(rings):len(rings)])
		} else {
			mp[home] = append(mp[home], hole)
		}
	}
	z.Shape, z.Pieces = mp, len(mp)
	m.points, m.rings, m.pieces, m.removed = flat, rings, mp, removed
	return z, true
}

// put adds the points of a loop, shifted, and gives them as a ring.
func (l *loop) put(to []orb.Point, by *vec) ([]orb.Point, orb.Ring) {
	n, m := len(to), len(to)+len(l.pts)
	if cap(to) < m {
		to = append(make([]orb.Point, 0, 2*m), to...) // rings given before keep the old block
	}
	r := to[n:m:m]
	if vector {
		shift(&r[0], &l.pts[0], int64(len(r)), by)
	} else {
		shiftPoints(r, l.pts, *by)
	}
	return to[:m], orb.Ring(r)
}

func shiftPoints(to []orb.Point, pts []vec, by vec) {
	for i, p := range pts[:len(to)] {
		to[i][0], to[i][1] = p.x+by.x, p.y+by.y
	}
}

// shell is the one loop that is a shell.
func (w *scratch) shell() []vec {
	for i := range w.loops {
		if l := &w.loops[i]; l.area > 0 {
			return l.pts
		}
	}
	return nil
}

type box4 struct{ x0, y0, x1, y1 float64 }

var noBox = box4{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}

func boxOf(p, q orb.Point) box4 {
	b := box4{p[0], p[1], q[0], q[1]}
	if b.x0 > b.x1 {
		b.x0, b.x1 = b.x1, b.x0
	}
	if b.y0 > b.y1 {
		b.y0, b.y1 = b.y1, b.y0
	}
	return b
}

// apart is written without a way to leave early: which of the four decides
// can't be foretold, and a wrong guess of the processor costs more than all.
func (b *box4) apart(c *box4) bool {
	return one(b.x0 > c.x1)|one(b.x1 < c.x0)|one(b.y0 > c.y1)|one(b.y1 < c.y0) != 0
}

func one(b bool) (n uint64) {
	if b {
		n = 1
	}
	return n
}

func (b box4) grown(r float64) box4 { return box4{b.x0 - r, b.y0 - r, b.x1 + r, b.y1 + r} }

func (b *box4) add(p vec) {
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, p.x), min(b.y0, p.y), max(b.x1, p.x), max(b.y1, p.y)
}

func (b *box4) join(c *box4) {
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, c.x0), min(b.y0, c.y0), max(b.x1, c.x1), max(b.y1, c.y1)
}

// enter takes up the rings, ground on the left, and of the things those that
// reach into the lot.
func (w *scratch) enter(lot Lot, out []KeepOut, more float64) bool {
	w.sides, w.rings, w.taken = w.sides[:0], w.rings[:0], w.taken[:0]
	w.origin = lot.Shape[0][0][0]
	reach := noBox
	for p, poly := range lot.Shape {
		for r, ring := range poly {
			var each []unit.Length
			if p < len(lot.Edges) && r < len(lot.Edges[p]) {
				each = lot.Edges[p][r]
			}
			if !w.ring(ring, -1, r == 0, each, float64(lot.Clearance), more) {
				return false
			}
			reach.join(&w.rings[len(w.rings)-1].box4)
		}
	}
	for i := range out {
		k := &out[i]
		if k.MayCross {
			continue
		}
		r := float64(k.Clearance) + more
		sides, rings := len(w.sides), len(w.rings)
		ok := r >= leastOwn
		switch g := k.Geometry.(type) {
		case orb.Polygon:
			ok = w.area(g, i, r)
		case orb.MultiPolygon:
			for _, p := range g {
				ok = ok && w.area(p, i, r)
			}
		case orb.Point:
			n := int32(len(w.sides))
			p := w.local(&g)
			w.sides = append(w.sides, side{a: p, b: p, d: vec{1, 0}, c: r, mitred: true, next: n, prev: n, own: n})
			w.link(sides, int32(i), false)
		case orb.LineString:
			ok = ok && w.line(g, i, r)
		default:
			ok = false
		}
		if !ok {
			return false
		}
		b := noBox
		for _, l := range w.rings[rings:] {
			b.join(&l.box4)
		}
		if b = b.grown(arcError); b.apart(&reach) {
			w.toTell = w.toTell && k.check() == nil // the walk won't see it
			w.sides, w.rings = w.sides[:sides], w.rings[:rings]
			continue
		}
		w.taken = append(w.taken, int32(i))
	}
	if len(w.sides) > mostEdges {
		return false
	}
	w.part()
	w.toTell = w.toTell && len(w.runs) == 1
	return true
}

func (w *scratch) local(p *orb.Point) vec { return vec{p[0] - w.origin[0], p[1] - w.origin[1]} }

// area takes up the rings of an area that takes ground.
func (w *scratch) area(p orb.Polygon, thing int, r float64) bool {
	for i, ring := range p {
		if !w.ring(ring, int32(thing), i > 0, nil, r, 0) {
			return false
		}
	}
	return true
}

// ring takes up one ring so that it runs counter-clockwise or not.
func (w *scratch) ring(r orb.Ring, thing int32, ccw bool, each []unit.Length, c, more float64) bool {
	n := len(r) - 1
	first := len(w.sides)
	area, px, py := 0.0, 0.0, 0.0
	ax, ay := r[0][0], r[0][1]
	for i := 1; i < n; i++ {
		x, y := r[i][0]-ax, r[i][1]-ay
		area += px*y - x*py
		px, py = x, y
	}
	own := c + more
	if each == nil && own < leastOwn || !(math.Abs(area) < 1e15) {
		return false
	}
	forwards := (area > 0) == ccw
	a := w.local(&r[0])
	for k := 0; k < n; k++ {
		at, e := k+1, k
		if !forwards {
			at, e = n-1-k, n-1-k
		}
		if each != nil {
			if own = float64(each[e]) + more; own < leastOwn {
				return false
			}
		}
		b := w.local(&r[at])
		w.append(first, a, b, own)
		a = b
	}
	if !w.close(first, thing, true) {
		return false
	}
	l := &w.rings[len(w.rings)-1]
	l.inner = ccw
	w.toTell = w.toTell && math.Abs(area) > thin*l.around
	return true
}

// line takes up a line as a ring along its one side and back along the other.
func (w *scratch) line(l orb.LineString, thing int, r float64) bool {
	first := len(w.sides)
	for i := 1; i < len(l); i++ {
		w.append(first, w.local(&l[i-1]), w.local(&l[i]), r)
	}
	k := len(w.sides) - first
	if k == 0 {
		return false
	}
	for i := k - 1; i >= 0; i-- {
		var s side
		s.set(w.sides[first+i].b, w.sides[first+i].a, r)
		w.sides[len(w.sides)-1].meets(&s)
		w.sides = append(w.sides, s)
	}
	if !w.close(first, int32(thing), false) {
		return false
	}
	for i := k; i < 2*k; i++ {
		w.sides[first+i].own = int32(first + 2*k - 1 - i)
	}
	return true
}

// set makes s the edge from a to b, not yet linked.
func (s *side) set(a, b vec, c float64) {
	x, y := b.x-a.x, b.y-a.y
	l := math.Sqrt(x*x + y*y)
	k := 1 / l
	s.a, s.b, s.c, s.l = a, b, c, l
	s.d = vec{x * k, y * k}
}

// append adds an edge, or draws the one before on to its end where they run
// straight on.
func (w *scratch) append(first int, a, b vec, c float64) {
	if a == b {
		return
	}
	n := len(w.sides)
	if n == cap(w.sides) {
		w.sides = append(w.sides, side{})
	}
	w.sides = w.sides[:n+1]
	s := &w.sides[n]
	s.set(a, b, c)
	if n > first {
		e := &w.sides[n-1]
		if e.meets(s); e.c == c && e.straightOn(s) {
			e.set(e.a, b, c)
			w.sides = w.sides[:n]
			if n--; n > first {
				w.sides[n-1].meets(e)
			}
		}
	}
}

// meets works out the turn from e to the next edge f.
func (e *side) meets(f *side) {
	e.turn = e.d.x*f.d.y - e.d.y*f.d.x
	e.ahead = e.d.x*f.d.x + e.d.y*f.d.y
}

// straightOn tells whether f goes on where e ends without leaving its line.
func (e *side) straightOn(f *side) bool {
	return e.ahead > 0.9 && math.Abs(e.turn)*min(e.l, f.l) <= numeric
}

// close links the edges of a ring.
func (w *scratch) close(first int, thing int32, area bool) bool {
	n := len(w.sides) - first
	if n < 2 {
		return false
	}
	if e, f := &w.sides[first+n-1], &w.sides[first]; area && n > 3 {
		if e.meets(f); e.c == f.c && e.straightOn(f) {
			f.set(e.a, f.b, f.c)
			f.meets(&w.sides[first+1])
			n--
			w.sides = w.sides[:first+n]
		}
	}
	w.sides[first+n-1].meets(&w.sides[first])
	s := &w.sides[first+n-1]
	s.next, s.own = int32(first), int32(first+n-1)
	for i := first; i < first+n; i++ {
		f := &w.sides[i]
		f.lo = 0
		s.corner(f)
		f.at = vec{f.a.x - f.c*f.d.y + f.lo*f.d.x, f.a.y + f.c*f.d.x + f.lo*f.d.y}
		f.prev, f.own, f.next = s.own, int32(i), int32(i+1)
		s = f
	}
	s.next = int32(first)
	w.link(first, thing, area)
	return true
}

// corner works out what the curves beside s and the next edge f cut off one
// another where they meet on both.
func (s *side) corner(f *side) {
	s.hi, s.mitred = s.l, false
	if s.turn <= level {
		return
	}
	var m, k float64
	if s.c == f.c {
		m = s.c * s.turn / (1 + s.ahead)
		k = m
	} else {
		m, k = (f.c-s.c*s.ahead)/s.turn, (s.c-f.c*s.ahead)/s.turn
	}
	if m >= 0 && k >= 0 && m <= s.l && k <= f.l {
		s.hi, f.lo, s.mitred = s.l-m, k, true
	}
}

// link enters sides[first:] as a ring and its vertices.
func (w *scratch) link(first int, thing int32, area bool) {
	end := len(w.sides)
	w.sides = append(w.sides, side{a: w.sides[first].a, b: w.sides[first].a})
	w.verts.room(end + 1)
	x, y, g := w.verts.x[:end+1], w.verts.y[:end+1], w.verts.g[:end+1]
	c := w.sides[end-1].c // of the edge before
	most := c
	l := loopOf{box4: noBox, first: int32(first), end: int32(end), thing: thing, area: area, even: true}
	for i := first; i < end; i++ {
		s := &w.sides[i]
		x[i], y[i], g[i] = s.a.x, s.a.y, c
		l.add(s.a)
		l.around += s.l
		if s.c != c {
			l.even = false
			g[i] = max(c, s.c)
			most = max(most, s.c)
		}
		c = s.c
	}
	x[end], y[end], g[end] = x[first], y[first], g[first]
	if !area { // the end of a line is no start of an edge but of its back
		l.add(w.sides[end-1].b)
	}
	l.box4 = l.grown(most)
	w.rings = append(w.rings, l)
}

// part parts the slots into runs.
func (w *scratch) part() {
	w.runs = w.runs[:0]
	if n := len(w.sides); n <= runSlots {
		edges := uint64(1)<<uint(n) - 1
		for k := range w.rings {
			edges &^= 1 << uint32(w.rings[k].end)
		}
		w.runs = append(w.runs, run{n: int32(n), edges: edges})
		return
	}
	for k := range w.rings {
		l := &w.rings[k]
		for i := l.first; i < l.end; i += runEdges {
			m := min(runEdges, l.end-i)
			b, most := noBox, 0.0
			for j := i; j <= i+m; j++ {
				b.add(vec{w.verts.x[j], w.verts.y[j]})
				most = max(most, w.verts.g[j])
			}
			w.runs = append(w.runs, run{mid: vec{(b.x0 + b.x1) / 2, (b.y0 + b.y1) / 2}, half: vec{(b.x1 - b.x0) / 2, (b.y1 - b.y0) / 2},
				g: most, first: i, n: m, edges: 1<<uint(m) - 1})
		}
	}
}

// inward tells whether the next edge turns into the ground at the end of s, so
// that an arc goes round the corner.
func (s *side) inward() bool { return s.turn < -level || s.turn <= level && s.ahead < 0 }
