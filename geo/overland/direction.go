package overland

// Directions on the filled ground, and how many cells drain through each.

import (
	"fmt"
	"slices"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// direct sets Dir of every open cell. Bands of rows are worked side by side:
// each cell's direction hangs on levels alone.
func (f *Field) direct(workers int) {
	h := f.Grid.Rows
	bands := max(1, min(workers, h/64))
	flats := make([][]int32, bands)
	var wait sync.WaitGroup
	for b := 0; b < bands; b++ {
		wait.Add(1)
		go func() {
			defer wait.Done()
			flats[b] = f.fallsOf(b*h/bands, (b+1)*h/bands)
		}()
	}
	wait.Wait()
	f.flats(slices.Concat(flats...))
}

// fallsOf sets Dir in some rows where the ground falls or ends, and lists the
// flat cells.
func (f *Field) fallsOf(r0, r1 int) (flats []int32) {
	w := f.Grid.Cols
	for r := r0; r < r1; r++ {
		for c := 0; c < w; c++ {
			i := r*w + c
			if f.Dir[i] != flat {
				continue
			}
			if d := f.steepest(c, r); d != flat {
				f.Dir[i] = d
			} else if f.edge[i] {
				f.Dir[i] = Out
			} else {
				flats = append(flats, int32(i))
			}
		}
	}
	return flats
}

// steepest is the direction of the steepest fall from a cell, flat if no
// neighbour is lower.
func (f *Field) steepest(c, r int) Direction {
	w, h := f.Grid.Cols, f.Grid.Rows
	i := r*w + c
	z := f.Filled[i]
	if c > 0 && r > 0 && c < w-1 && r < h-1 && f.steps[0] == f.steps[2] {
		// square cells: the lowest of the four beside and of the four askew, the
		// first of equals, and then one against the other
		up, mid, down := f.Filled[i-w-1:i-w+2], f.Filled[i-1:i+2], f.Filled[i+w-1:i+w+2]
		beside, d := z, flat
		if v := mid[2]; v < beside {
			beside, d = v, East
		}
		if v := down[1]; v < beside {
			beside, d = v, South
		}
		if v := mid[0]; v < beside {
			beside, d = v, West
		}
		if v := up[1]; v < beside {
			beside, d = v, North
		}
		askew, e := z, flat
		if v := down[2]; v < askew {
			askew, e = v, SouthEast
		}
		if v := down[0]; v < askew {
			askew, e = v, SouthWest
		}
		if v := up[0]; v < askew {
			askew, e = v, NorthWest
		}
		if v := up[2]; v < askew {
			askew, e = v, NorthEast
		}
		switch {
		case askew >= beside:
			return d
		case d == flat:
			return e
		}
		s, t := (float64(z)-float64(beside))/f.steps[0], (float64(z)-float64(askew))/f.steps[1]
		if t > s || t == s && e < d {
			return e
		}
		return d
	}
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
// that drains, layer by layer from there.
func (f *Field) flats(list []int32) {
	w := f.Grid.Cols
	look := func(i int32) Direction { // the first neighbour of this level that drains
		c, r := int(i)%w, int(i)/w
		for k := 0; k < 8; k++ {
			if j, ok := f.neighbour(c, r, k); ok && f.Dir[j] <= Enclosed && f.Filled[j] == f.Filled[i] {
				return Direction(k)
			}
		}
		return flat
	}
	var layer []int32
	var found []Direction
	for _, i := range list {
		if d := look(i); d != flat {
			layer = append(layer, i)
			found = append(found, d)
		}
	}
	for len(layer) > 0 {
		for n, i := range layer {
			f.Dir[i] = found[n]
		}
		var next []int32
		for _, i := range layer {
			c, r := int(i)%w, int(i)/w
			for k := 0; k < 8; k++ {
				if j, ok := f.neighbour(c, r, k); ok && f.Dir[j] == flat && f.Filled[j] == f.Filled[i] {
					f.Dir[j] = pending
					next = append(next, int32(j))
				}
			}
		}
		found = found[:0]
		for _, i := range next {
			found = append(found, look(i))
		}
		layer = next
	}
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
			return nil, fmt.Errorf("overland: inflow %d at %.2f, %.2f m has no open ground within %.2f m", k, in.At[0], in.At[1], float64(reach))
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
