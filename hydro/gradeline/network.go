package gradeline

// The network as the caller gives it, and the checks that it is a tree.

import (
	"fmt"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/source"
)

// Kind says how water passes a node.
type Kind int

const (
	// Sealed: a wye, bend, cleanout or reducer: the pipe is closed there.
	Sealed Kind = iota
	// Open: a basin or intake with a free water surface.
	Open
)

// Node is a point of the network.
type Node struct {
	Name string
	Kind Kind
	// Rim is where water would come out: the grate, the cap of a cleanout, or the
	// ground over a joint. Nil: not known, no freeboard is told.
	Rim *unit.Elevation
	// Entrance is the loss coefficient into the outgoing pipe of an Open node, on
	// its velocity head; see Entrances. Zero is a real value (no loss).
	Entrance float64
}

// Run is a pipe, or pipes side by side, from node From down to node To.
type Run struct {
	Name       string
	From, To   int // indexes of Network.Nodes
	Pipes      pipe.Barrels
	Length     unit.Length
	InvertUp   unit.Elevation
	InvertDown unit.Elevation
	Flow       hydro.Flow // of all pipes together
	// JoinAngle is the deflection at To, degrees, between this run and the outgoing
	// run: 0 straight on, 45 a wye, 90 a square tee.
	JoinAngle float64
	// Bends are deflections along the run, degrees each.
	Bends []float64
	// Fittings is the sum of other loss coefficients on the run's velocity head.
	Fittings float64
}

// Slope returns the run's fall over its length; zero and below for a run that is
// laid level or against the flow.
func (r Run) Slope() unit.Slope { return unit.Grade(r.InvertUp.Above(r.InvertDown), r.Length) }

// Start is the rule for the grade line at an outlet that falls free, or whose
// water stands lower than the pipe's own control.
type Start int

const (
	// MidCritical: the pipe running full starts at (critical depth + D)/2 above the
	// invert; one running part full starts at critical depth, or at normal depth
	// where that is lower (steep). Source: HEC22, section 7.1.4.
	MidCritical Start = iota
	// Critical: at critical depth always. Source: TxDOT, chapter 6, section 3. It is
	// the lower of the two and on the unsafe side of the other for full pipes.
	Critical
)

// Network is a tree of runs that all end at the outlet.
type Network struct {
	Nodes  []Node
	Runs   []Run
	Outlet int // index of Nodes
	// Level is the water level at the outlet; nil where the pipe falls free.
	Level *unit.Elevation
	Start Start
}

// StartLevel returns the grade line at the end of a pipe of inside diameter d
// whose invert is there, with critical depth dc and the water level outside
// (nil: free): the larger of the water level and the rule's own level, as for a
// pipe that runs full. dc in 0 to d.
func StartLevel(invert unit.Elevation, d, dc unit.Length, level *unit.Elevation, rule Start) (unit.Elevation, error) {
	if err := hydro.Check("inside diameter", float64(d), hydro.Positive, 100, "m", ""); err != nil {
		return 0, err
	}
	if err := hydro.Check("critical depth", float64(dc), 0, float64(d), "m", ""); err != nil {
		return 0, err
	}
	own := invert.Plus((dc + d) / 2)
	if rule == Critical {
		own = invert.Plus(dc)
	}
	if level != nil {
		return max(own, *level), nil
	}
	return own, nil
}

// Entrance is a published loss coefficient of the entrance into a pipe.
type Entrance struct {
	Name   string
	Ke     float64
	Source string
}

// Entrances returns the coefficients of HDS5, table C-2, as read in MSMA.
// For thin plastic pipe projecting into a basin 0.9 is used here (a reading of
// the thin-edge row).
func Entrances() []Entrance {
	rows := []Entrance{
		{Name: "concrete, projecting, socket end", Ke: 0.2},
		{Name: "concrete, projecting, square cut", Ke: 0.5},
		{Name: "concrete, headwall, square edge", Ke: 0.5},
		{Name: "concrete, headwall, rounded edge", Ke: 0.2},
		{Name: "mitred to the slope", Ke: 0.7},
		{Name: "end section", Ke: 0.5},
		{Name: "bevelled edge", Ke: 0.2},
		{Name: "corrugated metal, projecting", Ke: 0.9},
		{Name: "corrugated metal, headwall, square edge", Ke: 0.5},
	}
	for i := range rows {
		rows[i].Source = source.MSMA
	}
	return rows
}

// order checks the network and returns the runs in an order in which each comes
// after the run below it.
func (n Network) order() (runs []int, err error) {
	if err := hydro.Check("number of runs", float64(len(n.Runs)), 1, 1e7, "", ""); err != nil {
		return nil, err
	}
	if n.Outlet < 0 || n.Outlet >= len(n.Nodes) {
		return nil, fmt.Errorf("gradeline: the outlet is node %d of %d", n.Outlet, len(n.Nodes))
	}
	if n.Level != nil {
		if err := hydro.Check("water level at the outlet", float64(*n.Level), -1e4, 1e4, "m", ""); err != nil {
			return nil, err
		}
	}
	for i, nd := range n.Nodes {
		if nd.Rim != nil {
			if err := hydro.Check(fmt.Sprintf("rim of node %s", n.nodeName(i)), float64(*nd.Rim), -1e4, 1e4, "m", ""); err != nil {
				return nil, err
			}
		}
		if err := hydro.Check("entrance loss coefficient", nd.Entrance, 0, 10, "", source.HDS5); err != nil {
			return nil, err
		}
	}
	outgoing := make([]int, len(n.Nodes))
	first := make([]int, len(n.Nodes)) // first run that arrives at a node
	next := make([]int, len(n.Runs))   // the next one that arrives at the same node
	for i := range outgoing {
		outgoing[i], first[i] = -1, -1
	}
	for i, r := range n.Runs {
		if r.From < 0 || r.From >= len(n.Nodes) || r.To < 0 || r.To >= len(n.Nodes) {
			return nil, fmt.Errorf("gradeline: run %s joins nodes %d and %d of %d", n.runName(i), r.From, r.To, len(n.Nodes))
		}
		if err := r.check(n.runName(i)); err != nil {
			return nil, err
		}
		if r.From == n.Outlet {
			return nil, fmt.Errorf("gradeline: run %s leaves the outlet", n.runName(i))
		}
		if o := outgoing[r.From]; o >= 0 {
			return nil, fmt.Errorf("gradeline: node %s has two ways out, runs %s and %s", n.nodeName(r.From), n.runName(o), n.runName(i))
		}
		outgoing[r.From] = i
		next[i], first[r.To] = first[r.To], i
	}
	runs = make([]int, 0, len(n.Runs))
	for i := first[n.Outlet]; i >= 0; i = next[i] {
		runs = append(runs, i)
	}
	for k := 0; k < len(runs); k++ {
		for i := first[n.Runs[runs[k]].From]; i >= 0; i = next[i] {
			runs = append(runs, i)
		}
	}
	if len(runs) < len(n.Runs) {
		seen := make([]bool, len(n.Runs))
		for _, i := range runs {
			seen[i] = true
		}
		for i := range seen {
			if !seen[i] {
				return nil, fmt.Errorf("gradeline: run %s does not lead to the outlet %s", n.runName(i), n.nodeName(n.Outlet))
			}
		}
	}
	for i, o := range outgoing {
		if o < 0 && i != n.Outlet {
			return nil, fmt.Errorf("gradeline: node %s has no run out of it", n.nodeName(i))
		}
	}
	return runs, nil
}

func (r Run) check(name string) error {
	if _, err := r.Pipes.Capacity(0.01); err != nil {
		return fmt.Errorf("gradeline: run %s: %w", name, err)
	}
	for _, c := range []error{
		hydro.Check("length", float64(r.Length), hydro.Positive, 1e6, "m", ""),
		hydro.Check("upper invert", float64(r.InvertUp), -1e4, 1e4, "m", ""),
		hydro.Check("lower invert", float64(r.InvertDown), -1e4, 1e4, "m", ""),
		hydro.Check("flow", float64(r.Flow), 0, 1e4, "m3/s", ""),
		hydro.Check("join angle", r.JoinAngle, 0, 180, "degrees", ""),
		hydro.Check("loss coefficient of fittings", r.Fittings, 0, 1000, "", ""),
	} {
		if c != nil {
			return fmt.Errorf("gradeline: run %s: %w", name, c)
		}
	}
	for _, b := range r.Bends {
		if err := hydro.Check("bend", b, 0, 180, "degrees", ""); err != nil {
			return fmt.Errorf("gradeline: run %s: %w", name, err)
		}
	}
	return nil
}

func (n Network) runName(i int) string {
	if s := n.Runs[i].Name; s != "" {
		return s
	}
	return fmt.Sprintf("#%d", i)
}

func (n Network) nodeName(i int) string {
	if s := n.Nodes[i].Name; s != "" {
		return s
	}
	return fmt.Sprintf("#%d", i)
}
