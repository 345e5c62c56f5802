package inlet_test

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/inlet"
)

// A 12 in square grate in a lawn, half clogged, taking 60 gpm.
func ExampleGrate_DepthFor() {
	g, err := inlet.Rectangle(unit.Foot, unit.Foot, 0.5, 2, 2, 0.5)
	if err != nil {
		fmt.Println(err)
		return
	}
	d, control, err := g.DepthFor(hydro.FlowGPM(60))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f mm over the grate, as a %s\n", float64(d)*1000, control)
	// Output:
	// 24 mm over the grate, as a weir
}
