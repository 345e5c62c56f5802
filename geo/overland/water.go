package overland

// A flow field row by row, wherever its cells are kept: what ponds, ways and
// catchments are found on. Field has its cells in memory, Wide on disk, and both
// are asked by the same code.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
)

// Water is the water over a piece of ground.
type Water struct {
	Grid ground.Grid // without elevations where they are not in memory

	z, level func(r int) []float32
	dir      func(r int) []Direction
	counts   func(r int) []int32
	err      error
}

// Err is the first error of reading cells that are not in memory; after one, what
// was found is not complete.
func (w *Water) Err() error { return w.err }

// Heights are the elevations of a row of cells, NaN where there is none; not to be
// written to.
func (w *Water) Heights(row int) []float32 { return w.z(row) }

// Levels are those of the filled ground, the same way.
func (w *Water) Levels(row int) []float32 { return w.level(row) }

// Centre is the middle of cell i.
func (w *Water) Centre(i int) orb.Point { return w.Grid.Centre(i%w.Grid.Cols, i/w.Grid.Cols) }

func (w *Water) wet(i int) bool { return w.dir(i / w.Grid.Cols)[i%w.Grid.Cols] < Blocked }

// next is the cell that cell i drains to; false where its water leaves the ground.
func (w *Water) next(i int) (int, bool) {
	d := w.dir(i / w.Grid.Cols)[i%w.Grid.Cols]
	if d > NorthEast {
		return 0, false
	}
	return i + stepY[d]*w.Grid.Cols + stepX[d], true
}

// deep is how much water stands over cell i.
func (w *Water) deep(i int) unit.Length {
	r, c := i/w.Grid.Cols, i%w.Grid.Cols
	return unit.Length(float64(w.level(r)[c]) - float64(w.z(r)[c]))
}

// neighbour is the cell one step in direction k; false off the raster.
func (w *Water) neighbour(c, r, k int) (int, bool) {
	x, y := c+stepX[k], r+stepY[k]
	if x < 0 || y < 0 || x >= w.Grid.Cols || y >= w.Grid.Rows {
		return 0, false
	}
	return y*w.Grid.Cols + x, true
}

// CellAt is the index of the open cell that holds p, or of the open cell
// nearest to it within reach; false if there is none.
func (w *Water) CellAt(p orb.Point, reach unit.Length) (int, bool) {
	c, r, ok := nearestOpen(w.Grid, p, reach, func(c, r int) bool { return w.dir(r)[c] < Blocked })
	if !ok {
		return -1, false
	}
	return r*w.Grid.Cols + c, true
}

// NearestOpen is the middle of the cell that holds p, or of the one nearest to it
// within reach, that is ground and under no house: what CellAt says of the field
// of this ground, before there is one.
func NearestOpen(place ground.Grid, rows ground.Rows, blocked []orb.MultiPolygon, p orb.Point, reach unit.Length) (orb.Point, bool) {
	near, err := ground.Window(place, rows, orb.Bound{Min: p, Max: p}, reach+unit.Length(max(place.CellX, place.CellY)))
	if err != nil {
		return orb.Point{}, false
	}
	c0, r0, ok := place.Cell(near.Centre(0, 0))
	if !ok {
		return orb.Point{}, false
	}
	shut := map[[2]int]bool{}
	for _, mp := range blocked {
		if mp.Bound().Pad(max(place.CellX, place.CellY)).Intersects(near.Bound()) {
			eachCellIn(place, mp, c0, r0, near.Cols, near.Rows, func(c, r int) { shut[[2]int{c, r}] = true })
		}
	}
	c, r, ok := nearestOpen(place, p, reach, func(c, r int) bool {
		if c < c0 || r < r0 || c >= c0+near.Cols || r >= r0+near.Rows || shut[[2]int{c, r}] {
			return false
		}
		z := near.Z[(r-r0)*near.Cols+c-c0]
		return z == z
	})
	if !ok {
		return orb.Point{}, false
	}
	return place.Centre(c, r), true
}

// Code is the direction as GIS programs write it: E 1, SE 2, S 4, SW 8, W 16,
// NW 32, N 64, NE 128; for a cell that drains outward the first way out among
// E, S, W, N and then the diagonals; 0 for all others.
func (w *Water) Code(i int) int {
	cols := w.Grid.Cols
	d := w.dir(i / cols)[i%cols]
	if d <= NorthEast {
		return 1 << d
	}
	if d == Out {
		for _, k := range []int{0, 2, 4, 6, 1, 3, 5, 7} {
			if j, ok := w.neighbour(i%cols, i/cols, k); !ok || w.dir(j / cols)[j%cols] == Missing {
				return 1 << k
			}
		}
	}
	return 0
}

// Counts are how many cells drain through each of a row, itself included; 0 where
// there is no open ground. Not to be written to.
func (w *Water) Counts(row int) []int32 { return w.counts(row) }

// Run is a stretch of neighbouring cells of one row, by their indices, both ends
// included. A list of runs stands in rising order, and no two of it touch.
type Run struct{ First, Last int }

// Holds tells whether cell i is in a list of runs.
func Holds(runs []Run, i int) bool {
	k, _ := slices.BinarySearchFunc(runs, i, func(u Run, i int) int {
		if u.Last < i {
			return -1
		}
		return 1
	})
	return k < len(runs) && runs[k].First <= i
}

// cellsIn counts the cells of runs.
func cellsIn(runs []Run) (n int) {
	for _, u := range runs {
		n += u.Last - u.First + 1
	}
	return n
}

// runsOf are the runs of cells that stand in rising order.
func runsOf(cols int, cells []int) (runs []Run) {
	for _, i := range cells {
		if n := len(runs); n > 0 && runs[n-1].Last >= i-1 && i%cols != 0 {
			runs[n-1].Last = i
		} else {
			runs = append(runs, Run{i, i})
		}
	}
	return runs
}

// Touches tells whether the centre of one of the cells lies in an area, by the
// rule of Cells.
func Touches(g ground.Grid, runs []Run, area orb.MultiPolygon) bool {
	if len(runs) == 0 {
		return false
	}
	r0, r1 := runs[0].First/g.Cols, runs[len(runs)-1].First/g.Cols
	c0, c1 := g.Cols, 0
	for _, u := range runs {
		c0, c1 = min(c0, u.First%g.Cols), max(c1, u.Last%g.Cols)
	}
	found := false
	eachCellIn(g, area, c0, r0, c1-c0+1, r1-r0+1, func(c, r int) { found = found || Holds(runs, r*g.Cols+c) })
	return found
}

// cellSet is a set of cells.
type cellSet []uint64

func cellSetOf(g ground.Grid) cellSet { return make(cellSet, (g.Cols*g.Rows+63)/64) }

func (b cellSet) has(i int) bool { return b[i>>6]>>(i&63)&1 != 0 }
func (b cellSet) set(i int)      { b[i>>6] |= 1 << (i & 63) }

// Catchment are the open cells whose water passes one of the given cells, these
// included. Water that reaches a cell under a pond passes the whole pond: give a
// pond's Runs for what fills it.
func (w *Water) Catchment(runs []Run) []Run {
	g := w.Grid
	in := cellSetOf(g)
	low, high := g.Rows, -1
	var stack []int
	take := func(i int) {
		in.set(i)
		stack = append(stack, i)
		low, high = min(low, i/g.Cols), max(high, i/g.Cols)
	}
	for _, u := range runs {
		for i := max(u.First, 0); i <= min(u.Last, g.Cols*g.Rows-1); i++ {
			if w.wet(i) && !in.has(i) {
				take(i)
			}
		}
	}
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		c, r := i%g.Cols, i/g.Cols
		for k := 0; k < 8; k++ {
			if j, ok := w.neighbour(c, r, k); ok && w.dir(j / g.Cols)[j%g.Cols] == Direction(k+4)%8 && !in.has(j) {
				take(j)
			}
		}
	}
	var out []Run
	for r := low; r <= high; r++ {
		for c := 0; c < g.Cols; c++ {
			i := r*g.Cols + c
			if !in.has(i) {
				if in[i>>6]>>(i&63) == 0 { // none in the rest of the word
					c += 63 - i&63
				}
				continue
			}
			first := i
			for ; c+1 < g.Cols && in.has(i+1); c++ {
				i++
			}
			out = append(out, Run{first, i})
		}
	}
	return out
}

// Kept is where the cells of a field are kept that is not in memory: elevations
// and what Tiles has put into its Store.
type Kept interface {
	ground.Rows
	ReadFilled(col, row, width, height int, dst []float32) error
	ReadDir(col, row, width, height int, dst []Direction) error
	ReadCount(col, row, width, height int, dst []int32) error
}

// Wide is a field that is not in memory. It holds some hundred megabytes of its
// rows at once, and is for one goroutine at a time.
type Wide struct{ Water }

// NewWide is the field that Tiles has worked out. place is the whole raster.
func NewWide(place ground.Grid, kept Kept) *Wide {
	place.Z = nil
	w := &Wide{Water: Water{Grid: place}}
	nan := float32(math.NaN())
	w.z = strips(w, 96<<20, 4, nan, kept.Read)
	w.level = strips(w, 96<<20, 4, nan, kept.ReadFilled)
	w.dir = strips(w, 192<<20, 1, Missing, kept.ReadDir)
	w.counts = strips(w, 64<<20, 4, 0, kept.ReadCount)
	return w
}

// strips hands out rows, and keeps about so many bytes of those asked for last.
// After an error every cell is none.
func strips[T any](w *Wide, most, size int, none T, read func(col, row, width, height int, dst []T) error) func(r int) []T {
	cols, rows := w.Grid.Cols, w.Grid.Rows
	high := min(max((1<<20)/(cols*size), 1), rows)
	type strip struct {
		cells []T
		asked int
	}
	all := make([]strip, (rows+high-1)/high)
	var held []int
	room := max(most/(high*cols*size), 4)
	clock := 0
	return func(r int) []T {
		k := r / high
		s := &all[k]
		clock++
		s.asked = clock
		if s.cells == nil {
			if len(held) >= room {
				old := 0
				for n, h := range held {
					if all[h].asked < all[held[old]].asked {
						old = n
					}
				}
				all[held[old]].cells = nil
				held[old] = k
			} else {
				held = append(held, k)
			}
			n := min(high, rows-k*high)
			s.cells = make([]T, n*cols)
			err := w.err
			if err == nil {
				err = read(0, k*high, cols, n, s.cells)
			}
			if err != nil {
				w.err = err
				for i := range s.cells {
					s.cells[i] = none
				}
			}
		}
		at := (r - k*high) * cols
		return s.cells[at : at+cols]
	}
}
