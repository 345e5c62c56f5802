package pipe

// The sizing table: every stock pipe for a flow and a slope, side by side.

import (
	"fmt"
	"sort"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Stock is a pipe that can be bought.
type Stock struct {
	Size string // as sold, "4 in"
	Wall string // smooth, corrugated
	Pipe
}

// Rule is what a sizing asks of a pipe. A nil bound is not asked.
type Rule struct {
	LeastVelocity    *hydro.Velocity // self-cleansing at the design low flow, or at this flow
	GreatestVelocity *hydro.Velocity
	LeastShear       *hydro.Pressure
	// LowFlow is the flow at which velocity and shear must clean; nil: the design
	// flow itself, which flatters a pipe that seldom runs so full.
	LowFlow *hydro.Flow
	Most    int // most pipes side by side, 1 or more
}

// Choice is one row of the table: a number of one stock pipe.
type Choice struct {
	Stock
	Count    int
	Capacity hydro.Flow // of all, just full
	At       State      // one pipe with its share of the design flow
	Low      State      // one pipe with its share of the low flow
	Carries  bool       // design flow within full-pipe capacity
	Cleans   bool       // least velocity and shear are reached at the low flow
	Slow     bool       // within the greatest velocity
	Notes    []hydro.Note
}

// Codes of notes.
const (
	NoteTooSmall = "capacity_below_flow"
	NoteDirty    = "not_self_cleansing"
	NoteFast     = "velocity_above_greatest"
)

// Table returns a row for every stock pipe, single and up to rule.Most side by
// side, for flow q at slope s: those that carry it first, fewest pipes first,
// then smallest. Rows that do not carry it follow, with the reason, so that an
// empty choice is never unexplained. An empty stock is a *hydro.RangeError.
func Table(stock []Stock, q hydro.Flow, s unit.Slope, rule Rule) ([]Choice, error) {
	if err := hydro.Check("number of stock pipes", float64(len(stock)), 1, 1e5, "", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("most pipes side by side", float64(rule.Most), 1, 10, "", ""); err != nil {
		return nil, err
	}
	low := q
	if rule.LowFlow != nil {
		low = *rule.LowFlow
	}
	var rows []Choice
	for n := 1; n <= rule.Most; n++ {
		for _, st := range stock {
			c := Choice{Stock: st, Count: n, Cleans: true, Slow: true}
			one, err := st.Capacity(s)
			if err != nil {
				return nil, fmt.Errorf("pipe: stock %s: %w", st.Size, err)
			}
			c.Capacity = one * hydro.Flow(n)
			if c.At, err = st.State(q/hydro.Flow(n), s); err != nil {
				return nil, fmt.Errorf("pipe: stock %s: %w", st.Size, err)
			}
			if c.Low, err = st.State(low/hydro.Flow(n), s); err != nil {
				return nil, fmt.Errorf("pipe: stock %s: %w", st.Size, err)
			}
			c.judge(q, rule)
			rows = append(rows, c)
		}
	}
	sort.SliceStable(rows, func(i, j int) bool {
		a, b := rows[i], rows[j]
		switch {
		case a.Carries != b.Carries:
			return a.Carries
		case a.Count != b.Count:
			return a.Count < b.Count
		}
		return a.Diameter < b.Diameter
	})
	return rows, nil
}

func (c *Choice) judge(q hydro.Flow, rule Rule) {
	c.Carries = q <= c.Capacity
	if !c.Carries {
		c.Notes = append(c.Notes, hydro.Note{Code: NoteTooSmall, Source: source.HEC22,
			Text: fmt.Sprintf("%d of %s %s carry %.4g m3/s just full, of %.4g asked", c.Count, c.Size, c.Wall, c.Capacity, q)})
	}
	if v := rule.LeastVelocity; v != nil && c.Low.Velocity < *v {
		c.Cleans = false
		c.Notes = append(c.Notes, hydro.Note{Code: NoteDirty, Source: source.ASCE60,
			Text: fmt.Sprintf("%.2f m/s at the low flow, %.2f asked", c.Low.Velocity, *v)})
	}
	if t := rule.LeastShear; t != nil && c.Low.Shear < *t {
		c.Cleans = false
		c.Notes = append(c.Notes, hydro.Note{Code: NoteDirty, Source: source.ASCE60,
			Text: fmt.Sprintf("shear of %.2f Pa at the low flow, %.2f asked", c.Low.Shear, *t)})
	}
	if v := rule.GreatestVelocity; v != nil && c.At.Velocity > *v {
		c.Slow = false
		c.Notes = append(c.Notes, hydro.Note{Code: NoteFast, Source: source.ASCE60,
			Text: fmt.Sprintf("%.2f m/s, at most %.2f asked", c.At.Velocity, *v)})
	}
}

// Best returns the first row that carries the flow, cleans itself and is not too
// fast; failing that the first that carries it; ok is false where none does.
func Best(rows []Choice) (c Choice, ok bool) {
	for _, r := range rows {
		if r.Carries && r.Cleans && r.Slow {
			return r, true
		}
	}
	for _, r := range rows {
		if r.Carries {
			return r, true
		}
	}
	return Choice{}, false
}

// Smallest returns the smallest stock pipe, and the fewest of them up to most side
// by side, that carries flow q just full at slope s, without the working of Table:
// single before double, then by diameter. ok is false where none does.
func Smallest(stock []Stock, q hydro.Flow, s unit.Slope, most int) (st Stock, count int, ok bool, err error) {
	if err := hydro.Check("number of stock pipes", float64(len(stock)), 1, 1e5, "", ""); err != nil {
		return Stock{}, 0, false, err
	}
	if err := hydro.Check("flow", float64(q), 0, hydro.Huge, "m3/s", ""); err != nil {
		return Stock{}, 0, false, err
	}
	for n := 1; n <= most && !ok; n++ {
		for _, p := range stock {
			c, err := p.Capacity(s)
			if err != nil {
				return Stock{}, 0, false, fmt.Errorf("pipe: stock %s: %w", p.Size, err)
			}
			if c*hydro.Flow(n) >= q && (!ok || p.Diameter < st.Diameter) {
				st, count, ok = p, n, true
			}
		}
	}
	return st, count, ok, nil
}
