package gpkg

// What is left when the process is killed in the middle of an import, or runs out
// of room.

import (
	"context"
	"fmt"
	"math/rand"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/store/storetest"
)

// TestMain runs the importer that is to be killed, or to run out of room, where
// the test says so.
func TestMain(m *testing.M) {
	path := os.Getenv("FALLWRIGHT_IMPORT_TO_KILL")
	if path == "" {
		os.Exit(m.Run())
	}
	if limit, err := strconv.ParseUint(os.Getenv("FALLWRIGHT_FILE_LIMIT"), 10, 64); err == nil {
		// as on a full disk: the write fails, the process goes on
		signal.Ignore(syscall.SIGXFSZ)
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: limit, Max: limit}); err != nil {
			fmt.Println(err)
			os.Exit(2)
		}
	}
	n, _ := strconv.Atoi(os.Getenv("FALLWRIGHT_IMPORT_LOTS"))
	s, err := Open(path, Options{})
	if err == nil {
		err = storetest.ImportLots(s, n)
		s.Close()
	}
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println("committed")
	os.Exit(0)
}

// importer is the process that imports lots into a store.
func importer(path string, lots int, env ...string) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Env = append(append(os.Environ(), "FALLWRIGHT_IMPORT_TO_KILL="+path, "FALLWRIGHT_IMPORT_LOTS="+strconv.Itoa(lots)), env...)
	return c
}

// sound looks through a store after an import that may not have come to its
// end, and says whether it did.
func sound(t *testing.T, path string, lots int) (done bool) {
	t.Helper()
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	i, err := s.Site(context.Background(), "elm")
	if err != nil {
		t.Fatal(err)
	}
	want, version := 2, int64(1)
	if done = i.Version == 2; done {
		want, version = lots, 2
	}
	n := 0
	for _, err := range s.Features(context.Background(), "elm", parcels.LayerParcels, parcels.Window{}) {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	if i.Version != version || i.Features[parcels.LayerParcels] != want || n != want {
		t.Errorf("version %d, %d said, %d there", i.Version, i.Features[parcels.LayerParcels], n)
	}
	var ok string
	if err := s.writes.QueryRow("PRAGMA integrity_check").Scan(&ok); err != nil || ok != "ok" {
		t.Errorf("%s %v", ok, err)
	}
	var rows, boxes int
	if err := s.reads.QueryRow(`SELECT (SELECT count(*) FROM parcels), (SELECT count(*) FROM rtree_parcels_geom)`).Scan(&rows, &boxes); err != nil || rows != boxes {
		t.Errorf("%d rows, %d in the index, %v", rows, boxes, err)
	}
	if _, err := s.PutSite(context.Background(), "elm", []byte(storetest.Document), 0, "ann"); err != nil {
		t.Errorf("the next write: %v", err)
	}
	return done
}

// before makes a store with one site and gives its bytes.
func before(t *testing.T, path string) []byte {
	t.Helper()
	s, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutSite(context.Background(), "elm", []byte(storetest.Document), 0, "ann"); err != nil {
		t.Fatal(err)
	}
	s.Close()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// reset puts the bytes of before in place of whatever is there.
func reset(t *testing.T, path string, b []byte) {
	t.Helper()
	for _, f := range []string{path, path + "-wal", path + "-shm"} {
		os.Remove(f)
	}
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// Property: killed at any moment, the store is as before or as after, whole,
// and takes the next write. FALLWRIGHT_KILL_LOTS makes it large (a million
// lots: make kill), FALLWRIGHT_KILL_TRIES says how often.
func TestPropertyKilledImport(t *testing.T) {
	lots, tries := 3000, 8
	if n, err := strconv.Atoi(os.Getenv("FALLWRIGHT_KILL_LOTS")); err == nil {
		lots, tries = n, 20
	}
	if n, err := strconv.Atoi(os.Getenv("FALLWRIGHT_KILL_TRIES")); err == nil {
		tries = n
	}
	path := filepath.Join(t.TempDir(), "store.gpkg")
	old := before(t, path)
	start := time.Now()
	if out, err := importer(path, lots).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	whole := time.Since(start)
	r := rand.New(rand.NewSource(9))
	killed, stayed := 0, 0
	for try := range tries {
		reset(t, path, old)
		c := importer(path, lots)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		// anywhere from the start to a little after the end
		time.Sleep(time.Duration(r.Float64() * 1.05 * float64(whole)))
		if c.Process.Kill() == nil {
			killed++
		}
		_ = c.Wait() // killed
		if !sound(t, path, lots) {
			stayed++
		}
		if t.Failed() {
			t.Fatalf("in try %d", try)
		}
	}
	if killed == 0 || stayed == 0 {
		t.Errorf("nothing was tried: %d killed, %d of them before the end", killed, stayed)
	}
	t.Logf("%d lots: %d of %d good, %d as before, %d as after", lots, tries, tries, stayed, tries-stayed)
}

// Property: an import that runs out of room says so and leaves the store as it
// was, whole, and the next write goes in. Room ends at a limit on the size of
// files anywhere on the way, and on a small disk of its own where this process
// may mount one. FALLWRIGHT_FULL_TRIES makes it many (make full).
func TestPropertyDiskFull(t *testing.T) {
	const lots = 6000
	tries := 3
	if n, err := strconv.Atoi(os.Getenv("FALLWRIGHT_FULL_TRIES")); err == nil {
		tries = n
	}
	path := filepath.Join(t.TempDir(), "store.gpkg")
	old := before(t, path)
	if out, err := importer(path, lots).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	full, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewSource(10))
	fails := func(try int, path string, env ...string) {
		reset(t, path, old)
		out, err := importer(path, lots, env...).CombinedOutput()
		if err == nil {
			t.Errorf("try %d: there was room", try)
			return
		}
		if text := string(out); !strings.Contains(text, "store: import elm: ") || !strings.Contains(text, "no space left") && !strings.Contains(text, "limit on the size of files") {
			t.Errorf("try %d: the error does not tell: %s", try, out)
		}
	}
	for try := range tries {
		// from room for next to nothing to room for all but a part
		room := int64(len(old)) + int64(r.Float64()*0.9*float64(full.Size()-int64(len(old))))
		fails(try, path, fmt.Sprintf("FALLWRIGHT_FILE_LIMIT=%d", room))
		if sound(t, path, lots) || t.Failed() {
			t.Fatalf("try %d: not as before", try)
		}
	}
	disks := 0
	for try := range tries {
		dir := t.TempDir()
		room := 2*int64(len(old)) + 64<<10 + int64(r.Float64()*0.8*float64(full.Size()-int64(len(old))))
		if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", room)); err != nil {
			t.Logf("no disk of its own, since this process may not mount one: %v", err)
			break
		}
		func() {
			defer syscall.Unmount(dir, 0)
			on := filepath.Join(dir, "store.gpkg")
			fails(tries+try, on)
			// looked through where there is room
			copied, err := os.ReadFile(on)
			if err != nil {
				t.Fatal(err)
			}
			reset(t, path, copied)
			if wal, err := os.ReadFile(on + "-wal"); err == nil {
				if err := os.WriteFile(path+"-wal", wal, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}()
		if sound(t, path, lots) || t.Failed() {
			t.Fatalf("try %d on a disk of %d bytes: not as before", try, room)
		}
		disks++
	}
	t.Logf("%d of %d at a limit on the size of files, %d of %d on a full disk: as before, with an error that tells", tries, tries, disks, tries)
}
