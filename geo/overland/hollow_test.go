package overland

import (
	"math"
	"math/rand"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
)

// An eight-sided bowl, rim at 100 on a circle of 4 m, middle at 99.4, with one
// rim shot lowered to 99.8: water stands to 99.8. By similar pyramids: in each of
// the six triangles with both rim corners at 100 the part under 99.8 is the tip
// (0.4/0.6)^2 of its area, volume tip*0.4/3; in the two with the low corner
// (0.4/0.6)*(0.4/0.4) of the area, volume that*0.4/3. One triangle is
// 16 sin 45 / 2 = 5.65685 m2:
// 6 * 5.65685 * 4/9 * 0.4/3 + 2 * 5.65685 * 2/3 * 0.4/3 = 2.01133 + 1.00566 = 3.01699
func TestHandHollow(t *testing.T) {
	var shots []ground.Shot
	rim := ground.Line{}
	for k := 0; k <= 8; k++ {
		a := 2 * math.Pi * float64(k%8) / 8
		z := unit.Elevation(100)
		if k == 3 {
			z = 99.8
		}
		p := orb.Point{4 * math.Cos(a), 4 * math.Sin(a)}
		rim.Path, rim.Z = append(rim.Path, p), append(rim.Z, z)
		if k < 8 {
			shots = append(shots, ground.Shot{At: orb.Point{10 * math.Cos(a), 10 * math.Sin(a)}, Z: 99})
		}
	}
	shots = append(shots, ground.Shot{At: orb.Point{0, 0}, Z: 99.4})
	s, err := ground.Triangulate(shots, []ground.Line{rim})
	if err != nil {
		t.Fatal(err)
	}
	h := Hollows(s, 0.01, 0)
	if len(h) != 1 {
		t.Fatalf("%+v", h)
	}
	tri := 8 * math.Sin(math.Pi/4)
	want := 6*tri*4/9*0.4/3 + 2*tri*2/3*0.4/3
	area := 6*tri*4/9 + 2*tri*2/3
	if v := h[0]; math.Abs(v.Volume-want) > 1e-9 || math.Abs(float64(v.Area)-area) > 1e-9 || math.Abs(float64(v.Depth)-0.4) > 1e-9 || v.Spill != rim.Path[3] || v.Lowest != (orb.Point{0, 0}) {
		t.Errorf("%+v; want %.5f m3 on %.5f m2", v, want, area)
	}
	if h := Hollows(s, 0.5, 0); len(h) != 0 {
		t.Errorf("deeper than it is: %+v", h)
	}
}

// The same hollows as on a fine raster of the surface, which knows them to about
// a cell: on random ground each great one has its twin.
func TestOracleHollows(t *testing.T) {
	r := rand.New(rand.NewSource(12))
	var shots []ground.Shot
	for i := 0; i < 150; i++ {
		shots = append(shots, ground.Shot{At: orb.Point{r.Float64() * 60, r.Float64() * 60}, Z: unit.Elevation(100 + r.Float64())})
	}
	s, err := ground.Triangulate(shots, nil)
	if err != nil {
		t.Fatal(err)
	}
	g, err := Sample(s, s.Bounds(), 0.1, 1e6)
	if err != nil {
		t.Fatal(err)
	}
	f := flow(t, Input{Ground: g})
	// hollows of one level that meet at a corner are one pond on the raster
	type twin struct {
		volume float64
		level  unit.Elevation
		pond   Pond
	}
	twins := map[int]twin{}
	for _, h := range Hollows(s, 0.05, 0.05) {
		i, ok := f.CellAt(h.Lowest, 0.2)
		if !ok {
			t.Fatal("a hollow outside the raster")
		}
		p, wet := f.PondAt(i)
		if !wet {
			t.Fatalf("hollow %+v is dry on the raster", h)
		}
		v := twins[p.Bottom]
		twins[p.Bottom] = twin{v.volume + h.Volume, h.Level, p}
	}
	compared := 0
	for _, v := range twins {
		if v.volume < 1 {
			continue
		}
		if math.Abs(float64(v.pond.Level-v.level)) > 0.03 || math.Abs(v.pond.Volume-v.volume) > 0.05*v.volume+0.3 {
			t.Errorf("%.3f m3 at %v, on the raster %.3f m3 at %v", v.volume, v.level, v.pond.Volume, v.pond.Level)
		}
		compared++
	}
	if compared < 5 {
		t.Fatalf("only %d hollows", compared)
	}
}
