package main

// fallwright plan: the main job.

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"

	"fallwright/geo/ground"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

type planCmd struct {
	inputs
	output
	Store  string   `help:"Store to plan from (with --site or --again): a file (name.gpkg) or postgres://..." placeholder:"S" env:"FALLWRIGHT_STORE"`
	Site   string   `help:"Plan a stored site." placeholder:"NAME"`
	Keep   bool     `help:"Keep the plan in the store, with the document and ground it rests on."`
	Again  string   `help:"Work a stored plan again from what was stored with it, and say whether the bytes are the same." placeholder:"ID"`
	Outlet string   `help:"Use this inlet or outlet only."`
	Shared bool     `help:"Drain the lots by one shared trunk, which may lie along easements where a trench may lie; with the permissions it needs and each lot's share of the cost; of several inlets neighbouring lots go each to the one that makes the whole cheaper."`
	WhatIf []string `help:"Plan again with one thing changed and show the difference; repeat for more. A criterion (pipe.target_slope=0.005, pipe.wall=corrugated), outlet=NAME, perforated.pipe_count=2, or ground.tilt=0.02: ground 2 % steeper, tilted about the outlet toward the intakes." placeholder:"KEY=VALUE" sep:"none"`
	Steps  []string `help:"Print the calculation of a run, step by step; repeat for more." placeholder:"RUN"`
}

// verifier is the second piece of code that every plan passes.
var verifier parcels.Verifier = verify.Checker{}

func newPlanner() *planner.Planner {
	return &planner.Planner{Verifier: verifier, Program: "fallwright " + version()}
}

func (c planCmd) Run(e *env) error {
	if c.onStdout() && len(c.Steps) > 0 {
		return inputFault("steps", "option-invalid", "The calculation of a run is text, and standard output is the plan's JSON. Write the plan to a file (--out FILE, without --json), or ask for --steps by itself.")
	}
	if c.Again != "" {
		return c.again(e)
	}
	if c.Site == "" {
		if c.Keep {
			return inputFault("", "site-missing", "Only the plan of a stored site is kept. Give --store and --site.")
		}
		s, surface, err := c.load(e)
		if err != nil {
			return err
		}
		_, _, err = c.plan(e, s, surface)
		return err
	}
	if c.Store == "" {
		return inputFault("", "store-missing", "In which store is the site? Give --store.")
	}
	use := storeRead
	if c.Keep {
		use = storeThere
	}
	st, err := openStore(c.Store, use)
	if err != nil {
		return err
	}
	defer st.Close()
	s, surface, keep, err := c.fromStore(e.ctx, e, st)
	if err != nil {
		return err
	}
	plan, body, err := c.plan(e, s, surface)
	if plan == nil || !c.Keep {
		return err
	}
	keep.Body = body
	r, kerr := st.PutResult(e.ctx, keep)
	if kerr != nil {
		return kerr
	}
	fmt.Fprintf(e.stderr, "Kept as %s; `fallwright plan --again %s --store S` works it again.\n", r.ID, r.ID)
	return err
}

// onStdout says that standard output is the plan's JSON, one document.
func (c planCmd) onStdout() bool { return c.JSON || c.Out == "-" }

// plan plans and shows. The error of a plan that is not feasible comes with it.
func (c planCmd) plan(e *env, s *parcels.Site, surface ground.Surface) (*parcels.Plan, []byte, error) {
	o := planner.Options{Lots: c.Lots, Outlet: c.Outlet, Shared: c.Shared, Surface: surface}
	plan, body, err := newPlanner().Plan(e.ctx, s, o)
	if err != nil {
		return nil, nil, err
	}
	var rows []planner.WhatIf
	shown := body
	if len(c.WhatIf) > 0 {
		if rows, err = c.whatIf(e, s, o, plan); err != nil {
			return nil, nil, err
		}
		if c.onStdout() { // as the service sends it
			if shown, err = outcomesBeside(body, rows); err != nil {
				return nil, nil, err
			}
		}
	}
	if err := c.show(e, plan, body, shown); err != nil {
		return nil, nil, err
	}
	if len(rows) > 0 && !c.onStdout() {
		if err := c.whatIfTable(e, plan, rows); err != nil {
			return nil, nil, err
		}
	}
	for _, id := range c.Steps {
		sheet, err := planner.Steps(plan, id)
		if err != nil {
			return nil, nil, err
		}
		if _, err := fmt.Fprintf(e.stdout, "\n%s\n", sheet.Text()); err != nil {
			return nil, nil, err
		}
	}
	return plan, body, verdict(plan)
}

// verdict is the error of a plan that is not feasible.
func verdict(plan *parcels.Plan) error {
	if plan.Summary.Verdict == parcels.NotFeasible {
		return errStop
	}
	return nil
}

// show writes the plan where it is asked for: into a file as it was verified, on
// standard output with what was asked beside it.
func (c planCmd) show(e *env, plan *parcels.Plan, body, shown []byte) error {
	if c.Out == "-" {
		body = shown
	}
	if c.Out != "" {
		out := body
		if strings.EqualFold(filepath.Ext(c.Out), ".geojson") {
			var err error
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
			return e.write("-", shown)
		}
	case c.Out != "-":
		return planTable(e.stdout, plan, c.units())
	}
	return nil
}

// networkOf is the network of a plan as a collection of its own, for GIS
// programs, with the status, the verdict and the cautions beside it.
func networkOf(plan []byte) ([]byte, error) {
	var p struct {
		Status   json.RawMessage            `json:"status"`
		Summary  json.RawMessage            `json:"summary"`
		Shares   json.RawMessage            `json:"shares"`
		Cautions json.RawMessage            `json:"cautions"`
		Network  map[string]json.RawMessage `json:"network"`
	}
	if err := json.Unmarshal(plan, &p); err != nil {
		return nil, err
	}
	p.Network["status"], p.Network["summary"], p.Network["cautions"] = p.Status, p.Summary, p.Cautions
	if p.Shares != nil {
		p.Network["shares"] = p.Shares
	}
	return json.MarshalIndent(p.Network, "", " ")
}

// whatIf works out what each change does to the plan.
func (c planCmd) whatIf(e *env, s *parcels.Site, o planner.Options, plan *parcels.Plan) ([]planner.WhatIf, error) {
	var changes []planner.Change
	for _, w := range c.WhatIf {
		key, value, ok := strings.Cut(w, "=")
		if !ok || key == "" || value == "" {
			return nil, inputFault("what-if", "option-invalid", fmt.Sprintf("%q is not KEY=VALUE.", parcels.Excerpt(w)))
		}
		changes = append(changes, planner.Change{Key: key, Value: value})
	}
	return newPlanner().WhatIf(e.ctx, s, o, plan, changes)
}

// whatIfTable shows the outcomes.
func (c planCmd) whatIfTable(e *env, plan *parcels.Plan, rows []planner.WhatIf) error {
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
