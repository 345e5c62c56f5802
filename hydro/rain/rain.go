package rain

// The one question that runoff asks of rain, and its two simplest answers.

import (
	"fmt"
	"math"

	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Rainfall answers with the intensity for a duration and a return period. Notes
// say where a table or curve was held at its end or could not tell return
// periods apart; they are findings, not errors. A duration or return period that
// is no positive number is a *hydro.RangeError.
type Rainfall interface {
	Intensity(d hydro.Duration, t hydro.ReturnPeriod) (hydro.Intensity, []hydro.Note, error)
}

// Codes of notes.
const (
	NoteDurationBelow = "duration_below_table"
	NoteDurationAbove = "duration_above_table"
	NoteReturnBelow   = "return_period_below_table"
	NoteReturnAbove   = "return_period_above_table"
	NoteOneIntensity  = "one_intensity_for_all_durations"
	NoteOneReturn     = "return_period_not_in_rainfall"
	NoteAnnual        = "annual_series_converted"
)

func checkAsked(d hydro.Duration, t hydro.ReturnPeriod) error {
	if err := hydro.Check("rainfall duration", float64(d), hydro.Positive, 1e6, "min", ""); err != nil {
		return err
	}
	return hydro.Check("return period", float64(t), hydro.Positive, 1e6, "years", "")
}

// Single is one stated intensity. It holds for every duration, with a note,
// unless the duration asked is the stated one. Duration and Return may be
// unknown (nil).
type Single struct {
	Value    hydro.Intensity
	Duration *hydro.Duration
	Return   *hydro.ReturnPeriod
}

// Intensity returns the stated value; see Rainfall.
func (s Single) Intensity(d hydro.Duration, t hydro.ReturnPeriod) (hydro.Intensity, []hydro.Note, error) {
	if err := checkAsked(d, t); err != nil {
		return 0, nil, err
	}
	if err := hydro.Check("stated intensity", float64(s.Value), 0, 2000, "mm/h", ""); err != nil {
		return 0, nil, err
	}
	var notes []hydro.Note
	switch {
	case s.Duration == nil:
		notes = append(notes, hydro.Note{Code: NoteOneIntensity,
			Text: fmt.Sprintf("one intensity of %.4g mm/h, stated without a duration, is used for every time of concentration", s.Value)})
	case *s.Duration != d:
		notes = append(notes, hydro.Note{Code: NoteOneIntensity,
			Text: fmt.Sprintf("the intensity of %.4g mm/h stated for %g min is used for %.3g min", s.Value, *s.Duration, d)})
	}
	return s.Value, append(notes, oneReturn(s.Return, t)...), nil
}

// oneReturn notes that the rainfall knows one return period and another was asked.
func oneReturn(has *hydro.ReturnPeriod, asked hydro.ReturnPeriod) []hydro.Note {
	if has == nil {
		return []hydro.Note{{Code: NoteOneReturn,
			Text: fmt.Sprintf("the rainfall is stated without a return period and is used as the %g-year rain", asked)}}
	}
	if *has != asked {
		return []hydro.Note{{Code: NoteOneReturn,
			Text: fmt.Sprintf("the rainfall is the %g-year one and was asked for %g years", *has, asked)}}
	}
	return nil
}

// Curve is a fitted intensity for one return period:
//
//	i = A/(t + B)^C     i mm/h, t min
//
// From and To bound the durations of the fit; To of zero leaves the upper end
// open. The value at the end is held outside them, with a note.
type Curve struct {
	A, B, C  float64
	From, To hydro.Duration
	Return   *hydro.ReturnPeriod
	Source   string
}

// NewCurve checks the coefficients: A positive, B not negative, C in 0.1 to 2, so
// that intensity falls as duration grows.
func NewCurve(a, b, c float64) (Curve, error) {
	k := Curve{A: a, B: b, C: c}
	return k, k.check()
}

func (k Curve) check() error {
	if err := hydro.Check("curve coefficient a", k.A, hydro.Positive, 1e7, "mm/h", ""); err != nil {
		return err
	}
	if err := hydro.Check("curve coefficient b", k.B, 0, 1e4, "min", ""); err != nil {
		return err
	}
	return hydro.Check("curve exponent c", k.C, 0.1, 2, "", "")
}

// Intensity returns the curve's value; see Rainfall.
func (k Curve) Intensity(d hydro.Duration, t hydro.ReturnPeriod) (hydro.Intensity, []hydro.Note, error) {
	if err := checkAsked(d, t); err != nil {
		return 0, nil, err
	}
	if err := k.check(); err != nil {
		return 0, nil, err
	}
	d, notes := hold(d, k.From, k.To, k.Source)
	return hydro.Intensity(k.A / math.Pow(float64(d)+k.B, k.C)), append(notes, oneReturn(k.Return, t)...), nil
}

// Quotient is the other fitted form, for one return period:
//
//	i = C/(t^E + F)     i mm/h, t min
//
// Source: Wenzel1982 (there in inches an hour: multiply C by 25.4).
type Quotient struct {
	C, E, F  float64
	From, To hydro.Duration
	Return   *hydro.ReturnPeriod
	Source   string
}

// Intensity returns the curve's value; see Rainfall.
func (k Quotient) Intensity(d hydro.Duration, t hydro.ReturnPeriod) (hydro.Intensity, []hydro.Note, error) {
	if err := checkAsked(d, t); err != nil {
		return 0, nil, err
	}
	if err := hydro.Check("curve coefficient c", k.C, hydro.Positive, 1e7, "mm/h", ""); err != nil {
		return 0, nil, err
	}
	if err := hydro.Check("curve exponent e", k.E, 0.1, 2, "", ""); err != nil {
		return 0, nil, err
	}
	if err := hydro.Check("curve coefficient f", k.F, 0, 1e4, "", ""); err != nil {
		return 0, nil, err
	}
	d, notes := hold(d, k.From, k.To, k.Source)
	return hydro.Intensity(k.C / (math.Pow(float64(d), k.E) + k.F)), append(notes, oneReturn(k.Return, t)...), nil
}

// Pieces are curves that hold one after the other in duration, in rising order.
// A duration belongs to the first piece whose To reaches it.
type Pieces []Curve

// Intensity returns the value of the piece that holds; see Rainfall. No pieces
// is a *hydro.RangeError.
func (p Pieces) Intensity(d hydro.Duration, t hydro.ReturnPeriod) (hydro.Intensity, []hydro.Note, error) {
	if err := hydro.Check("number of curves", float64(len(p)), 1, 1000, "", ""); err != nil {
		return 0, nil, err
	}
	for _, k := range p {
		if d <= k.To {
			return k.Intensity(d, t)
		}
	}
	return p[len(p)-1].Intensity(d, t)
}

// MinistryOfHealth is i = 25.4 a/(t + b) mm/h: a 30, b 10 from 5 to 20 min; a 40,
// b 20 from 20 to 100 min. Source: MinistryHealth (a page that quotes it prints
// 254 for 25.4: a lost decimal point). Its return period is not stated there.
func MinistryOfHealth() Pieces {
	return Pieces{
		{A: 25.4 * 30, B: 10, C: 1, From: 5, To: 20, Source: source.MinistryHealth},
		{A: 25.4 * 40, B: 20, C: 1, From: 20, To: 100, Source: source.MinistryHealth},
	}
}

// hold keeps d inside from..to and notes when it had to.
func hold(d, from, to hydro.Duration, src string) (hydro.Duration, []hydro.Note) {
	if d < from {
		return from, []hydro.Note{{Code: NoteDurationBelow, Source: src,
			Text: fmt.Sprintf("%.3g min is below the shortest duration of the rainfall, %g min: its intensity is held, and a shorter burst may be heavier", d, from)}}
	}
	if to > 0 && d > to {
		return to, []hydro.Note{{Code: NoteDurationAbove, Source: src,
			Text: fmt.Sprintf("%.4g min is above the longest duration of the rainfall, %g min: its intensity is held, which is on the safe side", d, to)}}
	}
	return d, nil
}
