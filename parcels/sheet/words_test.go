package sheet

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
)

func said1(d *Document) string {
	var b strings.Builder
	for _, pg := range d.pages {
		for _, m := range pg.marks {
			b.WriteString(m.text + " ")
		}
	}
	return b.String()
}

// A firm's own words take the place of the built-in ones; the numbers in them are
// the plan's, and the cautions stand though the template does not ask for them.
func TestHandTemplates(t *testing.T) {
	own, err := ReadTemplates(map[string]string{"proposal": "# Dear owner of {{.Lots}}\n- {{.Length}} to {{.Outlet}}\n{{range .Needs}}\n[ ] {{.}}\n{{else}}nothing{{end}}\n@price2 is no block here {{/* but text */}}"})
	if err == nil {
		t.Error("@price2 is taken")
	}
	own, err = ReadTemplates(map[string]string{"proposal": "# Dear owner of {{.Lots}}\n- {{.Length}} to {{.Outlet}}\n{{range .Needs}}\n[ ] {{.}}\n{{end}}", "notes": "- Mind the cat."})
	if err != nil {
		t.Fatal(err)
	}
	p, s := planned(t, "B4")
	got := said1(made(t, "B4", Options{Kind: KindProposal, Paper: "letter", Templates: own}))
	for _, w := range []string{"Dear owner of lot B4", display.US.Distance(p.Summary.Length) + " to I1", "Written permission to dig in easement E1 (drainage).", "Cautions", "Planning estimate"} {
		if !strings.Contains(got, w) {
			t.Errorf("the paper lacks %q", w)
		}
	}
	if strings.Contains(got, "Upkeep") {
		t.Error("the built-in words stand beside the firm's own")
	}
	if got := said1(made(t, "B4", Options{Kind: KindPlan, Paper: "letter", Templates: own})); !strings.Contains(got, "Mind the cat.") || strings.Contains(got, "haunch by hand") {
		t.Error("the notes beside the sections are not the firm's")
	}
	// what the input calls itself is no markup
	bad := *s
	bad.Criteria.Sheet.Firm = "@sign Mayor"
	own, _ = ReadTemplates(map[string]string{"proposal": "{{.Firm}}"})
	d, err := Make(p, &bad, Options{Kind: KindProposal, Paper: "letter", Templates: own})
	if err != nil {
		t.Fatal(err)
	}
	if got := said1(d); !strings.Contains(got, "@sign Mayor") {
		t.Error("a firm's name was read as a block")
	}
}

// Each built-in template passes the check that a firm's must, and so does each
// field that there is.
func TestPropertyBuiltInTemplates(t *testing.T) {
	all := map[string]string{}
	for _, n := range TemplateNames() {
		all[n] = BuiltIn(n)
	}
	if _, err := ReadTemplates(all); err != nil {
		t.Fatal(err)
	}
	if want := []string{"closeout", "crew", "notes", "permit", "proposal", "visit"}; !slices.Equal(TemplateNames(), want) {
		t.Errorf("templates %v", TemplateNames())
	}
	typ := reflect.TypeFor[words]()
	for i := range typ.NumField() {
		f := typ.Field(i)
		text := "{{." + f.Name + "}}"
		if f.Type.Kind() == reflect.Slice {
			text = "{{range ." + f.Name + "}}{{.}}{{end}}{{len ." + f.Name + "}}"
		}
		if _, err := ReadTemplates(map[string]string{"permit": text}); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
}

// Hostile and wrong templates are refused with the line, before they are run.
func TestHandHostileTemplates(t *testing.T) {
	for text, says := range map[string]string{
		"one\n\n{{.Oulet}}":                                           "line 3: there is no field Oulet",
		"{{.Site.Name}}":                                              "has no fields",
		"{{if .Feasible}}{{.Nope}}{{end}}":                            "no field Nope",
		"{{range .Water}}{{.Text}}{{end}}":                            "has no fields",
		"{{range .Site}}{{end}}":                                      "range takes a list",
		"{{range .Water}}{{range $.Water}}x{{end}}{{end}}":            "a range in a range",
		"{{$x := .Site}}{{$x}}":                                       "variables are not taken",
		"{{printf \"%1000000d\" 1}}":                                  "the function printf is not taken",
		"{{call .Site}}":                                              "the function call is not taken",
		"{{define \"a\"}}{{template \"a\"}}{{end}}{{template \"a\"}}": "",
		"{{template \"permit\"}}":                                     "not taken",
		"{{block \"x\" .}}x{{end}}":                                   "",
		"{{html .Site}}":                                              "the function html is not taken",
		"{{with join .Water}}{{.}}{{end}}":                            "with takes a field",
		"@shell rm":                                                   "no block @shell",
		"a\n{{.Site}}\n@nothing\n":                                    "line 3: there is no block @nothing",
		"{{.Site":                                                     "cannot be used",
		"\xff":                                                        "not UTF-8",
		strings.Repeat("x", mostTemplate+1):                           "more than",
		strings.Repeat("{{.Site}}", 5000):                             "more than 4000 pieces",
		"{{index .Water 99}}":                                         "not taken",
		"{{(.Site).Length}}":                                          "not taken",
		"{{break}}":                                                   "",
	} {
		_, err := ReadTemplates(map[string]string{"permit": text})
		var in *parcels.InputError
		if !errors.As(err, &in) || in.Faults[0].Slug != "template-invalid" || !strings.Contains(in.Faults[0].Detail, says) {
			t.Errorf("%.60q: %v, want %q", text, err, says)
		}
	}
	if _, err := ReadTemplates(map[string]string{"poster": "x"}); err == nil {
		t.Error("a template of a paper that there is not is taken")
	}
	// what writes too much when it is run is ended, and told
	p, s := planned(t, "B4")
	many := *p
	many.Findings = slices.Repeat(p.Findings, 400)
	own, err := ReadTemplates(map[string]string{"permit": "{{range .Warnings}}" + strings.Repeat("{{.}}", 300) + "{{end}}"})
	if err != nil {
		t.Fatal(err)
	}
	var in *parcels.InputError
	if _, err := Make(&many, s, Options{Kind: KindPermit, Paper: "letter", Templates: own}); !errors.As(err, &in) || !strings.Contains(in.Faults[0].Detail, "more than") {
		t.Errorf("%v", err)
	}
}

// One standard deviation of room leaves 15.87 % (the normal law, any table), two
// 2.28 %, none a half; without an error the room decides.
func TestPublishedBeyond(t *testing.T) {
	for _, w := range []struct{ m, s, want float64 }{{0.1, 0.1, 0.158655}, {0.2, 0.1, 0.022750}, {0, 0.1, 0.5}, {-0.1, 0.1, 0.841345}, {0.1, 0, 0}, {-0.1, 0, 1}} {
		if got := beyond(unit.Length(w.m), unit.Length(w.s)); math.Abs(got-w.want) > 1e-6 {
			t.Errorf("room %v, sd %v: %v, want %v", w.m, w.s, got, w.want)
		}
	}
}

// The ranking follows what is known and what the plan leaves: the same plan on
// mapped inlets asks for the inlet sooner than on shot ones; one that arrives with
// no room to spare asks for it first of all that is reckoned.
func TestPropertyVisitRank(t *testing.T) {
	p, s := planned(t, "B4")
	of := func(p *parcels.Plan, s *parcels.Site) (rank int, chance float64) {
		d := &draft{p: p, s: s, c: &s.Criteria, u: display.US}
		for i, a := range d.asked() {
			if strings.HasPrefix(a.what, "Shoot the rim of I1") {
				return i, a.chance
			}
		}
		t.Fatal("the inlet is not asked for")
		return 0, 0
	}
	_, shot := of(p, s)
	mapped := *p
	mapped.RestsOn.Measured = []string{"spots"}
	mapped.RestsOn.Mapped = []string{"inlets", "intakes"}
	// the inlet of B4 lies 0.75 m under the pipe: lift it until a tenth of a metre
	// is left
	tight := *s
	tight.Inlets = slices.Clone(s.Inlets)
	for i := range tight.Inlets {
		if tight.Inlets[i].ID == "I1" {
			for k := range p.Runs {
				if p.Runs[k].To == "I1" {
					tight.Inlets[i].Invert = parcels.Num(*p.Runs[k].InvertDown - 0.1)
				}
			}
		}
	}
	_, held := of(p, &tight)
	rank, loose := of(&mapped, &tight)
	if !(shot <= held && held < loose) || math.Abs(loose-beyond(0.1, mappedSD)) > 1e-9 {
		t.Errorf("shot %v, with a tenth of a metre %v, and mapped %v", shot, held, loose)
	}
	if rank > 1 {
		t.Errorf("the inlet is asked for as number %d", rank+1)
	}
	for i := range tight.Inlets {
		if tight.Inlets[i].ID == "I1" {
			tight.Inlets[i].Invert = nil
		}
	}
	if _, c := of(p, &tight); c != notKnown {
		t.Errorf("an invert that is not known: %v", c)
	}
}

// No template ends the program: what passes the check runs to its end, or is told.
func FuzzTemplates(f *testing.F) {
	for _, n := range TemplateNames() {
		f.Add(BuiltIn(n))
	}
	for _, s := range []string{"{{range .Water}}{{.}}{{else}}{{end}}", "{{with .Price}}{{.Why}}{{end}}", "{{if and .Feasible (eq .Lots \"x\") }}a{{end}}", "{{join .Needs | len}}", "{{.Site | join}}", "{{$.Price.Date}}", "@sign {{.Firm}}"} {
		f.Add(s)
	}
	s := &parcels.Site{Criteria: parcels.DefaultCriteria()}
	p := &parcels.Plan{Cautions: parcels.Cautions, Findings: []parcels.Finding{{Severity: parcels.Warn, Message: "m"}}}
	f.Fuzz(func(t *testing.T, text string) {
		own, err := ReadTemplates(map[string]string{"crew": text})
		if err != nil {
			return
		}
		d := &draft{p: p, s: s, c: &s.Criteria, u: display.US, own: own}
		out, err := d.text("crew")
		var in *parcels.InputError
		if err != nil && !errors.As(err, &in) || len(out) > mostWords {
			t.Errorf("%d bytes, %v", len(out), err)
		}
	})
}
