package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// The embedded files are what the generator writes, byte for byte.
func TestGoldenFilesAreGenerated(t *testing.T) {
	files, err := build()
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range files {
		have, err := os.ReadFile(filepath.Join("..", name))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(have, text) {
			t.Errorf("%s is not what the generator writes: run go generate ./sampledata", name)
		}
	}
	again, err := build()
	if err != nil {
		t.Fatal(err)
	}
	for name := range files {
		if !bytes.Equal(files[name], again[name]) {
			t.Errorf("%s: two runs differ", name)
		}
	}
}

// The map of the strip and its inverse undo each other.
func TestPropertyStripInverse(t *testing.T) {
	for _, p := range []uv{{0, 0}, {390, -169}, {780, 310}, {-40, -310}} {
		q := strip(at(p))
		if d := (q.u-p.u)*(q.u-p.u) + (q.v-p.v)*(q.v-p.v); d > 1e-12 {
			t.Errorf("%v came back as %v", p, q)
		}
	}
}
