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
	mostContours = 20_000_000 // crossings of faces
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
	default:
		return nil, fmt.Errorf("ground: contours of a surface of kind %T", s)
	}
	return (&tracer{faced: m, Contouring: c}).trace()
}

// faced is what is asked of a surface made of triangles.
type faced interface {
	// faces visits the corners of each triangle that may touch a box,
	// counter-clockwise.
	faces(within *orb.Bound, visit func(a, b, c int32) error) error
	corner(v int32) (orb.Point, float64)
}

// crossing is where a contour enters and leaves a face, by the edges of it.
type crossing struct {
	level    int32
	from, to uint64
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
	first int // number of level 0
	all   []crossing
}

// at is the elevation of a level.
func (t *tracer) at(level int32) float64 {
	return float64(t.Base) + float64(t.first+int(level))*float64(t.Interval)
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
	_ = t.faces(t.Within, func(a, b, c int32) error {
		for _, v := range [3]int32{a, b, c} {
			_, z := t.corner(v)
			lo, hi = math.Min(lo, z), math.Max(hi, z)
		}
		return nil
	})
	if !(lo < hi) {
		return nil, nil // no face, or all level
	}
	if n := (hi - lo) / float64(t.Interval); n > mostLevels || math.Abs(t.above(lo)) > 1e9 {
		return nil, fmt.Errorf("ground: contours every %v m of ground from %.3f to %.3f m are %.0f levels; at most %d are drawn", float64(t.Interval), lo, hi, n, mostLevels)
	}
	t.first = int(t.above(lo))
	err := t.faces(t.Within, func(a, b, c int32) error {
		_, za := t.corner(a)
		_, zb := t.corner(b)
		_, zc := t.corner(c)
		low, high := math.Min(za, math.Min(zb, zc)), math.Max(za, math.Max(zb, zc))
		for k := int32(t.above(low) - float64(t.first)); ; k++ {
			z := t.at(k)
			if z > high {
				return nil
			}
			if len(t.all) == mostContours {
				return fmt.Errorf("ground: contours every %v m cross faces more than %d times: ask for fewer, or a smaller window", float64(t.Interval), mostContours)
			}
			// out of the higher ground into the lower, going round the face, is where
			// a line with the higher ground on its left begins
			x := crossing{level: k}
			for _, e := range [3]struct {
				u, v   int32
				zu, zv float64
			}{{a, b, za, zb}, {b, c, zb, zc}, {c, a, zc, za}} {
				switch {
				case e.zu >= z && e.zv < z:
					x.from = edgeOf(e.u, e.v)
				case e.zu < z && e.zv >= z:
					x.to = edgeOf(e.u, e.v)
				}
			}
			t.all = append(t.all, x)
		}
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(t.all, func(a, b crossing) int { return cmp.Compare(a.level, b.level) })
	var out []ContourLine
	for i := 0; i < len(t.all); {
		k := i
		for k < len(t.all) && t.all[k].level == t.all[i].level {
			k++
		}
		out = append(out, t.lines(t.all[i:k])...)
		i = k
	}
	return out, nil
}

// lines joins the crossings of one level.
func (t *tracer) lines(all []crossing) []ContourLine {
	from := make(map[uint64]int32, len(all))
	entered := make(map[uint64]bool, len(all))
	for i, x := range all {
		from[x.from] = int32(i)
		entered[x.to] = true
	}
	z := t.at(all[0].level)
	done := make([]bool, len(all))
	var out []ContourLine
	follow := func(i int32) {
		start := all[i].from
		line := orb.LineString{t.on(start, z)}
		for {
			done[i] = true
			if p := t.on(all[i].to, z); p != line[len(line)-1] {
				line = append(line, p)
			}
			if all[i].to == start {
				break
			}
			next, ok := from[all[i].to]
			if !ok {
				break
			}
			i = next
		}
		if len(line) > 1 { // else it only touches a top
			// it may also come back to a corner on the outline
			out = append(out, ContourLine{unit.Elevation(z), t.first + int(all[0].level), line, line[0] == line[len(line)-1]})
		}
	}
	for i := range all {
		if !entered[all[i].from] {
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
func (t *tracer) on(edge uint64, z float64) orb.Point {
	p, zp := t.corner(int32(edge >> 32))
	q, zq := t.corner(int32(uint32(edge)))
	switch z {
	case zp:
		return p
	case zq:
		return q
	}
	f := (z - zp) / (zq - zp)
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

func (t *TIN) corner(v int32) (orb.Point, float64) { return t.at[v], t.z[v] }

func (t *TIN) faces(within *orb.Bound, visit func(a, b, c int32) error) error {
	for _, v := range t.tri {
		if within != nil && !within.Intersects(orb.MultiPoint{t.at[v[0]], t.at[v[1]], t.at[v[2]]}.Bound()) {
			continue
		}
		if err := visit(v[0], v[1], v[2]); err != nil {
			return err
		}
	}
	return nil
}

func (r *Raster) corner(v int32) (orb.Point, float64) {
	n := r.grid.Cols
	return r.grid.Centre(int(v)%n, int(v)/n), float64(r.grid.Z[v])
}

func (r *Raster) faces(within *orb.Bound, visit func(a, b, c int32) error) error {
	c0, c1, r0, r1 := 0, r.grid.Cols-1, 0, r.grid.Rows-1
	if within != nil {
		u0, v0 := r.lattice(orb.Point{within.Min[0], within.Max[1]})
		u1, v1 := r.lattice(orb.Point{within.Max[0], within.Min[1]})
		fit := func(x float64, most int) int { return int(math.Max(0, math.Min(float64(most), x))) }
		c0, r0 = fit(math.Floor(u0), c1), fit(math.Floor(v0), r1)
		c1, r1 = fit(math.Ceil(u1), c1), fit(math.Ceil(v1), r1)
	}
	for row := r0; row < r1; row++ {
		for col := c0; col < c1; col++ {
			q := r.quad(col, row)
			nw := int32(row*r.grid.Cols + col)
			ne, sw := nw+1, nw+int32(r.grid.Cols)
			se := sw + 1
			two := [2][3]int32{{sw, ne, nw}, {sw, se, ne}}
			if !q.rising {
				two = [2][3]int32{{nw, se, ne}, {nw, sw, se}}
			}
			for _, f := range two {
				if z := r.grid.Z[f[0]] + r.grid.Z[f[1]] + r.grid.Z[f[2]]; z != z {
					continue
				}
				if err := visit(f[0], f[1], f[2]); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
