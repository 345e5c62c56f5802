package gradeline_test

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro/gradeline"
	"fallwright/hydro/pipe"
)

// A roof line into a storm inlet whose water stands 0.35 m over the pipe's invert.
func ExampleSolve() {
	level, rim := unit.Elevation(100.35), unit.Elevation(100.90)
	line := pipe.Alike(1, pipe.Pipe{Diameter: 0.1524, N: 0.012})
	r, err := gradeline.Solve(gradeline.Network{
		Nodes: []gradeline.Node{
			{Name: "inlet"},
			{Name: "wye"},
			{Name: "basin", Kind: gradeline.Open, Rim: &rim, Entrance: 0.5},
			{Name: "downspout", Kind: gradeline.Open, Entrance: 0.5},
		},
		Runs: []gradeline.Run{
			{Name: "trunk", From: 1, To: 0, Pipes: line, Length: 20, InvertUp: 100.20, InvertDown: 100, Flow: 0.012},
			{Name: "yard", From: 2, To: 1, Pipes: line, Length: 10, InvertUp: 100.30, InvertDown: 100.20, Flow: 0.007},
			{Name: "roof", From: 3, To: 1, Pipes: line, Length: 8, InvertUp: 100.40, InvertDown: 100.20, Flow: 0.005, JoinAngle: 45},
		},
		Level: &level,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("trunk %v; basin at %.2f m, %.2f m under its rim\n", r.Runs[0].Regime, float64(r.Nodes[2].Level), float64(*r.Nodes[2].Freeboard))
	// Output:
	// trunk full; basin at 100.50 m, 0.40 m under its rim
}
