package gradeline

// The walk up the tree.

import (
	"fmt"
	"math"
	"sort"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
)

// Regime says how a run flows, from its lower end upward.
type Regime int

const (
	// Still: no flow; the water stands level.
	Still Regime = iota
	// Full: under pressure all along.
	Full
	// FullBelow: under pressure at its lower end, part full above.
	FullBelow
	// FullAbove: it fills on the way up, since it cannot carry the flow part full.
	FullAbove
	// Backwater: part full, deeper than uniform flow.
	Backwater
	// Drawdown: part full, at or below uniform depth, falling to critical depth at a
	// free end.
	Drawdown
	// Steep: part full, faster than critical, held by its upper end.
	Steep
)

func (r Regime) String() string {
	switch r {
	case Still:
		return "still"
	case Full:
		return "full"
	case FullBelow:
		return "full below, part full above"
	case FullAbove:
		return "part full below, full above"
	case Backwater:
		return "part full, backwater"
	case Drawdown:
		return "part full, drawdown"
	case Steep:
		return "part full, steep"
	}
	return fmt.Sprintf("Regime(%d)", int(r))
}

// RunLevel is the grade line along a run.
type RunLevel struct {
	Down, Up      unit.Elevation // water level or pressure head inside the pipe's ends
	DepthDown     unit.Length    // above the invert; more than the diameter under pressure
	DepthUp       unit.Length
	NormalDepth   *unit.Length // nil where the run cannot carry the flow part full
	CriticalDepth unit.Length
	VelocityDown  hydro.Velocity
	VelocityUp    hydro.Velocity
	FullLength    unit.Length // under pressure
	Jump          *unit.Length
	Regime        Regime
	Losses        unit.Length // bends and fittings along the run
}

// NodeLevel is the water at a node.
type NodeLevel struct {
	Level     unit.Elevation
	Freeboard *unit.Length // rim over level; negative where water comes out; nil: no rim
	Spills    bool
	// Junction, Entrance and Exit are the losses worked at the node, above the
	// outgoing pipe's grade line; Entrance includes the velocity head of that pipe.
	Junction, Entrance, Exit unit.Length
}

// Result holds a level for each node and run, in the network's order.
type Result struct {
	Nodes []NodeLevel
	Runs  []RunLevel
	// Spilling are the nodes whose rim is below the level, worst first.
	Spilling []int
	Notes    []hydro.Note
}

// Codes of notes.
const (
	NoteOutletOverRims = "outlet_level_above_every_rim"
	NoteAdverse        = "run_against_the_flow"
	NoteSpills         = "water_comes_out"
)

// Solve works the grade line from the outlet upward. The runs must form a tree
// into the outlet; faulty input is a *hydro.RangeError (wrapped with the run) or
// an error that names run and node. Cost: one pass, some microseconds a run.
//
//	V = Q/A                         velocity, m/s
//	hv = V^2/2g                     velocity head, m
//	exit      hv of the last pipe: its grade line ends at the outlet's level
//	bend      0.0033 angle hv       each, degrees (HEC22)
//	junction  (Qo Vo - sum Q V cos angle)/(g (Ao + Ai)/2), not below 0: the rise of
//	          the grade line by momentum (HEC22, equation 7-10), Ai of the straightest
//	entrance  (1 + Ke) hv           from a basin's still water into its pipe
//
// A pipe that enters above the water of its node falls free there.
func Solve(n Network) (Result, error) {
	order, err := n.order()
	if err != nil {
		return Result{}, err
	}
	r := Result{Nodes: make([]NodeLevel, len(n.Nodes)), Runs: make([]RunLevel, len(n.Runs))}
	cs := make([]conduit, len(n.Runs))
	for i, run := range n.Runs {
		cs[i] = newConduit(run.Pipes, float64(run.Flow), float64(run.Slope()))
		if run.Slope() <= 0 {
			r.Notes = append(r.Notes, hydro.Note{Code: NoteAdverse,
				Text: fmt.Sprintf("run %s rises %.3f m against its flow: it drains only under head and holds water", n.runName(i), -float64(run.InvertUp.Above(run.InvertDown)))})
		}
	}
	incoming := make([][]int, len(n.Nodes))
	for _, i := range order {
		incoming[n.Runs[i].To] = append(incoming[n.Runs[i].To], i)
	}
	r.outlet(n, incoming[n.Outlet], cs)
	for _, i := range order {
		run, c := n.Runs[i], &cs[i]
		level := r.Nodes[run.To].Level
		y := float64(level.Above(run.InvertDown))
		if run.To == n.Outlet {
			y = startDepth(c, run, n)
		}
		p := c.backwater(y, float64(run.Length), nil)
		r.Runs[i] = runLevel(run, c, p)
		r.node(n, run.From, i, incoming[run.From], cs)
	}
	r.judge(n)
	return r, nil
}

// startDepth is the depth inside the end of a run at the outlet.
func startDepth(c *conduit, run Run, n Network) float64 {
	y := c.yc
	if math.IsNaN(c.yn) && n.Start == MidCritical && c.q > 0 {
		y = (c.yc + c.d) / 2
	}
	if n.Level != nil {
		if tw := float64(n.Level.Above(run.InvertDown)); tw > y {
			return tw
		}
	}
	return y
}

func (r *Result) outlet(n Network, in []int, cs []conduit) {
	nl := &r.Nodes[n.Outlet]
	level := math.Inf(-1)
	for _, i := range in {
		end := float64(n.Runs[i].InvertDown.Plus(unit.Length(startDepth(&cs[i], n.Runs[i], n))))
		level = math.Max(level, end)
		if v := cs[i].velocity(startDepth(&cs[i], n.Runs[i], n)); v > 0 {
			nl.Exit = max(nl.Exit, unit.Length(v*v/(2*hydro.Gravity)))
		}
	}
	if n.Level != nil {
		level = float64(*n.Level)
	}
	nl.Level = unit.Elevation(level)
}

func runLevel(run Run, c *conduit, p profile) RunLevel {
	v := math.Max(c.velocity(p.up), c.velocity(p.down))
	hv := v * v / (2 * hydro.Gravity)
	k := run.Fittings
	for _, b := range run.Bends {
		k += 0.0033 * b
	}
	loss := k * hv
	if p.regime == Steep {
		loss = 0 // above critical depth's control a bend does not reach upstream
	}
	up := p.up + loss
	l := RunLevel{
		Down: run.InvertDown.Plus(unit.Length(p.down)), Up: run.InvertUp.Plus(unit.Length(up)),
		DepthDown: unit.Length(p.down), DepthUp: unit.Length(up), CriticalDepth: unit.Length(c.yc),
		VelocityDown: hydro.Velocity(c.velocity(p.down)), VelocityUp: hydro.Velocity(c.velocity(up)),
		FullLength: unit.Length(p.full), Regime: p.regime, Losses: unit.Length(loss),
	}
	if !math.IsNaN(c.yn) {
		yn := unit.Length(c.yn)
		l.NormalDepth = &yn
	}
	if !math.IsNaN(p.jump) {
		j := unit.Length(p.jump)
		l.Jump = &j
	}
	return l
}

// node sets the level of the node above run i: what the depth in the run asks
// for, and never less than what the run asks for when it falls free from critical
// depth (the least head that drives the flow into it).
func (r *Result) node(n Network, node, i int, in []int, cs []conduit) {
	nl, rl, c := &r.Nodes[node], &r.Runs[i], &cs[i]
	run := n.Runs[i]
	nl.Level = rl.Up
	if c.q <= 0 {
		return
	}
	loss := func(depth float64) unit.Length {
		if n.Nodes[node].Kind == Open {
			v := c.velocity(depth)
			return unit.Length((1 + n.Nodes[node].Entrance) * v * v / (2 * hydro.Gravity))
		}
		return unit.Length(junction(run, c, depth, n.Runs, in, cs))
	}
	add := loss(float64(rl.DepthUp))
	free := unit.Length(c.yc) + loss(c.yc)
	add = max(add, free-rl.DepthUp)
	if n.Nodes[node].Kind == Open {
		nl.Entrance = add
	} else {
		nl.Junction = add
	}
	nl.Level = rl.Up.Plus(add)
}

// junction is the rise of the grade line across a sealed node by momentum along
// the outgoing pipe, which runs at the given depth there. The areas of the
// arriving pipes depend on the level, so the sum is taken twice.
func junction(out Run, c *conduit, depth float64, runs []Run, in []int, cs []conduit) (rise float64) {
	ao := c.areaAll(depth, out.Pipes)
	for pass := 0; pass < 2; pass++ {
		m := float64(out.Flow) * float64(out.Flow) / ao
		ai, straightest := 0.0, math.Inf(1)
		level := out.InvertUp.Plus(unit.Length(depth + rise))
		for _, k := range in {
			ck, rk := &cs[k], runs[k]
			if rk.Flow <= 0 {
				continue
			}
			a := ck.areaAll(math.Max(ck.yc, float64(level.Above(rk.InvertDown))), rk.Pipes)
			m -= float64(rk.Flow) * float64(rk.Flow) / a * math.Cos(rk.JoinAngle*math.Pi/180)
			if rk.JoinAngle < straightest {
				straightest, ai = rk.JoinAngle, a
			}
		}
		if ai == 0 {
			return 0
		}
		rise = math.Max(0, m/(hydro.Gravity*(ao+ai)/2))
	}
	return rise
}

// areaAll is the wetted area of all the run's pipes at depth y.
func (c *conduit) areaAll(y float64, b pipe.Barrels) float64 {
	a, _, _ := c.at(y)
	return a * float64(len(b)) / float64(len(c.pipes))
}

func (r *Result) judge(n Network) {
	rims, under := 0, 0
	for i := range r.Nodes {
		rim := n.Nodes[i].Rim
		if rim == nil {
			continue
		}
		f := rim.Above(r.Nodes[i].Level)
		r.Nodes[i].Freeboard = &f
		r.Nodes[i].Spills = f < 0
		if f < 0 {
			r.Spilling = append(r.Spilling, i)
		}
		rims++
		if n.Level != nil && *n.Level > *rim {
			under++
		}
	}
	sort.SliceStable(r.Spilling, func(a, b int) bool {
		return *r.Nodes[r.Spilling[a]].Freeboard < *r.Nodes[r.Spilling[b]].Freeboard
	})
	for _, i := range r.Spilling {
		r.Notes = append(r.Notes, hydro.Note{Code: NoteSpills, Source: source.HEC22,
			Text: fmt.Sprintf("at node %s the grade line stands %.3f m above the rim: water comes out there", n.nodeName(i), -float64(*r.Nodes[i].Freeboard))})
	}
	if rims > 0 && rims == under {
		r.Notes = append(r.Notes, hydro.Note{Code: NoteOutletOverRims,
			Text: fmt.Sprintf("the water at the outlet, %.3f m, stands above every rim: the line runs backward and no pipe size cures it", float64(*n.Level))})
	}
}

// Station is the water in a run at a distance from its lower end.
type Station struct {
	Distance unit.Length
	Depth    unit.Length
	Level    unit.Elevation
}

// Along returns the grade line along a run for the depth at its lower end that
// Solve found (RunLevel.DepthDown), lower end first. Losses of bends and fittings
// are not spread along it; they stand in RunLevel.Losses at the upper end. Where
// a steep run has a jump the stations below it are the backwater's.
func Along(run Run, depthDown unit.Length) ([]Station, error) {
	if err := run.check(run.Name); err != nil {
		return nil, err
	}
	if err := hydro.Check("depth at the lower end", float64(depthDown), -1e4, 1e4, "m", ""); err != nil {
		return nil, err
	}
	c := newConduit(run.Pipes, float64(run.Flow), float64(run.Slope()))
	var out []Station
	c.backwater(float64(depthDown), float64(run.Length), func(x, y float64) {
		if n := len(out); n > 0 && x <= float64(out[n-1].Distance) {
			return
		}
		inv := run.InvertDown.Plus(run.Slope().Over(unit.Length(x)))
		out = append(out, Station{unit.Length(x), unit.Length(y), inv.Plus(unit.Length(y))})
	})
	return out, nil
}
