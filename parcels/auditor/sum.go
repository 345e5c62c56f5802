package auditor

// From rows to an audit: the checks of the site, the totals, the ranking.

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/planner"
)

// land is where the checks of the site find features: a site in memory, or one
// in a store, of which only a part is held at a time.
type land interface {
	// around is an auditor of all that lies near a box of the plane.
	around(orb.Bound) (*Auditor, error)
	// each hands over all features of a layer in order, some at a time.
	each(parcels.Layer, func(*parcels.Site) error) error
}

func (a *Auditor) around(orb.Bound) (*Auditor, error)                      { return a, nil }
func (a *Auditor) each(_ parcels.Layer, f func(*parcels.Site) error) error { return f(a.site) }

// siteWork is the site under audit once its lots have rows.
type siteWork struct {
	*basis
	land  land
	audit *parcels.Audit
	ties  map[string]*tie // by inlet
}

// tie is what the lots that reach an inlet would send.
type tie struct {
	lots  []string
	flow  hydro.Flow
	known bool
}

func (w *siteWork) find(f parcels.Finding) { w.audit.Findings = append(w.audit.Findings, f) }

// summary sums up rows that are handed over in the order of the site.
type summary struct {
	totals parcels.AuditTotals
	ties   map[string]*tie
	most   int
	worst  []rank
	n      int
}

func newSummary(most int) *summary {
	if most <= 0 {
		most = 20
	}
	return &summary{totals: parcels.AuditTotals{Findings: map[string]int{}}, ties: map[string]*tie{}, most: most}
}

func (s *summary) add(r *parcels.AuditRow) {
	count(&s.totals, r)
	s.rank(r)
	s.n++
	// not a lot that only has it as the nearest
	if r.Inlet == nil || r.Reach == parcels.ReachNo || r.LengthBy == "line" {
		return
	}
	t := s.ties[*r.Inlet]
	if t == nil {
		t = &tie{known: true}
		s.ties[*r.Inlet] = t
	}
	t.lots = append(t.lots, r.Lot)
	if r.Flow == nil {
		t.known = false
		return
	}
	t.flow += *r.Flow
}

// finish makes the audit, without rows: the checks of the site, the totals, the
// ranking.
func (s *summary) finish(c *basis, l land, o Options) (*parcels.Audit, error) {
	b := c.base
	out := &parcels.Audit{Status: parcels.Preliminary, Site: b.Name, Program: o.Program, Frame: planner.Statement(b), Rows: []parcels.AuditRow{},
		Shared: []parcels.SharedRow{}, Inlets: []parcels.InletRow{}, Worst: s.ranking(), Checks: []string{},
		Findings: append(append([]parcels.Finding{}, b.Findings...), c.notes...), Cautions: parcels.Cautions,
		Assumptions: append([]string{}, b.Assumptions...)}
	w := &siteWork{basis: c, land: l, audit: out, ties: s.ties}
	for _, k := range c.checks {
		out.Checks = append(out.Checks, k.Name)
		if k.Site == nil {
			continue
		}
		if err := k.Site(w); err != nil {
			return nil, fmt.Errorf("auditor: check %s: %w", k.Name, err)
		}
	}
	tidy(out.Findings)
	tally(&s.totals, out.Findings)
	s.totals.Zone, s.totals.DrainsOutside = round4(s.totals.Zone), round4(s.totals.DrainsOutside)
	out.Totals = s.totals
	out.Complete = s.totals.SetAside == 0
	return out, nil
}

// sum makes the audit of rows that are in the order of the site.
func (a *Auditor) sum(rows []parcels.AuditRow, o Options) (*parcels.Audit, error) {
	s := newSummary(o.Worst)
	for i := range rows {
		s.add(&rows[i])
	}
	out, err := s.finish(a.basis, a, o)
	if err == nil && rows != nil {
		out.Rows = rows
	}
	return out, err
}

func count(t *parcels.AuditTotals, r *parcels.AuditRow) {
	t.Lots++
	switch r.Verdict {
	case parcels.Feasible:
		t.Feasible++
	case parcels.NotProven:
		t.NotProven++
	case parcels.NotFeasible:
		t.NotFeasible++
	}
	if r.Error != "" {
		t.SetAside++
	}
	if r.Zone != nil {
		t.Zone += *r.Zone
		if *r.Zone == 0 {
			t.ZoneEmpty++
		}
	}
	switch r.Reach {
	case parcels.ReachYes:
		t.ReachYes++
	case parcels.ReachNo:
		t.ReachNo++
	default:
		t.ReachNotProven++
	}
	if r.DrainsOutside != nil {
		t.DrainsOutside += *r.DrainsOutside
	}
	tally(t, r.Findings)
}

func tally(t *parcels.AuditTotals, fs []parcels.Finding) {
	for _, f := range fs {
		t.Findings[f.Code]++
		if f.Severity == parcels.Stop {
			t.Stops++
		}
	}
}

// rank is how badly a lot stands.
type rank struct {
	lot              string
	stops, warns     int
	outside, missing float64
	at               int
}

// rank takes a lot into the ranking if it has a stop or a warning: more stops
// first, then more drain outside the line, then more missing fall, then more
// warnings, then the order of the site.
func (s *summary) rank(row *parcels.AuditRow) {
	r := rank{lot: row.Lot, at: s.n}
	for _, f := range row.Findings {
		switch f.Severity {
		case parcels.Stop:
			r.stops++
		case parcels.Warn:
			r.warns++
		}
	}
	if d := row.DrainsOutside; d != nil {
		r.outside = float64(*d)
	}
	if n, h := row.FallNeeded, row.FallAvailable; n != nil && h != nil {
		r.missing = math.Max(0, float64(*n-*h))
	}
	if r.stops+r.warns == 0 {
		return
	}
	if s.worst = append(s.worst, r); len(s.worst) > 100+4*s.most {
		s.ranking()
	}
}

// ranking cuts the ranking to its length and lists its lots.
func (s *summary) ranking() []string {
	sort.Slice(s.worst, func(i, j int) bool {
		a, b := s.worst[i], s.worst[j]
		return cmp.Or(cmp.Compare(b.stops, a.stops), cmp.Compare(b.outside, a.outside), cmp.Compare(b.missing, a.missing), cmp.Compare(b.warns, a.warns), cmp.Compare(a.at, b.at)) < 0
	})
	s.worst = slices.Clip(s.worst[:min(len(s.worst), s.most)])
	out := []string{}
	for _, r := range s.worst {
		out = append(out, r.lot)
	}
	return out
}

// half is half the trench's width.
func half(c parcels.Criteria) unit.Length { return c.Trench.Width / 2 }

func list(names []string) string { return strings.Join(names, ", ") }
