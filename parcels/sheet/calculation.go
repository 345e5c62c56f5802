package sheet

// The calculation sheet: the working of every run, to be followed by hand.

import (
	"fmt"
	"strconv"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
	"fallwright/parcels"
	"fallwright/parcels/display"
)

// peak is the working of a run's flow by the rational method, from the figures
// that the plan carries.
func peak(r *parcels.Run) (hydro.Step, bool) {
	if r.Flow == nil {
		return hydro.Step{}, false
	}
	q := hydro.Quantity{Symbol: "Q", Name: "design flow", Value: float64(*r.Flow), Unit: "m3/s"}
	ca := hydro.Quantity{Symbol: "CA", Name: "runoff coefficient times area, summed", Value: float64(r.RoofCA + r.YardCA), Unit: "m2"}
	stated := hydro.Quantity{Symbol: "Qs", Name: "flow stated for intakes", Value: float64(r.StatedFlow), Unit: "m3/s"}
	if r.Intensity == nil {
		return hydro.Step{Title: "Design flow: stated for its intakes", Formula: "Qs", Given: []hydro.Quantity{stated}, Result: q, Source: source.Definition}, true
	}
	i := hydro.Quantity{Symbol: "i", Name: fmt.Sprintf("intensity at a time of concentration of %.1f min", float64(r.Tc)), Value: float64(*r.Intensity), Unit: "mm/h"}
	if r.StatedFlow == 0 {
		return hydro.Step{Title: "Design flow by the rational method", Formula: "CA*i/3600000", Given: []hydro.Quantity{ca, i}, Result: q, Source: source.HEC22}, true
	}
	return hydro.Step{Title: "Design flow by the rational method, with stated flows", Formula: "CA*i/3600000+Qs", Given: []hydro.Quantity{ca, i, stated}, Result: q, Source: source.HEC22}, true
}

// Working gives the working of one run: its flow, and its pipe at that flow. A
// run without levels or flow has what there is, and a note.
func Working(r *parcels.Run) (hydro.Sheet, error) {
	out := hydro.Sheet{Subject: "Run " + r.ID}
	if st, ok := peak(r); ok {
		out.Add(st)
	} else {
		out.Notes = append(out.Notes, hydro.Note{Code: "no_flow", Text: "no design flow is stated for this run: it carries ground water, or the rainfall is not known"})
	}
	if r.Slope == nil || *r.Slope <= 0 {
		out.Notes = append(out.Notes, hydro.Note{Code: "no_slope", Text: "the slope is not known: no capacity"})
		return out, nil
	}
	p := pipe.Pipe{Diameter: unit.Length(r.Diameter / 1000), N: r.N}
	q := hydro.Flow(0)
	if r.Flow != nil {
		q = *r.Flow
	}
	var s hydro.Sheet
	var err error
	if r.PipeCount > 1 {
		s, err = pipe.Alike(r.PipeCount, p).Sheet(q, *r.Slope)
	} else {
		s, err = p.Sheet(q, *r.Slope)
	}
	if err != nil {
		return out, err
	}
	out.Join(s)
	return out, nil
}

func sig(v float64) string { return strconv.FormatFloat(v, 'g', 5, 64) }

func (d *draft) calculation(f *flow) {
	f.title("Calculation sheet")
	d.about(f)
	f.heading("Design storm and coefficients")
	c := d.c
	f.facts([][2]string{
		{"Storm", fmt.Sprintf("%.0f-year, least time of concentration %.0f min for roofs and %.0f min for yards", float64(c.Storm.ReturnYears), float64(c.Storm.RoofMin), float64(c.Storm.YardMin))},
		{"Runoff", fmt.Sprintf("C %.2f for roofs, %.2f for yards where the intake states none", c.Runoff.RoofC, c.Runoff.YardC)},
		{"Pipe", fmt.Sprintf("target slope %s, least %s; least cover %s", d.u.Slope(c.Pipe.TargetSlope), d.u.Slope(c.Pipe.LeastSlope), d.u.Length(c.Pipe.LeastCover))},
		{"Worked in", "SI units; " + d.p.Frame.Plane},
	})
	f.heading("Summary of runs")
	var rows [][]string
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		fill := display.None
		if r.FillRatio != nil {
			fill = fmt.Sprintf("%.0f %%", 100**r.FillRatio)
		}
		rows = append(rows, []string{r.ID, d.u.Size(r.Size, r.Diameter), d.u.Area(r.Area), display.Or(r.Intensity, d.u.Intensity), display.Or(r.Flow, d.u.Flow), display.Or(r.Slope, d.u.Slope), display.Or(r.Capacity, d.u.Flow), fill, display.Or(r.Velocity, d.u.Velocity)})
	}
	f.table([]string{"run", "size", "area", "intensity", "flow", "slope", "full capacity", "fill", "velocity"}, []float64{7, 6, 10, 10, 9, 9, 10, 7, 9}, "__rrrrrrr", rows, 7)
	cited := map[string]bool{}
	var order []string
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		f.heading(fmt.Sprintf("Run %s: %s to %s, %s %s", r.ID, r.From, r.To, d.u.Size(r.Size, r.Diameter), r.Pipe))
		s, err := Working(r)
		if err != nil {
			f.para("Not worked: " + err.Error())
			continue
		}
		rows = nil
		for _, st := range s.Steps {
			var given []string
			for _, q := range st.Given {
				given = append(given, strings.TrimSpace(fmt.Sprintf("%s = %s %s", q.Symbol, sig(q.Value), q.Unit)))
			}
			formula := st.Formula
			if formula != "" {
				formula = st.Result.Symbol + " = " + formula
			}
			where := st.Source
			if st.Place != "" {
				where += ", " + st.Place
			}
			if st.Source != "" && !cited[st.Source] {
				cited[st.Source] = true
				order = append(order, st.Source)
			}
			rows = append(rows, []string{st.Title, formula, strings.Join(given, "; "), fmt.Sprintf("%s = %s %s", st.Result.Symbol, sig(st.Result.Value), st.Result.Unit), where})
		}
		if len(rows) > 0 {
			f.table([]string{"step", "formula", "with", "result", "source"}, []float64{24, 18, 30, 17, 14}, "", rows, 6.2)
		}
		for _, n := range s.Notes {
			f.item(n.Text)
		}
	}
	f.heading("Water levels")
	if len(d.p.WaterCases) == 0 {
		f.para("No water level was worked: the levels of the outlet or the ground are not known.")
	}
	for _, w := range d.p.WaterCases {
		f.item(fmt.Sprintf("%s, %.0f-year storm, level at the outlet %s: %s", strings.ReplaceAll(w.Name, "_", " "), float64(w.Return), display.Or(w.Level, d.u.Elevation), w.Message))
	}
	d.checked(f)
	f.heading("Sources")
	for _, k := range order {
		if src, ok := source.Lookup(k); ok {
			f.item(fmt.Sprintf("%s: %s", k, src.Document))
		}
	}
	d.cautions(f)
}

// about is the block that opens each document.
func (d *draft) about(f *flow) {
	s := d.p.Summary
	t := d.c.Sheet
	why := s.WhyNot
	if rs := []rune(why); len(rs) > 260 {
		why = string(rs[:260]) + " … (all with the findings)"
	}
	f.facts([][2]string{
		{"Site", siteName(d.p.Site) + ", " + lots(s.Lots)},
		{"Status", strings.ToUpper(d.p.Status) + "; verdict: " + verdict(s.Verdict)},
		{"Why not", why}, {"To settle it", s.Cure},
		{"Outlet", s.Outlet},
		{"Prepared by", strings.TrimSpace(t.Firm + " " + t.Licence)}, {"Revision", t.Revision},
		{"Datum", strings.TrimSpace(d.s.VerticalDatum + "  " + d.s.Benchmark)},
		{"Made by", d.p.Program},
	})
}

// cautions stand once on each paper.
func (d *draft) cautions(f *flow) {
	if f.cautioned {
		return
	}
	f.cautioned = true
	f.together(d.p.Cautions, 7.8)
	f.heading("Cautions")
	for _, c := range d.p.Cautions {
		f.set("•", c, 7.8)
	}
}

func (d *draft) checked(f *flow) {
	f.heading("Check by a second piece of code")
	v := d.p.Verification
	if v == nil {
		f.para("The plan carries no verification: do not use it.")
		return
	}
	n := 0
	for _, c := range v.Checks {
		if c.Passed {
			n++
		}
	}
	f.para(fmt.Sprintf("%d of %d checks passed. The checker shares no code with the planner.", n, len(v.Checks)))
}
