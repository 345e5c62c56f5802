package overland

import (
	"math"
	"math/rand"
	"testing"
)

// Levels of basins by the passes between them, against the slow twin: the least
// over all ways of the greatest pass on the way, by letting each basin try each
// other as a stop (Floyd and Warshall). Small heights make many ties. Lower and
// higher levels of the first basins are tried with the answer, as tiles do.
func TestOracleContract(t *testing.T) {
	inf := math.Inf(1)
	for seed := int64(1); seed <= 300; seed++ {
		r := rand.New(rand.NewSource(seed))
		n, first := 3+r.Intn(20), 1+r.Intn(3)
		var ways []pass
		way := make([][]float64, n)
		for a := range way {
			way[a] = make([]float64, n)
			for b := range way[a] {
				if way[a][b] = inf; a == b {
					way[a][b] = math.Inf(-1)
				}
			}
		}
		for range n + r.Intn(2*n) {
			a, b, z := r.Intn(n), r.Intn(n), float32(r.Intn(6)-3)
			if a != b {
				ways = append(ways, pass{int32(a), int32(b), z})
				way[a][b] = min(way[a][b], float64(z))
				way[b][a] = way[a][b]
			}
		}
		least, end, meets := contract(int32(n), int32(first), ways)
		own := make([]float64, first) // the level of the first ones
		for try := 0; try < 3; try++ {
			for k := range own {
				own[k] = float64(r.Intn(8) - 4)
			}
			// the first ones among each other, by what is said of their meetings
			met := make([]float64, first)
			for k := range met {
				met[k] = own[k]
			}
			for range first {
				for _, m := range meets {
					met[m.a] = min(met[m.a], max(met[m.b], float64(m.z)))
					met[m.b] = min(met[m.b], max(met[m.a], float64(m.z)))
				}
			}
			full := make([][]float64, n)
			for a := range full {
				full[a] = append([]float64(nil), way[a]...)
			}
			for m := range n {
				for a := range n {
					for b := range n {
						full[a][b] = min(full[a][b], max(full[a][m], full[m][b]))
					}
				}
			}
			for k := range n {
				want := inf
				for e := range first {
					want = min(want, max(full[k][e], own[e]))
				}
				got := inf
				switch {
				case k < first:
					got = met[k]
				case end[k] < int32(first):
					got = max(float64(least[k]), met[end[k]])
				}
				if got != want {
					t.Fatalf("seed %d: basin %d of %d stands at %v, want %v (%d first, passes %v)", seed, k, n, got, want, first, ways)
				}
			}
		}
	}
}

// The order of heights is that of the numbers for them; the two zeros are one.
func TestPropertySortable(t *testing.T) {
	z := []float32{float32(math.Inf(-1)), -3e38, -1, -1e-40, 0, 1e-40, 1, 3e38, float32(math.Inf(1))}
	for i := 1; i < len(z); i++ {
		if !(sortable(z[i-1]) < sortable(z[i])) {
			t.Errorf("%v is not before %v", z[i-1], z[i])
		}
	}
	if minus := float32(math.Copysign(0, -1)); sortable(minus) != sortable(0) {
		t.Error("the zeros differ")
	}
}
