package route

// Building a plan and making it better.

import (
	"math"
	"slices"
	"sort"

	"github.com/paulmach/orb"
)

// toSpot returns the distance from spot v, at at, to the nearest of the plan's
// branches.
func (p *plan) toSpot(v int, at orb.Point, spots int) float64 {
	if p.gap == nil {
		p.gap = make([]gap, spots)
		for i := range p.gap {
			p.gap[i].square = math.Inf(1)
		}
	}
	for k := len(p.boxes); k < len(p.branch); k++ {
		b := emptyBox()
		for _, q := range p.branch[k].pts {
			b.take(box{q, q})
		}
		p.boxes = append(p.boxes, b)
	}
	g := &p.gap[v]
	for ; g.seen < len(p.branch); g.seen++ {
		b, x := &p.branch[g.seen], &p.boxes[g.seen]
		dx, dy := max(x.lo[0]-at[0], at[0]-x.hi[0], 0), max(x.lo[1]-at[1], at[1]-x.hi[1], 0)
		if dx*dx+dy*dy >= g.square {
			continue
		}
		for i := 0; i+1 < len(b.pts); i++ {
			g.square = min(g.square, squareTo(at, b.pts[i], b.pts[i+1]))
		}
	}
	return math.Sqrt(g.square)
}

// berth is where a branch may end: a segment of another, or the source at its top
// (seg -1, a and b the same).
type berth struct {
	up, seg int
	a, b    orb.Point
	togo    float64 // price of the way from its lower end to the target, at least
}

// berths lists them.
func (s *site) berths(p *plan) []berth {
	l := s.scratch.berths[:0]
	for up := range p.branch {
		o := &p.branch[up]
		lo, hi := o.segments()
		first := len(l)
		for seg := lo; seg < hi; seg++ {
			l = append(l, berth{up: up, seg: seg, a: o.pts[seg], b: o.pts[seg+1]})
		}
		if s.haste > 0 && hi > lo {
			togo := s.metre * p.remaining(up, hi-1, o.pts[hi])
			for i := len(l) - 1; i >= first; i-- {
				l[i].togo = togo
				togo += s.metre * dist(l[i].a, l[i].b)
			}
		}
		if s.mayEnter(p, up) {
			l = append(l, berth{up: up, seg: -1, a: o.pts[0], b: o.pts[0]})
		}
	}
	s.scratch.berths = l
	return l
}

// attach returns the cheapest legal branch for source k onto the plan that
// costs less than limit, nil if none.
func (s *site) attach(p *plan, k int, limit float64) *branch {
	h := &s.heads[k]
	if h.why != "" || len(h.pts) > 1 && !s.apart(p, -1, h.pts, -1, -1, false) {
		return nil
	}
	var best *branch
	var lands [8]landing
	berths := s.berths(p)
	far := func(at orb.Point, cost float64) float64 { // of what haste charges, at least
		return s.haste * (cost + s.metre*dist(at, p.end.at))
	}
	w := s.waysOf(k, p, func(v int, at orb.Point, cost float64) float64 {
		return cost + far(at, cost) + s.metre*p.toSpot(v, at, len(s.graph.spots))
	})
	for {
		v := s.next(w, limit-1e-9)
		if v < 0 {
			break
		}
		at, base := s.graph.spots[v].at, w.label[v].cost
		far := far(at, base)
		prev := s.before(w, v)
		for n := range berths {
			t := &berths[n]
			// what it costs at least to end there
			d := distTo(at, t.a, t.b)
			least := base + s.metre*d
			if t.seg >= 0 && d > touching {
				least += s.p.Prices.Join
			}
			if least += s.haste * (least + t.togo); least >= limit-1e-9 {
				continue
			}
			if t.seg < 0 {
				if b := s.enter(p, w, v, t.up, prev, base+far, limit); b != nil && s.weigh(p, b) < limit-1e-9 {
					best, limit = b, b.worth
				}
				continue
			}
			most := min(limit-far, (limit-s.haste*t.togo)/(1+s.haste)) - base
			for _, ld := range s.land(p, -1, prev, at, t.up, t.seg, most, lands[:0]) {
				if base+far+ld.cost >= limit-1e-9 {
					continue
				}
				if s.haste > 0 {
					j := at
					if ld.n > 0 {
						j = ld.pts[ld.n-1]
					}
					if c := base + ld.cost; c+s.haste*(c+s.metre*dist(j, t.b)+t.togo) >= limit {
						continue
					}
				}
				if ld.n > 0 && (!s.graph.spots[v].useful(ld.pts[0]) || !s.open(at, ld.pts[0])) {
					continue
				}
				if ld.cost += s.over(at, &ld); base+far+ld.cost >= limit-1e-9 {
					continue
				}
				if ld.n > 0 && v != h.spot && s.graph.spots[v].source >= 0 {
					if _, ok := s.pass(*prev, v, ld.pts[0]); !ok {
						continue
					}
				}
				if b := s.landed(p, w, v, t.up, t.seg, ld); b != nil && s.weigh(p, b) < limit-1e-9 {
					best, limit = b, b.worth
				}
			}
		}
	}
	return best
}

// weigh sets and returns what a branch is worth: its cost, and with haste a
// share of the way that its water has to the target.
func (s *site) weigh(p *plan, b *branch) float64 {
	b.worth = b.cost
	if s.haste > 0 {
		b.worth += s.haste * (b.cost + s.metre*p.remaining(b.up, b.seg, b.pts[len(b.pts)-1]))
	}
	return b.worth
}

// landed makes the branch of a landing, nil where zone or other branches forbid.
func (s *site) landed(p *plan, w *ways, v, up, seg int, ld landing) *branch {
	k := w.head
	b := &branch{src: k, head: len(s.heads[k].pts), kept: s.heads[k].kept, up: up, seg: seg, through: ld.through}
	b.pts = append(s.way(w, v), ld.pts[:ld.n]...)
	b.tail = ld.n
	way := len(b.pts) - ld.n
	if way > 0 && !s.apart(p, -1, b.pts[way-1:], up, seg, false) {
		return nil
	}
	for i := way; i < len(b.pts); i++ {
		for j := 0; j+1 < i-1; j++ {
			if touches(b.pts[i-1], b.pts[i], b.pts[j], b.pts[j+1]) {
				return nil
			}
		}
		if i > 0 && !s.open(b.pts[i-1], b.pts[i]) {
			return nil
		}
	}
	b.cost = s.branchPrice(b)
	return b
}

// mayEnter tells whether a run may end in the source at the top of branch up.
func (s *site) mayEnter(p *plan, up int) bool {
	o := &p.branch[up]
	if o.head > 1 || len(o.pts) < 2 || s.heads[o.src].from != nil {
		return false // the top of a lead-off or of a kept line
	}
	for i := range p.branch {
		if p.branch[i].up == up && p.branch[i].through && p.branch[i].seg == 0 && len(p.branch[i].pts) > 1 {
			return false // one is there already
		}
	}
	return true
}

// enter makes the branch that runs from spot v into the source at the upper end
// of branch up.
func (s *site) enter(p *plan, w *ways, v, up int, prev *orb.Point, base, limit float64) *branch {
	o := &p.branch[up]
	a, top := s.graph.spots[v].at, o.pts[0]
	l := dist(a, top)
	if l < s.ls-eps || base+s.metre*l >= limit-1e-9 || !s.graph.spots[v].useful(top) {
		return nil
	}
	if !s.enters(o, a) {
		return nil
	}
	if _, ok := s.turnAt(w, prev, v, top); !ok || !s.open(a, top) {
		return nil
	}
	h := &s.heads[w.head]
	b := &branch{src: w.head, head: len(h.pts), kept: h.kept, tail: 1, up: up, seg: 0, through: true}
	b.pts = append(s.way(w, v), top)
	b.cost = s.branchPrice(b)
	if b.cost >= limit-1e-9 || !s.apart(p, -1, b.pts, up, 0, true) || !s.branchKeeps(b, nil, p.end, 0) {
		return nil
	}
	return b
}

// enters tells whether a run from a may enter the source at the top of branch
// o: at a join's angle, at a bend's in a basin.
func (s *site) enters(o *branch, a orb.Point) bool {
	if len(o.pts) < 2 {
		return false
	}
	if s.basin(o.src) {
		_, ok := s.bendAt(a, o.pts[0], o.pts[1])
		return ok
	}
	return s.joins(a, o.pts[0], o.pts[1])
}

// fill attaches the heads, the one nearest to the growing tree first. It returns
// those that could not be attached. Nothing is attached once all together would
// cost budget or more.
func (s *site) fill(p *plan, todo []int, budget float64) []int {
	// An offer is the cheapest branch of a head onto the branches seen; without
	// one, nothing cheaper than least exists.
	type offer struct {
		head  int
		b     *branch
		least float64
		seen  int
	}
	offers := make([]*offer, len(todo))
	for i, k := range todo {
		offers[i] = &offer{head: k, least: math.Inf(1)}
	}
	for len(offers) > 0 {
		for _, o := range offers {
			h := &s.heads[o.head]
			if o.b != nil && !s.still(p, o.b) {
				o.b, o.seen, o.least = nil, 0, math.Inf(1)
			}
			at := h.pts[len(h.pts)-1]
			for ; o.seen < len(p.branch); o.seen++ {
				b := &p.branch[o.seen]
				for j := 0; j+1 < len(b.pts); j++ {
					o.least = min(o.least, h.cost+s.haste*(h.cost+s.metre*dist(at, p.end.at))+s.metre*distTo(at, b.pts[j], b.pts[j+1]))
				}
			}
		}
		// the offers in the order of what they can be at least; a head is asked
		// for its offer only while that is below the best known
		sort.SliceStable(offers, func(i, j int) bool { return offers[i].least < offers[j].least-1e-9 })
		pick, cost := -1, budget
		for i, o := range offers {
			if o.least >= cost-1e-9 {
				break
			}
			if o.b == nil || o.b.worth > o.least+1e-9 {
				limit := cost
				if o.b != nil {
					limit = min(limit, o.b.worth)
				}
				if b := s.attach(p, o.head, limit); b != nil {
					o.b = b
				}
				if o.b != nil && o.b.worth < cost {
					o.least = o.b.worth
				} else {
					o.least = limit
				}
			}
			if o.b != nil && o.b.worth < cost-1e-9 {
				pick, cost = i, o.b.worth
			}
		}
		if pick < 0 {
			var left []int
			for _, o := range offers {
				left = append(left, o.head)
			}
			sort.Ints(left)
			return left
		}
		p.branch = append(p.branch, *offers[pick].b)
		budget -= cost
		offers = slices.Delete(offers, pick, pick+1)
	}
	return nil
}

// still tells whether an offer made earlier can still be taken.
func (s *site) still(p *plan, b *branch) bool {
	return s.apart(p, -1, b.pts, b.up, b.seg, b.through) && s.roomy(p, b, -1)
}

// roomy tells whether the join of b keeps its distance from the other joins and
// corners of the segment it ends on.
func (s *site) roomy(p *plan, b *branch, self int) bool {
	if b.up < 0 {
		return true
	}
	o := &p.branch[b.up]
	j := b.pts[len(b.pts)-1]
	if b.through && len(b.pts) > 1 {
		for i := range p.branch {
			c := &p.branch[i]
			if i != self && c.up == b.up && c.through && len(c.pts) > 1 {
				return false
			}
		}
		return true
	}
	t, l := dist(o.pts[b.seg], j), dist(o.pts[b.seg], o.pts[b.seg+1])
	if b.through && t < 1e-6 {
		return true // at a corner
	}
	if t < s.ls-eps || t > l-s.ls+eps {
		return false
	}
	for i := range p.branch {
		c := &p.branch[i]
		if i != self && c.up == b.up && c.seg == b.seg && !(c.through && len(c.pts) > 1) &&
			math.Abs(dist(o.pts[b.seg], c.pts[len(c.pts)-1])-t) < s.ls-eps {
			return false
		}
	}
	return true
}

// build makes a plan on a trunk for less than most. It returns also the heads that
// found no way, or none for that.
func (s *site) build(e *end, trunk *branch, rest []int, most float64) (*plan, []int) {
	p := &plan{end: e, branch: make([]branch, 0, len(s.heads))}
	p.branch = append(p.branch, *trunk)
	left := s.fill(p, rest, most-trunk.cost)
	p.sum()
	return p, left
}

// improve changes the plan while rules hold and the price falls.
func (s *site) improve(p *plan, rounds int) *plan {
	for range rounds {
		before := p.cost
		p = s.replant(p)
		p = s.polish(p)
		if p.cost > before-1e-6 {
			break
		}
	}
	return p
}

// replant takes each branch with all that hangs on it out of the plan and puts
// its sources back, nearest first.
func (s *site) replant(p *plan) *plan {
	for i := 1; i < len(p.branch); i++ {
		q, todo := s.pruned(p, i)
		if len(todo) > s.tries.subtree {
			continue
		}
		budget := -1e-6
		for _, b := range p.branch {
			if slices.Contains(todo, b.src) {
				budget += b.cost
			}
		}
		sort.Ints(todo)
		if left := s.fill(q, todo, budget); len(left) > 0 {
			continue
		}
		q.sum()
		if q.cost < p.cost-1e-6 {
			p = q
			i = min(i, s.tries.again)
		}
	}
	return p
}

// pruned returns the plan without branch i and all that hangs on it, and the
// heads of those.
func (s *site) pruned(p *plan, i int) (*plan, []int) {
	out := make([]bool, len(p.branch))
	out[i] = true
	var todo []int
	for j := i; j < len(p.branch); j++ {
		if j > i && p.branch[j].up >= 0 && out[p.branch[j].up] {
			out[j] = true
		}
		if out[j] {
			todo = append(todo, p.branch[j].src)
		}
	}
	q := &plan{end: p.end, branch: make([]branch, 0, cap(p.branch))}
	place := make([]int, len(p.branch))
	for j, b := range p.branch {
		if out[j] {
			continue
		}
		place[j] = len(q.branch)
		if b.up >= 0 {
			b.up = place[b.up]
		}
		q.branch = append(q.branch, b)
	}
	return q, todo
}

// lay finds the cheapest end of branch b, whose other points are body, on the
// segments from first to last of the branch it ends on, for less than most; false
// where there is none. With moved the body is not that of b, and must keep the rules
// by itself; otherwise the ends that break a rule are left out. All else that is
// known of b must hold of body.
func (s *site) lay(p *plan, k int, b *branch, body []orb.Point, first, last int, most float64, moved bool) (branch, bool) {
	var lands [8]landing
	from := s.heads[b.src].from
	prev := from
	if len(body) > 1 {
		prev = &body[len(body)-2]
	}
	o, q := &p.branch[b.up], body[len(body)-1]
	off := math.Inf(1)
	for seg := first; seg < last; seg++ {
		off = min(off, distTo(q, o.pts[seg], o.pts[seg+1]))
	}
	most -= 1e-9
	room := most - s.metre*off // for the body
	cost := s.barePrice(from, body, 0)
	if cost >= room {
		return branch{}, false
	}
	if moved {
		nb := *b
		nb.pts = body
		if !s.branchKeeps(&nb, b, p.end, 0) {
			return branch{}, false
		}
	}
	if cost = s.beyondUnder(body, cost, room); cost >= room {
		return branch{}, false
	}
	var best branch
	found := false
	for seg := first; seg < last; seg++ {
		for _, ld := range s.land(p, k, prev, q, b.up, seg, most-cost, lands[:0]) {
			if ld.cost += s.over(q, &ld); cost+ld.cost >= most {
				continue
			}
			nb := *b
			nb.pts = append(append(s.scratch.pts[:0], body...), ld.pts[:ld.n]...)
			s.scratch.pts = nb.pts
			nb.tail, nb.seg, nb.through = ld.n, seg, ld.through
			nb.cost = cost + ld.cost
			if !moved && (!s.branchKeeps(&nb, b, p.end, len(body)-1) || !s.apart(p, k, nb.pts, b.up, seg, nb.through)) {
				continue
			}
			s.scratch.pts, s.scratch.best = s.scratch.best, nb.pts
			best, found, most = nb, true, nb.cost-1e-9
		}
	}
	return best, found
}

// relay lays the tails of all branches that hang on branch k anew after it has
// changed from what it was. It returns false where one finds no legal end, or where
// together they grow dearer by more than slack beyond what dearer says.
func (s *site) relay(p *plan, k int, was *branch, slack float64) bool {
	for c := range p.branch {
		b := &p.branch[c]
		if b.up != k {
			continue
		}
		o := &p.branch[k]
		if b.through && len(b.pts) > 1 { // into the source at the top, which stays
			n := len(b.pts)
			if !s.enters(o, b.pts[n-2]) {
				return false
			}
			continue
		}
		i, n := window(o, b)
		if seg := same(o, was, b.seg, i, n); seg >= 0 && len(b.pts) > 1 {
			// what it ends on has not moved
			if !s.apart(p, c, b.pts, k, seg, b.through) {
				return false
			}
			b.seg = seg
			continue
		}
		least := s.leastOn(b, o, i, n)
		nb, ok := s.lay(p, c, b, b.pts[:len(b.pts)-b.tail], i, n, least+slack+1e-8, false)
		if !ok {
			return false
		}
		slack -= nb.cost - least + s.dearer(p, c, &nb) - s.dearer(p, c, nil)
		if slack < -1e-8 {
			return false
		}
		old := *b
		nb.pts = slices.Clone(nb.pts)
		p.branch[c] = nb
		if !s.relay(p, c, &old, slack) {
			return false
		}
	}
	return true
}

// dearer is by how much at least all that hangs on branch k grows dearer once that
// lies as now; below 0 where it may get cheaper. now is nil where it is not known
// how the tail of the branch will lie.
func (s *site) dearer(p *plan, k int, now *branch) float64 {
	was := &p.branch[k]
	sum := 0.0
	for c := range p.branch {
		b := &p.branch[c]
		if b.up != k || b.through && len(b.pts) > 1 {
			continue // that which runs into the source at the top stays
		}
		least := 0.0
		if now != nil {
			i, n := window(now, b)
			if len(b.pts) > 1 && same(now, was, b.seg, i, n) >= 0 {
				continue
			}
			least = s.leastOn(b, now, i, n)
		} else {
			if b.seg+1 < len(was.pts)-was.tail {
				continue // not on the tail
			}
			least = s.leastOn(b, was, 0, 0)
		}
		sum += least - b.cost + s.dearer(p, c, nil)
	}
	return sum
}

// leastOn is what branch b costs at least with another tail, onto the segments from
// first to last of o; where there are none, onto anything.
func (s *site) leastOn(b, o *branch, first, last int) float64 {
	body := b.pts[:len(b.pts)-b.tail]
	off := math.Inf(1)
	for i := first; i < last; i++ {
		off = min(off, distTo(body[len(body)-1], o.pts[i], o.pts[i+1]))
	}
	c := s.beyondUnder(body, s.barePrice(s.heads[b.src].from, body, 0), math.Inf(1))
	if first < last {
		c += s.metre * off
		if off > touching {
			c += s.p.Prices.Join
		}
	}
	return c
}

// window is the range of segments of o on which branch b is laid anew after o has
// changed.
func window(o, b *branch) (first, last int) {
	first, last = o.segments()
	return max(first, b.seg-1), min(last, b.seg+2)
}

// same returns which segment of o, from first to last, is segment seg of was;
// -1 for none.
func same(o, was *branch, seg, first, last int) int {
	for i := first; i < last; i++ {
		if o.pts[i] == was.pts[seg] && o.pts[i+1] == was.pts[seg+1] {
			return i
		}
	}
	return -1
}

// with returns the plan in which branch k has the points pts for its head and
// free corners (and target), its own tail and all that hangs on it laid anew; nil
// where a rule forbids it, where the plan does not come out under limit, or where
// the branch grows dearer by more than step can save on those that hang on it. It
// does not keep pts.
func (s *site) with(p *plan, k int, pts []orb.Point, step, limit float64) *plan {
	if s.halted() {
		return nil
	}
	old := &p.branch[k]
	most := old.cost + limit - p.cost // of the branch
	hung := false
	for i := range p.branch {
		if p.branch[i].up == k {
			hung = true
			most += 3*step*s.metre + 2*s.p.Prices.Bend
		}
	}
	var b branch
	if old.up < 0 || old.through {
		if old.through && (len(pts) < 2 || !s.enters(&p.branch[old.up], pts[len(pts)-2])) {
			return nil
		}
		b = *old
		b.pts = pts
		if b.cost = s.branchPriceUnder(&b, most); b.cost >= most-1e-9 || !s.branchKeeps(&b, old, p.end, 0) {
			return nil
		}
	} else {
		i, n := window(&p.branch[old.up], old)
		var ok bool
		if b, ok = s.lay(p, k, old, pts, i, n, most, true); !ok {
			return nil
		}
		if !s.branchKeeps(&b, old, p.end, len(pts)-1) {
			return nil
		}
	}
	if !hung && !s.apart(p, k, b.pts, b.up, b.seg, b.through) {
		return nil
	}
	slack := math.Inf(1)
	if hung {
		if slack = limit - (p.cost + b.cost - old.cost + s.dearer(p, k, &b)); slack < -1e-8 {
			return nil
		}
	}
	q := p.clone()
	b.pts = slices.Clone(b.pts)
	q.branch[k] = b
	if hung && (!s.relay(q, k, old, slack) || !s.apart(q, k, b.pts, b.up, b.seg, b.through)) {
		return nil
	}
	q.sum()
	return q
}

// polish moves, slides and drops corners. A branch is tried again while it, the
// one it ends on or one that ends on it has changed.
func (s *site) polish(p *plan) *plan {
	const sweeps = 6
	if s.settled == nil {
		s.settled = make([]uint64, 1<<settledBits)
	}
	for _, step := range s.tries.steps {
		for range sweeps {
			again := false
			for k := range p.branch {
				key := p.around(k, step)
				if s.settled[key>>(64-settledBits)] == key {
					continue
				}
				if q := s.nudge(p, k, step); q != nil {
					p, again = q, true
				} else {
					s.settled[key>>(64-settledBits)] = key
				}
			}
			if !again {
				break
			}
		}
	}
	return p
}

const settledBits = 9

// around is a number for branch k with those that it ends on and that end on it,
// and a step: another one, but for chance, where any of them lies elsewhere.
func (p *plan) around(k int, step float64) uint64 {
	h := math.Float64bits(step)
	mix := func(x uint64) { h = (h ^ x) * 0x9e3779b97f4a7c15; h ^= h >> 29 }
	line := func(b *branch) {
		mix(uint64(b.src)<<32 ^ uint64(len(b.pts)))
		for _, q := range b.pts {
			mix(math.Float64bits(q[0]))
			mix(math.Float64bits(q[1]))
		}
	}
	b := &p.branch[k]
	line(b)
	if b.up >= 0 {
		line(&p.branch[b.up])
	}
	for i := range p.branch {
		if p.branch[i].up == k {
			line(&p.branch[i])
		}
	}
	return h * 0xbf58476d1ce4e5b9
}

// least is the smallest gain, as a share of the price, for which a plan is
// changed.
const least = 1e-5

// nudge tries the moves of one branch at one step and returns a cheaper plan,
// or nil.
func (s *site) nudge(p *plan, k int, step float64) *plan {
	var got *plan
	// the cheapest of the moves offered since the last take
	var best *plan
	offer := func(pts []orb.Point, step float64) {
		limit := p.cost * (1 - least)
		if best != nil {
			limit = best.cost - 1e-9
		}
		if q := s.with(p, k, pts, step, limit); q != nil && q.cost < limit {
			best = q
		}
	}
	take := func() bool {
		if best == nil {
			return false
		}
		p, got, best = best, best, nil
		return true
	}
	var buf [32]orb.Point
	keep := func() []orb.Point {
		b := &p.branch[k]
		if b.up < 0 || b.through {
			return append(buf[:0], b.pts...)
		}
		return append(buf[:0], b.pts[:len(b.pts)-b.tail]...)
	}
	for i := p.branch[k].head; ; i++ {
		b := &p.branch[k]
		lo, hi := b.free()
		if i < lo || i >= hi {
			break
		}
		// drop
		offer(slices.Delete(keep(), i, i+1), 5)
		if take() {
			i--
			continue
		}
		// move
		var u orb.Point
		if i+1 < len(b.pts) && dist(b.pts[i-1], b.pts[i+1]) > 1e-3 {
			u = unitVec(b.pts[i-1], b.pts[i+1])
		} else {
			u = unitVec(b.pts[i-1], b.pts[i])
		}
		for d := range 8 {
			sin, cos := math.Sincos(float64(d) * math.Pi / 4)
			v := orb.Point{u[0]*cos - u[1]*sin, u[0]*sin + u[1]*cos}
			pts := keep()
			pts[i] = along(pts[i], v, step)
			offer(pts, step)
		}
		if s.askew > 0 && i+1 < len(b.pts) {
			for _, q := range s.squared(b.pts[i-1], b.pts[i], b.pts[i+1], 2*step) {
				pts := keep()
				pts[i] = q
				offer(pts, 2*step)
			}
		}
		take()
		// slide the segment to the next corner sideways
		b = &p.branch[k]
		if _, hi := b.free(); i+1 < hi {
			w := unitVec(b.pts[i], b.pts[i+1])
			for _, side := range []float64{step, -step} {
				pts := keep()
				v := orb.Point{-w[1], w[0]}
				pts[i], pts[i+1] = along(pts[i], v, side), along(pts[i+1], v, side)
				offer(pts, step)
			}
			take()
		}
	}
	return got
}
