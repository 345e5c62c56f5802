package rain

// Design storms: rain laid out in time.

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fallwright/hydro"
)

// Storm is a rain in equal steps from time zero.
type Storm struct {
	Step  hydro.Duration
	Rates []hydro.Intensity // over each step
	Notes []hydro.Note
}

// Check returns an error for a storm without steps or with a rate that is no rain.
func (s Storm) Check() error {
	if err := hydro.Check("storm step", float64(s.Step), hydro.Positive, 1e5, "min", ""); err != nil {
		return err
	}
	if err := hydro.Check("number of storm steps", float64(len(s.Rates)), 1, 1e6, "", ""); err != nil {
		return err
	}
	for _, i := range s.Rates {
		if err := hydro.Check("rainfall intensity", float64(i), 0, 2000, "mm/h", ""); err != nil {
			return err
		}
	}
	return nil
}

// Depth returns the rain that falls in all.
func (s Storm) Depth() hydro.Depth {
	sum := hydro.Depth(0)
	for _, i := range s.Rates {
		sum += hydro.Depth(float64(i) * s.Step.Hours())
	}
	return sum
}

// Uniform returns a burst of even intensity: the rainfall's own for the total
// duration. step must go into the total a whole number of times.
func Uniform(r Rainfall, t hydro.ReturnPeriod, total, step hydro.Duration) (Storm, error) {
	n, err := steps(r, total, step)
	if err != nil {
		return Storm{}, err
	}
	i, notes, err := r.Intensity(total, t)
	if err != nil {
		return Storm{}, err
	}
	s := Storm{Step: step, Rates: make([]hydro.Intensity, n), Notes: notes}
	for k := range s.Rates {
		s.Rates[k] = i
	}
	return s, nil
}

// AlternatingBlock returns the storm whose heaviest stretch of every duration, in
// whole steps, is the rainfall's own for that duration: the depths of rising
// duration are differenced, the largest block stands in the middle and the rest
// alternate after and before it. Where a table's own increments do not fall (its
// roundings and its breaks) a stretch can be a few percent heavier, never lighter.
// Source: Chow1988, section 14.4. Where the rainfall is held at its ends the notes
// say so, once each.
func AlternatingBlock(r Rainfall, t hydro.ReturnPeriod, total, step hydro.Duration) (Storm, error) {
	n, err := steps(r, total, step)
	if err != nil {
		return Storm{}, err
	}
	s := Storm{Step: step, Rates: make([]hydro.Intensity, n)}
	seen := map[string]bool{}
	last := 0.0
	blocks := make([]float64, n) // mm
	for k := 1; k <= n; k++ {
		d := hydro.Duration(k) * step
		i, notes, err := r.Intensity(d, t)
		if err != nil {
			return Storm{}, err
		}
		for _, note := range notes {
			if !seen[note.Code] {
				seen[note.Code] = true
				s.Notes = append(s.Notes, note)
			}
		}
		depth := float64(i) * d.Hours()
		// A fitted curve may let the total depth sink for long durations: no rain then.
		blocks[k-1] = math.Max(0, depth-last)
		last = math.Max(last, depth)
	}
	slices.SortFunc(blocks, func(a, b float64) int { return cmp.Compare(b, a) })
	for k, block := range blocks {
		// middle, +1, -1, +2, -2, ...
		offset := (k + 1) / 2
		if k%2 == 0 {
			offset = -offset
		}
		s.Rates[(n-1)/2+offset] = hydro.Intensity(block / step.Hours())
	}
	return s, nil
}

func steps(r Rainfall, total, step hydro.Duration) (int, error) {
	if r == nil {
		return 0, fmt.Errorf("rain: no rainfall is given")
	}
	if err := hydro.Check("storm step", float64(step), hydro.Positive, 1e5, "min", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("storm duration", float64(total), float64(step), 1e5, "min", ""); err != nil {
		return 0, err
	}
	n := math.Round(float64(total / step))
	if math.Abs(n*float64(step)-float64(total)) > 1e-9*float64(total) {
		return 0, fmt.Errorf("rain: a storm of %g min is no whole number of steps of %g min", total, step)
	}
	return int(n), hydro.Check("number of storm steps", n, 1, 1e6, "", "")
}
