package auditor

// Two audits side by side: before and after a new export, or under two
// criteria.

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/display"
)

// Change is one lot that stands differently in two audits.
type Change struct {
	Lot string `json:"lot"`
	// What: added, removed, changed.
	What   string          `json:"what"`
	Before parcels.Verdict `json:"before,omitempty"`
	After  parcels.Verdict `json:"after,omitempty"`
	// Why says in words what is different: numbers of the row first, then
	// findings that came and went.
	Why []string `json:"why"`
	// Worse: the verdict fell, or a stop came.
	Worse bool `json:"worse"`
}

// Comparison is what two audits differ in.
type Comparison struct {
	Status    string   `json:"status"`
	Same      int      `json:"same"`
	Added     int      `json:"added"`
	Removed   int      `json:"removed"`
	Changed   int      `json:"changed"`
	Worse     int      `json:"worse"`
	Better    int      `json:"better"`
	Changes   []Change `json:"changes"`
	Cautions  []string `json:"cautions"`
	Checks    []string `json:"checks"` // those that both asked
	OnlyFirst []string `json:"checks_only_before"`
	OnlyLast  []string `json:"checks_only_after"`
}

// grain is what a number of a row may move by and count as the same: the
// millimetre, which a change of plane alone can cause.
const grain = 0.001

// Compare lists the lots that stand differently, in the order of the second
// audit, those that are gone at the end. Numbers count as the same within a
// millimetre (areas within a thousandth of their size besides).
func Compare(before, after *parcels.Audit) Comparison {
	c := Comparison{Status: parcels.Preliminary, Changes: []Change{}, Cautions: parcels.Cautions, Checks: []string{}, OnlyFirst: []string{}, OnlyLast: []string{}}
	for _, k := range before.Checks {
		if slices.Contains(after.Checks, k) {
			c.Checks = append(c.Checks, k)
		} else {
			c.OnlyFirst = append(c.OnlyFirst, k)
		}
	}
	for _, k := range after.Checks {
		if !slices.Contains(before.Checks, k) {
			c.OnlyLast = append(c.OnlyLast, k)
		}
	}
	old := map[string]*parcels.AuditRow{}
	for i := range before.Rows {
		old[before.Rows[i].Lot] = &before.Rows[i]
	}
	seen := map[string]bool{}
	for i := range after.Rows {
		b := &after.Rows[i]
		seen[b.Lot] = true
		a := old[b.Lot]
		if a == nil {
			c.Added++
			c.Changes = append(c.Changes, Change{Lot: b.Lot, What: "added", After: b.Verdict, Why: messages(b.Findings)})
			continue
		}
		why := rowWhy(a, b, c.Checks)
		if len(why) == 0 && a.Verdict == b.Verdict {
			c.Same++
			continue
		}
		ch := Change{Lot: b.Lot, What: "changed", Before: a.Verdict, After: b.Verdict, Why: why}
		rank := map[parcels.Verdict]int{parcels.Feasible: 0, parcels.NotProven: 1, parcels.NotFeasible: 2}
		sa, sb := stops(a), stops(b)
		switch {
		case rank[b.Verdict] > rank[a.Verdict] || rank[b.Verdict] == rank[a.Verdict] && sb > sa:
			ch.Worse = true
			c.Worse++
		case rank[b.Verdict] < rank[a.Verdict] || sb < sa:
			c.Better++
		}
		c.Changed++
		c.Changes = append(c.Changes, ch)
	}
	for i := range before.Rows {
		if a := &before.Rows[i]; !seen[a.Lot] {
			c.Removed++
			c.Changes = append(c.Changes, Change{Lot: a.Lot, What: "removed", Before: a.Verdict, Why: []string{}})
		}
	}
	return c
}

// Text is the comparison as people read it: lots that are worse first.
func (c Comparison) Text(u display.Units) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Two audits compared (%s): %d lots stand as before, %d changed (%d worse, %d better), %d are new, %d are gone.\n", c.Status, c.Same, c.Changed, c.Worse, c.Better, c.Added, c.Removed)
	if len(c.OnlyFirst)+len(c.OnlyLast) > 0 {
		fmt.Fprintf(&b, "Checks asked before only: %s; after only: %s. What they find shows as gone or new, and better or worse may only mean that less or more was asked.\n", orNone(c.OnlyFirst), orNone(c.OnlyLast))
	}
	for _, worse := range []bool{true, false} {
		for _, ch := range c.Changes {
			if ch.Worse != worse {
				continue
			}
			head := fmt.Sprintf("\nLot %s: %s", ch.Lot, ch.What)
			switch {
			case ch.What == "changed" && ch.Before != ch.After:
				head += fmt.Sprintf(", %s to %s", plainWords(ch.Before), plainWords(ch.After))
			case ch.What == "changed":
				head += ", still " + plainWords(ch.After)
			case ch.After != "":
				head += ", " + plainWords(ch.After)
			}
			if ch.Worse {
				head += " (worse)"
			}
			b.WriteString(head + "\n")
			for _, w := range ch.Why {
				wrap(&b, "   - ", u.Text(w))
			}
		}
	}
	b.WriteString("\n")
	for _, x := range c.Cautions {
		wrap(&b, "- ", x)
	}
	return b.String()
}

func plainWords(v parcels.Verdict) string { return strings.ReplaceAll(string(v), "_", " ") }

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return list(names)
}

// WriteTable writes the lots that changed as CSV: one header line, one line a lot.
func (c Comparison) WriteTable(w io.Writer) error {
	t := csv.NewWriter(w)
	if err := t.Write([]string{"lot", "what", "before", "after", "worse", "why"}); err != nil {
		return err
	}
	for _, ch := range c.Changes {
		if err := t.Write([]string{display.Cell(ch.Lot), ch.What, string(ch.Before), string(ch.After), fmt.Sprint(ch.Worse), display.Cell(strings.Join(ch.Why, "; "))}); err != nil {
			return err
		}
	}
	t.Flush()
	return t.Error()
}

func stops(r *parcels.AuditRow) (n int) {
	for _, f := range r.Findings {
		if f.Severity == parcels.Stop {
			n++
		}
	}
	return n
}

// rowWhy says what differs between two rows of a lot; numbers only where both
// audits asked the check that gives them.
func rowWhy(a, b *parcels.AuditRow, checks []string) []string {
	why := []string{}
	num := func(name, unit string, x, y *float64) {
		switch {
		case x == nil && y == nil:
		case x == nil || y == nil:
			why = append(why, fmt.Sprintf("%s: %s to %s", name, say(x, unit), say(y, unit)))
		case math.Abs(*x-*y) > grain && (unit != "m2" || math.Abs(*x-*y) > grain*math.Abs(*x)):
			why = append(why, fmt.Sprintf("%s: %s to %s", name, say(x, unit), say(y, unit)))
		}
	}
	asked := func(names ...string) bool {
		return slices.ContainsFunc(names, func(n string) bool { return slices.Contains(checks, n) })
	}
	if asked("zone") {
		num("trench zone", "m2", plain(a.Zone), plain(b.Zone))
	}
	if asked("passages") {
		num("narrowest passage", "m", plain(a.Narrowest), plain(b.Narrowest))
	}
	if asked("reach", "nearest_inlet") {
		if a.Reach != b.Reach {
			why = append(why, fmt.Sprintf("reach: %s to %s", a.Reach, b.Reach))
		}
		if x, y := name(a.Inlet), name(b.Inlet); x != y {
			why = append(why, fmt.Sprintf("inlet: %s to %s", x, y))
		}
		num("length", "m", plain(a.Length), plain(b.Length))
		num("fall at hand", "m", plain(a.FallAvailable), plain(b.FallAvailable))
		num("fall needed", "m", plain(a.FallNeeded), plain(b.FallNeeded))
	}
	if asked("drains") {
		num("drains outside", "m", plain(a.DrainsOutside), plain(b.DrainsOutside))
	}
	return append(why, findingWhy(a.Findings, b.Findings)...)
}

// findingWhy lists findings that came and went, by code and feature, and those
// whose severity changed.
func findingWhy(a, b []parcels.Finding) []string {
	key := func(f parcels.Finding) string { return f.Code + " " + f.Feature }
	was, is := map[string]parcels.Severity{}, map[string]parcels.Severity{}
	for _, f := range a {
		was[key(f)] = f.Severity
	}
	for _, f := range b {
		is[key(f)] = f.Severity
	}
	why := []string{}
	told := map[string]bool{}
	for _, f := range b {
		k := key(f)
		if told[k] {
			continue
		}
		told[k] = true
		switch s, ok := was[k]; {
		case !ok:
			why = append(why, "new: "+f.Message)
		case s != is[k]:
			why = append(why, fmt.Sprintf("%s to %s: %s", s, is[k], f.Message))
		}
	}
	for _, f := range a {
		k := key(f)
		if _, ok := is[k]; !ok && !told[k] {
			told[k] = true
			why = append(why, "gone: "+f.Message)
		}
	}
	return why
}

func messages(fs []parcels.Finding) []string {
	out := []string{}
	for _, f := range fs {
		out = append(out, f.Message)
	}
	return out
}

func plain[T ~float64](v *T) *float64 {
	if v == nil {
		return nil
	}
	return ptr(float64(*v))
}

func say(v *float64, unit string) string {
	if v == nil {
		return "not known"
	}
	return fmt.Sprintf("%.3f %s", *v, unit)
}

func name(s *string) string {
	if s == nil {
		return "none"
	}
	return *s
}
