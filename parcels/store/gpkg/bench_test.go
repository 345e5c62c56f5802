package gpkg

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/exchange"
)

// lotText is the i-th of a grid of square lots.
func lotText(i int) (geometry, properties string) {
	x, y := 1700000+float64(i%1000)*110+0.123, 600000+float64(i/1000)*110+0.456
	return fmt.Sprintf(`{"type":"Polygon","coordinates":[[[%.3f,%.3f],[%.3f,%.3f],[%.3f,%.3f],[%.3f,%.3f],[%.3f,%.3f]]]}`, x, y, x+100.5, y, x+100.5, y+100.5, x, y+100.5, x, y),
		fmt.Sprintf(`{"lot":"%07d","acres":0.25}`, i)
}

// BenchmarkImport loads 50,000 lots; the peer is ogr2ogr on the same file, in
// turn. x_of_ogr2ogr above 1 is faster than the peer by the clock, cpu_x by the
// time of the processor, which other work on the machine does not change.
func BenchmarkImport(b *testing.B) {
	const n = 50_000
	dir := b.TempDir()
	src := filepath.Join(dir, "lots.geojson")
	f, err := os.Create(src)
	if err != nil {
		b.Fatal(err)
	}
	fmt.Fprint(f, `{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::2274"}},"features":[`)
	for i := range n {
		if i > 0 {
			fmt.Fprintln(f, ",")
		}
		g, p := lotText(i)
		fmt.Fprintf(f, `{"type":"Feature","geometry":%s,"properties":%s}`, g, p)
	}
	fmt.Fprint(f, "]}")
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
	data, err := os.ReadFile(src)
	if err != nil {
		b.Fatal(err)
	}
	var own, peer, ownCPU, peerCPU time.Duration
	for i := 0; b.Loop(); i++ {
		path := filepath.Join(dir, fmt.Sprintf("a%d.gpkg", i))
		start, used := time.Now(), processor(b)
		s, err := Open(path, Options{})
		if err != nil {
			b.Fatal(err)
		}
		var w parcels.LayerWriter
		if _, err := exchange.Import(context.Background(), src, data, exchange.Options{Layer: parcels.LayerParcels, KeepGoing: true, Begin: func(crs string) (err error) {
			w, err = s.Write(context.Background(), "a", parcels.LayerParcels, crs, true)
			return err
		}}, func(f parcels.StoredFeature) error { return w.Add(context.Background(), f) }); err != nil {
			b.Fatal(err)
		}
		if _, err := w.Commit(context.Background(), "ann"); err != nil {
			b.Fatal(err)
		}
		s.Close()
		own += time.Since(start)
		ownCPU += processor(b) - used
		if _, err := exec.LookPath("ogr2ogr"); err != nil {
			continue
		}
		start = time.Now()
		c := exec.Command("ogr2ogr", "-f", "GPKG", filepath.Join(dir, fmt.Sprintf("b%d.gpkg", i)), src)
		if out, err := c.CombinedOutput(); err != nil {
			b.Fatalf("%v %s", err, out)
		}
		peer += time.Since(start)
		peerCPU += c.ProcessState.UserTime() + c.ProcessState.SystemTime()
	}
	b.ReportMetric(float64(n*b.N)/own.Seconds(), "lots/s")
	if peer > 0 {
		b.ReportMetric(peer.Seconds()/own.Seconds(), "x_of_ogr2ogr")
		b.ReportMetric(peerCPU.Seconds()/ownCPU.Seconds(), "cpu_x")
	}
}

// processor is what this process has used of the processor.
func processor(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// stored is a store of 100,000 lots.
func stored(b *testing.B) *Store {
	s, err := Open(filepath.Join(b.TempDir(), "a.gpkg"), Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	ctx := context.Background()
	w, err := s.Write(ctx, "a", parcels.LayerParcels, "EPSG:2274", true)
	if err != nil {
		b.Fatal(err)
	}
	for i := range 100_000 {
		g, p := lotText(i)
		if err := w.Add(ctx, parcels.StoredFeature{ID: "p" + strconv.Itoa(i), Geometry: []byte(g), Properties: []byte(p)}); err != nil {
			b.Fatal(err)
		}
	}
	if _, err := w.Commit(ctx, "ann"); err != nil {
		b.Fatal(err)
	}
	return s
}

// BenchmarkSites lists the sites as each read of a feature does; the peer reads
// the list out of the file each time.
func BenchmarkSites(b *testing.B) {
	s, ctx := stored(b), context.Background()
	var own, peer time.Duration
	for b.Loop() {
		start := time.Now()
		_, err := s.Sites(ctx)
		mid := time.Now()
		_, err2 := s.Tables.Sites(ctx)
		own, peer = own+mid.Sub(start), peer+time.Since(mid)
		if err != nil || err2 != nil {
			b.Fatal(err, err2)
		}
	}
	b.ReportMetric(peer.Seconds()/own.Seconds(), "x_of_reading")
}

// BenchmarkFeature reads one lot of 100,000 by its id.
func BenchmarkFeature(b *testing.B) {
	s, ctx := stored(b), context.Background()
	for i := 0; b.Loop(); i++ {
		n := 0
		for _, err := range s.Features(ctx, "a", parcels.LayerParcels, parcels.Window{ID: "p" + strconv.Itoa(i*7919%100_000), Limit: 1}) {
			if err != nil {
				b.Fatal(err)
			}
			n++
		}
		if n != 1 {
			b.Fatal(n)
		}
	}
}

// BenchmarkWindow reads some 500 lots out of 100,000 by their window.
func BenchmarkWindow(b *testing.B) {
	s, ctx := stored(b), context.Background()
	n := 0
	for b.Loop() {
		n = 0
		for _, err := range s.Features(ctx, "a", parcels.LayerParcels, parcels.Window{Bounds: &orb.Bound{Min: orb.Point{1720000, 603000}, Max: orb.Point{1722400, 605400}}}) {
			if err != nil {
				b.Fatal(err)
			}
			n++
		}
	}
	b.ReportMetric(float64(n), "lots")
}
