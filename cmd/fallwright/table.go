package main

// What a person reads in the terminal.

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/display"
)

// table is rows of text; right has an r for each column set to the right.
type table struct {
	head  []string
	right string
	rows  [][]string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

func (t *table) write(w io.Writer) error {
	width := make([]int, len(t.head))
	all := append([][]string{t.head}, t.rows...)
	for _, r := range all {
		for i, c := range r {
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	var b strings.Builder
	for k, r := range all {
		for i, c := range r {
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(c))
			last := i == len(r)-1
			if i < len(t.right) && t.right[i] == 'r' {
				b.WriteString(pad + c)
			} else if last {
				b.WriteString(c)
			} else {
				b.WriteString(c + pad)
			}
			if !last {
				b.WriteString("  ")
			}
		}
		b.WriteString("\n")
		if k == 0 {
			for i := range width {
				b.WriteString(strings.Repeat("-", width[i]))
				if i < len(width)-1 {
					b.WriteString("  ")
				}
			}
			b.WriteString("\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// planTable prints a plan: the answer first, then each run from the top down,
// what was found, what was checked, what it rests on, the cautions.
func planTable(w io.Writer, p *parcels.Plan, u display.Units) error {
	s := p.Summary
	fmt.Fprintf(w, "%s, %s\n", siteName(p.Site), lots(s.Lots))
	fmt.Fprintf(w, "%s (%s)\n\n", strings.ToUpper(words(string(s.Verdict))), p.Status)
	if s.WhyNot != "" {
		wrap(w, "Why not: ", u.Text(s.WhyNot))
	}
	if s.Cure != "" {
		wrap(w, "To settle it: ", u.Text(s.Cure))
	}
	if s.Outlet != "" {
		fmt.Fprintf(w, "Outlet %s   pipe %s in %s of trench   fall %s   least slope %s   flow %s   deepest %s\n\n",
			s.Outlet, u.Distance(s.Length), u.Distance(s.TrenchLength), display.Or(s.Fall, u.Length), display.Or(s.LeastSlope, u.Slope), display.Or(s.Flow, u.Flow), display.Or(s.GreatestDepth, u.Length))
	}
	if len(p.Runs) > 0 {
		t := table{head: []string{"run", "from", "to", "carries", "pipe", "length", "slope", "invert up", "invert down", "flow", "carries full", "velocity", "cover", "too flat", ""}, right: "_____rrrrrrrrr_"}
		for _, r := range p.Runs {
			pipe := u.Size(r.Size, r.Diameter) + " " + r.Pipe
			if r.PipeCount > 1 {
				pipe = fmt.Sprintf("%d x %s", r.PipeCount, pipe)
			}
			mark := ""
			if r.LeadOff {
				mark = "first run"
			}
			if r.TieIn {
				mark = "last run, tie-in"
			}
			t.row(r.ID, r.From, r.To, string(r.Carries), pipe, u.Distance(r.Length), display.Or(r.Slope, u.Slope), display.Or(r.InvertUp, u.Elevation), display.Or(r.InvertDown, u.Elevation),
				display.Or(r.Flow, u.Flow), display.Or(r.Capacity, u.Flow), display.Or(r.Velocity, u.Velocity), display.Or(r.LeastCover, u.Length), display.Or(r.ChanceUnder, display.Chance), mark)
		}
		if err := t.write(w); err != nil {
			return err
		}
		fmt.Fprint(w, "Too flat: the chance that a run is laid with less than the least slope, as shots and laying err.\n\n")
	}
	for _, tk := range p.Trunks {
		if err := trunkTable(w, p, tk, u); err != nil {
			return err
		}
	}
	if err := waterTables(w, p, u); err != nil {
		return err
	}
	if len(p.Trenches) > 0 {
		var dig, stone, length float64
		known := true
		for _, t := range p.Trenches {
			length += float64(t.Length)
			stone += t.Stone
			if t.Excavation == nil {
				known = false
			} else {
				dig += *t.Excavation
			}
		}
		fmt.Fprintf(w, "Trenches: %d, %s; stone %s", len(p.Trenches), u.Distance(unit.Length(length)), u.Volume(stone))
		if known {
			fmt.Fprintf(w, "; excavation %s in the bank", u.Volume(dig))
		}
		fmt.Fprint(w, "\n\n")
	}
	if len(p.Shares) > 0 {
		fmt.Fprintln(w, "What each lot pays of the shared drain, by its part of the flow in each run:")
		t := table{head: []string{"lot", "drains to", "C A", "pipe", "shared with others", "cost index", "part"}, right: "__rrrrr"}
		sum := 0.0
		for _, x := range p.Shares {
			t.row(x.Lot, x.Outlet, u.Area(x.CA), u.Distance(x.Length), u.Distance(x.Shared), fmt.Sprintf("%.2f", x.CostIndex), fmt.Sprintf("%.1f %%", 100*x.Share))
			sum += x.CostIndex
		}
		t.row("all", "", "", u.Distance(s.Length), "", fmt.Sprintf("%.2f", sum), "100.0 %")
		if err := t.write(w); err != nil {
			return err
		}
		fmt.Fprintln(w)
	}
	others := 0
	for _, a := range p.Alternatives {
		if a.Outlet != s.Outlet && a.Reason != "" {
			if others == 0 {
				fmt.Fprintln(w, "Other outlets:")
			}
			others++
			name := a.Outlet
			if name == "" {
				name = "an " + words(a.Kind)
			}
			if a.Lot != "" {
				name = "lot " + a.Lot + ", " + name
			}
			wrap(w, "  "+name+": ", u.Text(a.Reason)+".")
		}
	}
	if others > 0 {
		fmt.Fprintln(w)
	}
	if len(p.Remedies) > 0 {
		fmt.Fprintln(w, "What would mend it:")
		// whose drain it mends, where the plan has drains of several lots
		name := func(r *parcels.Remedy) string {
			if r.Lot != "" && len(s.Lots) > 1 {
				return "lot " + r.Lot + ", " + words(r.Kind)
			}
			return words(r.Kind)
		}
		t := table{head: []string{"remedy", "does it", "gains", "still short", "cost index", "cut", "fill"}, right: "__rrrrr"}
		for i := range p.Remedies {
			r := &p.Remedies[i]
			does := "no"
			switch r.Verdict {
			case parcels.Feasible:
				does = "yes"
			case parcels.NotProven:
				does = "with leave"
			}
			t.row(name(r), does, display.Or(r.Gain, u.Length), display.Or(r.Short, u.Length), display.Or(r.CostIndex, func(v float64) string { return fmt.Sprintf("%.1f", v) }), display.Or(r.Cut, u.Volume), display.Or(r.Fill, u.Volume))
		}
		if err := t.write(w); err != nil {
			return err
		}
		for i := range p.Remedies {
			wrap(w, "  "+name(&p.Remedies[i])+": ", p.Remedies[i].Message)
		}
		fmt.Fprintln(w)
	}
	fmt.Fprintln(w, "Findings:")
	findings(w, p.Findings, u)
	if v := p.Verification; v != nil {
		n := 0
		for _, c := range v.Checks {
			if c.Passed {
				n++
			}
		}
		fmt.Fprintf(w, "\nChecked by a second piece of code: %d of %d checks passed.\n", n, len(v.Checks))
	}
	fmt.Fprintf(w, "Worked in: %s.\n", p.Frame.Plane)
	fmt.Fprintf(w, "Assumed because the input is silent: %d values (listed in the written plan).\n", len(p.Assumptions))
	return cautions(w)
}

// trunkTable prints where the sizes grow down the trunk: the points where water
// comes in or the pipe changes, and the arrival.
func trunkTable(w io.Writer, p *parcels.Plan, tk parcels.Trunk, u display.Units) error {
	fmt.Fprintf(w, "Where the flow grows on the way to %s (points without a change left out):\n", tk.Outlet)
	t := table{head: []string{"at", "point", "joins", "of lot", "adds", "flow", "time", "pipe below", "carries full", "spare"}, right: "r___rrr_rr"}
	fewer := false
	for i, q := range tk.Points {
		in := p.Point(q.Point)
		if i > 0 && len(q.Joins) == 0 && !q.Grown && (in == nil || in.Kind != parcels.PointIntake) {
			continue
		}
		pipe := u.Size(q.Size, q.Diameter)
		if q.PipeCount > 1 {
			pipe = fmt.Sprintf("%d x %s", q.PipeCount, pipe)
		}
		if q.Grown {
			pipe += ", grown"
		}
		full := "–"
		if r := p.Run(q.Run); r != nil {
			full = display.Or(r.Capacity, u.Flow)
		}
		added := u.Flow(q.Added)
		fewer = fewer || strings.HasPrefix(added, "-")
		t.row(u.Distance(q.Station), q.Point, strings.Join(q.Joins, ", "), strings.Join(q.Lots, ", "), added, u.Flow(q.Flow), fmt.Sprintf("%.1f min", float64(q.Tc)),
			pipe, full, display.Or(q.Spare, func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }))
	}
	if err := t.write(w); err != nil {
		return err
	}
	if fewer {
		fmt.Fprintln(w, "Less than nothing added: the water that joins has a longer way, and the rain of a longer time is weaker by more than it brings.")
	}
	_, err := fmt.Fprintln(w)
	return err
}

// caseWords say in which state the outlet is.
var caseWords = map[string]string{"free_outfall": "free outfall", "at_crown": "water at the outgoing crown", "at_rim": "full to its rim", "stated": "level as stated"}

// waterTables print how high the water stands in each storm at the place where
// it comes nearest to its rim, and what a backed-up outlet does.
func waterTables(w io.Writer, p *parcels.Plan, u display.Units) error {
	if len(p.WaterCases) > 0 {
		fmt.Fprintln(w, "Water levels, at the basin where they come nearest to the rim:")
		t := table{head: []string{"storm", "outlet", "its level", "at", "level", "rim", "below the rim", "first over"}, right: "r_r_rrr_"}
		for _, c := range p.WaterCases {
			var at *parcels.Point
			var free unit.Length
			for i := range p.Points {
				q := &p.Points[i]
				level, ok := c.Levels[q.ID]
				if !ok || q.Kind != parcels.PointIntake || q.Rim == nil {
					continue
				}
				if f := q.Rim.Above(level); at == nil || f < free {
					at, free = q, f
				}
			}
			if at == nil {
				continue
			}
			over := c.FirstSpill
			if over == "" {
				over = "none"
			}
			level, below := u.Elevation(c.Levels[at.ID]), u.Length(free)
			if free < 0 { // it runs over there and rises no further
				level, below = u.Elevation(*at.Rim), "runs over"
			}
			t.row(fmt.Sprintf("%g-year", float64(c.Return)), caseWords[c.Name], display.Or(c.Level, u.Elevation), at.ID, level, u.Elevation(*at.Rim), below, over)
		}
		if err := t.write(w); err != nil {
			return err
		}
		fmt.Fprintln(w)
	}
	for _, b := range p.Backed() {
		if err := backUpTable(w, b, u); err != nil {
			return err
		}
	}
	return nil
}

// backUpTable shows what a backed-up outlet does to one drain.
func backUpTable(w io.Writer, b *parcels.BackedUp, u display.Units) error {
	fmt.Fprintf(w, "When inlet %s backs up in the design storm, %s:\n", b.Outlet, lots(b.Lots))
	t := table{head: []string{"perforated pipes", "valve", "line full", "highest water", "comes out", "first at", "from the sewer", "voids", "of use", "empty after"}, right: "__rrr_rrrr"}
	row := func(n int, valve string, s *parcels.Storage) {
		if s == nil {
			return
		}
		count := "none"
		if n > 0 {
			count = fmt.Sprint(n)
		}
		t.row(count, valve, display.Or(s.MinutesAbove, func(d hydro.Duration) string { return fmt.Sprintf("%.0f min", float64(d)) }), display.Or(s.PeakLevel, u.Elevation), u.Water(s.Overflow),
			display.Or(s.FirstToSpill, func(v string) string { return v }), u.Water(s.FromSewer), u.Water(s.VoidVolume), u.Water(s.UsableVolume), display.Or(s.EmptyAfter, func(h float64) string { return fmt.Sprintf("%.1f h", h) }))
	}
	for ; b != nil; b = b.Other {
		row(b.PipeCount, "no", b.Without)
		row(b.PipeCount, "yes", b.With)
	}
	if err := t.write(w); err != nil {
		return err
	}
	_, err := fmt.Fprintln(w)
	return err
}

// siteName is a site's name as a person writes it: Quillmere Hollow.
func siteName(s string) string {
	ws := strings.Fields(words(parcels.Excerpt(s)))
	for i, w := range ws {
		r, n := utf8.DecodeRuneInString(w)
		ws[i] = string(unicode.ToUpper(r)) + w[n:]
	}
	if len(ws) == 0 {
		return "Site without a name"
	}
	return strings.Join(ws, " ")
}

func lots(ids []string) string {
	if len(ids) == 1 {
		return "lot " + ids[0]
	}
	return "lots " + strings.Join(ids, ", ")
}

// findings prints stops first, then warnings, then notes.
func findings(w io.Writer, fs []parcels.Finding, u display.Units) {
	any := false
	for _, sev := range []parcels.Severity{parcels.Stop, parcels.Warn, parcels.Note} {
		for _, f := range fs {
			if f.Severity == sev {
				any = true
				src := ""
				if f.Source != "" {
					src = " [" + f.Source + "]"
				}
				wrap(w, fmt.Sprintf("  %-5s ", sev), u.Text(f.Message)+src)
			}
		}
	}
	if !any {
		fmt.Fprintln(w, "  none")
	}
}

func cautions(w io.Writer) error {
	fmt.Fprintln(w, "\nCautions:")
	for _, c := range parcels.Cautions {
		wrap(w, "  - ", c)
	}
	return nil
}

// wrap prints text behind a lead, in lines of at most 110 characters.
func wrap(w io.Writer, lead, text string) {
	const most = 110
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line := lead
	n := utf8.RuneCountInString(lead)
	first := true
	for _, word := range strings.Fields(text) {
		l := utf8.RuneCountInString(word)
		if !first && n+1+l > most {
			fmt.Fprintln(w, strings.TrimRight(line, " "))
			line, n, first = indent, len(indent), true
		}
		if !first {
			line += " "
			n++
		}
		line += word
		n += l
		first = false
	}
	fmt.Fprintln(w, line)
}
