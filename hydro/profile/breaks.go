package profile

// Where a change of grade between two fittings would pay: a straight pipe under
// a dip lies deep on both sides of it.

import (
	"slices"

	"fallwright/geo/unit"
)

// Break is a place in a reach where a change of grade would save digging, or
// cure what a straight pipe cannot.
type Break struct {
	Reach int
	At    unit.Length
	// Saving of the price before rounding, with the break at no price of its own.
	Saving float64
	// To is the verdict with the break; From without any.
	From, To Verdict
}

// touch is how near to its limit, in metres, cover or depth has to come for a
// station to be tried.
const touch = 0.02

// Breaks tries a change of grade at the ground stations between the ends of each
// reach where the cover or the depth is at its limit, one at a time, and returns
// those that save more than least or better the verdict, the best first. Each
// trial is a Solve of the tree with that reach in two.
func (s *Solver) Breaks(p *Problem, least float64) ([]Break, error) {
	var base, r Result
	if err := s.Solve(p, &base); err != nil {
		return nil, err
	}
	var out []Break
	for i := range p.Reaches {
		c := &p.Reaches[i]
		if c.Laid != nil {
			continue
		}
		l := &base.Reaches[i]
		b := &p.Stock[l.Pipe]
		for j := 1; j+1 < len(c.Ground); j++ {
			g := c.Ground[j]
			inv := l.InvertUp - unit.Elevation(float64(l.InvertUp-l.InvertDown)*float64(g.At/c.Length))
			wall := (b.Outside - b.Inside) / 2
			cover := g.Ground.Above(inv) - b.Inside - wall
			depth := g.Ground.Above(inv) + wall + p.Rules.Bedding
			if cover > p.Rules.LeastCover+touch && depth < p.Rules.GreatestDepth-touch {
				continue
			}
			q := split(p, i, j)
			if err := s.Solve(&q, &r); err != nil {
				return nil, err
			}
			saving := base.ExactCost - r.ExactCost
			better := rank(r.Verdict) < rank(base.Verdict)
			if better || r.Verdict == base.Verdict && saving > least {
				out = append(out, Break{Reach: i, At: g.At, Saving: saving, From: base.Verdict, To: r.Verdict})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Break) int {
		switch d := rank(a.To) - rank(b.To); {
		case d != 0:
			return d
		case a.Saving > b.Saving:
			return -1
		case a.Saving < b.Saving:
			return 1
		}
		return 0
	})
	return out, nil
}

// rank orders verdicts from good to bad.
func rank(v Verdict) int { return [...]int{Arrives: 0, Broken: 1, Short: 2}[v] }

// split puts reach i in two at ground station j: the upper part keeps the index
// and what enters, the lower comes last.
func split(p *Problem, i, j int) Problem {
	q := *p
	q.Reaches = append(append(make([]Reach, 0, len(p.Reaches)+1), p.Reaches...), p.Reaches[i])
	up, down := &q.Reaches[i], &q.Reaches[len(p.Reaches)]
	at := p.Reaches[i].Ground[j].At
	up.Down, up.Length, up.ArriveAtMost = len(p.Reaches), at, nil
	up.Ground = p.Reaches[i].Ground[:j+1]
	down.Length -= at
	down.Ground = make([]Station, 0, len(p.Reaches[i].Ground)-j)
	for _, g := range p.Reaches[i].Ground[j:] {
		down.Ground = append(down.Ground, Station{g.At - at, g.Ground})
	}
	down.Ground[len(down.Ground)-1].At = down.Length
	down.Inflow, down.Stated, down.Start, down.Drop, down.Fixed = nil, 0, Start{}, 0, 0
	up.Crossings, down.Crossings = nil, nil
	for _, c := range p.Reaches[i].Crossings {
		if c.At <= at {
			up.Crossings = append(up.Crossings, c)
		} else {
			c.At = min(c.At-at, down.Length)
			down.Crossings = append(down.Crossings, c)
		}
	}
	return q
}
