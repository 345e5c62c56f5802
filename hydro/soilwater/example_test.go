package soilwater_test

import (
	"fmt"

	"fallwright/hydro"
	"fallwright/hydro/soilwater"
)

// Three cubic metres stand on a clay lawn over 10 m of sodded stone trench.
func ExampleDrain() {
	clay, _ := soilwater.TextureNamed("clay")
	grate := hydro.Flow(0.005)
	a, err := soilwater.Drain(soilwater.Pond{Area: 60, Volume: 3},
		soilwater.FrenchDrain{Length: 10, Width: 0.3, Intake: soilwater.Cap(), Most: 0.01}, clay.Conductivity, 24, &grate)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.0f h (%.0f to %.0f); a grate takes %.1f h\n", a.Verdict, a.Hours.Likely, a.Hours.Low, a.Hours.High, *a.Instead)
	// Output:
	// wrong tool: 27 h (12 to 68); a grate takes 0.2 h
}

// What 20 m of trench take from both sides of a wet loam, with the soil's range.
func ExampleOver() {
	loam, _ := soilwater.TextureNamed("loam")
	q, err := soilwater.Over(loam.Conductivity, func(k hydro.Conductivity) (hydro.Flow, error) {
		return soilwater.Trench(k, 1.0, 0.2, 5, 20, 2)
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f gpm, %.2f to %.2f\n", q.Likely.GPM(), q.Low.GPM(), q.High.GPM())
	// Output:
	// 0.22 gpm, 0.06 to 0.86
}
