package zone

import (
	"errors"
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

func about(a, b float64) bool { return math.Abs(a-b) < 1e-6 }

// Hand: a line 0.3 m north of the lot of 20 by 30 m, along all of its north line
// but 0.2 m at each end, so within 1.2 m of the east and west lines too. All of it
// is outside and counts to the north line; the way in is 0.3 + 1.2 m. Then a
// line that comes in over the north line, beside the west line: outside to the
// north, inside too close to the west.
func TestHandOutsideStretch(t *testing.T) {
	lot := Lot{Shape: rect(0, 0, 20, 30), Clearance: 1}
	c, err := CheckLine(orb.LineString{{0.2, 30.3}, {19.8, 30.3}}, 0.4, lot, nil, 0)
	if err != nil || len(c.Stretches) != 1 || !about(float64(c.LengthOutside), 19.6) || !about(float64(c.LengthOffLot), 19.6) {
		t.Fatalf("%+v %v", c, err)
	}
	if s := c.Stretches[0]; !s.Outside || s.Edge.Vertex != 2 || s.From != 0 || !about(float64(s.To), 19.6) || !about(float64(s.Measured), -0.5) || !about(s.Shift[1], -1.5) {
		t.Errorf("%+v", s)
	}
	c, err = CheckLine(orb.LineString{{0.5, 31}, {0.5, 20}}, 0.4, lot, nil, 0)
	if err != nil || len(c.Stretches) != 2 || !about(float64(c.LengthOutside), 11) || !about(float64(c.LengthOffLot), 1) {
		t.Fatalf("%+v %v", c, err)
	}
	for _, s := range c.Stretches {
		north := s.Edge.Vertex == 2
		if s.Outside != north || north != (s.From == 0) || north && !about(float64(s.To), 2.2) || !north && (s.Edge.Vertex != 3 || !about(float64(s.From), 1) || !about(float64(s.Measured), 0.3)) {
			t.Errorf("%+v", s)
		}
	}
}

// Hand: a lot 20 x 30 m, clearance 1 m, trench 0.4 m wide: the middle keeps 1.2 m.
func TestHandCheckLine(t *testing.T) {
	lot := Lot{Shape: rect(0, 0, 20, 30), Clearance: 1}
	house := KeepOut{ID: "h", Kind: Building, Geometry: rect(6, 10, 14, 20)[0], Clearance: 2}
	check := func(l orb.LineString) LineCheck {
		t.Helper()
		c, err := CheckLine(l, 0.4, lot, []KeepOut{house}, 0)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	// exactly 1.2 m from the west line, 4.8 m from the house: passes
	c := check(orb.LineString{{1.2, 5}, {1.2, 25}})
	if !c.Inside || len(c.Stretches) > 0 || !about(float64(c.LeastClearance), 1) || !about(float64(*c.LeastFoundation), 4.6) {
		t.Errorf("at the clearance: %+v", c)
	}
	// a millimetre closer along 20 m, over the whole length
	c = check(orb.LineString{{1.199, 5}, {1.199, 25}})
	if c.Inside || len(c.Stretches) != 1 {
		t.Fatalf("a millimetre short: %+v", c)
	}
	s := c.Stretches[0]
	if s.Outside || *s.Edge != (shape.Spot{Vertex: 3}) || s.From != 0 || s.To != 20 || !about(float64(s.Short), 0.001) || !about(s.Shift[0], 0.001) || !about(s.Shift[1], 0) || !s.Mends || !about(float64(c.LengthOutside), 20) || c.LengthOffLot != 0 {
		t.Errorf("a millimetre short: %+v", s)
	}
	// from inside over the east line by 3 m: from x = 18.8 on too close
	c = check(orb.LineString{{16, 25}, {23, 25}})
	if len(c.Stretches) != 1 {
		t.Fatalf("over the line: %+v", c)
	}
	s = c.Stretches[0]
	if !s.Outside || s.Edge.Vertex != 1 || !about(float64(s.From), 2.8) || s.To != 7 || !about(float64(s.Measured), -3.2) || !about(float64(s.Short), 4.2) ||
		!about(s.Shift[0], -4.2) || !about(s.Shift[1], 0) || !s.Mends || !about(float64(c.LengthOffLot), 3) || !about(float64(c.LeastClearance), -3.2) || c.LeastAt != (orb.Point{23, 25}) {
		t.Errorf("over the line: %+v\n%+v", s, c)
	}
	// wholly outside, 5 m west of the lot: the way in is 5 + 1.2 m
	c = check(orb.LineString{{-5, 10}, {-5, 12}})
	if len(c.Stretches) != 1 || !c.Stretches[0].Outside || !about(c.Stretches[0].Shift[0], 6.2) || !about(float64(c.LeastClearance), -5.2) || !c.Stretches[0].Mends {
		t.Errorf("outside: %+v", c)
	}
	// past the house at 1.5 m of the 2.2 m asked, beside its west wall (x = 6)
	c = check(orb.LineString{{4.5, 5}, {4.5, 25}})
	if len(c.Stretches) != 1 || *c.Stretches[0].Thing != 0 || c.Stretches[0].ID != "h" || !about(float64(c.Stretches[0].Short), 0.7) || !about(c.Stretches[0].Shift[0], -0.7) || !c.Stretches[0].Mends {
		t.Errorf("by the house: %+v", c)
	}
	// where the corners' discs of 2.2 m are entered: 10 - sqrt(2.2^2 - 1.5^2)
	if from := 5 - math.Sqrt(2.2*2.2-1.5*1.5); !about(float64(c.Stretches[0].From), from) || !about(float64(c.Stretches[0].To), 20-from) {
		t.Errorf("by the house: from %v to %v", c.Stretches[0].From, c.Stretches[0].To)
	}
	// right through the house: 4 m deep at the middle
	c = check(orb.LineString{{3, 15}, {17, 15}})
	if len(c.Stretches) != 1 || !c.Stretches[0].Outside || !about(float64(*c.LeastFoundation), -4.2) {
		t.Errorf("through the house: %+v", c)
	}
	// wholly within the house
	c = check(orb.LineString{{9, 15}, {11, 15}})
	if len(c.Stretches) != 1 || !c.Stretches[0].Outside || !about(float64(*c.LeastFoundation), -4.2) {
		t.Errorf("within the house: %+v", c)
	}
	// round a corner too near two lines: two stretches, one each
	c = check(orb.LineString{{1, 10}, {1, 1}, {10, 1}})
	if len(c.Stretches) != 2 || c.Stretches[0].Edge.Vertex == c.Stretches[1].Edge.Vertex || !about(float64(c.LengthOutside), 18) {
		t.Errorf("corner: %+v", c)
	}
	// posts: 0.5 m strip and a clearance of 0: 0.1 m from the line only warns
	lot.Clearance = 0
	c, err := CheckLine(orb.LineString{{0.3, 5}, {0.3, 25}}, 0.4, lot, nil, 0.5)
	if err != nil || !c.Inside || len(c.Posts) != 1 || !about(float64(c.Posts[0].Short), 0.4) {
		t.Errorf("posts: %+v %v", c, err)
	}
	for _, l := range []orb.LineString{nil, {{1, 1}}, {{1, 1}, {1, 1}}, {{1, math.NaN()}, {2, 2}}} {
		if _, err := CheckLine(l, 0.4, lot, nil, 0); err == nil {
			t.Errorf("%v was taken", l)
		}
	}
	if _, err := CheckLine(orb.LineString{{1, 1}, {2, 2}}, -1, lot, nil, 0); err == nil {
		t.Error("a negative width was taken")
	}
	var long orb.LineString
	for i := 0; i < 30_000; i++ {
		long = append(long, orb.Point{float64(i % 20), float64(i%30) / 2})
	}
	var e *shape.InvalidError
	if _, err := CheckLine(long, 0.4, Lot{Shape: orb.MultiPolygon{{comb(2000, 5, 50)}}}, nil, 0); !errors.As(err, &e) || e.Rule != shape.RuleTooComplex {
		t.Errorf("too long a line: %v", err)
	}
}

// Property: the stretches against the definition of the zone at points close by
// along the line; the least clearance against the same points; a stretch that
// is said to mend does.
func TestPropertyCheckLine(t *testing.T) {
	rng := newRand(5)
	clear, mended, all := 0, 0, 0
	for i := 0; i < 600; i++ {
		lot, out := randomLot(rng)
		b := lot.Shape.Bound().Pad(2)
		var l orb.LineString
		for n := 2 + rng.Intn(4); n > 0; n-- {
			p := orb.Point{b.Min[0] + rng.Float64()*(b.Max[0]-b.Min[0]), b.Min[1] + rng.Float64()*(b.Max[1]-b.Min[1])}
			if rng.Intn(6) == 0 { // on a vertex of the lot
				p = lot.Shape[0][0][rng.Intn(len(lot.Shape[0][0]))]
			}
			l = append(l, p)
		}
		if l[0] == l[len(l)-1] {
			continue
		}
		const half = 0.15
		c, err := CheckLine(l, 2*half, lot, out, 0)
		if err != nil {
			t.Fatal(err)
		}
		if c.Inside {
			clear++
		}
		least, foundation := math.Inf(1), math.Inf(1)
		bad := 0
		const n = 400
		for k := 0; k <= n; k++ {
			s := c.Length * unit.Length(k) / n
			p := shape.PointAt(l, s)
			want := slack(p, lot, out, half)
			got, edge := false, false
			for _, st := range c.Stretches {
				if s >= st.From && s <= st.To {
					got = true
				}
				edge = edge || math.Abs(float64(s-st.From)) < 1e-6 || math.Abs(float64(s-st.To)) < 1e-6
			}
			if want < -1e-7 {
				bad++
			}
			if math.Abs(want) > 1e-7 && !edge && got != (want < 0) {
				t.Fatalf("at %v m along, slack %v, in a stretch: %v; line %v lot %v out %v: %+v", s, want, got, l, lot.Shape, out, c)
			}
			d, _, _ := ruler{lot: lot}.toLot(p)
			if shape.Locate(p, lot.Shape) == shape.Outside {
				d = -d
			}
			least = math.Min(least, d-half)
			for j, o := range out {
				if o.Kind == Building {
					d, _ := barOf(j, o).distance(p)
					if shape.LocateInPolygon(p, o.Geometry.(orb.Polygon)) == shape.Inside {
						d = -d
					}
					foundation = math.Min(foundation, d-half)
				}
			}
		}
		step := float64(c.Length) / n
		if e := least - float64(c.LeastClearance); e < -1e-5 || e > step {
			t.Fatalf("least clearance %v, points say %v; line %v lot %v", c.LeastClearance, least, l, lot.Shape)
		}
		if c.LeastFoundation != nil {
			if e := foundation - float64(*c.LeastFoundation); e < -1e-5 || e > step {
				t.Fatalf("least foundation clearance %v, points say %v", *c.LeastFoundation, foundation)
			}
		}
		if e := float64(bad)*step - float64(c.LengthOutside); math.Abs(e) > 2*step*float64(len(c.Stretches)+1) {
			t.Fatalf("length outside %v, points say %v", c.LengthOutside, float64(bad)*step)
		}
		for _, st := range c.Stretches {
			all++
			if st.Mends {
				mended++
				if again, err := CheckLine(st.Shifted, 2*half, lot, out, 0); err != nil || !again.Inside {
					t.Fatalf("the shift %v does not mend: %+v", st.Shift, again)
				}
			}
		}
	}
	t.Logf("%d of 600 lines clear, %d of %d stretches mended by a shift alone", clear, mended, all)
}
