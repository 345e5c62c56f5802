package postgis

// Whole documents and imports of layers, each one transaction.

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/lib/pq"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

// begin starts a write to a site; others to the same site wait.
func (s *Store) begin(ctx context.Context, name string) (*sql.Tx, error) {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	if _, err = tx.ExecContext(ctx, fmt.Sprintf("SET LOCAL lock_timeout = %d", wait.Milliseconds())); err == nil {
		_, err = tx.ExecContext(ctx, "SELECT pg_advisory_xact_lock(hashtextextended($1, 0))", "fallwright site "+name)
	}
	if err != nil {
		_ = tx.Rollback() // the first error is told
		return nil, err
	}
	return tx, nil
}

func (s *Store) write(ctx context.Context, op, name string, f func(tx *sql.Tx) error) error {
	tx, err := s.begin(ctx, name)
	if err != nil {
		return fault(op, name, err)
	}
	if err := f(tx); err != nil {
		_ = tx.Rollback() // the first error is told
		return fault(op, name, err)
	}
	return fault(op, name, tx.Commit())
}

// loader copies features into one layer within a transaction.
type loader struct {
	tx    *sql.Tx
	copy  *sql.Stmt
	site  string
	layer parcels.Layer
	srs   uint32
	types []string
	count int
	box   wkb.Box
	buf   []byte
}

func newLoader(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer, crs string) (*loader, error) {
	srs, err := srsID(crs)
	if err != nil {
		return nil, err
	}
	w := &loader{tx: tx, site: site, layer: l, srs: srs, types: document.GeometryTypes(l), box: wkb.NoBox()}
	w.copy, err = tx.PrepareContext(ctx, pq.CopyInSchema("fallwright", string(l), "site", "feature_id", "geom", "properties"))
	return w, err
}

// srsID is the number of a system, "" being longitude, latitude.
func srsID(crs string) (uint32, error) {
	if crs == "" {
		return 4326, nil
	}
	n, err := strconv.ParseUint(strings.TrimPrefix(crs, "EPSG:"), 10, 32)
	return uint32(n), err
}

// extended is the binary with the system in it, as PostGIS reads it.
func extended(iso []byte, srs uint32) []byte {
	out := make([]byte, 0, len(iso)+4)
	out = append(out, iso[0])
	out = binary.LittleEndian.AppendUint32(out, binary.LittleEndian.Uint32(iso[1:])|0x20000000)
	out = binary.LittleEndian.AppendUint32(out, srs)
	return append(out, iso[5:]...)
}

func (w *loader) add(ctx context.Context, f parcels.StoredFeature) error {
	bad := func(slug, detail string) error {
		n := w.count
		ft := parcels.Fault{Slug: slug, Layer: string(w.layer), Feature: &n, Detail: fmt.Sprintf("Layer %s: feature %d: %s.", w.layer, n, detail)}
		if f.ID != "" {
			ft.ID = f.ID
		}
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{ft}}
	}
	var geom, id, props any
	bin, box, _, err := wkb.FromGeoJSON(w.buf[:0], f.Geometry)
	w.buf = bin
	var ge *wkb.Error
	switch {
	case errors.As(err, &ge):
		return bad(ge.Slug, ge.Detail)
	case err != nil:
		return err
	case len(bin) > 0:
		if kind := wkb.KindOf(bin); !slices.Contains(w.types, kind) {
			return bad("geometry-type", "a "+kind+" is not taken here")
		}
		if box.Empty() {
			return bad("geometry-empty", "the geometry is empty")
		}
		w.box = w.box.Join(box)
		geom = hex.EncodeToString(extended(bin, w.srs))
	}
	if f.ID != "" {
		id = f.ID
	}
	if len(f.Properties) > 0 && string(f.Properties) != "null" {
		if !json.Valid(f.Properties) {
			return bad("feature-invalid", "its properties are no JSON object")
		}
		props = string(f.Properties)
	}
	w.count++
	_, err = w.copy.ExecContext(ctx, w.site, id, geom, props)
	return w.twice(err)
}

// twice turns a broken uniqueness into the fault it is.
func (w *loader) twice(err error) error {
	var pe *pq.Error
	if !errors.As(err, &pe) || pe.Code != "23505" {
		return err
	}
	id := ""
	if _, after, ok := strings.Cut(pe.Detail, ")=("+w.site+", "); ok {
		id, _, _ = strings.Cut(after, ") already")
	}
	return &parcels.InputError{Kind: parcels.Conflict, Faults: []parcels.Fault{{Slug: "duplicate-id", Layer: string(w.layer), ID: id,
		Detail: fmt.Sprintf("Layer %s: the id %s is stored already in site %s. Give the feature its own, or replace the layer.", w.layer, parcels.Excerpt(id), w.site)}}}
}

func (w *loader) finish(ctx context.Context, written bool) error {
	_, err := w.copy.ExecContext(ctx)
	if cerr := w.copy.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return w.twice(err)
	}
	var b [4]any
	if !w.box.Empty() {
		b = [4]any{w.box.MinX, w.box.MinY, w.box.MaxX, w.box.MaxY}
	}
	_, err = w.tx.ExecContext(ctx, `INSERT INTO fallwright.layers AS l (site, layer, features, min_x, min_y, max_x, max_y, written) VALUES ($1,$2,$3,$4,$5,$6,$7,$8)
		ON CONFLICT (site, layer) DO UPDATE SET features = l.features + excluded.features, min_x = least(l.min_x, excluded.min_x), min_y = least(l.min_y, excluded.min_y),
		max_x = greatest(l.max_x, excluded.max_x), max_y = greatest(l.max_y, excluded.max_y), written = l.written OR excluded.written`,
		w.site, string(w.layer), w.count, b[0], b[1], b[2], b[3], written)
	return err
}

func drop(ctx context.Context, tx *sql.Tx, name string, l parcels.Layer) error {
	got, err := tx.ExecContext(ctx, "DELETE FROM fallwright.layers WHERE site = $1 AND layer = $2", name, string(l))
	if err != nil {
		return err
	}
	if n, err := got.RowsAffected(); err != nil || n == 0 {
		return err
	}
	_, err = tx.ExecContext(ctx, "DELETE FROM fallwright."+pq.QuoteIdentifier(string(l))+" WHERE site = $1", name)
	return err
}

func change(ctx context.Context, tx *sql.Tx, name, crs, who, what string) error {
	at := time.Now().UTC().Truncate(time.Millisecond)
	var v int64
	err := tx.QueryRowContext(ctx, "INSERT INTO fallwright.history SELECT $1, coalesce(max(version), 0) + 1, $2, $3, $4 FROM fallwright.history WHERE site = $1 RETURNING version", name, at, who, what).Scan(&v)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO fallwright.sites (name, crs, version, changed) VALUES ($1,$2,$3,$4)
		ON CONFLICT (name) DO UPDATE SET crs = excluded.crs, version = excluded.version, changed = excluded.changed`, name, crs, v, at)
	return err
}

// PutSite stores a whole document in place of what the site held.
func (s *Store) PutSite(ctx context.Context, name string, doc []byte, version int64, who string) (info parcels.SiteInfo, err error) {
	crs, layers, err := store.Cut(doc)
	if err != nil {
		return info, err
	}
	err = s.write(ctx, "put", name, func(tx *sql.Tx) error {
		if version != 0 {
			i, err := site(ctx, tx, name)
			var e *parcels.Error
			if errors.As(err, &e) && e.Kind == parcels.NotFound || err == nil && i.Version != version {
				return &parcels.Error{Kind: parcels.Conflict, Op: "store: put", Subject: name, Err: fmt.Errorf("version %d is stored, not %d", i.Version, version)}
			}
			if err != nil {
				return err
			}
		}
		for _, l := range parcels.Layers {
			if err := drop(ctx, tx, name, l); err != nil {
				return err
			}
		}
		for _, l := range layers {
			w, err := newLoader(ctx, tx, name, l.Layer, crs)
			if err != nil {
				return err
			}
			for _, f := range l.Features {
				if err := w.add(ctx, f); err != nil {
					return err
				}
			}
			if err := w.finish(ctx, false); err != nil {
				return err
			}
		}
		if err := change(ctx, tx, name, crs, who, "put"); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "UPDATE fallwright.sites SET document = $2 WHERE name = $1", name, doc); err != nil {
			return err
		}
		info, err = site(ctx, tx, name)
		return err
	})
	return info, err
}

// DeleteSite takes a site out, its results with it; the history stays.
func (s *Store) DeleteSite(ctx context.Context, name, who string) error {
	return s.write(ctx, "delete", name, func(tx *sql.Tx) error {
		if _, err := site(ctx, tx, name); err != nil {
			return err
		}
		for _, l := range parcels.Layers {
			if err := drop(ctx, tx, name, l); err != nil {
				return err
			}
		}
		if err := change(ctx, tx, name, "", who, "delete"); err != nil {
			return err
		}
		for _, text := range []string{"DELETE FROM fallwright.results WHERE site = $1", "DELETE FROM fallwright.sites WHERE name = $1"} {
			if _, err := tx.ExecContext(ctx, text, name); err != nil {
				return err
			}
		}
		return nil
	})
}

// PutResult stores a result of a site and gives it its id.
func (s *Store) PutResult(ctx context.Context, r parcels.Result) (parcels.Result, error) {
	err := s.write(ctx, "put result", r.Site, func(tx *sql.Tx) error {
		if _, err := site(ctx, tx, r.Site); err != nil {
			return err
		}
		if r.Made.IsZero() {
			r.Made = time.Now()
		}
		r.Made = r.Made.UTC().Truncate(time.Millisecond)
		var n int64
		err := tx.QueryRowContext(ctx, "INSERT INTO fallwright.results (site, kind, version, input_sha256, program, made, inputs, body) VALUES ($1,$2,$3,$4,$5,$6,$7,$8) RETURNING number",
			r.Site, r.Kind, r.Version, r.InputSHA, r.Program, r.Made, []byte(r.Inputs), []byte(r.Body)).Scan(&n)
		r.ID = fmt.Sprintf("r%d", n)
		return err
	})
	return r, err
}

type writer struct {
	*loader
	crs  string
	done bool
}

// Write begins an import; writers of the same site wait until it ends.
func (s *Store) Write(ctx context.Context, name string, layer parcels.Layer, crs string, replace bool) (parcels.LayerWriter, error) {
	crs, err := store.System(crs)
	if err != nil {
		return nil, err
	}
	if document.GeometryTypes(layer) == nil {
		return nil, &parcels.Error{Kind: parcels.Invalid, Op: "store: import", Subject: name, Err: fmt.Errorf("there is no layer %q", parcels.Excerpt(string(layer)))}
	}
	tx, err := s.begin(ctx, name)
	if err != nil {
		return nil, fault("import", name, err)
	}
	abort := func(err error) (parcels.LayerWriter, error) {
		_ = tx.Rollback() // the first error is told
		return nil, fault("import", name, err)
	}
	if replace {
		if err := drop(ctx, tx, name, layer); err != nil {
			return abort(err)
		}
	}
	list, err := sites(ctx, tx, name)
	if err != nil {
		return abort(err)
	}
	if len(list) > 0 {
		if err := store.SameSystem(list[0], crs); err != nil {
			return abort(err)
		}
	}
	w := &writer{crs: crs}
	if w.loader, err = newLoader(ctx, tx, name, layer, crs); err != nil {
		return abort(err)
	}
	return w, nil
}

var errEnded = errors.New("the import has ended")

func (w *writer) Add(ctx context.Context, f parcels.StoredFeature) error {
	if w.done {
		return &parcels.Error{Kind: parcels.Failed, Op: "store: import", Subject: w.site, Err: errEnded}
	}
	return fault("import", w.site, w.add(ctx, f))
}

func (w *writer) Commit(ctx context.Context, who string) (info parcels.SiteInfo, err error) {
	if w.done {
		return info, &parcels.Error{Kind: parcels.Failed, Op: "store: import", Subject: w.site, Err: errEnded}
	}
	if err = w.finish(ctx, true); err == nil && w.count > 1000 {
		// so that the next window is planned with what is there now
		_, err = w.tx.ExecContext(ctx, "ANALYZE fallwright."+pq.QuoteIdentifier(string(w.layer)))
	}
	if err == nil {
		err = change(ctx, w.tx, w.site, w.crs, who, fmt.Sprintf("import %s: %d features", w.layer, w.count))
	}
	if err == nil {
		info, err = site(ctx, w.tx, w.site)
	}
	if err != nil {
		_ = w.Abort() // the first error is told
		return info, fault("import", w.site, err)
	}
	w.done = true
	return info, fault("import", w.site, w.tx.Commit())
}

func (w *writer) Abort() error {
	if w.done {
		return nil
	}
	w.done = true
	_ = w.copy.Close() // its error is that of the rollback
	if err := w.tx.Rollback(); err != nil && err != sql.ErrTxDone {
		return fault("import", w.site, err)
	}
	return nil
}
