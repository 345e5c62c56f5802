package ground

// The triangulation being built: a closed mesh of half-edges in which every
// hull edge has a triangle to the ghost vertex, so that no walk meets a border.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

// ghost is the vertex at infinity.
const ghost int32 = -1

// mesh holds three half-edges a triangle: half-edge e starts at vert[e], its
// triangle's others are next(e) and prev(e), counter-clockwise, and twin[e]
// runs the other way in the neighbouring triangle.
type mesh struct {
	at    []orb.Point
	vert  []int32
	twin  []int32
	fixed []bool  // the half-edge is part of a breakline
	edge  []int32 // for each vertex one half-edge that starts there, -1 before it is inserted
	last  int32   // where the next walk starts
	stack []int32
}

func next(e int32) int32 {
	if e%3 == 2 {
		return e - 2
	}
	return e + 1
}

func prev(e int32) int32 {
	if e%3 == 0 {
		return e + 2
	}
	return e - 1
}

func (m *mesh) join(e, f int32) { m.twin[e], m.twin[f] = f, e }

func (m *mesh) addTriangle(a, b, c int32) int32 {
	e := int32(len(m.vert))
	m.vert = append(m.vert, a, b, c)
	m.twin = append(m.twin, -1, -1, -1)
	m.fixed = append(m.fixed, false, false, false)
	return e
}

// start makes the first triangle, which turns left, and its three ghosts.
func (m *mesh) start(a, b, c int32) {
	t := m.addTriangle(a, b, c)
	g0 := m.addTriangle(b, a, ghost)
	g1 := m.addTriangle(c, b, ghost)
	g2 := m.addTriangle(a, c, ghost)
	m.join(t, g0)
	m.join(t+1, g1)
	m.join(t+2, g2)
	m.join(g0+1, g2+2)
	m.join(g1+1, g0+2)
	m.join(g2+1, g1+2)
	m.edge[a], m.edge[b], m.edge[c] = t, t+1, t+2
	m.last = t
}

// inside tells whether vertex p is strictly within the circle of the triangle
// that half-edge e belongs to. A ghost triangle's circle is the half-plane
// beyond its hull edge.
func (m *mesh) inside(e, p int32) bool {
	u, v, w := m.vert[e], m.vert[next(e)], m.vert[prev(e)]
	switch ghost {
	case u:
		return shape.Orient(m.at[v], m.at[w], m.at[p]) > 0
	case v:
		return shape.Orient(m.at[w], m.at[u], m.at[p]) > 0
	case w:
		return shape.Orient(m.at[u], m.at[v], m.at[p]) > 0
	}
	a, b, c, d := m.at[u], m.at[v], m.at[w], m.at[p]
	return inCircle(a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1]) > 0
}

// flip turns the diagonal e of the two triangles beside it.
func (m *mesh) flip(e int32) {
	t := m.twin[e]
	e1, e2, t1, t2 := next(e), prev(e), next(t), prev(t)
	a, b, c, d := m.vert[e], m.vert[t], m.vert[e2], m.vert[t2]
	oe1, ot1 := m.twin[e1], m.twin[t1]
	fe1, ft1 := m.fixed[e1], m.fixed[t1]
	// e: a-d, e1: d-c, e2: c-a; t: b-c, t1: c-d, t2: d-b
	m.vert[e1], m.vert[t1] = d, c
	m.join(e, ot1)
	m.join(t, oe1)
	m.join(e1, t1)
	m.fixed[e], m.fixed[t] = ft1, fe1
	m.fixed[e1], m.fixed[t1] = false, false
	m.setEdge(a, e)
	m.setEdge(b, t)
	m.setEdge(c, e2)
	m.setEdge(d, t2)
}

func (m *mesh) setEdge(v, e int32) {
	if v != ghost {
		m.edge[v] = e
	}
}

// settle restores the Delaunay property round vertex p: each half-edge on the
// stack lies opposite p in its triangle.
func (m *mesh) settle(p int32) {
	for len(m.stack) > 0 {
		e := m.stack[len(m.stack)-1]
		m.stack = m.stack[:len(m.stack)-1]
		if m.fixed[e] || !m.inside(m.twin[e], p) {
			continue
		}
		t := m.twin[e]
		m.flip(e)
		m.stack = append(m.stack, e, prev(t))
	}
}

// splitTriangle puts vertex p into the triangle of f0.
func (m *mesh) splitTriangle(f0, p int32) {
	f1, f2 := next(f0), prev(f0)
	a, b, c := m.vert[f0], m.vert[f1], m.vert[f2]
	t1, t2 := m.twin[f1], m.twin[f2]
	x1, x2 := m.fixed[f1], m.fixed[f2]
	g := m.addTriangle(b, c, p)
	h := m.addTriangle(c, a, p)
	m.vert[f2] = p
	m.fixed[f1], m.fixed[f2] = false, false
	m.join(g, t1)
	m.join(h, t2)
	m.fixed[g], m.fixed[h] = x1, x2
	m.join(f1, g+2)
	m.join(g+1, h+2)
	m.join(h+1, f2)
	m.setEdge(a, f0)
	m.setEdge(b, g)
	m.setEdge(c, h)
	m.edge[p] = f2
	m.stack = append(m.stack, f0, g, h)
	m.settle(p)
}

// splitEdge puts vertex p onto half-edge e.
func (m *mesh) splitEdge(e, p int32) {
	t := m.twin[e]
	e1, e2, t1, t2 := next(e), prev(e), next(t), prev(t)
	a, b, c, d := m.vert[e], m.vert[t], m.vert[e2], m.vert[t2]
	oe1, ot1 := m.twin[e1], m.twin[t1]
	fe, fe1, ft1 := m.fixed[e], m.fixed[e1], m.fixed[t1]
	n := m.addTriangle(p, b, c)
	k := m.addTriangle(p, a, d)
	// e: a-p, e1: p-c, e2: c-a; t: b-p, t1: p-d, t2: d-b
	m.vert[e1], m.vert[t1] = p, p
	m.join(n+1, oe1)
	m.join(k+1, ot1)
	m.join(e, k)
	m.join(t, n)
	m.join(e1, n+2)
	m.join(t1, k+2)
	m.fixed[e], m.fixed[k], m.fixed[n], m.fixed[t] = fe, fe, fe, fe
	m.fixed[n+1], m.fixed[k+1] = fe1, ft1
	m.fixed[e1], m.fixed[t1] = false, false
	m.setEdge(a, e)
	m.setEdge(b, t)
	m.setEdge(c, e2)
	m.setEdge(d, t2)
	m.edge[p] = e1
	m.stack = append(m.stack, e2, t2, n+1, k+1)
	m.settle(p)
}

// locate walks to the triangle that holds p and returns one of its half-edges;
// where p lies on an edge, that edge, and on says so. Outside the hull it is a
// ghost triangle beyond a hull edge that sees p.
func (m *mesh) locate(p orb.Point) (e int32, on bool) {
	e = m.last
	for i := int32(0); i < 3; i++ { // a walk starts in a real triangle
		if m.vert[e-e%3+i] == ghost {
			e = m.twin[next(e-e%3+i)]
			break
		}
	}
	from := int32(-1) // the half-edge by which this triangle was entered
walk:
	for {
		base, flat := e-e%3, int32(-1)
		for i := int32(0); i < 3; i++ {
			f := base + i
			if m.vert[f] == ghost || m.vert[next(f)] == ghost {
				return base, false
			}
		}
		for i := int32(0); i < 3; i++ {
			f := base + i
			if f == from {
				continue
			}
			switch o := shape.Orient(m.at[m.vert[f]], m.at[m.vert[next(f)]], p); {
			case o < 0:
				from = m.twin[f]
				e = from
				continue walk
			case o == 0:
				flat = f
			}
		}
		if flat >= 0 {
			return flat, true
		}
		return base, false
	}
}

// insert puts vertex v into the mesh, or returns the vertex within weld of it
// that is there already.
func (m *mesh) insert(v int32, weld float64) (at int32) {
	p := m.at[v]
	e, on := m.locate(p)
	for i := int32(0); i < 3; i++ {
		if w := m.vert[e-e%3+i]; w != ghost && math.Hypot(m.at[w][0]-p[0], m.at[w][1]-p[1]) <= weld {
			return w
		}
	}
	if on {
		m.splitEdge(e, v)
	} else {
		m.splitTriangle(e, v)
	}
	m.last = m.edge[v]
	return v
}

// hilbertOrder sorts vertices along a space-filling curve, so that each is
// inserted near the one before.
func hilbertOrder(at []orb.Point) []int32 {
	b := orb.MultiPoint(at).Bound()
	size := math.Max(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1])
	scale := 0.0
	if size > 0 {
		scale = 65535 / size
	}
	keys := make([]uint64, len(at))
	for i, p := range at {
		x, y := uint32((p[0]-b.Min[0])*scale), uint32((p[1]-b.Min[1])*scale)
		keys[i] = uint64(hilbert(x, y))<<32 | uint64(i)
	}
	slices.Sort(keys)
	order := make([]int32, len(at))
	for i, k := range keys {
		order[i] = int32(uint32(k))
	}
	return order
}

// hilbert is the place of a cell of a 2^16 by 2^16 grid on the Hilbert curve.
func hilbert(x, y uint32) uint32 {
	var d uint32
	for s := uint32(1 << 15); s > 0; s >>= 1 {
		var rx, ry uint32
		if x&s != 0 {
			rx = 1
		}
		if y&s != 0 {
			ry = 1
		}
		d += s * s * ((3 * rx) ^ ry)
		if ry == 0 {
			if rx == 1 {
				x, y = 65535-x, 65535-y
			}
			x, y = y, x
		}
	}
	return d
}

// link returns the half-edge from a to b, if there is one.
func (m *mesh) link(a, b int32) (int32, bool) {
	e := m.edge[a]
	for {
		if m.vert[next(e)] == b {
			return e, true
		}
		if e = m.twin[prev(e)]; e == m.edge[a] {
			return 0, false
		}
	}
}

func (m *mesh) fix(e int32, v bool) { m.fixed[e], m.fixed[m.twin[e]] = v, v }

// obstacle is what a straight way from vertex a towards b meets.
type obstacle struct {
	vertex int32   // the next vertex on the way: b, or one that lies on it
	barred int32   // a breakline's half-edge that is crossed before any vertex, or -1
	tris   []int32 // first half-edges of the triangles crossed up to vertex
	left   []int32 // vertices to the left of the way, in its order
	right  []int32
	direct int32 // the half-edge from a to vertex, if the two are neighbours, or -1
}

// towards looks along the way from a to b.
func (m *mesh) towards(a, b int32) obstacle {
	pa, pb := m.at[a], m.at[b]
	ahead := func(v int32) bool {
		p := m.at[v]
		return (p[0]-pa[0])*(pb[0]-pa[0])+(p[1]-pa[1])*(pb[1]-pa[1]) > 0
	}
	o := obstacle{barred: -1, direct: -1}
	e := m.edge[a]
	for {
		x, y := m.vert[next(e)], m.vert[prev(e)]
		if x != ghost {
			ox := shape.Orient(pa, pb, m.at[x])
			if x == b || ox == 0 && ahead(x) {
				o.vertex, o.direct = x, e
				return o
			}
			if y != ghost && ox < 0 && y != b && shape.Orient(pa, pb, m.at[y]) > 0 {
				break
			}
		}
		e = m.twin[prev(e)]
	}
	cross := next(e) // from the right of the way to its left
	o.tris = append(o.tris, e-e%3)
	o.right, o.left = append(o.right, m.vert[cross]), append(o.left, m.vert[next(cross)])
	for {
		if m.fixed[cross] {
			o.barred = cross
			return o
		}
		t := m.twin[cross]
		z := m.vert[prev(t)]
		o.tris = append(o.tris, t-t%3)
		if z == b {
			o.vertex = z
			return o
		}
		switch s := shape.Orient(pa, pb, m.at[z]); {
		case s == 0:
			o.vertex = z
			return o
		case s > 0: // z is on the left: leave through the edge on the right of it
			o.left = append(o.left, z)
			cross = next(t) // t: left-right; next(t): right-z
		default:
			o.right = append(o.right, z)
			cross = prev(t) // z-left
		}
	}
}

// clear takes the triangles of o away and fills the hole on both sides of the
// edge from a to o.vertex (Anglada 1997).
func (m *mesh) clear(a int32, o obstacle) {
	type edge struct{ a, b int32 }
	type border struct {
		twin  int32
		fixed bool
	}
	gone := make(map[int32]bool, len(o.tris))
	for _, t := range o.tris {
		gone[t] = true
	}
	outer := make(map[edge]border)
	kept := make(map[edge]bool) // breakline edges with a crossed triangle on both sides
	for _, t := range o.tris {
		for f := t; f < t+3; f++ {
			if w := m.twin[f]; !gone[w-w%3] {
				outer[edge{m.vert[f], m.vert[next(f)]}] = border{w, m.fixed[f]}
			} else if m.fixed[f] {
				kept[edge{m.vert[f], m.vert[next(f)]}] = true
			}
		}
	}
	inner := make(map[edge]int32, 3*len(o.tris))
	free := o.tris
	var fill func(a, b int32, chain []int32)
	fill = func(a, b int32, chain []int32) { // chain lies to the left of a-b
		if len(chain) == 0 {
			return
		}
		k := 0
		for i := 1; i < len(chain); i++ {
			pa, pb, pc, pd := m.at[a], m.at[b], m.at[chain[k]], m.at[chain[i]]
			if inCircle(pa[0], pa[1], pb[0], pb[1], pc[0], pc[1], pd[0], pd[1]) > 0 {
				k = i
			}
		}
		c := chain[k]
		t := free[0]
		free = free[1:]
		v := [3]int32{a, b, c}
		for i := range v {
			e := t + int32(i)
			m.vert[e], m.fixed[e] = v[i], false
			m.edge[v[i]] = e
			inner[edge{v[i], v[(i+1)%3]}] = e
		}
		fill(a, c, chain[:k])
		fill(c, b, chain[k+1:])
	}
	fill(a, o.vertex, o.left)
	right := slices.Clone(o.right)
	slices.Reverse(right)
	fill(o.vertex, a, right)
	for d, e := range inner {
		if w, ok := outer[d]; ok {
			m.join(e, w.twin)
			m.fixed[e] = w.fixed
		} else {
			m.twin[e] = inner[edge{d.b, d.a}]
			m.fixed[e] = kept[d]
		}
	}
	m.fix(inner[edge{a, o.vertex}], true)
}
