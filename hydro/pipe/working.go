package pipe

// The calculation sheet of a pipe.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Sheet returns the working of flow q in the pipe at slope s: capacity just full,
// fill, velocity and shear, so that each line can be followed by hand. The depth is
// found by trial; the sheet shows that it carries the flow.
func (p Pipe) Sheet(q hydro.Flow, s unit.Slope) (hydro.Sheet, error) {
	st, err := p.State(q, s)
	if err != nil {
		return hydro.Sheet{}, err
	}
	c, err := p.Capacity(s)
	if err != nil {
		return hydro.Sheet{}, err
	}
	d, n, sl := float64(p.Diameter), float64(p.N), float64(s)
	D := hydro.Quantity{Symbol: "D", Name: "inside diameter", Value: d, Unit: "m"}
	N := hydro.Quantity{Symbol: "n", Name: "Manning roughness", Value: n}
	S := hydro.Quantity{Symbol: "S", Name: "slope", Value: sl, Unit: "m/m"}
	Q := hydro.Quantity{Symbol: "Q", Name: "flow", Value: float64(q), Unit: "m3/s"}
	sheet := hydro.Sheet{Subject: "Pipe flow"}
	af := math.Pi / 4 * d * d
	A := hydro.Quantity{Symbol: "Af", Name: "area, full", Value: af, Unit: "m2"}
	Qf := hydro.Quantity{Symbol: "Qf", Name: "capacity just full", Value: float64(c), Unit: "m3/s"}
	sheet.Add(hydro.Step{Title: "Area of the full pipe", Formula: "pi/4*D^2", Given: []hydro.Quantity{D}, Result: A, Source: source.Definition})
	sheet.Add(hydro.Step{Title: "Capacity just full, by Manning with R = D/4", Formula: "Af/n*(D/4)^(2/3)*S^(1/2)",
		Given: []hydro.Quantity{A, N, D, S}, Result: Qf, Source: source.HEC22, Place: "equation 7-1"})
	sheet.Add(hydro.Step{Title: "Share of the capacity that is used", Formula: "Q/Qf", Given: []hydro.Quantity{Q, Qf},
		Result: hydro.Quantity{Symbol: "u", Name: "flow over capacity", Value: float64(q / c)}, Source: source.Definition})
	V := hydro.Quantity{Symbol: "V", Name: "mean velocity", Value: float64(st.Velocity), Unit: "m/s"}
	tau := hydro.Quantity{Symbol: "tau", Name: "mean boundary shear", Value: float64(st.Shear), Unit: "Pa"}
	gamma := hydro.Quantity{Symbol: "gamma", Name: "unit weight of water", Value: hydro.UnitWeight, Unit: "N/m3"}
	switch {
	case q == 0:
		sheet.Notes = append(sheet.Notes, hydro.Note{Code: "no_flow", Text: "no flow: the pipe is dry"})
	case st.Surcharged:
		Sf := hydro.Quantity{Symbol: "Sf", Name: "friction slope", Value: float64(st.EnergySlope), Unit: "m/m"}
		sheet.Add(hydro.Step{Title: "The flow is above capacity: the pipe runs under pressure at a steeper friction slope", Formula: "S*(Q/Qf)^2",
			Given: []hydro.Quantity{S, Q, Qf}, Result: Sf, Source: source.HEC22, Place: "equation 7-2"})
		sheet.Add(hydro.Step{Title: "Velocity", Formula: "Q/Af", Given: []hydro.Quantity{Q, A}, Result: V, Source: source.Definition})
		sheet.Add(hydro.Step{Title: "Boundary shear", Formula: "gamma*D/4*Sf", Given: []hydro.Quantity{gamma, D, Sf}, Result: tau, Source: source.MerrittShear})
		sheet.Notes = append(sheet.Notes, hydro.Note{Code: NoteTooSmall, Text: fmt.Sprintf("the flow is %.2f of the capacity", float64(q/c)), Source: source.HEC22})
	default:
		y := float64(st.Depth)
		sec := section(d, y)
		Y := hydro.Quantity{Symbol: "y", Name: "depth, found by trial", Value: y, Unit: "m"}
		th := hydro.Quantity{Symbol: "theta", Name: "central angle of the wetted arc", Value: angle(y / d), Unit: "rad"}
		a := hydro.Quantity{Symbol: "A", Name: "wetted area", Value: float64(sec.Area), Unit: "m2"}
		w := hydro.Quantity{Symbol: "P", Name: "wetted perimeter", Value: float64(sec.WettedPerimeter), Unit: "m"}
		r := hydro.Quantity{Symbol: "R", Name: "hydraulic radius", Value: float64(sec.HydraulicRadius), Unit: "m"}
		sheet.Add(hydro.Step{Title: "Central angle at the depth of uniform flow", Formula: "2*acos(1-2*y/D)", Given: []hydro.Quantity{Y, D}, Result: th, Source: source.Chow1959, Place: "appendix A"})
		sheet.Add(hydro.Step{Title: "Wetted area", Formula: "D^2*(theta-sin(theta))/8", Given: []hydro.Quantity{D, th}, Result: a, Source: source.Chow1959, Place: "appendix A"})
		sheet.Add(hydro.Step{Title: "Wetted perimeter", Formula: "D*theta/2", Given: []hydro.Quantity{D, th}, Result: w, Source: source.Chow1959, Place: "appendix A"})
		sheet.Add(hydro.Step{Title: "Hydraulic radius", Formula: "A/P", Given: []hydro.Quantity{a, w}, Result: r, Source: source.Definition})
		sheet.Add(hydro.Step{Title: "Flow at that depth: it is the design flow, so the trial depth is right", Formula: "A/n*R^(2/3)*S^(1/2)",
			Given: []hydro.Quantity{a, N, r, S}, Result: Q, Source: source.HEC22, Place: "equation 7-1"})
		sheet.Add(hydro.Step{Title: "Fill", Formula: "y/D", Given: []hydro.Quantity{Y, D}, Result: hydro.Quantity{Symbol: "fill", Name: "depth over diameter", Value: st.FillRatio}, Source: source.Definition})
		sheet.Add(hydro.Step{Title: "Velocity", Formula: "Q/A", Given: []hydro.Quantity{Q, a}, Result: V, Source: source.Definition})
		sheet.Add(hydro.Step{Title: "Boundary shear", Formula: "gamma*R*S", Given: []hydro.Quantity{gamma, r, S}, Result: tau, Source: source.MerrittShear})
	}
	return sheet, nil
}

// Sheet returns the working of flow q shared by the pipes at slope s: each pipe's
// share, by the common depth, and its own sheet. Pipes alike are shown once.
func (b Barrels) Sheet(q hydro.Flow, s unit.Slope) (hydro.Sheet, error) {
	qs, _, err := b.Share(q, s)
	if err != nil {
		return hydro.Sheet{}, err
	}
	if len(b) == 1 {
		return b[0].Sheet(q, s)
	}
	sheet := hydro.Sheet{Subject: fmt.Sprintf("Flow in %d pipes side by side", len(b))}
	total := hydro.Quantity{Symbol: "Qt", Name: "flow of all", Value: float64(q), Unit: "m3/s"}
	sum, given := "", []hydro.Quantity(nil)
	for i, one := range qs {
		sym := fmt.Sprintf("Q%d", i+1)
		given = append(given, hydro.Quantity{Symbol: sym, Name: fmt.Sprintf("share of pipe %d", i+1), Value: float64(one), Unit: "m3/s"})
		if sum != "" {
			sum += " + "
		}
		sum += sym
	}
	sheet.Add(hydro.Step{Title: "Shares: inverts level, one water level in all, found by trial", Formula: sum, Given: given, Result: total, Source: source.HEC22})
	for i, p := range b {
		if i > 0 && p == b[i-1] {
			continue
		}
		one, err := p.Sheet(qs[i], s)
		if err != nil {
			return hydro.Sheet{}, err
		}
		for k := range one.Steps {
			one.Steps[k].Title = fmt.Sprintf("Pipe %d: %s", i+1, one.Steps[k].Title)
		}
		sheet.Join(one)
	}
	return sheet, nil
}
