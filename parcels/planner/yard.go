package planner

// The water over the yard as the ground lies: ponds, what crosses the lot
// lines before and after the plan, where clogged grates send theirs.

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/memory"
	"fallwright/parcels/yardwater"
)

// aroundLot is how far from the lot the ground is looked at: the neighbours
// whose water runs on.
const aroundLot = 20 * unit.Metre

// leastRise is the C A by which water over a neighbour's line at one place may
// grow before it counts as new: a square metre, under a tenth of a litre a second
// in any storm.
const leastRise unit.Area = 1

// yard fills ponds and overflows, as the ground lies. A ground too coarse or too small
// for it leaves them empty, with a note.
func (lp *lotPlan) yard(m *member) {
	lot := m.lot
	if lp.surface == nil {
		return
	}
	near := *lp.site
	box := lot.Shape.Bound().Pad(float64(aroundLot))
	near.Lots = slices.DeleteFunc(slices.Clone(lp.site.Lots), func(l parcels.Lot) bool { return !l.Shape.Bound().Intersects(box) })
	near.Buildings = slices.DeleteFunc(slices.Clone(lp.site.Buildings), func(b parcels.Building) bool { return !b.Shape.Bound().Intersects(box) })
	near.Intakes = slices.DeleteFunc(slices.Clone(lp.site.Intakes), func(i parcels.Intake) bool { return !box.Contains(i.At) })
	near.Inlets = slices.DeleteFunc(slices.Clone(lp.site.Inlets), func(i parcels.Inlet) bool { return !box.Contains(i.At) })
	// Only the lot itself is asked about; far parts of a large neighbour are cut
	// off by the box of the ground.
	// It does not look at what is drawn, which must then not be part of its key.
	near.Drains, near.PerforatedRuns, near.Document, near.Unknown, near.Findings, near.Assumptions = nil, nil, nil, nil, nil, nil
	mem := lp.siting.Memory()
	if lp.given {
		mem = nil
	}
	// What no basin changes is kept apart, so that a dragged basin asks for its own
	// water only.
	lie, err := memory.Of(mem, func() memory.Key {
		flat := *yardwater.WithoutGrates(&near)
		flat.Frame = nil // the positions in its plane are there
		return memory.NewHash("planner.lie").Value(flat).Key()
	}, func() (*yardwater.Lie, int64, error) {
		lie, err := yardwater.Survey(&near, lp.surface)
		if err != nil {
			return nil, 0, err
		}
		return lie, lie.Size(), nil
	})
	var r *yardwater.Report
	if err == nil {
		r, err = memory.Of(mem, func() memory.Key {
			flat := near
			flat.Frame = nil
			return memory.NewHash("planner.yard").Value(flat).Key()
		}, func() (*yardwater.Report, int64, error) {
			r, err := lie.Look(&near)
			return r, 64 << 10, err
		})
	}
	if err != nil {
		lp.find(parcels.Finding{Code: "yard_water_unknown", Severity: parcels.Note, Message: "The water over the yard was not worked out: " + err.Error() + "."})
		return
	}
	soak := lp.soak()
	for _, p := range r.Ponds {
		if !slices.Contains(p.Lots, lot.ID) {
			continue
		}
		lp.hollows = append(lp.hollows, p)
		q := parcels.Pond{Location: p.Location, Level: mm(p.Level), Depth: mm(p.Depth), Area: roundAs(p.Area, 2), Volume: hydro.Volume(round(p.Volume, 3))}
		if soak > 0 && len(p.Intakes) == 0 {
			q.DrainDown = parcels.Num(round(float64(p.Depth)*1000/soak, 1))
		}
		lp.ponds = append(lp.ponds, q)
		at := p.Location
		switch {
		case len(p.Houses) > 0:
			lp.find(parcels.Finding{Code: "pond_at_house", Severity: parcels.Warn, Location: &at, Measured: parcels.Num(float64(q.Depth)), Unit: "m", Source: "P-64",
				Message: fmt.Sprintf("Water stands up to %.2f m deep against %s before it runs off: grade it away or take it in.", float64(q.Depth), p.Houses[0])})
		case len(p.Intakes) == 0:
			msg := fmt.Sprintf("A hollow of %.1f m3, %.2f m deep, has no basin in it", float64(q.Volume), float64(q.Depth))
			if q.DrainDown != nil {
				msg += fmt.Sprintf(" and soaks away in about %.0f hours", *q.DrainDown)
			}
			lp.find(parcels.Finding{Code: "low_without_outlet", Severity: parcels.Note, Location: &at, Measured: parcels.Num(float64(q.Volume)), Unit: "m3", Source: "P-129", Message: msg + "."})
		}
	}
	c := lp.site.Criteria
	m.over = r
	for _, o := range r.Overflows {
		in := slices.IndexFunc(lp.waters, func(w water) bool { return w.intake.ID == o.Intake })
		if in < 0 {
			continue
		}
		row := parcels.Overflow{Point: o.Intake, Level: parcels.Num(mm(o.Level)), Path: o.Path, Passes: append([]string{}, o.Lots...)}
		row.Passes = append(row.Passes, o.Houses...)
		if o.Freeboard != nil {
			row.Freeboard = parcels.Num(mm(*o.Freeboard))
		}
		lp.overflow = append(lp.overflow, row)
		if o.Freeboard != nil && *o.Freeboard < c.Storm.Freeboard {
			at := lp.waters[in].intake.At
			lp.find(parcels.Finding{Code: "overflow_at_opening", Severity: parcels.Warn, Feature: o.Intake, Location: &at, Measured: parcels.Num(float64(mm(*o.Freeboard))), Required: parcels.Num(float64(c.Storm.Freeboard)), Unit: "m", Source: "P-111",
				Message: fmt.Sprintf("When the grate of %s is clogged its water passes within %.2f m under %s; %.2f m is asked.", o.Intake, float64(*o.Freeboard), o.Opening, float64(c.Storm.Freeboard))})
		}
	}
	// The rest of what was seen of the ground; of ponds, basins and openings it was
	// told above, with what the plan knows of them.
	for _, f := range r.Findings {
		switch f.Code {
		case "low_point_no_outlet", "pond_at_house", "overflow_at_opening":
		default:
			if f.Lot == lot.ID {
				lp.find(f)
			}
		}
	}
	slices.SortStableFunc(lp.overflow, func(a, b parcels.Overflow) int {
		return int(math.Copysign(1, float64(*a.Level-*b.Level)))
	})
}

// lines fills the flows over the lot's lines, as the ground lies and after the
// plan: joined downspouts and basins gone into the pipe, and what the pipe lets
// out on the ground there again.
func (lp *lotPlan) lines() error {
	for i := range lp.members {
		if err := lp.linesOf(&lp.members[i]); err != nil {
			return err
		}
	}
	return nil
}

func (lp *lotPlan) linesOf(m *member) error {
	if m.over == nil {
		return nil
	}
	c := lp.site.Criteria
	d := yardwater.Drained{Taken: map[string]bool{}}
	for _, points := range [][]parcels.Point{lp.points, lp.beside} {
		for i := range points {
			if points[i].Kind == parcels.PointIntake {
				d.Taken[points[i].ID] = true
			}
		}
	}
	if e := lp.endNow(); e != nil && e.outfall() {
		d.Outfall = &e.at
	}
	flows, returned, err := m.over.LineFlows(d)
	if err != nil {
		lp.find(parcels.Finding{Code: "yard_water_unknown", Severity: parcels.Note, Message: "The flows over the lot lines were not worked out: " + err.Error() + "."})
		return nil
	}
	rate := hydro.Intensity(0)
	if lp.intensity != nil {
		rate = lp.intensity(c.Storm.YardMin)
	}
	for _, f := range flows {
		if f.Lot != m.lot.ID {
			continue
		}
		row := parcels.LineFlow{Lot: f.Lot, Line: f.Line}
		if rate > 0 {
			flow := func(ca unit.Area) *hydro.Flow {
				if !f.Into {
					ca = -ca // out of the lot
				}
				return parcels.Num(hydro.Flow(round(float64(ca)*float64(rate)/3.6e6, 7)))
			}
			row.Before, row.After = flow(f.Before), flow(f.After)
			// the water of a storm as long as the yard's time of concentration
			row.BeforeTotal = parcels.Num(hydro.Volume(round(float64(*row.Before)*60*float64(c.Storm.YardMin), 4)))
			row.AfterTotal = parcels.Num(hydro.Volume(round(float64(*row.After)*60*float64(c.Storm.YardMin), 4)))
		}
		lp.lineFlows = append(lp.lineFlows, row)
	}
	// More water at one place of a neighbour's line than the ground sends there
	// now is what the law of nearly every state forbids to cast (P-52, P-53).
	lp.tellRise(m, flows, parcels.Stop, "new_flow_on_neighbour", "After the plan")
	if returned > leastRise {
		lp.find(parcels.Finding{Code: "outlet_runs_back", Severity: parcels.Warn, Feature: lp.outlet, Measured: parcels.Num(round(float64(returned), 1)), Unit: "m2 of C A",
			Message: "The water let out at " + lp.outlet + " runs back over the ground to where the plan takes it in again."})
	}
	// Where the line runs over in the design storm, its water is set down there.
	for i := range lp.water {
		w := &lp.water[i]
		p := lp.pointAt(w.FirstSpill)
		if w.Return != c.Storm.ReturnYears || p == nil {
			continue
		}
		full := yardwater.Drained{Taken: maps.Clone(d.Taken), Outfall: p}
		delete(full.Taken, w.FirstSpill)
		if flows, _, err := m.over.LineFlows(full); err == nil {
			lp.tellRise(m, flows, parcels.Warn, "spill_on_neighbour", "When the line runs over at "+w.FirstSpill)
		}
		break
	}
	return nil
}

func (lp *lotPlan) pointAt(id string) *orb.Point {
	for i := range lp.points {
		if id != "" && lp.points[i].ID == id {
			return &lp.points[i].At
		}
	}
	return nil
}

// tellRise tells each neighbour over whose line more water would come at one
// place than comes now.
func (lp *lotPlan) tellRise(m *member, flows []yardwater.LineFlow, severity parcels.Severity, code, when string) {
	for _, f := range flows {
		if f.Lot != m.lot.ID || f.Other == "" || f.Rise <= leastRise {
			continue
		}
		s := severity
		how := ""
		for i := range lp.site.Swales {
			if off, _ := shape.PointLine(f.RiseAt, lp.site.Swales[i].Line); lp.site.Swales[i].MayDischarge && off < 1 {
				s, how = parcels.Warn, " It goes along a swale that may take it."
			}
		}
		at := f.RiseAt
		lp.find(parcels.Finding{Code: code, Severity: s, Feature: f.Other, Location: &at, Measured: parcels.Num(round(float64(f.Rise), 1)), Required: parcels.Num(float64(leastRise)), Unit: "m2 of C A", Source: "P-52, P-53",
			Message: fmt.Sprintf("%s the water of %.0f m2 (C times area) more than now would run over the line to lot %s at one place.%s", when, float64(f.Rise), f.Other, how)})
	}
}

// outfall says whether the pipe lets its water out on the ground at an end.
func (e *end) outfall() bool {
	return e.swale != nil || e.outlet != nil && (e.outlet.Kind == "daylight" || e.outlet.Kind == "emitter")
}

// castsOn is the neighbour over whose line the water of the lot's intakes would
// come as new if it were let out at a place; empty: nobody.
func (lp *lotPlan) castsOn(at orb.Point) string {
	m := lp.at(at)
	if m == nil {
		m = &lp.members[0]
	}
	if m.over == nil {
		return ""
	}
	d := yardwater.Drained{Taken: map[string]bool{}, Outfall: &at}
	for i := range lp.waters {
		d.Taken[lp.waters[i].intake.ID] = true
	}
	flows, _, err := m.over.LineFlows(d)
	if err != nil {
		return ""
	}
	for _, f := range flows {
		if f.Lot == m.lot.ID && f.Other != "" && f.Rise > leastRise {
			return f.Other
		}
	}
	return ""
}

// soak is the soil's intake in mm an hour, stated or by its texture; 0: not
// known.
func (lp *lotPlan) soak() float64 {
	s := lp.site.Soil
	if s == nil {
		return 0
	}
	if s.InfiltrationMM != nil {
		return float64(*s.InfiltrationMM)
	}
	return 0
}

// roofShares are those of the lot's downspouts for which the input states no area
// and whose roof stands in the site (yardwater.Shares), by index.
func (lp *lotPlan) roofShares() map[int]yardwater.Share {
	s := lp.site
	var bare []int
	for i := range s.Intakes {
		in := &s.Intakes[i]
		if in.Kind == "downspout" && in.RoofArea == nil && in.YardArea == nil && in.Flow == nil && lp.has(ownerOf(s, in.Lot, in.At)) {
			bare = append(bare, i)
		}
	}
	shares, told := yardwater.Shares(s, bare)
	for _, f := range told {
		if lp.has(f.Lot) {
			lp.find(f)
		}
	}
	return shares
}
