package postgis

// Opening and reading.

import (
	"context"
	"database/sql"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/lib/pq"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/database"

	"fallwright/parcels"
	"fallwright/parcels/exchange/wkb"
	"fallwright/parcels/store"
)

//go:embed migrations/*.sql
var migrations embed.FS

// wait is how long a writer waits for another of the same site.
const wait = 5 * time.Second

// migrationLock is the advisory lock under which a database is brought up to
// date: "fall" in ASCII.
const migrationLock = 0x66616c6c

// Store is a PostGIS database. It is safe for use by several goroutines at once.
type Store struct {
	db *sql.DB
}

var _ parcels.Store = (*Store)(nil)

// Open opens the store of a database by lib/pq's connection string or URL, its
// tables made or brought up to date.
func Open(dsn string) (*Store, error) {
	db, err := sql.Open("postgres", dsn)
	if err != nil {
		return nil, &parcels.Error{Kind: parcels.Invalid, Op: "store: open", Subject: "postgres", Err: errors.New("the address of the database cannot be read")}
	}
	db.SetMaxOpenConns(20)
	db.SetMaxIdleConns(10)
	db.SetConnMaxIdleTime(5 * time.Minute)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := migrate(ctx, db); err != nil {
		db.Close()
		return nil, fault("open", "postgres", err)
	}
	return &Store{db}, nil
}

func migrate(ctx context.Context, db *sql.DB) error {
	// one process at a time: the lock is held by a connection of its own
	lock, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer lock.Close()
	if _, err := lock.ExecContext(ctx, "SELECT pg_advisory_lock($1)", migrationLock); err != nil {
		return err
	}
	defer lock.ExecContext(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock($1)", migrationLock)
	if _, err := lock.ExecContext(ctx, "CREATE SCHEMA IF NOT EXISTS fallwright"); err != nil {
		return err
	}
	if _, err := lock.ExecContext(ctx, "CREATE EXTENSION IF NOT EXISTS postgis"); err != nil {
		return err
	}
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	versions, err := database.NewStore(database.DialectPostgres, "fallwright.migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider("", db, files, goose.WithStore(versions))
	if err != nil {
		return err
	}
	_, err = p.Up(ctx)
	return err
}

// Close ends the connections.
func (s *Store) Close() error { return s.db.Close() }

// Ready says whether the database answers.
func (s *Store) Ready(ctx context.Context) error {
	var n int
	return fault("ready", "postgres", s.db.QueryRowContext(ctx, "SELECT 1 FROM fallwright.migrations LIMIT 1").Scan(&n))
}

// fault turns an error of the database into one of ours; none names the
// address, a user or a query.
func fault(op, subject string, err error) error {
	var own *parcels.Error
	var in *parcels.InputError
	if err == nil || errors.As(err, &own) || errors.As(err, &in) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	e := &parcels.Error{Kind: parcels.Failed, Op: "store: " + op, Subject: subject, Err: err}
	var pe *pq.Error
	var ne net.Error
	switch {
	case errors.As(err, &pe):
		switch {
		case pe.Code == "55P03" || pe.Code == "57014" && op == "import":
			e.Kind, e.Err = parcels.Busy, fmt.Errorf("another has been writing to the site for more than %v; try again", wait)
		case pe.Code.Class() == "08" || pe.Code.Class() == "57" || pe.Code == "53300" || pe.Code.Class() == "40":
			e.Kind = parcels.Busy
		case pe.Code == "53100":
			e.Kind = parcels.NoSpace
		case pe.Code == "22021" || pe.Code == "22P05" || pe.Code == "22P02":
			return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "property-invalid", Detail: "A text or number in the data cannot be held by the database (a NUL in a text, or broken JSON). Take it out."}}}
		}
	case errors.As(err, &ne), errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, sql.ErrConnDone), strings.Contains(err.Error(), "bad connection"):
		e.Kind, e.Err = parcels.Busy, errors.New("the database cannot be reached; try again")
	}
	return e
}

type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func absent(name string) error {
	return &parcels.Error{Kind: parcels.NotFound, Op: "store: site", Subject: name, Err: errors.New("there is no such site")}
}

func sites(ctx context.Context, q querier, name string) ([]parcels.SiteInfo, error) {
	where, args := "", []any{}
	if name != "" {
		where, args = " WHERE s.name = $1", []any{name}
	}
	rows, err := q.QueryContext(ctx, `SELECT s.name, s.crs, s.version, s.changed, l.layer, l.features, l.min_x, l.min_y, l.max_x, l.max_y
		FROM fallwright.sites s LEFT JOIN fallwright.layers l ON l.site = s.name`+where+` ORDER BY s.name, l.place`, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []parcels.SiteInfo
	for rows.Next() {
		var i parcels.SiteInfo
		var layer *string
		var n *int
		var b [4]*float64
		if err := rows.Scan(&i.Name, &i.CRS, &i.Version, &i.Changed, &layer, &n, &b[0], &b[1], &b[2], &b[3]); err != nil {
			return nil, err
		}
		if len(out) == 0 || out[len(out)-1].Name != i.Name {
			i.Changed = i.Changed.UTC()
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
	out, err := sites(ctx, s.db, "")
	return out, fault("sites", "postgres", err)
}

// Site describes one.
func (s *Store) Site(ctx context.Context, name string) (parcels.SiteInfo, error) {
	out, err := site(ctx, s.db, name)
	return out, fault("site", name, err)
}

// snapshot reads in one state of the database.
func (s *Store) snapshot(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: sql.LevelRepeatableRead})
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
		if err := tx.QueryRowContext(ctx, "SELECT document FROM fallwright.sites WHERE name = $1", name).Scan(&base); err != nil {
			return err
		}
		rows, err := tx.QueryContext(ctx, "SELECT layer FROM fallwright.layers WHERE site = $1 AND written ORDER BY place", name)
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
		rows, err := tx.QueryContext(ctx, "SELECT version, at, who, what FROM fallwright.history WHERE site = $1 ORDER BY version", name)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var e parcels.Edit
			if err := rows.Scan(&e.Version, &e.When, &e.Who, &e.What); err != nil {
				return err
			}
			e.When = e.When.UTC()
			out = append(out, e)
		}
		return rows.Err()
	})
	return out, fault("history", name, err)
}

// Features of a layer in a window, by fid unless sorted.
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

// layerOf looks for a layer of a site: how many features it has and the number
// of its system. Without one there is nothing to read.
func layerOf(ctx context.Context, q querier, name string, l parcels.Layer) (n int, srs uint32, ok bool, err error) {
	var crs string
	err = q.QueryRowContext(ctx, "SELECT l.features, s.crs FROM fallwright.layers l JOIN fallwright.sites s ON s.name = l.site WHERE l.site = $1 AND l.layer = $2", name, string(l)).Scan(&n, &crs)
	if err == sql.ErrNoRows {
		_, err = site(ctx, q, name)
		return 0, 0, false, err
	}
	if err == nil {
		srs, err = srsID(crs)
	}
	return n, srs, err == nil, err
}

// selection is the FROM and WHERE of a window.
func selection(name string, l parcels.Layer, srs uint32, w parcels.Window) (string, []any) {
	args := []any{name, w.After}
	text := " FROM fallwright." + pq.QuoteIdentifier(string(l)) + " WHERE site = $1 AND fid > $2"
	arg := func(v any) string {
		args = append(args, v)
		return "$" + strconv.Itoa(len(args))
	}
	if w.ID != "" {
		text += " AND feature_id = " + arg(w.ID)
	}
	if b := w.Bounds; b != nil {
		x0, y0, x1, y1 := arg(b.Min[0]), arg(b.Min[1]), arg(b.Max[0]), arg(b.Max[1])
		// the index is in single precision; the rest is exact
		text += fmt.Sprintf(" AND geom && ST_MakeEnvelope(%s, %s, %s, %s, %d) AND ST_XMax(geom) >= %s AND ST_XMin(geom) <= %s AND ST_YMax(geom) >= %s AND ST_YMin(geom) <= %s", x0, y0, x1, y1, srs, x0, x1, y0, y1)
	}
	if lot, ok := w.Equal["lot"]; ok && l == parcels.LayerParcels {
		text += " AND properties ->> 'lot' = " + arg(lot)
	}
	return text, args
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
		_, srs, ok, err := layerOf(ctx, q, name, layer)
		if err != nil {
			stop(err)
			return
		}
		if !ok {
			return
		}
		text, args := selection(name, layer, srs, w)
		text = "SELECT fid, feature_id, ST_AsBinary(geom), properties" + text + " ORDER BY fid"
		if w.Limit > 0 && len(w.Equal) == 0 {
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
			if props != nil {
				f.Properties = json.RawMessage(*props)
			}
			if !store.Holds(f.Properties, w.Equal) {
				continue
			}
			if id != nil {
				f.ID = *id
			}
			if len(geom) > 0 {
				if f.Geometry, _, err = wkb.ToGeoJSON(make([]byte, 0, 2*len(geom)), geom); err != nil {
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
		all, srs, ok, err := layerOf(ctx, tx, name, layer)
		if err != nil || !ok {
			return err
		}
		if w.Bounds == nil && len(w.Equal) == 0 && w.ID == "" && w.After == 0 {
			n = all
			return nil
		}
		text, args := selection(name, layer, srs, w)
		if len(w.Equal) == 0 {
			return tx.QueryRowContext(ctx, "SELECT count(*)"+text, args...).Scan(&n)
		}
		rows, err := tx.QueryContext(ctx, "SELECT properties"+text, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var props sql.RawBytes
			if err := rows.Scan(&props); err != nil {
				return err
			}
			if store.Holds(json.RawMessage(props), w.Equal) {
				n++
			}
		}
		return rows.Err()
	})
	return n, fault("count", name, err)
}

// Results lists those of a site and kind (empty: any), oldest first, without
// inputs and bodies.
func (s *Store) Results(ctx context.Context, name, kind string) (out []parcels.Result, err error) {
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		if _, err := site(ctx, tx, name); err != nil {
			return err
		}
		rows, err := tx.QueryContext(ctx, "SELECT number, site, kind, version, input_sha256, program, made FROM fallwright.results WHERE site = $1 AND ($2 = '' OR kind = $2) ORDER BY number", name, kind)
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
	err = row.Scan(append([]any{&n, &r.Site, &r.Kind, &r.Version, &r.InputSHA, &r.Program, &r.Made}, more...)...)
	r.ID, r.Made = fmt.Sprintf("r%d", n), r.Made.UTC()
	return r, err
}

// Result is one, whole.
func (s *Store) Result(ctx context.Context, id string) (parcels.Result, error) {
	n, err := strconv.ParseInt(strings.TrimPrefix(id, "r"), 10, 64)
	if err != nil {
		n = -1
	}
	var inputs, body []byte
	r, err := result(s.db.QueryRowContext(ctx, "SELECT number, site, kind, version, input_sha256, program, made, inputs, body FROM fallwright.results WHERE number = $1", n), &inputs, &body)
	if err == sql.ErrNoRows {
		return r, &parcels.Error{Kind: parcels.NotFound, Op: "store: result", Subject: id, Err: errors.New("there is no such result")}
	}
	r.Inputs, r.Body = inputs, body
	return r, fault("result", id, err)
}
