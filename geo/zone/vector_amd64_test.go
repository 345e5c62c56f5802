//go:build !purego

package zone

import (
	"reflect"
	"slices"
	"testing"

	"github.com/paulmach/orb"
)

// Property: each routine in assembly gives what its twin gives, to the last bit, and
// writes nothing beyond it; of signs see TestPropertySigns.
func TestPropertyVectors(t *testing.T) {
	if !vector {
		t.Skip("this processor has no vectors of four: the twins alone are used")
	}
	rng := newRand(34)
	for n := 1; n < 70; n++ {
		num := func() float64 { return rng.NormFloat64() * 30 }
		pts := make([]vec, n+1)
		steps := make([]step, n)
		for i := range pts {
			pts[i] = vec{num(), num()}
		}
		for i := range steps {
			steps[i] = step{num(), num(), num(), num(), num()}
		}
		pts[n] = pts[0]
		at, u := vec{num(), num()}, vec{num(), num()}
		mark := vec{7, 7}

		a, b := append(slices.Clone(pts[:n]), mark), append(slices.Clone(pts[:n]), mark)
		turn(&a[0], &steps[0], int64(n), &at, &u)
		turnSteps(b, steps, at, u)
		if !slices.Equal(a, b) {
			t.Fatalf("turn of %d: %v and %v", n, a, b)
		}
		c, d := make([]orb.Point, n+1), make([]orb.Point, n+1)
		shift(&c[0], &pts[0], int64(n), &at)
		shiftPoints(d[:n], pts, at)
		if !slices.Equal(c, d) {
			t.Fatalf("shift of %d: %v and %v", n, c, d)
		}
		if a, b := twice(&pts[0], int64(n+1)), twiceArea(pts); a != b {
			t.Fatalf("twice of %d: %v and %v", n+1, a, b)
		}
	}
}

// Property: zones are the same, bit by bit, without vectors.
func TestPropertyWithoutVectors(t *testing.T) {
	if !vector {
		t.Skip("this processor has no vectors of four: no zone is found with them")
	}
	defer func() { vector = true }()
	rng := newRand(33)
	for i := 0; i < 2000; i++ {
		lot, out, more := randomYard(rng)
		vector = true
		a, oka, erra := direct(lot, out, more)
		vector = false
		b, okb, errb := direct(lot, out, more)
		if oka != okb || erra != nil || errb != nil || !reflect.DeepEqual(a, b) {
			t.Fatalf("%v %v and %v %v\n%v\n%v\nlot %v\nout %v", oka, erra, okb, errb, a, b, lot, out)
		}
	}
}
