package zone

import (
	"fmt"
	"math"
	"math/rand"
	"os"
	"strconv"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/internal/geosop"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// agree holds a direct zone against the overlay's: Hausdorff distance and
// symmetric difference within a millimetre (of its edge's length).
func agree(a, b Zone, areas bool) error {
	if a.Pieces == 0 || b.Pieces == 0 {
		return fmt.Errorf("%d and %d pieces", a.Pieces, b.Pieces)
	}
	h := math.Max(farthest(a.Shape, b.Shape), farthest(b.Shape, a.Shape))
	var err error
	var d orb.MultiPolygon
	if areas {
		if d, err = geosop.SymmetricDifference(a.Shape, b.Shape); err != nil {
			return err
		}
	}
	edge := 0.0
	for _, p := range b.Shape {
		for _, r := range p {
			edge += float64(shape.Length(orb.LineString(r)))
		}
	}
	s := float64(shape.Area(d))
	if h > 0.001 || s > 0.001*edge || topology(a.Shape) != topology(b.Shape) {
		return fmt.Errorf("Hausdorff distance %v m, symmetric difference %v m2 on an edge of %v m, pieces and holes %v and %v", h, s, edge, topology(a.Shape), topology(b.Shape))
	}
	return nil
}

// farthest is the greatest distance from a vertex of a to the boundary of b.
func farthest(a, b orb.MultiPolygon) (far float64) {
	edge := ruler{lot: Lot{Shape: b}}.boundary()
	for _, p := range a {
		for _, r := range p {
			for _, v := range r {
				least := math.Inf(1)
				for _, s := range edge.segments {
					if boxGap(v, v, s[0], s[1]) < least {
						d, _ := shape.PointSegment(v, s[0], s[1])
						least = math.Min(least, float64(d))
					}
				}
				far = math.Max(far, least)
			}
		}
	}
	return far
}

// lotsToTry is 3,000 in the ordinary test; FALLWRIGHT_ZONE_LOTS asks for more.
func lotsToTry() int {
	if n, err := strconv.Atoi(os.Getenv("FALLWRIGHT_ZONE_LOTS")); err == nil {
		return n
	}
	return 3000
}

// full tells whether the long test was asked for.
func full() bool { return os.Getenv("FALLWRIGHT_ZONE_LOTS") != "" }

// Oracle: the direct routine against GEOS overlay of exact pieces, on random
// lots; and against the zone's definition on some.
func TestOracleDirect(t *testing.T) {
	rng := newRand(8)
	var share tally
	for i := 0; i < lotsToTry(); i++ {
		lot, out, more := randomYard(rng)
		share.try(t, rng, lot, out, more, i%20 == 0)
	}
	share.report(t, "random")
}

// randomYard is a random lot, at times with a clearance for each edge and a line
// across it, and how much further off the zone is asked.
func randomYard(rng *rand.Rand) (lot Lot, out []KeepOut, more unit.Length) {
	lot, out = randomLot(rng)
	if rng.Intn(4) == 0 {
		e := make([]unit.Length, len(lot.Shape[0][0])-1)
		for j := range e {
			e[j] = unit.Length(1+rng.Intn(4)) * 0.5
		}
		lot.Edges = [][][]unit.Length{{e}}
	}
	if rng.Intn(10) == 0 {
		b := lot.Shape.Bound()
		p := func() orb.Point {
			return orb.Point{b.Min[0] + rng.Float64()*(b.Max[0]-b.Min[0]), b.Min[1] + rng.Float64()*(b.Max[1]-b.Min[1])}
		}
		out = append(out, KeepOut{ID: "g", Kind: "utility", Geometry: orb.LineString{p(), p(), p()}, Clearance: 0.4572})
	}
	return lot, out, unit.Length(rng.Intn(2)) * 0.1524
}

// Oracle: pieces hardly greater than none, which are rare: of many lots those that
// have one.
func TestOracleSmallPieces(t *testing.T) {
	rng := newRand(24)
	var share tally
	for i := 0; i < 10*lotsToTry(); i++ {
		lot, out, more := randomYard(rng)
		z, ok, _ := direct(lot, out, more)
		if !ok {
			continue
		}
		for _, p := range z.Shape {
			if shape.Area(orb.MultiPolygon{p}) < 10*leastPiece {
				share.try(t, rng, lot, out, more, true)
				break
			}
		}
	}
	share.report(t, "small pieces")
	if share.direct < 10 {
		t.Errorf("%d lots with a small piece tell nothing", share.direct)
	}
}

// tally counts how lots were answered.
type tally struct{ direct, overlay, empty, finer int }

func (s *tally) try(t *testing.T, rng *rand.Rand, lot Lot, out []KeepOut, more unit.Length, defined bool) {
	t.Helper()
	z, ok, _ := direct(lot, out, more)
	// arcs far finer than a millimetre, so that the reference errs by nothing that counts
	ref, err := byOverlay(lot, out, more, arc{off: 3e-4})
	if err != nil {
		t.Fatal(err)
	}
	switch {
	case ok:
		s.direct++
		err := agree(z, ref, defined || full())
		if err != nil { // a tip between curves at a flat angle wants finer arcs still
			finer, err2 := byOverlay(lot, out, more, arc{off: 2e-7})
			if err2 != nil {
				t.Fatal(err2)
			}
			s.finer++
			err = agree(z, finer, true)
		}
		if err != nil {
			t.Fatalf("%v\nlot %v %v %v\nout %v\ndirect %v\noverlay %v", err, lot.Shape, lot.Clearance, lot.Edges, out, z.Shape, ref.Shape)
		}
		if math.Abs(float64(z.Area-shape.Area(z.Shape))) > 1e-6 {
			t.Fatalf("area %v, its shape's %v", z.Area, shape.Area(z.Shape))
		}
		if defined && more == 0 {
			judge(t, rng, lot, out, z)
		}
	case ref.Pieces == 0:
		s.empty++
	default:
		s.overlay++
	}
}

func (s *tally) report(t *testing.T, name string) {
	t.Helper()
	n := s.direct + s.overlay + s.empty
	t.Logf("%s: %d lots, %d direct, %d left to the overlay (%.2f %%), %d of those empty; %d needed a finer reference", name, n, s.direct, s.overlay+s.empty, 100*float64(s.overlay+s.empty)/float64(n), s.empty, s.finer)
	if s.direct < n/2 {
		t.Errorf("%s: only %d of %d lots went the direct way", name, s.direct, n)
	}
}

// Oracle: the same on the real sets, with and without a house in the middle.
func TestOracleDirectReal(t *testing.T) {
	rng := newRand(9)
	step := 30
	if full() {
		step = 1
	}
	for name, lots := range realSets(t) {
		var share tally
		for i := 0; i < len(lots); i += step {
			c, faults := shape.Clean(lots[i])
			if len(faults) > 0 {
				continue
			}
			lot := Lot{Shape: c.Shape, Clearance: 0.6096}
			var out []KeepOut
			if m, r, err := geosop.InscribedCircle(c.Shape, 0.05); err == nil && r > 4 {
				x := float64(r) * 0.5
				out = append(out, KeepOut{ID: "h", Kind: Building, Clearance: 0.9144, Geometry: rect(m[0]-x, m[1]-x*.8, m[0]+x, m[1]+x)[0]})
			}
			share.try(t, rng, lot, out, 0, i%100 == 0)
		}
		share.report(t, name)
	}
}

// Property: the same lot shifted far off, turned, mirrored and begun at another
// vertex has the same zone.
func TestPropertySameLot(t *testing.T) {
	rng := newRand(10)
	for i := 0; i < 200; i++ {
		lot, out := randomLot(rng)
		a, err := Trench(lot, out)
		if err != nil {
			t.Fatal(err)
		}
		turn := rng.Float64() * 7
		s, c := math.Sincos(turn)
		mirror := 1.0
		if i%2 == 0 {
			mirror = -1
		}
		far := 0.0
		if i%4 == 0 {
			far = 4e6
		}
		move := func(p orb.Point) orb.Point {
			x, y := mirror*p[0], p[1]
			return orb.Point{x*c - y*s + far, x*s + y*c + far}
		}
		var r orb.Ring
		old := lot.Shape[0][0]
		n := len(old) - 1
		k0 := rng.Intn(n)
		for k := 0; k <= n; k++ {
			r = append(r, move(old[(k0+k)%n]))
		}
		var moved []KeepOut
		for _, o := range out {
			switch g := o.Geometry.(type) {
			case orb.Point:
				o.Geometry = move(g)
			case orb.Polygon:
				q := make(orb.Ring, len(g[0]))
				for j := range q {
					q[j] = move(g[0][j])
				}
				o.Geometry = orb.Polygon{q}
			}
			moved = append(moved, o)
		}
		b, err := Trench(Lot{Shape: orb.MultiPolygon{{r}}, Clearance: lot.Clearance}, moved)
		if err != nil {
			t.Fatal(err)
		}
		if a.Pieces != b.Pieces || math.Abs(float64(a.Area-b.Area)) > 1e-3*math.Sqrt(float64(a.Area)+1) {
			t.Fatalf("%v m2 in %d pieces by %s, moved %v m2 in %d by %s", a.Area, a.Pieces, a.By, b.Area, b.Pieces, b.By)
		}
	}
}

// Hand: the area of a polygon of 1,001 equal sides on a circle of 500 m, n/2 r^2
// sin(2 pi/n), to a hundredth of a square millimetre: sums of products apart lose
// that, and the certificate with it.
func TestHandAreaOf(t *testing.T) {
	const n, r = 1001, 500.0
	pts := make([]vec, n+1)
	for i := range pts {
		s, c := math.Sincos(2 * math.Pi * float64(i%n) / n)
		pts[i] = vec{90 + r*c, -40 + r*s}
	}
	want := n / 2.0 * r * r * math.Sin(2*math.Pi/n)
	for name, got := range map[string]float64{"as used": areaOf(pts), "the twin": twiceArea(pts) / 2} {
		if math.Abs(got-want) > 1e-8 {
			t.Errorf("%s: %v m2 off", name, got-want)
		}
	}
}
