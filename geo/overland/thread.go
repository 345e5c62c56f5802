package overland

// Where water runs together: the ways of all cells through which enough of the
// ground drains, cut where they meet.

import (
	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Thread is a way of water from where enough comes together, or from where two
// such ways meet, down to the next meeting or to where it leaves the ground.
type Thread struct {
	Line orb.LineString // along cell centres, downstream; at least two points
	// Area is the plan area that drains through its lower end.
	Area unit.Area
}

// Threads gives the ways through cells with at least so much area, in the order
// of their first cells. A cell that ends in a drain or at the edge ends its way.
func (w *Water) Threads(least unit.Area) []Thread {
	cols := w.Grid.Cols
	area := func(i int) unit.Area {
		return unit.Area(float64(w.counts(i / cols)[i%cols]) * float64(w.Grid.CellArea()))
	}
	enough := func(i int) bool { return w.wet(i) && area(i) >= least }
	// into is how many such cells drain into a cell
	into := func(i int) (n int) {
		for k := 0; k < 8; k++ {
			if j, ok := w.neighbour(i%cols, i/cols, k); ok && w.dir(j / cols)[j%cols] == Direction(k+4)%8 && enough(j) {
				n++
			}
		}
		return n
	}
	var out []Thread
	for r := range w.Grid.Rows {
		for c, n := range w.counts(r) {
			if unit.Area(float64(n)*float64(w.Grid.CellArea())) < least {
				continue
			}
			i := r*cols + c
			if !w.wet(i) || into(i) == 1 {
				continue // a cell with one above belongs to that one's way
			}
			t := Thread{Line: orb.LineString{w.Centre(i)}, Area: area(i)}
			for at := i; ; {
				n, ok := w.next(at)
				if !ok {
					break
				}
				t.Line = append(t.Line, w.Centre(n))
				if !w.wet(n) || into(n) != 1 {
					break // the meeting is the next way's first cell
				}
				t.Area, at = area(n), n
			}
			if len(t.Line) > 1 {
				out = append(out, t)
			}
		}
	}
	return out
}
