package overland

import (
	"errors"
	"reflect"
	"testing"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
)

// sheetAndHeights is all of a field behind the interface of what is kept.
type sheetAndHeights struct {
	memory
	*Sheet
}

// A field that is kept elsewhere gives what one in memory does: ponds with all
// that is told of them, ways, catchments, what stands against houses; also when
// so few rows are held that every one is read many times.
func TestOracleWide(t *testing.T) {
	ponds := 0
	for seed := int64(1); seed <= 30; seed++ {
		in := rough(seed, 50, 60)
		g := in.Ground
		house := box(g.West+13.5*g.CellX, g.North-22.5*g.CellY, g.West+21.5*g.CellX, g.North-12.5*g.CellY)
		in.Blocked, in.Drains = []orb.MultiPolygon{house}, nil
		f := flow(t, in)
		place := g
		place.Z = nil
		s := NewSheet(g.Cols, g.Rows)
		if err := (Tiles{Place: place, Rows: memory{g}, Store: s, Side: 16, Blocked: in.Blocked}).Flow(); err != nil {
			t.Fatal(err)
		}
		kept := sheetAndHeights{memory{g}, s}
		wide, tight := NewWide(place, kept), NewWide(place, kept)
		tight.z, tight.level, tight.dir, tight.counts = narrow(g, kept)
		want, _ := f.Ponds(0, 0, 0)
		ponds += len(want)
		for _, w := range []*Wide{wide, tight} {
			got, _ := w.Ponds(0, 0, 0)
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("seed %d: ponds %+v, in memory %+v", seed, got, want)
			}
			if first, more := w.Ponds(0, 0, 3); !reflect.DeepEqual(first, want[:min(3, len(want))]) || len(first)+more != len(want) {
				t.Fatalf("seed %d: of %d ponds the first %d, and %d more", seed, len(want), len(first), more)
			}
			if a, b := w.Threads(5), f.Threads(5); !reflect.DeepEqual(a, b) {
				t.Fatalf("seed %d: %d ways, in memory %d", seed, len(a), len(b))
			}
			if a, b := w.AgainstHouses(got, in.Blocked), f.AgainstHouses(want, in.Blocked); !reflect.DeepEqual(a, b) {
				t.Fatalf("seed %d: against houses %v, in memory %v", seed, a, b)
			}
			for _, p := range want {
				if a, b := w.Catchment(p.Runs), f.Catchment(p.Runs); !reflect.DeepEqual(a, b) || cellsIn(a) != p.Catchment {
					t.Fatalf("seed %d: catchment %v, in memory %v, counted %d", seed, a, b, p.Catchment)
				}
			}
			if w.Err() != nil {
				t.Fatal(w.Err())
			}
		}
	}
	if ponds < 100 {
		t.Errorf("%d ponds", ponds)
	}
}

// narrow reads every row anew.
func narrow(g ground.Grid, k Kept) (z, level func(int) []float32, dir func(int) []Direction, counts func(int) []int32) {
	return anew(g, k.Read), anew(g, k.ReadFilled), anew(g, k.ReadDir), anew(g, k.ReadCount)
}

func anew[T any](g ground.Grid, read func(col, row, w, h int, dst []T) error) func(int) []T {
	return func(r int) []T {
		row := make([]T, g.Cols)
		_ = read(0, r, g.Cols, 1, row)
		return row
	}
}

// lost gives no directions from a row on.
type lost struct{ sheetAndHeights }

func (l lost) ReadDir(col, row, w, h int, dst []Direction) error {
	return errors.New("the disk is gone")
}

// A failing disk is told, and nothing runs for ever on what was not read.
func TestHandWideFails(t *testing.T) {
	in := rough(1, 50, 60)
	f := flow(t, in)
	place := in.Ground
	place.Z = nil
	w := NewWide(place, lost{sheetAndHeights{memory{in.Ground}, &Sheet{f.Grid.Cols, f.Grid.Rows, f.Filled, f.Dir, f.Count}}})
	if p, _ := w.Ponds(0, 0, 0); len(p) != 0 || w.Err() == nil {
		t.Errorf("%d ponds, error %v", len(p), w.Err())
	}
	w.Threads(1)
	w.Catchment([]Run{{0, 50}})
}

// Strips: the rows held are few, and those asked for last.
func TestHandStrips(t *testing.T) {
	reads := map[int]int{}
	w := &Wide{Water: Water{Grid: ground.Grid{Cols: 1 << 18, Rows: 20}}}
	row := strips(w, 6<<20, 4, 0, func(col, row, width, height int, dst []int32) error {
		reads[row]++
		for i := range dst {
			dst[i] = int32(row)
		}
		return nil
	})
	for _, r := range []int{0, 1, 2, 3, 4, 5, 0, 1, 6, 0, 2} {
		if v := row(r); v[0] != int32(r) || len(v) != 1<<18 {
			t.Fatalf("row %d holds %d", r, v[0])
		}
	}
	// a row is a megabyte: six are held, 6 takes the place of 2 and is read again
	if reads[0] != 1 || reads[1] != 1 || reads[2] != 2 {
		t.Errorf("reads %v", reads)
	}
}
