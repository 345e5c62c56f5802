package route

// A plan is a tree in the making: branches, each the way of one source to its
// end on another branch or at the target.

import (
	"math"

	"github.com/paulmach/orb"
)

// branch is the way of one source. Its points run downstream. The first head
// points are given by the source, the last tail points follow from where the
// branch ends; those between are its free corners.
type branch struct {
	src  int
	pts  []orb.Point
	head int
	tail int
	up   int // branch it ends on; -1: at the target
	seg  int // segment of that branch (pts[seg] to pts[seg+1])
	// through: it ends at the very source that seg counts, with no fitting, or
	// its source lies on the segment (len(pts) == 1).
	through bool
	tie     bool // its last run leaves the zone for the target
	kept    bool // its head is a line to be kept, not a lead-off
	cost    float64
	worth   float64 // cost, and what haste charges on top while it is laid
}

// free returns the range of its free corners.
func (b *branch) free() (int, int) { return b.head, len(b.pts) - b.tail }

// segments returns the range of segments onto which another branch may join.
func (b *branch) segments() (int, int) {
	n := len(b.pts) - 1
	if b.tie {
		n--
	}
	if b.kept {
		return 0, n
	}
	return b.head - 1, n
}

type plan struct {
	end    *end
	branch []branch // branch[0] ends at the target; parents stand before children
	cost   float64
	gap    []gap // by spot, while branches are only added
	boxes  []box // of the branches that gap has seen
}

// remaining is the length of the way from the point j on segment seg of branch
// up to the target.
func (p *plan) remaining(up, seg int, j orb.Point) float64 {
	o := &p.branch[up]
	l := dist(j, o.pts[seg+1])
	for i := seg + 1; i+1 < len(o.pts); i++ {
		l += dist(o.pts[i], o.pts[i+1])
	}
	if o.up >= 0 {
		seg := o.seg
		if o.through && len(o.pts) > 1 {
			seg = 0
		}
		l += p.remaining(o.up, seg, o.pts[len(o.pts)-1])
	}
	return l
}

// gap is the distance, squared, from a spot to the first seen branches.
type gap struct {
	square float64
	seen   int
}

func (p *plan) clone() *plan {
	q := &plan{end: p.end, cost: p.cost, branch: make([]branch, len(p.branch), cap(p.branch))}
	copy(q.branch, p.branch)
	return q
}

func (p *plan) sum() {
	p.cost = 0
	for i := range p.branch {
		p.cost += p.branch[i].cost
	}
}

// scratch is memory used again and again within one Solve.
type scratch struct {
	taken     []float64
	pts, best []orb.Point
	arcs      []arc
	berths    []berth
}

// branchPrice adds up a branch, its turns included.
func (s *site) branchPrice(b *branch) float64 { return s.branchPriceUnder(b, math.Inf(1)) }

// branchPriceUnder is the price of a branch; where it is most or more, any such
// figure.
func (s *site) branchPriceUnder(b *branch, most float64) float64 {
	c := 0.0
	switch {
	case b.up < 0:
		c = s.p.Prices.TieIn
	case !b.through:
		c = s.p.Prices.Join
	}
	return s.beyondUnder(b.pts, s.barePrice(s.heads[b.src].from, b.pts, c), most)
}

// barePrice adds to c the metres and bends of a line that comes from a point (nil:
// from none).
func (s *site) barePrice(from *orb.Point, pts []orb.Point, c float64) float64 {
	if from != nil && len(pts) > 1 {
		bp, _ := s.bendAt(*from, pts[0], pts[1])
		c += bp
	}
	for i := 0; i+1 < len(pts); i++ {
		c += s.metre * dist(pts[i], pts[i+1])
		if i > 0 {
			bp, _ := s.bendAt(pts[i-1], pts[i], pts[i+1])
			c += bp
		}
	}
	return c
}

// beyondUnder adds to c what a line costs beyond its metres and bends; where the
// sum is most or more, any such figure.
func (s *site) beyondUnder(pts []orb.Point, c, most float64) float64 {
	for i := 0; i+1 < len(pts) && c < most; i++ {
		c += s.beyond(pts[i], pts[i+1])
	}
	return c
}

// branchKeeps tells whether the branch keeps the rules that it can keep alone; of
// its runs before the first given it is known. Runs that it had before it changed
// from was (nil: not known) lie in the zone.
func (s *site) branchKeeps(b, was *branch, e *end, first int) bool {
	if f := s.heads[b.src].from; f != nil && len(b.pts) > 1 {
		if _, ok := s.bendAt(*f, b.pts[0], b.pts[1]); !ok {
			return false
		}
	}
	for i := first; i+1 < len(b.pts); i++ {
		fixed := i+1 < b.head // a lead-off, or drawn by somebody
		if fixed && b.kept {
			continue
		}
		if !fixed && dist(b.pts[i], b.pts[i+1]) < s.ls-eps {
			return false
		}
		if i > 0 {
			if _, ok := s.bendAt(b.pts[i-1], b.pts[i], b.pts[i+1]); !ok {
				return false
			}
		}
		for j := 0; j+1 < i; j++ {
			if touches(b.pts[i], b.pts[i+1], b.pts[j], b.pts[j+1]) {
				return false
			}
		}
	}
	for i := max(first, b.head-1); i+1 < len(b.pts); i++ { // dearest to ask, so last
		p, q := b.pts[i], b.pts[i+1]
		if had(was, p, q) {
			continue
		}
		if tieIn := b.tie && i+2 == len(b.pts); tieIn && !s.lastRun(e, p) || !tieIn && !s.open(p, q) {
			return false
		}
	}
	return true
}

// had tells whether a branch had the run from p to q.
func had(was *branch, p, q orb.Point) bool {
	if was == nil {
		return false
	}
	for i := 0; i+1 < len(was.pts); i++ {
		if was.pts[i] == p && was.pts[i+1] == q {
			return true
		}
	}
	return false
}

// touching is how near, in metres, two lines touch.
const touching = 1e-6

// touches tells whether two segments come nearer than a micrometre.
func touches(a, b, c, d orb.Point) bool {
	const near = touching
	if max(a[0], b[0]) < min(c[0], d[0])-near || max(c[0], d[0]) < min(a[0], b[0])-near ||
		max(a[1], b[1]) < min(c[1], d[1])-near || max(c[1], d[1]) < min(a[1], b[1])-near {
		return false
	}
	ab, cd := sub(b, a), sub(d, c)
	oc, od := cross(ab, sub(c, a)), cross(ab, sub(d, a))
	oa, ob := cross(cd, sub(a, c)), cross(cd, sub(b, c))
	if (oc > 0) != (od > 0) && (oa > 0) != (ob > 0) {
		return true
	}
	return distTo(c, a, b) <= near || distTo(d, a, b) <= near || distTo(a, c, d) <= near || distTo(b, c, d) <= near
}

// apart tells whether the points of a branch touch no other branch but where
// it ends. skip is the branch's own place in the plan.
func (s *site) apart(p *plan, skip int, pts []orb.Point, up, seg int, through bool) bool {
	lo, hi := pts[0], pts[0]
	for _, q := range pts {
		lo = orb.Point{min(lo[0], q[0]), min(lo[1], q[1])}
		hi = orb.Point{max(hi[0], q[0]), max(hi[1], q[1])}
	}
	for k := range p.branch {
		o := &p.branch[k]
		if k == skip {
			continue
		}
		for j := 0; j+1 < len(o.pts); j++ {
			c, d := o.pts[j], o.pts[j+1]
			if max(c[0], d[0]) < lo[0]-touching || min(c[0], d[0]) > hi[0]+touching || max(c[1], d[1]) < lo[1]-touching || min(c[1], d[1]) > hi[1]+touching {
				continue
			}
			if o.up == skip && skip >= 0 && j+2 == len(o.pts) {
				continue // a child ends here; it is laid anew anyhow
			}
			for i := 0; i+1 < len(pts); i++ {
				if i+2 == len(pts) && k == up && (j == seg || through && j+1 == seg) {
					continue
				}
				if touches(pts[i], pts[i+1], c, d) {
					return false
				}
			}
		}
		if len(o.pts) == 1 {
			q := o.pts[0]
			for i := 0; i+1 < len(pts); i++ {
				if distTo(q, pts[i], pts[i+1]) < touching {
					return false
				}
			}
		}
	}
	return true
}

// landing is a way for a line to end on a segment.
type landing struct {
	pts     [2]orb.Point // the bend before the stub, the join; or the join alone
	n       int
	cost    float64
	through bool
}

// land returns the legal ways from q, which is reached from prev (nil: q is
// the source), onto the segment seg of branch up: slanting at the greatest angle
// allowed, square with a stub, or none where q lies on the line. It leaves the
// tests against zone and other branches to the caller, and what is crossed (over),
// and leaves out what costs most or more.
func (s *site) land(p *plan, self int, prev *orb.Point, q orb.Point, up, seg int, most float64, out []landing) []landing {
	o := &p.branch[up]
	a, b := o.pts[seg], o.pts[seg+1]
	l := dist(a, b)
	u := orb.Point{(b[0] - a[0]) / l, (b[1] - a[1]) / l}
	f := dot(sub(q, a), u)
	h := cross(u, sub(q, a))
	side := 1.0
	if h < 0 {
		side, h = -1, -h
	}
	lo, hi := s.ls, l-s.ls
	if h >= 1e-6 && s.metre*h+s.p.Prices.Join >= most {
		return out
	}
	taken := s.scratch.taken[:0]
	for k := range p.branch {
		c := &p.branch[k]
		if k != self && c.up == up && c.seg == seg && !(c.through && len(c.pts) > 1) {
			taken = append(taken, dist(a, c.pts[len(c.pts)-1]))
		}
	}
	s.scratch.taken = taken
	if h < 1e-6 {
		// q lies on the line: at a corner that is free, or with room on both sides
		room := f >= lo-eps && f <= hi+eps && freeAt(taken, f, s.ls)
		if prev == nil && (room || s.cornerAt(p, up, q, seg)) {
			out = append(out, landing{n: 0, through: true})
		}
		if prev != nil && room && s.joins(*prev, q, b) {
			out = append(out, landing{n: 0, cost: s.p.Prices.Join})
		}
		return out
	}
	if hi < lo-eps {
		return out
	}
	sin, cos := s.sinLand, s.cosLand
	try := func(t float64, stub bool) {
		if t < lo-eps || t > hi+eps {
			return
		}
		j := along(a, u, t)
		n := landing{cost: s.p.Prices.Join}
		if stub {
			n.pts[0] = along(along(a, u, t-s.ls*cos), orb.Point{-u[1], u[0]}, side*s.ls*sin)
			n.pts[1], n.n = j, 2
		} else {
			n.pts[0], n.n = j, 1
		}
		first := n.pts[0]
		d := dist(q, first)
		if d < s.ls-eps {
			return
		}
		n.cost += s.metre * d
		if stub {
			n.cost += s.metre * s.ls
		}
		if n.cost >= most {
			return
		}
		if prev != nil {
			bp, ok := s.bendAt(*prev, q, first)
			if !ok {
				return
			}
			n.cost += bp
		}
		if stub {
			bp, ok := s.bendAt(q, n.pts[0], n.pts[1])
			if !ok {
				return
			}
			n.cost += bp
		} else if !s.joins(q, j, b) {
			return
		}
		if n.cost < most {
			out = append(out, n)
		}
	}
	spread := func(t float64, least float64, stub bool) {
		t = math.Max(t, lo)
		if t > hi {
			if !stub {
				return
			}
			t = hi
		}
		if freeAt(taken, t, s.ls) {
			try(t, stub)
			return
		}
		for _, k := range taken {
			for _, c := range []float64{k + s.ls, k - s.ls} {
				if c >= least-eps && math.Abs(c-t) < 3*s.ls && freeAt(taken, c, s.ls) {
					try(c, stub)
				}
			}
		}
	}
	t := f + math.Max(h*cos/sin, math.Sqrt(math.Max(0, s.ls*s.ls-h*h)))
	spread(t, t, false)
	if h > s.ls*sin+1e-6 {
		spread(f+s.ls*cos, lo, true)
	}
	return out
}

// over is what a landing from q costs for what it crosses.
func (s *site) over(q orb.Point, ld *landing) float64 {
	c := 0.0
	for _, p := range ld.pts[:ld.n] {
		c += s.beyond(q, p)
		q = p
	}
	return c
}

// cornerAt tells whether q is the corner between segments seg-1 and seg of
// branch up, and turns there no more than a source allows.
func (s *site) cornerAt(p *plan, up int, q orb.Point, seg int) bool {
	o := &p.branch[up]
	return seg > 0 && dist(q, o.pts[seg]) < 1e-6 && (o.kept || seg >= o.head) && s.joins(o.pts[seg-1], o.pts[seg], o.pts[seg+1])
}

// freeAt tells whether t is at least ls from every taken place.
func freeAt(taken []float64, t, ls float64) bool {
	for _, k := range taken {
		if math.Abs(k-t) < ls-eps {
			return false
		}
	}
	return true
}
