package route

// A finished tree read back, and its corners moved: what was put together from
// parts has corners at places that mattered to a part only.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// Smooth returns a finished tree with its corners moved, slid and dropped, and its
// joins moved along, while the sum of Prices falls; what joins what stays. It is nil
// where nothing is gained, where the tree breaks a rule of the problem, and where a
// join is no wye in a straight line. Price is not asked. The error is that of
// Problem.Stop.
func Smooth(p *Problem, t *Tree) (*Tree, error) {
	s := newSite(p)
	s.tries = usual
	if p.Prices.Askew > 0 {
		s.findGrain()
		s.askew = p.Prices.Askew
	}
	before := s.readBack(t)
	if before == nil {
		return nil, nil
	}
	after := s.polish(before)
	if s.halt != nil {
		return nil, s.halt
	}
	if after.cost >= before.cost*(1-least) {
		return nil, nil
	}
	out := s.tree(after)
	if len(s.check(out)) > 0 {
		return nil, nil
	}
	return out, nil
}

// readBack is a finished tree as a plan; nil where it can't be one.
func (s *site) readBack(t *Tree) *plan {
	e := s.endOf(t.Target)
	if e.why != "" {
		return nil
	}
	leaves, ups := make([]int, len(t.Nodes)), make([][]int, len(t.Nodes))
	for i := range leaves {
		leaves[i] = -1
	}
	for i, r := range t.Runs {
		leaves[r.From] = i
		ups[r.To] = append(ups[r.To], i)
	}
	// goesOn tells whether the way over run i goes on below it: at a join that of the
	// run that turns least
	goesOn := func(i int) bool {
		n := t.Runs[i].To
		if t.Nodes[n].Source >= 0 || leaves[n] < 0 {
			return false
		}
		for _, k := range ups[n] {
			if a, b := t.Turn(k), t.Turn(i); a < b || a == b && k < i {
				return false
			}
		}
		return true
	}
	type read struct {
		branch
		end int // node
	}
	var todo []read
	owner := make([]int, len(t.Nodes)) // place in todo of the branch that runs over a node
	for n := range owner {
		owner[n] = -1
	}
	for k := range s.heads {
		h := &s.heads[k]
		top := -1
		for n := range t.Nodes {
			if leaves[n] >= 0 && dist(sub(t.Nodes[n].At, s.origin), h.pts[0]) < touching && t.Nodes[n].Source == h.source && (h.source >= 0 || t.Nodes[n].Kind == KindStart) {
				top = n
			}
		}
		if top < 0 {
			continue // it is not joined
		}
		b := read{branch: branch{src: k, pts: []orb.Point{h.pts[0]}, head: len(h.pts), kept: h.kept, tail: 1, up: -1}}
		for n := top; ; {
			owner[n] = len(todo)
			r := leaves[n]
			b.tie = b.tie || t.Runs[r].TieIn
			n = t.Runs[r].To
			on := goesOn(r)
			if !on || len(ups[n]) == 1 {
				b.pts = append(b.pts, sub(t.Nodes[n].At, s.origin))
			}
			if !on {
				b.end = n
				break
			}
		}
		if t.Nodes[b.end].Kind == KindTarget {
			b.pts[len(b.pts)-1] = e.at
			if b.tie == e.inZone {
				return nil
			}
		}
		for i, q := range h.pts {
			for i > 0 && i+1 < len(b.pts) && dist(b.pts[i], q) > touching && distTo(b.pts[i], h.pts[i-1], q) < touching {
				b.pts = slices.Delete(b.pts, i, i+1) // something joined there once
			}
			if i >= len(b.pts) || dist(b.pts[i], q) > touching {
				return nil
			}
			b.pts[i] = q
		}
		b.tail = min(1, len(b.pts)-b.head)
		todo = append(todo, b)
	}
	p := &plan{end: e, branch: make([]branch, 0, len(todo))}
	place := make([]int, len(todo))
	for i := range place {
		place[i] = -1
	}
	for added := true; added; {
		added = false
		for i := range todo {
			b := &todo[i]
			if place[i] >= 0 {
				continue
			}
			if last := &t.Nodes[b.end]; last.Kind != KindTarget {
				o := owner[b.end]
				if o < 0 || place[o] < 0 {
					continue
				}
				b.up, b.through = place[o], last.Source >= 0
				if !b.through && !s.moored(p, &b.branch) || !s.meets(p, &b.branch) {
					return nil
				}
			}
			if !s.branchKeeps(&b.branch, nil, e, 0) || !s.apart(p, -1, b.pts, b.up, b.seg, b.through) {
				return nil
			}
			b.cost = s.branchPrice(&b.branch)
			place[i], added = len(p.branch), true
			p.branch = append(p.branch, b.branch)
		}
	}
	if len(p.branch) == 0 || len(p.branch) < len(todo) || p.branch[0].up >= 0 {
		return nil
	}
	p.sum()
	return p
}

// moored finds the segment on which a branch ends, and lays its end anew where that
// is a little off: its trunk had a slight bend at the join.
func (s *site) moored(p *plan, b *branch) bool {
	const slight = 0.01
	o, j := &p.branch[b.up], b.pts[len(b.pts)-1]
	lo, hi := o.segments()
	off := slight
	b.seg = -1
	for i := lo; i < hi; i++ {
		if d := distTo(j, o.pts[i], o.pts[i+1]); d < off {
			b.seg, off = i, d
		}
	}
	if b.seg < 0 || off < touching {
		return b.seg >= 0
	}
	if b.tail == 0 {
		return false
	}
	nb, ok := s.lay(p, -1, b, b.pts[:len(b.pts)-b.tail], b.seg, b.seg+1, math.Inf(1), false)
	if nb.pts = slices.Clone(nb.pts); ok {
		*b = nb
	}
	return ok
}
