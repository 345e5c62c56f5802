package source

import (
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
	"testing"
)

// Every key constant has exactly one entry, and every entry says where it is
// from and how it is known.
func TestPropertyTableIsComplete(t *testing.T) {
	f, err := parser.ParseFile(token.NewFileSet(), "source.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	keys := map[string]bool{}
	for _, d := range f.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		for _, s := range g.Specs {
			v := s.(*ast.ValueSpec)
			if v.Type != nil {
				continue // a Provenance
			}
			k, _ := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if keys[k] {
				t.Errorf("key %s is used twice", k)
			}
			keys[k] = true
		}
	}
	seen := map[string]bool{}
	for _, s := range All() {
		if seen[s.Key] {
			t.Errorf("%s is listed twice", s.Key)
		}
		seen[s.Key] = true
		if !keys[s.Key] {
			t.Errorf("%s is listed without a key constant", s.Key)
		}
		switch s.Provenance {
		case Read, Partly, Memory, Derived:
		default:
			t.Errorf("%s: provenance %q", s.Key, s.Provenance)
		}
		if s.Document == "" {
			t.Errorf("%s has no document", s.Key)
		}
	}
	for k := range keys {
		if !seen[k] {
			t.Errorf("%s has no entry", k)
		}
	}
	if _, ok := Lookup("no such document"); ok {
		t.Error("an unknown key was found")
	}
}
