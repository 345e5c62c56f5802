package source

// Published limits that rules cite and that no formula works out: trench safety,
// trench width, grading at a foundation. As data; check the adopted edition.

// Limit is one number of a rule.
type Limit struct {
	Name   string
	Value  float64 // SI
	Unit   string
	Source string
	Place  string
}

const (
	foot = 0.3048
	inch = 0.0254
)

// Limits returns the published limits.
func Limits() []Limit {
	return []Limit{
		{"protective system from a depth of", 5 * foot, "m", OSHA1926, "1926.652(a)(1); below it too where a competent person sees a hazard"},
		{"design by a registered engineer over", 20 * foot, "m", OSHA1926, "subpart P appendix B"},
		{"way out from a depth of", 4 * foot, "m", OSHA1926, "1926.651(c)(2)"},
		{"way out within", 25 * foot, "m", OSHA1926, "1926.651(c)(2), of lateral travel"},
		{"spoil back from the edge", 2 * foot, "m", OSHA1926, "1926.651(j)(2)"},
		{"ladder above the top", 3 * foot, "m", OSHA1926, "1926.1053, quoted with subpart P"},
		{"shield above the side", 18 * inch, "m", OSHA1926, "subpart P appendix B figures"},
		{"type A open at most 24 h, to a depth of", 12 * foot, "m", OSHA1926, "subpart P appendix B, table B-1 note"},
		{"type A open at most 24 h, run over rise", 0.5, "", OSHA1926, "subpart P appendix B, table B-1 note"},
		{"side slope, stable rock, run over rise", 0, "", OSHA1926, "subpart P appendix B, table B-1"},
		{"side slope, type A, run over rise", 0.75, "", OSHA1926, "subpart P appendix B, table B-1"},
		{"side slope, type B, run over rise", 1, "", OSHA1926, "subpart P appendix B, table B-1"},
		{"side slope, type C, run over rise", 1.5, "", OSHA1926, "subpart P appendix B, table B-1"},
		{"fall in the first 10 ft from a foundation", 6 * inch, "m", IRC2006, "R401.3"},
		{"slope of impervious ground within 10 ft of a foundation", 0.02, "", IRC2006, "R401.3"},
		{"slope of a swale within 10 ft of a foundation", 0.02, "", IRC2006, "R401.3"},
		{"trench width beyond the pipe, to 5 ft deep", 2 * foot, "m", Tolono, "5.16: a local rule, above the general one"},
		{"trench width beyond the pipe, deeper than 5 ft or shored", 3 * foot, "m", Tolono, "5.16: a local rule, above the general one"},
		{"share of a wall added to the roof, Chicago", 0.25, "", Chicago, "18-29"},
		{"share of a wall added to the roof, IPC", 0.5, "", IPC2018, "1106.4"},
	}
}

// LimitNamed returns a limit by name.
func LimitNamed(name string) (Limit, bool) {
	for _, l := range Limits() {
		if l.Name == name {
			return l, true
		}
	}
	return Limit{}, false
}

// TrenchWidth returns the least trench width for flexible pipe of outside diameter
// od, metres: the larger of OD + 16 in and 1.25 OD + 12 in, which meet at 16 in.
// Yard drains of 3 and 4 in in stone are commonly laid narrower: the rule is a
// choice. Source: ASTMD2321.
func TrenchWidth(od float64) float64 { return max(od+16*inch, 1.25*od+12*inch) }
