package auditor

// What lies near a lot: a site cut down to the features that can bear on it.

import (
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/parcels"
)

// near is how far beyond a lot's box a feature can bear on it; as far as
// package siting looks.
const near = 30.0

// places finds features of one layer by their boxes: a grid of cells, each with
// the features whose boxes meet it, in the order of the layer.
type places struct {
	box []orb.Bound
	// wide are those that meet more than mostCells.
	wide []int32

	lo     orb.Point
	cell   float64
	nx, ny int
	start  []int32 // of each cell in list
	list   []int32
}

const mostCells = 64

func (p *places) add(b orb.Bound, grow float64) {
	if grow > 0 {
		b = b.Pad(grow)
	}
	p.box = append(p.box, b)
}

// ready lays the grid; cells are about as large as features are apart.
func (p *places) ready() {
	n := len(p.box)
	if n == 0 {
		return
	}
	all := p.box[0]
	for _, b := range p.box[1:] {
		all = orb.Bound{Min: orb.Point{math.Min(all.Min[0], b.Min[0]), math.Min(all.Min[1], b.Min[1])}, Max: orb.Point{math.Max(all.Max[0], b.Max[0]), math.Max(all.Max[1], b.Max[1])}}
	}
	w, h := all.Max[0]-all.Min[0], all.Max[1]-all.Min[1]
	p.lo = all.Min
	p.cell = math.Max(math.Sqrt(w*h/float64(n)), math.Max(w, h)/float64(n))
	if p.cell == 0 {
		p.cell = 1
	}
	p.nx, p.ny = int(w/p.cell)+1, int(h/p.cell)+1
	p.start = make([]int32, p.nx*p.ny+1)
	each := func(i int, f func(c int)) {
		x0, y0, x1, y1 := p.cells(p.box[i])
		if (x1-x0+1)*(y1-y0+1) > mostCells {
			return
		}
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				f(y*p.nx + x)
			}
		}
	}
	for i := range p.box {
		some := false
		each(i, func(c int) { p.start[c+1]++; some = true })
		if !some {
			p.wide = append(p.wide, int32(i))
		}
	}
	for c := 1; c < len(p.start); c++ {
		p.start[c] += p.start[c-1]
	}
	p.list = make([]int32, p.start[len(p.start)-1])
	next := slices.Clone(p.start)
	for i := range p.box {
		each(i, func(c int) { p.list[next[c]] = int32(i); next[c]++ })
	}
}

// cells are the first and last that a box meets, as near as there are any.
func (p *places) cells(b orb.Bound) (x0, y0, x1, y1 int) {
	at := func(v, lo float64, n int) int { return int(math.Min(math.Max((v-lo)/p.cell, 0), float64(n-1))) }
	return at(b.Min[0], p.lo[0], p.nx), at(b.Min[1], p.lo[1], p.ny), at(b.Max[0], p.lo[0], p.nx), at(b.Max[1], p.lo[1], p.ny)
}

// in lists the features whose boxes meet b, in the order of the layer, in the
// room of found.
func (p *places) in(b orb.Bound, found []int32) []int32 {
	found = found[:0]
	if len(p.box) == 0 {
		return found
	}
	for _, i := range p.wide {
		if meets(p.box[i], b) {
			found = append(found, i)
		}
	}
	x0, y0, x1, y1 := p.cells(b)
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			c := y*p.nx + x
			for _, i := range p.list[p.start[c]:p.start[c+1]] {
				if meets(p.box[i], b) {
					found = append(found, i)
				}
			}
		}
	}
	slices.Sort(found)
	return slices.Compact(found)
}

func meets(a, b orb.Bound) bool {
	return a.Min[0] <= b.Max[0] && a.Max[0] >= b.Min[0] && a.Min[1] <= b.Max[1] && a.Max[1] >= b.Min[1]
}

// boxOf is the box of an area, by its outer rings.
func boxOf(mp orb.MultiPolygon) orb.Bound {
	inf := math.Inf(1)
	b := orb.Bound{Min: orb.Point{inf, inf}, Max: orb.Point{-inf, -inf}}
	for _, p := range mp {
		for _, v := range p[0] {
			if v[0] < b.Min[0] {
				b.Min[0] = v[0]
			}
			if v[0] > b.Max[0] {
				b.Max[0] = v[0]
			}
			if v[1] < b.Min[1] {
				b.Min[1] = v[1]
			}
			if v[1] > b.Max[1] {
				b.Max[1] = v[1]
			}
		}
	}
	return b
}

// dots finds the nearest of many points: a grid of cells, each with the points
// in it in the order of the layer.
type dots struct {
	at    []orb.Point
	index []int32 // of each point in its layer
	lo    orb.Point
	cell  float64
	nx    int
	ny    int
	start []int32 // of each cell in order
	order []int32
}

func newDots(at []orb.Point, index []int32) *dots {
	d := &dots{at: at, index: index, nx: 1, ny: 1, cell: 1}
	if len(at) == 0 {
		return d
	}
	b := orb.MultiPoint(at).Bound()
	d.lo = b.Min
	w, h := b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]
	// about two points a cell, the grid no longer than it has points
	d.cell = math.Max(math.Sqrt(w*h*2/float64(len(at))), math.Max(w, h)/float64(len(at)))
	if d.cell == 0 {
		d.cell = 1
	}
	d.nx, d.ny = int(w/d.cell)+1, int(h/d.cell)+1
	d.start = make([]int32, d.nx*d.ny+1)
	for _, p := range at {
		d.start[d.of(p)+1]++
	}
	for i := 1; i < len(d.start); i++ {
		d.start[i] += d.start[i-1]
	}
	d.order = make([]int32, len(at))
	next := slices.Clone(d.start)
	for i, p := range at {
		c := d.of(p)
		d.order[next[c]] = int32(i)
		next[c]++
	}
	return d
}

func (d *dots) of(p orb.Point) int {
	x := min(max(int((p[0]-d.lo[0])/d.cell), 0), d.nx-1)
	y := min(max(int((p[1]-d.lo[1])/d.cell), 0), d.ny-1)
	return y*d.nx + x
}

// nearest is the point nearest to p, by its place in its layer, the first of
// equals; -1 where there is none.
func (d *dots) nearest(p orb.Point) int32 {
	best, least := int32(-1), math.Inf(1)
	if len(d.at) == 0 {
		return best
	}
	cx, cy := int(math.Floor((p[0]-d.lo[0])/d.cell)), int(math.Floor((p[1]-d.lo[1])/d.cell))
	look := func(x, y int) {
		if x < 0 || y < 0 || x >= d.nx || y >= d.ny {
			return
		}
		c := y*d.nx + x
		for _, i := range d.order[d.start[c]:d.start[c+1]] {
			if s := dist(p, d.at[i]); s < least || s == least && d.index[i] < best {
				best, least = d.index[i], s
			}
		}
	}
	// rings of cells about p's own: those of ring k are at least k-1 cells away.
	// A p off the grid starts with the first ring that meets it.
	first := max(0, -cx, -cy, cx-d.nx+1, cy-d.ny+1)
	for k := first; k <= first+d.nx+d.ny; k++ {
		if float64(k-1)*d.cell > least {
			break
		}
		for x := cx - k; x <= cx+k; x++ {
			look(x, cy-k)
			if k > 0 {
				look(x, cy+k)
			}
		}
		for y := cy - k + 1; y < cy+k; y++ {
			look(cx-k, y)
			look(cx+k, y)
		}
	}
	return best
}

// targets are the inlets of a site that may be tied into.
type targets struct {
	*dots
	at []orb.Point
	id []string
}

// add takes in the inlets of a site, or the next of them.
func (t *targets) add(s *parcels.Site) {
	for i := range s.Inlets {
		if in := &s.Inlets[i]; target(in) {
			t.at, t.id = append(t.at, in.At), append(t.id, strings.Clone(in.ID))
		}
	}
}

func (t *targets) ready() *targets {
	order := make([]int32, len(t.at))
	for i := range order {
		order[i] = int32(i)
	}
	t.dots = newDots(t.at, order)
	return t
}

// easementReach and obstacleReach are how far a feature reaches beyond what is
// drawn of it.
func easementReach(e *parcels.Easement) float64 {
	if e.Width == nil {
		return 0
	}
	return float64(*e.Width) / 2
}

func obstacleReach(o *parcels.Obstacle, c parcels.Criteria) float64 {
	reach := 0.0
	if o.Radius != nil {
		reach = float64(*o.Radius)
	}
	if o.Trunk != nil {
		reach = max(reach, float64(*o.Trunk)*c.Clearance.RootZonePerTrunk)
	}
	return reach
}

// index holds every layer that bears on lots.
type index struct {
	lots, buildings, openings, easements, swales, inlets, outlets, intakes, obstacles, drains, streets places
}

func newIndex(s *parcels.Site) *index {
	x := &index{}
	for i := range s.Lots {
		x.lots.add(boxOf(s.Lots[i].Shape), 0)
	}
	for i := range s.Buildings {
		x.buildings.add(boxOf(s.Buildings[i].Shape), 0)
	}
	for i := range s.Openings {
		x.openings.add(s.Openings[i].At.Bound(), 0)
	}
	for i := range s.Easements {
		x.easements.add(s.Easements[i].Geometry.Bound(), easementReach(&s.Easements[i]))
	}
	for i := range s.Swales {
		x.swales.add(s.Swales[i].Line.Bound(), 0)
	}
	for i := range s.Inlets {
		x.inlets.add(s.Inlets[i].At.Bound(), 0)
	}
	for i := range s.Outlets {
		x.outlets.add(s.Outlets[i].At.Bound(), 0)
	}
	for i := range s.Intakes {
		x.intakes.add(s.Intakes[i].At.Bound(), 0)
	}
	for i := range s.Obstacles {
		x.obstacles.add(s.Obstacles[i].Geometry.Bound(), obstacleReach(&s.Obstacles[i], s.Criteria))
	}
	for i := range s.Drains {
		x.drains.add(s.Drains[i].Line.Bound(), 0)
	}
	for i := range s.Streets {
		x.streets.add(s.Streets[i].Geometry.Bound(), 0)
	}
	for _, p := range []*places{&x.lots, &x.buildings, &x.openings, &x.easements, &x.swales, &x.inlets, &x.outlets, &x.intakes, &x.obstacles, &x.drains, &x.streets} {
		p.ready()
	}
	return x
}

// pick puts some of a layer's features into the room of to.
func pick[T any](to, all []T, idx []int32) []T {
	to = to[:0]
	for _, i := range idx {
		to = append(to, all[i])
	}
	return to
}

// view puts the site as one lot sees it into w: the features near its box, under
// the criteria given. Its lots are left out, being many and seldom asked for:
// see lotWork.neighbours.
func (w *lotWork) view(c parcels.Criteria) {
	s, x, v := w.a.site, w.a.index, &w.room
	b := w.box.Pad(near)
	// of buildings there are many, and only their clearance and a last run count
	walls := w.box.Pad(float64(max(c.Clearance.Foundation, c.Clearance.FoundationPerforated)+c.TieIn.Reach) + 1)
	v.Name, v.CRS, v.Frame, v.VerticalDatum, v.Supplied = s.Name, s.CRS, s.Frame, s.VerticalDatum, s.Supplied
	v.Rain, v.Soil, v.Criteria, v.Lots = s.Rain, s.Soil, c, nil
	at := func(p *places, box orb.Bound) []int32 {
		w.found = p.in(box, w.found)
		return w.found
	}
	v.Streets = pick(v.Streets, s.Streets, at(&x.streets, b))
	v.Buildings = pick(v.Buildings, s.Buildings, at(&x.buildings, walls))
	v.Openings = pick(v.Openings, s.Openings, at(&x.openings, b))
	v.Easements = pick(v.Easements, s.Easements, at(&x.easements, b))
	v.Swales = pick(v.Swales, s.Swales, at(&x.swales, b))
	v.Inlets = pick(v.Inlets, s.Inlets, at(&x.inlets, b))
	v.Outlets = pick(v.Outlets, s.Outlets, at(&x.outlets, b))
	v.Intakes = pick(v.Intakes, s.Intakes, at(&x.intakes, b))
	v.Obstacles = pick(v.Obstacles, s.Obstacles, at(&x.obstacles, b))
	v.Drains = pick(v.Drains, s.Drains, at(&x.drains, b))
	w.site = v
}
