package ground

// From shots and lines to a triangulated surface: what is taken, what is
// refused, and with which words.

import (
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Shot is one surveyed point. SD is the standard error of its height, zero if
// it is held to be exact.
type Shot struct {
	At orb.Point
	Z  unit.Elevation
	SD unit.Length
}

// Line is a breakline (flow line of a swale, kerb, foot of a wall, edge of a
// footprint) or a contour: no triangle spans it. Z has one elevation a vertex;
// between vertices the ground is straight. SD is the standard error of its
// heights.
type Line struct {
	Path orb.LineString
	Z    []unit.Elevation
	SD   unit.Length
}

// Contour is a line of one elevation. Where nothing better is known, its
// standard error is interval/3.3: nine of ten contour points within half an
// interval (from memory of the 1947 national map accuracy standard).
func Contour(path orb.LineString, z unit.Elevation, interval unit.Length) Line {
	l := Line{Path: path, Z: make([]unit.Elevation, len(path)), SD: interval / 3.3}
	for i := range l.Z {
		l.Z[i] = z
	}
	return l
}

// Ref names an input: a shot by its index, or a vertex of a line.
type Ref struct {
	Line  int // -1: a shot
	Index int
}

func (r Ref) String() string {
	if r.Line < 0 {
		return fmt.Sprintf("shot %d", r.Index)
	}
	return fmt.Sprintf("line %d vertex %d", r.Line, r.Index)
}

// Rule is why shots and lines make no surface, closed list.
type Rule string

const (
	// RuleNotFinite: a coordinate, height or standard error is no usable number.
	RuleNotFinite Rule = "not-finite"
	// RuleLine: a line has fewer than two vertices, or not one height a vertex.
	RuleLine Rule = "line-without-heights"
	// RuleHeights: two heights at one place that cannot both be right.
	RuleHeights Rule = "heights-differ"
	// RuleCrossing: two lines cross at different heights.
	RuleCrossing Rule = "lines-cross"
	// RuleTooFew: fewer than three places, or all of them on one line.
	RuleTooFew Rule = "no-surface"
)

// InputError says which inputs make no surface, where, and what to do.
type InputError struct {
	Rule   Rule
	Refs   []Ref
	At     orb.Point
	Detail string
}

func (e *InputError) Error() string {
	names := make([]string, len(e.Refs))
	for i, r := range e.Refs {
		names[i] = r.String()
	}
	return fmt.Sprintf("ground: %s: %s: %s", e.Rule, strings.Join(names, " and "), e.Detail)
}

// Merge tells that inputs at one place were taken as one, at their mean height.
type Merge struct {
	Refs   []Ref
	At     orb.Point
	Spread unit.Length // greatest less least height
}

// alike tells whether two heights of standard errors a and b may be one:
// within three standard errors of their difference, or a millimetre.
func alike(dz float64, a, b unit.Length) bool {
	return math.Abs(dz) <= math.Max(0.001, 3*math.Hypot(float64(a), float64(b)))
}

// Triangulate makes the surface of shots and lines: the constrained Delaunay
// triangulation, in which no triangle spans a line and every circle is empty
// of what it can see; within a triangle the ground is plane. Its outline is
// the convex hull of all positions.
//
// Positions within shape.Weld of each other are one place: heights that agree within
// three standard errors are averaged and told (TIN.Merged), others are an
// error that names both. Lines may touch, overlap and cross; where they cross,
// their heights must agree the same way, and a vertex is set there. A wall
// needs its foot and its top drawn apart by more than shape.Weld. The error is an
// *InputError.
func Triangulate(shots []Shot, lines []Line) (*TIN, error) {
	b := builder{}
	for i, s := range shots {
		if err := b.add(s.At, s.Z, s.SD, Ref{-1, i}); err != nil {
			return nil, err
		}
	}
	starts := make([]int, len(lines))
	for i, l := range lines {
		if len(l.Path) < 2 || len(l.Z) != len(l.Path) {
			return nil, &InputError{Rule: RuleLine, Refs: []Ref{{i, 0}},
				Detail: fmt.Sprintf("%d vertices and %d heights; a line needs at least two vertices and a height for each", len(l.Path), len(l.Z))}
		}
		starts[i] = len(b.at)
		for j, p := range l.Path {
			if err := b.add(p, l.Z[j], l.SD, Ref{i, j}); err != nil {
				return nil, err
			}
		}
	}
	if err := b.insertAll(); err != nil {
		return nil, err
	}
	for i, l := range lines {
		for j := 1; j < len(l.Path); j++ {
			from, to := b.home[starts[i]+j-1], b.home[starts[i]+j]
			if err := b.constrain(from, to, Ref{i, j - 1}); err != nil {
				return nil, err
			}
		}
	}
	return b.surface(), nil
}

// builder is a mesh with heights.
type builder struct {
	mesh
	z    []float64
	sd   []float64
	ref  []Ref
	home []int32 // the vertex that stands for this one after welding
	same map[int32][]int32
	line map[[2]int32]int // which line holds an edge, smaller vertex first
	deep int              // how many constrain calls are inside each other
}

func (b *builder) add(p orb.Point, z unit.Elevation, sd unit.Length, r Ref) error {
	for _, v := range []float64{p[0], p[1], float64(z), float64(sd)} {
		if math.IsNaN(v) || math.Abs(v) > 1e9 {
			return &InputError{Rule: RuleNotFinite, Refs: []Ref{r}, At: p,
				Detail: fmt.Sprintf("%v is no coordinate, height or standard error in metres", v)}
		}
	}
	if sd < 0 {
		return &InputError{Rule: RuleNotFinite, Refs: []Ref{r}, At: p, Detail: fmt.Sprintf("the standard error %v m is negative", sd)}
	}
	b.at = append(b.at, p)
	b.z = append(b.z, float64(z))
	b.sd = append(b.sd, float64(sd))
	b.ref = append(b.ref, r)
	return nil
}

// insertAll welds and triangulates every position.
func (b *builder) insertAll() error {
	n := len(b.at)
	b.edge = make([]int32, n)
	b.home = make([]int32, n)
	for i := range b.edge {
		b.edge[i], b.home[i] = -1, int32(i)
	}
	b.vert = make([]int32, 0, 6*n+12)
	b.twin = make([]int32, 0, 6*n+12)
	b.fixed = make([]bool, 0, 6*n+12)
	order := hilbertOrder(b.at)
	first, ok := b.firstTriangle(order)
	if !ok {
		e := &InputError{Rule: RuleTooFew, Detail: fmt.Sprintf("%d positions span no area: fewer than three places, or all on one line; more shots off the line are needed", n)}
		if n > 0 {
			e.At = b.at[0]
		}
		return e
	}
	b.start(first[0], first[1], first[2])
	b.same = map[int32][]int32{}
	for _, v := range order {
		if v == first[0] || v == first[1] || v == first[2] {
			continue
		}
		if w := b.insert(v, float64(shape.Weld)); w != v {
			if err := b.weld(w, v); err != nil {
				return err
			}
		}
	}
	for w, vs := range b.same {
		total := b.z[w]
		for _, v := range vs {
			total += b.z[v]
		}
		b.z[w] = total / float64(1+len(vs))
	}
	return nil
}

// weld takes v as one with w, or refuses.
func (b *builder) weld(w, v int32) error {
	for _, u := range append([]int32{w}, b.same[w]...) {
		if dz := b.z[u] - b.z[v]; !alike(dz, unit.Length(b.sd[u]), unit.Length(b.sd[v])) {
			r, s := b.ref[u], b.ref[v]
			if s.Line < r.Line || s.Line == r.Line && s.Index < r.Index {
				r, s, u, v = s, r, v, u
			}
			return &InputError{Rule: RuleHeights, Refs: []Ref{r, s}, At: b.at[v],
				Detail: fmt.Sprintf("two heights at one place, %.3f m and %.3f m: delete the wrong one, or move one in plan if a wall stands there", b.z[u], b.z[v])}
		}
	}
	b.home[v] = w
	b.same[w] = append(b.same[w], v)
	return nil
}

// firstTriangle finds three positions in the order that span an area and are
// further than Weld apart.
func (b *builder) firstTriangle(order []int32) (t [3]int32, ok bool) {
	if len(order) < 3 {
		return t, false
	}
	apart := func(a, c int32) bool {
		return math.Hypot(b.at[a][0]-b.at[c][0], b.at[a][1]-b.at[c][1]) > float64(shape.Weld)
	}
	a := order[0]
	for i, u := range order[1:] {
		if !apart(a, u) {
			continue
		}
		for _, v := range order[i+2:] {
			if !apart(a, v) || !apart(u, v) {
				continue
			}
			if o := shape.Orient(b.at[a], b.at[u], b.at[v]); o > 0 {
				return [3]int32{a, u, v}, true
			} else if o < 0 {
				return [3]int32{a, v, u}, true
			}
		}
		return t, false
	}
	return t, false
}

// constrain forces the straight way between two vertices to be edges.
func (b *builder) constrain(from, to int32, r Ref) error {
	if b.deep++; b.deep > 1000 {
		return &InputError{Rule: RuleCrossing, Refs: []Ref{r}, At: b.at[from],
			Detail: "lines run within a millimetre of each other here; make them one line or draw them apart"}
	}
	defer func() { b.deep-- }()
	for from != to {
		o := b.towards(from, to)
		switch {
		case o.barred >= 0:
			via, err := b.cross(from, to, o.barred, r)
			if err != nil {
				return err
			}
			if via == from || via == to {
				continue // the barred edge now runs through it
			}
			if err := b.constrain(from, via, r); err != nil {
				return err
			}
			from = via
			continue
		case o.direct >= 0:
			b.fix(o.direct, true)
		default:
			b.clear(from, o)
		}
		b.note(from, o.vertex, r.Line)
		from = o.vertex
	}
	return nil
}

func (b *builder) note(u, v int32, line int) {
	if b.line == nil {
		b.line = map[[2]int32]int{}
	}
	b.line[[2]int32{min(u, v), max(u, v)}] = line
}

// cross settles where the way from u to v meets the breakline edge e, and
// returns the vertex there.
func (b *builder) cross(u, v, e int32, r Ref) (int32, error) {
	c, d := b.vert[e], b.vert[b.twin[e]]
	pu, pv, pc, pd := b.at[u], b.at[v], b.at[c], b.at[d]
	ux, uy, cx, cy := pv[0]-pu[0], pv[1]-pu[1], pd[0]-pc[0], pd[1]-pc[1]
	den := ux*cy - uy*cx
	s, t := 0.5, 0.5 // along u-v, along c-d
	if den != 0 {
		s = ((pc[0]-pu[0])*cy - (pc[1]-pu[1])*cx) / den
		t = ((pc[0]-pu[0])*uy - (pc[1]-pu[1])*ux) / den
	}
	s, t = math.Max(0, math.Min(1, s)), math.Max(0, math.Min(1, t))
	x := orb.Point{pc[0] + t*cx, pc[1] + t*cy}
	z1, z2 := b.z[u]+s*(b.z[v]-b.z[u]), b.z[c]+t*(b.z[d]-b.z[c])
	sd1 := math.Max(b.sd[u], b.sd[v])
	sd2 := math.Max(b.sd[c], b.sd[d])
	held := b.line[[2]int32{min(c, d), max(c, d)}]
	if !alike(z1-z2, unit.Length(sd1), unit.Length(sd2)) {
		return 0, &InputError{Rule: RuleCrossing, Refs: []Ref{r, b.ref[c]}, At: x,
			Detail: fmt.Sprintf("lines %d and %d cross at %.2f, %.2f with heights %.3f m and %.3f m: a height or a line is wrong there", r.Line, held, x[0], x[1], z1, z2)}
	}
	near := func(p orb.Point) bool { return math.Hypot(p[0]-x[0], p[1]-x[1]) <= float64(shape.Weld) }
	switch {
	case near(pc):
		return c, nil
	case near(pd):
		return d, nil
	case near(pu), near(pv): // an end of the new edge rests on the old one: lead the old one through it
		via := u
		if !near(pu) {
			via = v
		}
		b.fix(e, false)
		if err := b.constrain(c, via, Ref{held, 0}); err != nil {
			return 0, err
		}
		return via, b.constrain(via, d, Ref{held, 0})
	}
	for _, f := range []int32{e, b.twin[e]} {
		p, q, w := b.at[b.vert[f]], b.at[b.vert[next(f)]], b.at[b.vert[prev(f)]]
		if shape.Orient(p, x, w) <= 0 || shape.Orient(x, q, w) <= 0 {
			return 0, &InputError{Rule: RuleCrossing, Refs: []Ref{r, b.ref[c]}, At: x,
				Detail: fmt.Sprintf("lines %d and %d cross at so small an angle that their crossing has no place; make them one line or draw them apart", r.Line, held)}
		}
	}
	n := int32(len(b.at))
	b.at = append(b.at, x)
	b.z = append(b.z, (z1+z2)/2)
	b.sd = append(b.sd, math.Max(sd1, sd2))
	b.ref = append(b.ref, r)
	b.edge = append(b.edge, -1)
	b.home = append(b.home, n)
	b.splitEdge(e, n)
	b.note(c, n, held)
	b.note(n, d, held)
	return n, nil
}
