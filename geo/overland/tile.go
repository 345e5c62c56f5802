package overland

// Rasters larger than memory: the same field tile by tile. Three things do not
// stop at a tile's border, and each is settled on the borders alone, which fit
// into memory:
//
//   - levels: every tile is filled with its border as the way out, and keeps at
//     which height its border cells meet; these passes give the level of each
//     border cell (Barnes 2016), and what is under it and joined to it rises;
//   - the shortest ways over flats: those within a tile are settled there; of the
//     others distances at the borders are handed to the neighbours until none
//     changes;
//   - counts: every tile knows where the water that comes in at a border cell
//     goes out again; what comes in is carried along these links (Barnes 2017).
//
// The answers are those of Flow, cell for cell.

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
)

// Store keeps results in rectangles of cells, row by row. Calls come from
// several goroutines at once, but never two for cells in common of which one
// writes.
type Store interface {
	ReadFilled(col, row, width, height int, dst []float32) error
	WriteFilled(col, row, width, height int, src []float32) error
	ReadDir(col, row, width, height int, dst []Direction) error
	WriteDir(col, row, width, height int, src []Direction) error
	WriteCount(col, row, width, height int, src []int32) error
}

// Tiles is a raster to be worked in tiles.
type Tiles struct {
	Place ground.Grid // size and cells of the raster, without elevations
	Rows  ground.Rows
	Store Store
	// Blocked and Drains are those of Input.
	Blocked []orb.MultiPolygon
	Drains  []orb.Point
	// Areas, where it is given, is handed the area that drains through each cell,
	// tile by tile, the Inflows set down with theirs (as by Accumulate without
	// weights, but for the rounding of sums). It is called from several goroutines
	// at once. An inflow more than Reach from open ground is an error.
	Areas   func(col, row, width, height int, area []float64) error
	Inflows []Inflow
	Reach   unit.Length
	// Shares, where it is given, is handed what Infinity and CountInfinity give, the
	// same way.
	Shares func(col, row, width, height int, shares []Share, count []float64) error
	Side   int // cells of a tile's side; 0: 1024
	// Workers is how many tiles are worked at once; 0: one. A tile of side n
	// takes about 30 n^2 bytes.
	Workers int
	// Progress is told how many of how many steps are done; nil: nobody.
	// Flats may need more steps than was said.
	Progress func(done, total int)
}

type tile struct {
	col, row, w, h int
	z              []float32 // of the border cells: their heights, later levels; NaN: no open ground
	label          []int32   // of the border cells: 1 + rim, or outside; later their direction
	meets          []pass    // between these
	low            []int32   // by label: the lowest cell that drains to it, in the tile; only where something is blocked
	least          []float32 // and its height
	ends           []end     // cells where water leaves the ground
	waiting        *[]waits  // cells of flats that reach the border; nil: too many to keep
	dist           []int32   // of the border cells: ways over flats; 0: drains, see far
	exit           []int32   // where water coming in at a border cell leaves: a border cell of this tile, or -1
	count          []int32   // of the border cells, without what comes in
	area           []float64 // the same of areas
	inflows        []setDown
}

// setDown is an inflow on its cell of a tile.
type setDown struct {
	at   int
	area unit.Area
}

// end is a cell of the raster where water leaves the ground: Drained or
// Enclosed.
type end struct {
	x, y int
	how  Direction
}

// far is the distance of a flat cell that has found no way out yet.
const far = math.MaxInt32

type tiling struct {
	Tiles
	tiles  []tile
	across int
	done   atomic.Int64
	total  int
}

// Flow fills the raster, finds directions and counts cells, into the store. It
// returns the first error of source or store.
func (t Tiles) Flow() error {
	if t.Side == 0 {
		t.Side = 1024
	}
	if t.Side < 3 || t.Side > mostSide || t.Place.Cols < 1 || t.Place.Rows < 1 || float64(t.Place.Cols)*float64(t.Place.Rows) > math.MaxInt32 {
		return fmt.Errorf("overland: a raster of %d by %d cells in tiles of %d", t.Place.Cols, t.Place.Rows, t.Side)
	}
	g := &tiling{Tiles: t, across: (t.Place.Cols + t.Side - 1) / t.Side}
	for r := 0; r < t.Place.Rows; r += t.Side {
		for c := 0; c < t.Place.Cols; c += t.Side {
			g.tiles = append(g.tiles, tile{col: c, row: r, w: min(t.Side, t.Place.Cols-c), h: min(t.Side, t.Place.Rows-r)})
		}
	}
	for k, p := range t.Drains {
		c, r, ok := t.Place.Cell(p)
		if !ok {
			return fmt.Errorf("overland: drain %d at %.2f, %.2f m lies outside the raster", k, p[0], p[1])
		}
		g.end(c, r, Drained)
	}
	g.total = 5 * len(g.tiles)
	if err := g.each(g.parts, nil); err != nil {
		return err
	}
	shut := g.levels()
	if len(shut) > 0 { // ground walled in over more than one tile
		again := map[int]bool{}
		for _, cell := range shut {
			x, y := int(cell%int64(t.Place.Cols)), int(cell/int64(t.Place.Cols))
			g.end(x, y, Enclosed)
			k, _, _ := g.at(x, y)
			again[k] = true
		}
		todo := slices.Sorted(maps.Keys(again))
		g.total += len(todo)
		if err := g.each(g.parts, todo); err != nil {
			return err
		}
		g.levels()
	}
	if err := g.each(g.falls, nil); err != nil {
		return err
	}
	if err := g.settleFlats(); err != nil {
		return err
	}
	if err := g.setDown(); err != nil {
		return err
	}
	if err := g.each(g.links, nil); err != nil {
		return err
	}
	in := carry(g, func(t *tile) []int32 { return t.count })
	area := make([][]float64, len(g.tiles))
	if g.Areas != nil {
		area = carry(g, func(t *tile) []float64 { return t.area })
	}
	if err := g.each(func(k int) error { return g.add(k, in[k], area[k]) }, nil); err != nil || g.Shares == nil {
		return err
	}
	return g.infinity()
}

// end marks a cell where water leaves the ground.
func (g *tiling) end(x, y int, how Direction) {
	k, _, _ := g.at(x, y)
	g.tiles[k].ends = append(g.tiles[k].ends, end{x, y, how})
}

// each works tiles (all, or the listed ones) on the workers.
func (g *tiling) each(work func(k int) error, which []int) error {
	n := len(which)
	if which == nil {
		n = len(g.tiles)
	}
	var next atomic.Int64
	var wait sync.WaitGroup
	var once sync.Once
	var first error
	var failed atomic.Bool
	var tell sync.Mutex
	for w := 0; w < max(1, min(g.Workers, n)); w++ {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for {
				i := int(next.Add(1)) - 1
				if i >= n || failed.Load() {
					return
				}
				k := i
				if which != nil {
					k = which[i]
				}
				if err := work(k); err != nil {
					once.Do(func() { first = err })
					failed.Store(true)
					return
				}
				if g.Progress != nil {
					tell.Lock()
					g.Progress(int(g.done.Add(1)), g.total)
					tell.Unlock()
				}
			}
		}()
	}
	wait.Wait()
	return first
}

// window is a tile with a margin of one cell, as far as the raster goes.
type window struct {
	*Field
	x, y int // of the window's first cell
	t    *tile
}

// window lays out a tile's window, without any cells in it yet.
func (g *tiling) window(k int) window {
	t := &g.tiles[k]
	x0, y0 := max(0, t.col-1), max(0, t.row-1)
	d := g.Place
	d.Cols, d.Rows, d.Z = min(g.Place.Cols, t.col+t.w+1)-x0, min(g.Place.Rows, t.row+t.h+1)-y0, nil
	return window{newField(d), x0, y0, t}
}

// start is the index of the first of the tile's cells in its row y.
func (w window) start(y int) int { return (w.t.row-w.y+y)*w.Grid.Cols + w.t.col - w.x }

// margin visits the cells beside the tile: index in the window, place in the
// raster.
func (w window) margin(visit func(i, x, y int)) {
	for r := 0; r < w.Grid.Rows; r++ {
		for c := 0; c < w.Grid.Cols; c++ {
			i := r*w.Grid.Cols + c
			if w.own(i) {
				c = w.t.col - w.x + w.t.w - 1 // the last of the row's own cells
				continue
			}
			visit(i, w.x+c, w.y+r)
		}
	}
}

// own tells whether cell i of the window is one of the tile's.
func (w window) own(i int) bool {
	x, y := i%w.Grid.Cols+w.x-w.t.col, i/w.Grid.Cols+w.y-w.t.row
	return x >= 0 && y >= 0 && x < w.t.w && y < w.t.h
}

// rim is the place of a border cell in a tile's lists: the upper row, the
// lower, the left column, the right; -1 for a cell within.
func (t *tile) rim(x, y int) int {
	switch {
	case y == 0:
		return x
	case y == t.h-1:
		return t.w + x
	case x == 0:
		return 2*t.w + y
	case x == t.w-1:
		return 2*t.w + t.h + y
	}
	return -1
}

func (t *tile) rims() int { return 2 * (t.w + t.h) }

// eachRim visits the border cells, each once.
func (t *tile) eachRim(visit func(x, y, rim int)) {
	for x := 0; x < t.w; x++ {
		visit(x, 0, t.rim(x, 0))
		if t.h > 1 {
			visit(x, t.h-1, t.rim(x, t.h-1))
		}
	}
	for y := 1; y < t.h-1; y++ {
		visit(0, y, t.rim(0, y))
		if t.w > 1 {
			visit(t.w-1, y, t.rim(t.w-1, y))
		}
	}
}

// at is the tile of a cell of the raster and the cell's place in it.
func (g *tiling) at(x, y int) (k, lx, ly int) {
	k = y/g.Side*g.across + x/g.Side
	return k, x % g.Side, y % g.Side
}

// parts fills a tile with its border as the way out, and keeps how high the
// ways between places of the border lead.
func (g *tiling) parts(k int) error {
	w := g.window(k)
	t, d := w.t, w.Grid
	w.Grid.Z = make([]float32, d.Cols*d.Rows)
	if err := g.Rows.Read(w.x, w.y, d.Cols, d.Rows, w.Grid.Z); err != nil {
		return err
	}
	w.Field = newField(w.Grid)
	w.classify()
	for _, mp := range g.Blocked {
		eachCellIn(g.Place, mp, w.x, w.y, d.Cols, d.Rows, func(c, r int) {
			if i := (r-w.y)*d.Cols + c - w.x; w.Dir[i] != Missing {
				w.Dir[i] = Blocked
			}
		})
	}
	w.findEdges()
	for _, e := range t.ends {
		i := (e.y-w.y)*d.Cols + e.x - w.x
		if w.Dir[i] == Blocked || w.Dir[i] == Missing {
			p := g.Place.Centre(e.x, e.y)
			return fmt.Errorf("overland: drain in the cell at %.2f, %.2f m stands where there is no open ground", p[0], p[1])
		}
		w.Dir[i] = e.how
	}
	// the tile's own cells
	d.Cols, d.Rows, d.Z = t.w, t.h, make([]float32, t.w*t.h)
	f := newField(d)
	for y := range t.h {
		i := w.start(y)
		copy(d.Z[y*t.w:(y+1)*t.w], w.Grid.Z[i:])
		copy(f.Dir[y*t.w:(y+1)*t.w], w.Dir[i:])
		copy(f.edge[y*t.w:(y+1)*t.w], w.edge[i:])
	}
	first := int32(1 + t.rims())
	b := f.basins(first, func(i int) int32 {
		if f.edge[i] {
			return outside
		}
		return int32(1 + t.rim(i%t.w, i/t.w))
	})
	least, end, meets := f.levels(b, first)
	met := meetingsOf(len(d.Z))
	for _, m := range meets {
		met.add(m.a, m.b, m.z)
	}
	t.meets = slices.Clone(met.list)
	t.label, t.z = make([]int32, t.rims()), make([]float32, t.rims())
	nan := float32(math.NaN())
	t.eachRim(func(x, y, r int) {
		i := y*t.w + x
		if t.label[r], t.z[r] = b.of[i], d.Z[i]; b.of[i] < 0 {
			t.z[r] = nan
		}
	})
	if len(g.Blocked) > 0 {
		t.low = make([]int32, first)
		for l := range t.low {
			t.low[l] = nobody
		}
		lower := func(l, i int32) {
			if o := t.low[l]; o < 0 || d.Z[i] < d.Z[o] || d.Z[i] == d.Z[o] && i < o {
				t.low[l] = i
			}
		}
		t.eachRim(func(x, y, r int) {
			if l := t.label[r]; l > 0 {
				lower(l, int32(y*t.w+x))
			}
		})
		for k := first; k < int32(len(end)); k++ {
			if end[k] < first {
				lower(end[k], b.low[k])
			}
		}
		t.least = make([]float32, first)
		for l, i := range t.low {
			if i >= 0 {
				t.least[l] = d.Z[i]
			}
		}
	}
	// what is known of the cells so far: Out is for one that may drain outward
	for i, o := range b.of {
		switch z := d.Z[i]; {
		case o < 0:
			f.Filled[i] = nan
		case o < first:
			f.Filled[i] = z
		default:
			f.Filled[i] = max(z, least[o])
		}
		if f.Dir[i] <= NorthEast {
			f.Dir[i] = flat
		} else if f.Dir[i] == flat && f.edge[i] {
			f.Dir[i] = Out
		}
	}
	if err := g.Store.WriteDir(t.col, t.row, t.w, t.h, f.Dir); err != nil {
		return err
	}
	return g.Store.WriteFilled(t.col, t.row, t.w, t.h, f.Filled)
}

// levels finds the levels of the borders of all tiles from how they meet. shut
// are the lowest cells of ground from which no way leads out; where there are
// some, nothing is changed yet.
func (g *tiling) levels() (shut []int64) {
	n := int32(1)
	base := make([]int32, len(g.tiles))
	for k := range g.tiles {
		base[k] = n - 1
		n += int32(g.tiles[k].rims())
	}
	node := func(k int, label int32) int32 {
		if label == outside {
			return outside
		}
		return base[k] + label
	}
	var ways []pass
	for k := range g.tiles {
		t := &g.tiles[k]
		for _, m := range t.meets {
			ways = append(ways, pass{node(k, m.a), node(k, m.b), m.z})
		}
		t.eachRim(func(x, y, r int) {
			if t.label[r] < 0 {
				return
			}
			for s := 0; s < 8; s++ {
				nx, ny := t.col+x+stepX[s], t.row+y+stepY[s]
				if nx < 0 || ny < 0 || nx >= g.Place.Cols || ny >= g.Place.Rows {
					continue
				}
				if o, lx, ly := g.at(nx, ny); o > k {
					u := &g.tiles[o]
					if v := u.rim(lx, ly); u.label[v] >= 0 {
						if a, b := node(k, t.label[r]), node(o, u.label[v]); a != b {
							ways = append(ways, pass{a, b, max(t.z[r], u.z[v])})
						}
					}
				}
			}
		})
	}
	least, end, _ := contract(n, 1, ways)
	type lowest struct {
		z    float32
		cell int64
	}
	lows := map[int32]lowest{}
	for k := range g.tiles {
		t := &g.tiles[k]
		for l, i := range t.low {
			if l == outside || i < 0 || end[node(k, int32(l))] == outside {
				continue
			}
			v := lowest{t.least[l], int64(t.row+int(i)/t.w)*int64(g.Place.Cols) + int64(t.col+int(i)%t.w)}
			o := end[node(k, int32(l))]
			if w, known := lows[o]; !known || v.z < w.z || v.z == w.z && v.cell < w.cell {
				lows[o] = v
			}
		}
	}
	for _, v := range lows {
		shut = append(shut, v.cell)
	}
	if len(shut) > 0 {
		return shut
	}
	for k := range g.tiles {
		t := &g.tiles[k]
		for r, l := range t.label {
			if l > 0 {
				t.z[r] = max(t.z[r], least[node(k, l)])
			}
		}
		t.label, t.meets, t.low, t.least = nil, nil, nil, nil
	}
	return nil
}

// filled reads a tile's levels into its window, and lays those of its neighbours'
// borders round it.
func (g *tiling) filled(k int) (window, error) {
	w := g.window(k)
	t, cols := w.t, w.Grid.Cols
	n := cols * w.Grid.Rows
	steps := w.steps
	w.Field = fieldOf(w.Grid)
	w.Filled, w.steps = make([]float32, n), steps
	own := make([]float32, t.w*t.h)
	if err := g.Store.ReadFilled(t.col, t.row, t.w, t.h, own); err != nil {
		return w, err
	}
	for y := range t.h {
		copy(w.Filled[w.start(y):], own[y*t.w:(y+1)*t.w])
	}
	w.margin(func(i, x, y int) {
		o, lx, ly := g.at(x, y)
		u := &g.tiles[o]
		w.Filled[i] = u.z[u.rim(lx, ly)]
	})
	return w, nil
}

// falls raises a tile to its border's levels and finds its directions; the flats
// that reach its border are left.
func (g *tiling) falls(k int) error {
	w, err := g.filled(k)
	if err != nil {
		return err
	}
	t := w.t
	own := make([]Direction, t.w*t.h)
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, own); err != nil {
		return err
	}
	// What is under the level of a border cell, and joined to it under that level,
	// rises to it. Cells without all neighbours are ways out and keep theirs.
	off := w.offsets()
	var stack []int32
	raised := false
	t.eachRim(func(x, y, r int) {
		z := t.z[r]
		if i := w.start(y) + x; w.Filled[i] < z {
			raised = true
			w.Filled[i] = z
			stack = append(stack, int32(i))
		}
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, o := range off {
				if j := i + o; w.Filled[j] < z {
					w.Filled[j] = z
					stack = append(stack, j)
				}
			}
		}
	})
	w.Dir, w.edge = make([]Direction, len(w.Filled)), make([]bool, len(w.Filled))
	for i := range w.Dir {
		w.Dir[i] = Missing // the margin
	}
	for y := range t.h {
		row := w.start(y)
		for x, d := range own[y*t.w : (y+1)*t.w] {
			if d == Out {
				d, w.edge[row+x] = flat, true
			}
			w.Dir[row+x] = d
		}
	}
	flats := w.fallsOf(0, w.Grid.Rows)
	// those that reach the border wait for the neighbours
	t.dist = make([]int32, t.rims())
	t.eachRim(func(x, y, r int) {
		i := int32(w.start(y) + x)
		if w.Dir[i] != flat && w.Dir[i] != pending {
			return
		}
		t.dist[r] = far
		if w.Dir[i] == flat {
			w.Dir[i] = pending
			stack = append(stack, i)
		}
		for len(stack) > 0 {
			i := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, o := range off {
				if j := i + o; w.Dir[j] == flat {
					w.Dir[j] = pending
					stack = append(stack, j)
				}
			}
		}
	})
	w.flats(slices.DeleteFunc(slices.Clone(flats), func(i int32) bool { return w.Dir[i] == pending }))
	waiting := w.waiting(slices.DeleteFunc(flats, func(i int32) bool { return w.Dir[i] != pending }))
	if len(waiting) <= len(own)/mostWaiting {
		t.waiting = &waiting
	}
	levels := make([]float32, len(own))
	for y := range t.h {
		row := w.start(y)
		for x, d := range w.Dir[row : row+t.w] {
			if d == pending {
				d = flat
			}
			own[y*t.w+x] = d
		}
		copy(levels[y*t.w:(y+1)*t.w], w.Filled[row:])
	}
	if raised {
		if err := g.Store.WriteFilled(t.col, t.row, t.w, t.h, levels); err != nil {
			return err
		}
	}
	return g.Store.WriteDir(t.col, t.row, t.w, t.h, own)
}

// waits is a flat cell of a flat that reaches the border of its tile: its place in
// the tile times 16, and the first of its neighbours in the tile that drains from
// its level; flat: none.
type waits uint32

func (w waits) at() int32     { return int32(w >> 4) }
func (w waits) by() Direction { return Direction(w & 15) }

func waitsAt(i int, by Direction) waits { return waits(i)<<4 | waits(by) }

// mostSide keeps a place in a tile within 28 bits.
const mostSide = 1 << 14

// mostWaiting is the part of a tile's cells that may wait in memory; where more
// do, in great lakes, they are read again when they are asked for.
const mostWaiting = 4

// waiting looks round the waiting cells of a window; it gives them their places
// in the tile.
func (w window) waiting(flats []int32) []waits {
	off := w.offsets()
	list := make([]waits, len(flats))
	for n, i := range flats {
		x, y := int(i)%w.Grid.Cols+w.x-w.t.col, int(i)/w.Grid.Cols+w.y-w.t.row
		list[n] = waitsAt(y*w.t.w+x, w.look(i, &off))
	}
	return list
}

// flatsOf are the waiting cells of a tile.
func (g *tiling) flatsOf(k int) ([]waits, error) {
	t := &g.tiles[k]
	if t.waiting != nil {
		return *t.waiting, nil
	}
	w, err := g.filled(k)
	if err != nil {
		return nil, err
	}
	own := make([]Direction, t.w*t.h)
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, own); err != nil {
		return nil, err
	}
	w.Dir = make([]Direction, len(w.Filled))
	for i := range w.Dir {
		w.Dir[i] = Missing // the margin
	}
	var flats []int32
	for y := range t.h {
		row := w.start(y)
		for x, d := range own[y*t.w : (y+1)*t.w] {
			if w.Dir[row+x] = d; d == flat {
				flats = append(flats, int32(row+x))
			}
		}
	}
	return w.waiting(flats), nil
}

// beyond visits the cells of other tiles beside a border cell that are of its
// level: the direction to them, their tile and their place on its border.
func (g *tiling) beyond(k, x, y, r int, visit func(d Direction, o, v int)) {
	t := &g.tiles[k]
	for d := East; d <= NorthEast; d++ {
		if lx, ly := x+stepX[d], y+stepY[d]; lx >= 0 && ly >= 0 && lx < t.w && ly < t.h {
			continue
		}
		nx, ny := t.col+x+stepX[d], t.row+y+stepY[d]
		if nx < 0 || ny < 0 || nx >= g.Place.Cols || ny >= g.Place.Rows {
			continue
		}
		o, lx, ly := g.at(nx, ny)
		if v := g.tiles[o].rim(lx, ly); g.tiles[o].z[v] == t.z[r] {
			visit(d, o, v)
		}
	}
}

// settleFlats hands distances over flats from tile to tile until none changes.
func (g *tiling) settleFlats() error {
	todo := make([]int, len(g.tiles))
	for k := range todo {
		todo[k] = k
	}
	for len(todo) > 0 {
		news := make([][]int32, len(g.tiles))
		err := g.each(func(k int) error {
			dist, _, err := g.ways(k)
			news[k] = dist
			return err
		}, todo)
		if err != nil {
			return err
		}
		again := map[int]bool{}
		for _, k := range todo {
			if news[k] == nil {
				continue
			}
			g.tiles[k].eachRim(func(x, y, r int) {
				if d := news[k][r]; d != g.tiles[k].dist[r] {
					g.beyond(k, x, y, r, func(_ Direction, o, v int) {
						if g.tiles[o].dist[v] > d+1 {
							again[o] = true
						}
					})
				}
			})
		}
		for _, k := range todo {
			if news[k] != nil {
				g.tiles[k].dist = news[k]
			}
		}
		todo = slices.Sorted(maps.Keys(again))
		g.total += len(todo)
	}
	return nil
}

// ways finds the distances of a tile's waiting cells from what drains, through
// the borders of its neighbours too: those of its border cells, and the
// directions that follow of all waiting cells. Both are nil where none waits.
func (g *tiling) ways(k int) (rims []int32, settled []waits, err error) {
	flats, err := g.flatsOf(k)
	if err != nil || len(flats) == 0 {
		return nil, nil, err
	}
	t := &g.tiles[k]
	// distances, with room round the tile: 0 is no waiting cell
	wide := t.w + 2
	place := func(i int32) int32 { return i + int32(wide) + 1 + 2*(i/int32(t.w)) }
	dist := make([]int32, wide*(t.h+2))
	for _, f := range flats {
		dist[place(f.at())] = far
	}
	var off [8]int32
	for d := range off {
		off[d] = int32(stepY[d]*wide + stepX[d])
	}
	var layer, later []int32
	for _, f := range flats {
		if f.by() != flat {
			layer = append(layer, place(f.at()))
		}
	}
	// border cells begin from their neighbours in other tiles, when their turn comes
	type seed struct{ at, dist int32 }
	var seeds []seed
	t.eachRim(func(x, y, r int) {
		if t.dist[r] == 0 {
			return
		}
		least := int32(far)
		g.beyond(k, x, y, r, func(_ Direction, o, v int) { least = min(least, g.tiles[o].dist[v]) })
		if least < far {
			seeds = append(seeds, seed{place(int32(y*t.w + x)), least + 1})
		}
	})
	slices.SortFunc(seeds, func(a, b seed) int { return cmp.Compare(a.dist, b.dist) })
	for d := int32(1); len(layer) > 0 || len(seeds) > 0; d++ {
		if len(layer) == 0 {
			d = max(d, seeds[0].dist)
		}
		for ; len(seeds) > 0 && seeds[0].dist <= d; seeds = seeds[1:] {
			layer = append(layer, seeds[0].at)
		}
		later = later[:0]
		for _, i := range layer {
			if dist[i] <= d {
				continue
			}
			dist[i] = d
			for _, o := range off {
				if j := i + o; dist[j] > d+1 {
					later = append(later, j)
				}
			}
		}
		layer, later = later, layer
	}
	rims = slices.Clone(t.dist)
	t.eachRim(func(x, y, r int) {
		if rims[r] != 0 {
			rims[r] = dist[place(int32(y*t.w+x))]
		}
	})
	settled = make([]waits, len(flats))
	for n, f := range flats {
		i := place(f.at())
		by := f.by() // of several the first
		for d, o := range off {
			if dist[i+o] != 0 && dist[i+o] < dist[i] {
				by = min(by, Direction(d))
				break
			}
		}
		if x, y := int(f.at())%t.w, int(f.at())/t.w; t.rim(x, y) >= 0 {
			g.beyond(k, x, y, t.rim(x, y), func(d Direction, o, v int) {
				if g.tiles[o].dist[v] < dist[i] {
					by = min(by, d)
				}
			})
		}
		settled[n] = waitsAt(int(f.at()), by)
	}
	return rims, settled, nil
}

// inside is a tile's field of directions with the cells whose water leaves the
// tile as Out.
func (t *tile) inside(place ground.Grid, dir []Direction) *Field {
	place.Cols, place.Rows, place.Z = t.w, t.h, nil
	f := fieldOf(place)
	f.Dir = slices.Clone(dir)
	t.eachRim(func(x, y, r int) {
		i := y*t.w + x
		if d := dir[i]; d <= NorthEast {
			if _, ok := f.neighbour(x, y, int(d)); !ok {
				f.Dir[i] = Out
			}
		}
	})
	return f
}

// bearing is the area of each open cell of a tile and of the inflows set down there.
func (t *tile) bearing(f *Field) []float64 {
	a := make([]float64, len(f.Dir))
	for i := range a {
		if f.Wet(i) {
			a[i] = float64(f.Grid.CellArea())
		}
	}
	for _, in := range t.inflows {
		a[in.at] += float64(in.area)
	}
	return a
}

// setDown finds the cells of the inflows.
func (g *tiling) setDown() error {
	for n, in := range g.Inflows {
		// the directions round it: which cells are open
		room := float64(g.Reach) + max(g.Place.CellX, g.Place.CellY)
		c0, c1 := int((in.At[0]-room-g.Place.West)/g.Place.CellX), int((in.At[0]+room-g.Place.West)/g.Place.CellX)
		r0, r1 := int((g.Place.North-in.At[1]-room)/g.Place.CellY), int((g.Place.North-in.At[1]+room)/g.Place.CellY)
		c0, r0, c1, r1 = max(c0, 0), max(r0, 0), min(c1, g.Place.Cols-1), min(r1, g.Place.Rows-1)
		c, r, ok := 0, 0, false
		if c0 <= c1 && r0 <= r1 {
			dir := make([]Direction, (c1-c0+1)*(r1-r0+1))
			if err := g.Store.ReadDir(c0, r0, c1-c0+1, r1-r0+1, dir); err != nil {
				return err
			}
			c, r, ok = nearestOpen(g.Place, in.At, g.Reach, func(c, r int) bool {
				if c < c0 || c > c1 || r < r0 || r > r1 {
					return false
				}
				d := dir[(r-r0)*(c1-c0+1)+c-c0]
				return d < Blocked || d == flat // not settled yet
			})
		}
		if !ok {
			return noOpenGround(n, in.At, g.Reach)
		}
		k, x, y := g.at(c, r)
		t := &g.tiles[k]
		t.inflows = append(t.inflows, setDown{y*t.w + x, in.Area})
	}
	return nil
}

// links settles a tile's directions, and keeps its counts at its border and where
// water that comes in at a border cell leaves.
func (g *tiling) links(k int) error {
	_, settled, err := g.ways(k)
	if err != nil {
		return err
	}
	t := &g.tiles[k]
	t.waiting = nil
	dir := make([]Direction, t.w*t.h)
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, dir); err != nil {
		return err
	}
	if len(settled) > 0 {
		for _, f := range settled {
			dir[f.at()] = f.by()
		}
		if err := g.Store.WriteDir(t.col, t.row, t.w, t.h, dir); err != nil {
			return err
		}
	}
	f := t.inside(g.Place, dir)
	n := f.ones()
	gather(f, n, nil)
	if g.Areas != nil {
		a := t.bearing(f)
		gather(f, a, nil)
		t.area = make([]float64, t.rims())
		t.eachRim(func(x, y, r int) { t.area[r] = a[y*t.w+x] })
	}
	t.exit, t.count, t.label = make([]int32, t.rims()), make([]int32, t.rims()), make([]int32, t.rims())
	// the border cell by which each cell's water leaves, found once a cell
	const unknown, nowhere = 0, -1
	exit := make([]int32, len(n)) // +1
	var way []int
	t.eachRim(func(x, y, r int) {
		at := y*t.w + x
		t.count[r], t.label[r] = n[at], int32(dir[at])
		e := int32(nowhere)
		for way = way[:0]; ; {
			if exit[at] != unknown {
				e = exit[at]
				break
			}
			way = append(way, at)
			next, ok := f.Next(at)
			if !ok {
				if dir[at] <= NorthEast {
					e = int32(t.rim(at%t.w, at/t.w)) + 1
				}
				break
			}
			at = next
		}
		for _, v := range way {
			exit[v] = e
		}
		if t.exit[r] = nowhere; e > 0 {
			t.exit[r] = e - 1
		}
	})
	return nil
}

// carry follows the links: what comes in at each border cell of each tile.
// count is what each border cell passes on of its own tile's.
func carry[T int32 | float64](g *tiling, count func(t *tile) []T) [][]T {
	in := make([][]T, len(g.tiles))
	wait := make([][]int32, len(g.tiles)) // border cells outside that have still to bring their water, by border cell
	out := make([][]int32, len(g.tiles))  // by exit: border cells of the same tile that still have to bring theirs
	through := make([][]T, len(g.tiles))
	for k := range g.tiles {
		n := g.tiles[k].rims()
		in[k], wait[k], out[k], through[k] = make([]T, n), make([]int32, n), make([]int32, n), make([]T, n)
	}
	// target is the border cell of another tile that a border cell drains to
	target := func(k, x, y, r int) (o, v int, ok bool) {
		d := g.tiles[k].label[r]
		if d > int32(NorthEast) {
			return 0, 0, false
		}
		t := &g.tiles[k]
		o, lx, ly := g.at(t.col+x+stepX[d], t.row+y+stepY[d])
		if o == k {
			return 0, 0, false
		}
		return o, g.tiles[o].rim(lx, ly), true
	}
	type cell struct{ k, x, y, r int }
	for k := range g.tiles {
		g.tiles[k].eachRim(func(x, y, r int) {
			if o, v, ok := target(k, x, y, r); ok {
				wait[o][v]++
			}
			if e := g.tiles[k].exit[r]; e >= 0 {
				out[k][e]++
			}
		})
	}
	// A border cell is ready to pass on what came in when all that drain to it
	// from outside have; an exit when all border cells that lead to it have.
	place := make([][]int32, len(g.tiles)) // rim -> x + y*w, to know where an exit lies
	var ready []cell
	for k := range g.tiles {
		t := &g.tiles[k]
		place[k] = make([]int32, t.rims())
		t.eachRim(func(x, y, r int) {
			place[k][r] = int32(y*t.w + x)
			if wait[k][r] == 0 {
				ready = append(ready, cell{k, x, y, r})
			}
		})
	}
	for len(ready) > 0 {
		c := ready[len(ready)-1]
		ready = ready[:len(ready)-1]
		t := &g.tiles[c.k]
		e := t.exit[c.r]
		if e < 0 {
			continue
		}
		through[c.k][e] += in[c.k][c.r]
		if out[c.k][e]--; out[c.k][e] > 0 {
			continue
		}
		p := int(place[c.k][e])
		o, v, ok := target(c.k, p%t.w, p/t.w, int(e))
		if !ok {
			continue
		}
		in[o][v] += count(t)[e] + through[c.k][e]
		if wait[o][v]--; wait[o][v] == 0 {
			q := int(place[o][v])
			ready = append(ready, cell{o, q % g.tiles[o].w, q / g.tiles[o].w, v})
		}
	}
	return in
}

// add counts a tile with what comes in, cells and area.
func (g *tiling) add(k int, in []int32, area []float64) error {
	t := &g.tiles[k]
	dir := make([]Direction, t.w*t.h)
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, dir); err != nil {
		return err
	}
	f := t.inside(g.Place, dir)
	n := f.ones()
	t.eachRim(func(x, y, r int) { n[y*t.w+x] += in[r] })
	gather(f, n, nil)
	if err := g.Store.WriteCount(t.col, t.row, t.w, t.h, n); err != nil || g.Areas == nil {
		return err
	}
	a := t.bearing(f)
	t.eachRim(func(x, y, r int) { a[y*t.w+x] += area[r] })
	gather(f, a, nil)
	return g.Areas(t.col, t.row, t.w, t.h, a)
}

// Sheet is a Store in memory.
type Sheet struct {
	Cols, Rows int
	Filled     []float32
	Dir        []Direction
	Count      []int32
}

// NewSheet makes room for a raster.
func NewSheet(cols, rows int) *Sheet {
	n := cols * rows
	return &Sheet{cols, rows, make([]float32, n), make([]Direction, n), make([]int32, n)}
}

func readSheet[T any](cols int, from []T, col, row, w, h int, dst []T) error {
	for r := 0; r < h; r++ {
		copy(dst[r*w:(r+1)*w], from[(row+r)*cols+col:])
	}
	return nil
}

func writeSheet[T any](cols int, to []T, col, row, w, h int, src []T) error {
	for r := 0; r < h; r++ {
		copy(to[(row+r)*cols+col:], src[r*w:(r+1)*w])
	}
	return nil
}

// ReadFilled and the others make a Sheet a Store.
func (s *Sheet) ReadFilled(col, row, w, h int, dst []float32) error {
	return readSheet(s.Cols, s.Filled, col, row, w, h, dst)
}

// WriteFilled keeps levels.
func (s *Sheet) WriteFilled(col, row, w, h int, src []float32) error {
	return writeSheet(s.Cols, s.Filled, col, row, w, h, src)
}

// ReadDir gives directions.
func (s *Sheet) ReadDir(col, row, w, h int, dst []Direction) error {
	return readSheet(s.Cols, s.Dir, col, row, w, h, dst)
}

// ReadCount gives counts.
func (s *Sheet) ReadCount(col, row, w, h int, dst []int32) error {
	return readSheet(s.Cols, s.Count, col, row, w, h, dst)
}

// WriteDir keeps directions.
func (s *Sheet) WriteDir(col, row, w, h int, src []Direction) error {
	return writeSheet(s.Cols, s.Dir, col, row, w, h, src)
}

// WriteCount keeps counts.
func (s *Sheet) WriteCount(col, row, w, h int, src []int32) error {
	return writeSheet(s.Cols, s.Count, col, row, w, h, src)
}
