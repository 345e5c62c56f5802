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
	f.flood(&q)
	// ground walled in on all sides fills from its lowest cell
	for i := range f.Filled {
		if f.Filled[i] != dry {
			continue
		}
		region := f.region(i)
		low := region[0]
		for _, j := range region {
			if g.Z[j] < g.Z[low] {
				low = j
			}
		}
		f.Dir[low] = Enclosed
		f.Filled[low] = g.Z[low]
		q = queue{}
		q.put(sortable(g.Z[low]), low)
		f.flood(&q)
	}
}

func (f *Field) flood(q *queue) {
	w := f.Grid.Cols
	var off [8]int
	for k := range off {
		off[k] = stepY[k]*w + stepX[k]
	}
	for q.n > 0 {
		key, i := q.take()
		level := f.Filled[i]
		if f.edge[i] { // some neighbours are off the raster
			for k := 0; k < 8; k++ {
				if j, ok := f.neighbour(i%w, i/w, k); ok && f.Filled[j] == dry {
					f.reach(q, j, level, key)
				}
			}
			continue
		}
		for _, o := range off {
			if j := i + o; f.Filled[j] == dry {
				f.reach(q, j, level, key)
			}
		}
	}
}

func (f *Field) reach(q *queue, j int, level float32, key uint32) {
	if z := f.Grid.Z[j]; z > level {
		f.Filled[j] = z
		q.put(sortable(z), j)
		return
	}
	f.Filled[j] = level
	q.put(key, j)
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
