package mapclient_test

// The script that is committed is that of the sources.

import (
	"bytes"
	"compress/gzip"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// TestOracleBundleIsCurrent makes the script again, with the bundler's own
// module, and holds the committed one to it byte for byte.
func TestOracleBundleIsCurrent(t *testing.T) {
	made := filepath.Join(t.TempDir(), "app.js")
	cmd := exec.Command("go", "run", ".", made)
	cmd.Dir = "bundle"
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("the sources are not bundled: %v\n%s", err, out)
	}
	want, err := os.ReadFile(made)
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("page/assets/app.js")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("page/assets/app.js is not what the sources make: run `make page`")
	}
	var small bytes.Buffer
	w, _ := gzip.NewWriterLevel(&small, 9)
	_, _ = w.Write(got)
	_ = w.Close()
	t.Logf("app.js: %d bytes, %d compressed", len(got), small.Len())
	if small.Len() > 1_500_000 {
		t.Errorf("app.js has %d bytes compressed", small.Len())
	}
}

// TestOracleTypes: the checker of the language finds nothing in the sources.
func TestOracleTypes(t *testing.T) {
	tsc, err := filepath.Abs("bundle/node_modules/.bin/tsc")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(tsc); err != nil {
		t.Skip("the type checker is not installed (it needs npm): `make page` installs it and checks")
	}
	if out, err := exec.Command(tsc, "-p", "source").CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
