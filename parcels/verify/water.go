package verify

// The water levels of each storm and each state of the outlet, worked a second
// time from what the plan prints and the site states: own sections, own steps.
//
// From the outlet upward, for each pipe of flow q (one of the pipes side by side):
//
//	start      the outlet's level, or critical depth, or (critical depth + D)/2 of a
//	           pipe that cannot carry q part full, whichever is higher
//	full       the line rises by (q/K)^2 a metre; part full by steps of depth,
//	           dx = (E1 - E2)/(S0 - Sf), E = y + q^2/(2 g A^2), Sf = (q/K(y))^2,
//	           K never above that of the full pipe
//	steep      critical depth at the upper end, whatever lies below, unless
//	           backwater reaches it
//	bend       0.0033 v^2/2g a degree, where the pipe is not steep
//	intake     1.5 v^2/2g: velocity head and a square edge
//	wye        rise by momentum, (Q^2/A - sum of q^2/a cos)/(g (A + a)/2), not below 0,
//	           a of the straightest, taken twice since a depends on the rise
//
// An intake or wye stands no lower than critical depth in the pipe that leaves it
// asks. The flow of another storm is the design flow less what is stated, times
// the ratio of intensities at the same minutes and of frequency factors.
//
// Levels are written to the millimetre and a pipe at the edge of flowing full has
// two answers, so a case that is not as printed is worked twice more: with a little
// more and a little less water on a little less and a little more fall. The levels
// may then be any between the three.

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// waterSlack is what a second working of a water level may differ by, in metres: an
// invert written to the millimetre moves a shallow depth, whose velocity head moves
// the level at an intake by several times as much.
const waterSlack = 0.01

// caseYears are the storms that every plan with a rainfall table is looked at for.
var caseYears = []float64{2, 10, 25, 100}

// waterCase is one storm and one state of the outlet, as the plan tells it.
type waterCase struct {
	name, spill, message string
	years                float64
	level, freeboard     *float64
	levels               map[string]float64
}

func (r *planReader) waterCases(v val) {
	for i, w := range v.a {
		of := fmt.Sprintf("water case %d", i)
		k := waterCase{name: r.text(w, "case", of), years: r.num(w, "return_years", of), level: r.maybe(w, "outlet_level_m", of), spill: r.text(w, "first_spill", of), message: r.text(w, "message", of), freeboard: r.maybe(w, "opening_freeboard_m", of), levels: map[string]float64{}}
		for _, e := range w.get("water_level_m").ms {
			k.levels[e.key] = r.num(w.get("water_level_m"), e.key, of)
		}
		r.p.cases = append(r.p.cases, k)
	}
}

// outletState is a state of the outlet that is asked for.
type outletState struct {
	name  string
	level *float64
}

// statedLevel is the highest level that the site states for an inlet in a storm.
func (n *inlet) statedLevel(years float64) *float64 {
	rows := n.levelsOver(years)
	if len(rows) == 0 {
		return n.surchargesAt
	}
	top := rows[0][1]
	for _, r := range rows {
		top = max(top, r[1])
	}
	return &top
}

// statesOf lists the states of an outlet that a plan tells, the one it is sized
// for first.
func statesOf(in *inlet, design float64) []outletState {
	free := outletState{name: "free_outfall"}
	if in == nil || in.outlet {
		return []outletState{free}
	}
	if v := in.statedLevel(design); v != nil {
		return []outletState{{"stated", v}, free}
	}
	out := []outletState{free}
	if in.invert != nil && in.outgoing != nil {
		crown := *in.invert + *in.outgoing
		out = append(out, outletState{"at_crown", &crown})
	}
	if in.rim != nil {
		out = append(out, outletState{"at_rim", in.rim})
	}
	return out
}

// treeOf lists the runs that flow through run i, itself first, each after the one
// below it.
func (j *judge) treeOf(i int) []int {
	list := []int{i}
	for k := 0; k < len(list) && len(list) <= len(j.p.runs); k++ {
		if a := j.p.runs[list[k]].a; a >= 0 {
			list = append(list, j.p.nodes[a].in...)
		}
	}
	return list
}

// waterLevels: every storm and state that is asked for is told once, at the levels
// worked here; what spills first, the storm in which the first basin runs over,
// and the levels at points and in profiles go with them.
func (j *judge) waterLevels() {
	c := j.open("water_levels").bound(waterSlack)
	used := make([]bool, len(j.p.cases))
	over := map[string]float64{} // by lot of the last run, of a shared drain by outlet: the first storm that spills
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.b < 0 || r.a < 0 || len(j.p.nodes[r.b].out) > 0 || !r.levels {
			continue
		}
		tree := j.treeOf(i)
		some, area := false, false
		for _, k := range tree {
			some = some || j.p.runs[k].stated > 0
			area = area || j.p.runs[k].areal()
		}
		if j.s.rain == nil && (area || !some) {
			continue // without rain the flow of an area is not known, nor any level below it
		}
		rules := j.of(r.lot)
		if len(j.p.shares) > 0 {
			rules = &j.c
		}
		drain := r.lot
		if len(j.p.shares) > 0 {
			drain = r.to
		}
		in := j.inlet(r.to)
		design := float64(rules.Storm.ReturnYears)
		years := []float64{design}
		if j.s.rain != nil && len(j.s.rain.table) > 0 {
			years = append(years, caseYears...)
			slices.Sort(years)
			years = slices.Compact(years)
		}
		for s, st := range statesOf(in, design) {
			for _, y := range years {
				if s > 0 && y != design {
					continue
				}
				level := st.level
				if st.name == "stated" && y != design {
					if v := in.statedLevel(y); v != nil {
						level = v
					}
				}
				at := j.caseOf(c, r, st.name, y)
				if at < 0 {
					continue
				}
				k := &j.p.cases[at]
				if !used[at] {
					used[at] = true
					j.heldCase(c, k, r.b, level, y/design != 1, y, design)
				}
				if s == 0 && k.spill != "" && (over[drain] == 0 || y < over[drain]) {
					over[drain] = y
				}
				if s == 0 && y == design {
					j.markedBy(c, k, tree, r.b)
				}
			}
		}
	}
	for i := range used {
		if !used[i] {
			c.fail(fmt.Sprintf("water case %d", i), "%q for %g years is not one that is asked for here, or no drain has its points", j.p.cases[i].name, j.p.cases[i].years)
		}
	}
	told := map[string]bool{}
	for _, f := range j.p.findings {
		if f.code != "runs_over" {
			continue
		}
		lot := f.lot
		if len(j.p.shares) > 0 {
			lot = f.feature
		}
		if told[lot] {
			c.fail("runs_over", "told twice of %s", lot)
		}
		told[lot] = true
		if f.measured == nil || over[lot] == 0 || *f.measured != over[lot] {
			c.fail("runs_over", "the finding of %s says %s years; by the cases the first basin runs over at %g (0: in none)", lot, orNone(f.measured), over[lot])
		}
	}
	for _, lot := range slices.Sorted(maps.Keys(over)) {
		y := over[lot]
		if !told[lot] {
			c.fail("runs_over", "a basin of %s runs over in the %g-year storm, and no finding says so", lot, y)
		}
	}
}

func orNone(v *float64) string {
	if v == nil {
		return "no"
	}
	return fmt.Sprintf("%g", *v)
}

// caseOf finds the one case of a last run for a state and a storm; -1 and a
// failure where there is none or more than one.
func (j *judge) caseOf(c *check, r *run, name string, years float64) int {
	at := -1
	for i := range j.p.cases {
		k := &j.p.cases[i]
		if _, has := k.levels[r.from]; !has || k.name != name || k.years != years {
			continue
		}
		if at >= 0 {
			c.fail(r.id, "%s for %g years is told twice", name, years)
			return -1
		}
		at = i
	}
	if at < 0 {
		c.fail(r.id, "no water levels told for %s in the %g-year storm", name, years)
	}
	return at
}

// heldCase works the levels of a case and holds the plan's to them.
func (j *judge) heldCase(c *check, k *waterCase, sink int, level *float64, other bool, years, design float64) {
	where := func(point string) string { return fmt.Sprintf("%s, %s, %g years", point, k.name, years) }
	if (level == nil) != (k.level == nil) || level != nil && math.Abs(*level-*k.level) > oneMillimetre {
		c.fail(where(j.p.nodes[sink].id), "outlet_level_m says %s, the site gives %s", orNone(k.level), orNone(level))
	}
	var lasts []int // into this outlet, of this case
	for _, i := range j.p.nodes[sink].in {
		if a := j.p.runs[i].a; a >= 0 {
			if _, has := k.levels[j.p.nodes[a].id]; has {
				lasts = append(lasts, i)
			}
		}
	}
	lo, hi := map[int]float64{}, map[int]float64{}
	for _, by := range []float64{0, 1, -1} {
		g := hgl{j: j, level: level, more: 1 + 2e-4*by, less: 0.001 * by, at: map[int]float64{}}
		g.flow = func(r *run) (float64, bool) {
			q := flowOf(r) - r.stated
			if other && q > 0 {
				if r.intensity == nil || *r.intensity <= 0 {
					return flowOf(r), true
				}
				now, ok := j.s.rate(r.tc, years)
				if !ok {
					return 0, false
				}
				rules := j.of(r.lot)
				if len(j.p.shares) > 0 {
					rules = &j.c
				}
				q *= now / *r.intensity * listed(rules.Runoff.FrequencyFactor, years) / listed(rules.Runoff.FrequencyFactor, design)
			}
			return q + r.stated, true
		}
		if !g.solve(sink, lasts) {
			c.fail(where(j.p.nodes[sink].id), "the rain of that storm is not known here")
			return
		}
		near := len(k.levels) == len(g.at)
		for n, z := range g.at {
			got, told := k.levels[j.p.nodes[n].id]
			near = near && told && math.Abs(z-got) <= waterSlack
			if v, ok := lo[n]; !ok || z < v {
				lo[n] = z
			}
			if v, ok := hi[n]; !ok || z > v {
				hi[n] = z
			}
		}
		if by == 0 && near {
			break
		}
	}
	for _, n := range slices.Sorted(maps.Keys(lo)) { // in order: the worst place told is the same each time
		id := j.p.nodes[n].id
		got, ok := k.levels[id]
		if !ok {
			c.fail(where(id), "no level told")
			continue
		}
		off := max(lo[n]-got, got-hi[n], 0)
		c.most(off, where(id))
		if !(off <= waterSlack) {
			c.fail(where(id), "water stands at %.3f by the plan, at %.3f to %.3f worked again", got, lo[n], hi[n])
		}
	}
	if len(k.levels) != len(lo) {
		c.fail(where(j.p.nodes[sink].id), "levels of %d points are told, the drain has %d", len(k.levels), len(lo))
	}
	j.heldSpill(c, k, lo, where)
	j.heldOpening(c, k, lo, sink, where)
}

// heldOpening: the freeboard told is that of the lowest opening on the lots that
// the drain is of, over the highest water at an intake, no higher than its rim.
func (j *judge) heldOpening(c *check, k *waterCase, points map[int]float64, sink int, where func(string) string) {
	top := math.Inf(-1)
	for n := range points {
		p := &j.p.nodes[n]
		if p.kind != "intake" {
			continue
		}
		z := k.levels[p.id]
		if q := j.intake(p.id); q != nil && q.rim != nil {
			z = min(z, *q.rim)
		}
		top = max(top, z)
	}
	lowest := math.Inf(1)
	for _, o := range j.s.openings {
		for _, i := range j.p.nodes[sink].in {
			a := j.p.runs[i].a
			if a < 0 {
				continue
			}
			if _, mine := points[a]; !mine || o.level == nil {
				continue
			}
			lots := []string{j.p.runs[i].lot}
			if len(j.p.shares) > 0 {
				lots = j.sharers(j.p.nodes[sink].id)
			}
			for _, id := range lots {
				if l := j.s.lot(id); l != nil && j.inOrOn(l, o.at) {
					lowest = min(lowest, *o.level)
				}
			}
		}
	}
	known := !math.IsInf(top, 0) && !math.IsInf(lowest, 0)
	if known != (k.freeboard != nil) || known && math.Abs(*k.freeboard-(lowest-top)) > 2*oneMillimetre {
		c.fail(where("openings"), "opening_freeboard_m says %s; the lowest opening is at %.3f, the highest water at an intake at %.3f", orNone(k.freeboard), lowest, top)
	}
}

// heldSpill: the intake told to spill first is the one whose rim is furthest
// under water; none is told where none is.
func (j *judge) heldSpill(c *check, k *waterCase, points map[int]float64, where func(string) string) {
	most, named := math.Inf(-1), math.Inf(-1)
	for n := range points {
		p := &j.p.nodes[n]
		z := j.spills(p)
		if p.kind != "intake" || z == nil {
			continue
		}
		d := k.levels[p.id] - *z
		most = max(most, d)
		if p.id == k.spill {
			named = d
		}
	}
	const edge = 1.5 * oneMillimetre
	switch {
	case k.spill == "" && most > edge:
		c.fail(where("first_spill"), "nothing runs over by the plan; the water stands %s over a rim", mm(most))
	case k.spill != "" && !(named > -edge):
		c.fail(where(k.spill), "told to run over first; its rim is %s over the water, or not known", mm(-named))
	case k.spill != "" && named < most-edge:
		c.fail(where(k.spill), "told to run over first; another rim lies %s deeper under water", mm(most-named))
	}
}

// markedBy: points and profiles bear the levels of the case that the plan is
// sized for.
func (j *judge) markedBy(c *check, k *waterCase, tree []int, sink int) {
	const edge = 1.5 * oneMillimetre
	for _, i := range tree {
		n := &j.p.nodes[max(j.p.runs[i].a, 0)]
		want, ok := k.levels[n.id]
		if !ok {
			continue
		}
		if n.water == nil || math.Abs(*n.water-want) > edge {
			c.fail(n.id, "water_level_m says %s, its case %.3f", orNone(n.water), want)
			continue
		}
		if n.rim != nil && (n.freeboard == nil || math.Abs(*n.freeboard-(*n.rim-*n.water)) > edge) {
			c.fail(n.id, "freeboard_m says %s, rim less water is %.3f", orNone(n.freeboard), *n.rim-*n.water)
		}
	}
	for i := range j.p.profiles {
		q := &j.p.profiles[i]
		for _, w := range q.rows {
			want, ok := k.levels[w.point]
			if n, there := j.p.nodeAt[w.point]; !ok || !there || n == sink {
				continue
			}
			if w.water == nil || math.Abs(*w.water-want) > edge {
				c.fail(w.point, "the profile from %s says the water is at %s, its case %.3f", q.from, orNone(w.water), want)
			}
		}
	}
}

// listed is the factor of the greatest listed return period that is no greater; 1
// below them all.
func listed(m map[int]float64, years float64) float64 {
	best, f := -1, 1.0
	for k, v := range m {
		if float64(k) <= years && k > best {
			best, f = k, v
		}
	}
	return f
}

// hgl is one working of the levels: every flow times more, every fall shorter by
// less.
type hgl struct {
	j          *judge
	level      *float64
	flow       func(r *run) (float64, bool)
	more, less float64
	at         map[int]float64 // water by node
}

// tube is one pipe of a run under its flow.
type tube struct {
	r             *run
	q, s, d       float64
	area, carry   float64 // full; conveyance
	crit, uniform float64 // depths; uniform is NaN where it cannot carry q part full
}

func (g *hgl) tube(i int) (tube, bool) {
	r := &g.j.p.runs[i]
	q, ok := g.flow(r)
	key := tubeKey{i, q, g.more, g.less}
	if t, had := g.j.tubes[key]; had { // the same storm at another state of the outlet
		return t, ok
	}
	t := tube{r: r, q: q * g.more / float64(r.count), s: (r.up - r.down - g.less) / r.measured, d: r.diameter}
	t.area = math.Pi * t.d * t.d / 4
	t.carry = t.area * math.Pow(t.d/4, 2.0/3) / r.n
	t.uniform = math.NaN()
	if t.q > 0 {
		t.crit = t.depthWhere(func(a, top, _ float64) bool { return gravity*a*a*a > t.q*t.q*top })
		if t.s > 0 && t.q <= t.carry*math.Sqrt(t.s) {
			// A^(5/3) / (n P^(2/3)) sqrt(S) >= q, to the third power
			need := cubed(t.q*r.n) / (t.s * math.Sqrt(t.s))
			t.uniform = t.depthWhere(func(a, _, wet float64) bool { return a*a*a*a*a >= need*wet*wet })
		}
	} else if t.s > 0 {
		t.uniform = 0
	}
	if g.j.tubes == nil {
		g.j.tubes = map[tubeKey]tube{}
	}
	g.j.tubes[key] = t
	return t, ok
}

// tubeKey is what the depths in a pipe follow from: the run, its flow, and how much
// more of it on how much less fall.
type tubeKey struct {
	run           int
	q, more, less float64
}

// depthWhere finds the depth at which yes turns true, of the area, the width of the
// water's top and the wetted girth: by the angle th that the water takes of the pipe,
// y = D (1 - cos th/2)/2, A = D^2 (th - sin th)/8, top D sin th/2, girth D th/2.
func (t *tube) depthWhere(yes func(area, top, wet float64) bool) float64 {
	lo, hi := 0.0, 2*math.Pi
	for hi-lo > 1e-12 {
		th := (lo + hi) / 2
		s, c := math.Sincos(th / 2)
		if yes(t.d*t.d*(th-2*s*c)/8, t.d*s, t.d*th/2) {
			hi = th
		} else {
			lo = th
		}
	}
	return t.d * (1 - math.Cos(hi/2)) / 2
}

func cubed(x float64) float64 { return x * x * x }

func (t *tube) section(y float64) (area, top float64) {
	if y >= t.d {
		return t.area, 0
	}
	th := 2 * math.Acos(1-2*max(y, 0)/t.d)
	return t.d * t.d * (th - math.Sin(th)) / 8, t.d * math.Sin(th/2)
}

// flows is the conveyance and the velocity head at a depth.
func (t *tube) flows(y float64) (carry, head float64) {
	if y >= t.d {
		return t.carry, sq(t.q/t.area) / (2 * gravity)
	}
	th := 2 * math.Acos(1-2*max(y, 0)/t.d)
	a := t.d * t.d * (th - math.Sin(th)) / 8
	if th > 0 {
		r := a / (t.d * th / 2)
		carry = min(t.carry, a*math.Cbrt(r*r)/t.r.n)
	}
	if t.q > 0 {
		head = sq(t.q/a) / (2 * gravity)
	}
	return carry, head
}

func (t *tube) head(y float64) float64 {
	_, h := t.flows(y)
	return h
}

// A curve of the water is followed in so many steps of depth, or in steps that leave
// so much of what is left to a depth that it never quite comes to. Both keep it
// within half a millimetre of one in forty times as many.
const (
	curveSteps = 120
	curveLeft  = 0.92
)

// climb takes the depth at the lower end to that at the upper. down is the depth
// that stands in the lower end; free says that a steep pipe throws its water off.
func (t *tube) climb(y float64) (up, down float64, free bool) {
	return t.climbBy(y, curveSteps, curveLeft)
}

func (t *tube) climbBy(y float64, most int, left float64) (up, down float64, free bool) {
	l := t.r.measured
	if t.q <= 0 {
		y = max(y, 0)
		return max(y-t.s*l, 0), y, false
	}
	steep := t.uniform < t.crit // false where there is no uniform depth
	if y <= t.crit {
		if steep {
			return t.crit, t.uniform, true
		}
		y = t.crit
	}
	down = y
	x, full := 0.0, t.q*t.q/(t.carry*t.carry)
	if y >= t.d {
		if t.s <= full || y-t.d >= (t.s-full)*l {
			return y - (t.s-full)*l, down, false
		}
		x, y = (y-t.d)/(t.s-full), t.d
	}
	// by steps of depth toward where the curve leads
	to, near := t.d, 1.0
	switch {
	case steep:
		to = t.crit
	case !math.IsNaN(t.uniform):
		to, near = t.uniform, left
	}
	from := y
	carry, head := t.flows(y)
	for k := 1; k <= most && math.Abs(y-to) > 1e-7; k++ {
		next := from + (to-from)*float64(k)/float64(most)
		if near < 1 { // never quite there
			next = to + (y-to)*near
		}
		c, h := t.flows(next)
		fall := t.s - (sq(t.q/carry)+sq(t.q/c))/2
		dx := 0.0
		if fall != 0 {
			dx = (y + head - next - h) / fall
		}
		dx = max(dx, 0)
		if x+dx >= l {
			return y + (next-y)*(l-x)/dx, down, false
		}
		x, y, carry, head = x+dx, next, c, h
	}
	if math.IsNaN(t.uniform) {
		return t.d + (full-t.s)*(l-x), down, false
	}
	return to, down, false
}

func sq(x float64) float64 { return x * x }

// solve works the levels of all points above an outlet by the runs that enter it.
func (g *hgl) solve(sink int, lasts []int) bool {
	tubes := map[int]*tube{}
	var order []int
	for _, i := range lasts {
		order = append(order, g.j.treeOf(i)...)
	}
	for _, i := range order {
		t, ok := g.tube(i)
		if !ok {
			return false
		}
		tubes[i] = &t
	}
	start := func(t *tube) float64 {
		y := t.crit
		if math.IsNaN(t.uniform) && t.q > 0 {
			y = (t.crit + t.d) / 2
		}
		if g.level != nil {
			y = max(y, *g.level-t.r.down)
		}
		return y
	}
	out := math.Inf(-1)
	for _, i := range lasts {
		out = max(out, tubes[i].r.down+start(tubes[i]))
	}
	if g.level != nil {
		out = *g.level
	}
	g.at[sink] = out
	for _, i := range order {
		t := tubes[i]
		if t.r.a < 0 || t.r.b < 0 {
			return true // a tree that hangs together is another check's
		}
		y := g.at[t.r.b] - t.r.down
		if t.r.b == sink {
			y = start(t)
		}
		up, down, free := t.climb(y)
		below := &g.j.p.nodes[t.r.b]
		if len(below.out) == 1 && below.kind != "wye" && !free {
			if deg := g.turn(i, below.out[0]); deg > 1 {
				up += 0.0033 * deg * max(t.head(up), t.head(down))
			}
		}
		z := t.r.up + up
		if t.q > 0 {
			loss := func(depth float64) float64 {
				if g.j.p.nodes[t.r.a].kind == "intake" {
					return 1.5 * t.head(depth)
				}
				return g.wye(i, depth, tubes)
			}
			z += max(loss(up), t.crit+loss(t.crit)-up)
		}
		g.at[t.r.a] = z
	}
	return true
}

func (g *hgl) turn(i, o int) float64 {
	a, b := g.j.p.runs[i].line, g.j.p.runs[o].line
	return turn(a[len(a)-2], a[len(a)-1], b[0], b[1])
}

// wye is the rise of the line by momentum where pipes run into run o, which
// stands at a depth.
func (g *hgl) wye(o int, depth float64, tubes map[int]*tube) float64 {
	t := tubes[o]
	n := &g.j.p.nodes[t.r.a]
	all := func(t *tube, y float64) float64 { a, _ := t.section(y); return a * float64(t.r.count) }
	area, rise := all(t, depth), 0.0
	for range 2 {
		m := sq(t.q*float64(t.r.count)) / area
		straight, side := math.Inf(1), 0.0
		for _, k := range n.in {
			u := tubes[k]
			if u == nil || u.q <= 0 {
				continue
			}
			deg := 0.0
			if n.kind == "wye" {
				deg = g.turn(k, o)
			}
			a := all(u, max(u.crit, t.r.up+depth+rise-u.r.down))
			m -= sq(u.q*float64(u.r.count)) / a * math.Cos(deg*math.Pi/180)
			if deg < straight {
				straight, side = deg, a
			}
		}
		if side == 0 {
			return 0
		}
		rise = max(0, m/(gravity*(area+side)/2))
	}
	return rise
}
