package planner

// What a choice costs: the same plan with one thing changed, as differences.

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
)

// Change is one thing changed: a criterion by its key ("pipe.target_slope"),
// or "outlet" (a name), or "perforated.pipe_count" (1 or 2), or "ground.tilt"
// (0.02: the ground two per cent steeper, tilted about the outlet of the plan).
type Change struct {
	Key   string `json:"key"`
	Value string `json:"value"`
}

func (c Change) String() string { return c.Key + " = " + c.Value }

// Outcome is a plan in the figures that a choice is made by; nil: not known.
type Outcome struct {
	Verdict       parcels.Verdict `json:"verdict"`
	WhyNot        string          `json:"why_not,omitempty"`
	Outlet        string          `json:"outlet"`
	Length        unit.Length     `json:"length_m"`
	TrenchLength  unit.Length     `json:"trench_length_m"`
	LeastSlope    *unit.Slope     `json:"least_slope"`
	GreatestDepth *unit.Length    `json:"greatest_depth_m"`
	Excavation    *float64        `json:"excavation_m3"`
	Stone         float64         `json:"stone_m3"`
	CostIndex     *float64        `json:"cost_index"`
	LargestPipe   string          `json:"largest_pipe"`
	// MinutesAbove, PeakLevel and Usable are of the backed-up inlet, without a
	// valve, of the drain that stands full longest; nil where the input states no
	// level over the storm.
	MinutesAbove *float64        `json:"minutes_above_outlet"`
	PeakLevel    *unit.Elevation `json:"peak_level_m"`
	Usable       *float64        `json:"usable_volume_m3"`
}

// WhatIf is one change and what comes of it beside the plan as it is.
type WhatIf struct {
	Change Change  `json:"change"`
	As     Outcome `json:"as_planned"`
	Then   Outcome `json:"then"`
}

// OutcomeOf sums a plan up for comparison.
func OutcomeOf(p *parcels.Plan) Outcome {
	s := p.Summary
	o := Outcome{Verdict: s.Verdict, WhyNot: s.WhyNot, Outlet: s.Outlet, Length: s.Length, TrenchLength: s.TrenchLength, LeastSlope: s.LeastSlope, GreatestDepth: s.GreatestDepth, CostIndex: s.CostIndex}
	dig, known := 0.0, len(p.Trenches) > 0
	for _, t := range p.Trenches {
		o.Stone += t.Stone
		if t.Excavation == nil {
			known = false
		} else {
			dig += *t.Excavation
		}
	}
	o.Stone = round(o.Stone, 3)
	if known {
		o.Excavation = parcels.Num(round(dig, 3))
	}
	largest := 0.0
	for i := range p.Runs {
		if r := &p.Runs[i]; r.Diameter > largest {
			largest, o.LargestPipe = r.Diameter, r.Size
		}
	}
	for _, b := range p.Backed() {
		w := b.Without
		if w == nil || w.MinutesAbove == nil || o.MinutesAbove != nil && float64(*w.MinutesAbove) <= *o.MinutesAbove {
			continue
		}
		o.MinutesAbove, o.PeakLevel, o.Usable = parcels.Num(float64(*w.MinutesAbove)), w.PeakLevel, parcels.Num(float64(w.UsableVolume))
	}
	return o
}

// WhatIf plans again with each change by itself and returns the outcomes beside
// that of the plan as it is. Every one of the plans passes the checker. A
// change that the criteria refuse is a *parcels.InputError.
func (p *Planner) WhatIf(ctx context.Context, s *parcels.Site, o Options, plan *parcels.Plan, changes []Change) ([]WhatIf, error) {
	as := OutcomeOf(plan)
	var out []WhatIf
	for _, c := range changes {
		site, opt, err := c.apply(s, o, plan)
		if err != nil {
			return nil, err
		}
		then, _, err := p.Plan(ctx, site, opt)
		if err != nil {
			return nil, err
		}
		out = append(out, WhatIf{c, as, OutcomeOf(then)})
	}
	return out, nil
}

// apply makes the site and the options with the change to a plan.
func (c Change) apply(s *parcels.Site, o Options, plan *parcels.Plan) (*parcels.Site, Options, error) {
	bad := func(detail string) error {
		return &parcels.InputError{Kind: parcels.Invalid, File: "what-if", Faults: []parcels.Fault{{Slug: "criterion-invalid", Pointer: "/" + strings.ReplaceAll(c.Key, ".", "/"), Member: parcels.Excerpt(c.Key), Detail: detail}}}
	}
	switch c.Key {
	case "outlet":
		o.Outlet = c.Value
		return s, o, nil
	case tiltKey:
		t, err := tiltOf(c.Value, plan, bad)
		if err != nil {
			return nil, o, err
		}
		if o.Surface, err = t.surface(o.Surface); err != nil {
			return nil, o, err
		}
		site, err := t.site(s)
		return site, o, err
	case "perforated.pipe_count":
		if c.Value != "1" && c.Value != "2" {
			return nil, o, bad("The count of perforated pipes is 1 or 2.")
		}
		n := int(c.Value[0] - '0')
		site := *s
		site.PerforatedRuns = append([]parcels.PerforatedRun(nil), s.PerforatedRuns...)
		for i := range site.PerforatedRuns {
			site.PerforatedRuns[i].PipeCount = n
		}
		doc, err := withPipeCount(s.Document, n)
		site.Document = doc
		return &site, o, err
	}
	path := strings.Split(c.Key, ".")
	text := c.Value
	for i := len(path) - 1; i >= 0; i-- {
		key, _ := json.Marshal(path[i])
		text = "{" + string(key) + ": " + text + "}"
	}
	merged, err := document.MergeCriteria([]byte(text), s.Criteria)
	if err != nil {
		return nil, o, err
	}
	site := *s
	site.Criteria = merged
	return &site, o, nil
}

// withPipeCount is the document with another count of perforated pipes, for
// the checker to read.
func withPipeCount(doc []byte, n int) ([]byte, error) {
	fail := func(err error) ([]byte, error) {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: what-if", Err: err}
	}
	var top, layers, layer map[string]json.RawMessage
	var features []map[string]json.RawMessage
	if err := json.Unmarshal(doc, &top); err != nil {
		return fail(err)
	}
	if err := json.Unmarshal(top["layers"], &layers); err != nil {
		return fail(err)
	}
	if layers["perforated_runs"] == nil {
		return doc, nil
	}
	if err := json.Unmarshal(layers["perforated_runs"], &layer); err != nil {
		return fail(err)
	}
	if err := json.Unmarshal(layer["features"], &features); err != nil {
		return fail(err)
	}
	for i := range features {
		props := map[string]json.RawMessage{}
		if raw := features[i]["properties"]; len(raw) > 0 && raw[0] == '{' {
			if err := json.Unmarshal(raw, &props); err != nil {
				return fail(err)
			}
		}
		props["pipe_count"] = json.RawMessage(fmt.Sprint(n))
		b, err := json.Marshal(props)
		if err != nil {
			return fail(err)
		}
		features[i]["properties"] = b
	}
	var err error
	if layer["features"], err = json.Marshal(features); err != nil {
		return fail(err)
	}
	if layers["perforated_runs"], err = json.Marshal(layer); err != nil {
		return fail(err)
	}
	if top["layers"], err = json.Marshal(layers); err != nil {
		return fail(err)
	}
	return json.Marshal(top)
}
