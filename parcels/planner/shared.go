package planner

// Several lots drained by one shared trunk: the ground on which it may lie, what
// of it each lot pays, and who must agree.
//
// The trunk may leave a lot only through an easement or over no line at all:
// besides each lot's own trench zone it has the easements in which a trench may
// lie, clear of everything that bars a trench there. Which is how a plat means a
// rear drainage easement: pipes lie along it over many lots.

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/hydro/profile"
	"fallwright/parcels"
	"fallwright/parcels/siting"
	"fallwright/parcels/yardwater"
)

// MostShared is the greatest number of lots on one trunk.
const MostShared = 30

// member is a lot of the plan.
type member struct {
	lot   *parcels.Lot
	solid *siting.Ground
	// zone is where centre lines may lie by the lot's own right, for trenches of
	// the width.
	zone  orb.MultiPolygon
	width unit.Length
	over  *yardwater.Report // of the water over the ground; nil: not looked at
}

// way is an easement along which a shared trunk may lie.
type way struct {
	easement *parcels.Easement
	area     orb.MultiPolygon // all of it that is near
}

// at is the member whose lot holds a point; nil: none.
func (lp *lotPlan) at(p orb.Point) *member {
	for i := range lp.members {
		if m := &lp.members[i]; m.lot.Shape.Bound().Contains(p) && shape.Locate(p, m.lot.Shape) != shape.Outside {
			return m
		}
	}
	return nil
}

// has says whether a lot is one of the plan's.
func (lp *lotPlan) has(lot string) bool { return lp.member(lot) != nil }

func (lp *lotPlan) member(lot string) *member {
	for i := range lp.members {
		if lp.members[i].lot.ID == lot {
			return &lp.members[i]
		}
	}
	return nil
}

// box is that of the plan's lots.
func (lp *lotPlan) box() orb.Bound {
	b := lp.members[0].lot.Shape.Bound()
	for i := range lp.members {
		b = b.Union(lp.members[i].lot.Shape.Bound())
	}
	return b
}

// names lists the plan's lots as a person would.
func (lp *lotPlan) names() string {
	ids := make([]string, len(lp.members))
	for i := range lp.members {
		ids[i] = lp.members[i].lot.ID
	}
	if len(ids) == 1 {
		return "lot " + ids[0]
	}
	return "lots " + strings.Join(ids, ", ")
}

// ground is where centre lines may lie: each lot's zone for the trenches that it
// must hold and, for a shared trunk, the easements for the trunk's. reason says
// why it is empty.
func (lp *lotPlan) ground() (all orb.MultiPolygon, reason string, err error) {
	for i := range lp.members {
		m := &lp.members[i]
		if !lp.shared {
			m.width = lp.width
		}
		z, err := m.solid.CentreLine(m.width + 2*inHand)
		if err != nil {
			return nil, "", wrong(m.lot, err)
		}
		m.zone = z.Shape
		if all = m.zone; z.Pieces == 0 {
			reason = z.EmptyReason
		}
	}
	if !lp.shared {
		return all, reason, nil
	}
	if err := lp.layCorridor(); err != nil {
		return nil, "", err
	}
	// The lots by their lines first, then what bars a trench, once for all of one
	// width: fewer corners than the zones one by one.
	clearOf := []orb.MultiPolygon{lp.corridor}
	by := map[unit.Length][]orb.MultiPolygon{}
	var widths []unit.Length
	for i := range lp.members {
		m := &lp.members[i]
		if !slices.Contains(widths, m.width) {
			widths = append(widths, m.width)
		}
		in, err := inset(m.solid.Lines, m.width, "lot "+m.lot.ID)
		if err != nil {
			return nil, "", err
		}
		if len(in) > 0 {
			by[m.width] = append(by[m.width], in)
		}
	}
	for _, w := range widths {
		a, err := lp.clear(by[w], w)
		if err != nil {
			return nil, "", err
		}
		clearOf = append(clearOf, a)
	}
	all, err = zone.Merge(clearOf, nil)
	return siting.WithoutSlivers(all), reason, err
}

// inset is where the centre line of a trench of the width may lie by the lines of
// an area alone; empty: nowhere.
func inset(l zone.Lot, width unit.Length, of string) (orb.MultiPolygon, error) {
	z, err := zone.CentreLine(l, nil, width+2*inHand)
	if err != nil {
		return nil, &parcels.Error{Kind: parcels.Failed, Op: "planner: trench zone", Subject: of, Err: err}
	}
	return z.Shape, nil
}

// clear takes from areas what bars a trench of the width.
func (lp *lotPlan) clear(areas []orb.MultiPolygon, width unit.Length) (orb.MultiPolygon, error) {
	var barred []zone.KeepOut
	for _, k := range slices.Concat(lp.barred, lp.taken) {
		k.Clearance += width/2 + inHand
		box := k.Geometry.Bound().Pad(float64(k.Clearance) + 0.1)
		if slices.ContainsFunc(areas, func(a orb.MultiPolygon) bool {
			return slices.ContainsFunc(a, func(p orb.Polygon) bool { return p.Bound().Intersects(box) })
		}) {
			barred = append(barred, k)
		}
	}
	a, err := zone.Merge(areas, barred)
	return siting.WithoutSlivers(a), err
}

// layCorridor finds where in the easements the centre line of the trunk may lie.
func (lp *lotPlan) layCorridor() error {
	if lp.ways != nil && lp.laidFor == lp.width {
		return nil
	}
	if err := lp.findWays(); err != nil {
		return err
	}
	var areas []orb.MultiPolygon
	for _, w := range lp.ways {
		a, err := inset(zone.Lot{Shape: w.area}, lp.width, "easement "+w.easement.ID)
		if err != nil {
			return err
		}
		if len(a) > 0 {
			areas = append(areas, a)
		}
	}
	var err error
	lp.corridor, err = lp.clear(areas, lp.width)
	lp.laidFor = lp.width
	return err
}

// fits says whether each trench of a shared layout has the room that it needs,
// and widens what has not, for the next round.
func (lp *lotPlan) fits(l *layout, r *profile.Result) (bool, error) {
	ok := true
	most := lp.width
	rooms := map[unit.Length]orb.MultiPolygon{}
	room := func(w unit.Length) (orb.MultiPolygon, error) {
		if a, done := rooms[w]; done {
			return a, nil
		}
		var parts []orb.MultiPolygon
		if lp.width >= w-1e-9 {
			parts = append(parts, lp.corridor)
		}
		for i := range lp.members {
			if lp.members[i].width >= w-1e-9 && len(lp.members[i].zone) > 0 {
				parts = append(parts, lp.members[i].zone)
			}
		}
		a, err := zone.Merge(parts, nil)
		rooms[w] = a
		return a, err
	}
	for i := range l.runs {
		w := lp.widthOf(l, r, i)
		if l.runs[i].leadOff {
			continue
		}
		line := orb.LineString{l.nodes[l.runs[i].from].at, l.nodes[l.runs[i].to].at}
		if l.runs[i].tieIn {
			line[1] = nudge(line[0], line[1])
		}
		a, err := room(w)
		if err != nil {
			return false, wrong(lp.lot, err)
		}
		if len(a) > 0 && inside(line, a) {
			continue
		}
		grown := false
		for k := range lp.members {
			m := &lp.members[k]
			if m.width >= w-1e-9 || !m.lot.Shape.Bound().Intersects(line.Bound()) {
				continue
			}
			if in, _ := within(line, m.lot.Shape); in > unit.Millimetre {
				m.width, grown = w, true
			}
		}
		if w > most+1e-9 {
			most, grown = w, true
		}
		ok = ok && !grown // what nothing can widen is left to the checker
	}
	lp.width = most
	return ok, nil
}

// findWays gathers the easements near the lots and their outlets, and what bars a
// trench in them.
func (lp *lotPlan) findWays() error {
	if lp.ways != nil {
		return nil
	}
	lp.ways = []way{}
	box := lp.box()
	for i := range lp.ends {
		box = box.Extend(lp.ends[i].at)
	}
	box = box.Pad(2)
	s := lp.site
	for i := range s.Easements {
		e := &s.Easements[i]
		if e.Trench == parcels.TrenchForbidden {
			continue
		}
		var area orb.MultiPolygon
		switch g := e.Geometry.(type) {
		case orb.MultiPolygon:
			area = g
		case orb.LineString:
			if e.Width == nil || *e.Width <= 4*inHand {
				continue
			}
			strip, err := zone.Strip(g, *e.Width-4*inHand)
			if err != nil {
				return &parcels.Error{Kind: parcels.Failed, Op: "planner: easement", Subject: e.ID, Err: err}
			}
			area = strip
		}
		if !area.Bound().Intersects(box) {
			continue
		}
		near, err := zone.Near(area, box.Center(), unit.Length(math.Hypot(box.Max[0]-box.Min[0], box.Max[1]-box.Min[1])/2))
		if err != nil {
			return &parcels.Error{Kind: parcels.Failed, Op: "planner: easement", Subject: e.ID, Err: err}
		}
		if len(near) > 0 {
			lp.ways = append(lp.ways, way{e, near})
		}
	}
	seen := map[string]bool{}
	for i := range s.Lots {
		lot := &s.Lots[i]
		if !lp.has(lot.ID) && !slices.ContainsFunc(lp.ways, func(w way) bool { return w.area.Bound().Intersects(lot.Shape.Bound()) }) {
			continue
		}
		g, err := lp.siting.Ground(lot, "solid")
		if err != nil {
			return wrong(lot, err)
		}
		for _, k := range g.Barred() {
			key := fmt.Sprint(k.Kind, k.ID, k.Clearance, k.Geometry.Bound())
			if !seen[key] {
				seen[key] = true
				lp.barred = append(lp.barred, k)
			}
		}
	}
	return nil
}

// lastRun is where, besides the zone, a last run to a point may lie.
func (lp *lotPlan) lastRun(to orb.Point, reach, width unit.Length) (orb.MultiPolygon, error) {
	var parts []orb.MultiPolygon
	near := orb.Bound{Min: to, Max: to}.Pad(float64(reach))
	for i := range lp.members {
		m := &lp.members[i]
		if !m.lot.Shape.Bound().Intersects(near) {
			continue
		}
		a, err := m.solid.LastRun(to, width)
		if err != nil {
			return nil, wrong(m.lot, err)
		}
		parts = append(parts, a)
	}
	if len(parts) == 0 && lp.shared {
		// reached through an easement beyond the lots
		a, err := lp.members[0].solid.LastRun(to, width)
		if err != nil {
			return nil, wrong(lp.lot, err)
		}
		parts = append(parts, a)
	}
	switch len(parts) {
	case 0:
		return nil, nil
	case 1:
		return parts[0], nil
	}
	return zone.Merge(parts, nil)
}

// place says in which lot a run counts, by whose right it lies there (nil: the
// lot's own) and over which other lots it lies.
func (lp *lotPlan) place(run *parcels.Run, width unit.Length) {
	line := run.Line
	mid := orb.Point{(line[0][0] + line[1][0]) / 2, (line[0][1] + line[1][1]) / 2}
	if !lp.shared {
		run.Lot = lp.lot.ID
		return
	}
	for _, p := range []orb.Point{line[0], mid, line[1]} {
		if run.Lot == "" {
			if l := LotAt(lp.site, p); l != nil {
				run.Lot = l.ID
			}
		}
	}
	for i := range lp.members {
		m := &lp.members[i]
		if !m.lot.Shape.Bound().Contains(line[0]) {
			continue
		}
		own := line
		switch {
		case run.LeadOff && shape.Locate(line[1], m.lot.Shape) == shape.Inside:
			run.Lot = m.lot.ID
			return
		case run.TieIn:
			own = orb.LineString{line[0], nudge(line[0], line[1])}
		}
		if m.width >= width-1e-9 && inside(own, m.zone) {
			run.Lot = m.lot.ID
			return
		}
	}
	for _, w := range lp.ways {
		if in, _ := within(line, w.area); in > 0 || shape.Locate(line[0], w.area) != shape.Outside {
			run.Easements = append(run.Easements, w.easement.ID)
		}
	}
	for i := range lp.site.Lots {
		l := &lp.site.Lots[i]
		if l.ID == run.Lot || !l.Shape.Bound().Intersects(line.Bound()) {
			continue
		}
		if in, _ := within(line, l.Shape); in > unit.Millimetre {
			run.OverLots = append(run.OverLots, l.ID)
		}
	}
}

// nudge is a place a hair along from a to b.
func nudge(a, b orb.Point) orb.Point {
	d := math.Hypot(b[0]-a[0], b[1]-a[1])
	if d < 2e-3 {
		return b
	}
	return orb.Point{a[0] + 1e-3*(b[0]-a[0])/d, a[1] + 1e-3*(b[1]-a[1])/d}
}

// shares gives to each lot of a run its part of the cost there: the part of the
// flow that it brings. The flow of a lot is that of its areas at the run's own
// intensity and what its intakes state; where the rain is not known the areas
// alone count. Ground water pays where its pipe lies.
func (lp *lotPlan) shares(pr *pipeRun, lot string, laid *profile.Laid) map[string]float64 {
	by, total := map[string]float64{}, 0.0
	intensity := 0.0
	if laid != nil {
		intensity = float64(laid.Intensity)
	}
	if intensity == 0 && lp.intensity != nil {
		intensity = float64(lp.intensity(lp.site.Criteria.Storm.RoofMin))
	}
	for _, w := range pr.waters {
		q := float64(w.stated)
		if intensity > 0 {
			q += float64(w.roofCA+w.yardCA) * intensity / 3.6e6
		} else if q == 0 {
			q = float64(w.roofCA + w.yardCA)
		}
		by[w.lot] += q
		total += q
	}
	if total <= 0 {
		if len(pr.waters) == 0 {
			return map[string]float64{lot: 1}
		}
		by, total = map[string]float64{}, 0
		for _, w := range pr.waters { // no flow is known: an equal part an intake
			by[w.lot]++
			total++
		}
	}
	for k := range by {
		by[k] /= total
	}
	return by
}

// divide shares the cost of the whole out: each run's by its shares, the tie-in
// by those of the last run. The parts are rounded so that their sum is the whole.
func (lp *lotPlan) divide(l *layout, r *profile.Result) {
	if !lp.shared || lp.cost == nil {
		return
	}
	by := map[string]*parcels.Share{}
	for i := range lp.members {
		id := lp.members[i].lot.ID
		by[id] = &parcels.Share{Lot: id, Outlet: lp.outlet}
	}
	exact := map[string]float64{}
	for i := range l.runs {
		run := &lp.runs[i]
		cost := lp.costs[i]
		if l.nodes[l.runs[i].to].end != nil {
			cost += lp.site.Criteria.Prices.TieInEach
		}
		for lot, f := range run.Shares {
			exact[lot] += cost * f
			if s := by[lot]; s != nil {
				s.Length += unit.Length(f) * run.Length * unit.Length(run.PipeCount)
				if len(run.Shares) > 1 {
					s.Shared += run.Length
				}
			}
		}
	}
	for i := range lp.waters {
		w := &lp.waters[i]
		if s := by[w.lot]; s != nil {
			s.CA += w.roofCA + w.yardCA
			s.Stated += w.stated
		}
	}
	left := int(math.Round(*lp.cost * 100))
	var out []parcels.Share
	for i := range lp.members {
		s := by[lp.members[i].lot.ID]
		cents := int(math.Floor(exact[s.Lot]*100 + 1e-6))
		left -= cents
		s.CostIndex = float64(cents)
		s.Length, s.Shared, s.CA = mm(s.Length), mm(s.Shared), roundAs(s.CA, 4)
		out = append(out, *s)
	}
	// the hundredths that flooring left go to the largest remainders
	order := make([]int, len(out))
	for i := range order {
		order[i] = i
	}
	rest := func(i int) float64 { return exact[out[i].Lot]*100 - out[i].CostIndex }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rest(b), rest(a)) })
	for k := 0; left != 0 && len(order) > 0; k++ {
		step := 1
		if left < 0 {
			step = -1
		}
		out[order[k%len(order)]].CostIndex += float64(step)
		left -= step
	}
	for i := range out {
		out[i].CostIndex = round(out[i].CostIndex/100, 2)
		if *lp.cost > 0 {
			out[i].Share = round(out[i].CostIndex / *lp.cost, 4)
		}
	}
	lp.parts = out
}

// judgeShared tells whose leave the trunk needs: the owner of each lot over
// which it carries other lots' water.
func (lp *lotPlan) judgeShared(l *layout) {
	if !lp.shared {
		return
	}
	type over struct {
		runs, from []string
		at         orb.Point
		easements  []string
	}
	by := map[string]*over{}
	var order []string
	for i := range lp.runs {
		run := &lp.runs[i]
		for _, lot := range append([]string{run.Lot}, run.OverLots...) {
			if lot == "" {
				continue
			}
			var others []string
			for _, w := range l.runs[i].waters {
				if w.lot != lot && !slices.Contains(others, w.lot) {
					others = append(others, w.lot)
				}
			}
			if len(others) == 0 {
				continue
			}
			o := by[lot]
			if o == nil {
				o = &over{at: orb.Point{(run.Line[0][0] + run.Line[1][0]) / 2, (run.Line[0][1] + run.Line[1][1]) / 2}}
				by[lot] = o
				order = append(order, lot)
			}
			o.runs = append(o.runs, run.ID)
			for _, w := range others {
				if !slices.Contains(o.from, w) {
					o.from = append(o.from, w)
				}
			}
			for _, e := range run.Easements {
				if !slices.Contains(o.easements, e) {
					o.easements = append(o.easements, e)
				}
			}
		}
	}
	slices.Sort(order)
	for _, lot := range order {
		o := by[lot]
		at := o.at
		msg := fmt.Sprintf("The shared trunk carries the water of lot%s %s over lot %s (%s)", plural(o.from), strings.Join(o.from, ", "), lot, strings.Join(o.runs, ", "))
		if len(o.easements) > 0 {
			msg += ", in easement " + strings.Join(o.easements, ", ")
		}
		msg += ": the owner's written permission is needed, and a recorded agreement on who maintains and pays."
		lp.find(parcels.Finding{Code: "owner_permission", Severity: parcels.Warn, Lot: lot, Feature: o.runs[0], Location: &at, Source: "P-39, P-40", Message: msg})
	}
}

func plural(s []string) string {
	if len(s) == 1 {
		return ""
	}
	return "s"
}
