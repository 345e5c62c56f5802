package answer

// One lot's trench zone: the row, and what a reader should be told of it.

import (
	"errors"
	"fmt"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/siting"
)

// ZoneRow is one lot's trench zone.
type ZoneRow struct {
	Lot         string            `json:"lot"`
	Pipe        string            `json:"pipe"`
	Area        unit.Area         `json:"area_m2"`
	Pieces      int               `json:"pieces"`
	Narrowest   *unit.Length      `json:"narrowest_m"`
	NarrowestAt *orb.Point        `json:"narrowest_at"`
	Clearance   *unit.Length      `json:"clearance_m"`
	EmptyReason *string           `json:"empty_reason"`
	Removed     []RemovedRow      `json:"removed"`
	Findings    []parcels.Finding `json:"findings"`
}

// RemovedRow is a thing that takes ground out of the lot.
type RemovedRow struct {
	ID        string      `json:"id"`
	Kind      string      `json:"kind"`
	Clearance unit.Length `json:"clearance_m"`
	Area      unit.Area   `json:"area_m2"`
}

// zoneOf works out the zone of the lot at a place in the site. A lot that can't
// be worked out is answered with the reason.
func zoneOf(s *parcels.Site, st *siting.Siting, at int, pipe string) (ZoneRow, orb.Geometry, error) {
	lot := &s.Lots[at]
	row := ZoneRow{Lot: lot.ID, Pipe: pipe, Removed: []RemovedRow{}, Findings: []parcels.Finding{}}
	g, err := st.Ground(lot, pipe)
	if err != nil {
		return row, nil, failed(lot, err)
	}
	row.Clearance = parcels.Num(least(g))
	z, err := g.Zone()
	if fault := (*shape.InvalidError)(nil); errors.As(err, &fault) {
		at := siting.Middle(lot.Shape)
		row.EmptyReason = parcels.Num("it can't be worked out: " + err.Error())
		fs := append(g.Findings, parcels.Finding{Code: "zone_not_worked_out", Severity: parcels.Stop, Lot: lot.ID, Location: &at,
			Message: "The trench zone of lot " + lot.ID + " can't be worked out: " + err.Error() + "."})
		row.Findings = append(row.Findings, document.Findings(s.Frame, fs)...)
		return row, nil, nil
	}
	if err != nil {
		return row, nil, failed(lot, err)
	}
	barred := g.Barred()
	if err := z.MeasureRemoved(g.Lines, barred); err != nil {
		return row, nil, failed(lot, err)
	}
	for _, r := range z.Removed {
		row.Removed = append(row.Removed, RemovedRow{r.ID, r.Kind, mm(r.Clearance), unit.Area(round(float64(*r.Area), 4))})
	}
	row.Area, row.Pieces = unit.Area(round(float64(z.Area), 4)), z.Pieces
	fs := g.Findings
	var geom orb.Geometry
	if z.Pieces == 0 {
		row.EmptyReason = parcels.Num(z.EmptyReason)
	} else {
		geom = z.Shape
		ps := z.Passages(g.Lines, barred)
		if len(ps) > 0 {
			row.Narrowest, row.NarrowestAt = parcels.Num(mm(ps[0].Width)), parcels.Num(document.Position(s.Frame, ps[0].At))
		}
		fs = append(fs, narrow(s, g, ps)...)
		split, err := pieces(s, g, z, ps)
		if err != nil {
			return row, nil, failed(lot, err)
		}
		fs = append(fs, split...)
	}
	fs = append(fs, g.Borders...)
	row.Findings = append(row.Findings, document.Findings(s.Frame, fs)...)
	return row, geom, nil
}

// narrow tells of the narrowest place of a zone, and of each other that a trench
// does not get through; a side yard is called one.
func narrow(s *parcels.Site, g *siting.Ground, ps []zone.Passage) (fs []parcels.Finding) {
	width := s.Criteria.Trench.Width
	for i := range ps {
		p := &ps[i]
		tight := p.Width <= width
		if i > 0 && !tight {
			break
		}
		a, b := holder(g, p.Sides[0]), holder(g, p.Sides[1])
		where := fmt.Sprintf("between %s and %s", a, b)
		if p.SideYard {
			where = fmt.Sprintf("in the side yard between %s and %s, which are %.3f m apart", a, b, float64(p.Yard))
		}
		f := parcels.Finding{Code: "narrow_place", Severity: parcels.Note, Lot: g.Lot.ID, Location: &p.At, Measured: parcels.Num(float64(mm(p.Width))), Required: parcels.Num(float64(width)), Unit: "m",
			Message: fmt.Sprintf("The trench zone of lot %s is narrow %s: %.3f m wide.", g.Lot.ID, where, float64(p.Width))}
		if tight {
			f.Severity = parcels.Warn
			f.Message = fmt.Sprintf("No trench of %.3f m gets through the zone of lot %s %s: %.3f m wide.", float64(width), g.Lot.ID, where, float64(p.Width))
		}
		fs = append(fs, f)
	}
	return fs
}

// holder names what holds one side of a narrow place.
func holder(g *siting.Ground, h zone.Holder) string {
	if h.Edge == nil {
		return h.Kind + " " + h.ID
	}
	if e := h.Edge; e.Part == 0 && e.Ring == 0 && e.Vertex < len(g.Roles) && g.Roles[e.Vertex] != "" {
		return fmt.Sprintf("the %s line (edge %d)", g.Roles[e.Vertex], e.Vertex)
	}
	return fmt.Sprintf("lot line %d", h.Edge.Vertex)
}

// sliver is the area under which a piece of a zone is counted but not described:
// a trench of 1 ft by 10 ft takes as much (common practice).
const sliver unit.Area = 1

// pieces tells of a zone that falls apart, and which inlets and outlets a last
// run gets to from each piece.
func pieces(s *parcels.Site, g *siting.Ground, z zone.Zone, ps []zone.Passage) ([]parcels.Finding, error) {
	width := s.Criteria.Trench.Width
	what := "The trench zone"
	if len(ps) > 0 && ps[0].Width <= width {
		// where the middle of a trench may lie tells whether one leads through
		m, err := g.CentreLine(width)
		if err != nil {
			return nil, err
		}
		if m.Pieces > z.Pieces {
			z, what = m, fmt.Sprintf("For a trench of %.3f m the zone", float64(width))
		}
	}
	if z.Pieces <= len(g.Lot.Shape) {
		return nil, nil
	}
	reached := make([][]string, z.Pieces)
	note := func(name string, at orb.Point) {
		for _, k := range z.PiecesNear(at, s.Criteria.TieIn.Reach) {
			reached[k] = append(reached[k], name)
		}
	}
	for i := range s.Inlets {
		note("inlet "+s.Inlets[i].ID, s.Inlets[i].At)
	}
	for i := range s.Outlets {
		note("outlet "+s.Outlets[i].ID, s.Outlets[i].At)
	}
	var text []string
	slivers := 0
	for k, p := range z.Shape {
		area := shape.Area(orb.MultiPolygon{p})
		if area < sliver && len(reached[k]) == 0 {
			slivers++
			continue
		}
		said := fmt.Sprintf("piece %d (%.1f m2)", k+1, float64(area))
		switch {
		case len(reached[k]) > 0:
			said += " is in reach of " + strings.Join(reached[k], ", ")
		case len(s.Inlets)+len(s.Outlets) > 0:
			said += " is in reach of no inlet"
		}
		text = append(text, said)
	}
	if slivers > 0 {
		said := fmt.Sprintf("%d of under %.0f m2", slivers, float64(sliver))
		if len(s.Inlets)+len(s.Outlets) > 0 {
			said += " in reach of no inlet"
		}
		text = append(text, said)
	}
	at := siting.Middle(g.Lot.Shape)
	return []parcels.Finding{{Code: "zone_in_pieces", Severity: parcels.Warn, Lot: g.Lot.ID, Location: &at, Measured: parcels.Num(float64(z.Pieces)), Required: parcels.Num(float64(len(g.Lot.Shape))), Source: "P-174",
		Message: fmt.Sprintf("%s of lot %s is in %d pieces, and no trench leads from one to another: %s.", what, g.Lot.ID, z.Pieces, strings.Join(text, "; "))}}, nil
}
