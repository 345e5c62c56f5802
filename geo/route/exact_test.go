package route

import (
	"os"
	"testing"
	"time"
)

func TestExactGap(t *testing.T) {
	if os.Getenv("ROUTE_EFFORT") == "" {
		t.Skip("ROUTE_EFFORT not set: a comparison of settings, not a test")
	}
	full := tries{starts: 8, improved: 8, rounds: 10, subtree: 8, steps: []float64{4, 2, 1, 0.5, 0.25, 0.12, 0.06, 0.03}}
	for seed := int64(1); seed <= 12; seed++ {
		l := newLot(seed, 8)
		s := newSite(&l.problem)
		s.tries = full
		var plans []*plan
		s.keep = func(p *plan) { plans = append(plans, p) }
		s.prepare()
		a, _, left := s.toward(0, []int{0, 1, 2, 3, 4, 5, 6, 7})
		if a.Tree == nil || len(left) > 0 {
			t.Logf("%d: %s %v", seed, a.Reason, left)
			continue
		}
		t0 := time.Now()
		x := s.newExact(s.newEnd(0), plans)
		lb := x.best([]int{0, 1, 2, 3, 4, 5, 6, 7}, a.Tree.Cost+1e-6)
		t1 := time.Since(t0)
		t0 = time.Now()
		y := s.newExact(s.newEnd(0), plans[:1])
		lb1 := y.best([]int{0, 1, 2, 3, 4, 5, 6, 7}, plans[0].cost+1e-6)
		t.Logf("%d: best %.2f, exact over %d points %d rays %.2f (gap %.2f%%) in %v; one plan %.2f: %d points %.2f in %v", seed, a.Tree.Cost, len(x.pts), len(x.rays), lb, 100*(a.Tree.Cost/lb-1), t1,
			plans[0].cost, len(y.pts), lb1, time.Since(t0))
	}
}
