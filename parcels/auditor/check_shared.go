package auditor

// Do drains that serve several lots carry their flow? One row for each lot
// along such a drain, with the water of all lots upstream.

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/paulmach/orb"

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
	err := w.land.each(parcels.LayerDrains, func(s *parcels.Site) error {
		return w.groups(s.Drains, func(a *Auditor, d *parcels.Drain) error {
			lots := a.drainLots(d)
			if len(lots) < 2 {
				return nil
			}
			some = true
			return w.sharedDrain(a, d, lots)
		})
	})
	if some {
		w.audit.Assumptions = append(w.audit.Assumptions, "Shared drains: every lot along one is taken to send all its intakes into it, where the drain leaves the lot.")
	}
	return err
}

// groups hands over drains in order, each with an auditor of what lies near it.
// Those that lie close to the one before share its auditor.
func (w *siteWork) groups(all []parcels.Drain, f func(*Auditor, *parcels.Drain) error) error {
	var a *Auditor
	var box orb.Bound
	for i := range all {
		d := &all[i]
		if shape.Length(d.Line) < sharedFrom {
			continue
		}
		b := d.Line.Bound()
		if a == nil || !box.Contains(b.Min) || !box.Contains(b.Max) {
			// the drains that follow, as long as they lie together
			box = b
			for k := i + 1; k < len(all); k++ {
				if u := box.Union(all[k].Line.Bound()); u.Max[0]-u.Min[0] < patch && u.Max[1]-u.Min[1] < patch {
					box = u
				} else {
					break
				}
			}
			var err error
			if a, err = w.land.around(box); err != nil {
				return err
			}
		}
		if err := f(a, d); err != nil {
			return err
		}
	}
	return nil
}

// patch is the side of the ground that is held at once for shared drains.
const patch = 500.0

// drainLots are the lots that a drain runs on for long enough, downstream, by
// where it leaves them for the last time.
func (a *Auditor) drainLots(d *parcels.Drain) []lotStretch {
	var out []lotStretch
	for _, i := range a.index.lots.in(d.Line.Bound(), nil) {
		s := within(d.Line, a.site.Lots[i].Shape)
		if total(s) >= sharedFrom {
			out = append(out, lotStretch{int(i), a.site.Lots[i].ID, s[0].from, s[len(s)-1].to})
		}
	}
	slices.SortStableFunc(out, func(a, b lotStretch) int { return cmp.Compare(a.to, b.to) })
	return out
}

func (w *siteWork) sharedDrain(a *Auditor, d *parcels.Drain, lots []lotStretch) error {
	c := a.base.Criteria
	whole := shape.Length(d.Line)
	var slope *unit.Slope
	if up, down := ends(d); up != nil && down != nil {
		slope = ptr(unit.Grade(up.Above(*down), whole))
		if *slope <= 0 {
			w.find(parcels.Finding{Code: "drain_uphill", Severity: parcels.Stop, Feature: d.ID, Location: ptr(d.Line[0]), Measured: ptr(float64(*slope)), Required: ptr(0.0), Source: "criteria pipe",
				Message: fmt.Sprintf("Shared drain %s does not fall from its start to its end: %.3f m and %.3f m.", d.ID, float64(*up), float64(*down))})
			slope = nil
		} else if *slope > steepest {
			w.find(tooSteep("Shared drain", d.ID, *slope, d.Line[0]))
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
		h, err := a.waterOf(l.lot)
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

// steepest is the steepest grade that a drain or a swale can have, 45 degrees ten times
// over: levels that make a steeper one are of two units or datums.
const steepest unit.Slope = 10

func tooSteep(what, name string, s unit.Slope, at orb.Point) parcels.Finding {
	return parcels.Finding{Code: "levels_unlikely", Severity: parcels.Warn, Feature: name, Location: &at, NotProven: true, Measured: ptr(float64(s)), Required: ptr(float64(steepest)), Source: "P-22",
		Message: fmt.Sprintf("%s %s falls %.0f m a metre by its levels, which cannot be: what it carries is not worked.", what, name, float64(s)), Cure: "Look whether a level of " + name + " is in another unit, or on another datum."}
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
func (a *Auditor) waterOf(i int) (*water, error) {
	lot := &a.site.Lots[i]
	l := a.begin(i, &parcels.AuditRow{Lot: lot.ID})
	under, _, err := a.fabric.Under(lot)
	if err != nil {
		return nil, err
	}
	l.view(under.Criteria)
	return l.gather(), nil
}
