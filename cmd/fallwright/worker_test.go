package main

import (
	"bytes"
	"context"
	"database/sql"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"fallwright/api"
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
		auditByService(t, store, wantBytes)
	}
	if code, _, errs := call(t, "", "worker", "--store", filepath.Join(dir, "s.gpkg")); code != exitInput || !strings.Contains(errs, "PostgreSQL") {
		t.Errorf("a worker on a file: exit %d, %s", code, errs)
	}
	if code, _, _ := call(t, "", "audit", "--store", filepath.Join(dir, "s.gpkg"), "--site", "nowhere"); code != exitInput {
		t.Errorf("an unknown site: exit %d", code)
	}
}

// auditByService audits the stored site as a job of the service and follows it:
// the events tell how fast it goes and how long it takes, and the result has the
// bytes of the command. A job that is dismissed leaves nothing in the queue.
func auditByService(t *testing.T, name string, want []byte) {
	t.Helper()
	st, err := openStore(name, storeWritten)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	g := engine{store: st}
	if isPostgres(name) {
		q, done, err := openQueue(t.Context(), name, st)
		if err != nil {
			t.Fatal(err)
		}
		defer done()
		g.queue = q
	}
	service, err := api.New(api.Options{Engine: g, Store: st, Version: version()})
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(service)
	defer func() { srv.Close(); _ = service.Close(context.Background()) }()
	job := func(checks string) string {
		t.Helper()
		r, err := http.NewRequest("POST", srv.URL+"/processes/audit/execution", strings.NewReader(`{"inputs":{"site":"`+sampledata.Site+`","options":{`+checks+`}}}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Prefer", "respond-async")
		res, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		if res.StatusCode != http.StatusCreated {
			b, _ := io.ReadAll(res.Body)
			t.Fatalf("%d %s", res.StatusCode, b)
		}
		return res.Header.Get("Location")
	}
	at := job(`"checks":["zone","footprints"]`)
	res, err := http.Get(at + "/events")
	if err != nil {
		t.Fatal(err)
	}
	events, _ := io.ReadAll(res.Body) // to the job's end
	res.Body.Close()
	if !bytes.Contains(events, []byte("successful")) || !bytes.Contains(events, []byte(" of 36: lots")) {
		t.Errorf("%.30s: events %s", name, events)
	}
	if _, body := ask(t, "GET", at+"/results", "", nil); !bytes.Equal(body, want) {
		t.Errorf("%.30s: the service's audit has %d bytes, the command's %d, and they differ", name, len(body), len(want))
	}
	if !isPostgres(name) {
		return
	}
	at = job(`"checks":["reach","side_yards"]`)
	db, err := sql.Open("postgres", name)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	queued := func() (n int) {
		if err := db.QueryRow("select count(*) from work_job").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	for until := time.Now().Add(20 * time.Second); queued() == 0 && time.Now().Before(until); {
		time.Sleep(5 * time.Millisecond)
	}
	if code, body := ask(t, "DELETE", at, "", nil); code != http.StatusOK {
		t.Errorf("dismiss: %d %s", code, body)
	}
	until := time.Now().Add(20 * time.Second)
	for queued() > 0 && time.Now().Before(until) {
		time.Sleep(20 * time.Millisecond)
	}
	if n := queued(); n > 0 {
		t.Errorf("%d jobs are in the queue after they were dismissed or done", n)
	}
}

// A stored site with a raster of the ground: its audit rests on that.
func TestAuditRestsOnStoredGround(t *testing.T) {
	dir := t.TempDir()
	site, name := sample(t), filepath.Join(dir, "s.gpkg")
	if code, _, errs := call(t, "", "import", site, "--store", name, "--site", "hollow"); code != exitDone {
		t.Fatal(errs)
	}
	st, err := openStore(name, storeRead)
	if err != nil {
		t.Fatal(err)
	}
	info, err := st.Site(context.Background(), "hollow")
	st.Close()
	if err != nil {
		t.Fatal(err)
	}
	grid := slope(t, *info.Bounds, 700)
	if code, _, errs := call(t, "", "import", grid, "--store", name, "--site", "hollow", "--crs", info.CRS, "--elevation-unit", "ft"); code != exitDone {
		t.Fatal(errs)
	}
	rows := func(args ...string) string {
		t.Helper()
		out := filepath.Join(dir, "rows.csv")
		if code, _, errs := call(t, "", append(args, "--check", "side_yards", "--out", out)...); code > exitStop {
			t.Fatalf("%v: %d %s", args, code, errs)
		}
		b, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	if rows("audit", "--store", name, "--site", "hollow") == rows("audit", site) {
		t.Error("the raster makes no difference to the audit of the stored site")
	}
}
