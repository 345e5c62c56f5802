package verify

// Water: what each run gathers, how fast it falls from the sky, what the pipe
// carries.
//
//	Q   m3/s      C i A / 3.6e6 with i in mm/h, A in m2 (rational method)
//	Qf  m3/s      (1/n) A R^(2/3) S^(1/2), full circle, R = D/4 (Manning)
//	y/D -         depth over diameter at normal flow, by bisection

import (
	"math"
	"sort"

	"fallwright/parcels"
)

// gathered is what the site says of the intakes upstream of a run.
type gathered struct {
	area, roofLo, roofHi, yardLo, yardHi, stated float64
	base                                         float64 // the longest time of concentration at an intake
	short                                        float64 // the shortest
	roof, yard                                   bool
	years                                        float64 // of the design storm
	arrivals                                     []arrival
}

// arrival is an area's water at the head of a run.
type arrival struct{ lo, hi, at, base float64 } // C A in m2 (bounds), minutes with the way through the pipes, and without

// frequency bounds the factor on C for the design storm: exact where listed,
// else between its neighbours.
func (j *judge) frequency(c *parcels.Criteria) (lo, hi float64) {
	t := float64(c.Storm.ReturnYears)
	m := c.Runoff.FrequencyFactor
	if f, ok := m[int(t)]; ok && t == math.Trunc(t) {
		return f, f
	}
	var years []float64
	for y := range m {
		years = append(years, float64(y))
	}
	if len(years) == 0 {
		return 1, 1
	}
	sort.Float64s(years)
	i := sort.SearchFloat64s(years, t)
	a, b := m[int(years[max(i-1, 0)])], m[int(years[min(i, len(years)-1)])]
	return min(a, b), max(a, b)
}

func (j *judge) upstream(i int) gathered {
	if j.gathered == nil {
		j.gathered = make([]*gathered, len(j.p.runs))
	}
	if j.gathered[i] == nil {
		g := j.gather(i)
		j.gathered[i] = &g
	}
	return *j.gathered[i]
}

func (j *judge) gather(i int) gathered {
	g := gathered{short: math.Inf(1)}
	c := j.of(j.p.runs[i].lot)
	g.years = float64(c.Storm.ReturnYears)
	lo, hi := j.frequency(c)
	seen := map[int]bool{}
	var visit func(n int, travel float64)
	visit = func(n int, travel float64) {
		if n < 0 || seen[n] {
			return
		}
		seen[n] = true
		nd := &j.p.nodes[n]
		if k := j.intake(nd.id); k != nil && nd.kind == "intake" {
			g.roof = g.roof || k.kind == "downspout"
			if k.flow != nil {
				g.stated += *k.flow
				g.yard = g.yard || k.kind != "downspout"
			} else {
				add := func(area float64, c *float64, def, floor float64) (float64, float64) {
					if area <= 0 {
						return 0, 0
					}
					if c != nil {
						def = *c
					}
					if k.tc != nil {
						floor = max(floor, *k.tc)
					}
					a := arrival{area * min(1, def*min(lo, hi)), area * min(1, def*hi), floor + travel, floor}
					g.arrivals = append(g.arrivals, a)
					g.base, g.short = max(g.base, floor), min(g.short, floor)
					g.area += area
					return a.lo, a.hi
				}
				l, h := add(k.roofArea, k.roofC, c.Runoff.RoofC, float64(c.Storm.RoofMin))
				g.roofLo, g.roofHi, g.roof = g.roofLo+l, g.roofHi+h, g.roof || h > 0
				l, h = add(k.yardArea, k.yardC, c.Runoff.YardC, float64(c.Storm.YardMin))
				g.yardLo, g.yardHi, g.yard = g.yardLo+l, g.yardHi+h, g.yard || h > 0
				if !k.areaGiven {
					g.yard = g.yard || k.kind != "downspout"
				}
			}
		}
		for _, r := range nd.in {
			visit(j.p.runs[r].a, travel+j.minutesOf(r))
		}
	}
	visit(j.p.runs[i].a, 0)
	return g
}

// peak is the greatest flow over the times at which areas have arrived; slow
// is how much longer than worked here the pipes may take, with -1 they take no
// time at all.
func (j *judge) peak(g gathered, slow float64) (q float64, ok bool) {
	at := func(a arrival) float64 {
		if slow < 0 {
			return a.base
		}
		return a.base + (a.at-a.base)*(1+slow)
	}
	for _, a := range g.arrivals {
		t := at(a)
		i, known := j.s.rate(t, g.years)
		if !known {
			return 0, false
		}
		ca := 0.0
		for _, b := range g.arrivals {
			if at(b) <= t+1e-9 {
				if slow < 0 {
					ca += b.hi
				} else {
					ca += b.lo
				}
			}
		}
		q = max(q, i*ca/3.6e6)
	}
	return q, true
}

// flowBalance: areas, C times area, and stated flows add up through the tree.
func (j *judge) flowBalance() {
	c := j.open("flow_balance").bound(0)
	for i := range j.p.nodes {
		n := &j.p.nodes[i]
		k := j.intake(n.id)
		if k == nil || n.kind != "intake" || len(n.out) == 0 || k.areaGiven || k.flow != nil {
			continue
		}
		told := false
		for _, f := range j.p.findings {
			told = told || f.feature == k.id && (f.notProven || f.severity == "stop")
		}
		if !told {
			c.fail(k.id, "nobody knows what flows in, and no finding makes that not_proven")
		}
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		g := j.upstream(i)
		slack := func(v float64) float64 { return 0.0015 + 2e-6*v }
		within := func(what string, got, lo, hi float64) {
			c.most(max(lo-got, got-hi, 0), r.id)
			if !(got >= lo-slack(lo) && got <= hi+slack(hi)) {
				c.fail(r.id, "%s says %.3f, the intakes above make %.3f", what, got, hi)
			}
		}
		within("area_m2", r.area, g.area, g.area)
		within("roof_ca_m2", r.roofCA, g.roofLo, g.roofHi)
		within("yard_ca_m2", r.yardCA, g.yardLo, g.yardHi)
		if !(math.Abs(r.stated-g.stated) <= 1e-6+1e-4*g.stated) {
			c.fail(r.id, "stated_flow_m3s says %.6f, the intakes above give %.6f", r.stated, g.stated)
		}
		want := ""
		switch {
		case g.roof && g.yard:
			want = "mixed"
		case g.roof:
			want = "roof"
		case g.yard:
			want = "yard"
		}
		if want != "" && r.carries != want && !(r.carries == "mixed" && j.groundAbove(i)) {
			c.fail(r.id, "carries %q, the intakes above make it %q", r.carries, want)
		}
	}
}

// groundAbove says whether a perforated pipe lies upstream: ground water may
// come along.
func (j *judge) groundAbove(i int) bool {
	seen := map[int]bool{}
	var visit func(i int) bool
	visit = func(i int) bool {
		r := &j.p.runs[i]
		if r.pipe == "perforated" {
			return true
		}
		if r.a < 0 || seen[i] {
			return false
		}
		seen[i] = true
		for _, k := range j.p.nodes[r.a].in {
			if visit(k) {
				return true
			}
		}
		return false
	}
	return visit(i)
}

// rate is the intensity for a duration and a return period: log-log between the
// rows of the table, not beyond them. ok is false where the site has no rain.
func (s *site) rate(minutes, years float64) (mmh float64, ok bool) {
	r := s.rain
	switch {
	case r == nil:
		return 0, false
	case r.intensity > 0:
		return r.intensity, true
	case r.curve != nil:
		return r.curve[0] / math.Pow(minutes+r.curve[1], r.curve[2]), true
	case len(r.table) == 0:
		return 0, false
	}
	// the rows of one return period lie together, shorter durations first
	at := func(rows []rainRow) float64 {
		if minutes <= rows[0].minutes {
			return rows[0].mmh
		}
		for k := 1; k < len(rows); k++ {
			if minutes <= rows[k].minutes {
				return loglog(minutes, rows[k-1].minutes, rows[k-1].mmh, rows[k].minutes, rows[k].mmh)
			}
		}
		return rows[len(rows)-1].mmh
	}
	var below []rainRow // of the return period before
	for rest := r.table; ; {
		n := 1
		for n < len(rest) && rest[n].years == rest[0].years {
			n++
		}
		rows := rest[:n]
		switch rest = rest[n:]; {
		case years <= rows[0].years && below == nil, years > rows[0].years && len(rest) == 0:
			return at(rows), true
		case years <= rows[0].years:
			return loglog(years, below[0].years, at(below), rows[0].years, at(rows)), true
		}
		below = rows
	}
}

func loglog(x, x0, y0, x1, y1 float64) float64 {
	return math.Exp(math.Log(y0) + (math.Log(x)-math.Log(x0))/(math.Log(x1)-math.Log(x0))*(math.Log(y1)-math.Log(y0)))
}

// areal says whether a run's flow comes from areas.
func (r *run) areal() bool { return r.roofCA+r.yardCA > 0 }

// concentration: the time of concentration is no less than the criteria's
// floors, and no longer than they and the way through the pipes make it: a long
// time is a weak storm.
func (j *judge) concentration() {
	c := j.open("time_of_concentration")
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.areal() || r.flow == nil && (j.s.rain == nil || !r.levels) {
			continue // no flow is worked without rain, nor without levels
		}
		g := j.upstream(i)
		last := 0.0
		for _, a := range g.arrivals {
			last = max(last, a.base+(1+pipeSlack)*(a.at-a.base))
		}
		c.least(r.tc-g.short, r.id)
		if !(r.tc >= g.short-0.006) {
			c.fail(r.id, "%.3f min, the intakes above start at %.3f", r.tc, g.short)
		}
		if !(r.tc <= last+0.05) {
			c.fail(r.id, "%.3f min, the intakes above and the way through the pipes make %.3f", r.tc, last)
		}
	}
}

func (j *judge) minutesOf(i int) float64 {
	if j.through == nil {
		j.through = make([]float64, len(j.p.runs))
		for k := range j.p.runs {
			j.through[k] = j.minutes(&j.p.runs[k])
		}
	}
	return j.through[i]
}

// minutes is the time through a run at its normal depth.
func (j *judge) minutes(r *run) float64 {
	if r.flow == nil || *r.flow <= 0 || !r.levels || r.measured == 0 {
		return 0
	}
	s := (r.up - r.down) / r.measured
	if s <= 0 {
		return 60
	}
	_, v := normal(*r.flow/float64(r.count), r.diameter, r.n, s)
	if v <= 0 {
		return 60
	}
	return r.measured / v / 60
}

// rainfall: the intensity is the table's at the time of concentration.
func (j *judge) rainfall() {
	c := j.open("rainfall").bound(1e-4)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if !r.areal() || r.flow == nil && !r.levels {
			continue
		}
		want, ok := j.s.rate(r.tc, float64(j.of(r.lot).Storm.ReturnYears))
		if !ok {
			if r.intensity != nil {
				c.fail(r.id, "intensity_mmh %.3f, and the site has no rainfall", *r.intensity)
			}
			continue
		}
		if r.intensity == nil {
			c.fail(r.id, "no intensity_mmh")
			continue
		}
		off := math.Abs(*r.intensity-want) / want
		c.most(off, r.id)
		if !(off <= 1e-4) {
			c.fail(r.id, "intensity_mmh says %.3f, the rainfall gives %.3f at %.2f min", *r.intensity, want, r.tc)
		}
	}
}

// pipeSlack is the share by which the way through the pipes may take longer
// than worked here: flows and travel times are found in turn, and the plan's may
// be those of the round before.
const pipeSlack = 0.1

// rational: flow is the greatest, over the times at which areas have arrived,
// of intensity times the C A arrived, and the flows stated. Held between pipes
// slower by pipeSlack than worked here and pipes that take no time.
func (j *judge) rational() {
	c := j.open("flow").bound(0.005)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		g := j.upstream(i)
		if r.flow == nil {
			if r.levels && (len(g.arrivals) > 0 && j.s.rain != nil || g.stated > 0 && len(g.arrivals) == 0) {
				c.fail(r.id, "no flow_m3s")
			}
			continue
		}
		lo, ok := j.peak(g, pipeSlack)
		hi, _ := j.peak(g, -1)
		if !ok && len(g.arrivals) > 0 {
			c.fail(r.id, "flow_m3s, and the site has no rainfall")
			continue
		}
		lo, hi = lo+g.stated, hi+g.stated
		c.most(max(lo-*r.flow, *r.flow-hi, 0)/max(hi, 1e-9), r.id)
		if !(*r.flow >= lo*0.995-2e-6 && *r.flow <= hi*1.005+2e-6) {
			c.fail(r.id, "flow_m3s says %.6f, C i A gives %.6f to %.6f", *r.flow, lo, hi)
		}
		if r.intensity != nil {
			if most := *r.intensity*(r.roofCA+r.yardCA)/3.6e6 + r.stated; *r.flow > most*1.005+2e-6 {
				c.fail(r.id, "flow_m3s says %.6f, the intensity stated makes at most %.6f", *r.flow, most)
			}
		}
	}
}

func fullFlow(d, n, s float64) float64 {
	if s <= 0 {
		return 0
	}
	return math.Pi * d * d / 4 * math.Pow(d/4, 2.0/3) * math.Sqrt(s) / n
}

// normal is depth over diameter and velocity at which one pipe carries q; the
// lower of two depths. Past the peak of the curve the pipe is full.
func normal(q, d, n, s float64) (fill, v float64) {
	at := func(x float64) (flow, area float64) {
		th := 2 * math.Acos(1-2*x)
		a := d * d * (th - math.Sin(th)) / 8
		r := a / (d * th / 2)
		return a * math.Cbrt(r*r) * math.Sqrt(s) / n, a
	}
	lo, hi := 0.0, 0.938
	if f, _ := at(hi); q >= f {
		return 1, q / (math.Pi * d * d / 4)
	}
	for hi-lo > 1e-14 {
		m := (lo + hi) / 2
		if f, _ := at(m); f < q {
			lo = m
		} else {
			hi = m
		}
	}
	_, a := at(hi)
	if a <= 0 {
		return 0, 0
	}
	return hi, q / a
}

// manning: capacity is that of the full pipes at the slope laid; fill, velocity
// and shear follow from the flow.
func (j *judge) manning() {
	c := j.open("manning").bound(0.002)
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.measured == 0 || !r.levels {
			continue
		}
		n := float64(r.count)
		fall := r.up - r.down
		s := fall / r.measured
		lo := n * fullFlow(r.diameter, r.n, (fall-levelRounding)/r.measured)
		hi := n * fullFlow(r.diameter, r.n, (fall+levelRounding)/r.measured)
		want := n * fullFlow(r.diameter, r.n, s)
		if want > 0 {
			c.most(math.Abs(r.capacity-want)/want, r.id)
		}
		if !(r.capacity >= lo*0.998-1e-6 && r.capacity <= hi*1.002+1e-6) {
			c.fail(r.id, "capacity_m3s says %.6f, Manning gives %.6f", r.capacity, want)
		}
		if r.flow == nil || *r.flow <= 0 || s <= 0 {
			continue
		}
		if *r.flow > want {
			continue // over full: capacity is checked by name
		}
		fill, v := normal(*r.flow/n, r.diameter, r.n, s)
		if r.fill == nil || r.velocity == nil || r.shear == nil {
			c.fail(r.id, "no fill_ratio, velocity_ms or shear_pa, and flow and slope are known")
		}
		if r.fill != nil && !(math.Abs(*r.fill-fill) <= 0.003) {
			c.fail(r.id, "fill_ratio says %.4f, it is %.4f", *r.fill, fill)
		}
		if r.velocity != nil && !(math.Abs(*r.velocity-v) <= 0.002+0.004*v) {
			c.fail(r.id, "velocity_ms says %.4f, it is %.4f", *r.velocity, v)
		}
		if r.shear != nil {
			th := 2 * math.Acos(1-2*min(fill, 1))
			tau := 9810 * r.diameter / 4 * (1 - math.Sin(th)/max(th, 1e-9)) * s
			if !(math.Abs(*r.shear-tau) <= 0.01+0.01*tau) {
				c.fail(r.id, "shear_pa says %.3f, it is %.3f", *r.shear, tau)
			}
		}
	}
}

// capacity: each run carries its flow, by the capacity worked here.
func (j *judge) capacity() {
	c := j.open("capacity").bound(1)
	c.note = "worst is flow over capacity"
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.flow == nil || r.measured == 0 || !r.levels {
			continue
		}
		own := float64(r.count) * fullFlow(r.diameter, r.n, (r.up-r.down+levelRounding)/r.measured)
		if own > 0 {
			c.most(*r.flow/own, r.id)
		}
		if !(*r.flow <= own*(1+1e-6)) {
			c.broken(r.names(), []string{"capacity"}, "flow %.6f m3/s, the pipe carries %.6f", *r.flow, own)
		}
	}
}

// roofWater: none in a perforated pipe unless the criteria allow it.
func (j *judge) roofWater() {
	c := j.open("roof_water")
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.pipe != "perforated" || !j.upstream(i).roof {
			continue
		}
		if j.of(r.lot).Pipe.RoofInPerforated != "allowed" {
			c.broken(r.names(), []string{"roof", "perforated"}, "roof water in a perforated pipe")
			continue
		}
		warned := false
		for _, f := range j.p.findings {
			for _, n := range r.names() {
				warned = warned || f.feature == n && f.severity == "warn"
			}
		}
		if !warned {
			c.fail(r.id, "roof water in a perforated pipe, and no finding warns of it")
		}
	}
}
