package wkb

// GeoJSON text to binary.

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
)

// Error is a fault of a geometry. Slug is of the service's list of problems.
type Error struct {
	Slug   string
	Vertex int // place in the geometry, -1: none
	Detail string
}

func (e *Error) Error() string { return "wkb: " + e.Detail }

// Box is the extent of a geometry in x and y.
type Box struct{ MinX, MinY, MaxX, MaxY float64 }

// Empty says that nothing has been put into the box.
func (b Box) Empty() bool { return !(b.MinX <= b.MaxX) }

// NoBox is the box of nothing.
func NoBox() Box { return Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)} }

func (b *Box) add(x, y float64) {
	b.MinX, b.MinY = min(b.MinX, x), min(b.MinY, y)
	b.MaxX, b.MaxY = max(b.MaxX, x), max(b.MaxY, y)
}

// Join is the box of both.
func (b Box) Join(o Box) Box {
	return Box{min(b.MinX, o.MinX), min(b.MinY, o.MinY), max(b.MaxX, o.MaxX), max(b.MaxY, o.MaxY)}
}

// Touches says whether the boxes share a point.
func (b Box) Touches(o Box) bool {
	return b.MinX <= o.MaxX && b.MaxX >= o.MinX && b.MinY <= o.MaxY && b.MaxY >= o.MinY
}

// kinds are the geometry types by their number in the binary.
var kinds = [...]string{1: "Point", 2: "LineString", 3: "Polygon", 4: "MultiPoint", 5: "MultiLineString", 6: "MultiPolygon", 7: "GeometryCollection"}

// levels is how deep the positions of a type stand in arrays.
var levels = [...]int{1: 0, 2: 1, 3: 2, 4: 1, 5: 2, 6: 3}

// FromGeoJSON appends the little-endian binary of a GeoJSON geometry to dst and
// gives its box and whether it has Z. Text "null" or nothing appends nothing.
// GeometryCollections are not taken.
func FromGeoJSON(dst, text []byte) (out []byte, box Box, hasZ bool, err error) {
	box = NoBox()
	text = bytes.TrimSpace(text)
	if len(text) == 0 || string(text) == "null" {
		return dst, box, false, nil
	}
	kind, coordinates, err := split(text)
	if err != nil {
		return dst, box, false, err
	}
	number := Number(kind)
	if number == 0 || number == 7 {
		return dst, box, false, &Error{"geometry-type", -1, fmt.Sprintf("a %q is no geometry that is stored", cut(kind))}
	}
	e := &encoder{out: dst, text: coordinates, box: NoBox()}
	e.dims = e.dimensions()
	if err := e.geometry(number); err != nil {
		return dst, box, false, err
	}
	e.space()
	if e.i != len(e.text) {
		return dst, box, false, e.bad("text after the coordinates")
	}
	return e.out, e.box, e.dims == 3, nil
}

func cut(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}

// split finds type and coordinates. The common order of members needs no
// decoding.
func split(text []byte) (kind string, coordinates []byte, err error) {
	if rest, ok := bytes.CutPrefix(text, []byte(`{"type":"`)); ok {
		if q := bytes.IndexByte(rest, '"'); q > 0 && q < 20 {
			if c, ok := bytes.CutPrefix(rest[q:], []byte(`","coordinates":`)); ok && len(c) > 1 && c[len(c)-1] == '}' && bytes.IndexByte(c[:len(c)-1], '"') < 0 {
				return string(rest[:q]), c[:len(c)-1], nil
			}
		}
	}
	var g struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	}
	if err := json.Unmarshal(text, &g); err != nil {
		return "", nil, &Error{"geometry-type", -1, "the geometry is no GeoJSON object"}
	}
	if g.Coordinates == nil {
		return "", nil, &Error{"geometry-empty", -1, "the geometry has no coordinates"}
	}
	return g.Type, g.Coordinates, nil
}

type encoder struct {
	out  []byte
	text []byte
	i    int
	dims int
	n    int
	box  Box
}

func (e *encoder) bad(what string) error {
	return &Error{"position-invalid", e.n, fmt.Sprintf("%s at vertex %d", what, e.n)}
}

func (e *encoder) space() {
	for e.i < len(e.text) && (e.text[e.i] == ' ' || e.text[e.i] == '\n' || e.text[e.i] == '\t' || e.text[e.i] == '\r') {
		e.i++
	}
}

// dimensions looks ahead to the first position: how many numbers it has.
func (e *encoder) dimensions() int {
	commas := 0
	for _, c := range e.text {
		switch c {
		case '[':
			commas = 0
		case ',':
			commas++
		case ']':
			if commas == 2 {
				return 3
			}
			return 2
		}
	}
	return 2
}

func (e *encoder) header(number int) {
	if e.dims == 3 {
		number += 1000
	}
	e.out = append(e.out, 1)
	e.out = binary.LittleEndian.AppendUint32(e.out, uint32(number))
}

func (e *encoder) geometry(number int) error {
	e.header(number)
	switch number {
	case 1:
		return e.position()
	case 2, 3:
		return e.array(levels[number])
	}
	return e.each(func() error { return e.geometry(number - 3) })
}

// array writes a counted array of arrays down to the positions.
func (e *encoder) array(level int) error {
	if level == 0 {
		return e.position()
	}
	return e.each(func() error { return e.array(level - 1) })
}

func (e *encoder) each(f func() error) error {
	at := len(e.out)
	e.out = append(e.out, 0, 0, 0, 0)
	e.space()
	if e.i >= len(e.text) || e.text[e.i] != '[' {
		return e.bad("an array is due")
	}
	e.i++
	count := uint32(0)
	e.space()
	if e.i < len(e.text) && e.text[e.i] == ']' {
		e.i++
		return nil
	}
	for {
		if err := f(); err != nil {
			return err
		}
		count++
		e.space()
		if e.i >= len(e.text) {
			return e.bad("the text ends")
		}
		c := e.text[e.i]
		e.i++
		if c == ']' {
			binary.LittleEndian.PutUint32(e.out[at:], count)
			return nil
		}
		if c != ',' {
			return e.bad("a comma is due")
		}
	}
}

func (e *encoder) position() error {
	e.space()
	if e.i >= len(e.text) || e.text[e.i] != '[' {
		return e.bad("a position is due")
	}
	e.i++
	var v [3]float64
	n := 0
	for {
		e.space()
		start := e.i
		for e.i < len(e.text) && (e.text[e.i] >= '0' && e.text[e.i] <= '9' || e.text[e.i] == '-' || e.text[e.i] == '+' || e.text[e.i] == '.' || e.text[e.i] == 'e' || e.text[e.i] == 'E') {
			e.i++
		}
		if n == 3 || start == e.i {
			return e.bad("a position is not two or three numbers")
		}
		x, err := strconv.ParseFloat(string(e.text[start:e.i]), 64)
		if err != nil {
			return &Error{"number-out-of-range", e.n, fmt.Sprintf("a number that cannot be held at vertex %d", e.n)}
		}
		v[n] = x
		n++
		e.space()
		if e.i >= len(e.text) {
			return e.bad("the text ends")
		}
		c := e.text[e.i]
		e.i++
		if c == ']' {
			break
		}
		if c != ',' {
			return e.bad("a comma is due")
		}
	}
	if n != e.dims {
		if n < 2 {
			return e.bad("a position is not two or three numbers")
		}
		return &Error{"mixed-dimensions", e.n, fmt.Sprintf("positions with and without height, first at vertex %d", e.n)}
	}
	for _, x := range v[:n] {
		e.out = binary.LittleEndian.AppendUint64(e.out, math.Float64bits(x))
	}
	e.box.add(v[0], v[1])
	e.n++
	return nil
}

// Number is the number of a geometry type in the binary, 0 for none.
func Number(kind string) int {
	for n, k := range kinds {
		if k == kind && k != "" {
			return n
		}
	}
	return 0
}

// KindOf is the type that binary written by FromGeoJSON begins with.
func KindOf(data []byte) string {
	if len(data) < 5 {
		return ""
	}
	return kinds[binary.LittleEndian.Uint32(data[1:])%1000]
}
