package document

// The strict look at the bytes before anything is decoded: UTF-8, JSON syntax,
// depth, repeated members, length of strings. encoding/json lets repeated
// members and bad UTF-8 pass and nests 10,000 deep.

import (
	"bytes"
	"fmt"
	"slices"
	"unicode/utf8"

	"fallwright/parcels"
	"fallwright/parcels/memory"
)

// Limits on text. The service adds limits on size; the command has none.
const (
	MostDepth      = 64
	MostString     = 64 << 10
	MostProperties = 1000
	MostVertices   = 250_000   // a feature
	MostAllVertex  = 1_000_000 // a request
)

// Limits bounds what Read takes; a zero field is no limit.
type Limits struct {
	Vertices    int // a feature
	AllVertices int
	Properties  int
}

// ServiceLimits are those of the service.
var ServiceLimits = Limits{Vertices: MostVertices, AllVertices: MostAllVertex, Properties: MostProperties}

// Scan checks that data is UTF-8 (a byte-order mark is skipped) and one strict
// JSON text, and returns it without the mark. The error is a
// *parcels.InputError of Kind Unreadable with offset, line and column.
func Scan(data []byte) ([]byte, error) {
	return (&scanner{data: data}).text()
}

// ScanWith is Scan with a memory, by which the layers of a site whose text was
// scanned before are not looked into again, and with what it has seen of the text.
func ScanWith(data []byte, m *memory.Memory) (Cut, error) {
	s := scanner{data: data, memory: m, seen: &seen{whole: len(data), long: map[int]long{}}}
	text, err := s.text()
	return Cut{Text: text, at: len(data) - len(text), of: s.seen}, err
}

// Cut is text that has passed a scan, or a part of such text, with what the scan
// has seen of it. A Cut of Text alone is such text of which nothing more is known.
type Cut struct {
	Text []byte
	at   int // in the whole that was scanned
	of   *seen
}

// seen is where the long objects and arrays of a text are.
type seen struct {
	whole int // its length
	long  map[int]long
}

// long is an object or array of at least longFrom bytes: where it ends, and the
// piece of text in memory that it is, nil for none.
type long struct {
	end  int
	text *memory.Text
}

const longFrom = 512

// end is skip, without a look into what is long.
func (c Cut) end(b []byte, i int) int {
	if c.of != nil && (b[i] == '{' || b[i] == '[') {
		if l, ok := c.of.long[c.at+i]; ok {
			return l.end - c.at
		}
	}
	return skip(b, i)
}

// known is the piece of text in memory that c is; nil for none.
func (c Cut) known() *memory.Text {
	if c.of == nil {
		return nil
	}
	return c.of.long[c.at].text
}

// Trimmed is c without the blanks before it, and how many these are.
func (c Cut) Trimmed() (Cut, int) {
	i := blank(c.Text, 0)
	return Cut{c.Text[i:], c.at + i, c.of}, i
}

// Members calls f with each member of a JSON object and where in the object its
// value starts.
func (c Cut) Members(f func(key string, value Cut, at int)) {
	cutUp(c.Text, c.end, func(key string, text []byte, at int) { f(key, Cut{text, c.at + at, c.of}, at) })
}

// hash adds the text, of which pieces in memory have been hashed before.
func (c Cut) hash(h *memory.Hash) {
	var starts []int
	if c.of != nil {
		for i, l := range c.of.long {
			if l.text != nil && i >= c.at && l.end <= c.at+len(c.Text) {
				starts = append(starts, i)
			}
		}
	}
	slices.Sort(starts)
	h.Count(len(starts))
	from := c.at
	for _, i := range starts {
		if i < from {
			continue // in a piece
		}
		l := c.of.long[i]
		h.Bytes(c.Text[from-c.at : i-c.at]).Bytes(l.text.Key[:])
		from = l.end
	}
	h.Bytes(c.Text[from-c.at:])
}

// own is c in memory of its own, where it is not about all of what was scanned.
func (c Cut) own() Cut {
	if c.of == nil || c.of.whole > len(c.Text)+len(c.Text)/8 {
		c.Text = bytes.Clone(c.Text)
	}
	return c
}

const byteOrderMark = "\xef\xbb\xbf"

// text scans all and gives it without the mark.
func (s *scanner) text() ([]byte, error) {
	text := bytes.TrimPrefix(s.data, []byte(byteOrderMark))
	s.i = len(s.data) - len(text)
	if off := firstBadUTF8(text); off >= 0 {
		o := int64(off + s.i)
		return nil, unreadable(parcels.Fault{Slug: "not-utf8", Offset: &o,
			Detail: fmt.Sprintf("The text is not UTF-8: byte 0x%02x at offset %d. Save the file as UTF-8 and send it again.", s.data[o], o)})
	}
	if f := s.document(); f != nil {
		return nil, unreadable(*f)
	}
	return text, nil
}

func firstBadUTF8(b []byte) int {
	if utf8.Valid(b) {
		return -1
	}
	for i := 0; i < len(b); {
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}

func unreadable(f parcels.Fault) error {
	return &parcels.InputError{Kind: parcels.Unreadable, Faults: []parcels.Fault{f}}
}

type scanner struct {
	data    []byte
	i       int
	depth   int
	deepest int
	memory  *memory.Memory
	seen    *seen // nil: nobody asks
}

func (s *scanner) syntax(what string) *parcels.Fault {
	line, col := 1, 1
	end := min(s.i, len(s.data))
	for _, c := range s.data[:end] {
		if c == '\n' {
			line++
			col = 0
		}
		col++
	}
	o := int64(s.i)
	return &parcels.Fault{Slug: "json-syntax", Offset: &o, Line: &line, Column: &col,
		Detail: fmt.Sprintf("The text is not JSON: %s at line %d, column %d (offset %d). Correct the text there.", what, line, col, o)}
}

func (s *scanner) space() {
	for s.i < len(s.data) {
		switch s.data[s.i] {
		case ' ', '\t', '\n', '\r':
			s.i++
		default:
			return
		}
	}
}

func (s *scanner) document() *parcels.Fault {
	s.space()
	if s.i == len(s.data) {
		return s.syntax("the text is empty")
	}
	if f := s.value(); f != nil {
		return f
	}
	s.space()
	if s.i < len(s.data) {
		return s.syntax("more text after the end of the JSON value")
	}
	return nil
}

func (s *scanner) value() *parcels.Fault {
	if s.i >= len(s.data) {
		return s.syntax("the text ends where a value is due")
	}
	switch c := s.data[s.i]; {
	case c == '{', c == '[':
		from, nested := s.i, s.object
		if c == '[' {
			nested = s.array
		}
		if f := nested(); f != nil {
			return f
		}
		if s.seen != nil && s.i-from >= longFrom {
			s.seen.long[from] = long{end: s.i}
		}
		return nil
	case c == '"':
		_, f := s.str()
		return f
	case c == '-' || c >= '0' && c <= '9':
		return s.number()
	default:
		for _, w := range []string{"true", "false", "null"} {
			if bytes.HasPrefix(s.data[s.i:], []byte(w)) {
				s.i += len(w)
				return nil
			}
		}
		for _, w := range []string{"NaN", "Infinity", "nan", "inf"} {
			if bytes.HasPrefix(s.data[s.i:], []byte(w)) {
				return s.syntax("the word " + w + ", which is no JSON number; give a number or leave the member out;")
			}
		}
		return s.syntax(fmt.Sprintf("unexpected character %q", rune(c)))
	}
}

func (s *scanner) deeper() *parcels.Fault {
	s.depth++
	s.deepest = max(s.deepest, s.depth)
	if s.depth > MostDepth {
		o := int64(s.i)
		return &parcels.Fault{Slug: "json-too-deep", Offset: &o, Limit: MostDepth,
			Detail: fmt.Sprintf("The text nests deeper than %d levels at offset %d. Flatten it (a collection inside a collection is never needed here).", MostDepth, o)}
	}
	return nil
}

func (s *scanner) object() *parcels.Fault {
	if f := s.deeper(); f != nil {
		return f
	}
	s.i++
	var few [16][]byte
	keys := few[:0]
	var many map[string]bool
	s.space()
	if s.i < len(s.data) && s.data[s.i] == '}' {
		s.i++
		s.depth--
		return nil
	}
	for {
		s.space()
		if s.i >= len(s.data) || s.data[s.i] != '"' {
			return s.syntax("a member name is due")
		}
		at := s.i
		key, f := s.str()
		if f != nil {
			return f
		}
		again := many[string(key)]
		if many == nil {
			for _, k := range keys {
				again = again || bytes.Equal(k, key)
			}
		}
		if again {
			o := int64(at)
			return &parcels.Fault{Slug: "json-duplicate-member", Offset: &o, Member: parcels.Excerpt(string(key)),
				Detail: fmt.Sprintf("The member %q stands twice in one object (again at offset %d). Keep one of them.", parcels.Excerpt(string(key)), o)}
		}
		if many != nil {
			many[string(key)] = true
		} else if keys = append(keys, key); len(keys) == 16 {
			many = make(map[string]bool, 64)
			for _, k := range keys {
				many[string(k)] = true
			}
		}
		s.space()
		if s.i >= len(s.data) || s.data[s.i] != ':' {
			return s.syntax("a colon is due after the member name")
		}
		s.i++
		s.space()
		if s.memory != nil && s.i < len(s.data) && s.data[s.i] == '{' && layerTypes[parcels.Layer(key)] != nil {
			f = s.layer(string(key))
		} else {
			f = s.value()
		}
		if f != nil {
			return f
		}
		s.space()
		if s.i >= len(s.data) {
			return s.syntax("the text ends inside an object")
		}
		switch s.data[s.i] {
		case ',':
			s.i++
		case '}':
			s.i++
			s.depth--
			return nil
		default:
			return s.syntax("a comma or the end of the object is due")
		}
	}
}

// layer passes over an object that may be a layer: at once where the text goes on
// with one that was passed before, since an object ends at its own brace.
func (s *scanner) layer(name string) *parcels.Fault {
	from, above := s.i, s.deepest
	t := s.memory.Begins(name, s.data[from:])
	if t != nil && s.depth+t.Depth <= MostDepth {
		s.i += len(t.Bytes)
		s.deepest = max(above, s.depth+t.Depth)
	} else {
		s.deepest = s.depth
		if f := s.value(); f != nil {
			return f
		}
		t = nil
		if text := s.data[from:s.i]; len(text) >= longFrom {
			t = s.memory.Looked(name, text, s.deepest-s.depth)
		}
		s.deepest = max(above, s.deepest)
	}
	if s.i-from >= longFrom {
		s.seen.long[from] = long{s.i, t}
	}
	return nil
}

func (s *scanner) array() *parcels.Fault {
	if f := s.deeper(); f != nil {
		return f
	}
	s.i++
	s.space()
	if s.i < len(s.data) && s.data[s.i] == ']' {
		s.i++
		s.depth--
		return nil
	}
	for {
		s.space()
		if f := s.value(); f != nil {
			return f
		}
		s.space()
		if s.i >= len(s.data) {
			return s.syntax("the text ends inside an array")
		}
		switch s.data[s.i] {
		case ',':
			s.i++
		case ']':
			s.i++
			s.depth--
			return nil
		default:
			return s.syntax("a comma or the end of the array is due")
		}
	}
}

// str passes over a string and returns it with its escapes resolved as far as
// telling members apart needs.
func (s *scanner) str() ([]byte, *parcels.Fault) {
	start := s.i
	s.i++
	escaped := false
	for s.i < len(s.data) {
		switch c := s.data[s.i]; {
		case c == '"':
			s.i++
			raw := s.data[start:s.i]
			if escaped {
				return []byte(unquote(raw)), nil
			}
			return raw[1 : len(raw)-1], nil
		case c == '\\':
			escaped = true
			if s.i+1 >= len(s.data) {
				return nil, s.syntax("the text ends inside a string")
			}
			switch s.data[s.i+1] {
			case '"', '\\', '/', 'b', 'f', 'n', 'r', 't':
				s.i += 2
			case 'u':
				if s.i+6 > len(s.data) {
					return nil, s.syntax("the text ends inside a string")
				}
				for _, h := range s.data[s.i+2 : s.i+6] {
					if !(h >= '0' && h <= '9' || h >= 'a' && h <= 'f' || h >= 'A' && h <= 'F') {
						return nil, s.syntax("a broken \\u escape")
					}
				}
				s.i += 6
			default:
				return nil, s.syntax("an unknown escape in a string")
			}
		case c < 0x20:
			return nil, s.syntax("a control character in a string")
		default:
			s.i++
		}
	}
	return nil, s.syntax("the text ends inside a string")
}

func (s *scanner) number() *parcels.Fault {
	digits := func() bool {
		n := s.i
		for s.i < len(s.data) && s.data[s.i] >= '0' && s.data[s.i] <= '9' {
			s.i++
		}
		return s.i > n
	}
	if s.data[s.i] == '-' {
		s.i++
	}
	if s.i < len(s.data) && s.data[s.i] == '0' {
		s.i++
	} else if !digits() {
		return s.syntax("a broken number")
	}
	if s.i < len(s.data) && s.data[s.i] == '.' {
		s.i++
		if !digits() {
			return s.syntax("a broken number")
		}
	}
	if s.i < len(s.data) && (s.data[s.i] == 'e' || s.data[s.i] == 'E') {
		s.i++
		if s.i < len(s.data) && (s.data[s.i] == '+' || s.data[s.i] == '-') {
			s.i++
		}
		if !digits() {
			return s.syntax("a broken number")
		}
	}
	return nil
}
