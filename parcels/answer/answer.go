// Package answer gives the documents that the command and the service both
// send: the trench zones of lots and the check of drawn routes. Plans come from
// package planner, audits from package auditor.
//
// The room may import parcels, its rooms, geo and hydro.
package answer

import (
	"context"
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/document"
	"fallwright/parcels/memory"
	"fallwright/parcels/planner"
	"fallwright/parcels/siting"
)

// Collection is a FeatureCollection ready to be sent, with what it says.
type Collection struct {
	Body []byte
	// Stop says that a stop finding stands somewhere.
	Stop bool
	// Rows are the properties of the features, for tables.
	Zones  []ZoneRow
	Checks []CheckRow
}

// CheckRow is one drain's route check.
type CheckRow struct {
	Drain           string          `json:"drain"`
	Lot             *string         `json:"lot"`
	Verdict         parcels.Verdict `json:"verdict"`
	Inside          bool            `json:"inside"`
	Length          unit.Length     `json:"length_m"`
	LengthOutside   unit.Length     `json:"length_outside_m"`
	LeastClearance  *unit.Length    `json:"least_clearance_m"`
	LeastFoundation *unit.Length    `json:"least_foundation_clearance_m"`
	ChanceOverLine  *float64        `json:"chance_over_line"`
	WorstAt         *orb.Point      `json:"worst_at"`
	Stretches       []StretchRow    `json:"stretches"`
	// Condition is what is made of an existing drain of known inverts.
	Condition *asbuilt.OldReport `json:"condition"`
	Findings  []parcels.Finding  `json:"findings"`
}

// StretchRow is a stretch of a drain that is outside or too close.
type StretchRow struct {
	From     unit.Length `json:"from_m"`
	To       unit.Length `json:"to_m"`
	Against  string      `json:"against"`
	Outside  bool        `json:"outside"`
	Required unit.Length `json:"required_m"`
	Measured unit.Length `json:"measured_m"`
	Short    unit.Length `json:"short_m"`
	ShiftE   unit.Length `json:"shift_east_m"`
	ShiftN   unit.Length `json:"shift_north_m"`
	Mends    bool        `json:"shift_mends"`
	// Mend is the shift as a GeoJSON feature: an arrow from the worst place of
	// the stretch to where it comes to lie.
	Mend any `json:"mend"`
}

// mendRow is what an arrow says of itself on a map.
type mendRow struct {
	Drain   string      `json:"drain"`
	Lot     string      `json:"lot"`
	From    unit.Length `json:"from_m"`
	To      unit.Length `json:"to_m"`
	Against string      `json:"against"`
	Shift   unit.Length `json:"shift_m"`
	Mends   bool        `json:"shift_mends"`
}

// Options of a zone or a check.
type Options struct {
	Lots []string // none: all
	Pipe string   // solid (default) or perforated
	// Memory keeps zones by content; nil: none.
	Memory *memory.Memory
	// CRS is the system of the answer; empty: that of the site.
	CRS string
}

// seen is the site with its answers' positions in the system asked for.
func (o Options) seen(s *parcels.Site) (*parcels.Site, error) {
	if o.CRS == "" {
		return s, nil
	}
	f, err := s.Frame.In(o.CRS)
	if err != nil {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/options/crs", Member: "crs", Detail: "The system of the answer is not known: " + err.Error() + ". Give EPSG:NNNN."}}}
	}
	view := *s
	view.Frame = f
	return &view, nil
}

// chosen gives the places in the site of the lots asked for, in the order asked.
func chosen(s *parcels.Site, names []string) ([]int, error) {
	var out []int
	if len(names) == 0 {
		for i := range s.Lots {
			out = append(out, i)
		}
		return out, nil
	}
	at := make(map[string]int, len(s.Lots))
	for i := range s.Lots {
		if _, ok := at[s.Lots[i].ID]; !ok {
			at[s.Lots[i].ID] = i
		}
	}
	var faults []parcels.Fault
	for _, n := range names {
		if i, ok := at[n]; ok {
			out = append(out, i)
		} else {
			faults = append(faults, planner.UnknownLot(s, n))
		}
	}
	if len(faults) > 0 {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	return out, nil
}

func pipeOf(o Options) (string, error) {
	switch o.Pipe {
	case "", "solid":
		return "solid", nil
	case "perforated":
		return "perforated", nil
	}
	return "", &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/options/pipe", Detail: fmt.Sprintf("The pipe %q is neither solid nor perforated.", parcels.Excerpt(o.Pipe))}}}
}

// beside are the members that stand beside the features of every collection.
func beside(s *parcels.Site) map[string]any {
	a := s.Assumptions
	if a == nil {
		a = []string{}
	}
	return map[string]any{"status": parcels.Preliminary, "frame": planner.Statement(s), "findings": s.Findings, "assumptions": a, "cautions": parcels.Cautions}
}

// Zones works out the trench zone of each lot. A lot without ground for a
// trench is a feature with a null geometry and a reason.
func Zones(ctx context.Context, s *parcels.Site, o Options) (*Collection, error) {
	lots, err := chosen(s, o.Lots)
	if err != nil {
		return nil, err
	}
	pipe, err := pipeOf(o)
	if err != nil {
		return nil, err
	}
	view, err := o.seen(s)
	if err != nil {
		return nil, err
	}
	out := &Collection{}
	st := siting.New(s).With(o.Memory)
	rows := make([]document.Row, 0, len(lots))
	for _, at := range lots {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		row, geom, err := zoneOf(view, st, at, pipe)
		if err != nil {
			return nil, err
		}
		rows = append(rows, document.Row{ID: row.Lot, Geometry: geom, Properties: row})
		out.Zones = append(out.Zones, row)
	}
	out.Body, err = document.WriteCollection(view.Frame, rows, beside(s))
	out.Stop = stops(s.Findings)
	return out, err
}

func failed(lot *parcels.Lot, err error) error {
	return &parcels.Error{Kind: parcels.Failed, Op: "answer: trench zone", Subject: "lot " + lot.ID, Err: err}
}

// least is the least clearance from the lot lines.
func least(g *siting.Ground) unit.Length {
	if g.Lines.Edges == nil {
		return g.Lines.Clearance
	}
	d := g.Lines.Edges[0][0][0]
	for _, e := range g.Lines.Edges[0][0] {
		d = min(d, e)
	}
	return d
}

func stops(fs []parcels.Finding) bool {
	for _, f := range fs {
		if f.Severity == parcels.Stop {
			return true
		}
	}
	return false
}

// Checks measures every drawn or existing drain of the lots against the lot
// lines, foundations and other things.
func Checks(ctx context.Context, s *parcels.Site, o Options) (*Collection, error) {
	lots, err := chosen(s, o.Lots)
	if err != nil {
		return nil, err
	}
	view, err := o.seen(s)
	if err != nil {
		return nil, err
	}
	wanted := map[string]bool{}
	for _, l := range lots {
		wanted[s.Lots[l].ID] = true
	}
	out := &Collection{}
	var rows, mends []document.Row
	st := siting.New(s).With(o.Memory)
	for i := range s.Drains {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		d := &s.Drains[i]
		lot := s.Lot(d.Lot)
		if d.Lot == "" {
			lot = planner.LotAt(s, d.Line[0])
			if lot == nil {
				lot = planner.LotAt(s, d.Line[len(d.Line)-1])
			}
		}
		if lot == nil && len(o.Lots) > 0 || lot != nil && !wanted[lot.ID] {
			continue
		}
		row, arrows, err := check(view, st, d, lot)
		if err != nil {
			return nil, err
		}
		if row.Condition, err = look(view, d); err != nil {
			return nil, err
		}
		out.Stop = out.Stop || row.Verdict == parcels.NotFeasible
		out.Checks = append(out.Checks, row)
		mends = append(mends, arrows...)
		rows = append(rows, document.Row{ID: d.ID, Geometry: d.Line, Properties: row})
	}
	b := beside(s)
	b["mends"] = document.CollectionOut(view.Frame, mends)
	if len(s.Drains) == 0 {
		b["findings"] = append(append([]parcels.Finding{}, s.Findings...), parcels.Finding{Code: "layer_not_supplied", Severity: parcels.Warn, Feature: "drains", Message: "No drains were supplied: there is nothing to check."})
	}
	out.Body, err = document.WriteCollection(view.Frame, rows, b)
	return out, err
}

// arrow draws the shift of a stretch.
func arrow(d *parcels.Drain, lot *parcels.Lot, x *zone.Stretch, against string) document.Row {
	to := orb.Point{x.Worst[0] + x.Shift[0], x.Worst[1] + x.Shift[1]}
	return document.Row{Geometry: orb.LineString{x.Worst, to},
		Properties: mendRow{d.ID, lot.ID, mm(x.From), mm(x.To), against, mm(unit.Length(math.Hypot(x.Shift[0], x.Shift[1]))), x.Mends}}
}

// check measures one drain and gives the arrows of its stretches.
func check(s *parcels.Site, st *siting.Siting, d *parcels.Drain, lot *parcels.Lot) (row CheckRow, mends []document.Row, err error) {
	row = CheckRow{Drain: d.ID, Stretches: []StretchRow{}, Findings: []parcels.Finding{}}
	var fs []parcels.Finding
	if lot == nil {
		at := d.Line[0]
		fs = append(fs, parcels.Finding{Code: "drain_off_lots", Severity: parcels.Stop, Feature: d.ID, Location: &at, Message: "Drain " + d.ID + " lies on no lot of the site, or names one that is not there."})
		row.Verdict, row.Findings = parcels.NotFeasible, document.Findings(s.Frame, fs)
		return row, mends, nil
	}
	row.Lot = &lot.ID
	pipe := "solid"
	if d.Pipe == "perforated" {
		pipe = "perforated"
	}
	g, err := st.Ground(lot, pipe)
	if err != nil {
		return row, nil, failed(lot, err)
	}
	fs = append(fs, g.Findings...)
	fs = append(fs, g.Borders...)
	width := s.Criteria.Trench.Width
	c, err := zone.CheckLine(d.Line, width, g.Lines, g.Barred(), s.Criteria.Clearance.FencePost)
	if err != nil {
		return row, nil, failed(lot, err)
	}
	row.Inside, row.Length, row.LengthOutside = c.Inside, mm(c.Length), mm(c.LengthOutside)
	row.LeastClearance = parcels.Num(mm(c.LeastClearance))
	if c.LeastFoundation != nil {
		row.LeastFoundation = parcels.Num(mm(*c.LeastFoundation))
	}
	if w := c.Worst(); w != nil {
		row.WorstAt = parcels.Num(document.Position(s.Frame, w.Worst))
	}
	for _, x := range c.Stretches {
		against := x.Kind + " " + x.ID
		if x.Edge != nil {
			against = fmt.Sprintf("lot line %d", x.Edge.Vertex)
		}
		m := arrow(d, lot, &x, against)
		mends = append(mends, m)
		row.Stretches = append(row.Stretches, StretchRow{mm(x.From), mm(x.To), against, x.Outside, mm(x.Required), mm(x.Measured), mm(x.Short), mm(unit.Length(x.Shift[0])), mm(unit.Length(x.Shift[1])), x.Mends, document.FeatureOut(s.Frame, m)})
		at := x.Worst
		code, how := "too_close", "comes within"
		if x.Edge != nil && x.Measured < 0 {
			code, how = "over_line", "reaches over"
		} else if x.Outside {
			code, how = "through", "lies in"
		}
		mend := ""
		if x.Mends {
			mend = fmt.Sprintf(" Moving it %.3f m east and %.3f m north there mends it.", x.Shift[0], x.Shift[1])
		}
		fs = append(fs, parcels.Finding{Code: code, Severity: parcels.Stop, Feature: d.ID, Location: &at, Measured: parcels.Num(float64(mm(x.Measured))), Required: parcels.Num(float64(mm(x.Required))), Unit: "m",
			Message: fmt.Sprintf("Drain %s %s %s from %.2f m to %.2f m along it: trench edge %.3f m where %.3f m is asked.%s", d.ID, how, against, float64(x.From), float64(x.To), float64(x.Measured), float64(x.Required), mend)})
	}
	for _, x := range c.Posts {
		at := x.Worst
		fs = append(fs, parcels.Finding{Code: "fence_strip", Severity: parcels.Warn, Feature: d.ID, Location: &at, Measured: parcels.Num(float64(mm(x.Measured))), Required: parcels.Num(float64(mm(x.Required))), Unit: "m", Source: "P-51",
			Message: fmt.Sprintf("Drain %s enters the strip of the fence posts from %.2f m to %.2f m along it.", d.ID, float64(x.From), float64(x.To))})
	}
	chance, more, _, err := g.Accuracy(orb.MultiLineString{d.Line}, width, d.ID)
	if err != nil {
		return row, nil, failed(lot, err)
	}
	row.ChanceOverLine = parcels.Num(round(chance, 4))
	fs = append(fs, more...)
	for i := range fs {
		fs[i].Lot = lot.ID
	}
	all := append([]parcels.Finding{}, fs...)
	for _, f := range s.Findings {
		if f.NotProven && f.Code == "layer_not_supplied" && f.Feature == string(parcels.LayerBuildings) {
			all = append(all, f)
		}
	}
	row.Verdict, _, _ = parcels.Judge(all)
	row.Findings = document.Findings(s.Frame, fs)
	return row, mends, nil
}
