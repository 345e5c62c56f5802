package answer

// An existing drain of known inverts, looked into: what drains to it and where it
// ends are read from the site where the drain itself does not say.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/runoff"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
	"fallwright/parcels/document"
	"fallwright/parcels/planner"
)

// meets is how near an intake to a drain's line, and its end to an inlet, must
// be to belong to it: half a basin and the reading of a map (common practice).
const meets = 1.0 * unit.Metre

// look judges an existing drain whose inverts are known; nil for any other.
func look(s *parcels.Site, d *parcels.Drain) (*asbuilt.OldReport, error) {
	if d.Status != "existing" {
		return nil, nil
	}
	o := asbuilt.Old{ID: d.ID, Line: d.Line, Z: d.Z, Diameter: 0.1016, Count: 1, Flow: d.Flow, Intake: d.Intake}
	var taken []string // what the input is silent on
	if len(o.Z) != len(o.Line) {
		if d.InvertUp == nil || d.InvertDown == nil {
			return nil, nil
		}
		o.Z, o.EvenGrade = evenly(d.Line, *d.InvertUp, *d.InvertDown), true
	}
	if d.Diameter != nil {
		o.Diameter = *d.Diameter
	} else {
		taken = append(taken, "its diameter is not given; 101.6 mm (4 in) is taken")
	}
	if d.N != nil {
		o.N = *d.N
	}
	if o.Flow == nil {
		q, n, err := reaching(s, d)
		if err != nil {
			return nil, err
		}
		if n > 0 {
			o.Flow = &q
			taken = append(taken, fmt.Sprintf("its flow is that of the %d intakes on its line", n))
		}
	}
	o.Ends, o.Water = d.End == "open", d.OutletLevel
	if d.End == "" {
		end := d.Line[len(d.Line)-1]
		at := ""
		at, o.Water = endOf(s, end, o.Water)
		o.Ends, o.EndUnknown = at != "", at == ""
		if at != "" {
			taken = append(taken, "it ends at "+at)
		}
	}
	r, err := asbuilt.LookInto(o, s.Criteria)
	if err != nil {
		return nil, err
	}
	for _, t := range taken {
		r.Findings = append(r.Findings, parcels.Finding{Code: asbuilt.CodeUnknown, Severity: parcels.Note, Feature: d.ID, Message: "Of drain " + d.ID + ": " + t + "."})
	}
	r.Findings = document.Findings(s.Frame, r.Findings)
	return r, nil
}

// evenly are the levels at the vertices of a line that falls evenly.
func evenly(l orb.LineString, up, down unit.Elevation) []unit.Elevation {
	at := make([]float64, len(l))
	for i := 1; i < len(l); i++ {
		at[i] = at[i-1] + math.Hypot(l[i][0]-l[i-1][0], l[i][1]-l[i-1][1])
	}
	z := make([]unit.Elevation, len(l))
	for i := range l {
		f := 0.0
		if all := at[len(l)-1]; all > 0 {
			f = at[i] / all
		}
		z[i] = up - unit.Elevation(f*float64(up-down))
	}
	return z
}

// reaching is the design flow of the intakes that stand on a drain's line, and
// how many they are; 0 where none has a known flow.
func reaching(s *parcels.Site, d *parcels.Drain) (hydro.Flow, int, error) {
	c := s.Criteria
	var parts []runoff.Part
	stated, n := hydro.Flow(0), 0
	for i := range s.Intakes {
		in := &s.Intakes[i]
		if off, _ := shape.PointLine(in.At, d.Line); off > meets {
			continue
		}
		if in.Flow != nil {
			stated += *in.Flow
			n++
			continue
		}
		had := len(parts)
		add := func(a *unit.Area, own *float64, def float64, tc hydro.Duration) {
			if a == nil || *a <= 0 {
				return
			}
			if own != nil {
				def = *own
			}
			if in.Tc != nil {
				tc = max(tc, *in.Tc)
			}
			parts = append(parts, runoff.Part{Surface: runoff.Surface{C: def, Area: *a}, Tc: tc})
		}
		add(in.RoofArea, in.RoofC, c.Runoff.RoofC, c.Storm.RoofMin)
		add(in.YardArea, in.YardC, c.Runoff.YardC, c.Storm.YardMin)
		if len(parts) > had {
			n++
		}
	}
	if len(parts) == 0 {
		return stated, n, nil
	}
	r, err := planner.Rain(s)
	if err != nil || r == nil {
		return 0, 0, err
	}
	table := map[float64]float64{}
	for k, v := range c.Runoff.FrequencyFactor {
		table[float64(k)] = v
	}
	p, err := runoff.PeakOf(parts, r, c.Storm.ReturnYears, 0, table)
	if err != nil {
		return 0, 0, &parcels.Error{Kind: parcels.Failed, Op: "answer: flow to drain " + d.ID, Err: err}
	}
	return p.Flow + stated, n, nil
}

// endOf is what a drain ends in, in words, with the level of the water there
// where the site states one: the highest of the design storm. Empty: nothing.
func endOf(s *parcels.Site, at orb.Point, water *unit.Elevation) (string, *unit.Elevation) {
	near := func(p orb.Point) bool { return math.Hypot(p[0]-at[0], p[1]-at[1]) <= float64(meets) }
	for i := range s.Inlets {
		in := &s.Inlets[i]
		if !near(in.At) {
			continue
		}
		curve := in.TailwaterCurve
		if c, ok := in.TailwaterByReturn[s.Criteria.Storm.ReturnYears]; ok {
			curve = c
		}
		for k := range curve {
			if water == nil || curve[k].Level > *water {
				water = parcels.Num(curve[k].Level)
			}
		}
		if water == nil {
			water = in.Tailwater
		}
		return "inlet " + in.ID, water
	}
	for i := range s.Outlets {
		o := &s.Outlets[i]
		if near(o.At) {
			if water == nil {
				water = o.Level
			}
			return "outlet " + o.ID, water
		}
	}
	for i := range s.Swales {
		w := &s.Swales[i]
		if off, _ := shape.PointLine(at, w.Line); off <= meets {
			return "a swale", water
		}
	}
	return "", water
}
