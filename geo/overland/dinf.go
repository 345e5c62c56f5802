package overland

// D-infinity: the flow of each cell shared between the two neighbours on both
// sides of the steepest descent (Tarboton 1997).

import (
	"math"
	"slices"
)

// facets lie between a cardinal neighbour and a diagonal one; the angle of the
// cardinal and the sense in which the facet's angle grows from it.
var facets = [8]struct {
	cardinal, diagonal Direction
	base, sense        float64
}{
	{East, NorthEast, 0, 1}, {North, NorthEast, math.Pi / 2, -1}, {North, NorthWest, math.Pi / 2, 1}, {West, NorthWest, math.Pi, -1},
	{West, SouthWest, math.Pi, 1}, {South, SouthWest, 3 * math.Pi / 2, -1}, {South, SouthEast, 3 * math.Pi / 2, 1}, {East, SouthEast, 2 * math.Pi, -1},
}

// Share is how a cell's water parts: Part of it goes to To, the rest to Rest.
// Part is 1 where all goes one way.
type Share struct {
	To, Rest Direction
	Part     float64
	// Angle is the direction of flow, counter-clockwise from east, radians, and
	// Slope the fall along it; both 0 on a flat.
	Angle, Slope float64
}

// facet is Tarboton's: e0 the cell, e1 the cardinal neighbour at d1, e2 the
// diagonal one, d2 further on at a right angle. r is the angle from the
// cardinal towards the diagonal.
func facet(e0, e1, e2, d1, d2 float64) (r, s float64) {
	s1, s2 := (e0-e1)/d1, (e1-e2)/d2
	r = math.Atan2(s2, s1)
	most := math.Atan2(d2, d1)
	switch {
	case s1 == 0 && s2 == 0:
		return 0, 0
	case r < 0:
		return 0, s1
	case r > most:
		return most, (e0 - e2) / math.Hypot(d1, d2)
	}
	return r, math.Hypot(s1, s2)
}

// Infinity gives each open cell's share on the filled ground. Where the ground
// is flat, at edges and beside walls or missing cells it follows Dir.
func (f *Field) Infinity() []Share {
	out := make([]Share, len(f.Dir))
	for i := range out {
		out[i] = f.share(i)
	}
	return out
}

func (f *Field) share(i int) Share {
	w, h := f.Grid.Cols, f.Grid.Rows
	d := f.Dir[i]
	byDir := Share{To: d, Rest: d, Part: 1}
	c, r := i%w, i/w
	if d > NorthEast || c == 0 || r == 0 || c == w-1 || r == h-1 {
		return byDir
	}
	e0 := float64(f.Filled[i])
	at := func(d Direction) float64 { return float64(f.Filled[i+stepY[d]*w+stepX[d]]) }
	best := Share{}
	for _, fc := range facets {
		e1, e2 := at(fc.cardinal), at(fc.diagonal)
		if e1 != e1 || e2 != e2 {
			return byDir
		}
		d1, d2 := f.Grid.CellX, f.Grid.CellY
		if fc.cardinal == North || fc.cardinal == South {
			d1, d2 = d2, d1
		}
		r, s := facet(e0, e1, e2, d1, d2)
		if s <= best.Slope {
			continue
		}
		best = Share{To: fc.cardinal, Rest: fc.diagonal, Part: 1 - r/math.Atan2(d2, d1), Slope: s, Angle: fc.base + fc.sense*r}
	}
	if best.Slope == 0 {
		return byDir
	}
	if best.Part == 0 {
		best.To, best.Part = best.Rest, 1
	}
	if best.Part == 1 {
		best.Rest = best.To
	}
	return best
}

// CountInfinity gives how many cells drain through each by the shares, its own
// included.
func (f *Field) CountInfinity(shares []Share) []float64 {
	n := make([]float64, len(shares))
	var from []int
	for i := range n {
		if f.Wet(i) {
			n[i] = 1
			from = append(from, i)
		}
	}
	f.spread(shares, n, from)
	return n
}

// spread carries what the cells bear down the shares, from some cells on; n is 0
// in all others. A share that is not known yet (Part 0) is worked out and kept.
func (f *Field) spread(shares []Share, n []float64, from []int) {
	w := f.Grid.Cols
	next := func(i int) (a, b int, part float64) {
		if shares[i].Part == 0 {
			shares[i] = f.share(i)
		}
		s := shares[i]
		a, b = -1, -1
		if s.To <= NorthEast {
			a = i + stepY[s.To]*w + stepX[s.To]
		}
		if s.Rest <= NorthEast && s.Part < 1 {
			b = i + stepY[s.Rest]*w + stepX[s.Rest]
		}
		return a, b, s.Part
	}
	// how many have still to bring theirs to a cell, of those that are reached
	above, reached := make([]uint8, len(n)), make([]bool, len(n))
	stack := slices.Clone(from)
	for _, i := range from {
		reached[i] = true
	}
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		a, b, _ := next(i)
		for _, j := range [2]int{a, b} {
			if j < 0 {
				continue
			}
			if above[j]++; !reached[j] {
				reached[j] = true
				stack = append(stack, j)
			}
		}
	}
	for _, i := range from {
		if above[i] == 0 {
			stack = append(stack, i)
		}
	}
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		a, b, part := next(i)
		if a >= 0 {
			n[a] += n[i] * part
			if above[a]--; above[a] == 0 {
				stack = append(stack, a)
			}
		}
		if b >= 0 {
			n[b] += n[i] * (1 - part)
			if above[b]--; above[b] == 0 {
				stack = append(stack, b)
			}
		}
	}
}
