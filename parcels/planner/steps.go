package planner

// The calculation of a run, step by step, so that an engineer can follow it by
// hand.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/runoff"
	"fallwright/parcels"
)

// Steps works the flow, capacity, depth, velocity and shear of a run of a plan
// from the figures that the plan states, each step with its formula, values,
// units and source. A run that the plan does not have, or whose flow or levels
// are not known, is a *parcels.InputError.
func Steps(p *parcels.Plan, id string) (hydro.Sheet, error) {
	r := p.Run(id)
	if r == nil {
		ids := ""
		for i := range p.Runs {
			if i > 0 {
				ids += ", "
			}
			ids += p.Runs[i].ID
		}
		return hydro.Sheet{}, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "run-unknown", Pointer: "/network", ID: parcels.Excerpt(id),
			Detail: fmt.Sprintf("The plan has no run %q. Runs: %s.", parcels.Excerpt(id), ids)}}}
	}
	if r.Flow == nil || r.Slope == nil {
		return hydro.Sheet{}, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "run-without-flow", Pointer: "/network", ID: r.ID,
			Detail: fmt.Sprintf("The flow or the levels of run %s are not known, so there is nothing to work. It carries %s water.", r.ID, r.Carries)}}}
	}
	fail := func(err error) (hydro.Sheet, error) {
		return hydro.Sheet{}, &parcels.Error{Kind: parcels.Failed, Op: "planner: steps", Subject: "run " + r.ID, Err: err}
	}
	in := runoff.RunFlow{RoofCA: r.RoofCA, YardCA: r.YardCA, Tc: r.Tc, Stated: r.StatedFlow}
	partial := false
	if r.Intensity != nil {
		in.Intensity = *r.Intensity
		// The greatest flow may come while a part of the yards has not arrived.
		arrived := unit.Area(float64(*r.Flow-r.StatedFlow) * 3.6e6 / float64(*r.Intensity))
		if total := r.RoofCA + r.YardCA; math.Abs(float64(arrived-total)) > 0.001*float64(total)+0.01 {
			partial = true
			in.YardCA = max(0, arrived-r.RoofCA)
			in.RoofCA = min(r.RoofCA, arrived)
		}
	}
	sheet, err := in.Sheet()
	if err != nil {
		return fail(err)
	}
	sheet.Subject = fmt.Sprintf("Run %s, %s to %s: %s, %s %s", r.ID, r.From, r.To, r.Carries, r.Size, r.Pipe)
	if partial {
		sheet.Notes = append(sheet.Notes, hydro.Note{Code: "partial_area", Text: "the flow is greatest before all of the yards' water has arrived; the part that has by then is counted"})
	}
	barrels := pipe.Alike(max(1, r.PipeCount), pipe.Pipe{Diameter: unit.Length(r.Diameter / 1000), N: r.N})
	size, err := barrels.Sheet(*r.Flow, *r.Slope)
	if err != nil {
		return fail(err)
	}
	sheet.Join(size)
	return sheet, nil
}
