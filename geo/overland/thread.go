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
func (f *Field) Threads(least unit.Area) []Thread {
	enough := func(i int) bool { return f.Wet(i) && f.Area(i) >= least }
	into := map[int]int{} // how many such cells drain into a cell
	for i := range f.Dir {
		if !enough(i) {
			continue
		}
		if n, ok := f.Next(i); ok {
			into[n]++
		}
	}
	var out []Thread
	for i := range f.Dir {
		if !enough(i) || into[i] == 1 {
			continue // a cell with one above belongs to that one's way
		}
		t := Thread{Line: orb.LineString{f.Centre(i)}, Area: f.Area(i)}
		for at := i; ; {
			n, ok := f.Next(at)
			if !ok {
				break
			}
			t.Line = append(t.Line, f.Centre(n))
			if !f.Wet(n) || into[n] != 1 {
				break // the meeting is the next way's first cell
			}
			t.Area, at = f.Area(n), n
		}
		if len(t.Line) > 1 {
			out = append(out, t)
		}
	}
	return out
}
