package zone

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Hand: two rows of three lots back to back, 20 m wide and 30 m deep; streets 10
// m wide to the south, the north and the east, other blocks beyond; a flag lot
// between. Edges run from the south-west corner: south, east, north, west.
func TestHandRoles(t *testing.T) {
	var lots []orb.MultiPolygon
	for i := 0; i < 3; i++ {
		x := 20 * float64(i)
		lots = append(lots, rect(x, 0, x+20, 30))  // 0 1 2: street to the south
		lots = append(lots, rect(x, 30, x+20, 60)) // to the north
		lots = append(lots, rect(x, -40, x+20, -10))
		lots = append(lots, rect(x, 70, x+20, 100))
	}
	lots = append(lots, rect(70, 0, 90, 60), rect(-20, 0, 0, 60)) // east of the street; adjoining on the west
	n := NewNeighbours(lots)
	south := []orb.Geometry{orb.LineString{{-50, -5}, {120, -5}}}
	both := append(south, orb.MultiPolygon(rect(60, -10, 70, 70)))
	for _, c := range []struct {
		name    string
		lot     int
		streets []orb.Geometry
		want    []Role
		basis   Basis
		corner  bool
	}{
		{"inner by gap", 4, nil, []Role{Front, Side, Rear, Side}, FromGaps, false},
		{"inner by street line", 4, south, []Role{Front, Side, Rear, Side}, FromStreets, false},
		{"north row", 5, nil, []Role{Rear, Side, Front, Side}, FromGaps, false},
		{"corner by gaps", 8, nil, []Role{Front, Front, Rear, Side}, FromGaps, true},
		{"corner by streets", 8, both, []Role{Front, Front, Rear, Side}, FromStreets, true},
		{"a street elsewhere", 5, south, []Role{Rear, Side, Front, Side}, FromGaps, false},
	} {
		r := n.Roles(c.lot, c.streets)
		if !slices.Equal(r.Edge, c.want) || r.Basis != c.basis || r.Corner != c.corner || r.Guessed != (c.basis != FromStreets) || r.Why == "" {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
	// alone: the shorter side is the guess
	if r := NewNeighbours([]orb.MultiPolygon{rect(0, 0, 20, 30)}).Roles(0, nil); !r.Guessed || r.Basis != FromShape || !slices.Equal(r.Edge, []Role{Front, Side, Rear, Side}) {
		t.Errorf("alone: %+v", r)
	}
	// flag: a pole 4 m wide from the street, the lot behind two others; its rear
	// is the far line, the shoulder beside the pole is a side... of the flag
	flag := orb.MultiPolygon{{{{20, 0}, {24, 0}, {24, 30}, {44, 30}, {44, 60}, {0, 60}, {0, 30}, {20, 30}, {20, 0}}}}
	n = NewNeighbours([]orb.MultiPolygon{flag, rect(0, 0, 20, 30), rect(24, 0, 44, 30), rect(0, -40, 44, -10), rect(0, 60, 44, 90), rect(-20, 0, 0, 60), rect(44, 0, 64, 60)})
	if r := n.Roles(0, nil); !r.Flag || !slices.Equal(r.Edge, []Role{Front, Side, Side, Side, Rear, Side, Side, Side}) {
		t.Errorf("flag: %+v", r)
	}
	// the same lot clockwise
	for i := range lots {
		lots[i][0][0].Reverse()
	}
	if r := NewNeighbours(lots).Roles(4, nil); !slices.Equal(r.Edge, []Role{Side, Rear, Side, Front}) {
		t.Errorf("clockwise: %+v", r)
	}
	if r := NewNeighbours([]orb.MultiPolygon{nil}).Roles(0, nil); !r.Guessed || len(r.Edge) != 0 {
		t.Errorf("no shape: %+v", r)
	}
}

// Hand: a lot 20 x 30 m at 1 m, a house 6 m from the west line and 5 m from the
// east line, 2 m clear: passages of 3 m and 2 m beside it; 10 m in front and
// behind take 7 m each.
func TestHandPassages(t *testing.T) {
	lot := Lot{Shape: rect(0, 0, 20, 30), Clearance: 1}
	house := KeepOut{ID: "h", Kind: Building, Geometry: rect(6, 10, 15, 20)[0], Clearance: 2}
	z, err := Trench(lot, []KeepOut{house})
	if err != nil {
		t.Fatal(err)
	}
	p := z.Passages(lot, []KeepOut{house})
	if len(p) != 4 {
		t.Fatalf("%d passages: %+v", len(p), p)
	}
	for i, want := range []struct{ width, yard float64 }{{2, 5}, {3, 6}, {7, 10}, {7, 10}} {
		if !about(float64(p[i].Width), want.width) || !about(float64(p[i].Yard), want.yard) || !p[i].SideYard {
			t.Errorf("passage %d: %+v, want %v", i, p[i], want)
		}
	}
	line, thing := p[0].Sides[0], p[0].Sides[1]
	if thing.Thing == nil {
		line, thing = thing, line
	}
	if line.Edge == nil || line.Edge.Vertex != 1 || thing.ID != "h" || !about(p[0].At[0], 18) {
		t.Errorf("narrowest: %+v", p[0])
	}
	// two round trees: true gap 10 - 2 - 3 = 5 m, found no wider and at most 2 mm less
	trees := []KeepOut{{ID: "a", Kind: "tree", Geometry: orb.Point{10, 10}, Clearance: 2}, {ID: "b", Kind: "tree", Geometry: orb.Point{16, 18}, Clearance: 3}}
	lot.Shape = rect(-20, -20, 40, 50)
	z, _ = Trench(lot, trees)
	p = z.Passages(lot, trees)
	if d := 5 - float64(p[0].Width); len(p) == 0 || d < 0 || d > float64(PassageError) || p[0].SideYard {
		t.Errorf("between trees: %+v", p[0])
	}
	// none in a bare rectangle
	if z, _ = Trench(lot, nil); len(z.Passages(lot, nil)) != 0 {
		t.Error("a bare rectangle has a passage")
	}
	// a house across the lot parts it; what is in reach of a point outside
	lot.Shape = rect(0, 0, 20, 30)
	house.Geometry = rect(1, 10, 19, 20)[0]
	z, _ = Trench(lot, []KeepOut{house})
	if z.Pieces != 2 || len(z.PiecesNear(orb.Point{10, -2}, 3)) != 1 || len(z.PiecesNear(orb.Point{10, -2.1}, 3)) != 0 || len(z.PiecesNear(orb.Point{10, 15}, 99)) != 2 {
		t.Errorf("pieces %d", z.Pieces)
	}
}

// Property: a trench a tenth narrower than the narrowest passage leaves the zone
// its pieces and holes, one a hair wider mostly changes them: the passages
// against the zones of wider trenches, which know nothing of them.
func TestPropertyNarrowest(t *testing.T) {
	rng := newRand(6)
	tried, changed := 0, 0
	for i := 0; i < 120; i++ {
		lot, out := randomLot(rng)
		z, err := byOverlay(lot, out, 0, around)
		if err != nil {
			t.Fatal(err)
		}
		p := z.Passages(lot, out)
		if len(p) == 0 || p[0].Width > 4 {
			continue
		}
		w := p[0].Width / 2
		before, err1 := byOverlay(lot, out, w-0.004, around)
		after, err2 := byOverlay(lot, out, w+0.004, around)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		tried++
		if topology(before.Shape) != topology(after.Shape) {
			changed++ // where it doesn't, the way led to a dead end
		}
		if z.Pieces > 0 && w > 0.1 {
			// and nothing changes before, unless a whole piece vanishes
			half, err := byOverlay(lot, out, w*0.9, around)
			if err != nil {
				t.Fatal(err)
			}
			if a, b := topology(half.Shape), topology(z.Shape); a != b && a[0] >= b[0] {
				t.Fatalf("the zone changes from %v to %v before its narrowest passage of %v m", b, a, p[0].Width)
			}
		}
	}
	if tried < 30 || 2*changed < tried {
		t.Fatalf("%d lots tried, at %d the zone parts at its narrowest passage", tried, changed)
	}
	t.Logf("%d lots tried, at %d the zone parts at its narrowest passage", tried, changed)
}

// topology counts pieces and holes.
func topology(mp orb.MultiPolygon) (n [2]int) {
	for _, p := range mp {
		n[0]++
		n[1] += len(p) - 1
	}
	return n
}

// Hand: a gap 0.2 m wide along 30 m, a wedge overlap to 0.5 m, a true shared line.
func TestHandBorders(t *testing.T) {
	n := NewNeighbours([]orb.MultiPolygon{
		rect(0, 0, 20, 30),
		rect(20.2, 0, 40, 30),
		orb.MultiPolygon{{{{-20, 0}, {0, 0}, {0.5, 30}, {-20, 30}, {-20, 0}}}},
		rect(0, 30, 20, 60),
	})
	b := n.Borders(0, 0.001, 1)
	if len(b) != 2 {
		t.Fatalf("%v", b)
	}
	if g := b[0]; g.Kind != Gap || g.B != 1 || !about(float64(g.Width), 0.2) || !about(float64(g.Length), 30) {
		t.Errorf("%+v", g)
	}
	if o := b[1]; o.Kind != Overlap || o.B != 2 || math.Abs(float64(o.Length)-30) > 0.6 {
		t.Errorf("%+v", o)
	}
	if b := n.Borders(3, 0.001, 1); len(b) != 0 { // shares its line; the others touch in points
		t.Errorf("%v", b)
	}
}

// Hand: of two lots one within the other, 10 m by 10 m in 20 m by 30 m, with 5 m to
// its sides and ends from 5 to 10 m from the nearest line: the inner one is told of,
// the outer one has the overlap. Drawn twice, both lie within the other. A lot that
// the other's inner yard leaves open, that looks out by a centimetre, or that the
// other comes in on between its corners, lies in none.
func TestHandWithin(t *testing.T) {
	outer, inner := rect(0, 0, 20, 30), rect(5, 10, 15, 20)
	n := NewNeighbours([]orb.MultiPolygon{outer, inner})
	b := n.Borders(1, 0.005, 0.5)
	if len(b) != 1 || b[0].Kind != Within || b[0].A != 1 || b[0].B != 0 || !about(float64(b[0].Width), 5) || !about(float64(b[0].Length), 40) {
		t.Errorf("%v", b)
	}
	if b := n.Borders(0, 0.005, 0.5); len(b) != 1 || b[0].Kind != Overlap {
		t.Errorf("%v", b)
	}
	twice := NewNeighbours([]orb.MultiPolygon{outer, outer})
	for i := range 2 {
		if b := twice.Borders(i, 0.005, 0.5); len(b) != 1 || b[0].Kind != Within || b[0].Width != 0 {
			t.Errorf("drawn twice: %v", b)
		}
	}
	yard := orb.MultiPolygon{{outer[0][0], {{5, 10}, {5, 20}, {15, 20}, {15, 10}, {5, 10}}}}
	notch := orb.MultiPolygon{{{{0, 0}, {20, 0}, {20, 30}, {11, 30}, {10, 15}, {9, 30}, {0, 30}, {0, 0}}}}
	for name, o := range map[string]orb.MultiPolygon{"a yard": yard, "out": rect(0, 10.01, 20, 30), "notched": notch} {
		for _, b := range NewNeighbours([]orb.MultiPolygon{o, inner}).Borders(1, 0.005, 0.5) {
			if b.Kind == Within {
				t.Errorf("%s: %v", name, b)
			}
		}
	}
}

// Hand: an overlap or a gap is one whichever vertex the neighbour's ring begins at: of a
// parcel half a metre over the line between y = 10 and 20, the line within the lot
// is 0.5 + 10 + 0.5 m long; of one 0.2 m off it, with a vertex in its side, 30 m.
func TestHandBorderThroughFirstVertex(t *testing.T) {
	for _, c := range []struct {
		kind          BorderKind
		ring          []orb.Point
		length, width float64
	}{
		{Overlap, []orb.Point{{19.5, 10}, {40, 10}, {40, 20}, {19.5, 20}}, 11, 0.5},
		{Gap, []orb.Point{{20.2, 0}, {40, 0}, {40, 30}, {20.2, 30}, {20.2, 15}}, 30, 0.2},
	} {
		for k := range c.ring {
			r := append(orb.Ring(c.ring[k:len(c.ring):len(c.ring)]), c.ring[:k+1]...)
			b := NewNeighbours([]orb.MultiPolygon{rect(0, 0, 20, 30), {{r}}}).Borders(0, 0.001, 1)
			if len(b) != 1 || b[0].Kind != c.kind || !about(float64(b[0].Length), c.length) || !about(float64(b[0].Width), c.width) {
				t.Errorf("%s from vertex %d: %v", c.kind, k, b)
			}
		}
	}
}

// Hand: three lots side by side, the middle one 0.4 m wide: no gap across it,
// neither between the outer two nor from its far side. The same where it ends
// half way up: above its end the outer two gap, along 15 m.
func TestHandSliverIsNoGap(t *testing.T) {
	for _, top := range []float64{30, 15} {
		n := NewNeighbours([]orb.MultiPolygon{rect(0, 0, 20, 30), rect(20, 0, 20.4, top), rect(20.4, 0, 40, 30)})
		for i := range 3 {
			b := n.Borders(i, 0.001, 1)
			switch {
			case top == 30 || i == 1:
				if len(b) != 0 {
					t.Errorf("sliver of %v m, lot %d: %v", top, i, b)
				}
			case len(b) != 1 || b[0].Kind != Gap || !about(float64(b[0].Width), 0.4) || !about(float64(b[0].Length), 15):
				t.Errorf("sliver of %v m, lot %d: %v", top, i, b)
			}
		}
	}
}

// Property: on real sets each lot gets a role for every edge and most get a
// front; the share is told.
func TestPropertyRealRoles(t *testing.T) {
	for name, lots := range realSets(t) {
		var clean []orb.MultiPolygon
		for _, l := range lots {
			c, _ := shape.Clean(l)
			clean = append(clean, c.Shape)
		}
		n := NewNeighbours(clean)
		basis := map[Basis]int{}
		corner, flag, norear := 0, 0, 0
		gaps, overlaps, widest := 0, 0, unit.Length(0)
		for i := 0; i < len(clean); i += 4 {
			if len(clean[i]) == 0 {
				continue
			}
			r := n.Roles(i, nil)
			basis[r.Basis]++
			if r.Corner {
				corner++
			}
			if r.Flag {
				flag++
			}
			if !slices.Contains(r.Edge, Rear) {
				norear++
			}
			if slices.Contains(r.Edge, "") || !slices.Contains(r.Edge, Front) {
				t.Errorf("%s %d: roles %v", name, i, r)
			}
			for _, b := range n.Borders(i, 0.05, 0.5) {
				if b.Kind == Gap {
					gaps++
				} else {
					overlaps++
					widest = max(widest, b.Width)
				}
			}
		}
		t.Logf("%s: %v, %d corner, %d flag, %d without a rear; %d gaps, %d overlaps, to %.2f m", name, basis, corner, flag, norear, gaps, overlaps, float64(widest))
	}
}

// Hand: two lots share a line of 4.25 m, and where it ends the neighbour's
// corner stands out by 0.31 m: as wide as long, so no gap, however the lots are
// turned and whatever rounding does to a place on the line they share.
func TestHandJutIsNoGap(t *testing.T) {
	for k := range 360 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 180)
		at := func(x, y float64) orb.Point { return orb.Point{x*cos - y*sin, x*sin + y*cos} }
		a := orb.MultiPolygon{{{at(-7, 0), at(0, 0), at(0, 4.25), at(-7, 6), at(-7, 0)}}}
		b := orb.MultiPolygon{{{at(0, 0), at(9, 0), at(9, 4.6), at(0.02, 4.56), at(0, 4.25), at(0, 0)}}}
		n := NewNeighbours([]orb.MultiPolygon{a, b})
		for lot := range 2 {
			if got := n.Borders(lot, 0.005, 0.5); len(got) > 0 {
				t.Fatalf("turned by %d degrees, lot %d: %v", k, lot, got)
			}
		}
	}
}

// Rings that hull edges part have nothing of each other within: the slow way,
// by the middle of each piece, agrees, and some of each kind come up.
func TestOracleParted(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 13))
	star := func(x, y float64) orb.Ring {
		var ring orb.Ring
		n := 3 + r.IntN(7)
		for k := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			d := 1 + 4*r.Float64()
			ring = append(ring, orb.Point{x + d*cos, y + d*sin})
		}
		return append(ring, ring[0])
	}
	yes, no := 0, 0
	for range 3000 {
		a, b := star(0, 0), star(10*r.Float64()-5, 10*r.Float64()-5)
		if !parted(hullEdges(orb.MultiPolygon{{a}}, nil), b) {
			no++
			continue
		}
		yes++
		if in := (ruler{line: orb.LineString(b)}).sides(orb.MultiPolygon{{a}}, shape.Inside); len(in) > 0 {
			t.Fatalf("%v and %v are parted, but %v is within", a, b, in)
		}
	}
	if yes < 50 || no < 50 {
		t.Errorf("%d parted, %d not: too few to tell", yes, no)
	}
}
