package auditor

// Do inlets take what all lots that reach them would send?

import (
	"fmt"

	"fallwright/hydro"
	"fallwright/parcels"
)

func checkInlets(w *siteWork) error {
	for i := range w.a.site.Inlets {
		in := &w.a.site.Inlets[i]
		row := parcels.InletRow{Inlet: in.ID, Lots: []string{}, Limit: in.FlowLimit, At: in.At}
		var sum hydro.Flow
		known := true
		for k := range w.audit.Rows {
			r := &w.audit.Rows[k]
			// not a lot that only has it as the nearest
			if r.Inlet == nil || *r.Inlet != in.ID || r.Reach == parcels.ReachNo || r.LengthBy == "line" {
				continue
			}
			row.Lots = append(row.Lots, r.Lot)
			if r.Flow == nil {
				known = false
				continue
			}
			sum += *r.Flow
		}
		if len(row.Lots) == 0 {
			continue
		}
		if known {
			row.Flow = ptr(roundTo(sum, 1e7))
		}
		at := in.At
		switch {
		case in.FlowLimit == nil:
			w.find(parcels.Finding{Code: "inlet_limit_unknown", Severity: parcels.Note, Feature: in.ID, Location: &at,
				Message: fmt.Sprintf("%d lots would tie in to inlet %s, whose limit is not stated.", len(row.Lots), in.ID)})
		case known && sum > *in.FlowLimit:
			w.find(parcels.Finding{Code: "inlet_over_limit", Severity: parcels.Stop, Feature: in.ID, Location: &at, Measured: ptr(float64(sum)), Required: ptr(float64(*in.FlowLimit)), Unit: "m3/s",
				Message: fmt.Sprintf("With lots %s tied in, inlet %s would take %.4f m3/s; its limit is %.4f m3/s.", list(row.Lots), in.ID, float64(sum), float64(*in.FlowLimit))})
		}
		w.audit.Inlets = append(w.audit.Inlets, row)
	}
	if len(w.audit.Inlets) > 0 {
		w.audit.Assumptions = append(w.audit.Assumptions, "Inlets: the peaks of the lots are added as if they met at one time, which errs on the high side.")
	}
	return nil
}
