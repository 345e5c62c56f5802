package profile

// Where the sizes grow: every point down the trunk with the flow added there.

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Point is a point of the trunk, with the reach that leaves it.
type Point struct {
	Reach   int
	Station unit.Length // of its upper end, from the head of the trunk
	Pipe    int
	// Grown: the pipe is wider than the one above it.
	Grown bool
	Flow  hydro.Flow
	// Joins lists the reaches that join here beside the trunk; Added is how much
	// the flow grows over that of the reach above. It may be less than what the
	// laterals carry alone, and even nothing: their peaks pass at other times.
	Joins []int
	Added hydro.Flow
	// CA is the area that has arrived when the flow is greatest, Tc the time.
	CA unit.Area
	Tc hydro.Duration
	// Spare is the capacity left, as a share of the full capacity.
	Spare float64
}

// Trunk follows the greatest flow from the outlet up and returns the reaches
// of that way from its head down. root is a reach that ends at the outlet; with
// a root of Outlet the one that brings most is taken. Of equal flows the longer
// way counts as the trunk.
func Trunk(p *Problem, r *Result, root int) ([]Point, error) {
	n := len(p.Reaches)
	if len(r.Reaches) != n || n == 0 {
		return nil, fmt.Errorf("hydro/profile: a result of %d reaches for a problem of %d", len(r.Reaches), n)
	}
	asked := root
	above := make([][]int, n)
	for i := range p.Reaches {
		switch d := p.Reaches[i].Down; {
		case d == Outlet:
			if asked == Outlet && (root == Outlet || r.Reaches[i].Flow > r.Reaches[root].Flow) {
				root = i
			}
		case d < 0 || d >= n:
			return nil, fmt.Errorf("hydro/profile: reach %d runs into reach %d", i, d)
		default:
			above[d] = append(above[d], i)
		}
	}
	if root < 0 || root >= n || p.Reaches[root].Down != Outlet {
		return nil, fmt.Errorf("hydro/profile: reach %d does not end at the outlet", root)
	}
	longest := make([]unit.Length, n)
	var reach func(i, depth int) unit.Length
	reach = func(i, depth int) unit.Length {
		best := unit.Length(0)
		if depth < n {
			for _, c := range above[i] {
				best = max(best, reach(c, depth+1))
			}
		}
		longest[i] = best + p.Reaches[i].Length
		return longest[i]
	}
	reach(root, 0)
	way := []int{root}
	for i := root; len(above[i]) > 0 && len(way) <= n; {
		best := above[i][0]
		for _, c := range above[i][1:] {
			if f, g := r.Reaches[c].Flow, r.Reaches[best].Flow; f > g || f == g && longest[c] > longest[best] {
				best = c
			}
		}
		way = append(way, best)
		i = best
	}
	steps := make([]Point, 0, len(way))
	at := unit.Length(0)
	for x := len(way) - 1; x >= 0; x-- {
		i := way[x]
		l := &r.Reaches[i]
		s := Point{Reach: i, Station: at, Pipe: l.Pipe, Flow: l.Flow, Added: l.Flow, CA: l.CA, Tc: l.Tc}
		if l.Capacity > 0 {
			s.Spare = 1 - float64(l.Flow/l.Capacity)
		}
		if k := len(steps); k > 0 {
			last := &r.Reaches[steps[k-1].Reach]
			s.Added = l.Flow - last.Flow
			s.Grown = p.Stock[l.Pipe].Inside > p.Stock[last.Pipe].Inside
			for _, c := range above[i] {
				if c != steps[k-1].Reach {
					s.Joins = append(s.Joins, c)
				}
			}
		}
		steps = append(steps, s)
		at += p.Reaches[i].Length
	}
	return steps, nil
}
