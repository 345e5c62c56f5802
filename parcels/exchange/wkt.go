package exchange

// Well-known text of geometries (OGC 06-103r4, section 7) to GeoJSON.

import (
	"fmt"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/exchange/wkb"
)

// wktKinds give the GeoJSON type and how deep its positions stand.
var wktKinds = []struct {
	word, kind string
	level      int
}{{"MULTIPOLYGON", "MultiPolygon", 3}, {"MULTILINESTRING", "MultiLineString", 2}, {"MULTIPOINT", "MultiPoint", 1}, {"POLYGON", "Polygon", 2}, {"LINESTRING", "LineString", 1}, {"POINT", "Point", 0}}

type wktReader struct {
	s    string
	i    int
	n    int
	skip int // measures at the end of each position
	out  []byte
}

// fromWKT gives the GeoJSON of a text, and the SRID it begins with if any.
func fromWKT(text string) (geometry []byte, srid string, err *wkb.Error) {
	s := strings.TrimSpace(text)
	if s == "" {
		return []byte("null"), "", nil
	}
	if rest, ok := strings.CutPrefix(strings.ToUpper(s[:min(len(s), 5)]), "SRID="); ok || rest == "" {
		if at := strings.IndexByte(s, ';'); at > 0 {
			srid, s = s[5:at], strings.TrimSpace(s[at+1:])
		}
	}
	upper := strings.ToUpper(s[:min(len(s), 32)])
	for _, k := range wktKinds {
		rest, ok := strings.CutPrefix(upper, k.word)
		if !ok {
			continue
		}
		tag := strings.TrimSpace(strings.SplitN(rest, "(", 2)[0])
		w := &wktReader{s: s, i: len(k.word)}
		switch tag {
		case "", "Z":
		case "M", "ZM":
			w.skip = 1
		default:
			if strings.HasSuffix(tag, "EMPTY") {
				return nil, srid, &wkb.Error{Slug: "geometry-empty", Vertex: -1, Detail: "the geometry is empty"}
			}
			return nil, srid, w.bad("unknown word " + parcels.Excerpt(tag))
		}
		w.i = strings.IndexByte(s, '(')
		if w.i < 0 {
			return nil, srid, w.bad("no coordinates")
		}
		w.out = fmt.Appendf(nil, `{"type":%q,"coordinates":`, k.kind)
		var e *wkb.Error
		if k.level == 0 {
			w.i++
			e = w.position()
			if e == nil && !w.eat(')') {
				e = w.bad("a bracket is due")
			}
		} else {
			e = w.list(k.level, k.kind == "MultiPoint")
		}
		if e == nil && strings.TrimSpace(w.s[w.i:]) != "" {
			e = w.bad("text after the geometry")
		}
		if e != nil {
			return nil, srid, e
		}
		return append(w.out, '}'), srid, nil
	}
	return nil, srid, &wkb.Error{Slug: "geometry-type", Vertex: -1, Detail: fmt.Sprintf("%q is no well-known text of a point, line or polygon", parcels.Excerpt(s))}
}

func (w *wktReader) bad(what string) *wkb.Error {
	return &wkb.Error{Slug: "geometry-corrupt", Vertex: w.n, Detail: "the well-known text is broken (" + what + fmt.Sprintf(") at vertex %d", w.n)}
}

func (w *wktReader) space() {
	for w.i < len(w.s) && (w.s[w.i] == ' ' || w.s[w.i] == '\t' || w.s[w.i] == '\n' || w.s[w.i] == '\r') {
		w.i++
	}
}

func (w *wktReader) eat(c byte) bool {
	w.space()
	if w.i < len(w.s) && w.s[w.i] == c {
		w.i++
		return true
	}
	return false
}

// list reads a bracket of lists down to positions; loose allows each position a
// bracket of its own, as some write MULTIPOINT.
func (w *wktReader) list(level int, loose bool) *wkb.Error {
	if !w.eat('(') {
		return w.bad("a bracket is due")
	}
	w.out = append(w.out, '[')
	for first := true; ; first = false {
		if !first {
			w.out = append(w.out, ',')
		}
		var e *wkb.Error
		switch {
		case level > 1:
			e = w.list(level-1, false)
		case loose && w.eat('('):
			if e = w.position(); e == nil && !w.eat(')') {
				e = w.bad("a bracket is due")
			}
		default:
			e = w.position()
		}
		if e != nil {
			return e
		}
		if w.eat(')') {
			w.out = append(w.out, ']')
			return nil
		}
		if !w.eat(',') {
			return w.bad("a comma is due")
		}
	}
}

func (w *wktReader) position() *wkb.Error {
	var parts []string
	for {
		w.space()
		start := w.i
		for w.i < len(w.s) && strings.IndexByte("0123456789+-.eEnNaAiIfF", w.s[w.i]) >= 0 {
			w.i++
		}
		if w.i == start {
			break
		}
		parts = append(parts, w.s[start:w.i])
	}
	if n := len(parts); n == 4 || n == 3 && w.skip == 1 {
		parts = parts[:n-1]
	}
	if len(parts) < 2 || len(parts) > 3 {
		return w.bad("a position is two or three numbers")
	}
	w.out = append(w.out, '[')
	for i, p := range parts {
		p = strings.TrimPrefix(p, "+")
		if strings.HasPrefix(p, ".") {
			p = "0" + p
		}
		p = strings.TrimSuffix(strings.Replace(p, "-.", "-0.", 1), ".")
		if !isNumber(p) {
			if l := strings.ToLower(p); strings.Contains(l, "nan") || strings.Contains(l, "inf") {
				return &wkb.Error{Slug: "coordinate-not-finite", Vertex: w.n, Detail: fmt.Sprintf("vertex %d has a coordinate that is not finite", w.n)}
			}
			return w.bad("a number is broken")
		}
		if i > 0 {
			w.out = append(w.out, ',')
		}
		w.out = append(w.out, p...)
	}
	w.out = append(w.out, ']')
	w.n++
	return nil
}
