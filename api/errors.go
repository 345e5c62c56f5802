package api

// What went wrong, as an answer: the one map from an error's kind to a status,
// the list of every problem the service answers with, and RFC 9457 bodies.

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"fallwright/parcels"
	"fallwright/parcels/planner"
)

// statusOf maps the kind of an error to its status.
var statusOf = map[parcels.Kind]int{
	parcels.Unreadable:  http.StatusBadRequest,
	parcels.Invalid:     http.StatusUnprocessableEntity,
	parcels.TooLarge:    http.StatusRequestEntityTooLarge,
	parcels.NotFound:    http.StatusNotFound,
	parcels.Conflict:    http.StatusConflict,
	parcels.Busy:        http.StatusServiceUnavailable,
	parcels.NoSpace:     http.StatusInsufficientStorage,
	parcels.Unsupported: http.StatusUnsupportedMediaType,
	parcels.Failed:      http.StatusInternalServerError,
}

// slugOf names the problem of an error that brings no fault of its own.
var slugOf = map[parcels.Kind]string{
	parcels.Unreadable:  "unreadable",
	parcels.Invalid:     "invalid-input",
	parcels.TooLarge:    "body-too-large",
	parcels.NotFound:    "not-found",
	parcels.Conflict:    "conflict",
	parcels.Busy:        "store-busy",
	parcels.NoSpace:     "no-space",
	parcels.Unsupported: "media-type",
	parcels.Failed:      "internal-error",
}

// A problemKind is one kind of problem, explained at /problems/{slug}.
type problemKind struct {
	Slug    string `json:"slug"`
	Status  int    `json:"status"`
	Title   string `json:"title"`
	Meaning string `json:"meaning"`
}

// problemKinds is every problem, in the order of their statuses.
var problemKinds = []problemKind{
	{"unreadable", 400, "The text cannot be read", "Send the document as UTF-8 JSON."},
	{"not-utf8", 400, "The text is not UTF-8", "Save the file as UTF-8 without other bytes; a byte-order mark is passed over."},
	{"json-syntax", 400, "The text is not JSON", "See offset, line and column. NaN, Infinity, comments and a second text are no JSON."},
	{"json-too-deep", 400, "The text is nested too deep", "Objects and arrays may stand in one another 64 deep."},
	{"json-duplicate-member", 400, "A member stands twice in one object", "Which of the two is meant cannot be known. Take one away."},
	{"number-out-of-range", 422, "A number is too great", "A number beyond the range of a 64-bit float cannot be worked with."},
	{"xml-doctype-not-allowed", 400, "XML with a document type", "Nothing is fetched or expanded. Take the DOCTYPE away."},
	{"parameter-invalid", 400, "A parameter is wrong", "See detail for the parameter and what it takes."},
	{"filter-invalid", 400, "A filter is wrong", "A filter is the name of a property that the collection has and the text it must equal."},
	{"key-missing", 401, "A key is needed", "Send Authorization: Bearer and a key that this service knows and that has not run out."},
	{"role-too-low", 403, "The key may not do this", "reader reads; designer also runs processes and stores sites; admin also deletes them."},
	{"host-not-allowed", 403, "The Host is not this service's", "Call the service by a name that its configuration lists under hosts."},
	{"origin-not-allowed", 403, "The page that calls is a foreign one", "Its origin must be listed under origins in the configuration."},
	{"not-found", 404, "There is no such thing", "It does not exist, or the key may not see it."},
	{"method-not-allowed", 405, "The address does not take this method", "See the Allow header and /docs."},
	{"conflict", 409, "It does not fit what is stored", "Read the stored version, then send the change again."},
	{"duplicate-id", 422, "An id stands twice", "Within a file: give each feature its own id. Against the store (409): send replace=true to put the new in place of the old."},
	{"job-not-finished", 404, "The job has no result yet", "Follow /jobs/{id} or its events."},
	{"version-conflict", 412, "Another version is stored", "Read it, then send the change with its ETag in If-Match."},
	{"body-too-large", 413, "The body is too large", "See limit. A compressed body may not unpack to more than 100 times its size."},
	{"archive-too-many-entries", 413, "Too many entries in the archive", "At most 64."},
	{"archive-too-large", 413, "The archive unpacks to too much", "At most 512 MiB and 100 times its size."},
	{"raster-too-large", 413, "The raster is too large", "See limit."},
	{"too-many-vertices", 422, "Too many vertices", "See limit; cut the data into parts."},
	{"media-type", 415, "The media type is not taken", "See detail for those that are."},
	{"invalid-input", 422, "The input is readable but wrong", "See errors for each fault and its place."},
	{"url-not-allowed", 422, "The input names an address", "The service fetches nothing. Send the data itself."},
	{"input-missing", 422, "An input is missing", "inputs.site is a site document or the name of a stored site."},
	{"input-unknown", 422, "An input is not known", "See the description of the process."},
	{"no-parcels", 422, "The lots are missing", "The layer parcels is always needed: a FeatureCollection of polygons."},
	{"lot-unknown", 422, "A lot is not known", "Name lots as the layer parcels does."},
	{"outlet-unknown", 422, "An outlet is not known", "Name it as the layers inlets and outlets do."},
	{"nothing-to-drain", 422, "There is nothing to drain", "The lots have neither intakes nor perforated runs nor drains."},
	{"option-invalid", 422, "An option is wrong", "See detail for what it takes."},
	{"criterion-unknown", 422, "A criterion is not known", "See the Criteria document for the keys."},
	{"criterion-invalid", 422, "A criterion has a wrong value", "See the Criteria document for what it takes."},
	{"criteria-syntax", 400, "The criteria cannot be read", "YAML or JSON, with the keys of the Criteria document."},
	{"property-invalid", 422, "A property has a wrong value", "See errors for what it takes."},
	{"elevation-missing", 422, "An elevation is missing", "Give z or elevation_m."},
	{"ground-conflict", 422, "Elevations contradict each other", "See errors for the shots; take the wrong one away."},
	{"vertical-datum-conflict", 422, "Two vertical datums are named", "Give the layer's vertical_shift_m to the site's datum."},
	{"rainfall-invalid", 422, "The rainfall cannot be worked with", "Give a table, a curve or an intensity."},
	{"raster-unsupported", 422, "The raster is of a kind that is not read", "See errors for what is."},
	{"check-unknown", 422, "A check is not known", "See detail for those there are."},
	{"survey-empty", 422, "The point file has no points", "One point a line: number, northing, easting, elevation, description."},
	{"survey-too-large", 413, "The point file is too large", "See limit."},
	{"axes-ambiguous", 422, "Northing and easting cannot be told apart", "Say which column is which."},
	{"elevation-unit-unknown", 422, "The unit of the elevations is not known", "Name it: m, ft or us-ft."},
	{"no-shots", 422, "Nothing was shot", "Give the inverts of what was laid: drains of status laid, or a point file."},
	{"run-unknown", 422, "A run is not known", "Name it as the plan does."},
	{"run-without-flow", 422, "A run has no flow", "Give rainfall and areas, so that there is one to work out."},
	{"plan-missing", 422, "The plan is missing", "Give the plan that was laid as inputs.plan."},
	{"plan-of-another-site", 422, "The plan is not of this site", "Plan the site under these criteria, and send that plan."},
	{"not-a-plan", 422, "This is no plan", "Send a plan as this service gave it."},
	{"not-geojson", 422, "This is no GeoJSON", "A Feature or FeatureCollection is needed."},
	{"feature-invalid", 422, "This is no feature", "See errors."},
	{"too-many-properties", 422, "Too many properties", "At most 1000 a feature."},
	{"property-too-long", 422, "A property is too long", "At most 64 KiB of text."},
	{"position-invalid", 422, "This is no position", "Two or three numbers."},
	{"mixed-dimensions", 422, "Positions with and without height", "Give all positions of a geometry the same count of numbers."},
	{"coordinate-not-finite", 422, "A coordinate is not finite", "Correct it at its source."},
	{"coordinate-out-of-range", 422, "A coordinate lies outside its system", "Name the right system in crs."},
	{"axes-swapped", 422, "Latitude and longitude are swapped", "Longitude comes first."},
	{"crs-units-mismatch", 422, "The numbers do not fit the unit of the system", "Name the system the numbers are in."},
	{"crs-conflict", 422, "Two systems are named", "Take one away."},
	{"archive-empty", 422, "The archive is empty", "Put the files of one layer into it."},
	{"csv-invalid", 422, "The CSV cannot be read", "One header line, the same count of cells in every line."},
	{"layer-unknown", 422, "There is no such layer", "Name one of the layers of a site document."},
	{"mapping-invalid", 422, "The attribute mapping cannot be used", "Map attributes of the file to properties of the layer."},
	{"ground-missing", 422, "The site has no ground", "Give survey shots, contours or a raster."},
	{"nothing-to-stake", 422, "The plan has nothing to stake", "Give a plan that has runs."},
	{"template-invalid", 422, "A template cannot be used", "See errors for the template, the line, and the fields that there are."},
	{"price-book", 422, "The price book cannot be used", "One item a line with unit and unit price."},
	{"table-unknown", 422, "The table is not there", "Name a feature table of the GeoPackage."},
	{"unit-unknown", 422, "The unit is not known", "Give m, ft or us_ft."},
	{"crs-unknown", 422, "The system is not known", "Name it as EPSG:NNNN."},
	{"ring-not-closed", 422, "A ring is not closed", "Repeat its first position at the end."},
	{"ring-too-short", 422, "A ring is too short", "At least four positions, the last equal to the first."},
	{"geometry-empty", 422, "A geometry is empty", "Give it coordinates, or take the feature away."},
	{"ring-no-area", 422, "A ring has no area", "Its positions lie on one line."},
	{"self-intersection", 422, "A ring crosses itself", "Draw it without crossing."},
	{"hole-outside-shell", 422, "A hole lies outside", "A hole must lie inside its outer ring."},
	{"hole-touches-shell", 422, "A hole shares an edge with its outer ring", "Cut it out of the outer ring."},
	{"parts-overlap", 422, "Parts overlap", "Join them, or draw them apart."},
	{"crosses-antimeridian", 422, "A ring crosses the antimeridian", "Cut it in two there."},
	{"geometry-missing", 422, "A geometry is missing", "The layer needs one for each feature."},
	{"geometry-type", 422, "The geometry is of the wrong kind", "See errors for found and wanted."},
	{"geometry-too-complex", 422, "The geometry is too complex", "Simplify it, or cut it into parts."},
	{"geometry-corrupt", 422, "A geometry is corrupt", "Export it again."},
	{"geometry-too-deep", 422, "A geometry is nested too deep", "At most 8."},
	{"archive-entry-path", 422, "An entry of the archive has a forbidden name", "Entries must be plain relative names."},
	{"archive-entry-type", 422, "An entry of the archive is no plain file", "Links, devices and encrypted entries are not taken."},
	{"shapefile-corrupt", 422, "The shapefile is corrupt", "Export it again."},
	{"geopackage-corrupt", 422, "The GeoPackage is corrupt", "Export it again."},
	{"not-geopackage", 422, "This is no GeoPackage", "It lacks the tables of one."},
	{"geopackage-schema-not-allowed", 422, "The GeoPackage holds what is not read", "Views, triggers and virtual tables are not read. Export plain tables."},
	{"raster-corrupt", 422, "The raster is corrupt", "Export it again."},
	{"dem-unit-unknown", 422, "The raster's heights have no unit", "Name it."},
	{"terrain-missing", 422, "The raster of the ground is not stored", "Import it under the name that the document gives as terrain, or take terrain out of the document."},
	{"dem-no-data", 422, "The raster has no heights under the parcel", "Use one that covers it."},
	{"idempotency-mismatch", 422, "The Idempotency-Key was used with another body", "Use a new key for a new request."},
	{"too-many-requests", 429, "Too many requests", "Wait as Retry-After says."},
	{"internal-error", 500, "The service failed", "Tell the operator the request id in instance."},
	{"plan-not-verified", 500, "The plan failed its verification", "It is not sent. Tell the operator the request id in instance."},
	{"interrupted", 503, "The service stopped while the job ran", "Send the job again."},
	{"busy", 503, "The service is busy", "Wait as Retry-After says, or send Prefer: respond-async."},
	{"store-busy", 503, "The store is busy", "Wait as Retry-After says."},
	{"store-failed", 503, "The store failed", "Tell the operator the request id in instance."},
	{"time-limit", 503, "The work took too long", "Ask for fewer lots, or send Prefer: respond-async."},
	{"no-store", 404, "This service has no store", "Send the site document itself, or start the service with a store."},
	{"no-space", 507, "There is no space left", "Reading goes on. The operator must make room."},
}

var kindBySlug = func() map[string]problemKind {
	m := make(map[string]problemKind, len(problemKinds))
	for _, p := range problemKinds {
		m[p.Slug] = p
	}
	return m
}()

// problem is the body of an error answer.
type problem struct {
	Type        string          `json:"type"`
	Title       string          `json:"title"`
	Status      int             `json:"status"`
	Detail      string          `json:"detail"`
	Instance    string          `json:"instance"`
	Errors      []parcels.Fault `json:"errors,omitempty"`
	ErrorsTotal *int            `json:"errors_total,omitempty"`

	header http.Header
}

// refusal is an error of this package's own: a slug of the list and one plain
// sentence.
type refusal struct {
	slug   string
	detail string
	fault  *parcels.Fault
	header http.Header
}

func (r *refusal) Error() string { return "api: " + r.slug + ": " + r.detail }

func refuse(slug, format string, args ...any) *refusal {
	if _, ok := kindBySlug[slug]; !ok {
		panic("api: no problem " + slug)
	}
	return &refusal{slug: slug, detail: fmt.Sprintf(format, args...)}
}

// at adds the place of a fault in the text as sent.
func (r *refusal) at(f parcels.Fault) *refusal {
	f.Slug, f.Detail = r.slug, r.detail
	r.fault = &f
	return r
}

func (r *refusal) retry(seconds int) *refusal {
	r.header = http.Header{"Retry-After": {strconv.Itoa(seconds)}}
	return r
}

const mostErrors = 100

// problemOf turns any error into what is sent. Its text never holds more of
// the cause than an input's own faults: no path, key, query or stack.
func problemOf(err error, instance string) problem {
	p := problem{Instance: instance, header: http.Header{}}
	set := func(slug string, status int, detail string) {
		k := kindBySlug[slug]
		p.Type, p.Title, p.Status, p.Detail = "/problems/"+slug, k.Title, status, detail
		if status == 0 {
			p.Status = k.Status
		}
	}
	var own *refusal
	var input *parcels.InputError
	var other *parcels.Error
	var he *echo.HTTPError
	var refuted *planner.Refuted
	switch {
	case errors.As(err, &own):
		set(own.slug, 0, own.detail)
		if own.fault != nil {
			p.Errors = []parcels.Fault{*own.fault}
			p.ErrorsTotal = parcels.Num(1)
		}
		for k, v := range own.header {
			p.header[k] = v
		}
	case errors.As(err, &refuted):
		set("plan-not-verified", 0, "The plan failed its verification and is not sent; the operator finds it under the request id.")
		total := 0
		for _, c := range refuted.Verification.Checks {
			if c.Passed {
				continue
			}
			if total++; total > mostErrors {
				continue
			}
			f := parcels.Fault{Slug: "plan-not-verified", Object: parcels.Excerpt(c.Where), Member: c.Check, Detail: strings.TrimSpace(c.Check + ": " + c.Detail)}
			if c.Worst != nil {
				f.Actual = *c.Worst
			}
			if c.Limit != nil {
				f.Limit = *c.Limit
			}
			p.Errors = append(p.Errors, f)
		}
		p.ErrorsTotal = &total
	case errors.As(err, &input):
		slug := slugOf[input.Kind]
		if len(input.Faults) > 0 {
			if f := input.Faults[0]; f.Slug != "" {
				slug = f.Slug
			}
		}
		detail := kindBySlug[slugOf[input.Kind]].Title + "."
		if len(input.Faults) > 0 {
			detail = input.Faults[0].Detail
		}
		set(slug, statusOf[input.Kind], detail)
		if p.Title == "" {
			p.Title = kindBySlug[slugOf[input.Kind]].Title
		}
		total := len(input.Faults)
		for i, f := range input.Faults {
			if i == mostErrors {
				break
			}
			if f.Slug == "" {
				f.Slug = slug
			}
			if s, ok := f.ID.(string); ok {
				f.ID = parcels.Excerpt(s)
			}
			f.Member, f.Entry, f.Table, f.Object = parcels.Excerpt(f.Member), parcels.Excerpt(f.Entry), parcels.Excerpt(f.Table), parcels.Excerpt(f.Object)
			p.Errors = append(p.Errors, f)
		}
		p.ErrorsTotal = &total
		if input.Kind == parcels.Busy {
			p.header.Set("Retry-After", "2")
		}
	case errors.As(err, &other):
		slug := slugOf[other.Kind]
		detail := kindBySlug[slug].Title + "."
		switch other.Kind {
		case parcels.NotFound, parcels.Conflict, parcels.Invalid, parcels.Unsupported:
			if other.Subject != "" {
				detail = fmt.Sprintf("%s: %s", strings.TrimSuffix(kindBySlug[slug].Title, "."), parcels.Excerpt(other.Subject)) + "."
			}
		case parcels.Failed:
			detail = "The service failed; the operator finds the cause in the log under the request id."
		}
		set(slug, statusOf[other.Kind], detail)
		if other.Kind == parcels.Busy {
			p.header.Set("Retry-After", "2")
		}
	case errors.As(err, &he):
		switch he.Code {
		case http.StatusNotFound:
			set("not-found", 404, "There is nothing at this address; see /docs.")
		case http.StatusMethodNotAllowed:
			set("method-not-allowed", 405, "The address does not take this method; see /docs.")
		case http.StatusTooManyRequests:
			set("too-many-requests", 429, "Too many requests; wait a second.")
			p.header.Set("Retry-After", "1")
		case http.StatusRequestEntityTooLarge:
			set("body-too-large", 413, "The body is too large.")
		case http.StatusUnsupportedMediaType:
			set("media-type", 415, "The media type is not taken.")
		case http.StatusBadRequest:
			set("parameter-invalid", 400, "The request cannot be read.")
		default:
			set("internal-error", 500, "The service failed; the operator finds the cause in the log under the request id.")
		}
	case errors.Is(err, context.DeadlineExceeded):
		set("time-limit", 0, "The work took longer than the time limit of a direct answer. Ask for fewer lots, or send Prefer: respond-async.")
		p.header.Set("Retry-After", "5")
	default:
		set("internal-error", 500, "The service failed; the operator finds the cause in the log under the request id.")
	}
	return p
}

// fail is echo's error handler: every error leaves by it.
func (s *service) fail(err error, c echo.Context) {
	id := requestID(c)
	p := problemOf(err, id)
	if c.Get("failure") == nil {
		c.Set("failure", err)
	}
	if c.Response().Committed {
		return
	}
	if errors.Is(err, context.Canceled) && c.Request().Context().Err() != nil {
		// the client has gone: nobody reads the answer
		c.Response().Status = 499
		return
	}
	h := c.Response().Header()
	for k, v := range p.header {
		h[k] = v
	}
	if p.Status == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", `Bearer realm="fallwright"`)
	}
	h.Del("ETag")
	h.Set("Cache-Control", "no-store")
	body, err := json.Marshal(p)
	if err != nil { // a fault's limit or actual that JSON cannot hold
		p.Errors = nil
		body, _ = json.Marshal(p)
	}
	if c.Request().Method == http.MethodHead {
		_ = c.NoContent(p.Status)
		return
	}
	_ = c.Blob(p.Status, "application/problem+json", body)
}
