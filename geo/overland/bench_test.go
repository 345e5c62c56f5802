package overland

import (
	"math"
	"math/rand"
	"testing"

	"fallwright/geo/ground"
)

// hills is ground like lidar's: long waves, a slope, and noise at the cell size.
func hills(n int) ground.Grid {
	r := rand.New(rand.NewSource(1))
	return of(n, n, 1, func(x, y float64) float64 {
		return 200 + 10*math.Sin(x/97)*math.Cos(y/83) + 2*math.Sin((x+y)/23) + 0.01*x + 0.05*r.NormFloat64()
	})
}

func BenchmarkFlow2000(b *testing.B) {
	g := hills(2000)
	for b.Loop() {
		if _, err := Flow(Input{Ground: g}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(g.Z))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mcells/s")
}

func BenchmarkTiles2000(b *testing.B) {
	g := hills(2000)
	place := g
	place.Z = nil
	for b.Loop() {
		if err := (Tiles{Place: place, Rows: memory{g}, Store: NewSheet(g.Cols, g.Rows), Side: 512, Workers: 2}).Flow(); err != nil {
			b.Fatal(err)
		}
	}
}
