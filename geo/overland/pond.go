package overland

// Hollows that hold water, and where it goes from there.

import (
	"cmp"
	"math"
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
	// Runs are its cells; Catchment counts the cells that drain into it, its own
	// included.
	Runs      []Run
	Catchment int
	Bottom    int // the deepest cell
	Sill      int // the cell of Spill; -1 where there is none
}

// greater puts ponds in order, the greatest volume first.
func greater(a, b Pond) int {
	return cmp.Or(cmp.Compare(b.Volume, a.Volume), cmp.Compare(a.Bottom, b.Bottom))
}

// Ponds lists the hollows at least so deep and of at least such a volume (m3),
// greatest volume first: the first most of them (0: all), and how many more there
// are.
func (w *Water) Ponds(depth unit.Length, volume float64, most int) (ponds []Pond, more int) {
	trim := func() {
		slices.SortFunc(ponds, greater)
		if most > 0 && len(ponds) > most {
			more += len(ponds) - most
			ponds = slices.Delete(ponds, most, len(ponds))
		}
	}
	w.raised(func(runs []Run) {
		if p := w.full(runs); p.Depth >= depth && p.Volume >= volume {
			if ponds = append(ponds, p); most > 0 && len(ponds) >= 2*most {
				trim()
			}
		}
	})
	trim()
	for k := range ponds {
		w.spill(&ponds[k])
	}
	return ponds, more
}

// raised visits each set of joined cells whose ground is under the filled
// level. Joined raised cells have one level: each can reach the other's way out.
func (w *Water) raised(visit func(runs []Run)) {
	// sets of runs that reach into the row above, joined as the rows below join them
	type set struct {
		runs []Run
		row  int // the last that it reaches
		into *set
	}
	find := func(s *set) *set {
		for s.into != nil {
			s = s.into
		}
		return s
	}
	type member struct {
		c0, c1 int
		in     *set
	}
	var above, here []member
	whole := func(row int) {
		for _, m := range above {
			if s := find(m.in); s.row < row && s.runs != nil {
				slices.SortFunc(s.runs, func(a, b Run) int { return cmp.Compare(a.First, b.First) })
				visit(s.runs)
				s.runs = nil
			}
		}
	}
	g := w.Grid
	for r := range g.Rows {
		dir, z, level := w.dir(r), w.z(r), w.level(r)
		here = here[:0]
		k := 0
		for c := 0; c < g.Cols; c++ {
			if !(level[c] > z[c] && dir[c] < Blocked) {
				continue
			}
			m := member{c0: c}
			for c+1 < g.Cols && level[c+1] > z[c+1] && dir[c+1] < Blocked {
				c++
			}
			m.c1 = c
			for k < len(above) && above[k].c1 < m.c0-1 {
				k++
			}
			for n := k; n < len(above) && above[n].c0 <= m.c1+1; n++ {
				s := find(above[n].in)
				switch {
				case m.in == nil:
					m.in = s
				case m.in != s:
					if len(m.in.runs) < len(s.runs) {
						m.in, s = s, m.in
					}
					m.in.runs = append(m.in.runs, s.runs...)
					s.runs, s.into = nil, m.in
				}
			}
			if m.in == nil {
				m.in = &set{}
			}
			m.in.runs, m.in.row = append(m.in.runs, Run{r*g.Cols + m.c0, r*g.Cols + m.c1}), r
			here = append(here, m)
		}
		whole(r)
		for n := range here { // so that no chain of sets grows
			here[n].in = find(here[n].in)
		}
		above, here = here, above
	}
	whole(g.Rows)
}

// full is a hollow without what becomes of its water.
func (w *Water) full(runs []Run) Pond {
	g := w.Grid
	level := w.level(runs[0].First / g.Cols)[runs[0].First%g.Cols]
	p := Pond{Runs: runs, Sill: -1, Level: unit.Elevation(level)}
	lowest := float32(math.Inf(1))
	n := 0
	for _, u := range runs {
		r, c := u.First/g.Cols, u.First%g.Cols
		last := c + u.Last - u.First + 1
		z, level := w.z(r)[c:last], w.level(r)[c:last]
		for k := range z {
			p.Volume += float64(level[k]) - float64(z[k])
			if z[k] < lowest {
				lowest, p.Bottom = z[k], u.First+k
			}
		}
		n += len(z)
	}
	p.Volume *= float64(g.CellArea())
	p.Area = unit.Area(float64(n) * float64(g.CellArea()))
	p.Depth = w.deep(p.Bottom)
	p.Lowest = w.Centre(p.Bottom)
	return p
}

// spill finds where a pond runs over, and what drains to it.
func (w *Water) spill(p *Pond) {
	cols := w.Grid.Cols
	in := func(i int) bool { return Holds(p.Runs, i) }
	// Water may leave by more than one sill, and cross a shelf at the pond's level
	// and come back: it has left where it does not come back.
	gone := map[int]bool{} // by the cell outside the pond
	leaves := func(i int) bool {
		start := i
		v, known := gone[start]
		for ok := true; !known && ok && w.level(i / cols)[i%cols] == float32(p.Level); i, ok = w.next(i) {
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
		j, ok := w.next(i)
		if !ok {
			break
		}
		if in(i) && !in(j) && leaves(j) {
			if w.dir(j / cols)[j%cols] != Enclosed {
				s := w.Centre(j)
				p.Spill, p.Sill = &s, j
			}
			break
		}
		i = j
	}
	for _, u := range p.Runs {
		r := u.First / cols
		for i := u.First; i <= u.Last; i++ {
			if j, ok := w.next(i); ok && !in(j) && leaves(j) {
				p.Catchment += int(w.counts(r)[i-r*cols])
			}
		}
	}
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
	slices.Sort(list)
	p := f.full(runsOf(g.Cols, list))
	f.spill(&p)
	return p, true
}

// Shape is the outline of a pond.
func (w *Water) Shape(p Pond) orb.MultiPolygon { return Outline(w.Grid, p.Runs) }

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
