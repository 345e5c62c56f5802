package route

import (
	"math"
	"math/rand"
	"testing"

	"github.com/paulmach/orb"
)

// What the cells leave out is held against the areas and lines themselves: runs
// strewn, along the lines of areas, and from corner to corner.
func TestOracleCells(t *testing.T) {
	r := rand.New(rand.NewSource(5))
	at := func() orb.Point { return orb.Point{40 * r.Float64(), 25 * r.Float64()} }
	asked, left := 0, 0
	for range 40 {
		var areas []*field
		var corners []orb.Point
		for range 1 + r.Intn(40) {
			var ring orb.Ring
			switch c := at(); r.Intn(3) {
			case 0:
				ring = circle(c, 0.2+6*r.Float64(), 8)
			case 1:
				q := at()
				ring = rect(min(c[0], q[0]), min(c[1], q[1]), max(c[0], q[0])+0.1, max(c[1], q[1])+0.1)
			default: // a narrow strip
				u := unitVec(c, at())
				d := along(c, u, 30*r.Float64()+1)
				v := orb.Point{-0.3 * u[1], 0.3 * u[0]}
				ring = orb.Ring{c, d, add(d, v), add(c, v), c}
			}
			areas = append(areas, newField(orb.MultiPolygon{{ring}}, orb.Point{}))
			corners = append(corners, ring...)
		}
		var lines []buried
		for range r.Intn(64 - len(areas)) {
			b := buried{sin: math.Sin(math.Pi / 3), price: 1, box: emptyBox()}
			for range 2 + r.Intn(3) {
				p := at()
				if n := len(b.pts); n > 0 {
					b.boxes = append(b.boxes, boxOf(b.pts[n-1], p))
					b.take(b.boxes[n-1])
				}
				b.pts = append(b.pts, p)
			}
			lines = append(lines, b)
		}
		c := newCells(box{orb.Point{3, 2}, orb.Point{36, 24}}, areas, make([]Region, len(areas)), lines)
		for i := range 500 {
			p, q := at(), at()
			switch i % 4 {
			case 1: // along an edge or from corner to corner
				k := r.Intn(len(corners))
				p, q = corners[k], corners[(k+1+i%2*r.Intn(2))%len(corners)]
			case 2: // upright or level
				q[i/4%2] = p[i/4%2]
			}
			if dist(p, q) < 1e-3 {
				continue
			}
			m := newBeam(p, q, dist(p, q), eps)
			may, in := c.meets(&m)
			for k, f := range areas {
				asked++
				if may&(1<<k) != 0 {
					continue
				}
				left++
				want := 0.0
				if in&(1<<k) != 0 {
					want = m.l
				}
				if l, n := f.inside(&m); l != want || n != 0 {
					t.Fatalf("run %v %v: %g m inside area %d, enters %d times; the cells say %g m", p, q, l, k, n, want)
				}
			}
			for k := range lines {
				if may&(1<<(len(areas)+k)) == 0 && lines[k].aslant(&m) > 0 {
					t.Fatalf("run %v %v meets line %d and the cells say that it does not", p, q, k)
				}
			}
		}
	}
	if left < asked/4 {
		t.Errorf("the cells answer %d of %d questions: too few to be worth it", left, asked)
	}
}
