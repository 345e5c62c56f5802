package auditor

// Does an inlet lie within gravity's reach? First the cheap answer: even in a
// straight line there may be too little fall. Else a drain is laid (geo/route)
// and its highest profile swept down it: from cover at the intake, at the slope
// asked for, under cover at every break of the ground.

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/route"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

// answer is how one inlet stands to the lot.
type answer struct {
	inlet  *parcels.Inlet
	reach  parcels.Reach
	length unit.Length
	by     string
	have   *unit.Length
	need   *unit.Length
	why    string
	at     orb.Point
	warns  []parcels.Finding
}

func checkReach(w *lotWork) error {
	flow, err := w.flow()
	if err != nil {
		return err
	}
	if flow != nil {
		w.row.Flow = ptr(roundTo(*flow, 1e7))
	}
	mid := siting.Middle(w.lot.Shape)
	if w.a.inlets == 0 {
		w.row.Reach = parcels.ReachNotProven
		w.find(parcels.Finding{Code: "no_inlets", Severity: parcels.Warn, Location: &mid, NotProven: true, Source: "P-28",
			Message: "No inlets are given: whether one lies within reach cannot be known.", Cure: "Give the layer inlets."})
		return nil
	}
	c := w.site.Criteria
	// inlets that a last run could arrive at: within reach of the lot
	var near []*parcels.Inlet
	for i := range w.site.Inlets {
		in := &w.site.Inlets[i]
		if target(in) && offLot(in.At, w.lot) <= c.TieIn.Reach {
			near = append(near, in)
		}
	}
	if len(near) == 0 {
		w.row.Reach = parcels.ReachNo
		w.nearest(mid)
		w.noInlet(mid)
		return nil
	}
	slices.SortStableFunc(near, func(a, b *parcels.Inlet) int {
		da, db := dist(a.At, mid), dist(b.At, mid)
		switch {
		case da < db:
			return -1
		case da > db:
			return 1
		}
		return 0
	})
	var best *answer
	for _, in := range near {
		a, err := w.tryInlet(in)
		if err != nil {
			return err
		}
		if best == nil || better(a, best) {
			best = a
		}
	}
	w.row.Reach = best.reach
	w.row.Inlet = ptr(best.inlet.ID)
	w.row.Length, w.row.LengthBy = ptr(round4(best.length)), best.by
	if best.have != nil {
		w.row.FallAvailable = ptr(round4(*best.have))
	}
	if best.need != nil {
		w.row.FallNeeded = ptr(round4(*best.need))
	}
	switch best.reach {
	case parcels.ReachNo:
		f := parcels.Finding{Code: "no_gravity_route", Severity: parcels.Stop, Feature: best.inlet.ID, Location: ptr(best.at), Source: "criteria pipe", Message: best.why}
		if best.have != nil && best.need != nil {
			f.Measured, f.Required, f.Unit = ptr(float64(*best.have)), ptr(float64(*best.need)), "m"
		}
		w.find(f)
	case parcels.ReachYes:
		w.find(parcels.Finding{Code: "tie_in_permission", Severity: parcels.Warn, Feature: best.inlet.ID, Location: ptr(best.inlet.At), Source: "P-55",
			Message: fmt.Sprintf("The tie-in to inlet %s needs written permission%s and inspection before backfill.", best.inlet.ID, of(best.inlet.Owner))})
	case parcels.ReachNotProven:
		w.find(parcels.Finding{Code: "reach_not_proven", Severity: parcels.Warn, Feature: best.inlet.ID, Location: ptr(best.at), NotProven: true, Message: best.why,
			Cure: "Measure the rim and the inverts of " + best.inlet.ID + " and the ground at the intakes."})
	}
	for _, f := range best.warns {
		w.find(f)
	}
	if h := w.gather(); h.assumed != "" {
		w.find(parcels.Finding{Code: "intakes_assumed", Severity: parcels.Warn, Location: &mid, NotProven: true,
			Message: "For the reach, " + h.assumed + ".", Cure: "Give the layer intakes."})
	}
	return nil
}

// of names an owner where one is known.
func of(owner string) string {
	if owner == "" {
		return " of its owner"
	}
	return " of its owner (" + owner + ")"
}

// better prefers yes to not proven to no, and then the shorter.
func better(a, b *answer) bool {
	rank := map[parcels.Reach]int{parcels.ReachYes: 0, parcels.ReachNotProven: 1, parcels.ReachNo: 2}
	if rank[a.reach] != rank[b.reach] {
		return rank[a.reach] < rank[b.reach]
	}
	return a.length < b.length
}

// noInlet tells that no inlet stands within reach, and what else might take the
// water.
func (w *lotWork) noInlet(at orb.Point) {
	reach := w.site.Criteria.TieIn.Reach
	for i := range w.site.Outlets {
		if o := &w.site.Outlets[i]; offLot(o.At, w.lot) <= reach {
			w.find(parcels.Finding{Code: "no_inlet_in_reach", Severity: parcels.Warn, Feature: o.ID, Location: &at, NotProven: true, Cure: "Plan lot " + w.lot.ID + " towards outlet " + o.ID + ".", Required: ptr(float64(reach)), Unit: "m", Source: "criteria tie_in.reach_m",
				Message: fmt.Sprintf("No inlet stands within %.3f m of the lot; outlet %s (%s) does.", float64(reach), o.ID, o.Kind)})
			return
		}
	}
	for i := range w.site.Swales {
		sw := &w.site.Swales[i]
		if sw.MayDischarge && len(within(sw.Line, w.lot.Shape)) > 0 {
			w.find(parcels.Finding{Code: "no_inlet_in_reach", Severity: parcels.Warn, Feature: siting.Label(sw.Common), Location: &at, NotProven: true, Cure: "Plan lot " + w.lot.ID + " towards swale " + siting.Label(sw.Common) + ".", Required: ptr(float64(reach)), Unit: "m", Source: "criteria tie_in.reach_m",
				Message: fmt.Sprintf("No inlet stands within %.3f m of the lot; swale %s, which may take discharge, crosses it.", float64(reach), siting.Label(sw.Common))})
			return
		}
	}
	f := parcels.Finding{Code: "no_inlet_in_reach", Severity: parcels.Stop, Location: &at, Required: ptr(float64(reach)), Unit: "m", Source: "criteria tie_in.reach_m",
		Message: fmt.Sprintf("No inlet stands within %.3f m of the lot, nor a listed outlet.", float64(reach))}
	if w.row.Length != nil {
		f.Measured, f.Feature = ptr(float64(*w.row.Length)), *w.row.Inlet
	}
	w.find(f)
}

// pipe is the smallest solid pipe of the stock that may be laid: the reach is asked
// for it.
func (w *lotWork) pipe() (wall, outside unit.Length) {
	stock := w.site.Criteria.Stock("solid")
	least := math.Inf(1)
	for _, p := range stock {
		if p.Diameter < least && p.Diameter >= w.site.Criteria.Pipe.LeastDiameter-1e-9 {
			least = p.Diameter
			outside = unit.Length(p.OutsideDiameter) * unit.Millimetre
			wall = unit.Length(p.OutsideDiameter-p.Diameter) / 2 * unit.Millimetre
		}
	}
	return wall, outside
}

// under is the highest invert that keeps the cover under a ground level.
func (w *lotWork) under(g unit.Elevation, cover *unit.Length) unit.Elevation {
	wall, outside := w.pipe()
	c := w.site.Criteria.Pipe.LeastCover
	if cover != nil {
		c = *cover
	}
	return g.Plus(-c - outside + wall)
}

func (w *lotWork) tryInlet(in *parcels.Inlet) (*answer, error) {
	c := w.site.Criteria
	h := w.gather()
	a := &answer{inlet: in, at: in.At, by: "line"}
	tie := tieIn(in)
	levels := true
	// the cheap answer, source by source
	worst := math.Inf(1)
	for _, s := range h.sources {
		d := unit.Length(dist(s.at, in.At))
		a.length = max(a.length, d)
		if s.ground == nil && s.invert == nil || tie == nil {
			levels = false
			continue
		}
		have, need := w.start(s).Above(*tie), c.Pipe.LeastSlope.Over(d)
		if spare := float64(have - need); spare < worst {
			worst = spare
			a.have, a.need, a.at = ptr(have), ptr(need), s.at
			if have < need {
				a.reach = parcels.ReachNo
				a.why = fmt.Sprintf("Even in a straight line the fall is too little: %s can start at most %.3f m above the tie-in of inlet %s (%.3f m), and %.1f m at %.2g %% need %.3f m.",
					s.id, float64(have), in.ID, float64(*tie), float64(d), 100*float64(c.Pipe.LeastSlope), float64(need))
			}
		}
	}
	if a.reach == parcels.ReachNo {
		return a, nil
	}
	if in.System == parcels.SystemUnknown || in.System == "" {
		a.warns = append(a.warns, parcels.Finding{Code: "system_unknown", Severity: parcels.Warn, Feature: in.ID, Location: ptr(in.At), NotProven: true, Source: "P-59",
			Message: "The sewer of inlet " + in.ID + " is not known to be a storm sewer.", Cure: "Ask the owner which sewer " + in.ID + " belongs to; a sanitary or combined one is never a target."})
	}
	tree, why, err := w.lay(in)
	if err != nil {
		return nil, err
	}
	if tree == nil {
		a.reach, a.why = parcels.ReachNo, fmt.Sprintf("No drain can be laid to inlet %s: %s.", in.ID, why)
		return a, nil
	}
	a.by, a.length = "route", tree.Way()
	if !levels || w.a.surface == nil {
		a.reach = parcels.ReachNotProven
		a.why = fmt.Sprintf("A drain of %.1f m can be laid to inlet %s, but the levels at its ends or between are not known.", float64(a.length), in.ID)
		return a, nil
	}
	w.sweep(a, tree, *tie)
	return a, nil
}

func (w *lotWork) start(s source) unit.Elevation {
	if s.ground == nil {
		return *s.invert
	}
	z := w.under(*s.ground, s.cover)
	if s.invert != nil && *s.invert < z {
		z = *s.invert
	}
	return z
}

// lay finds the shortest drain from the lot's intakes to the inlet; nil and why
// where there is none.
func (w *lotWork) lay(in *parcels.Inlet) (*route.Tree, string, error) {
	g, err := w.siting()
	if err != nil {
		return nil, "", err
	}
	c := w.site.Criteria
	z, err := g.CentreLine(c.Trench.Width)
	if err != nil {
		return nil, "", err
	}
	if z.Pieces == 0 {
		return nil, z.EmptyReason, nil
	}
	last, err := g.LastRun(in.At, c.Trench.Width)
	if err != nil {
		return nil, "", err
	}
	p := &route.Problem{Zone: z.Shape, Prices: route.Prices{Metre: 1},
		Rules:   route.Rules{JoinAngle: route.Angle(c.Route.JoinAngle) * route.Degree, BendAngle: route.Angle(c.Route.BendAngle) * route.Degree, LeastStraight: c.Route.LeastStraight},
		Targets: []route.Target{{ID: in.ID, At: in.At, Reach: c.TieIn.Reach, LastRunWithin: last}}}
	var lead orb.MultiPolygon
	for _, s := range w.gather().sources {
		src := route.Source{ID: s.id, At: s.at, Basin: !s.spout}
		if s.spout {
			if lead == nil {
				if lead, err = g.LeadOff(c.Trench.Width); err != nil {
					return nil, "", err
				}
			}
			src.LeadOff, src.LeadOffWithin = true, lead
		}
		p.Sources = append(p.Sources, src)
	}
	r, err := route.Solve(p)
	if err != nil {
		return nil, "", err
	}
	if len(r.Unreached) > 0 {
		u := r.Unreached[0]
		return nil, p.Sources[u.Source].ID + ": " + u.Reason, nil
	}
	if r.Best == nil {
		why := "no way inside the zone"
		for _, x := range r.Alternatives {
			if x.Reason != "" {
				why = x.Reason
			}
		}
		return nil, why, nil
	}
	return r.Best, "", nil
}

// sweep lowers the highest profile down the tree, first at the slope aimed at,
// then at the least allowed, and says how it arrives.
func (w *lotWork) sweep(a *answer, t *route.Tree, tie unit.Elevation) {
	c := w.site.Criteria
	for _, slope := range []unit.Slope{c.Pipe.TargetSlope, c.Pipe.LeastSlope} {
		arrive, deepest, at, known := w.profile(t, slope)
		ways := t.Ways()
		// the intake that governs: least of start less what its way needs
		worst := math.Inf(1)
		for i, n := range t.Nodes {
			if n.Kind != route.KindSource || n.Source < 0 {
				continue
			}
			have := w.start(w.gather().sources[n.Source]).Above(tie)
			need := slope.Over(ways[i])
			if s := float64(have - need); s < worst {
				worst = s
				a.have, a.need, a.length = ptr(have), ptr(need), ways[i]
			}
		}
		switch {
		case !known:
			a.reach = parcels.ReachNotProven
			a.why = fmt.Sprintf("The ground along the drain to inlet %s is not known everywhere.", a.inlet.ID)
			return
		case arrive < tie:
			a.reach = parcels.ReachNo
			a.why = fmt.Sprintf("Under %.3f m of cover and at %.2g %% a drain of %.1f m arrives at inlet %s at %.3f m, %.3f m under its tie-in level.",
				float64(c.Pipe.LeastCover), 100*float64(slope), float64(a.length), a.inlet.ID, float64(arrive), float64(tie-arrive))
			continue
		case deepest > c.Pipe.GreatestDepth:
			a.reach, a.at = parcels.ReachNo, at
			a.why = fmt.Sprintf("At %.2g %% the trench to inlet %s would be %.3f m deep, over %.3f m.", 100*float64(slope), a.inlet.ID, float64(deepest), float64(c.Pipe.GreatestDepth))
			continue
		}
		a.reach, a.why = parcels.ReachYes, ""
		if slope < c.Pipe.TargetSlope {
			a.warns = append(a.warns, parcels.Finding{Code: "slope_below_target", Severity: parcels.Warn, Feature: a.inlet.ID, Location: ptr(a.inlet.At),
				Measured: ptr(float64(slope)), Required: ptr(float64(c.Pipe.TargetSlope)), Source: "P-78",
				Message: fmt.Sprintf("Inlet %s is reached at %.2g %% only, not at the %.2g %% aimed at.", a.inlet.ID, 100*float64(slope), 100*float64(c.Pipe.TargetSlope))})
		}
		return
	}
}

// profile is the highest profile of a tree at a slope: the invert at the
// target, the greatest depth of trench on the way and where.
func (w *lotWork) profile(t *route.Tree, slope unit.Slope) (arrive unit.Elevation, deepest unit.Length, at orb.Point, known bool) {
	wall, _ := w.pipe()
	below := wall + w.site.Criteria.Trench.Bedding
	level := make([]unit.Elevation, len(t.Nodes))
	for i, n := range t.Nodes {
		level[i] = unit.Elevation(math.Inf(1))
		if n.Kind == route.KindSource && n.Source >= 0 {
			level[i] = w.start(w.gather().sources[n.Source])
		}
	}
	known = true
	end := 0
	for i, r := range t.Runs {
		p := w.a.surface.Along(t.Line(i))
		known = known && p.Complete()
		z, from := level[r.From], unit.Length(0)
		for _, st := range p.Stations {
			z = z.Plus(-slope.Over(st.Distance - from))
			from = st.Distance
			if u := w.under(st.Elevation, nil); u < z && !(r.LeadOff && from == 0) {
				z = u
			}
			if d := st.Elevation.Above(z) + below; d > deepest {
				deepest, at = d, st.At
			}
		}
		z = z.Plus(-slope.Over(t.RunLength(i) - from))
		level[r.To] = min(level[r.To], z)
		end = r.To
	}
	return level[end], deepest, at, known
}

// eachEdge walks the lines of a lot.
func eachEdge(mp orb.MultiPolygon, f func(part, ring, edge int, a, b orb.Point)) {
	for p, poly := range mp {
		for r, ring := range poly {
			for e := 1; e < len(ring); e++ {
				f(p, r, e-1, ring[e-1], ring[e])
			}
		}
	}
}
