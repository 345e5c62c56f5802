package storage_test

import (
	"fmt"

	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/storage"
)

// A trench beside an inlet that surcharges for half an hour, without and with a
// backwater valve.
func ExampleRun() {
	store, err := storage.Tabulate(
		storage.Stone{Length: 20, Width: 0.45, BottomUp: 100, BottomDown: 99.9, Height: 0.5, Voids: 0.4, Pipes: 0.009},
		storage.Bore{Diameter: 0.1016, Count: 1, Length: 20, InvertUp: 100.05, InvertDown: 99.95},
	)
	if err != nil {
		fmt.Println(err)
		return
	}
	trench := storage.Trench{Store: store,
		Outlet: storage.Connection{Pipes: pipe.Alike(1, pipe.Pipe{Diameter: 0.1016, N: 0.012}), Length: 6, InvertUp: 99.95, InvertDown: 99.89, Losses: 2.5},
		Spills: []storage.Spill{{Name: "basin", Rim: 100.8, Edge: 1.2}},
	}
	storm := storage.Case{
		Inflow:  hydro.Hydrograph{{At: 0, Flow: 0}, {At: 10, Flow: 0.002}, {At: 20, Flow: 0}},
		Outside: []storage.LevelAt{{At: 0, Level: 99.5}, {At: 8, Level: 100.3}, {At: 30, Level: 100.3}, {At: 45, Level: 99.5}},
		End:     120, Step: 1.0 / 60,
	}
	for _, valve := range []bool{false, true} {
		trench.Outlet.Valve = valve
		r, err := storage.Run(trench, storm)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("valve %v: usable %.2f of %.2f m3, peak %.2f m, from the sewer %.2f m3\n",
			valve, float64(r.UsableVolume), float64(r.VoidVolume), float64(r.PeakLevel), float64(r.FromSewer))
	}
	// Output:
	// valve false: usable 0.52 of 1.89 m3, peak 100.31 m, from the sewer 0.90 m3
	// valve true: usable 1.89 of 1.89 m3, peak 100.25 m, from the sewer 0.00 m3
}
