package overland

// The flow field of a piece of ground: what goes in, what is known of each cell.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
)

// Input is the ground and what stands on it.
type Input struct {
	Ground ground.Grid
	// Blocked areas are walls to water: houses. A cell is blocked if its centre
	// lies in one.
	Blocked []orb.MultiPolygon
	// Drains are open inlets: water that reaches their cell leaves the ground.
	Drains []orb.Point
	// Workers is how many processors may be used; 0: one.
	Workers int
}

// Direction is where a cell drains: a neighbour, or one of the states below.
type Direction uint8

// The neighbours in their fixed order, and the states.
const (
	East Direction = iota
	SouthEast
	South
	SouthWest
	West
	NorthWest
	North
	NorthEast
	// Out: over the edge of the raster or into missing cells.
	Out
	// Drained: into an open inlet in this cell.
	Drained
	// Enclosed: the lowest cell of ground that is walled in on all sides.
	Enclosed
	// Blocked: a wall.
	Blocked
	// Missing: no ground here.
	Missing
	pending
	flat
)

var (
	stepX = [8]int{1, 1, 0, -1, -1, -1, 0, 1}
	stepY = [8]int{0, 1, 1, 1, 0, -1, -1, -1}
)

// Field is the flow field. It is not changed once made.
type Field struct {
	Water
	Filled []float32   // level of the filled ground; NaN where there is no ground
	Dir    []Direction // of each cell
	// Count is how many cells drain through a cell, itself included.
	Count []int32
	edge  []bool // the cell may drain outward
	steps [8]float64
}

// Flow fills the ground, finds directions and counts cells. The error says
// what is wrong with the grid.
func Flow(in Input) (*Field, error) {
	if err := in.Ground.Check(); err != nil {
		return nil, err
	}
	f := newField(in.Ground)
	f.classify()
	for _, mp := range in.Blocked {
		f.each(mp, func(i int) {
			if f.Dir[i] != Missing {
				f.Dir[i] = Blocked
			}
		})
	}
	f.findEdges()
	for k, p := range in.Drains {
		c, r, ok := f.Grid.Cell(p)
		if !ok {
			return nil, fmt.Errorf("overland: drain %d at %.2f, %.2f m lies outside the raster", k, p[0], p[1])
		}
		i := r*f.Grid.Cols + c
		if f.Dir[i] == Blocked || f.Dir[i] == Missing {
			return nil, fmt.Errorf("overland: drain %d at %.2f, %.2f m stands where there is no open ground", k, p[0], p[1])
		}
		f.Dir[i] = Drained
	}
	f.fill(in.Workers)
	f.direct(in.Workers)
	f.Count = f.count()
	return f, nil
}

// newField makes room for a field; nothing is known of its cells yet.
func newField(g ground.Grid) *Field {
	n := len(g.Z)
	f := fieldOf(g)
	f.Filled, f.Dir, f.edge = make([]float32, n), make([]Direction, n), make([]bool, n)
	d := math.Hypot(g.CellX, g.CellY)
	f.steps = [8]float64{g.CellX, d, g.CellY, d, g.CellX, d, g.CellY, d}
	return f
}

// fieldOf is a field without any cells.
func fieldOf(g ground.Grid) *Field {
	f := &Field{Water: Water{Grid: g}}
	row := func(r int) (int, int) { return r * f.Grid.Cols, (r + 1) * f.Grid.Cols }
	f.z = func(r int) []float32 { a, b := row(r); return f.Grid.Z[a:b] }
	f.level = func(r int) []float32 { a, b := row(r); return f.Filled[a:b] }
	f.dir = func(r int) []Direction { a, b := row(r); return f.Dir[a:b] }
	f.counts = func(r int) []int32 { a, b := row(r); return f.Count[a:b] }
	return f
}

// classify tells ground from missing cells.
func (f *Field) classify() {
	for i, z := range f.Grid.Z {
		if z != z {
			f.Dir[i] = Missing
		} else {
			f.Dir[i] = flat
		}
	}
}

// findEdges marks the cells from which water may leave the raster.
func (f *Field) findEdges() {
	w, h := f.Grid.Cols, f.Grid.Rows
	for r := 0; r < h; r++ {
		for c := 0; c < w; c++ {
			i := r*w + c
			if f.Dir[i] == Missing {
				for k := 0; k < 8; k++ {
					if j, ok := f.neighbour(c, r, k); ok && f.Dir[j] != Missing && f.Dir[j] != Blocked {
						f.edge[j] = true
					}
				}
			} else if (r == 0 || c == 0 || r == h-1 || c == w-1) && f.Dir[i] != Blocked {
				f.edge[i] = true
			}
		}
	}
}

// Next is the cell that cell i drains to; false where its water leaves the
// ground.
func (f *Field) Next(i int) (int, bool) {
	d := f.Dir[i]
	if d > NorthEast {
		return 0, false
	}
	return i + stepY[d]*f.Grid.Cols + stepX[d], true
}

// Wet tells whether cell i is open ground.
func (f *Field) Wet(i int) bool { return f.Dir[i] < Blocked }

// nearestOpen is the open cell that holds p, or the one whose centre is nearest to
// it within reach.
func nearestOpen(g ground.Grid, p orb.Point, reach unit.Length, open func(c, r int) bool) (col, row int, ok bool) {
	if c, r, in := g.Cell(p); in && open(c, r) {
		return c, r, true
	}
	c0, c1 := int((p[0]-float64(reach)-g.West)/g.CellX), int((p[0]+float64(reach)-g.West)/g.CellX)
	r0, r1 := int((g.North-p[1]-float64(reach))/g.CellY), int((g.North-p[1]+float64(reach))/g.CellY)
	best := float64(reach)
	for r := max(r0, 0); r <= min(r1, g.Rows-1); r++ {
		for c := max(c0, 0); c <= min(c1, g.Cols-1); c++ {
			m := g.Centre(c, r)
			if d := math.Hypot(m[0]-p[0], m[1]-p[1]); d <= best && open(c, r) {
				best, col, row, ok = d, c, r, true
			}
		}
	}
	return col, row, ok
}

// Area is the plan area that drains through cell i, its own included.
func (f *Field) Area(i int) unit.Area {
	return unit.Area(float64(f.Count[i]) * float64(f.Grid.CellArea()))
}

// Sample makes a raster of a surface: the elevation at each cell's centre, NaN
// outside the surface. Cells are square; the box grows to whole cells. The
// error tells a raster of more than most cells.
func Sample(s ground.Surface, box orb.Bound, cell unit.Length, most int) (ground.Grid, error) {
	c := float64(cell)
	w, h := math.Ceil((box.Max[0]-box.Min[0])/c), math.Ceil((box.Max[1]-box.Min[1])/c)
	if !(c > 0) || !(w >= 1 && h >= 1) || w*h > float64(most) {
		return ground.Grid{}, fmt.Errorf("overland: a raster of %.0f by %.0f cells of %.3g m; from 1 to %d are made", w, h, c, most)
	}
	g := ground.Grid{Cols: int(w), Rows: int(h), West: box.Min[0], North: box.Min[1] + h*c, CellX: c, CellY: c}
	g.Z = make([]float32, g.Cols*g.Rows)
	for i := range g.Z {
		l, ok := s.At(g.Centre(i%g.Cols, i/g.Cols))
		if !ok {
			l.Elevation = unit.Elevation(math.NaN())
		}
		g.Z[i] = float32(l.Elevation)
	}
	return g, nil
}
