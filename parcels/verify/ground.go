package verify

// The ground between the shots: at any place, the triangle of the constrained
// Delaunay triangulation that holds it, found without building the
// triangulation. Of all triangles of visible shots about a place, the Delaunay
// one has no visible shot within its circle; starting from any, a shot within
// the circle replaces a corner until none is left (the simplex method on the
// paraboloid). A breakline hides what lies behind it (Lee & Lin, Discrete
// Comput. Geom. 1, 1986: the definition of the constrained triangulation; from
// memory). Shots on the circle belong to the cell too: any diagonal of it is
// right, so the ground is an interval there.

import (
	"math"
	"sort"
	"sync"
)

type surface struct {
	shots  []shot  // by x
	breaks []edge  // by their lesser x
	packed []edge  // the same, neighbours together
	leaves []box   // of packEach of them each
	boxes  []box   // of packEach leaves each
	top    float64 // no level is above it
	asked  *asked  // nil: nothing is held
}

// asked holds the ground along lines and at places that were asked for before: of a
// site that is worked on, most runs of a plan lie where those of the last one did.
// It may be used by several goroutines at once.
type asked struct {
	mu    sync.Mutex
	lines map[[4]float64][]station // nobody writes to a row
	spots map[[2]float64]level
}

type level struct {
	lo, hi float64
	ok     bool
}

// mostAsked is how many lines, and places, are held; past it all are let go.
const mostAsked = 4096

// held gives what m has of a key, else what work makes, which m then has too.
func held[K comparable, V any](mu *sync.Mutex, m map[K]V, key K, work func() V) V {
	mu.Lock()
	v, ok := m[key]
	mu.Unlock()
	if ok {
		return v
	}
	v = work()
	mu.Lock()
	defer mu.Unlock()
	if len(m) >= mostAsked {
		clear(m)
	}
	m[key] = v
	return v
}

// spanOf is the box of a segment.
func spanOf(p, q pt) box {
	return box{min(p.x, q.x), min(p.y, q.y), max(p.x, q.x), max(p.y, q.y)}
}

// packEach is how many breaks stand in a leaf, and leaves in a box.
const packEach = 8

// pack lays the breaks in strips along x, each strip along y, with boxes round
// every few (sort-tile-recursive), so that only those near a line are looked at.
func (g *surface) pack() {
	g.packed = append([]edge(nil), g.breaks...)
	strip := packEach * int(math.Ceil(math.Sqrt(float64(len(g.packed))/packEach)))
	for i := 0; i < len(g.packed); i += strip {
		part := g.packed[i:min(i+strip, len(g.packed))]
		sort.SliceStable(part, func(i, j int) bool { return part[i].a.y+part[i].b.y < part[j].a.y+part[j].b.y })
	}
	for i, e := range g.packed {
		b := spanOf(e.a, e.b)
		if i%packEach == 0 {
			g.leaves = append(g.leaves, b)
		}
		g.leaves[i/packEach].join(b)
	}
	for i, b := range g.leaves {
		if i%packEach == 0 {
			g.boxes = append(g.boxes, b)
		}
		g.boxes[i/packEach].join(b)
	}
}

// weld is the distance under which two shots are one place, their level the
// mean.
const weld = 1e-3

func newSurface(s *site) *surface {
	g := &surface{}
	// in the order of the document: the first of several keeps its position
	var count []int
	near := map[[2]int64][]int{}
	put := func(h shot) pt {
		x, y := int64(math.Floor(h.x/weld)), int64(math.Floor(h.y/weld))
		for dx := int64(-1); dx <= 1; dx++ {
			for dy := int64(-1); dy <= 1; dy++ {
				for _, k := range near[[2]int64{x + dx, y + dy}] {
					if apartBy(g.shots[k].pt, h.pt) < weld {
						g.shots[k].z = (g.shots[k].z*float64(count[k]) + h.z) / float64(count[k]+1)
						count[k]++
						return g.shots[k].pt
					}
				}
			}
		}
		near[[2]int64{x, y}] = append(near[[2]int64{x, y}], len(g.shots))
		g.shots, count = append(g.shots, h), append(count, 1)
		return h.pt
	}
	kept := map[[2]float64]pt{}
	for _, h := range s.shots {
		kept[[2]float64{h.x, h.y}] = put(h)
	}
	// A breakline drawn through shots goes through them, though its own numbers
	// be rounded otherwise.
	for _, b := range s.breaks {
		if p, ok := kept[[2]float64{b.a.x, b.a.y}]; ok {
			b.a = p
		}
		if p, ok := kept[[2]float64{b.b.x, b.b.y}]; ok {
			b.b = p
		}
		if b.a != b.b {
			g.breaks = append(g.breaks, b)
		}
	}
	sort.SliceStable(g.breaks, func(i, j int) bool { return g.breaks[i].left() < g.breaks[j].left() })
	g.pack()
	for _, h := range g.crossings() {
		put(h)
	}
	sort.SliceStable(g.shots, func(i, j int) bool {
		if g.shots[i].x != g.shots[j].x {
			return g.shots[i].x < g.shots[j].x
		}
		return g.shots[i].y < g.shots[j].y
	})
	g.top = math.Inf(-1)
	most := 0.0
	for _, h := range g.shots {
		g.top, most = max(g.top, h.z), max(most, math.Abs(h.z))
	}
	g.top += 1e-8 * most // a triangle holds places a hair beyond its sides, see plane3
	return g
}

// crossings sets a shot where two breaklines cross.
func (g *surface) crossings() []shot {
	level := map[pt]float64{}
	for _, h := range g.shots {
		level[h.pt] = h.z
	}
	bs := g.breaks // by their left ends
	var out []shot
	for i, e := range bs {
		for _, f := range bs[i+1:] {
			if f.left() > max(e.a.x, e.b.x) {
				break
			}
			s0, s1 := cross(e.a, e.b, f.a), cross(e.a, e.b, f.b)
			t0, t1 := cross(f.a, f.b, e.a), cross(f.a, f.b, e.b)
			if s0*s1 >= 0 || t0*t1 >= 0 {
				continue
			}
			t, u := s0/(s0-s1), t0/(t0-t1)
			ze := level[e.a] + u*(level[e.b]-level[e.a])
			zf := level[f.a] + t*(level[f.b]-level[f.a])
			out = append(out, shot{pt{x: f.a.x + t*(f.b.x-f.a.x), y: f.a.y + t*(f.b.y-f.a.y)}, (ze + zf) / 2})
		}
	}
	return out
}

// cell is a set of shots on one empty circle, anticlockwise.
type cell struct {
	c      []shot
	cx, cy float64
	r      float64
}

// levels gives the least and the greatest ground at p over all triangulations
// of the cell.
func (c cell) levels(p pt) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	n := len(c.c)
	if n == 1 {
		return c.c[0].z, c.c[0].z
	}
	for i := 0; i < n; i++ {
		for j := i + 1; j < n; j++ {
			for k := j + 1; k < n; k++ {
				if z, ok := plane3(c.c[i], c.c[j], c.c[k], p); ok {
					lo, hi = min(lo, z), max(hi, z)
				}
			}
		}
	}
	return lo, hi
}

// plane3 is the level at p of the triangle, if it holds p.
func plane3(a, b, c shot, p pt) (float64, bool) {
	d := cross(a.pt, b.pt, c.pt)
	if d == 0 {
		return 0, false
	}
	u, v, w := cross(b.pt, c.pt, p)/d, cross(c.pt, a.pt, p)/d, cross(a.pt, b.pt, p)/d
	const e = -1e-9
	if u < e || v < e || w < e {
		return 0, false
	}
	return u*a.z + v*b.z + w*c.z, true
}

// window is the range of shots whose x lies within d of x.
func (g *surface) window(x, d float64) []shot {
	i := sort.Search(len(g.shots), func(i int) bool { return g.shots[i].x >= x-d })
	j := i + sort.Search(len(g.shots)-i, func(k int) bool { return g.shots[i+k].x > x+d })
	return g.shots[i:j]
}

// hides says whether a break stands between p and q, about being their box.
func (b *edge) hides(p, q pt, about box) bool {
	if spanOf(b.a, b.b).far(about, 0) {
		return false
	}
	// proper crossing only: the ends of a breakline are shots and are seen
	s1, s2 := cross(b.a, b.b, p), cross(b.a, b.b, q)
	t1, t2 := cross(p, q, b.a), cross(p, q, b.b)
	if s1*s2 >= 0 || t1*t2 >= 0 {
		return false
	}
	e1, e2 := 1e-9*b.length(), 1e-9*apartBy(p, q)
	return (s1 > e1 && s2 < -e1 || s1 < -e1 && s2 > e1) && (t1 > e2 && t2 < -e2 || t1 < -e2 && t2 > e2)
}

// hidden says whether a breakline stands between p and q.
func (g *surface) hidden(p pt, q pt) bool {
	about := spanOf(p, q)
	for i, outer := range g.boxes {
		if about.far(outer, 0) {
			continue
		}
		for k := i * packEach; k < min((i+1)*packEach, len(g.leaves)); k++ {
			if about.far(g.leaves[k], 0) {
				continue
			}
			for n := k * packEach; n < min((k+1)*packEach, len(g.packed)); n++ {
				if g.packed[n].hides(p, q, about) {
					return true
				}
			}
		}
	}
	return false
}

// first finds some triangle of visible shots about p.
func (g *surface) first(shots []shot, p pt, reach float64) (t [3]shot, ok bool) {
	best := math.Inf(1)
	near := -1
	for i, s := range shots {
		if math.Abs(s.y-p.y) > reach {
			continue
		}
		if d := (s.x-p.x)*(s.x-p.x) + (s.y-p.y)*(s.y-p.y); d < best && !g.hidden(p, s.pt) {
			best, near = d, i
		}
	}
	if near < 0 {
		return t, false
	}
	a := shots[near]
	left, right := -1, -1
	for i, s := range shots {
		if i == near || math.Abs(s.y-p.y) > reach || (s.x == p.x && s.y == p.y) {
			continue
		}
		// sides as seen from p, looking at a; the widest on each side
		c := (a.x-p.x)*(s.y-p.y) - (a.y-p.y)*(s.x-p.x)
		if c >= 0 && (left < 0 || wider(p, shots[left].pt, s.pt, a.pt, 1)) && !g.hidden(p, s.pt) {
			if c > 0 || (a.x-p.x)*(s.x-p.x)+(a.y-p.y)*(s.y-p.y) < 0 {
				left = i
			}
		}
		if c <= 0 && (right < 0 || wider(p, shots[right].pt, s.pt, a.pt, -1)) && !g.hidden(p, s.pt) {
			if c < 0 || (a.x-p.x)*(s.x-p.x)+(a.y-p.y)*(s.y-p.y) < 0 {
				right = i
			}
		}
	}
	if left < 0 || right < 0 {
		return t, false
	}
	b, c := shots[left], shots[right]
	if left == right {
		// straight behind p: any third shot makes the triangle
		for i, s := range shots {
			if i != left && i != near && math.Abs(cross(a.pt, b.pt, s.pt)) > 1e-9 && !g.hidden(p, s.pt) {
				return ccw(a, b, s), true
			}
		}
		return t, false
	}
	t = ccw(a, b, c)
	if _, in := plane3(t[0], t[1], t[2], p); !in {
		return t, false
	}
	return t, true
}

// wider says whether s is turned further from a (anticlockwise for +1) than old.
func wider(p, old, s, a pt, way float64) bool {
	return way*((old.x-p.x)*(s.y-p.y)-(old.y-p.y)*(s.x-p.x)) > 0
}

func ccw(a, b, c shot) [3]shot {
	if cross(a.pt, b.pt, c.pt) < 0 {
		b, c = c, b
	}
	return [3]shot{a, b, c}
}

func circle(a, b, c pt) (x, y, r float64) {
	bx, by, cx, cy := b.x-a.x, b.y-a.y, c.x-a.x, c.y-a.y
	d := 2 * (bx*cy - by*cx)
	if d == 0 {
		return 0, 0, math.Inf(1)
	}
	u := (cy*(bx*bx+by*by) - by*(cx*cx+cy*cy)) / d
	v := (bx*(cx*cx+cy*cy) - cx*(bx*bx+by*by)) / d
	return a.x + u, a.y + v, math.Hypot(u, v)
}

// onCircle is how far off the circle, for its size, a shot may lie and still
// belong to the cell: coordinates are written to a tenth of a millimetre.
const onCircle = 2e-4

// onShot is how near a shot a place is the shot's own.
const onShot = 1e-7

// reaches are how far from a place its first triangle is looked for, in turn.
var reaches = [...]float64{12, 40, math.Inf(1)}

// at finds the cell about p; ok is false outside the shots.
func (g *surface) at(p pt) (c cell, ok bool) {
	for _, s := range g.window(p.x, onShot) {
		if apartBy(s.pt, p) <= onShot {
			return cell{c: []shot{s}}, true
		}
	}
	t, found := [3]shot{}, false
	for _, reach := range reaches { // the nearer the first triangle, the less there is to walk
		shots := g.shots
		if !math.IsInf(reach, 0) {
			shots = g.window(p.x, reach)
		}
		if t, found = g.first(shots, p, reach); found {
			break
		}
	}
	if !found {
		return c, false
	}
	for step := 0; step < 2000; step++ {
		x, y, r := circle(t[0].pt, t[1].pt, t[2].pt)
		if math.IsInf(r, 0) {
			return c, false
		}
		worst, at := -onCircle, shot{}
		in2 := (r - onCircle) * (r - onCircle)
		if r < onCircle {
			in2 = 0
		}
		cand := g.shots
		if r < 1e6 {
			cand = g.window(x, r)
		}
		for _, s := range cand {
			dx, dy := s.x-x, s.y-y
			if dx*dx+dy*dy > in2 {
				continue
			}
			d := math.Hypot(dx, dy) - r
			if d < worst && s != t[0] && s != t[1] && s != t[2] && !g.hidden(p, s.pt) {
				worst, at = d, s
			}
		}
		if worst == -onCircle {
			c = cell{cx: x, cy: y, r: r}
			for _, s := range g.window(x, r+onCircle) {
				if dx, dy := s.x-x, s.y-y; dx*dx+dy*dy >= in2 && math.Abs(math.Hypot(dx, dy)-r) <= onCircle && (s == t[0] || s == t[1] || s == t[2] || !g.hidden(p, s.pt)) && len(c.c) < 12 {
					c.c = append(c.c, s)
				}
			}
			sort.Slice(c.c, func(i, j int) bool {
				return math.Atan2(c.c[i].y-y, c.c[i].x-x) < math.Atan2(c.c[j].y-y, c.c[j].x-x)
			})
			return c, true
		}
		next, found := t, false
		margin := math.Inf(-1)
		for k := 0; k < 3; k++ {
			n := t
			n[k] = at
			n = ccw(n[0], n[1], n[2])
			d := cross(n[0].pt, n[1].pt, n[2].pt)
			if d <= 0 {
				continue
			}
			m := min(cross(n[0].pt, n[1].pt, p), cross(n[1].pt, n[2].pt, p), cross(n[2].pt, n[0].pt, p)) / d
			if m > margin {
				next, margin, found = n, m, true
			}
		}
		if !found || margin < -1e-7 {
			return c, false
		}
		t = next
	}
	return c, false
}

// station is a place along a segment with the ground about it.
type station struct {
	t      float64 // share of the segment
	lo, hi float64
	known  bool
}

// along walks a segment and gives the ground at both ends and wherever its
// slope may change: between two stations the bounds are straight.
func (g *surface) along(a, b pt) []station {
	if g.asked == nil {
		return g.walk(a, b)
	}
	return held(&g.asked.mu, g.asked.lines, [4]float64{a.x, a.y, b.x, b.y}, func() []station { return g.walk(a, b) })
}

func (g *surface) walk(a, b pt) []station {
	l := math.Hypot(b.x-a.x, b.y-a.y)
	at := func(t float64) pt { return pt{x: a.x + t*(b.x-a.x), y: a.y + t*(b.y-a.y)} }
	var out []station
	eps := min(2e-6/l, 0.5)
	t := 0.0
	for step := 0; step < 100000 && t < 1; step++ {
		probe := min(t+eps, 1)
		c, ok := g.at(at(probe))
		if !ok {
			// outside the shots: look again a step on
			out = append(out, station{t: t})
			t = min(1, t+max(0.1/l, 0.002))
			continue
		}
		leave := 1.0
		var cuts []float64
		n := len(c.c)
		for i := 0; i < n; i++ {
			for j := i + 1; j < n; j++ {
				u, v := c.c[i].pt, c.c[j].pt
				s0, s1 := cross(u, v, a), cross(u, v, b)
				if s0 == s1 {
					continue
				}
				x := s0 / (s0 - s1)
				if x <= probe || x > 1 {
					continue
				}
				if j == i+1 || i == 0 && j == n-1 {
					leave = min(leave, x) // a side of the cell
				}
				cuts = append(cuts, x)
			}
		}
		sort.Float64s(cuts)
		add := func(x float64) {
			q := at(min(max(x, t+eps/2), leave))
			lo, hi := c.levels(q)
			for in := 1e-7; math.IsInf(lo, 0) && in < 1; in *= 10 {
				// rounding put the station a hair outside the cell
				m := (probe + leave) / 2
				q = at(x + in*(m-x))
				lo, hi = c.levels(q)
			}
			if math.IsInf(lo, 0) {
				return
			}
			out = append(out, station{x, lo, hi, true})
		}
		add(t)
		for _, x := range cuts {
			if x < leave {
				add(x)
			}
		}
		add(leave)
		t = max(leave, probe)
	}
	return out
}
