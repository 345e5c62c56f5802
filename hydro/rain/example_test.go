package rain_test

import (
	"fmt"

	"fallwright/hydro"
	"fallwright/hydro/rain"
	"fallwright/hydro/source"
)

// A small table, asked between its rows and below its shortest duration.
func ExampleTable_Intensity() {
	table, err := rain.FromRows([]rain.Row{
		{Duration: 5, Return: 10, Depth: hydro.DepthInches(0.647)},
		{Duration: 10, Return: 10, Depth: hydro.DepthInches(0.999)},
		{Duration: 15, Return: 10, Depth: hydro.DepthInches(1.23)},
	}, rain.Partial, source.NOAA14)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, d := range []hydro.Duration{7, 3} {
		i, notes, err := table.Intensity(d, 10)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%g min: %.1f mm/h", d, float64(i))
		for _, n := range notes {
			fmt.Print(" (", n.Code, ")")
		}
		fmt.Println()
	}
	// Output:
	// 7 min: 173.9 mm/h
	// 3 min: 197.2 mm/h (duration_below_table)
}
