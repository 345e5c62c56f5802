package main

// What the service answers with: the same functions as the verbs.

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"fallwright/api"
	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/auditor"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange"
	"fallwright/parcels/exchange/raster"
	"fallwright/parcels/jobs"
	"fallwright/parcels/memory"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
)

type engine struct {
	// store holds the stored sites; nil: there is none.
	store parcels.Store
	// queue is that of a PostGIS store, whose workers share audits; nil: there
	// is none.
	queue *jobs.Queue
	// memory and kept hold what requests have in common, by content: sites, layers,
	// ground, zones; and the sites as the checker reads them. nil: nothing is held.
	memory *memory.Memory
	kept   *verify.Kept
}

// What serve holds in memory between requests: results of so many bytes as
// reckoned, and site documents of so many bytes of text for the checker, which
// take some ten times that.
const (
	heldBytes    = 128 << 20
	checkedBytes = 6 << 20
)

// remembering is g with a memory.
func (g engine) remembering() engine {
	g.memory, g.kept = memory.New(heldBytes), verify.Keep(checkedBytes)
	return g
}

// planner is newPlanner with what the engine holds.
func (g engine) planner() *planner.Planner {
	p := newPlanner()
	p.Memory = g.memory
	if c, ok := p.Verifier.(verify.Checker); ok {
		c.Kept = g.kept
		p.Verifier = c
	}
	return p
}

// options are those of an execution.
type options struct {
	Pipe      string   `json:"pipe"`
	KeepGoing bool     `json:"keep_going"`
	Outlet    string   `json:"outlet"`
	Shared    bool     `json:"shared"`
	Quick     bool     `json:"quick"`
	Checks    []string `json:"checks"`
	CRS       string   `json:"crs"`
	Store     bool     `json:"store"`
	Interval  float64  `json:"interval_m"`
	sheetOptions
	// plan
	WhatIf []planner.Change `json:"what_if"`
	// asbuilt
	Resolve bool          `json:"resolve"`
	Met     []parcels.Met `json:"met"`
	// asbuilt with shots
	ShotUnit string `json:"shot_unit"`
	ShotRun  string `json:"shot_run"`
	// steps
	Runs []string `json:"runs"`
}

func (engine) Read(_ context.Context, doc []byte) (string, error) {
	s, err := document.Read(doc, document.Options{Limits: document.ServiceLimits})
	if err != nil {
		return "", err
	}
	return s.Name, nil
}

// mostCells is the largest raster that the service looks at.
const mostCells = 100_000_000

// uploads are the endings by which exchange tells the media types apart.
var uploads = map[string]string{"application/geo+json": "upload.geojson", "application/zip": "upload.zip", "application/geopackage+sqlite3": "upload.gpkg", "text/csv": "upload.csv"}

func (engine) Import(ctx context.Context, u api.Upload) (api.Imported, error) {
	name, ok := uploads[u.ContentType]
	if u.ContentType == "image/tiff" {
		// held to the same limits as any raster; a store keeps no rasters
		if _, err := raster.Open(bytes.NewReader(u.Body), int64(len(u.Body)), "", raster.Options{CRS: u.CRS, MaxCells: mostCells}); err != nil {
			return api.Imported{}, err
		}
	}
	if !ok {
		return api.Imported{}, &parcels.Error{Kind: parcels.Unsupported, Op: "import", Subject: u.ContentType, Err: fmt.Errorf("not a layer of features")}
	}
	layer := api.ImportedLayer{Layer: u.Layer}
	report, err := exchange.Import(ctx, name, u.Body, exchange.Options{Layer: u.Layer, CRS: u.CRS, Service: true}, func(f parcels.StoredFeature) error {
		layer.Features = append(layer.Features, f)
		return nil
	})
	if err != nil {
		return api.Imported{}, err
	}
	layer.CRS = report.CRSOf()
	return api.Imported{Layers: []api.ImportedLayer{layer}, Warnings: report.Told()}, nil
}

// ReadsStore says that audits of stored sites are read by windows.
func (g engine) ReadsStore(process string) bool { return process == "audit" && g.store != nil }

func (g engine) Execute(ctx context.Context, r api.Request) (api.Answer, error) {
	if r.SiteName != "" && r.Site == nil {
		return g.auditStored(ctx, r)
	}
	s, o, err := readSiteWith(r.Site, r.Criteria, r.Options, document.Options{Limits: document.ServiceLimits, Memory: g.memory, Scanned: r.Scanned})
	if err != nil {
		return api.Answer{}, err
	}
	if r.Process != "zone" && r.Process != "check" {
		if err := answersIn(o, s.CRS); err != nil {
			return api.Answer{}, err
		}
	}
	r.Progress(0, 1, "read")
	switch r.Process {
	case "zone":
		c, err := answer.Zones(ctx, s, answer.Options{Lots: r.Lots, Pipe: o.Pipe, Memory: g.memory, CRS: o.CRS})
		if err != nil {
			return api.Answer{}, optionFault(err)
		}
		return api.Answer{Body: c.Body, ContentType: "application/geo+json"}, nil
	case "check":
		c, err := answer.Checks(ctx, s, answer.Options{Lots: r.Lots, Memory: g.memory, CRS: o.CRS})
		if err != nil {
			return api.Answer{}, optionFault(err)
		}
		return api.Answer{Body: c.Body, ContentType: "application/geo+json"}, nil
	case "plan":
		po := planner.Options{Lots: r.Lots, Outlet: o.Outlet, Shared: o.Shared, Quick: o.Quick}
		var sum string
		if r.SiteName != "" && g.store != nil {
			if po.Surface, sum, err = storedGround(ctx, g.store, r.SiteName, s, ""); err != nil {
				return api.Answer{}, err
			}
		}
		plan, body, err := g.planner().Plan(ctx, s, po)
		if err != nil {
			return api.Answer{}, optionFault(err)
		}
		if len(o.WhatIf) > 0 {
			if body, err = withWhatIf(ctx, g.planner(), s, po, plan, body, o.WhatIf); err != nil {
				return api.Answer{}, err
			}
		}
		return api.Answer{Body: body, ContentType: "application/json", Ground: sum}, nil
	case "ground":
		ground := answer.GroundOptions{Lots: r.Lots, Interval: unit.Length(o.Interval)}
		if r.SiteName != "" && g.store != nil {
			if ground.Surface, _, err = storedGround(ctx, g.store, r.SiteName, s, ""); err != nil {
				return api.Answer{}, err
			}
		}
		c, err := answer.Ground(ctx, s, ground)
		if err != nil {
			return api.Answer{}, optionFault(err)
		}
		return api.Answer{Body: c.Body, ContentType: "application/geo+json"}, nil
	case "audit":
		audit, err := audited(ctx, s, o, r)
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
		if err := ofSite(plan, s); err != nil {
			return api.Answer{}, named(err, "plan")
		}
		in, err := answer.Built(s, plan)
		if err != nil {
			return api.Answer{}, err
		}
		in.Only = o.ShotRun
		var told []parcels.Finding
		if raw := r.Extra["shots"]; len(raw) == 0 {
			in.Shots = asbuilt.FromSite(s, plan)
		} else if in.Shots, told, err = sentShots(raw, o.ShotUnit, s, plan); err != nil {
			return api.Answer{}, named(err, "shots")
		}
		rep, err := asbuilt.Assess(in)
		if err != nil {
			return api.Answer{}, named(err, "site")
		}
		rep.Findings = append(told, rep.Findings...)
		if o.Resolve {
			if _, err := answer.Resolve(ctx, g.planner(), s, planner.Options{}, plan, rep, o.Met); err != nil {
				return api.Answer{}, err
			}
		}
		body, err := rep.Document(s.Frame)
		return api.Answer{Body: body, ContentType: "application/json"}, err
	case "steps":
		body, err := stepsOf(s, r.Extra["plan"], o.Runs)
		return api.Answer{Body: body, ContentType: "application/json"}, err
	case "sheet":
		return g.sheet(ctx, s, o, r)
	}
	return api.Answer{}, &parcels.Error{Kind: parcels.Unsupported, Op: "process", Subject: r.Process, Err: fmt.Errorf("not answered by this program")}
}

// auditStored audits a stored site, over the queue where there is one.
func (g engine) auditStored(ctx context.Context, r api.Request) (api.Answer, error) {
	o, err := readOptions(r.Options)
	if err != nil {
		return api.Answer{}, err
	}
	info, err := g.store.Site(ctx, r.SiteName)
	if err != nil {
		return api.Answer{}, err
	}
	if err := answersIn(o, info.CRS); err != nil {
		return api.Answer{}, err
	}
	if len(r.Criteria) > 0 {
		if _, _, err := document.ReadCriteria(r.Criteria); err != nil {
			return api.Answer{}, named(err, "criteria")
		}
	}
	q := auditor.Request{Site: r.SiteName, Version: r.SiteVersion, Criteria: r.Criteria, Checks: o.Checks, Lots: r.Lots, KeepGoing: o.KeepGoing, Zones: true, Program: "fallwright " + version()}
	report := func(p jobs.Progress) { r.Progress(p.Done, p.Items, "lots"+pace(p)) }
	r.Progress(0, 1, "read")
	a, err := overGround(ctx, g.store, q, auditor.Options{Report: report})
	switch {
	case a != nil || err != nil:
	case g.queue != nil:
		a, err = queued(ctx, g.queue, sourceOf(g.store), q, workers(0), report)
	default:
		a, err = auditor.Stored(ctx, sourceOf(g.store), q, auditor.Options{Report: report})
	}
	if err != nil {
		return api.Answer{}, optionFault(err)
	}
	defer a.Close()
	var body bytes.Buffer
	err = a.WriteJSON(&body)
	return api.Answer{Body: body.Bytes(), ContentType: "application/json"}, err
}

// answersIn refuses an answer in another system than the input's.
func answersIn(o options, crs string) error {
	if o.CRS == "" || frame.Normalise(o.CRS) == frame.Normalise(crs) {
		return nil
	}
	return &parcels.InputError{Kind: parcels.Invalid, File: "options", Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/crs", Member: "crs", Detail: "Only zone and check answer in another system than the input's: a plan is checked byte for byte in the input's; " + parcels.Excerpt(o.CRS) + " is another. Leave crs out, or read the result through /collections in the system wanted."}}}
}

func audited(ctx context.Context, s *parcels.Site, o options, r api.Request) (*parcels.Audit, error) {
	ao := auditor.Options{Checks: o.Checks, Lots: r.Lots, Zones: true, Program: "fallwright " + version(),
		Report: func(p jobs.Progress) { r.Progress(p.Done, p.Items, "lots"+pace(p)) }}
	a, err := auditor.New(s, ao)
	if err != nil {
		return nil, err
	}
	return a.Audit(ctx, ao)
}

// mostWhatIf is how many changes one request may ask for: each is a plan.
const mostWhatIf = 12

// withWhatIf is the plan with the outcome of each change beside it, as its last
// member.
func withWhatIf(ctx context.Context, p *planner.Planner, s *parcels.Site, po planner.Options, plan *parcels.Plan, body []byte, changes []planner.Change) ([]byte, error) {
	if len(changes) > mostWhatIf {
		return nil, &parcels.InputError{Kind: parcels.Invalid, File: "options", Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/what_if", Detail: fmt.Sprintf("%d changes are asked for, at most %d.", len(changes), mostWhatIf)}}}
	}
	rows, err := p.WhatIf(ctx, s, po, plan, changes)
	if err != nil {
		var in *parcels.InputError
		if errors.As(err, &in) {
			in.File = "options"
			for i := range in.Faults {
				in.Faults[i].Pointer = "/what_if"
			}
		}
		return nil, err
	}
	return outcomesBeside(body, rows)
}

// outcomesBeside is a plan's document with outcomes as its last member.
func outcomesBeside(body []byte, rows []planner.WhatIf) ([]byte, error) {
	text, err := json.Marshal(rows)
	if err != nil {
		return nil, err
	}
	body = bytes.TrimSpace(bytes.TrimSuffix(bytes.TrimSpace(body), []byte("}")))
	return slices.Concat(body, []byte(`,"what_if":`), text, []byte("}\n")), nil
}

// optionFault puts faults of the lots and options, which stand beside the site,
// under the input they are of.
func optionFault(err error) error {
	var in *parcels.InputError
	if !errors.As(err, &in) || len(in.Faults) == 0 {
		return err
	}
	switch in.Faults[0].Slug {
	case "lot-unknown":
		return named(err, "lots")
	case "outlet-unknown", "option-invalid":
		return named(err, "options")
	}
	return named(err, "site")
}
