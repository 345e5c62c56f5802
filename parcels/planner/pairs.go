package planner

// Two remedies together, where none alone lets a yard drain: the pairs that a
// designer would try, found on the layout as it is drawn, then planned anew under
// the changed rules and put to the checker, the cheapest first.

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro/profile"
	"fallwright/parcels"
)

// mostPairs is how many pairs are planned anew: each takes as long as a quick plan
// of the lot.
const mostPairs = 4

// mostBeds is how often the bed of a pair is lowered for the ground that is cut.
const mostBeds = 3

// step is one thing that a pair changes.
type step struct {
	part  parcels.RemedyStep
	say   string                  // as an order, without its full stop
	bend  bend                    // on a layout
	rule  func(*parcels.Criteria) // for planning anew; nil: no rule is changed
	grade func() *grading         // the ground it leaves; nil: as it is
	lower func(unit.Length) *step // of a bed: the same so much lower; nil: none is
	extra float64                 // what it costs beside the drain
	leave bool                    // somebody else's is asked
	earth func(r *parcels.Remedy) // writes down cut and fill
}

// pair is two steps with which the profile of a layout arrives.
type pair struct {
	outlet string
	steps  [2]step
	cost   float64
}

// mended says whether a remedy of a kind that a designer would take, with no pump
// over nobody else's lot and into no sewer that may have to lie deeper, does it by itself.
func (lp *lotPlan) mended() bool {
	return slices.ContainsFunc(lp.remedies, func(r parcels.Remedy) bool {
		switch {
		case r.Verdict == parcels.NotFeasible, r.Kind == parcels.Pump, r.Kind == parcels.SharedTrunk:
			return false
		case r.Kind == parcels.LowerTieIn:
			i := slices.IndexFunc(lp.ends, func(e end) bool { return e.id == r.Outlet })
			if i < 0 || lp.ends[i].inlet == nil {
				return true
			}
			inv := lp.ends[i].inlet.Invert
			return inv != nil && *r.To >= float64(*inv)
		}
		return true
	})
}

// mendByTwo works out pairs of remedies where none alone does it; others are pairs
// of which one is another inlet.
func (lp *lotPlan) mendByTwo(ctx context.Context, others []pair) error {
	if lp.mended() {
		return nil
	}
	pairs := others
	if lp.mender != nil {
		own, err := lp.mender.pairs()
		if err != nil {
			return err
		}
		pairs = append(pairs, own...)
	}
	slices.SortStableFunc(pairs, func(a, b pair) int { return cmp.Compare(a.cost, b.cost) })
	planned, left := 0, 0
	var told []parcels.Remedy
	for _, p := range pairs {
		r := p.remedy()
		g, exact := lp.grounds(&p)
		if exact && planned == mostPairs {
			left++
			continue
		}
		if exact {
			var err error
			if exact, err = lp.planPair(ctx, &p, g, &r); err != nil {
				return err
			}
			planned++
		}
		// Cut ground covers a pipe less: what was enough on the ground as it lies may
		// then come in too low, and the bed must be lower still.
		for try := 0; exact && r.Short != nil && try < mostBeds; try++ {
			q, ok := p.deeper(*r.Short)
			if g, exact = lp.grounds(&q); !ok || !exact {
				exact = true // what was planned stands
				break
			}
			next := q.remedy()
			again, err := lp.planPair(ctx, &q, g, &next)
			if err != nil {
				return err
			}
			if again {
				p, r = q, next
			}
		}
		if !exact {
			r.Message += " on the layout as drawn gravity does it. An estimate: planned anew it may come out otherwise."
		}
		if p.steps[0].leave {
			r.Message += " The owner of the ground from the zone to the inlet must agree to so long a run over it, and the criteria must allow it."
		}
		told = append(told, r)
	}
	slices.SortStableFunc(told, func(a, b parcels.Remedy) int { // planned anew they cost otherwise
		of := func(r parcels.Remedy) float64 {
			if r.CostIndex == nil {
				return math.Inf(1)
			}
			return *r.CostIndex
		}
		return cmp.Compare(of(a), of(b))
	})
	lp.remedies = append(lp.remedies, told...)
	if left > 0 {
		lp.find(parcels.Finding{Code: "remedies_cut_short", Severity: parcels.Note, Measured: parcels.Num(float64(planned)), Required: parcels.Num(float64(planned + left)), Unit: "pairs",
			Message: fmt.Sprintf("Of the pairs of remedies that would do it on the layout as drawn the %d cheapest were planned; %d dearer ones were not.", planned, left)})
	}
	return nil
}

// remedy begins to tell of a pair, with the cost by the layout as drawn.
func (p *pair) remedy() parcels.Remedy {
	a, b := p.steps[0], p.steps[1]
	r := parcels.Remedy{Kind: parcels.Combined, Outlet: p.outlet, Verdict: parcels.Feasible, CostIndex: parcels.Num(round(p.cost, 2)), Steps: []parcels.RemedyStep{a.part, b.part}, Message: upper(a.say) + ", and " + b.say + ":"}
	for _, s := range p.steps {
		if s.earth != nil {
			s.earth(&r)
		}
		if s.leave {
			r.Verdict = parcels.NotProven
		}
	}
	return r
}

// deeper is the pair with its bed so much lower; false: it has none, or none lower.
func (p pair) deeper(by unit.Length) (pair, bool) {
	for i := range p.steps {
		if p.steps[i].lower == nil {
			continue
		}
		s := p.steps[i].lower(by)
		if s == nil {
			return p, false
		}
		p.steps[i] = *s
		return p, true
	}
	return p, false
}

// grounds is the ground that a pair leaves, nil as it is; false where the pair cannot be
// planned anew: an intake's own cover is no rule, the ground cannot be written down, or
// the trunk is one of several (prove is nil) or of many lots, each plan of which takes long.
func (lp *lotPlan) grounds(p *pair) (g *grading, ok bool) {
	if lp.shared && (lp.prove == nil || len(lp.members) > mostBoth) {
		return nil, false
	}
	for _, s := range p.steps {
		if s.grade == nil && s.rule == nil {
			return nil, false
		}
		if s.grade != nil {
			own := s.grade()
			if own == nil || lp.shared {
				return nil, false
			}
			g = g.and(own)
		}
	}
	return g, true
}

// planPair plans the lot anew with a pair, on the ground that it leaves, and has the
// plan checked; false: that ground cannot be written down.
func (lp *lotPlan) planPair(ctx context.Context, p *pair, g *grading, r *parcels.Remedy) (bool, error) {
	rule := func(c *parcels.Criteria) {
		for _, s := range p.steps {
			if s.rule != nil {
				s.rule(c)
			}
		}
	}
	var q *lotPlan
	var v parcels.Verdict
	var why string
	var err error
	if g == nil {
		q, v, why, err = lp.replan(ctx, p.outlet, rule)
	} else {
		q, v, why, err = lp.replanOn(ctx, g, p.outlet, rule)
	}
	switch {
	case err != nil || q == nil:
		return false, err
	case v == parcels.NotFeasible:
		r.Verdict, r.CostIndex = v, nil
		r.Message += " planned so, it does not go either. " + why
		if q.final != nil && q.final.Verdict == profile.Short {
			r.Short = parcels.Num(mm(-q.final.Margin))
		}
		return true, nil
	case v == parcels.NotProven:
		r.Verdict = v
	}
	r.CostIndex = parcels.Num(round(*q.cost+p.steps[0].extra+p.steps[1].extra, 2))
	how := "planned so"
	if g != nil {
		how = "planned on the ground as it then is"
	}
	r.Message += fmt.Sprintf(" %s, gravity does it, with %.1f m of trench.", how, float64(q.trenchLength))
	if err := q.proven(r, rule); err != nil {
		return false, err
	}
	if r.Checked && g != nil {
		r.Grading = g.shots
	}
	return true, nil
}

// pairsWith are the pairs of a step already taken, by which this plan was made and
// yet does not arrive, and one on its layout.
func (lp *lotPlan) pairsWith(first step) ([]pair, error) {
	if lp.drawn == nil || lp.final == nil {
		return nil, nil
	}
	m, err := lp.mends(lp.drawn, lp.final)
	if err != nil || m == nil {
		return nil, err
	}
	var out []pair
	for _, finish := range []finisher{(*mender).finishCover, (*mender).finishLarger, (*mender).finishDeeper} {
		s, cost, err := finish(m)
		if err != nil {
			return nil, err
		}
		if s != nil {
			out = append(out, pair{lp.outlet, [2]step{first, *s}, cost})
		}
	}
	return out, nil
}

// pairs are those that make the mender's layout arrive.
func (m *mender) pairs() (out []pair, err error) {
	add := func(a step, finish finisher) (*step, error) {
		b, cost, err := finish(m, a.bend)
		if b != nil {
			out = append(out, pair{m.l.end.id, [2]step{a, *b}, cost + a.extra})
		}
		return b, err
	}
	// Less cover goes with each of the others; how much less is found once the other
	// is there.
	if m.lp.site.Criteria.Pipe.LeastCover > thinnestCover {
		for _, finish := range []finisher{(*mender).finishLarger, (*mender).finishDeeper, (*mender).finishRegrade} {
			b, _, err := finish(m, m.cover(thinnestCover))
			if err != nil {
				return nil, err
			}
			if b == nil {
				continue
			}
			if b.part.Kind == parcels.RegradeSwale { // all the cover that can go goes, for the least cut
				a := m.coverStep(thinnestCover)
				if _, err := add(a, finish); err != nil {
					return nil, err
				}
				continue
			}
			if _, err := add(*b, (*mender).finishCover); err != nil {
				return nil, err
			}
		}
	}
	for _, finish := range []finisher{(*mender).finishDeeper, (*mender).finishRegrade} {
		for _, f := range m.flatter() {
			if b, err := add(m.largerStep(f), finish); err != nil {
				return nil, err
			} else if b != nil {
				break
			}
		}
	}
	for i := range m.lp.hollows {
		h := &m.lp.hollows[i]
		touched := false
		fill := m.filled(h, &touched)
		if _, _, err := m.again(fill); err != nil {
			return nil, err
		}
		if !touched {
			continue
		}
		volume := round(h.Volume, 2)
		a := step{part: parcels.RemedyStep{Kind: parcels.FillBowl, From: parcels.Num(round(float64(h.Level)-float64(h.Depth), 3)), To: parcels.Num(round(float64(h.Level), 3)), Unit: "m"}, bend: fill,
			say:   fmt.Sprintf("fill the hollow of %.2f m, %.1f m3, to where it runs over", float64(h.Depth), h.Volume),
			extra: h.Volume * m.lp.site.Criteria.Prices.EarthworkPerM3, earth: func(r *parcels.Remedy) { r.Fill = &volume },
			grade: func() *grading { return m.lp.filledGround(h) }}
		for _, finish := range []finisher{(*mender).finishCover, (*mender).finishLarger, (*mender).finishDeeper} {
			if _, err := add(a, finish); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// finisher finds the least of one remedy with which the layout, changed already as
// the bends say, arrives, and what the drain then costs; nil: with none of it.
type finisher func(m *mender, also ...bend) (*step, float64, error)

// price is that of a profile that arrives, tie-in and all.
func (m *mender) price(out *profile.Result) float64 {
	return out.Cost + m.lp.site.Criteria.Prices.TieInEach
}

func (m *mender) coverStep(c unit.Length) step {
	now := m.lp.site.Criteria.Pipe.LeastCover
	s := step{part: parcels.RemedyStep{Kind: parcels.LessCover, From: parcels.Num(round(float64(now), 4)), To: parcels.Num(round(float64(c), 4)), Unit: "m"}, bend: m.cover(c),
		say: fmt.Sprintf("accept %.0f mm of cover in place of %.0f mm, with a pipe of heavier wall where nobody drives", 1000*float64(c), 1000*float64(now))}
	own := slices.ContainsFunc(m.lp.waters, func(w water) bool { return w.intake.StartCover != nil && *w.intake.StartCover > c })
	if !own { // what an intake states of its own is no rule
		s.rule = func(r *parcels.Criteria) { r.Pipe.LeastCover = c }
	}
	return s
}

func (m *mender) finishCover(also ...bend) (*step, float64, error) {
	if m.lp.site.Criteria.Pipe.LeastCover <= thinnestCover {
		return nil, 0, nil
	}
	c, out, _, err := m.mostCover(also...)
	if err != nil || out.Verdict != profile.Arrives {
		return nil, 0, err
	}
	// a figure that can be told to a crew: down to 5 mm
	c = max(thinnestCover, unit.Length(math.Floor(float64(c)*200)/200))
	s := m.coverStep(c)
	if out, _, err = m.again(append(slices.Clone(also), s.bend)...); err != nil || out.Verdict != profile.Arrives {
		return nil, 0, err
	}
	return &s, m.price(out), nil
}

func (m *mender) largerStep(f flatPipe) step {
	now := m.lp.site.Criteria.Pipe.LeastSlope
	return step{part: parcels.RemedyStep{Kind: parcels.LargerPipe, From: parcels.Num(float64(now)), To: parcels.Num(roundAs(float64(f.grade), 5)), Unit: "m/m"}, bend: m.larger(f),
		say: fmt.Sprintf("lay %s pipe as flat as %.2f %% in place of %.2f %%, by laser on a shot bed", f.Size, 100*float64(f.grade), 100*float64(now)),
		rule: func(r *parcels.Criteria) {
			r.Pipe.LeastSlope, r.Pipe.TargetSlope = f.grade, max(r.Pipe.TargetSlope, f.grade)
			r.Pipe.Stock = slices.DeleteFunc(slices.Clone(r.Pipe.Stock), func(s parcels.StockPipe) bool { return s.Pipe == "solid" && s.Diameter < f.Diameter })
		}}
}

func (m *mender) finishLarger(also ...bend) (*step, float64, error) {
	for _, f := range m.flatter() {
		s := m.largerStep(f)
		out, _, err := m.again(append(slices.Clone(also), s.bend)...)
		if err != nil {
			return nil, 0, err
		}
		if out.Verdict == profile.Arrives {
			return &s, m.price(out), nil
		}
	}
	return nil, 0, nil
}

func (m *mender) finishDeeper(also ...bend) (*step, float64, error) {
	now := m.lp.site.Criteria.Pipe.GreatestDepth
	out, _, err := m.again(append(slices.Clone(also), deeper)...)
	if err != nil || out.Verdict != profile.Arrives {
		return nil, 0, err
	}
	most, _ := m.depth(out)
	if most = unit.Length(math.Ceil(float64(most)*100) / 100); most <= now {
		return nil, 0, nil // the other did it alone
	}
	return &step{part: parcels.RemedyStep{Kind: parcels.DeeperTrench, From: parcels.Num(round(float64(now), 4)), To: parcels.Num(float64(most)), Unit: "m"}, bend: deeper,
		say:  fmt.Sprintf("dig to %.2f m in place of %.2f m", float64(most), float64(now)),
		rule: func(r *parcels.Criteria) { r.Pipe.GreatestDepth = most }}, m.price(out), nil
}

func (m *mender) finishRegrade(also ...bend) (*step, float64, error) {
	e := m.l.end
	if !e.atGrade() || e.outlet != nil && e.outlet.Kind != "daylight" || e.tieIn == nil || m.lp.surface == nil {
		return nil, 0, nil
	}
	was, _, err := m.again(also...)
	if err != nil || was.Verdict != profile.Short {
		return nil, 0, err
	}
	bed := was.Arrival
	out, _, err := m.again(append(slices.Clone(also), bedAt(bed))...)
	if err != nil || out.Verdict != profile.Arrives {
		return nil, 0, err
	}
	st := m.regradeStep(bed)
	if st == nil {
		return nil, 0, nil
	}
	return st, m.price(out) + st.extra, nil
}

// regradeStep cuts the ground at the end of a layout down to a bed; nil: it meets no
// lower ground on the lot.
func (m *mender) regradeStep(bed unit.Elevation) *step {
	e, c := m.l.end, m.lp.site.Criteria
	kind, volume, length, to, ok := m.lp.lowerBed(e.at, bed)
	if !ok {
		return nil
	}
	cut := round(volume, 2)
	return &step{part: parcels.RemedyStep{Kind: parcels.RegradeSwale, Outlet: e.id, From: parcels.Num(round(float64(m.base.End.TieIn), 3)), To: parcels.Num(round(float64(bed), 3)), Unit: "m"}, bend: bedAt(bed),
		say:   fmt.Sprintf("cut %s %.0f mm deeper at %s and on for %.1f m at %.2g %%, %.1f m3", kind, math.Ceil(1000*float64(m.base.End.TieIn-bed)), e.id, length, 100*float64(c.Ground.SwaleLeastSlope), cut),
		extra: volume * c.Prices.EarthworkPerM3, earth: func(r *parcels.Remedy) { r.Cut, r.Location = &cut, &to },
		grade: func() *grading {
			if kind != newSwale {
				return nil // the bed of a swale that is there is a line with levels of its own
			}
			return m.lp.bedGround(e, bed, to)
		},
		lower: func(by unit.Length) *step { return m.regradeStep(bed.Plus(-by - 5*unit.Millimetre)) }}
}

// upper begins an order with a capital.
func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
