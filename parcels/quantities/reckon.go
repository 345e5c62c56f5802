package quantities

// The takeoff of a plan.

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/display"
	"fallwright/parcels/siting"
)

const (
	cubicYard  = 0.764554857984 // m3
	squareYard = 0.83612736     // m2
	shortTon   = 0.90718474     // t
	steep      = 0.15           // above it a drop is made with stock bends (P-80)
)

// measure is what a takeoff is counted in.
type measure struct {
	length, volume, area, mass string
	m, m3, m2, t               float64 // one of each in SI
	classes                    []class
	small                      func(unit.Length) string // a dimension of a trench
}

var measures = map[display.Units]measure{
	display.US: {"ft", "cu yd", "sq yd", "short ton", 0.3048, cubicYard, squareYard, shortTon, classes, inches},
	display.SI: {"m", "m³", "m²", "t", 1, 1, 1, 1, metricClasses, func(l unit.Length) string { return fmt.Sprintf("%.0f mm", float64(l)*1000) }},
}

// Reckon gives the takeoff of the plan for its site, whose criteria and paving
// it uses, in the units that a yard sells in the United States. A plan without
// runs has no rows. Where the ground along a run is not known, its digging and
// stone are left out and a row of its own says so.
func Reckon(p *parcels.Plan, s *parcels.Site) []parcels.Quantity { return In(p, s, display.US) }

// Shown is the takeoff in the units that are shown: the plan's own rows where
// they are in them.
func Shown(p *parcels.Plan, s *parcels.Site, u display.Units) []parcels.Quantity {
	if u == display.SI {
		return In(p, s, u)
	}
	return p.Quantities
}

// In is Reckon in US units or SI: metres, cubic metres, tonnes.
func In(p *parcels.Plan, s *parcels.Site, u display.Units) []parcels.Quantity {
	t := takeoff{p: p, s: s, c: &s.Criteria, in: measures[u], rows: []parcels.Quantity{}}
	if len(p.Runs) == 0 {
		return t.rows
	}
	t.fixed()
	t.trenches()
	t.pipes()
	t.fittings()
	return t.rows
}

type takeoff struct {
	p    *parcels.Plan
	s    *parcels.Site
	c    *parcels.Criteria
	in   measure
	rows []parcels.Quantity
}

func (t *takeoff) put(item string, net float64, netUnit string, waste *float64, order float64, orderUnit, basis string, a ...any) {
	t.rows = append(t.rows, parcels.Quantity{Item: item, Net: round(net, 2), NetUnit: netUnit, Waste: waste, Order: order, OrderUnit: orderUnit, Basis: fmt.Sprintf(basis, a...)})
}

func (t *takeoff) each(item string, n int, basis string, a ...any) {
	if n > 0 {
		t.put(item, float64(n), "ea", nil, float64(n), "ea", basis, a...)
	}
}

// fixed are the lines that go with the job rather than with its length.
func (t *takeoff) fixed() {
	t.each("mobilisation", 1, "one for the job")
	t.each("utility locate", 1, "one call to the locating service before digging; private lines apart")
	consents := siting.ConsentsOf(t.s)
	tie, who, crossings := map[string]bool{}, map[string]bool{}, 0
	for i := range t.p.Runs {
		r := &t.p.Runs[i]
		if pt := t.p.Point(r.To); pt != nil && pt.Kind == parcels.PointInlet {
			tie[r.To] = true
		}
		width := unit.Length(0)
		for j := range t.p.Trenches {
			if t.p.Trenches[j].ID == r.Trench {
				width = t.p.Trenches[j].Width
			}
		}
		for _, w := range consents.On(r.Line, width) {
			who[w] = true
		}
	}
	for _, f := range t.p.Findings {
		if f.Code == "utility_crossing" {
			crossings++
		}
	}
	t.each("tie-in permit", len(tie), "one for each structure tied into: %s", names(tie))
	t.each("permission to dig", len(who), "one for each easement or street the trench touches: %s", names(who))
	t.each("utility exposed by hand", crossings, "one for each crossing of a mapped utility (P-87)")
}

func names(m map[string]bool) string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return strings.Join(out, ", ")
}

// twin is the run that shares the trench along the same line and is dug for, or
// -1: a perforated pipe beside a solid one.
func (t *takeoff) twin(i int) int {
	r := &t.p.Runs[i]
	if r.Pipe != "perforated" {
		return -1
	}
	mid := shape.PointAt(r.Line, r.Length/2)
	for k := range t.p.Runs {
		o := &t.p.Runs[k]
		if o.Trench != r.Trench || o.Pipe == "perforated" {
			continue
		}
		if d, _ := shape.PointLine(mid, o.Line); d < 0.5*unit.Foot {
			return k
		}
	}
	return -1
}

func (t *takeoff) trenches() {
	c := t.c
	inTrench := map[int][]int{} // runs laid beside a run
	for i := range t.p.Runs {
		if k := t.twin(i); k >= 0 {
			inTrench[k] = append(inTrench[k], i)
		}
	}
	width := map[string]float64{}
	for _, tr := range t.p.Trenches {
		width[tr.ID] = float64(tr.Width)
	}
	var sum section
	var length, unknown, paved, lawnArea, pavedArea float64
	wrapped := map[string]bool{}
	paving := PavingOf(t.s)
	for i := range t.p.Runs {
		if t.twin(i) >= 0 {
			continue
		}
		r := &t.p.Runs[i]
		w := width[r.Trench]
		od := r.OutsideDiameter / 1000
		b := bed{width: w, wall: (r.OutsideDiameter - r.Diameter) / 2000, height: float64(c.Trench.Bedding) + od + float64(c.Trench.OverPipe)}
		b.pipes = float64(max(r.PipeCount, 1)) * math.Pi / 4 * od * od
		french := r.Pipe == "perforated"
		for _, k := range inTrench[i] {
			o := &t.p.Runs[k]
			french = true
			b.pipes += float64(max(o.PipeCount, 1)) * math.Pi / 4 * o.OutsideDiameter * o.OutsideDiameter / 1e6
		}
		if french {
			b.height = -1 // stone up to the cap: it takes in what falls on it
			b.wrap = c.Trench.Wrap
		}
		got := b.cut(t.p.Rows(r.ID), c, t.in.classes)
		if wrapped[r.Trench] {
			got.ends = 0
		}
		wrapped[r.Trench] = wrapped[r.Trench] || got.ends > 0
		sum.add(got)
		length += float64(r.Length)
		if gap := float64(r.Length) - got.known; gap > 0.01 {
			unknown += gap
		}
		hard := paving.Along(r.Line)
		paved += float64(hard)
		lawnArea += (w + float64(c.Takeoff.SodExtra)) * (float64(r.Length) - float64(hard))
		pavedArea += (w + float64(c.Takeoff.SodExtra)) * float64(hard)
	}
	cy := func(m3 float64) float64 { return m3 / t.in.m3 }
	n := len(t.p.Trenches)
	in := t.in
	ft := func(m float64) float64 { return m / in.m }
	t.put("layout and stakes", ft(length), in.length, nil, math.Ceil(ft(length)-1e-9), in.length, "line of trench, %s, a trench with two pipes counted once", plural(n, "trench", "trenches"))
	for k, cl := range in.classes {
		if sum.length[k] > 0.0005 {
			t.put(cl.name, ft(sum.length[k]), in.length, nil, math.Ceil(ft(sum.length[k])-1e-9), in.length, "ground to %s under the pipe, station by station; %.2f %s in the bank by average end area (P-145)", in.small(c.Trench.Bedding), cy(sum.bank[k]), in.volume)
		}
	}
	if unknown > 0.01 {
		t.put("trench, depth not known", ft(unknown), in.length, nil, math.Ceil(ft(unknown)-1e-9), in.length, "the ground along it is not known: its digging, stone and haul are not in the rows below; shoot it")
	}
	if dug := sum.dug(); dug > 0 {
		fill := math.Max(dug-sum.stone-sum.pipe-sum.cap, 0)
		away := dug - fill
		loose := away * c.Takeoff.Swell
		t.put("excavation, in the bank", cy(dug), in.volume, nil, up(cy(dug), 0.5), in.volume, "the classes above together, trench width %s; crossing ends not taken off", t.widths())
		t.put("backfill with dug soil", cy(fill), in.volume, nil, up(cy(fill), 0.5), in.volume, "excavation %.2f less stone %.2f, pipe %.2f and cap %.2f %s, in place", cy(dug), cy(sum.stone), cy(sum.pipe), cy(sum.cap), in.volume)
		t.put("haul off, loose", cy(loose), in.volume, nil, up(cy(loose), 0.5), in.volume, "%.2f %s in the bank not put back, times %.2f for swell (P-144)", cy(away), in.volume, c.Takeoff.Swell)
		loads := math.Ceil(loose/c.Takeoff.Load - 1e-9)
		t.put("truckload", loose/c.Takeoff.Load, "load", nil, loads, "load", "loose haul over %.1f %s a truck (P-152)", cy(c.Takeoff.Load), in.volume)
		ws := c.Takeoff.Waste.Stone
		tons := sum.stone * c.Takeoff.StoneDensity / in.t
		t.put("stone, washed open-graded", cy(sum.stone), in.volume, &ws, up(tons*(1+ws), 0.5), in.mass, "stone round the pipes net of their outside volume (%.2f %s), %.2f %s a %s, plus %.0f %% (P-146)", cy(sum.pipe), in.volume, c.Takeoff.StoneDensity*in.m3/in.t, in.mass, in.volume, 100*ws)
		if sum.fabric > 0 {
			wf := c.Takeoff.Waste.Fabric
			area := (sum.fabric + sum.ends) / in.m2
			t.put("filter fabric", area, in.area, &wf, math.Ceil(area*(1+wf)-1e-9), in.area, "round the stone of the perforated trench: 2 heights, 2 widths and a lap of %s along it, end laps of the same, plus %.0f %% (P-147)", in.small(c.Takeoff.FabricLap), 100*wf)
		}
		topsoil := sum.cap * c.Takeoff.Swell
		if length > 0 {
			topsoil *= 1 - paved/length
		}
		t.put("topsoil, loose", cy(topsoil), in.volume, nil, up(cy(topsoil), 0.5), in.volume, "cap of %s over the trench in lawn, times %.2f for settling (P-122)", in.small(c.Trench.Cap), c.Takeoff.Swell)
	}
	if lawnArea > 0 {
		t.put("sod, lifted and relaid or new", lawnArea/in.m2, in.area, nil, math.Ceil(lawnArea/in.m2-1e-9), in.area, "trench width plus %s of damage, over the length not in paving (P-150); wheel tracks not counted", in.small(c.Takeoff.SodExtra))
	}
	if paved > 0.005 {
		t.put("paving restored", pavedArea/in.m2, in.area, nil, math.Ceil(pavedArea/in.m2-1e-9), in.area, "%.1f %s of trench under drawn paving, trench width plus %s", ft(paved), in.length, in.small(c.Takeoff.SodExtra))
	}
}

// Paving is the paving drawn on a site, gathered once for all runs of a plan.
type Paving []paved

type paved struct {
	box  orb.Bound
	area orb.MultiPolygon     // of paving drawn as an area
	on   func(orb.Point) bool // of paving given as a line or a point
}

// PavingOf gathers the paving of a site.
func PavingOf(s *parcels.Site) Paving {
	var out Paving
	for i := range s.Obstacles {
		o := &s.Obstacles[i]
		if o.Kind != "paving" {
			continue
		}
		switch g := o.Geometry.(type) {
		case orb.Polygon:
			out = append(out, paved{box: g.Bound(), area: orb.MultiPolygon{g}})
		case orb.MultiPolygon:
			out = append(out, paved{box: g.Bound(), area: g})
		case orb.LineString:
			if o.Width != nil {
				half := *o.Width / 2
				out = append(out, paved{box: g.Bound().Pad(float64(half)), on: func(p orb.Point) bool { d, _ := shape.PointLine(p, g); return d <= half }})
			}
		case orb.Point:
			if o.Radius != nil {
				r := float64(*o.Radius)
				out = append(out, paved{box: g.Bound().Pad(r), on: func(p orb.Point) bool { return math.Hypot(p[0]-g[0], p[1]-g[1]) <= r }})
			}
		}
	}
	return out
}

// Along is the length of a line that lies in the paving. Paving given as a line or
// a point is taken in steps of a tenth of a metre.
func (ps Paving) Along(line orb.LineString) unit.Length {
	total := unit.Length(0)
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		length := math.Hypot(b[0]-a[0], b[1]-a[1])
		if length == 0 {
			continue
		}
		at := []float64{0, 1}
		var here Paving
		steps := false
		box := orb.LineString{a, b}.Bound()
		for _, p := range ps {
			if !p.box.Intersects(box) {
				continue
			}
			here, steps = append(here, p), steps || p.on != nil
			for _, poly := range p.area {
				for _, ring := range poly {
					for m := 1; m < len(ring); m++ {
						if meet, x := shape.Cross(a, b, ring[m-1], ring[m]); meet != shape.Apart {
							at = append(at, math.Hypot(x[0]-a[0], x[1]-a[1])/length)
						}
					}
				}
			}
		}
		if steps {
			for d := 0.1; d < length; d += 0.1 {
				at = append(at, d/length)
			}
		}
		sort.Float64s(at)
		for k := 1; k < len(at); k++ {
			m := (at[k-1] + at[k]) / 2
			p := orb.Point{a[0] + m*(b[0]-a[0]), a[1] + m*(b[1]-a[1])}
			on := slices.ContainsFunc(here, func(h paved) bool {
				return h.on != nil && h.on(p) || h.on == nil && shape.Locate(p, h.area) != shape.Outside
			})
			if on {
				total += unit.Length((at[k] - at[k-1]) * length)
			}
		}
	}
	return total
}

// pipes by what is bought.
func (t *takeoff) pipes() {
	type kind struct{ size, pipe, wall string }
	length, pieces := map[kind]float64{}, map[kind]int{}
	var order []kind
	for i := range t.p.Runs {
		r := &t.p.Runs[i]
		k := kind{r.Size, r.Pipe, r.Wall}
		if _, ok := length[k]; !ok {
			order = append(order, k)
		}
		l := float64(r.Length)
		if r.Fall != nil {
			l = math.Hypot(l, float64(*r.Fall)) // a drop is longer than its plan length
		}
		length[k] += l * float64(max(r.PipeCount, 1))
		pieces[k] += max(r.PipeCount, 1)
	}
	waste := t.c.Takeoff.Waste.Pipe
	joints := 0.0
	for _, k := range order {
		item := fmt.Sprintf("%s pipe, %s, %s wall", k.pipe, k.size, k.wall)
		ft := length[k] / t.in.m
		var stock *parcels.StockPipe
		for i := range t.c.Pipe.Stock {
			if p := &t.c.Pipe.Stock[i]; p.Size == k.size && p.Pipe == k.pipe && p.Wall == k.wall {
				stock = p
			}
		}
		switch {
		case stock != nil && stock.Stick != nil:
			n := math.Ceil(length[k]*(1+waste)/float64(*stock.Stick) - 1e-9)
			joints += math.Max(n-float64(pieces[k]), 0)
			t.put(item, ft, t.in.length, &waste, n, "stick", "laid length along the slope of %s, plus %.0f %% for cuts, in sticks of %s (P-148)", plural(pieces[k], "run", "runs"), 100*waste, t.whole(*stock.Stick))
		case stock != nil && stock.Coil != nil:
			n := math.Ceil(length[k]*(1+waste)/float64(*stock.Coil) - 1e-9)
			joints += math.Max(n-1, 0)
			t.put(item, ft, t.in.length, &waste, n, "coil", "laid length along the slope of %s, plus %.0f %% for cuts, in coils of %s (P-148)", plural(pieces[k], "run", "runs"), 100*waste, t.whole(*stock.Coil))
		default:
			t.put(item, ft, t.in.length, &waste, math.Ceil(ft*(1+waste)-1e-9), t.in.length, "laid length along the slope, plus %.0f %%; the stock names no stick or coil", 100*waste)
		}
	}
	ends := 0
	for i := range t.p.Runs {
		ends += 2 * max(t.p.Runs[i].PipeCount, 1)
	}
	n := joints + float64(ends)
	t.put("joint made and sealed", n, "ea", nil, n, "ea", "both ends of %s and %.0f joints between sticks or coils; cement, primer or tape by the maker's rate", plural(len(t.p.Runs), "run", "runs"), joints)
}

// fittings by kind, angle and size, as the plan's points list them, and the
// bends that a steep drop is made of.
func (t *takeoff) fittings() {
	count := map[string]int{}
	size := func(id string) string {
		in := ""
		for i := range t.p.Runs {
			if t.p.Runs[i].From == id {
				return t.p.Runs[i].Size
			}
			if t.p.Runs[i].To == id {
				in = t.p.Runs[i].Size
			}
		}
		return in
	}
	for i := range t.p.Points {
		pt := &t.p.Points[i]
		for _, f := range pt.Fittings {
			switch {
			case strings.Contains(f, "reducer"), strings.Contains(f, "basin"):
				count[f]++
			default:
				count[f+", "+size(pt.ID)]++
			}
		}
	}
	drops := map[string]int{}
	for i := range t.p.Runs {
		r := &t.p.Runs[i]
		if r.Slope == nil || float64(*r.Slope) <= steep {
			continue
		}
		kind := "bend 22.5"
		if math.Atan(float64(*r.Slope)) > math.Pi/180*33.75 {
			kind = "bend 45"
		}
		drops[kind+", "+r.Size] += 2 * max(r.PipeCount, 1)
	}
	all := map[string]bool{}
	for k := range count {
		all[k] = true
	}
	for k := range drops {
		all[k] = true
	}
	var keys []string
	for k := range all {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		basis := fmt.Sprintf("%d at points of the plan", count[k])
		if drops[k] > 0 {
			basis += fmt.Sprintf(", %d to make steep drops, two a drop (P-80, P-149)", drops[k])
		}
		t.each(k, count[k]+drops[k], "%s", basis)
	}
}

func (t *takeoff) widths() string {
	seen := map[string]bool{}
	for _, x := range t.p.Trenches {
		seen[t.in.small(x.Width)] = true
	}
	return names(seen)
}

// whole is the length of a stick or a coil.
func (t *takeoff) whole(l unit.Length) string {
	if t.in.m == 1 {
		return fmt.Sprintf("%.2f m", float64(l))
	}
	return fmt.Sprintf("%.0f ft", l.Feet())
}

func inches(l unit.Length) string { return fmt.Sprintf("%.1f in", float64(l/unit.Inch)) }

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// up rounds up to a step; what lies within a billionth of it counts as on it.
func up(v, step float64) float64 { return math.Ceil(v/step-1e-9) * step }

func round(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}
