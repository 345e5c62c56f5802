package auditor

// An audit as JSON, as tables and as layers for a map.

import (
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

// Layers are the feature collections of an audit, in the document's system.
type Layers struct {
	Lots     json.RawMessage `json:"lots"`
	Zones    json.RawMessage `json:"zones"`
	Shared   json.RawMessage `json:"shared_lines"`
	Inlets   json.RawMessage `json:"inlet_points"`
	Findings json.RawMessage `json:"finding_points"`
}

// Collections makes the layers. Zones is empty unless Options.Zones was set.
func Collections(a *parcels.Audit, f *frame.Frame) (Layers, error) {
	var out Layers
	var lots, zones, shared, inlets, finds []document.Row
	add := func(fs []parcels.Finding) {
		for _, x := range fs {
			if x.Location == nil {
				continue
			}
			p := *x.Location
			x.Location = nil
			finds = append(finds, document.Row{Geometry: p, Properties: x})
		}
	}
	for i := range a.Rows {
		r := a.Rows[i]
		add(r.Findings)
		r.Findings = document.Findings(f, r.Findings)
		lots = append(lots, document.Row{ID: r.Lot, Geometry: geometry(r.Shape), Properties: r})
		if r.ZoneShape != nil {
			zones = append(zones, document.Row{ID: r.Lot, Geometry: r.ZoneShape, Properties: map[string]any{"lot": r.Lot, "area_m2": r.Zone, "narrowest_m": r.Narrowest}})
		}
	}
	add(a.Findings)
	for _, s := range a.Shared {
		shared = append(shared, document.Row{ID: s.Feature + "/" + strconv.Itoa(s.Order), Geometry: s.Line, Properties: s})
	}
	for _, n := range a.Inlets {
		inlets = append(inlets, document.Row{ID: n.Inlet, Geometry: n.At, Properties: n})
	}
	for _, l := range []struct {
		to   *json.RawMessage
		rows []document.Row
	}{{&out.Lots, lots}, {&out.Zones, zones}, {&out.Shared, shared}, {&out.Inlets, inlets}, {&out.Findings, finds}} {
		b, err := document.WriteCollection(f, l.rows, nil)
		if err != nil {
			return out, err
		}
		*l.to = b
	}
	return out, nil
}

func geometry(mp orb.MultiPolygon) orb.Geometry {
	if len(mp) == 1 {
		return mp[0]
	}
	return mp
}

// Write is the audit as one JSON object in the document's system: rows, shared
// rows, totals, findings, and the same as feature collections. The same audit
// gives the same bytes.
func Write(a *parcels.Audit, f *frame.Frame) ([]byte, error) {
	layers, err := Collections(a, f)
	if err != nil {
		return nil, err
	}
	b := *a
	b.Rows = make([]parcels.AuditRow, len(a.Rows))
	for i, r := range a.Rows {
		r.Findings = document.Findings(f, r.Findings)
		b.Rows[i] = r
	}
	b.Findings = document.Findings(f, a.Findings)
	var buf bytes.Buffer
	e := json.NewEncoder(&buf)
	e.SetEscapeHTML(false)
	err = e.Encode(struct {
		parcels.Audit
		Layers
	}{b, layers})
	return buf.Bytes(), err
}

// WriteTable writes the rows as CSV: one header line, one line a lot.
func WriteTable(w io.Writer, a *parcels.Audit) error {
	c := csv.NewWriter(w)
	if err := c.Write([]string{"lot", "verdict", "zone_m2", "pieces", "narrowest_m", "reach_inlet", "inlet", "length_m", "length_by", "fall_available_m", "fall_needed_m", "drains_outside_m", "flow_m3s", "stops", "warnings", "findings"}); err != nil {
		return err
	}
	for i := range a.Rows {
		r := &a.Rows[i]
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
		if err := c.Write([]string{display.Cell(r.Lot), string(r.Verdict), number(r.Zone), pieces, number(r.Narrowest), string(r.Reach), display.Cell(inlet), number(r.Length), r.LengthBy,
			number(r.FallAvailable), number(r.FallNeeded), number(r.DrainsOutside), number(r.Flow), strconv.Itoa(stops), strconv.Itoa(warns), strings.Join(codes, " ")}); err != nil {
			return err
		}
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
