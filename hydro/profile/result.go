package profile

// What the solver answers.

import (
	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Verdict is the answer in a word.
type Verdict uint8

const (
	// Arrives at or above the tie-in with every rule kept.
	Arrives Verdict = iota
	// Short: at the least slope the water arrives below the tie-in; Margin
	// says by how much.
	Short
	// Broken: it arrives, but only by breaking a rule (Breaches).
	Broken
)

func (v Verdict) String() string {
	return [...]string{"arrives", "short", "broken"}[v]
}

// Kind names a rule or what binds a profile.
type Kind uint8

const (
	// Free: nothing binds.
	Free Kind = iota
	// Cover: the least cover at the station.
	Cover
	// StartLevel: what an end of the reach is held to, by Start or ArriveAtMost.
	StartLevel
	// Depth: the greatest depth at the station.
	Depth
	// Utility: a crossing.
	Utility
	// Slope: the least slope, or the greatest.
	Slope
	// Step: drop or match at the upper end of the reach.
	Step
	// TieIn: the level at the outlet.
	TieIn
	// Capacity: the flow is more than the full pipe carries.
	Capacity
)

func (k Kind) String() string {
	return [...]string{"free", "cover", "start", "depth", "utility", "slope", "drop", "tie-in", "capacity"}[k]
}

// Binding is the place that holds the profile down: from there the falls run
// to the outlet at their least. Reach is an index of Problem.Reaches.
type Binding struct {
	Kind  Kind
	Reach int
	At    unit.Length
	// Fall needed from there to the outlet at the slopes used.
	Fall unit.Length
	// Length of the binding way from there to the outlet.
	Length unit.Length
}

// Breach is a rule that the rounded profile breaks: by how much Measured is on
// the wrong side of Required (metres; slope as m/m; flow as m3/s).
type Breach struct {
	Kind               Kind
	Reach              int
	At                 unit.Length
	Measured, Required float64
	// Laid: the reach lies already, and this is a fault of its own.
	Laid bool
}

// Laid is a reach of the result.
type Laid struct {
	Pipe                 int // index of the stock
	InvertUp, InvertDown unit.Elevation
	Slope                unit.Slope
	// Floor is the least slope that this reach had to have with this pipe: the
	// greatest of the target (where it is reached, else the least), the size's
	// own and the one that carries the flow.
	Floor     unit.Slope
	Flow      hydro.Flow
	Tc        hydro.Duration  // of the areas that make the flow; 0 for stated flow alone
	Intensity hydro.Intensity // at Tc; 0 for stated flow alone
	CA        unit.Area       // C times area that has arrived by Tc: it makes the flow
	Travel    hydro.Duration  // through the reach
	Capacity  hydro.Flow      // full, all pipes
	Fill      float64         // depth of flow over inside diameter
	Velocity  hydro.Velocity  // at the flow
	Shear     hydro.Pressure  // mean boundary shear at the flow
	SlowWater bool            // velocity under the rules' least
	Cover     unit.Length     // least
	CoverAt   unit.Length     // station of it
	Depth     unit.Length     // greatest, ground to trench bottom
	DepthAt   unit.Length     // station of it
	Cost      float64
}

// Result of a Problem. It may be handed to Solve again; its memory is reused.
type Result struct {
	Verdict Verdict
	Reaches []Laid
	// Cost of the rounded profile; ExactCost before rounding. Exact says that
	// the profile before rounding arrives with every rule kept: it differs from
	// Verdict where the last millimetres are lost to rounding.
	Cost, ExactCost float64
	Exact           bool
	// Arrival is the lowest invert that arrives at the outlet, Margin how far
	// it lies above the tie-in; negative: short.
	Arrival unit.Elevation
	Margin  unit.Length
	// Target: every reach has the target slope or more, those that lie already
	// left out. Slope is the least slope used, Common the share of the reaches that bind.
	Target bool
	Slope  unit.Slope
	Common unit.Slope
	// Binds says what holds the profile down.
	Binds    Binding
	Breaches []Breach
	// Rounds of flow and size; Settled says that nothing changed in the last.
	Rounds  int
	Settled bool
}
