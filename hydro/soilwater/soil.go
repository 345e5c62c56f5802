package soilwater

// Soils by texture, stone by grading, and ranges that answers carry.

import (
	"cmp"
	"math"
	"slices"

	"fallwright/hydro"
	"fallwright/hydro/source"
)

// Range is a value that is known between two ends. Low is at most Likely, Likely at
// most High.
type Range[T ~float64] struct{ Low, Likely, High T }

// One is the range of a value that was measured or stated.
func One[T ~float64](v T) Range[T] { return Range[T]{v, v, v} }

// Over asks f at the three values of a range and returns its answers in rising
// order of value, Likely being the answer at the likely input.
func Over[In, Out ~float64](r Range[In], f func(In) (Out, error)) (Range[Out], error) {
	var out [3]Out
	for i, v := range []In{r.Low, r.Likely, r.High} {
		var err error
		if out[i], err = f(v); err != nil {
			return Range[Out]{}, err
		}
	}
	likely := out[1]
	slices.SortFunc(out[:], func(a, b Out) int { return cmp.Compare(a, b) })
	return Range[Out]{out[0], likely, out[2]}, nil
}

// Texture is a soil with its saturated conductivity.
type Texture struct {
	Name         string
	Conductivity Range[hydro.Conductivity]
	Sources      []string // of low, likely, high
}

// Textures returns the soils by USDA texture. Likely is Rawls1982 (from memory, as
// tabled in handbooks); low and high are the bounds of the permeability class of
// the texture (PermClass), widened to the compacted mean of Rawls1998 where that is
// lower; the slowest class is open below, and a tenth to a fifth of its bound is
// taken there. Lawns over builder's fill are compacted: lean to the low side, and measure
// where it matters.
func Textures() []Texture {
	rows := []struct {
		name              string
		low, likely, high float64 // mm/h
		src               string  // of the low end
	}{
		{"sand", 152, 210, 508, source.PermClass},
		{"loamy sand", 51, 61, 152, source.PermClass},
		{"sandy loam", 12.7, 26, 152, source.Rawls1998},
		{"loam", 3.8, 13, 51, source.Rawls1998},
		{"silt loam", 5.1, 6.8, 15, source.PermClass},
		{"sandy clay loam", 2.8, 4.3, 51, source.Rawls1998},
		{"clay loam", 1.5, 2.3, 15, source.PermClass},
		{"silty clay loam", 0.3, 1.5, 5.1, source.PermClass},
		{"sandy clay", 0.3, 1.2, 5.1, source.PermClass},
		{"silty clay", 0.15, 0.9, 1.5, source.PermClass},
		{"clay", 0.1, 0.6, 1.5, source.PermClass},
	}
	out := make([]Texture, len(rows))
	for i, r := range rows {
		out[i] = Texture{r.name, Range[hydro.Conductivity]{hydro.Conductivity(r.low / 1000), hydro.Conductivity(r.likely / 1000), hydro.Conductivity(r.high / 1000)},
			[]string{r.src, source.Rawls1982, source.PermClass}}
	}
	return out
}

// TextureNamed returns a soil by name.
func TextureNamed(name string) (Texture, bool) {
	for _, t := range Textures() {
		if t.Name == name {
			return t, true
		}
	}
	return Texture{}, false
}

// DrainablePorosity returns the share of the soil's volume that drains: the square
// root of the conductivity in cm a day, in percent, held to 1 to 30 %. Source:
// VanBeers1965.
func DrainablePorosity(k hydro.Conductivity) (float64, error) {
	if err := checkK(k); err != nil {
		return 0, err
	}
	return math.Min(math.Max(math.Sqrt(float64(k)*100*24)/100, 0.01), 0.30), nil
}

func checkK(k hydro.Conductivity) error {
	return hydro.Check("conductivity of the soil", float64(k), 1e-7, 100, "m/h", "")
}

// Sieve is the share of stone, by weight in percent, that passes an opening.
type Sieve struct {
	Opening string
	Least   float64
	Most    float64
}

// Stone is a standard size of coarse aggregate.
type Stone struct {
	Name   string
	Sieves []Sieve
	Source string
}

// Stones returns the gradings of drainage stone. Sizes 57 and 67 were read in
// IDOT209; size 8 is from memory of ASTMD448. Check the current standard before
// ordering.
func Stones() []Stone {
	return []Stone{
		{"No. 57", []Sieve{{"1 1/2 in", 100, 100}, {"1 in", 95, 100}, {"1/2 in", 25, 60}, {"No. 4", 0, 10}, {"No. 8", 0, 5}}, source.IDOT209},
		{"No. 67", []Sieve{{"1 in", 100, 100}, {"3/4 in", 90, 100}, {"3/8 in", 20, 55}, {"No. 4", 0, 10}, {"No. 8", 0, 5}}, source.IDOT209},
		{"No. 8", []Sieve{{"1/2 in", 100, 100}, {"3/8 in", 85, 100}, {"No. 4", 10, 30}, {"No. 8", 0, 10}, {"No. 16", 0, 5}}, source.ASTMD448},
	}
}
