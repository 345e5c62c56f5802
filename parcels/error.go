package parcels

// Kinds of error and the places of faults. Package api maps each kind to a
// status, cmd maps it to an exit code; nothing else does.

import (
	"fmt"
	"strings"
)

// Kind says what went wrong, closed list.
type Kind string

const (
	// Unreadable: the text or container cannot be parsed.
	Unreadable Kind = "unreadable"
	// Invalid: readable, but wrong.
	Invalid Kind = "invalid"
	// TooLarge: over a stated limit.
	TooLarge Kind = "too_large"
	// NotFound: a named thing does not exist.
	NotFound Kind = "not_found"
	// Conflict: with what is stored already.
	Conflict Kind = "conflict"
	// Busy: a lock, a queue or a rate limit; try again.
	Busy Kind = "busy"
	// NoSpace: disk or quota.
	NoSpace Kind = "no_space"
	// Unsupported: a media type, format or option that is not taken.
	Unsupported Kind = "unsupported"
	// Failed: our own machinery, or a plan that failed verification.
	Failed Kind = "failed"
)

// Fault is one fault of an input, with its place. Numbers are 0-based; a
// member that does not apply is nil or empty. Slug is one of the closed list
// in the API document (ring-not-closed, self-intersection, ...).
type Fault struct {
	Slug    string      `json:"slug"`
	Layer   string      `json:"layer,omitempty"`
	Feature *int        `json:"feature,omitempty"`
	ID      any         `json:"id,omitempty"`
	First   *int        `json:"first,omitempty"`
	Ring    *int        `json:"ring,omitempty"`
	Vertex  *int        `json:"vertex,omitempty"`
	Pointer string      `json:"pointer"`
	At      *[2]float64 `json:"at,omitempty"`
	Offset  *int64      `json:"offset,omitempty"`
	Line    *int        `json:"line,omitempty"`
	Column  *int        `json:"column,omitempty"`
	Member  string      `json:"member,omitempty"`
	Entry   string      `json:"entry,omitempty"`
	Table   string      `json:"table,omitempty"`
	FID     *int64      `json:"fid,omitempty"`
	Object  string      `json:"object,omitempty"`
	Tag     string      `json:"tag,omitempty"`
	Size    []int64     `json:"size,omitempty"`
	Limit   any         `json:"limit,omitempty"`
	Actual  any         `json:"actual,omitempty"`
	// Detail is one plain sentence: what, where, and what to do.
	Detail string `json:"detail"`
}

// InputError reports every fault of an input. File is the name the user gave,
// empty for a request body.
type InputError struct {
	Kind   Kind
	File   string
	Faults []Fault
}

func (e *InputError) Error() string {
	lines := make([]string, 0, len(e.Faults))
	for _, f := range e.Faults {
		s := f.Detail
		if e.File != "" {
			s = e.File + ": " + s
		}
		lines = append(lines, s)
	}
	return strings.Join(lines, "\n")
}

// Error is any other error that crosses a room border: what was being done, to
// what, and why it failed.
type Error struct {
	Kind    Kind
	Op      string // "store: import"
	Subject string // the site, layer, job
	Err     error
}

func (e *Error) Error() string {
	s := e.Op
	if e.Subject != "" {
		s += " " + e.Subject
	}
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

func (e *Error) Unwrap() error { return e.Err }

// Excerpt cuts input text for an answer or a log: at most 80 runes, control
// characters and text-direction marks escaped.
func Excerpt(s string) string {
	var b strings.Builder
	n := 0
	for _, r := range s {
		if n == 80 {
			b.WriteString("…")
			break
		}
		n++
		if r < 0x20 || r == 0x7f || (r >= 0x80 && r < 0xa0) || (r >= 0x200e && r <= 0x200f) || (r >= 0x202a && r <= 0x202e) || (r >= 0x2066 && r <= 0x2069) {
			fmt.Fprintf(&b, "\\u%04x", r)
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}
