package gradeline

import (
	"errors"
	"fmt"
	"math"
	"math/rand"
	"strings"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/internal/published"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
)

func el(e float64) *unit.Elevation { x := unit.Elevation(e); return &x }

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, tol)
	}
}

// one returns a network of one run from an open node to the outlet.
func one(d, n, length, up, down, q float64, level *unit.Elevation) Network {
	return Network{
		Nodes: []Node{{Name: "out"}, {Name: "basin", Kind: Open, Rim: el(up + 1), Entrance: 0.5}},
		Runs: []Run{{Name: "r", From: 1, To: 0, Pipes: pipe.Alike(1, pipe.Pipe{Diameter: unit.Length(d), N: hydro.Roughness(n)}),
			Length: unit.Length(length), InvertUp: unit.Elevation(up), InvertDown: unit.Elevation(down), Flow: hydro.Flow(q)}},
		Level: level,
	}
}

// hg-tw-rule: a constructed input. Two published rules disagree at the first row:
// (dc+D)/2 gives 50.85, critical depth 50.70; both are kept.
func TestPublishedStart(t *testing.T) {
	for i, tw := range []float64{50.2, 50.9, 51.4} {
		got := must(StartLevel(unit.Elevation(50*unit.Foot), unit.Foot, 0.7*unit.Foot, el(tw*0.3048), MidCritical))
		published.Check(t, published.Value{What: fmt.Sprintf("tailwater %g ft", tw), Src: source.HEC22, Loc: "section 7.1.4, from memory; input ours",
			Got: float64(got) / 0.3048, Want: []float64{50.85, 50.9, 51.4}[i], Tol: 0.001})
		other := must(StartLevel(unit.Elevation(50*unit.Foot), unit.Foot, 0.7*unit.Foot, el(tw*0.3048), Critical))
		published.Check(t, published.Value{What: fmt.Sprintf("tailwater %g ft", tw), Src: source.TxDOT, Loc: "chapter 6 section 3; input ours",
			Got: float64(other) / 0.3048, Want: []float64{50.70, 50.9, 51.4}[i], Tol: 0.001})
	}
}

// hg-ke
func TestPublishedEntrances(t *testing.T) {
	want := map[string]float64{
		"concrete, projecting, socket end": 0.2, "concrete, projecting, square cut": 0.5, "concrete, headwall, square edge": 0.5,
		"concrete, headwall, rounded edge": 0.2, "mitred to the slope": 0.7, "end section": 0.5, "bevelled edge": 0.2,
		"corrugated metal, projecting": 0.9, "corrugated metal, headwall, square edge": 0.5,
	}
	for _, e := range Entrances() {
		published.Check(t, published.Value{What: e.Name, Src: source.MSMA, Loc: "chart 27.2", Got: e.Ke, Want: want[e.Name], Tol: 1e-9})
	}
	if len(Entrances()) != len(want) {
		t.Errorf("%d entrances, want %d", len(Entrances()), len(want))
	}
}

// hg-darcy-eq, losses: V 1 m/s, ke 0.5, exit 1.0; g there is 9.8.
func TestPublishedLosses(t *testing.T) {
	n := one(0.3, 0.013, 30, 10, 10-0.03, math.Pi/4*0.09, el(11))
	r := must(Solve(n))
	hv := 1 / (2 * hydro.Gravity)
	published.Check(t,
		published.Value{What: "entrance", Src: source.Darcy, Loc: "ke 0.5", Got: float64(r.Nodes[1].Entrance) - hv, Want: 0.02551, Rel: 0.005},
		published.Value{What: "exit", Src: source.Darcy, Loc: "1.0", Got: float64(r.Nodes[0].Exit), Want: 0.05102, Rel: 0.005},
		published.Value{What: "friction", Src: source.Darcy, Loc: "L 30 m", Got: float64(r.Runs[0].Up - r.Runs[0].Down), Want: 0.1604, Rel: 0.005})
}

// Hand: 0.2 m pipe, n 0.012, 50 m at 1 %, 0.05 m3/s, water 0.5 m over the lower
// invert of 100. Kfull = 0.3117/0.012*0.2^(8/3) = 0.35536; Sf = (0.05/0.35536)^2 =
// 0.019797; full all along since Sf > S0: up = 100.5 + 50*0.019797 = 101.490. V =
// 0.05/0.0314159 = 1.59155 m/s, hv 0.12911; basin, Ke 0.5: 101.490 + 0.19366.
func TestHandFull(t *testing.T) {
	r := must(Solve(one(0.2, 0.012, 50, 100.5, 100, 0.05, el(100.5))))
	near(t, "up", float64(r.Runs[0].Up), 101.490, 0.0015)
	near(t, "basin", float64(r.Nodes[1].Level), 101.6836, 0.0015)
	if r.Runs[0].Regime != Full || !r.Nodes[1].Spills || len(r.Spilling) != 1 {
		t.Errorf("%+v", r)
	}
}

// Hand: still water. Level 100.3 over a pipe from 100 up to 100.5: dry above; over
// 101 it stands at 101 everywhere.
func TestHandStill(t *testing.T) {
	r := must(Solve(one(0.2, 0.012, 50, 100.5, 100, 0, el(100.3))))
	near(t, "dry basin", float64(r.Nodes[1].Level), 100.5, 1e-9)
	r = must(Solve(one(0.2, 0.012, 50, 100.5, 100, 0, el(101))))
	near(t, "still basin", float64(r.Nodes[1].Level), 101, 1e-9)
}

// Hand: a wye under pressure. All pipes 0.2 m, area 0.0314159. Out 0.04 m3/s (V
// 1.27324), main 0.03 straight on (V 0.95493), lateral 0.01 at 45 degrees (V
// 0.31831). Momentum: 0.04*1.27324 - 0.03*0.95493 - 0.01*0.31831*0.70711 =
// 0.050930 - 0.028648 - 0.002251 = 0.020031; over 9.81*0.0314159 = 0.308190:
// rise 0.06500 m.
func TestHandWye(t *testing.T) {
	p := pipe.Alike(1, pipe.Pipe{Diameter: 0.2, N: 0.012})
	n := Network{
		Nodes: []Node{{Name: "out"}, {Name: "wye"}, {Name: "a", Kind: Open}, {Name: "b", Kind: Open}},
		Runs: []Run{
			{Name: "trunk", From: 1, To: 0, Pipes: p, Length: 10, InvertUp: 100.1, InvertDown: 100, Flow: 0.04},
			{Name: "main", From: 2, To: 1, Pipes: p, Length: 10, InvertUp: 100.2, InvertDown: 100.1, Flow: 0.03},
			{Name: "lateral", From: 3, To: 1, Pipes: p, Length: 5, InvertUp: 100.2, InvertDown: 100.1, Flow: 0.01, JoinAngle: 45},
		},
		Level: el(101),
	}
	r := must(Solve(n))
	near(t, "rise", float64(r.Nodes[1].Junction), 0.06500, 0.00005)
	// A bend of 90 degrees in the trunk: 0.0033*90*1.27324^2/19.62 = 0.02454.
	n.Runs[0].Bends = []float64{90}
	b := must(Solve(n))
	near(t, "bend", float64(b.Nodes[1].Level-r.Nodes[1].Level), 0.02454, 0.00005)
}

// slow is gradually varied flow by Runge-Kutta in small steps of distance, on
// formulas written apart from the room's: the slow twin.
func slow(d, n, s0, l, q, y float64) float64 {
	geom := func(y float64) (a, p, t float64) {
		if y >= d {
			return math.Pi * d * d / 4, math.Pi * d, 0
		}
		th := 2 * math.Acos(1-2*y/d)
		return d * d / 8 * (th - math.Sin(th)), d * th / 2, d * math.Sin(th/2)
	}
	afull, pfull, _ := geom(d)
	vfull := math.Pow(afull/pfull, 2.0/3) / n
	slope := func(y float64) float64 { // dy/dx upward
		a, p, t := geom(y)
		k := math.Min(a*math.Pow(a/p, 2.0/3)/n, afull*vfull)
		sf := q * q / (k * k)
		fr2 := q * q * t / (9.81 * a * a * a)
		if y >= d {
			fr2 = 0
		}
		return -(s0 - sf) / (1 - fr2)
	}
	steps := 60000
	h := l / float64(steps)
	for i := 0; i < steps; i++ {
		k1 := slope(y)
		k2 := slope(y + h/2*k1)
		k3 := slope(y + h/2*k2)
		k4 := slope(y + h*k3)
		y += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
	}
	return y
}

func TestOracleGraduallyVaried(t *testing.T) {
	d, n := 0.3, 0.012
	for _, c := range []struct {
		name    string
		s, l, q float64
		level   float64 // over the lower invert
	}{
		{"M1 from a pond", 0.004, 40, 0.03, 0.28},
		{"M1 short", 0.004, 5, 0.03, 0.28},
		{"M1 from full", 0.004, 80, 0.03, 0.45},
		{"M2 to a low tailwater", 0.004, 30, 0.04, 0.16},
		{"H2 level pipe", 0, 20, 0.02, 0.2},
		{"A2 against the fall", -0.002, 20, 0.02, 0.2},
		{"fills on the way up", 0.004, 60, 0.08, 0.28},
		{"S1 short of its end", 0.02, 5.3, 0.03, 0.28},
	} {
		p := one(d, n, c.l, 100+c.s*c.l, 100, c.q, el(100+c.level))
		p.Start = Critical // so that the stated level is what counts
		r, err := Solve(p)
		if err != nil {
			t.Fatal(c.name, err)
		}
		want := slow(d, n, c.s, c.l, c.q, c.level)
		if math.Abs(float64(r.Runs[0].DepthUp)-want) > 2e-4 {
			t.Errorf("%s: depth at the upper end %.5f, small steps %.5f (%v)", c.name, r.Runs[0].DepthUp, want, r.Runs[0].Regime)
		}
	}
}

// The tabled section against the section itself.
func TestOracleElements(t *testing.T) {
	rng := rand.New(rand.NewSource(8))
	p := pipe.Pipe{Diameter: 0.1524, N: 0.012}
	c := newConduit(pipe.Alike(1, p), 0.004, 0.01)
	for i := 0; i < 5000; i++ {
		y := rng.Float64() * 0.1524
		a, top, k := c.at(y)
		s := must(pipe.Circle(p.Diameter, unit.Length(y)))
		if math.Abs(a/float64(s.Area)-1) > 1e-5 || math.Abs(top/float64(s.TopWidth)-1) > 1e-9 || math.Abs(k/math.Min(s.Conveyance(p.N), c.kf)-1) > 1e-5 {
			t.Fatalf("y/D %.4f: %g %g %g, section %+v", y/0.1524, a, top, k, s)
		}
	}
}

// A free end of a mild pipe: starting a hair above critical depth, small steps
// agree along the drawdown.
func TestOracleDrawdown(t *testing.T) {
	n := one(0.3, 0.012, 15, 100.06, 100, 0.04, nil)
	r := must(Solve(n))
	yc := float64(r.Runs[0].CriticalDepth)
	want := slow(0.3, 0.012, 0.004, 15, 0.04, yc*1.0005)
	near(t, "depth at the upper end", float64(r.Runs[0].DepthUp), want, 5e-4)
	if r.Runs[0].Regime != Drawdown {
		t.Errorf("regime %v", r.Runs[0].Regime)
	}
}

// A long mild pipe comes to normal depth; a steep one begins at critical depth and
// its jump stands where the momenta meet.
func TestPropertyEnds(t *testing.T) {
	r := must(Solve(one(0.3, 0.012, 2000, 108, 100, 0.04, nil)))
	near(t, "normal depth", float64(r.Runs[0].DepthUp), float64(*r.Runs[0].NormalDepth), 1e-4)
	n := one(0.3, 0.012, 40, 100.8, 100, 0.03, el(100.4))
	r = must(Solve(n))
	near(t, "critical depth", float64(r.Runs[0].DepthUp), float64(r.Runs[0].CriticalDepth), 1e-9)
	if r.Runs[0].Jump == nil || *r.Runs[0].Jump <= 0 || *r.Runs[0].Jump > 30 {
		t.Fatalf("no jump: %+v", r.Runs[0])
	}
	c := newConduit(n.Runs[0].Pipes, 0.03, 0.02)
	y := c.backwater(0.4, float64(*r.Runs[0].Jump), nil).up
	near(t, "momenta at the jump", c.momentum(y), c.momentum(c.yn), 0.01*c.momentum(c.yn))
}

// random returns a tree of n runs with everything drawn from rng.
func random(rng *rand.Rand, n int) Network {
	net := Network{Nodes: []Node{{Name: "out"}}}
	inv := []float64{100}
	for i := 1; i <= n; i++ {
		to := rng.Intn(i)
		if i > 20 {
			to = i - 1 - rng.Intn(20)
		}
		l := 2 + 20*rng.Float64()
		s := 0.002 + 0.03*rng.Float64()*rng.Float64()
		up := inv[to] + s*l
		inv = append(inv, up)
		kind := Kind(rng.Intn(2))
		net.Nodes = append(net.Nodes, Node{Kind: kind, Rim: el(up + 0.6), Entrance: 0.5})
		d := []float64{0.1016, 0.1524, 0.2032, 0.254}[rng.Intn(4)]
		b := pipe.Alike(1+rng.Intn(2), pipe.Pipe{Diameter: unit.Length(d), N: 0.012})
		if rng.Intn(5) == 0 {
			b = append(b, pipe.Pipe{Diameter: 0.15, N: 0.016})
		}
		net.Runs = append(net.Runs, Run{From: i, To: to, Pipes: b, Length: unit.Length(l), InvertUp: unit.Elevation(up),
			InvertDown: unit.Elevation(inv[to]), Flow: hydro.Flow(0.03 * rng.Float64() * rng.Float64()), JoinAngle: float64(rng.Intn(3)) * 45})
	}
	return net
}

// More water outside never lowers a level (but for 2 mm at junctions, whose areas follow
// the level), moving the datum changes nothing, and
// the energy line never falls on the way up a run.
func TestPropertyNetworks(t *testing.T) {
	rng := rand.New(rand.NewSource(11))
	for k := 0; k < 60; k++ {
		n := random(rng, 30)
		var last Result
		for i, tw := range []float64{99, 100.05, 100.1, 100.2, 100.5, 101, 102} {
			n.Level = el(tw)
			r := must(Solve(n))
			for j := range r.Nodes {
				if i > 0 && r.Nodes[j].Level < last.Nodes[j].Level-2e-3 {
					t.Fatalf("network %d: water %g outside lowered node %d from %.6f to %.6f", k, tw, j, last.Nodes[j].Level, r.Nodes[j].Level)
				}
			}
			for j, run := range r.Runs {
				energy := func(level unit.Elevation, v hydro.Velocity) float64 {
					return float64(level) + float64(v*v)/(2*hydro.Gravity)
				}
				if energy(run.Up, run.VelocityUp) < energy(run.Down, run.VelocityDown)-1e-5 && run.Regime != Steep || run.Up < n.Runs[j].InvertUp {
					t.Fatalf("network %d run %d: energy falls on the way up: %+v", k, j, run)
				}
			}
			last = r
		}
		moved := n
		moved.Nodes, moved.Runs = append([]Node(nil), n.Nodes...), append([]Run(nil), n.Runs...)
		for j := range moved.Nodes {
			if moved.Nodes[j].Rim != nil {
				moved.Nodes[j].Rim = el(float64(*moved.Nodes[j].Rim) - 90)
			}
		}
		for j := range moved.Runs {
			moved.Runs[j].InvertUp -= 90
			moved.Runs[j].InvertDown -= 90
		}
		moved.Level = el(float64(*n.Level) - 90)
		m := must(Solve(moved))
		for j := range m.Nodes {
			near(t, "moved datum", float64(m.Nodes[j].Level)+90, float64(last.Nodes[j].Level), 1e-6)
		}
	}
}

// Stations of Along end where Solve says.
func TestPropertyAlong(t *testing.T) {
	rng := rand.New(rand.NewSource(12))
	n := random(rng, 40)
	n.Level = el(100.3)
	r := must(Solve(n))
	for i, run := range n.Runs {
		st := must(Along(run, r.Runs[i].DepthDown))
		if len(st) == 0 {
			t.Fatalf("run %d: no stations", i)
		}
		last := st[len(st)-1]
		near(t, "end of the run", float64(last.Distance), float64(run.Length), 1e-6)
		near(t, "level at the end", float64(last.Level), float64(r.Runs[i].Up-unit.Elevation(r.Runs[i].Losses)), 1e-6)
		for k := 1; k < len(st); k++ {
			if st[k].Distance <= st[k-1].Distance {
				t.Fatalf("run %d: stations out of order: %+v", i, st)
			}
		}
	}
}

func TestTailwaterOverEveryRim(t *testing.T) {
	r := must(Solve(one(0.2, 0.012, 20, 100.2, 100, 0.01, el(105))))
	found := false
	for _, n := range r.Notes {
		found = found || n.Code == NoteOutletOverRims
	}
	if !found || !r.Nodes[1].Spills {
		t.Errorf("not told: %+v", r)
	}
}

func TestBadInput(t *testing.T) {
	good := func() Network { return one(0.2, 0.012, 20, 100.2, 100, 0.01, nil) }
	for name, c := range map[string]struct {
		change func(*Network)
		want   string
	}{
		"no runs":          {func(n *Network) { n.Runs = nil }, "number of runs"},
		"no outlet":        {func(n *Network) { n.Outlet = 7 }, "outlet"},
		"node out of list": {func(n *Network) { n.Runs[0].From = 9 }, "joins nodes"},
		"no length":        {func(n *Network) { n.Runs[0].Length = 0 }, "length"},
		"no pipes":         {func(n *Network) { n.Runs[0].Pipes = nil }, "number of pipes"},
		"zero diameter":    {func(n *Network) { n.Runs[0].Pipes = pipe.Barrels{{Diameter: 0, N: 0.01}} }, "diameter"},
		"negative flow":    {func(n *Network) { n.Runs[0].Flow = -1 }, "flow"},
		"NaN flow":         {func(n *Network) { n.Runs[0].Flow = hydro.Flow(math.NaN()) }, "flow"},
		"NaN level":        {func(n *Network) { n.Level = el(math.NaN()) }, "water level"},
		"NaN rim":          {func(n *Network) { n.Nodes[1].Rim = el(math.NaN()) }, "rim"},
		"infinite invert":  {func(n *Network) { n.Runs[0].InvertUp = unit.Elevation(math.Inf(1)) }, "invert"},
		"two ways out":     {func(n *Network) { n.Runs = append(n.Runs, n.Runs[0]) }, "two ways out"},
		"cycle": {func(n *Network) {
			n.Nodes = append(n.Nodes, Node{}, Node{})
			a, b := n.Runs[0], n.Runs[0]
			a.From, a.To, b.From, b.To = 2, 3, 3, 2
			n.Runs = append(n.Runs, a, b)
		}, "does not lead"},
		"loose node":    {func(n *Network) { n.Nodes = append(n.Nodes, Node{Name: "x"}) }, "no run out"},
		"leaves outlet": {func(n *Network) { n.Runs[0].From, n.Runs[0].To = 0, 1 }, "leaves the outlet"},
	} {
		n := good()
		c.change(&n)
		_, err := Solve(n)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want a word of %q", name, err, c.want)
		}
	}
	n := good()
	n.Runs[0].Flow = -1
	var re *hydro.RangeError
	if _, err := Solve(n); !errors.As(err, &re) {
		t.Errorf("negative flow is no RangeError: %v", err)
	}
	// A run laid level or backwards is worked, and said.
	n = good()
	n.Runs[0].InvertUp = 99.9
	r, err := Solve(n)
	if err != nil || len(r.Notes) == 0 || r.Notes[0].Code != NoteAdverse {
		t.Errorf("adverse run: %v, %+v", err, r.Notes)
	}
}

// Whatever the sizes, slopes and flows, every level is a number and no level lies
// below the invert it stands on.
func TestPropertyFinite(t *testing.T) {
	rng := rand.New(rand.NewSource(77))
	wide := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
	for k := 0; k < 3000; k++ {
		d, l, q := wide(0.02, 3), wide(0.01, 5000), wide(1e-9, 20)
		s := wide(1e-7, 2) * []float64{1, 1, 1, -0.1, 0}[rng.Intn(5)]
		n := one(d, wide(0.005, 0.1), l, 100+s*l, 100, q, nil)
		if rng.Intn(2) == 0 {
			n.Level = el(100 + (rng.Float64()*4-1)*d)
		}
		if rng.Intn(4) == 0 {
			n.Runs[0].Pipes = append(n.Runs[0].Pipes, pipe.Pipe{Diameter: unit.Length(wide(0.02, 3)), N: 0.012})
		}
		r, err := Solve(n)
		if err != nil {
			t.Fatal(err)
		}
		g, v := r.Runs[0], r.Nodes[1]
		for what, x := range map[string]float64{"up": float64(g.Up), "down": float64(g.Down), "basin": float64(v.Level), "full": float64(g.FullLength)} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("%s is %g: %+v %+v", what, x, n.Runs[0], g)
			}
		}
		if g.DepthUp < 0 || g.DepthDown < 0 || g.FullLength < 0 || g.FullLength > n.Runs[0].Length+1e-9 || v.Level < g.Up {
			t.Fatalf("%+v: %+v", n.Runs[0], g)
		}
	}
}
