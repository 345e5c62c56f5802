package verify

// The plan, read a second time. Names follow the struct tags of package
// parcels; a number that must be there and is not is a fault of the plan.

import (
	"fmt"
	"math"
)

type node struct {
	id, kind, lot                                string
	at                                           pt
	ground, rim, invert, depth, water, freeboard *float64
	angle, roofArea                              *float64
	in, out                                      []int // runs
}

type run struct {
	id, from, to, lot, trench, carries, pipe, wall, size string
	line                                                 []pt
	positions                                            int
	diameter, outside                                    float64 // m
	count                                                int
	n                                                    float64
	length, fall, slope, up, down                        float64
	area, tc                                             float64
	intensity, flow, fill, velocity, shear               *float64
	capacity                                             float64
	leastCover, greatestDepth, leastClearance            *float64
	tieIn, leadOff, laid                                 bool
	chance, fallSD                                       *float64
	roofCA, yardCA, stated                               float64
	cost                                                 *float64
	easements, overLots                                  []string
	shares                                               map[string]float64

	levels bool // inverts are known; fall, slope and capacity then too

	// worked here
	measured float64 // polyline length in the plane
	width    float64 // trench width it is held to
	a, b     int     // nodes; -1 unknown
}

type trench struct {
	id                               string
	runs                             []string
	width, length                    float64
	least, mean, greatest, excavated *float64
	stone, fabric, cap               float64
}

type row struct {
	station, invert, crown float64
	ground, water, cut     *float64
	point                  string
	at                     *pt
}

type profile struct {
	from, to string
	runs     []string
	rows     []row
}

// trunkPoint is a row of the table of where the sizes grow.
type trunkPoint struct {
	point, run, size                              string
	joins                                         []string
	station, added, flow, ca, tc, diameter, count float64
	grown                                         bool
	spare                                         *float64
}

type trunk struct {
	outlet string
	points []trunkPoint
}

// met is what was come upon in a trench.
type met struct {
	run, kind     string
	station, high float64
	low           *float64
}

type alternative struct{ lot, outlet, kind, verdict, reason string }

type share struct {
	lot, outlet string
	cost, share float64
}

type remedy struct {
	kind, lot, outlet, verdict, message                string
	from, to, gain, short, cost, cut, fill, flow, head *float64
	steps                                              []remedy // of a combined one
	checked                                            bool
	grading                                            []graded
}

// graded is a shot of the ground to be.
type graded struct {
	at    pt
	level float64
}

type found struct {
	code, severity, message, lot, feature, cure string
	notProven                                   bool
	measured, required                          *float64
	unit                                        string
}

type plan struct {
	status string
	frame  struct {
		crs       string
		metres    float64
		scale     *float64
		hasCentre bool
		lon, lat  float64
	}
	summary struct {
		verdict, whyNot, cure, outlet         string
		lots                                  []string
		length, trenchLength                  float64
		fall, leastSlope, flow, greatestDepth *float64
	}
	nodes    []node
	runs     []run
	trenches []trench
	profiles []profile
	trunks   []trunk
	met      []met
	backed   []*backed
	cases    []waterCase
	findings []found
	cautions []string
	faults   []string

	site            string
	alternatives    []alternative
	remedies        []remedy
	shares          []share
	cost, costBound *float64
	restsOn         []string
	assumptions     []string

	nodeAt map[string]int
	runAt  map[string]int
}

type planReader struct {
	p *plan
	s *site
}

func (r *planReader) fault(format string, a ...any) {
	if len(r.p.faults) < 50 {
		r.p.faults = append(r.p.faults, fmt.Sprintf(format, a...))
	}
}

func (r *planReader) num(v val, key, of string) float64 {
	x := v.in(key, "")
	if x.k != number {
		r.fault("%s: %s is %s, a number is wanted", of, key, x.k)
		return math.NaN()
	}
	return x.n
}

func (r *planReader) maybe(v val, key, of string) *float64 {
	x := v.in(key, "")
	switch x.k {
	case null:
		return nil
	case number:
		n := x.n
		return &n
	}
	r.fault("%s: %s is %s, a number or null is wanted", of, key, x.k)
	return nil
}

func (r *planReader) text(v val, key, of string) string {
	x := v.in(key, "")
	if x.k != text && x.k != null {
		r.fault("%s: %s is %s, a text is wanted", of, key, x.k)
	}
	return x.s
}

func (r *planReader) flag(v val, key, of string) bool {
	x := v.in(key, "")
	if x.k != boolean && x.k != null {
		r.fault("%s: %s is %s, true or false is wanted", of, key, x.k)
	}
	return x.k == boolean && x.n == 1
}

func (r *planReader) texts(v val, key, of string) []string {
	var out []string
	x := v.in(key, "")
	if x.k != list && x.k != null {
		r.fault("%s: %s is %s, an array is wanted", of, key, x.k)
	}
	for _, w := range x.a {
		if w.k != text {
			r.fault("%s: %s holds %s, a text is wanted", of, key, w.k)
		}
		out = append(out, w.s)
	}
	return out
}

// head reads what is needed before the plane is known.
func (r *planReader) head(v val) {
	p := r.p
	p.status = r.text(v, "status", "plan")
	f := v.get("frame")
	p.frame.crs = normalCRS(r.text(f, "crs", "frame"))
	if m := r.maybe(f, "metres_per_unit", "frame"); m != nil {
		p.frame.metres = *m
	}
	lon, lat := r.maybe(f, "centre_lon", "frame"), r.maybe(f, "centre_lat", "frame")
	p.frame.scale = r.maybe(f, "scale_factor", "frame")
	if lon != nil && lat != nil {
		p.frame.hasCentre, p.frame.lon, p.frame.lat = true, *lon, *lat
	}
}

func (r *planReader) body(v val) {
	p := r.p
	sm := v.get("summary")
	if sm.k != object {
		r.fault("no summary")
	}
	s := &p.summary
	s.verdict, s.whyNot, s.cure, s.outlet = r.text(sm, "verdict", "summary"), r.text(sm, "why_not", "summary"), r.text(sm, "cure", "summary"), r.text(sm, "outlet", "summary")
	s.lots = r.texts(sm, "lots", "summary")
	s.length, s.trenchLength = r.num(sm, "length_m", "summary"), r.num(sm, "trench_length_m", "summary")
	s.fall, s.leastSlope = r.maybe(sm, "fall_m", "summary"), r.maybe(sm, "least_slope", "summary")
	s.flow, s.greatestDepth = r.maybe(sm, "flow_m3s", "summary"), r.maybe(sm, "greatest_depth_m", "summary")

	p.nodeAt, p.runAt = map[string]int{}, map[string]int{}
	net := v.get("network")
	if fs := net.get("features"); net.k != object || fs.k != list {
		r.fault("network is no FeatureCollection")
	} else {
		if net.get("type").s != "FeatureCollection" {
			r.fault("network is no FeatureCollection")
		}
		if net.get("crs").k != null && layerCRS(net) != r.s.crs {
			r.fault("network is in %q, the site in %q", layerCRS(net), r.s.crs)
		}
		for i, f := range fs.a {
			r.feature(i, f)
		}
	}
	for i, a := range v.get("alternatives").a {
		of := fmt.Sprintf("alternative %d", i)
		p.alternatives = append(p.alternatives, alternative{r.text(a, "lot", of), r.text(a, "outlet", of), r.text(a, "kind", of), r.text(a, "verdict", of), r.text(a, "reason", of)})
		r.maybe(a, "length_m", of)
		r.maybe(a, "cost_index", of)
		r.maybe(a, "short_m", of)
	}
	for i, a := range v.get("shares").a {
		of := fmt.Sprintf("share %d", i)
		p.shares = append(p.shares, share{r.text(a, "lot", of), r.text(a, "outlet", of), r.num(a, "cost_index", of), r.num(a, "share", of)})
	}
	for i, a := range v.get("remedies").a {
		of := fmt.Sprintf("remedy %d", i)
		var steps []remedy
		for k, b := range a.get("steps").a {
			of := fmt.Sprintf("step %d of remedy %d", k, i)
			steps = append(steps, remedy{kind: r.text(b, "remedy", of), outlet: r.text(b, "outlet", of), from: r.maybe(b, "from", of), to: r.maybe(b, "to", of)})
		}
		p.remedies = append(p.remedies, remedy{steps: steps, checked: r.flag(a, "checked", of), kind: r.text(a, "remedy", of), lot: r.text(a, "lot", of), outlet: r.text(a, "outlet", of), verdict: r.text(a, "verdict", of), message: r.text(a, "message", of),
			from: r.maybe(a, "from", of), to: r.maybe(a, "to", of), gain: r.maybe(a, "gain_m", of), short: r.maybe(a, "short_m", of), cost: r.maybe(a, "cost_index", of),
			cut: r.maybe(a, "cut_m3", of), fill: r.maybe(a, "fill_m3", of), flow: r.maybe(a, "flow_m3s", of), head: r.maybe(a, "head_m", of)})
		last := &p.remedies[len(p.remedies)-1]
		for k, g := range a.get("grading").a {
			of := fmt.Sprintf("shot %d of the grading of remedy %d", k, i)
			at, ok := r.s.position(g.get("location"))
			if !ok {
				r.fault("%s: its place is none", of)
			}
			last.grading = append(last.grading, graded{at, r.num(g, "level_m", of)})
		}
	}
	p.cost, p.costBound = r.maybe(sm, "cost_index", "summary"), r.maybe(v.get("bound"), "cost_lower_bound", "bound")
	p.site = r.text(v, "site", "plan")
	for _, k := range []string{"measured", "mapped", "assumed"} {
		p.restsOn = append(p.restsOn, r.texts(v.get("rests_on"), k, "rests_on")...)
	}
	for i := range p.runs {
		u := &p.runs[i]
		u.a, u.b = -1, -1
		if k, ok := p.nodeAt[u.from]; ok {
			u.a = k
			p.nodes[k].out = append(p.nodes[k].out, i)
		}
		if k, ok := p.nodeAt[u.to]; ok {
			u.b = k
			p.nodes[k].in = append(p.nodes[k].in, i)
		}
	}
	for i, t := range v.get("trenches").a {
		of := fmt.Sprintf("trench %d", i)
		p.trenches = append(p.trenches, trench{id: r.text(t, "trench", of), runs: r.texts(t, "runs", of), width: r.num(t, "width_m", of),
			length: r.num(t, "length_m", of), least: r.maybe(t, "least_depth_m", of), mean: r.maybe(t, "mean_depth_m", of),
			greatest: r.maybe(t, "greatest_depth_m", of), excavated: r.maybe(t, "excavation_m3", of),
			stone: r.num(t, "stone_m3", of), fabric: r.num(t, "fabric_m2", of), cap: r.num(t, "cap_m3", of)})
	}
	for i, t := range v.get("profiles").a {
		of := fmt.Sprintf("profile %d", i)
		q := profile{from: r.text(t, "from", of), to: r.text(t, "to", of), runs: r.texts(t, "runs", of)}
		for _, w := range t.get("rows").a {
			var at *pt
			if c := w.get("at"); c.k != null {
				if p, ok := r.s.position(c); ok {
					at = &p
				} else {
					r.fault("%s: a row's place is none", of)
				}
			}
			q.rows = append(q.rows, row{at: at, station: r.num(w, "station_m", of), invert: r.num(w, "invert_m", of), crown: r.num(w, "crown_m", of),
				ground: r.maybe(w, "ground_m", of), water: r.maybe(w, "water_level_m", of), cut: r.maybe(w, "cut_m", of), point: r.text(w, "point", of)})
		}
		p.profiles = append(p.profiles, q)
	}
	if b := r.backed(v.get("storage"), "storage"); b != nil {
		p.backed = append(p.backed, b)
	}
	for i, w := range v.get("more_storage").a {
		of := fmt.Sprintf("more_storage %d", i)
		if b := r.backed(w, of); b != nil && len(p.backed) > i {
			p.backed = append(p.backed, b)
		} else {
			r.fault("%s: nothing, or no storage before it", of)
		}
	}
	r.waterCases(v.get("water_cases"))
	for i, t := range v.get("met").a {
		of := fmt.Sprintf("met %d", i)
		p.met = append(p.met, met{run: r.text(t, "run", of), kind: r.text(t, "kind", of), station: r.num(t, "station_m", of), high: r.num(t, "high_m", of), low: r.maybe(t, "low_m", of)})
	}
	for i, t := range v.get("trunks").a {
		of := fmt.Sprintf("trunk %d", i)
		k := trunk{outlet: r.text(t, "outlet", of)}
		for _, w := range t.get("points").a {
			k.points = append(k.points, trunkPoint{point: r.text(w, "point", of), run: r.text(w, "run", of), size: r.text(w, "size", of), joins: r.texts(w, "joins", of),
				station: r.num(w, "station_m", of), added: r.num(w, "added_m3s", of), flow: r.num(w, "flow_m3s", of), ca: r.num(w, "ca_m2", of), tc: r.num(w, "time_of_concentration_min", of),
				diameter: r.num(w, "diameter_mm", of) / 1000, count: r.num(w, "pipe_count", of), grown: r.flag(w, "grown", of), spare: r.maybe(w, "spare", of)})
		}
		p.trunks = append(p.trunks, k)
	}
	for i, f := range v.get("findings").a {
		of := fmt.Sprintf("finding %d", i)
		if c := f.get("location"); c.k != null {
			if q, ok := r.s.position(c); !ok || math.Hypot(q.x, q.y) > 1e6 {
				r.fault("%s: its place is none", of)
			}
		}
		g := found{code: r.text(f, "code", of), severity: r.text(f, "severity", of), message: r.text(f, "message", of),
			lot: r.text(f, "lot", of), feature: r.text(f, "feature", of), cure: r.text(f, "cure", of), notProven: r.flag(f, "not_proven", of), measured: r.maybe(f, "measured", of), required: r.maybe(f, "required", of), unit: r.text(f, "unit", of)}
		if g.severity != "stop" && g.severity != "warn" && g.severity != "note" {
			r.fault("%s: severity %q", of, g.severity)
		}
		if g.code == "" || g.message == "" {
			r.fault("%s: no code or no message", of)
		}
		if g.lot != "" && g.code != "feature_refused" && r.s.lot(g.lot) == nil { // a refused lot is in no site
			r.fault("%s: lot %q is not in the site", of, g.lot)
		}
		p.findings = append(p.findings, g)
	}
	p.assumptions = r.texts(v, "assumptions", "plan")
	p.cautions = r.texts(v, "cautions", "plan")
}

func (r *planReader) feature(i int, f val) {
	p := r.p
	of := fmt.Sprintf("network feature %d", i)
	g, q := f.get("geometry"), f.get("properties")
	if f.get("type").s != "Feature" {
		r.fault("%s: is no Feature", of)
	}
	if id := f.get("id"); id.k != null && id.str() != q.get("run").s+q.get("point").s {
		r.fault("%s: id %q is not the name of its run or point", of, id.str())
	}
	switch g.get("type").s {
	case "Point":
		at, ok := r.s.position(g.get("coordinates"))
		n := node{id: r.text(q, "point", of), kind: r.text(q, "kind", of), lot: r.text(q, "lot", of), at: at}
		if !ok {
			r.fault("%s: no position", of)
		}
		n.ground, n.rim, n.invert, n.depth = r.maybe(q, "ground_m", of), r.maybe(q, "rim_m", of), r.maybe(q, "invert_m", of), r.maybe(q, "depth_m", of)
		n.water, n.freeboard, n.angle = r.maybe(q, "water_level_m", of), r.maybe(q, "freeboard_m", of), r.maybe(q, "angle_deg", of)
		n.roofArea = r.maybe(q, "roof_area_m2", of)
		if n.id == "" {
			r.fault("%s: a point without an id", of)
		}
		if _, twice := p.nodeAt[n.id]; twice {
			r.fault("%s: point %q twice", of, n.id)
		}
		p.nodeAt[n.id] = len(p.nodes)
		p.nodes = append(p.nodes, n)
	case "LineString":
		l, ok := r.s.line(g.get("coordinates"))
		if !ok || len(l) < 2 {
			r.fault("%s: no line", of)
			return
		}
		u := run{line: l, id: r.text(q, "run", of), from: r.text(q, "from", of), to: r.text(q, "to", of), lot: r.text(q, "lot", of),
			trench: r.text(q, "trench", of), carries: r.text(q, "carries", of), pipe: r.text(q, "pipe", of), wall: r.text(q, "wall", of), size: r.text(q, "size", of)}
		u.diameter, u.outside = r.num(q, "diameter_mm", of)/1000, r.num(q, "outside_diameter_mm", of)/1000
		c := r.num(q, "pipe_count", of)
		if c < 1 || c > 16 || c != math.Trunc(c) {
			r.fault("%s: pipe_count %g", of, c)
			c = 1
		}
		u.count = int(c)
		u.n, u.length = r.num(q, "n", of), r.num(q, "length_m", of)
		u.area, u.tc = r.num(q, "area_m2", of), r.num(q, "time_of_concentration_min", of)
		if u.levels = q.get("invert_up_m").k != null; u.levels {
			u.up, u.down, u.fall, u.slope = r.num(q, "invert_up_m", of), r.num(q, "invert_down_m", of), r.num(q, "fall_m", of), r.num(q, "slope", of)
			u.capacity = r.num(q, "capacity_m3s", of)
		} else {
			for _, k := range []string{"invert_down_m", "fall_m", "slope", "capacity_m3s", "least_cover_m", "greatest_depth_m", "velocity_ms", "fill_ratio", "shear_pa", "chance_under_least_fall", "fall_sd_m"} {
				if q.get(k).k != null {
					r.fault("%s: run %q has %s and no invert_up_m", of, u.id, k)
				}
			}
		}
		u.intensity, u.flow, u.fill = r.maybe(q, "intensity_mmh", of), r.maybe(q, "flow_m3s", of), r.maybe(q, "fill_ratio", of)
		u.velocity, u.shear = r.maybe(q, "velocity_ms", of), r.maybe(q, "shear_pa", of)
		u.leastCover, u.greatestDepth, u.leastClearance = r.maybe(q, "least_cover_m", of), r.maybe(q, "greatest_depth_m", of), r.maybe(q, "least_clearance_m", of)
		u.tieIn, u.leadOff, u.laid = r.flag(q, "tie_in", of), r.flag(q, "lead_off", of), r.flag(q, "laid", of)
		u.chance, u.fallSD = r.maybe(q, "chance_under_least_fall", of), r.maybe(q, "fall_sd_m", of)
		u.cost, u.easements, u.overLots = r.maybe(q, "cost_index", of), r.texts(q, "easements", of), r.texts(q, "over_lots", of)
		if s := q.get("shares"); s.k == object {
			u.shares = map[string]float64{}
			for _, e := range s.ms {
				u.shares[e.key] = r.num(s, e.key, of)
			}
		} else if s.k != null {
			r.fault("%s: shares is %s, an object is wanted", of, s.k)
		}
		u.roofCA, u.yardCA, u.stated = r.num(q, "roof_ca_m2", of), r.num(q, "yard_ca_m2", of), r.num(q, "stated_flow_m3s", of)
		for k := 1; k < len(l); k++ {
			d := math.Hypot(l[k].x-l[k-1].x, l[k].y-l[k-1].y)
			if d == 0 {
				r.fault("%s: run %q repeats a position", of, u.id)
			}
			u.measured += d
		}
		if u.id == "" {
			r.fault("%s: a run without an id", of)
		}
		if _, twice := p.runAt[u.id]; twice {
			r.fault("%s: run %q twice", of, u.id)
		}
		if u.diameter <= 0 || u.outside < u.diameter || u.n <= 0 {
			r.fault("%s: run %q: diameters or roughness not positive", of, u.id)
		}
		p.runAt[u.id] = len(p.runs)
		p.runs = append(p.runs, u)
	default:
		r.fault("%s: geometry %q", of, g.get("type").s)
	}
}
