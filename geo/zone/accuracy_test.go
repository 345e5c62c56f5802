package zone

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Published: F(-1.96) = 0.025, F(-1.645) = 0.05 (tables of the normal
// distribution; NIST/SEMATECH e-Handbook, 1.3.6.7.1, from memory).
func TestPublishedNormal(t *testing.T) {
	for m, want := range map[float64]float64{1.959964: 0.025, 1.644854: 0.05, 0: 0.5, -1.644854: 0.95} {
		if got := over(m, 1); math.Abs(got-want) > 1e-6 {
			t.Errorf("F(-%v) = %v, want %v", m, got, want)
		}
	}
	if over(1, 0) != 0 || over(0, 0) != 0 || over(-1, 0) != 1 {
		t.Error("a line known exactly")
	}
}

// Hand: one line at 1.5 m sd with a trench 2 ft inside, the others surveyed far
// off: F(-0.6096/1.5) = F(-0.4064) = 0.3422; allowed 0.05 the trench must be
// 1.6449 * 1.5 = 2.4673 m inside; that line's pins settle it.
func TestHandAccuracy(t *testing.T) {
	lot := Lot{Shape: rect(0, 0, 100, 50)}
	sd := func(_, _, e int) unit.Length {
		if e == 0 {
			return 1.5
		}
		return 0.02
	}
	c, err := LineAccuracy(orb.MultiLineString{{{20, 0.7596}, {60, 0.7596}}}, 0.3, lot, sd, 0.05)
	if err != nil || math.Abs(c.Over-0.3422) > 1e-4 || math.Abs(float64(c.Clearance)-2.46728) > 1e-4 || len(c.Pins) != 1 || !c.Settles || c.Lines[c.Pins[0]].Edges[0].Vertex != 0 {
		t.Errorf("%+v %v", c, err)
	}
	// beyond the line: the pins would not help
	c, err = LineAccuracy(orb.MultiLineString{{{20, -1}, {60, -1}}}, 0.3, lot, sd, 0.05)
	if err != nil || c.Settles || c.Over < 0.7 || !about(float64(c.Lines[0].Margin), -1.15) {
		t.Errorf("beyond: %+v %v", c, err)
	}
	// well within: nothing to settle
	c, err = LineAccuracy(orb.MultiLineString{{{20, 25}, {60, 25}}}, 0.3, lot, sd, 0.05)
	if err != nil || c.Over > 1e-9 || c.Clearance != 0 || len(c.Pins) != 0 || !c.Settles {
		t.Errorf("within: %+v %v", c, err)
	}
	// a straight line cut into many edges is one line
	cut := orb.MultiPolygon{{{{0, 0}, {10, 0}, {20, 0}, {30, 0}, {60, 0}, {100, 0}, {100, 50}, {0, 50}, {0, 0}}}}
	one := func(_, _, e int) unit.Length { return 1.5 }
	a, _ := LineAccuracy(orb.MultiLineString{{{20, 1}, {60, 1}}}, 0.3, Lot{Shape: cut}, one, 0.05)
	b, _ := LineAccuracy(orb.MultiLineString{{{20, 1}, {60, 1}}}, 0.3, lot, one, 0.05)
	if math.Abs(a.Over-b.Over) > 1e-12 {
		t.Errorf("cut %v, whole %v", a.Over, b.Over)
	}
	for _, bad := range []float64{0, 1, -1, math.NaN()} {
		if _, err := LineAccuracy(orb.MultiLineString{{{20, 25}, {60, 25}}}, 0.3, lot, sd, bad); err == nil {
			t.Errorf("chance %v was taken", bad)
		}
	}
	if _, err := LineAccuracy(orb.MultiLineString{{{20, 25}, {60, 25}}}, 0.3, lot, func(int, int, int) unit.Length { return -1 }, 0.05); err == nil {
		t.Error("a negative deviation was taken")
	}
}

// Oracle: Monte Carlo. Each line is moved square to itself by a normal draw, the
// lot is drawn again from where the moved lines meet, and the trench is laid
// against it by exact distances. Lots without hollow corners agree within the
// draw's noise (4 standard errors); with them the reckoned chance is no less.
func TestOracleMonteCarlo(t *testing.T) {
	rng := newRand(7)
	const draws = 20000
	for i, c := range []struct {
		ring   orb.Ring
		line   orb.LineString
		sd     float64
		convex bool
	}{
		{rect(0, 0, 30, 50)[0][0], orb.LineString{{2, 5}, {2, 45}, {28, 45}}, 1.5, true},
		{rect(0, 0, 30, 50)[0][0], orb.LineString{{1, 1}, {3, 3}}, 0.5, true}, // into a corner
		{rect(0, 0, 12, 50)[0][0], orb.LineString{{6, 2}, {6, 30}}, 3, true},  // all lines near
		{orb.Ring{{0, 0}, {40, -5}, {45, 30}, {20, 48}, {-3, 25}, {0, 0}}, orb.LineString{{2, 3}, {36, 0}, {40, 25}}, 1, true},
		{orb.Ring{{0, 0}, {40, 0}, {40, 20}, {20, 20}, {20, 40}, {0, 40}, {0, 0}}, orb.LineString{{18, 38}, {18, 18}, {38, 18}}, 1.5, false},
	} {
		lot := Lot{Shape: orb.MultiPolygon{{c.ring}}}
		const half = 0.15
		got, err := LineAccuracy(orb.MultiLineString{c.line}, 2*half, lot, func(int, int, int) unit.Length { return unit.Length(c.sd) }, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		hits := 0
		for d := 0; d < draws; d++ {
			if !fits(c.line, half, moved(c.ring, func() float64 { return rng.NormFloat64() * c.sd })) {
				hits++
			}
		}
		mc := float64(hits) / draws
		noise := 4 * math.Sqrt(mc*(1-mc)/draws)
		if c.convex && math.Abs(mc-got.Over) > noise || got.Over < mc-noise {
			t.Errorf("%d: reckoned %v, drawn %v +- %v", i, got.Over, mc, noise)
		}
		t.Logf("%d: reckoned %.4f, drawn %.4f", i, got.Over, mc)
		// at the clearance named, the chance is the one allowed
		if c.convex && i == 0 {
			k := float64(got.Clearance) + half
			in := orb.LineString{{k, 5}, {k, 45}, {30 - k, 45}}
			again, _ := LineAccuracy(orb.MultiLineString{in}, 2*half, lot, func(int, int, int) unit.Length { return unit.Length(c.sd) }, 0.05)
			if math.Abs(again.Over-0.05) > 1e-6 {
				t.Errorf("at the clearance of %v m the chance is %v", got.Clearance, again.Over)
			}
		}
	}
}

// moved draws a ring again from its lines, each moved in by a draw.
func moved(r orb.Ring, draw func() float64) orb.Ring {
	n := len(r) - 1
	lines := make([]edge, n)
	for i := range lines {
		e := newEdge(r[i], r[i+1], 0)
		x := draw()
		e.a = orb.Point{e.a[0] + x*e.n[0], e.a[1] + x*e.n[1]}
		lines[i] = e
	}
	out := make(orb.Ring, 0, n+1)
	for i := range lines {
		e, f := lines[(i+n-1)%n], lines[i]
		t := ((f.a[0]-e.a[0])*f.d[1] - (f.a[1]-e.a[1])*f.d[0]) / (e.d[0]*f.d[1] - e.d[1]*f.d[0])
		out = append(out, orb.Point{e.a[0] + t*e.d[0], e.a[1] + t*e.d[1]})
	}
	return append(out, out[0])
}

// fits tells whether the trench is within the ring as drawn.
func fits(l orb.LineString, half float64, r orb.Ring) bool {
	mp := orb.MultiPolygon{{r}}
	d, _, _ := shape.LineBoundary(l, mp)
	return float64(d) >= half && shape.RingArea(r) > 0 && shape.Locate(l[0], mp) == shape.Inside
}
