package planner

// On site: what is laid stays, what was come upon is kept clear of, and the
// levels of the rest are worked again along the route that was planned.

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro/profile"
	"fallwright/parcels"
	"fallwright/parcels/quantities"
	"fallwright/parcels/siting"
)

// Resolve lays an existing plan again: runs named in laid stay at those levels
// with the pipe they have, whatever is met is passed, and inverts and sizes of
// the rest are chosen anew for the same route, by the same rules and flows. A laid
// run that lies too high for what must run into it does not stay: a finding
// "laid_in_the_way" names it. The
// plan that comes back has passed the checker; a yard where what is laid leaves
// no way on is a plan that says so. Ponds, flows over lot lines and overflow ways
// are those of the plan given. Faulty input is a *parcels.InputError: a plan of
// another site, a run it does not have, a station beyond the run.
//
// A pipe of the rest grows only as far as its trench is wide, since the route
// was cleared for that trench.
func (p *Planner) Resolve(_ context.Context, s *parcels.Site, o Options, plan *parcels.Plan, laid map[string]profile.Levels, met []parcels.Met) (*parcels.Plan, []byte, error) {
	o.Lots = plan.Summary.Lots
	if len(o.Lots) == 0 || len(plan.Runs) == 0 {
		return nil, nil, notOf("The plan has no runs: there is nothing to lay again.")
	}
	lots, err := p.choose(s, o)
	if err != nil {
		return nil, nil, err
	}
	if err := checkMet(plan, laid, met); err != nil {
		return nil, nil, err
	}
	out, surface, err := p.open(s, o, lots)
	if err != nil {
		return nil, nil, err
	}
	if surface == nil {
		return nil, nil, notOf("The site has no ground: levels cannot be worked again. Give the shots or the terrain that the plan was made from.")
	}
	var parts []*lotPlan
	st := siting.New(s).With(p.Memory)
	for _, lot := range lots {
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
		lp.locked, lp.met = map[string]bool{}, met
		if err := lp.resolve(plan, laid, met); err != nil {
			return nil, nil, err
		}
		parts = append(parts, lp)
	}
	p.join(out, parts)
	for _, lp := range parts {
		for i := range out.Runs {
			out.Runs[i].Laid = out.Runs[i].Laid || lp.locked[out.Runs[i].ID]
		}
	}
	if out.Trunks, err = trunks(out); err != nil {
		return nil, nil, err
	}
	out.Met = met
	out.Ponds, out.LineFlows, out.Overflow, out.Alternatives, out.Remedies = plan.Ponds, plan.LineFlows, plan.Overflow, plan.Alternatives, plan.Remedies
	out.Quantities = quantities.Reckon(out, s)
	body, err := p.gate(s, out)
	if err != nil {
		return nil, nil, err
	}
	return out, body, nil
}

func notOf(detail string) error {
	return &parcels.InputError{Kind: parcels.Invalid, File: "plan", Faults: []parcels.Fault{{Slug: "not-a-plan", Pointer: "/network", Detail: detail}}}
}

// checkMet holds what was entered on site against the plan.
func checkMet(plan *parcels.Plan, laid map[string]profile.Levels, met []parcels.Met) error {
	var faults []parcels.Fault
	bad := func(k int, slug, format string, a ...any) {
		faults = append(faults, parcels.Fault{Slug: slug, Pointer: fmt.Sprintf("/met/%d", k), Detail: fmt.Sprintf(format, a...)})
	}
	finite := func(v float64) bool { return !math.IsNaN(v) && math.Abs(v) < 1e5 }
	for k, m := range met {
		run := plan.Run(m.Run)
		_, locked := laid[m.Run]
		switch {
		case run == nil:
			bad(k, "run-unknown", "There is no run %q in the plan.", parcels.Excerpt(m.Run))
		case locked:
			bad(k, "option-invalid", "Run %s is laid already: what lies in its trench was passed.", m.Run)
		case !(m.Station >= 0 && m.Station <= run.Length):
			bad(k, "option-invalid", "Station %.2f m is not on run %s, which is %.2f m long.", float64(m.Station), m.Run, float64(run.Length))
		case m.Kind != parcels.MetRock && m.Kind != parcels.MetRoot && m.Kind != parcels.MetUtility:
			bad(k, "option-invalid", "%q is neither rock, root nor utility.", parcels.Excerpt(string(m.Kind)))
		case !finite(float64(m.High)) || m.Low != nil && !(finite(float64(*m.Low)) && *m.Low <= m.High):
			bad(k, "option-invalid", "The levels of the %s on run %s are not a lower and an upper one.", m.Kind, m.Run)
		case m.Kind != parcels.MetRock && m.Low == nil:
			bad(k, "option-invalid", "The underside of the %s on run %s is missing: the pipe may pass below it.", m.Kind, m.Run)
		}
	}
	if len(faults) > 0 {
		return &parcels.InputError{Kind: parcels.Invalid, File: "options", Faults: faults}
	}
	return nil
}

// crossingOf is what was met as the profile keeps clear of it.
func (lp *lotPlan) crossingOf(m parcels.Met) profile.Crossing {
	q := profile.Crossing{At: m.Station, High: m.High, Low: m.High}
	switch m.Kind {
	case parcels.MetRock:
		q.High, q.Pass = m.High.Plus(lp.site.Criteria.Trench.Bedding), profile.Over
		q.Low = q.High
	case parcels.MetRoot:
		q.Low = *m.Low
	case parcels.MetUtility:
		q.Low, q.High = m.Low.Plus(-verticalClear), m.High.Plus(verticalClear)
	}
	return q
}

// resolve lays the lot's part of a plan again.
func (lp *lotPlan) resolve(plan *parcels.Plan, laid map[string]profile.Levels, met []parcels.Met) error {
	l, ids, err := lp.layoutOf(plan)
	if err != nil || l == nil {
		return err
	}
	pr := lp.problem(l)
	for i, id := range ids {
		old := plan.Run(id)
		var fits []int
		for _, k := range pr.Reaches[i].Pipes {
			if v, ok := laid[id]; ok {
				if s := lp.stockOf[k]; s.Size == old.Size && s.Wall == old.Wall && math.Abs(s.Diameter-old.Diameter) < 0.05 {
					fits, pr.Reaches[i].Laid = []int{k}, &v
				}
				continue
			}
			if lp.stockOf[k].OutsideDiameter <= old.OutsideDiameter+0.05 || l.runs[i].twin < 0 && lp.trenchWidth(slices.Repeat([]float64{lp.stockOf[k].OutsideDiameter}, old.PipeCount)...) <= trenchOfRun(plan, id)+1e-9 {
				fits = append(fits, k)
			}
		}
		if len(fits) == 0 {
			return notOf(fmt.Sprintf("The pipe of run %s (%s %s %s) is not in the stock of the criteria: give the criteria that the plan was made with.", id, old.Size, old.Wall, old.Pipe))
		}
		pr.Reaches[i].Pipes = fits
		for k, m := range met {
			if t := l.runs[i].twin; m.Run != id && (t < 0 || m.Run != ids[t]) {
				continue // neither in its trench nor in that of the pipe beside it
			}
			if len(pr.Reaches[i].Crossings) == 4 {
				return &parcels.InputError{Kind: parcels.Invalid, File: "options", Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: fmt.Sprintf("/met/%d", k),
					Detail: fmt.Sprintf("Run %s would pass more than four things, utilities of the site counted: enter those that bind.", id)}}}
			}
			pr.Reaches[i].Crossings = append(pr.Reaches[i].Crossings, lp.crossingOf(m))
		}
	}
	out := new(profile.Result)
	for {
		end := pr.End
		if err := lp.solver.Solve(pr, out); err != nil {
			return wrong(lp.lot, err)
		}
		if out.Verdict == profile.Short && l.end.lower != nil {
			pr.End.TieIn = *l.end.lower
			if err := lp.solver.Solve(pr, out); err != nil {
				return wrong(lp.lot, err)
			}
		}
		i, by := inTheWay(pr, out)
		if i < 0 {
			break
		}
		// Water does not run uphill into what is laid: it has to come out again.
		lp.find(parcels.Finding{Code: laidInTheWay, Severity: parcels.Warn, Feature: ids[i], Measured: parcels.Num(round(float64(by), 3)), Unit: "m",
			Message: fmt.Sprintf("Run %s, as laid, lies %.0f mm too high for what must run into it: it is to be laid again.", ids[i], math.Ceil(1000*float64(by)))})
		pr.Reaches[i].Laid, pr.End = nil, end
	}
	l.abreast(out)
	for i := range ids {
		if v := pr.Reaches[i].Laid; v != nil {
			out.Reaches[i].InvertUp, out.Reaches[i].InvertDown = v.Up, v.Down
			lp.remeasure(l, i, &out.Reaches[i])
		}
	}
	var stay []string
	for i, id := range ids {
		if pr.Reaches[i].Laid != nil {
			stay = append(stay, id)
			lp.locked[id] = true
		}
	}
	if len(stay) > 0 {
		lp.find(parcels.Finding{Code: "laid_and_kept", Severity: parcels.Note, Measured: parcels.Num(float64(len(stay))), Message: fmt.Sprintf("Laid already, kept at the levels shot: %s. The rest is laid to suit.", strings.Join(stay, ", "))})
	}
	for _, m := range met {
		if slices.Contains(ids, m.Run) {
			lp.find(parcels.Finding{Code: "met_in_trench", Severity: parcels.Note, Feature: m.Run, Measured: parcels.Num(round(float64(m.High), 3)), Unit: "m",
				Message: fmt.Sprintf("A %s was met on run %s, %.2f m below its upper end, its top at %.3f m.", m.Kind, m.Run, float64(m.Station), float64(m.High))})
		}
	}
	return lp.network(l, out)
}

// laidInTheWay is the code of the finding of a run that was laid and cannot stay.
const laidInTheWay = "laid_in_the_way"

// inTheWay is the laid reach that the rest cannot be laid to, and by how much it
// lies too high; -1 where there is none.
func inTheWay(p *profile.Problem, r *profile.Result) (int, unit.Length) {
	worst, at := unit.Length(0.0005), -1
	for i := range p.Reaches {
		v := p.Reaches[i].Laid
		if v == nil {
			continue
		}
		by := v.Up.Above(r.Reaches[i].InvertUp)
		for k := range p.Reaches {
			if p.Reaches[k].Down == i {
				by = max(by, v.Up.Above(r.Reaches[k].InvertDown))
			}
		}
		if by > worst {
			worst, at = by, i
		}
	}
	return at, worst
}

func trenchOfRun(plan *parcels.Plan, run string) unit.Length {
	for _, t := range plan.Trenches {
		if slices.Contains(t.Runs, run) {
			return t.Width
		}
	}
	return 0
}

// layoutOf reads the lot's layout back from a plan, with the names of its runs
// in order; nil where the plan has no run on the lot.
func (lp *lotPlan) layoutOf(plan *parcels.Plan) (*layout, []string, error) {
	if err := lp.targets(); err != nil {
		return nil, nil, err
	}
	l := &layout{lp: lp}
	nodes := map[string]int{}
	at := func(id string) (int, error) {
		if k, ok := nodes[id]; ok {
			return k, nil
		}
		pt := plan.Point(id)
		if pt == nil {
			return 0, notOf(fmt.Sprintf("The plan has no point %s, where a run ends.", parcels.Excerpt(id)))
		}
		n := node{at: lp.snap(pt.At), kind: pt.Kind, id: id, out: -1}
		for i := range lp.waters {
			if lp.waters[i].intake.ID == id && pt.Kind == parcels.PointIntake {
				n.water, n.at = &lp.waters[i], lp.waters[i].intake.At
			}
		}
		for i := range lp.ends {
			if lp.endName(&lp.ends[i]) == id && (pt.Kind == parcels.PointInlet || pt.Kind == parcels.PointOutlet) {
				n.end, n.at = &lp.ends[i], lp.ends[i].at
				l.end = n.end
			}
		}
		switch {
		case pt.Kind == parcels.PointIntake && n.water == nil || (pt.Kind == parcels.PointInlet || pt.Kind == parcels.PointOutlet) && n.end == nil:
			return 0, notOf(fmt.Sprintf("Point %s of the plan is a %s that the site does not have: the plan was made for another site.", parcels.Excerpt(id), pt.Kind))
		case math.Hypot(n.at[0]-pt.At[0], n.at[1]-pt.At[1]) > 0.01:
			return 0, notOf(fmt.Sprintf("Point %s of the plan stands elsewhere than in the site.", parcels.Excerpt(id)))
		case pt.Kind == parcels.PointReducer:
			n.kind = parcels.PointBend
		case pt.Kind == parcels.PointBasin:
			n.kind = parcels.PointWye // link finds out again which it is
		}
		nodes[id] = len(l.nodes)
		l.nodes = append(l.nodes, n)
		return nodes[id], nil
	}
	var ids []string
	of := map[string]int{}
	for i := range plan.Runs {
		r := &plan.Runs[i]
		if r.Lot != lp.lot.ID {
			continue
		}
		if want := fmt.Sprintf("%sR%d", lp.prefix, len(ids)+1); r.ID != want || len(r.Line) != 2 || r.InvertUp == nil || r.InvertDown == nil {
			return nil, nil, notOf(fmt.Sprintf("Run %s is not as this program writes it (run %s with two points and levels).", parcels.Excerpt(r.ID), want))
		}
		from, err := at(r.From)
		if err != nil {
			return nil, nil, err
		}
		to, err := at(r.To)
		if err != nil {
			return nil, nil, err
		}
		q := pipeRun{from: from, to: to, leadOff: r.LeadOff, tieIn: r.TieIn, twin: -1}
		if r.Pipe == "perforated" {
			q.perforated, q.kept, q.ground = max(1, r.PipeCount), true, true
		}
		of[r.ID] = len(l.runs)
		l.runs = append(l.runs, q)
		ids = append(ids, r.ID)
	}
	if len(ids) == 0 {
		return nil, nil, nil
	}
	if l.end == nil {
		return nil, nil, notOf("No run of the plan ends at an inlet or outlet of the site.")
	}
	// two runs of one trench over the same ground lie abreast
	for _, t := range plan.Trenches {
		for _, a := range t.Runs {
			for _, b := range t.Runs {
				i, okA := of[a]
				k, okB := of[b]
				if okA && okB && i != k && l.runs[i].solid() != l.runs[k].solid() && plan.Run(a).Line.Equal(plan.Run(b).Line) {
					l.runs[i].twin = k
				}
			}
		}
	}
	l.link()
	for i := range l.runs { // each run stands after all that flow into it
		if k := l.nodes[l.runs[i].to].out; k >= 0 && k <= i {
			return nil, nil, notOf(fmt.Sprintf("Run %s of the plan flows into run %s, which stands before it.", ids[i], ids[k]))
		}
	}
	return l, ids, nil
}
