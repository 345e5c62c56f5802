package route

// The exact search over a stated set of points: the cheapest tree whose runs
// all join two of the points, under the same rules of angle and the same
// prices, found by the recursion of Dreyfus and Wagner (1971, from memory) over
// headings: a state is a run with a direction and the set of sources whose water
// is in it, so that turns can be priced and forbidden, and a run charged for the
// water that it carries. A state is dropped where its price and what the duals say
// that the rest costs at least (Hougardy, Silvanus and Vygen 2017, "Dijkstra meets
// Steiner", from memory) exceed what is known to do. What the search leaves out makes
// it a bound: runs may cross, and joins may stand nearer than the least straight.

import (
	"math"
	"math/bits"
	"slices"

	"github.com/paulmach/orb"
)

// mostExact is the greatest number of sources for the exact search, whose work
// grows as three to that number.
const mostExact = 12

// ray is a straight run between two candidate points, in one direction.
type ray struct {
	from, to int
	cost     float64 // by what can be added up
	length   float64
	heading  float64 // of the direction, radians
	end      bool    // runs into the target
	deep     deep
	known    bool // deep is
}

// step from one ray to the next at their common point.
type step struct {
	ray  int32
	turn float32
	cost float64 // price of the turn as a bend
}

// onto is where a point lies on a kept line that may be joined there.
type onto struct {
	head    int // -1: on none
	heading float64
	togo    float64 // length of the line from here to its end
}

// exact is a set of candidate points with the rays between them.
type exact struct {
	s     *site
	end   *end
	pts   []orb.Point
	owner []int // source whose head ends at the point, -1
	onto  []onto
	rays  []ray
	out   [][]int32 // by point
	next  [][]step  // by ray: what may follow
	trunk int       // head of the kept line that ends at the target, -1
	// bentJoins lets the line that runs through turn where another joins, as no
	// fitting does: for comparing with trees known from elsewhere.
	bentJoins bool
}

// newExact takes the spots of the graph, the points of the plans, and more
// points of the problem's plane.
func (s *site) newExact(e *end, plans []*plan, more ...orb.Point) *exact {
	x := &exact{s: s, end: e, trunk: -1}
	corner := map[int]int{}
	cells := map[[2]int32][]int{} // points by square of a centimetre
	put := func(p orb.Point, owner int) int {
		cx, cy := int32(math.Floor(p[0]*100)), int32(math.Floor(p[1]*100))
		for dx := int32(-1); dx <= 1; dx++ {
			for dy := int32(-1); dy <= 1; dy++ {
				for _, i := range cells[[2]int32{cx + dx, cy + dy}] {
					if dist(p, x.pts[i]) < 1e-6 {
						if owner >= 0 {
							x.owner[i] = owner
						}
						return i
					}
				}
			}
		}
		x.pts = append(x.pts, p)
		x.owner = append(x.owner, owner)
		cells[[2]int32{cx, cy}] = append(cells[[2]int32{cx, cy}], len(x.pts)-1)
		return len(x.pts) - 1
	}
	for k := range s.heads {
		switch h := &s.heads[k]; {
		case h.target == e.target:
			x.trunk = k
		case h.why == "" && h.target < 0:
			put(h.pts[len(h.pts)-1], k)
		}
	}
	for _, p := range plans {
		for i := range p.branch {
			b := &p.branch[i]
			for j := b.head; j < len(b.pts); j++ {
				if !(b.up < 0 && j == len(b.pts)-1) {
					put(b.pts[j], -1)
				}
			}
		}
	}
	for _, p := range more {
		if p = sub(p, s.origin); s.zone.holds(p) {
			put(p, -1)
		}
	}
	s.onKept(func(p orb.Point) { put(p, -1) })
	marked := len(x.pts)
	for i := range s.graph.spots {
		if j := put(s.graph.spots[i].at, -1); j >= marked {
			corner[j] = i
		}
	}
	for _, p := range e.entries {
		put(p, -1)
	}
	t := put(e.at, -1)
	x.findKept()
	x.out = make([][]int32, len(x.pts))
	ray1 := func(i, j int, end bool) {
		x.out[i] = append(x.out[i], int32(len(x.rays)))
		d := sub(x.pts[j], x.pts[i])
		x.rays = append(x.rays, ray{from: i, to: j, cost: s.price(x.pts[i], x.pts[j]), length: math.Hypot(d[0], d[1]), heading: math.Atan2(d[1], d[0]), end: end})
	}
	sight := s.sight()
	for i := range x.pts {
		if i == t || s.halted() {
			continue
		}
		leaves := x.onto[i].head < 0 // nothing leaves a kept line but at its end
		if x.trunk < 0 && leaves && (e.inZone && dist(x.pts[i], e.at) >= s.ls-eps && s.open(x.pts[i], e.at) || !e.inZone && s.lastRun(e, x.pts[i])) {
			ray1(i, t, true)
		}
		for j := 0; j < i; j++ {
			if d := dist(x.pts[i], x.pts[j]); j == t || d < s.ls-eps || d > sight || !leaves && x.onto[j].head >= 0 {
				continue
			}
			if c, ok := corner[i]; ok && !s.graph.spots[c].useful(x.pts[j]) {
				continue
			}
			if c, ok := corner[j]; ok && !s.graph.spots[c].useful(x.pts[i]) {
				continue
			}
			if !s.open(x.pts[i], x.pts[j]) {
				continue
			}
			if leaves {
				ray1(i, j, false)
			}
			if x.onto[j].head < 0 {
				ray1(j, i, false)
			}
		}
	}
	x.link()
	return x
}

// onKept offers the places on kept lines where the heads would land on them.
func (s *site) onKept(put func(orb.Point)) {
	sin, cos := math.Sincos(s.join - angleEps)
	for k := range s.heads {
		h := &s.heads[k]
		if !h.kept || h.why != "" {
			continue
		}
		for i := 0; i+1 < len(h.pts); i++ {
			a, b := h.pts[i], h.pts[i+1]
			u, l := unitVec(a, b), dist(a, b)
			if i > 0 {
				put(a)
			}
			for j := range s.heads {
				if o := &s.heads[j]; j != k && o.why == "" && o.target < 0 {
					q := sub(o.pts[len(o.pts)-1], a)
					f, high := dot(q, u), math.Abs(cross(u, q))
					for _, t := range []float64{f + high*cos/sin, f + s.ls*cos} {
						if t >= s.ls && t <= l-s.ls {
							put(along(a, u, t))
						}
					}
				}
			}
		}
	}
}

// findKept tells which points lie on a kept line, at its end left out.
func (x *exact) findKept() {
	x.onto = make([]onto, len(x.pts))
	for i := range x.onto {
		x.onto[i].head = -1
	}
	for k := range x.s.heads {
		h := &x.s.heads[k]
		if !h.kept || h.why != "" || h.target >= 0 && h.target != x.end.target {
			continue
		}
		togo := 0.0
		for i := len(h.pts) - 2; i >= 0; i-- {
			a, b := h.pts[i], h.pts[i+1]
			d := sub(b, a)
			for v, p := range x.pts {
				if x.onto[v].head < 0 && x.owner[v] < 0 && dist(p, b) > 1e-6 && distTo(p, a, b) < 1e-6 && (i > 0 || dist(p, a) > 1e-6) {
					x.onto[v] = onto{k, math.Atan2(d[1], d[0]), togo + dist(p, b)}
				}
			}
			togo += dist(a, b)
		}
	}
}

// between is the angle between two headings, 0 to pi.
func between(a, b float64) float64 {
	d := math.Abs(a - b)
	if d > math.Pi {
		d = 2*math.Pi - d
	}
	return d
}

// link finds what may follow each ray.
func (x *exact) link() {
	s := x.s
	x.next = make([][]step, len(x.rays))
	for b, r := range x.rays {
		if r.end || x.onto[r.to].head >= 0 {
			continue
		}
		k := x.owner[r.to]
		if k >= 0 && s.heads[k].before() != nil {
			continue // nothing passes the end of a lead-off
		}
		most := s.bend
		if k >= 0 && !s.basin(k) {
			most = s.join
		}
		for _, a := range x.out[r.to] {
			d := between(x.rays[a].heading, r.heading)
			if d > most {
				continue
			}
			c := s.bendPrice(d)
			if k >= 0 {
				c = 0 // the source's own piece makes the turn
			}
			x.next[b] = append(x.next[b], step{a, float32(d), c})
		}
	}
}

// lands tells whether ray b ends on a kept line in the direction of its flow.
func (x *exact) lands(b int) (int, bool) {
	o := &x.onto[x.rays[b].to]
	return o.head, o.head >= 0 && between(o.heading, x.rays[b].heading) <= x.s.join
}

// origin is how the water of a state came into the tail of its ray.
type origin struct {
	kind byte // of the ways below
	ray  int32
	set  uint32 // the set that runs through
}

const (
	fromHead  byte = iota // it is a head's own
	fromRay               // along another ray with the same set
	fromJoin              // set runs through, the rest joins it
	fromPass              // set runs into the source that stands here
	fromLines             // set lands on the kept line whose end is here
)

// entry of a list over rays, ascending.
type entry struct {
	ray  int32
	prev int32 // ray before
	cost float64
}

// level of the search: all states of one set.
type level struct {
	through, branch []entry // into the tail of a ray, as the line that runs through or as the one that joins
	rays            []int32
	how             []origin // by place in rays
	least           float64  // of branch
}

// landed is the cheapest way of a set onto a kept line.
type landed struct {
	cost float64
	ray  int32  // its last; -1: two sets apart
	set  uint32 // the one of them
}

// search is one run of the exact search.
type search struct {
	x       *exact
	sources []int
	bit     map[int]uint32
	d       *dual
	levels  []level
	land    map[int][]landed // by kept line: of each set together
	apart   map[int][]landed // the same, the set taken apart
	last    int32            // last ray of the tree found
	limit   float64
	cost    float64
}

// best returns the lowest price of a tree for the heads given, the tie-in
// included; +Inf where none costs less than limit.
func (x *exact) best(heads []int, limit float64) float64 { return x.search(heads, limit).cost }

// search finds the cheapest tree for the heads given that costs less than limit.
func (x *exact) search(heads []int, limit float64) *search {
	return x.searchWith(x.newDual(heads), limit)
}

func (x *exact) searchWith(d *dual, limit float64) *search {
	s := x.s
	inf := math.Inf(1)
	r := &search{x: x, sources: d.heads, d: d, bit: map[int]uint32{}, last: -1, cost: inf, limit: limit, land: map[int][]landed{}, apart: map[int][]landed{}}
	n := len(r.sources)
	full := uint32(1)<<n - 1
	for i, k := range r.sources {
		r.bit[k] = 1 << i
	}
	for k := range s.heads {
		if h := &s.heads[k]; h.kept && h.why == "" && (r.bit[k] != 0 || k == x.trunk) {
			r.land[k], r.apart[k] = make([]landed, full+1), make([]landed, full+1)
			for i := range r.land[k] {
				r.land[k][i].cost, r.apart[k][i].cost = inf, inf
			}
			r.apart[k][0].cost = 0
		}
	}
	budget := limit - d.fixed // what a tree's own part may cost
	nr := len(x.rays)
	S := make([]float64, nr)
	how := make([]origin, nr)
	done := make([]bool, nr)
	th, br := make([]float64, nr), make([]float64, nr)
	thBy, brBy := make([]int32, nr), make([]int32, nr)
	for i := range S {
		S[i], th[i], br[i] = inf, inf, inf
	}
	r.levels = make([]level, full+1)
	var nonEmpty []uint32
	join := float32(s.join)
	// a bend at the join itself would be two fittings without a straight
	// between them
	turned := float32(straight)
	if x.bentJoins {
		turned = join
	}
	var touched, seen []int32
	for set := uint32(1); set <= full && !s.halted(); set++ {
		touched, seen = touched[:0], seen[:0]
		rest := d.rest(set)
		put := func(a int32, c float64, o origin) bool {
			if c >= S[a] || c+rest+d.onward(set, a) > budget {
				return false
			}
			if math.IsInf(S[a], 1) {
				touched = append(touched, a)
			}
			S[a], how[a] = c, o
			return true
		}
		one := bits.OnesCount32(set) == 1
		for i, k := range r.sources {
			if set&(1<<i) == 0 {
				continue
			}
			own := set &^ (1 << i)
			h := &s.heads[k]
			base := 0.0
			o := origin{kind: fromHead}
			switch {
			case one:
			case h.kept:
				if base = r.apart[k][own].cost; math.IsInf(base, 1) {
					continue
				}
				o = origin{kind: fromLines, set: own}
			case h.before() == nil:
				// into a source that lies on the way
				for _, e := range r.levels[own].through {
					if x.owner[x.rays[e.ray].from] == k {
						put(e.ray, e.cost, origin{fromPass, e.prev, own})
					}
				}
				continue
			default:
				continue
			}
			for _, a := range x.out[d.at[i]] {
				c := base
				if prev := h.before(); prev != nil {
					bp, ok := s.bendAt(*prev, x.pts[d.at[i]], x.pts[x.rays[a].to])
					if !ok {
						continue
					}
					c += bp
				}
				put(a, c, o)
			}
		}
		for _, sub := range nonEmpty {
			if sub&^set != 0 || sub == set {
				continue
			}
			a, b := &r.levels[sub], &r.levels[set&^sub]
			if len(a.through) == 0 || len(b.branch) == 0 {
				continue
			}
			j := s.p.Prices.Join
			for i, k := 0, 0; i < len(a.through) && k < len(b.branch); {
				p, q := &a.through[i], &b.branch[k]
				switch {
				case p.ray < q.ray:
					i++
				case p.ray > q.ray:
					k++
				default:
					if x.owner[x.rays[p.ray].from] < 0 {
						put(p.ray, p.cost+q.cost+j, origin{fromJoin, p.ray, sub})
					}
					i++
					k++
				}
			}
		}
		var q queue
		for _, a := range touched {
			q.push(item{int(a), S[a] + d.charge(set, a)})
		}
		for len(q) > 0 {
			it := q.pop()
			b := it.spot
			if done[b] || it.cost > S[b]+d.charge(set, int32(b)) {
				continue
			}
			done[b] = true
			if x.rays[b].end {
				if set == full && it.cost < r.cost {
					r.cost, r.last = it.cost, int32(b)
				}
				continue
			}
			if k, ok := x.lands(b); ok && r.bit[k]&set == 0 && r.land[k] != nil {
				c := it.cost + s.p.Prices.Join + d.lone(set, x.rays[b].to) + d.beside(set, x.rays[b].to)
				if l := &r.land[k][set]; c < l.cost {
					*l = landed{cost: c, ray: int32(b)}
				}
				continue
			}
			own := x.owner[x.rays[b].to] >= 0
			lone := d.lone(set, x.rays[b].to)
			for _, st := range x.next[b] {
				a := st.ray
				c := it.cost + st.cost
				note := func(to []float64, by []int32, c float64) {
					if c < to[a] {
						if math.IsInf(th[a], 1) && math.IsInf(br[a], 1) {
							seen = append(seen, a)
						}
						to[a], by[a] = c, int32(b)
					}
				}
				if own {
					note(th, thBy, c+lone)
					continue
				}
				if it.cost+rest+d.onward(set, a) > budget {
					continue
				}
				if st.turn <= join {
					if st.turn <= turned {
						note(th, thBy, c+lone)
					}
					note(br, brBy, it.cost+lone)
				}
				if put(a, c, origin{kind: fromRay, ray: int32(b)}) {
					q.push(item{int(a), c + d.charge(set, a)})
				}
			}
		}
		l := &r.levels[set]
		slices.Sort(touched)
		slices.Sort(seen)
		for _, a := range touched {
			l.rays, l.how = append(l.rays, a), append(l.how, how[a])
			S[a], done[a] = inf, false
		}
		for _, a := range seen {
			if !math.IsInf(th[a], 1) {
				l.through = append(l.through, entry{a, thBy[a], th[a]})
			}
			if !math.IsInf(br[a], 1) {
				l.branch = append(l.branch, entry{a, brBy[a], br[a]})
			}
			th[a], br[a] = inf, inf
		}
		if len(l.through) > 0 {
			nonEmpty = append(nonEmpty, set)
		}
		low := set & -set
		for k, land := range r.land {
			if r.bit[k]&set != 0 {
				continue
			}
			ap := r.apart[k]
			ap[set] = land[set]
			for sub := (set - 1) & set; sub > 0; sub = (sub - 1) & set {
				if sub&low != 0 && land[sub].cost+ap[set&^sub].cost < ap[set].cost {
					ap[set] = landed{land[sub].cost + ap[set&^sub].cost, -1, sub}
				}
			}
		}
	}
	if x.trunk >= 0 {
		r.cost = r.apart[x.trunk][full].cost
	}
	if r.cost += d.fixed; r.cost > limit {
		r.cost = inf
	}
	return r
}
