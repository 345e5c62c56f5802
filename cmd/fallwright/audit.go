package main

// fallwright audit: every lot of a subdivision or a county.

import (
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"fallwright/geo/ground"
	"fallwright/parcels"
	"fallwright/parcels/auditor"
	"fallwright/parcels/display"
	"fallwright/parcels/jobs"
	"fallwright/parcels/sheet"
)

type auditCmd struct {
	inputs
	output
	Checks  []string `name:"check" help:"Check to run; repeat for more. None: those that are on by default."`
	Workers int      `help:"Lots worked at once; 0: one a processor."`
	Worst   int      `help:"How many of the worst lots to list." default:"20"`
	Paper   string   `help:"Paper of a report as .pdf: letter, tabloid, a4, a3." enum:"letter,tabloid,a4,a3" default:"letter"`
	Store   string   `help:"Audit a stored site: a file (name.gpkg) or postgres://..., where workers share the work." placeholder:"S" env:"FALLWRIGHT_STORE"`
	Site    string   `help:"Name of the stored site." placeholder:"NAME"`
}

func (c auditCmd) Run(e *env) error {
	audit, err := c.audit(e)
	if err != nil {
		return err
	}
	defer audit.Close()
	if c.Out != "" {
		if err := c.write(e, audit); err != nil {
			return err
		}
	}
	switch {
	case c.JSON && c.Out != "-":
		err = e.writeBy("-", audit.WriteJSON)
	case !c.JSON && c.Out != "-":
		err = auditTable(e, audit, c.units())
	}
	if err != nil {
		return err
	}
	if audit.Totals.Stops > 0 {
		return errStop
	}
	return nil
}

// audit works files, or a stored site.
func (c auditCmd) audit(e *env) (*auditor.Result, error) {
	if c.Site != "" && len(c.Files) == 0 {
		return c.stored(e)
	}
	s, surface, err := c.load(e)
	if err != nil {
		return nil, err
	}
	a, err := c.inProcess(e, s, surface)
	if err != nil {
		return nil, err
	}
	return auditor.Of(a, s), nil
}

// write puts the audit into the file in the form of its ending.
func (c auditCmd) write(e *env, audit *auditor.Result) error {
	switch ext := strings.ToLower(filepath.Ext(c.Out)); ext {
	case ".csv":
		return e.writeBy(c.Out, audit.WriteTable)
	case ".geojson":
		return e.writeBy(c.Out, audit.WriteLots)
	case ".pdf", ".xlsx":
		whole, err := audit.Load()
		if err != nil {
			return err
		}
		f, err := sheet.WriteAudit(whole, audit.Base, sheet.Order{Format: ext, Units: c.units(), Paper: c.Paper})
		if err != nil {
			return err
		}
		return e.write(c.Out, f.Body)
	}
	return e.writeBy(c.Out, audit.WriteJSON)
}

// inProcess audits a site by this process alone.
func (c auditCmd) inProcess(e *env, s *parcels.Site, surface ground.Surface) (*parcels.Audit, error) {
	o := auditor.Options{Checks: c.Checks, Lots: c.Lots, Workers: c.Workers, Surface: surface, Zones: true, Worst: c.Worst, Program: "fallwright " + version(), Report: e.progress("audit")}
	a, err := auditor.New(s, o)
	if err != nil {
		return nil, err
	}
	audit, err := a.Audit(e.ctx, o)
	e.progressDone()
	return audit, err
}

func auditTable(e *env, a *auditor.Result, u display.Units) error {
	w, t := e.stdout, a.Totals
	fmt.Fprintf(w, "%s: %d lots audited (%s)\n", siteName(a.Site), t.Lots, a.Status)
	fmt.Fprintf(w, "%d feasible, %d not proven, %d not feasible, %d set aside; no trench zone on %d; inlet in reach: %d yes, %d no, %d not proven; drains not clear over %s\n\n",
		t.Feasible, t.NotProven, t.NotFeasible, t.SetAside, t.ZoneEmpty, t.ReachYes, t.ReachNo, t.ReachNotProven, u.Distance(t.DrainsOutside))
	rows := map[string]*parcels.AuditRow{}
	for _, lot := range a.Worst {
		rows[lot] = nil
	}
	err := a.EachRow(func(r *parcels.AuditRow) error {
		if _, ok := rows[r.Lot]; ok {
			rows[r.Lot] = r
		}
		return nil
	})
	if err != nil {
		return err
	}
	tb := table{head: []string{"worst first", "verdict", "trench zone", "narrowest", "reach", "inlet", "length", "fall", "needed", "drains not clear", "first finding"}, right: "__rr__rrrr_"}
	text := func(s string) string { return s }
	for _, lot := range a.Worst {
		r := rows[lot]
		if r == nil {
			continue
		}
		first := ""
		for _, f := range r.Findings {
			if f.Severity == parcels.Stop {
				first = f.Code
				break
			}
		}
		if first == "" && len(r.Findings) > 0 {
			first = r.Findings[0].Code
		}
		tb.row(r.Lot, words(string(r.Verdict)), display.Or(r.Zone, u.Area), display.Or(r.Narrowest, u.Length), words(string(r.Reach)), display.Or(r.Inlet, text), display.Or(r.Length, u.Distance),
			display.Or(r.FallAvailable, u.Length), display.Or(r.FallNeeded, u.Length), display.Or(r.DrainsOutside, u.Distance), words(first))
	}
	if err := tb.write(w); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nOf the whole site:")
	findings(w, a.Findings, u)
	return cautions(w)
}

// progress shows how far a long job is, on standard error.
func (e *env) progress(what string) func(jobs.Progress) {
	return func(p jobs.Progress) {
		line := fmt.Sprintf("%s: %d of %d (%.0f %%)", what, p.Done, p.Items, p.Percent())
		fmt.Fprint(e.stderr, "\r\x1b[K"+line+pace(p))
	}
}

// pace tells how fast a job goes, how long the rest takes, what was set aside.
func pace(p jobs.Progress) string {
	out := ""
	if p.Done > 0 && p.Done < p.Items {
		out += fmt.Sprintf(", %.3g a second", p.PerSecond)
		if p.Left != nil {
			out += ", " + p.Left.Round(time.Second).String() + " left"
		}
	}
	if p.SetAside > 0 {
		out += fmt.Sprintf(", %d set aside", p.SetAside)
	}
	if p.Paused {
		out += ", paused"
	}
	return out
}

func (e *env) progressDone() { fmt.Fprint(e.stderr, "\r\x1b[K") }
