package ground

import (
	"math"
	"math/rand"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

func gridOf(cols, rows int, cell float64, z func(x, y float64) float64) Grid {
	g := Grid{Cols: cols, Rows: rows, North: float64(rows) * cell, CellX: cell, CellY: cell, Z: make([]float32, cols*rows)}
	for i := range g.Z {
		p := g.Centre(i%cols, i/cols)
		g.Z[i] = float32(z(p[0], p[1]))
	}
	return g
}

func mustRaster(t testing.TB, g Grid) *Raster {
	r, err := NewRaster(g, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Four centres, heights 10 11 / 12 20: the diagonals differ by 10 (nw-se) and
// 1 (sw-ne), so the square is cut from south-west to north-east; the middle is
// (11+12)/2 = 11.5, not the mean 13.25.
func TestHandDiagonal(t *testing.T) {
	r := mustRaster(t, Grid{Cols: 2, Rows: 2, North: 2, CellX: 1, CellY: 1, Z: []float32{10, 11, 12, 20}})
	for _, c := range []struct{ x, y, z float64 }{{1, 1, 11.5}, {0.5, 1.5, 10}, {1.5, 0.5, 20}, {1, 1.5, 10.5}, {1.25, 0.75, 15.75}} {
		l, ok := r.At(orb.Point{c.x, c.y})
		if !ok || math.Abs(float64(l.Elevation)-c.z) > 1e-12 || l.StdErr != 0.1 {
			t.Errorf("at %v, %v: %+v %v; want %v", c.x, c.y, l, ok, c.z)
		}
	}
	if _, ok := r.At(orb.Point{0.4, 1}); ok {
		t.Error("a number west of the westernmost centres")
	}
	p := r.Along(orb.LineString{{0, 2}, {2, 0}})
	if len(p.Stations) != 3 || len(p.Gaps) != 2 || math.Abs(float64(p.Stations[1].Elevation)-11.5) > 1e-12 {
		t.Errorf("across the square: %+v", p)
	}
}

// A plane is given back exactly, with its slope, and a profile over nodata has
// a gap where a triangle misses a corner.
func TestHandPlaneAndHole(t *testing.T) {
	g := gridOf(12, 9, 2, func(x, y float64) float64 { return 50 + 0.5*x - 0.25*y })
	r := mustRaster(t, g)
	l, ok := r.At(orb.Point{7.3, 5.1})
	if !ok || math.Abs(float64(l.Elevation)-(50+3.65-1.275)) > 1e-5 {
		t.Errorf("plane %v", l)
	}
	gr, _ := r.Gradient(orb.Point{7.3, 5.1})
	if math.Abs(float64(gr.Slope)-math.Hypot(0.5, 0.25)) > 1e-5 || gr.Down[0] > 0 || gr.Down[1] < 0 {
		t.Errorf("gradient %+v", gr)
	}
	// cell (5, 4): centre (11, 9) has no height; along y = 9 the ground ends at
	// x = 9 and starts again at x = 13
	g.Z[4*12+5] = float32(math.NaN())
	r = mustRaster(t, g)
	p := r.Along(orb.LineString{{2, 9}, {20, 9}})
	if len(p.Gaps) != 1 || math.Abs(float64(p.Gaps[0].From)-7) > 1e-9 || math.Abs(float64(p.Gaps[0].To)-11) > 1e-9 {
		t.Errorf("gaps %v", p.Gaps)
	}
	if _, ok := r.At(orb.Point{11, 9}); ok {
		t.Error("a number where there is none")
	}
	if _, ok := r.At(orb.Point{9, 9}); !ok {
		t.Error("no number at a good centre beside a hole")
	}
}

func TestPropertyRasterProfileIsTheSurface(t *testing.T) {
	rnd := rand.New(rand.NewSource(1))
	g := gridOf(30, 20, 1, func(x, y float64) float64 { return rnd.Float64() })
	for i := 0; i < 25; i++ {
		g.Z[rnd.Intn(len(g.Z))] = float32(math.NaN())
	}
	r := mustRaster(t, g)
	compared := 0
	for i := 0; i < 200; i++ {
		p := orb.Point{rnd.Float64()*34 - 2, rnd.Float64()*24 - 2}
		q := orb.Point{rnd.Float64()*34 - 2, rnd.Float64()*24 - 2}
		switch i % 4 {
		case 1: // along a row of centres
			p[1] = 7.5
			q[1] = 7.5
		case 2: // along a diagonal
			p = g.Centre(rnd.Intn(8), rnd.Intn(8))
			q = orb.Point{p[0] + 9, p[1] - 9}
		}
		prof := r.Along(orb.LineString{p, q})
		for k := 0; k <= 300; k++ {
			f := (float64(k) + 0.123) / 300.2
			x := orb.Point{p[0] + f*(q[0]-p[0]), p[1] + f*(q[1]-p[1])}
			want, in := r.At(x)
			got, ok := prof.At(unit.Length(f * float64(prof.Length)))
			if in != ok && i%4 == 2 {
				continue // on a diagonal with ground on one side only, rounding decides
			}
			if in != ok {
				t.Fatalf("line %v-%v at %v: surface %v, profile %v, gaps %v", p, q, x, in, ok, prof.Gaps)
			}
			if ok && math.Abs(float64(want.Elevation-got.Elevation)) > 1e-6 {
				t.Fatalf("line %v-%v at %v: surface %v, profile %v", p, q, x, want, got)
			}
			if ok {
				compared++
			}
		}
	}
	if compared < 20000 {
		t.Fatalf("only %d places compared", compared)
	}
}

func TestHandGridRefusals(t *testing.T) {
	nan := float32(math.NaN())
	for name, g := range map[string]Grid{
		"empty":     {},
		"short":     {Cols: 2, Rows: 2, CellX: 1, CellY: 1, Z: []float32{1}},
		"no size":   {Cols: 1, Rows: 1, Z: []float32{1}},
		"all holes": {Cols: 2, Rows: 1, CellX: 1, CellY: 1, Z: []float32{nan, nan}},
		"overflow":  {Cols: 1 << 40, Rows: 1 << 40, CellX: 1, CellY: 1},
	} {
		if _, err := NewRaster(g, 0); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

// rows is a raster in memory behind the Rows interface.
type rows struct{ g Grid }

func (r rows) Read(col, row, w, h int, dst []float32) error {
	for i := 0; i < h; i++ {
		copy(dst[i*w:(i+1)*w], r.g.Z[(row+i)*r.g.Cols+col:])
	}
	return nil
}

func TestHandWindow(t *testing.T) {
	g := gridOf(50, 40, 2, func(x, y float64) float64 { return x + 100*y })
	place := g
	place.Z = nil
	w, err := Window(place, rows{g}, orb.Bound{Min: orb.Point{20, 20}, Max: orb.Point{30, 40}}, 1)
	if err != nil {
		t.Fatal(err)
	}
	a, b := mustRaster(t, g), mustRaster(t, w)
	for _, p := range []orb.Point{{20, 20}, {30, 40}, {25.5, 33.3}} {
		la, _ := a.At(p)
		lb, ok := b.At(p)
		if !ok || la != lb {
			t.Errorf("at %v: %v in the window, %v in the raster", p, lb, la)
		}
	}
	if _, err := Window(place, rows{g}, orb.Bound{Min: orb.Point{500, 0}, Max: orb.Point{600, 10}}, 1); err == nil {
		t.Error("a site beside the raster was taken")
	}
}
