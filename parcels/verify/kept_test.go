package verify

// What is taken from documents read before is what reading again would give.

import (
	"fmt"
	"reflect"
	"testing"
)

// TestPropertyPartsChangeNothing changes a document at each of its bytes, and reads
// it with and without what was read of the unchanged one.
func TestPropertyPartsChangeNothing(t *testing.T) {
	const doc = `{"site":"a","layers":{"spots":{"features":[{"p":[1,2.5,-3e1]},{}]}, "lots" : {"n":"\u00e9","a":{"b":[[[]]]}},"x":{},"y":null,"z":[{}]},"rain":{"curve":{"a":1}}}`
	first := &reader{parts: parts{}}
	if _, err := first.document([]byte(doc)); err != nil {
		t.Fatal(err)
	}
	if len(first.parts) != 4 {
		t.Fatalf("%d parts taken down, 4 objects stand in objects of the document", len(first.parts))
	}
	try := func(text []byte) {
		t.Helper()
		want, bad := readJSON(text)
		r := &reader{parts: parts{}, before: []parts{first.parts}}
		got, err := r.document(text)
		if fmt.Sprint(err) != fmt.Sprint(bad) {
			t.Fatalf("%s: %v, read anew %v", text, err, bad)
		}
		if bad == nil && !reflect.DeepEqual(got, want) {
			t.Fatalf("%s: %v, read anew %v", text, got, want)
		}
	}
	try([]byte(doc))
	for i := range doc {
		for _, c := range []byte(`{}[],:"0 n\`) {
			try([]byte(doc[:i] + string(c) + doc[i+1:]))
			try([]byte(doc[:i] + string(c) + doc[i:]))
		}
		try([]byte(doc[:i]))
		try([]byte(doc[:i] + doc[i+1:]))
	}
}
