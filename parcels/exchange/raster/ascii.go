package raster

// ESRI ASCII grids: a head of key and number, then the numbers, row by row
// from the north. Opening looks at every number once and notes where the rows begin;
// what is asked for is then read from there, so that a grid need not be in memory.

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"fallwright/parcels"
)

type asciiCells struct {
	src  io.ReaderAt
	size int64
	name string
	cols int
	rows []asciiRow
}

// asciiRow is where the first number of a row begins.
type asciiRow struct {
	at   int64
	line int
}

func (a *asciiCells) read(col, row, width, height int, dst []float64) error {
	if width == 0 || height == 0 {
		return nil
	}
	from := a.rows[row]
	s := wordsFrom(a.src, from.at, a.size)
	s.line = from.line
	for r := range height {
		for c := range a.cols {
			if r == height-1 && c == col+width {
				break // no more is asked for
			}
			word, err := s.next()
			if err != nil {
				return err
			}
			if c < col || c >= col+width {
				continue
			}
			v, ok := cellOf(word)
			if !ok { // it was one when the file was opened
				return fault(a.name, parcels.Invalid, parcels.Fault{Slug: "raster-corrupt", Line: parcels.Num(s.line), Offset: parcels.Num(s.at),
					Detail: fmt.Sprintf("Cell %d, %d is %q, which is no number. The file was changed while it was read.", c, row+r, parcels.Excerpt(word))})
			}
			dst[r*width+c-col] = v
		}
	}
	return nil
}

// cellOf is the number of a cell; a huge one is infinite.
func cellOf(word string) (v float64, ok bool) {
	v, err := strconv.ParseFloat(word, 64)
	return v, err == nil || math.IsInf(v, 0)
}

func parseASCII(src io.ReaderAt, size int64, name string, opt Options) (*File, error) {
	s := wordsFrom(src, 0, size)
	bad := func(format string, a ...any) error {
		return fault(name, parcels.Invalid, parcels.Fault{Slug: "raster-corrupt", Line: parcels.Num(s.line), Offset: parcels.Num(s.at), Detail: fmt.Sprintf(format, a...)})
	}
	head := map[string]float64{}
	var word string
	for {
		w, err := s.next()
		if err != nil {
			return nil, err
		}
		if w == "" {
			return nil, bad("The file ends within its head; it is no ESRI ASCII grid.")
		}
		if strings.ContainsRune("0123456789+-.", rune(w[0])) || strings.EqualFold(w, "nan") {
			word = w
			break
		}
		key := strings.ToLower(w)
		switch key {
		case "ncols", "nrows", "xllcorner", "yllcorner", "xllcenter", "yllcenter", "cellsize", "dx", "dy", "nodata_value":
		default:
			return nil, fault(name, parcels.Unreadable, parcels.Fault{Slug: "raster-corrupt", Line: parcels.Num(s.line), Offset: parcels.Num(s.at),
				Detail: fmt.Sprintf("%q is neither a TIFF's start nor a key of an ESRI ASCII grid. Give a GeoTIFF or an ASCII grid.", parcels.Excerpt(w))})
		}
		if _, twice := head[key]; twice {
			return nil, bad("%s stands twice in the head.", key)
		}
		v, err := s.next()
		if err != nil {
			return nil, err
		}
		x, perr := strconv.ParseFloat(v, 64)
		if perr != nil || math.IsInf(x, 0) || math.IsNaN(x) && key != "nodata_value" {
			return nil, bad("%s is %q, which is no number.", key, parcels.Excerpt(v))
		}
		head[key] = x
	}
	f := &File{Name: name, Format: "ESRI ASCII grid", scale: 1}
	for _, key := range []string{"ncols", "nrows"} {
		if v, ok := head[key]; !ok || v < 1 || v != math.Trunc(v) {
			return nil, bad("The head has no usable %s (%v).", key, head[key])
		}
	}
	cols, rows := head["ncols"], head["nrows"]
	limit := float64(opt.MaxCells)
	if limit == 0 || limit > math.MaxInt32 {
		limit = math.MaxInt32
	}
	if cols*rows > limit {
		return nil, sizeFault(name, toInt(cols), toInt(rows), int64(limit))
	}
	if cols*rows > float64(size) { // each number takes two bytes at least, but for the last
		return nil, fault(name, parcels.Invalid, parcels.Fault{Slug: "raster-corrupt", Size: []int64{int64(cols), int64(rows)}, Actual: size, Line: parcels.Num(s.line),
			Detail: fmt.Sprintf("The head claims %.0f by %.0f cells; a file of %d bytes does not hold them.", cols, rows, size)})
	}
	f.Cols, f.Rows = int(cols), int(rows)
	f.CellX, f.CellY = head["cellsize"], head["cellsize"]
	if v, ok := head["dx"]; ok {
		f.CellX = v
	}
	if v, ok := head["dy"]; ok {
		f.CellY = v
	}
	if !(f.CellX > 0 && f.CellY > 0) {
		return nil, bad("The head has no usable cellsize.")
	}
	side := func(corner, center string, cell float64) (float64, error) {
		a, isCorner := head[corner]
		b, isCenter := head[center]
		switch {
		case isCorner == isCenter:
			return 0, bad("The head needs one of %s and %s.", corner, center)
		case isCenter:
			return b - cell/2, nil
		}
		return a, nil
	}
	var south float64
	var err error
	if f.West, err = side("xllcorner", "xllcenter", f.CellX); err != nil {
		return nil, err
	}
	if south, err = side("yllcorner", "yllcenter", f.CellY); err != nil {
		return nil, err
	}
	f.North = south + float64(f.Rows)*f.CellY
	if v, ok := head["nodata_value"]; ok {
		f.NoData = &v
	} else {
		v := -9999.0 // what the format has by default
		f.NoData = &v
		f.Notes = append(f.Notes, "the grid names no nodata value; -9999 is the format's own")
	}
	cells := &asciiCells{src: src, size: size, name: name, cols: f.Cols}
	n := 0
	for ; word != ""; word, err = s.next() {
		if err != nil {
			return nil, err
		}
		if n == f.Cols*f.Rows {
			return nil, bad("More numbers than %d by %d cells: the first too many stands on line %d.", f.Cols, f.Rows, s.line)
		}
		if _, ok := cellOf(word); !ok {
			return nil, bad("Cell %d, %d is %q, which is no number.", n%f.Cols, n/f.Cols, parcels.Excerpt(word))
		}
		if n%f.Cols == 0 {
			cells.rows = append(cells.rows, asciiRow{s.at, s.line})
		}
		n++
	}
	if err != nil {
		return nil, err
	}
	if n < f.Cols*f.Rows {
		return nil, bad("The grid ends after %d of %d numbers (row %d of %d). The file is cut short; fetch it again.", n, f.Cols*f.Rows, n/f.Cols, f.Rows)
	}
	f.cells = cells
	return f, nil
}

func toInt(v float64) int64 {
	if v >= math.MaxInt64 {
		return math.MaxInt64
	}
	return int64(v)
}

// words cuts a text at white space and counts lines. A word longer than any
// number is given as far as it was read: no number either.
type words struct {
	r    *bufio.Reader
	line int   // of the last word, from 1
	at   int64 // offset of the last word
	read int64
	feed int // line breaks to count before the next word
	buf  []byte
}

// wordsFrom are those of a text from an offset on.
func wordsFrom(src io.ReaderAt, at, size int64) *words {
	return &words{r: bufio.NewReaderSize(io.NewSectionReader(src, at, size-at), 1<<16), line: 1, read: at}
}

// next is the next word; empty at the end of the text.
func (s *words) next() (string, error) {
	s.buf = s.buf[:0]
	for {
		c, err := s.r.ReadByte()
		if err == io.EOF {
			return string(s.buf), nil
		}
		if err != nil {
			return "", err
		}
		s.read++
		space := c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '\v' || c == '\f'
		if !space && len(s.buf) == 0 {
			s.line += s.feed
			s.feed = 0
			s.at = s.read - 1
		}
		if c == '\n' {
			s.feed++
		}
		switch {
		case !space && len(s.buf) < 400:
			s.buf = append(s.buf, c)
		case len(s.buf) > 0:
			return string(s.buf), nil
		}
	}
}
