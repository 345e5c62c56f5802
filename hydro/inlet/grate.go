package inlet

// Grates, curb openings and gutters.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Control says what holds the flow back.
type Control string

const (
	// Weir: water falls over the edge of the grate.
	Weir Control = "weir"
	// Orifice: the grate is drowned and acts as a hole.
	Orifice Control = "orifice"
)

const (
	grateWeir    = 1.66 // SI; 3.0 in feet
	orificeCoeff = 0.67
)

// Grate is a grate in a sag.
type Grate struct {
	Perimeter unit.Length // over which water comes in; not along a wall or curb
	Open      unit.Area   // clear openings
	Clogging  float64     // share of perimeter and openings that is blocked, 0 to below 1
}

// Rectangle returns the grate of a basin: length by width, open is the share that
// is clear, sides the number of long and short sides that take water (2 and 2 in a
// lawn; leave out a side against a wall).
func Rectangle(length, width unit.Length, open float64, longSides, shortSides int, clogging float64) (Grate, error) {
	for _, e := range []error{
		hydro.Check("length of the grate", float64(length), hydro.Positive, 100, "m", ""),
		hydro.Check("width of the grate", float64(width), hydro.Positive, 100, "m", ""),
		hydro.Check("open share of the grate", open, 0.01, 1, "", ""),
		hydro.Check("long sides that take water", float64(longSides), 0, 2, "", ""),
		hydro.Check("short sides that take water", float64(shortSides), 0, 2, "", ""),
	} {
		if e != nil {
			return Grate{}, e
		}
	}
	g := Grate{Perimeter: length*unit.Length(longSides) + width*unit.Length(shortSides), Open: unit.Area(open) * length.Times(width), Clogging: clogging}
	return g, g.check()
}

// Round returns a round grate.
func Round(diameter unit.Length, open, clogging float64) (Grate, error) {
	if err := hydro.Check("diameter of the grate", float64(diameter), hydro.Positive, 100, "m", ""); err != nil {
		return Grate{}, err
	}
	if err := hydro.Check("open share of the grate", open, 0.01, 1, "", ""); err != nil {
		return Grate{}, err
	}
	g := Grate{Perimeter: math.Pi * diameter, Open: unit.Area(open*math.Pi/4) * diameter.Times(diameter), Clogging: clogging}
	return g, g.check()
}

func (g Grate) check() error {
	for _, e := range []error{
		hydro.Check("perimeter of the grate", float64(g.Perimeter), hydro.Positive, 1000, "m", ""),
		hydro.Check("open area of the grate", float64(g.Open), hydro.Positive, 1000, "m2", ""),
		hydro.Check("clogging of the grate", g.Clogging, 0, 0.99, "", source.HEC22),
	} {
		if e != nil {
			return e
		}
	}
	return nil
}

// Intake is what a grate takes at a depth.
type Intake struct {
	Flow          hydro.Flow
	Control       Control
	Weir, Orifice hydro.Flow // what each alone would let in
}

// Capacity returns the flow into the grate under depth d of water:
//
//	weir     Q = 1.66 P d^1.5
//	orifice  Q = 0.67 A (2 g d)^0.5
//
// the lesser governs; P and A less the clogged share. d 0 to 3 m. Source: HEC22,
// equations 4-26, 4-27.
func (g Grate) Capacity(d unit.Length) (Intake, error) {
	if err := g.check(); err != nil {
		return Intake{}, err
	}
	if err := hydro.Check("depth over the grate", float64(d), 0, 3, "m", ""); err != nil {
		return Intake{}, err
	}
	clear := 1 - g.Clogging
	i := Intake{
		Weir:    hydro.Flow(grateWeir * clear * float64(g.Perimeter) * math.Pow(float64(d), 1.5)),
		Orifice: hydro.Flow(orificeCoeff * clear * float64(g.Open) * math.Sqrt(2*hydro.Gravity*float64(d))),
	}
	i.Flow, i.Control = i.Weir, Weir
	if i.Orifice < i.Weir {
		i.Flow, i.Control = i.Orifice, Orifice
	}
	return i, nil
}

// DepthFor returns the depth of water over the grate that takes flow q in, and
// what governs: the larger of the weir's and the orifice's.
func (g Grate) DepthFor(q hydro.Flow) (unit.Length, Control, error) {
	if err := g.check(); err != nil {
		return 0, "", err
	}
	if err := hydro.Check("flow to the grate", float64(q), 0, 100, "m3/s", ""); err != nil {
		return 0, "", err
	}
	clear := 1 - g.Clogging
	w := math.Pow(float64(q)/(grateWeir*clear*float64(g.Perimeter)), 2.0/3)
	o := math.Pow(float64(q)/(orificeCoeff*clear*float64(g.Open)), 2) / (2 * hydro.Gravity)
	if o > w {
		return unit.Length(o), Orifice, nil
	}
	return unit.Length(w), Weir, nil
}

// CloggingOf returns the clogging of a row of n grates of which the first would be
// clogged by c0: c0/n times the sum of c0^(i-1), i = 1..n. Source: HEC22 practice,
// c0 0.5 for a grate in a sag.
func CloggingOf(n int, c0 float64) (float64, error) {
	if err := hydro.Check("number of grates", float64(n), 1, 1000, "", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("clogging of one grate", c0, 0, 0.99, "", source.HEC22); err != nil {
		return 0, err
	}
	sum, e := 0.0, 1.0
	for i := 0; i < n; i++ {
		sum += e
		e *= c0
	}
	return c0 / float64(n) * sum, nil
}

// Curb is a curb opening in a sag.
type Curb struct {
	Length unit.Length
	Height unit.Length // of the throat
	// Depressed width of the gutter before it; nil where the gutter is not depressed.
	Depressed *unit.Length
}

// Capacity returns the flow into the opening under depth d at the curb:
//
//	undepressed  Q = 1.656 L d^1.5            (3.0 in feet)
//	depressed    Q = 1.270 (L + 1.8 W) d^1.5  (2.3 in feet)
//	orifice      Q = 0.67 h L (2 g (d - h/2))^0.5, above d = h; the lesser governs,
//	             and never less than the weir at d = h
//
// The undepressed form also for openings over 3.66 m (12 ft). The weir constants
// are the US ones converted exactly; metric prints of 1.60 and 1.25 lie 3 and 2 %
// lower. Source: HEC22, equation 4-28; TxDOT, chapter 10.
func (c Curb) Capacity(d unit.Length) (Intake, error) {
	for _, e := range []error{
		hydro.Check("length of the curb opening", float64(c.Length), hydro.Positive, 100, "m", ""),
		hydro.Check("height of the curb opening", float64(c.Height), 0.01, 2, "m", ""),
		hydro.Check("depth at the curb", float64(d), 0, 3, "m", ""),
	} {
		if e != nil {
			return Intake{}, e
		}
	}
	root := math.Sqrt(0.3048) // (ft^0.5/s) to (m^0.5/s)
	l, cw := float64(c.Length), 3.0*root
	if c.Depressed != nil {
		if err := hydro.Check("width of the depression", float64(*c.Depressed), 0, 10, "m", ""); err != nil {
			return Intake{}, err
		}
		if c.Length <= 12*unit.Foot {
			cw, l = 2.3*root, l+1.8*float64(*c.Depressed)
		}
	}
	i := Intake{Weir: hydro.Flow(cw * l * math.Pow(float64(d), 1.5)), Control: Weir}
	i.Flow = i.Weir
	h := float64(c.Height)
	if head := float64(d) - h/2; head > 0 {
		i.Orifice = hydro.Flow(orificeCoeff * h * float64(c.Length) * math.Sqrt(2*hydro.Gravity*head))
	}
	if float64(d) > h && i.Orifice < i.Weir {
		// Between the throat's top and the full orifice the flow is held at the weir's.
		at := hydro.Flow(cw * l * math.Pow(h, 1.5))
		i.Flow, i.Control = max(i.Orifice, at), Orifice
	}
	return i, nil
}

// Gutter is a triangular gutter.
type Gutter struct {
	Slope      unit.Slope // along
	CrossSlope unit.Slope
	N          hydro.Roughness
}

func (g Gutter) check() error {
	for _, e := range []error{
		hydro.Check("slope of the gutter", float64(g.Slope), 1e-5, 1, "m/m", ""),
		hydro.Check("cross slope of the gutter", float64(g.CrossSlope), 1e-4, 1, "m/m", ""),
		hydro.Check("Manning n of the gutter", float64(g.N), 0.005, 0.1, "", ""),
	} {
		if e != nil {
			return e
		}
	}
	return nil
}

// Depth returns depth at the curb and spread of flow q: y = 1.443 (Q n Sx/S^0.5)^(3/8),
// T = y/Sx. Source: TxDOT, equations 10-1, 10-2.
func (g Gutter) Depth(q hydro.Flow) (depth, spread unit.Length, err error) {
	if err := g.check(); err != nil {
		return 0, 0, err
	}
	if err := hydro.Check("flow in the gutter", float64(q), 0, 100, "m3/s", ""); err != nil {
		return 0, 0, err
	}
	y := 1.443 * math.Pow(float64(q)*float64(g.N)*float64(g.CrossSlope)/math.Sqrt(float64(g.Slope)), 3.0/8)
	return unit.Length(y), unit.Length(y / float64(g.CrossSlope)), nil
}

// Flow returns the flow of a spread: Q = (0.376/n) Sx^1.67 S^0.5 T^2.67. Source:
// HEC22, equation 4-2.
func (g Gutter) Flow(spread unit.Length) (hydro.Flow, error) {
	if err := g.check(); err != nil {
		return 0, err
	}
	if err := hydro.Check("spread", float64(spread), 0, 100, "m", ""); err != nil {
		return 0, err
	}
	return hydro.Flow(0.376 / float64(g.N) * math.Pow(float64(g.CrossSlope), 1.67) * math.Sqrt(float64(g.Slope)) * math.Pow(float64(spread), 2.67)), nil
}

// Vertical returns the capacity of a vertical leader flowing r full (7/24 in the
// plumbing codes): q[gpm] = 27.8 r^(5/3) D^(8/3), D in inches. Source: NSPC2006,
// table 13.6.1.
func Vertical(diameter unit.Length, r float64) (hydro.Flow, error) {
	if err := hydro.Check("diameter of the leader", float64(diameter), hydro.Positive, 1, "m", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("share of the leader that runs", r, 0.05, 0.35, "", source.NSPC2006); err != nil {
		return 0, err
	}
	return hydro.FlowGPM(27.8 * math.Pow(r, 5.0/3) * math.Pow(float64(diameter/unit.Inch), 8.0/3)), nil
}

// Ponding returns the note for water standing over a grate deeper than allowed.
func Ponding(depth, allowed unit.Length) (hydro.Note, bool) {
	if depth <= allowed {
		return hydro.Note{}, false
	}
	return hydro.Note{Code: "ponding_over_grate", Source: source.HEC22,
		Text: fmt.Sprintf("water stands %.3f m over the grate, %.3f m allowed: add a grate or a larger one", float64(depth), float64(allowed))}, true
}
