package sheet

// The subdivision report from an audit: totals, a map, the lots worst first, what
// lots share, findings.

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/sheet/grid"
)

// ranked are the rows worst first: not feasible, not proven, feasible; within
// them by stops, then warnings, then name.
func ranked(a *parcels.Audit) []*parcels.AuditRow {
	out := make([]*parcels.AuditRow, len(a.Rows))
	stops, warns := map[*parcels.AuditRow]int{}, map[*parcels.AuditRow]int{}
	for i := range a.Rows {
		r := &a.Rows[i]
		out[i] = r
		for _, f := range r.Findings {
			switch f.Severity {
			case parcels.Stop:
				stops[r]++
			case parcels.Warn:
				warns[r]++
			}
		}
	}
	rank := map[parcels.Verdict]int{parcels.NotFeasible: 0, parcels.NotProven: 1, parcels.Feasible: 2}
	place := func(r *parcels.AuditRow) int {
		if r.Error != "" {
			return -1
		}
		return rank[r.Verdict]
	}
	slices.SortStableFunc(out, func(x, y *parcels.AuditRow) int {
		return cmp.Or(place(x)-place(y), stops[y]-stops[x], warns[y]-warns[x], strings.Compare(x.Lot, y.Lot))
	})
	return out
}

// Subdivision draws the report of an audit. The error is a *parcels.InputError of
// a paper that is not known.
func Subdivision(a *parcels.Audit, s *parcels.Site, paper string, u display.Units) (*Document, error) {
	o, err := Order{Kind: KindAudit, Paper: paper}.settle()
	if err != nil {
		return nil, err
	}
	size := papers[o.Paper]
	d := &draft{p: &parcels.Plan{Status: a.Status, Cautions: parcels.Cautions}, s: s, u: u, c: &s.Criteria}
	name := siteName(a.Site)
	f := newFlow(size[0], size[1], name+": subdivision report ("+a.Status+")", "Planning estimate; local code and licensed practice stand above it. "+s.Criteria.Sheet.Firm)
	f.title("Subdivision report: " + name)
	t := a.Totals
	f.facts([][2]string{
		{"Lots", fmt.Sprintf("%d: %d feasible, %d not proven, %d not feasible, %d set aside", t.Lots, t.Feasible, t.NotProven, t.NotFeasible, t.SetAside)},
		{"Trench zone", fmt.Sprintf("%s in all; none on %d lots", u.Area(t.Zone), t.ZoneEmpty)},
		{"Inlet in reach", fmt.Sprintf("%d yes, %d no, %d not proven", t.ReachYes, t.ReachNo, t.ReachNotProven)},
		{"Drains not clear", "over " + u.Distance(t.DrainsOutside)},
		{"Made by", a.Program},
	})
	f.heading("Map")
	tall := math.Min(f.h-f.y-margin-20, f.column*0.9)
	if tall < 160 {
		f.turn()
		tall = f.column * 0.9
	}
	tall = d.auditMap(f.page(), a, rect{f.left, f.y + 4, f.column, tall})
	f.y += tall + 12
	f.heading("Lots, worst first")
	var rows [][]string
	text := func(s string) string { return s }
	for _, r := range ranked(a) {
		said := u.Text(r.Error)
		n := 0
		for _, x := range saying(r.Findings, u) {
			if x.Severity != parcels.Note && n < 2 {
				n++
				said += " " + x.Message
			}
		}
		rows = append(rows, []string{r.Lot, verdict(r.Verdict), display.Or(r.Zone, u.Area), display.Or(r.Narrowest, u.Length), strings.ReplaceAll(string(r.Reach), "_", " "), display.Or(r.Inlet, text), display.Or(r.Length, u.Distance), display.Or(r.FallAvailable, u.Length), display.Or(r.FallNeeded, u.Length), display.Or(r.DrainsOutside, u.Distance), strings.TrimSpace(said)})
	}
	f.table([]string{"lot", "verdict", "zone", "narrow", "reach", "inlet", "length", "fall", "needed", "not clear", "first findings"}, []float64{6, 9, 9, 8, 7, 6, 8, 8, 8, 8, 36}, "__rr__rrrr_", rows, 6.2)
	if len(a.Shared) > 0 {
		f.heading("Shared swales and drains")
		rows = nil
		for _, r := range a.Shared {
			rows = append(rows, []string{r.Kind + " " + r.Feature, fmt.Sprint(r.Order), r.Lot, strings.Join(r.Lots, ", "), u.Area(r.Area), display.Or(r.Flow, u.Flow), display.Or(r.Depth, u.Length), display.Or(r.Slope, u.Slope), display.Or(r.Capacity, u.Flow)})
		}
		f.table([]string{"line", "no", "on lot", "water of", "area", "flow", "depth", "slope", "capacity"}, []float64{14, 4, 8, 28, 10, 9, 8, 8, 9}, "_r__rrrrr", rows, 6.2)
	}
	if len(a.Inlets) > 0 {
		f.heading("Inlets")
		rows = nil
		for _, r := range a.Inlets {
			rows = append(rows, []string{r.Inlet, strings.Join(r.Lots, ", "), display.Or(r.Flow, u.Flow), display.Or(r.Limit, u.Flow)})
		}
		f.table([]string{"inlet", "lots that would tie in", "flow", "limit"}, []float64{10, 60, 15, 15}, "__rr", rows, 7)
	}
	if len(a.Findings) > 0 {
		f.heading("Of the whole site")
		for _, x := range saying(a.Findings, u) {
			f.item(string(x.Severity) + ": " + x.Message + cite(x))
		}
	}
	d.cautions(f)
	return &Document{title: name + ": subdivision report", pages: f.number()}, nil
}

// auditMap shades each lot by its verdict, so that it reads in grey: feasible
// white, not proven light, not feasible dark; the inlets stand over them. It says
// how tall the map came out.
func (d *draft) auditMap(g *page, a *parcels.Audit, r rect) float64 {
	var b orb.Bound
	for i := range a.Rows {
		if i == 0 {
			b = a.Rows[i].Shape.Bound()
		} else {
			b = b.Union(a.Rows[i].Shape.Bound())
		}
	}
	if len(a.Rows) == 0 {
		return 0
	}
	foot := 16.0
	sc := fit(d.u, b.Max[0]-b.Min[0], b.Max[1]-b.Min[1], r.w-12, r.h-foot-10)
	r.h = math.Min(r.h, math.Max((b.Max[1]-b.Min[1])*sc.per+foot+24, 80))
	g.box(r.x, r.y, r.w, r.h, nil, &black, 0.8)
	c := b.Center()
	at := func(p orb.Point) xy {
		return xy{r.x + r.w/2 + (p[0]-c[0])*sc.per, r.y + (r.h-foot)/2 - (p[1]-c[1])*sc.per}
	}
	path := func(l []orb.Point) []xy {
		out := make([]xy, len(l))
		for i, p := range l {
			out[i] = at(p)
		}
		return out
	}
	shade := map[parcels.Verdict]ink{parcels.Feasible: white, parcels.NotProven: {214, 214, 214}, parcels.NotFeasible: {128, 128, 128}}
	g.clip(r.x, r.y, r.w, r.h)
	pl := &placer{area: rect{r.x + 2, r.y + 2, r.w - 4, r.h - foot - 4}}
	for i := range a.Rows {
		for _, p := range a.Rows[i].Shape {
			for k, ring := range p {
				fill := shade[a.Rows[i].Verdict]
				if k > 0 {
					fill = white
				}
				g.area(&fill, &black, 0.5, path(ring)...)
			}
		}
		for _, p := range a.Rows[i].ZoneShape {
			for _, ring := range p {
				g.line(0.3, grey, []float64{1.5, 1.2}, path(ring)...)
			}
		}
	}
	for i := range d.s.Buildings {
		for _, p := range d.s.Buildings[i].Shape {
			if len(p) > 0 && b.Intersects(p.Bound()) {
				g.area(nil, &grey, 0.4, path(p[0])...)
			}
		}
	}
	for _, n := range a.Inlets {
		x := at(n.At)
		g.box(x.x-2.5, x.y-2.5, 5, 5, &black, &white, 0.5)
		pl.taken = append(pl.taken, rect{x.x - 3, x.y - 3, 6, 6})
		pl.put(g, x, 6, true, black, n.Inlet)
	}
	for i := range a.Rows {
		if x, ok := inside(a.Rows[i].Shape, b); ok {
			pl.put(g, at(x), 5.5, false, black, a.Rows[i].Lot)
		}
	}
	g.unclip()
	x, y := r.x+6, r.y+r.h-6
	for _, v := range []parcels.Verdict{parcels.Feasible, parcels.NotProven, parcels.NotFeasible} {
		fill := shade[v]
		g.box(x, y-6, 12, 7, &fill, &black, 0.5)
		g.words(xy{x + 15, y}, 6, false, black, verdict(v))
		x += 22 + width(verdict(v), 6, false)
	}
	g.words(xy{x + 4, y}, 6, false, black, "dotted: trench zone; black square: inlet; north up; "+sc.said)
	return r.h
}

// SubdivisionTables are the rows of an audit as sheets of a workbook, worst lots
// first, in SI with the contract's names.
func SubdivisionTables(a *parcels.Audit) []grid.Table {
	lots := grid.Table{Name: "lots, worst first", Head: []string{"lot", "verdict", "zone_m2", "pieces", "narrowest_m", "reach_inlet", "inlet", "length_m", "fall_available_m", "fall_needed_m", "drains_outside_m", "flow_m3s", "error"}}
	finds := grid.Table{Name: "findings", Head: []string{"lot", "severity", "code", "feature", "message", "measured", "required", "unit", "source"}, Widths: []float64{8, 9, 24, 14, 90}}
	length := func(v *unit.Length) any {
		if v == nil {
			return nil
		}
		return float64(*v)
	}
	add := func(lot string, fs []parcels.Finding) {
		for _, f := range fs {
			finds.Rows = append(finds.Rows, []any{lot, string(f.Severity), f.Code, f.Feature, f.Message, f.Measured, f.Required, f.Unit, f.Source})
		}
	}
	for _, r := range ranked(a) {
		var area, pieces, inlet, flow any
		if r.Zone != nil {
			area = float64(*r.Zone)
		}
		if r.Pieces != nil {
			pieces = *r.Pieces
		}
		if r.Inlet != nil {
			inlet = *r.Inlet
		}
		if r.Flow != nil {
			flow = float64(*r.Flow)
		}
		lots.Rows = append(lots.Rows, []any{r.Lot, string(r.Verdict), area, pieces, length(r.Narrowest), string(r.Reach), inlet, length(r.Length), length(r.FallAvailable), length(r.FallNeeded), length(r.DrainsOutside), flow, r.Error})
		add(r.Lot, r.Findings)
	}
	add("", a.Findings)
	return []grid.Table{lots, finds}
}
