package answer

// As built, and the rest laid to it.

import (
	"context"
	"encoding/json"
	"fmt"

	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/planner"
	"fallwright/parcels/siting"
)

// Built is what a plan of a site is held against when it is laid: each lot under the
// criteria of its districts. The shots are the caller's to add. The error is an
// *parcels.InputError of a district's criteria.
func Built(s *parcels.Site, plan *parcels.Plan) (asbuilt.Input, error) {
	in := asbuilt.Input{Plan: plan, Lots: s.Lots, Criteria: s.Criteria, Frame: s.Frame}
	st := siting.New(s)
	for i := range plan.Runs {
		lot := s.Lot(plan.Runs[i].Lot)
		if lot == nil {
			continue
		}
		if _, known := in.Of[lot.ID]; known {
			continue
		}
		under, _, err := st.Under(lot)
		if err != nil {
			return in, err
		}
		if under != s {
			if in.Of == nil {
				in.Of = map[string]parcels.Criteria{}
			}
			in.Of[lot.ID] = under.Criteria
		}
	}
	return in, nil
}

// Resolve locks what the report says lies well, works the levels of the rest
// again round what was met, and writes the outcome into the report. The error is
// a *parcels.InputError, or of the planner.
func Resolve(ctx context.Context, p *planner.Planner, s *parcels.Site, o planner.Options, plan *parcels.Plan, r *asbuilt.Report, met []parcels.Met) (*parcels.Plan, error) {
	locks, open := r.Locks()
	again, body, err := p.Resolve(ctx, s, o, plan, locks, met)
	if err != nil {
		return nil, err
	}
	out := &asbuilt.Resolved{Verdict: again.Summary.Verdict, WhyNot: again.Summary.WhyNot, Locked: []string{}, Open: open, Met: met, Changes: asbuilt.Changes(plan, again), Plan: json.RawMessage(body)}
	if out.Met == nil {
		out.Met = []parcels.Met{}
	}
	for i := range again.Runs {
		if again.Runs[i].Laid {
			out.Locked = append(out.Locked, again.Runs[i].ID)
		}
	}
	for _, f := range again.Findings {
		if f.Code == "laid_in_the_way" {
			out.Open = append(out.Open, asbuilt.OpenRun{Run: f.Feature, Why: fmt.Sprintf("it lies %.0f mm too high for what must run into it", 1000**f.Measured)})
		}
	}
	r.Resolved = out
	return again, nil
}
