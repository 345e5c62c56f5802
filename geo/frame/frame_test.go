package frame

import (
	"fmt"
	"math"
	"strings"
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

// The plane named outright is the one that PROJ finds by its own search between
// the two systems, to the bit.
func TestOracleMercator(t *testing.T) {
	for _, origin := range []orb.Point{{-86.9, 36.1}, {0, 0}, {179.999999, -44.5}, {-180, 71.25}, {12.345678, -89.9}, {151.2, 89}} {
		own, err := newMercator(origin)
		if err != nil {
			t.Fatal(err)
		}
		found, err := newTransform("EPSG:4326", fmt.Sprintf("+proj=tmerc +lat_0=%.6f +lon_0=%.6f +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m +type=crs", origin[1], origin[0]))
		if err != nil {
			t.Fatal(err)
		}
		for i := range 200 {
			// within a kilometre or so, and now and then far off or nowhere
			r := 0.01 * float64(1+(i%10)*(i%10))
			p := orb.Point{origin[0] + r*math.Sin(float64(i)), origin[1] + r*math.Cos(1.7*float64(i))}
			same := func(what string, a, b orb.Point) {
				for k := range a {
					if math.Float64bits(a[k]) != math.Float64bits(b[k]) && !(math.IsNaN(a[k]) && math.IsNaN(b[k])) {
						t.Fatalf("%v, %s %v: %v, by search %v", origin, what, p, a, b)
					}
				}
			}
			q := own.forward(p)
			same("forward", q, found.forward(p))
			same("back", own.back(q), found.back(q))
		}
	}
}

// A frame of longitude and latitude beside what the search for it would cost.
func BenchmarkFrame(b *testing.B) {
	at := orb.Point{-86.9, 36.1}
	b.Run("outright", func(b *testing.B) {
		for b.Loop() {
			if _, err := newMercator(at); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("by search", func(b *testing.B) {
		for b.Loop() {
			if _, err := newTransform("EPSG:4326", "+proj=tmerc +lat_0=36.1 +lon_0=-86.9 +k=1 +ellps=WGS84 +units=m +type=crs"); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// Numbers in grads, or from another meridian than Greenwich, are not taken as degrees
// from it: NTF (Paris), EPSG:4807, is in grads from Paris; Bern, EPSG:4801, in degrees
// from Bern (EPSG data set). NAD 83 and RGF93 v1 are longitude and latitude.
func TestPublishedDegrees(t *testing.T) {
	for code, why := range map[string]string{"EPSG:4807": "degrees", "EPSG:4801": "Greenwich"} {
		if _, err := Lookup(code); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%s: %v", code, err)
		}
	}
	for _, code := range []string{"EPSG:4269", "EPSG:4171", "EPSG:4979"} {
		if i, err := Lookup(code); err != nil || !i.Geographic {
			t.Errorf("%s: %+v, %v", code, i, err)
		}
	}
}
