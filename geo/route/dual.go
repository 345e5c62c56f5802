package route

// What a tree over the candidates costs at least, for any number of sources, by
// dual ascent on directed cuts (Wong 1984, from memory): each source in turn lets
// a ball grow round itself until it touches the target, and charges the rays that
// it grows over; no ray is charged more than it costs with the sources that
// charge it. The sum of the radii is a bound. What is charged between a ray
// and the target is what the rest of the way costs at least, by which the exact
// search prunes.

import (
	"math"
	"math/bits"
	"slices"
)

// dual is the ascent for some of the heads.
//
// A ray has two nodes, its tail (the ray's own number) and its tip (that and
// the count of rays); every head has one, for where its own line ends; the last
// is the target.
type dual struct {
	x     *exact
	heads []int
	at    []int   // by head: the point at which it ends
	fixed float64 // price of what every tree has: the heads' lines, the tie-in
	extra float64 // of a join, beyond the turn that the lateral makes in it

	deepOn  bool
	class   []int    // by set, which list of pipes
	pipes   [][]Pipe // by class
	level   [][]float64
	far     int         // head whose cleanouts are counted to the target
	stretch [][]float64 // by head, point: price of the cleanouts on the way there
	memo    []float64   // by ray, head with the lowest level, class
	set     uint32      // that now holds what charge has been asked
	now     []float64

	uniform bool
	paid    [][]float64 // by head in order, ray: what it has charged
	cost    [][]float64 // by head, ray: at least, with its water alone
	order   []int16     // by ray: heads by cost
	slack   []float64   // of rays, where uniform
	first   []int32     // by ray: its first step in all
	turns   []float64   // of steps: what is left to charge
	starts  [][]float64 // by head: of what leaves it
	lands   []float64   // by ray: of landing on a kept line

	radius []float64   // by head
	left   [][]float64 // by head, node: what its water has to pay from there
	spare  []float64   // by node: least of what nobody has charged, to the target
	bound  float64     // of a tree, all told
}

// mostCharged is the number of heads up to which the ascent keeps apart what
// a ray costs with the water of each.
const mostCharged = 32

func (x *exact) newDual(heads []int) *dual {
	s := x.s
	d := &dual{x: x, fixed: s.p.Prices.TieIn}
	if x.trunk >= 0 {
		d.fixed += d.headCost(x.trunk, nil)
	}
	for _, k := range heads {
		if k != x.trunk {
			d.heads = append(d.heads, k)
		}
	}
	nr := len(x.rays)
	d.now = make([]float64, nr)
	d.level = make([][]float64, len(d.heads))
	levels := make([]float64, len(d.heads))
	for i, k := range d.heads {
		d.at = append(d.at, -1)
		for v := range x.pts {
			if x.owner[v] == k {
				d.at[i] = v
			}
		}
		d.fixed += d.headCost(k, &levels[i])
	}
	if s.depth != nil {
		d.deepen(levels)
		d.fixed += d.cleanouts()
	}
	if s.halt != nil {
		return d
	}
	d.prepare()
	return d
}

// headCost is what the lines of head k cost at least, and the highest level of
// the water that leaves them.
func (d *dual) headCost(k int, level *float64) float64 {
	s := d.x.s
	if s.depth == nil {
		return s.heads[k].cost
	}
	extra, l := s.deepHead(k)
	if level != nil {
		*level = l
	}
	return s.heads[k].cost + extra
}

// deepen asks for the ground under the rays and finds how high the water of each
// head can be at most at every point.
func (d *dual) deepen(levels []float64) {
	x := d.x
	s := x.s
	d.deepOn = true
	for i := range x.rays {
		r := &x.rays[i]
		if r.known || s.halted() {
			continue
		}
		if i > 0 && x.rays[i-1].from == r.to && x.rays[i-1].to == r.from { // made one after the other
			if o := &x.rays[i-1]; o.known {
				r.known, r.deep = true, o.deep.reversed()
			}
			continue
		}
		r.deep, r.known = s.newDeep(x.pts[r.from], x.pts[r.to])
	}
	// the lists of pipes by set, those alike as one
	n := len(d.heads)
	index := func(heads []int) int {
		ps := s.pipesFor(heads)
		i := slices.IndexFunc(d.pipes, func(o []Pipe) bool { return slices.Equal(o, ps) })
		if i < 0 {
			i = len(d.pipes)
			d.pipes = append(d.pipes, ps)
		}
		return i
	}
	if n <= mostExact {
		d.class = make([]int, 1<<n)
		for set := 1; set < 1<<n; set++ {
			var hs []int
			for i, k := range d.heads {
				if set&(1<<i) != 0 {
					hs = append(hs, k)
				}
			}
			d.class[set] = index(hs)
		}
	} else {
		for _, k := range d.heads {
			d.class = append(d.class, index([]int{k}))
		}
		index(d.heads)
	}
	loose := Pipe{Slope: math.Inf(1), Cover: d.pipes[0][0].Cover}
	for _, ps := range d.pipes {
		for _, p := range ps {
			loose.Slope, loose.Cover = math.Min(loose.Slope, p.Slope), min(loose.Cover, p.Cover)
		}
	}
	for i, k := range d.heads {
		d.level[i] = x.highestLevels(k, d.at[i], levels[i], loose)
	}
	d.memo = make([]float64, len(x.rays)*n*len(d.pipes))
	for i := range d.memo {
		d.memo[i] = math.NaN()
	}
}

// reversed is the ground seen from the other end.
func (d deep) reversed() deep {
	l := d.ground[len(d.ground)-1].At
	g := make([]Station, len(d.ground))
	for i, st := range d.ground {
		g[len(g)-1-i] = Station{l - st.At, st.Level}
	}
	return deep{g, d.level}
}

// highestLevels is, by point, the highest level at which water can be there that
// leaves point from at level.
func (x *exact) highestLevels(head, from int, level float64, p Pipe) []float64 {
	s := x.s
	top := make([]float64, len(x.pts))
	for i := range top {
		top[i] = math.Inf(-1)
	}
	ends := map[int]int{} // of kept lines: head to point
	for v, k := range x.owner {
		if k >= 0 && s.heads[k].kept {
			ends[k] = v
		}
	}
	top[from] = level
	pipes := []Pipe{p}
	q := queue{{from, -level}}
	for len(q) > 0 {
		it := q.pop()
		v := it.spot
		if -it.cost < top[v] {
			continue
		}
		reach := func(to int, l float64) {
			if l > top[to]+1e-9 {
				top[to] = l
				q.push(item{to, -l})
			}
		}
		if o := &x.onto[v]; o.head >= 0 {
			if to, ok := ends[o.head]; ok && o.head != head {
				reach(to, top[v]-p.Slope*o.togo)
			}
			continue
		}
		for _, b := range x.out[v] {
			r := &x.rays[b]
			l := top[v]
			if r.known {
				l = r.deep.exit(pipes, l)
			} else {
				l -= p.Slope * r.length
			}
			reach(r.to, l)
		}
	}
	return top
}

// charge is what ray a costs at least with the water of the set in it.
func (d *dual) charge(set uint32, a int32) float64 {
	r := &d.x.rays[a]
	if !d.deepOn || !r.known {
		return r.cost
	}
	if d.set != set {
		d.set = set
		for i := range d.now {
			d.now[i] = -1
		}
	}
	if d.now[a] < 0 {
		low := -1
		for i := range d.heads {
			if set&(1<<i) != 0 && (low < 0 || d.level[i][r.from] < d.level[low][r.from]) {
				low = i
			}
		}
		d.now[a] = r.cost + d.extraOf(a, low, d.class[set])
	}
	return d.now[a]
}

// extraOf is what ray a costs at least beyond its sum when the water comes in no
// higher than that of a head, in a pipe of a class.
func (d *dual) extraOf(a int32, head, class int) float64 {
	m := &d.memo[(int(a)*len(d.heads)+head)*len(d.pipes)+class]
	if math.IsNaN(*m) {
		r := &d.x.rays[a]
		l := d.level[head][r.from]
		if math.IsInf(l, -1) {
			*m = 0 // its water never comes there
		} else {
			*m = d.x.s.extra(r.deep, d.pipes[class], l)
		}
	}
	return *m
}

// alone is what ray a costs at least with the water of head i in it.
func (d *dual) alone(i int, a int32) float64 {
	r := &d.x.rays[a]
	if !d.deepOn || !r.known {
		return r.cost
	}
	c := i
	if len(d.heads) <= mostExact {
		c = 1 << i
	}
	return r.cost + d.extraOf(a, i, d.class[c])
}

// cleanouts is what the cleanouts of the way of one head to the target cost at
// least, one for each Every of it between one access and the next: of the head that
// needs most. Those on the way of every other head until it joins are counted in alone.
func (d *dual) cleanouts() float64 {
	x := d.x
	s := x.s
	p := s.depth
	d.far = -1
	if !(p.Every > 0) || !(p.Cleanout > 0) {
		return 0
	}
	n := len(d.heads)
	at := map[int]int{}
	for i := range d.heads {
		at[d.at[i]] = i
	}
	need := make([]float64, n)
	ways := make([][]float64, n)
	d.stretch = make([][]float64, n)
	count := func(l float64) float64 {
		return p.Cleanout * math.Max(0, math.Floor((l-s.ls)/float64(p.Every)))
	}
	for i, k := range d.heads {
		need[i] = math.Inf(1)
		ways[i] = x.lengths(d.at[i])
		d.stretch[i] = make([]float64, len(x.pts))
		own := 0.0
		for pts := s.heads[k].pts; len(pts) > 1; pts = pts[1:] {
			own += dist(pts[0], pts[1])
		}
		for v := range ways[i] {
			ways[i][v] += own
			if !math.IsInf(ways[i][v], 1) {
				d.stretch[i][v] = count(ways[i][v])
			}
		}
	}
	for changed := true; changed; {
		changed = false
		for i := range d.heads {
			best := math.Inf(1)
			for v, w := range ways[i] {
				switch j, ok := at[v]; {
				case math.IsInf(w, 1):
				case v == len(x.pts)-1:
					best = math.Min(best, count(w-x.end.reach))
				case x.onto[v].head >= 0:
					best = math.Min(best, count(w))
				case ok && j != i && s.heads[d.heads[j]].before() == nil:
					best = math.Min(best, count(w)+need[j])
				}
			}
			if best < need[i] {
				need[i], changed = best, true
			}
		}
	}
	most := 0.0
	for i, c := range need {
		if !math.IsInf(c, 1) && (d.far < 0 || c > most) {
			most, d.far = c, i
		}
	}
	return most
}

// lone is what the cleanouts cost at least of the way of a set of one head to a
// point where it joins another.
func (d *dual) lone(set uint32, point int) float64 {
	if d.stretch == nil || set&(set-1) != 0 {
		return 0
	}
	i := bits.TrailingZeros32(set)
	if i == d.far {
		return 0 // its whole way is counted
	}
	return d.stretch[i][point]
}

// beside is what the pipe of a set beside a kept line costs at least, from where
// the set lands. Sets that land apart share it, so that each bears its part.
func (d *dual) beside(set uint32, point int) float64 {
	o := &d.x.onto[point]
	line := d.x.s.heads[o.head].line
	if !d.deepOn || line >= len(d.x.s.depth.Beside) {
		return 0
	}
	n := len(d.heads)
	if d.x.trunk < 0 {
		n--
	}
	return d.x.s.depth.Beside[line] * o.togo * float64(bits.OnesCount32(set)) / float64(max(1, n))
}

// lengths are the shortest ways over the points from one of them.
func (x *exact) lengths(from int) []float64 {
	w := make([]float64, len(x.pts))
	for i := range w {
		w[i] = math.Inf(1)
	}
	w[from] = 0
	q := queue{{from, 0}}
	for len(q) > 0 {
		it := q.pop()
		if it.cost > w[it.spot] {
			continue
		}
		for _, b := range x.out[it.spot] {
			if r := &x.rays[b]; it.cost+r.length < w[r.to] {
				w[r.to] = it.cost + r.length
				q.push(item{r.to, w[r.to]})
			}
		}
	}
	return w
}

// prepare sets up what is left to charge and lets the balls grow.
func (d *dual) prepare() {
	x := d.x
	s := x.s
	nr, n := len(x.rays), len(d.heads)
	join := s.p.Prices.Join
	// a join is charged where the lateral turns, as a bend where that is less,
	// and the rest beside
	d.extra = join
	for b := range x.next {
		for _, st := range x.next[b] {
			if st.turn <= float32(s.join) && x.owner[x.rays[b].to] < 0 {
				d.extra = math.Min(d.extra, join-math.Min(st.cost, join))
			}
		}
	}
	// a source that others run into needs no join: the run into it is let off the
	// rest, so it must cost that much
	passes := func(b int) bool { return x.owner[x.rays[b].to] >= 0 && len(x.next[b]) > 0 }
	for b := range x.rays {
		if passes(b) {
			d.extra = math.Min(d.extra, x.rays[b].cost)
		}
	}
	d.first = make([]int32, nr+1)
	for b := range x.next {
		d.first[b+1] = d.first[b] + int32(len(x.next[b]))
	}
	d.turns = make([]float64, d.first[nr])
	d.lands = make([]float64, nr)
	for b := range x.next {
		own := x.owner[x.rays[b].to] >= 0
		for i, st := range x.next[b] {
			c := st.cost
			if !own && st.turn <= float32(s.join) {
				c = math.Min(c, join)
			}
			d.turns[int(d.first[b])+i] = c
		}
		d.lands[b] = join - d.extra
	}
	d.starts = make([][]float64, n)
	for i, k := range d.heads {
		d.starts[i] = make([]float64, len(x.out[d.at[i]]))
		for j, a := range x.out[d.at[i]] {
			if prev := s.heads[k].before(); prev != nil {
				c, ok := s.bendAt(*prev, x.pts[d.at[i]], x.pts[x.rays[a].to])
				if !ok {
					c = math.Inf(1)
				}
				d.starts[i][j] = c
			}
		}
	}
	d.uniform = !d.deepOn || n > mostCharged
	off := func(a int) float64 {
		if passes(a) {
			return d.extra
		}
		return 0
	}
	if d.uniform {
		d.slack = make([]float64, nr)
		for a := range d.slack {
			d.slack[a] = x.rays[a].cost - off(a)
			if d.deepOn {
				least := math.Inf(1)
				for i := range d.heads {
					least = math.Min(least, d.alone(i, int32(a)))
				}
				d.slack[a] = least - off(a)
			}
		}
	} else {
		d.cost, d.paid = make([][]float64, n), make([][]float64, n)
		for i := range d.heads {
			d.cost[i], d.paid[i] = make([]float64, nr), make([]float64, nr)
			for a := range d.cost[i] {
				d.cost[i][a] = d.alone(i, int32(a)) - off(a)
			}
		}
		d.order = make([]int16, nr*n)
		for a := range nr {
			o := d.order[a*n : a*n+n]
			for i := range o {
				o[i] = int16(i)
			}
			slices.SortStableFunc(o, func(i, j int16) int {
				switch p, q := d.cost[i][a], d.cost[j][a]; {
				case p < q:
					return -1
				case p > q:
					return 1
				}
				return 0
			})
		}
	}
	d.ascend()
}

// open is what head i may still charge ray a: what the sources that charge it
// cost together is no less than what they charge.
func (d *dual) open(i, a int) float64 {
	if d.uniform {
		return d.slack[a]
	}
	n := len(d.heads)
	best, sum := math.Inf(1), 0.0
	in := false
	o := d.order[a*n : a*n+n]
	for q, j := range o {
		sum += d.paid[j][a]
		in = in || int(j) == i
		if in && (q+1 == n || d.cost[o[q+1]][a] > d.cost[j][a]) {
			best = math.Min(best, d.cost[j][a]-sum)
		}
	}
	return math.Max(0, best)
}

// ascend lets each head's ball grow by a share of its way in turn.
func (d *dual) ascend() {
	nr, n := len(d.x.rays), len(d.heads)
	nodes := 2*nr + n + 1
	d.radius = make([]float64, n)
	d.left = make([][]float64, n)
	active := make([]bool, n)
	for i := range d.left {
		d.left[i] = make([]float64, nodes)
		active[i] = true
	}
	g := &growth{dist: make([]float64, nodes), settled: make([]bool, nodes)}
	for i := range g.dist {
		g.dist[i] = math.Inf(1)
	}
	far := 0.0
	for i := range d.heads {
		if r := g.grow(d, i, math.Inf(1), false); !math.IsInf(r, 1) {
			far = math.Max(far, r)
		}
	}
	step := far / ascentSteps
	if n > mostCharged {
		step = far / 4 // a block of lots: looser, and seconds instead of minutes
	}
	for round := 0; slices.Contains(active, true) && round < 1000; round++ {
		for i := range d.heads {
			if d.x.s.halted() {
				return
			}
			if !active[i] {
				continue
			}
			r := g.grow(d, i, step, true)
			if r < step || math.IsInf(r, 1) {
				active[i] = false
			}
		}
	}
	d.bound = d.fixed
	for _, r := range d.radius {
		d.bound += r
	}
	joins := n
	if d.x.trunk < 0 {
		joins--
	}
	d.bound += d.extra * float64(max(0, joins))
	if n <= mostExact {
		d.spread()
	}
}

// ascentSteps is in how many steps the farthest ball grows.
const ascentSteps = 12

// growth is memory for growing.
type growth struct {
	dist    []float64
	settled []bool
	touched []int32
	queue   queue
	after   []after
}

// grow lets the ball of head i grow by at most step, and returns by how much it
// has: less than step where it touches the target, +Inf where nothing leads there. With
// pay it charges what it grows over.
func (g *growth) grow(d *dual, i int, step float64, pay bool) float64 {
	x := d.x
	nr := len(x.rays)
	goal := int32(2*nr + len(d.heads))
	g.touched, g.queue = g.touched[:0], g.queue[:0]
	relax := func(v int32, c float64) {
		if c < g.dist[v] {
			if math.IsInf(g.dist[v], 1) {
				g.touched = append(g.touched, v)
			}
			g.dist[v] = c
			g.queue.push(item{int(v), c})
		}
	}
	relax(int32(2*nr+i), 0)
	for len(g.queue) > 0 {
		it := g.queue.pop()
		v := int32(it.spot)
		if g.settled[v] {
			continue
		}
		if it.cost >= step || v == goal {
			break
		}
		g.settled[v] = true
		g.after = d.after(i, v, g.after[:0])
		for k := range g.after {
			relax(g.after[k].node, it.cost+g.after[k].slack)
		}
	}
	r := math.Min(step, g.dist[goal])
	if math.IsInf(r, 1) && pay {
		r = 0
	}
	if pay {
		d.radius[i] += r
		for _, v := range g.touched {
			if !(g.dist[v] < r) {
				continue
			}
			d.left[i][v] += r - g.dist[v]
			if !g.settled[v] {
				continue
			}
			g.after = d.after(i, v, g.after[:0])
			for k := range g.after {
				if c := math.Min(g.dist[g.after[k].node], r) - g.dist[v]; c > 0 {
					g.after[k].charge(c)
				}
			}
		}
	}
	reached := g.dist[goal]
	for _, v := range g.touched {
		g.dist[v], g.settled[v] = math.Inf(1), false
	}
	if reached >= step && !math.IsInf(step, 1) {
		if math.IsInf(reached, 1) && len(g.queue) == 0 {
			return math.Inf(1)
		}
		return step
	}
	return reached
}

// after is a node that comes after another.
type after struct {
	node  int32
	slack float64  // what may still be charged on the way to it
	left  *float64 // from which a charge is taken; nil: see paid
	paid  *float64 // to which it is added; both nil: none is made
}

func (a *after) charge(c float64) {
	switch {
	case a.left != nil:
		*a.left = math.Max(0, *a.left-c)
	case a.paid != nil:
		*a.paid += c
	}
}

// after adds the nodes after v to a list, with what head i may still charge on the
// way to each.
func (d *dual) after(i int, v int32, l []after) []after {
	x := d.x
	nr := int32(len(x.rays))
	goal := 2*nr + int32(len(d.heads))
	switch {
	case v < nr:
		if d.uniform {
			return append(l, after{node: v + nr, slack: d.slack[v], left: &d.slack[v]})
		}
		return append(l, after{node: v + nr, slack: d.open(i, int(v)), paid: &d.paid[i][v]})
	case v < 2*nr:
		b := v - nr
		if x.rays[b].end {
			return append(l, after{node: goal})
		}
		if h, ok := x.lands(int(b)); ok {
			to := goal
			if h != x.trunk {
				j := slices.Index(d.heads, h)
				if j < 0 {
					return l
				}
				to = 2*nr + int32(j)
			}
			return append(l, after{node: to, slack: d.lands[b], left: &d.lands[b]})
		}
		for k := range x.next[b] {
			t := &d.turns[int(d.first[b])+k]
			l = append(l, after{node: x.next[b][k].ray, slack: *t, left: t})
		}
	case v < goal:
		j := int(v - 2*nr)
		if j != i && !x.s.heads[d.heads[j]].kept {
			return l
		}
		for k, a := range x.out[d.at[j]] {
			t := &d.starts[j][k]
			l = append(l, after{node: a, slack: *t, left: t})
		}
	}
	return l
}

// spread finds, for the exact search, how much nobody has charged between each node and the target.
func (d *dual) spread() {
	x := d.x
	nr := len(x.rays)
	goal := 2*nr + len(d.heads)
	d.spare = make([]float64, goal+1)
	for i := range d.spare {
		d.spare[i] = math.Inf(1)
	}
	type way struct {
		from, to int32
		cost     float64
	}
	ways := make([]way, 0, 3*nr+len(d.turns))
	var l []after
	back := func(i int, v int32) {
		l = d.after(i, v, l[:0])
		for _, a := range l {
			ways = append(ways, way{v, a.node, a.slack})
		}
	}
	for i := range d.heads {
		back(i, int32(2*nr+i))
	}
	for a := range nr {
		c := math.Inf(1)
		if d.uniform {
			c = d.slack[a]
		} else {
			for i := range d.heads {
				c = math.Min(c, d.open(i, a))
			}
		}
		ways = append(ways, way{int32(a), int32(a + nr), c})
		back(0, int32(a+nr))
	}
	// the ways into each node
	first := make([]int32, goal+2)
	for _, w := range ways {
		first[w.to+1]++
	}
	for v := range goal + 1 {
		first[v+1] += first[v]
	}
	in := make([]way, len(ways))
	next := slices.Clone(first)
	for _, w := range ways {
		in[next[w.to]] = w
		next[w.to]++
	}
	d.spare[goal] = 0
	q := queue{{goal, 0}}
	for len(q) > 0 {
		it := q.pop()
		if it.cost > d.spare[it.spot] {
			continue
		}
		for _, w := range in[first[it.spot]:first[it.spot+1]] {
			if c := it.cost + w.cost; c < d.spare[w.from] {
				d.spare[w.from] = c
				q.push(item{int(w.from), c})
			}
		}
	}
}

// rest is what is paid at least for the heads that are not in the set.
func (d *dual) rest(set uint32) float64 {
	c := 0.0
	out := 0
	for i, r := range d.radius {
		if set&(1<<i) == 0 {
			c += r
			out++
		}
	}
	if d.x.trunk >= 0 {
		out++
	}
	return c + d.extra*float64(out)
}

// onward is what is paid at least for the water of the set from the tail of ray
// a on.
func (d *dual) onward(set uint32, a int32) float64 {
	c := d.spare[a]
	for i := range d.left {
		if set&(1<<i) != 0 {
			c += d.left[i][a]
		}
	}
	return c
}
