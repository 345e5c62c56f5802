package zone

import (
	"math"
	"math/rand"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

// Property: signs tells what tell does, bit by bit, of any number of vertices.
func TestPropertySigns(t *testing.T) {
	if !vector {
		t.Skip("this processor has no vectors of four, or the build is without: tell alone is used")
	}
	rng := newRand(31)
	for i := 0; i < 20000; i++ {
		n := 2 + rng.Intn(runSlots-1)
		var v vertices
		v.room(n)
		coarse := rng.Intn(2) == 0 // where vertices lie on lines exactly
		num := func() float64 {
			if coarse {
				return float64(rng.Intn(9) - 4)
			}
			return rng.NormFloat64() * 5
		}
		for k := range v.x {
			v.x[k], v.y[k], v.g[k] = num(), num(), float64(1+rng.Intn(4))/2
		}
		s := side{}
		s.set(vec{num(), num()}, vec{num() + 9, num()}, float64(1+rng.Intn(4))/2)
		if i%10 == 0 { // a point
			s.l, s.d = 0, vec{1, 0}
		}
		both := make([]sight, 2)
		v.tell(0, int32(n), []side{{d: vec{1, 0}}, s}, both)
		a, b := both[1], sight{}
		b.tell(v.x[:n], v.y[:n], v.g[:n], &s)
		told := uint64(1)<<uint(n-1) - 1
		if (a.out^b.out)&told != 0 || (a.behind^b.behind)&told != 0 || (a.across^b.across)&told != 0 {
			t.Fatalf("%d vertices: %x and %x, %x and %x, %x and %x", n, a.out, b.out, a.behind, b.behind, a.across, b.across)
		}
	}
}

// anyRing draws a closed line of few vertices that often meets itself: anywhere, on
// a coarse grid, or a star of which a vertex is moved.
func anyRing(rng *rand.Rand) (r orb.Ring) {
	n := 3 + rng.Intn(9)
	switch rng.Intn(3) {
	case 0:
		for i := 0; i < n; i++ {
			r = append(r, orb.Point{rng.NormFloat64() * 8, rng.NormFloat64() * 8})
		}
	case 1:
		for i := 0; i < n; i++ {
			r = append(r, orb.Point{float64(rng.Intn(5)) * 4, float64(rng.Intn(5)) * 4})
		}
	default:
		for i := 0; i < n; i++ {
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			q := 5 + 9*rng.Float64()
			r = append(r, orb.Point{q * c, q * s})
		}
		k := rng.Intn(n)
		switch o := r[rng.Intn(n)]; rng.Intn(4) {
		case 0:
			r[k] = orb.Point{rng.NormFloat64() * 5, rng.NormFloat64() * 5}
		case 1: // onto another, or hardly off it
			r[k] = orb.Point{o[0] + float64(rng.Intn(3)-1)*1e-7, o[1]}
		case 2: // onto an edge, to arithmetic
			p, q := r[(k+n/2)%n], r[(k+n/2+1)%n]
			u := rng.Float64()
			r[k] = orb.Point{p[0] + u*(q[0]-p[0]), p[1] + u*(q[1]-p[1])}
		}
	}
	return append(r, r[0])
}

// Property: a ring that the walk tells is sound has no fault; of those without one
// it tells most.
func TestPropertyToldSound(t *testing.T) {
	rng := newRand(32)
	var w scratch
	faulty, right, told := 0, 0, 0
	for i := 0; i < 100_000; i++ {
		lot := Lot{Shape: orb.MultiPolygon{{anyRing(rng)}}, Clearance: 0.5}
		out := []KeepOut{{Kind: Building, Geometry: orb.Polygon{anyRing(rng)}, Clearance: 0.9}}
		if !plain(&lot, out) {
			t.Fatal("an ordinary lot is not taken")
		}
		w.toTell = true
		sound := w.enter(lot, out, 0) && w.toTell
		if sound {
			w.walk()
			sound = w.sound()
		}
		f := append(shape.Check(lot.Shape), shape.Check(out[0].Geometry)...)
		switch {
		case len(f) > 0 && sound:
			t.Fatalf("told sound: %v\n%v\n%v", f[0], lot.Shape, out[0].Geometry)
		case len(f) > 0:
			faulty++
		case sound:
			told++
			fallthrough
		default:
			right++
		}
	}
	t.Logf("%d with a fault, none of them told sound; %d without, %d of them told sound", faulty, right, told)
	if faulty < 10_000 || right < 5_000 || told < right/2 {
		t.Error("too few of a kind to tell anything")
	}
}

// Bad input that would not survive the walk is found before it.
func TestHandNotPlain(t *testing.T) {
	lot := Lot{Shape: rect(0, 0, 20, 30), Clearance: 0.6}
	nan, inf := math.NaN(), math.Inf(1)
	for _, r := range []orb.Ring{
		nil, {{5, 5}}, {{5, 5}, {9, 5}, {5, 5}}, {{5, 5}, {9, 5}, {9, 9}, {5, 9}}, // short, open
		{{5, 5}, {5, 5}, {5, 5}, {5, 5}}, {{5, 5}, {9, 5}, {7, 5}, {5, 5}}, // a point, a line
		{{nan, nan}, {9, 5}, {9, 9}, {nan, nan}}, {{5, 5}, {nan, 5}, {9, 9}, {5, 5}}, {{5, 5}, {inf, 5}, {9, 9}, {5, 5}},
		{{5, 5}, {1e200, 5}, {9, 1e200}, {5, 5}}, {{5, 5}, {9, 9}, {9, 5}, {5, 9}, {5, 5}},
	} {
		if _, err := Trench(lot, []KeepOut{{Geometry: orb.Polygon{r}, Clearance: 0.9}}); err == nil {
			t.Errorf("a thing %v is taken", r)
		}
		if _, err := Trench(Lot{Shape: orb.MultiPolygon{{r}}, Clearance: 0.6}, nil); err == nil {
			t.Errorf("a lot %v is taken", r)
		}
		// beyond the lot, where it would be left out
		far := make(orb.Ring, len(r))
		for i, p := range r {
			far[i] = orb.Point{p[0] + 500, p[1]}
		}
		if _, err := Trench(lot, []KeepOut{{Geometry: orb.Polygon{far}, Clearance: 0.9}}); err == nil {
			t.Errorf("a thing %v far off is taken", far)
		}
	}
}
