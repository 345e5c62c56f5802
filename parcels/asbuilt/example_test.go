package asbuilt_test

import (
	"fmt"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/asbuilt"
)

// A run of 15 m planned at 1 % and shot at four places; the third lies 80 mm too
// low.
func ExampleAssess() {
	up, down := unit.Elevation(99.60), unit.Elevation(99.45)
	plan := &parcels.Plan{Runs: []parcels.Run{{
		ID: "R1", From: "D1", To: "I1", Line: orb.LineString{{0, 0}, {15, 0}}, Length: 15,
		Diameter: 101.6, OutsideDiameter: 107.1, PipeCount: 1, Pipe: "solid", InvertUp: &up, InvertDown: &down,
	}}}
	var shots []asbuilt.Shot
	for i, z := range []unit.Elevation{99.60, 99.55, 99.42, 99.45} {
		shots = append(shots, asbuilt.Shot{ID: fmt.Sprint(i + 1), At: orb.Point{float64(5 * i), 0}, Z: &z})
	}
	r, err := asbuilt.Assess(asbuilt.Input{Plan: plan, Criteria: parcels.DefaultCriteria(), Shots: shots})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Verdict)
	for _, f := range r.Findings {
		fmt.Printf("%s %s: %s\n", f.Severity, f.Code, f.Message)
	}
	// Output:
	// not_feasible
	// stop belly: Run R1 sags under grade: 30 mm of water, 5.1 litres, stay from 8.8 m to 15.0 m, deepest at 10.0 m, held by shot 4.
}
