package profile

import (
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// wildStock is three pipes whose walls, prices, roughness and least slopes keep
// no order.
func wildStock(r *rand.Rand) []Pipe {
	s := make([]Pipe, 3)
	for k := range s {
		d := smooth[k].Inside
		s[k] = Pipe{Inside: d, Outside: d * unit.Length(1.01+r.Float64()*0.2), N: hydro.Roughness(0.011 + r.Float64()*0.006), Price: r.Float64()}
		if r.IntN(3) == 0 {
			s[k].LeastSlope = unit.Slope(r.Float64() * 0.01)
		}
	}
	return s
}

// wild returns a random tree of n reaches with stated flows, uneven ground and
// now and then a crossing, a drop, a start that is held, two pipes.
func wild(r *rand.Rand, n int, stock []Pipe) *Problem {
	p := &Problem{Stock: stock, Rules: yardRules()}
	p.Rules.TargetSlope = p.Rules.LeastSlope
	if r.IntN(2) == 0 {
		p.Rules.Match = Inverts
	}
	if r.IntN(4) == 0 {
		p.Rules.GreatestSlope = 0.03
	}
	p.Reaches = make([]Reach, n)
	level := make([]float64, n) // ground at the lower end
	fall := r.Float64() * 0.012
	rough := 0.08
	if r.IntN(3) == 0 { // dips and humps that bind between the ends
		rough = 0.25
		p.Rules.GreatestDepth = 1
	}
	for i := range p.Reaches {
		c := &p.Reaches[i]
		c.Down = i - 1
		if i > 1 && r.IntN(3) == 0 {
			c.Down = r.IntN(i)
		}
		end := 100.0
		if c.Down >= 0 {
			end = float64(p.Reaches[c.Down].Ground[0].Ground)
		}
		level[i] = end
		c.Length = unit.Length(2 + r.Float64()*14)
		up := end + fall*float64(c.Length) + r.NormFloat64()*0.04
		c.Ground = []Station{{0, unit.Elevation(up)}}
		for x := r.Float64() * 6; x < float64(c.Length)-0.1; x += 0.5 + r.Float64()*6 {
			if x < 0.1 {
				continue
			}
			z := up + (end-up)*x/float64(c.Length) + r.NormFloat64()*rough
			c.Ground = append(c.Ground, Station{unit.Length(x), unit.Elevation(z)})
		}
		c.Ground = append(c.Ground, Station{c.Length, unit.Elevation(end)})
		c.Stated = hydro.Flow(r.Float64() * 0.006)
		c.Count = 1
		if r.IntN(6) == 0 {
			c.Count = 2
		}
		c.TrenchPrice, c.DepthPrice, c.Fixed = 1, 1.2+r.Float64(), r.Float64()
		switch r.IntN(4) {
		case 0:
			c.Drop = unit.Length(r.Float64() * 0.2)
		case 1:
			c.Drop = unit.Length(math.Inf(1))
		}
		switch r.IntN(8) {
		case 0:
			v := unit.Elevation(up - 0.42 - r.Float64()*0.3)
			c.Start.Invert = &v
		case 1:
			v := unit.Elevation(up - 0.5 - r.Float64()*0.2)
			c.Start.AtMost = &v
		case 2:
			v := unit.Length(0.3 + r.Float64()*0.2)
			c.Start.Cover = &v
		}
		if r.IntN(10) == 0 {
			v := unit.Elevation(end - 0.5 - r.Float64()*0.3)
			c.ArriveAtMost = &v
		}
		if r.IntN(10) == 0 {
			z := up - 0.5 - r.Float64()*0.3
			c.Laid = &Levels{unit.Elevation(z), unit.Elevation(z - (0.002+0.01*r.Float64())*float64(c.Length))}
			c.Start, c.ArriveAtMost = Start{}, nil
		}
		if r.IntN(5) == 0 {
			x := r.Float64()
			z := up + (end-up)*x - 0.3 - r.Float64()*0.7
			c.Crossings = append(c.Crossings, Crossing{At: unit.Length(x) * c.Length, Low: unit.Elevation(z), High: unit.Elevation(z + 0.1), Pass: Pass(r.IntN(3))})
		}
		if r.IntN(6) == 0 {
			c.Pipes = []int{len(stock) - 1}
			if r.IntN(2) == 0 {
				c.Pipes = []int{0, len(stock) - 1}
			}
		}
		if c.Laid != nil {
			c.Pipes = []int{r.IntN(len(stock))}
		}
	}
	p.End.TieIn = unit.Elevation(100 - 0.45 - r.Float64()*0.7)
	if r.IntN(6) == 0 {
		v := p.End.TieIn + 0.1
		p.End.AtMost = &v
	}
	if r.IntN(4) == 0 {
		v := p.End.TieIn + unit.Elevation(0.1+0.3*r.Float64())
		p.End.Rim = &v
	}
	return p
}

// program is the linear program of p for given pipes and ways past crossings:
// variables u0, d0, u1, d1, ... measured down from 110 m, so that all are
// positive. rows a·x <= b.
type program struct {
	rows [][]float64
	rhs  []float64
	cost []float64
	base float64
}

func (q *program) leq(n int, b float64, terms ...float64) { // index, factor pairs
	row := make([]float64, n)
	for i := 0; i < len(terms); i += 2 {
		row[int(terms[i])] += terms[i+1]
	}
	q.rows = append(q.rows, row)
	q.rhs = append(q.rhs, b)
}

const top0 = 110.0

// write sets the program up from the problem alone: every station, no hull.
func write(p *Problem, size []int, under []bool, flow []float64) (*program, bool) {
	n := 2 * len(p.Reaches)
	q := &program{cost: make([]float64, n)}
	cross := 0
	for i := range p.Reaches {
		r := &p.Reaches[i]
		s := p.Stock[size[i]]
		L := float64(r.Length)
		u, d := float64(2*i), float64(2*i+1)
		wall := float64(s.Outside-s.Inside) / 2
		top := float64(s.Inside) + wall
		bed := float64(p.Rules.Bedding)
		// Manning written out: Q = (1/n) pi D^2/4 (D/4)^(2/3) sqrt(s).
		D := float64(s.Inside)
		full := math.Pi * D * D / 4 * math.Cbrt(D*D/16) / float64(s.N) * float64(r.Count)
		least := max(float64(p.Rules.LeastSlope), float64(s.LeastSlope), flow[i]*flow[i]/full/full)
		if v := r.Laid; v != nil {
			q.leq(n, top0-float64(v.Up), u, 1)
			q.leq(n, float64(v.Up)-top0, u, -1)
			q.leq(n, top0-float64(v.Down), d, 1)
			q.leq(n, float64(v.Down)-top0, d, -1)
			for _, c := range r.Crossings {
				if c.Pass == Either {
					cross++
				}
			}
		} else {
			q.leq(n, -least*L, u, 1, d, -1) // x is measured downwards: d - u >= least L
			if g := float64(p.Rules.GreatestSlope); g > 0 {
				q.leq(n, g*L, d, 1, u, -1)
			}
			for j, st := range r.Ground {
				t := float64(st.At) / L
				// inverts: invert + top <= ground - cover  ->  -(x) <= ground - cover - top - 110
				skip := j == 0 && r.Start.Invert != nil
				if !skip {
					q.leq(n, float64(st.Ground)-float64(p.Rules.LeastCover)-top-top0, u, -(1 - t), d, -t)
					q.leq(n, top0-(float64(st.Ground)-float64(p.Rules.GreatestDepth)+bed+wall), u, 1-t, d, t)
				}
			}
			if v := r.Start.Invert; v != nil {
				q.leq(n, top0-float64(*v), u, 1)
				q.leq(n, float64(*v)-top0, u, -1)
			} else {
				if v := r.Start.AtMost; v != nil {
					q.leq(n, float64(*v)-top0, u, -1)
				}
				if v := r.Start.Cover; v != nil {
					q.leq(n, float64(r.Ground[0].Ground)-float64(*v)-top-top0, u, -1)
				}
			}
			if v := r.ArriveAtMost; v != nil {
				q.leq(n, float64(*v)-top0, d, -1)
			}
			for _, c := range r.Crossings {
				t := float64(c.At) / L
				below := c.Pass == Under
				if c.Pass == Either {
					below = under[cross]
					cross++
				}
				if below {
					q.leq(n, float64(c.Low)-top-top0, u, -(1 - t), d, -t)
				} else {
					q.leq(n, top0-float64(c.High)-wall, u, 1-t, d, t)
				}
			}
		}
		if r.Down >= 0 {
			if p.Stock[size[r.Down]].Inside < s.Inside {
				return nil, false
			}
			o := 0.0
			if p.Rules.Match == Crowns {
				o = float64(p.Stock[size[r.Down]].Inside - s.Inside)
			}
			v := float64(2 * r.Down)
			// invert d >= invert v + o  ->  xd - xv <= -o
			q.leq(n, -o, d, 1, v, -1)
			if g := float64(p.Reaches[r.Down].Drop); g < 1e3 {
				q.leq(n, o+g, v, 1, d, -1)
			}
		} else {
			q.leq(n, top0-float64(p.End.TieIn), d, 1)
			if v := p.End.AtMost; v != nil {
				q.leq(n, float64(*v)-top0, d, -1)
			}
			if v := p.End.Rim; v != nil {
				q.leq(n, float64(*v)-top-top0, d, -1)
			}
		}
		// price: fixed + trench + pipes + depth·(mean ground - mean invert + wall + bedding)
		mean := 0.0
		for j := 1; j < len(r.Ground); j++ {
			a, b := r.Ground[j-1], r.Ground[j]
			mean += float64(a.Ground+b.Ground) / 2 * float64(b.At-a.At) / L
		}
		q.base += r.Fixed + L*(r.TrenchPrice+float64(r.Count)*s.Price+r.DepthPrice*(mean-top0+wall+bed))
		q.cost[int(u)] += r.DepthPrice * L / 2
		q.cost[int(d)] += r.DepthPrice * L / 2
	}
	return q, true
}

// price solves the program; +Inf where it has no answer.
func (q *program) price(t *testing.T) float64 {
	n, m := len(q.cost), len(q.rows)
	// With slack: [G I][x s] = h, all >= 0.
	a := mat.NewDense(m, n+m, nil)
	c := make([]float64, n+m)
	copy(c, q.cost)
	b := make([]float64, m)
	for i, row := range q.rows {
		for j, v := range row {
			a.Set(i, j, v)
		}
		a.Set(i, n+i, 1)
		b[i] = q.rhs[i]
		if b[i] < 0 {
			for j := 0; j < n+m; j++ {
				a.Set(i, j, -a.At(i, j))
			}
			b[i] = -b[i]
		}
	}
	v, _, err := lp.Simplex(c, a, b, 1e-10, nil)
	if errors.Is(err, lp.ErrInfeasible) {
		return math.Inf(1)
	}
	if err != nil {
		t.Logf("simplex: %v", err)
		return math.NaN()
	}
	return v + q.base
}

func flowsOf(p *Problem) []float64 {
	q := make([]float64, len(p.Reaches))
	for i := range p.Reaches {
		for j := i; j >= 0; j = p.Reaches[j].Down {
			q[j] += float64(p.Reaches[i].Stated)
		}
	}
	return q
}

// Every choice of sizes and of ways past crossings, each with its own linear
// program over all inverts by another library: the least of them is the answer.
func TestOracleEverySizeByLinearProgram(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	s := NewSolver()
	var out Result
	fits, fails, odd := 0, 0, 0
	cases := 162
	if os.Getenv("FALLWRIGHT_LONG") != "" {
		cases = 166 // up to ten reaches: a minute
	}
	for c := range cases {
		stock := smooth
		if c%2 == 0 {
			stock = wildStock(r)
		}
		n := 1 + r.IntN(4)
		if c >= 160 { // mostly in a row
			n = 5 + c - 160
		}
		p := wild(r, n, stock)
		if c >= 160 {
			for i := range p.Reaches {
				p.Reaches[i].Crossings, p.Reaches[i].Start, p.Reaches[i].Laid, p.Reaches[i].ArriveAtMost = nil, Start{}, nil, nil
			}
			p.End.TieIn -= 0.3
			p.Rules.GreatestDepth += 0.4
		}
		flow := flowsOf(p)
		crossings := 0
		for i := range p.Reaches {
			for _, x := range p.Reaches[i].Crossings {
				if x.Pass == Either {
					crossings++
				}
			}
		}
		want := math.Inf(1)
		sizes := make([]int, n)
		under := make([]bool, crossings)
		var each func(i int)
		each = func(i int) {
			if i == n+crossings {
				if q, ok := write(p, sizes, under, flow); ok {
					v := q.price(t)
					if math.IsNaN(v) {
						odd++
					} else {
						want = min(want, v)
					}
				}
				return
			}
			if i >= n {
				for _, b := range []bool{false, true} {
					under[i-n] = b
					each(i + 1)
				}
				return
			}
			for k := range p.Stock {
				if in := p.Reaches[i].Pipes; in != nil && k != in[0] && k != in[len(in)-1] {
					continue
				}
				if d := p.Reaches[i].Down; d >= 0 && p.Stock[k].Inside > p.Stock[sizes[d]].Inside {
					continue // no decrease downstream; Down < i in these trees
				}
				sizes[i] = k
				each(i + 1)
			}
		}
		each(0)
		if err := s.Solve(p, &out); err != nil {
			if math.IsInf(want, 1) {
				continue // no sizes fit together
			}
			t.Fatalf("case %d: %v", c, err)
		}
		met := out.Exact
		if met != !math.IsInf(want, 1) {
			t.Errorf("case %d: met %v, linear programs give %g\n%+v", c, met, want, out)
			continue
		}
		if met {
			fits++
			if math.Abs(out.ExactCost-want) > 1e-7*want {
				t.Errorf("case %d, %d reaches: price %.9f, linear programs %.9f", c, n, out.ExactCost, want)
			}
		} else {
			fails++
		}
	}
	t.Logf("%d fit, %d do not, %d programs without an answer", fits, fails, odd)
	if fits < 40 || fails < 40 {
		t.Errorf("too one-sided: %d fit, %d do not", fits, fails)
	}
}
