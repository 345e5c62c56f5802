package auditor

// Do drains that serve several lots carry their flow? One row for each lot
// along such a drain, with the water of all lots upstream.

import (
	"fmt"
	"slices"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/runoff"
	"fallwright/parcels"
)

// sharedFrom is the length on a second lot from which a drain counts as shared
// and not as one that strays or ties in.
const sharedFrom unit.Length = 5

func checkShared(w *siteWork) error {
	some := false
	for i := range w.a.site.Drains {
		d := &w.a.site.Drains[i]
		lots := w.drainLots(d)
		if len(lots) < 2 {
			continue
		}
		some = true
		if err := w.sharedDrain(d, lots); err != nil {
			return err
		}
	}
	if some {
		w.audit.Assumptions = append(w.audit.Assumptions, "Shared drains: every lot along one is taken to send all its intakes into it, where the drain leaves the lot.")
	}
	return nil
}

// drainLots are the lots that a drain runs on for long enough, downstream, by
// where it leaves them for the last time.
func (w *siteWork) drainLots(d *parcels.Drain) []lotStretch {
	var out []lotStretch
	for _, i := range w.a.index.lots.in(d.Line.Bound()) {
		s := within(d.Line, w.a.site.Lots[i].Shape)
		if total(s) >= sharedFrom {
			out = append(out, lotStretch{int(i), s[0].from, s[len(s)-1].to})
		}
	}
	slices.SortStableFunc(out, func(a, b lotStretch) int {
		switch {
		case a.to < b.to:
			return -1
		case a.to > b.to:
			return 1
		}
		return 0
	})
	return out
}

func (w *siteWork) sharedDrain(d *parcels.Drain, lots []lotStretch) error {
	a, c := w.a, w.a.site.Criteria
	whole := shape.Length(d.Line)
	var slope *unit.Slope
	if up, down := ends(d); up != nil && down != nil {
		slope = ptr(unit.Grade(up.Above(*down), whole))
		if *slope <= 0 {
			w.find(parcels.Finding{Code: "drain_uphill", Severity: parcels.Stop, Feature: d.ID, Location: ptr(d.Line[0]), Measured: ptr(float64(*slope)), Required: ptr(0.0),
				Message: fmt.Sprintf("Shared drain %s does not fall from its start to its end: %.3f m and %.3f m.", d.ID, float64(*up), float64(*down))})
			slope = nil
		}
	}
	var full *hydro.Flow
	velocity := 0.6 // until the pipe is known: the least asked for
	if slope != nil && d.Diameter != nil {
		n := defaultPipeN
		if d.N != nil {
			n = *d.N
		}
		p := pipe.Pipe{Diameter: *d.Diameter, N: n}
		q, err := p.Capacity(*slope)
		if err != nil {
			return err
		}
		sec, err := pipe.Circle(*d.Diameter, *d.Diameter)
		if err != nil {
			return err
		}
		full, velocity = &q, float64(q)/float64(sec.Area)
	}
	var parts []runoff.Part
	var stated hydro.Flow
	var area, ca unit.Area
	names := []string{}
	from := unit.Length(0)
	for k, l := range lots {
		for i := range parts { // on the way from the lot before
			parts[i].Tc += hydro.Duration(float64(l.to-from) / velocity / 60)
		}
		from = l.to
		lot := &a.site.Lots[l.lot]
		h, err := w.waterOf(l.lot)
		if err != nil {
			return err
		}
		parts = append(parts, h.parts...)
		stated += h.stated
		for _, p := range h.parts {
			area += p.Area
			ca += unit.Area(float64(p.Area) * p.C)
		}
		names = append(names, lot.ID)
		row := parcels.SharedRow{Kind: "drain", Feature: d.ID, Order: k + 1, Lot: lot.ID, Lots: slices.Clone(names), From: round4(l.from), To: round4(l.to),
			Area: round4(area), CA: round4(ca), Line: shape.Substring(d.Line, l.from, l.to)}
		q, err := a.peak(parts, c)
		if err != nil {
			return err
		}
		if slope != nil {
			row.Slope = ptr(roundTo(*slope, 1e6))
		}
		row.Width = d.Diameter
		if full != nil {
			row.Capacity = ptr(roundTo(*full, 1e7))
		}
		if q != nil {
			all := *q + stated
			row.Flow = ptr(roundTo(all, 1e7))
			if full != nil && all > *full {
				at := shape.PointAt(d.Line, l.to)
				w.find(parcels.Finding{Code: "drain_over_capacity", Severity: parcels.Stop, Feature: d.ID, Lot: lot.ID, Location: &at, Measured: ptr(float64(all)), Required: ptr(float64(*full)), Unit: "m3/s", Source: "P-176",
					Message: fmt.Sprintf("Below lot %s shared drain %s takes the water of %d lots, %.4f m3/s, and carries %.4f m3/s.", lot.ID, d.ID, len(names), float64(all), float64(*full))})
			}
		}
		w.audit.Shared = append(w.audit.Shared, row)
	}
	return nil
}

// defaultPipeN is the roughness of a drain that states none: smooth pipe (P-96).
const defaultPipeN hydro.Roughness = 0.012

// ends are a drain's inverts: as stated, else the first and last of its line.
func ends(d *parcels.Drain) (up, down *unit.Elevation) {
	up, down = d.InvertUp, d.InvertDown
	if n := len(d.Z); n > 1 {
		if up == nil {
			up = &d.Z[0]
		}
		if down == nil {
			down = &d.Z[n-1]
		}
	}
	return up, down
}

// waterOf is the water of a lot, as its own checks see it.
func (w *siteWork) waterOf(i int) (*water, error) {
	a := w.a
	lot := &a.site.Lots[i]
	l := &lotWork{a: a, at: i, lot: lot, row: &parcels.AuditRow{Lot: lot.ID}}
	under, _, err := a.fabric.Under(lot)
	if err != nil {
		return nil, err
	}
	l.site = a.index.view(a.site, lot.Shape.Bound(), under.Criteria)
	return l.gather(), nil
}
