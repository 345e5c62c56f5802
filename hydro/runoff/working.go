package runoff

// The calculation sheet of a rational peak.

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/rain"
	"fallwright/hydro/source"
)

// PeakSheet works PeakOf with its steps: each part's C A, the frequency factor, the
// time of concentration that governs, the intensity and the flow.
func PeakSheet(parts []Part, r rain.Rainfall, t hydro.ReturnPeriod, least hydro.Duration, factors map[float64]float64) (hydro.Sheet, error) {
	p, err := PeakOf(parts, r, t, least, factors)
	if err != nil {
		return hydro.Sheet{}, err
	}
	s := hydro.Sheet{Subject: "Peak flow by the rational method", Notes: p.Notes}
	Cf := hydro.Quantity{Symbol: "Cf", Name: fmt.Sprintf("frequency factor, %g years", t), Value: p.Factor}
	s.Add(hydro.Step{Title: "Frequency factor of the return period", Result: Cf, Source: source.Dhakal2013, Place: "table 3, or the criteria's own"})
	tc := hydro.Quantity{Symbol: "tc", Name: "time of concentration that governs", Value: float64(p.Tc), Unit: "min"}
	remark := "the longest of the parts, held up to the least that the rules allow"
	if p.Partial {
		remark = "the slower ground is left out: without it the flow is larger (partial area)"
	}
	s.Add(hydro.Step{Title: "Time of concentration", Result: tc, Source: source.HEC22, Place: "section 3.2.2", Remark: remark})
	sum, given := "", []hydro.Quantity(nil)
	n := 0
	for _, part := range parts {
		if max(part.Tc, least) > p.Tc {
			continue
		}
		n++
		sym := fmt.Sprintf("CA%d", n)
		ca := hydro.Quantity{Symbol: sym, Name: fmt.Sprintf("C A of part %d", n), Value: Factored(part.C, p.Factor) * (1 - part.LeafLoss) * float64(part.Area), Unit: "m2"}
		s.Add(hydro.Step{Title: fmt.Sprintf("Part %d: coefficient, held at 1, times area", n), Formula: "min(1, C*Cf)*(1-loss)*A",
			Given: []hydro.Quantity{{Symbol: "C", Name: "runoff coefficient", Value: part.C}, Cf,
				{Symbol: "loss", Name: "share lost over a leaf guard", Value: part.LeafLoss}, {Symbol: "A", Name: "area", Value: float64(part.Area), Unit: "m2"}},
			Result: ca, Source: source.HEC22, Place: "equation 3-2"})
		if sum != "" {
			sum += " + "
		}
		sum += sym
		given = append(given, ca)
	}
	CA := hydro.Quantity{Symbol: "CA", Name: "C A of all that is in by tc", Value: float64(p.CA), Unit: "m2"}
	s.Add(hydro.Step{Title: "Sum of C A", Formula: sum, Given: given, Result: CA, Source: source.HEC22, Place: "equation 3-2"})
	i := hydro.Quantity{Symbol: "i", Name: fmt.Sprintf("intensity for tc, %g years", t), Value: float64(p.Intensity), Unit: "mm/h"}
	s.Add(intensityStep(r, p, t, i))
	s.Add(hydro.Step{Title: "Peak flow", Formula: "CA*i/3600000", Given: []hydro.Quantity{CA, i},
		Result: hydro.Quantity{Symbol: "Q", Name: "peak flow", Value: float64(p.Flow), Unit: "m3/s"}, Source: source.HEC22, Place: "equation 3-1; unit constant exact"})
	return s, nil
}

// intensityStep shows how the rainfall came to its answer, where that can be shown.
func intensityStep(r rain.Rainfall, p Peak, t hydro.ReturnPeriod, i hydro.Quantity) hydro.Step {
	st := hydro.Step{Title: "Rainfall intensity", Result: i, Source: source.NOAA14, Remark: "from the site's rainfall for the time of concentration"}
	switch k := r.(type) {
	case rain.Curve:
		st.Source, st.Place = source.Definition, "fitted curve of the site"
		if k.Source != "" {
			st.Source = k.Source
		}
		if len(p.Notes) == 0 || float64(k.From) <= float64(p.Tc) && (k.To == 0 || p.Tc <= k.To) {
			st.Formula = "a/(tc + b)^c"
			st.Given = []hydro.Quantity{{Symbol: "a", Name: "coefficient", Value: k.A, Unit: "mm/h"}, {Symbol: "b", Name: "coefficient", Value: k.B, Unit: "min"},
				{Symbol: "c", Name: "exponent", Value: k.C}, {Symbol: "tc", Name: "duration", Value: float64(p.Tc), Unit: "min"}}
		}
	case rain.Single:
		st.Source, st.Remark = source.Definition, "one stated intensity"
	case *rain.Table:
		if k.Source != "" {
			st.Source = k.Source
		}
		d1, d2, p1, p2, ok := k.Around(p.Tc, t)
		if ok {
			st.Title = "Rainfall intensity: depth straight in the logarithms between two rows, over the duration"
			st.Formula = "60/tc*P1*(P2/P1)^(ln(tc/t1)/ln(t2/t1))"
			st.Given = []hydro.Quantity{{Symbol: "tc", Name: "duration", Value: float64(p.Tc), Unit: "min"}, {Symbol: "t1", Name: "row below", Value: float64(d1), Unit: "min"}, {Symbol: "P1", Name: "its depth", Value: float64(p1), Unit: "mm"},
				{Symbol: "t2", Name: "row above", Value: float64(d2), Unit: "min"}, {Symbol: "P2", Name: "its depth", Value: float64(p2), Unit: "mm"}}
		}
	}
	return st
}

// RunFlow is what a plan states of the water in one run.
type RunFlow struct {
	RoofCA, YardCA unit.Area // factored C times area, summed over what is upstream
	Tc             hydro.Duration
	Intensity      hydro.Intensity
	Stated         hydro.Flow // of intakes that were given a flow in place of areas
}

// Sheet works the flow of the run: Q = (CA of roofs + CA of yards) i + stated flow.
func (r RunFlow) Sheet() (hydro.Sheet, error) {
	for _, e := range []error{
		hydro.Check("C A of the roofs", float64(r.RoofCA), 0, 1e10, "m2", ""),
		hydro.Check("C A of the yards", float64(r.YardCA), 0, 1e10, "m2", ""),
		hydro.Check("time of concentration", float64(r.Tc), 0, 1e5, "min", ""),
		hydro.Check("rainfall intensity", float64(r.Intensity), 0, 2000, "mm/h", ""),
		hydro.Check("stated flow", float64(r.Stated), 0, 1e6, "m3/s", ""),
	} {
		if e != nil {
			return hydro.Sheet{}, e
		}
	}
	q := func(symbol, name string, v float64, u string) hydro.Quantity {
		return hydro.Quantity{Symbol: symbol, Name: name, Value: v, Unit: u}
	}
	roof, yard := q("CAr", "factored C A of the roofs upstream", float64(r.RoofCA), "m2"), q("CAy", "factored C A of the yards upstream", float64(r.YardCA), "m2")
	ca := q("CA", "C A upstream", float64(r.RoofCA+r.YardCA), "m2")
	i, st := q("i", "intensity for tc", float64(r.Intensity), "mm/h"), q("Qs", "flow stated for intakes", float64(r.Stated), "m3/s")
	s := hydro.Sheet{Subject: "Flow of a run"}
	s.Add(hydro.Step{Title: "Sum of C A", Formula: "CAr + CAy", Given: []hydro.Quantity{roof, yard}, Result: ca, Source: source.HEC22, Place: "equation 3-2"})
	s.Add(hydro.Step{Title: "Time of concentration, the longest of what is upstream", Result: q("tc", "time of concentration", float64(r.Tc), "min"), Source: source.HEC22, Place: "section 3.2.2"})
	s.Add(hydro.Step{Title: "Rainfall intensity for it", Result: i, Source: source.HEC22, Remark: "from the site's rainfall"})
	s.Add(hydro.Step{Title: "Design flow", Formula: "CA*i/3600000 + Qs", Given: []hydro.Quantity{ca, i, st},
		Result: q("Q", "design flow", float64(r.RoofCA+r.YardCA)*float64(r.Intensity)/3.6e6+float64(r.Stated), "m3/s"), Source: source.HEC22, Place: "equation 3-1; unit constant exact"})
	return s, nil
}

// RoofShare returns the plan area that stands for a roof under a wall: the roof and
// a share of the wall that drains on to it, 0.5 in the IPC, 0.25 in Chicago.
// Source: IPC2018, 1106.4; Chicago.
func RoofShare(roof, wall unit.Area, share float64) (unit.Area, error) {
	for _, e := range []error{
		hydro.Check("roof area", float64(roof), 0, 1e8, "m2", ""),
		hydro.Check("wall area", float64(wall), 0, 1e8, "m2", ""),
		hydro.Check("share of the wall", share, 0, 1, "", source.IPC2018),
	} {
		if e != nil {
			return 0, e
		}
	}
	return roof + unit.Area(share)*wall, nil
}
