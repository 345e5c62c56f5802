package main

// fallwright plan: the main job.

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"

	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

type planCmd struct {
	inputs
	output
	Outlet string   `help:"Use this inlet or outlet only."`
	WhatIf []string `help:"Plan again with one thing changed and show the difference; repeat for more. A criterion (pipe.target_slope=0.005), outlet=NAME or perforated.pipe_count=2." placeholder:"KEY=VALUE" sep:"none"`
	Steps  []string `help:"Print the calculation of a run, step by step; repeat for more." placeholder:"RUN"`
}

// verifier is the second piece of code that every plan passes.
var verifier parcels.Verifier = verify.Checker{}

func newPlanner() *planner.Planner {
	return &planner.Planner{Verifier: verifier, Program: "fallwright " + version()}
}

func (c planCmd) Run(e *env) error {
	s, surface, err := c.load(e)
	if err != nil {
		return err
	}
	plan, body, err := newPlanner().Plan(e.ctx, s, planner.Options{Lots: c.Lots, Outlet: c.Outlet, Surface: surface})
	if err != nil {
		return err
	}
	if c.Out != "" {
		out := body
		if strings.EqualFold(filepath.Ext(c.Out), ".geojson") {
			if out, err = networkOf(body); err != nil {
				return err
			}
		}
		if err := e.write(c.Out, out); err != nil {
			return err
		}
	}
	switch {
	case c.JSON:
		if c.Out != "-" {
			if err := e.write("-", body); err != nil {
				return err
			}
		}
	case c.Out != "-":
		if err := planTable(e.stdout, plan, c.units()); err != nil {
			return err
		}
	}
	if len(c.WhatIf) > 0 {
		if err := c.whatIf(e, s, planner.Options{Lots: c.Lots, Outlet: c.Outlet, Surface: surface}, plan); err != nil {
			return err
		}
	}
	for _, id := range c.Steps {
		sheet, err := planner.Steps(plan, id)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(e.stdout, "\n%s\n", sheet.Text()); err != nil {
			return err
		}
	}
	if plan.Summary.Verdict == parcels.NotFeasible {
		return errStop
	}
	return nil
}

// networkOf is the network of a plan as a collection of its own, for GIS
// programs, with the status, the verdict and the cautions beside it.
func networkOf(plan []byte) ([]byte, error) {
	var p struct {
		Status   json.RawMessage            `json:"status"`
		Summary  json.RawMessage            `json:"summary"`
		Cautions json.RawMessage            `json:"cautions"`
		Network  map[string]json.RawMessage `json:"network"`
	}
	if err := json.Unmarshal(plan, &p); err != nil {
		return nil, err
	}
	p.Network["status"], p.Network["summary"], p.Network["cautions"] = p.Status, p.Summary, p.Cautions
	return json.MarshalIndent(p.Network, "", " ")
}

// whatIf shows what each change does to the plan.
func (c planCmd) whatIf(e *env, s *parcels.Site, o planner.Options, plan *parcels.Plan) error {
	var changes []planner.Change
	for _, w := range c.WhatIf {
		key, value, ok := strings.Cut(w, "=")
		if !ok || key == "" || value == "" {
			return inputFault("what-if", "option-invalid", fmt.Sprintf("%q is not KEY=VALUE.", parcels.Excerpt(w)))
		}
		changes = append(changes, planner.Change{Key: key, Value: value})
	}
	rows, err := newPlanner().WhatIf(e.ctx, s, o, plan, changes)
	if err != nil {
		return err
	}
	if c.JSON {
		b, err := json.MarshalIndent(map[string]any{"what_if": rows}, "", " ")
		if err != nil {
			return err
		}
		return e.write("-", append(b, '\n'))
	}
	u := c.units()
	t := table{head: []string{"what if", "verdict", "outlet", "trench", "least slope", "deepest", "largest pipe", "excavation", "stone", "cost index", "line full", "room in the voids"}, right: "___rrrrrrrrr"}
	show := func(what string, x planner.Outcome) {
		t.row(what, words(string(x.Verdict)), x.Outlet, u.Distance(x.TrenchLength), display.Or(x.LeastSlope, u.Slope), display.Or(x.GreatestDepth, u.Length), x.LargestPipe, display.Or(x.Excavation, u.Volume), u.Volume(x.Stone),
			display.Or(x.CostIndex, func(v float64) string { return fmt.Sprintf("%.1f", v) }), display.Or(x.MinutesAbove, func(v float64) string { return fmt.Sprintf("%.0f min", v) }),
			display.Or(x.Usable, func(v float64) string { return u.Water(hydro.Volume(v)) }))
	}
	show("as planned", planner.OutcomeOf(plan))
	for _, r := range rows {
		show(r.Change.String(), r.Then)
	}
	fmt.Fprintln(e.stdout)
	return t.write(e.stdout)
}
