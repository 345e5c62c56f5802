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

	"github.com/paulmach/orb"
)

// sight is how the edges of a run lie to an edge with clearance c, a bit each:
// beyond its curve by their own clearance and more, or not to the left of it by
// more than c less their own clearance (nor at all).
type sight struct{ beyond, behind uint64 }

// curve runs round the end of an edge, an arc run clockwise; or beside one, of
// which p, d and l are made use of.
type curve struct {
	wedge bool  // an arc between the normals of the edges own and also
	own   int32 // an edge it lies at the clearance of
	also  int32
	// hits[h0:h1] are the edges that must be measured against it; all others are
	// clear of it
	h0, h1 int32
	p      orb.Point // start, or centre
	d      orb.Point // direction, or direction of the start from the centre
	e      orb.Point // of an arc: direction of the end from the centre
	l      float64   // length, or the place of the end, as of turned
	r      float64
}

// turned is the place of a direction u as seen from d: it grows from 0 to 4 as
// u turns clockwise from d once round, by 1 for a quarter turn.
func turned(d, u orb.Point) float64 {
	cos, sin := d[0]*u[0]+d[1]*u[1], d[1]*u[0]-d[0]*u[1]
	return place(cos, sin)
}

func place(cos, sin float64) float64 {
	k := cos / (math.Abs(cos) + math.Abs(sin))
	if sin >= 0 {
		return 1 - k
	}
	return 3 + k
}

// out is the point of an arc in direction u.
func (c *curve) out(u orb.Point) orb.Point {
	return orb.Point{c.p[0] + c.r*u[0], c.p[1] + c.r*u[1]}
}

// span is a stretch of a curve: distances from the start, or places as of
// turned with their directions.
type span struct {
	from, to float64
	u0, u1   orb.Point
}

// spot is a place on an arc.
type spot struct {
	t float64
	u orb.Point
}

// part is what is left of a curve between two cuts. hits[h0:h1] are the edges
// that must be measured against it; all others are clear of it.
type part struct {
	p0, p1 orb.Point
	u0, u1 orb.Point // of an arc
	wide   float64   // of an arc: by how much its places differ
	arc    int32     // in arcs; -1 for a straight one
	own    int32     // the edge that a straight one runs beside
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
			w.look(l.first, own, w.rows[0])
			c := curve{own: l.first, also: l.first, p: s.a, d: s.d, e: s.d, l: 4, r: s.c, h0: int32(len(w.hits))}
			for r := range w.runs {
				if r != own {
					w.hit(r, ^w.rows[0][r].beyond)
				}
			}
			w.round(&c)
			own++
			continue
		}
		first, row, next := w.rows[0], w.rows[0], w.rows[1]
		w.look(l.first, own, first)
		for i := l.first; i < l.end; i++ {
			to := next
			if i+1 == l.end {
				to = first
			} else {
				for i+1 >= w.runs[own].first+int32(w.runs[own].n) {
					own++
				}
				w.look(i+1, own, next)
			}
			w.straight(i, row)
			w.corner(i, row, to)
			if row, next = to, row; i == l.first {
				next = w.rows[2]
			}
		}
		own++
	}
}

// open makes room for rows.
func (w *scratch) open() {
	n := len(w.runs)
	for i := range w.rows {
		if cap(w.rows[i]) < n {
			w.rows[i] = make([]sight, 2*n)
		}
		w.rows[i] = w.rows[i][:n]
	}
	if m := n * len(w.rings); cap(w.clear) < m {
		w.clear = make([]uint64, 2*m)
	} else {
		w.clear = w.clear[:m]
		clear(w.clear)
	}
}

// look fills row with how all runs lie to edge i, which is in run own.
func (w *scratch) look(i int32, own int, row []sight) {
	s := &w.sides[i]
	n := len(w.runs)
	ring := w.runs[own].ring
	bit := uint64(1) << (i - w.runs[own].first)
	far := boxOf(s.a, s.b).grown(s.c + reach)
	off := s.n[0]*s.a[0] + s.n[1]*s.a[1]
	beyond := true // whether all of a ring is
	for r := range w.runs {
		u := &w.runs[r]
		if u.ring > ring && (r == 0 || u.ring != w.runs[r-1].ring) {
			beyond = true
		}
		known := uint64(0)
		if u.ring < ring {
			known = w.clear[int(ring)*n+r]
		}
		switch {
		case known == u.full:
			row[r] = sight{beyond: u.full}
			continue
		case n > 4 && (far.x0 > u.x1+u.g || far.x1 < u.x0-u.g || far.y0 > u.y1+u.g || far.y1 < u.y0-u.g):
			row[r] = sight{beyond: u.full}
		case s.l == 0:
			row[r] = sight{beyond: known}
		default:
			// the sign of a difference is the bit of a vertex; it comes in from above
			const sign = 1 << 63
			hi, lo := off+s.c+u.g+reach, off+min(0, s.c-u.g)+numeric/2
			a, b := uint64(0), uint64(0)
			nx, ny := s.n[0], s.n[1]
			for _, p := range w.verts[u.at : u.at+int32(u.n)+1] {
				y := nx*p[0] + ny*p[1]
				a = a>>1 | math.Float64bits(y-hi)&sign
				b = b>>1 | math.Float64bits(lo-y)&sign
			}
			k := 63 - u.n&63
			a >>= k & 63
			b >>= k & 63
			row[r] = sight{^(a|a>>1)&u.full | known, ^(b | b>>1) & u.full}
		}
		if u.ring > ring {
			beyond = beyond && row[r].beyond == u.full
			if beyond && (r+1 == n || w.runs[r+1].ring != u.ring) {
				w.clear[int(u.ring)*n+own] |= bit
			}
		}
	}
}

// hit adds the edges of run r with their bit in m to those of the curve being
// laid.
func (w *scratch) hit(r int, m uint64) {
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
	from := orb.Point{s.a[0] + s.c*s.n[0], s.a[1] + s.c*s.n[1]}
	p, e := from, orb.Point{from[0] + hi*s.d[0], from[1] + hi*s.d[1]}
	if lo > 0 {
		p = orb.Point{from[0] + lo*s.d[0], from[1] + lo*s.d[1]}
	}
	h0 := len(w.hits)
	for r := range row {
		if m := ^(row[r].beyond | row[r].behind) & w.runs[r].full; m != 0 {
			w.hit(r, m)
		}
	}
	w.out = w.out[:0]
	before := w.sides[s.prev].mitred
	for _, j := range w.hits[h0:] {
		if j == s.next && s.mitred || j == s.prev && before {
			continue // what they take is out already
		}
		f := &w.sides[j]
		if f.clears(&p, &e) {
			continue
		}
		// beyond either end of the curve
		g := f.c - numeric
		x, y := s.d[0]*(f.a[0]-p[0])+s.d[1]*(f.a[1]-p[1]), s.d[0]*(f.b[0]-p[0])+s.d[1]*(f.b[1]-p[1])
		if min(x, y) >= hi-lo+g || max(x, y) <= -g {
			continue
		}
		c := curve{own: i, p: from, d: s.d, l: s.l}
		v, ok := w.nearer(&c, f)
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
			w.lay(i, h0, p, orb.Point{from[0] + v.from*s.d[0], from[1] + v.from*s.d[1]})
		}
		if v.to > t {
			t = v.to
			p = orb.Point{from[0] + t*s.d[0], from[1] + t*s.d[1]}
		}
	}
	if hi-t > numeric {
		w.lay(i, h0, p, e)
	}
}

// lay adds a straight part.
func (w *scratch) lay(own int32, h0 int, p, q orb.Point) {
	n := len(w.parts)
	if n == cap(w.parts) {
		w.parts = append(w.parts, part{})
	}
	w.parts = w.parts[:n+1]
	t := &w.parts[n]
	t.p0, t.p1, t.arc, t.own, t.h0, t.h1, t.loop = p, q, -1, own, int32(h0), int32(len(w.hits)), 0
}

// clears tells whether the edge's line, or a line across it beyond one of its
// ends, keeps all between p and q at its clearance.
func (s *side) clears(p, q *orb.Point) bool {
	px, py, qx, qy := p[0]-s.a[0], p[1]-s.a[1], q[0]-s.a[0], q[1]-s.a[1]
	g := s.c - numeric
	u, v := s.n[0]*px+s.n[1]*py, s.n[0]*qx+s.n[1]*qy
	if u >= g && v >= g || u <= -g && v <= -g {
		return true
	}
	u, v = s.d[0]*px+s.d[1]*py, s.d[0]*qx+s.d[1]*qy
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

// nearer is what of a straight curve is nearer to edge j than its clearance. Of
// an edge that adjoins with the same clearance the disc about the corner shared
// only touches the curve's end, and does not count.
func (w *scratch) nearer(c *curve, s *side) (span, bool) {
	o := &w.sides[c.own]
	a, b := true, true
	if s.c == o.c {
		n, p := w.sides[o.next].own, w.sides[o.prev].own
		if s.own == n && n != o.own || s.own == p && p != o.own {
			a = s.a != o.a && s.a != o.b
			b = s.b != o.a && s.b != o.b
		}
	}
	return c.beside(s, a, b)
}

// beside is what of a straight curve is nearer to an edge than its clearance:
// one stretch, for the ground within a distance of an edge is convex.
func (c *curve) beside(s *side, discA, discB bool) (span, bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	px, py := c.p[0]-s.a[0], c.p[1]-s.a[1]
	r := s.c
	if s.l > 0 {
		t0, t1 := 0.0, c.l
		y, v := s.n[0]*px+s.n[1]*py, s.n[0]*c.d[0]+s.n[1]*c.d[1]
		switch {
		case v > 0:
			t0, t1 = max(t0, (-r-y)/v), min(t1, (r-y)/v)
		case v < 0:
			t0, t1 = max(t0, (r-y)/v), min(t1, (-r-y)/v)
		case y <= -r || y >= r:
			t1 = t0
		}
		if t0 < t1 {
			x, u := s.d[0]*px+s.d[1]*py, s.d[0]*c.d[0]+s.d[1]*c.d[1]
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
	disc := func(x, y float64) { // the end of the edge from the start of the curve
		off := c.d[0]*y - c.d[1]*x
		if h := r*r - off*off; h > 0 {
			h = math.Sqrt(h)
			along := c.d[0]*x + c.d[1]*y
			lo, hi = min(lo, along-h), max(hi, along+h)
		}
	}
	if discA {
		disc(-px, -py)
	}
	if discB && s.l > 0 {
		disc(s.b[0]-c.p[0], s.b[1]-c.p[1])
	}
	lo, hi = max(lo, 0), min(hi, c.l)
	return span{from: lo, to: hi}, hi-lo > numeric
}

// apart is the distance from a point to an edge.
func (s *side) apart(p orb.Point) float64 {
	x, y := p[0]-s.a[0], p[1]-s.a[1]
	t := s.d[0]*x + s.d[1]*y
	switch {
	case t <= 0:
		return math.Sqrt(x*x + y*y)
	case t >= s.l:
		x, y = p[0]-s.b[0], p[1]-s.b[1]
		return math.Sqrt(x*x + y*y)
	}
	return math.Abs(s.n[0]*x + s.n[1]*y)
}

// corner lays and cuts the arc at the end of edge i, where there is one. row and
// next are how all edges lie to it and to the one that follows.
func (w *scratch) corner(i int32, row, next []sight) {
	s := &w.sides[i]
	if s.mitred {
		return
	}
	f := &w.sides[s.next]
	c := curve{p: s.b, h0: int32(len(w.hits)), own: s.own, also: f.own, r: s.c}
	switch {
	case f.c == s.c:
		if !s.inward() {
			return
		}
		// between two normals: an edge behind both lines lies in a wedge whose
		// nearest point is the corner
		c.wedge, c.d, c.e = true, s.n, f.n
		if c.l = turned(s.n, f.n); s.ahead < 0 && math.Abs(s.turn) <= level {
			c.l = 2 // straight back
		}
		for r := range row {
			if m := ^(row[r].beyond | next[r].beyond | row[r].behind&next[r].behind) & w.runs[r].full; m != 0 {
				w.hit(r, m)
			}
		}
	case s.c > f.c:
		c.also, c.d, c.e, c.l = s.own, s.n, orb.Point{-s.n[0], -s.n[1]}, 2
		for r := range row {
			w.hit(r, ^row[r].beyond)
		}
	default:
		c.own, c.d, c.e, c.l, c.r = f.own, orb.Point{-f.n[0], -f.n[1]}, f.n, 2, f.c
		for r := range next {
			w.hit(r, ^next[r].beyond)
		}
	}
	w.round(&c)
}

// round cuts an arc.
func (w *scratch) round(c *curve) {
	w.out = w.out[:0]
	keep := w.hits[:c.h0]
	for _, j := range w.hits[c.h0:] {
		f := &w.sides[j]
		if f.apart(c.p) >= c.r+f.c+reach {
			continue // for good
		}
		keep = append(keep, j)
		if f.own != c.own && f.own != c.also {
			w.cutArc(c, f)
		}
	}
	w.hits = keep
	c.h1 = int32(len(w.hits))
	id := int32(len(w.arcs))
	w.arcs = append(w.arcs, *c)
	lay := func(from, to float64, u0, u1 orb.Point) {
		w.parts = append(w.parts, part{p0: c.out(u0), p1: c.out(u1), u0: u0, u1: u1, wide: to - from, arc: id, own: c.own, h0: c.h0, h1: c.h1})
	}
	if len(w.out) == 0 {
		lay(0, c.l, c.d, c.e)
		return
	}
	w.sort()
	t, u := 0.0, c.d
	for i := range w.out {
		v := &w.out[i]
		if v.from-t > numeric {
			lay(t, v.from, u, v.u0)
		}
		if v.to > t {
			t, u = v.to, v.u1
		}
	}
	if c.l-t > numeric {
		lay(t, c.l, u, c.e)
	}
}

// cutArc adds the stretches of an arc that are nearer to an edge than its
// clearance: between the places where the circle meets the edge's own curves.
func (w *scratch) cutArc(c *curve, s *side) {
	if c.wedge && c.l <= 1 { // within the triangle of its end tangents
		k := c.r / (1 + c.d[0]*c.e[0] + c.d[1]*c.e[1])
		p, q, m := c.out(c.d), c.out(c.e), orb.Point{c.p[0] + k*(c.d[0]+c.e[0]), c.p[1] + k*(c.d[1]+c.e[1])}
		if s.clears(&p, &m) && s.clears(&m, &q) {
			return
		}
	}
	cuts := append(w.cuts[:0], spot{0, c.d})
	meet := func(x, y float64) { // from the centre
		u := orb.Point{x / c.r, y / c.r}
		if t := turned(c.d, u); t > 0 && t < c.l {
			cuts = append(cuts, spot{t, u})
		}
	}
	x, y := s.a[0]-c.p[0], s.a[1]-c.p[1]
	if s.l > 0 {
		for _, k := range [2]float64{s.c, -s.c} { // the lines beside
			off := s.n[0]*x + s.n[1]*y + k
			if h := c.r*c.r - off*off; h > 0 {
				h = math.Sqrt(h)
				meet(off*s.n[0]+h*s.d[0], off*s.n[1]+h*s.d[1])
				meet(off*s.n[0]-h*s.d[0], off*s.n[1]-h*s.d[1])
			}
		}
	}
	disc := func(x, y float64) {
		d2 := x*x + y*y
		if d2 == 0 {
			return
		}
		along := (d2 + c.r*c.r - s.c*s.c) / 2 // times the distance
		if h := c.r*c.r*d2 - along*along; h > 0 {
			h = math.Sqrt(h)
			meet((along*x-h*y)/d2, (along*y+h*x)/d2)
			meet((along*x+h*y)/d2, (along*y-h*x)/d2)
		}
	}
	disc(x, y)
	if s.l > 0 {
		disc(s.b[0]-c.p[0], s.b[1]-c.p[1])
	}
	cuts = append(cuts, spot{c.l, c.e})
	for i := 1; i < len(cuts); i++ {
		for k := i; k > 0 && cuts[k].t < cuts[k-1].t; k-- {
			cuts[k], cuts[k-1] = cuts[k-1], cuts[k]
		}
	}
	w.cuts = cuts
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

// halfway is the direction halfway from one place on an arc to a later one.
func halfway(a, b *spot) orb.Point {
	x, y := a.u[0]+b.u[0], a.u[1]+b.u[1]
	if b.t-a.t > 2 {
		x, y = -x, -y
	}
	n := math.Sqrt(x*x + y*y)
	if n < 1e-3 { // a half turn
		return orb.Point{a.u[1], -a.u[0]}
	}
	return orb.Point{x / n, y / n}
}
