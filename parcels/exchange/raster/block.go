package raster

// Blocks of cells (strips or tiles): from compressed bytes to numbers.

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"sync"

	"fallwright/parcels"
)

var compressions = map[int]string{1: "none", 5: "LZW", 8: "deflate", 32946: "deflate, old code", 32773: "packbits"}

type blocks struct {
	t           *tiff
	cols, rows  int
	compression int
	predictor   int
	bits        int
	format      int  // 1 unsigned, 2 signed, 3 float
	samples     int  // numbers a cell
	sample      int  // the one that is read
	planar      bool // each sample has blocks of its own
	bit         bool // a mask of one bit a cell, each row begun with a byte
	width       int  // of a block, cells
	height      int
	across      int // blocks in a row of them
	tiled       bool
	offsets     []int64
	counts      []int64

	mu    sync.Mutex
	cache map[int][]float64
	order []int // of the cache, oldest first
}

// check refuses what cannot be read, before anything is.
func (b *blocks) check(tileW, tileH, rowsPerStrip int64) error {
	t := b.t
	if _, ok := compressions[b.compression]; !ok {
		return fault(t.name, parcels.Invalid, parcels.Fault{Slug: "raster-corrupt", Tag: tagName(tagCompression), Offset: parcels.Num(t.dir[tagCompression].place), Actual: b.compression,
			Detail: fmt.Sprintf("Compression %d is not known; %s are. Write the raster again with deflate.", b.compression, known(compressions))})
	}
	switch {
	case b.format == 1 || b.format == 2:
		if b.bit {
			break
		}
		if b.bits != 8 && b.bits != 16 && b.bits != 32 && b.bits != 64 {
			return t.unsupported(tagBits, "The raster has integers of %d bits; 8, 16, 32 and 64 are read.", b.bits)
		}
	case b.format == 3:
		if b.bits != 32 && b.bits != 64 {
			return t.unsupported(tagBits, "The raster has floating-point numbers of %d bits; 32 and 64 are read.", b.bits)
		}
	default:
		return t.unsupported(tagSampleFormat, "The raster's sample format is %d; 1 (unsigned), 2 (signed) and 3 (float) are read.", b.format)
	}
	switch {
	case b.bit && b.predictor != 1:
		return t.unsupported(tagPredictor, "The raster's mask has predictor %d; 1 is read.", b.predictor)
	case b.predictor < 1 || b.predictor > 3:
		return t.corrupt(tagPredictor, t.dir[tagPredictor].place, "Predictor %d is not known; 1, 2 and 3 are.", b.predictor)
	case b.predictor == 3 && b.format != 3:
		return t.corrupt(tagPredictor, t.dir[tagPredictor].place, "Predictor 3 is for floating-point numbers; the raster has integers.")
	case b.predictor == 3 && t.order == binary.BigEndian:
		return t.unsupported(tagPredictor, "The raster is big-endian with predictor 3, a pair on which writers and readers disagree. Write it again little-endian.")
	case b.predictor > 1 && (b.compression == 1 || b.compression == 32773):
		b.predictor = 1 // has no meaning there (TIFF 6.0, section 14: LZW; later deflate)
	}
	offsetTag, countTag := tagStripOffsets, tagStripCounts
	if _, ok := t.dir[tagTileOffsets]; ok {
		b.tiled = true
		offsetTag, countTag = tagTileOffsets, tagTileCounts
		if tileW < 1 || tileH < 1 || tileW > 1<<20 || tileH > 1<<20 {
			return t.corrupt(tagTileWidth, t.dir[tagTileWidth].place, "The tiles are said to be %d by %d cells.", tileW, tileH)
		}
		b.width, b.height = int(tileW), int(tileH)
	} else {
		if rowsPerStrip < 1 {
			return t.corrupt(tagRowsPerStrip, t.dir[tagRowsPerStrip].place, "A strip is said to have %d rows.", rowsPerStrip)
		}
		b.width, b.height = b.cols, int(min(rowsPerStrip, int64(b.rows)))
	}
	b.across = (b.cols + b.width - 1) / b.width
	down := (b.rows + b.height - 1) / b.height
	for _, tag := range []int{offsetTag, countTag} {
		e, ok := t.dir[tag]
		if !ok {
			return t.corrupt(tag, 0, "The TIFF has no %s.", tagName(tag))
		}
		want := int64(b.across) * int64(down)
		if b.planar {
			want *= int64(b.samples)
		}
		if e.count != want {
			return fault(t.name, parcels.Invalid, parcels.Fault{Slug: "raster-corrupt", Tag: tagName(tag), Offset: parcels.Num(e.place), Size: []int64{int64(b.cols), int64(b.rows)}, Limit: want, Actual: e.count,
				Detail: fmt.Sprintf("A raster of %d by %d cells in blocks of %d by %d has %d blocks, but %s lists %d.", b.cols, b.rows, b.width, b.height, want, tagName(tag), e.count)})
		}
	}
	var err error
	if b.offsets, err = t.integers(offsetTag); err != nil {
		return err
	}
	if b.counts, err = t.integers(countTag); err != nil {
		return err
	}
	if n := b.across * down; b.planar {
		b.offsets, b.counts = b.offsets[b.sample*n:][:n], b.counts[b.sample*n:][:n]
		b.samples, b.sample = 1, 0
	}
	cell := int64(b.bits / 8 * b.samples)
	if b.bit {
		cell = 1 // at most
	}
	whole := float64(b.width) * float64(b.height) * float64(cell)
	for i := range b.offsets {
		if b.offsets[i] == 0 && b.counts[i] == 0 {
			continue // a block left out
		}
		if b.offsets[i] > t.size || b.counts[i] > t.size-b.offsets[i] {
			return fault(t.name, parcels.Invalid, parcels.Fault{Slug: "raster-corrupt", Tag: tagName(offsetTag), Offset: parcels.Num(b.offsets[i]), Size: []int64{int64(b.cols), int64(b.rows)}, Actual: t.size,
				Detail: fmt.Sprintf("Block %d is said to lie at offset %d with %d bytes, outside the file of %d bytes. The file is cut short or damaged; fetch it again.", i, b.offsets[i], b.counts[i], t.size)})
		}
		if want := b.bytes(b.stored(i)); b.compression == 1 && float64(b.counts[i]) < want {
			return fault(t.name, parcels.Invalid, parcels.Fault{Slug: "raster-corrupt", Tag: tagName(countTag), Offset: parcels.Num(b.offsets[i]), Size: []int64{int64(b.cols), int64(b.rows)}, Limit: want, Actual: b.counts[i],
				Detail: fmt.Sprintf("Block %d needs %.0f bytes but has %d: the size of %d by %d cells is not true, or the file is cut short.", i, want, b.counts[i], b.cols, b.rows)})
		}
	}
	if whole > mostBlock {
		if b.compression != 1 || b.tiled || b.bit {
			return fault(t.name, parcels.TooLarge, parcels.Fault{Slug: "raster-too-large", Tag: tagName(offsetTag), Size: []int64{int64(b.cols), int64(b.rows)}, Limit: int64(mostBlock), Actual: whole,
				Detail: fmt.Sprintf("The raster of %d by %d cells is compressed in blocks of %.0f bytes; at most %d are taken. Write it again in tiles of 256 by 256.", b.cols, b.rows, whole, mostBlock)})
		}
		b.resplit(int(cell))
	}
	return nil
}

// bytes is the length of some cells of a block, whole rows. A false size may
// make it greater than any integer.
func (b *blocks) bytes(cells float64) float64 {
	if b.bit {
		return cells / float64(b.width) * float64((b.width+7)/8)
	}
	return cells * float64(b.samples) * float64(b.bits/8)
}

// stored is how many cells block i holds in the file: the last strip may be
// short, tiles are always whole.
func (b *blocks) stored(i int) float64 {
	h := b.height
	if !b.tiled {
		h = min(h, b.rows-i/b.across*b.height)
	}
	return float64(b.width) * float64(h)
}

// resplit cuts great uncompressed strips into smaller ones of equal height, so
// that a raster in one strip is still read piece by piece.
func (b *blocks) resplit(cell int) {
	rows := max(1, (1<<20)/(b.width*cell))
	for len(b.offsets) > 1 && b.height%rows != 0 { // pieces of several strips must line up
		rows--
	}
	var offsets, counts []int64
	for i, o := range b.offsets {
		h := int(b.stored(i)) / b.width
		for r := 0; r < h; r += rows {
			at, n := int64(0), int64(0)
			if o != 0 {
				at, n = o+int64(r)*int64(b.width*cell), int64(min(rows, h-r))*int64(b.width*cell)
			}
			offsets, counts = append(offsets, at), append(counts, n)
		}
	}
	b.offsets, b.counts, b.height = offsets, counts, rows
}

// read fills dst with stored numbers.
func (b *blocks) read(col, row, width, height int, dst []float64) error {
	for br := row / b.height; br*b.height < row+height; br++ {
		for bc := col / b.width; bc*b.width < col+width; bc++ {
			v, err := b.block(br*b.across + bc)
			if err != nil {
				return err
			}
			c0, c1 := max(col, bc*b.width), min(col+width, (bc+1)*b.width)
			for r := max(row, br*b.height); r < min(row+height, (br+1)*b.height); r++ {
				copy(dst[(r-row)*width+c0-col:], v[(r-br*b.height)*b.width+c0-bc*b.width:][:c1-c0])
			}
		}
	}
	return nil
}

// block decodes one block, or takes it from the cache, which holds 64 MB of
// blocks, two at least: one for each of two that read side by side.
func (b *blocks) block(i int) ([]float64, error) {
	b.mu.Lock()
	v, ok := b.cache[i]
	b.mu.Unlock()
	if ok {
		return v, nil
	}
	v, err := b.decode(i)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cache == nil {
		b.cache = map[int][]float64{}
	}
	if _, ok := b.cache[i]; !ok {
		most := max(2, (64<<20)/(8*b.width*b.height))
		for len(b.order) >= most {
			delete(b.cache, b.order[0])
			b.order = b.order[1:]
		}
		b.cache[i] = v
		b.order = append(b.order, i)
	}
	return v, nil
}

func (b *blocks) decode(i int) ([]float64, error) {
	n := int(b.stored(i))
	out := make([]float64, b.width*b.height)
	if b.offsets[i] == 0 && b.counts[i] == 0 {
		for k := range out {
			out[k] = math.NaN()
		}
		return out, nil
	}
	want := int(b.bytes(float64(n)))
	take := b.counts[i]
	if b.compression == 1 {
		take = int64(want)
	}
	raw, err := b.t.bytes(tagStripOffsets, b.offsets[i], take)
	if err != nil {
		return nil, err
	}
	data, err := b.expand(raw, want)
	if err != nil {
		return nil, b.t.corrupt(tagStripOffsets, b.offsets[i], "Block %d of the raster does not decode (%v). The file is damaged; fetch it again.", i, err)
	}
	order := b.t.order
	switch b.predictor {
	case 2:
		b.undoDifference(data)
	case 3:
		data = b.undoFloat(data)
		order = binary.BigEndian
	}
	b.numbers(data, order, out[:n])
	for k := n; k < len(out); k++ {
		out[k] = math.NaN()
	}
	return out, nil
}

// expand undoes the compression; the result is exactly want bytes long.
func (b *blocks) expand(raw []byte, want int) ([]byte, error) {
	var data []byte
	var err error
	switch b.compression {
	case 1:
		data = raw
	case 5:
		data, err = unLZW(raw, want)
	case 8, 32946:
		var r io.ReadCloser
		if r, err = zlib.NewReader(bytes.NewReader(raw)); err != nil {
			return nil, err
		}
		data = make([]byte, want)
		if _, err = io.ReadFull(r, data); err == nil {
			var one [1]byte
			if n, e := r.Read(one[:]); n > 0 {
				err = errors.New("it holds more than its size")
			} else if e != nil && e != io.EOF {
				err = e
			}
		}
	case 32773:
		data, err = unPackBits(raw, want)
	}
	if err == nil && len(data) != want {
		err = fmt.Errorf("it holds %d bytes of %d", len(data), want)
	}
	return data, err
}

func unPackBits(raw []byte, want int) ([]byte, error) {
	out := make([]byte, 0, want)
	for len(raw) > 0 && len(out) < want {
		n := int(int8(raw[0]))
		raw = raw[1:]
		switch {
		case n >= 0:
			if n+1 > len(raw) || len(out)+n+1 > want {
				return nil, errors.New("packbits run past the end")
			}
			out = append(out, raw[:n+1]...)
			raw = raw[n+1:]
		case n > -128:
			if len(raw) < 1 || len(out)+1-n > want {
				return nil, errors.New("packbits run past the end")
			}
			for k := 0; k < 1-n; k++ {
				out = append(out, raw[0])
			}
			raw = raw[1:]
		}
	}
	return out, nil
}

// undoDifference adds up each row's differences (predictor 2).
func (b *blocks) undoDifference(data []byte) {
	w, o := b.width*b.samples*b.bits/8, b.t.order
	n := b.samples
	for at := 0; at < len(data); at += w {
		row := data[at : at+w]
		switch b.bits {
		case 8:
			for k := n; k < len(row); k++ {
				row[k] += row[k-n]
			}
		case 16:
			for k := 2 * n; k < len(row); k += 2 {
				o.PutUint16(row[k:], o.Uint16(row[k:])+o.Uint16(row[k-2*n:]))
			}
		case 32:
			for k := 4 * n; k < len(row); k += 4 {
				o.PutUint32(row[k:], o.Uint32(row[k:])+o.Uint32(row[k-4*n:]))
			}
		case 64:
			for k := 8 * n; k < len(row); k += 8 {
				o.PutUint64(row[k:], o.Uint64(row[k:])+o.Uint64(row[k-8*n:]))
			}
		}
	}
}

// undoFloat adds up each row's bytes and takes the bytes of a number, which lie
// in planes, most significant first, together again (predictor 3): big-endian.
func (b *blocks) undoFloat(data []byte) []byte {
	size := b.bits / 8
	n := b.width * b.samples
	w := n * size
	out := make([]byte, len(data))
	for at := 0; at < len(data); at += w {
		row := data[at : at+w]
		for k := b.samples; k < len(row); k++ {
			row[k] += row[k-b.samples]
		}
		for k := 0; k < n; k++ {
			for s := 0; s < size; s++ {
				out[at+k*size+s] = row[s*n+k]
			}
		}
	}
	return out
}

func (b *blocks) numbers(data []byte, o binary.ByteOrder, out []float64) {
	if b.bit {
		w := (b.width + 7) / 8
		for i := range out {
			r, c := i/b.width, i%b.width
			out[i] = float64(data[r*w+c/8] >> (7 - c%8) & 1)
		}
		return
	}
	step := b.samples * b.bits / 8
	data = data[b.sample*b.bits/8:]
	each := func(number func(v []byte) float64) {
		for i := range out {
			out[i] = number(data[i*step:])
		}
	}
	little := o == binary.ByteOrder(binary.LittleEndian)
	switch {
	case b.format == 3 && b.bits == 32 && little: // as most rasters of heights are
		for i := range out {
			out[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[i*step:])))
		}
	case b.format == 3 && b.bits == 32:
		each(func(v []byte) float64 { return float64(math.Float32frombits(o.Uint32(v))) })
	case b.format == 3:
		each(func(v []byte) float64 { return math.Float64frombits(o.Uint64(v)) })
	case b.bits == 8 && b.format == 2:
		each(func(v []byte) float64 { return float64(int8(v[0])) })
	case b.bits == 8:
		each(func(v []byte) float64 { return float64(v[0]) })
	case b.bits == 16 && b.format == 2:
		each(func(v []byte) float64 { return float64(int16(o.Uint16(v))) })
	case b.bits == 16:
		each(func(v []byte) float64 { return float64(o.Uint16(v)) })
	case b.bits == 32 && b.format == 2:
		each(func(v []byte) float64 { return float64(int32(o.Uint32(v))) })
	case b.bits == 32:
		each(func(v []byte) float64 { return float64(o.Uint32(v)) })
	case b.format == 2:
		each(func(v []byte) float64 { return float64(int64(o.Uint64(v))) })
	default:
		each(func(v []byte) float64 { return float64(o.Uint64(v)) })
	}
}
