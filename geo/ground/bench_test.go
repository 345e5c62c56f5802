package ground

import (
	"math"
	"math/rand"
	"syscall"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/internal/geosop/peer"
	"fallwright/geo/unit"
)

func BenchmarkTriangulate100k(b *testing.B) {
	shots := shotsOn(1, 100000, 1000, func(x, y float64) float64 { return math.Sin(x / 30) })
	for b.Loop() {
		if _, err := Triangulate(shots, nil); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSurface100k makes a surface of 100,000 shots with 400 breaklines of 20
// vertices that wind through them, and in the same round GEOS's plain Delaunay
// triangulation of the shots alone. x-geos is how many times GEOS's processor time
// ours takes; 1.5 is asked.
func BenchmarkSurface100k(b *testing.B) {
	z := func(x, y float64) float64 { return math.Sin(x / 30) }
	shots := shotsOn(1, 100000, 1000, z)
	var lines []Line
	for k := range 400 {
		l := Line{SD: 0.01}
		for v := range 20 {
			// 5 m apart along a row, waving by 1.5 m; rows do not meet
			x, y := 10+245*float64(k%4)+5*float64(v)+0.3, 4+9.9*float64(k/4)+1.5*math.Sin(float64(v))
			l.Path = append(l.Path, orb.Point{x, y})
			l.Z = append(l.Z, unit.Elevation(z(x, y)))
		}
		lines = append(lines, l)
	}
	theirs := peer.NewPoints(flatten(shots))
	clock := processorTime(b)
	var spent [2]float64
	for b.Loop() {
		start := clock()
		if _, err := Triangulate(shots, lines); err != nil {
			b.Fatal(err)
		}
		middle := clock()
		if theirs.Delaunay() <= 0 {
			b.Fatal("GEOS has no triangulation")
		}
		spent[0] += middle - start
		spent[1] += clock() - middle
	}
	b.ReportMetric(spent[0]*1e3/float64(b.N), "cpu-ms/ours")
	b.ReportMetric(spent[1]*1e3/float64(b.N), "cpu-ms/geos")
	b.ReportMetric(spent[0]/spent[1], "x-geos")
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
