package runoff

// The rational method: composite coefficient, frequency factor, floors of the
// time of concentration, and the peak of several parts.

import (
	"fmt"
	"math"
	"sort"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/rain"
	"fallwright/hydro/source"
)

// Surface is an area of one runoff coefficient: a roof, a lawn, a drive, or the
// ground of a neighbour that runs on to the lot. LeafLoss is the share of the
// water that a leaf guard throws over the gutter; zero unless measured.
type Surface struct {
	Area     unit.Area
	C        float64 // 0 to 1
	LeafLoss float64 // 0 to 1
}

func (s Surface) check() error {
	if err := hydro.Check("area", float64(s.Area), 0, 1e10, "m2", ""); err != nil {
		return err
	}
	if err := hydro.Check("runoff coefficient C", s.C, 0, 1, "", source.HEC22); err != nil {
		return err
	}
	return hydro.Check("leaf-guard loss", s.LeafLoss, 0, 1, "", "")
}

// Composite returns the area-weighted coefficient, sum(C A)/sum(A), and the
// area. No area at all is a *hydro.RangeError. Source: HEC22, equation 3-2.
func Composite(surfaces ...Surface) (c float64, area unit.Area, err error) {
	ca := 0.0
	for _, s := range surfaces {
		if err := s.check(); err != nil {
			return 0, 0, err
		}
		ca += s.C * (1 - s.LeafLoss) * float64(s.Area)
		area += s.Area
	}
	if err := hydro.Check("total area", float64(area), hydro.Positive, 1e12, "m2", ""); err != nil {
		return 0, 0, err
	}
	return ca / float64(area), area, nil
}

// DefaultFactors are the frequency factors of design manuals: 1.0 to 10 years,
// 1.1 at 25, 1.2 at 50, 1.25 at 100. Source: Dhakal2013, table 3.
func DefaultFactors() map[float64]float64 {
	return map[float64]float64{2: 1, 5: 1, 10: 1, 25: 1.1, 50: 1.2, 100: 1.25}
}

// FrequencyFactor returns the factor of a return period from a table by years:
// straight in the logarithm of the return period between entries, held at the
// ends. An empty table is a factor of 1. Factors must lie in 0.5 to 2.
func FrequencyFactor(table map[float64]float64, t hydro.ReturnPeriod) (float64, error) {
	if err := hydro.Check("return period", float64(t), hydro.Positive, 1e6, "years", ""); err != nil {
		return 0, err
	}
	if f, ok := table[float64(t)]; ok {
		return f, hydro.Check("frequency factor", f, 0.5, 2, "", source.Dhakal2013)
	}
	years := make([]float64, 0, len(table))
	for y, f := range table {
		if err := hydro.Check("return period of a frequency factor", y, hydro.Positive, 1e6, "years", ""); err != nil {
			return 0, err
		}
		if err := hydro.Check("frequency factor", f, 0.5, 2, "", source.Dhakal2013); err != nil {
			return 0, err
		}
		years = append(years, y)
	}
	if len(years) == 0 {
		return 1, nil
	}
	sort.Float64s(years)
	x := float64(t)
	i := sort.SearchFloat64s(years, x)
	switch i {
	case 0:
		return table[years[0]], nil
	case len(years):
		return table[years[i-1]], nil
	}
	a, b := years[i-1], years[i]
	share := math.Log(x/a) / math.Log(b/a)
	return table[a] + share*(table[b]-table[a]), nil
}

// Factored returns C times the frequency factor, held at 1.
func Factored(c, factor float64) float64 { return math.Min(1, c*factor) }

// Rational returns the peak flow of area a with coefficient c under intensity i:
//
//	Q = C i A / 3.6e6      Q m3/s, i mm/h, A m2
//
// c from 0 to 1; a and i not negative; else *hydro.RangeError. Meant for small
// areas, HEC22 up to 80 ha.
func Rational(c float64, i hydro.Intensity, a unit.Area) (hydro.Flow, error) {
	if err := (Surface{Area: a, C: c}).check(); err != nil {
		return 0, err
	}
	if err := hydro.Check("rainfall intensity", float64(i), 0, 2000, "mm/h", ""); err != nil {
		return 0, err
	}
	return hydro.Flow(c * float64(i) * float64(a) / 3.6e6), nil
}

// Part is a piece of ground that reaches the point of design: its surfaces are
// one, with its own time of concentration there.
type Part struct {
	Surface
	Tc hydro.Duration
}

// Peak is a rational peak with what it was made of.
type Peak struct {
	Flow      hydro.Flow
	Tc        hydro.Duration // that governs
	Intensity hydro.Intensity
	CA        unit.Area // factored C times the area that is in by Tc
	Area      unit.Area // that is in by Tc
	Factor    float64
	Partial   bool // a part with a longer Tc was left out: the fast part alone gives more
	Notes     []hydro.Note
}

// PeakOf returns the greatest rational flow of the parts. For each part's time
// of concentration, held up to least, it takes all the ground that is in by then
// and keeps the largest: paved ground with a short time may give more than
// everything with the long one. factors may be nil (factor 1). Parts without any
// area give a *hydro.RangeError. Cost: parts squared.
func PeakOf(parts []Part, r rain.Rainfall, t hydro.ReturnPeriod, least hydro.Duration, factors map[float64]float64) (Peak, error) {
	if r == nil {
		return Peak{}, fmt.Errorf("runoff: no rainfall is given")
	}
	f, err := FrequencyFactor(factors, t)
	if err != nil {
		return Peak{}, err
	}
	if err := hydro.Check("least time of concentration", float64(least), 0, 1440, "min", ""); err != nil {
		return Peak{}, err
	}
	var all unit.Area
	tcs := make([]hydro.Duration, len(parts))
	for i, p := range parts {
		if err := p.check(); err != nil {
			return Peak{}, err
		}
		if err := hydro.Check("time of concentration", float64(p.Tc), 0, 1e5, "min", ""); err != nil {
			return Peak{}, err
		}
		tcs[i] = max(p.Tc, least)
		all += p.Area
	}
	if err := hydro.Check("total area", float64(all), hydro.Positive, 1e12, "m2", ""); err != nil {
		return Peak{}, err
	}
	var best Peak
	for i, tc := range tcs {
		if i > 0 && tc == tcs[i-1] {
			continue
		}
		p := Peak{Tc: tc, Factor: f}
		for j, part := range parts {
			if tcs[j] <= tc {
				p.CA += unit.Area(Factored(part.C, f) * (1 - part.LeafLoss) * float64(part.Area))
				p.Area += part.Area
			}
		}
		p.Intensity, p.Notes, err = r.Intensity(tc, t)
		if err != nil {
			return Peak{}, err
		}
		p.Flow = hydro.Flow(float64(p.Intensity) * float64(p.CA) / 3.6e6)
		p.Partial = p.Area < all
		if i == 0 || p.Flow > best.Flow {
			best = p
		}
	}
	return best, nil
}
