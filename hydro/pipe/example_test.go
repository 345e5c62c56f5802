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

// The working of the same pipe, line by line; Text prints all of it with sources.
func ExamplePipe_Sheet() {
	s, err := pipe.Pipe{Diameter: 4 * unit.Inch, N: 0.012}.Sheet(hydro.FlowGPM(60), 0.01)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, st := range s.Steps {
		fmt.Printf("%s = %s = %.4g\n", st.Result.Symbol, st.Formula, st.Result.Value)
	}
	fmt.Println(s.Check())
	// Output:
	// Af = pi/4*D^2 = 0.008107
	// Qf = Af/n*(D/4)^(2/3)*S^(1/2) = 0.005838
	// u = Q/Qf = 0.6484
	// theta = 2*acos(1-2*y/D) = 3.489
	// A = D^2*(theta-sin(theta))/8 = 0.004941
	// P = D*theta/2 = 0.1772
	// R = A/P = 0.02788
	// Q = A/n*R^(2/3)*S^(1/2) = 0.003785
	// fill = y/D = 0.5864
	// V = Q/A = 0.7662
	// tau = gamma*R*S = 2.735
	// <nil>
}
