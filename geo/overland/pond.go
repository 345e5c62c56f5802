package overland

// Hollows that hold water, and where it goes from there.

import (
	"cmp"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Pond is a hollow, full to its sill.
type Pond struct {
	Level  unit.Elevation // of the full pond
	Depth  unit.Length    // at its deepest cell
	Area   unit.Area      // of its cells
	Volume float64        // m3
	Lowest orb.Point      // centre of the deepest cell
	// Spill is the centre of the sill, over which it runs out; nil where it
	// cannot (walled in on all sides).
	Spill *orb.Point
	// Cells are its cells, in rising order; Catchment counts the cells that
	// drain into it, its own included.
	Cells     []int
	Catchment int
	Bottom    int // the deepest cell
	Sill      int // the cell of Spill; -1 where there is none
}

// Ponds lists the hollows at least so deep and of at least such a volume (m3),
// greatest volume first.
func (f *Field) Ponds(depth unit.Length, volume float64) []Pond {
	var out []Pond
	f.raised(func(cells []int) {
		p := f.pond(cells)
		if p.Depth >= depth && p.Volume >= volume {
			out = append(out, p)
		}
	})
	slices.SortStableFunc(out, func(a, b Pond) int {
		return cmp.Or(cmp.Compare(b.Volume, a.Volume), cmp.Compare(a.Bottom, b.Bottom))
	})
	return out
}

// raised visits each set of joined cells whose ground is under the filled
// level. Joined raised cells have one level: each can reach the other's way out.
func (f *Field) raised(visit func(cells []int)) {
	seen := make([]bool, len(f.Dir))
	g := f.Grid
	for i := range seen {
		if seen[i] || !f.Wet(i) || !(f.Filled[i] > g.Z[i]) {
			continue
		}
		seen[i] = true
		list := []int{i}
		for at := 0; at < len(list); at++ {
			for k := 0; k < 8; k++ {
				j, ok := f.neighbour(list[at]%g.Cols, list[at]/g.Cols, k)
				if ok && !seen[j] && f.Wet(j) && f.Filled[j] > g.Z[j] {
					seen[j] = true
					list = append(list, j)
				}
			}
		}
		visit(list)
	}
}

func (f *Field) pond(cells []int) Pond {
	g := f.Grid
	slices.Sort(cells)
	p := Pond{Cells: cells, Bottom: cells[0], Sill: -1, Level: unit.Elevation(f.Filled[cells[0]])}
	for _, i := range cells {
		d := float64(f.Filled[i]) - float64(g.Z[i])
		p.Volume += d
		if g.Z[i] < g.Z[p.Bottom] {
			p.Bottom = i
		}
	}
	p.Volume *= float64(g.CellArea())
	p.Area = unit.Area(float64(len(cells)) * float64(g.CellArea()))
	p.Depth = unit.Length(float64(f.Filled[p.Bottom]) - float64(g.Z[p.Bottom]))
	p.Lowest = f.Centre(p.Bottom)
	in := func(i int) bool { _, ok := slices.BinarySearch(cells, i); return ok }
	// Water may leave by more than one sill, and cross a shelf at the pond's level
	// and come back: it has left where it does not come back.
	gone := map[int]bool{} // by the cell outside the pond
	leaves := func(i int) bool {
		start := i
		v, known := gone[start]
		for ok := true; !known && ok && f.Filled[i] == f.Filled[cells[0]]; i, ok = f.Next(i) {
			if in(i) {
				gone[start] = false
				return false
			}
		}
		if !known {
			v = true
			gone[start] = true
		}
		return v
	}
	for i := p.Bottom; ; {
		j, ok := f.Next(i)
		if !ok {
			break
		}
		if in(i) && !in(j) && leaves(j) {
			if f.Dir[j] != Enclosed {
				s := f.Centre(j)
				p.Spill, p.Sill = &s, j
			}
			break
		}
		i = j
	}
	for _, i := range cells {
		if j, ok := f.Next(i); ok && !in(j) && leaves(j) {
			p.Catchment += int(f.Count[i])
		}
	}
	return p
}

// PondAt is the pond over cell i; false where the cell is not under water.
func (f *Field) PondAt(i int) (Pond, bool) {
	g := f.Grid
	if i < 0 || !f.Wet(i) || !(f.Filled[i] > g.Z[i]) {
		return Pond{}, false
	}
	list, in := []int{i}, map[int]bool{i: true}
	for at := 0; at < len(list); at++ {
		for k := 0; k < 8; k++ {
			j, ok := f.neighbour(list[at]%g.Cols, list[at]/g.Cols, k)
			if ok && !in[j] && f.Wet(j) && f.Filled[j] > g.Z[j] {
				in[j] = true
				list = append(list, j)
			}
		}
	}
	return f.pond(list), true
}

// Shape is the outline of a pond.
func (f *Field) Shape(p Pond) orb.MultiPolygon { return Outline(f.Grid, p.Cells) }

// Path is the way of the water from cell i until it leaves the ground: the
// centres of the cells where it turns. Through a pond it is the way over the
// water.
func (f *Field) Path(i int) orb.LineString {
	if i < 0 || i >= len(f.Dir) || !f.Wet(i) {
		return nil
	}
	line := orb.LineString{f.Centre(i)}
	last := Missing
	for {
		j, ok := f.Next(i)
		if !ok {
			if len(line) == 1 || line[len(line)-1] != f.Centre(i) {
				line = append(line, f.Centre(i))
			}
			return line
		}
		if f.Dir[i] != last && last != Missing {
			line = append(line, f.Centre(i))
		}
		last = f.Dir[i]
		i = j
	}
}

// Catchment lists the open cells whose water passes one of the given cells,
// these included, in rising order. Water that reaches a cell under a pond
// passes the whole pond: give a pond's Cells for what fills it.
func (f *Field) Catchment(cells ...int) []int {
	in := make(map[int]bool, len(cells))
	var list []int
	for _, i := range cells {
		if i >= 0 && i < len(f.Dir) && f.Wet(i) && !in[i] {
			in[i] = true
			list = append(list, i)
		}
	}
	w := f.Grid.Cols
	for at := 0; at < len(list); at++ {
		c, r := list[at]%w, list[at]/w
		for k := 0; k < 8; k++ {
			j, ok := f.neighbour(c, r, k)
			if !ok || in[j] {
				continue
			}
			if n, ok := f.Next(j); ok && n == list[at] {
				in[j] = true
				list = append(list, j)
			}
		}
	}
	slices.Sort(list)
	return list
}

// CatchmentOf lists the open cells whose water comes to a place: to its cell
// or, where that is under water, to its pond. False where there is no open
// ground within reach.
func (f *Field) CatchmentOf(p orb.Point, reach unit.Length) ([]int, bool) {
	i, ok := f.CellAt(p, reach)
	if !ok {
		return nil, false
	}
	if pond, wet := f.PondAt(i); wet {
		return f.Catchment(pond.Cells...), true
	}
	return f.Catchment(i), true
}
