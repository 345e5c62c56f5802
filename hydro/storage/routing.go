package storage

// Routing through a basin and the short estimates of detention volume.

import (
	"fmt"
	"math"
	"sort"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Stage is one row of a basin's table.
type Stage struct {
	Depth   unit.Length
	Volume  hydro.Volume
	Outflow hydro.Flow
}

// Routed is the basin at the end of a step.
type Routed struct {
	At      hydro.Duration
	Inflow  hydro.Flow
	Outflow hydro.Flow
	Depth   unit.Length
}

// Indication routes inflow ordinates dt apart through a basin by the storage
// indication method, starting at the first stage:
//
//	2 S2/dt + O2 = I1 + I2 + (2 S1/dt - O1)
//
// with outflow and depth straight in 2S/dt + O between stages. Stages rise in
// depth, volume and outflow and begin at no outflow. Water above the last stage is
// a *hydro.RangeError: extend the table. dt should be at most a fifth of the time
// to peak. Source: Chow1988, section 8.2.
func Indication(stages []Stage, inflow []hydro.Flow, dt hydro.Duration) ([]Routed, error) {
	if err := hydro.Check("number of stages", float64(len(stages)), 2, 1e6, "", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("time step", float64(dt), 1e-4, 1e5, "min", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("outflow of the first stage", float64(stages[0].Outflow), 0, 0, "m3/s", ""); err != nil {
		return nil, err
	}
	sec := float64(dt) * 60
	ind := make([]float64, len(stages))
	for i, s := range stages {
		ind[i] = 2*float64(s.Volume)/sec + float64(s.Outflow)
		if i == 0 {
			continue
		}
		p := stages[i-1]
		for _, e := range []error{
			hydro.Check("depth of a stage (must rise)", float64(s.Depth), math.Nextafter(float64(p.Depth), hydro.Huge), 1e4, "m", ""),
			hydro.Check("volume of a stage (must rise)", float64(s.Volume), math.Nextafter(float64(p.Volume), hydro.Huge), 1e9, "m3", ""),
			hydro.Check("outflow of a stage (must not fall)", float64(s.Outflow), float64(p.Outflow), 1e6, "m3/s", ""),
		} {
			if e != nil {
				return nil, e
			}
		}
	}
	out := make([]Routed, len(inflow))
	x, o, depth := ind[0], 0.0, float64(stages[0].Depth)
	for i, q := range inflow {
		if err := hydro.Check("inflow", float64(q), 0, 1e6, "m3/s", ""); err != nil {
			return nil, err
		}
		if i > 0 {
			x = float64(inflow[i-1]+q) + x - 2*o
			if err := hydro.Check("storage indication 2S/dt + O", x, 0, ind[len(ind)-1], "m3/s", ""); err != nil {
				return nil, fmt.Errorf("storage: the water at step %d is above the last stage: %w", i, err)
			}
			k := min(max(sort.SearchFloat64s(ind, x), 1), len(ind)-1)
			f := math.Max(0, (x-ind[k-1])/(ind[k]-ind[k-1]))
			o = float64(stages[k-1].Outflow) + f*float64(stages[k].Outflow-stages[k-1].Outflow)
			depth = float64(stages[k-1].Depth) + f*float64(stages[k].Depth-stages[k-1].Depth)
		}
		out[i] = Routed{dt * hydro.Duration(i), q, hydro.Flow(o), unit.Length(depth)}
	}
	return out, nil
}

// Linear routes inflow ordinates dt apart through a linear reservoir S = K O:
// O2 = C0 (I1 + I2) + C2 O1, C0 = (dt/K)/(2 + dt/K), C2 = (2 - dt/K)/(2 + dt/K). dt
// at most 2 K, past which it swings.
func Linear(k hydro.Duration, inflow []hydro.Flow, dt hydro.Duration) ([]hydro.Flow, error) {
	if err := hydro.Check("storage constant", float64(k), hydro.Positive, 1e7, "min", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("time step", float64(dt), hydro.Positive, 2*float64(k), "min", ""); err != nil {
		return nil, err
	}
	x := float64(dt / k)
	c0, c2 := x/(2+x), (2-x)/(2+x)
	out := make([]hydro.Flow, len(inflow))
	for i, q := range inflow {
		if err := hydro.Check("inflow", float64(q), 0, 1e6, "m3/s", ""); err != nil {
			return nil, err
		}
		if i > 0 {
			out[i] = hydro.Flow(c0*float64(inflow[i-1]+q) + c2*float64(out[i-1]))
		}
	}
	return out, nil
}

// Detention is the short estimate of a basin's volume.
type Detention struct {
	Ratio  float64 // Vs/Vr
	Runoff hydro.Volume
	Volume hydro.Volume
}

// TR55Detention returns the storage that lowers peak inflow qi to qo for a runoff
// depth over an area: Vs/Vr = a + b x + c x^2 + d x^3, x = qo/qi. early is true for
// rainfall types I and IA. x 0.1 to 0.8. Within about 25 %, mostly on the large
// side. Source: TR55, chapter 6 and table F-2.
func TR55Detention(qo, qi hydro.Flow, runoff hydro.Depth, area unit.Area, early bool) (Detention, error) {
	if err := hydro.Check("peak inflow", float64(qi), hydro.Positive, 1e6, "m3/s", ""); err != nil {
		return Detention{}, err
	}
	x := float64(qo / qi)
	if err := hydro.Check("outflow over inflow", x, 0.1, 0.8, "", source.TR55); err != nil {
		return Detention{}, err
	}
	if err := hydro.Check("runoff depth", float64(runoff), hydro.Positive, 5000, "mm", ""); err != nil {
		return Detention{}, err
	}
	if err := hydro.Check("area", float64(area), hydro.Positive, 1e10, "m2", ""); err != nil {
		return Detention{}, err
	}
	a, b, c, d := 0.682, -1.43, 1.64, -0.804
	if early {
		a, b, c, d = 0.660, -1.76, 1.96, -0.730
	}
	r := a + x*(b+x*(c+x*d))
	vr := float64(runoff) / 1000 * float64(area)
	return Detention{r, hydro.Volume(vr), hydro.Volume(r * vr)}, nil
}

// Triangle returns Vs = ti (Qi - Qo)/2, ti the duration of the inflow. Source:
// HEC22, equation 8-1.
func Triangle(qi, qo hydro.Flow, ti hydro.Duration) (hydro.Volume, error) {
	if err := hydro.Check("peak inflow", float64(qi), 0, 1e6, "m3/s", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("peak outflow", float64(qo), 0, float64(qi), "m3/s", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("duration of inflow", float64(ti), 0, 1e6, "min", ""); err != nil {
		return 0, err
	}
	return hydro.Volume(float64(ti) * 60 * float64(qi-qo) / 2), nil
}

// ModifiedRational returns the burst duration that needs the most storage behind
// an allowed outflow, and that volume: V = 60 (Qp td - Qa (td + tc)/2), Qp the flow
// of the burst's own intensity, searched over whole minutes from tc to longest.
// peak gives Qp for a duration. Source: HEC22, section 3.2.2 (modified rational).
func ModifiedRational(peak func(td hydro.Duration) (hydro.Flow, error), allowed hydro.Flow, tc, longest hydro.Duration) (hydro.Duration, hydro.Volume, error) {
	if err := hydro.Check("allowed outflow", float64(allowed), 0, 1e6, "m3/s", ""); err != nil {
		return 0, 0, err
	}
	if err := hydro.Check("time of concentration", float64(tc), hydro.Positive, 1e5, "min", ""); err != nil {
		return 0, 0, err
	}
	if err := hydro.Check("longest burst", float64(longest), float64(tc), 1e5, "min", ""); err != nil {
		return 0, 0, err
	}
	var at hydro.Duration
	best := 0.0
	for td := tc; td <= longest; td++ {
		q, err := peak(td)
		if err != nil {
			return 0, 0, err
		}
		if v := 60 * (float64(q)*float64(td) - float64(allowed)*float64(td+tc)/2); v > best {
			at, best = td, v
		}
	}
	return at, hydro.Volume(best), nil
}
