package auditor

// An audit as JSON, as tables and as layers for a map. The rows may be held in
// memory or on disk; what is written is the same.

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/frame"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/document"
)

// Result is an audit whose rows are not in it but behind it: see EachRow.
type Result struct {
	parcels.Audit
	// Base is the site without its lots: name, frame, criteria.
	Base *parcels.Site
	rows reel
}

// Of makes a result of an audit that is in memory.
func Of(a *parcels.Audit, s *parcels.Site) *Result {
	r := &Result{Audit: *a, Base: s, rows: &inMemory{rows: a.Rows, f: s.Frame}}
	r.Audit.Rows = nil
	return r
}

// Close frees what the rows take on disk.
func (r *Result) Close() error { return r.rows.close() }

// section is one of the texts of a lot in the JSON of an audit.
type section int

const (
	rowText   section = iota // its row
	lotText                  // its feature in lots, up to the properties, which are its row
	zoneText                 // its feature in zones; empty: none
	pointText                // its features in finding_points, commas between
	sections  = int(pointText) + 1
)

// reel holds rows in the order of the site.
type reel interface {
	count() int
	// text is good until the next call.
	text(i int, s section) ([]byte, error)
	close() error
}

// appendText appends one text of a row.
func appendText(b []byte, f *frame.Frame, r *parcels.AuditRow, s section) ([]byte, error) {
	switch s {
	case rowText:
		x := *r
		x.Findings = document.Findings(f, r.Findings)
		return document.AppendJSON(b, x)
	case lotText:
		b, err := document.AppendFeature(b, f, document.Row{ID: r.Lot, Geometry: geometry(r.Shape)})
		return bytes.TrimSuffix(b, []byte("null}")), err
	case zoneText:
		if r.ZoneShape == nil {
			return b, nil
		}
		return document.AppendFeature(b, f, document.Row{ID: r.Lot, Geometry: r.ZoneShape, Properties: zoneProperties{r.Zone, r.Lot, r.Narrowest}})
	}
	return appendPoints(b, f, r.Findings)
}

type zoneProperties struct {
	Area      any    `json:"area_m2"`
	Lot       string `json:"lot"`
	Narrowest any    `json:"narrowest_m"`
}

// appendPoints appends the findings that have a place, as features.
func appendPoints(b []byte, f *frame.Frame, fs []parcels.Finding) ([]byte, error) {
	first := true
	for _, x := range fs {
		if x.Location == nil {
			continue
		}
		p := *x.Location
		x.Location = nil
		if !first {
			b = append(b, ',')
		}
		first = false
		var err error
		if b, err = document.AppendFeature(b, f, document.Row{Geometry: p, Properties: x}); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// inMemory is a reel of rows.
type inMemory struct {
	rows []parcels.AuditRow
	f    *frame.Frame
	buf  []byte
}

func (m *inMemory) count() int   { return len(m.rows) }
func (m *inMemory) close() error { return nil }
func (m *inMemory) text(i int, s section) (b []byte, err error) {
	m.buf, err = appendText(m.buf[:0], m.f, &m.rows[i], s)
	return m.buf, err
}

// EachRow hands over the rows in the order of the site. Locations of findings
// are in the document's system.
func (r *Result) EachRow(f func(*parcels.AuditRow) error) error {
	for i := range r.rows.count() {
		b, err := r.rows.text(i, rowText)
		if err != nil {
			return err
		}
		var row parcels.AuditRow
		if err := json.Unmarshal(b, &row); err != nil {
			return err
		}
		if err := f(&row); err != nil {
			return err
		}
	}
	return nil
}

// Load is the audit with all its rows in memory, their shapes among them.
func (r *Result) Load() (*parcels.Audit, error) {
	out := r.Audit
	if m, ok := r.rows.(*inMemory); ok {
		out.Rows = m.rows
		return &out, nil
	}
	f := r.Base.Frame
	place := func(p *orb.Point) { *p = f.Plane(*p) }
	err := r.EachRow(func(row *parcels.AuditRow) error {
		for i := range row.Findings {
			if p := row.Findings[i].Location; p != nil {
				place(p)
			}
		}
		out.Rows = append(out.Rows, *row)
		return nil
	})
	for i := 0; err == nil && i < len(out.Rows); i++ {
		if out.Rows[i].Shape, err = r.shape(i, lotText, place); err == nil {
			out.Rows[i].ZoneShape, err = r.shape(i, zoneText, place)
		}
	}
	return &out, err
}

func (r *Result) shape(i int, s section, place func(*orb.Point)) (orb.MultiPolygon, error) {
	b, err := r.rows.text(i, s)
	if err != nil || len(b) == 0 {
		return nil, err
	}
	text := string(b)
	if s == lotText {
		text += "null}"
	}
	var ft struct {
		Geometry struct {
			Type        string
			Coordinates json.RawMessage
		}
	}
	if err := json.Unmarshal([]byte(text), &ft); err != nil {
		return nil, err
	}
	mp := orb.MultiPolygon{nil}
	to := any(&mp)
	if ft.Geometry.Type == "Polygon" {
		to = &mp[0]
	}
	if err := json.Unmarshal(ft.Geometry.Coordinates, to); err != nil {
		return nil, err
	}
	for _, p := range mp {
		for _, ring := range p {
			for k := range ring {
				place(&ring[k])
			}
		}
	}
	return mp, nil
}

// pen writes until the first error.
type pen struct {
	w   *bufio.Writer
	err error
}

func (p *pen) put(b []byte) {
	if p.err == nil {
		_, p.err = p.w.Write(b)
	}
}
func (p *pen) say(s string) {
	if p.err == nil {
		_, p.err = p.w.WriteString(s)
	}
}

func (p *pen) json(v any) {
	b, err := document.AppendJSON(nil, v)
	if p.err == nil {
		p.err = err
	}
	p.put(b)
}

// WriteJSON writes the audit as one JSON object in the document's system: what
// is of the whole, the rows, and the same as feature collections. The same
// audit gives the same bytes.
func (r *Result) WriteJSON(w io.Writer) error {
	f := r.Base.Frame
	p := &pen{w: bufio.NewWriterSize(w, 1<<16)}
	a := r.Audit
	a.Findings = document.Findings(f, a.Findings)
	head, err := document.AppendJSON(nil, struct {
		parcels.Audit
		Rows *int `json:"rows,omitempty"` // in place of those of the audit
	}{Audit: a})
	if err != nil {
		return err
	}
	p.put(bytes.TrimSuffix(head, []byte("}")))
	p.say(`,"rows":[`)
	r.all(p, rowText)
	p.say(`],"lots":`)
	r.collection(p, lotText, nil)
	p.say(`,"zones":`)
	r.collection(p, zoneText, nil)
	var shared, inlets []document.Row
	for _, s := range r.Shared {
		shared = append(shared, document.Row{ID: s.Feature + "/" + strconv.Itoa(s.Order), Geometry: s.Line, Properties: s})
	}
	for _, n := range r.Inlets {
		inlets = append(inlets, document.Row{ID: n.Inlet, Geometry: n.At, Properties: n})
	}
	p.say(`,"shared_lines":`)
	p.features(f, shared)
	p.say(`,"inlet_points":`)
	p.features(f, inlets)
	p.say(`,"finding_points":`)
	last, err := appendPoints(nil, f, r.Findings)
	if err != nil {
		return err
	}
	r.collection(p, pointText, last)
	p.say("}\n")
	if p.err != nil {
		return p.err
	}
	return p.w.Flush()
}

// WriteLots writes the lots with their rows as a GeoJSON collection.
func (r *Result) WriteLots(w io.Writer) error {
	p := &pen{w: bufio.NewWriterSize(w, 1<<16)}
	r.collection(p, lotText, nil)
	p.say("\n")
	if p.err != nil {
		return p.err
	}
	return p.w.Flush()
}

func (p *pen) features(f *frame.Frame, rows []document.Row) {
	head, tail := document.CollectionEnds(f)
	p.say(head)
	for i, row := range rows {
		if i > 0 {
			p.say(",")
		}
		b, err := document.AppendFeature(nil, f, row)
		if p.err == nil {
			p.err = err
		}
		p.put(b)
	}
	p.say(tail)
}

func (r *Result) collection(p *pen, s section, last []byte) {
	head, tail := document.CollectionEnds(r.Base.Frame)
	p.say(head)
	if some := r.all(p, s); some && len(last) > 0 {
		p.say(",")
	}
	p.put(last)
	p.say(tail)
}

// all writes one text of every row, commas between, and says whether there was
// any.
func (r *Result) all(p *pen, s section) (some bool) {
	for i := range r.rows.count() {
		b, err := r.rows.text(i, s)
		if p.err == nil {
			p.err = err
		}
		if p.err != nil {
			return some
		}
		if len(b) == 0 {
			continue
		}
		if some {
			p.say(",")
		}
		some = true
		p.put(b)
		if s == lotText {
			if b, err = r.rows.text(i, rowText); err != nil {
				p.err = err
			}
			p.put(b)
			p.say("}")
		}
	}
	return some
}

func geometry(mp orb.MultiPolygon) orb.Geometry {
	if len(mp) == 1 {
		return mp[0]
	}
	return mp
}

// Write is the JSON of an audit that is in memory.
func Write(a *parcels.Audit, f *frame.Frame) ([]byte, error) {
	var b bytes.Buffer
	err := Of(a, &parcels.Site{Frame: f}).WriteJSON(&b)
	return b.Bytes(), err
}

// WriteTable writes the rows as CSV: one header line, one line a lot.
func (r *Result) WriteTable(w io.Writer) error {
	c := csv.NewWriter(w)
	if err := c.Write([]string{"lot", "verdict", "zone_m2", "pieces", "narrowest_m", "reach_inlet", "inlet", "length_m", "length_by", "fall_available_m", "fall_needed_m", "drains_outside_m", "flow_m3s", "stops", "warnings", "findings"}); err != nil {
		return err
	}
	err := r.EachRow(func(r *parcels.AuditRow) error {
		stops, warns := 0, 0
		var codes []string
		for _, f := range r.Findings {
			switch f.Severity {
			case parcels.Stop:
				stops++
			case parcels.Warn:
				warns++
			}
			codes = append(codes, f.Code)
		}
		inlet, pieces := "", ""
		if r.Inlet != nil {
			inlet = *r.Inlet
		}
		if r.Pieces != nil {
			pieces = strconv.Itoa(*r.Pieces)
		}
		return c.Write([]string{display.Cell(r.Lot), string(r.Verdict), number(r.Zone), pieces, number(r.Narrowest), string(r.Reach), display.Cell(inlet), number(r.Length), r.LengthBy,
			number(r.FallAvailable), number(r.FallNeeded), number(r.DrainsOutside), number(r.Flow), strconv.Itoa(stops), strconv.Itoa(warns), strings.Join(codes, " ")})
	})
	if err != nil {
		return err
	}
	c.Flush()
	return c.Error()
}

func number[T ~float64](v *T) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(float64(*v), 'f', -1, 64)
}
