package route

// The exact search over a stated set of points: the cheapest tree whose runs
// all join two of the points, under the same rules of angle and the same
// prices, found by the recursion of Dreyfus and Wagner (1971, from memory) over
// headings: a state is a run with a direction, so that turns can be priced and
// forbidden. What it leaves out makes it a bound: runs may cross, and joins may
// stand nearer than the least straight.

import (
	"math"
	"math/bits"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// mostExact is the greatest number of sources for the exact search, whose work
// grows as three to that number.
const mostExact = 10

// ray is a straight run between two candidate points, in one direction.
type ray struct {
	from, to int
	cost     float64
	heading  float64 // of the direction, radians
	end      bool    // runs into the target
}

// step from one ray to the next at their common point.
type step struct {
	ray  int32
	turn float32
	cost float64 // price of the turn as a bend
}

type exact struct {
	s     *site
	end   *end
	pts   []orb.Point
	owner []int // source whose head ends at the point, -1
	rays  []ray
	out   [][]int32
	next  [][]step    // by ray: what may follow
	least [][]float64 // by head: what each ray costs at least with its water in it
	left  [][]float64 // by head: least price from each point to the target
	// bentJoins lets the line that runs through turn where another joins, as no
	// fitting does: for comparing with trees known from elsewhere.
	bentJoins bool
}

// newExact takes the spots of the graph, the points of the plans, and more
// points of the problem's plane.
func (s *site) newExact(e *end, plans []*plan, more ...orb.Point) *exact {
	x := &exact{s: s, end: e}
	corner := map[int]int{}
	put := func(p orb.Point, owner int) int {
		for i, q := range x.pts {
			if dist(p, q) < 1e-6 {
				if owner >= 0 {
					x.owner[i] = owner
				}
				return i
			}
		}
		x.pts = append(x.pts, p)
		x.owner = append(x.owner, owner)
		return len(x.pts) - 1
	}
	for k := range s.heads {
		if h := &s.heads[k]; h.why == "" {
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
	x.out = make([][]int32, len(x.pts))
	ray1 := func(i, j int, end bool) {
		x.out[i] = append(x.out[i], int32(len(x.rays)))
		d := sub(x.pts[j], x.pts[i])
		x.rays = append(x.rays, ray{i, j, s.price(x.pts[i], x.pts[j]), math.Atan2(d[1], d[0]), end})
	}
	for i := range x.pts {
		if i == t {
			continue
		}
		if e.inZone && dist(x.pts[i], e.at) >= s.ls-eps && s.zone.clear(x.pts[i], e.at) || !e.inZone && s.lastRun(e, x.pts[i]) {
			ray1(i, t, true)
		}
		for j := 0; j < i; j++ {
			if j == t || dist(x.pts[i], x.pts[j]) < s.ls-eps {
				continue
			}
			if c, ok := corner[i]; ok && !s.useful(c, x.pts[j]) {
				continue
			}
			if c, ok := corner[j]; ok && !s.useful(c, x.pts[i]) {
				continue
			}
			if !s.zone.clear(x.pts[i], x.pts[j]) {
				continue
			}
			ray1(i, j, false)
			ray1(j, i, false)
		}
	}
	x.link()
	return x
}

// link finds what may follow each ray, and the least price to the target.
func (x *exact) link() {
	s := x.s
	x.next = make([][]step, len(x.rays))
	for b, r := range x.rays {
		if r.end {
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
			d := math.Abs(x.rays[a].heading - r.heading)
			if d > math.Pi {
				d = 2*math.Pi - d
			}
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
	in := make([][]int32, len(x.pts))
	for b, r := range x.rays {
		in[r.to] = append(in[r.to], int32(b))
	}
	t := len(x.pts) - 1
	for i := range x.rays {
		if x.rays[i].end {
			t = x.rays[i].to
		}
	}
	for k := range s.heads {
		cost := x.sharpened(k)
		// back from the target over points, turns left out
		left := make([]float64, len(x.pts))
		for i := range left {
			left[i] = math.Inf(1)
		}
		left[t] = 0
		q := queue{{t, 0}}
		for len(q) > 0 {
			it := q.pop()
			if it.cost > left[it.spot] {
				continue
			}
			for _, b := range in[it.spot] {
				from := x.rays[b].from
				if c := it.cost + cost[b]; c < left[from] {
					left[from] = c
					q.push(item{from, c})
				}
			}
		}
		x.least, x.left = append(x.least, cost), append(x.left, left)
	}
}

// sharpened returns what each ray costs at least when it carries the water of
// head k, which has come at least by the shortest way over the points.
func (x *exact) sharpened(k int) []float64 {
	s := x.s
	cost := make([]float64, len(x.rays))
	for b := range x.rays {
		cost[b] = x.rays[b].cost
	}
	h := &s.heads[k]
	if s.p.Least == nil || h.source < 0 || h.why != "" {
		return cost
	}
	way := make([]float64, len(x.pts))
	var q queue
	for v := range way {
		way[v] = math.Inf(1)
		if x.owner[v] == k {
			way[v] = 0
			for i := 0; i+1 < len(h.pts); i++ {
				way[v] += dist(h.pts[i], h.pts[i+1])
			}
			q.push(item{v, way[v]})
		}
	}
	for len(q) > 0 {
		it := q.pop()
		if it.cost > way[it.spot] {
			continue
		}
		for _, b := range x.out[it.spot] {
			r := &x.rays[b]
			if w := it.cost + dist(x.pts[r.from], x.pts[r.to]); w < way[r.to] {
				way[r.to] = w
				q.push(item{r.to, w})
			}
		}
	}
	for b := range x.rays {
		r := &x.rays[b]
		if w := way[r.from]; !math.IsInf(w, 1) {
			l := dist(x.pts[r.from], x.pts[r.to])
			c := s.p.Least(h.source, unit.Length(w), add(x.pts[r.from], s.origin), add(x.pts[r.to], s.origin))
			cost[b] += math.Max(0, c-s.metre*l)
		}
	}
	return cost
}

// best returns the lowest price of a tree for the sources given, the tie-in
// included; +Inf where none costs less than limit.
func (x *exact) best(sources []int, limit float64) float64 {
	s := x.s
	inf := math.Inf(1)
	full := 1<<len(sources) - 1
	nr := len(x.rays)
	bit := map[int]int{}
	for i, k := range sources {
		bit[k] = 1 << i
	}
	limit -= s.p.Prices.TieIn
	// by set: through[set][ray] is the least price of draining set into the tail
	// of ray as the line that runs through, branch[...] as the one that joins
	through := make([][]float64, full+1)
	branch := make([][]float64, full+1)
	some := make([]float64, full+1) // least of branch
	S := make([]float64, nr)
	cost := make([][]float64, full+1) // of the rays, by set
	left := make([][]float64, full+1)
	done := make([]bool, nr)
	answer := inf
	for set := 1; set <= full; set++ {
		for i := range S {
			S[i], done[i] = inf, false
		}
		low := bits.TrailingZeros(uint(set))
		cost[set], left[set] = x.least[sources[low]], x.left[sources[low]]
		if rest := set & (set - 1); rest != 0 {
			if s.p.Least != nil {
				cost[set] = greater(cost[set], cost[rest])
			}
			left[set] = greater(left[set], left[rest])
		}
		rayCost, toEnd := cost[set], left[set]
		if bits.OnesCount(uint(set)) == 1 {
			k := sources[bits.TrailingZeros(uint(set))]
			h := &s.heads[k]
			for v := range x.pts {
				if x.owner[v] != k {
					continue
				}
				for _, a := range x.out[v] {
					c := 0.0
					if prev := h.before(); prev != nil {
						bp, ok := s.bendAt(*prev, x.pts[v], x.pts[x.rays[a].to])
						if !ok {
							continue
						}
						c = x.headCost(k) + bp
					}
					S[a] = c
				}
			}
		}
		for sub := (set - 1) & set; sub > 0; sub = (sub - 1) & set {
			th, br := through[sub], branch[set^sub]
			if th == nil || br == nil || some[sub]+some[set^sub] > limit {
				continue
			}
			j := s.p.Prices.Join
			for a := range S {
				if v := th[a] + br[a] + j; v < S[a] && x.owner[x.rays[a].from] < 0 {
					S[a] = v
				}
			}
		}
		// into a source that lies on the way
		for i, k := range sources {
			if set&(1<<i) == 0 || set == 1<<i || s.heads[k].before() != nil {
				continue
			}
			if th := through[set&^(1<<i)]; th != nil {
				for a := range S {
					if x.owner[x.rays[a].from] == k && th[a] < S[a] {
						S[a] = th[a]
					}
				}
			}
		}
		var q queue
		for a := range S {
			if S[a]+rayCost[a]+toEnd[x.rays[a].to] <= limit {
				q.push(item{a, S[a] + rayCost[a]})
			} else {
				S[a] = inf
			}
		}
		if len(q) == 0 {
			continue
		}
		th, br := make([]float64, nr), make([]float64, nr)
		for i := range th {
			th[i], br[i] = inf, inf
		}
		some[set] = inf
		join := float32(s.join)
		// a bend at the join itself would be two fittings without a straight
		// between them
		turned := float32(straight)
		if x.bentJoins {
			turned = join
		}
		for len(q) > 0 {
			it := q.pop()
			b := it.spot
			if done[b] || it.cost > S[b]+rayCost[b] {
				continue
			}
			done[b] = true
			if x.rays[b].end {
				if set == full && it.cost < answer {
					answer = it.cost
				}
				continue
			}
			own := x.owner[x.rays[b].to] >= 0
			for _, st := range x.next[b] {
				a := st.ray
				c := it.cost + st.cost
				r := &x.rays[a]
				if c+rayCost[a]+toEnd[r.to] > limit {
					continue
				}
				if own {
					th[a] = min(th[a], c)
					continue
				}
				if st.turn <= join {
					if st.turn <= turned {
						th[a] = min(th[a], c)
					}
					br[a] = min(br[a], it.cost)
					some[set] = min(some[set], it.cost)
				}
				if c < S[a] {
					S[a] = c
					q.push(item{int(a), c + rayCost[a]})
				}
			}
		}
		through[set], branch[set] = th, br
	}
	return answer + s.p.Prices.TieIn
}

// headCost is what the lines of head k cost at least.
func (x *exact) headCost(k int) float64 {
	s := x.s
	h := &s.heads[k]
	c, way := h.cost, 0.0
	if s.p.Least == nil || h.source < 0 {
		return c
	}
	for i := 0; i+1 < len(h.pts); i++ {
		l := dist(h.pts[i], h.pts[i+1])
		c += math.Max(0, s.p.Least(h.source, unit.Length(way), add(h.pts[i], s.origin), add(h.pts[i+1], s.origin))-s.metre*l)
		way += l
	}
	return c
}

// greater returns the greater of each two.
func greater(a, b []float64) []float64 {
	c := make([]float64, len(a))
	for i := range c {
		c[i] = math.Max(a[i], b[i])
	}
	return c
}
