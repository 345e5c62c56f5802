package ground

// A grid of boxes over the triangles, for points and lines.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

type triangleIndex struct {
	min        orb.Point
	cell       float64
	cols, rows int
	first      []int32 // list[first[c]:first[c+1]] are the triangles of box c
	list       []int32
}

func newTriangleIndex(at []orb.Point, tri [][3]int32) *triangleIndex {
	b := orb.Bound{Min: orb.Point{math.Inf(1), math.Inf(1)}, Max: orb.Point{math.Inf(-1), math.Inf(-1)}}
	for _, v := range tri {
		for _, k := range v {
			b.Min[0], b.Min[1] = math.Min(b.Min[0], at[k][0]), math.Min(b.Min[1], at[k][1])
			b.Max[0], b.Max[1] = math.Max(b.Max[0], at[k][0]), math.Max(b.Max[1], at[k][1])
		}
	}
	const margin = 2 * float64(shape.Weld)
	w, h := b.Max[0]-b.Min[0]+2*margin, b.Max[1]-b.Min[1]+2*margin
	x := &triangleIndex{min: orb.Point{b.Min[0] - margin, b.Min[1] - margin}}
	// about two triangles a box, but no more boxes than triangles along a side
	x.cell = math.Max(math.Sqrt(2*w*h/float64(len(tri))), math.Max(w, h)/float64(len(tri)+1))
	x.cols, x.rows = 1+int(w/x.cell), 1+int(h/x.cell)
	x.first = make([]int32, x.cols*x.rows+1)
	// two passes: count, then fill
	visit := func(each func(box int, i int32)) {
		for i, v := range tri {
			a, b, c := at[v[0]], at[v[1]], at[v[2]]
			c0, r0 := x.box(orb.Point{min(a[0], b[0], c[0]) - margin, min(a[1], b[1], c[1]) - margin})
			c1, r1 := x.box(orb.Point{max(a[0], b[0], c[0]) + margin, max(a[1], b[1], c[1]) + margin})
			for r := r0; r <= r1; r++ {
				for k := c0; k <= c1; k++ {
					if (c1 > c0 && r1 > r0) && !x.meets(k, r, a, b, c, margin) {
						continue
					}
					each(r*x.cols+k, int32(i))
				}
			}
		}
	}
	visit(func(box int, _ int32) { x.first[box+1]++ })
	for i := 1; i < len(x.first); i++ {
		x.first[i] += x.first[i-1]
	}
	x.list = make([]int32, x.first[len(x.first)-1])
	fill := append([]int32(nil), x.first...)
	visit(func(box int, i int32) {
		x.list[fill[box]] = i
		fill[box]++
	})
	return x
}

// box is the column and row of the box of p, held to the grid.
func (x *triangleIndex) box(p orb.Point) (col, row int) {
	return clamp((p[0]-x.min[0])/x.cell, x.cols), clamp((p[1]-x.min[1])/x.cell, x.rows)
}

func clamp(v float64, n int) int {
	if !(v > 0) {
		return 0
	}
	if v >= float64(n) {
		return n - 1
	}
	return int(v)
}

// meets tells whether a box may meet the triangle grown by margin: false only
// if one edge has the whole box on its outer side.
func (x *triangleIndex) meets(col, row int, a, b, c orb.Point, margin float64) bool {
	x0, y0 := x.min[0]+float64(col)*x.cell, x.min[1]+float64(row)*x.cell
	beyond := func(p, q orb.Point) bool {
		dx, dy := q[0]-p[0], q[1]-p[1]
		// the corner of the box furthest to the left of p-q
		cx, cy := x0, y0
		if dy < 0 {
			cx += x.cell
		}
		if dx > 0 {
			cy += x.cell
		}
		return dx*(cy-p[1])-dy*(cx-p[0]) < -margin*math.Hypot(dx, dy)
	}
	return !beyond(a, b) && !beyond(b, c) && !beyond(c, a)
}

// at lists the triangles near p; none for a point off the grid.
func (x *triangleIndex) at(p orb.Point) []int32 {
	u, v := (p[0]-x.min[0])/x.cell, (p[1]-x.min[1])/x.cell
	if !(u >= 0 && v >= 0 && u < float64(x.cols) && v < float64(x.rows)) {
		return nil
	}
	c := int(v)*x.cols + int(u)
	return x.list[x.first[c]:x.first[c+1]]
}

// along calls visit once for each triangle in the boxes that p-q meets.
func (x *triangleIndex) along(p, q orb.Point, visit func(int32)) {
	seen := map[int32]bool{}
	c0, r0 := x.box(orb.Point{min(p[0], q[0]), min(p[1], q[1])})
	c1, r1 := x.box(orb.Point{max(p[0], q[0]), max(p[1], q[1])})
	for r := r0; r <= r1; r++ {
		// the part of p-q within this row of boxes, a box wider on both sides
		lo, hi := c0, c1
		if dy := q[1] - p[1]; dy != 0 && r1 > r0 {
			y0, y1 := x.min[1]+float64(r)*x.cell, x.min[1]+float64(r+1)*x.cell
			t0, t1 := (y0-p[1])/dy, (y1-p[1])/dy
			xa, xb := p[0]+t0*(q[0]-p[0]), p[0]+t1*(q[0]-p[0])
			a, _ := x.box(orb.Point{min(xa, xb) - x.cell/1000, y0})
			b, _ := x.box(orb.Point{max(xa, xb) + x.cell/1000, y0})
			lo, hi = max(lo, a), min(hi, b)
		}
		for k := lo; k <= hi; k++ {
			c := r*x.cols + k
			for _, i := range x.list[x.first[c]:x.first[c+1]] {
				if !seen[i] {
					seen[i] = true
					visit(i)
				}
			}
		}
	}
}
