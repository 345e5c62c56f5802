package postgis

// The turn to write, and features into the table of a layer and out of it.

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"github.com/lib/pq"

	"fallwright/parcels"
	"fallwright/parcels/store"
)

// Begin starts a write; others to the same site wait. Without a site nobody
// waits: such writes are of single rows.
func (s *Store) Begin(ctx context.Context, op, site string) (*sql.Tx, func(), error) {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return nil, nil, fault(op, site, err)
	}
	if _, err = tx.ExecContext(ctx, fmt.Sprintf("SET LOCAL lock_timeout = %d", wait.Milliseconds())); err == nil && site != "" {
		_, err = tx.ExecContext(ctx, "SELECT pg_advisory_xact_lock(hashtextextended($1, 0))", "fallwright site "+site)
	}
	if err != nil {
		_ = tx.Rollback() // the first error is told
		return nil, nil, fault(op, site, err)
	}
	return tx, func() {}, nil
}

// Commit makes a transaction durable.
func (s *Store) Commit(tx *sql.Tx, op, subject string) error { return fault(op, subject, tx.Commit()) }

// loader copies features into one layer within a transaction.
type loader struct {
	tx    *sql.Tx
	copy  *sql.Stmt
	site  string
	layer parcels.Layer
	srs   int
	enc   *store.Encoder
	buf   []byte
}

// Load begins to put features into a layer.
func (s *Store) Load(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer, crs string) (store.Loader, error) {
	w := &loader{tx: tx, site: site, layer: l, srs: store.SRS(crs), enc: store.NewEncoder(l)}
	var err error
	w.copy, err = tx.PrepareContext(ctx, pq.CopyInSchema("fallwright", string(l), "site", "feature_id", "geom", "properties"))
	return w, err
}

// extended is the binary with the system in it, as PostGIS reads it.
func extended(iso []byte, srs int) []byte {
	out := make([]byte, 0, len(iso)+4)
	out = append(out, iso[0])
	out = binary.LittleEndian.AppendUint32(out, binary.LittleEndian.Uint32(iso[1:])|0x20000000)
	out = binary.LittleEndian.AppendUint32(out, uint32(srs))
	return append(out, iso[5:]...)
}

// Add sends a feature.
func (w *loader) Add(ctx context.Context, f parcels.StoredFeature) error {
	bin, box, err := w.enc.Encode(w.buf[:0], f)
	if err != nil {
		return err
	}
	w.buf = bin
	var geom, id, props any
	if !box.Empty() {
		geom = hex.EncodeToString(extended(bin, w.srs))
	}
	if f.ID != "" {
		id = f.ID
	}
	if !store.None(f.Properties) {
		props = string(f.Properties)
	}
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
	return store.Twice(w.layer, w.site, id, nil)
}

// Release ends the COPY; its error is that of the rollback that follows.
func (w *loader) Release() { _ = w.copy.Close() }

// Finish ends the COPY and notes count and extent.
func (w *loader) Finish(ctx context.Context, written bool) error {
	_, err := w.copy.ExecContext(ctx)
	if cerr := w.copy.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return w.twice(err)
	}
	var b [4]any
	if !w.enc.Box.Empty() {
		b = [4]any{w.enc.Box.MinX, w.enc.Box.MinY, w.enc.Box.MaxX, w.enc.Box.MaxY}
	}
	_, err = w.tx.ExecContext(ctx, `INSERT INTO fallwright.layers AS l (site, layer, features, min_x, min_y, max_x, max_y, written) VALUES ($1,$2,$3,$4,$5,$6,$7,$8)
		ON CONFLICT (site, layer) DO UPDATE SET features = l.features + excluded.features, min_x = least(l.min_x, excluded.min_x), min_y = least(l.min_y, excluded.min_y),
		max_x = greatest(l.max_x, excluded.max_x), max_y = greatest(l.max_y, excluded.max_y), written = l.written OR excluded.written`,
		w.site, string(w.layer), w.enc.Count, b[0], b[1], b[2], b[3], written)
	if err == nil && w.enc.Count > 1000 {
		// so that the next window is planned with what is there now
		_, err = w.tx.ExecContext(ctx, "ANALYZE fallwright."+pq.QuoteIdentifier(string(w.layer)))
	}
	return err
}

// Drop takes the features of a layer out of the store.
func (s *Store) Drop(ctx context.Context, tx *sql.Tx, name string, l parcels.Layer) error {
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
