package auditor

// What lies near a lot: a site cut down to the features that can bear on it.

import (
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"
	"github.com/tidwall/rtree"

	"fallwright/parcels"
)

// near is how far beyond a lot's box a feature can bear on it; as far as
// package siting looks.
const near = 30.0

// places finds features of one layer by their boxes.
type places struct {
	tree  rtree.RTreeGN[float64, int32]
	count int
}

func (p *places) add(i int, b orb.Bound, grow float64) {
	p.tree.Insert([2]float64{b.Min[0] - grow, b.Min[1] - grow}, [2]float64{b.Max[0] + grow, b.Max[1] + grow}, int32(i))
	p.count++
}

// in lists the features whose boxes meet b, in the order of the layer.
func (p *places) in(b orb.Bound) []int32 {
	if p.count == 0 {
		return nil
	}
	var out []int32
	p.tree.Search([2]float64{b.Min[0], b.Min[1]}, [2]float64{b.Max[0], b.Max[1]}, func(_, _ [2]float64, i int32) bool {
		k := len(out)
		for k > 0 && out[k-1] > i {
			k--
		}
		out = append(out, 0)
		copy(out[k+1:], out[k:])
		out[k] = i
		return true
	})
	return out
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
		x.lots.add(i, s.Lots[i].Shape.Bound(), 0)
	}
	for i := range s.Buildings {
		x.buildings.add(i, s.Buildings[i].Shape.Bound(), 0)
	}
	for i := range s.Openings {
		x.openings.add(i, s.Openings[i].At.Bound(), 0)
	}
	for i := range s.Easements {
		x.easements.add(i, s.Easements[i].Geometry.Bound(), easementReach(&s.Easements[i]))
	}
	for i := range s.Swales {
		x.swales.add(i, s.Swales[i].Line.Bound(), 0)
	}
	for i := range s.Inlets {
		x.inlets.add(i, s.Inlets[i].At.Bound(), 0)
	}
	for i := range s.Outlets {
		x.outlets.add(i, s.Outlets[i].At.Bound(), 0)
	}
	for i := range s.Intakes {
		x.intakes.add(i, s.Intakes[i].At.Bound(), 0)
	}
	for i := range s.Obstacles {
		x.obstacles.add(i, s.Obstacles[i].Geometry.Bound(), obstacleReach(&s.Obstacles[i], s.Criteria))
	}
	for i := range s.Drains {
		x.drains.add(i, s.Drains[i].Line.Bound(), 0)
	}
	for i := range s.Streets {
		x.streets.add(i, s.Streets[i].Geometry.Bound(), 0)
	}
	return x
}

func pick[T any](all []T, idx []int32) []T {
	if len(idx) == 0 {
		return nil
	}
	out := make([]T, len(idx))
	for k, i := range idx {
		out[k] = all[i]
	}
	return out
}

// view is the site as one lot sees it: the features near the box, under the
// criteria given. Its lots are left out, being many and seldom asked for: see
// lotWork.neighbours.
func (a *Auditor) view(box orb.Bound, c parcels.Criteria) *parcels.Site {
	s, x := a.site, a.index
	b := box.Pad(near)
	// of buildings there are many, and only their clearance and a last run count
	cl := c.Clearance
	walls := box.Pad(float64(max(cl.Foundation, cl.FoundationPerforated)+c.TieIn.Reach) + 1)
	return &parcels.Site{Name: s.Name, CRS: s.CRS, Frame: s.Frame, VerticalDatum: s.VerticalDatum, Supplied: s.Supplied,
		Rain: s.Rain, Soil: s.Soil, Criteria: c,
		Streets:   pick(s.Streets, x.streets.in(b)),
		Buildings: pick(s.Buildings, x.buildings.in(walls)), Openings: pick(s.Openings, x.openings.in(b)),
		Easements: pick(s.Easements, x.easements.in(b)), Swales: pick(s.Swales, x.swales.in(b)),
		Inlets: pick(s.Inlets, x.inlets.in(b)), Outlets: pick(s.Outlets, x.outlets.in(b)),
		Intakes: pick(s.Intakes, x.intakes.in(b)), Obstacles: pick(s.Obstacles, x.obstacles.in(b)),
		Drains: pick(s.Drains, x.drains.in(b))}
}
