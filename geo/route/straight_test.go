package route

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// The target stands 0.5 m beyond the zone and no run may be shorter than 2 m: the
// last run begins 2 m from it, inside. From the source it is 18.5 m straight.
func TestHandLastRunFromWithin(t *testing.T) {
	all := orb.MultiPolygon{{rect(-5, -5, 35, 25)}}
	for _, x := range []float64{15, 17} { // straight on, and at an angle
		p := &Problem{Zone: orb.MultiPolygon{{rect(0, 0, 30, 20)}}, Rules: DefaultRules(), Prices: testPrices,
			Sources: []Source{{ID: "a", At: orb.Point{15, 2}}}, Targets: []Target{{ID: "out", At: orb.Point{x, 20.5}, Reach: 3, LastRunWithin: all}}}
		p.Rules.LeastStraight = 2
		tree := solved(t, p)
		if want := math.Hypot(x-15, 18.5); math.Abs(float64(tree.Length)-want) > 1e-3 {
			t.Errorf("to %g: %.4f m, want %.4f", x, float64(tree.Length), want)
		}
		for i, r := range tree.Runs {
			if tree.RunLength(i) < 2-1e-6 || r.TieIn && tree.RunLength(i) > 3 {
				t.Errorf("to %g: run %d is %.4f m long", x, i, float64(tree.RunLength(i)))
			}
		}
	}
	// a last run of 2 m would have to be longer than its reach
	p := &Problem{Zone: orb.MultiPolygon{{rect(0, 19.9, 30, 20)}}, Rules: DefaultRules(), Prices: testPrices,
		Sources: []Source{{ID: "a", At: orb.Point{2, 19.95}}}, Targets: []Target{{ID: "out", At: orb.Point{15, 20.5}, Reach: 1, LastRunWithin: all}}}
	p.Rules.LeastStraight = 2
	if r, err := Solve(p); err != nil || r.Best != nil {
		t.Errorf("%+v, %v", r.Best, err)
	}
}

// House corners are arcs of chords. However long the straights between fittings must
// be, up to 2.5 m, every source of a lot of common size is joined, for there is room to
// cut or to round each corner farther out (the invented lots are 18 m wide or more).
func TestPropertyLongStraights(t *testing.T) {
	for _, least := range []unit.Length{unit.Foot, 1, 1.5, 2, 2.5} {
		for seed := int64(1); seed <= 30; seed++ {
			l := newLot(seed, 4)
			l.problem.Rules.LeastStraight = least
			r, err := Solve(&l.problem)
			if err != nil || r.Best == nil || len(r.Unreached) > 0 {
				t.Errorf("lot %d at %g m: %+v, %v", seed, float64(least), r.Unreached, err)
				continue
			}
			for i, run := range r.Best.Runs {
				if !run.LeadOff && r.Best.RunLength(i) < least-1e-6 {
					t.Errorf("lot %d at %g m: run %d is %.4f m long", seed, float64(least), i, float64(r.Best.RunLength(i)))
				}
			}
		}
	}
}
