package overland

// D-infinity in tiles. What comes in at a border cell may leave the tile by many,
// so no link leads from one to the other as for counts. Instead every tile is
// counted by itself, and what leaves it is carried on through its neighbours, tile
// by tile, along the cells it reaches only, until all has left the ground. Water
// never comes back to a cell, so this ends; what has come in at the borders by
// then gives the counts.

// passedOn is water that comes in at a border cell of another tile.
type passedOn struct {
	tile, rim int
	n         float64
}

// directed reads a tile's levels and directions into its window; what lies round it
// takes water and passes none on.
func (g *tiling) directed(k int) (window, error) {
	w, err := g.filled(k)
	if err != nil {
		return w, err
	}
	t := w.t
	own := make([]Direction, t.w*t.h)
	if err := g.Store.ReadDir(t.col, t.row, t.w, t.h, own); err != nil {
		return w, err
	}
	w.Dir = make([]Direction, len(w.Filled))
	for i := range w.Dir {
		w.Dir[i] = Missing
	}
	for y := range t.h {
		copy(w.Dir[w.start(y):], own[y*t.w:(y+1)*t.w])
	}
	return w, nil
}

// leaves lists what has come to the cells round a tile.
func (g *tiling) leaves(w window, n []float64) (out []passedOn) {
	w.margin(func(i, x, y int) {
		if n[i] != 0 {
			o, lx, ly := g.at(x, y)
			out = append(out, passedOn{o, g.tiles[o].rim(lx, ly), n[i]})
		}
	})
	return out
}

// infinity hands out the shares and the counts by them.
func (g *tiling) infinity() error {
	come := make([][]float64, len(g.tiles)) // at each border cell, in all
	for k := range come {
		come[k] = make([]float64, g.tiles[k].rims())
	}
	news := make([][]float64, len(g.tiles)) // the part that has not been carried on; nil: none
	left := make([][]passedOn, len(g.tiles))
	hand := func(todo []int) {
		for _, k := range todo {
			for _, l := range left[k] {
				if news[l.tile] == nil {
					news[l.tile] = make([]float64, g.tiles[l.tile].rims())
				}
				news[l.tile][l.rim] += l.n
				come[l.tile][l.rim] += l.n
			}
			left[k] = nil
		}
	}
	todo := make([]int, len(g.tiles))
	for k := range todo {
		todo[k] = k
	}
	g.total += 2 * len(todo)
	err := g.each(func(k int) error {
		w, err := g.directed(k)
		if err == nil {
			left[k] = g.leaves(w, w.CountInfinity(make([]Share, len(w.Dir))))
		}
		return err
	}, nil)
	if err != nil {
		return err
	}
	for hand(todo); ; hand(todo) {
		todo = todo[:0]
		for k := range news {
			if news[k] != nil {
				todo = append(todo, k)
			}
		}
		if len(todo) == 0 {
			break
		}
		g.total += len(todo)
		now := news
		news = make([][]float64, len(g.tiles))
		err := g.each(func(k int) error {
			w, err := g.directed(k)
			if err != nil {
				return err
			}
			n := make([]float64, len(w.Dir))
			var from []int
			w.t.eachRim(func(x, y, r int) {
				if now[k][r] != 0 {
					i := w.start(y) + x
					n[i] = now[k][r]
					from = append(from, i)
				}
			})
			w.spread(make([]Share, len(n)), n, from)
			left[k] = g.leaves(w, n)
			return nil
		}, todo)
		if err != nil {
			return err
		}
	}
	return g.each(func(k int) error {
		w, err := g.directed(k)
		if err != nil {
			return err
		}
		t := w.t
		n := make([]float64, len(w.Dir))
		var from []int
		for y := range t.h {
			for i := w.start(y); i < w.start(y)+t.w; i++ {
				if w.Wet(i) {
					n[i] = 1
					from = append(from, i)
				}
			}
		}
		t.eachRim(func(x, y, r int) { n[w.start(y)+x] += come[k][r] })
		shares := w.Infinity()
		w.spread(shares, n, from)
		own, count := make([]Share, 0, t.w*t.h), make([]float64, 0, t.w*t.h)
		for y := range t.h {
			own = append(own, shares[w.start(y):][:t.w]...)
			count = append(count, n[w.start(y):][:t.w]...)
		}
		return g.Shares(t.col, t.row, t.w, t.h, own, count)
	}, nil)
}
