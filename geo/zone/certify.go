package zone

// The certificate of a zone found directly, by exact distances of its edges.
//
// It knows nothing of how the zone was found. If it holds:
//
//   - no point of the zone's edge is nearer to a lot line or a wall than asked
//     (to arithmetic), so that, with a vertex of each given ring outside the
//     zone and a vertex of each shell on the ground, no point of the zone is:
//     the way from such a point to the line would cross the zone's edge nearer
//     still;
//   - each vertex of the zone's edge is no more than a millimetre further off
//     than some clearance, so the edge is the edge of the true zone, and what
//     was found are whole pieces of it;
//   - no two sides of the zone's edge meet but end to end, and its area is that
//     of its parts as drawn with true arcs less what the arcs' straight sides
//     take, so the loops were linked and drawn as they should be.
//
// What it can't show is that no whole piece was missed; the property test
// against the overlay looks for that.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

// block is a run of sides of one loop, pts[from:to+1], with the box about them.
// round: they are said to lie round v, none further off than far; that is
// measured, not taken on trust.
type block struct {
	box4
	loop     int
	from, to int
	round    bool
	steady   bool // each side runs on along the way from first point to last
	v        orb.Point
	far      float64
}

const blockSides = 4

func (w *scratch) certify(mp orb.MultiPolygon, lot Lot, out []KeepOut) bool {
	w.blocks = w.blocks[:0]
	fans := w.fans
	for i, l := range w.loops {
		if l.area > 0 && !w.ground(w.pts[l.from], lot, out) {
			return false
		}
		for at := l.from; at+1 < l.to; {
			b := block{loop: i, from: at, to: min(at+blockSides, l.to-1)}
			for len(fans) > 0 && fans[0].from < at {
				fans = fans[1:]
			}
			if len(fans) > 0 && fans[0].from < b.to {
				if f := fans[0]; f.from == at {
					b.round, b.v, b.to = true, f.v, f.to
				} else {
					b.to = f.from
				}
			}
			w.measure(&b)
			w.blocks = append(w.blocks, b)
			at = b.to
		}
	}
	for i := range w.blocks {
		if !w.clear(&w.blocks[i]) {
			return false
		}
	}
	for _, first := range w.rings {
		if shape.Locate(w.sides[first].a, mp) != shape.Outside {
			return false
		}
	}
	return w.simple() && w.areaHolds(mp)
}

// measure finds the box of a block, how far off its centre it reaches and
// whether it is steady.
func (w *scratch) measure(b *block) {
	pts := w.pts[b.from : b.to+1]
	b.box4 = box4{pts[0][0], pts[0][1], pts[0][0], pts[0][1]}
	last := pts[len(pts)-1]
	ux, uy := last[0]-pts[0][0], last[1]-pts[0][1]
	b.steady = true
	far := 0.0
	for k, p := range pts {
		b.take(p)
		if k > 0 && (p[0]-pts[k-1][0])*ux+(p[1]-pts[k-1][1])*uy <= 0 {
			b.steady = false
		}
		if b.round {
			far = max(far, apart2(p, b.v))
		}
	}
	b.far = math.Sqrt(far)
}

// reach is how much further off than asked a vertex may lie.
const reach = 0.001

// clear holds the sides of a block against all edges.
func (w *scratch) clear(b *block) bool {
	var tight uint64 // a bit a side, as far as they go: blocks are short but for round ones
	n := b.to - b.from
	all := b.round && w.about(b)
	for j := range w.sides {
		s := &w.sides[j]
		if s.x0-reach > b.x1 || s.x1+reach < b.x0 || s.y0-reach > b.y1 || s.y1+reach < b.y0 {
			continue
		}
		if all {
			// round its centre: either the edge is far enough from the centre,
			// or it ends there and the block lies beyond its end
			if s.apart(b.v)-b.far >= s.c {
				continue
			}
			if w.beyond(b, s) {
				if b.far <= s.c+reach {
					tight = ^uint64(0)
				}
				continue
			}
		}
		for k := 0; k < n; k++ {
			p, q := &w.pts[b.from+k], &w.pts[b.from+k+1]
			x0, x1, y0, y1 := p[0], q[0], p[1], q[1]
			if x0 > x1 {
				x0, x1 = x1, x0
			}
			if y0 > y1 {
				y0, y1 = y1, y0
			}
			if s.x0-reach > x1 || s.x1+reach < x0 || s.y0-reach > y1 || s.y1+reach < y0 {
				continue
			}
			d := s.apart(*p)
			if d < s.c-numeric {
				return false
			}
			if d <= s.c+reach {
				tight |= 1 << (k & 63)
			}
			// the start of the edge against this side
			if s.a[0] >= x0-s.c && s.a[0] <= x1+s.c && s.a[1] >= y0-s.c && s.a[1] <= y1+s.c && !offSide(s.a, p, q, s.c-numeric) {
				return false
			}
			// crossing, where the boxes themselves meet
			if min(s.a[0], s.b[0]) <= x1 && max(s.a[0], s.b[0]) >= x0 && min(s.a[1], s.b[1]) <= y1 && max(s.a[1], s.b[1]) >= y0 {
				if m, _ := shape.Cross(*p, *q, s.a, s.b); m != shape.Apart {
					return false
				}
			}
		}
	}
	if n >= 64 {
		return tight == ^uint64(0)
	}
	return tight&(1<<n-1) == 1<<n-1
}

// offSide tells whether v is no nearer than c to what is within side pq (its
// ends are measured elsewhere).
func offSide(v orb.Point, p, q *orb.Point, c float64) bool {
	ux, uy, vx, vy := q[0]-p[0], q[1]-p[1], v[0]-p[0], v[1]-p[1]
	n := ux*ux + uy*uy
	if t := ux*vx + uy*vy; t <= 0 || t >= n {
		return true
	}
	cross := ux*vy - uy*vx
	return cross*cross >= c*c*n
}

// about tells whether no side of a round block is nearer to its centre than its
// farthest point is, less the height of an arc over its chord allowed: then
// what holds for the circle holds for the block.
func (w *scratch) about(b *block) bool {
	near := b.far - reach
	for k := b.from; k < b.to; k++ {
		if apart2(w.pts[k], b.v) < near*near || !offSide(b.v, &w.pts[k], &w.pts[k+1], near) {
			return false
		}
	}
	return true
}

// beyond tells whether an edge ends in the centre of a round block that lies
// all beyond that end, so that its distance is that from the centre, and that
// this is what the edge asks.
func (w *scratch) beyond(b *block, s *side) bool {
	var dx, dy float64
	switch b.v {
	case s.a:
		dx, dy = -s.d[0], -s.d[1]
	case s.b:
		dx, dy = s.d[0], s.d[1]
	default:
		return false
	}
	if s.l == 0 {
		dx, dy = 0, 0
	}
	c := s.c - numeric
	for k := b.from; k < b.to; k++ {
		p := &w.pts[k]
		x, y := p[0]-b.v[0], p[1]-b.v[1]
		if dx*x+dy*y < -numeric || x*x+y*y < c*c || !offSide(b.v, p, &w.pts[k+1], c) {
			return false
		}
	}
	p := &w.pts[b.to]
	x, y := p[0]-b.v[0], p[1]-b.v[1]
	return dx*x+dy*y >= -numeric && x*x+y*y >= c*c
}

// simple tells whether no two sides meet but end to end.
func (w *scratch) simple() bool {
	for i := range w.blocks {
		b := &w.blocks[i]
		if !b.steady && !w.unlike(b, b) {
			return false
		}
		for j := i + 1; j < len(w.blocks); j++ {
			c := &w.blocks[j]
			if b.x0 > c.x1 || b.x1 < c.x0 || b.y0 > c.y1 || b.y1 < c.y0 {
				continue
			}
			if !w.unlike(b, c) {
				return false
			}
		}
	}
	return true
}

// unlike tells whether no side of b meets a side of c but end to end.
func (w *scratch) unlike(b, c *block) bool {
	l := &w.loops[b.loop]
	for k := b.from; k < b.to; k++ {
		p, q := w.pts[k], w.pts[k+1]
		x0, x1, y0, y1 := p[0], q[0], p[1], q[1]
		if x0 > x1 {
			x0, x1 = x1, x0
		}
		if y0 > y1 {
			y0, y1 = y1, y0
		}
		if c.x0 > x1 || c.x1 < x0 || c.y0 > y1 || c.y1 < y0 {
			continue
		}
		m := c.from
		if b == c {
			m = k + 1
		}
		for ; m < c.to; m++ {
			r, s := w.pts[m], w.pts[m+1]
			if min(r[0], s[0]) > x1 || max(r[0], s[0]) < x0 || min(r[1], s[1]) > y1 || max(r[1], s[1]) < y0 {
				continue
			}
			if b.loop == c.loop && (m == k+1 || k == l.from && m == l.to-2) {
				// end to end: only a side straight back is a fault
				ux, uy, vx, vy := q[0]-p[0], q[1]-p[1], s[0]-r[0], s[1]-r[1]
				if ux*vx+uy*vy < 0 && math.Abs(ux*vy-uy*vx) <= numeric*math.Abs(ux*vx+uy*vy) {
					return false
				}
				continue
			}
			if how, _ := shape.Cross(p, q, r, s); how != shape.Apart {
				return false
			}
		}
	}
	return true
}

// areaHolds compares the area within the rings with that within the parts as
// they truly are: straight ones, and arcs of circles. Straight sides round an
// arc of sweep a in steps of s take r*r*(tan(s/2)-s/2) a step off the ground.
func (w *scratch) areaHolds(mp orb.MultiPolygon) bool {
	o := mp[0][0][0]
	cross := func(a, b orb.Point) float64 { return (a[0]-o[0])*(b[1]-o[1]) - (b[0]-o[0])*(a[1]-o[1]) }
	drawn, size := 0.0, 0.0
	for _, p := range mp {
		for _, r := range p {
			for i := 1; i < len(r); i++ {
				t := cross(r[i-1], r[i]) / 2
				drawn += t
				size += math.Abs(t)
			}
		}
	}
	whole := 0.0
	for i := range w.parts {
		p := &w.parts[i]
		if !p.kept {
			continue
		}
		whole += cross(p.p0, p.p1) / 2
		if c := &w.curves[p.curve]; c.arc {
			a := p.t1 - p.t0
			steps := math.Ceil(a / w.arcStep(c.r))
			h := a / steps / 2
			whole -= c.r * c.r * ((a-math.Sin(a))/2 + steps*(math.Tan(h)-h))
		}
	}
	return math.Abs(drawn-whole) <= 1e-9*(1+size)
}
