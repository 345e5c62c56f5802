package gradeline

import (
	"math/rand"
	"syscall"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
)

// BenchmarkThousandRuns sizes a tree of 1,000 runs from the stock (smallest pipe,
// single or double, that carries the flow) and solves its grade line. The room's
// promise is under 10 ms.
func BenchmarkThousandRuns(b *testing.B) {
	n := random(rand.New(rand.NewSource(3)), 1000)
	l := unit.Elevation(100.3)
	n.Level = &l
	var stock []pipe.Stock
	for _, d := range []unit.Length{0.1016, 0.1524, 0.2032, 0.254, 0.3048, 0.381} {
		stock = append(stock, pipe.Stock{Pipe: pipe.Pipe{Diameter: d, N: 0.012}})
	}
	b.ReportAllocs()
	before := cpu()
	for i := 0; i < b.N; i++ {
		for k := range n.Runs {
			r := &n.Runs[k]
			st, count, ok, err := pipe.Smallest(stock, r.Flow, r.Slope(), 2)
			if err != nil || !ok {
				b.Fatal(err, ok)
			}
			r.Pipes = pipe.Alike(count, st.Pipe)
			if _, err := st.State(r.Flow/hydro.Flow(count), r.Slope()); err != nil {
				b.Fatal(err)
			}
		}
		res, err := Solve(n)
		if err != nil || len(res.Nodes) != 1001 {
			b.Fatal(err)
		}
	}
	// Processor time, which a busy machine does not stretch.
	b.ReportMetric((cpu()-before)*1e3/float64(b.N), "cpu-ms/op")
}

// cpu is the processor time of this process in seconds.
func cpu() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}
