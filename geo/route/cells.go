package route

// Which areas that cost extra, and which buried lines, a run can meet at all: told
// by the cells of a net that it passes. Most runs meet few of them.

import (
	"math"

	"github.com/paulmach/orb"
)

// cells are a net over a site; they know up to 64 things: areas first, then lines.
type cells struct {
	box
	cell     float64 // side of a cell
	nx, ny   int
	near, in []uint64 // by cell, row after row: things of which a line comes near; areas that hold all of it
	all      uint64   // the things there are
	areas    []*field
	prices   []Region // by area
	lines    []buried
}

const (
	cellsAlong = 48   // cells on the longer side
	cellHair   = 1e-3 // metres by which a line is taken for wider than it is: more than every tolerance
)

// newCells divides a box for areas and lines, 64 together at most.
func newCells(b box, areas []*field, prices []Region, lines []buried) *cells {
	c := &cells{box: b, all: ^uint64(0) >> (64 - len(areas) - len(lines)), areas: areas, prices: prices, lines: lines}
	c.cell = max(b.hi[0]-b.lo[0], b.hi[1]-b.lo[1], 1) / cellsAlong
	c.nx, c.ny = int((b.hi[0]-b.lo[0])/c.cell)+1, int((b.hi[1]-b.lo[1])/c.cell)+1
	c.near, c.in = make([]uint64, c.nx*c.ny), make([]uint64, c.nx*c.ny)
	mark := func(bit uint64, p, q orb.Point) {
		for r, end := c.rows(p, q); r <= end; r++ {
			i, j := c.row(r, p, q)
			for ; i <= j; i++ {
				c.near[i] |= bit
			}
		}
	}
	for k, f := range areas {
		bit := uint64(1) << k
		for i := range f.edges {
			mark(bit, f.edges[i].p, f.edges[i].q)
		}
		if len(f.edges) == 0 {
			continue
		}
		for r, end := c.rows(f.lo, f.hi); r <= end; r++ {
			i, j := c.row(r, f.lo, orb.Point{f.hi[0], f.lo[1]})
			known, held := false, false
			for ; i <= j; i++ {
				if c.near[i]&bit != 0 {
					known = false
					continue
				}
				if !known { // as its neighbour, where no line lies between
					known, held = true, f.holds(c.middle(i))
				}
				if held {
					c.in[i] |= bit
				}
			}
		}
	}
	for k := range lines {
		for i := 0; i+1 < len(lines[k].pts); i++ {
			mark(1<<(len(areas)+k), lines[k].pts[i], lines[k].pts[i+1])
		}
	}
	return c
}

// rows are those that the box of pq meets, the last one included.
func (c *cells) rows(p, q orb.Point) (first, last int) {
	lo, hi := min(p[1], q[1])-cellHair-c.lo[1], max(p[1], q[1])+cellHair-c.lo[1]
	return max(0, int(math.Floor(lo/c.cell))), min(c.ny-1, int(math.Floor(hi/c.cell)))
}

// row is the range of cells of row r that the segment pq passes, the last one
// included.
func (c *cells) row(r int, p, q orb.Point) (first, last int) {
	if p[1] > q[1] {
		p, q = q, p
	}
	x0, x1 := p[0], q[0]
	if h := q[1] - p[1]; h > cellHair {
		low := c.lo[1] + float64(r)*c.cell - cellHair
		high := low + c.cell + 2*cellHair
		w := (q[0] - p[0]) / h
		if low > p[1] {
			x0 += w * (low - p[1])
		}
		if high < q[1] {
			x1 += w * (high - q[1])
		}
	}
	if x0 > x1 {
		x0, x1 = x1, x0
	}
	first = max(0, int(math.Floor((x0-cellHair-c.lo[0])/c.cell)))
	last = min(c.nx-1, int(math.Floor((x1+cellHair-c.lo[0])/c.cell)))
	return r*c.nx + first, r*c.nx + last
}

// middle is the point in the middle of a cell.
func (c *cells) middle(i int) orb.Point {
	return orb.Point{c.lo[0] + (float64(i%c.nx)+0.5)*c.cell, c.lo[1] + (float64(i/c.nx)+0.5)*c.cell}
}

// meets tells which things a run may meet, and in which areas all of it lies; of
// no other thing does it come near.
func (c *cells) meets(m *beam) (may, in uint64) {
	if m.lo[0] < c.lo[0] || m.lo[1] < c.lo[1] || m.hi[0] > c.hi[0] || m.hi[1] > c.hi[1] {
		return c.all, 0
	}
	in = c.all
	for r, end := c.rows(m.a, m.b); r <= end; r++ {
		i, j := c.row(r, m.a, m.b)
		for ; i <= j; i++ {
			may |= c.near[i]
			in &= c.in[i]
		}
	}
	return may, in &^ may
}

// addCells makes the nets over all that runs may come to: the zone, the heads'
// lines, and some room for last runs. What goes beyond is asked of everything.
func (s *site) addCells() {
	const room = 5
	b := s.zone.box
	b.lo, b.hi = orb.Point{b.lo[0] - room, b.lo[1] - room}, orb.Point{b.hi[0] + room, b.hi[1] + room}
	for i := range s.heads {
		for _, p := range s.heads[i].pts {
			if s.heads[i].why == "" {
				b.take(box{p, p})
			}
		}
	}
	areas, prices, lines := s.regions, s.p.Regions, s.buried
	for len(areas)+len(lines) > 0 {
		n := min(64, len(areas))
		k := min(64-n, len(lines))
		s.cells = append(s.cells, newCells(b, areas[:n], prices[:n], lines[:k]))
		areas, prices, lines = areas[n:], prices[n:], lines[k:]
	}
}
