package memory

import (
	"fmt"
	"strings"
	"testing"
)

// A text is told by what it begins with, under its own name; those used last stay.
func TestHandTexts(t *testing.T) {
	m := New(64 << 10) // so 1 KiB a name
	a := m.Looked("spots", []byte(`{"a":1}`), 1)
	if got := m.Begins("spots", []byte(`{"a":1}, "more": 2`)); got != a || got.Depth != 1 {
		t.Errorf("%v", got)
	}
	for _, other := range []string{`{"a":1`, `{"a":2}`, ``} {
		if got := m.Begins("spots", []byte(other)); got != nil {
			t.Errorf("%s begins with %s", other, got.Bytes)
		}
	}
	if m.Begins("intakes", []byte(`{"a":1}`)) != nil {
		t.Error("another name has it")
	}
	text := []byte(strings.Repeat("x", 10))
	k := m.Looked("copied", text, 0)
	if text[0] = 'y'; k.Bytes[0] != 'x' {
		t.Error("it is the caller's own text")
	}
	for i := range 100 {
		if i%10 == 0 {
			m.Begins("spots", []byte(`{"a":1}`))
		}
		m.Looked("spots", fmt.Appendf(nil, "%03d", i), 0)
	}
	if m.Begins("spots", []byte(`{"a":1}`)) != a {
		t.Error("what is used is forgotten")
	}
	if m.Begins("spots", []byte("000")) != nil || m.Begins("spots", []byte("099")) == nil {
		t.Error("not the oldest is forgotten")
	}
	long := []byte(strings.Repeat("z", 600))
	m.Looked("spots", long, 0)
	long[0] = 'w'
	m.Looked("spots", long, 0)
	held := 0
	for _, x := range m.texts["spots"] {
		held += len(x.Bytes)
	}
	if held > 1024 || m.Looked("spots", make([]byte, 2000), 0) != nil {
		t.Errorf("%d bytes held", held)
	}
	var none *Memory
	if none.Looked("a", text, 0) != nil || none.Begins("a", text) != nil {
		t.Error("a nil Memory holds something")
	}
}
