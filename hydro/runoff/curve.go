package runoff

// Curve-number runoff and the graphical peak.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Retention returns the potential retention S = 25400/CN - 254 mm and the initial
// abstraction 0.2 S. CN above 0 to 100. Source: TR55, equations 2-2, 2-4.
func Retention(cn float64) (s, ia hydro.Depth, err error) {
	if err := hydro.Check("curve number", cn, 1, 100, "", source.TR55); err != nil {
		return 0, 0, err
	}
	s = hydro.Depth(25400/cn - 254)
	return s, 0.2 * s, nil
}

// RunoffDepth returns the depth of runoff from rain p on curve number cn:
// (P - 0.2S)^2/(P + 0.8S), and nothing while P is at most 0.2 S. Below about 13 mm
// of runoff the method is weak (note); on lots prefer the rational method. Source:
// TR55, equations 2-1 to 2-4.
func RunoffDepth(p hydro.Depth, cn float64) (hydro.Depth, []hydro.Note, error) {
	if err := hydro.Check("rainfall depth", float64(p), 0, 10000, "mm", ""); err != nil {
		return 0, nil, err
	}
	s, ia, err := Retention(cn)
	if err != nil {
		return 0, nil, err
	}
	var q hydro.Depth
	if p > ia {
		q = (p - ia) * (p - ia) / (p - ia + s)
	}
	var notes []hydro.Note
	if q < 12.7 {
		notes = []hydro.Note{{Code: "curve_number_small_runoff", Source: source.TR55,
			Text: fmt.Sprintf("runoff of %.1f mm is below the 12.7 mm (0.5 in) down to which the curve-number method is meant", float64(q))}}
	}
	return q, notes, nil
}

// Cover is an area of one curve number.
type Cover struct {
	CN   float64
	Area unit.Area
}

// WeightedCN returns the area-weighted curve number, not rounded (TR55's
// worksheets round it to a whole number).
func WeightedCN(covers ...Cover) (float64, error) {
	sum, area := 0.0, 0.0
	for _, c := range covers {
		if err := hydro.Check("curve number", c.CN, 1, 100, "", source.TR55); err != nil {
			return 0, err
		}
		if err := hydro.Check("area", float64(c.Area), 0, 1e12, "m2", ""); err != nil {
			return 0, err
		}
		sum += c.CN * float64(c.Area)
		area += float64(c.Area)
	}
	if err := hydro.Check("total area", area, hydro.Positive, 1e13, "m2", ""); err != nil {
		return 0, err
	}
	return sum / area, nil
}

// CompositeCN returns the curve number of pervious ground cnp with a share of
// impervious cover (0 to 1), of which the share unconnected runs over the pervious
// ground first: CNp + Pimp (98 - CNp)(1 - 0.5 R). The unconnected form holds for
// at most 30 % impervious; above that a share R is a *hydro.RangeError. Source:
// TR55, appendix F, figures 2-3 and 2-4.
func CompositeCN(cnp, impervious, unconnected float64) (float64, error) {
	if err := hydro.Check("pervious curve number", cnp, 1, 98, "", source.TR55); err != nil {
		return 0, err
	}
	if err := hydro.Check("impervious share", impervious, 0, 1, "", source.TR55); err != nil {
		return 0, err
	}
	most := 1.0
	if impervious > 0.30 {
		most = 0
	}
	if err := hydro.Check("unconnected share of the impervious cover", unconnected, 0, most, "", source.TR55); err != nil {
		return 0, err
	}
	return cnp + impervious*(98-cnp)*(1-0.5*unconnected), nil
}

// CurveNumber is a row of the urban table: hydrologic soil groups A to D.
type CurveNumber struct {
	Cover      string
	A, B, C, D float64
}

// CurveNumbers returns TR55, table 2-2a, p. 2-5, average antecedent condition.
func CurveNumbers() []CurveNumber {
	return []CurveNumber{
		{"open space, good", 39, 61, 74, 80},
		{"open space, fair", 49, 69, 79, 84},
		{"open space, poor", 68, 79, 86, 89},
		{"impervious", 98, 98, 98, 98},
		{"gravel road", 76, 85, 89, 91},
		{"dirt road", 72, 82, 87, 89},
		{"residential, 1/8 acre, 65 % impervious", 77, 85, 90, 92},
		{"residential, 1/4 acre, 38 % impervious", 61, 75, 83, 87},
		{"residential, 1/3 acre, 30 % impervious", 57, 72, 81, 86},
		{"residential, 1/2 acre, 25 % impervious", 54, 70, 80, 85},
		{"residential, 1 acre, 20 % impervious", 51, 68, 79, 84},
		{"residential, 2 acres, 12 % impervious", 46, 65, 77, 82},
	}
}

// Storm24 is an NRCS 24-hour rainfall distribution.
type Storm24 string

// The four distributions.
const (
	TypeI   Storm24 = "I"
	TypeIA  Storm24 = "IA"
	TypeII  Storm24 = "II"
	TypeIII Storm24 = "III"
)

// peakRow holds log10 qu = c0 + c1 log10 Tc + c2 (log10 Tc)^2 for one Ia/P.
type peakRow struct{ ratio, c0, c1, c2 float64 }

// peakTable is TR55, appendix F, table F-1. Type II at Ia/P 0.10 was read in a copy
// of the report; the other rows are from memory and agree, to the last digit, with a
// public copy of the table.
func peakTable(s Storm24) []peakRow {
	switch s {
	case TypeI:
		return []peakRow{{0.10, 2.30550, -0.51429, -0.11750}, {0.20, 2.23537, -0.50387, -0.08929}, {0.25, 2.18219, -0.48488, -0.06589},
			{0.30, 2.10624, -0.45695, -0.02835}, {0.35, 2.00303, -0.40769, 0.01983}, {0.40, 1.87733, -0.32274, 0.05754},
			{0.45, 1.76312, -0.15644, 0.00453}, {0.50, 1.67889, -0.06930, 0}}
	case TypeIA:
		return []peakRow{{0.10, 2.03250, -0.31583, -0.13748}, {0.20, 1.91978, -0.28215, -0.07020}, {0.25, 1.83842, -0.25543, -0.02597},
			{0.30, 1.72657, -0.19826, 0.02633}, {0.50, 1.63417, -0.09100, 0}}
	case TypeII:
		return []peakRow{{0.10, 2.55323, -0.61512, -0.16403}, {0.30, 2.46532, -0.62257, -0.11657}, {0.35, 2.41896, -0.61594, -0.08820},
			{0.40, 2.36409, -0.59857, -0.05621}, {0.45, 2.29238, -0.57005, -0.02281}, {0.50, 2.20282, -0.51599, -0.01259}}
	case TypeIII:
		return []peakRow{{0.10, 2.47317, -0.51848, -0.17083}, {0.30, 2.39628, -0.51202, -0.13245}, {0.35, 2.35477, -0.49735, -0.11985},
			{0.40, 2.30726, -0.46541, -0.11094}, {0.45, 2.24876, -0.41314, -0.11508}, {0.50, 2.17772, -0.36803, -0.09525}}
	}
	return nil
}

// GraphicalPeak is the peak of the graphical method with its steps.
type GraphicalPeak struct {
	Runoff   hydro.Depth
	Ia       hydro.Depth
	Ratio    float64 // Ia/P, held to 0.1 .. 0.5
	UnitPeak float64 // csm/in, as the charts print it
	Flow     hydro.Flow
	Notes    []hydro.Note
}

// Graphical returns the peak of TR55's graphical method, qp = qu A Q Fp, for a
// 24-hour rain p on area a of curve number cn. Tc 6 to 600 min. Ia/P outside 0.1 to
// 0.5 is held there, as the method asks, with a note; between the table's rows qu
// is straight in Ia/P. pond is the factor Fp, 0.5 to 1 (1: no ponds or swamps).
func Graphical(a unit.Area, cn float64, p hydro.Depth, tc hydro.Duration, storm Storm24, pond float64) (GraphicalPeak, error) {
	rows := peakTable(storm)
	if rows == nil {
		return GraphicalPeak{}, fmt.Errorf("runoff: no rainfall distribution %q; I, IA, II and III are known", string(storm))
	}
	if err := hydro.Check("area", float64(a), hydro.Positive, 1e10, "m2", ""); err != nil {
		return GraphicalPeak{}, err
	}
	if err := hydro.Check("time of concentration", float64(tc), 6, 600, "min", source.TR55); err != nil {
		return GraphicalPeak{}, err
	}
	if err := hydro.Check("pond and swamp factor", pond, 0.5, 1, "", source.TR55); err != nil {
		return GraphicalPeak{}, err
	}
	if err := hydro.Check("24-hour rainfall depth", float64(p), hydro.Positive, 5000, "mm", ""); err != nil {
		return GraphicalPeak{}, err
	}
	q, notes, err := RunoffDepth(p, cn)
	if err != nil {
		return GraphicalPeak{}, err
	}
	_, ia, _ := Retention(cn)
	g := GraphicalPeak{Runoff: q, Ia: ia, Ratio: float64(ia / p), Notes: notes}
	if g.Ratio < 0.1 || g.Ratio > 0.5 {
		held := math.Min(math.Max(g.Ratio, 0.1), 0.5)
		g.Notes = append(g.Notes, hydro.Note{Code: "ratio_held", Source: source.TR55,
			Text: fmt.Sprintf("Ia/P of %.3f is outside 0.1 to 0.5 and held at %.1f", g.Ratio, held)})
		g.Ratio = held
	}
	qu := func(r peakRow) float64 {
		l := math.Log10(tc.Hours())
		return math.Pow(10, r.c0+r.c1*l+r.c2*l*l)
	}
	for i := 1; i < len(rows); i++ {
		if g.Ratio <= rows[i].ratio {
			a, b := rows[i-1], rows[i]
			f := (g.Ratio - a.ratio) / (b.ratio - a.ratio)
			g.UnitPeak = qu(a) + f*(qu(b)-qu(a))
			break
		}
	}
	const squareMile = 2589988.110336
	g.Flow = hydro.FlowCFS(g.UnitPeak * float64(a) / squareMile * q.Inches() * pond)
	return g, nil
}
