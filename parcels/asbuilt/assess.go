package asbuilt

// The order of judgement: what is in the file, where it lies, at what level it
// stands, and only then what was laid.

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
)

// Limits of judgement. Practice (P-157, P-159) where a note is given; the rest
// are what tells one fault from another and were chosen for wide margins: a
// fault of reading moves points by tens of metres, one of laying by
// centimetres.
const (
	near      = 3.0    // m: a shot this close to a run may be of it
	plausible = 0.6    // m: no pipe is laid further off its level
	alike     = 0.02   // m: levels off alike to this are off by one cause
	shifted   = 0.05   // m: and this far off, it is no error of laying
	point     = 0.006  // m: 0.02 ft, a point on grade (P-157)
	worse     = 0.012  // m: 0.04 ft, the far end of the tolerance (P-157)
	reading   = 0.003  // m: 0.01 ft, a shot on pipe (P-2)
	atEnd     = 0.6    // m: a shot this close to an end is of the end
	spacing   = 7.62   // m: 25 ft between shots (P-159)
	samePlace = 0.15   // m along the run
	shortRun  = 1.0    // m: one shot does for a stub between two fittings
	beside    = 0.1524 // m: half of the narrowest trench
	far       = 1e8    // m: no place on earth is further in any system
	mostShots = 100000
)

// track is a run with what is known along it.
type track struct {
	run    *parcels.Run
	built  *BuiltRun
	line   orb.LineString
	length float64
	up     float64
	down   float64
	ground []station
	width  float64 // of the trench
	next   int     // track that it runs into, -1
	lot    *parcels.Lot
	pts    []found
	unread bool // shots of it are in another unit and left out
}

type station struct{ at, z float64 }

// found is a shot on a track.
type found struct {
	shot *Shot
	at   float64 // station
	side float64 // from the line
	z    float64 // shift not taken out
	off  float64 // above the plan, shift taken out
	lent bool    // of a neighbour, for the fitting they share
	// spill is the highest invert from here on downstream, and where that is.
	spill float64
	sill  spot
}

// spot is a shot by its track and place in it.
type spot struct{ track, pt int }

func (t *track) planned(at float64) float64 { return t.up + (t.down-t.up)*at/t.length }

// ground at a station; ok is false where the plan knows none.
func (t *track) groundAt(at float64) (float64, bool) {
	g := t.ground
	if len(g) == 0 {
		return 0, false
	}
	if at <= g[0].at {
		return g[0].z, true
	}
	for i := 1; i < len(g); i++ {
		if at <= g[i].at {
			w := g[i].at - g[i-1].at
			if w < 1e-9 {
				return g[i].z, true
			}
			return g[i-1].z + (g[i].z-g[i-1].z)*(at-g[i-1].at)/w, true
		}
	}
	return g[len(g)-1].z, true
}

type assessor struct {
	in     Input
	report *Report
	tracks []track
	shift  float64
	level  bool // levels may be held against the ground
}

// Assess holds the shots against the plan. The error is a *parcels.InputError:
// a plan without levels, nothing shot, a run that the plan does not have. All
// else, the faults of the file included, are findings.
func Assess(in Input) (*Report, error) {
	a := &assessor{in: in, level: true, report: &Report{
		Status: parcels.Preliminary, Runs: []BuiltRun{}, Findings: []parcels.Finding{}, Cautions: parcels.Cautions,
	}}
	if err := a.open(); err != nil {
		return nil, err
	}
	shots := a.ofPipe()
	if a.place(shots) {
		a.settleLevels()
		a.lend()
		for i := range a.tracks {
			a.gather(&a.tracks[i])
		}
		a.water()
		for i := range a.tracks {
			a.judge(i)
		}
	}
	r := a.report
	for i := range a.tracks {
		r.Runs = append(r.Runs, *a.tracks[i].built)
	}
	var why, cures []string
	r.Verdict, why, cures = parcels.Judge(r.Findings)
	r.WhyNot, r.Cure = strings.Join(why, " "), strings.Join(cures, " ")
	return r, nil
}

// criteria are those of the lot that a run lies on.
func (a *assessor) criteria(r *parcels.Run) parcels.Criteria {
	if c, ok := a.in.Of[r.Lot]; ok {
		return c
	}
	return a.in.Criteria
}

func fault(pointer, slug, format string, args ...any) parcels.Fault {
	return parcels.Fault{Slug: slug, Pointer: pointer, Detail: fmt.Sprintf(format, args...)}
}

func refuse(f ...parcels.Fault) error {
	return &parcels.InputError{Kind: parcels.Invalid, Faults: f}
}

// open makes the tracks.
func (a *assessor) open() error {
	p := a.in.Plan
	if p == nil || len(p.Runs) == 0 {
		return refuse(fault("/plan", "plan-empty", "The plan has no runs to hold the shots against; give the plan that was built from."))
	}
	if len(a.in.Shots) == 0 {
		return refuse(fault("/shots", "no-shots", "There are no shots in the file; give at least the invert at both ends of each run."))
	}
	if len(a.in.Shots) > mostShots {
		return &parcels.InputError{Kind: parcels.TooLarge, Faults: []parcels.Fault{fault("/shots", "too-many-shots", "%d shots, at most %d are taken; give those of the pipe only.", len(a.in.Shots), mostShots)}}
	}
	width := map[string]float64{}
	for _, t := range p.Trenches {
		width[t.ID] = float64(t.Width)
	}
	var without []parcels.Fault
	byFrom := map[string]int{}
	for i := range p.Runs {
		r := &p.Runs[i]
		if r.InvertUp == nil || r.InvertDown == nil {
			without = append(without, fault("/plan/network", "plan-without-levels", "Run %s of the plan has no inverts; plan with ground and inlet levels first.", r.ID))
			continue
		}
		length := float64(shape.Length(r.Line))
		if len(r.Line) < 2 || !(length > 0) {
			without = append(without, fault("/plan/network", "plan-run-without-length", "Run %s of the plan has no length.", r.ID))
			continue
		}
		b := &BuiltRun{Run: r.ID, From: r.From, To: r.To, Length: r.Length, Levels: []Level{}, Stretches: []Stretch{}, Pools: []Pool{},
			Planned: unit.Grade(r.InvertUp.Above(*r.InvertDown), unit.Length(length))}
		t := track{run: r, built: b, line: r.Line, length: length, up: float64(*r.InvertUp), down: float64(*r.InvertDown), next: -1, width: width[r.Trench]}
		for k := range a.in.Lots {
			if a.in.Lots[k].ID == r.Lot {
				t.lot = &a.in.Lots[k]
			}
		}
		byFrom[r.From] = len(a.tracks)
		a.tracks = append(a.tracks, t)
	}
	if len(without) > 0 {
		return refuse(without...)
	}
	for i := range a.tracks {
		if n, ok := byFrom[a.tracks[i].run.To]; ok && n != i {
			a.tracks[i].next = n
		}
	}
	for i := range a.tracks { // a plan that runs in a ring would never end
		seen := 0
		for n := i; n >= 0; n = a.tracks[n].next {
			if seen++; seen > len(a.tracks) {
				return refuse(fault("/plan/network", "plan-ring", "The runs of the plan from %s on run in a ring.", a.tracks[i].run.ID))
			}
		}
	}
	if a.in.Only != "" && a.trackOf(a.in.Only) < 0 {
		return refuse(fault("/run", "unknown-run", "The plan has no run %q; it has %s.", parcels.Excerpt(a.in.Only), a.names()))
	}
	a.readGround()
	return nil
}

func (a *assessor) names() string {
	var s []string
	for i := range a.tracks {
		if i == 12 {
			s = append(s, fmt.Sprintf("and %d more", len(a.tracks)-i))
			break
		}
		s = append(s, a.tracks[i].run.ID)
	}
	return strings.Join(s, ", ")
}

func (a *assessor) trackOf(run string) int {
	return slices.IndexFunc(a.tracks, func(t track) bool { return t.run.ID == run })
}

// readGround takes the ground along each run from the plan's profiles.
func (a *assessor) readGround() {
	for _, p := range a.in.Plan.Profiles {
		start := 0.0
		for _, id := range p.Runs {
			i := a.trackOf(id)
			if i < 0 {
				break
			}
			t := &a.tracks[i]
			length := float64(t.run.Length)
			if len(t.ground) == 0 {
				for _, row := range p.Rows {
					at := float64(row.Station) - start
					if row.Ground == nil || at < -2e-3 || at > length+2e-3 {
						continue
					}
					if d, _ := shape.PointLine(row.At, t.line); d > 0.01 {
						continue // the same station of the run before or after
					}
					t.ground = append(t.ground, station{at, float64(*row.Ground)})
				}
			}
			start += length
		}
	}
}

func (a *assessor) find(f parcels.Finding) { a.report.Findings = append(a.report.Findings, f) }

// ofPipe leaves out what was not taken on the pipe or has no level.
func (a *assessor) ofPipe() []*Shot {
	var use []*Shot
	var aside, none []string
	highest := math.Inf(-1)
	lowest := math.Inf(1)
	for i := range a.tracks {
		highest, lowest = max(highest, a.tracks[i].up), min(lowest, a.tracks[i].down)
	}
	for i := range a.in.Shots {
		s := &a.in.Shots[i]
		switch s.Kind {
		case "", "invert", "flow_line", "pipe":
		default:
			aside = append(aside, s.ID)
			continue
		}
		bad := !(math.Abs(s.At[0]) < far && math.Abs(s.At[1]) < far)
		if s.Z == nil || !(math.Abs(float64(*s.Z)) < far) || bad {
			none = append(none, s.ID)
			continue
		}
		if *s.Z == 0 && (lowest > 10 || highest < -10) {
			none = append(none, s.ID)
			continue
		}
		use = append(use, s)
	}
	if len(aside) > 0 {
		a.find(parcels.Finding{Code: CodeAside, Severity: parcels.Note, Message: fmt.Sprintf("%d shots of other things than the pipe are left out: %s.", len(aside), list(aside))})
	}
	if len(none) > 0 {
		a.find(parcels.Finding{Code: CodeNoLevel, Severity: parcels.Warn, NotProven: true, Source: "P-19", Cure: "Shoot them again.",
			Message: fmt.Sprintf("%d shots have no elevation or place that can be meant (blank, or 0 where the pipe lies at %.1f m): %s.", len(none), lowest, list(none))})
	}
	return use
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// list names at most eight.
func list(ids []string) string {
	var s []string
	for i, id := range ids {
		if i == 8 {
			s = append(s, fmt.Sprintf("and %d more", len(ids)-i))
			break
		}
		if id == "" {
			id = "(no number)"
		}
		s = append(s, parcels.Excerpt(id))
	}
	return strings.Join(s, ", ")
}

// nearest is the track nearest to a point, and how far it lies.
func (a *assessor) nearest(p orb.Point) (int, float64) {
	best, d := -1, math.Inf(1)
	for i := range a.tracks {
		if v, _ := shape.PointLine(p, a.tracks[i].line); float64(v) < d {
			best, d = i, float64(v)
		}
	}
	return best, d
}

// readingOf is another way to read the coordinates of a file.
type readingOf struct {
	code, what string
	turn       func(orb.Point) orb.Point // in the document's own coordinates
}

func scale(f float64) func(orb.Point) orb.Point {
	return func(p orb.Point) orb.Point { return orb.Point{p[0] * f, p[1] * f} }
}

const foot = 0.3048

var otherReadings = []readingOf{
	{CodeSwapped, "northing and easting are swapped", func(p orb.Point) orb.Point { return orb.Point{p[1], p[0]} }},
	{CodePlanUnit, "northing and easting are in metres where the document is in feet", scale(1 / foot)},
	{CodePlanUnit, "northing and easting are in feet where the document is in metres", scale(foot)},
	{CodeSwapped, "northing and easting are swapped, and in another unit than the document's (metres for feet)", func(p orb.Point) orb.Point { return orb.Point{p[1] / foot, p[0] / foot} }},
	{CodeSwapped, "northing and easting are swapped, and in another unit than the document's (feet for metres)", func(p orb.Point) orb.Point { return orb.Point{p[1] * foot, p[0] * foot} }},
}

func (a *assessor) fits(shots []*Shot, turn func(orb.Point) orb.Point) float64 {
	n := 0
	for _, s := range shots {
		p := s.At
		if turn != nil {
			if a.in.Frame != nil {
				p = a.in.Frame.Plane(turn(a.in.Frame.Document(p)))
			} else {
				p = turn(p)
			}
		}
		if !finite(p[0]) || !finite(p[1]) {
			continue
		}
		if _, d := a.nearest(p); d <= near {
			n++
		}
	}
	return float64(n) / float64(max(len(shots), 1))
}

// place puts the shots on the runs. False: they lie elsewhere, and nothing can
// be said of the pipe.
func (a *assessor) place(shots []*Shot) bool {
	if len(shots) == 0 {
		a.missing()
		return false
	}
	if a.fits(shots, nil) < 0.5 {
		for _, r := range otherReadings {
			if a.fits(shots, r.turn) >= 0.8 {
				a.find(parcels.Finding{Code: r.code, Severity: parcels.Stop, Source: "P-17, P-20, P-23", Cure: "Say which column is which and in what unit, and give the file again.",
					Message: fmt.Sprintf("The shots lie nowhere near the plan as read, but on it when %s. They were not read so: nothing is said of the pipe.", r.what)})
				return false
			}
		}
		_, d := a.nearest(shots[0].At)
		a.find(parcels.Finding{Code: CodeOffPlan, Severity: parcels.Stop, Measured: parcels.Num(round(d, 2)), Required: parcels.Num(near), Unit: "m", Source: "P-20", Location: parcels.Num(shots[0].At), Cure: "Check the coordinate system (a local grid?) and that the file is of this job.",
			Message: fmt.Sprintf("%.0f %% of the shots lie more than %.0f m from every run of the plan, the first %.1f m, and swapping or another unit does not bring them there.", 100*(1-a.fits(shots, nil)), near, d)})
		return false
	}
	other := map[[2]int][]string{}
	for _, s := range shots {
		i, d := a.nearest(s.At)
		if d > near {
			a.find(parcels.Finding{Code: CodeOffPlan, Severity: parcels.Warn, Measured: parcels.Num(round(d, 2)), Required: parcels.Num(near), Unit: "m", Location: parcels.Num(s.At),
				Message: fmt.Sprintf("Shot %s lies %.1f m from the nearest run (%s); it is left out.", list([]string{s.ID}), d, a.tracks[i].run.ID)})
			continue
		}
		said := s.Run
		if said == "" {
			said = a.in.Only
		}
		if k := a.trackOf(said); k >= 0 && k != i {
			v, _ := shape.PointLine(s.At, a.tracks[k].line)
			// A shot at a shared fitting is of either.
			if float64(v) <= max(2*d, beside) || float64(v) <= beside+atEnd && d <= beside+atEnd && a.touch(i, k) {
				i = k
			} else {
				other[[2]int{k, i}] = append(other[[2]int{k, i}], s.ID)
			}
		}
		a.put(i, s)
	}
	for k := range a.tracks {
		for i := range a.tracks {
			if ids := other[[2]int{k, i}]; len(ids) > 0 {
				a.find(parcels.Finding{Code: CodeOtherRun, Severity: parcels.Stop, Feature: a.tracks[k].run.ID, Cure: "Give the shots of each run under its own name.",
					Message: fmt.Sprintf("%d shots are said to be of run %s but lie along run %s: %s. They are judged where they lie.", len(ids), a.tracks[k].run.ID, a.tracks[i].run.ID, list(ids))})
			}
		}
	}
	return true
}

func (a *assessor) touch(i, k int) bool {
	s, t := a.tracks[i].run, a.tracks[k].run
	return s.From == t.From || s.From == t.To || s.To == t.From || s.To == t.To
}

func (a *assessor) put(i int, s *Shot) {
	t := &a.tracks[i]
	n := shape.Nearest(t.line, s.At)
	t.pts = append(t.pts, found{shot: s, at: float64(n.Along), side: float64(n.Off), z: float64(*s.Z)})
}

// missing tells the runs that nobody shot.
func (a *assessor) missing() {
	for i := range a.tracks {
		a.notShot(&a.tracks[i])
	}
}

func (a *assessor) notShot(t *track) {
	if a.in.Only != "" && a.in.Only != t.run.ID {
		return
	}
	f := parcels.Finding{Code: CodeNotShot, Severity: parcels.Warn, NotProven: true, Feature: t.run.ID, Source: "P-159", Cure: fmt.Sprintf("Shoot run %s before backfill.", t.run.ID),
		Message: fmt.Sprintf("No shot was taken on run %s.", t.run.ID)}
	for i := range a.tracks {
		// two pipes of one trench have one place: only a name tells their shots apart
		if o := &a.tracks[i]; o != t && len(o.pts) > 0 && o.line.Equal(t.line) {
			f.Message = fmt.Sprintf("No shot is known to be of run %s: it lies beside run %s in one trench, and shots without a run's name count for that one.", t.run.ID, o.run.ID)
			f.Cure = fmt.Sprintf("Write the run into the description of each shot (INV %s).", t.run.ID)
		}
	}
	a.find(f)
}

func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// settleLevels finds out whether the levels are those of the plan's datum and
// unit, and sets off and the common shift.
func (a *assessor) settleLevels() {
	type one struct {
		t *track
		i int
	}
	var all []one
	for i := range a.tracks {
		for k := range a.tracks[i].pts {
			all = append(all, one{&a.tracks[i], k})
		}
	}
	off := func(o one, f float64) float64 {
		p := &o.t.pts[o.i]
		return p.z*f - o.t.planned(p.at)
	}
	count := func(f float64) (n int) {
		for _, o := range all {
			if math.Abs(off(o, f)) <= plausible {
				n++
			}
		}
		return n
	}
	drop := func(gone map[*Shot]bool) {
		for i := range a.tracks {
			a.tracks[i].pts = slices.DeleteFunc(a.tracks[i].pts, func(p found) bool { return gone[p.shot] })
		}
	}
	asIs := count(1)
	inFeet, inMetres := count(foot), count(1/foot)
	switch other := max(inFeet, inMetres); {
	case asIs == len(all):
	case other > 0 && asIs+other >= (9*len(all)+9)/10 && asIs < len(all):
		f, what := foot, "in feet where the plan is in metres"
		if inMetres > inFeet {
			f, what = 1/foot, "in metres where feet were said"
		}
		gone := map[*Shot]bool{}
		var ids []string
		for _, o := range all {
			if math.Abs(off(o, 1)) > plausible && math.Abs(off(o, f)) <= plausible {
				gone[o.t.pts[o.i].shot] = true
				o.t.unread = true
				ids = append(ids, o.t.pts[o.i].shot.ID)
			}
		}
		how := fmt.Sprintf("%d of %d elevations are", len(ids), len(all))
		if len(ids) == len(all) {
			how = "All elevations are"
		}
		a.find(parcels.Finding{Code: CodeLevelUnit, Severity: parcels.Stop, Source: "P-22", Cure: "Give all elevations in one unit and say which.",
			Message: fmt.Sprintf("%s %s: %s. They are left out, not turned.", how, what, list(ids))})
		drop(gone)
	case asIs <= len(all)/2 && len(all) >= 2:
		// Far off all of them: alike?
		v := make([]float64, len(all))
		for i, o := range all {
			v[i] = off(o, 1)
		}
		a.takeShift(median(v), spread(v, median(v)))
	}
	// What still stands far off is a bust.
	gone := map[*Shot]bool{}
	for i := range a.tracks {
		t := &a.tracks[i]
		for k := range t.pts {
			p := &t.pts[k]
			if v := p.z - a.shift - t.planned(p.at); math.Abs(v) > plausible {
				gone[p.shot] = true
				a.find(parcels.Finding{Code: CodeBust, Severity: parcels.Warn, NotProven: true, Feature: t.run.ID, Measured: parcels.Num(round(p.z, 3)), Required: parcels.Num(round(t.planned(p.at), 3)), Unit: "m", Location: parcels.Num(p.shot.At), Cure: fmt.Sprintf("Shoot %s again.", list([]string{p.shot.ID})),
					Message: fmt.Sprintf("Shot %s stands %.2f m %s the planned invert of run %s there: a slip of the rod or of the keys. It is left out.", list([]string{p.shot.ID}), math.Abs(v), overUnder(v), t.run.ID)})
			}
		}
	}
	drop(gone)
	if a.report.Shift == nil {
		var v []float64
		for i := range a.tracks {
			for k := range a.tracks[i].pts {
				p := &a.tracks[i].pts[k]
				v = append(v, p.z-a.tracks[i].planned(p.at))
			}
		}
		if len(v) >= 2 {
			a.takeShift(median(v), spread(v, median(v)))
		}
	}
	for i := range a.tracks {
		for k := range a.tracks[i].pts {
			p := &a.tracks[i].pts[k]
			p.off = p.z - a.shift - a.tracks[i].planned(p.at)
		}
	}
}

// spread is the middle distance from m: half lie nearer.
func spread(v []float64, m float64) float64 {
	d := make([]float64, len(v))
	for i := range v {
		d[i] = math.Abs(v[i] - m)
	}
	return median(d)
}

// takeShift tells a shift that all shots have alike, and takes it out.
func (a *assessor) takeShift(m, around float64) {
	if math.Abs(m) < shifted || around > alike {
		return
	}
	a.shift, a.level = m, false
	a.report.Shift = parcels.Num(unit.Length(round(m, 4)))
	for i := range a.tracks {
		t := &a.tracks[i]
		top := (t.run.Diameter + t.run.OutsideDiameter) / 2000
		if len(t.pts) > 0 && math.Abs(m-top) <= worse {
			a.find(parcels.Finding{Code: CodeTop, Severity: parcels.Stop, Measured: parcels.Num(round(m, 3)), Required: parcels.Num(round(top, 3)), Unit: "m", Source: "P-159", Cure: "Say whether the top of the pipe was shot; then its height is taken off.",
				Message: fmt.Sprintf("The shots stand %.0f mm above the planned inverts, alike to %.0f mm: the height of the pipe (%.0f mm). The top of the pipe was shot, it seems, and not the invert. Slopes and bellies are judged; levels and cover are not.", m*1000, around*1000, top*1000)})
			return
		}
	}
	a.find(parcels.Finding{Code: CodeDatum, Severity: parcels.Stop, Measured: parcels.Num(round(m, 3)), Required: parcels.Num(0.0), Unit: "m", Source: "P-3, P-4", Cure: "Shoot the benchmark of the plan, and give the file again in its datum.",
		Message: fmt.Sprintf("The shots stand %.3f m %s the planned inverts, alike to %.0f mm: another datum or benchmark, or the whole line was laid so. Slopes and bellies are judged; levels and cover are not.", math.Abs(m), overUnder(m), around*1000)})
}

func overUnder(v float64) string {
	if v < 0 {
		return "under"
	}
	return "above"
}

func round(v float64, digits int) float64 {
	f := math.Pow(10, float64(digits))
	return math.Round(v*f) / f
}
