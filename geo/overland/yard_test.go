package overland

// Lots, roofs and grading: cases that can be worked on paper.

import (
	"math"
	"math/rand"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

func box(x0, y0, x1, y1 float64) orb.MultiPolygon {
	return orb.MultiPolygon{{{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}}}}
}

func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

// Two lots of 20 by 30 m side by side on a plane that falls east: all of the
// west lot, 600 m2, runs over the 30 m line between them, and with it goes on
// over the east lot's far line: 1200 m2. A roof of 80 m2 in the west lot comes
// down at 15, 10; its house of 8 by 10 m is a wall.
func TestHandLineFlows(t *testing.T) {
	g := of(40, 30, 1, func(x, y float64) float64 { return 100 - 0.05*x })
	lots := []orb.MultiPolygon{box(0, 0, 20, 30), box(20, 0, 40, 30)}
	f := flow(t, Input{Ground: g})
	a, err := f.Accumulate(nil, nil, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := f.LineFlows(lots, a, a)
	if len(got) != 3 {
		t.Fatalf("%+v", got)
	}
	// lot 0's line 1 (east), leaving to lot 1; lot 1's line 1 (east) leaving; lot 1's line 3 (west) coming in
	for i, w := range []LineFlow{
		{Lot: 0, Line: 1, Other: 1, Before: 600, After: 600, Length: 30},
		{Lot: 1, Line: 1, Other: -1, Before: 1200, After: 1200, Length: 30},
		{Lot: 1, Line: 3, Other: 0, Into: true, Before: 600, After: 600, Length: 30},
	} {
		l := got[i]
		if l.Lot != w.Lot || l.Line != w.Line || l.Other != w.Other || l.Into != w.Into || l.Before != w.Before || l.After != w.After || !near(float64(l.Length), 30, 1e-9) {
			t.Errorf("%d: %+v, want %+v", i, l, w)
		}
	}
	if got[0].MostAfter != 20 {
		t.Errorf("sheet flow of %v m2 at most in a cell, want 20", got[0].MostAfter)
	}
	// the house sheds to a downspout; after the plan a pipe takes it, and a basin
	// takes the row it stands in
	house := box(5, 5, 13, 15)
	f = flow(t, Input{Ground: g, Blocked: []orb.MultiPolygon{house}})
	roof := []Inflow{{At: orb.Point{14.5, 10.5}, Area: 80}}
	before, err := f.Accumulate(nil, roof, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	basin, _ := f.CellAt(orb.Point{17.5, 10.5}, 0)
	after, _ := f.Accumulate(nil, nil, 1, []int{basin})
	l := f.LineFlows(lots, before, after)[0]
	if !near(float64(l.Before), 600, 1e-9) { // 520 m2 of lawn and the roof
		t.Errorf("before %v m2", l.Before)
	}
	if l.After >= l.Before-80 || l.After < 500-4*13 {
		t.Errorf("after %v of %v m2", l.After, l.Before)
	}
	if !near(float64(l.At[0]), 20, 1e-9) {
		t.Errorf("most crosses at %v", l.At)
	}
}

// A roof of 12 by 8 m with a downspout at each corner: a quarter each, 24 m2.
// With two at the ends of the north side: by symmetry half each. With one: all.
func TestHandRoof(t *testing.T) {
	roof := box(0, 0, 12, 8)
	spouts := func(p ...orb.Point) (s []Downspout) {
		for _, q := range p {
			s = append(s, Downspout{At: q})
		}
		return s
	}
	r, err := SplitRoof(roof, spouts(orb.Point{0, 0}, orb.Point{12, 0}, orb.Point{12, 8}, orb.Point{0, 8}), nil, 1)
	if err != nil {
		t.Fatal(err)
	}
	for k, s := range r.Shares {
		if !near(float64(s), 24, 0.48) {
			t.Errorf("corner %d takes %v m2, want 24", k, s)
		}
	}
	r, _ = SplitRoof(roof, spouts(orb.Point{0, 8.2}, orb.Point{12, 8.2}), parea(120), 1)
	if !near(float64(r.Shares[0]), 60, 0.6) || !near(float64(r.Shares[0]+r.Shares[1]), 120, 1e-9) {
		t.Errorf("two ends of a side: %+v", r)
	}
	// One downspout in the middle of the south eave, one in the middle of the
	// north: a hipped roof of one pitch sheds the same to both.
	// One at the south-west corner, one in the middle of the north eave: the
	// outline is 40 m, the corner at 0, the middle of the north at 12+8+6 = 26;
	// they meet halfway, at 13 and at 33. By planes of the hips: south 12*8/2 -
	// 2*(4*4/2)/1 = 32, east 16, north 32, west 16 (of 96).
	// The corner takes south 32 whole (0..12), 1 m of the east eave's 8 (12..13),
	// west's 32..40 but for its first metre, and nothing of the north.
	// A strip of 1 m at an eave's end is a triangle of 1/2 m2 (the hip is at 45
	// degrees): corner 32 + 0.5 + 16 - 0.5 = 48, the other 48.
	r, _ = SplitRoof(roof, spouts(orb.Point{0, 0}, orb.Point{6, 8}), nil, 1)
	if !near(float64(r.Shares[0]), 48, 0.48) || !near(float64(r.Shares[1]), 48, 0.48) {
		t.Errorf("corner and middle: %+v", r)
	}
	// stated: one says 30, the other two share 66 in their proportion
	s := spouts(orb.Point{0, 0}, orb.Point{12, 0}, orb.Point{12, 8})
	s[0].Area = parea(30)
	r, err = SplitRoof(roof, s, nil, 1)
	if err != nil || r.Shares[0] != 30 || !near(float64(r.Shares[1]+r.Shares[2]), 66, 1e-9) {
		t.Errorf("stated: %v %+v", err, r)
	}
	// a part without a downspout is left over, and told
	two := append(box(0, 0, 12, 8), box(20, 0, 24, 6)...)
	r, _ = SplitRoof(two, spouts(orb.Point{0, 0}), nil, 1)
	if !near(float64(r.Left), 24, 0.6) || !near(float64(r.Left+r.Shares[0]), 120, 1e-9) {
		t.Errorf("shed without a downspout: %+v", r)
	}
	r, err = SplitRoof(roof, nil, nil, 1)
	if err != nil || r.Left != 96 {
		t.Errorf("no downspouts: %v %+v", err, r)
	}
	for name, c := range map[string]struct {
		roof orb.MultiPolygon
		s    []Downspout
		a    *unit.Area
	}{
		"far away":  {roof, spouts(orb.Point{50, 50}), nil},
		"no area":   {orb.MultiPolygon{}, spouts(orb.Point{0, 0}), nil},
		"negative":  {roof, []Downspout{{At: orb.Point{0, 0}, Area: parea(-1)}}, nil},
		"too much":  {roof, []Downspout{{At: orb.Point{0, 0}, Area: parea(100)}, {At: orb.Point{12, 0}}}, nil},
		"too small": {roof, []Downspout{{At: orb.Point{0, 0}, Area: parea(50)}}, nil},
		"zero roof": {roof, spouts(orb.Point{0, 0}), parea(0)},
	} {
		if _, err := SplitRoof(c.roof, c.s, c.a, 1); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

func parea(v unit.Area) *unit.Area { return &v }

func TestPropertyRoofAddsUp(t *testing.T) {
	r := rand.New(rand.NewSource(3))
	for i := 0; i < 30; i++ {
		w, h := 5+15*r.Float64(), 5+15*r.Float64()
		l := orb.MultiPolygon{{{{0, 0}, {w, 0}, {w, h}, {w / 2, h}, {w / 2, h / 2}, {0, h / 2}, {0, 0}}}}
		var s []Downspout
		for k := 0; k < 1+r.Intn(5); k++ {
			s = append(s, Downspout{At: shape.PointAt(orb.LineString(l[0][0]), unit.Length(r.Float64()*2*(w+h)))})
		}
		out, err := SplitRoof(l, s, nil, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		sum := out.Left
		for _, v := range out.Shares {
			sum += v
		}
		if !near(float64(sum), float64(shape.Area(l)), 1e-9) {
			t.Fatalf("%v of %v m2", sum, shape.Area(l))
		}
	}
}

// A house on ground that falls 5 % away to the north and 2 % to the south, with
// a berm on the east; the west side stops at the lot line 1.5 m off.
func TestHandFoundationFall(t *testing.T) {
	var shots []ground.Shot
	add := func(x, y, z float64) {
		shots = append(shots, ground.Shot{At: orb.Point{x, y}, Z: unit.Elevation(z), SD: 0.01})
	}
	for _, x := range []float64{10, 20} { // the house corners, and out from them
		add(x, 10, 100)
		add(x, 20, 100)
		add(x, 23.048, 100-0.05*3.048)
		add(x, 6.952, 100-0.02*3.048)
	}
	for _, y := range []float64{6.952, 10, 20, 23.048} {
		add(21.5, y, 100.1) // a berm 1.5 m east of the wall
		add(23.048, y, 99.8)
		add(8.5, y, 99.9)
	}
	s, err := ground.Triangulate(shots, nil)
	if err != nil {
		t.Fatal(err)
	}
	lot := box(8.5, 0, 40, 40)
	w := FoundationFall(s, box(10, 10, 20, 20), lot, nil, 3.048, 1)
	if len(w) != 4 {
		t.Fatalf("%+v", w)
	}
	south, east, north, west := w[0], w[1], w[2], w[3]
	if !near(float64(south.Slope), 0.02, 1e-6) || south.Cut || south.Places != 10 || south.Crest != 0 || south.Unknown != 0 {
		t.Errorf("south %+v", south)
	}
	if !near(float64(north.Slope), 0.05, 1e-6) || !near(float64(north.Fall), 0.1524, 1e-6) {
		t.Errorf("north %+v", north)
	}
	if !near(float64(east.Crest), 0.1, 1e-6) || !near(float64(east.Fall), 0.2, 1e-6) {
		t.Errorf("east %+v", east)
	}
	if !west.Cut || !near(float64(west.Over), 1.5, 1e-9) || !near(float64(west.Fall), 0.1, 1e-6) {
		t.Errorf("west %+v", west)
	}
	if !(south.StdErr > 0.01 && south.StdErr < 0.2) {
		t.Errorf("south's fall is good to %v m", south.StdErr)
	}
	// no ground on one side: said, not guessed
	w = FoundationFall(s, box(10, 10, 40, 20), nil, nil, 3.048, 1)
	if w[1].Places == 0 || w[1].Unknown != w[1].Places {
		t.Errorf("beyond the shots: %+v", w[1])
	}
}

// A flow line of 60 m: 1 % down, a sag of 0.10 m between 20 and 40 m, then 1 %.
//
//	0: 10.00, 20: 9.80, 30: 9.70, 40: 9.85, 60: 9.50
//
// The crest at 40 (9.85) is higher than the one at 20; upstream the level 9.80
// at 20 m is passed by 9.85, so the water stands up to 9.85 at 15 m: depth 0.15.
func TestHandAlong(t *testing.T) {
	p := ground.Profile{Length: 60}
	for _, v := range [][2]float64{{0, 10}, {20, 9.8}, {30, 9.7}, {40, 9.85}, {60, 9.5}} {
		p.Stations = append(p.Stations, ground.Station{Distance: unit.Length(v[0]), At: orb.Point{v[0], 0}, Elevation: unit.Elevation(v[1]), StdErr: 0.01})
	}
	r, err := Along(p, 7.6, 0.03)
	if err != nil {
		t.Fatal(err)
	}
	if !near(float64(r.Fall), 0.5, 1e-12) || !near(float64(r.Slope), 0.5/60, 1e-12) || !near(float64(r.Least), -0.015, 1e-12) || r.LeastFrom < 30 || r.LeastTo > 40 {
		t.Errorf("%+v", r)
	}
	if len(r.Sags) != 1 || !near(float64(r.Sags[0].Depth), 0.15, 1e-12) || r.Sags[0].Distance != 30 || !near(float64(r.Sags[0].From), 15, 1e-9) || !near(float64(r.Sags[0].To), 40, 1e-9) {
		t.Errorf("sags %+v", r.Sags)
	}
	p.Gaps = []ground.Gap{{From: 3, To: 4}}
	if _, err := Along(p, 7.6, 0.03); err == nil {
		t.Error("a profile with a gap was judged")
	}
	if _, err := Along(ground.Profile{}, 7.6, 0.03); err == nil {
		t.Error("an empty profile was judged")
	}
}

// A basin in a bowl between two houses. Shut, the bowl fills to its sill on the
// west and runs into the west lot.
func TestHandClogged(t *testing.T) {
	g := of(60, 40, 1, func(x, y float64) float64 {
		bowl := 0.6 * math.Exp(-((x-30)*(x-30)+(y-20)*(y-20))/60)
		return 100 + 0.01*x - bowl
	})
	houses := []orb.MultiPolygon{box(38, 14, 50, 26), box(3, 2, 12, 8)}
	lots := []orb.MultiPolygon{box(25, 0, 60, 40), box(0, 0, 25, 40)}
	in := Input{Ground: g, Blocked: houses, Drains: []orb.Point{{30, 20}}}
	if p := pondsOf(flow(t, in), 0.03, 0); len(p) != 0 {
		t.Errorf("ponds with an open grate %+v", p)
	}
	o, err := Clogged(in, 0, lots, houses)
	if err != nil {
		t.Fatal(err)
	}
	if o.Pond == nil || o.Pond.Spill == nil || !(o.Depth > 0.3 && o.Depth < 0.6) || len(o.Path) < 2 {
		t.Fatalf("%+v", o)
	}
	if o.Path[0][0] > 30 || o.Path[len(o.Path)-1][0] > 1 {
		t.Errorf("path from %v to %v", o.Path[0], o.Path[len(o.Path)-1])
	}
	if !slices.Contains(o.Lots, 1) || slices.Contains(o.Houses, 0) && o.Off > 1 {
		t.Errorf("lots %v houses %v off %v", o.Lots, o.Houses, o.Off)
	}
	if _, err := Clogged(in, 1, lots, houses); err == nil {
		t.Error("a drain that is not there was shut")
	}
	// a grate on a slope: the water runs past
	in = Input{Ground: of(20, 20, 1, func(x, y float64) float64 { return 100 - 0.1*x }), Drains: []orb.Point{{10, 10}}}
	o, err = Clogged(in, 0, nil, nil)
	if err != nil || o.Pond != nil || o.Depth != 0 || !math.IsInf(float64(o.Off), 1) {
		t.Errorf("%v %+v", err, o)
	}
}

// A pocket against a house wall: the pond touches it, the free pond does not.
func TestHandAgainstHouses(t *testing.T) {
	g := of(40, 20, 1, func(x, y float64) float64 {
		z := 100 - 0.1*x
		if math.Hypot(x-8, y-10) < 3 {
			z -= 0.5
		}
		return z
	})
	house := orb.MultiPolygon{{{{22, 4}, {30, 4}, {30, 16}, {22, 16}, {22, 13}, {26, 13}, {26, 7}, {22, 7}, {22, 4}}}}
	f := flow(t, Input{Ground: g, Blocked: []orb.MultiPolygon{house}})
	p := pondsOf(f, 0.03, 0)
	s := f.AgainstHouses(p, []orb.MultiPolygon{house})
	if len(p) != 2 || len(s) != 1 || s[0].House != 0 || s[0].At[0] < 22 || !(s[0].Depth > 0.3) {
		t.Errorf("ponds %d, standing %+v", len(p), s)
	}
}

// Water that runs along a line, to and fro over it, counts once: a ditch that
// steps from one side of the line to the other, cell by cell, carries the west
// lot's 100 m2 and the east lot's 100 m2 south; over the line nothing goes but
// what the last cell's side leaves.
func TestHandAlongTheLine(t *testing.T) {
	g := of(20, 10, 1, func(x, y float64) float64 {
		ditch := 9.5 // the ditch's column: 9 or 10 by turns
		if int(y)%2 == 0 {
			ditch = 10.5
		}
		return 100 + 0.01*y + 0.2*math.Abs(x-ditch)
	})
	f := flow(t, Input{Ground: g})
	a, err := f.Accumulate(nil, nil, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range f.LineFlows([]orb.MultiPolygon{box(0, 0, 10, 10), box(10, 0, 20, 10)}, a, a) {
		if l.Other >= 0 && l.Before > 101 {
			t.Errorf("%+v: more than the lot's own water crosses its line", l)
		}
	}
}
