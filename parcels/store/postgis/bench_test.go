package postgis

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"fallwright/parcels"
	"fallwright/parcels/exchange"
	"fallwright/parcels/jobs/pgtemp"
)

// BenchmarkImport loads 20,000 lots with every check; the peer is ogr2ogr on
// the same file into the same server, in turn. Then some 500 lots are read by
// their window. x_of_ogr2ogr above 1 is faster than the peer.
func BenchmarkImport(b *testing.B) {
	const n = 20_000
	dsn := pgtemp.Start(b)
	s, err := Open(dsn)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	var text bytes.Buffer
	text.WriteString(`{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::2274"}},"features":[`)
	for i := range n {
		x, y := 1700000+float64(i%200)*110, 600000+float64(i/200)*110
		if i > 0 {
			text.WriteString(",\n")
		}
		fmt.Fprintf(&text, `{"type":"Feature","properties":{"lot":"%d"},"geometry":{"type":"Polygon","coordinates":[[[%g,%g],[%g,%g],[%g,%g],[%g,%g],[%g,%g]]]}}`, i, x, y, x+99.5, y, x+99.5, y+99.5, x, y+99.5, x, y)
	}
	text.WriteString("]}")
	src := filepath.Join(b.TempDir(), "lots.geojson")
	if err := os.WriteFile(src, text.Bytes(), 0o644); err != nil {
		b.Fatal(err)
	}
	ctx := context.Background()
	var own, peer, window time.Duration
	found := 0
	for b.Loop() {
		start := time.Now()
		var w parcels.LayerWriter
		if _, err := exchange.Import(ctx, src, text.Bytes(), exchange.Options{Layer: parcels.LayerParcels, KeepGoing: true, Begin: func(crs string) (err error) {
			w, err = s.Write(ctx, "a", parcels.LayerParcels, crs, true)
			return err
		}}, func(f parcels.StoredFeature) error { return w.Add(ctx, f) }); err != nil {
			b.Fatal(err)
		}
		if _, err := w.Commit(ctx, "ann"); err != nil {
			b.Fatal(err)
		}
		own += time.Since(start)
		start = time.Now()
		found = 0
		for _, err := range s.Features(ctx, "a", parcels.LayerParcels, parcels.Window{Bounds: &orb.Bound{Min: orb.Point{1705000, 603000}, Max: orb.Point{1707400, 605400}}}) {
			if err != nil {
				b.Fatal(err)
			}
			found++
		}
		window += time.Since(start)
		if _, err := exec.LookPath("ogr2ogr"); err != nil {
			continue
		}
		start = time.Now()
		c := exec.Command("ogr2ogr", "-f", "PostgreSQL", "PG:"+dsn, src, "-nln", "peer", "-overwrite")
		c.Env = append(os.Environ(), "PG_USE_COPY=YES")
		if out, err := c.CombinedOutput(); err != nil {
			b.Fatalf("%v %s", err, out)
		}
		peer += time.Since(start)
	}
	b.ReportMetric(float64(n*b.N)/own.Seconds(), "lots/s")
	b.ReportMetric(window.Seconds()*1000/float64(b.N), "ms_window")
	b.ReportMetric(float64(found), "lots_window")
	if peer > 0 {
		b.ReportMetric(peer.Seconds()/own.Seconds(), "x_of_ogr2ogr")
	}
}
