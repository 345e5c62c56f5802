package profile

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// The same search without dropping any label: on trees too large for every
// choice to be enumerated, dominance must change nothing.
func TestOracleWithoutDominance(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	with, without := NewSolver(), NewSolver()
	without.noDominance = true
	fits := 0
	for c := range 120 {
		stock := smooth[:2]
		if c%3 == 0 {
			stock = smooth
		}
		p := wild(r, 5+r.IntN(8), stock)
		for i := range p.Reaches { // mostly passable, so that the chain is long
			if c%2 == 0 {
				p.Reaches[i].Crossings = nil
				p.Reaches[i].Start, p.Reaches[i].Laid = Start{}, nil
			}
		}
		p.End.TieIn -= 0.4
		p.Rules.GreatestDepth += 0.4
		var a, b Result
		ea, eb := with.Solve(p, &a), without.Solve(p, &b)
		if (ea == nil) != (eb == nil) {
			t.Fatalf("case %d: %v, %v", c, ea, eb)
		}
		if ea != nil {
			continue
		}
		if a.Exact != b.Exact || a.Exact && math.Abs(a.ExactCost-b.ExactCost) > 1e-9*b.ExactCost {
			t.Errorf("case %d: price %.9f (%v), without dominance %.9f (%v)", c, a.ExactCost, a.Exact, b.ExactCost, b.Exact)
		}
		if !a.Exact && math.Abs(float64(a.Margin-b.Margin)) > 1e-6 {
			t.Errorf("case %d: margin %g, without dominance %g", c, a.Margin, b.Margin)
		}
		if a.Exact {
			fits++
		}
	}
	t.Logf("%d fit", fits)
	if fits < 40 {
		t.Errorf("only %d cases fit", fits)
	}
}

// The flow of a reach against every time of arrival tried in turn.
func TestOraclePeak(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	for range 3000 {
		b, c := r.Float64()*20, 0.5+r.Float64()*0.5
		rain := func(t hydro.Duration) hydro.Intensity { return hydro.Intensity(2000 / math.Pow(float64(t)+b, c)) }
		var list []arrival
		for at := 5 * r.Float64(); len(list) < 1+r.IntN(12); {
			if r.IntN(3) > 0 {
				at += r.Float64() * 15
			}
			list = append(list, arrival{at, r.Float64() * 100})
		}
		want := 0.0
		for _, e := range list {
			sum := 0.0
			for _, f := range list {
				if f.t <= e.t {
					sum += f.ca
				}
			}
			want = max(want, sum*float64(rain(hydro.Duration(e.t))))
		}
		var w rainfall
		ca, _, i, err := w.peak(list, rain)
		if err != nil || math.Abs(ca*i-want) > 1e-9*want {
			t.Fatalf("%v: %g, want %g, %v", list, ca*i, want, err)
		}
	}
}

// The share of the fall is the greatest: asked as the least slope of every reach
// a hair less of it arrives, a hair more does not.
func TestOracleShare(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 10))
	s := NewSolver()
	var a, b Result
	shared := 0
	for c := range 3000 {
		p := wild(r, 1+r.IntN(12), smooth)
		p.Rules.TargetSlope = 0.015
		p.Rules.GreatestDepth += 0.4
		if s.Solve(p, &a) != nil || !a.Exact || a.Target || float64(a.Common) > 0.0149 || a.Common < 0.00501 {
			continue
		}
		shared++
		q := *p
		for _, v := range []struct {
			slope unit.Slope
			fits  bool
		}{{a.Common - 1e-6, true}, {a.Common + 5e-4, false}} {
			q.Rules.LeastSlope, q.Rules.TargetSlope = v.slope, v.slope
			if err := s.Solve(&q, &b); err != nil || b.Exact != v.fits {
				t.Fatalf("case %d: common slope %.6f, at %.6f exact is %v (%v), margin %g", c, a.Common, v.slope, b.Exact, err, b.Margin)
			}
		}
		// No reach lies flatter than the share, but for the rounding of all above.
		for i, l := range a.Reaches {
			if p.Reaches[i].Laid == nil && float64(l.Slope) < float64(a.Common)-float64(len(a.Reaches)+2)*grid/float64(p.Reaches[i].Length) {
				t.Fatalf("case %d reach %d: %.6f under the share %.6f", c, i, l.Slope, a.Common)
			}
		}
	}
	t.Logf("%d shared", shared)
	if shared < 40 {
		t.Errorf("only %d cases share", shared)
	}
}

// What is called arriving keeps every rule at every station, looked up here
// anew from the rounded result; and never does water run uphill, whatever the
// verdict.
func TestPropertyRulesHold(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 3))
	s := NewSolver()
	var out Result
	count := map[Verdict]int{}
	for c := range 4000 {
		p := wild(r, 1+r.IntN(25), smooth)
		if c%2 == 0 {
			p.Rules.TargetSlope = 0.01
		}
		if c%4 < 2 {
			p.End.TieIn -= 0.3
			p.Rules.GreatestDepth += 0.5
		}
		if err := s.Solve(p, &out); err != nil {
			continue
		}
		count[out.Verdict]++
		if out.Verdict == Arrives && slices.ContainsFunc(out.Breaches, func(b Breach) bool { return !b.Laid }) {
			t.Fatalf("case %d: arrives with breaches %v", c, out.Breaches)
		}
		if out.Verdict != Arrives && out.Margin >= 0 && len(out.Breaches) == 0 {
			t.Fatalf("case %d: %v without a reason", c, out.Verdict)
		}
		for i, l := range out.Reaches {
			q := &p.Reaches[i]
			if !(l.InvertDown < l.InvertUp) {
				t.Fatalf("case %d reach %d: uphill, %v to %v", c, i, l.InvertUp, l.InvertDown)
			}
			for _, e := range [...]unit.Elevation{l.InvertUp, l.InvertDown} {
				if q.Start.Invert != nil && e == *q.Start.Invert || q.Laid != nil && (e == q.Laid.Up || e == q.Laid.Down) {
					continue
				}
				if mm := float64(e) * 1000; math.Abs(mm-math.Round(mm)) > 1e-6 {
					t.Fatalf("case %d reach %d: invert %v is not on a millimetre", c, i, e)
				}
			}
			if q.Down >= 0 && l.InvertDown < out.Reaches[q.Down].InvertUp {
				t.Fatalf("case %d reach %d: arrives at %v under the next invert %v", c, i, l.InvertDown, out.Reaches[q.Down].InvertUp)
			}
			if out.Verdict != Arrives || q.Laid != nil {
				if out.Verdict == Arrives && (l.InvertUp != q.Laid.Up || l.InvertDown != q.Laid.Down) {
					t.Fatalf("case %d reach %d: laid at %v, moved to %v and %v", c, i, *q.Laid, l.InvertUp, l.InvertDown)
				}
				continue
			}
			pipe := p.Stock[l.Pipe]
			for j, st := range q.Ground {
				inv := l.InvertUp - unit.Elevation(float64(l.InvertUp-l.InvertDown)*float64(st.At/q.Length))
				top := float64(inv) + float64(pipe.Inside+pipe.Outside)/2
				fixed := j == 0 && q.Start.Invert != nil
				if cover := float64(st.Ground) - top; cover < float64(p.Rules.LeastCover)-1e-6 && !fixed {
					t.Fatalf("case %d reach %d station %d: cover %g", c, i, j, cover)
				}
				bottom := float64(inv) - float64(pipe.Outside-pipe.Inside)/2 - float64(p.Rules.Bedding)
				if depth := float64(st.Ground) - bottom; depth > float64(p.Rules.GreatestDepth)+1e-6 && !fixed {
					t.Fatalf("case %d reach %d station %d: depth %g", c, i, j, depth)
				}
			}
			if l.Slope < p.Rules.LeastSlope-1e-9 || l.Slope < l.Floor-1e-9 {
				t.Fatalf("case %d reach %d: slope %g, floor %g", c, i, l.Slope, l.Floor)
			}
			if l.Flow > l.Capacity*(1+1e-6) {
				t.Fatalf("case %d reach %d: flow %g over %g", c, i, l.Flow, l.Capacity)
			}
		}
		if out.Verdict == Arrives && out.Arrival < p.End.TieIn-1e-7 {
			t.Fatalf("case %d: arrives at %g under %g", c, out.Arrival, p.End.TieIn)
		}
	}
	t.Log(count)
	for v := Arrives; v <= Broken; v++ {
		if count[v] < 100 {
			t.Errorf("only %d cases %v", count[v], v)
		}
	}
}

// More fall at hand never costs more, at one slope asked; a lower tie-in never
// makes a profile infeasible; more area never makes it cheaper.
func TestPropertyMonotone(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 4))
	s := NewSolver()
	var a, b Result
	for c := range 600 {
		p := wild(r, 1+r.IntN(12), smooth)
		p.End.AtMost = nil
		p.Rules.GreatestDepth += 0.3
		if s.Solve(p, &a) != nil || !a.Exact {
			continue
		}
		q := *p
		q.End.TieIn -= unit.Elevation(r.Float64() * 0.3)
		if err := s.Solve(&q, &b); err != nil || !b.Exact || b.ExactCost > a.ExactCost*(1+1e-9) {
			t.Fatalf("case %d: tie-in lower by %g: %v, %v, %g over %g", c, p.End.TieIn-q.End.TieIn, err, b.Verdict, b.ExactCost, a.ExactCost)
		}
		q = *p
		q.Reaches = append([]Reach(nil), p.Reaches...)
		q.Reaches[r.IntN(len(q.Reaches))].Stated += hydro.Flow(r.Float64() * 0.003)
		if err := s.Solve(&q, &b); err != nil || b.Exact && b.ExactCost < a.ExactCost*(1-1e-9) {
			t.Fatalf("case %d: more flow: %v, %g under %g", c, err, b.ExactCost, a.ExactCost)
		}
	}
}

// Moving the origin of heights changes nothing but the heights.
func TestPropertyDatum(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 5))
	s := NewSolver()
	var a, b Result
	for c := range 300 {
		p := wild(r, 1+r.IntN(12), smooth)
		for i := range p.Reaches {
			p.Reaches[i].Start = Start{Cover: p.Reaches[i].Start.Cover}
			p.Reaches[i].ArriveAtMost, p.Reaches[i].Laid = nil, nil
		}
		p.End.AtMost = nil
		if s.Solve(p, &a) != nil {
			continue
		}
		p.End.TieIn += 1500
		if p.End.Rim != nil {
			*p.End.Rim += 1500 // a is solved, and its rim not asked for again
		}
		for i := range p.Reaches {
			for j := range p.Reaches[i].Ground {
				p.Reaches[i].Ground[j].Ground += 1500
			}
			for j := range p.Reaches[i].Crossings {
				p.Reaches[i].Crossings[j].Low += 1500
				p.Reaches[i].Crossings[j].High += 1500
			}
		}
		if err := s.Solve(p, &b); err != nil || a.Verdict != b.Verdict || math.Abs(a.ExactCost-b.ExactCost) > 1e-6*a.ExactCost {
			t.Fatalf("case %d: %v %v %.9f, moved %v %.9f, breaches %v", c, err, a.Verdict, a.ExactCost, b.Verdict, b.ExactCost, b.Breaches)
		}
	}
}
