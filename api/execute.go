package api

// Processes: what there is, and the executions.

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"mime"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/memory"
)

// A processKind is one process of the service.
type processKind struct {
	id, operation      string
	title, description string
	schema             string // of the result, in the OpenAPI document
	contentType        string
	extra              []extraInput
	short              bool // answered in milliseconds
}

// An extraInput is a further input of a process.
type extraInput struct {
	name, schema, description string
	needed                    bool
}

var processList = []processKind{
	{"zone", "executeZone", "Trench zone", "Where a trench may lie on each lot, edge to edge, under the criteria.", "Zone", geoJSON, nil, true},
	{"check", "executeCheck", "Route check", "Whether drawn or existing drains keep inside the lot with the clearance asked for.", "Check", geoJSON, nil, true},
	{"plan", "executePlan", "Drain plan", "A drain from the intakes of the lots to the nearest inlet that gravity can reach, verified by a second piece of code.", "Plan", appJSON, nil, false},
	{"ground", "executeGround", "Ground", "Contours, hollows that hold water, the ways on which it runs together, and heights to draw a relief from.", "Ground", geoJSON, nil, false},
	{"audit", "executeAudit", "Subdivision audit", "Every lot, whether it has a trench zone and an inlet in reach.", "Audit", appJSON, nil, false},
	{"asbuilt", "executeAsBuilt", "As-built comparison", "What was laid (drains of status laid) against the plan.", "AsBuilt", appJSON, []extraInput{{"plan", "Plan", "The plan that was laid.", true}, {"shots", "Shots", "A point file of shots on the laid pipe, in place of the drains of status laid.", false}}, false},
	{"steps", "executeSteps", "Calculation steps", "The flow, capacity, depth, velocity and shear of the runs of a plan, each step with its formula, values, units and source.", "Steps", appJSON, []extraInput{{"plan", "Plan", "The plan whose runs are worked.", true}}, false},
	{"sheet", "executeSheet", "Sheet", "A paper that leaves the office: plan and profile, stakes, takeoff, site visit, proposal, permit package, calculation, crew notes, close-out pack, or the report of an audit.", "Sheet", "application/pdf", []extraInput{
		{"plan", "Plan", "A plan as this service gave it, which is checked anew; where not given, the lots are planned.", false},
		{"prices", "PriceBook", "The firm's price book, for the takeoff and the proposal.", false},
		{"templates", "Templates", "The firm's own words in place of the built-in ones, by name.", false},
	}, false},
}

const (
	appJSON = "application/json"
	geoJSON = "application/geo+json"
)

func (s *service) processSummary(c echo.Context, p processKind) map[string]any {
	base := s.base(c)
	return map[string]any{
		"id": p.id, "version": "1.0.0", "title": p.title, "description": p.description,
		"jobControlOptions":  []string{"sync-execute", "async-execute", "dismiss"},
		"outputTransmission": []string{"value"},
		"links": []link{
			{Href: base + "/processes/" + p.id, Rel: "self", Type: appJSON, Title: p.title},
			{Href: base + "/processes/" + p.id + "/execution", Rel: "http://www.opengis.net/def/rel/ogc/1.0/execute", Type: appJSON, Title: "Execute (POST)"},
		},
	}
}

func (s *service) processes(c echo.Context) error {
	var list []map[string]any
	for _, p := range processList {
		list = append(list, s.processSummary(c, p))
	}
	return s.respond(c, "Processes", map[string]any{
		"processes": list,
		"links":     s.selfLinks(c, "/processes"),
	})
}

func (s *service) process(c echo.Context) error {
	for _, p := range processList {
		if p.id != c.Param("process") {
			continue
		}
		ref := func(schema string) map[string]any {
			return map[string]any{"$ref": s.base(c) + "/openapi.json#/components/schemas/" + schema}
		}
		m := s.processSummary(c, p)
		inputs := map[string]any{
			"site": map[string]any{"title": "Site", "description": "A site document, or the name of a stored site.", "minOccurs": 1, "maxOccurs": 1,
				"schema": map[string]any{"oneOf": []any{ref("Site"), map[string]any{"type": "string"}}}},
			"lots": map[string]any{"title": "Lots", "description": "Lots to work on; all where not given.", "minOccurs": 0, "maxOccurs": 1,
				"schema": map[string]any{"type": "array", "items": map[string]any{"type": "string"}}},
			"criteria": map[string]any{"title": "Criteria", "description": "Rules in place of the built-in and the site's own.", "minOccurs": 0, "maxOccurs": 1, "schema": ref("Criteria")},
			"options":  map[string]any{"title": "Options", "minOccurs": 0, "maxOccurs": 1, "schema": ref("Options")},
		}
		for _, x := range p.extra {
			least := 0
			if x.needed {
				least = 1
			}
			inputs[x.name] = map[string]any{"title": x.name, "description": x.description, "minOccurs": least, "maxOccurs": 1, "schema": ref(x.schema)}
		}
		m["inputs"] = inputs
		m["outputs"] = map[string]any{"result": map[string]any{"title": p.title, "schema": ref(p.schema)}}
		return s.respond(c, p.title, m)
	}
	return refuse("not-found", "There is no process %s.", parcels.Excerpt(c.Param("process")))
}

// An execution is a request that has been read: what the engine gets, and what
// it takes to put the places of its faults right.
type execution struct {
	process processKind
	request Request
	keep    bool // options.store
	body    []byte
	parts   map[string]part
	inline  bool
}

// run answers one execution.
func (s *service) run(ctx context.Context, e execution) (Answer, error) {
	a, err := s.Engine.Execute(ctx, e.request)
	if err != nil {
		if e.inline || !aboutSite(err) {
			err = relocate(err, e.body, e.parts, "/inputs")
		}
		return Answer{}, err
	}
	if a.ContentType == "" {
		a.ContentType = e.process.contentType
	}
	if e.keep {
		inputs, err := json.Marshal(map[string]any{"lots": e.request.Lots, "criteria": e.request.Criteria, "options": e.request.Options})
		if err != nil {
			return Answer{}, fmt.Errorf("api: keep result: %w", err)
		}
		sum := sha256.Sum256(e.request.Site)
		_, err = s.Store.PutResult(ctx, parcels.Result{Site: e.request.SiteName, Kind: e.process.id, Version: e.request.SiteVersion,
			InputSHA: hex.EncodeToString(sum[:]), Program: "fallwright " + s.Version, Made: s.Now().UTC(), Inputs: inputs, Body: a.Body, Document: e.request.Site, Ground: a.Ground})
		if err != nil {
			return Answer{}, err
		}
	}
	return a, nil
}

// aboutSite says whether an error is about the site document.
func aboutSite(err error) bool {
	var in *parcels.InputError
	return errors.As(err, &in) && (in.File == "" || in.File == "site")
}

func (s *service) execute(p processKind) echo.HandlerFunc {
	return func(c echo.Context) error {
		row := s.lanes.before(p)
		if row.full() && !prefersAsync(c.Request()) {
			// before the body is looked at, which costs more than the refusal; it is
			// taken off the line, so that the client gets to read the answer
			_, _ = io.CopyN(io.Discard, c.Request().Body, 1<<20)
			return busy()
		}
		// a place is taken once the body has come and before it is looked into: what
		// is read together by many who are then refused makes all of them wait
		give := func() {}
		defer func() { give() }()
		spent := newSpent()
		e, err := s.readExecution(c, p, func() (err error) {
			spent.at("body")
			if !prefersAsync(c.Request()) {
				var place func()
				if place, err = row.wait(); err == nil {
					give = place
				}
			}
			return err
		})
		if err != nil {
			return err
		}
		if prefersAsync(c.Request()) {
			j, err := s.jobs.add(p.id, caller(c), s.base(c), requestID(c), func(ctx context.Context, progress func(int, int, string)) (Answer, error) {
				e.request.Progress = progress
				return s.run(ctx, e)
			})
			if err != nil {
				return err
			}
			h := c.Response().Header()
			h.Set("Location", s.base(c)+"/jobs/"+j.id)
			h.Set("Preference-Applied", "respond-async")
			return c.JSON(http.StatusCreated, j.status(s.base(c)))
		}
		spent.at("read")
		ctx, cancel := context.WithTimeout(c.Request().Context(), s.limits.SyncTime)
		defer cancel()
		leave, err := s.lanes.of(e).pass(ctx)
		if err != nil {
			return err
		}
		defer leave()
		spent.at("lane")
		a, err := s.run(ctx, e)
		if err != nil {
			return err
		}
		spent.at("work")
		c.Response().Header().Set("Cache-Control", "no-store")
		c.Response().Header().Set("Server-Timing", spent.text)
		return send(c, a)
	}
}

// spent is where the time of a direct execution went, by the clock, as the header
// Server-Timing tells it (W3C, Server Timing).
type spent struct {
	last time.Time
	text string
}

func newSpent() *spent { return &spent{last: time.Now()} }

// at ends a stage.
func (t *spent) at(stage string) {
	now := time.Now()
	if t.text != "" {
		t.text += ", "
	}
	t.text += fmt.Sprintf("%s;dur=%.1f", stage, now.Sub(t.last).Seconds()*1000)
	t.last = now
}

// send answers with a result: a paper under its name, how many it is one of
// beside it.
func send(c echo.Context, a Answer) error {
	h := c.Response().Header()
	if a.Name != "" {
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": a.Name}))
	}
	if a.Pages > 0 {
		h.Set("Sheet-Count", strconv.Itoa(a.Pages))
	}
	return c.Blob(http.StatusOK, a.ContentType, a.Body)
}

// siteSheet is the sheet process on a stored site as an address to be linked to.
func (s *service) siteSheet(c echo.Context) error {
	name := c.Param("site")
	if err := s.maySee(c, name); err != nil {
		return err
	}
	doc, err := s.Store.Document(c.Request().Context(), name)
	if err != nil {
		return hideAbsent(err, name)
	}
	kind, format, ok := strings.Cut(c.Param("file"), ".")
	if !ok {
		return refuse("not-found", "There is no sheet %s: ask for one like plan.pdf.", parcels.Excerpt(c.Param("file")))
	}
	options := map[string]any{"kind": kind, "format": format}
	for _, q := range []string{"paper", "units", "outlet", "from"} {
		if v := c.QueryParam(q); v != "" {
			options[q] = v
		}
	}
	for _, q := range []string{"page", "every_m", "offset_m"} {
		v := c.QueryParam(q)
		if v == "" {
			continue
		}
		n, err := strconv.ParseFloat(v, 64)
		if err != nil || math.IsNaN(n) || math.IsInf(n, 0) {
			return refuse("parameter-invalid", "%s is a number, not %s.", q, parcels.Excerpt(v))
		}
		options[q] = n
	}
	r := Request{Process: "sheet", Site: doc, SiteName: name, Lots: c.QueryParams()["lot"], Progress: func(int, int, string) {}}
	if r.Options, err = json.Marshal(options); err != nil {
		return fmt.Errorf("api: sheet: %w", err)
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), s.limits.SyncTime)
	defer cancel()
	leave, err := s.lanes.long.enter(ctx)
	if err != nil {
		return err
	}
	defer leave()
	a, err := s.Engine.Execute(ctx, r)
	if err != nil {
		return err
	}
	if a.ContentType == "" {
		a.ContentType = "application/pdf"
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return send(c, a)
}

// prefersAsync reads the Prefer header (RFC 7240).
func prefersAsync(r *http.Request) bool {
	for _, line := range r.Header.Values("Prefer") {
		for _, p := range strings.Split(line, ",") {
			p, _, _ = strings.Cut(p, ";")
			if strings.EqualFold(strings.TrimSpace(p), "respond-async") {
				return true
			}
		}
	}
	return false
}

var siteName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9 _.-]{0,99}$`)

// readExecution reads the body of an execution strictly: an unknown member of
// inputs is refused, since what was meant by it would be lost. admit is asked
// when the body is there.
func (s *service) readExecution(c echo.Context, p processKind, admit func() error) (execution, error) {
	e := execution{process: p}
	if _, err := s.mediaType(c, p.operation); err != nil {
		return e, err
	}
	body, err := s.readBody(c)
	if err != nil {
		return e, err
	}
	if err := admit(); err != nil {
		return e, err
	}
	cut, err := document.ScanWith(body, s.Memory)
	if err != nil {
		return e, err
	}
	body = cut.Text
	top, err := membersOf(cut, 0, "")
	if err != nil {
		return e, err
	}
	if _, ok := top["subscriber"]; ok {
		return e, refuse("url-not-allowed", "Callbacks are not taken: follow the job's address or its events.").at(parcels.Fault{Pointer: "/subscriber"})
	}
	in, ok := top["inputs"]
	if !ok {
		return e, refuse("input-missing", "The body lacks inputs. Send {\"inputs\": {\"site\": ...}}.").at(parcels.Fault{Pointer: "/inputs"})
	}
	parts, err := membersOf(in.cut, in.offset, "/inputs")
	if err != nil {
		return e, err
	}
	e.body, e.parts = body, parts
	e.request = Request{Process: p.id, Progress: func(int, int, string) {}}
	known := map[string]bool{"site": true, "lots": true, "criteria": true, "options": true}
	for _, x := range p.extra {
		known[x.name] = true
		v, ok := parts[x.name]
		if !ok || isNull(v.text) {
			if x.needed {
				return e, refuse("input-missing", "inputs.%s is missing.", x.name).at(parcels.Fault{Pointer: "/inputs/" + x.name})
			}
			continue
		}
		if e.request.Extra == nil {
			e.request.Extra = map[string]json.RawMessage{}
		}
		e.request.Extra[x.name] = v.text
	}
	for name := range parts {
		if !known[name] {
			return e, refuse("input-unknown", "The process %s has no input %s.", p.id, parcels.Excerpt(name)).at(parcels.Fault{Pointer: "/inputs/" + escape(name)})
		}
	}
	if v, ok := parts["lots"]; ok && !isNull(v.text) {
		if e.request.Lots, err = decodeStrings(v.text); err != nil {
			return e, refuse("invalid-input", "inputs.lots is a list of lots: %s.", strings.TrimPrefix(err.Error(), "api: ")).at(parcels.Fault{Pointer: "/inputs/lots"})
		}
	}
	if v, ok := parts["criteria"]; ok && !isNull(v.text) {
		if v.text[0] != '{' {
			return e, refuse("invalid-input", "inputs.criteria is a JSON object.").at(parcels.Fault{Pointer: "/inputs/criteria"})
		}
		e.request.Criteria = v.text
	}
	if v, ok := parts["options"]; ok && !isNull(v.text) {
		options, err := members(v.text, v.offset, "/inputs/options")
		if err != nil {
			return e, err
		}
		if st, ok := options["store"]; ok {
			if err := json.Unmarshal(st.text, &e.keep); err != nil {
				return e, refuse("invalid-input", "options.store is true or false.").at(parcels.Fault{Pointer: "/inputs/options/store"})
			}
			delete(options, "store")
		}
		rest := map[string]json.RawMessage{}
		for k, o := range options {
			rest[k] = o.text
		}
		if len(rest) > 0 {
			if e.request.Options, err = json.Marshal(rest); err != nil {
				return e, fmt.Errorf("api: options: %w", err)
			}
		}
	}
	return e, s.readSiteInput(c, &e, parts)
}

// readSiteInput takes the site of an execution: the document itself, or one of
// the store.
func (s *service) readSiteInput(c echo.Context, e *execution, parts map[string]part) error {
	v, ok := parts["site"]
	if !ok || isNull(v.text) {
		return refuse("input-missing", "inputs.site is missing: a site document, or the name of a stored site.").at(parcels.Fault{Pointer: "/inputs/site"})
	}
	switch v.text[0] {
	case '"':
		var name string
		if err := json.Unmarshal(v.text, &name); err != nil {
			return refuse("invalid-input", "inputs.site is no name.").at(parcels.Fault{Pointer: "/inputs/site"})
		}
		if strings.Contains(name, "://") {
			return refuse("url-not-allowed", "inputs.site is an address. Nothing is fetched: send the document itself, or the name of a stored site.").at(parcels.Fault{Pointer: "/inputs/site"})
		}
		if err := s.maySee(c, name); err != nil {
			return err
		}
		ctx := c.Request().Context()
		info, err := s.Store.Site(ctx, name)
		if err != nil {
			return hideAbsent(err, name)
		}
		e.request.SiteName, e.request.SiteVersion = name, info.Version
		if r, ok := s.Engine.(StoreReader); ok && r.ReadsStore(e.process.id) && !e.keep {
			break // a result that is kept keeps the document beside it
		}
		if e.request.Site, err = s.storedDocument(ctx, info); err != nil {
			return hideAbsent(err, name)
		}
	case '{':
		doc := v
		// a qualified value of OGC API - Processes: {"value": {...}}, {"href": ...}
		if bytes.Contains(v.text[:min(len(v.text), 200)], []byte(`"value"`)) || bytes.Contains(v.text[:min(len(v.text), 200)], []byte(`"href"`)) {
			inner, err := membersOf(v.cut, v.offset, "/inputs/site")
			if err != nil {
				return err
			}
			if _, ok := inner["href"]; ok {
				return refuse("url-not-allowed", "inputs.site names an address. Nothing is fetched: send the document itself.").at(parcels.Fault{Pointer: "/inputs/site/href"})
			}
			if w, ok := inner["value"]; ok && inner["layers"].text == nil {
				doc = w
				parts["site"] = w
			}
		}
		e.request.Site, e.request.Scanned, e.inline = doc.text, doc.cut, true
	default:
		return refuse("invalid-input", "inputs.site is neither a site document nor a name.").at(parcels.Fault{Pointer: "/inputs/site"})
	}
	if e.keep {
		if e.process.id == "sheet" {
			return refuse("invalid-input", "A sheet is not kept: it is made again from the same plan, byte for byte.").at(parcels.Fault{Pointer: "/inputs/options/store"})
		}
		if s.Store == nil {
			return refuse("no-store", "There is no store to keep the result in.")
		}
		if e.request.SiteName == "" {
			return refuse("invalid-input", "options.store keeps a result with a stored site: name one in inputs.site.").at(parcels.Fault{Pointer: "/inputs/options/store"})
		}
	}
	return nil
}

// storedDocument is the document of a stored site at its version, which no other
// document ever has: a name that comes back goes on counting.
func (s *service) storedDocument(ctx context.Context, info parcels.SiteInfo) ([]byte, error) {
	errNewer := errors.New("api: the site was changed meanwhile")
	var doc []byte
	kept, err := memory.Of(s.Memory, func() memory.Key {
		return memory.NewHash("api.document").Text(info.Name).Count(int(info.Version)).Key()
	}, func() ([]byte, int64, error) {
		var err error
		if doc, err = s.Store.Document(ctx, info.Name); err != nil || s.Memory == nil {
			return doc, 0, err
		}
		now, err := s.Store.Site(ctx, info.Name)
		if err == nil && now.Version != info.Version {
			err = errNewer
		}
		return doc, int64(len(doc)), err
	})
	if errors.Is(err, errNewer) {
		return doc, nil // right, and not of this version
	}
	return kept, err
}

func isNull(raw json.RawMessage) bool { return string(raw) == "null" }
