package route

import (
	"os"
	"sort"
	"syscall"
	"testing"
)

// cpu is the processor time of the process in milliseconds.
func cpu() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return float64(u.Utime.Sec)*1e3 + float64(u.Utime.Usec)/1e3
}

func TestEffort(t *testing.T) {
	if os.Getenv("ROUTE_EFFORT") == "" {
		t.Skip("ROUTE_EFFORT not set: a comparison of settings, not a test")
	}
	full := tries{starts: 8, improved: 8, rounds: 10, subtree: 8, steps: []float64{4, 2, 1, 0.5, 0.25, 0.12, 0.06, 0.03}}
	st := []float64{1, 0.25, 0.08}
	with := func(starts, improved, rounds, subtree int) tries {
		return tries{starts: starts, improved: improved, rounds: rounds, subtree: subtree, again: 100, steps: st}
	}
	cases := map[string]tries{"full": full, "usual": usual, "1 1 1 1": with(1, 1, 1, 1), "1 1 1 2": with(1, 1, 1, 2), "2 2 1 3": with(2, 2, 1, 3), "2 2 2 3": with(2, 2, 2, 3)}
	const n = 100
	cost := map[string][]float64{}
	took := map[string][]float64{}
	for name, how := range cases {
		for seed := int64(1); seed <= n; seed++ {
			l := newLot(seed, 8)
			t0 := cpu()
			r, _ := solve(&l.problem, how)
			took[name] = append(took[name], cpu()-t0)
			c := 1e9
			if r.Best != nil && len(r.Unreached) == 0 {
				c = r.Best.Cost
			}
			cost[name] = append(cost[name], c)
		}
	}
	best := make([]float64, n)
	for i := range best {
		best[i] = 1e9
		for _, c := range cost {
			best[i] = min(best[i], c[i])
		}
	}
	for name := range cases {
		var g []float64
		for i, c := range cost[name] {
			g = append(g, 100*(c/best[i]-1))
		}
		sort.Float64s(g)
		tt := append([]float64(nil), took[name]...)
		sort.Float64s(tt)
		t.Logf("%-18s gap median %.2f%% p90 %.2f%% worst %.2f%%; time median %.2f p95 %.2f ms", name, g[n/2], g[n*9/10], g[n-1], tt[n/2], tt[n*95/100])
	}
}
