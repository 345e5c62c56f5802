package gradeline

import (
	"math/rand"
	"testing"
)

// Every line of every run's sheet works out again, in all regimes.
func TestPropertySheet(t *testing.T) {
	rng := rand.New(rand.NewSource(21))
	seen := map[Regime]bool{}
	for k := 0; k < 12; k++ {
		n := random(rng, 25)
		for i := range n.Runs {
			if rng.Intn(8) == 0 {
				n.Runs[i].Flow = 0
			}
			n.Runs[i].Bends = []float64{45, 45}[:rng.Intn(3)]
		}
		n.Level = nil
		if k%3 > 0 {
			n.Level = el(100 + float64(k)/6)
		}
		r := must(Solve(n))
		for i := range n.Runs {
			seen[r.Runs[i].Regime] = true
			s, err := Sheet(n, r, i)
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Check(); err != nil {
				t.Errorf("run %d, %v: %v\n%s", i, r.Runs[i].Regime, err, s.Text())
			}
		}
	}
	for g := Still; g <= Steep; g++ {
		if !seen[g] {
			t.Errorf("no run of the test flows %v", g)
		}
	}
	n := one(0.2, 0.012, 20, 100.2, 100, 0.01, nil)
	if _, err := Sheet(n, Result{}, 0); err == nil {
		t.Error("a result of another network was accepted")
	}
	if _, err := Sheet(n, must(Solve(n)), 4); err == nil {
		t.Error("a run that is not there was accepted")
	}
}
