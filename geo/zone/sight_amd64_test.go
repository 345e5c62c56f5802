//go:build !purego

package zone

import (
	"reflect"
	"testing"
)

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
