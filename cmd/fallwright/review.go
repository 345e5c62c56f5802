package main

// fallwright review: the reviewer's letter, round by round. fallwright compare:
// what differs between two audits.

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"fallwright/parcels"
	"fallwright/parcels/auditor"
	"fallwright/parcels/display"
)

type reviewCmd struct {
	Audit   string        `arg:"" optional:"" name:"audit" help:"Audit as JSON (fallwright audit ... --out audit.json). Left out, replies are entered in the letter."`
	Letter  string        `help:"Letter of the round before (.json): comments keep their numbers, what is mended is closed." placeholder:"FILE"`
	Replies []string      `name:"reply" help:"The applicant's reply to a comment, NUMBER=TEXT; repeat for more." placeholder:"N=TEXT" sep:"none"`
	Out     string        `short:"o" help:"File to write: .json to go on with, .txt to send; - is standard output."`
	Units   display.Units `help:"Units that people are shown: us or si." default:"us" enum:"us,si"`
}

func (c reviewCmd) Run(e *env) error {
	var letter *auditor.Letter
	if c.Letter != "" {
		letter = &auditor.Letter{}
		if err := e.readJSON(c.Letter, letter); err != nil {
			return err
		}
		if letter.Round < 1 {
			return inputFault(c.Letter, "not-a-letter", "The file is no letter of a review. Give the .json that `fallwright review --out` wrote.")
		}
	}
	if c.Audit == "" && letter == nil {
		return inputFault("", "file-missing", "Name an audit, or a letter with --letter to enter replies in.")
	}
	// replies belong to the round in which they were asked for
	for _, r := range c.Replies {
		number, text, ok := strings.Cut(r, "=")
		n, err := strconv.Atoi(strings.TrimSpace(number))
		if !ok || err != nil {
			return inputFault("", "reply-invalid", fmt.Sprintf("The reply %q is not NUMBER=TEXT.", parcels.Excerpt(r)))
		}
		if letter == nil {
			return inputFault("", "letter-missing", "A reply answers a letter: give it with --letter.")
		}
		if err := letter.Answer(n, text); err != nil {
			return err
		}
	}
	if c.Audit != "" {
		a, err := e.readAudit(c.Audit)
		if err != nil {
			return err
		}
		letter = auditor.Review(a, letter)
	}
	text := []byte(letter.Text(c.Units))
	if c.Out != "" && c.Out != "-" {
		out := text
		if strings.EqualFold(filepath.Ext(c.Out), ".json") {
			var err error
			if out, err = json.MarshalIndent(letter, "", " "); err != nil {
				return err
			}
			out = append(out, '\n')
		}
		if err := e.write(c.Out, out); err != nil {
			return err
		}
	}
	if err := e.write("-", text); err != nil {
		return err
	}
	if letter.Stops() > 0 {
		return errStop
	}
	return nil
}

type compareCmd struct {
	Before string        `arg:"" help:"Audit as JSON, before."`
	After  string        `arg:"" help:"Audit as JSON, after: a new export, or other criteria."`
	Out    string        `short:"o" help:"File to write: .json, or .csv with a line a lot that changed." placeholder:"FILE"`
	Units  display.Units `help:"Units that people are shown: us or si." default:"us" enum:"us,si"`
	JSON   bool          `name:"json" help:"Write the machine's form on standard output."`
}

func (c compareCmd) Run(e *env) error {
	before, err := e.readAudit(c.Before)
	if err != nil {
		return err
	}
	after, err := e.readAudit(c.After)
	if err != nil {
		return err
	}
	d := auditor.Compare(before, after)
	body, err := json.MarshalIndent(d, "", " ")
	if err != nil {
		return err
	}
	body = append(body, '\n')
	if c.Out != "" {
		if strings.EqualFold(filepath.Ext(c.Out), ".csv") {
			err = e.writeBy(c.Out, d.WriteTable)
		} else {
			err = e.write(c.Out, body)
		}
		if err != nil {
			return err
		}
	}
	if !c.JSON {
		body = []byte(d.Text(c.Units))
	}
	if err := e.write("-", body); err != nil {
		return err
	}
	if d.Worse > 0 {
		return errStop
	}
	return nil
}

// readJSON reads a file of this program's own.
func (e *env) readJSON(file string, to any) error {
	b, err := e.read(file)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(b, to); err != nil {
		return inputFault(file, "json-syntax", "The file cannot be read: "+parcels.Excerpt(err.Error())+".")
	}
	return nil
}

func (e *env) readAudit(file string) (*parcels.Audit, error) {
	var a parcels.Audit
	if err := e.readJSON(file, &a); err != nil {
		return nil, err
	}
	if a.Status != parcels.Preliminary || a.Checks == nil || a.Rows == nil {
		return nil, inputFault(file, "not-an-audit", "The file is no audit. Give the .json that `fallwright audit --out` wrote.")
	}
	return &a, nil
}
