package gpkg

import (
	"context"
	"fmt"
	"math/rand"
	"path/filepath"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/parcels"
)

// Oracle: SQLite's own check finds the tree sound and whole for every number of
// boxes about the limits of a node and a level; windows found by it are those
// found by looking at every box; and SQLite goes on inserting and deleting in it.
func TestOracleTree(t *testing.T) {
	ctx := context.Background()
	r := rand.New(rand.NewSource(11))
	defer func(n int) { mostHeld = n }(mostHeld)
	mostHeld = 2600 // the last one comes to it and goes on one by one
	for _, n := range []int{0, 1, 2, 45, 46, 50, 51, 52, 92, 93, 46*46 - 1, 46 * 46, 51*46 + 1, 2599, 6000} {
		s, err := Open(filepath.Join(t.TempDir(), "s.gpkg"), Options{})
		if err != nil {
			t.Fatal(err)
		}
		w, err := s.Write(ctx, "a", parcels.LayerSpots, "EPSG:2274", true)
		if err != nil {
			t.Fatal(err)
		}
		pts := make([]orb.Point, n)
		for i := range pts {
			pts[i] = orb.Point{1.7e6 + r.NormFloat64()*1e4, 6e5 + r.ExpFloat64()*1e3}
			if i%7 == 3 {
				pts[i] = pts[i-1] // the same place twice
			}
			if err := w.Add(ctx, parcels.StoredFeature{Geometry: fmt.Appendf(nil, `{"type":"Point","coordinates":[%v,%v]}`, pts[i][0], pts[i][1])}); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := w.Commit(ctx, "ann"); err != nil {
			t.Fatal(err)
		}
		check := func(when string, want int) {
			t.Helper()
			var said string
			if err := s.reads.QueryRow("SELECT rtreecheck('rtree_spots_geom')").Scan(&said); err != nil || said != "ok" {
				t.Errorf("%d boxes, %s: %s %v", n, when, said, err)
			}
			var rows int
			if err := s.reads.QueryRow("SELECT count(*) FROM rtree_spots_geom").Scan(&rows); err != nil || rows != want {
				t.Errorf("%d boxes, %s: %d in the tree, want %d, %v", n, when, rows, want, err)
			}
		}
		check("written", n)
		for range 20 {
			b := orb.Bound{Min: orb.Point{1.7e6 + r.NormFloat64()*1e4, 6e5 + r.ExpFloat64()*1e3}}
			b.Max = orb.Point{b.Min[0] + r.Float64()*5e3, b.Min[1] + r.Float64()*2e3}
			want := 0
			for _, p := range pts {
				if b.Contains(p) {
					want++
				}
			}
			if got, err := s.Count(ctx, "a", parcels.LayerSpots, parcels.Window{Bounds: &b}); err != nil || got != want {
				t.Errorf("%d boxes: a window of %d, want %d, %v", n, got, want, err)
			}
		}
		// a second site goes in one by one, then the first goes out by the triggers
		w, err = s.Write(ctx, "b", parcels.LayerSpots, "EPSG:2274", true)
		if err != nil {
			t.Fatal(err)
		}
		for range 300 {
			if err := w.Add(ctx, parcels.StoredFeature{Geometry: fmt.Appendf(nil, `{"type":"Point","coordinates":[%v,%v]}`, 1.7e6+r.NormFloat64()*1e4, 6e5)}); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := w.Commit(ctx, "ann"); err != nil {
			t.Fatal(err)
		}
		check("a second site", n+300)
		if err := s.DeleteSite(ctx, "a", "ann"); err != nil {
			t.Fatal(err)
		}
		check("the first one gone", 300)
		s.Close()
	}
}
