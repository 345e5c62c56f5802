package route

import (
	"errors"
	"fmt"
	"math"
	"math/rand"
	"sort"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// depthPrice is a stand-in for the planner's price: level ground, every pipe
// falls 1 %, 0.3 m of cover at the heads, a metre of trench costs 1 + 1.2 times
// its depth; deeper than 1.2192 m is refused.
func depthPrice(pr Prices) func(*Tree) (float64, bool, string) {
	return func(t *Tree) (float64, bool, string) {
		deep := make([]float64, len(t.Nodes))
		for i := range deep {
			deep[i] = 0.5
		}
		c := pr.TieIn
		for i, r := range t.Runs {
			l := float64(t.RunLength(i))
			d := deep[r.From] + 0.01*l
			c += l * (pr.Metre + 1.2*((deep[r.From]+d)/2-0.5))
			deep[r.To] = math.Max(deep[r.To], d)
			if d > 1.2192 {
				return 0, false, fmt.Sprintf("too deep by %.0f mm", 1000*(d-1.2192))
			}
			if t.Nodes[r.To].Kind == KindJoin {
				c += pr.Join / 2
			} else if t.Nodes[r.To].Kind == KindBend {
				if k := t.Turn(i); k > Angle(straight) {
					c += pr.Bend
					if k > 45*Degree+1e-6 {
						c += pr.Bend
					}
				}
			}
		}
		return c, true, ""
	}
}

func TestPropertyPriceOfDepth(t *testing.T) {
	// what the caller's price chooses is never dearer than what the search alone
	// would have handed out, and the bound stays below
	for seed := int64(1); seed <= 15; seed++ {
		l := newLot(seed, 6)
		plain := solved(t, &l.problem)
		price := depthPrice(l.problem.Prices)
		l.problem.Price, l.problem.Prove = price, true
		calls := 0
		l.problem.Effort = 10
		l.problem.Price = func(tr *Tree) (float64, bool, string) { calls++; return price(tr) }
		r, err := Solve(&l.problem)
		if err != nil || r.Best == nil {
			t.Fatalf("lot %d: %+v %v", seed, r, err)
		}
		if calls > 10 {
			t.Errorf("lot %d: %d calls of Price", seed, calls)
		}
		if c, ok, _ := price(plain); ok && r.Best.Cost > c+1e-9 {
			t.Errorf("lot %d: %.3f, the plain tree costs %.3f", seed, r.Best.Cost, c)
		}
		if r.Bound == nil || r.Bound.Cost > r.Best.Cost || r.Bound.Gap < 0 {
			t.Errorf("lot %d: bound %+v of %.3f", seed, r.Bound, r.Best.Cost)
		}
	}
}

// depthLeast is what depth costs at least that goes with depthPrice.
func depthLeast(p *Problem) func(*Tree) *Depth {
	return func(*Tree) *Depth {
		d := &Depth{Price: 1.2, Shallow: 0.5,
			Ground: func(a, b orb.Point) []Station { return []Station{{0, 100}, {dist(a, b), 100}} },
			Pipes:  func([]int) []Pipe { return []Pipe{{Slope: 0.01, Cover: 0.5}} }}
		for range p.Sources {
			d.Start = append(d.Start, 99.5)
		}
		return d
	}
}

func TestPropertyDepthSharpens(t *testing.T) {
	for seed := int64(1); seed <= 8; seed++ {
		l := newLot(seed, 6)
		p := l.problem
		p.Prove, p.Price, p.Effort = true, depthPrice(p.Prices), 10
		r, err := Solve(&p)
		if err != nil {
			t.Fatal(err)
		}
		p.Depth = depthLeast(&p)
		s, err := Solve(&p)
		if err != nil {
			t.Fatal(err)
		}
		if s.Bound.Cost < r.Bound.Cost-1e-6 || s.Bound.Cost > s.Best.Cost+1e-6 || s.Best.Cost > r.Best.Cost+1e-9 {
			t.Errorf("lot %d: bound %.3f, sharpened %.3f, best %.3f and %.3f", seed, r.Bound.Cost, s.Bound.Cost, r.Best.Cost, s.Best.Cost)
		}
	}
}

func TestHandKeptLine(t *testing.T) {
	// A designer's trunk along the rear line; two basins are completed to it
	// square, by the wye and stub of TestHandLateral.
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 30, 20)}}, Rules: DefaultRules(), Prices: testPrices, PriceKept: true,
		Sources: []Source{{ID: "a", At: orb.Point{10, 10}}, {ID: "b", At: orb.Point{20, 10}}},
		Targets: []Target{{ID: "t", At: orb.Point{29, 19}}},
		Kept:    []orb.LineString{{{2, 19}, {29, 19}}}}
	r, err := Solve(p)
	if err != nil || r.Best == nil || len(r.Unreached) > 0 {
		t.Fatalf("%+v %v", r, err)
	}
	if bad := Check(p, r.Best); len(bad) > 0 {
		t.Fatal(bad)
	}
	kept := 0.0
	for i, run := range r.Best.Runs {
		if run.Kept {
			kept += float64(r.Best.RunLength(i))
		}
	}
	near(t, "kept length", kept, 27, 1e-9)
	near(t, "length", float64(r.Best.Length), 27+2*(9-0.3048*math.Sqrt2/2+0.3048), 1e-6)
	if r.Free == nil || r.Free.Cost >= r.Best.Cost {
		t.Errorf("free optimum %+v against %.3f", r.Free, r.Best.Cost)
	}
}

func TestHandKeptLateral(t *testing.T) {
	// A line drawn from basin a that ends in the yard is continued from its end;
	// one that ends outside the zone is told.
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 30, 20)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{2, 2}}},
		Targets: []Target{{ID: "t", At: orb.Point{22, 12}}},
		Kept:    []orb.LineString{{{2, 2}, {2, 8}, {12, 12}}}}
	tr := solved(t, p)
	near(t, "length", float64(tr.Length), 6+math.Hypot(10, 4)+10, 1e-9)
	p.Kept[0] = orb.LineString{{2, 2}, {2, 30}}
	r, err := Solve(p)
	if err != nil || r.Best != nil || len(r.Unreached) != 1 || !strings.Contains(r.Unreached[0].Reason, "ends 10.000 m outside the zone") {
		t.Fatalf("%+v %v", r, err)
	}
	// a kept line from nowhere, ending at another target than the only one open
	p.Kept[0] = orb.LineString{{5, 5}, {25, 5}}
	p.Targets = append(p.Targets, Target{ID: "u", At: orb.Point{25, 5}})
	r, err = Solve(p)
	if err != nil || r.Best == nil || r.Best.Target != 1 || !strings.Contains(r.Alternatives[1].Reason, `a kept line ends at target "u"`) {
		t.Fatalf("%+v %v", r, err)
	}
	if bad := Check(p, r.Best); len(bad) > 0 {
		t.Fatal(bad)
	}
}

// TestPropertyAgain: after a small edit of each kind, with and without a price of
// depth, planning again keeps the rules, joins all that planning from nothing joins, and
// costs at most 5 % more (median 0.5 %).
func TestPropertyAgain(t *testing.T) {
	kinds := []struct {
		name string
		edit func(p Problem, rnd *rand.Rand) Problem
	}{
		{"intake moved", func(p Problem, rnd *rand.Rand) Problem { return edited(p, rnd) }},
		{"inlet moved", func(p Problem, rnd *rand.Rand) Problem {
			p.Targets = append([]Target(nil), p.Targets...)
			p.Targets[0].At = add(p.Targets[0].At, orb.Point{0.6*rnd.Float64() - 0.3, 0.2 * rnd.Float64()})
			return p
		}},
		{"tree moved", func(p Problem, _ *rand.Rand) Problem { p.Zone = treeMoved(p.Zone, 0.15); return p }},
		{"intake gone", func(p Problem, _ *rand.Rand) Problem { p.Sources = p.Sources[:len(p.Sources)-1]; return p }},
		{"intake added", func(p Problem, rnd *rand.Rand) Problem { return added(p, edited(p, rnd)) }},
		{"nothing", func(p Problem, _ *rand.Rand) Problem { return p }},
	}
	for _, kind := range kinds {
		name, rnd := kind.name, rand.New(rand.NewSource(5))
		var worse []float64
		for seed := int64(1); seed <= 24; seed++ {
			l := newLot(seed, 8)
			if seed%2 == 0 {
				l.problem.Price = depthPrice(l.problem.Prices)
			}
			last, err := Solve(&l.problem)
			if err != nil {
				t.Fatal(err)
			}
			p := kind.edit(l.problem, rnd)
			r, err := Again(&p, last)
			full, err2 := Solve(&p)
			if err != nil || err2 != nil {
				t.Fatalf("%s, lot %d: %v %v", name, seed, err, err2)
			}
			if (r.Best == nil) != (full.Best == nil) || len(r.Unreached) > len(full.Unreached) {
				t.Errorf("%s, lot %d: again %+v, from nothing %+v", name, seed, r.Unreached, full.Unreached)
				continue
			}
			if r.Best == nil {
				continue
			}
			if bad := Check(&p, r.Best); len(bad) > 0 {
				t.Errorf("%s, lot %d: %v", name, seed, bad)
			}
			worse = append(worse, r.Best.Cost/full.Best.Cost-1)
		}
		sort.Float64s(worse)
		t.Logf("%s: median %.2f %%, worst %.2f %% over planned from nothing", name, 100*worse[len(worse)/2], 100*worse[len(worse)-1])
		if worse[len(worse)/2] > 0.005 || worse[len(worse)-1] > 0.05 {
			t.Errorf("%s: worst %.3f", name, worse)
		}
	}
}

// treeMoved moves the last hole of a zone sideways.
func treeMoved(zone orb.MultiPolygon, by float64) orb.MultiPolygon {
	zone = zone.Clone()
	hole := zone[0][len(zone[0])-1]
	for k := range hole {
		hole[k][0] += by
	}
	return zone
}

// added is p with the source that q has elsewhere.
func added(p, q Problem) Problem {
	for i := range p.Sources {
		if p.Sources[i].At != q.Sources[i].At && dist(p.Sources[i].At, q.Sources[i].At) > 0.5 {
			s := q.Sources[i]
			s.ID = "new"
			p.Sources = append(append([]Source(nil), p.Sources...), s)
		}
	}
	return p
}

// edited moves one basin by about a metre.
func edited(p Problem, r *rand.Rand) Problem {
	q := p
	q.Sources = append([]Source(nil), p.Sources...)
	zn := newField(p.Zone, orb.Point{})
	for {
		i := r.Intn(len(q.Sources))
		at := add(q.Sources[i].At, orb.Point{2*r.Float64() - 1, 2*r.Float64() - 1})
		ok := !q.Sources[i].LeadOff && zn.holds(at)
		for j := range q.Sources {
			ok = ok && (j == i || dist(at, q.Sources[j].At) > 0.5)
		}
		if ok {
			q.Sources[i].At = at
			return q
		}
	}
}

// TestPropertyObstacle: on a fixed candidate set an obstacle never lowers the
// price of the exact optimum.
func TestPropertyObstacle(t *testing.T) {
	for seed := int64(1); seed <= 12; seed++ {
		l := newLot(seed, 5)
		price := func(zone orb.MultiPolygon, pts []orb.Point) float64 {
			p := l.problem
			p.Zone = zone
			s := newSite(&p)
			s.tries = usual
			s.prepare()
			x := s.newExact(s.newEnd(0), nil, pts...)
			return x.best([]int{0, 1, 2, 3, 4}, math.Inf(1))
		}
		tr := solved(t, &l.problem)
		var pts []orb.Point
		for _, n := range tr.Nodes {
			pts = append(pts, n.At)
		}
		free := price(l.problem.Zone, pts)
		// a post on the middle of the longest run
		long, at := 0.0, orb.Point{}
		for i, r := range tr.Runs {
			if d := float64(tr.RunLength(i)); d > long && !r.LeadOff && !r.TieIn {
				long, at = d, lerp(tr.Line(i)[0], tr.Line(i)[1], 0.5)
			}
		}
		post := circle(at, 0.2, 6)
		for _, q := range post {
			pts = append(pts, q)
		}
		free = math.Min(free, price(l.problem.Zone, pts)) // the same candidates
		post.Reverse()
		zone := l.problem.Zone.Clone()
		zone[0] = append(zone[0], post)
		if got := price(zone, pts); got < free-1e-6 {
			t.Errorf("lot %d: an obstacle lowers the price from %.6f to %.6f", seed, free, got)
		}
	}
}

// TestPropertyTargetNearer: moving a target along its own last run towards the
// lot never raises the exact price.
func TestPropertyTargetNearer(t *testing.T) {
	for seed := int64(1); seed <= 12; seed++ {
		l := newLot(seed, 5)
		tr := solved(t, &l.problem)
		last := tr.Line(len(tr.Runs) - 1)
		if !tr.Runs[len(tr.Runs)-1].TieIn || dist(last[0], last[1]) < 0.7 {
			continue
		}
		var pts []orb.Point
		for _, n := range tr.Nodes {
			pts = append(pts, n.At)
		}
		at := func(p orb.Point) float64 {
			q := l.problem
			q.Targets = []Target{q.Targets[0]}
			q.Targets[0].At = p
			s := newSite(&q)
			s.tries = usual
			s.prepare()
			return s.newExact(s.newEnd(0), nil, pts...).best([]int{0, 1, 2, 3, 4}, math.Inf(1))
		}
		if a, b := at(last[1]), at(lerp(last[1], last[0], 0.3)); b > a+1e-6 {
			t.Errorf("lot %d: nearer target raises the price from %.4f to %.4f", seed, a, b)
		}
	}
}

// star is a ring of n corners about c, seeded, often deeply notched.
func star(r *rand.Rand, c orb.Point, least, most float64, n int) orb.Ring {
	var ring orb.Ring
	for i := range n {
		s, q := math.Sincos(2 * math.Pi * (float64(i) + 0.6*r.Float64()) / float64(n))
		d := least + (most-least)*r.Float64()
		ring = append(ring, orb.Point{c[0] + d*q, c[1] + d*s})
	}
	return append(ring, ring[0])
}

// TestPropertyOddZones: whatever the zone, an answer keeps the rules, every
// source is joined or named with its reason, and nothing panics.
func TestPropertyOddZones(t *testing.T) {
	joined, told := 0, 0
	for seed := int64(1); seed <= 250; seed++ {
		r := rand.New(rand.NewSource(seed))
		shell := star(r, orb.Point{0, 0}, 4, 25, 5+r.Intn(30))
		zone := orb.MultiPolygon{{shell}}
		if r.Intn(2) == 0 {
			zone = append(zone, orb.Polygon{star(r, orb.Point{60, 0}, 4, 20, 5+r.Intn(12))})
		}
		f := newField(zone, orb.Point{})
		for range r.Intn(4) {
			c := orb.Point{30*r.Float64() - 15, 30*r.Float64() - 15}
			h := star(r, c, 0.2, 1+2*r.Float64(), 3+r.Intn(9))
			ok := true
			for _, q := range h {
				ok = ok && f.holds(q)
			}
			for _, e := range f.edges {
				for i := 0; i+1 < len(h); i++ {
					ok = ok && !touches(e.p, e.q, h[i], h[i+1])
				}
			}
			if ok {
				h.Reverse()
				zone[0] = append(zone[0], h)
				f = newField(zone, orb.Point{})
			}
		}
		p := &Problem{Zone: zone, Rules: DefaultRules(), Prices: testPrices}
		p.Prices.Askew = 0.05 * float64(r.Intn(2))
		place := func() orb.Point {
			switch r.Intn(5) {
			case 0:
				return f.edges[r.Intn(len(f.edges))].p
			case 1:
				e := f.edges[r.Intn(len(f.edges))]
				return lerp(e.p, e.q, r.Float64())
			}
			return orb.Point{60*r.Float64() - 25, 50*r.Float64() - 25}
		}
		all := orb.MultiPolygon{{rect(-99, -99, 99, 99)}}
	more:
		for i := range 1 + r.Intn(7) {
			at := place()
			for _, s := range p.Sources {
				if dist(s.At, at) < 0.01 {
					continue more
				}
			}
			p.Sources = append(p.Sources, Source{ID: string(rune('a' + i)), At: at, LeadOff: r.Intn(2) == 0, LeadOffWithin: all, Basin: r.Intn(2) == 0})
		}
		for i := range 1 + r.Intn(2) {
			p.Targets = append(p.Targets, Target{ID: string(rune('s' + i)), At: place(), Reach: 5, LastRunWithin: all})
		}
		if r.Intn(3) == 0 {
			p.Price = depthPrice(p.Prices)
		}
		res, err := Solve(p)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		named := map[int]bool{}
		for _, u := range res.Unreached {
			if u.Reason == "" {
				t.Errorf("seed %d: source %d unreached without a reason", seed, u.Source)
			}
			named[u.Source] = true
			told++
		}
		if res.Best != nil {
			if bad := Check(p, res.Best); len(bad) > 0 {
				t.Errorf("seed %d: %v", seed, bad)
			}
			for _, n := range res.Best.Nodes {
				if n.Source >= 0 {
					named[n.Source] = true
					joined++
				}
			}
		}
		for i := range p.Sources {
			if !named[i] {
				t.Errorf("seed %d: source %d neither joined nor named", seed, i)
			}
		}
		for _, a := range res.Alternatives {
			if strings.Contains(a.Reason, "breaks a rule") {
				t.Errorf("seed %d: %s", seed, a.Reason)
			}
		}
	}
	t.Logf("%d sources joined, %d told why not", joined, told)
}

// A caller that gives up gets its own word back and nothing else, wherever the work
// is at that time: the search is stopped at each of the times at which it asks.
func TestPropertyStopped(t *testing.T) {
	l := newLot(3, 7)
	p := l.problem
	p.Prove, p.Price, p.Depth = true, depthPrice(p.Prices), depthLeast(&p)
	all := 0
	p.Stop = func() error { all++; return nil }
	want, err := Solve(&p)
	if err != nil || want.Best == nil || all < 20 {
		t.Fatal(err, all)
	}
	gone := errors.New("gone")
	for n := 1; n <= all; n += 1 + all/40 {
		asked := 0
		p.Stop = func() error {
			if asked++; asked >= n {
				return gone
			}
			return nil
		}
		if r, err := Solve(&p); r != nil || err != gone || asked != n {
			t.Fatalf("stopped at %d of %d: %v, %v after being asked %d times", n, all, r, err, asked)
		}
	}
	p.Stop = func() error { return nil }
	got, err := Solve(&p)
	if err != nil || got.Best.Cost != want.Best.Cost || *got.Bound != *want.Bound {
		t.Error("asking changes the answer")
	}
}
