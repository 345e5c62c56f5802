package overland

import (
	"errors"
	"math"
	"math/rand"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
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

// With houses, open inlets, and yards shut in by walls, within a tile and over
// several: the same as the whole.
func TestOracleTilesHouses(t *testing.T) {
	shut := 0
	for seed := int64(1); seed <= 60; seed++ {
		in := rough(seed, 45, 40)
		g := in.Ground
		r := rand.New(rand.NewSource(seed))
		in.Blocked, in.Drains = nil, nil
		at := func(c, w float64) float64 { return c + w*r.Float64() }
		for n := 0; n < 6; n++ {
			x, y := at(0, 40), at(0, 35)
			in.Blocked = append(in.Blocked, box(g.West+x*g.CellX, g.North-(y+at(2, 5))*g.CellY, g.West+(x+at(2, 6))*g.CellX, g.North-y*g.CellY))
		}
		// a yard within walls: as wide as tiles, or less
		x, y, w := at(3, 12), at(3, 12), at(4, 18)
		ring := func(d float64) orb.Ring {
			return orb.Ring{{g.West + (x-d)*g.CellX, g.North - (y+w+d)*g.CellY}, {g.West + (x+w+d)*g.CellX, g.North - (y+w+d)*g.CellY}, {g.West + (x+w+d)*g.CellX, g.North - (y-d)*g.CellY}, {g.West + (x-d)*g.CellX, g.North - (y-d)*g.CellY}, {g.West + (x-d)*g.CellX, g.North - (y+w+d)*g.CellY}}
		}
		in.Blocked = append(in.Blocked, orb.MultiPolygon{{ring(1.5), ring(0)}})
		base := flow(t, Input{Ground: g, Blocked: in.Blocked})
		for n := 0; n < 4; n++ {
			if i := r.Intn(len(g.Z)); base.Wet(i) {
				in.Drains = append(in.Drains, g.Centre(i%g.Cols, i/g.Cols))
			}
		}
		f := flow(t, Input{Ground: g, Blocked: in.Blocked, Drains: in.Drains})
		for _, d := range f.Dir {
			if d == Enclosed {
				shut++
			}
		}
		place := g
		place.Z = nil
		for _, side := range []int{3, 7, 16, 100} {
			s := NewSheet(g.Cols, g.Rows)
			if err := (Tiles{Place: place, Rows: memory{g}, Store: s, Side: side, Workers: 1 + int(seed)%3, Blocked: in.Blocked, Drains: in.Drains}).Flow(); err != nil {
				t.Fatal(err)
			}
			if i, ok := equalLevels(s.Filled, f.Filled); !ok {
				t.Fatalf("seed %d, tiles of %d: cell %d filled to %v, whole %v", seed, side, i, s.Filled[i], f.Filled[i])
			}
			for i := range f.Dir {
				if s.Dir[i] != f.Dir[i] || s.Count[i] != f.Count[i] {
					t.Fatalf("seed %d, tiles of %d: cell %d drains %d and counts %d, whole %d and %d", seed, side, i, s.Dir[i], s.Count[i], f.Dir[i], f.Count[i])
				}
			}
		}
	}
	if shut < 20 {
		t.Errorf("%d yards were shut in", shut)
	}
}

// Roofs set down at their downspouts and D-infinity: the same as the whole, to the
// rounding of sums; inflows stand in tiles' corners and beside walls, where the
// nearest open ground is another tile's.
func TestOracleTilesAreas(t *testing.T) {
	for seed := int64(1); seed <= 25; seed++ {
		in := rough(seed, 45, 40)
		g := in.Ground
		r := rand.New(rand.NewSource(seed))
		in.Drains = nil
		in.Blocked = []orb.MultiPolygon{box(g.West+13.5*g.CellX, g.North-22.5*g.CellY, g.West+21.5*g.CellX, g.North-12.5*g.CellY)}
		f := flow(t, in)
		var inflows []Inflow
		for n := range 12 {
			at := orb.Point{g.West + (12+10*r.Float64())*g.CellX, g.North - (12+11*r.Float64())*g.CellY}
			if _, ok := f.CellAt(at, unit.Length(6*g.CellX)); ok {
				inflows = append(inflows, Inflow{at, unit.Area(20 + 3*float64(n))})
			}
		}
		area, err := f.Accumulate(nil, inflows, unit.Length(6*g.CellX), nil)
		if err != nil {
			t.Fatal(err)
		}
		shares := f.Infinity()
		count := f.CountInfinity(shares)
		place := g
		place.Z = nil
		for _, side := range []int{3, 7, 16, 100} {
			gotA, gotS, gotN := make([]float64, len(area)), make([]Share, len(area)), make([]float64, len(area))
			err := Tiles{Place: place, Rows: memory{g}, Store: NewSheet(g.Cols, g.Rows), Side: side, Workers: 1 + int(seed)%3, Blocked: in.Blocked,
				Inflows: inflows, Reach: unit.Length(6 * g.CellX),
				Areas: func(col, row, w, h int, src []float64) error { return writeSheet(g.Cols, gotA, col, row, w, h, src) },
				Shares: func(col, row, w, h int, s []Share, n []float64) error {
					_ = writeSheet(g.Cols, gotS, col, row, w, h, s)
					return writeSheet(g.Cols, gotN, col, row, w, h, n)
				}}.Flow()
			if err != nil {
				t.Fatal(err)
			}
			for i := range area {
				if math.Abs(gotA[i]-area[i]) > 1e-9*(1+area[i]) {
					t.Fatalf("seed %d, tiles of %d: area of cell %d %v, whole %v", seed, side, i, gotA[i], area[i])
				}
				if gotS[i] != shares[i] || math.Abs(gotN[i]-count[i]) > 1e-9*(1+count[i]) {
					t.Fatalf("seed %d, tiles of %d: cell %d shares %v counts %v, whole %v %v", seed, side, i, gotS[i], gotN[i], shares[i], count[i])
				}
			}
		}
	}
	g := of(20, 20, 1, func(x, y float64) float64 { return x })
	place := g
	place.Z = nil
	none := Tiles{Place: place, Rows: memory{g}, Store: NewSheet(20, 20), Side: 8, Areas: func(int, int, int, int, []float64) error { return nil }, Inflows: []Inflow{{orb.Point{-9, 4}, 10}}, Reach: 3}
	if err := none.Flow(); err == nil || !strings.Contains(err.Error(), "inflow 0 at -9.00, 4.00 m has no open ground within 3.00 m") {
		t.Errorf("an inflow beyond the raster: %v", err)
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
