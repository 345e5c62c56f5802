package overland

// Rasters larger than memory: the same field tile by tile. Three things do not
// stop at a tile's border, and each is settled on the borders alone, which fit
// into memory:
//
//   - levels: every tile is filled with its border as the way out, and keeps
//     which parts of it meet at which height; a flood over these parts gives
//     the level each must rise to (Barnes 2016);
//   - the shortest ways over flats: distances at the borders are handed to the
//     neighbours until none changes;
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
	"sort"
	"sync"
	"sync/atomic"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
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
	Side    int // cells of a tile's side; 0: 1024
	// Workers is how many tiles are worked at once; 0: one. A tile of side n
	// takes about 30 n^2 bytes.
	Workers int
	// Progress is told how many of how many steps are done; nil: nobody.
	// Flats may need more steps than was said.
	Progress func(done, total int)
}

type tile struct {
	col, row, w, h int
	label          []int32   // of the border cells, from 1; 0: missing
	z              []float32 // their heights
	base           int32     // added to this tile's labels to make them unique
	labels         int32
	meets          []meeting
	low            []lowest // by label; only where something is blocked
	ends           []end    // cells where water leaves the ground
	dist           []int32  // of the border cells: ways over flats, see far
	exit           []int32  // where water coming in at a border cell leaves: a border cell of this tile, or -1
	count          []int32  // of the border cells, without what comes in
}

// meeting is the least height over which two parts of a tile run together; part
// 0 is beyond the raster.
type meeting struct {
	a, b int32
	z    float32
}

// lowest is the lowest cell of a part: its height and its place in the raster.
type lowest struct {
	z    float32
	cell int64
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
	if t.Side < 3 || t.Place.Cols < 1 || t.Place.Rows < 1 || float64(t.Place.Cols)*float64(t.Place.Rows) > math.MaxInt32 {
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
	g.total = 7 * len(g.tiles)
	if err := g.each(g.parts, nil); err != nil {
		return err
	}
	levels, shut := g.levels()
	if len(shut) > 0 { // ground walled in over more than one tile
		again := map[int]bool{}
		for _, cell := range shut {
			x, y := int(cell%int64(t.Place.Cols)), int(cell/int64(t.Place.Cols))
			g.end(x, y, Enclosed)
			for k := range g.tiles { // those that see the cell, in their margin too
				if u := &g.tiles[k]; x >= u.col && y >= u.row && x < u.col+u.w && y < u.row+u.h {
					again[k] = true
				}
			}
		}
		todo := slices.Sorted(maps.Keys(again))
		g.total += len(todo)
		if err := g.each(g.parts, todo); err != nil {
			return err
		}
		levels, _ = g.levels()
	}
	if err := g.each(func(k int) error { return g.raise(k, levels) }, nil); err != nil {
		return err
	}
	levels = nil
	if err := g.each(g.falls, nil); err != nil {
		return err
	}
	if err := g.settleFlats(); err != nil {
		return err
	}
	if err := g.each(g.links, nil); err != nil {
		return err
	}
	in := g.carry()
	return g.each(func(k int) error { return g.add(k, in[k]) }, nil)
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

func (g *tiling) open(k int) (window, error) {
	t := &g.tiles[k]
	x0, y0 := max(0, t.col-1), max(0, t.row-1)
	x1, y1 := min(g.Place.Cols, t.col+t.w+1), min(g.Place.Rows, t.row+t.h+1)
	d := g.Place
	d.Cols, d.Rows, d.Z = x1-x0, y1-y0, make([]float32, (x1-x0)*(y1-y0))
	return window{newField(d), x0, y0, t}, nil
}

// inner visits the tile's own cells: their index in the window.
func (w window) inner(visit func(i, x, y int)) {
	for y := 0; y < w.t.h; y++ {
		i := (w.t.row-w.y+y)*w.Grid.Cols + w.t.col - w.x
		for x := 0; x < w.t.w; x++ {
			visit(i+x, x, y)
		}
	}
}

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

// flooded reads a tile and fills it with its border as the way out; label says
// which border or edge cell each cell drains to.
func (g *tiling) flooded(k int, meet func(a, b int32, z float32)) (w window, label []int32, labels int32, err error) {
	if w, err = g.open(k); err != nil {
		return
	}
	d := w.Grid
	if err = g.Rows.Read(w.x, w.y, d.Cols, d.Rows, d.Z); err != nil {
		return
	}
	w.classify()
	for _, mp := range g.Blocked {
		eachCellIn(g.Place, mp, w.x, w.y, d.Cols, d.Rows, func(c, r int) {
			if i := (r-w.y)*d.Cols + c - w.x; w.Dir[i] != Missing {
				w.Dir[i] = Blocked
			}
		})
	}
	w.findEdges()
	for _, e := range w.t.ends {
		i := (e.y-w.y)*d.Cols + e.x - w.x
		if w.Dir[i] == Blocked || w.Dir[i] == Missing {
			p := g.Place.Centre(e.x, e.y)
			err = fmt.Errorf("overland: drain in the cell at %.2f, %.2f m stands where there is no open ground", p[0], p[1])
			return
		}
		w.Dir[i] = e.how
	}
	n := len(d.Z)
	label = make([]int32, n)
	for i := range w.Filled { // the margin stays out of it
		w.Filled[i] = float32(math.NaN())
	}
	var q queue
	w.inner(func(i, x, y int) {
		switch {
		case w.Dir[i] == Missing || w.Dir[i] == Blocked:
		case w.t.rim(x, y) >= 0 || w.edge[i] || w.Dir[i] != flat:
			w.Filled[i] = d.Z[i]
			labels++
			label[i] = labels
			q.put(sortable(d.Z[i]), i)
		default:
			w.Filled[i] = dry
		}
	})
	w.flood(&q, label)
	w.fillEnclosed()
	if meet == nil {
		return
	}
	// each pair of neighbours once: the four ahead
	ahead := [4]Direction{East, SouthEast, South, SouthWest}
	w.inner(func(i, x, y int) {
		own := label[i]
		if own == 0 {
			return
		}
		if w.edge[i] || w.Dir[i] != flat {
			meet(0, own, w.Filled[i])
		}
		for _, k := range ahead {
			if k == South && y == w.t.h-1 {
				return // the tile's last row
			}
			if x == w.t.w-1 && k <= SouthEast || x == 0 && k == SouthWest || y == w.t.h-1 && k == SouthEast {
				continue
			}
			j := i + stepY[k]*d.Cols + stepX[k]
			if label[j] != 0 && label[j] != own {
				meet(own, label[j], max(w.Filled[i], w.Filled[j]))
			}
		}
	})
	return
}

// parts keeps what of a tile meets what, and its border.
func (g *tiling) parts(k int) error {
	least := map[uint64]float32{}
	w, label, labels, err := g.flooded(k, func(a, b int32, z float32) {
		if a > b {
			a, b = b, a
		}
		key := uint64(a)<<32 | uint64(b)
		if v, ok := least[key]; !ok || z < v {
			least[key] = z
		}
	})
	if err != nil {
		return err
	}
	t := w.t
	t.labels = labels
	t.meets = make([]meeting, 0, len(least))
	for key, z := range least {
		t.meets = append(t.meets, meeting{int32(key >> 32), int32(uint32(key)), z})
	}
	t.label, t.z = make([]int32, t.rims()), make([]float32, t.rims())
	w.inner(func(i, x, y int) {
		if r := t.rim(x, y); r >= 0 {
			t.label[r], t.z[r] = label[i], w.Filled[i]
		}
	})
	if len(g.Blocked) == 0 {
		return nil
	}
	t.low = make([]lowest, labels)
	w.inner(func(i, x, y int) {
		if label[i] == 0 {
			return
		}
		cell := int64(t.row+y)*int64(g.Place.Cols) + int64(t.col+x)
		if l := &t.low[label[i]-1]; l.cell == 0 && l.z == 0 || w.Grid.Z[i] < l.z {
			*l = lowest{w.Grid.Z[i], cell + 1} // cells come in rising order; 0 is none
		}
	})
	return nil
}

// levels floods the parts of all tiles from beyond the raster and from the
// drains. shut are the lowest cells of ground from which no way leads there.
func (g *tiling) levels() (level []float32, shut []int64) {
	n := int32(1)
	for k := range g.tiles {
		g.tiles[k].base = n - 1
		n += g.tiles[k].labels
	}
	first := make([]int32, n+1)
	visit := func(each func(a, b int32, z float32)) {
		for k := range g.tiles {
			t := &g.tiles[k]
			for _, m := range t.meets {
				a := m.a
				if a != 0 {
					a += t.base
				}
				each(a, m.b+t.base, m.z)
			}
			t.eachRim(func(x, y, r int) {
				if t.label[r] == 0 {
					return
				}
				for s := 0; s < 8; s++ {
					nx, ny := t.col+x+stepX[s], t.row+y+stepY[s]
					if nx < 0 || ny < 0 || nx >= g.Place.Cols || ny >= g.Place.Rows {
						continue
					}
					if o, lx, ly := g.at(nx, ny); o > k {
						u := &g.tiles[o]
						if v := u.rim(lx, ly); u.label[v] != 0 {
							each(t.label[r]+t.base, u.label[v]+u.base, max(t.z[r], u.z[v]))
						}
					}
				}
			})
		}
	}
	visit(func(a, b int32, _ float32) { first[a]++; first[b]++ })
	total := int32(0)
	for i := range first {
		first[i], total = total, total+first[i]
	}
	type way struct {
		to int32
		z  float32
	}
	ways := make([]way, total)
	fill := slices.Clone(first)
	visit(func(a, b int32, z float32) {
		ways[fill[a]] = way{b, z}
		fill[a]++
		ways[fill[b]] = way{a, z}
		fill[b]++
	})
	level = make([]float32, n)
	done := make([]bool, n)
	var q queue
	done[0] = true
	level[0] = float32(math.Inf(-1))
	spread := func(i int32) {
		for _, v := range ways[first[i]:first[i+1]] {
			if !done[v.to] {
				q.put(sortable(max(v.z, level[i])), int(v.to))
			}
		}
	}
	spread(0)
	for q.n > 0 {
		key, i := q.take()
		if done[i] {
			continue
		}
		done[i] = true
		level[i] = unsortable(key)
		spread(int32(i))
	}
	if len(g.Blocked) == 0 {
		return level, nil
	}
	for k := range g.tiles {
		for l := int32(1); l <= g.tiles[k].labels; l++ {
			i := l + g.tiles[k].base
			if done[i] {
				continue
			}
			done[i] = true
			low := lowest{z: float32(math.Inf(1))}
			for list := []int32{i}; len(list) > 0; {
				j := list[len(list)-1]
				list = list[:len(list)-1]
				o := sort.Search(len(g.tiles), func(t int) bool { return g.tiles[t].base >= j }) - 1
				if v := g.tiles[o].low[j-g.tiles[o].base-1]; v.z < low.z || v.z == low.z && v.cell < low.cell {
					low = v
				}
				for _, v := range ways[first[j]:first[j+1]] {
					if !done[v.to] {
						done[v.to] = true
						list = append(list, v.to)
					}
				}
			}
			shut = append(shut, low.cell-1)
		}
	}
	return level, shut
}

// raise fills a tile for good.
func (g *tiling) raise(k int, level []float32) error {
	w, label, _, err := g.flooded(k, nil)
	if err != nil {
		return err
	}
	t := w.t
	out, dir := make([]float32, t.w*t.h), make([]Direction, t.w*t.h)
	w.inner(func(i, x, y int) {
		z := w.Filled[i]
		if label[i] != 0 {
			z = max(z, level[label[i]+t.base])
		}
		out[y*t.w+x] = z
		// what is known of the cell so far: Out is for one that may drain outward
		if dir[y*t.w+x] = w.Dir[i]; w.Dir[i] == flat && w.edge[i] {
			dir[y*t.w+x] = Out
		}
	})
	t.label, t.z, t.meets, t.low = nil, nil, nil, nil
	if err := g.Store.WriteDir(t.col, t.row, t.w, t.h, dir); err != nil {
		return err
	}
	return g.Store.WriteFilled(t.col, t.row, t.w, t.h, out)
}

// falls finds the directions of a tile where the ground falls; the flat cells
// are left.
func (g *tiling) falls(k int) error {
	w, err := g.filled(k)
	if err != nil {
		return err
	}
	t := w.t
	out := make([]Direction, t.w*t.h)
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, out); err != nil {
		return err
	}
	t.dist = make([]int32, t.rims())
	w.inner(func(i, x, y int) {
		d := out[y*t.w+x]
		if d == flat || d == Out {
			if s := w.steepest(i%w.Grid.Cols, i/w.Grid.Cols); s != flat {
				d = s
			} else if d == Out {
				// no neighbour is lower: over the edge
			} else if r := t.rim(x, y); r >= 0 {
				t.dist[r] = far
			}
		}
		out[y*t.w+x] = d
	})
	return g.Store.WriteDir(t.col, t.row, t.w, t.h, out)
}

// filled reads a tile's levels.
func (g *tiling) filled(k int) (window, error) {
	w, err := g.open(k)
	if err != nil {
		return w, err
	}
	d := w.Grid
	if err := g.Store.ReadFilled(w.x, w.y, d.Cols, d.Rows, d.Z); err != nil {
		return w, err
	}
	w.Filled = d.Z
	w.classify()
	return w, nil
}

// settleFlats hands distances from tile to tile until none changes, then sets
// the directions.
func (g *tiling) settleFlats() error {
	todo := make([]int, len(g.tiles))
	for k := range todo {
		todo[k] = k
	}
	for len(todo) > 0 {
		news := make([][]int32, len(g.tiles))
		err := g.each(func(k int) (err error) {
			news[k], err = g.ways(k, false)
			return err
		}, todo)
		if err != nil {
			return err
		}
		again := map[int]bool{}
		for _, k := range todo {
			t := &g.tiles[k]
			if news[k] == nil {
				continue
			}
			t.eachRim(func(x, y, r int) {
				if news[k][r] == t.dist[r] {
					return
				}
				for s := 0; s < 8; s++ {
					nx, ny := t.col+x+stepX[s], t.row+y+stepY[s]
					if nx < 0 || ny < 0 || nx >= g.Place.Cols || ny >= g.Place.Rows {
						continue
					}
					if o, lx, ly := g.at(nx, ny); o != k && g.tiles[o].dist[g.tiles[o].rim(lx, ly)] != 0 {
						again[o] = true
					}
				}
			})
		}
		for _, k := range todo {
			if news[k] != nil {
				g.tiles[k].dist = news[k]
			}
		}
		todo = todo[:0]
		for k := range g.tiles {
			if again[k] {
				todo = append(todo, k)
			}
		}
		g.total += len(todo)
	}
	return g.each(func(k int) error { _, err := g.ways(k, true); return err }, nil)
}

// ways finds the distances of a tile's flat cells from what drains, through the
// borders of its neighbours too, and returns those of its border cells; nil for
// a tile without flats. With write it sets the directions instead.
func (g *tiling) ways(k int, write bool) ([]int32, error) {
	t := &g.tiles[k]
	own := make([]Direction, t.w*t.h)
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, own); err != nil {
		return nil, err
	}
	if !slices.Contains(own, flat) {
		return nil, nil
	}
	w, err := g.filled(k)
	if err != nil {
		return nil, err
	}
	// distances in the window: 0 drains, far a flat cell, -1 no ground
	cols := w.Grid.Cols
	dist := make([]int32, len(w.Dir))
	for i, d := range w.Dir {
		if d == Missing {
			dist[i] = -1
		}
	}
	var flats []int32
	w.inner(func(i, x, y int) {
		if own[y*t.w+x] == flat {
			dist[i] = far
			flats = append(flats, int32(i))
		}
	})
	// the margin: the borders of the neighbours
	var seeds []int32
	w.margin(func(i, x, y int) {
		if dist[i] == -1 {
			return
		}
		o, lx, ly := g.at(x, y)
		u := &g.tiles[o]
		if dist[i] = u.dist[u.rim(lx, ly)]; dist[i] > 0 && dist[i] < far {
			seeds = append(seeds, int32(i))
		}
	})
	look := func(i int32, visit func(j int, s int) bool) {
		c, r := int(i)%cols, int(i)/cols
		for s := 0; s < 8; s++ {
			if j, ok := w.neighbour(c, r, s); ok && dist[j] >= 0 && w.Filled[j] == w.Filled[i] && !visit(j, s) {
				return
			}
		}
	}
	// layer by layer; cells beside the margin join when their turn comes
	var layer, later []int32
	for _, i := range flats {
		look(i, func(j, _ int) bool {
			if dist[j] == 0 {
				layer = append(layer, i)
				return false
			}
			return true
		})
	}
	slices.SortFunc(seeds, func(a, b int32) int { return cmp.Compare(dist[a], dist[b]) })
	for d := int32(1); len(layer) > 0 || len(seeds) > 0; d++ {
		if len(layer) == 0 {
			d = max(d, dist[seeds[0]]+1)
		}
		for ; len(seeds) > 0 && dist[seeds[0]] < d; seeds = seeds[1:] {
			look(seeds[0], func(j, _ int) bool {
				if dist[j] == far && w.own(j) {
					layer = append(layer, int32(j))
				}
				return true
			})
		}
		later = later[:0]
		for _, i := range layer {
			if dist[i] <= d {
				continue
			}
			dist[i] = d
			look(i, func(j, _ int) bool {
				if dist[j] > d+1 && w.own(j) {
					later = append(later, int32(j))
				}
				return true
			})
		}
		layer, later = later, layer
	}
	if !write {
		out := slices.Clone(t.dist)
		t.eachRim(func(x, y, r int) {
			if out[r] != 0 {
				out[r] = dist[(t.row-w.y+y)*cols+t.col-w.x+x]
			}
		})
		return out, nil
	}
	w.inner(func(i, x, y int) {
		if own[y*t.w+x] != flat {
			return
		}
		look(int32(i), func(j, s int) bool {
			if dist[j] < dist[i] {
				own[y*t.w+x] = Direction(s)
				return false
			}
			return true
		})
	})
	return nil, g.Store.WriteDir(t.col, t.row, t.w, t.h, own)
}

// inside is a tile's field with what leaves the tile as drained.
func (t *tile) inside(f *Field) *Field {
	own := &Field{Grid: f.Grid, Dir: slices.Clone(f.Dir)}
	t.eachRim(func(x, y, r int) {
		i := y*t.w + x
		if d := f.Dir[i]; d <= NorthEast {
			if _, ok := f.neighbour(x, y, int(d)); !ok {
				own.Dir[i] = Out
			}
		}
	})
	return own
}

// counted reads a tile's directions and counts, with what comes in at border
// cells on top (nil: nothing).
func (g *tiling) counted(k int, in []int32) (*Field, []int32, error) {
	t := &g.tiles[k]
	d := g.Place
	d.Cols, d.Rows, d.Z = t.w, t.h, nil
	f := &Field{Grid: d, Dir: make([]Direction, t.w*t.h)}
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, f.Dir); err != nil {
		return nil, nil, err
	}
	n := f.ones()
	if in != nil {
		t.eachRim(func(x, y, r int) { n[y*t.w+x] += in[r] })
	}
	gather(t.inside(f), n, nil)
	return f, n, nil
}

// links keeps a tile's counts at its border, and where water that comes in at a
// border cell leaves.
func (g *tiling) links(k int) error {
	f, n, err := g.counted(k, nil)
	if err != nil {
		return err
	}
	t := &g.tiles[k]
	t.exit, t.count = make([]int32, t.rims()), make([]int32, t.rims())
	t.dist = nil
	// the border cell by which each cell's water leaves, found once a cell
	const unknown, nowhere = -2, -1
	exit := make([]int32, len(n))
	for i := range exit {
		exit[i] = unknown
	}
	var way []int
	t.eachRim(func(x, y, r int) {
		t.count[r] = n[y*t.w+x]
		way = way[:0]
		i, e := y*t.w+x, int32(nowhere)
		for {
			if exit[i] != unknown {
				e = exit[i]
				break
			}
			way = append(way, i)
			d := f.Dir[i]
			if d > NorthEast {
				break
			}
			j, ok := f.neighbour(i%t.w, i/t.w, int(d))
			if !ok {
				e = int32(t.rim(i%t.w, i/t.w))
				break
			}
			i = j
		}
		for _, v := range way {
			exit[v] = e
		}
		t.exit[r] = e
	})
	// where each border cell's own direction leads is read again in carry
	t.label = make([]int32, t.rims())
	t.eachRim(func(x, y, r int) { t.label[r] = int32(f.Dir[y*t.w+x]) })
	return nil
}

// carry follows the links: what comes in at each border cell of each tile.
func (g *tiling) carry() [][]int32 {
	in := make([][]int32, len(g.tiles))
	wait := make([][]int32, len(g.tiles)) // border cells outside that have still to bring their water, by border cell
	out := make([][]int32, len(g.tiles))  // by exit: border cells of the same tile that still have to bring theirs
	through := make([][]int32, len(g.tiles))
	for k := range g.tiles {
		n := g.tiles[k].rims()
		in[k], wait[k], out[k], through[k] = make([]int32, n), make([]int32, n), make([]int32, n), make([]int32, n)
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
		in[o][v] += t.count[e] + through[c.k][e]
		if wait[o][v]--; wait[o][v] == 0 {
			q := int(place[o][v])
			ready = append(ready, cell{o, q % g.tiles[o].w, q / g.tiles[o].w, v})
		}
	}
	return in
}

// add counts a tile with what comes in.
func (g *tiling) add(k int, in []int32) error {
	_, n, err := g.counted(k, in)
	if err != nil {
		return err
	}
	t := &g.tiles[k]
	return g.Store.WriteCount(t.col, t.row, t.w, t.h, n)
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

// WriteDir keeps directions.
func (s *Sheet) WriteDir(col, row, w, h int, src []Direction) error {
	return writeSheet(s.Cols, s.Dir, col, row, w, h, src)
}

// WriteCount keeps counts.
func (s *Sheet) WriteCount(col, row, w, h int, src []int32) error {
	return writeSheet(s.Cols, s.Count, col, row, w, h, src)
}
