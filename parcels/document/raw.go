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

// skip returns the index just after the value that starts at i.
func skip(b []byte, i int) int {
	switch b[i] {
	case '{', '[':
		depth := 0
		for ; i < len(b); i++ {
			switch b[i] {
			case '{', '[':
				depth++
			case '}', ']':
				depth--
				if depth == 0 {
					return i + 1
				}
			case '"':
				i = skip(b, i) - 1
			}
		}
		return i
	case '"':
		for i++; i < len(b); i++ {
			if b[i] == '\\' {
				i++
			} else if b[i] == '"' {
				return i + 1
			}
		}
		return i
	}
	for i < len(b) && !bytes.ContainsRune([]byte(",]} \t\r\n"), rune(b[i])) {
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
	var out []member
	i := blank(raw, 1)
	for i < len(raw) && raw[i] != '}' {
		j := skip(raw, i)
		key := unquote(raw[i:j])
		i = blank(raw, j)
		i = blank(raw, i+1) // the colon
		j = skip(raw, i)
		out = append(out, member{key, raw[i:j]})
		i = blank(raw, j)
		if i < len(raw) && raw[i] == ',' {
			i = blank(raw, i+1)
		}
	}
	return out
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
