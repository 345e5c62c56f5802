package planner

// What a backed-up inlet does over a storm: the storage run on the lot's own
// network, without and with a valve, with the perforated pipes as planned and
// with one more or one less.

import (
	"fmt"
	"math"
	"slices"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
	"fallwright/hydro/profile"
	"fallwright/hydro/storage"
	"fallwright/parcels"
)

// backUp balances the lot's drain against an inlet whose level rises over the
// storm, where the input states that level.
func (lp *lotPlan) backUp(l *layout, r *profile.Result, y hydro.ReturnPeriod) error {
	if len(lp.curve(y)) == 0 {
		return nil
	}
	out, err := lp.balance(l, r, y)
	if err != nil || out == nil {
		return err
	}
	lp.backed = out
	if out.PipeCount == 1 || out.PipeCount == 2 {
		other := *l
		other.runs = slices.Clone(l.runs)
		for i := range other.runs {
			if !other.runs[i].solid() {
				other.runs[i].perforated = 3 - out.PipeCount
			}
		}
		laid := new(profile.Result)
		if err := lp.profile(&other, laid); err != nil {
			return wrong(lp.lot, err)
		}
		if laid.Verdict == profile.Arrives {
			if out.Other, err = lp.balance(&other, laid, y); err != nil {
				return err
			}
		}
	}
	lp.tellBackUp(out)
	return nil
}

// balance runs the storm through a laid layout, without and with a valve. Nil
// where nothing flows in or nothing could run over.
func (lp *lotPlan) balance(l *layout, r *profile.Result, y hydro.ReturnPeriod) (*parcels.BackedUp, error) {
	c, curve := lp.site.Criteria, lp.curve(y)
	last, perforated := -1, 0
	var parts []storage.Part
	for i := range l.runs {
		pr, laid := &l.runs[i], &r.Reaches[i]
		if l.nodes[pr.to].end != nil {
			last = i
		}
		k := lp.stockOf[laid.Pipe]
		count := 1
		if !pr.solid() {
			count = pr.perforated
			perforated = max(perforated, count)
		}
		parts = append(parts, storage.Bore{Diameter: unit.Length(k.Diameter / 1000), Count: count, Length: pr.length, InvertUp: laid.InvertUp, InvertDown: laid.InvertDown})
		if pr.perforated > 0 {
			wall := unit.Length((k.OutsideDiameter - k.Diameter) / 2000)
			od := k.OutsideDiameter / 1000
			pipes := float64(pr.perforated) * math.Pi * od * od / 4
			if pr.twin >= 0 {
				od := lp.stockOf[r.Reaches[pr.twin].Pipe].OutsideDiameter / 1000
				pipes += math.Pi * od * od / 4
			}
			parts = append(parts, storage.Stone{Length: pr.length, Width: lp.widthOf(l, r, i), BottomUp: laid.InvertUp.Plus(-wall - c.Trench.Bedding), BottomDown: laid.InvertDown.Plus(-wall - c.Trench.Bedding),
				Height: unit.Length(od) + c.Trench.Bedding + c.Trench.OverPipe, Voids: c.Trench.VoidRatio, Pipes: unit.Area(pipes)})
		}
	}
	var spills []storage.Spill
	for i := range l.nodes {
		n := &l.nodes[i]
		if n.water == nil {
			continue
		}
		rim := n.water.intake.Rim
		if rim == nil {
			rim = lp.groundAt(n)
		}
		if rim == nil {
			continue
		}
		edge := grateEdge
		if g := n.water.intake.Grate; g.Length != nil && g.Width != nil {
			edge = 2 * (*g.Length + *g.Width)
		}
		spills = append(spills, storage.Spill{Name: n.id, Rim: *rim, Edge: edge})
	}
	if last < 0 || len(spills) == 0 || r.Reaches[last].Flow <= 0 {
		return nil, nil
	}
	store, err := storage.Tabulate(parts...)
	if err != nil {
		return nil, wrong(lp.lot, err)
	}
	laid := &r.Reaches[last]
	tc := max(laid.Tc, c.Storm.RoofMin)
	peak := curve[0]
	for _, p := range curve {
		if p.Level > peak.Level {
			peak = p
		}
	}
	// The lot's own peak is put at the inlet's highest level: the worse case.
	start := max(0, peak.Minute-tc)
	trench := storage.Trench{Store: store, Spills: spills, Outlet: storage.Connection{Pipes: pipe.Alike(1, pipe.Pipe{Diameter: unit.Length(lp.stockOf[laid.Pipe].Diameter / 1000), N: lp.stockOf[laid.Pipe].N}),
		Length: l.runs[last].length, InvertUp: laid.InvertUp, InvertDown: laid.InvertDown, Losses: squareEntrance + 1, Limit: l.end.inlet.FlowLimit}}
	storm := storage.Case{Inflow: hydro.Hydrograph{{At: start, Flow: 0}, {At: start + tc, Flow: laid.Flow}, {At: start + 2*tc, Flow: 0}}, Step: 1.0 / 60, Record: 1}
	for _, p := range curve {
		storm.Outside = append(storm.Outside, storage.LevelAt{At: p.Minute, Level: p.Level})
	}
	storm.End = max(curve[len(curve)-1].Minute, start+2*tc) + 120
	out := &parcels.BackedUp{Lots: lp.lotsOf(), Outlet: l.end.id, Run: fmt.Sprintf("%sR%d", lp.prefix, last+1), PipeCount: perforated}
	for _, valve := range []bool{false, true} {
		trench.Outlet.Valve = valve
		res, err := storage.Run(trench, storm)
		if err != nil {
			return nil, wrong(lp.lot, err)
		}
		s := &parcels.Storage{VoidVolume: roundAs(res.VoidVolume, 3), UsableVolume: roundAs(res.UsableVolume, 3), FromSewer: roundAs(res.FromSewer, 3), PeakLevel: parcels.Num(mm(res.PeakLevel)),
			MinutesAbove: parcels.Num(roundAs(res.MinutesAbove, 1)), Overflow: roundAs(res.Overflow, 3), Series: [][4]float64{}}
		if res.FirstSpill != "" {
			s.FirstToSpill = parcels.Num(res.FirstSpill)
		}
		if res.EmptyAfter != nil {
			s.EmptyAfter = parcels.Num(round(float64(*res.EmptyAfter)/60, 3))
		}
		for _, row := range res.Series {
			s.Series = append(s.Series, [4]float64{round(float64(row.At), 3), round(float64(row.Level), 3), round(float64(row.Inflow), 6), round(float64(row.Stored), 4)})
		}
		if valve {
			out.With = s
		} else {
			out.Without = s
		}
	}
	return out, nil
}

func (lp *lotPlan) lotsOf() []string {
	var out []string
	for i := range lp.members {
		out = append(out, lp.members[i].lot.ID)
	}
	return out
}

// tellBackUp says what the owner will see, and whether another pipe in the
// trench would change it.
func (lp *lotPlan) tellBackUp(b *parcels.BackedUp) {
	s := b.Without
	msg := fmt.Sprintf("When inlet %s backs up in the design storm, the line stands full for %.0f minutes", lp.outlet, float64(*s.MinutesAbove))
	if s.FirstToSpill != nil {
		msg += fmt.Sprintf(" and %.2f m3 come out, first at %s", float64(s.Overflow), *s.FirstToSpill)
	} else {
		msg += " and no basin runs over"
	}
	if s.FromSewer > 0.01 {
		msg += fmt.Sprintf("; the sewer itself puts %.2f m3 into the voids, which are then no relief", float64(s.FromSewer))
	}
	if b.Other != nil {
		o := b.Other.Without
		msg += fmt.Sprintf(". With %s it would stand full for %.0f minutes and %.2f m3 would come out, of the voids %.2f m3 are of use against %.2f m3",
			map[int]string{1: "one perforated pipe in place of two", 2: "two perforated pipes side by side in place of one"}[b.Other.PipeCount], float64(*o.MinutesAbove), float64(o.Overflow), float64(o.UsableVolume), float64(s.UsableVolume))
	}
	lp.find(parcels.Finding{Code: "inlet_backs_up", Severity: parcels.Warn, Feature: lp.outlet, Measured: parcels.Num(float64(*s.MinutesAbove)), Unit: "min", Source: "P-108, P-112", Message: msg + "."})
}
