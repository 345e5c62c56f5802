package ground

// Contours of a surface, exactly: the lines along which its plane triangles
// stand at a level.

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Contouring says which contours are wanted: those at Base + k Interval for
// every whole k.
type Contouring struct {
	Interval unit.Length
	Base     unit.Elevation
	// Within leaves out faces that do not touch a box: lines run on a little
	// beyond it. Nil: everywhere.
	Within *orb.Bound
}

// ContourLine is a contour that was drawn from a surface. Higher ground lies on its left, so that a
// closed line runs counter-clockwise round a hill and clockwise round a hollow.
// A closed line ends where it begins; an open one ends where the surface, or
// Within, does.
type ContourLine struct {
	Elevation unit.Elevation
	// Number is k: every fifth line, where Number%5 == 0, is drawn heavier
	// (common practice).
	Number int
	Line   orb.LineString
	Closed bool
}

// Limits of one call, against an interval in the wrong unit.
const (
	mostLevels   = 10_000
	mostContours = 8_000_000 // crossings of faces: half a gigabyte while they are joined
)

// Contours draws the contours of a triangulated surface or a raster (whose
// faces are triangles too: see Raster; a saddle is parted by its diagonal).
// Each vertex lies on an edge of a face, at the contour's elevation on it, and
// the surface is at that elevation all along the line. A corner at just the
// level of a contour counts as above it: lines of one level touch at most, none
// cross, a level plain is bounded by the line and not filled with lines, and a
// ridge at just the level is gone along there and back.
//
// Contours stand in order of elevation, and within one in order of the faces.
// The error tells an interval that is no positive number or would make more
// than 10,000 levels, or a surface of another kind.
func Contours(s Surface, c Contouring) ([]ContourLine, error) {
	if !(c.Interval > 0) || math.IsInf(float64(c.Interval), 0) || math.IsNaN(float64(c.Base)) || math.IsInf(float64(c.Base), 0) {
		return nil, fmt.Errorf("ground: contours every %v m from %v m", float64(c.Interval), float64(c.Base))
	}
	var m faced
	switch s := s.(type) {
	case *TIN:
		m = s
	case *Raster:
		m = s
	case *Wide:
		m = s
	default:
		return nil, fmt.Errorf("ground: contours of a surface of kind %T", s)
	}
	return (&tracer{faced: m, Contouring: c}).trace()
}

// face is handed the corners of a triangle, counter-clockwise, and their heights.
type face func(v [3]int32, z [3]float64) error

// faced is what is asked of a surface made of triangles.
type faced interface {
	// faces visits each triangle that may touch a box.
	faces(within *orb.Bound, visit face) error
	point(v int32) orb.Point // of a corner
}

// crossing is where a contour enters and leaves a face: by which edges, and at
// which points of them.
type crossing struct {
	from, to uint64
	in, out  orb.Point
}

// edgeOf names an edge by its corners, the same from both faces.
func edgeOf(a, b int32) uint64 {
	if a > b {
		a, b = b, a
	}
	return uint64(uint32(a))<<32 | uint64(uint32(b))
}

type tracer struct {
	faced
	Contouring
	first int          // number of level 0
	all   [][]crossing // by level, in order of the faces
}

// at is the elevation of a level.
func (t *tracer) at(level int) float64 {
	return float64(t.Base) + float64(t.first+level)*float64(t.Interval)
}

// above is the number of the first contour over z.
func (t *tracer) above(z float64) float64 {
	k := math.Floor((z - float64(t.Base)) / float64(t.Interval))
	for float64(t.Base)+k*float64(t.Interval) <= z { // rounding of the division
		k++
	}
	for float64(t.Base)+(k-1)*float64(t.Interval) > z {
		k--
	}
	return k
}

func (t *tracer) trace() ([]ContourLine, error) {
	lo, hi := math.Inf(1), math.Inf(-1)
	err := t.faces(t.Within, func(_ [3]int32, z [3]float64) error {
		lo, hi = min(lo, z[0], z[1], z[2]), max(hi, z[0], z[1], z[2])
		return nil
	})
	if err != nil {
		return nil, err
	}
	if !(lo < hi) {
		return nil, nil // no face, or all level
	}
	if n := (hi - lo) / float64(t.Interval); n > mostLevels || math.Abs(t.above(lo)) > 1e9 {
		return nil, fmt.Errorf("ground: contours every %v m of ground from %.3f to %.3f m are %.0f levels; at most %d are drawn", float64(t.Interval), lo, hi, n, mostLevels)
	}
	t.first = int(t.above(lo))
	n := 0
	err = t.faces(t.Within, func(v [3]int32, h [3]float64) error {
		low, high := min(h[0], h[1], h[2]), max(h[0], h[1], h[2])
		for k := int(t.above(low)) - t.first; ; k++ {
			z := t.at(k)
			if z > high {
				return nil
			}
			if n++; n > mostContours {
				return fmt.Errorf("ground: contours every %v m cross faces more than %d times: ask for fewer, or a smaller window", float64(t.Interval), mostContours)
			}
			// out of the higher ground into the lower, going round the face, is where
			// a line with the higher ground on its left begins
			var x crossing
			for e := range v {
				o := (e + 1) % 3
				switch {
				case h[e] >= z && h[o] < z:
					x.from, x.in = edgeOf(v[e], v[o]), t.on(v[e], v[o], h[e], h[o], z)
				case h[e] < z && h[o] >= z:
					x.to, x.out = edgeOf(v[e], v[o]), t.on(v[e], v[o], h[e], h[o], z)
				}
			}
			for len(t.all) <= k {
				t.all = append(t.all, nil)
			}
			t.all[k] = append(t.all[k], x)
		}
	})
	if err != nil {
		return nil, err
	}
	var out []ContourLine
	for k, all := range t.all {
		out = append(out, t.lines(k, all)...)
		t.all[k] = nil
	}
	return out, nil
}

// lines joins the crossings of one level.
func (t *tracer) lines(level int, all []crossing) []ContourLine {
	// which crossing comes after each, by the edge between
	order := make([]int32, len(all))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int { return cmp.Compare(all[a].from, all[b].from) })
	next := make([]int32, len(all))
	entered := make([]bool, len(all))
	for i, x := range all {
		next[i] = -1
		if k, ok := slices.BinarySearchFunc(order, x.to, func(o int32, e uint64) int { return cmp.Compare(all[o].from, e) }); ok {
			next[i] = order[k]
			entered[order[k]] = true
		}
	}
	z := t.at(level)
	done := make([]bool, len(all))
	var out []ContourLine
	follow := func(i int32) {
		start := i
		line := orb.LineString{all[i].in}
		for {
			done[i] = true
			if p := all[i].out; p != line[len(line)-1] {
				line = append(line, p)
			}
			if i = next[i]; i < 0 || i == start {
				break
			}
		}
		if len(line) > 1 { // else it only touches a top
			// it may also come back to a corner on the outline
			out = append(out, ContourLine{unit.Elevation(z), t.first + level, slices.Clip(line), line[0] == line[len(line)-1]})
		}
	}
	for i := range all {
		if !entered[i] {
			follow(int32(i))
		}
	}
	for i := range all {
		if !done[i] {
			follow(int32(i))
		}
	}
	return mend(out)
}

// on is where an edge stands at a height, the same from both of its faces.
func (t *tracer) on(a, b int32, za, zb, z float64) orb.Point {
	if a > b {
		a, b, za, zb = b, a, zb, za
	}
	p, q := t.point(a), t.point(b)
	switch z {
	case za:
		return p
	case zb:
		return q
	}
	f := (z - za) / (zb - za)
	return orb.Point{p[0] + f*(q[0]-p[0]), p[1] + f*(q[1]-p[1])}
}

// weldOver is how far a line may jump over a sliver.
const weldOver = 2e-6

// mend joins open lines of one level over the slivers, under a micrometre high,
// that a triangulated surface has no face for.
func mend(lines []ContourLine) []ContourLine {
	near := func(a, b orb.Point) bool {
		return math.Abs(a[0]-b[0]) <= weldOver && math.Abs(a[1]-b[1]) <= weldOver
	}
	type cell [2]int64
	of := func(p orb.Point) cell {
		return cell{int64(math.Floor(p[0] * 1e3)), int64(math.Floor(p[1] * 1e3))}
	}
	starts := map[cell][]int{}
	for i := range lines {
		if !lines[i].Closed {
			c := of(lines[i].Line[0])
			starts[c] = append(starts[c], i)
		}
	}
	gone := make([]bool, len(lines))
	for i := range lines {
		for !gone[i] && !lines[i].Closed {
			end := lines[i].Line[len(lines[i].Line)-1]
			c := of(end)
			found := -1
			for dx := int64(-1); dx <= 1; dx++ {
				for dy := int64(-1); dy <= 1; dy++ {
					for _, k := range starts[cell{c[0] + dx, c[1] + dy}] {
						if !gone[k] && !lines[k].Closed && near(lines[k].Line[0], end) && (k != i || len(lines[i].Line) > 3) {
							found = k
						}
					}
				}
			}
			if found < 0 {
				break
			}
			if found == i {
				lines[i].Closed = true
				lines[i].Line[len(lines[i].Line)-1] = lines[i].Line[0]
				break
			}
			lines[i].Line = append(lines[i].Line, lines[found].Line[1:]...)
			gone[found] = true
		}
	}
	out := lines[:0]
	for i := range lines {
		if !gone[i] {
			out = append(out, lines[i])
		}
	}
	return out
}

func (t *TIN) point(v int32) orb.Point { return t.at[v] }

func (t *TIN) faces(within *orb.Bound, visit face) error {
	for _, v := range t.tri {
		if within != nil && !within.Intersects(orb.MultiPoint{t.at[v[0]], t.at[v[1]], t.at[v[2]]}.Bound()) {
			continue
		}
		if err := visit([3]int32{v[0], v[1], v[2]}, [3]float64{t.z[v[0]], t.z[v[1]], t.z[v[2]]}); err != nil {
			return err
		}
	}
	return nil
}

func (r *Raster) point(v int32) orb.Point {
	n := r.grid.Cols
	return r.grid.Centre(int(v)%n, int(v)/n)
}

func (r *Raster) faces(within *orb.Bound, visit face) error {
	n := r.grid.Cols
	return r.grid.faces(within, func(row int) []float32 { return r.grid.Z[row*n : (row+1)*n] }, new(error), visit)
}

// faces visits the triangles between the cell centres. heights hands out a row,
// which stands until the second row after it is asked for; failed is set where
// that went wrong.
func (g Grid) faces(within *orb.Bound, heights func(row int) []float32, failed *error, visit face) error {
	c0, c1, r0, r1 := 0, g.Cols-1, 0, g.Rows-1
	if within != nil {
		fit := func(x float64, most int) int { return int(math.Max(0, math.Min(float64(most), x))) }
		c0, r0 = fit(math.Floor((within.Min[0]-g.West)/g.CellX-0.5), c1), fit(math.Floor((g.North-within.Max[1])/g.CellY-0.5), r1)
		c1, r1 = fit(math.Ceil((within.Max[0]-g.West)/g.CellX-0.5), c1), fit(math.Ceil((g.North-within.Min[1])/g.CellY-0.5), r1)
	}
	if r0 >= r1 || c0 >= c1 {
		return nil
	}
	up := heights(r0)
	for row := r0; row < r1; row++ {
		low := heights(row + 1)
		if *failed != nil {
			return *failed
		}
		for col := c0; col < c1; col++ {
			q := quadOf(up[col], up[col+1], low[col], low[col+1])
			nw := int32(row*g.Cols + col)
			ne, sw := nw+1, nw+int32(g.Cols)
			se := sw + 1
			two := [2][3]int32{{sw, ne, nw}, {sw, se, ne}}
			z := [2][3]float64{{q.sw, q.ne, q.nw}, {q.sw, q.se, q.ne}}
			if !q.rising {
				two = [2][3]int32{{nw, se, ne}, {nw, sw, se}}
				z = [2][3]float64{{q.nw, q.se, q.ne}, {q.nw, q.sw, q.se}}
			}
			for k, f := range two {
				if s := z[k][0] + z[k][1] + z[k][2]; s != s {
					continue
				}
				if err := visit(f, z[k]); err != nil {
					return err
				}
			}
		}
		up = low
	}
	return nil
}
