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
	"slices"
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
	store.Tables
	path   string
	reads  *sql.DB
	writes *sql.DB
	turn   chan struct{} // one writer of this process
	holder *os.File
	failed atomic.Pointer[error]
	closed sync.Once
	known  listing
}

// listing is the list of sites as the file stood at a count of its changes.
type listing struct {
	mu    sync.Mutex
	conn  *sql.Conn // the count is this connection's own
	count *sql.Stmt
	at    int64
	sites []parcels.SiteInfo
	there bool
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
	s.Tables = store.Tables{Database: s, Prefix: "fallwright_", Order: "rowid", Stamp: func(t time.Time) any { return t.Format(store.Layout) }}
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
	made, err := s.ready(ctx)
	if err != nil {
		return fault("open", s.path, err)
	}
	if made { // programs look for the application id in the file itself
		if _, err := s.writes.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
			return fault("open", s.path, err)
		}
	}
	if s.reads, err = sql.Open("sqlite", dsn("&_pragma=query_only(1)&_pragma=cache_size(-16384)&_pragma=mmap_size(268435456)")); err != nil {
		return fault("open", s.path, err)
	}
	s.reads.SetMaxOpenConns(17) // one of them counts changes
	s.reads.SetMaxIdleConns(16)
	return s.check(ctx)
}

// ready makes the tables in an empty file and brings those of an older program
// up to date, both only after a look at what the file would run.
func (s *Store) ready(ctx context.Context) (made bool, err error) {
	tx, end, err := s.Begin(ctx, "open", s.path)
	if err != nil {
		return false, err
	}
	defer end()
	var n int
	err = tx.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&n)
	version := 0
	if made = err == nil && n == 0; made {
		err = create(ctx, tx)
	} else if err == nil {
		version, err = s.version(ctx, tx)
	}
	if err == nil && version < len(upgrades) {
		err = upgrade(ctx, tx, version)
	}
	if err != nil {
		_ = tx.Rollback() // the first error is told
		return false, err
	}
	return made, s.Commit(tx, "open", s.path)
}

// version is that of the store's own tables. A file without them is refused, one
// that would run code when it is read or written, and one of a later program.
func (s *Store) version(ctx context.Context, tx *sql.Tx) (v int, err error) {
	refuse := func(k parcels.Kind, why string) error {
		return &parcels.Error{Kind: k, Op: "store: open", Subject: s.path, Err: errors.New(why)}
	}
	var own int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema WHERE name = 'fallwright_store'").Scan(&own); err != nil {
		return 0, err
	}
	if own > 0 {
		if err := harmless(ctx, tx); err != nil {
			return 0, err
		}
		err = tx.QueryRowContext(ctx, "SELECT version FROM fallwright_store").Scan(&v)
	}
	switch {
	case own == 0 || err == sql.ErrNoRows:
		err = refuse(parcels.Conflict, "the file is there already and is no store of this program; name another, or `fallwright import` it into one")
	case err == nil && v > len(upgrades):
		err = refuse(parcels.Unsupported, fmt.Sprintf("the store is of version %d, this program reads up to %d", v, len(upgrades)))
	}
	return v, err
}

// check looks at an open store.
func (s *Store) check(ctx context.Context) error {
	tx, err := s.Snapshot(ctx)
	if err != nil {
		return fault("open", s.path, err)
	}
	defer tx.Rollback()
	v, err := s.version(ctx, tx)
	if err == nil && v < len(upgrades) {
		err = &parcels.Error{Kind: parcels.Unsupported, Op: "store: open", Subject: s.path, Err: fmt.Errorf("the store is of version %d and open for reading only; an import or `fallwright serve --store` brings it to version %d", v, len(upgrades))}
	}
	return fault("open", s.path, err)
}

func (s *Store) close() {
	s.forget()
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
		s.forget()
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
		case 10:
			switch se.Code() >> 8 {
			case 3, 4, 6, 19: // write, fsync, truncate, size of the shared memory: SQLite tells no more
				e.Kind, e.Err = parcels.NoSpace, fmt.Errorf("the file cannot be written further: the disk is full, a limit on the size of files is reached, or the disk fails (%w)", err)
			}
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

// Fault turns an error of SQLite or the disk into one of ours.
func (s *Store) Fault(op, subject string, err error) error { return fault(op, subject, err) }

// Begin waits for the turn to write: the file has one writer.
func (s *Store) Begin(ctx context.Context, op, subject string) (*sql.Tx, func(), error) {
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

// Commit makes a transaction durable. After an error of the disk nothing more
// is written: what it holds is no longer known.
func (s *Store) Commit(tx *sql.Tx, op, subject string) error {
	err := tx.Commit()
	var se *sqlite.Error
	if errors.As(err, &se) && se.Code()&0xff == 10 {
		s.failed.Store(&err)
	}
	return fault(op, subject, err)
}

// Snapshot reads in one state of the file.
func (s *Store) Snapshot(ctx context.Context) (*sql.Tx, error) {
	return s.reads.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
}

// Sites lists what is stored, by name. The list is read anew only after another
// connection, of this process or not, has changed the file.
func (s *Store) Sites(ctx context.Context) ([]parcels.SiteInfo, error) {
	k := &s.known
	k.mu.Lock()
	defer k.mu.Unlock()
	at, err := s.changes(ctx)
	if err != nil {
		s.unwatch()
		return nil, fault("sites", "", err)
	}
	if !k.there || at != k.at {
		// a change between the count and the list is counted next time
		list, err := s.Tables.Sites(ctx)
		if err != nil {
			return nil, err
		}
		k.sites, k.at, k.there = list, at, true
	}
	return slices.Clone(k.sites), nil
}

// changes counts what other connections than its own have written to the file;
// only whether it is the same as before means anything.
func (s *Store) changes(ctx context.Context) (n int64, err error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	ctx = context.WithoutCancel(ctx) // it takes microseconds, and the connection is all callers'
	k := &s.known
	if k.conn == nil {
		if k.conn, err = s.reads.Conn(ctx); err != nil {
			return 0, err
		}
		if k.count, err = k.conn.PrepareContext(ctx, "PRAGMA data_version"); err != nil {
			return 0, err
		}
	}
	err = k.count.QueryRowContext(ctx).Scan(&n)
	return n, err
}

// unwatch gives the connection that counts changes up, and with it the list.
func (s *Store) unwatch() {
	k := &s.known
	if k.count != nil {
		k.count.Close()
	}
	if k.conn != nil {
		k.conn.Close()
	}
	k.conn, k.count, k.sites, k.there = nil, nil, nil, false
}

// forget closes what reads keep between calls.
func (s *Store) forget() {
	s.known.mu.Lock()
	defer s.known.mu.Unlock()
	s.unwatch()
}

type layerRow struct {
	table       string
	count       int
	first, last int64
	box         wkb.Box
}

func layerOf(ctx context.Context, q *sql.Tx, site string, l parcels.Layer) (r layerRow, ok bool, err error) {
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

// Select gives the features of a window by fid.
func (s *Store) Select(ctx context.Context, tx *sql.Tx, name string, layer parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error] {
	return func(yield func(parcels.StoredFeature, error) bool) {
		stop := func(err error) { yield(parcels.StoredFeature{}, err) }
		r, ok, err := layerOf(ctx, tx, name, layer)
		if err != nil {
			stop(err)
			return
		}
		if !ok {
			return
		}
		text, args, box, equal := selection(r, name, layer, w)
		text = "SELECT t.fid, t.feature_id, t.geom, t.properties" + text + " ORDER BY t.fid"
		if w.Limit > 0 && box == nil && len(equal) == 0 {
			text += " LIMIT " + strconv.Itoa(w.Limit)
		}
		rows, err := tx.QueryContext(ctx, text, args...)
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

// Number counts the features of a window.
func (s *Store) Number(ctx context.Context, tx *sql.Tx, name string, layer parcels.Layer, w parcels.Window) (n int, err error) {
	r, ok, err := layerOf(ctx, tx, name, layer)
	if err != nil || !ok {
		return 0, err
	}
	text, args, box, equal := selection(r, name, layer, w)
	if box == nil && len(equal) == 0 {
		err := tx.QueryRowContext(ctx, "SELECT count(*)"+text, args...).Scan(&n)
		return n, err
	}
	pick := "SELECT substr(t.geom, 1, 40), NULL"
	if len(equal) > 0 {
		pick = "SELECT substr(t.geom, 1, 40), t.properties"
	}
	rows, err := tx.QueryContext(ctx, pick+text, args...)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		var head, props sql.RawBytes
		if err := rows.Scan(&head, &props); err != nil {
			return 0, err
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
	return n, rows.Err()
}

// Ready says whether the store answers and takes writes.
func (s *Store) Ready(ctx context.Context) error {
	if f := s.failed.Load(); f != nil {
		return &parcels.Error{Kind: parcels.Failed, Op: "store: ready", Subject: s.path, Err: *f}
	}
	return s.check(ctx)
}
