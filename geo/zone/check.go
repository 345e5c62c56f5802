package zone

// The check of a drawn line: by exact distances, no polygon of a zone.

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
)

// Stretch is a part of a line that lies outside the lot or too close to one of
// its lines or to a thing.
type Stretch struct {
	// From and To are distances along the line from its start.
	From, To unit.Length
	Line     orb.LineString
	// Edge is the lot line that is too close (part, ring, edge); nil where a
	// thing is.
	Edge *shape.Spot
	// Thing is the place in the list of keep-outs; nil where a lot line is too
	// close. ID and Kind are its own.
	Thing    *int
	ID, Kind string
	// Outside: a part of the stretch is outside the lot, or within the thing. A
	// part outside counts to one lot line only, the nearest where it is furthest
	// out.
	Outside bool
	// Required is the clearance asked of the trench edge, Measured what it has
	// at the worst place, negative where the trench reaches beyond the line or
	// into the thing; Short is what is missing.
	Required, Measured, Short unit.Length
	// Worst is the worst place on the line, Nearest the place on the lot line
	// or thing that it is measured to.
	Worst      orb.Point
	WorstAlong unit.Length
	Nearest    orb.Point
	// Shift is the smallest move (east, north, in metres) found that takes the
	// stretch clear of this line or thing, Shifted the stretch so moved. Mends
	// says whether it then keeps every clearance.
	Shift   orb.Point
	Shifted orb.LineString
	Mends   bool
}

// LineCheck is the answer about one line.
type LineCheck struct {
	// Inside: the trench keeps every clearance along the whole line.
	Inside bool
	Length unit.Length
	// LengthOutside is the length along which it does not; LengthOffLot that
	// along which its middle is outside the lot.
	LengthOutside, LengthOffLot unit.Length
	// LeastClearance is from the trench edge to the lot line, negative where the
	// trench lies over it or beyond: by how far it reaches.
	LeastClearance unit.Length
	LeastAt        orb.Point
	LeastEdge      shape.Spot
	// LeastFoundation is from the trench edge to the nearest thing of kind
	// "building", negative within; nil where there is none.
	LeastFoundation   *unit.Length
	LeastFoundationAt *orb.Point
	// Stretches are the places where a clearance is not kept, along the line.
	Stretches []Stretch
	// Posts are the places where a trench edge enters the strip of the fence
	// posts: a warning, for the clearance may be kept all the same.
	Posts []Stretch
}

// Worst is the stretch that is short by most; nil where there is none.
func (c LineCheck) Worst() *Stretch {
	var w *Stretch
	for i := range c.Stretches {
		if w == nil || c.Stretches[i].Short > w.Short {
			w = &c.Stretches[i]
		}
	}
	return w
}

// Building is the kind of keep-out whose distance counts as the foundation's.
const Building = "building"

// CheckLine measures a trench of the given width along a line against the
// clearances of a lot and of things. The trench is the ground within half its
// width of the line. A distance equal to what is asked passes (to 1e-9 m, the
// noise of arithmetic). fencePost is the width of the strip along the lot lines
// where posts will go; 0: none. Errors are as of Trench, and of the line.
func CheckLine(line orb.LineString, width unit.Length, lot Lot, out []KeepOut, fencePost unit.Length) (LineCheck, error) {
	if err := checkLine(line, width, lot, out, fencePost); err != nil {
		return LineCheck{}, err
	}
	r := ruler{line: line, half: float64(width) / 2, lot: lot, out: out}
	return r.check(float64(fencePost)), nil
}

func checkLine(line orb.LineString, width unit.Length, lot Lot, out []KeepOut, fencePost unit.Length) error {
	if err := lot.check(); err != nil {
		return err
	}
	for i := range out {
		if err := out[i].check(); err != nil {
			return err
		}
	}
	if !sound(line) {
		if f := shape.Check(line); len(f) > 0 {
			return fmt.Errorf("zone: drawn line: %w", f[0])
		}
	}
	if !inRange(width) || !inRange(fencePost) {
		return &shape.InvalidError{Rule: RuleClearance, Detail: fmt.Sprintf("trench width %v m and fence-post strip %v m; give 0 to %v m", float64(width), float64(fencePost), float64(MostClearance))}
	}
	return limitLine(line, lot, out)
}

// ruler measures one line.
type ruler struct {
	line orb.LineString
	half float64
	lot  Lot
	out  []KeepOut
}

// bar is what a line keeps away from: a lot edge or a thing.
type bar struct {
	edge     *shape.Spot
	thing    *int
	required float64 // of the trench edge
	segments [][2]orb.Point
	area     orb.MultiPolygon // of a thing with an inside
}

func (r ruler) check(post float64) LineCheck {
	var room [fewLegs]leg
	legs := legsOf(r.line, room[:0])
	c := LineCheck{Inside: true}
	for i := range legs {
		c.Length += unit.Length(legs[i].l)
	}
	least, spot, ok := r.leastToLot(noneClose(), legs, post)
	off := []interval(nil)
	if least.d == 0 || shape.Locate(r.line[0], r.lot.Shape) == shape.Outside {
		off = r.outside()
	}
	for _, o := range off {
		c.LengthOffLot += unit.Length(o.to - o.from)
	}
	c.LeastClearance, c.LeastAt, c.LeastEdge = unit.Length(least.d-r.half), least.on, spot
	var bad []interval
	if !ok || len(off) > 0 {
		c.Stretches, bad = r.lotStretches(off, func(s shape.Spot) float64 { return float64(r.lot.edge(s.Part, s.Ring, s.Vertex)) })
		if post > 0 {
			c.Posts, _ = r.lotStretches(off, func(shape.Spot) float64 { return post })
		}
		for _, s := range c.Stretches {
			if len(off) > 0 && s.Outside && s.Measured <= c.LeastClearance {
				c.LeastClearance, c.LeastAt, c.LeastEdge = s.Measured, s.Worst, *s.Edge
			}
		}
	}
	for i := range r.out {
		k := r.out[i]
		building := k.Kind == Building
		if k.MayCross && !building {
			continue
		}
		near := noneClose()
		near.thing(legs, k.Geometry, float64(k.Clearance)+r.half-numeric)
		area := false
		switch k.Geometry.(type) {
		case orb.Polygon, orb.MultiPolygon:
			area = true
		}
		var stretches []Stretch
		if near.short || area && (near.d == 0 || enclosed(r.line[0], k.Geometry)) {
			var iv []interval
			stretches, iv = r.stretches(barOf(i, k), nil, nil)
			if !k.MayCross {
				c.Stretches = append(c.Stretches, stretches...)
				bad = append(bad, iv...)
			}
		}
		if building {
			m, on := unit.Length(near.d-r.half), near.on
			for _, s := range stretches {
				if s.Measured < m {
					m, on = s.Measured, s.Worst
				}
			}
			if c.LeastFoundation == nil {
				f := new(struct {
					d  unit.Length
					at orb.Point
				})
				f.d, f.at = m, on
				c.LeastFoundation, c.LeastFoundationAt = &f.d, &f.at
			} else if m < *c.LeastFoundation {
				*c.LeastFoundation, *c.LeastFoundationAt = m, on
			}
		}
	}
	if len(c.Stretches) > 0 {
		c.Inside = false
		for _, b := range merge(bad) {
			c.LengthOutside += unit.Length(b.to - b.from)
		}
		sort.SliceStable(c.Stretches, func(i, j int) bool { return c.Stretches[i].From < c.Stretches[j].From })
		for i := range c.Stretches {
			s := &c.Stretches[i]
			s.Mends = ruler{s.Shifted, r.half, r.lot, r.out}.clear()
		}
	}
	return c
}

// leastToLot is the least distance of the line to any lot edge, 0 where it
// meets one, if less than found before; ok tells whether each edge's clearance, and the post strip, is kept.
func (r *ruler) leastToLot(near closest, legs []leg, post float64) (_ closest, spot shape.Spot, ok bool) {
	for p, poly := range r.lot.Shape {
		for q, ring := range poly {
			var each []unit.Length
			if p < len(r.lot.Edges) && q < len(r.lot.Edges[p]) {
				each = r.lot.Edges[p][q]
			}
			before := near.d
			switch {
			case each == nil:
				near.chain(legs, ring, nil, math.Max(float64(r.lot.Clearance), post)+r.half-numeric)
			default:
				near.chain(legs, ring, each, r.half-numeric)
				if post > 0 {
					near.chain(legs, ring, nil, post+r.half-numeric)
				}
			}
			if near.d < before {
				spot = shape.Spot{Part: p, Ring: q, Vertex: near.edge}
			}
		}
	}
	return near, spot, !near.short
}

// boxGap is a lower bound of the distance of two segments.
func boxGap(a, b, c, d orb.Point) float64 {
	x, y := gap(a[0], b[0], c[0], d[0]), gap(a[1], b[1], c[1], d[1])
	if x > y {
		return x
	}
	return y
}

// gap is how far apart the stretches from a to b and from c to d are, negative
// where they overlap.
func gap(a, b, c, d float64) float64 {
	if a > b {
		a, b = b, a
	}
	if c > d {
		c, d = d, c
	}
	if g := c - b; g > a-d {
		return g
	}
	return a - d
}

// leastTo is the least distance of the line to the segments of a bar.
func (r ruler) leastTo(b bar) (least float64, at orb.Point) {
	least = math.Inf(1)
	for i := 1; i < len(r.line); i++ {
		for _, s := range b.segments {
			if boxGap(r.line[i-1], r.line[i], s[0], s[1]) >= least {
				continue
			}
			if d, on, _ := shape.SegmentSegment(r.line[i-1], r.line[i], s[0], s[1]); float64(d) < least {
				least, at = float64(d), on
			}
		}
	}
	return least, at
}

// clear tells whether the line keeps every clearance.
func (r ruler) clear() bool {
	var room [fewLegs]leg
	legs := legsOf(r.line, room[:0])
	// nothing but whether each is far enough is of interest; a line that may
	// touch the lot's is measured in full
	none := closest{}
	if least, _ := r.lot.extremes(); float64(least)+r.half <= numeric {
		none = noneClose()
	}
	near, _, ok := r.leastToLot(none, legs, 0)
	if !ok || shape.Locate(r.line[0], r.lot.Shape) == shape.Outside || none.d > 0 && near.d == 0 && len(r.outside()) > 0 {
		return false
	}
	for i := range r.out {
		k := &r.out[i]
		if k.MayCross {
			continue
		}
		near := closest{}
		near.thing(legs, k.Geometry, float64(k.Clearance)+r.half-numeric)
		if near.short || enclosed(r.line[0], k.Geometry) {
			return false
		}
	}
	return true
}

func barOf(i int, k KeepOut) bar {
	b := bar{thing: &i, required: float64(k.Clearance)}
	line := func(l []orb.Point) {
		if b.segments == nil {
			b.segments = make([][2]orb.Point, 0, len(l))
		}
		if len(l) == 1 {
			b.segments = append(b.segments, [2]orb.Point{l[0], l[0]})
		}
		for j := 1; j < len(l); j++ {
			b.segments = append(b.segments, [2]orb.Point{l[j-1], l[j]})
		}
	}
	polygon := func(p orb.Polygon) {
		for _, ring := range p {
			line(ring)
		}
		b.area = append(b.area, p)
	}
	switch g := k.Geometry.(type) {
	case orb.Point:
		line([]orb.Point{g})
	case orb.MultiPoint:
		for _, p := range g {
			line([]orb.Point{p})
		}
	case orb.LineString:
		line(g)
	case orb.MultiLineString:
		for _, l := range g {
			line(l)
		}
	case orb.Polygon:
		polygon(g)
	case orb.MultiPolygon:
		for _, p := range g {
			polygon(p)
		}
	}
	return b
}

// interval is a part of the line, by distance from its start.
type interval struct{ from, to float64 }

// merge sorts intervals and joins those that meet.
func merge(iv []interval) []interval {
	slices.SortFunc(iv, func(a, b interval) int { return cmp.Compare(a.from, b.from) })
	var out []interval
	for _, v := range iv {
		if n := len(out); n > 0 && v.from <= out[n-1].to+numeric {
			out[n-1].to = math.Max(out[n-1].to, v.to)
			continue
		}
		out = append(out, v)
	}
	return out
}

// near gives the part of segment pq (by distance from p) that is nearer than r
// to segment ab: one interval, since the ground within r of ab is convex.
func near(p, q, a, b orb.Point, r float64) (interval, bool) {
	v, ok := beside(p, q, a, b, r)
	lo, hi := v.from, v.to
	if !ok {
		lo, hi = math.Inf(1), math.Inf(-1)
	}
	length := math.Hypot(q[0]-p[0], q[1]-p[1])
	if length == 0 || r <= 0 || boxGap(p, q, a, b) >= r {
		return interval{}, false
	}
	ux, uy := (q[0]-p[0])/length, (q[1]-p[1])/length
	for _, c := range [2]orb.Point{a, b} { // the discs about the ends
		off := ux*(c[1]-p[1]) - uy*(c[0]-p[0])
		if h := r*r - off*off; h > 0 {
			along := ux*(c[0]-p[0]) + uy*(c[1]-p[1])
			lo, hi = math.Min(lo, along-math.Sqrt(h)), math.Max(hi, along+math.Sqrt(h))
		}
	}
	lo, hi = math.Max(lo, 0), math.Min(hi, length)
	return interval{lo, hi}, hi-lo > numeric
}

// beside is near without what is nearest to an end of ab.
func beside(p, q, a, b orb.Point, r float64) (interval, bool) {
	length, w := math.Hypot(q[0]-p[0], q[1]-p[1]), math.Hypot(b[0]-a[0], b[1]-a[1])
	if length == 0 || w == 0 || r <= 0 || boxGap(p, q, a, b) >= r {
		return interval{}, false
	}
	ux, uy := (q[0]-p[0])/length, (q[1]-p[1])/length
	dx, dy := (b[0]-a[0])/w, (b[1]-a[1])/w
	lo, hi := 0.0, length
	// band keeps s + t*v between least and most
	band := func(s, v, least, most float64) {
		switch {
		case v > 0:
			lo, hi = math.Max(lo, (least-s)/v), math.Min(hi, (most-s)/v)
		case v < 0:
			lo, hi = math.Max(lo, (most-s)/v), math.Min(hi, (least-s)/v)
		case s <= least || s >= most:
			hi = lo
		}
	}
	band(dx*(p[1]-a[1])-dy*(p[0]-a[0]), dx*uy-dy*ux, -r, r)
	band(dx*(p[0]-a[0])+dy*(p[1]-a[1]), dx*ux+dy*uy, 0, w)
	return interval{lo, hi}, hi-lo > numeric
}

// sides gives the parts of the line in an area (want Inside) or out of it
// (want Outside), its boundary counting for neither.
func (r ruler) sides(mp orb.MultiPolygon, want shape.Place) []interval {
	var out []interval
	var room [16]float64
	cuts := room[:]
	s := 0.0
	for i := 1; i < len(r.line); i++ {
		p, q := r.line[i-1], r.line[i]
		length := math.Hypot(q[0]-p[0], q[1]-p[1])
		if length == 0 {
			continue
		}
		cuts := append(cuts[:0], 0, length)
		west, east, south, north := min(p[0], q[0]), max(p[0], q[0]), min(p[1], q[1]), max(p[1], q[1])
		cut := func(v orb.Point) {
			t := ((v[0]-p[0])*(q[0]-p[0]) + (v[1]-p[1])*(q[1]-p[1])) / length
			cuts = append(cuts, max(0, min(length, t)))
		}
		for _, poly := range mp {
			for _, ring := range poly {
				for e := 1; e < len(ring); e++ {
					a, b := ring[e-1], ring[e]
					if a[0] < west && b[0] < west || a[0] > east && b[0] > east || a[1] < south && b[1] < south || a[1] > north && b[1] > north {
						continue // apart, as Cross would say
					}
					switch m, at := shape.Cross(p, q, a, b); m {
					case shape.Crossing, shape.Touching:
						cut(at)
					case shape.Overlapping:
						cut(ring[e-1])
						cut(ring[e])
					}
				}
			}
		}
		slices.Sort(cuts)
		for k := 1; k < len(cuts); k++ {
			if cuts[k]-cuts[k-1] <= numeric {
				continue
			}
			t := (cuts[k] + cuts[k-1]) / 2 / length
			if shape.Locate(orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}, mp) == want {
				out = append(out, interval{s + cuts[k-1], s + cuts[k]})
			}
		}
		s += length
	}
	return merge(out)
}

func (r ruler) outside() []interval { return r.sides(r.lot.Shape, shape.Outside) }

// lotStretches are the stretches too close to lot edges. A part outside the lot
// counts to the edge that is nearest where it is furthest out.
func (r ruler) lotStretches(off []interval, required func(shape.Spot) float64) (out []Stretch, all []interval) {
	var room [fewLegs]leg
	legs := legsOf(r.line, room[:0])
	beyond := map[shape.Spot][]interval{}
	for _, o := range off {
		_, spot := r.furthestOut(o)
		beyond[spot] = append(beyond[spot], o)
	}
	for p, poly := range r.lot.Shape {
		for q, ring := range poly {
			for e := 0; e+1 < len(ring); e++ {
				spot := shape.Spot{Part: p, Ring: q, Vertex: e}
				var c closest
				if c.chain(legs, ring[e:e+2], nil, required(spot)+r.half-numeric); !c.short && len(beyond[spot]) == 0 {
					continue
				}
				b := bar{edge: &spot, required: required(spot), segments: [][2]orb.Point{{ring[e], ring[e+1]}}}
				s, iv := r.stretches(b, beyond[spot], off)
				out = append(out, s...)
				all = append(all, iv...)
			}
		}
	}
	return out, all
}

// furthestOut is how far out of the lot the line gets in an interval outside,
// and the edge nearest there.
func (r ruler) furthestOut(o interval) (far furthest, nearest shape.Spot) {
	far = r.greatest(o, r.boundary())
	_, _, nearest = r.toLot(far.on)
	return far, nearest
}

// boundary is the lot's boundary as a bar.
func (r ruler) boundary() bar {
	var b bar
	for _, poly := range r.lot.Shape {
		for _, ring := range poly {
			for e := 1; e < len(ring); e++ {
				b.segments = append(b.segments, [2]orb.Point{ring[e-1], ring[e]})
			}
		}
	}
	return b
}

// toLot is the distance from a point to the lot's boundary.
func (r ruler) toLot(p orb.Point) (least float64, at orb.Point, spot shape.Spot) {
	least = math.Inf(1)
	for i, poly := range r.lot.Shape {
		for j, ring := range poly {
			for e := 0; e+1 < len(ring); e++ {
				if d, q := shape.PointSegment(p, ring[e], ring[e+1]); float64(d) < least {
					least, at, spot = float64(d), q, shape.Spot{Part: i, Ring: j, Vertex: e}
				}
			}
		}
	}
	return least, at, spot
}

// furthest is a place on the line and how far it is from what it is measured to.
type furthest struct {
	along, dist float64
	on, to      orb.Point
}

// greatest finds where in an interval the distance from a bar is greatest, to a
// micrometre. Along a straight line the distance from one segment is convex, so
// between two places it is at most the greater of the two; the distance from
// the bar is at most the least of that over its segments, which tells what half
// of an interval can be left out.
func (r ruler) greatest(o interval, b bar) (best furthest) {
	look := func(s float64) orb.Point {
		p := shape.PointAt(r.line, unit.Length(s))
		if d, to := b.distance(p); d > best.dist || s == o.from {
			best = furthest{s, d, p, to}
		}
		return p
	}
	// enough tells whether nothing between p and q is further than found
	enough := func(p, q orb.Point) bool {
		limit := unit.Length(best.dist + 1e-6)
		for _, s := range b.segments {
			if d, _ := shape.PointSegment(p, s[0], s[1]); d > limit {
				continue
			}
			if d, _ := shape.PointSegment(q, s[0], s[1]); d <= limit {
				return true
			}
		}
		return false
	}
	look(o.from)
	var halve func(s, t float64, p, q orb.Point)
	halve = func(s, t float64, p, q orb.Point) {
		if t-s < 1e-6 || enough(p, q) {
			return
		}
		m := (s + t) / 2
		v := look(m)
		halve(s, m, p, v)
		halve(m, t, v, q)
	}
	from, p := o.from, best.on
	s := 0.0
	for i := 1; i < len(r.line) && from < o.to; i++ {
		s += math.Hypot(r.line[i][0]-r.line[i-1][0], r.line[i][1]-r.line[i-1][1])
		if to := math.Min(s, o.to); to > from {
			q := look(to)
			halve(from, to, p, q)
			from, p = to, q
		}
	}
	return best
}

// less takes out of intervals in order those of another list in order.
func less(iv, out []interval) (rest []interval) {
	for _, v := range iv {
		for _, o := range out {
			if o.to <= v.from || o.from >= v.to {
				continue
			}
			if o.from-v.from > numeric {
				rest = append(rest, interval{v.from, o.from})
			}
			v.from = math.Min(o.to, v.to)
		}
		if v.to-v.from > numeric {
			rest = append(rest, v)
		}
	}
	return rest
}

// stretches are the parts of the line too close to a bar. Of the parts off the
// lot those beyond count to it, a lot edge, and no other.
func (r ruler) stretches(b bar, beyond, off []interval) ([]Stretch, []interval) {
	within := append([]interval(nil), beyond...)
	if b.area != nil {
		within = r.sides(b.area, shape.Inside)
	}
	iv := append([]interval(nil), within...)
	s, reach := 0.0, b.required+r.half-numeric
	for i := 1; i < len(r.line); i++ {
		for _, g := range b.segments {
			if v, ok := near(r.line[i-1], r.line[i], g[0], g[1], reach); ok {
				iv = append(iv, interval{s + v.from, s + v.to})
			}
		}
		s += math.Hypot(r.line[i][0]-r.line[i-1][0], r.line[i][1]-r.line[i-1][1])
	}
	if iv = merge(iv); len(off) > 0 {
		iv = less(iv, less(off, merge(append([]interval(nil), beyond...))))
	}
	var out []Stretch
	for _, v := range iv {
		st := Stretch{From: unit.Length(v.from), To: unit.Length(v.to), Edge: b.edge, Thing: b.thing, Required: unit.Length(b.required)}
		st.Line = shape.Substring(r.line, st.From, st.To)
		if b.thing != nil {
			st.ID, st.Kind = r.out[*b.thing].ID, r.out[*b.thing].Kind
		}
		// signed distance of the line's middle at the worst place
		worst, signed, deep := furthest{}, math.Inf(1), r.depth(b)
		for _, w := range within {
			if w.to <= v.from || w.from >= v.to {
				continue
			}
			st.Outside = true
			f := r.greatest(w, deep)
			if -f.dist < signed {
				worst, signed = f, -f.dist
			}
		}
		if !st.Outside {
			sub := ruler{line: st.Line}
			d, on := sub.leastTo(b)
			_, to := b.distance(on)
			worst, signed = furthest{along: v.from + float64(shape.Nearest(st.Line, on).Along), dist: d, on: on, to: to}, d
		}
		st.Worst, st.WorstAlong, st.Nearest = worst.on, unit.Length(worst.along), worst.to
		st.Measured = unit.Length(signed - r.half)
		st.Short = st.Required - st.Measured
		r.shift(&st, b)
		out = append(out, st)
	}
	return out, iv
}

// depth is what a place outside the lot or within a thing is measured to: the
// whole boundary, not one edge of it.
func (r ruler) depth(b bar) bar {
	if b.edge != nil {
		return r.boundary()
	}
	return b
}

// distance is that of a point from the segments of a bar.
func (b bar) distance(p orb.Point) (least float64, at orb.Point) {
	least = math.Inf(1)
	for _, s := range b.segments {
		if d, q := shape.PointSegment(p, s[0], s[1]); float64(d) < least {
			least, at = float64(d), q
		}
	}
	return least, at
}

// shift moves the stretch away from what it is too close to, square to it at
// the worst place, and again if a bend or corner leaves it short.
func (r ruler) shift(st *Stretch, b bar) {
	st.Shifted = st.Line
	on, to, signed := st.Worst, st.Nearest, float64(st.Measured)+r.half
	for try := 0; try < 12; try++ {
		need := b.required + r.half - signed
		if need <= numeric {
			return
		}
		dir := orb.Point{on[0] - to[0], on[1] - to[1]}
		if n := math.Hypot(dir[0], dir[1]); n > numeric {
			if signed < 0 {
				n = -n
			}
			dir = orb.Point{dir[0] / n, dir[1] / n}
		} else {
			dir = r.away(b, on)
		}
		st.Shift[0] += dir[0] * need
		st.Shift[1] += dir[1] * need
		st.Shifted = make(orb.LineString, len(st.Line))
		for i, p := range st.Line {
			st.Shifted[i] = orb.Point{p[0] + st.Shift[0], p[1] + st.Shift[1]}
		}
		moved := ruler{line: st.Shifted, half: r.half, lot: r.lot, out: r.out}
		d, p := moved.leastTo(b)
		signed, on = d, p
		if area, want := b.area, shape.Inside; area != nil || b.edge != nil {
			if b.edge != nil {
				area, want = r.lot.Shape, shape.Outside
			}
			for _, v := range moved.sides(area, want) {
				if f := moved.greatest(v, r.depth(b)); -f.dist < signed {
					signed, on = -f.dist, f.on
				}
			}
		}
		if signed < 0 {
			_, to = r.depth(b).distance(on)
		} else {
			_, to = b.distance(on)
		}
	}
}

// away is the direction into the free from a place on a bar: into the lot from
// its edge, out of a thing, or square to a line.
func (r ruler) away(b bar, p orb.Point) orb.Point {
	best, at := math.Inf(1), orb.Point{0, 1}
	for _, s := range b.segments {
		d, _ := shape.PointSegment(p, s[0], s[1])
		n := math.Hypot(s[1][0]-s[0][0], s[1][1]-s[0][1])
		if float64(d) >= best || n == 0 {
			continue
		}
		best = float64(d)
		at = orb.Point{-(s[1][1] - s[0][1]) / n, (s[1][0] - s[0][0]) / n}
	}
	const step = 1e-4 // far beyond rounding, far within any lot
	probe := orb.Point{p[0] + step*at[0], p[1] + step*at[1]}
	if b.edge != nil && shape.Locate(probe, r.lot.Shape) == shape.Outside || b.area != nil && shape.Locate(probe, b.area) == shape.Inside {
		return orb.Point{-at[0], -at[1]}
	}
	return at
}
