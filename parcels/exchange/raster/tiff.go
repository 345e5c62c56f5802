package raster

// The TIFF container: directories, tags and where the blocks of cells are.

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"

	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Tags that are read.
const (
	tagSubfile      = 254
	tagWidth        = 256
	tagHeight       = 257
	tagBits         = 258
	tagCompression  = 259
	tagPhotometric  = 262
	tagFillOrder    = 266
	tagStripOffsets = 273
	tagSamples      = 277
	tagRowsPerStrip = 278
	tagStripCounts  = 279
	tagPlanar       = 284
	tagPredictor    = 317
	tagTileWidth    = 322
	tagTileHeight   = 323
	tagTileOffsets  = 324
	tagTileCounts   = 325
	tagExtraSamples = 338
	tagSampleFormat = 339
	tagPixelScale   = 33550
	tagTiepoint     = 33922
	tagTransform    = 34264
	tagGeoKeys      = 34735
	tagGeoDoubles   = 34736
	tagGeoASCII     = 34737
	tagGDALMetadata = 42112
	tagGDALNoData   = 42113
)

var tagNames = map[int]string{tagSubfile: "NewSubfileType", tagWidth: "ImageWidth", tagHeight: "ImageLength", tagBits: "BitsPerSample",
	tagCompression: "Compression", tagPhotometric: "PhotometricInterpretation", tagFillOrder: "FillOrder", tagStripOffsets: "StripOffsets", tagSamples: "SamplesPerPixel",
	tagRowsPerStrip: "RowsPerStrip", tagStripCounts: "StripByteCounts", tagPlanar: "PlanarConfiguration", tagExtraSamples: "ExtraSamples", tagPredictor: "Predictor", tagTileWidth: "TileWidth",
	tagTileHeight: "TileLength", tagTileOffsets: "TileOffsets", tagTileCounts: "TileByteCounts", tagSampleFormat: "SampleFormat",
	tagPixelScale: "ModelPixelScaleTag", tagTiepoint: "ModelTiepointTag", tagTransform: "ModelTransformationTag",
	tagGeoKeys: "GeoKeyDirectoryTag", tagGeoDoubles: "GeoDoubleParamsTag", tagGeoASCII: "GeoAsciiParamsTag",
	tagGDALMetadata: "GDAL_METADATA", tagGDALNoData: "GDAL_NODATA"}

func tagName(t int) string {
	if n, ok := tagNames[t]; ok {
		return n
	}
	return strconv.Itoa(t)
}

// typeSize is the length of one value of a field type, 0 for an unknown type.
var typeSize = [...]int64{1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}

// mostBlock is the greatest block (strip or tile) that is decoded in one piece.
const mostBlock = 64 << 20

type entry struct {
	kind  int
	count int64
	at    int64 // where the values are
	place int64 // where the entry itself is
}

type directory map[int]entry

type tiff struct {
	src   io.ReaderAt
	size  int64
	name  string
	order binary.ByteOrder
	big   bool
	dir   directory
}

func (t *tiff) corrupt(tag int, offset int64, format string, a ...any) error {
	f := parcels.Fault{Slug: "raster-corrupt", Offset: &offset, Detail: fmt.Sprintf(format, a...)}
	if tag > 0 {
		f.Tag = tagName(tag)
	}
	return fault(t.name, parcels.Invalid, f)
}

func (t *tiff) unsupported(tag int, format string, a ...any) error {
	f := parcels.Fault{Slug: "raster-unsupported", Tag: tagName(tag), Detail: fmt.Sprintf(format, a...)}
	if e, ok := t.dir[tag]; ok {
		f.Offset = &e.place
	}
	return fault(t.name, parcels.Unsupported, f)
}

// bytes reads n bytes at an offset that the file claims; tag is who claims it.
func (t *tiff) bytes(tag int, at, n int64) ([]byte, error) {
	if at < 0 || n < 0 || at > t.size || n > t.size-at {
		return nil, t.corrupt(tag, at, "%d bytes at offset %d lie outside the file of %d bytes. The file is cut short or damaged; fetch it again.", n, at, t.size)
	}
	b := make([]byte, n)
	if _, err := t.src.ReadAt(b, at); err != nil && err != io.EOF {
		return nil, err
	}
	return b, nil
}

func parseTIFF(src io.ReaderAt, size int64, name string, opt Options) (*File, error) {
	t := &tiff{src: src, size: size, name: name, order: binary.LittleEndian}
	head, err := t.bytes(0, 0, min(size, 16))
	if err != nil {
		return nil, err
	}
	if head[0] == 'M' {
		t.order = binary.BigEndian
	}
	var first int64
	switch magic := t.order.Uint16(head[2:]); {
	case magic == 42:
		first = int64(t.order.Uint32(head[4:]))
	case magic == 43 && len(head) == 16 && t.order.Uint16(head[4:]) == 8:
		t.big = true
		first = int64(t.order.Uint64(head[8:]))
	default:
		return nil, t.corrupt(0, 2, "The file starts like a TIFF but its version is %d; 42 and 43 are known.", magic)
	}
	// the first directory is the raster; the others are overviews or masks
	var mask directory
	seen := map[int64]bool{}
	for at := first; at != 0; {
		if seen[at] || len(seen) >= 1000 {
			return nil, t.corrupt(0, at, "The directories of the TIFF run in a loop at offset %d. The file is damaged; write it again.", at)
		}
		seen[at] = true
		dir, next, err := t.directory(at)
		if err != nil {
			return nil, err
		}
		if t.dir == nil {
			t.dir = dir
		} else {
			main := t.dir
			t.dir = dir
			kind, err := t.number(tagSubfile, 0)
			t.dir = main
			if err != nil {
				return nil, err
			}
			if kind&4 != 0 && kind&1 == 0 {
				if mask != nil {
					return nil, t.unsupported(tagSubfile, "The TIFF has two masks. Write it again with one: gdal_translate -mask 1 %s out.tif.", t.name)
				}
				mask = dir
			}
		}
		at = next
	}
	if t.dir == nil {
		return nil, t.corrupt(0, 4, "The TIFF has no directory.")
	}
	f, err := t.file(opt)
	if err != nil || mask == nil {
		return f, err
	}
	// A mask is a picture of the same size, of one bit or byte a cell, 0 where
	// nothing is known (TIFF 6.0, NewSubfileType bit 2).
	m := *t
	m.dir = mask
	need, err := m.need()
	if err != nil {
		return nil, err
	}
	if need[tagWidth] != int64(f.Cols) || need[tagHeight] != int64(f.Rows) || need[tagSamples] != 1 {
		return nil, m.unsupported(tagWidth, "The raster's mask has %d by %d cells of %d numbers, the raster %d by %d. Write it again with a nodata value: gdalwarp -dstnodata -9999 %s out.tif.", need[tagWidth], need[tagHeight], need[tagSamples], f.Cols, f.Rows, t.name)
	}
	if n := need[tagFillOrder]; n != 1 {
		return nil, m.unsupported(tagFillOrder, "The raster's mask has fill order %d; 1 is read.", n)
	}
	b := m.blocks(need)
	b.bit = b.bits == 1
	if err := b.check(need[tagTileWidth], need[tagTileHeight], need[tagRowsPerStrip]); err != nil {
		return nil, err
	}
	f.mask = b
	f.Notes = append(f.Notes, "cells that its mask leaves out bear no elevation")
	return f, nil
}

func (t *tiff) directory(at int64) (directory, int64, error) {
	head, each, ptr := int64(2), int64(12), int64(4)
	if t.big {
		head, each, ptr = 8, 20, 8
	}
	b, err := t.bytes(0, at, head)
	if err != nil {
		return nil, 0, err
	}
	n := int64(t.order.Uint16(b))
	if t.big {
		u := t.order.Uint64(b)
		if u > 65535 {
			return nil, 0, t.corrupt(0, at, "A directory claims %d entries.", u)
		}
		n = int64(u)
	}
	if b, err = t.bytes(0, at+head, n*each+ptr); err != nil {
		return nil, 0, err
	}
	d := directory{}
	for i := int64(0); i < n; i++ {
		e := b[i*each:]
		tag := int(t.order.Uint16(e))
		it := entry{kind: int(t.order.Uint16(e[2:])), place: at + head + i*each}
		inline := int64(4)
		if t.big {
			u := t.order.Uint64(e[4:])
			if u > uint64(t.size) {
				return nil, 0, t.corrupt(tag, it.place, "Tag %s claims %d values, more than the file has bytes.", tagName(tag), u)
			}
			it.count, it.at, inline = int64(u), it.place+12, 8
		} else {
			it.count, it.at = int64(t.order.Uint32(e[4:])), it.place+8
		}
		size := int64(0)
		if it.kind < len(typeSize) {
			size = typeSize[it.kind]
		}
		if size == 0 {
			continue // an unknown type is to be passed over (TIFF 6.0, section 2)
		}
		if it.count*size > inline {
			if t.big {
				u := t.order.Uint64(e[12:])
				if u > uint64(t.size) {
					return nil, 0, t.corrupt(tag, it.place, "Tag %s points to offset %d, outside the file of %d bytes.", tagName(tag), u, t.size)
				}
				it.at = int64(u)
			} else {
				it.at = int64(t.order.Uint32(e[8:]))
			}
			if it.at > t.size || it.count*size > t.size-it.at {
				return nil, 0, t.corrupt(tag, it.place, "Tag %s claims %d values at offset %d, outside the file of %d bytes.", tagName(tag), it.count, it.at, t.size)
			}
		}
		if _, twice := d[tag]; twice {
			return nil, 0, t.corrupt(tag, it.place, "Tag %s stands twice in one directory.", tagName(tag))
		}
		d[tag] = it
	}
	next := int64(0)
	if t.big {
		u := t.order.Uint64(b[n*each:])
		if u > uint64(t.size) {
			return nil, 0, t.corrupt(0, at, "The next directory is said to lie at offset %d, outside the file of %d bytes.", u, t.size)
		}
		next = int64(u)
	} else {
		next = int64(t.order.Uint32(b[n*each:]))
	}
	return d, next, nil
}

// integers reads the values of an integer tag; nil if it is not there.
func (t *tiff) integers(tag int) ([]int64, error) {
	e, ok := t.dir[tag]
	if !ok {
		return nil, nil
	}
	if e.kind >= len(typeSize) {
		return nil, t.corrupt(tag, e.place, "Tag %s is of type %d.", tagName(tag), e.kind)
	}
	size := typeSize[e.kind]
	b, err := t.bytes(tag, e.at, e.count*size)
	if err != nil {
		return nil, err
	}
	out := make([]int64, e.count)
	for i := range out {
		v := b[int64(i)*size:]
		switch e.kind {
		case 1:
			out[i] = int64(v[0])
		case 3:
			out[i] = int64(t.order.Uint16(v))
		case 4, 13:
			out[i] = int64(t.order.Uint32(v))
		case 16, 18:
			u := t.order.Uint64(v)
			if u > math.MaxInt64 {
				return nil, t.corrupt(tag, e.at, "Tag %s holds %d.", tagName(tag), u)
			}
			out[i] = int64(u)
		default:
			return nil, t.corrupt(tag, e.place, "Tag %s is of type %d, which holds no whole numbers.", tagName(tag), e.kind)
		}
	}
	return out, nil
}

// number reads an integer tag of one value.
func (t *tiff) number(tag int, missing int64) (int64, error) {
	v, err := t.integers(tag)
	if err != nil || len(v) == 0 {
		return missing, err
	}
	return v[0], nil
}

func (t *tiff) doubles(tag int) ([]float64, error) {
	e, ok := t.dir[tag]
	if !ok {
		return nil, nil
	}
	if e.kind != 12 {
		return nil, t.corrupt(tag, e.place, "Tag %s is of type %d, not of doubles.", tagName(tag), e.kind)
	}
	b, err := t.bytes(tag, e.at, e.count*8)
	if err != nil {
		return nil, err
	}
	out := make([]float64, e.count)
	for i := range out {
		out[i] = math.Float64frombits(t.order.Uint64(b[8*i:]))
	}
	return out, nil
}

func (t *tiff) text(tag int) (string, error) {
	e, ok := t.dir[tag]
	if !ok || e.kind != 2 && e.kind != 1 && e.kind != 7 {
		return "", nil
	}
	if e.count > 1<<20 {
		return "", t.corrupt(tag, e.place, "Tag %s is a text of %d bytes.", tagName(tag), e.count)
	}
	b, err := t.bytes(tag, e.at, e.count)
	return strings.TrimRight(string(b), "\x00"), err
}

// need reads the numbers that describe a picture.
func (t *tiff) need() (map[int]int64, error) {
	need := map[int]int64{}
	for tag, missing := range map[int]int64{tagWidth: -1, tagHeight: -1, tagBits: 1, tagCompression: 1, tagPhotometric: 1, tagFillOrder: 1,
		tagSamples: 1, tagPlanar: 1, tagRowsPerStrip: math.MaxUint32, tagPredictor: 1, tagTileWidth: 0, tagTileHeight: 0, tagSampleFormat: 1} {
		v, err := t.number(tag, missing)
		if err != nil {
			return nil, err
		}
		need[tag] = v
	}
	return need, nil
}

// blocks are those of a picture of one number a cell.
func (t *tiff) blocks(need map[int]int64) *blocks {
	return &blocks{t: t, cols: int(need[tagWidth]), rows: int(need[tagHeight]), compression: int(need[tagCompression]), predictor: int(need[tagPredictor]),
		bits: int(need[tagBits]), format: int(need[tagSampleFormat]), samples: 1}
}

// bands chooses among several numbers a cell: the elevation, and the opacity
// that masks it (-1: none). They must be of one type.
func (t *tiff) bands(need map[int]int64, opt Options) (band, alpha int, err error) {
	n := int(need[tagSamples])
	if n < 1 || n > 1000 {
		return 0, 0, t.corrupt(tagSamples, t.dir[tagSamples].place, "The TIFF is said to have %d numbers a cell.", n)
	}
	if opt.Band < 0 || opt.Band > n {
		return 0, 0, fault(t.name, parcels.Invalid, parcels.Fault{Slug: "raster-unsupported", Tag: tagName(tagSamples), Limit: n, Actual: opt.Band,
			Detail: fmt.Sprintf("Band %d was asked for; the TIFF has %d.", opt.Band, n)})
	}
	if n == 1 {
		return 0, -1, nil
	}
	extra, err := t.integers(tagExtraSamples)
	if err != nil {
		return 0, 0, err
	}
	alpha = -1
	if k := len(extra); k > 0 && k < n && (extra[k-1] == 1 || extra[k-1] == 2) {
		alpha = n - 1
	}
	band = opt.Band - 1
	if opt.Band == 0 {
		if n != 2 || alpha < 0 {
			return 0, 0, t.unsupported(tagSamples, "The TIFF has %d numbers a cell, and which of them is the elevation is not said. Name its band (1 to %d), or write it alone: gdal_translate -b 1 %s out.tif.", n, n, t.name)
		}
		band = 0
	}
	if band == alpha {
		alpha = -1
	}
	for _, tag := range []int{tagBits, tagSampleFormat} {
		v, err := t.integers(tag)
		if err != nil {
			return 0, 0, err
		}
		for _, x := range v {
			if x != need[tag] {
				return 0, 0, t.unsupported(tag, "The TIFF's %d numbers a cell are of different types. Write the elevation alone: gdal_translate -b %d %s out.tif.", n, band+1, t.name)
			}
		}
	}
	if p := need[tagPlanar]; p != 1 && p != 2 {
		return 0, 0, t.corrupt(tagPlanar, t.dir[tagPlanar].place, "Planar configuration %d is not known; 1 and 2 are.", p)
	}
	return band, alpha, nil
}

// file turns the main directory into a raster.
func (t *tiff) file(opt Options) (*File, error) {
	need, err := t.need()
	if err != nil {
		return nil, err
	}
	cols, rows := need[tagWidth], need[tagHeight]
	for _, tag := range []int{tagWidth, tagHeight} {
		if need[tag] <= 0 {
			return nil, t.corrupt(tag, t.dir[tag].place, "The TIFF has no usable %s.", tagName(tag))
		}
	}
	if opt.MaxCells > 0 && (cols > opt.MaxCells || rows > opt.MaxCells/cols) {
		return nil, sizeFault(t.name, cols, rows, opt.MaxCells)
	}
	if cols > math.MaxInt32 || rows > math.MaxInt32 {
		return nil, sizeFault(t.name, cols, rows, math.MaxInt32)
	}
	if n := need[tagPhotometric]; n > 1 {
		return nil, t.unsupported(tagPhotometric, "The TIFF is a picture (photometric interpretation %d), no raster of elevations.", n)
	}
	if n := need[tagFillOrder]; n != 1 {
		return nil, t.unsupported(tagFillOrder, "The TIFF has fill order %d; 1 is read.", n)
	}
	band, alpha, err := t.bands(need, opt)
	if err != nil {
		return nil, err
	}
	b := t.blocks(need)
	b.samples, b.sample, b.planar = int(need[tagSamples]), band, need[tagPlanar] == 2
	if err := b.check(need[tagTileWidth], need[tagTileHeight], need[tagRowsPerStrip]); err != nil {
		return nil, err
	}
	f := &File{Name: t.name, Format: "GeoTIFF", Cols: int(cols), Rows: int(rows), scale: 1, cells: b}
	if need[tagSamples] > 1 {
		f.Notes = append(f.Notes, fmt.Sprintf("of its %d bands, number %d is taken for the elevation", need[tagSamples], band+1))
	}
	if alpha >= 0 {
		m := t.blocks(need)
		m.samples, m.sample, m.planar = int(need[tagSamples]), alpha, b.planar
		if err := m.check(need[tagTileWidth], need[tagTileHeight], need[tagRowsPerStrip]); err != nil {
			return nil, err
		}
		f.mask = m
		f.Notes = append(f.Notes, "cells that its opacity band leaves out bear no elevation")
	}
	if err := t.georeference(f); err != nil {
		return nil, err
	}
	return f, t.metadata(f)
}

// metadata reads what GDAL writes beside the standard: nodata, unit, scale.
func (t *tiff) metadata(f *File) error {
	s, err := t.text(tagGDALNoData)
	if err != nil {
		return err
	}
	if s = strings.TrimSpace(s); s != "" {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil && !math.IsInf(v, 0) {
			return t.corrupt(tagGDALNoData, t.dir[tagGDALNoData].place, "The nodata value %q is no number.", parcels.Excerpt(s))
		}
		f.NoData = &v
	}
	if s, err = t.text(tagGDALMetadata); err != nil {
		return err
	}
	items := map[string]string{}
	for _, part := range strings.Split(s, "<Item ")[1:] {
		attr, rest, ok := strings.Cut(part, ">")
		if !ok {
			continue
		}
		value, _, _ := strings.Cut(rest, "<")
		for _, role := range []string{"unittype", "scale", "offset"} {
			if strings.Contains(attr, `role="`+role+`"`) {
				items[role] = strings.TrimSpace(value)
			}
		}
	}
	for role, dst := range map[string]*float64{"scale": &f.scale, "offset": &f.offset} {
		if v, ok := items[role]; ok {
			x, err := strconv.ParseFloat(v, 64)
			if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || role == "scale" && x == 0 {
				return t.corrupt(tagGDALMetadata, t.dir[tagGDALMetadata].place, "The %s of the elevations, %q, is no usable number.", role, parcels.Excerpt(v))
			}
			*dst = x
		}
	}
	if v, ok := items["unittype"]; ok && v != "" {
		u, known := unitOf(v)
		if !known {
			return fault(t.name, parcels.Invalid, parcels.Fault{Slug: "dem-unit-unknown", Tag: tagName(tagGDALMetadata), Actual: parcels.Excerpt(v),
				Detail: fmt.Sprintf("The raster says its elevations are in %q, which is not known. Write it in metres or feet.", parcels.Excerpt(v))})
		}
		if f.ElevationUnit != 0 && math.Abs(float64(u/f.ElevationUnit)-1) > 1e-9 {
			return fault(t.name, parcels.Invalid, parcels.Fault{Slug: "crs-units-mismatch", Tag: tagName(tagGDALMetadata),
				Detail: fmt.Sprintf("The raster says in one place that its elevations are in %q, in another that their unit is %.9g m. Correct the file.", parcels.Excerpt(v), float64(f.ElevationUnit))})
		}
		f.ElevationUnit = u
	}
	return nil
}

// unitOf knows the units of elevation by the names in use.
func unitOf(s string) (unit.Length, bool) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "m", "metre", "metres", "meter", "meters":
		return unit.Metre, true
	case "ft", "foot", "feet", "international foot":
		return unit.Foot, true
	case "us survey foot", "us survey feet", "ftus", "us-ft", "sft", "us_survey_foot", "foot_us", "us foot":
		return unit.SurveyFoot, true
	}
	return 0, false
}

// known lists what a set of numbers may be, for the text of an error.
func known(m map[int]string) string {
	keys := make([]int, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Ints(keys)
	out := make([]string, len(keys))
	for i, k := range keys {
		out[i] = fmt.Sprintf("%d (%s)", k, m[k])
	}
	return strings.Join(out, ", ")
}
