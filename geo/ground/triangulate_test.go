package ground

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"math/rand"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// shotsOn puts n shots on a function over a box, from a seed.
func shotsOn(seed int64, n int, size float64, z func(x, y float64) float64) []Shot {
	r := rand.New(rand.NewSource(seed))
	out := make([]Shot, n)
	for i := range out {
		x, y := r.Float64()*size, r.Float64()*size
		out[i] = Shot{At: orb.Point{x, y}, Z: unit.Elevation(z(x, y)), SD: 0.01}
	}
	return out
}

func flat(x, y float64) float64 { return 100 }

// The signs of both predicates against rational arithmetic, on points chosen
// to be degenerate: a small integer lattice, shifted so that differences round.
func TestOraclePredicates(t *testing.T) {
	r := rand.New(rand.NewSource(4))
	rat := func(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }
	sub := func(a, b float64) *big.Rat { return new(big.Rat).Sub(rat(a), rat(b)) }
	mulr := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }
	zeros := 0
	for i := 0; i < 20000; i++ {
		var p [4]orb.Point
		shift, cell := 0.0, 1.0
		switch i % 3 {
		case 1:
			shift, cell = 4e6+1.0/3, 0.1
		case 2:
			cell = 1e-3 / 7
		}
		for k := range p {
			p[k] = orb.Point{shift + cell*float64(r.Intn(6)), cell * float64(r.Intn(6))}
			if i%5 == 0 {
				p[k][0] *= 1 + 0x1p-52
			}
		}
		det := mulr(sub(p[0][0], p[2][0]), sub(p[1][1], p[2][1]))
		det.Sub(det, mulr(sub(p[0][1], p[2][1]), sub(p[1][0], p[2][0])))
		if got := shape.Orient(p[0], p[1], p[2]); got != det.Sign() {
			t.Fatalf("orient%v = %d, exactly %d", p[:3], got, det.Sign())
		}
		lift := func(k int) (dx, dy, l *big.Rat) {
			dx, dy = sub(p[k][0], p[3][0]), sub(p[k][1], p[3][1])
			return dx, dy, new(big.Rat).Add(mulr(dx, dx), mulr(dy, dy))
		}
		ax, ay, al := lift(0)
		bx, by, bl := lift(1)
		cx, cy, cl := lift(2)
		m := func(px, py, qx, qy *big.Rat) *big.Rat { return new(big.Rat).Sub(mulr(px, qy), mulr(qx, py)) }
		in := mulr(al, m(bx, by, cx, cy))
		in.Add(in, mulr(bl, m(cx, cy, ax, ay)))
		in.Add(in, mulr(cl, m(ax, ay, bx, by)))
		got := inCircle(p[0][0], p[0][1], p[1][0], p[1][1], p[2][0], p[2][1], p[3][0], p[3][1])
		if s := big.NewFloat(got).Sign(); s != in.Sign() {
			t.Fatalf("inCircle%v = %v, exactly %d", p, got, in.Sign())
		}
		if in.Sign() == 0 {
			zeros++
		}
	}
	if zeros < 100 {
		t.Fatalf("only %d degenerate cases: the test tests nothing", zeros)
	}
}

// checkMesh holds the laws of a constrained Delaunay triangulation: the faces
// turn left and add up to the hull, each line is edges, and no corner that a
// face can see past its lines is within the face's circle.
func checkMesh(t *testing.T, s *TIN, lines []Line) {
	t.Helper()
	area := 0.0
	type edge struct{ a, b orb.Point }
	faces := map[edge]orb.Point{}
	fixed := map[edge]bool{}
	for _, f := range s.Triangles() {
		if shape.Orient(f.At[0], f.At[1], f.At[2]) <= 0 {
			t.Fatalf("face %v does not turn left", f.At)
		}
		area += cross2(f.At[0], f.At[1], f.At[2]) / 2
		for k := range f.At {
			e := edge{f.At[k], f.At[(k+1)%3]}
			if _, twice := faces[e]; twice {
				t.Fatalf("edge %v twice", e)
			}
			faces[e] = f.At[(k+2)%3]
			fixed[e] = f.Line[k]
		}
	}
	// outline: edges without a twin form one convex ring
	hull := 0.0
	for e := range faces {
		if _, ok := faces[edge{e.b, e.a}]; !ok {
			hull += (e.a[0]*e.b[1] - e.b[0]*e.a[1]) / 2
		}
	}
	if math.Abs(hull-area) > 1e-6*hull {
		t.Fatalf("faces cover %.9f m2 of %.9f", area, hull)
	}
	for e, c := range faces {
		d, ok := faces[edge{e.b, e.a}]
		if !ok {
			continue
		}
		if fixed[e] != fixed[edge{e.b, e.a}] {
			t.Fatalf("edge %v is a line from one side only", e)
		}
		if !fixed[e] && inCircle(e.a[0], e.a[1], e.b[0], e.b[1], c[0], c[1], d[0], d[1]) > 0 {
			t.Fatalf("edge %v is not Delaunay: %v sees %v", e, c, d)
		}
	}
	for i, l := range lines {
		for j := 1; j < len(l.Path); j++ {
			p, q := l.Path[j-1], l.Path[j]
			covered, n := 0.0, math.Hypot(q[0]-p[0], q[1]-p[1])
			for e := range faces {
				if !fixed[e] {
					continue
				}
				on := func(x orb.Point) bool {
					return math.Abs(cross2(p, q, x)) <= 1e-9*n && (x[0]-p[0])*(q[0]-p[0])+(x[1]-p[1])*(q[1]-p[1]) >= -1e-9 &&
						math.Hypot(x[0]-p[0], x[1]-p[1]) <= n+1e-9
				}
				if _, both := faces[edge{e.b, e.a}]; on(e.a) && on(e.b) && (!both || e.a[0]+math.Pi*e.a[1] < e.b[0]+math.Pi*e.b[1]) {
					covered += math.Hypot(e.b[0]-e.a[0], e.b[1]-e.a[1])
				}
			}
			if covered < n-1e-6 {
				t.Fatalf("line %d segment %d: edges cover %.6f of %.6f m", i, j-1, covered, n)
			}
		}
	}
}

func TestPropertyTriangulation(t *testing.T) {
	grid := func(n int, cell float64) []Shot {
		var out []Shot
		for i := 0; i < n*n; i++ {
			out = append(out, Shot{At: orb.Point{cell * float64(i%n), cell * float64(i/n)}, Z: 100})
		}
		return out
	}
	circle := func(n int) []Shot {
		var out []Shot
		for i := 0; i < n; i++ {
			a := 2 * math.Pi * float64(i) / float64(n)
			out = append(out, Shot{At: orb.Point{10 * math.Cos(a), 10 * math.Sin(a)}, Z: 100})
		}
		return out
	}
	for name, shots := range map[string][]Shot{
		"random":        shotsOn(1, 2000, 100, flat),
		"grid":          grid(30, 1),
		"grid of feet":  grid(30, 0.3048),
		"circle":        circle(60),
		"far from home": shift(shotsOn(2, 500, 50, flat), 4e6),
		"three":         {{At: orb.Point{0, 0}}, {At: orb.Point{1, 0}}, {At: orb.Point{0, 1}}},
	} {
		s, err := Triangulate(shots, nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		t.Run(name, func(t *testing.T) { checkMesh(t, s, nil) })
	}
}

func shift(shots []Shot, d float64) []Shot {
	for i := range shots {
		shots[i].At[0] += d
		shots[i].At[1] += d
	}
	return shots
}

// Lines at random over random shots: crossing, touching, overlapping, through
// shots. All heights lie on one plane so that no crossing is a conflict.
func TestPropertyLines(t *testing.T) {
	plane := func(x, y float64) float64 { return 100 + 0.02*x - 0.01*y }
	for seed := int64(1); seed <= 60; seed++ {
		r := rand.New(rand.NewSource(seed))
		shots := shotsOn(seed, 5+r.Intn(300), 50, plane)
		var lines []Line
		for i := 0; i < 1+r.Intn(12); i++ {
			var l Line
			for j := 0; j < 2+r.Intn(4); j++ {
				p := orb.Point{r.Float64() * 50, r.Float64() * 50}
				if r.Intn(3) == 0 { // on a lattice: many touch and overlap
					p = orb.Point{float64(5 * r.Intn(11)), float64(5 * r.Intn(11))}
				}
				if r.Intn(4) == 0 {
					p = shots[r.Intn(len(shots))].At
				}
				l.Path = append(l.Path, p)
				l.Z = append(l.Z, unit.Elevation(plane(p[0], p[1])))
			}
			l.SD = 0.01
			lines = append(lines, l)
		}
		s, err := Triangulate(shots, lines)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			checkMesh(t, s, lines)
			for i := 0; i < 50; i++ {
				p := orb.Point{r.Float64() * 50, r.Float64() * 50}
				if l, ok := s.At(p); ok && math.Abs(float64(l.Elevation)-plane(p[0], p[1])) > 1e-6 {
					t.Fatalf("at %v: %v, the plane is %v", p, l.Elevation, plane(p[0], p[1]))
				}
			}
		})
	}
}

// A swale's flow line of 99 m between banks of 100 m: without the line the
// ground over it is a saddle, with it the valley holds along its whole length.
//
//	banks at y = 0 and y = 10, z = 100; flow line at y = 5, z = 99
//	halfway between bank and line, y = 2.5: z = 99.5
func TestHandBreakline(t *testing.T) {
	var shots []Shot
	for x := 0.0; x <= 40; x += 2 {
		shots = append(shots, Shot{At: orb.Point{x, 0}, Z: 100}, Shot{At: orb.Point{x, 10}, Z: 100})
	}
	flow := Line{Path: orb.LineString{{0, 5}, {40, 5}}, Z: []unit.Elevation{99, 99}}
	s, err := Triangulate(shots, []Line{flow})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ x, y, z float64 }{{20, 5, 99}, {13, 5, 99}, {20, 0, 100}, {31, 10, 100}} {
		l, ok := s.At(orb.Point{c.x, c.y})
		if !ok || math.Abs(float64(l.Elevation)-c.z) > 1e-9 {
			t.Errorf("at %v, %v: %v %v, want %v", c.x, c.y, l.Elevation, ok, c.z)
		}
	}
	p := s.Along(orb.LineString{{20, 0}, {20, 10}})
	low, _ := p.Lowest()
	if !p.Complete() || math.Abs(float64(low.Distance)-5) > 1e-9 || math.Abs(float64(low.Elevation)-99) > 1e-9 {
		t.Errorf("across the swale: lowest %+v, gaps %v", low, p.Gaps)
	}
}

// Three shots make one plane: at (0,0) 10, at (10,0) 11, at (0,10) 12, so
// z = 10 + 0.1 x + 0.2 y; gradient (0.1, 0.2), slope sqrt(0.05).
// Standard error at the middle (10/3, 10/3), shots of 0.03: noise
// 0.03/sqrt(3) = 0.017321; h^2 = (2*(100/9) + 2*(400/9+100/9))/3 = 44.444...,
// r = 0.02: r h = 0.133333; together 0.134454.
func TestHandOnePlane(t *testing.T) {
	s, err := Triangulate([]Shot{{orb.Point{0, 0}, 10, 0.03}, {orb.Point{10, 0}, 11, 0.03}, {orb.Point{0, 10}, 12, 0.03}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	l, ok := s.At(orb.Point{10.0 / 3, 10.0 / 3})
	if !ok || math.Abs(float64(l.Elevation)-11) > 1e-12 || math.Abs(float64(l.StdErr)-0.134454) > 1e-6 {
		t.Errorf("middle: %+v %v", l, ok)
	}
	if l, _ := s.At(orb.Point{10, 0}); l.Elevation != 11 || math.Abs(float64(l.StdErr)-0.03) > 1e-12 {
		t.Errorf("at a shot: %+v", l)
	}
	g, ok := s.Gradient(orb.Point{2, 2})
	if !ok || math.Abs(float64(g.Slope)-math.Sqrt(0.05)) > 1e-12 || math.Abs(g.Down[0]+0.1/math.Sqrt(0.05)) > 1e-12 {
		t.Errorf("gradient %+v", g)
	}
	if _, ok := s.At(orb.Point{6, 6}); ok {
		t.Error("a number outside the shots")
	}
	if l, ok := s.At(orb.Point{5.0001, 5.0001}); !ok || math.Abs(float64(l.Elevation)-11.5) > 1e-3 {
		t.Errorf("0.14 mm off the hull is on it: %v %v", l, ok)
	}
	p := s.Along(orb.LineString{{-5, 2}, {15, 2}})
	if len(p.Gaps) != 2 || p.Gaps[0] != (Gap{0, 5}) || math.Abs(float64(p.Gaps[1].From)-13) > 1e-9 || p.Length != 20 {
		t.Errorf("gaps %v of %v", p.Gaps, p.Length)
	}
	if _, ok := p.At(3); ok {
		t.Error("a number in a gap")
	}
	if l, ok := p.At(7); !ok || math.Abs(float64(l.Elevation)-10.6) > 1e-9 {
		t.Errorf("at 7 m: %v %v", l, ok)
	}
}

// The profile against the surface itself at many places, on shots, lines,
// through corners and along edges.
func TestPropertyProfileIsTheSurface(t *testing.T) {
	bumpy := func(x, y float64) float64 { return 100 + math.Sin(x/7)*math.Cos(y/5) }
	shots := shotsOn(7, 400, 60, bumpy)
	s, err := Triangulate(shots, nil)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewSource(8))
	lines := []orb.LineString{{shots[0].At, shots[1].At, shots[2].At}}
	tr := s.Triangles()
	for i := 0; i < 40; i++ {
		f := tr[r.Intn(len(tr))]
		lines = append(lines, orb.LineString{f.At[0], f.At[1], f.At[2]}) // along edges
		lines = append(lines, orb.LineString{{r.Float64() * 60, r.Float64() * 60}, {r.Float64() * 60, r.Float64() * 60}})
	}
	for i, l := range lines {
		p := s.Along(l)
		breaks := 0
		for k := 0; k <= 400; k++ {
			d := unit.Length(float64(k) / 400 * float64(p.Length))
			got, ok := p.At(d)
			at := shape.PointAt(l, d)
			want, in := s.At(at)
			if ok != in {
				// within a hair of the outline the two may differ
				continue
			}
			if ok && math.Abs(float64(got.Elevation-want.Elevation)) > 1e-6 {
				t.Fatalf("line %d %v at %.4f m: profile %.6f, surface %.6f", i, l, d, got.Elevation, want.Elevation)
			}
			if ok {
				breaks++
			}
		}
		if breaks < 200 && i < 1 {
			t.Fatalf("line %d: only %d places compared", i, breaks)
		}
		for k := 1; k < len(p.Stations); k++ {
			if p.Stations[k].Distance <= p.Stations[k-1].Distance {
				t.Fatalf("line %d: stations out of order at %d", i, k)
			}
		}
	}
}

func TestHandRefusals(t *testing.T) {
	square := []Shot{{orb.Point{0, 0}, 10, 0.01}, {orb.Point{10, 0}, 10, 0.01}, {orb.Point{10, 10}, 10, 0.01}, {orb.Point{0, 10}, 10, 0.01}}
	with := func(s ...Shot) []Shot { return append(append([]Shot(nil), square...), s...) }
	for _, c := range []struct {
		name  string
		shots []Shot
		lines []Line
		rule  Rule
		text  string
	}{
		{"none", nil, nil, RuleTooFew, "0 positions"},
		{"two", square[:2], nil, RuleTooFew, "2 positions"},
		{"on one line", []Shot{{At: orb.Point{0, 0}}, {At: orb.Point{1, 1}}, {At: orb.Point{2, 2}}, {At: orb.Point{7, 7}}}, nil, RuleTooFew, "one line"},
		{"nan", with(Shot{At: orb.Point{math.NaN(), 1}}), nil, RuleNotFinite, "shot 4"},
		{"height inf", with(Shot{At: orb.Point{1, 1}, Z: unit.Elevation(math.Inf(1))}), nil, RuleNotFinite, "shot 4"},
		{"negative sd", with(Shot{At: orb.Point{1, 1}, SD: -1}), nil, RuleNotFinite, "negative"},
		{"two heights", with(Shot{orb.Point{10, 10.0004}, 10.5, 0.01}), nil, RuleHeights, "shot 2 and shot 4: two heights at one place, 10.000 m and 10.500 m"},
		{"three heights", with(Shot{orb.Point{5, 5}, 10, 0}, Shot{orb.Point{5, 5}, 10, 0}, Shot{orb.Point{5, 5}, 10.002, 0}), nil, RuleHeights, "shot 6"},
		{"short line", square, []Line{{Path: orb.LineString{{1, 1}}, Z: []unit.Elevation{1}}}, RuleLine, "line 0"},
		{"line without heights", square, []Line{{Path: orb.LineString{{1, 1}, {2, 2}}}}, RuleLine, "0 heights"},
		{"crossing lines", square, []Line{
			{Path: orb.LineString{{1, 5}, {9, 5}}, Z: []unit.Elevation{10, 10}},
			{Path: orb.LineString{{5, 1}, {5, 9}}, Z: []unit.Elevation{11, 11}}}, RuleCrossing, "cross at 5.00, 5.00 with heights 11.000 m and 10.000 m"},
	} {
		_, err := Triangulate(c.shots, c.lines)
		var e *InputError
		if !errors.As(err, &e) || e.Rule != c.rule || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: %v; want %s with %q", c.name, err, c.rule, c.text)
		}
	}
	// heights within three standard errors of their difference are one shot, and told
	s, err := Triangulate(with(Shot{orb.Point{10, 10}, 10.02, 0.01}), nil)
	if err != nil {
		t.Fatal(err)
	}
	m := s.Merged()
	if len(m) != 1 || len(m[0].Refs) != 2 || m[0].Refs[0] != (Ref{-1, 2}) || m[0].Refs[1] != (Ref{-1, 4}) || math.Abs(float64(m[0].Spread)-0.02) > 1e-9 {
		t.Errorf("merged %+v", m)
	}
	if l, _ := s.At(orb.Point{10, 10}); math.Abs(float64(l.Elevation)-10.01) > 1e-12 {
		t.Errorf("mean %v", l)
	}
}

// A shot 3 m off, in the middle of thirty and at the edge; a slope; a hill.
func TestHandBusts(t *testing.T) {
	slope := func(x, y float64) float64 { return 100 + 0.1*x }
	for _, bad := range []int{0, 7, 29} {
		shots := shotsOn(3, 30, 30, slope)
		shots[bad].Z += 3
		s, err := Triangulate(shots, nil)
		if err != nil {
			t.Fatal(err)
		}
		b := s.Busts(1)
		if len(b) != 1 || b[0].Shot != bad || math.Abs(float64(b[0].Off)-3) > 1e-6 {
			t.Errorf("bust of shot %d: %+v", bad, b)
		}
		if l, _ := s.At(shots[bad].At); l.Elevation != shots[bad].Z {
			t.Errorf("the bust was smoothed to %v", l.Elevation)
		}
	}
	five := []Shot{{At: orb.Point{0, 0}, Z: 10}, {At: orb.Point{10, 0}, Z: 10}, {At: orb.Point{10, 10}, Z: 10}, {At: orb.Point{0, 10}, Z: 10}, {At: orb.Point{5, 5}, Z: 13}}
	s, _ := Triangulate(five, nil)
	if b := s.Busts(1); len(b) != 1 || b[0].Shot != 4 || b[0].Off != 3 {
		t.Errorf("four corners and a bust: %+v", b)
	}
	hill := shotsOn(5, 500, 100, func(x, y float64) float64 { return 100 + 8*math.Exp(-((x-50)*(x-50)+(y-50)*(y-50))/800) })
	s, _ = Triangulate(hill, nil)
	if b := s.Busts(1); len(b) != 0 {
		t.Errorf("a hill of 8 m on 100 m is no bust: %+v", b)
	}
}

// The answers do not change with the order of the shots (away from ties on a
// circle) nor with where the origin is.
func TestPropertyOrderAndOrigin(t *testing.T) {
	bumpy := func(x, y float64) float64 { return 100 + math.Sin(x/7)*math.Cos(y/5) }
	shots := shotsOn(11, 300, 60, bumpy)
	a, _ := Triangulate(shots, nil)
	back := make([]Shot, len(shots))
	for i, s := range shots {
		back[len(shots)-1-i] = s
	}
	b, _ := Triangulate(back, nil)
	moved, _ := Triangulate(shift(append([]Shot(nil), shots...), 1e5), nil)
	r := rand.New(rand.NewSource(2))
	for i := 0; i < 300; i++ {
		p := orb.Point{10 + r.Float64()*40, 10 + r.Float64()*40}
		la, _ := a.At(p)
		lb, ok := b.At(p)
		lm, _ := moved.At(orb.Point{p[0] + 1e5, p[1] + 1e5})
		if !ok || math.Abs(float64(la.Elevation-lb.Elevation)) > 1e-9 || math.Abs(float64(la.Elevation-lm.Elevation)) > 1e-6 {
			t.Fatalf("at %v: %v, %v, %v", p, la, lb, lm)
		}
	}
}
