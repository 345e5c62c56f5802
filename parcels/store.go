package parcels

// What a store offers, whether one file or PostGIS.

import (
	"context"
	"encoding/json"
	"iter"
	"time"

	"github.com/paulmach/orb"
)

// SiteInfo describes a stored site.
type SiteInfo struct {
	Name     string        `json:"site"`
	CRS      string        `json:"crs,omitempty"`
	Version  int64         `json:"version"`
	Changed  time.Time     `json:"changed"`
	Features map[Layer]int `json:"features"`
	Bounds   *[4]float64   `json:"bounds,omitempty"` // in the site's CRS
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
	InputSHA string          `json:"input_sha256"`
	Program  string          `json:"program"`
	Made     time.Time       `json:"made"`
	Inputs   json.RawMessage `json:"-"` // what it takes to run it again
	Body     json.RawMessage `json:"-"`
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
	Add(ctx context.Context, f StoredFeature) error
	Commit(ctx context.Context, who string) (SiteInfo, error)
	Abort() error
}

// Store keeps sites, results and jobs. Every write is all or nothing and
// durable when it returns. A version that is not the stored one refuses a
// write with Kind Conflict; version 0 takes any.
type Store interface {
	Sites(ctx context.Context) ([]SiteInfo, error)
	Site(ctx context.Context, name string) (SiteInfo, error)
	// PutSite stores a whole site document (layers into their tables, the rest
	// as its settings) under the name.
	PutSite(ctx context.Context, name string, document []byte, version int64, who string) (SiteInfo, error)
	// Document gives the site document back, byte for byte where it was put
	// whole, else put together from its layers.
	Document(ctx context.Context, name string) ([]byte, error)
	DeleteSite(ctx context.Context, name string, who string) error
	History(ctx context.Context, name string) ([]Edit, error)

	// Write begins an import into one layer; crs is that of the features.
	// Replace drops what the layer held.
	Write(ctx context.Context, site string, layer Layer, crs string, replace bool) (LayerWriter, error)
	Features(ctx context.Context, site string, layer Layer, w Window) iter.Seq2[StoredFeature, error]
	Count(ctx context.Context, site string, layer Layer, w Window) (int, error)

	PutResult(ctx context.Context, r Result) (Result, error)
	Results(ctx context.Context, site, kind string) ([]Result, error)
	Result(ctx context.Context, id string) (Result, error)

	Ready(ctx context.Context) error
	Close() error
}
