package zone

// The certificate of a zone found directly, by exact distances of its edges.
//
// It takes nothing on trust but where an arc was said to be drawn round which
// point, and which edge a straight side runs beside, and measures that. A side
// is held to its edge's line and an arc's to its centre; the edges that the line
// alone tells apart from it (cut.go: beyond or behind) are clear of it by that,
// all others are measured. If it holds:
//
//   - no point of the zone's edge is nearer to a lot line or a wall than asked
//     (to arithmetic), so that, with a vertex of each given ring outside the
//     zone and a vertex of each shell on the ground, no point of the zone is:
//     the way from such a point to the line would cross the zone's edge nearer
//     still;
//   - each vertex of the zone's edge is no more than a millimetre further off
//     than some clearance, so the edge is the edge of the true zone, and what
//     was found are whole pieces of it;
//   - no two of its sides cross: of two that do, one goes on nearer to the
//     other's line than asked, unless both are of arcs, and those are compared;
//   - the area within its loops is that of its parts: triangles for straight
//     ones, and for an arc the sum of its tangents' kites, so the loops were
//     linked and drawn as they should be.
//
// What it can't show is that no whole piece was missed; the property test
// against the overlay looks for that.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

// reach is how much further off than asked a vertex may lie.
const reach = 0.001

func (w *scratch) certify() bool {
	for i := range w.drawn {
		d := &w.drawn[i]
		if d.fan >= 0 {
			f := &w.fans[d.fan]
			if c := &w.arcs[f.arc]; !w.arched(c, f, w.hits[c.h0:c.h1]) {
				return false
			}
		} else if !w.side(&w.parts[d.part], &w.pts[d.from], &w.pts[d.to]) {
			return false
		}
	}
	return w.bare() && w.simple() && w.areaHolds()
}

// bare tells whether none of the given rings is in the zone. A shell of the lot
// can't be: the zone's loops begin within it and don't cross it.
func (w *scratch) bare() bool {
	for k := range w.rings {
		l := &w.rings[k]
		if l.shell {
			continue
		}
		in := false
		for i := range w.loops {
			if inside(w.sides[l.first].a, w.pts[w.loops[i].from:w.loops[i].to]) {
				in = !in
			}
		}
		if in {
			return false
		}
	}
	return true
}

// side holds a straight side from p to q to the edge it runs beside, and
// measures it against the edges that its line does not tell apart from it.
func (w *scratch) side(c *part, p, q *orb.Point) bool {
	if !w.sides[c.own].holds(p, q) {
		return false
	}
	for _, j := range w.hits[c.h0:c.h1] {
		if !w.sides[j].clearOf(p, q) {
			return false
		}
	}
	return true
}

// holds tells whether p and q lie one after the other on the curve beside s.
func (s *side) holds(p, q *orb.Point) bool {
	const aside = 1e-5 // adds to the distance by less than arithmetic does
	px, py, qx, qy := p[0]-s.a[0], p[1]-s.a[1], q[0]-s.a[0], q[1]-s.a[1]
	u, v := s.n[0]*px+s.n[1]*py, s.n[0]*qx+s.n[1]*qy
	x, y := s.d[0]*px+s.d[1]*py, s.d[0]*qx+s.d[1]*qy
	return min(u, v) >= s.c-numeric/2 && max(u, v) <= s.c+reach/2 && x >= -aside && y <= s.l+aside && x < y
}

// clearOf tells whether a side from p to q is no nearer to an edge than asked
// and does not cross it.
func (s *side) clearOf(p, q *orb.Point) bool {
	if s.clears(p, q) {
		return true
	}
	least := s.c - numeric
	if s.apart(*p) < least || s.apart(*q) < least || !offSide(s.a, p, q, least) || !offSide(s.b, p, q, least) {
		return false
	}
	m, _ := shape.Cross(*p, *q, s.a, s.b)
	return m == shape.Apart
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

// ringed tells whether the side from p to q, both seen from the centre of an
// arc, turns on clockwise about it no nearer than r, and no end is further off
// than allowed.
func ringed(px, py, qx, qy, r float64) bool {
	least, most := r-numeric/2, r+reach
	least, most = least*least, most*most
	ux, uy := qx-px, qy-py
	turn := py*qx - px*qy
	d, e := px*px+py*py, qx*qx+qy*qy
	return min(d, e) >= least && max(d, e) <= most && turn > 0 && turn*turn >= least*(ux*ux+uy*uy)
}

// certify measures the steps of a table against its radius. An arc drawn from
// it is the table turned by a direction of length 1 and shifted.
func (t *table) certify() bool {
	x, y := t.r, 0.0
	for i := range t.steps {
		q := &t.steps[i]
		if !ringed(x, y, q.x, -q.y, t.r) || math.Abs(q.cos*q.cos+q.sin*q.sin-1) > 1e-12 {
			return false
		}
		x, y = q.x, -q.y
	}
	return true
}

// arched holds an arc as drawn to its centre: none of its sides nearer than its
// radius, no point further than allowed, each turning on clockwise; and all of
// it beyond the ends of both edges whose normals bound it. What is from the table
// is so as the table is; the rest is measured. Each edge to be measured is then
// measured against each side, but one that ends in the centre with the arc
// beyond its end.
func (w *scratch) arched(c *curve, f *fan, hits []int32) bool {
	first, last := w.pts[f.from], w.pts[f.to]
	if math.Abs(f.u[0]*f.u[0]+f.u[1]*f.u[1]-1) > 1e-12 {
		return false
	}
	p := first
	rest := f.from + 1
	if f.even > 0 {
		// the first point is that of the part before
		q := w.pts[rest]
		if !ringed(p[0]-f.v[0], p[1]-f.v[1], q[0]-f.v[0], q[1]-f.v[1], f.r) {
			return false
		}
		p = w.pts[f.from+f.even]
		rest = f.from + f.even + 1
	}
	for _, q := range w.pts[rest : f.to+1] {
		if !ringed(p[0]-f.v[0], p[1]-f.v[1], q[0]-f.v[0], q[1]-f.v[1], f.r) {
			return false
		}
		p = q
	}
	if c.wedge && !(w.sides[c.own].ends(f, first, last) && w.sides[c.also].ends(f, first, last)) {
		return false
	}
	// less than a half turn: the ends tell on which side all of it lies
	half := (first[1]-f.v[1])*(last[0]-f.v[0])-(first[0]-f.v[0])*(last[1]-f.v[1]) >= 0
	for _, j := range hits {
		s := &w.sides[j]
		if s.apart(f.v) >= f.r+s.c+reach {
			continue
		}
		if half && (s.a == f.v || s.b == f.v) && s.c <= f.r+numeric && s.ends(f, first, last) {
			continue
		}
		for m := f.from; m < f.to; m++ {
			if !s.clearOf(&w.pts[m], &w.pts[m+1]) {
				return false
			}
		}
	}
	return true
}

// ends tells whether an edge ends in the centre of an arc that is drawn at no
// less than its clearance from first to last, and these lie beyond that end.
func (s *side) ends(f *fan, first, last orb.Point) bool {
	dx, dy := s.d[0], s.d[1]
	if s.a == f.v {
		dx, dy = -dx, -dy
	} else if s.b != f.v {
		return false
	}
	return dx*(first[0]-f.v[0])+dy*(first[1]-f.v[1]) >= -numeric && dx*(last[0]-f.v[0])+dy*(last[1]-f.v[1]) >= -numeric
}

// simple tells whether no two sides of different arcs meet but end to end.
func (w *scratch) simple() bool {
	for i := range w.fans {
		f := &w.fans[i]
		for j := i + 1; j < len(w.fans); j++ {
			g := &w.fans[j]
			if d := f.r + g.r + 2*reach; apart2(f.v, g.v) >= d*d {
				continue
			}
			for k := f.from; k < f.to; k++ {
				p, q := w.pts[k], w.pts[k+1]
				box := boxOf(p, q)
				for m := g.from; m < g.to; m++ {
					r, s := w.pts[m], w.pts[m+1]
					if b := boxOf(r, s); b.apart(&box) || q == r || s == p {
						continue
					}
					if how, _ := shape.Cross(p, q, r, s); how != shape.Apart {
						return false
					}
				}
			}
		}
	}
	return true
}

// areaHolds compares the area within the loops with that of the parts they were
// linked from. Drawn by tangents at even steps and one left over, an arc holds
// r*r*tan(half a step) a step, as a kite of two right triangles.
func (w *scratch) areaHolds() bool {
	o := w.pts[0]
	found, size, whole := 0.0, 0.0, 0.0
	for i := range w.loops {
		found += w.loops[i].area
		size += math.Abs(w.loops[i].area)
	}
	cross := func(a, b *orb.Point) float64 { return ((a[0]-o[0])*(b[1]-o[1]) - (b[0]-o[0])*(a[1]-o[1])) / 2 }
	for i := range w.drawn {
		d := &w.drawn[i]
		p := &w.parts[d.part]
		if d.fan < 0 {
			whole += cross(&p.p0, &p.p1)
			continue
		}
		// the kites lie to the right of the arc, with the triangles of its ends
		// about the centre
		f := &w.fans[d.fan]
		whole += cross(&p.p0, &f.v) + cross(&f.v, &p.p1) - f.r*f.r*f.kites
	}
	return math.Abs(found-whole) <= 1e-6*(1+math.Sqrt(size))
}
