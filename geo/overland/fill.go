package overland

// Filling: each cell's level is the least height over which its water can
// leave. No queue of cells is needed for it. Every cell runs down to a pit; the
// cells of one pit are a basin; and only how basins meet says how high each
// must rise. A cell's level is its own height or its basin's level, whichever
// is higher: it reaches the pit without rising, and whatever way leads out of
// the cell leads out of the pit too. (After Cordonnier, Bovy and Braun 2019, who
// work directions so; from memory.)

import (
	"math"
	"math/bits"
	"slices"
	"sync"
)

// sortable maps a height to a number of the same order; +0 and -0 to one.
func sortable(z float32) uint32 {
	b := math.Float32bits(z + 0)
	return b ^ uint32(int32(b)>>31) | ^uint32(int32(b)>>31)&(1<<31)
}

// Basins that are no pits, and states of a cell's label.
const (
	outside = 0 // where water leaves the ground; its level is below all
	nobody  = -1
	unasked = -2
)

// pass is the least height found over which two basins run together.
type pass struct {
	a, b int32
	z    float32
}

// basins are what the cells of a field run down to.
type basins struct {
	of     []int32 // basin of each cell; nobody: no open ground
	low    []int32 // lowest cell of each basin, the first of equals; nobody: outside
	passes []pass
}

// fill sets Filled, and Enclosed in Dir.
func (f *Field) fill(workers int) {
	b := f.basins(1, nil)
	level, _, _ := f.levels(b, 1)
	f.bands(workers, func(r0, r1 int) {
		nan := float32(math.NaN())
		w := f.Grid.Cols
		for i, o := range b.of[r0*w : r1*w] {
			if i += r0 * w; o >= 0 {
				f.Filled[i] = max(f.Grid.Z[i], level[o])
			} else {
				f.Filled[i] = nan
			}
		}
	})
}

// bands works bands of rows side by side.
func (f *Field) bands(workers int, work func(r0, r1 int)) {
	h := f.Grid.Rows
	n := max(1, min(workers, h/64))
	var wait sync.WaitGroup
	for b := 1; b < n; b++ {
		wait.Add(1)
		go func() {
			defer wait.Done()
			work(b*h/n, (b+1)*h/n)
		}()
	}
	work(0, h/n)
	wait.Wait()
}

// levels gives each basin's level over those of the first basins, which keep
// theirs: the level is least[basin], or that of the basin end[basin], whichever is
// higher. meets are the passes left between the first basins. Ground walled in on
// all sides is filled from its lowest cell, the first of equals, which becomes
// Enclosed.
func (f *Field) levels(b basins, first int32) (least []float32, end []int32, meets []pass) {
	least, end, meets = contract(int32(len(b.low)), first, b.passes)
	shut := map[int32]int32{} // the lowest basin of each part without a way out
	z := f.Grid.Z
	for k := first; k < int32(len(b.low)); k++ {
		if end[k] < first {
			continue
		}
		o, known := shut[end[k]]
		if i, j := b.low[k], int32(0); known {
			if j = b.low[o]; z[j] < z[i] || z[j] == z[i] && j < i {
				continue
			}
		}
		shut[end[k]] = k
	}
	if len(shut) == 0 {
		return
	}
	ways := slices.Clone(b.passes)
	for _, k := range shut {
		f.Dir[b.low[k]] = Enclosed
		ways = append(ways, pass{outside, k, float32(math.Inf(-1))})
	}
	return contract(int32(len(b.low)), first, ways)
}

// codes are the neighbours in the order of the raster: four before a cell, four
// behind it.
var codes = [8]Direction{NorthWest, North, NorthEast, West, East, SouthWest, South, SouthEast}

// basins finds what each cell runs down to. Where water leaves, and at the
// raster's border, a cell stands for itself: as the basin that rim gives it, or
// as outside if rim is nil; no other cell may lie on the border. Dir of the other
// open cells is used on the way.
func (f *Field) basins(first int32, rim func(i int) int32) basins {
	g := f.Grid
	w, h := g.Cols, g.Rows
	b := basins{of: make([]int32, len(g.Z)), low: make([]int32, first)}
	for k := range b.low {
		b.low[k] = nobody
	}
	ends := func(i int) {
		b.of[i] = outside
		if f.Dir[i] == flat && rim != nil {
			b.of[i] = rim(i)
		}
	}
	// Three rows of heights at a time, with room beside them, so that the lowest
	// neighbour is found without asking for borders. The neighbour's code is in
	// the low bits: of equals the first in the raster.
	const none = math.MaxUint64 &^ 7
	var rows [3][]uint64
	for k := range rows {
		rows[k] = make([]uint64, w+2)
	}
	load := func(r int) {
		row := rows[r%3]
		row[0], row[w+1] = none, none
		for c, z := range g.Z[r*w : (r+1)*w] {
			k := uint64(sortable(z)) << 3
			if f.Dir[r*w+c] >= Blocked && f.Dir[r*w+c] != flat {
				k = none
			}
			row[c+1] = k
		}
	}
	load(0)
	if h > 1 {
		load(1)
	}
	for c := range w {
		b.of[c] = nobody
		if f.Wet(c) || f.Dir[c] == flat {
			ends(c)
		}
	}
	for r := 1; r < h; r++ {
		last := r == h-1
		if !last {
			load(r + 1)
		}
		up, mid, down := rows[(r+2)%3], rows[r%3], rows[(r+1)%3]
		up, mid, down = up[:w+2], mid[:w+2], down[:w+2]
		dir, of, edge := f.Dir[r*w:(r+1)*w], b.of[r*w:(r+1)*w], f.edge[r*w:(r+1)*w]
		of, edge = of[:len(dir)], edge[:len(dir)]
		for c, d := range dir {
			if d != flat {
				if of[c] = nobody; d < Blocked {
					ends(r*w + c)
				}
				continue
			}
			if edge[c] || last || c == 0 || c == w-1 {
				ends(r*w + c)
				continue
			}
			low := min(up[c], up[c+1]|1, up[c+2]|2, mid[c]|3, mid[c+2]|4, down[c]|5, down[c+1]|6, down[c+2]|7)
			// an equal one that comes before is as good: of a level place only few
			// cells are pits
			if here := mid[c+1]; low < here|4 {
				dir[c] = codes[low&7]
			}
			of[c] = unasked
		}
	}
	f.follow(&b)
	f.meet(&b)
	return b
}

// follow gives each cell the basin that it runs down to.
func (f *Field) follow(b *basins) {
	var step [256]int
	for d := East; d <= NorthEast; d++ {
		step[d] = stepY[d]*f.Grid.Cols + stepX[d]
	}
	of, dir := b.of, f.Dir
	for i := range of {
		if of[i] != unasked {
			continue
		}
		at := i
		for of[at] == unasked {
			o := step[dir[at]]
			if o == 0 {
				of[at] = int32(len(b.low))
				b.low = append(b.low, int32(at))
				break
			}
			at += o
		}
		own := of[at]
		for at = i; of[at] == unasked; at += step[dir[at]] {
			of[at] = own
		}
	}
}

// meetings collects the least pass of each pair of basins. Only pairs met lately are
// known again; another is listed twice, which does no harm.
type meetings struct {
	list   []pass
	lately []struct{ a, b, at int32 }
	shift  int
}

// meetingsOf makes room for the passes of so many cells.
func meetingsOf(cells int) meetings {
	n := min(max(bits.Len(uint(cells/16)), 4), 14)
	return meetings{lately: make([]struct{ a, b, at int32 }, 1<<n), shift: 32 - n}
}

func (s *meetings) add(a, b int32, z float32) {
	if a > b {
		a, b = b, a
	}
	m := &s.lately[(uint32(a)*0x9E3779B1^uint32(b)*0x85EBCA77)>>s.shift]
	if m.a == a && m.b == b { // never so at first: a is not b
		if q := &s.list[m.at]; z < q.z {
			q.z = z
		}
		return
	}
	m.a, m.b, m.at = a, b, int32(len(s.list))
	s.list = append(s.list, pass{a, b, z})
}

// meet lists the passes between basins.
func (f *Field) meet(b *basins) {
	w, h := f.Grid.Cols, f.Grid.Rows
	z, of := f.Grid.Z, b.of
	met := meetingsOf(len(z))
	add := func(i, j int) {
		if of[j] >= 0 {
			met.add(of[i], of[j], max(z[i], z[j]))
		}
	}
	for r := range h {
		row := of[r*w : (r+1)*w]
		below := row // in the last row, where it is not used
		if r < h-1 {
			below = of[(r+1)*w : (r+2)*w]
		}
		below = below[:len(row)]
		for c, a := range row {
			if a < 0 {
				continue
			}
			i := r*w + c
			if c < w-1 && row[c+1] != a {
				add(i, i+1)
			}
			if r == h-1 {
				continue
			}
			if below[c] != a {
				add(i, i+w)
			}
			if c < w-1 && below[c+1] != a {
				add(i, i+w+1)
			}
			if c > 0 && below[c-1] != a {
				add(i, i+w-1)
			}
		}
	}
	b.passes = met.list
}

// contract joins each of n basins but the first ones to what its lowest pass
// leads to, and what has so become one again, until all that can be are joined to
// one of the first (the rounds of Boruvka 1926). A basin's level is that of its
// lowest pass or of what lies beyond, whichever is higher: whoever leaves crosses
// a pass at least so high, and who is beyond can come back over this one. Passes
// met later are never lower, so they need no correction for the way to them.
//
// The level of basin k is least[k] or that of the first basin end[k], whichever is
// higher. A part from which no way leads to one of the first ends in a basin of
// its own. meets are the passes between different ones of the first.
func contract(n, first int32, passes []pass) (least []float32, end []int32, meets []pass) {
	least, end = make([]float32, n), make([]int32, n)
	next := make([]int32, n)  // over the lowest pass; itself: not joined
	best := make([]uint64, n) // that pass: its height and its number
	const none = math.MaxUint64
	for k := range next {
		next[k], end[k], least[k], best[k] = int32(k), int32(k), float32(math.Inf(-1)), none
	}
	find := func(k int32) int32 {
		for end[k] != k {
			end[k] = end[end[k]]
			k = end[k]
		}
		return k
	}
	ways, own := passes, false
	for joined := true; joined; {
		for i, p := range ways {
			key := uint64(sortable(p.z))<<32 | uint64(i)
			best[p.a], best[p.b] = min(best[p.a], key), min(best[p.b], key)
		}
		joined = false
		for _, p := range ways {
			for _, k := range [2]int32{p.a, p.b} {
				if k < first || next[k] != k || best[k] == none {
					continue
				}
				q := ways[uint32(best[k])]
				o := q.a ^ q.b ^ k
				if o >= first && best[o] == best[k] && k < o {
					continue // the other is joined to this one
				}
				next[k], end[k], least[k] = o, o, q.z
				joined = true
			}
		}
		kept := ways[:0]
		if !own {
			kept, own = make([]pass, 0, len(ways)), true
		}
		for _, p := range ways {
			best[p.a], best[p.b] = none, none
			if p.a, p.b = find(p.a), find(p.b); p.a != p.b {
				kept = append(kept, p)
			}
		}
		ways = kept
	}
	// least along the way to the end
	var way []int32
	done := make([]bool, n)
	for k := range next {
		at := int32(k)
		for way = way[:0]; next[at] != at && !done[at]; at = next[at] {
			way = append(way, at)
		}
		for i := len(way) - 1; i >= 0; i-- {
			j := way[i]
			if o := next[j]; o >= first {
				least[j] = max(least[j], least[o])
			}
			end[j] = find(j)
			done[j] = true
		}
	}
	return least, end, ways
}
