package inlet

// The calculation sheet of a grate.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Sheet works the depth of water over the grate for flow q: as a weir, as an
// orifice, and the larger.
func (g Grate) Sheet(q hydro.Flow) (hydro.Sheet, error) {
	d, control, err := g.DepthFor(q)
	if err != nil {
		return hydro.Sheet{}, err
	}
	clear := 1 - g.Clogging
	Q := hydro.Quantity{Symbol: "Q", Name: "flow to the grate", Value: float64(q), Unit: "m3/s"}
	k := hydro.Quantity{Symbol: "k", Name: "share clogged", Value: g.Clogging}
	P := hydro.Quantity{Symbol: "P", Name: "perimeter that takes water", Value: float64(g.Perimeter), Unit: "m"}
	A := hydro.Quantity{Symbol: "A", Name: "clear openings", Value: float64(g.Open), Unit: "m2"}
	gr := hydro.Quantity{Symbol: "g", Name: "gravity", Value: hydro.Gravity, Unit: "m/s2"}
	w := math.Pow(float64(q)/(grateWeir*clear*float64(g.Perimeter)), 2.0/3)
	o := math.Pow(float64(q)/(orificeCoeff*clear*float64(g.Open)), 2) / (2 * hydro.Gravity)
	dw := hydro.Quantity{Symbol: "dw", Name: "depth as a weir", Value: w, Unit: "m"}
	do := hydro.Quantity{Symbol: "do", Name: "depth as an orifice", Value: o, Unit: "m"}
	s := hydro.Sheet{Subject: "Water over a grate in a sag"}
	s.Add(hydro.Step{Title: "As a weir, Q = 1.66 P d^1.5", Formula: "(Q/(1.66*(1-k)*P))^(2/3)", Given: []hydro.Quantity{Q, k, P}, Result: dw, Source: source.HEC22, Place: "equation 4-26"})
	s.Add(hydro.Step{Title: "As an orifice, Q = 0.67 A (2 g d)^0.5", Formula: "(Q/(0.67*(1-k)*A))^2/(2*g)", Given: []hydro.Quantity{Q, k, A, gr}, Result: do, Source: source.HEC22, Place: "equation 4-27"})
	s.Add(hydro.Step{Title: "The larger governs", Formula: "max(dw, do)", Given: []hydro.Quantity{dw, do}, Result: hydro.Quantity{Symbol: "d", Name: "depth over the grate", Value: float64(d), Unit: "m"}, Source: source.HEC22, Remark: "the grate acts as a " + string(control)})
	return s, nil
}

// Sheet works the head balance of the emitter for flow q; see Balance.
func (e Emitter) Sheet(q hydro.Flow, lowestRim unit.Elevation) (hydro.Sheet, error) {
	b, err := e.Balance(q, lowestRim)
	if err != nil {
		return hydro.Sheet{}, err
	}
	quantity := func(symbol, name string, v float64, u string) hydro.Quantity {
		return hydro.Quantity{Symbol: symbol, Name: name, Value: v, Unit: u}
	}
	d := float64(e.Pipe.Diameter)
	a := math.Pi / 4 * d * d
	Q, D := quantity("Q", "flow", float64(q), "m3/s"), quantity("D", "inside diameter", d, "m")
	A, V := quantity("A", "area", a, "m2"), quantity("V", "velocity", float64(q)/a, "m/s")
	hf, hl := quantity("hf", "friction", float64(b.Friction), "m"), quantity("hl", "local losses", float64(b.Local), "m")
	h := quantity("h", "level asked at the upper end", float64(b.Level), "m")
	s := hydro.Sheet{Subject: "Head balance of an emitter", Notes: b.Notes}
	s.Add(hydro.Step{Title: "Area", Formula: "pi/4*D^2", Given: []hydro.Quantity{D}, Result: A, Source: source.Definition})
	s.Add(hydro.Step{Title: "Velocity in the full pipe", Formula: "Q/A", Given: []hydro.Quantity{Q, A}, Result: V, Source: source.Definition})
	s.Add(hydro.Step{Title: "Friction by Manning", Formula: "L*(V*n/(D/4)^(2/3))^2", Given: []hydro.Quantity{quantity("L", "length", float64(e.Length), "m"), V, quantity("n", "Manning roughness", float64(e.Pipe.N), ""), D}, Result: hf, Source: source.HEC22, Place: "equation 7-2"})
	s.Add(hydro.Step{Title: "Entrance, bends, riser and exit", Formula: "K*V^2/(2*g)", Given: []hydro.Quantity{quantity("K", "loss coefficients", e.Losses, ""), V, quantity("g", "gravity", hydro.Gravity, "m/s2")}, Result: hl, Source: source.HEC22, Place: "chapter 7"})
	s.Add(hydro.Step{Title: "Level asked", Formula: "rim + ho + hf + hl", Given: []hydro.Quantity{quantity("rim", "rim of the emitter", float64(e.Rim), "m"), quantity("ho", "opening head", float64(e.Opening), "m"), hf, hl}, Result: h, Source: source.HEC22})
	s.Add(hydro.Step{Title: "Margin under the lowest intake; negative: it spills there", Formula: "low - h", Given: []hydro.Quantity{quantity("low", "lowest intake rim", float64(lowestRim), "m"), h}, Result: quantity("m", "margin", float64(b.Margin), "m"), Source: source.Definition})
	return s, nil
}

// Sheet works the duty of the pump; see Duty.
func (s Sump) Sheet() (hydro.Sheet, error) {
	r, err := s.Duty()
	if err != nil {
		return hydro.Sheet{}, err
	}
	q := func(symbol, name string, v float64, u string) hydro.Quantity {
		return hydro.Quantity{Symbol: symbol, Name: name, Value: v, Unit: u}
	}
	Q, V := q("Q", "flow of the pump", float64(s.Pumped), "m3/s"), q("V", "velocity", float64(r.Velocity), "m/s")
	D := q("D", "inside diameter of the discharge line", float64(s.Pipe.Diameter), "m")
	hs, hf, hl := q("hs", "static head", float64(r.Static), "m"), q("hf", "friction", float64(r.Friction), "m"), q("hl", "local losses", float64(r.Local), "m")
	H, vol := q("H", "head", float64(r.Head), "m"), q("Vs", "volume between starts", float64(r.Volume), "m3")
	off := q("zo", "stop level", float64(s.Off), "m")
	sh := hydro.Sheet{Subject: "Duty of a sump pump", Notes: r.Notes}
	sh.Add(hydro.Step{Title: "Static head, from the stop level", Formula: "zd - zo", Given: []hydro.Quantity{q("zd", "discharge level", float64(s.Discharge), "m"), off}, Result: hs, Source: source.Definition})
	sh.Add(hydro.Step{Title: "Velocity in the discharge line", Formula: "Q/(pi/4*D^2)", Given: []hydro.Quantity{Q, D}, Result: V, Source: source.Definition})
	sh.Add(hydro.Step{Title: "Friction by Manning", Formula: "L*(V*n/(D/4)^(2/3))^2", Given: []hydro.Quantity{q("L", "length", float64(s.Length), "m"), V, q("n", "Manning roughness", float64(s.Pipe.N), ""), D}, Result: hf, Source: source.HEC22, Place: "equation 7-2"})
	sh.Add(hydro.Step{Title: "Valves, bends and exit", Formula: "K*V^2/(2*g)", Given: []hydro.Quantity{q("K", "loss coefficients", s.Losses, ""), V, q("g", "gravity", hydro.Gravity, "m/s2")}, Result: hl, Source: source.HEC22, Place: "chapter 7"})
	sh.Add(hydro.Step{Title: "Head of the pump", Formula: "hs + hf + hl", Given: []hydro.Quantity{hs, hf, hl}, Result: H, Source: source.Definition})
	sh.Add(hydro.Step{Title: "Volume between starts: the cycle is shortest at an inflow of half the pump's", Formula: "Q*60*T/4", Given: []hydro.Quantity{Q, q("T", "least time between starts", float64(s.Cycle), "min")}, Result: vol, Source: source.Definition, Remark: "from memory: the standard relation of wet wells"})
	sh.Add(hydro.Step{Title: "Start level", Formula: "zo + Vs/Ab", Given: []hydro.Quantity{off, vol, q("Ab", "plan area of the sump", float64(s.Plan), "m2")}, Result: q("zs", "start level", float64(r.On), "m"), Source: source.Definition})
	sh.Add(hydro.Step{Title: "Power from the mains", Formula: "gamma*Q*H/e", Given: []hydro.Quantity{q("gamma", "unit weight of water", hydro.UnitWeight, "N/m3"), Q, H, q("e", "efficiency", s.Wire, "")}, Result: q("W", "power", r.Power, "W"), Source: source.Definition})
	return sh, nil
}
