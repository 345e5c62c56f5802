package overland

// A raster larger than memory, from a formula into files. It takes minutes and
// gigabytes of disk: where FALLWRIGHT_LARGE gives its side in cells (make
// large; 20000 is the size that is promised).

import (
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"unsafe"

	"fallwright/geo/ground"
)

// formula is ground without a raster behind it: waves, a slope, and noise from
// the cell's place.
type formula struct{ cols int }

func (f formula) Read(col, row, w, h int, dst []float32) error {
	for r := 0; r < h; r++ {
		for c := 0; c < w; c++ {
			x, y := col+c, row+r
			n := uint64(x)*0x9E3779B97F4A7C15 ^ uint64(y)*0xC2B2AE3D27D4EB4F
			n ^= n >> 29
			n *= 0xBF58476D1CE4E5B9
			noise := float64(n>>40)/float64(1<<24) - 0.5
			dst[r*w+c] = float32(200 + 10*math.Sin(float64(x)/97)*math.Cos(float64(y)/83) + 0.01*float64(x) + 0.1*noise)
		}
	}
	return nil
}

// files is a Store on disk.
type files struct {
	cols               int
	filled, dir, count *os.File
}

func transfer[T any](f *os.File, cols, col, row, w, h int, cells []T, write bool) error {
	size := int(unsafe.Sizeof(cells[0]))
	for r := 0; r < h; r++ {
		line := unsafe.Slice((*byte)(unsafe.Pointer(&cells[r*w])), w*size)
		at := int64(size) * (int64(row+r)*int64(cols) + int64(col))
		var err error
		if write {
			_, err = f.WriteAt(line, at)
		} else {
			_, err = f.ReadAt(line, at)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (s files) ReadFilled(col, row, w, h int, dst []float32) error {
	return transfer(s.filled, s.cols, col, row, w, h, dst, false)
}
func (s files) WriteFilled(col, row, w, h int, src []float32) error {
	return transfer(s.filled, s.cols, col, row, w, h, src, true)
}
func (s files) ReadDir(col, row, w, h int, dst []Direction) error {
	return transfer(s.dir, s.cols, col, row, w, h, dst, false)
}
func (s files) WriteDir(col, row, w, h int, src []Direction) error {
	return transfer(s.dir, s.cols, col, row, w, h, src, true)
}
func (s files) WriteCount(col, row, w, h int, src []int32) error {
	return transfer(s.count, s.cols, col, row, w, h, src, true)
}

func TestLargeRaster(t *testing.T) {
	side, _ := strconv.Atoi(os.Getenv("FALLWRIGHT_LARGE"))
	if side == 0 {
		t.Skip("minutes and gigabytes: set FALLWRIGHT_LARGE to a side in cells (make large)")
	}
	dir := t.TempDir()
	open := func(name string) *os.File {
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return f
	}
	s := files{side, open("filled"), open("dir"), open("count")}
	var steps atomic.Int64
	place := ground.Grid{Cols: side, Rows: side, North: float64(side), CellX: 1, CellY: 1}
	err := Tiles{Place: place, Rows: formula{side}, Store: s, Workers: runtime.NumCPU(), Progress: func(done, total int) { steps.Store(int64(done)) }}.Flow()
	if err != nil {
		t.Fatal(err)
	}
	// every cell leaves: counts at the way out add up
	sum := int64(0)
	d, n := make([]Direction, side), make([]int32, side)
	for r := 0; r < side; r++ {
		if err := s.ReadDir(0, r, side, 1, d); err != nil {
			t.Fatal(err)
		}
		if err := transfer(s.count, side, 0, r, side, 1, n, false); err != nil {
			t.Fatal(err)
		}
		for c := range d {
			if d[c] > Out {
				t.Fatalf("cell %d, %d drains %d", c, r, d[c])
			}
			if d[c] == Out {
				sum += int64(n[c])
			}
		}
	}
	if sum != int64(side)*int64(side) {
		t.Fatalf("%d of %d cells leave", sum, side*side)
	}
	peak := 0
	status, _ := os.ReadFile("/proc/self/status")
	for _, l := range strings.Split(string(status), "\n") {
		if v, ok := strings.CutPrefix(l, "VmHWM:"); ok {
			peak, _ = strconv.Atoi(strings.Fields(v)[0])
		}
	}
	t.Logf("%d by %d cells in %d steps, at most %d MB", side, side, steps.Load(), peak/1024)
	if peak > 2<<20 {
		t.Errorf("took %d MB, more than 2 GB", peak/1024)
	}
}
