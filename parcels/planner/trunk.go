package planner

// Where the sizes grow: the trunk of each outlet, read from the finished plan,
// so that lots planned together stand in one table.

import (
	"slices"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/profile"
	"fallwright/parcels"
)

// trunks follows the most water up from each run that ends at an outlet; of
// several runs into one outlet each has its own. None where no flow is known.
func trunks(plan *parcels.Plan) ([]parcels.Trunk, error) {
	out := []parcels.Trunk{}
	leaves := map[string]int{}
	known := false
	for i := range plan.Runs {
		leaves[plan.Runs[i].From] = i
		known = known || plan.Runs[i].Flow != nil
	}
	if !known {
		return out, nil
	}
	// The tree and what it carries, as the profile's own table wants them: each
	// run's pipe is a pipe of a stock of its own, ranked by diameter.
	p := &profile.Problem{Reaches: make([]profile.Reach, len(plan.Runs))}
	r := &profile.Result{Reaches: make([]profile.Laid, len(plan.Runs))}
	for i := range plan.Runs {
		run := &plan.Runs[i]
		down, ok := leaves[run.To]
		if !ok {
			down = profile.Outlet
		}
		p.Reaches[i] = profile.Reach{Down: down, Length: run.Length}
		p.Stock = append(p.Stock, profile.Pipe{Inside: unit.Length(run.Diameter / 1000)})
		l := profile.Laid{Pipe: i, CA: run.RoofCA + run.YardCA, Tc: run.Tc}
		if run.Flow != nil {
			l.Flow = *run.Flow
		}
		if run.Capacity != nil {
			l.Capacity = *run.Capacity
		}
		r.Reaches[i] = l
	}
	for root := range plan.Runs {
		if p.Reaches[root].Down != profile.Outlet || plan.Runs[root].Flow == nil {
			continue
		}
		steps, err := profile.Trunk(p, r, root)
		if err != nil {
			return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: trunk", Err: err}
		}
		t := parcels.Trunk{Outlet: plan.Runs[root].To, Points: make([]parcels.TrunkPoint, 0, len(steps))}
		for k, s := range steps {
			run := &plan.Runs[s.Reach]
			q := parcels.TrunkPoint{Point: run.From, Run: run.ID, Station: mm(s.Station), Joins: []string{}, Lots: []string{}, Flow: s.Flow, Added: hydro.Flow(round(float64(s.Added), 7)),
				CA: mm(s.CA), Tc: s.Tc, Size: run.Size, Diameter: run.Diameter, PipeCount: run.PipeCount, Grown: s.Grown}
			if run.Capacity != nil && *run.Capacity > 0 {
				q.Spare = parcels.Num(round(s.Spare, 4))
			}
			lots := func(lot string) {
				if lot != "" && !slices.Contains(q.Lots, lot) {
					q.Lots = append(q.Lots, lot)
				}
			}
			for _, j := range s.Joins {
				q.Joins = append(q.Joins, plan.Runs[j].ID)
				lots(plan.Runs[j].Lot)
			}
			if pt := plan.Point(run.From); k == 0 || pt != nil && pt.Kind == parcels.PointIntake {
				lots(run.Lot)
			}
			t.Points = append(t.Points, q)
		}
		out = append(out, t)
	}
	return out, nil
}
