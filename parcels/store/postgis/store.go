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
	store.Tables
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
	s := &Store{db: db}
	s.Tables = store.Tables{Database: s, Prefix: "fallwright.", Order: "place", Stamp: func(t time.Time) any { return t }}
	return s, nil
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

// Fault turns an error of the database into one of ours.
func (s *Store) Fault(op, subject string, err error) error { return fault(op, subject, err) }

// Snapshot reads in one state of the database.
func (s *Store) Snapshot(ctx context.Context) (*sql.Tx, error) {
	return s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: sql.LevelRepeatableRead})
}

// system is the number of a site's system; ok is false where it has no such
// layer.
func system(ctx context.Context, tx *sql.Tx, name string, l parcels.Layer) (srs int, ok bool, err error) {
	var crs string
	err = tx.QueryRowContext(ctx, "SELECT s.crs FROM fallwright.layers l JOIN fallwright.sites s ON s.name = l.site WHERE l.site = $1 AND l.layer = $2", name, string(l)).Scan(&crs)
	if err == sql.ErrNoRows {
		return 0, false, nil
	}
	return store.SRS(crs), err == nil, err
}

// selection is the FROM and WHERE of a window.
func selection(name string, l parcels.Layer, srs int, w parcels.Window) (string, []any) {
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

// Select gives the features of a window by fid.
func (s *Store) Select(ctx context.Context, tx *sql.Tx, name string, layer parcels.Layer, w parcels.Window) iter.Seq2[parcels.StoredFeature, error] {
	return func(yield func(parcels.StoredFeature, error) bool) {
		stop := func(err error) { yield(parcels.StoredFeature{}, err) }
		srs, ok, err := system(ctx, tx, name, layer)
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

// Number counts the features of a window.
func (s *Store) Number(ctx context.Context, tx *sql.Tx, name string, layer parcels.Layer, w parcels.Window) (n int, err error) {
	srs, ok, err := system(ctx, tx, name, layer)
	if err != nil || !ok {
		return 0, err
	}
	text, args := selection(name, layer, srs, w)
	if len(w.Equal) == 0 {
		err := tx.QueryRowContext(ctx, "SELECT count(*)"+text, args...).Scan(&n)
		return n, err
	}
	rows, err := tx.QueryContext(ctx, "SELECT properties"+text, args...)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for rows.Next() {
		var props sql.RawBytes
		if err := rows.Scan(&props); err != nil {
			return 0, err
		}
		if store.Holds(json.RawMessage(props), w.Equal) {
			n++
		}
	}
	return n, rows.Err()
}
