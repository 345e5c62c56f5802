package profile

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

var five = []Pipe{
	{Inside: 0.1016, Outside: 0.1071, N: 0.012, Price: 0.305},
	{Inside: 0.1524, Outside: 0.1594, N: 0.012, Price: 0.457},
	{Inside: 0.2032, Outside: 0.2134, N: 0.012, Price: 0.610},
	{Inside: 0.254, Outside: 0.2667, N: 0.012, Price: 0.762},
	{Inside: 0.3048, Outside: 0.3175, N: 0.012, Price: 0.914},
}

// neighbourhood is a tree of n reaches: a trunk with laterals, ground that
// falls by grade with 2 cm of noise at every break, about 20 m2 of C·A each.
func neighbourhood(seed uint64, n int, grade, tie float64, row bool) *Problem {
	r := rand.New(rand.NewPCG(seed, 9))
	p := &Problem{Stock: five, Rules: yardRules(), End: End{TieIn: unit.Elevation(tie)}}
	p.Rules.GreatestDepth = 2
	p.Intensity = func(t hydro.Duration) hydro.Intensity {
		return hydro.Intensity(2000 / math.Pow(float64(t)+10, 0.8))
	}
	p.Reaches = make([]Reach, n)
	for i := range p.Reaches {
		c := &p.Reaches[i]
		c.Down = i - 1
		if !row && i > 2 && i%3 == 0 {
			c.Down = max(0, i-3-r.IntN(3))
		}
		end := 100.0
		if c.Down >= 0 {
			end = float64(p.Reaches[c.Down].Ground[0].Ground)
		}
		c.Length = unit.Length(3 + r.Float64()*5)
		up := end + grade*float64(c.Length) + r.NormFloat64()*0.02
		c.Ground = []Station{{0, unit.Elevation(up)}}
		for x := 1.0 + r.Float64(); x < float64(c.Length)-0.2; x += 1 + r.Float64() {
			z := up + (end-up)*x/float64(c.Length) + r.NormFloat64()*0.02
			c.Ground = append(c.Ground, Station{unit.Length(x), unit.Elevation(z)})
		}
		c.Ground = append(c.Ground, Station{c.Length, unit.Elevation(end)})
		c.Inflow = []Inflow{{CA: unit.Area(5 + r.Float64()*15), Tc: 5}, {CA: unit.Area(5 + r.Float64()*20), Tc: 10}}
		c.Count = 1
		c.TrenchPrice, c.DepthPrice = 1, 1.2
		if i%3 != 0 {
			c.Drop = unit.Length(math.Inf(1))
		}
	}
	return p
}

func bench(b *testing.B, p *Problem, want Verdict) {
	s := NewSolver()
	var out Result
	if err := s.Solve(p, &out); err != nil {
		b.Fatal(err)
	}
	if out.Verdict != want {
		b.Fatalf("%v, margin %g, binds %+v, breaches %v", out.Verdict, out.Margin, out.Binds, out.Breaches)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := s.Solve(p, &out); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(out.Rounds), "rounds")
	b.ReportMetric(float64(len(s.labels)), "labels")
	b.ReportMetric(float64(out.Slope)*100, "%slope")
}

// 40 reaches, 5 sizes, flows settled, target slope reached.
func BenchmarkForty(b *testing.B) { bench(b, neighbourhood(1, 40, 0.012, 98.0, false), Arrives) }

// The fall is too little for the target: it has to be shared out. The tie-in
// lies half way between what the target and what the least slope reach.
func BenchmarkFortyShared(b *testing.B) {
	p := neighbourhood(1, 40, 0.004, 90, false)
	p.Rules.GreatestDepth = 3
	at := solve(b, p).Arrival
	p.Rules.TargetSlope = p.Rules.LeastSlope
	low := solve(b, p).Arrival
	p.Rules.TargetSlope = 0.01
	p.End.TieIn = (at + low) / 2
	bench(b, p, Arrives)
}

// Not even the least slope arrives.
func BenchmarkFortyShort(b *testing.B) { bench(b, neighbourhood(1, 40, 0.004, 99.4, false), Short) }

// Every reach in one row.
func BenchmarkFortyInSeries(b *testing.B) { bench(b, neighbourhood(2, 40, 0.011, 98.0, true), Arrives) }

// The peer in the same run: the label search that drops no label, on the same
// trees, turn about. It grows too fast for 40 reaches; the ratio is of the times,
// the answers are held to be one price.
func BenchmarkBesideWithoutDominance(b *testing.B) {
	for _, n := range []int{6, 8, 10} {
		b.Run(fmt.Sprintf("%d_reaches_5_sizes", n), func(b *testing.B) {
			p := neighbourhood(1, n, 0.012, 98.0, false)
			with, without := NewSolver(), NewSolver()
			without.noDominance = true
			var x, y Result
			var fast, slow time.Duration
			for b.Loop() {
				t := time.Now()
				if err := with.Solve(p, &x); err != nil {
					b.Fatal(err)
				}
				fast += time.Since(t)
				t = time.Now()
				if err := without.Solve(p, &y); err != nil {
					b.Fatal(err)
				}
				slow += time.Since(t)
			}
			if math.Abs(x.ExactCost-y.ExactCost) > 1e-9*y.ExactCost {
				b.Fatalf("price %.9f, without dominance %.9f", x.ExactCost, y.ExactCost)
			}
			b.ReportMetric(float64(slow)/float64(fast), "times_slower_peer")
			b.ReportMetric(float64(len(with.labels)), "labels")
			b.ReportMetric(float64(len(without.labels)), "labels_peer")
		})
	}
}
