package shape

import (
	"fmt"
	"math"
	"math/big"
	"math/rand"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Oracle: rational arithmetic, on points chosen to lie on or next to a line.
func TestOracleOrient(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	rat := func(f float64) *big.Rat { return new(big.Rat).SetFloat64(f) }
	zero := 0
	for i := 0; i < 20000; i++ {
		scale := math.Pow(10, float64(rng.Intn(14)-6))
		p := func() orb.Point { return orb.Point{rng.NormFloat64() * scale, rng.NormFloat64() * scale} }
		a, b := p(), p()
		k := rng.Float64()
		c := orb.Point{a[0] + k*(b[0]-a[0]), a[1] + k*(b[1]-a[1])}
		switch rng.Intn(4) {
		case 0:
			a, b, c = orb.Point{1, 1}, orb.Point{3, 5}, orb.Point{2 + 1e-17*float64(rng.Intn(3)), 3}
		case 1:
			c[0] = math.Nextafter(c[0], b[0])
		case 2:
			c = p()
		}
		l := new(big.Rat).Mul(new(big.Rat).Sub(rat(b[0]), rat(a[0])), new(big.Rat).Sub(rat(c[1]), rat(a[1])))
		r := new(big.Rat).Mul(new(big.Rat).Sub(rat(b[1]), rat(a[1])), new(big.Rat).Sub(rat(c[0]), rat(a[0])))
		want := l.Cmp(r)
		if want == 0 {
			zero++
		}
		if got := Orient(a, b, c); got != want {
			t.Fatalf("Orient(%v, %v, %v) = %d, rational arithmetic says %d", a, b, c, got, want)
		}
		if got := orientExact(a, b, c); got != want {
			t.Fatalf("orientExact(%v, %v, %v) = %d, rational arithmetic says %d", a, b, c, got, want)
		}
	}
	if zero < 1000 {
		t.Fatalf("only %d cases on a line: the test does not try what it should", zero)
	}
}

func ring(xy ...float64) orb.Ring {
	var r orb.Ring
	for i := 0; i < len(xy); i += 2 {
		r = append(r, orb.Point{xy[i], xy[i+1]})
	}
	return r
}

// Hand: each shape and its faults are plain to see on paper; a fault is
// written rule part/ring/vertex [x y].
func TestHandCheck(t *testing.T) {
	sq := ring(0, 0, 10, 0, 10, 10, 0, 10, 0, 0)
	for _, c := range []struct {
		name string
		g    orb.Geometry
		want []string
	}{
		{"square", orb.Polygon{sq}, nil},
		{"clockwise", orb.Polygon{ring(0, 0, 0, 10, 10, 10, 10, 0, 0, 0)}, nil},
		{"repeated vertex", orb.Polygon{ring(0, 0, 0, 0, 10, 0, 10, 0, 10, 10, 0, 10, 0, 0, 0, 0)}, nil},
		{"collinear vertex", orb.Polygon{ring(0, 0, 5, 0, 10, 0, 10, 10, 0, 10, 0, 0)}, nil},
		{"bow-tie", orb.Polygon{ring(0, 0, 10, 10, 10, 0, 0, 10, 0, 0)}, []string{"self-intersection 0/0/0 [5 5]"}},
		{"spike", orb.Polygon{ring(0, 0, 10, 0, 10, 10, 15, 10, 10, 10, 0, 10, 0, 0)}, []string{"self-intersection 0/0/2 [10 10]"}},
		{"spike onto an edge", orb.Polygon{ring(0, 0, 10, 0, 10, 10, 10, 5, 0, 10, 0, 0)}, []string{"self-intersection 0/0/1 [10 5]"}},
		{"touches itself", orb.Polygon{ring(0, 0, 10, 0, 10, 10, 5, 0, 0, 10, 0, 0)}, []string{"self-intersection 0/0/0 [5 0]"}},
		{"touches itself at a vertex", orb.Polygon{ring(0, 0, 4, 0, 5, 5, 6, 0, 10, 0, 10, 10, 5, 5, 0, 10, 0, 0)}, []string{"self-intersection 0/0/1 [5 5]"}},
		{"open", orb.Polygon{ring(0, 0, 10, 0, 10, 10, 0, 10)}, []string{"ring-not-closed 0/0/3 [0 10]"}},
		{"short", orb.Polygon{ring(0, 0, 10, 0, 0, 0)}, []string{"ring-too-short 0/0/2 [0 0]"}},
		{"short and open", orb.Polygon{ring(0, 0, 10, 0, 10, 5)}, []string{"ring-not-closed 0/0/2 [10 5]", "ring-too-short 0/0/2 [0 0]"}},
		{"flat", orb.Polygon{ring(0, 0, 10, 10, 5, 5, 0, 0)}, []string{"ring-no-area 0/0/0 [0 0]"}},
		{"flat on the grid", orb.Polygon{ring(0, 0, 10, 0.0001, 5, 0.00005, 3, 0, 0, 0)}, []string{"ring-no-area 0/0/0 [0 0]"}},
		{"empty", orb.Polygon{}, []string{"geometry-empty 0/0/0"}},
		{"no parts", orb.MultiPolygon{}, []string{"geometry-empty 0/0/0"}},
		{"empty ring", orb.Polygon{{}}, []string{"geometry-empty 0/0/0"}},
		{"NaN", orb.Polygon{ring(0, 0, 10, 0, math.NaN(), 10, 0, 10, 0, 0)}, []string{"coordinate-not-finite 0/0/2"}},
		{"infinite", orb.Point{math.Inf(1), 0}, []string{"coordinate-not-finite 0/0/0"}},
		{"hole", orb.Polygon{sq, ring(2, 2, 4, 2, 4, 4, 2, 4, 2, 2)}, nil},
		{"hole outside", orb.Polygon{sq, ring(20, 2, 24, 2, 24, 4, 20, 4, 20, 2)}, []string{"hole-outside-shell 0/1/0 [20 2]"}},
		{"hole around its shell", orb.Polygon{sq, ring(-1, -1, 24, -1, 24, 24, -1, 24, -1, -1)}, []string{"hole-outside-shell 0/1/0 [-1 -1]"}},
		{"hole across", orb.Polygon{sq, ring(8, 2, 12, 2, 12, 4, 8, 4, 8, 2)}, []string{"self-intersection 0/0/1 [10 2]", "self-intersection 0/0/1 [10 4]"}},
		{"hole out through a vertex", orb.Polygon{sq, ring(8, 8, 10, 10, 13, 12, 7, 13, 8, 8)}, []string{"self-intersection 0/0/1 [10 10]", "self-intersection 0/0/2 [7.6 10]"}},
		{"hole along", orb.Polygon{sq, ring(8, 2, 10, 2, 10, 4, 8, 4, 8, 2)}, []string{"hole-touches-shell 0/1/1 [10 2]"}},
		{"hole at one point", orb.Polygon{sq, ring(8, 2, 10, 3, 8, 4, 8, 2)}, nil},
		{"hole at two points", orb.Polygon{sq, ring(0, 3, 5, 2, 10, 3, 5, 4, 0, 3)}, []string{"hole-touches-shell 0/0/3 [0 3]"}},
		{"holes in a chain", orb.Polygon{sq, ring(0, 3, 5, 2, 5, 4, 0, 3), ring(5, 4, 10, 3, 6, 5, 5, 4)}, []string{"hole-touches-shell"}},
		{"hole in a hole", orb.Polygon{sq, ring(1, 1, 9, 1, 9, 9, 1, 9, 1, 1), ring(3, 3, 5, 3, 5, 5, 3, 5, 3, 3)}, []string{"hole-outside-shell 0/2/0 [3 3]"}},
		{"parts apart", orb.MultiPolygon{{sq}, {ring(20, 0, 30, 0, 30, 9, 20, 0)}}, nil},
		{"parts at a point", orb.MultiPolygon{{sq}, {ring(10, 10, 30, 10, 30, 19, 10, 10)}}, nil},
		{"parts cross", orb.MultiPolygon{{sq}, {ring(5, -5, 15, -5, 15, 5, 5, 5, 5, -5)}}, []string{"parts-overlap 0/0/0 [5 0]", "parts-overlap 0/0/1 [10 5]"}},
		{"parts share a line", orb.MultiPolygon{{sq}, {ring(10, 2, 15, 2, 15, 5, 10, 5, 10, 2)}}, []string{"parts-overlap 0/0/1 [10 2]"}},
		{"part in part", orb.MultiPolygon{{sq}, {ring(2, 2, 4, 2, 4, 4, 2, 2)}}, []string{"parts-overlap 1/0/0 [2 2]"}},
		{"part in a hole", orb.MultiPolygon{{sq, ring(2, 2, 8, 2, 8, 8, 2, 8, 2, 2)}, {ring(3, 3, 4, 3, 4, 4, 3, 3)}}, nil},
		{"diamond inscribed as a part", orb.MultiPolygon{{sq}, {ring(5, 0, 10, 5, 5, 10, 0, 5, 5, 0)}}, []string{"parts-overlap 1/0/0"}},
		{"two faults", orb.MultiPolygon{{ring(0, 0, 10, 10, 10, 0, 0, 10, 0, 0)}, {ring(20, 0, 30, 0, 30, 10)}}, []string{"ring-not-closed 1/0/2", "ring-too-short 1/0/2", "self-intersection 0/0/0"}},
		{"line", orb.LineString{{0, 0}, {1, 1}, {1, 0}, {0, 1}}, nil},
		{"line of one point", orb.LineString{{1, 1}, {1, 1}}, []string{"line-too-short 0/0/0 [1 1]"}},
		{"empty line", orb.LineString{}, []string{"geometry-empty 0/0/0"}},
		{"collection", orb.Collection{orb.Point{}}, []string{"geometry-type"}},
	} {
		var got []string
		for _, f := range Check(c.g) {
			s := fmt.Sprintf("%s %d/%d/%d", f.Rule, f.Part, f.Ring, f.Vertex)
			if f.At != nil {
				s += fmt.Sprintf(" [%.6g %.6g]", f.At[0], f.At[1])
			}
			if f.Detail == "" || f.Error() == "" {
				t.Errorf("%s: %s has no detail", c.name, f.Rule)
			}
			got = append(got, s)
		}
		slices.Sort(got)
		ok := len(got) == len(c.want)
		for i := 0; ok && i < len(got); i++ {
			ok = strings.HasPrefix(got[i], c.want[i])
		}
		if !ok {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

// Property: a shape keeps its faults' rules when turned, mirrored, and its
// rings begun elsewhere.
func TestPropertyCheckStart(t *testing.T) {
	g := ring(0, 0, 10, 0, 10, 10, 15, 10, 10, 10, 0, 10, 0, 0)
	for k := 0; k < len(g)-1; k++ {
		r := append(slices.Clone(g[k:len(g)-1]), g[:k+1]...)
		f := Check(orb.Polygon{r})
		if len(f) != 1 || f[0].Rule != RuleSelfIntersection || *f[0].At != (orb.Point{10, 10}) {
			t.Errorf("begun at vertex %d: %v", k, f)
		}
	}
}

// Hand: sizes at the service's limit, quarter of a million vertices, of the
// kinds that break slow code: a circle, a comb of long teeth, many holes.
func TestHandCheckLarge(t *testing.T) {
	const n = 250_000
	circle := make(orb.Ring, n+1)
	for i := range circle {
		s, c := math.Sincos(2 * math.Pi * float64(i%n) / n)
		circle[i] = orb.Point{1000 * c, 1000 * s}
	}
	comb := orb.Ring{{0, -1}}
	for i := 0; i < n/4; i++ {
		x := float64(i)
		comb = append(comb, orb.Point{x + .1, 0}, orb.Point{x + .2, 1e5}, orb.Point{x + .7, 1e5}, orb.Point{x + .8, 0})
	}
	comb = append(comb, orb.Point{n / 4, -1}, orb.Point{0, -1})
	slices.Reverse(comb)
	sieve := orb.Polygon{ring(-1, -1, 201, -1, 201, 201, -1, 201, -1, -1)}
	for i := 0; i < 40000; i++ {
		x, y := float64(i%200), float64(i/200)
		sieve = append(sieve, ring(x+.1, y+.1, x+.2, y+.8, x+.8, y+.1, x+.1, y+.1))
	}
	for i, g := range []orb.Polygon{{circle}, {comb}, sieve} {
		if f := Check(g); len(f) != 0 {
			t.Errorf("%d: %v", i, f[0])
		}
	}
	// one crossing hidden in the circle is found
	bad := slices.Clone(circle)
	bad[100_000], bad[100_001] = bad[100_001], bad[100_000]
	if f := Check(orb.Polygon{bad}); len(f) == 0 || f[0].Rule != RuleSelfIntersection {
		t.Errorf("hidden crossing: %v", f)
	}
	// a scribble that crosses itself everywhere ends, with the most faults listed
	rng := rand.New(rand.NewSource(2))
	var mess orb.Ring
	for i := 0; i < 50_000; i++ {
		mess = append(mess, orb.Point{rng.Float64(), rng.Float64()})
	}
	mess = append(mess, mess[0])
	if f := Check(orb.Polygon{mess}); len(f) != MaxFaults {
		t.Errorf("scribble: %d faults", len(f))
	}
}

func TestHandClean(t *testing.T) {
	// clockwise, vertex 1 repeated 0.4 mm off, vertex 5 within 1 mm of vertex 0
	r := ring(0, 0, 0, 10, 0, 10.0004, 10, 10, 10, 0, 0.0009, 0, 0, 0)
	c, faults := Clean(orb.MultiPolygon{{r}})
	if len(faults) > 0 {
		t.Fatal(faults[0])
	}
	want := ring(0, 0, 10, 0, 10, 10, 0, 10, 0, 0)
	if !slices.Equal(c.Shape[0][0], want) {
		t.Errorf("shape %v", c.Shape[0][0])
	}
	// edge 0 runs (0,0)-(10,0): in the input that is edge 4, (10,0)-(0.0009,0)
	if e := c.Edge[0][0]; !slices.Equal(e, []int{4, 3, 2, 0}) {
		t.Errorf("edges %v", e)
	}
	if len(c.Changes) != 3 || c.Changes[0].Kind != RepeatedVertex || c.Changes[0].Spot.Vertex != 2 || c.Changes[2].Kind != RingReversed {
		t.Errorf("changes %+v", c.Changes)
	}
	if _, f := Clean(orb.MultiPolygon{{ring(0, 0, 10, 10, 10, 0, 0, 10, 0, 0)}}); len(f) == 0 {
		t.Error("a bow-tie was cleaned")
	}
	if _, f := Clean(orb.MultiPolygon{{ring(0, 0, 0.0008, 0, 0.0008, 0.0008, 0, 0.0008, 0, 0)}}); len(f) == 0 {
		t.Error("a lot smaller than the weld distance was cleaned")
	}
}

// Hand: the 3-4-5 triangle and squares.
func TestHandDistances(t *testing.T) {
	if d, q := PointSegment(orb.Point{3, 4}, orb.Point{-10, 0}, orb.Point{0, 0}); d != 5 || q != (orb.Point{0, 0}) {
		t.Errorf("beyond the end: %v %v", d, q)
	}
	if d, q := PointSegment(orb.Point{3, 4}, orb.Point{-10, 0}, orb.Point{10, 0}); d != 4 || q != (orb.Point{3, 0}) {
		t.Errorf("beside: %v %v", d, q)
	}
	if d, p, q := SegmentSegment(orb.Point{0, 0}, orb.Point{10, 0}, orb.Point{4, 3}, orb.Point{4, 9}); d != 3 || p != (orb.Point{4, 0}) || q != (orb.Point{4, 3}) {
		t.Errorf("tee: %v %v %v", d, p, q)
	}
	if d, p, _ := SegmentSegment(orb.Point{0, 0}, orb.Point{10, 10}, orb.Point{0, 10}, orb.Point{10, 0}); d != 0 || p != (orb.Point{5, 5}) {
		t.Errorf("crossing: %v %v", d, p)
	}
	sq := orb.MultiPolygon{{ring(0, 0, 10, 0, 10, 10, 0, 10, 0, 0), ring(4, 4, 4, 6, 6, 6, 6, 4, 4, 4)}}
	if d, p, q := LineBoundary(orb.LineString{{2, 2}, {2, 8}}, sq); d != 2 || hypot(p, q) != 2 {
		t.Errorf("line in square: %v %v %v", d, p, q)
	}
	if a := Area(sq); a != 96 {
		t.Errorf("area %v", a)
	}
	for p, w := range map[orb.Point]Place{{1, 1}: Inside, {5, 5}: Outside, {4, 5}: OnBoundary, {10, 3}: OnBoundary, {10, 10}: OnBoundary, {11, 10}: Outside, {-1, 0}: Outside, {2, 4}: Inside, {0, 0}: OnBoundary, {-1, 10}: Outside, {5, 10}: OnBoundary} {
		if g := Locate(p, sq); g != w {
			t.Errorf("Locate(%v) = %v, want %v", p, g, w)
		}
	}
	l := orb.LineString{{0, 0}, {10, 0}, {10, 10}}
	if Length(l) != 20 || PointAt(l, 15) != (orb.Point{10, 5}) || PointAt(l, -1) != l[0] || PointAt(l, 99) != l[2] {
		t.Error("along")
	}
	if n := Nearest(l, orb.Point{13, 5}); n.Along != 15 || n.Off != 3 || n.Segment != 1 || n.At != (orb.Point{10, 5}) {
		t.Errorf("nearest %+v", n)
	}
	for _, c := range []struct {
		from, to unit.Length
		want     orb.LineString
	}{
		{5, 15, orb.LineString{{5, 0}, {10, 0}, {10, 5}}},
		{0, 10, orb.LineString{{0, 0}, {10, 0}}},
		{10, 12, orb.LineString{{10, 0}, {10, 2}}},
		{-5, 99, l},
		{7, 7, orb.LineString{{7, 0}, {7, 0}}},
		{30, 40, orb.LineString{{10, 10}, {10, 10}}},
	} {
		if g := Substring(l, c.from, c.to); !slices.Equal(g, c.want) {
			t.Errorf("Substring(%v, %v) = %v, want %v", c.from, c.to, g, c.want)
		}
	}
}

// Property: what is told sound at once is what the full check finds valid, on
// rings of few corners of a small grid, where every kind of fault occurs, and on
// rings of many.
func TestPropertySound(t *testing.T) {
	rng := rand.New(rand.NewSource(3))
	few := func() (r orb.Ring) {
		for n := 3 + rng.Intn(5); n > 0; n-- {
			r = append(r, orb.Point{float64(rng.Intn(5)), float64(rng.Intn(5))})
		}
		return r
	}
	// a star of up to 140 vertices, round or ragged, on a grid; often one of them
	// is somewhere else
	many := func() (r orb.Ring) {
		n := 9 + rng.Intn(25)
		if rng.Intn(10) == 0 {
			n += rng.Intn(110)
		}
		ragged := rng.Float64()
		for i := 0; i < n; i++ {
			y, x := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			q := 100 * (1 - ragged*rng.Float64())
			r = append(r, orb.Point{math.Round(q * x), math.Round(q * y)})
		}
		if rng.Intn(2) == 0 {
			r[rng.Intn(n)] = orb.Point{float64(rng.Intn(201) - 100), float64(rng.Intn(201) - 100)}
		}
		return r
	}
	for _, c := range []struct {
		name  string
		ring  func() orb.Ring
		tries int
	}{{"few", few, 200_000}, {"many", many, 20_000}} {
		told, valid := 0, 0
		for i := 0; i < c.tries; i++ {
			r := c.ring()
			r = append(r, r[0])
			slow := &checker{}
			slow.polygons(orb.MultiPolygon{{r}})
			ok := Sound(r)
			if ok && len(slow.faults) > 0 {
				t.Fatalf("%v: told sound, but %v", r, slow.faults[0])
			}
			if len(slow.faults) == 0 {
				valid++
			}
			if ok {
				told++
			}
		}
		if told < valid/2 || told < 1000 {
			t.Errorf("%s: %d of %d valid rings told sound", c.name, told, valid)
		}
		t.Logf("%s: %d of %d valid rings of %d told sound at once", c.name, told, valid, c.tries)
	}
}

// Property: the same of polygons with holes, on small rings strewn over one grid, so that
// they lie in, on, across and beside one another.
func TestPropertySoundAreas(t *testing.T) {
	rng := rand.New(rand.NewSource(4))
	ring := func(x, y, size int) (r orb.Ring) {
		for n := 3 + rng.Intn(4); n > 0; n-- {
			r = append(r, orb.Point{float64(x + rng.Intn(size)), float64(y + rng.Intn(size))})
		}
		return append(r, r[0])
	}
	told, valid, faulty := 0, 0, map[Rule]int{}
	for range 100_000 {
		p := orb.Polygon{{{0, 0}, {12, 0}, {12, 12}, {float64(rng.Intn(13)), float64(rng.Intn(13))}, {0, 12}, {0, 0}}}
		if rng.Intn(3) == 0 {
			p[0] = ring(0, 0, 13)
		}
		for range rng.Intn(4) {
			p = append(p, ring(rng.Intn(13)-1, rng.Intn(13)-1, 4))
		}
		slow := &checker{}
		slow.polygons(orb.MultiPolygon{p})
		ok := soundArea(p)
		if len(slow.faults) > 0 {
			faulty[slow.faults[0].Rule]++
			if ok {
				t.Fatalf("%v: told sound, but %v", p, slow.faults[0])
			}
			continue
		}
		if len(p) > 1 {
			valid++
			if ok {
				told++
			}
		}
	}
	if told < valid/4 || told < 1000 || faulty[RuleHoleOutside] < 1000 {
		t.Errorf("%d of %d valid ones with holes told sound; faulty: %v", told, valid, faulty)
	}
	t.Logf("%d of %d valid ones with holes told sound at once; faulty: %v", told, valid, faulty)
}
