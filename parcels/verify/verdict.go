package verify

// The plan at a glance against the plan itself, and its verdict against what it
// tells.

import (
	"math"
	"slices"
	"strings"

	"fallwright/parcels"
)

// summary: totals and extremes are those of the network.
func (j *judge) summary() {
	c := j.open("summary").bound(oneMillimetre)
	s := &j.p.summary
	total, trenchTotal := 0.0, 0.0
	slope, depth, flow := math.Inf(1), math.Inf(-1), math.Inf(-1)
	high, low := math.Inf(-1), math.Inf(1)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		total += r.length * float64(r.count)
		if r.levels {
			slope = min(slope, (r.up-r.down)/r.measured)
			high, low = max(high, r.up), min(low, r.down)
		}
		if r.greatestDepth != nil {
			depth = max(depth, *r.greatestDepth)
		}
		if r.flow != nil && r.b >= 0 && len(j.p.nodes[r.b].out) == 0 {
			flow = max(flow, 0) + *r.flow
		}
	}
	for _, t := range j.p.trenches {
		trenchTotal += t.length
	}
	slack := 1.1 * oneMillimetre
	c.most(math.Abs(s.length-total), "length_m")
	if !(math.Abs(s.length-total) <= slack) {
		c.fail("summary", "length_m says %s, the runs make %s", mm(s.length), mm(total))
	}
	// a trench's length is rounded from its runs' own, not from the rounded ones
	if !(math.Abs(s.trenchLength-trenchTotal) <= slack+0.5*oneMillimetre*float64(len(j.p.runs)+len(j.p.trenches))) {
		c.fail("summary", "trench_length_m says %s, the trenches make %s", mm(s.trenchLength), mm(trenchTotal))
	}
	if j.p.site != j.s.name {
		c.fail("site", "%q, the document says %q", j.p.site, j.s.name)
	}
	for _, l := range j.p.restsOn {
		if !j.s.supplied[l] {
			c.fail("rests_on", "layer %q is not in the document", l)
		}
	}
	for _, a := range j.p.alternatives {
		if a.lot != "" && !j.chosen(a.lot) {
			c.fail("alternatives", "of lot %q, which is none of the plan's", a.lot)
		}
		listed := j.inlet(a.outlet) != nil || j.swaleNamed(a.outlet)
		if !listed && !(a.outlet == "" && a.kind == parcels.AltEmitter) {
			c.fail("alternatives", "the site has no outlet %q", a.outlet)
		}
		if a.verdict != "feasible" && a.verdict != "not_proven" && a.verdict != "not_feasible" {
			c.fail("alternatives", "verdict %q", a.verdict)
		}
		if a.verdict == "not_feasible" && a.reason == "" {
			c.fail("alternatives", "%s lost, and no reason", a.outlet)
		}
	}
	if len(j.p.runs) == 0 {
		return
	}
	same := func(name string, got *float64, want, slack float64) {
		switch {
		case math.IsInf(want, 0):
			if got != nil {
				c.fail("summary", "%s says %.5f, and no run has one", name, *got)
			}
		case got == nil:
			c.fail("summary", "no %s, the runs make %.5f", name, want)
		case !(math.Abs(*got-want) <= slack):
			c.fail("summary", "%s says %.5f, the runs make %.5f", name, *got, want)
		}
	}
	if j.p.cost != nil && j.p.costBound != nil && *j.p.costBound > *j.p.cost*(1+1e-6)+0.01 {
		c.fail("summary", "cost_index %.2f is under its own lower bound %.2f", *j.p.cost, *j.p.costBound)
	}
	same("fall_m", s.fall, high-low, 2*oneMillimetre)
	same("least_slope", s.leastSlope, slope, 1e-5+1e-3*math.Abs(slope))
	same("greatest_depth_m", s.greatestDepth, depth, 2*oneMillimetre)
	same("flow_m3s", s.flow, flow, 1e-6+1e-3*math.Abs(flow))
}

// warnings: what the criteria and the contract want told is told, run by run,
// where it is beyond what rounding could hide.
func (j *judge) warnings() {
	c := j.open("warnings")
	tells := func(r *run, what string, words ...string) {
		for _, f := range j.p.findings {
			if f.feature != r.id {
				continue
			}
			for _, w := range words {
				if strings.Contains(f.code, w) {
					return
				}
			}
		}
		c.fail(r.id, "%s, and no finding that names it says so", what)
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.levels {
			fall := r.up - r.down
			if target := float64(j.of(r.lot).Pipe.TargetSlope); fall < target*r.measured-oneMillimetre && fall > 0 {
				tells(r, "falls by less than the target slope", "slope")
			}
			if r.flow != nil && *r.flow > 1e-6 && r.carries != "ground" && fall > 0 {
				if _, v := normal(*r.flow/float64(r.count), r.diameter, r.n, fall/r.measured); v < float64(j.of(r.lot).Pipe.LeastVelocity)-0.02 {
					tells(r, "water slower than the least velocity", "velocity", "slow")
				}
			}
		}
		for k := range j.s.obstacles {
			o := &j.s.obstacles[k]
			if o.kind != "utility" {
				continue
			}
			for m := 1; m < len(r.line); m++ {
				if angle, ok := crossedAt(r.line[m-1], r.line[m], o.lines); ok {
					tells(r, "crosses utility "+o.id, "utility")
					if angle < j.of(r.lot).Route.UtilityAngle-0.5 {
						tells(r, "crosses utility "+o.id+" aslant", "aslant")
					}
				}
			}
		}
		if d := r.greatestDepth; d != nil && *d > 1.524+oneMillimetre {
			tells(r, "deeper than 1.524 m", "protective", "depth")
		} else if d != nil && *d > 1.2192+oneMillimetre {
			tells(r, "deeper than 1.2192 m", "way_out", "protective", "depth")
		}
		if r.leastClearance != nil && !r.tieIn && *r.leastClearance < float64(j.of(r.lot).Clearance.FencePost)-oneMillimetre {
			tells(r, "within the strip of the fence posts", "fence", "clearance", "zone")
		}
	}
	j.sureness(c)
	j.overlaps(c)
	has := func(words ...string) bool {
		for _, a := range j.p.assumptions {
			for _, w := range words {
				if strings.Contains(a, w) {
					return true
				}
			}
		}
		return false
	}
	if j.s.doc.get("elevation_unit").k == null && !has("elevation_unit") {
		c.fail("assumptions", "the elevation unit is not given, and no assumption says what was taken")
	}
	told := j.s.doc.get("crs").k != null || j.s.doc.get("layers").get("parcels").get("crs").k != null
	if !told && j.s.crs == "" && !has("crs", "longitude") {
		c.fail("assumptions", "no system is given, and no assumption says what was taken")
	}
}

// sureness: a trench that is more likely over a true lot line than is allowed
// must be told of, and told to be not proven. The chance over one line alone,
// moved square to itself by a normal distance, is no more than that over any:
// F(-m/s) for a trench edge m inside a line of standard deviation s.
func (j *judge) sureness(c *check) {
	most := map[string]float64{}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		l := j.home(r)
		if l == nil || r.tieIn || len(r.easements) > 0 || len(l.sds) == 0 {
			continue
		}
		ring := l.pieces[0].rings[0]
		for k := range ring {
			s := l.sds[min(k, len(l.sds)-1)]
			for m := 1; m < len(r.line); m++ {
				inside := between(r.line[m-1], r.line[m], ring[k], ring[(k+1)%len(ring)]) - r.width/2
				chance := 0.0
				if s > 0 {
					chance = math.Erfc(inside/s/math.Sqrt2) / 2
				}
				most[l.id] = max(most[l.id], chance)
			}
		}
	}
	for id, chance := range most {
		if allowed := j.of(id).Clearance.MostChance; chance > allowed+0.002 && !j.notSure(id) {
			c.fail(id, "the chance that the trench lies over a true line is %.1f %% or more, %.1f %% is allowed, and no finding says that the lines are not sure enough", 100*chance, 100*allowed)
		}
	}
}

// notSure tells whether a finding says of a lot that its lines are not sure
// enough, and that so it is not proven.
func (j *judge) notSure(lot string) bool {
	for _, f := range j.p.findings {
		if f.code == "line_accuracy" && (f.lot == lot || f.lot == "") && f.notProven {
			return true
		}
	}
	return false
}

// overlaps: where another lot takes ground of a lot of the plan, a finding about
// the lot names the other one and tells no less than its greatest depth; where it
// takes all of it, that.
func (j *judge) overlaps(c *check) {
	for _, f := range j.p.findings {
		if f.code != "parcel_within" {
			continue
		}
		if l, m := j.s.lot(f.lot), j.s.lot(f.feature); l == nil || m == nil || l == m || !j.holds(m, l, 2*drawnTwice) {
			c.fail(f.lot, "is said to lie within lot %s, which does not hold it", f.feature)
		}
	}
	for i := range j.s.lots {
		l := &j.s.lots[i]
		if !j.chosen(l.id) {
			continue
		}
		for k := range j.s.lots {
			m := &j.s.lots[k]
			if m.id == l.id || l.box.far(m.box, 0) {
				continue
			}
			deep := j.deepest(l, m)
			if deep == 0 && j.holds(m, l, 0) && !slices.ContainsFunc(j.p.findings, func(f found) bool {
				return f.code == "parcel_within" && f.lot == l.id && f.feature == m.id && f.notProven
			}) {
				c.fail(l.id, "lies within lot %s, and no finding says so, and that it is not proven", m.id)
			}
			if deep <= drawnTwice+oneMillimetre {
				continue
			}
			if !slices.ContainsFunc(j.p.findings, func(f found) bool {
				return f.code == "parcels_overlap" && f.lot == l.id && f.feature == m.id && f.measured != nil && *f.measured >= deep-oneMillimetre
			}) {
				c.fail(l.id, "lot %s takes ground of it, up to %s deep, and no finding says so", m.id, mm(deep))
			}
		}
	}
}

// holds says that no end of l's lines lies further outside m than off, and that m has
// the ground just within each of them: it lies in no hole that m leaves open for it.
func (j *judge) holds(m, l *lot, off float64) bool {
	if m.box.x0 > l.box.x0+off || m.box.y0 > l.box.y0+off || m.box.x1 < l.box.x1-off || m.box.y1 < l.box.y1-off {
		return false
	}
	for _, e := range lotEdges(l) {
		if n := e.length(); n > 0 {
			const step = 3 * drawnTwice
			x, y := step*(e.a.y-e.b.y)/n, step*(e.b.x-e.a.x)/n
			for _, side := range []float64{-1, 1} {
				p := pt{x: (e.a.x+e.b.x)/2 + side*x, y: (e.a.y+e.b.y)/2 + side*y}
				if j.inLot(l, p) && !j.inOrOn(m, p) {
					return false
				}
			}
		}
		if j.inOrOn(m, e.a) {
			continue
		}
		least := math.Inf(1)
		for _, o := range lotEdges(m) {
			least = min(least, fromSegment(e.a, o.a, o.b))
		}
		if least > off || off == 0 {
			return false
		}
	}
	return true
}

// deepest is how far within l the outline of m comes, looked for every 0.1 m;
// 0 where no further than what counts as one line drawn twice. The distance from
// the edges of l changes by no more than one goes, so what can't be deeper than
// found so far is passed over.
func (j *judge) deepest(l, m *lot) float64 {
	const step = 0.1
	deep := drawnTwice
	own := lotEdges(l)
	for _, e := range lotEdges(m) {
		if l.box.far(boxOf([]pt{e.a, e.b}), 0) {
			continue
		}
		length := math.Hypot(e.b.x-e.a.x, e.b.y-e.a.y)
		for s := 0.0; ; {
			p := e.a
			if s > 0 {
				p = pt{x: e.a.x + s/length*(e.b.x-e.a.x), y: e.a.y + s/length*(e.b.y-e.a.y)}
			}
			d := math.Inf(1)
			for _, o := range own {
				d = min(d, fromSegment(p, o.a, o.b))
			}
			on := deep - d
			if d > deep {
				if on = d; j.inLot(l, p) {
					deep, on = d, 0
				}
			}
			if s >= length {
				break
			}
			s = min(s+max(step, on), length)
		}
	}
	if deep == drawnTwice {
		return 0
	}
	return deep
}

// crossedAt gives the least angle, degrees, at which the segment crosses the
// lines from one side to the other.
func crossedAt(a, b pt, lines [][]pt) (angle float64, ok bool) {
	angle = 90
	for _, l := range lines {
		for k := 1; k < len(l); k++ {
			p, q := l[k-1], l[k]
			if cross(a, b, p)*cross(a, b, q) >= 0 || cross(p, q, a)*cross(p, q, b) >= 0 {
				continue
			}
			dx, dy, ex, ey := b.x-a.x, b.y-a.y, q.x-p.x, q.y-p.y
			t := math.Atan2(math.Abs(dx*ey-dy*ex), math.Abs(dx*ex+dy*ey)) * 180 / math.Pi
			angle, ok = min(angle, t), true
		}
	}
	return angle, ok
}

// verdict: it follows from the findings, and is never better than what the
// layers supplied allow.
func (j *judge) verdict() {
	c := j.open("verdict")
	s := &j.p.summary
	want := string(parcels.Feasible)
	for _, f := range j.p.findings {
		if f.severity == string(parcels.Stop) {
			want = string(parcels.NotFeasible)
			break
		}
		if f.notProven {
			want = string(parcels.NotProven)
		}
	}
	if s.verdict != want {
		c.fail("summary", "verdict %q, the findings make it %q", s.verdict, want)
	}
	switch s.verdict {
	case string(parcels.Feasible):
		for _, l := range []string{"buildings"} {
			if !j.s.supplied[l] {
				c.fail("summary", "feasible, and layer %s is not supplied", l)
			}
		}
		if !j.s.supplied["spots"] && !j.s.supplied["contours"] && !j.s.supplied["breaklines"] && !j.s.terrain {
			c.fail("summary", "feasible, and no ground is supplied")
		}
		if j.s.rain == nil && !j.allStated() {
			c.fail("summary", "feasible, and no rainfall is supplied")
		}
		if len(j.p.runs) == 0 && len(j.s.intakes) > 0 {
			c.fail("summary", "feasible, and nothing is drawn")
		}
	case string(parcels.NotProven):
		if !j.quotes(s.cure, func(f found) string {
			if f.notProven && f.severity != string(parcels.Stop) {
				return f.cure
			}
			return ""
		}) {
			c.fail("summary", "not_proven, and the cure is none of the findings'")
		}
	case string(parcels.NotFeasible):
		if !j.quotes(s.whyNot, func(f found) string {
			if f.severity == string(parcels.Stop) {
				return f.message
			}
			return ""
		}) {
			c.fail("summary", "not_feasible, and why_not tells none of the stops")
		}
	default:
		c.fail("summary", "verdict %q", s.verdict)
	}
	for _, l := range parcels.Layers {
		layer := string(l)
		switch layer {
		case "parcels", "contours", "breaklines", "districts", "outlets", "perforated_runs", "drains", "swales", "streets", "intakes", "inlets", "openings":
			continue // a layer that need not be there to know the yard
		case "spots":
			if j.s.supplied["contours"] || j.s.supplied["breaklines"] || j.s.terrain {
				continue
			}
		}
		if j.s.supplied[layer] {
			continue
		}
		told := false
		for _, f := range j.p.findings {
			told = told || f.code == "layer_not_supplied" && (f.feature == layer || strings.Contains(f.message, layer) || layer == "spots" && strings.Contains(f.message, "ground"))
		}
		if !told {
			c.fail(layer, "the layer is not supplied, and no finding layer_not_supplied says so")
		}
	}
}

// quotes says whether a text holds every sentence that what finds.
func (j *judge) quotes(s string, what func(f found) string) bool {
	n := 0
	for _, f := range j.p.findings {
		if q := what(f); q != "" {
			if n++; !strings.Contains(s, q) {
				return false
			}
		}
	}
	return n > 0
}

func (j *judge) swaleNamed(id string) bool {
	for _, t := range j.s.swales {
		if t.id == id {
			return true
		}
	}
	return false
}

func (j *judge) allStated() bool {
	for i := range j.s.intakes {
		if k := &j.s.intakes[i]; j.chosen(k.lot) && k.flow == nil {
			return false
		}
	}
	return true
}
