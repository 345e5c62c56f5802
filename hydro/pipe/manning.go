package pipe

// Manning flow in one pipe: capacity, depth and what follows from the depth.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Pipe is one circular pipe.
type Pipe struct {
	Diameter unit.Length     // inside
	N        hydro.Roughness // Manning, constant with depth
}

// thetaPeak is the angle of greatest Manning flow: d/dtheta of
// (theta - sin theta)^5 / theta^2 vanishes, y = 0.938 D.
const thetaPeak = 5.278107

// PeakRatio is the greatest Manning flow of a circular pipe over its full flow.
const PeakRatio = 1.07571

func (p Pipe) check(s unit.Slope) error {
	if err := checkDiameter(p.Diameter); err != nil {
		return err
	}
	if err := hydro.Check("Manning n", float64(p.N), 0.004, 0.2, "", source.HEC22); err != nil {
		return err
	}
	return hydro.Check("slope of the pipe", float64(s), hydro.Positive, 10, "m/m", "")
}

// full returns Manning flow of the full pipe for unchecked values.
//
//	Q = (pi/4^(5/3)/n) D^(8/3) S^(1/2) = (0.3117/n) D^(8/3) S^(1/2)
func full(d, n, s float64) float64 {
	const k = math.Pi / 10.079368399158985 // 4^(5/3)
	return k / n * math.Pow(d, 8.0/3) * math.Sqrt(s)
}

// Capacity returns the flow of the pipe running just full at slope s, without
// pressure. n from 0.004 to 0.2, s positive to 10; else *hydro.RangeError.
// Source: HEC22, equation 7-1 in metric form.
func (p Pipe) Capacity(s unit.Slope) (hydro.Flow, error) {
	if err := p.check(s); err != nil {
		return 0, err
	}
	return hydro.Flow(full(float64(p.Diameter), float64(p.N), float64(s))), nil
}

// FlowAt returns the Manning flow at depth y, 0 to the diameter.
//
//	Q = (1/n) A R^(2/3) S^(1/2)
func (p Pipe) FlowAt(y unit.Length, s unit.Slope) (hydro.Flow, error) {
	if err := p.check(s); err != nil {
		return 0, err
	}
	if err := hydro.Check("depth in the pipe", float64(y), 0, float64(p.Diameter), "m", ""); err != nil {
		return 0, err
	}
	d := float64(p.Diameter)
	return hydro.Flow(full(d, float64(p.N), float64(s)) * flowRatio(angle(float64(y)/d))), nil
}

// flowRatio is Q/Qfull at theta: (theta - sin theta)^(5/3) / (2 pi theta^(2/3)).
func flowRatio(th float64) float64 {
	if th <= 0 {
		return 0
	}
	g := th - math.Sin(th)
	c := math.Cbrt(g / th)
	return g * c * c / (2 * math.Pi)
}

// NormalDepth returns the depth of uniform flow q at slope s. Flows between full
// flow and PeakRatio times full flow have two depths: the lower is returned.
// A flow above that has none, a *hydro.RangeError. q = 0 gives 0.
// Solved to 1e-12 of the diameter by Newton's rule held inside a bracket.
func (p Pipe) NormalDepth(q hydro.Flow, s unit.Slope) (unit.Length, error) {
	if err := p.check(s); err != nil {
		return 0, err
	}
	d := float64(p.Diameter)
	qf := full(d, float64(p.N), float64(s))
	if err := hydro.Check("flow in the pipe", float64(q), 0, qf*PeakRatio, "m3/s", source.Chow1959); err != nil {
		return 0, err
	}
	return unit.Length(depthAt(d, thetaForFlow(float64(q)/qf))), nil
}

// thetaForFlow inverts flowRatio on its rising branch. In u = theta^3 the curve
// is near a straight line through zero for a thin film, which would make plain
// Newton crawl; the bracket makes it sure.
func thetaForFlow(r float64) float64 {
	if r <= 0 {
		return 0
	}
	lo, hi := 0.0, thetaPeak
	// Thin film: theta - sin theta ~ theta^3/6, so r ~ theta^(13/3)/(6^(5/3) 2 pi).
	th := math.Pow(r*2*math.Pi*19.81156349129, 3.0/13)
	if th >= hi {
		th = 4
	}
	for i := 0; i < 60; i++ {
		sin, cos := math.Sincos(th)
		g := th - sin
		c := math.Cbrt(g / th)
		f := g*c*c/(2*math.Pi) - r
		if f > 0 {
			hi = th
		} else {
			lo = th
		}
		// d/dtheta = r (5/3 (1-cos)/g - 2/3/theta)
		df := (f + r) * (5*(1-cos)/g - 2/th) / 3
		next := th - f/df
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-th) < 1e-13*th || hi-lo < 1e-13*hi {
			return next
		}
		th = next
	}
	return th
}

// CriticalDepth returns the depth at which flow q has the least specific energy:
// Q^2 T = g A^3. It tends to the diameter as q grows and never reaches it; for
// flows so great that the difference is lost the diameter is returned. Source:
// Chow1959, section 4-3.
func (p Pipe) CriticalDepth(q hydro.Flow) (unit.Length, error) {
	if err := checkDiameter(p.Diameter); err != nil {
		return 0, err
	}
	if err := hydro.Check("flow in the pipe", float64(q), 0, hydro.Huge, "m3/s", ""); err != nil {
		return 0, err
	}
	return unit.Length(critical(float64(p.Diameter), float64(q))), nil
}

func critical(d, q float64) float64 {
	if q <= 0 {
		return 0
	}
	// In units of D: (theta - sin theta)^3 / (512 sin(theta/2)) = Q^2/(g D^5).
	// Worked in logarithms, where the left side is nearly straight in theta.
	want := math.Log(512 * q * q / (hydro.Gravity * math.Pow(d, 5)))
	lo, hi := 0.0, 2*math.Pi
	// thin film: theta^9/216 / (theta/2) = theta^8/108
	th := math.Exp((want + math.Log(108)) / 8)
	if th >= 5.5 {
		th = 5.5
	}
	for i := 0; i < 80; i++ {
		sin, cos := math.Sincos(th)
		g := th - sin
		sh, ch := math.Sincos(th / 2)
		f := 3*math.Log(g) - math.Log(sh) - want
		if f > 0 {
			hi = th
		} else {
			lo = th
		}
		df := 3*(1-cos)/g - ch/(2*sh)
		next := th - f/df
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-th) < 1e-13*th {
			th = next
			break
		}
		th = next
	}
	return depthAt(d, th)
}

// State is how a pipe runs with a flow at a slope.
type State struct {
	Depth       unit.Length
	FillRatio   float64 // depth over diameter
	Velocity    hydro.Velocity
	Shear       hydro.Pressure // mean boundary shear
	Froude      float64        // zero when full
	Surcharged  bool           // the flow is above full flow: the pipe runs full, under pressure
	EnergySlope unit.Slope     // the pipe's slope, or the friction slope when surcharged
}

// State returns how the pipe runs with flow q at slope s: part full in uniform
// flow up to full flow; above full flow it runs full at the friction slope that
// drives q, which is steeper than the pipe (Surcharged). Design keeps q at or
// below full flow, so the narrow range between full flow and PeakRatio counts as
// surcharged. Shear is gamma R S (source MerrittShear). q must not be negative.
func (p Pipe) State(q hydro.Flow, s unit.Slope) (State, error) {
	if err := p.check(s); err != nil {
		return State{}, err
	}
	if err := hydro.Check("flow in the pipe", float64(q), 0, hydro.Huge, "m3/s", ""); err != nil {
		return State{}, err
	}
	return p.state(float64(q), float64(s)), nil
}

func (p Pipe) state(q, s float64) State {
	d, n := float64(p.Diameter), float64(p.N)
	if q <= 0 {
		return State{EnergySlope: unit.Slope(s)}
	}
	qf := full(d, n, s)
	if q > qf*(1+1e-12) {
		sf := s * (q / qf) * (q / qf)
		return State{Depth: p.Diameter, FillRatio: 1, Velocity: hydro.Velocity(q / (math.Pi / 4 * d * d)),
			Shear: Shear(p.Diameter/4, unit.Slope(sf)), Surcharged: true, EnergySlope: unit.Slope(sf)}
	}
	th := thetaForFlow(q / qf)
	a := areaAt(d, th)
	v := q / a
	top := d * math.Sin(th/2)
	return State{Depth: unit.Length(depthAt(d, th)), FillRatio: depthAt(1, th), Velocity: hydro.Velocity(v),
		Shear:       Shear(unit.Length(a/(d*th/2)), unit.Slope(s)),
		Froude:      v / math.Sqrt(hydro.Gravity*a/top),
		EnergySlope: unit.Slope(s)}
}

// Shear returns the mean boundary shear of flow with hydraulic radius r on an
// energy slope s: tau = gamma R S. Source: MerrittShear. A common criterion of
// self-cleansing is 1 to 2 Pa at the design low flow, not at the peak.
func Shear(r unit.Length, s unit.Slope) hydro.Pressure {
	return hydro.Pressure(hydro.UnitWeight * float64(r) * float64(s))
}

// FrictionSlope returns the slope of the energy line of the pipe running full
// with flow q: (Q/Qfull at slope 1)^2. Source: HEC22, equation 7-2 form.
func (p Pipe) FrictionSlope(q hydro.Flow) (unit.Slope, error) {
	if err := p.check(1); err != nil {
		return 0, err
	}
	if err := hydro.Check("flow in the pipe", float64(q), 0, hydro.Huge, "m3/s", ""); err != nil {
		return 0, err
	}
	r := float64(q) / full(float64(p.Diameter), float64(p.N), 1)
	return unit.Slope(r * r), nil
}

// SlopeForVelocity returns the slope at which the pipe, full or half full, flows
// at velocity v: S = (n V / R^(2/3))^2 with R = D/4. Common design velocities for
// self-cleansing are 0.6 m/s, and 0.75 to 0.9 m/s where grit is likely.
func (p Pipe) SlopeForVelocity(v hydro.Velocity) (unit.Slope, error) {
	if err := p.check(1); err != nil {
		return 0, err
	}
	if err := hydro.Check("velocity", float64(v), hydro.Positive, 100, "m/s", ""); err != nil {
		return 0, err
	}
	x := float64(p.N) * float64(v) / math.Pow(float64(p.Diameter)/4, 2.0/3)
	return unit.Slope(x * x), nil
}

// DarcyFactor returns the Darcy friction factor of the full pipe that gives the
// same friction as its Manning n: f = 8 g n^2 / R^(1/3). Source: Darcy (there with
// g = 9.8: 124.5 n^2 / D^(1/3)).
func (p Pipe) DarcyFactor() (float64, error) {
	if err := p.check(1); err != nil {
		return 0, err
	}
	return 8 * hydro.Gravity * float64(p.N) * float64(p.N) / math.Cbrt(float64(p.Diameter)/4), nil
}
