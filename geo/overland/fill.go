package overland

// Filling: each cell's level is the least height over which its water can
// leave. Levels are reached in rising order, so the queue is monotone and a
// radix queue serves it in a few steps a cell.

import (
	"math"
	"math/bits"
)

// sortable maps a height to a number of the same order.
func sortable(z float32) uint32 {
	b := math.Float32bits(z)
	if b>>31 != 0 {
		return ^b
	}
	return b | 1<<31
}

func unsortable(k uint32) float32 {
	if k>>31 != 0 {
		return math.Float32frombits(k &^ (1 << 31))
	}
	return math.Float32frombits(^k)
}

// queue holds cells by key; a key put in is never below the last one taken
// out. An item is the key in the high half and the cell in the low.
type queue struct {
	bucket [33][]uint64
	last   uint32
	n      int
}

func (q *queue) put(key uint32, cell int) {
	b := bits.Len32(key ^ q.last)
	q.bucket[b] = append(q.bucket[b], uint64(key)<<32|uint64(cell))
	q.n++
}

func (q *queue) take() (key uint32, cell int) {
	if len(q.bucket[0]) == 0 {
		i := 1
		for len(q.bucket[i]) == 0 {
			i++
		}
		items := q.bucket[i]
		least := items[0]
		for _, v := range items[1:] {
			least = min(least, v)
		}
		q.last = uint32(least >> 32)
		for _, v := range items {
			b := bits.Len32(uint32(v>>32) ^ q.last)
			q.bucket[b] = append(q.bucket[b], v)
		}
		q.bucket[i] = items[:0]
	}
	b := q.bucket[0]
	v := b[len(b)-1]
	q.bucket[0] = b[:len(b)-1]
	q.n--
	return uint32(v >> 32), int(uint32(v))
}

// dry marks a cell in Filled that the flood has not reached.
var dry = float32(math.Inf(1))

// fill sets Filled.
func (f *Field) fill() {
	g := f.Grid
	var q queue
	nan := float32(math.NaN())
	for i := range g.Z {
		switch {
		case f.edge[i] || f.Dir[i] == Drained:
			f.Filled[i] = g.Z[i]
			q.put(sortable(g.Z[i]), i)
		case f.Dir[i] == flat:
			f.Filled[i] = dry
		default:
			f.Filled[i] = nan
		}
	}
	f.flood(&q, nil)
	f.fillEnclosed()
}

// fillEnclosed fills ground that the flood has not reached, walled in on all
// sides, from its lowest cell, the first of equals.
func (f *Field) fillEnclosed() {
	g := f.Grid
	for i := range f.Filled {
		if f.Filled[i] != dry {
			continue
		}
		region := f.region(i)
		low := region[0]
		for _, j := range region {
			if g.Z[j] < g.Z[low] || g.Z[j] == g.Z[low] && j < low {
				low = j
			}
		}
		f.Dir[low] = Enclosed
		f.Filled[low] = g.Z[low]
		q := queue{}
		q.put(sortable(g.Z[low]), low)
		f.flood(&q, nil)
	}
}

// flood sets the levels of all that the cells in the queue reach; where label
// is given, each cell gets that of the cell it drains to.
//
// A cell that is no lower than one whose level is settled has its own height for
// level, whatever else comes; and in a hollow the lowest level so far goes as far
// as it reaches. Neither need wait its turn in the queue: only cells beside
// something lower that is not settled yet go there (after Zhou, Sun and Fu 2016,
// from memory).
func (f *Field) flood(q *queue, label []int32) {
	w := int32(f.Grid.Cols)
	var off [8]int32
	for k := range off {
		off[k] = int32(stepY[k])*w + int32(stepX[k])
	}
	filled, ground, edge := f.Filled, f.Grid.Z, f.edge
	var rising, pit []int32
	for q.n > 0 {
		_, first := q.take()
		pit = append(pit[:0], int32(first))
		level := filled[first]
		for len(pit) > 0 {
			i := pit[len(pit)-1]
			pit = pit[:len(pit)-1]
			near, all := &off, 8
			var few [8]int32
			if edge[i] { // some neighbours are off the raster
				near, all = f.offsets(i, &few)
			}
			for _, o := range near[:all] {
				j := i + o
				if filled[j] != dry {
					continue
				}
				if label != nil {
					label[j] = label[i]
				}
				if z := ground[j]; z > level {
					filled[j] = z
					rising = append(rising, j)
				} else {
					filled[j] = level
					pit = append(pit, j)
				}
			}
		}
		for len(rising) > 0 {
			i := rising[len(rising)-1]
			rising = rising[:len(rising)-1]
			here, lower := filled[i], false
			near, all := &off, 8
			var few [8]int32
			if edge[i] {
				near, all = f.offsets(i, &few)
			}
			for _, o := range near[:all] {
				j := i + o
				if filled[j] != dry {
					continue
				}
				if z := ground[j]; z >= here {
					filled[j] = z
					if label != nil {
						label[j] = label[i]
					}
					rising = append(rising, j)
				} else {
					lower = true
				}
			}
			if lower {
				q.put(sortable(here), int(i))
			}
		}
	}
}

// offsets are those to the neighbours that a cell at the raster's edge has.
func (f *Field) offsets(i int32, few *[8]int32) (*[8]int32, int) {
	n := 0
	for k := 0; k < 8; k++ {
		if j, ok := f.neighbour(int(i)%f.Grid.Cols, int(i)/f.Grid.Cols, k); ok {
			few[n] = int32(j) - i
			n++
		}
	}
	return few, n
}

// region lists the dry cells joined to i.
func (f *Field) region(i int) []int {
	list := []int{i}
	in := map[int]bool{i: true}
	for at := 0; at < len(list); at++ {
		for k := 0; k < 8; k++ {
			j, ok := f.neighbour(list[at]%f.Grid.Cols, list[at]/f.Grid.Cols, k)
			if ok && f.Filled[j] == dry && !in[j] {
				in[j] = true
				list = append(list, j)
			}
		}
	}
	return list
}
