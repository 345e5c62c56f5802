package planner

// Water levels: the grade line for each return period and each state of the
// outlet.

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/gradeline"
	"fallwright/hydro/pipe"
	"fallwright/hydro/profile"
	"fallwright/parcels"
)

// returnPeriods are those that a plan is looked at for beside its own.
var returnPeriods = []hydro.ReturnPeriod{2, 10, 25, 100}

// grateEdge is the perimeter through which a basin spills where its grate is
// not given: a 12 in square one (common practice).
const grateEdge = 1.2192 * unit.Metre

// squareEntrance is the entrance loss of a pipe flush in a basin's wall (FHWA
// HDS-5, table C-2: square edge 0.5).
const squareEntrance = 0.5

// levels works the water levels and fills the points, the cases, the storage
// and the findings that follow.
func (lp *lotPlan) levels(l *layout, r *profile.Result) error {
	if lp.intensity == nil && !allStated(l) {
		return nil // without rain no level is known below an intake with an area
	}
	c := lp.site.Criteria
	design := c.Storm.ReturnYears
	given := lp.givenLevel(design)
	type state struct {
		name  string
		level *unit.Elevation
	}
	states := []state{{"free_outfall", nil}}
	if given != nil {
		states = []state{{"stated", given}, {"free_outfall", nil}}
	} else if in := l.end.inlet; in != nil {
		if crown := crownOf(in); crown != nil {
			states = append(states, state{"at_crown", crown})
		}
		if in.Rim != nil {
			states = append(states, state{"at_rim", in.Rim})
		}
	}
	years := []hydro.ReturnPeriod{design}
	if lp.site.Rain != nil && len(lp.site.Rain.Table) > 0 {
		years = append(years, returnPeriods...)
	}
	sort.Slice(years, func(i, j int) bool { return years[i] < years[j] })
	over := hydro.ReturnPeriod(0)
	open := lp.openings()
	for i, y := range years {
		if i > 0 && y == years[i-1] {
			continue
		}
		flows, err := lp.flowsAt(l, r, y)
		if err != nil {
			return err
		}
		for k, s := range states {
			if y != design && k > 0 {
				continue
			}
			level := s.level
			if s.name == "stated" && y != design {
				if level = lp.givenLevel(y); level == nil {
					level = given
				}
			}
			net := lp.grade(l, r, flows, level)
			res, err := gradeline.Solve(net)
			if err != nil {
				return wrong(lp.lot, err)
			}
			wc := parcels.WaterCase{Name: s.name, Return: y, Level: level, Levels: map[string]unit.Elevation{}}
			for i := range l.nodes {
				wc.Levels[l.nodes[i].id] = mm(res.Nodes[i].Level)
			}
			for _, n := range res.Spilling {
				if l.nodes[n].water != nil {
					wc.FirstSpill = l.nodes[n].id
					break
				}
			}
			lp.standOver(l, &wc, open)
			wc.Message = lp.sayCase(s.name, y, &wc)
			lp.water = append(lp.water, wc)
			if k == 0 && y == design {
				lp.mark(l, res)
			}
			if k == 0 && wc.FirstSpill != "" && over == 0 {
				over = y
			}
			if y == design {
				lp.judgeLevels(l, s.name, &wc, k == 0, open)
			}
		}
	}
	if over > 0 {
		lp.find(parcels.Finding{Code: "runs_over", Severity: parcels.Note, Feature: l.end.id, Measured: parcels.Num(float64(over)), Unit: "years", Message: fmt.Sprintf("The first basin runs over in the %g-year storm.", float64(over))})
	}
	return lp.backUp(l, r, design)
}

// allStated says that the flow of every run is known without rain: each intake
// upstream states its own, and none sheds an area.
func allStated(l *layout) bool {
	some := false
	for i := range l.runs {
		for _, w := range l.runs[i].waters {
			if w.roofCA+w.yardCA > 0 {
				return false
			}
			some = some || w.stated > 0
		}
	}
	return some
}

// givenLevel is the highest water level that the input states for the outlet in
// the storm; nil where it states none.
func (lp *lotPlan) givenLevel(y hydro.ReturnPeriod) *unit.Elevation {
	e := lp.endNow()
	if e == nil || e.inlet == nil {
		return nil
	}
	curve := lp.curve(y)
	if len(curve) == 0 {
		return e.inlet.Tailwater
	}
	top := curve[0].Level
	for _, p := range curve {
		top = max(top, p.Level)
	}
	return &top
}

// curve is the stated level over the storm.
func (lp *lotPlan) curve(y hydro.ReturnPeriod) []parcels.LevelAt {
	e := lp.endNow()
	if e == nil || e.inlet == nil {
		return nil
	}
	if c, ok := e.inlet.TailwaterByReturn[y]; ok {
		return c
	}
	return e.inlet.TailwaterCurve
}

func (lp *lotPlan) endNow() *end {
	for i := range lp.ends {
		if lp.ends[i].id == lp.outlet {
			return &lp.ends[i]
		}
	}
	return nil
}

// flowsAt are the flows of the runs in a storm of another return period: each
// run's areas at its own time of concentration, with that period's intensity
// and frequency factor.
func (lp *lotPlan) flowsAt(l *layout, r *profile.Result, y hydro.ReturnPeriod) ([]hydro.Flow, error) {
	c := lp.site.Criteria
	out := make([]hydro.Flow, len(l.runs))
	ratio := lp.factor(y) / lp.factor(c.Storm.ReturnYears)
	for i := range l.runs {
		laid := &r.Reaches[i]
		if y == c.Storm.ReturnYears {
			out[i] = laid.Flow
			continue
		}
		stated := hydro.Flow(0)
		for _, w := range l.runs[i].waters {
			stated += w.stated
		}
		q := laid.Flow - stated
		if q > 0 && laid.Intensity > 0 {
			now, _, err := lp.rain.Intensity(laid.Tc, y)
			if err != nil {
				return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: rain", Err: err}
			}
			q *= hydro.Flow(float64(now) / float64(laid.Intensity) * ratio)
		}
		out[i] = q + stated
	}
	return out, nil
}

// factor is the frequency factor of the criteria for a return period: that of
// the greatest one listed that is no greater.
func (lp *lotPlan) factor(y hydro.ReturnPeriod) float64 {
	best, f := -1, 1.0
	for k, v := range lp.site.Criteria.Runoff.FrequencyFactor {
		if hydro.ReturnPeriod(k) <= y && k > best {
			best, f = k, v
		}
	}
	return f
}

// grade puts a laid layout to the grade line.
func (lp *lotPlan) grade(l *layout, r *profile.Result, flows []hydro.Flow, level *unit.Elevation) gradeline.Network {
	n := gradeline.Network{Level: level}
	for i := range l.nodes {
		m := &l.nodes[i]
		g := gradeline.Node{Name: m.id}
		switch {
		case m.water != nil:
			g.Kind, g.Entrance = gradeline.Open, squareEntrance
			g.Rim = m.water.intake.Rim
			if g.Rim == nil {
				g.Rim = lp.groundAt(m)
			}
		case m.end != nil:
			n.Outlet = i
		case m.kind == parcels.PointCleanout:
			g.Rim = lp.groundAt(m)
		}
		n.Nodes = append(n.Nodes, g)
	}
	for i := range l.runs {
		pr, laid := &l.runs[i], &r.Reaches[i]
		count := 1
		if !pr.solid() {
			count = pr.perforated
		}
		run := gradeline.Run{Name: fmt.Sprintf("%sR%d", lp.prefix, i+1), From: pr.from, To: pr.to, Length: pr.length, InvertUp: laid.InvertUp, InvertDown: laid.InvertDown,
			Flow: flows[i], Pipes: pipe.Alike(count, pipe.Pipe{Diameter: unit.Length(lp.stockOf[laid.Pipe].Diameter / 1000), N: lp.stockOf[laid.Pipe].N})}
		if out := l.nodes[pr.to].out; out >= 0 {
			turn := l.deflection(i, out)
			if l.nodes[pr.to].kind == parcels.PointWye {
				run.JoinAngle = turn
			} else if turn > 1 {
				run.Bends = []float64{turn}
			}
		}
		n.Runs = append(n.Runs, run)
	}
	return n
}

func (lp *lotPlan) groundAt(n *node) *unit.Elevation {
	if lp.surface == nil {
		return nil
	}
	if g, ok := lp.surface.At(n.at); ok {
		return parcels.Num(g.Elevation)
	}
	return nil
}

// mark writes the levels of the case that the plan is sized for.
func (lp *lotPlan) mark(l *layout, res gradeline.Result) {
	for i := range l.nodes {
		for k := range lp.points {
			if lp.points[k].ID != l.nodes[i].id {
				continue
			}
			if inv := lp.points[k].Invert; l.nodes[i].end != nil && inv != nil && res.Nodes[i].Level < *inv {
				continue // the structure's water stands below the pipe, which falls free
			}
			lp.points[k].WaterLevel = parcels.Num(mm(res.Nodes[i].Level))
			if rim := lp.points[k].Rim; rim != nil {
				lp.points[k].Freeboard = parcels.Num(mm(rim.Above(res.Nodes[i].Level)))
			}
		}
	}
	for p := range lp.profiles {
		rows := lp.profiles[p].Rows
		for k := range rows {
			for i := range l.nodes {
				if rows[k].Point == l.nodes[i].id {
					rows[k].WaterLevel = parcels.Num(mm(res.Nodes[i].Level))
				}
			}
		}
	}
}

func (lp *lotPlan) sayCase(name string, y hydro.ReturnPeriod, wc *parcels.WaterCase) string {
	where := map[string]string{"free_outfall": "falling free into the outlet", "at_crown": "with water at the crown of the outgoing pipe", "at_rim": "with the inlet full to its rim", "stated": "with the water level stated for the inlet"}[name]
	if wc.FirstSpill == "" {
		return fmt.Sprintf("In the %g-year storm, %s, no basin runs over.", float64(y), where)
	}
	return fmt.Sprintf("In the %g-year storm, %s, water comes out at %s first.", float64(y), where, wc.FirstSpill)
}

// judgeJoins tells what joining does to a perforated pipe: where the water of the
// solid line stands over the invert at which the perforated one comes in, roof
// water runs back into the stone.
func (lp *lotPlan) judgeJoins(l *layout, name string, wc *parcels.WaterCase) {
	for i := range l.runs {
		r := &l.runs[i]
		next := l.nodes[r.to].out
		if r.solid() || next < 0 || !l.runs[next].solid() || lp.runs[i].InvertDown == nil {
			continue
		}
		n := &l.nodes[r.to]
		stands := wc.Levels[n.id].Above(*lp.runs[i].InvertDown)
		if stands < 0.005 {
			continue
		}
		at := n.at
		lp.find(parcels.Finding{Code: "water_into_stone", Severity: parcels.Note, Feature: lp.runs[i].ID, Location: &at, Measured: parcels.Num(float64(mm(stands))), Required: parcels.Num(0.0), Unit: "m", Source: "P-104, P-110",
			Message: fmt.Sprintf("Where perforated run %s joins the solid line at %s the water stands %.0f mm over its invert in the %g-year storm (%s): that much runs back into the stone. A backwater valve on the perforated branch, within reach, keeps it out.", lp.runs[i].ID, n.id, 1000*float64(stands), float64(wc.Return), strings.ReplaceAll(name, "_", " "))})
	}
}

// judgeLevels holds the levels of a case against the lowest openings of the
// lot's house; first says that the plan is sized for the case.
func (lp *lotPlan) judgeLevels(l *layout, name string, wc *parcels.WaterCase, first bool, open []*parcels.Opening) {
	if wc.FirstSpill != "" {
		lp.find(parcels.Finding{Code: "surcharge", Severity: parcels.Warn, Feature: wc.FirstSpill, Source: "P-108", Message: wc.Message})
	}
	if !first && name != "at_rim" {
		return
	}
	lp.judgeJoins(l, name, wc)
	c := lp.site.Criteria
	top, at := lp.highest(l, wc)
	for _, o := range open {
		if at == "" {
			break
		}
		free := o.Level.Above(top)
		if free >= c.Storm.Freeboard {
			continue
		}
		place := o.At
		lp.find(parcels.Finding{Code: "opening_freeboard", Severity: parcels.Warn, Feature: label(o.Common), Location: &place, Measured: parcels.Num(float64(mm(free))), Required: parcels.Num(float64(c.Storm.Freeboard)), Unit: "m", Source: "P-111",
			Message: fmt.Sprintf("Water at %s (%s) stands %.2f m under the %s; %.2f m is asked.", at, name, float64(free), o.Kind, float64(c.Storm.Freeboard))})
	}
}

// highest is the highest water at an intake in a case, and where: it rises no
// further than the rim.
func (lp *lotPlan) highest(l *layout, wc *parcels.WaterCase) (unit.Elevation, string) {
	top, at := unit.Elevation(math.Inf(-1)), ""
	for i := range l.nodes {
		n := &l.nodes[i]
		if n.water == nil {
			continue
		}
		level := wc.Levels[n.id]
		if rim := n.water.intake.Rim; rim != nil && level > *rim {
			level = *rim // it spills there and rises no further
		}
		if level > top {
			top, at = level, n.id
		}
	}
	return top, at
}

// openings are those on the lots whose level is known.
func (lp *lotPlan) openings() (out []*parcels.Opening) {
	for i := range lp.site.Openings {
		if o := &lp.site.Openings[i]; o.Level != nil && lp.has(ownerOf(lp.site, "", o.At)) {
			out = append(out, o)
		}
	}
	return out
}

// standOver writes into a case how far the lowest opening stands over its water.
func (lp *lotPlan) standOver(l *layout, wc *parcels.WaterCase, open []*parcels.Opening) {
	top, at := lp.highest(l, wc)
	for _, o := range open {
		if at == "" {
			break
		}
		if free := mm(o.Level.Above(top)); wc.Freeboard == nil || free < *wc.Freeboard {
			wc.Opening, wc.Freeboard = label(o.Common), &free
		}
	}
}
