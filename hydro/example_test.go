package hydro_test

import (
	"fmt"

	"fallwright/hydro"
	"fallwright/hydro/source"
)

// A sheet of one step, worked again from its own numbers.
func ExampleSheet_Check() {
	var s hydro.Sheet
	s.Add(hydro.Step{Title: "Roof flow", Formula: "C*i*A/3600000",
		Given:  []hydro.Quantity{{Symbol: "C", Value: 0.95}, {Symbol: "i", Value: 180, Unit: "mm/h"}, {Symbol: "A", Value: 100, Unit: "m2"}},
		Result: hydro.Quantity{Symbol: "Q", Name: "peak flow", Value: 0.00475, Unit: "m3/s"}, Source: source.HEC22})
	fmt.Println(s.Check())
	s.Steps[0].Result.Value = 0.005
	fmt.Println(s.Check())
	// Output:
	// <nil>
	// hydro: step 1 (Roof flow): C*i*A/3600000 gives 0.00475, the sheet says 0.005
}
