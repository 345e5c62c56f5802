package gpkg

// Opening, reading and writing.

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"net/url"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"modernc.org/sqlite"

	"fallwright/parcels"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

// wait is how long a writer waits for another before it is refused.
const wait = 5 * time.Second

// Options of opening.
type Options struct {
	// Hold makes this process the one that serves the file; a second one that
	// would is refused, naming the first.
	Hold bool
	// ReadOnly opens an existing store for reading only.
	ReadOnly bool
}

// Store is a GeoPackage file. It is safe for use by several goroutines at once.
type Store struct {
	path   string
	reads  *sql.DB
	writes *sql.DB
	turn   chan struct{} // one writer of this process
	holder *os.File
	failed atomic.Pointer[error]
	closed sync.Once
}

var _ parcels.Store = (*Store)(nil)

// Open opens a store, made where the file is missing or empty. A file that is
// something else is refused (Conflict), one that another process serves as
// well (Busy).
func Open(path string, o Options) (*Store, error) {
	if err := register(); err != nil {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "store: open", Subject: path, Err: err}
	}
	if head, err := firstBytes(path); err != nil {
		return nil, fault("open", path, err)
	} else if len(head) > 0 && !strings.HasPrefix(string(head), "SQLite format 3\x00") {
		return nil, &parcels.Error{Kind: parcels.Conflict, Op: "store: open", Subject: path, Err: errors.New("the file is there already and is no GeoPackage; name another")}
	} else if len(head) == 0 && o.ReadOnly {
		return nil, &parcels.Error{Kind: parcels.NotFound, Op: "store: open", Subject: path, Err: errors.New("there is no such store; `fallwright import` makes one")}
	}
	s := &Store{path: path, turn: make(chan struct{}, 1)}
	if o.Hold {
		f, err := hold(path)
		if err != nil {
			return nil, err
		}
		s.holder = f
	}
	if err := s.open(o); err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

func firstBytes(path string) ([]byte, error) {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	head := make([]byte, 16)
	n, err := io.ReadFull(f, head)
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		err = nil
	}
	return head[:n], err
}

// hold locks the file beside the store that names who serves it. The lock goes
// with the process, however it ends.
func hold(path string) (*os.File, error) {
	f, err := os.OpenFile(path+".holder", os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fault("hold", path, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		who := make([]byte, 200)
		n, _ := f.ReadAt(who, 0)
		f.Close()
		return nil, &parcels.Error{Kind: parcels.Busy, Op: "store: open", Subject: path, Err: fmt.Errorf("served already by %s; stop that first or name another store", parcels.Excerpt(strings.TrimSpace(string(who[:n]))))}
	}
	host, _ := os.Hostname()
	if err := f.Truncate(0); err == nil {
		_, err = f.WriteAt(fmt.Appendf(nil, "process %d on %s since %s\n", os.Getpid(), host, time.Now().UTC().Format(time.RFC3339)), 0)
		if err != nil {
			f.Close()
			return nil, fault("hold", path, err)
		}
	}
	return f, nil
}

func (s *Store) open(o Options) error {
	dsn := func(more string) string {
		return "file:" + (&url.URL{Path: s.path}).EscapedPath() + "?_pragma=busy_timeout(" + strconv.Itoa(int(wait.Milliseconds())) + ")&_pragma=foreign_keys(1)&_pragma=trusted_schema(1)" + more
	}
	var err error
	if o.ReadOnly {
		if s.reads, err = sql.Open("sqlite", dsn("&mode=ro&_pragma=query_only(1)")); err != nil {
			return fault("open", s.path, err)
		}
		return s.check(context.Background())
	}
	if s.writes, err = sql.Open("sqlite", dsn("&_pragma=journal_mode(wal)&_pragma=synchronous(full)&_pragma=cache_size(-65536)&_txlock=immediate")); err != nil {
		return fault("open", s.path, err)
	}
	s.writes.SetMaxOpenConns(1)
	s.writes.SetConnMaxIdleTime(0)
	ctx := context.Background()
	made := false
	err = s.write(ctx, "open", s.path, func(tx *sql.Tx) error {
		var n int
		if err := tx.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&n); err != nil || n > 0 {
			return err
		}
		made = true
		return create(ctx, tx)
	})
	if err != nil {
		return err
	}
	if made { // programs look for the application id in the file itself
		if _, err := s.writes.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
			return fault("open", s.path, err)
		}
	}
	if s.reads, err = sql.Open("sqlite", dsn("&_pragma=query_only(1)&_pragma=cache_size(-16384)&_pragma=mmap_size(268435456)")); err != nil {
		return fault("open", s.path, err)
	}
	s.reads.SetMaxOpenConns(16)
	s.reads.SetMaxIdleConns(16)
	return s.check(ctx)
}

// check refuses a file that is no store of this version.
func (s *Store) check(ctx context.Context) error {
	var v int
	err := s.reads.QueryRowContext(ctx, "SELECT version FROM fallwright_store").Scan(&v)
	switch {
	case err != nil && strings.Contains(err.Error(), "no such table"):
		return &parcels.Error{Kind: parcels.Conflict, Op: "store: open", Subject: s.path, Err: errors.New("the file is there already and is no store of this program; name another, or `fallwright import` it into one")}
	case err != nil:
		return fault("open", s.path, err)
	case v != storeVersion:
		return &parcels.Error{Kind: parcels.Unsupported, Op: "store: open", Subject: s.path, Err: fmt.Errorf("the store is of version %d, this program reads %d", v, storeVersion)}
	}
	return nil
}

func (s *Store) close() {
	if s.reads != nil {
		s.reads.Close()
	}
	if s.writes != nil {
		s.writes.Close()
	}
	if s.holder != nil {
		os.Remove(s.holder.Name())
		s.holder.Close()
	}
}

// Close brings the file back to a plain one where no other process holds it.
func (s *Store) Close() error {
	s.closed.Do(s.shut)
	return nil
}

func (s *Store) shut() {
	if s.writes != nil {
		s.reads.Close()
		// these fail while another process reads or writes; the file is right all the same
		_, _ = s.writes.Exec("PRAGMA busy_timeout = 100")
		_, _ = s.writes.Exec("PRAGMA wal_checkpoint(TRUNCATE)")
		_, _ = s.writes.Exec("PRAGMA journal_mode = delete")
	}
	s.close()
}

// fault turns an error of SQLite or the disk into one of ours.
func fault(op, subject string, err error) error {
	var own *parcels.Error
	var in *parcels.InputError
	if err == nil || errors.As(err, &own) || errors.As(err, &in) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	e := &parcels.Error{Kind: parcels.Failed, Op: "store: " + op, Subject: subject, Err: err}
	var se *sqlite.Error
	if errors.As(err, &se) {
		switch se.Code() & 0xff {
		case 5, 6:
			e.Kind, e.Err = parcels.Busy, fmt.Errorf("another program has been writing to the store for more than %v; try again", wait)
		case 13:
			e.Kind, e.Err = parcels.NoSpace, errors.New("no space left on the disk of the store")
		case 26:
			e.Kind, e.Err = parcels.Conflict, errors.New("the file is no GeoPackage")
		}
	}
	if errors.Is(err, syscall.ENOSPC) {
		e.Kind = parcels.NoSpace
	}
	return e
}

// begin waits for the turn to write. The returned function ends it.
func (s *Store) begin(ctx context.Context, op, subject string) (*sql.Tx, func(), error) {
	if s.writes == nil {
		return nil, nil, &parcels.Error{Kind: parcels.Unsupported, Op: "store: " + op, Subject: subject, Err: errors.New("the store is open for reading only")}
	}
	if f := s.failed.Load(); f != nil {
		return nil, nil, &parcels.Error{Kind: parcels.Failed, Op: "store: " + op, Subject: subject, Err: fmt.Errorf("the store takes no more writes after a failed one: %w", *f)}
	}
	limit := time.NewTimer(wait)
	defer limit.Stop()
	select {
	case s.turn <- struct{}{}:
	case <-ctx.Done():
		return nil, nil, ctx.Err()
	case <-limit.C:
		return nil, nil, &parcels.Error{Kind: parcels.Busy, Op: "store: " + op, Subject: subject, Err: fmt.Errorf("another import has been writing for more than %v; try again", wait)}
	}
	tx, err := s.writes.BeginTx(ctx, nil)
	if err != nil {
		<-s.turn
		return nil, nil, fault(op, subject, err)
	}
	return tx, func() { <-s.turn }, nil
}

// commit makes a transaction durable. After an error of the disk nothing more
// is written: what it holds is no longer known.
func (s *Store) commit(tx *sql.Tx, op, subject string) error {
	err := tx.Commit()
	var se *sqlite.Error
	if errors.As(err, &se) && se.Code()&0xff == 10 {
		s.failed.Store(&err)
	}
	return fault(op, subject, err)
}

func (s *Store) write(ctx context.Context, op, subject string, f func(tx *sql.Tx) error) error {
	tx, end, err := s.begin(ctx, op, subject)
	if err != nil {
		return err
	}
	defer end()
	if err := f(tx); err != nil {
		_ = tx.Rollback() // the first error is told
		return fault(op, subject, err)
	}
	return s.commit(tx, op, subject)
}

// querier is a transaction or the pool of readers.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

const stamp = "2006-01-02T15:04:05.000Z"

func now() string { return time.Now().UTC().Format(stamp) }

func absent(name string) error {
	return &parcels.Error{Kind: parcels.NotFound, Op: "store: site", Subject: name, Err: errors.New("there is no such site")}
}

func sites(ctx context.Context, q querier, name string) ([]parcels.SiteInfo, error) {
	where, args := "", []any{}
	if name != "" {
		where, args = " WHERE s.name = ?", []any{name}
	}
	rows, err := q.QueryContext(ctx, `SELECT s.name, s.crs, s.version, s.changed, l.layer, l.features, l.min_x, l.min_y, l.max_x, l.max_y
		FROM fallwright_sites s LEFT JOIN fallwright_layers l ON l.site = s.name`+where+` ORDER BY s.name, l.rowid`, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []parcels.SiteInfo
	for rows.Next() {
		var i parcels.SiteInfo
		var changed string
		var layer *string
		var n *int
		var b [4]*float64
		if err := rows.Scan(&i.Name, &i.CRS, &i.Version, &changed, &layer, &n, &b[0], &b[1], &b[2], &b[3]); err != nil {
			return nil, err
		}
		if len(out) == 0 || out[len(out)-1].Name != i.Name {
			if i.Changed, err = time.Parse(stamp, changed); err != nil {
				return nil, err
			}
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
	}
	return out, rows.Err()
}

func site(ctx context.Context, q querier, name string) (parcels.SiteInfo, error) {
	list, err := sites(ctx, q, name)
	if err == nil && (len(list) == 0 || name == "") {
		err = absent(name)
	}
	if err != nil {
		return parcels.SiteInfo{}, err
	}
	return list[0], nil
}

// Sites lists what is stored, by name.
func (s *Store) Sites(ctx context.Context) ([]parcels.SiteInfo, error) {
	out, err := sites(ctx, s.reads, "")
	return out, fault("sites", s.path, err)
}

// Site describes one.
func (s *Store) Site(ctx context.Context, name string) (parcels.SiteInfo, error) {
	out, err := site(ctx, s.reads, name)
	return out, fault("site", name, err)
}

// snapshot reads in one state of the store.
func (s *Store) snapshot(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.reads.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback()
	return f(tx)
}

// Document gives the site document.
func (s *Store) Document(ctx context.Context, name string) (out []byte, err error) {
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		info, err := site(ctx, tx, name)
		if err != nil {
			return err
		}
		var base []byte
		if err := tx.QueryRowContext(ctx, "SELECT document FROM fallwright_sites WHERE name = ?", name).Scan(&base); err != nil {
			return err
		}
		rows, err := tx.QueryContext(ctx, "SELECT layer FROM fallwright_layers WHERE site = ? AND written = 1 ORDER BY rowid", name)
		if err != nil {
			return err
		}
		var written []parcels.Layer
		for rows.Next() {
			var l parcels.Layer
			if err := rows.Scan(&l); err != nil {
				rows.Close()
				return err
			}
			written = append(written, l)
		}
		if err := rows.Err(); err != nil {
			return err
		}
		if base != nil && len(written) == 0 {
			out = base
			return nil
		}
		out, err = store.Assemble(name, info.CRS, base, written, func(l parcels.Layer) iter.Seq2[parcels.StoredFeature, error] {
			return features(ctx, tx, name, l, parcels.Window{})
		})
		return err
	})
	return out, fault("document", name, err)
}

// History lists the edits of a site, also those before it was deleted and came
// back under the same name.
func (s *Store) History(ctx context.Context, name string) (out []parcels.Edit, err error) {
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		if _, err := site(ctx, tx, name); err != nil {
			return err
		}
		rows, err := tx.QueryContext(ctx, "SELECT version, at, who, what FROM fallwright_history WHERE site = ? ORDER BY version", name)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var e parcels.Edit
			var at string
			if err := rows.Scan(&e.Version, &at, &e.Who, &e.What); err != nil {
				return err
			}
			if e.When, err = time.Parse(stamp, at); err != nil {
				return err
			}
			out = append(out, e)
		}
		return rows.Err()
	})
	return out, fault("history", name, err)
}

type layerRow struct {
	table       string
	count       int
	first, last int64
	box         wkb.Box
}

func layerOf(ctx context.Context, q querier, site string, l parcels.Layer) (r layerRow, ok bool, err error) {
	var b [4]*float64
	err = q.QueryRowContext(ctx, "SELECT table_name, features, first_fid, last_fid, min_x, min_y, max_x, max_y FROM fallwright_layers WHERE site = ? AND layer = ?", site, string(l)).
		Scan(&r.table, &r.count, &r.first, &r.last, &b[0], &b[1], &b[2], &b[3])
	if err == sql.ErrNoRows {
		return r, false, nil
	}
	r.box = wkb.NoBox()
	if b[0] != nil {
		r.box = wkb.Box{MinX: *b[0], MinY: *b[1], MaxX: *b[2], MaxY: *b[3]}
	}
	return r, err == nil, err
}

// Features of a layer in a window, by fid unless sorted. The order is that of
// import.
func (s *Store) Features(ctx context.Context, site string, layer parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error] {
	return func(yield func(parcels.StoredFeature, error) bool) {
		err := s.snapshot(ctx, func(tx *sql.Tx) error {
			for f, err := range features(ctx, tx, site, layer, w) {
				if err != nil {
					return err
				}
				if !yield(f, nil) {
					return errEnough
				}
			}
			return nil
		})
		if err != nil && err != errEnough {
			yield(parcels.StoredFeature{}, fault("features", site, err))
		}
	}
}

var errEnough = errors.New("enough")

// selection is the FROM and WHERE of a window, and what is left to look at in
// each row.
func selection(r layerRow, site string, layer parcels.Layer, w parcels.Window) (text string, args []any, box *wkb.Box, equal map[string]string) {
	var b strings.Builder
	if w.Bounds != nil {
		q := wkb.Box{MinX: w.Bounds.Min[0], MinY: w.Bounds.Min[1], MaxX: w.Bounds.Max[0], MaxY: w.Bounds.Max[1]}
		whole := !r.box.Empty() && q.MinX <= r.box.MinX && q.MinY <= r.box.MinY && q.MaxX >= r.box.MaxX && q.MaxY >= r.box.MaxY
		box = &q
		if !whole { // over the whole layer the index only costs
			o := outward(q)
			fmt.Fprintf(&b, ` FROM "rtree_%s_geom" r CROSS JOIN %q t ON t.fid = r.id WHERE r.minx <= ? AND r.maxx >= ? AND r.miny <= ? AND r.maxy >= ? AND`, r.table, r.table)
			args = append(args, o[1], o[0], o[3], o[2])
		}
	}
	if b.Len() == 0 {
		fmt.Fprintf(&b, ` FROM %q t WHERE`, r.table)
	}
	equal = w.Equal
	if w.ID != "" {
		b.WriteString(" t.site = ? AND t.feature_id = ? AND t.fid > ?")
		args = append(args, site, w.ID, w.After)
	} else if lot, ok := w.Equal["lot"]; ok && hasLotIndex(layer) && w.Bounds == nil {
		b.WriteString(" t.site = ? AND t.lot = ? AND t.fid > ?")
		args = append(args, site, lot, w.After)
	} else {
		b.WriteString(" t.fid > ? AND t.fid >= ? AND t.fid <= ? AND t.site = ?")
		args = append(args, w.After, r.first, r.last, site)
	}
	return b.String(), args, box, equal
}

func features(ctx context.Context, q querier, name string, layer parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error] {
	return func(yield func(parcels.StoredFeature, error) bool) {
		if w.Sort != "" {
			by, limit := w.Sort, w.Limit
			w.Sort, w.Limit = "", 0
			var all []parcels.StoredFeature
			for f, err := range features(ctx, q, name, layer, w) {
				if err != nil {
					yield(f, err)
					return
				}
				all = append(all, f)
			}
			for _, f := range store.Sorted(all, by, limit) {
				if !yield(f, nil) {
					return
				}
			}
			return
		}
		stop := func(err error) { yield(parcels.StoredFeature{}, err) }
		r, ok, err := layerOf(ctx, q, name, layer)
		if err != nil {
			stop(err)
			return
		}
		if !ok {
			if _, err := site(ctx, q, name); err != nil {
				stop(err)
			}
			return
		}
		text, args, box, equal := selection(r, name, layer, w)
		text = "SELECT t.fid, t.feature_id, t.geom, t.properties" + text + " ORDER BY t.fid"
		if w.Limit > 0 && box == nil && len(equal) == 0 {
			text += " LIMIT " + strconv.Itoa(w.Limit)
		}
		rows, err := q.QueryContext(ctx, text, args...)
		if err != nil {
			stop(err)
			return
		}
		defer rows.Close()
		n := 0
		for rows.Next() {
			var f parcels.StoredFeature
			var id *string
			var geom sql.RawBytes
			var props *string
			if err := rows.Scan(&f.FID, &id, &geom, &props); err != nil {
				stop(err)
				return
			}
			if box != nil {
				b, ok := boxOf([]byte(geom))
				if !ok || b.Empty() || !b.Touches(*box) {
					continue
				}
			}
			if props != nil {
				f.Properties = json.RawMessage(*props)
			}
			if !store.Holds(f.Properties, equal) {
				continue
			}
			if id != nil {
				f.ID = *id
			}
			if len(geom) > 0 {
				_, bin, err := wkb.SplitHeader(geom)
				if err == nil {
					f.Geometry, _, err = wkb.ToGeoJSON(make([]byte, 0, 2*len(bin)), bin)
				}
				if err != nil {
					stop(fmt.Errorf("feature %d of %s: %w", f.FID, layer, err))
					return
				}
			}
			n++
			if !yield(f, nil) || n == w.Limit {
				return
			}
		}
		if err := rows.Err(); err != nil {
			stop(err)
		}
	}
}

// Count is how many features Features gives, its limit apart.
func (s *Store) Count(ctx context.Context, name string, layer parcels.Layer, w parcels.Window) (n int, err error) {
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		r, ok, err := layerOf(ctx, tx, name, layer)
		if err != nil {
			return err
		}
		if !ok {
			_, err := site(ctx, tx, name)
			return err
		}
		if w.Bounds == nil && len(w.Equal) == 0 && w.ID == "" && w.After == 0 {
			n = r.count
			return nil
		}
		text, args, box, equal := selection(r, name, layer, w)
		if box == nil && len(equal) == 0 {
			return tx.QueryRowContext(ctx, "SELECT count(*)"+text, args...).Scan(&n)
		}
		pick := "SELECT substr(t.geom, 1, 40), NULL"
		if len(equal) > 0 {
			pick = "SELECT substr(t.geom, 1, 40), t.properties"
		}
		rows, err := tx.QueryContext(ctx, pick+text, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var head, props sql.RawBytes
			if err := rows.Scan(&head, &props); err != nil {
				return err
			}
			if box != nil {
				h, _, err := wkb.SplitHeader(head)
				if err != nil || h.Box.Empty() || !h.Box.Touches(*box) {
					continue
				}
			}
			if store.Holds(json.RawMessage(props), equal) {
				n++
			}
		}
		return rows.Err()
	})
	return n, fault("count", name, err)
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
		got, err := tx.ExecContext(ctx, "INSERT INTO fallwright_results (site, kind, version, input_sha256, program, made, inputs, body) VALUES (?,?,?,?,?,?,?,?)",
			r.Site, r.Kind, r.Version, r.InputSHA, r.Program, r.Made.Format(stamp), []byte(r.Inputs), []byte(r.Body))
		if err != nil {
			return err
		}
		n, err := got.LastInsertId()
		r.ID = fmt.Sprintf("r%d", n)
		return err
	})
	return r, err
}

// Results lists those of a site and kind (empty: any), oldest first, without
// inputs and bodies.
func (s *Store) Results(ctx context.Context, name, kind string) (out []parcels.Result, err error) {
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		if _, err := site(ctx, tx, name); err != nil {
			return err
		}
		rows, err := tx.QueryContext(ctx, "SELECT number, site, kind, version, input_sha256, program, made FROM fallwright_results WHERE site = ? AND (? = '' OR kind = ?) ORDER BY number", name, kind, kind)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			r, err := result(rows)
			if err != nil {
				return err
			}
			out = append(out, r)
		}
		return rows.Err()
	})
	return out, fault("results", name, err)
}

func result(row interface{ Scan(...any) error }, more ...any) (r parcels.Result, err error) {
	var n int64
	var made string
	if err = row.Scan(append([]any{&n, &r.Site, &r.Kind, &r.Version, &r.InputSHA, &r.Program, &made}, more...)...); err != nil {
		return r, err
	}
	r.ID = fmt.Sprintf("r%d", n)
	r.Made, err = time.Parse(stamp, made)
	return r, err
}

// Result is one, whole.
func (s *Store) Result(ctx context.Context, id string) (parcels.Result, error) {
	n, err := strconv.ParseInt(strings.TrimPrefix(id, "r"), 10, 64)
	if err != nil {
		n = -1
	}
	var inputs, body []byte
	r, err := result(s.reads.QueryRowContext(ctx, "SELECT number, site, kind, version, input_sha256, program, made, inputs, body FROM fallwright_results WHERE number = ?", n), &inputs, &body)
	if err == sql.ErrNoRows {
		return r, &parcels.Error{Kind: parcels.NotFound, Op: "store: result", Subject: id, Err: errors.New("there is no such result")}
	}
	r.Inputs, r.Body = inputs, body
	return r, fault("result", id, err)
}

// Ready says whether the store answers and takes writes.
func (s *Store) Ready(ctx context.Context) error {
	if f := s.failed.Load(); f != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "store: ready", Subject: s.path, Err: *f}
	}
	return s.check(ctx)
}
