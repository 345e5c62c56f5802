package document

// Cutting scanned JSON into members and elements without decoding it. Every
// function here takes text that Scan has passed.

import (
	"bytes"
	"encoding/json"
	"strconv"
	"strings"
)

type member struct {
	key string
	raw []byte
}

func kindOf(raw []byte) string {
	if len(raw) == 0 {
		return "nothing"
	}
	switch c := raw[0]; {
	case c == '{':
		return "object"
	case c == '[':
		return "array"
	case c == '"':
		return "text"
	case c == 't' || c == 'f':
		return "true or false"
	case c == 'n':
		return "null"
	}
	return "number"
}

func isNull(raw []byte) bool { return len(raw) == 0 || raw[0] == 'n' }

// Bytes at which skip has something to do: in an object or array, and at the end
// of a plain value.
var bracket, ending = [256]bool{'{': true, '[': true, '}': true, ']': true, '"': true},
	[256]bool{',': true, ']': true, '}': true, ' ': true, '\t': true, '\r': true, '\n': true}

// skip returns the index just after the value that starts at i.
func skip(b []byte, i int) int {
	switch b[i] {
	case '{', '[':
		depth := 0
		for ; i < len(b); i++ {
			c := b[i]
			if !bracket[c] {
				continue
			}
			switch c {
			case '{', '[':
				depth++
			case '"':
				i = skip(b, i) - 1
			default:
				if depth--; depth == 0 {
					return i + 1
				}
			}
		}
		return i
	case '"':
		for i++; i < len(b); i++ {
			n := bytes.IndexByte(b[i:], '"')
			if n < 0 {
				return len(b)
			}
			escaped := false
			for k := i + n - 1; k >= i && b[k] == '\\'; k-- {
				escaped = !escaped
			}
			if i += n; !escaped {
				return i + 1
			}
		}
		return i
	}
	for i < len(b) && !ending[b[i]] {
		i++
	}
	return i
}

func blank(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\t' || b[i] == '\n' || b[i] == '\r') {
		i++
	}
	return i
}

// members cuts an object.
func members(raw []byte) []member {
	out := make([]member, 0, 8)
	Members(raw, func(key string, text []byte, _ int) { out = append(out, member{key, text}) })
	return out
}

// Members calls f with the key of each member of a JSON object, its text, and
// where in the object that starts. The object must have passed Scan.
func Members(object []byte, f func(key string, text []byte, at int)) { cutUp(object, skip, f) }

// cutUp is Members; end gives the index just after the value that starts at i.
func cutUp(object []byte, end func(b []byte, i int) int, f func(key string, text []byte, at int)) {
	i := blank(object, 1)
	for i < len(object) && object[i] != '}' {
		j := skip(object, i)
		key := name(object[i:j])
		i = blank(object, j)
		i = blank(object, i+1) // the colon
		j = end(object, i)
		f(key, object[i:j], i)
		i = blank(object, j)
		if i < len(object) && object[i] == ',' {
			i = blank(object, i+1)
		}
	}
}

// each calls f with every element of an array until f says stop.
func each(raw []byte, f func(i int, raw []byte) bool) int {
	i, n := blank(raw, 1), 0
	for i < len(raw) && raw[i] != ']' {
		j := skip(raw, i)
		if !f(n, raw[i:j]) {
			return n
		}
		n++
		i = blank(raw, j)
		if i < len(raw) && raw[i] == ',' {
			i = blank(raw, i+1)
		}
	}
	return n
}

// name is unquote for the name of a member; those that stand in every feature are not
// made anew.
func name(raw []byte) string {
	switch string(raw) {
	case `"type"`:
		return "type"
	case `"id"`:
		return "id"
	case `"geometry"`:
		return "geometry"
	case `"coordinates"`:
		return "coordinates"
	case `"properties"`:
		return "properties"
	}
	return unquote(raw)
}

func unquote(raw []byte) string {
	if bytes.IndexByte(raw, '\\') < 0 {
		return string(raw[1 : len(raw)-1])
	}
	var s string
	if json.Unmarshal(raw, &s) != nil {
		return string(raw)
	}
	return s
}

// number parses a JSON number; ok is false where it is none or overflows.
func number(raw []byte) (v float64, ok, isNumber bool) {
	if kindOf(raw) != "number" {
		return 0, false, false
	}
	v, err := strconv.ParseFloat(string(raw), 64)
	return v, err == nil, true
}

// escapePointer escapes one token of a JSON Pointer (RFC 6901).
func escapePointer(s string) string {
	return strings.ReplaceAll(strings.ReplaceAll(s, "~", "~0"), "/", "~1")
}
