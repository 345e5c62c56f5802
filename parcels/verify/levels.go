package verify

// Lengths, falls, inverts, cover and depth, and the profiles that tell them.

import (
	"math"
	"slices"
	"strings"
)

const (
	oneMillimetre = 0.001
	// levelRounding is what writing two levels to a tenth of a millimetre does to
	// their difference.
	levelRounding = 2e-4
	// fallRounding is what writing a fall to whole millimetres does.
	fallRounding = 0.6e-3
)

// lengths: each run is as long as its line in the plane.
func (j *judge) lengths() {
	c := j.open("lengths").bound(oneMillimetre)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		slack := oneMillimetre + 1e-4*float64(len(r.line))
		c.most(math.Abs(r.length-r.measured), r.id)
		if !(math.Abs(r.length-r.measured) <= slack) {
			c.fail(r.id, "length_m says %s, the line is %s", mm(r.length), mm(r.measured))
		}
	}
}

// falls: fall and slope follow from the inverts and the length.
func (j *judge) falls() {
	c := j.open("falls").bound(fallRounding)
	unknown := 0
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.levels {
			if unknown++; j.p.summary.verdict == "feasible" {
				c.fail(r.id, "no levels in a plan that is called feasible")
			}
			continue
		}
		fall := r.up - r.down
		c.most(math.Abs(r.fall-fall), r.id)
		if !(math.Abs(r.fall-fall) <= fallRounding) {
			c.fail(r.id, "fall_m says %s, the inverts differ by %s", mm(r.fall), mm(fall))
		}
		if !(math.Abs(r.slope-fall/r.measured) <= 2e-6+fallRounding/r.measured) {
			c.fail(r.id, "slope says %.6f, fall over length is %.6f", r.slope, fall/r.measured)
		}
	}
	if unknown > 0 && unknown < len(j.p.runs) {
		c.fail("network", "%d of %d runs have no levels", unknown, len(j.p.runs))
	}
}

// slopes: every run falls, by the least slope or more.
func (j *judge) slopes() {
	least := float64(j.c.Pipe.LeastSlope)
	c := j.open("least_slope").bound(least)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.levels {
			continue
		}
		least := float64(j.of(r.lot).Pipe.LeastSlope)
		fall := r.up - r.down
		c.least(fall/r.measured, r.id)
		if !(fall > 0) {
			c.broken(r.names(), []string{"slope"}, "does not fall: %s over %s", mm(fall), mm(r.measured))
		} else if fall < least*r.measured-levelRounding {
			c.broken(r.names(), []string{"slope"}, "slope %.5f, %.5f is asked", fall/r.measured, least)
		}
	}
}

// fallChance: how likely a run is to be laid flatter than the least slope. The
// levels of its ends err by a shot and by laying each, all independent:
//
//	sd = sqrt(2 (shot^2 + laying^2))   chance = (1 + erf((least L - fall)/(sd sqrt 2)))/2
//
// laying 0 of a run that lies already. Of a shared drain the strictest least
// slope of its lots holds.
func (j *judge) fallChance() {
	c := j.open("fall_chance").bound(1e-3)
	c.note = "worst and limit are of the chance"
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.levels {
			continue
		}
		if r.chance == nil || r.fallSD == nil {
			c.fail(r.id, "no chance_under_least_fall or no fall_sd_m, and its inverts are known")
			continue
		}
		rules := j.of(r.lot)
		least, laying := float64(rules.Pipe.LeastSlope), float64(rules.Ground.LayingSD)
		if len(j.p.shares) > 0 {
			for _, lot := range j.sharers(j.endOf(i)) {
				least = max(least, float64(j.of(lot).Pipe.LeastSlope))
			}
		}
		if r.laid {
			laying = 0
		}
		sd := math.Sqrt(2 * (float64(rules.Ground.ShotSD)*float64(rules.Ground.ShotSD) + laying*laying))
		if !(math.Abs(*r.fallSD-sd) <= 1e-4) {
			c.fail(r.id, "fall_sd_m says %.4f, shots and laying give %.4f", *r.fallSD, sd)
		}
		short := least*r.measured - (r.up - r.down)
		want := 0.0
		if sd > 0 {
			want = (1 + math.Erf(short/sd/math.Sqrt2)) / 2
		} else if short > 0 {
			want = 1
		}
		// the inverts are written to the millimetre, so that the fall may sit on the edge
		slack := 1e-3
		if sd < 1e-3 && math.Abs(short) < 1e-6 {
			slack = 1
		}
		c.most(math.Abs(*r.chance-want), r.id)
		if !(math.Abs(*r.chance-want) <= slack) {
			c.fail(r.id, "chance_under_least_fall says %.4f, it is %.4f", *r.chance, want)
		}
	}
}

// inverts: no run leaves a point above one that comes in; a point's own
// statement is that of its lowest pipe.
func (j *judge) inverts() {
	c := j.open("inverts").bound(0)
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		low := math.Inf(1)
		if !j.levels(n) {
			continue
		}
		for _, o := range n.out {
			low = min(low, j.p.runs[o].up)
			for _, k := range n.in {
				d := j.p.runs[k].down - j.p.runs[o].up
				c.least(d, n.id)
				if !(d >= -1e-6) {
					c.fail(n.id, "%s leaves %s above where %s comes in", j.p.runs[o].id, mm(-d), j.p.runs[k].id)
				}
			}
		}
		for _, k := range n.in {
			low = min(low, j.p.runs[k].down)
		}
		if math.IsInf(low, 0) {
			continue
		}
		if n.invert == nil {
			c.fail(n.id, "no invert_m, the lowest pipe is at %s", mm(low))
		} else if math.Abs(*n.invert-low) > oneMillimetre {
			c.fail(n.id, "invert_m says %s, the lowest pipe is at %s", mm(*n.invert), mm(low))
		}
		if n.ground != nil && n.depth == nil {
			c.fail(n.id, "ground and invert are known, and no depth_m")
		}
		if n.depth != nil && n.ground != nil && math.Abs(*n.depth-(*n.ground-low)) > 2*oneMillimetre {
			c.fail(n.id, "depth_m says %s, ground less invert is %s", mm(*n.depth), mm(*n.ground-low))
		}
		if k := j.intake(n.id); k != nil && n.kind == "intake" && k.invert != nil && low > *k.invert+oneMillimetre {
			c.broken(append([]string{n.id}, j.outs(n)...), []string{"start"}, "leaves at %s, the intake's invert is %s", mm(low), mm(*k.invert))
		}
	}
}

// outs are the names of the runs that leave a point.
func (j *judge) outs(n *node) []string {
	var out []string
	for _, i := range n.out {
		out = append(out, j.p.runs[i].id)
	}
	return out
}

// levels says whether every run at a point has them.
func (j *judge) levels(n *node) bool {
	for _, k := range [][]int{n.in, n.out} {
		for _, i := range k {
			if !j.p.runs[i].levels {
				return false
			}
		}
	}
	return true
}

// groundSlack is how far a stated ground may lie off the interval worked here:
// both round, and place the same point to a tenth of a millimetre.
const groundSlack = 0.003

// ground: stated ground is that of the shots.
func (j *judge) ground() {
	c := j.open("ground").bound(groundSlack)
	if j.surface == nil {
		if j.s.terrain {
			c.note = "the terrain raster is not in the document: the plan's own ground is taken"
			return
		}
		c.note = "no shots in the document: nothing to compare with"
		for i := range j.p.nodes {
			n := &j.p.nodes[i]
			if n.ground != nil && !j.known(n, *n.ground) {
				c.fail(n.id, "ground_m %s, and the site has no ground", mm(*n.ground))
			}
		}
		return
	}
	if j.s.terrain {
		c.note = "shots only; the terrain raster is not in the document"
		return
	}
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		if n.ground == nil {
			if q, ok := j.surface.at(n.at); ok && len(q.c) > 0 {
				c.fail(n.id, "no ground_m, and the shots give it")
			}
			continue
		}
		if j.known(n, *n.ground) {
			continue
		}
		lo, hi, ok := j.surface.about(n.at)
		if !ok {
			c.fail(n.id, "ground_m %s, and it stands outside the shots", mm(*n.ground))
			continue
		}
		off := max(lo-*n.ground, *n.ground-hi)
		c.most(off, n.id)
		if off > groundSlack {
			c.fail(n.id, "ground_m says %s, the shots give %s to %s", mm(*n.ground), mm(lo), mm(hi))
		}
	}
}

// known says whether the site states this level for the point itself.
func (j *judge) known(n *node, level float64) bool {
	if k := j.intake(n.id); k != nil && k.rim != nil && math.Abs(*k.rim-level) <= oneMillimetre {
		return true
	}
	q := j.inlet(n.id)
	if q == nil && n.kind == "outlet" {
		for _, b := range j.s.beds {
			if z, ok := b.at(n.at); ok && math.Abs(z-level) <= groundSlack {
				return true
			}
		}
	}
	return q != nil && q.rim != nil && math.Abs(*q.rim-level) <= oneMillimetre
}

// shot is the ground at a place where the document has shots.
func (j *judge) shot(p pt) (lo, hi float64, ok bool) {
	if j.surface == nil || j.s.terrain {
		return 0, 0, false
	}
	return j.surface.about(p)
}

// about is the ground at a place that is known to a millimetre: a place on the
// outline of the shots may fall a hair outside.
func (g *surface) about(p pt) (lo, hi float64, ok bool) {
	if g.asked == nil {
		return g.look(p)
	}
	v := held(&g.asked.mu, g.asked.spots, [2]float64{p.x, p.y}, func() (v level) { v.lo, v.hi, v.ok = g.look(p); return v })
	return v.lo, v.hi, v.ok
}

func (g *surface) look(p pt) (lo, hi float64, ok bool) {
	if q, in := g.at(p); in {
		lo, hi = q.levels(p)
		if !math.IsInf(lo, 0) {
			return lo, hi, true
		}
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, d := range [][2]float64{{1, 0}, {0, 1}, {-1, 0}, {0, -1}, {0.7, 0.7}, {0.7, -0.7}, {-0.7, 0.7}, {-0.7, -0.7}} {
		r := pt{x: p.x + d[0]*oneMillimetre, y: p.y + d[1]*oneMillimetre}
		if q, in := g.at(r); in {
			if a, b := q.levels(r); !math.IsInf(a, 0) {
				lo, hi = min(lo, a), max(hi, b)
			}
		}
	}
	return lo, hi, !math.IsInf(lo, 0)
}

// groundAt is what a row of stations says at distance s along a run.
func (j *judge) groundAt(i int, s float64) (lo, hi float64, ok bool) {
	if j.surface == nil {
		return 0, 0, false
	}
	r := &j.p.runs[i]
	for k := 1; k < len(r.line); k++ {
		l := apartBy(r.line[k-1], r.line[k])
		if s > l+1e-9 && k < len(r.line)-1 {
			s -= l
			continue
		}
		t := min(max(s/l, 0), 1)
		st := j.stations[i][k-1]
		for m := 1; m < len(st); m++ {
			u, v := st[m-1], st[m]
			if t < u.t-1e-9 || t > v.t+1e-9 || !u.known || !v.known {
				continue
			}
			f := 0.0
			if v.t > u.t {
				f = min(max((t-u.t)/(v.t-u.t), 0), 1)
			}
			return u.lo + f*(v.lo-u.lo), u.hi + f*(v.hi-u.hi), true
		}
		return 0, 0, false
	}
	return 0, 0, false
}

// groundNear is the ground at a station that is known to a millimetre or two: a
// step beside a breakline may fall on either side.
func (j *judge) groundNear(i int, s float64) (lo, hi float64, ok bool) {
	lo, hi, ok = j.groundAt(i, s)
	for _, d := range []float64{-2 * oneMillimetre, 2 * oneMillimetre} {
		if s+d < 0 || s+d > j.p.runs[i].measured || !ok {
			continue
		}
		if a, b, in := j.groundAt(i, s+d); in {
			lo, hi = min(lo, a), max(hi, b)
		}
	}
	return lo, hi, ok
}

// reach holds, over the length of a run, the least and the greatest of ground
// less a straight, by the bounds of the ground.
type reach struct {
	minLo, minHi, maxLo, maxHi float64
	at                         float64
	known, whole               bool
	unknown                    float64 // of the run, m, as far as it was walked
}

func (j *judge) overRun(i int, up, down float64) reach {
	r := &j.p.runs[i]
	e := reach{minLo: math.Inf(1), minHi: math.Inf(1), maxLo: math.Inf(-1), maxHi: math.Inf(-1), whole: true}
	if j.surface == nil || r.measured == 0 {
		e.whole = false
		return e
	}
	s := 0.0
	for k := 1; k < len(r.line); k++ {
		l := apartBy(r.line[k-1], r.line[k])
		row := j.stations[i][k-1]
		for m, st := range row {
			if !st.known {
				e.whole = false
				to := 1.0
				if m+1 < len(row) {
					to = row[m+1].t
				}
				e.unknown += (to - st.t) * l
				continue
			}
			e.known = true
			z := up + (down-up)*(s+st.t*l)/r.measured
			if st.hi-z < e.minHi {
				e.minHi, e.at = st.hi-z, s+st.t*l
			}
			e.minLo = min(e.minLo, st.lo-z)
			e.maxLo, e.maxHi = max(e.maxLo, st.lo-z), max(e.maxHi, st.hi-z)
		}
		s += l
	}
	return e
}

// top is the outside top of the pipe over its invert: the invert is the inside
// bottom, the wall is as thick above as below.
func (r *run) top() float64 { return (r.diameter + r.outside) / 2 }

// bottom is the trench bottom under the invert.
func (j *judge) bottom(r *run) float64 {
	return (r.outside-r.diameter)/2 + float64(j.of(r.lot).Trench.Bedding)
}

// cover: ground to the outside top of the pipe, at every point of every run.
func (j *judge) cover() {
	least := float64(j.c.Pipe.LeastCover)
	c := j.open("cover").bound(least)
	if j.s.terrain || j.surface == nil {
		c.note = "not worked again: the ground is not in the document"
		j.coverAsStated(c)
		return
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.levels {
			continue
		}
		asked := float64(j.of(r.lot).Pipe.LeastCover)
		e := j.overRun(i, r.up+r.top(), r.down+r.top())
		if !e.known {
			c.note = "runs outside the shots are not worked again"
			continue
		}
		least, at := e.minHi, e.at
		if upTo := j.covered(i); upTo < r.measured {
			least, at = j.leastTo(i, r.up+r.top(), r.down+r.top(), upTo)
			if e.minHi < asked-oneMillimetre && !slices.ContainsFunc(j.p.findings, func(f found) bool { return f.code == "thin_cover_at_end" && f.feature == r.id }) {
				c.fail(r.id, "cover %s towards an end at grade, and no finding names it", mm(e.minHi))
			}
		}
		c.least(least, r.id)
		if least < asked-oneMillimetre {
			c.broken(r.names(), []string{"cover"}, "cover %s at %.2f m along, %s is asked", mm(least), at, mm(asked))
		}
		if r.leastCover == nil {
			if e.whole { // over ground known in part the least is not known
				c.fail(r.id, "no least_cover_m")
			}
		} else if e.whole && (*r.leastCover < e.minLo-2*groundSlack || *r.leastCover > e.minHi+2*groundSlack) {
			c.fail(r.id, "least_cover_m says %s, it is %s", mm(*r.leastCover), mm(e.minHi))
		}
	}
}

// inPart is the length of a run outside the shots from which on it is surely no
// rounding at their outline.
const inPart = 0.25

// groundInPart: of a run that leaves the shots neither least cover nor greatest depth
// is known, and that is told, with the verdict that goes with it.
func (j *judge) groundInPart() {
	c := j.open("ground_in_part").bound(inPart)
	c.note = "worst is the length of a run outside the shots"
	if j.s.terrain || j.surface == nil {
		return
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.levels {
			continue
		}
		out := j.overRun(i, r.up, r.down).unknown
		c.most(out, r.id)
		if out <= inPart {
			continue
		}
		if r.leastCover != nil {
			c.fail(r.id, "least_cover_m is stated, and %s of the run lie outside the shots", mm(out))
		}
		if r.greatestDepth != nil {
			c.fail(r.id, "greatest_depth_m is stated, and %s of the run lie outside the shots", mm(out))
		}
		if !slices.ContainsFunc(j.p.findings, func(f found) bool { return f.code == "ground_unknown" && f.feature == r.id && f.notProven }) {
			c.fail(r.id, "%s of the run lie outside the shots, and no finding says so, and that it is not proven", mm(out))
		}
	}
}

// covered is how far along a run the least cover is asked: all of it, or to
// within the reach of a last run from an end where the pipe comes out at grade (a
// swale, daylight, a curb); negative where none of it is.
func (j *judge) covered(i int) float64 {
	r := &j.p.runs[i]
	rest := 0.0 // from the run's lower end to the outlet
	at := r.b
	for step := 0; at >= 0 && len(j.p.nodes[at].out) == 1 && step <= len(j.p.nodes); step++ {
		o := &j.p.runs[j.p.nodes[at].out[0]]
		rest, at = rest+o.measured, o.b
	}
	if at < 0 || len(j.p.nodes[at].out) > 0 {
		return r.measured
	}
	n := &j.p.nodes[at]
	q := j.inlet(n.id)
	if q == nil && !j.onSwale(n.at) || q != nil && !(q.outlet && (q.kind == "daylight" || q.kind == "curb_core")) {
		return r.measured
	}
	return min(r.measured, r.measured-(float64(j.of(r.lot).TieIn.Reach)-rest))
}

// leastTo is the least of ground less a straight along the first part of a run,
// by the upper bound of the ground; infinite where none of it is looked at.
func (j *judge) leastTo(i int, up, down, upTo float64) (least, at float64) {
	r := &j.p.runs[i]
	least = math.Inf(1)
	s := 0.0
	for k := 1; k < len(r.line); k++ {
		l := apartBy(r.line[k-1], r.line[k])
		for _, st := range j.stations[i][k-1] {
			if d := s + st.t*l; st.known && d <= upTo {
				if v := st.hi - (up + (down-up)*d/r.measured); v < least {
					least, at = v, d
				}
			}
		}
		s += l
	}
	return least, at
}

// coverAsStated holds the plan to its own words where the ground is not known
// here.
func (j *judge) coverAsStated(c *check) {
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.leastCover == nil {
			continue
		}
		least := float64(j.of(r.lot).Pipe.LeastCover)
		c.least(*r.leastCover, r.id)
		if *r.leastCover < least-oneMillimetre && j.covered(i) == r.measured {
			c.broken(r.names(), []string{"cover"}, "least_cover_m %s, %s is asked", mm(*r.leastCover), mm(least))
		}
		for k, n := range []int{r.a, r.b} {
			if n < 0 || j.p.nodes[n].ground == nil {
				continue
			}
			z := []float64{r.up, r.down}[k] + r.top()
			if d := *j.p.nodes[n].ground - z; d < *r.leastCover-groundSlack {
				c.fail(r.id, "least_cover_m says %s, at %s it is %s", mm(*r.leastCover), j.p.nodes[n].id, mm(d))
			}
		}
	}
}

// depth: ground to trench bottom is nowhere more than allowed.
func (j *judge) depth() {
	most := float64(j.c.Pipe.GreatestDepth)
	c := j.open("depth").bound(most)
	if j.s.terrain || j.surface == nil {
		c.note = "not worked again: the ground is not in the document"
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.levels {
			continue
		}
		most := float64(j.of(r.lot).Pipe.GreatestDepth)
		if r.greatestDepth != nil && *r.greatestDepth > most+oneMillimetre {
			c.broken(r.names(), []string{"depth"}, "greatest_depth_m %s, %s is allowed", mm(*r.greatestDepth), mm(most))
		}
		if j.s.terrain || j.surface == nil {
			continue
		}
		b := j.bottom(r)
		e := j.overRun(i, r.up-b, r.down-b)
		if !e.known {
			continue
		}
		c.most(e.maxLo, r.id)
		if e.maxLo > most+oneMillimetre {
			c.broken(r.names(), []string{"depth"}, "depth %s, %s is allowed", mm(e.maxLo), mm(most))
		}
		if r.greatestDepth == nil {
			if e.whole {
				c.fail(r.id, "no greatest_depth_m")
			}
		} else if e.whole && (*r.greatestDepth < e.maxLo-2*groundSlack || *r.greatestDepth > e.maxHi+2*groundSlack) {
			c.fail(r.id, "greatest_depth_m says %s, it is %s", mm(*r.greatestDepth), mm(e.maxLo))
		}
		j.footings(c, i)
	}
}

// footings: a trench that surely goes below the line falling 1:1 outward from the
// lower edge of a footing is told. At each station: the edge of the trench stands d
// from the nearest wall, the ground there at z at least, the footing f deep; its
// bottom must lie at z - f - d or higher.
func (j *judge) footings(c *check, i int) {
	r := &j.p.runs[i]
	if slices.ContainsFunc(j.p.findings, func(f found) bool { return f.code == "undermines_footing" && f.feature == r.id }) {
		return
	}
	for n := range j.s.buildings {
		b := &j.s.buildings[n]
		if b.footing == nil {
			continue
		}
		s := 0.0
		for k := 1; k < len(r.line); k++ {
			p, q := r.line[k-1], r.line[k]
			l := apartBy(p, q)
			for _, st := range j.stations[i][k-1] {
				at := pt{x: p.x + st.t*(q.x-p.x), y: p.y + st.t*(q.y-p.y)}
				bottom := r.up - (r.up-r.down)*(s+st.t*l)/r.measured - j.bottom(r)
				// no ground is above the highest shot, so most stations are seen to be
				// too far off without asking for it
				reach := j.surface.top - *b.footing - bottom - 2*groundSlack + r.width/2
				if reach <= r.width/2 || b.box.far(box{at.x, at.y, at.x, at.y}, reach) {
					continue
				}
				wall, d := nearestWall(b.polys, at)
				if d >= reach {
					continue
				}
				z, _, ok := j.surface.about(wall)
				if !ok {
					continue
				}
				if under := z - *b.footing - max(0, d-r.width/2) - bottom; under > 2*groundSlack {
					c.fail(r.id, "its trench goes %s below the line that falls 1:1 from the footing of building %s, at %.2f m along, and no finding tells it", mm(under), b.id, s+st.t*l)
					return
				}
			}
			s += l
		}
	}
}

// nearestWall is the place of a building's outline nearest to p, and how far off it
// is.
func nearestWall(polys []poly, p pt) (wall pt, off float64) {
	off = math.Inf(1)
	for _, g := range polys {
		for _, ring := range g.rings {
			for k := range ring {
				a, b := ring[k], ring[(k+1)%len(ring)]
				u, v := b.x-a.x, b.y-a.y
				t := 0.0
				if n := u*u + v*v; n > 0 {
					t = max(0, min(1, ((p.x-a.x)*u+(p.y-a.y)*v)/n))
				}
				w := pt{x: a.x + t*u, y: a.y + t*v}
				if d := apartBy(w, p); d < off {
					wall, off = w, d
				}
			}
		}
	}
	return wall, off
}

// profiles: each row tells of its runs what their ends say.
func (j *judge) profiles() {
	c := j.open("profiles").bound(groundSlack)
	from := map[string]bool{}
	for _, q := range j.p.profiles {
		from[q.from] = true
		name := "profile " + q.from
		n, ok := j.p.nodeAt[q.from]
		if !ok {
			c.fail(name, "starts at no point of the network")
			continue
		}
		var way []int
		var starts []float64
		length := 0.0
		broken := false
		for _, id := range q.runs {
			k, ok := j.p.runAt[id]
			if !ok || j.p.runs[k].a != n {
				c.fail(name, "run %q does not go on from %q", id, j.p.nodes[n].id)
				broken = true
				break
			}
			way, starts = append(way, k), append(starts, length)
			length += j.p.runs[k].measured
			if n = j.p.runs[k].b; n < 0 {
				broken = true
				break
			}
		}
		if broken {
			continue
		}
		if j.p.nodes[n].id != q.to || len(j.p.nodes[n].out) > 0 {
			c.fail(name, "ends at %q, not at the outlet %q", j.p.nodes[n].id, q.to)
		}
		if len(way) == 0 {
			c.fail(name, "no runs")
			continue
		}
		if len(q.rows) < 2 {
			c.fail(name, "%d rows", len(q.rows))
			continue
		}
		slack := 2*oneMillimetre + 1e-4*float64(len(q.rows))
		if math.Abs(q.rows[0].station) > slack || math.Abs(q.rows[len(q.rows)-1].station-length) > slack+oneMillimetre*float64(len(way)) {
			c.fail(name, "stations %s to %s, the way is %s", mm(q.rows[0].station), mm(q.rows[len(q.rows)-1].station), mm(length))
		}
		for k, w := range q.rows {
			if k > 0 && w.station < q.rows[k-1].station-1e-9 {
				c.fail(name, "stations go back at %s", mm(w.station))
				break
			}
			if w.ground != nil && w.cut == nil {
				c.fail(name, "no cut_m at %s", mm(w.station))
			}
			if w.cut != nil && w.ground != nil && math.Abs(*w.cut-(*w.ground-w.invert)) > 2*oneMillimetre {
				c.fail(name, "cut_m at %s is not ground less invert", mm(w.station))
			}
			// a row at a drop may tell of either run
			off, crownOff, groundOff, placeOff := math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)
			covered, part, named := false, false, w.point == ""
			for m, i := range way {
				r := &j.p.runs[i]
				s := w.station - starts[m]
				if s < -slack-oneMillimetre*float64(len(way)) || s > r.measured+slack+oneMillimetre*float64(len(way)) {
					continue
				}
				z := r.up + (r.down-r.up)*min(max(s/r.measured, 0), 1)
				d := math.Abs(z - w.invert)
				off = min(off, d)
				if d <= groundSlack { // where two runs meet the row tells of either
					crownOff = min(crownOff, math.Abs(w.crown-w.invert-r.diameter))
				}
				if w.at != nil {
					placeOff = min(placeOff, apartBy(*w.at, r.place(s)))
				}
				if w.point == j.p.nodes[r.a].id && math.Abs(s) <= slack+oneMillimetre*float64(len(way)) ||
					w.point == j.p.nodes[r.b].id && math.Abs(s-r.measured) <= slack+oneMillimetre*float64(len(way)) {
					named = true
				}
				if w.ground == nil && !j.s.terrain {
					// where two runs meet it may be the row of the one that is over
					// ground known in part
					if !j.wholeGround(i) {
						part = true
					} else if _, _, ok := j.groundAt(i, s); ok {
						covered = true
					}
				}
				if w.ground != nil && !j.s.terrain {
					if lo, hi, ok := j.groundNear(i, s); ok {
						groundOff = min(groundOff, max(lo-*w.ground, *w.ground-hi))
					} else {
						groundOff = min(groundOff, 0)
					}
				}
			}
			c.most(off, name)
			if !(off <= groundSlack) {
				c.fail(name, "invert_m at %s is %s off the runs", mm(w.station), mm(off))
			}
			if !(crownOff <= 1.5*oneMillimetre) {
				c.fail(name, "crown_m at %s is not a pipe above the invert", mm(w.station))
			}
			if w.at != nil && !(placeOff <= 3*oneMillimetre) {
				c.fail(name, "the row at %s says that it is %s elsewhere", mm(w.station), mm(placeOff))
			}
			if !named {
				c.fail(name, "the row at %s bears the name %q", mm(w.station), w.point)
			}
			if covered && !part {
				c.fail(name, "no ground_m at %s, and the shots give it", mm(w.station))
			}
			if w.ground != nil && !math.IsInf(groundOff, 0) && groundOff > 2*groundSlack && !j.rimRow(w) {
				c.fail(name, "ground_m at %s is %s off the shots", mm(w.station), mm(groundOff))
			}
		}
	}
	for k := range j.p.profiles {
		q := &j.p.profiles[k]
		var way []int
		var starts []float64
		length := 0.0
		for _, id := range q.runs {
			i, ok := j.p.runAt[id]
			if !ok {
				break
			}
			way, starts = append(way, i), append(starts, length)
			length += j.p.runs[i].measured
		}
		j.rowExtremes(c, q, way, starts)
	}
	for i := range j.p.nodes {
		if n := &j.p.nodes[i]; n.kind == "intake" && len(n.out) > 0 && j.levels(n) && !from[n.id] {
			c.fail(n.id, "joined, and no profile from it")
		}
	}
}

// rowExtremes holds a run's own extremes to the rows of its profiles: where the
// ground is an interval, the rows say which ground the plan means, and rows
// stand at every break of it.
func (j *judge) rowExtremes(c *check, q *profile, way []int, starts []float64) {
	for m, i := range way {
		r := &j.p.runs[i]
		if r.leastCover == nil || r.greatestDepth == nil {
			continue
		}
		cover, deep, n := math.Inf(1), math.Inf(-1), 0
		whole := true
		for _, w := range q.rows {
			s := w.station - starts[m]
			slack := oneMillimetre * float64(2+m)
			if s < -slack || s > r.measured+slack {
				continue
			}
			z := r.up + (r.down-r.up)*min(max(s/r.measured, 0), 1)
			if math.Abs(z-w.invert) > groundSlack {
				continue // of a run before or after, at a drop
			}
			if w.ground == nil {
				whole = false
				continue
			}
			n++
			cover, deep = min(cover, *w.ground-z-r.top()), max(deep, *w.ground-z+j.bottom(r))
		}
		if n < 2 || !whole {
			continue
		}
		if math.Abs(*r.leastCover-cover) > groundSlack {
			c.fail(r.id, "least_cover_m says %s, the rows of its profile make %s", mm(*r.leastCover), mm(cover))
		}
		if math.Abs(*r.greatestDepth-deep) > groundSlack {
			c.fail(r.id, "greatest_depth_m says %s, the rows of its profile make %s", mm(*r.greatestDepth), mm(deep))
		}
	}
}

// place is the point of the run at a distance along it.
func (r *run) place(s float64) pt {
	for k := 1; k < len(r.line); k++ {
		l := apartBy(r.line[k-1], r.line[k])
		if s > l && k < len(r.line)-1 {
			s -= l
			continue
		}
		f := min(max(s/max(l, 1e-9), 0), 1)
		return pt{x: r.line[k-1].x + f*(r.line[k].x-r.line[k-1].x), y: r.line[k-1].y + f*(r.line[k].y-r.line[k-1].y)}
	}
	return r.line[0]
}

// wholeGround says whether the shots cover the whole run.
func (j *judge) wholeGround(i int) bool {
	for _, seg := range j.stations[i] {
		for _, st := range seg {
			if !st.known {
				return false
			}
		}
	}
	return true
}

func (j *judge) rimRow(w row) bool {
	n, ok := j.p.nodeAt[w.point]
	return ok && j.known(&j.p.nodes[n], *w.ground)
}

// trenches: each run lies in one trench, as wide as asked, and the trench's
// figures are those of its runs.
func (j *judge) trenches() {
	c := j.open("trenches").bound(float64(j.c.Trench.Width))
	in := map[string]int{}
	for _, t := range j.p.trenches {
		longest, total, deepest := 0.0, 0.0, 0.0
		perforated := len(t.runs) > 0
		for _, id := range t.runs {
			in[id]++
			k, ok := j.p.runAt[id]
			if !ok {
				c.fail(t.id, "run %q is not in the network", id)
				continue
			}
			r := &j.p.runs[k]
			if r.trench != t.id {
				c.fail(t.id, "run %q says that it lies in %q", id, r.trench)
			}
			if r.greatestDepth != nil {
				deepest = max(deepest, *r.greatestDepth)
			}
			if !(t.width >= r.outside*float64(r.count)-1e-9) {
				c.fail(t.id, "%s wide, the pipes in it %s", mm(t.width), mm(r.outside*float64(r.count)))
			}
			perforated = perforated && r.pipe == "perforated"
			longest, total = max(longest, r.measured), total+r.measured
		}
		need := float64(j.of(j.lotOf(&t)).Trench.Width)
		if perforated && j.s.perfWidth != nil {
			need = min(need, *j.s.perfWidth)
		}
		c.least(t.width, t.id)
		if !(t.width >= need-1e-9) {
			c.fail(t.id, "%s wide, %s is asked", mm(t.width), mm(need))
		}
		slack := oneMillimetre + 1e-3*float64(len(t.runs))
		if !(t.length >= longest-slack && t.length <= total+slack) {
			c.fail(t.id, "length_m says %s, its runs are %s to %s", mm(t.length), mm(longest), mm(total))
		}
		j.trenchFigures(c, &t)
	}
	for i := range j.p.runs {
		if n := in[j.p.runs[i].id]; n != 1 {
			c.fail(j.p.runs[i].id, "lies in %d trenches", n)
		}
	}
}

// trenchFigures: depth, digging, stone, cap and fabric are what the runs and the
// section of the criteria make. Of pipes side by side (more than one run over the
// same ground) the mean depth is held by order only.
func (j *judge) trenchFigures(c *check, t *trench) {
	tr := j.of(j.lotOf(t)).Trench
	length, area := 0.0, [2]float64{} // of the long section, by the bounds of the ground
	lo := [2]float64{math.Inf(1), math.Inf(1)}
	hi := [2]float64{math.Inf(-1), math.Inf(-1)}
	known := j.surface != nil && !j.s.terrain
	od, pipes, perforated, levels := 0.0, 0.0, 0, true
	for _, id := range t.runs {
		k, ok := j.p.runAt[id]
		if !ok {
			return
		}
		r := &j.p.runs[k]
		length += r.measured
		od, pipes = max(od, r.outside), max(pipes, float64(r.count))
		levels = levels && r.levels
		if r.pipe == "perforated" {
			perforated++
		}
		if !known || !r.levels {
			known = false
			continue
		}
		b := j.bottom(r)
		e := j.overRun(k, r.up-b, r.down-b)
		known = known && e.whole && e.known
		lo[0], lo[1] = min(lo[0], e.minLo), min(lo[1], e.minHi)
		hi[0], hi[1] = max(hi[0], e.maxLo), max(hi[1], e.maxHi)
		s := 0.0
		for m := 1; m < len(r.line); m++ {
			l := apartBy(r.line[m-1], r.line[m])
			st := j.stations[k][m-1]
			for n := 1; n < len(st); n++ {
				z := func(x station) float64 { return r.up - b + (r.down-r.up)*(s+x.t*l)/r.measured }
				step := (st[n].t - st[n-1].t) * l / 2
				area[0] += step * (st[n].lo - z(st[n]) + st[n-1].lo - z(st[n-1]))
				area[1] += step * (st[n].hi - z(st[n]) + st[n-1].hi - z(st[n-1]))
			}
			s += l
		}
	}
	beside := length == 0 || math.Abs(t.length-length) > oneMillimetre*float64(1+len(t.runs))
	within := func(what string, got, a, b, slack float64) {
		if !(got >= a-slack && got <= b+slack) {
			c.fail(t.id, "%s says %.3f, it is %.3f to %.3f", what, got, a, b)
		}
	}
	v := float64(tr.Cap) * t.width * t.length
	within("cap_m3", t.cap, v, v, 0.002+0.005*v)
	if t.least == nil || t.mean == nil || t.greatest == nil || t.excavated == nil {
		if known && levels && !beside {
			c.fail(t.id, "depths or excavation missing")
		}
		return
	}
	if !(*t.least <= *t.mean+oneMillimetre && *t.mean <= *t.greatest+oneMillimetre) {
		c.fail(t.id, "least, mean and greatest depth out of order")
	}
	v = t.width * *t.mean * t.length
	within("excavation_m3", *t.excavated, v, v, 0.002+0.004*v)
	switch {
	case known && beside && length > 0:
		// Where pipes lie side by side the trench is as deep as the deeper: the
		// greatest depth is that of the deepest run all the same.
		within("least_depth_m", *t.least, lo[0], hi[1], groundSlack)
		within("greatest_depth_m", *t.greatest, hi[0], hi[1], groundSlack)
	case known && !beside:
		within("least_depth_m", *t.least, lo[0], lo[1], groundSlack)
		within("greatest_depth_m", *t.greatest, hi[0], hi[1], groundSlack)
		within("mean_depth_m", *t.mean, area[0]/length, area[1]/length, groundSlack)
	}
	// stone stands from the bottom to over the pipe, in a perforated trench up to
	// the cap; less the pipes
	full := float64(tr.Bedding) + od + float64(tr.OverPipe)
	body := func(depth float64) float64 {
		h := depth - float64(tr.Cap)
		if perforated == 0 {
			h = min(h, full)
		}
		return h
	}
	low, high := body(*t.least), body(*t.greatest)
	if perforated > 0 && perforated < len(t.runs) {
		return
	}
	p := pipes * math.Pi * od * od / 4
	within("stone_m3", t.stone, (low*t.width-p)*t.length, (high*t.width-p)*t.length, 0.01+0.01*math.Abs(t.stone))
	wrapped := 0.0
	if tr.Wrap && perforated > 0 {
		wrapped = 1
	}
	lap := float64(j.c.Takeoff.FabricLap)
	within("fabric_m2", t.fabric, wrapped*(2*low+2*t.width+lap)*t.length, wrapped*(2*high+2*t.width+lap)*t.length, 0.01+0.01*t.fabric)
}

// above are the intakes upstream of a point.
func (j *judge) above(i int) []int {
	var out []int
	seen := map[int]bool{}
	var visit func(n int)
	visit = func(n int) {
		if n < 0 || seen[n] {
			return
		}
		seen[n] = true
		if j.p.nodes[n].kind == "intake" {
			out = append(out, n)
		}
		for _, r := range j.p.nodes[n].in {
			visit(j.p.runs[r].a)
		}
	}
	visit(i)
	return out
}

// arrival: the last pipe comes in at or above the tie-in level.
func (j *judge) arrival() {
	c := j.open("arrival").bound(0)
	c.note = "worst and limit are the height over the level asked for"
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.b < 0 || len(j.p.nodes[r.b].out) > 0 || !r.levels {
			continue
		}
		q := j.inlet(r.to)
		if q == nil && j.onSwale(j.p.nodes[r.b].at) {
			lo, _, ok := j.shot(j.p.nodes[r.b].at)
			for _, b := range j.s.beds {
				if z, on := b.at(j.p.nodes[r.b].at); on {
					lo, ok = z, true
				}
			}
			if ok {
				c.least(r.down-lo, r.id)
				if r.down < lo-2*groundSlack {
					c.broken([]string{r.to, r.id}, []string{"arrival", "gravity"}, "arrives at %s, the bed of the swale lies at %s", mm(r.down), mm(lo))
				}
			}
			continue
		}
		if q == nil {
			continue
		}
		names := []string{q.id, r.id}
		warned := func(what string, words ...string) {
			for _, f := range j.p.findings {
				if f.severity == "note" || f.feature != q.id && f.feature != r.id {
					continue
				}
				for _, w := range words {
					if strings.Contains(f.code, w) || strings.Contains(strings.ToLower(f.message), w) {
						return
					}
				}
			}
			c.fail(r.id, "%s, and no finding at %s says so", what, q.id)
		}
		if q.outlet && q.kind == "emitter" {
			// the pipe lies under its riser, full to the rim: water comes out only
			// if every intake stands higher
			for _, k := range j.above(r.b) {
				n := &j.p.nodes[k]
				rim := n.ground
				if s := j.intake(n.id); s != nil && s.rim != nil {
					rim = s.rim
				}
				if q.level != nil && rim != nil {
					c.least(*rim-*q.level, n.id)
					if *rim <= *q.level {
						c.broken([]string{q.id, n.id, r.id}, []string{"arrival", "gravity", "emitter"}, "the emitter's level %s is not under intake %s at %s", mm(*q.level), n.id, mm(*rim))
					}
				}
			}
			continue
		}
		if q.outlet {
			if q.level != nil {
				c.least(r.down-*q.level, r.id)
				if r.down < *q.level-oneMillimetre {
					c.broken(names, []string{"arrival", "gravity"}, "arrives at %s, the outlet's level is %s", mm(r.down), mm(*q.level))
				}
			}
			continue
		}
		if q.rim != nil && r.down+r.top() > *q.rim+oneMillimetre {
			c.broken(names, []string{"arrival", "gravity"}, "the top of the pipe comes in above the rim")
		}
		var crown *float64
		if q.invert != nil && q.outgoing != nil {
			v := *q.invert + *q.outgoing
			crown = &v
		}
		want := q.tieIn
		if want == nil {
			want = crown
		}
		if want == nil {
			want = q.invert
		}
		if want == nil {
			warned("nobody knows the level at which it may arrive", "level", "invert", "elevation")
			if j.p.summary.verdict == "feasible" {
				c.fail(r.id, "arrives at a structure of unknown level: at best not_proven")
			}
			continue
		}
		c.least(r.down-*want, r.id)
		switch {
		case q.invert != nil && r.down < *q.invert-levelRounding:
			c.broken(names, []string{"arrival", "gravity"}, "arrives at %s, under the outgoing invert %s", mm(r.down), mm(*q.invert))
		case q.tieIn != nil && r.down < *q.tieIn-oneMillimetre:
			c.broken(names, []string{"arrival", "gravity"}, "arrives at %s, the tie-in level is %s", mm(r.down), mm(*q.tieIn))
		case crown != nil && r.down < *crown-oneMillimetre:
			warned("arrives under the outgoing crown", "crown", "submerged")
		}
	}
}
