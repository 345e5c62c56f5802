package zone

// Lots to test with: generated ones, and the real sets where they are at hand.

import (
	"encoding/json"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

// sharedData finds the folder of real data: data in FALLWRIGHT_SHARED, or
// shared/data beside a folder above this one. The test is skipped where there is
// none.
func sharedData(t testing.TB) string {
	t.Helper()
	if d := os.Getenv("FALLWRIGHT_SHARED"); d != "" {
		return filepath.Join(d, "data")
	}
	dir, _ := os.Getwd()
	for ; dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		d := filepath.Join(dir, "shared", "data")
		if _, err := os.Stat(d); err == nil {
			return d
		}
	}
	t.Skip("no real parcel sets here: set FALLWRIGHT_SHARED to their folder")
	return ""
}

// plane reads areas of a GeoJSON file (longitude, latitude) into a plane true
// to scale within a part in ten thousand, which is enough for shapes to try.
func plane(t testing.TB, path string) []orb.MultiPolygon {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var fc struct {
		Features []struct {
			Geometry struct {
				Type        string
				Coordinates json.RawMessage
			}
		}
	}
	if err := json.Unmarshal(b, &fc); err != nil {
		t.Fatal(err)
	}
	var out []orb.MultiPolygon
	var c *orb.Point
	var kx, ky float64
	for _, f := range fc.Features {
		var mp orb.MultiPolygon
		if len(f.Geometry.Coordinates) == 0 {
			out = append(out, nil) // a feature without geometry is one to answer for too
			continue
		}
		if f.Geometry.Type == "Polygon" {
			mp = make(orb.MultiPolygon, 1)
			err = json.Unmarshal(f.Geometry.Coordinates, &mp[0])
		} else {
			err = json.Unmarshal(f.Geometry.Coordinates, &mp)
		}
		if err != nil {
			t.Fatal(err)
		}
		if c == nil {
			m := mp.Bound().Center()
			c, ky = &m, 111_132.0
			kx = ky * math.Cos(c[1]*math.Pi/180)
		}
		for _, p := range mp {
			for _, r := range p {
				for i := range r {
					r[i] = orb.Point{(r[i][0] - c[0]) * kx, (r[i][1] - c[1]) * ky}
				}
			}
		}
		out = append(out, mp)
	}
	return out
}

// realSets are the parcel sets at hand, in the plane.
func realSets(t testing.TB) map[string][]orb.MultiPolygon {
	d := sharedData(t)
	return map[string][]orb.MultiPolygon{
		"epinay":       plane(t, filepath.Join(d, "cadastre-fr-epinay", "parcels.geojson")),
		"village":      plane(t, filepath.Join(d, "cadastre-fr-25354", "parcels.geojson")),
		"williamsburg": plane(t, filepath.Join(d, "williamsburg-va", "parcels.geojson")),
	}
}

func rect(x0, y0, x1, y1 float64) orb.MultiPolygon {
	return orb.MultiPolygon{{{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}}}}
}

// randomLot draws a lot of one of the kinds met on maps, with a house and a
// tree or none; turned by any angle.
func randomLot(rng *rand.Rand) (Lot, []KeepOut) {
	for {
		var r orb.Ring
		w, d := 8+rng.Float64()*40, 10+rng.Float64()*60
		switch rng.Intn(8) {
		case 0, 1: // near rectangle
			j := func() float64 { return rng.NormFloat64() }
			r = orb.Ring{{j(), j()}, {w + j(), j()}, {w + j(), d + j()}, {j(), d + j()}}
		case 2: // exact rectangle
			r = orb.Ring{{0, 0}, {w, 0}, {w, d}, {0, d}}
		case 3: // ell
			x, y := w*(.3+.5*rng.Float64()), d*(.3+.5*rng.Float64())
			r = orb.Ring{{0, 0}, {w, 0}, {w, y}, {x, y}, {x, d}, {0, d}}
		case 4: // flag
			x := 2 + 3*rng.Float64()
			r = orb.Ring{{0, 0}, {x, 0}, {x, d / 2}, {w, d / 2}, {w, d}, {0, d}}
		case 5: // star: any simple shape
			n := 5 + rng.Intn(20)
			for i := 0; i < n; i++ {
				s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
				q := 5 + 25*rng.Float64()
				r = append(r, orb.Point{q * c, q * s})
			}
		case 6: // wedge on a cul-de-sac: the front is a hollow arc
			n := 4 + rng.Intn(12)
			rad := 12 + 6*rng.Float64()
			a := .3 + .5*rng.Float64()
			for i := 0; i <= n; i++ {
				s, c := math.Sincos(math.Pi/2 + a - 2*a*float64(i)/float64(n))
				r = append(r, orb.Point{rad * c, rad * s})
			}
			s, c := math.Sincos(math.Pi/2 - a)
			r = append(r, orb.Point{(rad + d) * c, (rad + d) * s}, orb.Point{-(rad + d) * c, (rad + d) * s})
		case 7: // stroked curve along the back, as a river
			n := 10 + rng.Intn(60)
			r = orb.Ring{{0, 0}, {w, 0}}
			for i := 0; i <= n; i++ {
				x := w * (1 - float64(i)/float64(n))
				r = append(r, orb.Point{x, d + 3*math.Sin(x/4) + .3*rng.NormFloat64()})
			}
		}
		r = append(r, r[0])
		turn, dx, dy := rng.Float64()*2*math.Pi, rng.NormFloat64()*300, rng.NormFloat64()*300
		if rng.Intn(3) == 0 {
			turn = 0
		}
		s, c := math.Sincos(turn)
		move := func(p orb.Point) orb.Point {
			return orb.Point{p[0]*c - p[1]*s + dx, p[0]*s + p[1]*c + dy}
		}
		b := r.Bound()
		var out []KeepOut
		if rng.Intn(5) > 0 {
			m := b.Center()
			hw, hd := (b.Max[0]-b.Min[0])*(.15+.25*rng.Float64()), (b.Max[1]-b.Min[1])*(.1+.2*rng.Float64())
			x, y := m[0]+rng.NormFloat64()*2, m[1]+rng.NormFloat64()*4
			h := orb.Ring{{x - hw, y - hd}, {x + hw, y - hd}, {x + hw, y + hd}, {x - hw, y + hd}}
			if rng.Intn(2) == 0 {
				h = orb.Ring{{x - hw, y - hd}, {x + hw, y - hd}, {x + hw, y}, {x, y}, {x, y + hd}, {x - hw, y + hd}}
			}
			h = append(h, h[0])
			for i := range h {
				h[i] = move(h[i])
			}
			out = append(out, KeepOut{ID: "h", Kind: "building", Geometry: orb.Polygon{h}, Clearance: 0.9144})
		}
		if rng.Intn(4) == 0 {
			p := orb.Point{b.Min[0] + rng.Float64()*(b.Max[0]-b.Min[0]), b.Min[1] + rng.Float64()*(b.Max[1]-b.Min[1])}
			out = append(out, KeepOut{ID: "t", Kind: "tree", Geometry: move(p), Clearance: 2.5})
		}
		for i := range r {
			r[i] = move(r[i])
		}
		if c, f := shape.Clean(orb.MultiPolygon{{r}}); len(f) == 0 {
			return Lot{Shape: c.Shape, Clearance: 0.6096}, out
		}
	}
}

func newRand(seed int64) *rand.Rand { return rand.New(rand.NewSource(seed)) }
