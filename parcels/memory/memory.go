// Package memory keeps results that follow from their input alone, by the
// content of that input, within a stated number of bytes: what a request asks
// for that an earlier one asked, in the same words, is not worked out again. What
// is kept is shared by all who ask, so nobody may write to it. An answer with a
// Memory is the same, byte for byte, as without.
//
// The room may import the standard library only.
package memory

import (
	"bytes"
	"container/list"
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"math"
	"reflect"
	"slices"
	"sync"
)

// Key names a result: the SHA-256 of what it is and of all it follows from.
type Key [sha256.Size]byte

// Hash gathers what a result follows from. The order counts.
type Hash struct {
	h   hash.Hash
	buf []byte
}

// NewHash begins the key of a result of a kind, which tells results of different
// functions over the same input apart.
func NewHash(kind string) *Hash {
	h := &Hash{h: sha256.New(), buf: make([]byte, 0, 1024)}
	return h.Text(kind)
}

func (h *Hash) room(n int) {
	if len(h.buf)+n > cap(h.buf) {
		h.h.Write(h.buf)
		h.buf = h.buf[:0]
	}
}

// Number adds numbers, by their bits.
func (h *Hash) Number(vs ...float64) *Hash {
	for _, v := range vs {
		h.room(8)
		h.buf = binary.LittleEndian.AppendUint64(h.buf, math.Float64bits(v))
	}
	return h
}

// Count adds a whole number: the length of what follows, a place, a flag.
func (h *Hash) Count(n int) *Hash {
	h.room(8)
	h.buf = binary.LittleEndian.AppendUint64(h.buf, uint64(n))
	return h
}

// Text adds text with its length.
func (h *Hash) Text(s string) *Hash {
	if len(s) > shortText {
		return h.Bytes([]byte(s))
	}
	h.Count(len(s)).room(len(s))
	h.buf = append(h.buf, s...)
	return h
}

// shortText is up to how many bytes of text are gathered with what stands round them.
const shortText = 256

// Bytes adds bytes with their length.
func (h *Hash) Bytes(b []byte) *Hash {
	h.Count(len(b))
	h.h.Write(h.buf)
	h.buf = h.buf[:0]
	h.h.Write(b)
	return h
}

// Value adds a value with all that it holds and points to, unexported fields too:
// none can be forgotten. Functions, channels and interfaces of them are a slip of
// the programmer and panic.
func (h *Hash) Value(v any) *Hash {
	h.value(reflect.ValueOf(v))
	return h
}

func (h *Hash) value(v reflect.Value) {
	switch v.Kind() {
	case reflect.Invalid:
		h.Count(-1)
	case reflect.Bool:
		if v.Bool() {
			h.Count(1)
		} else {
			h.Count(0)
		}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		h.Count(int(v.Int()))
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		h.Count(int(v.Uint()))
	case reflect.Float32, reflect.Float64:
		h.Number(v.Float())
	case reflect.String:
		h.Text(v.String())
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			h.Count(-1)
			return
		}
		h.Count(1)
		if v.Kind() == reflect.Interface {
			h.Text(v.Elem().Type().String())
		}
		h.value(v.Elem())
	case reflect.Slice, reflect.Array:
		n := v.Len()
		h.Count(n)
		if v.Kind() == reflect.Slice && v.Type().Elem().Kind() == reflect.Uint8 {
			h.Bytes(v.Bytes())
			return
		}
		for i := range n {
			h.value(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			h.value(v.Field(i))
		}
	case reflect.Map:
		// in the order of the hashes of the keys
		type pair struct {
			k Key
			v reflect.Value
		}
		var all []pair
		for it := v.MapRange(); it.Next(); {
			one := NewHash("key")
			one.value(it.Key())
			all = append(all, pair{one.Key(), it.Value()})
		}
		slices.SortFunc(all, func(a, b pair) int { return bytes.Compare(a.k[:], b.k[:]) })
		h.Count(len(all))
		for _, p := range all {
			h.Bytes(p.k[:])
			h.value(p.v)
		}
	default:
		panic("memory: no key for a " + v.Kind().String())
	}
}

// Key is that of all that was added.
func (h *Hash) Key() (k Key) {
	h.h.Write(h.buf)
	h.buf = h.buf[:0]
	h.h.Sum(k[:0])
	return k
}

// Memory holds results up to a number of bytes, those used last. It may be used
// by several goroutines at once. A nil Memory keeps nothing.
type Memory struct {
	most int64

	mu    sync.Mutex
	held  int64
	rows  map[Key]*list.Element // of *row
	order *list.List            // used last in front
	texts map[string][]*Text    // by name, used last in front

	hits, misses int64
}

type row struct {
	key   Key
	value any
	bytes int64
}

// New makes a Memory of a number of bytes.
func New(most int64) *Memory {
	return &Memory{most: most, rows: map[Key]*list.Element{}, order: list.New()}
}

// Held is how many bytes the results in memory are reckoned to take; how often
// one was there and how often it was not.
func (m *Memory) Held() (bytes, hits, misses int64) {
	if m == nil {
		return 0, 0, 0
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.held, m.hits, m.misses
}

func (m *Memory) find(k Key) (any, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	e, ok := m.rows[k]
	if !ok {
		m.misses++
		return nil, false
	}
	m.hits++
	m.order.MoveToFront(e)
	return e.Value.(*row).value, true
}

func (m *Memory) put(k Key, v any, bytes int64) {
	const each = 256 // of the row itself
	bytes += each
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, ok := m.rows[k]; ok || bytes > m.most/4 {
		return // another was quicker; or it would push out all the rest
	}
	m.rows[k] = m.order.PushFront(&row{k, v, bytes})
	for m.held += bytes; m.held > m.most; {
		last := m.order.Back()
		r := last.Value.(*row)
		m.held -= r.bytes
		delete(m.rows, r.key)
		m.order.Remove(last)
	}
}

// Find gives the result of a key that is in memory.
func Find[T any](m *Memory, key Key) (v T, ok bool) {
	if m == nil {
		return v, false
	}
	if got, there := m.find(key); there {
		v, ok = got.(T)
	}
	return v, ok
}

// Of gives the result of a key: the one in memory, else the one that work makes,
// which is kept, bytes being about what it takes. An error is not kept. Two that
// ask at once may both work; their results are equal.
func Of[T any](m *Memory, k func() Key, work func() (v T, bytes int64, err error)) (T, error) {
	if m == nil {
		v, _, err := work()
		return v, err
	}
	key := k()
	if v, ok := Find[T](m, key); ok {
		return v, nil
	}
	v, bytes, err := work()
	if err == nil {
		m.put(key, v, bytes)
	}
	return v, err
}
