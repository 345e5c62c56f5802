package frame

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// Units as the EPSG data set has them: 2274 Tennessee in US survey feet, 2224
// Oregon (practice P-21 says 2224 is in international feet: SPCS zones by
// state law), 2154 in metres.
func TestPublishedUnits(t *testing.T) {
	for code, want := range map[string]float64{"EPSG:2274": 1200.0 / 3937, "EPSG:2154": 1, "EPSG:2223": 0.3048, "EPSG:2277": 1200.0 / 3937} {
		i, err := Lookup(code)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(i.MetresPerUnit-want) > 1e-15 {
			t.Errorf("%s: %.17g, want %.17g", code, i.MetresPerUnit, want)
		}
	}
}

func TestPropertyRoundTrip(t *testing.T) {
	for _, c := range []struct {
		crs string
		at  orb.Point
		tol float64
	}{{"", orb.Point{-86.9, 36.1}, 1e-11}, {"EPSG:2274", orb.Point{1700000, 650000}, 1e-6}, {"EPSG:2154", orb.Point{950798, 6701567}, 1e-8}} {
		f, err := New(c.crs, orb.Bound{Min: c.at, Max: orb.Point{c.at[0] + 0.001, c.at[1] + 0.001}})
		if err != nil {
			t.Fatal(err)
		}
		p := orb.Point{31.25, -17.5}
		d := f.Document(p)
		q := f.Plane(d)
		if math.Hypot(q[0]-p[0], q[1]-p[1]) > 1e-7 {
			t.Errorf("%q: %v came back as %v", c.crs, p, q)
		}
		ll := f.LonLat(p)
		r := f.FromLonLat(ll)
		if math.Hypot(r[0]-p[0], r[1]-p[1]) > 1e-5 {
			t.Errorf("%q: %v by longitude and latitude came back as %v", c.crs, p, r)
		}
	}
}

func TestUnknownSystem(t *testing.T) {
	for _, c := range []string{"EPSG:999999", "nonsense", "EPSG:5703"} {
		if _, err := New(c, orb.Bound{}); err == nil {
			t.Errorf("%s was taken", c)
		}
	}
}
