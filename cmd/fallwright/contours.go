package main

// fallwright ground: contours, hollows and the ways of water of a site.

import (
	"fmt"
	"io"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels/answer"
)

type groundCmd struct {
	inputs
	output
	Interval float64 `help:"Contour interval, metres; where not given, the usual one for the range of heights." placeholder:"METRES"`
}

func (c groundCmd) Run(e *env) error {
	s, surface, err := c.load(e)
	if err != nil {
		return err
	}
	g, err := answer.Ground(e.ctx, s, answer.GroundOptions{Lots: c.Lots, Surface: surface, Interval: unit.Length(c.Interval)})
	if err != nil {
		return err
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
