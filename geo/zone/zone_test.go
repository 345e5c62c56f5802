package zone

import (
	"errors"
	"math"
	"math/rand"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Hand: a lot of 100 by 150 ft at 2 ft from its lines leaves 96 by 146 ft; a
// trench 1 ft wide leaves its middle 95 by 145 ft. With a house of 40 by 30 ft
// at 3 ft the house takes 46 by 36 ft less its rounded corners: 4 - pi square
// times 3 ft.
func TestHandRectangle(t *testing.T) {
	ft := float64(unit.Foot)
	lot := Lot{Shape: rect(0, 0, 100*ft, 150*ft), Clearance: 2 * unit.Foot}
	z, err := Trench(lot, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := orb.Bound{Min: orb.Point{2 * ft, 2 * ft}, Max: orb.Point{98 * ft, 148 * ft}}
	b := z.Shape.Bound()
	for k := 0; k < 2; k++ {
		if math.Abs(b.Min[k]-want.Min[k]) > 1e-12 || math.Abs(b.Max[k]-want.Max[k]) > 1e-12 {
			t.Errorf("bounds %v, want %v", b, want)
		}
	}
	if len(z.Shape) != 1 || len(z.Shape[0]) != 1 || len(z.Shape[0][0]) != 5 || math.Abs(z.Area.SquareFeet()-96*146) > 1e-6 {
		t.Errorf("%v, %v ft2", z.Shape, z.Area.SquareFeet())
	}
	z, err = CentreLine(lot, nil, unit.Foot)
	if err != nil || math.Abs(z.Area.SquareFeet()-95*145) > 1e-6 {
		t.Errorf("centre line %v ft2 %v", z.Area.SquareFeet(), err)
	}
	house := KeepOut{ID: "h", Kind: "building", Geometry: rect(30*ft, 60*ft, 70*ft, 90*ft), Clearance: 3 * unit.Foot}
	z, err = Trench(lot, []KeepOut{house})
	wantArea := 96*146 - (46*36 - (4-math.Pi)*9)
	if err != nil || z.Area.SquareFeet() > wantArea || z.Area.SquareFeet() < wantArea-0.05 {
		t.Errorf("with a house %v ft2, want %v or up to 0.05 less; %v", z.Area.SquareFeet(), wantArea, err)
	}
	if len(z.Removed) != 1 || z.Removed[0].ID != "h" {
		t.Errorf("removed %+v", z.Removed)
	}
	house.MayCross = true
	if z, _ = Trench(lot, []KeepOut{house}); math.Abs(z.Area.SquareFeet()-96*146) > 1e-6 {
		t.Error("a thing that may be crossed took ground")
	}
}

// Hand: 10 ft in front, 5 ft at the sides, 20 ft behind.
func TestHandByEdge(t *testing.T) {
	ft := unit.Foot
	lot := Lot{Shape: rect(0, 0, 100*float64(ft), 150*float64(ft)), Edges: [][][]unit.Length{{{10 * ft, 5 * ft, 20 * ft, 5 * ft}}}}
	z, err := Trench(lot, nil)
	if err != nil || math.Abs(z.Area.SquareFeet()-90*120) > 1e-6 {
		t.Errorf("%v ft2, %v", z.Area.SquareFeet(), err)
	}
	// a hole keeps its clearance too: 10 x 10 m less 1 m all round, hole 2 x 2
	// grown by 1 m with round corners
	holed := rect(0, 0, 10, 10)
	holed[0] = append(holed[0], orb.Ring{{4, 4}, {4, 6}, {6, 6}, {6, 4}, {4, 4}})
	z, err = Trench(Lot{Shape: holed, Clearance: 1}, nil)
	if want := 64 - (4 + 4*2 + math.Pi); err != nil || float64(z.Area) > want || float64(z.Area) < want-0.01 {
		t.Errorf("%v m2, want %v, %v", z.Area, want, err)
	}
}

// Hand: an empty zone says why, in words that name the cause.
func TestHandEmpty(t *testing.T) {
	for _, c := range []struct {
		name string
		lot  Lot
		out  []KeepOut
		want string
	}{
		{"narrow", Lot{Shape: rect(0, 0, 1, 30), Clearance: 0.6}, nil, "the widest circle in it is 1.000 m across"},
		{"exactly as wide", Lot{Shape: rect(0, 0, 1.2, 30), Clearance: 0.6}, nil, "nowhere wide enough"},
		{"filled by the house", Lot{Shape: rect(0, 0, 10, 10), Clearance: 1}, []KeepOut{{ID: "7", Kind: "building", Geometry: rect(1, 1, 9, 9), Clearance: 1}}, "building 7 with its clearance"},
		{"filled together", Lot{Shape: rect(0, 0, 10, 10), Clearance: 1}, []KeepOut{{ID: "7", Kind: "building", Geometry: rect(1, 1, 5, 9), Clearance: 1}, {ID: "8", Kind: "pool", Geometry: rect(5, 1, 9, 9), Clearance: 1}}, "building 7, pool 8"},
	} {
		z, err := Trench(c.lot, c.out)
		if err != nil || z.Pieces != 0 || !strings.Contains(z.EmptyReason, c.want) {
			t.Errorf("%s: %+v %v", c.name, z, err)
		}
	}
}

// Hand: bad input is named.
func TestHandRefused(t *testing.T) {
	sq := rect(0, 0, 10, 10)
	for _, c := range []struct {
		name string
		lot  Lot
		out  []KeepOut
		want shape.Rule
	}{
		{"negative", Lot{Shape: sq, Clearance: -1}, nil, RuleClearance},
		{"no number", Lot{Shape: sq, Clearance: unit.Length(math.NaN())}, nil, RuleClearance},
		{"absurd", Lot{Shape: sq, Clearance: 1e6}, nil, RuleClearance},
		{"wrong count", Lot{Shape: sq, Edges: [][][]unit.Length{{{1, 2, 3}}}}, nil, RuleCount},
		{"negative edge", Lot{Shape: sq, Edges: [][][]unit.Length{{{1, 2, 3, -4}}}}, nil, RuleClearance},
		{"too many rings", Lot{Shape: sq, Edges: [][][]unit.Length{{nil, {1}}}}, nil, RuleCount},
		{"too many parts", Lot{Shape: sq, Edges: [][][]unit.Length{nil, nil}}, nil, RuleCount},
		{"no lot", Lot{}, nil, shape.RuleEmpty},
		{"bow-tie", Lot{Shape: orb.MultiPolygon{{{{0, 0}, {10, 10}, {10, 0}, {0, 10}, {0, 0}}}}}, nil, shape.RuleSelfIntersection},
		{"house not closed", Lot{Shape: sq}, []KeepOut{{ID: "h", Geometry: orb.Polygon{{{0, 0}, {1, 0}, {1, 1}, {0, 1}}}}}, shape.RuleRingNotClosed},
		{"no thing", Lot{Shape: sq}, []KeepOut{{ID: "h"}}, shape.RuleEmpty},
		{"thing's clearance", Lot{Shape: sq}, []KeepOut{{Geometry: orb.Point{}, Clearance: -1}}, RuleClearance},
	} {
		_, err := Trench(c.lot, c.out)
		var e *shape.InvalidError
		if !errors.As(err, &e) || e.Rule != c.want {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if _, err := CentreLine(Lot{Shape: sq}, nil, -1); err == nil {
		t.Error("a negative width was taken")
	}
}

// slack is by how much the nearest demand on a point is more than met: the
// least of distance less clearance over edges and things; negative outside the
// lot or within a thing. It is the definition of the zone, by exact distances.
func slack(p orb.Point, lot Lot, out []KeepOut, more unit.Length) float64 {
	s := math.Inf(1)
	for i, poly := range lot.Shape {
		for j, r := range poly {
			for e := 1; e < len(r); e++ {
				d, _ := shape.PointSegment(p, r[e-1], r[e])
				s = math.Min(s, float64(d-lot.edge(i, j, e-1)-more))
			}
		}
	}
	if shape.Locate(p, lot.Shape) == shape.Outside {
		off := math.Inf(1)
		for _, poly := range lot.Shape {
			for _, r := range poly {
				d, _ := shape.PointLine(p, orb.LineString(r))
				off = math.Min(off, float64(d))
			}
		}
		return math.Min(s, -off)
	}
	for _, k := range out {
		if k.MayCross {
			continue
		}
		d := math.Inf(1)
		line := func(l orb.LineString) {
			e, _ := shape.PointLine(p, l)
			d = math.Min(d, float64(e))
		}
		switch g := k.Geometry.(type) {
		case orb.Point:
			line(orb.LineString{g})
		case orb.LineString:
			line(g)
		case orb.Polygon:
			for _, r := range g {
				line(orb.LineString(r))
			}
			if shape.LocateInPolygon(p, g) == shape.Inside {
				d = -d
			}
		}
		s = math.Min(s, d-float64(k.Clearance+more))
	}
	return s
}

// judge holds a zone against its definition: no point of its boundary is too
// close, none more than 1 mm further off than asked (along arcs), and points
// drawn in the lot are in the zone as the definition says.
func judge(t *testing.T, rng *rand.Rand, lot Lot, out []KeepOut, z Zone) {
	t.Helper()
	for _, poly := range z.Shape {
		for _, r := range poly {
			for i := 1; i < len(r); i++ {
				for _, f := range []float64{0, 0.2, 0.5, 0.77} {
					p := orb.Point{r[i-1][0] + f*(r[i][0]-r[i-1][0]), r[i-1][1] + f*(r[i][1]-r[i-1][1])}
					if s := slack(p, lot, out, 0); s < -1e-8 || s > 0.001 {
						t.Fatalf("a boundary point has slack %v m, at %v; lot %v out %v zone %v", s, p, lot.Shape, out, z.Shape)
					}
				}
			}
		}
	}
	b := lot.Shape.Bound()
	for i := 0; i < 40; i++ {
		p := orb.Point{b.Min[0] + rng.Float64()*(b.Max[0]-b.Min[0]), b.Min[1] + rng.Float64()*(b.Max[1]-b.Min[1])}
		s := slack(p, lot, out, 0)
		in := shape.Locate(p, z.Shape) == shape.Inside
		if s > 0.02 && !in || s < -1e-8 && in {
			t.Fatalf("a point with slack %v m is in the zone: %v, at %v; lot %v out %v zone %v", s, in, p, lot.Shape, out, z.Shape)
		}
	}
}

func TestPropertyOverlayByDefinition(t *testing.T) {
	rng := newRand(3)
	empty := 0
	for i := 0; i < 200; i++ {
		lot, out := randomLot(rng)
		if rng.Intn(3) == 0 { // a clearance for each edge, some of them 0
			e := make([]unit.Length, len(lot.Shape[0][0])-1)
			for j := range e {
				e[j] = unit.Length(rng.Intn(5)) * 0.4
			}
			lot.Edges = [][][]unit.Length{{e}}
		}
		z, err := byOverlay(lot, out, 0, around)
		if err != nil {
			t.Fatal(err)
		}
		if z.Pieces == 0 {
			empty++
			if z.EmptyReason == "" {
				t.Fatal("empty without a reason")
			}
		}
		judge(t, rng, lot, out, z)
	}
	t.Logf("%d of 200 empty", empty)
}

// Hand: a roof of 10 x 8 m with overhang 0.45 m stands on walls of 9.1 x 7.1 m.
func TestHandWalls(t *testing.T) {
	w, err := Walls(rect(0, 0, 10, 8), 0.45)
	if err != nil || math.Abs(float64(shape.Area(w))-9.1*7.1) > 1e-9 {
		t.Errorf("%v %v", shape.Area(w), err)
	}
	w, err = Walls(rect(0, 0, 0.8, 8), 0.45)
	if err != nil || math.Abs(float64(shape.Area(w))-6.4) > 1e-9 {
		t.Errorf("narrow roof: %v %v", shape.Area(w), err)
	}
}

// Property: every real lot is answered, with a zone or a reason, or refused as
// invalid with a place.
func TestPropertyRealLots(t *testing.T) {
	rng := newRand(4)
	for name, lots := range realSets(t) {
		zones, empty, invalid := 0, 0, map[shape.Rule]int{}
		step := 6
		if full() {
			step = 1
		}
		for i := 0; i < len(lots); i += step {
			c, faults := shape.Clean(lots[i])
			if len(faults) > 0 {
				invalid[faults[0].Rule]++
				continue
			}
			z, err := Trench(Lot{Shape: c.Shape, Clearance: 0.6096}, nil)
			switch {
			case err != nil:
				t.Errorf("%s %d: %v", name, i, err)
			case z.Pieces == 0 && z.EmptyReason == "":
				t.Errorf("%s %d: empty without a reason", name, i)
			case z.Pieces == 0:
				empty++
			default:
				zones++
			}
			if i%50 == 0 {
				judge(t, rng, Lot{Shape: c.Shape, Clearance: 0.6096}, nil, z)
			}
		}
		t.Logf("%s: %d lots, %d zones, %d empty with a reason, invalid %v", name, len(lots), zones, empty, invalid)
	}
}

// comb is a ring of n teeth along x from the origin, long in y.
func comb(n int, pitch, long float64) orb.Ring {
	r := orb.Ring{{0, -pitch}, {float64(n) * pitch, -pitch}}
	for i := n - 1; i >= 0; i-- {
		x := float64(i) * pitch
		r = append(r, orb.Point{x + .8*pitch, 0}, orb.Point{x + .7*pitch, long}, orb.Point{x + .3*pitch, long}, orb.Point{x + .2*pitch, 0})
	}
	return append(r, r[0])
}

// Hand: what would take a machine down is refused by name, and soon; a lot of
// 2,000 vertices along a river is not.
func TestHandTooComplex(t *testing.T) {
	lot := Lot{Shape: orb.MultiPolygon{{comb(2400, 0.2, 480)}}, Clearance: 0.05}
	across := comb(2400, 0.2, 480)
	for i, p := range across {
		across[i] = orb.Point{p[1], p[0]}
	}
	across.Reverse()
	var e *shape.InvalidError
	if _, err := Trench(lot, []KeepOut{{ID: "7", Kind: Building, Geometry: orb.Polygon{across}}}); !errors.As(err, &e) || e.Rule != shape.RuleTooComplex || !strings.Contains(e.Detail, "building 7") {
		t.Errorf("comb across comb: %v", err)
	}
	if _, err := Trench(Lot{Shape: orb.MultiPolygon{{comb(30_000, 5, 50)}}, Clearance: 0.6}, nil); !errors.As(err, &e) || e.Rule != shape.RuleTooComplex {
		t.Errorf("120,000 vertices: %v", err)
	}
	rng := newRand(11)
	river := orb.Ring{{0, 0}, {400, 0}}
	for i := 0; i <= 2000; i++ {
		x := 400 * (1 - float64(i)/2000)
		river = append(river, orb.Point{x, 100 + 20*math.Sin(x/30) + .1*rng.Float64()})
	}
	river = append(river, river[0])
	z, err := Trench(Lot{Shape: orb.MultiPolygon{{river}}, Clearance: 0.6}, nil)
	if err != nil || z.Pieces != 1 {
		t.Fatalf("river: %v %v", z.Pieces, err)
	}
	judge(t, rng, Lot{Shape: orb.MultiPolygon{{river}}, Clearance: 0.6}, nil, Zone{Shape: z.Shape[:1], Pieces: 1})
}
