package zone

// The certificate of a zone found directly, by exact distances of its edges.
//
// It takes nothing on trust but where an arc was said to be drawn round which
// point, and measures that. If it holds:
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
	fans := w.fans
	for i := range w.loops {
		l := &w.loops[i]
		for at := l.from; at+1 < l.to; {
			if len(fans) > 0 && fans[0].from == at {
				if !w.fan(&w.fans[len(w.fans)-len(fans)]) {
					return false
				}
				at, fans = fans[0].to, fans[1:]
				continue
			}
			if !w.side(w.pts[at], w.pts[at+1]) {
				return false
			}
			at++
		}
	}
	// none of the given rings is in the zone. A shell of the lot can't be: the
	// zone's loops begin within it and don't cross it.
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
	return w.simple() && w.areaHolds()
}

// side holds a straight side, from p to before q, against all edges.
func (w *scratch) side(p, q orb.Point) bool {
	box := boxOf(p, q)
	far := box.grown(reach)
	tight := false
	for k := range w.rings {
		l := &w.rings[k]
		if l.apart(&far) {
			continue
		}
		for j := l.first; j < l.end; j++ {
			if w.boxes[j].apart(&far) {
				continue
			}
			s := &w.sides[j]
			d := s.apart(p)
			if d < s.c-numeric || !clearOf(s, &p, &q, &box) {
				return false
			}
			tight = tight || d <= s.c+reach
		}
	}
	return tight
}

// clearOf tells whether what is within side pq is no nearer to the start of an
// edge than asked and does not cross it.
func clearOf(s *side, p, q *orb.Point, box *box4) bool {
	if !offSide(s.a, p, q, s.c-numeric) {
		return false
	}
	if s.a[0] < box.x0 && s.b[0] < box.x0 || s.a[0] > box.x1 && s.b[0] > box.x1 || s.a[1] < box.y0 && s.b[1] < box.y0 || s.a[1] > box.y1 && s.b[1] > box.y1 {
		return true
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

// fan holds an arc as drawn against all edges. First its own sides against its
// centre: none nearer than its radius, no point further than allowed, each
// turning on clockwise. Then an edge is far enough from all of it when it is
// that far from the centre; so is one that ends in the centre with the arc
// beyond its end. Any other is held against each side.
func (w *scratch) fan(f *fan) bool {
	least, most := f.r-numeric, f.r+reach
	least, most = least*least, most*most
	box := box4{w.pts[f.from][0], w.pts[f.from][1], w.pts[f.from][0], w.pts[f.from][1]}
	px, py := box.x0-f.v[0], box.y0-f.v[1]
	if d := px*px + py*py; d < least || d > most {
		return false
	}
	for _, q := range w.pts[f.from+1 : f.to+1] {
		qx, qy := q[0]-f.v[0], q[1]-f.v[1]
		ux, uy := qx-px, qy-py
		turn := py*qx - px*qy
		if d := qx*qx + qy*qy; d < least || d > most || turn <= 0 || turn*turn < least*(ux*ux+uy*uy) {
			return false
		}
		px, py = qx, qy
		if q[0] < box.x0 {
			box.x0 = q[0]
		} else if q[0] > box.x1 {
			box.x1 = q[0]
		}
		if q[1] < box.y0 {
			box.y0 = q[1]
		} else if q[1] > box.y1 {
			box.y1 = q[1]
		}
	}
	box = box.grown(reach)
	first, last := w.pts[f.from], w.pts[f.to]
	// less than a half turn: the ends tell on which side all of it lies
	half := (first[1]-f.v[1])*(last[0]-f.v[0])-(first[0]-f.v[0])*(last[1]-f.v[1]) >= 0
	held := false
	for k := range w.rings {
		l := &w.rings[k]
		if l.apart(&box) {
			continue
		}
		for j := l.first; j < l.end; j++ {
			if w.boxes[j].apart(&box) {
				continue
			}
			s := &w.sides[j]
			if (s.a == f.v || s.b == f.v) && s.c <= f.r+numeric {
				dx, dy := s.d[0], s.d[1]
				if s.a == f.v {
					dx, dy = -dx, -dy
				}
				if s.l == 0 || half && dx*(first[0]-f.v[0])+dy*(first[1]-f.v[1]) >= -numeric && dx*(last[0]-f.v[0])+dy*(last[1]-f.v[1]) >= -numeric {
					held = held || s.c >= f.r-numeric
					continue
				}
			}
			if s.apart(f.v) >= s.c+f.r+reach {
				continue
			}
			for m := f.from; m < f.to; m++ {
				p, q := &w.pts[m], &w.pts[m+1]
				side := boxOf(*p, *q)
				if s.apart(*p) < s.c-numeric || !clearOf(s, p, q, &side) {
					return false
				}
			}
		}
	}
	return held
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
	drawn, size, whole := 0.0, 0.0, 0.0
	for _, l := range w.loops {
		drawn += l.area
		size += math.Abs(l.area)
	}
	cross := func(a, b orb.Point) float64 { return ((a[0]-o[0])*(b[1]-o[1]) - (b[0]-o[0])*(a[1]-o[1])) / 2 }
	fan := 0
	for i := range w.parts {
		p := &w.parts[i]
		if !p.kept {
			continue
		}
		c := &w.curves[p.curve]
		if !c.arc {
			whole += cross(p.p0, p.p1)
			continue
		}
		// the kites lie to the right of the arc, with the triangles of its ends
		// about the centre
		f := &w.fans[p.fan]
		whole += cross(p.p0, f.v) + cross(f.v, p.p1) - f.r*f.r*f.kites
		fan++
	}
	return math.Abs(drawn-whole) <= 1e-6*(1+math.Sqrt(size)) && fan == len(w.fans)
}
