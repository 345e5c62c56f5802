package route

// The candidate graph of a zone: points at which a way may bend, and which of
// them see each other; and the cheapest ways over it from every source.

import (
	"math"
	"math/bits"
	"slices"

	"github.com/paulmach/orb"
)

// spot is a point of the graph. A spot at a corner of the zone knows its sides,
// and only ways that bend round the corner are kept.
type spot struct {
	at       orb.Point
	back, on orb.Point // to the neighbours of a corner; both 0: none
	source   int       // index of the head that ends here, or -1
}

func (c *corner) spot() spot {
	return spot{at: c.at, back: sub(c.prev, c.at), on: sub(c.next, c.at), source: -1}
}

// useful tells whether a way between the spot and the point q can bend at the
// spot round its corner.
func (a *spot) useful(q orb.Point) bool {
	dx, dy := a.at[0]-q[0], a.at[1]-q[1]
	p, n := dx*a.back[1]-dy*a.back[0], dx*a.on[1]-dy*a.on[0]
	if p >= 0 && n >= 0 || p <= 0 && n <= 0 {
		return true
	}
	tol := eps * (math.Abs(dx) + math.Abs(dy))
	return !(p > tol && n < -tol || p < -tol && n > tol)
}

// arc is what one spot knows of the run to another.
type arc struct {
	cost  float64 // its price, +Inf where none may lie; what it costs at least while known is false
	to    int32
	known bool
}

// graph is looked into only as far as somebody asks: most pairs of spots never
// matter to any way.
type graph struct {
	spots []spot
	arcs  [][]arc // by spot, in the order of to; nil while nobody has asked
	room  []arc   // for more of them
}

// site is a problem made ready: everything that does not depend on the target.
type site struct {
	p       *Problem
	origin  orb.Point
	zone    *field
	regions []*field
	buried  []buried
	cells   []*cells // of regions and buried lines
	grounds []ground // of lead-offs and last runs
	ends    []*end   // by target, nil where nobody has asked
	heads   []head   // by source
	graph   graph
	base    int  // spots that do not depend on sources
	ways    ways // asked for last

	metre   float64 // price of a metre that the search works with
	ls      float64 // least straight
	join    float64 // greatest angles, with the numeric tolerance added
	bend    float64
	cosJoin float64
	cosBend float64
	sinLand float64 // of the angle at which laterals land
	cosLand float64
	askew   float64     // charged on a metre across the grain
	grain   []float64   // directions modulo 45 degrees
	along   []orb.Point // the same as unit vectors
	haste   float64     // share of Metre charged for a metre of way to the target
	tries   tries
	keep    func(*plan)
	depth   *Depth // for the bound
	scratch scratch
	memo    []memo   // of runs asked about
	asked   int      // how often halted has been asked
	halt    error    // of Problem.Stop
	settled []uint64 // branches that no move made better, by plan.around
}

// head is how water from a source, or along a kept line, gets to where the
// search begins.
type head struct {
	// pts are the source, then the end of its lead-off or the rest of the line
	// kept from it.
	pts    []orb.Point
	source int // -1: a kept line that begins at no source
	kept   bool
	line   int        // of Problem.Kept
	from   *orb.Point // last point but one of a line that ends at pts[0]
	target int        // at which a kept line ends, -1
	spot   int        // spot of the last of pts
	cost   float64    // of the lines between pts
	why    string     // not empty: it can't
	near   orb.Point  // nearest point of the zone
	off    float64
}

// before is the last point but one, nil where there is none.
func (h *head) before() *orb.Point {
	if len(h.pts) < 2 {
		return h.from
	}
	return &h.pts[len(h.pts)-2]
}

// basin tells whether runs may enter head k's first point at a bend's angle.
func (s *site) basin(k int) bool {
	i := s.heads[k].source
	return i >= 0 && s.p.Sources[i].Basin
}

// price of a straight run between a and b by what can be added up.
func (s *site) price(a, b orb.Point) float64 { return s.metre*dist(a, b) + s.beyond(a, b) }

// beyond is what a run costs beyond its length, never less than 0.
func (s *site) beyond(a, b orb.Point) float64 {
	c := 0.0
	if len(s.regions)+len(s.buried) > 0 {
		m := s.recall(a, b)
		if !m.priced {
			m.beyond, m.priced = s.crossed(a, b), true
		}
		c = m.beyond
	}
	if s.askew > 0 {
		c += s.askewPrice(a, b)
	}
	return c
}

// crossed is what a run costs for the areas and lines that it crosses.
func (s *site) crossed(a, b orb.Point) float64 {
	l := dist(a, b)
	if l <= eps {
		return 0
	}
	c := 0.0
	m := newBeam(a, b, l, eps)
	aslant := 0.0
	for _, g := range s.cells {
		may, in := g.meets(&m)
		for all := may | in; all != 0; all &= all - 1 {
			k := bits.TrailingZeros64(all)
			if k >= len(g.areas) {
				aslant += g.lines[k-len(g.areas)].aslantPrice(&m)
				continue
			}
			switch f, r := g.areas[k], &g.prices[k]; {
			case in&(1<<k) != 0:
				c += l * r.PerMetre
			case !m.misses(&f.box):
				l, n := f.inside(&m)
				c += l*r.PerMetre + float64(n)*r.Each
			}
		}
	}
	return c + aslant
}

// memo is what is known of a run asked about before: moves of one corner leave
// the other runs of a branch as they were.
type memo struct {
	a, b   orb.Point
	beyond float64
	priced bool
	open   int8 // 1 open, -1 not, 0 not known
}

const memoBits = 11

// recall is the place of a run in the memory; another one that stood there goes.
func (s *site) recall(a, b orb.Point) *memo {
	if s.memo == nil {
		s.memo = make([]memo, 1<<memoBits)
	}
	h := math.Float64bits(a[0])*0x9e3779b97f4a7c15 ^ math.Float64bits(a[1])*0xc2b2ae3d27d4eb4f
	h = (h ^ h>>29) * 0xbf58476d1ce4e5b9
	h ^= math.Float64bits(b[0])*0x165667b19e3779f9 ^ math.Float64bits(b[1])*0xd6e8feb86659fd93
	m := &s.memo[(h^h>>32)*0x9e3779b97f4a7c15>>(64-memoBits)]
	if m.a != a || m.b != b {
		*m = memo{a: a, b: b}
	}
	return m
}

// straight is the greatest turn that counts as none.
const straight = 0.5 * float64(Degree)

// bendPrice is the price of a turn: none, one fitting, or two 45s.
func (s *site) bendPrice(t float64) float64 {
	switch {
	case t <= straight:
		return 0
	case t <= math.Pi/4+angleEps:
		return s.p.Prices.Bend
	}
	return 2 * s.p.Prices.Bend
}

const angleEps = 1e-6

var (
	cosStraight = math.Cos(straight)
	cosOctant   = math.Cos(math.Pi/4 + angleEps)
)

// turnsAtMost tells whether the way a, b, c turns at b by no more than the angle
// with the given cosine.
func turnsAtMost(a, b, c orb.Point, cos float64) bool {
	ux, uy, vx, vy := b[0]-a[0], b[1]-a[1], c[0]-b[0], c[1]-b[1]
	return cosAtLeast(ux*vx+uy*vy, (ux*ux+uy*uy)*(vx*vx+vy*vy), cos)
}

// cosAtLeast tells whether d over the root of nn is at least cos.
func cosAtLeast(d, nn, cos float64) bool {
	if cos >= 0 {
		return d >= 0 && d*d >= cos*cos*nn
	}
	return d >= 0 || d*d <= cos*cos*nn
}

// bendAt returns the price of the bend in the way a, b, c, and whether it is
// allowed.
func (s *site) bendAt(a, b, c orb.Point) (float64, bool) {
	ux, uy, vx, vy := b[0]-a[0], b[1]-a[1], c[0]-b[0], c[1]-b[1]
	d, nn := ux*vx+uy*vy, (ux*ux+uy*uy)*(vx*vx+vy*vy)
	switch {
	case cosAtLeast(d, nn, cosStraight):
		return 0, true
	case cosAtLeast(d, nn, cosOctant):
		return s.p.Prices.Bend, cosAtLeast(d, nn, s.cosBend)
	default:
		return 2 * s.p.Prices.Bend, cosAtLeast(d, nn, s.cosBend)
	}
}

// joins tells whether the way a, b, c turns at b no more than a join allows.
func (s *site) joins(a, b, c orb.Point) bool { return turnsAtMost(a, b, c, s.cosJoin) }

// addSpot adds a spot, or returns the one that is there already. A source is
// always a spot of its own: ways leave it in every direction, also where it
// stands at a corner, whose spot is then marked as passing a source.
func (s *site) addSpot(sp spot) int {
	for i := range s.graph.spots {
		if at := s.graph.spots[i].at; math.Abs(at[0]-sp.at[0]) <= 1e-6 && dist(at, sp.at) <= 1e-6 {
			if sp.source < 0 {
				return i
			}
			s.graph.spots[i].source = sp.source
		}
	}
	s.graph.spots = append(s.graph.spots, sp)
	return len(s.graph.spots) - 1
}

// addCorners puts the places round which a way may bend into the graph: the
// reflex corners, and for rounded corners (short edges in a row, a bend at each
// of which nobody lays) the meeting point of the long edges beside them and the
// two ends of a cut across; each also a little off the corner, so that a lead-off
// has room for a wye before the line.
func (s *site) addCorners() {
	z := s.zone.outline()
	short := math.Max(3*s.ls, 0.5)
	used := make([]bool, len(z.corners))
	for i := range z.corners {
		c := &z.corners[i]
		if !c.reflex() || used[i] {
			continue
		}
		// walk back to the first of a rounded corner
		first := i
		for k := 0; k < len(z.corners); k++ {
			p := z.before[first]
			if !z.corners[p].reflex() || dist(z.corners[p].at, z.corners[first].at) >= short || p == i {
				break
			}
			first = p
		}
		last := first
		turned := 0.0
		for k := 0; k < len(z.corners); k++ {
			used[last] = true
			turned += turn(z.corners[last].prev, z.corners[last].at, z.corners[last].next)
			s.addSpot(z.corners[last].spot())
			n := z.after[last]
			if !z.corners[n].reflex() || used[n] || dist(z.corners[n].at, z.corners[last].at) >= short {
				break
			}
			last = n
		}
		a, b := z.corners[first], z.corners[last]
		u, v := unitVec(a.prev, a.at), unitVec(b.at, b.next)
		s.addRound(z, a.at, u, b.at, v, turned, first != last)
	}
}

// addRound adds the places for going round a rounded or sharp corner that is
// entered at a along u and left from b along v.
func (s *site) addRound(z *outline, a, u, b, v orb.Point, turned float64, rounded bool) {
	left := func(d orb.Point) orb.Point { return orb.Point{-d[1], d[0]} } // into the zone
	if turned < 170*float64(Degree) && turned > 5*float64(Degree) {
		offs := s.asides()
		for _, o := range offs {
			for _, q := range offs {
				if o+q == 0 && !rounded || o != q && len(offs) == 2 {
					continue
				}
				if m, ok := meet(along(a, left(u), o), u, along(b, left(v), q), v); ok && s.zone.holds(m) {
					s.addSpot(spot{at: m, source: -1})
				}
			}
		}
	}
	if turned > 50*float64(Degree) {
		// the cut across: a line square to the bisector past the outermost point
		w := add(u, v)
		if n := math.Hypot(w[0], w[1]); n > 0.1 {
			w = orb.Point{w[0] / n, w[1] / n}
			out := math.Max(dot(a, left(w)), dot(b, left(w)))
			for _, c := range z.corners {
				if c.reflex() && dist(c.at, a)+dist(c.at, b) < 2*dist(a, b)+s.ls {
					out = math.Max(out, dot(c.at, left(w)))
				}
			}
			for _, o := range s.asides() {
				q := along(orb.Point{0, 0}, left(w), out+o)
				for _, e := range [][2]orb.Point{{along(a, left(u), o), u}, {along(b, left(v), o), v}} {
					if m, ok := meet(q, w, e[0], e[1]); ok && s.zone.holds(m) {
						s.addSpot(spot{at: m, source: -1})
					}
				}
			}
		}
	}
}

// asides are how far off a corner ways are sought. A side yard may be narrower than the
// least straight is long.
func (s *site) asides() []float64 {
	const close = 0.3
	if s.ls < 2*close {
		return []float64{0, s.ls}
	}
	return []float64{0, close, s.ls / 2, s.ls}
}

// meet is the common point of the line through p along u and q along v.
func meet(p, u, q, v orb.Point) (orb.Point, bool) {
	den := cross(u, v)
	if math.Abs(den) < 1e-6 {
		return p, false
	}
	return along(p, u, cross(sub(q, p), v)/den), true
}

// sight is how far a line of sight is taken up: over a whole block of lots long
// ones go by way of spots between.
func (s *site) sight() float64 {
	if len(s.graph.spots) > 500 {
		return 60
	}
	return math.Inf(1)
}

// link makes room for what will be asked of the spots. Those that have arcs are
// told of the spots from place first on.
func (s *site) link(first int) {
	g := &s.graph
	had := len(g.arcs)
	g.arcs = append(g.arcs, make([][]arc, len(g.spots)-had)...)
	sight := s.sight()
	for i := range had {
		if g.arcs[i] == nil {
			continue
		}
		for j := first; j < len(g.spots); j++ {
			g.arcs[i] = s.aim(g.arcs[i], i, j, sight)
		}
	}
}

// aim adds the arc from spot i to spot j where a way may bend at both.
func (s *site) aim(l []arc, i, j int, sight float64) []arc {
	a, b := &s.graph.spots[i], &s.graph.spots[j]
	dx, dy := a.at[0]-b.at[0], a.at[1]-b.at[1]
	dd := dx*dx + dy*dy
	if dd < (s.ls-eps)*(s.ls-eps) || dd > sight*sight {
		return l
	}
	// most are told by the sides on which the neighbours of the corners lie
	if (dx*a.back[1]-dy*a.back[0])*(dx*a.on[1]-dy*a.on[0]) < 0 && !a.useful(b.at) ||
		(dx*b.back[1]-dy*b.back[0])*(dx*b.on[1]-dy*b.on[0]) < 0 && !b.useful(a.at) {
		return l
	}
	return append(l, arc{to: int32(j), cost: s.metre * math.Sqrt(dd)})
}

// arcs are those of spot i.
func (s *site) arcs(i int) []arc {
	g := &s.graph
	if g.arcs[i] == nil {
		l := s.scratch.arcs[:0]
		sight := s.sight()
		for j := range g.spots {
			if j != i {
				l = s.aim(l, i, j, sight)
			}
		}
		s.scratch.arcs = l
		if cap(g.room)-len(g.room) < len(l) {
			g.room = make([]arc, 0, max(1024, len(l)))
		}
		n := len(g.room)
		g.room = append(g.room, l...)
		g.arcs[i] = g.room[n:len(g.room):len(g.room)]
	}
	return g.arcs[i]
}

// look finds what the run from spot i along an arc costs.
func (s *site) look(i int, a *arc) {
	j := int(a.to)
	a.known = true
	if back := s.graph.arcs[j]; back != nil { // known from the other side
		if k, ok := slices.BinarySearchFunc(back, i, func(x arc, i int) int { return int(x.to) - i }); ok && back[k].known {
			a.cost = back[k].cost
			return
		}
	}
	p, q := s.graph.spots[max(i, j)].at, s.graph.spots[min(i, j)].at
	if !s.zone.clear(p, q) || s.crosses(p, q) {
		a.cost = math.Inf(1)
		return
	}
	a.cost += s.crossed(p, q)
	if s.askew > 0 {
		a.cost += s.askewPrice(p, q)
	}
}

// label is the cheapest way from a source to a spot.
type label struct {
	cost float64
	prev int // spot before, -1 at the start
}

type item struct {
	spot int
	cost float64
}

// queue is a heap of items, cheapest first, equal ones by spot.
type queue []item

func (a item) before(b item) bool {
	return a.cost < b.cost || a.cost == b.cost && a.spot < b.spot
}

func (q *queue) push(x item) {
	h := append(*q, x)
	i := len(h) - 1
	for i > 0 {
		up := (i - 1) / 2
		if !x.before(h[up]) {
			break
		}
		h[i], i = h[up], up
	}
	h[i] = x
	*q = h
}

func (q *queue) pop() item {
	h := *q
	top, x := h[0], h[len(h)-1]
	h = h[:len(h)-1]
	*q = h
	if len(h) == 0 {
		return top
	}
	i := 0
	for {
		c := 2*i + 1
		if c >= len(h) {
			break
		}
		if c+1 < len(h) && h[c+1].before(h[c]) {
			c++
		}
		if !h[c].before(x) {
			break
		}
		h[i], i = h[c], c
	}
	h[i] = x
	return top
}

// pass tells whether a way may run from a over spot i to c, and the price of
// the turn there.
func (s *site) pass(a orb.Point, i int, c orb.Point) (float64, bool) {
	at := s.graph.spots[i].at
	price, ok := s.bendAt(a, at, c)
	if k := s.graph.spots[i].source; k >= 0 {
		if s.heads[k].before() != nil {
			return 0, false // what ends here, a lead-off or a line, has its own bend
		}
		if s.basin(k) {
			return 0, ok
		}
		return price, s.joins(a, at, c)
	}
	return price, ok
}

// ways are the cheapest ways from one head to the spots, found one after the
// other in the order of what they come to, and no farther than somebody asks.
type ways struct {
	head int
	off  *plan // whose branches the ways may not touch; nil: none
	// total is what a way that comes to a spot at a cost comes to at least; along an
	// arc it never falls.
	total func(spot int, at orb.Point, cost float64) float64
	label []label
	queue queue
	last  int // spot found last, from which nobody has looked on; -1: none
}

// waysOf are the ways of head k off the branches of a plan (nil: none); those asked
// for before are forgotten.
func (s *site) waysOf(k int, off *plan, total func(spot int, at orb.Point, cost float64) float64) *ways {
	h, w := &s.heads[k], &s.ways
	w.head, w.off, w.total, w.queue, w.last = k, off, total, w.queue[:0], -1
	if h.why != "" || h.target >= 0 {
		return w
	}
	w.label = slices.Grow(w.label[:0], len(s.graph.spots))[:len(s.graph.spots)]
	for i := range w.label {
		w.label[i] = label{math.Inf(1), -1}
	}
	w.label[h.spot].cost = h.cost
	w.queue.push(item{h.spot, total(h.spot, s.graph.spots[h.spot].at, h.cost)})
	return w
}

// next finds the way to one more spot and returns the spot; -1 where there is none
// that comes to less than most, which may not grow from call to call.
func (s *site) next(w *ways, most float64) int {
	if s.halted() {
		return -1
	}
	if w.last >= 0 {
		s.lookOn(w, most)
	}
	for len(w.queue) > 0 {
		it := w.queue.pop()
		if it.cost >= most {
			break
		}
		if it.cost <= w.total(it.spot, s.graph.spots[it.spot].at, w.label[it.spot].cost) {
			w.last = it.spot
			return it.spot
		}
	}
	return -1
}

// lookOn follows the arcs of the spot found last where they come to less than most.
func (s *site) lookOn(w *ways, most float64) {
	i := w.last
	w.last = -1
	g := &s.graph
	cost, at, prev := w.label[i].cost, g.spots[i].at, s.before(w, i)
	arcs := s.arcs(i)
	for n := range arcs {
		a := &arcs[n]
		have := w.label[a.to].cost - 1e-9
		if cost+a.cost >= have {
			continue
		}
		b := g.spots[a.to].at
		if w.total(int(a.to), b, cost+a.cost) >= most {
			continue
		}
		bp, ok := s.turnAt(w, prev, i, b)
		if !ok || cost+a.cost+bp >= have {
			continue
		}
		if !a.known {
			s.look(i, a)
		}
		if c := cost + a.cost + bp; c < have && (w.off == nil || s.apart(w.off, -1, []orb.Point{at, b}, -1, -1, false)) {
			w.label[a.to] = label{c, i}
			w.queue.push(item{int(a.to), w.total(int(a.to), b, c)})
		}
	}
}

// before is the point from which the way comes to spot i, nil where it begins
// there.
func (s *site) before(w *ways, i int) *orb.Point {
	if h := &s.heads[w.head]; i == h.spot {
		return h.before()
	}
	return &s.graph.spots[w.label[i].prev].at
}

// turnAt tells whether a way that has come from prev (nil: it begins there) to spot
// i may run on to c, and the price of the turn.
func (s *site) turnAt(w *ways, prev *orb.Point, i int, c orb.Point) (float64, bool) {
	switch {
	case prev == nil:
		return 0, true
	case i == s.heads[w.head].spot:
		return s.bendAt(*prev, s.graph.spots[i].at, c)
	}
	return s.pass(*prev, i, c)
}

// way returns the points of the way to spot i, the source first.
func (s *site) way(w *ways, i int) []orb.Point {
	head := &s.heads[w.head]
	n := 0
	for j := i; j != head.spot; j = w.label[j].prev {
		n++
	}
	h := len(head.pts)
	pts := make([]orb.Point, h+n, h+n+3)
	copy(pts, head.pts)
	for j := i; j != head.spot; j = w.label[j].prev {
		n--
		pts[h+n] = s.graph.spots[j].at
	}
	return pts
}
