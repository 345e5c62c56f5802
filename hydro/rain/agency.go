package rain

// Reading depth-duration-frequency tables as public agencies hand them out: lines
// of text with commas, prose above and below, rows found by their labels.

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"

	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Parse reads an agency's table of rainfall depths or intensities. It looks for
//
//   - the unit, anywhere above the table: inches, inches/hour, millimeters, mm/h, ...
//     (none is an error: the table could be off by 25.4);
//   - the series: "partial duration" or "annual maximum" (none: partial, as written
//     by column heads of plain years; heads like 1/10 mean annual);
//   - the row of return periods: a label with "ARI", "AEP", "return period" or
//     "recurrence", then years, rising;
//   - rows of a duration label (5-min, 2-hr, 10-day, "15 min", "1 h") and one value
//     for each return period.
//
// Rows are found by label and never by position. A second block of rows (agencies
// append confidence limits under their own headings) is not read. Text outside the
// UTF-8 range is let through. Errors name the line.
func Parse(data []byte) (*Table, error) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	t := Table{Source: source.NOAA14}
	var unit float64 // mm a unit; zero: not found yet
	rate := false    // the table holds intensities
	var rows []Row
	for n, raw := range strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(data)), "\n") {
		line := strings.TrimSpace(raw)
		low := strings.ToLower(line)
		cells := strings.Split(line, ",")
		label := strings.ToLower(strings.Trim(strings.TrimSpace(cells[0]), "\":"))
		d, isDuration := durationOf(label)
		switch {
		case line == "":
		case isDuration && t.Returns != nil && len(cells) > 1:
			if unit == 0 {
				return nil, fmt.Errorf("rain: line %d: the table does not say whether it is in inches or millimetres", n+1)
			}
			values, err := numbers(cells[1:])
			if err != nil {
				return nil, fmt.Errorf("rain: line %d: %s: %w", n+1, cells[0], err)
			}
			if len(values) != len(t.Returns) {
				return nil, fmt.Errorf("rain: line %d: %s has %d values for %d return periods", n+1, cells[0], len(values), len(t.Returns))
			}
			for j, v := range values {
				mm := v * unit
				if rate {
					mm *= d.Hours()
				}
				rows = append(rows, Row{d, t.Returns[j], hydro.Depth(mm)})
			}
		case len(cells) > 1 && containsAny(low, "ari", "aep", "return period", "recurrence", "exceedance") && hasNumbers(cells[1:]):
			if t.Returns != nil {
				// The head of a second block.
				if len(rows) > 0 {
					return finish(t, rows)
				}
				return nil, fmt.Errorf("rain: line %d: a second row of return periods before any depths", n+1)
			}
			for _, c := range cells[1:] {
				c = strings.Trim(strings.TrimSpace(c), "\"")
				if c == "" {
					continue
				}
				v, ok := strings.CutPrefix(c, "1/")
				if ok && t.Series == "" {
					t.Series = Annual
				}
				y, err := strconv.ParseFloat(v, 64)
				if err != nil || !(y > 0) {
					return nil, fmt.Errorf("rain: line %d: return period %q is no number of years", n+1, c)
				}
				t.Returns = append(t.Returns, hydro.ReturnPeriod(y))
			}
		case len(rows) == 0:
			if u, r := unitOf(low); u > 0 && unit == 0 {
				unit, rate = u, r
			}
			if strings.Contains(low, "data type") && strings.Contains(low, "intensity") {
				rate = true
			}
			switch {
			case strings.Contains(low, "annual maximum"):
				t.Series = Annual
			case strings.Contains(low, "partial duration"):
				t.Series = Partial
			}
			if name, ok := strings.CutPrefix(line, "Location name"); ok {
				if _, place, ok := strings.Cut(name, ":"); ok {
					t.Place = strings.TrimSpace(place)
				}
			}
		}
	}
	if t.Returns == nil {
		return nil, fmt.Errorf("rain: no row of return periods was found (a label with ARI, AEP or return period, then years)")
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("rain: no rows of durations were found (labels such as 5-min, 2-hr, 3-day)")
	}
	return finish(t, rows)
}

func finish(head Table, rows []Row) (*Table, error) {
	t, err := FromRows(rows, head.Series, head.Source)
	if err != nil {
		return nil, err
	}
	t.Place = head.Place
	return t, nil
}

// durationOf reads labels like "5-min", "2-hr", "24 h", "7-day".
func durationOf(label string) (hydro.Duration, bool) {
	i := strings.IndexFunc(label, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	if i <= 0 {
		return 0, false
	}
	v, err := strconv.ParseFloat(label[:i], 64)
	if err != nil || !(v > 0) {
		return 0, false
	}
	switch strings.Trim(label[i:], " -:") {
	case "min", "mins", "minute", "minutes", "m":
		return hydro.Duration(v), true
	case "h", "hr", "hrs", "hour", "hours":
		return hydro.Duration(v * 60), true
	case "d", "day", "days":
		return hydro.Duration(v * 1440), true
	}
	return 0, false
}

// unitOf finds the unit of depth in a line, in mm, and whether it is a rate.
func unitOf(low string) (mm float64, rate bool) {
	rate = containsAny(low, "/hour", "/hr", "/h)", "per hour", "mm/h", "in/h")
	switch {
	case containsAny(low, "millimeter", "millimetre", "(mm", "mm/h", "in mm", "units: metric"):
		return 1, rate
	case containsAny(low, "inches", "(in)", "in/h", "(in/", "units: english"):
		return 25.4, rate
	}
	return 0, false
}

func containsAny(s string, subs ...string) bool {
	for _, x := range subs {
		if strings.Contains(s, x) {
			return true
		}
	}
	return false
}

func hasNumbers(cells []string) bool {
	for _, c := range cells {
		c = strings.TrimPrefix(strings.Trim(strings.TrimSpace(c), "\""), "1/")
		if _, err := strconv.ParseFloat(c, 64); err == nil {
			return true
		}
	}
	return false
}

func numbers(cells []string) ([]float64, error) {
	var out []float64
	for _, c := range cells {
		c = strings.Trim(strings.TrimSpace(c), "\"")
		if c == "" {
			continue
		}
		v, err := strconv.ParseFloat(c, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%q is no depth", c)
		}
		out = append(out, v)
	}
	return out, nil
}
