package sheet

// What is still to be measured, ranked by the chance that measuring it changes the
// plan.
//
// The plan leaves each level and line some room, m; the thing is known to a standard
// deviation, s. The chance that its true value takes more than the room is
//
//	P = erfc(m / (s sqrt 2)) / 2
//
// Where the plan as drawn breaks the rule, m is what it is short by, and P the chance
// that the true value mends it. The room of a level is what the pipe could be lowered by: the fall that its way has
// over the least slope, and what it arrives above the lowest level it may arrive at.

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/siting"
)

// Standard deviations of levels that were not shot. Mapped: half a contour interval
// of 1 ft holds nine times in ten, 0.1524 m / 1.645 (the rule of the national map
// accuracy standard of 1947, from memory). Assumed: common practice.
const (
	mappedSD  = 0.093 * unit.Metre
	assumedSD = 0.3 * unit.Metre
)

// notKnown is the chance of a thing of which nothing is known: even.
const notKnown = 0.5

// ask is a thing to be measured.
type ask struct {
	chance float64 // that it changes the plan; below 0: not reckoned
	said   string  // in place of the chance; empty: the chance itself
	what   string
	why    string
}

// beyond is the chance that an error of standard deviation s takes more than m.
func beyond(m, s unit.Length) float64 {
	if s <= 0 {
		if m < 0 {
			return 1
		}
		return 0
	}
	return math.Erfc(float64(m/s)/math.Sqrt2) / 2
}

// turns is the chance that the true value lies on the other side of the rule than the
// one drawn.
func turns(m, s unit.Length) float64 { return beyond(unit.Length(math.Abs(float64(m))), s) }

// levelSD is how well the levels of a layer are known.
func (d *draft) levelSD(layer string) unit.Length {
	switch {
	case slices.Contains(d.p.RestsOn.Measured, layer):
		return d.c.Ground.ShotSD
	case slices.Contains(d.p.RestsOn.Assumed, layer):
		return assumedSD
	}
	return mappedSD
}

// groundSD is how well the ground is known.
func (d *draft) groundSD() unit.Length {
	if slices.Contains(d.p.RestsOn.Measured, "spots") || slices.Contains(d.p.RestsOn.Measured, "breaklines") {
		return d.c.Ground.ShotSD
	}
	return mappedSD
}

// spare is what the pipe could be lowered by at the upper end of each run: the sum of
// the fall over the least slope on its way, and what the way arrives above the lowest
// level of its outlet. It is missing for a run whose way has no levels.
func (d *draft) spare() map[string]unit.Length {
	out := map[string]unit.Length{}
	for i := range d.p.Profiles {
		pr := &d.p.Profiles[i]
		if len(pr.Runs) == 0 {
			continue
		}
		last := d.p.Run(pr.Runs[len(pr.Runs)-1])
		if last == nil || last.InvertDown == nil {
			continue
		}
		room := unit.Length(0)
		for k := range d.s.Inlets {
			if in := &d.s.Inlets[k]; in.ID == last.To && in.Invert != nil {
				room = last.InvertDown.Above(*in.Invert)
			}
		}
		for k := len(pr.Runs) - 1; k >= 0; k-- {
			r := d.p.Run(pr.Runs[k])
			if r == nil || r.Fall == nil {
				break
			}
			room += *r.Fall - unit.Length(float64(d.c.Pipe.LeastSlope)*float64(r.Length))
			out[r.ID] = room
		}
	}
	return out
}

// asked are the things to be measured, what changes the plan most first.
func (d *draft) asked() []ask {
	var out []ask
	add := func(chance float64, said, what, why string) { out = append(out, ask{chance, said, what, why}) }
	known := func(m, s unit.Length) string {
		if m < 0 {
			return "short by " + d.u.Length(-m) + ", known to " + d.u.Length(s)
		}
		return "room " + d.u.Length(m) + ", known to " + d.u.Length(s)
	}
	first, broken := "", 0
	var unsure []string // runs whose least fall is not sure, and the worst of them
	worst, why := 0.0, ""
	for _, x := range d.p.Findings {
		switch {
		case x.NotProven && x.Cure != "":
			add(1, "the verdict waits for it", x.Cure, x.Message)
		case x.Severity == parcels.Stop:
			if broken++; broken == 1 {
				first = x.Message
			}
		case x.Code == "inlet_level_unknown":
			add(notKnown, "not known", "Ask the owner of the storm sewer for the water level in the design storm", x.Message)
		case x.Code == "layer_not_supplied":
			add(notKnown, "not known", "Find out what is not on the map", x.Message)
		case x.Code == "fall_not_sure" && x.Measured != nil:
			unsure = append(unsure, x.Feature)
			if *x.Measured > worst {
				worst, why = *x.Measured, x.Message
			}
		case x.Code == "utility_crossing":
			add(notKnown, "not known", "Have it marked; expose it and shoot its top", x.Message)
		}
	}
	if len(unsure) > 0 {
		add(worst, "", "Shoot the ends of "+plural("run", unsure)+" again before backfill", why)
	}
	if broken > 0 {
		if broken > 1 {
			first += fmt.Sprintf(" And %d more rules are broken.", broken-1)
		}
		add(1, "the plan fails on it", "Shoot again the levels that the plan fails on: the outlet, the lowest intakes, the ground between", first)
	}
	d.askOutlet(add, known)
	d.askGround(add, known)
	d.askLines(add)
	d.askEasements(add)
	for _, op := range d.s.Openings {
		if op.Level == nil && d.near(op.At) {
			add(notKnown, "not known", "Shoot the lowest opening ("+strings.ReplaceAll(op.Kind, "_", " ")+") of the house", "its level is not given; freeboard asked: "+d.u.Length(d.c.Storm.Freeboard))
		}
	}
	add(-1, "", "Dig one test hole at the deepest stretch and one at the start", "soil, rock, roots and ground water decide the digging; soil as given: "+d.soil())
	add(-1, "", "Measure every gate, and the way from the street to the trench", d.gates())
	add(-1, "", "Look for irrigation heads, lighting, invisible fence, old drains; ask the owner", "the locating service does not mark private lines (P-15)")
	slices.SortStableFunc(out, func(a, b ask) int { return cmp.Compare(b.chance, a.chance) })
	return out
}

type adder = func(chance float64, said, what, why string)

func (d *draft) askOutlet(add adder, known func(m, s unit.Length) string) {
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		for k := range d.s.Inlets {
			in := &d.s.Inlets[k]
			if in.ID != r.To || r.InvertDown == nil {
				continue
			}
			what := fmt.Sprintf("Shoot the rim of %s and dip its outgoing invert from above (never enter it)", in.ID)
			if in.Invert == nil {
				add(notKnown, "not known", what, "its invert is not given: whether the pipe can arrive at "+d.u.Elevation(*r.InvertDown)+" is open")
				continue
			}
			m, s := r.InvertDown.Above(*in.Invert), d.levelSD("inlets")
			add(turns(m, s), "", what, fmt.Sprintf("the pipe arrives at %s, its invert as given is %s: %s", d.u.Elevation(*r.InvertDown), d.u.Elevation(*in.Invert), known(m, s)))
		}
	}
}

// askGround asks for the ground at the intakes and along the runs: lower ground than
// drawn lowers the pipe, as far as its way has room.
func (d *draft) askGround(add adder, known func(m, s unit.Length) string) {
	spare, sd := d.spare(), max(d.groundSD(), 0.001)
	at := d.levelSD("intakes")
	type place struct {
		id     string
		room   unit.Length
		chance float64
	}
	var intakes []place
	run, tightest := place{chance: -1}, math.Inf(1)
	for i := range d.p.Runs {
		r := &d.p.Runs[i]
		m, ok := spare[r.ID]
		if !ok || r.LeastCover == nil {
			continue
		}
		if p := d.p.Point(r.From); p != nil && p.Kind == parcels.PointIntake {
			intakes = append(intakes, place{p.ID, m, turns(m, at)})
		}
		room := m + *r.LeastCover - d.c.Pipe.LeastCover
		if z := math.Abs(float64(room / sd)); z < tightest {
			run, tightest = place{r.ID, room, turns(room, sd)}, z
		}
	}
	slices.SortStableFunc(intakes, func(a, b place) int { // the tightest first
		return cmp.Compare(math.Abs(float64(a.room)), math.Abs(float64(b.room)))
	})
	// those that matter each on its own, the rest in one line
	var rest []string
	var least *place
	for i := range intakes {
		p := &intakes[i]
		if p.chance >= 0.001 {
			pt := d.p.Point(p.id)
			add(p.chance, "", "Shoot the ground at "+p.id+" and the underside of its elbow or grate", fmt.Sprintf("ground %s, invert %s; %s", display.Or(pt.Ground, d.u.Elevation), display.Or(pt.Invert, d.u.Elevation), known(p.room, at)))
			continue
		}
		if least == nil {
			least = p
		}
		rest = append(rest, p.id)
	}
	if least != nil {
		add(least.chance, "", "Shoot the ground at "+strings.Join(rest, ", ")+" and the underside of each elbow or grate", "at the tightest of them, "+least.id+", "+known(least.room, at))
	}
	if run.chance >= 0 {
		r := d.p.Run(run.id)
		add(run.chance, "", "Shoot the ground along run "+run.id+" every "+d.u.Step(d.every())+", at the low places first", fmt.Sprintf("cover %s against %s asked; %s", display.Or(r.LeastCover, d.u.Length), d.u.Length(d.c.Pipe.LeastCover), known(run.room, sd)))
	}
}

func (d *draft) every() unit.Length {
	if d.u == display.SI {
		return 1.5
	}
	return 5 * unit.Foot
}

// askLines asks for the pins of the lot line that the trench is the likeliest to lie
// over.
func (d *draft) askLines(add adder) {
	worst, tightest, why := -1.0, math.Inf(1), ""
	for _, id := range d.p.Summary.Lots {
		l := d.s.Lot(id)
		if l == nil || len(l.Shape) == 0 || len(l.Shape[0]) == 0 {
			continue
		}
		ring := l.Shape[0][0]
		for i := range d.p.Runs {
			r := &d.p.Runs[i]
			if r.TieIn || r.Lot != "" && r.Lot != id {
				continue
			}
			half := d.width(r) / 2
			for e := 1; e < len(ring); e++ {
				m := apart(r.Line, orb.LineString{ring[e-1], ring[e]}) - half
				s, _ := siting.LineSD(l, 0, 0, e-1)
				s = max(s, 0.001) // one that is given as certain
				if z := math.Abs(float64(m / s)); z < tightest {
					worst, tightest, why = turns(m, s), z, fmt.Sprintf("the trench of run %s comes within %s of a line of lot %s that is known to %s", r.ID, d.u.Length(m), id, d.u.Length(s))
				}
			}
		}
	}
	if worst >= 0 {
		add(worst, "", "Find the pins, or have the lines near the trench staked by a surveyor", why)
	}
}

// askEasements asks for the plat: the chance that an easement which the trench enters
// is not entered, or the reverse, when its edge lies elsewhere by as much as a
// municipal map errs.
func (d *draft) askEasements(add adder) {
	if slices.Contains(d.p.RestsOn.Measured, "easements") {
		return
	}
	const s = 1.5 * unit.Metre // as of lot lines from a map (P-30)
	worst, why := -1.0, ""
	for i := range d.s.Easements {
		e := &d.s.Easements[i]
		var mp orb.MultiPolygon
		switch g := e.Geometry.(type) {
		case orb.Polygon:
			mp = orb.MultiPolygon{g}
		case orb.MultiPolygon:
			mp = g
		default:
			continue
		}
		deepest, nearest := unit.Length(0), unit.Length(math.Inf(1))
		for k := range d.p.Runs {
			r := &d.p.Runs[k]
			for _, p := range r.Line {
				edge := unit.Length(math.Inf(1))
				for _, poly := range mp {
					for _, ring := range poly {
						x, _ := shape.PointLine(p, orb.LineString(ring))
						edge = min(edge, x)
					}
				}
				if shape.Locate(p, mp) != shape.Outside {
					deepest = max(deepest, edge+d.width(r)/2)
				} else {
					nearest = min(nearest, edge-d.width(r)/2)
				}
			}
		}
		m, is := deepest, "goes %s into"
		if deepest == 0 {
			m, is = nearest, "stays %s off"
		}
		if math.IsInf(float64(m), 1) {
			continue
		}
		if c := turns(m, s); c > worst {
			worst, why = c, fmt.Sprintf("the trench "+is+" easement %s, which is from a map, known to %s", d.u.Length(m), e.ID, d.u.Length(s))
		}
	}
	if worst >= 0 {
		add(worst, "", "Read the plat and the deeds of the easements", why)
	}
}

// width of the trench of a run.
func (d *draft) width(r *parcels.Run) unit.Length {
	for i := range d.p.Trenches {
		if d.p.Trenches[i].ID == r.Trench {
			return d.p.Trenches[i].Width
		}
	}
	return d.c.Trench.Width
}

// apart is the least distance between two lines that do not cross, from the ends of
// each to the other.
func apart(a, b orb.LineString) unit.Length {
	least := unit.Length(math.Inf(1))
	for _, p := range a {
		x, _ := shape.PointLine(p, b)
		least = min(least, x)
	}
	for _, p := range b {
		x, _ := shape.PointLine(p, a)
		least = min(least, x)
	}
	return least
}

// near says whether a place lies on a lot that is drained.
func (d *draft) near(p orb.Point) bool {
	for _, id := range d.p.Summary.Lots {
		if l := d.s.Lot(id); l != nil && shape.Locate(p, l.Shape) != shape.Outside {
			return true
		}
	}
	return false
}

// chance is how a chance is said.
func (a ask) says() string {
	switch {
	case a.said != "":
		return a.said
	case a.chance < 0:
		return "not reckoned"
	case a.chance < 0.001:
		return "under 0.1 %"
	}
	return fmt.Sprintf("%.1f %%", 100*a.chance)
}

// asks is the table of what is to be measured.
func (d *draft) asks(f *flow) {
	var rows [][]string
	seen := map[string]bool{}
	for _, a := range d.asked() {
		if seen[a.what+a.why] {
			continue
		}
		seen[a.what+a.why] = true
		rows = append(rows, []string{fmt.Sprintf("%d ☐", len(rows)+1), a.what, a.why, a.says(), ""})
	}
	f.table([]string{"", "measure", "why", "changes the plan", "reading"}, []float64{6, 34, 34, 12, 14}, "", rows, 8)
}

func (d *draft) soil() string {
	if d.s.Soil == nil || d.s.Soil.Texture == "" {
		return "not given"
	}
	return d.s.Soil.Texture
}
