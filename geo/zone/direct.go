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
// overlay. Cost: curves times edges, with boxes to pass by most pairs.

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
	l              float64
	x0, y0, x1, y1 float64 // box, grown by the clearance
	next, prev     int32   // along the ring
	own            int32   // the edge it is the back of (a line has two), else itself
	turn, ahead    float64 // sine and cosine of the turn at its end
}

// curve is beside one edge (straight) or round the end of one (an arc, run
// clockwise from direction n through sweep radians).
type curve struct {
	arc            bool
	p              orb.Point // start, or centre
	d              orb.Point // direction, or direction of the start from the centre
	e              orb.Point // direction of the end of an arc from the centre
	l              float64   // length, or sweep
	r              float64
	own, also      int32   // edges it lies exactly at the clearance of
	next, prev     int32   // edges that adjoin with the same clearance; -1: none
	nextIn, prevIn bool    // they turn into the ground: they never cut the curve
	mitre, before  float64 // what the next and the one before cut off an end by the mitre
	x0, y0, x1, y1 float64
}

// at is the point at t along the curve.
func (c *curve) at(t float64) orb.Point {
	switch {
	case !c.arc:
		return orb.Point{c.p[0] + t*c.d[0], c.p[1] + t*c.d[1]}
	case t == 0:
		return orb.Point{c.p[0] + c.r*c.d[0], c.p[1] + c.r*c.d[1]}
	case t == c.l:
		return orb.Point{c.p[0] + c.r*c.e[0], c.p[1] + c.r*c.e[1]}
	}
	s, k := math.Sincos(-t)
	return orb.Point{c.p[0] + c.r*(c.d[0]*k-c.d[1]*s), c.p[1] + c.r*(c.d[0]*s+c.d[1]*k)}
}

// part is what is left of a curve between two cuts.
type part struct {
	curve  int32
	t0, t1 float64
	p0, p1 orb.Point
	loop   int32 // the loop it was linked into, from 1
	kept   bool  // that loop bounds the zone
}

// scratch is the memory of one run, kept for the next.
type scratch struct {
	sides  []side
	rings  []int32 // first side of each ring
	curves []curve
	parts  []part
	out    []interval
	cuts   []float64
	pts    []orb.Point
	loops  []loop
	fans   []fan
	blocks []block
	step   [2]stepOf
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
}

// stepOf keeps the arc step of a radius.
type stepOf struct{ r, step float64 }

var scratches = sync.Pool{New: func() any { return new(scratch) }}

// direct gives the zone, or false where it is not its own to answer.
func direct(lot Lot, out []KeepOut, more unit.Length) (Zone, bool) {
	w := scratches.Get().(*scratch)
	defer scratches.Put(w)
	z := Zone{By: Direct, more: more}
	if !w.enter(lot, out, float64(more), &z) || !w.trace() {
		return Zone{}, false
	}
	mp, ok := w.assemble(lot, out)
	if !ok || !w.certify(mp, lot, out) {
		return Zone{}, false
	}
	z.Shape, z.Pieces = mp, len(mp)
	for _, l := range w.loops {
		z.Area += unit.Area(l.area)
	}
	return z, true
}

// enter takes up the rings, ground on the left.
func (w *scratch) enter(lot Lot, out []KeepOut, more float64, z *Zone) bool {
	w.sides, w.rings = w.sides[:0], w.rings[:0]
	for p, poly := range lot.Shape {
		for r, ring := range poly {
			each := p < len(lot.Edges) && r < len(lot.Edges[p]) && lot.Edges[p][r] != nil
			var cs []unit.Length
			if each {
				cs = lot.Edges[p][r]
			}
			if !w.ring(ring, (shape.RingArea(ring) > 0) == (r == 0), cs, float64(lot.Clearance), more) {
				return false
			}
		}
	}
	bound := box4{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for i := range w.sides {
		bound.take(w.sides[i].a)
	}
	for i := range out {
		k := &out[i]
		if k.MayCross {
			continue
		}
		r := float64(k.Clearance) + more
		before, rings := len(w.sides), len(w.rings)
		switch g := k.Geometry.(type) {
		case orb.Polygon:
			if !w.things(g, r) {
				return false
			}
		case orb.MultiPolygon:
			for _, p := range g {
				if !w.things(p, r) {
					return false
				}
			}
		case orb.Point:
			if r < leastOwn {
				return false
			}
			n := int32(len(w.sides))
			w.rings = append(w.rings, n)
			w.sides = append(w.sides, side{edge: edge{a: g, b: g, d: orb.Point{1, 0}, n: orb.Point{0, 1}, c: r}, next: n, prev: n, own: n,
				x0: g[0] - r, y0: g[1] - r, x1: g[0] + r, y1: g[1] + r})
		case orb.LineString:
			if !w.line(g, r) {
				return false
			}
		default:
			return false
		}
		b := box4{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		for j := before; j < len(w.sides); j++ {
			b.take(w.sides[j].a)
			b.take(w.sides[j].b)
		}
		if b.x0-r-arcError > bound.x1 || b.x1+r+arcError < bound.x0 || b.y0-r-arcError > bound.y1 || b.y1+r+arcError < bound.y0 {
			w.sides, w.rings = w.sides[:before], w.rings[:rings] // out of reach
			continue
		}
		z.Removed = append(z.Removed, Removed{ID: k.ID, Kind: k.Kind, Clearance: k.Clearance})
	}
	return len(w.sides) <= mostEdges
}

type box4 struct{ x0, y0, x1, y1 float64 }

func (b *box4) take(p orb.Point) {
	b.x0, b.x1 = min(b.x0, p[0]), max(b.x1, p[0])
	b.y0, b.y1 = min(b.y0, p[1]), max(b.y1, p[1])
}

// things takes up the rings of an area that takes ground.
func (w *scratch) things(p orb.Polygon, r float64) bool {
	for i, ring := range p {
		if !w.ring(ring, (shape.RingArea(ring) < 0) == (i == 0), nil, r, 0) {
			return false
		}
	}
	return true
}

// ring takes up one ring, forwards or backwards.
func (w *scratch) ring(r orb.Ring, forwards bool, each []unit.Length, c, more float64) bool {
	n := len(r) - 1
	first := len(w.sides)
	for k := 0; k < n; k++ {
		i := k
		a, b := r[i], r[i+1]
		if !forwards {
			i = n - 1 - k
			a, b = r[i+1], r[i]
		}
		own := c
		if each != nil {
			own = float64(each[i])
		}
		if own += more; own < leastOwn {
			return false
		}
		w.append(first, a, b, own)
	}
	return w.close(first)
}

// line takes up a line as a ring along its one side and back along the other.
func (w *scratch) line(l orb.LineString, r float64) bool {
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
	if !w.close(first) {
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
	return side{edge: edge{a: a, b: b, d: orb.Point{x, y}, n: orb.Point{-y, x}, c: c}, l: l,
		x0: min(a[0], b[0]) - c, y0: min(a[1], b[1]) - c, x1: max(a[0], b[0]) + c, y1: max(a[1], b[1]) + c}
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
func (w *scratch) close(first int) bool {
	n := len(w.sides) - first
	if n < 2 {
		return false
	}
	w.rings = append(w.rings, int32(first))
	for i := 0; i < n; i++ {
		s := &w.sides[first+i]
		s.own, s.next, s.prev = int32(first+i), int32(first+(i+1)%n), int32(first+(i+n-1)%n)
		f := &w.sides[s.next]
		s.turn = s.d[0]*f.d[1] - s.d[1]*f.d[0]
		s.ahead = s.d[0]*f.d[0] + s.d[1]*f.d[1]
	}
	return true
}

// trace lays the curves, cuts them, and gathers the parts left, ring by ring.
func (w *scratch) trace() bool {
	w.curves, w.parts = w.curves[:0], w.parts[:0]
	for k := range w.rings {
		to := int32(len(w.sides))
		if k+1 < len(w.rings) {
			to = w.rings[k+1]
		}
		for i := w.rings[k]; i < to; i++ {
			s := &w.sides[i]
			if s.l == 0 { // a point: a full circle
				if !w.cut(curve{arc: true, p: s.a, d: s.d, e: s.d, l: 2 * math.Pi, r: s.c, own: i, also: i, next: -1, prev: -1, x0: s.x0, y0: s.y0, x1: s.x1, y1: s.y1}) {
					return false
				}
				continue
			}
			f, e := &w.sides[s.next], &w.sides[s.prev]
			c := curve{p: orb.Point{s.a[0] + s.c*s.n[0], s.a[1] + s.c*s.n[1]}, d: s.d, l: s.l, own: s.own, also: s.own, next: -1, prev: -1}
			q := orb.Point{c.p[0] + s.l*s.d[0], c.p[1] + s.l*s.d[1]}
			c.x0, c.x1 = min(c.p[0], q[0]), max(c.p[0], q[0])
			c.y0, c.y1 = min(c.p[1], q[1]), max(c.p[1], q[1])
			in := s.turn < 0 || s.turn == 0 && s.ahead < 0
			if f.c == s.c {
				c.next, c.nextIn = f.own, in
				c.mitre = s.c * s.turn / (1 + s.ahead)
			}
			if e.c == s.c {
				c.before = s.c * e.turn / (1 + e.ahead)
				c.prev, c.prevIn = e.own, e.turn < 0 || e.turn == 0 && e.ahead < 0
			}
			if !w.cut(c) {
				return false
			}
			switch {
			case f.c == s.c && in:
				sweep := -math.Atan2(s.turn, s.ahead)
				if sweep < 0 {
					sweep = math.Pi // straight back, as atan2 has it
				}
				if !w.cut(w.round(s.b, s.n, f.n, sweep, s.c, s.own, f.own)) {
					return false
				}
			case s.c > f.c:
				if !w.cut(w.round(s.b, s.n, orb.Point{-s.n[0], -s.n[1]}, math.Pi, s.c, s.own, s.own)) {
					return false
				}
			case s.c < f.c:
				if !w.cut(w.round(s.b, orb.Point{-f.n[0], -f.n[1]}, f.n, math.Pi, f.c, f.own, f.own)) {
					return false
				}
			}
		}
	}
	return len(w.parts) > 0
}

// round is an arc about v from direction n to direction m.
func (w *scratch) round(v, n, m orb.Point, sweep, r float64, own, also int32) curve {
	return curve{arc: true, p: v, d: n, e: m, l: sweep, r: r, own: own, also: also, next: -1, prev: -1,
		x0: v[0] - r, y0: v[1] - r, x1: v[0] + r, y1: v[1] + r}
}

// cut takes out of a curve what is too near to any edge and keeps the rest.
func (w *scratch) cut(c curve) bool {
	w.out = w.out[:0]
	for j := range w.sides {
		s := &w.sides[j]
		if s.x0 > c.x1 || s.x1 < c.x0 || s.y0 > c.y1 || s.y1 < c.y0 || s.own != int32(j) || int32(j) == c.own || int32(j) == c.also {
			continue
		}
		if c.arc {
			w.cutArc(&c, s)
			continue
		}
		a, b := true, true // whether the discs about its ends count
		mitre := -1.0      // from the end that it shares, where that is sure
		if int32(j) == c.next {
			if c.nextIn {
				continue
			}
			if s.a == w.sides[c.own].a || s.a == w.sides[c.own].b {
				a = false
			} else {
				b = false
			}
			mitre = c.mitre
		}
		if int32(j) == c.prev {
			if c.prevIn {
				continue
			}
			if s.b == w.sides[c.own].a || s.b == w.sides[c.own].b {
				b = false
			} else {
				a = false
			}
		}
		v, ok := c.beside(s, a, b)
		// at a flat corner the cut by intersection loses its digits; both curves
		// are cut where the mitre is
		if mitre > 0 && mitre < min(c.l, s.l) && (!ok && mitre < 1e-3 || ok && v.to >= c.l) {
			if !ok {
				v.to = c.l
			}
			v.from, ok = c.l-mitre, true
		}
		if int32(j) == c.prev && c.before > 0 && c.before < min(c.l, s.l) && (!ok && c.before < 1e-3 || ok && v.from <= 0) {
			if !ok {
				v.from = 0
			}
			v.to, ok = c.before, true
		}
		if ok {
			if v.from <= 0 && v.to >= c.l {
				return true // all of it
			}
			w.out = append(w.out, v)
		}
	}
	id := int32(len(w.curves))
	w.curves = append(w.curves, c)
	if len(w.out) == 0 {
		w.parts = append(w.parts, part{curve: id, t0: 0, t1: c.l, p0: c.at(0), p1: c.at(c.l)})
		return true
	}
	for i := 1; i < len(w.out); i++ { // few: sort by insertion
		for k := i; k > 0 && w.out[k].from < w.out[k-1].from; k-- {
			w.out[k], w.out[k-1] = w.out[k-1], w.out[k]
		}
	}
	least := numeric
	if c.arc {
		least = numeric / c.r
	}
	t := 0.0
	for _, v := range w.out {
		if v.from-t > least {
			w.parts = append(w.parts, part{curve: id, t0: t, t1: v.from, p0: c.at(t), p1: c.at(v.from)})
		}
		t = max(t, v.to)
	}
	if c.l-t > least {
		w.parts = append(w.parts, part{curve: id, t0: t, t1: c.l, p0: c.at(t), p1: c.at(c.l)})
	}
	return true
}

// beside is what of a straight curve is nearer to an edge than its clearance:
// one stretch, for the ground within a distance of an edge is convex.
func (c *curve) beside(s *side, discA, discB bool) (interval, bool) {
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
	if discA {
		off := c.d[1]*px - c.d[0]*py
		if h := r*r - off*off; h > 0 {
			h = math.Sqrt(h)
			along := -c.d[0]*px - c.d[1]*py
			lo, hi = min(lo, along-h), max(hi, along+h)
		}
	}
	if discB && s.l > 0 {
		qx, qy := c.p[0]-s.b[0], c.p[1]-s.b[1]
		off := c.d[1]*qx - c.d[0]*qy
		if h := r*r - off*off; h > 0 {
			h = math.Sqrt(h)
			along := -c.d[0]*qx - c.d[1]*qy
			lo, hi = min(lo, along-h), max(hi, along+h)
		}
	}
	lo, hi = max(lo, 0), min(hi, c.l)
	return interval{lo, hi}, hi-lo > numeric
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

// cutArc adds the stretches of an arc that are nearer to an edge than its
// clearance: between the places where the circle meets the edge's own curves.
func (w *scratch) cutArc(c *curve, s *side) {
	if s.apart(c.p) >= c.r+s.c {
		return
	}
	cuts := append(w.cuts[:0], 0, c.l)
	meet := func(x, y float64) { // a direction from the centre
		t := -math.Atan2(c.d[0]*y-c.d[1]*x, c.d[0]*x+c.d[1]*y)
		if t < 0 {
			t += 2 * math.Pi
		}
		if t > 0 && t < c.l {
			cuts = append(cuts, t)
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
	for i := 1; i < len(cuts); i++ {
		for k := i; k > 0 && cuts[k] < cuts[k-1]; k-- {
			cuts[k], cuts[k-1] = cuts[k-1], cuts[k]
		}
	}
	w.cuts = cuts
	for i := 1; i < len(cuts); i++ {
		if cuts[i]-cuts[i-1] <= numeric {
			continue
		}
		if s.apart(c.at((cuts[i]+cuts[i-1])/2)) < s.c {
			if n := len(w.out); n > 0 && w.out[n-1].to == cuts[i-1] {
				w.out[n-1].to = cuts[i]
			} else {
				w.out = append(w.out, interval{cuts[i-1], cuts[i]})
			}
		}
	}
}

// assemble links the parts into loops and the loops into pieces; false when an
// end finds no start, or there is nothing.
func (w *scratch) assemble(lot Lot, out []KeepOut) (orb.MultiPolygon, bool) {
	w.pts, w.loops, w.fans = w.pts[:0], w.loops[:0], w.fans[:0]
	n, id := len(w.parts), int32(0)
	for i := range w.parts {
		if w.parts[i].loop > 0 {
			continue
		}
		id++
		from, fans := len(w.pts), len(w.fans)
		start, open := w.parts[i].p0, false
		for k := i; ; {
			p := &w.parts[k]
			p.loop = id
			w.stroke(p)
			if apart2(p.p1, start) <= join*join {
				break
			}
			next := -1
			if k+1 < n && w.parts[k+1].loop == 0 && apart2(p.p1, w.parts[k+1].p0) <= join*join {
				next = k + 1
			} else {
				for m := range w.parts {
					if w.parts[m].loop == 0 && apart2(p.p1, w.parts[m].p0) <= join*join {
						next = m
						break
					}
				}
			}
			if next < 0 {
				// beyond the lot line or within a thing a chain ends where a
				// curve on the far side would go on; on the ground none does
				if w.ground(start, lot, out) {
					return nil, false
				}
				open = true
				break
			}
			k = next
		}
		if open {
			w.pts, w.fans = w.pts[:from], w.fans[:fans]
			continue
		}
		// points within the numeric tolerance of the one before go
		to := from
		for k := from; k < len(w.pts); k++ {
			if to == from || apart2(w.pts[k], w.pts[to-1]) > numeric*numeric {
				w.pts[to] = w.pts[k]
				to++
			}
		}
		for to-from > 1 && apart2(w.pts[to-1], w.pts[from]) <= join*join {
			to--
		}
		if to < len(w.pts) { // places have moved up: the fans know them no more
			w.fans = w.fans[:fans]
		}
		w.pts = append(w.pts[:to], w.pts[from])
		l := loop{from: from, to: to + 1}
		o := w.pts[from]
		for k := from + 1; k+1 < to; k++ {
			a, b := w.pts[k], w.pts[k+1]
			l.area += (a[0]-o[0])*(b[1]-o[1]) - (b[0]-o[0])*(a[1]-o[1])
		}
		l.area /= 2
		if math.Abs(l.area) < 10*float64(leastPiece) {
			return nil, false // a piece about too small to be one
		}
		if w.ground(o, lot, out) {
			w.loops = append(w.loops, l)
			for k := range w.parts[i:] {
				if p := &w.parts[i+k]; p.loop == id {
					p.kept = true
				}
			}
		} else {
			w.pts, w.fans = w.pts[:from], w.fans[:fans]
		}
	}
	shells := 0
	for _, l := range w.loops {
		if l.area > 0 {
			shells++
		}
	}
	if shells == 0 {
		return nil, false
	}
	flat := append(make([]orb.Point, 0, len(w.pts)), w.pts...) // one block for all rings
	ring := func(l loop) orb.Ring { return orb.Ring(flat[l.from:l.to:l.to]) }
	mp := make(orb.MultiPolygon, 0, shells)
	for _, l := range w.loops {
		if l.area > 0 {
			p := make(orb.Polygon, 1, len(w.loops)-shells+1)
			p[0] = ring(l)
			mp = append(mp, p)
		}
	}
	for _, l := range w.loops {
		if l.area > 0 {
			continue
		}
		home := -1
		for i := range mp {
			if shape.LocateInRing(w.pts[l.from], mp[i][0]) == shape.Inside {
				if home >= 0 {
					return nil, false
				}
				home = i
			}
		}
		if home < 0 {
			return nil, false
		}
		mp[home] = append(mp[home], ring(l))
	}
	return mp, true
}

func apart2(a, b orb.Point) float64 {
	x, y := a[0]-b[0], a[1]-b[1]
	return x*x + y*y
}

// ground tells whether a point is in the lot and in no thing.
func (w *scratch) ground(p orb.Point, lot Lot, out []KeepOut) bool {
	if shape.Locate(p, lot.Shape) == shape.Outside {
		return false
	}
	for i := range out {
		if out[i].MayCross {
			continue
		}
		switch g := out[i].Geometry.(type) {
		case orb.Polygon:
			if g.Bound().Contains(p) && shape.LocateInPolygon(p, g) == shape.Inside {
				return false
			}
		case orb.MultiPolygon:
			if shape.Locate(p, g) == shape.Inside {
				return false
			}
		}
	}
	return true
}

// stroke adds the points of a part, its last one left to the next part.
func (w *scratch) stroke(p *part) {
	c := &w.curves[p.curve]
	w.pts = append(w.pts, p.p0)
	if !c.arc {
		return
	}
	sweep := p.t1 - p.t0
	steps := math.Ceil(sweep / w.arcStep(c.r))
	step := sweep / steps
	s, k := math.Sincos(-(p.t0 + step/2))
	w.fans = append(w.fans, fan{len(w.pts) - 1, len(w.pts) + int(steps), c.p})
	q := c.r / math.Cos(step/2)
	x, y := q*(c.d[0]*k-c.d[1]*s), q*(c.d[0]*s+c.d[1]*k)
	s, k = math.Sincos(-step)
	for i := int(steps); i > 0; i-- {
		w.pts = append(w.pts, orb.Point{c.p[0] + x, c.p[1] + y})
		x, y = x*k-y*s, x*s+y*k
	}
}

// arcStep is the greatest step of an arc of a radius, as of arc.append.
func (w *scratch) arcStep(r float64) float64 {
	for i := range w.step {
		if w.step[i].r == r {
			return w.step[i].step
		}
	}
	w.step[1] = w.step[0]
	w.step[0] = stepOf{r, 2 * math.Acos(r/(r+arcError))}
	return w.step[0].step
}
