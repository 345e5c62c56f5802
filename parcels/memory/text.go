package memory

// Pieces of text that were looked at before, told again by their bytes: a
// document that is worked on differs little from the one before it.

import (
	"bytes"
	"crypto/sha256"
)

// Text is a piece of text with what was found out about it. Nobody may write to it.
type Text struct {
	Bytes []byte
	Key   Key // of Bytes alone
	Depth int // levels of JSON that it nests
}

// mostTexts is how many pieces of one name are held, those used last.
const mostTexts = 32

// Begins gives the piece of a name with which text begins; nil where none does.
func (m *Memory) Begins(name string, text []byte) *Text {
	for i, t := range m.Texts(name) {
		if bytes.HasPrefix(text, t.Bytes) {
			if i > 0 {
				m.first(name, t)
			}
			return t
		}
	}
	return nil
}

// Texts are the pieces held under a name, those used last in front. Nobody may
// write to them.
func (m *Memory) Texts(name string) []*Text {
	if m == nil {
		return nil
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.texts[name]
}

// Looked keeps a copy of a piece of text under a name and gives it.
func (m *Memory) Looked(name string, text []byte, depth int) *Text {
	if m == nil || int64(len(text)) > m.most/64 {
		return nil
	}
	t := &Text{Bytes: bytes.Clone(text), Key: sha256.Sum256(text), Depth: depth}
	m.first(name, t)
	return t
}

// first puts a piece before all others of its name, and lets go of the last where
// they are too many or, together, too long.
func (m *Memory) first(name string, t *Text) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.texts == nil {
		m.texts = map[string][]*Text{}
	}
	out, long := []*Text{t}, int64(len(t.Bytes))
	for _, o := range m.texts[name] {
		if o.Key == t.Key {
			continue
		}
		if long += int64(len(o.Bytes)); len(out) == mostTexts || long > m.most/64 {
			break
		}
		out = append(out, o)
	}
	m.texts[name] = out // never written to once it stands there
}
