package planner

// The entry, the choice of lots, and the gate.

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/memory"
	"fallwright/parcels/quantities"
	"fallwright/parcels/siting"
)

// Planner makes plans. It may be used by several goroutines at once.
type Planner struct {
	Verifier parcels.Verifier
	Program  string // name and version, written into each plan
	// Memory, where not nil, keeps what a plan begins with (ground, zones, the
	// water over the yard) by content. Plans are the same with and without it.
	Memory *memory.Memory
}

// Options of one plan.
type Options struct {
	// Lots by name; none: every lot that has an intake, a perforated run or a
	// proposed drain.
	Lots []string
	// Outlet restricts the choice to one inlet or outlet by name.
	Outlet string
	// Surface is the ground in place of the site's shots (a raster).
	Surface ground.Surface
	// Shared drains the lots by one trunk, which may lie along easements where a
	// trench may lie, over other lots too; or by several, where that drains more of
	// them or is cheaper, each to an inlet of its own.
	Shared bool
	// Quick leaves out what does not change the drain: the water over the yard, the
	// proof of the bound, remedies, the emitter that is not listed, and what the free
	// layout would cost beside a drawn one. For answers while a line is dragged.
	Quick bool
	// rule, where not nil, changes what holds for a shared trunk: a remedy is tried.
	rule func(*parcels.Criteria)
}

// Refuted is the error of a plan that failed verification: the plan is kept
// aside here and not returned.
type Refuted struct {
	Verification parcels.Verification
	Plan         []byte
}

func (e *Refuted) Error() string {
	var bad []string
	for _, c := range e.Verification.Checks {
		if !c.Passed {
			bad = append(bad, strings.TrimSpace(c.Check+" "+c.Where+" "+c.Detail))
		}
	}
	return "planner: the plan failed verification: " + strings.Join(bad, "; ")
}

// Plan plans the lots and returns the plan with the bytes that were verified.
func (p *Planner) Plan(ctx context.Context, s *parcels.Site, o Options) (*parcels.Plan, []byte, error) {
	lots, err := p.choose(s, o)
	if err != nil {
		return nil, nil, err
	}
	plan, surface, err := p.open(s, o, lots)
	if err != nil {
		return nil, nil, err
	}
	var parts []*lotPlan
	kept := p.Memory
	if kept == nil && o.Shared {
		kept = memory.New(64 << 20) // divisions have the ground and the water of their lots in common
	}
	st := siting.New(s).With(kept)
	if o.Shared {
		if parts, err = planTrunks(ctx, s, st, lots, surface, o, func(lots ...*parcels.Lot) proof { return p.prover(s, surface, lots...) }); err != nil {
			return nil, nil, err
		}
		lots = nil
	}
	for _, lot := range lots {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		prefix := ""
		if len(lots) > 1 {
			prefix = lot.ID + "/"
		}
		under, _, err := st.Under(lot)
		if err != nil {
			return nil, nil, err
		}
		lp, err := newLotPlan(under, st, lot, surface, o, prefix)
		if err != nil {
			return nil, nil, err
		}
		lp.prove, lp.proveOn = p.prover(s, surface, lot), p.prover
		if err := lp.run(ctx); err != nil {
			return nil, nil, err
		}
		parts = append(parts, lp)
	}
	p.join(plan, parts)
	if plan.Trunks, err = trunks(plan); err != nil {
		return nil, nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	plan.Quantities = quantities.Reckon(plan, s)
	body, err := p.gate(s, plan)
	if err != nil {
		return nil, nil, err
	}
	return plan, body, nil
}

// open begins the plan of some lots with what does not depend on the drain.
func (p *Planner) open(s *parcels.Site, o Options, lots []*parcels.Lot) (*parcels.Plan, ground.Surface, error) {
	surface := o.Surface
	var more []parcels.Finding
	var err error
	if surface == nil {
		if surface, more, err = p.surface(s); err != nil {
			return nil, nil, err
		}
	}
	missing := func(f parcels.Finding) bool {
		return f.Code == "layer_not_supplied" && f.Feature == string(parcels.LayerSpots)
	}
	if surface == nil && !slices.ContainsFunc(s.Findings, missing) { // supplied, and yet no ground
		more = append(more, parcels.Finding{Code: "layer_not_supplied", Severity: parcels.Warn, Feature: string(parcels.LayerSpots), NotProven: true,
			Message: "The shots and lines supplied make no ground: cover, depth and fall are not known.", Cure: "Shoot the ground, at least three points that are not in a line."})
	}
	plan := &parcels.Plan{Status: parcels.Preliminary, Site: s.Name, Program: p.Program, Frame: Statement(s),
		Cautions: parcels.Cautions, Assumptions: append([]string{}, s.Assumptions...), Findings: of(lots, append(append([]parcels.Finding{}, s.Findings...), more...)),
		Trenches: []parcels.Trench{}, Profiles: []parcels.Profile{}, Alternatives: []parcels.Alternative{}, Remedies: []parcels.Remedy{}, WaterCases: []parcels.WaterCase{}}
	plan.RestsOn = restsOn(s)
	return plan, surface, nil
}

// of keeps the findings that are of one of the lots, or of no lot.
func of(lots []*parcels.Lot, fs []parcels.Finding) []parcels.Finding {
	out := fs[:0]
	for _, f := range fs {
		if f.Lot == "" || slices.ContainsFunc(lots, func(l *parcels.Lot) bool { return l.ID == f.Lot }) {
			out = append(out, f)
		} else if f.Code == "feature_refused" {
			f.Severity = parcels.Note // told, but it stops its own lot only
			out = append(out, f)
		}
	}
	return out
}

// gate is the one way out: write, verify the very bytes, add the verdict of the
// verifier.
func (p *Planner) gate(s *parcels.Site, plan *parcels.Plan) ([]byte, error) {
	if p.Verifier == nil {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: verify", Err: fmt.Errorf("no verifier was handed in")}
	}
	body, err := document.WritePlan(plan, s.Frame)
	if err != nil {
		return nil, err
	}
	v, err := p.Verifier.Verify(s.Document, s.Criteria, body)
	if err != nil {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: verify", Err: err}
	}
	if !v.Passed {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner", Err: &Refuted{v, body}}
	}
	plan.Verification = &v
	return document.WithVerification(body, &v)
}

// proof puts a plan made under other rules to the checker and says what it found
// wrong.
type proof func(q *lotPlan, rule func(*parcels.Criteria)) (string, error)

// prover puts the plan of a lot's remedy to the verifier, under the rules that it
// was made by.
func (p *Planner) prover(s *parcels.Site, surface ground.Surface, lots ...*parcels.Lot) proof {
	return func(q *lotPlan, rule func(*parcels.Criteria)) (string, error) {
		if p.Verifier == nil {
			return "there is no verifier", nil // the plan itself fails for that
		}
		plan, _, err := p.open(s, Options{Surface: surface}, lots)
		if err != nil {
			return "", err
		}
		p.join(plan, []*lotPlan{q})
		if plan.Trunks, err = trunks(plan); err != nil {
			return "", err
		}
		body, err := document.WritePlan(plan, s.Frame)
		if err != nil {
			return "", err
		}
		c := s.Criteria
		rule(&c)
		v, err := p.Verifier.Verify(s.Document, c, body)
		if err != nil {
			return "", &parcels.Error{Kind: parcels.Failed, Op: "planner: verify", Err: err}
		}
		for _, k := range v.Checks {
			if !k.Passed {
				return strings.TrimSpace(k.Check + " " + k.Where + " " + k.Detail), nil
			}
		}
		return "", nil
	}
}

// choose finds the lots asked for.
func (p *Planner) choose(s *parcels.Site, o Options) ([]*parcels.Lot, error) {
	if len(o.Lots) > 0 {
		var out []*parcels.Lot
		var faults []parcels.Fault
		for _, id := range o.Lots {
			l := s.Lot(id)
			if l == nil {
				faults = append(faults, UnknownLot(s, id))
				continue
			}
			out = append(out, l)
		}
		if len(faults) > 0 {
			return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
		}
		return out, nil
	}
	has := map[string]bool{}
	for i := range s.Intakes {
		has[ownerOf(s, s.Intakes[i].Lot, s.Intakes[i].At)] = true
	}
	for i := range s.PerforatedRuns {
		has[ownerOf(s, s.PerforatedRuns[i].Lot, s.PerforatedRuns[i].Line[0])] = true
	}
	var out []*parcels.Lot
	for i := range s.Lots {
		if has[s.Lots[i].ID] {
			out = append(out, &s.Lots[i])
		}
	}
	if len(out) == 0 && len(s.Lots) == 1 {
		out = append(out, &s.Lots[0])
	}
	if len(out) == 0 {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "nothing-to-drain", Pointer: "/layers/intakes",
			Detail: "No lot is named and no lot has an intake or a perforated run. Name a lot, or add the downspouts and basins as the layer intakes."}}}
	}
	return out, nil
}

// UnknownLot is the fault of a lot name that the site does not have, with the
// nearest names that it does.
func UnknownLot(s *parcels.Site, id string) parcels.Fault {
	names := make([]string, 0, len(s.Lots))
	for _, l := range s.Lots {
		names = append(names, l.ID)
	}
	sort.Strings(names)
	more := ""
	if len(names) > 12 {
		more = fmt.Sprintf(" and %d more", len(names)-12)
		names = names[:12]
	}
	return parcels.Fault{Slug: "lot-unknown", Layer: "parcels", Pointer: "/layers/parcels", ID: parcels.Excerpt(id),
		Detail: fmt.Sprintf("There is no lot %q. Lots here: %s%s.", parcels.Excerpt(id), strings.Join(names, ", "), more)}
}

// Statement says in which plane the site is worked.
func Statement(s *parcels.Site) parcels.FrameStatement {
	f := s.Frame
	st := parcels.FrameStatement{CRS: f.CRS(), Plane: f.Name(), MetresPerUnit: f.MetresPerUnit(), ScaleFactor: f.ScaleFactor()}
	if f.Geographic() {
		o := f.Origin()
		st.CRS, st.CentreLon, st.CentreLat = "OGC:CRS84", &o[0], &o[1]
	}
	return st
}

// join puts the plans of the lots together and sums up.
func (p *Planner) join(plan *parcels.Plan, parts []*lotPlan) {
	sum := &plan.Summary
	sum.Lots = []string{}
	outlets := map[string]bool{}
	var names []string
	cost := 0.0
	priced := true
	var lower, gap *float64
	for _, lp := range parts {
		sum.Lots = append(sum.Lots, lp.lotsOf()...)
		plan.Shares = append(plan.Shares, lp.parts...)
		for _, pt := range lp.points {
			if pt.Kind == parcels.PointInlet || pt.Kind == parcels.PointOutlet {
				if had := plan.Point(pt.ID); had != nil {
					meet(had, pt)
					continue // an inlet that two lots share stands once
				}
			}
			plan.Points = append(plan.Points, pt)
		}
		plan.Runs = append(plan.Runs, lp.runs...)
		plan.Trenches = append(plan.Trenches, lp.trenches...)
		plan.Profiles = append(plan.Profiles, lp.profiles...)
		if len(parts) > 1 && !lp.shared { // of one of several drains
			for i := range lp.alternatives {
				lp.alternatives[i].Lot = lp.lot.ID
			}
			for i := range lp.remedies {
				lp.remedies[i].Lot = lp.lot.ID
			}
		}
		plan.Alternatives = append(plan.Alternatives, lp.alternatives...)
		plan.Remedies = append(plan.Remedies, lp.remedies...)
		plan.WaterCases = append(plan.WaterCases, lp.water...)
		plan.Ponds = append(plan.Ponds, lp.ponds...)
		plan.LineFlows = append(plan.LineFlows, lp.lineFlows...)
		plan.Overflow = append(plan.Overflow, lp.overflow...)
		if plan.Storage == nil {
			plan.Storage = lp.backed
		} else if lp.backed != nil {
			plan.MoreStorage = append(plan.MoreStorage, lp.backed)
		}
		plan.Findings = append(plan.Findings, lp.findings...)
		for _, a := range lp.assumptions {
			plan.Assumptions = append(plan.Assumptions, a)
		}
		if lp.outlet != "" && !outlets[lp.outlet] {
			outlets[lp.outlet] = true
			names = append(names, lp.outlet)
		}
		sum.Length += lp.pipeLength
		sum.TrenchLength += lp.trenchLength
		switch {
		case lp.cost != nil:
			cost += *lp.cost
		case lp.shared && len(parts) > 1 && len(lp.runs) == 0: // its lots pay nothing for nothing
			for _, lot := range lp.lotsOf() {
				plan.Shares = append(plan.Shares, parcels.Share{Lot: lot})
			}
		default:
			priced = false
		}
		if lp.bound != nil {
			lower, gap = parcels.Num(round(lp.bound.Cost, 3)), parcels.Num(round(lp.bound.Gap, 4))
			plan.Bound.Over = lp.bound.Over
		}
	}
	if len(parts) > 1 && cost > 0 {
		for i := range plan.Shares { // of the whole, not of its trunk
			plan.Shares[i].Share = round(plan.Shares[i].CostIndex/round(cost, 2), 4)
		}
	}
	// A bound over the priced candidates does not bound a plan that was finished
	// otherwise (a cleanout less, a pipe laid to the end): then none is stated.
	if len(parts) == 1 && (lower == nil || *lower <= cost) {
		plan.Bound.CostLowerBound, plan.Bound.Gap = lower, gap
	}
	limits(plan, parts)
	sum.Outlet = strings.Join(names, ", ")
	sum.Length, sum.TrenchLength = mm(sum.Length), mm(sum.TrenchLength)
	if priced && len(plan.Runs) > 0 {
		sum.CostIndex = parcels.Num(round(cost, 2))
	}
	summarise(plan)
	v, why, cures := parcels.Judge(plan.Findings)
	sum.Verdict, sum.WhyNot, sum.Cure = v, strings.Join(why, " "), strings.Join(cures, " ")
	if v != parcels.NotFeasible && len(cures) > 0 {
		sum.NextMeasurement = cures[0]
	}
}

// limits stops a plan in which drains of several lots, each within an inlet's flow
// limit, come to more than that together.
func limits(plan *parcels.Plan, parts []*lotPlan) {
	if len(parts) < 2 {
		return
	}
	s := parts[0].site
	for i := range s.Inlets {
		in := &s.Inlets[i]
		all := hydro.Flow(0)
		for k := range plan.Runs {
			if r := &plan.Runs[k]; r.To == in.ID && r.Flow != nil {
				all += *r.Flow
			}
		}
		told := slices.ContainsFunc(plan.Findings, func(f parcels.Finding) bool { return f.Code == "inlet_over_limit" && f.Feature == in.ID })
		if in.FlowLimit != nil && all > *in.FlowLimit*(1+1e-9) && !told {
			at := in.At
			plan.Findings = append(plan.Findings, parcels.Finding{Code: "inlet_over_limit", Severity: parcels.Stop, Feature: in.ID, Location: &at, Measured: parcels.Num(roundAs(float64(all), 6)), Required: parcels.Num(float64(*in.FlowLimit)), Unit: "m3/s",
				Message: fmt.Sprintf("The drains together bring inlet %s %s.", in.ID, overLimit(all, *in.FlowLimit))})
		}
	}
}

// meet adds to an inlet what another lot's drain brings there: the lowest pipe
// and the highest water are told, and the fittings of both.
func meet(had *parcels.Point, pt parcels.Point) {
	if pt.Invert != nil && (had.Invert == nil || *pt.Invert < *had.Invert) {
		had.Invert, had.Depth = pt.Invert, pt.Depth
	}
	if pt.WaterLevel != nil && (had.WaterLevel == nil || *pt.WaterLevel > *had.WaterLevel) {
		had.WaterLevel, had.Freeboard = pt.WaterLevel, pt.Freeboard
	}
	had.Fittings = append(had.Fittings, pt.Fittings...)
}

// summarise fills what follows from the runs: falls, flow, depth.
func summarise(plan *parcels.Plan) {
	sum := &plan.Summary
	ends := map[string]bool{}
	for _, pt := range plan.Points {
		if pt.Kind == parcels.PointInlet || pt.Kind == parcels.PointOutlet {
			ends[pt.ID] = true
		}
	}
	var high, low *unit.Elevation
	for i := range plan.Runs {
		r := &plan.Runs[i]
		if r.Slope != nil && (sum.LeastSlope == nil || *r.Slope < *sum.LeastSlope) {
			sum.LeastSlope = parcels.Num(*r.Slope)
		}
		if r.GreatestDepth != nil && (sum.GreatestDepth == nil || *r.GreatestDepth > *sum.GreatestDepth) {
			sum.GreatestDepth = parcels.Num(*r.GreatestDepth)
		}
		if r.InvertUp != nil && (high == nil || *r.InvertUp > *high) {
			high = r.InvertUp
		}
		if r.InvertDown != nil && (low == nil || *r.InvertDown < *low) {
			low = r.InvertDown
		}
		if ends[r.To] && r.Flow != nil {
			q := *r.Flow
			if sum.Flow != nil {
				q += *sum.Flow
			}
			sum.Flow = parcels.Num(q)
		}
	}
	if high != nil && low != nil {
		sum.Fall = parcels.Num(mm(high.Above(*low)))
	}
	if sum.Flow != nil {
		sum.Flow = parcels.Num(roundAs(*sum.Flow, 6))
	}
}

// restsOn sorts the layers by how they came to be known.
func restsOn(s *parcels.Site) parcels.RestsOn {
	by := map[parcels.Origin][]string{}
	note := func(l parcels.Layer, n int, origin func(i int) parcels.Origin) {
		seen := map[parcels.Origin]bool{}
		for i := 0; i < n; i++ {
			o := origin(i)
			if o == "" {
				o = parcels.Mapped
			}
			if !seen[o] {
				seen[o] = true
				by[o] = append(by[o], string(l))
			}
		}
	}
	note(parcels.LayerParcels, len(s.Lots), func(i int) parcels.Origin { return s.Lots[i].Origin })
	note(parcels.LayerBuildings, len(s.Buildings), func(i int) parcels.Origin { return s.Buildings[i].Origin })
	note(parcels.LayerEasements, len(s.Easements), func(i int) parcels.Origin { return s.Easements[i].Origin })
	note(parcels.LayerInlets, len(s.Inlets), func(i int) parcels.Origin { return s.Inlets[i].Origin })
	note(parcels.LayerIntakes, len(s.Intakes), func(i int) parcels.Origin { return s.Intakes[i].Origin })
	note(parcels.LayerObstacles, len(s.Obstacles), func(i int) parcels.Origin { return s.Obstacles[i].Origin })
	note(parcels.LayerSpots, len(s.Spots), func(i int) parcels.Origin { return s.Spots[i].Origin })
	r := parcels.RestsOn{Measured: by[parcels.Measured], Mapped: by[parcels.Mapped], Assumed: by[parcels.Assumed]}
	for _, l := range []*[]string{&r.Measured, &r.Mapped, &r.Assumed} {
		if *l == nil {
			*l = []string{}
		}
	}
	return r
}

// LotAt gives the lot that holds a point, or nil.
func LotAt(s *parcels.Site, at [2]float64) *parcels.Lot {
	for i := range s.Lots {
		if s.Lots[i].Shape.Bound().Contains(at) && shape.Locate(at, s.Lots[i].Shape) != shape.Outside {
			return &s.Lots[i]
		}
	}
	return nil
}

// ownerOf is the lot a thing belongs to: the one it names, else the one it
// stands on.
func ownerOf(s *parcels.Site, lot string, at [2]float64) string {
	if lot != "" {
		return lot
	}
	if l := LotAt(s, at); l != nil {
		return l.ID
	}
	return ""
}
