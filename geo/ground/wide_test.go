package ground

import (
	"errors"
	"math"
	"math/rand"
	"reflect"
	"testing"

	"github.com/paulmach/orb"
)

// inMemory is a grid behind Rows; after some reads it fails, if told so.
type inMemory struct {
	Grid
	left int
}

func (m *inMemory) Read(col, row, width, height int, dst []float32) error {
	if m.left--; m.left == 0 {
		return errors.New("the disk is gone")
	}
	for r := range height {
		copy(dst[r*width:(r+1)*width], m.Z[(row+r)*m.Cols+col:])
	}
	return nil
}

// A raster that is not in memory is the surface that it is in memory: contours the
// same to the bit, also over several bands of rows; levels, slopes and profiles to
// the rounding of places.
func TestOracleWide(t *testing.T) {
	r := rand.New(rand.NewSource(8))
	for _, size := range [][2]int{{60, 41}, {3000, 900}} {
		g := gridOf(size[0], size[1], 1.5, func(x, y float64) float64 {
			if r.Float64() < 0.01 {
				return math.NaN()
			}
			return 100 + 3*math.Sin(x/29)*math.Cos(y/37) + 0.05*r.Float64()
		})
		whole := mustRaster(t, g)
		wide := NewWide(g, &inMemory{Grid: g}, 0)
		if wide.Bounds() != whole.Bounds() {
			t.Fatalf("bounds %v, whole %v", wide.Bounds(), whole.Bounds())
		}
		for _, c := range []Contouring{{Interval: 0.5}, {Interval: 1, Within: &orb.Bound{Min: orb.Point{10, 10}, Max: orb.Point{45, 31}}}} {
			a, err := Contours(wide, c)
			if err != nil || len(a) == 0 {
				t.Fatal(len(a), err)
			}
			b, err := Contours(whole, c)
			if err != nil || !reflect.DeepEqual(a, b) {
				t.Fatalf("%d contours, whole %d, %v", len(a), len(b), err)
			}
		}
		for range 300 {
			box := whole.Bounds()
			at := func() orb.Point {
				return orb.Point{box.Min[0] + (1.1*r.Float64()-0.05)*(box.Max[0]-box.Min[0]), box.Min[1] + (1.1*r.Float64()-0.05)*(box.Max[1]-box.Min[1])}
			}
			p := at()
			a, okA := wide.At(p)
			b, okB := whole.At(p)
			ga, okG := wide.Gradient(p)
			gb, okH := whole.Gradient(p)
			if okA != okB || math.Abs(float64(a.Elevation-b.Elevation)) > 1e-6 || okG != okH || math.Abs(float64(ga.Slope-gb.Slope)) > 1e-6 {
				t.Fatalf("at %v %v %v %v %v, whole %v %v %v %v", p, a, okA, ga, okG, b, okB, gb, okH)
			}
			line := orb.LineString{p, {p[0] + 20*r.Float64(), p[1] + 20*r.Float64()}}
			pa, pb := wide.Along(line), whole.Along(line)
			if len(pa.Stations) != len(pb.Stations) || len(pa.Gaps) != len(pb.Gaps) || math.Abs(float64(pa.Length-pb.Length)) > 1e-9 {
				t.Fatalf("along %v %d stations, whole %d", line, len(pa.Stations), len(pb.Stations))
			}
		}
	}
	g := gridOf(3000, 900, 1, func(x, y float64) float64 { return x })
	if _, err := Contours(NewWide(g, &inMemory{Grid: g, left: 2}, 0), Contouring{Interval: 5}); err == nil {
		t.Error("contours of a raster that cannot be read to its end")
	}
}
