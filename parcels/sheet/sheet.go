package sheet

// The entry: a kind of sheet, its paper, its bytes.

import (
	"fmt"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/quantities"
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
	KindTakeoff     Kind = "takeoff"     // quantities and cost
)

// Options of a sheet.
type Options struct {
	Kind  Kind
	Paper string // letter, tabloid, a4, a3
	Units display.Units
	// Estimate puts money on the takeoff and the proposal; nil: none.
	Estimate *quantities.Estimate
}

// papers in points, upright.
var papers = map[string][2]float64{"letter": {612, 792}, "tabloid": {792, 1224}, "a4": {595.276, 841.89}, "a3": {841.89, 1190.551}}

// Document is a set of drawn pages.
type Document struct {
	title string
	pages []*page
}

// Make draws the sheet. The error is a *parcels.Error of an option that is not
// known.
func Make(p *parcels.Plan, s *parcels.Site, o Options) (*Document, error) {
	size, ok := papers[strings.ToLower(o.Paper)]
	if !ok {
		return nil, &parcels.Error{Kind: parcels.Unsupported, Op: "sheet: paper", Subject: parcels.Excerpt(o.Paper), Err: fmt.Errorf("give letter, tabloid, a4 or a3")}
	}
	d := &draft{p: p, s: s, u: o.Units, c: &s.Criteria, money: o.Estimate}
	name := siteName(p.Site) + ", " + lots(p.Summary.Lots)
	text := func(what string, fill func(f *flow)) (*Document, error) {
		f := newFlow(size[0], size[1], name+": "+what+" ("+p.Status+")", "Planning estimate; local code and licensed practice stand above it. "+d.c.Sheet.Firm)
		fill(f)
		return &Document{title: name + ": " + what, pages: f.number()}, nil
	}
	switch o.Kind {
	case KindPlan:
		return &Document{title: name + ": plan and profile", pages: d.planSheets(size[1], size[0])}, nil
	case KindCalculation:
		return text("calculation sheet", d.calculation)
	case KindProposal:
		return text("proposal", d.proposal)
	case KindPermit:
		return text("permit narrative", d.permit)
	case KindVisit:
		return text("site visit", d.visit)
	case KindCrew:
		return text("crew notes", d.crew)
	case KindTakeoff:
		return text("takeoff", d.takeoff)
	}
	return nil, &parcels.Error{Kind: parcels.Unsupported, Op: "sheet: kind", Subject: parcels.Excerpt(string(o.Kind)), Err: fmt.Errorf("give plan, calculation, proposal, permit, visit, crew or takeoff")}
}

// PDF is the document as PDF.
func (d *Document) PDF() ([]byte, error) { return writePDF(d.title, d.pages) }

// SVG is one drawing a page.
func (d *Document) SVG() [][]byte {
	out := make([][]byte, len(d.pages))
	for i, p := range d.pages {
		out[i] = writeSVG(fmt.Sprintf("%s, sheet %d of %d", d.title, i+1, len(d.pages)), p)
	}
	return out
}

// draft is what every sheet draws from.
type draft struct {
	p     *parcels.Plan
	s     *parcels.Site
	c     *parcels.Criteria
	u     display.Units
	money *quantities.Estimate
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
