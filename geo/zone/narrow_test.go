package zone

// The search for narrow places against its slow twin, and its cost.

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
)

// pairwise finds passages as they are defined: every hollow corner with every
// side, the circle between them held against every side.
func pairwise(piece orb.Polygon) (out []Passage) {
	var corners []corner
	var sides []segmentOf
	for _, r := range piece {
		n := len(r) - 1
		for i := 0; i < n; i++ {
			c := corner{r[(i+n-1)%n], r[i], r[i+1]}
			sides = append(sides, segmentOf{r[i], r[i+1], r[(i+2)%n]})
			if shape.Orient(c.before, c.at, c.after) < 0 {
				corners = append(corners, c)
			}
		}
	}
	for _, c := range corners {
		for _, s := range sides {
			if c.at == s.a || c.at == s.b {
				continue
			}
			d, q := shape.PointSegment(c.at, s.a, s.b)
			if q == s.a || d <= numeric || !c.faces(q) || q == s.b && !(corner{s.a, s.b, s.next}.faces(c.at)) {
				continue
			}
			mid := orb.Point{(c.at[0] + q[0]) / 2, (c.at[1] + q[1]) / 2}
			free := shape.LocateInPolygon(mid, piece) == shape.Inside
			for _, o := range sides {
				if w, _ := shape.PointSegment(mid, o.a, o.b); float64(w) < float64(d)/2-1e-7 {
					free = false
				}
			}
			if free {
				out = append(out, Passage{Width: d, At: mid, Ends: [2]orb.Point{c.at, q}})
			}
		}
	}
	return out
}

// Oracle: the same narrow places as by trying all pairs.
func TestOraclePassages(t *testing.T) {
	rng := newRand(31)
	found := 0
	for i := 0; i < 300; i++ {
		lot, out := randomLot(rng)
		z, err := Trench(lot, out)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range z.Shape {
			a, b := passages(p), pairwise(p)
			if len(a) != len(b) {
				t.Fatalf("%d passages, by pairs %d: %v", len(a), len(b), p)
			}
			for k := range a {
				if !holds(b, a[k]) {
					t.Fatalf("%+v is none by pairs: %v", a[k], p)
				}
			}
			found += len(a)
		}
	}
	t.Logf("%d narrow places before those of one way are made one", found)
}

func holds(all []Passage, p Passage) bool {
	for _, q := range all {
		if q == p {
			return true
		}
	}
	return false
}

// BenchmarkPassages: a river lot of n vertices along the back; time a vertex
// stays about the same as n grows.
func BenchmarkPassages(b *testing.B) {
	for _, n := range []int{200, 2000, 10000} {
		r := orb.Ring{{0, 0}, {float64(n) / 4, 0}}
		for i := n; i >= 0; i-- {
			x := float64(i) / 4
			r = append(r, orb.Point{x, 12 + 4*math.Sin(x/6) + math.Sin(x*1.7)})
		}
		z := Zone{Shape: orb.MultiPolygon{{append(r, r[0])}}}
		b.Run(map[int]string{200: "200", 2000: "2000", 10000: "10000"}[n], func(b *testing.B) {
			for i := 0; i < b.N; i++ {
				passages(z.Shape[0])
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(n), "us/vertex")
		})
	}
}
