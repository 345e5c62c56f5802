package verify

// The network as a graph: who joins whom, at what angle, in what pipe.

import (
	"math"
	"slices"
	"strings"

	"fallwright/parcels"
)

// samePlace is how far apart two statements of one place may be: coordinates are
// written to a tenth of a millimetre.
const samePlace = 5e-4

func apartBy(a, b pt) float64 { return math.Hypot(a.x-b.x, a.y-b.y) }

// stock: every pipe is one that the criteria list.
func (j *judge) stock() {
	c := j.open("stock")
	for i := range j.p.runs {
		r := &j.p.runs[i]
		found := false
		for _, k := range j.of(r.lot).Pipe.Stock {
			found = found || k.Pipe == r.pipe && k.Wall == r.wall && k.Size == r.size &&
				math.Abs(k.Diameter/1000-r.diameter) < 1e-6 && math.Abs(k.OutsideDiameter/1000-r.outside) < 1e-6 && math.Abs(float64(k.N)-r.n) < 1e-9 &&
				slices.Contains([]string{"", "any", k.Wall}, j.of(r.lot).Pipe.Wall)
		}
		if !found {
			c.fail(r.id, "%s %s %s, %.4g mm inside, %.4g mm outside, n %.4g is not in the stock", r.size, r.wall, r.pipe, r.diameter*1000, r.outside*1000, r.n)
		}
	}
}

// places: points and run ends are where they say, and stand for what the site
// has there.
func (j *judge) places() {
	c := j.open("places").bound(samePlace)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.a < 0 || r.b < 0 {
			c.fail(r.id, "goes from %q to %q, and the network has no such point", r.from, r.to)
			continue
		}
		if r.a == r.b {
			c.fail(r.id, "goes from %q to itself", r.from)
		}
		d := max(apartBy(r.line[0], j.p.nodes[r.a].at), apartBy(r.line[len(r.line)-1], j.p.nodes[r.b].at))
		c.most(d, r.id)
		if d > samePlace {
			c.fail(r.id, "an end is %s from its point", mm(d))
		}
		if r.pipe != "solid" && r.pipe != "perforated" {
			c.fail(r.id, "pipe %q", r.pipe)
		}
	}
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		k, q := j.intake(n.id), j.inlet(n.id)
		if n.lot != "" && !j.chosen(n.lot) {
			c.fail(n.id, "belongs to lot %q, which is not one of the plan's", n.lot)
		}
		j.rim(c, n, k, q)
		want := 0.0
		for _, m := range n.in {
			for _, o := range n.out {
				a, b := j.p.runs[m].line, j.p.runs[o].line
				want = max(want, turn(a[len(a)-2], a[len(a)-1], b[0], b[1]))
			}
		}
		switch turns := len(n.in) > 0 && len(n.out) > 0; {
		case turns && n.angle != nil && math.Abs(*n.angle-want) > 0.2+0.01*want:
			c.fail(n.id, "angle_deg says %.2f, the runs make %.2f", *n.angle, want)
		case turns && n.angle == nil && want > 1 && !j.box(n):
			c.fail(n.id, "no angle_deg, the runs make %.2f", want)
		case !turns && n.angle != nil:
			c.fail(n.id, "angle_deg %.2f where nothing turns", *n.angle)
		}
		switch n.kind {
		case "intake":
			if k == nil {
				c.fail(n.id, "the site has no such intake")
			} else if d := apartBy(k.at, n.at); d > samePlace {
				c.fail(n.id, "stands %s from the intake", mm(d))
			}
		case "inlet", "outlet":
			if q == nil {
				if !j.onSwale(n.at) {
					c.fail(n.id, "the site has no such %s", n.kind)
				}
			} else if q.outlet != (n.kind == "outlet") {
				c.fail(n.id, "is not an %s in the site", n.kind)
			} else if d := apartBy(q.at, n.at); d > samePlace {
				c.fail(n.id, "stands %s from the %s", mm(d), n.kind)
			}
		case "basin", "wye", "cleanout", "bend", "reducer", "valve":
			if k != nil || q != nil {
				c.fail(n.id, "a %s bears the name of an intake or inlet", n.kind)
			}
		default:
			c.fail(n.id, "kind %q", n.kind)
		}
	}
}

// rim: a stated rim is the site's; where the site has none, an intake's is its
// ground. Freeboard is rim, or ground, less water level.
func (j *judge) rim(c *check, n *node, k *intake, q *inlet) {
	var want *float64
	switch {
	case n.kind == "intake" && k != nil && k.rim != nil:
		want = k.rim
	case n.kind == "intake":
		want = n.ground
	case n.kind == "inlet" && q != nil:
		want = q.rim
	case n.kind == "outlet" && q != nil:
		want = q.level
	case n.kind == "basin":
		want = n.rim // a basin of the plan's own
	}
	switch {
	case n.rim != nil && want == nil:
		c.fail(n.id, "rim_m %s, and the site has none", mm(*n.rim))
	case n.rim != nil && math.Abs(*n.rim-*want) > 2*oneMillimetre:
		c.fail(n.id, "rim_m says %s, the site %s", mm(*n.rim), mm(*want))
	case n.rim == nil && want != nil && n.kind == "inlet":
		c.fail(n.id, "no rim_m, and the site has one")
	}
	top := n.rim
	if top == nil {
		top = n.ground
	}
	switch {
	case n.freeboard != nil && (n.water == nil || top == nil):
		c.fail(n.id, "freeboard_m without a water level")
	case n.freeboard != nil && math.Abs(*n.freeboard-(*top-*n.water)) > 2*oneMillimetre:
		c.fail(n.id, "freeboard_m says %s, rim less water level is %s", mm(*n.freeboard), mm(*top-*n.water))
	}
	if n.water != nil && n.invert != nil && *n.water < *n.invert-oneMillimetre {
		c.fail(n.id, "water_level_m %s is under the invert", mm(*n.water))
	}
}

func (j *judge) onSwale(p pt) bool {
	return slices.ContainsFunc(j.s.swales, func(t thing) bool { return t.runsBy(p) })
}

// runsBy tells whether a line of the thing goes through a point.
func (t *thing) runsBy(p pt) bool {
	for _, l := range t.lines {
		for k := 1; k < len(l); k++ {
			if fromSegment(p, l[k-1], l[k]) < 0.05 {
				return true
			}
		}
	}
	return false
}

// outletOf is the name of the outlet at an end of the water: the point's, but that
// drains of several lots come to one swale at a point each, named by lot and swale.
func (j *judge) outletOf(n *node) string {
	if lot, id, ok := strings.Cut(n.id, "/"); ok && j.chosen(lot) && j.inlet(n.id) == nil {
		for i := range j.s.swales {
			if t := &j.s.swales[i]; t.id == id && t.runsBy(n.at) {
				return id
			}
		}
	}
	return n.id
}

// tree: one way out of each point, no way round, every end an intake or an
// outlet.
func (j *judge) tree() {
	c := j.open("tree")
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		if len(n.out) > 1 {
			c.fail(n.id, "%d ways out", len(n.out))
		}
		if len(n.out) == 0 && len(n.in) > 0 && n.kind != "inlet" && n.kind != "outlet" {
			c.fail(n.id, "the water ends at a %s", n.kind)
		}
		if (n.kind == "inlet" || n.kind == "outlet") && len(n.out) > 0 {
			c.fail(n.id, "water leaves an %s again", n.kind)
		}
		if len(n.in) == 0 && n.kind != "intake" {
			feeds := len(n.out) > 0 && j.p.runs[n.out[0]].carries == "ground"
			if !feeds && (len(n.out) > 0 || n.kind != "inlet" && n.kind != "outlet") {
				c.fail(n.id, "a %s that nothing flows into", n.kind)
			}
		}
		at := i
		for step := 0; len(j.p.nodes[at].out) == 1; step++ {
			if step > len(j.p.nodes) {
				c.fail(n.id, "the water goes round")
				break
			}
			next := j.p.runs[j.p.nodes[at].out[0]].b
			if next < 0 {
				break
			}
			at = next
		}
	}
}

// sink is the node at which the water of a node ends; -1 if it goes round or
// ends nowhere.
func (j *judge) sink(i int) int {
	for step := 0; step <= len(j.p.nodes); step++ {
		if len(j.p.nodes[i].out) != 1 {
			return i
		}
		if i = j.p.runs[j.p.nodes[i].out[0]].b; i < 0 {
			return -1
		}
	}
	return -1
}

// connected: every intake of the chosen lots is joined to an outlet.
func (j *judge) connected() {
	c := j.open("connected")
	p := j.p
	if len(p.summary.lots) == 0 {
		c.fail("summary", "no lots")
	}
	for _, id := range p.summary.lots {
		if j.s.lot(id) == nil {
			c.fail("summary", "lot %q is not in the site", id)
		}
	}
	chosen := 0
	for i := range j.s.intakes {
		k := &j.s.intakes[i]
		if !j.chosen(k.lot) {
			if n, ok := p.nodeAt[k.id]; ok && len(p.nodes[n].out) > 0 {
				c.fail(k.id, "belongs to lot %q, which is not one of the plan's, and is joined", k.lot)
			}
			continue
		}
		chosen++
		if n, ok := p.nodeAt[k.id]; ok && p.nodes[n].kind == "intake" && len(p.nodes[n].out) > 0 {
			if s := j.sink(n); s >= 0 && j.inlet(p.nodes[s].id) != nil || s >= 0 && j.onSwale(p.nodes[s].at) {
				continue
			}
		}
		if j.toldUnjoined(k) {
			c.told++
			continue
		}
		c.fail(k.id, "is not joined to an outlet")
	}
	if chosen == 0 && len(p.runs) > 0 && !j.allGround() {
		c.fail("network", "runs, and no intake in the lots chosen")
	}
}

func (j *judge) allGround() bool {
	for _, r := range j.p.runs {
		if r.carries != "ground" {
			return false
		}
	}
	return true
}

// toldUnjoined: an intake may stay unjoined where a stop names it, its lot, or
// the whole site.
func (j *judge) toldUnjoined(k *intake) bool {
	if j.p.summary.verdict != string(parcels.NotFeasible) {
		return false
	}
	for _, f := range j.p.findings {
		if f.severity != string(parcels.Stop) {
			continue
		}
		_, aRun := j.p.runAt[f.feature]
		if f.feature == k.id || !aRun && (f.lot == k.lot || f.lot == "") && j.intake(f.feature) == nil {
			return true
		}
	}
	return false
}

// outlet: the water ends where it may: never in a sanitary or combined sewer.
func (j *judge) outlet() {
	c := j.open("outlet")
	ends := map[string]bool{}
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		if len(n.in) == 0 || len(n.out) > 0 {
			continue
		}
		ends[j.outletOf(n)] = true
		q := j.inlet(n.id)
		if q == nil {
			continue
		}
		if q.flowLimit != nil {
			all, names := 0.0, []string{n.id}
			for _, k := range n.in {
				all += flowOf(&j.p.runs[k])
				names = append(names, j.p.runs[k].id)
			}
			if all > *q.flowLimit*(1+1e-6)+1e-6*float64(len(n.in)-1) { // flows are written to a millilitre a second
				c.broken(names, []string{"limit"}, "takes %.5f m3/s, its limit is %.5f", all, *q.flowLimit)
			}
		}
		switch q.system {
		case "storm":
		case "unknown":
			if j.p.summary.verdict == string(parcels.Feasible) {
				c.fail(n.id, "nobody knows which sewer it belongs to: at best not_proven")
			}
		default:
			c.fail(n.id, "is a structure of the %s sewer", q.system)
		}
	}
	said := map[string]bool{}
	for _, id := range strings.Split(j.p.summary.outlet, ", ") {
		if id != "" {
			said[id] = true
			if !ends[id] && (len(ends) > 0 || j.p.summary.verdict != string(parcels.NotFeasible)) {
				c.fail("summary", "outlet %q, and no water ends there", id)
			}
		}
	}
	for id := range ends {
		if !said[id] {
			c.fail("summary", "water ends at %q, and outlet says %q", id, j.p.summary.outlet)
		}
	}
}

// turn is the angle in degrees between two directions.
func turn(a, b, c, d pt) float64 {
	ux, uy, vx, vy := b.x-a.x, b.y-a.y, d.x-c.x, d.y-c.y
	return math.Abs(math.Atan2(ux*vy-uy*vx, ux*vx+uy*vy)) * 180 / math.Pi
}

// turnSlack is what rounding of coordinates does to an angle between two
// straights.
func turnSlack(a, b, c, d pt) float64 {
	return 0.01 + (math.Atan2(2e-4, apartBy(a, b))+math.Atan2(2e-4, apartBy(c, d)))*180/math.Pi
}

// box says whether water falls into an open box at a point, where no angle is
// asked.
func (j *judge) box(n *node) bool {
	switch n.kind {
	case "basin", "inlet", "outlet":
		return true
	case "intake":
		k := j.intake(n.id)
		return k != nil && k.kind != "downspout"
	}
	return false
}

// joinAngle: each run enters a wye at no more than the angle allowed, with the
// flow.
func (j *judge) joinAngle() {
	c := j.open("join_angle").bound(j.c.Route.JoinAngle)
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		if len(n.in) < 2 || len(n.out) != 1 || j.box(n) {
			continue
		}
		o := j.p.runs[n.out[0]].line
		for _, k := range n.in {
			r := &j.p.runs[k]
			a, b := r.line[len(r.line)-2], r.line[len(r.line)-1]
			t := turn(a, b, o[0], o[1])
			c.most(t, n.id)
			if most := j.of(r.lot).Route.JoinAngle; t > most+turnSlack(a, b, o[0], o[1]) {
				c.broken([]string{r.id, n.id}, []string{"angle", "join", "bend"}, "joins at %s by %.2f degrees, %.4g are allowed", n.id, t, most)
			}
		}
	}
}

// bendAngle: no bend is sharper than allowed.
func (j *judge) bendAngle() {
	c := j.open("bend_angle").bound(j.c.Route.BendAngle)
	hold := func(lot string, names []string, a, b, d, e pt) {
		t := turn(a, b, d, e)
		c.most(t, names[0])
		if most := j.of(lot).Route.BendAngle; t > most+turnSlack(a, b, d, e) {
			c.broken(names, []string{"angle", "bend"}, "bends by %.2f degrees, %.4g are allowed", t, most)
		}
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		for k := 2; k < len(r.line); k++ {
			hold(r.lot, r.names(), r.line[k-2], r.line[k-1], r.line[k-1], r.line[k])
		}
		if r.b < 0 {
			continue
		}
		if n := &j.p.nodes[r.b]; len(n.in) == 1 && len(n.out) == 1 && !j.box(n) {
			o := &j.p.runs[n.out[0]]
			hold(r.lot, []string{n.id, r.id, o.id}, r.line[len(r.line)-2], r.line[len(r.line)-1], o.line[0], o.line[1])
		}
	}
}

// diameters: no smaller pipe downstream, nor fewer.
func (j *judge) diameters() {
	c := j.open("diameters")
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		for _, o := range n.out {
			for _, k := range n.in {
				if out, in := &j.p.runs[o], &j.p.runs[k]; out.diameter < in.diameter-1e-9 {
					c.fail(out.id, "%.4g mm below %s of %.4g mm", out.diameter*1000, in.id, in.diameter*1000)
				}
			}
		}
	}
}

// leastStraight: what the criteria ask between two fittings. The first and the
// last run are as long as the ground has it.
func (j *judge) leastStraight() {
	least := float64(j.c.Route.LeastStraight)
	c := j.open("least_straight").bound(least)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.leadOff || r.tieIn || j.asDrawn(r) {
			continue
		}
		for k := 1; k < len(r.line); k++ {
			d, least := apartBy(r.line[k-1], r.line[k]), float64(j.of(r.lot).Route.LeastStraight)
			c.least(d, r.id)
			if d < least-samePlace {
				c.broken(r.names(), []string{"straight"}, "%s between two fittings, %s is asked", mm(d), mm(least))
			}
		}
	}
}

// cleanouts: along the water's way there is an access (an intake, a basin, a
// cleanout, the upper end) at least every so often, within a metre, for no run
// is cut shorter than the least straight; the first run and the last are not cut.
func (j *judge) cleanouts() {
	every := float64(j.c.Route.CleanoutEvery)
	c := j.open("cleanouts").bound(every)
	if every <= 0 {
		return
	}
	since := make([]float64, len(j.p.nodes))
	var at func(n, depth int) float64
	at = func(n, depth int) float64 {
		nd := &j.p.nodes[n]
		if depth > len(j.p.nodes) || len(nd.in) == 0 || nd.kind == "intake" || nd.kind == "cleanout" || nd.kind == "basin" {
			return 0
		}
		if since[n] == 0 {
			for _, k := range nd.in {
				if r := &j.p.runs[k]; r.a >= 0 {
					since[n] = max(since[n], at(r.a, depth+1)+r.measured)
				}
			}
		}
		return since[n]
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.a < 0 {
			continue
		}
		d := at(r.a, 0) + r.measured
		c.most(d, r.id)
		slack := 1.0
		if r.tieIn || r.leadOff {
			slack += r.measured
		}
		if d > every+slack {
			c.fail(r.id, "%s since the last cleanout, %s are asked", mm(d), mm(every))
		}
	}
}
