package route

// From a plan to a tree, and the rules held again on the finished tree.

import (
	"fmt"
	"math"
	"sort"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// tree turns a plan into the tree that goes out, in the problem's coordinates.
func (s *site) tree(p *plan) *Tree {
	t := &Tree{Target: p.end.target}
	node := func(at orb.Point, k Kind, src int) int {
		t.Nodes = append(t.Nodes, Node{at, k, src})
		return len(t.Nodes) - 1
	}
	// nodes of the branches' own points; the end of a branch is set below
	own := make([][]int, len(p.branch))
	for i, b := range p.branch {
		own[i] = make([]int, len(b.pts))
		for j, at := range b.pts {
			switch last := j == len(b.pts)-1; {
			case j == 0 && len(b.pts) == 1 && dist(at, p.branch[b.up].pts[b.seg]) < 1e-6:
				own[i][j] = own[b.up][b.seg] // at a corner
				t.Nodes[own[i][j]].Kind, t.Nodes[own[i][j]].Source = KindSource, s.heads[b.src].source
			case j == 0 && s.heads[b.src].source < 0:
				own[i][j] = node(at, KindStart, -1)
			case j == 0:
				own[i][j] = node(at, KindSource, s.heads[b.src].source)
			case last && b.up < 0:
				own[i][j] = node(at, KindTarget, -1)
			case last && b.through:
				own[i][j] = own[b.up][b.seg]
			case last:
				own[i][j] = node(at, KindJoin, -1)
			default:
				own[i][j] = node(at, KindBend, -1)
			}
		}
	}
	type stop struct {
		t float64
		n int
	}
	for i, b := range p.branch {
		for j := 0; j+1 < len(b.pts); j++ {
			stops := []stop{{0, own[i][j]}, {dist(b.pts[j], b.pts[j+1]), own[i][j+1]}}
			for c, o := range p.branch {
				if o.up == i && o.seg == j && !(o.through && len(o.pts) > 1) && own[c][len(o.pts)-1] != own[i][j] {
					e := len(o.pts) - 1
					stops = append(stops, stop{dist(b.pts[j], o.pts[e]), own[c][e]})
				}
			}
			sort.SliceStable(stops, func(x, y int) bool { return stops[x].t < stops[y].t })
			for k := 0; k+1 < len(stops); k++ {
				t.Runs = append(t.Runs, Run{From: stops[k].n, To: stops[k+1].n,
					LeadOff: j+1 < b.head && !b.kept, Kept: j+1 < b.head && b.kept, TieIn: b.tie && j+2 == len(b.pts)})
			}
		}
	}
	t.order()
	for i := range t.Nodes {
		n := &t.Nodes[i]
		switch {
		case n.Source >= 0:
			n.At = s.p.Sources[n.Source].At
		case n.Kind == KindTarget:
			n.At = s.p.Targets[t.Target].At
		default:
			n.At = add(n.At, s.origin)
		}
	}
	for i := range t.Runs {
		t.Length += t.RunLength(i)
	}
	t.Cost = s.bare(p)
	return t
}

// order sorts the runs so that each stands after all that flow into it.
func (t *Tree) order() {
	waits := make([]int, len(t.Nodes))
	for _, r := range t.Runs {
		waits[r.To]++
	}
	done := make([]bool, len(t.Runs))
	var out []Run
	for len(out) < len(t.Runs) {
		moved := false
		for i, r := range t.Runs {
			if !done[i] && waits[r.From] == 0 {
				done[i], moved = true, true
				waits[r.To]--
				out = append(out, r)
			}
		}
		if !moved {
			return // a ring: Check tells
		}
	}
	t.Runs = out
}

// Ways returns for each node the length of the way from it to the target.
func (t *Tree) Ways() []unit.Length {
	w := make([]unit.Length, len(t.Nodes))
	for i := len(t.Runs) - 1; i >= 0; i-- {
		w[t.Runs[i].From] = w[t.Runs[i].To] + t.RunLength(i)
	}
	return w
}

// Way is the length of the longest way from a source to the target.
func (t *Tree) Way() unit.Length {
	var m unit.Length
	for _, w := range t.Ways() {
		m = max(m, w)
	}
	return m
}

// leadsIn says whether a lead-off ends on the zone, is as short as the shortest
// (a corner has many) and lies on its ground.
func (s *site) leadsIn(source int, a, b orb.Point, shortest float64) bool {
	const hair = 1e-6
	if _, off := s.zone.nearest(b); off > hair || dist(a, b) > shortest+hair {
		return false
	}
	within := s.p.Sources[source].LeadOffWithin
	return len(within) == 0 || s.groundOf(within).clear(a, b)
}

// Check holds every rule of the problem on a tree and says in words what is
// broken; nothing when all is kept. It works on the tree alone, not on how it
// was found.
func Check(p *Problem, t *Tree) []string { return Checker(p)(t) }

// Checker is Check of one problem, for trees one after the other: what it needs
// of the problem is prepared once.
func Checker(p *Problem) func(*Tree) []string { return newSite(p).check }

func (s *site) check(t *Tree) []string {
	s.zone.tol = 10 * eps // the search's tolerance and rounding on top
	defer func() { s.zone.tol = eps }()
	var bad []string
	say := func(format string, a ...any) { bad = append(bad, fmt.Sprintf(format, a...)) }
	at := func(n int) orb.Point { return sub(t.Nodes[n].At, s.origin) }
	e := s.endOf(t.Target)
	down := make([]int, len(t.Nodes))
	ups := make([][]int, len(t.Nodes))
	for i := range down {
		down[i] = -1
	}
	for i, r := range t.Runs {
		if down[r.From] >= 0 {
			say("node %d has two runs that leave it", r.From)
		}
		down[r.From] = i
		ups[r.To] = append(ups[r.To], i)
	}
	pos := make([]int, len(t.Nodes))
	for i, r := range t.Runs {
		pos[r.From] = i
	}
	for i, r := range t.Runs {
		if t.Nodes[r.To].Kind != KindTarget && pos[r.To] <= i {
			say("run %d stands after the run it flows into", i)
		}
	}
	targets := 0
	for i, n := range t.Nodes {
		switch n.Kind {
		case KindTarget:
			targets++
			if down[i] >= 0 || len(ups[i]) != 1 || n.At != s.p.Targets[t.Target].At {
				say("the target must have one run in and none out")
			}
		case KindSource:
			if n.Source >= 0 && down[i] >= 0 {
				if f := s.heads[n.Source].from; f != nil {
					if _, ok := s.bendAt(*f, at(i), at(t.Runs[down[i]].To)); !ok || len(ups[i]) > 1 {
						say("the run from source %d turns too sharply from the line that ends there", n.Source)
					}
				}
			}
			if n.Source < 0 || n.At != s.p.Sources[n.Source].At {
				say("node %d is no source of the problem", i)
			}
		case KindJoin:
			if len(ups[i]) != 2 {
				say("join %d has %d runs in", i, len(ups[i]))
			}
		case KindStart:
			if len(ups[i]) != 0 || down[i] < 0 || !t.Runs[down[i]].Kept {
				say("node %d begins no kept line", i)
			}
		case KindBend:
			if len(ups[i]) != 1 {
				say("bend %d has %d runs in", i, len(ups[i]))
			}
		}
		if n.Kind != KindTarget && down[i] < 0 {
			say("node %d leads nowhere", i)
		}
	}
	if targets != 1 || len(t.Runs) != len(t.Nodes)-1 {
		say("%d targets, %d runs for %d nodes: no tree", targets, len(t.Runs), len(t.Nodes))
	}
	for i, r := range t.Runs {
		a, b := at(r.From), at(r.To)
		l := dist(a, b)
		switch {
		case r.Kept:
			if !s.drawn(a, b) {
				say("run %d is marked as kept but lies on no kept line", i)
			}
		case r.LeadOff:
			src := t.Nodes[r.From].Source
			if src < 0 || !s.p.Sources[src].LeadOff {
				say("run %d is a lead-off from no downspout", i)
			} else if h := s.heads[src]; len(h.pts) < 2 || !s.leadsIn(src, a, b, h.off) {
				say("lead-off %d is not the shortest way into the zone", i)
			}
		case r.TieIn:
			if !s.lastRun(e, a) || t.Nodes[r.To].Kind != KindTarget {
				say("last run %d is too long or leaves its ground", i)
			}
		case !s.zone.clear(a, b):
			say("run %d leaves the zone", i)
		case s.crosses(a, b):
			say("run %d crosses a buried line at an angle that is forbidden", i)
		}
		if !r.LeadOff && !r.Kept && l < s.ls-1e-6 {
			say("run %d is %.4f m long, least %.4f m", i, l, s.ls)
		}
		if d := down[r.To]; d >= 0 && !(r.Kept && t.Runs[d].Kept) {
			tn := turn(a, b, at(t.Runs[d].To))
			most := s.bend
			n := t.Nodes[r.To]
			if (n.Kind == KindJoin || n.Kind == KindSource) && !(n.Source >= 0 && s.p.Sources[n.Source].Basin) {
				most = s.join
			}
			if tn > most+1e-6 {
				say("run %d turns by %.3f degrees at a %v", i, tn*180/math.Pi, n.Kind)
			}
		}
		for j, q := range t.Runs[:i] {
			c, d := at(q.From), at(q.To)
			switch {
			case r.From == q.From || r.To == q.To || r.From == q.To || r.To == q.From:
				// common end: they may not lie on each other
				var u, v, w orb.Point
				switch {
				case r.From == q.From:
					w, u, v = a, b, d
				case r.To == q.To:
					w, u, v = b, a, c
				case r.From == q.To:
					w, u, v = a, b, c
				default:
					w, u, v = b, a, d
				}
				if turn(u, w, v) > math.Pi-1e-6 && !(r.Kept && q.Kept) {
					say("runs %d and %d lie on each other", i, j)
				}
			case r.Kept && q.Kept:
			case touches(a, b, c, d):
				say("runs %d and %d meet away from their ends", i, j)
			}
		}
	}
	return bad
}

// drawn tells whether the segment ab lies on a kept line.
func (s *site) drawn(a, b orb.Point) bool {
	for _, k := range s.p.Kept {
		for i := 0; i+1 < len(k); i++ {
			p, q := sub(k[i], s.origin), sub(k[i+1], s.origin)
			if distTo(a, p, q) < 1e-6 && distTo(b, p, q) < 1e-6 {
				return true
			}
		}
	}
	return false
}
