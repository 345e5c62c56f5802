package profile

import (
	"math/rand/v2"
	"testing"
)

// A ditch beside a bank: ground 101.0 at the start, 99.60 at 10 m, 99.50 at 20 m; 4 in
// pipe (0.10435 from invert to outside top), 1 %. Straight: from u at 0 the pipe
// must pass under 99.60 - 0.3048 - 0.10435 = 99.19085 at 10 m and 99.09085 at 20 m.
// The line through both falls 1 % and starts at 99.29085, 1.7 m down: too deep. A
// steeper line is lower at 20 m, and 1.2192 of depth at the start asks
// u = 101 - 1.2192 + 0.05355 = 99.83435 or more: d = 2·99.19085 - 99.83435 = 98.54735.
// With a break at 10 m the end stays at 99.09085 and the start at its cover.
// Tie-in 99.00: straight is short, broken in two it arrives.
func TestHandBreak(t *testing.T) {
	p := &Problem{
		Reaches: []Reach{{Down: Outlet, Length: 20, Ground: []Station{{0, 101}, {10, 99.6}, {20, 99.5}}, Stated: 0.001, Count: 1, TrenchPrice: 1, DepthPrice: 1.2}},
		End:     End{TieIn: 99}, Rules: yardRules(), Stock: smooth[:1],
	}
	r := solve(t, p)
	if r.Verdict == Arrives {
		t.Fatalf("straight: %+v", r)
	}
	b, err := NewSolver().Breaks(p, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	if len(b) != 1 || b[0].Reach != 0 || b[0].At != 10 || b[0].To != Arrives {
		t.Fatalf("%+v", b)
	}
	// With a tie-in at 98.50 the straight pipe arrives too, as high as it can:
	// 98.54735, and 98.50 would be the end of a start 47 mm higher. The break
	// saves digging on both sides: the start rises from 99.834 or more to
	// 101 - 0.40915 = 100.59085, the end from 98.547 to 99.09085.
	p.End.TieIn = 98.5
	r = solve(t, p)
	if r.Verdict != Arrives {
		t.Fatalf("straight, lower tie-in: %+v", r)
	}
	if b, err = NewSolver().Breaks(p, 0.1); err != nil || len(b) != 1 {
		t.Fatalf("%+v, %v", b, err)
	}
	// u + d of the straight pipe is 2·99.19085 wherever it turns about 10 m; in
	// two: 10 m with ends 100.59085 and 99.19085, 10 m with 99.19085 and 99.09085.
	straight := 2 * 99.19085 * 20 / 2
	inTwo := (100.59085+99.19085)*10/2 + (99.19085+99.09085)*10/2
	near1(t, "saving", b[0].Saving, 1.2*(inTwo-straight), 1e-6)
}

// A change of grade at any station never costs more, and never loses what
// arrives: the straight pipe is one of its ways.
func TestPropertyBreak(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 11))
	s := NewSolver()
	var a, b Result
	tried := 0
	for range 1500 {
		p := wild(r, 1+r.IntN(6), smooth)
		p.Rules.GreatestDepth += 0.3
		if s.Solve(p, &a) != nil || !a.Exact {
			continue
		}
		i := r.IntN(len(p.Reaches))
		if n := len(p.Reaches[i].Ground); n > 2 && p.Reaches[i].Laid == nil {
			q := split(p, i, 1+r.IntN(n-2))
			if err := s.Solve(&q, &b); err != nil || !b.Exact || b.ExactCost > a.ExactCost*(1+1e-9) {
				t.Fatalf("in two: %v, exact %v, %.9f over %.9f", err, b.Exact, b.ExactCost, a.ExactCost)
			}
			tried++
		}
	}
	if tried < 100 {
		t.Errorf("only %d tried", tried)
	}
}
