package verify

// The parts against slower or other engines: PROJ for the plane, rationals for
// distances, the project's triangulation for the ground (package geo/ground,
// which the checker itself never imports).

import (
	"math"
	"math/big"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/ground"
	"fallwright/geo/unit"
)

// The plane against PROJ, up to 30 km from the centre, in both hemispheres.
func TestOraclePlane(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	worst := 0.0
	for k := 0; k < 60; k++ {
		lon, lat := math.Round((r.Float64()*358-179)*1e6)/1e6, math.Round((r.Float64()*140-70)*1e6)/1e6
		f, err := frame.New("", orb.Bound{Min: orb.Point{lon, lat}, Max: orb.Point{lon, lat}})
		if err != nil {
			t.Fatal(err)
		}
		p := geographicPlane(lon, lat)
		for i := 0; i < 50; i++ {
			x, y := lon+(r.Float64()-0.5)*0.6, lat+(r.Float64()-0.5)*0.6
			a, b := f.Plane(orb.Point{x, y}), p.point(x, y)
			worst = max(worst, math.Hypot(a[0]-b.x, a[1]-b.y))
		}
	}
	t.Logf("worst difference from PROJ: %.2g m", worst)
	if worst > 1e-7 {
		t.Errorf("the plane is %.3g m off PROJ's", worst)
	}
}

// Equality is decided exactly: a 3-4-5 line at exactly 2.5 from a point, in
// decimals that float64 can't hold.
func TestHandExactDistance(t *testing.T) {
	p, _ := projectedPlane(0.3048, [2]float64{1740000, 650000})
	for i := 0; i < 200; i++ {
		// from (x0, y0) along (4, 3) k; the point stands 10 k along and (-3, 4) j
		// beside, a distance of 5 j units
		x0, y0 := 1740000+float64(i)*0.1, 650000-float64(i)*0.3
		k, j := float64(i+1), 0.5
		dec := func(v float64) float64 { return math.Round(v*1e4) / 1e4 }
		a, b := p.point(dec(x0), dec(y0)), p.point(dec(x0+4*k), dec(y0+3*k))
		q := p.point(dec(x0+2*k-3*j), dec(y0+1.5*k+4*j))
		l := sum(0.762) // 2.5 ft
		if !p.apart(a, b, q, q, l) {
			t.Fatalf("%d: exactly at the distance does not count as clear", i)
		}
		if p.apart(a, b, q, q, sum(0.762, 1e-15)) {
			t.Fatalf("%d: a femtometre too near counts as clear", i)
		}
		if !p.apart(q, q, a, b, sum(0.6096, 0.1524)) {
			t.Fatalf("%d: 2 ft and half a foot are not 2.5 ft", i)
		}
	}
}

// The filter never decides otherwise than the rationals.
func TestOracleDistances(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	p := geographicPlane(-86, 36)
	for k := 0; k < 20000; k++ {
		at := func() pt { return pt{x: math.Round(r.Float64()*40) / 4, y: math.Round(r.Float64()*40) / 4} }
		a, b, c, d := at(), at(), at(), at()
		l := sum(math.Round(r.Float64()*20) / 8)
		ra, rb, rc, rd := p.rational(a), p.rational(b), p.rational(c), p.rational(d)
		r2 := new(big.Rat).Mul(l.rat(), l.rat())
		want := l.m == 0 || !meet(ra, rb, rc, rd) && rclear(ra, rc, rd, r2) && rclear(rb, rc, rd, r2) && rclear(rc, ra, rb, r2) && rclear(rd, ra, rb, r2)
		if got := p.apart(a, b, c, d, l); got != want {
			t.Fatalf("%v %v against %v %v at %g: %v, rationals say %v", a, b, c, d, l.m, got, want)
		}
		if s, w := p.side(a, b, c), rside(ra, rb, rc); s != w {
			t.Fatalf("side of %v %v %v: %d, rationals say %d", a, b, c, s, w)
		}
	}
}

// A place in a polygon, against the sum of angles in float64, and on its edge.
func TestOracleWhere(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	p := geographicPlane(-86, 36)
	for k := 0; k < 300; k++ {
		n := 3 + r.IntN(9)
		g := poly{box: emptyBox(), rings: [][]pt{nil}}
		for i := 0; i < n; i++ {
			a := (float64(i) + 0.8*r.Float64()) / float64(n) * 2 * math.Pi
			d := 2 + 8*r.Float64()
			q := pt{x: d * math.Cos(a), y: d * math.Sin(a)}
			g.rings[0] = append(g.rings[0], q)
			g.box.add(q)
		}
		for i := 0; i < 50; i++ {
			q := pt{x: r.Float64()*20 - 10, y: r.Float64()*20 - 10}
			turns, ring := 0.0, g.rings[0]
			for m := range ring {
				a, b := ring[m], ring[(m+1)%n]
				turns += math.Atan2((a.x-q.x)*(b.y-q.y)-(a.y-q.y)*(b.x-q.x), (a.x-q.x)*(b.x-q.x)+(a.y-q.y)*(b.y-q.y))
			}
			want := outside
			if math.Abs(turns) > 1 {
				want = insideP
			}
			if got := p.where(g, q); got != want {
				t.Fatalf("polygon %d, place %v: %d, want %d", k, q, got, want)
			}
		}
		for m := range g.rings[0] {
			if p.where(g, g.rings[0][m]) != onEdge {
				t.Fatalf("a corner is not on the edge")
			}
		}
	}
}

// The ground against the project's triangulation, on scattered shots, on grids
// where every square has two right diagonals, and across breaklines.
func TestOracleGround(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for k := 0; k < 60; k++ {
		var s site
		var shots []ground.Shot
		add := func(x, y, z float64) {
			s.shots = append(s.shots, shot{pt{x: x, y: y}, z})
			shots = append(shots, ground.Shot{At: orb.Point{x, y}, Z: unit.Elevation(z)})
		}
		grid := k%3 == 0
		if grid {
			for x := 0.0; x <= 56; x += 7 {
				for y := 0.0; y <= 56; y += 7 {
					add(x, y, r.Float64())
				}
			}
		} else {
			for i := 0; i < 20+r.IntN(150); i++ {
				add(r.Float64()*50, r.Float64()*50, r.Float64())
			}
		}
		var lines []ground.Line
		if k%2 == 0 {
			// a breakline that crosses none other
			var path orb.LineString
			var zs []unit.Elevation
			for i := 0; i < 4; i++ {
				p := pt{x: 5 + 11*float64(i) + r.Float64(), y: 10 + 30*r.Float64()}
				z := r.Float64()
				path, zs = append(path, orb.Point{p.x, p.y}), append(zs, unit.Elevation(z))
				s.shots = append(s.shots, shot{p, z})
				if i > 0 {
					s.breaks = append(s.breaks, edge{pt{x: path[i-1][0], y: path[i-1][1]}, p})
				}
			}
			lines = append(lines, ground.Line{Path: path, Z: zs})
		}
		tin, err := ground.Triangulate(shots, lines)
		if err != nil {
			t.Fatal(err)
		}
		g := newSurface(&s)
		for i := 0; i < 200; i++ {
			p := pt{x: r.Float64() * 56, y: r.Float64() * 56}
			want, in := tin.At(orb.Point{p.x, p.y})
			c, ok := g.at(p)
			if ok != in {
				t.Fatalf("case %d: place %v: inside %v, the triangulation says %v", k, p, ok, in)
			}
			if !in {
				continue
			}
			lo, hi := c.levels(p)
			if z := float64(want.Elevation); z < lo-1e-6 || z > hi+1e-6 {
				t.Fatalf("case %d: place %v: %g to %g, the triangulation says %g", k, p, lo, hi, z)
			}
			if !grid && hi-lo > 1e-3 {
				t.Fatalf("case %d: scattered shots, and the ground is no number: %g to %g", k, lo, hi)
			}
		}
		// along a line, every break found: between two stations nothing hides
		a, b := pt{x: 10 + 5*r.Float64(), y: 15}, pt{x: 40, y: 20 + 20*r.Float64()}
		st := g.along(a, b)
		for i := 1; i < len(st); i++ {
			if !st[i].known || !st[i-1].known {
				continue
			}
			for f := 0.05; f < 1; f += 0.3 {
				at := st[i-1].t + f*(st[i].t-st[i-1].t)
				want, in := tin.At(orb.Point{a.x + at*(b.x-a.x), a.y + at*(b.y-a.y)})
				if !in {
					continue
				}
				lo, hi := st[i-1].lo+f*(st[i].lo-st[i-1].lo), st[i-1].hi+f*(st[i].hi-st[i-1].hi)
				if z := float64(want.Elevation); z < lo-2e-5 || z > hi+2e-5 {
					t.Fatalf("case %d: %.4f along: %g to %g, the triangulation says %g", k, at, lo, hi, z)
				}
			}
		}
	}
}

// A wall behind the eaves: a square taken in, an L whose inner corner moves
// out, a hole that grows, and a strip too narrow.
func TestHandInset(t *testing.T) {
	ring := func(xy ...float64) []pt {
		var out []pt
		for i := 0; i < len(xy); i += 2 {
			out = append(out, pt{x: xy[i], y: xy[i+1]})
		}
		return out
	}
	g := poly{rings: [][]pt{ring(0, 0, 10, 0, 10, 5, 10, 10, 5, 10, 5, 5, 0, 5), ring(1, 1, 1, 2, 2, 2, 2, 1)}}
	in, ok := inset(g, 0.5)
	if !ok {
		t.Fatal("not worked")
	}
	want := [][]pt{ring(0.5, 0.5, 9.5, 0.5, 9.5, 9.5, 5.5, 9.5, 5.5, 4.5, 0.5, 4.5), ring(0.5, 0.5, 0.5, 2.5, 2.5, 2.5, 2.5, 0.5)}
	for k := range want {
		if len(in.rings[k]) != len(want[k]) {
			t.Fatalf("ring %d: %v", k, in.rings[k])
		}
		for i := range want[k] {
			if apartBy(in.rings[k][i], want[k][i]) > 1e-12 {
				t.Errorf("ring %d corner %d: %v, want %v", k, i, in.rings[k][i], want[k][i])
			}
		}
	}
	if _, ok := inset(poly{rings: [][]pt{ring(0, 0, 10, 0, 10, 0.8, 0, 0.8)}}, 0.5); ok {
		t.Error("a strip of 0.8 m has a wall 0.5 m inside")
	}
}

// Part-full circle: at half depth half the full flow at the full velocity; the
// greatest flow is 1.076 of full at 0.938 of the diameter (any hydraulics
// handbook, from memory).
func TestPublishedPartFull(t *testing.T) {
	const d, n, s = 0.1016, 0.012, 0.01
	full := fullFlow(d, n, s)
	fill, v := normal(full/2, d, n, s)
	if math.Abs(fill-0.5) > 1e-6 || math.Abs(v-full/(math.Pi*d*d/4)) > 1e-6 {
		t.Errorf("half full: %g of the depth, %g m/s", fill, v)
	}
	if fill, _ := normal(1.0757*full, d, n, s); math.Abs(fill-0.938) > 0.01 {
		t.Errorf("at the peak: %g of the depth", fill)
	}
	// 0.3117/n D^(8/3) S^(1/2)
	if want := 0.3117 / n * math.Pow(d, 8.0/3) * math.Sqrt(s); math.Abs(full-want) > 1e-4*want {
		t.Errorf("full flow %g, the closed form gives %g", full, want)
	}
}

// Log-log between durations and between return periods: halfway in the
// logarithm both ways is the geometric mean.
func TestHandRain(t *testing.T) {
	s := &site{rain: &rain{table: []rainRow{{5, 2, 100}, {20, 2, 25}, {5, 8, 400}, {20, 8, 100}}}}
	for _, c := range []struct{ t, y, want float64 }{{5, 2, 100}, {10, 2, 50}, {10, 8, 200}, {10, 4, 100}, {1, 2, 100}, {99, 8, 100}} {
		if got, ok := s.rate(c.t, c.y); !ok || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%g min, %g years: %g mm/h, want %g", c.t, c.y, got, c.want)
		}
	}
	s.rain = &rain{curve: &[3]float64{2000, 10, 0.9}}
	if got, _ := s.rate(5, 10); math.Abs(got-2000/math.Pow(15, 0.9)) > 1e-9 {
		t.Errorf("curve: %g", got)
	}
}

// The units of every listed code against PROJ's own data, and of a good many
// codes that are not listed.
func TestOracleUnits(t *testing.T) {
	n := 0
	for _, c := range []int{2154, 26910, 32618, 25832, 3857, 2056, 31370, 27700} {
		if u, ok := unitOf("EPSG:" + strconv.Itoa(c)); !ok || u != 1 {
			t.Errorf("EPSG:%d: %g", c, u)
		}
	}
	for _, rs := range [][][2]int{unitCodes().survey, unitCodes().feet} {
		for _, r := range rs {
			for _, c := range []int{r[0], r[1]} {
				i, err := frame.Lookup("EPSG:" + strconv.Itoa(c))
				if err != nil || i.Geographic {
					continue // compound, or an older data set
				}
				n++
				if u, _ := unitOf("EPSG:" + strconv.Itoa(c)); math.Abs(u-i.MetresPerUnit) > 1e-12 {
					t.Errorf("EPSG:%d: %.12g, PROJ says %.12g", c, u, i.MetresPerUnit)
				}
			}
		}
	}
	if n < 500 {
		t.Errorf("only %d codes compared", n)
	}
}

// Which codes are of systems in degrees, against PROJ's own data: the ends of every
// range, and the codes beside them.
func TestOracleDegrees(t *testing.T) {
	n := 0
	asked := map[int]bool{}
	for _, r := range unitCodes().degrees {
		for _, c := range []int{r[0] - 1, r[0], r[1], r[1] + 1} {
			asked[c] = true
		}
	}
	for c := range asked {
		i, err := frame.Lookup("EPSG:" + strconv.Itoa(c))
		if err != nil {
			continue // another kind, or a number of no system
		}
		if i.Geographic {
			n++
		}
		if got := geographicCode(strconv.Itoa(c)); got != i.Geographic {
			t.Errorf("EPSG:%d: %v, PROJ says %v", c, got, i.Geographic)
		}
	}
	if n < 300 {
		t.Errorf("only %d systems in degrees", n)
	}
}
