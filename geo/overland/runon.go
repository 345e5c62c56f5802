package overland

// What runs over lot lines, as the ground lies and with some of it caught.

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// LineFlow is the water that crosses one line of a lot, net: water that runs
// along a line, to and fro over it, counts once.
type LineFlow struct {
	Lot  int // whose line it is
	Part int // of the lot
	Line int // edge of that part's outer ring, from vertex Line on
	// Other is the lot beyond the line, -1 for land that is no lot (a street)
	// or lies beyond the raster.
	Other int
	// Into says that the water comes into Lot, else it leaves it: by what was
	// before, or by what is after where nothing was.
	Into bool
	// Before and After are the areas whose water crosses that way; After is
	// negative where the water has turned round.
	Before, After unit.Area
	// Length is how much of the line water crosses, to about a cell.
	Length unit.Length
	// MostBefore and MostAfter are the most that crosses in one cell: concentrated
	// flow, where it is a good part of the whole. At is where that is after (or
	// before, where nothing is left after).
	At                    orb.Point
	MostBefore, MostAfter unit.Area
	// Rise is by how much what leaves Lot after exceeds what left it before, at
	// one place: within OnePlace along the line. 0 where it does so nowhere; RiseAt is
	// where most of it crosses.
	Rise   unit.Area
	RiseAt orb.Point
}

// OnePlace is the length of a lot line on which water counts as coming over it at
// one place: 10 ft, about a downspout's or an emitter's spread (common practice).
const OnePlace = 3.048 * unit.Metre

// LineFlows lists the crossings of every line of every lot, by lot, part, line
// and other lot. before and after are areas through each cell (see
// Accumulate), the same slice twice where nothing is caught. A cell belongs to
// the first lot that holds its centre; water that leaves a lot under a house
// wall does not exist. One crossing of two neighbours stands in the list twice,
// once for each line.
func (f *Field) LineFlows(lots []orb.MultiPolygon, before, after []float64) []LineFlow {
	return f.Crossings(lots).Flows(before, after)
}

// Crossings are the cells from which water runs over the lines of some lots: what
// LineFlows asks of the ground alone, for those who ask for the flows of many
// plans over the same lots. They are not written to once made.
type Crossings struct {
	lines []crossedLine // by lot, part, line and other lot
}

// crossedLine is one line of a lot, towards one other lot.
type crossedLine struct {
	lot, part, line, other int
	length                 unit.Length
	cells                  []crossing // in the order of the cells
}

type crossing struct {
	cell  int
	into  bool
	along float64
	at    orb.Point
}

// Crossings lists where water crosses the lines of lots.
func (f *Field) Crossings(lots []orb.MultiPolygon) *Crossings {
	owner := make([]int32, len(f.Dir))
	for i := range owner {
		owner[i] = -1
	}
	for k := len(lots) - 1; k >= 0; k-- {
		f.each(lots[k], func(i int) { owner[i] = int32(k) })
	}
	type key struct {
		lot, part, line, other int
	}
	type spans struct {
		crossedLine
		spans [][2]float64 // stretches of the line that are crossed
	}
	found := map[key]*spans{}
	half := math.Hypot(f.Grid.CellX, f.Grid.CellY) / 2 / math.Sqrt2
	cross := func(lot, other int, into bool, i int, at orb.Point) {
		part, line, along, length := nearestLine(lots[lot], at)
		k := key{lot, part, line, other}
		s := found[k]
		if s == nil {
			s = &spans{crossedLine: crossedLine{lot: lot, part: part, line: line, other: other}}
			found[k] = s
		}
		s.cells = append(s.cells, crossing{i, into, along, at})
		s.spans = append(s.spans, [2]float64{math.Max(0, along-half), math.Min(length, along+half)})
	}
	for i := range f.Dir {
		if !f.Wet(i) {
			continue
		}
		from, to := int(owner[i]), -1
		at := f.Centre(i)
		if j, ok := f.Next(i); ok {
			if to = int(owner[j]); from == to {
				continue
			}
			b := f.Centre(j)
			at = orb.Point{(at[0] + b[0]) / 2, (at[1] + b[1]) / 2}
		} else if f.Dir[i] == Out {
			d := bits.TrailingZeros(uint(f.Code(i)))
			at = orb.Point{at[0] + float64(stepX[d])*f.Grid.CellX/2, at[1] - float64(stepY[d])*f.Grid.CellY/2}
		} else {
			continue // into an inlet, or walled in
		}
		if from >= 0 && from != to {
			cross(from, to, false, i, at)
		}
		if to >= 0 && from != to {
			cross(to, from, true, i, at)
		}
	}
	c := &Crossings{lines: make([]crossedLine, 0, len(found))}
	for _, s := range found {
		slices.SortFunc(s.spans, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
		reach := math.Inf(-1)
		for _, v := range s.spans {
			if v[1] > reach {
				s.length += unit.Length(v[1] - math.Max(v[0], reach))
				reach = v[1]
			}
		}
		c.lines = append(c.lines, s.crossedLine)
	}
	slices.SortFunc(c.lines, func(a, b crossedLine) int {
		return cmp.Or(cmp.Compare(a.lot, b.lot), cmp.Compare(a.part, b.part), cmp.Compare(a.line, b.line), cmp.Compare(a.other, b.other))
	})
	return c
}

// Flows is what LineFlows lists, of areas through each cell of the same field.
func (c *Crossings) Flows(before, after []float64) []LineFlow {
	flows := make([]LineFlow, 0, len(c.lines))
	var out []leaving
	for k := range c.lines {
		l := &c.lines[k]
		s := LineFlow{Lot: l.lot, Part: l.part, Line: l.line, Other: l.other, Length: l.length}
		out = out[:0]
		for _, x := range l.cells {
			b, a := unit.Area(before[x.cell]), unit.Area(after[x.cell])
			sense := unit.Area(-1)
			if x.into {
				sense = 1
			}
			s.Before += sense * b
			s.After += sense * a
			if a > s.MostAfter || s.MostAfter == 0 && b > s.MostBefore {
				s.At = x.at
			}
			s.MostBefore, s.MostAfter = max(s.MostBefore, b), max(s.MostAfter, a)
			if !x.into {
				out = append(out, leaving{x.along, after[x.cell] - before[x.cell], x.at})
			}
		}
		s.Rise, s.RiseAt = rise(out)
		if s.Into = s.Before > 0 || s.Before == 0 && s.After > 0; !s.Into {
			s.Before, s.After = -s.Before, -s.After
		}
		flows = append(flows, s)
	}
	return flows
}

// leaving is what leaves a lot more after than before, in one cell.
type leaving struct {
	along, more float64
	at          orb.Point
}

// rise finds the place where what leaves grows most.
func rise(out []leaving) (most unit.Area, at orb.Point) {
	slices.SortFunc(out, func(a, b leaving) int { return cmp.Compare(a.along, b.along) })
	sum, first := 0.0, 0
	for i, v := range out {
		for sum += v.more; out[first].along < v.along-float64(OnePlace); first++ {
			sum -= out[first].more
		}
		if unit.Area(sum) > most {
			most = unit.Area(sum)
			top := first
			for k := first; k <= i; k++ {
				if out[k].more > out[top].more {
					top = k
				}
			}
			at = out[top].at
		}
	}
	return most, at
}

// nearestLine is the edge of a lot's outer rings nearest to p, how far along it
// p lies and how long it is.
func nearestLine(lot orb.MultiPolygon, p orb.Point) (part, line int, along, length float64) {
	best := math.Inf(1)
	for i, poly := range lot {
		for k := 1; k < len(poly[0]); k++ {
			a, b := poly[0][k-1], poly[0][k]
			if d, q := shape.PointSegment(p, a, b); float64(d) < best {
				best, part, line = float64(d), i, k-1
				along, length = math.Hypot(q[0]-a[0], q[1]-a[1]), math.Hypot(b[0]-a[0], b[1]-a[1])
			}
		}
	}
	return part, line, along, length
}
