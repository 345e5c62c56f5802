package ground

// A raster that is not in memory, as a surface.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Wide is the surface of a raster that stays where it is: every question reads the
// cells about its place. It is the surface that Raster makes of the whole, but for
// the rounding of places, which are reckoned from the corner of what was read; a
// place whose cells cannot be read is outside.
type Wide struct {
	place Grid
	rows  Rows
	sd    unit.Length
}

// NewWide makes the surface of a raster of the given place, whose elevations rows
// hands out. sd is the standard error of its elevations.
func NewWide(place Grid, rows Rows, sd unit.Length) *Wide {
	place.Z = nil
	return &Wide{place, rows, sd}
}

// Place is the raster without its elevations.
func (w *Wide) Place() Grid { return w.place }

// Read hands out elevations: it makes a Wide a Rows.
func (w *Wide) Read(col, row, width, height int, dst []float32) error {
	return w.rows.Read(col, row, width, height, dst)
}

// StdErr is the standard error of its elevations.
func (w *Wide) StdErr() unit.Length { return w.sd }

// about is the surface about a box.
func (w *Wide) about(b orb.Bound) (*Raster, bool) {
	g, err := Window(w.place, w.rows, b, 0)
	if err != nil {
		return nil, false
	}
	r, err := NewRaster(g, w.sd)
	return r, err == nil
}

// At gives the level at a point; false where the raster has none.
func (w *Wide) At(p orb.Point) (Level, bool) {
	r, ok := w.about(orb.Bound{Min: p, Max: p})
	if !ok {
		return Level{}, false
	}
	return r.At(p)
}

// Gradient gives the steepest descent at a point.
func (w *Wide) Gradient(p orb.Point) (Gradient, bool) {
	r, ok := w.about(orb.Bound{Min: p, Max: p})
	if !ok {
		return Gradient{}, false
	}
	return r.Gradient(p)
}

// Along gives the profile under a line.
func (w *Wide) Along(line orb.LineString) Profile {
	if r, ok := w.about(line.Bound()); ok && len(line) > 0 {
		return r.Along(line)
	}
	n := 0.0
	for i := 1; i < len(line); i++ {
		n += math.Hypot(line[i][0]-line[i-1][0], line[i][1]-line[i-1][1])
	}
	out := Profile{Length: unit.Length(n)}
	if n > 0 {
		out.Gaps = []Gap{{0, out.Length}}
	}
	return out
}

// Bounds is the box of the cell centres.
func (w *Wide) Bounds() orb.Bound {
	return orb.Bound{Min: w.place.Centre(0, w.place.Rows-1), Max: w.place.Centre(w.place.Cols-1, 0)}
}

// faces reads the raster in bands of rows.
func (w *Wide) faces(within *orb.Bound, visit face) error {
	const band = 1 << 20 // cells
	var up, low []float32
	var first, rows int // of the band
	var failed error
	return w.place.faces(within, func(r int) []float32 {
		if low == nil || r < first || r >= first+rows {
			// the row before is still looked at: another slice
			up, low = low, up
			first, rows = r, max(1, min(band/w.place.Cols, w.place.Rows-r))
			if n := rows * w.place.Cols; cap(low) < n {
				low = make([]float32, n)
			} else {
				low = low[:n]
			}
			if err := w.rows.Read(0, first, w.place.Cols, rows, low); err != nil {
				failed = err
			}
		}
		return low[(r-first)*w.place.Cols:][:w.place.Cols]
	}, &failed, visit)
}

func (w *Wide) point(v int32) orb.Point {
	return w.place.Centre(int(v)%w.place.Cols, int(v)/w.place.Cols)
}
