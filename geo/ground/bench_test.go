package ground

import (
	"math"
	"math/rand"
	"syscall"
	"testing"

	"github.com/paulmach/orb"
)

func BenchmarkTriangulate100k(b *testing.B) {
	shots := shotsOn(1, 100000, 1000, func(x, y float64) float64 { return math.Sin(x / 30) })
	for b.Loop() {
		if _, err := Triangulate(shots, nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkProfile100m(b *testing.B) {
	r := mustRaster(b, gridOf(400, 400, 1, func(x, y float64) float64 { return math.Sin(x / 30) }))
	l := orb.LineString{{100.3, 100.7}, {171.1, 171.2}}
	clock := processorTime(b)
	start := clock()
	for b.Loop() {
		r.Along(l)
	}
	b.ReportMetric((clock()-start)*1e6/float64(b.N), "cpu-us/op")
}

// processorTime is a clock of the processor time this process takes, so that a
// peer measured in turn is measured fairly on a busy machine.
func processorTime(b *testing.B) func() float64 {
	return func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
	}
}

// Contours of 400 by 400 cells of waves with noise, half a metre apart.
func BenchmarkContours(b *testing.B) {
	r := rand.New(rand.NewSource(1))
	g := gridOf(400, 400, 1, func(x, y float64) float64 {
		return 200 + 8*math.Sin(x/40)*math.Cos(y/31) + 0.05*r.NormFloat64()
	})
	s, err := NewRaster(g, 0.1)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if lines, err := Contours(s, Contouring{Interval: 0.5}); err != nil || len(lines) == 0 {
			b.Fatal(err)
		}
	}
}
