package planner

// What is to be drained: the intakes of a lot with their runoff.

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/profile"
	"fallwright/hydro/runoff"
	"fallwright/parcels"
)

// water is what one intake brings.
type water struct {
	intake *parcels.Intake
	lot    string
	in     []profile.Inflow
	stated hydro.Flow
	area   unit.Area // plan area that sheds here
	// roofArea is the roof that comes down here, stated or the intake's share;
	// nil: not known, or none.
	roofArea *unit.Area
	roofCA   unit.Area
	yardCA   unit.Area
	roof     bool
	yard     bool
}

func (w *water) carries() parcels.Carries {
	switch {
	case w.roof && w.yard:
		return parcels.CarriesMixed
	case w.roof:
		return parcels.CarriesRoof
	}
	return parcels.CarriesYard
}

// gather finds the intakes of the lot and what each brings.
func (lp *lotPlan) gather() error {
	s, c := lp.site, lp.site.Criteria
	table := map[float64]float64{}
	for k, v := range c.Runoff.FrequencyFactor {
		table[float64(k)] = v
	}
	factor, err := runoff.FrequencyFactor(table, c.Storm.ReturnYears)
	if err != nil {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "criterion-invalid", Pointer: "/criteria/runoff/frequency_factor", Member: "runoff.frequency_factor", Detail: "The frequency factors cannot be used: " + err.Error() + "."}}}
	}
	shares := lp.roofShares()
	for i := range s.Intakes {
		in := &s.Intakes[i]
		lot := ownerOf(s, in.Lot, in.At)
		if !lp.has(lot) {
			continue
		}
		w := water{intake: in, lot: lot, roof: in.Kind == "downspout"}
		roofC, yardC := c.Runoff.RoofC, c.Runoff.YardC
		if in.RoofC != nil {
			roofC = *in.RoofC
		}
		if in.YardC != nil {
			yardC = *in.YardC
		}
		if in.Flow != nil {
			w.stated = *in.Flow
			w.yard = !w.roof
		} else {
			w.roofArea = in.RoofArea
			if share, ok := shares[i]; ok {
				w.roofArea = &share.Area
				at := in.At
				lp.find(parcels.Finding{Code: "roof_shared", Severity: parcels.Warn, Feature: in.ID, Location: &at, Measured: parcels.Num(float64(share.Area)), Unit: "m2",
					Message: fmt.Sprintf("Downspout %s has no roof_area_m2: it is reckoned with %.1f m2, the part of the roof of %s that lies nearest to it along the eaves.", in.ID, float64(share.Area), share.House),
					Cure:    "Look where the gutters part, and state roof_area_m2 where they part elsewhere."})
			}
			if w.roofArea != nil && *w.roofArea > 0 {
				w.roof = true
				w.roofCA = unit.Area(runoff.Factored(roofC, factor) * float64(*w.roofArea))
				w.area += *w.roofArea
				w.in = append(w.in, profile.Inflow{CA: w.roofCA, Tc: in.Concentration(c.Storm.RoofMin)})
			}
			if in.YardArea != nil && *in.YardArea > 0 {
				w.yard = true
				w.yardCA = unit.Area(runoff.Factored(yardC, factor) * float64(*in.YardArea))
				w.area += *in.YardArea
				w.in = append(w.in, profile.Inflow{CA: w.yardCA, Tc: in.Concentration(c.Storm.YardMin)})
			}
			if w.roofArea == nil && in.YardArea == nil {
				w.yard = !w.roof
				what, cure := "roof_area_m2", "Measure the roof that sheds to it."
				if !w.roof {
					what, cure = "yard_area_m2", "Find the ground that sheds to it."
				}
				at := in.At
				lp.find(parcels.Finding{Code: "area_missing", Severity: parcels.Warn, Feature: in.ID, Location: &at, NotProven: true, Cure: cure,
					Message: fmt.Sprintf("Intake %s has neither %s nor flow_m3s: its flow counts as none and the sizes below it are not proven.", in.ID, what)})
			}
		}
		lp.waters = append(lp.waters, w)
	}
	for i := range s.PerforatedRuns {
		r := &s.PerforatedRuns[i]
		if lp.has(ownerOf(s, r.Lot, r.Line[0])) {
			lp.wanted = append(lp.wanted, r)
		}
	}
	return nil
}
