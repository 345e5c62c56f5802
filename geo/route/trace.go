package route

// The tree that the exact search has found, as a plan.

import (
	"slices"

	"github.com/paulmach/orb"
)

// chain is the way of one head: the rays after it, and where it ends.
type chain struct {
	head  int
	rays  []int32
	under int // head whose chain or line it ends on, -1: the target
	pass  bool
}

// find returns the entry of a ray, nil for none.
func find(l []entry, a int32) *entry {
	i, ok := slices.BinarySearchFunc(l, a, func(e entry, a int32) int { return int(e.ray) - int(a) })
	if !ok {
		return nil
	}
	return &l[i]
}

// trace walks back from ray a with the water of set, and returns the head whose
// chain the ray belongs to. Chains of heads that end on the way are closed.
func (r *search) trace(set uint32, a int32, chains map[int]*chain) int {
	l := &r.levels[set]
	i, ok := slices.BinarySearch(l.rays, a)
	if !ok {
		return -1
	}
	o := l.how[i]
	var head int
	switch o.kind {
	case fromHead:
		head = r.headOf(set)
		chains[head] = &chain{head: head, under: -1}
	case fromRay:
		head = r.trace(set, o.ray, chains)
	case fromJoin:
		p, q := find(r.levels[o.set].through, a), find(r.levels[set&^o.set].branch, a)
		if p == nil || q == nil {
			return -1
		}
		head = r.trace(o.set, p.prev, chains)
		side := r.trace(set&^o.set, q.prev, chains)
		if head < 0 || side < 0 {
			return -1
		}
		chains[side].under = head
	case fromPass:
		head = r.headOf(set &^ o.set)
		chains[head] = &chain{head: head, under: -1}
		in := r.trace(o.set, o.ray, chains)
		if in < 0 {
			return -1
		}
		chains[in].under, chains[in].pass = head, true
	case fromLines:
		head = r.headOf(set &^ o.set)
		chains[head] = &chain{head: head, under: -1}
		if !r.ashore(head, o.set, chains) {
			return -1
		}
	}
	if head < 0 {
		return -1
	}
	chains[head].rays = append(chains[head].rays, a)
	return head
}

// ashore traces the sets that land on the kept line of a head.
func (r *search) ashore(head int, set uint32, chains map[int]*chain) bool {
	for set != 0 {
		part := set
		if w := r.apart[head][set]; w.ray < 0 {
			part = w.set
		}
		in := r.trace(part, r.land[head][part].ray, chains)
		if in < 0 {
			return false
		}
		chains[in].under = head
		set &^= part
	}
	return true
}

func (r *search) headOf(one uint32) int {
	for i, k := range r.sources {
		if one == 1<<i {
			return k
		}
	}
	return -1
}

// plan returns the tree found as a plan, nil where there is none or no plan can
// hold it (lines that run through a join a hair off straight).
func (r *search) plan() *plan {
	x := r.x
	s := x.s
	full := uint32(1)<<len(r.sources) - 1
	chains := map[int]*chain{}
	switch {
	case x.trunk >= 0:
		if !r.ashore(x.trunk, full, chains) {
			return nil
		}
	case r.last < 0 || r.trace(full, r.last, chains) < 0:
		return nil
	}
	p := &plan{end: x.end, branch: make([]branch, 0, len(s.heads))}
	place := map[int]int{}
	if x.trunk >= 0 {
		place[x.trunk] = 0
		p.branch = append(p.branch, *s.keptTrunk(x.trunk))
	}
	add := func(c *chain) bool {
		h := &s.heads[c.head]
		b := branch{src: c.head, pts: append([]orb.Point(nil), h.pts...), head: len(h.pts), kept: h.kept, tail: 1, up: -1}
		for i, a := range c.rays {
			at := x.pts[x.rays[a].to]
			if n := len(b.pts); i > 0 && n >= 2 && n > b.head {
				if q := b.pts[n-2]; distTo(b.pts[n-1], q, at) < 1e-9 {
					b.pts = b.pts[:n-1] // the line only runs through a join there
				}
			}
			b.pts = append(b.pts, at)
		}
		if c.under < 0 {
			b.tie = !x.end.inZone
		} else {
			up, ok := place[c.under]
			if !ok {
				return false
			}
			b.up, b.through = up, c.pass
			if !c.pass {
				o := &p.branch[up]
				lo, hi := o.segments()
				b.seg = -1
				j := b.pts[len(b.pts)-1]
				for i := lo; i < hi; i++ {
					if distTo(j, o.pts[i], o.pts[i+1]) < 1e-7 {
						b.seg = i
					}
				}
				if b.seg < 0 || dist(j, o.pts[b.seg]) < 1e-6 || dist(j, o.pts[b.seg+1]) < 1e-6 {
					return false
				}
			}
		}
		if !s.branchKeeps(&b, nil, x.end, 0) || !s.roomy(p, &b, -1) || !s.apart(p, -1, b.pts, b.up, b.seg, b.through) {
			return false
		}
		b.cost = s.branchPrice(&b)
		place[c.head] = len(p.branch)
		p.branch = append(p.branch, b)
		return true
	}
	var todo []int
	for k := range chains {
		todo = append(todo, k)
	}
	slices.Sort(todo)
	for len(todo) > 0 {
		var later []int
		for _, k := range todo {
			c := chains[k]
			if _, ok := place[c.under]; c.under >= 0 && !ok {
				later = append(later, k)
			} else if !add(c) {
				return nil
			}
		}
		if len(later) == len(todo) {
			return nil
		}
		todo = later
	}
	p.sum()
	return p
}
