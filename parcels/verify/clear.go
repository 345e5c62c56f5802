package verify

// Where the trench lies: in its lot, clear of lines, walls and obstacles.

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"fallwright/parcels"
)

// zoneWords are those by which a stop's code may tell that a trench lies where
// it may not.
var zoneWords = []string{"zone", "clearance", "forbidden", "too_close"}

// clears says whether the line keeps the sum of the terms from the thing, its own
// reach added, and gives the distance from the thing's edge in float64 (0 inside).
func (j *judge) clears(t *thing, line []pt, bb box, terms ...float64) (ok bool, least float64) {
	about := t.grow.m + 1
	for _, v := range terms {
		about += v
	}
	if t.box.far(bb, about) {
		return true, math.Inf(1)
	}
	l := sum(slices.Concat(terms, t.grow.terms)...)
	p := j.s.plane
	ok, least = true, math.Inf(1)
	hold := func(a, b, c, d pt) {
		if spanOf(c, d).far(spanOf(a, b), max(least, l.m)+t.grow.m+1) {
			return // no nearer than what is found, and clear
		}
		f := between(a, b, c, d)
		least = min(least, f-t.grow.m)
		if t.inexact {
			ok = ok && f >= l.m+1e-6
		} else {
			ok = ok && p.apartAt(f, a, b, c, d, l)
		}
	}
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		for _, g := range t.polys {
			for _, r := range g.rings {
				for k := range r {
					hold(a, b, r[k], r[(k+1)%len(r)])
				}
			}
		}
		for _, q := range t.lines {
			for k := 1; k < len(q); k++ {
				hold(a, b, q[k-1], q[k])
			}
		}
		for _, q := range t.points {
			hold(a, b, q, q)
		}
	}
	for _, g := range t.polys {
		if p.where(g, line[0]) != outside {
			ok, least = false, min(least, 0)
		}
	}
	return ok, least
}

func boxOf(line []pt) box {
	b := emptyBox()
	for _, p := range line {
		b.add(p)
	}
	return b
}

// edgeLimits gives for each edge of a lot the clearance of the trench edge, in
// the order of lotEdges; guessed says that roles were not given and the
// criteria need them, and most is then what the strictest role would ask.
func (j *judge) edgeLimits(l *lot) (lims []limit, guessed bool, most float64) {
	e, ok := j.edges[l]
	if !ok {
		e.lims, e.guessed, e.most = j.workEdgeLimits(l)
		if j.edges == nil {
			j.edges = map[*lot]edgesOf{}
		}
		j.edges[l] = e
	}
	return e.lims, e.guessed, e.most
}

// edgesOf is what edgeLimits gives for a lot; nobody writes to it.
type edgesOf struct {
	lims    []limit
	guessed bool
	most    float64
}

func (j *judge) workEdgeLimits(l *lot) (lims []limit, guessed bool, most float64) {
	cl := j.of(l.id).Clearance
	role := func(r string) limit {
		d := float64(cl.LotLine)
		switch {
		case r == "front" && cl.Front != nil:
			d = float64(*cl.Front)
		case r == "side" && cl.Side != nil:
			d = float64(*cl.Side)
		case r == "rear" && cl.Rear != nil:
			d = float64(*cl.Rear)
		}
		return sum(d, float64(cl.LineMargin))
	}
	facing, looked := []bool(nil), false
	faces := func() []bool { // where the lot's own roles do not say
		if !looked {
			facing, looked = j.facing(l), true
		}
		return facing
	}
	low := role("front")
	for _, r := range []string{"side", "rear"} {
		if x := role(r); x.m < low.m {
			low = x
		}
		most = max(most, role(r).m)
	}
	most = max(most, role("front").m)
	first := true
	for _, g := range l.pieces {
		for _, r := range g.rings {
			for k := range r {
				switch {
				case l.clearance != nil:
					lims = append(lims, sum(*l.clearance))
				case first && len(l.roles) == len(r):
					lims = append(lims, role(l.roles[k]))
				case first && len(l.roles) == 1:
					lims = append(lims, role(l.roles[0]))
				case first && faces() != nil && faces()[k]:
					lims = append(lims, role("front"))
				case first:
					lims = append(lims, low)
					guessed = guessed || most > low.m && faces() == nil
				default:
					lims = append(lims, low)
				}
			}
			first = false
		}
	}
	return lims, guessed, most
}

// facing says for each edge of the outer ring whether it plainly lies along a
// street area of the document; nil where no street is by the lot, so that the
// front is anybody's guess.
func (j *judge) facing(l *lot) []bool {
	const along, by, centre = 1.0, 3.0, 25.0 // metres
	ring := l.pieces[0].rings[0]
	out := make([]bool, len(ring))
	any := false
	for i := range j.s.streets {
		t := &j.s.streets[i]
		if t.box.far(l.box, centre) {
			continue
		}
		for k := range ring {
			a, b := ring[k], ring[(k+1)%len(ring)]
			n := 0
			for _, f := range []float64{0.15, 0.325, 0.5, 0.675, 0.85} {
				q := pt{x: a.x + f*(b.x-a.x), y: a.y + f*(b.y-a.y)}
				d := math.Inf(1)
				for _, g := range t.polys {
					for _, r := range g.rings {
						for m := range r {
							d = min(d, fromSegment(q, r[m], r[(m+1)%len(r)]))
						}
					}
				}
				for _, g := range t.polys { // by an outline it is by the street, whichever side it stands
					if d > along && j.s.plane.where(g, q) != outside {
						d = 0
					}
				}
				for _, c := range t.lines {
					for m := 1; m < len(c); m++ {
						any = any || fromSegment(q, c[m-1], c[m]) <= centre
					}
				}
				any = any || d <= by
				if d <= along {
					n++
				}
			}
			out[k] = out[k] || n == 5
		}
	}
	if !any {
		return nil
	}
	return out
}

func lotEdges(l *lot) []edge {
	var out []edge
	for _, g := range l.pieces {
		for _, r := range g.rings {
			for k := range r {
				out = append(out, edge{r[k], r[(k+1)%len(r)]})
			}
		}
	}
	return out
}

// home finds the lot a run says it lies in.
func (j *judge) home(r *run) *lot {
	if r.lot != "" {
		return j.s.lot(r.lot)
	}
	for i := range j.s.lots {
		l := &j.s.lots[i]
		if j.chosen(l.id) && j.inLot(l, r.line[0]) {
			return l
		}
	}
	return nil
}

func (j *judge) inLot(l *lot, p pt) bool {
	for _, g := range l.pieces {
		if j.s.plane.where(g, p) == insideP {
			return true
		}
	}
	return false
}

func (j *judge) inOrOn(l *lot, p pt) bool {
	for _, g := range l.pieces {
		if j.s.plane.where(g, p) != outside {
			return true
		}
	}
	return false
}

// digNames are those by which a finding may name the trench of a run: any run
// in it will do.
func (j *judge) digNames(r *run) []string {
	out := r.names()
	for _, t := range j.p.trenches {
		if t.id == r.trench {
			out = append(out, t.runs...)
		}
	}
	return out
}

// asDrawn says whether a run lies where the document itself draws a perforated
// one (a solid pipe may lie beside it in one trench): it is shown there, wrong or
// not.
func (j *judge) asDrawn(r *run) bool {
	for _, t := range j.s.perforated {
		on := true
		for _, p := range r.line {
			d := math.Inf(1)
			for _, l := range t.lines {
				for k := 1; k < len(l); k++ {
					d = min(d, fromSegment(p, l[k-1], l[k]))
				}
			}
			on = on && d <= 2*samePlace
		}
		if on {
			return true
		}
	}
	return false
}

// insideLot: the trench, edge to edge, never leaves the lot. Exact, and never
// excused but for a perforated run that the document draws so and a stop names.
func (j *judge) insideLot() {
	c := j.open("inside_lot").bound(0)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		l := j.home(r)
		if l == nil && r.lot == "" && len(r.easements) > 0 {
			continue // ground of no lot: (*judge).easementRuns holds it to be of none
		}
		if l == nil {
			c.fail(r.id, "lot %q is not in the site", r.lot)
			continue
		}
		if len(r.easements) > 0 {
			continue // (*judge).easementRuns
		}
		if !j.chosen(l.id) {
			c.fail(r.id, "lies in lot %q, which is not one of the plan's", l.id)
			continue
		}
		if r.tieIn {
			continue
		}
		if !j.inLot(l, r.line[0]) && !(j.asDrawn(r) && j.told(j.digNames(r), zoneWords)) {
			c.fail(r.id, "starts outside lot %s", l.id)
			continue
		}
		w := half(r.width)
		for _, e := range lotEdges(l) {
			for k := 1; k < len(r.line); k++ {
				c.least(between(r.line[k-1], r.line[k], e.a, e.b)-w.m, r.id)
				if !j.s.plane.apart(r.line[k-1], r.line[k], e.a, e.b, w) {
					if j.asDrawn(r) && j.told(j.digNames(r), zoneWords) {
						c.told++
						continue
					}
					c.fail(r.id, "the trench leaves lot %s by %s", l.id, mm(w.m-between(r.line[k-1], r.line[k], e.a, e.b)))
				}
			}
		}
	}
}

// lotLine: each edge's clearance, to the edge of the trench. Exact.
func (j *judge) lotLine() {
	c := j.open("lot_line_clearance")
	guessedFor := map[string]bool{}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		l := j.home(r)
		if l == nil || len(r.easements) > 0 {
			continue
		}
		lims, guessed, most := j.edgeLimits(l)
		if len(l.roles) > 1 && len(l.roles) != len(l.pieces[0].rings[0]) {
			c.fail(l.id, "%d line roles for %d edges", len(l.roles), len(l.pieces[0].rings[0]))
		}
		line := r.line
		if r.tieIn {
			line = line[:1] // it starts in the zone and may leave it
		}
		own := math.Inf(1)
		for n, e := range lotEdges(l) {
			lim := lims[n].plus(half(r.width).terms...)
			for k := range line {
				a, b := line[max(k-1, 0)], line[k]
				if k == 0 && len(line) > 1 {
					continue
				}
				d := between(a, b, e.a, e.b) - r.width/2
				own = min(own, d)
				c.least(d-lims[n].m, r.id)
				if guessed && d < most && !guessedFor[l.id] {
					guessedFor[l.id] = true
				}
				if !j.s.plane.apart(a, b, e.a, e.b, lim) {
					c.broken(j.digNames(r), zoneWords, "the trench edge is %s from a line of lot %s, %s is asked", mm(d), l.id, mm(lims[n].m))
				}
			}
		}
		j.twiceHeld(c, r, l, line, lims)
		if r.leastClearance == nil && !r.tieIn {
			c.fail(r.id, "no least_clearance_m")
		}
		if r.leastClearance != nil && !r.tieIn && j.inLot(l, r.line[0]) && j.inLot(l, r.line[len(r.line)-1]) {
			if math.Abs(*r.leastClearance-own) > 0.002 {
				c.fail(r.id, "least_clearance_m says %s, the trench edge is %s from the line", mm(*r.leastClearance), mm(own))
			}
		}
	}
	for id := range guessedFor {
		if !j.says(id, "role") {
			c.fail(id, "closer than the strictest role asks, the roles are not given, and no finding says that they were guessed")
		}
	}
	c.bound(0)
	c.note = "worst and limit are what is left over the clearance asked for"
}

// drawnTwice is what two drawings of one lot line may differ by.
const drawnTwice = 0.005

// twiceHeld: where another lot's outline takes ground of the lot too, the
// clearance counts from that outline. A lot that only adjoins is no nearer than
// the line it shares.
func (j *judge) twiceHeld(c *check, r *run, l *lot, line []pt, lims []limit) {
	least := math.Inf(1)
	for _, m := range lims {
		least = min(least, m.m)
	}
	about := emptyBox()
	for _, p := range line {
		about.add(p)
	}
	for i := range j.s.lots {
		m := &j.s.lots[i]
		if m.id == l.id || about.far(m.box, least+r.width) || j.holds(m, l, 2*drawnTwice) {
			continue // whose the ground of a lot within another is, no line tells: the plan must say so
		}
		if j.inLot(m, line[0]) {
			c.broken(j.digNames(r), zoneWords, "starts in ground of lot %s that lot %s takes too", l.id, m.id)
		}
		for _, e := range lotEdges(m) {
			for k := 1; k < len(line); k++ {
				if d := between(line[k-1], line[k], e.a, e.b) - r.width/2; d < least-drawnTwice {
					c.broken(j.digNames(r), zoneWords, "the trench edge is %s from lot %s, whose outline takes ground of lot %s, %s is asked", mm(d), m.id, l.id, mm(least))
				}
			}
		}
	}
}

// says looks for a finding about the lot (or about none) whose code or message
// holds the word.
func (j *judge) says(lot string, word string) bool {
	for _, f := range j.p.findings {
		if (f.lot == lot || f.lot == "" || f.feature == lot) && (strings.Contains(strings.ToLower(f.code), word) || strings.Contains(strings.ToLower(f.message), word)) {
			return true
		}
	}
	return false
}

func (j *judge) foundationLimit(r *run) float64 {
	if r.pipe == "perforated" {
		return float64(j.of(r.lot).Clearance.FoundationPerforated)
	}
	return float64(j.of(r.lot).Clearance.Foundation)
}

// foundation: the clearance to every building, by the kind of pipe. Exact but
// for a wall behind a roof outline.
func (j *judge) foundation() {
	c := j.open("foundation_clearance").bound(0)
	c.note = "worst and limit are what is left over the clearance asked for"
	for i := range j.p.runs {
		r := &j.p.runs[i]
		ask, line := j.foundationLimit(r), r.line
		bb := boxOf(r.line)
		if r.leadOff { // its end must be clear of every wall
			end := line[len(line)-1]
			line = []pt{end, end}
		}
		if r.tieIn { // it may leave the zone, and never meets a wall
			ask, line = 0, r.trimmed()
		}
		for k := range j.s.buildings {
			t := &j.s.buildings[k]
			ok, d := j.clears(t, line, bb, r.width/2, ask)
			c.least(d-r.width/2-ask, r.id)
			if !ok {
				c.broken(j.digNames(r), zoneWords, "the trench edge is %s from building %s, %s is asked", mm(d-r.width/2), t.id, mm(ask))
			}
		}
	}
}

// forbiddenGround: no trench in an easement, a street or a district where it is
// forbidden. Exact.
func (j *judge) forbiddenGround() {
	c := j.open("forbidden_ground").bound(0)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		bb := boxOf(r.line)
		for _, ts := range [][]thing{j.s.easements, j.s.streets} {
			for k := range ts {
				t := &ts[k]
				if t.rule != "forbidden" {
					continue
				}
				line := r.line
				if r.tieIn {
					line = r.trimmed() // beside the structure the pipe's middle counts: (*judge).tieIn
				}
				ok, d := j.clears(t, line, bb, r.width/2)
				c.least(d-r.width/2, r.id)
				if !ok {
					c.broken(j.digNames(r), zoneWords, "the trench reaches into %s (%s), where a trench is forbidden", t.id, t.kind)
				}
			}
		}
	}
}

// obstacles: what must not be crossed, its clear space added. Exact.
func (j *judge) obstacles() {
	c := j.open("obstacle_clearance").bound(0)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		bb, line := boxOf(r.line), r.line
		if r.tieIn {
			line = r.trimmed()
		}
		for k := range j.s.obstacles {
			t := &j.s.obstacles[k]
			if t.rule != "forbidden" {
				continue
			}
			keep := t.keep
			if r.tieIn {
				keep = 0
			}
			ok, d := j.clears(t, line, bb, r.width/2, keep)
			c.least(d-r.width/2-keep, r.id)
			if !ok {
				c.broken(j.digNames(r), zoneWords, "the trench edge is %s from %s %s, %s is to be kept", mm(d-r.width/2), t.kind, t.id, mm(keep))
			}
		}
	}
}

// in says whether p lies in the thing's area; on the edge counts as in.
func (j *judge) in(t *thing, p pt) bool {
	for _, g := range t.polys {
		if j.s.plane.where(g, p) != outside {
			return true
		}
	}
	if t.grow.m > 0 {
		for _, l := range t.lines {
			for k := 1; k < len(l); k++ {
				if fromSegment(p, l[k-1], l[k]) <= t.grow.m {
					return true
				}
			}
		}
	}
	return false
}

// trimmed is a last run without the last half width, which is the structure's,
// and 2 mm for the arc about it.
func (r *run) trimmed() []pt {
	a, b := r.line[len(r.line)-2], r.line[len(r.line)-1]
	l := apartBy(a, b)
	back := min(r.width/2+0.003, l)
	out := append([]pt(nil), r.line[:len(r.line)-1]...)
	if l > 0 {
		b = pt{x: b.x - (b.x-a.x)/l*back, y: b.y - (b.y-a.y)/l*back}
	}
	return append(out, b)
}

// tieIn: the last run, and the one that may leave the lot: straight, two
// points, within reach, and only over the own lot or over easement, street or
// nobody's parcel where a trench may lie. Looked at along its middle and both
// edges, crossing by crossing; the last half width beside the structure itself
// is the structure's.
func (j *judge) tieIn() {
	c := j.open("tie_in_run").bound(float64(j.c.TieIn.Reach))
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.tieIn {
			continue
		}
		if r.leadOff {
			c.fail(r.id, "first run and last run at once")
		}
		if len(r.line) != 2 {
			c.fail(r.id, "%d points, a last run is straight and has two", len(r.line))
			continue
		}
		a, b := r.line[0], r.line[1]
		c.most(r.measured, r.id)
		if r.b >= 0 {
			if n := &j.p.nodes[r.b]; len(n.out) > 0 || n.kind != "inlet" && n.kind != "outlet" {
				c.fail(r.id, "ends at %s %s: only the last run may leave the trench zone", n.kind, n.id)
			}
		}
		if !j.s.plane.noLonger(a, b, sum(float64(j.of(r.lot).TieIn.Reach))) {
			c.broken([]string{r.id}, []string{"reach"}, "%s long, reach is %s", mm(r.measured), mm(float64(j.of(r.lot).TieIn.Reach)))
		}
		l := j.home(r)
		if l == nil || r.measured == 0 {
			continue
		}
		if !j.inLot(l, a) && len(r.easements) == 0 {
			c.fail(r.id, "starts outside lot %s", l.id)
		}
		ux, uy := (b.x-a.x)/r.measured, (b.y-a.y)/r.measured
		h := r.width / 2
		for _, side := range []float64{0, -1, 1} {
			p := pt{x: a.x - uy*h*side, y: a.y + ux*h*side}
			q := pt{x: b.x - uy*h*side, y: b.y + ux*h*side}
			if side != 0 {
				back := min(h, r.measured)
				q.x, q.y = q.x-ux*back, q.y-uy*back
			}
			if at, bad := j.trespass(l, p, q); bad != "" {
				c.fail(r.id, "runs over %s at %.3f, %.3f of the plane", bad, at.x, at.y)
				break
			}
		}
	}
}

// trespass looks along p-q for a place where the trench may not lie.
func (j *judge) trespass(own *lot, p, q pt) (at pt, what string) {
	bb := boxOf([]pt{p, q})
	cuts := []float64{0, 1}
	cut := func(gs []poly) {
		for _, g := range gs {
			if g.box.far(bb, 0.01) {
				continue
			}
			for _, r := range g.rings {
				for k := range r {
					u, v := r[k], r[(k+1)%len(r)]
					s0, s1 := cross(u, v, p), cross(u, v, q)
					if s0 != s1 {
						if t := s0 / (s0 - s1); t > 0 && t < 1 {
							cuts = append(cuts, t)
						}
					}
				}
			}
		}
	}
	var others []*lot
	for i := range j.s.lots {
		l := &j.s.lots[i]
		if !l.box.far(bb, 0.01) {
			cut(l.pieces)
			if l.id != own.id && !(len(j.p.shares) > 0 && j.chosen(l.id)) { // who shares the trunk lets it lie
				others = append(others, l)
			}
		}
	}
	var may []*thing
	for _, ts := range [][]thing{j.s.easements, j.s.streets} {
		for k := range ts {
			if t := &ts[k]; (t.rule == "allowed" || t.rule == "permission") && !t.box.far(bb, t.grow.m+0.01) {
				may = append(may, t)
				cut(t.polys)
				if len(t.lines) > 0 {
					for s := 0.005; s < 1; s += 0.005 {
						cuts = append(cuts, s) // a band's edge is round: looked at every half per cent
					}
				}
			}
		}
	}
	sort.Float64s(cuts)
	length := math.Hypot(q.x-p.x, q.y-p.y)
	for i := 1; i < len(cuts); i++ {
		if (cuts[i]-cuts[i-1])*length < 1e-6 {
			continue
		}
		t := (cuts[i] + cuts[i-1]) / 2
		m := pt{x: p.x + t*(q.x-p.x), y: p.y + t*(q.y-p.y)}
		if j.inLot(own, m) {
			continue
		}
		allowed := false
		for _, t := range may {
			allowed = allowed || j.in(t, m)
		}
		if allowed {
			continue
		}
		for _, l := range others {
			if j.inLot(l, m) {
				return m, fmt.Sprintf("lot %s outside an easement", l.id)
			}
		}
		// nobody's land is street where the document draws none
		if j.s.supplied["streets"] && !j.inOrOn(own, m) {
			return m, "land that is neither the owner's, nor an easement or street where a trench may lie"
		}
	}
	return pt{}, ""
}

// leadSlack is how much longer than the shortest way a first run may be. The
// zone may have been made for pipes three sizes larger than came out in the end:
// half of what the trench is then wider, 25 mm a size. Beside that the planner keeps 1 mm in
// hand and may take an arc up to 1 mm further out, in an inner corner on two
// walls at once.
const leadSlack = 0.100

// leadOff: the first run through the foundation zone: from a downspout, straight,
// by the shortest way to a place where a trench may lie.
func (j *judge) leadOff() {
	c := j.open("lead_off_run").bound(leadSlack)
	c.note = "worst is the length beyond the shortest way out"
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.leadOff {
			continue
		}
		k := j.intake(r.from)
		if k == nil || k.kind != "downspout" {
			c.fail(r.id, "starts at %q, which is no downspout", r.from)
			continue
		}
		if len(r.line) != 2 {
			c.fail(r.id, "%d points, a first run is straight and has two", len(r.line))
			continue
		}
		if r.a >= 0 && len(j.p.nodes[r.a].in) > 0 {
			c.fail(r.id, "others run into %s: it is no first run", r.from)
		}
		l := j.home(r)
		if l == nil {
			continue
		}
		// A lot's trenches are laid in the zone of its widest one, so that is the
		// zone the first run has to reach.
		wide := *r
		laid := false
		for k := range j.p.runs {
			if o := &j.p.runs[k]; o.lot == r.lot && len(o.easements) == 0 {
				wide.width = max(wide.width, o.width)
			}
			laid = laid || j.p.runs[k].pipe == "perforated"
		}
		if n := j.s.perfCount; n > 0 && !laid {
			// What was asked for found no way into a zone made for its pipes beside
			// the solid one, 3 in from each wall and 1 in apart (P-115).
			wide.width = max(wide.width, (n+1)*r.outside+(6+n)*inch)
		}
		short := j.shortestOut(l, &wide)
		c.most(r.measured-short, r.id)
		if r.measured > short+leadSlack {
			c.fail(r.id, "%s long, %s clears the foundation zone", mm(r.measured), mm(short))
		}
	}
}

// shortestOut is the length of the shortest straight way from the start of r to
// a place that keeps every clearance, or r's own length if none shorter exists.
// Such a place is the start itself, the nearest place at its distance from one
// edge or corner, or one at its distance from two.
func (j *judge) shortestOut(l *lot, r *run) float64 {
	p := r.line[0]
	type part struct {
		a, b pt
		r    float64
		wall bool
	}
	var parts []part
	reach := func(a, b pt, d float64) bool { return fromSegment(p, a, b) <= r.measured+d }
	add := func(t *thing, d float64, wall bool) {
		d += t.grow.m + r.width/2
		for _, g := range t.polys {
			for _, ring := range g.rings {
				for k := range ring {
					if e := (part{ring[k], ring[(k+1)%len(ring)], d, wall}); reach(e.a, e.b, d) {
						parts = append(parts, e)
					}
				}
			}
		}
		for _, q := range t.lines {
			for k := 1; k < len(q); k++ {
				if reach(q[k-1], q[k], d) {
					parts = append(parts, part{q[k-1], q[k], d, false})
				}
			}
		}
		for _, q := range t.points {
			if reach(q, q, d) {
				parts = append(parts, part{q, q, d, false})
			}
		}
	}
	for k := range j.s.buildings {
		add(&j.s.buildings[k], j.foundationLimit(r), true)
	}
	for _, ts := range [][]thing{j.s.easements, j.s.streets} {
		for k := range ts {
			if ts[k].rule == "forbidden" {
				add(&ts[k], 0, false)
			}
		}
	}
	for k := range j.s.obstacles {
		if t := &j.s.obstacles[k]; t.rule == "forbidden" {
			add(t, t.keep, false)
		}
	}
	lims, _, _ := j.edgeLimits(l)
	least := math.Inf(1)
	for n, e := range lotEdges(l) {
		least = min(least, lims[n].m)
		if d := lims[n].m + r.width/2; reach(e.a, e.b, d) {
			parts = append(parts, part{e.a, e.b, d, false})
		}
	}
	var others []*lot // near enough that ground which they take too counts: see twiceHeld
	for i := range j.s.lots {
		m := &j.s.lots[i]
		d := least - drawnTwice + r.width/2
		if m.id == l.id || m.box.far(box{p.x, p.y, p.x, p.y}, r.measured+d) || j.holds(m, l, 2*drawnTwice) {
			continue
		}
		others = append(others, m)
		for _, e := range lotEdges(m) {
			if reach(e.a, e.b, d) {
				parts = append(parts, part{e.a, e.b, d, false})
			}
		}
	}
	best := r.measured
	try := func(x, y float64) {
		q := pt{x: x, y: y}
		d := math.Hypot(q.x-p.x, q.y-p.y)
		if d >= best-1e-9 {
			return
		}
		for _, e := range parts {
			if fromSegment(q, e.a, e.b) < e.r-1e-6 {
				return
			}
		}
		if !j.inLot(l, q) || slices.ContainsFunc(others, func(m *lot) bool { return j.inLot(m, q) }) {
			return
		}
		for k := range j.s.buildings {
			if j.in(&j.s.buildings[k], q) {
				return
			}
		}
		// the way there must not pass a wall, but for the one it stands at
		for _, e := range parts {
			s0, s1 := cross(e.a, e.b, p), cross(e.a, e.b, q)
			t0, t1 := cross(p, q, e.a), cross(p, q, e.b)
			if (s0 > 0) != (s1 > 0) && (t0 > 0) != (t1 > 0) && s0 != s1 {
				if t := s0 / (s0 - s1); !e.wall || t*d > 0.3 {
					return
				}
			}
		}
		best = d
	}
	try(p.x, p.y)
	type line struct{ x, y, dx, dy, len float64 }
	type disc struct{ x, y, r float64 }
	var ls []line
	var ds []disc
	for _, e := range parts {
		if n := math.Hypot(e.b.x-e.a.x, e.b.y-e.a.y); n > 0 {
			dx, dy := (e.b.x-e.a.x)/n, (e.b.y-e.a.y)/n
			for _, s := range []float64{1, -1} {
				ls = append(ls, line{e.a.x - dy*e.r*s, e.a.y + dx*e.r*s, dx, dy, n})
			}
		}
		ds = append(ds, disc{e.a.x, e.a.y, e.r}, disc{e.b.x, e.b.y, e.r})
	}
	for _, u := range ls {
		t := (p.x-u.x)*u.dx + (p.y-u.y)*u.dy
		try(u.x+t*u.dx, u.y+t*u.dy)
	}
	for _, d := range ds {
		if n := math.Hypot(p.x-d.x, p.y-d.y); n > 0 {
			try(d.x+(p.x-d.x)/n*d.r, d.y+(p.y-d.y)/n*d.r)
		}
	}
	if len(ls) > 400 {
		ls = ls[:400]
	}
	for i, u := range ls {
		for _, v := range ls[:i] {
			if den := u.dx*v.dy - u.dy*v.dx; math.Abs(den) > 1e-9 {
				t := ((v.x-u.x)*v.dy - (v.y-u.y)*v.dx) / den
				try(u.x+t*u.dx, u.y+t*u.dy)
			}
		}
		for _, d := range ds[:min(len(ds), 400)] {
			t := (d.x-u.x)*u.dx + (d.y-u.y)*u.dy
			ox, oy := u.x+t*u.dx-d.x, u.y+t*u.dy-d.y
			if h := d.r*d.r - ox*ox - oy*oy; h >= 0 {
				h = math.Sqrt(h)
				try(u.x+(t-h)*u.dx, u.y+(t-h)*u.dy)
				try(u.x+(t+h)*u.dx, u.y+(t+h)*u.dy)
			}
		}
	}
	for i, d := range ds[:min(len(ds), 400)] {
		for _, e := range ds[:i] {
			dx, dy := e.x-d.x, e.y-d.y
			n := math.Hypot(dx, dy)
			if n == 0 || n > d.r+e.r {
				continue
			}
			a := (n*n + d.r*d.r - e.r*e.r) / (2 * n)
			if h := d.r*d.r - a*a; h >= 0 {
				h = math.Sqrt(h)
				for _, s := range []float64{1, -1} {
					try(d.x+(a*dx-s*h*dy)/n, d.y+(a*dy+s*h*dx)/n)
				}
			}
		}
	}
	return best
}

// permission: what needs somebody's leave is told, run by run.
func (j *judge) permission() {
	c := j.open("permission")
	needs := func(why string, names ...string) {
		for _, f := range j.p.findings {
			if f.severity != string(parcels.Note) && slices.Contains(names, f.feature) &&
				(strings.Contains(f.code, "permission") || strings.Contains(strings.ToLower(f.message), "permission")) {
				return
			}
		}
		c.fail(names[0], "%s, and no finding that names it asks for permission", why)
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.tieIn {
			needs("ties in", r.id, r.to)
		}
		bb := boxOf(r.line)
		for _, ts := range [][]thing{j.s.easements, j.s.streets} {
			for k := range ts {
				if t := &ts[k]; t.rule == "permission" && t.areaLike {
					if ok, d := j.clears(t, r.line, bb, r.width/2); !ok && d < r.width/2-1e-3 {
						needs("reaches into "+t.kind+" "+t.id, r.id)
					}
				}
			}
		}
	}
}
