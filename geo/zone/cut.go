package zone

// The direct routine's first half: curves beside the edges, and what other
// edges leave of them.
//
// Nearly all pairs of a curve and an edge are told apart by the line of the
// curve's own edge, four operations a vertex and no branch: an edge that lies
// wholly beyond the curve, or wholly behind its own edge, can't cut it. Only the
// few that straddle are looked at one by one. The certificate measures the same
// few, and holds what was drawn against the line.

import (
	"math"
	"math/bits"
)

// sight is how the edges of a run lie to an edge with clearance c, a bit each:
// beyond its curve by their own clearance and more, or not to the left of it by
// more than c less their own clearance (nor at all).
type sight struct {
	run            int32
	beyond, behind uint64
}

// curve runs round the end of an edge, an arc run clockwise; or beside one, of
// which p, d and l are made use of.
type curve struct {
	wedge bool  // an arc between the normals of the edges own and also
	own   int32 // an edge it lies at the clearance of
	also  int32
	// hits[h0:h1] are the edges that must be measured against it; all others are
	// clear of it
	h0, h1 int32
	p      vec     // start, or centre
	d      vec     // direction, or direction of the start from the centre
	e      vec     // of an arc: direction of the end from the centre
	l      float64 // length, or the place of the end, as of turned
	r      float64
}

// turned is the place of a direction u as seen from d: it grows from 0 to 4 as
// u turns clockwise from d once round, by 1 for a quarter turn.
func turned(d, u vec) float64 { return place(d.x*u.x+d.y*u.y, d.y*u.x-d.x*u.y) }

func place(cos, sin float64) float64 {
	k := cos / (math.Abs(cos) + math.Abs(sin))
	if sin >= 0 {
		return 1 - k
	}
	return 3 + k
}

// out is the point of an arc in direction u.
func (c *curve) out(u vec) vec { return vec{c.p.x + c.r*u.x, c.p.y + c.r*u.y} }

// span is a stretch of a curve: distances from the start, or places as of
// turned with their directions.
type span struct {
	from, to float64
	u0, u1   vec
}

// spot is a place on an arc.
type spot struct {
	t float64
	u vec
}

// part is what is left of a curve between two cuts. hits[h0:h1] are the edges
// that must be measured against it; all others are clear of it.
type part struct {
	p0, p1 vec
	u0, u1 vec     // of an arc
	wide   float64 // of an arc: by how much its places differ
	arc    int32   // in arcs; -1 for a straight one
	own    int32   // the edge that a straight one runs beside
	h0, h1 int32
	loop   int32 // the loop it was linked into, from 1
}

// trace lays the curves, cuts them, and gathers the parts left, ring by ring.
func (w *scratch) trace() {
	w.arcs, w.parts, w.hits = w.arcs[:0], w.parts[:0], w.hits[:0]
	w.open()
	own := 0 // the run that the edge is in
	for k := range w.rings {
		l := &w.rings[k]
		if w.sides[l.first].l == 0 { // a point: a full circle
			s := &w.sides[l.first]
			w.near(own)
			w.look(l.first, own, 0)
			w.arcs = append(w.arcs, curve{own: l.first, also: l.first, p: s.a, d: s.d, e: s.d, l: 4, r: s.c, h0: int32(len(w.hits))})
			for k := range w.rows[0] {
				if r := &w.rows[0][k]; int(r.run) != own {
					w.hit(r.run, ^r.beyond)
				}
			}
			w.round(&w.arcs[len(w.arcs)-1])
			own++
			continue
		}
		w.near(own)
		w.look(l.first, own, 0)
		row, next := 0, 1
		for i := l.first; i < l.end; i++ {
			to := next
			if i+1 == l.end {
				to = 0
			} else {
				if i+1 >= w.runs[own].first+int32(w.runs[own].n) {
					own++
					w.near(own)
				}
				w.look(i+1, own, next)
			}
			w.straight(i, w.rows[row])
			w.corner(i, w.rows[row], w.rows[to])
			if row, next = to, row; i == l.first {
				next = 2
			}
		}
		own++
	}
}

// open makes room for what is told of one run by another.
func (w *scratch) open() {
	if m := len(w.runs) * len(w.rings); cap(w.clear) < m {
		w.clear = make([]uint64, m, 2*m)
	} else {
		w.clear = w.clear[:m]
		clear(w.clear)
	}
}

// near lists the runs that are not beyond all curves of a run's edges and of the
// arcs at their ends, itself among them.
func (w *scratch) near(own int) {
	o := &w.runs[own]
	w.by = w.by[:0]
	for r := range w.runs {
		u := &w.runs[r]
		g := o.g + u.g + reach
		if math.Abs(u.mid.x-o.mid.x)-u.half.x-o.half.x > g || math.Abs(u.mid.y-o.mid.y)-u.half.y-o.half.y > g {
			continue
		}
		w.by = append(w.by, int32(r))
	}
}

// look fills row k with how the runs near it lie to edge i, which is in run own;
// those that are beyond it with all their edges are left out.
func (w *scratch) look(i int32, own, k int) {
	s := &w.sides[i]
	n := len(w.runs)
	ring := w.runs[own].ring
	bit := uint64(1) << (i - w.runs[own].first)
	nx, ny := -s.d.y, s.d.x
	ax, ay := math.Abs(nx), math.Abs(ny)
	off := nx*s.a.x + ny*s.a.y
	row := w.rows[k][:0]
	at, beyond := ring, false // a ring, and whether all of it is
	for _, r := range w.by {
		u := &w.runs[r]
		known := uint64(0)
		if u.ring < ring {
			if known = w.clear[int(ring)*n+int(r)]; known == u.full {
				continue
			}
		} else if u.ring != at {
			if beyond {
				w.clear[int(at)*n+own] |= bit
			}
			at, beyond = u.ring, true
		}
		// of the box of the run, what lies furthest this way and that
		y, h := nx*u.mid.x+ny*u.mid.y-off, ax*u.half.x+ay*u.half.y
		hi, lo := s.c+u.g+reach, min(0, s.c-u.g)
		if y-h > hi || n > 3 && s.past(u, hi) {
			continue
		}
		see := sight{run: r, beyond: known}
		switch {
		case s.l == 0:
		case y+h < lo:
			see.behind = u.full
		default:
			// the sign of a difference is the bit of a vertex; it comes in from above
			const sign = 1 << 63
			hi, lo := off+hi, off+lo+numeric/2
			a, b := uint64(0), uint64(0)
			for _, p := range w.verts[u.at : u.at+int32(u.n)+1] {
				y := nx*p.x + ny*p.y
				a = a>>1 | math.Float64bits(y-hi)&sign
				b = b>>1 | math.Float64bits(lo-y)&sign
			}
			k := 63 - u.n&63
			a >>= k & 63
			b >>= k & 63
			see.beyond, see.behind = ^(a|a>>1)&u.full|known, ^(b|b>>1)&u.full
			if see.beyond == u.full {
				continue
			}
		}
		beyond = false
		row = append(row, see)
	}
	if beyond {
		w.clear[int(at)*n+own] |= bit
	}
	w.rows[k] = row
}

// past tells whether a run lies more than far beyond the one or the other end of
// the edge.
func (s *side) past(u *run, far float64) bool {
	x := s.along(u.mid.x-s.a.x, u.mid.y-s.a.y)
	h := math.Abs(s.d.x)*u.half.x + math.Abs(s.d.y)*u.half.y
	return x+h < -far || x-h > s.l+far
}

// hitStraight adds the edges that are to be measured against a straight curve, as
// they lie to its edge.
func (w *scratch) hitStraight(row []sight) {
	for k := range row {
		r := &row[k]
		if m := ^(r.beyond | r.behind); m != 0 {
			w.hit(r.run, m)
		}
	}
}

// hitAll adds all edges that are not beyond.
func (w *scratch) hitAll(row []sight) {
	for k := range row {
		w.hit(row[k].run, ^row[k].beyond)
	}
}

// hitWedge adds those that are to be measured against the arc between two edges:
// an edge behind both lies where the corner is the nearest point.
func (w *scratch) hitWedge(row, next []sight) {
	for k, j := 0, 0; k < len(row); k++ {
		r := &row[k]
		for j < len(next) && next[j].run < r.run {
			j++
		}
		if j == len(next) {
			return
		}
		if t := &next[j]; t.run == r.run {
			if m := ^(r.beyond | t.beyond | r.behind&t.behind); m != 0 {
				w.hit(r.run, m)
			}
		}
	}
}

// hit adds the edges of run r with their bit in m to those of the curve being
// laid.
func (w *scratch) hit(r int32, m uint64) {
	u := &w.runs[r]
	for m &= u.full; m != 0; m &= m - 1 {
		w.hits = append(w.hits, u.first+int32(bits.TrailingZeros64(m)))
	}
}

// straight lays and cuts the curve beside edge i.
func (w *scratch) straight(i int32, row []sight) {
	s := &w.sides[i]
	lo, hi := s.lo, s.hi
	if hi-lo <= numeric {
		return // nothing between those that adjoin
	}
	from := s.left(s.a)
	p, e := from, vec{from.x + hi*s.d.x, from.y + hi*s.d.y}
	if lo > 0 {
		p = vec{from.x + lo*s.d.x, from.y + lo*s.d.y}
	}
	h0 := len(w.hits)
	w.hitStraight(row)
	w.out = w.out[:0]
	before := w.sides[s.prev].mitred
	for _, j := range w.hits[h0:] {
		if j == s.next && s.mitred || j == s.prev && before {
			continue // what they take is out already
		}
		f := &w.sides[j]
		if f.clears(p, e) {
			continue
		}
		// beyond either end of the curve
		g := f.c - numeric
		x, y := s.along(f.a.x-p.x, f.a.y-p.y), s.along(f.b.x-p.x, f.b.y-p.y)
		if min(x, y) >= hi-lo+g || max(x, y) <= -g {
			continue
		}
		v, ok := w.nearer(s, i, from, f)
		if !ok {
			continue
		}
		if v.from <= lo && v.to >= hi { // all of it
			w.hits = w.hits[:h0]
			return
		}
		w.out = append(w.out, v)
	}
	if len(w.out) == 0 {
		w.lay(i, h0, p, e)
		return
	}
	w.sort()
	t := lo
	for k := range w.out {
		v := &w.out[k]
		if v.from >= hi {
			break
		}
		if v.from-t > numeric {
			w.lay(i, h0, p, vec{from.x + v.from*s.d.x, from.y + v.from*s.d.y})
		}
		if v.to > t {
			t = v.to
			p = vec{from.x + t*s.d.x, from.y + t*s.d.y}
		}
	}
	if hi-t > numeric {
		w.lay(i, h0, p, e)
	}
}

// lay adds a straight part.
func (w *scratch) lay(own int32, h0 int, p, q vec) {
	t := w.more()
	t.p0, t.p1, t.arc, t.own, t.h0, t.h1, t.loop = p, q, -1, own, int32(h0), int32(len(w.hits)), 0
}

// more is a part more, yet to be filled in.
func (w *scratch) more() *part {
	n := len(w.parts)
	if n == cap(w.parts) {
		w.parts = append(w.parts, part{})
	}
	w.parts = w.parts[:n+1]
	return &w.parts[n]
}

// clears tells whether the edge's line, or a line across it beyond one of its
// ends, keeps all between p and q at its clearance.
func (s *side) clears(p, q vec) bool {
	px, py, qx, qy := p.x-s.a.x, p.y-s.a.y, q.x-s.a.x, q.y-s.a.y
	g := s.c - numeric
	u, v := s.across(px, py), s.across(qx, qy)
	if u >= g && v >= g || u <= -g && v <= -g {
		return true
	}
	u, v = s.along(px, py), s.along(qx, qy)
	return u <= -g && v <= -g || u >= s.l+g && v >= s.l+g
}

// sort orders the few stretches to take out.
func (w *scratch) sort() {
	for i := 1; i < len(w.out); i++ {
		for k := i; k > 0 && w.out[k].from < w.out[k-1].from; k-- {
			w.out[k], w.out[k-1] = w.out[k-1], w.out[k]
		}
	}
}

// nearer is what of the curve beside side o, which is edge i and whose curve
// starts at p, is nearer to edge s than its clearance. Of an edge that adjoins
// with the same clearance the disc about the corner shared only touches the
// curve's end, and does not count.
func (w *scratch) nearer(o *side, i int32, p vec, s *side) (span, bool) {
	a, b := true, true
	if s.c == o.c {
		n, p := w.sides[o.next].own, w.sides[o.prev].own
		if s.own == n && n != o.own || s.own == p && p != o.own {
			a = s.a != o.a && s.a != o.b
			b = s.b != o.a && s.b != o.b
		}
	}
	return s.takes(p, o.d, o.l, a, b)
}

// takes is what of a straight curve from p in direction d, l long, is nearer to
// an edge than its clearance: one stretch, for the ground within a distance of
// an edge is convex.
func (s *side) takes(p, d vec, l float64, discA, discB bool) (span, bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	px, py := p.x-s.a.x, p.y-s.a.y
	r := s.c
	if s.l > 0 {
		t0, t1 := 0.0, l
		y, v := s.across(px, py), s.across(d.x, d.y)
		switch {
		case v > 0:
			t0, t1 = max(t0, (-r-y)/v), min(t1, (r-y)/v)
		case v < 0:
			t0, t1 = max(t0, (r-y)/v), min(t1, (-r-y)/v)
		case y <= -r || y >= r:
			t1 = t0
		}
		if t0 < t1 {
			x, u := s.along(px, py), s.along(d.x, d.y)
			switch {
			case u > 0:
				t0, t1 = max(t0, -x/u), min(t1, (s.l-x)/u)
			case u < 0:
				t0, t1 = max(t0, (s.l-x)/u), min(t1, -x/u)
			case x <= 0 || x >= s.l:
				t1 = t0
			}
			if t0 < t1 {
				lo, hi = t0, t1
			}
		}
	}
	if discA { // the end of the edge from the start of the curve
		lo, hi = chord(-px, -py, d, r, lo, hi)
	}
	if discB && s.l > 0 {
		lo, hi = chord(s.b.x-p.x, s.b.y-p.y, d, r, lo, hi)
	}
	lo, hi = max(lo, 0), min(hi, l)
	return span{from: lo, to: hi}, hi-lo > numeric
}

// chord adds to a stretch from lo to hi what a disc about x, y with radius r cuts
// of a line from the origin in direction d.
func chord(x, y float64, d vec, r, lo, hi float64) (float64, float64) {
	off := d.x*y - d.y*x
	if h := r*r - off*off; h > 0 {
		h = math.Sqrt(h)
		along := d.x*x + d.y*y
		return min(lo, along-h), max(hi, along+h)
	}
	return lo, hi
}

// apart is the distance from a point to an edge.
func (s *side) apart(p vec) float64 { return math.Sqrt(s.apart2(p)) }

// apart2 is its square.
func (s *side) apart2(p vec) float64 {
	x, y := p.x-s.a.x, p.y-s.a.y
	t := s.along(x, y)
	if t > 0 {
		if t < s.l {
			y = s.across(x, y)
			return y * y
		}
		x, y = p.x-s.b.x, p.y-s.b.y
	}
	return x*x + y*y
}

// corner lays and cuts the arc at the end of edge i, where there is one. row and
// next are how all edges lie to it and to the one that follows.
func (w *scratch) corner(i int32, row, next []sight) {
	s := &w.sides[i]
	if s.mitred {
		return
	}
	f := &w.sides[s.next]
	w.arcs = append(w.arcs, curve{p: s.b, h0: int32(len(w.hits)), own: s.own, also: f.own, r: s.c})
	c := &w.arcs[len(w.arcs)-1]
	switch {
	case f.c == s.c:
		if !s.inward() {
			w.arcs = w.arcs[:len(w.arcs)-1]
			return
		}
		c.wedge, c.d, c.e = true, s.normal(), f.normal()
		if c.l = turned(s.d, f.d); s.ahead < 0 && math.Abs(s.turn) <= level {
			c.l = 2 // straight back
		}
		w.hitWedge(row, next)
	case s.c > f.c:
		c.also, c.d, c.e, c.l = s.own, s.normal(), vec{s.d.y, -s.d.x}, 2
		w.hitAll(row)
	default:
		c.own, c.d, c.e, c.l, c.r = f.own, vec{f.d.y, -f.d.x}, f.normal(), 2, f.c
		w.hitAll(next)
	}
	w.round(c)
}

// round cuts an arc, the last of arcs.
func (w *scratch) round(c *curve) {
	w.out = w.out[:0]
	keep := w.hits[:c.h0]
	for _, j := range w.hits[c.h0:] {
		f := &w.sides[j]
		if g := c.r + f.c + reach; f.apart2(c.p) >= g*g {
			continue // for good
		}
		keep = append(keep, j)
		if f.own != c.own && f.own != c.also {
			w.cutArc(c, f)
		}
	}
	w.hits = keep
	c.h1 = int32(len(w.hits))
	if len(w.out) == 0 {
		w.bend(c, 0, c.l, c.d, c.e)
		return
	}
	w.sort()
	t, u := 0.0, c.d
	for i := range w.out {
		v := &w.out[i]
		if v.from-t > numeric {
			w.bend(c, t, v.from, u, v.u0)
		}
		if v.to > t {
			t, u = v.to, v.u1
		}
	}
	if c.l-t > numeric {
		w.bend(c, t, c.l, u, c.e)
	}
}

// bend adds a part of the last arc.
func (w *scratch) bend(c *curve, from, to float64, u0, u1 vec) {
	t := w.more()
	t.p0, t.p1, t.u0, t.u1, t.wide = c.out(u0), c.out(u1), u0, u1, to-from
	t.arc, t.own, t.h0, t.h1, t.loop = int32(len(w.arcs)-1), c.own, c.h0, c.h1, 0
}

// cutArc adds the stretches of an arc that are nearer to an edge than its
// clearance: between the places where the circle meets the edge's own curves.
func (w *scratch) cutArc(c *curve, s *side) {
	if c.wedge && c.l <= 1 { // within the triangle of its end tangents
		k := c.r / (1 + c.d.x*c.e.x + c.d.y*c.e.y)
		m := vec{c.p.x + k*(c.d.x+c.e.x), c.p.y + k*(c.d.y+c.e.y)}
		if s.clears(c.out(c.d), m) && s.clears(m, c.out(c.e)) {
			return
		}
	}
	w.cuts = append(w.cuts[:0], spot{0, c.d})
	x, y := s.a.x-c.p.x, s.a.y-c.p.y
	if s.l > 0 {
		for _, k := range [2]float64{s.c, -s.c} { // the lines beside
			off := s.across(x, y) + k
			if h := c.r*c.r - off*off; h > 0 {
				h = math.Sqrt(h)
				w.meet(c, h*s.d.x-off*s.d.y, off*s.d.x+h*s.d.y)
				w.meet(c, -off*s.d.y-h*s.d.x, off*s.d.x-h*s.d.y)
			}
		}
	}
	w.meetDisc(c, s.c, x, y)
	if s.l > 0 {
		w.meetDisc(c, s.c, s.b.x-c.p.x, s.b.y-c.p.y)
	}
	w.cuts = append(w.cuts, spot{c.l, c.e})
	cuts := w.cuts
	for i := 1; i < len(cuts); i++ {
		for k := i; k > 0 && cuts[k].t < cuts[k-1].t; k-- {
			cuts[k], cuts[k-1] = cuts[k-1], cuts[k]
		}
	}
	open := false // the stretch before goes on
	for i := 1; i < len(cuts); i++ {
		a, b := &cuts[i-1], &cuts[i]
		if b.t-a.t <= numeric || s.apart(c.out(halfway(a, b))) >= s.c {
			open = false
			continue
		}
		if n := len(w.out); open && w.out[n-1].to == a.t {
			w.out[n-1].to, w.out[n-1].u1 = b.t, b.u
		} else {
			w.out = append(w.out, span{a.t, b.t, a.u, b.u})
		}
		open = true
	}
}

// meet adds a place where the circle of an arc is met, seen from its centre, if
// it is on the arc.
func (w *scratch) meet(c *curve, x, y float64) {
	u := vec{x / c.r, y / c.r}
	if t := turned(c.d, u); t > 0 && t < c.l {
		w.cuts = append(w.cuts, spot{t, u})
	}
}

// meetDisc adds the places where it meets the circle of radius r about x, y.
func (w *scratch) meetDisc(c *curve, r, x, y float64) {
	d2 := x*x + y*y
	if d2 == 0 {
		return
	}
	along := (d2 + c.r*c.r - r*r) / 2 // times the distance
	if h := c.r*c.r*d2 - along*along; h > 0 {
		h = math.Sqrt(h)
		w.meet(c, (along*x-h*y)/d2, (along*y+h*x)/d2)
		w.meet(c, (along*x+h*y)/d2, (along*y-h*x)/d2)
	}
}

// halfway is the direction halfway from one place on an arc to a later one.
func halfway(a, b *spot) vec {
	x, y := a.u.x+b.u.x, a.u.y+b.u.y
	if b.t-a.t > 2 {
		x, y = -x, -y
	}
	n := math.Sqrt(x*x + y*y)
	if n < 1e-3 { // a half turn
		return vec{a.u.y, -a.u.x}
	}
	return vec{x / n, y / n}
}
