package profile

// What the solver is asked: the tree, the rules, the stock, the outlet.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Outlet is the index in place of a downstream reach for a reach that ends at
// the outlet.
const Outlet = -1

// Station is the ground at a distance from the upper end of a reach.
type Station struct {
	At     unit.Length
	Ground unit.Elevation
}

// Inflow is an area that sheds water into the upper end of a reach: its
// runoff coefficient times its area, and the time its water takes to get
// there (never below the least time of concentration of its kind).
type Inflow struct {
	CA unit.Area
	Tc hydro.Duration
}

// Start holds the upper end of a reach. Members that are nil hold nothing;
// the least cover of the rules holds always.
type Start struct {
	// Invert is laid at exactly this level (a basin that is built already).
	Invert *unit.Elevation
	// AtMost: the invert lies at or below this level (rim minus something).
	AtMost *unit.Elevation
	// Cover of the outside top of the pipe below the ground of station 0.
	Cover *unit.Length
}

// Levels of a reach that lies already, as shot.
type Levels struct {
	Up, Down unit.Elevation
}

// Pass says how a pipe passes a crossed utility.
type Pass uint8

const (
	// Either over or under, whichever is cheaper.
	Either Pass = iota
	// Over: the outside bottom of the pipe at or above the band.
	Over
	// Under: the outside top of the pipe at or below the band.
	Under
	// Within: the whole pipe inside the band (a sleeve, a gap in a footing).
	Within
)

// Crossing is a band of levels at a station that the pipe must keep out of
// (Either, Over, Under) or keep inside (Within). The caller adds the clearance
// to the band.
type Crossing struct {
	At        unit.Length
	Low, High unit.Elevation
	Pass      Pass
}

// Reach is a straight pipe between two fittings.
type Reach struct {
	// Down is the index of the reach it runs into, or Outlet.
	Down   int
	Length unit.Length
	// Ground from the upper end (At 0) to the lower (At Length), ascending,
	// with every break of the ground between.
	Ground []Station
	// Inflow and Stated enter at the upper end.
	Inflow []Inflow
	Stated hydro.Flow
	Start  Start
	// ArriveAtMost: the invert at the lower end lies at or below this level (a
	// second pipe in the trench).
	ArriveAtMost *unit.Elevation
	// Laid says that the reach lies already, with the one pipe that Pipes names:
	// it stays, and the rest is laid to suit. Start and ArriveAtMost are not
	// asked of it, and what it breaks itself is told but not held against the
	// rest (Breach.Laid).
	Laid *Levels
	// Drop is the greatest step from an arriving pipe to this one at its upper
	// end, beyond the match of Rules.Match: 0 at a bend or a wye, more in a
	// basin.
	Drop      unit.Length
	Crossings []Crossing
	// Pipes lists the stock that may be used, by index; nil: all of it.
	Pipes []int
	// Count of equal pipes side by side, sharing the flow; at least 1.
	Count int
	// TrenchPrice is a metre of trench at no depth, DepthPrice a metre of it
	// for each metre of depth (ground to trench bottom), Fixed the rest of the
	// reach (fittings, paving, permission).
	TrenchPrice, DepthPrice, Fixed float64
	// Ground water only: the least velocity is not asked.
	GroundWater bool
}

// Pipe is a pipe of the stock. The list of the stock must ascend by inside
// diameter.
type Pipe struct {
	Inside, Outside unit.Length
	N               hydro.Roughness
	// Price of a metre of one pipe.
	Price float64
	// LeastSlope of this size, where greater than the rules'.
	LeastSlope unit.Slope
}

// Match says what of two pipes is brought to one level where they meet.
type Match uint8

const (
	// Crowns: the inside top of the pipe that leaves is no higher than that of
	// any pipe that arrives.
	Crowns Match = iota
	// Inverts: its invert is no higher than that of any pipe that arrives.
	Inverts
)

// Rules of the profile.
type Rules struct {
	TargetSlope, LeastSlope unit.Slope
	// GreatestSlope of a pipe; 0: no limit.
	GreatestSlope unit.Slope
	LeastCover    unit.Length // ground to outside top
	GreatestDepth unit.Length // ground to trench bottom
	Bedding       unit.Length // stone under the pipe
	LeastVelocity hydro.Velocity
	Match         Match
	// MostRounds of flow and size in turn; 0: 20.
	MostRounds int
}

// End is the outlet: where the last reach may arrive.
type End struct {
	// TieIn is the lowest level of an arriving invert.
	TieIn unit.Elevation
	// AtMost is the highest, where there is one (a curb core, a swale's bed).
	AtMost *unit.Elevation
	// Rim is where the structure ends above, if it does: the outside top of an
	// arriving pipe, whatever its size, lies at or below it.
	Rim *unit.Elevation
}

// Problem is a tree of reaches to be laid. Several reaches may end at the
// outlet.
type Problem struct {
	Reaches []Reach
	End     End
	Rules   Rules
	Stock   []Pipe
	// Intensity of the design storm for a time of concentration. It must not
	// rise with the duration. It may be nil where no Inflow has an area.
	Intensity func(hydro.Duration) hydro.Intensity
}

const (
	mostReaches   = 4096
	mostStock     = 64
	mostCrossings = 4 // of kind Either in one reach: 2^4 ways to pass
)

func bad(q string, got, min, max float64, u string) error {
	return &hydro.RangeError{Quantity: q, Got: got, Min: min, Max: max, Unit: u}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// check refuses what cannot be meant. It allocates only for an error.
func (p *Problem) check() error {
	const far = 1e5 // metres: longer or higher than any yard
	if len(p.Reaches) == 0 {
		return fmt.Errorf("hydro/profile: no reaches")
	}
	if len(p.Reaches) > mostReaches {
		return fmt.Errorf("hydro/profile: %d reaches, at most %d", len(p.Reaches), mostReaches)
	}
	if len(p.Stock) == 0 || len(p.Stock) > mostStock {
		return fmt.Errorf("hydro/profile: %d pipes in stock, wanted 1 to %d", len(p.Stock), mostStock)
	}
	for k := range p.Stock {
		s := &p.Stock[k]
		switch {
		case !(s.Inside >= 0.01 && s.Inside <= 5):
			return bad(fmt.Sprintf("inside diameter of stock pipe %d", k), float64(s.Inside), 0.01, 5, "m")
		case !(s.Outside >= s.Inside && s.Outside <= 6):
			return bad(fmt.Sprintf("outside diameter of stock pipe %d", k), float64(s.Outside), float64(s.Inside), 6, "m")
		case !(s.N >= 0.004 && s.N <= 0.2):
			return bad(fmt.Sprintf("roughness of stock pipe %d", k), float64(s.N), 0.004, 0.2, "s/m^(1/3)")
		case !(s.Price >= 0) || !finite(s.Price):
			return bad(fmt.Sprintf("price of stock pipe %d", k), s.Price, 0, math.Inf(1), "a metre")
		case !(s.LeastSlope >= 0 && s.LeastSlope < 1):
			return bad(fmt.Sprintf("least slope of stock pipe %d", k), float64(s.LeastSlope), 0, 1, "m/m")
		case k > 0 && s.Inside < p.Stock[k-1].Inside:
			return fmt.Errorf("hydro/profile: stock pipe %d is narrower than the one before it; list the stock by inside diameter", k)
		}
	}
	r := &p.Rules
	switch {
	case !(r.LeastSlope >= 0 && r.LeastSlope < 1):
		return bad("least slope", float64(r.LeastSlope), 0, 1, "m/m")
	case !(r.TargetSlope >= r.LeastSlope && r.TargetSlope < 1):
		return bad("target slope", float64(r.TargetSlope), float64(r.LeastSlope), 1, "m/m")
	case !(r.GreatestSlope == 0 || r.GreatestSlope >= r.TargetSlope):
		return bad("greatest slope", float64(r.GreatestSlope), float64(r.TargetSlope), math.Inf(1), "m/m")
	case !(r.LeastCover >= 0 && r.LeastCover < 50):
		return bad("least cover", float64(r.LeastCover), 0, 50, "m")
	case !(r.GreatestDepth > 0 && r.GreatestDepth <= 50):
		return bad("greatest depth", float64(r.GreatestDepth), 0, 50, "m")
	case !(r.Bedding >= 0 && r.Bedding < 5):
		return bad("bedding", float64(r.Bedding), 0, 5, "m")
	case !finite(float64(r.LeastVelocity)) || r.LeastVelocity < 0:
		return bad("least velocity", float64(r.LeastVelocity), 0, 10, "m/s")
	case !finite(float64(p.End.TieIn)) || math.Abs(float64(p.End.TieIn)) > far:
		return bad("tie-in level", float64(p.End.TieIn), -far, far, "m")
	case p.End.AtMost != nil && !(*p.End.AtMost >= p.End.TieIn):
		return bad("highest arrival", float64(*p.End.AtMost), float64(p.End.TieIn), far, "m")
	case p.End.Rim != nil && !(math.Abs(float64(*p.End.Rim)) <= far):
		return bad("rim", float64(*p.End.Rim), -far, far, "m")
	}
	for i := range p.Reaches {
		if err := p.checkReach(i, far); err != nil {
			return err
		}
	}
	return nil
}

func (p *Problem) checkReach(i int, far float64) error {
	r := &p.Reaches[i]
	if r.Down != Outlet && (r.Down < 0 || r.Down >= len(p.Reaches) || r.Down == i) {
		return fmt.Errorf("hydro/profile: reach %d runs into reach %d, which is not another of the %d reaches", i, r.Down, len(p.Reaches))
	}
	if !(r.Length > 0 && float64(r.Length) <= far) {
		return bad(fmt.Sprintf("length of reach %d", i), float64(r.Length), 0, far, "m")
	}
	n := len(r.Ground)
	if n < 2 {
		return fmt.Errorf("hydro/profile: reach %d has %d ground stations, wanted one at each end at least", i, n)
	}
	for j, g := range r.Ground {
		if !finite(float64(g.Ground)) || math.Abs(float64(g.Ground)) > far {
			return bad(fmt.Sprintf("ground of reach %d, station %d", i, j), float64(g.Ground), -far, far, "m")
		}
		if !finite(float64(g.At)) || j > 0 && !(g.At > r.Ground[j-1].At) {
			return fmt.Errorf("hydro/profile: ground stations of reach %d do not ascend at number %d (%g m)", i, j, float64(g.At))
		}
	}
	if r.Ground[0].At != 0 || math.Abs(float64(r.Ground[n-1].At-r.Length)) > 1e-6 {
		return fmt.Errorf("hydro/profile: ground of reach %d runs from %g m to %g m, wanted 0 m to its length %g m",
			i, float64(r.Ground[0].At), float64(r.Ground[n-1].At), float64(r.Length))
	}
	for _, f := range r.Inflow {
		if !(f.CA >= 0) || !finite(float64(f.CA)) {
			return bad(fmt.Sprintf("C times area into reach %d", i), float64(f.CA), 0, math.Inf(1), "m2")
		}
		if !(f.Tc >= 0) || !finite(float64(f.Tc)) {
			return bad(fmt.Sprintf("time of concentration into reach %d", i), float64(f.Tc), 0, math.Inf(1), "min")
		}
		if f.CA > 0 && p.Intensity == nil {
			return fmt.Errorf("hydro/profile: reach %d takes runoff but no rain intensity is given", i)
		}
	}
	if !(r.Stated >= 0) || !finite(float64(r.Stated)) {
		return bad(fmt.Sprintf("stated flow into reach %d", i), float64(r.Stated), 0, math.Inf(1), "m3/s")
	}
	if !(r.Drop >= 0) {
		return bad(fmt.Sprintf("drop at reach %d", i), float64(r.Drop), 0, math.Inf(1), "m")
	}
	if !(r.Count >= 1 && r.Count <= 16) {
		return bad(fmt.Sprintf("pipes side by side in reach %d", i), float64(r.Count), 1, 16, "")
	}
	for _, v := range [...]float64{r.TrenchPrice, r.DepthPrice, r.Fixed} {
		if !(v >= 0) || !finite(v) {
			return bad(fmt.Sprintf("price of reach %d", i), v, 0, math.Inf(1), "")
		}
	}
	for _, e := range [...]*unit.Elevation{r.Start.Invert, r.Start.AtMost, r.ArriveAtMost} {
		if e != nil && (!finite(float64(*e)) || math.Abs(float64(*e)) > far) {
			return bad(fmt.Sprintf("start level of reach %d", i), float64(*e), -far, far, "m")
		}
	}
	if c := r.Start.Cover; c != nil && !(*c >= 0 && *c < 50) {
		return bad(fmt.Sprintf("start cover of reach %d", i), float64(*c), 0, 50, "m")
	}
	if l := r.Laid; l != nil {
		if !finite(float64(l.Up)) || !finite(float64(l.Down)) || math.Abs(float64(l.Up)) > far || math.Abs(float64(l.Down)) > far {
			return bad(fmt.Sprintf("level of reach %d as laid", i), float64(l.Up), -far, far, "m")
		}
		if !(l.Up > l.Down) {
			return bad(fmt.Sprintf("fall of reach %d as laid: it runs uphill; mend it before the rest is laid to it", i), float64(l.Up.Above(l.Down)), 0, far, "m")
		}
		if len(r.Pipes) != 1 {
			return fmt.Errorf("hydro/profile: reach %d is laid, but not with one pipe: %d named", i, len(r.Pipes))
		}
		if r.Start != (Start{}) || r.ArriveAtMost != nil {
			return fmt.Errorf("hydro/profile: reach %d is laid and held to another level as well", i)
		}
	}
	for _, k := range r.Pipes {
		if k < 0 || k >= len(p.Stock) {
			return fmt.Errorf("hydro/profile: reach %d may use stock pipe %d, there are %d", i, k, len(p.Stock))
		}
	}
	if r.Pipes != nil && len(r.Pipes) == 0 {
		return fmt.Errorf("hydro/profile: reach %d may use no pipe of the stock", i)
	}
	either := 0
	for _, c := range r.Crossings {
		if !(c.At >= 0 && c.At <= r.Length) {
			return bad(fmt.Sprintf("station of a crossing of reach %d", i), float64(c.At), 0, float64(r.Length), "m")
		}
		if !(c.Low <= c.High) || math.Abs(float64(c.Low)) > far || math.Abs(float64(c.High)) > far {
			return fmt.Errorf("hydro/profile: crossing of reach %d at %g m has a band from %g m to %g m", i, float64(c.At), float64(c.Low), float64(c.High))
		}
		if c.Pass == Either {
			either++
		}
		if c.Pass > Within {
			return fmt.Errorf("hydro/profile: crossing of reach %d at %g m: unknown way to pass %d", i, float64(c.At), c.Pass)
		}
	}
	if either > mostCrossings {
		return fmt.Errorf("hydro/profile: reach %d crosses %d utilities over or under, at most %d; split the reach", i, either, mostCrossings)
	}
	return nil
}
