package main

// fallwright zone and fallwright check: where a trench may lie, and whether a
// drawn one does.

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"fallwright/hydro"
	"fallwright/parcels"
	"fallwright/parcels/answer"
	"fallwright/parcels/display"
)

type zoneCmd struct {
	inputs
	output
	Pipe string `help:"Kind of pipe, which decides the clearance from foundations: solid or perforated." default:"solid" enum:"solid,perforated"`
}

func (c zoneCmd) Run(e *env) error {
	s, _, err := c.load(e)
	if err != nil {
		return err
	}
	col, err := answer.Zones(e.ctx, s, answer.Options{Lots: c.Lots, Pipe: c.Pipe})
	if err != nil {
		return err
	}
	return c.give(e, col, func(w io.Writer) error {
		u := c.units()
		t := table{head: []string{"lot", "trench zone", "pieces", "narrowest", "clearance", "why none"}, right: "_rrrr_"}
		for _, r := range col.Zones {
			t.row(r.Lot, u.Area(r.Area), fmt.Sprint(r.Pieces), display.Or(r.Narrowest, u.Length), display.Or(r.Clearance, u.Length), display.Or(r.EmptyReason, func(s string) string { return s }))
		}
		if err := t.write(w); err != nil {
			return err
		}
		zoneFindings(w, col.Zones, u)
		return cautions(w)
	})
}

// mostZoneFindings is how many findings of zones are printed; the document has
// them all.
const mostZoneFindings = 40

// zoneFindings prints what is to be told of the zones, the gravest first.
func zoneFindings(w io.Writer, rows []answer.ZoneRow, u display.Units) {
	var all []parcels.Finding
	for _, r := range rows {
		all = append(all, r.Findings...)
	}
	if len(all) == 0 {
		return
	}
	rank := map[parcels.Severity]int{parcels.Stop: 0, parcels.Warn: 1, parcels.Note: 2}
	slices.SortStableFunc(all, func(a, b parcels.Finding) int { return rank[a.Severity] - rank[b.Severity] })
	more := max(0, len(all)-mostZoneFindings)
	fmt.Fprintln(w, "\nFindings:")
	findings(w, all[:len(all)-more], u)
	if more > 0 {
		fmt.Fprintf(w, "  and %d more: --json or --out gives them all, lot by lot.\n", more)
	}
}

type checkCmd struct {
	inputs
	output
}

func (c checkCmd) Run(e *env) error {
	s, _, err := c.load(e)
	if err != nil {
		return err
	}
	col, err := answer.Checks(e.ctx, s, answer.Options{Lots: c.Lots})
	if err != nil {
		return err
	}
	return c.give(e, col, func(w io.Writer) error {
		u := c.units()
		t := table{head: []string{"drain", "lot", "verdict", "length", "not clear", "to lot line", "to foundation"}, right: "___rrrr"}
		for _, r := range col.Checks {
			t.row(r.Drain, display.Or(r.Lot, func(s string) string { return s }), words(string(r.Verdict)), u.Distance(r.Length), u.Distance(r.LengthOutside), display.Or(r.LeastClearance, u.Length), display.Or(r.LeastFoundation, u.Length))
		}
		if len(col.Checks) == 0 {
			fmt.Fprintln(w, "No drains to check: give them as the layer drains.")
		} else if err := t.write(w); err != nil {
			return err
		}
		for _, r := range col.Checks {
			findings(w, r.Findings, u)
		}
		if err := oldTable(w, col.Checks, u); err != nil {
			return err
		}
		return cautions(w)
	})
}

// oldTable prints what is made of existing drains of known inverts.
func oldTable(w io.Writer, rows []answer.CheckRow, u display.Units) error {
	t := table{head: []string{"old drain", "judgement", "fall", "carries full", "is to carry", "gets in", "to lay anew", "standing water"}, right: "__rrrrrr"}
	for _, r := range rows {
		if o := r.Condition; o != nil {
			t.row(o.Drain, string(o.Judgement), u.Slope(o.Slope), u.Flow(o.Capacity), display.Or(o.Flow, u.Flow), display.Or(o.Intake, u.Flow), u.Distance(o.Relay), u.Water(hydro.Volume(o.Standing)))
		}
	}
	if len(t.rows) == 0 {
		return nil
	}
	fmt.Fprintln(w, "\nExisting drains, looked into:")
	if err := t.write(w); err != nil {
		return err
	}
	for _, r := range rows {
		if r.Condition != nil {
			findings(w, r.Condition.Findings, u)
		}
	}
	return nil
}

// give writes a collection where it was asked for.
func (o output) give(e *env, col *answer.Collection, show func(io.Writer) error) error {
	return o.giveBy(e, func(w io.Writer) error { _, err := w.Write(col.Body); return err }, col.Stop, show)
}

// giveBy is give for a document that is too large to be held.
func (o output) giveBy(e *env, body func(io.Writer) error, stop bool, show func(io.Writer) error) error {
	if o.Out != "" {
		if err := e.writeBy(o.Out, body); err != nil {
			return err
		}
	}
	switch {
	case o.JSON && o.Out != "-":
		if err := e.writeBy("-", body); err != nil {
			return err
		}
	case !o.JSON && o.Out != "-":
		if err := show(e.stdout); err != nil {
			return err
		}
	}
	if stop {
		return errStop
	}
	return nil
}

func words(s string) string { return strings.ReplaceAll(s, "_", " ") }
