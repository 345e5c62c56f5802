package main

// fallwright stake: the table and the points that a crew and a rover set out.

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
	"fallwright/parcels/sheet"
	"fallwright/parcels/stakeout"
)

type stakeCmd struct {
	inputs
	output
	Every  float64 `help:"Distance between stakes, in feet (--units si: metres). Every point is staked as well." default:"0"`
	Offset float64 `help:"Distance of the stakes from the line, in feet (--units si: metres)." default:"0"`
	Paper  string  `help:"Paper of a table as .pdf: letter, tabloid, a4, a3." enum:"letter,tabloid,a4,a3" default:"letter"`
}

func (c stakeCmd) Run(e *env) error {
	plan, site, f, _, err := c.planAndSite(e)
	if err != nil {
		return err
	}
	foot := unit.Foot
	if c.units() == display.SI {
		foot = unit.Metre
	}
	criteria := parcels.DefaultCriteria()
	if site != nil {
		criteria = site.Criteria
	} else if c.Criteria != "" {
		b, err := e.read(c.Criteria)
		if err != nil {
			return err
		}
		if criteria, _, err = document.ReadCriteria(b); err != nil {
			return named(err, c.Criteria)
		}
	}
	if c.Every < 0 || c.Offset < 0 {
		return inputFault("", "stake-option", "--every and --offset cannot be negative.")
	}
	lines, stakes, err := stakeout.Of(plan, stakeout.Options{Every: unit.Length(c.Every) * foot, Offset: unit.Length(c.Offset) * foot, Bedding: criteria.Trench.Bedding, Site: site})
	if err != nil {
		return err
	}
	ext := filepath.Ext(c.Out)
	if c.Out == "-" || c.Out == "" {
		ext = ".csv"
	}
	if c.JSON {
		ext = ".geojson"
	}
	var b []byte
	if strings.EqualFold(ext, ".pdf") {
		if site == nil { // the table needs no more of it
			site = &parcels.Site{Frame: f, Criteria: criteria}
		}
		files, err := sheet.Write(plan, site, sheet.Order{Kind: sheet.KindStakes, Units: c.units(), Every: unit.Length(c.Every) * foot, Offset: unit.Length(c.Offset) * foot, Paper: c.Paper})
		if err != nil {
			return err
		}
		b = files[0].Body
	} else if b, err = stakeout.Write(ext, lines, stakes, f, c.units()); err != nil {
		return err
	}
	if c.Out != "" {
		if err := e.write(c.Out, b); err != nil {
			return err
		}
		if c.Out == "-" || !c.JSON {
			fmt.Fprintf(e.stderr, "%d stakes on %d lines\n", len(stakes), len(lines))
			return standing(plan)
		}
	}
	if c.JSON {
		if err := e.write("-", b); err != nil {
			return err
		}
		return standing(plan)
	}
	t := table{head: []string{"no", "line", "station", "point", "offset", "ground", "invert", "cut", "", "bottom", "grade up", "pipe"}, right: "r_____rrrrrr"}
	u := c.units()
	for _, s := range stakes {
		cut := display.None
		if s.Cut != nil {
			cut = stakeout.Cut(*s.Cut)
		}
		t.row(fmt.Sprint(s.Number), s.Line, stakeout.Station(s.Station, u), s.Point, u.Length(s.Offset)+" "+s.Side, display.Or(s.Ground, u.Elevation), u.Elevation(s.Invert), display.Or(s.Cut, u.Length), cut, display.Or(s.Dig, u.Length), display.Or(s.Grade, u.Slope), s.Pipe)
	}
	if err := t.write(e.stdout); err != nil {
		return err
	}
	fmt.Fprintln(e.stdout, "\nStationed from the outlet up. Cut is from the ground over the pipe to the invert; bottom is the trench bottom below that ground. Shoot each stake and mark its own cut.")
	if err := cautions(e.stdout); err != nil {
		return err
	}
	return standing(plan)
}

// standing is the exit of a verb on a plan that may be infeasible.
func standing(p *parcels.Plan) error {
	if p.Summary.Verdict == parcels.NotFeasible {
		return errStop
	}
	return nil
}

// sameSystem says whether a plan's coordinates are in the system of a site.
func sameSystem(crs string, f *frame.Frame) bool {
	return frame.Normalise(crs) == frame.Normalise(f.CRS()) || f.Geographic() && crs == "OGC:CRS84"
}

// planAndSite reads a plan, and the site beside it where it is given, with the ground where
// a raster is given. The frame
// is the site's, or that of the plan's own statement.
func (in inputs) planAndSite(e *env) (*parcels.Plan, *parcels.Site, *frame.Frame, ground.Surface, error) {
	var planFile string
	var planText []byte
	var broken error // of a file that is no plan, nor anything else that is read
	rest := in
	rest.Files = nil
	for _, file := range in.Files {
		ext := strings.ToLower(filepath.Ext(file))
		if strings.Contains(file, "=") || slices.Contains([]string{".tif", ".tiff", ".asc", ".csv", ".txt", ".pnezd"}, ext) || file == "-" && len(in.Files) > 1 {
			rest.Files = append(rest.Files, file)
			continue
		}
		b, err := e.text(file)
		if err != nil {
			if broken == nil {
				broken = err
			}
			rest.Files = append(rest.Files, file)
			continue
		}
		var top struct {
			Network json.RawMessage `json:"network"`
			Summary json.RawMessage `json:"summary"`
		}
		if json.Unmarshal(b, &top) == nil && top.Network != nil && top.Summary != nil {
			if planText != nil {
				return nil, nil, nil, nil, inputFault(file, "plan-twice", "A second plan, beside "+planFile+"; give one.")
			}
			planFile, planText = file, b
			continue
		}
		rest.Files = append(rest.Files, file)
	}
	if planText == nil && broken != nil {
		return nil, nil, nil, nil, broken
	}
	if planText == nil {
		return nil, nil, nil, nil, inputFault(strings.Join(in.Files, ", "), "plan-missing", "None of the files is a plan. Write one with: fallwright plan SITE --out plan.json.")
	}
	if len(rest.Files) > 0 {
		site, surface, err := rest.load(e)
		if err != nil {
			return nil, nil, nil, nil, err
		}
		p, err := document.ReadPlan(planText, site.Frame)
		if err != nil {
			return nil, nil, nil, nil, named(err, planFile)
		}
		if err := ofSite(p, site); err != nil {
			return nil, nil, nil, nil, named(err, planFile)
		}
		return p, site, site.Frame, surface, nil
	}
	var head struct {
		Frame parcels.FrameStatement `json:"frame"`
	}
	_ = json.Unmarshal(planText, &head)
	st := head.Frame
	crs, bounds := st.CRS, orb.Bound{}
	if st.CentreLon != nil && st.CentreLat != nil {
		c := orb.Point{*st.CentreLon, *st.CentreLat}
		crs, bounds = "", orb.Bound{Min: c, Max: c}
	}
	f, err := frame.New(crs, bounds)
	if err != nil {
		return nil, nil, nil, nil, inputFault(planFile, "plan-frame", "The plan does not say in which plane it is worked: "+err.Error()+". Give the site document beside it.")
	}
	p, err := document.ReadPlan(planText, f)
	if err != nil {
		return nil, nil, nil, nil, named(err, planFile)
	}
	return p, nil, f, nil, nil
}
