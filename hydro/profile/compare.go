package profile

// What one changed rule costs: the difference of two results.

import (
	"math"

	"fallwright/geo/unit"
)

// Difference of two results: the second less the first. Sizes, depths and
// slopes of single reaches are compared where both have the same number of
// reaches (the same tree under another rule), and left out otherwise.
type Difference struct {
	From, To Verdict
	Cost     float64
	// Relative is Cost over the cost of the first.
	Relative float64
	Margin   unit.Length
	Slope    unit.Slope // of the flattest reach
	// GreatestDepth is the change of the deepest trench, MeanInvert that of the
	// inverts, up positive, weighed by length.
	GreatestDepth unit.Length
	MeanInvert    unit.Length
	// Reaches that changed, in order; nil where the trees differ.
	Reaches []ReachDifference
	// SameTree says whether reaches could be compared.
	SameTree bool
}

// ReachDifference is a reach whose pipe, inverts or flow changed.
type ReachDifference struct {
	Reach                int
	PipeFrom, PipeTo     int // index of each problem's own stock
	Inside               unit.Length
	InvertUp, InvertDown unit.Length
	Slope                unit.Slope
	Depth                unit.Length
	Flow                 float64 // m3/s
	Cost                 float64
}

// Compare returns what changes from result a of problem p to result b of
// problem q. A reach counts as changed when its pipe is of another inside
// diameter or roughness, an invert moves by a millimetre or more, or its flow
// by a thousandth.
func Compare(p *Problem, a *Result, q *Problem, b *Result) Difference {
	d := Difference{From: a.Verdict, To: b.Verdict, Cost: b.Cost - a.Cost, Margin: b.Margin - a.Margin, Slope: b.Slope - a.Slope}
	if a.Cost != 0 {
		d.Relative = d.Cost / a.Cost
	}
	deepest := func(r *Result) unit.Length {
		v := unit.Length(math.Inf(-1))
		for i := range r.Reaches {
			v = max(v, r.Reaches[i].Depth)
		}
		return v
	}
	if len(a.Reaches) > 0 && len(b.Reaches) > 0 {
		d.GreatestDepth = deepest(b) - deepest(a)
	}
	d.SameTree = len(a.Reaches) == len(b.Reaches) && len(p.Reaches) == len(a.Reaches) && len(q.Reaches) == len(b.Reaches)
	if d.SameTree {
		for i := range p.Reaches {
			d.SameTree = d.SameTree && p.Reaches[i].Down == q.Reaches[i].Down
		}
	}
	if !d.SameTree {
		return d
	}
	var length float64
	for i := range a.Reaches {
		x, y := &a.Reaches[i], &b.Reaches[i]
		s, t := &p.Stock[x.Pipe], &q.Stock[y.Pipe]
		r := ReachDifference{
			Reach: i, PipeFrom: x.Pipe, PipeTo: y.Pipe, Inside: t.Inside - s.Inside,
			InvertUp: y.InvertUp.Above(x.InvertUp), InvertDown: y.InvertDown.Above(x.InvertDown),
			Slope: y.Slope - x.Slope, Depth: y.Depth - x.Depth, Flow: float64(y.Flow - x.Flow), Cost: y.Cost - x.Cost,
		}
		l := float64(q.Reaches[i].Length)
		length += l
		d.MeanInvert += unit.Length(l) * (r.InvertUp + r.InvertDown) / 2
		moved := max(abs(float64(r.InvertUp)), abs(float64(r.InvertDown))) > grid*0.999
		if r.Inside != 0 || s.N != t.N || moved || abs(r.Flow) > 1e-3*float64(x.Flow) {
			d.Reaches = append(d.Reaches, r)
		}
	}
	d.MeanInvert /= unit.Length(length)
	return d
}

// Spare returns how far above the tie-in the lowest root could arrive at most
// with every reach at its least slope: the fall to spare, negative where it is
// short. It is what a sensitivity to levels is measured against. Infinite
// where some reach cannot be laid at all under the rules; then why is the
// verdict of Solve.
func (s *Solver) Spare(p *Problem) (unit.Length, error) {
	q := *p
	q.Rules.TargetSlope = q.Rules.LeastSlope
	var out Result
	if err := s.Solve(&q, &out); err != nil {
		return 0, err
	}
	s.hand = 0
	s.ask(float64(q.Rules.LeastSlope))
	s.levelsOnly = true
	above, _, _ := s.try(&q, strict)
	s.levelsOnly = false
	return unit.Length(above), nil
}
