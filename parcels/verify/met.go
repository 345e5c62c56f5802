package verify

// What was come upon in a trench while laying: the pipe keeps clear of it. A run
// that lies already is not asked.

// crossedClear is what is kept between a pipe and a crossed utility: 12 in.
const crossedClear = 0.3048

func (j *judge) met() {
	c := j.open("met").bound(0)
	c.note = "worst is the least clearance over what is asked"
	for _, m := range j.p.met {
		i, ok := j.p.runAt[m.run]
		if !ok {
			c.fail("met", "on run %q, which is not in the network", m.run)
			continue
		}
		r := &j.p.runs[i]
		if !(m.station >= 0 && m.station <= r.measured+oneMillimetre) || m.low != nil && !(*m.low <= m.high) {
			c.fail(r.id, "met at station %s of %s, or its levels are none", mm(m.station), mm(r.measured))
			continue
		}
		if !r.levels {
			continue
		}
		inside := r.up + (r.down-r.up)*m.station/r.measured
		wall := (r.outside - r.diameter) / 2
		over, under := inside-wall-m.high, -1.0 // clear above it, and below it
		if m.low != nil {
			under = *m.low - (inside + r.diameter + wall)
		}
		switch m.kind {
		case "rock":
			over, under = over-float64(j.c.Trench.Bedding), -1
		case "root":
		case "utility":
			over, under = over-crossedClear, under-crossedClear
		default:
			c.fail(r.id, "met a %q", m.kind)
			continue
		}
		best := max(over, under)
		c.least(best, r.id)
		if best < -2*oneMillimetre {
			c.broken(r.names(), []string{"utility"}, "comes %s too near to the %s met at %s", mm(-best), m.kind, mm(m.station))
		}
	}
}
