package parcels

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every trade fact that the code cites by number is in PRACTICE.md.
func TestCitedFactsAreListed(t *testing.T) {
	list, err := os.ReadFile("PRACTICE.md")
	if err != nil {
		t.Fatal(err)
	}
	cite := regexp.MustCompile(`\bP-([0-9]{1,3})\b`)
	err = filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (strings.HasPrefix(d.Name(), ".") && d.Name() != ".." || d.Name() == "testdata" || d.Name() == "node_modules") {
			return filepath.SkipDir
		}
		if strings.HasSuffix(path, "_test.go") || !strings.HasSuffix(path, ".go") && !strings.HasSuffix(path, ".yaml") {
			return nil
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, m := range cite.FindAllString(string(b), -1) {
			if !strings.Contains(string(list), "| "+m+" |") {
				t.Errorf("%s cites %s, which PRACTICE.md does not list", path, m)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
