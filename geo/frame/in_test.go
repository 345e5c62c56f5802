package frame

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// A frame in another system keeps its plane: what it writes is read back at the
// place by itself and by the way into the plane of the first.
func TestPropertyIn(t *testing.T) {
	for _, own := range []struct {
		crs string
		box orb.Bound
	}{
		{"EPSG:2274", orb.Bound{Min: orb.Point{1.7e6, 6e5}, Max: orb.Point{1.701e6, 6.01e5}}},
		{"", orb.Bound{Min: orb.Point{-86.8, 36.1}, Max: orb.Point{-86.79, 36.11}}},
	} {
		f, err := New(own.crs, own.box)
		if err != nil {
			t.Fatal(err)
		}
		for _, crs := range []string{"EPSG:26916", "EPSG:3857", "OGC:CRS84", "EPSG:4326", "EPSG:2274"} {
			g, err := f.In(crs)
			if err != nil {
				t.Fatal(err)
			}
			info, _ := Lookup(crs)
			if g.Geographic() != info.Geographic || g.CRS() != Normalise(crs) {
				t.Errorf("%q in %s: crs %q, geographic %v", own.crs, crs, g.CRS(), g.Geographic())
			}
			from, err := f.From(crs)
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range []orb.Point{{0, 0}, {123.456, -78.9}} {
				d := g.Document(p)
				for what, q := range map[string]orb.Point{"itself": g.Plane(d), "the way in": from(d)} {
					if off := math.Hypot(q[0]-p[0], q[1]-p[1]); !(off < 1e-6) {
						t.Errorf("%q in %s, by %s: %v is written %v and read %v", own.crs, crs, what, p, d, q)
					}
				}
				if l, m := g.LonLat(p), f.LonLat(p); l != m {
					t.Errorf("%q in %s: %v stands at %v, in the first frame at %v", own.crs, crs, p, l, m)
				}
			}
		}
		if _, err := f.In("EPSG:99999"); err == nil {
			t.Error("an unknown system was taken")
		}
	}
}
