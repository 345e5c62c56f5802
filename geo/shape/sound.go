package shape

// The usual ring, found sound without memory of its own: what Check would say
// nothing of, told in under a microsecond.

import (
	"math"

	"github.com/paulmach/orb"
)

// soundEdges is the most edges tried pair by pair; more go by the tree.
const soundEdges = 128

// sound tells whether a ring alone is a valid polygon. False means not known.
func sound(r orb.Ring) bool {
	n := len(r) - 1
	if n < 3 || n > soundEdges || r[0] != r[n] {
		return false
	}
	var box [soundEdges]box
	area, around := 0.0, 0.0
	for i := 0; i < n; i++ {
		a, b := r[i], r[i+1]
		x, y := b[0]-a[0], b[1]-a[1]
		// also false for what is not finite
		if !(math.Abs(a[0]) < 1e15 && math.Abs(a[1]) < 1e15) || x == 0 && y == 0 {
			return false
		}
		area += (a[0]-r[0][0])*(b[1]-r[0][1]) - (b[0]-r[0][0])*(a[1]-r[0][1])
		around += math.Abs(x) + math.Abs(y)
		e := &box[i]
		e.x0, e.x1, e.y0, e.y1 = a[0], b[0], a[1], b[1]
		if x < 0 {
			e.x0, e.x1 = b[0], a[0]
		}
		if y < 0 {
			e.y0, e.y1 = b[1], a[1]
		}
		c := r[1]
		if i+2 <= n {
			c = r[i+2]
		}
		// straight back is a spike; a turn this near to it is left to Orient
		if u, v := c[0]-b[0], c[1]-b[1]; x*u+y*v < 0 && Orient(a, b, c) == 0 {
			return false
		}
	}
	if math.Abs(area) <= 4*grid*around { // nearly flat: for the full check to tell
		return false
	}
	for i := 0; i < n; i++ {
		e := &box[i]
		last := n
		if i == 0 {
			last = n - 1 // it adjoins the first
		}
		for j := i + 2; j < last; j++ {
			f := &box[j]
			if f.x0 > e.x1 || f.x1 < e.x0 || f.y0 > e.y1 || f.y1 < e.y0 {
				continue
			}
			if m, _ := Cross(r[i], r[i+1], r[j], r[j+1]); m != Apart {
				return false
			}
		}
	}
	return true
}
