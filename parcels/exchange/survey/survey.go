package survey

// From lines to points.

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Order is that of the columns of a file without names.
type Order string

const (
	// NorthingFirst: number, northing, easting, elevation, description.
	NorthingFirst Order = "PNEZD"
	// EastingFirst: number, easting, northing, elevation, description.
	EastingFirst Order = "PENZD"
)

// Options are what the caller knows of a file.
type Options struct {
	// Order of a file without names; empty: NorthingFirst, held against Bounds.
	Order Order
	// Bounds of the parcels, easting and northing in the file's units; nil:
	// unknown, and a swap cannot be seen.
	Bounds *orb.Bound
	// ElevationUnit is the length of one unit of elevation; 0: as the names say.
	ElevationUnit unit.Length
	// PlanUnit is the length of one unit of northing and easting, to hold
	// against names that say one; 0: unknown.
	PlanUnit unit.Length
	// Codes are the first words of descriptions and the kinds they mean
	// (criteria survey.codes).
	Codes map[string]string
	// MaxPoints refuses longer files; 0: no limit.
	MaxPoints int
}

// Point is one line of the file.
type Point struct {
	ID          string
	At          orb.Point       // easting, northing, in the file's units
	Z           *unit.Elevation // nil: not measured
	Description string
	Kind        string // by Options.Codes; empty: no code, or an unknown one
	Notes       string
	Line        int // 1 is the first
}

// OnGround says whether a point's elevation is that of the ground: shots
// without a description or of a kind that is taken at the ground. A rim, an
// invert, a floor, the top of a foundation and a benchmark are not, nor is a
// code that nobody has explained.
func (p Point) OnGround() bool {
	if p.Z == nil {
		return false
	}
	switch p.Kind {
	case "ground", "flow_line", "downspout", "fence", "tree", "pin":
		return true
	case "":
		return p.Description == ""
	}
	return false
}

// File is what was read.
type File struct {
	Points    []Point
	Named     bool // the first line names the columns
	Order     Order
	Delimiter rune
	// Findings tell what was missing or taken for granted.
	Findings []parcels.Finding
}

// Spots are the points on the ground in the site's plane, numbered as in the
// file.
func (f *File) Spots(fr *frame.Frame) []parcels.Spot {
	var out []parcels.Spot
	for i, p := range f.Points {
		if p.OnGround() {
			out = append(out, parcels.Spot{Common: parcels.Common{Index: i, FeatureID: p.ID, Origin: parcels.Measured},
				At: fr.Plane(p.At), Z: *p.Z, Description: p.Description})
		}
	}
	return out
}

// column is what a column holds.
type column int

const (
	other column = iota
	number
	northing
	easting
	elevation
	description
	notes
)

// words are how messages call the columns that are numbers.
var words = map[column]string{northing: "northing", easting: "easting", elevation: "elevation"}

// names are the words for columns, less their unit.
var names = map[string]column{
	"p": number, "pt": number, "pnt": number, "point": number, "pointnumber": number, "pointno": number, "pointid": number, "id": number, "no": number, "number": number, "name": number, "pointname": number,
	"n": northing, "north": northing, "northing": northing, "y": northing,
	"e": easting, "east": easting, "easting": easting, "x": easting,
	"z": elevation, "el": elevation, "elev": elevation, "elevation": elevation, "height": elevation,
	"d": description, "desc": description, "description": description, "code": description, "descriptor": description, "rawdescription": description, "fulldescription": description,
	"note": notes, "notes": notes, "comment": notes, "remark": notes, "remarks": notes,
}

var unitNames = map[string]unit.Length{"m": unit.Metre, "metre": unit.Metre, "meter": unit.Metre, "metres": unit.Metre, "meters": unit.Metre,
	"ft": unit.Foot, "feet": unit.Foot, "foot": unit.Foot, "usft": unit.SurveyFoot, "ussft": unit.SurveyFoot, "sft": unit.SurveyFoot, "ftus": unit.SurveyFoot}

// columnOf reads a name as "Elev (ft)" or "northing_m".
func columnOf(s string) (column, unit.Length, bool) {
	words := strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !(r >= 'a' && r <= 'z') })
	var u unit.Length
	for k := 2; k >= 1; k-- { // "US ft" before "ft"
		if n := len(words); n > k {
			if v, ok := unitNames[strings.Join(words[n-k:], "")]; ok {
				u, words = v, words[:n-k]
				break
			}
		}
	}
	c, ok := names[strings.Join(words, "")]
	return c, u, ok
}

type row struct {
	line   int
	fields []string
}

// Read reads a point file. name is what the user calls it.
func Read(text []byte, name string, opt Options) (*File, error) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(text) {
		at := 0
		for at < len(text) {
			r, n := utf8.DecodeRune(text[at:])
			if r == utf8.RuneError && n == 1 {
				break
			}
			at += n
		}
		return nil, refuse(name, parcels.Unreadable, parcels.Fault{Slug: "not-utf8", Offset: parcels.Num(int64(at)), Line: parcels.Num(1 + bytes.Count(text[:at], []byte("\n"))),
			Detail: fmt.Sprintf("Byte %d of the point file is not UTF-8. Save it as UTF-8 or plain ASCII.", at)})
	}
	rows, delimiter := split(string(text))
	if len(rows) == 0 {
		return nil, refuse(name, parcels.Invalid, parcels.Fault{Slug: "survey-empty", Detail: "The point file has no points. Give one point a line: number, northing, easting, elevation, description."})
	}
	f := &File{Delimiter: delimiter, Order: opt.Order}
	r := reader{name: name, opt: opt, file: f}
	if err := r.columns(rows[0]); err != nil {
		return nil, err
	}
	if f.Named {
		rows = rows[1:]
	}
	if opt.MaxPoints > 0 && len(rows) > opt.MaxPoints {
		return nil, refuse(name, parcels.TooLarge, parcels.Fault{Slug: "survey-too-large", Limit: opt.MaxPoints, Actual: len(rows), Detail: fmt.Sprintf("The point file has %d points; at most %d are taken.", len(rows), opt.MaxPoints)})
	}
	seen := map[string]int{}
	for _, w := range rows {
		r.point(w, seen)
	}
	if len(r.faults) == 0 && len(f.Points) == 0 {
		r.fault(1, "survey-empty", "The point file has a line of names but no points.")
	}
	if len(r.faults) > 0 {
		return nil, &parcels.InputError{Kind: parcels.Invalid, File: name, Faults: r.faults}
	}
	if err := r.axes(); err != nil {
		return nil, err
	}
	if err := r.elevations(); err != nil {
		return nil, err
	}
	r.codes()
	return f, nil
}

func refuse(name string, kind parcels.Kind, f parcels.Fault) error {
	f.Entry = name
	return &parcels.InputError{Kind: kind, File: name, Faults: []parcels.Fault{f}}
}

// split cuts the text into lines and fields. A tab anywhere in the first line
// with anything in it means tabs.
func split(text string) (rows []row, delimiter rune) {
	delimiter = ','
	text = strings.ReplaceAll(text, "\r\n", "\n")
	text = strings.ReplaceAll(text, "\r", "\n")
	for i, line := range strings.Split(text, "\n") {
		if strings.TrimSpace(line) == "" {
			continue
		}
		if rows == nil && strings.ContainsRune(line, '\t') {
			delimiter = '\t'
		}
		rows = append(rows, row{i + 1, fields(line, byte(delimiter))})
	}
	return rows, delimiter
}

// fields cuts one line. Quotes round a whole field protect it; a quote within
// one (TREE 18" OAK) is a quote.
func fields(line string, delimiter byte) []string {
	var out []string
	for {
		s := strings.TrimLeft(line, " ")
		if strings.HasPrefix(s, `"`) {
			if v, rest, ok := quoted(s, delimiter); ok {
				out = append(out, v)
				if rest == "" {
					return out
				}
				line = rest[1:]
				continue
			}
		}
		i := strings.IndexByte(line, delimiter)
		if i < 0 {
			return append(out, strings.TrimSpace(line))
		}
		out = append(out, strings.TrimSpace(line[:i]))
		line = line[i+1:]
	}
}

// quoted takes a field in quotes off s; rest starts with the delimiter.
func quoted(s string, delimiter byte) (v, rest string, ok bool) {
	var b strings.Builder
	for i := 1; i < len(s); i++ {
		if s[i] != '"' {
			b.WriteByte(s[i])
			continue
		}
		if i+1 < len(s) && s[i+1] == '"' {
			b.WriteByte('"')
			i++
			continue
		}
		rest = strings.TrimLeft(s[i+1:], " ")
		return strings.TrimSpace(b.String()), rest, rest == "" || rest[0] == delimiter
	}
	return "", "", false
}

type reader struct {
	name   string
	opt    Options
	file   *File
	cols   []column
	zUnit  unit.Length
	faults []parcels.Fault
	raw    []*float64 // elevations in the file's unit, nil where blank
}

func (r *reader) fault(line int, slug, format string, a ...any) {
	r.faults = append(r.faults, parcels.Fault{Slug: slug, Entry: r.name, Line: parcels.Num(line), Detail: fmt.Sprintf(format, a...)})
}

// columns finds out what the columns are: from names, or from the order.
func (r *reader) columns(first row) error {
	f := first.fields
	bad := func(slug, format string, a ...any) error {
		return refuse(r.name, parcels.Invalid, parcels.Fault{Slug: slug, Line: parcels.Num(first.line), Detail: fmt.Sprintf(format, a...)})
	}
	isNumber := func(s string) bool { _, err := strconv.ParseFloat(s, 64); return err == nil }
	if len(f) < 4 {
		return bad("survey-columns", "Line %d has %d fields; a point needs number, northing, easting and elevation, with commas or tabs between.", first.line, len(f))
	}
	if isNumber(f[1]) && isNumber(f[2]) {
		n, e := northing, easting
		switch r.opt.Order {
		case "":
			r.file.Order = NorthingFirst
		case EastingFirst:
			n, e = easting, northing
		case NorthingFirst:
		default:
			return bad("survey-columns", "The order %q is not known; %s and %s are.", parcels.Excerpt(string(r.opt.Order)), NorthingFirst, EastingFirst)
		}
		r.cols = []column{number, n, e, elevation, description}
		return nil
	}
	r.file.Named = true
	at := map[column]int{}
	for i, s := range f {
		c, u, ok := columnOf(s)
		if _, twice := at[c]; ok && twice {
			return bad("survey-columns", "Two columns of line %d hold the same thing: %q and %q.", first.line, parcels.Excerpt(f[at[c]]), parcels.Excerpt(s))
		}
		if !ok {
			c = other
		} else {
			at[c] = i
		}
		r.cols = append(r.cols, c)
		switch {
		case u == 0:
		case c == elevation:
			r.zUnit = u
		case (c == northing || c == easting) && r.opt.PlanUnit != 0 && math.Abs(float64(u/r.opt.PlanUnit)-1) > 1e-4:
			return bad("crs-units-mismatch", "Column %q is in units of %.7g m, the site's coordinates in units of %.7g m. Convert one of them.", parcels.Excerpt(s), float64(u), float64(r.opt.PlanUnit))
		}
	}
	for _, c := range []column{northing, easting, elevation} {
		if _, ok := at[c]; !ok {
			return bad("survey-columns", "Line %d names no column of %s. Name the columns point, northing, easting, elevation, description, or leave the names out.", first.line, words[c])
		}
	}
	r.file.Order = NorthingFirst
	if at[easting] < at[northing] {
		r.file.Order = EastingFirst
	}
	return nil
}

// point reads one line, or records its faults.
func (r *reader) point(w row, seen map[string]int) {
	p := Point{Line: w.line}
	var x, y float64
	var z *float64
	got := map[column]bool{}
	for i, c := range r.cols {
		if i >= len(w.fields) {
			break
		}
		s := w.fields[i]
		if i == len(r.cols)-1 && len(w.fields) > len(r.cols) { // commas in the last column are its own
			s = strings.Join(w.fields[i:], string(r.file.Delimiter))
		}
		got[c] = true
		switch c {
		case number:
			p.ID = s
		case description:
			p.Description = s
		case notes:
			p.Notes = s
		case northing, easting, elevation:
			if c == elevation && s == "" {
				continue
			}
			v, err := strconv.ParseFloat(s, 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				r.fault(w.line, "survey-number", "Line %d: the %s %q is no number.", w.line, words[c], parcels.Excerpt(s))
				return
			}
			switch c {
			case northing:
				y = v
			case easting:
				x = v
			default:
				z = &v
			}
		}
	}
	if !got[northing] || !got[easting] {
		r.fault(w.line, "survey-columns", "Line %d has %d fields; northing and easting are missing.", w.line, len(w.fields))
		return
	}
	if p.ID != "" {
		if first, twice := seen[p.ID]; twice {
			r.fault(w.line, "duplicate-id", "Line %d: point %q is on line %d too. Give each point its own number.", w.line, parcels.Excerpt(p.ID), first)
			return
		}
		seen[p.ID] = w.line
	}
	p.At = orb.Point{x, y}
	r.file.Points = append(r.file.Points, p)
	r.raw = append(r.raw, z)
}

// axes holds both readings of northing and easting against the parcels.
func (r *reader) axes() error {
	if r.opt.Bounds == nil {
		if !r.file.Named && r.opt.Order == "" {
			r.file.Findings = append(r.file.Findings, parcels.Finding{Code: "survey_order_assumed", Severity: parcels.Warn,
				Message: "the point file has no names and no parcels to hold it against; its columns are taken as number, northing, easting, elevation, description"})
		}
		return nil
	}
	// Shots go beyond the lot: a quarter of its size, or 50 units, on each side.
	b := *r.opt.Bounds
	pad := math.Max(50, 0.25*math.Max(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]))
	b = b.Pad(pad)
	asRead, swapped := 0, 0
	read, other := orb.MultiPoint{}, orb.MultiPoint{}
	for _, p := range r.file.Points {
		q := orb.Point{p.At[1], p.At[0]}
		read, other = append(read, p.At), append(other, q)
		if b.Contains(p.At) {
			asRead++
		}
		if b.Contains(q) {
			swapped++
		}
	}
	n := len(r.file.Points)
	box := func(m orb.MultiPoint) string {
		e := m.Bound()
		return fmt.Sprintf("easting %.2f to %.2f, northing %.2f to %.2f", e.Min[0], e.Max[0], e.Min[1], e.Max[1])
	}
	lots := fmt.Sprintf("easting %.2f to %.2f, northing %.2f to %.2f", r.opt.Bounds.Min[0], r.opt.Bounds.Max[0], r.opt.Bounds.Min[1], r.opt.Bounds.Max[1])
	opposite := EastingFirst
	if r.file.Order == EastingFirst {
		opposite = NorthingFirst
	}
	cure := fmt.Sprintf("Give the order %s or %s.", NorthingFirst, EastingFirst)
	if r.file.Named {
		cure = "Correct the names of the columns."
	}
	stated := r.file.Named || r.opt.Order != ""
	switch {
	case 2*asRead >= n && 5*(asRead-swapped) >= n:
		return nil
	case 2*asRead >= n && 2*swapped >= n && stated:
		return nil // both fit; the reading was said
	case 2*swapped >= n && 5*(swapped-asRead) >= n:
		return refuse(r.name, parcels.Invalid, parcels.Fault{Slug: "axes-swapped", Line: parcels.Num(r.file.Points[0].Line), Limit: lots, Actual: box(read),
			Detail: fmt.Sprintf("Read as %s the points lie at %s; read as %s they lie at %s, and the parcels lie at %s. Northing and easting look swapped. %s", r.file.Order, box(read), opposite, box(other), lots, cure)})
	case 2*asRead >= n:
		return refuse(r.name, parcels.Invalid, parcels.Fault{Slug: "axes-ambiguous", Line: parcels.Num(r.file.Points[0].Line), Limit: lots, Actual: box(read),
			Detail: fmt.Sprintf("Read as %s the points lie at %s; read as %s they lie at %s: both fit the parcels (%s). %s", r.file.Order, box(read), opposite, box(other), lots, cure)})
	}
	return refuse(r.name, parcels.Invalid, parcels.Fault{Slug: "coordinate-out-of-range", Line: parcels.Num(r.file.Points[0].Line), Limit: lots, Actual: box(read),
		Detail: fmt.Sprintf("The points do not lie at the parcels (%s), neither read as %s (%s) nor as %s (%s). Check coordinate system and unit.", lots, r.file.Order, box(read), opposite, box(other))})
}

// neverMeant are numbers that stand for "not measured" whatever the site.
var neverMeant = []float64{-9999, -99999, -999, -32768}

// seldomMeant do where the site is far from them.
var seldomMeant = []float64{0, 999, 888, 9999, 99999}

// elevations turns the numbers into metres and takes out what cannot be meant.
func (r *reader) elevations() error {
	u := r.opt.ElevationUnit
	switch {
	case u == 0 && r.zUnit == 0:
		return refuse(r.name, parcels.Invalid, parcels.Fault{Slug: "elevation-unit-unknown", Detail: "Nothing says whether the elevations of the point file are in feet or metres. Give the unit of elevation."})
	case u == 0:
		u = r.zUnit
	case r.zUnit != 0 && math.Abs(float64(u/r.zUnit)-1) > 1e-4:
		return refuse(r.name, parcels.Invalid, parcels.Fault{Slug: "crs-units-mismatch", Line: parcels.Num(1),
			Detail: fmt.Sprintf("The point file names its elevations in units of %.7g m, but %.7g m was given. Correct one of them.", float64(r.zUnit), float64(u))})
	}
	var sound []float64
	for _, z := range r.raw {
		if z != nil && !slices.Contains(neverMeant, *z) && !slices.Contains(seldomMeant, *z) {
			sound = append(sound, *z)
		}
	}
	sort.Float64s(sound)
	// A number may be meant if it is within the site's range, grown by its
	// size, 10 m at least. Without a sound one to hold against, it may be.
	meant := func(z float64) bool {
		if slices.Contains(neverMeant, z) {
			return false
		}
		if !slices.Contains(seldomMeant, z) || len(sound) == 0 {
			return true
		}
		lo, hi := sound[0], sound[len(sound)-1]
		reach := math.Max(hi-lo, float64(10*unit.Metre/u))
		return z >= lo-reach && z <= hi+reach
	}
	for i, z := range r.raw {
		p := &r.file.Points[i]
		switch {
		case z == nil:
			r.missing(p, "has no elevation")
		case !meant(*z):
			r.missing(p, fmt.Sprintf("has the elevation %g, which cannot be meant here", *z))
		default:
			e := unit.Elevation(*z * float64(u))
			p.Z = &e
		}
	}
	if !slices.ContainsFunc(r.file.Points, func(p Point) bool { return p.Z != nil }) {
		return refuse(r.name, parcels.Invalid, parcels.Fault{Slug: "survey-empty", Detail: "Not one point of the file has an elevation that can be meant."})
	}
	return nil
}

func (r *reader) missing(p *Point, why string) {
	r.file.Findings = append(r.file.Findings, parcels.Finding{Code: "elevation_missing", Severity: parcels.Note, Feature: label(*p),
		Message: fmt.Sprintf("%s %s: it counts as not measured", label(*p), why)})
}

func label(p Point) string {
	if p.ID == "" {
		return fmt.Sprintf("the point of line %d", p.Line)
	}
	return "point " + parcels.Excerpt(p.ID)
}

// codes gives each point its kind: the first word of the description, as it is
// or less a number at its end (DS2).
func (r *reader) codes() {
	table := map[string]string{}
	for k, v := range r.opt.Codes {
		table[strings.ToUpper(k)] = v
	}
	unknown := map[string]int{}
	for i := range r.file.Points {
		p := &r.file.Points[i]
		word := strings.ToUpper(p.Description)
		if end := strings.IndexFunc(word, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '_' }); end >= 0 {
			word = word[:end]
		}
		if word == "" {
			continue
		}
		kind, ok := table[word]
		if !ok {
			kind, ok = table[strings.TrimRight(word, "0123456789")]
		}
		if p.Kind = kind; !ok {
			unknown[word]++
		}
	}
	words := make([]string, 0, len(unknown))
	for w := range unknown {
		words = append(words, w)
	}
	sort.Strings(words)
	for _, w := range words {
		r.file.Findings = append(r.file.Findings, parcels.Finding{Code: "survey_code_unknown", Severity: parcels.Warn, Measured: parcels.Num(float64(unknown[w])),
			Message: fmt.Sprintf("%d points bear the code %s, which the criteria (survey.codes) do not explain: they are kept, but are no ground", unknown[w], parcels.Excerpt(w)),
			Cure:    "add the code to survey.codes"})
	}
}
