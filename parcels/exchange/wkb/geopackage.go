package wkb

// The header that GeoPackage puts before the binary.

import (
	"encoding/binary"
	"fmt"
	"math"
)

// HeaderSize is the length of the header that AppendHeader writes for a box.
const HeaderSize = 40

// AppendHeader appends the header of a GeoPackage blob: little-endian, the box
// as its envelope where there is one.
func AppendHeader(dst []byte, srs int32, box Box) []byte {
	flags := byte(1) // little-endian
	if box.Empty() {
		flags |= 1 << 4
	} else {
		flags |= 1 << 1
	}
	dst = append(dst, 'G', 'P', 0, flags)
	dst = binary.LittleEndian.AppendUint32(dst, uint32(srs))
	if !box.Empty() {
		for _, v := range []float64{box.MinX, box.MaxX, box.MinY, box.MaxY} {
			dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(v))
		}
	}
	return dst
}

// Header is what stands before the binary.
type Header struct {
	SRS   int32
	Box   Box // empty where the header has none
	Empty bool
}

// SplitHeader parts a GeoPackage blob into its header and the binary.
func SplitHeader(blob []byte) (Header, []byte, error) {
	h := Header{Box: NoBox()}
	if len(blob) < 8 || blob[0] != 'G' || blob[1] != 'P' {
		return h, nil, &Error{"geometry-corrupt", -1, "the blob does not begin as a GeoPackage geometry"}
	}
	if blob[2] != 0 {
		return h, nil, &Error{"geometry-corrupt", -1, fmt.Sprintf("the blob has version %d", blob[2])}
	}
	flags := blob[3]
	if flags&0x20 != 0 {
		return h, nil, &Error{"geometry-type", -1, "the blob holds an extended geometry"}
	}
	var order binary.ByteOrder = binary.BigEndian
	if flags&1 != 0 {
		order = binary.LittleEndian
	}
	h.SRS, h.Empty = int32(order.Uint32(blob[4:])), flags&0x10 != 0
	size := map[byte]int{0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
	n, ok := size[flags>>1&7]
	if !ok || len(blob) < 8+n {
		return h, nil, &Error{"geometry-corrupt", -1, "the blob's envelope is not one"}
	}
	if n > 0 {
		f := func(i int) float64 { return math.Float64frombits(order.Uint64(blob[8+8*i:])) }
		h.Box = Box{MinX: f(0), MaxX: f(1), MinY: f(2), MaxY: f(3)}
	}
	return h, blob[8+n:], nil
}
