// Package hydro holds the hydraulic quantities that its rooms share, in SI.
//
// hydro never sees a polygon: its rooms take lengths, areas, elevations and
// slopes as numbers (package geo/unit) and give flows, levels and sizes. It is
// pure: no files, network, clock, logger, randomness or changing package
// variables. Every formula names its source by a key of package hydro/source.
//
// The results are planning estimates. Sizing that the public relies on belongs
// to a licensed engineer, and local rules stand above every default (Cautions).
package hydro

import (
	"fmt"
	"math"
)

// Flow is a discharge in cubic metres a second.
type Flow float64

// GPM returns the flow in US gallons a minute (231 cubic inches, exact).
func (q Flow) GPM() float64 { return float64(q) / 0.003785411784 * 60 }

// CFS returns the flow in cubic feet a second.
func (q Flow) CFS() float64 { return float64(q) / (0.3048 * 0.3048 * 0.3048) }

// FlowCFS returns a flow given in cubic feet a second.
func FlowCFS(q float64) Flow { return Flow(q * 0.3048 * 0.3048 * 0.3048) }

// FlowGPM returns a flow given in US gallons a minute.
func FlowGPM(q float64) Flow { return Flow(q * 0.003785411784 / 60) }

// Volume is a volume of water in cubic metres.
type Volume float64

// Velocity is a mean velocity in metres a second.
type Velocity float64

// Depth is a depth of rain or runoff over an area, in millimetres. A depth of
// water in a pipe or over a grate is a unit.Length.
type Depth float64

// Inches returns the depth in inches.
func (d Depth) Inches() float64 { return float64(d) / 25.4 }

// DepthInches returns a depth given in inches.
func DepthInches(in float64) Depth { return Depth(in * 25.4) }

// Intensity is a rainfall rate in millimetres an hour.
type Intensity float64

// InchesPerHour returns the rate in inches an hour.
func (i Intensity) InchesPerHour() float64 { return float64(i) / 25.4 }

// Duration is a time in minutes, the unit of rainfall tables.
type Duration float64

// Hours returns the duration in hours.
func (d Duration) Hours() float64 { return float64(d) / 60 }

// ReturnPeriod is an average recurrence interval in years.
type ReturnPeriod float64

// Roughness is Manning's n.
type Roughness float64

// Pressure is a stress in pascals; the boundary shear of flowing water is one.
type Pressure float64

// Physical constants that every room uses alike.
const (
	Gravity    = 9.81   // m/s2
	UnitWeight = 9810.0 // N/m3, water
)

// Note is something that a result rests on and its reader must know: a table
// held at its end, a default that was taken, a limit of the method. It changes
// no number by itself. Code is stable; Text is for people.
type Note struct {
	Code   string
	Text   string
	Source string // key of hydro/source, or empty
}

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

// Check returns a *RangeError when got lies outside min to max or is no number.
// The ends are inside; Positive is the least value for what must exceed zero.
func Check(quantity string, got, min, max float64, unit, source string) error {
	if got >= min && got <= max { // false for NaN
		return nil
	}
	return &RangeError{quantity, got, min, max, unit, source}
}

// Bounds for Check where arithmetic sets no better ones.
const (
	Positive = math.SmallestNonzeroFloat64
	Huge     = math.MaxFloat64
)

// Cautions are the sentences that stand beside every hydraulic result.
func Cautions() []string {
	return []string{
		"This is a planning estimate, worked from the inputs stated beside it.",
		"Sizing that the public relies on belongs to a licensed engineer.",
		"Local rules and the adopted code, by edition, stand above every default.",
	}
}
