package main

// fallwright asbuilt: shots on the laid pipe against the plan.

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
)

type asbuiltCmd struct {
	output
	Site     string   `arg:"" help:"The site document that the plan was made from."`
	Plan     string   `arg:"" help:"The plan (JSON)."`
	Shots    string   `arg:"" optional:"" help:"Point file (number, northing, easting, elevation, description); none: the drains of status laid in the site document."`
	ShotUnit string   `help:"Unit of the point file's elevations: m, ft or us_ft." enum:"m,ft,us_ft" default:"ft"`
	Criteria string   `help:"Criteria file, YAML or JSON."`
	RunName  string   `name:"run" help:"Run that all shots are of."`
	Resolve  bool     `help:"Lock the runs that lie well, work the levels of the rest again, and show the new cuts."`
	Met      []string `help:"Something met in a trench, for --resolve: a rock by its top, a root or utility by underside and top. Station and levels in feet (--units si: metres); repeat for more." placeholder:"RUN@STATION=rock:TOP|root:LOW:TOP|utility:LOW:TOP" sep:"none"`
	NewPlan  string   `help:"Write the plan worked again there; stake and sheet take it like any plan." placeholder:"FILE"`
	Ground   string   `help:"GeoTIFF or ASCII grid that the plan was made on, for --resolve."`
}

func (c asbuiltCmd) Run(e *env) error {
	files := []string{c.Site}
	if c.Ground != "" {
		files = append(files, c.Ground)
	}
	s, surface, err := inputs{Files: files, Criteria: c.Criteria}.load(e)
	if err != nil {
		return err
	}
	met, err := metOf(c.Met, c.units())
	if err != nil {
		return err
	}
	if !c.Resolve && (len(met) > 0 || c.NewPlan != "") {
		return inputFault("", "option-invalid", "--met and --new-plan go with --resolve.")
	}
	b, err := e.read(c.Plan)
	if err != nil {
		return err
	}
	plan, err := document.ReadPlan(b, s.Frame)
	if err != nil {
		return named(err, c.Plan)
	}
	if err := ofSite(plan, s); err != nil {
		return named(err, c.Plan)
	}
	in, err := answer.Built(s, plan)
	if err != nil {
		return err
	}
	in.Only = c.RunName
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
	var again *parcels.Plan
	if c.Resolve {
		if again, err = answer.Resolve(e.ctx, newPlanner(), s, planner.Options{Surface: surface}, plan, r, met); err != nil {
			return err
		}
		if c.NewPlan != "" {
			if err := e.write(c.NewPlan, r.Resolved.Plan); err != nil {
				return err
			}
		}
	}
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
		if r.Resolved != nil {
			if err := resolvedTable(e.stdout, r.Resolved, again, u); err != nil {
				return err
			}
		}
		if err := cautions(e.stdout); err != nil {
			return err
		}
	}
	if r.Resolved != nil && r.Resolved.Verdict == parcels.NotFeasible || r.Resolved == nil && r.Verdict == parcels.NotFeasible {
		return errStop
	}
	return nil
}

// metOf reads what was met: RUN@STATION=KIND:LEVEL or KIND:LEVEL:LEVEL.
func metOf(texts []string, u display.Units) ([]parcels.Met, error) {
	foot := unit.Foot
	if u == display.SI {
		foot = unit.Metre
	}
	var out []parcels.Met
	for _, t := range texts {
		bad := func() error {
			return inputFault("met", "option-invalid", fmt.Sprintf("%q is not RUN@STATION=rock:TOP, root:LOW:TOP or utility:LOW:TOP.", parcels.Excerpt(t)))
		}
		place, what, ok := strings.Cut(t, "=")
		run, at, ok2 := strings.Cut(place, "@")
		part := strings.Split(what, ":")
		if !ok || !ok2 || run == "" || len(part) < 2 || len(part) > 3 {
			return nil, bad()
		}
		var v []float64
		for _, x := range append([]string{at}, part[1:]...) {
			f, err := strconv.ParseFloat(x, 64)
			if err != nil {
				return nil, bad()
			}
			v = append(v, f*float64(foot))
		}
		m := parcels.Met{Run: run, Station: unit.Length(v[0]), Kind: parcels.MetKind(part[0]), High: unit.Elevation(v[len(v)-1])}
		if len(v) == 3 {
			m.Low = parcels.Num(unit.Elevation(v[1]))
		}
		out = append(out, m)
	}
	return out, nil
}

// resolvedTable prints what becomes of the rest: what stays, and the cuts that
// change.
func resolvedTable(w io.Writer, r *asbuilt.Resolved, again *parcels.Plan, u display.Units) error {
	fmt.Fprintf(w, "\nThe rest laid to it: %s\n", words(string(r.Verdict)))
	if r.WhyNot != "" {
		wrap(w, "Why not: ", r.WhyNot)
	}
	if len(r.Locked) > 0 {
		wrap(w, "Stays as laid: ", strings.Join(r.Locked, ", ")+".")
	} else {
		fmt.Fprintln(w, "No run can be locked.")
	}
	for _, o := range r.Open {
		wrap(w, "  "+o.Run+" is not locked: ", o.Why+".")
	}
	if len(r.Changes) == 0 {
		_, err := fmt.Fprintln(w, "No invert changes: the stakes that stand are right.")
		return err
	}
	t := table{head: []string{"run", "at", "station", "invert was", "invert", "lower by", "cut was", "cut", "pipe", ""}, right: "__rrrrrr__"}
	for _, c := range r.Changes {
		pipe, mark := c.Size, ""
		if c.Size != c.SizeWas {
			pipe = c.SizeWas + " > " + c.Size
		}
		if c.Laid {
			mark = "laid"
		}
		t.row(c.Run, c.Point, u.Distance(c.Station), u.Elevation(c.Was), u.Elevation(c.Now), u.Length(c.Lower), display.Or(c.CutWas, u.Length), display.Or(c.Cut, u.Length), pipe, mark)
	}
	if err := t.write(w); err != nil {
		return err
	}
	if v := again.Verification; v != nil {
		fmt.Fprintf(w, "Checked by a second piece of code: %d checks passed. Stake anew from the new plan (--new-plan, then stake).\n", len(v.Checks))
	}
	var told []parcels.Finding
	for _, f := range again.Findings {
		if f.Severity == parcels.Stop {
			told = append(told, f)
		}
	}
	if len(told) > 0 {
		fmt.Fprintln(w, "What stands against it:")
		findings(w, told, u)
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
