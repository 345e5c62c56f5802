package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"fallwright/parcels/jobs/pgtemp"
	"fallwright/sampledata"
)

// An audit of a stored site gives the same bytes as one of the file: from a
// GeoPackage in this process, and over PostGIS shared with a worker that is
// stopped in the middle of it.
func TestAuditOfStoredSite(t *testing.T) {
	site := sample(t)
	dir := t.TempDir()
	want := filepath.Join(dir, "want.json")
	if code, _, errs := call(t, "", "audit", site, "--check", "zone", "--check", "footprints", "--out", want); code == exitInput || code == exitFailed {
		t.Fatal(errs)
	}
	wantBytes, err := os.ReadFile(want)
	if err != nil {
		t.Fatal(err)
	}
	dsn := pgtemp.Start(t)
	host := regexp.MustCompile(`host=(\S+)`).FindStringSubmatch(dsn)
	user := regexp.MustCompile(`user=(\S+)`).FindStringSubmatch(dsn)
	db := regexp.MustCompile(`dbname=(\S+)`).FindStringSubmatch(dsn)
	if host == nil || user == nil || db == nil {
		t.Fatalf("connection string %q", dsn)
	}
	for _, store := range []string{filepath.Join(dir, "s.gpkg"), "postgres:///" + db[1] + "?host=" + host[1] + "&user=" + user[1] + "&sslmode=disable"} {
		s, err := openStore(store, storeWritten)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.PutSite(context.Background(), sampledata.Site, sampledata.StatePlane(), 0, "test"); err != nil {
			t.Fatal(err)
		}
		s.Close()
		ctx, stop := context.WithCancel(context.Background())
		done := make(chan int, 1)
		if isPostgres(store) {
			go func() {
				var out, errs bytes.Buffer
				done <- run(&env{ctx: ctx, stdin: strings.NewReader(""), stdout: &out, stderr: &errs}, []string{"worker", "--store", store, "--workers", "1"})
			}()
		}
		got := filepath.Join(dir, "got.json")
		code, _, errs := call(t, "", "audit", "--store", store, "--site", sampledata.Site, "--check", "zone", "--check", "footprints", "--out", got)
		if code == exitInput || code == exitFailed {
			t.Fatalf("%.30s: exit %d, %s", store, code, errs)
		}
		stop()
		if isPostgres(store) {
			if code := <-done; code != exitDone {
				t.Errorf("the worker stopped with %d", code)
			}
		}
		b, err := os.ReadFile(got)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(b, wantBytes) {
			t.Errorf("%.30s: %d bytes, the file's audit has %d and they differ", store, len(b), len(wantBytes))
		}
	}
	if code, _, errs := call(t, "", "worker", "--store", filepath.Join(dir, "s.gpkg")); code != exitInput || !strings.Contains(errs, "PostgreSQL") {
		t.Errorf("a worker on a file: exit %d, %s", code, errs)
	}
	if code, _, _ := call(t, "", "audit", "--store", filepath.Join(dir, "s.gpkg"), "--site", "nowhere"); code != exitInput {
		t.Errorf("an unknown site: exit %d", code)
	}
}
