package rain

// Depths of short durations from depths of other durations, and of one return
// period from two others: the published weights.

import (
	"fmt"

	"fallwright/hydro"
)

// Hydro35Ten returns the 10-minute depth: 0.41 P5 + 0.59 P15. Source: Hydro35,
// equation 7.
func Hydro35Ten(p5, p15 hydro.Depth) (hydro.Depth, error) { return weigh(0.41, p5, 0.59, p15) }

// Hydro35Thirty returns the 30-minute depth: 0.51 P15 + 0.49 P60. Source:
// Hydro35, equation 8.
func Hydro35Thirty(p15, p60 hydro.Depth) (hydro.Depth, error) { return weigh(0.51, p15, 0.49, p60) }

// Hydro35Return returns the depth of 5, 10, 25 or 50 years from those of 2 and 100
// years, same duration. Other return periods have no published weights and are an
// error. Source: Hydro35, equations 9 to 12.
func Hydro35Return(p2, p100 hydro.Depth, t hydro.ReturnPeriod) (hydro.Depth, error) {
	switch t {
	case 2:
		return p2, nil
	case 5:
		return weigh(0.674, p2, 0.278, p100)
	case 10:
		return weigh(0.496, p2, 0.449, p100)
	case 25:
		return weigh(0.293, p2, 0.669, p100)
	case 50:
		return weigh(0.146, p2, 0.835, p100)
	case 100:
		return p100, nil
	}
	return 0, fmt.Errorf("rain: no published weights for %g years; 2, 5, 10, 25, 50 and 100 have them", t)
}

// FifteenFromThirty returns the 15-minute depth, 0.72 of the 30-minute depth: the
// short form of plumbing practice. Source: NSPC2015.
func FifteenFromThirty(p30 hydro.Depth) (hydro.Depth, error) { return weigh(0.72, p30, 0, 0) }

func weigh(a float64, p hydro.Depth, b float64, q hydro.Depth) (hydro.Depth, error) {
	for _, x := range []hydro.Depth{p, q} {
		if err := hydro.Check("rainfall depth", float64(x), 0, 10000, "mm", ""); err != nil {
			return 0, err
		}
	}
	return hydro.Depth(a)*p + hydro.Depth(b)*q, nil
}
