package planner

// What would mend a yard that gravity cannot drain as the criteria and the
// structures are. Each remedy is worked out: the profile is solved again with
// the one thing changed, and its price is that of the drain with it.

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/route"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/inlet"
	"fallwright/hydro/pipe"
	"fallwright/hydro/profile"
	"fallwright/parcels"
	"fallwright/parcels/yardwater"
)

// How far a rule may be bent before a remedy is none (common practice).
const (
	thinnestCover             = 0.1524 * unit.Metre // 6 in of lawn over a heavy-walled pipe
	flattest       unit.Slope = 0.002               // a grade that a pipe laser holds over a long straight
	deepest                   = 3.048 * unit.Metre  // 10 ft: a shored trench in a yard
	swaleSide                 = 4.0                 // horizontal to vertical: mowable (P-42 names 3 to 4)
	pumpCycle                 = 6                   // minutes between starts
	pumpSump                  = 0.292               // m2: a 24 in basin
	pumpLosses                = 5.0                 // check valve, gate valve, bends and exit
	pumpEfficiency            = 0.35                // from wire to water, small sump pump
	pumpBelow                 = 0.3 * unit.Metre    // stop level under the arriving invert
	fastInMain                = 2.4                 // m/s: 8 ft/s
	pumpBedsAt                = 0.15 * unit.Metre   // the sump's floor under the stop level
	steepHead                 = 0.10                // grade of the head of a swale that is lowered
	swaleSearch               = 60 * unit.Metre
	swaleStep                 = 0.5
	besideSwale               = 1.5 // m between the bed of a new swale and a pipe
	longestReach              = 3   // times the longest last run of the criteria: more is a street main
)

// mender works remedies on one layout.
type mender struct {
	lp    *lotPlan
	l     *layout
	was   *profile.Result
	base  *profile.Problem
	spare unit.Length // fall to spare as it is; negative: short
}

// mend fills the remedies of a layout that does not arrive with every rule kept.
func (lp *lotPlan) mend(l *layout, r *profile.Result) error {
	if lp.quick {
		return nil
	}
	m, err := lp.mends(l, r)
	if err != nil || m == nil {
		return err
	}
	lp.mender = m
	for _, f := range []func() error{m.lowerTieIn, m.lessCover, m.largerPipe, m.deeperTrench, m.regrade, m.fillBowls, m.pump} {
		if err := f(); err != nil {
			return err
		}
	}
	return nil
}

// mends makes the mender of a layout; nil: it arrives with every rule kept.
func (lp *lotPlan) mends(l *layout, r *profile.Result) (*mender, error) {
	if r.Verdict == profile.Arrives {
		return nil, nil
	}
	m := &mender{lp: lp, l: l, was: r, base: lp.problem(l)}
	lp.thin(l, m.base)
	if r.Verdict == profile.Short && l.end.lower != nil {
		m.base.End.TieIn = *l.end.lower
	}
	var err error
	if m.spare, err = lp.solver.Spare(m.base); err != nil {
		return nil, wrong(lp.lot, err)
	}
	return m, nil
}

// bend changes the problem that a layout's profile solves.
type bend func(p *profile.Problem)

// again solves the layout with changes. The problem handed to them shares no
// memory that they may write with the one it is made from.
func (m *mender) again(changes ...bend) (*profile.Result, unit.Length, error) {
	p := *m.base
	p.Reaches = slices.Clone(m.base.Reaches)
	p.Stock = slices.Clone(m.base.Stock)
	for _, change := range changes {
		change(&p)
	}
	out := new(profile.Result)
	if err := m.lp.solver.Solve(&p, out); err != nil {
		return nil, 0, wrong(m.lp.lot, err)
	}
	spare, err := m.lp.solver.Spare(&p)
	if err != nil {
		return nil, 0, wrong(m.lp.lot, err)
	}
	return out, spare, nil
}

// add writes a remedy down. extra is what it costs beside the drain.
func (m *mender) add(r parcels.Remedy, out *profile.Result, spare unit.Length, extra float64) {
	r.Outlet = m.l.end.id
	r.Verdict = parcels.NotFeasible
	if out.Verdict == profile.Arrives {
		r.Verdict = parcels.Feasible
		r.CostIndex = parcels.Num(round(out.Cost+m.lp.site.Criteria.Prices.TieInEach+extra, 2))
	} else if out.Verdict == profile.Short {
		r.Short = parcels.Num(mm(-out.Margin))
		r.Message += fmt.Sprintf(" It is then still %.0f mm short.", math.Ceil(-1000*float64(out.Margin)))
	} else {
		r.Message += " It then arrives, and breaks another rule: " + m.lp.whyNot(m.l, out, &end{}) + "."
	}
	if r.Gain == nil {
		g := spare - m.spare
		if math.IsInf(float64(g), 0) || math.IsNaN(float64(g)) {
			g = out.Margin - m.was.Margin
		}
		if r.Gain = parcels.Num(mm(g)); r.Verdict != parcels.Feasible && g < 5*unit.Millimetre {
			return // it does not help
		}
	}
	m.lp.remedies = append(m.lp.remedies, r)
}

// lowerTieIn: the highest level at which the drain would arrive.
func (m *mender) lowerTieIn() error {
	e := m.l.end
	if m.was.Verdict != profile.Short || e.tieIn == nil {
		return nil
	}
	if e.atGrade() && m.lp.surface != nil {
		if e.outlet != nil && e.outlet.Kind == "curb_core" {
			at := e.at
			m.lp.remedies = append(m.lp.remedies, parcels.Remedy{Kind: parcels.LowerTieIn, Outlet: e.id, Verdict: parcels.NotFeasible, Location: &at, Short: parcels.Num(mm(-m.was.Margin)),
				Message: fmt.Sprintf("The gutter at %s lies where it lies: %.0f mm lower it is under the street.", e.id, math.Ceil(-1000*float64(m.was.Margin)))})
		}
		return nil // lower there is a swale regraded, which says whether any ground is lower
	}
	from := m.base.End.TieIn
	with := func(z unit.Elevation) (*profile.Result, unit.Length, error) { return m.again(bedAt(z)) }
	lo := m.was.Arrival.Plus(-50 * unit.Millimetre) // sizes and flows settle anew at another level
	out, spare, err := with(lo)
	if err != nil {
		return err
	}
	if out.Verdict != profile.Short {
		for hi := from; hi-lo > 0.0005; {
			mid := (lo + hi) / 2
			r, s, err := with(mid)
			if err != nil {
				return err
			}
			if r.Verdict != profile.Short {
				lo, out, spare = mid, r, s
			} else {
				hi = mid
			}
		}
	}
	want := unit.Elevation(math.Floor(float64(lo)*1000) / 1000)
	at := e.at
	r := parcels.Remedy{Kind: parcels.LowerTieIn, From: parcels.Num(round(float64(from), 3)), To: parcels.Num(round(float64(want), 3)), Unit: "m", Location: &at, Gain: parcels.Num(mm(from.Above(want)))}
	r.Message = fmt.Sprintf("Bring the level at %s down by %.0f mm, from %.3f to %.3f m.", e.id, math.Ceil(1000*float64(from.Above(want))-0.01), float64(from), float64(want))
	inv := (*unit.Elevation)(nil)
	if e.inlet != nil {
		inv = e.inlet.Invert
	}
	switch {
	case e.inlet == nil && e.outlet != nil && e.outlet.Kind == "dry_well":
		r.Message += " The dry well is then dug deeper."
	case inv != nil && want < *inv:
		r.Message += fmt.Sprintf(" That is %.0f mm under the outgoing invert: the sewer's owner would have to lay the structure and its outgoing pipe deeper.", 1000*float64(*inv-want))
	case inv != nil:
		r.Message += fmt.Sprintf(" It stays %.0f mm over the outgoing invert; the sewer's owner must agree to the lower entry.", 1000*float64(want-*inv))
	}
	m.add(r, out, spare, 0)
	return nil
}

// cover is the change to a lesser cover.
func (m *mender) cover(c unit.Length) bend {
	return func(p *profile.Problem) {
		p.Rules.LeastCover = c
		for i := range p.Reaches {
			if s := p.Reaches[i].Start.Cover; s != nil && *s > c {
				p.Reaches[i].Start.Cover = &c
			}
		}
	}
}

// mostCover is the greatest cover, less than asked, with which the drain arrives
// when it is also changed otherwise; the thinnest where it arrives with none.
func (m *mender) mostCover(also ...bend) (c unit.Length, best *profile.Result, spare unit.Length, err error) {
	with := func(c unit.Length) (*profile.Result, unit.Length, error) {
		return m.again(append(slices.Clone(also), m.cover(c))...)
	}
	if best, spare, err = with(thinnestCover); err != nil || best.Verdict != profile.Arrives {
		return thinnestCover, best, spare, err
	}
	c = thinnestCover
	for lo, hi := thinnestCover, m.lp.site.Criteria.Pipe.LeastCover; hi-lo > unit.Millimetre; {
		mid := (lo + hi) / 2
		r, s, err := with(mid)
		if err != nil {
			return 0, nil, 0, err
		}
		if r.Verdict == profile.Arrives {
			lo, c, best, spare = mid, mid, r, s
		} else {
			hi = mid
		}
	}
	return c, best, spare, nil
}

// lessCover: the greatest cover, less than asked, with which it arrives.
func (m *mender) lessCover() error {
	now := m.lp.site.Criteria.Pipe.LeastCover
	if now <= thinnestCover {
		return nil
	}
	c, best, spare, err := m.mostCover()
	if err != nil {
		return err
	}
	r := parcels.Remedy{Kind: parcels.LessCover, From: parcels.Num(round(float64(now), 3)), To: parcels.Num(round(math.Floor(float64(c)*1000)/1000, 3)), Unit: "m", Location: m.binds()}
	r.Message = fmt.Sprintf("Accept %.0f mm of cover in place of %.0f mm, with a pipe of heavier wall where nobody drives.", 1000**r.To, 1000*float64(now))
	m.add(r, best, spare, 0)
	return nil
}

// flatPipe is a pipe that keeps itself clean at a flatter grade than the criteria
// ask for: the one at which it flows full at the least velocity.
type flatPipe struct {
	parcels.StockPipe
	grade unit.Slope
}

// flatter lists such pipes, the smallest of the stock left out, by size.
func (m *mender) flatter() (out []flatPipe) {
	c := m.lp.site.Criteria
	for _, k := range m.lp.solidPipe[1:] {
		s := m.lp.stockOf[k]
		own, err := pipe.Pipe{Diameter: unit.Length(s.Diameter / 1000), N: s.N}.SlopeForVelocity(c.Pipe.LeastVelocity)
		if own = max(own, flattest); err == nil && own < c.Pipe.LeastSlope {
			out = append(out, flatPipe{s, own})
		}
	}
	return out
}

// larger is the change to a pipe no smaller, at its own grade.
func (m *mender) larger(f flatPipe) bend {
	return func(p *profile.Problem) {
		p.Rules.LeastSlope, p.Rules.TargetSlope = f.grade, max(p.Rules.TargetSlope, f.grade)
		for i := range p.Reaches {
			if q := &p.Reaches[i]; m.l.runs[i].solid() && q.Laid == nil {
				q.Pipes = slices.DeleteFunc(slices.Clone(q.Pipes), func(x int) bool { return m.lp.stockOf[x].Diameter < f.Diameter })
			}
		}
		for i := range p.Stock {
			if m.lp.stockOf[i].Diameter < f.Diameter {
				p.Stock[i].LeastSlope = max(p.Stock[i].LeastSlope, m.lp.site.Criteria.Pipe.LeastSlope)
			}
		}
	}
}

// largerPipe: the first of those pipes with which it arrives, else the one that
// gains most.
func (m *mender) largerPipe() error {
	c := m.lp.site.Criteria
	var best *profile.Result
	var spare unit.Length
	var f flatPipe
	for _, x := range m.flatter() {
		r, sp, err := m.again(m.larger(x))
		if err != nil {
			return err
		}
		if best == nil || best.Verdict != profile.Arrives && (r.Verdict == profile.Arrives || sp > spare) {
			best, spare, f = r, sp, x
		}
		if r.Verdict == profile.Arrives {
			break
		}
	}
	if best == nil {
		return nil
	}
	r := parcels.Remedy{Kind: parcels.LargerPipe, From: parcels.Num(float64(c.Pipe.LeastSlope)), To: parcels.Num(roundAs(float64(f.grade), 5)), Unit: "m/m",
		Message: fmt.Sprintf("Lay %s pipe as flat as %.2f %%, where it runs full at %.2f m/s, in place of %.2f %%: laid by laser on a shot bed, with every joint checked.", f.Size, 100*float64(f.grade), float64(c.Pipe.LeastVelocity), 100*float64(c.Pipe.LeastSlope))}
	m.add(r, best, spare, 0)
	return nil
}

// deeperTrench: for a profile that arrives but for the depth.
func (m *mender) deeperTrench() error {
	if m.was.Verdict == profile.Short || !slices.ContainsFunc(m.was.Breaches, func(b profile.Breach) bool { return b.Kind == profile.Depth }) {
		return nil
	}
	now := m.lp.site.Criteria.Pipe.GreatestDepth
	out, spare, err := m.again(deeper)
	if err != nil {
		return err
	}
	most, at := m.depth(out)
	r := parcels.Remedy{Kind: parcels.DeeperTrench, From: parcels.Num(round(float64(now), 3)), To: parcels.Num(round(float64(most), 3)), Unit: "m", Location: at,
		Message: fmt.Sprintf("Dig to %.2f m in place of %.2f m.", float64(most), float64(now))}
	if most >= protectiveDepth {
		r.Message += " A protective system is asked from 1.524 m (29 CFR 1926.652)."
	}
	m.add(r, out, spare, 0)
	return nil
}

// deeper is the change to trenches as deep as need be.
func deeper(p *profile.Problem) { p.Rules.GreatestDepth = max(p.Rules.GreatestDepth, deepest) }

// depth is the greatest of a profile, and where.
func (m *mender) depth(out *profile.Result) (most unit.Length, at *orb.Point) {
	for i := range out.Reaches {
		if d := out.Reaches[i].Depth; d > most {
			most, at = d, m.place(i, out.Reaches[i].DepthAt)
		}
	}
	return most, at
}

// place is the point of a run at a distance along it.
func (m *mender) place(i int, at unit.Length) *orb.Point {
	r := &m.l.runs[i]
	a, b := m.l.nodes[r.from].at, m.l.nodes[r.to].at
	f := 0.0
	if r.length > 0 {
		f = math.Min(1, math.Max(0, float64(at/r.length)))
	}
	return &orb.Point{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])}
}

// binds is the place that holds the profile down.
func (m *mender) binds() *orb.Point {
	if b := m.was.Binds; b.Reach >= 0 && b.Reach < len(m.l.runs) && b.Kind != profile.Free {
		return m.place(b.Reach, b.At)
	}
	return nil
}

// regrade: where the water comes out on the ground too low, the swale it comes
// out in is lowered from there down, or a new one is cut, to where it meets the
// ground as it lies.
func (m *mender) regrade() error {
	e := m.l.end
	if m.was.Verdict != profile.Short || e.outlet == nil && e.swale == nil || e.tieIn == nil || m.lp.surface == nil {
		return nil
	}
	if e.outlet != nil && e.outlet.Kind != "daylight" {
		return nil
	}
	bed := m.was.Arrival
	c := m.lp.site.Criteria
	out, spare, err := m.again(bedAt(bed))
	if err != nil {
		return err
	}
	kind, cut, length, to, ok := m.lp.lowerBed(e.at, bed)
	if !ok {
		at := e.at
		m.lp.remedies = append(m.lp.remedies, parcels.Remedy{Kind: parcels.RegradeSwale, Outlet: e.id, Verdict: parcels.NotFeasible, Location: &at,
			Message: fmt.Sprintf("A swale cut at %s to %.3f m and led on at %.2g %% meets no lower ground on the lot within %.0f m.", e.id, float64(bed), 100*float64(c.Ground.SwaleLeastSlope), float64(swaleSearch))})
		return nil
	}
	r := parcels.Remedy{Kind: parcels.RegradeSwale, From: parcels.Num(round(float64(m.base.End.TieIn), 3)), To: parcels.Num(round(float64(bed), 3)), Unit: "m", Cut: parcels.Num(round(cut, 2)), Fill: parcels.Num(0.0), Location: &to,
		Message: fmt.Sprintf("Cut %s %.0f mm deeper at %s and on for %.1f m at %.2g %% to where it meets the ground: %.1f m3 of cut, no fill.", kind, math.Ceil(1000*float64(m.base.End.TieIn-bed)), e.id, length, 100*float64(c.Ground.SwaleLeastSlope), cut)}
	m.add(r, out, spare, cut*c.Prices.EarthworkPerM3)
	return nil
}

// bedAt is the change to an end at another level.
func bedAt(z unit.Elevation) bend {
	return func(p *profile.Problem) { p.End.TieIn, p.End.AtMost = z, nil }
}

// lowerBed lowers the ground at a point to a level: the swale there, or a new one.
func (lp *lotPlan) lowerBed(at orb.Point, bed unit.Elevation) (kind string, cut, length float64, to orb.Point, ok bool) {
	if cut, length, to, ok = lp.lowerSwale(at, bed); ok {
		return "the swale", cut, length, to, ok
	}
	cut, length, to, ok = lp.cutSwale(at, bed)
	return newSwale, cut, length, to, ok
}

// newSwale is what people are told of one that is cut where there was none.
const newSwale = "a new swale"

// lowerSwale lowers a swale of the site from a point on it down the water to
// where the new bed, at the least slope of swales, meets the old one: its cut,
// how far that is, and where.
func (lp *lotPlan) lowerSwale(at orb.Point, bed unit.Elevation) (cut, length float64, to orb.Point, ok bool) {
	for i := range lp.site.Swales {
		w := &lp.site.Swales[i]
		if d, _ := shape.PointLine(at, w.Line); d > 1 || len(w.Line) < 2 {
			continue
		}
		bottom, side, deep := 0.0, swaleSide, 0.0
		if w.BottomWidth != nil {
			bottom = float64(*w.BottomWidth)
		}
		if w.SideSlope != nil {
			side = *w.SideSlope
		}
		if w.Depth != nil {
			deep = float64(*w.Depth)
		}
		for _, l := range []orb.LineString{w.Line, reversed(w.Line)} {
			if cut, length, to, ok = lp.digAlong(from(l, at), bed, bottom, side, deep); ok {
				return
			}
		}
	}
	return 0, 0, orb.Point{}, false
}

func reversed(l orb.LineString) orb.LineString {
	out := slices.Clone(l)
	slices.Reverse(out)
	return out
}

// from is a line from its point nearest to at on.
func from(l orb.LineString, at orb.Point) orb.LineString {
	best, seg, foot := math.Inf(1), 0, l[0]
	for i := 0; i+1 < len(l); i++ {
		dx, dy := l[i+1][0]-l[i][0], l[i+1][1]-l[i][1]
		n := dx*dx + dy*dy
		if n == 0 {
			continue
		}
		t := math.Min(1, math.Max(0, ((at[0]-l[i][0])*dx+(at[1]-l[i][1])*dy)/n))
		q := orb.Point{l[i][0] + t*dx, l[i][1] + t*dy}
		if d := math.Hypot(q[0]-at[0], q[1]-at[1]); d < best {
			best, seg, foot = d, i, q
		}
	}
	return append(orb.LineString{foot}, l[seg+1:]...)
}

// digAlong cuts a bed along a line, from its first point at the given level down
// at the least slope of swales until it meets the ground; ok is false where it
// never does. The cut is by the mean of end areas of a trapezoid, widened over
// the depth that a swale has already, with a head of 10 % up the slope.
func (lp *lotPlan) digAlong(l orb.LineString, bed unit.Elevation, bottom, side, deep float64) (cut, length float64, to orb.Point, ok bool) {
	s := float64(lp.site.Criteria.Ground.SwaleLeastSlope)
	area := func(c float64) float64 { return c * (bottom + side*(2*deep+c)) }
	gone, last := 0.0, -1.0
	for i := 0; i+1 < len(l); i++ {
		n := math.Hypot(l[i+1][0]-l[i][0], l[i+1][1]-l[i][1])
		for d := 0.0; d < n; d += swaleStep {
			p := orb.Point{l[i][0] + d/n*(l[i+1][0]-l[i][0]), l[i][1] + d/n*(l[i+1][1]-l[i][1])}
			g, known := lp.surface.At(p)
			if !known || gone+d > float64(swaleSearch) {
				return 0, 0, orb.Point{}, false
			}
			c := float64(g.Elevation) - (float64(bed) - s*(gone+d))
			if c <= 0 {
				if last > 0 {
					cut += area(last) * swaleStep / 2
				}
				return cut, gone + d, p, true
			}
			if last >= 0 {
				cut += (area(last) + area(c)) / 2 * swaleStep
			} else {
				cut += area(c) / 2 * c / steepHead
			}
			last = c
		}
		gone += n
	}
	return 0, 0, orb.Point{}, false
}

// cutSwale cuts a new swale from a point, straight, in the heading of the least
// cut that stays in the lot, and clear of the drain that is drawn where one does: ground
// cut over a pipe covers it no more.
func (lp *lotPlan) cutSwale(at orb.Point, bed unit.Elevation) (cut, length float64, to orb.Point, ok bool) {
	lot := LotAt(lp.site, at)
	if lot == nil {
		return 0, 0, orb.Point{}, false
	}
	bare := false // it lies over the drain
	for k := 0; k < 72; k++ {
		sin, cos := math.Sincos(float64(k) * math.Pi / 36)
		end := orb.Point{at[0] + float64(swaleSearch)*cos, at[1] + float64(swaleSearch)*sin}
		c, n, p, found := lp.digAlong(orb.LineString{at, end}, bed, 0, swaleSide, 0)
		if !found || !inside(orb.LineString{at, p}, lot.Shape) && n > 0 {
			continue
		}
		if over := lp.overDrain(at, p); !ok || over == bare && c < cut || bare && !over {
			cut, length, to, ok, bare = c, n, p, true, over
		}
	}
	return
}

// overDrain says whether a new swale from an outlet lies over the drain that is drawn,
// beyond the few metres where that comes out.
func (lp *lotPlan) overDrain(at, to orb.Point) bool {
	d := math.Hypot(to[0]-at[0], to[1]-at[1])
	if lp.drawn == nil || d <= besideSwale {
		return false
	}
	a := orb.Point{at[0] + besideSwale*(to[0]-at[0])/d, at[1] + besideSwale*(to[1]-at[1])/d}
	return slices.ContainsFunc(lp.drawn.runs, func(r pipeRun) bool {
		off, _, _ := shape.SegmentSegment(a, to, lp.drawn.nodes[r.from].at, lp.drawn.nodes[r.to].at)
		return off < besideSwale
	})
}

// fillBowls: a hollow with a basin in it, or crossed by the drain, is filled to
// where it runs over.
func (m *mender) fillBowls() error {
	c := m.lp.site.Criteria
	for _, h := range m.lp.hollows {
		touched := false
		out, spare, err := m.again(m.filled(&h, &touched))
		if err != nil {
			return err
		}
		if !touched {
			continue
		}
		at := h.Location
		r := parcels.Remedy{Kind: parcels.FillBowl, From: parcels.Num(round(float64(h.Level)-float64(h.Depth), 3)), To: parcels.Num(round(float64(h.Level), 3)), Unit: "m", Location: &at, Cut: parcels.Num(0.0), Fill: parcels.Num(round(h.Volume, 2))}
		r.Message = fmt.Sprintf("Fill the hollow of %.2f m, %.1f m3, to where it runs over", float64(h.Depth), h.Volume)
		if len(h.Intakes) > 0 {
			r.Message += ", and set " + strings.Join(h.Intakes, ", ") + " on the new ground"
		}
		r.Message += "."
		m.add(r, out, spare, h.Volume*c.Prices.EarthworkPerM3)
	}
	return nil
}

// filled is the change to ground on which a hollow is filled to where it runs
// over; it says whether the drain lies there.
func (m *mender) filled(h *yardwater.Pond, touched *bool) bend {
	return func(p *profile.Problem) {
		for i := range p.Reaches {
			q := &p.Reaches[i]
			g := slices.Clone(q.Ground)
			changed := false
			for k := range g {
				at := *m.place(i, g[k].At)
				if g[k].Ground < h.Level && shape.Locate(at, h.Shape) != shape.Outside {
					g[k].Ground, changed = h.Level, true
				}
			}
			if changed {
				q.Ground, *touched = g, true
			}
		}
	}
}

// pump: all water falls to a sump at the lowest intake that is no downspout,
// else where the last run begins, and is lifted to the outlet through a
// shallow pressure line the shortest way.
func (m *mender) pump() error {
	lp := m.lp
	if m.l.end.tieIn == nil || lp.surface == nil {
		return nil
	}
	last := -1
	for i := range m.l.runs {
		if m.l.nodes[m.l.runs[i].to].end != nil {
			last = i
		}
	}
	if last < 0 {
		return nil
	}
	sites := []orb.Point{m.l.nodes[m.l.runs[last].from].at}
	low := math.Inf(1)
	for i := range lp.waters {
		w := lp.waters[i].intake
		if g, ok := lp.surface.At(w.At); ok && w.Kind != "downspout" && float64(g.Elevation) < low {
			low = float64(g.Elevation)
			sites = append(sites[:1], w.At)
		}
	}
	var best *parcels.Remedy
	for k, at := range sites {
		r, err := lp.pumpFrom(m, at, last, k == 0)
		if err != nil {
			return err
		}
		if r != nil && (best == nil || best.Verdict != parcels.Feasible || r.Verdict == parcels.Feasible && *r.CostIndex < *best.CostIndex) {
			best = r
		}
	}
	if best != nil {
		lp.remedies = append(lp.remedies, *best)
	}
	return nil
}

// pumpFrom works the gravity drain to a sump at a point and the duty of its
// pump. here says that the sump stands in the layout at the head of the last run.
func (lp *lotPlan) pumpFrom(m *mender, at orb.Point, last int, here bool) (*parcels.Remedy, error) {
	c := lp.site.Criteria
	main := orb.LineString{m.l.nodes[m.l.runs[last].from].at, m.l.end.at}
	out := new(profile.Result)
	l := m.l
	name := "at the head of the last run"
	if here {
		p := lp.problem(l)
		p.End = profile.End{TieIn: -1000}
		for i := range p.Reaches {
			if i == last {
				// the last run is the pressure line: it takes any level
				p.Reaches[i].Drop = unit.Length(deepest)
			}
		}
		if err := lp.solver.Solve(p, out); err != nil {
			return nil, wrong(lp.lot, err)
		}
	} else {
		p := *lp.asked
		p.Prove, p.Kept, p.Price, p.Depth = false, nil, nil, nil
		own := -1
		p.Sources = nil
		var waters []water
		for i := range lp.asked.Sources {
			if lp.asked.Sources[i].At == at {
				own = i
				continue
			}
			p.Sources = append(p.Sources, lp.asked.Sources[i])
			waters = append(waters, lp.waters[i])
		}
		p.Targets = []route.Target{{ID: "sump", At: at}}
		way, _, ok := route.ShortestWay(p.Zone, at, main[0])
		if !ok || own < 0 || len(p.Sources) == 0 {
			return nil, nil
		}
		main = append(way, m.l.end.at)
		res, err := route.Solve(&p)
		if err != nil || res.Best == nil || len(res.Unreached) > 0 {
			return nil, nil
		}
		// a planner of its own kind: the sump is its one outlet
		q := *lp
		q.waters, q.wanted = waters, nil
		q.ends = []end{{id: "sump", at: at}}
		q.cache = map[[4]float64]*stretch{}
		q.findings, q.remedies = nil, nil
		l = q.layout(res.Best)
		if err := q.profile(l, out); err != nil {
			return nil, err
		}
		name = "at " + lp.waters[own].intake.ID
	}
	flow, arrives := hydro.Flow(0), unit.Elevation(math.Inf(1))
	var deep []string
	for i := range l.runs {
		if l.nodes[l.runs[i].to].end == nil && !here || here && i == last {
			continue
		}
		if here {
			if l.runs[i].to != l.runs[last].from {
				continue
			}
		}
		flow += out.Reaches[i].Flow
		arrives = min(arrives, out.Reaches[i].InvertDown)
	}
	if here && flow > 0 {
		// also what comes in at the sump itself, where the head is an intake
		flow = max(flow, out.Reaches[last].Flow)
	}
	for _, b := range out.Breaches {
		if !(here && b.Reach == last) {
			deep = append(deep, lp.breach(l, b))
		}
	}
	if !here {
		for i := range lp.waters {
			if w := &lp.waters[i]; w.intake.At == at {
				flow += lp.alone(w)
			}
		}
	}
	if flow <= 0 || math.IsInf(float64(arrives), 0) {
		return nil, nil
	}
	// The pressure line lies at the least cover; its highest place counts.
	crest, length := *m.l.end.tieIn, unit.Length(0)
	for i := 0; i+1 < len(main); i++ {
		for _, s := range lp.along(main[i], main[i+1]).stations {
			crest = max(crest, s.Ground.Plus(-c.Pipe.LeastCover-0.1))
		}
		length += unit.Length(math.Hypot(main[i+1][0]-main[i][0], main[i+1][1]-main[i][1]))
	}
	if length == 0 {
		return nil, nil
	}
	k := lp.solidPipe[0]
	for _, x := range lp.solidPipe {
		k = x
		d := lp.stockOf[x].Diameter / 1000
		if float64(flow)/(math.Pi/4*d*d) <= fastInMain {
			break
		}
	}
	bore := pipe.Pipe{Diameter: unit.Length(lp.stockOf[k].Diameter / 1000), N: lp.stockOf[k].N}
	off := arrives.Plus(-pumpBelow)
	duty, err := inlet.Sump{Inflow: flow, Pumped: flow, Off: off, Discharge: max(crest, off), Pipe: bore, Length: length, Losses: pumpLosses, Cycle: pumpCycle, Plan: pumpSump, Wire: pumpEfficiency}.Duty()
	if err != nil {
		return nil, wrong(lp.lot, err)
	}
	area := float64(length) * float64(c.Pipe.LeastCover+lp.stock[k].Outside+c.Trench.Bedding)
	cost := out.Cost + float64(length)*(c.Prices.TrenchPerM+lp.stock[k].Price) + c.Prices.DepthPerM2*area + c.Prices.PumpEach + c.Prices.TieInEach
	if here {
		cost -= out.Reaches[last].Cost
	}
	r := &parcels.Remedy{Kind: parcels.Pump, Outlet: m.l.end.id, Verdict: parcels.Feasible, Location: &at, Flow: parcels.Num(roundAs(duty.Flow, 6)), Head: parcels.Num(roundAs(duty.Head, 2)), CostIndex: parcels.Num(round(cost, 2)),
		Message: fmt.Sprintf("Let the water fall to a sump %s and lift it through %.1f m of %s pressure line: %.1f L/s against %.2f m of head (%.2f m static), about %.0f W, %.2f m3 between starts and stops. A pump stops with the power: give it a way over the ground and a check valve.",
			name, float64(length), lp.stockOf[k].Size, 1000*float64(duty.Flow), float64(duty.Head), float64(duty.Static), float64(duty.Power), float64(duty.Volume))}
	if len(deep) > 0 {
		r.Verdict = parcels.NotFeasible
		r.Message += " The drain to the sump breaks a rule: " + strings.Join(deep[:min(2, len(deep))], "; ") + "."
	}
	return r, nil
}

// alone is the flow of one intake by itself.
func (lp *lotPlan) alone(w *water) hydro.Flow {
	q := w.stated
	for _, in := range w.in {
		if lp.intensity != nil {
			q += hydro.Flow(float64(in.CA) * float64(lp.intensity(in.Tc)) / 3.6e6)
		}
	}
	return q
}

// mendElsewhere works out what other outlets would do for a lot that does not drain
// to the one it has, and, where nothing does it by itself, what two things would.
func (lp *lotPlan) mendElsewhere(ctx context.Context) error {
	if lp.quick {
		return nil
	}
	if lp.shared {
		return lp.mendByTwo(ctx, nil)
	}
	pairs, err := lp.mendByInlet(ctx)
	if err != nil {
		return err
	}
	if err := lp.mendByTrunk(ctx); err != nil {
		return err
	}
	return lp.mendByTwo(ctx, pairs)
}

// replan plans the lot again, to an outlet (none: any) and under other rules.
func (lp *lotPlan) replan(ctx context.Context, outlet string, rule func(*parcels.Criteria)) (*lotPlan, parcels.Verdict, string, error) {
	var q *lotPlan
	var err error
	if lp.shared {
		var lots []*parcels.Lot
		for i := range lp.members {
			lots = append(lots, lp.members[i].lot)
		}
		q, err = newShared(lp.site, lp.siting, lots, lp.surface, Options{Outlet: outlet, Quick: true, rule: rule})
	} else {
		ruled := *lp.site
		rule(&ruled.Criteria)
		q, err = newLotPlan(&ruled, lp.siting, lp.lot, lp.surface, Options{Outlet: outlet, Quick: true}, lp.prefix)
	}
	if err == nil {
		err = q.drain(ctx)
	}
	if err != nil {
		return nil, "", "", err
	}
	q.prove = lp.prove
	v, why := q.drains()
	return q, v, why, nil
}

// drains is the verdict on the plan of a remedy, and why not.
func (lp *lotPlan) drains() (parcels.Verdict, string) {
	v, why, _ := parcels.Judge(lp.findings)
	if v != parcels.NotFeasible && (lp.cost == nil || lp.outlet == "") {
		v = parcels.NotFeasible
	}
	return v, strings.Join(why, " ")
}

// proven puts a plan made under other rules, or on other ground, to the checker and
// says what came of it, for the message of the remedy.
func (q *lotPlan) proven(r *parcels.Remedy, rule func(*parcels.Criteria)) error {
	if q.prove == nil {
		r.Message += " That plan was not checked: an estimate."
		return nil
	}
	bad, err := q.prove(q, rule)
	if err != nil {
		return err
	}
	if bad != "" {
		r.Verdict, r.CostIndex = parcels.NotFeasible, nil
		r.Message += " That plan did not pass the check: " + bad + "."
		return nil
	}
	r.Checked = true
	r.Message += " That plan passed the check."
	return nil
}

// mendByInlet plans the lot again to the inlets that were not open to it: any but
// the one that was named, or else those that a longer last run would reach. pairs
// are what would let it arrive at one where it does not by that alone.
func (lp *lotPlan) mendByInlet(ctx context.Context) (pairs []pair, err error) {
	if lp.only != "" {
		same := func(*parcels.Criteria) {}
		q, v, _, err := lp.replan(ctx, "", same)
		if err != nil || q.outlet == lp.only || q.outlet == "" {
			return nil, err
		}
		if v == parcels.NotFeasible {
			return q.pairsWith(step{part: parcels.RemedyStep{Kind: parcels.OtherInlet, Outlet: q.outlet}, say: fmt.Sprintf("drain to %s in place of %s", q.outlet, lp.only), rule: same})
		}
		r := parcels.Remedy{Kind: parcels.OtherInlet, Outlet: q.outlet, Verdict: v, CostIndex: q.cost,
			Message: fmt.Sprintf("Drain to %s in place of %s: gravity does it, with %.1f m of trench.", q.outlet, lp.only, float64(q.trenchLength))}
		if err := q.proven(&r, same); err != nil {
			return nil, err
		}
		lp.remedies = append(lp.remedies, r)
		return nil, nil
	}
	reach := lp.site.Criteria.TieIn.Reach
	for i := range lp.ends {
		e := &lp.ends[i]
		if e.inlet == nil || e.closed != "" || !slices.ContainsFunc(lp.alternatives, func(a parcels.Alternative) bool { return a.Outlet == e.id && a.Length == nil }) {
			continue
		}
		if off, err := lp.off(e.at); err != nil {
			return nil, err
		} else if off > longestReach*reach {
			continue
		}
		var q *lotPlan
		var rule func(*parcels.Criteria)
		v, why := parcels.NotFeasible, ""
		for f := unit.Length(1.5); f <= longestReach && v == parcels.NotFeasible; f += 0.5 { // the shortest that does it
			rule = func(c *parcels.Criteria) { c.TieIn.Reach = f * reach }
			if q, v, why, err = lp.replan(ctx, e.id, rule); err != nil {
				return nil, err
			}
		}
		last := slices.IndexFunc(q.runs, func(r parcels.Run) bool { return r.TieIn })
		if last < 0 || q.runs[last].Length <= reach {
			continue // it was not for the last run that the inlet was shut out
		}
		at := e.at
		length := unit.Length(math.Ceil(float64(q.runs[last].Length)*1000) / 1000)
		say := fmt.Sprintf("go to inlet %s with a last run of %.2f m in place of at most %.2f m", e.id, float64(length), float64(reach))
		r := parcels.Remedy{Kind: parcels.OtherInlet, Outlet: e.id, Verdict: parcels.NotFeasible, From: parcels.Num(round(float64(reach), 4)), To: parcels.Num(float64(length)), Unit: "m", Location: &at, Message: upper(say) + ":"}
		if v == parcels.NotFeasible {
			r.Message += " it does not go either. " + why
			more, err := q.pairsWith(step{part: parcels.RemedyStep{Kind: parcels.OtherInlet, Outlet: e.id, From: r.From, To: r.To, Unit: "m"}, say: say, rule: rule, leave: true})
			if err != nil {
				return nil, err
			}
			pairs = append(pairs, more...)
		} else {
			r.Verdict, r.CostIndex = parcels.NotProven, q.cost
			r.Message += fmt.Sprintf(" gravity does it, with %.1f m of trench. The owner of the ground from the zone to the inlet must agree to so long a run over it, and the criteria must allow it.", float64(q.trenchLength))
			if err := q.proven(&r, rule); err != nil {
				return nil, err
			}
		}
		lp.remedies = append(lp.remedies, r)
	}
	return pairs, nil
}

// mendByTrunk works out, for a lot that has no way to an outlet over its own
// ground, the way along the easements over its neighbours.
func (lp *lotPlan) mendByTrunk(ctx context.Context) error {
	q, err := newShared(lp.site, lp.siting, []*parcels.Lot{lp.lot}, lp.surface, Options{Outlet: lp.only, Quick: true})
	if err != nil {
		return err
	}
	if err := q.drain(ctx); err != nil {
		return err
	}
	if len(q.ways) == 0 {
		return nil
	}
	var over, by []string
	for i := range q.runs {
		for _, l := range q.runs[i].OverLots {
			if l != lp.lot.ID && !slices.Contains(over, l) {
				over = append(over, l)
			}
		}
		if l := q.runs[i].Lot; l != "" && l != lp.lot.ID && !slices.Contains(over, l) {
			over = append(over, l)
		}
		for _, e := range q.runs[i].Easements {
			if !slices.Contains(by, e) {
				by = append(by, e)
			}
		}
	}
	slices.Sort(over)
	way := "Along easement " + strings.Join(by, ", ")
	if len(over) > 0 {
		way += " over lot " + strings.Join(over, ", ")
	}
	r := parcels.Remedy{Kind: parcels.SharedTrunk, Outlet: q.outlet, Verdict: parcels.NotFeasible}
	stop := slices.IndexFunc(q.findings, func(f parcels.Finding) bool { return f.Severity == parcels.Stop })
	switch {
	case len(q.runs) == 0 || len(by) == 0:
		r.Outlet, r.Message = "", "The easements near the lot, in which a trench may lie, lead to no outlet either."
		if stop >= 0 {
			r.Message += " " + q.findings[stop].Message
		}
	case stop >= 0:
		r.Message = fmt.Sprintf("%s to %s it does not go either: %s", way, q.outlet, q.findings[stop].Message)
	default:
		r.Verdict, r.CostIndex = parcels.NotProven, q.cost
		r.Message = fmt.Sprintf("%s to %s gravity does it, with %.1f m of trench: plan it shared, with those who will join; the easement's and each owner's permission is needed.", way, q.outlet, float64(q.trenchLength))
	}
	lp.remedies = append(lp.remedies, r)
	return nil
}
