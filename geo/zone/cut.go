package zone

// Curves beside the edges and round their ends: what other edges leave of them.
//
// Nearly all pairs of a curve and an edge are told apart by a look along the
// curve's own edge (sight.go). Only the few that straddle are looked at one by one,
// and what finds them clear of the whole curve certifies it too (certify.go): it is
// measured once.

import (
	"math"
	"math/bits"
)

// curve runs clockwise round the end of an edge.
type curve struct {
	wedge bool  // it runs between the normals of the edges own and also
	own   int32 // an edge it lies at the clearance of
	also  int32
	p     vec     // centre
	d, e  vec     // directions of the start and the end from the centre
	l     float64 // the place of the end, as of turned
	r     float64
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

// stretch is a stretch of a list.
type stretch struct{ from, to int32 }

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

// hitAll adds all edges that are not out of reach.
func (w *scratch) hitAll(row []sight) {
	for k := range row {
		w.hit(row[k].run, ^row[k].out)
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
			if m := ^(r.out | t.out | r.behind&t.behind); m != 0 {
				w.hit(r.run, m)
			}
		}
	}
}

// hit adds the edges of run r with their bit in m to those of the curve being
// laid.
func (w *scratch) hit(r int32, m uint64) {
	u := &w.runs[r]
	for m &= u.edges; m != 0; m &= m - 1 {
		w.hits = append(w.hits, u.first+int32(bits.TrailingZeros64(m)))
	}
}

// straight draws what is left of the curve beside edge i, which runs from p to q
// but for what is cut out of it.
func (w *scratch) straight(i int32, row []sight, p, q vec) {
	s := &w.sides[i]
	lo, hi := s.lo, s.hi
	if hi-lo <= numeric { // nothing between those that adjoin
		w.lift(p)
		return
	}
	// where the edges meet at a mitre, it lies at the clearance of both, and the
	// curve leads away from the one that adjoins: only the mitre is to be measured
	sure := true
	before, after := one(w.sides[s.prev].mitred), one(s.mitred)
	if before != 0 {
		e := &w.sides[s.prev]
		sure = e.off(p) >= e.c-numeric
	}
	if after != 0 {
		f := &w.sides[s.next]
		sure = sure && f.off(q) >= f.c-numeric
	}
	h := len(w.hits)
	w.out = w.out[:0]
	for k := range row {
		r := &row[k]
		u := &w.runs[r.run]
		m := ^(r.out | r.behind) & u.edges
		m &^= after<<uint32(s.next-u.first) | before<<uint32(s.prev-u.first)
		for ; m != 0; m &= m - 1 {
			j := u.first + int32(bits.TrailingZeros64(m))
			f := &w.sides[j]
			if f.clears(p, q) {
				continue
			}
			w.hits = append(w.hits, j)
			if v, ok := w.nearer(s, s.left(s.a), f); ok {
				if v.from <= lo && v.to >= hi { // all of it
					w.lift(p)
					w.hits = w.hits[:h]
					return
				}
				w.out = append(w.out, v)
			}
		}
	}
	hits := stretch{int32(h), int32(len(w.hits))}
	if len(w.out) == 0 {
		sure = sure && s.holds(p, q) && (len(w.hits) == h || w.side(i, hits, p, q))
		w.beside(p, q, sure)
		w.hits = w.hits[:h]
		return
	}
	w.sort()
	from := s.left(s.a)
	t := lo
	for k := range w.out {
		v := &w.out[k]
		if v.from >= hi {
			break
		}
		if v.from-t > numeric {
			e := vec{from.x + v.from*s.d.x, from.y + v.from*s.d.y}
			w.beside(p, e, sure)
			w.end(e).last = piece{own: i, fan: -1, hits: hits}
		} else {
			w.lift(p)
		}
		if v.to > t {
			t = v.to
			p = vec{from.x + t*s.d.x, from.y + t*s.d.y}
		}
	}
	if hi-t > numeric {
		w.beside(p, q, sure && w.side(i, hits, p, q))
	}
}

// clears tells whether the edge's line, or a line across it beyond one of its
// ends, keeps all between p and q at its clearance.
func (s *side) clears(p, q vec) bool {
	g := s.c - numeric
	// which of these decides can't be foretold (see apart)
	u, v := s.off(p), s.off(q)
	if one(u >= g)&one(v >= g)|one(u <= -g)&one(v <= -g) != 0 {
		return true
	}
	u, v = s.along(p.x-s.a.x, p.y-s.a.y), s.along(q.x-s.a.x, q.y-s.a.y)
	h := s.l + g
	return one(u <= -g)&one(v <= -g)|one(u >= h)&one(v >= h) != 0
}

// clearsAll tells whether the edge's line, or a line across it beyond one of its
// ends, keeps three points at its clearance and a millimetre more.
func (s *side) clearsAll(p, q, r vec) bool {
	g := s.c + reach
	a, b, c := s.off(p), s.off(q), s.off(r)
	if one(a >= g)&one(b >= g)&one(c >= g)|one(a <= -g)&one(b <= -g)&one(c <= -g) != 0 {
		return true
	}
	a, b, c = s.along(p.x-s.a.x, p.y-s.a.y), s.along(q.x-s.a.x, q.y-s.a.y), s.along(r.x-s.a.x, r.y-s.a.y)
	h := s.l + g
	return one(a <= -g)&one(b <= -g)&one(c <= -g)|one(a >= h)&one(b >= h)&one(c >= h) != 0
}

// sort orders the few stretches to take out.
func (w *scratch) sort() {
	for i := 1; i < len(w.out); i++ {
		for k := i; k > 0 && w.out[k].from < w.out[k-1].from; k-- {
			w.out[k], w.out[k-1] = w.out[k-1], w.out[k]
		}
	}
}

// nearer is what of the curve beside side o, which starts at p, is nearer to edge
// s than its clearance. Of an edge that adjoins with the same clearance the disc
// about the corner shared only touches the curve's end, and does not count.
func (w *scratch) nearer(o *side, p vec, s *side) (span, bool) {
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

// sharp is the cosine of the turn beyond which the triangle of an arc's end tangents
// is too long to be of use.
const sharp = -0.5

// wedge draws and certifies the arc from p to q at the end of edge s, between its
// normal and that of the next edge f, where the two have one clearance, the turn is
// no sharper than that, and what lies near keeps clear of the triangle of the arc's
// end tangents: nearly all arcs. False for another, which is left to corner.
func (w *scratch) wedge(s, f *side, row, next []sight, p, q vec) bool {
	if f.c != s.c || !(s.turn < -level && s.ahead > sharp) {
		return false
	}
	v, u, m := s.b, s.normal(), f.normal()
	k := s.c / (1 + s.ahead)
	tip := vec{v.x + k*(u.x+m.x), v.y + k*(u.y+m.y)}
	for k, j := 0, 0; k < len(row); k++ {
		r := &row[k]
		for j < len(next) && next[j].run < r.run {
			j++
		}
		if j == len(next) {
			break
		}
		t := &next[j]
		if t.run != r.run {
			continue
		}
		o := &w.runs[r.run]
		for b := ^(r.out | t.out | r.behind&t.behind) & o.edges; b != 0; b &= b - 1 {
			if !w.sides[o.first+int32(bits.TrailingZeros64(b))].clearsAll(p, tip, q) {
				return false
			}
		}
	}
	c := w.begin(p, true)
	n := w.fan(v, s.c, u, m, place(s.ahead, -s.turn), q)
	if n < 0 {
		return true
	}
	w.pts = append(w.pts, q)
	c.sure = c.sure && w.ringed(&w.fans[n]) && (p.y-v.y)*(q.x-v.x)-(p.x-v.x)*(q.y-v.y) >= 0 &&
		s.d.x*(p.x-v.x)+s.d.y*(p.y-v.y) >= -numeric && s.d.x*(q.x-v.x)+s.d.y*(q.y-v.y) >= -numeric &&
		f.d.x*(p.x-v.x)+f.d.y*(p.y-v.y) <= numeric && f.d.x*(q.x-v.x)+f.d.y*(q.y-v.y) <= numeric
	w.pts = w.pts[:len(w.pts)-1]
	return true
}

// corner draws what is left of the arc at the end of edge i, where there is one;
// q is where the curve beside that edge ends. row and next are how all edges lie
// to it and to the one that follows.
func (w *scratch) corner(i int32, row, next []sight, q vec) {
	s := &w.sides[i]
	f := &w.sides[s.next]
	c := curve{p: s.b, own: s.own, also: f.own, r: s.c}
	h := len(w.hits)
	switch {
	case f.c == s.c:
		if !s.inward() {
			w.lift(q)
			return
		}
		c.wedge, c.d, c.e = true, s.normal(), f.normal()
		if c.l = turned(s.d, f.d); s.ahead < 0 && math.Abs(s.turn) <= level {
			c.l = 2 // straight back
		}
		w.hitWedge(row, next)
		w.round(&c, h)
	case s.c > f.c:
		c.also, c.d, c.e, c.l = s.own, s.normal(), vec{s.d.y, -s.d.x}, 2
		w.hitAll(row)
		w.round(&c, h)
		w.lift(c.out(c.e))
	default:
		w.lift(q)
		c.own, c.d, c.e, c.l, c.r = f.own, vec{f.d.y, -f.d.x}, f.normal(), 2, f.c
		w.hitAll(next)
		w.round(&c, h)
	}
}

// round draws what is left of an arc; w.hits[h:] are the edges to measure it
// against, and are kept where some of it waits for that.
func (w *scratch) round(c *curve, h int) {
	w.out = w.out[:0]
	keep := w.hits[:h]
	first, last := c.out(c.d), c.out(c.e)
	var tip vec // where the end tangents meet
	ahead := c.d.x*c.e.x + c.d.y*c.e.y
	flat := c.wedge && ahead > sharp
	if flat {
		k := c.r / (1 + ahead)
		tip = vec{c.p.x + k*(c.d.x+c.e.x), c.p.y + k*(c.d.y+c.e.y)}
	}
	for _, j := range w.hits[h:] {
		f := &w.sides[j]
		if f.own != c.own && f.own != c.also {
			// an arc as drawn is within the triangle of its end tangents, or no
			// further than reach from what is
			if g := c.r + f.c + reach; flat && f.clearsAll(first, tip, last) || f.apart2(c.p) >= g*g {
				continue // for good
			}
			w.cutArc(c, f)
		}
		keep = append(keep, j)
	}
	w.hits = keep
	hits := stretch{int32(h), int32(len(keep))}
	if len(w.out) == 0 {
		w.begin(first, true)
		w.bow(c, c.d, c.e, c.l, last, hits)
		w.hits = w.hits[:h]
		return
	}
	w.sort()
	t, u := 0.0, c.d
	for i := range w.out {
		v := &w.out[i]
		if v.from-t > numeric {
			w.begin(c.out(u), true)
			e := c.out(v.u0)
			k := w.fan(c.p, c.r, u, v.u0, wide(u, v.u0, v.from-t), e)
			w.end(e).last = piece{arc: int32(len(w.arcs)), fan: k, hits: hits}
		} else {
			w.lift(first)
		}
		if v.to > t {
			t, u = v.to, v.u1
		}
	}
	if c.l-t > numeric {
		w.begin(c.out(u), true)
		w.bow(c, u, c.e, wide(u, c.e, c.l-t), last, hits)
	}
	w.arcs = append(w.arcs, *c)
}

// wide is the place of direction v as seen from u, of which it is known to lie
// about t on.
func wide(u, v vec, t float64) float64 {
	switch p := turned(u, v); {
	case p > 3 && t < 1:
		return 0
	case p < 1 && t > 3:
		return 4
	default:
		return p
	}
}

// bow draws the last stretch of an arc, from direction u to its end q, t further
// on, and certifies it.
func (w *scratch) bow(c *curve, u, v vec, t float64, q vec, hits stretch) {
	k := w.fan(c.p, c.r, u, v, t, q)
	l := &w.chains[len(w.chains)-1]
	if l.sure = l.sure && k >= 0; l.sure {
		w.pts = append(w.pts, q)
		l.sure = w.arched(c, &w.fans[k], w.hits[hits.from:hits.to])
		w.pts = w.pts[:len(w.pts)-1]
	}
}

// cutArc adds the stretches of an arc that are nearer to an edge than its
// clearance: between the places where the circle meets the edge's own curves.
func (w *scratch) cutArc(c *curve, s *side) {
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
