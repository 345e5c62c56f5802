package route

// Seeded invented lots for tests and benchmarks: a lot of four to six sides, a
// house with rounded clearance, trees with root zones, downspouts at the walls,
// basins in the yard, an inlet on the rear line.

import (
	"math"
	"math/rand"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// grown returns the outline of points within d of a convex or L-shaped
// counter-clockwise outline: arcs at convex corners, circumscribed.
func grown(pts []orb.Point, d float64, chords int) orb.Ring {
	var r orb.Ring
	n := len(pts)
	for i, p := range pts {
		a, b := pts[(i+n-1)%n], pts[(i+1)%n]
		u, v := unitVec(a, p), unitVec(p, b)
		nu, nv := orb.Point{u[1], -u[0]}, orb.Point{v[1], -v[0]}
		if cross(u, v) <= 0 { // reflex corner of the house: the two lines meet
			m, _ := meet(along(p, nu, d), u, along(p, nv, d), v)
			r = append(r, m)
			continue
		}
		ang := math.Atan2(cross(nu, nv), dot(nu, nv))
		step := ang / float64(chords)
		rad := d / math.Cos(step/2)
		a0 := math.Atan2(nu[1], nu[0])
		r = append(r, along(p, nu, d))
		for k := range chords {
			w := a0 + step*(float64(k)+0.5)
			r = append(r, orb.Point{p[0] + rad*math.Cos(w), p[1] + rad*math.Sin(w)})
		}
		r = append(r, along(p, nv, d))
	}
	return append(r, r[0])
}

func circle(c orb.Point, rad float64, n int) orb.Ring {
	var r orb.Ring
	rad /= math.Cos(math.Pi / float64(n))
	for i := range n {
		s, q := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		r = append(r, orb.Point{c[0] + rad*q, c[1] + rad*s})
	}
	return append(r, r[0])
}

type lot struct {
	outline orb.Ring
	house   orb.Ring
	problem Problem
}

// testPrices are near the built-in criteria: a metre of trench at a foot of
// cover with a four inch pipe.
var testPrices = Prices{Metre: 1.7, Bend: 0.3, Join: 0.8, TieIn: 12}

// newLot makes lot number seed with the given number of intakes.
func newLot(seed int64, intakes int) lot {
	for try := int64(0); ; try++ {
		if l, ok := tryLot(rand.New(rand.NewSource(seed*1000+try)), intakes); ok {
			return l
		}
	}
}

func tryLot(r *rand.Rand, intakes int) (lot, bool) {
	w, d := 18+14*r.Float64(), 30+18*r.Float64()
	skew := func() float64 { return 3 * (r.Float64() - 0.5) }
	out := []orb.Point{{0, 0}, {w, skew()}, {w + skew(), d + skew()}, {skew(), d}}
	if r.Intn(3) == 0 { // a broken rear line
		out = []orb.Point{out[0], out[1], out[2], {w / 2, d + 2 + 2*r.Float64()}, out[3]}
	}
	inset := func(k float64) orb.Ring {
		var in orb.Ring
		for i := range out {
			a, p, b := out[(i+len(out)-1)%len(out)], out[i], out[(i+1)%len(out)]
			u, v := unitVec(a, p), unitVec(p, b)
			m, _ := meet(along(p, orb.Point{-u[1], u[0]}, k), u, along(p, orb.Point{-v[1], v[0]}, k), v)
			in = append(in, m)
		}
		return append(in, in[0])
	}
	zone := inset(0.6096 + 0.1524)
	// house: a rectangle or an L, somewhat turned
	hw, hd := w*0.45+2*r.Float64(), d*0.3+2*r.Float64()
	hx, hy := (w-hw)/2+2*(r.Float64()-0.5), 7+3*r.Float64()
	house := []orb.Point{{hx, hy}, {hx + hw, hy}, {hx + hw, hy + hd}, {hx, hy + hd}}
	if r.Intn(2) == 0 {
		k := 0.4 + 0.2*r.Float64()
		house = []orb.Point{{hx, hy}, {hx + hw, hy}, {hx + hw, hy + hd}, {hx + hw*k, hy + hd}, {hx + hw*k, hy + hd*0.6}, {hx, hy + hd*0.6}}
	}
	rot := 0.1 * (r.Float64() - 0.5)
	for i, p := range house {
		s, c := math.Sincos(rot)
		q := sub(p, orb.Point{w / 2, 12})
		house[i] = orb.Point{w/2 + q[0]*c - q[1]*s, 12 + q[0]*s + q[1]*c}
	}
	chords := 3 + r.Intn(6)
	poly := orb.Polygon{zone, grown(house, 0.9144+0.1524, chords)}
	zf := newField(orb.MultiPolygon{{zone}}, orb.Point{})
	for _, p := range poly[1] {
		if !zf.holds(p) {
			return lot{}, false
		}
	}
	for range 2 + r.Intn(3) {
		c := orb.Point{w * r.Float64(), hy + hd + 3 + (d-hy-hd-4)*r.Float64()}
		rad := 1.2 + 1.5*r.Float64()
		ok := true
		ring := circle(c, rad, 8+4*r.Intn(4))
		zn := newField(orb.MultiPolygon{poly}, orb.Point{})
		for _, p := range ring {
			ok = ok && zn.holds(p)
		}
		for _, e := range zn.edges {
			ok = ok && distTo(c, e.p, e.q) > rad*1.3+0.5
		}
		if ok {
			poly = append(poly, ring)
		}
	}
	l := lot{outline: append(orb.Ring(out), out[0]), house: append(orb.Ring(house), house[0])}
	mp := orb.MultiPolygon{poly}
	for i := range mp[0] {
		if i > 0 { // holes clockwise
			mp[0][i].Reverse()
		}
	}
	zn := newField(mp, orb.Point{})
	p := Problem{Zone: mp, Rules: DefaultRules(), Prices: testPrices}
	lotArea := orb.MultiPolygon{{l.outline}}
	id := func(i int) string { return string(rune('A' + i)) }
	for i := range intakes {
		if i%2 == 0 { // a downspout at a house corner, a little along the wall
			k := (i / 2) % len(house)
			a, b := house[k], house[(k+1)%len(house)]
			at := lerp(a, b, 0.03+0.1*r.Float64())
			p.Sources = append(p.Sources, Source{ID: "D" + id(i), At: at, LeadOff: true, LeadOffWithin: lotArea})
			continue
		}
		for {
			at := orb.Point{w * r.Float64(), d * (0.1 + 0.9*r.Float64())}
			ok := zn.holds(at)
			for _, s := range p.Sources {
				ok = ok && dist(s.At, at) > 1.5
			}
			for _, e := range zn.edges {
				ok = ok && distTo(at, e.p, e.q) > 0.1
			}
			if ok {
				p.Sources = append(p.Sources, Source{ID: "B" + id(i), At: at, Basin: true})
				break
			}
		}
	}
	// the inlet: on the rear line or a metre beyond
	a, b := out[2], out[3]
	at := lerp(a, b, 0.05+0.9*r.Float64())
	u := unitVec(a, b)
	at = along(at, orb.Point{u[1], -u[0]}, 1.2*r.Float64())
	beyond := orb.MultiPolygon{{orb.Ring{a, along(a, orb.Point{u[1], -u[0]}, 3), along(b, orb.Point{u[1], -u[0]}, 3), b, a}}, {l.outline}}
	p.Targets = []Target{{ID: "I", At: at, Reach: 15 * unit.Foot, LastRunWithin: beyond}}
	l.problem = p
	return l, true
}
