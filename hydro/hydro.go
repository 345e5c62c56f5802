// Package hydro holds the hydraulic quantities that its rooms share, in SI.
//
// hydro never sees a polygon: its rooms take lengths, areas, elevations and
// slopes as numbers (package geo/unit) and give flows, levels and sizes. It is
// pure: no files, network, clock, logger, randomness or changing package
// variables. Every formula names its source by a key of package hydro/source.
package hydro

import "fmt"

// Flow is a discharge in cubic metres a second.
type Flow float64

// GPM returns the flow in US gallons a minute (231 cubic inches, exact).
func (q Flow) GPM() float64 { return float64(q) / 0.003785411784 * 60 }

// CFS returns the flow in cubic feet a second.
func (q Flow) CFS() float64 { return float64(q) / (0.3048 * 0.3048 * 0.3048) }

// Volume is a volume of water in cubic metres.
type Volume float64

// Velocity is a mean velocity in metres a second.
type Velocity float64

// Intensity is a rainfall rate in millimetres an hour.
type Intensity float64

// InchesPerHour returns the rate in inches an hour.
func (i Intensity) InchesPerHour() float64 { return float64(i) / 25.4 }

// Duration is a time in minutes, the unit of rainfall tables.
type Duration float64

// ReturnPeriod is an average recurrence interval in years.
type ReturnPeriod float64

// Roughness is Manning's n.
type Roughness float64

// RangeError says that a quantity lies outside the range in which a formula
// holds. Source is the key of the source that sets the range, or empty where
// the range is one of arithmetic (a negative length).
type RangeError struct {
	Quantity string
	Got      float64
	Min, Max float64
	Unit     string
	Source   string
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("hydro: %s is %g %s, outside %g to %g", e.Quantity, e.Got, e.Unit, e.Min, e.Max)
}
