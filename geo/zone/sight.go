package zone

// How edges lie to the curve beside another: the look that tells nearly all pairs
// apart before any is measured, and whether a ring meets itself.
//
// A look takes the sides of all vertices to one edge at once, without a branch: four
// at a time where the processor has vectors of four (vector_amd64.s). An edge that
// lies wholly beyond the curve, past its end or before its start, or wholly behind
// the edge itself, can't cut it.

import (
	"math"
	"math/bits"

	"github.com/paulmach/orb"
)

const (
	// sure is how far a vertex must lie from a line for the look to tell its side: a
	// thousand times what each vertex left out of a straight run may stray.
	sure = 1e-6
	// thin, times its length, is twice the area of a ring too thin for the walk to
	// tell that it is sound.
	thin = 2e-3
	// mostTold is the most vertices of a ring of which the walk tells it.
	mostTold = 500
)

// sight is how the edges of a run lie to an edge, a bit each: out of reach of its
// curve and of any arc at its ends (beyond them to the left, past its end or
// before its start by the two clearances and a millimetre); behind: not to the
// left of it by more than its clearance less their own (nor at all); or across its
// line, as far as can be told: not surely on one side of it.
type sight struct {
	run                 int32
	out, behind, across uint64
}

// vertices are the starts of the slots of sides, each with the greater clearance
// of the two edges that meet there.
type vertices struct{ x, y, g []float64 }

// room makes room for n and up to three more, which are read and not used.
func (v *vertices) room(n int) {
	if len(v.x) >= n+3 {
		return
	}
	for _, a := range []*[]float64{&v.x, &v.y, &v.g} {
		*a = append(make([]float64, 0, 2*n+30), *a...)
		*a = (*a)[:cap(*a)]
	}
}

// hold tells whether a point clear of a ring's edges is within it; its vertices
// are first to end, which is the first again.
func (v *vertices) hold(first, end int32, p vec) bool {
	x, y := v.x[first:end+1], v.y[first:end+1]
	in := false
	above := y[0] > p.y
	for i := 1; i < len(x) && i < len(y); i++ {
		if up := y[i] > p.y; up != above {
			above = up
			ax, ay, bx, by := x[i-1], y[i-1], x[i], y[i]
			in = in != ((p.x-ax)*(by-ay) < (bx-ax)*(p.y-ay) == up)
		}
	}
	return in
}

// probe is an edge as it looks at others. A vertex with clearance g is u along its
// direction and v to the left of it, as seen from the origin; it is beyond where
// v > left + g, past where u > past + g, before where u < before - g, and behind
// where v is neither more than right nor more than edge - g. It is surely on one
// side of the line where v > over or v < under.
type probe struct {
	left, right, edge, past, before, over, under float64
}

// margins is what is added to clearances and lines; signs reads it.
var margins = [4]float64{reach, numeric / 2, sure, math.Inf(1)}

func (s *side) probe() (p probe) {
	at, off := s.along(s.a.x, s.a.y), s.across(s.a.x, s.a.y)
	most := s.c + margins[0]
	p.left, p.right, p.edge = off+most, off+margins[1], off+s.c+margins[1]
	p.past, p.before = at+s.l+most, at-most
	p.over, p.under = off+margins[2], off-margins[2]
	if s.l == 0 { // a point has no back
		p.right -= margins[3]
	}
	return p
}

// tell fills in how n <= 64 slots from the first one lie to each of the sides. A
// slot's edge runs to the vertex of the next; the last slot's bits tell nothing.
func (v *vertices) tell(first, n int32, sides []side, t []sight) {
	x, y, g := v.x[first:first+n], v.y[first:first+n], v.g[first:first+n]
	t = t[:len(sides)]
	if vector {
		signs(&x[0], &y[0], &g[0], int64(n), &sides[0], int64(len(sides)), &t[0])
		return
	}
	for i := range sides {
		t[i].tell(x, y, g, &sides[i])
	}
}

// tell is what signs does, a vertex at a time.
func (t *sight) tell(x, y, g []float64, s *side) {
	p := s.probe()
	// a bit a vertex, which is the sign of a difference: not beyond, not past, not before, not behind
	var a, b, c, d uint64
	var over, under uint64 // these are of those that are
	y, g = y[:len(x)], g[:len(x)]
	for k := len(x) - 1; k >= 0; k-- {
		g := g[k]
		u, v := s.along(x[k], y[k]), s.across(x[k], y[k])
		a = a<<1 | math.Float64bits(v-p.left-g)>>63
		b = b<<1 | math.Float64bits(u-p.past-g)>>63
		c = c<<1 | math.Float64bits(p.before-g-u)>>63
		d = d<<1 | (math.Float64bits(p.right-v)|math.Float64bits(p.edge-g-v))>>63
		over = over<<1 | math.Float64bits(p.over-v)>>63
		under = under<<1 | math.Float64bits(v-p.under)>>63
	}
	t.out = ^(a | a>>1) | ^(b | b>>1) | ^(c | c>>1)
	t.behind = ^(d | d>>1)
	t.across = ^(over&(over>>1) | under&(under>>1))
}

// near lists the runs that are not wholly out of reach of a run's edges, itself
// among them. Where there is but one, all its edges are told at once.
func (w *scratch) near(own int) {
	if len(w.runs) == 1 {
		n := w.runs[0].n
		w.verts.tell(0, n, w.sides[:n-1], w.sights[:])
		return
	}
	w.by = w.by[:0]
	o := &w.runs[own]
	for r := range w.runs {
		u := &w.runs[r]
		g := o.g + u.g + reach
		if math.Abs(u.mid.x-o.mid.x)-u.half.x-o.half.x > g || math.Abs(u.mid.y-o.mid.y)-u.half.y-o.half.y > g {
			continue
		}
		w.by = append(w.by, int32(r))
	}
}

// look gives how the runs near it lie to edge i, those left out that are wholly out
// of reach. It holds until the next look into the same row.
func (w *scratch) look(i int32, row int) []sight {
	if len(w.runs) == 1 {
		return w.sights[i : i+1]
	}
	s := &w.sides[i]
	p := s.probe()
	all := w.rows[row][:0]
	for _, r := range w.by {
		u := &w.runs[r]
		if s.misses(&p, u) {
			continue
		}
		m := len(all)
		all = append(all, sight{run: r})
		w.verts.tell(u.first, u.n+1, w.sides[i:i+1], all[m:])
		if all[m].out|^u.edges == math.MaxUint64 {
			all = all[:m]
		}
	}
	w.rows[row] = all
	return all
}

// misses tells whether the box of a run is out of reach.
func (s *side) misses(p *probe, u *run) bool {
	x, y := s.along(u.mid.x, u.mid.y), s.across(u.mid.x, u.mid.y)
	ax, ay := math.Abs(s.d.x), math.Abs(s.d.y)
	along, across := ax*u.half.x+ay*u.half.y, ay*u.half.x+ax*u.half.y
	return one(y-across > p.left+u.g)|one(x-along > p.past+u.g)|one(x+along < p.before-u.g) != 0
}

// plain tells whether the numbers are in order, and all shapes that the walk can't
// tell of are valid: it tells of a lot and of things of one ring.
func plain(lot *Lot, out []KeepOut) bool {
	if len(lot.Shape) != 1 || !plainRing(lot.Shape[0]) || lot.clearances() != nil {
		return false
	}
	for i := range out {
		k := &out[i]
		told := false
		switch g := k.Geometry.(type) {
		case orb.Polygon:
			told = plainRing(g)
		case orb.MultiPolygon:
			told = len(g) == 1 && plainRing(g[0])
		}
		if told && !k.MayCross {
			if !inRange(k.Clearance) {
				return false
			}
		} else if k.check() != nil {
			return false
		}
	}
	return true
}

func plainRing(p orb.Polygon) bool {
	if len(p) != 1 {
		return false
	}
	r := p[0]
	return len(r) >= 4 && len(r) <= mostTold && r[0] == r[len(r)-1]
}

// sound tells from what the look saw whether no ring meets itself: of two of its
// edges that do, each lies across the other's line. False means not known.
func (w *scratch) sound() bool {
	for k := range w.rings {
		l := &w.rings[k]
		ring := uint64(1)<<uint32(l.end) - uint64(1)<<uint32(l.first)
		last := uint64(1) << uint32(l.end-1) // adjoins the first
		for i := l.first; i < l.end; i++ {
			s := &w.sides[i]
			if s.ahead < 0 && math.Abs(s.turn)*min(s.l, w.sides[s.next].l) <= sure { // back on itself
				return false
			}
			m := w.sights[i].across & ring &^ (uint64(4)<<uint32(i) - 1) &^ last
			last = 0
			for ; m != 0; m &= m - 1 {
				j := int32(bits.TrailingZeros64(m))
				if w.sights[j].across>>uint32(i)&1 != 0 && s.near(&w.sides[j]) {
					return false
				}
			}
		}
	}
	return true
}

// near tells whether the boxes of two edges don't surely lie apart.
func (s *side) near(o *side) bool {
	a, b := noBox, noBox
	a.add(s.a)
	a.add(s.b)
	b.add(o.a)
	b.add(o.b)
	a = a.grown(sure)
	return !a.apart(&b)
}
