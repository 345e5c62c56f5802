// Package display is the one place for the units and the rounding that people
// see: tables, pages, sheets. Documents keep SI and full digits; nothing here
// feeds a calculation.
//
// US: decimal feet, percent, inches of pipe, gpm and cfs, square feet. SI:
// metres, percent, millimetres, litres a second, square metres. Elevations are
// decimal feet, never feet and inches (trade practice).
package display

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Units is the system that people are shown.
type Units string

const (
	US Units = "us"
	SI Units = "si"
)

// Parse reads "us" or "si"; empty is US.
func Parse(s string) (Units, error) {
	switch strings.ToLower(s) {
	case "", "us":
		return US, nil
	case "si":
		return SI, nil
	}
	return US, fmt.Errorf("display: units %q are neither us nor si", s)
}

// None is what stands for a value that is not known.
const None = "–"

// fixed rounds half away from zero and drops a negative zero.
func fixed(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// Length gives a length with its unit: 12.34 ft, 3.761 m.
func (u Units) Length(l unit.Length) string { return u.LengthBare(l) + " " + u.LengthUnit() }

// LengthBare gives a length without its unit: hundredths of a foot, or
// millimetres of a metre.
func (u Units) LengthBare(l unit.Length) string {
	if u == SI {
		return fixed(float64(l), 3)
	}
	return fixed(l.Feet(), 2)
}

// LengthUnit names the unit of lengths and elevations.
func (u Units) LengthUnit() string {
	if u == SI {
		return "m"
	}
	return "ft"
}

// Distance gives a long distance with its unit, to a tenth of a foot or a
// centimetre.
func (u Units) Distance(l unit.Length) string {
	if u == SI {
		return fixed(float64(l), 2) + " m"
	}
	return fixed(l.Feet(), 1) + " ft"
}

// Step gives a round length, of a scale bar or between contours, with its unit
// and without digits that it does not have: 1 ft, 0.25 m.
func (u Units) Step(l unit.Length) string {
	v := l.Feet()
	if u == SI {
		v = float64(l)
	}
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64) + " " + u.LengthUnit()
}

// Elevation gives an elevation without its unit.
func (u Units) Elevation(e unit.Elevation) string { return u.LengthBare(unit.Length(e)) }

// Area gives an area with its unit.
func (u Units) Area(a unit.Area) string {
	if u == SI {
		return fixed(float64(a), 1) + " m²"
	}
	return fixed(a.SquareFeet(), 0) + " ft²"
}

// Slope gives a slope in percent.
func (u Units) Slope(s unit.Slope) string { return fixed(100*float64(s), 2) + " %" }

// Flow gives a flow with its unit: gpm below 1 cfs, then cfs; litres a second.
func (u Units) Flow(q hydro.Flow) string {
	if u == SI {
		return fixed(1000*float64(q), 2) + " L/s"
	}
	if q.CFS() < 1 {
		return fixed(q.GPM(), 0) + " gpm"
	}
	return fixed(q.CFS(), 2) + " cfs"
}

// Chance gives a chance in percent.
func Chance(p float64) string {
	switch {
	case p < 0.005:
		return "< 1 %"
	case p > 0.995:
		return "> 99 %"
	}
	return fixed(100*p, 0) + " %"
}

// Velocity gives a velocity with its unit.
func (u Units) Velocity(v hydro.Velocity) string {
	if u == SI {
		return fixed(float64(v), 2) + " m/s"
	}
	return fixed(float64(v)/0.3048, 1) + " ft/s"
}

// Intensity gives a rain with its unit.
func (u Units) Intensity(i hydro.Intensity) string {
	if u == SI {
		return fixed(float64(i), 0) + " mm/h"
	}
	return fixed(i.InchesPerHour(), 2) + " in/h"
}

// Size gives a pipe's size: as sold, or its inside diameter.
func (u Units) Size(size string, diameterMM float64) string {
	if u == SI {
		return fixed(diameterMM, 0) + " mm"
	}
	return size
}

// Volume gives a volume of ground or stone: cubic yards or cubic metres.
func (u Units) Volume(m3 float64) string {
	if u == SI {
		return fixed(m3, 2) + " m³"
	}
	return fixed(m3/0.764554857984, 1) + " cu yd"
}

// Water gives a volume of water: gallons or cubic metres.
func (u Units) Water(v hydro.Volume) string {
	if u == SI {
		return fixed(float64(v), 2) + " m³"
	}
	return fixed(float64(v)/0.003785411784, 0) + " gal"
}

// quantity is a metric quantity in a sentence, with the feet that some state
// beside it.
var quantity = regexp.MustCompile(`(-?\d+(?:\.(\d+))?) (mm/h|mm|m3/s|m/s|m3|m2|m|litres|l/s)\b(?: \((\d+(?:\.\d+)? ft)\))?`)

// Text gives a sentence with the metric quantities in it, as findings have them,
// in the units shown. Water is gallons.
func (u Units) Text(s string) string {
	if u == SI {
		return s
	}
	return quantity.ReplaceAllStringFunc(s, func(q string) string {
		m := quantity.FindStringSubmatch(q)
		if m[4] != "" {
			return m[4]
		}
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return q
		}
		switch m[3] {
		case "mm/h":
			return u.Intensity(hydro.Intensity(v))
		case "mm":
			return fixed(v/25.4, 1) + " in"
		case "m3/s":
			return u.Flow(hydro.Flow(v))
		case "m/s":
			return fixed(v/0.3048, min(len(m[2]), 2)) + " ft/s"
		case "m3":
			return u.Water(hydro.Volume(v))
		case "l/s":
			return u.Flow(hydro.Flow(v / 1000))
		case "litres":
			return u.Water(hydro.Volume(v / 1000))
		case "m2":
			return u.Area(unit.Area(v))
		}
		ft := v / 0.3048
		// a whole foot that the metres were rounded from stays one: 3.05 m is 10 ft
		if whole := math.Round(ft); whole != 0 && math.Abs(ft-whole)*0.3048 <= 0.5*math.Pow10(-len(m[2])) && len(m[2]) >= 2 {
			ft = whole
		}
		return fixed(ft, min(max(len(m[2]), 1), 2)) + " ft"
	})
}

// Inches gives a length in inches to an eighth, for crews: 3 1/8 in.
func Inches(l unit.Length) string {
	eighths := int(math.Round(float64(l/unit.Inch) * 8))
	sign := ""
	if eighths < 0 {
		sign, eighths = "-", -eighths
	}
	whole, part := eighths/8, eighths%8
	frac := ""
	switch part {
	case 2:
		frac = "1/4"
	case 4:
		frac = "1/2"
	case 6:
		frac = "3/4"
	case 1, 3, 5, 7:
		frac = fmt.Sprintf("%d/8", part)
	}
	switch {
	case frac == "":
		return fmt.Sprintf("%s%d in", sign, whole)
	case whole == 0:
		return fmt.Sprintf("%s%s in", sign, frac)
	}
	return fmt.Sprintf("%s%d %s in", sign, whole, frac)
}

// Or shows a value that may be missing.
func Or[T any](v *T, show func(T) string) string {
	if v == nil {
		return None
	}
	return show(*v)
}

// Cell makes text one cell of a table file: no line break, no control
// character, and nothing that a spreadsheet would run as a formula (they pass
// over blanks before one). A plain number stays one.
func Cell(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t' || r == '\u2028' || r == '\u2029':
			return ' '
		case r < 0x20 || r == 0x7f:
			return -1
		}
		return r
	}, s)
	t := strings.TrimLeft(s, " \u00a0")
	if t == "" || !strings.ContainsRune("=+-@|%", rune(t[0])) {
		return s
	}
	if _, err := strconv.ParseFloat(t, 64); err == nil && t[0] == '-' {
		return s
	}
	return "'" + s
}
