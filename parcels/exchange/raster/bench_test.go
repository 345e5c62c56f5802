package raster

// Speed against GRASS on the same file, both from disk to disk.

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fallwright/geo/ground"
	"fallwright/geo/overland"
)

const benchSide = 2000

// hills writes a GeoTIFF of ground like lidar's: long waves, a slope, noise at
// the cell size.
func hills(b *testing.B, dir string, n int) string {
	r := rand.New(rand.NewSource(1))
	raw := make([]byte, 4*n*n)
	for i := 0; i < n*n; i++ {
		x, y := float64(i%n), float64(i/n)
		z := 200 + 10*math.Sin(x/97)*math.Cos(y/83) + 2*math.Sin((x+y)/23) + 0.01*x + 0.05*r.NormFloat64()
		binary.LittleEndian.PutUint32(raw[4*i:], math.Float32bits(float32(z)))
	}
	bin, tif := filepath.Join(dir, "h.bin"), filepath.Join(dir, "h.tif")
	head := fmt.Sprintf("ENVI\nsamples = %d\nlines = %d\nbands = 1\ndata type = 4\nbyte order = 0\ninterleave = bsq\n", n, n)
	for p, t := range map[string][]byte{bin: raw, filepath.Join(dir, "h.hdr"): []byte(head)} {
		if err := os.WriteFile(p, t, 0o600); err != nil {
			b.Fatal(err)
		}
	}
	gdal(b, "gdal_translate", "-q", "-a_srs", "EPSG:26915", "-a_ullr", "500000", fmt.Sprint(5000000+n), fmt.Sprint(500000+n), "5000000", bin, tif)
	return tif
}

// flowFile reads a raster, works it and writes levels, directions and counts.
func flowFile(b *testing.B, tif, dir string, workers int) time.Duration {
	start := time.Now()
	src, err := os.Open(tif)
	if err != nil {
		b.Fatal(err)
	}
	defer src.Close()
	st, _ := src.Stat()
	f, err := Open(src, st.Size(), "h.tif", metres)
	if err != nil {
		b.Fatal(err)
	}
	s := &overland.Sheet{}
	if workers == 0 {
		g := f.own()
		g.Z = make([]float32, g.Cols*g.Rows)
		if err := f.Read(0, 0, g.Cols, g.Rows, g.Z); err != nil {
			b.Fatal(err)
		}
		field, err := overland.Flow(overland.Input{Ground: g})
		if err != nil {
			b.Fatal(err)
		}
		s.Filled, s.Dir, s.Count = field.Filled, field.Dir, field.Count
	} else {
		s = overland.NewSheet(f.Cols, f.Rows)
		if err := (overland.Tiles{Place: f.own(), Rows: ground.Rows(f), Store: s, Side: 512, Workers: workers}).Flow(); err != nil {
			b.Fatal(err)
		}
	}
	n := len(s.Dir)
	out := make([]byte, 5*n)
	for i, v := range s.Count {
		binary.LittleEndian.PutUint32(out[4*i:], uint32(v))
	}
	for i, d := range s.Dir {
		out[4*n+i] = byte(d)
	}
	if err := os.WriteFile(filepath.Join(dir, "out.bin"), out, 0o600); err != nil {
		b.Fatal(err)
	}
	return time.Since(start)
}

// BenchmarkWatershed tells how many times faster than r.watershed -s (in
// memory, its default) a raster of 2000 by 2000 is worked: whole, and in tiles
// on two workers. GRASS reads and writes its own raster format, and its start
// is not counted. x is of the time that passes, cpu-x of processor time: where
// other work takes the processors, x says less of the two workers than it would
// alone, and cpu-x nothing of what they gain.
func BenchmarkWatershed(b *testing.B) {
	if os.Getenv("FALLWRIGHT_GRASS") == "" {
		b.Skip("another engine, slow: set FALLWRIGHT_GRASS (make grass)")
	}
	if _, err := exec.LookPath("grass"); err != nil {
		b.Fatal("grass is not installed (package grass-core)")
	}
	dir := b.TempDir()
	tif := hills(b, dir, benchSide)
	sh := filepath.Join(dir, "w.sh")
	text := "set -e\nr.in.gdal -o --quiet --overwrite input=" + tif + " output=dem\ng.region raster=dem\n" +
		"TIMEFORMAT='TOOK %R %U %S'\ntime r.watershed -s elevation=dem accumulation=acc drainage=dir --quiet --overwrite\n"
	if err := os.WriteFile(sh, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	var wall, cpu [3]float64 // whole, tiles, GRASS
	ours := func(k, workers int) {
		before := processor(b)
		wall[k] += flowFile(b, tif, dir, workers).Seconds()
		cpu[k] += processor(b) - before
	}
	for b.Loop() {
		ours(0, 0)
		ours(1, 2)
		out := gdal(b, "grass", "--tmp-location", "XY", "--exec", "bash", sh)
		_, rest, _ := strings.Cut(out, "TOOK ")
		var r, u, s float64
		if _, err := fmt.Sscan(rest, &r, &u, &s); err != nil {
			b.Fatalf("no time in %s", out)
		}
		wall[2] += r
		cpu[2] += u + s
	}
	for k, name := range []string{"whole", "tiles", "grass"} {
		b.ReportMetric(wall[k]/float64(b.N), "s/"+name)
		b.ReportMetric(cpu[k]/float64(b.N), "cpu-s/"+name)
	}
	b.ReportMetric(wall[2]/wall[0], "x-whole")
	b.ReportMetric(wall[2]/wall[1], "x-tiles")
	b.ReportMetric(cpu[2]/cpu[0], "cpu-x-whole")
	b.ReportMetric(cpu[2]/cpu[1], "cpu-x-tiles")
}

// processor is the processor time this process has taken.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
