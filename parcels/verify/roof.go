package verify

// Roofs: the part of a footprint that comes down at each downspout, worked
// along the eaves.
//
//	s   m   place along the eaves of one part of a footprint, from its first corner
//	t   m   depth of the roof behind s: how far a ball that touches the eaves
//	        there from inside can grow before it meets another piece of them. All
//	        that lies nearer to s than to the rest of the eaves is the straight
//	        way inward of that length, so a stretch of eaves drains the integral
//	        of t ds, and a corner that points inward, from which the ways fan
//	        out, the integral of t^2/2 over the angle.
//
// A stretch belongs to the downspout nearest along the eaves. What lies over a
// courtyard is no roof.

import (
	"fmt"
	"math"
	"sort"
)

// roof is a footprint as drawn, and the area that the document states for it.
type roof struct {
	polys  []poly
	box    box
	stated *float64
}

// ownRoof is how far from a footprint a downspout still belongs to it.
const ownRoof = 3.0

// shareSlack is the share of a roof by which a plan's part may differ from the
// one worked here: the planner counts points of a lattice.
const shareSlack = 0.01

func ringArea(r []pt) float64 {
	a := 0.0
	for i := range r {
		j := (i + 1) % len(r)
		a += (r[i].x-r[0].x)*(r[j].y-r[0].y) - (r[j].x-r[0].x)*(r[i].y-r[0].y)
	}
	return a / 2
}

func (f *roof) plan() float64 {
	a := 0.0
	for _, p := range f.polys {
		for k, r := range p.rings {
			if k == 0 {
				a += math.Abs(ringArea(r))
			} else {
				a -= math.Abs(ringArea(r))
			}
		}
	}
	return a
}

// off is the distance of a point from the outline.
func (f *roof) off(p pt) float64 {
	d := math.Inf(1)
	for _, g := range f.polys {
		for _, r := range g.rings {
			for i := range r {
				d = min(d, fromSegment(p, r[i], r[(i+1)%len(r)]))
			}
		}
	}
	return d
}

// roofOf is the footprint that a downspout belongs to: the nearest, within
// reach; -1: none.
func (s *site) roofOf(p pt) int {
	best, at := ownRoof, -1
	for i := range s.roofs {
		f := &s.roofs[i]
		if f.box.far(box{p.x, p.y, p.x, p.y}, ownRoof) {
			continue
		}
		if d := f.off(p); d < best || d == best && at < 0 {
			best, at = d, i
		}
	}
	return at
}

// eaves is the outer ring of a part, inside on the left.
type eaves struct {
	at     []pt
	start  []float64 // place along the eaves
	length float64
	holes  [][]pt
	spouts []int
	place  []float64
}

func eavesOf(g poly) eaves {
	r := g.rings[0]
	ccw := ringArea(r) > 0
	e := eaves{holes: g.rings[1:]}
	for i := range r {
		k := i
		if !ccw {
			k = len(r) - 1 - i
		}
		if n := len(e.at); n > 0 && apartBy(e.at[n-1], r[k]) < 1e-9 {
			continue
		}
		e.at = append(e.at, r[k])
	}
	for i := range e.at {
		e.start = append(e.start, e.length)
		e.length += apartBy(e.at[i], e.at[(i+1)%len(e.at)])
	}
	return e
}

// nearest is the place along the eaves nearest to a point, and how far it is.
func (e *eaves) nearest(p pt) (place, off float64) {
	off = math.Inf(1)
	for i, a := range e.at {
		b := e.at[(i+1)%len(e.at)]
		if d := fromSegment(p, a, b); d < off {
			l := apartBy(a, b)
			t := ((p.x-a.x)*(b.x-a.x) + (p.y-a.y)*(b.y-a.y)) / max(l, 1e-12)
			off, place = d, e.start[i]+min(max(t, 0), l)
		}
	}
	return place, off
}

// spout is the downspout nearest along the eaves to a place on them.
func (e *eaves) spout(place float64) int {
	best, d := -1, math.Inf(1)
	for k, s := range e.place {
		v := math.Abs(place - s)
		if v = min(v, e.length-v); v < d {
			best, d = e.spouts[k], v
		}
	}
	return best
}

// depth is t at a foot on edge own (at its end, own is -1), inward along n.
func (e *eaves) depth(f, n pt, own int) float64 {
	t := math.Inf(1)
	for i, a := range e.at {
		b := e.at[(i+1)%len(e.at)]
		// the ball meets the corner a
		qx, qy := a.x-f.x, a.y-f.y
		if c := n.x*qx + n.y*qy; c > 1e-12 {
			t = min(t, (qx*qx+qy*qy)/(2*c))
		}
		if i == own {
			continue
		}
		// the ball touches the edge between its ends
		l := apartBy(a, b)
		dx, dy := (b.x-a.x)/l, (b.y-a.y)/l
		d0 := (f.x-a.x)*-dy + (f.y-a.y)*dx // distance of the foot from the edge's line, inside positive
		m := n.x*-dy + n.y*dx
		for _, side := range [2]float64{1, -1} { // the ball may come from either side of the line
			if den := 1 - side*m; den > 1e-12 && side*d0 >= 0 {
				v := side * d0 / den
				if u := (f.x+v*n.x-a.x)*dx + (f.y+v*n.y-a.y)*dy; u >= 0 && u <= l && v > 1e-9 {
					t = min(t, v)
				}
			}
		}
	}
	return t
}

// roofed are the stretches of the way of length t from f along n that no
// courtyard takes.
func (e *eaves) roofed(f, n pt, t float64) [][2]float64 {
	var cuts []float64
	for _, h := range e.holes {
		for i, a := range h {
			b := h[(i+1)%len(h)]
			sa, sb := n.x*(a.y-f.y)-n.y*(a.x-f.x), n.x*(b.y-f.y)-n.y*(b.x-f.x)
			if (sa <= 0) == (sb <= 0) {
				continue
			}
			u := sa / (sa - sb)
			if v := n.x*(a.x+u*(b.x-a.x)-f.x) + n.y*(a.y+u*(b.y-a.y)-f.y); v > 0 {
				cuts = append(cuts, v)
			}
		}
	}
	sort.Float64s(cuts)
	out, from := [][2]float64{}, 0.0
	for i := 0; i+1 < len(cuts) && cuts[i] < t; i += 2 {
		out = append(out, [2]float64{from, cuts[i]})
		from = cuts[i+1]
	}
	if from < t {
		out = append(out, [2]float64{from, t})
	}
	return out
}

// shed gives take each small piece of roof with its downspout, -1 for none.
func (e *eaves) shed(take func(spout int, area float64)) {
	n := len(e.at)
	if n < 3 {
		return
	}
	// where the gutter parts: half-way between neighbouring downspouts
	var parts []float64
	order := append([]float64(nil), e.place...)
	sort.Float64s(order)
	for k := range order {
		next := order[(k+1)%len(order)]
		if k == len(order)-1 {
			next += e.length
		}
		parts = append(parts, math.Mod((order[k]+next)/2, e.length))
	}
	inward := func(i int) (dir, in pt) {
		a, b := e.at[i], e.at[(i+1)%n]
		l := apartBy(a, b)
		dir = pt{x: (b.x - a.x) / l, y: (b.y - a.y) / l}
		return dir, pt{x: -dir.y, y: dir.x}
	}
	for i := range e.at {
		a := e.at[i]
		l := apartBy(a, e.at[(i+1)%n])
		dir, in := inward(i)
		cuts := []float64{0, l}
		for _, p := range parts {
			if u := p - e.start[i]; u > 0 && u < l {
				cuts = append(cuts, u)
			}
		}
		sort.Float64s(cuts)
		for k := 0; k+1 < len(cuts); k++ {
			w := cuts[k+1] - cuts[k]
			spout := e.spout(e.start[i] + cuts[k] + w/2)
			pieces := min(max(math.Ceil(w/0.05), 8), 400)
			for j := 0.5; j < pieces; j++ {
				u := cuts[k] + w*j/pieces
				f := pt{x: a.x + u*dir.x, y: a.y + u*dir.y}
				for _, s := range e.roofed(f, in, e.depth(f, in, i)) {
					take(spout, (s[1]-s[0])*w/pieces)
				}
			}
		}
		// a corner that points inward
		before, inBefore := inward((i + n - 1) % n)
		turn := math.Atan2(before.x*dir.y-before.y*dir.x, before.x*dir.x+before.y*dir.y)
		if turn >= -1e-9 {
			continue
		}
		const fan = 128.0
		first := math.Atan2(inBefore.y, inBefore.x)
		for j := 0.5; j < fan; j++ {
			th := first + turn*j/fan
			d := pt{x: math.Cos(th), y: math.Sin(th)}
			for _, s := range e.roofed(a, d, e.depth(a, d, -1)) {
				take(e.spout(e.start[i]), (s[1]*s[1]-s[0]*s[0])/2*-turn/fan)
			}
		}
	}
}

// shares are the parts of a roof by intake, for those of its downspouts that
// state none.
func (s *site) shares(k int) map[int]float64 {
	f := &s.roofs[k]
	es := make([]eaves, len(f.polys))
	for i := range f.polys {
		es[i] = eavesOf(f.polys[i])
	}
	stated, some := 0.0, false
	bare := map[int]float64{}
	for i := range s.intakes {
		in := &s.intakes[i]
		if in.kind != "downspout" || s.roofOf(in.at) != k {
			continue
		}
		best, place, off := 0, 0.0, math.Inf(1)
		for e := range es {
			if p, d := es[e].nearest(in.at); d < off {
				best, place, off = e, p, d
			}
		}
		es[best].spouts, es[best].place = append(es[best].spouts, i), append(es[best].place, place)
		if in.roofGiven {
			stated, some = stated+in.roofArea, true
		} else {
			bare[i] = 0
		}
	}
	free := 0.0
	for e := range es {
		es[e].shed(func(i int, a float64) {
			if _, ok := bare[i]; ok && i >= 0 {
				bare[i] += a
				free += a
			}
		})
	}
	plan := f.plan()
	whole := plan
	if f.stated != nil {
		whole = *f.stated
	}
	rest, over := whole, plan
	if some && whole-stated >= -whole/100 {
		rest, over = max(whole-stated, 0), free // what is not stated goes to the others
	}
	for i := range bare {
		if over > 0 {
			bare[i] *= rest / over
		}
	}
	return bare
}

// roofShares: each intake's roof is the one stated, or the part of its
// footprint that lies nearest along the eaves, and a finding says so. What the
// plan states, once found right, is what the flows are held to.
func (j *judge) roofShares() {
	c := j.open("roof_shares").bound(shareSlack)
	c.note = "worst is the difference over the roof"
	worked := map[int]map[int]float64{}
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		k := j.intake(n.id)
		if k == nil || n.kind != "intake" {
			if n.roofArea != nil {
				c.fail(n.id, "roof_area_m2 of a point that is no intake of the site")
			}
			continue
		}
		if k.areaGiven || k.flow != nil || k.kind != "downspout" {
			want := 0.0
			if k.flow == nil {
				want = k.roofArea
			}
			if n.roofArea != nil && math.Abs(*n.roofArea-want) > 1e-3+1e-6*want {
				c.fail(n.id, "roof_area_m2 says %.2f, the document gives %.2f", *n.roofArea, want)
			}
			continue
		}
		house := j.s.roofOf(k.at)
		if house < 0 {
			if n.roofArea != nil {
				c.fail(n.id, "roof_area_m2 says %.2f, and no footprint stands within %.1f m", *n.roofArea, ownRoof)
			}
			continue
		}
		if worked[house] == nil {
			worked[house] = j.s.shares(house)
		}
		whole := j.s.roofs[house].plan()
		if a := j.s.roofs[house].stated; a != nil {
			whole = *a
		}
		want, slack := worked[house][j.indexOf(k)], shareSlack*whole
		switch {
		case n.roofArea == nil && want <= slack:
			continue // nothing to speak of
		case n.roofArea == nil:
			c.fail(n.id, "no roof_area_m2, and %.2f m2 of its footprint lie nearest to it along the eaves", want)
			continue
		}
		c.most(math.Abs(*n.roofArea-want)/max(whole, 1e-9), n.id)
		if !(math.Abs(*n.roofArea-want) <= slack) {
			c.fail(n.id, "roof_area_m2 says %.2f, %.2f m2 of its footprint lie nearest to it along the eaves", *n.roofArea, want)
			continue
		}
		told := false
		for _, f := range j.p.findings {
			told = told || f.feature == k.id && f.code == "roof_shared" && f.severity != "note"
		}
		if !told {
			c.fail(n.id, "%s, and no finding says that it is a share and not stated", fmt.Sprintf("roof_area_m2 %.2f", *n.roofArea))
		}
		k.roofArea, k.areaGiven = *n.roofArea, true
	}
}

func (j *judge) indexOf(k *intake) int {
	for i := range j.s.intakes {
		if k == &j.s.intakes[i] {
			return i
		}
	}
	return -1
}
