package overland

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
)

// Hand: a gutter of 5 by 3 cells of a metre. Its middle row falls to the east by
// 0.1 a cell from 1.0, the outer rows stand 1 m over it: each outer cell sheds
// straight into the middle, so that the middle cells drain 3, 6, 9, 12 and 15 m2.
// With 6 m2 asked there is one way, from the second cell to the last.
func TestHandThreads(t *testing.T) {
	g := ground.Grid{Cols: 5, Rows: 3, CellX: 1, CellY: 1, West: 0, North: 3}
	for r := range 3 {
		for c := range 5 {
			z := 1.0 - 0.1*float64(c)
			if r != 1 {
				z++
			}
			g.Z = append(g.Z, float32(z))
		}
	}
	f, err := Flow(Input{Ground: g, Drains: []orb.Point{{4.5, 1.5}}})
	if err != nil {
		t.Fatal(err)
	}
	got := f.Threads(6)
	if len(got) != 1 || len(got[0].Line) != 4 || got[0].Line[0] != (orb.Point{1.5, 1.5}) || got[0].Line[3] != (orb.Point{4.5, 1.5}) {
		t.Fatalf("%+v", got)
	}
	if math.Abs(float64(got[0].Area)-15) > 1e-9 {
		t.Errorf("%v m2, want 15", got[0].Area)
	}
	if none := f.Threads(16); len(none) != 0 {
		t.Errorf("%+v", none)
	}
}
