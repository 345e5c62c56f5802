package profile_test

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/profile"
)

// Two downspouts, a wye, one run to an inlet whose tie-in stands at 98.90 m.
func ExampleSolver_Solve() {
	line := func(l, up, down float64) []profile.Station {
		return []profile.Station{{At: 0, Ground: unit.Elevation(up)}, {At: unit.Length(l), Ground: unit.Elevation(down)}}
	}
	roof := []profile.Inflow{{CA: 45, Tc: 5}}
	p := profile.Problem{
		Reaches: []profile.Reach{
			{Down: 2, Length: 6, Ground: line(6, 100, 99.9), Inflow: roof, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
			{Down: 2, Length: 9, Ground: line(9, 100, 99.9), Inflow: roof, Count: 1, TrenchPrice: 1, DepthPrice: 1.2},
			{Down: profile.Outlet, Length: 25, Ground: line(25, 99.9, 99.8), Count: 1, TrenchPrice: 1, DepthPrice: 1.2, Drop: 0.1},
		},
		End: profile.End{TieIn: 98.9},
		Rules: profile.Rules{
			TargetSlope: 0.01, LeastSlope: 0.005, LeastCover: 0.3048, GreatestDepth: 1.2192,
			Bedding: 0.0508, LeastVelocity: 0.6,
		},
		Stock:     []profile.Pipe{{Inside: 0.1016, Outside: 0.1071, N: 0.012, Price: 0.3}, {Inside: 0.1524, Outside: 0.1594, N: 0.012, Price: 0.46}},
		Intensity: func(hydro.Duration) hydro.Intensity { return 180 },
	}
	var out profile.Result
	if err := profile.NewSolver().Solve(&p, &out); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%v, %.0f mm above the tie-in, bound by %v of reach %d\n", out.Verdict, float64(out.Margin)*1000, out.Binds.Kind, out.Binds.Reach)
	for i, r := range out.Reaches {
		fmt.Printf("reach %d: %.3f to %.3f m, %.2f %%, %.0f mm pipe, %.1f of %.1f l/s\n", i, r.InvertUp, r.InvertDown,
			float64(r.Slope)*100, float64(p.Stock[r.Pipe].Inside)*1000, float64(r.Flow)*1000, float64(r.Capacity)*1000)
	}
	// Output:
	// arrives, 340 mm above the tie-in, bound by cover of reach 2
	// reach 0: 99.590 to 99.490 m, 1.67 %, 102 mm pipe, 2.2 of 7.5 l/s
	// reach 1: 99.590 to 99.490 m, 1.11 %, 102 mm pipe, 2.2 of 6.2 l/s
	// reach 2: 99.490 to 99.240 m, 1.00 %, 102 mm pipe, 4.5 of 5.8 l/s
}
