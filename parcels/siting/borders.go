package siting

// Where parcels do not fit together, and what that means for a trench.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
)

const (
	// leastBorder is what neighbouring lines may differ by and still be one line
	// drawn twice; mostBorder where a strip is an alley and no gap any more:
	// P-34 has 0.1 to 1 ft.
	leastBorder unit.Length = 0.005
	mostBorder  unit.Length = 0.5
)

// Border is a gap between a lot and a neighbour, where they overlap, or that the
// one lies within the other, with the finding that tells of it.
type Border struct {
	zone.Border
	Finding parcels.Finding
}

// noBorders stands for the answer of most lots, without memory of their own.
var noBorders []Border

// Borders lists where the lot at a place in the site and its neighbours do not
// share their line.
func (t *Siting) Borders(at int) []Border {
	if b := t.fabric.borders[at].Load(); b != nil {
		return *b
	}
	var out []Border
	for _, b := range t.Neighbours().Borders(at, leastBorder, mostBorder) {
		out = append(out, Border{b, t.borderFinding(b)})
	}
	if out == nil {
		t.fabric.borders[at].Store(&noBorders)
		return nil
	}
	t.fabric.borders[at].Store(&out)
	return out
}

func (t *Siting) borderFinding(b zone.Border) parcels.Finding {
	lot, other := &t.fabric.lots[b.A], &t.fabric.lots[b.B]
	at, width, none := b.At, float64(b.Width), 0.0
	if b.Kind == zone.Within {
		area := float64(shape.Area(lot.Shape))
		return parcels.Finding{Code: "parcel_within", Severity: parcels.Warn, NotProven: true, Lot: lot.ID, Feature: other.ID, Location: &at, Measured: &area, Required: &none, Unit: "m2", Source: "common practice",
			Message: fmt.Sprintf("Lot %s lies wholly within lot %s: all of its %.1f m2 belong to both as drawn (a parent parcel left in the file, a unit within a common, or one lot drawn twice).", lot.ID, other.ID, area),
			Cure:    fmt.Sprintf("Ask the recorder which of lots %s and %s is of record, and take the other out of the file.", lot.ID, other.ID)}
	}
	f := parcels.Finding{Code: "parcels_gap", Severity: parcels.Note, Lot: lot.ID, Feature: other.ID, Location: &at, Measured: &width, Required: &none, Unit: "m", Source: "P-34"}
	if b.Kind == zone.Overlap {
		f.Code, f.Severity, f.NotProven = "parcels_overlap", parcels.Warn, true
		f.Message = fmt.Sprintf("Lots %s and %s overlap, by up to %.3f m over %.1f m.", lot.ID, other.ID, width, float64(b.Length))
		f.Cure = "Find the pins of the line between them, or have it surveyed."
		return f
	}
	wide := fmt.Sprintf("up to %.3f m", width)
	if b.Width >= mostBorder-1e-6 {
		// the two lines part: beyond this it is an alley, not a gap
		wide = fmt.Sprintf("%.1f m or more", float64(mostBorder))
	}
	f.Message = fmt.Sprintf("Between lots %s and %s lies a strip of no lot, %s wide over %.1f m.", lot.ID, other.ID, wide, float64(b.Length))
	return f
}

// disputed are the parts of the lot that a neighbour's outline takes too: the
// trench keeps from them what it keeps from the lot's own line there, so that
// the clearance counts from the line nearer to the owner's side. Borders tells
// of them, and of the gaps: a trench that keeps from both lines does not hang on
// which is the right one, so there it is not for that that it is not proven. A lot
// within another keeps its ground: whose it is no line can tell.
func (g *Ground) disputed() ([]zone.KeepOut, error) {
	at, ok := g.siting.place(g.Lot)
	if !ok {
		return nil, nil
	}
	var out []zone.KeepOut
	kept := map[int]bool{} // by the neighbour: whether there is ground to keep from
	for _, b := range g.siting.Borders(at) {
		f := b.Finding
		if b.Kind == zone.Within {
			g.Borders = append(g.Borders, f)
			continue
		}
		if b.Kind != zone.Overlap {
			f.Message += " The clearance is measured from the lot's own line."
			g.Borders = append(g.Borders, f)
			continue
		}
		keeps, seen := kept[b.B]
		if !seen {
			area, err := g.siting.Neighbours().Shared(at, b.B)
			if err != nil {
				return nil, fmt.Errorf("siting: lots %s and %s: %w", g.Lot.ID, f.Feature, err)
			}
			if keeps = len(area) > 0; keeps {
				out = append(out, zone.KeepOut{ID: f.Feature, Kind: "lot", Geometry: area, Clearance: g.clearanceBy(b.At)})
			}
			kept[b.B] = keeps
		}
		if keeps {
			f.NotProven = false
			f.Message += fmt.Sprintf(" The clearance is measured from the line of lot %s, which is nearer to the owner's side.", f.Feature)
		}
		g.Borders = append(g.Borders, f)
	}
	return out, nil
}

// clearanceBy is the clearance of the lot line nearest to a place.
func (g *Ground) clearanceBy(p orb.Point) unit.Length {
	if g.Lines.Edges == nil {
		return g.Lines.Clearance
	}
	best, clear := unit.Length(math.Inf(1)), g.Lines.Clearance
	ring := g.Lot.Shape[0][0]
	for i, c := range g.Lines.Edges[0][0] {
		if d, _ := shape.PointSegment(p, ring[i], ring[i+1]); d < best {
			best, clear = d, c
		}
	}
	return clear
}
