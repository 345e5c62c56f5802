package raster

import (
	"fmt"
	"strings"
	"testing"

	"fallwright/geo/unit"
)

// Any window of an ASCII grid is that part of the whole, however its rows are broken over lines.
func TestPropertyASCIIWindow(t *testing.T) {
	const cols, rows = 7, 5
	for per := 1; per <= cols*rows; per++ { // numbers a line
		var b strings.Builder
		fmt.Fprintf(&b, "ncols %d\nnrows %d\nxllcorner 500000\nyllcorner 4000000\ncellsize 2\n", cols, rows)
		for i := range cols * rows {
			fmt.Fprintf(&b, "%d.25%s", i, map[bool]string{true: "\r\n", false: " "}[(i+1)%per == 0])
		}
		f, err := Open(strings.NewReader(b.String()), int64(b.Len()), "g.asc", Options{CRS: "EPSG:32616", ElevationUnit: unit.Metre})
		if err != nil {
			t.Fatal(err)
		}
		for row := range rows {
			for col := range cols {
				for h := 1; row+h <= rows; h++ {
					for w := 1; col+w <= cols; w++ {
						dst := make([]float64, w*h)
						if err := f.cells.read(col, row, w, h, dst); err != nil {
							t.Fatal(err)
						}
						for i, z := range dst {
							if want := float64((row+i/w)*cols+col+i%w) + 0.25; z != want {
								t.Fatalf("%d a line, window %d, %d of %d by %d: cell %d is %v, not %v", per, col, row, w, h, i, z, want)
							}
						}
					}
				}
			}
		}
	}
}
