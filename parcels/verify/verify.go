package verify

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fallwright/parcels"
)

// Checker judges plans. The zero value is ready and keeps nothing between calls.
// It is safe for use by several goroutines at once.
type Checker struct {
	// Kept, where not nil, holds the site documents read before; the verdict is the
	// same with and without it.
	Kept *Kept
}

var _ parcels.Verifier = Checker{}

// Verify implements parcels.Verifier. An error means that the site document
// can't be judged by (not readable, in a form that the checker does not take);
// whatever is wrong with the plan comes back as a check that did not pass.
func (k Checker) Verify(document []byte, criteria parcels.Criteria, planText []byte) (parcels.Verification, error) {
	j := &judge{c: criteria, p: &plan{}}
	r := &planReader{p: j.p}
	text := readers.Get().(*reader)
	defer text.forget()
	v, unread := text.document(planText)
	s, ok, err := k.Kept.readFor(document, func(s *site) bool {
		// begun anew where the plan's plane is not that of the document in memory
		j.s, j.rows, *j.p, r.s = s, nil, plan{}, s
		if unread != nil || v.k != object {
			c := j.open("document")
			if unread == nil {
				unread = fmt.Errorf("%s where an object is wanted", v.k)
			}
			c.fail("plan", "the plan can't be read: %v", unread)
			return false
		}
		r.head(v)
		return j.frame()
	})
	if err != nil {
		return parcels.Verification{}, err
	}
	if !ok {
		return j.result(), nil
	}
	j.s, r.s = s, s
	r.body(v)
	if !j.document() {
		return j.result(), nil
	}
	if err := j.rule(); err != nil {
		return parcels.Verification{}, err
	}
	j.prepare()
	for _, check := range checks {
		check(j)
	}
	return j.result(), nil
}

// checks is the one list of what is asked of a plan that could be read. A new
// check is one function and one line here.
var checks = []func(*judge){
	(*judge).status,
	(*judge).stock,
	(*judge).places,
	(*judge).tree,
	(*judge).connected,
	(*judge).outlet,
	(*judge).insideLot,
	(*judge).lotLine,
	(*judge).foundation,
	(*judge).forbiddenGround,
	(*judge).obstacles,
	(*judge).tieIn,
	(*judge).leadOff,
	(*judge).permission,
	(*judge).easementRuns,
	(*judge).agreement,
	(*judge).trunksApart,
	(*judge).leftOff,
	(*judge).lengths,
	(*judge).falls,
	(*judge).slopes,
	(*judge).fallChance,
	(*judge).inverts,
	(*judge).joinAngle,
	(*judge).bendAngle,
	(*judge).diameters,
	(*judge).leastStraight,
	(*judge).cleanouts,
	(*judge).ground,
	(*judge).groundInPart,
	(*judge).cover,
	(*judge).depth,
	(*judge).met,
	(*judge).profiles,
	(*judge).trenches,
	(*judge).roofShares,
	(*judge).flowBalance,
	(*judge).concentration,
	(*judge).rainfall,
	(*judge).rational,
	(*judge).manning,
	(*judge).capacity,
	(*judge).trunk,
	(*judge).waterLevels,
	(*judge).storage,
	(*judge).roofWater,
	(*judge).arrival,
	(*judge).summary,
	(*judge).costShares,
	(*judge).warnings,
	(*judge).verdict,
	(*judge).remedies,
}

type judge struct {
	s *site
	c parcels.Criteria
	// ruled has the criteria of the plan's lots, where districts have some
	ruled map[string]*parcels.Criteria
	p     *plan
	rows  []*check

	surface  *surface
	stations [][][]station // by run, by segment
	gathered []*gathered   // by run, once asked for
	through  []float64     // minutes through each run, once asked for
	edges    map[*lot]edgesOf
	tubes    map[tubeKey]tube
}

// check is one row being worked.
type check struct {
	j      *judge
	name   string
	worst  *float64
	limit  *float64
	where  string
	fails  []string
	failAt string
	told   int
	note   string
}

func (j *judge) open(name string) *check {
	c := &check{j: j, name: name}
	j.rows = append(j.rows, c)
	return c
}

func (c *check) bound(v float64) *check { c.limit = &v; return c }

// least keeps the smallest measured value, most the greatest.
func (c *check) least(v float64, where string) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) && (c.worst == nil || v < *c.worst) {
		c.worst, c.where = &v, where
	}
}

func (c *check) most(v float64, where string) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) && (c.worst == nil || v > *c.worst) {
		c.worst, c.where = &v, where
	}
}

// fail is never excused.
func (c *check) fail(where, format string, a ...any) {
	if len(c.fails) == 0 {
		c.failAt = where
	}
	if len(c.fails) < 20 {
		c.fails = append(c.fails, fmt.Sprintf("%s: "+format, append([]any{where}, a...)...))
	}
}

// broken is a criterion broken: excused where the plan is not_feasible and a
// stop finding names one of the names, with a code that holds one of the words.
func (c *check) broken(names, words []string, format string, a ...any) {
	if c.j.told(names, words) {
		c.told++
		return
	}
	c.fail(names[0], format, a...)
}

func (j *judge) told(names, words []string) bool {
	if j.p.summary.verdict != string(parcels.NotFeasible) {
		return false
	}
	for _, f := range j.p.findings {
		if f.severity != string(parcels.Stop) || f.feature == "" || !slices.Contains(names, f.feature) {
			continue
		}
		for _, w := range words {
			if strings.Contains(f.code, w) {
				return true
			}
		}
	}
	return false
}

func (j *judge) result() parcels.Verification {
	v := parcels.Verification{Passed: len(j.rows) > 0}
	for _, c := range j.rows {
		k := parcels.Check{Check: c.name, Passed: len(c.fails) == 0, Worst: c.worst, Limit: c.limit, Where: c.where, Detail: c.note}
		if len(c.fails) > 0 {
			k.Where = c.failAt
			k.Detail = strings.Join(c.fails[:min(len(c.fails), 5)], "; ")
			if len(c.fails) > 5 {
				k.Detail += fmt.Sprintf("; and %d more", len(c.fails)-5)
			}
		} else if c.told > 0 {
			k.Detail = strings.TrimSpace(fmt.Sprintf("told: %d broken and named by a stop. %s", c.told, c.note))
		}
		v.Passed = v.Passed && k.Passed
		v.Checks = append(v.Checks, k)
	}
	return v
}

// frame sets the plane that the plan states, if it is the contract's.
func (j *judge) frame() bool {
	c := j.open("frame")
	f, s := &j.p.frame, j.s
	if f.crs != s.crs {
		c.fail("frame", "the plan is in %q, the site in %q", f.crs, s.crs)
		return false
	}
	lonlat := math.Abs(s.middle[0]) <= 180 && math.Abs(s.middle[1]) <= 90
	switch {
	case f.hasCentre:
		if !lonlat {
			c.fail("frame", "a centre in degrees for parcels at %g, %g", s.middle[0], s.middle[1])
			return false
		}
		c.bound(1e-6)
		c.most(max(math.Abs(f.lon-s.middle[0]), math.Abs(f.lat-s.middle[1])), "centre")
		if math.Abs(f.lon-s.middle[0]) > 1.0001e-6 || math.Abs(f.lat-s.middle[1]) > 1.0001e-6 {
			c.fail("frame", "centre %.7f, %.7f is not the middle of the parcels, %.7f, %.7f", f.lon, f.lat, s.middle[0], s.middle[1])
			return false
		}
		if f.metres != 0 && f.metres != 1 {
			c.fail("frame", "%g m a unit in a transverse Mercator plane in metres", f.metres)
			return false
		}
		if f.scale != nil && *f.scale != 1 {
			c.fail("frame", "scale factor %g in a plane whose own is 1", *f.scale)
			return false
		}
		s.plane = geographicPlane(f.lon, f.lat)
	case s.crs == "":
		c.fail("frame", "longitudes and latitudes, and the plan states no centre")
		return false
	default:
		p, ok := projectedPlane(f.metres, s.middle)
		if !ok {
			c.fail("frame", "%g m a unit: a projected system is in metres, feet (0.3048 m) or US survey feet (1200/3937 m)", f.metres)
			return false
		}
		if u, known := unitOf(s.crs); known && math.Abs(u-p.metres) > 1e-12 {
			c.fail("frame", "%.9g m a unit, %s has %.9g", f.metres, s.crs, u)
			return false
		}
		s.plane = p
	}
	return true
}

func (j *judge) document() bool {
	c := j.open("document")
	for _, f := range j.p.faults {
		c.fail("plan", "%s", f)
	}
	for _, f := range j.s.faults {
		named := false
		for _, g := range j.p.findings {
			named = named || g.feature != "" && (g.feature == f.id || g.feature == fmt.Sprintf("#%d", f.index) || strings.HasSuffix(g.feature, fmt.Sprintf("%s/%d", f.layer, f.index)))
		}
		if !named {
			c.fail(fmt.Sprintf("layers.%s feature %d", f.layer, f.index), "%s, and no finding tells it", f.what)
		}
	}
	return len(c.fails) == 0
}

// prepare works out what several checks need.
func (j *judge) prepare() {
	for i := range j.p.runs {
		r := &j.p.runs[i]
		need := float64(j.of(r.lot).Trench.Width)
		r.width = need
		for _, t := range j.p.trenches {
			for _, id := range t.runs {
				if id == r.id && t.id == r.trench {
					r.width = max(t.width, 0)
					least := need
					if r.pipe == "perforated" && j.s.perfWidth != nil {
						least = min(need, *j.s.perfWidth)
					}
					if r.width < least {
						r.width = least // and (*judge).trenches says so
					}
				}
			}
		}
	}
	for i := range j.s.obstacles {
		t := &j.s.obstacles[i]
		if t.grow.m < 0 {
			t.grow = sum(t.grow.terms[0] * j.c.Clearance.RootZonePerTrunk)
		}
		if math.IsNaN(t.keep) {
			switch t.kind {
			case "utility":
				t.keep = float64(j.c.Clearance.Utility)
			case "septic":
				t.keep = float64(j.c.Clearance.Septic)
			case "well":
				t.keep = float64(j.c.Clearance.Well)
			default:
				t.keep = 0
			}
		}
	}
	if j.s.ground != nil {
		j.surface = j.s.ground
		for i := range j.p.runs {
			r := &j.p.runs[i]
			var segs [][]station
			for k := 1; k < len(r.line); k++ {
				segs = append(segs, j.surface.along(r.line[k-1], r.line[k]))
			}
			j.stations = append(j.stations, segs)
		}
	}
}

func (j *judge) status() {
	c := j.open("status")
	if j.p.status != parcels.Preliminary {
		c.fail("status", "%q, not %q", j.p.status, parcels.Preliminary)
	}
	for _, want := range parcels.Cautions {
		got := false
		for _, k := range j.p.cautions {
			got = got || k == want
		}
		if !got {
			c.fail("cautions", "missing: %s", want)
		}
	}
}

func (j *judge) intake(id string) *intake {
	for i := range j.s.intakes {
		if j.s.intakes[i].id == id {
			return &j.s.intakes[i]
		}
	}
	return nil
}

func (j *judge) inlet(id string) *inlet {
	for i := range j.s.inlets {
		if j.s.inlets[i].id == id {
			return &j.s.inlets[i]
		}
	}
	return nil
}

func (j *judge) chosen(lot string) bool {
	return slices.Contains(j.p.summary.lots, lot)
}

// names are those by which a finding may name a run.
func (r *run) names() []string { return []string{r.id, r.from, r.to, r.trench} }

// mm writes a length for a person who reads a row.
func mm(v float64) string { return fmt.Sprintf("%.4f m", v) }
