package profile

// Two pipes in one trench: a sealed solid line for the roofs and a perforated
// line for the ground, each with its own inverts and flow, coupled by a rule of
// levels; where the two may join, and what a join does to both.
//
// The solid line lies at or above the perforated one (P-105), so that ground
// water is drained before it touches the solid pipe. The solid line is laid
// first, as high as its rules let it; the perforated line then has it for a
// ceiling. Where the perforated line cannot arrive, the fall of both is thinned
// together: the greatest target between the least slope and the rules' at which
// both arrive. That order loses nothing where the solid line's highest profile
// is also its cheapest, which it is but for a dip under a straight pipe.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Abreast says how two pipes lie in a trench.
type Abreast uint8

const (
	// SideBySide: the invert of the solid pipe at or above the perforated
	// one's, by Pair.Gap or more.
	SideBySide Abreast = iota
	// Stacked: the outside bottom of the solid pipe above the outside top of
	// the perforated one, by Pair.Gap or more.
	Stacked
)

// Pair is two trees that share trenches. Both have the same rules of depth and
// the same datum; each is a Problem of its own with its own flows, stock and
// outlet.
type Pair struct {
	Solid, Perforated Problem
	// Shared gives for each perforated reach the solid reach in the same trench,
	// end to end, or Outlet where it lies alone. Split reaches so that they
	// coincide.
	Shared []int
	Lie    Abreast
	Gap    unit.Length
}

// PairResult is a Pair laid. The price of a shared trench is counted once, for
// the deeper pipe.
type PairResult struct {
	Solid, Perforated Result
	Verdict           Verdict
	Cost              float64
	// Target is the target slope that both were given: the rules', or less where
	// the fall had to be thinned.
	Target unit.Slope
	// Gap is the least height of the solid above the perforated pipe (as Lie
	// says) and where: a perforated reach and a station, -1 where no trench is
	// shared.
	Gap      unit.Length
	GapReach int
	GapAt    unit.Length
}

func (q *Pair) check() error {
	if len(q.Shared) != len(q.Perforated.Reaches) {
		return fmt.Errorf("hydro/profile: %d perforated reaches and %d shares", len(q.Perforated.Reaches), len(q.Shared))
	}
	if !(q.Gap >= 0 && q.Gap < 10) {
		return bad("gap between two pipes", float64(q.Gap), 0, 10, "m")
	}
	if q.Lie > Stacked {
		return fmt.Errorf("hydro/profile: unknown way for two pipes to lie: %d", q.Lie)
	}
	taken := make(map[int]int)
	for i, j := range q.Shared {
		if j == Outlet {
			continue
		}
		if j < 0 || j >= len(q.Solid.Reaches) {
			return fmt.Errorf("hydro/profile: perforated reach %d shares a trench with solid reach %d, there are %d", i, j, len(q.Solid.Reaches))
		}
		if o, ok := taken[j]; ok {
			return fmt.Errorf("hydro/profile: perforated reaches %d and %d both share the trench of solid reach %d; give one reach a count of 2", o, i, j)
		}
		taken[j] = i
		if a, b := q.Perforated.Reaches[i].Length, q.Solid.Reaches[j].Length; math.Abs(float64(a-b)) > 1e-3 {
			return fmt.Errorf("hydro/profile: perforated reach %d is %g m long, solid reach %d in the same trench %g m; split them alike", i, float64(a), j, float64(b))
		}
	}
	return nil
}

// SolvePair lays both lines. The error is one of the problem as put; a pair
// that cannot be laid is a verdict, with the reasons in the two results.
func (s *Solver) SolvePair(q *Pair, out *PairResult) error {
	if err := q.check(); err != nil {
		return err
	}
	least := max(q.Solid.Rules.LeastSlope, q.Perforated.Rules.LeastSlope)
	target := max(q.Solid.Rules.TargetSlope, q.Perforated.Rules.TargetSlope, least)
	try := func(v unit.Slope) error {
		out.Target = v
		return s.layPair(q, v, out)
	}
	if err := try(target); err != nil {
		return err
	}
	if out.Verdict == Arrives && out.Solid.Target && out.Perforated.Target || target == least {
		return nil
	}
	if err := try(least); err != nil {
		return err
	}
	if out.Verdict != Arrives {
		return nil
	}
	lo, hi := least, target
	for hi-lo > 2e-5 {
		if err := try((lo + hi) / 2); err != nil {
			return err
		}
		// Each line must have the slope asked, not a share of it.
		if out.Verdict == Arrives && out.Solid.Target && out.Perforated.Target {
			lo = out.Target
		} else {
			hi = out.Target
		}
	}
	return try(lo)
}

// layPair lays both lines with one target slope.
func (s *Solver) layPair(q *Pair, target unit.Slope, out *PairResult) error {
	solid := q.Solid
	solid.Rules.TargetSlope = max(target, solid.Rules.LeastSlope)
	if err := s.Solve(&solid, &out.Solid); err != nil {
		return fmt.Errorf("solid line: %w", err)
	}
	perf := q.under(&out.Solid)
	perf.Rules.TargetSlope = max(target, perf.Rules.LeastSlope)
	if err := s.Solve(&perf, &out.Perforated); err != nil {
		return fmt.Errorf("perforated line: %w", err)
	}
	out.Verdict = max(out.Solid.Verdict, out.Perforated.Verdict)
	if out.Solid.Verdict == Short || out.Perforated.Verdict == Short {
		out.Verdict = Short
	}
	out.Gap, out.GapReach, out.GapAt = unit.Length(math.Inf(1)), -1, 0
	out.Cost = out.Solid.Cost + out.Perforated.Cost
	for i, j := range q.Shared {
		if j == Outlet {
			continue
		}
		a, b := &out.Solid.Reaches[j], &out.Perforated.Reaches[i]
		above := q.height(a.Pipe, b.Pipe)
		length := q.Perforated.Reaches[i].Length
		for _, e := range [...]struct {
			at  unit.Length
			gap unit.Length
		}{{0, a.InvertUp.Above(b.InvertUp) - above}, {length, a.InvertDown.Above(b.InvertDown) - above}} {
			if e.gap < out.Gap {
				out.Gap, out.GapReach, out.GapAt = e.gap, i, e.at
			}
		}
		// One trench: take out that of the shallower pipe.
		out.Cost -= min(trenchCost(&q.Solid, j, a), trenchCost(&q.Perforated, i, b))
	}
	if out.GapReach < 0 {
		out.Gap = 0
	}
	return nil
}

// height is how far the invert of solid pipe a stands above that of perforated
// pipe b when the gap between them is zero.
func (q *Pair) height(a, b int) unit.Length {
	if q.Lie == SideBySide {
		return 0
	}
	s, p := &q.Solid.Stock[a], &q.Perforated.Stock[b]
	return p.Inside + (p.Outside-p.Inside)/2 + (s.Outside-s.Inside)/2
}

// under is the perforated problem with the solid line laid above it.
func (q *Pair) under(solid *Result) Problem {
	perf := q.Perforated
	perf.Reaches = append([]Reach(nil), perf.Reaches...)
	for i, j := range q.Shared {
		if j == Outlet {
			continue
		}
		r, a := &perf.Reaches[i], &solid.Reaches[j]
		if q.Lie == Stacked {
			s := &q.Solid.Stock[a.Pipe]
			wall := (s.Outside - s.Inside) / 2
			up, down := a.InvertUp.Plus(-wall-q.Gap), a.InvertDown.Plus(-wall-q.Gap)
			r.Crossings = append(append([]Crossing(nil), r.Crossings...),
				Crossing{At: 0, Low: up, High: up, Pass: Under},
				Crossing{At: r.Length, Low: down, High: down, Pass: Under})
			continue
		}
		lower := func(have *unit.Elevation, v unit.Elevation) *unit.Elevation {
			if have != nil && *have < v {
				return have
			}
			return &v
		}
		r.Start.AtMost = lower(r.Start.AtMost, a.InvertUp.Plus(-q.Gap))
		r.ArriveAtMost = lower(r.ArriveAtMost, a.InvertDown.Plus(-q.Gap))
	}
	return perf
}

// trenchCost is the part of a reach's price that a second pipe in the trench
// does not pay again.
func trenchCost(p *Problem, i int, l *Laid) float64 {
	r := &p.Reaches[i]
	s := &p.Stock[l.Pipe]
	var area float64
	for j := 1; j < len(r.Ground); j++ {
		a, b := r.Ground[j-1], r.Ground[j]
		area += float64(b.At-a.At) * float64(a.Ground+b.Ground) / 2
	}
	length := float64(r.Length)
	mean := area/length - float64(l.InvertUp+l.InvertDown)/2 + float64(s.Outside-s.Inside)/2 + float64(p.Rules.Bedding)
	return length * (r.TrenchPrice + r.DepthPrice*mean)
}

// Joining is what becomes of both lines when the perforated line ends in the
// solid line instead of at its own outlet.
type Joining struct {
	// After is the perforated reach that is the last of its own; it runs into
	// solid reach Into, in a basin at the upper end of that.
	After, Into int
	Verdict     Verdict
	Margin      unit.Length
	// Lowered is how far the solid line lies lower below the basin than alone.
	Lowered unit.Length
	// Flow below the basin over that of the solid line alone, at the design
	// storm, m3/s more.
	Added hydro.Flow
	// Stands is how deep water stands above the arriving perforated invert at
	// the design flow of the pipe that leaves the basin (uniform flow): roof
	// water that would run back into the stone. 0 or less: none.
	Stands unit.Length
	Cost   float64
	Result Result
}

// Joins tries every place where the perforated line could run into the solid
// line beside it: the lower ends of shared reaches whose solid reach runs on.
// The pair must have been laid. Only joins that arrive with every rule kept
// have Verdict Arrives; which of those may be built is the caller's to say:
// one with Stands above zero needs a valve on the perforated branch (P-110).
func (s *Solver) Joins(q *Pair, laid *PairResult) ([]Joining, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	if len(laid.Solid.Reaches) != len(q.Solid.Reaches) || len(laid.Perforated.Reaches) != len(q.Perforated.Reaches) {
		return nil, fmt.Errorf("hydro/profile: the pair has not been laid")
	}
	var out []Joining
	for i, j := range q.Shared {
		if j == Outlet || q.Solid.Reaches[j].Down == Outlet {
			continue
		}
		p := q.joined(i, q.Solid.Reaches[j].Down, &laid.Solid)
		g := Joining{After: i, Into: q.Solid.Reaches[j].Down}
		if err := s.Solve(&p, &g.Result); err != nil {
			// A perforated pipe wider than the solid stock, say: no join here.
			g.Verdict = Broken
			out = append(out, g)
			continue
		}
		r, alone := &g.Result.Reaches[g.Into], &laid.Solid.Reaches[g.Into]
		last := &g.Result.Reaches[len(q.Solid.Reaches)+position(q, i)]
		g.Verdict, g.Margin, g.Cost = g.Result.Verdict, g.Result.Margin, g.Result.Cost
		g.Lowered = alone.InvertUp.Above(r.InvertUp)
		g.Added = r.Flow - alone.Flow
		level := r.InvertUp.Plus(unit.Length(r.Fill) * p.Stock[r.Pipe].Inside)
		g.Stands = level.Above(last.InvertDown)
		out = append(out, g)
	}
	return out, nil
}

// above lists the perforated reaches that drain through reach i, itself
// included, in their own order.
func (q *Pair) above(i int) []int {
	var list []int
	for k := range q.Perforated.Reaches {
		for x := k; x != Outlet; x = q.Perforated.Reaches[x].Down {
			if x == i {
				list = append(list, k)
				break
			}
		}
	}
	return list
}

func position(q *Pair, i int) int {
	for n, k := range q.above(i) {
		if k == i {
			return n
		}
	}
	return -1
}

// joined is one tree of the solid line and the perforated reaches above and
// including i, which runs into solid reach into. The solid line above the
// basin is held under nothing; the perforated line is held under the solid
// line as laid alone.
func (q *Pair) joined(i, into int, solid *Result) Problem {
	perf := q.under(solid)
	p := q.Solid
	p.Stock = nil
	// One stock, by inside diameter: solid pipes and perforated pipes, each
	// reach held to its own.
	ofSolid, ofPerf := make([]int, len(q.Solid.Stock)), make([]int, len(q.Perforated.Stock))
	a, b := 0, 0
	for a < len(q.Solid.Stock) || b < len(q.Perforated.Stock) {
		if b >= len(q.Perforated.Stock) || a < len(q.Solid.Stock) && q.Solid.Stock[a].Inside <= q.Perforated.Stock[b].Inside {
			ofSolid[a] = len(p.Stock)
			p.Stock = append(p.Stock, q.Solid.Stock[a])
			a++
		} else {
			ofPerf[b] = len(p.Stock)
			p.Stock = append(p.Stock, q.Perforated.Stock[b])
			b++
		}
	}
	pick := func(own []int, of []int) []int {
		if own == nil {
			return of
		}
		list := make([]int, len(own))
		for n, k := range own {
			list[n] = of[k]
		}
		return list
	}
	p.Reaches = append([]Reach(nil), q.Solid.Reaches...)
	for k := range p.Reaches {
		p.Reaches[k].Pipes = pick(p.Reaches[k].Pipes, ofSolid)
	}
	p.Reaches[into].Drop = unit.Length(math.Inf(1)) // a basin
	if p.Intensity == nil {
		p.Intensity = q.Perforated.Intensity
	}
	above := q.above(i)
	at := make(map[int]int)
	for n, k := range above {
		at[k] = len(q.Solid.Reaches) + n
	}
	for _, k := range above {
		r := perf.Reaches[k]
		r.Pipes = pick(r.Pipes, ofPerf)
		if k == i {
			r.Down = into
		} else {
			r.Down = at[r.Down]
		}
		p.Reaches = append(p.Reaches, r)
	}
	return p
}
