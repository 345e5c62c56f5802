package planner

// The layout of many lots on one trunk: first the trunk, then each lot's intakes
// on their lot's own way down. A joint search over all intakes grows with the
// square of their count and more; lots meet only at the trunk, so little is lost.
// A trunk of few lots is laid twice: from one intake a lot, which is shortest in
// all, and along the easements, which is straight; what comes out cheaper with its
// pipes and depths is kept, the easements' also where it is little dearer.

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/route"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/hydro/pipe"
	"fallwright/parcels/siting"
)

// mostJoint is the count of intakes up to which all are searched together,
// mostBoth that of lots up to which both trunks and each outlet are worked out.
const (
	mostJoint = 9
	mostBoth  = 6
)

// worthEasement is how much dearer a trunk along the easements may be than one that
// cuts over the neighbours' yards and yet be preferred: it is straight, and who
// buys a yard finds it on the plat (common practice).
const worthEasement = 1.05

// comb solves the problem of a shared trunk. With many lots, and for a layout that
// is only shown, a trunk along the easements that all come to is enough: theirs is
// long, its pipes are large, and every metre saved on it counts.
func (lp *lotPlan) comb(p *route.Problem) (*route.Result, error) {
	lots, byLot := lp.rows(p)
	lp.refusals = map[*route.Tree]shown{}
	var along *route.Result
	if stems := lp.stems(p, lots, byLot); stems != nil {
		var err error
		if along, err = lp.combOn(p, lots, byLot, stems); err != nil {
			return nil, err
		}
		if few := used(along.Best, stems); along.Best != nil && len(few) < len(stems) {
			// To a stem that no lateral came by after all the trunk went for nothing.
			again, err := lp.combOn(p, lots, byLot, few)
			if err != nil {
				return nil, err
			}
			if b := again.Best; b != nil && len(again.Unreached) <= len(along.Unreached) && (p.Price != nil && b.Cost < along.Best.Cost || p.Price == nil && b.Length < along.Best.Length) {
				along = again
			}
		}
		if along.Best != nil && len(along.Unreached) == 0 && (len(lots) > mostBoth || p.Price == nil) {
			return along, nil
		}
		// What the trunk along the easements does not reach, or what is too much for
		// the inlet, a shorter one does not mend: of many lots, or where nothing can be
		// built, one is enough to say so.
		if (len(lots) > mostBoth || p.Price == nil) && (along.Best != nil || lp.shownOf(along) != nil) {
			return along, nil
		}
	}
	res, err := lp.combOn(p, lots, byLot, nil)
	if err != nil || along == nil || along.Best == nil {
		return res, err
	}
	a, b, more := along.Best, res.Best, len(along.Unreached)-len(res.Unreached)
	if b == nil || more < 0 || more == 0 && a.Target == b.Target && a.Cost <= worthEasement*b.Cost {
		return along, nil
	}
	return res, nil
}

// shown is a layout that joins what it can and that Price refused, as it may be
// drawn to show why.
type shown struct {
	tree *route.Tree
	left []route.Unreached
}

// shownOf is the first such layout of a result of combOn; nil: none.
func (lp *lotPlan) shownOf(r *route.Result) *shown {
	if r == nil {
		return nil
	}
	for i := range r.Alternatives {
		if s, ok := lp.refusals[r.Alternatives[i].Tree]; ok && r.Alternatives[i].Tree != nil {
			return &s
		}
	}
	return nil
}

// stem is a place on the easements for the trunk to come by.
type stem struct {
	lot string
	at  orb.Point
}

// stems are the places in the easements nearest to the lots' intakes, of each lot
// the two that are farthest apart, for a trunk along them.
func (lp *lotPlan) stems(p *route.Problem, lots []string, byLot map[string][]int) (out []stem) {
	if len(lp.corridor) == 0 {
		return nil
	}
	apart := func(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
	least := 2 * float64(p.Rules.LeastStraight)
	for _, lot := range lots {
		var at []orb.Point
		for _, i := range byLot[lot] {
			q := p.Sources[i].At
			if shape.Locate(q, lp.corridor) == shape.Outside {
				_, _, q = shape.LineBoundary(orb.LineString{q, nudge(q, lp.corridor.Bound().Center())}, lp.corridor)
			}
			at = append(at, q)
		}
		var ends [2]orb.Point
		ends[0], ends[1] = at[0], at[0]
		for i := range at {
			for _, q := range at[:i] {
				if apart(at[i], q) > apart(ends[0], ends[1]) {
					ends = [2]orb.Point{q, at[i]}
				}
			}
		}
		for _, q := range ends {
			if !slices.ContainsFunc(out, func(o stem) bool { return apart(o.at, q) < least }) {
				out = append(out, stem{lot, q})
			}
		}
	}
	return out
}

// byStem is how near a trunk goes by a stem, cutting its corners.
const byStem = 1.0 * unit.Metre

// used are the stems by which a finished tree goes; of a lot with none that is, the
// nearest to it.
func used(t *route.Tree, stems []stem) (out []stem) {
	if t == nil {
		return stems
	}
	least := map[string]unit.Length{}
	off := make([]unit.Length, len(stems))
	for k, s := range stems {
		off[k] = unit.Length(math.Inf(1))
		for i := range t.Runs {
			d, _ := shape.PointLine(s.at, t.Line(i))
			off[k] = min(off[k], d)
		}
		if had, ok := least[s.lot]; !ok || off[k] < had {
			least[s.lot] = off[k]
		}
	}
	for k, s := range stems {
		if off[k] <= max(least[s.lot], byStem) {
			out = append(out, s)
		}
	}
	return out
}

// rows lists the lots with their intakes; the intake nearest to the easements,
// else to an outlet, stands first.
func (lp *lotPlan) rows(p *route.Problem) (lots []string, byLot map[string][]int) {
	byLot = map[string][]int{}
	for i := range p.Sources {
		lot := lp.waters[i].lot
		if byLot[lot] == nil {
			lots = append(lots, lot)
		}
		byLot[lot] = append(byLot[lot], i)
	}
	for _, list := range byLot {
		off := func(i int) float64 {
			least := math.Inf(1)
			for _, w := range lp.ways {
				if shape.Locate(p.Sources[i].At, w.area) != shape.Outside {
					return 0
				}
				d, _, _ := shape.LineBoundary(orb.LineString{p.Sources[i].At, nudge(p.Sources[i].At, w.area.Bound().Center())}, w.area)
				least = math.Min(least, float64(d))
			}
			if math.IsInf(least, 1) {
				for _, t := range p.Targets {
					least = math.Min(least, math.Hypot(t.At[0]-p.Sources[i].At[0], t.At[1]-p.Sources[i].At[1]))
				}
			}
			return least
		}
		slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(off(a), off(b)) })
	}
	return lots, byLot
}

// combOn lays a trunk from the stems, or where there are none from one intake a
// lot, and brings each lot's intakes to it.
func (lp *lotPlan) combOn(p *route.Problem, lots []string, byLot map[string][]int, stems []stem) (*route.Result, error) {
	first := map[string]int{} // place in byLot of the intake that stands for the lot
	var res *route.Result
	var reps []int
	for try := 0; ; try++ {
		q := *p
		q.Prove, q.Depth, q.Price = false, nil, nil
		q.Sources, reps = nil, nil
		for _, e := range stems {
			reps = append(reps, byLot[e.lot][0])
			q.Sources = append(q.Sources, route.Source{ID: "lot " + e.lot, At: e.at})
		}
		for _, lot := range lots {
			if stems != nil {
				break
			}
			if k := first[lot]; k < len(byLot[lot]) {
				reps = append(reps, byLot[lot][k])
				q.Sources = append(q.Sources, p.Sources[byLot[lot][k]])
			}
		}
		var err error
		if res, err = route.Solve(&q); err != nil {
			return nil, err
		}
		again := false
		for _, u := range res.Unreached {
			if u.Source >= 0 && res.Best != nil && u.Cause != route.CausePiece {
				first[lp.waters[reps[u.Source]].lot]++
				again = true
			}
		}
		if !again || stems != nil || try == 1 {
			break
		}
	}
	res.Free, res.Bound = nil, nil
	for i := range res.Unreached {
		if s := res.Unreached[i].Source; s >= 0 {
			res.Unreached[i].Source = reps[s]
		}
	}
	if res.Best == nil {
		for i := range p.Sources {
			if !slices.Contains(reps, i) {
				res.Unreached = append(res.Unreached, route.Unreached{Source: i, Cause: route.CauseShutOut, Reason: "its lot has no way to an outlet", Nearest: p.Sources[i].At})
			}
		}
		return res, nil
	}
	// Each target's trunk is completed; the first in the order of preference that
	// can be built is the plan's. A quick plan, a layout that is only shown and many
	// lots that want the nearest outlet need no other.
	one := lp.quick || p.Price == nil || p.Choice == route.Nearest && len(lots) > mostBoth
	res.Best = nil
	start := res.Unreached
	if stems != nil { // what no stem reaches, no intake of its lot does: the teeth say so
		start = nil
	}
	breaks := route.Checker(p)
	for i := range res.Alternatives {
		a := &res.Alternatives[i]
		if a.Tree == nil {
			continue
		}
		if one && res.Best != nil {
			a.Tree, a.Reason = nil, "not worked out: another is reached first"
			continue
		}
		t := cloneTree(a.Tree)
		roots := map[string]int{} // node at which a lot's way down begins: the uppermost
		ways := t.Ways()
		for n := range t.Nodes {
			if s := t.Nodes[n].Source; s >= 0 {
				lot := lp.waters[reps[s]].lot
				if k, ok := roots[lot]; !ok || ways[n] > ways[k] {
					roots[lot] = n
				}
				if t.Nodes[n].Source = reps[s]; stems != nil {
					t.Nodes[n].Source = -1
				}
			}
		}
		left := slices.Clone(start)
		for _, lot := range lots {
			root, ok := roots[lot]
			if !ok {
				root = -1
			}
			more, err := lp.tooth(p, &t, byLot[lot], root, breaks)
			if err != nil {
				return nil, err
			}
			left = append(left, more...)
		}
		t = trimmed(&t)
		cost, ok, why := t.Cost, true, ""
		if p.Price != nil {
			cost, ok, why = p.Price(&t)
		}
		// corners that the trunk was led by and no lateral came to
		smooth, err := route.Smooth(p, &t)
		if err != nil {
			return nil, err
		}
		if smooth != nil && p.Price != nil {
			if c, fits, _ := p.Price(smooth); fits && (!ok || c < cost) {
				t, cost, ok, why = *smooth, c, true, ""
			}
		}
		t.Cost = cost
		if !ok {
			a.Tree, a.Reason = &t, why
			if len(breaks(&t)) == 0 {
				lp.refusals[&t] = shown{&t, left}
			}
			continue
		}
		if bad := breaks(&t); len(bad) > 0 {
			a.Tree, a.Reason = nil, "its joined layout breaks a rule: "+bad[0]
			continue
		}
		a.Tree = &t
		switch {
		case res.Best == nil:
			a.Reason = ""
			res.Best, res.Unreached = &t, left
		case p.Choice == route.Cheapest && t.Cost < res.Best.Cost && len(left) <= len(res.Unreached):
			for k := range res.Alternatives[:i] {
				if b := &res.Alternatives[k]; b.Tree == res.Best {
					b.Reason = fmt.Sprintf("dearer: %.3f against %.3f", b.Tree.Cost, t.Cost)
				}
			}
			a.Reason = ""
			res.Best, res.Unreached = &t, left
		case a.Reason == "":
			a.Reason = fmt.Sprintf("dearer: %.3f against %.3f", t.Cost, res.Best.Cost)
		}
	}
	return res, nil
}

func cloneTree(t *route.Tree) route.Tree {
	c := *t
	c.Nodes, c.Runs = slices.Clone(t.Nodes), slices.Clone(t.Runs)
	return c
}

// trimmed is a tree without the upper ends of its trunk that no water comes to,
// and without the places where nothing joined or turned after all.
func trimmed(t *route.Tree) route.Tree {
	c := cloneTree(t)
	into := make([]int, len(c.Nodes))
	for _, r := range c.Runs {
		into[r.To]++
	}
	dry := func(r route.Run) bool {
		n := c.Nodes[r.From]
		return into[r.From] == 0 && n.Source < 0 && n.Kind != route.KindStart
	}
	for k := 0; k >= 0; {
		if k = slices.IndexFunc(c.Runs, dry); k >= 0 {
			into[c.Runs[k].To]--
			c.Runs = slices.Delete(c.Runs, k, k+1)
		}
	}
	for n := range c.Nodes {
		if k := c.Nodes[n].Kind; c.Nodes[n].Source >= 0 || k != route.KindSource && k != route.KindJoin {
			continue
		}
		if c.Nodes[n].Kind = route.KindJoin; into[n] != 1 {
			continue
		}
		c.Nodes[n].Kind = route.KindBend
		up := slices.IndexFunc(c.Runs, func(r route.Run) bool { return r.To == n })
		down := slices.IndexFunc(c.Runs, func(r route.Run) bool { return r.From == n })
		if up < 0 || down < 0 || c.Runs[up].LeadOff || c.Runs[up].Kept || c.Runs[down].Kept || c.Runs[down].TieIn {
			continue
		}
		chord := orb.LineString{c.Nodes[c.Runs[up].From].At, c.Nodes[c.Runs[down].To].At}
		if d, _ := shape.PointLine(c.Nodes[n].At, chord); d < 1e-4 {
			c.Runs[up].To = c.Runs[down].To
			c.Runs = slices.Delete(c.Runs, down, down+1)
			into[n] = 0
		}
	}
	to := make([]int, len(c.Nodes))
	used := make([]bool, len(c.Nodes))
	for _, r := range c.Runs {
		used[r.From], used[r.To] = true, true
	}
	var nodes []route.Node
	for n := range c.Nodes {
		to[n] = len(nodes)
		if used[n] {
			nodes = append(nodes, c.Nodes[n])
		}
	}
	c.Nodes = nodes
	for i := range c.Runs {
		c.Runs[i].From, c.Runs[i].To = to[c.Runs[i].From], to[c.Runs[i].To]
	}
	inOrder(&c)
	return c
}

// tooth brings a lot's intakes to the tree along the way down from its node root
// (-1: the lot has none), and returns those that find none. What is joined already
// stays as it is; breaks tells what rules of the problem the whole breaks.
func (lp *lotPlan) tooth(p *route.Problem, t *route.Tree, sources []int, root int, breaks func(*route.Tree) []string) (left []route.Unreached, err error) {
	miss := func(i int, why string) {
		left = append(left, route.Unreached{Source: i, Cause: route.CauseShutOut, Reason: why, Nearest: p.Sources[i].At})
	}
	leaves := map[int]int{}
	for i, r := range t.Runs {
		leaves[r.From] = i
	}
	if root < 0 {
		for _, i := range sources {
			miss(i, "its lot has no way to the trunk")
		}
		return left, nil
	}
	rep := t.Nodes[root].Source // -1: all are still to be joined
	if len(sources) == 1 && rep >= 0 {
		return nil, nil
	}
	way := orb.LineString{t.Nodes[root].At}
	on := map[int]bool{}
	for n := root; ; {
		r, ok := leaves[n]
		if !ok {
			break
		}
		on[r] = true
		n = t.Runs[r].To
		way = append(way, t.Nodes[n].At)
	}
	var box orb.Bound
	for k, i := range sources {
		b := lp.member(lp.waters[i].lot).lot.Shape.Bound()
		if k == 0 {
			box = b
		} else {
			box = box.Union(b)
		}
	}
	const round = 15.0
	area, err := zone.Near(p.Zone, box.Center(), unit.Length(math.Hypot(box.Max[0]-box.Min[0], box.Max[1]-box.Min[1])/2+round))
	if err != nil {
		return nil, wrong(lp.lot, err)
	}
	// the end of the trunk must be seen to be in reach
	end := p.Targets[t.Target]
	near, err := zone.Near(p.Zone, end.At, end.Reach+2)
	if err != nil {
		return nil, wrong(lp.lot, err)
	}
	parts := []orb.MultiPolygon{area}
	if len(near) > 0 {
		parts = append(parts, near)
	}
	// nobody comes near to what is joined already
	var taken []zone.KeepOut
	seen := box.Pad(2 * round)
	for i, r := range t.Runs {
		line := t.Line(i)
		if !on[i] && line.Bound().Intersects(seen) && !(r.LeadOff && slices.Contains(sources, t.Nodes[r.From].Source)) {
			taken = append(taken, zone.KeepOut{ID: "run", Kind: "run", Geometry: line, Clearance: 0.05})
		}
	}
	ups := make([]int, len(t.Nodes))
	for _, r := range t.Runs {
		ups[r.To]++
	}
	for n := range t.Nodes {
		if ups[n] > 1 && seen.Contains(t.Nodes[n].At) {
			taken = append(taken, zone.KeepOut{ID: "join", Kind: "join", Geometry: t.Nodes[n].At, Clearance: p.Rules.LeastStraight + 0.05})
		}
	}
	if area, err = zone.Merge(parts, taken); err != nil {
		return nil, wrong(lp.lot, err)
	}
	area = siting.WithoutSlivers(area)
	q := *p
	q.Zone, q.Kept, q.Prove, q.Depth, q.Price = area, []orb.LineString{way}, false, nil, nil
	q.Targets = []route.Target{p.Targets[t.Target]}
	q.Regions, q.Sources = nil, nil
	for _, r := range p.Regions {
		if r.Shape.Bound().Intersects(area.Bound()) {
			q.Regions = append(q.Regions, r)
		}
	}
	for _, i := range sources {
		q.Sources = append(q.Sources, p.Sources[i])
	}
	res, err := solve(&q)
	if err != nil {
		return nil, wrong(lp.lot, err)
	}
	for _, u := range res.Unreached {
		if u.Source >= 0 && rep != sources[u.Source] {
			u.Source = sources[u.Source]
			left = append(left, u)
		}
	}
	if res.Best == nil {
		for _, i := range sources {
			if rep != i && !slices.ContainsFunc(left, func(u route.Unreached) bool { return u.Source == i }) {
				miss(i, "no way that keeps the rules leads from it to the trunk")
			}
		}
		return left, nil
	}
	was := cloneTree(t)
	graft(t, res.Best, sources)
	whole := trimmed(t)
	if bad := breaks(&whole); len(bad) > 0 {
		*t = was
		for _, i := range sources {
			if rep != i {
				miss(i, "its way to the trunk breaks a rule: "+bad[0])
			}
		}
	}
	return left, nil
}

// graft puts the runs of a branch tree that lie on no kept line into the trunk's
// tree, splitting the trunk's runs where they join.
func graft(t *route.Tree, b *route.Tree, sources []int) {
	onKept := make([]bool, len(b.Nodes))
	for _, r := range b.Runs {
		if r.Kept {
			onKept[r.From], onKept[r.To] = true, true
		}
	}
	to := make([]int, len(b.Nodes))
	for i := range to {
		to[i] = -1
	}
	node := func(i int) int {
		if to[i] >= 0 {
			return to[i]
		}
		n := b.Nodes[i]
		if onKept[i] {
			for k := range t.Nodes {
				if math.Hypot(t.Nodes[k].At[0]-n.At[0], t.Nodes[k].At[1]-n.At[1]) < 1e-4 {
					to[i] = k
					if t.Nodes[k].Kind == route.KindBend {
						t.Nodes[k].Kind = route.KindJoin
					}
					return k
				}
			}
			for k := range t.Runs {
				l := t.Line(k)
				if d, _ := shape.PointLine(n.At, l); d < 1e-4 {
					t.Nodes = append(t.Nodes, route.Node{At: n.At, Kind: route.KindJoin, Source: -1})
					mid := len(t.Nodes) - 1
					rest := t.Runs[k]
					rest.From, rest.LeadOff = mid, false
					t.Runs[k].To, t.Runs[k].TieIn = mid, false
					t.Runs = append(t.Runs, rest)
					to[i] = mid
					return mid
				}
			}
		}
		if n.Source >= 0 {
			n.Source = sources[n.Source]
		}
		t.Nodes = append(t.Nodes, n)
		to[i] = len(t.Nodes) - 1
		return to[i]
	}
	for _, r := range b.Runs {
		if !r.Kept {
			t.Runs = append(t.Runs, route.Run{From: node(r.From), To: node(r.To), LeadOff: r.LeadOff})
		}
	}
	inOrder(t)
}

// inOrder sorts the runs so that each stands after all that flow into it, and
// sums their length.
func inOrder(t *route.Tree) {
	waits := make([]int, len(t.Nodes))
	for _, r := range t.Runs {
		waits[r.To]++
	}
	var out []route.Run
	done := make([]bool, len(t.Runs))
	for moved := true; moved; {
		moved = false
		for i, r := range t.Runs {
			if !done[i] && waits[r.From] == 0 {
				done[i], moved = true, true
				waits[r.To]--
				out = append(out, r)
			}
		}
	}
	if len(out) == len(t.Runs) {
		t.Runs = out
	}
	t.Length = 0
	for i := range t.Runs {
		t.Length += t.RunLength(i)
	}
}

// firstWidth is the trench for the pipe that would carry all the water at the
// target slope: near to what the trunk will need.
func (lp *lotPlan) firstWidth() unit.Length {
	return lp.trenchWidth(lp.stockOf[lp.firstPipe()].OutsideDiameter)
}

// carries is the full flow of a stock pipe at a slope, m3/s.
func (lp *lotPlan) carries(k int, at unit.Slope) float64 {
	q, err := pipe.Pipe{Diameter: unit.Length(lp.stockOf[k].Diameter / 1000), N: lp.stockOf[k].N}.Capacity(at)
	if err != nil {
		return 0
	}
	return float64(q)
}
