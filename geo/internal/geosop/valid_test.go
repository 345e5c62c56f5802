package geosop

import (
	"math/rand"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

// Oracle: shape.Check and GEOS agree on what is valid, on rings of few corners of
// a small grid with a hole or a second part, where every kind of fault occurs.
// GEOS knows no least area, so flat rings are left out by shape's own word; a
// hole or part lying wholly outside is told by both.
func TestOracleCheck(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	ring := func(size int) orb.Ring {
		var r orb.Ring
		for n := 3 + rng.Intn(4); n > 0; n-- {
			r = append(r, orb.Point{float64(rng.Intn(size)), float64(rng.Intn(size))})
		}
		return append(r, r[0])
	}
	valid, invalid := 0, 0
	for i := 0; i < 20000; i++ {
		mp := orb.MultiPolygon{{ring(6)}}
		switch rng.Intn(4) {
		case 0:
			mp = append(mp, orb.Polygon{ring(7)})
		case 1:
			mp[0] = orb.Polygon{{{0, 0}, {5, 0}, {5, 5}, {0, 5}, {0, 0}}, ring(6)}
		case 2:
			mp[0] = orb.Polygon{{{0, 0}, {5, 0}, {5, 5}, {0, 5}, {0, 0}}, ring(6), ring(6)}
		}
		faults := shape.Check(mp)
		reason, err := ValidReason(mp)
		if err != nil {
			t.Fatal(err)
		}
		if (len(faults) == 0) != (reason == "") {
			if reason == "" && faults[0].Rule == shape.RuleRingNoArea || strings.HasPrefix(reason, "Too few points") {
				continue
			}
			t.Fatalf("%v: we say %v, GEOS says %q", mp, faults, reason)
		}
		if reason == "" {
			valid++
		} else {
			invalid++
		}
	}
	if valid < 1000 || invalid < 1000 {
		t.Errorf("%d valid, %d invalid: one-sided", valid, invalid)
	}
	t.Logf("%d valid, %d invalid", valid, invalid)
}
