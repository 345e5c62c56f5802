package main

// fallwright ground: contours, hollows and the ways of water of a site.

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/display"
	"fallwright/parcels/relief"
)

type groundCmd struct {
	inputs
	output
	Interval float64 `help:"Contour interval, metres; where not given, the usual one for the range of heights." placeholder:"METRES"`
	Picture  string  `help:"Picture to write: relief, contours, hollows, what drains to them and the ways of water." placeholder:"FILE.svg"`
}

func (c groundCmd) Run(e *env) error {
	if c.Picture != "" && !strings.EqualFold(filepath.Ext(c.Picture), ".svg") {
		return inputFault(c.Picture, "format-unknown", "A picture is written as .svg.")
	}
	c.WholeRaster = true
	s, surface, err := c.load(e)
	if err != nil {
		return err
	}
	o := answer.GroundOptions{Lots: c.Lots, Surface: surface, Interval: unit.Length(c.Interval)}
	if c.units() == display.SI {
		o.Foot = 0.5 * unit.Metre // from 0.25 m on
	}
	g, err := answer.Ground(e.ctx, s, o)
	if err != nil {
		return err
	}
	if c.Picture != "" {
		d := g.Drawn
		svg, err := relief.Picture{Title: c.title(s), Box: d.Box, Water: d.Water.Water, Ponds: d.Water.Ponds, Ways: d.Ways, Contours: d.Contours,
			Interval: g.Interval, Lots: d.Lots, Houses: d.Houses, Units: c.units()}.SVG()
		if err != nil {
			return err
		}
		if err := e.write(c.Picture, svg); err != nil {
			return err
		}
	}
	return c.give(e, &g.Collection, func(w io.Writer) error {
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
