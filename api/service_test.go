package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/config"
	"github.com/pb33f/libopenapi-validator/schema_validation"

	"fallwright/openapi"
	"fallwright/parcels"
)

// exampleEngine answers with the worked examples of the document. It stands in
// for the real one, which package main wires; what is tested here is the
// service around it.
type exampleEngine struct {
	execute func(ctx context.Context, r Request) (Answer, error)
	read    func(document []byte) (string, error)
}

func (e exampleEngine) Execute(ctx context.Context, r Request) (Answer, error) {
	if e.execute != nil {
		return e.execute(ctx, r)
	}
	if r.Process == "asbuilt" {
		return Answer{Body: []byte(`{"status":"preliminary","verdict":"feasible","shift_m":null,"runs":[],"findings":[],"cautions":["c"]}`)}, nil
	}
	if r.Process == "ground" {
		return Answer{Body: []byte(`{"type":"FeatureCollection","features":[],"status":"preliminary","interval_m":0.1524,"relief":{"corner":[0,0],"cell_m":1,"columns":0,"rows":0,"base_m":0,"heights_mm":[]},"cautions":["c"]}`)}, nil
	}
	if r.Process == "steps" {
		return Answer{Body: []byte(`{"status":"preliminary","runs":[],"cautions":["c"]}`)}, nil
	}
	if r.Process == "sheet" {
		return Answer{Body: append([]byte("%PDF-1.3\n% "), r.Options...), Name: "a \"b\".pdf", Pages: 3}, nil
	}
	b, err := openapi.Example(r.Process)
	return Answer{Body: b}, err
}

func (e exampleEngine) Read(_ context.Context, document []byte) (string, error) {
	if e.read != nil {
		return e.read(document)
	}
	var d struct {
		Site   string
		Layers map[string]any
	}
	if err := json.Unmarshal(document, &d); err != nil {
		return "", err
	}
	if d.Layers["parcels"] == nil {
		return "", &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "not-geojson", Pointer: "/layers/parcels", Detail: "The layer parcels is missing."}}}
	}
	return d.Site, nil
}

func (e exampleEngine) Import(_ context.Context, u Upload) (Imported, error) {
	return Imported{}, &parcels.Error{Kind: parcels.Unsupported, Op: "import", Subject: u.ContentType}
}

var described = sync.OnceValue(func() validator.Validator {
	doc, err := libopenapi.NewDocument(openapi.JSON())
	if err != nil {
		panic(err)
	}
	v, errs := validator.NewValidator(doc, config.WithoutSecurityValidation())
	if len(errs) > 0 {
		panic(errs[0])
	}
	return v
})

// A client calls the service in process and holds every answer against the
// document.
type client struct {
	t     testing.TB
	s     *Service
	store *memoryStore
	took  atomic.Int64 // nanoseconds of the last request
}

func newClient(t testing.TB, change ...func(*Options)) *client {
	t.Helper()
	store := newMemoryStore()
	o := Options{Engine: exampleEngine{}, Store: store, Version: "test"}
	for _, f := range change {
		f(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := s.Close(ctx); err != nil {
			t.Error(err)
		}
	})
	return &client{t: t, s: s, store: store}
}

type header map[string]string

// do sends a request; method and path as "GET /sites". Header Host sets the
// host.
func (c *client) do(what string, body any, headers ...header) *http.Response {
	c.t.Helper()
	method, path, _ := strings.Cut(what, " ")
	var text []byte
	switch b := body.(type) {
	case nil:
	case []byte:
		text = b
	case string:
		text = []byte(b)
	default:
		text, _ = json.Marshal(b)
	}
	r := httptest.NewRequest(method, "http://127.0.0.1:8080"+path, bytes.NewReader(text))
	if body != nil {
		r.Header.Set("Content-Type", appJSON)
	}
	for _, h := range headers {
		for k, v := range h {
			if k == "Host" {
				r.Host = v
			} else {
				r.Header.Set(k, v)
			}
		}
	}
	w := httptest.NewRecorder()
	start := time.Now()
	c.s.ServeHTTP(w, r)
	c.took.Store(int64(time.Since(start)))
	res := w.Result()
	answer, _ := io.ReadAll(res.Body)
	res.Body = io.NopCloser(bytes.NewReader(answer))
	c.hold(r, res, answer)
	res.Body = io.NopCloser(bytes.NewReader(answer))
	return res
}

// hold validates an answer against the document.
func (c *client) hold(r *http.Request, res *http.Response, answer []byte) {
	c.t.Helper()
	media, _, _ := strings.Cut(res.Header.Get("Content-Type"), ";")
	if res.StatusCode >= 400 && r.Method != http.MethodHead {
		if media != "application/problem+json" {
			c.t.Errorf("%s %s: %d as %q, not a problem: %s", r.Method, r.URL, res.StatusCode, media, answer)
		}
		var p struct{ Type, Title, Detail, Instance string }
		if err := json.Unmarshal(answer, &p); err != nil || p.Title == "" || p.Detail == "" || p.Instance == "" || kindBySlug[strings.TrimPrefix(p.Type, "/problems/")].Slug == "" {
			c.t.Errorf("%s %s: problem of no known kind: %s", r.Method, r.URL, answer)
		}
	}
	if res.Header.Get("X-Content-Type-Options") != "nosniff" || strings.Contains(res.Header.Get("Content-Security-Policy"), "unsafe") || res.Header.Get("X-Request-Id") == "" {
		c.t.Errorf("%s %s: headers %v", r.Method, r.URL, res.Header)
	}
	if res.Header.Get("Content-Encoding") != "" || r.Method == http.MethodHead || r.Method == http.MethodOptions || res.StatusCode == 404 || res.StatusCode == 405 {
		return
	}
	v := r.Clone(context.Background())
	v.Body = nil
	ok, faults := described().ValidateHttpResponse(v, res)
	if ok {
		return
	}
	for _, f := range faults {
		c.t.Errorf("%s %s: %d %s: answer does not match the document: %s %s", r.Method, r.URL, res.StatusCode, media, f.Message, f.Reason)
		for i, s := range f.SchemaValidationErrors {
			if i < 5 {
				c.t.Errorf("  %s %s", s.KeywordLocation, s.Reason)
			}
		}
	}
}

// holdAs validates a body against a schema of the document by name, where the
// operation names none.
func (c *client) holdAs(res *http.Response, schema string) {
	c.t.Helper()
	body, _ := io.ReadAll(res.Body)
	res.Body = io.NopCloser(bytes.NewReader(body))
	doc, err := libopenapi.NewDocument(openapi.JSON())
	if err != nil {
		c.t.Fatal(err)
	}
	model, err := doc.BuildV3Model()
	if err != nil {
		c.t.Fatal(err)
	}
	ok, faults := schema_validation.NewSchemaValidator().ValidateSchemaBytes(model.Model.Components.Schemas.GetOrZero(schema).Schema(), body)
	for _, f := range faults {
		for _, s := range f.SchemaValidationErrors {
			c.t.Errorf("%s: %s %s", schema, s.KeywordLocation, s.Reason)
		}
	}
	if !ok {
		c.t.Errorf("the answer is no %s", schema)
	}
}

func (c *client) want(res *http.Response, status int, slug string) {
	c.t.Helper()
	body, _ := io.ReadAll(res.Body)
	res.Body = io.NopCloser(bytes.NewReader(body))
	if res.StatusCode != status || slug != "" && !bytes.Contains(body, []byte(`"type":"/problems/`+slug+`"`)) {
		c.t.Errorf("got %d %.600s, want %d %s", res.StatusCode, body, status, slug)
	}
}

func read[T any](t testing.TB, res *http.Response) T {
	t.Helper()
	var v T
	body, _ := io.ReadAll(res.Body)
	res.Body = io.NopCloser(bytes.NewReader(body))
	if err := json.Unmarshal(body, &v); err != nil {
		t.Fatalf("%v: %.300s", err, body)
	}
	return v
}

func example(t testing.TB, name string) []byte {
	t.Helper()
	b, err := openapi.Example(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestEveryOperation: each address of the document answers, as JSON and as a
// page, and the answer is what the document says. New itself refuses a handler
// without an address and the reverse.
func TestEveryOperation(t *testing.T) {
	c := newClient(t)
	c.want(c.do("POST /sites", example(t, "site")), 201, "")
	r := c.do("POST /processes/zone/execution", `{"inputs":{"site":"Alder Bend","options":{"store":true}}}`)
	c.want(r, 200, "")
	c.want(c.do("POST /processes/plan/execution", `{"inputs":{"site":"Alder Bend","options":{"store":true}}}`), 200, "")
	job := read[statusInfo](t, c.do("POST /processes/audit/execution", `{"inputs":{"site":"Alder Bend"}}`, header{"Prefer": "respond-async"}))
	waitFor(t, func() bool { return read[statusInfo](t, c.do("GET /jobs/"+job.JobID, nil)).Status == successful })
	for _, op := range openapi.Operations() {
		if op.Method != "GET" {
			continue
		}
		path := strings.NewReplacer("{slug}", "ring-not-closed", "{file}", "style.css", "{process}", "plan", "{job}", job.JobID,
			"{collection}", "parcels", "{feature}", "1", "{site}", "Alder%20Bend", "{z}/{x}/{y}.mvt", "0/0/0.mvt").Replace(op.Path)
		if op.ID == "getPositions" { // it cannot do without
			path += "?crs=EPSG:2274&at=1968500,0"
		}
		for _, accept := range []string{"application/json", "text/html"} {
			res := c.do("GET "+path, nil, header{"Accept": accept})
			if res.StatusCode != 200 {
				c.want(res, 200, "")
			}
			if accept == "text/html" && (op.Path == "/" || op.Path == "/docs" || strings.HasPrefix(op.Path, "/co") || op.Path == "/processes" || op.Path == "/jobs" || op.Path == "/sites") && !strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") {
				t.Errorf("%s: no page but %s", path, res.Header.Get("Content-Type"))
			}
		}
		if res := c.do("HEAD "+path, nil); res.StatusCode != 200 {
			t.Errorf("HEAD %s: %d", path, res.StatusCode)
		}
	}
	for _, kind := range []string{"zone", "plan"} {
		items := read[struct{ NumberMatched, NumberReturned int }](t, c.do("GET /collections/results_"+kind+"/items", nil))
		if items.NumberMatched == 0 {
			t.Errorf("no stored %s", kind)
		}
	}
	plan := []byte(`{"inputs":{"site":` + string(example(t, "site")) + `,"plan":` + string(example(t, "plan")) + `}}`)
	c.want(c.do("POST /processes/asbuilt/execution", plan), 200, "")
	c.want(c.do("POST /processes/check/execution", example(t, "execute")), 200, "")
	c.want(c.do("DELETE /jobs/"+job.JobID, nil), 200, "")
	c.want(c.do("GET /jobs/"+job.JobID, nil), 404, "not-found")
	c.want(c.do("DELETE /sites/Alder%20Bend", nil), 204, "")
	c.want(c.do("GET /sites/Alder%20Bend", nil), 404, "not-found")
	c.want(c.do("GET /nowhere", nil), 404, "not-found")
	c.want(c.do("PATCH /sites", nil), 405, "method-not-allowed")
}

func waitFor(t testing.TB, f func() bool) {
	t.Helper()
	for end := time.Now().Add(5 * time.Second); !f(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("it did not come")
		}
	}
}

func TestRequestReachesTheEngine(t *testing.T) {
	var got Request
	c := newClient(t, func(o *Options) {
		o.Engine = exampleEngine{execute: func(_ context.Context, r Request) (Answer, error) {
			got = r
			return Answer{Body: example(t, "zone")}, nil
		}}
	})
	c.want(c.do("POST /processes/zone/execution", `{"inputs":{"site":{"layers":{}},"lots":["a",7],"criteria":{"storm":{}},"options":{"pipe":"solid"}}}`), 200, "")
	if string(got.Site) != `{"layers":{}}` || fmt.Sprint(got.Lots) != "[a 7]" || string(got.Criteria) != `{"storm":{}}` || string(got.Options) != `{"pipe":"solid"}` || got.Process != "zone" {
		t.Errorf("got %+v", got)
	}
	// a qualified value of OGC API - Processes
	c.want(c.do("POST /processes/zone/execution", `{"inputs":{"site":{"value":{"layers":{"parcels":1}}}}}`), 200, "")
	if string(got.Site) != `{"layers":{"parcels":1}}` {
		t.Errorf("got %s", got.Site)
	}
}

// TestHandFaultPlaces: the places of an input's faults are moved to the body.
// The site text begins at byte 20 of the body, on its second line, column 10.
func TestHandFaultPlaces(t *testing.T) {
	c := newClient(t, func(o *Options) {
		o.Engine = exampleEngine{execute: func(_ context.Context, r Request) (Answer, error) {
			return Answer{}, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "self-intersection", Layer: "parcels", Feature: parcels.Num(2), ID: strings.Repeat("<", 200),
				Pointer: "/layers/parcels/features/2", Offset: parcels.Num(int64(3)), Detail: "Feature 2 crosses itself."}}}
		}}
	})
	body := "{\"inputs\":\n{\"site\": {\"layers\":{}}}}"
	at := strings.Index(body, `{"layers"`)
	p := read[problem](t, c.do("POST /processes/zone/execution", body))
	if p.Status != 422 || len(p.Errors) != 1 || *p.ErrorsTotal != 1 {
		t.Fatalf("%+v", p)
	}
	f := p.Errors[0]
	if f.Pointer != "/inputs/site/layers/parcels/features/2" || *f.Offset != int64(at+3) || *f.Line != 2 || *f.Column != at+3-10 {
		t.Errorf("%s at %d, line %d column %d", f.Pointer, *f.Offset, *f.Line, *f.Column)
	}
	if id := f.ID.(string); len([]rune(id)) > 81 {
		t.Errorf("id is %d long", len(id))
	}
}

func TestManyFaults(t *testing.T) {
	c := newClient(t, func(o *Options) {
		o.Engine = exampleEngine{execute: func(context.Context, Request) (Answer, error) {
			e := &parcels.InputError{Kind: parcels.Invalid}
			for i := range 250 {
				e.Faults = append(e.Faults, parcels.Fault{Slug: "ring-not-closed", Feature: &i, Detail: "x"})
			}
			return Answer{}, e
		}}
	})
	p := read[problem](t, c.do("POST /processes/plan/execution", `{"inputs":{"site":{}}}`))
	if len(p.Errors) != 100 || *p.ErrorsTotal != 250 {
		t.Errorf("%d of %d", len(p.Errors), *p.ErrorsTotal)
	}
}

func TestKindsHaveStatuses(t *testing.T) {
	want := map[parcels.Kind]int{parcels.Unreadable: 400, parcels.Invalid: 422, parcels.TooLarge: 413, parcels.NotFound: 404, parcels.Conflict: 409,
		parcels.Busy: 503, parcels.NoSpace: 507, parcels.Unsupported: 415, parcels.Failed: 500}
	for k, status := range want {
		p := problemOf(fmt.Errorf("deep: %w", &parcels.Error{Kind: k, Op: "store: open", Subject: "x", Err: errors.New("/var/secret.db: dsn=postgres://u:p@h")}), "id")
		if p.Status != status || strings.Contains(p.Detail, "secret") || p.Title == "" {
			t.Errorf("%s: %d %q", k, p.Status, p.Detail)
		}
	}
	if len(statusOf) != len(want) {
		t.Error("a kind has no row here")
	}
}

// TestRefusedRequests: a table of what a request can have wrong with it.
func TestRefusedRequests(t *testing.T) {
	c := newClient(t, func(o *Options) { o.Config.Limits.BodyBytes = 4096 })
	c.want(c.do("POST /sites", example(t, "site")), 201, "")
	zone := "POST /processes/zone/execution"
	for _, row := range []struct {
		what   string
		body   any
		h      header
		status int
		slug   string
		detail string // part of the answer
	}{
		{zone, `{"inputs":{"site":{}}`, nil, 400, "json-syntax", `"offset":21`},
		{zone, "{\n\"inputs\": NaN}", nil, 400, "json-syntax", `"line":2,"column":11`},
		{zone, `{"inputs":{"site":{}}} {}`, nil, 400, "json-syntax", `"offset":23`},
		{zone, `{"inputs":{"site":{}},"inputs":{}}`, nil, 400, "json-duplicate-member", `"member":"inputs"`},
		{zone, "{\"inputs\":\"\xe9\"}", nil, 400, "not-utf8", `"offset":11`},
		{zone, `{"inputs":{"site":{"a":` + strings.Repeat("[", 70) + strings.Repeat("]", 70) + `}}}`, nil, 400, "json-too-deep", `"limit":64`},
		{zone, `[]`, nil, 422, "invalid-input", ""},
		{zone, `{}`, nil, 422, "input-missing", `"/inputs"`},
		{zone, `{"inputs":{}}`, nil, 422, "input-missing", `"/inputs/site"`},
		{zone, `{"inputs":{"site":7}}`, nil, 422, "invalid-input", ""},
		{zone, `{"inputs":{"site":{},"lot":"x"}}`, nil, 422, "input-unknown", "lot"},
		{zone, `{"inputs":{"site":{},"lots":"x"}}`, nil, 422, "invalid-input", "/inputs/lots"},
		{zone, `{"inputs":{"site":{},"lots":[{}]}}`, nil, 422, "invalid-input", "/inputs/lots"},
		{zone, `{"inputs":{"site":{},"criteria":[]}}`, nil, 422, "invalid-input", "/inputs/criteria"},
		{zone, `{"inputs":{"site":{},"options":{"store":1}}}`, nil, 422, "invalid-input", "/inputs/options/store"},
		{zone, `{"inputs":{"site":{},"options":{"store":true}}}`, nil, 422, "invalid-input", "/inputs/options/store"},
		{zone, `{"inputs":{"site":"nowhere"}}`, nil, 404, "not-found", ""},
		{zone, `{"inputs":{"site":"../etc/passwd"}}`, nil, 404, "not-found", ""},
		{zone, `{"inputs":{"site":"http://example.com/site.json"}}`, nil, 422, "url-not-allowed", ""},
		{zone, `{"inputs":{"site":{"href":"http://169.254.169.254/"}}}`, nil, 422, "url-not-allowed", ""},
		{zone, `{"inputs":{"site":{}},"subscriber":{"successUri":"http://example.com"}}`, nil, 422, "url-not-allowed", ""},
		{zone, `{"inputs":{"site":"` + strings.Repeat("x", 5000) + `"}}`, nil, 413, "body-too-large", `"limit":4096`},
		{zone, `inputs=site`, header{"Content-Type": "application/x-www-form-urlencoded"}, 415, "media-type", "application/json"},
		{zone, `{}`, header{"Content-Type": "application/json; charset=latin1"}, 415, "media-type", "UTF-8"},
		{zone, `{}`, header{"Content-Type": ""}, 415, "media-type", ""},
		{zone, `{}`, header{"Content-Encoding": "br"}, 415, "media-type", "gzip"},
		{zone, `{}`, header{"Content-Encoding": "gzip"}, 400, "unreadable", "gzip"},
		{"GET /sites", nil, header{"Host": "evil.example"}, 403, "host-not-allowed", ""},
		{"GET /sites", nil, header{"Origin": "https://evil.example"}, 403, "origin-not-allowed", ""},
		{"GET /sites", nil, header{"Origin": "null"}, 403, "origin-not-allowed", ""},
		{zone, `{}`, header{"Sec-Fetch-Site": "cross-site"}, 403, "origin-not-allowed", ""},
		{"GET /collections?f=xml", nil, nil, 400, "parameter-invalid", ""},
		{"GET /collections/lots/items", nil, nil, 404, "not-found", ""},
		{"GET /collections/parcels/items?limit=0", nil, nil, 400, "parameter-invalid", "limit"},
		{"GET /collections/parcels/items?limit=ten", nil, nil, 400, "parameter-invalid", "limit"},
		{"GET /collections/parcels/items?bbox=1,2,3", nil, nil, 400, "parameter-invalid", "bbox"},
		{"GET /collections/parcels/items?bbox=1,2,3,NaN", nil, nil, 400, "parameter-invalid", "bbox"},
		{"GET /collections/parcels/items?bbox=1,9,3,4", nil, nil, 400, "parameter-invalid", "bbox"},
		{"GET /collections/parcels/items?crs=EPSG:27700", nil, nil, 400, "parameter-invalid", "crs"},
		{"GET /collections/parcels/items?cursor=x", nil, nil, 400, "parameter-invalid", "cursor"},
		{"GET /collections/parcels/items?apn%27%20OR%201=1", nil, nil, 400, "filter-invalid", ""},
		{"GET /collections/parcels/items?owner=x", nil, nil, 400, "filter-invalid", "owner"},
		{"GET /collections/parcels/items?lot=1&lot=2", nil, nil, 400, "filter-invalid", ""},
		{"GET /collections/parcels/items/99", nil, nil, 404, "not-found", ""},
		{"GET /collections/parcels/items/%2e%2e%2fetc", nil, nil, 404, "not-found", ""},
		{"GET /sites/..%2f..%2fetc%2fpasswd", nil, nil, 404, "not-found", ""},
		{"GET /assets/../errors.go", nil, nil, 404, "not-found", ""},
		{"GET /assets/%2e%2e/page.go", nil, nil, 404, "not-found", ""},
		{"GET /assets/..%5cpage.go", nil, nil, 404, "not-found", ""},
		{"GET /assets/a%00b", nil, nil, 404, "not-found", ""},
		{"GET //evil.example/", nil, nil, 404, "not-found", ""},
		{"GET /sites/Alder%20Bend/tiles/30/0/0.mvt", nil, nil, 404, "not-found", ""},
		{"GET /sites/Alder%20Bend/tiles/2/4/0.mvt", nil, nil, 404, "not-found", ""},
		{"GET /jobs/nope", nil, nil, 404, "not-found", ""},
		{"GET /jobs?limit=-1", nil, nil, 400, "parameter-invalid", ""},
		{"GET /processes/nope", nil, nil, 404, "not-found", ""},
		{"POST /processes/nope/execution", `{}`, nil, 404, "not-found", ""},
		{"POST /processes/asbuilt/execution", `{"inputs":{"site":{}}}`, nil, 422, "input-missing", "plan"},
		{"POST /sites", example(t, "site"), nil, 409, "conflict", "replace=true"},
		{"POST /sites", `[1,2]`, nil, 422, "not-geojson", `"pointer":""`},
		{"POST /sites?site=a%2Fb", `{"layers":{"parcels":{}}}`, nil, 400, "parameter-invalid", ""},
		{"POST /sites", `{"layers":{"parcels":{}}}`, nil, 400, "parameter-invalid", "name"},
		{"POST /sites?site=x&layer=nope", `{"type":"FeatureCollection"}`, nil, 400, "parameter-invalid", "layer"},
		{"POST /sites?sites=x", `{}`, nil, 400, "parameter-invalid", "sites"},
		{"POST /sites?site=x", `<a/>`, header{"Content-Type": "application/xml"}, 415, "media-type", ""},
		{"POST /sites?site=x", `x`, header{"Content-Type": "application/zip"}, 415, "media-type", ""},
		{"POST /sites", example(t, "site"), header{"If-Match": `W/"v9"`}, 412, "version-conflict", ""},
		{"GET /jobs/x/events", nil, nil, 404, "not-found", ""},
	} {
		h := row.h
		res := c.do(row.what, row.body, h)
		body, _ := io.ReadAll(res.Body)
		if res.StatusCode != row.status || !bytes.Contains(body, []byte(`"/problems/`+row.slug+`"`)) || !bytes.Contains(body, []byte(row.detail)) {
			t.Errorf("%s %.60v %v: got %d %s, want %d %s %s", row.what, row.body, row.h, res.StatusCode, body, row.status, row.slug, row.detail)
		}
	}
	if c.store.sites["Alder Bend"].info.Version != 1 || len(c.store.sites) != 1 {
		t.Error("a refused request changed the store")
	}
}

// TestLogHoldsNoData: the log has an id and an operation, never a path, a query,
// a property or a key.
func TestLogHoldsNoData(t *testing.T) {
	var log bytes.Buffer
	key, hash := NewKey()
	c := newClient(t, func(o *Options) {
		o.Log = slog.New(slog.NewJSONHandler(&log, nil))
		o.Config.Keys = []Key{{ID: "ana", Hash: hash, Role: "admin", Sites: []string{"*"}}}
	})
	c.want(c.do("POST /sites", example(t, "site"), header{"Authorization": "Bearer " + key}), 201, "")
	c.want(c.do("GET /collections/parcels/items?lot=12&secret=tulip", nil, header{"Authorization": "Bearer " + key}), 400, "filter-invalid")
	text := log.String()
	for _, bad := range []string{key, "tulip", "1740000", "I-1", "lot=12"} {
		if strings.Contains(text, bad) {
			t.Errorf("the log holds %q: %s", bad, text)
		}
	}
	if !strings.Contains(text, `"operation":"getItems","status":400`) || !strings.Contains(text, `"who":"ana","what":"putSite","site":"Alder Bend"`) {
		t.Errorf("log: %s", text)
	}
}
