package route

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// unpruned is a dual that prunes nothing: no ball has grown, nothing is left to pay.
func unpruned(d *dual) *dual {
	for i := range d.radius {
		d.radius[i] = 0
		clear(d.left[i])
	}
	clear(d.spare)
	d.extra = 0
	return d
}

// TestOraclePruned: pruned by the duals the exact search finds the price that it
// finds when it looks at everything; and the duals stay below it.
func TestOraclePruned(t *testing.T) {
	for seed := int64(1); seed <= 8; seed++ {
		l := newLot(seed, 4)
		for _, deep := range []bool{false, true} {
			for _, kept := range []bool{false, true} {
				p := l.problem
				if kept {
					b := p.Zone[0][0].Bound()
					mid := lerp(b.Min, b.Max, 0.5)
					f := newField(p.Zone, orb.Point{})
					at, _ := f.nearest(orb.Point{mid[0], b.Max[1] - 3})
					to, _ := f.nearest(orb.Point{mid[0] + 4, b.Max[1] - 2.5})
					if dist(at, to) < 2 || !f.clear(at, to) {
						continue
					}
					p.Kept = []orb.LineString{{at, to}}
				}
				s := newSite(&p)
				s.tries = usual
				s.prepare()
				if deep {
					s.depth = depthLeast(&p)(nil)
				}
				var all []int
				for k := range s.heads {
					if s.heads[k].why == "" {
						all = append(all, k)
					}
				}
				x := s.newExact(s.newEnd(0), nil)
				want := x.searchWith(unpruned(x.newDual(all)), math.Inf(1)).cost
				d := x.newDual(all)
				if d.bound > want+1e-6 {
					t.Errorf("lot %d, depth %v, kept %v: the duals say %.6f, the optimum is %.6f", seed, deep, kept, d.bound, want)
				}
				if math.IsInf(want, 1) {
					continue
				}
				if got := x.searchWith(d, want+1e-6).cost; math.Abs(got-want) > 1e-6 {
					t.Errorf("lot %d, depth %v, kept %v: pruned %.6f, unpruned %.6f", seed, deep, kept, got, want)
				}
			}
		}
	}
}

// TestHandBoundKept: TestHandKeptLine's tree is the cheapest round the kept line, so
// that the bound is its price; the bound of what is free is another.
func TestHandBoundKept(t *testing.T) {
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 30, 20)}}, Rules: DefaultRules(), Prices: testPrices, PriceKept: true, Prove: true,
		Sources: []Source{{ID: "a", At: orb.Point{10, 10}}, {ID: "b", At: orb.Point{20, 10}}},
		Targets: []Target{{ID: "t", At: orb.Point{29, 19}}},
		Kept:    []orb.LineString{{{2, 19}, {29, 19}}}}
	r, err := Solve(p)
	if err != nil || r.Best == nil || r.Bound == nil {
		t.Fatalf("%+v %v", r, err)
	}
	near(t, "bound", r.Bound.Cost, r.Best.Cost, 1e-6)
	// a line that ends in the yard, and goes on to the target
	p.Kept[0] = orb.LineString{{2, 19}, {24, 19}}
	if r, err = Solve(p); err != nil || r.Best == nil || r.Bound == nil {
		t.Fatalf("%+v %v", r, err)
	}
	near(t, "bound", r.Bound.Cost, r.Best.Cost, 1e-6)
	if r.Best.Cost < r.Free.Cost {
		t.Errorf("kept %.3f, free %.3f", r.Best.Cost, r.Free.Cost)
	}
}

// TestPropertyBoundOfMany: with more sources than the exact search takes there is
// a bound, below the price.
func TestPropertyBoundOfMany(t *testing.T) {
	for seed := int64(1); seed <= 3; seed++ {
		l := newLot(seed, 18)
		p := l.problem
		p.Prove, p.Price, p.Depth = true, depthPrice(p.Prices), depthLeast(&p)
		r, err := Solve(&p)
		if err != nil || r.Best == nil {
			t.Fatalf("%+v %v", r, err)
		}
		if r.Bound == nil || r.Bound.By != "dual ascent" || r.Bound.Cost > r.Best.Cost || r.Bound.Gap > 0.3 {
			t.Errorf("lot %d: bound %+v of %.3f", seed, r.Bound, r.Best.Cost)
		} else {
			t.Logf("lot %d: 18 sources, gap %.1f %%", seed, 100*r.Bound.Gap)
		}
	}
}

// TestHandHighest: under ground that dips by 0.5 m at its middle a run of 10 m, 0.5 m
// deep, falling 1 % at least from no higher than 100 m.
func TestHandHighest(t *testing.T) {
	g := []Station{{0, 101}, {5, 100}, {10, 101}}
	// The middle may lie at 99.5 m at most. Falling 1 %, its ends are 99.55 and
	// 99.45 m: the highest lower end. Any steeper line through the middle has the
	// same sum of ends.
	y, z := highest(g, 0.01, 0.5, 100, 0)
	near(t, "upper end", y, 99.55, 1e-9)
	near(t, "lower end", z, 99.45, 1e-9)
	y, z = highest(g, 0.01, 0.5, 100, 1)
	near(t, "sum", y+z, 199, 1e-9)
	// from 99 m it falls 1 % below all that
	_, z = highest(g, 0.01, 0.5, 99, 1)
	near(t, "low", z, 98.9, 1e-9)
}
