package ground

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// onSurface holds what a contour promises: its vertices and the middles between
// them stand at its elevation, the ground rises on its left, and closed lines
// end where they begin.
func onSurface(t *testing.T, name string, s Surface, lines []ContourLine, tol float64) {
	t.Helper()
	for i, c := range lines {
		if closed := c.Line[0] == c.Line[len(c.Line)-1]; closed != c.Closed {
			t.Errorf("%s: contour %d: closed %v, ends meet %v", name, i, c.Closed, closed)
		}
		for k := 1; k < len(c.Line); k++ {
			a, b := c.Line[k-1], c.Line[k]
			mid := orb.Point{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2}
			for _, p := range []orb.Point{a, mid, b} {
				if l, ok := s.At(p); ok && math.Abs(float64(l.Elevation-c.Elevation)) > tol {
					t.Fatalf("%s: contour at %v passes %v, where the ground is at %v", name, c.Elevation, p, l.Elevation)
				}
			}
			if n := math.Hypot(b[0]-a[0], b[1]-a[1]); n > 1e-3 {
				side := func(d float64) (Level, bool) {
					return s.At(orb.Point{mid[0] - d*(b[1]-a[1])/n, mid[1] + d*(b[0]-a[0])/n})
				}
				left, ok1 := side(1e-5)
				right, ok2 := side(-1e-5)
				// but for a ridge at just the level, which has lower ground on both sides
				if ok1 && ok2 && left.Elevation < right.Elevation-1e-9 && right.Elevation > c.Elevation-1e-9 {
					t.Fatalf("%s: the ground is lower on the left of the contour at %v, %v", name, c.Elevation, mid)
				}
			}
		}
	}
}

// A plane of 5 % over 100 m by 100 m: straight lines, one a level, the whole way
// across. z = 50 + x/20 takes 50 to 55: every 0.5 m the lines x = 10 k, on the
// surface from edge to edge.
func TestHandContoursPlane(t *testing.T) {
	tin, err := Triangulate(append(shotsOn(7, 400, 100, func(x, y float64) float64 { return 50 + x/20 }),
		Shot{At: orb.Point{0, 0}, Z: 50}, Shot{At: orb.Point{100, 0}, Z: 55}, Shot{At: orb.Point{100, 100}, Z: 55}, Shot{At: orb.Point{0, 100}, Z: 50}), nil)
	if err != nil {
		t.Fatal(err)
	}
	grid := mustRaster(t, gridOf(101, 101, 1, func(x, y float64) float64 { return 50 + (x-0.5)/20 }))
	for name, s := range map[string]Surface{"shots": tin, "raster": grid} {
		lines, err := Contours(s, Contouring{Interval: 0.5, Base: 0})
		if err != nil {
			t.Fatal(err)
		}
		onSurface(t, name, s, lines, 1e-5)
		// 50 itself is the foot, above which all of it lies: no line there
		if len(lines) != 10 {
			t.Fatalf("%s: %d lines", name, len(lines))
		}
		for i, c := range lines {
			want := 10 * float64(i+1)
			if name == "raster" {
				want += 0.5
			}
			if c.Closed || c.Number != 101+i || math.Abs(float64(c.Elevation)-(50.5+0.5*float64(i))) > 1e-12 || math.Abs(float64(shape.Length(c.Line))-100) > 1e-3 {
				t.Errorf("%s: %d: %v, number %d, closed %v, %v m", name, i, c.Elevation, c.Number, c.Closed, shape.Length(c.Line))
			}
			for _, p := range c.Line {
				if math.Abs(p[0]-want) > 1e-3 {
					t.Errorf("%s: %v passes %v", name, c.Elevation, p)
				}
			}
			if c.Line[0][1] < c.Line[len(c.Line)-1][1] { // the high side is east: on the left going south
				t.Errorf("%s: %v runs north", name, c.Elevation)
			}
		}
	}
}

// A cone 10 m high with its foot a circle of 40 m round (50, 50): the contour at
// height h is a circle of 40 (1 - h/10), counter-clockwise; turned over, the same
// circles clockwise.
func TestHandContoursCone(t *testing.T) {
	for _, up := range []float64{1, -1} {
		r := mustRaster(t, gridOf(400, 400, 0.25, func(x, y float64) float64 {
			return 200 + up*math.Max(0, 10-math.Hypot(x-50, y-50)/4)
		}))
		lines, err := Contours(r, Contouring{Interval: 1, Base: 200.5})
		if err != nil {
			t.Fatal(err)
		}
		onSurface(t, "cone", r, lines, 1e-4)
		if len(lines) != 10 {
			t.Fatalf("%d lines", len(lines))
		}
		for _, c := range lines {
			h := math.Abs(float64(c.Elevation) - 200)
			want := math.Pi * math.Pow(40*(1-h/10), 2)
			got := up * float64(shape.RingArea(orb.Ring(c.Line)))
			if !c.Closed || math.Abs(got-want) > 0.003*want+0.05 {
				t.Errorf("at %v: %.2f m2, the circle has %.2f; closed %v", c.Elevation, got, want, c.Closed)
			}
		}
	}
}

// A saddle of four cells, z 1 at two opposite corners and 0 at the others, and a
// hair more in one: the diagonal that differs less parts it. By hand: of
// |1.1 - 1| and |0 - 0| the latter is less, so the low corners are joined and the
// contour at 0.5 is two lines, one round each high corner.
func TestHandContoursSaddle(t *testing.T) {
	g := Grid{Cols: 2, Rows: 2, North: 2, CellX: 1, CellY: 1, Z: []float32{1.1, 0, 0, 1}}
	lines, err := Contours(mustRaster(t, g), Contouring{Interval: 1, Base: 0.5})
	if err != nil || len(lines) != 2 || lines[0].Closed || lines[1].Closed {
		t.Fatalf("%v %+v", err, lines)
	}
	g.Z = []float32{1, 0, 0.1, 1} // now the high corners are joined
	lines, err = Contours(mustRaster(t, g), Contouring{Interval: 1, Base: 0.5})
	if err != nil || len(lines) != 2 {
		t.Fatalf("%v %+v", err, lines)
	}
	for _, c := range lines { // round the low corners: each line keeps to its side of the other diagonal
		side := 0.0
		for _, p := range c.Line {
			d := p[0] + p[1] - 2 // the diagonal of the high corners, from (0.5, 1.5) to (1.5, 0.5)
			if side != 0 && d*side < 0 {
				t.Errorf("%v crosses the ridge", c.Line)
			}
			side = d
		}
	}
}

// Levels that pass through corners: a pyramid of whole numbers, with plain and
// top at a level. Lines stay whole, none is doubled, the top makes none.
func TestHandContoursThroughCorners(t *testing.T) {
	r := mustRaster(t, gridOf(21, 21, 1, func(x, y float64) float64 {
		return math.Max(0, 6-math.Max(math.Abs(x-10.5), math.Abs(y-10.5)))
	}))
	lines, err := Contours(r, Contouring{Interval: 1})
	if err != nil {
		t.Fatal(err)
	}
	onSurface(t, "pyramid", r, lines, 1e-9)
	if len(lines) != 5 { // 1 to 5; the plain at 0 lies above nothing, and the top at 6 is a point
		t.Fatalf("%d lines", len(lines))
	}
	for i, c := range lines {
		side := 2 * float64(5-i)
		if !c.Closed || math.Abs(float64(shape.RingArea(orb.Ring(c.Line)))-side*side) > 1e-9 {
			t.Errorf("level %v: %v m2, by hand %v", c.Elevation, shape.RingArea(orb.Ring(c.Line)), side*side)
		}
	}
}

func TestHandContoursRefuse(t *testing.T) {
	r := mustRaster(t, gridOf(10, 10, 1, func(x, y float64) float64 { return x }))
	for _, c := range []Contouring{{}, {Interval: -1}, {Interval: unit.Length(math.NaN())}, {Interval: unit.Length(math.Inf(1))}, {Interval: 1, Base: unit.Elevation(math.NaN())}, {Interval: 1e-5}} {
		if _, err := Contours(r, c); err == nil {
			t.Errorf("%+v was taken", c)
		}
	}
	if _, err := Contours(nil, Contouring{Interval: 1}); err == nil {
		t.Error("no surface was taken")
	}
	level := mustRaster(t, gridOf(10, 10, 1, flat))
	if lines, err := Contours(level, Contouring{Interval: 1}); err != nil || len(lines) != 0 {
		t.Errorf("a level plain at a level: %v %v", lines, err)
	}
	far := &orb.Bound{Min: orb.Point{500, 500}, Max: orb.Point{600, 600}}
	if lines, err := Contours(r, Contouring{Interval: 1, Within: far}); err != nil || len(lines) != 0 {
		t.Errorf("beyond the raster: %v %v", lines, err)
	}
	part := &orb.Bound{Min: orb.Point{3, 3}, Max: orb.Point{5, 5}}
	lines, err := Contours(r, Contouring{Interval: 1, Within: part})
	if err != nil || len(lines) == 0 {
		t.Fatal(lines, err)
	}
	for _, c := range lines {
		if b := c.Line.Bound(); !part.Pad(1.001).Contains(b.Min) || !part.Pad(1.001).Contains(b.Max) {
			t.Errorf("%v goes beyond the window", c.Line)
		}
	}
}

// Rough ground of shots with lines in it, and rough rasters with holes: every
// line lies on the surface with the high side left, no two cross, and an open
// one ends on the outline.
func TestPropertyContours(t *testing.T) {
	for seed := int64(1); seed <= 12; seed++ {
		shots := shotsOn(seed, 300, 60, func(x, y float64) float64 { return 100 + 3*math.Sin(x/9)*math.Cos(y/7) })
		kerb := Line{Path: orb.LineString{{5, 30}, {30, 31}, {55, 28}}, Z: []unit.Elevation{101, 102.5, 100}, SD: 0.01}
		tin, err := Triangulate(shots, []Line{kerb})
		if err != nil {
			t.Fatal(err)
		}
		g := gridOf(40, 40, 1.5, func(x, y float64) float64 { return 100 + 3*math.Sin(x/9)*math.Cos(y/7) + math.Sin(x*y+float64(seed)) })
		for i := range g.Z {
			if i%97 == int(seed) {
				g.Z[i] = float32(math.NaN())
			}
		}
		if seed%3 == 0 { // whole numbers: levels through corners
			for i := range g.Z {
				g.Z[i] = float32(math.Round(float64(g.Z[i])))
			}
		}
		r := mustRaster(t, g)
		for name, s := range map[string]Surface{"shots": tin, "raster": r} {
			lines, err := Contours(s, Contouring{Interval: 0.5, Base: 100})
			if err != nil || len(lines) == 0 {
				t.Fatal(err)
			}
			onSurface(t, fmt.Sprintf("%s %d", name, seed), s, lines, 1e-6)
			// the edges of the faces that no other face shares
			open := map[uint64]int{}
			_ = s.(faced).faces(nil, func(v [3]int32, _ [3]float64) error {
				for k := range v {
					open[edgeOf(v[k], v[(k+1)%3])]++
				}
				return nil
			})
			for _, c := range lines {
				if c.Closed {
					continue
				}
				for _, p := range []orb.Point{c.Line[0], c.Line[len(c.Line)-1]} {
					at := math.Inf(1)
					for e, n := range open {
						if n == 1 {
							a := s.(faced).point(int32(e >> 32))
							b := s.(faced).point(int32(uint32(e)))
							d, _ := shape.PointSegment(p, a, b)
							at = math.Min(at, float64(d))
						}
					}
					if at > 1e-5 {
						t.Errorf("%s %d: contour at %v ends within the surface, at %v", name, seed, c.Elevation, p)
					}
				}
			}
		}
	}
}

// The same raster by GDAL: where a contour crosses a row or a column of cell
// centres is one place and no other, so the two engines' crossings are the same
// set. (GDAL's lines go straight over a cell and run on through the outer half of
// the border cells, which is no ground here.)
func TestOracleGDALContouring(t *testing.T) {
	if _, err := exec.LookPath("gdal_contour"); err != nil {
		t.Skip("gdal_contour is not installed: it is the judge of this test")
	}
	for name, cell := range map[string]float64{"lidar-1m": 1, "city-2m": 2, "made": 1} {
		dir := t.TempDir()
		var g Grid
		if name == "made" {
			g = gridOf(90, 70, 1, func(x, y float64) float64 { return 100 + 4*math.Sin(x/6)*math.Cos(y/5) + 0.3*math.Sin(x*y) })
		} else {
			g = realGrid(t, dir, filepath.Join("..", "..", "parcels", "exchange", "raster", "testdata", name+".tif"), cell)
		}
		raw := make([]byte, 4*len(g.Z))
		for i, z := range g.Z {
			if z != z {
				z = -9999
			}
			binary.LittleEndian.PutUint32(raw[4*i:], math.Float32bits(z))
		}
		head := fmt.Sprintf("ENVI\nsamples = %d\nlines = %d\nbands = 1\ndata type = 4\nbyte order = 0\ninterleave = bsq\ndata ignore value = -9999\nmap info = {Arbitrary, 1, 1, %g, %g, %g, %g}\n", g.Cols, g.Rows, g.West, g.North, g.CellX, g.CellY)
		for f, b := range map[string][]byte{"c.bin": raw, "c.hdr": []byte(head)} {
			if err := os.WriteFile(filepath.Join(dir, f), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		// levels off the values' own grid, so that none stands at a corner
		const interval, base = 0.5, 0.1234567
		out := filepath.Join(dir, "c.geojson")
		if b, err := exec.Command("gdal_contour", "-q", "-i", fmt.Sprint(interval), "-off", fmt.Sprint(base), "-a", "z", "-lco", "COORDINATE_PRECISION=9", "-f", "GeoJSON", filepath.Join(dir, "c.bin"), out).CombinedOutput(); err != nil {
			t.Fatalf("%v %s", err, b)
		}
		text, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		var theirs struct {
			Features []struct {
				Properties struct{ Z float64 }
				Geometry   struct{ Coordinates []orb.Point }
			}
		}
		if err := json.Unmarshal(text, &theirs); err != nil {
			t.Fatal(err)
		}
		r := mustRaster(t, g)
		lines, err := Contours(r, Contouring{Interval: interval, Base: base})
		if err != nil {
			t.Fatal(err)
		}
		onSurface(t, name, r, lines, 1e-4)
		// crossings of the lattice, away from missing cells, to a tenth of a millimetre
		type place struct{ number, x, y int64 }
		near := func(z float64, p orb.Point) (place, bool) {
			u, v := r.lattice(p)
			onCol, onRow := math.Abs(u-math.Round(u)) < 1e-5, math.Abs(v-math.Round(v)) < 1e-5
			if !onCol && !onRow || u < 1 || v < 1 || u > float64(g.Cols-2) || v > float64(g.Rows-2) {
				return place{}, false
			}
			for dc := -1; dc <= 2; dc++ {
				for dr := -1; dr <= 2; dr++ {
					c, w := int(u)+dc, int(v)+dr
					if c >= 0 && w >= 0 && c < g.Cols && w < g.Rows && g.Z[w*g.Cols+c] != g.Z[w*g.Cols+c] {
						return place{}, false
					}
				}
			}
			return place{int64(math.Round((z - base) / interval)), int64(math.Round(u * 1e4)), int64(math.Round(v * 1e4))}, true
		}
		ours, his := map[place]bool{}, map[place]bool{}
		for _, c := range lines {
			for _, p := range c.Line {
				if k, ok := near(float64(c.Elevation), p); ok {
					ours[k] = true
				}
			}
		}
		for _, f := range theirs.Features {
			for _, p := range f.Geometry.Coordinates {
				if k, ok := near(f.Properties.Z, p); ok {
					his[k] = true
				}
			}
		}
		only := func(a, b map[place]bool) (n int) {
			for k := range a {
				found := false
				for dx := int64(-1); dx <= 1; dx++ {
					for dy := int64(-1); dy <= 1; dy++ {
						found = found || b[place{k.number, k.x + dx, k.y + dy}]
					}
				}
				if !found {
					n++
				}
			}
			return n
		}
		a, b := only(ours, his), only(his, ours)
		t.Logf("%s: %d contours, GDAL %d; %d crossings of the lattice, GDAL %d; %d and %d not in the other", name, len(lines), len(theirs.Features), len(ours), len(his), a, b)
		if len(ours) < 500 || a > 0 || b > 0 {
			t.Errorf("%s: crossings differ", name)
		}
	}
}

// realGrid reads a raster with GDAL.
func realGrid(t testing.TB, dir, path string, cell float64) Grid {
	t.Helper()
	bin := filepath.Join(dir, "z.bin")
	if b, err := exec.Command("gdal_translate", "-q", "-of", "ENVI", "-ot", "Float32", path, bin).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, b)
	}
	head, err := os.ReadFile(filepath.Join(dir, "z.hdr"))
	if err != nil {
		t.Fatal(err)
	}
	g := Grid{CellX: cell, CellY: cell}
	for l := range strings.Lines(string(head)) {
		_, _ = fmt.Sscanf(l, "samples = %d", &g.Cols)
		_, _ = fmt.Sscanf(l, "lines = %d", &g.Rows)
	}
	g.North = float64(g.Rows) * cell
	raw, err := os.ReadFile(bin)
	if err != nil {
		t.Fatal(err)
	}
	g.Z = make([]float32, len(raw)/4)
	for i := range g.Z {
		if g.Z[i] = math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:])); g.Z[i] < -500 {
			g.Z[i] = float32(math.NaN())
		}
	}
	return g
}
