package auditor

// Does a fence dam a swale?

import (
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/siting"
)

func checkFences(w *lotWork) error {
	for i := range w.site.Obstacles {
		o := &w.site.Obstacles[i]
		line, ok := o.Geometry.(orb.LineString)
		if o.Kind != "fence" || !ok {
			continue
		}
		for k := range w.site.Swales {
			s := &w.site.Swales[k]
			d, at, _ := shape.LineLine(line, s.Line)
			// the water's edge at full depth, where the section is known
			reach := 0.0
			if s.BottomWidth != nil {
				reach = float64(*s.BottomWidth) / 2
			}
			if float64(d) > reach+1e-6 {
				continue
			}
			// told of on the lot that the fence names, else the one that holds the
			// place
			if owner := (document.Feature{ID: o.Properties["lot"]}).IDText(); owner != "" && owner != "null" {
				if owner != w.lot.ID {
					continue
				}
			} else if !w.holds(at) {
				continue
			}
			f := parcels.Finding{Code: "fence_dams_swale", Feature: o.ID, Location: ptr(at), Source: "P-38"}
			name := siting.Label(s.Common)
			switch o.FenceBottom {
			case "solid":
				f.Severity = parcels.Stop
				f.Message = fmt.Sprintf("Fence %s, closed to the ground, crosses the flow line of swale %s and dams it.", o.ID, name)
			case "open":
				f.Code, f.Severity = "fence_over_swale", parcels.Warn
				f.Message = fmt.Sprintf("Fence %s crosses swale %s; its bottom is open: keep it clear of leaves, and ask whether the easement allows it.", o.ID, name)
			default:
				f.Severity, f.NotProven = parcels.Warn, true
				f.Message = fmt.Sprintf("Fence %s crosses swale %s; whether its bottom is open is not known.", o.ID, name)
				f.Cure = "Look whether the bottom of fence " + o.ID + " is open."
			}
			w.find(f)
		}
	}
	return nil
}

// holds says whether a place is this lot's to tell of: it lies on the lot, and
// on no lot that stands before it in the site; a place on no lot is told of by
// the nearest.
func (w *lotWork) holds(at orb.Point) bool {
	mine := offLot(at, w.lot)
	lots := w.neighbours()
	for i := range lots {
		o := &lots[i]
		if o.ID == w.lot.ID {
			continue
		}
		if d := offLot(at, o); d < mine || d == mine && o.Index < w.lot.Index {
			return false
		}
	}
	return mine < near
}
