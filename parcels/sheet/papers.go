package sheet

// The owner's proposal, the permit narrative, the site-visit sheet, the crew's notes
// and the takeoff.

import (
	"fmt"
	"math"
	"strings"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/siting"
	"fallwright/parcels/stakeout"
)

func years(y float64) string { return fmt.Sprintf("%.0f-year", y) }

// takes says what the water is taken from.
func (d *draft) takes() string {
	downspouts, basins := 0, 0
	for _, p := range d.p.Points {
		for _, x := range p.Fittings {
			if x == "downspout adapter" {
				downspouts++
			}
			if strings.Contains(x, "basin") {
				basins++
			}
		}
	}
	var from []string
	if downspouts > 0 {
		from = append(from, count(downspouts, "downspout"))
	}
	if basins > 0 {
		from = append(from, count(basins, "basin"))
	}
	if len(from) == 0 {
		return "wet ground"
	}
	return strings.Join(from, " and ")
}

// needs are what must be had before the work, in an owner's words.
func (d *draft) needs() []string {
	var out []string
	for _, x := range d.p.Findings {
		switch {
		case x.NotProven:
			t := x.Message
			if x.Cure != "" {
				t += " " + x.Cure
			}
			out = append(out, t)
		case x.Code == "tie_in_permission":
			out = append(out, x.Message)
		case x.Code == "permission_needed":
			if _, rest, ok := strings.Cut(x.Message, " lies in "); ok {
				w, _, _ := strings.Cut(rest, ":")
				out = append(out, "Written permission to dig in "+strings.ReplaceAll(w, "_", " ")+".")
			} else {
				out = append(out, x.Message)
			}
		}
	}
	out = append(out, "The utility locating service's marks; yours of irrigation, lighting and other private lines.")
	return unique(out)
}

// priced says what the job costs, or why no price is given.
func (d *draft) priced() price {
	e := d.money
	switch {
	case e == nil:
		return price{Why: "no price book was laid beside this plan"}
	case len(e.Unpriced) > 0:
		return price{Why: safe("the price book lacks " + strings.Join(e.Unpriced, "; "))}
	}
	return price{Given: true, Currency: safe(e.Currency), Likely: amount(e.Total.Likely), Low: amount(e.Total.Low), High: amount(e.Total.High), Tax: fmt.Sprintf("%.2f %%", 100*e.TaxRate), Date: safe(e.Date), Region: safe(e.Region)}
}

// upkeepTable is the upkeep calendar as a table.
func (d *draft) upkeepTable(f *flow) {
	var rows [][]string
	for _, u := range upkeep(d.p) {
		rows = append(rows, []string{u.what, u.said, u.how})
	}
	f.table([]string{"what", "when", "how"}, []float64{34, 24, 42}, "", rows, 8)
}

// picture is the plan on a page of its own, with what an owner reads.
func (d *draft) picture(f *flow) {
	b := d.bound()
	room := planRoom(newDrawing(f.w, f.h))
	v := d.planView(f.w, f.h, window{sc: fit(d.u, b.Max[0]-b.Min[0], b.Max[1]-b.Min[1], room.w-8, room.h-8), centre: b.Center(), owner: true}, "Picture of the plan")
	d.block(v.drawing, "Picture of the plan", v.said, len(f.pages)+1, len(f.pages)+1)
	f.insert(v.page)
}

// rules are the rules of the place beside what the plan holds.
func (d *draft) rules(f *flow) {
	s := d.p.Summary
	c := d.c
	f.table([]string{"rule", "value", "plan"}, []float64{46, 27, 27}, "_rr", [][]string{
		{"slope of a run, least", d.u.Slope(c.Pipe.LeastSlope), display.Or(s.LeastSlope, d.u.Slope)},
		{"cover, least", d.u.Length(c.Pipe.LeastCover), least(d, func(r *parcels.Run) *unit.Length { return r.LeastCover })},
		{"trench depth, greatest", d.u.Length(c.Pipe.GreatestDepth), display.Or(s.GreatestDepth, d.u.Length)},
		{"trench edge to lot line, least (tie-in apart)", d.u.Length(c.Clearance.LotLine), least(d, func(r *parcels.Run) *unit.Length {
			if r.TieIn {
				return nil
			}
			return r.LeastClearance
		})},
		{"trench edge to foundation, solid pipe", d.u.Length(c.Clearance.Foundation), d.toSpare("foundation_clearance")},
		{"design storm, flow against full pipe", years(float64(c.Storm.ReturnYears)), d.fullest()},
	}, 7.5)
}

// toSpare is by how much the checker found a clearance over what is asked at its
// tightest place.
func (d *draft) toSpare(check string) string {
	if v := d.p.Verification; v != nil {
		for _, c := range v.Checks {
			if c.Check == check && c.Passed && c.Worst != nil {
				return d.u.Length(unit.Length(*c.Worst)) + " to spare"
			}
		}
	}
	return display.None
}

// fullest is the share of its capacity that the fullest run carries.
func (d *draft) fullest() string {
	most := -1.0
	for i := range d.p.Runs {
		if r := &d.p.Runs[i]; r.Flow != nil && r.Capacity != nil && *r.Capacity > 0 {
			most = max(most, float64(*r.Flow)/float64(*r.Capacity))
		}
	}
	if most < 0 {
		return display.None
	}
	return fmt.Sprintf("fullest run at %.0f %%", 100*most)
}

// findings is the table of findings and how each is met.
func (d *draft) findings(f *flow) {
	var rows [][]string
	for _, sev := range []parcels.Severity{parcels.Stop, parcels.Warn, parcels.Note} {
		for _, x := range d.p.Findings {
			if x.Severity == sev {
				rows = append(rows, []string{string(sev), x.Message + cite(x), met(x)})
			}
		}
	}
	if len(rows) == 0 {
		f.para("None.")
	} else {
		f.table([]string{"", "finding", "met by"}, []float64{7, 55, 38}, "", rows, 7)
	}
}

// amount writes money with commas and no cents.
func amount(v float64) string {
	s := fmt.Sprintf("%.0f", math.Round(v))
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

func unique(in []string) []string {
	seen := map[string]bool{}
	var out []string
	for _, s := range in {
		if !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	return out
}

// met says how a finding is met: its own cure, else by its kind.
func met(x parcels.Finding) string {
	if x.Cure != "" {
		return x.Cure
	}
	switch x.Code {
	case "tie_in_permission":
		return "Permit of the structure's owner, inspection before backfill; signature below."
	case "permission_needed":
		return "Written permission of the holder; signature below."
	case "way_out":
		return "A ladder or ramp within 25 ft of travel."
	case "protective_system":
		return "Sloping, shield or shoring by a competent person before anybody enters."
	case "utility_crossing", "irrigation_crossing", "drain_crossing":
		return "Located, exposed by hand, crossed square where it can be."
	case "steep_drop":
		return "Stock bends, bedded firmly; counted in the takeoff."
	case "below_target_slope":
		return "Laid by laser, inverts shot before backfill, as-built handed in."
	case "inlet_level_unknown", "inlet_backs_up", "surcharge", "runs_over", "standing_water", "submerged_entry":
		return "Told to the owner; sizes stand for the free outfall, levels in the calculation sheet."
	}
	if x.Severity == parcels.Stop {
		return "NOT MET: the plan may not be built as it stands."
	}
	return "Accepted as told; see the calculation sheet and the notes on the plan."
}

func plural(what string, ids []string) string {
	if len(ids) == 1 {
		return what + " " + ids[0]
	}
	return what + "s " + strings.Join(ids, ", ")
}

func least(d *draft, of func(*parcels.Run) *unit.Length) string {
	var m *unit.Length
	for i := range d.p.Runs {
		if v := of(&d.p.Runs[i]); v != nil && (m == nil || *v < *m) {
			m = v
		}
	}
	return display.Or(m, d.u.Length)
}

func (d *draft) rests(f *flow) {
	f.heading("What the plan rests on")
	or := func(l []string) string {
		if len(l) == 0 {
			return "nothing"
		}
		return strings.ReplaceAll(strings.Join(l, ", "), "_", " ")
	}
	f.facts([][2]string{{"Measured", or(d.p.RestsOn.Measured)}, {"From maps", or(d.p.RestsOn.Mapped)}, {"Assumed", or(d.p.RestsOn.Assumed)}})
	f.para(fmt.Sprintf("%d values were taken from the built-in rules because the input is silent; the written plan lists them.", len(d.p.Assumptions)))
}

// stakeRows is the stake table; with blanks, room to write beside each stake what
// was shot on it and the cut marked.
func (d *draft) stakeRows(f *flow, stakes []stakeout.Stake, blanks bool) {
	f.para("All in " + d.u.LengthUnit() + ". Stations from the lower end of each line. Ground is over the pipe; shoot the stake and mark its own cut. Bottom is the trench bottom below that ground.")
	head := []string{"no", "line", "station", "point", "offset", "ground", "invert", "cut", "bottom", "grade up", "pipe"}
	share := []float64{5, 5, 9, 11, 11, 9, 9, 19, 9, 9, 13}
	if blanks {
		head, share = append(head, "stake shot", "cut marked"), append(share, 14, 14)
	}
	var rows [][]string
	for _, s := range stakes {
		cut := display.None
		if s.Cut != nil {
			cut = d.u.LengthBare(*s.Cut)
			if d.u == display.US {
				cut += " = " + stakeout.Cut(*s.Cut)
			}
		}
		row := []string{fmt.Sprint(s.Number), s.Line, stakeout.Station(s.Station, d.u), s.Point, d.u.LengthBare(s.Offset) + " " + s.Side, display.Or(s.Ground, d.u.Elevation), d.u.Elevation(s.Invert), cut, display.Or(s.Dig, d.u.LengthBare), display.Or(s.Grade, d.u.Slope), s.Pipe}
		if blanks {
			row = append(row, "", "")
		}
		rows = append(rows, row)
	}
	f.table(head, share, "r____rrrrr_", rows, 6.8)
}

// stakeTable is the stake table as a paper of its own.
func (d *draft) stakeTable(f *flow) {
	f.title("Stake table")
	d.about(f)
	d.stakeRows(f, d.stakes, true)
	d.cautions(f)
}

// order is the table of lines in the order of digging.
func (d *draft) order(f *flow) {
	if len(d.lines) == 0 {
		f.para("Nothing can be staked: the plan has no levels.")
		return
	}
	var rows [][]string
	side := map[string]string{}
	for _, s := range d.stakes {
		side[s.Line] = s.Side
	}
	for i, l := range d.lines {
		deep, shallow := unit.Length(math.Inf(-1)), unit.Length(math.Inf(1))
		for _, s := range d.stakes {
			if s.Line == l.Name && s.Dig != nil {
				deep, shallow = max(deep, *s.Dig), min(shallow, *s.Dig)
			}
		}
		for _, id := range l.Runs { // the deepest place may lie between stakes
			if r := d.p.Run(id); r != nil && r.GreatestDepth != nil {
				deep = max(deep, *r.GreatestDepth)
			}
		}
		spoil := "right"
		if side[l.Name] == "right" {
			spoil = "left"
		}
		depth := display.None
		if deep >= shallow {
			depth = d.u.Length(shallow) + " to " + d.u.Length(deep)
		}
		rows = append(rows, []string{fmt.Sprint(i + 1), l.Name, l.From, l.To, strings.Join(l.Runs, ", "), d.u.Distance(l.Length), depth, spoil, safety(deep)})
	}
	f.table([]string{"", "line", "from", "up to", "runs", "length", "trench depth", "spoil side", "trench safety"}, []float64{4, 5, 9, 10, 17, 9, 13, 8, 25}, "", rows, 7)
}

// handDigging are the places where a machine does not dig.
func (d *draft) handDigging() (out []string) {
	for _, x := range d.p.Findings {
		switch x.Code {
		case "utility_crossing", "irrigation_crossing", "drain_crossing", "fence_crossing", "fence_strip":
			out = append(out, x.Message+cite(x))
		}
	}
	for i := range d.s.Obstacles {
		o := &d.s.Obstacles[i]
		if o.Kind != "tree" {
			continue
		}
		var runs []string
		for k := range d.p.Runs {
			if near(o, d.p.Runs[k].Line, siting.Extent(o, *d.c)+0.5) {
				runs = append(runs, d.p.Runs[k].ID)
			}
		}
		if len(runs) > 0 {
			out = append(out, fmt.Sprintf("The root zone of a tree is passed by %s: dig by hand, cut no root over %s.", plural("run", runs), d.dim(1*unit.Inch)))
		}
	}
	return out
}

// hose is the table of the hose test.
func (d *draft) hose(f *flow) {
	var rows [][]string
	for i := range d.p.Points {
		if p := &d.p.Points[i]; p.Kind == parcels.PointIntake {
			rows = append(rows, []string{p.ID, strings.Join(p.Fittings, ", "), "", "", ""})
		}
	}
	f.table([]string{"intake", "fittings", "minutes", "seen at outlet and grates", "by, date"}, []float64{14, 34, 10, 27, 15}, "", rows, 8)
}

// photographs is the list of what is photographed.
func (d *draft) photographs(f *flow) {
	var rows [][]string
	for i := range d.p.Points {
		if p := &d.p.Points[i]; len(p.Fittings) > 0 {
			rows = append(rows, []string{p.ID, string(p.Kind), strings.Join(p.Fittings, ", "), ""})
		}
	}
	for _, x := range d.p.Findings {
		switch x.Code {
		case "utility_crossing", "irrigation_crossing", "drain_crossing", "fence_crossing":
			rows = append(rows, []string{x.Feature, "crossing", x.Message, ""})
		}
	}
	f.table([]string{"at", "kind", "shows", "file, date"}, []float64{14, 12, 50, 24}, "", rows, 8)
}

// inverts is the table in which the as-built shots are written.
func (d *draft) inverts(f *flow) {
	var rows [][]string
	for i := range d.p.Points {
		p := &d.p.Points[i]
		rows = append(rows, []string{p.ID, string(p.Kind), display.Or(p.Ground, d.u.Elevation), display.Or(p.Invert, d.u.Elevation), "", "", ""})
	}
	f.table([]string{"point", "kind", "ground, " + d.u.LengthUnit(), "invert, " + d.u.LengthUnit(), "invert shot", "ground after", "by, date"}, []float64{14, 12, 13, 13, 16, 16, 16}, "__rr", rows, 8)
}

// permissions are what must be had in writing before digging.
func (d *draft) permissions() []string {
	var out []string
	for _, x := range d.p.Findings {
		if x.Code == "tie_in_permission" {
			out = append(out, "tie-in at "+x.Feature)
		}
		if x.Code == "permission_needed" {
			if _, rest, ok := strings.Cut(x.Message, " lies in "); ok {
				w, _, _ := strings.Cut(rest, ":")
				out = append(out, strings.ReplaceAll(w, "_", " "))
			}
		}
	}
	if out = unique(out); len(out) == 0 {
		out = []string{"none needed of those known"}
	}
	return out
}

// safety by depth (29 CFR 1926.651 and .652).
func safety(deep unit.Length) string {
	switch {
	case deep < 0:
		return "depth not known: treat as deep"
	case deep >= 20*unit.Foot:
		return "an engineer designs the protection (20 ft)"
	case deep >= 5*unit.Foot:
		return "slope, shield or shore before entry (5 ft); way out within 25 ft"
	case deep >= 4*unit.Foot:
		return "way out within 25 ft (4 ft); test the air where it may be bad"
	}
	return "under 4 ft: a competent person looks at the walls"
}

func (d *draft) takeoff(f *flow) {
	f.title("Takeoff")
	d.about(f)
	rows := d.rows
	if d.money != nil {
		rows = d.money.Rows
	}
	if len(rows) == 0 {
		f.para("The plan has no runs, so there is nothing to take off.")
		d.cautions(f)
		return
	}
	head := []string{"item", "net", "", "waste", "order", "", "basis"}
	share := []float64{26, 8, 7, 7.5, 8, 9, 42}
	if d.money != nil {
		head = append(head, "unit price", "cost")
		share = append(share, 9, 10)
	}
	var cells [][]string
	for _, q := range rows {
		waste := ""
		if q.Waste != nil {
			waste = fmt.Sprintf("%.0f %%", 100**q.Waste)
		}
		r := []string{q.Item, trim(q.Net), q.NetUnit, waste, trim(q.Order), q.OrderUnit, q.Basis}
		if d.money != nil {
			money := func(v *float64) string {
				if v == nil {
					return ""
				}
				return fmt.Sprintf("%.2f", *v)
			}
			r = append(r, money(q.UnitCost), money(q.Cost))
		}
		cells = append(cells, r)
	}
	f.table(head, share, "_r_rr__rr", cells, 7)
	if e := d.money; e != nil {
		f.heading("Cost (" + orNone(e.Currency) + ")")
		line := func(name string, lo, l, h float64) []string { return []string{name, amount(lo), amount(l), amount(h)} }
		f.table([]string{"", "low", "likely", "high"}, []float64{50, 16, 16, 16}, "_rrr", [][]string{
			line("direct cost", e.Direct.Low, e.Direct.Likely, e.Direct.High),
			line(fmt.Sprintf("overhead, %.1f %%", 100*e.OverheadRate), e.Overhead.Low, e.Overhead.Likely, e.Overhead.High),
			line(fmt.Sprintf("margin, %.1f %% of cost with overhead", 100*e.MarginRate), e.Margin.Low, e.Margin.Likely, e.Margin.High),
			line(fmt.Sprintf("tax, %.2f %%", 100*e.TaxRate), e.Tax.Low, e.Tax.Likely, e.Tax.High),
			line("total", e.Total.Low, e.Total.Likely, e.Total.High)}, 8)
		f.para(fmt.Sprintf("Prices: the oldest of %s, region %s.", orNone(e.Date), orNone(e.Region)))
		if len(e.Unpriced) > 0 {
			f.para("NOT PRICED, so that the total is no price for the job: " + strings.Join(e.Unpriced, "; ") + ".")
		}
	}
	d.cautions(f)
}

func trim(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.2f", v), "0"), ".")
}
