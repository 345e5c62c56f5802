package planner

// Lots on shared trunks where several inlets can be reached: each lot drains to the
// inlet that makes the whole cheapest. The lots stand in the order in which the
// easements pass them and are cut into neighbouring groups, one to an inlet, so that
// no trunk passes another; what no trunk can take is left off (leftoff.go). Every cut
// is reckoned from the lots' flows, the ground along the easements and the inlets'
// limits; the best few are planned, and the cheapest that drains most is the plan.

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/route"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/hydro"
	"fallwright/hydro/profile"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

const (
	mostDivisions = 4   // are planned
	mostTrunks    = 3   // in a division
	worthPlanning = 1.1 // times the best by estimate: dearer ones are not planned
	besideTrunk   = 0.3 // m of ground between trenches of two trunks (common practice)
	inTrunk       = 0.9 // m/s: water in a trunk, near to what a full pipe at the target slope has
	nearlyFalls   = 0.1 * unit.Metre
)

// plot is a lot in its place along the easements.
type plot struct {
	lot     *parcels.Lot
	waters  []int     // its intakes, by their places in the plan's
	at      orb.Point // where the trunk passes
	piece   int       // of the corridor
	station float64
	ground  *unit.Elevation
	in      []profile.Inflow // all that of one time of concentration in one
	stated  float64
	cut     bool // no ground for a trench leads from it to an outlet
}

// mouth is an outlet that a trunk along the easements may go to.
type mouth struct {
	end     *end
	piece   int
	station float64
}

// none is the mouth of lots that are left off.
const none = -1

// group is neighbouring lots, from to up to and without to, that drain to one
// outlet.
type group struct{ from, to, mouth int }

// estimate is what the trunk of a group costs, laterals left out, and why it does
// not drain; empty: it does.
type estimate struct {
	cost float64
	flow float64 // m3/s, to the outlet
	why  string
	near bool // by so little that it is worth planning
}

// division is groups that together are all of the lots.
type division struct {
	groups   []group
	reckoned float64 // of the trunks
	broken   int     // lots that by estimate do not drain
	near     int     // groups that by estimate do not drain, by little
}

// street is the lots in their order, and the outlets in theirs.
type street struct {
	lp     *lotPlan
	plots  []plot
	never  []plot // that no outlet can take, whatever is laid
	mouths []mouth
	more   float64 // times the flow reckoned has been found to come
	kept   map[group]estimate
}

// planTrunks plans lots on shared trunks, of which none is longer in making than
// that of all.
func planTrunks(ctx context.Context, s *parcels.Site, st *siting.Siting, lots []*parcels.Lot, surface ground.Surface, o Options, prover func(...*parcels.Lot) proof) ([]*lotPlan, error) {
	whole, err := newShared(s, st, lots, surface, o)
	if err != nil {
		return nil, err
	}
	whole.prove = prover(lots...)
	var ds []division
	var row *street
	if len(lots) > 1 {
		if row, err = whole.street(); err != nil {
			return nil, err
		}
		ds = row.candidates()
	}
	one := func(d division) bool { return len(d.groups) == 1 }
	if len(ds) == 0 && (row == nil || len(lots) <= mostBoth || len(row.never) == 0 && !row.hopeless()) {
		// nothing to divide or by estimate alone nothing that drains; of few lots that no
		// outlet can take, too, a drawing shows what is missing
		return []*lotPlan{whole}, whole.run(ctx)
	}
	type outcome struct {
		division
		parts   []*lotPlan
		cost    float64
		stopped int // lots that do not drain
	}
	var best *outcome
	var lost []string
	planned := map[string]*lotPlan{}
	seen := map[string]bool{}
	if len(ds) > 0 && one(ds[0]) && ds[0].broken+ds[0].near == 0 && len(row.never) == 0 && (len(ds) == 1 || ds[1].broken > 0 || ds[1].reckoned > worthPlanning*ds[0].reckoned) {
		// one trunk is enough, if it comes out as reckoned
		if err := whole.pipe(ctx); err != nil {
			return nil, err
		}
		g := ds[0].groups[0]
		was := row.mouths[g.mouth].end.id
		k := slices.IndexFunc(row.mouths, func(m mouth) bool { return m.end.id == whole.outlet })
		if k < 0 || len(ds) == 1 || whole.outlet == was && whole.stopped() == 0 {
			return []*lotPlan{whole}, whole.lines()
		}
		seen[fmt.Sprint(ds[0].groups)] = true
		g.mouth = k
		best = &outcome{division: division{groups: []group{g}, reckoned: row.estimate(g).cost}, parts: []*lotPlan{whole}, stopped: whole.stopped()}
		if whole.cost != nil {
			best.cost = *whole.cost
		}
		seen[fmt.Sprint(best.groups)] = true
	}
	for len(seen) < mostDivisions {
		i := slices.IndexFunc(ds, func(d division) bool { return !seen[fmt.Sprint(d.groups)] })
		if i < 0 {
			break
		}
		d := ds[i]
		if best != nil && (best.stopped == 0 && (d.broken+d.near > 0 || d.reckoned > worthPlanning*best.reckoned) || d.broken > 0 && d.broken >= best.stopped) {
			break
		}
		seen[fmt.Sprint(d.groups)] = true
		x := &outcome{division: d}
		off, came := 0, 0.0      // lots left off; flow at the fullest inlet, times what was reckoned
		var taken []zone.KeepOut // by the trunks before
		for k, g := range d.groups {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if g.mouth == none {
				off += g.to - g.from
				continue
			}
			key := fmt.Sprint(d.groups[:k+1])
			q := planned[key]
			if q == nil {
				to := o
				to.Outlet = row.mouths[g.mouth].end.id
				var of []*parcels.Lot
				for _, p := range row.plots[g.from:g.to] {
					of = append(of, p.lot)
				}
				if q, err = newShared(s, st, of, surface, to); err != nil {
					return nil, err
				}
				if q.taken = taken; !one(d) || len(row.never) > 0 {
					q.prefix = to.Outlet + "/"
				}
				if err := q.pipe(ctx); err != nil {
					return nil, err
				}
				planned[key] = q
			}
			x.parts = append(x.parts, q)
			x.stopped += q.stopped()
			more, anew := row.learn(g, q)
			if came = max(came, more); anew {
				ds = nil
			} else if q.stopped() == len(q.members) {
				e := row.estimate(g)
				e.why, e.near, ds = "planned, it did not drain", false, nil
				row.kept[g] = e
			}
			if q.cost != nil {
				x.cost += *q.cost
			}
			taken = append(taken, q.trunkGround()...)
		}
		if off > 0 && x.stopped == 0 && came > 0 && came < 0.97 {
			// less comes than was reckoned: there may be room for one that is left off
			row.more, row.kept, ds = came*row.more, map[group]estimate{}, nil
		}
		x.stopped += off
		if best == nil || x.stopped < best.stopped || x.stopped == best.stopped && x.cost < best.cost {
			best, x = x, best
		}
		if x != nil {
			left := ""
			if x.stopped > 0 {
				left = fmt.Sprintf(", %d of the lots not drained", x.stopped)
			}
			lost = append(lost, row.words(x.division)+fmt.Sprintf(" (cost index %.1f%s)", x.cost, left))
		}
		if ds == nil {
			ds = row.candidates()
		}
	}
	if len(lots) <= mostBoth && best != nil && best.stopped+len(row.never) >= len(lots) {
		fresh, err := newShared(s, st, lots, surface, o) // drawn, few lots show better what is missing
		if err != nil {
			return nil, err
		}
		fresh.prove = prover(lots...)
		return []*lotPlan{fresh}, fresh.run(ctx)
	}
	off := slices.Clone(row.never)
	if best == nil {
		best = new(outcome)
		off = append(off, row.plots...)
	}
	for _, g := range best.groups {
		if g.mouth == none {
			off = append(off, row.plots[g.from:g.to]...)
		}
	}
	if len(off) > 0 {
		q, err := row.leaveOff(ctx, s, off, best.parts, st, surface, o, prover)
		if err != nil {
			return nil, err
		}
		best.parts = append(best.parts, q)
	}
	row.tell(best.division, best.parts, lost, len(off) == len(lots))
	for i, q := range best.parts {
		for k, other := range best.parts {
			if k != i {
				q.beside = append(q.beside, other.points...)
			}
		}
		if err := q.lines(); err != nil {
			return nil, err
		}
	}
	return best.parts, nil
}

// trunkGround is what the trunks of others keep clear of.
func (lp *lotPlan) trunkGround() (out []zone.KeepOut) {
	for r := range lp.runs {
		out = append(out, zone.KeepOut{ID: lp.runs[r].ID, Kind: "trunk", Geometry: lp.runs[r].Line, Clearance: lp.trenchWidthOfRun(r)/2 + besideTrunk})
	}
	return out
}

// learn holds what was reckoned of a group's flow against its plan: ratio is so many
// times that, 0 where no limit asks for it; anew: it is more than the outlet may be
// given, and the estimates are reckoned anew.
func (s *street) learn(g group, q *lotPlan) (ratio float64, anew bool) {
	in := s.mouths[g.mouth].end.inlet
	if in == nil || in.FlowLimit == nil || s.estimate(g).flow == 0 {
		return 0, false
	}
	came := 0.0
	for i := range q.runs {
		if r := &q.runs[i]; r.To == in.ID && r.Flow != nil {
			came += float64(*r.Flow)
		}
	}
	ratio = came / s.estimate(g).flow
	if came > float64(*in.FlowLimit) && ratio > 1 {
		s.more, s.kept = s.more*ratio, map[group]estimate{}
		return ratio, true
	}
	return ratio, false
}

// stopped is how many of the plan's lots a stop stands against: all of them, where
// it is one of the trunk.
func (lp *lotPlan) stopped() int {
	lots := map[string]bool{}
	for _, f := range lp.findings {
		switch {
		case f.Severity != parcels.Stop:
		case lp.member(f.Lot) == nil || f.Code == "no_gravity_route" || f.Code == "inlet_over_limit":
			return len(lp.members)
		default:
			lots[f.Lot] = true
		}
	}
	return len(lots)
}

// street finds the order of the lots along the easements, from the one that stands
// farthest from another to that: each time the nearest that is left. The outlets are
// the inlets and swales that an easement leads to. nil: nothing to divide.
func (lp *lotPlan) street() (*street, error) {
	if err := lp.targets(); err != nil {
		return nil, err
	}
	if err := lp.layCorridor(); err != nil || len(lp.corridor) == 0 {
		return nil, err
	}
	p := &route.Problem{Rules: route.Rules{LeastStraight: lp.site.Criteria.Route.LeastStraight}}
	for i := range lp.waters {
		p.Sources = append(p.Sources, route.Source{ID: lp.waters[i].intake.ID, At: lp.waters[i].intake.At})
	}
	for i := range lp.ends {
		p.Targets = append(p.Targets, route.Target{ID: lp.ends[i].id, At: lp.ends[i].at})
	}
	lots, byLot := lp.rows(p)
	if len(lots) != len(lp.members) { // one with perforated runs alone has no place
		return nil, nil
	}
	var left []plot
	stems := lp.stems(p, lots, byLot)
	for _, lot := range lots {
		x, n := plot{lot: lp.member(lot).lot, waters: byLot[lot]}, 0.0
		for _, s := range stems {
			if s.lot == lot {
				x.at, n = orb.Point{x.at[0] + s.at[0], x.at[1] + s.at[1]}, n+1
			}
		}
		if n == 0 { // its stems are another lot's
			_, _, x.at = shape.LineBoundary(orb.LineString{p.Sources[byLot[lot][0]].At, nudge(p.Sources[byLot[lot][0]].At, lp.corridor.Bound().Center())}, lp.corridor)
			n = 1
		}
		x.at[0], x.at[1] = x.at[0]/n, x.at[1]/n
		x.piece, _ = lp.pieceOf(x.at)
		if lp.surface != nil {
			if g, ok := lp.surface.At(x.at); ok {
				x.ground = &g.Elevation
			}
		}
		for _, i := range byLot[lot] {
			w := &lp.waters[i]
			x.stated += float64(w.stated)
			for _, in := range w.in {
				if k := slices.IndexFunc(x.in, func(o profile.Inflow) bool { return o.Tc == in.Tc }); k >= 0 {
					x.in[k].CA += in.CA
				} else {
					x.in = append(x.in, in)
				}
			}
		}
		left = append(left, x)
	}
	apart := func(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
	first, far := 0, -1.0
	for i := range left {
		for j := range left {
			if d := apart(left[i].at, left[j].at); d > far+1e-6 {
				first, far = i, d
			}
		}
	}
	s := &street{lp: lp, more: 1, kept: map[group]estimate{}}
	for next := first; len(left) > 0; {
		x := left[next]
		left = slices.Delete(left, next, next+1)
		if n := len(s.plots); n > 0 {
			x.station = s.plots[n-1].station + apart(s.plots[n-1].at, x.at)
		}
		s.plots = append(s.plots, x)
		next = 0
		for i := range left {
			if apart(left[i].at, x.at) < apart(left[next].at, x.at) {
				next = i
			}
		}
	}
	for i := range lp.ends {
		e := &lp.ends[i]
		reach := lp.site.Criteria.TieIn.Reach
		if e.closed != "" || e.inlet == nil && e.swale == nil {
			continue
		}
		piece, off := lp.pieceOf(e.at)
		if off > reach || !slices.ContainsFunc(s.plots, func(x plot) bool { return x.piece == piece }) {
			continue
		}
		s.mouths = append(s.mouths, mouth{e, piece, s.stationOf(e.at)})
	}
	slices.SortStableFunc(s.mouths, func(a, b mouth) int { return cmp.Compare(a.station, b.station) })
	if len(s.mouths) == 0 {
		return nil, nil
	}
	return s, s.sortOut()
}

// pieceOf is the piece of the corridor nearest to a point, and how far it is.
func (lp *lotPlan) pieceOf(q orb.Point) (piece int, off unit.Length) {
	off = unit.Length(math.Inf(1))
	for i, p := range lp.corridor {
		area := orb.MultiPolygon{p}
		if shape.Locate(q, area) != shape.Outside {
			return i, 0
		}
		if d, _, _ := shape.LineBoundary(orb.LineString{q, nudge(q, p.Bound().Center())}, area); d < off {
			piece, off = i, d
		}
	}
	return piece, off
}

// stationOf is the station of a point by the line through the lots, which goes on
// straight beyond the first and the last.
func (s *street) stationOf(q orb.Point) float64 {
	best, station := math.Inf(1), 0.0
	for i := 0; i+1 < len(s.plots); i++ {
		a, b := s.plots[i].at, s.plots[i+1].at
		dx, dy := b[0]-a[0], b[1]-a[1]
		n := dx*dx + dy*dy
		if n == 0 {
			continue
		}
		t := ((q[0]-a[0])*dx + (q[1]-a[1])*dy) / n
		if i > 0 {
			t = max(0, t)
		}
		if i+2 < len(s.plots) {
			t = min(1, t)
		}
		if d := math.Hypot(q[0]-a[0]-t*dx, q[1]-a[1]-t*dy); d < best {
			best, station = d, s.plots[i].station+t*math.Sqrt(n)
		}
	}
	return station
}

// divisions are the best few ways to divide the lots, those that leave fewest
// undrained first, then by cost. Groups and their outlets stand in one order.
func (s *street) divisions() []division {
	var out []division
	var cut func(from, mouth int, d division)
	cut = func(from, mouth int, d division) {
		for m := mouth; m < len(s.mouths); m++ {
			for to := from + 1; to <= len(s.plots); to++ {
				if to < len(s.plots) && len(d.groups)+1 == mostTrunks {
					continue
				}
				g := group{from, to, m}
				e := s.estimate(g)
				x := division{append(slices.Clone(d.groups), g), d.reckoned + e.cost, d.broken, d.near}
				switch {
				case e.near:
					x.near++
				case e.why != "":
					x.broken += to - from
				}
				if to == len(s.plots) {
					out = append(out, x)
				} else {
					cut(to, m+1, x)
				}
			}
		}
	}
	if len(s.plots) > 0 {
		cut(0, 0, division{})
	}
	slices.SortStableFunc(out, func(a, b division) int {
		return cmp.Or(a.broken-b.broken, a.near-b.near, cmp.Compare(a.reckoned, b.reckoned))
	})
	// the best of each number of trunks, and the next best of all
	var few []division
	for i, d := range out {
		n := 0
		for _, o := range few {
			if len(o.groups) == len(d.groups) {
				n++
			}
		}
		if n == 0 || i == 1 {
			few = append(few, d)
		}
	}
	return few
}

// estimate reckons a group's trunk: from each end of the group towards the outlet,
// at the least slope under the least cover where the lots stand, with the pipe that
// the flow gathered so far asks for.
func (s *street) estimate(g group) estimate {
	if e, ok := s.kept[g]; ok {
		return e
	}
	lp, c := s.lp, s.lp.site.Criteria
	m := &s.mouths[g.mouth]
	e := estimate{cost: c.Prices.TieInEach}
	tie := m.end.tieIn
	if m.end.lower != nil {
		tie = m.end.lower
	}
	plots := s.plots[g.from:g.to]
	short := unit.Length(0)
	total := s.more * s.flow(plots, m.station)
	e.flow = total
	wing := func(of []plot) { // the farthest first
		level := unit.Elevation(math.Inf(1))
		for i := range of {
			next := m.station
			if i+1 < len(of) {
				next = of[i+1].station
			}
			length := math.Abs(next - of[i].station)
			k, carried := lp.solidPipe[len(lp.solidPipe)-1], s.flow(of[:i+1], next)
			for _, x := range lp.solidPipe {
				if lp.carries(x, c.Pipe.TargetSlope) >= carried {
					k = x
					break
				}
			}
			under := c.Pipe.LeastCover + lp.stock[k].Outside
			if z := of[i].ground; z != nil {
				level = min(level, z.Plus(-under))
			}
			deep := under + c.Trench.Bedding
			if z := of[i].ground; z != nil && !math.IsInf(float64(level), 0) {
				deep = max(deep, z.Above(level)+c.Trench.Bedding)
			}
			e.cost += length * (c.Prices.TrenchPerM + lp.stock[k].Price + c.Prices.DepthPerM2*float64(deep))
			level = level.Plus(-unit.Length(float64(c.Pipe.LeastSlope) * length))
		}
		if tie != nil && len(of) > 0 && !math.IsInf(float64(level), 0) {
			short = max(short, tie.Above(level))
		}
	}
	var up, down []plot
	for _, x := range plots {
		if x.station <= m.station {
			up = append(up, x)
		}
	}
	for i := len(plots) - 1; i >= len(up); i-- {
		down = append(down, plots[i])
	}
	wing(up)
	wing(down)
	switch in := m.end.inlet; {
	case slices.ContainsFunc(plots, func(x plot) bool { return x.piece != m.piece }):
		e.why = "no easement leads from all of them to " + m.end.id
	case in != nil && in.FlowLimit != nil && total > float64(*in.FlowLimit):
		e.near = total < nearLimit*float64(*in.FlowLimit)
		e.why = fmt.Sprintf("over the flow limit of %s: about %.0f L/s would come, %.1f L/s are allowed", in.ID, 1000*total, 1000*float64(*in.FlowLimit))
	case short > nearlyFalls:
		e.near = short < 2*nearlyFalls
		e.why = fmt.Sprintf("about %.0f mm too low at %s", 1000*float64(short), m.end.id)
	}
	s.kept[g] = e
	return e
}

// flow is what lots bring to a station of the trunk: the most that comes at a time, of
// the water that has arrived by then.
func (s *street) flow(of []plot, to float64) float64 {
	stated, most, ca := 0.0, 0.0, 0.0
	var come []profile.Inflow
	for i := range of {
		stated += of[i].stated
		for _, in := range of[i].in {
			in.Tc += hydro.Duration(math.Abs(of[i].station-to) / inTrunk / 60)
			come = append(come, in)
		}
	}
	if s.lp.intensity == nil {
		return stated
	}
	slices.SortFunc(come, func(a, b profile.Inflow) int { return cmp.Compare(a.Tc, b.Tc) })
	for _, in := range come {
		ca += float64(in.CA)
		most = max(most, ca*float64(s.lp.intensity(in.Tc))/3.6e6)
	}
	return stated + most
}

// words names the groups of a division and their outlets.
func (s *street) words(d division) string {
	var out, off []string
	for _, g := range d.groups {
		var lots []string
		for _, p := range s.plots[g.from:g.to] {
			lots = append(lots, p.lot.ID)
		}
		if g.mouth == none {
			off = append(off, lots...)
			continue
		}
		out = append(out, "lot"+plural(lots)+" "+strings.Join(lots, ", ")+" to "+s.mouths[g.mouth].end.id)
	}
	for _, p := range s.never {
		off = append(off, p.lot.ID)
	}
	if len(off) > 0 {
		out = append(out, "lot"+plural(off)+" "+strings.Join(off, ", ")+" left off")
	}
	return strings.Join(out, "; ")
}

// tell says in a plan how its lots are divided and what became of other ways.
func (s *street) tell(d division, parts []*lotPlan, lost []string, all bool) {
	if all {
		return // each lot is told why
	}
	msg := "Of the ways to share the lots out among the inlets this is the cheapest that drains most: "
	if d.broken > 0 || len(s.never) > 0 {
		msg = "No way was found to share the lots out among the inlets that drains all of them; this one drains most: "
	}
	msg += s.words(d) + "."
	if len(lost) > 0 {
		msg += " Planned too: " + strings.Join(lost, "; or ") + "."
	}
	if len(s.plots) > 0 {
		for k, m := range s.mouths {
			if e := s.estimate(group{0, len(s.plots), k}); e.why != "" {
				msg += " All on one trunk to " + m.end.id + ": " + e.why + "."
			}
		}
	}
	parts[0].findings = append(parts[0].findings, parcels.Finding{Code: "lots_divided", Severity: parcels.Note, Message: msg})
}
