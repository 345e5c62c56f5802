package sheet

// The entry: a kind of sheet, its paper, its bytes.

import (
	"fmt"
	"slices"
	"strings"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/quantities"
	"fallwright/parcels/stakeout"
)

// Kind is a kind of sheet.
type Kind string

const (
	KindPlan        Kind = "plan"        // plan, profiles, sections, run table
	KindCalculation Kind = "calculation" // the working of each run
	KindProposal    Kind = "proposal"    // for the owner
	KindPermit      Kind = "permit"      // narrative for the inspector
	KindVisit       Kind = "visit"       // what is still to be measured
	KindCrew        Kind = "crew"        // for those who dig
	KindCloseOut    Kind = "closeout"    // what is tested, photographed and shot before backfill
	KindTakeoff     Kind = "takeoff"     // quantities and cost
	KindStakes      Kind = "stakes"      // the stake table
	KindAudit       Kind = "audit"       // report of an audit, by WriteAudit
)

// Options of a sheet.
type Options struct {
	Kind  Kind
	Paper string // letter, tabloid, a4, a3
	Units display.Units
	// Quantities are the rows of the takeoff; nil: the plan's own, or reckoned in SI
	// where that is shown.
	Quantities []parcels.Quantity
	// Estimate puts money on the takeoff and the proposal; nil: none.
	Estimate *quantities.Estimate
	// Every and Offset are those of stakeout.Options.
	Every, Offset unit.Length
	// Ground, where given, is drawn as contours under the plan.
	Ground ground.Surface
	// Templates are the firm's own words.
	Templates Templates
}

// papers in points, upright.
var papers = map[string][2]float64{"letter": {612, 792}, "tabloid": {792, 1224}, "a4": {595.276, 841.89}, "a3": {841.89, 1190.551}}

// Document is a set of drawn pages.
type Document struct {
	title string
	pages []*page
}

// Make draws the sheet. The error is a *parcels.InputError of an option that is
// not known, or of a plan that has nothing to stake.
func Make(p *parcels.Plan, s *parcels.Site, o Options) (*Document, error) {
	if o.Kind == KindAudit {
		return nil, wrong("kind", "The report of an audit is made from an audit, not from a plan.")
	}
	if settled, err := (Order{Kind: o.Kind, Paper: o.Paper, Format: "pdf"}).settle(); err != nil {
		return nil, err
	} else {
		o.Paper = settled.Paper
	}
	size := papers[o.Paper]
	p = shown(p, o.Units)
	d := &draft{p: p, s: s, u: o.Units, c: &s.Criteria, rows: o.Quantities, money: o.Estimate, ground: o.Ground, own: o.Templates}
	if d.rows == nil {
		d.rows = quantities.Shown(p, s, o.Units)
	}
	name := siteName(p.Site) + ", " + lots(p.Summary.Lots)
	text := func(what string, fill func(f *flow)) (*Document, error) {
		w, h := size[0], size[1]
		if o.Kind == KindStakes {
			w, h = h, w
		}
		f := newFlow(w, h, name+": "+what+" ("+p.Status+")", "Planning estimate; local code and licensed practice stand above it. "+d.c.Sheet.Firm)
		fill(f)
		return &Document{title: name + ": " + what, pages: f.number()}, nil
	}
	var err error
	if d.lines, d.stakes, err = stakeout.Of(p, stakeout.Options{Every: o.Every, Offset: o.Offset, Bedding: d.c.Trench.Bedding, Site: s}); err != nil && o.Kind == KindStakes {
		return nil, err
	}
	switch o.Kind {
	case KindPlan:
		notes, err := d.text("notes")
		if err != nil {
			return nil, err
		}
		d.notes = items(notes)
		return &Document{title: name + ": plan and profile", pages: d.planSheets(size[1], size[0])}, nil
	case KindCalculation:
		return text("calculation sheet", d.calculation)
	case KindStakes:
		return text("stake table", d.stakeTable)
	case KindTakeoff:
		return text("takeoff", d.takeoff)
	}
	own, err := d.text(string(o.Kind))
	if err != nil {
		return nil, err
	}
	notes, err := d.text("notes")
	if err != nil {
		return nil, err
	}
	d.notes = items(notes)
	return text(said[o.Kind], func(f *flow) { d.set(f, own) })
}

// said is how a paper of words is called.
var said = map[Kind]string{KindProposal: "proposal", KindPermit: "permit package", KindVisit: "site visit", KindCrew: "crew notes", KindCloseOut: "close-out pack"}

// shown is the plan with its sentences in the units shown.
func shown(p *parcels.Plan, u display.Units) *parcels.Plan {
	out := *p
	out.Findings = saying(p.Findings, u)
	out.Summary.WhyNot, out.Summary.Cure, out.Summary.NextMeasurement = u.Text(p.Summary.WhyNot), u.Text(p.Summary.Cure), u.Text(p.Summary.NextMeasurement)
	out.WaterCases = slices.Clone(p.WaterCases)
	for i := range out.WaterCases {
		out.WaterCases[i].Message = u.Text(out.WaterCases[i].Message)
	}
	return &out
}

func saying(fs []parcels.Finding, u display.Units) []parcels.Finding {
	out := slices.Clone(fs)
	for i := range out {
		out[i].Message, out[i].Cure = u.Text(out[i].Message), u.Text(out[i].Cure)
	}
	return out
}

// PDF is the document as PDF.
func (d *Document) PDF() ([]byte, error) { return writePDF(d.title, d.pages) }

// SVG is one drawing a page.
func (d *Document) SVG() ([][]byte, error) {
	out := make([][]byte, len(d.pages))
	for i, p := range d.pages {
		var err error
		if out[i], err = writeSVG(fmt.Sprintf("%s, sheet %d of %d", d.title, i+1, len(d.pages)), p); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// draft is what every sheet draws from.
type draft struct {
	p      *parcels.Plan
	s      *parcels.Site
	c      *parcels.Criteria
	u      display.Units
	rows   []parcels.Quantity // of the takeoff
	money  *quantities.Estimate
	ground ground.Surface
	own    Templates
	lines  []stakeout.Line
	stakes []stakeout.Stake
	notes  []string // beside the trench sections
	// exaggerated is vertical over horizontal in the profiles.
	exaggerated float64
}

func siteName(s string) string {
	ws := strings.Fields(strings.ReplaceAll(parcels.Excerpt(s), "_", " "))
	for i, w := range ws {
		r := []rune(w)
		ws[i] = strings.ToUpper(string(r[0])) + string(r[1:])
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

func verdict(v parcels.Verdict) string { return strings.ReplaceAll(string(v), "_", " ") }
