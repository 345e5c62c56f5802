package profile

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"fallwright/geo/unit"
)

var perforated = []Pipe{{Inside: 0.1016, Outside: 0.1071, N: 0.012, Price: 0.305}, {Inside: 0.1524, Outside: 0.1594, N: 0.012, Price: 0.457}}

// twoLines is a solid and a perforated line in two shared reaches of 20 m on
// level ground at 100.
func twoLines(tie float64) *Pair {
	reaches := func(ground bool) []Reach {
		return []Reach{
			{Down: 1, Length: 20, Ground: ramp(20, 100, 100), Count: 1, TrenchPrice: 1, DepthPrice: 1.2, GroundWater: ground},
			{Down: Outlet, Length: 20, Ground: ramp(20, 100, 100), Count: 1, TrenchPrice: 1, DepthPrice: 1.2, GroundWater: ground},
		}
	}
	q := &Pair{
		Solid:      Problem{Reaches: reaches(false), End: End{TieIn: unit.Elevation(tie)}, Rules: yardRules(), Stock: smooth},
		Perforated: Problem{Reaches: reaches(true), End: End{TieIn: unit.Elevation(tie)}, Rules: yardRules(), Stock: perforated},
		Shared:     []int{0, 1},
	}
	q.Solid.Reaches[0].Stated = 0.002
	q.Perforated.Reaches[0].Stated = 0.0002
	return q
}

// Side by side with 50 mm between the inverts:
//
//	solid       99.590, 99.390, 99.190 (as in TestHandOneRun, 1 %)
//	perforated  99.540, 99.340, 99.140
//	deepest     100 - (99.140 - 0.00275 - 0.0508) = 0.91355
//	price       both alone less one trench, the solid's:
//	            solid trench 40·(1 + 1.2·mean), mean depth 100 - 99.390 + 0.05355 = 0.66355
//
// Stacked with 50 mm of stone: 0.1016 + 2·0.00275 + 0.05 = 0.1571 under it: 99.4329,
// rounded down 99.432.
func TestHandPair(t *testing.T) {
	q := twoLines(99)
	q.Gap = 0.05
	var out PairResult
	if err := NewSolver().SolvePair(q, &out); err != nil {
		t.Fatal(err)
	}
	if out.Verdict != Arrives || out.Target != 0.01 {
		t.Fatalf("%+v", out)
	}
	near1(t, "solid", float64(out.Solid.Reaches[0].InvertUp), 99.590, 1e-9)
	near1(t, "perforated up", float64(out.Perforated.Reaches[0].InvertUp), 99.540, 1e-9)
	near1(t, "perforated down", float64(out.Perforated.Reaches[1].InvertDown), 99.140, 1e-9)
	near1(t, "depth", float64(out.Perforated.Reaches[1].Depth), 0.91355, 1e-9)
	near1(t, "gap", float64(out.Gap), 0.05, 1e-9)
	near1(t, "cost", out.Cost, out.Solid.Cost+out.Perforated.Cost-40*(1+1.2*0.66355), 1e-9)
	q.Lie = Stacked
	if err := NewSolver().SolvePair(q, &out); err != nil {
		t.Fatal(err)
	}
	near1(t, "stacked", float64(out.Perforated.Reaches[0].InvertUp), 99.432, 1e-9)
	near1(t, "gap of stone", float64(out.Gap), 0.0509, 1e-9)
}

// Tie-in at 99.200. Side by side with 50 mm: the perforated line starts at
// 99.540 and falls 0.34 over 40 m: 0.85 %, and the solid line with it.
// Tie-in at 99.40: even 0.5 % brings it to 99.340 only: 60 mm short, though the
// solid line alone would arrive at 99.390, also short.
func TestHandPairThinned(t *testing.T) {
	q := twoLines(99.2)
	q.Gap = 0.05
	var out PairResult
	if err := NewSolver().SolvePair(q, &out); err != nil {
		t.Fatal(err)
	}
	if out.Verdict != Arrives {
		t.Fatalf("%+v", out)
	}
	near1(t, "slope of both", float64(out.Target), 0.0085, 1e-4)
	near1(t, "perforated arrives", float64(out.Perforated.Arrival), 99.2, 2e-3)
	if out.Gap < 0.05-1e-9 {
		t.Errorf("gap %g", out.Gap)
	}
	q.Solid.End.TieIn, q.Perforated.End.TieIn = 99.4, 99.4
	if err := NewSolver().SolvePair(q, &out); err != nil {
		t.Fatal(err)
	}
	if out.Verdict != Short {
		t.Fatalf("%+v", out)
	}
	near1(t, "short by", float64(out.Perforated.Margin), -0.060, 1e-9)
}

// Join after the first 20 m: the perforated line arrives in the basin at
// 99.340, so the solid line goes on from 99.340, 50 mm lower than alone. The
// solid pipe there carries 2.2 l/s of 5.8: depth 0.43 of 0.1016 = 0.043 m of
// water above its invert, which stands in the perforated pipe.
func TestHandJoin(t *testing.T) {
	q := twoLines(99)
	q.Gap = 0.05
	s := NewSolver()
	var out PairResult
	if err := s.SolvePair(q, &out); err != nil {
		t.Fatal(err)
	}
	joins, err := s.Joins(q, &out)
	if err != nil {
		t.Fatal(err)
	}
	if len(joins) != 1 || joins[0].Verdict != Arrives || joins[0].After != 0 || joins[0].Into != 1 {
		t.Fatalf("%+v", joins)
	}
	g := joins[0]
	near1(t, "lowered", float64(g.Lowered), 0.05, 1e-9)
	near1(t, "added", float64(g.Added), 0.0002, 1e-12)
	near1(t, "stands", float64(g.Stands), 0.043, 0.001)
	near1(t, "margin", float64(g.Margin), 0.14, 1e-9)
}

// Whatever two lines share a trench, the perforated pipe never lies above the
// solid one where the pair is said to arrive, and each keeps its own rules.
func TestPropertyPair(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 9))
	s := NewSolver()
	var out PairResult
	arrives := 0
	for c := range 400 {
		p := wild(r, 1+r.IntN(8), smooth)
		p.Rules.TargetSlope = 0.01
		p.Rules.GreatestDepth += 0.6
		p.Rules.GreatestSlope = 0
		p.End.TieIn -= 0.3
		p.End.AtMost = nil
		for i := range p.Reaches {
			p.Reaches[i].Crossings, p.Reaches[i].Start, p.Reaches[i].Pipes, p.Reaches[i].Count, p.Reaches[i].ArriveAtMost, p.Reaches[i].Laid = nil, Start{}, nil, 1, nil, nil
		}
		q := &Pair{Solid: *p, Perforated: *p, Gap: unit.Length(r.Float64() * 0.1), Lie: Abreast(r.IntN(2))}
		q.Perforated.Reaches = append([]Reach(nil), p.Reaches...)
		for i := range q.Perforated.Reaches {
			q.Perforated.Reaches[i].Stated = 0.0001
			share := i
			if r.IntN(4) == 0 {
				share = Outlet
			}
			q.Shared = append(q.Shared, share)
		}
		if err := s.SolvePair(q, &out); err != nil {
			t.Fatal(err)
		}
		joins, err := s.Joins(q, &out)
		if err != nil {
			t.Fatal(err)
		}
		for _, g := range joins {
			if math.IsNaN(float64(g.Stands)) || g.Verdict == Arrives && (g.Margin < 0 || g.Added < -1e-12) {
				t.Fatalf("case %d: join %+v", c, g)
			}
		}
		if out.Verdict != Arrives {
			continue
		}
		arrives++
		if out.GapReach >= 0 && out.Gap < q.Gap-1e-9 {
			t.Fatalf("case %d: gap %g, wanted %g", c, out.Gap, q.Gap)
		}
		if out.Solid.Margin < 0 || out.Perforated.Margin < 0 || math.IsNaN(out.Cost) {
			t.Fatalf("case %d: %+v", c, out)
		}
	}
	if arrives < 60 {
		t.Errorf("only %d pairs arrive", arrives)
	}
}

func TestHostilePair(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*Pair)
		text  string
	}{
		{"shares missing", func(q *Pair) { q.Shared = q.Shared[:1] }, "1 shares"},
		{"shares nowhere", func(q *Pair) { q.Shared[1] = 9 }, "solid reach 9"},
		{"two in one", func(q *Pair) { q.Shared[1] = 0 }, "both share"},
		{"other length", func(q *Pair) { q.Solid.Reaches[1].Length = 30 }, "split them alike"},
		{"gap NaN", func(q *Pair) { q.Gap = unit.Length(math.NaN()) }, "gap"},
		{"solid spoilt", func(q *Pair) { q.Solid.Stock = nil }, "solid line"},
		{"perforated spoilt", func(q *Pair) { q.Perforated.Stock = nil }, "perforated line"},
	} {
		q := twoLines(99)
		c.spoil(q)
		var out PairResult
		if err := NewSolver().SolvePair(q, &out); err == nil || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: %v does not say %q", c.name, err, c.text)
		}
	}
}
