package soilwater

// When a stone trench is the wrong tool: the hours in which a pond goes through
// the sod over it, and what goes faster.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Cap is the intake of the ground over a trench: 12.7 to 51 mm/h through topsoil
// and sod (source YardPractice, practice), likely at the lower third.
func Cap() Range[hydro.Intensity] { return Range[hydro.Intensity]{12.7, 25.4, 50.8} }

// Pond is standing water over a yard.
type Pond struct {
	Area   unit.Area
	Volume hydro.Volume
}

// FrenchDrain is a perforated pipe in stone under the pond, or the part of it that
// lies under the water.
type FrenchDrain struct {
	Length, Width unit.Length
	Intake        Range[hydro.Intensity] // of the cap; see Cap. Open stone to the surface: some metres an hour
	// Most that the pipe and its holes carry off; zero is a real limit.
	Most hydro.Flow
}

// Verdict says whether the trench does what is asked.
type Verdict string

const (
	// Works: even the slow end of the range is within the limit.
	Works Verdict = "works"
	// Doubtful: the likely value is within the limit, the slow end is not.
	Doubtful Verdict = "doubtful"
	// WrongTool: the likely value is over the limit.
	WrongTool Verdict = "wrong tool"
)

// Answer is how long the pond stands.
type Answer struct {
	Hours   Range[float64] // Low is the quickest
	Verdict Verdict
	// Instead is how long a grate and a solid pipe of the given capacity take; nil
	// where none was asked.
	Instead *float64
	Notes   []hydro.Note
}

// Drain returns the hours in which a pond goes through the trench and into the
// soil below it, against a limit in hours (24 to 48 is usual; 72 is where
// mosquitoes and dead turf begin):
//
//	hours = V/(min(w L i, most) + A k)
//
// i the cap's intake, k the soil's conductivity as its least intake, A the pond's
// area. grate is the capacity of a grate and solid pipe that would stand in its
// place; nil: not asked. The ends of both ranges are taken together, so the spread
// is the widest. Where nothing at all goes away the hours are infinite.
func Drain(p Pond, d FrenchDrain, soil Range[hydro.Conductivity], limit float64, grate *hydro.Flow) (Answer, error) {
	for _, e := range []error{
		hydro.Check("area of the pond", float64(p.Area), hydro.Positive, 1e7, "m2", ""),
		hydro.Check("volume of the pond", float64(p.Volume), 0, 1e7, "m3", ""),
		hydro.Check("length of trench under the pond", float64(d.Length), 0, 1e5, "m", ""),
		hydro.Check("width of the trench", float64(d.Width), 0, 100, "m", ""),
		hydro.Check("capacity of pipe and holes", float64(d.Most), 0, 100, "m3/s", ""),
		hydro.Check("limit", limit, hydro.Positive, 1e4, "h", ""),
		hydro.Check("intake of the cap, low", float64(d.Intake.Low), 0, float64(d.Intake.Likely), "mm/h", source.YardPractice),
		hydro.Check("intake of the cap, high", float64(d.Intake.High), float64(d.Intake.Likely), 1e6, "mm/h", source.YardPractice),
		hydro.Check("conductivity, low", float64(soil.Low), 0, float64(soil.Likely), "m/h", ""),
		hydro.Check("conductivity, high", float64(soil.High), float64(soil.Likely), 100, "m/h", ""),
	} {
		if e != nil {
			return Answer{}, e
		}
	}
	hours := func(i hydro.Intensity, k hydro.Conductivity) float64 {
		if p.Volume == 0 {
			return 0
		}
		trench := math.Min(float64(d.Width)*float64(d.Length)*float64(i)/1000, float64(d.Most)*3600)
		rate := trench + float64(p.Area)*float64(k) // m3/h
		if rate <= 0 {
			return math.Inf(1)
		}
		return float64(p.Volume) / rate
	}
	a := Answer{Hours: Range[float64]{hours(d.Intake.High, soil.High), hours(d.Intake.Likely, soil.Likely), hours(d.Intake.Low, soil.Low)}}
	switch {
	case a.Hours.Likely > limit:
		a.Verdict = WrongTool
	case a.Hours.High > limit:
		a.Verdict = Doubtful
	default:
		a.Verdict = Works
	}
	if grate != nil {
		if err := hydro.Check("capacity of grate and pipe", float64(*grate), hydro.Positive, 100, "m3/s", ""); err != nil {
			return Answer{}, err
		}
		h := float64(p.Volume) / float64(*grate) / 3600
		a.Instead = &h
	}
	if a.Verdict != Works {
		text := fmt.Sprintf("through the sod over the trench the pond stands %.0f h (%.0f to %.0f), %.0f h asked: the cap and the soil hold it, not the pipe; a grate and solid pipe at the low spot",
			a.Hours.Likely, a.Hours.Low, a.Hours.High, limit)
		if a.Instead != nil {
			text += fmt.Sprintf(" take it in %.1f h", *a.Instead)
		} else {
			text += " work in its place"
		}
		a.Notes = append(a.Notes, hydro.Note{Code: "stone_trench_wrong_tool", Text: text, Source: source.YardPractice})
	}
	return a, nil
}

// Infiltration returns the time in which the water in a stone trench of a given
// depth soaks away through its bottom: depth times voids over the soil's intake,
// for all of the range. Source: YardPractice (practice: 24 to 48 h wanted, 72 h limit).
func Infiltration(depth unit.Length, voids float64, soil Range[hydro.Conductivity]) (Range[hydro.Duration], error) {
	if err := hydro.Check("depth of water in the stone", float64(depth), 0, 100, "m", ""); err != nil {
		return Range[hydro.Duration]{}, err
	}
	if err := hydro.Check("void ratio of the stone", voids, 0.05, 0.6, "", source.YardPractice); err != nil {
		return Range[hydro.Duration]{}, err
	}
	return Over(soil, func(k hydro.Conductivity) (hydro.Duration, error) {
		if err := checkK(k); err != nil {
			return 0, err
		}
		return hydro.Duration(60 * float64(depth) * voids / float64(k)), nil
	})
}

// ThroughCap returns what goes through the sod and topsoil over a trench, for the
// range of its intake; see Cap.
func ThroughCap(length, width unit.Length, intake Range[hydro.Intensity]) (Range[hydro.Flow], error) {
	if err := hydro.Check("length of the trench", float64(length), 0, 1e5, "m", ""); err != nil {
		return Range[hydro.Flow]{}, err
	}
	if err := hydro.Check("width of the trench", float64(width), 0, 100, "m", ""); err != nil {
		return Range[hydro.Flow]{}, err
	}
	return Over(intake, func(i hydro.Intensity) (hydro.Flow, error) {
		if err := hydro.Check("intake of the cap", float64(i), 0, 1e6, "mm/h", source.YardPractice); err != nil {
			return 0, err
		}
		return hydro.Flow(float64(length.Times(width)) * float64(i) / 3.6e6), nil
	})
}
