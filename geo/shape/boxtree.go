package shape

// A static tree of boxes, for pairs of boxes that meet without trying all.

import (
	"math"
	"sort"
)

type box struct{ x0, y0, x1, y1 float64 }

// meets is written without a way to leave early: which of the four decides can't
// be foretold, and a wrong guess of the processor costs more than all.
func (b box) meets(c box) bool {
	return one(b.x0 > c.x1)|one(c.x0 > b.x1)|one(b.y0 > c.y1)|one(c.y0 > b.y1) == 0
}

func one(b bool) (n uint8) {
	if b {
		n = 1
	}
	return n
}

func (b box) with(c box) box {
	return box{min(b.x0, c.x0), min(b.y0, c.y0), max(b.x1, c.x1), max(b.y1, c.y1)}
}

// boxTree holds boxes in the order of a space-filling curve, and above them a
// binary tree: the children of node k are 2k and 2k+1.
type boxTree struct {
	leaf  []box
	item  []int // which of the boxes given
	node  []box
	first int // number of leaf groups, a power of two
}

const group = 8 // boxes in one leaf group

func newBoxTree(boxes []box) *boxTree {
	t := &boxTree{leaf: make([]box, len(boxes)), item: make([]int, len(boxes))}
	for i := range boxes {
		t.item[i] = i
	}
	if len(boxes) > 2*group {
		all := boxes[0]
		for _, b := range boxes {
			all = all.with(b)
		}
		sx, sy := 65535/math.Max(all.x1-all.x0, 1e-300), 65535/math.Max(all.y1-all.y0, 1e-300)
		key := make([]uint32, len(boxes))
		for i, b := range boxes {
			key[i] = hilbert(uint32(sx*((b.x0+b.x1)/2-all.x0)), uint32(sy*((b.y0+b.y1)/2-all.y0)))
		}
		sort.Slice(t.item, func(a, b int) bool {
			if key[t.item[a]] != key[t.item[b]] {
				return key[t.item[a]] < key[t.item[b]]
			}
			return t.item[a] < t.item[b]
		})
	}
	for i, k := range t.item {
		t.leaf[i] = boxes[k]
	}
	groups := (len(boxes) + group - 1) / group
	t.first = 1
	for t.first < groups {
		t.first *= 2
	}
	never := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	t.node = make([]box, 2*t.first)
	for i := range t.node {
		t.node[i] = never
	}
	for i, b := range t.leaf {
		t.node[t.first+i/group] = t.node[t.first+i/group].with(b)
	}
	for i := t.first - 1; i > 0; i-- {
		t.node[i] = t.node[2*i].with(t.node[2*i+1])
	}
	return t
}

// hilbert is the place of a cell of a 65536 by 65536 grid along Hilbert's curve.
func hilbert(x, y uint32) uint32 {
	var d uint32
	for s := uint32(1 << 15); s > 0; s /= 2 {
		var rx, ry uint32
		if x&s > 0 {
			rx = 1
		}
		if y&s > 0 {
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

// pairs visits each two boxes that meet, once, lower number first, until visit
// says false or budget comparisons are spent; it then returns false.
func (t *boxTree) pairs(budget int, visit func(i, j int) bool) bool {
	ok := true
	leaves := func(k int) (int, int) {
		lo := (k - t.first) * group
		return lo, min(lo+group, len(t.leaf))
	}
	try := func(a, b int) {
		if budget--; budget < 0 {
			ok = false
			return
		}
		if t.leaf[a].meets(t.leaf[b]) {
			ok = visit(min(t.item[a], t.item[b]), max(t.item[a], t.item[b])) && ok
		}
	}
	var across func(k, l int)
	across = func(k, l int) {
		if !ok || !t.node[k].meets(t.node[l]) {
			return
		}
		if budget--; budget < 0 {
			ok = false
			return
		}
		if k < t.first { // both are on one level
			across(2*k, 2*l)
			across(2*k, 2*l+1)
			across(2*k+1, 2*l)
			across(2*k+1, 2*l+1)
			return
		}
		a0, a1 := leaves(k)
		b0, b1 := leaves(l)
		for a := a0; a < a1; a++ {
			for b := b0; b < b1 && ok; b++ {
				try(a, b)
			}
		}
	}
	var within func(k int)
	within = func(k int) {
		if !ok {
			return
		}
		if k < t.first {
			within(2 * k)
			within(2*k + 1)
			across(2*k, 2*k+1)
			return
		}
		a0, a1 := leaves(k)
		for a := a0; a < a1; a++ {
			for b := a + 1; b < a1 && ok; b++ {
				try(a, b)
			}
		}
	}
	within(1)
	return ok
}

// meeting visits each box that meets b.
func (t *boxTree) meeting(b box, visit func(i int)) {
	var down func(k int)
	down = func(k int) {
		if !t.node[k].meets(b) {
			return
		}
		if k < t.first {
			down(2 * k)
			down(2*k + 1)
			return
		}
		lo := (k - t.first) * group
		for i := lo; i < min(lo+group, len(t.leaf)); i++ {
			if t.leaf[i].meets(b) {
				visit(t.item[i])
			}
		}
	}
	down(1)
}
