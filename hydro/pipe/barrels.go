package pipe

// Two or more pipes that share one flow in one trench.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Barrels are pipes side by side, inverts level, joined at both ends so that one
// water level stands in all: two alike or two unlike.
type Barrels []Pipe

// Alike returns n pipes like p.
func Alike(n int, p Pipe) Barrels {
	b := make(Barrels, max(n, 0))
	for i := range b {
		b[i] = p
	}
	return b
}

// Capacity returns the summed flow of the pipes running just full at slope s. No
// pipes is a *hydro.RangeError.
func (b Barrels) Capacity(s unit.Slope) (hydro.Flow, error) {
	if err := hydro.Check("number of pipes", float64(len(b)), 1, 100, "", ""); err != nil {
		return 0, err
	}
	var sum hydro.Flow
	for _, p := range b {
		q, err := p.Capacity(s)
		if err != nil {
			return 0, err
		}
		sum += q
	}
	return sum, nil
}

// Share splits flow q at slope s between the pipes: the depth above the common
// invert is the same in each until a smaller one runs full, and each carries its
// Manning flow at that depth, at most its full flow. Above the sum of the full
// flows every pipe is surcharged at one common friction slope. It returns the
// flow and the state of each, in order; the flows sum to q within 1e-9 of it.
func (b Barrels) Share(q hydro.Flow, s unit.Slope) ([]hydro.Flow, []State, error) {
	total, err := b.Capacity(s)
	if err != nil {
		return nil, nil, err
	}
	if err := hydro.Check("flow in the pipes", float64(q), 0, hydro.Huge, "m3/s", ""); err != nil {
		return nil, nil, err
	}
	flows := make([]float64, len(b))
	switch {
	case q >= total:
		for i, p := range b {
			c, _ := p.Capacity(s)
			flows[i] = float64(q) * float64(c/total)
		}
	default:
		lo, hi := 0.0, 0.0
		for _, p := range b {
			hi = math.Max(hi, float64(p.Diameter))
		}
		at := func(y float64) (sum float64) {
			for i, p := range b {
				d := float64(p.Diameter)
				r := 1.0
				if y < d {
					r = math.Min(1, flowRatio(math.Min(angle(y/d), thetaPeak)))
				}
				flows[i] = full(d, float64(p.N), float64(s)) * r
				sum += flows[i]
			}
			return sum
		}
		for i := 0; i < 100 && hi-lo > 1e-14*hi; i++ {
			if mid := (lo + hi) / 2; at(mid) < float64(q) {
				lo = mid
			} else {
				hi = mid
			}
		}
		if sum := at(hi); sum > 0 {
			for i := range flows {
				flows[i] *= float64(q) / sum
			}
		}
	}
	qs, states := make([]hydro.Flow, len(b)), make([]State, len(b))
	for i, p := range b {
		qs[i] = hydro.Flow(flows[i])
		states[i] = p.state(flows[i], float64(s))
	}
	return qs, states, nil
}
