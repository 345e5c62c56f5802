package rain

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"fallwright/hydro"
	"fallwright/hydro/internal/published"
	"fallwright/hydro/source"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func ask(r Rainfall, d hydro.Duration, t hydro.ReturnPeriod) (hydro.Intensity, []hydro.Note) {
	i, n, err := r.Intensity(d, t)
	if err != nil {
		panic(err)
	}
	return i, n
}

func has(notes []hydro.Note, code string) bool {
	for _, n := range notes {
		if n.Code == code {
			return true
		}
	}
	return false
}

// fortMyers is NOAA Atlas 14 Volume 9 Version 2, partial duration, 26.6 N 81.9 W,
// inches, as captured in June 2026. Public domain.
func fortMyers() *Table {
	t := Table{Series: Partial, Place: "26.6 N 81.9 W", Source: source.NOAA14,
		Durations: []hydro.Duration{5, 10, 15, 30, 60, 120, 1440},
		Returns:   []hydro.ReturnPeriod{1, 2, 5, 10, 25, 50, 100, 200, 500, 1000}}
	for _, row := range [][]float64{
		{0.553, 0.62, 0.731, 0.822, 0.95, 1.05, 1.15, 1.25, 1.38, 1.48},
		{0.81, 0.908, 1.07, 1.2, 1.39, 1.54, 1.68, 1.83, 2.02, 2.17},
		{0.988, 1.11, 1.3, 1.47, 1.7, 1.87, 2.05, 2.23, 2.47, 2.65},
		{1.6, 1.79, 2.11, 2.37, 2.74, 3.02, 3.31, 3.6, 3.99, 4.28},
		{2.14, 2.38, 2.79, 3.13, 3.62, 4.0, 4.38, 4.78, 5.32, 5.74},
		{2.69, 2.98, 3.47, 3.9, 4.49, 4.97, 5.46, 5.97, 6.66, 7.2},
		{4.01, 4.76, 6.09, 7.28, 9.05, 10.5, 12.1, 13.7, 16.1, 18.0},
	} {
		var depths []hydro.Depth
		for _, in := range row {
			depths = append(depths, hydro.DepthInches(in))
		}
		t.Depths = append(t.Depths, depths)
	}
	return must(NewTable(t))
}

// idf-noaa-table: nodes come back as printed.
func TestPublishedAtlasNodes(t *testing.T) {
	tab := fortMyers()
	for i, d := range tab.Durations {
		for j, r := range tab.Returns {
			got, notes, err := tab.Depth(d, r)
			if err != nil || len(notes) > 0 {
				t.Fatal(err, notes)
			}
			published.Check(t, published.Value{What: fmt.Sprintf("%g min, %g years", d, r), Src: source.NOAA14, Loc: "volume 9 version 2",
				Got: got.Inches(), Want: tab.Depths[i][j].Inches(), Tol: 1e-9})
		}
	}
	for d, want := range map[hydro.Duration]float64{5: 9.864, 10: 7.2, 15: 5.88, 30: 4.74, 60: 3.13, 120: 1.95, 1440: 0.3033} {
		i, _ := ask(tab, d, 10)
		published.Check(t, published.Value{What: fmt.Sprintf("10-year intensity at %g min", d), Src: source.NOAA14,
			Loc: "depth over duration", Got: i.InchesPerHour(), Want: want, Tol: 0.0001})
	}
}

// idf-moh
func TestPublishedMinistryOfHealth(t *testing.T) {
	for i, d := range []hydro.Duration{5, 10, 20, 40, 100} {
		got, _ := ask(MinistryOfHealth(), d, 2)
		published.Check(t, published.Value{What: fmt.Sprintf("%g min", d), Src: source.MinistryHealth, Loc: "25.4a/(t+b)",
			Got: float64(got), Want: []float64{50.8, 38.1, 25.4, 16.933, 8.467}[i], Tol: 0.001})
	}
	second, _ := ask(MinistryOfHealth()[1], 20, 2)
	published.Check(t, published.Value{What: "second branch at 20 min", Src: source.MinistryHealth, Loc: "branches meet", Got: float64(second), Want: 25.4, Tol: 1e-9})
}

// idf-wenzel-denver: coefficients from memory. Another 10-year fit for Denver, of
// the other form, is read (https://studylib.net/doc/10753003/precipitation) and
// gives 4 % less; both rows are kept.
func TestPublishedDenver(t *testing.T) {
	w := Quotient{C: 96.6 * 25.4, E: 0.97, F: 13.9, Source: source.Wenzel1982}
	i, _ := ask(w, 20, 10)
	published.Check(t,
		published.Value{What: "intensity", Src: source.Wenzel1982, Loc: "example 14.2.3, from memory", Got: i.InchesPerHour(), Want: 3.0, Tol: 0.01},
		published.Value{What: "depth", Src: source.Wenzel1982, Loc: "example 14.2.3, from memory", Got: i.InchesPerHour() / 3, Want: 1.0, Tol: 0.01})
	c := must(NewCurve(50.8*25.4, 10.5, 0.84))
	j, _ := ask(c, 20, 10)
	published.Check(t, published.Value{What: "power form", Src: source.Chow1988, Loc: "a 50.8, b 10.5, c 0.84, on a course page", Got: j.InchesPerHour(), Want: 2.878, Tol: 0.001})
}

// idf-hydro35: weights read; the six depths are from memory and serve as inputs.
func TestPublishedHydro35(t *testing.T) {
	in := hydro.DepthInches
	p5 := must(Hydro35Return(in(0.48), in(0.87), 25))
	p15 := must(Hydro35Return(in(1.02), in(1.86), 25))
	p60 := must(Hydro35Return(in(1.85), in(3.8), 25))
	const loc = "p. 28, equations 7 to 12; input depths from memory"
	published.Check(t,
		published.Value{What: "5 min", Src: source.Hydro35, Loc: loc, Got: p5.Inches(), Want: 0.72, Tol: 0.01},
		published.Value{What: "15 min", Src: source.Hydro35, Loc: loc, Got: p15.Inches(), Want: 1.54, Tol: 0.01},
		published.Value{What: "60 min", Src: source.Hydro35, Loc: loc, Got: p60.Inches(), Want: 3.08, Tol: 0.01},
		published.Value{What: "10 min", Src: source.Hydro35, Loc: loc, Got: must(Hydro35Ten(p5, p15)).Inches(), Want: 1.2, Tol: 0.01},
		published.Value{What: "30 min", Src: source.Hydro35, Loc: loc, Got: must(Hydro35Thirty(p15, p60)).Inches(), Want: 2.3, Tol: 0.01},
		published.Value{What: "25-year 15 min", Src: source.Hydro35, Loc: "p. 31, point 37 N 93 W",
			Got: must(Hydro35Return(in(0.94), in(1.79), 25)).Inches(), Want: 1.47, Tol: 0.01},
		published.Value{What: "100-year 10 min", Src: source.Hydro35, Loc: "p. 31, point 37 N 93 W",
			Got: must(Hydro35Ten(in(0.85), in(1.79))).Inches(), Want: 1.40, Tol: 0.01})
	if _, err := Hydro35Return(in(1), in(2), 20); err == nil {
		t.Error("20 years has no published weights")
	}
}

// idf-15from30
func TestPublishedFifteenFromThirty(t *testing.T) {
	p := must(FifteenFromThirty(hydro.DepthInches(2)))
	i := p.Inches() * 4
	published.Check(t,
		published.Value{What: "15-min depth", Src: source.NSPC2015, Loc: "appendix A.1", Got: p.Inches(), Want: 1.44, Tol: 0.0005},
		published.Value{What: "intensity", Src: source.NSPC2015, Loc: "appendix A.1", Got: i, Want: 5.76, Tol: 0.0005},
		published.Value{What: "gpm a square foot", Src: source.NSPC2015, Loc: "appendix A.1",
			Got: hydro.Flow(i * 25.4 / 3.6e6 * 0.3048 * 0.3048).GPM(), Want: 0.0598, Tol: 0.0005})
}

// Hand: halfway in log between 5 min (0.822 in) and 10 min (1.2 in) is the
// geometric mean of both: at 7.0711 min, sqrt(0.822*1.2) = 0.99318 in; and between
// 10 and 25 years at sqrt(250) = 15.811 years for 5 min sqrt(0.822*0.95) = 0.88369.
func TestHandInterpolation(t *testing.T) {
	tab := fortMyers()
	d, _, _ := tab.Depth(hydro.Duration(math.Sqrt(50)), 10)
	if math.Abs(d.Inches()-0.99318) > 1e-5 {
		t.Errorf("between durations: %.6f", d.Inches())
	}
	d, _, _ = tab.Depth(5, hydro.ReturnPeriod(math.Sqrt(250)))
	if math.Abs(d.Inches()-0.88369) > 1e-5 {
		t.Errorf("between return periods: %.6f", d.Inches())
	}
}

// Nothing is extrapolated in silence.
func TestPropertyOutsideIsSaid(t *testing.T) {
	tab := fortMyers()
	five, _ := ask(tab, 5, 10)
	i, notes := ask(tab, 2, 10)
	if i != five || !has(notes, NoteDurationBelow) {
		t.Errorf("2 min: %g, %v", i, notes)
	}
	day, _ := ask(tab, 1440, 10)
	i, notes = ask(tab, 5000, 10)
	if i != day || !has(notes, NoteDurationAbove) {
		t.Errorf("5000 min: %g, %v", i, notes)
	}
	thousand, _ := ask(tab, 5, 1000)
	i, notes = ask(tab, 5, 5000)
	if i != thousand || !has(notes, NoteReturnAbove) {
		t.Errorf("5000 years: %g, %v", i, notes)
	}
	_, notes = ask(tab, 5, 0.5)
	if !has(notes, NoteReturnBelow) {
		t.Errorf("half a year: %v", notes)
	}
	ten := hydro.Duration(10)
	_, notes = ask(Single{Value: 100, Duration: &ten}, 5, 10)
	if !has(notes, NoteOneIntensity) || !has(notes, NoteOneReturn) {
		t.Errorf("single: %v", notes)
	}
	if _, notes = ask(MinistryOfHealth(), 3, 10); !has(notes, NoteDurationBelow) {
		t.Errorf("curve: %v", notes)
	}
}

// Intensity falls with duration and grows with return period everywhere between
// the nodes.
func TestPropertyMonotone(t *testing.T) {
	tab := fortMyers()
	for r := hydro.ReturnPeriod(1); r < 1000; r *= 1.3 {
		last := hydro.Intensity(math.Inf(1))
		for d := hydro.Duration(5); d < 1440; d *= 1.05 {
			i, _ := ask(tab, d, r)
			up, _ := ask(tab, d, r*1.01)
			if i > last || up < i {
				t.Fatalf("%g min, %g years: %g after %g, %g for a rarer storm", d, r, i, last, up)
			}
			last = i
		}
	}
}

// Langbein: 1 in 2 a year is an average recurrence of 1.4427 years; asking an
// annual table for that recurrence gives its 2-year column.
func TestHandAnnualSeries(t *testing.T) {
	tab := must(FromRows([]Row{{5, 2, 10}, {5, 10, 15}, {60, 2, 30}, {60, 10, 45}}, Annual, ""))
	d, notes, err := tab.Depth(5, hydro.ReturnPeriod(1/math.Ln2))
	if err != nil || math.Abs(float64(d)-10) > 1e-9 || !has(notes, NoteAnnual) {
		t.Errorf("%g, %v, %v", d, notes, err)
	}
}

func TestBadTables(t *testing.T) {
	for name, rows := range map[string][]Row{
		"empty":            nil,
		"falls with time":  {{5, 10, 20}, {10, 10, 19}},
		"falls with years": {{5, 2, 20}, {5, 10, 19}},
		"zero depth":       {{5, 10, 0}},
		"negative time":    {{-5, 10, 3}},
		"intensity rises":  {{5, 10, 10}, {10, 10, 30}},
		"gap":              {{5, 10, 10}, {5, 25, 12}, {10, 10, 15}},
		"repeat":           {{5, 10, 10}, {5, 10, 11}},
		"NaN":              {{5, 10, hydro.Depth(math.NaN())}},
		"infinite":         {{5, 10, hydro.Depth(math.Inf(1))}},
	} {
		if tab, err := FromRows(rows, Partial, ""); err == nil {
			t.Errorf("%s: accepted: %v", name, tab)
		}
	}
	var r *hydro.RangeError
	if _, _, err := fortMyers().Intensity(0, 10); !errors.As(err, &r) {
		t.Errorf("zero duration: %v", err)
	}
	if _, _, err := fortMyers().Intensity(hydro.Duration(math.NaN()), 10); !errors.As(err, &r) {
		t.Errorf("NaN duration: %v", err)
	}
	if _, err := NewCurve(100, -5, 1); !errors.As(err, &r) {
		t.Errorf("negative b: %v", err)
	}
	if _, err := NewTable(Table{Durations: []hydro.Duration{10, 5}, Returns: []hydro.ReturnPeriod{10}, Depths: [][]hydro.Depth{{5}, {8}}}); err == nil ||
		!strings.Contains(err.Error(), "must rise") {
		t.Errorf("durations out of order: %v", err)
	}
}
