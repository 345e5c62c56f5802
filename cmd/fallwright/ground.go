package main

// The ground out of a raster file.

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"

	"fallwright/geo/frame"
	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/exchange/raster"
)

// beyond is how much of a raster is read round the lots.
const beyond = 30 * unit.Metre

// raster opens a raster. What it says of itself counts; where it names no system
// or no unit, --crs and --terrain-unit do.
func (in inputs) raster(file string) (*raster.File, *os.File, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, nil, inputFault(file, "file-unreadable", "The file cannot be read: "+err.Error()+".")
	}
	st, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, nil, diskError(file, err)
	}
	o := raster.Options{Band: in.TerrainBand}
	if in.TerrainUnit != "" {
		o.ElevationUnit = unitNamed(in.TerrainUnit)
	}
	r, err := raster.Open(f, st.Size(), file, o)
	if in.CRS != "" && slugOf(err) == "crs-unknown" {
		o.CRS = in.CRS
		r, err = raster.Open(f, st.Size(), file, o)
	}
	if err != nil {
		f.Close()
		return nil, nil, byFlag(named(err, file))
	}
	return r, f, nil
}

// slugOf is the rule that an input breaks first; empty for another error.
func slugOf(err error) string {
	var in *parcels.InputError
	if !errors.As(err, &in) || len(in.Faults) == 0 {
		return ""
	}
	return in.Faults[0].Slug
}

// byFlag says which flag gives what a raster does not.
func byFlag(err error) error {
	var in *parcels.InputError
	flag := map[string]string{"crs-unknown": "--crs EPSG:NNNN", "dem-unit-unknown": "--terrain-unit m, ft or us_ft"}[slugOf(err)]
	if flag == "" || !errors.As(err, &in) {
		return err
	}
	c := *in
	c.Faults = slices.Clone(in.Faults)
	c.Faults[0].Detail += " The flag is " + flag + "."
	return &c
}

// ground reads the part of a raster that the site's lots lie on.
func (in inputs) ground(s *parcels.Site, file string) (ground.Surface, error) {
	r, f, err := in.raster(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if in.Wide != nil {
		if surface, err := in.Wide(s, r); surface != nil || err != nil {
			return surface, named(err, file)
		}
	}
	return groundOf(s, r, file)
}

// lotOf makes a lot of all that a raster covers, for looking at ground without
// parcels: a layer, and the system it is in. beside says that other layers are
// given, whose system (--crs, or longitude and latitude) it then takes.
func (in inputs) lotOf(file string, beside bool) (layer []byte, crs string, err error) {
	r, f, err := in.raster(file)
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	e, s := r.West+float64(r.Cols)*r.CellX, r.North-float64(r.Rows)*r.CellY
	ring := orb.Ring{{r.West, s}, {e, s}, {e, r.North}, {r.West, r.North}, {r.West, s}}
	crs = r.CRS
	if beside && in.CRS == "" {
		fr, err := frame.New(r.CRS, ring.Bound())
		if err != nil {
			return nil, "", err
		}
		crs = ""
		for i, p := range ring {
			ring[i] = fr.LonLat(fr.Plane(p))
		}
	} else if beside && frame.Normalise(in.CRS) != r.CRS {
		return nil, "", inputFault(file, "crs-conflict", fmt.Sprintf("The raster is in %s and the layers beside it in %s. Give the layers in longitude and latitude or in the raster's system, or give parcels.", r.CRS, in.CRS))
	}
	layer, err = json.Marshal(geojson.NewFeatureCollection().Append(&geojson.Feature{Type: "Feature", ID: "raster", Geometry: orb.Polygon{ring}}))
	return layer, crs, err
}

// groundOf reads the part of an open raster that the site's lots lie on; name
// is what findings call it.
func groundOf(s *parcels.Site, r *raster.File, name string) (ground.Surface, error) {
	grid, report, err := r.Window(s.Frame, lotsBox(s), beyond)
	if err != nil {
		return nil, named(err, name)
	}
	notes(s, name, report.Notes)
	return ground.NewRaster(grid, rasterError)
}

// rasterError is the standard error taken for a raster's elevations.
const rasterError = 0.10 * unit.Metre

// lotsBox is the box of all lots.
func lotsBox(s *parcels.Site) orb.Bound {
	box := s.Lots[0].Shape.Bound()
	for i := range s.Lots {
		box = box.Union(s.Lots[i].Shape.Bound())
	}
	return box
}

// notes puts what is to be known of a raster with the site.
func notes(s *parcels.Site, name string, notes []string) {
	for _, n := range notes {
		s.Findings = append(s.Findings, parcels.Finding{Code: "terrain", Severity: parcels.Note, Feature: "terrain", Message: "Raster " + name + ": " + n})
	}
	s.Assumptions = append(s.Assumptions, "The standard error of the raster's elevations is not given: taken as 0.10 m, usual for airborne lidar (common practice).")
}
