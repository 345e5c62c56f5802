package main

// fallwright asbuilt: shots on the laid pipe against the plan.

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
)

type asbuiltCmd struct {
	output
	Site     string `arg:"" help:"The site document that the plan was made from."`
	Plan     string `arg:"" help:"The plan (JSON)."`
	Shots    string `arg:"" optional:"" help:"Point file (number, northing, easting, elevation, description); none: the drains of status laid in the site document."`
	ShotUnit string `help:"Unit of the point file's elevations: m, ft or us_ft." enum:"m,ft,us_ft" default:"ft"`
	Criteria string `help:"Criteria file, YAML or JSON."`
	RunName  string `name:"run" help:"Run that all shots are of."`
}

func (c asbuiltCmd) Run(e *env) error {
	s, _, err := inputs{Files: []string{c.Site}, Criteria: c.Criteria}.load(e)
	if err != nil {
		return err
	}
	b, err := e.read(c.Plan)
	if err != nil {
		return err
	}
	plan, err := document.ReadPlan(b, s.Frame)
	if err != nil {
		return named(err, c.Plan)
	}
	in := asbuilt.Input{Plan: plan, Lots: s.Lots, Criteria: s.Criteria, Frame: s.Frame, Only: c.RunName}
	var read []parcels.Finding
	if c.Shots == "" {
		in.Shots = asbuilt.FromSite(s, plan)
	} else {
		text, err := e.read(c.Shots)
		if err != nil {
			return err
		}
		if in.Shots, read, err = asbuilt.ReadPoints(text, c.Shots, unitNamed(c.ShotUnit), s.Frame, plan, s.Criteria); err != nil {
			return err
		}
	}
	r, err := asbuilt.Assess(in)
	if err != nil {
		return named(err, c.Shots)
	}
	r.Findings = append(read, r.Findings...)
	body, err := r.Document(s.Frame)
	if err != nil {
		return err
	}
	if c.Out != "" {
		if err := e.write(c.Out, body); err != nil {
			return err
		}
	}
	switch {
	case c.JSON && c.Out != "-":
		if err := e.write("-", body); err != nil {
			return err
		}
	case !c.JSON && c.Out != "-":
		u := c.units()
		fmt.Fprintf(e.stdout, "As built against the plan: %s (%s)\n", words(string(r.Verdict)), r.Status)
		if r.Shift != nil {
			fmt.Fprintf(e.stdout, "All levels stand %s off the plan alike; taken out before judging.\n", u.Length(*r.Shift))
		}
		t := table{head: []string{"run", "from", "to", "length", "planned", "built", "flattest", "cover", "off grade", "beside", "standing water"}, right: "___rrrrrrrr"}
		for _, b := range r.Runs {
			t.row(b.Run, b.From, b.To, u.Distance(b.Length), u.Slope(b.Planned), display.Or(b.Slope, u.Slope), display.Or(b.FlattestSlope, u.Slope), display.Or(b.LeastCover, u.Length), display.Or(b.GreatestOff, u.Length), display.Or(b.GreatestBeside, u.Length), fmt.Sprintf("%.0f L", 1000*b.Standing))
		}
		if err := t.write(e.stdout); err != nil {
			return err
		}
		fmt.Fprintln(e.stdout)
		findings(e.stdout, r.Findings, c.units())
		if err := cautions(e.stdout); err != nil {
			return err
		}
	}
	if r.Verdict == parcels.NotFeasible {
		return errStop
	}
	return nil
}

// unitNamed is the length of a unit by its name.
func unitNamed(s string) unit.Length {
	switch s {
	case "ft":
		return unit.Foot
	case "us_ft":
		return unit.SurveyFoot
	}
	return unit.Metre
}
