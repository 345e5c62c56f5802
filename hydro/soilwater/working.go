package soilwater

// Calculation sheets of the soil's answers.

import (
	"math"
	"strconv"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

func quantity(symbol, name string, v float64, u string) hydro.Quantity {
	return hydro.Quantity{Symbol: symbol, Name: name, Value: v, Unit: u}
}

// Sheet works what the drains take while the water table stands h midway, and the
// time in which it falls to h1; see Discharge and Drawdown.
func (d Drains) Sheet(h, h1 unit.Length, mu float64) (hydro.Sheet, error) {
	q, err := d.Discharge(h)
	if err != nil {
		return hydro.Sheet{}, err
	}
	t, err := d.Drawdown(h, h1, mu)
	if err != nil {
		return hydro.Sheet{}, err
	}
	de := equivalent(float64(d.Spacing), float64(d.Below), float64(d.Radius))
	L, D := quantity("L", "drain spacing", float64(d.Spacing), "m"), quantity("d", "equivalent depth", de, "m")
	Kb, Ka := quantity("Kb", "conductivity below the drains", float64(d.Under), "m/h"), quantity("Ka", "conductivity above the drains", float64(d.Above), "m/h")
	H := quantity("h", "water table midway over the drains", float64(h), "m")
	s := hydro.Sheet{Subject: "Parallel drains in soil"}
	s.Add(hydro.Step{Title: "Equivalent depth of the soil below the drains", Given: []hydro.Quantity{L, quantity("D", "true depth to the impermeable base", float64(d.Below), "m"), quantity("r0", "drain radius", float64(d.Radius), "m")},
		Result: D, Source: source.MolenWesseling, Remark: "(pi L/8)/(ln(L/(pi r0)) + F), F the sum over odd n of 4 e^(-2nx)/(n(1-e^(-2nx))), x = 2 pi D/L; at most D"})
	s.Add(hydro.Step{Title: "Discharge by Hooghoudt", Formula: "1000*(8*Kb*d*h + 4*Ka*h^2)/L^2", Given: []hydro.Quantity{Kb, D, H, Ka, L}, Result: quantity("q", "discharge over the ground", float64(q), "mm/h"), Source: source.Hooghoudt, Place: "chapter 8"})
	m, h1q := quantity("mu", "drainable porosity", mu, ""), quantity("h1", "water table at the end", float64(h1), "m")
	T := quantity("t", "time of fall", t.Hours(), "h")
	if de == 0 {
		s.Add(hydro.Step{Title: "Time of fall, drains on the base", Formula: "mu*L^2/(4*Ka)*(1/h1 - 1/h)", Given: []hydro.Quantity{m, L, Ka, h1q, H}, Result: T, Source: source.Bouwer1963})
		return s, nil
	}
	E := quantity("e", "2 Kb d/Ka", 2*float64(d.Under)*de/float64(d.Above), "m")
	s.Add(hydro.Step{Title: "Ratio of flow below to above", Formula: "2*Kb*d/Ka", Given: []hydro.Quantity{Kb, D, Ka}, Result: E, Source: source.Definition})
	s.Add(hydro.Step{Title: "Time of fall", Formula: "mu*L^2/(8*Kb*d)*(ln(h/(e+h)) - ln(h1/(e+h1)))", Given: []hydro.Quantity{m, L, Kb, D, H, E, h1q}, Result: T, Source: source.Bouwer1963})
	return s, nil
}

// PondSheet works the likely hours of Drain with its steps; the ends of the range
// stand in the remark of the last.
func PondSheet(p Pond, d FrenchDrain, soil Range[hydro.Conductivity], limit float64, grate *hydro.Flow) (hydro.Sheet, error) {
	a, err := Drain(p, d, soil, limit, grate)
	if err != nil {
		return hydro.Sheet{}, err
	}
	s := hydro.Sheet{Subject: "Hours in which a pond goes through a sodded stone trench", Notes: a.Notes}
	w, l := quantity("w", "width of the trench", float64(d.Width), "m"), quantity("l", "length under the pond", float64(d.Length), "m")
	i := quantity("i", "intake of the cap, likely", float64(d.Intake.Likely), "mm/h")
	most := quantity("most", "capacity of pipe and holes", float64(d.Most), "m3/s")
	through := math.Min(float64(d.Width)*float64(d.Length)*float64(d.Intake.Likely)/1000, float64(d.Most)*3600)
	qt := quantity("qt", "through the trench", through, "m3/h")
	qs := quantity("qs", "into the soil under the pond", float64(p.Area)*float64(soil.Likely), "m3/h")
	s.Add(hydro.Step{Title: "Through the sod over the trench", Formula: "min(w*l*i/1000, most*3600)", Given: []hydro.Quantity{w, l, i, most}, Result: qt, Source: source.YardPractice})
	s.Add(hydro.Step{Title: "Into the soil", Formula: "A*K", Given: []hydro.Quantity{quantity("A", "area of the pond", float64(p.Area), "m2"), quantity("K", "conductivity of the soil, likely", float64(soil.Likely), "m/h")}, Result: qs, Source: source.Rawls1982})
	if through+qs.Value > 0 {
		s.Add(hydro.Step{Title: "Hours", Formula: "V/(qt + qs)", Given: []hydro.Quantity{quantity("V", "volume of the pond", float64(p.Volume), "m3"), qt, qs}, Result: quantity("t", "hours, likely", a.Hours.Likely, "h"), Source: source.Definition,
			Remark: "range " + span(a.Hours) + " h: " + string(a.Verdict)})
	}
	if a.Instead != nil {
		s.Add(hydro.Step{Title: "A grate and solid pipe in its place", Formula: "V/Q/3600", Given: []hydro.Quantity{quantity("V", "volume of the pond", float64(p.Volume), "m3"), quantity("Q", "capacity of grate and pipe", float64(*grate), "m3/s")},
			Result: quantity("tg", "hours", *a.Instead, "h"), Source: source.Definition})
	}
	return s, nil
}

func span(r Range[float64]) string {
	return strconv.FormatFloat(r.Low, 'g', 3, 64) + " to " + strconv.FormatFloat(r.High, 'g', 3, 64)
}
