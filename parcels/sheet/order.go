package sheet

// One call for every paper that leaves the office: what command, service and
// library share.

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"fallwright/geo/ground"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/quantities"
	"fallwright/parcels/sheet/grid"
	"fallwright/parcels/stakeout"
)

// Order asks for one paper in one format. The zero value of a field takes its
// default.
type Order struct {
	Kind   Kind          // plan
	Format string        // the first of Formats(Kind)
	Paper  string        // letter
	Units  display.Units // us
	// Book puts money on the takeoff and the proposal; nil: none.
	Book *quantities.Book
	// Every and Offset are those of stakeout.Options.
	Every, Offset unit.Length
	// Ground, where given, is drawn as contours under the plan.
	Ground ground.Surface
	// Templates are the firm's own words.
	Templates Templates
	// From is the first day of an upkeep calendar, which cannot do without.
	From *time.Time
}

// File is a paper as bytes.
type File struct {
	Name      string // plain: letters, digits, - and .
	MediaType string
	Body      []byte
}

// kinds in the order in which they are offered, with their formats, the usual
// one first.
var kinds = []struct {
	kind    Kind
	formats []string
}{
	{KindPlan, []string{"pdf", "svg"}},
	{KindStakes, []string{"pdf", "csv", "xlsx", "gpx", "dxf", "geojson"}},
	{KindTakeoff, []string{"pdf", "xlsx", "csv", "json"}},
	{KindVisit, []string{"pdf"}},
	{KindProposal, []string{"pdf", "ics"}},
	{KindPermit, []string{"pdf"}},
	{KindCalculation, []string{"pdf"}},
	{KindCrew, []string{"pdf"}},
	{KindCloseOut, []string{"pdf"}},
	{KindAudit, []string{"pdf", "xlsx"}},
}

// MediaTypes of the formats.
var MediaTypes = map[string]string{
	"pdf": "application/pdf", "svg": "image/svg+xml", "csv": "text/csv", "gpx": "application/gpx+xml", "dxf": "image/vnd.dxf",
	"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "geojson": "application/geo+json", "ics": "text/calendar", "json": "application/json",
}

// Kinds of paper, in the order in which they are offered.
func Kinds() []Kind {
	out := make([]Kind, len(kinds))
	for i, k := range kinds {
		out[i] = k.kind
	}
	return out
}

// Formats of a kind, the usual one first; none of a kind that is not known.
func Formats(k Kind) []string {
	for _, x := range kinds {
		if x.kind == k {
			return slices.Clone(x.formats)
		}
	}
	return nil
}

func wrong(member, format string, a ...any) error {
	return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/" + member, Member: member, Detail: fmt.Sprintf(format, a...)}}}
}

// settle fills in what the order leaves out, and checks it.
func (o Order) settle() (Order, error) {
	if o.Kind == "" {
		o.Kind = KindPlan
	}
	formats := Formats(o.Kind)
	if formats == nil {
		var names []string
		for _, k := range Kinds() {
			names = append(names, string(k))
		}
		return o, wrong("kind", "There is no sheet %q: give %s.", parcels.Excerpt(string(o.Kind)), either(names))
	}
	o.Format = strings.ToLower(strings.TrimPrefix(o.Format, "."))
	if o.Format == "" {
		o.Format = formats[0]
	}
	if !slices.Contains(formats, o.Format) {
		return o, wrong("format", "The sheet %s is not written as %q: give %s.", o.Kind, parcels.Excerpt(o.Format), either(formats))
	}
	o.Paper = strings.ToLower(o.Paper)
	if o.Paper == "" {
		o.Paper = "letter"
	}
	if _, ok := papers[o.Paper]; !ok {
		return o, wrong("paper", "There is no paper %q: give letter, tabloid, a4 or a3.", parcels.Excerpt(o.Paper))
	}
	if o.Units == "" {
		o.Units = display.US
	}
	if o.Format == "ics" && o.From == nil {
		return o, wrong("from", "Say from which day the upkeep calendar runs: from, YYYY-MM-DD.")
	}
	return o, nil
}

// Check says whether the order can be met by some plan: a *parcels.InputError
// where it cannot.
func (o Order) Check() error {
	_, err := o.settle()
	return err
}

func either(names []string) string {
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

// Write makes a paper of a plan and its site: one file, or for SVG one a page.
// The same plan gives the same bytes. An order that cannot be met is a
// *parcels.InputError; KindAudit is WriteAudit's.
func Write(p *parcels.Plan, s *parcels.Site, o Order) ([]File, error) {
	o, err := o.settle()
	if err != nil {
		return nil, err
	}
	if o.Kind == KindAudit {
		return nil, wrong("kind", "The report of an audit is made from an audit, not from a plan.")
	}
	rows := quantities.Shown(p, s, o.Units)
	var e *quantities.Estimate
	if o.Book != nil {
		x := quantities.Cost(rows, o.Book)
		e = &x
	}
	stem := string(o.Kind)
	if len(p.Summary.Lots) > 0 {
		stem = strings.Join(p.Summary.Lots, "-") + "-" + stem
	}
	one := func(b []byte, err error) ([]File, error) {
		if err != nil {
			return nil, err
		}
		return []File{{fileName(p.Site, stem) + "." + o.Format, MediaTypes[o.Format], b}}, nil
	}
	switch {
	case o.Format == "ics":
		return one(Calendar(p, *o.From), nil)
	case o.Kind == KindTakeoff && o.Format == "xlsx":
		return one(grid.XLSX(quantities.Tables(rows, e)...))
	case o.Kind == KindTakeoff && o.Format == "csv":
		return one(quantities.Tables(rows, e)[0].CSV())
	case o.Kind == KindTakeoff && o.Format == "json":
		return one(takeoffJSON(rows, e))
	case o.Kind == KindStakes && o.Format != "pdf":
		lines, stakes, err := stakeout.Of(p, stakeout.Options{Every: o.Every, Offset: o.Offset, Bedding: s.Criteria.Trench.Bedding, Site: s})
		if err != nil {
			return nil, err
		}
		return one(stakeout.Write("."+o.Format, lines, stakes, s.Frame, o.Units))
	}
	d, err := Make(p, s, Options{Kind: o.Kind, Paper: o.Paper, Units: o.Units, Quantities: rows, Estimate: e, Every: o.Every, Offset: o.Offset, Ground: o.Ground, Templates: o.Templates})
	if err != nil {
		return nil, err
	}
	stem += "-" + o.Paper
	if o.Format == "svg" {
		drawn, err := d.SVG()
		if err != nil {
			return nil, err
		}
		var out []File
		for i, b := range drawn {
			name := fileName(p.Site, stem)
			if i > 0 {
				name = fmt.Sprintf("%s-%d", name, i+1)
			}
			out = append(out, File{name + ".svg", MediaTypes["svg"], b})
		}
		return out, nil
	}
	return one(d.PDF())
}

// WriteAudit makes the report of an audit, as Write does; its Kind is KindAudit.
func WriteAudit(a *parcels.Audit, s *parcels.Site, o Order) (File, error) {
	o.Kind = KindAudit
	o, err := o.settle()
	if err != nil {
		return File{}, err
	}
	var b []byte
	if o.Format == "xlsx" {
		b, err = grid.XLSX(SubdivisionTables(a)...)
	} else {
		var d *Document
		if d, err = Subdivision(a, s, o.Paper, o.Units); err == nil {
			b, err = d.PDF()
		}
	}
	if err != nil {
		return File{}, err
	}
	return File{fileName(a.Site, "audit") + "." + o.Format, MediaTypes[o.Format], b}, nil
}

// fileName is plain enough for any disk and header.
func fileName(site, rest string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(site) + "-" + rest {
		switch {
		case r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() == 80 {
			break
		}
	}
	return strings.Trim(b.String(), "-")
}

// takeoffJSON is the takeoff as data, and the money where there is an estimate:
// the same rows as its tables.
func takeoffJSON(rows []parcels.Quantity, e *quantities.Estimate) ([]byte, error) {
	type line struct {
		Line   string `json:"line"`
		Low    any    `json:"low"`
		Likely any    `json:"likely"`
		High   any    `json:"high"`
		Note   string `json:"note"`
	}
	type cost struct {
		Currency string `json:"currency"`
		Lines    []line `json:"lines"`
	}
	out := struct {
		Status     string             `json:"status"`
		Quantities []parcels.Quantity `json:"quantities"`
		Cost       *cost              `json:"cost"`
		Cautions   []string           `json:"cautions"`
	}{parcels.Preliminary, rows, nil, parcels.Cautions}
	if e != nil {
		out.Quantities, out.Cost = e.Rows, &cost{Currency: e.Currency, Lines: []line{}}
		for _, r := range quantities.Tables(rows, e)[1].Rows {
			out.Cost.Lines = append(out.Cost.Lines, line{fmt.Sprint(r[0]), r[1], r[2], r[3], fmt.Sprint(r[4])})
		}
	}
	return json.Marshal(out)
}
