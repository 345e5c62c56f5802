package planner

// The findings of a lot's plan: what breaks a criterion, what rests on others'
// leave, what must be measured first.

import (
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro/profile"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

// Depths at which OSHA asks for more (29 CFR 1926.651(c)(2), 652(a)(1)).
const (
	wayOutDepth     = 1.2192 * unit.Metre
	protectiveDepth = 1.524 * unit.Metre
)

// steep is the slope above which a plastic line needs anchors or a made drop
// (P-80, from memory).
const steep unit.Slope = 0.15

func (lp *lotPlan) judge(l *layout, r *profile.Result) error {
	c := lp.site.Criteria
	lp.judgeEnd(l, r)
	if r != nil {
		lp.judgeProfile(l, r)
	}
	consents, lines := siting.ConsentsOf(lp.site), lp.linesMet()
	for i := range lp.runs {
		run := &lp.runs[i]
		mid := orb.Point{(run.Line[0][0] + run.Line[1][0]) / 2, (run.Line[0][1] + run.Line[1][1]) / 2}
		if r != nil && !lp.along(run.Line[0], run.Line[1]).known {
			lp.find(parcels.Finding{Code: "ground_unknown", Severity: parcels.Warn, Feature: run.ID, Location: &mid, NotProven: true, Cure: "Shoot the ground along it.",
				Message: fmt.Sprintf("Run %s leaves the surveyed ground: its cover and depth there are not known.", run.ID)})
		}
		if d := run.GreatestDepth; d != nil {
			switch {
			case *d >= protectiveDepth:
				lp.find(parcels.Finding{Code: "protective_system", Severity: parcels.Warn, Feature: run.ID, Measured: parcels.Num(float64(*d)), Required: parcels.Num(float64(protectiveDepth)), Unit: "m", Source: "29 CFR 1926.652(a)(1)",
					Location: &mid, Message: fmt.Sprintf("The trench of run %s is %.2f m deep: a protective system is asked from 1.524 m (5 ft).", run.ID, float64(*d))})
			case *d >= wayOutDepth-0.0005:
				lp.find(parcels.Finding{Code: "way_out", Severity: parcels.Note, Feature: run.ID, Measured: parcels.Num(float64(*d)), Required: parcels.Num(float64(wayOutDepth)), Unit: "m", Source: "29 CFR 1926.651(c)(2)",
					Location: &mid, Message: fmt.Sprintf("The trench of run %s is %.2f m deep: a way out is asked from 1.219 m (4 ft).", run.ID, float64(*d))})
			}
		}
		for _, who := range consents.On(run.Line, lp.trenchWidthOfRun(i)) {
			lp.find(parcels.Finding{Code: "permission_needed", Severity: parcels.Warn, Feature: run.ID, Location: &mid, Source: "P-39, P-40",
				Message: fmt.Sprintf("Run %s lies in %s: written permission is needed before digging.", run.ID, who)})
		}
		if run.LeastClearance != nil && !run.TieIn && *run.LeastClearance < c.Clearance.FencePost {
			lp.find(parcels.Finding{Code: "fence_strip", Severity: parcels.Warn, Feature: run.ID, Measured: parcels.Num(float64(*run.LeastClearance)), Required: parcels.Num(float64(c.Clearance.FencePost)), Unit: "m", Location: &mid, Source: "P-51",
				Message: fmt.Sprintf("The trench of run %s enters the strip along the line where fence posts go.", run.ID)})
		}
		lp.judgeCrossings(run, lines)
	}
	lp.judgePerforated(l)
	lp.judgeShared(l)
	if r != nil {
		if err := lp.judgeFootings(l, r); err != nil {
			return err
		}
		if err := lp.judgeFalls(); err != nil {
			return err
		}
	}
	return lp.judgeLines()
}

// judgeFootings holds the bottom of each trench against the line that falls
// 1:1 outward from the lower edge of a footing: below it the footing is
// undermined (P-72). Buildings without footing_depth_m are not judged.
func (lp *lotPlan) judgeFootings(l *layout, r *profile.Result) error {
	c := lp.site.Criteria
	for b := range lp.site.Buildings {
		house := &lp.site.Buildings[b]
		if house.FootingDepth == nil {
			continue
		}
		walls, err := siting.Walls(house)
		if err != nil || len(walls) == 0 {
			continue
		}
		box := walls.Bound().Pad(float64(c.Pipe.GreatestDepth) + 1)
		for i := range l.runs {
			run := &lp.runs[i]
			if !run.Line.Bound().Intersects(box) {
				continue
			}
			k := lp.stockOf[r.Reaches[i].Pipe]
			under := unit.Length((k.OutsideDiameter-k.Diameter)/2000) + c.Trench.Bedding
			worst, at := unit.Length(0), orb.Point{}
			for _, s := range lp.along(run.Line[0], run.Line[1]).stations {
				f := float64(s.At / l.runs[i].length)
				p := orb.Point{run.Line[0][0] + f*(run.Line[1][0]-run.Line[0][0]), run.Line[0][1] + f*(run.Line[1][1]-run.Line[0][1])}
				d, _, wall := shape.LineBoundary(orb.LineString{p, {p[0] + 1e-9, p[1]}}, walls)
				if shape.Locate(p, walls) == shape.Inside {
					d = 0
				}
				ground := s.Ground
				if g, ok := lp.surface.At(wall); ok {
					ground = g.Elevation
				}
				edge := ground.Plus(-*house.FootingDepth - max(0, d-lp.widthOf(l, r, i)/2))
				bottom := r.Reaches[i].InvertUp.Plus(-unit.Length(f)*r.Reaches[i].InvertUp.Above(r.Reaches[i].InvertDown) - under)
				if short := edge.Above(bottom); short > worst {
					worst, at = short, p
				}
			}
			if worst > 0.0005 {
				lp.find(parcels.Finding{Code: "undermines_footing", Severity: parcels.Stop, Feature: run.ID, Location: &at, Measured: parcels.Num(float64(mm(worst))), Required: parcels.Num(0.0), Unit: "m", Source: "P-72",
					Message: fmt.Sprintf("The trench of run %s goes %.2f m below the line that falls 1:1 from the footing of building %s: it would undermine it.", run.ID, float64(worst), label(house.Common))})
			}
		}
	}
	return nil
}

// sureLength is the length from which the fall of a run is asked about: a
// stick of pipe. Shorter ones are set by their fittings.
const sureLength = 3.048 * unit.Metre

// judgeFalls writes how sure the fall of each run is, given the standard errors
// of the shots and of laying, and tells the runs of a stick or more that are not.
func (lp *lotPlan) judgeFalls() error {
	c := lp.site.Criteria
	for i := range lp.runs {
		run := &lp.runs[i]
		if run.Fall == nil {
			continue
		}
		e := profile.Errors{Ground: c.Ground.ShotSD, Laying: c.Ground.LayingSD}
		if lp.locked[run.ID] {
			e.Laying = 0 // it lies as shot
		}
		chance, sd, err := profile.ChanceUnder(run.Length, run.InvertUp.Above(*run.InvertDown), c.Pipe.LeastSlope, e)
		if err != nil {
			return wrong(lp.lot, err)
		}
		run.ChanceUnder, run.FallSD = parcels.Num(round(chance, 4)), parcels.Num(roundAs(sd, 4))
		if chance > c.Clearance.MostChance && run.Length >= sureLength {
			lp.find(parcels.Finding{Code: "fall_not_sure", Severity: parcels.Note, Feature: run.ID, Measured: parcels.Num(round(chance, 3)), Required: parcels.Num(c.Clearance.MostChance), Source: "P-156",
				Message: fmt.Sprintf("Run %s ends with less than the least fall with a chance of %.0f %%, as shots and laying err: shoot its ends again before backfill.", run.ID, 100*chance)})
		}
	}
	return nil
}

// judgeLines asks how sure the lot lines are where the trenches lie.
func (lp *lotPlan) judgeLines() error {
	for k := range lp.members {
		m := &lp.members[k]
		var lines orb.MultiLineString
		width := unit.Length(0)
		for i := range lp.runs {
			if run := &lp.runs[i]; !run.TieIn && run.Lot == m.lot.ID && len(run.Easements) == 0 {
				lines = append(lines, run.Line)
				width = max(width, lp.trenchWidthOfRun(i))
			}
		}
		if len(lines) == 0 {
			continue
		}
		_, fs, assumed, err := m.solid.Accuracy(lines, width, "")
		if err != nil {
			return wrong(m.lot, err)
		}
		for _, f := range fs {
			lp.find(f)
		}
		if assumed != "" {
			lp.assumptions = append(lp.assumptions, assumed)
		}
	}
	return nil
}

func (lp *lotPlan) judgeEnd(l *layout, r *profile.Result) {
	e := l.end
	at := e.at
	lp.judgeGrade(l)
	if r != nil {
		if why := lp.overLimit(l, r); why != "" {
			lp.find(parcels.Finding{Code: "inlet_over_limit", Severity: parcels.Stop, Feature: e.id, Location: &at, Required: parcels.Num(float64(*e.inlet.FlowLimit)), Unit: "m3/s",
				Message: fmt.Sprintf("Inlet %s is %s.", e.id, why)})
		}
	}
	switch {
	case e.swale != nil:
		lp.find(parcels.Finding{Code: "discharge_permission", Severity: parcels.Warn, Feature: e.id, Location: &at, Source: "P-39, P-52",
			Message: fmt.Sprintf("The drain comes out in swale %s%s: whoever keeps it must give permission, and its bed must be held against scour.", e.id, keeper(e.swale))})
	case e.outlet != nil && e.outlet.Kind == "curb_core":
		lp.find(parcels.Finding{Code: "tie_in_permission", Severity: parcels.Warn, Feature: e.id, Location: &at, Source: "P-55",
			Message: "Coring the curb at " + e.id + " and crossing the walk needs a permit of the street's owner and inspection."})
	case e.inlet != nil:
		in := e.inlet
		lp.find(parcels.Finding{Code: "tie_in_permission", Severity: parcels.Warn, Feature: in.ID, Location: &at, Source: "P-55, P-57",
			Message: fmt.Sprintf("The tie-in to inlet %s%s needs a permit and inspection before backfill: a cored hole with a flexible boot, no hammer tap.", in.ID, owner(in))})
		if in.System == parcels.SystemUnknown {
			lp.find(parcels.Finding{Code: "system_unknown", Severity: parcels.Warn, Feature: in.ID, Location: &at, NotProven: true, Source: "P-59", Cure: "Confirm with the owner that inlet " + in.ID + " is a storm structure, not a sanitary or combined one.",
				Message: "It is not known which sewer inlet " + in.ID + " belongs to."})
		}
		if e.tieIn == nil {
			lp.find(parcels.Finding{Code: "tie_in_level_unknown", Severity: parcels.Warn, Feature: in.ID, Location: &at, NotProven: true, Source: "P-5", Cure: "Open the grate of inlet " + in.ID + " and measure down to the outgoing pipe.",
				Message: "Neither invert nor tie-in level of inlet " + in.ID + " is known: whether gravity reaches it is not known."})
		} else if in.OutgoingDiameter == nil && in.TieIn == nil {
			lp.find(parcels.Finding{Code: "outgoing_pipe_unknown", Severity: parcels.Warn, Feature: in.ID, Location: &at, Source: "P-6", Cure: "Measure the diameter of the outgoing pipe of inlet " + in.ID + ".",
				Message: "The size of the outgoing pipe of inlet " + in.ID + " is not known: the entry is held against its invert only."})
		}
		if crown := crownOf(in); r != nil && crown != nil && e.tieIn != nil && r.Arrival < *crown-0.0005 {
			lp.find(parcels.Finding{Code: "submerged_entry", Severity: parcels.Warn, Feature: in.ID, Location: &at, Measured: parcels.Num(round(float64(r.Arrival), 3)), Required: parcels.Num(round(float64(*crown), 3)), Unit: "m", Source: "P-58",
				Message: fmt.Sprintf("The pipe enters inlet %s %.0f mm under the crown of its outgoing pipe: expect standing water in it in every storm.", in.ID, 1000*float64(*crown-r.Arrival))})
		}
		if in.Tailwater == nil && len(in.TailwaterCurve) == 0 && len(in.TailwaterByReturn) == 0 {
			lp.find(parcels.Finding{Code: "inlet_level_unknown", Severity: parcels.Warn, Feature: in.ID, Location: &at, Source: "P-109",
				Message: "The water level in inlet " + in.ID + " in the design storm is not given: the plan is sized for a free outfall, and what a full inlet does is told beside it."})
		}
	case e.outlet != nil && e.outlet.Level == nil:
		lp.find(parcels.Finding{Code: "tie_in_level_unknown", Severity: parcels.Warn, Feature: e.id, Location: &at, NotProven: true, Cure: "Shoot the level of outlet " + e.id + ".", Message: "The level of outlet " + e.id + " is not known."})
	}
	if e.outlet != nil && e.outlet.Kind == "emitter" && e.outlet.Level != nil {
		for i := range l.nodes {
			w := l.nodes[i].water
			if w == nil || l.nodes[i].out < 0 {
				continue
			}
			rim := w.intake.Rim
			if rim == nil && lp.surface != nil {
				if g, ok := lp.surface.At(w.intake.At); ok {
					rim = parcels.Num(g.Elevation)
				}
			}
			if rim != nil && *rim <= *e.outlet.Level+0.002 {
				lp.find(parcels.Finding{Code: "emitter_too_high", Severity: parcels.Stop, Feature: e.id, Location: &at, Measured: parcels.Num(round(float64(*rim), 3)), Required: parcels.Num(round(float64(*e.outlet.Level), 3)), Unit: "m",
					Message: fmt.Sprintf("Emitter %s opens at %.3f m and intake %s stands at %.3f m, no higher: the water would come out there first.", e.id, float64(*e.outlet.Level), w.intake.ID, float64(*rim))})
			}
		}
	}
	if e.outlet != nil && e.outlet.Kind == "emitter" && !e.outlet.Weep {
		lp.find(parcels.Finding{Code: "standing_water", Severity: parcels.Warn, Feature: e.id, Location: &at, Source: "P-106",
			Message: "Emitter " + e.id + " has no weep: the line below its rim stays full of water and may freeze."})
	}
}

func keeper(w *parcels.Swale) string {
	if w.MaintainedBy == "" {
		return ""
	}
	return " (kept by " + parcels.Excerpt(w.MaintainedBy) + ")"
}

func owner(in *parcels.Inlet) string {
	if in.Owner == "" {
		return ""
	}
	return " (" + parcels.Excerpt(in.Owner) + ")"
}

func (lp *lotPlan) judgeProfile(l *layout, r *profile.Result) {
	c := lp.site.Criteria
	e := l.end
	if r.Verdict == profile.Short {
		at := e.at
		lp.find(parcels.Finding{Code: "no_gravity_route", Severity: parcels.Stop, Feature: lp.endName(e), Location: &at, Measured: parcels.Num(round(float64(r.Arrival), 3)), Required: parcels.Num(round(float64(r.Arrival)-float64(r.Margin), 3)), Unit: "m", Source: "P-60, P-185",
			Message: fmt.Sprintf("No gravity route: %s.", lp.whyNot(l, r, e))})
	}
	codes := map[profile.Kind]string{profile.Cover: "least_cover", profile.Depth: "greatest_depth", profile.Utility: "utility_clash", profile.Slope: "least_slope", profile.Step: "step", profile.TieIn: "arrival_level", profile.Capacity: "over_capacity", profile.StartLevel: "start_level"}
	deep := map[int]bool{}
	for _, b := range r.Breaches {
		deep[b.Reach] = deep[b.Reach] || b.Kind == profile.Depth
	}
	for _, b := range r.Breaches {
		if r.Verdict == profile.Short && b.Kind == profile.TieIn {
			continue
		}
		run := lp.runs[b.Reach]
		f := float64(b.At / l.runs[b.Reach].length)
		at := orb.Point{run.Line[0][0] + f*(run.Line[1][0]-run.Line[0][0]), run.Line[0][1] + f*(run.Line[1][1]-run.Line[0][1])}
		lp.find(parcels.Finding{Code: codes[b.Kind], Severity: parcels.Stop, Feature: run.ID, Location: &at, Measured: parcels.Num(round(b.Measured, 4)), Required: parcels.Num(round(b.Required, 4)), Unit: unitOf(b.Kind),
			Message: fmt.Sprintf("Run %s breaks the rule on %s: %s.", run.ID, b.Kind, lp.breach(l, b))})
	}
	for i := range lp.runs {
		run := &lp.runs[i]
		// A run that lies in one trench with a deeper one, or under a point that is
		// dug deeper for another, breaks no rule of its own profile: the stop names
		// it all the same.
		if !deep[i] && run.GreatestDepth != nil && *run.GreatestDepth > c.Pipe.GreatestDepth+inHand/2 {
			at, why := run.Line[0], "its trench is dug"
			if t := l.runs[i].twin; t >= 0 {
				why = "it lies in one trench with run " + lp.runs[t].ID + ","
			}
			lp.find(parcels.Finding{Code: "greatest_depth", Severity: parcels.Stop, Feature: run.ID, Location: &at, Measured: parcels.Num(round(float64(*run.GreatestDepth), 4)), Required: parcels.Num(round(float64(c.Pipe.GreatestDepth), 4)), Unit: "m",
				Message: fmt.Sprintf("Run %s breaks the rule on depth: %s %.2f m deep against %.2f m.", run.ID, why, float64(*run.GreatestDepth), float64(c.Pipe.GreatestDepth))})
		}
		if run.Slope != nil && *run.Slope < c.Pipe.TargetSlope-1e-6 && *run.Slope >= c.Pipe.LeastSlope-1e-6 {
			lp.find(parcels.Finding{Code: "below_target_slope", Severity: parcels.Warn, Feature: run.ID, Measured: parcels.Num(float64(*run.Slope)), Required: parcels.Num(float64(c.Pipe.TargetSlope)), Source: "P-78, P-156",
				Message: fmt.Sprintf("Run %s falls %.2f %%, under the target of %.2f %%: lay it by laser and shoot it before backfill.", run.ID, 100*float64(*run.Slope), 100*float64(c.Pipe.TargetSlope))})
		}
		if run.Slope != nil && *run.Slope > steep && run.Pipe == "solid" {
			lp.find(parcels.Finding{Code: "steep_drop", Severity: parcels.Note, Feature: run.ID, Measured: parcels.Num(float64(*run.Slope)), Required: parcels.Num(float64(steep)), Source: "P-80",
				Message: fmt.Sprintf("Run %s drops %.0f mm over %.2f m: make the drop with stock bends and bed it firmly.", run.ID, 1000*float64(*run.Fall), float64(run.Length))})
		}
		if run.Velocity != nil && run.Flow != nil && *run.Flow > 0 && *run.Velocity < c.Pipe.LeastVelocity && run.Carries != parcels.CarriesGround {
			lp.find(parcels.Finding{Code: "slow_water", Severity: parcels.Warn, Feature: run.ID, Measured: parcels.Num(float64(*run.Velocity)), Required: parcels.Num(float64(c.Pipe.LeastVelocity)), Unit: "m/s", Source: "P-81",
				Message: fmt.Sprintf("Water in run %s moves at %.2f m/s in the design storm, under %.2f m/s: grit may settle; keep its cleanouts reachable.", run.ID, float64(*run.Velocity), float64(c.Pipe.LeastVelocity))})
		}
	}
	if !r.Settled {
		lp.find(parcels.Finding{Code: "flow_unsettled", Severity: parcels.Warn, NotProven: true, Cure: "State the flows of the intakes.", Message: "Flows and sizes did not settle on each other."})
	}
}

func unitOf(k profile.Kind) string {
	switch k {
	case profile.Slope:
		return "m/m"
	case profile.Capacity:
		return "m3/s"
	}
	return "m"
}

// lineMet is an obstacle drawn as a line, and its box.
type lineMet struct {
	*parcels.Obstacle
	line orb.LineString
	box  orb.Bound
}

// linesMet are the obstacles drawn as lines, as far as they lie about the runs.
func (lp *lotPlan) linesMet() []lineMet {
	var about orb.MultiLineString
	for i := range lp.runs {
		about = append(about, lp.runs[i].Line)
	}
	var out []lineMet
	all := about.Bound()
	for i := range lp.site.Obstacles {
		o := &lp.site.Obstacles[i]
		if line, ok := o.Geometry.(orb.LineString); ok {
			if box := line.Bound(); box.Intersects(all) {
				out = append(out, lineMet{o, line, box})
			}
		}
	}
	return out
}

// judgeCrossings tells which of the lines a run crosses.
func (lp *lotPlan) judgeCrossings(run *parcels.Run, lines []lineMet) {
	box := run.Line.Bound()
	for _, o := range lines {
		if !o.box.Intersects(box) {
			continue
		}
		line := o.line
		for k := 0; k+1 < len(line); k++ {
			m, at := shape.Cross(run.Line[0], run.Line[1], line[k], line[k+1])
			if m == shape.Apart {
				continue
			}
			place := at
			switch o.Kind {
			case "utility":
				f := parcels.Finding{Code: "utility_crossing", Severity: parcels.Warn, Feature: run.ID, Location: &place, Source: "P-13, P-87",
					Message: fmt.Sprintf("Run %s crosses utility %s: have it marked, expose it by hand before digging across.", run.ID, o.ID)}
				if o.Elevation == nil && o.Cover == nil {
					f.NotProven, f.Cure = true, "Expose utility "+o.ID+" at the crossing and measure its depth."
					f.Message += " Its depth is not known."
				}
				lp.find(f)
				if a, least := crossAngle(run.Line, line[k], line[k+1]), lp.site.Criteria.Route.UtilityAngle; a < least {
					lp.find(parcels.Finding{Code: "utility_aslant", Severity: parcels.Warn, Feature: run.ID, Location: &place, Measured: parcels.Num(round(a, 1)), Required: parcels.Num(least), Unit: "degrees",
						Message: fmt.Sprintf("Run %s crosses utility %s at %.0f degrees; %.0f or more is asked: more of it is to be exposed by hand.", run.ID, o.ID, a, least)})
				}
			case "irrigation":
				lp.find(parcels.Finding{Code: "irrigation_crossing", Severity: parcels.Note, Feature: run.ID, Location: &place, Source: "P-88", Message: fmt.Sprintf("Run %s crosses irrigation %s: allow for its repair.", run.ID, o.ID)})
			case "fence":
				lp.find(parcels.Finding{Code: "fence_crossing", Severity: parcels.Note, Feature: run.ID, Location: &place, Message: fmt.Sprintf("Run %s passes under fence %s: keep clear of its posts.", run.ID, o.ID)})
			case "existing_drain":
				lp.find(parcels.Finding{Code: "drain_crossing", Severity: parcels.Warn, Feature: run.ID, Location: &place, Message: fmt.Sprintf("Run %s crosses existing drain %s: expose it by hand.", run.ID, o.ID)})
			}
		}
	}
}

// crossAngle is the acute angle between a run and a segment, in degrees.
func crossAngle(l orb.LineString, a, b orb.Point) float64 {
	x1, y1, x2, y2 := l[1][0]-l[0][0], l[1][1]-l[0][1], b[0]-a[0], b[1]-a[1]
	t := math.Abs(math.Atan2(x1*y2-y1*x2, x1*x2+y1*y2)) * 180 / math.Pi
	return math.Min(t, 180-t)
}

// judgePerforated holds the lines drawn for a perforated pipe against the zone
// of that pipe, which keeps further from the foundation.
func (lp *lotPlan) judgePerforated(l *layout) {
	if len(lp.wanted) == 0 {
		return
	}
	for i := range lp.runs {
		m := lp.member(lp.runs[i].Lot)
		if l.runs[i].perforated == 0 || m == nil {
			continue
		}
		g, err := lp.siting.Ground(m.lot, "perforated")
		if err != nil {
			return
		}
		z, err := g.CentreLine(lp.trenchWidthOfRun(i))
		if err != nil {
			continue
		}
		if !inside(lp.runs[i].Line, z.Shape) {
			mid := lp.runs[i].Line[0]
			lp.find(parcels.Finding{Code: "perforated_outside_zone", Severity: parcels.Stop, Feature: lp.runs[i].ID, Location: &mid, Source: "P-71",
				Message: fmt.Sprintf("The perforated run %s, as drawn, leaves the ground where its trench may lie (foundation, lines, roots).", strings.TrimSpace(lp.runs[i].ID))})
		}
	}
}

func (lp *lotPlan) trenchWidthOfRun(i int) unit.Length {
	for _, t := range lp.trenches {
		for _, id := range t.Runs {
			if id == lp.runs[i].ID {
				return t.Width
			}
		}
	}
	return lp.width
}

// inside says whether a straight line lies in an area, its edge included.
func inside(l orb.LineString, area orb.MultiPolygon) bool {
	if shape.Locate(l[0], area) == shape.Outside || shape.Locate(l[1], area) == shape.Outside {
		return false
	}
	total, _ := within(l, area)
	d := math.Hypot(l[1][0]-l[0][0], l[1][1]-l[0][1])
	return math.Abs(float64(total)-d) < 1e-6
}
