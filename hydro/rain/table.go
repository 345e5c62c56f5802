package rain

// Depth-duration-frequency tables and their interpolation.

import (
	"fmt"
	"math"
	"sort"

	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Series says how the storms behind a table were chosen.
type Series string

const (
	// Partial: all storms above a threshold; return periods are average
	// recurrence intervals. A table that does not say is taken as this.
	Partial Series = "partial duration"
	// Annual: the greatest storm of each year; its 1-in-T chance a year is an
	// average recurrence of 1/-ln(1-1/T) years.
	Annual Series = "annual maximum"
)

// Table holds depths by duration (rows) and return period (columns), both
// strictly rising. Make one with NewTable or FromRows, which check it.
type Table struct {
	Durations []hydro.Duration
	Returns   []hydro.ReturnPeriod // as printed: of an annual series, T of the 1-in-T chance
	Depths    [][]hydro.Depth      // [duration][return]
	Series    Series
	Place     string
	Source    string
}

// NewTable checks and returns a table: at least one duration and one return
// period, both strictly rising, every depth positive and finite, depth never
// falling with duration or return period, and intensity never rising with
// duration by more than 5 % (a mistyped row does; rounding does not). What breaks
// a rule is a *hydro.RangeError that names duration and return period.
func NewTable(t Table) (*Table, error) {
	if err := hydro.Check("number of durations in the rainfall table", float64(len(t.Durations)), 1, 1000, "", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("number of return periods in the rainfall table", float64(len(t.Returns)), 1, 1000, "", ""); err != nil {
		return nil, err
	}
	if err := hydro.Check("number of rows of depths in the rainfall table", float64(len(t.Depths)),
		float64(len(t.Durations)), float64(len(t.Durations)), "", ""); err != nil {
		return nil, err
	}
	if t.Series == "" {
		t.Series = Partial
	}
	if t.Series == Annual {
		// A chance of one in one year is certain: it has no recurrence interval.
		if err := hydro.Check("return period of an annual series", float64(t.Returns[0]), 1.001, 1e6, "years", source.AnnualSeries); err != nil {
			return nil, err
		}
	}
	last := 0.0
	for _, r := range t.Returns {
		if err := hydro.Check("return period in the rainfall table (must rise)", float64(r), math.Nextafter(last, 1), 1e6, "years", ""); err != nil {
			return nil, err
		}
		last = float64(r)
	}
	last = 0
	for i, d := range t.Durations {
		if err := hydro.Check("duration in the rainfall table (must rise)", float64(d), math.Nextafter(last, 1), 1e6, "min", ""); err != nil {
			return nil, err
		}
		last = float64(d)
		if err := hydro.Check(fmt.Sprintf("number of depths in the row of %g min", d), float64(len(t.Depths[i])),
			float64(len(t.Returns)), float64(len(t.Returns)), "", ""); err != nil {
			return nil, err
		}
		for j, p := range t.Depths[i] {
			at := fmt.Sprintf("depth of %g min, %g years", d, t.Returns[j])
			least, most := hydro.Positive, 10000.0
			if j > 0 {
				least = math.Max(least, float64(t.Depths[i][j-1]))
			}
			if i > 0 {
				least = math.Max(least, float64(t.Depths[i-1][j]))
				most = float64(t.Depths[i-1][j]) * float64(d/t.Durations[i-1]) * 1.05
			}
			if err := hydro.Check(at, float64(p), least, most, "mm", ""); err != nil {
				return nil, err
			}
		}
	}
	return &t, nil
}

// Row is one depth of a table given as a list.
type Row struct {
	Duration hydro.Duration
	Return   hydro.ReturnPeriod
	Depth    hydro.Depth
}

// RowOfIntensity returns the row of an intensity held for its duration.
func RowOfIntensity(d hydro.Duration, t hydro.ReturnPeriod, i hydro.Intensity) Row {
	return Row{d, t, hydro.Depth(float64(i) * d.Hours())}
}

// FromRows makes a table of rows in any order. Every duration needs every return
// period, once; a gap or a repeat is an error that names it.
func FromRows(rows []Row, series Series, src string) (*Table, error) {
	t := Table{Series: series, Source: src}
	di, ri := map[hydro.Duration]int{}, map[hydro.ReturnPeriod]int{}
	for _, r := range rows {
		if err := checkAsked(r.Duration, r.Return); err != nil {
			return nil, err
		}
		if _, ok := di[r.Duration]; !ok {
			di[r.Duration] = 0
			t.Durations = append(t.Durations, r.Duration)
		}
		if _, ok := ri[r.Return]; !ok {
			ri[r.Return] = 0
			t.Returns = append(t.Returns, r.Return)
		}
	}
	sort.Slice(t.Durations, func(i, j int) bool { return t.Durations[i] < t.Durations[j] })
	sort.Slice(t.Returns, func(i, j int) bool { return t.Returns[i] < t.Returns[j] })
	for i, d := range t.Durations {
		di[d] = i
		t.Depths = append(t.Depths, make([]hydro.Depth, len(t.Returns)))
		for j := range t.Depths[i] {
			t.Depths[i][j] = hydro.Depth(math.NaN())
		}
	}
	for j, r := range t.Returns {
		ri[r] = j
	}
	for _, r := range rows {
		cell := &t.Depths[di[r.Duration]][ri[r.Return]]
		if !math.IsNaN(float64(*cell)) {
			return nil, fmt.Errorf("rain: the table gives %g min, %g years twice", r.Duration, r.Return)
		}
		if math.IsNaN(float64(r.Depth)) {
			return nil, fmt.Errorf("rain: the depth of %g min, %g years is no number", r.Duration, r.Return)
		}
		*cell = r.Depth
	}
	for i, d := range t.Durations {
		for j, r := range t.Returns {
			if math.IsNaN(float64(t.Depths[i][j])) {
				return nil, fmt.Errorf("rain: the table has no depth for %g min, %g years; give every duration for every return period", d, r)
			}
		}
	}
	return NewTable(t)
}

// column returns the column value of an average recurrence interval: for an
// annual series T = 1/(1 - exp(-1/ARI)). Source: AnnualSeries.
func (t *Table) column(r hydro.ReturnPeriod) float64 {
	if t.Series == Annual {
		return 1 / -math.Expm1(-1/float64(r))
	}
	return float64(r)
}

// Depth returns the depth for a duration and an average recurrence interval,
// straight in the logarithms of depth, duration and return period. Outside the
// table the depth that gives the end's intensity (duration) or the end column
// (return period) is used, with a note. Nodes are returned exactly.
func (t *Table) Depth(d hydro.Duration, r hydro.ReturnPeriod) (hydro.Depth, []hydro.Note, error) {
	i, notes, err := t.Intensity(d, r)
	return hydro.Depth(float64(i) * d.Hours()), notes, err
}

// Intensity returns the mean intensity over the duration; see Rainfall and Depth.
func (t *Table) Intensity(d hydro.Duration, r hydro.ReturnPeriod) (hydro.Intensity, []hydro.Note, error) {
	if err := checkAsked(d, r); err != nil {
		return 0, nil, err
	}
	if len(t.Durations) == 0 || len(t.Depths) != len(t.Durations) {
		return 0, nil, fmt.Errorf("rain: the table is empty; make it with NewTable")
	}
	d, notes := hold(d, t.Durations[0], t.Durations[len(t.Durations)-1], t.Source)
	col := t.column(r)
	first, last := float64(t.Returns[0]), float64(t.Returns[len(t.Returns)-1])
	switch {
	case len(t.Returns) == 1 && col != first:
		col = first
		notes = append(notes, oneReturn(&t.Returns[0], r)...)
	case col < first*(1-1e-12):
		col = first
		notes = append(notes, hydro.Note{Code: NoteReturnBelow, Source: t.Source,
			Text: fmt.Sprintf("%g years is below the least return period of the rainfall table, %g: that is used, which is on the safe side", r, first)})
	case col > last*(1+1e-12):
		col = last
		notes = append(notes, hydro.Note{Code: NoteReturnAbove, Source: t.Source,
			Text: fmt.Sprintf("%g years is above the greatest return period of the rainfall table, %g: that is used, and the rain asked for is heavier", r, last)})
	}
	if t.Series == Annual {
		notes = append(notes, hydro.Note{Code: NoteAnnual, Source: source.AnnualSeries,
			Text: fmt.Sprintf("the table is an annual series: an average recurrence of %g years is read at 1 in %.3f", r, t.column(r))})
	}
	j, fj := between(len(t.Returns), func(k int) float64 { return float64(t.Returns[k]) }, col)
	i, fi := between(len(t.Durations), func(k int) float64 { return float64(t.Durations[k]) }, float64(d))
	row := func(k int) float64 {
		return logMix(float64(t.Depths[k][j]), float64(t.Depths[k][min(j+1, len(t.Returns)-1)]), fj)
	}
	p := row(i)
	if fi > 0 {
		p = logMix(p, row(i+1), fi)
	}
	return hydro.Intensity(p / d.Hours()), notes, nil
}

// between finds the interval of x among n rising values and the share of its
// logarithm; share 0 at a node, so that nodes come back exactly.
func between(n int, at func(int) float64, x float64) (int, float64) {
	i := sort.Search(n, func(k int) bool { return at(k) > x }) - 1
	if i < 0 {
		return 0, 0
	}
	if i >= n-1 || at(i) == x {
		return min(i, n-1), 0
	}
	return i, math.Log(x/at(i)) / math.Log(at(i+1)/at(i))
}

func logMix(a, b, f float64) float64 {
	if f == 0 {
		return a
	}
	return math.Exp(math.Log(a) + f*(math.Log(b)-math.Log(a)))
}

// Around returns the two rows between which a duration lies and their depths for a
// return period, for a calculation sheet. ok is false outside the table and at a
// single row.
func (t *Table) Around(d hydro.Duration, r hydro.ReturnPeriod) (d1, d2 hydro.Duration, p1, p2 hydro.Depth, ok bool) {
	i, _ := between(len(t.Durations), func(k int) float64 { return float64(t.Durations[k]) }, float64(d))
	if i+1 >= len(t.Durations) {
		i--
	}
	if i < 0 || d < t.Durations[i] || d > t.Durations[i+1] {
		return 0, 0, 0, 0, false
	}
	p1, _, err := t.Depth(t.Durations[i], r)
	if err != nil {
		return 0, 0, 0, 0, false
	}
	p2, _, err = t.Depth(t.Durations[i+1], r)
	return t.Durations[i], t.Durations[i+1], p1, p2, err == nil
}
