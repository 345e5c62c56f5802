package gradeline

import (
	"math/rand"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro/pipe"
)

// BenchmarkThousandRuns sizes a tree of 1,000 runs from the stock (smallest pipe,
// single or double, that carries the flow) and solves its grade line. The room's
// promise is under 10 ms.
func BenchmarkThousandRuns(b *testing.B) {
	n := random(rand.New(rand.NewSource(3)), 1000)
	l := unit.Elevation(100.3)
	n.Level = &l
	stock := []pipe.Pipe{{Diameter: 0.1016, N: 0.012}, {Diameter: 0.1524, N: 0.012}, {Diameter: 0.2032, N: 0.012}, {Diameter: 0.254, N: 0.012}, {Diameter: 0.3048, N: 0.012}, {Diameter: 0.381, N: 0.012}}
	b.ReportAllocs()
	for i := 0; i < b.N; i++ {
		for k := range n.Runs {
			r := &n.Runs[k]
			for _, p := range stock {
				q, err := p.Capacity(r.Slope())
				if err != nil {
					b.Fatal(err)
				}
				if q >= r.Flow {
					r.Pipes = pipe.Alike(1, p)
					break
				}
			}
			if _, err := r.Pipes[0].State(r.Flow, r.Slope()); err != nil {
				b.Fatal(err)
			}
		}
		res, err := Solve(n)
		if err != nil || len(res.Nodes) != 1001 {
			b.Fatal(err)
		}
	}
}
