package planner

// From a layout and its profile to what a plan holds: points, runs, trenches,
// profiles.

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/hydro/profile"
	"fallwright/parcels"
)

// network fills the plan of the lot. r is nil where the ground is not known.
func (lp *lotPlan) network(l *layout, r *profile.Result) error {
	lp.outlet = l.end.id
	lp.name(l)
	if err := lp.makeRuns(l, r); err != nil {
		return err
	}
	lp.makePoints(l, r)
	lp.makeTrenches(l, r)
	if r != nil {
		lp.makeProfiles(l, r)
		if err := lp.levels(l, r); err != nil {
			return err
		}
		lp.cost = parcels.Num(round(r.Cost+lp.site.Criteria.Prices.TieInEach, 2))
	} else {
		lp.cost = parcels.Num(round(l.planCost(), 2))
	}
	lp.divide(l, r)
	if err := lp.judge(l, r); err != nil || r == nil {
		return err
	}
	return lp.mend(l, r)
}

// name gives every node its id: an intake's or outlet's own, else P1, P2, ...
// down the tree, but for names that something in the site bears.
func (lp *lotPlan) name(l *layout) {
	n := 0
	borne := lp.borne(lp.prefix + "P")
	for i := range l.runs {
		for _, k := range []int{l.runs[i].from, l.runs[i].to} {
			m := &l.nodes[k]
			switch {
			case m.water != nil:
				m.id = m.water.intake.ID
			case m.end != nil:
				m.id = lp.endName(m.end)
			case m.id == "":
				for m.id == "" || borne[m.id] {
					n++
					m.id = fmt.Sprintf("%sP%d", lp.prefix, n)
				}
			}
		}
	}
}

// borne are the names in the site that begin so; nil where there are none.
func (lp *lotPlan) borne(begin string) (names map[string]bool) {
	add := func(name string) {
		if strings.HasPrefix(name, begin) {
			if names == nil {
				names = map[string]bool{}
			}
			names[name] = true
		}
	}
	s := lp.site
	for i := range s.Lots {
		add(s.Lots[i].ID)
	}
	for i := range s.Easements {
		add(s.Easements[i].ID)
	}
	for i := range s.Swales {
		add(swaleID(&s.Swales[i]))
	}
	for i := range s.Inlets {
		add(s.Inlets[i].ID)
	}
	for i := range s.Outlets {
		add(s.Outlets[i].ID)
	}
	for i := range s.Intakes {
		add(s.Intakes[i].ID)
	}
	for i := range s.PerforatedRuns {
		add(s.PerforatedRuns[i].ID)
	}
	for i := range s.Obstacles {
		add(s.Obstacles[i].ID)
	}
	for i := range s.Drains {
		add(s.Drains[i].ID)
	}
	return names
}

// endName is the id of the point at an outlet: the outlet's own, but that each lot with
// a drain of its own comes to a swale at its own place.
func (lp *lotPlan) endName(e *end) string {
	if e.swale != nil && !lp.shared {
		return lp.prefix + e.id
	}
	return e.id
}

func (lp *lotPlan) makeRuns(l *layout, r *profile.Result) error {
	trench := lp.trenchOf(l, r)
	for i := range l.runs {
		pr := &l.runs[i]
		a, b := l.nodes[pr.from].at, l.nodes[pr.to].at
		base := parcels.Run{ID: fmt.Sprintf("%sR%d", lp.prefix, i+1), From: l.nodes[pr.from].id, To: l.nodes[pr.to].id, Line: orb.LineString{a, b},
			Trench: fmt.Sprintf("%sT%d", lp.prefix, trench[i]+1), Length: mm(pr.length), TieIn: pr.tieIn, LeadOff: pr.leadOff, PipeCount: 1}
		lp.place(&base, lp.widthOf(l, r, i))
		if m := lp.member(base.Lot); m != nil && len(base.Easements) == 0 {
			clear, _, _ := shape.LineBoundary(base.Line, m.lot.Shape)
			if shape.Locate(a, m.lot.Shape) == shape.Outside || shape.Locate(b, m.lot.Shape) == shape.Outside {
				clear = -max(beyond(m.lot, a), beyond(m.lot, b))
			}
			base.LeastClearance = parcels.Num(mm(clear - lp.widthOf(l, r, i)/2))
		}
		roof, yard := false, false
		for _, w := range pr.waters {
			base.Area += w.area
			base.RoofCA += w.roofCA
			base.YardCA += w.yardCA
			base.StatedFlow += w.stated
			roof, yard = roof || w.roof, yard || w.yard
		}
		base.Area, base.RoofCA, base.YardCA = mm(base.Area), roundAs(base.RoofCA, 4), roundAs(base.YardCA, 4)
		kinds := 0
		for _, k := range []bool{roof, yard, pr.ground && pr.solid()} {
			if k {
				kinds++
			}
		}
		switch {
		case kinds > 1:
			base.Carries = parcels.CarriesMixed
		case roof:
			base.Carries = parcels.CarriesRoof
		case yard:
			base.Carries = parcels.CarriesYard
		default:
			base.Carries = parcels.CarriesGround
		}
		k := lp.solidPipe[0]
		if !pr.solid() {
			k = lp.perfPipe[0]
			base.PipeCount = pr.perforated
		}
		if r != nil {
			laid := &r.Reaches[i]
			k = laid.Pipe
			fall := laid.InvertUp.Above(laid.InvertDown)
			base.InvertUp, base.InvertDown = parcels.Num(mm(laid.InvertUp)), parcels.Num(mm(laid.InvertDown))
			base.Fall = parcels.Num(mm(fall))
			base.Slope = parcels.Num(roundAs(unit.Grade(fall, pr.length), 6))
			base.Capacity = parcels.Num(roundAs(laid.Capacity, 7))
			if lp.along(a, b).known {
				base.LeastCover = parcels.Num(mm(laid.Cover))
				base.GreatestDepth = parcels.Num(mm(laid.Depth))
			}
			base.Tc = roundAs(laid.Tc, 4)
			known := lp.intensity != nil || base.RoofCA+base.YardCA == 0
			if len(pr.waters) > 0 && known {
				base.Flow = parcels.Num(roundAs(laid.Flow, 7))
				base.FillRatio = parcels.Num(round(laid.Fill, 4))
				base.Velocity = parcels.Num(roundAs(laid.Velocity, 4))
				base.Shear = parcels.Num(round(float64(laid.Shear), 3))
				if laid.Intensity > 0 {
					base.Intensity = parcels.Num(roundAs(laid.Intensity, 4))
				}
			}
		}
		lp.dress(&base, k)
		cost, laid := l.planCostOf(i), (*profile.Laid)(nil)
		if r != nil {
			cost, laid = r.Reaches[i].Cost, &r.Reaches[i]
		}
		lp.costs = append(lp.costs, cost)
		base.CostIndex = parcels.Num(round(cost, 2))
		if lp.shared {
			base.Shares = lp.shares(pr, base.Lot, laid)
			for lot, f := range base.Shares {
				base.Shares[lot] = round(f, 6)
			}
		}
		lp.runs = append(lp.runs, base)
		lp.pipeLength += base.Length * unit.Length(base.PipeCount)
		if pr.solid() || pr.twin < 0 {
			lp.trenchLength += base.Length
		}
	}
	return nil
}

// dress puts the stock pipe's own figures on a run.
func (lp *lotPlan) dress(run *parcels.Run, stock int) {
	p := lp.stockOf[stock]
	run.Pipe, run.Wall, run.Size, run.Diameter, run.OutsideDiameter, run.N = p.Pipe, p.Wall, p.Size, p.Diameter, p.OutsideDiameter, p.N
}

// beyond is how far a point lies outside a lot; 0 inside.
func beyond(lot *parcels.Lot, p orb.Point) unit.Length {
	if shape.Locate(p, lot.Shape) != shape.Outside {
		return 0
	}
	d, _, _ := shape.LineBoundary(orb.LineString{p, {p[0] + 1e-9, p[1]}}, lot.Shape)
	return d
}

func (lp *lotPlan) makePoints(l *layout, r *profile.Result) {
	lowest := make([]*unit.Elevation, len(l.nodes))
	note := func(i int, e unit.Elevation) {
		if lowest[i] == nil || e < *lowest[i] {
			lowest[i] = parcels.Num(mm(e))
		}
	}
	used := make([]bool, len(l.nodes))
	for i := range l.runs {
		used[l.runs[i].from], used[l.runs[i].to] = true, true
		if r != nil {
			note(l.runs[i].from, r.Reaches[i].InvertUp)
			note(l.runs[i].to, r.Reaches[i].InvertDown)
		}
	}
	for i := range l.nodes {
		if !used[i] {
			continue
		}
		n := &l.nodes[i]
		pt := parcels.Point{ID: n.id, Kind: n.kind, At: n.at, Lot: lp.lot.ID, Invert: lowest[i], Fittings: []string{}}
		if lp.shared {
			pt.Lot = ""
			if m := lp.at(n.at); m != nil {
				pt.Lot = m.lot.ID
			}
		}
		if lp.surface != nil {
			if g, ok := lp.surface.At(n.at); ok {
				pt.Ground = parcels.Num(mm(g.Elevation))
			}
		}
		if pt.Ground != nil && pt.Invert != nil {
			pt.Depth = parcels.Num(mm(pt.Ground.Above(*pt.Invert)))
		}
		switch {
		case n.water != nil:
			pt.RoofArea = n.water.roofArea
			pt.Rim = n.water.intake.Rim
			if pt.Rim == nil {
				pt.Rim = pt.Ground
			}
			if n.water.intake.Kind == "downspout" {
				pt.Fittings = append(pt.Fittings, "downspout adapter", "cleanout", "sweep 90")
			} else {
				pt.Fittings = append(pt.Fittings, "basin with grate")
			}
		case n.end != nil && n.end.inlet != nil:
			pt.Rim, pt.Lot = n.end.inlet.Rim, ""
			pt.Fittings = append(pt.Fittings, "cored hole with rubber boot")
		case n.end != nil && n.end.swale != nil:
			pt.Fittings = append(pt.Fittings, "daylight end with stone")
		case n.end != nil:
			pt.Rim = n.end.outlet.Level
			pt.Fittings = append(pt.Fittings, n.end.outlet.Kind)
		case n.kind == parcels.PointBasin:
			pt.Fittings = append(pt.Fittings, "junction basin with cover")
		case n.kind == parcels.PointWye:
			pt.Fittings = append(pt.Fittings, "wye 45")
		case n.kind == parcels.PointCleanout:
			pt.Fittings = append(pt.Fittings, "cleanout")
		case n.kind == parcels.PointBend:
			pt.Fittings = append(pt.Fittings, bends(n.turn)...)
		}
		if n.out >= 0 && len(n.in) > 0 {
			pt.Angle = parcels.Num(round(n.turn, 2))
			if r != nil {
				out := &r.Reaches[n.out]
				for _, k := range n.in {
					if lp.stockOf[r.Reaches[k].Pipe].Diameter < lp.stockOf[out.Pipe].Diameter {
						pt.Fittings = append(pt.Fittings, "reducer "+lp.stockOf[r.Reaches[k].Pipe].Size+" to "+lp.stockOf[out.Pipe].Size)
						if n.kind == parcels.PointBend && n.turn < 0.5 {
							pt.Kind = parcels.PointReducer
						}
					}
				}
			}
		}
		lp.points = append(lp.points, pt)
	}
	slices.SortStableFunc(lp.points, func(a, b parcels.Point) int { return rank(a.Kind) - rank(b.Kind) })
}

// rank orders the kinds as the contract lists them.
func rank(k parcels.PointKind) int {
	return slices.Index([]parcels.PointKind{parcels.PointIntake, parcels.PointInlet, parcels.PointOutlet, parcels.PointBasin, parcels.PointWye, parcels.PointCleanout, parcels.PointBend, parcels.PointReducer, parcels.PointValve}, k)
}

// bends are the stock fittings that make a deflection: 22.5, 45, or two 45s.
func bends(deg float64) []string {
	switch {
	case deg < 3:
		return nil
	case deg <= 23:
		return []string{"bend 22.5"}
	case deg <= 46:
		return []string{"bend 45"}
	case deg <= 68:
		return []string{"bend 45", "bend 22.5"}
	}
	return []string{"bend 45", "bend 45"}
}

// trenchOf numbers the trenches: a chain of runs without a junction, of one
// width and one set of pipes, is one; a run beside another lies in its trench.
func (lp *lotPlan) trenchOf(l *layout, r *profile.Result) []int {
	out := make([]int, len(l.runs))
	next := 0
	beside := func(i int) bool { return !l.runs[i].solid() && l.runs[i].twin >= 0 }
	for i := range l.runs {
		if beside(i) {
			continue
		}
		n := &l.nodes[l.runs[i].from]
		if len(n.in) == 1 && n.water == nil {
			k := n.in[0]
			same := lp.widthOf(l, r, k) == lp.widthOf(l, r, i) && l.runs[k].perforated == l.runs[i].perforated && (l.runs[k].twin >= 0) == (l.runs[i].twin >= 0)
			if same && k < i && !beside(k) {
				out[i] = out[k]
				continue
			}
		}
		out[i] = next
		next++
	}
	for i := range l.runs {
		if beside(i) {
			out[i] = out[l.runs[i].twin]
		}
	}
	return out
}

func (lp *lotPlan) makeTrenches(l *layout, r *profile.Result) {
	c := lp.site.Criteria
	of := lp.trenchOf(l, r)
	n := 0
	for _, t := range of {
		n = max(n, t+1)
	}
	for t := 0; t < n; t++ {
		tr := parcels.Trench{ID: fmt.Sprintf("%sT%d", lp.prefix, t+1), Runs: []string{}}
		var dig, stone, fabric, capV, area float64 // area: of the trench's long section
		least, most := math.Inf(1), 0.0
		known := r != nil
		for i := range l.runs {
			if of[i] != t {
				continue
			}
			pr := &l.runs[i]
			tr.Runs = append(tr.Runs, fmt.Sprintf("%sR%d", lp.prefix, i+1))
			tr.Width = lp.widthOf(l, r, i)
			if !pr.solid() && pr.twin >= 0 {
				continue // its trench is counted with the solid pipe beside it
			}
			tr.Length += pr.length
			w, length := float64(tr.Width), float64(pr.length)
			k := lp.solidPipe[0]
			if !pr.solid() {
				k = lp.perfPipe[0]
			}
			if r != nil {
				k = r.Reaches[i].Pipe
			}
			od := lp.stockOf[k].OutsideDiameter / 1000
			pipes, french := math.Max(1, float64(pr.perforated)), !pr.solid()
			if pr.twin >= 0 {
				pipes, french = 1+float64(l.runs[pr.twin].perforated), true
			}
			capV += float64(c.Trench.Cap) * w * length
			height := float64(c.Trench.Bedding) + od + float64(c.Trench.OverPipe)
			if r == nil {
				stone += (height*w - pipes*math.Pi*od*od/4) * length
				continue
			}
			laid := &r.Reaches[i]
			st := lp.along(l.nodes[pr.from].at, l.nodes[pr.to].at)
			known = known && st.known
			wall := (od - lp.stockOf[k].Diameter/1000) / 2
			bottom := func(s profile.Station) float64 {
				inv := float64(laid.InvertUp) - float64(laid.InvertUp-laid.InvertDown)*float64(s.At)/length
				z := inv - wall
				if pr.twin >= 0 { // dug for the deeper of the two
					o := &r.Reaches[pr.twin]
					k := lp.stockOf[o.Pipe]
					z = math.Min(z, float64(o.InvertUp)-float64(o.InvertUp-o.InvertDown)*float64(s.At)/length-(k.OutsideDiameter-k.Diameter)/2000)
				}
				return z - float64(c.Trench.Bedding)
			}
			for j := range st.stations {
				d := float64(st.stations[j].Ground) - bottom(st.stations[j])
				least, most = math.Min(least, d), math.Max(most, d)
				if j == 0 {
					continue
				}
				e := float64(st.stations[j-1].Ground) - bottom(st.stations[j-1])
				step := float64(st.stations[j].At - st.stations[j-1].At)
				mean := (d + e) / 2
				area += mean * step
				dig += mean * step * w
				h := math.Min(height, mean-float64(c.Trench.Cap))
				if french {
					h = mean - float64(c.Trench.Cap) // stone up to the cap: it takes in what falls on it
				}
				stone += (h*w - pipes*math.Pi*od*od/4) * step
				if c.Trench.Wrap && french {
					fabric += (2*h + 2*w + float64(c.Takeoff.FabricLap)) * step
				}
			}
		}
		tr.Width, tr.Length = mm(tr.Width), mm(tr.Length)
		tr.Stone, tr.Fabric, tr.Cap = round(stone, 3), unit.Area(round(fabric, 3)), round(capV, 3)
		if known && r != nil {
			tr.LeastDepth, tr.GreatestDepth = parcels.Num(mm(unit.Length(least))), parcels.Num(mm(unit.Length(most)))
			tr.MeanDepth = parcels.Num(mm(unit.Length(area / float64(tr.Length))))
			tr.Excavation = parcels.Num(round(dig, 3))
		}
		lp.trenches = append(lp.trenches, tr)
	}
}

// makeProfiles follows the water from each intake and each upper end down.
func (lp *lotPlan) makeProfiles(l *layout, r *profile.Result) {
	for i := range l.nodes {
		n := &l.nodes[i]
		if n.out < 0 || n.water == nil && len(n.in) > 0 {
			continue
		}
		p := parcels.Profile{From: n.id, To: lp.endName(l.end), Runs: []string{}, Rows: []parcels.ProfileRow{}}
		station := unit.Length(0)
		for k := n.out; k >= 0; {
			pr, laid := &l.runs[k], &r.Reaches[k]
			p.Runs = append(p.Runs, fmt.Sprintf("%sR%d", lp.prefix, k+1))
			a, b := l.nodes[pr.from].at, l.nodes[pr.to].at
			st := lp.along(a, b)
			inside := lp.stockOf[laid.Pipe].Diameter / 1000
			for j, s := range st.stations {
				f := float64(s.At / pr.length)
				inv := laid.InvertUp - unit.Elevation(f)*(laid.InvertUp-laid.InvertDown)
				row := parcels.ProfileRow{Station: mm(station + s.At), At: orb.Point{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])}, Invert: mm(inv), Crown: mm(inv + unit.Elevation(inside))}
				if st.known {
					row.Ground = parcels.Num(mm(s.Ground))
					row.Cut = parcels.Num(mm(s.Ground.Above(inv)))
				}
				switch j {
				case 0:
					row.Point = l.nodes[pr.from].id
				case len(st.stations) - 1:
					row.Point = l.nodes[pr.to].id
				}
				p.Rows = append(p.Rows, row)
			}
			station += pr.length
			k = l.nodes[pr.to].out
		}
		lp.profiles = append(lp.profiles, p)
	}
}
