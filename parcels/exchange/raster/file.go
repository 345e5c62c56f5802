package raster

// An open raster, whatever its format: where it lies, what it measures in, and
// its elevations.

import (
	"fmt"
	"io"
	"math"
	"sync/atomic"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Options are what the caller knows of a raster.
type Options struct {
	// CRS is the reference system where the file names none; one that differs
	// from the file's is an error. Empty: as the file says.
	CRS string
	// ElevationUnit is the length of one unit of elevation where the file names
	// none; one that differs from the file's is an error. 0: as the file says.
	ElevationUnit unit.Length
	// Band is the number of the elevations' band, from 1, in a TIFF of several;
	// 0: the only one beside a band of opacity, else an error.
	Band int
	// MaxCells refuses greater rasters before anything is read; 0: no limit.
	MaxCells int64
}

// File is an open raster. It is safe for use by several goroutines at once if
// its source is.
type File struct {
	Name       string
	Format     string // "GeoTIFF" or "ESRI ASCII grid"
	Cols, Rows int
	// CRS is the code of the projected system, MetresPerUnit the length of its
	// unit.
	CRS           string
	MetresPerUnit float64
	// West and North are the outer corner of the first cell, CellX and CellY
	// the size of a cell, all in units of the CRS.
	West, North, CellX, CellY float64
	// ElevationUnit is the length of one unit of elevation.
	ElevationUnit unit.Length
	// VerticalDatum is as far as the file names it: a code or a name, or empty.
	VerticalDatum string
	// NoData is the number that stands for no elevation, in the file's unit.
	NoData *float64
	// Notes are things worth telling that change nothing.
	Notes []string

	scale, offset float64 // stored number -> unit of elevation
	cells         cells
	mask          cells // 0 where a cell bears no elevation; nil: none
	implausible   atomic.Int64
}

// cells hands out stored numbers, NaN where a block is not in the file.
type cells interface {
	read(col, row, width, height int, dst []float64) error
}

// LowestPlausible and HighestPlausible bound what an elevation on land can be,
// in metres; a cell beyond them holds no elevation. The Dead Sea's shore lies
// at about -430, the highest summit at 8849.
const (
	LowestPlausible  unit.Elevation = -500
	HighestPlausible unit.Elevation = 9000
)

// Read fills dst with the elevations of a rectangle of cells, in metres, NaN
// where there is none: it makes a File a ground.Rows.
func (f *File) Read(col, row, width, height int, dst []float32) error {
	if col < 0 || row < 0 || width < 0 || height < 0 || col+width > f.Cols || row+height > f.Rows || len(dst) < width*height {
		return fmt.Errorf("raster: window %d, %d of %d by %d cells outside the raster of %d by %d", col, row, width, height, f.Cols, f.Rows)
	}
	const most = 1 << 18 // cells at once, so that the doubles stay small
	step := max(1, most/max(1, width))
	buf := make([]float64, min(step, height)*width)
	var shown []float64
	for r := 0; r < height; r += step {
		n := min(step, height-r)
		b := buf[:n*width]
		if err := f.cells.read(col, row+r, width, n, b); err != nil {
			return err
		}
		if f.mask != nil {
			if shown == nil {
				shown = make([]float64, len(buf))
			}
			if err := f.mask.read(col, row+r, width, n, shown[:n*width]); err != nil {
				return err
			}
			for i, v := range shown[:n*width] {
				if !(v > 0) {
					b[i] = math.NaN()
				}
			}
		}
		bad := int64(0)
		for i, v := range b {
			z := float32(math.NaN())
			if !f.empty(v) {
				m := (v*f.scale + f.offset) * float64(f.ElevationUnit)
				if m >= float64(LowestPlausible) && m <= float64(HighestPlausible) {
					z = float32(m)
				} else {
					bad++
				}
			}
			dst[r*width+i] = z
		}
		f.implausible.Add(bad)
	}
	return nil
}

// Implausible counts the cells read so far that bear a number which is not
// declared as no data and cannot be an elevation (-9999, 3.4e38, infinity).
func (f *File) Implausible() int64 { return f.implausible.Load() }

// empty tells whether a stored number stands for no elevation. A huge one is
// often written with few digits (-3.402823e+38), hence the tolerance there.
func (f *File) empty(v float64) bool {
	if math.IsNaN(v) {
		return true
	}
	if f.NoData == nil {
		return false
	}
	n := *f.NoData
	return v == n || float32(v) == float32(n) || math.Abs(n) > 1e30 && math.Abs(v-n) <= 1e-6*math.Abs(n)
}

// Open reads what a file says of itself. The error is a *parcels.InputError
// for a bad file, else the source's own.
func Open(src io.ReaderAt, size int64, name string, opt Options) (*File, error) {
	f, err := parse(src, size, name, opt)
	if err != nil {
		return nil, err
	}
	return f, f.settle(opt)
}

// parse reads a file by its first bytes, without asking for system and unit.
func parse(src io.ReaderAt, size int64, name string, opt Options) (*File, error) {
	var magic [4]byte
	if size < 8 {
		return nil, fault(name, parcels.Unreadable, parcels.Fault{Slug: "raster-corrupt", Actual: size, Detail: fmt.Sprintf("The file has %d bytes; that is no raster.", size)})
	}
	if _, err := src.ReadAt(magic[:], 0); err != nil {
		return nil, err
	}
	switch string(magic[:2]) {
	case "II", "MM":
		return parseTIFF(src, size, name, opt)
	}
	return parseASCII(src, size, name, opt)
}

// settle takes reference system and unit from the file and the caller, and
// refuses what is missing, in degrees or contradictory.
func (f *File) settle(opt Options) error {
	refuse := func(slug, detail string) error {
		return fault(f.Name, parcels.Invalid, parcels.Fault{Slug: slug, Entry: f.Name, Detail: detail})
	}
	given := frame.Normalise(opt.CRS)
	switch {
	case f.CRS == "" && given == "" && opt.CRS == "":
		if f.looksGeographic() {
			return refuse("crs-units-mismatch", f.degreesText())
		}
		return refuse("crs-unknown", "The raster names no coordinate system that is known. Give its EPSG code.")
	case f.CRS == "":
		f.CRS = given
		f.Notes = append(f.Notes, fmt.Sprintf("the raster names no coordinate system; %s as given", opt.CRS))
	case opt.CRS != "" && given != f.CRS:
		return refuse("crs-conflict", fmt.Sprintf("The raster is in %s, but %s was given. Leave the code out, or reproject the raster.", f.CRS, opt.CRS))
	}
	info, err := frame.Lookup(f.CRS)
	if err != nil {
		return refuse("crs-unknown", fmt.Sprintf("The raster's coordinate system %s is not known. Give the EPSG code of a projected system.", f.CRS))
	}
	if info.Geographic {
		return refuse("crs-units-mismatch", f.degreesText())
	}
	if f.MetresPerUnit != 0 && math.Abs(f.MetresPerUnit/info.MetresPerUnit-1) > 1e-9 {
		return refuse("crs-conflict", fmt.Sprintf("The raster says its unit is %.9g m, but %s is in units of %.9g m. Write the file again with one definition.", f.MetresPerUnit, f.CRS, info.MetresPerUnit))
	}
	f.MetresPerUnit = info.MetresPerUnit
	if f.looksGeographic() {
		return refuse("crs-units-mismatch", fmt.Sprintf("The raster claims %s, but its extent %s looks like degrees. Correct its system or reproject it.", f.CRS, f.extent()))
	}
	switch {
	case f.ElevationUnit == 0 && opt.ElevationUnit == 0:
		return refuse("dem-unit-unknown", "The raster does not say in which unit its elevations are. Give the unit of elevation (m, ft or US survey ft).")
	case f.ElevationUnit == 0:
		f.ElevationUnit = opt.ElevationUnit
	case opt.ElevationUnit != 0 && math.Abs(float64(opt.ElevationUnit/f.ElevationUnit)-1) > 1e-9:
		return refuse("crs-units-mismatch", fmt.Sprintf("The raster says its elevations are in units of %.9g m, but %.9g m was given. Correct one of them.", float64(f.ElevationUnit), float64(opt.ElevationUnit)))
	}
	return nil
}

func (f *File) looksGeographic() bool {
	e, s := f.West+float64(f.Cols)*f.CellX, f.North-float64(f.Rows)*f.CellY
	return f.CellX < 0.05 && f.CellY < 0.05 && f.West >= -180 && e <= 360 && s >= -90 && f.North <= 90
}

func (f *File) extent() string {
	return fmt.Sprintf("(%g to %g, %g to %g)", f.West, f.West+float64(f.Cols)*f.CellX, f.North-float64(f.Rows)*f.CellY, f.North)
}

func (f *File) degreesText() string {
	return fmt.Sprintf("The raster is in degrees, extent %s, cells of %.3g by %.3g: that is no plane. Reproject it to a projected system in metres or feet.", f.extent(), f.CellX, f.CellY)
}

// fault makes the error of one fault.
func fault(name string, kind parcels.Kind, f parcels.Fault) error {
	if f.Entry == "" {
		f.Entry = name
	}
	return &parcels.InputError{Kind: kind, File: name, Faults: []parcels.Fault{f}}
}

// sizeFault refuses a raster over the limit of cells.
func sizeFault(name string, cols, rows, limit int64) error {
	return fault(name, parcels.TooLarge, parcels.Fault{Slug: "raster-too-large", Size: []int64{cols, rows}, Limit: limit, Actual: float64(cols) * float64(rows),
		Detail: fmt.Sprintf("The raster has %d by %d cells; at most %d are taken. Cut out the part round the site.", cols, rows, limit)})
}
