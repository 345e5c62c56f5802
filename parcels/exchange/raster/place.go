package raster

// From a raster in its own system to a grid in the site's plane.

import (
	"errors"
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Report says what a window of a raster holds.
type Report struct {
	Cells       int
	Missing     int   // without an elevation, outside the raster included
	Implausible int64 // of those, with a number that cannot be an elevation
	// Resampled says that the raster's system is not the site's: the elevations
	// were interpolated between its cell centres at the places of new cells of
	// about the same size.
	Resampled bool
	Notes     []string
}

// Bound is the box of the raster in the site's plane.
func (f *File) Bound(fr *frame.Frame) (orb.Bound, error) {
	to, err := f.mapping(fr)
	if err != nil {
		return orb.Bound{}, err
	}
	return to.bound(to.back, f.own().Bound()), nil
}

// own is the raster's grid in metres of its own system, without elevations.
func (f *File) own() ground.Grid {
	m := f.MetresPerUnit
	return ground.Grid{Cols: f.Cols, Rows: f.Rows, West: f.West * m, North: f.North * m, CellX: f.CellX * m, CellY: f.CellY * m}
}

// mapping leads from the site's plane to metres of the raster's own system and
// back.
type mapping struct {
	there, back func(orb.Point) orb.Point
	linear      bool
	origin      orb.Point // of the plane, in metres of the raster's system, where linear
}

func (f *File) mapping(fr *frame.Frame) (mapping, error) {
	m := f.MetresPerUnit
	if fr.CRS() == f.CRS {
		o := orb.Point{fr.Origin()[0] * m, fr.Origin()[1] * m}
		return mapping{linear: true, origin: o,
			there: func(p orb.Point) orb.Point { return orb.Point{p[0] + o[0], p[1] + o[1]} },
			back:  func(p orb.Point) orb.Point { return orb.Point{p[0] - o[0], p[1] - o[1]} },
		}, nil
	}
	w, n := f.West, f.North
	own, err := frame.New(f.CRS, orb.Bound{Min: orb.Point{w, n - float64(f.Rows)*f.CellY}, Max: orb.Point{w + float64(f.Cols)*f.CellX, n}})
	if err != nil {
		return mapping{}, err
	}
	return mapping{
		there: func(p orb.Point) orb.Point {
			d := own.Document(own.FromLonLat(fr.LonLat(p)))
			return orb.Point{d[0] * m, d[1] * m}
		},
		back: func(p orb.Point) orb.Point {
			return fr.FromLonLat(own.LonLat(own.Plane(orb.Point{p[0] / m, p[1] / m})))
		},
	}, nil
}

// bound is the box of a box's image, from points along its edges.
func (mapping) bound(by func(orb.Point) orb.Point, b orb.Bound) orb.Bound {
	const n = 8
	var pts orb.MultiPoint
	for i := 0; i <= n; i++ {
		t := float64(i) / n
		x, y := b.Min[0]+t*(b.Max[0]-b.Min[0]), b.Min[1]+t*(b.Max[1]-b.Min[1])
		pts = append(pts, by(orb.Point{x, b.Min[1]}), by(orb.Point{x, b.Max[1]}), by(orb.Point{b.Min[0], y}), by(orb.Point{b.Max[0], y}))
	}
	return pts.Bound()
}

// Window gives the raster's elevations in the site's plane, over box and margin
// round it, as far as the raster reaches. A raster in the site's system is
// taken cell by cell; one in another system is resampled (Report.Resampled).
// A window without one elevation is a *parcels.InputError (dem-no-data).
func (f *File) Window(fr *frame.Frame, box orb.Bound, margin unit.Length) (ground.Grid, Report, error) {
	before := f.Implausible()
	to, err := f.mapping(fr)
	if err != nil {
		return ground.Grid{}, Report{}, err
	}
	var g ground.Grid
	if to.linear {
		place := f.own()
		place.West -= to.origin[0]
		place.North -= to.origin[1]
		g, err = ground.Window(place, f, box, margin)
	} else {
		g, err = f.resample(to, box, margin)
	}
	if err != nil {
		if !errors.Is(err, ground.ErrOutside) { // the file is broken, or could not be read
			return ground.Grid{}, Report{}, err
		}
		return ground.Grid{}, Report{}, f.noData(err.Error())
	}
	r := Report{Cells: len(g.Z), Resampled: !to.linear, Notes: f.Notes, Implausible: f.Implausible() - before}
	for _, z := range g.Z {
		if z != z {
			r.Missing++
		}
	}
	if r.Missing == r.Cells {
		return ground.Grid{}, r, f.noData(fmt.Sprintf("none of the %d cells over the site bears an elevation", r.Cells))
	}
	return g, r, nil
}

func (f *File) noData(why string) error {
	return fault(f.Name, parcels.Invalid, parcels.Fault{Slug: "dem-no-data", Detail: "The raster has no ground under the parcels: " + why + ". Give a raster that covers them."})
}

// mostWindow is the greatest window that is resampled.
const mostWindow = 100e6

func (f *File) resample(to mapping, box orb.Bound, margin unit.Length) (ground.Grid, error) {
	own := f.own()
	m := float64(margin)
	cell := math.Sqrt(own.CellX * own.CellY)
	box = orb.Bound{Min: orb.Point{box.Min[0] - m, box.Min[1] - m}, Max: orb.Point{box.Max[0] + m, box.Max[1] + m}}
	// no further than the raster reaches
	if reach := to.bound(to.back, own.Bound()); reach.Intersects(box) {
		box.Min = orb.Point{math.Max(box.Min[0], reach.Min[0]), math.Max(box.Min[1], reach.Min[1])}
		box.Max = orb.Point{math.Min(box.Max[0], reach.Max[0]), math.Min(box.Max[1], reach.Max[1])}
	}
	g := ground.Grid{CellX: cell, CellY: cell, West: math.Floor(box.Min[0]/cell) * cell, North: math.Ceil(box.Max[1]/cell) * cell}
	cols, rows := math.Ceil((box.Max[0]-g.West)/cell), math.Ceil((g.North-box.Min[1])/cell)
	if !(cols >= 1 && rows >= 1) || cols*rows > mostWindow {
		return g, sizeFault(f.Name, toInt(cols), toInt(rows), mostWindow)
	}
	g.Cols, g.Rows = int(cols), int(rows)
	src, err := ground.Window(own, f, to.bound(to.there, g.Bound()), unit.Length(2*cell))
	if err != nil {
		return g, err
	}
	g.Z = make([]float32, g.Cols*g.Rows)
	surface, err := ground.NewRaster(src, 0)
	if err != nil { // a window without one elevation
		for i := range g.Z {
			g.Z[i] = float32(math.NaN())
		}
		return g, nil
	}
	// The way between two projections is worked exactly at every 32nd cell and
	// linearly in between: over 32 cells of a yard's raster it bends by less
	// than a micrometre.
	const k = 32
	node := func(c, r int) orb.Point { return to.there(g.Centre(c, r)) }
	nc := (g.Cols+k-1)/k + 1
	upper := make([]orb.Point, nc)
	lower := make([]orb.Point, nc)
	for i := range upper {
		upper[i] = node(i*k, 0)
	}
	for r0 := 0; r0 < g.Rows; r0 += k {
		for i := range lower {
			lower[i] = node(i*k, r0+k)
		}
		for r := r0; r < min(r0+k, g.Rows); r++ {
			v := float64(r-r0) / k
			for c := 0; c < g.Cols; c++ {
				u, i := float64(c%k)/k, c/k
				var p orb.Point
				for a := range p {
					top := upper[i][a] + u*(upper[i+1][a]-upper[i][a])
					bottom := lower[i][a] + u*(lower[i+1][a]-lower[i][a])
					p[a] = top + v*(bottom-top)
				}
				z := math.NaN()
				if l, ok := surface.At(p); ok {
					z = float64(l.Elevation)
				}
				g.Z[r*g.Cols+c] = float32(z)
			}
		}
		upper, lower = lower, upper
	}
	return g, nil
}
