package main

// fallwright plan: the main job.

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

type planCmd struct {
	inputs
	output
	Outlet string   `help:"Use this inlet or outlet only."`
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
