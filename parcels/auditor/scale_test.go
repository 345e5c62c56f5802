package auditor

// Whether memory stays flat as lots grow, and whether 100,000 lots are worked in
// ten seconds: counties in a store, each audited by a process of its own whose
// peak is read from the system. `make county` runs it.

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"fallwright/parcels"
	"fallwright/parcels/jobs/pgtemp"
	"fallwright/parcels/store/gpkg"
	postgisstore "fallwright/parcels/store/postgis"
)

const (
	sizesEnv  = "FALLWRIGHT_COUNTY"       // sizes, by commas
	workerEnv = "FALLWRIGHT_COUNTY_STORE" // the store for the process of its own
)

func openCounty(name string) (parcels.Store, error) {
	if strings.HasSuffix(name, ".gpkg") {
		return gpkg.Open(name, gpkg.Options{ReadOnly: true})
	}
	return postgisstore.Open(name)
}

// TestCountyAlone is the process of its own: it audits the county in the store
// and prints what it took.
func TestCountyAlone(t *testing.T) {
	name := os.Getenv(workerEnv)
	if name == "" {
		t.Skip("the process that TestCountyMemory starts")
	}
	workers, _ := strconv.Atoi(os.Getenv("FALLWRIGHT_COUNTY_WORKERS"))
	st, err := openCounty(name)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	begun := time.Now()
	res, err := Stored(context.Background(), st.(Source), Request{Site: "county", Checks: countyChecks, Zones: true}, Options{Workers: workers})
	if err != nil {
		t.Fatal(err)
	}
	defer res.Close()
	audited := time.Since(begun)
	h := sha256.New()
	if err := res.WriteJSON(h); err != nil {
		t.Fatal(err)
	}
	fmt.Printf("RESULT lots=%d audited=%.1fs written=%.1fs cpu=%.1fs peak=%.0fMB sha=%x\n", res.Totals.Lots, audited.Seconds(), time.Since(begun).Seconds(), cpuSeconds(), peakMB(t), h.Sum(nil)[:6])
}

// peakMB is the most memory this process has held.
func peakMB(t testing.TB) float64 {
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Skip("no /proc here to read the peak from")
	}
	for _, l := range strings.Split(string(b), "\n") {
		if f := strings.Fields(l); len(f) > 1 && f[0] == "VmHWM:" {
			kb, _ := strconv.ParseFloat(f[1], 64)
			return kb / 1024
		}
	}
	return 0
}

func TestCountyMemory(t *testing.T) {
	sizes := os.Getenv(sizesEnv)
	if sizes == "" {
		t.Skip("counties take minutes to store: set " + sizesEnv + "=10000,100000 (make county)")
	}
	dir := t.TempDir()
	for _, text := range strings.Split(sizes, ",") {
		n, err := strconv.Atoi(text)
		if err != nil {
			t.Fatal(err)
		}
		dsn := pgtemp.Start(t)
		doc := asDocument(t, county(t, n))
		for _, name := range []string{filepath.Join(dir, text+".gpkg"), dsn} {
			kind := "PostGIS"
			open := func() (parcels.Store, error) { return postgisstore.Open(name) }
			if strings.HasSuffix(name, ".gpkg") {
				kind = "GeoPackage"
				open = func() (parcels.Store, error) { return gpkg.Open(name, gpkg.Options{}) }
			}
			st, err := open()
			if err != nil {
				t.Fatal(err)
			}
			fill := func() {
				// as layers, so that no document is kept beside them
				put(t, st, "put", doc)
				for _, l := range parcels.Layers {
					if k, _ := st.Count(context.Background(), "put", l, parcels.Window{}); k == 0 {
						continue
					}
					w, err := st.Write(context.Background(), "county", l, "EPSG:2154", true)
					if err != nil {
						t.Fatal(err)
					}
					for f, err := range st.Features(context.Background(), "put", l, parcels.Window{}) {
						if err == nil {
							err = w.Add(context.Background(), f)
						}
						if err != nil {
							t.Fatal(err)
						}
					}
					if _, err := w.Commit(context.Background(), "test"); err != nil {
						t.Fatal(err)
					}
				}
				if err := st.DeleteSite(context.Background(), "put", "test"); err != nil {
					t.Fatal(err)
				}
			}
			fill()
			st.Close()
			for _, workers := range []string{"1", "2"} {
				c := exec.Command(os.Args[0], "-test.run=^TestCountyAlone$", "-test.v")
				c.Env = append(os.Environ(), workerEnv+"="+name, "FALLWRIGHT_COUNTY_WORKERS="+workers)
				var out bytes.Buffer
				c.Stdout, c.Stderr = &out, os.Stderr
				if err := c.Run(); err != nil {
					io.Copy(os.Stderr, &out)
					t.Fatal(err)
				}
				for _, l := range strings.Split(out.String(), "\n") {
					if s, ok := strings.CutPrefix(l, "RESULT "); ok {
						fmt.Printf("%-10s workers=%s %s\n", kind, workers, s)
					}
				}
			}
		}
	}
}

// BenchmarkWorkers audits a stored county by one worker on one processor and by
// two on two, in turn, and reports how many times as fast two are: by the best
// time of each, since others use the machine. The share of it that one
// processor would do alone shows in cpu-ratio: what two spend for what one does.
func BenchmarkWorkers(b *testing.B) {
	st, err := gpkg.Open(filepath.Join(b.TempDir(), "s.gpkg"), gpkg.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer st.Close()
	put(b, st, "county", asDocument(b, county(b, 20_000)))
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	best, least := [3]float64{}, [3]float64{}
	once := func(workers int) {
		runtime.GOMAXPROCS(workers)
		runtime.GC()
		begun, cpu := time.Now(), cpuSeconds()
		res, err := Stored(context.Background(), st, Request{Site: "county", Checks: countyChecks, Zones: true}, Options{Workers: workers})
		if err != nil {
			b.Fatal(err)
		}
		if err := res.WriteJSON(io.Discard); err != nil {
			b.Fatal(err)
		}
		s, c := time.Since(begun).Seconds(), cpuSeconds()-cpu
		res.Close()
		if best[workers] == 0 || s < best[workers] {
			best[workers] = s
		}
		if least[workers] == 0 || c < least[workers] {
			least[workers] = c
		}
	}
	for b.Loop() {
		for range 5 {
			once(1)
			once(2)
		}
	}
	b.ReportMetric(best[1]/best[2], "two/one")
	b.ReportMetric(least[2]/least[1], "cpu-ratio")
	b.ReportMetric(best[2], "s/20000-lots")
}
