package sheet

// The words of the papers: one template each, which a firm may replace by its own.
//
// A template is text/template over the fields of words, and nothing else: no
// definitions, no variables, no functions that make text longer than its fields. What
// comes out is read line by line:
//
//	# title          ## heading        - item        [ ] box to be ticked
//	@name            a table or a block that the program draws (see blocks)
//	anything else    a paragraph, up to an empty line

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"reflect"
	"slices"
	"strings"
	"text/template"
	"text/template/parse"
	"unicode/utf8"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/siting"
)

//go:embed words/*.tmpl
var builtInWords embed.FS

// words are the fields of a template. Numbers stand as they are shown, with their
// units; a list is empty where there is nothing.
type words struct {
	Site, Lots, Status, Verdict, WhyNot, Cure string
	Feasible, NotFeasible                     bool
	Firm, Licence, Drawn, Revision            string
	Datum, Benchmark, Soil                    string

	Outlet, Length, TrenchLength, Fall, LeastSlope, GreatestDepth, Flow string
	Takes                                                               string // what the water is taken from: 4 downspouts and 1 basin
	Perforated                                                          string // length of perforated pipe; empty: none
	Wrapped                                                             bool   // the stone of a perforated trench is wrapped in fabric

	Storm, StormYears             string
	Water                         []string // what each storm does
	FullMinutes, FullMinutesValve string   // how long the line stands full; empty: not worked

	Stops, Warnings []string // findings with their sources; Warnings hold the stops too
	Needs           []string // what must be had before the work
	Easements       []string // what the trench enters, and with which runs
	TieIns          []string
	Signers         []string // beside the owner of the lot
	Permissions     []string
	HandDigging     []string

	Bedding, OverPipe, Cover, Every, SpoilBack, NearHouse, Gates string

	Price price
}

// price is what the job costs; Why says why it is not Given.
type price struct {
	Given                                          bool
	Currency, Likely, Low, High, Tax, Date, Region string
	Why                                            string
}

// Templates are a firm's own, by name (TemplateNames), in place of the built-in
// ones. Make them with ReadTemplates.
type Templates map[string]string

// Limits of a template.
const (
	mostTemplate = 64 << 10
	mostWords    = 512 << 10
	mostNodes    = 4000
)

// TemplateNames are the names of the templates there are.
func TemplateNames() []string {
	files, _ := fs.Glob(builtInWords, "words/*.tmpl")
	for i, f := range files {
		files[i] = strings.TrimSuffix(strings.TrimPrefix(f, "words/"), ".tmpl")
	}
	return files
}

// BuiltIn is a built-in template, to start from; empty where there is none of the
// name.
func BuiltIn(name string) string {
	b, _ := builtInWords.ReadFile("words/" + name + ".tmpl")
	return string(b)
}

// ReadTemplates checks a firm's templates, by name. All that is wrong is told at
// once, as a *parcels.InputError.
func ReadTemplates(files map[string]string) (Templates, error) {
	var faults []parcels.Fault
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if BuiltIn(name) == "" {
			faults = append(faults, parcels.Fault{Slug: "template-invalid", Pointer: "/" + name, Member: name, Detail: fmt.Sprintf("There is no template %q: %s.", parcels.Excerpt(name), either(TemplateNames()))})
			continue
		}
		if _, err := parsed(name, files[name]); err != nil {
			faults = append(faults, templateFault(name, err))
		}
	}
	if len(faults) > 0 {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	return Templates(files), nil
}

// lineError is an error at a line of a template.
type lineError struct {
	line int
	text string
}

func (e *lineError) Error() string { return e.text }

func templateFault(name string, err error) parcels.Fault {
	f := parcels.Fault{Slug: "template-invalid", Pointer: "/" + name, Member: name}
	var at *lineError
	if errors.As(err, &at) {
		f.Line = &at.line
		f.Detail = fmt.Sprintf("Template %s, line %d: %s.", name, at.line, at.text)
		return f
	}
	// the parser's own words: "template: proposal:12: unexpected ..."
	text := strings.TrimPrefix(err.Error(), "template: ")
	var n int
	if _, rest, ok := strings.Cut(text, ":"); ok {
		if _, e := fmt.Sscanf(rest, "%d:", &n); e == nil {
			f.Line = &n
		}
	}
	f.Detail = fmt.Sprintf("Template %s cannot be used: %s.", name, parcels.Excerpt(text))
	return f
}

var functions = template.FuncMap{"join": func(l []string) string { return strings.Join(l, ", ") }}

// allowed are the functions of a template; none makes text.
var allowed = map[string]bool{"join": true, "and": true, "or": true, "not": true, "eq": true, "ne": true, "lt": true, "le": true, "gt": true, "ge": true, "len": true}

// parsed is a template that has been found to ask for nothing but its fields.
func parsed(name, text string) (*template.Template, error) {
	if len(text) > mostTemplate {
		return nil, fmt.Errorf("it has more than %d bytes", mostTemplate)
	}
	if !utf8.ValidString(text) {
		return nil, errors.New("it is not UTF-8")
	}
	t, err := template.New(name).Funcs(functions).Parse(text)
	if err != nil {
		return nil, err
	}
	if len(t.Templates()) > 1 {
		return nil, errors.New("it defines templates of its own; give one text")
	}
	if t.Tree == nil || t.Root == nil {
		return nil, errors.New("it is empty")
	}
	c := checker{tree: t.Tree, text: text}
	if err := c.list(t.Root, reflect.TypeFor[words](), false); err != nil {
		return nil, err
	}
	return t, nil
}

// checker walks a template before it is run: whatever it asks for must be there,
// and what it can do is bounded.
type checker struct {
	tree  *parse.Tree
	text  string
	nodes int
}

func (c *checker) wrong(n parse.Node, format string, a ...any) error {
	at := min(int(n.Position()), len(c.text))
	return &lineError{strings.Count(c.text[:at], "\n") + 1, fmt.Sprintf(format, a...)}
}

func (c *checker) list(l *parse.ListNode, dot reflect.Type, inRange bool) error {
	if l == nil {
		return nil
	}
	for _, n := range l.Nodes {
		if c.nodes++; c.nodes > mostNodes {
			return c.wrong(n, "more than %d pieces", mostNodes)
		}
		var err error
		switch n := n.(type) {
		case *parse.TextNode:
			err = c.markup(n)
		case *parse.CommentNode:
		case *parse.ActionNode:
			_, err = c.pipe(n.Pipe, dot)
		case *parse.IfNode:
			if _, err = c.pipe(n.Pipe, dot); err == nil {
				err = errors.Join(c.list(n.List, dot, inRange), c.list(n.ElseList, dot, inRange))
			}
		case *parse.WithNode:
			var t reflect.Type
			if t, err = c.pipe(n.Pipe, dot); err == nil {
				if t == nil {
					return c.wrong(n, "with takes a field")
				}
				err = errors.Join(c.list(n.List, t, inRange), c.list(n.ElseList, dot, inRange))
			}
		case *parse.RangeNode:
			if inRange {
				return c.wrong(n, "a range in a range")
			}
			var t reflect.Type
			if t, err = c.pipe(n.Pipe, dot); err == nil {
				if t == nil || t.Kind() != reflect.Slice {
					return c.wrong(n, "range takes a list")
				}
				err = errors.Join(c.list(n.List, t.Elem(), true), c.list(n.ElseList, dot, inRange))
			}
		default:
			return c.wrong(n, "%s is not taken", parcels.Excerpt(n.String()))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// markup refuses a block that is not known, where it stands in the text itself.
func (c *checker) markup(n *parse.TextNode) error {
	for i, l := range strings.Split(string(n.Text), "\n") {
		name, ok := strings.CutPrefix(strings.TrimSpace(l), "@")
		if !ok || i == 0 && n.Position() > 0 { // the rest of a line
			continue
		}
		name, _, _ = strings.Cut(name, " ")
		if _, known := blocks[name]; !known {
			return &lineError{strings.Count(c.text[:min(int(n.Position()), len(c.text))], "\n") + 1 + i, fmt.Sprintf("there is no block @%s: %s", parcels.Excerpt(name), either(slices.Sorted(maps.Keys(blocks))))}
		}
	}
	return nil
}

// pipe gives the type of what a pipeline gives, nil where a function makes it.
func (c *checker) pipe(p *parse.PipeNode, dot reflect.Type) (reflect.Type, error) {
	if p == nil {
		return nil, nil
	}
	if len(p.Decl) > 0 {
		return nil, c.wrong(p, "variables are not taken")
	}
	var last reflect.Type
	for _, cmd := range p.Cmds {
		last = nil
		for i, arg := range cmd.Args {
			if c.nodes++; c.nodes > mostNodes {
				return nil, c.wrong(arg, "more than %d pieces", mostNodes)
			}
			t, err := c.arg(arg, dot)
			if err != nil {
				return nil, err
			}
			if i == 0 && len(cmd.Args) == 1 {
				last = t
			}
		}
	}
	if len(p.Cmds) > 1 {
		last = nil
	}
	return last, nil
}

func (c *checker) arg(n parse.Node, dot reflect.Type) (reflect.Type, error) {
	switch n := n.(type) {
	case *parse.FieldNode:
		return c.field(n, dot, n.Ident)
	case *parse.VariableNode:
		if n.Ident[0] != "$" {
			return nil, c.wrong(n, "variables are not taken")
		}
		return c.field(n, reflect.TypeFor[words](), n.Ident[1:])
	case *parse.DotNode:
		return dot, nil
	case *parse.IdentifierNode:
		if !allowed[n.Ident] {
			return nil, c.wrong(n, "the function %s is not taken: %s are", parcels.Excerpt(n.Ident), either(slices.Sorted(maps.Keys(allowed))))
		}
		return nil, nil
	case *parse.PipeNode:
		_, err := c.pipe(n, dot)
		return nil, err
	case *parse.StringNode, *parse.NumberNode, *parse.BoolNode:
		return nil, nil
	}
	return nil, c.wrong(n, "%s is not taken", parcels.Excerpt(n.String()))
}

func (c *checker) field(n parse.Node, t reflect.Type, names []string) (reflect.Type, error) {
	for _, name := range names {
		if t.Kind() != reflect.Struct {
			return nil, c.wrong(n, "%s has no fields", parcels.Excerpt(n.String()))
		}
		f, ok := t.FieldByName(name)
		if !ok {
			var have []string
			for i := range t.NumField() {
				have = append(have, t.Field(i).Name)
			}
			return nil, c.wrong(n, "there is no field %s: there are %s", parcels.Excerpt(name), strings.Join(have, ", "))
		}
		t = f.Type
	}
	return t, nil
}

// bounded ends the running of a template that writes too much.
type bounded struct{ b strings.Builder }

func (w *bounded) Write(p []byte) (int, error) {
	if w.b.Len()+len(p) > mostWords {
		return 0, fmt.Errorf("it writes more than %d bytes", mostWords)
	}
	return w.b.Write(p)
}

// text runs a template.
func (d *draft) text(name string) (string, error) {
	own, ok := d.own[name]
	if !ok {
		own = BuiltIn(name)
	}
	t, err := parsed(name, own)
	if err == nil {
		var w bounded
		if err = t.Execute(&w, d.words()); err == nil {
			return w.b.String(), nil
		}
	}
	return "", &parcels.InputError{Kind: parcels.Invalid, File: "templates", Faults: []parcels.Fault{templateFault(name, err)}}
}

// block is what the program draws at a line @name of a template.
type block func(d *draft, f *flow, arg string)

var blocks map[string]block

func init() { // blocks call what asks for blocks
	blocks = map[string]block{
		"about":       func(d *draft, f *flow, _ string) { d.about(f) },
		"upkeep":      func(d *draft, f *flow, _ string) { d.upkeepTable(f) },
		"rules":       func(d *draft, f *flow, _ string) { d.rules(f) },
		"findings":    func(d *draft, f *flow, _ string) { d.findings(f) },
		"rests":       func(d *draft, f *flow, _ string) { d.rests(f) },
		"checked":     func(d *draft, f *flow, _ string) { d.checked(f) },
		"visit":       func(d *draft, f *flow, _ string) { d.asks(f) },
		"order":       func(d *draft, f *flow, _ string) { d.order(f) },
		"stakes":      func(d *draft, f *flow, _ string) { d.stakeRows(f, d.stakes, false) },
		"hose":        func(d *draft, f *flow, _ string) { d.hose(f) },
		"photographs": func(d *draft, f *flow, _ string) { d.photographs(f) },
		"inverts":     func(d *draft, f *flow, _ string) { d.inverts(f) },
		"cautions":    func(d *draft, f *flow, _ string) { d.cautions(f) },
		"sign":        func(_ *draft, f *flow, who string) { f.sign(who) },
		"picture":     func(d *draft, f *flow, _ string) { d.picture(f) },
		"drawings":    func(d *draft, f *flow, _ string) { f.insert(d.planSheets(f.h, f.w)...) },
		"calculation": func(d *draft, f *flow, _ string) { d.calculation(f) },
	}
}

// set sets the text of a template. The cautions stand on every paper, whether its
// template asks for them or not.
func (d *draft) set(f *flow, text string) {
	var para []string
	flush := func() {
		if len(para) > 0 {
			f.para(strings.Join(para, " "))
			para = nil
		}
	}
	for _, l := range strings.Split(text, "\n") {
		l = strings.TrimSpace(l)
		lead, rest, _ := strings.Cut(l, " ")
		rest = strings.TrimSpace(rest)
		switch {
		case l == "":
			flush()
			continue
		case lead == "#" || lead == "##" || lead == "-" || strings.HasPrefix(l, "[ ] ") || strings.HasPrefix(l, "@"):
			flush()
			if f.drawn[f.page()] { // a drawn sheet stands last
				f.turn()
			}
		}
		switch {
		case lead == "#":
			f.title(rest)
		case lead == "##":
			f.heading(rest)
		case lead == "-":
			f.item(rest)
		case strings.HasPrefix(l, "[ ] "):
			f.tick(l[4:])
		case strings.HasPrefix(l, "@"):
			if b, ok := blocks[lead[1:]]; ok {
				b(d, f, rest)
			}
		default:
			para = append(para, l)
		}
	}
	flush()
	if !f.cautioned {
		if f.drawn[f.page()] {
			f.turn()
		}
		d.cautions(f)
	}
}

// items are the items of a template, for a list that is drawn otherwise.
func items(text string) (out []string) {
	for _, l := range strings.Split(text, "\n") {
		if rest, ok := strings.CutPrefix(strings.TrimSpace(l), "- "); ok {
			out = append(out, rest)
		}
	}
	return out
}

// safe makes a text of the input or the plan one that is no markup: a mark that
// takes no room stands before it, and is dropped when it is drawn.
func safe(s string) string {
	s = plain(s)
	if s == "" {
		return ""
	}
	return "\u200b" + s
}

func safeAll(l []string) []string {
	out := make([]string, len(l))
	for i, s := range l {
		out[i] = safe(s)
	}
	return out
}

// words are the plan's fields for a template.
func (d *draft) words() words {
	p, c, u := d.p, d.c, d.u
	s := p.Summary
	w := words{
		Site: safe(siteName(p.Site)), Lots: safe(lots(s.Lots)), Status: p.Status, Verdict: verdict(s.Verdict), WhyNot: safe(s.WhyNot), Cure: safe(s.Cure),
		Feasible: s.Verdict == parcels.Feasible, NotFeasible: s.Verdict == parcels.NotFeasible,
		Firm: safe(c.Sheet.Firm), Licence: safe(c.Sheet.Licence), Drawn: safe(c.Sheet.Drawn), Revision: safe(c.Sheet.Revision),
		Datum: safe(d.s.VerticalDatum), Benchmark: safe(d.s.Benchmark), Soil: safe(d.soil()),
		Outlet: safe(orNone(s.Outlet)), Length: u.Distance(s.Length), TrenchLength: u.Distance(s.TrenchLength), Fall: display.Or(s.Fall, u.Length),
		LeastSlope: display.Or(s.LeastSlope, u.Slope), GreatestDepth: display.Or(s.GreatestDepth, u.Length), Flow: display.Or(s.Flow, u.Flow),
		Takes: d.takes(), Storm: years(float64(c.Storm.ReturnYears)), StormYears: fmt.Sprintf("%.0f", float64(c.Storm.ReturnYears)),
		Needs: safeAll(d.needs()), Permissions: safeAll(d.permissions()), HandDigging: safeAll(d.handDigging()),
		Bedding: d.dim(c.Trench.Bedding), OverPipe: d.dim(c.Trench.OverPipe), Cover: d.dim(c.Pipe.LeastCover),
		Every: u.Step(25 * unit.Foot), SpoilBack: u.Step(2 * unit.Foot), NearHouse: u.Step(3 * unit.Foot), Gates: d.gates(),
		Price: d.priced(),
	}
	if u == display.SI {
		w.Every, w.SpoilBack, w.NearHouse = "7.5 m", "0.6 m", "0.9 m"
	}
	perforated := unit.Length(0)
	for i := range p.Runs {
		if p.Runs[i].Pipe == "perforated" {
			perforated += p.Runs[i].Length
		}
	}
	if perforated > 0 {
		w.Perforated, w.Wrapped = u.Distance(perforated), c.Trench.Wrap
	}
	for _, x := range p.WaterCases {
		if x.Message != "" {
			w.Water = append(w.Water, safe(x.Message))
		}
	}
	longest := hydro.Duration(-1)
	for _, b := range p.Backed() { // of several drains the one that stands full longest
		if b.Without == nil || b.Without.MinutesAbove == nil || *b.Without.MinutesAbove <= longest {
			continue
		}
		longest = *b.Without.MinutesAbove
		w.FullMinutes, w.FullMinutesValve = fmt.Sprintf("%.0f", float64(longest)), ""
		if b.With != nil && b.With.MinutesAbove != nil {
			w.FullMinutesValve = fmt.Sprintf("%.0f", float64(*b.With.MinutesAbove))
		}
	}
	for _, x := range p.Findings {
		if x.Severity == parcels.Stop {
			w.Stops = append(w.Stops, safe(x.Message+cite(x)))
		}
		if x.Severity != parcels.Note {
			w.Warnings = append(w.Warnings, safe(x.Message+cite(x)))
		}
	}
	d.entered(&w)
	return w
}

// gates says which gate lets no machine through.
func (d *draft) gates() string {
	least := "36 in"
	if d.u == display.SI {
		least = "0.9 m"
	}
	return "under " + least + " means digging by hand and wheelbarrow (P-151)"
}

// entered are the easements and streets that the trench enters, the structures it
// ties into, and who signs for them.
func (d *draft) entered(w *words) {
	who := map[string][]string{}
	var order []string
	consents := siting.ConsentsOf(d.s)
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		wide := unit.Length(0)
		for _, t := range d.p.Trenches {
			if t.ID == r.Trench {
				wide = t.Width
			}
		}
		for _, x := range consents.On(r.Line, wide) {
			if who[x] == nil {
				order = append(order, x)
			}
			who[x] = append(who[x], r.ID)
		}
	}
	for _, x := range order {
		w.Easements = append(w.Easements, safe(x+" with "+plural("run", who[x])))
		w.Signers = append(w.Signers, safe("Holder of "+strings.ReplaceAll(x, "_", " ")))
	}
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
				w.TieIns = append(w.TieIns, safe(fmt.Sprintf("%s %s (%s sewer, %s): pipe %s at %s, rim %s, invert of the outgoing pipe %s", in.Kind, in.ID, in.System, owner, d.u.Size(r.Size, r.Diameter), display.Or(r.InvertDown, d.u.Elevation), display.Or(in.Rim, d.u.Elevation), display.Or(in.Invert, d.u.Elevation))))
				w.Signers = append(w.Signers, safe("For the tie-in at "+in.ID+": "+owner))
			}
		}
	}
}
