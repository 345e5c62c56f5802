// Package published compares a result with a value that somebody else printed.
// Only tests import it. It makes each comparison name its source by a key that
// hydro/source lists, and the place in it.
package published

import (
	"math"
	"strings"
	"testing"

	"fallwright/hydro/source"
)

// Value is one comparison. Tol is absolute; Rel is relative to Want; the larger
// of the two counts. Src is a key of hydro/source, Loc the place in it. A value
// whose source is from memory, or whose answer is our own working of a published
// formula, says so in Loc.
type Value struct {
	What string
	Src  string
	Loc  string
	Got  float64
	Want float64
	Tol  float64
	Rel  float64
}

// Check fails the test for each value that is off, that has no tolerance, or that
// names no listed source.
func Check(t testing.TB, values ...Value) {
	t.Helper()
	for _, v := range values {
		s, ok := source.Lookup(v.Src)
		if !ok {
			t.Errorf("%s: source key %q is not listed", v.What, v.Src)
		}
		if s.Provenance == source.Memory && !strings.Contains(v.Loc, "memory") {
			t.Errorf("%s: %s is cited from memory and the place %q does not say so", v.What, v.Src, v.Loc)
		}
		tol := math.Max(v.Tol, v.Rel*math.Abs(v.Want))
		if !(math.Abs(v.Got-v.Want) <= tol) {
			t.Errorf("%s: got %.6g, want %.6g within %.3g (%s, %s)", v.What, v.Got, v.Want, tol, v.Src, v.Loc)
		}
	}
}
