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

// block is a run of sides of the zone's edge with the box about them.
type block struct {
	box4
	ring     orb.Ring
	from, to int
}

const blockSides = 8

func (w *scratch) certify(mp orb.MultiPolygon, lot Lot, out []KeepOut) bool {
	w.blocks = w.blocks[:0]
	for _, p := range mp {
		if !w.ground(p[0][0], lot, out) {
			return false
		}
		for _, r := range p {
			for i := 0; i+1 < len(r); i += blockSides {
				b := block{box4: box4{r[i][0], r[i][1], r[i][0], r[i][1]}, ring: r, from: i, to: min(i+blockSides, len(r)-1)}
				for k := i + 1; k <= b.to; k++ {
					b.take(r[k])
				}
				w.blocks = append(w.blocks, b)
			}
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

// clear holds the sides of a block against all edges.
func (w *scratch) clear(b *block) bool {
	var tight [blockSides]bool
	for j := range w.sides {
		s := &w.sides[j]
		const reach = 0.001
		if s.x0-reach > b.x1 || s.x1+reach < b.x0 || s.y0-reach > b.y1 || s.y1+reach < b.y0 {
			continue
		}
		for k := b.from; k < b.to; k++ {
			p, q := b.ring[k], b.ring[k+1]
			x0, x1, y0, y1 := min(p[0], q[0]), max(p[0], q[0]), min(p[1], q[1]), max(p[1], q[1])
			if s.x0-reach > x1 || s.x1+reach < x0 || s.y0-reach > y1 || s.y1+reach < y0 {
				continue
			}
			d := s.apart(p)
			if d < s.c-numeric {
				return false
			}
			if d <= s.c+reach {
				tight[k-b.from] = true
			}
			// the start of the edge against this side
			if s.a[0] >= x0-s.c && s.a[0] <= x1+s.c && s.a[1] >= y0-s.c && s.a[1] <= y1+s.c {
				ux, uy, vx, vy := q[0]-p[0], q[1]-p[1], s.a[0]-p[0], s.a[1]-p[1]
				n := ux*ux + uy*uy
				if t := ux*vx + uy*vy; t > 0 && t < n {
					if cross := ux*vy - uy*vx; cross*cross < (s.c-numeric)*(s.c-numeric)*n {
						return false
					}
				}
			}
			// crossing, where the boxes themselves meet
			if min(s.a[0], s.b[0]) <= x1 && max(s.a[0], s.b[0]) >= x0 && min(s.a[1], s.b[1]) <= y1 && max(s.a[1], s.b[1]) >= y0 {
				if m, _ := shape.Cross(p, q, s.a, s.b); m != shape.Apart {
					return false
				}
			}
		}
	}
	for k := 0; k < b.to-b.from; k++ {
		if !tight[k] {
			return false
		}
	}
	return true
}

// simple tells whether no two sides meet but end to end.
func (w *scratch) simple() bool {
	for i := range w.blocks {
		b := &w.blocks[i]
		for j := i; j < len(w.blocks); j++ {
			c := &w.blocks[j]
			if b.x0 > c.x1 || b.x1 < c.x0 || b.y0 > c.y1 || b.y1 < c.y0 {
				continue
			}
			same := &b.ring[0] == &c.ring[0]
			for k := b.from; k < b.to; k++ {
				p, q := b.ring[k], b.ring[k+1]
				x0, x1, y0, y1 := min(p[0], q[0]), max(p[0], q[0]), min(p[1], q[1]), max(p[1], q[1])
				if c.x0 > x1 || c.x1 < x0 || c.y0 > y1 || c.y1 < y0 {
					continue
				}
				m := c.from
				if i == j {
					m = k + 1
				}
				for ; m < c.to; m++ {
					r, s := c.ring[m], c.ring[m+1]
					if min(r[0], s[0]) > x1 || max(r[0], s[0]) < x0 || min(r[1], s[1]) > y1 || max(r[1], s[1]) < y0 {
						continue
					}
					if same {
						if last := len(b.ring) - 2; m == k+1 || k == 0 && m == last {
							// end to end: only a side straight back is a fault
							ux, uy, vx, vy := q[0]-p[0], q[1]-p[1], s[0]-r[0], s[1]-r[1]
							if ux*vx+uy*vy < 0 && math.Abs(ux*vy-uy*vx) <= numeric*math.Abs(ux*vx+uy*vy) {
								return false
							}
							continue
						}
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
