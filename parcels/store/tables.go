package store

// What every database keeps alike: the tables of sites, history, results,
// rasters and jobs, in SQL that SQLite and PostgreSQL both read, and the order
// in which a write goes. The tables of features are the databases' own.

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/document"
)

// Database is what a database does in its own way.
type Database interface {
	// Begin waits for the turn to write (to a site, or to the whole). End must
	// be called after Commit or Rollback.
	Begin(ctx context.Context, op, site string) (tx *sql.Tx, end func(), err error)
	// Commit makes a transaction durable.
	Commit(tx *sql.Tx, op, subject string) error
	// Snapshot begins a transaction that reads one state of the store.
	Snapshot(ctx context.Context) (*sql.Tx, error)
	// Fault turns an error of the database into one of ours.
	Fault(op, subject string, err error) error

	// Load begins to put features into a layer, Drop takes all of them out;
	// both keep the row of the layer.
	Load(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer, crs string) (Loader, error)
	Drop(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer) error
	// Select gives the features of a window by fid, and Number counts them; the
	// site is there. Sort is not looked at.
	Select(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error]
	Number(ctx context.Context, tx *sql.Tx, site string, l parcels.Layer, w parcels.Window) (int, error)
}

// Loader puts features into one layer within a transaction.
type Loader interface {
	Add(ctx context.Context, f parcels.StoredFeature) error
	// Finish writes what is held back and notes the layer's count and extent;
	// written says that the layer did not come with a whole document.
	Finish(ctx context.Context, written bool) error
	// Release gives up, before a rollback.
	Release()
}

// Tables is a store but for Ready and Close.
type Tables struct {
	Database
	// Prefix stands before the name of each table: "fallwright_".
	Prefix string
	// Order is the column of the table of layers that rises with each.
	Order string
	// Stamp is a time as the tables hold it.
	Stamp func(time.Time) any
}

// q puts the prefix in for each @.
func (t *Tables) q(text string) string { return strings.ReplaceAll(text, "@", t.Prefix) }

// at reads a time that Stamp wrote.
type at struct{ to *time.Time }

// Layout is how times stand in a database that has none of its own.
const Layout = "2006-01-02T15:04:05.000Z"

func (a at) Scan(v any) (err error) {
	switch v := v.(type) {
	case nil:
		*a.to = time.Time{}
	case time.Time:
		*a.to = v.UTC()
	case string:
		*a.to, err = time.Parse(Layout, v)
	case []byte:
		*a.to, err = time.Parse(Layout, string(v))
	default:
		err = fmt.Errorf("store: a time stands as %T", v)
	}
	return err
}

// moment is the time that is stored: whole milliseconds, UTC.
func moment(v time.Time) time.Time {
	if v.IsZero() {
		v = time.Now()
	}
	return v.UTC().Truncate(time.Millisecond)
}

// read runs f in one state of the store.
func (t *Tables) read(ctx context.Context, op, subject string, f func(tx *sql.Tx) error) error {
	tx, err := t.Snapshot(ctx)
	if err == nil {
		err = f(tx)
		_ = tx.Rollback() // nothing was written
	}
	return t.Fault(op, subject, err)
}

// write runs f as one write.
func (t *Tables) write(ctx context.Context, op, subject string, f func(tx *sql.Tx) error) error {
	tx, end, err := t.Begin(ctx, op, subject)
	if err != nil {
		return err
	}
	defer end()
	if err := f(tx); err != nil {
		_ = tx.Rollback() // the first error is told
		return t.Fault(op, subject, err)
	}
	return t.Commit(tx, op, subject)
}

// rows runs a query and hands each row to f.
func (t *Tables) rows(ctx context.Context, tx *sql.Tx, f func(*sql.Rows) error, text string, args ...any) error {
	rows, err := tx.QueryContext(ctx, t.q(text), args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (t *Tables) exec(ctx context.Context, tx *sql.Tx, text string, args ...any) error {
	_, err := tx.ExecContext(ctx, t.q(text), args...)
	return err
}

func absent(op, what, name string) error {
	return &parcels.Error{Kind: parcels.NotFound, Op: "store: " + op, Subject: name, Err: fmt.Errorf("there is no such %s", what)}
}

// sites describes the one of a name, or all.
func (t *Tables) sites(ctx context.Context, tx *sql.Tx, name string) ([]parcels.SiteInfo, error) {
	where, args := "", []any{}
	if name != "" {
		where, args = " WHERE s.name = $1", []any{name}
	}
	var out []parcels.SiteInfo
	err := t.rows(ctx, tx, func(rows *sql.Rows) error {
		var i parcels.SiteInfo
		var layer *string
		var n *int
		var b [4]*float64
		if err := rows.Scan(&i.Name, &i.CRS, &i.Version, at{&i.Changed}, &layer, &n, &b[0], &b[1], &b[2], &b[3]); err != nil {
			return err
		}
		if len(out) == 0 || out[len(out)-1].Name != i.Name {
			i.Features = map[parcels.Layer]int{}
			out = append(out, i)
		}
		last := &out[len(out)-1]
		if layer != nil {
			last.Features[parcels.Layer(*layer)] = *n
		}
		if b[0] != nil {
			if last.Bounds == nil {
				last.Bounds = &[4]float64{*b[0], *b[1], *b[2], *b[3]}
			}
			all := last.Bounds
			all[0], all[1], all[2], all[3] = min(all[0], *b[0]), min(all[1], *b[1]), max(all[2], *b[2]), max(all[3], *b[3])
		}
		return nil
	}, `SELECT s.name, s.crs, s.version, s.changed, l.layer, l.features, l.min_x, l.min_y, l.max_x, l.max_y
		FROM @sites s LEFT JOIN @layers l ON l.site = s.name`+where+` ORDER BY s.name, l.`+t.Order, args...)
	return out, err
}

func (t *Tables) site(ctx context.Context, tx *sql.Tx, name string) (parcels.SiteInfo, error) {
	list, err := t.sites(ctx, tx, name)
	if err == nil && (len(list) == 0 || name == "") {
		err = absent("site", "site", name)
	}
	if err != nil {
		return parcels.SiteInfo{}, err
	}
	return list[0], nil
}

// Sites lists what is stored, by name.
func (t *Tables) Sites(ctx context.Context) (out []parcels.SiteInfo, err error) {
	err = t.read(ctx, "sites", "", func(tx *sql.Tx) (err error) {
		out, err = t.sites(ctx, tx, "")
		return err
	})
	return out, err
}

// Site describes one.
func (t *Tables) Site(ctx context.Context, name string) (out parcels.SiteInfo, err error) {
	err = t.read(ctx, "site", name, func(tx *sql.Tx) (err error) {
		out, err = t.site(ctx, tx, name)
		return err
	})
	return out, err
}

// Document gives the site document.
func (t *Tables) Document(ctx context.Context, name string) (out []byte, err error) {
	err = t.read(ctx, "document", name, func(tx *sql.Tx) error {
		info, err := t.site(ctx, tx, name)
		if err != nil {
			return err
		}
		if err := tx.QueryRowContext(ctx, t.q("SELECT document FROM @sites WHERE name = $1"), name).Scan(&out); err != nil {
			return err
		}
		var written []parcels.Layer
		if err := t.rows(ctx, tx, func(rows *sql.Rows) error {
			var l parcels.Layer
			err := rows.Scan(&l)
			written = append(written, l)
			return err
		}, "SELECT layer FROM @layers WHERE site = $1 AND written ORDER BY "+t.Order, name); err != nil {
			return err
		}
		terrain, err := t.terrain(ctx, tx, name)
		if err != nil {
			return err
		}
		if out != nil && len(written) == 0 && (terrain == "" || Terrain(out) != "") {
			return nil
		}
		out, err = Assemble(name, info.CRS, terrain, out, written, func(l parcels.Layer) iter.Seq2[parcels.StoredFeature, error] {
			return t.Select(ctx, tx, name, l, parcels.Window{})
		})
		return err
	})
	return out, err
}

// terrain is the ground of a document that names none: the raster that was
// stored last; empty where there is none.
func (t *Tables) terrain(ctx context.Context, tx *sql.Tx, site string) (name string, err error) {
	err = tx.QueryRowContext(ctx, t.q("SELECT name FROM @rasters WHERE site = $1 AND present ORDER BY stored DESC, name LIMIT 1"), site).Scan(&name)
	if err == sql.ErrNoRows {
		err = nil
	}
	return name, err
}

// Head gives the site document without the features of its layers, which
// Features gives.
func (t *Tables) Head(ctx context.Context, name string) (out []byte, err error) {
	err = t.read(ctx, "head", name, func(tx *sql.Tx) error {
		info, err := t.site(ctx, tx, name)
		if err != nil {
			return err
		}
		if err := tx.QueryRowContext(ctx, t.q("SELECT document FROM @sites WHERE name = $1"), name).Scan(&out); err != nil {
			return err
		}
		var all, written []parcels.Layer
		if err := t.rows(ctx, tx, func(rows *sql.Rows) error {
			var l parcels.Layer
			var w bool
			err := rows.Scan(&l, &w)
			if all = append(all, l); w {
				written = append(written, l)
			}
			return err
		}, "SELECT layer, written FROM @layers WHERE site = $1 ORDER BY "+t.Order, name); err != nil {
			return err
		}
		terrain, err := t.terrain(ctx, tx, name)
		if err != nil {
			return err
		}
		out, err = Head(name, info.CRS, terrain, out, all, written)
		return err
	})
	return out, err
}

// History lists the edits of a site, also those before it was deleted and came
// back under the same name.
func (t *Tables) History(ctx context.Context, name string) (out []parcels.Edit, err error) {
	err = t.read(ctx, "history", name, func(tx *sql.Tx) error {
		if _, err := t.site(ctx, tx, name); err != nil {
			return err
		}
		return t.rows(ctx, tx, func(rows *sql.Rows) error {
			var e parcels.Edit
			err := rows.Scan(&e.Version, at{&e.When}, &e.Who, &e.What)
			out = append(out, e)
			return err
		}, "SELECT version, at, who, what FROM @history WHERE site = $1 ORDER BY version", name)
	})
	return out, err
}

var errEnough = errors.New("enough")

// Features of a layer in a window, by fid unless sorted. The order is that of
// import.
func (t *Tables) Features(ctx context.Context, site string, layer parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error] {
	return func(yield func(parcels.StoredFeature, error) bool) {
		err := t.read(ctx, "features", site, func(tx *sql.Tx) error {
			w := w
			by, limit := w.Sort, w.Limit
			if by != "" {
				w.Sort, w.Limit = "", 0
			}
			var all []parcels.StoredFeature
			n := 0
			for f, err := range t.Select(ctx, tx, site, layer, w) {
				if err != nil {
					return err
				}
				n++
				if by != "" {
					all = append(all, f)
				} else if !yield(f, nil) {
					return errEnough
				}
			}
			if n == 0 { // a site that is not there has none
				if _, err := t.site(ctx, tx, site); err != nil {
					return err
				}
			}
			if by == "" {
				return nil
			}
			for _, f := range Sorted(all, by, limit) {
				if !yield(f, nil) {
					return errEnough
				}
			}
			return nil
		})
		if err != nil && !errors.Is(err, errEnough) {
			yield(parcels.StoredFeature{}, err)
		}
	}
}

// Count is how many features Features gives, its limit apart.
func (t *Tables) Count(ctx context.Context, name string, layer parcels.Layer, w parcels.Window) (n int, err error) {
	err = t.read(ctx, "count", name, func(tx *sql.Tx) error {
		info, err := t.site(ctx, tx, name)
		if err != nil {
			return err
		}
		if w.Bounds == nil && len(w.Equal) == 0 && w.ID == "" && w.After == 0 || info.Features[layer] == 0 {
			n = info.Features[layer]
			return nil
		}
		n, err = t.Number(ctx, tx, name, layer, w)
		return err
	})
	return n, err
}

// change notes an edit and gives the site its next version.
func (t *Tables) change(ctx context.Context, tx *sql.Tx, name, crs, who, what string) error {
	when := t.Stamp(moment(time.Time{}))
	var v int64
	if err := tx.QueryRowContext(ctx, t.q("SELECT coalesce(max(version), 0) + 1 FROM @history WHERE site = $1"), name).Scan(&v); err != nil {
		return err
	}
	if err := t.exec(ctx, tx, "INSERT INTO @history (site, version, at, who, what) VALUES ($1,$2,$3,$4,$5)", name, v, when, who, what); err != nil {
		return err
	}
	return t.exec(ctx, tx, `INSERT INTO @sites (name, crs, version, changed) VALUES ($1,$2,$3,$4)
		ON CONFLICT (name) DO UPDATE SET crs = excluded.crs, version = excluded.version, changed = excluded.changed`, name, crs, v, when)
}

// expect refuses a version that is not the stored one; 0 takes any.
func (t *Tables) expect(ctx context.Context, tx *sql.Tx, name string, version int64) error {
	if version == 0 {
		return nil
	}
	list, err := t.sites(ctx, tx, name)
	if err != nil {
		return err
	}
	var stored int64
	if len(list) > 0 {
		stored = list[0].Version
	}
	return held(name, stored, version)
}

// held refuses a version that is not the stored one; 0 takes any.
func held(name string, stored, version int64) error {
	if version != 0 && stored != version {
		return &parcels.Error{Kind: parcels.Conflict, Op: "store: put", Subject: name, Err: fmt.Errorf("version %d is stored, not %d", stored, version)}
	}
	return nil
}

// PutSite stores a whole document in place of what the site held.
func (t *Tables) PutSite(ctx context.Context, name string, doc []byte, version int64, who string) (info parcels.SiteInfo, err error) {
	crs, layers, err := Cut(doc)
	if err != nil {
		return info, err
	}
	err = t.write(ctx, "put", name, func(tx *sql.Tx) error {
		if err := t.expect(ctx, tx, name, version); err != nil {
			return err
		}
		for _, l := range parcels.Layers {
			if err := t.Drop(ctx, tx, name, l); err != nil {
				return err
			}
		}
		for _, l := range layers {
			if err := t.fill(ctx, tx, name, crs, l); err != nil {
				return err
			}
		}
		if err := t.change(ctx, tx, name, crs, who, "put"); err != nil {
			return err
		}
		if err := t.exec(ctx, tx, "UPDATE @sites SET document = $2 WHERE name = $1", name, doc); err != nil {
			return err
		}
		info, err = t.site(ctx, tx, name)
		return err
	})
	return info, err
}

func (t *Tables) fill(ctx context.Context, tx *sql.Tx, name, crs string, l DocumentLayer) error {
	w, err := t.Load(ctx, tx, name, l.Layer, crs)
	if err != nil {
		return err
	}
	for _, f := range l.Features {
		if err := w.Add(ctx, f); err != nil {
			w.Release()
			return err
		}
	}
	return w.Finish(ctx, false)
}

// PutSettings puts members into the document of a site.
func (t *Tables) PutSettings(ctx context.Context, name string, members map[string]json.RawMessage, version int64, who string) (info parcels.SiteInfo, err error) {
	err = t.write(ctx, "put settings", name, func(tx *sql.Tx) error {
		if info, err = t.site(ctx, tx, name); err != nil {
			return err
		}
		if err := t.expect(ctx, tx, name, version); err != nil {
			return err
		}
		var doc []byte
		if err := tx.QueryRowContext(ctx, t.q("SELECT document FROM @sites WHERE name = $1"), name).Scan(&doc); err != nil {
			return err
		}
		if doc, err = set(doc, members); err != nil {
			return err
		}
		var what []string
		for _, key := range slices.Sorted(maps.Keys(members)) {
			if string(members[key]) == "null" {
				key += " taken out"
			}
			what = append(what, key)
		}
		if err := t.change(ctx, tx, name, info.CRS, who, "set "+strings.Join(what, ", ")); err != nil {
			return err
		}
		if err := t.exec(ctx, tx, "UPDATE @sites SET document = $2 WHERE name = $1", name, doc); err != nil {
			return err
		}
		info, err = t.site(ctx, tx, name)
		return err
	})
	return info, err
}

// DeleteSite takes a site out with all that is its own; the history stays.
func (t *Tables) DeleteSite(ctx context.Context, name, who string) error {
	return t.write(ctx, "delete", name, func(tx *sql.Tx) error {
		if _, err := t.site(ctx, tx, name); err != nil {
			return err
		}
		for _, l := range parcels.Layers {
			if err := t.Drop(ctx, tx, name, l); err != nil {
				return err
			}
		}
		if err := t.change(ctx, tx, name, "", who, "delete"); err != nil {
			return err
		}
		for _, table := range []string{"results", "rasters", "blobs", "jobs"} {
			if err := t.exec(ctx, tx, "DELETE FROM @"+table+" WHERE site = $1", name); err != nil {
				return err
			}
		}
		return t.exec(ctx, tx, "DELETE FROM @sites WHERE name = $1", name)
	})
}

// writer is an import under way.
type writer struct {
	t     *Tables
	tx    *sql.Tx
	end   func()
	load  Loader
	site  string
	layer parcels.Layer
	crs   string
	// version is that of the site when the import began; 0: there is none
	version int64
	move    func(parcels.StoredFeature) (parcels.StoredFeature, error)
	note    string
	count   int
	done    bool
}

// Write begins an import; other writers of the site wait until it ends.
func (t *Tables) Write(ctx context.Context, name string, layer parcels.Layer, crs string, replace bool) (parcels.LayerWriter, error) {
	crs, err := System(crs)
	if err != nil {
		return nil, err
	}
	if document.GeometryTypes(layer) == nil {
		return nil, &parcels.Error{Kind: parcels.Invalid, Op: "store: import", Subject: name, Err: fmt.Errorf("there is no layer %q", parcels.Excerpt(string(layer)))}
	}
	tx, end, err := t.Begin(ctx, "import", name)
	if err != nil {
		return nil, err
	}
	w := &writer{t: t, tx: tx, end: end, site: name, layer: layer, crs: crs}
	if err := w.begin(ctx, replace); err != nil {
		_ = tx.Rollback() // the first error is told
		end()
		return nil, t.Fault("import", name, err)
	}
	return w, nil
}

func (w *writer) begin(ctx context.Context, replace bool) error {
	if replace {
		if err := w.t.Drop(ctx, w.tx, w.site, w.layer); err != nil {
			return err
		}
	}
	list, err := w.t.sites(ctx, w.tx, w.site)
	if err != nil {
		return err
	}
	there := 0
	for _, i := range list {
		w.version = i.Version
		for _, n := range i.Features {
			there += n
		}
	}
	if there > 0 && list[0].CRS != w.crs { // a site without features takes any system
		own := list[0].CRS
		way, err := Mover(w.crs, own)
		if err != nil {
			return err
		}
		w.move = func(f parcels.StoredFeature) (parcels.StoredFeature, error) {
			f.Geometry, err = MoveGeometry(f.Geometry, way)
			return f, err
		}
		w.note = Brought(w.crs, own)
		w.crs = own
	}
	w.load, err = w.t.Load(ctx, w.tx, w.site, w.layer, w.crs)
	return err
}

// Brought tells that coordinates were brought from one system into another.
func Brought(from, to string) string {
	return fmt.Sprintf("Coordinates were brought from %s into %s, the site's system; between datums that is good to some metres only.", Named(from), Named(to))
}

// Named is a system as people read it.
func Named(crs string) string {
	if crs == "" {
		return "EPSG:4326"
	}
	return crs
}

var errEnded = errors.New("the import has ended")

// Expect refuses a version that is not the stored one.
func (w *writer) Expect(_ context.Context, version int64) error {
	return held(w.site, w.version, version)
}

func (w *writer) Add(ctx context.Context, f parcels.StoredFeature) (err error) {
	if w.done {
		return &parcels.Error{Kind: parcels.Failed, Op: "store: import", Subject: w.site, Err: errEnded}
	}
	if w.move != nil {
		if f, err = w.move(f); err != nil {
			var in *parcels.InputError
			if errors.As(err, &in) {
				return err
			}
			return Refuse(w.layer, w.count, f.ID, "geometry-invalid", "its geometry cannot be read")
		}
	}
	w.count++
	return w.t.Fault("import", w.site, w.load.Add(ctx, f))
}

func (w *writer) Commit(ctx context.Context, who string) (info parcels.SiteInfo, err error) {
	if w.done {
		return info, &parcels.Error{Kind: parcels.Failed, Op: "store: import", Subject: w.site, Err: errEnded}
	}
	what := fmt.Sprintf("import %s: %d features", w.layer, w.count)
	if w.note != "" {
		what += ". " + w.note
	}
	if err = w.load.Finish(ctx, true); err == nil {
		err = w.t.change(ctx, w.tx, w.site, w.crs, who, what)
	}
	if err == nil {
		info, err = w.t.site(ctx, w.tx, w.site)
	}
	if err != nil {
		_ = w.Abort() // the first error is told
		return info, w.t.Fault("import", w.site, err)
	}
	if w.note != "" {
		info.Notes = []string{w.note}
	}
	w.done = true
	defer w.end()
	return info, w.t.Commit(w.tx, "import", w.site)
}

func (w *writer) Abort() error {
	if w.done {
		return nil
	}
	w.done = true
	defer w.end()
	w.load.Release()
	if err := w.tx.Rollback(); err != nil && err != sql.ErrTxDone {
		return w.t.Fault("import", w.site, err)
	}
	return nil
}

// PutResult stores a result of a site and gives it its id.
func (t *Tables) PutResult(ctx context.Context, r parcels.Result) (parcels.Result, error) {
	if len(r.Document) > 0 {
		sum := sha256.Sum256(r.Document)
		if own := hex.EncodeToString(sum[:]); r.InputSHA == "" {
			r.InputSHA = own
		} else if r.InputSHA != own {
			return r, &parcels.Error{Kind: parcels.Invalid, Op: "store: put result", Subject: r.Site, Err: errors.New("the document is not the one whose checksum is given")}
		}
	}
	r.Made = moment(r.Made)
	err := t.write(ctx, "put result", r.Site, func(tx *sql.Tx) error {
		if _, err := t.site(ctx, tx, r.Site); err != nil {
			return err
		}
		if len(r.Document) > 0 {
			if err := t.putBlob(ctx, tx, r.Site, r.InputSHA, int64(len(r.Document)), bytesAt(r.Document)); err != nil {
				return err
			}
		}
		var n int64
		err := tx.QueryRowContext(ctx, t.q("INSERT INTO @results (site, kind, version, input_sha256, ground_sha256, program, made, inputs, body) VALUES ($1,$2,$3,$4,$5,$6,$7,$8,$9) RETURNING number"),
			r.Site, r.Kind, r.Version, r.InputSHA, r.Ground, r.Program, t.Stamp(r.Made), []byte(r.Inputs), []byte(r.Body)).Scan(&n)
		r.ID = fmt.Sprintf("r%d", n)
		return err
	})
	r.Document = nil
	return r, err
}

const resultColumns = "number, site, kind, version, input_sha256, ground_sha256, program, made"

func result(row interface{ Scan(...any) error }, more ...any) (r parcels.Result, err error) {
	var n int64
	err = row.Scan(append([]any{&n, &r.Site, &r.Kind, &r.Version, &r.InputSHA, &r.Ground, &r.Program, at{&r.Made}}, more...)...)
	r.ID = fmt.Sprintf("r%d", n)
	return r, err
}

// Results lists those of a site and kind (empty: any), oldest first, without
// inputs and bodies.
func (t *Tables) Results(ctx context.Context, name, kind string) (out []parcels.Result, err error) {
	err = t.read(ctx, "results", name, func(tx *sql.Tx) error {
		if _, err := t.site(ctx, tx, name); err != nil {
			return err
		}
		return t.rows(ctx, tx, func(rows *sql.Rows) error {
			r, err := result(rows)
			out = append(out, r)
			return err
		}, "SELECT "+resultColumns+" FROM @results WHERE site = $1 AND ($2 = '' OR kind = $2) ORDER BY number", name, kind)
	})
	return out, err
}

// Result is one, whole.
func (t *Tables) Result(ctx context.Context, id string) (r parcels.Result, err error) {
	n, err := strconv.ParseInt(strings.TrimPrefix(id, "r"), 10, 64)
	if err != nil {
		n = -1
	}
	err = t.read(ctx, "result", id, func(tx *sql.Tx) error {
		var inputs, body []byte
		r, err = result(tx.QueryRowContext(ctx, t.q("SELECT "+resultColumns+", inputs, body FROM @results WHERE number = $1"), n), &inputs, &body)
		if err == sql.ErrNoRows {
			return absent("result", "result", id)
		}
		r.Inputs, r.Body = inputs, body
		return err
	})
	return r, err
}

// Input gives the document that a result was worked from.
func (t *Tables) Input(ctx context.Context, r parcels.Result) (out []byte, err error) {
	err = t.read(ctx, "input", r.ID, func(tx *sql.Tx) error {
		n := 0
		if err := t.rows(ctx, tx, func(rows *sql.Rows) error {
			var part sql.RawBytes
			err := rows.Scan(&part)
			out = append(out, part...)
			n++
			return err
		}, "SELECT bytes FROM @blobs WHERE site = $1 AND sha256 = $2 ORDER BY part", r.Site, r.InputSHA); err != nil {
			return err
		}
		if n == 0 {
			return &parcels.Error{Kind: parcels.NotFound, Op: "store: input", Subject: r.ID, Err: errors.New("the site document that it was worked from was not stored with it")}
		}
		if sum := sha256.Sum256(out); hex.EncodeToString(sum[:]) != r.InputSHA {
			return &parcels.Error{Kind: parcels.Failed, Op: "store: input", Subject: r.ID, Err: errors.New("the stored document does not match its checksum; the store is damaged")}
		}
		return nil
	})
	return out, err
}

type bytesAt []byte

func (b bytesAt) ReadAt(p []byte, off int64) (int, error) {
	if off >= int64(len(b)) {
		return 0, io.EOF
	}
	n := copy(p, b[off:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}
