package exchange

// Which attribute becomes which property: given in a file or guessed.

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v3"

	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/exchange/wkb"
)

// Mapping says for each property of ours (without unit: rim, diameter) which
// attribute it is taken from.
type Mapping map[string]MapEntry

// MapEntry is one line of a mapping: the attribute, the unit of its numbers
// where it is a quantity, and what its texts mean.
type MapEntry struct {
	From   string            `json:"from" yaml:"from"`
	Unit   string            `json:"unit,omitempty" yaml:"unit,omitempty"`
	Values map[string]string `json:"values,omitempty" yaml:"values,omitempty"`
}

// UnmarshalYAML takes a bare name as well.
func (e *MapEntry) UnmarshalYAML(n *yaml.Node) error {
	if n.Kind == yaml.ScalarNode {
		e.From = n.Value
		return nil
	}
	type plain MapEntry
	return n.Decode((*plain)(e))
}

// Mapped tells which attribute became which property.
type Mapped struct {
	Property string `json:"property"`
	From     string `json:"from"`
	Unit     string `json:"unit,omitempty"`
	Guessed  bool   `json:"guessed"`
	Count    int    `json:"count"`
}

// ReadMapping reads a mapping, YAML or JSON:
//
//	lot: PARCEL_ID
//	rim: {from: RIM_ELEV, unit: ft}
//	kind: {from: TYPE, values: {CB: grate, MH: manhole}}
//
// The error is a *parcels.InputError.
func ReadMapping(text []byte) (Mapping, error) {
	var m Mapping
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&m); err != nil {
		return nil, invalid(parcels.Unreadable, parcels.Fault{Slug: "mapping-invalid", Detail: "The mapping cannot be read: " + parcels.Excerpt(err.Error()) + ". A line is `lot: PARCEL_ID` or `rim: {from: RIM_ELEV, unit: ft}`."})
	}
	for _, k := range slices.Sorted(maps.Keys(m)) {
		e := m[k]
		if e.From == "" || !slices.Contains([]string{"", "m", "ft", "us_ft", "in", "mm"}, e.Unit) {
			return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "mapping-invalid", Member: k, Detail: fmt.Sprintf("The mapping of %s needs `from`, and `unit` one of m, ft, us_ft, in, mm where it is a quantity.", parcels.Excerpt(k))})
		}
	}
	return m, nil
}

// what a property is.
type valueKind int

const (
	name      valueKind = iota // an id: text or number, copied
	choice                     // one of a list, by the words in it
	elevation                  // a height above a datum
	length                     // a length on the ground
	size                       // a diameter
)

// property is one that is looked for in a layer.
type property struct {
	key     string // without unit
	kind    valueKind
	names   []string    // names it goes by elsewhere, letters and digits only, likeliest first
	words   [][2]string // choice: a word in the text, and what it means; first hit counts
	allowed []string    // choice: what may stand there as it is
}

// known are the properties that are guessed, by layer. Names are those met in
// municipal exports, less case, blanks and marks.
var known = map[parcels.Layer][]property{
	parcels.LayerParcels:   {{key: "lot", names: []string{"lot", "parcelid", "parcelno", "parcelnum", "parcelnumber", "apn", "parno", "pin", "gpin", "pid", "pidn", "mapparlot", "maplot", "lotid", "lotno", "lotnum", "lotnumber", "taxid", "taxpin", "idu", "locid", "id"}}},
	parcels.LayerBuildings: {{key: "lot", names: []string{"lot", "parcelid", "apn", "pin", "gpin", "pid", "lotid"}}},
	parcels.LayerEasements: {
		{key: "kind", kind: choice, names: []string{"kind", "type", "easementtype", "easetype", "esmttype", "esmnttype", "class", "purpose", "use", "description", "descriptio", "notes"},
			words:   [][2]string{{"drain", "drainage"}, {"storm", "drainage"}, {"swale", "drainage"}, {"utilit", "utility"}, {"sewer", "utility"}, {"sanitary", "utility"}, {"water", "utility"}, {"electric", "utility"}, {"gas", "utility"}, {"power", "utility"}, {"pue", "utility"}, {"access", "access"}, {"ingress", "access"}, {"egress", "access"}, {"road", "access"}, {"way", "access"}},
			allowed: []string{"drainage", "utility", "access", "other"}},
		{key: "width", kind: length, names: []string{"width", "easementwidth", "esmtwidth", "widthft", "widthm"}}},
	parcels.LayerInlets: {
		{key: "inlet", names: []string{"inlet", "inletid", "facilityid", "featureid", "assetid", "structureid", "structid", "cbid", "catchbasinid", "basinid", "mhid", "manholeid", "nodeid", "id", "objectid"}},
		{key: "kind", kind: choice, names: []string{"kind", "type", "inlettype", "structuretype", "structype", "cbtype", "mhtype", "accesstype"},
			words:   [][2]string{{"manhole", "manhole"}, {"mh", "manhole"}, {"curb", "curb"}, {"grate", "grate"}, {"catch", "grate"}, {"cb", "grate"}, {"drop", "grate"}, {"yard", "grate"}, {"area", "grate"}},
			allowed: []string{"grate", "curb", "manhole"}},
		{key: "system", kind: choice, names: []string{"system", "watertype", "sewertype", "systemtype"},
			words:   [][2]string{{"combined", "combined"}, {"sanitary", "sanitary"}, {"storm", "storm"}},
			allowed: []string{"storm", "combined", "sanitary", "unknown"}},
		{key: "rim", kind: elevation, names: []string{"rim", "rimelev", "rimelevation", "rimelevati", "elevrim", "rimel", "topelev", "grateelev", "stndrimelv", "planrimelv", "rimm", "rimft"}},
		{key: "invert", kind: elevation, names: []string{"invert", "invertout", "invout", "stndinvout", "planinvout", "calcinvou", "invertelev", "invertelevation", "inverteleva", "invelev", "invertm", "invertft", "baseelevat", "inv"}},
		{key: "outgoing_diameter", kind: size, names: []string{"outgoingdiameter", "outdiameter", "outdia", "pipediameter", "pipedia", "pipesize", "diameter", "diam"}}},
	parcels.LayerOutlets: {
		{key: "outlet", names: []string{"outlet", "outletid", "outfallid", "facilityid", "assetid", "id"}},
		{key: "level", kind: elevation, names: []string{"level", "invert", "invertelev", "invelev", "elevation", "elev"}}},
	parcels.LayerDrains: {
		{key: "drain", names: []string{"drain", "drainid", "pipeid", "facilityid", "assetid", "lineid", "id"}},
		{key: "status", kind: choice, names: []string{"status", "lifecycle", "lifecycles", "assetstatus"},
			words:   [][2]string{{"exist", "existing"}, {"active", "existing"}, {"service", "existing"}, {"propos", "proposed"}, {"plan", "proposed"}, {"laid", "laid"}, {"asbuilt", "laid"}},
			allowed: []string{"existing", "proposed", "laid"}},
		{key: "invert_up", kind: elevation, names: []string{"invertup", "upinvert", "invup", "upelev", "upstreamin", "upstreaminvert", "usinvert", "usinv", "upinv", "invertus"}},
		{key: "invert_down", kind: elevation, names: []string{"invertdown", "downinvert", "invdown", "downelev", "downstream", "downstreaminvert", "dsinvert", "dsinv", "dninv", "invertds"}},
		{key: "diameter", kind: size, names: []string{"diameter", "diam", "dia", "pipesize", "pipediameter", "pipedia", "size"}}},
	parcels.LayerSpots:     {{key: "elevation", kind: elevation, names: []string{"elevation", "elev", "z", "height", "spotelev"}}},
	parcels.LayerContours:  {{key: "elevation", kind: elevation, names: []string{"elevation", "elev", "contour", "contourele", "z", "height"}}},
	parcels.LayerObstacles: {{key: "kind", kind: choice, names: []string{"kind", "type", "featuretype"}, words: [][2]string{{"tree", "tree"}, {"fence", "fence"}, {"wall", "wall"}, {"pool", "pool"}, {"shed", "shed"}, {"drive", "paving"}, {"patio", "paving"}, {"walk", "paving"}, {"pav", "paving"}, {"septic", "septic"}, {"well", "well"}, {"irrigation", "irrigation"}, {"sprinkler", "irrigation"}, {"gas", "utility"}, {"water", "utility"}, {"electric", "utility"}, {"utilit", "utility"}}, allowed: []string{"tree", "utility", "irrigation", "paving", "wall", "fence", "shed", "pool", "septic", "well", "existing_drain", "other"}}},
}

// suffixes of names that tell the unit.
var units = []struct{ ending, unit string }{{"_us_ft", "us_ft"}, {"_usft", "us_ft"}, {"_feet", "ft"}, {"_ft", "ft"}, {"_metres", "m"}, {"_meters", "m"}, {"_m", "m"}, {"_inches", "in"}, {"_inch", "in"}, {"_in", "in"}, {"_mm", "mm"}}

// squeeze is a name less case, blanks and marks.
func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, s)
}

func unitOf(field string) (stem, unit string) {
	l := strings.ToLower(field)
	for _, u := range units {
		if rest, ok := strings.CutSuffix(l, u.ending); ok {
			return rest, u.unit
		}
	}
	return l, ""
}

// rule is a property with the attribute it is taken from.
type rule struct {
	property
	from    string
	unit    string
	values  map[string]string
	guessed bool
	count   int
	missing int
	// placeholders counts the numbers that exports write for "unknown".
	placeholders map[string]int
}

type mapper struct {
	o      Options
	report *Report
	rules  []*rule
	set    bool
	lots   map[string]bool
}

func newMapper(o Options, report *Report) (*mapper, error) {
	m := &mapper{o: o, report: report, lots: map[string]bool{}}
	if o.Map == nil {
		return m, nil
	}
	m.set = true
	keys := make([]string, 0, len(o.Map))
	for k := range o.Map {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, k := range keys {
		e := o.Map[k]
		stem, unit := unitOf(k)
		r := &rule{property: property{key: k, kind: name}, from: e.From, unit: e.Unit, values: e.Values}
		for _, p := range known[o.Layer] {
			if p.key == k || p.key == stem {
				r.property = p
				if r.unit == "" && p.kind > choice {
					r.unit = unit
				}
			}
		}
		if r.kind == elevation && r.unit == "" {
			r.unit = o.ElevationUnit
		}
		if r.kind > choice && r.unit == "" {
			return nil, invalid(parcels.Invalid, parcels.Fault{Slug: "mapping-invalid", Member: k, Detail: fmt.Sprintf("In what unit is %s? Give `%s: {from: %s, unit: ft}` (m, ft, us_ft, in or mm).", parcels.Excerpt(e.From), k, parcels.Excerpt(e.From))})
		}
		m.rules = append(m.rules, r)
	}
	return m, nil
}

// guess looks for the known properties among the attributes of the first
// feature.
func (m *mapper) guess(props map[string]json.RawMessage) error {
	m.set = true
	taken := map[string]bool{}
	fields := make([]string, 0, len(props))
	for f := range props {
		fields = append(fields, f)
	}
	slices.Sort(fields)
	for _, p := range known[m.o.Layer] {
		if exact := m.own(p, props); exact != "" {
			taken[exact] = true
			if p.kind == choice {
				m.rules = append(m.rules, &rule{property: p, from: exact, guessed: true})
			}
			continue
		}
		for _, n := range p.names {
			found := ""
			for _, f := range fields {
				stem, _ := unitOf(f)
				if !taken[f] && (squeeze(f) == n || squeeze(stem) == n) {
					found = f
					break
				}
			}
			if found == "" {
				continue
			}
			r := &rule{property: p, from: found, guessed: true}
			_, r.unit = unitOf(found)
			if p.kind <= choice {
				r.unit = ""
			}
			if (p.kind == elevation || p.kind == length) && r.unit == "" {
				if m.o.ElevationUnit == "" && m.o.Service { // nobody can be asked
					m.report.note("The attribute %s looks like %s, and nothing tells its unit: it was not taken as such. Name it %s_m or %s_ft.", parcels.Excerpt(found), p.key, p.key, p.key)
					break
				}
				if m.o.ElevationUnit == "" {
					return invalid(parcels.Invalid, parcels.Fault{Slug: "unit-unknown", Member: found, Detail: fmt.Sprintf("The attribute %s looks like %s, and nothing tells its unit. Say it: --elevation-unit m, ft or us_ft, or a mapping `%s: {from: %s, unit: ft}`.", parcels.Excerpt(found), p.key, p.key, parcels.Excerpt(found))})
				}
				r.unit = m.o.ElevationUnit
			}
			taken[found] = true
			m.rules = append(m.rules, r)
			break
		}
	}
	return nil
}

// own is the attribute that bears the property's own name already.
func (m *mapper) own(p property, props map[string]json.RawMessage) string {
	for _, k := range []string{p.key, p.key + "_m", p.key + "_ft", p.key + "_mm", p.key + "_in"} {
		if _, ok := props[k]; ok && (p.kind > choice) == (k != p.key) {
			return k
		}
	}
	return ""
}

type addition struct {
	key string
	raw []byte
}

// apply adds the mapped properties to those given. A fault refuses the
// feature; an error the file.
func (m *mapper) apply(props map[string]json.RawMessage, given json.RawMessage) (json.RawMessage, *parcels.Fault, error) {
	if !m.set {
		if err := m.guess(props); err != nil {
			return nil, nil, err
		}
	}
	var add []addition
	replaced := map[string]string{}
	for _, r := range m.rules {
		raw, ok := props[r.from]
		if !ok {
			r.missing++
			continue
		}
		key, value := r.value(raw, m.report)
		if value == nil {
			continue
		}
		if r.key == "lot" && m.o.Layer == parcels.LayerParcels {
			t := string(value)
			if m.lots[t] {
				m.report.mend(fmt.Sprintf("%s stands at more than one parcel: only the first is named by it as its lot", parcels.Excerpt(r.from)))
				continue
			}
			m.lots[t] = true
		}
		if old, stands := props[key]; stands {
			if r.from != key || bytes.Equal(old, value) {
				if r.from != key {
					m.report.mend(fmt.Sprintf("%s was there already and kept; %s was not put in its place", key, parcels.Excerpt(r.from)))
				}
				continue
			}
			replaced[key] = key + "_given"
		}
		r.count++
		add = append(add, addition{key, value})
	}
	if len(add) == 0 {
		return given, nil, nil
	}
	if len(replaced) > 0 {
		return rebuild(props, replaced, add), nil, nil
	}
	inner := bytes.TrimSpace(given)
	if len(inner) < 2 || inner[0] != '{' {
		inner = []byte("{}")
	}
	out := append([]byte(nil), bytes.TrimRight(inner[:len(inner)-1], " \t\r\n")...)
	for _, a := range add {
		if out[len(out)-1] != '{' {
			out = append(out, ',')
		}
		out = strconv.AppendQuote(out, a.key) // own keys: letters and _
		out = append(out, ':')
		out = append(out, a.raw...)
	}
	return append(out, '}'), nil, nil
}

// rebuild writes properties anew where one of ours takes the name of one given,
// which is kept under another.
func rebuild(props map[string]json.RawMessage, replaced map[string]string, add []addition) json.RawMessage {
	out := map[string]json.RawMessage{}
	for k, v := range props {
		if n, ok := replaced[k]; ok {
			k = n
		}
		out[k] = v
	}
	for _, a := range add {
		out[a.key] = a.raw
	}
	text, _ := json.Marshal(out)
	return text
}

// value is the key and the text of the property, nil where the attribute holds
// nothing of use.
func (r *rule) value(raw json.RawMessage, report *Report) (string, []byte) {
	text := string(raw)
	if raw[0] == '"' {
		if json.Unmarshal(raw, &text) != nil {
			return "", nil
		}
	}
	text = strings.TrimSpace(text)
	if text == "" || text == "null" {
		return "", nil
	}
	if v, ok := r.values[text]; ok {
		q, _ := json.Marshal(v)
		return r.key, q
	}
	switch r.kind {
	case name:
		if raw[0] == '{' || raw[0] == '[' {
			return "", nil
		}
		q, _ := json.Marshal(text)
		return r.key, q
	case choice:
		low := strings.ToLower(text)
		if slices.Contains(r.allowed, low) {
			q, _ := json.Marshal(low)
			return r.key, q
		}
		for _, w := range r.words {
			if strings.Contains(low, w[0]) {
				q, _ := json.Marshal(w[1])
				return r.key, q
			}
		}
		if r.from == r.key && slices.Contains(r.allowed, "other") {
			report.mend(fmt.Sprintf("%s %q is none of %v: taken as other, what was given is kept as %s_given", r.key, parcels.Excerpt(text), r.allowed, r.key))
			return r.key, []byte(`"other"`)
		}
		return "", nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		report.mend(fmt.Sprintf("%s holds %q, which is no number: no %s", parcels.Excerpt(r.from), parcels.Excerpt(text), r.key))
		return "", nil
	}
	unit := r.unit
	if r.kind == elevation && document.IsSentinel(v) {
		if r.placeholders == nil {
			r.placeholders = map[string]int{}
		}
		r.placeholders[text]++
		if unit == "us_ft" { // converted it could not be told any more; 2 in a million apart
			unit = "ft"
		}
	}
	if r.kind == size && unit == "" { // pipes come in inches up to 120, in millimetres from 150
		unit = "mm"
		if v <= 120 {
			unit = "in"
		}
	}
	switch {
	case r.kind == size && (v <= 0 || v >= 888 && unit == "in"):
		report.mend(fmt.Sprintf("%s of %g cannot be meant: no %s", parcels.Excerpt(r.from), v, r.key))
		return "", nil
	case unit == "us_ft":
		return r.key + "_m", wkb.AppendNumber(nil, v*1200/3937)
	case r.kind == size && unit == "m":
		return r.key + "_mm", wkb.AppendNumber(nil, v*1000)
	case r.kind == size && unit == "ft":
		return r.key + "_in", wkb.AppendNumber(nil, v*12)
	case r.kind != size && unit == "in":
		return r.key + "_ft", wkb.AppendNumber(nil, v/12)
	case r.kind != size && unit == "mm":
		return r.key + "_m", wkb.AppendNumber(nil, v/1000)
	}
	return r.key + "_" + unit, wkb.AppendNumber(nil, v)
}

// end writes the mapping into the report.
func (m *mapper) end(report *Report) {
	for _, r := range m.rules {
		unit := r.unit
		if r.kind == size && unit == "" {
			unit = "in up to 120, mm above"
		}
		report.Mapping = append(report.Mapping, Mapped{Property: r.key, From: r.from, Unit: unit, Guessed: r.guessed, Count: r.count})
		if len(r.placeholders) > 0 {
			var told []string
			for _, v := range slices.Sorted(maps.Keys(r.placeholders)) {
				told = append(told, fmt.Sprintf("%s %d times", v, r.placeholders[v]))
			}
			report.note("%s holds numbers that stand for not known as a rule: %s. They are kept; where they cannot be meant beside the site's other heights, a plan or audit takes %s as missing and says so.", parcels.Excerpt(r.from), strings.Join(told, ", "), r.key)
		}
		if r.count == 0 && r.missing > 0 && !r.guessed {
			report.note("The mapping takes %s from %s, which no feature has.", r.key, parcels.Excerpt(r.from))
		}
	}
	if m.o.Layer == parcels.LayerParcels && report.Taken > 0 && len(m.lots) == 0 && !slices.ContainsFunc(m.rules, func(r *rule) bool { return r.key == "lot" }) {
		report.note("No attribute was taken for the lot: parcels are named by their lot property if they have one, else by id or place in the file. Name it with a mapping `lot: ATTRIBUTE`.")
	}
}
