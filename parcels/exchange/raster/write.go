package raster

// A raster written as GeoTIFF: one number a cell, in deflated tiles, as BigTIFF, row
// of tiles by row of tiles, so that it need not be in memory.

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"sync"

	"fallwright/parcels"
)

// Output is a raster to be written. Cells are float64 (Bits 64), float32 (32) or
// uint8 (8).
type Output struct {
	Cols, Rows int
	CRS        string // EPSG code of a projected system
	// West, North, CellX and CellY in units of the CRS.
	West, North, CellX, CellY float64
	Bits                      int
	NoData                    string // as GDAL writes it: a number or "nan"; empty: none
	Elevations                bool   // the numbers are metres above the vertical datum
	Workers                   int    // that deflate at once; 0: one
	// Row puts the numbers of a row into dst.
	Row func(row int, dst []float64) error
}

const tileSide = 256

// Write writes the raster from the beginning of to. What Row fails with is
// returned as it is.
func (o Output) Write(to io.WriteSeeker) error {
	code, err := strconv.Atoi(strings.TrimPrefix(o.CRS, "EPSG:"))
	if err != nil || code < 1024 || code > 32766 {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "crs-unknown", Detail: fmt.Sprintf("A GeoTIFF is written in a projected system of an EPSG code; %q is none. Give the site, or its raster, in one.", o.CRS)}}}
	}
	head := make([]byte, 16)
	le := binary.LittleEndian
	copy(head, "II+\x00\x08\x00\x00\x00")
	if _, err := to.Write(head); err != nil {
		return err
	}
	at := uint64(len(head))
	across, down := (o.Cols+tileSide-1)/tileSide, (o.Rows+tileSide-1)/tileSide
	var offsets, counts []uint64
	size := o.Bits / 8
	band := make([]byte, across*tileSide*tileSide*size) // tile after tile
	row := make([]float64, o.Cols)
	packed := make([]bytes.Buffer, across)
	for y := range down {
		clear(band)
		for r := range min(tileSide, o.Rows-y*tileSide) {
			if err := o.Row(y*tileSide+r, row); err != nil {
				return err
			}
			for c, v := range row {
				p := band[((c/tileSide*tileSide+r)*tileSide+c%tileSide)*size:]
				switch o.Bits {
				case 64:
					le.PutUint64(p, math.Float64bits(v))
				case 32:
					le.PutUint32(p, math.Float32bits(float32(v)))
				default:
					p[0] = byte(v)
				}
			}
		}
		var wait sync.WaitGroup
		for w := range max(1, o.Workers) {
			wait.Add(1)
			go func() {
				defer wait.Done()
				z, _ := zlib.NewWriterLevel(nil, zlib.BestSpeed)
				for k := w; k < across; k += max(1, o.Workers) {
					packed[k].Reset()
					z.Reset(&packed[k])
					z.Write(band[k*tileSide*tileSide*size:][:tileSide*tileSide*size]) // into memory: no error
					z.Close()
				}
			}()
		}
		wait.Wait()
		for k := range packed {
			if _, err := to.Write(packed[k].Bytes()); err != nil {
				return err
			}
			offsets, counts = append(offsets, at), append(counts, uint64(packed[k].Len()))
			at += uint64(packed[k].Len())
		}
	}
	format := uint64(3)
	if o.Bits == 8 {
		format = 1
	}
	keys := []uint16{1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, uint16(code)}
	if o.Elevations {
		keys[3] = 4
		keys = append(keys, 4099, 0, 1, 9001)
	}
	var dir, beyond bytes.Buffer
	n := 14
	if o.NoData != "" {
		n++
	}
	beyondAt := at + 8 + uint64(n)*20 + 8
	put := func(tag, kind uint16, count int, value any) {
		var v bytes.Buffer
		binary.Write(&v, le, value)
		binary.Write(&dir, le, tag)
		binary.Write(&dir, le, kind)
		binary.Write(&dir, le, uint64(count))
		if v.Len() <= 8 {
			dir.Write(append(v.Bytes(), make([]byte, 8-v.Len())...))
			return
		}
		binary.Write(&dir, le, beyondAt+uint64(beyond.Len()))
		beyond.Write(v.Bytes())
		beyond.Write(make([]byte, (8-v.Len()%8)%8))
	}
	const short, long8, double, ascii = 3, 16, 12, 2
	put(tagWidth, long8, 1, uint64(o.Cols))
	put(tagHeight, long8, 1, uint64(o.Rows))
	put(tagBits, short, 1, uint16(o.Bits))
	put(tagCompression, short, 1, uint16(8))
	put(tagPhotometric, short, 1, uint16(1))
	put(tagSamples, short, 1, uint16(1))
	put(tagTileWidth, short, 1, uint16(tileSide))
	put(tagTileHeight, short, 1, uint16(tileSide))
	put(tagTileOffsets, long8, len(offsets), offsets)
	put(tagTileCounts, long8, len(counts), counts)
	put(tagSampleFormat, short, 1, uint16(format))
	put(tagPixelScale, double, 3, []float64{o.CellX, o.CellY, 0})
	put(tagTiepoint, double, 6, []float64{0, 0, 0, o.West, o.North, 0})
	put(tagGeoKeys, short, len(keys), keys)
	if o.NoData != "" {
		put(tagGDALNoData, ascii, len(o.NoData)+1, append([]byte(o.NoData), 0))
	}
	var all bytes.Buffer
	binary.Write(&all, le, uint64(n))
	all.Write(dir.Bytes())
	binary.Write(&all, le, uint64(0))
	all.Write(beyond.Bytes())
	if _, err := to.Write(all.Bytes()); err != nil {
		return err
	}
	le.PutUint64(head[8:], at)
	if _, err := to.Seek(0, io.SeekStart); err != nil {
		return err
	}
	_, err = to.Write(head)
	return err
}
