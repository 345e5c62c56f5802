package auditor

// Do inlets take what all lots that reach them would send?

import (
	"fmt"

	"fallwright/parcels"
)

func checkInlets(w *siteWork) error {
	err := w.land.each(parcels.LayerInlets, func(s *parcels.Site) error {
		for i := range s.Inlets {
			in := &s.Inlets[i]
			if t := w.ties[in.ID]; t != nil {
				w.inlet(in, t)
			}
		}
		return nil
	})
	if len(w.audit.Inlets) > 0 {
		w.audit.Assumptions = append(w.audit.Assumptions, "Inlets: the peaks of the lots are added as if they met at one time, which errs on the high side.")
	}
	return err
}

func (w *siteWork) inlet(in *parcels.Inlet, t *tie) {
	row := parcels.InletRow{Inlet: in.ID, Lots: t.lots, Limit: in.FlowLimit, At: in.At}
	if t.known {
		row.Flow = ptr(roundTo(t.flow, 1e7))
	}
	at := in.At
	switch {
	case in.FlowLimit == nil:
		w.find(parcels.Finding{Code: "inlet_limit_unknown", Severity: parcels.Note, Feature: in.ID, Location: &at,
			Message: fmt.Sprintf("%d lots would tie in to inlet %s, whose limit is not stated.", len(row.Lots), in.ID)})
	case t.known && t.flow > *in.FlowLimit:
		w.find(parcels.Finding{Code: "inlet_over_limit", Severity: parcels.Stop, Feature: in.ID, Location: &at, Measured: ptr(float64(t.flow)), Required: ptr(float64(*in.FlowLimit)), Unit: "m3/s", Source: "the limit that the inlet's owner has stated",
			Message: fmt.Sprintf("With lots %s tied in, inlet %s would take %.4f m3/s; its limit is %.4f m3/s.", list(row.Lots), in.ID, float64(t.flow), float64(*in.FlowLimit))})
	}
	w.audit.Inlets = append(w.audit.Inlets, row)
}
