package api

// The service with the rooms that answer in earnest, as package main wires
// them: what is sent is what the document says, for every lot of the sample.

import (
	"context"
	"encoding/json"
	"io"
	"maps"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/auditor"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
	"fallwright/parcels/planner"
	"fallwright/parcels/verify"
	"fallwright/sampledata"
)

type realEngine struct{ exampleEngine }

func (realEngine) Read(_ context.Context, doc []byte) (string, error) {
	s, err := document.Read(doc, document.Options{Limits: document.ServiceLimits})
	if err != nil {
		return "", err
	}
	return s.Name, nil
}

func (e realEngine) Execute(ctx context.Context, r Request) (Answer, error) {
	o := document.Options{Limits: document.ServiceLimits}
	if len(r.Criteria) > 0 {
		c, given, err := document.ReadCriteria(r.Criteria)
		if err != nil {
			return Answer{}, err
		}
		o.Criteria, o.CriteriaGiven = &c, given
	}
	s, err := document.Read(r.Site, o)
	if err != nil {
		return Answer{}, err
	}
	switch r.Process {
	case "zone":
		c, err := answer.Zones(ctx, s, answer.Options{Lots: r.Lots})
		if err != nil {
			return Answer{}, err
		}
		return Answer{Body: c.Body}, nil
	case "check":
		c, err := answer.Checks(ctx, s, answer.Options{Lots: r.Lots})
		if err != nil {
			return Answer{}, err
		}
		return Answer{Body: c.Body}, nil
	case "plan":
		p := planner.Planner{Verifier: verify.Checker{}, Program: "fallwright test"}
		_, body, err := p.Plan(ctx, s, planner.Options{Lots: r.Lots})
		return Answer{Body: body}, err
	case "audit":
		ao := auditor.Options{Lots: r.Lots, Zones: true, Report: func(p jobs.Progress) { r.Progress(p.Done, p.Items, "lots") }}
		a, err := auditor.New(s, ao)
		if err != nil {
			return Answer{}, err
		}
		audit, err := a.Audit(ctx, ao)
		if err != nil {
			return Answer{}, err
		}
		body, err := auditor.Write(audit, s.Frame)
		return Answer{Body: body}, err
	case "asbuilt":
		plan, err := document.ReadPlan(r.Extra["plan"], s.Frame)
		if err != nil {
			return Answer{}, err
		}
		rep, err := asbuilt.Assess(asbuilt.Input{Plan: plan, Lots: s.Lots, Criteria: s.Criteria, Frame: s.Frame, Shots: asbuilt.FromSite(s, plan)})
		if err != nil {
			return Answer{}, err
		}
		body, err := rep.Document(s.Frame)
		return Answer{Body: body}, err
	}
	return e.exampleEngine.Execute(ctx, r)
}

func real(o *Options) { o.Engine = realEngine{} }

// TestUseDesigner: a designer's map client. It draws a drain over the lot line,
// asks check on the way, moves it, then asks for the plan, and after the work
// holds what was laid against it.
func TestUseDesigner(t *testing.T) {
	c := newClient(t, real)
	var site map[string]any
	if err := json.Unmarshal(example(t, "site"), &site); err != nil {
		t.Fatal(err)
	}
	execute := func(process string, more map[string]any) *http.Response {
		inputs := map[string]any{"site": site, "lots": []string{"12"}}
		maps.Copy(inputs, more)
		return c.do("POST /processes/"+process+"/execution", map[string]any{"inputs": inputs})
	}
	draw := func(x float64) {
		site["layers"].(map[string]any)["drains"] = map[string]any{"type": "FeatureCollection", "features": []any{map[string]any{"type": "Feature",
			"geometry":   map[string]any{"type": "LineString", "coordinates": [][]float64{{1740000 + x, 640020}, {1740000 + x, 640060}}},
			"properties": map[string]any{"drain": "N-1", "lot": "12", "status": "proposed"}}}}
	}
	type checks struct {
		Features []struct {
			Properties struct {
				Inside         bool
				LeastClearance float64 `json:"least_clearance_m"`
			}
		}
	}
	// trench edge half a foot beyond its middle line: 100 - 99.5 - 0.5 = 0 less
	// the difference of the two feet
	draw(100.5)
	if r := read[checks](t, execute("check", nil)); len(r.Features) != 1 || r.Features[0].Properties.Inside || r.Features[0].Properties.LeastClearance > -0.3 {
		t.Errorf("over the line: %+v", r)
	}
	draw(90)
	if r := read[checks](t, execute("check", nil)); len(r.Features) != 1 || !r.Features[0].Properties.Inside || math.Abs(r.Features[0].Properties.LeastClearance-(10*1200./3937-0.1524)) > 2e-3 {
		t.Errorf("10 ft inside: %+v", r)
	}
	delete(site["layers"].(map[string]any), "drains")
	res := execute("plan", nil)
	c.want(res, 200, "")
	plan, _ := io.ReadAll(res.Body)
	var p parcels.Plan
	if err := json.Unmarshal(plan, &p); err != nil {
		t.Fatal(err)
	}
	if p.Summary.Outlet != "I-1" || p.Verification == nil || !p.Verification.Passed || len(p.Cautions) == 0 {
		t.Errorf("%+v %+v", p.Summary, p.Verification)
	}
	// laid just as planned: the runs with their inverts come back as drains
	var network struct {
		Network struct {
			Features []struct {
				Geometry   map[string]any
				Properties map[string]any
			}
		}
	}
	if err := json.Unmarshal(plan, &network); err != nil {
		t.Fatal(err)
	}
	var laid []any
	for _, f := range network.Network.Features {
		if f.Geometry["type"] == "LineString" {
			laid = append(laid, map[string]any{"type": "Feature", "geometry": f.Geometry, "properties": map[string]any{"drain": f.Properties["run"], "lot": "12", "status": "laid",
				"invert_up_m": f.Properties["invert_up_m"], "invert_down_m": f.Properties["invert_down_m"]}})
		}
	}
	site["layers"].(map[string]any)["drains"] = map[string]any{"type": "FeatureCollection", "features": laid}
	if r := read[struct {
		Runs []struct {
			Off *float64 `json:"greatest_off_m"`
		}
	}](t, execute("asbuilt", map[string]any{"plan": json.RawMessage(plan)})); len(r.Runs) != len(p.Summary.Lots)*len(laid) || r.Runs[0].Off == nil || math.Abs(*r.Runs[0].Off) > 1e-3 {
		t.Errorf("%+v", r)
	}
}

// TestUseSheet: a link to a paper of a stored site, and the same by a job; both
// come under their name.
func TestUseSheet(t *testing.T) {
	c := newClient(t)
	c.want(c.do("POST /sites", example(t, "site")), 201, "")
	res := c.do("GET /sites/Alder%20Bend/sheets/plan.svg?lot=12&paper=a4&page=2&every_m=7.5", nil)
	c.want(res, 200, "")
	body, _ := io.ReadAll(res.Body)
	if want := `{"every_m":7.5,"format":"svg","kind":"plan","page":2,"paper":"a4"}`; !strings.Contains(string(body), want) {
		t.Errorf("%s, want %s", body, want)
	}
	if h := res.Header; h.Get("Content-Disposition") != `attachment; filename="a \"b\".pdf"` || h.Get("Sheet-Count") != "3" || h.Get("Content-Type") != "application/pdf" {
		t.Errorf("%v", h)
	}
	c.want(c.do("GET /sites/Alder%20Bend/sheets/plan.svg?page=NaN", nil), 400, "parameter-invalid")
	c.want(c.do("GET /sites/Alder%20Bend/sheets/plan", nil), 404, "not-found")
	c.want(c.do("GET /sites/Nowhere/sheets/plan.pdf", nil), 404, "not-found")
	j := read[statusInfo](t, c.do("POST /processes/sheet/execution", `{"inputs":{"site":"Alder Bend"}}`, header{"Prefer": "respond-async"}))
	waitFor(t, func() bool { j = read[statusInfo](t, c.do("GET /jobs/"+j.JobID, nil)); return j.Status == successful })
	res = c.do("GET /jobs/"+j.JobID+"/results", nil)
	if c.want(res, 200, ""); res.Header.Get("Content-Type") != "application/pdf" || res.Header.Get("Content-Disposition") == "" || j.Links[2].Type != "application/pdf" {
		t.Errorf("%v %v", res.Header, j.Links)
	}
}

// TestUseAudit: a setback audit of a subdivision, as a job over a stored site,
// followed to its end, its rows read as features.
func TestUseAudit(t *testing.T) {
	c := newClient(t, real)
	c.want(c.do("POST /sites?site=subdivision", sampledata.StatePlane()), 201, "")
	j := read[statusInfo](t, c.do("POST /processes/audit/execution", `{"inputs":{"site":"subdivision","options":{"store":true}}}`, header{"Prefer": "respond-async"}))
	for end := time.Now().Add(2 * time.Minute); j.Status != successful; time.Sleep(20 * time.Millisecond) {
		if j = read[statusInfo](t, c.do("GET /jobs/"+j.JobID, nil)); j.Status == failed || time.Now().After(end) {
			t.Fatalf("%+v", j)
		}
	}
	var audit parcels.Audit
	res := c.do("GET /jobs/"+j.JobID+"/results", nil)
	c.holdAs(res, "Audit")
	if audit = read[parcels.Audit](t, res); len(audit.Rows) < 30 || audit.Totals.Lots != len(audit.Rows) {
		t.Errorf("%d rows", len(audit.Rows))
	}
	p := read[itemsPage](t, c.do("GET /collections/results_audit/items?limit=1000", nil))
	if p.NumberMatched != len(audit.Rows) || p.Features[0].Properties["verdict"] == nil {
		t.Errorf("%d features of %d rows", p.NumberMatched, len(audit.Rows))
	}
}

// TestOraclePlanInAnotherSystem: the features of a stored plan are read in its
// own system as they were judged and in longitude, latitude, which brought back
// lies within a millimetre.
func TestOraclePlanInAnotherSystem(t *testing.T) {
	c := newClient(t, real)
	c.want(c.do("POST /sites?site=subdivision", sampledata.StatePlane()), 201, "")
	in := `{"inputs":{"site":"subdivision","lots":["` + sampledata.Sample + `"],"options":{"store":true,"quick":true}}}`
	type lines struct {
		Features []struct {
			Geometry struct {
				Type        string
				Coordinates json.RawMessage
			}
		}
	}
	plan := read[struct{ Network lines }](t, c.do("POST /processes/plan/execution", in))
	at := func(crs string) lines {
		return read[lines](t, c.do("GET /collections/results_plan/items?limit=1000&crs="+url.QueryEscape(crs), nil))
	}
	back, err := newFrames().between(system{uri: crs84}, systemOf(epsgURI+"2274"))
	if err != nil {
		t.Fatal(err)
	}
	own, ll, points := at(epsgURI+"2274"), at(crs84), 0
	for i, f := range plan.Network.Features {
		if f.Geometry.Type != "LineString" {
			continue
		}
		positions := func(raw json.RawMessage) (out [][]float64) {
			if err := json.Unmarshal(raw, &out); err != nil {
				t.Fatal(err)
			}
			return out
		}
		as, bs := positions(own.Features[i].Geometry.Coordinates), positions(ll.Features[i].Geometry.Coordinates)
		for k, p := range positions(f.Geometry.Coordinates) {
			a, b := as[k], bs[k]
			if !slices.Equal(a, p) {
				t.Fatalf("run %d: %v is sent as %v", i, p, a)
			}
			if q := back(orb.Point{b[0], b[1]}); math.Hypot(q[0]-p[0], q[1]-p[1]) > 0.001/0.3048 || b[0] > -80 {
				t.Errorf("run %d: %v became %v, which is %v", i, p, b, q)
			}
			points++
		}
	}
	if points < 4 {
		t.Errorf("%d positions", points)
	}
}

// TestRealAnswers: zone, check and plan of the sample in both of its systems.
func TestRealAnswers(t *testing.T) {
	c := newClient(t, real)
	for _, site := range [][]byte{sampledata.LonLat(), sampledata.StatePlane()} {
		for process, lots := range map[string]string{"zone": "null", "check": "null", "plan": `["` + sampledata.Sample + `"]`} {
			c.want(c.do("POST /processes/"+process+"/execution", `{"inputs":{"site":`+string(site)+`,"lots":`+lots+`}}`), 200, "")
		}
	}
}

// TestRealFaults: a fault deep in the site of an execution is told with its
// place in the body as sent.
func TestRealFaults(t *testing.T) {
	c := newClient(t, real)
	bad := strings.Replace(string(example(t, "site")), "[1740100.0, 640150.0]", "[1740100.0, null]", 1)
	p := read[problem](t, c.do("POST /processes/zone/execution", `{"inputs":{"site":`+bad+`}}`))
	if p.Status != 422 || len(p.Errors) == 0 || p.Errors[0].Pointer != "/inputs/site/layers/parcels/features/0/geometry/coordinates/0/2" {
		t.Errorf("%+v", p)
	}
	c.want(c.do("POST /processes/plan/execution", `{"inputs":{"site":`+string(example(t, "site"))+`,"lots":["nope"]}}`), 422, "lot-unknown")
	c.want(c.do("POST /processes/zone/execution", `{"inputs":{"site":`+string(example(t, "site"))+`,"criteria":{"pipe":{"slope":1}}}}`), 422, "criterion-unknown")
}

// TestRefutedPlan: a plan that the second piece of code refutes is not sent.
func TestRefutedPlan(t *testing.T) {
	c := newClient(t, func(o *Options) {
		o.Engine = exampleEngine{execute: func(context.Context, Request) (Answer, error) {
			return Answer{}, &planner.Refuted{Plan: []byte("SECRETPLAN"), Verification: parcels.Verification{Checks: []parcels.Check{
				{Check: "lengths", Passed: true}, {Check: "containment", Where: "R-2", Worst: parcels.Num(-0.02), Limit: parcels.Num(0.0), Detail: "the trench leaves the lot"}}}}
		}}
	})
	res := c.do("POST /processes/plan/execution", `{"inputs":{"site":{}}}`)
	p := read[problem](t, res)
	body, _ := io.ReadAll(res.Body)
	if p.Status != 500 || p.Type != "/problems/plan-not-verified" || len(p.Errors) != 1 || p.Errors[0].Object != "R-2" || strings.Contains(string(body), "SECRETPLAN") {
		t.Errorf("%s", body)
	}
}

// TestSlugsAreKnown: each slug that the rooms below give has its entry in the
// list of problems.
func TestSlugsAreKnown(t *testing.T) {
	slug := regexp.MustCompile(`Slug:\s*"([a-z0-9-]+)"`)
	err := filepath.WalkDir("../parcels", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, m := range slug.FindAllStringSubmatch(string(text), -1) {
			if kindBySlug[m[1]].Slug == "" {
				t.Errorf("%s gives %s, which errors.go does not explain", path, m[1])
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range problemKinds {
		if seen[p.Slug] || p.Title == "" || p.Meaning == "" {
			t.Errorf("%+v: twice or empty", p)
		}
		seen[p.Slug] = true
	}
}

// hostile gives the folder of the hostile files, beside the checkout or named
// by FALLWRIGHT_SHARED.
func hostile() string {
	if dir := os.Getenv("FALLWRIGHT_SHARED"); dir != "" {
		return filepath.Join(dir, "data", "hostile")
	}
	dir, _ := os.Getwd()
	for range 8 {
		if at := filepath.Join(dir, "shared", "data", "hostile"); exists(at) {
			return at
		}
		dir = filepath.Dir(dir)
	}
	return ""
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// hostileMedia is the media type of each ending; an unlisted one is refused.
var hostileMedia = map[string]string{".geojson": geoJSON, ".json": appJSON, ".gz": geoJSON, ".zip": "application/zip", ".gpkg": "application/geopackage+sqlite3", ".tif": "image/tiff", ".xml": "application/xml"}

// TestHostileCatalogue: each text of the catalogue, sent to the service as an
// import of lots, gets the status, slug and place that its index asks for, in
// its time, and stores what it says. Containers are the importer's; here they
// must be refused without harm.
func TestHostileCatalogue(t *testing.T) {
	dir := hostile()
	raw, err := os.ReadFile(filepath.Join(dir, "index.json"))
	if dir == "" || err != nil {
		t.Skip("the hostile files are not beside the checkout")
	}
	var index []struct {
		File   string
		Expect struct {
			Status, Type any
			Where        map[string]any
			Given        map[string]string
			Stored       any
			WithinMS     float64 `json:"within_ms"`
		}
	}
	if err := json.Unmarshal(raw, &index); err != nil {
		t.Fatal(err)
	}
	list := func(v any) []any {
		if l, ok := v.([]any); ok {
			return l
		}
		return []any{v}
	}
	for _, row := range index {
		t.Run(row.File, func(t *testing.T) {
			c := newClient(t, real)
			body, err := os.ReadFile(filepath.Join(dir, row.File))
			if err != nil {
				t.Fatal(err)
			}
			h := header{"Content-Type": hostileMedia[filepath.Ext(row.File)]}
			path := "POST /sites?site=hostile"
			if h["Content-Type"] != appJSON {
				path += "&layer=parcels"
			}
			if v := row.Expect.Given["content-encoding"]; v != "" {
				h["Content-Encoding"] = v
			}
			if crs := row.Expect.Given["crs"]; crs != "" {
				path += "&crs=" + crs
			}
			res := c.do(path, body, h)
			took := time.Duration(c.took.Load())
			answer, _ := io.ReadAll(res.Body)
			stored := 0
			if s := c.store.sites["hostile"]; s != nil {
				stored = s.info.Features[parcels.LayerParcels]
			}
			if ms := row.Expect.WithinMS; ms > 0 && float64(took.Milliseconds()) > ms && os.Getenv("FALLWRIGHT_TIMED") != "" { // only on a machine that does nothing else
				t.Errorf("took %s of %g ms", took, ms)
			}
			text := !slices.Contains([]string{".zip", ".gpkg", ".tif"}, filepath.Ext(row.File))
			if !text {
				if res.StatusCode >= 500 || stored != 0 {
					t.Errorf("%d, %d stored", res.StatusCode, stored)
				}
				return
			}
			if !slices.Contains(list(row.Expect.Status), any(float64(res.StatusCode))) {
				t.Errorf("got %d %.300s, want %v", res.StatusCode, answer, row.Expect.Status)
				return
			}
			if !slices.Contains(list(row.Expect.Stored), any(float64(stored))) {
				t.Errorf("%d stored, want %v", stored, row.Expect.Stored)
			}
			if res.StatusCode < 300 {
				return
			}
			var p struct {
				Type   string
				Errors []map[string]any
			}
			if err := json.Unmarshal(answer, &p); err != nil {
				t.Fatal(err)
			}
			if !slices.Contains(list(row.Expect.Type), any(strings.TrimPrefix(p.Type, "/problems/"))) {
				t.Errorf("type %s, want %v", p.Type, row.Expect.Type)
			}
			if p.Type == "/problems/media-type" {
				return
			}
			if len(p.Errors) == 0 {
				t.Fatalf("no place: %s", answer)
			}
			e := p.Errors[0]
			for k, want := range row.Expect.Where {
				switch got := e[k]; {
				case k == "near":
					at, _ := e["at"].([]any)
					near := want.([]any)
					for i := range near {
						if len(at) != 2 || math.Abs(at[i].(float64)-near[i].(float64)) > 1e-6 {
							t.Errorf("at %v, want near %v", at, near)
						}
					}
				case k == "any_of":
					if !slices.ContainsFunc(want.([]any), func(k any) bool { return e[k.(string)] != nil }) {
						t.Errorf("none of %v in %v", want, e)
					}
				case want == true && got == nil:
					t.Errorf("no %s in %v", k, e)
				case want != true && got != want:
					t.Errorf("%s is %v, want %v", k, got, want)
				}
			}
		})
	}
}
