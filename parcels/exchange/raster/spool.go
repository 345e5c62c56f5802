package raster

// A raster that is worked on disk: its elevations beside what is found over it, cell
// by cell, in files without a name that are gone with the process.

import (
	"context"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"unsafe"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/ground"
	"fallwright/geo/overland"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Spool is a part of a raster on disk, 13 bytes a cell. It is a ground.Rows, and an
// overland Store that gives back what it keeps.
type Spool struct {
	Place ground.Grid // of the part, in the site's plane, without elevations
	// Missing counts the cells without an elevation, Implausible those of them with
	// a number that cannot be one.
	Missing, Implausible int64

	z, filled, dir, count *os.File
}

// Span is the part of the raster within margin of a box of the site's plane, and
// where in the raster it begins; false where the raster's system is another than
// the site's, so that the part would have to be resampled.
func (f *File) Span(fr *frame.Frame, box orb.Bound, margin unit.Length) (part ground.Grid, col, row int, straight bool, err error) {
	to, err := f.mapping(fr)
	if err != nil || !to.linear {
		return ground.Grid{}, 0, 0, false, err
	}
	place := f.own()
	place.West -= to.origin[0]
	place.North -= to.origin[1]
	part, col, row, err = ground.Span(place, box, margin)
	if err != nil {
		err = f.noData(err.Error())
	}
	return part, col, row, true, err
}

// Spool reads a part of the raster, as Span gives it, into a folder (empty: the
// usual one for such files): block by block of the file, each once, whether they
// are strips or tiles, so that of the file no more than a few blocks are in memory.
// Close the spool in the end.
func (f *File) Spool(ctx context.Context, dir string, part ground.Grid, col, row, workers int, progress func(done, total int)) (s *Spool, err error) {
	s = &Spool{Place: part}
	defer func() {
		if err != nil {
			s.Close()
			s = nil
		}
	}()
	for _, p := range []**os.File{&s.z, &s.filled, &s.dir, &s.count} {
		if *p, err = os.CreateTemp(dir, "fallwright-raster-*"); err == nil {
			err = os.Remove((*p).Name())
		}
		if err != nil {
			return s, &parcels.Error{Kind: parcels.Failed, Op: "raster: scratch file", Subject: f.Name, Err: err}
		}
	}
	// rectangles along the blocks' borders
	w, h := f.Cols, max(1, (1<<18)/f.Cols)
	if b, ok := f.cells.(*blocks); ok {
		w, h = b.width, b.height
	}
	var boxes [][4]int
	for y := row / h * h; y < row+part.Rows; y += h {
		for x := col / w * w; x < col+part.Cols; x += w {
			x0, y0 := max(x, col), max(y, row)
			boxes = append(boxes, [4]int{x0, y0, min(x+w, col+part.Cols) - x0, min(y+h, row+part.Rows) - y0})
		}
	}
	before := f.Implausible()
	var next, missing atomic.Int64
	var mu sync.Mutex
	done := 0
	var wait sync.WaitGroup
	for range max(1, workers) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			var cells []float32
			for {
				k := int(next.Add(1)) - 1
				if k >= len(boxes) {
					return
				}
				b := boxes[k]
				if n := b[2] * b[3]; cap(cells) < n {
					cells = make([]float32, n)
				}
				cells = cells[:b[2]*b[3]]
				e := ctx.Err()
				if e == nil {
					e = f.Read(b[0], b[1], b[2], b[3], cells)
				}
				if e == nil {
					e = transfer(s.z, part.Cols, b[0]-col, b[1]-row, b[2], b[3], cells, true)
				}
				none := int64(0)
				for _, z := range cells {
					if z != z {
						none++
					}
				}
				missing.Add(none)
				mu.Lock()
				if e != nil {
					if err == nil {
						err = e
					}
					next.Store(int64(len(boxes)))
				} else if done++; progress != nil {
					progress(done, len(boxes))
				}
				mu.Unlock()
			}
		}()
	}
	wait.Wait()
	s.Missing, s.Implausible = missing.Load(), f.Implausible()-before
	if err == nil && s.Missing == int64(part.Cols)*int64(part.Rows) {
		err = f.noData(fmt.Sprintf("none of the %d cells over the site bears an elevation", s.Missing))
	}
	return s, err
}

// Close gives the room on disk back.
func (s *Spool) Close() error {
	for _, f := range []*os.File{s.z, s.filled, s.dir, s.count} {
		if f != nil {
			f.Close()
		}
	}
	return nil
}

// transfer moves a rectangle of cells of a raster that lies row by row in a file of
// this machine's own numbers.
func transfer[T any](f *os.File, cols, col, row, w, h int, cells []T, write bool) error {
	if w*h == 0 {
		return nil
	}
	size := int(unsafe.Sizeof(cells[0]))
	if w == cols { // whole rows lie together
		w, h = w*h, 1
	}
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
			return &parcels.Error{Kind: parcels.Failed, Op: "raster: scratch file", Err: err}
		}
	}
	return nil
}

// Read gives elevations.
func (s *Spool) Read(col, row, w, h int, dst []float32) error {
	return transfer(s.z, s.Place.Cols, col, row, w, h, dst, false)
}

// ReadFilled and the others keep and give back what is found over the raster.
func (s *Spool) ReadFilled(col, row, w, h int, dst []float32) error {
	return transfer(s.filled, s.Place.Cols, col, row, w, h, dst, false)
}

// WriteFilled keeps levels.
func (s *Spool) WriteFilled(col, row, w, h int, src []float32) error {
	return transfer(s.filled, s.Place.Cols, col, row, w, h, src, true)
}

// ReadDir gives directions.
func (s *Spool) ReadDir(col, row, w, h int, dst []overland.Direction) error {
	return transfer(s.dir, s.Place.Cols, col, row, w, h, dst, false)
}

// WriteDir keeps directions.
func (s *Spool) WriteDir(col, row, w, h int, src []overland.Direction) error {
	return transfer(s.dir, s.Place.Cols, col, row, w, h, src, true)
}

// ReadCount gives counts.
func (s *Spool) ReadCount(col, row, w, h int, dst []int32) error {
	return transfer(s.count, s.Place.Cols, col, row, w, h, dst, false)
}

// WriteCount keeps counts.
func (s *Spool) WriteCount(col, row, w, h int, src []int32) error {
	return transfer(s.count, s.Place.Cols, col, row, w, h, src, true)
}
