package runoff

import (
	"errors"
	"math"
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/internal/published"
	"fallwright/hydro/rain"
	"fallwright/hydro/source"
)

const (
	acre    = unit.Area(43560 * 0.3048 * 0.3048)
	hectare = unit.Area(10000)
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func errOf[T any](_ T, err error) error { return err }

func inPerH(i float64) hydro.Intensity { return hydro.Intensity(i * 25.4) }

// rat-const-us, rat-const-si: the constant is exact here.
func TestPublishedConstant(t *testing.T) {
	published.Check(t,
		published.Value{What: "1 in/h on 1 acre", Src: source.Definition, Loc: "unit constant 1.0083", Got: must(Rational(1, 25.4, acre)).CFS(), Want: 1.008333, Tol: 1e-6},
		published.Value{What: "100 mm/h on 1 ha", Src: source.HABITAT1991, Loc: "annex I, equation D.1", Got: float64(must(Rational(1, 100, hectare))), Want: 0.278, Tol: 0.0005})
}

// rat-hec22-3-1-exist and its read alternative, which uses a constant of 1.0, so
// 0.8 % is allowed for it.
func TestPublishedComposite(t *testing.T) {
	c, a, err := Composite(Surface{Area: 8.95 * hectare, C: 0.25}, Surface{Area: 8.6 * hectare, C: 0.22})
	if err != nil {
		t.Fatal(err)
	}
	const loc = "example 3-1 of the 2nd edition, from memory"
	published.Check(t,
		published.Value{What: "C", Src: source.HEC22, Loc: loc, Got: c, Want: 0.235, Tol: 0.001},
		published.Value{What: "Q", Src: source.HEC22, Loc: loc, Got: float64(must(Rational(c, 48, a))), Want: 0.55, Tol: 0.005})

	c, a, err = Composite(Surface{Area: 21.8 * hectare, C: 0.2}, Surface{Area: 1.5 * hectare, C: 0.95}, Surface{Area: 20.4 * hectare, C: 0.4})
	if err != nil {
		t.Fatal(err)
	}
	published.Check(t,
		published.Value{What: "C", Src: source.HDS2, Loc: "example 5.5, pp. 5-34, 5-35", Got: c, Want: 0.32, Tol: 0.002},
		published.Value{What: "Q", Src: source.HDS2, Loc: "example 5.5", Got: float64(must(Rational(c, 85, a))), Want: 3.3, Tol: 0.01})
	published.Check(t,
		published.Value{What: "Q in cfs", Src: source.HDS2, Loc: "example 5.5, C rounded to 0.32 and constant 1.0 in print", Got: must(Rational(0.32, inPerH(3.35), 108*acre)).CFS() / 1.008333, Want: 116, Tol: 0.5})
}

// rat-composite-256ac: printed with constant 1.0.
func TestPublishedComposite256(t *testing.T) {
	c, a, err := Composite(Surface{Area: 0.15 * 256 * acre, C: 0.6}, Surface{Area: 0.3 * 256 * acre, C: 0.2}, Surface{Area: 0.55 * 256 * acre, C: 0.3})
	if err != nil {
		t.Fatal(err)
	}
	published.Check(t,
		published.Value{What: "C", Src: source.HEC22, Loc: "256-acre textbook problem, read on an answers page (book from memory)", Got: c, Want: 0.315, Tol: 0.0005},
		published.Value{What: "Q", Src: source.HEC22, Loc: "256-acre textbook problem, read on an answers page (book from memory)", Got: must(Rational(c, inPerH(1.45), a)).CFS() / 1.008333, Want: 116.9, Tol: 0.1})
}

// rat-cf: factors read; the product and its cap are arithmetic.
func TestPublishedFrequencyFactor(t *testing.T) {
	for i, y := range []hydro.ReturnPeriod{10, 25, 50, 100} {
		f := must(FrequencyFactor(DefaultFactors(), y))
		published.Check(t,
			published.Value{What: "Cf", Src: source.Dhakal2013, Loc: "p. 480, table 3", Got: f, Want: []float64{1, 1.1, 1.2, 1.25}[i], Tol: 0.0005},
			published.Value{What: "C Cf", Src: source.Dhakal2013, Loc: "p. 480, table 3; product ours", Got: Factored(0.85, f), Want: []float64{0.85, 0.935, 1, 1}[i], Tol: 0.0005})
	}
}

// rat-c-table
func TestPublishedCoefficients(t *testing.T) {
	want := map[string][2]float64{
		"lawn, sandy soil, flat under 2 %": {0.05, 0.10}, "lawn, sandy soil, average 2 to 7 %": {0.10, 0.15}, "lawn, sandy soil, steep over 7 %": {0.15, 0.20},
		"lawn, heavy soil, flat under 2 %": {0.13, 0.17}, "lawn, heavy soil, average 2 to 7 %": {0.18, 0.22}, "lawn, heavy soil, steep over 7 %": {0.25, 0.35},
		"asphalt": {0.70, 0.95}, "concrete": {0.80, 0.95}, "brick": {0.70, 0.85}, "drives and walks": {0.75, 0.85}, "roofs": {0.75, 0.95},
		"single-family residential": {0.30, 0.50},
	}
	got := Coefficients()
	if len(got) != len(want) {
		t.Errorf("%d rows, want %d", len(got), len(want))
	}
	for _, r := range got {
		if w, ok := want[r.Name]; !ok || r.Low != w[0] || r.High != w[1] || r.Source != source.HDS2 {
			t.Errorf("%s: %g to %g (%s), want %v", r.Name, r.Low, r.High, r.Source, w)
		}
	}
}

// Hand: 100 m2 of roof, C 0.9, tc 5 min, and 2000 m2 of lawn, C 0.1, tc 30 min,
// with i = 3000/(t+10): at 5 min 200 mm/h * 90 m2 = 0.005 m3/s; at 30 min
// 75 mm/h * 290 m2 = 0.006042 m3/s. With only 400 m2 of lawn the whole gives
// 75 * 130 / 3.6e6 = 0.002708: the roof alone governs.
func TestHandPartialArea(t *testing.T) {
	r := must(rain.NewCurve(3000, 10, 1))
	parts := func(lawn unit.Area) []Part {
		return []Part{{Surface{Area: lawn, C: 0.1}, 30}, {Surface{Area: 100, C: 0.9}, 5}}
	}
	p := must(PeakOf(parts(2000), r, 10, 5, nil))
	if math.Abs(float64(p.Flow)-0.006041667) > 1e-8 || p.Partial || p.Tc != 30 {
		t.Errorf("whole: %+v", p)
	}
	p = must(PeakOf(parts(400), r, 10, 5, nil))
	if math.Abs(float64(p.Flow)-0.005) > 1e-9 || !p.Partial || p.Tc != 5 {
		t.Errorf("roof: %+v", p)
	}
	// A floor of 10 min holds the roof's time up: 150 mm/h * 90 m2.
	p = must(PeakOf(parts(400), r, 10, 10, nil))
	if math.Abs(float64(p.Flow)-0.00375) > 1e-9 {
		t.Errorf("floor: %+v", p)
	}
	// 100 years: 0.9*1.25 is held at 1; the leaf guard throws a tenth over.
	g := []Part{{Surface{Area: 100, C: 0.9, LeafLoss: 0.1}, 5}}
	p = must(PeakOf(g, r, 100, 5, DefaultFactors()))
	if math.Abs(float64(p.CA)-90) > 1e-9 || p.Factor != 1.25 {
		t.Errorf("factored: %+v", p)
	}
}

func TestBadInput(t *testing.T) {
	r := must(rain.NewCurve(3000, 10, 1))
	var re *hydro.RangeError
	for name, err := range map[string]error{
		"C above 1":       errOf(Rational(1.01, 50, 100)),
		"C below 0":       errOf(Rational(-0.1, 50, 100)),
		"NaN C":           errOf(Rational(math.NaN(), 50, 100)),
		"negative area":   errOf(Rational(0.5, 50, -1)),
		"negative rain":   errOf(Rational(0.5, -1, 100)),
		"no parts":        errOf(PeakOf(nil, r, 10, 5, nil)),
		"part C above 1":  errOf(PeakOf([]Part{{Surface{Area: 1, C: 2}, 5}}, r, 10, 5, nil)),
		"zero return":     errOf(PeakOf([]Part{{Surface{Area: 1, C: 0.5}, 5}}, r, 0, 5, nil)),
		"negative tc":     errOf(PeakOf([]Part{{Surface{Area: 1, C: 0.5}, -5}}, r, 10, 5, nil)),
		"factor of ten":   errOf(FrequencyFactor(map[float64]float64{10: 10}, 10)),
		"factor of ten 2": errOf(FrequencyFactor(map[float64]float64{10: 10}, 20)),
	} {
		if !errors.As(err, &re) {
			t.Errorf("%s: got %v, want a RangeError", name, err)
		}
	}
	if _, err := PeakOf([]Part{{Surface{Area: 1, C: 0.5}, 5}}, nil, 10, 5, nil); err == nil {
		t.Error("no rainfall was accepted")
	}
	if _, _, err := Composite(); err == nil {
		t.Error("no surfaces were accepted")
	}
}
