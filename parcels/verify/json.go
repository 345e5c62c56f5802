package verify

// A strict reader of JSON text into a plain tree: no member twice, nothing
// after the end, no nesting beyond 64, no number beyond float64, valid UTF-8.

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
)

type kind uint8

const (
	null kind = iota
	boolean
	number
	text
	list
	object
)

func (k kind) String() string {
	return [...]string{"null", "boolean", "number", "text", "array", "object"}[k]
}

// val is one JSON value.
type val struct {
	k  kind
	n  float64 // number; 1 for true
	s  string
	a  []val
	ms []member
}

type member struct {
	key string
	v   val
}

// get gives the member of an object, or a null.
func (v val) get(key string) val { return *v.in(key, "") }

var nothing val

// in is the member of an object whose name is key and after it ending, or a null.
// Nobody writes to it.
func (v *val) in(key, ending string) *val {
	for i := range v.ms {
		if k := v.ms[i].key; len(k) == len(key)+len(ending) && k[:len(key)] == key && k[len(key):] == ending {
			return &v.ms[i].v
		}
	}
	return &nothing
}

// is says that v and w are one value in memory, or both nothing.
func (v val) is(w val) bool {
	if v.k == null || w.k == null {
		return v.k == w.k
	}
	return v.k == object && w.k == object && len(v.ms) > 0 && len(v.ms) == len(w.ms) && &v.ms[0] == &w.ms[0]
}

func (v val) has(key string) bool {
	for i := range v.ms {
		if v.ms[i].key == key {
			return true
		}
	}
	return false
}

// str gives a text as it stands, a number as its shortest decimal.
func (v val) str() string {
	switch v.k {
	case text:
		return v.s
	case number:
		return strconv.FormatFloat(v.n, 'f', -1, 64)
	}
	return ""
}

const mostDepth = 64

type reader struct {
	in string
	at int
	// values and members still open, so that each list is made once, at its size
	vs []val
	ms []member
	// for lists that are closed
	vroom room[val]
	mroom room[member]
	// parts, where not nil, takes down the objects two levels down, a site's layers
	// among them; those whose text stands in one of before are not read again.
	parts  parts
	before []parts
}

// parts are objects of a document with their text, by name.
type parts map[string]part

type part struct {
	text string
	v    val // nobody writes to it
}

func readJSON(b []byte) (val, error) { return new(reader).document(b) }

// readers are those whose document nobody needs any more, for their memory.
var readers = sync.Pool{New: func() any { return new(reader) }}

// forget gives the memory of a document back: nothing read of it may be used after.
func (r *reader) forget() {
	r.in, r.at, r.parts, r.before = "", 0, nil, nil
	clear(r.vs[:cap(r.vs)])
	clear(r.ms[:cap(r.ms)])
	r.vs, r.ms = r.vs[:0], r.ms[:0]
	r.vroom.empty()
	r.mroom.empty()
	readers.Put(r)
}

// room is memory for many short lists, in pieces.
type room[T any] struct {
	left   []T // of the last piece in use
	pieces [][]T
	used   int // of the pieces
}

// pieceOf is the length of a piece; a list of more than a quarter of it has its own memory.
const pieceOf = 128

// own is a copy of some.
func (r *room[T]) own(some []T) []T {
	n := len(some)
	if n > pieceOf/4 {
		return append([]T(nil), some...)
	}
	if len(r.left) < n {
		if r.used == len(r.pieces) {
			r.pieces = append(r.pieces, make([]T, pieceOf))
		}
		r.left = r.pieces[r.used]
		r.used++
	}
	out := r.left[:n:n]
	r.left = r.left[n:]
	copy(out, some)
	return out
}

func (r *room[T]) empty() {
	for _, p := range r.pieces[:r.used] {
		clear(p)
	}
	r.left, r.used = nil, 0
}

func (r *reader) document(b []byte) (val, error) {
	s := string(b)
	s = strings.TrimPrefix(s, "\ufeff")
	if !utf8.ValidString(s) {
		return val{}, fmt.Errorf("not UTF-8")
	}
	r.in = s
	v, err := r.value(0)
	if err != nil {
		return val{}, err
	}
	r.space()
	if r.at != len(s) {
		return val{}, r.fault("more text after the end of the document")
	}
	return v, nil
}

func (r *reader) fault(what string) error { return fmt.Errorf("byte %d: %s", r.at, what) }

func (r *reader) space() {
	for r.at < len(r.in) {
		switch r.in[r.at] {
		case ' ', '\t', '\n', '\r':
			r.at++
		default:
			return
		}
	}
}

func (r *reader) value(depth int) (val, error) {
	if depth > mostDepth {
		return val{}, r.fault("nested deeper than 64")
	}
	r.space()
	if r.at >= len(r.in) {
		return val{}, r.fault("text ends early")
	}
	switch c := r.in[r.at]; {
	case c == '{':
		return r.object(depth)
	case c == '[':
		return r.list(depth)
	case c == '"':
		s, err := r.text()
		return val{k: text, s: s}, err
	case c == '-' || c >= '0' && c <= '9':
		return r.number()
	}
	for _, w := range [...]struct {
		word string
		v    val
	}{{"null", val{}}, {"true", val{k: boolean, n: 1}}, {"false", val{k: boolean}}} {
		if strings.HasPrefix(r.in[r.at:], w.word) {
			r.at += len(w.word)
			return w.v, nil
		}
	}
	return val{}, r.fault("no JSON value")
}

func (r *reader) object(depth int) (val, error) {
	first := len(r.ms)
	r.at++
	for {
		r.space()
		if r.at >= len(r.in) {
			return val{}, r.fault("object not closed")
		}
		if r.in[r.at] == '}' && len(r.ms) == first {
			r.at++
			return val{k: object}, nil
		}
		if r.in[r.at] != '"' {
			return val{}, r.fault("a member's name is missing")
		}
		key, err := r.text()
		if err != nil {
			return val{}, err
		}
		r.space()
		if r.at >= len(r.in) || r.in[r.at] != ':' {
			return val{}, r.fault("colon missing")
		}
		r.at++
		read := r.value
		if depth == 1 && r.parts != nil {
			read = func(depth int) (val, error) { return r.part(key, depth) }
		}
		w, err := read(depth + 1)
		if err != nil {
			return w, err
		}
		r.ms = append(r.ms, member{key, w})
		r.space()
		if r.at >= len(r.in) {
			return val{}, r.fault("object not closed")
		}
		c := r.in[r.at]
		r.at++
		if c == '}' {
			break
		}
		if c != ',' {
			r.at--
			return val{}, r.fault("comma missing")
		}
	}
	v := val{k: object, ms: r.mroom.own(r.ms[first:])}
	r.ms = r.ms[:first]
	if key, twice := repeated(v.ms); twice {
		return v, r.fault("member " + strconv.Quote(key) + " twice")
	}
	return v, nil
}

// part reads a value that may be one of parts.
func (r *reader) part(name string, depth int) (val, error) {
	r.space()
	for _, ps := range r.before {
		// an object ends at its own brace, so a text that begins with it holds it whole
		if p, ok := ps[name]; ok && strings.HasPrefix(r.in[r.at:], p.text) {
			r.at += len(p.text)
			r.parts[name] = p
			return p.v, nil
		}
	}
	from := r.at
	v, err := r.value(depth)
	if err == nil && v.k == object {
		r.parts[name] = part{r.in[from:r.at], v}
	}
	return v, err
}

// repeated finds a name that two members bear.
func repeated(ms []member) (string, bool) {
	if len(ms) > 32 {
		seen := make(map[string]bool, len(ms))
		for _, m := range ms {
			if seen[m.key] {
				return m.key, true
			}
			seen[m.key] = true
		}
		return "", false
	}
	for i := range ms {
		for k := range ms[:i] {
			if ms[k].key == ms[i].key {
				return ms[i].key, true
			}
		}
	}
	return "", false
}

func (r *reader) list(depth int) (val, error) {
	r.at++
	r.space()
	if r.at < len(r.in) && r.in[r.at] == ']' {
		r.at++
		return val{k: list}, nil
	}
	first := len(r.vs)
	for {
		w, err := r.value(depth + 1)
		if err != nil {
			return w, err
		}
		r.vs = append(r.vs, w)
		r.space()
		if r.at >= len(r.in) {
			return val{}, r.fault("array not closed")
		}
		c := r.in[r.at]
		r.at++
		if c == ']' {
			v := val{k: list, a: r.vroom.own(r.vs[first:])}
			r.vs = r.vs[:first]
			return v, nil
		}
		if c != ',' {
			r.at--
			return val{}, r.fault("comma missing")
		}
	}
}

// exactDigits is how many decimal digits float64 holds exactly, and tens the powers
// of ten that it does. A number of no more digits and decimals is its digits divided
// by a power of ten: one operation, which IEEE 754 rounds rightly.
const exactDigits = 15

var tens = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

func (r *reader) number() (val, error) {
	i := r.at
	j := i
	all, decimals, whole := uint64(0), 0, true
	digits := func() int {
		n := 0
		for j < len(r.in) && r.in[j] >= '0' && r.in[j] <= '9' {
			all = all*10 + uint64(r.in[j]-'0')
			j++
			n++
		}
		return n
	}
	minus := r.in[j] == '-'
	if minus {
		j++
	}
	lead := j
	count := digits()
	if count == 0 || count > 1 && r.in[lead] == '0' {
		return val{}, r.fault("not a number of JSON")
	}
	if j < len(r.in) && r.in[j] == '.' {
		j++
		if decimals = digits(); decimals == 0 {
			return val{}, r.fault("not a number of JSON")
		}
	}
	if j < len(r.in) && (r.in[j] == 'e' || r.in[j] == 'E') {
		whole = false
		j++
		if j < len(r.in) && (r.in[j] == '+' || r.in[j] == '-') {
			j++
		}
		if digits() == 0 {
			return val{}, r.fault("not a number of JSON")
		}
	}
	if whole && count+decimals <= exactDigits {
		f := float64(all) / tens[decimals]
		if minus {
			f = -f
		}
		r.at = j
		return val{k: number, n: f}, nil
	}
	f, err := strconv.ParseFloat(r.in[i:j], 64)
	if err != nil || math.IsInf(f, 0) {
		return val{}, r.fault("number out of range")
	}
	r.at = j
	return val{k: number, n: f}, nil
}

func (r *reader) text() (string, error) {
	r.at++
	i := r.at
	for r.at < len(r.in) {
		switch c := r.in[r.at]; {
		case c == '"':
			s := r.in[i:r.at]
			r.at++
			return s, nil
		case c == '\\':
			return r.escaped(i)
		case c < 0x20:
			return "", r.fault("control character in a text")
		}
		r.at++
	}
	return "", r.fault("text not closed")
}

// escaped goes on with a text that holds an escape; it began at byte i.
func (r *reader) escaped(i int) (string, error) {
	var b strings.Builder
	b.WriteString(r.in[i:r.at])
	for r.at < len(r.in) {
		c := r.in[r.at]
		switch {
		case c == '"':
			r.at++
			return b.String(), nil
		case c < 0x20:
			return "", r.fault("control character in a text")
		case c != '\\':
			b.WriteByte(c)
			r.at++
			continue
		}
		if r.at+1 >= len(r.in) {
			break
		}
		e := r.in[r.at+1]
		r.at += 2
		switch e {
		case '"', '\\', '/':
			b.WriteByte(e)
		case 'b':
			b.WriteByte('\b')
		case 'f':
			b.WriteByte('\f')
		case 'n':
			b.WriteByte('\n')
		case 'r':
			b.WriteByte('\r')
		case 't':
			b.WriteByte('\t')
		case 'u':
			u, ok := r.hex()
			if !ok {
				return "", r.fault("bad escape")
			}
			if u >= 0xd800 && u < 0xdc00 && strings.HasPrefix(r.in[r.at:], `\u`) {
				r.at += 2
				lo, ok := r.hex()
				if !ok || lo < 0xdc00 || lo > 0xdfff {
					return "", r.fault("bad surrogate pair")
				}
				u = 0x10000 + (u-0xd800)<<10 + (lo - 0xdc00)
			} else if u >= 0xd800 && u < 0xe000 {
				return "", r.fault("lone surrogate")
			}
			b.WriteRune(u)
		default:
			return "", r.fault("bad escape")
		}
	}
	return "", r.fault("text not closed")
}

func (r *reader) hex() (rune, bool) {
	if r.at+4 > len(r.in) {
		return 0, false
	}
	u, err := strconv.ParseUint(r.in[r.at:r.at+4], 16, 32)
	if err != nil {
		return 0, false
	}
	r.at += 4
	return rune(u), true
}
