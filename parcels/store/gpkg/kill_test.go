package gpkg

// What is left when the process is killed in the middle of an import.

import (
	"context"
	"fmt"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/store/storetest"
)

// TestMain runs the importer that is to be killed where the test says so.
func TestMain(m *testing.M) {
	if path := os.Getenv("FALLWRIGHT_IMPORT_TO_KILL"); path != "" {
		n, _ := strconv.Atoi(os.Getenv("FALLWRIGHT_IMPORT_LOTS"))
		if err := importLots(path, n); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Println("committed")
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func importLots(path string, n int) error {
	ctx := context.Background()
	s, err := Open(path, Options{})
	if err != nil {
		return err
	}
	w, err := s.Write(ctx, "elm", parcels.LayerParcels, "EPSG:2274", true)
	if err != nil {
		return err
	}
	for i := range n {
		x, y := 1700000+float64(i%1000)*100, 600000+float64(i/1000)*100
		if err := w.Add(ctx, parcels.StoredFeature{ID: strconv.Itoa(i), Properties: fmt.Appendf(nil, `{"lot":"%d"}`, i),
			Geometry: fmt.Appendf(nil, `{"type":"Polygon","coordinates":[[[%g,%g],[%g,%g],[%g,%g],[%g,%g],[%g,%g]]]}`, x, y, x+99, y, x+99, y+99, x, y+99, x, y)}); err != nil {
			return err
		}
	}
	if _, err := w.Commit(ctx, "ann"); err != nil {
		return err
	}
	return s.Close()
}

// Property: killed at any moment, the store is as before or as after, whole,
// and takes the next write. FALLWRIGHT_KILL_LOTS makes it large (a million
// lots: make kill).
func TestPropertyKilledImport(t *testing.T) {
	lots, tries := 3000, 20
	if n, err := strconv.Atoi(os.Getenv("FALLWRIGHT_KILL_LOTS")); err == nil {
		lots = n
	}
	path := filepath.Join(t.TempDir(), "store.gpkg")
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutSite(context.Background(), "elm", []byte(storetest.Document), 0, "ann"); err != nil {
		t.Fatal(err)
	}
	s.Close()
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	importer := func() *exec.Cmd {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), "FALLWRIGHT_IMPORT_TO_KILL="+path, "FALLWRIGHT_IMPORT_LOTS="+strconv.Itoa(lots))
		return c
	}
	start := time.Now()
	if out, err := importer().CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	whole := time.Since(start)
	r := rand.New(rand.NewSource(9))
	killed, stayed := 0, 0
	for try := range tries {
		for _, f := range []string{path, path + "-wal", path + "-shm"} {
			os.Remove(f)
		}
		if err := os.WriteFile(path, before, 0o644); err != nil {
			t.Fatal(err)
		}
		c := importer()
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		// anywhere from the start to a little after the end
		time.Sleep(time.Duration(r.Float64() * 1.05 * float64(whole)))
		if c.Process.Kill() == nil {
			killed++
		}
		_ = c.Wait() // killed
		s, err := Open(path, Options{})
		if err != nil {
			t.Fatalf("try %d: %v", try, err)
		}
		i, err := s.Site(context.Background(), "elm")
		if err != nil {
			t.Fatalf("try %d: %v", try, err)
		}
		want, version := 2, int64(1)
		if i.Version == 2 {
			want, version = lots, 2
		} else {
			stayed++
		}
		n := 0
		for _, err := range s.Features(context.Background(), "elm", parcels.LayerParcels, parcels.Window{}) {
			if err != nil {
				t.Fatalf("try %d: %v", try, err)
			}
			n++
		}
		if i.Version != version || i.Features[parcels.LayerParcels] != want || n != want {
			t.Errorf("try %d: version %d, %d said, %d there", try, i.Version, i.Features[parcels.LayerParcels], n)
		}
		var ok string
		if err := s.writes.QueryRow("PRAGMA integrity_check").Scan(&ok); err != nil || ok != "ok" {
			t.Errorf("try %d: %s %v", try, ok, err)
		}
		var rows, boxes int
		if err := s.reads.QueryRow(`SELECT (SELECT count(*) FROM parcels), (SELECT count(*) FROM rtree_parcels_geom)`).Scan(&rows, &boxes); err != nil || rows != boxes {
			t.Errorf("try %d: %d rows, %d in the index, %v", try, rows, boxes, err)
		}
		if try == tries-1 {
			if _, err := s.PutSite(context.Background(), "elm", []byte(storetest.Document), 0, "ann"); err != nil {
				t.Errorf("try %d: the next write: %v", try, err)
			}
		}
		s.Close()
	}
	if killed == 0 || stayed == 0 {
		t.Errorf("nothing was tried: %d killed, %d of them before the end", killed, stayed)
	}
}
