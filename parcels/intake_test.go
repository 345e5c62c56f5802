package parcels_test

import (
	"testing"

	"fallwright/hydro"
	"fallwright/parcels"
)

// A stated time counts where it is longer than the least, which keeps a short one
// from making a storm out of the rain of a minute.
func TestHandConcentration(t *testing.T) {
	min := func(v hydro.Duration) *hydro.Duration { return &v }
	for _, c := range []struct {
		stated *hydro.Duration
		want   hydro.Duration
	}{{nil, 5}, {min(3), 5}, {min(12), 12}} {
		if got := (&parcels.Intake{Tc: c.stated}).Concentration(5); got != c.want {
			t.Errorf("%v: %v, want %v", c.stated, got, c.want)
		}
	}
}
