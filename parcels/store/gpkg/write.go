package gpkg

// Whole documents and imports of layers, each one transaction.

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"modernc.org/sqlite"

	"fallwright/parcels"
	"fallwright/parcels/document"
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
	types map[int]bool
	rows  []any
	boxes []any
	held  []string // feature ids of the rows held
	n     int      // rows held
	trees int      // boxes held

	many, one, manyBox, oneBox *sql.Stmt

	first, next int64
	count       int
	box         wkb.Box
}

func newInserter(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer, crs string) (*layerInserter, error) {
	name, err := table(ctx, tx, l, crs)
	if err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, dropInsertTrigger(name)); err != nil {
		return nil, err
	}
	w := &layerInserter{tx: tx, site: site, layer: l, table: name, srs: int32(srsID(crs)), box: wkb.NoBox(), types: map[int]bool{}}
	for _, t := range document.GeometryTypes(l) {
		w.types[wkb.Number(t)] = true
	}
	var last *int64
	if err := tx.QueryRowContext(ctx, "SELECT seq FROM sqlite_sequence WHERE name = ?", name).Scan(&last); err != nil && err != sql.ErrNoRows {
		return nil, err
	}
	if last != nil {
		w.next = *last
	}
	w.first = w.next + 1
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

func (w *layerInserter) add(ctx context.Context, f parcels.StoredFeature) error {
	bad := func(slug, detail string) error {
		ft := parcels.Fault{Slug: slug, Layer: string(w.layer), Detail: fmt.Sprintf("Layer %s: feature %d%s: %s.", w.layer, w.count, named(f.ID), detail)}
		n := w.count
		ft.Feature = &n
		if f.ID != "" {
			ft.ID = f.ID
		}
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{ft}}
	}
	w.next++
	var geom any
	head := make([]byte, wkb.HeaderSize, wkb.HeaderSize+len(f.Geometry))
	blob, box, _, err := wkb.FromGeoJSON(head, f.Geometry)
	var ge *wkb.Error
	switch {
	case errors.As(err, &ge):
		return bad(ge.Slug, ge.Detail)
	case err != nil:
		return err
	case len(blob) > wkb.HeaderSize:
		if kind := wkb.KindOf(blob[wkb.HeaderSize:]); !w.types[wkb.Number(kind)] {
			return bad("geometry-type", "a "+kind+" is not taken here")
		}
		if box.Empty() {
			return bad("geometry-empty", "the geometry is empty")
		}
		wkb.AppendHeader(head[:0], w.srs, box)
		copy(blob, head)
		geom = blob
		w.box = w.box.Join(box)
		o := outward(box)
		w.boxes = append(w.boxes, w.next, o[0], o[1], o[2], o[3])
		w.trees++
	}
	var id, props any
	if f.ID != "" {
		id = f.ID
	}
	if len(f.Properties) > 0 && string(f.Properties) != "null" {
		props = string(f.Properties)
	}
	w.rows = append(w.rows, w.next, geom, w.site, id, props)
	if cs := columns[w.layer]; len(cs) > 0 {
		var m map[string]json.RawMessage
		if props != nil {
			if err := json.Unmarshal(f.Properties, &m); err != nil {
				return bad("feature-invalid", "its properties are no JSON object")
			}
		}
		for _, c := range cs {
			w.rows = append(w.rows, c.value(m[c.name]))
		}
	}
	w.held = append(w.held, f.ID)
	w.n++
	w.count++
	if w.n == batch {
		if err := w.flush(ctx); err != nil {
			return err
		}
	}
	return nil
}

func named(id string) string {
	if id == "" {
		return ""
	}
	return " (id " + parcels.Excerpt(id) + ")"
}

// value is a property as its column holds it, NULL where it does not fit.
func (c column) value(raw json.RawMessage) any {
	if len(raw) == 0 || string(raw) == "null" {
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
		n := w.count - w.n + i
		var at int
		stored := w.tx.QueryRowContext(ctx, fmt.Sprintf("SELECT count(*) FROM %q WHERE site = ? AND feature_id = ? AND fid <= ?", w.table), w.site, id, w.next-int64(w.n)).Scan(&at) == nil && at > 0
		_, held := seen[id]
		if !stored && !held {
			seen[id] = n
			continue
		}
		return &parcels.InputError{Kind: parcels.Conflict, Faults: []parcels.Fault{{Slug: "duplicate-id", Layer: string(w.layer), Feature: &n, ID: id,
			Detail: fmt.Sprintf("Layer %s: the id %s of feature %d is stored already in site %s. Give it its own, or replace the layer.", w.layer, parcels.Excerpt(id), n, w.site)}}}
	}
	return err
}

// finish writes what is held, puts the index right and notes count and extent.
func (w *layerInserter) finish(ctx context.Context, written bool) error {
	if err := w.flush(ctx); err != nil {
		return err
	}
	for _, s := range []*sql.Stmt{w.one, w.many, w.oneBox, w.manyBox} {
		s.Close()
	}
	if _, err := w.tx.ExecContext(ctx, insertTrigger(w.table)); err != nil {
		return err
	}
	old, ok, err := layerOf(ctx, w.tx, w.site, w.layer)
	if err != nil {
		return err
	}
	first, last, box, count := w.first, w.next, w.box, w.count
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
		(SELECT min(min_x), min(min_y), max(max_x), max(max_y) FROM fallwright_layers WHERE table_name = ?) WHERE table_name = ?`, now(), table, table)
	return err
}

// drop takes the features of a layer out of the store.
func drop(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer) error {
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

// change notes an edit and gives the site its next version.
func change(ctx context.Context, tx *sql.Tx, name, crs, who, what string) error {
	var v int64
	if err := tx.QueryRowContext(ctx, "SELECT coalesce(max(version), 0) + 1 FROM fallwright_history WHERE site = ?", name).Scan(&v); err != nil {
		return err
	}
	at := now()
	if _, err := tx.ExecContext(ctx, "INSERT INTO fallwright_history VALUES (?,?,?,?,?)", name, v, at, who, what); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO fallwright_sites (name, crs, version, changed) VALUES (?,?,?,?)
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
		if err := expect(ctx, tx, name, version); err != nil {
			return err
		}
		for _, l := range parcels.Layers {
			if err := drop(ctx, tx, name, l); err != nil {
				return err
			}
		}
		for _, l := range layers {
			w, err := newInserter(ctx, tx, name, l.Layer, crs)
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
		if _, err := tx.ExecContext(ctx, "UPDATE fallwright_sites SET document = ? WHERE name = ?", doc, name); err != nil {
			return err
		}
		info, err = site(ctx, tx, name)
		return err
	})
	return info, err
}

// expect refuses a version that is not the stored one; 0 takes any.
func expect(ctx context.Context, q querier, name string, version int64) error {
	if version == 0 {
		return nil
	}
	i, err := site(ctx, q, name)
	var e *parcels.Error
	if errors.As(err, &e) && e.Kind == parcels.NotFound || err == nil && i.Version != version {
		return &parcels.Error{Kind: parcels.Conflict, Op: "store: put", Subject: name, Err: fmt.Errorf("version %d is stored, not %d", i.Version, version)}
	}
	return err
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
		for _, text := range []string{"DELETE FROM fallwright_results WHERE site = ?", "DELETE FROM fallwright_sites WHERE name = ?"} {
			if _, err := tx.ExecContext(ctx, text, name); err != nil {
				return err
			}
		}
		return nil
	})
}

type writer struct {
	*layerInserter
	s    *Store
	end  func()
	crs  string
	done bool
}

// Write begins an import; the store's other writers wait until it ends.
func (s *Store) Write(ctx context.Context, name string, layer parcels.Layer, crs string, replace bool) (parcels.LayerWriter, error) {
	crs, err := store.System(crs)
	if err != nil {
		return nil, err
	}
	if document.GeometryTypes(layer) == nil {
		return nil, &parcels.Error{Kind: parcels.Invalid, Op: "store: import", Subject: name, Err: fmt.Errorf("there is no layer %q", parcels.Excerpt(string(layer)))}
	}
	tx, end, err := s.begin(ctx, "import", name)
	if err != nil {
		return nil, err
	}
	w := &writer{s: s, end: end, crs: crs}
	abort := func(err error) (parcels.LayerWriter, error) {
		_ = tx.Rollback() // the first error is told
		end()
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
	if w.layerInserter, err = newInserter(ctx, tx, name, layer, crs); err != nil {
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
	if err = w.finish(ctx, true); err == nil {
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
	defer w.end()
	return info, w.s.commit(w.tx, "import", w.site)
}

func (w *writer) Abort() error {
	if w.done {
		return nil
	}
	w.done = true
	defer w.end()
	if err := w.tx.Rollback(); err != nil && err != sql.ErrTxDone {
		return fault("import", w.site, err)
	}
	return nil
}
