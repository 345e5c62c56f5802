package verify

import "testing"

// A right plan passes, in each kind of plane.
func TestHandGoodPlans(t *testing.T) {
	for name, make := range map[string]func(*testing.T) *fixture{"feet": feet, "degrees": degrees, "metres": metres} {
		t.Run(name, func(t *testing.T) {
			v := make(t).verify()
			if !v.Passed {
				_, d := failed(v)
				t.Fatalf("refused:\n%s", d)
			}
		})
	}
}
