package profile

// The solver: what is gathered once, which slopes are tried, flows and sizes in
// turn.

import (
	"fmt"
	"math"
	"slices"

	"fallwright/geo/unit"
	"fallwright/hydro/pipe"
)

// Solver keeps the memory of a search so that the next one need not ask for
// it. One goroutine at a time may use it.
type Solver struct {
	slab     slab
	labels   []label
	combs    []combination
	arrive   []combination
	merged   []combination
	h        []pt
	x        []float64
	lim      limits
	geo      []pieces
	pipes    []barrel
	order    []int // upstream first
	children []int
	span     [][2]int32
	allowed  []uint64
	floor    []float64 // slope asked of each reach by the rules
	cap      []float64 // slope that carries the flow, by reach and pipe
	fall     []float64 // least fall, by reach and pipe
	base     []float64 // price at invert 0, by reach and pipe
	better   []int     // pipe that is never worse, by reach and pipe, or -1
	flow     []float64
	before   []float64
	pipeOf   []int
	stripOf  []int
	upOf     []float64
	downOf   []float64
	slack    []float64 // fall left where a reach arrives, with the pipes at hand
	roots    []root
	rain     rainfall
	stuck    int
	deepest  float64 // lowest level given anywhere
	bottom   float64 // a level under which nothing is looked for
	common   float64 // the share of the slope
	hand     float64 // kept in hand for rounding, m
	met      bool    // the last search arrived with every rule kept

	shared bool // the fall was shared in the last round

	// levelsOnly leaves prices out: the search then tells only which levels can
	// be reached, with far fewer labels.
	levelsOnly bool

	noDominance bool // for tests
}

// NewSolver returns an empty solver.
func NewSolver() *Solver { return &Solver{} }

// barrel is a pipe of the stock in plain numbers.
type barrel struct {
	inside float64
	top    float64 // invert to outside top
	wall   float64
	full   float64 // full flow at slope 1, one pipe, m3/s
}

// root is a reach that ends at the outlet, with what was chosen for it.
type root struct {
	reach int
	label int32
	d     float64
	cost  float64
}

func size[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// steady bounds how far the flow that sized a pipe may exceed the flow that
// its final travel times bring: by a five-hundredth. It never falls short of it.
const steady = 2e-3

// Solve chooses inverts and sizes for p and writes them into out, whose memory
// it uses again. The error, if any, is one of the problem as put.
// Cost: for n reaches and k pipes about n·k labels, each a few comparisons,
// once for each slope tried and each round of flows.
func (s *Solver) Solve(p *Problem, out *Result) error {
	if err := p.check(); err != nil {
		return err
	}
	if err := s.gather(p); err != nil {
		return err
	}
	rounds := p.Rules.MostRounds
	if rounds <= 0 {
		rounds = 20
	}
	n := len(p.Reaches)
	out.Settled = false
	s.hand, s.shared, s.levelsOnly = 0, false, false
	if err := s.flows(p, false); err != nil {
		return err
	}
	for r := 1; ; r++ {
		out.Rounds = r
		s.capacities(p)
		if err := s.grade(p); err != nil {
			return err
		}
		copy(s.before, s.flow)
		if err := s.flows(p, true); err != nil {
			return err
		}
		// s.before sized the pipes, s.flow is what they then bring.
		same, held := true, true
		for i := range n {
			was, is := s.before[i], s.flow[i]
			if is > was*(1+1e-9) || is < was*(1-steady) {
				same = false
			}
			switch {
			case is <= was && (is >= was*(1-steady) || r > rounds/2):
				s.flow[i] = was // near enough, or swinging: the greater is safe
			case is != was:
				s.flow[i] = is * (1 + steady/2)
			}
			if s.flow[i] != was {
				held = false
			}
		}
		if same {
			out.Settled = true
			break
		}
		if held || r >= rounds {
			break
		}
	}
	copy(s.flow, s.before)
	if err := s.finish(p, out); err != nil {
		return err
	}
	out.Exact = s.met
	if !s.met {
		return nil
	}
	exact := out.ExactCost
	defer func() { out.ExactCost = exact }()
	// Rounding may have taken the last millimetres of a rule that binds: lay
	// again with so much in hand.
	for range 4 {
		lost := max(0, -float64(out.Margin))
		for _, b := range out.Breaches {
			if b.Laid {
				continue
			}
			switch b.Kind {
			case Depth, Utility, TieIn, StartLevel, Step:
				lost = max(lost, math.Abs(b.Measured-b.Required))
			}
		}
		if lost == 0 {
			return nil
		}
		s.hand += lost + 1e-6
		if err := s.grade(p); err != nil {
			return err
		}
		if err := s.finish(p, out); err != nil {
			return err
		}
	}
	return nil
}

// gather turns the problem into plain numbers, upstream first.
func (s *Solver) gather(p *Problem) error {
	n, np := len(p.Reaches), len(p.Stock)
	s.geo = size(s.geo, n)
	s.span = size(s.span, n)
	s.allowed = size(s.allowed, n)
	s.floor = size(s.floor, n)
	s.flow = size(s.flow, n)
	s.before = size(s.before, n)
	s.pipeOf = size(s.pipeOf, n)
	s.stripOf = size(s.stripOf, n)
	s.upOf = size(s.upOf, n)
	s.downOf = size(s.downOf, n)
	s.slack = size(s.slack, n)
	s.cap = size(s.cap, n*np)
	s.fall = size(s.fall, n*np)
	s.base = size(s.base, n*np)
	s.better = size(s.better, n*np)
	s.pipes = size(s.pipes, np)
	for k := range p.Stock {
		q := &p.Stock[k]
		d := float64(q.Inside)
		wall := float64(q.Outside-q.Inside) / 2
		s.pipes[k] = barrel{inside: d, wall: wall, top: d + wall, full: fullFlow(pipe.Pipe{Diameter: q.Inside, N: q.N})}
	}

	// Children by reach, then the order.
	s.children = size(s.children, n)
	for i := range s.geo {
		s.geo[i].down = p.Reaches[i].Down
		s.geo[i].firstChild, s.geo[i].lastChild = 0, 0
	}
	for i := range s.geo {
		if d := s.geo[i].down; d >= 0 {
			s.geo[d].lastChild++
		}
	}
	at := 0
	for i := range s.geo {
		c := s.geo[i].lastChild
		s.geo[i].firstChild, s.geo[i].lastChild = at, at
		at += c
	}
	for i := range s.geo {
		if d := s.geo[i].down; d >= 0 {
			s.children[s.geo[d].lastChild] = i
			s.geo[d].lastChild++
		}
	}
	s.order = s.order[:0]
	for i := range s.geo {
		if s.geo[i].down < 0 {
			s.order = append(s.order, i)
		}
	}
	for x := 0; x < len(s.order); x++ {
		g := &s.geo[s.order[x]]
		s.order = append(s.order, s.children[g.firstChild:g.lastChild]...)
	}
	if len(s.order) != n {
		for i := range s.geo {
			if !slices.Contains(s.order, i) {
				return fmt.Errorf("hydro/profile: reach %d does not reach the outlet: the reaches below it run in a ring", i)
			}
		}
	}
	slices.Reverse(s.order)

	s.deepest = float64(p.End.TieIn)
	for i := range p.Reaches {
		s.survey(p, i)
		for _, st := range p.Reaches[i].Ground {
			s.deepest = min(s.deepest, float64(st.Ground))
		}
		if v := p.Reaches[i].Start.Invert; v != nil {
			s.deepest = min(s.deepest, float64(*v))
		}
		if v := p.Reaches[i].Laid; v != nil {
			s.deepest = min(s.deepest, float64(v.Down))
		}
	}
	return nil
}

// survey fills the geometry of reach i.
func (s *Solver) survey(p *Problem, i int) {
	r := &p.Reaches[i]
	g := &s.geo[i]
	g.length = float64(r.Length)
	g.drop = float64(r.Drop)
	g.alpha = r.DepthPrice * g.length / 2
	g.fixed = r.Start.Invert != nil
	g.start, g.startTop = math.Inf(1), math.Inf(1)
	if r.Start.AtMost != nil {
		g.start = float64(*r.Start.AtMost)
	}
	if g.fixed {
		g.start = float64(*r.Start.Invert)
	}
	g.arrive = math.Inf(1)
	if r.ArriveAtMost != nil {
		g.arrive = float64(*r.ArriveAtMost)
	}
	g.laid = r.Laid != nil
	if g.laid {
		g.fixed, g.start, g.arrive = true, float64(r.Laid.Up), float64(r.Laid.Down)
	}
	if r.Start.Cover != nil {
		g.startTop = float64(r.Ground[0].Ground) - float64(*r.Start.Cover)
	}
	g.area = 0
	for j := 1; j < len(r.Ground); j++ {
		a, b := r.Ground[j-1], r.Ground[j]
		g.area += float64(b.At-a.At) * float64(a.Ground+b.Ground) / 2
	}
	bed := float64(p.Rules.Bedding)
	for k := range p.Stock {
		s.base[i*len(p.Stock)+k] = r.Fixed + r.TrenchPrice*g.length +
			float64(r.Count)*p.Stock[k].Price*g.length +
			r.DepthPrice*(g.area+(s.pipes[k].wall+bed)*g.length)
	}
	s.allowed[i] = 0
	if r.Pipes == nil {
		s.allowed[i] = 1<<len(p.Stock) - 1
		if len(p.Stock) == 64 {
			s.allowed[i] = math.MaxUint64
		}
	}
	for _, k := range r.Pipes {
		s.allowed[i] |= 1 << k
	}
	ways := 1
	for _, c := range r.Crossings {
		if c.Pass == Either {
			ways *= 2
		}
	}
	g.strips = size(g.strips, ways)
	for w := range ways {
		s.strip(p, i, &g.strips[w], w)
	}
}

// strip builds the hulls of reach i for one way of passing its crossings: bit
// b of way says that crossing number b of kind Either is passed under.
func (s *Solver) strip(p *Problem, i int, st *strip, way int) {
	r := &p.Reaches[i]
	cover, depth := float64(p.Rules.LeastCover), float64(p.Rules.GreatestDepth)-float64(p.Rules.Bedding)
	n := len(r.Ground)
	st.c0, st.c1 = float64(r.Ground[0].Ground)-cover, float64(r.Ground[n-1].Ground)-cover
	st.b0, st.b1 = float64(r.Ground[0].Ground)-depth, float64(r.Ground[n-1].Ground)-depth
	st.under, st.over = st.under[:0], st.over[:0]
	for _, q := range r.Ground[1 : n-1] {
		t := float64(q.At / r.Length)
		if t < 1e-9 || t > 1-1e-9 {
			continue
		}
		st.under = append(st.under, corner{t, float64(q.Ground) - cover})
		st.over = append(st.over, corner{t, float64(q.Ground) - depth})
	}
	bit := 0
	for _, c := range r.Crossings {
		t := float64(c.At / r.Length)
		over, under := c.Pass == Over, c.Pass == Under
		low, high := float64(c.Low), float64(c.High)
		switch c.Pass {
		case Either:
			under = way>>bit&1 == 1
			over = !under
			bit++
		case Within:
			over, under = true, true
			low, high = high, low
		}
		if under {
			switch {
			case t < 1e-9:
				st.c0 = min(st.c0, low)
			case t > 1-1e-9:
				st.c1 = min(st.c1, low)
			default:
				st.under = insert(st.under, corner{t, low})
			}
		}
		if over {
			switch {
			case t < 1e-9:
				st.b0 = max(st.b0, high)
			case t > 1-1e-9:
				st.b1 = max(st.b1, high)
			default:
				st.over = insert(st.over, corner{t, high})
			}
		}
	}
	fixed := r.Start.Invert != nil
	st.under = hull(st.under, 1, st.c0, st.c1, fixed)
	st.over = hull(st.over, -1, st.b0, st.b1, fixed)
}

func insert(c []corner, x corner) []corner {
	n := len(c)
	for n > 0 && c[n-1].t > x.t {
		n--
	}
	return slices.Insert(c, n, x)
}

// hull keeps, in place, the corners of the lower (side 1) or upper (side -1)
// hull of the points, and of them those that lie beyond the chord from z0 to
// z1, unless all is asked for.
func hull(c []corner, side, z0, z1 float64, all bool) []corner {
	n := 0
	for _, q := range c {
		if !all && side*(q.z-(z0+(z1-z0)*q.t)) >= 0 {
			continue
		}
		for n > 0 && c[n-1].t >= q.t-1e-12 { // the same place: the tighter
			if side*(c[n-1].z-q.z) <= 0 {
				q = c[n-1]
			}
			n--
		}
		for n > 1 && side*((c[n-1].z-c[n-2].z)*(q.t-c[n-2].t)-(q.z-c[n-2].z)*(c[n-1].t-c[n-2].t)) >= 0 {
			n--
		}
		c[n] = q
		n++
	}
	return c[:n]
}

// capacities sets the slope that carries the flow, by reach and pipe.
func (s *Solver) capacities(p *Problem) {
	np := len(s.pipes)
	for i := range p.Reaches {
		q := s.flow[i] / float64(p.Reaches[i].Count)
		for k := range s.pipes {
			v := q / s.pipes[k].full
			s.cap[i*np+k] = v * v
		}
	}
}

// falls sets the least fall by reach and pipe from s.floor, the sizes' own
// least slopes and the flows, and the level under which nothing is looked for.
func (s *Solver) falls(p *Problem) {
	np := len(s.pipes)
	room := 60.0
	for i := range p.Reaches {
		var widest float64
		for k := range s.pipes {
			v := max(s.floor[i], float64(p.Stock[k].LeastSlope), s.cap[i*np+k]) * s.geo[i].length
			if s.geo[i].laid {
				v = s.geo[i].start - s.geo[i].arrive
			}
			s.fall[i*np+k] = v
			if s.allowed[i]&(1<<k) != 0 {
				widest = v
			}
		}
		room += widest
	}
	s.bottom = s.deepest - room
	for i := range p.Reaches {
		for k := range s.pipes {
			s.better[i*np+k] = s.betterPipe(p, i, k)
		}
	}
}

// betterPipe is the widest pipe that is no wider than k and in reach i never
// the worse choice, whatever lies above or below: no dearer, no thicker of
// wall, and it asks no more fall. Laid at the same crown (or invert, by the
// match) it then keeps every rule that k keeps and digs no deeper. -1: none.
func (s *Solver) betterPipe(p *Problem, i, k int) int {
	if s.noDominance {
		return -1
	}
	if p.Rules.Match == Crowns {
		// At the same crown its invert is higher: no good where inverts are
		// held from above. (A rim holds tops: those are no higher.)
		r := &p.Reaches[i]
		if r.Start.Invert != nil || r.Start.AtMost != nil || r.ArriveAtMost != nil || r.Down == Outlet && p.End.AtMost != nil {
			return -1
		}
	}
	np := len(s.pipes)
	for b := k - 1; b >= 0; b-- {
		if s.allowed[i]&(1<<b) != 0 && s.fall[i*np+b] <= s.fall[i*np+k] &&
			p.Stock[b].Price <= p.Stock[k].Price && s.pipes[b].wall <= s.pipes[k].wall+1e-12 {
			return b
		}
	}
	return -1
}

// try searches under s.floor. With complete every reach has a way to be laid;
// margin is then how far the highest possible arrival lies above the tie-in at
// the lowest root, and s.roots holds the choice: with ok the cheapest, else the
// one nearest to arriving.
func (s *Solver) try(p *Problem, how relax) (margin float64, complete, ok bool) {
	s.falls(p)
	if !s.search(p, how) {
		return math.Inf(-1), false, false
	}
	tie, most, rim := float64(p.End.TieIn)+s.hand, math.Inf(1), math.Inf(1)
	if p.End.AtMost != nil && how < anyStart {
		most = float64(*p.End.AtMost)
	}
	if p.End.Rim != nil && how < anyStart {
		rim = float64(*p.End.Rim)
	}
	s.roots = s.roots[:0]
	margin, ok = math.Inf(1), true
	s.met = false
	for _, i := range s.order {
		if s.geo[i].down >= 0 {
			continue
		}
		r := s.arriveAt(i, tie, most, rim)
		margin = min(margin, s.highest(i).d-tie)
		if r.label < 0 {
			ok = false
			r = s.highest(i)
			if r.d >= tie { // every way arrives too high
				r = s.lowestArrival(i, tie)
			}
		}
		s.roots = append(s.roots, r)
	}
	s.met = ok && how == strict
	return margin, true, ok
}

// arriveAt is the cheapest way for root i to arrive in [tie, most] with its pipe
// under rim; label -1 where there is none.
func (s *Solver) arriveAt(i int, tie, most, rim float64) root {
	best := root{reach: i, label: -1, cost: math.Inf(1)}
	for l := s.span[i][0]; l < s.span[i][1]; l++ {
		f := s.slab.pts(s.labels[l].f)
		lo, hi := max(f[0].x, tie), min(f[len(f)-1].x, most, rim-s.pipes[s.labels[l].pipe].top)
		if lo > hi+tight {
			continue
		}
		d := max(min(max(f[lowest(f)].x, lo), hi), f[0].x)
		if c := at(f, d); c < best.cost {
			best = root{i, l, d, c}
		}
	}
	return best
}

// highest is the highest way for root i to arrive; of equals the cheapest.
func (s *Solver) highest(i int) root {
	best := root{reach: i, label: -1, d: math.Inf(-1)}
	for l := s.span[i][0]; l < s.span[i][1]; l++ {
		f := s.slab.pts(s.labels[l].f)
		e := f[len(f)-1]
		if e.x > best.d+tight || e.x > best.d-tight && e.y < best.cost {
			best = root{i, l, e.x, e.y}
		}
	}
	return best
}

// lowestArrival is the lowest way for root i to arrive at the tie-in or above it,
// where there is one.
func (s *Solver) lowestArrival(i int, tie float64) root {
	best := root{reach: i, label: -1, d: math.Inf(1)}
	for l := s.span[i][0]; l < s.span[i][1]; l++ {
		f := s.slab.pts(s.labels[l].f)
		if d := max(f[0].x, tie); d < best.d && f[len(f)-1].x >= tie {
			best = root{i, l, d, at(f, d)}
		}
	}
	return best
}

// settle writes the chosen labels into the reaches.
func (s *Solver) settle(p *Problem, how relax) {
	for _, r := range s.roots {
		s.unwind(p, r.reach, r.label, r.d, how)
	}
}

// ask sets the slope asked of every reach.
func (s *Solver) ask(slope float64) {
	for i := range s.floor {
		s.floor[i] = slope
	}
}

// grade finds the slopes: the target, a share of the fall, or the least; then
// the least without the rules that cannot be kept. The profile is in s.pipeOf,
// s.upOf and s.downOf.
func (s *Solver) grade(p *Problem) error {
	target, least := float64(p.Rules.TargetSlope), float64(p.Rules.LeastSlope)
	s.ask(target)
	s.common = target
	// Where the fall was shared in the last round it most likely is again:
	// levels alone tell.
	s.levelsOnly = s.shared
	above, complete, ok := s.try(p, strict)
	if ok && s.levelsOnly {
		s.levelsOnly = false
		above, complete, ok = s.try(p, strict)
	}
	s.shared, s.levelsOnly = false, false
	if ok {
		s.settle(p, strict)
		return nil
	}
	if target > least {
		s.ask(least)
		s.common = least
		s.levelsOnly = true
		hand := s.hand
		s.hand = max(hand, grid+1e-6) // rounding takes up to a millimetre
		below, _, ok := s.try(p, strict)
		if ok {
			s.shared = true
			s.share(p, below, above)
			return nil
		}
		s.hand, s.levelsOnly = hand, false
		_, complete, ok = s.try(p, strict)
		if ok {
			s.settle(p, strict)
			return nil
		}
	}
	how := strict
	for !complete && how < anyStart {
		how++
		_, complete, _ = s.try(p, how)
	}
	if !complete {
		return fmt.Errorf("hydro/profile: reach %d may use no pipe as wide as those that run into it", s.stuck)
	}
	s.settle(p, how)
	return nil
}

// share finds the greatest common slope that still arrives, and gives a branch
// that has fall left where it joins as much more as it can take, up to the
// target. below and above are the margins at the least slope and at the target;
// the slope asked at the moment is the least.
func (s *Solver) share(p *Problem, below, above float64) {
	target, lo := float64(p.Rules.TargetSlope), float64(p.Rules.LeastSlope)
	hi, ml, mh := target, below, above
	s.levelsOnly = true
	for range 30 {
		if hi-lo < 1e-6 || ml >= 0 && ml < 1e-5 {
			break
		}
		// The margin falls almost straight with the slope; keep off the ends so
		// that both close in.
		v := (lo + hi) / 2
		if mh < 0 && !math.IsInf(mh, -1) {
			v = lo + (hi-lo)*ml/(ml-mh)
			v = min(max(v, lo+(hi-lo)*0.001), hi-(hi-lo)*0.001)
		}
		s.ask(v)
		m, _, ok := s.try(p, strict)
		if ok {
			lo, ml = v, m
		} else {
			hi, mh = v, m
		}
	}
	s.levelsOnly = false
	s.common = lo
	s.ask(lo)
	s.try(p, strict)
	s.settle(p, strict)
	if !s.spread(lo, target) {
		return
	}
	if _, _, ok := s.try(p, strict); !ok {
		s.ask(lo)
		s.try(p, strict)
	}
	s.settle(p, strict)
}

// spread raises the slope asked of branches from the common one by the fall
// left at their junctions, evenly along the longest way above it, and reports
// whether any was raised. What a branch is given never lowers the junction.
func (s *Solver) spread(common, target float64) bool {
	any := false
	for _, i := range s.order { // longest way above the lower end
		g := &s.geo[i]
		g.reachUp = 0
		for _, c := range s.children[g.firstChild:g.lastChild] {
			g.reachUp = max(g.reachUp, s.geo[c].reachUp)
		}
		g.reachUp += g.length
	}
	for x := len(s.order) - 1; x >= 0; x-- { // downstream first
		i := s.order[x]
		g := &s.geo[i]
		v := common
		if g.down >= 0 {
			v = max(s.floor[g.down], common+s.slack[i]/g.reachUp)
		}
		v = min(v, target)
		if v > common+1e-6 {
			any = true
		} else {
			v = common
		}
		s.floor[i] = v
	}
	return any
}

// Spare returns how far above the tie-in the lowest root could arrive at most
// with every reach at its least slope: the fall to spare, negative where it is
// short. It is what a sensitivity to levels is measured against. Infinite
// where some reach cannot be laid at all under the rules; then why is the
// verdict of Solve.
func (s *Solver) Spare(p *Problem) (unit.Length, error) {
	q := *p
	q.Rules.TargetSlope = q.Rules.LeastSlope
	var out Result
	if err := s.Solve(&q, &out); err != nil {
		return 0, err
	}
	s.hand = 0
	s.ask(float64(q.Rules.LeastSlope))
	s.levelsOnly = true
	above, _, _ := s.try(&q, strict)
	s.levelsOnly = false
	return unit.Length(above), nil
}
