package ground

// The finished triangulated surface and its questions.

import (
	"math"
	"slices"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// TIN is a triangulated surface.
//
// Standard error. At a place with weights w in its triangle's corners, of
// standard errors s and distances d from it,
//
//	variance = sum (w s)^2 + (r h)^2,  h^2 = sum w d^2
//
// The first term is the shots' own error, the second what the ground does
// between them: h is 0 at a corner, grows away from it and is the same from
// both sides of an edge (half of h^2 times the curvature bounds the error of
// linear interpolation). r is the roughness of this ground in metres a metre:
// the robust spread (1.4826 times the median) over all inner corners of the
// miss of a plane through the neighbours, over the neighbours' root mean
// square distance; at least 0.002, and 0.02 where fewer than 8 inner corners
// can tell (common practice: a yard shot every 10 m is good to some 10 cm in
// between). Corners that a plane through many neighbours cannot follow, as a
// kerb's, make r larger: on the safe side.
type TIN struct {
	at    []orb.Point
	z     []float64
	sd    []float64
	ref   []Ref
	tri   [][3]int32
	fixed [][3]bool // edge i of a triangle, from corner i, is part of a line
	merge []Merge
	bound orb.Bound

	index func() *triangleIndex
	ring  func() [][]int32
	rough func() float64
}

// surface takes the real triangles out of the mesh.
func (b *builder) surface() *TIN {
	t := &TIN{at: b.at, z: b.z, sd: b.sd, ref: b.ref, bound: orb.MultiPoint(b.at).Bound()}
	n := len(b.vert) / 3
	t.tri = make([][3]int32, 0, n)
	t.fixed = make([][3]bool, 0, n)
	for e := 0; e < len(b.vert); e += 3 {
		v := [3]int32(b.vert[e : e+3])
		if v[0] != ghost && v[1] != ghost && v[2] != ghost && !sliver(b.at[v[0]], b.at[v[1]], b.at[v[2]]) {
			t.tri = append(t.tri, v)
			t.fixed = append(t.fixed, [3]bool(b.fixed[e:e+3]))
		}
	}
	heads := make([]int32, 0, len(b.same))
	for w := range b.same {
		heads = append(heads, w)
	}
	slices.Sort(heads)
	for _, w := range heads {
		m := Merge{At: b.at[w]}
		all := append([]int32{w}, b.same[w]...)
		slices.Sort(all)
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range all {
			m.Refs = append(m.Refs, b.ref[v])
			z := b.raw(v, w)
			lo, hi = math.Min(lo, z), math.Max(hi, z)
		}
		m.Spread = unit.Length(hi - lo)
		t.merge = append(t.merge, m)
	}
	t.index = sync.OnceValue(func() *triangleIndex { return newTriangleIndex(t.at, t.tri) })
	t.ring = sync.OnceValue(t.neighbours)
	t.rough = sync.OnceValue(t.roughness)
	return t
}

// sliver tells whether a triangle is so low (a micrometre) that its plane
// means nothing; a point in it is within reach of its neighbours.
func sliver(a, b, c orb.Point) bool {
	l := max(math.Hypot(b[0]-a[0], b[1]-a[1]), math.Hypot(c[0]-b[0], c[1]-b[1]), math.Hypot(a[0]-c[0], a[1]-c[1]))
	return cross2(a, b, c) < 1e-6*l
}

// raw is the height of v as given; that of w was overwritten by the mean.
func (b *builder) raw(v, w int32) float64 {
	if v != w {
		return b.z[v]
	}
	z := b.z[w] * float64(1+len(b.same[w]))
	for _, u := range b.same[w] {
		z -= b.z[u]
	}
	return z
}

// Bounds is the box of all positions.
func (t *TIN) Bounds() orb.Bound { return t.bound }

// Merged lists the places where several inputs were taken as one.
func (t *TIN) Merged() []Merge { return t.merge }

// Triangle is one face of the surface, counter-clockwise.
type Triangle struct {
	At [3]orb.Point
	Z  [3]unit.Elevation
	// Line says for each edge, from corner i to the next, whether a line runs
	// along it.
	Line [3]bool
}

// Triangles lists every face.
func (t *TIN) Triangles() []Triangle {
	out := make([]Triangle, len(t.tri))
	for i, v := range t.tri {
		for k := range v {
			out[i].At[k] = t.at[v[k]]
			out[i].Z[k] = unit.Elevation(t.z[v[k]])
		}
		out[i].Line = t.fixed[i]
	}
	return out
}

// weights are the barycentric ones of p in triangle i.
func (t *TIN) weights(i int32, p orb.Point) [3]float64 {
	v := t.tri[i]
	a, b, c := t.at[v[0]], t.at[v[1]], t.at[v[2]]
	den := cross2(a, b, c)
	wb, wc := cross2(a, p, c)/den, cross2(a, b, p)/den
	return [3]float64{1 - wb - wc, wb, wc}
}

func cross2(a, b, c orb.Point) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

// level gives elevation and standard error in triangle i.
func (t *TIN) level(i int32, p orb.Point) Level {
	w := t.weights(i, p)
	v := t.tri[i]
	z0 := t.z[v[0]]
	z, noise, h2 := z0, 0.0, 0.0
	for k := range v {
		q := t.at[v[k]]
		z += w[k] * (t.z[v[k]] - z0)
		noise += w[k] * w[k] * t.sd[v[k]] * t.sd[v[k]]
		h2 += w[k] * ((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]))
	}
	r := t.rough()
	return Level{unit.Elevation(z), unit.Length(math.Sqrt(noise + r*r*math.Max(0, h2)))}
}

// find gives the triangle that holds p, or one within shape.Weld of it.
func (t *TIN) find(p orb.Point) (int32, bool) {
	list := t.index().at(p)
	for _, i := range list {
		v := t.tri[i]
		a, b, c := t.at[v[0]], t.at[v[1]], t.at[v[2]]
		if shape.Orient(a, b, p) >= 0 && shape.Orient(b, c, p) >= 0 && shape.Orient(c, a, p) >= 0 {
			return i, true
		}
	}
	best, off := int32(-1), -float64(shape.Weld)
	for _, i := range list {
		v := t.tri[i]
		if d := leastInside(t.at[v[0]], t.at[v[1]], t.at[v[2]], p); d >= off {
			best, off = i, d
		}
	}
	return best, best >= 0
}

// leastInside is the least of p's signed distances to the three edges,
// positive inside.
func leastInside(a, b, c, p orb.Point) float64 {
	d := func(u, v orb.Point) float64 { return cross2(u, v, p) / math.Hypot(v[0]-u[0], v[1]-u[1]) }
	return math.Min(d(a, b), math.Min(d(b, c), d(c, a)))
}

// At gives the level at a point; false outside the hull of the shots.
func (t *TIN) At(p orb.Point) (Level, bool) {
	i, ok := t.find(p)
	if !ok {
		return Level{}, false
	}
	return t.level(i, p), true
}

// Gradient gives the steepest descent of the triangle at p.
func (t *TIN) Gradient(p orb.Point) (Gradient, bool) {
	i, ok := t.find(p)
	if !ok {
		return Gradient{}, false
	}
	v := t.tri[i]
	a, b, c := t.at[v[0]], t.at[v[1]], t.at[v[2]]
	zb, zc := t.z[v[1]]-t.z[v[0]], t.z[v[2]]-t.z[v[0]]
	den := cross2(a, b, c)
	gx := (zb*(c[1]-a[1]) - zc*(b[1]-a[1])) / den
	gy := (zc*(b[0]-a[0]) - zb*(c[0]-a[0])) / den
	return descent(gx, gy), true
}

// descent makes a gradient of the two partial derivatives.
func descent(gx, gy float64) Gradient {
	s := math.Hypot(gx, gy)
	if s == 0 {
		return Gradient{}
	}
	return Gradient{unit.Slope(s), orb.Point{-gx / s, -gy / s}}
}

// Along gives the profile under a line.
func (t *TIN) Along(line orb.LineString) Profile {
	return along(line, func(p, q orb.Point, n float64) []piece {
		var out []piece
		t.index().along(p, q, func(i int32) {
			if f, to, ok := t.clip(i, p, q, n, 0); ok {
				out = append(out, piece{f, to, i})
			}
		})
		// Along the hull the line may lie a hair outside: what the faces grown
		// by shape.Weld cover from end to end is no gap.
		for _, g := range gaps(out, same/n) {
			var more []piece
			t.index().along(p, q, func(i int32) {
				if f, to, ok := t.clip(i, p, q, n, float64(shape.Weld)); ok {
					if f, to = math.Max(f, g[0]), math.Min(to, g[1]); to > f {
						more = append(more, piece{f, to, i})
					}
				}
			})
			if len(gaps(append(more, piece{0, g[0], 0}, piece{g[1], 1, 0}), same/n)) == 0 {
				out = append(out, more...)
			}
		}
		return out
	}, t.level)
}

// clip gives the stretch of p-q, of length n, in triangle i grown by tol.
func (t *TIN) clip(i int32, p, q orb.Point, n, tol float64) (from, to float64, ok bool) {
	v := t.tri[i]
	from, to = 0, 1
	for k := 0; k < 3; k++ {
		a, b := t.at[v[k]], t.at[v[(k+1)%3]]
		l := math.Hypot(b[0]-a[0], b[1]-a[1])
		d0, d1 := cross2(a, b, p)/l+tol, cross2(a, b, q)/l+tol
		switch {
		case d0 < 0 && d1 < 0:
			return 0, 0, false
		case d0 < 0:
			from = math.Max(from, d0/(d0-d1))
		case d1 < 0:
			to = math.Min(to, d0/(d0-d1))
		}
	}
	return from, to, to-from >= 0
}

// neighbours lists, for each vertex in the surface, the vertices it shares an
// edge with.
func (t *TIN) neighbours() [][]int32 {
	ring := make([][]int32, len(t.at))
	add := func(a, b int32) {
		if !slices.Contains(ring[a], b) {
			ring[a] = append(ring[a], b)
		}
	}
	for _, v := range t.tri {
		for k := range v {
			a, b := v[k], v[(k+1)%3]
			add(a, b)
			add(b, a)
		}
	}
	return ring
}

// onHull says which vertices lie on the outline.
func (t *TIN) onHull() []bool {
	type edge struct{ a, b int32 }
	open := make(map[edge]bool, len(t.tri))
	for _, v := range t.tri {
		for k := range v {
			a, b := v[k], v[(k+1)%3]
			if open[edge{b, a}] {
				delete(open, edge{b, a})
			} else {
				open[edge{a, b}] = true
			}
		}
	}
	hull := make([]bool, len(t.at))
	for e := range open {
		hull[e.a], hull[e.b] = true, true
	}
	return hull
}

const (
	leastRoughness   = 0.002
	assumedRoughness = 0.02
)

// roughness estimates r of the standard error; see TIN.
func (t *TIN) roughness() float64 {
	hull := t.onHull()
	var miss []float64
	// On a large survey every k-th corner tells enough.
	step := 1 + len(t.at)/5000
	for v := 0; v < len(t.at); v += step {
		ring := t.ring()[v]
		if hull[v] || len(ring) < 4 {
			continue
		}
		h2 := 0.0
		for _, u := range ring {
			d := math.Hypot(t.at[u][0]-t.at[v][0], t.at[u][1]-t.at[v][1])
			h2 += d * d / float64(len(ring))
		}
		if z, ok := t.plane(int32(v), ring); ok {
			miss = append(miss, math.Abs(t.z[v]-z)/math.Sqrt(h2))
		}
	}
	if len(miss) < 8 {
		return assumedRoughness
	}
	slices.Sort(miss)
	return math.Max(leastRoughness, 1.4826*miss[len(miss)/2])
}

// plane is the height at vertex v of the least-squares plane through others.
func (t *TIN) plane(v int32, others []int32) (z float64, ok bool) {
	o := t.at[v]
	var n, sx, sy, sz, sxx, sxy, syy, sxz, syz float64
	z0 := t.z[v]
	for _, u := range others {
		x, y, h := t.at[u][0]-o[0], t.at[u][1]-o[1], t.z[u]-z0
		n++
		sx, sy, sz = sx+x, sy+y, sz+h
		sxx, sxy, syy = sxx+x*x, sxy+x*y, syy+y*y
		sxz, syz = sxz+x*h, syz+y*h
	}
	det := n*(sxx*syy-sxy*sxy) - sx*(sx*syy-sxy*sy) + sy*(sx*sxy-sxx*sy)
	if scale := n * sxx * syy; scale == 0 || math.Abs(det) < 1e-9*scale {
		return 0, false
	}
	num := sz*(sxx*syy-sxy*sxy) - sx*(sxz*syy-sxy*syz) + sy*(sxz*sxy-sxx*syz)
	return z0 + num/det, true
}
