package api

// What the service is made of and what it answers with. New joins the OpenAPI
// document to the handlers.

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
	"github.com/prometheus/client_golang/prometheus"

	"fallwright/openapi"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/memory"
)

// Request is one execution of a process.
type Request struct {
	// Process is zone, check, plan, ground, audit, asbuilt, steps or sheet.
	Process string
	// Site is the text of the site document. SiteName is set when it came from
	// the store, at SiteVersion.
	Site        []byte
	Scanned     document.Cut // the same, where a scan has passed it
	SiteName    string
	SiteVersion int64
	// Lots to work on; nil: all.
	Lots []string
	// Criteria and Options are JSON objects as sent, or nil; Extra holds the
	// further inputs of the process (asbuilt: plan,
	// shots; steps: plan; sheet: plan, prices, templates).
	Criteria json.RawMessage
	Options  json.RawMessage
	Extra    map[string]json.RawMessage
	// Progress may be called at any time, by one goroutine at once; never nil.
	Progress func(done, total int, note string)
}

// Answer is the result of a process.
type Answer struct {
	Body        []byte
	ContentType string // empty: the usual one of the process
	// Name is the file name of a paper; empty: none. Pages is how many files the
	// paper has where one is sent at a time; 0: it is whole.
	Name  string
	Pages int
	// Ground is the SHA-256 of the stored raster that it rests on; empty: none.
	Ground string
}

// Upload is an export of a GIS program.
type Upload struct {
	Body        []byte
	ContentType string
	Layer       parcels.Layer
	CRS         string // where the file is silent; empty: not said
}

// Imported is what was read of an Upload, whole.
type Imported struct {
	Layers []ImportedLayer
	// Warnings: what was noticed and changed nothing.
	Warnings []string
}

// ImportedLayer is one layer of an Imported.
type ImportedLayer struct {
	Layer    parcels.Layer
	CRS      string
	Features []parcels.StoredFeature
}

// Engine is what the service answers with; package main wires it.
//
// An error about an input is a *parcels.InputError whose File says which input
// it is of: "" or "site", "criteria", "lots", "options" or the name of an extra
// input, pointers and offsets within that input's own text. A plan that fails
// verification is a *parcels.InputError of kind Failed with the slug
// plan-not-verified. Work stops soon after its context ends.
type Engine interface {
	Execute(ctx context.Context, r Request) (Answer, error)
	// Read checks a site document strictly and gives the name it bears.
	Read(ctx context.Context, document []byte) (name string, err error)
	// Import reads an export other than GeoJSON strictly. A media type it does
	// not take is an error of kind Unsupported.
	Import(ctx context.Context, u Upload) (Imported, error)
}

// StoreReader is an Engine that reads stored sites itself for some processes:
// their requests bear the name and the version of a site and no document.
type StoreReader interface {
	ReadsStore(process string) bool
}

// Change is one entry of the audit log: who did what, when.
type Change struct {
	When    time.Time
	Who     string // the id of the key, or "local"
	What    string // operation: putSite, deleteSite, ...
	Site    string
	Request string // id
	Version int64
}

// Options is what the service is made of.
type Options struct {
	Engine Engine
	// Store keeps sites and results; nil: none.
	Store parcels.Store
	// Page is the map page (index.html and what it loads from assets/); nil: a
	// plain page that draws the plan of Sample.
	Page fs.FS
	// Sample is a site document for that plain page; nil: the worked example.
	Sample     []byte
	SampleLots []string
	Config     Config
	Version    string
	Log        *slog.Logger     // nil: none
	Audit      func(Change)     // nil: the log only
	Now        func() time.Time // nil: the clock
	// Memory keeps what is asked of the store again and again; nil: nothing is kept.
	Memory *memory.Memory
}

type service struct {
	Options
	echo     *echo.Echo
	jobs     *jobList
	keys     keyRing
	limits   Limits
	metrics  *metrics
	registry *prometheus.Registry
	answers  *answers // by Idempotency-Key
	lanes    lanes
	frames   *frames
	pages    *pages
	sample   func() sampleDrawing
	stopping chan struct{}
	stopOnce sync.Once
	media    map[string][]string // by operation
}

// Service is the HTTP handler with what it takes to stop it.
type Service struct {
	s *service
}

func (s *Service) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.s.echo.ServeHTTP(w, r) }

// Close stops the jobs and tells open event streams to end. It returns when the
// jobs have stopped or ctx ends.
func (s *Service) Close(ctx context.Context) error {
	s.s.stopOnce.Do(func() { close(s.s.stopping) })
	return s.s.jobs.close(ctx)
}

// New makes the service. It is an error when an address beyond loopback has no
// keys or hosts, when the configuration is wrong, or when document and handlers
// do not match.
func New(o Options) (*Service, error) {
	if o.Engine == nil {
		return nil, fmt.Errorf("api: no engine")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Sample == nil {
		o.Sample, _ = openapi.Example("site")
	}
	o.Config = o.Config.withDefaults()
	if err := o.Config.check(); err != nil {
		return nil, err
	}
	keys, err := newKeyRing(o.Config.Keys)
	if err != nil {
		return nil, err
	}
	s := &service{Options: o, limits: o.Config.Limits, keys: keys, frames: newFrames(), stopping: make(chan struct{}), media: map[string][]string{}}
	s.registry = prometheus.NewRegistry()
	s.metrics = newMetrics(s.registry)
	keep := keeper{log: o.Log, now: o.Now}
	if o.Store != nil {
		keep.store = o.Store
	}
	s.jobs = newJobList(s.limits, o.Now, s.metrics, keep)
	s.answers = newAnswers(s.limits, o.Now, keep)
	s.lanes = newLanes(s.limits)
	s.pages = newPages()
	s.sample = sync.OnceValue(s.drawSample)

	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = s.fail
	e.IPExtractor = echo.ExtractIPDirect() // a forged X-Forwarded-For changes nothing
	e.Logger.SetOutput(io.Discard)
	s.echo = e
	e.Use(s.observe, s.protect)
	if len(o.Config.Origins) > 0 {
		e.Use(middleware.CORSWithConfig(middleware.CORSConfig{
			AllowOrigins:  o.Config.Origins,
			AllowMethods:  []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodDelete},
			AllowHeaders:  []string{"Authorization", "Content-Type", "Content-Encoding", "Prefer", "Idempotency-Key", "If-Match", "If-None-Match", "Last-Event-ID"},
			ExposeHeaders: []string{"Location", "ETag", "Content-Crs", "X-Request-Id", "Retry-After", "Preference-Applied", "Content-Disposition", "Sheet-Count"},
			MaxAge:        600,
		}))
	}
	e.Use(s.identify, s.limitRate())
	e.Use(middleware.GzipWithConfig(middleware.GzipConfig{Level: 5, MinLength: 1400, Skipper: func(c echo.Context) bool {
		return strings.HasSuffix(c.Path(), "/events") || strings.HasPrefix(c.Path(), "/metrics")
	}}))

	handlers := s.operations()
	for _, op := range openapi.Operations() {
		h, ok := handlers[op.ID]
		if !ok {
			return nil, fmt.Errorf("api: the document has operation %s, which no handler answers", op.ID)
		}
		delete(handlers, op.ID)
		s.media[op.ID] = op.Media
		path := echoPath(op.Path)
		e.Add(op.Method, path, s.guard(op.ID, h.role, h.run))
		if op.Method == http.MethodGet {
			e.Add(http.MethodHead, path, s.guard(op.ID, h.role, h.run))
		}
	}
	// no address of the document: an unknown process is not found, where the
	// router would say that its method is not taken
	e.POST("/processes/:process/execution", s.process)
	for id := range handlers {
		return nil, fmt.Errorf("api: handler %s is not in the document", id)
	}
	return &Service{s}, nil
}

// echoPath writes a path of the document as echo's router wants it.
func echoPath(path string) string {
	if path == "/assets/{file}" {
		return "/assets/*"
	}
	path = strings.TrimSuffix(path, ".mvt")
	path = strings.ReplaceAll(path, "{", ":")
	return strings.ReplaceAll(path, "}", "")
}

// An operation is a handler with the least role that may call it.
type operation struct {
	role role
	run  echo.HandlerFunc
}

// operations is every handler by the operationId of the document.
func (s *service) operations() map[string]operation {
	m := map[string]operation{
		"getLandingPage": {anyone, s.landing},
		"getOpenAPI":     {anyone, s.document},
		"getDocs":        {anyone, s.docs},
		"listProblems":   {anyone, s.problems},
		"getProblem":     {anyone, s.problem},
		"getAsset":       {anyone, s.asset},
		"getConformance": {anyone, s.conformance},
		"getPositions":   {reader, s.positions},
		"getHealth":      {anyone, s.health},
		"getReadiness":   {anyone, s.ready},
		"getMetrics":     {admin, s.metricsText},

		"listProcesses": {anyone, s.processes},
		"getProcess":    {anyone, s.process},

		"listJobs":      {reader, s.listJobs},
		"getJob":        {reader, s.job},
		"dismissJob":    {designer, s.dismissJob},
		"getJobResults": {reader, s.jobResults},
		"getJobEvents":  {reader, s.jobEvents},

		"listCollections": {reader, s.collections},
		"getCollection":   {reader, s.collection},
		"getItems":        {reader, s.items},
		"getItem":         {reader, s.item},

		"listSites":       {reader, s.listSites},
		"putSite":         {designer, s.once("putSite", s.putSite)},
		"getSite":         {reader, s.site},
		"deleteSite":      {admin, s.deleteSite},
		"getSiteDocument": {reader, s.siteDocument},
		"getSiteHistory":  {reader, s.siteHistory},
		"getTile":         {reader, s.tile},
		"getSiteSheet":    {designer, s.siteSheet},
	}
	for _, p := range processList {
		m[p.operation] = operation{designer, s.once(p.operation, s.execute(p))}
	}
	return m
}
