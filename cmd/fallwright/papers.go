package main

// The papers that the service hands out: the process sheet.

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"fallwright/api"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
	"fallwright/parcels/quantities"
	"fallwright/parcels/sheet"
)

// sheetOptions are the options of the process sheet.
type sheetOptions struct {
	Kind   string  `json:"kind"`
	Format string  `json:"format"`
	Paper  string  `json:"paper"`
	Units  string  `json:"units"`
	Page   int     `json:"page"`
	Every  float64 `json:"every_m"`
	Offset float64 `json:"offset_m"`
	From   string  `json:"from"`
}

func wrongOption(member, detail string) error {
	return &parcels.InputError{Kind: parcels.Invalid, File: "options", Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/" + member, Member: member, Detail: detail}}}
}

// order is what the options ask for.
func (o sheetOptions) order() (sheet.Order, error) {
	u, err := display.Parse(o.Units)
	if err != nil {
		return sheet.Order{}, wrongOption("units", fmt.Sprintf("The units %q are not known: give us or si.", parcels.Excerpt(o.Units)))
	}
	if o.Every < 0 || o.Offset < 0 {
		return sheet.Order{}, wrongOption("every_m", "every_m and offset_m cannot be negative.")
	}
	out := sheet.Order{Kind: sheet.Kind(o.Kind), Format: o.Format, Paper: o.Paper, Units: u, Every: unit.Length(o.Every), Offset: unit.Length(o.Offset)}
	if o.From != "" {
		day, err := time.Parse("2006-01-02", o.From)
		if err != nil {
			return sheet.Order{}, wrongOption("from", fmt.Sprintf("%q is no day: give YYYY-MM-DD.", parcels.Excerpt(o.From)))
		}
		out.From = &day
	}
	return out, nil
}

// sheet answers the process sheet.
func (g engine) sheet(ctx context.Context, s *parcels.Site, o options, r api.Request) (api.Answer, error) {
	order, err := o.order()
	if err != nil {
		return api.Answer{}, err
	}
	if err := order.Check(); err != nil { // before the work
		return api.Answer{}, named(err, "options")
	}
	if raw := r.Extra["prices"]; len(raw) > 0 {
		if order.Book, err = priceBook(raw); err != nil {
			return api.Answer{}, named(err, "prices")
		}
	}
	if raw := r.Extra["templates"]; len(raw) > 0 {
		files := map[string]string{}
		if err := json.Unmarshal(raw, &files); err != nil {
			return api.Answer{}, &parcels.InputError{Kind: parcels.Invalid, File: "templates", Faults: []parcels.Fault{{Slug: "template-invalid", Detail: "The templates are an object of texts by name."}}}
		}
		if order.Templates, err = sheet.ReadTemplates(files); err != nil {
			return api.Answer{}, named(err, "templates")
		}
	}
	if order.Kind == sheet.KindAudit {
		audit, err := audited(ctx, s, o, r)
		if err != nil {
			return api.Answer{}, err
		}
		f, err := sheet.WriteAudit(audit, s, order)
		if err != nil {
			return api.Answer{}, optionFault(err)
		}
		return api.Answer{Body: f.Body, ContentType: f.MediaType, Name: f.Name}, nil
	}
	if r.SiteName != "" && g.store != nil {
		if order.Ground, _, err = storedGround(ctx, g.store, r.SiteName, s, ""); err != nil {
			return api.Answer{}, err
		}
	}
	var plan *parcels.Plan
	if raw := r.Extra["plan"]; len(raw) > 0 {
		plan, err = sentPlan(s, raw)
	} else if plan, _, err = g.planner().Plan(ctx, s, planner.Options{Lots: r.Lots, Outlet: o.Outlet, Shared: o.Shared, Surface: order.Ground}); err != nil {
		err = optionFault(err)
	}
	if err != nil {
		return api.Answer{}, err
	}
	r.Progress(1, 2, "planned")
	if order.Ground == nil {
		if order.Ground, _, err = planner.Surface(s); err != nil {
			return api.Answer{}, named(err, "site")
		}
	}
	files, err := sheet.Write(plan, s, order)
	var in *parcels.InputError
	if errors.As(err, &in) && in.Faults[0].Slug == "nothing-to-stake" {
		return api.Answer{}, named(err, "plan")
	}
	if err != nil {
		return api.Answer{}, optionFault(err)
	}
	n := max(o.Page, 1)
	if o.Page < 0 || n > len(files) {
		return api.Answer{}, wrongOption("page", fmt.Sprintf("There is no page %d: the paper has %d.", o.Page, len(files)))
	}
	a := api.Answer{Body: files[n-1].Body, ContentType: files[n-1].MediaType, Name: files[n-1].Name}
	if files[0].MediaType == sheet.MediaTypes["svg"] {
		a.Pages = len(files)
	}
	return a, nil
}

// sentPlan reads a plan that came with the request. What is drawn is what was
// checked: the very bytes are judged anew, against this site and its criteria.
func sentPlan(s *parcels.Site, raw []byte) (*parcels.Plan, error) {
	p, err := document.ReadPlan(raw, s.Frame)
	if err != nil {
		return nil, named(err, "plan")
	}
	if err := ofSite(p, s); err != nil {
		return nil, named(err, "plan")
	}
	v, err := verifier.Verify(s.Document, s.Criteria, raw)
	if err != nil {
		return nil, &parcels.InputError{Kind: parcels.Invalid, File: "plan", Faults: []parcels.Fault{{Slug: "plan-of-another-site", Detail: "The plan cannot be judged against this site: " + parcels.Excerpt(err.Error()) + "."}}}
	}
	if !v.Passed {
		var bad []string
		for _, c := range v.Checks {
			if !c.Passed {
				bad = append(bad, strings.TrimSpace(c.Check+" "+c.Where+" "+c.Detail))
			}
		}
		return nil, &parcels.InputError{Kind: parcels.Invalid, File: "plan", Faults: []parcels.Fault{{Slug: "plan-of-another-site", Detail: "The plan does not hold on this site under these criteria: " + parcels.Excerpt(strings.Join(bad, "; ")) + ". Plan it again."}}}
	}
	p.Verification = &v
	return p, nil
}

// sentShots reads the input shots: the text of a point file on the laid pipe.
func sentShots(raw json.RawMessage, shotUnit string, s *parcels.Site, plan *parcels.Plan) ([]asbuilt.Shot, []parcels.Finding, error) {
	var text string
	if err := json.Unmarshal(raw, &text); err != nil {
		return nil, nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "invalid-input", Detail: "The input shots is the text of a point file: number, northing, easting, elevation, description, a line a shot."}}}
	}
	if shotUnit == "" {
		shotUnit = "m"
	}
	return asbuilt.ReadPoints([]byte(text), "shots", unitNamed(shotUnit), s.Frame, plan, s.Criteria)
}

// stepsOf is the working of runs of a plan as the service sends it: what can be
// worked, and why the rest cannot; of all runs where none is named.
func stepsOf(s *parcels.Site, raw json.RawMessage, runs []string) ([]byte, error) {
	plan, err := sentPlan(s, raw)
	if err != nil {
		return nil, err
	}
	if len(runs) == 0 {
		for i := range plan.Runs {
			runs = append(runs, plan.Runs[i].ID)
		}
	}
	type note struct {
		Code   string `json:"code,omitempty"`
		Text   string `json:"text"`
		Source string `json:"source,omitempty"`
	}
	type working struct {
		Run     string       `json:"run"`
		Subject string       `json:"subject"`
		Steps   []hydro.Step `json:"steps"`
		Notes   []note       `json:"notes,omitempty"`
		Text    string       `json:"text"`
		WhyNot  string       `json:"why_not,omitempty"`
	}
	out := struct {
		Status   string    `json:"status"`
		Runs     []working `json:"runs"`
		Cautions []string  `json:"cautions"`
	}{plan.Status, []working{}, parcels.Cautions}
	for _, id := range runs {
		w := working{Run: id, Subject: "Run " + id, Steps: []hydro.Step{}}
		sheet, err := planner.Steps(plan, id)
		var in *parcels.InputError
		switch {
		case err == nil:
			w.Subject, w.Steps, w.Text = sheet.Subject, sheet.Steps, sheet.Text()
			for _, n := range sheet.Notes {
				w.Notes = append(w.Notes, note{n.Code, n.Text, n.Source})
			}
		case errors.As(err, &in) && in.Faults[0].Slug == "run-without-flow":
			w.WhyNot = in.Faults[0].Detail
		case errors.As(err, &in):
			in.File, in.Faults[0].Pointer, in.Faults[0].Member = "options", "/runs", "runs"
			return nil, in
		default:
			return nil, err
		}
		out.Runs = append(out.Runs, w)
	}
	return json.Marshal(out)
}

// priceBook reads the input prices: CSV text, or a workbook in base64.
func priceBook(raw json.RawMessage) (*quantities.Book, error) {
	bad := func(detail string) error {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "price-book", Detail: detail}}}
	}
	raw = bytes.TrimSpace(raw)
	var text string
	if raw[0] == '"' {
		if err := json.Unmarshal(raw, &text); err != nil {
			return nil, bad("The price book is no text.")
		}
		return quantities.ReadBook([]byte(text))
	}
	var q struct {
		Value    string `json:"value"`
		Encoding string `json:"encoding"`
	}
	if err := json.Unmarshal(raw, &q); err != nil || q.Encoding != "base64" {
		return nil, bad("The price book is neither CSV text nor {\"value\": ..., \"encoding\": \"base64\"}.")
	}
	b, err := base64.StdEncoding.DecodeString(q.Value)
	if err != nil {
		return nil, bad("The price book is not base64.")
	}
	return quantities.ReadBook(b)
}

// ofSite says whether a plan can be of a site: its system and its lots.
func ofSite(p *parcels.Plan, s *parcels.Site) error {
	fault := func(format string, a ...any) error {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "plan-of-another-site", Detail: fmt.Sprintf(format, a...)}}}
	}
	if !sameSystem(p.Frame.CRS, s.Frame) {
		return fault("The plan is in %s and the site in %s: they are not of one piece.", parcels.Excerpt(p.Frame.CRS), s.Frame.Name())
	}
	for _, id := range p.Summary.Lots {
		if s.Lot(id) == nil {
			return fault("The plan drains lot %q, which the site does not have.", parcels.Excerpt(id))
		}
	}
	return nil
}
