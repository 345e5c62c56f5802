package verify

import (
	"math"
	"math/rand"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/overland"
	"fallwright/geo/unit"
)

func roofSite(stated *float64, rings [][]pt, spouts ...intake) *site {
	g := poly{rings: rings, box: emptyBox()}
	for _, p := range rings[0] {
		g.box.add(p)
	}
	for i := range spouts {
		spouts[i].kind = "downspout"
	}
	return &site{roofs: []roof{{polys: []poly{g}, box: g.box, stated: stated}}, intakes: spouts}
}

func ringOf(xy ...float64) (out []pt) {
	for i := 0; i < len(xy); i += 2 {
		out = append(out, pt{x: xy[i], y: xy[i+1]})
	}
	return out
}

// Rectangles of 12 m by 8 m, worked by hand: a hipped roof sheds triangles of
// 16 m2 over its ends and trapezia of 32 m2 over its sides.
func TestHandRoofShares(t *testing.T) {
	box := [][]pt{ringOf(0, 0, 12, 0, 12, 8, 0, 8)}
	at := func(x, y float64) intake { return intake{at: pt{x: x, y: y}} }
	with := func(x, y, a float64) intake {
		return intake{at: pt{x: x, y: y}, roofArea: a, roofGiven: true, areaGiven: true}
	}
	num := func(v float64) *float64 { return &v }
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-3*want+1e-6 {
			t.Errorf("%s: %.4f, by hand %.4f", name, got, want)
		}
	}
	s := roofSite(nil, box, at(0, 0), at(12, 0), at(12, 8), at(0, 8)).shares(0)
	for k := 0; k < 4; k++ {
		near("four corners", s[k], 24)
	}
	// The gutters part in the middle of each end: one side's trapezium and half
	// of both triangles.
	s = roofSite(nil, box, at(6, 0), at(6, 8)).shares(0)
	near("two sides", s[0], 48)
	// opposite corners: the roof turned half round its middle is the same
	s = roofSite(nil, box, at(0, 0), at(12, 8)).shares(0)
	near("two corners", s[0], 48)
	// stated: 200 m2 in all, 150 stated
	s = roofSite(num(200), box, with(6, 0, 150), at(6, 8)).shares(0)
	near("rest", s[1], 50)
	// stated too much: by nearness alone
	s = roofSite(nil, box, with(6, 0, 150), at(6, 8)).shares(0)
	near("contradiction", s[1], 48)
	// an L: its one inward corner fans out. Square 8 with a square 4 cut from the
	// north-east; downspouts at that corner and far from it share 48.
	l := [][]pt{ringOf(0, 0, 8, 0, 8, 4, 4, 4, 4, 8, 0, 8)}
	s = roofSite(nil, l, at(4, 4), at(0, 0)).shares(0)
	near("an L in all", s[0]+s[1], 48)
	// a courtyard is no roof
	yard := [][]pt{ringOf(0, 0, 12, 0, 12, 8, 0, 8), ringOf(4, 3, 4, 5, 8, 5, 8, 3)}
	s = roofSite(nil, yard, at(6, 0), at(6, 8)).shares(0)
	near("a courtyard", s[0], 44)
}

// Along the eaves here, point by point of a lattice there.
func TestOracleRoofShares(t *testing.T) {
	rnd := rand.New(rand.NewSource(3))
	worst := 0.0
	for n := 0; n < 60; n++ {
		// a star round the origin, seldom convex
		var r []pt
		var ring orb.Ring
		k := 4 + rnd.Intn(9)
		for i := 0; i < k; i++ {
			d, a := 4+8*rnd.Float64(), 2*math.Pi*(float64(i)+0.6*rnd.Float64())/float64(k)
			r = append(r, pt{x: d * math.Cos(a), y: d * math.Sin(a)})
			ring = append(ring, orb.Point{r[i].x, r[i].y})
		}
		ring = append(ring, ring[0])
		var ins []intake
		var spouts []overland.Downspout
		for i := 0; i < 1+rnd.Intn(4); i++ {
			e := rnd.Intn(k)
			a, b, u := r[e], r[(e+1)%k], rnd.Float64()
			p := pt{x: a.x + u*(b.x-a.x), y: a.y + u*(b.y-a.y)}
			ins = append(ins, intake{at: p})
			spouts = append(spouts, overland.Downspout{At: orb.Point{p.x, p.y}})
		}
		got := roofSite(nil, [][]pt{r}, ins...).shares(0)
		want, err := overland.SplitRoof(orb.MultiPolygon{{ring}}, spouts, nil, unit.Metre)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for i := range ins {
			sum += got[i]
			off := math.Abs(got[i]-float64(want.Shares[i])) / float64(want.Area)
			worst = math.Max(worst, off)
			if off > shareSlack/2 {
				t.Errorf("roof %d, downspout %d: %.3f m2 along the eaves, %.3f on the lattice, of %.3f", n, i, got[i], float64(want.Shares[i]), float64(want.Area))
			}
		}
		if math.Abs(sum-float64(want.Area)) > 2e-3*float64(want.Area) {
			t.Errorf("roof %d: shares add up to %.3f of %.3f m2", n, sum, float64(want.Area))
		}
	}
	t.Logf("worst difference %.5f of the roof", worst)
}
