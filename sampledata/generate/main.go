// Command generate writes the invented subdivision of package sampledata: one
// site document in a state-plane system in US survey feet and the same in
// longitude and latitude. It has no input and no randomness, so that the same
// bytes come out every time: run it by `go generate ./sampledata`.
//
// plat.go lays out lots and streets, ground.go the surface, yards.go houses
// and all that stands in the yards, storm.go inlets, swales and easements,
// geojson.go the writing.
package main

import (
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	dir := "."
	if len(os.Args) > 1 {
		dir = os.Args[1]
	}
	files, err := build()
	if err == nil {
		for name, text := range files {
			if err = os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
				break
			}
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(1)
	}
}

// build gives the two files by name.
func build() (map[string][]byte, error) {
	s := newSite()
	feet := s.write(func(p xy) [2]float64 { return [2]float64{round(p.x, 4), round(p.y, 4)} }, 4, crs)
	toLL, err := lonLat()
	if err != nil {
		return nil, err
	}
	degrees := s.write(toLL, 9, "")
	return map[string][]byte{"quillmere_hollow.epsg2274.json": feet, "quillmere_hollow.lonlat.json": degrees}, nil
}
