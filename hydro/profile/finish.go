package profile

// What binds, rounding, and the check of every rule on the rounded profile.

import (
	"math"
	"slices"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
)

const (
	grid = 0.001 // inverts are built to millimetres
	near = 1e-6  // m: a rule that is met this closely binds
)

// down1 rounds down to the grid; a value within a nanometre of a step is it.
func down1(v float64) float64 { return math.Floor(v/grid+1e-6) * grid }

// offset is how far the invert of an arriving pipe lies above that of the pipe
// that takes it on when they match.
func (s *Solver) offset(p *Problem, from, to int) float64 {
	if p.Rules.Match == Crowns {
		return s.pipes[to].inside - s.pipes[from].inside
	}
	return 0
}

// bindsAt says what holds reach i with the profile at hand: the station of a
// cover, utility or start that it touches, and whether its own slope is the
// least on the way from there to its lower end.
func (s *Solver) bindsAt(p *Problem, i int) (kind Kind, at float64, steepest bool) {
	g := &s.geo[i]
	k := s.pipeOf[i]
	u, d := s.upOf[i], s.downOf[i]
	st := &g.strips[s.stripOf[i]]
	top := s.pipes[k].top
	steepest = u-d > s.fall[i*len(s.pipes)+k]+near
	if d+top >= st.c1-near {
		return Cover, g.length, steepest
	}
	if d >= g.arrive-near {
		return StartLevel, g.length, steepest
	}
	for x := len(st.under) - 1; x >= 0; x-- {
		c := st.under[x]
		if u+(d-u)*c.t+top >= c.z-near {
			return Cover, c.t * g.length, steepest
		}
	}
	if steepest {
		return Free, 0, true
	}
	if u+top >= min(st.c0, g.startTop)-near {
		return Cover, 0, false
	}
	if u >= g.start-near {
		return StartLevel, 0, false
	}
	return Free, 0, false
}

// binding follows the way that binds the arrival of reach i to the place that
// governs it.
func (s *Solver) binding(p *Problem, i int) Binding {
	var b Binding
	end := s.downOf[i]
	for {
		kind, at, steep := s.bindsAt(p, i)
		g := &s.geo[i]
		if kind != Free || steep {
			b.Kind, b.Reach, b.At = kind, i, unit.Length(at)
			if kind == Cover {
				b.Kind = s.coverOrUtility(p, i, at)
			}
			b.Length += unit.Length(g.length - at)
			b.Fall = unit.Length(s.upOf[i] + (s.downOf[i]-s.upOf[i])*at/g.length - end)
			return b
		}
		next := -1
		for _, c := range s.children[g.firstChild:g.lastChild] {
			if s.downOf[c] <= s.upOf[i]+s.offset(p, s.pipeOf[c], s.pipeOf[i])+near {
				next = c
				break
			}
		}
		b.Length += unit.Length(g.length)
		if next < 0 {
			b.Reach = i
			b.Fall = unit.Length(s.upOf[i] - end)
			return b
		}
		i = next
	}
}

// coverOrUtility tells whether a crossing and not the ground holds the pipe
// at a station.
func (s *Solver) coverOrUtility(p *Problem, i int, at float64) Kind {
	r := &p.Reaches[i]
	for _, c := range r.Crossings {
		if math.Abs(float64(c.At)-at) < 1e-6 && c.Pass != Over {
			top := s.upOf[i] + (s.downOf[i]-s.upOf[i])*at/s.geo[i].length + s.pipes[s.pipeOf[i]].top
			if top >= float64(c.Low)-near && c.Pass != Within || c.Pass == Within && top >= float64(c.High)-near {
				return Utility
			}
		}
	}
	return Cover
}

// finish rounds the profile, checks every rule on it, and writes the result.
func (s *Solver) finish(p *Problem, out *Result) error {
	n := len(p.Reaches)
	out.Reaches = size(out.Reaches, n)
	out.Breaches = out.Breaches[:0]
	out.ExactCost = 0
	for i := range p.Reaches {
		out.ExactCost += s.price(i)
	}
	// What binds, before rounding blurs it: at the highest arrival.
	worst, low := -1, math.Inf(1)
	for _, r := range s.roots {
		if d := s.downOf[r.reach]; d < low {
			worst, low = r.reach, d
		}
	}
	out.Binds = s.binding(p, worst)
	s.round(p)
	if err := s.flows(p, true); err != nil {
		return err
	}
	out.Common = unit.Slope(s.common)
	out.Target = true
	out.Slope = unit.Slope(math.Inf(1))
	out.Cost = 0
	arrival := math.Inf(1)
	for i := range p.Reaches {
		s.report(p, i, &out.Reaches[i])
		l := &out.Reaches[i]
		out.Cost += l.Cost
		if s.geo[i].laid {
			continue
		}
		out.Slope = min(out.Slope, l.Slope)
		if l.Slope < p.Rules.TargetSlope-1e-9 {
			out.Target = false
		}
	}
	for i := range p.Reaches {
		s.audit(p, i, out)
		if s.geo[i].down < 0 {
			arrival = min(arrival, s.downOf[i])
		}
	}
	out.Arrival = unit.Elevation(arrival)
	out.Margin = out.Arrival.Above(p.End.TieIn)
	switch {
	case out.Margin < -1e-7:
		out.Verdict = Short
	case slices.ContainsFunc(out.Breaches, func(b Breach) bool { return !b.Laid }):
		out.Verdict = Broken
	default:
		out.Verdict = Arrives
	}
	return nil
}

// price of reach i with the inverts and pipe at hand.
func (s *Solver) price(i int) float64 {
	return s.base[i*len(s.pipes)+s.pipeOf[i]] - s.geo[i].alpha*(s.upOf[i]+s.downOf[i])
}

// round brings the inverts to the grid from the intakes down: arriving inverts
// downwards, and far enough that the least fall still holds; a start that is
// given stays as given.
func (s *Solver) round(p *Problem) {
	for _, i := range s.order {
		g := &s.geo[i]
		k := s.pipeOf[i]
		u := down1(s.upOf[i])
		if g.fixed && math.Abs(s.upOf[i]-g.start) < near {
			u = g.start
		}
		for _, c := range s.children[g.firstChild:g.lastChild] {
			if m := s.downOf[c] - s.offset(p, s.pipeOf[c], k); m < u {
				u = down1(m)
			}
		}
		d := s.downOf[i]
		if g.laid && math.Abs(u-g.start) < near {
			d = g.arrive
		} else {
			d = down1(min(d, u-s.mustFall(p, i)))
			if r := float64(p.Rules.GreatestSlope); r > 0 && !g.fixed && u-d > r*g.length {
				// Rounding must not steepen it past the greatest slope either.
				u = down1(min(u, d+max(down1(r*g.length), math.Ceil(s.mustFall(p, i)/grid-1e-6)*grid)))
			}
		}
		s.upOf[i], s.downOf[i] = u, d
		s.follow(p, i)
	}
}

// follow brings the pipes that arrive at the start of reach i higher than the
// drop allows down with it. Over many joins a trunk is rounded down by
// centimetres: a short piece before a join that this would make too steep starts
// lower too, and what arrives there follows.
func (s *Solver) follow(p *Problem, i int) {
	g := &s.geo[i]
	for _, c := range s.children[g.firstChild:g.lastChild] {
		most := s.upOf[i] + s.offset(p, s.pipeOf[c], s.pipeOf[i]) + g.drop
		if s.downOf[c] <= most+grid {
			continue
		}
		v := math.Ceil(most/grid-1e-6) * grid
		if v >= s.downOf[c] {
			continue
		}
		s.downOf[c] = v
		b := &s.geo[c]
		if r := float64(p.Rules.GreatestSlope); r > 0 && !b.fixed && !b.laid && s.upOf[c]-v > r*b.length {
			s.upOf[c] = down1(v + max(down1(r*b.length), math.Ceil(s.mustFall(p, c)/grid-1e-6)*grid))
			s.follow(p, c)
		}
	}
}

// mustFall is the fall that reach i must have to the last millimetre. A share
// of the fall is no rule: where the target is out of reach only the rules' own
// least falls count, so that rounding does not add up along a run.
func (s *Solver) mustFall(p *Problem, i int) float64 {
	k := s.pipeOf[i]
	x := i*len(s.pipes) + k
	if s.geo[i].laid {
		return s.fall[x]
	}
	if s.floor[i] >= float64(p.Rules.TargetSlope) {
		return s.fall[x]
	}
	return s.geo[i].length * max(float64(p.Rules.LeastSlope), float64(p.Stock[k].LeastSlope), s.cap[x])
}

// report fills the row of reach i.
func (s *Solver) report(p *Problem, i int, l *Laid) {
	r, g := &p.Reaches[i], &s.geo[i]
	k := s.pipeOf[i]
	b := &s.pipes[k]
	u, d := s.upOf[i], s.downOf[i]
	slope := (u - d) / g.length
	count := float64(r.Count)
	*l = Laid{
		Pipe: k, InvertUp: unit.Elevation(u), InvertDown: unit.Elevation(d),
		Slope: unit.Slope(slope), Floor: unit.Slope(s.mustFall(p, i) / g.length),
		Flow: hydro.Flow(s.flow[i]), Tc: hydro.Duration(s.rain.tc[i]), Intensity: hydro.Intensity(s.rain.i[i]), CA: unit.Area(s.rain.ca[i]),
		Travel: hydro.Duration(s.rain.travel[i]),
		Cost:   s.price(i),
	}
	if slope > 0 {
		l.Capacity = hydro.Flow(b.full * math.Sqrt(slope) * count)
		pp := pipe.Pipe{Diameter: p.Stock[k].Inside, N: p.Stock[k].N}
		if st, err := pp.State(l.Flow/hydro.Flow(count), l.Slope); err == nil && l.Flow > 0 {
			l.Fill, l.Velocity, l.Shear = st.FillRatio, st.Velocity, st.Shear
			l.SlowWater = !r.GroundWater && l.Velocity < p.Rules.LeastVelocity
		}
	}
	l.Cover, l.Depth = unit.Length(math.Inf(1)), unit.Length(math.Inf(-1))
	for _, st := range r.Ground {
		inv := u + (d-u)*float64(st.At)/g.length
		if c := unit.Length(float64(st.Ground) - inv - b.top); c < l.Cover {
			l.Cover, l.CoverAt = c, st.At
		}
		if c := unit.Length(float64(st.Ground)-inv+b.wall) + p.Rules.Bedding; c > l.Depth {
			l.Depth, l.DepthAt = c, st.At
		}
	}
}

// audit checks every rule of reach i on the rounded inverts. It shares no sum
// with the search: it looks at the stations as given, not at the hulls.
func (s *Solver) audit(p *Problem, i int, out *Result) {
	r, g := &p.Reaches[i], &s.geo[i]
	l := &out.Reaches[i]
	b := &s.pipes[l.Pipe]
	u, d := float64(l.InvertUp), float64(l.InvertDown)
	const eps = 1e-7
	own := g.laid
	tell := func(k Kind, at unit.Length, got, want float64) {
		out.Breaches = append(out.Breaches, Breach{Kind: k, Reach: i, At: at, Measured: got, Required: want, Laid: own})
	}
	if float64(l.Cover) < float64(p.Rules.LeastCover)-eps {
		tell(Cover, l.CoverAt, float64(l.Cover), float64(p.Rules.LeastCover))
	}
	if float64(l.Depth) > float64(p.Rules.GreatestDepth)+eps {
		tell(Depth, l.DepthAt, float64(l.Depth), float64(p.Rules.GreatestDepth))
	}
	least := max(p.Rules.LeastSlope, p.Stock[l.Pipe].LeastSlope)
	if float64(l.Slope) < float64(least)-1e-9 {
		tell(Slope, 0, float64(l.Slope), float64(least))
	}
	// A start that stands may leave a millimetre of rounding in the slope.
	if m := p.Rules.GreatestSlope; m > 0 && float64(l.Slope) > float64(m)+grid/g.length+1e-9 {
		tell(Slope, 0, float64(l.Slope), float64(m))
	}
	if float64(l.Flow) > float64(l.Capacity)*(1+1e-6) {
		tell(Capacity, 0, float64(l.Capacity), float64(l.Flow))
	}
	own = false // from here on, how it meets the rest
	if r.Laid != nil && (math.Abs(u-float64(r.Laid.Up)) > eps || math.Abs(d-float64(r.Laid.Down)) > eps) {
		tell(StartLevel, 0, u, float64(r.Laid.Up))
	}
	if r.Start.Invert != nil && math.Abs(u-float64(*r.Start.Invert)) > eps {
		tell(StartLevel, 0, u, float64(*r.Start.Invert))
	}
	if r.Start.AtMost != nil && u > float64(*r.Start.AtMost)+eps {
		tell(StartLevel, 0, u, float64(*r.Start.AtMost))
	}
	if c := r.Start.Cover; c != nil {
		if got := float64(r.Ground[0].Ground) - u - b.top; got < float64(*c)-eps {
			tell(StartLevel, 0, got, float64(*c))
		}
	}
	if r.ArriveAtMost != nil && d > float64(*r.ArriveAtMost)+eps {
		tell(StartLevel, r.Length, d, float64(*r.ArriveAtMost))
	}
	own = g.laid
	for _, c := range r.Crossings {
		inv := u + (d-u)*float64(c.At)/g.length
		bottom, top := inv-b.wall, inv+b.top
		low, high := float64(c.Low), float64(c.High)
		switch over, under := bottom-high, low-top; {
		case c.Pass == Within && (bottom < low-grid || top > high+eps):
			tell(Utility, c.At, inv, (low+high)/2)
		case c.Pass == Over && over < -grid:
			tell(Utility, c.At, bottom, high)
		case c.Pass == Under && under < -eps:
			tell(Utility, c.At, top, low)
		case c.Pass == Either && over < -grid && under < -eps:
			tell(Utility, c.At, bottom, high)
		}
	}
	own = g.laid && (g.down < 0 || s.geo[g.down].laid)
	if g.down >= 0 {
		to := s.pipeOf[g.down]
		step := d - s.offset(p, l.Pipe, to) - s.upOf[g.down]
		if step < -eps {
			tell(Step, r.Length, step, 0)
		}
		if step > s.geo[g.down].drop+2*grid {
			tell(Step, r.Length, step, s.geo[g.down].drop)
		}
		if p.Stock[l.Pipe].Inside > p.Stock[to].Inside+1e-9 {
			tell(Step, r.Length, float64(p.Stock[to].Inside), float64(p.Stock[l.Pipe].Inside))
		}
	}
	if g.down < 0 && p.End.AtMost != nil && d > float64(*p.End.AtMost)+eps {
		tell(TieIn, r.Length, d, float64(*p.End.AtMost))
	}
	if g.down < 0 && p.End.Rim != nil && d+b.top > float64(*p.End.Rim)+eps {
		tell(TieIn, r.Length, d, float64(*p.End.Rim)-b.top)
	}
}
