package main

// What a person reads in the terminal.

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"fallwright/geo/unit"
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
		wrap(w, "Why not: ", s.WhyNot)
	}
	if s.Cure != "" {
		wrap(w, "To settle it: ", s.Cure)
	}
	if s.Outlet != "" {
		fmt.Fprintf(w, "Outlet %s   pipe %s in %s of trench   fall %s   least slope %s   flow %s   deepest %s\n\n",
			s.Outlet, u.Distance(s.Length), u.Distance(s.TrenchLength), display.Or(s.Fall, u.Length), display.Or(s.LeastSlope, u.Slope), display.Or(s.Flow, u.Flow), display.Or(s.GreatestDepth, u.Length))
	}
	if len(p.Runs) > 0 {
		t := table{head: []string{"run", "from", "to", "carries", "pipe", "length", "slope", "invert up", "invert down", "flow", "carries full", "velocity", "cover", ""}, right: "_____rrrrrrrr_"}
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
				display.Or(r.Flow, u.Flow), display.Or(r.Capacity, u.Flow), display.Or(r.Velocity, u.Velocity), display.Or(r.LeastCover, u.Length), mark)
		}
		if err := t.write(w); err != nil {
			return err
		}
		fmt.Fprintln(w)
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
	others := 0
	for _, a := range p.Alternatives {
		if a.Outlet != s.Outlet && a.Reason != "" {
			if others == 0 {
				fmt.Fprintln(w, "Other outlets:")
			}
			others++
			wrap(w, "  "+a.Outlet+": ", a.Reason+".")
		}
	}
	if others > 0 {
		fmt.Fprintln(w)
	}
	fmt.Fprintln(w, "Findings:")
	findings(w, p.Findings)
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
func findings(w io.Writer, fs []parcels.Finding) {
	any := false
	for _, sev := range []parcels.Severity{parcels.Stop, parcels.Warn, parcels.Note} {
		for _, f := range fs {
			if f.Severity == sev {
				any = true
				src := ""
				if f.Source != "" {
					src = " [" + f.Source + "]"
				}
				wrap(w, fmt.Sprintf("  %-5s ", sev), f.Message+src)
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
