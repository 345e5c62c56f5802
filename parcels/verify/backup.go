package verify

// The storage run of a backed-up outlet, worked a second time from what the plan
// prints and the site states: own volumes, own outflow, own steps.
//
//	V(h)   volume below a level, by slices of each pipe and each stone bed
//	q(h,w) to the structure at level w: the lesser of what runs off freely and
//	       C sqrt(h - w) of the full pipe; from it where w is higher
//	C      1/sqrt(L/K^2 + k/(2 g A^2)), K full conveyance, k 1.5 (entrance 0.5,
//	       exit 1)
//	spill  1.66 b d^1.5 over each rim
//
// Each step is closed for the level at its end by halving, six seconds long where
// the plan's is one: the difference is a millimetre or two.

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// What a second working may differ by.
const (
	backLevel   = 0.015 // m, of the highest level
	backMinutes = 1.5   // and 3 %
	backVolume  = 0.01  // m3, and 3 % of the voids, or 5 % of what comes out
	backRow     = 0.03  // m, of a row of the series
)

// balance is one state, with or without a valve, as the plan tells it.
type balance struct {
	void, usable, sewer, overflow float64
	peak, minutes, empty          *float64
	first                         string
	series                        [][]float64
}

// backed is the plan's storage object.
type backed struct {
	outlet, run   string
	lots          []string
	count         float64
	without, with *balance
	other         *backed
}

func (r *planReader) backed(v val, of string) *backed {
	if v.k == null {
		return nil
	}
	read := func(key string) *balance {
		w := v.get(key)
		if w.k == null {
			return nil
		}
		name := of + "." + key
		b := &balance{void: r.num(w, "void_volume_m3", name), usable: r.num(w, "usable_volume_m3", name), sewer: r.num(w, "filled_from_sewer_m3", name), overflow: r.num(w, "overflow_m3", name),
			peak: r.maybe(w, "peak_level_m", name), minutes: r.maybe(w, "minutes_above_outlet", name), empty: r.maybe(w, "empty_after_h", name), first: r.text(w, "first_to_spill", name)}
		for _, row := range w.get("series").a {
			var x []float64
			for _, n := range row.a {
				if n.k != number {
					r.fault("%s: series holds %s", name, n.k)
				}
				x = append(x, n.n)
			}
			if len(x) != 4 {
				r.fault("%s: a row of %d numbers in series", name, len(x))
				return b
			}
			b.series = append(b.series, x)
		}
		return b
	}
	b := &backed{lots: r.texts(v, "lots", of), outlet: r.text(v, "outlet", of), run: r.text(v, "run", of), count: r.num(v, "pipe_count", of), without: read("without_valve"), with: read("with_valve")}
	if o := v.get("other_pipe_count"); o.k != null && !strings.Contains(of, "other") {
		b.other = r.backed(o, of+".other_pipe_count")
	}
	return b
}

// levelsOver is the level over the storm that the site states for an inlet.
func (n *inlet) levelsOver(years float64) [][2]float64 {
	for _, k := range n.byYears {
		if k.years == years {
			return k.rows
		}
	}
	return n.over
}

type yearly struct {
	years float64
	rows  [][2]float64
}

func (j *judge) storage() {
	c := j.open("storage").bound(backLevel)
	c.note = "worst and limit are of the highest level, in metres"
	told := map[string]bool{}
	for _, b := range j.p.backed {
		if told[b.run] {
			c.fail(b.run, "two storage runs of one drain")
		}
		told[b.run] = true
		j.heldBack(c, b)
	}
	for i := range j.p.runs {
		r := &j.p.runs[i]
		if r.b < 0 || len(j.p.nodes[r.b].out) > 0 || !r.levels || flowOf(r) <= 0 || told[r.id] {
			continue
		}
		in := j.inlet(r.to)
		if in == nil || len(in.levelsOver(float64(j.of(r.lot).Storm.ReturnYears))) == 0 {
			continue
		}
		if m := j.backing(i, in); m != nil && !j.toldBeside(r) {
			c.fail(r.id, "the level of %s over the storm is stated, and the plan does not say what it does to this drain", r.to)
		}
	}
}

// toldBeside says whether another last run into the same outlet, of the same
// lot, has its storage run told: of one lot's drain only the greatest is.
func (j *judge) toldBeside(r *run) bool {
	for _, b := range j.p.backed {
		if k, ok := j.p.runAt[b.run]; ok && j.p.runs[k].to == r.to && j.p.runs[k].lot == r.lot {
			return true
		}
	}
	return false
}

// heldBack works one drain's storage run again.
func (j *judge) heldBack(c *check, b *backed) {
	i, ok := j.p.runAt[b.run]
	if !ok || j.p.runs[i].to != b.outlet || !j.p.runs[i].levels {
		c.fail("storage", "run %q does not end at %q", b.run, b.outlet)
		return
	}
	if len(j.p.shares) > 0 {
		if of := j.sharers(b.outlet); !slices.Equal(b.lots, of) {
			c.fail(b.run, "lots says %v, the drain is of %v", b.lots, of)
		}
	} else if len(b.lots) != 1 || b.lots[0] != j.p.runs[i].lot {
		c.fail(b.run, "lots says %v, the run is of lot %s", b.lots, j.p.runs[i].lot)
	}
	in := j.inlet(b.outlet)
	if in == nil || len(in.levelsOver(float64(j.of(j.p.runs[i].lot).Storm.ReturnYears))) == 0 {
		c.fail(b.outlet, "a storage run, and the site states no level over the storm")
		return
	}
	m := j.backing(i, in)
	if m == nil {
		c.fail(b.run, "nothing flows in, or no rim is known: there is nothing to balance")
		return
	}
	most := 0
	for _, k := range m.runs {
		if j.p.runs[k].pipe == "perforated" {
			most = max(most, j.p.runs[k].count)
		}
	}
	if b.count != float64(most) {
		c.fail(b.run, "pipe_count %g, the runs above have %d perforated pipes side by side", b.count, most)
	}
	for valve, got := range []*balance{b.without, b.with} {
		name := []string{"without valve", "with valve"}[valve]
		if got == nil {
			c.fail(name, "missing")
			continue
		}
		m.hold(c, name, got, valve == 1)
	}
	if o := b.other; o != nil {
		switch {
		case o.run != b.run || o.outlet != b.outlet || o.count+b.count != 3 || o.without == nil || o.with == nil:
			c.fail("other_pipe_count", "is not the same line with another count of pipes")
		case o.count > b.count && o.without.void < b.without.void-backVolume, o.count < b.count && o.without.void > b.without.void+backVolume:
			c.fail("other_pipe_count", "%g pipes hold %.3f m3, %g hold %.3f m3", o.count, o.without.void, b.count, b.without.void)
		default:
			for _, s := range []*balance{o.without, o.with} {
				if !(s.usable >= -1e-9 && s.usable <= s.void+1e-3 && s.sewer >= 0 && s.overflow >= 0) || s.peak == nil || (s.overflow > 0.001) != (s.first != "") {
					c.fail("other_pipe_count", "voids, what is of use, and what comes out do not go together")
				}
			}
		}
	}
}

// spills is the level at which water comes out at a point.
func (j *judge) spills(n *node) *float64 {
	if k := j.intake(n.id); k != nil && k.rim != nil {
		return k.rim
	}
	if n.rim != nil {
		return n.rim
	}
	return n.ground
}

// backing is what a storage run is worked with.
type backing struct {
	j              *judge
	runs           []int
	bottom, step   float64
	volume         []float64
	rims, edges    []float64
	names          []string
	lowest         float64
	up, d, crown   float64 // of the last run; crown of its lower end
	c, limit       float64
	freeQ, freeH   []float64 // free outfall: flow and level over the upper invert
	over           [][2]float64
	start, tc, top float64 // of the triangle of inflow, minutes and m3/s
	end            float64
}

func (j *judge) backing(last int, in *inlet) *backing {
	r := &j.p.runs[last]
	m := &backing{j: j, over: in.levelsOver(float64(j.of(r.lot).Storm.ReturnYears)), top: flowOf(r), limit: math.Inf(1)}
	if m.top <= 0 {
		return nil
	}
	if in.flowLimit != nil {
		m.limit = *in.flowLimit
	}
	// the tree above, and the rims on it
	m.lowest = math.Inf(1)
	var visit func(i int)
	visit = func(i int) {
		if slices.Contains(m.runs, i) || !j.p.runs[i].levels {
			return
		}
		m.runs = append(m.runs, i)
		n := &j.p.nodes[max(j.p.runs[i].a, 0)]
		if z := j.spills(n); z != nil && n.kind == "intake" && !slices.Contains(m.names, n.id) {
			edge := 1.2192 // a square grate of 12 in, where none is given
			if k := j.intake(n.id); k != nil && k.grate[0] != nil && k.grate[1] != nil {
				edge = 2 * (*k.grate[0] + *k.grate[1])
			}
			m.rims, m.edges, m.names = append(m.rims, *z), append(m.edges, edge), append(m.names, n.id)
			m.lowest = min(m.lowest, *z)
		}
		for _, k := range n.in {
			visit(k)
		}
	}
	visit(last)
	if len(m.rims) == 0 {
		return nil
	}
	m.fill()
	// the connection
	m.up, m.d, m.crown = r.up, r.diameter, r.down+r.diameter
	a := math.Pi * r.diameter * r.diameter / 4
	kf := a * math.Pow(r.diameter/4, 2.0/3) / r.n
	m.c = 1 / math.Sqrt(r.measured/(kf*kf)+1.5/(2*gravity*a*a))
	m.free(r)
	// the storm: the lot's peak falls on the inlet's highest level
	at := m.over[0]
	for _, k := range m.over {
		if k[1] > at[1] {
			at = k
		}
	}
	m.tc = max(r.tc, float64(j.of(r.lot).Storm.RoofMin))
	m.start = max(0, at[0]-m.tc)
	m.end = max(m.over[len(m.over)-1][0], m.start+2*m.tc) + 120
	return m
}

const gravity = 9.80665

// fill tabulates the volume below a level: each pipe's bore and the voids of the
// stone round perforated ones, in slices along it.
func (m *backing) fill() {
	const levels, slicesOf = 192, 10
	type slab struct{ from, top, wide, d, count, step float64 }
	var stone, bore []slab
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, i := range m.runs {
		r := &m.j.p.runs[i]
		tr := m.j.of(r.lot).Trench
		for k := range slicesOf {
			f := (float64(k) + 0.5) / slicesOf
			z := r.up + f*(r.down-r.up)
			bore = append(bore, slab{from: z, d: r.diameter, count: float64(r.count), step: r.measured / slicesOf})
			if r.pipe != "perforated" {
				continue
			}
			h := float64(tr.Bedding) + r.outside + float64(tr.OverPipe)
			under := (r.outside-r.diameter)/2 + float64(tr.Bedding)
			pipes := float64(r.count) * math.Pi * r.outside * r.outside / 4
			for o := range m.j.p.runs { // a pipe beside it takes room as well
				q := &m.j.p.runs[o]
				if q.trench == r.trench && q.pipe == "solid" && apartBy(q.line[0], r.line[0]) < 2*oneMillimetre && apartBy(q.line[len(q.line)-1], r.line[len(r.line)-1]) < 2*oneMillimetre {
					pipes += math.Pi * q.outside * q.outside / 4
				}
			}
			stone = append(stone, slab{from: z - under, top: z - under + h, wide: tr.VoidRatio * (r.width - pipes/h), step: r.measured / slicesOf})
		}
		under := 0.0
		over := r.diameter
		if r.pipe == "perforated" {
			under = (r.outside-r.diameter)/2 + float64(tr.Bedding)
			over = max(over, r.outside+float64(tr.OverPipe))
		}
		lo, hi = min(lo, min(r.up, r.down)-under), max(hi, max(r.up, r.down)+over)
	}
	m.bottom, m.step = lo, (hi-lo)/levels
	m.volume = make([]float64, levels+1)
	for k := range m.volume {
		h := lo + float64(k)*m.step
		for _, s := range stone {
			if h > s.from {
				m.volume[k] += s.step * s.wide * (min(h, s.top) - s.from)
			}
		}
		for _, s := range bore {
			switch y := h - s.from; {
			case y <= 0:
			case y >= s.d:
				m.volume[k] += s.step * s.count * math.Pi * s.d * s.d / 4
			default:
				th := 2 * math.Acos(1-2*y/s.d)
				m.volume[k] += s.step * s.count * s.d * s.d * (th - math.Sin(th)) / 8
			}
		}
	}
}

func (m *backing) held(h float64) float64 {
	x := (h - m.bottom) / m.step
	if x <= 0 {
		return 0
	}
	i := int(x)
	if i >= len(m.volume)-1 {
		return m.volume[len(m.volume)-1]
	}
	return m.volume[i] + (x-float64(i))*(m.volume[i+1]-m.volume[i])
}

// free tabulates the level over the upper invert that makes a flow run off with
// nothing standing below: critical depth at the mouth of a steep pipe, drawdown
// from critical depth at the end of a flat one, full and under pressure from
// where the surface meets the crown; the entrance on top.
func (m *backing) free(r *run) {
	d, s := r.diameter, (r.up-r.down)/r.measured
	geometry := func(y float64) (a, p, t float64) {
		th := 2 * math.Acos(1-2*min(y/d, 1))
		return d * d * (th - math.Sin(th)) / 8, d * th / 2, d * math.Sin(th/2)
	}
	full := math.Pi * d * d / 4
	high := max(m.lowest-m.up, 0) + 3
	most := full * math.Sqrt(2*gravity*high)
	for k := 0; k <= 48; k++ {
		q := most * math.Pow(10, 5*(float64(k)/48-1))
		lo, hi := 0.0, d
		for range 40 { // critical depth
			y := (lo + hi) / 2
			if a, _, t := geometry(y); q*q*t > gravity*a*a*a {
				lo = y
			} else {
				hi = y
			}
		}
		yc := hi
		friction := func(y float64) float64 {
			a, p, _ := geometry(y)
			// no credit for the peak under the crown
			k := min(a*math.Pow(a/p, 2.0/3), full*math.Pow(d/4, 2.0/3)) / r.n
			return q * q / (k * k)
		}
		energy := func(y float64) float64 { a, _, _ := geometry(y); return y + q*q/(2*gravity*a*a) }
		y := yc
		if friction(yc) > s { // flat: the surface falls towards the end
			x := 0.0
			if y < 0.9999*d {
				step := (d - y) / 60
				for y < d-1e-9 && x < r.measured {
					next := min(y+step, d)
					sf := (friction(y) + friction(next)) / 2
					if sf <= s*1.0005 {
						break // normal depth
					}
					dx := (energy(next) - energy(y)) / (sf - s)
					if x+dx > r.measured {
						next, dx = y+(next-y)*(r.measured-x)/dx, r.measured-x
					}
					y, x = next, x+max(dx, 0)
				}
			}
			if y >= d-1e-9 {
				y = d + max(0, (friction(d)-s)*(r.measured-x))
			}
		}
		a, _, _ := geometry(min(y, d))
		m.freeQ = append(m.freeQ, q)
		m.freeH = append(m.freeH, y+1.5*q*q/(2*gravity*a*a))
	}
}

func (m *backing) freeAt(y float64) float64 {
	if y <= 0 {
		return 0
	}
	k, _ := slices.BinarySearch(m.freeH, y)
	switch {
	case k >= len(m.freeH):
		return m.freeQ[len(m.freeQ)-1]
	case k == 0:
		return m.freeQ[0] * y / m.freeH[0]
	}
	f := (y - m.freeH[k-1]) / (m.freeH[k] - m.freeH[k-1])
	return m.freeQ[k-1] + f*(m.freeQ[k]-m.freeQ[k-1])
}

func (m *backing) out(h, w float64, valve bool) float64 {
	if h >= w {
		q := min(m.freeAt(h-m.up), m.limit)
		if w > m.crown || w > m.up {
			q = min(q, m.c*math.Sqrt(h-w))
		}
		return q
	}
	if valve || w <= m.up {
		return 0
	}
	return -min(m.freeAt(w-m.up), m.c*math.Sqrt(w-max(h, m.up)))
}

func (m *backing) spill(h float64) float64 {
	q := 0.0
	for k, rim := range m.rims {
		if d := h - rim; d > 0 {
			q += 1.66 * m.edges[k] * d * math.Sqrt(d)
		}
	}
	return q
}

// into is the volume that has flowed in by a minute: the triangle's.
func (m *backing) into(t float64) float64 {
	x := (t - m.start) / m.tc
	switch {
	case x <= 0:
		return 0
	case x < 1:
		return m.top * m.tc * 60 * x * x / 2
	case x < 2:
		return m.top * m.tc * 60 * (1 - (2-x)*(2-x)/2)
	}
	return m.top * m.tc * 60
}

func (m *backing) outside(t float64) float64 {
	o := m.over
	for k := 1; k < len(o); k++ {
		if t < o[k][0] {
			f := max(0, (t-o[k-1][0])/(o[k][0]-o[k-1][0]))
			return o[k-1][1] + f*(o[k][1]-o[k-1][1])
		}
	}
	return o[len(o)-1][1]
}

// hold works one state and holds the plan's figures to it.
func (m *backing) hold(c *check, name string, got *balance, valve bool) {
	const dt = 0.1 // minutes
	h, v := m.bottom, 0.0
	peak, minutes, sewer, over, highest := h, 0.0, 0.0, 0.0, math.Inf(-1)
	first, firstAt := "", math.Inf(1)
	var empty, nearly *float64 // h from the end of the inflow: within 1 mm of the mouth, and within 3 mm
	var own []float64          // level at each step
	steps := int(math.Round(m.end / dt))
	for k := 0; k <= steps; k++ {
		t := float64(k) * dt
		w := m.outside(t)
		highest = max(highest, w)
		if k > 0 {
			in := m.into(t) - m.into(t-dt)
			left := func(x float64) float64 { return m.held(x) - v - in + 60*dt*(m.out(x, w, valve)+m.spill(x)) }
			lo, hi := h, h
			for d := 1e-3; left(hi) < 0 && d < 1e3; d *= 4 {
				hi += d
			}
			for d := 1e-3; lo > m.bottom && left(lo) > 0; d *= 4 {
				lo = max(lo-d, m.bottom)
			}
			for hi-lo > 1e-7 {
				x := (lo + hi) / 2
				if left(x) <= 0 { // of levels that balance alike, over a full store, the higher
					lo = x
				} else {
					hi = x
				}
			}
			h = (lo + hi) / 2
			// What came from the structure is what the balance lacks. Over a full store
			// the level stands at the structure's, and the flow worked of a level that is
			// off by a hair would be the square root of that: litres that flow nowhere.
			s := m.spill(h)
			sewer += max(0, m.held(h)-v-in+60*dt*s)
			v = m.held(h)
			if s > 0 {
				over += s * 60 * dt
				if t < firstAt {
					firstAt = t
					low := math.Inf(1)
					for i, rim := range m.rims {
						if h > rim && rim < low {
							low, first = rim, m.names[i]
						}
					}
				}
			}
			peak = max(peak, h)
			if h > m.up+m.d {
				minutes += dt
			}
			if dry := max(m.up, m.bottom); nearly == nil && t >= m.start+2*m.tc && h <= dry+0.003 {
				e := (t - m.start - 2*m.tc) / 60
				nearly = &e
			} else if nearly != nil && h > dry+0.005 {
				nearly = nil
			}
			if dry := max(m.up, m.bottom); empty == nil && t >= m.start+2*m.tc && h <= dry+0.001 {
				e := (t - m.start - 2*m.tc) / 60
				empty = &e
			} else if empty != nil && h > dry+0.005 {
				empty = nil
			}
		}
		own = append(own, h)
	}
	// A row may tell of a moment when the level runs: it is held between the
	// levels of the steps around it.
	worstRow, atRow := 0.0, 0.0
	for _, x := range got.series {
		k := min(max(int(math.Round(x[0]/dt)), 0), len(own)-1)
		near := own[max(k-3, 0):min(k+4, len(own))]
		if d := max(slices.Min(near)-x[1], x[1]-slices.Max(near)); d > worstRow {
			worstRow, atRow = d, x[0]
		}
	}
	void := m.held(m.lowest)
	taken := 0.0
	if !valve && highest > m.up {
		taken = m.held(min(highest, m.lowest))
	}
	near := func(what string, got, want, slack float64) {
		if !(math.Abs(got-want) <= slack) {
			c.fail(name, "%s says %.3f, worked again it is %.3f", what, got, want)
		}
	}
	near("void_volume_m3", got.void, void, backVolume+0.03*void)
	near("usable_volume_m3", got.usable, max(0, void-taken), backVolume+0.03*void)
	near("filled_from_sewer_m3", got.sewer, sewer, backVolume+0.03*void)
	near("overflow_m3", got.overflow, over, backVolume+0.05*over)
	if got.peak == nil || got.minutes == nil {
		c.fail(name, "no peak_level_m or minutes_above_outlet")
		return
	}
	c.most(math.Abs(*got.peak-peak), name)
	near("peak_level_m", *got.peak, peak, backLevel)
	near("minutes_above_outlet", *got.minutes, minutes, backMinutes+0.03*minutes)
	// The last millimetres of a trunk run off by a trickle, at which two tables of
	// the mouth differ most: two of them are let pass.
	if (got.empty == nil) != (empty == nil) || empty != nil && (*got.empty > 0.2+1.1**empty || *got.empty < min(*nearly, 0.9**empty)-0.2) {
		say := func(v *float64) string {
			if v == nil {
				return "never"
			}
			return fmt.Sprintf("%.3f h", *v)
		}
		c.fail(name, "empty_after_h says %s, worked again it is %s", say(got.empty), say(empty))
	}
	if over > 2*backVolume && got.first != first || over < 1e-4 && got.first != "" && got.overflow > backVolume {
		c.fail(name, "first_to_spill says %q, worked again it is %q", got.first, first)
	}
	if len(got.series) < 3 || got.series[0][0] != 0 || math.Abs(got.series[len(got.series)-1][0]-m.end) > 1.01 {
		c.fail(name, "the series does not go from the start to the end of the run")
	}
	if worstRow > backRow {
		c.fail(name, "the level of the row at minute %.1f is %.3f m off", atRow, worstRow)
	}
	for _, x := range got.series {
		if math.Abs(x[3]-m.held(x[1])) > backVolume+0.03*void {
			c.fail(name, "at minute %.1f %.3f m3 are said to stand below %.3f m, which holds %.3f", x[0], x[3], x[1], m.held(x[1]))
			break
		}
		q := (m.into(x[0]+0.01) - m.into(x[0]-0.01)) / (0.02 * 60)
		if math.Abs(x[2]-q) > 0.02*m.top+2e-6 {
			c.fail(name, "at minute %.1f %.6f m3/s flow in, of the runs come %.6f", x[0], x[2], q)
			break
		}
	}
}
