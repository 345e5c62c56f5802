package siting

// How sure the lot lines are, and what that means for a trench.

import (
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
)

// Standard deviation of a lot line by its source (the contract, section 3;
// P-30: newer subdivisions of a municipal map within about 5 ft).
const (
	surveySD = 0.02 * unit.Metre
	gisSD    = 1.5 * unit.Metre
)

// LineSD is the standard deviation of one lot line. Lines whose source the
// input does not give count as a municipal map's; told says that.
func LineSD(lot *parcels.Lot, part, ring, edge int) (sd unit.Length, told bool) {
	if part == 0 && ring == 0 {
		if edge < len(lot.LineSDs) {
			return lot.LineSDs[edge], true
		}
		if edge < len(lot.LineSources) {
			switch lot.LineSources[edge] {
			case parcels.LineSurvey, parcels.LinePins:
				return surveySD, true
			default:
				return gisSD, true
			}
		}
	}
	return gisSD, false
}

// Accuracy reckons the chance that trenches of a width along lines lie over the
// true lot line, with the findings that follow and, where the input is silent
// on the lines' source, the assumption.
func (g *Ground) Accuracy(lines orb.MultiLineString, width unit.Length, feature string) (chance float64, fs []parcels.Finding, assumed string, err error) {
	told := true
	most := g.Site.Criteria.Clearance.MostChance
	c, err := zone.LineAccuracy(lines, width, g.Lines, func(p, r, e int) unit.Length {
		sd, ok := LineSD(g.Lot, p, r, e)
		told = told && ok
		return sd
	}, most)
	if err != nil {
		return 0, nil, "", err
	}
	if !told {
		assumed = fmt.Sprintf("Lot %s: line_source is not given for every line: taken as gis, standard deviation %.1f m.", g.Lot.ID, float64(gisSD))
	}
	if c.Over <= most {
		return c.Over, nil, assumed, nil
	}
	f := parcels.Finding{Code: "line_accuracy", Severity: parcels.Warn, Lot: g.Lot.ID, Feature: feature, NotProven: true, Source: "P-30, P-32",
		Measured: parcels.Num(round(c.Over)), Required: parcels.Num(most),
		Message: fmt.Sprintf("The lot lines are not sure enough: the chance that the trench lies over the true line of lot %s is %.0f %%, %.0f %% is allowed. A clearance of %.2f m would do without better lines.", g.Lot.ID, 100*c.Over, 100*most, float64(c.Clearance)),
		Cure:    "Find the pins of lot " + g.Lot.ID + " or have its lines surveyed."}
	if len(c.Lines) > 0 {
		at := c.Lines[0].At
		f.Location = &at
	}
	if c.Settles && len(c.Pins) > 0 {
		names := ""
		for _, i := range c.Pins {
			if names != "" {
				names += ", "
			}
			names += g.lineName(c.Lines[i])
		}
		f.Cure = fmt.Sprintf("Find the pins of %s of lot %s, or have it surveyed.", names, g.Lot.ID)
	}
	return c.Over, []parcels.Finding{f}, assumed, nil
}

// lineName calls a lot line by its role where that is known, else by its place
// in the outline.
func (g *Ground) lineName(l zone.LineChance) string {
	e := l.Edges[0]
	if e.Part == 0 && e.Ring == 0 && e.Vertex < len(g.Roles) {
		return fmt.Sprintf("the %s line (edge %d)", g.Roles[e.Vertex], e.Vertex)
	}
	return fmt.Sprintf("line %d", e.Vertex)
}

func round(v float64) float64 { return float64(int(v*1e4+0.5)) / 1e4 }
