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
	longestReach              = 3 // times the longest last run of the criteria: more is a street main
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
	if lp.quick || r.Verdict == profile.Arrives {
		return nil
	}
	m := &mender{lp: lp, l: l, was: r, base: lp.problem(l)}
	lp.thin(l, m.base)
	if r.Verdict == profile.Short && l.end.lower != nil {
		m.base.End.TieIn = *l.end.lower
	}
	var err error
	if m.spare, err = lp.solver.Spare(m.base); err != nil {
		return wrong(lp.lot, err)
	}
	for _, f := range []func() error{m.lowerTieIn, m.lessCover, m.largerPipe, m.deeperTrench, m.regrade, m.fillBowls, m.pump} {
		if err := f(); err != nil {
			return err
		}
	}
	return nil
}

// again solves the layout with a change. The problem handed to change shares no
// memory that change may write with the one it is made from.
func (m *mender) again(change func(p *profile.Problem)) (*profile.Result, unit.Length, error) {
	p := *m.base
	p.Reaches = slices.Clone(m.base.Reaches)
	p.Stock = slices.Clone(m.base.Stock)
	change(&p)
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
	from := m.base.End.TieIn
	with := func(z unit.Elevation) (*profile.Result, unit.Length, error) {
		return m.again(func(p *profile.Problem) { p.End.TieIn, p.End.AtMost = z, nil })
	}
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
	case e.inlet == nil:
		r.Message += " The ground must be cut to let the water go on from there."
	case inv != nil && want < *inv:
		r.Message += fmt.Sprintf(" That is %.0f mm under the outgoing invert: the sewer's owner would have to lay the structure and its outgoing pipe deeper.", 1000*float64(*inv-want))
	case inv != nil:
		r.Message += fmt.Sprintf(" It stays %.0f mm over the outgoing invert; the sewer's owner must agree to the lower entry.", 1000*float64(want-*inv))
	}
	m.add(r, out, spare, 0)
	return nil
}

// lessCover: the greatest cover, less than asked, with which it arrives.
func (m *mender) lessCover() error {
	now := m.lp.site.Criteria.Pipe.LeastCover
	if now <= thinnestCover {
		return nil
	}
	with := func(c unit.Length) (*profile.Result, unit.Length, error) {
		return m.again(func(p *profile.Problem) {
			p.Rules.LeastCover = c
			for i := range p.Reaches {
				if s := p.Reaches[i].Start.Cover; s != nil && *s > c {
					p.Reaches[i].Start.Cover = &c
				}
			}
		})
	}
	best, spare, err := with(thinnestCover)
	if err != nil {
		return err
	}
	c := thinnestCover
	if best.Verdict == profile.Arrives {
		for lo, hi := thinnestCover, now; hi-lo > unit.Millimetre; {
			mid := (lo + hi) / 2
			r, s, err := with(mid)
			if err != nil {
				return err
			}
			if r.Verdict == profile.Arrives {
				lo, c, best, spare = mid, mid, r, s
			} else {
				hi = mid
			}
		}
	}
	r := parcels.Remedy{Kind: parcels.LessCover, From: parcels.Num(round(float64(now), 3)), To: parcels.Num(round(math.Floor(float64(c)*1000)/1000, 3)), Unit: "m", Location: m.binds()}
	r.Message = fmt.Sprintf("Accept %.0f mm of cover in place of %.0f mm, with a pipe of heavier wall where nobody drives.", 1000**r.To, 1000*float64(now))
	m.add(r, best, spare, 0)
	return nil
}

// largerPipe: a larger pipe keeps itself clean at a flatter grade: the one at
// which it flows full at the least velocity.
func (m *mender) largerPipe() error {
	c := m.lp.site.Criteria
	var best *profile.Result
	var spare unit.Length
	var size parcels.StockPipe
	var grade unit.Slope
	for n, k := range m.lp.solidPipe {
		if n == 0 {
			continue
		}
		s := m.lp.stockOf[k]
		own, err := pipe.Pipe{Diameter: unit.Length(s.Diameter / 1000), N: s.N}.SlopeForVelocity(c.Pipe.LeastVelocity)
		if err != nil {
			continue
		}
		own = max(own, flattest)
		if own >= c.Pipe.LeastSlope {
			continue // no flatter than the criteria already allow
		}
		r, sp, err := m.again(func(p *profile.Problem) {
			p.Rules.LeastSlope, p.Rules.TargetSlope = own, max(p.Rules.TargetSlope, own)
			for i := range p.Reaches {
				if q := &p.Reaches[i]; m.l.runs[i].solid() && q.Laid == nil {
					q.Pipes = slices.DeleteFunc(slices.Clone(q.Pipes), func(x int) bool { return m.lp.stockOf[x].Diameter < s.Diameter })
				}
			}
			for i := range p.Stock {
				if m.lp.stockOf[i].Diameter < s.Diameter {
					p.Stock[i].LeastSlope = max(p.Stock[i].LeastSlope, c.Pipe.LeastSlope)
				}
			}
		})
		if err != nil {
			return err
		}
		if best == nil || best.Verdict != profile.Arrives && (r.Verdict == profile.Arrives || sp > spare) {
			best, spare, size, grade = r, sp, s, own
		}
		if r.Verdict == profile.Arrives {
			break
		}
	}
	if best == nil {
		return nil
	}
	r := parcels.Remedy{Kind: parcels.LargerPipe, From: parcels.Num(float64(c.Pipe.LeastSlope)), To: parcels.Num(roundAs(float64(grade), 5)), Unit: "m/m",
		Message: fmt.Sprintf("Lay %s pipe as flat as %.2f %%, where it runs full at %.2f m/s, in place of %.2f %%: laid by laser on a shot bed, with every joint checked.", size.Size, 100*float64(grade), float64(c.Pipe.LeastVelocity), 100*float64(c.Pipe.LeastSlope))}
	m.add(r, best, spare, 0)
	return nil
}

// deeperTrench: for a profile that arrives but for the depth.
func (m *mender) deeperTrench() error {
	if m.was.Verdict == profile.Short || !slices.ContainsFunc(m.was.Breaches, func(b profile.Breach) bool { return b.Kind == profile.Depth }) {
		return nil
	}
	now := m.lp.site.Criteria.Pipe.GreatestDepth
	out, spare, err := m.again(func(p *profile.Problem) { p.Rules.GreatestDepth = max(now, deepest) })
	if err != nil {
		return err
	}
	most, at := unit.Length(0), (*orb.Point)(nil)
	for i := range out.Reaches {
		if d := out.Reaches[i].Depth; d > most {
			most, at = d, m.place(i, out.Reaches[i].DepthAt)
		}
	}
	r := parcels.Remedy{Kind: parcels.DeeperTrench, From: parcels.Num(round(float64(now), 3)), To: parcels.Num(round(float64(most), 3)), Unit: "m", Location: at,
		Message: fmt.Sprintf("Dig to %.2f m in place of %.2f m.", float64(most), float64(now))}
	if most >= protectiveDepth {
		r.Message += " A protective system is asked from 1.524 m (29 CFR 1926.652)."
	}
	m.add(r, out, spare, 0)
	return nil
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
	out, spare, err := m.again(func(p *profile.Problem) { p.End.TieIn, p.End.AtMost = bed, nil })
	if err != nil {
		return err
	}
	cut, length, to, ok := m.lp.lowerSwale(e.at, bed)
	kind := "the swale"
	if !ok {
		cut, length, to, ok = m.lp.cutSwale(e.at, bed)
		kind = "a new swale"
	}
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
// cut that stays in the lot.
func (lp *lotPlan) cutSwale(at orb.Point, bed unit.Elevation) (cut, length float64, to orb.Point, ok bool) {
	lot := LotAt(lp.site, at)
	if lot == nil {
		return 0, 0, orb.Point{}, false
	}
	for k := 0; k < 72; k++ {
		sin, cos := math.Sincos(float64(k) * math.Pi / 36)
		end := orb.Point{at[0] + float64(swaleSearch)*cos, at[1] + float64(swaleSearch)*sin}
		c, n, p, found := lp.digAlong(orb.LineString{at, end}, bed, 0, swaleSide, 0)
		if !found || ok && c >= cut || !inside(orb.LineString{at, p}, lot.Shape) && n > 0 {
			continue
		}
		cut, length, to, ok = c, n, p, true
	}
	return
}

// fillBowls: a hollow with a basin in it, or crossed by the drain, is filled to
// where it runs over.
func (m *mender) fillBowls() error {
	c := m.lp.site.Criteria
	for _, h := range m.lp.hollows {
		touched := false
		out, spare, err := m.again(func(p *profile.Problem) {
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
					q.Ground, touched = g, true
				}
			}
		})
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
		q.cache = map[[4]float64]stretch{}
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
// to the one it has.
func (lp *lotPlan) mendElsewhere(ctx context.Context) error {
	if lp.quick || lp.shared {
		return nil
	}
	if err := lp.mendByInlet(ctx); err != nil {
		return err
	}
	return lp.mendByTrunk(ctx)
}

// mendByInlet plans the lot again to the inlets that were not open to it: any but
// the one that was named, or else those that a longer last run would reach.
func (lp *lotPlan) mendByInlet(ctx context.Context) error {
	again := func(outlet string, reach unit.Length) (*lotPlan, parcels.Verdict, string, error) {
		ruled := *lp.site
		ruled.Criteria.TieIn.Reach = reach
		q, err := newLotPlan(&ruled, lp.siting, lp.lot, lp.surface, Options{Outlet: outlet, Quick: true}, lp.prefix)
		if err == nil {
			err = q.drain(ctx)
		}
		if err != nil {
			return nil, "", "", err
		}
		v, why, _ := parcels.Judge(q.findings)
		if v != parcels.NotFeasible && (q.cost == nil || q.outlet == "") {
			v = parcels.NotFeasible
		}
		return q, v, strings.Join(why, " "), nil
	}
	reach := lp.site.Criteria.TieIn.Reach
	if lp.only != "" {
		q, v, _, err := again("", reach)
		if err != nil {
			return err
		}
		if v != parcels.NotFeasible && q.outlet != lp.only {
			lp.remedies = append(lp.remedies, parcels.Remedy{Kind: parcels.OtherInlet, Outlet: q.outlet, Verdict: v, CostIndex: q.cost,
				Message: fmt.Sprintf("Drain to %s in place of %s: gravity does it, with %.1f m of trench.", q.outlet, lp.only, float64(q.trenchLength))})
		}
		return nil
	}
	for i := range lp.ends {
		e := &lp.ends[i]
		if e.inlet == nil || e.closed != "" || !slices.ContainsFunc(lp.alternatives, func(a parcels.Alternative) bool { return a.Outlet == e.id && a.Length == nil }) {
			continue
		}
		if off, err := lp.off(e.at); err != nil {
			return err
		} else if off > longestReach*reach {
			continue
		}
		var q *lotPlan
		v, why := parcels.NotFeasible, ""
		for f := unit.Length(1.5); f <= longestReach && v == parcels.NotFeasible; f += 0.5 { // the shortest that does it
			var err error
			if q, v, why, err = again(e.id, f*reach); err != nil {
				return err
			}
		}
		last := slices.IndexFunc(q.runs, func(r parcels.Run) bool { return r.TieIn })
		if last < 0 || q.runs[last].Length <= reach {
			continue // it was not for the last run that the inlet was shut out
		}
		at := e.at
		length := unit.Length(math.Ceil(float64(q.runs[last].Length)*1000) / 1000)
		r := parcels.Remedy{Kind: parcels.OtherInlet, Outlet: e.id, Verdict: parcels.NotFeasible, From: parcels.Num(round(float64(reach), 4)), To: parcels.Num(float64(length)), Unit: "m", Location: &at,
			Message: fmt.Sprintf("Go to inlet %s with a last run of %.2f m in place of at most %.2f m:", e.id, float64(length), float64(reach))}
		if v == parcels.NotFeasible {
			r.Message += " it does not go either. " + why
		} else {
			r.Verdict, r.CostIndex = parcels.NotProven, q.cost
			r.Message += fmt.Sprintf(" gravity does it, with %.1f m of trench. The owner of the ground from the zone to the inlet must agree to so long a run over it, and the criteria must allow it.", float64(q.trenchLength))
		}
		lp.remedies = append(lp.remedies, r)
	}
	return nil
}

// mendByTrunk works out, for a lot that has no way to an outlet over its own
// ground, the way along the easements over its neighbours.
func (lp *lotPlan) mendByTrunk(ctx context.Context) error {
	if lp.quick || lp.shared {
		return nil
	}
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
		if l := q.runs[i].Lot; l != lp.lot.ID && !slices.Contains(over, l) {
			over = append(over, l)
		}
		for _, e := range q.runs[i].Easements {
			if !slices.Contains(by, e) {
				by = append(by, e)
			}
		}
	}
	slices.Sort(over)
	r := parcels.Remedy{Kind: parcels.SharedTrunk, Outlet: q.outlet, Verdict: parcels.NotFeasible}
	stop := slices.IndexFunc(q.findings, func(f parcels.Finding) bool { return f.Severity == parcels.Stop })
	switch {
	case len(q.runs) == 0 || len(by) == 0:
		r.Outlet, r.Message = "", "The easements near the lot, in which a trench may lie, lead to no outlet either."
		if stop >= 0 {
			r.Message += " " + q.findings[stop].Message
		}
	case stop >= 0:
		r.Message = fmt.Sprintf("Along easement %s over lot %s to %s it does not go either: %s", strings.Join(by, ", "), strings.Join(over, ", "), q.outlet, q.findings[stop].Message)
	default:
		r.Verdict, r.CostIndex = parcels.NotProven, q.cost
		r.Message = fmt.Sprintf("Along easement %s over lot %s to %s gravity does it, with %.1f m of trench: plan it shared, with those who will join; the easement's and each owner's permission is needed.", strings.Join(by, ", "), strings.Join(over, ", "), q.outlet, float64(q.trenchLength))
	}
	lp.remedies = append(lp.remedies, r)
	return nil
}
