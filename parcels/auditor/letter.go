package auditor

// The reviewer's letter: numbered comments with the rule cited, the applicant's
// reply, the round.

import (
	"fmt"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/display"
)

// Comment is one numbered comment. It keeps its number through the rounds.
type Comment struct {
	Number   int              `json:"number"`
	Round    int              `json:"round"` // in which it was first made
	Lot      string           `json:"lot,omitempty"`
	Feature  string           `json:"feature,omitempty"`
	Code     string           `json:"code"`
	Severity parcels.Severity `json:"severity"`
	Text     string           `json:"text"`
	Rule     string           `json:"rule"`
	Required *float64         `json:"required,omitempty"`
	Unit     string           `json:"unit,omitempty"`
	// Reply is the applicant's, by round; empty: none yet.
	Replies []Reply `json:"replies"`
	// Open until an audit no longer finds it.
	Open   bool `json:"open"`
	Closed int  `json:"closed_in_round,omitempty"`
}

// Reply is what the applicant answered in a round.
type Reply struct {
	Round int    `json:"round"`
	Text  string `json:"text"`
}

// Letter is a review in its latest round.
type Letter struct {
	Status   string    `json:"status"`
	Site     string    `json:"site"`
	Round    int       `json:"round"`
	Comments []Comment `json:"comments"`
	Cautions []string  `json:"cautions"`
}

// Review writes the next round of a letter: earlier comments that the audit no
// longer finds are closed, those that it still finds stay open under their
// numbers, new ones are numbered on. Notes are no comments. earlier is nil in
// the first round.
func Review(a *parcels.Audit, earlier *Letter) *Letter {
	l := &Letter{Status: parcels.Preliminary, Site: a.Site, Round: 1, Comments: []Comment{}, Cautions: parcels.Cautions}
	key := func(lot, code, feature string) string { return lot + "\x00" + code + "\x00" + feature }
	at := map[string]int{}
	if earlier != nil {
		l.Round = earlier.Round + 1
		for _, c := range earlier.Comments {
			c.Replies = append([]Reply{}, c.Replies...)
			if c.Open {
				at[key(c.Lot, c.Code, c.Feature)] = len(l.Comments)
			}
			l.Comments = append(l.Comments, c)
		}
	}
	still := map[int]bool{}
	say := func(f parcels.Finding) {
		if f.Severity == parcels.Note || f.Code == "layer_not_supplied" {
			return
		}
		k := key(f.Lot, f.Code, f.Feature)
		if i, ok := at[k]; ok {
			if c := &l.Comments[i]; !still[i] {
				c.Text, c.Severity, c.Required, c.Unit = f.Message, f.Severity, f.Required, f.Unit // with the numbers of this round
				still[i] = true
				return
			} else if strings.Contains(c.Text, f.Message) {
				return
			} else { // a second place of the same thing belongs to the same comment
				c.Text += " " + f.Message
				return
			}
		}
		at[k] = len(l.Comments)
		still[len(l.Comments)] = true
		rule := f.Source
		if rule == "" {
			rule = "good practice"
		}
		l.Comments = append(l.Comments, Comment{Number: len(l.Comments) + 1, Round: l.Round, Lot: f.Lot, Feature: f.Feature, Code: f.Code, Severity: f.Severity, Text: f.Message, Rule: rule, Required: f.Required, Unit: f.Unit, Replies: []Reply{}, Open: true})
	}
	for i := range a.Rows {
		for _, f := range a.Rows[i].Findings {
			say(f)
		}
	}
	for _, f := range a.Findings {
		say(f)
	}
	for i := range l.Comments {
		if c := &l.Comments[i]; c.Open && !still[i] {
			c.Open, c.Closed = false, l.Round
		}
	}
	return l
}

// Stops counts the open comments that must be resolved.
func (l *Letter) Stops() (n int) {
	for _, c := range l.Comments {
		if c.Open && c.Severity == parcels.Stop {
			n++
		}
	}
	return n
}

// Answer enters the applicant's reply to an open comment in the letter's round.
func (l *Letter) Answer(number int, text string) error {
	for i := range l.Comments {
		c := &l.Comments[i]
		if c.Number != number {
			continue
		}
		if !c.Open {
			return &parcels.Error{Kind: parcels.Conflict, Op: "auditor: reply", Subject: fmt.Sprintf("comment %d", number), Err: fmt.Errorf("it was closed in round %d", c.Closed)}
		}
		if strings.TrimSpace(text) == "" {
			return &parcels.Error{Kind: parcels.Invalid, Op: "auditor: reply", Subject: fmt.Sprintf("comment %d", number), Err: fmt.Errorf("the reply is empty")}
		}
		c.Replies = append(c.Replies, Reply{l.Round, text})
		return nil
	}
	return &parcels.Error{Kind: parcels.NotFound, Op: "auditor: reply", Subject: fmt.Sprintf("comment %d", number), Err: fmt.Errorf("the letter has comments 1 to %d", len(l.Comments))}
}

// Text is the letter as people read it: what must be resolved and what is asked
// in the order of their numbers, each with the rule it rests on in full, then what
// was closed.
func (l *Letter) Text(u display.Units) string {
	var b strings.Builder
	site := l.Site
	if site == "" {
		site = "site without a name"
	}
	fmt.Fprintf(&b, "Drainage review: %s\nRound %d (%s)\n\n", site, l.Round, l.Status)
	open, stops, closed, late := 0, l.Stops(), 0, 0
	for _, c := range l.Comments {
		switch {
		case c.Open && c.Round < l.Round:
			late++
			fallthrough
		case c.Open:
			open++
		default:
			closed++
		}
	}
	fmt.Fprintf(&b, "Open: %d comments, of which %d must be resolved. Closed: %d.", open, stops, closed)
	if late > 0 {
		fmt.Fprintf(&b, " Open from earlier rounds: %d.", late)
	}
	b.WriteString("\nEvery comment keeps its number through the rounds. Please reply by number.\n")
	last := "-"
	for _, c := range l.Comments {
		if !c.Open {
			continue
		}
		if c.Lot != last {
			if last = c.Lot; c.Lot == "" {
				b.WriteString("\nWHOLE SITE\n")
			} else {
				fmt.Fprintf(&b, "\nLOT %s\n", c.Lot)
			}
		}
		must := map[parcels.Severity]string{parcels.Stop: "Must be resolved", parcels.Warn: "Please answer"}[c.Severity]
		since := ""
		if c.Round < l.Round {
			since = fmt.Sprintf(" Open since round %d.", c.Round)
		}
		wrap(&b, fmt.Sprintf("%3d. ", c.Number), fmt.Sprintf("%s [%s.%s]", u.Text(c.Text), must, since))
		wrap(&b, "     Rule: ", u.Text(c.citation()))
		for _, r := range c.Replies {
			wrap(&b, fmt.Sprintf("     Reply, round %d: ", r.Round), r.Text)
		}
		if len(c.Replies) == 0 || c.Replies[len(c.Replies)-1].Round < l.Round {
			b.WriteString("     Reply: ______________________________\n")
		}
	}
	if closed > 0 {
		b.WriteString("\nCLOSED\n")
		for _, c := range l.Comments {
			if c.Open {
				continue
			}
			where := c.Lot
			if where == "" {
				where = "whole site"
			}
			wrap(&b, fmt.Sprintf("%3d. ", c.Number), fmt.Sprintf("(%s, round %d) %s", where, c.Closed, u.Text(c.Text)))
			for _, r := range c.Replies {
				wrap(&b, fmt.Sprintf("     Reply, round %d: ", r.Round), r.Text)
			}
		}
	}
	b.WriteString("\n")
	for _, c := range l.Cautions {
		wrap(&b, "- ", c)
	}
	return b.String()
}

// citation is the rule in full: a practice note with its fact and source, a
// criterion by its key and, where the key has a unit, what it asks.
func (c Comment) citation() string {
	if n, ok := parcels.PracticeNote(c.Rule); ok {
		return fmt.Sprintf("%s (%s; practice note %s)", strings.TrimSuffix(n.Text, "."), n.Source, c.Rule)
	}
	key, ok := strings.CutPrefix(c.Rule, "criteria ")
	if !ok {
		return c.Rule
	}
	if c.Required != nil && c.Unit != "" && strings.HasSuffix(key, "_"+c.Unit) {
		return fmt.Sprintf("the criterion %s of this review, %.3f %s", key, *c.Required, c.Unit)
	}
	return "the criteria " + key + " of this review"
}

// wrap writes words after a lead, in lines of 100, later lines set in as far as
// the first five columns.
func wrap(b *strings.Builder, lead, text string) {
	b.WriteString(lead)
	at := len(lead)
	for i, w := range strings.Fields(text) {
		switch {
		case i > 0 && at+1+len(w) > 100:
			b.WriteString("\n     ")
			at = 5
		case i > 0:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(w)
		at += len(w)
	}
	b.WriteByte('\n')
}
