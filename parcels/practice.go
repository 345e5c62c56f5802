package parcels

// The notes of PRACTICE.md by their numbers, for papers that cite a rule in full.

import (
	_ "embed"
	"strings"
	"sync"
)

//go:embed PRACTICE.md
var practice string

// A Fact is one trade fact with its source.
type Fact struct{ Text, Source string }

var notes = sync.OnceValue(func() map[string]Fact {
	out := map[string]Fact{}
	for _, l := range strings.Split(practice, "\n") {
		cells := strings.Split(l, " | ")
		if !strings.HasPrefix(l, "| P-") || len(cells) < 3 {
			continue
		}
		out[strings.TrimPrefix(cells[0], "| ")] = Fact{strings.TrimSpace(cells[1]), strings.TrimSpace(cells[2])}
	}
	return out
})

// PracticeNote gives the note that a finding cites as P-n; ok is false for a
// number that is not listed.
func PracticeNote(id string) (f Fact, ok bool) {
	f, ok = notes()[id]
	return f, ok
}
