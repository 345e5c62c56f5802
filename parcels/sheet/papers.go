package sheet

// The owner's proposal, the permit narrative, the site-visit sheet, the crew's notes
// and the takeoff.

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/siting"
	"fallwright/parcels/stakeout"
)

func years(y float64) string { return fmt.Sprintf("%.0f-year", y) }

func (d *draft) proposal(f *flow) {
	s := d.p.Summary
	f.title("Proposal for your yard drain")
	d.about(f)
	if s.Verdict == parcels.NotFeasible {
		f.heading("Where it stands")
		f.para("As the ground, the lot lines and the rules lie, no drain that runs by gravity alone can be built to the outlets that were tried. This is what stands in the way:")
		d.list(f, parcels.Stop)
		f.para("No price is given for a plan that cannot be built.")
		d.cautions(f)
		return
	}
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
		from = append(from, "wet ground")
	}
	perforated := 0.0
	for _, r := range d.p.Runs {
		if r.Pipe == "perforated" {
			perforated += float64(r.Length)
		}
	}
	f.heading("What we would build")
	f.para(fmt.Sprintf("%s of buried pipe that takes the water of %s to the outlet %s. It falls %s on the way and needs no pump.", d.u.Distance(s.Length), strings.Join(from, " and "), s.Outlet, display.Or(s.Fall, d.u.Length)))
	if perforated > 0 {
		f.para(fmt.Sprintf("%s of it is perforated pipe in washed stone, wrapped in fabric, that takes up water from wet ground. Roof water is kept out of it.", d.u.Distance(unit.Length(perforated))))
	}
	f.para("The trench is refilled, the lawn over it made good, and you get a drawing of where everything lies. The picture is on the last page.")
	f.heading("What it will do, and what it won't")
	f.item(fmt.Sprintf("It is sized for the %s storm: a storm with a chance of 1 in %.0f of being met or passed in any one year. These are estimates from published rainfall, not a promise about a storm.", years(float64(d.c.Storm.ReturnYears)), float64(d.c.Storm.ReturnYears)))
	for _, w := range d.p.WaterCases {
		if w.Message != "" {
			f.item(w.Message)
		}
	}
	if b := d.p.Storage; b != nil && b.Without != nil && b.Without.MinutesAbove != nil {
		f.item(fmt.Sprintf("When the street's storm sewer is full, the sewer decides: your line then stands full for about %.0f minutes in that storm.", float64(*b.Without.MinutesAbove)))
		if b.With != nil && b.With.MinutesAbove != nil {
			f.item(fmt.Sprintf("With a backwater valve that would be about %.0f minutes.", float64(*b.With.MinutesAbove)))
		}
	}
	f.item("It does not lower ground water, dry a basement, or take water that runs past the grates when leaves cover them.")
	f.item("It takes no sewage and no sump with sewage, ever.")
	f.heading("What we need first")
	var need []string
	for _, x := range d.p.Findings {
		if x.Code == "tie_in_permission" || x.Code == "permission_needed" || x.NotProven {
			t := x.Message
			if x.Cure != "" {
				t += " " + x.Cure
			}
			need = append(need, t)
		}
	}
	if len(need) == 0 {
		need = append(need, "The utility locating service's marks.")
	}
	for _, n := range unique(need) {
		f.tick(n)
	}
	f.heading("Price")
	d.price(f)
	f.heading("Upkeep")
	f.para("A drain that is not kept fills up. The same dates come as a calendar file.")
	var rows [][]string
	for _, u := range upkeep(d.p) {
		rows = append(rows, []string{u.what, u.said, u.how})
	}
	f.table([]string{"what", "when", "how"}, []float64{22, 26, 52}, "", rows, 8)
	d.cautions(f)
	f.heading("Agreement")
	f.para("This proposal is a planning estimate. It is no warranty against flooding.")
	f.sign("Owner", "Contractor")
	// the picture
	v := d.planViews(f.w, f.h)[0] // one picture: where it goes over sheets, the key
	d.block(v.drawing, "Picture of the plan", v.said, len(f.pages)+1, len(f.pages)+1)
	f.insert(v.page)
}

// price says what the job costs, or why no price is given.
func (d *draft) price(f *flow) {
	e := d.money
	switch {
	case e == nil:
		f.para("No price is given: no price book was laid beside this plan.")
	case len(e.Unpriced) > 0:
		f.para("No price is given: the price book lacks " + strings.Join(e.Unpriced, "; ") + ".")
	default:
		f.para(fmt.Sprintf("%s %s, tax of %.2f %% included. What the ground hides may bring it to between %s and %s.", e.Currency, amount(e.Total.Likely), 100*e.TaxRate, amount(e.Total.Low), amount(e.Total.High)))
		f.para(fmt.Sprintf("From the firm's own prices, the oldest of %s, region %s.", e.Date, e.Region))
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

func (d *draft) list(f *flow, sev parcels.Severity) int {
	n := 0
	for _, x := range d.p.Findings {
		if x.Severity == sev {
			n++
			f.item(x.Message + cite(x))
		}
	}
	return n
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

func (d *draft) permit(f *flow) {
	f.title("Permit package")
	d.about(f)
	s := d.p.Summary
	f.heading("What is asked for")
	f.para(fmt.Sprintf("Leave to lay %s of drain pipe in %s of trench on %s and to let it out at %s. It carries roof and yard water of the lots named and no sewage. Design flow at the outlet %s in the %s storm; fall %s; least slope %s; deepest trench %s.",
		d.u.Distance(s.Length), d.u.Distance(s.TrenchLength), lots(s.Lots), orNone(s.Outlet), display.Or(s.Flow, d.u.Flow), years(float64(d.c.Storm.ReturnYears)), display.Or(s.Fall, d.u.Length), display.Or(s.LeastSlope, d.u.Slope), display.Or(s.GreatestDepth, d.u.Length)))
	f.heading("Enclosed")
	for _, t := range []string{"This narrative, with the findings and how each is met", "Plan and profile, with trench sections and tables", "Calculation sheet with sources"} {
		f.item(t)
	}
	f.para("To be laid beside it by the applicant:")
	for _, t := range []string{"Plat and deed pages of every easement named below", "Pin or survey evidence of the lot lines near the trench"} {
		f.tick(t)
	}
	f.heading("Easements and tie-in")
	who := map[string][]string{}
	var order []string
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		w := unit.Length(0)
		for _, t := range d.p.Trenches {
			if t.ID == r.Trench {
				w = t.Width
			}
		}
		for _, x := range siting.On(d.s, r.Line, w) {
			if who[x] == nil {
				order = append(order, x)
			}
			who[x] = append(who[x], r.ID)
		}
	}
	for _, x := range order {
		f.item(fmt.Sprintf("The trench enters %s with %s. Easements as mapped; the recorded plat decides.", x, plural("run", who[x])))
	}
	if len(order) == 0 {
		f.item("The trench enters no easement and no street of those supplied. Layers that were not supplied are listed with the findings.")
	}
	signers := append([]string{"Owner of the lot"}, order...)
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		if !r.TieIn {
			continue
		}
		for k := range d.s.Inlets {
			in := &d.s.Inlets[k]
			if in.ID == r.To {
				owner := in.Owner
				if owner == "" {
					owner = "owner not given"
				}
				f.item(fmt.Sprintf("Tie-in at %s %s (%s sewer, %s): pipe %s at %s, rim %s, invert of the outgoing pipe %s. A cored hole with a flexible boot; inspection before backfill; no entry into the structure.", in.Kind, in.ID, in.System, owner, d.u.Size(r.Size, r.Diameter), display.Or(r.InvertDown, d.u.Elevation), display.Or(in.Rim, d.u.Elevation), display.Or(in.Invert, d.u.Elevation)))
				signers = append(signers, owner+", for the tie-in at "+in.ID)
			}
		}
	}
	f.heading("Rules the plan was held to")
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
		{"trench edge to foundation, solid pipe", d.u.Length(c.Clearance.Foundation), "held by the check"},
		{"return period", years(float64(c.Storm.ReturnYears)), "held by the check"},
	}, 7.5)
	f.para("A lot's own clearances and those of its district take the place of these where they are given; each is held by the second piece of code.")
	f.heading("Findings and how each is met")
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
	d.rests(f)
	d.checked(f)
	f.heading("Who must sign")
	f.sign(append(signers, "Licensed engineer or surveyor, where the place asks for a seal")...)
	d.cautions(f)
	f.insert(d.planSheets(f.h, f.w)...)
	f.turn()
	d.calculation(f)
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

// ask is a thing to be measured, with how much of the plan hangs on it.
type ask struct {
	weight float64
	what   string
	why    string
}

func (d *draft) visit(f *flow) {
	f.title("Site visit: what is still to be measured")
	d.about(f)
	f.para("Ranked by what would change the answer most. Tick, and write the reading beside it.")
	var asks []ask
	broken, first := 0, ""
	add := func(w float64, what, why string) { asks = append(asks, ask{w, what, why}) }
	for _, x := range d.p.Findings {
		switch {
		case x.NotProven && x.Cure != "":
			add(100, x.Cure, x.Message)
		case x.Severity == parcels.Stop:
			if broken++; broken == 1 {
				first = x.Message
			}
		case x.Code == "inlet_level_unknown":
			add(70, "Ask the owner of the storm sewer for the water level in the design storm", x.Message)
		case x.Code == "utility_crossing" || x.Code == "drain_crossing" || x.Code == "irrigation_crossing":
			add(50, "Have it located; pothole and shoot its top", x.Message)
		case x.Code == "layer_not_supplied":
			add(60, "Find out what is not on the map", x.Message)
		}
	}
	if broken > 0 {
		more := ""
		if broken > 1 {
			more = fmt.Sprintf(" And %d more rules are broken.", broken-1)
		}
		add(95, "Shoot again the levels that the plan fails on: the outlet, the lowest intakes, the ground between", first+more)
	}
	mapped := map[string]bool{}
	for _, l := range append(append([]string{}, d.p.RestsOn.Mapped...), d.p.RestsOn.Assumed...) {
		mapped[l] = true
	}
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		if !r.TieIn {
			continue
		}
		for k := range d.s.Inlets {
			in := &d.s.Inlets[k]
			if in.ID != r.To || in.Invert == nil || r.InvertDown == nil {
				continue
			}
			w := 40.0
			if mapped["inlets"] {
				w = 90
			}
			drop, side := r.InvertDown.Above(*in.Invert), "above"
			if drop < 0 {
				drop, side = -drop, "below"
			}
			add(w, fmt.Sprintf("Shoot the rim of %s and dip its outgoing invert from above (never enter it)", in.ID), fmt.Sprintf("the pipe arrives %s %s the invert as given (%s); all levels hang on it", d.u.Length(drop), side, display.Or(in.Invert, d.u.Elevation)))
		}
	}
	if src := d.lineSource(); mapped["parcels"] && src != "by pins" && src != "by survey" {
		add(75, "Find the pins, or have the lines near the trench staked by a surveyor", "the lot lines are from a map; the trench edge comes within "+least(d, func(r *parcels.Run) *unit.Length {
			if r.TieIn {
				return nil
			}
			return r.LeastClearance
		})+" of a line")
	}
	if mapped["easements"] {
		add(65, "Read the plat and the deeds", "the easements are from a map")
	}
	for i := range d.p.Points {
		p := &d.p.Points[i]
		if p.Kind == parcels.PointIntake {
			w := 20.0
			if mapped["intakes"] {
				w = 45
			}
			add(w, "Shoot the ground at "+p.ID+" and the underside of its elbow or grate", fmt.Sprintf("planned ground %s, invert %s, depth %s", display.Or(p.Ground, d.u.Elevation), display.Or(p.Invert, d.u.Elevation), display.Or(p.Depth, d.u.Length)))
		}
	}
	tightest := ""
	var cover *unit.Length
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		if r.LeastCover != nil && (cover == nil || *r.LeastCover < *cover) {
			cover, tightest = r.LeastCover, r.ID
		}
	}
	if cover != nil {
		add(55, "Shoot the ground along run "+tightest+" every 5 ft", "it has the least cover of all, "+d.u.Length(*cover)+", against "+d.u.Length(d.c.Pipe.LeastCover)+" asked")
	}
	add(35, "Dig one test hole at the deepest stretch and one at the start", "soil, rock, roots and ground water decide the digging; soil as given: "+d.soil())
	add(30, "Measure every gate, and the way from the street to the trench", "under 36 in means digging by hand and wheelbarrow (P-151)")
	add(28, "Look for irrigation heads, lighting, invisible fence, old drains; ask the owner", "the locating service does not mark private lines (P-15)")
	add(25, "Read the level of the lowest opening of the house", "freeboard asked: "+d.u.Length(d.c.Storm.Freeboard))
	sort.SliceStable(asks, func(a, b int) bool { return asks[a].weight > asks[b].weight })
	var rows [][]string
	seen := map[string]bool{}
	for _, a := range asks {
		if seen[a.what+a.why] {
			continue
		}
		seen[a.what+a.why] = true
		rows = append(rows, []string{fmt.Sprintf("%d ☐", len(rows)+1), a.what, a.why, ""})
	}
	f.table([]string{"", "measure", "why", "reading"}, []float64{6, 38, 40, 16}, "", rows, 8)
	d.rests(f)
	d.cautions(f)
}

func (d *draft) soil() string {
	if d.s.Soil == nil || d.s.Soil.Texture == "" {
		return "not given"
	}
	return d.s.Soil.Texture
}

func (d *draft) crew(f *flow) {
	f.title("Crew notes")
	d.about(f)
	lines, stakes, err := stakeout.Of(d.p, stakeout.Options{Bedding: d.c.Trench.Bedding, Site: d.s})
	if err != nil {
		f.para("Nothing can be staked: " + err.Error())
		d.cautions(f)
		return
	}
	if d.p.Summary.Verdict == parcels.NotFeasible {
		f.heading("DO NOT BUILD")
		f.para("This plan breaks a rule and may not be built as it stands. It is written out so that what stands in the way can be seen.")
	}
	f.heading("Before the first cut")
	for _, t := range []string{"Utility marks are down and inside their dates; private lines asked for and flagged", "Permits and permissions on site: " + orNone(d.permissions()), "Stakes set, stake heads shot and cuts marked; laser checked on the benchmark", "Competent person named for the trench"} {
		f.tick(t)
	}
	f.heading("Digging order, from the outlet up")
	var rows [][]string
	side := map[string]string{}
	for _, s := range stakes {
		side[s.Line] = s.Side
	}
	for i, l := range lines {
		deep, shallow := unit.Length(math.Inf(-1)), unit.Length(math.Inf(1))
		for _, s := range stakes {
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
	f.para("Spoil goes on the side away from the stakes, looking up the line, at least 2 ft from the edge.")
	f.heading("Hand digging and crossings")
	n := 0
	for _, x := range d.p.Findings {
		switch x.Code {
		case "utility_crossing", "irrigation_crossing", "drain_crossing", "fence_crossing", "fence_strip":
			n++
			f.item(x.Message + cite(x))
		}
	}
	for i := range d.s.Obstacles {
		o := &d.s.Obstacles[i]
		if o.Kind != "tree" {
			continue
		}
		for k := range d.p.Runs {
			if near(o, d.p.Runs[k].Line, siting.Extent(o, *d.c)+0.5) {
				n++
				f.item("Run " + d.p.Runs[k].ID + " passes the root zone of a tree: dig by hand, cut no root over 1 in.")
			}
		}
	}
	if n == 0 {
		f.item("No mapped line is crossed. Dig by hand near every mark and within 3 ft of the house all the same.")
	}
	f.heading("Laying")
	for _, x := range d.notes()[:6] {
		f.item(x)
	}
	f.heading("Stake table")
	d.stakeRows(f, stakes, false)
	d.closing(f, "Close-out pack")
	d.cautions(f)
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
func (d *draft) stakeTable(f *flow, stakes []stakeout.Stake) {
	f.title("Stake table")
	d.about(f)
	d.stakeRows(f, stakes, true)
	d.cautions(f)
}

// closing are the marks that close a job.
func (d *draft) closing(f *flow, head string) {
	f.heading(head)
	for _, t := range []string{"Invert shot at each fitting and every 25 ft before backfill, as a point file, held against the plan (fallwright asbuilt)", "Photograph with a tape at each fitting, at each crossing and at the tie-in, before backfill", "Hose test: each downspout 5 to 10 minutes, every grate and the outlet watched; time and result written down", "Inspector's name and date at the tie-in, before backfill", "Rim and invert after backfill; cleanouts found and capped", "Sod, paving and irrigation made good; owner shown the cleanouts and given the upkeep calendar"} {
		f.tick(t)
	}
}

// closeOut is what is tested, photographed and shot, with room for each result.
func (d *draft) closeOut(f *flow) {
	f.title("Close-out pack")
	d.about(f)
	d.closing(f, "To be done before backfill and after")
	f.heading("Hose test")
	f.para("Each intake on its own, 5 to 10 minutes (P-161). Water must run from the outlet and stand at no grate.")
	var rows [][]string
	for i := range d.p.Points {
		if p := &d.p.Points[i]; p.Kind == parcels.PointIntake {
			rows = append(rows, []string{p.ID, strings.Join(p.Fittings, ", "), "", "", ""})
		}
	}
	f.table([]string{"intake", "fittings", "minutes", "seen at outlet and grates", "by, date"}, []float64{14, 26, 10, 34, 16}, "", rows, 8)
	f.heading("Photographs, with a tape, before backfill")
	rows = nil
	for i := range d.p.Points {
		p := &d.p.Points[i]
		rows = append(rows, []string{p.ID, string(p.Kind), strings.Join(p.Fittings, ", "), ""})
	}
	for _, x := range d.p.Findings {
		switch x.Code {
		case "utility_crossing", "irrigation_crossing", "drain_crossing", "fence_crossing":
			rows = append(rows, []string{x.Feature, "crossing", x.Message, ""})
		}
	}
	f.table([]string{"at", "kind", "shows", "file, date"}, []float64{14, 12, 54, 20}, "", rows, 8)
	f.heading("As-built inverts")
	f.para("Planned invert of the lowest pipe at each point; write the shot beside it, and hand the point file in (fallwright asbuilt).")
	rows = nil
	for i := range d.p.Points {
		p := &d.p.Points[i]
		rows = append(rows, []string{p.ID, string(p.Kind), display.Or(p.Ground, d.u.Elevation), display.Or(p.Invert, d.u.Elevation), "", "", ""})
	}
	f.table([]string{"point", "kind", "ground", "invert", "invert shot", "ground after", "by, date"}, []float64{14, 12, 13, 13, 16, 16, 16}, "__rr", rows, 8)
	f.heading("Handed over")
	f.sign("Inspector, for the tie-in", "Contractor", "Owner")
	d.cautions(f)
}

func (d *draft) permissions() string {
	var out []string
	for _, x := range d.p.Findings {
		if x.Code == "tie_in_permission" {
			out = append(out, "tie-in at "+x.Feature)
		}
		if x.Code == "permission_needed" {
			if _, rest, ok := strings.Cut(x.Message, " lies in "); ok {
				w, _, _ := strings.Cut(rest, ":")
				out = append(out, w)
			}
		}
	}
	return strings.Join(unique(out), ", ")
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
	share := []float64{25, 8, 6, 6, 8, 8, 45}
	if d.money != nil {
		head = append(head, "unit price", "cost")
		share = append(share, 8, 9)
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
