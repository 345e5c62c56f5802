package main

// The ground out of a raster file.

import (
	"os"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/exchange/raster"
)

// beyond is how much of a raster is read round the lots.
const beyond = 30 * unit.Metre

// ground reads the part of a raster that the site's lots lie on. The raster's
// own unit counts; where it names none, --terrain-unit must.
func (e *env) ground(s *parcels.Site, file, terrainUnit string, band int) (ground.Surface, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, inputFault(file, "file-unreadable", "The file cannot be read: "+err.Error()+".")
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, diskError(file, err)
	}
	o := raster.Options{Band: band}
	if terrainUnit != "" {
		o.ElevationUnit = unitNamed(terrainUnit)
	}
	r, err := raster.Open(f, st.Size(), file, o)
	if err != nil {
		return nil, named(err, file)
	}
	return groundOf(s, r, file)
}

// groundOf reads the part of an open raster that the site's lots lie on; name
// is what findings call it.
func groundOf(s *parcels.Site, r *raster.File, name string) (ground.Surface, error) {
	box := s.Lots[0].Shape.Bound()
	for i := range s.Lots {
		box = box.Union(s.Lots[i].Shape.Bound())
	}
	grid, report, err := r.Window(s.Frame, box, beyond)
	if err != nil {
		return nil, named(err, name)
	}
	for _, n := range report.Notes {
		s.Findings = append(s.Findings, parcels.Finding{Code: "terrain", Severity: parcels.Note, Feature: "terrain", Message: "Raster " + name + ": " + n})
	}
	s.Assumptions = append(s.Assumptions, "The standard error of the raster's elevations is not given: taken as 0.10 m, usual for airborne lidar (common practice).")
	return ground.NewRaster(grid, 0.10)
}
