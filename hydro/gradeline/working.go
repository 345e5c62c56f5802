package gradeline

// The calculation sheet of one run's grade line.

import (
	"fmt"
	"math"

	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
)

// Sheet works the grade line of run i of a solved network: the level below it, the
// friction or the drawn curve, the losses, and the level of the node above. A curve
// of gradually varied flow is shown by its ends and the energy balance between
// them: what falls along the run is the friction.
func Sheet(n Network, r Result, i int) (hydro.Sheet, error) {
	if err := hydro.Check("run of the sheet", float64(i), 0, float64(len(n.Runs)-1), "", ""); err != nil {
		return hydro.Sheet{}, err
	}
	if len(r.Runs) != len(n.Runs) || len(r.Nodes) != len(n.Nodes) {
		return hydro.Sheet{}, fmt.Errorf("gradeline: the result is of another network")
	}
	run, l := n.Runs[i], r.Runs[i]
	s := sheet{hydro.Sheet{Subject: fmt.Sprintf("Grade line of run %s, node %s to %s", n.runName(i), n.nodeName(run.From), n.nodeName(run.To))}}
	q := func(symbol, name string, value float64, unit string) hydro.Quantity {
		return hydro.Quantity{Symbol: symbol, Name: name, Value: value, Unit: unit}
	}
	zd, zu := q("zd", "invert at the lower end", float64(run.InvertDown), "m"), q("zu", "invert at the upper end", float64(run.InvertUp), "m")
	L := q("L", "length", float64(run.Length), "m")
	yd, yu := q("yd", "depth inside the lower end", float64(l.DepthDown), "m"), q("yu", "depth inside the upper end, with losses along the run", float64(l.DepthUp), "m")
	hd, hu := q("hd", "grade line at the lower end", float64(l.Down), "m"), q("hu", "grade line at the upper end", float64(l.Up), "m")
	s.Add(hydro.Step{Title: "Slope", Formula: "(zu-zd)/L", Given: []hydro.Quantity{zu, zd, L}, Result: q("S", "slope", float64(run.Slope()), "m/m"), Source: source.Definition})
	yc := q("yc", "critical depth", float64(l.CriticalDepth), "m")
	s.Add(hydro.Step{Title: "Critical depth of the run's flow", Result: yc, Source: source.Chow1959, Place: "section 4-3", Remark: "solves Q^2 T = g A^3 by trial"})
	if l.NormalDepth != nil {
		s.Add(hydro.Step{Title: "Depth of uniform flow", Result: q("yn", "normal depth", float64(*l.NormalDepth), "m"), Source: source.Chow1959, Place: "section 6-4", Remark: "solves Manning's equation by trial"})
	}
	s.Add(hydro.Step{Title: "Grade line at the lower end: the water of the node below, or the pipe's own control where that is higher", Formula: "zd + yd",
		Given: []hydro.Quantity{zd, yd}, Result: hd, Source: source.HEC22, Place: "section 7.1.4", Remark: "the run flows " + l.Regime.String()})
	loss := q("hl", "losses at bends and fittings along the run", float64(l.Losses), "m")
	switch {
	case l.Regime == Full && run.Flow > 0 && len(run.Pipes) > 0:
		s.full(run, l, q, L, hd, hu, loss)
	case run.Flow > 0:
		s2 := hydro.Quantity{Symbol: "hf", Name: "friction along the run", Value: energy(float64(l.Up)-float64(l.Losses), float64(l.VelocityUp)) - energy(float64(l.Down), float64(l.VelocityDown)), Unit: "m"}
		s.Add(hydro.Step{Title: "Energy line: its rise along the run is the friction of the curve", Formula: "hu - hl + Vu^2/(2*g) - hd - Vd^2/(2*g)",
			Given:  []hydro.Quantity{hu, loss, q("Vu", "velocity at the upper end", float64(l.VelocityUp), "m/s"), hd, q("Vd", "velocity at the lower end", float64(l.VelocityDown), "m/s"), q("g", "gravity", hydro.Gravity, "m/s2")},
			Result: s2, Source: source.Chow1959, Place: "chapter 10, gradually varied flow"})
	}
	s.Add(hydro.Step{Title: "Grade line at the upper end", Formula: "zu + yu", Given: []hydro.Quantity{zu, yu}, Result: hu, Source: source.HEC22, Place: "section 7"})
	above := r.Nodes[run.From]
	level := q("h", "level of node "+n.nodeName(run.From), float64(above.Level), "m")
	if n.Nodes[run.From].Kind == Open {
		add := q("he", "entrance loss and velocity head", float64(above.Entrance), "m")
		ke := n.Nodes[run.From].Entrance
		v := float64(l.VelocityUp)
		if w := (1 + ke) * v * v / (2 * hydro.Gravity); math.Abs(w-float64(above.Entrance)) < 1e-9 {
			s.Add(hydro.Step{Title: "Entrance from still water", Formula: "(1 + Ke)*Vu^2/(2*g)", Given: []hydro.Quantity{q("Ke", "entrance loss coefficient", ke, ""), q("Vu", "velocity at the upper end", v, "m/s"), q("g", "gravity", hydro.Gravity, "m/s2")},
				Result: add, Source: source.HDS5, Place: "table C-2"})
		} else {
			s.Add(hydro.Step{Title: "Entrance from still water: what the flow asks to enter at critical depth governs", Result: add, Source: source.HDS5, Remark: "yc + (1 + Ke) Vc^2/2g less the depth at the upper end"})
		}
		s.Add(hydro.Step{Title: "Level in the basin above", Formula: "hu + he", Given: []hydro.Quantity{hu, add}, Result: level, Source: source.HEC22})
	} else {
		add := q("hj", "rise at the junction", float64(above.Junction), "m")
		s.Add(hydro.Step{Title: "Rise at the joint by momentum", Result: add, Source: source.HEC22, Place: "equation 7-10", Remark: "(Qo Vo - sum of Q V cos(angle))/(g (Ao + Ai)/2), not below zero"})
		s.Add(hydro.Step{Title: "Level at the joint above", Formula: "hu + hj", Given: []hydro.Quantity{hu, add}, Result: level, Source: source.HEC22})
	}
	if above.Freeboard != nil {
		rim := *n.Nodes[run.From].Rim
		s.Add(hydro.Step{Title: "Freeboard under the rim; negative: water comes out", Formula: "rim - h", Given: []hydro.Quantity{q("rim", "rim", float64(rim), "m"), level},
			Result: q("f", "freeboard", float64(*above.Freeboard), "m"), Source: source.Definition})
	}
	return s.Sheet, nil
}

type sheet struct{ hydro.Sheet }

func energy(level, v float64) float64 { return level + v*v/(2*hydro.Gravity) }

// full shows the friction of a run under pressure, by the conveyance of its pipes.
func (s *sheet) full(run Run, l RunLevel, q func(symbol, name string, value float64, unit string) hydro.Quantity, L, hd, hu, loss hydro.Quantity) {
	sum, given := "", []hydro.Quantity(nil)
	k := 0.0
	for j, p := range run.Pipes {
		sec, _ := pipe.Circle(p.Diameter, p.Diameter)
		kj := sec.Conveyance(p.N)
		k += kj
		sym := fmt.Sprintf("K%d", j+1)
		Kj := q(sym, fmt.Sprintf("conveyance of pipe %d, full", j+1), kj, "m3/s")
		s.Add(hydro.Step{Title: fmt.Sprintf("Conveyance of pipe %d", j+1), Formula: "pi/4*D^2*(D/4)^(2/3)/n",
			Given: []hydro.Quantity{q("D", "inside diameter", float64(p.Diameter), "m"), q("n", "Manning roughness", float64(p.N), "")}, Result: Kj, Source: source.HEC22, Place: "equation 7-1"})
		if sum != "" {
			sum += " + "
		}
		sum += sym
		given = append(given, Kj)
	}
	K, Q := q("K", "conveyance of the run", k, "m3/s"), q("Q", "flow", float64(run.Flow), "m3/s")
	s.Add(hydro.Step{Title: "Conveyance of the run", Formula: sum, Given: given, Result: K, Source: source.Definition})
	sf := float64(run.Flow) / k * float64(run.Flow) / k
	Sf := q("Sf", "friction slope", sf, "m/m")
	s.Add(hydro.Step{Title: "Friction slope under pressure", Formula: "(Q/K)^2", Given: []hydro.Quantity{Q, K}, Result: Sf, Source: source.HEC22, Place: "equation 7-2"})
	s.Add(hydro.Step{Title: "Grade line at the upper end from the lower", Formula: "hd + Sf*L + hl", Given: []hydro.Quantity{hd, Sf, L, loss}, Result: hu, Source: source.HEC22, Place: "section 7"})
}
