package postgis

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/jobs/pgtemp"
	"fallwright/parcels/store/storetest"
)

// own makes a database of its own in the server.
func own(t *testing.T, server string, n int) string {
	t.Helper()
	// copied from the one that has PostGIS, from outside of it
	db, err := sql.Open("postgres", strings.Replace(server, "dbname=postgres", "dbname=template1", 1))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(fmt.Sprintf("CREATE DATABASE t%d TEMPLATE postgres", n)); err != nil {
		t.Fatal(err)
	}
	return strings.Replace(server, "dbname=postgres", fmt.Sprintf("dbname=t%d", n), 1)
}

func TestSuite(t *testing.T) {
	server := pgtemp.Start(t)
	n := 0
	storetest.Run(t, func(t *testing.T) storetest.Opener {
		n++
		dsn := own(t, server, n)
		return func(t *testing.T) parcels.Store {
			s, err := Open(dsn)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { s.Close() })
			return s
		}
	})
	t.Run("PostGIS sees systems, heights and the index", func(t *testing.T) {
		dsn := own(t, server, n+1)
		s, err := Open(dsn)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if _, err := s.PutSite(context.Background(), "elm", []byte(storetest.Document), 0, "ann"); err != nil {
			t.Fatal(err)
		}
		var ewkt string
		if err := s.db.QueryRow("SELECT ST_AsEWKT(geom) FROM fallwright.inlets").Scan(&ewkt); err != nil || ewkt != "SRID=2274;POINT(1700050.125 599990 698.25)" {
			t.Errorf("%s %v", ewkt, err)
		}
		var plan strings.Builder
		tx, err := s.db.Begin()
		if err != nil {
			t.Fatal(err)
		}
		defer tx.Rollback()
		if _, err := tx.Exec("SET LOCAL enable_seqscan = off; SET LOCAL enable_bitmapscan = off"); err != nil {
			t.Fatal(err)
		}
		text, args := selection("elm", parcels.LayerParcels, 2274, parcels.Window{Bounds: &orb.Bound{Max: orb.Point{1, 1}}})
		rows, err := tx.Query("EXPLAIN SELECT fid"+text, args...)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			var line string
			if err := rows.Scan(&line); err != nil {
				t.Fatal(err)
			}
			plan.WriteString(line)
		}
		if !strings.Contains(plan.String(), "parcels_geom") {
			t.Errorf("the window is not found by the index: %s", plan.String())
		}
	})
}

func TestAway(t *testing.T) {
	_, err := Open("host=/nonexistent user=x dbname=y password=secret sslmode=disable")
	var e *parcels.Error
	if !errors.As(err, &e) || e.Kind != parcels.Busy || strings.Contains(err.Error(), "secret") {
		t.Errorf("%v", err)
	}
}
