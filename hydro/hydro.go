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

// Conductivity is a saturated hydraulic conductivity of soil in metres an hour.
type Conductivity float64

// InchesPerHour returns the conductivity in inches an hour.
func (k Conductivity) InchesPerHour() float64 { return float64(k) / 0.0254 }

// FlowAt is one ordinate of a hydrograph: the flow at a time, minutes from the
// start of the storm.
type FlowAt struct {
	At   Duration
	Flow Flow
}

// Hydrograph is a flow over time, straight between its ordinates, zero before the
// first and after the last; times rise.
type Hydrograph []FlowAt

// At returns the flow at a time.
func (h Hydrograph) At(t Duration) Flow {
	for i := 1; i < len(h); i++ {
		if a, b := h[i-1], h[i]; t >= a.At && t <= b.At {
			return a.Flow + (b.Flow-a.Flow)*Flow((t-a.At)/(b.At-a.At))
		}
	}
	return 0
}

// Volume returns the volume under the hydrograph.
func (h Hydrograph) Volume() Volume {
	v := 0.0
	for i := 1; i < len(h); i++ {
		v += float64(h[i].At-h[i-1].At) * 60 * float64(h[i].Flow+h[i-1].Flow) / 2
	}
	return Volume(v)
}

// Check returns an error for a hydrograph whose times do not rise or whose flows
// are negative or no numbers. An empty one is a flow of zero.
func (h Hydrograph) Check() error {
	for i, o := range h {
		least := -Huge
		if i > 0 {
			least = math.Nextafter(float64(h[i-1].At), Huge)
		}
		if err := Check("time of a hydrograph (must rise)", float64(o.At), least, 1e7, "min", ""); err != nil {
			return err
		}
		if err := Check("flow of a hydrograph", float64(o.Flow), 0, 1e6, "m3/s", ""); err != nil {
			return err
		}
	}
	return nil
}

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
	got := fmt.Sprintf("hydro: %s is %g", e.Quantity, e.Got)
	if e.Unit != "" {
		got += " " + e.Unit
	}
	switch {
	case e.Min == Positive && e.Max == Huge:
		return got + "; it must be a number above 0"
	case e.Min == Positive:
		return fmt.Sprintf("%s; it must be above 0 and at most %g", got, e.Max)
	case e.Max == Huge:
		return fmt.Sprintf("%s; it must be a number of at least %g", got, e.Min)
	}
	return fmt.Sprintf("%s, outside %g to %g", got, e.Min, e.Max)
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
