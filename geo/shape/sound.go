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
	ox, oy := r[0][0], r[0][1]
	turns := uint32(0) // how often the ring turns about in each order, a byte each
	was := ways(ox-r[n-1][0], oy-r[n-1][1])
	for i := 1; i <= n; i++ {
		px, py := r[i][0], r[i][1]
		u, v := px-ox, py-oy
		dx, dy := px-r[i-1][0], py-r[i-1][1]
		// also false for what is not finite
		if !(math.Abs(px) < 1e15 && math.Abs(py) < 1e15) || dx == 0 && dy == 0 {
			return false
		}
		way := ways(dx, dy)
		turns += spread[way^was]
		was = way
		area += x*v - u*y
		around += math.Abs(dx) + math.Abs(dy)
		x, y = u, v
	}
	if math.Abs(area) <= 4*grid*around { // nearly flat: for the full check to tell
		return false
	}
	if n < 250 { // a byte holds it
		if turns&0xff == 2 && bendsOneWay(r, n) { // and once round: it is convex
			return true
		}
		for k := order(0); k < 4; k++ {
			if turns>>(8*k)&0xff == 2 {
				return k.stacked(r, n)
			}
		}
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

// order is one of four that the plane is put in: by x, of equals by y upwards (0)
// or downwards (1), or by y, of equals by x upwards (2) or downwards (3).
type order uint

// ways has a bit for each order in which an edge runs on.
func ways(dx, dy float64) (m uint) {
	if dx == 0 || dy == 0 { // square to an axis
		switch {
		case dx > 0:
			return 0b0111
		case dx < 0:
			return 0b1000
		case dy > 0:
			return 0b1101
		}
		return 0b0010
	}
	return uint(math.Float64bits(dx)>>63^1)*0b0011 | uint(math.Float64bits(dy)>>63^1)*0b1100
}

// spread puts each of four bits into a byte of its own.
var spread = [16]uint32{
	0x0, 0x1, 0x100, 0x101, 0x10000, 0x10001, 0x10100, 0x10101,
	0x1000000, 0x1000001, 0x1000100, 0x1000101, 0x1010000, 0x1010001, 0x1010100, 0x1010101,
}

// before orders two points that differ.
func (k order) before(a, b *orb.Point) bool {
	u, v := k>>1, 1-k>>1
	if a[u] != b[u] {
		return a[u] < b[u]
	}
	return a[v] < b[v] == (k&1 == 0)
}

// bendsOneWay tells whether a ring surely bends to the same side at each vertex.
func bendsOneWay(r orb.Ring, n int) bool {
	x, y := r[0][0]-r[n-1][0], r[0][1]-r[n-1][1]
	side := 0.0
	for i := 1; i <= n; i++ {
		u, v := r[i][0]-r[i-1][0], r[i][1]-r[i-1][1]
		a, b := x*v, y*u
		det := a - b
		if side == 0 {
			side = math.Copysign(1, det)
		}
		if !(det*side > orientBound*(math.Abs(a)+math.Abs(b))) {
			return false
		}
		x, y = u, v
	}
	return true
}

// stacked tells whether a ring of two chains, which both run from its first
// vertex to its last in an order of the plane, has one above the other all the
// way: each vertex between is strictly on the same side of the other chain.
func (k order) stacked(r orb.Ring, n int) bool {
	lo, hi := 0, 0
	for i := 1; i < n; i++ {
		if k.before(&r[i], &r[lo]) {
			lo = i
		} else if k.before(&r[hi], &r[i]) {
			hi = i
		}
	}
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
		if j == hi || i != hi && k.before(&r[i], &r[j]) {
			o = turn(&r[q], &r[j], &r[i])
			p, i = i, after(i)
		} else {
			o = -turn(&r[p], &r[i], &r[j])
			q, j = j, ahead(j)
		}
		if o == 0 || o == -side {
			return false
		}
		side = o
	}
	return true
}

// turn is Orient, sooner where the first filter tells.
func turn(a, b, c *orb.Point) int {
	l := (a[0] - c[0]) * (b[1] - c[1])
	r := (a[1] - c[1]) * (b[0] - c[0])
	if det, e := l-r, orientBound*(math.Abs(l)+math.Abs(r)); det > e {
		return 1
	} else if det < -e {
		return -1
	}
	return Orient(*a, *b, *c)
}

// pairs compares all edges, given room for the box of each. A spike is left to
// Orient.
func pairs(r orb.Ring, boxes []box) bool {
	n := len(boxes)
	var groups [soundEdges / group]box
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
		g := &groups[i/group]
		if i%group == 0 {
			*g = *e
		} else {
			*g = g.with(*e)
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
		for j := i + 2; j < last; {
			end := min(last, j/group*group+group)
			if !e.meets(groups[j/group]) {
				j = end
				continue
			}
			for ; j < end; j++ {
				if !e.meets(boxes[j]) {
					continue
				}
				if m, _ := Cross(r[i], r[i+1], r[j], r[j+1]); m != Apart {
					return false
				}
			}
		}
	}
	return true
}

// soundArea tells the same of a polygon with holes: each ring sound, the holes in boxes
// of their own, none on an edge of the outer ring, and each with a vertex inside it.
func soundArea(p orb.Polygon) bool {
	const most = 64 // rings that are compared each with each
	if len(p) == 0 || len(p) > most {
		return false
	}
	var hulls [most]box
	for i, r := range p {
		if !Sound(r) {
			return false
		}
		b := box{r[0][0], r[0][1], r[0][0], r[0][1]}
		for _, q := range r[1:] {
			b = b.with(box{q[0], q[1], q[0], q[1]})
		}
		hulls[i] = b
		for k := 1; k < i; k++ {
			if hulls[k].meets(b) {
				return false
			}
		}
	}
	outer := p[0]
	for i := 1; i < len(outer) && len(p) > 1; i++ {
		a, b := outer[i-1], outer[i]
		e := edgeBox(a, b)
		for k, r := range p[1:] {
			if !e.meets(hulls[k+1]) {
				continue
			}
			for j := 1; j < len(r); j++ {
				if e.meets(edgeBox(r[j-1], r[j])) {
					if m, _ := Cross(a, b, r[j-1], r[j]); m != Apart {
						return false
					}
				}
			}
		}
	}
	for _, r := range p[1:] {
		if LocateInRing(r[0], outer) != Inside {
			return false
		}
	}
	return true
}

func edgeBox(a, b orb.Point) box {
	return box{min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1])}
}
