package planner

// Ends where a pipe comes out at grade: daylight in a swale or on the ground, and
// a cored curb. There the cover thins to nothing over the last run.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/route"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/profile"
	"fallwright/parcels"
)

// atGrade says whether the pipe comes out at grade at an end.
func (e *end) atGrade() bool {
	return e.swale != nil || e.outlet != nil && (e.outlet.Kind == "daylight" || e.outlet.Kind == "curb_core")
}

// overBed is how far over the bed of its outlet a pipe may come out (common
// practice: a hand's breadth, onto stone).
const overBed = 0.1 * unit.Metre

// swaleEnds offers each swale that may take water as an outlet: at the lowest
// place of it on one of the lots, at the level of its bed.
func (lp *lotPlan) swaleEnds() {
	s := lp.site
	for i := range s.Swales {
		w := &s.Swales[i]
		id := swaleID(w)
		if !w.MayDischarge || lp.only != "" && lp.only != id {
			continue
		}
		var best *orb.Point
		low := math.Inf(1)
		try := func(p orb.Point, z float64) {
			if m := lp.at(p); m != nil && z < low && shape.Locate(p, m.lot.Shape) == shape.Inside {
				p, low = lp.snap(p), z
				best = &p
			}
		}
		if w.Z != nil { // its own points, whose level is shot, before places between
			for k, p := range w.Line {
				try(p, float64(w.Z[k]))
			}
		}
		for k := 0; k+1 < len(w.Line) && best == nil; k++ {
			a, b := w.Line[k], w.Line[k+1]
			n := int(math.Ceil(math.Hypot(b[0]-a[0], b[1]-a[1]))) + 1
			for j := 0; j <= n; j++ {
				f := float64(j) / float64(n)
				p := orb.Point{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])}
				switch {
				case w.Z != nil:
					try(p, float64(w.Z[k])+f*float64(w.Z[k+1]-w.Z[k]))
				case lp.surface != nil:
					if g, ok := lp.surface.At(p); ok {
						try(p, float64(g.Elevation))
					}
				}
			}
		}
		if best == nil {
			continue
		}
		bed := unit.Elevation(math.Ceil(low*1000) / 1000)
		e := end{id: id, at: *best, swale: w, tieIn: &bed}
		top := bed.Plus(overBed)
		e.atMost = &top
		lp.ends = append(lp.ends, e)
	}
}

func swaleID(w *parcels.Swale) string {
	return label(w.Common)
}

// thin lets the cover of the reaches before an end at grade run out: within reach
// of the end the ground counts as no lower than a straight rise to where the pipe
// at its bed is covered. What is laid is measured against the true ground again
// (profile).
func (lp *lotPlan) thin(l *layout, p *profile.Problem) {
	if !l.end.atGrade() || l.end.tieIn == nil {
		return
	}
	c := lp.site.Criteria
	over := float64(c.TieIn.Reach)
	k := lp.solidPipe[min(len(lp.solidPipe)-1, slices.Index(lp.solidPipe, lp.firstPipe())+1)]
	top := float64(*l.end.tieIn) + float64(lp.stock[k].Outside+c.Pipe.LeastCover)
	far := l.toOutlet()
	for i := range l.runs {
		if far[i] >= over {
			continue
		}
		q := &p.Reaches[i]
		at := func(s unit.Length) float64 { return far[i] + float64(q.Length-s) } // to the outlet
		var g []profile.Station
		for n, s := range q.Ground {
			if n > 0 && at(q.Ground[n-1].At) > over+1e-6 && at(s.At) < over-1e-6 {
				a := q.Ground[n-1]
				f := (at(a.At) - over) / (at(a.At) - at(s.At))
				g = append(g, profile.Station{At: a.At + unit.Length(f)*(s.At-a.At), Ground: a.Ground + unit.Elevation(f)*(s.Ground-a.Ground)})
			}
			g = append(g, s)
		}
		for n := range g {
			if d := at(g[n].At); d < over {
				rise := top - d/over*(float64(c.Pipe.LeastCover)+float64(lp.stock[k].Outside))
				g[n].Ground = max(g[n].Ground, unit.Elevation(rise))
			}
		}
		q.Ground = g
	}
}

// toOutlet is the way from the lower end of each run to the outlet, m.
func (l *layout) toOutlet() []float64 {
	far := make([]float64, len(l.runs))
	for i := len(l.runs) - 1; i >= 0; i-- {
		if to := &l.nodes[l.runs[i].to]; to.end == nil {
			far[i] = far[to.out] + float64(l.runs[to.out].length)
		}
	}
	return far
}

// judgeGrade tells where the cover runs out: of the last run, and of each that
// joins it within reach of the end (a basin beside the outfall).
func (lp *lotPlan) judgeGrade(l *layout) {
	if !l.end.atGrade() {
		return
	}
	c := lp.site.Criteria
	far := l.toOutlet()
	for i := range lp.runs {
		run := &lp.runs[i]
		if far[i] >= float64(c.TieIn.Reach) || run.LeastCover == nil || *run.LeastCover >= c.Pipe.LeastCover {
			continue
		}
		to := &l.nodes[l.runs[i].to]
		at, where := to.at, fmt.Sprintf("comes out at grade at %s: towards its end it has", l.end.id)
		if to.end == nil {
			where = fmt.Sprintf("joins %.1f m before the end at grade at %s and has", far[i], l.end.id)
		}
		lp.find(parcels.Finding{Code: "thin_cover_at_end", Severity: parcels.Warn, Feature: run.ID, Location: &at, Measured: parcels.Num(float64(*run.LeastCover)), Required: parcels.Num(float64(c.Pipe.LeastCover)), Unit: "m",
			Message: fmt.Sprintf("Run %s %s less than %.2f m of cover. Use heavy-walled pipe there, hold the end with stone or a collar, and keep wheels off it.", run.ID, where, float64(c.Pipe.LeastCover))})
	}
}

// firstPipe is the stock pipe that would carry all the water at the target slope.
func (lp *lotPlan) firstPipe() int {
	total := 0.0
	for i := range lp.waters {
		total += float64(lp.alone(&lp.waters[i]))
	}
	k := lp.solidPipe[0]
	for _, x := range lp.solidPipe {
		k = x
		if lp.carries(x, lp.site.Criteria.Pipe.TargetSlope) >= total {
			break
		}
	}
	return k
}

// overLimit says by how much the flow of a laid layout is over what its inlet may
// be given; empty: it is not.
func (lp *lotPlan) overLimit(l *layout, r *profile.Result) string {
	in := l.end.inlet
	if in == nil || in.FlowLimit == nil {
		return ""
	}
	all := hydro.Flow(0)
	for i := range l.runs {
		if l.nodes[l.runs[i].to].end != nil {
			all += r.Reaches[i].Flow
		}
	}
	if all > *in.FlowLimit*(1+1e-9) {
		return overLimit(all, *in.FlowLimit)
	}
	return ""
}

func overLimit(q, limit hydro.Flow) string {
	return fmt.Sprintf("over its flow limit: %.1f L/s would come, %.1f L/s are allowed", 1000*float64(q), 1000*float64(limit))
}

// band is the lowest place on a lot where an emitter may let water out on the
// ground: in the trench zone, as far from lines, buildings and streets as
// discharge asks, and where its water runs over no neighbour's line as new.
func (lp *lotPlan) band(zone orb.MultiPolygon) (*orb.Point, unit.Elevation) {
	if lp.surface == nil || lp.shared {
		return nil, 0
	}
	m := &lp.members[0]
	d := lp.site.Criteria.Discharge
	type spot struct {
		at orb.Point
		z  unit.Elevation
	}
	var spots []spot
	b := m.lot.Shape.Bound()
	step := math.Max(1, math.Sqrt((b.Max[0]-b.Min[0])*(b.Max[1]-b.Min[1])/2500))
	for x := b.Min[0] + step/2; x < b.Max[0]; x += step {
		for y := b.Min[1] + step/2; y < b.Max[1]; y += step {
			p := orb.Point{x, y}
			if shape.Locate(p, zone) != shape.Inside {
				continue
			}
			if g, ok := lp.surface.At(p); ok {
				spots = append(spots, spot{p, g.Elevation})
			}
		}
	}
	slices.SortStableFunc(spots, func(a, b spot) int {
		switch {
		case a.z < b.z:
			return -1
		case a.z > b.z:
			return 1
		}
		return 0
	})
	far := func(p orb.Point, g orb.MultiPolygon, want unit.Length) bool {
		off, _, _ := shape.LineBoundary(orb.LineString{p, {p[0] + 1e-6, p[1]}}, g)
		return off >= want
	}
	cast := 0
	for _, s := range spots {
		ok := far(s.at, m.lot.Shape, d.FromLine)
		for _, k := range m.solid.KeepOuts {
			if g, is := k.Geometry.(orb.MultiPolygon); ok && is && k.Kind == "building" {
				ok = far(s.at, g, d.FromBuilding)
			}
		}
		for i := range lp.site.Streets {
			if g, is := lp.site.Streets[i].Geometry.(orb.MultiPolygon); ok && is {
				ok = far(s.at, g, d.FromStreet)
			}
		}
		if !ok {
			continue
		}
		if lp.castsOn(s.at) == "" {
			at := lp.snap(s.at)
			return &at, s.z
		}
		if cast++; cast == 12 {
			break // all of the low ground runs to the neighbour
		}
	}
	return nil, 0
}

// offerEmitter works the outlet that needs nobody's leave beside those listed: an
// emitter on the lowest ground that discharge leaves. It is told and never chosen:
// the input does not list it.
func (lp *lotPlan) offerEmitter(p *route.Problem, zone orb.MultiPolygon) {
	if lp.quick || lp.shared || lp.surface == nil || lp.only != "" {
		return
	}
	alt := parcels.Alternative{Kind: parcels.AltEmitter, Verdict: parcels.NotFeasible}
	at, level := lp.band(zone)
	if at == nil {
		alt.Reason = "no ground in the trench zone is as far from lines, buildings and streets as discharge asks, with no neighbour onto whom its water would newly run"
		lp.alternatives = append(lp.alternatives, alt)
		return
	}
	alt.Location = at
	n := len(lp.ends)
	under := lp.site.Criteria.Pipe.LeastCover + lp.stock[lp.firstPipe()].Outside + 0.05
	lp.ends = append(lp.ends, end{id: "emitter", at: *at, outlet: &parcels.Outlet{ID: "emitter", At: *at, Kind: "emitter", Level: &level, Weep: true}, tieIn: parcels.Num(level.Plus(-under))})
	defer func() { lp.ends = lp.ends[:n] }()
	q := *p
	q.Prove, q.Depth = false, nil
	q.Targets = slices.Clone(p.Targets)
	for i := range q.Targets {
		q.Targets[i].Closed = "not asked"
	}
	q.Targets = append(q.Targets, route.Target{ID: "emitter", At: *at})
	res, err := route.Solve(&q)
	if err != nil {
		return
	}
	for _, a := range res.Alternatives {
		if a.Target != n {
			continue
		}
		if alt.Reason = a.Reason; a.Tree != nil {
			alt.Length, alt.CostIndex = parcels.Num(mm(a.Tree.Length)), parcels.Num(round(a.Tree.Cost, 2))
			if a.Reason == "" {
				alt.Verdict = parcels.Feasible
				alt.Reason = fmt.Sprintf("not listed in the input; an emitter could open there at %.3f m", float64(level))
			}
		}
		if lp.ends[n].short != nil {
			alt.Short = parcels.Num(mm(*lp.ends[n].short))
		}
	}
	for i := range lp.waters {
		w := lp.waters[i].intake
		rim := w.Rim
		if g, ok := lp.surface.At(w.At); rim == nil && ok {
			rim = &g.Elevation
		}
		if rim != nil && *rim <= level+0.002 {
			alt.Verdict, alt.Reason = parcels.NotFeasible, fmt.Sprintf("intake %s, at %.3f m, is no higher than the lowest ground that discharge leaves, %.3f m", w.ID, float64(*rim), float64(level))
		}
	}
	if alt.Reason == "" {
		alt.Reason = "no intake has a way to it inside the zone"
	}
	lp.alternatives = append(lp.alternatives, alt)
}
