package route

// The bound of a result, and planning again after a small edit.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// bound searches exactly over the corners of the zone, the heads and the points
// of the tree found, or where there are too many sources asks the duals alone. Where the
// search comes on a tree that is cheaper by the caller's price, that one is the
// result's best. Nil where Depth charges more than the caller's price, and for a block
// of lots too large to be worth it.
func (s *site) bound(r *Result) *Bound {
	for range 2 {
		cost := r.Best.Cost
		b := s.boundOf(r)
		if b == nil {
			return nil
		}
		if b.Cost <= r.Best.Cost+1e-6 {
			b.Cost = math.Min(b.Cost, r.Best.Cost)
			b.Gap = r.Best.Cost/b.Cost - 1
			return b
		}
		if r.Best.Cost >= cost {
			break
		}
		// the search came on a tree for which Depth may not be right: ask again
	}
	return nil
}

// mostAscended is the number of sources times runs between candidates up to which
// the duals are worked out: about a second.
const mostAscended = 1_000_000

func (s *site) boundOf(r *Result) *Bound {
	p := r.plan
	unreached := map[int]bool{}
	for _, u := range r.Unreached {
		unreached[u.Source] = u.Source >= 0
	}
	var heads []int
	for k := range s.heads {
		if h := &s.heads[k]; h.why == "" && (h.target < 0 || h.target == p.end.target) && !unreached[h.source] {
			heads = append(heads, k)
		}
	}
	askew := s.askew
	s.askew = 0 // in no cost and no bound
	if s.p.Depth != nil {
		s.depth = s.p.Depth(r.Best)
	}
	if len(heads) > mostCharged {
		s.depth = nil // what each source's water costs apart would fill the memory
	}
	x := s.newExact(p.end, []*plan{p})
	if len(heads)*len(x.rays) > mostAscended {
		s.askew = askew
		return nil
	}
	d := x.newDual(heads)
	if s.halt != nil {
		return nil
	}
	b := &Bound{Cost: d.bound, By: "dual ascent"}
	var q *plan
	if len(d.heads) <= mostExact {
		f := x.searchWith(d, r.Best.Cost+1e-6)
		if s.halt != nil {
			return nil
		}
		b.Cost, b.By = f.cost, "exact search"
		q = f.plan()
	}
	s.askew = askew
	b.Over = fmt.Sprintf("all trees to target %q of straight runs between %d points (corners of the zone, places round them, sources, ends of last runs, and the bends and joins of the tree found), each metre at its least price",
		s.p.Targets[p.end.target].ID, len(x.pts))
	if s.depth != nil && s.depth.Over != "" {
		b.Over += "; " + s.depth.Over
	}
	if q != nil {
		s.adopt(r, q)
		s.adopt(r, s.polish(q))
	}
	return b
}

// adopt makes a plan the best of a result where the rules hold and it is cheaper.
func (s *site) adopt(r *Result, p *plan) {
	t := s.tree(p)
	if len(s.check(t)) > 0 {
		return
	}
	if s.p.Price != nil {
		var ok bool
		if t.Cost, ok, _ = s.p.Price(t); !ok {
			return
		}
	}
	if t.Cost >= r.Best.Cost-1e-9 {
		return
	}
	r.Best, r.plan = t, p
	a := &r.Alternatives[0]
	a.Tree, a.Way = t, t.Way()
}

// Again solves a problem that differs a little from the one that last is the
// result of: a source or target moved, a hole in the zone changed. It begins with
// last's tree, so it is fast and stays near it. Where a source is added or taken away
// it looks as widely as Solve, with last's tree beside; where lines are kept or nothing of that
// tree can stand it is Solve. The problem that last is the result of must not have been
// changed in place since. With Problem.Prove it takes as long as the proof.
//
// A service holds the Result of the last answer by what names the question (site,
// lot, outlet asked for) and hands it in with the next Problem, made anew:
//
//	r, err := route.Again(p, held[key]) // nil the first time: then it is Solve
//	if err == nil {
//		held[key] = r
//	}
//
// What may have changed between the two is found here, by the IDs of sources and
// targets and the coordinates of areas; Regions, Rules and Prices too. Again writes
// to neither, so that several goroutines may begin with one Result; it keeps the
// Problem it was solved for, 0.5 MB for 8 sources, as long as it is held.
func Again(p *Problem, last *Result) (*Result, error) {
	if last == nil || last.plan == nil || last.site == nil || len(p.Kept) > 0 || len(last.site.p.Kept) > 0 {
		return Solve(p)
	}
	if err := faults(p, last.site.p.Zone); err != nil {
		return nil, err
	}
	how := tries{starts: 1, improved: 1, rounds: 1, subtree: 1, again: 100, steps: usual.steps[1:]}
	if !sameSources(p, last.site.p) {
		how = usual // another tree may be wanted
	}
	how.last = last
	return solve(p, how)
}

// sameSources tells whether two problems have sources of the same names.
func sameSources(p, q *Problem) bool {
	return slices.EqualFunc(p.Sources, q.Sources, func(a, b Source) bool { return a.ID == b.ID })
}

// sameArea tells whether two areas have the same positions.
func sameArea(a, b orb.MultiPolygon) bool { return a.Equal(b) }

// reuse takes over the graph of the last site where zone, regions, rules and
// prices are the same; it returns false where they are not.
func (s *site) reuse(o *site) bool {
	if !sameArea(s.p.Zone, o.p.Zone) || len(s.p.Regions) != len(o.p.Regions) || s.p.Rules != o.p.Rules || s.p.Prices != o.p.Prices {
		return false
	}
	if !slices.EqualFunc(s.p.Buried, o.p.Buried, func(a, b Buried) bool {
		return a.LeastAngle == b.LeastAngle && a.Aslant == b.Aslant && a.Line.Equal(b.Line)
	}) {
		return false
	}
	for i, r := range s.p.Regions {
		q := o.p.Regions[i]
		if r.PerMetre != q.PerMetre || r.Each != q.Each || !sameArea(r.Shape, q.Shape) {
			return false
		}
	}
	n := o.base
	s.base = n
	s.graph.spots = append([]spot(nil), o.graph.spots[:n]...)
	for i := range s.graph.spots {
		s.graph.spots[i].source = -1
	}
	s.graph.arcs = make([][]arc, n)
	for i, l := range o.graph.arcs[:n] {
		if l == nil {
			continue
		}
		// a copy: somebody else may plan again from the same result
		own := make([]arc, 0, len(l)+len(s.heads))
		for _, a := range l {
			if int(a.to) < n {
				own = append(own, a)
			}
		}
		s.graph.arcs[i] = own
	}
	return true
}

// resume returns last's plan with what still stands of it, and the heads that
// are to be attached anew; nil where its trunk does not stand.
func (s *site) resume(last *Result, e *end, all []int) (*plan, []int) {
	o := last.site
	if s.p.Targets[e.target].ID != o.p.Targets[last.plan.end.target].ID {
		return nil, nil
	}
	byID := map[string]int{}
	for _, k := range all {
		byID[s.p.Sources[k].ID] = k
	}
	move := sub(o.origin, s.origin)
	p := &plan{end: e, branch: make([]branch, 0, len(s.heads))}
	place := make([]int, len(last.plan.branch))
	standing := map[int]bool{}
	for i, b := range last.plan.branch {
		place[i] = -1
		k, ok := byID[o.p.Sources[b.src].ID]
		if !ok || len(s.heads[k].pts) != b.head || b.up >= 0 && place[b.up] < 0 {
			continue
		}
		pts := make([]orb.Point, len(b.pts))
		for j, q := range b.pts {
			pts[j] = add(q, move)
		}
		copy(pts, s.heads[k].pts)
		if dist(pts[0], add(b.pts[0], move)) > 1e-6 && len(b.pts) == 1 {
			continue
		}
		if b.up < 0 {
			pts[len(pts)-1] = e.at
			if b.tie == e.inZone {
				return nil, nil
			}
		} else {
			b.up = place[b.up]
		}
		b.src, b.pts = k, pts
		if !s.branchKeeps(&b, nil, e, 0) || !s.apart(p, -1, b.pts, b.up, b.seg, b.through) {
			if b.up < 0 {
				return nil, nil
			}
			continue
		}
		if b.up >= 0 && !s.meets(p, &b) {
			continue
		}
		b.cost = s.branchPrice(&b)
		place[i] = len(p.branch)
		p.branch = append(p.branch, b)
		standing[k] = true
	}
	if len(p.branch) == 0 {
		return nil, nil
	}
	var todo []int
	for _, k := range all {
		if !standing[k] {
			todo = append(todo, k)
		}
	}
	return p, todo
}

// meets tells whether the end of b still lies where it should on its parent,
// at an angle that is allowed.
func (s *site) meets(p *plan, b *branch) bool {
	o := &p.branch[b.up]
	n := len(b.pts)
	j := b.pts[n-1]
	if b.through && n > 1 {
		return dist(j, o.pts[0]) < 1e-6 && s.enters(o, b.pts[n-2]) && s.roomy(p, b, -1)
	}
	if b.seg+1 >= len(o.pts) || distTo(j, o.pts[b.seg], o.pts[b.seg+1]) > 1e-6 || !s.roomy(p, b, -1) {
		return false
	}
	return n == 1 || s.joins(b.pts[n-2], j, o.pts[b.seg+1])
}
