package exchange

// Layers and results out, in the formats that other offices take.

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"fallwright/geo/frame"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/exchange/wkb"
)

// Set is what is written: a layer or the features of a result.
type Set struct {
	Name string // of the layer, plain letters
	CRS  string // as store.System names it
	// Features may be gone through more than once.
	Features iter.Seq2[parcels.StoredFeature, error]
}

// Field is a property of a set, over all its features.
type Field struct {
	Name    string
	Number  bool // every value is a number
	Whole   bool // and every one a whole number
	Longest int  // bytes of the longest text
}

// Survey goes through a set once: its fields in the order of their names, and
// how many features it has.
func (s Set) Survey() (fields []Field, n int, err error) {
	seen := map[string]*Field{}
	for f, err := range s.Features {
		if err != nil {
			return nil, 0, err
		}
		n++
		for k, raw := range members(f.Properties) {
			fd := seen[k]
			if fd == nil {
				fd = &Field{Name: k, Number: true, Whole: true}
				seen[k] = fd
			}
			if string(raw) == "null" {
				continue
			}
			number := isNumber(string(raw))
			fd.Number = fd.Number && number
			fd.Whole = fd.Whole && number && !bytes.ContainsAny(raw, ".eE")
			fd.Longest = max(fd.Longest, len(Plain(raw)))
		}
	}
	for _, f := range seen {
		fields = append(fields, *f)
	}
	sort.Slice(fields, func(i, j int) bool { return fields[i].Name < fields[j].Name })
	return fields, n, nil
}

func members(props json.RawMessage) map[string]json.RawMessage {
	var m map[string]json.RawMessage
	_ = json.Unmarshal(props, &m) // no object: no properties
	return m
}

// Plain is a property as text: a text as it is, nothing for null, anything else
// as JSON.
func Plain(raw json.RawMessage) string {
	if len(raw) == 0 || string(raw) == "null" {
		return ""
	}
	var t string
	if raw[0] == '"' && json.Unmarshal(raw, &t) == nil {
		return t
	}
	return string(raw)
}

// drawing is a geometry taken apart: polygons of rings, rings of positions;
// lines and points as a polygon of one ring each.
type drawing struct {
	kind  string
	parts [][][][]float64
}

func draw(g json.RawMessage) (d drawing, err error) {
	if len(g) == 0 || string(g) == "null" {
		return d, nil
	}
	var head struct {
		Type        string
		Coordinates json.RawMessage
	}
	if err = json.Unmarshal(g, &head); err != nil {
		return d, err
	}
	d.kind = head.Type
	switch head.Type {
	case "Point":
		var p []float64
		err = json.Unmarshal(head.Coordinates, &p)
		d.parts = [][][][]float64{{{p}}}
	case "MultiPoint", "LineString":
		var l [][]float64
		err = json.Unmarshal(head.Coordinates, &l)
		d.parts = [][][][]float64{{l}}
	case "MultiLineString", "Polygon":
		var l [][][]float64
		err = json.Unmarshal(head.Coordinates, &l)
		d.parts = [][][][]float64{l}
	case "MultiPolygon":
		err = json.Unmarshal(head.Coordinates, &d.parts)
	default:
		err = fmt.Errorf("exchange: a %s cannot be written", head.Type)
	}
	return d, err
}

// family is 0 for points, 1 for lines, 2 for areas.
func (d drawing) family() int {
	switch d.kind {
	case "Point", "MultiPoint":
		return 0
	case "LineString", "MultiLineString":
		return 1
	}
	return 2
}

func (d drawing) hasZ() bool {
	for _, a := range d.parts {
		for _, r := range a {
			for _, p := range r {
				return len(p) > 2
			}
		}
	}
	return false
}

// WriteGeoJSON writes a FeatureCollection; a projected system is named by the
// old crs member, which readers of RFC 7946 ignore.
func WriteGeoJSON(w io.Writer, s Set) error {
	var b bytes.Buffer
	b.WriteString(`{"type":"FeatureCollection"`)
	if s.CRS != "" {
		fmt.Fprintf(&b, `,"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::%s"}}`, strings.TrimPrefix(s.CRS, "EPSG:"))
	}
	b.WriteString(`,"features":[`)
	first := true
	for f, err := range s.Features {
		if err != nil {
			return err
		}
		if !first {
			b.WriteByte(',')
		}
		first = false
		b.WriteString("\n" + `{"type":"Feature"`)
		if f.ID != "" {
			id, _ := json.Marshal(f.ID)
			fmt.Fprintf(&b, `,"id":%s`, id)
		}
		for _, m := range []struct {
			key string
			raw json.RawMessage
		}{{"geometry", f.Geometry}, {"properties", f.Properties}} {
			if len(m.raw) == 0 {
				m.raw = json.RawMessage("null")
			}
			fmt.Fprintf(&b, `,%q:%s`, m.key, m.raw)
		}
		b.WriteByte('}')
		if b.Len() > 1<<16 {
			if _, err := b.WriteTo(w); err != nil {
				return err
			}
		}
	}
	b.WriteString("\n]}\n")
	_, err := b.WriteTo(w)
	return err
}

func cell(t string) string {
	t = display.Cell(t)
	if strings.ContainsAny(t, "\",") || strings.TrimSpace(t) != t {
		return `"` + strings.ReplaceAll(t, `"`, `""`) + `"`
	}
	return t
}

// WriteCSV writes a line a feature: WKT, the feature's id, its properties.
func WriteCSV(w io.Writer, s Set) error {
	fields, _, err := s.Survey()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	b.WriteString("WKT,feature_id")
	for _, f := range fields {
		b.WriteString("," + cell(f.Name))
	}
	b.WriteByte('\n')
	for f, err := range s.Features {
		if err != nil {
			return err
		}
		d, err := draw(f.Geometry)
		if err != nil {
			return err
		}
		b.WriteString(cell(d.wkt()) + "," + cell(f.ID))
		m := members(f.Properties)
		for _, fd := range fields {
			b.WriteString("," + cell(Plain(m[fd.Name])))
		}
		b.WriteByte('\n')
		if b.Len() > 1<<16 {
			if _, err := b.WriteTo(w); err != nil {
				return err
			}
		}
	}
	_, err = b.WriteTo(w)
	return err
}

func (d drawing) wkt() string {
	if d.kind == "" {
		return ""
	}
	out := []byte(strings.ToUpper(d.kind))
	if d.hasZ() {
		out = append(out, " Z"...)
	}
	out = append(out, ' ')
	position := func(p []float64) {
		for i, v := range p {
			if i > 0 {
				out = append(out, ' ')
			}
			out = wkb.AppendNumber(out, v)
		}
	}
	ring := func(r [][]float64) {
		out = append(out, '(')
		for i, p := range r {
			if i > 0 {
				out = append(out, ',')
			}
			position(p)
		}
		out = append(out, ')')
	}
	area := func(a [][][]float64) {
		out = append(out, '(')
		for i, r := range a {
			if i > 0 {
				out = append(out, ',')
			}
			ring(r)
		}
		out = append(out, ')')
	}
	switch d.kind {
	case "Point", "LineString", "MultiPoint":
		ring(d.parts[0][0])
	case "Polygon", "MultiLineString":
		area(d.parts[0])
	case "MultiPolygon":
		out = append(out, '(')
		for i, a := range d.parts {
			if i > 0 {
				out = append(out, ',')
			}
			area(a)
		}
		out = append(out, ')')
	}
	return string(out)
}

// shapeParts writes one shapefile.
type shapeParts struct {
	family int
	z      bool
	shp    bytes.Buffer
	shx    bytes.Buffer
	rows   bytes.Buffer
	n      int
	box    wkb.Box
}

// families name the shapefiles of a set that holds more than one kind.
var families = [3]string{"points", "lines", "areas"}

// WriteShapefile writes a zipped shapefile, one for each kind of geometry in the
// set (points, lines, areas). Names of fields are cut to ten letters; notes tell
// what a shapefile cannot hold.
func WriteShapefile(w io.Writer, s Set) (notes []string, err error) {
	fields, _, err := s.Survey()
	if err != nil {
		return nil, err
	}
	var flat, high [3]int
	for f, err := range s.Features {
		if err != nil {
			return nil, err
		}
		d, err := draw(f.Geometry)
		if err != nil {
			return nil, err
		}
		switch {
		case d.kind == "":
			notes = append(notes, "A feature without geometry was left out.")
		case d.hasZ():
			high[d.family()]++
		default:
			flat[d.family()]++
		}
	}
	prj, err := frame.WKT1(s.CRS, true)
	if err != nil {
		return nil, err
	}
	names := map[string]bool{"FEATURE_ID": true}
	short := make([]string, len(fields))
	for i, f := range fields {
		n := shortName(f.Name, names)
		if n != f.Name {
			notes = append(notes, fmt.Sprintf("The field %s is called %s.", f.Name, n))
		}
		if f.Longest > 254 {
			notes = append(notes, fmt.Sprintf("Texts of %s were cut at 254 bytes.", f.Name))
		}
		short[i] = n
	}
	var parts [3]*shapeParts
	used := 0
	for k := range parts {
		if flat[k]+high[k] == 0 {
			continue
		}
		used++
		parts[k] = &shapeParts{family: k, z: flat[k] == 0, box: wkb.NoBox()}
		if flat[k] > 0 && high[k] > 0 {
			notes = append(notes, fmt.Sprintf("Not all %s have heights: they were left out.", families[k]))
		}
	}
	if used == 0 {
		return nil, &parcels.Error{Kind: parcels.Invalid, Op: "export", Subject: s.Name, Err: fmt.Errorf("nothing to write")}
	}
	for f, err := range s.Features {
		if err != nil {
			return nil, err
		}
		d, err := draw(f.Geometry)
		if err != nil {
			return nil, err
		}
		if d.kind != "" {
			parts[d.family()].add(d, f, fields)
		}
	}
	z := zip.NewWriter(w)
	for k, p := range parts {
		if p == nil {
			continue
		}
		name := s.Name
		if used > 1 {
			name += "_" + families[k]
		}
		for _, e := range []struct {
			ending string
			data   []byte
		}{{".shp", append(p.header(p.shp.Len()), p.shp.Bytes()...)}, {".shx", append(p.header(p.shx.Len()), p.shx.Bytes()...)}, {".dbf", p.dbf(fields, short)}, {".prj", []byte(prj)}, {".cpg", []byte("UTF-8")}} {
			f, err := z.CreateHeader(&zip.FileHeader{Name: name + e.ending, Method: zip.Deflate, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)})
			if err != nil {
				return nil, err
			}
			if _, err := f.Write(e.data); err != nil {
				return nil, err
			}
		}
	}
	return slices.Compact(notes), z.Close()
}

// shortName is a name of at most ten bytes that is not taken.
func shortName(name string, taken map[string]bool) string {
	clean := strings.Map(func(r rune) rune {
		if r < 0x80 && (r == '_' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z') {
			return r
		}
		return '_'
	}, name)
	out := clean[:min(len(clean), 10)]
	for i := 1; taken[strings.ToUpper(out)] || out == ""; i++ {
		tail := strconv.Itoa(i)
		out = clean[:min(len(clean), 10-len(tail))] + tail
	}
	taken[strings.ToUpper(out)] = true
	return out
}

func (p *shapeParts) kind() uint32 {
	k := [3]uint32{1, 3, 5}[p.family]
	if p.z {
		k += 10
	}
	return k
}

func (p *shapeParts) header(body int) []byte {
	h := make([]byte, 100)
	binary.BigEndian.PutUint32(h, 9994)
	binary.BigEndian.PutUint32(h[24:], uint32((100+body)/2))
	binary.LittleEndian.PutUint32(h[28:], 1000)
	binary.LittleEndian.PutUint32(h[32:], p.kind())
	if !p.box.Empty() {
		for i, v := range []float64{p.box.MinX, p.box.MinY, p.box.MaxX, p.box.MaxY} {
			binary.LittleEndian.PutUint64(h[36+8*i:], math.Float64bits(v))
		}
	}
	return h
}

func (p *shapeParts) add(d drawing, f parcels.StoredFeature, fields []Field) {
	if p.family == 0 {
		for _, pt := range d.parts[0][0] { // a MultiPoint is a record a point
			var b []byte
			b = binary.LittleEndian.AppendUint32(b, p.kind())
			b = p.floats(b, pt[0], pt[1])
			if p.z {
				b = p.floats(b, pt[2], -1e39) // no measure: below -1e38, as the white paper says
			}
			p.box = p.box.Join(wkb.Box{MinX: pt[0], MinY: pt[1], MaxX: pt[0], MaxY: pt[1]})
			p.record(b, f, fields)
		}
		return
	}
	var rings [][][]float64
	for _, a := range d.parts {
		for i, r := range a {
			if p.family == 2 && clockwise(r) != (i == 0) { // shells run clockwise, holes the other way
				r = slices.Clone(r)
				slices.Reverse(r)
			}
			rings = append(rings, r)
		}
	}
	box := wkb.NoBox()
	n, lo, hi := 0, math.Inf(1), math.Inf(-1)
	for _, r := range rings {
		for _, pt := range r {
			box = box.Join(wkb.Box{MinX: pt[0], MinY: pt[1], MaxX: pt[0], MaxY: pt[1]})
			if p.z {
				lo, hi = min(lo, pt[2]), max(hi, pt[2])
			}
			n++
		}
	}
	p.box = p.box.Join(box)
	b := binary.LittleEndian.AppendUint32(nil, p.kind())
	b = p.floats(b, box.MinX, box.MinY, box.MaxX, box.MaxY)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(rings)))
	b = binary.LittleEndian.AppendUint32(b, uint32(n))
	at := 0
	for _, r := range rings {
		b = binary.LittleEndian.AppendUint32(b, uint32(at))
		at += len(r)
	}
	for _, r := range rings {
		for _, pt := range r {
			b = p.floats(b, pt[0], pt[1])
		}
	}
	if p.z {
		b = p.floats(b, lo, hi)
		for _, r := range rings {
			for _, pt := range r {
				b = p.floats(b, pt[2])
			}
		}
	}
	p.record(b, f, fields)
}

func (p *shapeParts) floats(b []byte, vs ...float64) []byte {
	for _, v := range vs {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	return b
}

func clockwise(r [][]float64) bool {
	s := 0.0
	for i := 1; i < len(r); i++ {
		s += (r[i-1][0]-r[0][0])*(r[i][1]-r[0][1]) - (r[i][0]-r[0][0])*(r[i-1][1]-r[0][1])
	}
	return s < 0
}

func (p *shapeParts) record(content []byte, f parcels.StoredFeature, fields []Field) {
	p.n++
	var h [8]byte
	binary.BigEndian.PutUint32(h[:], uint32((100+p.shp.Len())/2))
	binary.BigEndian.PutUint32(h[4:], uint32(len(content)/2))
	p.shx.Write(h[:])
	binary.BigEndian.PutUint32(h[:], uint32(p.n))
	p.shp.Write(h[:])
	p.shp.Write(content)
	p.rows.WriteByte(' ')
	p.rows.WriteString(fixed(f.ID, idWidth, false))
	m := members(f.Properties)
	for _, fd := range fields {
		p.rows.WriteString(fixed(Plain(m[fd.Name]), fd.width(), fd.Number))
	}
}

const idWidth = 64

func (f Field) width() int {
	switch {
	case f.Whole && f.Longest <= 18:
		return 18 // the widest that readers take for a whole number
	case f.Number:
		return 24
	}
	return min(max(f.Longest, 1), 254)
}

// fixed is a cell of a dBASE row; a text is cut between characters, a number
// never.
func fixed(t string, n int, number bool) string {
	if number {
		if len(t) > n {
			v, _ := strconv.ParseFloat(t, 64) // surveyed as a number
			t = strconv.FormatFloat(v, 'g', 15, 64)
		}
		return strings.Repeat(" ", max(n-len(t), 0)) + t
	}
	for len(t) > n {
		cut := n
		for cut > 0 && t[cut]&0xc0 == 0x80 {
			cut--
		}
		t = t[:cut]
	}
	return t + strings.Repeat(" ", n-len(t))
}

func (p *shapeParts) dbf(fields []Field, short []string) []byte {
	width := 1 + idWidth
	for _, f := range fields {
		width += f.width()
	}
	head := 32 + 32*(len(fields)+1) + 1
	b := make([]byte, 32, head)
	b[0], b[1], b[2], b[3] = 3, 80, 1, 1
	binary.LittleEndian.PutUint32(b[4:], uint32(p.n))
	binary.LittleEndian.PutUint16(b[8:], uint16(head))
	binary.LittleEndian.PutUint16(b[10:], uint16(width))
	field := func(name string, kind byte, n, places int) {
		d := make([]byte, 32)
		copy(d[:10], name)
		d[11], d[16], d[17] = kind, byte(n), byte(places)
		b = append(b, d...)
	}
	field("FEATURE_ID", 'C', idWidth, 0)
	for i, f := range fields {
		switch {
		case f.Number && f.Whole:
			field(short[i], 'N', f.width(), 0)
		case f.Number:
			field(short[i], 'N', f.width(), 15)
		default:
			field(short[i], 'C', f.width(), 0)
		}
	}
	b = append(b, 0x0d)
	b = append(b, p.rows.Bytes()...)
	return append(b, 0x1a)
}

// WriteDXF writes R12: points, and lines and rings as polylines, on a layer of
// the set's name, labelled by label's text. The system must be projected.
func WriteDXF(w io.Writer, s Set, label func(map[string]json.RawMessage) string) error {
	if s.CRS == "" {
		return &parcels.Error{Kind: parcels.Invalid, Op: "export", Subject: s.Name, Err: fmt.Errorf("a drawing needs a plane, and this is in longitude, latitude; give --crs EPSG:NNNN of a projected system")}
	}
	var b bytes.Buffer
	pair := func(code int, v string) { fmt.Fprintf(&b, "%3d\n%s\n", code, v) }
	number := func(code int, v float64) { pair(code, string(wkb.AppendNumber(nil, v))) }
	at := func(p []float64) {
		number(10, p[0])
		number(20, p[1])
		z := 0.0 // R12 has no point without a height
		if len(p) > 2 {
			z = p[2]
		}
		number(30, z)
	}
	box := wkb.NoBox()
	for f, err := range s.Features {
		if err != nil {
			return err
		}
		d, err := draw(f.Geometry)
		if err != nil {
			return err
		}
		for _, a := range d.parts {
			for _, r := range a {
				for _, p := range r {
					box = box.Join(wkb.Box{MinX: p[0], MinY: p[1], MaxX: p[0], MaxY: p[1]})
				}
			}
		}
	}
	pair(0, "SECTION")
	pair(2, "HEADER")
	pair(9, "$ACADVER")
	pair(1, "AC1009")
	if !box.Empty() {
		pair(9, "$EXTMIN")
		at([]float64{box.MinX, box.MinY})
		pair(9, "$EXTMAX")
		at([]float64{box.MaxX, box.MaxY})
	}
	pair(0, "ENDSEC")
	layer := strings.ToUpper(s.Name)
	pair(0, "SECTION")
	pair(2, "TABLES")
	pair(0, "TABLE")
	pair(2, "LAYER")
	pair(70, "1")
	pair(0, "LAYER")
	pair(2, layer)
	pair(70, "0")
	pair(62, "7")
	pair(6, "CONTINUOUS")
	pair(0, "ENDTAB")
	pair(0, "ENDSEC")
	pair(0, "SECTION")
	pair(2, "ENTITIES")
	info, err := frame.Lookup(s.CRS)
	if err != nil {
		return err
	}
	height := 0.5 / info.MetresPerUnit
	for f, err := range s.Features {
		if err != nil {
			return err
		}
		d, err := draw(f.Geometry)
		if err != nil {
			return err
		}
		var first []float64
		for _, a := range d.parts {
			for _, r := range a {
				if first == nil && len(r) > 0 {
					first = r[0]
				}
				if d.family() == 0 {
					for _, p := range r {
						pair(0, "POINT")
						pair(8, layer)
						at(p)
					}
					continue
				}
				flags := 0
				if d.hasZ() {
					flags = 8
				}
				if d.family() == 2 {
					flags |= 1
					r = r[:max(len(r)-1, 0)]
				}
				pair(0, "POLYLINE")
				pair(8, layer)
				pair(66, "1")
				pair(70, strconv.Itoa(flags))
				at([]float64{0, 0})
				for _, p := range r {
					pair(0, "VERTEX")
					pair(8, layer)
					at(p)
					if d.hasZ() {
						pair(70, "32")
					}
				}
				pair(0, "SEQEND")
			}
		}
		if t := label(members(f.Properties)); t != "" && first != nil {
			pair(0, "TEXT")
			pair(8, layer)
			at(first)
			number(40, height)
			pair(1, dxfText(t))
		}
		if b.Len() > 1<<16 {
			if _, err := b.WriteTo(w); err != nil {
				return err
			}
		}
	}
	pair(0, "ENDSEC")
	pair(0, "EOF")
	_, err = b.WriteTo(w)
	return err
}

// dxfText is a text as R12 holds it: one line of ASCII.
func dxfText(t string) string {
	var b strings.Builder
	for _, r := range t {
		switch {
		case r < 0x20 || r == 0x7f:
			b.WriteByte(' ')
		case r < 0x7f:
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, `\U+%04X`, r)
		}
	}
	return b.String()
}
