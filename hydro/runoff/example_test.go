package runoff_test

import (
	"fmt"

	"fallwright/hydro/rain"
	"fallwright/hydro/runoff"
)

// A roof and a lawn under a 10-year curve: the lawn is slow and thin, so the roof
// alone at its short time gives the larger flow.
func ExamplePeakOf() {
	curve, err := rain.NewCurve(3000, 10, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := runoff.PeakOf([]runoff.Part{
		{Surface: runoff.Surface{Area: 100, C: 0.95}, Tc: 5},
		{Surface: runoff.Surface{Area: 300, C: 0.15}, Tc: 30},
	}, curve, 10, 5, runoff.DefaultFactors())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f L/s at %g min, partial area: %v\n", float64(p.Flow)*1000, float64(p.Tc), p.Partial)
	// Output:
	// 5.28 L/s at 5 min, partial area: true
}
