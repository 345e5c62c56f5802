package main

// fallwright ground: contours, hollows and the ways of water of a site.

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"fallwright/geo/ground"
	"fallwright/geo/overland"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/display"
	"fallwright/parcels/exchange/raster"
	"fallwright/parcels/relief"
	"fallwright/parcels/yardwater"
)

type groundCmd struct {
	inputs
	output
	Interval float64 `help:"Contour interval, metres; where not given, the usual one for the range of heights." placeholder:"METRES"`
	Picture  string  `help:"Picture to write: relief, contours, hollows, what drains to them and the ways of water." placeholder:"FILE.svg"`

	Filled     string `help:"GeoTIFF to write of the ground with its hollows filled: levels in metres." placeholder:"FILE.tif"`
	Directions string `help:"GeoTIFF to write of where each cell drains: E 1, SE 2, S 4, SW 8, W 16, NW 32, N 64, NE 128; 0 nowhere." placeholder:"FILE.tif"`
	Area       string `help:"GeoTIFF to write of the area that drains through each cell, its own included: square metres." placeholder:"FILE.tif"`
	TilesOver  int64  `help:"Cells of a raster over which it is worked by tiles, on disk beside the usual temporary files (TMPDIR), 13 bytes a cell. Nothing else changes." default:"16000000" placeholder:"CELLS"`
}

func (c groundCmd) Run(e *env) error {
	if c.Picture != "" && !strings.EqualFold(filepath.Ext(c.Picture), ".svg") {
		return inputFault(c.Picture, "format-unknown", "A picture is written as .svg.")
	}
	for _, f := range []string{c.Filled, c.Directions, c.Area} {
		if ext := strings.ToLower(filepath.Ext(f)); f != "" && ext != ".tif" && ext != ".tiff" {
			return inputFault(f, "format-unknown", "A raster is written as .tif.")
		}
	}
	if c.TilesOver < 1 {
		return inputFault("", "option-invalid", fmt.Sprintf("--tiles-over is a number of cells, 1 at least; %d is none.", c.TilesOver))
	}
	c.WholeRaster = true
	var spool *raster.Spool
	c.Wide = func(s *parcels.Site, r *raster.File) (surface ground.Surface, err error) {
		part, col, row, straight, err := r.Span(s.Frame, lotsBox(s), beyond)
		if err != nil || !straight || int64(part.Cols)*int64(part.Rows) <= c.TilesOver {
			return nil, err
		}
		defer e.progressDone()
		if spool, err = r.Spool(e.ctx, "", part, col, row, runtime.NumCPU(), e.steps("raster read")); err != nil {
			return nil, err
		}
		notes(s, r.Name, r.Notes)
		return ground.NewWide(part, spool, rasterError), nil
	}
	s, surface, err := c.load(e)
	if spool != nil {
		defer spool.Close()
	}
	if err != nil {
		return err
	}
	o := answer.GroundOptions{Lots: c.Lots, Surface: surface, Interval: unit.Length(c.Interval), Stream: true}
	if spool != nil {
		o.Wide = yardwater.Workplace{Store: spool, Workers: runtime.NumCPU(), Progress: e.steps("water over the ground, tiles")}
	}
	if c.units() == display.SI {
		o.Foot = 0.5 * unit.Metre // from 0.25 m on
	}
	g, err := answer.Ground(e.ctx, s, o)
	if spool != nil {
		e.progressDone()
	}
	if err != nil {
		return err
	}
	if err := c.rasters(e, s, g.Drawn.Water.Water); err != nil {
		return err
	}
	if c.Picture != "" {
		d := g.Drawn
		svg, err := relief.Picture{Title: c.title(s), Box: d.Box, Water: d.Water.Water, Ponds: d.Water.Ponds, Ways: d.Ways, Contours: d.Contours,
			Interval: g.Interval, Lots: d.Lots, Houses: d.Houses, Units: c.units()}.SVG()
		if err != nil {
			return err
		}
		if err := cmp.Or(g.Drawn.Water.Water.Err(), e.ctx.Err()); err != nil {
			return err
		}
		if err := e.write(c.Picture, svg); err != nil {
			return err
		}
	}
	return c.giveBy(e, g.Write, g.Stop, func(w io.Writer) error {
		u := c.units()
		fmt.Fprintf(w, "%d contours every %s, %d ways on which water runs together.\n\n", g.Contours, u.Length(g.Interval), g.Flows)
		t := table{head: []string{"hollow on", "full at", "deep", "area", "holds", "drains", "basins in it", "against"}, right: "_rrrrr__"}
		for _, p := range g.Ponds {
			t.row(strings.Join(p.Lots, ", "), u.Elevation(p.Level), u.Length(p.Depth), u.Area(p.Area), u.Water(hydro.Volume(p.Volume)), u.Area(p.Catchment), strings.Join(p.Intakes, ", "), strings.Join(p.Houses, ", "))
		}
		if len(g.Ponds) == 0 {
			fmt.Fprintln(w, "No hollow holds water on these lots.")
		} else if err := t.write(w); err != nil {
			return err
		}
		return cautions(w)
	})
}

// title is what the picture is called: the site, or its lots, or the file.
func (c groundCmd) title(s *parcels.Site) string {
	switch {
	case len(c.Lots) > 0:
		return "The ground about lot " + strings.Join(c.Lots, ", ")
	case s.Name != "":
		return "The ground of " + s.Name
	}
	return "The ground of " + filepath.Base(c.Files[0])
}

// rasters writes those of the water that are asked for.
func (c groundCmd) rasters(e *env, s *parcels.Site, w *overland.Water) error {
	g := w.Grid
	nan := math.NaN()
	each := func(file string, bits int, none string, height bool, cell func(row, col int) float64) error {
		if file == "" {
			return nil
		}
		if s.Frame.Geographic() {
			return inputFault(file, "crs-units-mismatch", "A raster is written in the site's system, and that is in degrees. Give the site in a projected system, or the raster alone.")
		}
		m, at := s.Frame.MetresPerUnit(), s.Frame.Origin()
		o := raster.Output{Cols: g.Cols, Rows: g.Rows, CRS: s.Frame.CRS(), West: g.West/m + at[0], North: g.North/m + at[1], CellX: g.CellX / m, CellY: g.CellY / m,
			Bits: bits, NoData: none, Elevations: height, Workers: runtime.NumCPU(), Row: func(r int, dst []float64) error {
				for c := range dst {
					dst[c] = cell(r, c)
				}
				return cmp.Or(w.Err(), e.ctx.Err())
			}}
		return named(e.writeBy(file, func(to io.Writer) error { return o.Write(to.(io.WriteSeeker)) }), file)
	}
	err := each(c.Filled, 32, "nan", true, func(r, c int) float64 { return float64(w.Levels(r)[c]) })
	if err == nil {
		err = each(c.Directions, 8, "", false, func(r, c int) float64 { return float64(w.Code(r*g.Cols + c)) })
	}
	if err == nil {
		err = each(c.Area, 64, "nan", false, func(r, c int) float64 {
			if n := w.Counts(r)[c]; n > 0 {
				return float64(n) * float64(g.CellArea())
			}
			return nan
		})
	}
	return err
}

// steps shows how far work is that counts its steps, on standard error.
func (e *env) steps(what string) func(done, total int) {
	last := time.Time{}
	return func(done, total int) {
		if now := time.Now(); done == total || now.Sub(last) > 200*time.Millisecond {
			last = now
			fmt.Fprintf(e.stderr, "\r\x1b[K%s: %d of %d (%.0f %%)", what, done, total, 100*float64(done)/float64(total))
		}
	}
}
