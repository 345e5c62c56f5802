package zone

// What the accuracy of the lot lines means for a trench.
//
// The model: a lot line (a run of edges without a corner, a curve included) is
// the true line moved square to itself by an unknown distance, normal with mean
// 0 and a standard deviation s, each line on its own; corners lie where the
// moved lines meet. A trench whose edge is m inside the line as mapped lies over
// the true one when the line moves in by more than m:
//
//	symbol  meaning                                       unit
//	m       trench edge to the line as mapped             m (negative beyond it)
//	s       standard deviation of the line's place        m
//	F       cumulative normal distribution, mean 0, sd 1
//	p       chance for one line = F(-m/s)                 0 to 1
//	P       chance for any line = 1 - product of (1-p)    0 to 1
//
// It is exact under the model for a lot without hollow corners; at a hollow
// corner the two lines are counted apart, which errs to the greater chance.

import (
	"fmt"
	"math"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

const (
	// bend is the turn in degrees up to which edges are one line or curve.
	bend = 15.0
	// PinnedSD is the standard deviation of a line whose pins were found.
	PinnedSD = 0.02 * unit.Metre
	// cornerReach standard deviations beyond a corner a line still counts.
	cornerReach = 6.0
	// leastChance is told of; less is none.
	leastChance = 1e-9
)

// LineChance is what one lot line means for a trench.
type LineChance struct {
	// Edges of the line, in order along the ring.
	Edges []shape.Spot
	// Margin is from the trench edge to the line as mapped, negative beyond.
	Margin unit.Length
	SD     unit.Length
	// Over is the chance that the trench lies over the true line.
	Over float64
	// At is the place of the trench's middle that is nearest to the line.
	At orb.Point
}

// Chance is what the accuracy of all lot lines means for a trench.
type Chance struct {
	// Over is the chance that the trench lies over a true line somewhere.
	Over float64
	// Lines are those with a chance above a billionth, the greatest first.
	Lines []LineChance
	// Clearance is the least distance from all lines to the trench edge that
	// brings Over down to the chance allowed, where the trench is nearer.
	Clearance unit.Length
	// Pins are the lines (places in Lines) whose pins, once found where they are
	// mapped, bring Over down to the chance allowed: the fewest, greatest chance
	// first; empty where it is so already. Settles is false where even the pins
	// of all lines would not.
	Pins    []int
	Settles bool
}

// LineAccuracy reckons the chance that a trench of the given width along lines
// (one run, all runs of a plan, or the edge of a zone with width 0) lies over
// the true lot line. sd gives the standard deviation of each edge, 0 or more;
// most is the chance allowed, above 0 and below 1.
func LineAccuracy(lines orb.MultiLineString, width unit.Length, lot Lot, sd func(part, ring, edge int) unit.Length, most float64) (Chance, error) {
	if err := lot.check(); err != nil {
		return Chance{}, err
	}
	if f := shape.Check(lines); len(f) > 0 {
		return Chance{}, fmt.Errorf("zone: drawn line: %w", f[0])
	}
	if !inRange(width) {
		return Chance{}, clearanceError(shape.Spot{}, nil, width)
	}
	if !(most > 0 && most < 1) {
		return Chance{}, &shape.InvalidError{Rule: RuleChance, Detail: fmt.Sprintf("the chance allowed is %v; give more than 0 and less than 1", most)}
	}
	widest := 0.0
	for p, poly := range lot.Shape {
		for r, ring := range poly {
			for e := range ring[1:] {
				s := sd(p, r, e)
				if !inRange(s) {
					return Chance{}, &shape.InvalidError{Rule: RuleChance, Part: p, Ring: r, Vertex: e, At: &ring[e], Detail: fmt.Sprintf("the line's standard deviation is %v m; give 0 to %v m", float64(s), float64(MostClearance))}
				}
				widest = math.Max(widest, float64(s))
			}
		}
	}
	var all []LineChance
	for p, poly := range lot.Shape {
		for r, ring := range poly {
			all = append(all, ringLines(p, r, ring, sd)...)
		}
	}
	half := float64(width) / 2
	for i := range all {
		all[i].Margin = unit.Length(math.Inf(1))
	}
	for _, l := range lines {
		measure(all, ruler{line: l, half: half, lot: lot}, cornerReach*widest)
	}
	var c Chance
	for i := range all {
		all[i].Over = over(float64(all[i].Margin), float64(all[i].SD))
		if all[i].Over > leastChance {
			c.Lines = append(c.Lines, all[i])
		}
	}
	sort.SliceStable(c.Lines, func(i, j int) bool { return c.Lines[i].Over > c.Lines[j].Over })
	c.Over = either(c.Lines, func(l LineChance) float64 { return l.Over })
	c.settle(all, most)
	return c, nil
}

// RuleChance: an accuracy or a chance that can't be one.
const RuleChance shape.Rule = "accuracy-out-of-range"

// over is F(-m/s).
func over(m, s float64) float64 {
	if s == 0 {
		if m < 0 {
			return 1
		}
		return 0
	}
	return math.Erfc(m/s/math.Sqrt2) / 2
}

// either is 1 less the product of 1-p.
func either(lines []LineChance, p func(LineChance) float64) float64 {
	none := 1.0
	for _, l := range lines {
		none *= 1 - p(l)
	}
	return 1 - none
}

// ringLines parts a ring into lines: at corners, and where the accuracy changes.
func ringLines(part, r int, ring orb.Ring, sd func(part, ring, edge int) unit.Length) []LineChance {
	n := len(ring) - 1
	breaks := func(i int) bool { // before edge i
		h := (i + n - 1) % n
		ux, uy, vx, vy := ring[h+1][0]-ring[h][0], ring[h+1][1]-ring[h][1], ring[i+1][0]-ring[i][0], ring[i+1][1]-ring[i][1]
		return sd(part, r, h) != sd(part, r, i) || math.Abs(math.Atan2(ux*vy-uy*vx, ux*vx+uy*vy)) > bend*math.Pi/180
	}
	start := 0
	for i := 0; i < n; i++ {
		if breaks(i) {
			start = i
			break
		}
	}
	var out []LineChance
	for k := 0; k < n; k++ {
		i := (start + k) % n
		if k == 0 || breaks(i) {
			out = append(out, LineChance{SD: sd(part, r, i)})
		}
		l := &out[len(out)-1]
		l.Edges = append(l.Edges, shape.Spot{Part: part, Ring: r, Vertex: i})
	}
	return out
}

// measure lowers the margins of the lines by what one run of trench leaves.
// Within the lot the distance counts, at an outward corner to the line drawn on
// beyond it; outside, the greatest distance out, to the nearest line.
func measure(all []LineChance, r ruler, beyond float64) {
	outside := map[shape.Spot]furthest{}
	for _, o := range r.outside() {
		f, spot := r.furthestOut(o)
		if f.dist > outside[spot].dist {
			outside[spot] = f
		}
	}
	for i := range all {
		l := &all[i]
		for k, spot := range l.Edges {
			ring := r.lot.Shape[spot.Part][spot.Ring]
			a, b := ring[spot.Vertex], ring[spot.Vertex+1]
			n := len(ring) - 1
			e := newEdge(a, b, 0)
			// a shell runs counter-clockwise or not; a hole's outward corner is the other way
			ccw := shape.RingArea(ring) > 0
			if spot.Ring > 0 {
				ccw = !ccw
			}
			outward := func(o int) bool { return ccw == (o > 0) && o != 0 }
			if k == 0 && outward(shape.Orient(ring[(spot.Vertex+n-1)%n], a, b)) {
				a = orb.Point{a[0] - beyond*e.d[0], a[1] - beyond*e.d[1]}
			}
			if k == len(l.Edges)-1 && outward(shape.Orient(a, b, ring[(spot.Vertex+2)%n])) {
				b = orb.Point{b[0] + beyond*e.d[0], b[1] + beyond*e.d[1]}
			}
			d, on := r.leastTo(bar{segments: [][2]orb.Point{{a, b}}})
			if f, ok := outside[spot]; ok {
				d, on = -f.dist, f.on
			}
			if m := unit.Length(d - r.half); m < l.Margin {
				l.Margin, l.At = m, on
			}
		}
	}
}

// settle finds the clearance and the pins that bring the chance down.
func (c *Chance) settle(all []LineChance, most float64) {
	// the chance falls as the clearance grows: halve between where it is too
	// great and where it is not
	at := func(m float64) float64 {
		return either(all, func(l LineChance) float64 { return over(math.Max(m, float64(l.Margin)), float64(l.SD)) })
	}
	lo, hi := 0.0, 0.0
	for _, l := range all {
		hi = math.Max(hi, 40*float64(l.SD))
	}
	if at(0) > most {
		for i := 0; i < 60; i++ {
			if m := (lo + hi) / 2; at(m) > most {
				lo = m
			} else {
				hi = m
			}
		}
		c.Clearance = unit.Length(hi)
	}
	// pins, the greatest chance first
	pinned := map[int]bool{}
	chance := func() float64 {
		none := 1.0
		for i, l := range c.Lines {
			s := l.SD
			if pinned[i] {
				s = min(s, PinnedSD)
			}
			none *= 1 - over(float64(l.Margin), float64(s))
		}
		return 1 - none
	}
	for i := range c.Lines {
		if chance() <= most {
			break
		}
		pinned[i] = true
		c.Pins = append(c.Pins, i)
	}
	c.Settles = chance() <= most
}
