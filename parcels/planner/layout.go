package planner

// A tree of trenches as the profile and the network see it: nodes and straight
// runs downstream, what water enters where, and which pipes lie in each run.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/route"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro/pipe"
	"fallwright/hydro/profile"
	"fallwright/parcels"
)

type node struct {
	at       orb.Point
	kind     parcels.PointKind
	water    *water // of an intake
	end      *end   // of the outlet
	id       string
	in       []int // runs that arrive
	out      int   // run that leaves, -1 at the outlet
	turn     float64
	inserted bool
}

func (n *node) name() string {
	switch {
	case n.water != nil:
		return n.water.intake.ID
	case n.end != nil:
		return n.end.id
	case n.id != "":
		return n.id
	}
	return "a " + string(n.kind)
}

// pipeRun is one pipe (or pipes alike) between two nodes. Two pipes in one
// trench are two runs of which each names the other as its twin.
type pipeRun struct {
	from, to   int
	leadOff    bool
	tieIn      bool
	kept       bool // along a line drawn for a perforated pipe
	perforated int  // count of perforated pipes; 0: a solid pipe
	twin       int  // the run of the other kind in the same trench, -1: none
	ground     bool // ground water flows in it
	length     unit.Length

	// summed from upstream
	waters []*water
}

func (r *pipeRun) solid() bool { return r.perforated == 0 }

// layout keeps runs so that each stands after all that flow into it.
type layout struct {
	lp    *lotPlan
	end   *end
	nodes []node
	runs  []pipeRun
}

// layout makes the layout of a route tree, solid pipes everywhere; perforate
// puts the perforated ones in.
func (lp *lotPlan) layout(t *route.Tree) *layout {
	l := &layout{lp: lp, end: &lp.ends[t.Target]}
	for _, n := range t.Nodes {
		m := node{at: lp.snap(n.At), out: -1, kind: parcels.PointBend}
		switch n.Kind {
		case route.KindJoin:
			m.kind = parcels.PointWye
		case route.KindTarget:
			m.kind, m.end = parcels.PointOutlet, l.end
			m.at = l.end.at
			if l.end.inlet != nil {
				m.kind = parcels.PointInlet
			}
		case route.KindSource:
			m.kind, m.water, m.at = parcels.PointIntake, &lp.waters[n.Source], lp.waters[n.Source].intake.At
		case route.KindStart:
			m.kind = parcels.PointCleanout
		}
		l.nodes = append(l.nodes, m)
	}
	for _, r := range t.Runs {
		l.runs = append(l.runs, pipeRun{from: r.From, to: r.To, leadOff: r.LeadOff, tieIn: r.TieIn, kept: r.Kept, twin: -1})
	}
	l.link()
	return l
}

// perforate lays the perforated pipes along the lines drawn for them. Where
// water of roofs or yards comes down such a line, it goes in a solid pipe of its
// own beside the perforated one in the same trench (P-104); where none does,
// the perforated pipe lies alone. At the lower end of the line the perforated
// pipe joins the solid one.
func (l *layout) perforate() {
	for i := range l.runs {
		// A drain drawn to be kept stays where it is drawn and is solid.
		l.runs[i].kept = l.runs[i].kept && l.lp.pipesAlong(l.runs[i], l.nodes) > 0
	}
	var runs []pipeRun
	solidOf := map[int]int{} // old index -> new
	for i, r := range l.runs {
		if r.kept && len(r.waters) == 0 {
			continue
		}
		solidOf[i] = len(runs)
		runs = append(runs, r)
	}
	var chains []pipeRun
	for i := range l.runs {
		n := &l.nodes[l.runs[i].from]
		if !l.runs[i].kept || slices.ContainsFunc(n.in, func(k int) bool { return l.runs[k].kept }) {
			continue
		}
		prev := len(l.nodes)
		l.nodes = append(l.nodes, node{at: n.at, kind: parcels.PointCleanout, out: -1})
		for k := i; k >= 0 && l.runs[k].kept; k = l.nodes[l.runs[k].to].out {
			to := l.runs[k].to
			next := l.nodes[to].out
			if next >= 0 && l.runs[next].kept {
				at, access := l.nodes[to].at, l.nodes[to].inserted
				to = len(l.nodes)
				l.nodes = append(l.nodes, node{at: at, kind: parcels.PointBend, out: -1, inserted: access})
			}
			c := pipeRun{from: prev, to: to, perforated: l.lp.pipesAlong(l.runs[k], l.nodes), ground: true, twin: -1}
			if s, ok := solidOf[k]; ok {
				c.twin = s
			}
			chains = append(chains, c)
			prev = to
		}
	}
	// The chains first: each joins a run that stands after it.
	l.runs = append(chains, runs...)
	for i := range l.runs {
		if t := l.runs[i].twin; i < len(chains) && t >= 0 {
			l.runs[i].twin = t + len(chains)
			l.runs[t+len(chains)].twin = i
		}
	}
	l.compact()
	l.link()
}

// compact drops nodes that no run uses.
func (l *layout) compact() {
	to := make([]int, len(l.nodes))
	for i := range to {
		to[i] = -1
	}
	for i := range l.runs {
		to[l.runs[i].from], to[l.runs[i].to] = 0, 0
	}
	var nodes []node
	for i := range l.nodes {
		if to[i] == 0 {
			to[i] = len(nodes)
			nodes = append(nodes, l.nodes[i])
		}
	}
	l.nodes = nodes
	for i := range l.runs {
		l.runs[i].from, l.runs[i].to = to[l.runs[i].from], to[l.runs[i].to]
	}
}

// pipesAlong is the count of perforated pipes asked for along a drawn line; 0
// where the line was drawn for none.
func (lp *lotPlan) pipesAlong(r pipeRun, nodes []node) int {
	a, b := nodes[r.from].at, nodes[r.to].at
	mid := orb.Point{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2}
	for _, w := range lp.wanted {
		if d, _ := shape.PointLine(mid, w.Line); d < 2*unit.Millimetre {
			return max(1, w.PipeCount)
		}
	}
	return 0
}

// link works out what follows from nodes and runs.
func (l *layout) link() {
	for i := range l.nodes {
		l.nodes[i].in, l.nodes[i].out = nil, -1
	}
	for i := range l.runs {
		r := &l.runs[i]
		a, b := l.nodes[r.from].at, l.nodes[r.to].at
		r.length = unit.Length(math.Hypot(b[0]-a[0], b[1]-a[1]))
		l.nodes[r.from].out = i
		l.nodes[r.to].in = append(l.nodes[r.to].in, i)
	}
	for i := range l.runs {
		r := &l.runs[i]
		r.waters = nil
		n := &l.nodes[r.from]
		if n.water != nil {
			r.waters = append(r.waters, n.water)
		}
		for _, k := range n.in {
			r.waters = append(r.waters, l.runs[k].waters...)
			r.ground = r.ground || l.runs[k].ground
		}
	}
	for i := range l.nodes {
		n := &l.nodes[i]
		n.turn = 0
		if n.out < 0 {
			continue
		}
		for _, k := range n.in {
			n.turn = math.Max(n.turn, l.deflection(k, n.out))
		}
		if n.kind == parcels.PointBend || n.kind == parcels.PointWye {
			n.kind = parcels.PointBend
			if len(n.in) > 1 && n.turn > l.lp.site.Criteria.Route.JoinAngle+0.05 {
				n.kind = parcels.PointBasin // a drawn line ends aslant: no wye makes that turn
			} else if len(n.in) > 1 {
				n.kind = parcels.PointWye
			} else if n.inserted {
				n.kind = parcels.PointCleanout
			}
		}
	}
}

// deflection is the angle in degrees by which run i turns into run j.
func (l *layout) deflection(i, j int) float64 {
	a, b, c := l.nodes[l.runs[i].from].at, l.nodes[l.runs[i].to].at, l.nodes[l.runs[j].to].at
	x1, y1, x2, y2 := b[0]-a[0], b[1]-a[1], c[0]-b[0], c[1]-b[1]
	return math.Abs(math.Atan2(x1*y2-y1*x2, x1*x2+y1*y2)) * 180 / math.Pi
}

// cleanoutLate is how much later than asked a cleanout may stand where no run can
// hold it sooner: a bend and a wye lie close by each other there.
const cleanoutLate = unit.Metre - 2*inHand

// split puts a cleanout wherever the way since the last access is longer than
// every. No run is cut shorter than the least straight, the first run and the last
// not at all: there the cleanout stands a little later, or, where the next place
// for one lies too far on, before. Intakes and upper ends are accesses (P-100, P-101).
func (l *layout) split(every unit.Length) {
	if every <= 0 {
		return
	}
	least := l.lp.site.Criteria.Route.LeastStraight
	holds := func(r *pipeRun) bool { return !r.leadOff && !r.tieIn && r.length >= 2*(least+inHand) }
	// ahead is how far below a run the next place for a cleanout lies, or an access
	ahead := make([]unit.Length, len(l.runs))
	for i := len(l.runs) - 1; i >= 0; i-- {
		n := &l.nodes[l.runs[i].to]
		switch {
		case n.out < 0 || n.water != nil:
			ahead[i] = 0
		case holds(&l.runs[n.out]):
			ahead[i] = least + inHand
		default:
			ahead[i] = l.runs[n.out].length + ahead[n.out]
		}
	}
	since := make([]unit.Length, len(l.nodes))
	var runs []pipeRun
	for i, r := range l.runs {
		a, b := l.nodes[r.from].at, l.nodes[r.to].at
		access := -since[r.from] // the last one, as a place along the run
		if l.nodes[r.from].water != nil || len(l.nodes[r.from].in) == 0 {
			access = 0
		}
		last := r
		soonest, latest := least+inHand, r.length-least-inHand
		for holds(&r) && soonest <= latest && (access+every <= latest || r.length-access+ahead[i] > every+cleanoutLate) {
			at := max(soonest, min(access+every, latest))
			f := float64(at / r.length)
			l.nodes = append(l.nodes, node{at: l.lp.snap(orb.Point{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])}), kind: parcels.PointCleanout, inserted: true, out: -1})
			since = append(since, 0)
			piece := last
			piece.to = len(l.nodes) - 1
			runs = append(runs, piece)
			last.from = piece.to
			access, soonest = at, at+least+inHand
		}
		runs = append(runs, last)
		since[r.to] = max(since[r.to], r.length-access)
	}
	l.runs = runs
	l.link()
}

// along is the ground under a straight run. Where the surface has none the
// nearest known level is held and known is false.
func (lp *lotPlan) along(a, b orb.Point) *stretch {
	s := lp.straight(a, b)
	if s.measured {
		return s
	}
	s.measured = true
	length := unit.Length(math.Hypot(b[0]-a[0], b[1]-a[1]))
	p := lp.surface.Along(orb.LineString{a, b})
	s.known = p.Complete()
	for _, st := range p.Stations {
		d := min(max(st.Distance, 0), length)
		if n := len(s.stations); n > 0 && d-s.stations[n-1].At < 1e-6 {
			continue
		}
		s.stations = append(s.stations, profile.Station{At: d, Ground: st.Elevation})
	}
	if len(s.stations) == 0 {
		if z, ok := lp.nearestGround(a); ok {
			s.stations = []profile.Station{{At: 0, Ground: z}, {At: length, Ground: z}}
		}
		s.known = false
	} else {
		if first := s.stations[0]; first.At > 0 {
			if first.At > 1e-6 {
				s.known = false
			}
			s.stations = append([]profile.Station{{At: 0, Ground: first.Ground}}, s.stations...)
			if first.At <= 1e-6 {
				s.stations = append(s.stations[:1], s.stations[2:]...)
			}
		}
		if n := len(s.stations); s.stations[n-1].At < length {
			if length-s.stations[n-1].At > 1e-6 {
				s.known = false
				s.stations = append(s.stations, profile.Station{At: length, Ground: s.stations[n-1].Ground})
			} else {
				s.stations[n-1].At = length
			}
		}
		if len(s.stations) == 1 {
			s.stations = append(s.stations, profile.Station{At: length, Ground: s.stations[0].Ground})
		}
	}
	return s
}

// straight is what is known of a straight line so far.
func (lp *lotPlan) straight(a, b orb.Point) *stretch {
	key := [4]float64{a[0], a[1], b[0], b[1]}
	s := lp.cache[key]
	if s == nil {
		s = new(stretch)
		lp.cache[key] = s
	}
	return s
}

// nearestGround is the level of the nearest shot, for places off the surface.
func (lp *lotPlan) nearestGround(p orb.Point) (unit.Elevation, bool) {
	best, ok := unit.Elevation(0), false
	near := math.Inf(1)
	for _, sp := range lp.site.Spots {
		if d := math.Hypot(sp.At[0]-p[0], sp.At[1]-p[1]); d < near {
			near, best, ok = d, sp.Z, true
		}
	}
	return best, ok
}

// planCost prices a layout whose depth is not known: shallowest everywhere.
func (l *layout) planCost() float64 {
	cost := l.lp.site.Criteria.Prices.TieInEach
	for i := range l.runs {
		cost += l.planCostOf(i)
	}
	return cost
}

func (l *layout) planCostOf(i int) float64 {
	c := l.lp.site.Criteria
	least := l.lp.stock[l.lp.solidPipe[0]]
	return float64(l.runs[i].length)*(c.Prices.TrenchPerM+c.Prices.DepthPerM2*float64(c.Pipe.LeastCover+least.Outside+c.Trench.Bedding)+least.Price) + l.fixed(i)
}

// fixed is what a run costs beside trench and pipe: its fittings and what it
// crosses.
func (l *layout) fixed(i int) float64 {
	p := l.lp.site.Criteria.Prices
	n := &l.nodes[l.runs[i].from]
	cost := 0.0
	switch n.kind {
	case parcels.PointBend:
		if n.turn > 0.5 {
			cost += p.BendEach
		}
		if n.turn > 45.5 {
			cost += p.BendEach
		}
	case parcels.PointWye:
		cost += p.WyeEach
	case parcels.PointCleanout:
		cost += p.CleanoutEach
	}
	return cost + l.lp.over(n.at, l.nodes[l.runs[i].to].at)
}

// over is the price of the regions that a straight line crosses.
func (lp *lotPlan) over(a, b orb.Point) float64 {
	s := lp.straight(a, b)
	if s.priced {
		return s.extra
	}
	s.priced = true
	line := orb.LineString{a, b}
	box := line.Bound()
	for _, r := range lp.crossed() {
		if !r.box.Intersects(box) {
			continue
		}
		inside, times := within(line, r.Shape)
		s.extra += r.PerMetre*float64(inside) + r.Each*float64(times)
	}
	return s.extra
}

// boxed is a region with its box.
type boxed struct {
	route.Region
	box orb.Bound
}

// crossed are the regions once worked out.
func (lp *lotPlan) crossed() []boxed {
	if lp.regionsOf == nil {
		rs, err := lp.regions()
		if err != nil {
			return nil
		}
		lp.regionsOf = make([]boxed, len(rs))
		for i, r := range rs {
			lp.regionsOf[i] = boxed{r, r.Shape.Bound()}
		}
	}
	return lp.regionsOf
}

// within is the length of a straight line inside an area and how often it
// enters.
func within(l orb.LineString, area orb.MultiPolygon) (unit.Length, int) {
	a, b := l[0], l[1]
	cuts := []float64{0, 1}
	for _, p := range area {
		for _, r := range p {
			for i := 0; i+1 < len(r); i++ {
				if m, at := shape.Cross(a, b, r[i], r[i+1]); m != shape.Apart {
					d := math.Hypot(b[0]-a[0], b[1]-a[1])
					cuts = append(cuts, math.Hypot(at[0]-a[0], at[1]-a[1])/d)
				}
			}
		}
	}
	slices.Sort(cuts)
	total, times, inside := 0.0, 0, false
	for i := 0; i+1 < len(cuts); i++ {
		if cuts[i+1]-cuts[i] < 1e-9 {
			continue
		}
		m := (cuts[i] + cuts[i+1]) / 2
		in := shape.Locate(orb.Point{a[0] + m*(b[0]-a[0]), a[1] + m*(b[1]-a[1])}, area) == shape.Inside
		if in {
			total += cuts[i+1] - cuts[i]
			if !inside {
				times++
			}
		}
		inside = in
	}
	return unit.Length(total * math.Hypot(b[0]-a[0], b[1]-a[1])), times
}

// profile lays the pipes of a layout and writes the result into out: at the
// tie-in level first, then, where that is too high, at the lower one.
func (lp *lotPlan) profile(l *layout, out *profile.Result) error {
	p := lp.problem(l)
	lp.thin(l, p)
	if err := lp.solver.Solve(p, out); err != nil {
		return err
	}
	if out.Verdict == profile.Short && l.end.lower != nil {
		p.End.TieIn = *l.end.lower
		if err := lp.solver.Solve(p, out); err != nil {
			return err
		}
	}
	l.abreast(out)
	if l.end.atGrade() {
		for i := range l.runs {
			lp.remeasure(l, i, &out.Reaches[i])
		}
	}
	return nil
}

// abreast brings a perforated pipe down to the solid one beside it where it
// would lie above it, so that ground water is drained before it touches the
// solid pipe (P-105). Both arrive at one level at the lower end, so the solid
// pipe's own line is open to it; what lies upstream follows down. Each profile is
// the highest by its own rules, and at every end the lower of two profiles that
// fall enough falls enough too: the result is the highest that keeps both, but that
// a run brought down at its end only starts lower too where it would be too steep: than
// the criteria let it be, or than stock bends make it (45 degrees).
func (l *layout) abreast(out *profile.Result) {
	rules := l.lp.site.Criteria.Pipe
	most := rules.GreatestSlope
	if most == 0 {
		most = 1
	}
	for i := len(l.runs) - 1; i >= 0; i-- {
		r := &l.runs[i]
		if r.solid() {
			continue
		}
		laid := &out.Reaches[i]
		if r.twin >= 0 {
			s := &out.Reaches[r.twin]
			laid.InvertUp, laid.InvertDown = min(laid.InvertUp, s.InvertUp), min(laid.InvertDown, s.InvertDown)
		}
		if next := l.nodes[r.to].out; next >= 0 && !l.runs[next].solid() {
			laid.InvertDown = min(laid.InvertDown, out.Reaches[next].InvertUp)
		}
		if fall := float64(laid.InvertUp.Above(laid.InvertDown)); fall > float64(most)*float64(r.length)+0.001 {
			fall = max(math.Floor(1000*float64(most)*float64(r.length)+1e-6), math.Ceil(1000*float64(rules.LeastSlope)*float64(r.length)-1e-6)) / 1000
			laid.InvertUp = mm(laid.InvertDown.Plus(unit.Length(fall)))
		}
		l.lp.remeasure(l, i, laid)
	}
}

// remeasure works out again what follows from the inverts of a run.
func (lp *lotPlan) remeasure(l *layout, i int, laid *profile.Laid) {
	r := &l.runs[i]
	k := lp.stockOf[laid.Pipe]
	wall := (k.OutsideDiameter - k.Diameter) / 2000
	laid.Slope = unit.Grade(laid.InvertUp.Above(laid.InvertDown), r.length)
	if full, err := pipe.Alike(max(1, r.perforated), pipe.Pipe{Diameter: unit.Length(k.Diameter / 1000), N: k.N}).Capacity(laid.Slope); err == nil {
		laid.Capacity = full
	}
	laid.Cover, laid.Depth = unit.Length(math.Inf(1)), unit.Length(math.Inf(-1))
	for _, s := range lp.along(l.nodes[r.from].at, l.nodes[r.to].at).stations {
		inv := float64(laid.InvertUp) - float64(laid.Slope)*float64(s.At)
		if c := unit.Length(float64(s.Ground) - inv - k.Diameter/1000 - wall); c < laid.Cover {
			laid.Cover, laid.CoverAt = c, s.At
		}
		if d := unit.Length(float64(s.Ground)-inv+wall) + lp.site.Criteria.Trench.Bedding; d > laid.Depth {
			laid.Depth, laid.DepthAt = d, s.At
		}
	}
}

// problem puts a layout to the profile.
func (lp *lotPlan) problem(l *layout) *profile.Problem {
	c := lp.site.Criteria
	p := &profile.Problem{Stock: lp.stock, Intensity: lp.intensity,
		Rules: profile.Rules{TargetSlope: c.Pipe.TargetSlope, LeastSlope: c.Pipe.LeastSlope, GreatestSlope: c.Pipe.GreatestSlope, LeastCover: c.Pipe.LeastCover, GreatestDepth: c.Pipe.GreatestDepth,
			Bedding: c.Trench.Bedding, LeastVelocity: c.Pipe.LeastVelocity, Match: profile.Inverts}}
	low := math.Inf(1)
	for i := range l.runs {
		r := &l.runs[i]
		from := &l.nodes[r.from]
		ground := lp.along(from.at, l.nodes[r.to].at)
		q := profile.Reach{Down: profile.Outlet, Length: r.length, Ground: ground.stations, Count: 1,
			TrenchPrice: c.Prices.TrenchPerM, DepthPrice: c.Prices.DepthPerM2, Fixed: l.fixed(i), GroundWater: len(r.waters) == 0, Pipes: lp.solidPipe}
		if !r.solid() {
			q.Pipes, q.Count = lp.perfPipe, r.perforated
			if r.twin >= 0 { // its trench is dug for the solid pipe
				q.TrenchPrice, q.DepthPrice, q.Fixed = 0, 0, 0
			}
		}
		if to := &l.nodes[r.to]; to.out >= 0 {
			q.Down = to.out
		}
		if w := from.water; w != nil {
			if lp.intensity != nil {
				q.Inflow = w.in
			}
			q.Stated = w.stated
			q.Start = profile.Start{Invert: w.intake.Invert, Cover: w.intake.StartCover}
			if w.intake.Kind != "downspout" {
				q.Drop = basinDrop
			}
		}
		for _, s := range ground.stations {
			low = math.Min(low, float64(s.Ground))
		}
		q.Crossings = lp.crossings(from.at, l.nodes[r.to].at)
		p.Reaches = append(p.Reaches, q)
	}
	switch {
	case l.end.tieIn != nil:
		p.End = profile.End{TieIn: *l.end.tieIn}
		if l.end.atMost != nil {
			p.End.AtMost = l.end.atMost
		}
	default: // not known: any level will do, and a finding says so
		p.End = profile.End{TieIn: unit.Elevation(low - 50)}
	}
	if in := l.end.inlet; in != nil {
		p.End.Rim = in.Rim
	}
	return p
}

// basinDrop is the greatest step in a basin: it has a sump and walls to take
// one (common practice).
const basinDrop = 0.3 * unit.Metre

// crossings are the utilities of known level that a straight run crosses, as
// bands with the clearance on both sides.
func (lp *lotPlan) crossings(a, b orb.Point) []profile.Crossing {
	s := lp.straight(a, b)
	if s.looked {
		return s.met
	}
	s.looked = true
	var out []profile.Crossing
	box := orb.MultiPoint{a, b}.Bound()
	length := math.Hypot(b[0]-a[0], b[1]-a[1])
	for i := range lp.site.Obstacles {
		o := &lp.site.Obstacles[i]
		line, ok := o.Geometry.(orb.LineString)
		if !ok || o.Kind != "utility" && o.Kind != "existing_drain" || !line.Bound().Intersects(box) {
			continue
		}
		for k := 0; k+1 < len(line); k++ {
			m, at := shape.Cross(a, b, line[k], line[k+1])
			if m == shape.Apart {
				continue
			}
			level, ok := lp.utilityLevel(o, at)
			if !ok {
				continue
			}
			d := math.Hypot(at[0]-a[0], at[1]-a[1])
			out = append(out, profile.Crossing{At: unit.Length(math.Min(d, length)), Low: level.Plus(-verticalClear), High: level.Plus(verticalClear), Pass: profile.Either})
		}
	}
	s.met = slices.Clip(out[:min(4, len(out))]) // others add to theirs
	return s.met
}

// verticalClear is what is kept between a pipe and a crossed utility: 12 in
// (common practice, P-87).
const verticalClear = 0.3048 * unit.Metre

// utilityLevel is the level of a utility at a place: given, or its cover under
// the ground there.
func (lp *lotPlan) utilityLevel(o *parcels.Obstacle, at orb.Point) (unit.Elevation, bool) {
	if o.Elevation != nil {
		return *o.Elevation, true
	}
	if o.Cover != nil && lp.surface != nil {
		if g, ok := lp.surface.At(at); ok {
			return g.Elevation.Plus(-*o.Cover), true
		}
	}
	return 0, false
}

// widest is the width of the widest trench that the profile's pipes need.
func (lp *lotPlan) widest(l *layout, r *profile.Result) unit.Length {
	w := unit.Length(0)
	for i := range l.runs {
		w = max(w, lp.widthOf(l, r, i))
	}
	return w
}

// widthOf is the width of the trench of run i: of all the pipes in it.
func (lp *lotPlan) widthOf(l *layout, r *profile.Result, i int) unit.Length {
	var od []float64
	add := func(k int) {
		pr := &l.runs[k]
		stock := lp.solidPipe[0]
		if !pr.solid() {
			stock = lp.perfPipe[0]
		}
		if r != nil {
			stock = r.Reaches[k].Pipe
		}
		for n := 0; n < max(1, pr.perforated); n++ {
			od = append(od, lp.stockOf[stock].OutsideDiameter)
		}
	}
	add(i)
	if t := l.runs[i].twin; t >= 0 {
		add(t)
	}
	return lp.trenchWidth(od...)
}
