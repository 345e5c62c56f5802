package soilwater

// Flow of soil water to a trench or to parallel drains, and the fall of the water
// table.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Trench returns what a trench of a given length takes from soil water standing
// at height far above an impermeable base at distance reach, and at height near in
// the trench, from one or both sides:
//
//	q = K (H^2 - h^2)/(2 L)     a side, per unit length
//
// Dupuit flow, level base. sides 1 or 2. Source: Hooghoudt, chapter 7 form; the
// usual interceptor formula.
func Trench(k hydro.Conductivity, far, near, reach, length unit.Length, sides int) (hydro.Flow, error) {
	for _, e := range []error{
		checkK(k),
		hydro.Check("height of the soil water", float64(far), 0, 1000, "m", ""),
		hydro.Check("height of the water in the trench", float64(near), 0, float64(far), "m", ""),
		hydro.Check("reach of the drawdown", float64(reach), hydro.Positive, 1e5, "m", ""),
		hydro.Check("length of the trench", float64(length), 0, 1e6, "m", ""),
		hydro.Check("sides of the trench", float64(sides), 1, 2, "", ""),
	} {
		if e != nil {
			return 0, e
		}
	}
	q := float64(k) / 3600 * (float64(far*far) - float64(near*near)) / (2 * float64(reach)) * float64(length) * float64(sides)
	return hydro.Flow(q), nil
}

// Interceptor returns the flow of a wet layer of thickness h down a slope into a
// cut across it: q = K i H per unit length. Source: NEH650.
func Interceptor(k hydro.Conductivity, gradient unit.Slope, thickness, length unit.Length) (hydro.Flow, error) {
	for _, e := range []error{
		checkK(k),
		hydro.Check("slope of the water table", float64(gradient), 0, 1, "m/m", ""),
		hydro.Check("thickness of the wet layer", float64(thickness), 0, 1000, "m", ""),
		hydro.Check("length of the trench", float64(length), 0, 1e6, "m", ""),
	} {
		if e != nil {
			return 0, e
		}
	}
	return hydro.Flow(float64(k) / 3600 * float64(gradient) * float64(thickness) * float64(length)), nil
}

// Drains are parallel lines.
type Drains struct {
	Spacing unit.Length
	Below   unit.Length        // drain level to the impermeable base; zero: on it
	Radius  unit.Length        // of the drain with its stone, or of the trench's wetted half perimeter over pi
	Above   hydro.Conductivity // of the soil above drain level
	Under   hydro.Conductivity // below it
}

func (d Drains) check() error {
	for _, e := range []error{
		hydro.Check("drain spacing", float64(d.Spacing), 0.1, 1e4, "m", ""),
		hydro.Check("depth to the impermeable base", float64(d.Below), 0, 1e4, "m", ""),
		hydro.Check("drain radius", float64(d.Radius), 0.001, 10, "m", ""),
		checkK(d.Above), checkK(d.Under),
	} {
		if e != nil {
			return e
		}
	}
	return nil
}

// EquivalentDepth returns Hooghoudt's equivalent depth, which makes up for the
// flow converging on the drain:
//
//	d = (pi L/8)/(ln(L/(pi r0)) + F),  x = 2 pi D/L
//	F = sum over odd n of 4 e^(-2nx)/(n (1 - e^(-2nx)));  pi^2/(4x) + ln(x/2pi) for small x
//
// never more than the true depth. Source: MolenWesseling.
func (d Drains) EquivalentDepth() (unit.Length, error) {
	if err := d.check(); err != nil {
		return 0, err
	}
	return unit.Length(equivalent(float64(d.Spacing), float64(d.Below), float64(d.Radius))), nil
}

func equivalent(l, deep, r0 float64) float64 {
	if deep <= 0 {
		return 0
	}
	x := 2 * math.Pi * deep / l
	f := 0.0
	if x < 0.5 {
		f = math.Pi*math.Pi/(4*x) + math.Log(x/(2*math.Pi))
	} else {
		for n := 1.0; n < 200; n += 2 {
			e := math.Exp(-2 * n * x)
			if e < 1e-17 {
				break
			}
			f += 4 * e / (n * (1 - e))
		}
	}
	den := math.Log(l/(math.Pi*r0)) + f
	if den <= 0 {
		return deep
	}
	return math.Min(math.Pi*l/8/den, deep)
}

// Discharge returns what the drains take, as depth of water an hour over the
// ground, while the water table midway stands h above them: Hooghoudt,
//
//	q L^2 = 8 Kb d h + 4 Ka h^2
func (d Drains) Discharge(h unit.Length) (hydro.Intensity, error) {
	if err := d.check(); err != nil {
		return 0, err
	}
	if err := hydro.Check("height of the water table midway", float64(h), 0, 100, "m", ""); err != nil {
		return 0, err
	}
	de := equivalent(float64(d.Spacing), float64(d.Below), float64(d.Radius))
	q := (8*float64(d.Under)*de*float64(h) + 4*float64(d.Above)*float64(h*h)) / float64(d.Spacing*d.Spacing)
	return hydro.Intensity(q * 1000), nil
}

// SpacingFor returns the spacing at which drains hold the water table at h midway
// under recharge q. d.Spacing is not read. By bisection between 0.1 m and 10 km; a
// recharge that asks less than 0.1 m is a *hydro.RangeError.
func (d Drains) SpacingFor(q hydro.Intensity, h unit.Length) (unit.Length, error) {
	d.Spacing = 1
	if err := d.check(); err != nil {
		return 0, err
	}
	if err := hydro.Check("height of the water table midway", float64(h), hydro.Positive, 100, "m", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("recharge", float64(q), hydro.Positive, 1000, "mm/h", ""); err != nil {
		return 0, err
	}
	lo, hi := 0.1, 1e4
	carry := func(l float64) float64 { // mm/h
		de := equivalent(l, float64(d.Below), float64(d.Radius))
		return 1000 * (8*float64(d.Under)*de*float64(h) + 4*float64(d.Above)*float64(h*h)) / (l * l)
	}
	if err := hydro.Check("recharge", float64(q), carry(hi), carry(lo), "mm/h", source.Hooghoudt); err != nil {
		return 0, err
	}
	for i := 0; i < 100; i++ {
		if m := (lo + hi) / 2; carry(m) > float64(q) {
			lo = m
		} else {
			hi = m
		}
	}
	return unit.Length(lo), nil
}

// Donnan returns the spacing of drains on the ellipse form, L^2 = 4 K (b^2 - a^2)/q,
// a and b the heights of drain and of the water table midway over the base. It
// equals Hooghoudt's with the true depth. Source: USBR1993, chapter 5.
func Donnan(k hydro.Conductivity, q hydro.Intensity, a, b unit.Length) (unit.Length, error) {
	for _, e := range []error{
		checkK(k),
		hydro.Check("recharge", float64(q), hydro.Positive, 1000, "mm/h", ""),
		hydro.Check("height of the drain over the base", float64(a), 0, 1000, "m", ""),
		hydro.Check("height of the water table over the base", float64(b), float64(a), 1000, "m", ""),
	} {
		if e != nil {
			return 0, e
		}
	}
	return unit.Length(math.Sqrt(4 * float64(k) * float64(b*b-a*a) / (float64(q) / 1000))), nil
}

// Drawdown returns the time in which the water table midway falls from h0 to h1
// above the drains after rain has stopped, the soil giving up its drainable
// pores mu (0 to 1):
//
//	mu dh/dt = -(8 Kb d h + 4 Ka h^2)/L^2
//	t = mu L^2/(8 Kb d) (ln(h0/(e + h0)) - ln(h1/(e + h1))),  e = 2 Kb d/Ka
//
// a succession of Hooghoudt's steady states with a table that keeps its shape; on
// the base (d = 0) t = mu L^2/(4 Ka) (1/h1 - 1/h0). Source: Bouwer1963 with a shape
// factor of 1, which is on the slow side.
func (d Drains) Drawdown(h0, h1 unit.Length, mu float64) (hydro.Duration, error) {
	if err := d.check(); err != nil {
		return 0, err
	}
	for _, e := range []error{
		hydro.Check("water table at the start", float64(h0), hydro.Positive, 100, "m", ""),
		hydro.Check("water table at the end", float64(h1), 1e-6, float64(h0), "m", ""),
		hydro.Check("drainable porosity", mu, 0.001, 0.6, "", source.VanBeers1965),
	} {
		if e != nil {
			return 0, e
		}
	}
	l2 := float64(d.Spacing * d.Spacing)
	de := equivalent(float64(d.Spacing), float64(d.Below), float64(d.Radius))
	a, b := float64(h0), float64(h1)
	if de == 0 {
		return hydro.Duration(60 * mu * l2 / (4 * float64(d.Above)) * (1/b - 1/a)), nil
	}
	e := 2 * float64(d.Under) * de / float64(d.Above)
	h := mu * l2 / (8 * float64(d.Under) * de) * (math.Log(a/(e+a)) - math.Log(b/(e+b)))
	return hydro.Duration(60 * h), nil
}

// Coefficient returns the flow of a drainage coefficient, a depth of water a day
// over an area: 1 in a day is 18.86 gpm an acre; 3/8 to 1/2 in is usual. Source:
// NEH650.
func Coefficient(perDay hydro.Depth, area unit.Area) (hydro.Flow, error) {
	if err := hydro.Check("drainage coefficient", float64(perDay), 0, 1000, "mm/day", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("area", float64(area), 0, 1e10, "m2", ""); err != nil {
		return 0, err
	}
	return hydro.Flow(float64(perDay) / 1000 * float64(area) / 86400), nil
}

// Perforations returns the most that the holes of a pipe let in, holes of open
// area perMetre on a length under a head of water: 0.61 A sqrt(2 g h). The soil or
// the stone governs, as a rule, and not the holes. (From memory: orifice.)
func Perforations(perMetre unit.Area, length, head unit.Length) (hydro.Flow, error) {
	for _, e := range []error{
		hydro.Check("open area of the pipe", float64(perMetre), 0, 1, "m2/m", ""),
		hydro.Check("length of the pipe", float64(length), 0, 1e6, "m", ""),
		hydro.Check("head over the holes", float64(head), 0, 10, "m", ""),
	} {
		if e != nil {
			return 0, e
		}
	}
	return hydro.Flow(0.61 * float64(perMetre) * float64(length) * math.Sqrt(2*hydro.Gravity*float64(head))), nil
}
