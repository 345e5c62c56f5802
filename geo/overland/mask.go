package overland

// Between areas of the plane and sets of cells.

import (
	"math"
	"slices"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
)

// Cells lists the cells whose centres lie in an area, in rising order. A centre on
// the boundary counts on the west and south side only, so that areas which
// share an edge share no cell.
func Cells(g ground.Grid, area orb.MultiPolygon) []int {
	var out []int
	eachCell(g, area, func(i int) { out = append(out, i) })
	slices.Sort(out)
	return out
}

func (f *Field) each(area orb.MultiPolygon, visit func(int)) { eachCell(f.Grid, area, visit) }

func eachCell(g ground.Grid, area orb.MultiPolygon, visit func(int)) {
	eachCellIn(g, area, 0, 0, g.Cols, g.Rows, func(c, r int) { visit(r*g.Cols + c) })
}

// eachCellIn visits those in a window of the raster, from (west, north) on: the
// same cells whatever the window.
func eachCellIn(g ground.Grid, area orb.MultiPolygon, west, north, width, height int, visit func(c, r int)) {
	for _, poly := range area {
		b := poly.Bound()
		r0 := max(north, int((g.North-b.Max[1])/g.CellY)-1)
		r1 := min(north+height-1, int((g.North-b.Min[1])/g.CellY)+1)
		if (b.Max[0]-g.West)/g.CellX < float64(west) || (b.Min[0]-g.West)/g.CellX > float64(west+width) {
			continue
		}
		var cuts []float64
		for r := r0; r <= r1; r++ {
			y := g.North - (float64(r)+0.5)*g.CellY
			cuts = cuts[:0]
			for _, ring := range poly {
				for k := 1; k < len(ring); k++ {
					p, q := ring[k-1], ring[k]
					if (p[1] <= y) != (q[1] <= y) {
						cuts = append(cuts, p[0]+(y-p[1])/(q[1]-p[1])*(q[0]-p[0]))
					}
				}
			}
			sort.Float64s(cuts)
			for k := 0; k+1 < len(cuts); k += 2 {
				// centres from cuts[k] up to, not including, cuts[k+1]
				c0 := max(west, int(math.Ceil((cuts[k]-g.West)/g.CellX-0.5)))
				c1 := min(west+width-1, int(math.Ceil((cuts[k+1]-g.West)/g.CellX-0.5))-1)
				for c := c0; c <= c1; c++ {
					visit(c, r)
				}
			}
		}
	}
}

// Outline is the area of a set of cells: its parts along the cells' edges,
// shells counter-clockwise, holes clockwise, rings closed. Cells that touch at
// a corner only are parts of their own, so each part is valid.
func Outline(g ground.Grid, runs []Run) orb.MultiPolygon {
	type node struct{ c, r int }
	// directed edges with the area on the left: at most two start at one corner
	from := map[node][]node{}
	var starts []node
	// has asks of a row beside the one at hand, always the same way on: at is where
	// it looked last
	has := func(at *int, c, r int) bool {
		i := r*g.Cols + c
		if r < 0 || r >= g.Rows {
			return false
		}
		for *at < len(runs) && runs[*at].Last < i {
			*at++
		}
		return *at < len(runs) && runs[*at].First <= i
	}
	add := func(a, b node) {
		if len(from[a]) == 0 {
			starts = append(starts, a)
		}
		from[a] = append(from[a], b)
	}
	up, down := 0, 0
	for _, u := range runs {
		for i := u.First; i <= u.Last; i++ {
			c, r := i%g.Cols, i/g.Cols
			if !has(&down, c, r+1) { // the south edge runs east
				add(node{c, r + 1}, node{c + 1, r + 1})
			}
			if i == u.Last {
				add(node{c + 1, r + 1}, node{c + 1, r})
			}
			if !has(&up, c, r-1) {
				add(node{c + 1, r}, node{c, r})
			}
			if i == u.First {
				add(node{c, r}, node{c, r + 1})
			}
		}
	}
	var shells []orb.Polygon
	var holes []orb.Ring
	point := func(n node) orb.Point {
		return orb.Point{g.West + float64(n.c)*g.CellX, g.North - float64(n.r)*g.CellY}
	}
	keep := func(ring []node) {
		var pts orb.Ring // corners only
		n := len(ring)
		for k := range ring {
			p, q, t := ring[(k+n-1)%n], ring[k], ring[(k+1)%n]
			if (q.c-p.c)*(t.r-q.r) != (q.r-p.r)*(t.c-q.c) {
				pts = append(pts, point(q))
			}
		}
		pts = append(pts, pts[0])
		if shape.RingArea(pts) > 0 {
			shells = append(shells, orb.Polygon{pts})
		} else {
			holes = append(holes, pts)
		}
	}
	for _, s := range starts {
		for len(from[s]) > 0 {
			// Where two cells meet at a corner only, a left turn keeps to the cell
			// the way came along; so a way goes round one part whose cells share
			// edges. Where it comes back to a corner, a ring is cut off.
			at, before := s, node{}
			var way []node
			place := map[node]int{}
			for first := true; ; first = false {
				next := from[at]
				k := -1
				for m, n := range next {
					left := (at.c-before.c)*(n.r-at.r)-(at.r-before.r)*(n.c-at.c) < 0 // rows grow southward
					if first || left || len(next) == 1 && at != s {
						k = m
						break
					}
				}
				if n, again := place[at]; again {
					keep(slices.Clone(way[n:]))
					for _, v := range way[n:] {
						delete(place, v)
					}
					way = way[:n]
				}
				if k < 0 {
					break
				}
				place[at] = len(way)
				way = append(way, at)
				before, at = at, next[k]
				from[before] = append(next[:k:k], next[k+1:]...)
			}
		}
	}
	for _, h := range holes {
		// the middle of the cell on the hole's left, which is a cell of the area
		best := -1
		for k, s := range shells {
			if shape.LocateInRing(insideOf(h, g), s[0]) == shape.Inside && (best < 0 || shape.RingArea(s[0]) < shape.RingArea(shells[best][0])) {
				best = k
			}
		}
		if best >= 0 {
			shells[best] = append(shells[best], h)
		}
	}
	return shells
}

// insideOf is a point of the area just left of a hole's first edge.
func insideOf(h orb.Ring, g ground.Grid) orb.Point {
	a, b := h[0], h[1]
	dx, dy := b[0]-a[0], b[1]-a[1]
	n := math.Hypot(dx, dy)
	s := math.Min(g.CellX, g.CellY) / 2
	return orb.Point{a[0] + dx/n*s - dy/n*s, a[1] + dy/n*s + dx/n*s}
}
