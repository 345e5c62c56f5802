package overland

// Directions on the filled ground, and how many cells drain through each.

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// direct sets Dir of every open cell. Bands of rows are worked side by side:
// each cell's direction hangs on levels alone.
func (f *Field) direct(workers int) {
	var mu sync.Mutex
	flats := map[int][]int32{} // by the band's first row
	f.bands(workers, func(r0, r1 int) {
		list := f.fallsOf(r0, r1)
		mu.Lock()
		flats[r0] = list
		mu.Unlock()
	})
	var all []int32
	for _, r := range slices.Sorted(maps.Keys(flats)) {
		all = append(all, flats[r]...)
	}
	f.flats(all)
}

// fallsOf sets Dir in some rows where the ground falls or ends, and lists the
// flat cells.
func (f *Field) fallsOf(r0, r1 int) (flats []int32) {
	w, h := f.Grid.Cols, f.Grid.Rows
	// heights as whole numbers, three rows at a time, the direction in the low bits
	var rows [3][]uint64
	for k := range rows {
		rows[k] = make([]uint64, w)
	}
	load := func(r int) {
		row := rows[r%3]
		for c, z := range f.Filled[r*w : (r+1)*w] {
			k := uint64(sortable(z)) << 3
			if z != z {
				k = math.MaxUint64 &^ 7
			}
			row[c] = k
		}
	}
	square := f.steps[0] == f.steps[2]
	if r0 > 0 {
		load(r0 - 1)
	}
	load(r0)
	for r := r0; r < r1; r++ {
		if r < h-1 {
			load(r + 1)
		}
		whole := square && r > 0 && r < h-1
		up, mid, down := rows[(r+2)%3], rows[r%3], rows[(r+1)%3]
		up, mid, down = up[:w], mid[:w], down[:w]
		dir, edge := f.Dir[r*w:(r+1)*w], f.edge[r*w:(r+1)*w]
		dir, edge = dir[:w], edge[:w]
		for c := range mid {
			if d := dir[c]; d > NorthEast && d != flat {
				continue
			}
			d := flat
			if whole && c > 0 && c < w-1 {
				// the lowest of the four beside and of the four askew, the first of
				// equals, and then one against the other
				z := mid[c]
				beside := min(mid[c+1], down[c]|2, mid[c-1]|4, up[c]|6)
				askew := min(down[c+1]|1, down[c-1]|3, up[c-1]|5, up[c+1]|7)
				switch {
				case beside&^7 >= z && askew&^7 >= z:
				case askew&^7 >= beside&^7:
					d = Direction(beside & 7)
				case beside&^7 >= z:
					d = Direction(askew & 7)
				default:
					d = f.steeper(r*w+c, Direction(beside&7), Direction(askew&7))
				}
			} else {
				d = f.steepest(c, r)
			}
			if d == flat {
				if edge[c] {
					d = Out
				} else {
					flats = append(flats, int32(r*w+c))
				}
			}
			dir[c] = d
		}
	}
	return flats
}

// steeper is the steeper of two directions in which the ground falls, on square
// cells; of equals the first.
func (f *Field) steeper(i int, beside, askew Direction) Direction {
	z, w := float64(f.Filled[i]), f.Grid.Cols
	s := (z - float64(f.Filled[i+stepY[beside]*w+stepX[beside]])) / f.steps[0]
	t := (z - float64(f.Filled[i+stepY[askew]*w+stepX[askew]])) / f.steps[1]
	if t > s || t == s && askew < beside {
		return askew
	}
	return beside
}

// steepest is the direction of the steepest fall from a cell, flat if no
// neighbour is lower.
func (f *Field) steepest(c, r int) Direction {
	w, h := f.Grid.Cols, f.Grid.Rows
	i := r*w + c
	z := f.Filled[i]
	best, d := 0.0, flat
	for k := 0; k < 8; k++ {
		if x, y := c+stepX[k], r+stepY[k]; x < 0 || y < 0 || x >= w || y >= h {
			continue
		}
		n := f.Filled[i+stepY[k]*w+stepX[k]]
		if !(n < z) {
			continue
		}
		if s := (float64(z) - float64(n)) / f.steps[k]; s > best {
			best, d = s, Direction(k)
		}
	}
	return d
}

// flats leads each flat cell by the shortest way over cells of its level to one
// that drains, layer by layer from there. A flat cell is none of the raster's
// border: that drains outward.
func (f *Field) flats(list []int32) {
	off, dir := f.offsets(), f.Dir
	var layer, next []int32
	var found []Direction
	for _, i := range list {
		if d := f.look(i, &off); d != flat {
			layer = append(layer, i)
			found = append(found, d)
		}
	}
	for len(layer) > 0 {
		for n, i := range layer {
			dir[i] = found[n]
		}
		next, found = next[:0], found[:0]
		for _, i := range layer {
			for _, o := range off {
				// flat cells that touch are of one level: the higher would fall to the lower
				if j := i + o; dir[j] == flat {
					dir[j] = pending
					next = append(next, j)
				}
			}
		}
		for _, i := range next {
			found = append(found, f.look(i, &off))
		}
		layer, next = next, layer
	}
}

// look is the first neighbour of a cell's level that drains; flat: none does.
func (f *Field) look(i int32, off *[8]int32) Direction {
	z := f.Filled[i]
	for k, o := range off {
		if j := i + o; f.Dir[j] <= Enclosed && f.Filled[j] == z {
			return Direction(k)
		}
	}
	return flat
}

// offsets are those of a cell's neighbours.
func (f *Field) offsets() (off [8]int32) {
	for k := range off {
		off[k] = int32(stepY[k]*f.Grid.Cols + stepX[k])
	}
	return off
}

// count adds up the cells that drain through each cell.
func (f *Field) count() []int32 {
	n := f.ones()
	gather(f, n, nil)
	return n
}

// ones is 1 for each open cell.
func (f *Field) ones() []int32 {
	n := make([]int32, len(f.Dir))
	for i := range n {
		if f.Wet(i) {
			n[i] = 1
		}
	}
	return n
}

// gather adds what each cell bears to all cells it drains through. A cell that
// is kept lets nothing past.
func gather[T int32 | float64](f *Field, bears []T, kept map[int]bool) {
	var step [256]int // 0: nowhere
	for d := East; d <= NorthEast; d++ {
		step[d] = stepY[d]*f.Grid.Cols + stepX[d]
	}
	dir := f.Dir
	above := make([]uint8, len(bears)) // neighbours that have still to bring theirs
	for i, d := range dir {
		if o := step[d]; o != 0 {
			above[i+o]++
		}
	}
	const done = 255
	for i := range bears {
		if above[i] != 0 || dir[i] >= Blocked {
			continue
		}
		// from a source down, as long as nothing else has still to arrive
		for at := i; ; {
			above[at] = done
			o := step[dir[at]]
			if o == 0 {
				break
			}
			j := at + o
			if kept == nil || !kept[at] {
				bears[j] += bears[at]
			}
			if above[j]--; above[j] != 0 {
				break
			}
			at = j
		}
	}
}

// Inflow is water from elsewhere set down on a cell: a roof's area at the foot
// of its downspout.
type Inflow struct {
	At   orb.Point
	Area unit.Area
}

// Accumulate gives the area that drains through each cell when each open cell
// bears weight (1 for all if nil; 0 for ground whose water is caught where it
// falls), inflows are set down, and water that reaches a caught cell goes no
// further: that cell keeps it. An inflow more than reach from open ground is an
// error.
func (f *Field) Accumulate(weight []float32, inflows []Inflow, reach unit.Length, caught []int) ([]float64, error) {
	cell := float64(f.Grid.CellArea())
	a := make([]float64, len(f.Dir))
	for i := range a {
		if f.Wet(i) {
			a[i] = cell
			if weight != nil {
				a[i] *= float64(weight[i])
			}
		}
	}
	for k, in := range inflows {
		i, ok := f.CellAt(in.At, reach)
		if !ok {
			return nil, noOpenGround(k, in.At, reach)
		}
		a[i] += float64(in.Area)
	}
	kept := make(map[int]bool, len(caught))
	for _, i := range caught {
		kept[i] = true
	}
	gather(f, a, kept)
	return a, nil
}

func noOpenGround(inflow int, at orb.Point, reach unit.Length) error {
	return fmt.Errorf("overland: inflow %d at %.2f, %.2f m has no open ground within %.2f m", inflow, at[0], at[1], float64(reach))
}
