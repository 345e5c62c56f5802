package document

// Plans out of the plane into JSON, and back.

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
)

// position is a coordinate pair as written: enough decimals for a micrometre.
type position struct {
	p        orb.Point
	decimals int
}

func (p position) MarshalJSON() ([]byte, error) {
	if math.IsNaN(p.p[0]) || math.IsNaN(p.p[1]) || math.IsInf(p.p[0], 0) || math.IsInf(p.p[1], 0) {
		return nil, errNotFinite
	}
	return appendPosition(nil, p.p, p.decimals), nil
}

var errNotFinite = errors.New("document: a coordinate is not finite")

// Geometry is a GeoJSON geometry going out.
type geometryOut struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

// writer turns plane geometry into a document's coordinates.
type writer struct{ f *frame.Frame }

func (w writer) at(p orb.Point) position { return position{w.f.Document(p), w.f.Decimals()} }

func (w writer) line(l []orb.Point) []position {
	out := make([]position, len(l))
	for i, p := range l {
		out[i] = w.at(p)
	}
	return out
}

func (w writer) geometry(g orb.Geometry) *geometryOut {
	switch g := g.(type) {
	case orb.Point:
		return &geometryOut{"Point", w.at(g)}
	case orb.LineString:
		return &geometryOut{"LineString", w.line(g)}
	case orb.MultiLineString:
		out := make([][]position, len(g))
		for i, l := range g {
			out[i] = w.line(l)
		}
		return &geometryOut{"MultiLineString", out}
	case orb.Polygon:
		return &geometryOut{"Polygon", w.polygon(g)}
	case orb.MultiPolygon:
		out := make([][][]position, len(g))
		for i, p := range g {
			out[i] = w.polygon(p)
		}
		return &geometryOut{"MultiPolygon", out}
	}
	return nil
}

func (w writer) polygon(p orb.Polygon) [][]position {
	out := make([][]position, len(p))
	for i, r := range p {
		out[i] = w.line(r)
	}
	return out
}

type featureOut struct {
	Type       string       `json:"type"`
	ID         string       `json:"id,omitempty"`
	Geometry   *geometryOut `json:"geometry"`
	Properties any          `json:"properties"`
}

// CRSMember is the old GeoJSON member that GIS programs still read; nil for
// longitude and latitude, where RFC 7946 wants none.
type crsMember struct {
	Type       string `json:"type"`
	Properties struct {
		Name string `json:"name"`
	} `json:"properties"`
}

func crsOf(f *frame.Frame) *crsMember {
	if f.Geographic() {
		return nil
	}
	c := &crsMember{Type: "name"}
	c.Properties.Name = f.CRS()
	return c
}

type collectionOut struct {
	Type     string       `json:"type"`
	CRS      *crsMember   `json:"crs,omitempty"`
	Features []featureOut `json:"features"`
}

// Row is one feature of a collection going out: plane geometry (nil for null)
// and its properties.
type Row struct {
	ID         string
	Geometry   orb.Geometry
	Properties any
}

// Collection writes rows as a FeatureCollection with further members (status,
// cautions, findings, ...) beside the features. Findings among the members have
// their locations turned into the document's system.
func WriteCollection(f *frame.Frame, rows []Row, beside map[string]any) ([]byte, error) {
	var b bytes.Buffer
	err := StreamCollection(&b, f, rows, beside)
	return b.Bytes(), err
}

// StreamCollection writes the same, feature by feature, for a collection whose text
// is not to be held.
func StreamCollection(to io.Writer, f *frame.Frame, rows []Row, beside map[string]any) error {
	m := map[string]any{"type": "FeatureCollection", "features": []featureOut{}}
	if c := crsOf(f); c != nil {
		m["crs"] = c
	}
	for k, v := range beside {
		if fs, ok := v.([]parcels.Finding); ok {
			v = Findings(f, fs)
		}
		m[k] = v
	}
	text, err := marshal(m)
	if err != nil {
		return err
	}
	// a line of its own, one deep: no other member and no text in one looks so
	const empty = "\n \"features\": []"
	head, tail, _ := bytes.Cut(text, []byte(empty))
	if len(rows) == 0 {
		_, err := to.Write(text)
		return err
	}
	w := writer{f}
	var b bytes.Buffer
	b.Write(head)
	b.WriteString(empty[:len(empty)-1])
	for i, r := range rows {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString("\n  ")
		text, err := AppendJSON(nil, w.feature(r))
		if err != nil {
			return err
		}
		b.Write(indented(b.AvailableBuffer(), text, 2))
		if b.Len() > 1<<20 || i == len(rows)-1 {
			if i == len(rows)-1 {
				b.WriteString("\n ]")
				b.Write(tail)
			}
			if _, err := to.Write(b.Bytes()); err != nil {
				return err
			}
			b.Reset()
		}
	}
	return nil
}

func (w writer) feature(r Row) featureOut {
	return featureOut{Type: "Feature", ID: r.ID, Geometry: w.geometry(r.Geometry), Properties: r.Properties}
}

// FeatureOut is a row, and CollectionOut rows, as a GeoJSON member of something
// else that goes out.
func FeatureOut(f *frame.Frame, r Row) any { return writer{f}.feature(r) }

// CollectionOut: see FeatureOut.
func CollectionOut(f *frame.Frame, rows []Row) any {
	c := collectionOut{Type: "FeatureCollection", CRS: crsOf(f), Features: make([]featureOut, len(rows))}
	for i, r := range rows {
		c.Features[i] = writer{f}.feature(r)
	}
	return c
}

// Findings returns the findings with their locations in the document's system;
// never nil, so that an empty list is written as one.
func Findings(f *frame.Frame, fs []parcels.Finding) []parcels.Finding {
	out := make([]parcels.Finding, len(fs))
	for i, x := range fs {
		if x.Location != nil {
			p := f.Document(*x.Location)
			scale := math.Pow(10, float64(f.Decimals()))
			x.Location = &orb.Point{math.Round(p[0]*scale) / scale, math.Round(p[1]*scale) / scale}
		}
		out[i] = x
	}
	return out
}

// Position gives a point of the plane in the document's system, rounded as
// coordinates are written.
func Position(f *frame.Frame, p orb.Point) orb.Point {
	d := f.Document(p)
	scale := math.Pow(10, float64(f.Decimals()))
	return orb.Point{math.Round(d[0]*scale) / scale, math.Round(d[1]*scale) / scale}
}

func marshal(v any) ([]byte, error) {
	text, err := AppendJSON(nil, v)
	if err != nil {
		return nil, err
	}
	return append(indented(make([]byte, 0, len(text)+len(text)/2), text, 0), '\n'), nil
}

// indented appends JSON without white space with each member on a line of its own, a
// blank deeper than what it is of, which is depth deep: as json.Indent does, which
// looks at the text again as a stranger's.
func indented(b, text []byte, depth int) []byte {
	line := func() {
		b = append(b, '\n')
		for range depth {
			b = append(b, ' ')
		}
	}
	for i := 0; i < len(text); {
		switch c := text[i]; c {
		case '{', '[':
			if b = append(b, c); text[i+1] == c+2 { // its end: nothing is in it
				b = append(b, c+2)
				i += 2
				continue
			}
			depth++
			line()
		case '}', ']':
			depth--
			line()
			b = append(b, c)
		case ',':
			b = append(b, c)
			line()
		case ':':
			b = append(b, c, ' ')
		default:
			end := skip(text, i)
			b = append(b, text[i:end]...)
			i = end
			continue
		}
		i++
	}
	return b
}

// WritePlan writes a plan in the document's system. The same plan gives the
// same bytes.
func WritePlan(p *parcels.Plan, f *frame.Frame) ([]byte, error) {
	w := writer{f}
	out := *p
	out.Findings = Findings(f, p.Findings)
	out.Profiles = make([]parcels.Profile, len(p.Profiles))
	for i, pr := range p.Profiles {
		pr.Rows = append([]parcels.ProfileRow(nil), pr.Rows...)
		for j := range pr.Rows {
			pr.Rows[j].At = Position(f, pr.Rows[j].At)
		}
		out.Profiles[i] = pr
	}
	out.Ponds = append([]parcels.Pond{}, p.Ponds...)
	for i := range out.Ponds {
		out.Ponds[i].Location = Position(f, out.Ponds[i].Location)
	}
	out.Alternatives = append([]parcels.Alternative{}, p.Alternatives...)
	for i := range out.Alternatives {
		if l := out.Alternatives[i].Location; l != nil {
			at := Position(f, *l)
			out.Alternatives[i].Location = &at
		}
	}
	out.Remedies = append([]parcels.Remedy{}, p.Remedies...)
	for i := range out.Remedies {
		if l := out.Remedies[i].Location; l != nil {
			at := Position(f, *l)
			out.Remedies[i].Location = &at
		}
		out.Remedies[i].Grading = slices.Clone(out.Remedies[i].Grading)
		for k := range out.Remedies[i].Grading {
			g := &out.Remedies[i].Grading[k]
			g.At = Position(f, g.At)
		}
	}
	if out.LineFlows == nil {
		out.LineFlows = []parcels.LineFlow{}
	}
	type overflowOut struct {
		parcels.Overflow
		Path *geometryOut `json:"path"`
	}
	over := make([]overflowOut, len(p.Overflow))
	for i, o := range p.Overflow {
		over[i].Overflow = o
		if len(o.Path) > 1 {
			over[i].Path = w.geometry(o.Path)
		}
	}
	net := collectionOut{Type: "FeatureCollection", CRS: crsOf(f), Features: []featureOut{}}
	for i := range p.Points {
		net.Features = append(net.Features, featureOut{"Feature", p.Points[i].ID, w.geometry(p.Points[i].At), &p.Points[i]})
	}
	for i := range p.Runs {
		net.Features = append(net.Features, featureOut{"Feature", p.Runs[i].ID, w.geometry(p.Runs[i].Line), &p.Runs[i]})
	}
	return marshal(struct {
		*parcels.Plan
		Network  collectionOut `json:"network"`
		Overflow []overflowOut `json:"overflow"`
	}{&out, net, over})
}

// WithVerification is the text of a plan without one, as WritePlan gives it, with
// the verdict on that very text: what WritePlan gives of the plan with both.
func WithVerification(text []byte, v *parcels.Verification) ([]byte, error) {
	// a line of the text's own members begins with one blank, and a text holds no line break
	at := bytes.Index(text, []byte("\n \"network\": "))
	if at < 0 {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "document: write", Err: errors.New("the text is not one of WritePlan")}
	}
	verdict, err := AppendJSON(nil, v)
	if err != nil {
		return nil, err
	}
	b := append(make([]byte, 0, len(text)+2*len(verdict)+32), text[:at]...)
	b = append(b, "\n \"verification\": "...)
	b = append(indented(b, verdict, 1), ',')
	return append(b, text[at:]...), nil
}

// ReadPlan reads a plan back into the plane of a frame, which is that of the
// site the plan was made for. The error is a *parcels.InputError.
func ReadPlan(data []byte, f *frame.Frame) (*parcels.Plan, error) {
	text, err := Scan(data)
	if err != nil {
		return nil, err
	}
	var in struct {
		parcels.Plan
		Network  json.RawMessage `json:"network"`
		Overflow []struct {
			parcels.Overflow
			Path *struct {
				Coordinates []orb.Point `json:"coordinates"`
			} `json:"path"`
		} `json:"overflow"`
	}
	bad := func(detail string) error {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "not-a-plan", Pointer: "/network", Detail: detail}}}
	}
	if err := json.Unmarshal(text, &in); err != nil {
		return nil, bad("The document is not a plan: " + parcels.Excerpt(err.Error()) + ".")
	}
	if in.Network == nil {
		return nil, bad("The document has no network. Give a plan as this program wrote it.")
	}
	r := &reader{base: "/network"}
	col := r.collection(in.Network, []string{point, line}, false)
	if len(r.faults) > 0 {
		return nil, r.error(parcels.Invalid)
	}
	p := in.Plan
	// A position far from the site has no place in its plane.
	var lost *orb.Point
	plane := func(at orb.Point) orb.Point {
		q := f.Plane(at)
		if v := q[0] + q[1]; lost == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			lost = &at
		}
		return q
	}
	for _, o := range in.Overflow {
		if o.Path != nil {
			o.Overflow.Path = mapPoints(orb.LineString(o.Path.Coordinates), plane).(orb.LineString)
		}
		p.Overflow = append(p.Overflow, o.Overflow)
	}
	for _, ft := range col.Features {
		raw, _ := json.Marshal(ft.Properties)
		switch g := ft.Geometry.(type) {
		case orb.Point:
			var pt parcels.Point
			if err := json.Unmarshal(raw, &pt); err != nil {
				return nil, bad(fmt.Sprintf("Feature %d is no point of a plan: %s.", ft.Index, parcels.Excerpt(err.Error())))
			}
			pt.At = plane(g)
			p.Points = append(p.Points, pt)
		case orb.LineString:
			var run parcels.Run
			if err := json.Unmarshal(raw, &run); err != nil {
				return nil, bad(fmt.Sprintf("Feature %d is no run of a plan: %s.", ft.Index, parcels.Excerpt(err.Error())))
			}
			run.Line = mapPoints(g, plane).(orb.LineString)
			p.Runs = append(p.Runs, run)
		}
	}
	for i := range p.Findings {
		if l := p.Findings[i].Location; l != nil {
			q := plane(*l)
			p.Findings[i].Location = &q
		}
	}
	for i := range p.Alternatives {
		if l := p.Alternatives[i].Location; l != nil {
			q := plane(*l)
			p.Alternatives[i].Location = &q
		}
	}
	for i := range p.Remedies {
		if l := p.Remedies[i].Location; l != nil {
			q := plane(*l)
			p.Remedies[i].Location = &q
		}
		for k := range p.Remedies[i].Grading {
			p.Remedies[i].Grading[k].At = plane(p.Remedies[i].Grading[k].At)
		}
	}
	for i := range p.Ponds {
		p.Ponds[i].Location = plane(p.Ponds[i].Location)
	}
	for i := range p.Profiles {
		for j := range p.Profiles[i].Rows {
			p.Profiles[i].Rows[j].At = plane(p.Profiles[i].Rows[j].At)
		}
	}
	if lost != nil {
		return nil, bad(fmt.Sprintf("The plan has the position [%g, %g], which lies too far from the site. Give the plan that was made for this site.", lost[0], lost[1]))
	}
	return &p, nil
}
