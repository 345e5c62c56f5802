package overland

import (
	"errors"
	"math"
	"testing"

	"fallwright/geo/ground"
)

// memory is a raster in memory behind the Rows interface.
type memory struct{ g ground.Grid }

func (m memory) Read(col, row, w, h int, dst []float32) error {
	return readSheet(m.g.Cols, m.g.Z, col, row, w, h, dst)
}

func tiled(t testing.TB, g ground.Grid, side, workers int) *Sheet {
	t.Helper()
	place := g
	place.Z = nil
	s := NewSheet(g.Cols, g.Rows)
	if err := (Tiles{Place: place, Rows: memory{g}, Store: s, Side: side, Workers: workers}).Flow(); err != nil {
		t.Fatal(err)
	}
	return s
}

// Tiles of any size give what the whole gives: levels bit for bit, directions
// and counts cell for cell, on ground full of ties, flats, ponds and holes that
// cross tiles.
func TestOracleTiles(t *testing.T) {
	for seed := int64(1); seed <= 40; seed++ {
		in := rough(seed, 30+int(seed), 41)
		g := in.Ground
		if seed%7 == 0 { // one great pond over many tiles, and a plateau
			for i := range g.Z {
				c, r := i%g.Cols, i/g.Cols
				if c > 2 && r > 2 && c < g.Cols-3 && r < g.Rows-3 {
					g.Z[i] = float32(seed % 2)
				}
			}
		}
		f := flow(t, Input{Ground: g})
		for _, side := range []int{3, 7, 16, 100} {
			s := tiled(t, g, side, 1+int(seed)%3)
			if i, ok := equalLevels(s.Filled, f.Filled); !ok {
				t.Fatalf("seed %d, tiles of %d: cell %d filled to %v, whole %v", seed, side, i, s.Filled[i], f.Filled[i])
			}
			for i := range f.Dir {
				if s.Dir[i] != f.Dir[i] {
					t.Fatalf("seed %d, tiles of %d: cell %d drains %d, whole %d", seed, side, i, s.Dir[i], f.Dir[i])
				}
				if s.Count[i] != f.Count[i] {
					t.Fatalf("seed %d, tiles of %d: cell %d counts %d, whole %d", seed, side, i, s.Count[i], f.Count[i])
				}
			}
		}
	}
}

type broken struct{ memory }

func (b broken) Read(col, row, w, h int, dst []float32) error {
	if col > 10 {
		return errors.New("the disk is gone")
	}
	return b.memory.Read(col, row, w, h, dst)
}

func TestHandTilesRefuse(t *testing.T) {
	g := of(40, 40, 1, func(x, y float64) float64 { return x })
	place := g
	place.Z = nil
	if err := (Tiles{Place: place, Rows: broken{memory{g}}, Store: NewSheet(40, 40), Side: 8, Workers: 2}).Flow(); err == nil {
		t.Error("a broken source was taken")
	}
	if err := (Tiles{Place: place, Rows: memory{g}, Store: NewSheet(40, 40), Side: 2}).Flow(); err == nil {
		t.Error("tiles of two cells were taken")
	}
	last := 0
	err := (Tiles{Place: place, Rows: memory{g}, Store: NewSheet(40, 40), Side: 8, Progress: func(done, total int) {
		if done != last+1 || done > total {
			t.Errorf("progress %d after %d of %d", done, last, total)
		}
		last = done
	}}).Flow()
	if err != nil || last == 0 {
		t.Errorf("%v, %d steps", err, last)
	}
	nan := of(9, 9, 1, func(x, y float64) float64 { return math.NaN() })
	s := tiled(t, nan, 4, 1)
	if s.Dir[40] != Missing || s.Count[40] != 0 {
		t.Errorf("no ground: %v %v", s.Dir[40], s.Count[40])
	}
}
