package wkb

// Binary to GeoJSON text.

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
)

// MostDepth is how deep geometries may stand in one another.
const MostDepth = 8

// Decoded says what was read.
type Decoded struct {
	Kind     string // "Polygon", ...
	HasZ     bool
	HasM     bool // measures were there and are left out
	Vertices int
	Box      Box
}

// ToGeoJSON appends the GeoJSON text of a binary geometry to dst: ISO or the
// extended form of PostGIS, either byte order. An empty geometry is the fault
// geometry-empty.
func ToGeoJSON(dst, data []byte) ([]byte, Decoded, error) {
	d := &decoder{out: dst, data: data}
	d.Box = NoBox()
	kind, err := d.geometry(0, 0)
	if err != nil {
		return dst, d.Decoded, err
	}
	d.Kind = kinds[kind]
	if d.i != len(data) {
		return dst, d.Decoded, d.corrupt(fmt.Sprintf("%d bytes after the geometry", len(data)-d.i))
	}
	if d.Vertices == 0 {
		return dst, d.Decoded, &Error{"geometry-empty", -1, "the geometry is empty"}
	}
	return d.out, d.Decoded, nil
}

type decoder struct {
	Decoded
	out   []byte
	data  []byte
	i     int
	order binary.ByteOrder
}

func (d *decoder) corrupt(what string) error {
	return &Error{"geometry-corrupt", -1, what}
}

func (d *decoder) uint32() (uint32, error) {
	if len(d.data)-d.i < 4 {
		return 0, d.corrupt("the bytes end early")
	}
	v := d.order.Uint32(d.data[d.i:])
	d.i += 4
	return v, nil
}

// count reads a count whose things take at least size bytes each.
func (d *decoder) count(size int) (int, error) {
	n, err := d.uint32()
	if err != nil {
		return 0, err
	}
	if int64(n)*int64(size) > int64(len(d.data)-d.i) {
		return 0, d.corrupt(fmt.Sprintf("a count of %d goes beyond the %d bytes left", n, len(d.data)-d.i))
	}
	return int(n), nil
}

// header reads byte order and type: the number of the type, and the count of
// numbers in a position.
func (d *decoder) header() (number int, z, m bool, err error) {
	if len(d.data)-d.i < 5 {
		return 0, false, false, d.corrupt("the bytes end early")
	}
	switch d.data[d.i] {
	case 0:
		d.order = binary.BigEndian
	case 1:
		d.order = binary.LittleEndian
	default:
		return 0, false, false, d.corrupt(fmt.Sprintf("the byte order %d is neither 0 nor 1", d.data[d.i]))
	}
	d.i++
	t, _ := d.uint32()
	if t&0xe0000000 != 0 { // the extended form
		z, m = t&0x80000000 != 0, t&0x40000000 != 0
		if t&0x20000000 != 0 {
			if _, err := d.uint32(); err != nil {
				return 0, false, false, err
			}
		}
		t &= 0x1fffffff
	} else {
		switch t / 1000 {
		case 1:
			z = true
		case 2:
			m = true
		case 3:
			z, m = true, true
		}
		if t < 4000 {
			t %= 1000
		}
	}
	if t < 1 || t > 7 {
		return 0, false, false, d.corrupt(fmt.Sprintf("the geometry type %d is not known", t))
	}
	return int(t), z, m, nil
}

// geometry writes one geometry; want is the number of the type that must
// stand here, 0 for any.
func (d *decoder) geometry(want, depth int) (int, error) {
	if depth > MostDepth {
		return 0, &Error{"geometry-too-deep", -1, fmt.Sprintf("geometries stand in one another more than %d deep", MostDepth)}
	}
	number, z, m, err := d.header()
	if err != nil {
		return 0, err
	}
	if want != 0 && number != want {
		return 0, d.corrupt(fmt.Sprintf("a %s stands where a %s must", kinds[number], kinds[want]))
	}
	d.HasZ, d.HasM = d.HasZ || z, d.HasM || m
	if want == 0 {
		d.out = append(d.out, `{"type":"`...)
		d.out = append(d.out, kinds[number]...)
		if number == 7 {
			d.out = append(d.out, `","geometries":`...)
		} else {
			d.out = append(d.out, `","coordinates":`...)
		}
	}
	size := 16
	if z {
		size += 8
	}
	if m {
		size += 8
	}
	switch number {
	case 1:
		if len(d.data)-d.i < size {
			return 0, d.corrupt("the bytes end early")
		}
		x, y := d.float(0), d.float(1)
		if math.IsNaN(x) && math.IsNaN(y) { // the empty point
			if want != 0 || depth > 0 {
				return 0, &Error{"geometry-empty", d.Vertices, "an empty point stands in a geometry"}
			}
			d.i += size
			break
		}
		err = d.position(size, z)
	case 2:
		err = d.positions(size, z)
	case 3:
		err = d.array(4, func() error { return d.positions(size, z) })
	case 7:
		err = d.array(5, func() error { _, err := d.geometry(0, depth+1); return err })
	default:
		err = d.array(5, func() error { _, err := d.geometry(number-3, depth+1); return err })
	}
	if want == 0 {
		d.out = append(d.out, '}')
	}
	return number, err
}

func (d *decoder) array(size int, f func() error) error {
	n, err := d.count(size)
	if err != nil {
		return err
	}
	d.out = append(d.out, '[')
	for i := range n {
		if i > 0 {
			d.out = append(d.out, ',')
		}
		if err := f(); err != nil {
			return err
		}
	}
	d.out = append(d.out, ']')
	return nil
}

func (d *decoder) positions(size int, z bool) error {
	n, err := d.count(size)
	if err != nil {
		return err
	}
	d.out = append(d.out, '[')
	for i := range n {
		if i > 0 {
			d.out = append(d.out, ',')
		}
		if err := d.position(size, z); err != nil {
			return err
		}
	}
	d.out = append(d.out, ']')
	return nil
}

func (d *decoder) float(n int) float64 {
	return math.Float64frombits(d.order.Uint64(d.data[d.i+8*n:]))
}

// position writes a position whose bytes are known to be there.
func (d *decoder) position(size int, z bool) error {
	x, y := d.float(0), d.float(1)
	h := 0.0
	if z {
		h = d.float(2)
	}
	if !finite(x) || !finite(y) || !finite(h) {
		return &Error{"coordinate-not-finite", d.Vertices, fmt.Sprintf("vertex %d has a coordinate that is not finite", d.Vertices)}
	}
	d.Box.add(x, y)
	d.out = append(d.out, '[')
	d.out = AppendNumber(d.out, x)
	d.out = append(d.out, ',')
	d.out = AppendNumber(d.out, y)
	if z {
		d.out = append(d.out, ',')
		d.out = AppendNumber(d.out, h)
	}
	d.out = append(d.out, ']')
	d.i += size
	d.Vertices++
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// AppendNumber appends the shortest JSON number that reads back the same.
func AppendNumber(dst []byte, v float64) []byte {
	if a := math.Abs(v); a != 0 && (a < 1e-9 || a >= 1e15) {
		return strconv.AppendFloat(dst, v, 'e', -1, 64)
	}
	return strconv.AppendFloat(dst, v, 'f', -1, 64)
}
