package stakeout

// Lines of a network and their stakes.

import (
	"fmt"
	"math"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Line is a chain of runs dug in one go, from its lower end up: the longest way
// to the outlet is line A, what joins it follows.
type Line struct {
	Name   string
	Runs   []string // from the lower end up
	From   string   // point at the lower end: the outlet, or where it joins
	To     string   // point at the upper end
	Length unit.Length
	Rows   []Row // by station
}

// Row is a place on a line. Station is from the lower end.
type Row struct {
	Station unit.Length
	At      orb.Point
	Point   string // "" between points
	Kind    parcels.PointKind
	Ground  *unit.Elevation
	Invert  unit.Elevation  // of the pipe that goes on down
	InvUp   *unit.Elevation // of the pipe that comes in from above, where it is another
	Crown   unit.Elevation  // inside top of that pipe
	CrownUp *unit.Elevation // of the pipe that comes in, where it is another
	Water   *unit.Elevation
	Run     string // the pipe up from here; at the upper end the one that ends
}

// Lines splits the network so that each run is in one line. A plan without
// levels has none.
func Lines(p *parcels.Plan) []Line {
	order := make([]int, len(p.Profiles))
	length := make([]float64, len(p.Profiles))
	for i := range order {
		order[i] = i
		if n := len(p.Profiles[i].Rows); n > 0 {
			length[i] = float64(p.Profiles[i].Rows[n-1].Station)
		}
	}
	sort.SliceStable(order, func(a, b int) bool { return length[order[a]] > length[order[b]] })
	used := map[string]bool{}
	var out []Line
	for _, i := range order {
		var own []string
		for _, id := range p.Profiles[i].Runs {
			if used[id] {
				break
			}
			own = append(own, id)
		}
		if len(own) == 0 {
			continue
		}
		l := Line{Name: name(len(out))}
		for k := len(own) - 1; k >= 0; k-- {
			used[own[k]] = true
			l.append(p, own[k])
		}
		if len(l.Rows) > 0 {
			out = append(out, l)
		}
	}
	return out
}

// name is A, B, ... Z, AA, AB, ...
func name(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return name(i/26-1) + string(rune('A'+i%26))
}

// append adds a run at the upper end.
func (l *Line) append(p *parcels.Plan, id string) {
	rows := p.Rows(id)
	r := p.Run(id)
	if len(rows) == 0 || r == nil {
		return
	}
	kind := func(point string) parcels.PointKind {
		if pt := p.Point(point); pt != nil {
			return pt.Kind
		}
		return ""
	}
	start, end := l.Length, rows[len(rows)-1].Station
	if len(l.Runs) == 0 {
		l.From = r.To
	}
	l.Runs, l.To = append(l.Runs, id), r.From
	for k := len(rows) - 1; k >= 0; k-- {
		row := Row{Station: start + end - rows[k].Station, At: rows[k].At, Point: rows[k].Point, Kind: kind(rows[k].Point), Ground: rows[k].Ground, Invert: rows[k].Invert, Crown: rows[k].Crown, Water: rows[k].WaterLevel, Run: id}
		if n := len(l.Rows); k == len(rows)-1 && n > 0 {
			below := &l.Rows[n-1] // the same place: the top of the run below
			below.Run = id
			if d := row.Invert - below.Invert; math.Abs(float64(d)) > 0.0015 {
				below.InvUp = parcels.Num(row.Invert)
			}
			if d := row.Crown - below.Crown; math.Abs(float64(d)) > 0.0015 {
				below.CrownUp = parcels.Num(row.Crown)
			}
			continue
		}
		l.Rows = append(l.Rows, row)
	}
	l.Length = start + end
}

// At gives the row at a station, ground and invert straight between the rows
// beside it.
func (l *Line) At(station unit.Length) Row {
	k := sort.Search(len(l.Rows), func(i int) bool { return l.Rows[i].Station >= station })
	if k == 0 {
		return l.Rows[0]
	}
	if k == len(l.Rows) {
		return l.Rows[k-1]
	}
	a, b := l.Rows[k-1], l.Rows[k]
	if b.Station-station < 1e-6 {
		return b
	}
	f := float64((station - a.Station) / (b.Station - a.Station))
	from := a.Invert
	if a.InvUp != nil {
		from = *a.InvUp
	}
	crown := a.Crown
	if a.CrownUp != nil {
		crown = *a.CrownUp
	}
	out := Row{Station: station, At: orb.Point{a.At[0] + f*(b.At[0]-a.At[0]), a.At[1] + f*(b.At[1]-a.At[1])}, Run: a.Run, Invert: from + unit.Elevation(f)*(b.Invert-from), Crown: crown + unit.Elevation(f)*(b.Crown-crown)}
	if a.Ground != nil && b.Ground != nil {
		out.Ground = parcels.Num(*a.Ground + unit.Elevation(f)*(*b.Ground-*a.Ground))
	}
	return out
}

// Stake is a row with the stake beside it.
type Stake struct {
	Row
	Number int
	Line   string
	Stake  orb.Point
	Offset unit.Length
	Side   string       // of the line looking up it: right, left
	Cut    *unit.Length // ground to invert
	Dig    *unit.Length // ground to trench bottom
	Grade  *unit.Slope  // of the pipe up from here
	Pipe   string
}

// Options of a stake-out.
type Options struct {
	Every  unit.Length // between stakes; 0: 25 ft
	Offset unit.Length // from the line; 0: 3 ft
	// Bedding is the stone under the pipe; it makes the trench bottom.
	Bedding unit.Length
	// Site, where given, keeps stakes on the lots and off the buildings.
	Site *parcels.Site
}

// Of gives the stakes of a plan, line by line, from the lower end up. A plan
// without levels is a *parcels.InputError.
func Of(p *parcels.Plan, o Options) ([]Line, []Stake, error) {
	fault := func(s string) error {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "nothing-to-stake", Pointer: "/profiles", Detail: s}}}
	}
	wide := func(s string) error {
		return &parcels.InputError{Kind: parcels.Invalid, Faults: []parcels.Fault{{Slug: "option-invalid", Pointer: "/every_m", Member: "every_m", Detail: s}}}
	}
	if o.Every == 0 {
		o.Every = 25 * unit.Foot
	}
	if o.Offset == 0 {
		o.Offset = 3 * unit.Foot
	}
	if !(o.Every >= 1*unit.Foot) || !(o.Offset >= 0 && o.Offset <= 50*unit.Foot) {
		return nil, nil, wide(fmt.Sprintf("Stakes every %.2f ft at an offset of %.2f ft cannot be set: give at least 1 ft between stakes and an offset of at most 50 ft.", o.Every.Feet(), o.Offset.Feet()))
	}
	lines := Lines(p)
	if len(lines) == 0 {
		why := "its ground or its outlet's level is not known"
		if p.Summary.WhyNot != "" {
			why = p.Summary.WhyNot
		}
		return nil, nil, fault("The plan has no levels to stake: " + parcels.Excerpt(why) + ".")
	}
	var out []Stake
	for i := range lines {
		l := &lines[i]
		if !(float64(l.Length/o.Every) < 20000) {
			return nil, nil, wide(fmt.Sprintf("Line %s would need more than 20000 stakes; set them wider.", l.Name))
		}
		at := map[int]bool{}
		var stations []unit.Length
		add := func(s unit.Length) {
			if k := int(math.Round(float64(s) * 1000)); !at[k] {
				at[k] = true
				stations = append(stations, s)
			}
		}
		for _, r := range l.Rows {
			if r.Point != "" {
				add(r.Station)
			}
		}
		for k := 0; unit.Length(k)*o.Every < l.Length; k++ {
			add(unit.Length(k) * o.Every)
		}
		sort.Slice(stations, func(a, b int) bool { return stations[a] < stations[b] })
		var set [2][]Stake
		good := [2]int{}
		for side := range set {
			for _, s := range stations {
				st := l.stake(p, s, o, side)
				set[side] = append(set[side], st)
				if clear(o.Site, st.Stake) {
					good[side]++
				}
			}
		}
		side := 0
		if good[1] > good[0] {
			side = 1
		}
		for _, st := range set[side] {
			st.Number = len(out) + 1
			out = append(out, st)
		}
	}
	return lines, out, nil
}

// clear says whether a stake may stand there: on a lot and on no building.
func clear(s *parcels.Site, p orb.Point) bool {
	if s == nil {
		return true
	}
	for i := range s.Buildings {
		if s.Buildings[i].Shape.Bound().Contains(p) && shape.Locate(p, s.Buildings[i].Shape) != shape.Outside {
			return false
		}
	}
	for i := range s.Lots {
		if s.Lots[i].Shape.Bound().Contains(p) && shape.Locate(p, s.Lots[i].Shape) != shape.Outside {
			return true
		}
	}
	return false
}

func (l *Line) stake(p *parcels.Plan, s unit.Length, o Options, side int) Stake {
	st := Stake{Row: l.At(s), Line: l.Name, Offset: o.Offset, Side: []string{"right", "left"}[side]}
	before, after := l.At(max(s-0.05, 0)).At, l.At(min(s+0.05, l.Length)).At
	dx, dy := after[0]-before[0], after[1]-before[1]
	if n := math.Hypot(dx, dy); n > 0 {
		sign := []float64{1, -1}[side]
		st.Stake = orb.Point{st.At[0] + sign*dy/n*float64(o.Offset), st.At[1] - sign*dx/n*float64(o.Offset)}
	} else {
		st.Stake = st.At
	}
	r := p.Run(st.Run)
	if r != nil {
		st.Grade = r.Slope
		st.Pipe = r.Size + " " + r.Pipe
		if r.PipeCount > 1 {
			st.Pipe = fmt.Sprintf("%d x %s", r.PipeCount, st.Pipe)
		}
	}
	if st.Ground != nil {
		st.Cut = parcels.Num(st.Ground.Above(st.Invert))
		if r != nil {
			st.Dig = parcels.Num(*st.Cut + unit.Length((r.OutsideDiameter-r.Diameter)/2000) + o.Bedding)
		}
	}
	return st
}
