package overland

import (
	"math"
	"math/rand"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

func grid(cell float64, rows ...[]float64) ground.Grid {
	g := ground.Grid{Cols: len(rows[0]), Rows: len(rows), North: cell * float64(len(rows)), CellX: cell, CellY: cell}
	for _, r := range rows {
		for _, z := range r {
			g.Z = append(g.Z, float32(z))
		}
	}
	return g
}

func of(cols, rows int, cell float64, z func(x, y float64) float64) ground.Grid {
	g := ground.Grid{Cols: cols, Rows: rows, North: float64(rows) * cell, CellX: cell, CellY: cell, Z: make([]float32, cols*rows)}
	for i := range g.Z {
		p := g.Centre(i%cols, i/cols)
		g.Z[i] = float32(z(p[0], p[1]))
	}
	return g
}

func flow(t testing.TB, in Input) *Field {
	t.Helper()
	f, err := Flow(in)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// The 6 by 6 grid used in teaching since Jenson and Domingue 1988, with the
// codes printed for it; terra's test test_flowAccumulation.R, as read. The
// lowest cell (row 6, column 5) drains off the south edge there: so here.
func TestPublishedDirections(t *testing.T) {
	g := grid(1,
		[]float64{78, 72, 69, 71, 58, 49}, []float64{74, 67, 56, 49, 46, 50}, []float64{69, 53, 44, 37, 38, 48},
		[]float64{64, 58, 55, 22, 31, 24}, []float64{68, 61, 47, 21, 16, 19}, []float64{74, 53, 34, 12, 11, 12})
	want := []int{2, 2, 2, 4, 4, 8, 2, 2, 2, 4, 4, 8, 1, 1, 2, 4, 8, 4, 128, 128, 1, 2, 4, 8, 2, 2, 1, 4, 4, 4, 1, 1, 1, 1, 4, 16}
	f := flow(t, Input{Ground: g})
	for i, w := range want {
		if f.Code(i) != w {
			t.Errorf("row %d column %d: code %d, published %d", i/6, i%6, f.Code(i), w)
		}
	}
	// the same source's accumulation, self excluded, at the outlet: 35 cells
	if n := f.Count[5*6+4] - 1; n != 35 {
		t.Errorf("%d cells drain to the lowest one, want 35", n)
	}
}

// Filling by the rule of Barnes, Lehman and Mulla 2014, worked by hand: the
// only way out is the edge cell of 7 in row 3, reached over the diagonal from
// row 2 column 4, so the pit fills to 7: 2+1+0+3+4+1+2 = 13 cell volumes.
func TestHandFill(t *testing.T) {
	g := grid(1, []float64{9, 9, 9, 9, 9}, []float64{9, 5, 6, 7, 9}, []float64{9, 4, 3, 8, 7}, []float64{9, 6, 5, 8, 9}, []float64{9, 9, 9, 9, 9})
	want := []float32{9, 9, 9, 9, 9, 9, 7, 7, 7, 9, 9, 7, 7, 8, 7, 9, 7, 7, 8, 9, 9, 9, 9, 9, 9}
	f := flow(t, Input{Ground: g})
	if !slices.Equal(f.Filled, want) {
		t.Errorf("filled %v", f.Filled)
	}
	p := pondsOf(f, 0, 0)
	if len(p) != 1 || p[0].Volume != 13 || p[0].Level != 7 || p[0].Depth != 4 || p[0].Area != 6 || *p[0].Spill != g.Centre(3, 1) || p[0].Lowest != g.Centre(2, 2) {
		t.Errorf("ponds %+v", p)
	}
}

// Tarboton's facet: e0 10, e1 9, e2 8.5, d 1: r = atan(0.5) = 26.565 degrees,
// s = sqrt(1.25) = 1.11803; to e1 goes (45 - 26.565)/45 = 0.4097.
func TestHandFacet(t *testing.T) {
	r, s := facet(10, 9, 8.5, 1, 1)
	if math.Abs(r*180/math.Pi-26.565) > 1e-3 || math.Abs(s-1.11803) > 1e-5 {
		t.Errorf("r %v s %v", r*180/math.Pi, s)
	}
	if r, s := facet(10, 9, 9.5, 1, 1); r != 0 || s != 1 {
		t.Errorf("clamped to the cardinal: %v %v", r, s)
	}
	if r, s := facet(10, 9.9, 8, 1, 1); r != math.Pi/4 || math.Abs(s-math.Sqrt2) > 1e-12 {
		t.Errorf("clamped to the diagonal: %v %v", r, s)
	}
	f := flow(t, Input{Ground: grid(1, []float64{12, 12, 8.5}, []float64{12, 10, 9}, []float64{12, 12, 12})})
	sh := f.Infinity()[4]
	if sh.To != East || sh.Rest != NorthEast || math.Abs(sh.Part-0.40966) > 1e-4 || math.Abs(sh.Angle*180/math.Pi-26.565) > 1e-3 {
		t.Errorf("share %+v", sh)
	}
}

// sweep is the filling of Planchon and Darboux 2002 without its small slope:
// start with water over everything, let it down until nothing changes. Slow,
// simple, and it shares nothing with the priority flood.
func sweep(f *Field) []float32 {
	g := f.Grid
	w := make([]float32, len(g.Z))
	inf := float32(math.Inf(1))
	for i := range w {
		switch {
		case !f.Wet(i):
			w[i] = float32(math.NaN())
		case f.edge[i] || f.Dir[i] == Drained || f.Dir[i] == Enclosed:
			w[i] = g.Z[i]
		default:
			w[i] = inf
		}
	}
	for changed := true; changed; {
		changed = false
		for pass := 0; pass < 2; pass++ {
			for n := range w {
				i := n
				if pass == 1 {
					i = len(w) - 1 - n
				}
				if !(w[i] > g.Z[i]) {
					continue
				}
				for k := 0; k < 8; k++ {
					j, ok := f.neighbour(i%g.Cols, i/g.Cols, k)
					if !ok || w[j] != w[j] {
						continue
					}
					if v := max(g.Z[i], w[j]); v < w[i] {
						w[i] = v
						changed = true
					}
				}
			}
		}
	}
	return w
}

// rough makes ground with holes, plateaus and ties.
func rough(seed int64, cols, rows int) Input {
	r := rand.New(rand.NewSource(seed))
	levels := []float64{3, 10, 1000}[seed%3]
	g := of(cols, rows, 1, func(x, y float64) float64 {
		return math.Floor(levels*(r.Float64()+0.02*x*float64(seed%2))) / levels
	})
	for i := 0; i < int(seed%4)*cols/8; i++ {
		g.Z[r.Intn(len(g.Z))] = float32(math.NaN())
	}
	in := Input{Ground: g}
	for i := 0; i < int(seed%5); i++ {
		x, y := 1+r.Float64()*float64(cols-8), 1+r.Float64()*float64(rows-8)
		in.Blocked = append(in.Blocked, orb.MultiPolygon{{{{x, y}, {x + 5, y}, {x + 5, y + 4}, {x, y + 4}, {x, y}}}})
	}
	return in
}

func equalLevels(a, b []float32) (int, bool) {
	for i := range a {
		if math.Float32bits(a[i]) != math.Float32bits(b[i]) && !(a[i] != a[i] && b[i] != b[i]) {
			return i, false
		}
	}
	return 0, true
}

func TestOracleSweep(t *testing.T) {
	for seed := int64(1); seed <= 60; seed++ {
		f := flow(t, rough(seed, 20+int(seed), 30))
		if i, ok := equalLevels(f.Filled, sweep(f)); !ok {
			t.Fatalf("seed %d: cell %d filled to %v, by sweeps to %v", seed, i, f.Filled[i], sweep(f)[i])
		}
	}
}

// Laws: filling never lowers; every open cell leads out in so many steps as
// there are cells at most; what leaves adds up to all open cells; no cell
// drains upward; D-infinity loses nothing either.
func TestPropertyFlow(t *testing.T) {
	for seed := int64(1); seed <= 60; seed++ {
		f := flow(t, rough(seed, 40, 25))
		wet, left := 0, 0
		for i := range f.Dir {
			if !f.Wet(i) {
				continue
			}
			wet++
			if f.Filled[i] < f.Grid.Z[i] {
				t.Fatalf("seed %d: cell %d lowered", seed, i)
			}
			j, ok := f.Next(i)
			if !ok {
				left += int(f.Count[i])
				continue
			}
			if !f.Wet(j) || f.Filled[j] > f.Filled[i] {
				t.Fatalf("seed %d: cell %d drains to %d, %v to %v", seed, i, j, f.Filled[i], f.Filled[j])
			}
		}
		if wet != left {
			t.Fatalf("seed %d: %d cells, %d leave", seed, wet, left)
		}
		sum := 0.0
		n := f.CountInfinity(f.Infinity())
		for i := range n {
			if _, ok := f.Next(i); !ok && f.Wet(i) {
				sum += n[i]
			}
		}
		if math.Abs(sum-float64(wet)) > 1e-6*float64(wet) {
			t.Fatalf("seed %d: D-infinity brings %v of %d cells out", seed, sum, wet)
		}
		for _, p := range pondsOf(f, 0, 0) {
			if n := cellsIn(f.Catchment(p.Runs)); n != p.Catchment {
				t.Fatalf("seed %d: pond of %d cells has %d upstream, counted %d", seed, cellsIn(p.Runs), n, p.Catchment)
			}
			if p.Spill != nil && f.Filled[p.Sill] != float32(p.Level) {
				t.Fatalf("seed %d: pond at %v has its sill at %v", seed, p.Level, f.Filled[p.Sill])
			}
		}
	}
}

// A plane drains straight down it; a cone's tip is its highest point, so water
// leaves everywhere; D8 on a plane falling east.
func TestHandPlaneAndCone(t *testing.T) {
	f := flow(t, Input{Ground: of(10, 8, 1, func(x, y float64) float64 { return 100 - 0.1*x })})
	for i, d := range f.Dir {
		if c := i % 10; c < 9 && d != East || c == 9 && d != Out {
			t.Fatalf("plane: cell %d drains %d", i, d)
		}
		if int(f.Count[i]) != i%10+1 {
			t.Fatalf("plane: %d cells through %d", f.Count[i], i)
		}
	}
	// D-infinity on a plane falling at an angle a: every inner cell has angle a
	a := -30 * math.Pi / 180
	f = flow(t, Input{Ground: of(20, 20, 1, func(x, y float64) float64 { return 100 - 0.1*(x*math.Cos(a)+y*math.Sin(a)) })})
	s := f.Infinity()[10*20+10]
	if math.Abs(s.Angle-(2*math.Pi+a)) > 1e-3 || math.Abs(s.Slope-0.1) > 1e-4 {
		t.Errorf("tilted plane: %+v", s)
	}
	f = flow(t, Input{Ground: of(21, 21, 1, func(x, y float64) float64 { return 50 - math.Hypot(x-10.5, y-10.5) })})
	if len(pondsOf(f, 0, 0)) != 0 {
		t.Error("a cone holds water")
	}
}

// A square bowl with straight sides, 1 m deep, known to the litre: bottom 6 by 6
// cells at 99, the rim ring of cells at 99.5, everything else at 100, and one
// notch of 99.8 to the west edge: level 99.8.
// Volume: 36*(0.8) + 28*(0.3) = 28.8 + 8.4 = 37.2 m3; area 64 m2.
func TestHandBowl(t *testing.T) {
	g := of(20, 20, 1, func(x, y float64) float64 {
		d := max(math.Abs(x-10), math.Abs(y-10))
		switch {
		case d < 3:
			return 99
		case d < 4:
			return 99.5
		case x < 10 && math.Abs(y-10.5) < 0.1:
			return 99.8
		}
		return 100
	})
	f := flow(t, Input{Ground: g})
	p := pondsOf(f, 0.03, 0)
	if len(p) != 1 {
		t.Fatalf("%d ponds", len(p))
	}
	if b := p[0]; math.Abs(b.Volume-37.2) > 1e-3 || b.Area != 64 || math.Abs(float64(b.Level)-99.8) > 1e-5 || math.Abs(float64(b.Depth)-0.8) > 1e-5 {
		t.Errorf("bowl %+v", b)
	}
	if a := shape.Area(f.Shape(p[0])); a != 64 {
		t.Errorf("outline of %v m2", a)
	}
	if *p[0].Spill != (orb.Point{5.5, 10.5}) {
		t.Errorf("spills at %v", *p[0].Spill)
	}
	// with an inlet at the bottom it holds nothing
	f = flow(t, Input{Ground: g, Drains: []orb.Point{{10, 10}}})
	if p := pondsOf(f, 0.03, 0); len(p) != 0 {
		t.Errorf("drained bowl %+v", p)
	}
}

// A house on a slope: water goes round it, and stands where its walls make a
// pocket on the uphill side.
func TestHandHouse(t *testing.T) {
	g := of(30, 30, 1, func(x, y float64) float64 { return 100 - 0.1*x })
	house := orb.MultiPolygon{{{{12, 8}, {20, 8}, {20, 22}, {12, 22}, {12, 18}, {16, 18}, {16, 12}, {12, 12}, {12, 8}}}} // a U open to the west
	f := flow(t, Input{Ground: g, Blocked: []orb.MultiPolygon{house}})
	blocked := 0
	for _, d := range f.Dir {
		if d == Blocked {
			blocked++
		}
	}
	if blocked != 8*14-4*6 {
		t.Errorf("%d cells blocked, the house has 88 m2", blocked)
	}
	p := pondsOf(f, 0.01, 0)
	// the pocket is 4 m deep and 6 m wide: sill at x = 11.5, 98.85 m; floor cells
	// at x = 12.5 .. 15.5 are 0.1 .. 0.4 lower: 6*(0.1+0.2+0.3+0.4) = 6 m3
	if len(p) != 1 || math.Abs(p[0].Volume-6) > 1e-4 || p[0].Area != 24 {
		t.Fatalf("pocket %+v", p)
	}
	path := f.Path(15*30 + 1)
	for _, q := range path {
		if shape.Locate(q, house) == shape.Inside {
			t.Errorf("path through the house at %v", q)
		}
	}
	if end := path[len(path)-1]; end[0] != 29.5 {
		t.Errorf("path ends at %v", end)
	}
	// a courtyard has no way out and is told
	yard := orb.MultiPolygon{{{{10, 10}, {20, 10}, {20, 20}, {10, 20}, {10, 10}}, {{13, 13}, {13, 17}, {17, 17}, {17, 13}, {13, 13}}}}
	f = flow(t, Input{Ground: g, Blocked: []orb.MultiPolygon{yard}})
	n := 0
	for _, d := range f.Dir {
		if d == Enclosed {
			n++
		}
	}
	if n != 1 {
		t.Errorf("%d enclosed lowest cells, want 1", n)
	}
}

// pondsOf are all ponds of a field.
func pondsOf(f *Field, depth unit.Length, volume float64) []Pond {
	p, _ := f.Ponds(depth, volume, 0)
	return p
}

// Outlines: area of the cells, rings simple and closed, with holes, corner
// touches and shapes that hold each other.
func TestPropertyOutline(t *testing.T) {
	r := rand.New(rand.NewSource(6))
	for trial := 0; trial < 200; trial++ {
		g := of(14, 12, 0.5, func(x, y float64) float64 { return 0 })
		var cells []int
		for i := range g.Z {
			if r.Float64() < 0.2+0.6*float64(trial%5)/4 {
				cells = append(cells, i)
			}
		}
		mp := Outline(g, runsOf(g.Cols, cells))
		if a := float64(shape.Area(mp)); math.Abs(a-0.25*float64(len(cells))) > 1e-9 {
			t.Fatalf("trial %d: %d cells, outline of %v m2", trial, len(cells), a)
		}
		if faults := shape.Check(mp); len(faults) > 0 {
			t.Fatalf("trial %d: %v", trial, faults)
		}
		back := Cells(g, mp)
		if !slices.Equal(back, cells) {
			t.Fatalf("trial %d: cells do not come back", trial)
		}
	}
}

func TestHandRefusals(t *testing.T) {
	g := of(5, 5, 1, func(x, y float64) float64 { return x })
	if _, err := Flow(Input{}); err == nil {
		t.Error("no ground was taken")
	}
	if _, err := Flow(Input{Ground: g, Drains: []orb.Point{{9, 9}}}); err == nil {
		t.Error("a drain off the raster was taken")
	}
	house := orb.MultiPolygon{{{{1, 1}, {4, 1}, {4, 4}, {1, 4}, {1, 1}}}}
	if _, err := Flow(Input{Ground: g, Blocked: []orb.MultiPolygon{house}, Drains: []orb.Point{{2.5, 2.5}}}); err == nil {
		t.Error("a drain in a house was taken")
	}
	s, err := ground.NewRaster(g, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Sample(s, s.Bounds(), 1e-6, 1e6); err == nil {
		t.Error("a raster of billions of cells was made")
	}
	one, err := Sample(s, s.Bounds(), 0.5, 1e6)
	if err != nil || one.Cols != 8 || math.Abs(float64(one.Z[0])-0.75) > 1e-6 {
		t.Errorf("%v %+v", err, one)
	}
	f := flow(t, Input{Ground: of(1, 1, 1, func(x, y float64) float64 { return 5 })})
	if f.Dir[0] != Out || f.Count[0] != 1 || len(f.Path(0)) != 2 {
		t.Errorf("one cell: %+v", f)
	}
	if _, err := f.Accumulate(nil, []Inflow{{At: orb.Point{99, 99}, Area: 1}}, 1, nil); err == nil {
		t.Error("an inflow far from the ground was taken")
	}
}

// A roof set down at a downspout goes downhill from there, and an intake that
// catches it lets nothing past.
func TestHandAccumulate(t *testing.T) {
	f := flow(t, Input{Ground: of(10, 3, 2, func(x, y float64) float64 { return 100 - 0.1*x })})
	a, err := f.Accumulate(nil, []Inflow{{At: orb.Point{5, 3}, Area: 50}}, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	// row 1: cells of 4 m2; the downspout stands in column 2
	if a[10+1] != 8 || a[10+2] != 62 || a[10+9] != 90 || a[9] != 40 {
		t.Errorf("row %v", a[10:20])
	}
	a, _ = f.Accumulate(nil, []Inflow{{At: orb.Point{5, 3}, Area: 50}}, 1, []int{10 + 4})
	if a[10+4] != 70 || a[10+5] != 4 || a[10+9] != 20 {
		t.Errorf("caught row %v", a[10:20])
	}
	w := make([]float32, 30)
	for i := range w {
		w[i] = 0.5
	}
	a, _ = f.Accumulate(w, nil, 1, nil)
	if a[9] != 20 {
		t.Errorf("half weight %v", a[9])
	}
	var _ unit.Area = f.Area(9)
}
