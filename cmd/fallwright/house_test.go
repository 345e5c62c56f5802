package main

// The rules of the house, as an ordinary test: layers run one way, hydro never
// sees a polygon, geo never sees a litre, both are pure.

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// rooms lists, for each room, the rooms of this module that it may import
// (itself and its sub-rooms always). The longest matching prefix rules.
var rooms = map[string][]string{
	"cmd":                 {"api", "openapi", "parcels", "geo", "hydro", "sampledata"},
	"api":                 {"openapi", "parcels", "geo", "hydro", "sampledata"},
	"openapi":             {},
	"sampledata":          {},
	"sampledata/generate": {"geo"},
	"parcels":             {"geo", "hydro"},
	"parcels/verify":      {"parcels"},
	"parcels/memory":      {},
	"parcels/display":     {"geo/unit", "hydro"},
	"geo/unit":            {},
	"geo/frame":           {"geo/unit"},
	"geo/shape":           {"geo/unit"},
	"geo/internal/geosop": {"geo/unit", "geo/shape"},
	"geo/zone":            {"geo/unit", "geo/shape", "geo/internal/geosop"},
	"geo/ground":          {"geo/unit", "geo/shape"},
	"geo/overland":        {"geo/unit", "geo/shape", "geo/ground"},
	"geo/route":           {"geo/unit", "geo/shape", "geo/zone"},
	"hydro":               {"geo/unit"},
}

// impure are packages by which a pure room would reach the world outside.
var impure = []string{"os", "net", "net/http", "time", "log", "log/slog", "math/rand", "math/rand/v2", "database/sql", "io/ioutil"}

// foreign says which rooms alone may import a library.
var foreign = map[string][]string{
	"github.com/twpayne/go-geos": {"geo/internal/geosop"},
	"github.com/twpayne/go-proj": {"geo/frame"},
	"github.com/labstack/echo":   {"api", "cmd"},
	"github.com/lib/pq":          {"parcels/store", "parcels/jobs", "cmd"},
	"modernc.org/sqlite":         {"parcels/store", "parcels/exchange", "parcels/jobs"},
	"github.com/xuri/excelize":   {"parcels/sheet", "parcels/quantities", "parcels/stakeout", "parcels/auditor", "parcels/exchange"},
	"codeberg.org/go-pdf":        {"parcels/sheet"},
	"github.com/alecthomas/kong": {"cmd"},
	"github.com/prometheus":      {"api"},
}

func in(room, prefix string) bool { return room == prefix || strings.HasPrefix(room, prefix+"/") }

func TestHouse(t *testing.T) {
	root := "../.."
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		if d.IsDir() {
			if strings.HasPrefix(d.Name(), ".") && rel != "." || d.Name() == "testdata" || d.Name() == "node_modules" {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(rel, ".go") || strings.HasSuffix(rel, "_test.go") {
			return nil
		}
		room := filepath.ToSlash(filepath.Dir(rel))
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rule := ""
		for r := range rooms {
			if in(room, r) && len(r) > len(rule) {
				rule = r
			}
		}
		if rule == "" {
			t.Errorf("%s: no room of the house holds this folder", rel)
			return nil
		}
		for _, im := range f.Imports {
			p, _ := strconv.Unquote(im.Path.Value)
			if own, ok := strings.CutPrefix(p, "fallwright/"); ok {
				if in(own, rule) || in(room, own) && rule != "parcels/verify" {
					continue
				}
				// a room may use the room above it that holds its words
				top, _, _ := strings.Cut(room, "/")
				if own == top && top != "geo" {
					continue
				}
				ok := false
				for _, a := range rooms[rule] {
					if rule == "parcels/verify" {
						ok = ok || own == a
					} else {
						ok = ok || in(own, a)
					}
				}
				if !ok {
					t.Errorf("%s may not import %s: %s may import %v only", rel, p, rule, rooms[rule])
				}
				continue
			}
			if in(room, "geo") || in(room, "hydro") {
				for _, i := range impure {
					if p == i {
						t.Errorf("%s imports %s: geo and hydro are pure", rel, p)
					}
				}
			}
			if in(room, "hydro") && strings.Contains(p, "paulmach/orb") {
				t.Errorf("%s imports %s: hydro never sees a polygon", rel, p)
			}
			if rule == "parcels/verify" && strings.Contains(p, ".") && !strings.Contains(p, "paulmach/orb") {
				t.Errorf("%s imports %s: the verifier stands on the standard library", rel, p)
			}
			for lib, where := range foreign {
				if p != lib && !strings.HasPrefix(p, lib+"/") && !strings.HasPrefix(p, lib+"-") {
					continue
				}
				ok := false
				for _, w := range where {
					ok = ok || in(room, w)
				}
				if !ok {
					t.Errorf("%s imports %s, which only %v may", rel, p, where)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// The top level holds exactly these, so that a newcomer sees the whole house.
func TestTopLevel(t *testing.T) {
	allowed := map[string]bool{"cmd": true, "api": true, "geo": true, "hydro": true, "parcels": true, "sampledata": true, "openapi": true,
		"go.mod": true, "go.sum": true, "README.md": true, "DEVELOPERS.md": true, "Makefile": true, "LICENSE": true, "CHANGELOG.md": true}
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !allowed[e.Name()] && !strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s does not belong at the top level", e.Name())
		}
	}
}
