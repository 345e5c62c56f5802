package profile

// The search: labels from the intakes down.
//
//	symbol   meaning                                                      unit
//	u, d     invert at the upper and lower end of a reach                 m
//	F        least fall of the reach with the pipe at hand                m
//	t        place along the reach, 0 up, 1 down                          -
//	C(t)     invert may not be above, from cover and crossings            m
//	B(t)     invert may not be below, from depth and crossings            m
//	G(u)     least price of all upstream if the reach begins at u         -
//	H(u)     G(u) less what a high start saves in the reach itself        -
//	f(d)     least price of all upstream and the reach, arriving at d     -
//	alpha    price of lowering one end of the reach by a metre            1/m
//
// A straight pipe passes under every point C exactly when it passes under the
// corners of their lower convex hull, and above every point B when above the
// corners of the upper hull. For a fixed d the start may lie in
// [lo(d), hi(d)], lo convex and hi concave, so
//
//	f(d) = const - alpha d + H(clamp(u*, lo(d), hi(d))),  u* = argmin H
//
// is convex again, and straight between the corners gathered in step.

import "slices"

// corner of a hull: t in (0, 1) and the level there.
type corner struct{ t, z float64 }

// strip is a reach as the search sees it, for one way of passing its
// crossings. Levels are those of the ground; the pipe's own height is taken
// off by the caller (shift).
type strip struct {
	over, under []corner // interior corners of the hulls: pipe over B, under C
	b0, b1      float64  // B at the ends, outside bottom of the trench
	c0, c1      float64  // C at the ends, outside top of the pipe
}

// label is one way to lay all that ends with reach i: pipe k in it, combination
// comb upstream.
type label struct {
	f     fn
	best  float64 // u*
	comb  int32
	strip int32
	pipe  int32
}

// combination of labels that meet at the upper end of a reach.
type combination struct {
	f     fn
	label int32 // of the last child added
	pipe  int32 // the widest that arrives, -1 for none
	rest  int32 // combination of the others, or -1
}

// pieces is the geometry of a reach, gathered once a Solve.
type pieces struct {
	length     float64
	area       float64 // integral of ground over length, m2
	strips     []strip
	fixed      bool
	start      float64 // fixed invert, or highest invert; +Inf
	startTop   float64 // highest outside top; +Inf
	arrive     float64 // highest invert at the lower end; +Inf
	laid       bool    // start and arrive are where it lies
	drop       float64
	reachUp    float64 // longest way above the lower end
	alpha      float64
	down       int
	firstChild int // into Solver.children
	lastChild  int
}

// relax says which rules the search may drop, so that it can tell what breaks.
type relax uint8

const (
	strict relax = iota
	anyDepth
	anyStart
)

// search fills the labels of every reach under the floors of s.floor and
// reports whether every reach has one.
func (s *Solver) search(p *Problem, how relax) bool {
	s.slab.p = s.slab.p[:0]
	s.labels = s.labels[:0]
	s.combs = s.combs[:0]
	for _, i := range s.order {
		first := int32(len(s.labels))
		for k := range p.Stock {
			if s.allowed[i]&(1<<k) == 0 {
				continue
			}
			s.lay(p, i, k, how)
		}
		s.span[i] = [2]int32{first, int32(len(s.labels))}
		if first == int32(len(s.labels)) {
			s.stuck = i
			return false
		}
	}
	return true
}

// starts returns the lowest and highest level at which reach i may begin with
// pipe k.
func (s *Solver) starts(i, k int, how relax) (lo, hi float64) {
	g := &s.geo[i]
	pipe := &s.pipes[k]
	lo = s.bottom
	hi = g.start
	if v := g.startTop - pipe.top; v < hi {
		hi = v
	}
	if g.fixed && how < anyStart {
		lo, hi = g.start, g.start
	}
	return lo, hi
}

// lay makes the labels of reach i with pipe k.
func (s *Solver) lay(p *Problem, i, k int, how relax) {
	g := &s.geo[i]
	better := s.better[i*len(s.pipes)+k]
	if better >= 0 && !s.widerArrives(p, i, better) {
		return // whatever arrives, the better pipe takes it on as well
	}
	lo, hi := s.starts(i, k, how)
	if hi < lo-tight {
		return
	}
	a := s.slab.open()
	s.slab.push(a, lo, 0)
	s.slab.push(a, hi, 0)
	from := int32(len(s.combs))
	s.combs = append(s.combs, combination{f: s.slab.done(a), label: -1, rest: -1, pipe: -1})
	for _, child := range s.children[g.firstChild:g.lastChild] {
		s.arrive = s.arrive[:0]
		for l := s.span[child][0]; l < s.span[child][1]; l++ {
			lb := &s.labels[l]
			if p.Stock[lb.pipe].Inside > p.Stock[k].Inside+1e-9 {
				continue // no decrease of diameter downstream
			}
			o, drop := s.joint(p, i, int(lb.pipe), k, how)
			w := s.slab.window(lb.f, o, drop, lo, hi)
			if !w.empty() {
				s.arrive = s.keep(s.arrive, combination{f: w, label: l, rest: -1, pipe: lb.pipe})
			}
		}
		to := int32(len(s.combs))
		s.merged = s.merged[:0]
		for x := from; x < to; x++ {
			c := s.combs[x]
			for _, w := range s.arrive {
				f := w.f // the first child meets a constant 0 over [lo, hi]
				if c.label >= 0 {
					f = s.slab.sum(c.f, w.f)
				}
				if !f.empty() {
					s.merged = s.keep(s.merged, combination{f: f, label: w.label, rest: x, pipe: max(c.pipe, w.pipe)})
				}
			}
		}
		if len(s.merged) == 0 {
			return
		}
		s.combs = append(s.combs, s.merged...)
		from = to
	}
	mark := len(s.labels)
	for x := from; x < int32(len(s.combs)); x++ {
		if w := s.combs[x].pipe; better >= 0 && (w < 0 || p.Stock[w].Inside <= p.Stock[better].Inside) {
			continue
		}
		for v := range g.strips {
			f, best := s.step(p, i, k, v, s.combs[x].f, how)
			if !f.empty() {
				s.keepLabel(mark, label{f: f, best: best, comb: x, strip: int32(v), pipe: int32(k)})
			}
		}
	}
}

// widerArrives says whether any way above reach i arrives in a pipe wider
// than k.
func (s *Solver) widerArrives(p *Problem, i, k int) bool {
	g := &s.geo[i]
	for _, c := range s.children[g.firstChild:g.lastChild] {
		for l := s.span[c][0]; l < s.span[c][1]; l++ {
			if p.Stock[s.labels[l].pipe].Inside > p.Stock[k].Inside {
				return true
			}
		}
	}
	return false
}

// joint is how pipe from meets pipe k at the upper end of reach i: its invert
// lies between o and o + drop above that of k.
func (s *Solver) joint(p *Problem, i, from, k int, how relax) (o, drop float64) {
	g := &s.geo[i]
	o, drop = s.offset(p, from, k), g.drop
	if g.fixed {
		o += s.hand // rounding takes from what arrives, not from what stands
	}
	if how >= anyDepth || drop > 1e3 {
		drop = 1e6
	}
	return o, drop
}

// keep adds c to a list unless a member covers it, and drops members that c
// covers.
func (s *Solver) keep(list []combination, c combination) []combination {
	if s.noDominance {
		return append(list, c)
	}
	q := s.slab.pts(c.f)
	for _, m := range list {
		if covers(s.slab.pts(m.f), q) {
			return list
		}
	}
	n := 0
	for _, m := range list {
		if !covers(q, s.slab.pts(m.f)) {
			list[n] = m
			n++
		}
	}
	return append(list[:n], c)
}

func (s *Solver) keepLabel(mark int, l label) {
	if s.noDominance {
		s.labels = append(s.labels, l)
		return
	}
	q := s.slab.pts(l.f)
	for _, m := range s.labels[mark:] {
		if covers(s.slab.pts(m.f), q) {
			return
		}
	}
	n := mark
	for _, m := range s.labels[mark:] {
		if !covers(q, s.slab.pts(m.f)) {
			s.labels[n] = m
			n++
		}
	}
	s.labels = append(s.labels[:n], l)
}

// limits of the start of reach i for an arrival at d: [lo, hi].
type limits struct {
	least, most    float64 // fall
	ulo, uhi       float64
	over, under    []corner
	bshift, cshift float64 // taken from hull levels to get inverts
}

func (m *limits) low(d float64) float64 {
	u := max(m.ulo, d+m.least)
	for _, c := range m.over {
		if v := (c.z + m.bshift - c.t*d) / (1 - c.t); v > u {
			u = v
		}
	}
	return u
}

func (m *limits) high(d float64) float64 {
	u := min(m.uhi, d+m.most)
	for _, c := range m.under {
		if v := (c.z - m.cshift - c.t*d) / (1 - c.t); v < u {
			u = v
		}
	}
	return u
}

// step lays reach i with pipe k below the function G and returns f with u*.
func (s *Solver) step(p *Problem, i, k, v int, gf fn, how relax) (fn, float64) {
	g := &s.geo[i]
	st := &g.strips[v]
	pipe := &s.pipes[k]
	alpha, base := g.alpha, s.base[i*len(s.pipes)+k]
	if s.levelsOnly {
		alpha, base = 0, 0
	}
	none := fn{}

	m := &s.lim
	m.least = s.fall[i*len(s.pipes)+k]
	m.most = 1e6
	if r := float64(p.Rules.GreatestSlope); r > 0 && how < anyDepth {
		m.most = r * g.length
		if m.most < m.least-tight && !g.laid {
			return none, 0
		}
	}
	m.under, m.cshift = st.under, pipe.top
	m.over, m.bshift = nil, pipe.wall+s.hand
	b0, b1 := s.bottom, s.bottom
	if how < anyDepth {
		m.over = st.over
		b0 = max(b0, st.b0+m.bshift)
		b1 = max(b1, st.b1+m.bshift)
	}
	c0, c1 := st.c0-pipe.top, st.c1-pipe.top
	if g.fixed && how < anyStart {
		// A start that is built already stands where it stands; the re-check
		// tells what it breaks.
		b0, c0 = min(b0, g.start), max(c0, g.start)
	}

	if g.laid {
		// It lies as it lies.
		m.over, m.under, m.most = nil, nil, 1e6
		b0, b1, c0, c1 = s.bottom, s.bottom, g.start, g.arrive
		if how < anyStart {
			b0, b1 = c0, c1
		}
	}

	// H on [max(first, b0), min(last, c0)].
	gp := s.slab.pts(gf)
	m.ulo, m.uhi = max(gp[0].x, b0), min(gp[len(gp)-1].x, c0)
	if m.ulo > m.uhi+tight {
		return none, 0
	}
	if m.uhi < m.ulo {
		m.uhi = m.ulo
	}
	h := s.h[:0]
	h = append(h, pt{m.ulo, at(gp, m.ulo) - alpha*m.ulo})
	for _, q := range gp {
		if q.x > m.ulo && q.x < m.uhi {
			h = append(h, pt{q.x, q.y - alpha*q.x})
		}
	}
	if m.uhi > m.ulo {
		h = append(h, pt{m.uhi, at(gp, m.uhi) - alpha*m.uhi})
	}
	s.h = h
	j := lowest(h)
	best := h[j].x

	// Levels d for which low(d) <= high(d).
	lo, hi := b1, min(c1, g.arrive, m.uhi-m.least)
	lo = max(lo, m.ulo-m.most)
	for _, c := range m.over {
		z := c.z + m.bshift
		lo = max(lo, (z-(1-c.t)*m.uhi)/c.t, z-(1-c.t)*m.most)
	}
	for _, c := range m.under {
		z := c.z - m.cshift
		hi = min(hi, (z-(1-c.t)*m.ulo)/c.t, z-(1-c.t)*m.least)
		for _, b := range m.over {
			// (B - sd)/(1-s) <= (C - td)/(1-t)
			zb := b.z + m.bshift
			left := c.t/(1-c.t) - b.t/(1-b.t)
			right := z/(1-c.t) - zb/(1-b.t)
			switch {
			case left > 1e-12:
				hi = min(hi, right/left)
			case left < -1e-12:
				lo = max(lo, right/left)
			case right < -tight:
				return none, 0
			}
		}
	}
	if lo > hi+tight {
		return none, 0
	}
	if hi < lo {
		hi = lo
	}

	// Corners of f.
	x := s.x[:0]
	x = append(x, lo, hi)
	add := func(d float64) {
		if d > lo+1e-12 && d < hi-1e-12 {
			x = append(x, d)
		}
	}
	for n, q := range h {
		if n >= j { // reached from low
			add(q.x - m.least)
			for _, c := range m.over {
				add((c.z + m.bshift - (1-c.t)*q.x) / c.t)
			}
		}
		if n <= j { // reached from high
			add(q.x - m.most)
			for _, c := range m.under {
				add((c.z - m.cshift - (1-c.t)*q.x) / c.t)
			}
		}
	}
	for n, c := range m.over {
		add(c.z + m.bshift - (1-c.t)*m.least)
		if n > 0 {
			add(meet(m.over[n-1], c) + m.bshift)
		}
	}
	for n, c := range m.under {
		add(c.z - m.cshift - (1-c.t)*m.most)
		if n > 0 {
			add(meet(m.under[n-1], c) - m.cshift)
		}
	}
	if len(x) > 3 {
		slices.Sort(x)
	} else if len(x) == 3 {
		x[1], x[2] = x[2], x[1]
	}
	s.x = x

	a := s.slab.open()
	for _, d := range x {
		l, t := m.low(d), m.high(d)
		if l > t {
			l = t
		}
		u := min(max(best, l), t)
		s.slab.push(a, d, base-alpha*d+at(h, u))
	}
	return s.slab.done(a), best
}

// meet is the level at t = 1 of the line through two corners.
func meet(a, b corner) float64 { return a.z + (b.z-a.z)*(1-a.t)/(b.t-a.t) }

// unwind sets the inverts and pipes of reach i and all above it, arriving at d
// by label l.
func (s *Solver) unwind(p *Problem, i int, l int32, d float64, how relax) {
	lb := &s.labels[l]
	k := int(lb.pipe)
	s.pipeOf[i] = k
	s.stripOf[i] = int(lb.strip)
	s.downOf[i] = d
	// Rebuild the limits of this step.
	s.step(p, i, k, int(lb.strip), s.combs[lb.comb].f, how)
	lo, hi := s.lim.low(d), s.lim.high(d)
	if lo > hi {
		lo = hi
	}
	u := min(max(lb.best, lo), hi)
	s.upOf[i] = u
	for x := lb.comb; s.combs[x].label >= 0; x = s.combs[x].rest {
		c := s.combs[x]
		ch := &s.labels[c.label]
		f := s.slab.pts(ch.f)
		o, drop := s.joint(p, i, int(ch.pipe), k, how)
		dc := f[lowest(f)].x
		dc = min(max(dc, u+o), u+o+drop)
		dc = min(max(dc, f[0].x), f[len(f)-1].x)
		child := s.labelReach(c.label)
		s.slack[child] = max(0, f[len(f)-1].x-(u+o))
		s.unwind(p, child, c.label, dc, how)
	}
}

// labelReach finds the reach of a label.
func (s *Solver) labelReach(l int32) int {
	// order is upstream first and spans ascend with it
	lo, hi := 0, len(s.order)
	for lo < hi {
		mid := (lo + hi) / 2
		if s.span[s.order[mid]][1] <= l {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return s.order[lo]
}
