package auditor

// The audit: lots by chunk, then the site, then totals.

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/zone"
	"fallwright/hydro/rain"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/jobs"
	"fallwright/parcels/planner"
	"fallwright/parcels/siting"
)

// Options of an audit.
type Options struct {
	// Checks by name; none: those that are on by default (see Checks).
	Checks []string
	// Lots by name; none: all.
	Lots []string
	// Workers and Chunk as in package jobs: they change no result.
	Workers, Chunk int
	// Surface is the ground in place of the site's own shots.
	Surface ground.Surface
	// Zones keeps each lot's trench zone for the map.
	Zones bool
	// Worst is how many lots the ranking lists; 0 is 20.
	Worst int
	// Program is written into the result.
	Program string
	// Report and Pause as in package jobs.
	Report func(jobs.Progress)
	Pause  *jobs.Pause
}

// basis is what holds for every lot of a site.
type basis struct {
	base    *parcels.Site // its settings, districts and swales
	checks  []Check
	surface ground.Surface
	rain    rain.Rainfall
	keep    bool
	notes   []parcels.Finding // of making the surface
	targets *targets          // of the whole site
	inlets  int               // of the whole site, targets or not
}

// newBasis takes up a site's settings, its districts and what its ground is
// made of: spots, breaklines, contours, swales.
func newBasis(s *parcels.Site, o Options) (*basis, error) {
	c := &basis{base: s, surface: o.Surface, keep: o.Zones}
	var err error
	if c.checks, err = choose(o.Checks); err != nil {
		return nil, err
	}
	if c.surface == nil && wantsGround(c.checks) {
		if c.surface, c.notes, err = planner.Surface(s); err != nil {
			return nil, err
		}
	}
	if c.rain, err = planner.Rain(s); err != nil {
		return nil, err
	}
	for i := range s.Districts {
		if d := &s.Districts[i]; len(d.Criteria) > 0 {
			if _, err := document.MergeCriteria(d.Criteria, s.Criteria); err != nil {
				return nil, err
			}
		}
	}
	return c, nil
}

// Auditor works on one site, or on a part of one that holds all that lies near
// the lots asked of. It may be used by several goroutines at once.
type Auditor struct {
	*basis
	site   *parcels.Site
	index  *index
	fabric *siting.Siting // of all lots
}

// New makes an auditor. An unknown check, or districts whose criteria cannot be
// read, are a *parcels.InputError.
func New(s *parcels.Site, o Options) (*Auditor, error) {
	c, err := newBasis(s, o)
	if err != nil {
		return nil, err
	}
	c.inlets = len(s.Inlets)
	var t targets
	t.add(s)
	c.targets = t.ready()
	return c.over(s), nil
}

// over is the auditor of a site or a part of one.
func (c *basis) over(s *parcels.Site) *Auditor {
	return &Auditor{basis: c, site: s, index: newIndex(s), fabric: siting.New(s)}
}

func wantsGround(checks []Check) bool {
	for _, c := range checks {
		if c.Ground {
			return true
		}
	}
	return false
}

// lotWork is one lot under audit.
type lotWork struct {
	a    *Auditor
	at   int // the lot's place in the site
	lot  *parcels.Lot
	box  orb.Bound
	site *parcels.Site // what lies near, under the lot's criteria: &room
	room parcels.Site
	// found is room for a list of features.
	found []int32
	row   *parcels.AuditRow

	sites  *siting.Siting
	ground *siting.Ground
	zone   *zone.Zone
	space  *zone.Workspace
	water  *water
}

// works are kept for their room: nothing of a lot's work is held once its row is
// made.
var works = sync.Pool{New: func() any { return &lotWork{space: new(zone.Workspace)} }}

// begin takes up a lot, by its place among those at hand.
func (a *Auditor) begin(i int, row *parcels.AuditRow) *lotWork {
	w := works.Get().(*lotWork)
	*w = lotWork{a: a, at: i, lot: &a.site.Lots[i], box: a.index.lots.box[i], row: row, room: w.room, found: w.found, space: w.space}
	return w
}

// find adds a finding of the lot.
func (w *lotWork) find(f parcels.Finding) {
	f.Lot = w.lot.ID
	w.row.Findings = append(w.row.Findings, f)
}

// neighbours puts the lots near, the lot itself among them, into its view of
// the site and lists them.
func (w *lotWork) neighbours() []parcels.Lot {
	if w.site.Lots == nil {
		w.site.Lots = pick(nil, w.a.site.Lots, w.a.index.lots.in(w.box.Pad(near), nil))
	}
	return w.site.Lots
}

// siting is what package siting says of the lot, for solid pipe.
func (w *lotWork) siting() (*siting.Ground, error) {
	if w.ground == nil {
		w.sites = w.a.fabric.Within(w.site)
		g, err := w.sites.Ground(w.lot, "solid")
		if err != nil {
			return nil, err
		}
		w.ground = g
		for _, f := range g.Findings {
			w.find(f)
		}
	}
	return w.ground, nil
}

// roles are those of the lot's lines, as given or worked out; a guess is told
// once.
func (w *lotWork) roles() ([]parcels.LineRole, error) {
	g, err := w.siting()
	if err != nil || g.Roles != nil {
		return g.Roles, err
	}
	r := w.sites.Roles(w.lot)
	if r.Guessed {
		w.find(parcels.Finding{Code: "line_roles_guessed", Severity: parcels.Note,
			Message: "The roles of the lot's lines (front, side, rear) are not given: " + r.Why + "."})
	}
	g.Roles = r.Edge
	return r.Edge, nil
}

// trench is the lot's trench zone.
func (w *lotWork) trench() (*zone.Zone, error) {
	if w.zone == nil {
		g, err := w.siting()
		if err != nil {
			return nil, err
		}
		z, err := w.space.Trench(g.Lines, g.Barred())
		if err != nil {
			return nil, err
		}
		w.zone = &z
	}
	return w.zone, nil
}

// Lot works one lot, by its place in the site. It depends on nothing but the
// site, the checks and the lot.
func (a *Auditor) Lot(i int) (parcels.AuditRow, error) {
	lot := &a.site.Lots[i]
	row := parcels.AuditRow{Lot: lot.ID, Reach: parcels.ReachNotProven, Shape: lot.Shape, Findings: []parcels.Finding{}}
	w := a.begin(i, &row)
	defer works.Put(w)
	under, told, err := a.fabric.Under(lot)
	if err != nil {
		return row, err
	}
	for _, f := range told {
		w.find(f)
	}
	w.view(under.Criteria)
	for _, k := range a.checks {
		if k.Lot == nil {
			continue
		}
		if err := k.Lot(w); err != nil {
			return row, fmt.Errorf("auditor: lot %s, check %s: %w", lot.ID, k.Name, err)
		}
	}
	if a.keep && w.zone != nil {
		row.ZoneShape = w.zone.Shape.Clone() // it outlives the workspace
	}
	tidy(row.Findings)
	row.Verdict, _, _ = parcels.Judge(row.Findings)
	return row, nil
}

// tidy rounds what findings measure and puts them in a fixed order: as the
// checks stand in the list, which is the order in which they came.
func tidy(fs []parcels.Finding) {
	for i := range fs {
		for _, v := range []*float64{fs[i].Measured, fs[i].Required} {
			if v != nil {
				*v = round4(*v)
			}
		}
		if p := fs[i].Location; p != nil {
			fs[i].Location = &orb.Point{round4(p[0]), round4(p[1])}
		}
	}
}

// Audit works all lots asked for and the site, and sums up.
func (a *Auditor) Audit(ctx context.Context, o Options) (*parcels.Audit, error) {
	items, err := a.lots(o.Lots)
	if err != nil {
		return nil, err
	}
	rows := make([]parcels.AuditRow, len(items))
	centres := make([]orb.Point, len(items))
	for k, i := range items {
		centres[k] = a.site.Lots[i].Shape.Bound().Center()
	}
	aside, err := jobs.Run(ctx, len(items), func(_ context.Context, _, k int) error {
		row, err := a.Lot(items[k])
		if err != nil {
			return err
		}
		rows[k] = row
		return nil
	}, jobs.Options{Order: jobs.Order(centres), Workers: o.Workers, Chunk: o.Chunk, Report: o.Report, Pause: o.Pause})
	if err != nil {
		return nil, err
	}
	for _, s := range aside {
		lot := &a.site.Lots[items[s.Item]]
		rows[s.Item] = Failed(lot, s.Err)
	}
	return a.sum(rows, o)
}

// Failed is the row of a lot that could not be worked.
func Failed(lot *parcels.Lot, err error) parcels.AuditRow {
	at := siting.Middle(lot.Shape)
	msg := parcels.Excerpt(err.Error())
	return parcels.AuditRow{Lot: lot.ID, Verdict: parcels.NotProven, Reach: parcels.ReachNotProven, Shape: lot.Shape, Error: msg,
		Findings: []parcels.Finding{{Code: "lot_set_aside", Severity: parcels.Warn, Lot: lot.ID, Location: &at, NotProven: true,
			Message: "The lot could not be worked and was set aside: " + msg, Cure: "Mend the lot's features and audit it again."}}}
}

// lots finds the places of the lots asked for, in the order of the site.
func (a *Auditor) lots(names []string) ([]int, error) {
	if len(names) == 0 {
		out := make([]int, len(a.site.Lots))
		for i := range out {
			out[i] = i
		}
		return out, nil
	}
	at := map[string]int{}
	for i := range a.site.Lots {
		at[a.site.Lots[i].ID] = i
	}
	var out []int
	var faults []parcels.Fault
	for _, n := range names {
		i, ok := at[n]
		if !ok {
			faults = append(faults, lotUnknown(n, len(a.site.Lots)))
			continue
		}
		out = append(out, i)
	}
	if len(faults) > 0 {
		return nil, &parcels.InputError{Kind: parcels.Invalid, Faults: faults}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}
