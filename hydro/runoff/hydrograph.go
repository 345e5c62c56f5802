package runoff

// Hydrographs by the rational method, for storage.

import (
	"fmt"
	"math"
	"slices"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/rain"
	"fallwright/hydro/source"
)

// Trapezoid returns the modified rational hydrograph of one burst of duration td
// on ground with time of concentration tc: it rises for tc, stays at the peak to
// td and falls for tc. A burst shorter than tc reaches only td/tc of the peak and
// stays there to tc. peak is the flow of the burst's own intensity. Volume is
// peak times td. Source: HEC22, section 3.2.2 (modified rational).
func Trapezoid(peak hydro.Flow, td, tc hydro.Duration) (hydro.Hydrograph, error) {
	if err := hydro.Check("peak flow", float64(peak), 0, 1e6, "m3/s", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("storm duration", float64(td), hydro.Positive, 1e5, "min", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("time of concentration", float64(tc), hydro.Positive, 1e5, "min", ""); err != nil {
		return nil, err
	}
	if td < tc {
		peak *= hydro.Flow(td / tc)
	}
	h := hydro.Hydrograph{{At: 0, Flow: 0}, {At: min(td, tc), Flow: peak}}
	if td != tc {
		h = append(h, hydro.FlowAt{At: max(td, tc), Flow: peak})
	}
	return append(h, hydro.FlowAt{At: td + tc, Flow: 0}), nil
}

// Burst returns the modified rational hydrograph of area ca (factored C times
// area) for a burst of duration td out of the rainfall.
func Burst(ca unit.Area, r rain.Rainfall, t hydro.ReturnPeriod, td, tc hydro.Duration) (hydro.Hydrograph, []hydro.Note, error) {
	if r == nil {
		return nil, nil, fmt.Errorf("runoff: no rainfall is given")
	}
	i, notes, err := r.Intensity(td, t)
	if err != nil {
		return nil, nil, err
	}
	q, err := Rational(1, i, ca)
	if err != nil {
		return nil, nil, err
	}
	h, err := Trapezoid(q, td, tc)
	return h, notes, err
}

// FromStorm returns the hydrograph of area ca under a design storm: each step's
// rain runs off as a block that rises and falls in tc (the time-area diagram of a
// strip of even width). Its volume is ca times the storm's depth.
func FromStorm(ca unit.Area, s rain.Storm, tc hydro.Duration) (hydro.Hydrograph, error) {
	if err := hydro.Check("area", float64(ca), 0, 1e10, "m2", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("time of concentration", float64(tc), 0, 1e5, "min", ""); err != nil {
		return nil, err
	}
	if err := s.Check(); err != nil {
		return nil, err
	}
	// Flow at t is ca times the mean intensity of the last tc minutes (of one step
	// at least). It is straight between the ends of steps and those ends moved by tc.
	fallen := make([]float64, len(s.Rates)+1) // mm by the end of each step
	for k, i := range s.Rates {
		fallen[k+1] = fallen[k] + float64(i)*s.Step.Hours()
	}
	depth := func(t hydro.Duration) float64 {
		k := int(math.Floor(float64(t / s.Step)))
		switch {
		case t <= 0:
			return 0
		case k >= len(s.Rates):
			return fallen[len(s.Rates)]
		}
		return fallen[k] + (fallen[k+1]-fallen[k])*float64(t/s.Step-hydro.Duration(k))
	}
	window := max(tc, s.Step)
	times := make([]hydro.Duration, 0, 2*len(fallen))
	for k := range fallen {
		times = append(times, hydro.Duration(k)*s.Step, hydro.Duration(k)*s.Step+window)
	}
	slices.Sort(times)
	var h hydro.Hydrograph
	for i, t := range times {
		if i > 0 && t-times[i-1] < 1e-9*window {
			continue
		}
		mm := math.Max(0, depth(t)-depth(t-window))
		h = append(h, hydro.FlowAt{At: t, Flow: hydro.Flow(mm / 1000 * float64(ca) / (float64(window) * 60))})
	}
	h[len(h)-1].Flow = 0
	return h, nil
}

// StorageFactor returns Cs = 2 te/(2 te + td), by which a rational peak is lowered
// for the water that fills the drains: te rainfall time, td time of flow in the
// drain. Source: HABITAT1991, annex I, equation D.6.
func StorageFactor(te, td hydro.Duration) (float64, error) {
	if err := hydro.Check("rainfall time", float64(te), hydro.Positive, 1e5, "min", source.HABITAT1991); err != nil {
		return 0, err
	}
	if err := hydro.Check("time of flow in the drain", float64(td), 0, 1e5, "min", source.HABITAT1991); err != nil {
		return 0, err
	}
	return float64(2 * te / (2*te + td)), nil
}
