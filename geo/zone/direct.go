package zone

// The direct routine: the zone of the usual lot without GEOS.
//
// The edge of a zone is made of pieces of curves that run beside the lot lines
// and the walls at their clearance: straight ones along edges, arcs round the
// corners that point into the ground. From each such curve the stretches nearer
// to any other edge than that one's clearance are taken out; what is left are
// parts of the zone's edge, each cut where it meets the next. Linked end to
// start they form loops; a loop that lies outside the lot or within a thing
// goes, the rest are shells (counter-clockwise) and holes. A loop keeps its
// distance from every edge, so one of its points decides for all.
//
// The routine never answers "empty", and what it answers is certified by
// distances (certify.go) before it is used; whatever is in doubt is left to the
// overlay. Cost: curves times edges, with boxes to pass by most pairs. Places on
// an arc are held as directions from its centre, which needs no trigonometry.

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
	// join is how far the end of a part may lie from the start of the next.
	join = 1e-7
	// mostEdges is the greatest number of edges it takes on.
	mostEdges = 4000
)

// side is an edge with the ground on its left.
type side struct {
	edge
	l           float64
	turn, ahead float64 // sine and cosine of the turn at its end
	next, prev  int32   // along the ring
	own         int32   // the edge it is the back of (a line has two), else itself
}

// loopOf is a ring taken up: sides[first:end], the box of its edges grown by
// their clearances, and whether it has an inside of its own: the lot's rings
// (thing -1) and those of an area do, a line and a point don't.
type loopOf struct {
	box4
	first, end int32
	thing      int32
	area       bool
	shell      bool // the outer ring of a part of the lot
	bulging    bool // every corner points into the ground: its own edges never cut its curves
}

// curve runs beside one edge (straight), or round the end of one: an arc, run
// clockwise.
type curve struct {
	arc bool
	p   orb.Point // start, or centre
	d   orb.Point // direction, or direction of the start from the centre
	e   orb.Point // end, or direction of the end from the centre
	l   float64   // length, or the place of the end, as of turned
	r   float64
	// edges it lies exactly at the clearance of
	own, also int32
	// edges that adjoin with the same clearance, -1 none; whether they turn into
	// the ground, where they never cut the curve; what the mitre cuts off
	next, prev     int32
	nextIn, prevIn bool
	mitre, before  float64
}

// turned is the place of a direction u on an arc: it grows from 0 to 4 as u
// turns clockwise from d once round, by 2 for a half turn.
func (c *curve) turned(u orb.Point) float64 {
	cos, sin := c.d[0]*u[0]+c.d[1]*u[1], c.d[1]*u[0]-c.d[0]*u[1]
	if sin >= 0 {
		return 1 - cos
	}
	return 3 + cos
}

// out is the point of an arc in direction u.
func (c *curve) out(u orb.Point) orb.Point {
	return orb.Point{c.p[0] + c.r*u[0], c.p[1] + c.r*u[1]}
}

// span is a stretch of a curve: distances from the start, or places as of
// turned with their directions.
type span struct {
	from, to float64
	u0, u1   orb.Point
}

// spot is a place on an arc.
type spot struct {
	t float64
	u orb.Point
}

// part is what is left of a curve between two cuts.
type part struct {
	p0, p1 orb.Point
	u0, u1 orb.Point // of an arc
	wide   float64   // of an arc: by how much its places differ
	curve  int32
	fan    int32 // of an arc: where it was drawn
	loop   int32 // the loop it was linked into, from 1
	kept   bool  // that loop bounds the zone
}

// scratch is the memory of one run, kept for the next.
type scratch struct {
	sides  []side
	boxes  []box4 // of each side, grown by its clearance
	rings  []loopOf
	curves []curve
	parts  []part
	near   []near4
	out    []span
	cuts   []spot
	pts    []orb.Point
	loops  []loop
	fans   []fan
	steps  [2]fanStep
}

// loop is a closed run of points pts[from:to], the first repeated at the end.
type loop struct {
	from, to int
	area     float64
}

// fan is where an arc about v was drawn: its points are pts[from:to+1].
type fan struct {
	from, to int
	v        orb.Point
	r        float64
	kites    float64 // the sum of the tangents of its half steps
}

// fanStep is a step of an arc of a radius: sine, cosine, and tangent of its half.
type fanStep struct{ r, sin, cos, half float64 }

var scratches = sync.Pool{New: func() any { return new(scratch) }}

// direct gives the zone, or false where it is not its own to answer. The lot
// and the things are valid.
func direct(lot Lot, out []KeepOut, more unit.Length) (Zone, bool) {
	w := scratches.Get().(*scratch)
	defer scratches.Put(w)
	z := Zone{By: Direct, more: more}
	if !w.enter(lot, out, float64(more), &z) {
		return Zone{}, false
	}
	w.trace()
	mp, ok := w.assemble()
	if !ok || !w.certify() {
		return Zone{}, false
	}
	z.Shape, z.Pieces = mp, len(mp)
	for _, l := range w.loops {
		z.Area += unit.Area(l.area)
	}
	return z, true
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

func one(b bool) (n uint8) {
	if b {
		n = 1
	}
	return n
}

func (b box4) grown(r float64) box4 { return box4{b.x0 - r, b.y0 - r, b.x1 + r, b.y1 + r} }

func (b *box4) join(c *box4) {
	if c.x0 < b.x0 {
		b.x0 = c.x0
	}
	if c.y0 < b.y0 {
		b.y0 = c.y0
	}
	if c.x1 > b.x1 {
		b.x1 = c.x1
	}
	if c.y1 > b.y1 {
		b.y1 = c.y1
	}
}

// enter takes up the rings, ground on the left, and of the things those that
// reach into the lot.
func (w *scratch) enter(lot Lot, out []KeepOut, more float64, z *Zone) bool {
	w.sides, w.boxes, w.rings = w.sides[:0], w.boxes[:0], w.rings[:0]
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
			w.rings[len(w.rings)-1].shell = r == 0
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
		ok := true
		switch g := k.Geometry.(type) {
		case orb.Polygon:
			ok = w.area(g, i, r)
		case orb.MultiPolygon:
			for _, p := range g {
				ok = ok && w.area(p, i, r)
			}
		case orb.Point:
			n := int32(len(w.sides))
			w.sides = append(w.sides, side{edge: edge{a: g, b: g, d: orb.Point{1, 0}, n: orb.Point{0, 1}, c: r}, next: n, prev: n, own: n})
			w.boxes = append(w.boxes, boxOf(g, g).grown(r))
			w.rings = append(w.rings, loopOf{box4: w.boxes[n], first: n, end: n + 1, thing: int32(i)})
			ok = r >= leastOwn
		case orb.LineString:
			ok = w.line(g, i, r)
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
			w.sides, w.boxes, w.rings = w.sides[:sides], w.boxes[:sides], w.rings[:rings]
			continue
		}
		z.Removed = append(z.Removed, Removed{ID: k.ID, Kind: k.Kind, Clearance: k.Clearance})
	}
	return len(w.sides) <= mostEdges
}

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
	forwards := (shape.RingArea(r) > 0) == ccw
	own := c + more
	for k := 0; k < n; k++ {
		i := k
		a, b := r[i], r[i+1]
		if !forwards {
			i = n - 1 - k
			a, b = r[i+1], r[i]
		}
		if each != nil {
			own = float64(each[i]) + more
		}
		if own < leastOwn {
			return false
		}
		w.append(first, a, b, own)
	}
	return w.close(first, thing, true)
}

// line takes up a line as a ring along its one side and back along the other.
func (w *scratch) line(l orb.LineString, thing int, r float64) bool {
	if r < leastOwn {
		return false
	}
	first := len(w.sides)
	for i := 1; i < len(l); i++ {
		w.append(first, l[i-1], l[i], r)
	}
	k := len(w.sides) - first
	if k == 0 {
		return false
	}
	for i := k - 1; i >= 0; i-- {
		s := w.sides[first+i]
		w.sides = append(w.sides, newSide(s.b, s.a, r))
	}
	if !w.close(first, int32(thing), false) {
		return false
	}
	for i := k; i < 2*k; i++ {
		w.sides[first+i].own = int32(first + 2*k - 1 - i)
	}
	return true
}

func newSide(a, b orb.Point, c float64) side {
	x, y := b[0]-a[0], b[1]-a[1]
	l := math.Sqrt(x*x + y*y)
	x, y = x/l, y/l
	return side{edge: edge{a: a, b: b, d: orb.Point{x, y}, n: orb.Point{-y, x}, c: c}, l: l}
}

// append adds an edge, or draws the one before on to its end where they run
// straight on.
func (w *scratch) append(first int, a, b orb.Point, c float64) {
	if a == b {
		return
	}
	s := newSide(a, b, c)
	if n := len(w.sides); n > first && w.sides[n-1].c == c {
		if e := &w.sides[n-1]; s.d[0]*e.d[0]+s.d[1]*e.d[1] > 0.9 {
			if turn := e.d[0]*s.d[1] - e.d[1]*s.d[0]; math.Abs(turn)*min(e.l, s.l) <= numeric {
				*e = newSide(e.a, b, c)
				return
			}
		}
	}
	w.sides = append(w.sides, s)
}

// close links the edges of a ring.
func (w *scratch) close(first int, thing int32, area bool) bool {
	n := len(w.sides) - first
	if n < 2 {
		return false
	}
	l := loopOf{box4: noBox, first: int32(first), end: int32(first + n), thing: thing, area: area, bulging: area && thing >= 0}
	for i := first; i < first+n; i++ {
		s := &w.sides[i]
		s.own, s.next, s.prev = int32(i), int32(i+1), int32(i-1)
		if i == first {
			s.prev = l.end - 1
		}
		if s.next == l.end {
			s.next = l.first
		}
		f := &w.sides[s.next]
		s.turn = s.d[0]*f.d[1] - s.d[1]*f.d[0]
		s.ahead = s.d[0]*f.d[0] + s.d[1]*f.d[1]
		l.bulging = l.bulging && s.turn < 0
		b := boxOf(s.a, s.b).grown(s.c)
		w.boxes = append(w.boxes, b)
		l.join(&b)
	}
	w.rings = append(w.rings, l)
	return true
}

// inward tells whether the next edge turns into the ground at the end of s, so
// that an arc goes round the corner.
func (s *side) inward() bool { return s.turn < 0 || s.turn == 0 && s.ahead < 0 }

// trace lays the curves, cuts them, and gathers the parts left, ring by ring.
func (w *scratch) trace() {
	w.curves, w.parts = w.curves[:0], w.parts[:0]
	for k := range w.rings {
		w.choose(k)
		for i := w.rings[k].first; i < w.rings[k].end; i++ {
			s := &w.sides[i]
			if s.l == 0 { // a point: a full circle
				w.round(curve{p: s.a, d: s.d, e: s.d, l: 4, r: s.c, own: i, also: i}, w.boxes[i])
				continue
			}
			w.straight(s)
			f := &w.sides[s.next]
			switch {
			case f.c == s.c && s.inward():
				c := curve{p: s.b, d: s.n, e: f.n, r: s.c, own: s.own, also: f.own}
				if c.l = c.turned(f.n); s.ahead < 0 && math.Abs(s.turn) < numeric {
					c.l = 2 // straight back
				}
				w.round(c, fanBox(&c))
			case s.c > f.c:
				c := curve{p: s.b, d: s.n, e: orb.Point{-s.n[0], -s.n[1]}, l: 2, r: s.c, own: s.own, also: s.own}
				w.round(c, boxOf(s.b, s.b).grown(s.c))
			case s.c < f.c:
				c := curve{p: s.b, d: orb.Point{-f.n[0], -f.n[1]}, e: f.n, l: 2, r: f.c, own: f.own, also: f.own}
				w.round(c, boxOf(s.b, s.b).grown(f.c))
			}
		}
	}
}

// choose gathers the edges that can cut the curves of ring k, whose box holds
// them all.
func (w *scratch) choose(k int) {
	w.near = w.near[:0]
	l := &w.rings[k]
	for m := range w.rings {
		o := &w.rings[m]
		if m == k && l.bulging || o.apart(&l.box4) {
			continue
		}
		for j := o.first; j < o.end; j++ {
			if (m == k || !w.boxes[j].apart(&l.box4)) && w.sides[j].own == j {
				w.near = append(w.near, near4{w.boxes[j], j})
			}
		}
	}
}

// near4 is an edge that can cut a curve, with its box.
type near4 struct {
	box4
	side int32
}

// fanBox is a box about an arc: of a quarter turn or less, that of its ends and
// of the corner of their tangents; else that of the circle.
func fanBox(c *curve) box4 {
	if c.l > 1 {
		return boxOf(c.p, c.p).grown(c.r)
	}
	k := c.r / (1 + c.d[0]*c.e[0] + c.d[1]*c.e[1])
	p, q := c.out(c.d), c.out(c.e)
	b := boxOf(p, q)
	m := orb.Point{c.p[0] + k*(c.d[0]+c.e[0]), c.p[1] + k*(c.d[1]+c.e[1])}
	n := boxOf(m, m)
	b.join(&n)
	return b
}

// straight lays and cuts the curve beside an edge.
func (w *scratch) straight(s *side) {
	c := curve{p: orb.Point{s.a[0] + s.c*s.n[0], s.a[1] + s.c*s.n[1]}, d: s.d, e: orb.Point{s.b[0] + s.c*s.n[0], s.b[1] + s.c*s.n[1]},
		l: s.l, own: s.own, also: s.own, next: -1, prev: -1}
	if f := &w.sides[s.next]; f.c == s.c {
		c.next, c.nextIn, c.mitre = f.own, s.inward(), s.c*s.turn/(1+s.ahead)
	}
	if e := &w.sides[s.prev]; e.c == s.c {
		c.prev, c.prevIn, c.before = e.own, e.inward(), s.c*e.turn/(1+e.ahead)
	}
	box := boxOf(c.p, c.e)
	w.out = w.out[:0]
	// what the edges that adjoin cut off at the mitre, where it is on both
	next, prev := c.next >= 0 && !c.nextIn && c.mitre <= c.l && c.mitre <= w.sides[c.next].l, c.prev >= 0 && !c.prevIn && c.before <= c.l && c.before <= w.sides[c.prev].l
	lo, hi := 0.0, c.l
	if next {
		hi -= c.mitre
	}
	if prev {
		lo = c.before
	}
	if hi <= lo {
		return // nothing between them
	}
	for k := range w.near {
		b := &w.near[k]
		if b.apart(&box) {
			continue
		}
		j := b.side
		if j == c.own || j == c.next && (next || c.nextIn) || j == c.prev && (prev || c.prevIn) {
			continue
		}
		v, ok := w.nearer(&c, &w.sides[j], j)
		if !ok {
			continue
		}
		if v.from <= lo && v.to >= hi {
			return // all of it
		}
		w.out = append(w.out, v)
	}
	id := int32(len(w.curves))
	w.curves = append(w.curves, c)
	w.sort()
	t, p, e := lo, c.p, c.e
	if lo > 0 {
		p = orb.Point{c.p[0] + lo*c.d[0], c.p[1] + lo*c.d[1]}
	}
	if hi < c.l {
		e = orb.Point{c.p[0] + hi*c.d[0], c.p[1] + hi*c.d[1]}
	}
	for i := range w.out {
		v := &w.out[i]
		if v.from >= hi {
			break
		}
		if v.from-t > numeric {
			w.parts = append(w.parts, part{curve: id, p0: p, p1: orb.Point{c.p[0] + v.from*c.d[0], c.p[1] + v.from*c.d[1]}})
		}
		if v.to > t {
			t = v.to
			p = orb.Point{c.p[0] + t*c.d[0], c.p[1] + t*c.d[1]}
		}
	}
	if hi-t > numeric {
		w.parts = append(w.parts, part{curve: id, p0: p, p1: e})
	}
}

// sort orders the few stretches to take out.
func (w *scratch) sort() {
	for i := 1; i < len(w.out); i++ {
		for k := i; k > 0 && w.out[k].from < w.out[k-1].from; k-- {
			w.out[k], w.out[k-1] = w.out[k-1], w.out[k]
		}
	}
}

// nearer is what of a straight curve is nearer to edge j than its clearance.
func (w *scratch) nearer(c *curve, s *side, j int32) (span, bool) {
	a, b := true, true // whether the discs about its ends count: not that about a corner shared
	if j == c.next || j == c.prev {
		o := &w.sides[c.own]
		if j == c.next && (s.a == o.a || s.a == o.b) || j == c.prev && s.b != o.a && s.b != o.b {
			a = false
		} else {
			b = false
		}
	}
	return c.beside(s, a, b)
}

// beside is what of a straight curve is nearer to an edge than its clearance:
// one stretch, for the ground within a distance of an edge is convex.
func (c *curve) beside(s *side, discA, discB bool) (span, bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	px, py := c.p[0]-s.a[0], c.p[1]-s.a[1]
	r := s.c
	if s.l > 0 {
		t0, t1 := 0.0, c.l
		y, v := s.n[0]*px+s.n[1]*py, s.n[0]*c.d[0]+s.n[1]*c.d[1]
		switch {
		case v > 0:
			t0, t1 = max(t0, (-r-y)/v), min(t1, (r-y)/v)
		case v < 0:
			t0, t1 = max(t0, (r-y)/v), min(t1, (-r-y)/v)
		case y <= -r || y >= r:
			t1 = t0
		}
		if t0 < t1 {
			x, u := s.d[0]*px+s.d[1]*py, s.d[0]*c.d[0]+s.d[1]*c.d[1]
			switch {
			case u > 0:
				t0, t1 = max(t0, -x/u), min(t1, (s.l-x)/u)
			case u < 0:
				t0, t1 = max(t0, (s.l-x)/u), min(t1, -x/u)
			case x <= 0 || x >= s.l:
				t1 = t0
			}
			if t0 < t1 {
				lo, hi = t0, t1
			}
		}
	}
	disc := func(x, y float64) { // the end of the edge from the start of the curve
		off := c.d[0]*y - c.d[1]*x
		if h := r*r - off*off; h > 0 {
			h = math.Sqrt(h)
			along := c.d[0]*x + c.d[1]*y
			lo, hi = min(lo, along-h), max(hi, along+h)
		}
	}
	if discA {
		disc(-px, -py)
	}
	if discB && s.l > 0 {
		disc(s.b[0]-c.p[0], s.b[1]-c.p[1])
	}
	lo, hi = max(lo, 0), min(hi, c.l)
	return span{from: lo, to: hi}, hi-lo > numeric
}

// apart is the distance from a point to an edge.
func (s *side) apart(p orb.Point) float64 {
	x, y := p[0]-s.a[0], p[1]-s.a[1]
	t := s.d[0]*x + s.d[1]*y
	switch {
	case t <= 0:
		return math.Sqrt(x*x + y*y)
	case t >= s.l:
		x, y = p[0]-s.b[0], p[1]-s.b[1]
		return math.Sqrt(x*x + y*y)
	}
	return math.Abs(s.n[0]*x + s.n[1]*y)
}

// round lays and cuts an arc.
func (w *scratch) round(c curve, box box4) {
	c.arc = true
	w.out = w.out[:0]
	for k := range w.near {
		b := &w.near[k]
		if b.apart(&box) {
			continue
		}
		if b.side != c.own && b.side != c.also {
			w.cutArc(&c, &w.sides[b.side])
		}
	}
	id := int32(len(w.curves))
	w.curves = append(w.curves, c)
	w.sort()
	t, u := 0.0, c.d
	for i := range w.out {
		v := &w.out[i]
		if v.from-t > numeric {
			w.parts = append(w.parts, part{curve: id, p0: c.out(u), p1: c.out(v.u0), u0: u, u1: v.u0, wide: v.from - t})
		}
		if v.to > t {
			t, u = v.to, v.u1
		}
	}
	if c.l-t > numeric || len(w.out) == 0 {
		w.parts = append(w.parts, part{curve: id, p0: c.out(u), p1: c.out(c.e), u0: u, u1: c.e, wide: c.l - t})
	}
}

// cutArc adds the stretches of an arc that are nearer to an edge than its
// clearance: between the places where the circle meets the edge's own curves.
func (w *scratch) cutArc(c *curve, s *side) {
	if s.apart(c.p) >= c.r+s.c {
		return
	}
	cuts := append(w.cuts[:0], spot{0, c.d})
	meet := func(x, y float64) { // from the centre
		u := orb.Point{x / c.r, y / c.r}
		if t := c.turned(u); t > 0 && t < c.l {
			cuts = append(cuts, spot{t, u})
		}
	}
	x, y := s.a[0]-c.p[0], s.a[1]-c.p[1]
	if s.l > 0 {
		for _, k := range [2]float64{s.c, -s.c} { // the lines beside
			off := s.n[0]*x + s.n[1]*y + k
			if h := c.r*c.r - off*off; h > 0 {
				h = math.Sqrt(h)
				meet(off*s.n[0]+h*s.d[0], off*s.n[1]+h*s.d[1])
				meet(off*s.n[0]-h*s.d[0], off*s.n[1]-h*s.d[1])
			}
		}
	}
	disc := func(x, y float64) {
		d2 := x*x + y*y
		if d2 == 0 {
			return
		}
		along := (d2 + c.r*c.r - s.c*s.c) / 2 // times the distance
		if h := c.r*c.r*d2 - along*along; h > 0 {
			h = math.Sqrt(h)
			meet((along*x-h*y)/d2, (along*y+h*x)/d2)
			meet((along*x+h*y)/d2, (along*y-h*x)/d2)
		}
	}
	disc(x, y)
	if s.l > 0 {
		disc(s.b[0]-c.p[0], s.b[1]-c.p[1])
	}
	cuts = append(cuts, spot{c.l, c.e})
	for i := 1; i < len(cuts); i++ {
		for k := i; k > 0 && cuts[k].t < cuts[k-1].t; k-- {
			cuts[k], cuts[k-1] = cuts[k-1], cuts[k]
		}
	}
	w.cuts = cuts
	for i := 1; i < len(cuts); i++ {
		a, b := &cuts[i-1], &cuts[i]
		if b.t-a.t <= numeric || s.apart(c.out(halfway(a, b))) >= s.c {
			continue
		}
		if n := len(w.out); n > 0 && w.out[n-1].to == a.t && i > 1 {
			w.out[n-1].to, w.out[n-1].u1 = b.t, b.u
		} else {
			w.out = append(w.out, span{a.t, b.t, a.u, b.u})
		}
	}
}

// halfway is the direction halfway from one place on an arc to a later one.
func halfway(a, b *spot) orb.Point {
	x, y := a.u[0]+b.u[0], a.u[1]+b.u[1]
	if b.t-a.t > 2 {
		x, y = -x, -y
	}
	n := math.Sqrt(x*x + y*y)
	if n < 1e-3 { // a half turn
		return orb.Point{a.u[1], -a.u[0]}
	}
	return orb.Point{x / n, y / n}
}

// assemble links the parts into loops and the loops into pieces; false when an
// end finds no start, or there is nothing.
func (w *scratch) assemble() (orb.MultiPolygon, bool) {
	w.pts, w.loops, w.fans = w.pts[:0], w.loops[:0], w.fans[:0]
	id, shells := int32(0), 0
	for i := range w.parts {
		if w.parts[i].loop > 0 {
			continue
		}
		id++
		from, fans := len(w.pts), len(w.fans)
		start := w.parts[i].p0
		open := false
		for k := i; ; {
			p := &w.parts[k]
			p.loop = id
			if !w.stroke(p) {
				return nil, false
			}
			if apart2(p.p1, start) <= join*join {
				break
			}
			if k = w.follow(k); k < 0 {
				// beyond the lot line or within a thing a chain ends where a
				// curve on the far side would go on; on the ground none does
				if w.ground(start) {
					return nil, false
				}
				open = true
				break
			}
		}
		if open || !w.ground(start) {
			w.pts, w.fans = w.pts[:from], w.fans[:fans]
			continue
		}
		w.pts = append(w.pts, start)
		l := loop{from: from, to: len(w.pts)}
		x, y := 0.0, 0.0
		for _, p := range w.pts[from+1:] { // about the start, to keep the digits
			u, v := p[0]-start[0], p[1]-start[1]
			l.area += x*v - u*y
			x, y = u, v
		}
		l.area /= 2
		if math.Abs(l.area) < 10*float64(leastPiece) {
			return nil, false // a piece about too small to be one
		}
		if l.area > 0 {
			shells++
		}
		w.loops = append(w.loops, l)
		for k := i; k < len(w.parts); k++ {
			if p := &w.parts[k]; p.loop == id {
				p.kept = true
			}
		}
	}
	if shells == 0 {
		return nil, false
	}
	flat := append(make([]orb.Point, 0, len(w.pts)), w.pts...) // one block for all rings
	rings := make([]orb.Ring, 0, len(w.loops))                 // and one for all pieces
	mp := make(orb.MultiPolygon, 0, shells)
	for _, l := range w.loops {
		if l.area > 0 {
			rings = append(rings, orb.Ring(flat[l.from:l.to:l.to]))
			mp = append(mp, orb.Polygon(rings[len(rings)-1:len(rings):len(rings)]))
		}
	}
	for _, l := range w.loops {
		if l.area > 0 {
			continue
		}
		home := -1
		for i := range mp {
			if shells == 1 && inside(w.pts[l.from], mp[i][0]) || shells > 1 && shape.LocateInRing(w.pts[l.from], mp[i][0]) == shape.Inside {
				if home >= 0 {
					return nil, false
				}
				home = i
			}
		}
		if home < 0 {
			return nil, false
		}
		if shells == 1 { // the one piece goes on in the common block
			rings = append(rings, orb.Ring(flat[l.from:l.to:l.to]))
			mp[0] = orb.Polygon(rings[:len(rings):len(rings)])
		} else {
			mp[home] = append(mp[home], orb.Ring(flat[l.from:l.to:l.to]))
		}
	}
	return mp, true
}

// follow finds the part that starts where part k ends: the next one, the first
// of the ring's, or any; -1 for none.
func (w *scratch) follow(k int) int {
	p := w.parts[k].p1
	if m := k + 1; m < len(w.parts) && w.parts[m].loop == 0 && apart2(p, w.parts[m].p0) <= join*join {
		return m
	}
	for m := range w.parts {
		if w.parts[m].loop == 0 && apart2(p, w.parts[m].p0) <= join*join {
			return m
		}
	}
	return -1
}

func apart2(a, b orb.Point) float64 {
	x, y := a[0]-b[0], a[1]-b[1]
	return x*x + y*y
}

// inside tells whether a point clear of a closed ring's edge is within it.
func inside(p orb.Point, r []orb.Point) bool {
	in := false
	for i := 1; i < len(r); i++ {
		if a, b := &r[i-1], &r[i]; (a[1] > p[1]) != (b[1] > p[1]) {
			if (p[0]-a[0])*(b[1]-a[1]) < (b[0]-a[0])*(p[1]-a[1]) == (b[1] > a[1]) {
				in = !in
			}
		}
	}
	return in
}

// ground tells whether a point clear of all edges is in the lot and in no thing.
func (w *scratch) ground(p orb.Point) bool {
	in, thing := false, int32(-1)
	for k := range w.rings {
		l := &w.rings[k]
		if l.thing != thing {
			if in != (thing < 0) {
				return false // not in the lot, or in this thing
			}
			in, thing = false, l.thing
		}
		if !l.area || p[0] < l.x0 || p[0] > l.x1 || p[1] < l.y0 || p[1] > l.y1 {
			continue
		}
		for j := l.first; j < l.end; j++ {
			if s := &w.sides[j]; (s.a[1] > p[1]) != (s.b[1] > p[1]) {
				if (p[0]-s.a[0])*(s.b[1]-s.a[1]) < (s.b[0]-s.a[0])*(p[1]-s.a[1]) == (s.b[1] > s.a[1]) {
					in = !in
				}
			}
		}
	}
	return in == (thing < 0)
}

// stroke adds the points of a part, its last one left to the next part. An arc
// is drawn by tangents at even steps and one more that is left over. It is false
// where a point falls on the one before.
func (w *scratch) stroke(p *part) bool {
	if n := len(w.pts); n > 0 && apart2(w.pts[n-1], p.p0) <= numeric*numeric {
		return false
	}
	w.pts = append(w.pts, p.p0)
	c := &w.curves[p.curve]
	if !c.arc {
		return true
	}
	s := w.step(c.r)
	f := fan{from: len(w.pts) - 1, v: c.p, r: c.r}
	x, y := p.u0[0], p.u0[1]
	for k := 0; ; k++ {
		dot := x*p.u1[0] + y*p.u1[1]
		if dot >= s.cos && (k == 0 && p.wide < 1 || k > 0 && y*p.u1[0]-x*p.u1[1] >= -numeric) {
			if 1-dot > 1e-15 { // else nothing is left over
				h := c.r / (1 + dot)
				f.kites += math.Sqrt((1 - dot) / (1 + dot))
				w.pts = append(w.pts, orb.Point{c.p[0] + h*(x+p.u1[0]), c.p[1] + h*(y+p.u1[1])})
			}
			break
		}
		if k > 1000 {
			return false
		}
		w.pts = append(w.pts, orb.Point{c.p[0] + c.r*(x+s.half*y), c.p[1] + c.r*(y-s.half*x)})
		f.kites += s.half
		x, y = x*s.cos+y*s.sin, y*s.cos-x*s.sin
	}
	f.to = len(w.pts)
	p.fan = int32(len(w.fans))
	w.fans = append(w.fans, f)
	return true
}

// step is the greatest step of an arc of a radius whose tangents meet no more
// than arcError beyond it.
func (w *scratch) step(r float64) *fanStep {
	for i := range w.steps {
		if w.steps[i].r == r {
			return &w.steps[i]
		}
	}
	w.steps[1] = w.steps[0]
	cos := r / (r + arcError) // of half the step
	sin := math.Sqrt((1 - cos) * (1 + cos))
	w.steps[0] = fanStep{r, 2 * sin * cos, 2*cos*cos - 1, sin / cos}
	return &w.steps[0]
}
