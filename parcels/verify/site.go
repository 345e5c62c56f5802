package verify

// The site document, read a second time: only what a plan is judged by.

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
)

const (
	foot       = 0.3048
	inch       = 0.0254
	squareFoot = foot * foot
)

// thing is what a trench keeps away from: areas, lines with half a width, a
// point with a radius. It reaches from its geometry outward by grow.
type thing struct {
	id       string
	kind     string
	rule     string // allowed, permission, forbidden; of an obstacle free, costly, forbidden
	polys    []poly
	lines    [][]pt
	points   []pt
	grow     limit
	keep     float64  // what the trench edge keeps from it on top
	footing  *float64 // of a building: how deep its footing's lower edge lies, m
	inexact  bool     // geometry worked in float64
	box      box
	areaLike bool // false: a centre line with no width, no area to be in
}

type lot struct {
	id        string
	pieces    []poly
	clearance *float64
	roles     []string  // of the outer ring of the first piece
	sds       []float64 // how sure its edges are, m: one an edge, or the least of all
	box       box
}

type inlet struct {
	id, system   string
	own          string // its name by itself; see distinct
	stated       bool   // own is stated, and no number of the feature
	at           pt
	rim, invert  *float64
	tieIn        *float64
	outgoing     *float64 // diameter, m
	outlet       bool     // of layer outlets
	kind         string
	level        *float64
	flowLimit    *float64
	surchargesAt *float64
	// level over the storm, [minute, level]; byYears where it is told by return period
	over    [][2]float64
	byYears []yearly
}

// opening is a lowest opening of a house.
type opening struct {
	at    pt
	level *float64
}

type intake struct {
	id, lot, kind      string
	own                string // as of an inlet
	stated             bool
	at                 pt
	roofArea, yardArea float64
	roofGiven          bool // roof_area is in the document
	areaGiven          bool
	roofC, yardC       *float64
	tc, flow           *float64
	rim, invert        *float64
	startCover         *float64
	grate              [2]*float64 // length, width
}

type shot struct {
	pt
	z float64
}

type edge struct{ a, b pt }

func (e edge) left() float64 { return min(e.a.x, e.b.x) }

func (e edge) length() float64 { return math.Hypot(e.b.x-e.a.x, e.b.y-e.a.y) }

type rain struct {
	intensity float64
	table     []rainRow // by return period, then duration
	curve     *[3]float64
}

type rainRow struct{ minutes, years, mmh float64 }

type site struct {
	name       string
	crs        string
	plane      *plane
	middle     [2]float64 // of the parcels' bounds, in the document's numbers
	supplied   map[string]bool
	lots       []lot
	buildings  []thing
	roofs      []roof
	easements  []thing
	streets    []thing
	obstacles  []thing
	inlets     []inlet
	intakes    []intake
	swales     []thing
	beds       []bed // of all swales whose levels are known
	perforated []thing
	perfWidth  *float64 // least width_m among the perforated runs asked for
	perfCount  float64  // most pipes side by side among them
	shots      []shot
	breaks     []edge
	ground     *surface // of shots and breaks, once read
	rain       *rain
	openings   []opening
	terrain    bool
	districts  []district
	faults     []fault
	// middleGround is the median of the heights; NaN where none is known.
	middleGround float64
	// doc and par wait for the plane, which the plan states; see read.
	doc   val
	par   []feature
	parts parts // of the document
}

// fault is a feature that can't be read here.
type fault struct {
	layer, id string
	index     int
	what      string
}

func (s *site) lot(id string) *lot {
	for i := range s.lots {
		if s.lots[i].id == id {
			return &s.lots[i]
		}
	}
	return nil
}

// props reads quantities of a feature's properties.
type props struct {
	v     val
	err   error
	shift float64 // of the layer's elevations to the site's datum
}

func (p *props) fail(format string, a ...any) {
	if p.err == nil {
		p.err = fmt.Errorf(format, a...)
	}
}

// inUnit is how the name of a quantity ends where it is in a unit, and what that is
// in SI.
type inUnit struct {
	ending string
	si     float64
}

var (
	plainly    = []inUnit{{"", 1}}
	lengths    = []inUnit{{"_m", 1}, {"_ft", foot}, {"_in", inch}, {"_mm", 0.001}}
	elevations = []inUnit{{"_m", 1}, {"_ft", foot}}
	areas      = []inUnit{{"_m2", 1}, {"_ft2", squareFoot}}
	flows      = []inUnit{{"_m3s", 1}, {"_cfs", foot * foot * foot}, {"_gpm", 0.003785411784 / 60}}
	depths     = []inUnit{{"_mm", 1}, {"_in", 25.4}} // of rain, in mm
	rates      = []inUnit{{"_mmh", 1}, {"_inh", 25.4}}
)

// quantity finds a quantity in one of several units.
func (p *props) quantity(name string, units []inUnit) *float64 {
	var out *float64
	for _, u := range units {
		v := p.v.in(name, u.ending)
		if v.k == null {
			continue
		}
		n := v.n
		if v.k == text {
			// exports write numbers as text
			t := strings.TrimSpace(v.s)
			if t == "" {
				continue
			}
			var err error
			n, err = strconv.ParseFloat(t, 64)
			if err != nil || math.IsNaN(n) || math.IsInf(n, 0) {
				p.fail("%s%s is %q, a number is wanted", name, u.ending, v.s)
				return nil
			}
		} else if v.k != number {
			p.fail("%s%s is %s, a number is wanted", name, u.ending, v.k)
			return nil
		}
		if out != nil {
			p.fail("%s%s gives a quantity that is given already in another unit", name, u.ending)
			return nil
		}
		f := n * u.si
		if u.si == foot || u.si == inch {
			f = tidy(f)
		}
		out = &f
	}
	return out
}

// tidy takes the noise of one product off, so that 2 ft is the decimal 0.6096.
func tidy(f float64) float64 {
	g, err := strconv.ParseFloat(strconv.FormatFloat(f, 'g', 15, 64), 64)
	if err != nil {
		return f
	}
	return g
}

func (p *props) length(name string) *float64 {
	return p.quantity(name, lengths)
}

func (p *props) size(name string) *float64 { return p.length(name) }

func (p *props) area(name string) *float64 {
	return p.quantity(name, areas)
}

func (p *props) bare(name string) *float64 {
	return p.quantity(name, plainly)
}

// elevation reads a level; a placeholder that can't be meant is missing.
func (p *props) elevation(name string, ground float64) *float64 {
	e := p.quantity(name, elevations)
	if e == nil || placeholder(*e, *e+p.shift, ground) {
		return nil
	}
	v := *e + p.shift
	return &v
}

// placeholder says whether an elevation is a stand-in for a missing one: one of
// the customary numbers, in metres or feet, more than 20 m from the middle of
// the site's heights.
func placeholder(raw, e, middle float64) bool {
	if !math.IsNaN(middle) && math.Abs(e-middle) <= 20 {
		return false
	}
	for _, n := range []float64{raw, raw / foot} {
		switch a := math.Round(math.Abs(n)*1e6) / 1e6; a {
		case 0, 888, 8888, 999, 9999, 99999, 999999, 999.9, 9999.9, 999.99, 9999.99, 99999.99, 99999.9, 999999.99:
			return true
		}
	}
	return false
}

type feature struct {
	layer string
	index int
	id    string
	props props
	geom  val
}

func (f *feature) name(key string) string {
	if s := f.props.v.get(key).str(); s != "" {
		return s
	}
	if f.id != "" {
		return f.id
	}
	return "#" + strconv.Itoa(f.index)
}

// stated says whether a feature says its own name.
func (f *feature) stated(key string) bool { return f.props.v.get(key).str() != "" }

// distinct gives the points their names. Layers number their features alike: of an
// outlet that bears the number of an inlet, and an intake that of either, the name has
// the noun in front, unless it was stated.
func (s *site) distinct() {
	borne := map[string]bool{}
	take := func(own, noun string, stated bool) string {
		if borne[own] && !stated {
			return noun + " " + own
		}
		return own
	}
	for _, outlets := range []bool{false, true} {
		for i := range s.inlets {
			if n := &s.inlets[i]; n.outlet == outlets {
				n.id = n.own
				if outlets {
					n.id = take(n.own, "outlet", n.stated)
				}
			}
		}
		for i := range s.inlets {
			if s.inlets[i].outlet == outlets {
				borne[s.inlets[i].id] = true
			}
		}
	}
	for i := range s.intakes {
		s.intakes[i].id = take(s.intakes[i].own, "intake", s.intakes[i].stated)
	}
}

// readSite reads a site document; what it has in common with those read before is
// taken from them.
func readSite(b []byte, before ...*site) (*site, error) {
	r := &reader{parts: parts{}}
	for _, s := range before {
		r.before = append(r.before, s.parts)
	}
	doc, err := r.document(b)
	if err != nil {
		return nil, fmt.Errorf("verify: site document: %w", err)
	}
	if doc.get("layers").k == null && doc.get("features").k == list {
		// a bare collection of parcels
		crs := val{}
		if c := doc.get("crs"); c.k == text {
			crs = c
		}
		doc = val{k: object, ms: []member{{"crs", crs}, {"layers", val{k: object, ms: []member{{"parcels", doc}}}}}}
	}
	if doc.k != object {
		return nil, fmt.Errorf("verify: site document: %s where an object is wanted", doc.k)
	}
	s := &site{name: doc.get("site").str(), crs: normalCRS(doc.get("crs").str()), supplied: map[string]bool{}, parts: r.parts}
	layers := doc.get("layers")
	for _, m := range layers.ms {
		s.supplied[m.key] = m.v.k != null
	}
	if p := layers.get("parcels"); s.crs == "" && p.get("crs").k != null {
		s.crs = layerCRS(p)
	}
	par, err := s.features(layers, "parcels")
	if err != nil {
		return nil, err
	}
	if len(par) == 0 {
		return nil, fmt.Errorf("verify: site document: no parcels")
	}
	b0 := [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, f := range par {
		bounds(f.geom.get("coordinates"), &b0)
	}
	if math.IsInf(b0[0], 0) {
		return nil, fmt.Errorf("verify: site document: parcels without coordinates")
	}
	s.middle = [2]float64{(b0[0] + b0[2]) / 2, (b0[1] + b0[3]) / 2}
	s.doc, s.par = doc, par
	return s, nil
}

func bounds(v val, b *[4]float64) {
	if v.k != list {
		return
	}
	if len(v.a) >= 2 && v.a[0].k == number && v.a[1].k == number {
		b[0], b[1] = min(b[0], v.a[0].n), min(b[1], v.a[1].n)
		b[2], b[3] = max(b[2], v.a[0].n), max(b[3], v.a[1].n)
		return
	}
	for _, w := range v.a {
		bounds(w, b)
	}
}

// normalCRS turns the names of systems in longitude, latitude into "", and the ways
// to name another EPSG code into one.
func normalCRS(c string) string {
	u := strings.ToUpper(strings.TrimSpace(c))
	if i := strings.LastIndexAny(u, ":/#"); i >= 0 {
		u = u[i+1:]
	}
	if u == "" || u == "CRS84" || u == "CRS84H" || geographicCode(u) {
		return ""
	}
	return "EPSG:" + u
}

func layerCRS(layer val) string {
	c := layer.get("crs")
	if n := c.get("properties").get("name"); n.k == text {
		return normalCRS(n.s)
	}
	return normalCRS(c.str())
}

func (s *site) features(layers val, layer string) ([]feature, error) {
	v := layers.get(layer)
	if v.k == null {
		return nil, nil
	}
	fs := v.get("features")
	if v.k != object || fs.k != list {
		return nil, fmt.Errorf("verify: site document: layers.%s is no FeatureCollection", layer)
	}
	if v.get("crs").k != null && layerCRS(v) != s.crs {
		return nil, fmt.Errorf("verify: site document: layers.%s is in %q, the document in %q: the verifier takes one system only", layer, layerCRS(v), s.crs)
	}
	shift := 0.0
	beside := props{v: v}
	if by := beside.quantity("vertical_shift", elevations); by != nil {
		shift = *by
	}
	if beside.err != nil {
		return nil, fmt.Errorf("verify: site document: layers.%s: %w", layer, beside.err)
	}
	out := make([]feature, 0, len(fs.a))
	for i, f := range fs.a {
		g := f.get("geometry")
		if f.k != object || g.k != object {
			s.faults = append(s.faults, fault{layer, f.get("id").str(), i, "no geometry"})
			continue
		}
		out = append(out, feature{layer: layer, index: i, id: f.get("id").str(), props: props{v: f.get("properties"), shift: shift}, geom: g})
	}
	return out, nil
}

func (s *site) position(v val) (pt, bool) {
	if v.k != list || len(v.a) < 2 || v.a[0].k != number || v.a[1].k != number {
		return pt{}, false
	}
	p := s.plane.point(v.a[0].n, v.a[1].n)
	if math.IsNaN(p.x) || math.IsNaN(p.y) || math.Abs(p.x) > 1e8 || math.Abs(p.y) > 1e8 {
		return pt{}, false
	}
	return p, true
}

func (s *site) line(v val) ([]pt, bool) {
	if v.k != list || len(v.a) == 0 {
		return nil, false
	}
	out := make([]pt, 0, len(v.a))
	for _, w := range v.a {
		p, ok := s.position(w)
		if !ok {
			return nil, false
		}
		out = append(out, p)
	}
	return out, true
}

func (s *site) polygon(v val) (poly, bool) {
	g := poly{box: emptyBox()}
	if v.k != list || len(v.a) == 0 {
		return g, false
	}
	for _, r := range v.a {
		ps, ok := s.line(r)
		if !ok || len(ps) < 4 {
			return g, false
		}
		f, l := r.a[0], r.a[len(r.a)-1]
		if f.a[0].n != l.a[0].n || f.a[1].n != l.a[1].n {
			return g, false
		}
		ps = ps[:len(ps)-1]
		for _, p := range ps {
			g.box.add(p)
		}
		g.rings = append(g.rings, ps)
	}
	return g, true
}

// shape reads any geometry into the parts of a thing.
func (s *site) shape(g val, t *thing) bool {
	c := g.get("coordinates")
	ok := true
	switch g.get("type").s {
	case "Point":
		p, k := s.position(c)
		ok = k
		t.points = append(t.points, p)
	case "MultiPoint":
		ps, k := s.line(c)
		ok = k
		t.points = append(t.points, ps...)
	case "LineString":
		l, k := s.line(c)
		ok = k && len(l) > 1
		t.lines = append(t.lines, l)
	case "MultiLineString":
		ok = c.k == list
		for _, w := range c.a {
			l, k := s.line(w)
			ok = ok && k && len(l) > 1
			t.lines = append(t.lines, l)
		}
	case "Polygon":
		p, k := s.polygon(c)
		ok = k
		t.polys = append(t.polys, p)
	case "MultiPolygon":
		ok = c.k == list && len(c.a) > 0
		for _, w := range c.a {
			p, k := s.polygon(w)
			ok = ok && k
			t.polys = append(t.polys, p)
		}
	default:
		return false
	}
	t.box = emptyBox()
	for _, p := range t.polys {
		t.box.join(p.box)
	}
	for _, l := range t.lines {
		for _, p := range l {
			t.box.add(p)
		}
	}
	for _, p := range t.points {
		t.box.add(p)
	}
	return ok
}

func (s *site) fault(f feature, what string) {
	s.faults = append(s.faults, fault{f.layer, f.id, f.index, what})
}

// stormInlets are those of the layer inlets, which stand before the outlets.
func (s *site) stormInlets() []inlet {
	n := slices.IndexFunc(s.inlets, func(n inlet) bool { return n.outlet })
	if n < 0 {
		n = len(s.inlets)
	}
	return s.inlets[:n]
}

// read takes the layers into the plane, which must be set. Layers that one of
// before has read of the same text for the same plane are taken from it.
func (s *site) read(before ...*site) error {
	doc, layers := s.doc, s.doc.get("layers")
	zunit := 1.0
	switch u := strings.ToLower(doc.get("elevation_unit").str()); u {
	case "", "m":
	case "ft":
		zunit = foot
	case "us_ft":
		zunit = 1200.0 / 3937
	default:
		return fmt.Errorf("verify: site document: elevation unit %q", u)
	}
	if s.supplied["terrain"] || doc.get("terrain").k != null {
		s.terrain = true
	}
	before = slices.DeleteFunc(slices.Clone(before), func(o *site) bool {
		return *o.plane != *s.plane || o.crs != s.crs || o.doc.get("elevation_unit").str() != doc.get("elevation_unit").str() || len(o.faults) > 0
	})
	// like is the first of before that has these layers of the same text
	like := func(names ...string) *site {
		for _, o := range before {
			if !slices.ContainsFunc(names, func(n string) bool { return !layers.get(n).is(o.doc.get("layers").get(n)) }) {
				return o
			}
		}
		return nil
	}
	if o := like("parcels"); o != nil {
		s.lots = o.lots
	} else {
		s.readLots(s.par)
	}
	if o := like("spots", "contours", "breaklines", "swales"); o != nil {
		s.shots, s.breaks, s.beds, s.middleGround = o.shots, o.breaks, o.beds, o.middleGround
	} else if err := s.readGround(layers, zunit); err != nil {
		return err
	}
	mid := s.middleGround
	before = slices.DeleteFunc(before, func(o *site) bool { return math.Float64bits(o.middleGround) != math.Float64bits(mid) })
	each := func(layer string, from func(o *site), do func(f *feature)) error {
		if o := like(layer, "parcels"); o != nil { // on which an intake's lot may stand
			from(o)
			return nil
		}
		fs, err := s.features(layers, layer)
		for i := range fs {
			do(&fs[i])
			if e := fs[i].props.err; e != nil {
				s.fault(fs[i], e.Error())
			}
		}
		return err
	}
	var first error
	keep := func(err error) {
		if first == nil {
			first = err
		}
	}
	keep(each("buildings", func(o *site) { s.buildings, s.roofs = o.buildings, o.roofs }, func(f *feature) { s.readBuilding(f) }))
	keep(each("easements", func(o *site) { s.easements = o.easements }, func(f *feature) {
		k := f.props.v.get("kind").str()
		def := "forbidden"
		if k == "drainage" || k == "utility" {
			def = "permission"
		}
		s.easements = append(s.easements, s.ruled(f, "easement", def, k))
	}))
	keep(each("streets", func(o *site) { s.streets = o.streets }, func(f *feature) { s.streets = append(s.streets, s.ruled(f, "street", "unsaid", "street")) }))
	keep(each("obstacles", func(o *site) { s.obstacles = slices.Clone(o.obstacles) }, func(f *feature) { s.readObstacle(f) }))
	keep(each("inlets", func(o *site) { s.inlets = slices.Clone(o.stormInlets()) }, func(f *feature) { s.readInlet(f, mid) }))
	keep(each("outlets", func(o *site) { s.inlets = append(s.inlets, o.inlets[len(o.stormInlets()):]...) }, func(f *feature) {
		var t thing
		if !s.shape(f.geom, &t) || len(t.points) != 1 {
			s.fault(*f, "no point")
			return
		}
		s.inlets = append(s.inlets, inlet{own: f.name("outlet"), stated: f.stated("outlet"), outlet: true, system: "storm", at: t.points[0],
			kind: f.props.v.get("kind").str(), level: f.props.elevation("level", mid)})
	}))
	keep(each("openings", func(o *site) { s.openings = o.openings }, func(f *feature) {
		var t thing
		if s.shape(f.geom, &t) && len(t.points) == 1 {
			s.openings = append(s.openings, opening{t.points[0], f.props.elevation("level", mid)})
		}
	}))
	keep(each("swales", func(o *site) { s.swales = o.swales }, func(f *feature) {
		if f.props.v.get("may_discharge").n != 1 {
			return
		}
		t := thing{id: f.name("swale")}
		if !s.shape(f.geom, &t) {
			s.fault(*f, "no line")
			return
		}
		s.swales = append(s.swales, t)
	}))
	keep(each("intakes", func(o *site) { s.intakes = slices.Clone(o.intakes) }, func(f *feature) { s.readIntake(f, mid) }))
	keep(each("perforated_runs", func(o *site) {
		s.perforated, s.perfWidth, s.perfCount = o.perforated, o.perfWidth, o.perfCount
	}, func(f *feature) {
		t := thing{id: f.name("perforated_run")}
		if !s.shape(f.geom, &t) {
			s.fault(*f, "no line")
			return
		}
		if w := f.props.length("width"); w != nil && (s.perfWidth == nil || *w < *s.perfWidth) {
			s.perfWidth = w
		}
		s.perfCount = max(s.perfCount, 1)
		if n := f.props.bare("pipe_count"); n != nil {
			s.perfCount = max(s.perfCount, *n)
		}
		s.perforated = append(s.perforated, t)
	}))
	keep(each("districts", func(o *site) { s.districts = o.districts }, func(f *feature) { s.readDistrict(f) }))
	if first != nil {
		return first
	}
	s.distinct()
	return s.readRain(doc.get("rainfall"))
}

func (s *site) readLots(par []feature) {
	for _, f := range par {
		var t thing
		if !s.shape(f.geom, &t) || len(t.polys) == 0 {
			s.fault(f, "no polygon")
			continue
		}
		l := lot{id: f.name("lot"), pieces: t.polys, box: t.box, clearance: f.props.length("clearance")}
		if r := f.props.v.get("line_roles"); r.k == list {
			for _, v := range r.a {
				l.roles = append(l.roles, v.str())
			}
		} else if r.k == text {
			l.roles = []string{r.s}
		}
		l.readSDs(f.props.v.get("line_sd_m"), f.props.v.get("line_source"))
		if f.props.err != nil {
			s.fault(f, f.props.err.Error())
		}
		s.lots = append(s.lots, l)
	}
}

// readSDs takes the standard deviation of each edge of the outer ring as it is
// told, or by its source: 0.02 m of survey and pins, 1.5 m of a map and where
// nothing is said. Where edges were drawn double it takes the least of all.
func (l *lot) readSDs(stated, source val) {
	take := func(v val) {
		switch {
		case v.k == number:
			l.sds = append(l.sds, v.n)
		case v.k == text && (v.s == "survey" || v.s == "pins"):
			l.sds = append(l.sds, 0.02)
		default:
			l.sds = append(l.sds, 1.5)
		}
	}
	v := stated
	if v.k == null {
		v = source
	}
	if v.k == list {
		for _, x := range v.a {
			take(x)
		}
	} else {
		take(v)
	}
	if len(l.sds) > 0 && len(l.sds) != len(l.pieces[0].rings[0]) {
		l.sds = []float64{slices.Min(l.sds)}
	}
}

// defaultOverhang is the contract's, for an outline of the roof.
const defaultOverhang = 0.45

func (s *site) readBuilding(f *feature) {
	t := thing{id: f.name("building"), kind: "building", areaLike: true}
	if !s.shape(f.geom, &t) || len(t.polys) == 0 {
		s.fault(*f, "no polygon")
		return
	}
	s.roofs = append(s.roofs, roof{polys: t.polys, box: t.box, stated: f.props.area("roof_area")})
	if f.props.v.get("outline").str() == "roof" {
		over := defaultOverhang
		if o := f.props.length("overhang"); o != nil {
			over = *o
		}
		var wall []poly
		for _, p := range t.polys {
			if q, ok := inset(p, over); ok {
				wall = append(wall, q)
			} else {
				wall = append(wall, p) // too narrow for its overhang: the eaves count as the wall
			}
		}
		t.polys, t.inexact = wall, true
	}
	t.footing = f.props.length("footing_depth")
	s.buildings = append(s.buildings, t)
}

func (s *site) ruled(f *feature, what, def, kind string) thing {
	t := thing{id: f.name(what), kind: kind, rule: f.props.v.get("trench").str()}
	if t.rule == "" {
		t.rule = def
	}
	if !s.shape(f.geom, &t) {
		s.fault(*f, "geometry not understood")
		return t
	}
	t.areaLike = len(t.polys) > 0
	if w := f.props.length("width"); w != nil && len(t.lines) > 0 {
		t.grow, t.areaLike = half(*w), true
	}
	return t
}

// half is half of a width, as a limit: the decimal of the width, halved.
func half(w float64) limit {
	return limit{m: w / 2, terms: []float64{w / 2}}
}

// forbiddenKinds may not be crossed unless the feature says so.
var forbiddenKinds = map[string]bool{"pool": true, "wall": true, "tree": true, "septic": true, "well": true}

func (s *site) readObstacle(f *feature) {
	t := thing{id: f.name("obstacle"), kind: f.props.v.get("kind").str(), rule: f.props.v.get("crossing").str(), areaLike: true}
	if t.rule == "" {
		t.rule = "free"
		if forbiddenKinds[t.kind] {
			t.rule = "forbidden"
		}
	}
	if !s.shape(f.geom, &t) {
		s.fault(*f, "geometry not understood")
		return
	}
	radius, width, trunk := f.props.length("radius"), f.props.length("width"), f.props.length("trunk")
	switch {
	case f.props.err != nil:
	case len(t.lines) > 0 && width != nil:
		t.grow = half(*width)
	case t.kind == "tree" && len(t.points) > 0 && radius == nil && trunk == nil:
		s.fault(*f, "a tree without radius or trunk")
	case len(t.points) > 0 && radius != nil:
		t.grow = sum(*radius)
	case len(t.points) > 0 && trunk != nil:
		t.grow = limit{m: -1, terms: []float64{*trunk}} // the criteria's rule, see (*judge).rootZones
	}
	t.keep = math.NaN()
	if k := f.props.length("keep_clear"); k != nil {
		t.keep = *k
	}
	s.obstacles = append(s.obstacles, t)
}

func (s *site) readInlet(f *feature, ground float64) {
	var t thing
	if !s.shape(f.geom, &t) || len(t.points) != 1 {
		s.fault(*f, "no point")
		return
	}
	p := &f.props
	n := inlet{own: f.name("inlet"), stated: f.stated("inlet"), at: t.points[0], system: p.v.get("system").str(), kind: p.v.get("kind").str(),
		rim: p.elevation("rim", ground), invert: p.elevation("invert", ground), tieIn: p.elevation("tie_in", ground),
		outgoing: p.size("outgoing_diameter"), flowLimit: p.quantity("flow_limit", flows), surchargesAt: p.elevation("tailwater", ground)}
	if n.system == "" {
		n.system = "unknown"
	}
	rows := func(v val) [][2]float64 {
		var out [][2]float64
		for _, w := range v.a {
			if len(w.a) == 2 && w.a[0].k == number && w.a[1].k == number {
				out = append(out, [2]float64{w.a[0].n, w.a[1].n + p.shift})
			}
		}
		return out
	}
	switch t := p.v.get("tailwater"); t.k {
	case list:
		n.over = rows(t)
	case object:
		for _, m := range t.ms {
			if y, err := strconv.ParseFloat(m.key, 64); err == nil {
				n.byYears = append(n.byYears, yearly{y, rows(m.v)})
			}
		}
	}
	if dip := p.length("dip"); dip != nil && n.rim != nil && n.invert == nil {
		v := *n.rim - *dip
		n.invert = &v
	}
	s.inlets = append(s.inlets, n)
}

func (s *site) readIntake(f *feature, ground float64) {
	var t thing
	if !s.shape(f.geom, &t) || len(t.points) != 1 {
		s.fault(*f, "no point")
		return
	}
	p := &f.props
	n := intake{own: f.name("intake"), stated: f.stated("intake"), lot: p.v.get("lot").str(), kind: p.v.get("kind").str(), at: t.points[0],
		roofC: p.bare("roof_c"), yardC: p.bare("yard_c"), tc: p.bare("tc_min"), flow: p.quantity("flow", flows),
		rim: p.elevation("rim", ground), invert: p.elevation("invert", ground), startCover: p.length("start_cover"),
		grate: [2]*float64{p.length("length"), p.length("width")}}
	if a := p.area("roof_area"); a != nil {
		n.roofArea, n.roofGiven, n.areaGiven = *a, true, true
	}
	if a := p.area("yard_area"); a != nil {
		n.yardArea, n.areaGiven = *a, true
	}
	if n.lot == "" {
		for _, l := range s.lots {
			for _, g := range l.pieces {
				if n.lot == "" && s.plane.where(g, n.at) != outside {
					n.lot = l.id
				}
			}
		}
	}
	if n.kind == "" {
		n.kind = "yard_basin"
	}
	s.intakes = append(s.intakes, n)
}

func (s *site) readGround(layers val, zunit float64) error {
	fs, err := s.features(layers, "spots")
	if err != nil {
		return err
	}
	height := func(f *feature, v val) (z, raw float64, ok bool) {
		if len(v.a) > 2 && v.a[2].k == number {
			return v.a[2].n*zunit + f.props.shift, v.a[2].n, true
		}
		if e := f.props.quantity("elevation", elevations); e != nil {
			return *e + f.props.shift, *e, true
		}
		return 0, 0, false
	}
	var raws []float64
	for i := range fs {
		f := &fs[i]
		c := f.geom.get("coordinates")
		p, ok := s.position(c)
		z, raw, known := height(f, c)
		if !ok || !known || f.props.err != nil {
			s.fault(*f, "no point with an elevation")
			continue
		}
		s.shots, raws = append(s.shots, shot{p, z}), append(raws, raw)
	}
	var lines [][]pt
	breakline := func(ps []pt, zs []float64) {
		for k := range ps {
			s.shots = append(s.shots, shot{ps[k], zs[k]})
			if k > 0 {
				s.breaks = append(s.breaks, edge{ps[k-1], ps[k]})
			}
		}
		lines = append(lines, ps)
	}
	spots := len(s.shots)
	for _, layer := range []string{"contours", "breaklines", "swales"} {
		fs, err := s.features(layers, layer)
		if err != nil {
			return err
		}
		for i := range fs {
			f := &fs[i]
			ps, ok := s.line(f.geom.get("coordinates"))
			if !ok || len(ps) < 2 {
				s.fault(*f, "no line")
				continue
			}
			zs := make([]float64, len(ps))
			known := true
			for k, c := range f.geom.get("coordinates").a {
				z, _, ok := height(f, c)
				zs[k], known = z, known && ok
			}
			if layer == "swales" {
				if known = len(f.geom.get("coordinates").a[0].a) > 2; !known {
					zs, known = between2(ps, f.props.quantity("invert_up", elevations),
						f.props.quantity("invert_down", elevations), f.props.shift)
				}
				if known {
					s.beds = append(s.beds, bed{ps, zs})
				}
				for _, l := range lines {
					known = known && !sameLine(l, ps)
				}
			}
			if known {
				breakline(ps, zs)
			} else if layer == "contours" {
				s.fault(*f, "no elevation")
			}
		}
	}
	// shots that can't be meant
	var zs []float64
	for i, h := range s.shots {
		if i >= spots || !placeholder(raws[i], h.z, math.NaN()) {
			zs = append(zs, h.z)
		}
	}
	sort.Float64s(zs)
	s.middleGround = math.NaN()
	if len(zs) > 0 {
		s.middleGround = zs[len(zs)/2]
		kept := s.shots[:0]
		for i, h := range s.shots {
			if i >= spots || !placeholder(raws[i], h.z, s.middleGround) {
				kept = append(kept, h)
			}
		}
		s.shots = kept
	}
	return nil
}

// bed is a swale's line with the levels of its bed.
type bed struct {
	ps []pt
	zs []float64
}

// at is the level of the bed at a place on it.
func (b bed) at(p pt) (z float64, ok bool) {
	for k := 1; k < len(b.ps); k++ {
		u, v := b.ps[k-1], b.ps[k]
		if l := apartBy(u, v); l > 0 && fromSegment(p, u, v) < 0.05 {
			f := min(1, max(0, ((p.x-u.x)*(v.x-u.x)+(p.y-u.y)*(v.y-u.y))/(l*l)))
			return b.zs[k-1] + f*(b.zs[k]-b.zs[k-1]), true
		}
	}
	return 0, false
}

// between2 spreads the levels at two ends along a line by its length.
func between2(ps []pt, up, down *float64, shift float64) ([]float64, bool) {
	if up == nil || down == nil {
		return nil, false
	}
	total := 0.0
	for k := 1; k < len(ps); k++ {
		total += apartBy(ps[k-1], ps[k])
	}
	out, at := make([]float64, len(ps)), 0.0
	for k := range ps {
		if k > 0 {
			at += apartBy(ps[k-1], ps[k])
		}
		out[k] = *up + shift + (*down-*up)*at/max(total, 1e-9)
	}
	return out, true
}

func sameLine(a, b []pt) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func (s *site) readRain(v val) error {
	if v.k == null {
		return nil
	}
	r := &rain{}
	p := props{v: v}
	if i := p.quantity("intensity", rates); i != nil {
		r.intensity = *i
	}
	for _, row := range v.get("table").a {
		q := props{v: row}
		d, y := q.bare("duration_min"), q.bare("return_years")
		depth := q.quantity("depth", depths)
		i := q.quantity("intensity", rates)
		if q.err != nil || d == nil || *d <= 0 || y == nil || depth == nil && i == nil {
			return fmt.Errorf("verify: site document: rainfall table: a row without duration, return period and depth or intensity")
		}
		x := rainRow{minutes: *d, years: *y}
		if i != nil {
			x.mmh = *i
		} else {
			x.mmh = *depth * 60 / *d
		}
		r.table = append(r.table, x)
	}
	slices.SortStableFunc(r.table, func(a, b rainRow) int {
		return cmp.Or(cmp.Compare(a.years, b.years), cmp.Compare(a.minutes, b.minutes))
	})
	if c := v.get("curve"); c.k == object {
		r.curve = &[3]float64{c.get("a").n, c.get("b").n, c.get("c").n}
	}
	if p.err != nil {
		return fmt.Errorf("verify: site document: rainfall: %w", p.err)
	}
	s.rain = r
	return nil
}
