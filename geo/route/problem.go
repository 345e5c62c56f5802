package route

// The words of the room: what is asked (Problem) and what comes back (Result).

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Angle is an angle in radians.
type Angle float64

// Degree is one degree.
const Degree Angle = math.Pi / 180

// Degrees returns the angle in degrees.
func (a Angle) Degrees() float64 { return float64(a / Degree) }

// Source is a point where water enters the tree.
type Source struct {
	ID string
	At orb.Point
	// LeadOff allows a source outside the zone (a downspout at the wall) to leave
	// by the shortest straight way into the zone that lies in LeadOffWithin.
	LeadOff       bool
	LeadOffWithin orb.MultiPolygon
	// From, where not nil, is the last point but one of a line that somebody else
	// brings to At (a perforated run that ends here): the run that leaves may not
	// turn more than a bend from it, and no other run enters.
	From *orb.Point
	// Basin says that other runs may enter here at up to Rules.BendAngle (a box,
	// not a fitting).
	Basin bool
}

// Target is a point where the tree may end.
type Target struct {
	ID string
	At orb.Point
	// Reach is the greatest length of a last run that leaves the zone.
	Reach unit.Length
	// LastRunWithin is where, besides the zone, that last run may lie.
	LastRunWithin orb.MultiPolygon
	// Closed, when not empty, is the caller's reason why this target is only
	// listed and never used.
	Closed string
}

// Region is an area that costs extra to cross.
type Region struct {
	Name     string
	Shape    orb.MultiPolygon
	PerMetre float64 // for each metre of run inside; finite, not less than 0
	Each     float64 // for each time that a run enters it; likewise
}

// Buried is a line in the ground that runs cross as near to square as is asked.
type Buried struct {
	Name string
	Line orb.LineString
	// LeastAngle is the least angle between a run and the line where they meet: 90
	// degrees is square; 0 asks nothing.
	LeastAngle Angle
	// Aslant is the price of each crossing at less than that; +Inf: forbidden.
	Aslant float64
}

// Rules are the limits of the trade that every tree keeps.
type Rules struct {
	JoinAngle     Angle       // greatest turn of a run where it joins another
	BendAngle     Angle       // greatest turn at a bend
	LeastStraight unit.Length // between fittings
}

// DefaultRules are a 45 degree wye, a 90 degree bend (two 45s) and a foot of
// straight pipe between fittings.
var defaultRules = Rules{JoinAngle: 45 * Degree, BendAngle: 90 * Degree, LeastStraight: unit.Foot}

// DefaultRules returns a 45 degree wye, a 90 degree bend (two 45s) and one foot
// of straight pipe between fittings (common practice).
func DefaultRules() Rules { return defaultRules }

// Prices are what can be added up along a tree. Metre must be a lower bound on
// what any metre of run costs at its shallowest.
type Prices struct {
	Metre float64
	Bend  float64 // up to 45 degrees; a sharper bend is two
	Join  float64
	TieIn float64 // at a target, once a tree
	// Askew is charged, in the search only, on a metre that lies neither along nor
	// square nor at 45 degrees to the long lines of the zone, so that of layouts
	// of nearly one price the neat one is found. It is in no Cost and no Bound. A
	// few hundredths of Metre are enough.
	Askew float64
}

// Choice says which target wins when several can be reached.
type Choice int

const (
	// Nearest is the target with the shortest run of pipe from any source's way
	// along the tree (the length of the longest way from a source to it).
	Nearest Choice = iota
	// Cheapest is the target whose tree has the lowest price.
	Cheapest
)

// Problem is what Solve is asked.
type Problem struct {
	Zone    orb.MultiPolygon // where centre lines may lie
	Sources []Source
	Targets []Target
	Regions []Region
	// Buried lines forbid, or price, what crosses them aslant. A lead-off and a kept
	// line stay as they are: what they cross is the caller's to tell.
	Buried []Buried
	// Kept are lines drawn by somebody, downstream, that stay where they are; the
	// rest is completed round them.
	Kept   []orb.LineString
	Rules  Rules
	Prices Prices
	Choice Choice
	// Price returns the price of a whole tree, or ok false and the reason why it
	// can't be built. Nil: the sum of Prices. It may not keep the tree.
	Price func(*Tree) (cost float64, ok bool, why string)
	// Depth, where not nil, sharpens the bound by what depth and size cost at least.
	// It is asked once the best tree is known.
	Depth func(best *Tree) *Depth
	// Effort bounds the number of calls of Price for each target; 0 is 24.
	Effort int
	// Prove asks for Result.Bound: by the exact search over the candidates for up to
	// 12 sources, by the duals alone for more (7 % to 9 % below the exact one; with more than 32
	// sources without Depth, and looser; none for a large block of lots). Where the search comes on a cheaper
	// tree, that becomes the best. It costs tens of milliseconds at 8 sources.
	Prove bool
	// Stop, where not nil, is asked now and then while the work goes on, such as the
	// Err of a context: what it returns, if not nil, is the error that Solve gives up
	// with.
	Stop func() error
	// PriceKept asks for Result.Free: the search made again without the kept lines.
	PriceKept bool
}

// Kind is what a node of a tree is.
type Kind int

const (
	KindBend   Kind = iota // one run in, one out
	KindJoin               // a wye: two in, one out
	KindSource             // a source, with or without runs entering
	KindTarget             // the end
	KindStart              // the upper end of a kept line that begins at no source
)

func (k Kind) String() string { return [...]string{"bend", "join", "source", "target", "start"}[k] }

// Node is an end of runs.
type Node struct {
	At     orb.Point
	Kind   Kind
	Source int // index into Problem.Sources, -1 for none
}

// Run is a straight line from node to node, downstream.
type Run struct {
	From, To int // indices into Tree.Nodes
	LeadOff  bool
	TieIn    bool
	Kept     bool
}

// Tree is a drained layout: every node but the target has exactly one run that
// leaves it. Runs are in order: each stands after all runs that flow into it, so
// one pass sums upstream things.
type Tree struct {
	Target int // index into Problem.Targets
	Nodes  []Node
	Runs   []Run
	Length unit.Length // of all runs
	Cost   float64
}

// Line returns the two ends of run i, downstream.
func (t *Tree) Line(i int) orb.LineString {
	return orb.LineString{t.Nodes[t.Runs[i].From].At, t.Nodes[t.Runs[i].To].At}
}

// RunLength returns the length of run i.
func (t *Tree) RunLength(i int) unit.Length {
	return unit.Length(dist(t.Nodes[t.Runs[i].From].At, t.Nodes[t.Runs[i].To].At))
}

// Turn returns the angle by which run i turns into the run that leaves its lower
// end, 0 where it ends at the target.
func (t *Tree) Turn(i int) Angle {
	for _, d := range t.Runs {
		if d.From == t.Runs[i].To {
			return Angle(turn(t.Nodes[t.Runs[i].From].At, t.Nodes[d.From].At, t.Nodes[d.To].At))
		}
	}
	return 0
}

// Alternative is the answer for one target.
type Alternative struct {
	Target int    // index into Problem.Targets
	Tree   *Tree  // nil where there is none
	Reason string // why it lost or has no tree; empty for the winner
	Way    unit.Length
}

// Cause is why a source is joined to no tree.
type Cause int

const (
	CauseUnfit    Cause = iota // water from it, or along its kept line, can't get into the zone
	CauseNoTarget              // no target can be reached, for a cause that is the targets' and not the source's
	CausePiece                 // it stands in another piece of the zone than the tree
	CauseShutOut               // the rules on turns, straights and crossings leave no way from it to the tree
)

// Unreached is a source that no tree of the chosen target joins.
type Unreached struct {
	Source  int // index into Problem.Sources, -1 for a kept line from no source
	Cause   Cause
	Reason  string      // the cause in words
	Nearest orb.Point   // nearest point of the zone
	Off     unit.Length // distance to it
}

// Result is what Solve returns. Best is nil where nothing can be built; then
// Unreached or the reasons of the Alternatives say why.
type Result struct {
	Best         *Tree
	Alternatives []Alternative // one for each target, in order of preference
	Unreached    []Unreached
	Bound        *Bound // asked for by Problem.Prove
	// Free is, where lines are kept and Problem.PriceKept asks, the best tree without
	// them: what the designer's choice costs is Best.Cost - Free.Cost.
	Free *Tree

	site *site // for Again
	plan *plan
}

// Bound is a price that no tree over the stated candidates undercuts: each metre
// charged at Prices.Metre and what Depth adds, each kept line as it is kept.
type Bound struct {
	Cost float64
	Gap  float64 // (Best.Cost - Cost) / Cost
	Over string  // the candidates in words
	By   string  // how it was found: exact search, or dual ascent where there are too many sources for it
}

// Fault is a fault of the problem as given: no tree can be right for it.
type Fault struct {
	What string
	At   orb.Point
}

func (f *Fault) Error() string {
	return fmt.Sprintf("route: %s (at %.3f, %.3f m)", f.What, f.At[0], f.At[1])
}
