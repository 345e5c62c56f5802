package verify

import (
	"math"
	"strings"
	"testing"
)

// A store of 1 m3 that the structure fills and then stands over, rising on for ten
// hours, with nothing flowing in and the rims out of reach. By hand: what is full
// takes no more, so 1 m3 came in through the connection, and no more than that
// however long the water stands. A plan that tells more is refused.
func TestHandFullStoreTakesNoMore(t *testing.T) {
	m := &backing{bottom: 0, step: 0.5, volume: []float64{0, 0.5, 1}, rims: []float64{50}, edges: []float64{1}, names: []string{"B"}, lowest: 50,
		up: 0, d: 0.1, crown: 0.1, c: 0.05, limit: math.Inf(1), freeQ: []float64{1e-6, 1}, freeH: []float64{1e-6, 1},
		over: [][2]float64{{0, 0}, {60, 2}, {600, 2.5}}, tc: 5, end: 600}
	for _, sewer := range []float64{1, 1.1} {
		c := &check{j: &judge{}}
		m.hold(c, "without valve", &balance{void: 1, sewer: sewer}, false)
		if said := strings.Contains(strings.Join(c.fails, "; "), "filled_from_sewer_m3"); said != (sewer > 1.05) {
			t.Errorf("%.1f m3 said to come in: %q", sewer, c.fails)
		}
	}
}
