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

// faults of the problem that make every answer wrong.
func faults(p *Problem) error {
	if fs := shape.Check(p.Zone); len(p.Zone) > 0 && len(fs) > 0 {
		return fs[0]
	}
	finite := func(q orb.Point) bool {
		return !math.IsNaN(q[0]) && !math.IsInf(q[0], 0) && !math.IsNaN(q[1]) && !math.IsInf(q[1], 0)
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
	r := p.Rules
	if !(r.JoinAngle > 0 && r.JoinAngle <= 90*Degree) || !(r.BendAngle > 0 && r.BendAngle <= 180*Degree) || !(r.LeastStraight > 0) {
		return &Fault{fmt.Sprintf("rules: join angle %.3f degrees (over 0 to 90), bend angle %.3f degrees (over 0 to 180), least straight %.3f m (over 0)",
			r.JoinAngle.Degrees(), r.BendAngle.Degrees(), r.LeastStraight), orb.Point{}}
	}
	if !(p.Prices.Metre > 0) || p.Prices.Bend < 0 || p.Prices.Join < 0 || p.Prices.TieIn < 0 {
		return &Fault{"prices: a metre must cost something and nothing may cost less than 0", orb.Point{}}
	}
	return nil
}

// newSite moves the problem to its own origin and finds how each source gets
// into the zone.
func newSite(p *Problem) *site {
	s := &site{p: p, metre: p.Prices.Metre, ls: float64(p.Rules.LeastStraight),
		join: float64(p.Rules.JoinAngle) + angleEps, bend: float64(p.Rules.BendAngle) + angleEps}
	if len(p.Zone) > 0 {
		b := p.Zone.Bound()
		s.origin = orb.Point{math.Floor(b.Min[0]), math.Floor(b.Min[1])}
	}
	s.zone = newField(p.Zone, s.origin)
	for _, r := range p.Regions {
		s.regions = append(s.regions, newField(r.Shape, s.origin))
	}
	for i := range p.Sources {
		s.heads = append(s.heads, s.newHead(&p.Sources[i]))
	}
	return s
}

func (s *site) newHead(src *Source) head {
	at := sub(src.At, s.origin)
	h := head{pts: []orb.Point{at}}
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
		if len(src.LeadOffWithin) > 0 && !newField(src.LeadOffWithin, s.origin).clear(at, h.near) {
			h.why = fmt.Sprintf("its shortest way into the zone, %.3f m, leaves the ground where a lead-off may lie", h.off)
		}
	}
	return h
}

// prepare builds the graph and the ways of all sources.
func (s *site) prepare() {
	s.addCorners()
	for i, r := range s.regions {
		if s.p.Regions[i].PerMetre == 0 && s.p.Regions[i].Each == 0 {
			continue
		}
		for _, c := range r.corners {
			if s.zone.holds(c.at) && !c.reflex() {
				s.addSpot(spot{at: c.at, source: -1})
			}
		}
	}
	for i := range s.heads {
		h := &s.heads[i]
		if h.why == "" {
			h.spot = s.addSpot(spot{at: h.pts[len(h.pts)-1], source: i})
		}
	}
	s.link()
	s.ways = make([][]label, len(s.heads))
	s.near = make([][]int, len(s.heads))
	for k := range s.heads {
		s.ways[k] = s.search(k)
		for i, l := range s.ways[k] {
			if !math.IsInf(l.cost, 1) {
				s.near[k] = append(s.near[k], i)
			}
		}
		w := s.ways[k]
		sort.SliceStable(s.near[k], func(a, b int) bool { return w[s.near[k][a]].cost < w[s.near[k][b]].cost })
	}
}

// Solve returns the cheapest tree it finds for the target that Problem.Choice
// prefers, and what became of every other target and source. A problem that
// can't be solved is a Result that says why; an error (*Fault or
// *shape.InvalidError) is a problem that is not one.
func Solve(p *Problem) (*Result, error) {
	if err := faults(p); err != nil {
		return nil, err
	}
	s := newSite(p)
	s.prepare()
	r := &Result{}
	var all []int
	for k := range s.heads {
		if s.heads[k].why == "" {
			all = append(all, k)
		} else {
			r.Unreached = append(r.Unreached, s.unreached(k, s.heads[k].why))
		}
	}
	if len(p.Targets) == 0 {
		for _, k := range all {
			r.Unreached = append(r.Unreached, s.unreached(k, "there is no target"))
		}
		return r, nil
	}
	lefts := make([][]int, len(p.Targets))
	for t := range p.Targets {
		a, left := s.toward(t, all)
		r.Alternatives = append(r.Alternatives, a)
		lefts[t] = left
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
	first := &r.Alternatives[0]
	left := all
	if first.Tree != nil && first.Reason == "" {
		r.Best = first.Tree
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
		why := "no way that keeps the rules leads from it to the tree"
		if r.Best == nil {
			why = "no target can be reached from it: " + first.Reason
		}
		r.Unreached = append(r.Unreached, s.unreached(k, why))
	}
	slices.SortStableFunc(r.Unreached, func(a, b Unreached) int { return a.Source - b.Source })
	return r, nil
}

func (s *site) unreached(k int, why string) Unreached {
	return Unreached{Source: k, Reason: why, Nearest: add(s.heads[k].near, s.origin), Off: unit.Length(s.heads[k].off)}
}

// toward returns the best tree to target t for the sources given, and those of
// them that it does not join.
func (s *site) toward(t int, all []int) (Alternative, []int) {
	a := Alternative{Target: t}
	e := s.newEnd(t)
	if e.why != "" {
		a.Reason = e.why
		return a, all
	}
	// the trunk is first the way of the farthest source, then of the next
	type start struct {
		k    int
		cost float64
	}
	var starts []start
	for _, k := range all {
		if b := s.trunk(k, e); b != nil {
			starts = append(starts, start{k, b.cost})
		}
	}
	if len(starts) == 0 {
		a.Reason = "no source has a way to it inside the zone"
		return a, all
	}
	sort.SliceStable(starts, func(i, j int) bool { return starts[i].cost > starts[j].cost+1e-9 })
	type found struct {
		p    *plan
		left []int
	}
	var plans []found
	for i, st := range starts {
		if i >= 4 {
			break
		}
		var rest []int
		for _, k := range all {
			if k != st.k {
				rest = append(rest, k)
			}
		}
		p, left := s.build(e, st.k, rest)
		if p != nil {
			plans = append(plans, found{p, left})
		}
	}
	sort.SliceStable(plans, func(i, j int) bool {
		if l, m := len(plans[i].left), len(plans[j].left); l != m {
			return l < m
		}
		return plans[i].p.cost < plans[j].p.cost-1e-9
	})
	fewest := len(plans[0].left)
	var left []int
	for i, f := range plans {
		if i >= 3 || len(f.left) > fewest {
			break
		}
		p := s.improve(f.p, 3)
		tr := s.tree(p)
		if bad := s.check(tr); len(bad) > 0 {
			if a.Tree == nil {
				a.Reason = "the tree found breaks a rule: " + bad[0]
			}
			continue
		}
		ok, why := true, ""
		if s.p.Price != nil {
			tr.Cost, ok, why = s.p.Price(tr)
		}
		better := a.Tree == nil || ok && a.Reason != "" || (ok == (a.Reason == "")) && tr.Cost < a.Tree.Cost-1e-9
		if better {
			a.Tree, a.Reason, left = tr, why, f.left
			if !ok && why == "" {
				a.Reason = "it can't be built at any price"
			}
		}
	}
	if a.Tree == nil {
		return a, all
	}
	a.Way = a.Tree.Way()
	return a, left
}
