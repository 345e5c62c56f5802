package route

// Solve: from the problem to the answer.

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// faults of the problem that make every answer wrong. good, not nil, is a zone
// known to be valid.
func faults(p *Problem, good orb.MultiPolygon) error {
	if len(p.Zone) > 0 && (good == nil || !sameArea(p.Zone, good)) {
		if fs := shape.Check(p.Zone); len(fs) > 0 {
			return fs[0]
		}
	}
	finite := func(l ...orb.Point) bool {
		for _, q := range l {
			if math.IsNaN(q[0]) || math.IsInf(q[0], 0) || math.IsNaN(q[1]) || math.IsInf(q[1], 0) {
				return false
			}
		}
		return true
	}
	for i, a := range p.Sources {
		if !finite(a.At) {
			return &Fault{fmt.Sprintf("source %q has a coordinate that is not finite", a.ID), orb.Point{}}
		}
		for _, b := range p.Sources[:i] {
			if dist(a.At, b.At) < 1e-3 {
				return &Fault{fmt.Sprintf("sources %q and %q are at one place", b.ID, a.ID), a.At}
			}
		}
	}
	for _, a := range p.Targets {
		if !finite(a.At) {
			return &Fault{fmt.Sprintf("target %q has a coordinate that is not finite", a.ID), orb.Point{}}
		}
	}
	for _, b := range p.Buried {
		if !(b.Aslant >= 0) || !(b.LeastAngle >= 0 && b.LeastAngle <= 90*Degree) {
			return &Fault{fmt.Sprintf("buried line %q: least angle %.3f degrees (0 to 90), price of a crossing aslant %.3f (0 or more)", b.Name, b.LeastAngle.Degrees(), b.Aslant), orb.Point{}}
		}
		if !finite(b.Line...) {
			return &Fault{fmt.Sprintf("buried line %q has a coordinate that is not finite", b.Name), orb.Point{}}
		}
	}
	for _, g := range p.Regions {
		if !(g.PerMetre >= 0 && g.Each >= 0) || math.IsInf(g.PerMetre+g.Each, 1) {
			return &Fault{fmt.Sprintf("region %q: price of a metre %.3f and of an entry %.3f (0 or more, finite)", g.Name, g.PerMetre, g.Each), orb.Point{}}
		}
		for _, poly := range g.Shape {
			for _, ring := range poly {
				if !finite(ring...) {
					return &Fault{fmt.Sprintf("region %q has a coordinate that is not finite", g.Name), orb.Point{}}
				}
			}
		}
	}
	for i, line := range p.Kept {
		if !finite(line...) {
			return &Fault{fmt.Sprintf("kept line %d has a coordinate that is not finite", i+1), orb.Point{}}
		}
	}
	r := p.Rules
	if !(r.JoinAngle > 0 && r.JoinAngle <= 90*Degree) || !(r.BendAngle > 0 && r.BendAngle <= 180*Degree) || !(r.LeastStraight > 0) {
		return &Fault{fmt.Sprintf("rules: join angle %.3f degrees (over 0 to 90), bend angle %.3f degrees (over 0 to 180), least straight %.3f m (over 0)",
			r.JoinAngle.Degrees(), r.BendAngle.Degrees(), r.LeastStraight), orb.Point{}}
	}
	if !(p.Prices.Metre > 0) || p.Prices.Bend < 0 || p.Prices.Join < 0 || p.Prices.TieIn < 0 || p.Prices.Askew < 0 {
		return &Fault{"prices: a metre must cost something and nothing may cost less than 0", orb.Point{}}
	}
	return nil
}

// newSite moves the problem to its own origin and finds how each source gets
// into the zone.
func newSite(p *Problem) *site {
	s := &site{p: p, metre: p.Prices.Metre, ls: float64(p.Rules.LeastStraight),
		join: float64(p.Rules.JoinAngle) + angleEps, bend: float64(p.Rules.BendAngle) + angleEps}
	s.cosJoin, s.cosBend = math.Cos(s.join), math.Cos(s.bend)
	s.sinLand, s.cosLand = math.Sincos(s.join - angleEps)
	if len(p.Zone) > 0 {
		b := p.Zone.Bound()
		s.origin = orb.Point{math.Floor(b.Min[0]), math.Floor(b.Min[1])}
	}
	s.zone = newField(p.Zone, s.origin)
	for _, r := range p.Regions {
		s.regions = append(s.regions, newField(r.Shape, s.origin))
	}
	s.bury()
	for i := range p.Sources {
		s.heads = append(s.heads, s.newHead(i))
	}
	for i := range p.Kept {
		s.keepLine(i)
	}
	if len(s.zone.edges) > 0 {
		s.addCells()
	}
	for i := range s.heads {
		h := &s.heads[i]
		for j := 0; j+1 < len(h.pts) && len(s.zone.edges) > 0; j++ {
			h.cost += s.price(h.pts[j], h.pts[j+1])
			if j > 0 {
				c, _ := s.bendAt(h.pts[j-1], h.pts[j], h.pts[j+1])
				h.cost += c
			}
		}
	}
	return s
}

// ground is an area where some run may lie besides the zone.
type ground struct {
	area  orb.MultiPolygon
	field *field
}

// groundOf is the field of an area; the sources of a lot share one.
func (s *site) groundOf(area orb.MultiPolygon) *field {
	for _, g := range s.grounds {
		if len(area) == len(g.area) && (len(area) == 0 || &area[0] == &g.area[0]) {
			return g.field
		}
	}
	f := newField(area, s.origin)
	s.grounds = append(s.grounds, ground{area, f})
	return f
}

// keepLine makes a head of a line that somebody has drawn: of the source at its
// start where there is one.
func (s *site) keepLine(i int) {
	const same = 1e-3 // a drawn end this near to a thing is meant for it
	h := head{source: -1, kept: true, line: i, target: -1}
	for _, p := range s.p.Kept[i] {
		if p = sub(p, s.origin); len(h.pts) == 0 || dist(p, h.pts[len(h.pts)-1]) > eps {
			h.pts = append(h.pts, p)
		}
	}
	if len(h.pts) < 2 {
		return
	}
	last := &h.pts[len(h.pts)-1]
	for i := range s.p.Targets {
		if at := sub(s.p.Targets[i].At, s.origin); dist(at, *last) <= same {
			h.target, *last = i, at
		}
	}
	h.near, h.off = *last, 0
	if len(s.zone.edges) > 0 {
		h.near, h.off = s.zone.nearest(*last)
	}
	if h.target < 0 && (h.off > 0 || len(s.zone.edges) == 0) {
		h.why = fmt.Sprintf("the line kept from it ends %.3f m outside the zone, at no target", h.off)
	}
	for i := range s.p.Sources {
		if o := &s.heads[i]; dist(o.pts[0], h.pts[0]) <= same && !o.kept {
			h.source, h.pts[0] = i, o.pts[0]
			*o = h
			return
		}
	}
	s.heads = append(s.heads, h)
}

func (s *site) newHead(i int) head {
	src := &s.p.Sources[i]
	at := sub(src.At, s.origin)
	h := head{pts: []orb.Point{at}, source: i, target: -1}
	if src.From != nil {
		f := sub(*src.From, s.origin)
		h.from = &f
	}
	if len(s.zone.edges) == 0 {
		h.why = "the zone is empty"
		h.near = at
		return h
	}
	h.near, h.off = s.zone.nearest(at)
	switch {
	case h.off == 0:
	case !src.LeadOff:
		h.why = fmt.Sprintf("it stands %.3f m outside the zone and is no downspout", h.off)
	default:
		h.pts = append(h.pts, h.near)
		if len(src.LeadOffWithin) > 0 && !s.groundOf(src.LeadOffWithin).clear(at, h.near) {
			h.why = fmt.Sprintf("its shortest way into the zone, %.3f m, leaves the ground where a lead-off may lie", h.off)
		}
	}
	return h
}

// tries says how much is tried.
type tries struct {
	starts   int // trunks built
	improved int // of them improved, the cheapest first
	rounds   int // of improvement
	subtree  int // sources taken out together at most
	again    int // branch at which replanting goes on after a gain, at most
	last     *Result
	steps    []float64 // by which corners move, in metres
}

var usual = tries{starts: 2, improved: 1, rounds: 2, subtree: 2, again: 100, steps: []float64{1, 0.25, 0.08}}

// prepare builds the graph and the ways of all sources.
func (s *site) prepare() {
	if s.p.Prices.Askew > 0 {
		s.findGrain()
		s.askew = s.p.Prices.Askew
	}
	if last := s.tries.last; last == nil || !s.reuse(last.site) {
		s.addBase()
		s.base = len(s.graph.spots)
	}
	for i := range s.heads {
		h := &s.heads[i]
		if h.why == "" && h.target < 0 {
			h.spot = s.addSpot(spot{at: h.pts[len(h.pts)-1], source: i})
		}
	}
	s.addCrossings()
	s.link(s.base)
}

// addBase puts the places into the graph that do not depend on sources.
func (s *site) addBase() {
	s.addCorners()
	for i, r := range s.regions {
		if s.p.Regions[i].PerMetre == 0 && s.p.Regions[i].Each == 0 {
			continue
		}
		for _, c := range r.outline().corners {
			if !c.reflex() && s.zone.holds(c.at) {
				s.addSpot(spot{at: c.at, source: -1})
			}
		}
	}
}

// halted tells whether the caller wants no answer any more. What is under way then
// comes to an end with what it has, and solve returns the error.
func (s *site) halted() bool {
	const every = 64 // some tens of microseconds of work
	if s.asked++; s.halt == nil && s.p.Stop != nil && s.asked%every == 0 {
		s.halt = s.p.Stop()
	}
	return s.halt != nil
}

// Solve returns the cheapest tree it finds for the target that Problem.Choice
// prefers, and what became of every other target and source. A problem that
// can't be solved is a Result that says why; an error (*Fault or
// *shape.InvalidError) is a problem that is not one, or what Problem.Stop returned.
func Solve(p *Problem) (*Result, error) {
	if err := faults(p, nil); err != nil {
		return nil, err
	}
	return solve(p, usual)
}

func solve(p *Problem, how tries) (*Result, error) {
	s := newSite(p)
	s.tries = how
	s.prepare()
	r := &Result{}
	var all []int
	for k := range s.heads {
		if s.heads[k].why == "" {
			all = append(all, k)
		} else {
			r.Unreached = append(r.Unreached, s.unreached(k, CauseUnfit, s.heads[k].why))
		}
	}
	if len(p.Targets) == 0 {
		for _, k := range all {
			r.Unreached = append(r.Unreached, s.unreached(k, CauseNoTarget, "there is no target"))
		}
		return r, nil
	}
	lefts := make([][]int, len(p.Targets))
	plans := make([]*plan, len(p.Targets))
	for t := range p.Targets {
		var a Alternative
		if a, plans[t], lefts[t] = s.toward(t, all); s.halt != nil {
			return nil, s.halt
		}
		r.Alternatives = append(r.Alternatives, a)
	}
	rank := make([]int, len(p.Targets))
	for i := range rank {
		rank[i] = i
	}
	sort.SliceStable(rank, func(x, y int) bool {
		a, b := &r.Alternatives[rank[x]], &r.Alternatives[rank[y]]
		if (a.Tree != nil) != (b.Tree != nil) {
			return a.Tree != nil
		}
		if a.Tree == nil {
			return false
		}
		if (a.Reason == "") != (b.Reason == "") {
			return a.Reason == ""
		}
		if l, m := len(lefts[rank[x]]), len(lefts[rank[y]]); l != m {
			return l < m
		}
		if p.Choice == Nearest {
			return a.Way < b.Way-1e-6
		}
		return a.Tree.Cost < b.Tree.Cost-1e-6
	})
	ordered := make([]Alternative, len(rank))
	for i, k := range rank {
		ordered[i] = r.Alternatives[k]
	}
	r.Alternatives = ordered
	r.site = s
	first := &r.Alternatives[0]
	left := all
	if first.Tree != nil && first.Reason == "" {
		r.Best = first.Tree
		r.plan = plans[rank[0]]
		left = lefts[rank[0]]
		for i := 1; i < len(ordered); i++ {
			a := &ordered[i]
			switch {
			case a.Reason != "":
			case len(lefts[rank[i]]) > len(left):
				a.Reason = fmt.Sprintf("it leaves %d sources unjoined", len(lefts[rank[i]]))
			case p.Choice == Nearest:
				a.Reason = fmt.Sprintf("farther: %.3f m along the route against %.3f m", a.Way, first.Way)
			default:
				a.Reason = fmt.Sprintf("dearer: %.3f against %.3f", a.Tree.Cost, first.Tree.Cost)
			}
		}
	}
	for _, k := range left {
		cause, why := CauseShutOut, "no way that keeps the rules leads from it to the tree"
		if r.Best == nil {
			cause, why = CauseNoTarget, "no target can be reached from it: "+first.Reason
		} else if b := &r.plan.branch[0]; s.zone.part(s.heads[k].pts[len(s.heads[k].pts)-1]) != s.zone.part(b.pts[b.head-1]) {
			cause, why = CausePiece, "it stands in another piece of the zone than the tree"
		}
		r.Unreached = append(r.Unreached, s.unreached(k, cause, why))
	}
	if r.Best != nil && p.Prove {
		if r.Bound = s.bound(r); s.halt != nil {
			return nil, s.halt
		}
	}
	if r.Best != nil && p.PriceKept && len(p.Kept) > 0 {
		free := *p
		free.Kept, free.Prove, free.PriceKept = nil, false, false
		f, err := solve(&free, how)
		if err != nil {
			return nil, err
		}
		r.Free = f.Best
	}
	slices.SortStableFunc(r.Unreached, func(a, b Unreached) int { return a.Source - b.Source })
	s.memo, s.settled, s.scratch = nil, nil, scratch{} // a Result may be held for long
	return r, nil
}

func (s *site) unreached(k int, cause Cause, why string) Unreached {
	return Unreached{Source: s.heads[k].source, Cause: cause, Reason: why, Nearest: add(s.heads[k].near, s.origin), Off: unit.Length(s.heads[k].off)}
}

// toward returns the best tree to target t for the heads given, and those of
// them that it does not join.
func (s *site) toward(t int, all []int) (Alternative, *plan, []int) {
	a := Alternative{Target: t}
	e := s.endOf(t)
	if e.why != "" {
		a.Reason = e.why
		return a, nil, all
	}
	var warm *plan
	var todo []int
	if s.tries.last != nil {
		warm, todo = s.resume(s.tries.last, e, all)
	}
	var starts []*branch
	var why string
	starts, why = s.trunks(e, all, s.tries.starts)
	if why != "" {
		a.Reason = why
		return a, nil, all
	}
	type found struct {
		p    *plan
		left []int
	}
	var plans []found
	var resumed found
	build := func(b *branch) {
		most := math.Inf(1)
		if len(plans) > 0 && len(plans[0].left) == 0 && s.tries.improved == 1 {
			most = plans[0].p.cost // nobody asks for a dearer one
		}
		p, left := s.build(e, b, without(all, b.src), most)
		plans = append(plans, found{p, left})
	}
	if warm != nil {
		l := s.fill(warm, todo, math.Inf(1))
		warm.sum()
		resumed = found{warm, l}
		plans = append(plans, found{s.improve(warm, s.tries.rounds), l})
	}
	for i, b := range starts {
		if i < s.tries.starts {
			build(b)
		}
	}
	byCost := func() {
		sort.SliceStable(plans, func(i, j int) bool {
			if l, m := len(plans[i].left), len(plans[j].left); l != m {
				return l < m
			}
			return plans[i].p.cost < plans[j].p.cost-1e-9
		})
	}
	byCost()
	if len(plans[0].left) > 0 {
		starts, _ = s.trunks(e, all, len(all))
	}
	for i := s.tries.starts; i < len(starts) && len(plans[0].left) > 0; i++ {
		build(starts[i]) // another trunk may leave room for those shut out
		byCost()
	}
	if s.halt != nil {
		return a, nil, all
	}
	fewest := len(plans[0].left)
	var best *plan
	var left []int
	calls := s.p.Effort
	if calls <= 0 {
		calls = 24
	}
	// consider prices a plan and keeps it if it is the best so far
	consider := func(f found) bool {
		if s.halt != nil {
			return false
		}
		tr := s.tree(f.p)
		if bad := s.check(tr); len(bad) > 0 {
			if a.Tree == nil {
				a.Reason = "the tree found breaks a rule: " + bad[0]
			}
			return false
		}
		ok, why := true, ""
		if s.p.Price != nil {
			calls--
			tr.Cost, ok, why = s.p.Price(tr)
			if !ok && why == "" {
				why = "it can't be built at any price"
			}
		}
		if a.Tree != nil && (a.Reason == "" && !ok || ok == (a.Reason == "") && tr.Cost >= a.Tree.Cost-1e-9) {
			return false
		}
		a.Tree, a.Reason, best, left = tr, why, f.p, f.left
		return true
	}
	if s.p.Price != nil && warm != nil && len(resumed.left) <= fewest {
		// what the search would improve may be so for the sake of depth
		consider(resumed)
	}
	for i, f := range plans {
		if i >= s.tries.improved || len(f.left) > fewest || calls <= 0 {
			break
		}
		f.p = s.improve(f.p, s.tries.rounds)
		if s.keep != nil {
			s.keep(f.p)
		}
		consider(f)
	}
	if s.p.Price != nil && (warm == nil || s.tries.starts > 1) {
		// what depth costs is not known to the search: try trees that spare the
		// length of the ways, for length is fall
		for _, w := range []float64{0.3, 1.5} {
			if calls <= 0 {
				break
			}
			s.haste = w
			p, l := s.build(e, starts[0], without(all, starts[0].src), math.Inf(1))
			s.haste = 0
			if len(l) > fewest {
				continue
			}
			if consider(found{p, l}) {
				consider(found{s.polish(p), l})
			}
		}
		if best != nil {
			s.haggle(best, &calls, func(p *plan) bool { return consider(found{p, left}) })
		}
	}
	if s.askew > 0 && best != nil && calls > 0 {
		consider(found{s.shaken(best), left})
	}
	if a.Tree == nil {
		return a, nil, all
	}
	a.Way = a.Tree.Way()
	return a, best, left
}

func without(all []int, k int) []int {
	var rest []int
	for _, i := range all {
		if i != k {
			rest = append(rest, i)
		}
	}
	return rest
}

// trunks returns the ways to the target that a tree may begin with, cheapest
// first: the kept line that ends there, or the cheapest ways of sources, the
// most cheapest at least (others are found only where they are cheaper than some
// before them).
func (s *site) trunks(e *end, all []int, most int) ([]*branch, string) {
	var kept *branch
	for _, k := range all {
		h := &s.heads[k]
		switch {
		case h.target < 0:
		case h.target != e.target:
			return nil, fmt.Sprintf("a kept line ends at target %q", s.p.Targets[h.target].ID)
		case kept != nil:
			return nil, "two kept lines end at it"
		default:
			kept = s.keptTrunk(k)
		}
	}
	if kept != nil {
		return []*branch{kept}, ""
	}
	type start struct {
		k     int
		least float64
	}
	var order []start
	for _, k := range all {
		h := &s.heads[k]
		order = append(order, start{k, h.cost + s.metre*dist(h.pts[len(h.pts)-1], e.at)})
	}
	sort.SliceStable(order, func(i, j int) bool { return order[i].least < order[j].least-1e-9 })
	var good []*branch
	for _, o := range order {
		if len(good) >= most && o.least+s.p.Prices.TieIn > good[most-1].cost {
			break
		}
		limit := math.Inf(1)
		if len(good) >= most {
			limit = good[most-1].cost
		}
		if b := s.trunk(o.k, e, limit); b != nil {
			good = append(good, b)
			sort.SliceStable(good, func(i, j int) bool { return good[i].cost < good[j].cost-1e-9 })
		}
	}
	if len(good) == 0 {
		return nil, "no source has a way to it inside the zone"
	}
	return good, ""
}

// keptTrunk is the kept line of head k that ends at the target.
func (s *site) keptTrunk(k int) *branch {
	h := &s.heads[k]
	n := len(h.pts)
	b := &branch{src: k, pts: h.pts, head: n, kept: true, up: -1, tie: !s.zone.clear(h.pts[n-2], h.pts[n-1])}
	b.cost = s.branchPrice(b)
	return b
}

// haggle puts single branches elsewhere, where the caller's price may be lower
// though the search's is higher.
func (s *site) haggle(p *plan, calls *int, consider func(*plan) bool) {
	for i := 1; i < len(p.branch) && *calls > 0; i++ {
		leaf := true
		for _, b := range p.branch {
			leaf = leaf && b.up != i
		}
		if !leaf || p.branch[i].head > 1 && p.branch[i].kept {
			continue
		}
		q, _ := s.pruned(p, i)
		for _, w := range []float64{0.3, 1.5} {
			s.haste = w
			b := s.attach(q, p.branch[i].src, math.Inf(1))
			s.haste = 0
			if b == nil {
				continue
			}
			old := &p.branch[i]
			if dist(b.pts[len(b.pts)-1], old.pts[len(old.pts)-1]) < 1e-3 {
				continue // where it was
			}
			r := q.clone()
			r.branch = append(r.branch, *b)
			r.sum()
			if *calls > 0 && consider(r) {
				p = r
				i = 0
				break
			}
		}
	}
}
