package memory

import (
	"errors"
	"fmt"
	"sync"
	"testing"
)

func key(n int) func() Key { return func() Key { return NewHash("test").Count(n).Key() } }

// Within its bytes a Memory works nothing out twice; past them it forgets what
// was asked for longest ago.
func TestHandMemory(t *testing.T) {
	m := New(10 * (256 + 1000))
	worked := 0
	get := func(n int) int {
		v, err := Of(m, key(n), func() (int, int64, error) { worked++; return n * n, 1000, nil })
		if err != nil || v != n*n {
			t.Fatalf("%d: %d %v", n, v, err)
		}
		return v
	}
	for range 3 {
		for n := range 10 {
			get(n)
		}
	}
	if worked != 10 {
		t.Errorf("worked %d times, 10 results", worked)
	}
	get(0) // is now the one used last
	get(10)
	get(0)
	if worked != 11 {
		t.Errorf("worked %d times, 11 results", worked)
	}
	get(1) // pushed out by 10
	if worked != 12 {
		t.Errorf("1 was to be forgotten: worked %d times", worked)
	}
	if held, _, _ := m.Held(); held > 10*(256+1000) {
		t.Errorf("%d bytes held", held)
	}
}

// What is too large for the rest, an error, and a nil Memory are not kept.
func TestHandNotKept(t *testing.T) {
	m := New(10000)
	for range 2 {
		if _, err := Of(m, key(1), func() (int, int64, error) { return 1, 9000, nil }); err != nil {
			t.Fatal(err)
		}
		if _, err := Of(m, key(2), func() (int, int64, error) { return 0, 1, errors.New("no") }); err == nil {
			t.Fatal("an error was lost")
		}
	}
	if held, hits, _ := m.Held(); held != 0 || hits != 0 {
		t.Errorf("%d bytes held, %d hits", held, hits)
	}
	var none *Memory
	if v, err := Of(none, nil, func() (int, int64, error) { return 7, 1, nil }); v != 7 || err != nil {
		t.Errorf("%d %v", v, err)
	}
}

// Different input has different keys, where a careless hash would not tell.
func TestPropertyKeys(t *testing.T) {
	seen := map[Key]string{}
	for name, k := range map[string]Key{
		"ab, c":     NewHash("k").Text("ab").Text("c").Key(),
		"a, bc":     NewHash("k").Text("a").Text("bc").Key(),
		"abc":       NewHash("k").Text("abc").Key(),
		"kind":      NewHash("kabc").Key(),
		"0":         NewHash("k").Number(0).Key(),
		"-0":        NewHash("k").Number(1 / -inf()).Key(),
		"0, 0":      NewHash("k").Number(0, 0).Key(),
		"count":     NewHash("k").Count(1).Key(),
		"no kind":   NewHash("").Key(),
		"many":      many(1000).Key(),
		"many more": many(1001).Key(),
	} {
		if other, ok := seen[k]; ok {
			t.Errorf("%s and %s have one key", name, other)
		}
		seen[k] = name
	}
	if many(500).Key() != many(500).Key() {
		t.Error("one input, two keys")
	}
}

func inf() float64 { v := 1e308; return v * 10 }

func many(n int) *Hash {
	h := NewHash("many")
	for i := range n {
		h.Number(float64(i)).Text(fmt.Sprint(i))
	}
	return h
}

// A value's key changes with anything in it, and with nothing else.
func TestPropertyValueKeys(t *testing.T) {
	type inner struct {
		n *float64
		m map[string][]byte
	}
	type outer struct {
		Name string
		in   []inner
		any  any
	}
	num := func(v float64) *float64 { return &v }
	make := func() outer {
		return outer{"a", []inner{{num(1), map[string][]byte{"x": []byte("1"), "y": []byte("2"), "z": nil}}, {nil, nil}}, [2]float64{3, 4}}
	}
	was := NewHash("k").Value(make()).Key()
	for range 20 { // maps come in any order
		if NewHash("k").Value(make()).Key() != was {
			t.Fatal("one value, two keys")
		}
	}
	for name, change := range map[string]func(o *outer){
		"name": func(o *outer) { o.Name = "b" }, "number": func(o *outer) { *o.in[0].n = 2 }, "no number": func(o *outer) { o.in[0].n = nil },
		"bytes": func(o *outer) { o.in[0].m["x"] = []byte("2") }, "member": func(o *outer) { delete(o.in[0].m, "z") }, "renamed": func(o *outer) { o.in[0].m["w"] = nil; delete(o.in[0].m, "z") },
		"length": func(o *outer) { o.in = o.in[:1] }, "order": func(o *outer) { o.in[0], o.in[1] = o.in[1], o.in[0] }, "any": func(o *outer) { o.any = nil }, "type": func(o *outer) { o.any = [2]float32{3, 4} },
	} {
		o := make()
		change(&o)
		if NewHash("k").Value(o).Key() == was {
			t.Errorf("%s: changed, and one key", name)
		}
	}
}

// Many at once get right values (go test -race).
func TestPropertyTogether(t *testing.T) {
	m := New(20 * 1256)
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range 2000 {
				n := (i*7 + g) % 40
				if v, err := Of(m, key(n), func() ([]int, int64, error) { return []int{n, n + 1}, 1000, nil }); err != nil || v[0] != n || v[1] != n+1 {
					t.Errorf("%d: %v %v", n, v, err)
				}
			}
		})
	}
	wg.Wait()
	if held, hits, misses := m.Held(); held > 20*1256 || hits == 0 || misses < 40 {
		t.Errorf("%d bytes, %d hits, %d misses", held, hits, misses)
	}
}
