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
