package route

import (
	"errors"
	"math"
	"math/rand"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

func rect(x0, y0, x1, y1 float64) orb.Ring {
	return orb.Ring{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}}
}

func solved(t *testing.T, p *Problem) *Tree {
	t.Helper()
	r, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	if r.Best == nil || len(r.Unreached) > 0 {
		t.Fatalf("not solved: %+v, unreached %+v", r.Alternatives, r.Unreached)
	}
	if bad := Check(p, r.Best); len(bad) > 0 {
		t.Fatalf("breaks rules: %v", bad)
	}
	return r.Best
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol {
		t.Errorf("%s: got %.9f, want %.9f", what, got, want)
	}
}

func TestHandOneSource(t *testing.T) {
	// straight across an open yard: 3-4-5 triangle times 4
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 30, 30)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{2, 3}}}, Targets: []Target{{ID: "t", At: orb.Point{14, 19}}}}
	tr := solved(t, p)
	near(t, "length", float64(tr.Length), 20, 1e-9)
	near(t, "cost", tr.Cost, 20*1.7+12, 1e-9)
	if len(tr.Runs) != 1 || tr.Runs[0].TieIn {
		t.Errorf("want one run inside the zone, got %+v", tr.Runs)
	}
}

func TestHandLateral(t *testing.T) {
	// A trunk 20 m long and a source 5 m beside its middle. Square with a stub:
	// stub of 0.3048 m at 45 degrees spans 0.21553 m, so the lateral is
	// 5 - 0.21553 + 0.3048 = 5.08927 m with one bend and a wye. Slanting all the
	// way it would be 5 sqrt 2 = 7.07 m. At 1.7 a metre the bend (0.3) pays.
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 30, 30)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{2, 2}}, {ID: "b", At: orb.Point{12, 7}}}, Targets: []Target{{ID: "t", At: orb.Point{22, 2}}}}
	// keep the trunk where it is: nothing may lie between it and the source
	p.Zone[0] = append(p.Zone[0], rect(0.5, 2.001, 11, 6), rect(13, 2.001, 21.5, 6))
	tr := solved(t, p)
	stub := 0.3048
	lateral := 5 - stub*math.Sqrt2/2 + stub
	near(t, "length", float64(tr.Length), 20+lateral, 1e-6)
	near(t, "cost", tr.Cost, 1.7*(20+lateral)+12+0.3+0.8, 1e-6)
}

func TestHandTieInAndLeadOff(t *testing.T) {
	// A downspout at a wall 1 m from the zone, an inlet 2 m beyond it, both on one
	// line: lead-off 1 m, run 8 m, last run 2 m.
	lot := orb.MultiPolygon{{rect(-5, -5, 20, 20)}}
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 10, 8)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "d", At: orb.Point{5, -1}, LeadOff: true, LeadOffWithin: lot}},
		Targets: []Target{{ID: "i", At: orb.Point{5, 10}, Reach: 3, LastRunWithin: lot}}}
	tr := solved(t, p)
	near(t, "length", float64(tr.Length), 11, 1e-9)
	if len(tr.Runs) != 3 || !tr.Runs[0].LeadOff || !tr.Runs[2].TieIn {
		t.Errorf("want lead-off, run, tie-in, got %+v", tr.Runs)
	}
}

// TestPropertyRulesHold solves seeded lots and holds every rule on the tree, and
// the zone once more by sampling against the exact predicate.
func TestPropertyRulesHold(t *testing.T) {
	for seed := int64(1); seed <= 120; seed++ {
		l := newLot(seed, 1+int(seed%8))
		tr := solved(t, &l.problem)
		for i, r := range tr.Runs {
			if r.LeadOff || r.TieIn {
				continue
			}
			ln := tr.Line(i)
			for k := range 101 {
				q := lerp(ln[0], ln[1], float64(k)/100)
				if shape.Locate(q, l.problem.Zone) == shape.Outside {
					if _, off := newField(l.problem.Zone, orb.Point{}).nearest(q); off > 1e-6 {
						t.Fatalf("lot %d: run %d is %g m outside at %v", seed, i, off, q)
					}
				}
			}
		}
	}
}

// moved returns the problem with every position put through f.
func moved(p Problem, f func(orb.Point) orb.Point) Problem {
	mp := func(m orb.MultiPolygon) orb.MultiPolygon {
		var out orb.MultiPolygon
		for _, poly := range m {
			var q orb.Polygon
			for _, r := range poly {
				var s orb.Ring
				for _, pt := range r {
					s = append(s, f(pt))
				}
				q = append(q, s)
			}
			out = append(out, q)
		}
		return out
	}
	q := p
	q.Zone = mp(p.Zone)
	q.Sources = append([]Source(nil), p.Sources...)
	for i := range q.Sources {
		q.Sources[i].At = f(q.Sources[i].At)
		q.Sources[i].LeadOffWithin = mp(q.Sources[i].LeadOffWithin)
	}
	q.Targets = append([]Target(nil), p.Targets...)
	for i := range q.Targets {
		q.Targets[i].At = f(q.Targets[i].At)
		q.Targets[i].LastRunWithin = mp(q.Targets[i].LastRunWithin)
	}
	q.Regions = append([]Region(nil), p.Regions...)
	for i := range q.Regions {
		q.Regions[i].Shape = mp(q.Regions[i].Shape)
	}
	return q
}

func TestPropertyMoveChangesNothing(t *testing.T) {
	sin, cos := math.Sincos(0.7)
	ways := map[string]struct {
		f   func(orb.Point) orb.Point
		tol float64
	}{
		"shift": {func(p orb.Point) orb.Point { return orb.Point{p[0] + 300, p[1] - 200} }, 1e-6},
		"far":   {func(p orb.Point) orb.Point { return orb.Point{p[0] + 4e6, p[1] + 4e6} }, 1e-5},
		"turn":  {func(p orb.Point) orb.Point { return orb.Point{p[0]*cos - p[1]*sin, p[0]*sin + p[1]*cos} }, 1e-5},
		"flip":  {func(p orb.Point) orb.Point { return orb.Point{-p[0], p[1]} }, 1e-5},
	}
	for seed := int64(1); seed <= 25; seed++ {
		l := newLot(seed, 6)
		want := solved(t, &l.problem).Cost
		for name, w := range ways {
			q := moved(l.problem, w.f)
			if got := solved(t, &q).Cost; math.Abs(got-want) > w.tol {
				t.Errorf("lot %d, %s: cost %.9f, was %.9f", seed, name, got, want)
			}
		}
	}
}

func TestPropertyRepeats(t *testing.T) {
	l := newLot(3, 8)
	a, b := solved(t, &l.problem), solved(t, &l.problem)
	if len(a.Nodes) != len(b.Nodes) {
		t.Fatal("two solves differ")
	}
	for i := range a.Nodes {
		if a.Nodes[i] != b.Nodes[i] {
			t.Fatalf("node %d: %v and %v", i, a.Nodes[i], b.Nodes[i])
		}
	}
}

// TestOracleClear compares the segment test with samples placed exactly.
func TestOracleClear(t *testing.T) {
	r := rand.New(rand.NewSource(7))
	for seed := int64(1); seed <= 10; seed++ {
		l := newLot(seed, 2)
		f := newField(l.problem.Zone, orb.Point{})
		b := l.problem.Zone.Bound()
		pick := func() orb.Point {
			switch r.Intn(3) {
			case 0:
				return f.edges[r.Intn(len(f.edges))].p
			case 1:
				e := f.edges[r.Intn(len(f.edges))]
				return lerp(e.p, e.q, r.Float64())
			}
			return orb.Point{b.Min[0] + r.Float64()*(b.Max[0]-b.Min[0]), b.Min[1] + r.Float64()*(b.Max[1]-b.Min[1])}
		}
		for range 250 {
			p, q := pick(), pick()
			worst := 0.0
			for k := range 401 {
				s := lerp(p, q, float64(k)/400)
				if shape.Locate(s, l.problem.Zone) != shape.Outside {
					continue
				}
				_, off := slowNearest(s, l.problem.Zone)
				worst = math.Max(worst, off)
			}
			if got := f.clear(p, q); got && worst > 1e-6 || !got && worst == 0 && !grazes(f, p, q) {
				t.Errorf("lot %d: clear(%v, %v) = %v, worst sample %g m outside", seed, p, q, got, worst)
			}
		}
	}
}

// grazes tells whether a segment leaves the zone between two samples only.
func grazes(f *field, p, q orb.Point) bool {
	ts, _ := f.cuts(p, q, true, nil)
	ts = append(ts, 0, dist(p, q))
	for i := range ts {
		for j := range i {
			if math.Abs(ts[i]-ts[j]) < dist(p, q)/200 {
				return true
			}
		}
	}
	return false
}

func slowNearest(p orb.Point, mp orb.MultiPolygon) (orb.Point, float64) {
	best, at := math.Inf(1), p
	for _, poly := range mp {
		for _, ring := range poly {
			d, q := shape.PointLine(p, orb.LineString(ring))
			if float64(d) < best {
				best, at = float64(d), q
			}
		}
	}
	return at, best
}

// TestOracleShortestWay compares with Dijkstra over a dense grid with moves to
// all cells within three steps: never shorter than the way, at most 3 % longer.
func TestOracleShortestWay(t *testing.T) {
	r := rand.New(rand.NewSource(11))
	for seed := int64(1); seed <= 6; seed++ {
		l := newLot(seed, 2)
		f := newField(l.problem.Zone, orb.Point{})
		g := newGrid(f, l.problem.Zone.Bound(), 0.4)
		for range 3 {
			i, j := g.in[r.Intn(len(g.in))], g.in[r.Intn(len(g.in))]
			want := g.from(i)[j]
			line, got, ok := ShortestWay(l.problem.Zone, g.at(i), g.at(j))
			if ok != !math.IsInf(want, 1) {
				t.Fatalf("lot %d: reachable %v, grid says %g", seed, ok, want)
			}
			if !ok {
				continue
			}
			near(t, "length of the line", float64(shape.Length(line)), float64(got), 1e-9)
			if float64(got) > want+1e-9 || want > float64(got)*1.03+0.05 {
				t.Errorf("lot %d: way %.4f m, grid %.4f m", seed, got, want)
			}
		}
	}
}

// grid is the slow twin of the visibility graph.
type grid struct {
	f    *field
	lo   orb.Point
	n, m int
	d    float64
	ok   []bool
	in   []int
}

func newGrid(f *field, b orb.Bound, d float64) *grid {
	g := &grid{f: f, lo: b.Min, d: d, n: int((b.Max[0]-b.Min[0])/d) + 1, m: int((b.Max[1]-b.Min[1])/d) + 1}
	g.ok = make([]bool, g.n*g.m)
	for i := range g.ok {
		if g.ok[i] = f.holds(g.at(i)); g.ok[i] {
			g.in = append(g.in, i)
		}
	}
	return g
}

func (g *grid) at(i int) orb.Point {
	return orb.Point{g.lo[0] + g.d*float64(i%g.n), g.lo[1] + g.d*float64(i/g.n)}
}

func (g *grid) from(start int) []float64 {
	c := make([]float64, len(g.ok))
	for i := range c {
		c[i] = math.Inf(1)
	}
	c[start] = 0
	q := queue{{start, 0}}
	for len(q) > 0 {
		it := q.pop()
		if it.cost > c[it.spot] {
			continue
		}
		x, y := it.spot%g.n, it.spot/g.n
		for dy := -3; dy <= 3; dy++ {
			for dx := -3; dx <= 3; dx++ {
				u, v := x+dx, y+dy
				if u < 0 || v < 0 || u >= g.n || v >= g.m || !g.ok[v*g.n+u] {
					continue
				}
				w := it.cost + g.d*math.Hypot(float64(dx), float64(dy))
				if w < c[v*g.n+u]-1e-12 && g.f.clear(g.at(it.spot), g.at(v*g.n+u)) {
					c[v*g.n+u] = w
					q.push(item{v*g.n + u, w})
				}
			}
		}
	}
	return c
}

func TestHandShortestWayPieces(t *testing.T) {
	// two squares that touch at a point do not meet
	z := orb.MultiPolygon{{rect(0, 0, 1, 1)}, {rect(1, 1, 2, 2)}}
	if _, _, ok := ShortestWay(z, orb.Point{0.5, 0.5}, orb.Point{1.5, 1.5}); ok {
		t.Error("a way jumps from piece to piece")
	}
	// round a wall in an L: 3 + 4 by way of the corner (1,1): sqrt(1+1)... both legs
	l := orb.MultiPolygon{{orb.Ring{{0, 0}, {5, 0}, {5, 1}, {1, 1}, {1, 5}, {0, 5}, {0, 0}}}}
	_, d, ok := ShortestWay(l, orb.Point{4, 0.5}, orb.Point{0.5, 4})
	if !ok {
		t.Fatal("no way")
	}
	near(t, "round the corner", float64(d), 2*math.Hypot(3, 0.5), 1e-9)
	if _, _, ok := ShortestWay(l, orb.Point{4, 4}, orb.Point{0.5, 4}); ok {
		t.Error("a way from outside")
	}
}

func TestHostile(t *testing.T) {
	sq := orb.MultiPolygon{{rect(0, 0, 10, 10)}}
	base := func() *Problem {
		return &Problem{Zone: sq, Rules: DefaultRules(), Prices: testPrices,
			Sources: []Source{{ID: "a", At: orb.Point{2, 2}}}, Targets: []Target{{ID: "t", At: orb.Point{8, 8}}}}
	}
	t.Run("source outside", func(t *testing.T) {
		p := base()
		p.Sources = append(p.Sources, Source{ID: "b", At: orb.Point{5, -2}})
		r, err := Solve(p)
		if err != nil || r.Best == nil || len(r.Unreached) != 1 {
			t.Fatalf("%+v %v", r, err)
		}
		u := r.Unreached[0]
		if u.Source != 1 || u.Cause != CauseUnfit || u.Nearest != (orb.Point{5, 0}) || math.Abs(float64(u.Off)-2) > 1e-9 || !strings.Contains(u.Reason, "2.000 m outside") {
			t.Errorf("%+v", u)
		}
	})
	t.Run("lead-off over another lot", func(t *testing.T) {
		p := base()
		p.Sources[0] = Source{ID: "d", At: orb.Point{5, -2}, LeadOff: true, LeadOffWithin: orb.MultiPolygon{{rect(0, -1, 10, 10)}}}
		r, err := Solve(p)
		if err != nil || r.Best != nil || len(r.Unreached) != 1 || !strings.Contains(r.Unreached[0].Reason, "leaves the ground") {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("no target", func(t *testing.T) {
		p := base()
		p.Targets = nil
		r, err := Solve(p)
		if err != nil || r.Best != nil || len(r.Unreached) != 1 || r.Unreached[0].Cause != CauseNoTarget || r.Unreached[0].Reason != "there is no target" {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("no source", func(t *testing.T) {
		p := base()
		p.Sources = nil
		r, err := Solve(p)
		if err != nil || r.Best != nil || r.Alternatives[0].Reason == "" {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("empty zone", func(t *testing.T) {
		p := base()
		p.Zone = nil
		r, err := Solve(p)
		if err != nil || r.Best != nil || r.Unreached[0].Reason != "the zone is empty" {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("two sources at one place", func(t *testing.T) {
		p := base()
		p.Sources = append(p.Sources, Source{ID: "b", At: orb.Point{2, 2}})
		var f *Fault
		if _, err := Solve(p); !errors.As(err, &f) || !strings.Contains(err.Error(), `"a" and "b" are at one place`) {
			t.Fatal(err)
		}
	})
	t.Run("target in another piece", func(t *testing.T) {
		p := base()
		p.Zone = orb.MultiPolygon{{rect(0, 0, 10, 10)}, {rect(12, 0, 20, 10)}}
		p.Targets = append(p.Targets, Target{ID: "u", At: orb.Point{15, 5}})
		r, err := Solve(p)
		if err != nil || r.Best == nil || r.Best.Target != 0 || !strings.Contains(r.Alternatives[1].Reason, "no source has a way") {
			t.Fatalf("%+v %v", r, err)
		}
		p.Targets = p.Targets[1:]
		r, err = Solve(p)
		if err != nil || r.Best != nil || len(r.Unreached) != 1 {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("source in another piece", func(t *testing.T) {
		p := base()
		p.Zone = orb.MultiPolygon{{rect(0, 0, 10, 10)}, {rect(12, 0, 20, 10)}}
		p.Sources = append(p.Sources, Source{ID: "b", At: orb.Point{15, 5}})
		r, err := Solve(p)
		if err != nil || r.Best == nil || len(r.Unreached) != 1 || r.Unreached[0].Source != 1 || r.Unreached[0].Cause != CausePiece {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("shut out by the rules", func(t *testing.T) {
		// b stands in the other arm of a corridor 1 m wide that turns by a right
		// angle, where no more than 30 degrees may be turned at a place
		p := base()
		p.Zone = orb.MultiPolygon{{orb.Ring{{0, 0}, {10, 0}, {10, 1}, {1, 1}, {1, 10}, {0, 10}, {0, 0}}}}
		p.Rules.BendAngle, p.Rules.LeastStraight = 30*Degree, 1
		p.Sources = []Source{{ID: "a", At: orb.Point{2, 0.5}}, {ID: "b", At: orb.Point{0.5, 9}}}
		p.Targets = []Target{{ID: "t", At: orb.Point{9.5, 0.5}}}
		r, err := Solve(p)
		if err != nil || r.Best == nil || len(r.Unreached) != 1 || r.Unreached[0].Source != 1 || r.Unreached[0].Cause != CauseShutOut {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("target out of reach", func(t *testing.T) {
		p := base()
		p.Targets[0] = Target{ID: "t", At: orb.Point{15, 5}, Reach: 4, LastRunWithin: orb.MultiPolygon{{rect(9, 0, 30, 10)}}}
		r, err := Solve(p)
		if err != nil || r.Best != nil || r.Alternatives[0].Reason != "the zone ends 5.000 m from it and a last run may be 4.000 m long" {
			t.Fatalf("%+v %v", r, err)
		}
		p.Targets[0].Reach = 6
		p.Targets[0].LastRunWithin = nil
		r, err = Solve(p)
		if err != nil || r.Best != nil || !strings.Contains(r.Alternatives[0].Reason, "would leave the ground") {
			t.Fatalf("%+v %v", r, err)
		}
		p.Targets[0].Closed = "sanitary"
		r, err = Solve(p)
		if err != nil || r.Alternatives[0].Reason != "sanitary" {
			t.Fatalf("%+v %v", r, err)
		}
	})
	t.Run("not finite", func(t *testing.T) {
		p := base()
		p.Sources[0].At[0] = math.NaN()
		if _, err := Solve(p); err == nil {
			t.Fatal("NaN taken")
		}
		far := orb.Point{math.Inf(-1), 3}
		for what, set := range map[string]func(*Problem){
			`target "t"`: func(p *Problem) { p.Targets[0].At = far },
			`region "paving"`: func(p *Problem) {
				p.Regions = []Region{{Name: "paving", Shape: orb.MultiPolygon{{{{1, 1}, {2, 1}, far, {1, 1}}}}}}
			},
			`buried line "water"`: func(p *Problem) { p.Buried = []Buried{{Name: "water", Line: orb.LineString{{1, 1}, far}}} },
			`kept line 1`:         func(p *Problem) { p.Kept = []orb.LineString{{{1, 1}, far}} },
		} {
			p := base()
			set(p)
			var f *Fault
			if _, err := Solve(p); !errors.As(err, &f) || !strings.Contains(f.What, what+" has a coordinate that is not finite") {
				t.Errorf("%s: %v", what, err)
			}
		}
		p = base()
		p.Regions = []Region{{Name: "paving", Each: -1}}
		if _, err := Solve(p); err == nil || !strings.Contains(err.Error(), `region "paving": price`) {
			t.Error(err)
		}
		p = base()
		p.Zone = orb.MultiPolygon{{orb.Ring{{0, 0}, {1, math.Inf(1)}, {1, 1}, {0, 0}}}}
		var inv *shape.InvalidError
		if _, err := Solve(p); !errors.As(err, &inv) {
			t.Fatal(err)
		}
	})
	t.Run("rules and prices", func(t *testing.T) {
		p := base()
		p.Rules.JoinAngle = 0
		if _, err := Solve(p); err == nil {
			t.Fatal("no join angle taken")
		}
		p = base()
		p.Prices.Metre = 0
		if _, err := Solve(p); err == nil {
			t.Fatal("a free metre taken")
		}
	})
	t.Run("price refuses", func(t *testing.T) {
		p := base()
		p.Price = func(*Tree) (float64, bool, string) { return 0, false, "too high by 120 mm" }
		r, err := Solve(p)
		if err != nil || r.Best != nil || r.Alternatives[0].Reason != "too high by 120 mm" || r.Alternatives[0].Tree == nil {
			t.Fatalf("%+v %v", r, err)
		}
	})
}

func TestHandChoice(t *testing.T) {
	// a near target behind dear paving, a far one over lawn
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 40, 10)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{15, 5}}},
		Targets: []Target{{ID: "near", At: orb.Point{5, 5}}, {ID: "far", At: orb.Point{30, 5}}},
		Regions: []Region{{Name: "drive", Shape: orb.MultiPolygon{{rect(8, -1, 12, 11)}}, PerMetre: 6, Each: 2}}}
	if tr := solved(t, p); tr.Target != 0 || math.Abs(tr.Cost-(10*1.7+4*6+2+12)) > 1e-9 {
		t.Errorf("nearest: %+v", tr)
	}
	p.Choice = Cheapest
	tr := solved(t, p)
	if tr.Target != 1 {
		t.Errorf("cheapest: %+v", tr)
	}
	r, _ := Solve(p)
	if want := "dearer: 55.000 against 37.500"; r.Alternatives[1].Reason != want {
		t.Errorf("reason %q, want %q", r.Alternatives[1].Reason, want)
	}
}

func TestHandSourceAtCorner(t *testing.T) {
	// a source at a corner that points into the yard leaves straight to the
	// target, in a direction in which no way would bend round that corner
	notch := orb.Ring{{0, 0}, {20, 0}, {20, 20}, {12, 20}, {10, 12}, {8, 20}, {0, 20}, {0, 0}}
	p := &Problem{Zone: orb.MultiPolygon{{notch}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{10, 12}}}, Targets: []Target{{ID: "t", At: orb.Point{10, 2}}}}
	near(t, "length", float64(solved(t, p).Length), 10, 1e-9)
	_, d, ok := ShortestWay(p.Zone, orb.Point{10, 12}, orb.Point{10, 2})
	if !ok {
		t.Fatal("no way")
	}
	near(t, "way", float64(d), 10, 1e-9)
}

// A downspout inside a block that bars a trench, 1 m from its right and from its
// upper side: two ways out are the shortest, and the search takes one of them. A
// tree with the other keeps the rules too; one by a longer way does not.
func TestHandLeadOffWithTwoShortestWays(t *testing.T) {
	p := &Problem{Zone: orb.MultiPolygon{{rect(-20, -20, 20, 20), reversed(rect(-5, -5, 1, 1))}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{0, 0}, LeadOff: true}}, Targets: []Target{{ID: "t", At: orb.Point{15, 15}}}}
	solved(t, p)
	for _, c := range []struct {
		by    orb.Point
		turns orb.Point
		right bool
	}{{orb.Point{1, 0}, orb.Point{10, 9}, true}, {orb.Point{0, 1}, orb.Point{9, 10}, true}, {orb.Point{1, 0.5}, orb.Point{10, 9.5}, false}} {
		tr := &Tree{Nodes: []Node{{p.Sources[0].At, KindSource, 0}, {c.by, KindBend, -1}, {c.turns, KindBend, -1}, {p.Targets[0].At, KindTarget, -1}},
			Runs: []Run{{From: 0, To: 1, LeadOff: true}, {From: 1, To: 2}, {From: 2, To: 3}}}
		bad := Check(p, tr)
		if short := !strings.Contains(strings.Join(bad, "; "), "not the shortest way"); short != c.right {
			t.Errorf("by %v: %v", c.by, bad)
		}
		if c.right && len(bad) > 0 {
			t.Errorf("by %v: %v", c.by, bad)
		}
	}
}

func reversed(r orb.Ring) orb.Ring {
	r.Reverse()
	return r
}
