package main

// What the service answers with: the same functions as the verbs.

import (
	"context"
	"encoding/json"
	"fmt"

	"fallwright/api"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/auditor"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
	"fallwright/parcels/planner"
)

type engine struct{}

// options are those of an execution.
type options struct {
	Pipe      string   `json:"pipe"`
	KeepGoing bool     `json:"keep_going"`
	Outlet    string   `json:"outlet"`
	Checks    []string `json:"checks"`
	CRS       string   `json:"crs"`
	Store     bool     `json:"store"`
}

func (engine) Read(_ context.Context, doc []byte) (string, error) {
	s, err := document.Read(doc, document.Options{Limits: document.ServiceLimits})
	if err != nil {
		return "", err
	}
	return s.Name, nil
}

func (engine) Import(context.Context, api.Upload) (api.Imported, error) {
	return api.Imported{}, &parcels.Error{Kind: parcels.Unsupported, Op: "import", Err: fmt.Errorf("only site documents are taken")}
}

func (engine) Execute(ctx context.Context, r api.Request) (api.Answer, error) {
	var o options
	if len(r.Options) > 0 {
		if err := json.Unmarshal(r.Options, &o); err != nil {
			return api.Answer{}, &parcels.InputError{Kind: parcels.Invalid, File: "options", Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/options", Detail: "The options cannot be read: " + parcels.Excerpt(err.Error()) + "."}}}
		}
	}
	ro := document.Options{Limits: document.ServiceLimits, KeepGoing: o.KeepGoing}
	if len(r.Criteria) > 0 {
		c, given, err := document.ReadCriteria(r.Criteria)
		if err != nil {
			return api.Answer{}, named(err, "criteria")
		}
		ro.Criteria, ro.CriteriaGiven = &c, given
	}
	s, err := document.Read(r.Site, ro)
	if err != nil {
		return api.Answer{}, named(err, "site")
	}
	r.Progress(0, 1, "read")
	switch r.Process {
	case "zone":
		c, err := answer.Zones(ctx, s, answer.Options{Lots: r.Lots, Pipe: o.Pipe})
		if err != nil {
			return api.Answer{}, err
		}
		return api.Answer{Body: c.Body, ContentType: "application/geo+json"}, nil
	case "check":
		c, err := answer.Checks(ctx, s, answer.Options{Lots: r.Lots})
		if err != nil {
			return api.Answer{}, err
		}
		return api.Answer{Body: c.Body, ContentType: "application/geo+json"}, nil
	case "plan":
		_, body, err := newPlanner().Plan(ctx, s, planner.Options{Lots: r.Lots, Outlet: o.Outlet})
		if err != nil {
			return api.Answer{}, err
		}
		return api.Answer{Body: body, ContentType: "application/json"}, nil
	case "audit":
		ao := auditor.Options{Checks: o.Checks, Lots: r.Lots, Zones: true, Program: "fallwright " + version(),
			Report: func(p jobs.Progress) { r.Progress(p.Done, p.Items, "lots") }}
		a, err := auditor.New(s, ao)
		if err != nil {
			return api.Answer{}, err
		}
		audit, err := a.Audit(ctx, ao)
		if err != nil {
			return api.Answer{}, err
		}
		body, err := auditor.Write(audit, s.Frame)
		return api.Answer{Body: body, ContentType: "application/json"}, err
	case "asbuilt":
		raw := r.Extra["plan"]
		if len(raw) == 0 {
			return api.Answer{}, &parcels.InputError{Kind: parcels.Invalid, File: "plan", Faults: []parcels.Fault{{Slug: "plan-missing", Pointer: "", Detail: "The input plan is missing. Give the plan that was laid."}}}
		}
		plan, err := document.ReadPlan(raw, s.Frame)
		if err != nil {
			return api.Answer{}, named(err, "plan")
		}
		rep, err := asbuilt.Assess(asbuilt.Input{Plan: plan, Lots: s.Lots, Criteria: s.Criteria, Frame: s.Frame, Shots: asbuilt.FromSite(s, plan)})
		if err != nil {
			return api.Answer{}, named(err, "site")
		}
		body, err := rep.Document(s.Frame)
		return api.Answer{Body: body, ContentType: "application/json"}, err
	}
	return api.Answer{}, &parcels.Error{Kind: parcels.Unsupported, Op: "process", Subject: r.Process, Err: fmt.Errorf("not answered by this program")}
}
