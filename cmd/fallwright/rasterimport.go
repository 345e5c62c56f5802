package main

// fallwright import of a raster of elevations.

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/exchange/raster"
	"fallwright/parcels/store"
)

// isRaster says whether a file is one of elevations, by its first bytes or its
// ending.
func isRaster(data []byte, file string) bool {
	if len(data) >= 4 {
		switch string(data[:4]) {
		case "II*\x00", "MM\x00*", "II+\x00", "MM\x00+":
			return true
		}
	}
	return strings.EqualFold(filepath.Ext(file), ".asc")
}

// rasterReport is what an import tells of a raster.
type rasterReport struct {
	parcels.Raster
	Cells       int64    `json:"cells"`
	Missing     int64    `json:"missing"`     // without an elevation
	Implausible int64    `json:"implausible"` // of those, with a number that can be none
	Lowest      *float64 `json:"lowest_m"`
	Highest     *float64 `json:"highest_m"`
	Notes       []string `json:"notes"`
}

// raster stores a raster of the ground. Every cell is read once, so that a
// file which is cut short or corrupt further in is refused here and not under
// some lot.
func (c importCmd) raster(e *env) error {
	if c.Layer != "" || c.Map != "" || c.Append || c.Strict {
		return inputFault(c.File, "option-invalid", "A raster is ground, not a layer: --layer, --map, --append and --strict do not go with it.")
	}
	if c.Site == "" {
		return inputFault(c.File, "site-missing", "Into which site? Say --site NAME.")
	}
	src, err := os.Open(c.File)
	if err != nil {
		return inputFault(c.File, "file-unreadable", "The file cannot be read: "+err.Error()+".")
	}
	defer src.Close()
	info, err := src.Stat()
	if err != nil {
		return diskError(c.File, err)
	}
	o := raster.Options{CRS: c.CRS}
	if c.ElevationUnit != "" {
		o.ElevationUnit = unitNamed(c.ElevationUnit)
	}
	f, err := raster.Open(src, info.Size(), c.File, o)
	if err != nil {
		return named(err, c.File)
	}
	name := c.Raster
	if name == "" {
		name = filepath.Base(c.File)
	}
	r := rasterReport{Raster: parcels.Raster{Site: c.Site, Name: name, Format: f.Format, CRS: f.CRS, Columns: f.Cols, Rows: f.Rows, ElevationUnit: f.ElevationUnit, Bytes: info.Size(),
		Bounds: [4]float64{f.West, f.North - float64(f.Rows)*f.CellY, f.West + float64(f.Cols)*f.CellX, f.North}}, Notes: append([]string{}, f.Notes...)}
	if err := r.look(e, f, bar(e.stderr, c.File)); err != nil {
		return named(err, c.File)
	}
	if r.Missing == r.Cells {
		return inputFault(c.File, "dem-no-data", "No cell of the raster holds an elevation. Export it again.")
	}
	use := storeThere
	if c.DryRun {
		use = storeRead
	}
	st, err := openStore(c.Store, use)
	if err != nil {
		return err
	}
	defer st.Close()
	site, err := st.Site(e.ctx, c.Site)
	var missing *parcels.Error
	if errors.As(err, &missing) && missing.Kind == parcels.NotFound {
		return inputFault(c.File, "no-parcels", fmt.Sprintf("There is no site %s in the store. Import its parcels first; the ground lies under them.", parcels.Excerpt(c.Site)))
	}
	if err != nil {
		return err
	}
	note, err := beside(r.Raster, site)
	if err != nil {
		return named(err, c.File)
	}
	if note != "" {
		r.Notes = append(r.Notes, note)
	}
	if !c.DryRun {
		if r.Raster, err = st.PutRaster(e.ctx, r.Raster, src, c.IfVersion, userName()); err != nil {
			return err
		}
		doc, err := st.Document(e.ctx, c.Site)
		if err != nil {
			return err
		}
		var top struct{ Terrain string }
		if json.Unmarshal(doc, &top) == nil && top.Terrain != name {
			r.Notes = append(r.Notes, fmt.Sprintf("The site's document names %s as its terrain; %s is stored beside it and not used. Name the raster so with --raster, or change the document.", parcels.Excerpt(top.Terrain), parcels.Excerpt(name)))
		}
	}
	return c.tellRaster(e, r)
}

// look reads every cell once.
func (r *rasterReport) look(e *env, f *raster.File, progress func(done, total int64)) error {
	lo, hi := math.Inf(1), math.Inf(-1)
	step := max(1, 1<<20/max(1, f.Cols))
	buf := make([]float32, f.Cols*min(step, f.Rows))
	for row := 0; row < f.Rows; row += step {
		if err := e.ctx.Err(); err != nil {
			return err
		}
		n := min(step, f.Rows-row)
		b := buf[:n*f.Cols]
		if err := f.Read(0, row, f.Cols, n, b); err != nil {
			return err
		}
		for _, z := range b {
			if z != z {
				r.Missing++
				continue
			}
			lo, hi = min(lo, float64(z)), max(hi, float64(z))
		}
		if progress != nil {
			progress(r.Bytes*int64(row+n)/int64(f.Rows), r.Bytes)
		}
	}
	r.Cells, r.Implausible = int64(f.Cols)*int64(f.Rows), f.Implausible()
	if r.Missing < r.Cells {
		r.Lowest, r.Highest = &lo, &hi
	}
	return nil
}

// beside tells that a raster lies under a part of the site only, and refuses one
// that lies nowhere under it.
func beside(r parcels.Raster, site parcels.SiteInfo) (string, error) {
	if site.Bounds == nil {
		return "", nil
	}
	b := *site.Bounds
	if site.CRS != r.CRS {
		way, err := store.Mover(site.CRS, r.CRS)
		if err != nil {
			return "", err
		}
		low, high := way([2]float64{b[0], b[1]}), way([2]float64{b[2], b[3]})
		b = [4]float64{min(low[0], high[0]), min(low[1], high[1]), max(low[0], high[0]), max(low[1], high[1])}
	}
	g := r.Bounds
	switch {
	case b[2] < g[0] || b[0] > g[2] || b[3] < g[1] || b[1] > g[3]:
		return "", inputFault("", "dem-no-data", fmt.Sprintf("The raster lies nowhere under the site: it reaches from %.6g, %.6g to %.6g, %.6g in %s, the site's features from %.6g, %.6g to %.6g, %.6g there. Look at its reference system, or name another site.", g[0], g[1], g[2], g[3], r.CRS, b[0], b[1], b[2], b[3]))
	case b[0] < g[0] || b[2] > g[2] || b[1] < g[1] || b[3] > g[3]:
		return "The raster lies under a part of the site only.", nil
	}
	return "", nil
}

func (c importCmd) tellRaster(e *env, r rasterReport) error {
	if err := c.report(e, r); err != nil || c.JSON {
		return err
	}
	did := "stored"
	if c.DryRun {
		did = "would be stored"
	}
	w := e.stdout
	fmt.Fprintf(w, "%s: %s, %s, %d by %d cells, one unit of elevation is %.9g m\n", filepath.Base(c.File), r.Format, r.CRS, r.Columns, r.Rows, float64(r.ElevationUnit))
	fmt.Fprintf(w, "elevations %.2f m to %.2f m; %d of %d cells hold none, %d of those a number that cannot be an elevation\n", *r.Lowest, *r.Highest, r.Missing, r.Cells, r.Implausible)
	fmt.Fprintf(w, "%s as raster %s of %s\n", did, parcels.Excerpt(r.Name), parcels.Excerpt(c.Site))
	for _, n := range r.Notes {
		fmt.Fprintln(w, "  "+n)
	}
	return nil
}
