package storage

// The calculation sheet of a balance in time: the volumes, and that they close.

import (
	"fmt"

	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Sheet shows the volumes of a balance and that they close. The levels in time
// stand in Series; a step of it can be followed by hand with the equation of Run.
func (r Result) Sheet() hydro.Sheet {
	q := func(symbol, name string, v float64, u string) hydro.Quantity {
		return hydro.Quantity{Symbol: symbol, Name: name, Value: v, Unit: u}
	}
	in, from := q("Vi", "from the lot", float64(r.Inflow), "m3"), q("Vf", "from the structure", float64(r.FromSewer), "m3")
	to, over := q("Vt", "to the structure", float64(r.ToSewer), "m3"), q("Vo", "over the rims", float64(r.Overflow), "m3")
	soak, ds := q("Vk", "into the soil", float64(r.Soaked), "m3"), q("dS", "more in store at the end than at the start", float64(r.StoredChange), "m3")
	left := float64(r.Inflow + r.FromSewer - r.ToSewer - r.Overflow - r.Soaked - r.StoredChange)
	s := hydro.Sheet{Subject: "Storage of a backed-up line", Notes: r.Notes}
	s.Add(hydro.Step{Title: "Voids below the lowest rim", Result: q("Vv", "void volume", float64(r.VoidVolume), "m3"), Source: source.YardPractice})
	s.Add(hydro.Step{Title: "Of them, left for the lot's own water", Result: q("Vu", "usable volume", float64(r.UsableVolume), "m3"), Source: source.Definition, Remark: "without a valve, what lies above the structure's highest water"})
	s.Add(hydro.Step{Title: "Balance: what came in less what went out and what stays", Formula: "Vi + Vf - Vt - Vo - Vk - dS", Given: []hydro.Quantity{in, from, to, over, soak, ds}, Result: q("E", "left over", left, "m3"), Source: source.Chow1988, Place: "chapter 8",
		Remark: fmt.Sprintf("%.2g of what came in; 0.001 is allowed", r.Error)})
	s.Add(hydro.Step{Title: "Highest level", Result: q("hp", "peak level", float64(r.PeakLevel), "m"), Source: source.Chow1988, Place: "chapter 8", Remark: fmt.Sprintf("at %.1f min; %.0f min above the watched level", float64(r.PeakAt), float64(r.MinutesAbove))})
	return s
}
