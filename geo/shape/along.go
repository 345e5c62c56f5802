package shape

// Places along a line, by the distance from its start.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Position is a place on a line: how far from its start, on which segment (its
// first vertex), where, and how far the asked point was off the line.
type Position struct {
	Along   unit.Length
	Segment int
	At      orb.Point
	Off     unit.Length
}

// Nearest is the place on the line nearest to p, the first of equals. The line
// has at least two vertices; otherwise Off is +Inf.
func Nearest(l orb.LineString, p orb.Point) Position {
	best := Position{Off: unit.Length(math.Inf(1))}
	s := 0.0
	for i := 1; i < len(l); i++ {
		if d, q := PointSegment(p, l[i-1], l[i]); d < best.Off {
			best = Position{Along: unit.Length(s + hypot(l[i-1], q)), Segment: i - 1, At: q, Off: d}
		}
		s += hypot(l[i-1], l[i])
	}
	return best
}

// PointAt is the point at distance d from the start; the ends for d below 0 or
// beyond the length. The line has at least one vertex.
func PointAt(l orb.LineString, d unit.Length) orb.Point {
	s := float64(d)
	if s <= 0 {
		return l[0]
	}
	for i := 1; i < len(l); i++ {
		n := hypot(l[i-1], l[i])
		if s < n {
			t := s / n
			return orb.Point{l[i-1][0] + t*(l[i][0]-l[i-1][0]), l[i-1][1] + t*(l[i][1]-l[i-1][1])}
		}
		s -= n
	}
	return l[len(l)-1]
}

// Substring is the part of a line between two distances from its start, from
// before to, both held to the line. It has at least two vertices, equal ones
// where the stretch has no length; nil for a line of fewer than two.
func Substring(l orb.LineString, from, to unit.Length) orb.LineString {
	if len(l) < 2 {
		return nil
	}
	if from < 0 {
		from = 0
	}
	if n := Length(l); to > n {
		to = n
	}
	if to < from {
		to = from
	}
	out := orb.LineString{PointAt(l, from)}
	s := 0.0
	for i := 1; i < len(l); i++ {
		s += hypot(l[i-1], l[i])
		if s > float64(from) && s < float64(to) && l[i] != out[len(out)-1] {
			out = append(out, l[i])
		}
	}
	if e := PointAt(l, to); e != out[len(out)-1] || len(out) == 1 {
		out = append(out, e)
	}
	return out
}
