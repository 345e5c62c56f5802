package verify

import (
	"math"
	"math/rand/v2"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/gradeline"
	"fallwright/hydro/pipe"
)

// One pipe of random size, fall, flow and water below it: the depth at its upper
// end by steps of depth here agrees with package gradeline's, which integrates
// distance over depth, in every way of flowing. Where a pipe is within a
// thousandth of flowing full either answer may be right.
func TestOracleClimb(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 11))
	seen := map[gradeline.Regime]int{}
	worst := 0.0
	for range 4000 {
		d, n := []float64{0.0762, 0.1016, 0.1524, 0.2032}[r.IntN(4)], []float64{0.010, 0.012, 0.018}[r.IntN(3)]
		l, s := 0.5+r.Float64()*30, 0.002*math.Pow(50, r.Float64())
		full := math.Pi / 4 * d * d * math.Pow(d/4, 2.0/3) * math.Sqrt(s) / n
		q := full * 1.6 * r.Float64()
		if math.Abs(q/full-1) < 1e-3 {
			continue
		}
		tw := d * (2.5*r.Float64() - 0.3)
		down := 100.0
		pipeRun := &run{up: down + s*l, down: down, measured: l, diameter: d, count: 1, n: n, a: 1, b: 0}
		g := hgl{j: &judge{p: &plan{runs: []run{*pipeRun}}}, more: 1, flow: func(*run) (float64, bool) { return q, true }}
		u, _ := g.tube(0)
		res, err := gradeline.Solve(gradeline.Network{Nodes: []gradeline.Node{{}, {Kind: gradeline.Open, Entrance: 0.5}}, Outlet: 0, Level: unitLevel(down + tw),
			Runs: []gradeline.Run{{From: 1, To: 0, Pipes: pipe.Alike(1, pipe.Pipe{Diameter: unit.Length(d), N: hydro.Roughness(n)}), Length: unit.Length(l), InvertUp: unit.Elevation(pipeRun.up), InvertDown: unit.Elevation(down), Flow: hydro.Flow(q)}}})
		if err != nil {
			t.Fatal(err)
		}
		start := u.crit
		if math.IsNaN(u.uniform) {
			start = (u.crit + d) / 2
		}
		up, _, _ := u.climb(max(start, tw))
		want := float64(res.Runs[0].DepthUp)
		seen[res.Runs[0].Regime]++
		worst = max(worst, math.Abs(up-want))
		if math.Abs(up-want) > 1e-3 {
			t.Errorf("%v: d %.4f n %.3f l %.2f s %.5f q %.6f (full %.6f) water %.4f: %.4f here, %.4f there", res.Runs[0].Regime, d, n, l, s, q, full, tw, up, want)
		}
	}
	t.Logf("worst %.2f mm; %v", 1000*worst, seen)
	if len(seen) < 6 {
		t.Errorf("only %v were met", seen)
	}
}

func unitLevel(v float64) *unit.Elevation { e := unit.Elevation(v); return &e }

// The curve of the water in pipes of all sizes, slopes, flows and lengths, from any
// depth below, against one in forty times as many steps.
func TestOracleCurve(t *testing.T) {
	worst, n := 0.0, 0
	for _, d := range []float64{0.1016, 0.1524, 0.2032, 0.3048} {
		for _, s := range []float64{0.002, 0.005, 0.01, 0.03, 0.1} {
			for _, share := range []float64{0.02, 0.1, 0.3, 0.6, 0.9, 0.99, 1.02, 1.3} { // of what the pipe carries full
				full := math.Pi * d * d / 4 * math.Pow(d/4, 2.0/3) / 0.011 * math.Sqrt(s)
				for _, l := range []float64{0.5, 2, 10, 30, 100} {
					j := &judge{p: &plan{runs: []run{{measured: l, n: 0.011, diameter: d, count: 1, up: l * s}}}}
					g := hgl{j: j, more: 1, flow: func(*run) (float64, bool) { return share * full, true }}
					p, ok := g.tube(0)
					if !ok || !(p.crit > 0) {
						t.Fatal("no tube")
					}
					for _, y := range []float64{0, 0.3, 0.7, 0.95, 1.5, 3} {
						up, down, free := p.climb(y * d)
						u, w, f := p.climbBy(y*d, 40*curveSteps, math.Pow(curveLeft, 1.0/40))
						n++
						if worst = max(worst, math.Abs(up-u)); math.Abs(up-u) > 5e-4 || down != w || free != f {
							t.Errorf("D %g, slope %g, %g of full, %g m, %g D below: %.5f %.5f %t, finer %.5f %.5f %t", d, s, share, l, y, up, down, free, u, w, f)
						}
					}
				}
			}
		}
	}
	t.Logf("%d curves, at most %.2f mm apart", n, 1000*worst)
}
