package planner

// Lots that no shared trunk takes: which they are is known before anything is laid,
// from their flows, the inlets' limits and the levels, and each is told why, with what
// would drain it.

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

const (
	// nearLimit is how far over a limit what is reckoned may come and yet be planned.
	nearLimit = 1.1
	// roundabout is how many times the straight way water is taken to go at most.
	roundabout = 2
	// acrossTrunk is how far apart along the trunk, m, lots on both sides of it pass
	// for one place.
	acrossTrunk = 8.0
)

// tooLow is how far under an outlet's level the water of a lot must arrive: from the
// intake that lies worst for it, at the least cover, down the straight way at the
// least slope. No drain that keeps the rules arrives higher. 0: it may arrive.
func (s *street) tooLow(x *plot, m *mouth) (short unit.Length, arrives, asked unit.Elevation) {
	lp, c := s.lp, s.lp.site.Criteria
	tie := m.end.tieIn
	if m.end.lower != nil {
		tie = m.end.lower
	}
	if tie == nil || lp.surface == nil {
		return 0, 0, 0
	}
	first := lp.stock[lp.solidPipe[0]]
	for _, i := range x.waters {
		in := lp.waters[i].intake
		top := unit.Elevation(math.Inf(1))
		if in.Invert != nil {
			top = *in.Invert
		} else if g, ok := lp.surface.At(in.At); ok {
			top = g.Elevation.Plus(-(max(c.Pipe.LeastCover, orNone(in.StartCover)) + first.Inside))
		} else {
			continue
		}
		top = top.Plus(-unit.Length(float64(c.Pipe.LeastSlope) * math.Hypot(m.end.at[0]-in.At[0], m.end.at[1]-in.At[1])))
		if d := tie.Above(top); d > short {
			short, arrives = d, top
		}
	}
	return short, arrives, *tie
}

func orNone(l *unit.Length) unit.Length {
	if l == nil {
		return 0
	}
	return *l
}

// leastOf is the least flow that the lots bring to an outlet together, if the last of
// their water takes no longer than minutes on the way: over roundabout times the
// straight way, as slowly as water goes in a drain.
func (s *street) leastOf(plots []plot, m *mouth) (flow hydro.Flow, minutes hydro.Duration) {
	var of []int
	far := 0.0
	for k := range plots {
		for _, i := range plots[k].waters {
			of = append(of, i)
			at := s.lp.waters[i].intake.At
			far = max(far, math.Hypot(m.end.at[0]-at[0], m.end.at[1]-at[1]))
		}
	}
	minutes = hydro.Duration(math.Ceil(roundabout * far / float64(slowest) / 60))
	return s.lp.leastFlow(of, minutes), minutes
}

// partial is the division that leaves the fewest lots off, of groups that by estimate
// drain and whose trunks lie one after the other, and of those the cheapest; false: it would leave off all.
func (s *street) partial() (division, bool) {
	type state struct {
		from, mouth, trunks int
		clear               float64 // station from which on no trunk lies yet
	}
	type best struct {
		off  int
		cost float64
		g    group // what comes next: a group, or one lot left off (mouth none)
	}
	known := map[state]best{}
	var work func(at state) best
	work = func(at state) best {
		if at.from == len(s.plots) {
			return best{g: group{mouth: none}}
		}
		if b, ok := known[at]; ok {
			return b
		}
		b := work(state{at.from + 1, at.mouth, at.trunks, at.clear})
		b.off, b.g = b.off+1, group{at.from, at.from + 1, none}
		if at.trunks > 0 {
			for m := at.mouth; m < len(s.mouths); m++ {
				if s.mouths[m].station < at.clear {
					continue
				}
				for to := at.from + 1; to <= len(s.plots); to++ {
					g := group{at.from, to, m}
					e := s.estimate(g)
					if e.why != "" || s.plots[at.from].station < at.clear {
						continue
					}
					rest := work(state{to, m + 1, at.trunks - 1, s.clearOf(g)})
					if cost := e.cost + rest.cost; rest.off < b.off || rest.off == b.off && cost < b.cost {
						b = best{rest.off, cost, g}
					}
				}
			}
		}
		known[at] = b
		return b
	}
	at := state{0, 0, mostTrunks, math.Inf(-1)}
	whole := work(at)
	d := division{reckoned: whole.cost, broken: whole.off}
	for at.from < len(s.plots) {
		g := work(at).g
		d.groups = append(d.groups, g)
		at.from = g.to
		if g.mouth != none {
			at.mouth, at.trunks, at.clear = g.mouth+1, at.trunks-1, s.clearOf(g)
		}
	}
	return d, whole.off < len(s.plots)
}

// sortOut takes out of the street the lots that no outlet can take, alone or with
// others: no ground where a trench may lie leads from them to one, or their own water
// comes in too low at each, or is more than it may be given.
func (s *street) sortOut() error {
	area, _, err := s.lp.ground()
	if err != nil {
		return err
	}
	near := func(at orb.Point, reach unit.Length) (pieces []int) {
		least := unit.Length(math.Inf(1))
		off := make([]unit.Length, len(area))
		for i, p := range area {
			if shape.Locate(at, orb.MultiPolygon{p}) == shape.Outside {
				off[i], _, _ = shape.LineBoundary(orb.LineString{at, nudge(at, p.Bound().Center())}, orb.MultiPolygon{p})
			}
			least = min(least, off[i])
		}
		for i := range off {
			if off[i] <= max(reach, least+besideTrunk) {
				pieces = append(pieces, i)
			}
		}
		return pieces
	}
	leads := map[int]bool{}
	for k := range s.mouths {
		for _, i := range near(s.mouths[k].end.at, s.lp.site.Criteria.TieIn.Reach) {
			leads[i] = true
		}
	}
	s.plots = slices.DeleteFunc(s.plots, func(x plot) bool {
		x.cut = !slices.ContainsFunc(x.waters, func(i int) bool {
			return slices.ContainsFunc(near(s.lp.waters[i].intake.At, 0), func(p int) bool { return leads[p] })
		})
		for k := range s.mouths {
			if x.cut {
				break
			}
			m := &s.mouths[k]
			over := false
			if in := m.end.inlet; in != nil && in.FlowLimit != nil {
				least, _ := s.leastOf([]plot{x}, m)
				over = least > *in.FlowLimit
			}
			if short, _, _ := s.tooLow(&x, m); short == 0 && !over {
				return false
			}
		}
		s.never = append(s.never, x)
		return true
	})
	return nil
}

// hopeless says whether it is proven of every outlet that it cannot take all of the lots
// that are left in the street.
func (s *street) hopeless() bool {
	for k := range s.mouths {
		m := &s.mouths[k]
		low := slices.ContainsFunc(s.plots, func(x plot) bool { short, _, _ := s.tooLow(&x, m); return short > 0 })
		over := false
		if in := m.end.inlet; in != nil && in.FlowLimit != nil {
			least, _ := s.leastOf(s.plots, m)
			over = least > *in.FlowLimit
		}
		if len(s.plots) > 0 && !low && !over {
			return false
		}
	}
	return true
}

// candidates are the divisions worth planning, the best first: those that by estimate
// drain all lots, else one that might, else the one that leaves the fewest off.
func (s *street) candidates() (out []division) {
	if s == nil {
		return nil
	}
	for _, d := range s.divisions() {
		if d.broken == 0 && (d.near == 0 || len(out) == 0) {
			out = append(out, d)
		}
	}
	if len(out) == 0 || out[0].near > 0 {
		if d, ok := s.partial(); ok {
			out = append(out, d)
		}
	}
	return out
}

// clearOf is the station from which on the trunk of a group does not lie: two that lie
// side by side seldom find room.
func (s *street) clearOf(g group) float64 {
	return max(s.plots[g.to-1].station, s.mouths[g.mouth].station) - acrossTrunk
}

// leaveOff makes the part of the plan of the lots that no trunk takes: for each a stop
// that says why, held against what the trunks that are planned bring, and a drain of
// its own where there is one.
func (s *street) leaveOff(ctx context.Context, site *parcels.Site, off []plot, parts []*lotPlan, st *siting.Siting, surface ground.Surface, o Options, prover func(...*parcels.Lot) proof) (*lotPlan, error) {
	var lots []*parcels.Lot
	for _, x := range off {
		lots = append(lots, x.lot)
	}
	q, err := newShared(site, st, lots, surface, o)
	if err != nil {
		return nil, err
	}
	came := map[string]hydro.Flow{}
	var taken []zone.KeepOut
	for _, p := range parts {
		taken = append(taken, p.trunkGround()...)
		for i := range p.runs {
			if r := &p.runs[i]; r.To == p.outlet && r.Flow != nil {
				came[p.outlet] += *r.Flow
			}
		}
	}
	for k := range off {
		q.findings = append(q.findings, s.whyOff(&off[k], came))
		if o.Quick {
			continue
		}
		q.yard(&q.members[k])
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		own, err := newShared(site, st, lots[k:k+1], surface, Options{Quick: true})
		if err != nil {
			return nil, err
		}
		own.taken, own.prove = taken, prover(lots[k])
		if err := own.targets(); err != nil {
			return nil, err
		}
		for i := range own.ends {
			if e := &own.ends[i]; came[e.id] > 0 {
				e.closed = "the shared trunk ends there"
			}
		}
		if err := own.drain(ctx); err != nil {
			return nil, err
		}
		r, err := own.asRemedy(lots[k].ID)
		if err != nil {
			return nil, err
		}
		if r != nil {
			q.remedies = append(q.remedies, *r)
		}
	}
	return q, nil
}

// asRemedy tells of a lot's own drain; nil: it has none that goes.
func (lp *lotPlan) asRemedy(lot string) (*parcels.Remedy, error) {
	v, _, _ := parcels.Judge(lp.findings)
	if v == parcels.NotFeasible || lp.cost == nil || lp.outlet == "" {
		return nil, nil
	}
	r := &parcels.Remedy{Kind: parcels.OtherInlet, Lot: lot, Outlet: lp.outlet, Verdict: v, CostIndex: lp.cost,
		Message: fmt.Sprintf("Drain lot %s by itself to %s: gravity does it, with %.1f m of trench.", lot, lp.outlet, float64(lp.trenchLength))}
	if slices.ContainsFunc(lp.runs, func(r parcels.Run) bool { return len(r.Easements) > 0 }) {
		r.Verdict = parcels.NotProven
		r.Message += " The easement's and each owner's permission is needed."
	}
	return r, lp.proven(r, func(*parcels.Criteria) {})
}

// reckonedOff says why by estimate a lot is on no trunk to an outlet, to which others
// bring so much.
func (s *street) reckonedOff(x *plot, mouth int, came hydro.Flow) string {
	m := &s.mouths[mouth]
	if i := slices.IndexFunc(s.plots, func(p plot) bool { return p.lot == x.lot }); i >= 0 {
		if e := s.estimate(group{i, i + 1, mouth}); e.why != "" {
			return "by estimate its own water alone is " + e.why
		}
	}
	if in := m.end.inlet; in != nil && in.FlowLimit != nil {
		if all := float64(came) + s.flow([]plot{*x}, m.station); all > float64(*in.FlowLimit) {
			return fmt.Sprintf("%s takes %.1f L/s, and with this lot by estimate about %.1f would come", m.end.id, 1000*float64(*in.FlowLimit), 1000*all)
		}
	}
	return "a trunk from it to " + m.end.id + " would pass that of others, or by estimate leave more lots off"
}

// whyOff says why no trunk takes a lot: of the outlets the one that comes nearest to
// it stands first, with the figures where it is proven.
func (s *street) whyOff(x *plot, came map[string]hydro.Flow) parcels.Finding {
	at := x.at
	f := parcels.Finding{Code: "lot_left_off", Severity: parcels.Stop, Lot: x.lot.ID, Location: &at, Source: "P-55, P-60"}
	var why []string
	nearest := math.Inf(1)
	if x.cut {
		f.Message = fmt.Sprintf("Lot %s is on no shared trunk: the ground by its intakes where a trench may lie hangs together with none that leads to an outlet; what lies between takes the whole width.", x.lot.ID)
		return f
	}
	for k := range s.mouths {
		m := &s.mouths[k]
		over, say := math.MaxFloat64, s.reckonedOff(x, k, came[m.end.id])
		var got, asked *float64
		unit := ""
		if short, arrives, tie := s.tooLow(x, m); short > 0 {
			say = fmt.Sprintf("at %s its water would arrive %.0f mm too low, led straight there at the least slope of %.2g %% under the least cover", m.end.id, math.Ceil(1000*float64(short)), 100*float64(s.lp.site.Criteria.Pipe.LeastSlope))
			got, asked, unit, over = parcels.Num(round(float64(arrives), 3)), parcels.Num(round(float64(tie), 3)), "m", 1+float64(short)
		} else if in := m.end.inlet; in != nil && in.FlowLimit != nil {
			limit := float64(*in.FlowLimit)
			least, minutes := s.leastOf([]plot{*x}, m)
			if all := float64(came[m.end.id] + least); all > limit {
				grant := float64(came[m.end.id]) + s.flow([]plot{*x}, m.station)
				say = fmt.Sprintf("%s takes %.1f L/s, of which the trunk planned brings %.1f, and this lot brings %.1f or more, even if its water took %.0f minutes to come: about %.1f L/s would have to be granted, or %.1f held back on the lot",
					m.end.id, 1000*limit, 1000*float64(came[m.end.id]), 1000*float64(least), float64(minutes), 1000*grant, 1000*(grant-limit))
				got, asked, unit, over = parcels.Num(roundAs(all, 6)), parcels.Num(limit), "m3/s", all/limit
			}
		}
		if over < nearest {
			nearest, why = over, append([]string{say}, why...)
			f.Feature, f.Measured, f.Required, f.Unit = m.end.id, got, asked, unit
		} else {
			why = append(why, say)
		}
	}
	f.Message = fmt.Sprintf("Lot %s is on no shared trunk: %s.", x.lot.ID, strings.Join(why, "; "))
	return f
}
