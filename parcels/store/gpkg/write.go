package gpkg

// Features into the table of a layer and out of it.

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"modernc.org/sqlite"

	"fallwright/parcels"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

// batch is how many rows go in by one statement: it halves the time a row.
const batch = 40

// layerInserter puts features into one table within a transaction.
type layerInserter struct {
	tx    *sql.Tx
	site  string
	layer parcels.Layer
	table string
	srs   int32
	enc   *store.Encoder
	rows  []any
	boxes []any
	held  []string // feature ids of the rows held
	n     int      // rows held
	trees int      // boxes held

	many, one, manyBox, oneBox *sql.Stmt

	// cells wait for the tree to be written at once, while it is empty
	wait  bool
	cells []cell
	size  int // of a node

	first, next int64
}

// Load begins to put features into a layer.
func (s *Store) Load(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer, crs string) (store.Loader, error) {
	name, err := table(ctx, tx, l, crs)
	if err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, dropInsertTrigger(name)); err != nil {
		return nil, err
	}
	w := &layerInserter{tx: tx, site: site, layer: l, table: name, srs: int32(store.SRS(crs)), enc: store.NewEncoder(l)}
	var last *int64
	if err := tx.QueryRowContext(ctx, "SELECT seq FROM sqlite_sequence WHERE name = ?", name).Scan(&last); err != nil && err != sql.ErrNoRows {
		return nil, err
	}
	if last != nil {
		w.next = *last
	}
	w.first = w.next + 1
	if w.wait, w.size, err = emptyTree(ctx, tx, name); err != nil {
		return nil, err
	}
	names := "fid, geom, site, feature_id, properties"
	for _, c := range columns[l] {
		names += fmt.Sprintf(", %q", c.name)
	}
	row := "(?,?,?,?,?" + strings.Repeat(",?", len(columns[l])) + ")"
	head := fmt.Sprintf("INSERT INTO %q (%s) VALUES ", name, names)
	tree := fmt.Sprintf(`INSERT INTO "rtree_%s_geom" VALUES `, name)
	for _, p := range []struct {
		to   **sql.Stmt
		text string
	}{{&w.one, head + row}, {&w.many, head + row + strings.Repeat(","+row, batch-1)}, {&w.oneBox, tree + "(?,?,?,?,?)"}, {&w.manyBox, tree + "(?,?,?,?,?)" + strings.Repeat(",(?,?,?,?,?)", batch-1)}} {
		if *p.to, err = tx.PrepareContext(ctx, p.text); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// Add holds a feature until a batch is full.
func (w *layerInserter) Add(ctx context.Context, f parcels.StoredFeature) error {
	head := make([]byte, wkb.HeaderSize, wkb.HeaderSize+len(f.Geometry))
	blob, box, err := w.enc.Encode(head, f)
	if err != nil {
		return err
	}
	w.next++
	var geom, id, props any
	if !box.Empty() {
		wkb.AppendHeader(head[:0], w.srs, box)
		copy(blob, head)
		geom = blob
		w.hold(cell{w.next, outward(box)})
		if len(w.cells) == mostHeld {
			if err := w.letGo(ctx); err != nil {
				return err
			}
		}
	}
	if f.ID != "" {
		id = f.ID
	}
	if !store.None(f.Properties) {
		props = string(f.Properties)
	}
	w.rows = append(w.rows, w.next, geom, w.site, id, props)
	if cs := columns[w.layer]; len(cs) > 0 {
		var m map[string]json.RawMessage
		if props != nil {
			_ = json.Unmarshal(f.Properties, &m) // has been checked
		}
		for _, c := range cs {
			w.rows = append(w.rows, c.value(m[c.name]))
		}
	}
	w.held = append(w.held, f.ID)
	w.n++
	if w.n == batch {
		return w.flush(ctx)
	}
	return nil
}

// hold keeps the box of a row.
func (w *layerInserter) hold(c cell) {
	if w.wait {
		w.cells = append(w.cells, c)
		return
	}
	w.boxes = append(w.boxes, c.of, float64(c.box[0]), float64(c.box[1]), float64(c.box[2]), float64(c.box[3]))
	w.trees++
}

// letGo puts the boxes that wait into the tree one by one, as all that follow.
func (w *layerInserter) letGo(ctx context.Context) error {
	w.wait = false
	for _, c := range w.cells {
		if _, err := w.oneBox.ExecContext(ctx, c.of, float64(c.box[0]), float64(c.box[1]), float64(c.box[2]), float64(c.box[3])); err != nil {
			return err
		}
	}
	w.cells = nil
	return nil
}

// value is a property as its column holds it, NULL where it does not fit.
func (c column) value(raw json.RawMessage) any {
	if store.None(raw) {
		return nil
	}
	if c.number {
		var v float64
		if json.Unmarshal(raw, &v) != nil {
			return nil
		}
		return v
	}
	t, ok := store.Text(raw)
	if !ok {
		return nil
	}
	return t
}

// flush writes the rows held.
func (w *layerInserter) flush(ctx context.Context) error {
	put := func(many, one *sql.Stmt, args []any, n int) error {
		if n == batch {
			_, err := many.ExecContext(ctx, args...)
			return err
		}
		for width := len(args) / max(n, 1); len(args) > 0; args = args[width:] {
			if _, err := one.ExecContext(ctx, args[:width]...); err != nil {
				return err
			}
		}
		return nil
	}
	if err := put(w.many, w.one, w.rows, w.n); err != nil {
		return w.twice(ctx, err)
	}
	if err := put(w.manyBox, w.oneBox, w.boxes, w.trees); err != nil {
		return err
	}
	w.rows, w.boxes, w.held, w.n, w.trees = w.rows[:0], w.boxes[:0], w.held[:0], 0, 0
	return nil
}

// twice finds the id that is stored already, where that is the error.
func (w *layerInserter) twice(ctx context.Context, err error) error {
	var se *sqlite.Error
	if !errors.As(err, &se) || se.Code() != 2067 {
		return err
	}
	seen := map[string]int{}
	for i, id := range w.held {
		if id == "" {
			continue
		}
		n := w.enc.Count - w.n + i
		var at int
		stored := w.tx.QueryRowContext(ctx, fmt.Sprintf("SELECT count(*) FROM %q WHERE site = ? AND feature_id = ? AND fid <= ?", w.table), w.site, id, w.next-int64(w.n)).Scan(&at) == nil && at > 0
		_, held := seen[id]
		if !stored && !held {
			seen[id] = n
			continue
		}
		return store.Twice(w.layer, w.site, id, &n)
	}
	return err
}

// Release closes the statements.
func (w *layerInserter) Release() {
	for _, s := range []*sql.Stmt{w.one, w.many, w.oneBox, w.manyBox} {
		s.Close()
	}
}

// Finish writes what is held, puts the index right and notes count and extent.
func (w *layerInserter) Finish(ctx context.Context, written bool) error {
	err := w.flush(ctx)
	w.Release()
	if err == nil && len(w.cells) > 0 {
		err = writeTree(ctx, w.tx, w.table, w.size, w.cells)
	}
	if err != nil {
		return err
	}
	if _, err := w.tx.ExecContext(ctx, insertTrigger(w.table)); err != nil {
		return err
	}
	old, ok, err := layerOf(ctx, w.tx, w.site, w.layer)
	if err != nil {
		return err
	}
	first, last, box, count := w.first, w.next, w.enc.Box, w.enc.Count
	if ok {
		if old.count > 0 {
			first, box = min(first, old.first), box.Join(old.box)
		}
		count += old.count
	}
	var b [4]any
	if !box.Empty() {
		b = [4]any{box.MinX, box.MinY, box.MaxX, box.MaxY}
	}
	if _, err := w.tx.ExecContext(ctx, `INSERT INTO fallwright_layers VALUES (?,?,?,?,?,?,?,?,?,?,?)
		ON CONFLICT (site, layer) DO UPDATE SET table_name = excluded.table_name, features = excluded.features, min_x = excluded.min_x, min_y = excluded.min_y,
		max_x = excluded.max_x, max_y = excluded.max_y, first_fid = excluded.first_fid, last_fid = excluded.last_fid, written = max(written, excluded.written)`,
		w.site, string(w.layer), w.table, count, b[0], b[1], b[2], b[3], first, last, written); err != nil {
		return err
	}
	return contents(ctx, w.tx, w.table)
}

// contents brings the extent in gpkg_contents up to date.
func contents(ctx context.Context, tx *sql.Tx, table string) error {
	_, err := tx.ExecContext(ctx, `UPDATE gpkg_contents SET last_change = ?, (min_x, min_y, max_x, max_y) =
		(SELECT min(min_x), min(min_y), max(max_x), max(max_y) FROM fallwright_layers WHERE table_name = ?) WHERE table_name = ?`, time.Now().UTC().Format(store.Layout), table, table)
	return err
}

// Drop takes the features of a layer out of the store.
func (s *Store) Drop(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer) error {
	r, ok, err := layerOf(ctx, tx, site, l)
	if err != nil || !ok {
		return err
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("DELETE FROM %q WHERE fid >= ? AND fid <= ? AND site = ?", r.table), r.first, r.last, site); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM fallwright_layers WHERE site = ? AND layer = ?", site, string(l)); err != nil {
		return err
	}
	return contents(ctx, tx, r.table)
}
