package ground

// A raster as a surface: the triangulation of its cell centres.

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Grid is a raster of elevations in the plane, axes along the plane's, rows
// from north to south. Cell (col, row) is a rectangle whose centre bears the
// elevation Z[row*Cols+col]; NaN where there is none.
type Grid struct {
	Cols, Rows int
	West       float64 // easting of the raster's left edge
	North      float64 // northing of its upper edge
	CellX      float64 // width of a cell, metres, positive
	CellY      float64 // height of a cell, metres, positive
	Z          []float32
}

// Check tells what makes a grid unusable.
func (g Grid) Check() error {
	switch {
	case g.Cols < 1 || g.Rows < 1 || g.Cols > math.MaxInt32/g.Rows:
		return fmt.Errorf("ground: raster of %d by %d cells", g.Cols, g.Rows)
	case len(g.Z) != g.Cols*g.Rows:
		return fmt.Errorf("ground: raster of %d by %d cells with %d elevations", g.Cols, g.Rows, len(g.Z))
	case !(g.CellX > 0 && g.CellY > 0) || math.IsInf(g.CellX, 0) || math.IsInf(g.CellY, 0):
		return fmt.Errorf("ground: raster cells of %v by %v m", g.CellX, g.CellY)
	case math.IsNaN(g.West+g.North) || math.IsInf(g.West+g.North, 0):
		return fmt.Errorf("ground: raster corner at %v, %v", g.West, g.North)
	}
	for _, z := range g.Z {
		if z == z {
			return nil
		}
	}
	return fmt.Errorf("ground: raster of %d by %d cells without one elevation", g.Cols, g.Rows)
}

// Centre is the middle of a cell.
func (g Grid) Centre(col, row int) orb.Point {
	return orb.Point{g.West + (float64(col)+0.5)*g.CellX, g.North - (float64(row)+0.5)*g.CellY}
}

// CellArea is the plan area of one cell.
func (g Grid) CellArea() unit.Area { return unit.Area(g.CellX * g.CellY) }

// Bound is the box of all cells, edges included.
func (g Grid) Bound() orb.Bound {
	return orb.Bound{
		Min: orb.Point{g.West, g.North - float64(g.Rows)*g.CellY},
		Max: orb.Point{g.West + float64(g.Cols)*g.CellX, g.North},
	}
}

// Cell is the cell that holds p; false off the raster. A point on a shared
// edge belongs to the cell east or south of it.
func (g Grid) Cell(p orb.Point) (col, row int, ok bool) {
	u, v := (p[0]-g.West)/g.CellX, (g.North-p[1])/g.CellY
	if !(u >= 0 && v >= 0 && u < float64(g.Cols) && v < float64(g.Rows)) {
		return 0, 0, false
	}
	return int(u), int(v), true
}

// Rows hands out a raster's elevations in rectangles, so that a raster larger
// than memory can be read where it is needed.
type Rows interface {
	// Read fills dst, width*height long, with the cells from (col, row) on, NaN
	// where there is no elevation.
	Read(col, row, width, height int, dst []float32) error
}

// ErrOutside is the error of a part of a raster that the raster does not reach.
var ErrOutside = errors.New("ground: the raster does not cover the site")

// Span is the part of a raster whose cells come within margin of box, without
// elevations, and where in the raster it begins.
func Span(place Grid, box orb.Bound, margin unit.Length) (part Grid, col, row int, err error) {
	m := float64(margin)
	c0 := max(0, int(math.Floor((box.Min[0]-m-place.West)/place.CellX))-1)
	c1 := min(place.Cols, int(math.Ceil((box.Max[0]+m-place.West)/place.CellX))+1)
	r0 := max(0, int(math.Floor((place.North-box.Max[1]-m)/place.CellY))-1)
	r1 := min(place.Rows, int(math.Ceil((place.North-box.Min[1]+m)/place.CellY))+1)
	if c0 >= c1 || r0 >= r1 {
		return Grid{}, 0, 0, fmt.Errorf("%w (%.1f to %.1f, %.1f to %.1f m where the site has %.1f to %.1f, %.1f to %.1f m)", ErrOutside,
			place.Bound().Min[0], place.Bound().Max[0], place.Bound().Min[1], place.Bound().Max[1], box.Min[0], box.Max[0], box.Min[1], box.Max[1])
	}
	return Grid{Cols: c1 - c0, Rows: r1 - r0, CellX: place.CellX, CellY: place.CellY,
		West: place.West + float64(c0)*place.CellX, North: place.North - float64(r0)*place.CellY}, c0, r0, nil
}

// Window reads the part of a raster whose cells come within margin of box.
// Place is the whole raster without its elevations.
func Window(place Grid, from Rows, box orb.Bound, margin unit.Length) (Grid, error) {
	g, c0, r0, err := Span(place, box, margin)
	if err != nil {
		return g, err
	}
	g.Z = make([]float32, g.Cols*g.Rows)
	return g, from.Read(c0, r0, g.Cols, g.Rows, g.Z)
}

// Raster is a grid as a surface: the triangulation of its cell centres. Each
// square between four centres is cut along the diagonal whose ends differ
// less in height (the one from south-west to north-east where they differ the
// same), so that ridges and swales that run askew stay whole; where one of the
// four has no elevation, the triangle of the other three stands. The outer
// half of the border cells is outside: no number is made up there.
//
// The standard error is one number for the whole raster, as its maker states
// it; between the centres nothing is known that would make it larger.
type Raster struct {
	grid Grid
	sd   unit.Length
}

// NewRaster makes the surface of a grid. sd is the standard error of its
// elevations.
func NewRaster(g Grid, sd unit.Length) (*Raster, error) {
	if err := g.Check(); err != nil {
		return nil, err
	}
	if !(sd >= 0) || math.IsInf(float64(sd), 0) {
		return nil, fmt.Errorf("ground: standard error of a raster %v m", float64(sd))
	}
	return &Raster{g, sd}, nil
}

// StdErr is the standard error of its elevations.
func (r *Raster) StdErr() unit.Length { return r.sd }

// Grid is the raster itself.
func (r *Raster) Grid() Grid { return r.grid }

// Bounds is the box of the cell centres.
func (r *Raster) Bounds() orb.Bound {
	a, b := r.grid.Centre(0, r.grid.Rows-1), r.grid.Centre(r.grid.Cols-1, 0)
	return orb.Bound{Min: a, Max: b}
}

// lattice gives p in units of cells, from the centre of cell (0, 0), east and
// south.
func (r *Raster) lattice(p orb.Point) (u, v float64) {
	return (p[0]-r.grid.West)/r.grid.CellX - 0.5, (r.grid.North-p[1])/r.grid.CellY - 0.5
}

// quad is a square between four cell centres: heights of its north-west,
// north-east, south-west and south-east corner.
type quad struct {
	nw, ne, sw, se float64
	rising         bool // the diagonal runs from south-west to north-east
}

func (r *Raster) quad(col, row int) quad {
	i := row*r.grid.Cols + col
	z := r.grid.Z
	return quadOf(z[i], z[i+1], z[i+r.grid.Cols], z[i+r.grid.Cols+1])
}

func quadOf(nw, ne, sw, se float32) quad {
	q := quad{nw: float64(nw), ne: float64(ne), sw: float64(sw), se: float64(se)}
	switch {
	case math.IsNaN(q.nw) || math.IsNaN(q.se):
		q.rising = true
	case math.IsNaN(q.ne) || math.IsNaN(q.sw):
		q.rising = false
	default:
		q.rising = math.Abs(q.sw-q.ne) <= math.Abs(q.nw-q.se)
	}
	return q
}

// height is that at x, y in 0..1 from the north-west corner, east and south;
// NaN where the triangle misses a corner.
func (q quad) height(x, y float64) float64 {
	if q.rising {
		if x+y <= 1 {
			return q.nw + x*(q.ne-q.nw) + y*(q.sw-q.nw)
		}
		return q.se + (1-x)*(q.sw-q.se) + (1-y)*(q.ne-q.se)
	}
	if x >= y {
		return q.nw + x*(q.ne-q.nw) + y*(q.se-q.ne)
	}
	return q.nw + y*(q.sw-q.nw) + x*(q.se-q.sw)
}

// slope gives the height's change a cell east and a cell south, at x, y.
func (q quad) slope(x, y float64) (dx, dy float64) {
	if q.rising {
		if x+y <= 1 {
			return q.ne - q.nw, q.sw - q.nw
		}
		return q.se - q.sw, q.se - q.ne
	}
	if x >= y {
		return q.ne - q.nw, q.se - q.ne
	}
	return q.se - q.sw, q.sw - q.nw
}

// square is the one that holds lattice place u, v; false outside.
func (r *Raster) square(u, v float64) (col, row int, ok bool) {
	w, h := float64(r.grid.Cols-1), float64(r.grid.Rows-1)
	const slack = 1e-9
	if !(u >= -slack && v >= -slack && u <= w+slack && v <= h+slack) || r.grid.Cols < 2 || r.grid.Rows < 2 {
		return 0, 0, false
	}
	return min(max(int(u), 0), r.grid.Cols-2), min(max(int(v), 0), r.grid.Rows-2), true
}

// At gives the level at a point; false where the raster has none.
func (r *Raster) At(p orb.Point) (Level, bool) {
	u, v := r.lattice(p)
	col, row, ok := r.square(u, v)
	if !ok {
		return Level{}, false
	}
	x, y := u-float64(col), v-float64(row)
	z := r.quad(col, row).height(x, y)
	if math.IsNaN(z) {
		// on an edge of this square the neighbour may know more
		z = r.edgeHeight(col, row, x, y)
	}
	return Level{unit.Elevation(z), r.sd}, !math.IsNaN(z)
}

// edgeHeight is the height on the border of a square whose triangle there
// misses a corner, from the two ends of the edge alone; NaN elsewhere.
func (r *Raster) edgeHeight(col, row int, x, y float64) float64 {
	q := r.quad(col, row)
	const slack = 1e-9
	between := func(a, b, t float64) float64 {
		if t <= slack {
			return a
		}
		if t >= 1-slack {
			return b
		}
		return a + t*(b-a)
	}
	switch {
	case y <= slack:
		return between(q.nw, q.ne, x)
	case y >= 1-slack:
		return between(q.sw, q.se, x)
	case x <= slack:
		return between(q.nw, q.sw, y)
	case x >= 1-slack:
		return between(q.ne, q.se, y)
	}
	return math.NaN()
}

// Gradient gives the steepest descent at a point.
func (r *Raster) Gradient(p orb.Point) (Gradient, bool) {
	u, v := r.lattice(p)
	col, row, ok := r.square(u, v)
	if !ok {
		return Gradient{}, false
	}
	dx, dy := r.quad(col, row).slope(u-float64(col), v-float64(row))
	if math.IsNaN(dx + dy) {
		return Gradient{}, false
	}
	return descent(dx/r.grid.CellX, -dy/r.grid.CellY), true
}

// Along gives the profile under a line. A segment breaks where it crosses a
// row or a column of cell centres or a diagonal.
func (r *Raster) Along(line orb.LineString) Profile {
	var out Profile
	done := 0.0
	for i := 1; i < len(line); i++ {
		n := math.Hypot(line[i][0]-line[i-1][0], line[i][1]-line[i-1][1])
		if n == 0 || math.IsNaN(n) || math.IsInf(n, 0) {
			continue
		}
		r.segment(&out, line[i-1], line[i], n, done)
		done += n
	}
	out.Length = unit.Length(done)
	return out
}

// segment appends the profile of p-q, of length n, that starts at distance
// done.
func (r *Raster) segment(out *Profile, p, q orb.Point, n, done float64) {
	u0, v0 := r.lattice(p)
	u1, v1 := r.lattice(q)
	du, dv := u1-u0, v1-v0
	// room for a station at each row, column and diagonal
	if room := math.Abs(du) + math.Abs(dv) + math.Max(math.Abs(du), math.Abs(dv)); room < 1e6 {
		out.Stations = slices.Grow(out.Stations, int(room)+4)
	}
	add := func(t, z float64) {
		d := unit.Length(done + t*n)
		if k := len(out.Stations); k > 0 && d-out.Stations[k-1].Distance < same {
			return
		}
		x := orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
		if t == 1 {
			x = q
		}
		out.Stations = append(out.Stations, Station{d, x, unit.Elevation(z), r.sd})
	}
	gap := func(from, to float64) {
		f, t := unit.Length(done+from*n), unit.Length(done+to*n)
		if t-f < same {
			return
		}
		if k := len(out.Gaps); k > 0 && f-out.Gaps[k-1].To < same {
			out.Gaps[k-1].To = t
			return
		}
		out.Gaps = append(out.Gaps, Gap{f, t})
	}
	// the part over the rectangle of cell centres
	in, off := 0.0, 1.0
	w, h := float64(r.grid.Cols-1), float64(r.grid.Rows-1)
	for _, c := range [2][3]float64{{u0, du, w}, {v0, dv, h}} {
		if c[1] == 0 {
			if c[0] < -1e-9 || c[0] > c[2]+1e-9 {
				off = -1
			}
			continue
		}
		a, b := (0-c[0])/c[1], (c[2]-c[0])/c[1]
		in, off = math.Max(in, math.Min(a, b)), math.Min(off, math.Max(a, b))
	}
	if in > off || r.grid.Cols < 2 || r.grid.Rows < 2 {
		gap(0, 1)
		return
	}
	gap(0, in)
	// walk from line to line of the lattice
	nextAt := func(c, d float64, t float64) float64 { // the first t at which c + t d is whole, after t
		if d == 0 {
			return math.Inf(1)
		}
		x := c + t*d
		k := math.Floor(x) + 1
		if d < 0 {
			k = math.Ceil(x) - 1
		}
		s := (k - c) / d
		if s <= t+1e-12 { // x was a hair before the line it stands on
			s = (k + math.Copysign(1, d) - c) / d
		}
		return s
	}
	tu, tv := nextAt(u0, du, in), nextAt(v0, dv, in)
	for t := in; ; {
		to := math.Min(math.Min(tu, tv), off)
		mid := (t + to) / 2
		col, row, _ := r.square(u0+mid*du, v0+mid*dv)
		r.across(r.quad(col, row), u0-float64(col), v0-float64(row), du, dv, t, to, add, gap)
		if to >= off {
			break
		}
		t = to
		if tu <= to {
			tu = nextAt(u0, du, to)
		}
		if tv <= to {
			tv = nextAt(v0, dv, to)
		}
	}
	gap(off, 1)
}

// across appends the stretch t0..t1 of a segment over one square, in whose
// corner's units the segment is (x0 + t dx, y0 + t dy).
func (r *Raster) across(q quad, x0, y0, dx, dy, t0, t1 float64, add func(t, z float64), gap func(from, to float64)) {
	// where the segment crosses the diagonal
	c, d := x0-y0, dx-dy
	if q.rising {
		c, d = x0+y0-1, dx+dy
	}
	cut := t1
	if d != 0 {
		if s := -c / d; s > t0 && s < t1 {
			cut = s
		}
	}
	stretch := func(a, b float64) {
		if b <= a {
			return
		}
		m := (a + b) / 2
		if z := q.height(x0+m*dx, y0+m*dy); math.IsNaN(z) {
			// along an edge whose other side has no ground, two corners suffice
			side := func(t float64) float64 {
				x, y := x0+t*dx, y0+t*dy
				switch {
				case dy == 0 && math.Abs(y) < 1e-9:
					return q.nw + x*(q.ne-q.nw)
				case dy == 0 && math.Abs(y-1) < 1e-9:
					return q.sw + x*(q.se-q.sw)
				case dx == 0 && math.Abs(x) < 1e-9:
					return q.nw + y*(q.sw-q.nw)
				case dx == 0 && math.Abs(x-1) < 1e-9:
					return q.ne + y*(q.se-q.ne)
				}
				return math.NaN()
			}
			if math.IsNaN(side(m)) {
				gap(a, b)
				return
			}
			add(a, side(a))
			add(b, side(b))
			return
		}
		// both ends from the plane of this triangle, so that rounding at the
		// diagonal picks no other
		za, zb := q.plane(m, x0, y0, dx, dy, a), q.plane(m, x0, y0, dx, dy, b)
		add(a, za)
		add(b, zb)
	}
	stretch(t0, cut)
	stretch(cut, t1)
}

// plane is the height at t of the triangle that holds the segment at m.
func (q quad) plane(m, x0, y0, dx, dy, t float64) float64 {
	xm, ym := x0+m*dx, y0+m*dy
	gx, gy := q.slope(xm, ym)
	return q.height(xm, ym) + (t-m)*(gx*dx+gy*dy)
}

// Slope gives the change of height per metre east and per metre south at a
// cell from its eight neighbours (Horn 1981): the smoothed slope that GIS
// programs draw. False at the raster's edge and beside missing cells.
func (g Grid) Slope(col, row int) (east, south float64, ok bool) {
	if col < 1 || row < 1 || col >= g.Cols-1 || row >= g.Rows-1 {
		return 0, 0, false
	}
	var z [3][3]float64
	for r := range z {
		for c := range z[r] {
			z[r][c] = float64(g.Z[(row+r-1)*g.Cols+col+c-1])
		}
	}
	east, south = horn(z, g.CellX, g.CellY)
	return east, south, !math.IsNaN(east + south)
}

// horn is the formula on the window a b c / d e f / g h i, cells w by h:
//
//	dz/dx = ((c + 2f + i) - (a + 2d + g)) / 8w
//	dz/dy = ((g + 2h + i) - (a + 2b + c)) / 8h, growing southward
func horn(z [3][3]float64, w, h float64) (dx, dy float64) {
	dx = (z[0][2] + 2*z[1][2] + z[2][2] - z[0][0] - 2*z[1][0] - z[2][0]) / (8 * w)
	dy = (z[2][0] + 2*z[2][1] + z[2][2] - z[0][0] - 2*z[0][1] - z[0][2]) / (8 * h)
	return dx, dy
}
