package route

// A field is an area made ready for many questions "does this segment stay
// inside": its edges in blocks with boxes, about a local origin.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// eps is the numeric tolerance in metres: a tenth of a micrometre, more than
// the rounding of coordinates at 4,000,000 m and no legal tolerance (the caller
// keeps its own millimetre in hand).
const eps = 1e-7

type edge struct{ p, q orb.Point }

// box is upright.
type box struct{ lo, hi orb.Point }

// emptyBox holds nothing.
func emptyBox() box {
	return box{orb.Point{math.Inf(1), math.Inf(1)}, orb.Point{math.Inf(-1), math.Inf(-1)}}
}

// take makes the box large enough for another.
func (b *box) take(o box) {
	for c := range 2 {
		b.lo[c], b.hi[c] = min(b.lo[c], o.lo[c]), max(b.hi[c], o.hi[c])
	}
}

func boxOf(p, q orb.Point) box {
	return box{orb.Point{min(p[0], q[0]), min(p[1], q[1])}, orb.Point{max(p[0], q[0]), max(p[1], q[1])}}
}

// beam is a segment made ready to be held against boxes and edges.
type beam struct {
	a, b   orb.Point
	l      float64   // its length, more than 0
	u      orb.Point // its direction
	ux, uy float64   // halves of the absolutes
	ca     float64
	box    // widened by tol
	tol    float64
}

// newBeam takes the segment ab, its length, and by how much it is widened.
func newBeam(a, b orb.Point, l, tol float64) beam {
	u := orb.Point{(b[0] - a[0]) / l, (b[1] - a[1]) / l}
	m := beam{a: a, b: b, l: l, u: u, ux: math.Abs(u[0]) / 2, uy: math.Abs(u[1]) / 2, ca: u[0]*a[1] - u[1]*a[0], tol: tol}
	m.lo = orb.Point{min(a[0], b[0]) - tol, min(a[1], b[1]) - tol}
	m.hi = orb.Point{max(a[0], b[0]) + tol, max(a[1], b[1]) + tol}
	return m
}

// misses tells whether a box lies apart from the segment's box, or wholly to
// one side of its line.
func (m *beam) misses(b *box) bool {
	if b.hi[0] < m.lo[0] || b.lo[0] > m.hi[0] || b.hi[1] < m.lo[1] || b.lo[1] > m.hi[1] {
		return true
	}
	off := m.u[0]*((b.lo[1]+b.hi[1])/2) - m.u[1]*((b.lo[0]+b.hi[0])/2) - m.ca
	r := m.ux*(b.hi[1]-b.lo[1]) + m.uy*(b.hi[0]-b.lo[0]) + m.tol
	return off > r || off < -r
}

// block is a box round edges, or round blocks, [i, j) of one part.
type block struct {
	box
	i, j int
	part int
}

type field struct {
	edges  []edge
	blocks []block
	groups []block // of blocks
	rings  []int   // by ring, the place after its last edge
	tol    float64
	box    // of all edges
}

// outline is the vertices of an area with their neighbours, area on the left;
// corner i begins edge i, and after and before are its neighbours' places.
type outline struct {
	corners       []corner
	after, before []int
}

func (f *field) outline() *outline {
	n := len(f.edges)
	o := &outline{make([]corner, n), make([]int, n), make([]int, n)}
	first := 0
	for _, end := range f.rings {
		for i := first; i < end; i++ {
			o.after[i], o.before[i] = i+1, i-1
			if i == first {
				o.before[i] = end - 1
			}
			if i+1 == end {
				o.after[i] = first
			}
			o.corners[i] = corner{f.edges[o.before[i]].p, f.edges[i].p, f.edges[i].q}
		}
		first = end
	}
	return o
}

type corner struct{ prev, at, next orb.Point }

// reflex tells whether the area turns round the corner by more than half a
// circle: only there does a shortest way bend.
func (c corner) reflex() bool {
	return cross(sub(c.at, c.prev), sub(c.next, c.at)) < -1e-12*dist(c.prev, c.at)*dist(c.at, c.next)
}

const blockSize = 6

// newField takes shells and holes in any order of turn, moved by -origin.
func newField(mp orb.MultiPolygon, origin orb.Point) *field {
	n, rings := 0, 0
	for _, poly := range mp {
		rings += len(poly)
		for _, ring := range poly {
			n += len(ring)
		}
	}
	f := &field{tol: eps, box: emptyBox(), edges: make([]edge, 0, n), blocks: make([]block, 0, n/blockSize+rings), rings: make([]int, 0, rings)}
	pts := make([]orb.Point, 0, n)
	for part, poly := range mp {
		for k, ring := range poly {
			pts = pts[:0]
			for _, p := range ring {
				p = sub(p, origin)
				if n := len(pts); n > 0 {
					if d := sub(p, pts[n-1]); !(dot(d, d) > eps*eps) {
						continue
					}
				}
				pts = append(pts, p)
			}
			for len(pts) > 1 && dist(pts[0], pts[len(pts)-1]) <= eps {
				pts = pts[:len(pts)-1]
			}
			if len(pts) < 3 {
				continue
			}
			if a := turnArea(pts); (a > 0) != (k == 0) {
				slices.Reverse(pts)
			}
			first, last := len(f.edges), len(pts)-1
			for i, p := range pts[:last] {
				f.edges = append(f.edges, edge{p, pts[i+1]})
			}
			f.edges = append(f.edges, edge{pts[last], pts[0]})
			f.rings = append(f.rings, len(f.edges))
			for i := first; i < len(f.edges); i += blockSize {
				j := min(i+blockSize, len(f.edges))
				b := block{box: emptyBox(), i: i, j: j, part: part}
				for _, e := range f.edges[i:j] {
					b.take(boxOf(e.p, e.q))
				}
				f.blocks = append(f.blocks, b)
				f.take(b.box)
			}
		}
	}
	const groupSize = 8
	for i, b := range f.blocks {
		n := len(f.groups)
		if n == 0 || f.groups[n-1].part != b.part || i-f.groups[n-1].i >= groupSize {
			f.groups = append(f.groups, block{b.box, i, i + 1, b.part})
			continue
		}
		g := &f.groups[n-1]
		g.take(b.box)
		g.j = i + 1
	}
	return f
}

func turnArea(pts []orb.Point) float64 {
	var a float64
	last := len(pts) - 1
	for i, p := range pts[:last] {
		a += cross(p, pts[i+1])
	}
	return (a + cross(pts[last], pts[0])) / 2
}

// holds tells whether p is in the closed area, its boundary widened by the
// tolerance.
func (f *field) holds(p orb.Point) bool { return f.part(p) >= 0 }

// part returns which part of the area holds p, -1 for none.
func (f *field) part(p orb.Point) int {
	odd := false
	eps := f.tol
	for gi := range f.groups {
		g := &f.groups[gi]
		if gi > 0 && g.part != f.groups[gi-1].part && odd {
			return f.groups[gi-1].part
		}
		if g.hi[0] < p[0]-eps || g.lo[1] > p[1]+eps || g.hi[1] < p[1]-eps {
			continue
		}
		for i := g.i; i < g.j; i++ {
			b := &f.blocks[i]
			if b.hi[0] < p[0]-eps || b.lo[1] > p[1]+eps || b.hi[1] < p[1]-eps {
				continue
			}
			for _, e := range f.edges[b.i:b.j] {
				if e.p[0] < p[0]-eps && e.q[0] < p[0]-eps {
					continue
				}
				if (e.p[1] > p[1]+eps && e.q[1] > p[1]+eps) || (e.p[1] < p[1]-eps && e.q[1] < p[1]-eps) {
					continue
				}
				if distTo(p, e.p, e.q) <= eps {
					return b.part
				}
				if (e.p[1] > p[1]) != (e.q[1] > p[1]) {
					x := e.p[0] + (p[1]-e.p[1])/(e.q[1]-e.p[1])*(e.q[0]-e.p[0])
					if x > p[0] {
						odd = !odd
					}
				}
			}
		}
	}
	if odd {
		return f.groups[len(f.groups)-1].part
	}
	return -1
}

// cuts appends to ts the distances from a at which the segment ab meets the
// boundary, strictly between its ends. proper is true when an edge crosses
// right through it: then, unless all are asked for, the rest is left out.
func (f *field) cuts(a, b orb.Point, all bool, ts []float64) (_ []float64, proper bool) {
	m := newBeam(a, b, dist(a, b), f.tol)
	return f.cutBy(&m, all, ts)
}

// cutBy is cuts of the segment of a beam.
func (f *field) cutBy(m *beam, all bool, ts []float64) (_ []float64, proper bool) {
	a, l, u, ca, eps := m.a, m.l, m.u, m.ca, f.tol
	for gi := range f.groups {
		g := &f.groups[gi]
		if m.misses(&g.box) {
			continue
		}
		for i := g.i; i < g.j; i++ {
			bl := &f.blocks[i]
			if m.misses(&bl.box) {
				continue
			}
			for k := bl.i; k < bl.j; k++ {
				e := &f.edges[k]
				sp := u[0]*e.p[1] - u[1]*e.p[0] - ca
				sq := u[0]*e.q[1] - u[1]*e.q[0] - ca
				if (sp > eps && sq > eps) || (sp < -eps && sq < -eps) {
					continue
				}
				tp := (e.p[0]-a[0])*u[0] + (e.p[1]-a[1])*u[1]
				tq := (e.q[0]-a[0])*u[0] + (e.q[1]-a[1])*u[1]
				if (sp > eps && sq < -eps) || (sp < -eps && sq > eps) {
					if t := tp + (tq-tp)*sp/(sp-sq); t > eps && t < l-eps {
						ts = append(ts, t)
						// an end that is itself on the edge, but for rounding, only touches
						w := math.Abs(sp - sq)
						if d := min(t, l-t); d*w > eps*dist(e.p, e.q) {
							if proper = true; !all {
								return ts, true
							}
						}
					}
					continue
				}
				if math.Abs(sp) <= eps && tp > eps && tp < l-eps {
					ts = append(ts, tp)
				}
				if math.Abs(sq) <= eps && tq > eps && tq < l-eps {
					ts = append(ts, tq)
				}
			}
		}
	}
	return ts, proper
}

// clear tells whether the segment ab stays in one part of the closed area.
// Running along an edge and through a vertex are both allowed; from part to part
// through a point where they touch is not.
func (f *field) clear(a, b orb.Point) bool {
	l := dist(a, b)
	eps := f.tol
	if l <= eps {
		return f.holds(a)
	}
	var buf [16]float64
	ts, proper := f.cuts(a, b, false, buf[:0])
	if proper {
		return false
	}
	slices.Sort(ts)
	last, part := 0.0, -1
	for i := 0; i <= len(ts); i++ {
		t := l
		if i < len(ts) {
			t = ts[i]
		}
		if t-last > 4*eps || len(ts) == 0 {
			in := f.part(lerp(a, b, (last+t)/2/l))
			if in < 0 || part >= 0 && in != part {
				return false
			}
			part = in
		}
		last = t
	}
	return true
}

// inside returns how much of the segment of a beam lies in the area, and how
// often it enters it after its start.
func (f *field) inside(m *beam) (length float64, enters int) {
	a, b, l := m.a, m.b, m.l
	var buf [16]float64
	ts, _ := f.cutBy(m, true, buf[:0])
	slices.Sort(ts)
	last, was := 0.0, true
	for i := 0; i <= len(ts); i++ {
		t := l
		if i < len(ts) {
			t = ts[i]
		}
		if t-last > 4*eps {
			in := f.holds(lerp(a, b, (last+t)/2/l))
			if in {
				length += t - last
				if !was {
					enters++
				}
			}
			was = in
		}
		last = t
	}
	return length, enters
}

// nearest returns the point of the closed area nearest to p.
func (f *field) nearest(p orb.Point) (orb.Point, float64) {
	if f.holds(p) {
		return p, 0
	}
	best, at := math.Inf(1), p
	for _, e := range f.edges {
		q := foot(p, e.p, e.q)
		if d := dist(p, q); d < best-eps {
			best, at = d, q
		}
	}
	return at, best
}

func sub(a, b orb.Point) orb.Point { return orb.Point{a[0] - b[0], a[1] - b[1]} }
func add(a, b orb.Point) orb.Point { return orb.Point{a[0] + b[0], a[1] + b[1]} }
func dot(a, b orb.Point) float64   { return a[0]*b[0] + a[1]*b[1] }
func cross(a, b orb.Point) float64 { return a[0]*b[1] - a[1]*b[0] }
func dist(a, b orb.Point) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]))
}
func lerp(a, b orb.Point, t float64) orb.Point {
	return orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
}

// along returns a + t times the direction u.
func along(a, u orb.Point, t float64) orb.Point { return orb.Point{a[0] + t*u[0], a[1] + t*u[1]} }

func unitVec(a, b orb.Point) orb.Point {
	d := sub(b, a)
	l := math.Hypot(d[0], d[1])
	return orb.Point{d[0] / l, d[1] / l}
}

// turn is the angle by which the way a, b, c turns at b, 0 to pi.
func turn(a, b, c orb.Point) float64 {
	u, v := sub(b, a), sub(c, b)
	return math.Atan2(math.Abs(cross(u, v)), dot(u, v))
}

func foot(p, a, b orb.Point) orb.Point {
	d := sub(b, a)
	t := dot(sub(p, a), d) / dot(d, d)
	return lerp(a, b, min(max(t, 0), 1))
}

// distTo is the distance from p to the segment ab.
func distTo(p, a, b orb.Point) float64 { return math.Sqrt(squareTo(p, a, b)) }

// squareTo is the square of the distance from p to the segment ab.
func squareTo(p, a, b orb.Point) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	x, y := p[0]-a[0], p[1]-a[1]
	if w, l := x*dx+y*dy, dx*dx+dy*dy; w > 0 {
		t := min(w/l, 1)
		x, y = x-t*dx, y-t*dy
	}
	return x*x + y*y
}
