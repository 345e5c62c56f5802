package pipe

// What a line delivers at its end and what it still carries along: leakage at
// joints, and the shear that moves grit and leaf litter.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Grit names a particle that must be carried, with its size.
type Grit struct {
	Name string
	Size unit.Length // median diameter of a quartz-like grain
}

// RoofGrit and Litter are stated assumptions, not measurements: shingle granules
// are of the order of a millimetre and a half; leaf litter that has become
// water-logged and gritty is taken as needing the shear of a 3 mm grain.
var (
	SandGrain = Grit{"1 mm sand", 0.001}
	RoofGrit  = Grit{"roof granules, about 1.5 mm", 0.0015}
	Litter    = Grit{"wet leaf litter with grit, taken as 3 mm", 0.003}
)

// CriticalShear returns the boundary shear that keeps a grain moving:
// tau_c = 0.867 d^0.277 Pa, d in mm, 0.1 to 10 mm. Source: ASCE60.
func CriticalShear(size unit.Length) (hydro.Pressure, error) {
	mm := float64(size) * 1000
	if err := hydro.Check("grain size", mm, 0.1, 10, "mm", source.ASCE60); err != nil {
		return 0, err
	}
	return hydro.Pressure(0.867 * math.Pow(mm, 0.277)), nil
}

// Delivery is what arrives at the end of a line.
type Delivery struct {
	In, Out  hydro.Flow
	Lost     float64 // fraction of In that left through the joints
	AtEnd    State   // how the last pipe runs with what is left
	Required hydro.Pressure
	Carried  bool // the grit still moves at the end
}

// Deliver returns what a line with the given number of joints delivers of flow
// q when each joint loses the fraction leak of what reaches it, and whether grit
// is still carried at the end: Out = In (1 - leak)^joints. leak is an assumption
// that the caller states; a sealed joint has zero. Why joints on a roof line are
// sealed: the water lost soaks the trench and the grit stays behind in the pipe.
// leak from 0 to 1, joints not negative; else *hydro.RangeError.
func (p Pipe) Deliver(q hydro.Flow, s unit.Slope, joints int, leak float64, grit Grit) (Delivery, error) {
	if err := hydro.Check("leak fraction of a joint", leak, 0, 1, "", ""); err != nil {
		return Delivery{}, err
	}
	if err := hydro.Check("number of joints", float64(joints), 0, 1e6, "", ""); err != nil {
		return Delivery{}, err
	}
	tau, err := CriticalShear(grit.Size)
	if err != nil {
		return Delivery{}, err
	}
	left := math.Pow(1-leak, float64(joints))
	st, err := p.State(q*hydro.Flow(left), s)
	if err != nil {
		return Delivery{}, err
	}
	return Delivery{In: q, Out: q * hydro.Flow(left), Lost: 1 - left, AtEnd: st, Required: tau, Carried: st.Shear >= tau}, nil
}
