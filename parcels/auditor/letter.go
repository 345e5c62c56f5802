package auditor

// The reviewer's letter: numbered comments with the rule cited, the applicant's
// reply, the round.

import (
	"fmt"
	"strings"

	"fallwright/parcels"
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
				c.Text, c.Severity = f.Message, f.Severity // with the numbers of this round
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
		l.Comments = append(l.Comments, Comment{Number: len(l.Comments) + 1, Round: l.Round, Lot: f.Lot, Feature: f.Feature, Code: f.Code, Severity: f.Severity, Text: f.Message, Rule: rule, Replies: []Reply{}, Open: true})
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

// Text is the letter as people read it: open comments by lot in the order of
// their numbers, then what was closed.
func (l *Letter) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Drainage review, %s, round %d (%s)\n", l.Site, l.Round, l.Status)
	open, closed := 0, 0
	for _, c := range l.Comments {
		if c.Open {
			open++
		} else {
			closed++
		}
	}
	fmt.Fprintf(&b, "%d comments are open, %d are closed.\n\n", open, closed)
	for _, c := range l.Comments {
		if !c.Open {
			continue
		}
		where := "Whole site"
		if c.Lot != "" {
			where = "Lot " + c.Lot
		}
		must := map[parcels.Severity]string{parcels.Stop: "Must be resolved", parcels.Warn: "Please answer"}[c.Severity]
		fmt.Fprintf(&b, "%d. %s. %s\n   %s. Rule: %s. First made in round %d.\n", c.Number, where, c.Text, must, c.Rule, c.Round)
		for _, r := range c.Replies {
			fmt.Fprintf(&b, "   Reply, round %d: %s\n", r.Round, r.Text)
		}
		if len(c.Replies) == 0 || c.Replies[len(c.Replies)-1].Round < l.Round {
			b.WriteString("   Reply: ____________________\n")
		}
		b.WriteString("\n")
	}
	if closed > 0 {
		b.WriteString("Closed:")
		for _, c := range l.Comments {
			if !c.Open {
				fmt.Fprintf(&b, " %d (round %d)", c.Number, c.Closed)
			}
		}
		b.WriteString("\n\n")
	}
	for _, c := range l.Cautions {
		b.WriteString("- " + c + "\n")
	}
	return b.String()
}
