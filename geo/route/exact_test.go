package route

import (
	"math"
	"math/rand"
	"os"
	"sort"
	"testing"

	"github.com/paulmach/orb"
)

// openField is a site in an open square with the rules of no trade: joins where
// lines bend, at any angle up to the one given, no fittings.
func openField(join Angle, at []orb.Point, target orb.Point) (*site, *end) {
	p := &Problem{Zone: orb.MultiPolygon{{rect(-100, -100, 100, 100)}},
		Rules:  Rules{JoinAngle: join, BendAngle: 180 * Degree, LeastStraight: 1e-6},
		Prices: Prices{Metre: 1}, Targets: []Target{{ID: "t", At: target}}}
	for i, q := range at {
		p.Sources = append(p.Sources, Source{ID: string(rune('a' + i)), At: q, Basin: true})
	}
	s := newSite(p)
	s.tries = usual
	s.prepare()
	return s, s.newEnd(0)
}

// TestPublishedSteinerTrees: minimal trees of known length, their Steiner points
// among candidates strewn at random. The square is the example of the GeoSteiner
// manual (length 1 + sqrt 3, printed as 2.73); the triangle is Fermat's problem
// ((-2,0), (2,0), (0,4): 4 + 2 sqrt 3 = 7.46410162, printed for the model
// "fermat" of R. Vanderbei's collection, its points from memory); the regular
// pentagon of side 1, 3.891157, is from memory of E. Weisstein's "Steiner Tree".
func TestPublishedSteinerTrees(t *testing.T) {
	r3 := math.Sqrt(3)
	// the pentagon's tree: worked here from the condition of 120 degrees by
	// relaxation, so that only the length is taken from the book
	pent := make([]orb.Point, 5)
	rad := 1 / (2 * math.Sin(math.Pi/5))
	for i := range pent {
		s, c := math.Sincos(2*math.Pi*float64(i)/5 + math.Pi/2)
		pent[i] = orb.Point{rad * c, rad * s}
	}
	st := []orb.Point{lerp(pent[0], pent[1], 0.4), {0, 0}, lerp(pent[4], pent[3], 0.4)}
	// full topology: s0 joins 1, 2, s1; s1 joins 0, s0, s2; s2 joins 3, 4, s1
	nb := func() [][3]orb.Point {
		return [][3]orb.Point{{pent[1], pent[2], st[1]}, {pent[0], st[0], st[2]}, {pent[3], pent[4], st[1]}}
	}
	for range 20000 {
		for i := range st {
			var x, y, w float64
			for _, q := range nb()[i] {
				d := math.Max(dist(q, st[i]), 1e-12)
				x, y, w = x+q[0]/d, y+q[1]/d, w+1/d
			}
			st[i] = orb.Point{x / w, y / w}
		}
	}
	cases := []struct {
		name  string
		pts   []orb.Point // the last is the target
		extra []orb.Point // Steiner points
		want  float64
		tol   float64
	}{
		{"fermat", []orb.Point{{-2, 0}, {2, 0}, {0, 4}}, []orb.Point{{0, 2 / r3}}, 7.46410162, 5e-9},
		{"square", []orb.Point{{0, 0}, {1, 0}, {0, 1}, {1, 1}}, []orb.Point{{0.5, 0.5 / r3}, {0.5, 1 - 0.5/r3}, {0.5 / r3, 0.5}, {1 - 0.5/r3, 0.5}}, 1 + r3, 1e-9},
		{"pentagon", pent, st, 3.891157, 1e-6},
	}
	r := rand.New(rand.NewSource(1))
	for _, c := range cases {
		n := len(c.pts) - 1
		s, e := openField(61*Degree, c.pts[:n], c.pts[n])
		extra := append([]orb.Point(nil), c.extra...)
		for range 25 {
			extra = append(extra, orb.Point{3*r.Float64() - 1, 3*r.Float64() - 1})
		}
		x := s.newExact(e, nil, extra...)
		x.bentJoins = true
		var all []int
		for i := range n {
			all = append(all, i)
		}
		near(t, c.name, x.best(all, math.Inf(1)), c.want, c.tol)
	}
}

// TestOracleExact compares the exact search with the trial of every way in
// which few points can flow to one another.
func TestOracleExact(t *testing.T) {
	r := rand.New(rand.NewSource(4))
	for round := range 6 {
		n := 2 + r.Intn(2) // sources
		m := 3             // free points
		pt := func() orb.Point { return orb.Point{10 * r.Float64(), 10 * r.Float64()} }
		var src, free []orb.Point
		for range n {
			src = append(src, pt())
		}
		for range m {
			free = append(free, pt())
		}
		// one free point so that a straight line with a legal join exists
		free = append(free, lerp(src[0], orb.Point{11, 5}, 0.6))
		m++
		p := &Problem{Zone: orb.MultiPolygon{{rect(-1, -1, 12, 12)}}, Rules: DefaultRules(), Prices: testPrices,
			Targets: []Target{{ID: "t", At: orb.Point{11, 5}}}}
		for i, q := range src {
			p.Sources = append(p.Sources, Source{ID: string(rune('a' + i)), At: q, Basin: round%2 == 0})
		}
		s := newSite(p)
		s.tries = usual
		s.prepare()
		e := s.newEnd(0)
		x := s.newExact(e, nil, free...)
		var all []int
		for i := range n {
			all = append(all, i)
		}
		got := x.best(all, math.Inf(1))
		want := everyFlow(s, e, src, free)
		if math.Abs(got-want) > 1e-6 && !(math.IsInf(got, 1) && math.IsInf(want, 1)) {
			t.Errorf("round %d: exact %.6f, trial of all %.6f", round, got, want)
		}
	}
}

// everyFlow tries all maps from points to the next point downstream.
func everyFlow(s *site, e *end, src, free []orb.Point) float64 {
	n := len(src)
	var pts []orb.Point
	for _, q := range append(append([]orb.Point(nil), src...), free...) {
		pts = append(pts, sub(q, s.origin))
	}
	pts = append(pts, e.at)
	k := len(pts)
	next := make([]int, k-1) // -1: not used
	best := math.Inf(1)
	pr := s.p.Prices
	price := func() {
		ups := make([][]int, k)
		for i, d := range next {
			if d >= 0 {
				ups[d] = append(ups[d], i)
			}
		}
		for i := range n { // every source reaches the target
			j, steps := i, 0
			for j != k-1 {
				if j = next[j]; j < 0 || steps > k {
					return
				}
				steps++
			}
		}
		c := pr.TieIn
		if len(ups[k-1]) != 1 {
			return
		}
		for i, d := range next {
			if d < 0 {
				continue
			}
			if i >= n && len(ups[i]) == 0 || dist(pts[i], pts[d]) < s.ls {
				return
			}
			c += pr.Metre * dist(pts[i], pts[d])
			switch {
			case i < n:
				if len(ups[i]) > 1 {
					return
				}
				for _, u := range ups[i] {
					a := turn(pts[u], pts[i], pts[d])
					if a > s.bend || !s.p.Sources[i].Basin && a > s.join {
						return
					}
				}
			case len(ups[i]) == 1:
				a := turn(pts[ups[i][0]], pts[i], pts[d])
				if a > s.bend {
					return
				}
				c += s.bendPrice(a)
			case len(ups[i]) == 2:
				a, b := turn(pts[ups[i][0]], pts[i], pts[d]), turn(pts[ups[i][1]], pts[i], pts[d])
				if math.Min(a, b) > straight || math.Max(a, b) > s.join {
					return
				}
				c += pr.Join
			default:
				return
			}
		}
		best = math.Min(best, c)
	}
	var fill func(i int)
	fill = func(i int) {
		if i == k-1 {
			price()
			return
		}
		for d := -1; d < k; d++ {
			if d == i || d < 0 && i < n {
				continue
			}
			next[i] = d
			fill(i + 1)
		}
	}
	fill(0)
	return best
}

// yardstick is the price by the exact search over the points of the trees of the
// everyday search and of a long one: all first trunks, many rounds, fine steps.
func yardstick(l *lot) (price float64, ok bool) {
	s := newSite(&l.problem)
	s.tries = tries{starts: 8, improved: 8, rounds: 10, subtree: 8, steps: []float64{4, 2, 1, 0.5, 0.25, 0.12, 0.06, 0.03}}
	var plans []*plan
	s.keep = func(p *plan) { plans = append(plans, p) }
	s.prepare()
	var all []int
	for k := range s.heads {
		all = append(all, k)
	}
	long := s.tries
	s.tries = usual
	s.toward(0, all) // its points too are candidates
	s.tries = long
	a, _, left := s.toward(0, all)
	if a.Tree == nil || len(left) > 0 {
		return 0, false
	}
	return s.newExact(s.newEnd(0), plans).best(all, a.Tree.Cost+1e-6), true
}

// TestOracleYardstick: the gap of the everyday search to the yardstick. With
// ROUTE_LOTS=200 over all benchmark lots.
func TestOracleYardstick(t *testing.T) {
	n, intakes := 4, 6
	if os.Getenv("ROUTE_LOTS") == "200" {
		n, intakes = 200, 8
	}
	var gaps []float64
	for _, l := range benchLots(n, intakes) {
		best, ok := yardstick(&l)
		if !ok {
			t.Error("the yardstick finds no tree")
			continue
		}
		gaps = append(gaps, 100*(solved(t, &l.problem).Cost/best-1))
	}
	sort.Float64s(gaps)
	t.Logf("%d lots: gap to the yardstick median %.2f %%, p95 %.2f %%, worst %.2f %%", n, gaps[n/2], gaps[n*95/100], gaps[n-1])
	if gaps[n/2] > 1 || gaps[n-1] > 5 || gaps[0] < -1e-6 {
		t.Errorf("gaps %v", gaps)
	}
}
