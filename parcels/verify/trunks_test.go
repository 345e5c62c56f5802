package verify

import (
	"fmt"
	"math"
	"testing"
)

// abreast is a plan of trunks of ten runs each, to an outlet of its own each, side by
// side off metres apart.
func abreast(trunks int, off float64) *judge {
	j := &judge{p: &plan{shares: []share{{lot: "1"}}}}
	for k := range trunks {
		for i := range 10 {
			n := len(j.p.nodes)
			x := 30.0 * float64(i)
			j.p.runs = append(j.p.runs, run{id: fmt.Sprintf("T%d/R%d", k, i), a: n, b: n + 1, width: 0.3, line: []pt{{x: x, y: off * float64(k)}, {x: x + 30, y: off * float64(k)}}})
			out := []int{len(j.p.runs) - 1}
			j.p.nodes = append(j.p.nodes, node{id: fmt.Sprintf("T%d/P%d", k, i), kind: "bend", out: out})
		}
		j.p.nodes = append(j.p.nodes, node{id: fmt.Sprintf("O%d", k), kind: "inlet"})
	}
	return j
}

// Hand: trenches of 0.3 m lie 50 mm into each other where trunks lie 0.25 m apart,
// and clear where they lie 0.31 m apart; one run that goes aslant over all of the
// others, from the far west, meets them too.
func TestHandTrunksApart(t *testing.T) {
	for _, c := range []struct {
		off    float64
		aslant bool
		worst  float64 // 0: none meet
	}{{0.25, false, 0.05}, {0.31, false, 0}, {2, false, 0}, {2, true, 0.3}} {
		j := abreast(5, c.off)
		if c.aslant {
			r := &j.p.runs[49] // of the last trunk
			r.line = []pt{{x: -500, y: -20}, {x: 300, y: 8}}
		}
		j.trunksApart()
		switch got := j.rows[0]; {
		case (len(got.fails) > 0) != (c.worst > 0):
			t.Errorf("%+v: %v", c, got.fails)
		case c.worst > 0 && math.Abs(*got.worst-c.worst) > 1e-9:
			t.Errorf("%+v: worst %v", c, *got.worst)
		}
	}
}

// BenchmarkTrunksApart: 300 trunks; 30 lots are the most that a plan has.
func BenchmarkTrunksApart(b *testing.B) {
	for _, trunks := range []int{30, 300} {
		j := abreast(trunks, 2)
		b.Run(fmt.Sprint(trunks), func(b *testing.B) {
			for b.Loop() {
				j.rows = nil
				j.trunksApart()
			}
			if len(j.rows) != 1 || len(j.rows[0].fails) > 0 {
				b.Fatal("trunks 2 m apart meet")
			}
		})
	}
}
