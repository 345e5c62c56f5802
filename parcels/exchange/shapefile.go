package exchange

// Shapefiles (ESRI white paper of July 1998) with their dBASE III attributes.

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"path"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/shape"
	"fallwright/parcels"
	"fallwright/parcels/exchange/wkb"
)

type shapeReader struct {
	shp, dbf           []byte
	shpName, dbfName   string
	kind               int32
	offsets            []int // of each record's content in shp
	lengths            []int
	fields             []dbfField
	rowStart, rowWidth int
	decode             func([]byte) (string, bool)
	report             *Report
}

type dbfField struct {
	name   string
	kind   byte
	at, n  int
	places int
}

func openShapefile(a *archive, name string, report *Report) (*source, error) {
	stem := strings.TrimSuffix(name, ".shp")
	r := &shapeReader{report: report, shpName: a.entries[name].Name}
	part := func(ending string) ([]byte, string, error) {
		f := a.entries[stem+ending]
		base := strings.TrimSuffix(a.entries[name].Name, path.Ext(a.entries[name].Name)) + ending
		if f == nil {
			return nil, base, nil
		}
		b, err := a.read(f)
		return b, f.Name, err
	}
	var err error
	if r.shp, _, err = part(".shp"); err != nil {
		return nil, err
	}
	if err := r.index(); err != nil {
		return nil, err
	}
	shx, shxName, err := part(".shx")
	if err != nil {
		return nil, err
	}
	if shx != nil {
		if err := r.checkIndex(shx, shxName); err != nil {
			return nil, err
		}
	}
	if r.dbf, r.dbfName, err = part(".dbf"); err != nil {
		return nil, err
	}
	if r.dbf == nil {
		return nil, invalid(parcels.Invalid, entryFault("shapefile-corrupt", r.dbfName, "it is missing, and with it the attributes. Pack .shp, .shx, .dbf and .prj together."))
	}
	if err := r.table(); err != nil {
		return nil, err
	}
	cpg, cpgName, err := part(".cpg")
	if err != nil {
		return nil, err
	}
	if err := r.encoding(cpg, cpgName); err != nil {
		return nil, err
	}
	prj, prjName, err := part(".prj")
	if err != nil {
		return nil, err
	}
	src := &source{format: "shapefile", table: path.Base(stem), entry: prjName, total: int64(len(r.shp))}
	if len(bytes.TrimSpace(prj)) == 0 {
		src.silent, src.mustAsk, src.crsFrom = true, true, "there is no "+prjName
	} else {
		found, err := frame.Recognise(string(prj))
		if err != nil {
			ft := entryFault("crs-unknown", prjName, fmt.Sprintf("the definition %s is that of no EPSG system (%s)", parcels.Excerpt(string(prj)), parcels.Excerpt(err.Error())))
			if a.o.CRS == "" {
				ft.Pointer, ft.Detail = "/crs", ft.Detail+". Give it: --crs EPSG:NNNN, or crs in the request."
				return nil, invalid(parcels.Invalid, ft)
			}
			report.note("%s; the one given was taken.", ft.Detail)
			src.silent, src.mustAsk, src.crsFrom = true, true, prjName
		} else {
			src.crs, src.crsFrom = found.Code, fmt.Sprintf("%s: %s", prjName, parcels.Excerpt(found.Name))
			if info, err := frame.Lookup(found.Code); err == nil && info.Geographic {
				src.crs = ""
			}
			if !found.Sure {
				report.note("The reference system %s of %s was taken for %s, the likeliest of several.", parcels.Excerpt(found.Name), prjName, crsText(found.Code))
			}
		}
	}
	src.each = counted(len(r.offsets), r.record)
	return src, nil
}

func (r *shapeReader) corrupt(entry string, record int, format string, args ...any) error {
	f := entryFault("shapefile-corrupt", entry, fmt.Sprintf(format, args...)+". Export it again.")
	if record >= 0 {
		f.Feature = &record
	}
	return invalid(parcels.Invalid, f)
}

// index finds the records: header of 100 bytes, then number, length, content.
func (r *shapeReader) index() error {
	b := r.shp
	if len(b) < 100 || binary.BigEndian.Uint32(b) != 9994 || binary.LittleEndian.Uint32(b[28:]) != 1000 {
		return r.corrupt(r.shpName, -1, "it does not begin as a shapefile")
	}
	if n := int64(binary.BigEndian.Uint32(b[24:])) * 2; n != int64(len(b)) {
		return r.corrupt(r.shpName, -1, "its header says %d bytes, there are %d", n, len(b))
	}
	r.kind = int32(binary.LittleEndian.Uint32(b[32:]))
	switch r.kind {
	case 0, 1, 3, 5, 8, 11, 13, 15, 18, 21, 23, 25, 28:
	default:
		return r.corrupt(r.shpName, -1, "its shape type %d is not read", r.kind)
	}
	for i := 100; i < len(b); {
		n := len(r.offsets)
		if len(b)-i < 12 {
			return r.corrupt(r.shpName, n, "record %d is cut short", n)
		}
		length := int64(binary.BigEndian.Uint32(b[i+4:])) * 2
		if length < 4 || length > int64(len(b)-i-8) {
			return r.corrupt(r.shpName, n, "record %d says %d bytes, %d are left", n, length, len(b)-i-8)
		}
		r.offsets, r.lengths = append(r.offsets, i+8), append(r.lengths, int(length))
		i += 8 + int(length)
	}
	return nil
}

// checkIndex holds the .shx against the records found.
func (r *shapeReader) checkIndex(b []byte, entry string) error {
	if len(b) < 100 || (len(b)-100)%8 != 0 || binary.BigEndian.Uint32(b) != 9994 {
		return r.corrupt(entry, -1, "it is cut short or no index")
	}
	if n := (len(b) - 100) / 8; n != len(r.offsets) {
		return r.corrupt(entry, -1, "it lists %d records, %s has %d", n, r.shpName, len(r.offsets))
	}
	for i, at := range r.offsets {
		if o := int64(binary.BigEndian.Uint32(b[100+8*i:])) * 2; o != int64(at-8) {
			return r.corrupt(entry, i, "record %d is said to begin at %d, it begins at %d", i, o, at-8)
		}
	}
	return nil
}

func (r *shapeReader) table() error {
	b := r.dbf
	if len(b) < 33 {
		return r.corrupt(r.dbfName, -1, "it is cut short")
	}
	rows, head, width := int64(binary.LittleEndian.Uint32(b[4:])), int(binary.LittleEndian.Uint16(b[8:])), int(binary.LittleEndian.Uint16(b[10:]))
	if head < 33 || head > len(b) || width < 1 {
		return r.corrupt(r.dbfName, -1, "its header is no dBASE header")
	}
	if rows != int64(len(r.offsets)) {
		return r.corrupt(r.dbfName, -1, "it has %d rows, %s has %d records", rows, r.shpName, len(r.offsets))
	}
	if int64(head)+rows*int64(width) > int64(len(b)) {
		return r.corrupt(r.dbfName, -1, "%d rows of %d bytes go beyond its end", rows, width)
	}
	at := 1
	for i := 32; i+32 <= head && b[i] != 0x0d; i += 32 {
		d := b[i : i+32]
		n, _, _ := bytes.Cut(d[:11], []byte{0})
		f := dbfField{name: strings.TrimSpace(string(n)), kind: d[11], at: at, n: int(d[16]), places: int(d[17])}
		if f.kind == 'C' { // longer texts keep the high byte in the count of places
			f.n += int(d[17]) << 8
		}
		if at += f.n; at > width {
			return r.corrupt(r.dbfName, -1, "its fields are wider than its rows")
		}
		r.fields = append(r.fields, f)
	}
	r.rowStart, r.rowWidth = head, width
	return nil
}

// encodings by the names found in .cpg files.
func (r *shapeReader) encoding(cpg []byte, entry string) error {
	name := strings.ToUpper(strings.TrimSpace(string(cpg)))
	from := "the .cpg"
	if name == "" {
		switch r.dbf[29] { // language driver id
		case 0x57, 0x03, 0x58, 0x59:
			name, from = "1252", "the .dbf"
		}
	}
	switch strings.NewReplacer("ANSI", "", "WINDOWS", "", "CP", "", "-", "", "_", "", " ", "").Replace(name) {
	case "UTF8", "65001":
		r.decode = func(b []byte) (string, bool) { return string(b), utf8.Valid(b) }
	case "88591", "ISO88591", "LATIN1", "28591":
		r.decode = func(b []byte) (string, bool) { return oneByte(b, false), true }
	case "1252":
		r.decode = func(b []byte) (string, bool) { return oneByte(b, true), true }
	case "":
		if name != "" {
			from = "ANSI"
		}
		if from == "the .dbf" || utf8.Valid(r.dbf[r.rowStart:]) {
			r.decode = func(b []byte) (string, bool) { return string(b), utf8.Valid(b) }
			return nil
		}
		r.report.note("Nothing names the encoding of the texts (no .cpg); they are no UTF-8 and were read as Windows-1252. Look at names with accents.")
		r.decode = func(b []byte) (string, bool) { return oneByte(b, true), true }
	default:
		return invalid(parcels.Invalid, entryFault("encoding-unknown", entry, fmt.Sprintf("the encoding %s is not read (UTF-8, ISO-8859-1 and Windows-1252 are). Convert with `ogr2ogr -lco ENCODING=UTF-8 out.shp in.shp`", parcels.Excerpt(name))))
	}
	return nil
}

// windows1252 are the characters of 0x80 to 0x9f, where it differs from
// ISO 8859-1; 0 is none.
var windows1252 = [32]rune{'€', 0, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', 0, 'Ž', 0, 0, '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', 0, 'ž', 'Ÿ'}

func oneByte(b []byte, windows bool) string {
	out := make([]rune, len(b))
	for i, c := range b {
		out[i] = rune(c)
		if windows && c >= 0x80 && c < 0xa0 && windows1252[c-0x80] != 0 {
			out[i] = windows1252[c-0x80]
		}
	}
	return string(out)
}

func (r *shapeReader) record(i int) (record, error) {
	row := r.dbf[r.rowStart+i*r.rowWidth:][:r.rowWidth]
	at := func(f *parcels.Fault) {
		f.Entry, f.Pointer = parcels.Excerpt(r.shpName), ""
		f.Detail = fmt.Sprintf("%s, record %d: %s", parcels.Excerpt(r.shpName), i, f.Detail)
	}
	out := record{index: i, at: at, done: int64(r.offsets[i] + r.lengths[i])}
	if row[0] == '*' {
		r.report.mend("a record marked as deleted was passed over")
		return out, nil
	}
	props, err := r.properties(row, i)
	if err != nil {
		return out, err
	}
	geometry, fault, err := r.geometry(r.shp[r.offsets[i]:][:r.lengths[i]], i)
	if err != nil {
		return out, err
	}
	if fault != nil {
		out.fault = fault
		return out, nil
	}
	out.raw = append(append(append(append([]byte(`{"type":"Feature","geometry":`), geometry...), `,"properties":`...), props...), '}')
	return out, nil
}

func (r *shapeReader) properties(row []byte, record int) ([]byte, error) {
	out := []byte{'{'}
	seen := map[string]bool{}
	for k, f := range r.fields {
		key, ok := r.decode([]byte(f.name))
		if !ok || key == "" {
			key = fmt.Sprintf("FIELD_%d", k+1)
		}
		if seen[key] {
			return nil, r.corrupt(r.dbfName, -1, "the field %s stands twice", parcels.Excerpt(key))
		}
		seen[key] = true
		cell := row[f.at : f.at+f.n]
		var value any
		switch f.kind {
		case 'N', 'F':
			t := strings.TrimSpace(strings.TrimRight(string(cell), "\x00"))
			switch v, err := strconv.ParseFloat(t, 64); {
			case t == "" || strings.Trim(t, "*") == "":
			case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
				r.report.mend(fmt.Sprintf("%s holds %q, which is no number: empty", parcels.Excerpt(key), parcels.Excerpt(t)))
			case json.Valid([]byte(t)):
				value = json.RawMessage(t) // digit for digit
			default:
				value = v
			}
		case 'L':
			switch cell[0] {
			case 'T', 't', 'Y', 'y':
				value = true
			case 'F', 'f', 'N', 'n':
				value = false
			}
		case 'D':
			if t := strings.TrimSpace(string(cell)); len(t) == 8 && t != "00000000" {
				value = t[:4] + "-" + t[4:6] + "-" + t[6:]
			}
		case 'C':
			t, ok := r.decode(bytes.TrimRight(cell, " \x00"))
			if !ok {
				return nil, invalid(parcels.Unreadable, parcels.Fault{Slug: "not-utf8", Entry: parcels.Excerpt(r.dbfName), Feature: &record,
					Detail: fmt.Sprintf("Entry %s, row %d: the text of %s is not UTF-8, as the .cpg says. Name the right encoding there.", parcels.Excerpt(r.dbfName), record, parcels.Excerpt(key))})
			}
			if t != "" {
				value = strings.ReplaceAll(t, "\x00", "")
			}
		default:
			r.report.mend(fmt.Sprintf("%s is of the dBASE type %q, which is not read: left out", parcels.Excerpt(key), f.kind))
			continue
		}
		if len(out) > 1 {
			out = append(out, ',')
		}
		k, _ := json.Marshal(key)
		out = append(append(out, k...), ':')
		v, err := json.Marshal(value)
		if err != nil {
			return nil, r.corrupt(r.dbfName, record, "row %d cannot be read", record)
		}
		out = append(out, v...)
	}
	return append(out, '}'), nil
}

// geometry turns the content of a record into GeoJSON.
func (r *shapeReader) geometry(b []byte, record int) ([]byte, *parcels.Fault, error) {
	kind := int32(binary.LittleEndian.Uint32(b))
	if kind == 0 {
		return []byte("null"), nil, nil
	}
	if kind != r.kind {
		return nil, nil, r.corrupt(r.shpName, record, "record %d is of shape type %d, the file of %d", record, kind, r.kind)
	}
	short := func() ([]byte, *parcels.Fault, error) {
		return nil, nil, r.corrupt(r.shpName, record, "record %d has a count beyond its end", record)
	}
	base, hasZ := kind%10, kind > 10 && kind < 20
	f := func(at int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[at:])) }
	var xy []orb.Point
	var z []float64
	var starts []int
	switch base {
	case 1:
		if len(b) < 20 || hasZ && len(b) < 28 {
			return short()
		}
		xy = []orb.Point{{f(4), f(12)}}
		if hasZ {
			z = []float64{f(20)}
		}
	default:
		head, nParts := 40, 0
		if base != 8 {
			head = 44
			if len(b) < head {
				return short()
			}
			nParts = int(binary.LittleEndian.Uint32(b[36:]))
		}
		if len(b) < head {
			return short()
		}
		n := int64(binary.LittleEndian.Uint32(b[head-4:]))
		need := int64(head) + 4*int64(nParts) + 16*n
		if nParts < 0 || need > int64(len(b)) || hasZ && need+16+8*n > int64(len(b)) {
			return short()
		}
		for p := range nParts {
			s := int(int32(binary.LittleEndian.Uint32(b[44+4*p:])))
			if s < 0 || int64(s) >= n || p == 0 && s != 0 || p > 0 && s <= starts[p-1] {
				return nil, nil, r.corrupt(r.shpName, record, "record %d: part %d begins at point %d of %d", record, p, s, n)
			}
			starts = append(starts, s)
		}
		at := head + 4*nParts
		for i := range int(n) {
			xy = append(xy, orb.Point{f(at + 16*i), f(at + 16*i + 8)})
		}
		if hasZ {
			at += 16*int(n) + 16
			for i := range int(n) {
				z = append(z, f(at+8*i))
			}
		}
	}
	for i, p := range xy {
		if bad := !finite(p[0]) || !finite(p[1]) || z != nil && !finite(z[i]); bad {
			v := i
			return nil, &parcels.Fault{Slug: "coordinate-not-finite", Feature: &record, Vertex: &v, Detail: fmt.Sprintf("Feature %d, vertex %d has a coordinate that is not finite. Correct it at its source.", record, i)}, nil
		}
	}
	if r.kind > 20 || r.kind > 10 && len(z) == 0 {
		r.report.mend("measures were left out")
	}
	if len(xy) == 0 || base != 1 && base != 8 && len(starts) == 0 {
		return nil, &parcels.Fault{Slug: "geometry-empty", Feature: &record, Detail: fmt.Sprintf("Feature %d has an empty geometry. Draw it or remove the feature.", record)}, nil
	}
	w := &shapeWriter{xy: xy, z: z}
	part := func(p int) (int, int) {
		if p+1 < len(starts) {
			return starts[p], starts[p+1]
		}
		return starts[p], len(xy)
	}
	switch base {
	case 1:
		w.text(`{"type":"Point","coordinates":`)
		w.position(0)
	case 8:
		w.text(`{"type":"MultiPoint","coordinates":`)
		w.run(0, len(xy))
	case 3:
		if len(starts) == 1 {
			w.text(`{"type":"LineString","coordinates":`)
			w.run(0, len(xy))
			break
		}
		w.text(`{"type":"MultiLineString","coordinates":[`)
		for p := range starts {
			w.comma(p)
			w.run(part(p))
		}
		w.text("]")
	case 5:
		groups, fault := groupRings(xy, starts, part, record)
		if fault != nil {
			return nil, fault, nil
		}
		if len(groups) == 1 {
			w.text(`{"type":"Polygon","coordinates":`)
		} else {
			w.text(`{"type":"MultiPolygon","coordinates":[`)
		}
		for i, g := range groups {
			w.comma(i)
			w.text("[")
			for k, p := range g {
				w.comma(k)
				from, to := part(p)
				w.back(from, to) // shells run clockwise here, the other way in GeoJSON
			}
			w.text("]")
		}
		if len(groups) > 1 {
			w.text("]")
		}
	}
	w.text("}")
	return w.out, nil, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// groupRings puts each hole (a ring that runs counter-clockwise) to the
// smallest shell that holds its first point. A single ring is a shell however
// it runs.
func groupRings(xy []orb.Point, starts []int, part func(int) (int, int), record int) ([][]int, *parcels.Fault) {
	if len(starts) == 1 {
		return [][]int{{0}}, nil
	}
	ring := func(p int) orb.Ring { a, b := part(p); return xy[a:b] }
	area := func(r orb.Ring) (s float64) { // twice the signed area about the first point
		for i := 1; i < len(r); i++ {
			s += (r[i-1][0]-r[0][0])*(r[i][1]-r[0][1]) - (r[i][0]-r[0][0])*(r[i-1][1]-r[0][1])
		}
		return s
	}
	var groups [][]int
	var holes []int
	for p := range starts {
		if area(ring(p)) <= 0 {
			groups = append(groups, []int{p})
		} else {
			holes = append(holes, p)
		}
	}
	if len(groups) == 0 { // all run the wrong way: the first is the shell
		groups, holes = [][]int{{0}}, holes[1:]
	}
	for _, h := range holes {
		best, size := -1, math.Inf(1)
		for i, g := range groups {
			s := ring(g[0])
			if a := math.Abs(area(s)); a < size && shape.LocateInRing(ring(h)[0], s) != shape.Outside {
				best, size = i, a
			}
		}
		if best < 0 {
			n := h
			at := ring(h)[0]
			return nil, &parcels.Fault{Slug: "hole-outside-shell", Feature: &record, Ring: &n, At: &[2]float64{at[0], at[1]}, Detail: fmt.Sprintf("Feature %d: ring %d runs as a hole and lies in no shell. Correct it at its source.", record, h)}
		}
		groups[best] = append(groups[best], h)
	}
	return groups, nil
}

type shapeWriter struct {
	out []byte
	xy  []orb.Point
	z   []float64
}

func (w *shapeWriter) text(s string) { w.out = append(w.out, s...) }
func (w *shapeWriter) comma(i int) {
	if i > 0 {
		w.out = append(w.out, ',')
	}
}

func (w *shapeWriter) position(i int) {
	w.out = append(w.out, '[')
	w.out = wkb.AppendNumber(w.out, w.xy[i][0])
	w.out = append(w.out, ',')
	w.out = wkb.AppendNumber(w.out, w.xy[i][1])
	if w.z != nil {
		w.out = append(w.out, ',')
		w.out = wkb.AppendNumber(w.out, w.z[i])
	}
	w.out = append(w.out, ']')
}

func (w *shapeWriter) run(from, to int) {
	w.text("[")
	for i := from; i < to; i++ {
		w.comma(i - from)
		w.position(i)
	}
	w.text("]")
}

func (w *shapeWriter) back(from, to int) {
	w.text("[")
	for i := to - 1; i >= from; i-- {
		w.comma(to - 1 - i)
		w.position(i)
	}
	w.text("]")
}
