package shape

// The usual ring, found sound without memory of its own: what Check would say
// nothing of, told in well under a microsecond.

import (
	"math"

	"github.com/paulmach/orb"
)

// soundEdges is the most edges tried pair by pair; more go by the tree.
const soundEdges = 128

// Sound tells of a ring whether it alone is a valid polygon, where that is soon
// told. False means not known: Check tells.
func Sound(r orb.Ring) bool {
	n := len(r) - 1
	if n < 3 || r[0] != r[n] {
		return false
	}
	area, around := 0.0, 0.0
	x, y := 0.0, 0.0
	turns := 0 // how often the ring turns about in the order of the plane
	up := before(r[n-1], r[n])
	lo, hi := 0, 0
	for i := 0; i < n; i++ {
		a, b := &r[i], &r[i+1]
		// also false for what is not finite
		if !(math.Abs(a[0]) < 1e15 && math.Abs(a[1]) < 1e15) || *a == *b {
			return false
		}
		on := before(*a, *b)
		if on != up {
			turns++
			if up = on; on {
				lo = i
			} else {
				hi = i
			}
		}
		u, v := b[0]-r[0][0], b[1]-r[0][1]
		area += x*v - u*y
		around += math.Abs(u-x) + math.Abs(v-y)
		x, y = u, v
	}
	if math.Abs(area) <= 4*grid*around { // nearly flat: for the full check to tell
		return false
	}
	if turns == 2 {
		return stacked(r, n, lo, hi)
	}
	// room for few is sooner made
	if n <= 32 {
		var boxes [32]box
		return pairs(r, boxes[:n])
	}
	return n <= soundEdges && manyPairs(r, n)
}

func manyPairs(r orb.Ring, n int) bool {
	var boxes [soundEdges]box
	return pairs(r, boxes[:n])
}

// before orders the plane by x, then y.
func before(a, b orb.Point) bool { return a[0] < b[0] || a[0] == b[0] && a[1] < b[1] }

// stacked tells whether a ring of two chains, which both run from its first
// vertex lo to its last hi in the order of the plane, has one above the other all
// the way: each vertex between is strictly on the same side of the other chain.
func stacked(r orb.Ring, n, lo, hi int) bool {
	after := func(i int) int {
		if i++; i == n {
			return 0
		}
		return i
	}
	ahead := func(i int) int {
		if i == 0 {
			return n - 1
		}
		return i - 1
	}
	// i and j are the next vertices of the chain forwards and the one backwards
	i, j := after(lo), ahead(lo)
	p, q := lo, lo
	side := 0
	for i != hi || j != hi {
		var o int
		if j == hi || i != hi && before(r[i], r[j]) {
			o = Orient(r[q], r[j], r[i])
			p, i = i, after(i)
		} else {
			o = -Orient(r[p], r[i], r[j])
			q, j = j, ahead(j)
		}
		if o == 0 || o == -side {
			return false
		}
		side = o
	}
	return true
}

// pairs compares all edges, given room for the box of each. A spike is left to
// Orient.
func pairs(r orb.Ring, boxes []box) bool {
	n := len(boxes)
	for i := 0; i < n; i++ {
		a, b := r[i], r[i+1]
		e := &boxes[i]
		e.x0, e.x1, e.y0, e.y1 = a[0], b[0], a[1], b[1]
		x, y := b[0]-a[0], b[1]-a[1]
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
		if u, v := c[0]-b[0], c[1]-b[1]; x*u+y*v < 0 && Orient(a, b, c) == 0 {
			return false
		}
	}
	for i := 0; i < n; i++ {
		e := &boxes[i]
		last := n
		if i == 0 {
			last = n - 1 // it adjoins the first
		}
		for j := i + 2; j < last; j++ {
			f := &boxes[j]
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
