package pipe_test

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
)

// A 4 in smooth pipe at 1 % with the water of two downspouts.
func ExamplePipe_State() {
	p := pipe.Pipe{Diameter: 4 * unit.Inch, N: 0.012}
	full, err := p.Capacity(0.01)
	if err != nil {
		fmt.Println(err)
		return
	}
	st, err := p.State(hydro.FlowGPM(60), 0.01)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("full %.0f gpm; 60 gpm runs %.0f %% deep at %.2f m/s, shear %.1f Pa\n",
		full.GPM(), 100*st.FillRatio, float64(st.Velocity), float64(st.Shear))
	// Output:
	// full 93 gpm; 60 gpm runs 59 % deep at 0.77 m/s, shear 2.7 Pa
}
