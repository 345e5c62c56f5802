package parcels

// What a store offers, whether one file or PostGIS.

import (
	"context"
	"encoding/json"
	"io"
	"iter"
	"time"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// SiteInfo describes a stored site.
type SiteInfo struct {
	Name     string        `json:"site"`
	CRS      string        `json:"crs,omitempty"`
	Version  int64         `json:"version"`
	Changed  time.Time     `json:"changed"`
	Features map[Layer]int `json:"features"`
	Bounds   *[4]float64   `json:"bounds,omitempty"` // in the site's CRS
	// Notes are what an import changed on the way, such as the reference
	// system; set by LayerWriter.Commit only.
	Notes []string `json:"-"`
}

// StoredFeature is one feature of a layer, coordinates in the site's own CRS
// with Z kept, as GeoJSON members.
type StoredFeature struct {
	FID        int64
	ID         string // GeoJSON id, or empty
	Geometry   json.RawMessage
	Properties json.RawMessage
}

// Window asks for features of a layer. Bounds is in the site's CRS; nil: all.
type Window struct {
	Bounds *orb.Bound
	Limit  int
	After  int64             // features with FID greater than this
	Equal  map[string]string // property equals text
	ID     string            // GeoJSON id equals; empty: any
	Sort   string            // property, "-" in front for descending
}

// Result is a stored plan, audit or other result.
type Result struct {
	ID       string          `json:"id"`
	Site     string          `json:"site"`
	Kind     string          `json:"kind"` // plan, audit, zone, check, asbuilt
	Version  int64           `json:"version"`
	InputSHA string          `json:"input_sha256"` // of the site document
	Ground   string          `json:"-"`            // SHA-256 of the raster it rests on; empty: none
	Program  string          `json:"program"`
	Made     time.Time       `json:"made"`
	Inputs   json.RawMessage `json:"-"` // lots, criteria and options, to run it again
	Body     json.RawMessage `json:"-"`
	// Document is the site document that it was worked from. PutResult keeps
	// it, once for all results of the same; Result does not give it back,
	// Input does.
	Document []byte `json:"-"`
}

// Raster is a stored elevation raster: the file as it came, byte for byte.
type Raster struct {
	Site    string     `json:"site"`
	Name    string     `json:"raster"` // as the document's terrain names it
	Format  string     `json:"format"`
	CRS     string     `json:"crs"`
	Columns int        `json:"columns"`
	Rows    int        `json:"rows"`
	Bounds  [4]float64 `json:"bounds"` // in its own CRS
	// ElevationUnit is the length of one unit of its elevations.
	ElevationUnit unit.Length `json:"elevation_unit_m"`
	Bytes         int64       `json:"bytes"`
	SHA256        string      `json:"sha256"`
	Stored        time.Time   `json:"stored"`
}

// RasterFile reads the bytes of a stored raster as they were when it was
// opened. It is safe for use by several goroutines at once, and must be closed.
type RasterFile interface {
	io.ReaderAt
	io.Closer
}

// Job is work that a client has asked for and does not wait for. What Status
// and Request say is the service's; the store keeps them.
type Job struct {
	ID      string
	Owner   string // who may see it
	Site    string // a stored site that it is about, or empty: goes with it when that is deleted
	State   string // for Jobs of a state; the service's words
	Created time.Time
	Updated time.Time
	Expires *time.Time      // when Expire takes it; nil: never
	Status  json.RawMessage // the status document
	Request json.RawMessage // what it takes to start it again
	Media   string          // of the body
	Body    []byte          // the result; nil: none yet
	Bytes   int64           // of the body; set by the store
}

// Reply is the answer to a write that came with an idempotency key.
type Reply struct {
	Key     string // with its owner; no NUL in it
	SHA256  string // of the request
	Made    time.Time
	Expires time.Time
	Status  int
	Header  json.RawMessage
	Body    []byte
}

// Edit is one entry of a site's history.
type Edit struct {
	Version int64     `json:"version"`
	When    time.Time `json:"when"`
	Who     string    `json:"who"`
	What    string    `json:"what"`
}

// LayerWriter takes the features of one layer of one import. Commit makes them
// and their layer visible at once; without it nothing is kept.
type LayerWriter interface {
	// Expect refuses with Kind Conflict where the site is not at this version;
	// nobody else writes to it until the import ends. 0 takes any.
	Expect(ctx context.Context, version int64) error
	Add(ctx context.Context, f StoredFeature) error
	Commit(ctx context.Context, who string) (SiteInfo, error)
	Abort() error
}

// RasterStore keeps the elevation rasters of sites.
type RasterStore interface {
	// PutRaster stores the bytes of a raster in place of one of that name, as
	// an edit of the site. Its SHA256 is worked out from src; one that is given
	// must agree. Site must be there; version as for PutSite.
	PutRaster(ctx context.Context, r Raster, src io.ReaderAt, version int64, who string) (Raster, error)
	Rasters(ctx context.Context, site string) ([]Raster, error)
	// OpenRaster opens one by its name, or by its SHA-256 where it has been
	// replaced or deleted and a result still rests on it.
	OpenRaster(ctx context.Context, site, name string) (Raster, RasterFile, error)
	DeleteRaster(ctx context.Context, site, name string, version int64, who string) error
}

// JobStore keeps jobs and replies across restarts. Its writes are no edits.
type JobStore interface {
	// PutJob stores a job, in place of the one with its ID.
	PutJob(ctx context.Context, j Job) error
	Job(ctx context.Context, id string) (Job, error)
	// Jobs lists those of an owner (empty: all) in a state (empty: any), oldest
	// first, without Request and Body.
	Jobs(ctx context.Context, owner, state string) ([]Job, error)
	// DeleteJob takes one out; one that is not there is no error.
	DeleteJob(ctx context.Context, id string) error
	// PutReply stores a reply, in place of the one with its key.
	PutReply(ctx context.Context, r Reply) error
	Reply(ctx context.Context, key string) (Reply, error)
	// Expire takes out the jobs and replies whose time is before now, and says
	// how many.
	Expire(ctx context.Context, now time.Time) (int, error)
}

// Store keeps sites, rasters, results and jobs. Every write is all or nothing
// and durable when it returns. A version that is not the stored one refuses a
// write with Kind Conflict; version 0 takes any.
type Store interface {
	// Sites lists what is stored, by name; what the entries point to (Features,
	// Bounds) may be shared with other callers and is not written to.
	Sites(ctx context.Context) ([]SiteInfo, error)
	Site(ctx context.Context, name string) (SiteInfo, error)
	// PutSite stores a whole site document (layers into their tables, the rest
	// as its settings) under the name.
	PutSite(ctx context.Context, name string, document []byte, version int64, who string) (SiteInfo, error)
	// Document gives the site document back, byte for byte where it was put
	// whole, else put together from its layers and rasters.
	Document(ctx context.Context, name string) ([]byte, error)
	// Head gives the document without the features of its layers, which Features
	// gives.
	Head(ctx context.Context, name string) ([]byte, error)
	// DeleteSite takes a site out with its rasters, results and jobs; its
	// history stays.
	DeleteSite(ctx context.Context, name string, who string) error
	// PutSettings puts members beside the layers into the document (criteria,
	// rainfall, terrain, ...), null takes one out; all else stays as it is.
	// What they say is the caller's to check.
	PutSettings(ctx context.Context, name string, members map[string]json.RawMessage, version int64, who string) (SiteInfo, error)
	History(ctx context.Context, name string) ([]Edit, error)

	// Write begins an import into one layer; crs is that of the features.
	// Where the site's other layers are in another system they are brought into
	// that, and Commit's Notes say so. Replace drops what the layer held.
	Write(ctx context.Context, site string, layer Layer, crs string, replace bool) (LayerWriter, error)
	Features(ctx context.Context, site string, layer Layer, w Window) iter.Seq2[StoredFeature, error]
	Count(ctx context.Context, site string, layer Layer, w Window) (int, error)

	PutResult(ctx context.Context, r Result) (Result, error)
	Results(ctx context.Context, site, kind string) ([]Result, error)
	Result(ctx context.Context, id string) (Result, error)
	// Input gives the site document that a result was worked from, NotFound
	// where it was put without.
	Input(ctx context.Context, r Result) ([]byte, error)

	RasterStore
	JobStore

	Ready(ctx context.Context) error
	Close() error
}
