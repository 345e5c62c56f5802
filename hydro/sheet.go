package hydro

// The calculation sheet: a result with its steps, to be followed by hand.

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"fallwright/hydro/source"
)

// Quantity is a named number of a sheet. Symbol is what the formula calls it: a
// letter followed by letters, digits or underscores.
type Quantity struct {
	Symbol string  `json:"symbol"`
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit,omitempty"`
}

// Step is one line of working. Formula is an expression over the symbols of Given
// and of the results above it, in the grammar of Evaluate, that gives Result. A
// step that only states a choice (a table's value, a rule) has no Formula.
type Step struct {
	Title   string     `json:"title"`
	Formula string     `json:"formula,omitempty"`
	Given   []Quantity `json:"given,omitempty"`
	Result  Quantity   `json:"result"`
	Source  string     `json:"source,omitempty"` // key of hydro/source
	Place   string     `json:"place,omitempty"`  // equation, table or page in it
	Remark  string     `json:"remark,omitempty"`
}

// Sheet is the working of one result.
type Sheet struct {
	Subject string `json:"subject"`
	Steps   []Step `json:"steps"`
	Notes   []Note `json:"notes,omitempty"`
}

// Add appends a step.
func (s *Sheet) Add(step Step) { s.Steps = append(s.Steps, step) }

// Join appends the steps and notes of other sheets.
func (s *Sheet) Join(others ...Sheet) {
	for _, o := range others {
		s.Steps = append(s.Steps, o.Steps...)
		s.Notes = append(s.Notes, o.Notes...)
	}
}

// Check works every formula of the sheet again from the values it shows and
// returns an error for the first step whose result they do not give within one
// part in ten thousand (one in a thousand from the digits that Text prints), whose
// symbol is missing, or whose source is not listed. A sheet that passes can be
// followed by hand.
func (s Sheet) Check() error {
	for i, st := range s.Steps {
		if st.Source != "" {
			if _, ok := source.Lookup(st.Source); !ok {
				return fmt.Errorf("hydro: step %d (%s): source key %q is not listed", i+1, st.Title, st.Source)
			}
		}
		if st.Formula == "" {
			continue
		}
		given := map[string]float64{}
		for _, q := range st.Given {
			given[q.Symbol] = q.Value
		}
		got, err := Evaluate(st.Formula, given)
		if err != nil {
			return fmt.Errorf("hydro: step %d (%s): %w", i+1, st.Title, err)
		}
		if d := math.Abs(got - st.Result.Value); !(d <= 1e-4*math.Abs(st.Result.Value)+1e-9) {
			return fmt.Errorf("hydro: step %d (%s): %s gives %g, the sheet says %g", i+1, st.Title, st.Formula, got, st.Result.Value)
		}
		for k, v := range given {
			given[k] = printed(v)
		}
		hand, err := Evaluate(st.Formula, given)
		if err != nil {
			return fmt.Errorf("hydro: step %d (%s): %w", i+1, st.Title, err)
		}
		if d := math.Abs(hand - st.Result.Value); !(d <= 1e-3*math.Abs(st.Result.Value)+2e-4) {
			return fmt.Errorf("hydro: step %d (%s): %s of the printed values gives %g, the sheet says %g", i+1, st.Title, st.Formula, hand, st.Result.Value)
		}
	}
	return nil
}

// Text sets the sheet as plain text: for each step the formula, the values with
// their units, the result and the source; then the notes, the sources and the
// cautions.
func (s Sheet) Text() string {
	var b strings.Builder
	b.WriteString(s.Subject + "\n" + strings.Repeat("=", len([]rune(s.Subject))) + "\n")
	var cited []string
	seen := map[string]bool{}
	cite := func(key string) {
		if key != "" && !seen[key] {
			seen[key] = true
			cited = append(cited, key)
		}
	}
	for i, st := range s.Steps {
		fmt.Fprintf(&b, "\n%d. %s\n", i+1, st.Title)
		for _, q := range st.Given {
			fmt.Fprintf(&b, "   %-8s %12s %-6s %s\n", q.Symbol, number(q.Value), q.Unit, q.Name)
		}
		if st.Formula != "" {
			fmt.Fprintf(&b, "   %s = %s\n", st.Result.Symbol, st.Formula)
		}
		fmt.Fprintf(&b, "   %-8s %12s %-6s %s\n", st.Result.Symbol, number(st.Result.Value), st.Result.Unit, st.Result.Name)
		if st.Remark != "" {
			fmt.Fprintf(&b, "   %s\n", st.Remark)
		}
		if st.Source != "" {
			where := st.Source
			if st.Place != "" {
				where += ", " + st.Place
			}
			fmt.Fprintf(&b, "   [%s]\n", where)
		}
		cite(st.Source)
	}
	if len(s.Notes) > 0 {
		b.WriteString("\nNotes\n")
		for _, n := range s.Notes {
			fmt.Fprintf(&b, "   - %s\n", n.Text)
			cite(n.Source)
		}
	}
	if len(cited) > 0 {
		b.WriteString("\nSources\n")
		for _, k := range cited {
			if src, ok := source.Lookup(k); ok {
				fmt.Fprintf(&b, "   [%s] %s (%s)\n", k, src.Document, src.Provenance)
			}
		}
	}
	b.WriteString("\nCautions\n")
	for _, c := range Cautions() {
		fmt.Fprintf(&b, "   - %s\n", c)
	}
	return b.String()
}

// number shows six significant digits, seven from 100 up (levels to a tenth of a
// millimetre): enough to follow by hand to one part in a thousand, see Check.
func number(v float64) string {
	if math.Abs(v) >= 100 {
		return strconv.FormatFloat(v, 'g', 7, 64)
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// printed is the value that number shows.
func printed(v float64) float64 {
	p, _ := strconv.ParseFloat(number(v), 64)
	return p
}
