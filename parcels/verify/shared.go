package verify

// A trunk that several lots share: where it may lie, whose leave is told, and
// what each lot pays.

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"strings"

	"fallwright/parcels"
)

// stretch is a part of a straight line, by shares of its length.
type stretch struct{ from, to float64 }

// nearer is the part of p-q that lies nearer than r to the segment u-v: the
// distance to a segment is convex along a straight line, so it is one stretch.
// ok is false where there is none.
func nearer(p, q, u, v pt, r float64) (s stretch, ok bool) {
	d := func(t float64) float64 {
		return fromSegment(pt{x: p.x + t*(q.x-p.x), y: p.y + t*(q.y-p.y)}, u, v)
	}
	lo, hi := 0.0, 1.0
	for range 100 {
		a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
		if d(a) < d(b) {
			hi = b
		} else {
			lo = a
		}
	}
	low := (lo + hi) / 2
	for _, t := range []float64{0, 1} {
		if d(t) < d(low) {
			low = t
		}
	}
	if d(low) >= r {
		return stretch{}, false
	}
	edge := func(in, out float64) float64 {
		if d(out) < r {
			return out
		}
		for range 60 {
			m := (in + out) / 2
			if d(m) < r {
				in = m
			} else {
				out = m
			}
		}
		return out
	}
	return stretch{edge(low, 0), edge(low, 1)}, true
}

// gaps are the parts of the whole that no stretch of a list covers.
func gaps(list []stretch) []stretch {
	sort.Slice(list, func(a, b int) bool { return list[a].from < list[b].from })
	var out []stretch
	at := 0.0
	for _, s := range list {
		if s.from > at {
			out = append(out, stretch{at, s.from})
		}
		at = max(at, s.to)
	}
	if at < 1 {
		out = append(out, stretch{at, 1})
	}
	return out
}

// sureOf is what is asked over a limit that is worked in float64 alone.
const sureOf = 1e-6

// byRight are the parts of p-q whose trench, h to each side, lies in the zone of
// one of the plan's lots or, by h, inside one of the easements.
func (j *judge) byRight(p, q pt, h float64, easements []*thing) []stretch {
	var out []stretch
	bb := boxOf([]pt{p, q})
	keep := func(off []stretch, in func(m pt) bool) {
		for _, g := range gaps(off) {
			t := (g.from + g.to) / 2
			if in(pt{x: p.x + t*(q.x-p.x), y: p.y + t*(q.y-p.y)}) {
				out = append(out, g)
			}
		}
	}
	for _, id := range j.p.summary.lots {
		l := j.s.lot(id)
		if l == nil || l.box.far(bb, 0.01) {
			continue
		}
		lims, _, _ := j.edgeLimits(l)
		var off []stretch
		for n, e := range lotEdges(l) {
			if s, ok := nearer(p, q, e.a, e.b, lims[n].m+h+sureOf); ok {
				off = append(off, s)
			}
		}
		keep(off, func(m pt) bool { return j.inLot(l, m) })
	}
	for _, t := range easements {
		for _, g := range t.polys {
			var off []stretch
			for _, r := range g.rings {
				for k := range r {
					if s, ok := nearer(p, q, r[k], r[(k+1)%len(r)], h+sureOf); ok {
						off = append(off, s)
					}
				}
			}
			keep(off, func(m pt) bool { return j.s.plane.where(g, m) != outside })
		}
		for _, l := range t.lines {
			for k := 1; k < len(l); k++ {
				if s, ok := nearer(p, q, l[k-1], l[k], t.grow.m-h-sureOf); ok {
					out = append(out, s)
				}
			}
		}
	}
	return out
}

// easementRuns: a run that lies where its lot's own zone ends lies, with its
// trench, everywhere in the zone of one of the plan's lots or in an easement that
// it names, where a trench may lie; it names every lot it lies on.
func (j *judge) easementRuns() {
	c := j.open("easement_run")
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if len(r.easements) == 0 {
			if len(r.overLots) > 0 {
				c.fail(r.id, "lies over other lots by right of no easement")
			}
			continue
		}
		if len(j.p.shares) == 0 {
			c.fail(r.id, "lies by right of an easement in a plan that shares no trunk")
		}
		if r.leadOff {
			c.fail(r.id, "is a first run, and no house stands in an easement")
		}
		var may []*thing
		for _, id := range r.easements {
			at := slices.IndexFunc(j.s.easements, func(t thing) bool { return t.id == id })
			switch {
			case at < 0:
				c.fail(r.id, "the site has no easement %q", id)
			case j.s.easements[at].rule != "allowed" && j.s.easements[at].rule != "permission":
				c.fail(r.id, "a trench is forbidden in easement %q", id)
			default:
				may = append(may, &j.s.easements[at])
			}
		}
		h := r.width / 2
		for k := 1; k < len(r.line); k++ {
			p, q := r.line[k-1], r.line[k]
			l := apartBy(p, q)
			for _, g := range gaps(j.byRight(p, q, h, may)) {
				if r.tieIn && g.from > 0 {
					continue // the last run is looked at by itself, but for its start
				}
				if r.tieIn {
					g.to = min(g.to, 1e-9/max(l, 1e-9))
				}
				if (g.to-g.from)*l > sureOf || g.from == 0 && r.tieIn && k == 1 {
					c.most((g.to-g.from)*l, r.id)
					c.fail(r.id, "%s of it, %.3f m along, lie neither in the zone of one of the plan's lots nor in its easements", mm((g.to-g.from)*l), g.from*l)
				}
			}
		}
		for n := range j.s.lots {
			l := &j.s.lots[n]
			named := l.id == r.lot || slices.Contains(r.overLots, l.id)
			if on := j.onLot(l, r.line); on > 2*oneMillimetre && !named {
				c.fail(r.id, "lies %s over lot %s, which it does not name", mm(on), l.id)
			} else if on == 0 && slices.Contains(r.overLots, l.id) {
				c.fail(r.id, "says that it lies over lot %s", l.id)
			}
		}
	}
}

// onLot is the length of a line on a lot.
func (j *judge) onLot(l *lot, line []pt) float64 {
	on := 0.0
	for k := 1; k < len(line); k++ {
		p, q := line[k-1], line[k]
		if l.box.far(boxOf([]pt{p, q}), 0.01) {
			continue
		}
		cuts := []float64{0, 1}
		for _, e := range lotEdges(l) {
			s0, s1 := cross(e.a, e.b, p), cross(e.a, e.b, q)
			if s0 != s1 {
				if t := s0 / (s0 - s1); t > 0 && t < 1 {
					cuts = append(cuts, t)
				}
			}
		}
		sort.Float64s(cuts)
		for m := 1; m < len(cuts); m++ {
			t := (cuts[m] + cuts[m-1]) / 2
			if cuts[m] > cuts[m-1] && j.inLot(l, pt{x: p.x + t*(q.x-p.x), y: p.y + t*(q.y-p.y)}) {
				on += (cuts[m] - cuts[m-1]) * apartBy(p, q)
			}
		}
	}
	return on
}

// brings is what each lot brings to a run: C times area, and stated flow.
func (j *judge) brings(i int) (ca, stated map[string]float64, intakes map[string]int) {
	ca, stated, intakes = map[string]float64{}, map[string]float64{}, map[string]int{}
	seen := map[int]bool{}
	var visit func(n int)
	visit = func(n int) {
		if n < 0 || seen[n] {
			return
		}
		seen[n] = true
		nd := &j.p.nodes[n]
		if k := j.intake(nd.id); k != nil && nd.kind == "intake" {
			intakes[k.lot]++
			a, q := j.bringsAlone(k, j.of(j.p.runs[i].lot))
			ca[k.lot], stated[k.lot] = ca[k.lot]+a, stated[k.lot]+q
		}
		for _, r := range nd.in {
			visit(j.p.runs[r].a)
		}
	}
	visit(j.p.runs[i].a)
	return ca, stated, intakes
}

// bringsAlone is what one intake brings by the criteria c: C times area, and stated flow.
func (j *judge) bringsAlone(k *intake, c *parcels.Criteria) (ca, stated float64) {
	if k.flow != nil {
		return 0, *k.flow
	}
	lo, hi := j.frequency(c)
	one := func(area float64, own *float64, def float64) {
		if own != nil {
			def = *own
		}
		if area > 0 {
			ca += area * min(1, def*(lo+hi)/2)
		}
	}
	one(k.roofArea, k.roofC, c.Runoff.RoofC)
	one(k.yardArea, k.yardC, c.Runoff.YardC)
	return ca, 0
}

// costShares: each run's cost and each lot's part of it: by the part of the flow
// that the lot brings; the parts of a run make one, the parts of the lots the
// whole. A run's cost is no less than its trench and its pipe.
func (j *judge) costShares() {
	c := j.open("cost_shares").bound(0.01)
	p := j.p
	total, known := 0.0, len(p.runs) > 0
	pays := map[string]float64{}
	slack := map[string]float64{}
	for i := range p.runs {
		r := &p.runs[i]
		if r.cost == nil {
			known = false
			continue
		}
		j.leastCost(c, i)
		cost := *r.cost
		if r.b >= 0 && len(p.nodes[r.b].out) == 0 {
			cost += float64(j.of(r.lot).Prices.TieInEach)
		}
		total += cost
		if len(p.shares) == 0 {
			if len(r.shares) > 0 {
				c.fail(r.id, "shares of a cost that nobody shares")
			}
			continue
		}
		sum := 0.0
		for lot, f := range r.shares {
			if !j.chosen(lot) || f < 0 || f > 1+1e-9 {
				c.fail(r.id, "a share of %.4f for lot %q", f, lot)
			}
			sum += f
			pays[lot] += cost * f
			slack[lot] += 0.005 + 2e-6*cost
		}
		if math.Abs(sum-1) > 1e-5*float64(len(r.shares)+1) {
			c.fail(r.id, "shares that sum to %.6f", sum)
		}
		j.fairShares(c, i)
	}
	if known && p.cost != nil && math.Abs(total-*p.cost) > 0.005*float64(len(p.runs)+1)+0.01 {
		c.fail("summary", "cost_index %.2f, the runs and the tie-in make %.2f", *p.cost, total)
	}
	if len(p.shares) == 0 {
		return
	}
	if !known || p.cost == nil {
		c.fail("shares", "shares of a cost that is not known")
		return
	}
	whole := 0.0
	seen := map[string]bool{}
	for _, s := range p.shares {
		if seen[s.lot] || !j.chosen(s.lot) {
			c.fail("shares", "lot %q is not one of the plan's, or stands twice", s.lot)
		}
		seen[s.lot] = true
		whole += s.cost
		off := math.Abs(s.cost - pays[s.lot])
		c.most(off, s.lot)
		if off > slack[s.lot]+0.02 {
			c.fail(s.lot, "pays %.2f, its runs make %.2f", s.cost, pays[s.lot])
		}
		if *p.cost > 0 && math.Abs(s.share - s.cost / *p.cost) > 1e-4 {
			c.fail(s.lot, "share %.4f, its cost is %.4f of the whole", s.share, s.cost / *p.cost)
		}
	}
	if len(seen) != len(p.summary.lots) {
		c.fail("shares", "%d lots pay, the plan has %d", len(seen), len(p.summary.lots))
	}
	if math.Abs(whole-*p.cost) > 0.001 {
		c.fail("shares", "the lots pay %.2f together, the whole costs %.2f", whole, *p.cost)
	}
}

// fairShares works the shares of one run again.
func (j *judge) fairShares(c *check, i int) {
	r := &j.p.runs[i]
	ca, stated, intakes := j.brings(i)
	if len(intakes) == 0 {
		if len(r.shares) != 1 || j.chosen(r.lot) && r.shares[r.lot] == 0 {
			c.fail(r.id, "drains the ground of lot %q alone, and others pay", r.lot)
		}
		return
	}
	lo, hi := j.frequency(j.of(r.lot))
	near := 2e-3
	if hi > lo {
		near = 0.05
	}
	rain := 0.0
	if r.intensity != nil {
		rain = *r.intensity
	} else if v, ok := j.s.rate(float64(j.of(r.lot).Storm.RoofMin), float64(j.of(r.lot).Storm.ReturnYears)); ok {
		rain = v
	}
	by, total := map[string]float64{}, 0.0
	for lot := range intakes {
		q := stated[lot]
		if rain > 0 {
			q += ca[lot] * rain / 3.6e6
		} else if q == 0 {
			q = ca[lot]
		}
		by[lot], total = q, total+q
	}
	if total <= 0 {
		total = 0
		for lot, n := range intakes {
			by[lot], total = float64(n), total+float64(n)
		}
	}
	for lot := range r.shares {
		if _, ok := by[lot]; !ok && r.shares[lot] > 0 {
			c.fail(r.id, "lot %q pays and brings nothing", lot)
		}
	}
	for lot, q := range by {
		if math.Abs(r.shares[lot]-q/total) > near {
			c.fail(r.id, "lot %s has a share of %.4f and brings %.4f of the flow", lot, r.shares[lot], q/total)
		}
	}
}

// leastCost holds a run's cost to what its trench and pipe cost by the criteria;
// a pipe beside another pays for itself only.
func (j *judge) leastCost(c *check, i int) {
	r := &j.p.runs[i]
	pr := j.of(r.lot).Prices
	least := pr.PipePerMPerMM * r.diameter * 1000 * float64(r.count) * r.measured
	alone := true
	for _, t := range j.p.trenches {
		if t.id == r.trench {
			for _, id := range t.runs {
				if k, ok := j.p.runAt[id]; ok && j.p.runs[k].pipe != r.pipe {
					alone = false
				}
			}
		}
	}
	if alone {
		least += pr.TrenchPerM * r.measured
		if r.leastCover != nil {
			least += pr.DepthPerM2 * r.measured * max(0, *r.leastCover)
		}
	}
	if *r.cost < least*(1-1e-6)-0.01 {
		c.fail(r.id, "cost_index %.2f, its trench and pipe alone make %.2f", *r.cost, least)
	}
}

// agreement: whoever's lot carries the water of others is told that the owner
// must agree.
func (j *judge) agreement() {
	c := j.open("owner_permission")
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if len(j.p.shares) == 0 {
			continue
		}
		_, _, from := j.brings(i)
		for n := range j.s.lots {
			l := &j.s.lots[n]
			others := len(from) > 1 || len(from) == 1 && from[l.id] == 0
			if !others || j.onLot(l, r.line) <= 2*oneMillimetre {
				continue
			}
			told := slices.ContainsFunc(j.p.findings, func(f found) bool {
				return f.lot == l.id && f.severity != string(parcels.Note) && strings.Contains(f.code, "permission") && strings.Contains(f.message, r.id)
			})
			if !told && !r.tieIn {
				c.fail(r.id, "carries others' water over lot %s, and no finding asks its owner's permission", l.id)
			}
		}
	}
}

// endOf is the outlet that a run's water comes to; "": none.
func (j *judge) endOf(i int) string {
	for range j.p.runs {
		b := j.p.runs[i].b
		if b < 0 {
			return ""
		}
		if len(j.p.nodes[b].out) == 0 {
			return j.p.nodes[b].id
		}
		i = j.p.nodes[b].out[0]
	}
	return ""
}

// sharers are the lots that share the trunk to an outlet, in the plan's order.
func (j *judge) sharers(outlet string) (out []string) {
	for _, id := range j.p.summary.lots {
		if slices.ContainsFunc(j.p.shares, func(s share) bool { return s.lot == id && s.outlet == outlet }) {
			out = append(out, id)
		}
	}
	return out
}

// trunksApart: where lots are divided among outlets, all water of a lot goes to the
// one that it is said to share, and no trench of one trunk meets that of another.
func (j *judge) trunksApart() {
	c := j.open("trunks_apart")
	if len(j.p.shares) == 0 {
		return
	}
	said := map[string]string{}
	for _, s := range j.p.shares {
		said[s.lot] = s.outlet
	}
	drains := map[string]bool{}
	ends := make([]string, len(j.p.runs))
	for i := range j.p.runs {
		r := &j.p.runs[i]
		ends[i] = j.endOf(i)
		if r.a < 0 || j.p.nodes[r.a].kind != "intake" {
			continue
		}
		if k := j.intake(r.from); k != nil {
			drains[k.lot] = true
			if said[k.lot] != ends[i] {
				c.fail(k.lot, "shares the trunk to %q, and the water of %s goes to %q", said[k.lot], r.from, ends[i])
			}
		}
	}
	for _, s := range j.p.shares {
		if s.outlet == "" && s.cost != 0 || s.outlet == "" && drains[s.lot] {
			c.fail(s.lot, "pays or drains, and shares the trunk to no outlet")
		}
	}
	// by their western ends, so that each is held to those alone that reach as far
	order := make([]int, 0, len(j.p.runs))
	boxes := make([]box, len(j.p.runs))
	widest := 0.0
	for i := range j.p.runs {
		if boxes[i] = boxOf(j.p.runs[i].line); ends[i] != "" {
			order = append(order, i)
			widest = max(widest, j.p.runs[i].width)
		}
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(boxes[a].x0, boxes[b].x0), a-b) })
	for at, i := range order {
		for _, k := range order[at+1:] {
			if boxes[k].x0 > boxes[i].x1+widest {
				break
			}
			a, b := &j.p.runs[i], &j.p.runs[k]
			room := (a.width + b.width) / 2
			if ends[i] == ends[k] || boxes[i].far(boxes[k], room) {
				continue
			}
			for m := 1; m < len(a.line); m++ {
				for n := 1; n < len(b.line); n++ {
					if d := segmentsApart(a.line[m-1], a.line[m], b.line[n-1], b.line[n]); d < room {
						c.most(room-d, a.id)
						c.fail(a.id, "its trench, to %s, lies %s into that of %s, to %s", ends[i], mm(room-d), b.id, ends[k])
					}
				}
			}
		}
	}
}

// segmentsApart is the distance of two straight lines; 0 where they cross.
func segmentsApart(p, q, u, v pt) float64 {
	if cross(p, q, u)*cross(p, q, v) < 0 && cross(u, v, p)*cross(u, v, q) < 0 {
		return 0
	}
	return min(fromSegment(p, u, v), fromSegment(q, u, v), fromSegment(u, p, q), fromSegment(v, p, q))
}
