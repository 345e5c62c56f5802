package zone

// The certificate of a zone found directly, by exact distances of its edges.
//
// It takes nothing on trust but where an arc was said to be drawn round which
// point, and which edge a straight side runs beside, and measures that. A side
// is held to its edge's line and an arc's to its centre; the edges that its edge
// alone tells apart from it (sight.go: out of reach or behind) are clear of it by that,
// all others are measured, once: a curve from one natural end to the other when it
// is drawn, the last piece of a chain that was cut when it is known at which point
// the next one begins. If it holds:
//
//   - no point of the zone's edge is nearer to a lot line or a wall than asked
//     (to arithmetic), so that, with a point of each given ring outside the
//     zone and a vertex of each shell on the ground, no point of the zone is:
//     the way from such a point to the line would cross the zone's edge nearer
//     still;
//   - each vertex of the zone's edge is no further off than some clearance, but
//     by a millimetre on an arc, so the edge is the edge of the true zone, and what
//     was found are whole pieces of it;
//   - no two of its sides cross: of two that do, one goes on nearer to the
//     other's line than asked, unless both are of arcs, and those are compared;
//   - the area within its loops is that of its parts: triangles for straight
//     ones, and for an arc the sum of its tangents' kites, so the loops were
//     linked and drawn as they should be;
//   - each shell lies outside all others but where a hole holds it, each hole in
//     a shell, so none was taken twice.
//
// What it can't show is that no whole piece was missed; the property test
// against the overlay looks for that.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

const (
	// reach is how much further off than asked a vertex may lie.
	reach = 0.001
	// sameArea, times the size of the zone in metres and one, is how far the area
	// within its loops may differ from that of its parts, in m2: what is left out as
	// nothing at corners sums to a little less on one lot in ten thousand, nearly all
	// differ by less than a hundredth; and less than a corner cut by two millimetres
	// takes unless it is a needle of a quarter degree.
	sameArea = 3e-10
)

// bare tells whether none of the given rings is in the zone. One with a straight
// side of the zone's edge beside it can't be: that side has the zone to its left
// and the ring's edge to its right, and nothing of the zone's edge lies between.
func (w *scratch) bare() bool {
	for k := range w.rings {
		l := &w.rings[k]
		if l.met {
			continue
		}
		in := false
		for i := range w.loops {
			if inside(w.sides[l.first].a, w.loops[i].pts) {
				in = !in
			}
		}
		if in {
			return false
		}
	}
	return true
}

// nested tells of several loops whether each lies as its kind must: a shell in as
// many holes as shells, a hole in one shell more, and none on another. Of one
// hole answer tells where it lies.
func (w *scratch) nested() bool {
	n := len(w.loops)
	if n == 1 || n == 2 && (w.loops[0].area > 0) != (w.loops[1].area > 0) {
		return true
	}
	w.boxes = w.boxes[:0]
	for i := range w.loops {
		b := noBox
		for _, p := range w.loops[i].pts {
			b.add(p)
		}
		w.boxes = append(w.boxes, b)
	}
	for i := range w.loops {
		l := &w.loops[i]
		p, in := l.pts[0], false
		for j := range w.loops {
			if b := &w.boxes[j]; j == i || p.x < b.x0-join || p.x > b.x1+join || p.y < b.y0-join || p.y > b.y1+join {
				continue
			}
			o := w.loops[j].pts
			for k := 1; k < len(o); k++ {
				if !offSide(p, o[k-1], o[k], join) || apart2(p, o[k]) < join*join {
					return false
				}
			}
			in = in != inside(p, o)
		}
		if in != (l.area < 0) {
			return false
		}
	}
	return true
}

// side holds a straight side from p to q to the edge it runs beside, and
// measures it against the edges that its line does not tell apart from it.
func (w *scratch) side(own int32, hits stretch, p, q vec) bool {
	if !w.sides[own].holds(p, q) {
		return false
	}
	for _, j := range w.hits[hits.from:hits.to] {
		if !w.sides[j].clearOf(p, q) {
			return false
		}
	}
	return true
}

// holds tells whether p and q lie one after the other on the curve beside s.
func (s *side) holds(p, q vec) bool {
	const aside = 1e-5 // adds to the distance by less than arithmetic does
	px, py, qx, qy := p.x-s.a.x, p.y-s.a.y, q.x-s.a.x, q.y-s.a.y
	u, v := s.across(px, py), s.across(qx, qy)
	x, y := s.along(px, py), s.along(qx, qy)
	// no further off than chains are joined over: across a needle a vertex that
	// strays by more lies far along
	least, most := s.c-numeric/2, s.c+2*join
	return u >= least && v >= least && u <= most && v <= most && x >= -aside && y <= s.l+aside && x < y
}

// clearOf tells whether a side from p to q is no nearer to an edge than asked
// and does not cross it.
func (s *side) clearOf(p, q vec) bool {
	if s.clears(p, q) {
		return true
	}
	least := s.c - numeric
	if l := least * least; s.apart2(p) < l || s.apart2(q) < l || !offSide(s.a, p, q, least) || !offSide(s.b, p, q, least) {
		return false
	}
	m, _ := shape.Cross(orb.Point{p.x, p.y}, orb.Point{q.x, q.y}, orb.Point{s.a.x, s.a.y}, orb.Point{s.b.x, s.b.y})
	return m == shape.Apart
}

// offSide tells whether v is no nearer than c to what is within side pq (its
// ends are measured elsewhere).
func offSide(v, p, q vec, c float64) bool {
	ux, uy, vx, vy := q.x-p.x, q.y-p.y, v.x-p.x, v.y-p.y
	n := ux*ux + uy*uy
	if t := ux*vx + uy*vy; t <= 0 || t >= n {
		return true
	}
	cross := ux*vy - uy*vx
	return cross*cross >= c*c*n
}

// ringed tells whether a polyline, seen from the centre of an arc, turns on
// clockwise about it no nearer than r, and no vertex but the first is further off
// than allowed.
func ringed(pts []vec, c vec, r float64) bool {
	least, most := r-numeric/2, r+reach
	least, most = least*least, most*most
	x, y := pts[0].x-c.x, pts[0].y-c.y
	ok := one(x*x+y*y >= least)
	for _, p := range pts[1:] {
		u, v := p.x-c.x, p.y-c.y
		e := u*u + v*v
		turn := y*u - x*v
		dx, dy := u-x, v-y
		ok &= one(e >= least) & one(e <= most) & one(turn > 0) & one(turn*turn >= least*(dx*dx+dy*dy))
		x, y = u, v
	}
	return ok != 0
}

// certify measures the steps of a table against its radius. An arc drawn from
// it is the table turned by a direction of length 1 and shifted.
func (t *table) certify() bool {
	p := vec{t.r, 0}
	for i := range t.steps {
		s := &t.steps[i]
		q := vec{s.x, -s.y}
		if !ringed([]vec{p, q}, vec{}, t.r) || !(math.Abs(s.cos*s.cos+s.sin*s.sin-1) <= 1e-12) {
			return false
		}
		p = q
	}
	return true
}

// ringed holds an arc as drawn to its centre: none of its sides nearer than its
// radius, no point further than allowed, each turning on clockwise. What is from
// the table is so as the table is, begun at the table's start; the rest is measured.
func (w *scratch) ringed(f *fan) bool {
	p := &w.pts[f.from]
	if f.even > 0 && !(math.Abs(p.x-f.v.x-f.r*f.u.x) <= numeric/4 && math.Abs(p.y-f.v.y-f.r*f.u.y) <= numeric/4) {
		return false // the first point is that of the part before
	}
	return ringed(w.pts[f.from+f.even:f.to+1], f.v, f.r) && math.Abs(f.u.x*f.u.x+f.u.y*f.u.y-1) <= 1e-12
}

// arched certifies an arc as drawn: it is held to its centre, and all of it is
// beyond the ends of both edges whose normals bound it. Each edge to be measured
// is then measured against each side, but one that ends in the centre with the arc
// beyond its end.
func (w *scratch) arched(c *curve, f *fan, hits []int32) bool {
	if !w.ringed(f) {
		return false
	}
	first, last := w.pts[f.from], w.pts[f.to]
	cx, cy := f.v.x, f.v.y
	if c.wedge && !(w.sides[c.own].ends(f, first, last) && w.sides[c.also].ends(f, first, last)) {
		return false
	}
	// less than a half turn: the ends tell on which side all of it lies
	half := (first.y-cy)*(last.x-cx)-(first.x-cx)*(last.y-cy) >= 0
	for _, j := range hits {
		s := &w.sides[j]
		if half && (s.a == f.v || s.b == f.v) && s.c <= f.r+numeric && s.ends(f, first, last) {
			continue
		}
		pts := w.pts[f.from : f.to+1]
		if s.clearsRun(pts) {
			continue
		}
		for m := 1; m < len(pts); m++ {
			if !s.clearOf(pts[m-1], pts[m]) {
				return false
			}
		}
	}
	return true
}

// clearsRun tells whether the edge's line keeps all of a run of points at its
// clearance, on one side.
func (s *side) clearsRun(pts []vec) bool {
	nx, ny := -s.d.y, s.d.x
	least, most := math.Inf(1), math.Inf(-1)
	for i := range pts {
		y := nx*(pts[i].x-s.a.x) + ny*(pts[i].y-s.a.y)
		if y < least {
			least = y
		}
		if y > most {
			most = y
		}
	}
	g := s.c - numeric
	return least >= g || most <= -g
}

// ends tells whether an edge ends in the centre of an arc that is drawn at no
// less than its clearance from first to last, and these lie beyond that end.
func (s *side) ends(f *fan, first, last vec) bool {
	dx, dy := s.d.x, s.d.y
	if s.a == f.v {
		dx, dy = -dx, -dy
	} else if s.b != f.v {
		return false
	}
	return dx*(first.x-f.v.x)+dy*(first.y-f.v.y) >= -numeric && dx*(last.x-f.v.x)+dy*(last.y-f.v.y) >= -numeric
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
			if !w.meetNot(f, g) {
				return false
			}
		}
	}
	return true
}

// meetNot tells whether no two sides of two arcs meet but end to end.
func (w *scratch) meetNot(f, g *fan) bool {
	if f.from == f.to || g.from == g.to {
		return true
	}
	// mostly the arcs lie apart along the line through their centres
	d := vec{g.v.x - f.v.x, g.v.y - f.v.y}
	if w.furthest(f, d) < -w.furthest(g, vec{-d.x, -d.y}) {
		return true
	}
	all := noBox // of g
	for _, p := range w.pts[g.from : g.to+1] {
		all.add(p)
	}
	for k := f.from; k < f.to; k++ {
		p, q := w.pts[k], w.pts[k+1]
		box := noBox
		box.add(p)
		box.add(q)
		if box.apart(&all) {
			continue
		}
		for m := g.from; m < g.to; m++ {
			r, s := w.pts[m], w.pts[m+1]
			if r.x > box.x1 && s.x > box.x1 || r.x < box.x0 && s.x < box.x0 || r.y > box.y1 && s.y > box.y1 || r.y < box.y0 && s.y < box.y0 || q == r || s == p {
				continue
			}
			if how, _ := shape.Cross(orb.Point{p.x, p.y}, orb.Point{q.x, q.y}, orb.Point{r.x, r.y}, orb.Point{s.x, s.y}); how != shape.Apart {
				return false
			}
		}
	}
	return true
}

// furthest is how far an arc reaches in direction d, times its length.
func (w *scratch) furthest(f *fan, d vec) float64 {
	most := math.Inf(-1)
	for _, p := range w.pts[f.from : f.to+1] {
		most = max(most, d.x*p.x+d.y*p.y)
	}
	return most
}
