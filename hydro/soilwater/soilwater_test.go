package soilwater

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"fallwright/geo/unit"
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

func errOf[T any](_ T, err error) error { return err }

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, tol)
	}
}

func perDay(m float64) hydro.Intensity { return hydro.Intensity(m * 1000 / 24) }

// sub-hooghoudt-ilri: numbers from memory; the printed table gives d 2.38 m, the
// closed form 2.30, so 0.1 m and 1 m are allowed.
func TestPublishedHooghoudt(t *testing.T) {
	d := Drains{Spacing: 30, Below: 5, Radius: 0.1, Above: 0.14 / 24, Under: 0.14 / 24}
	const loc = "ILRI 16 chapter 8 example, from memory"
	published.Check(t,
		published.Value{What: "equivalent depth at 30 m", Src: source.Hooghoudt, Loc: loc, Got: float64(must(d.EquivalentDepth())), Want: 2.38, Tol: 0.1},
		published.Value{What: "spacing", Src: source.Hooghoudt, Loc: loc, Got: float64(must(d.SpacingFor(perDay(0.002), 0.6))), Want: 30, Tol: 1},
		published.Value{What: "336 d + 100.8 at the table's d", Src: source.Hooghoudt, Loc: loc, Got: 8*0.14*2.38*0.6/0.002 + 4*0.14*0.36/0.002, Want: 901, Tol: 1})
	// The discharge at the spacing found is the recharge.
	d.Spacing = must(d.SpacingFor(perDay(0.002), 0.6))
	near(t, "discharge back", float64(must(d.Discharge(0.6))), float64(perDay(0.002)), 1e-9)
}

// sub-donnan: identity with Hooghoudt's form at the true depth; input ours.
func TestPublishedDonnan(t *testing.T) {
	l := must(Donnan(0.5/24, perDay(0.005), 2, 3))
	published.Check(t, published.Value{What: "spacing", Src: source.USBR1993, Loc: "chapter 5, from memory; input ours", Got: float64(l), Want: 44.721, Rel: 0.001})
	const d, h = 2.0, 1.0
	near(t, "Hooghoudt's form", math.Sqrt((8*0.5*d*h+4*0.5*h*h)/0.005), float64(l), 1e-9)
}

// sub-coeff
func TestPublishedCoefficient(t *testing.T) {
	const acre = unit.Area(43560 * 0.3048 * 0.3048)
	for i, in := range []float64{0.25, 0.375, 0.5, 1} {
		published.Check(t, published.Value{What: fmt.Sprintf("%g in a day", in), Src: source.NEH650, Loc: "unit facts, from memory",
			Got: must(Coefficient(hydro.DepthInches(in), acre)).CFS(), Want: []float64{0.0105, 0.01575, 0.021, 0.042}[i], Rel: 0.005})
	}
	published.Check(t, published.Value{What: "gpm", Src: source.NEH650, Loc: "unit facts, from memory", Got: must(Coefficient(25.4, acre)).GPM(), Want: 18.86, Rel: 0.005})
}

// sub-dupuit: input ours, answer ours from the published formula.
func TestPublishedDupuit(t *testing.T) {
	ft := unit.Foot
	q := must(Trench(hydro.Conductivity(10*0.3048/24), 6*ft, 1*ft, 50*ft, 100*ft, 1))
	published.Check(t,
		published.Value{What: "gpm a hundred feet", Src: source.USBR1993, Loc: "Dupuit, from memory; input ours", Got: q.GPM(), Want: 1.818, Rel: 0.001},
		published.Value{What: "ft2 a day", Src: source.USBR1993, Loc: "Dupuit, from memory; input ours", Got: q.CFS() * 86400 / 100, Want: 3.5, Rel: 0.001})
	both := must(Trench(hydro.Conductivity(10*0.3048/24), 6*ft, 1*ft, 50*ft, 100*ft, 2))
	near(t, "both sides", float64(both), 2*float64(q), 1e-15)
}

// sub-stone-grading: 57 and 67 read, 8 from memory.
func TestPublishedStone(t *testing.T) {
	want := map[string]map[string][2]float64{
		"No. 57": {"1 1/2 in": {100, 100}, "1 in": {95, 100}, "1/2 in": {25, 60}, "No. 4": {0, 10}, "No. 8": {0, 5}},
		"No. 67": {"1 in": {100, 100}, "3/4 in": {90, 100}, "3/8 in": {20, 55}, "No. 4": {0, 10}, "No. 8": {0, 5}},
		"No. 8":  {"1/2 in": {100, 100}, "3/8 in": {85, 100}, "No. 4": {10, 30}, "No. 8": {0, 10}, "No. 16": {0, 5}},
	}
	if len(Stones()) != len(want) {
		t.Errorf("%d sizes, want %d", len(Stones()), len(want))
	}
	for _, s := range Stones() {
		if len(s.Sieves) != len(want[s.Name]) {
			t.Errorf("%s: %d sieves", s.Name, len(s.Sieves))
		}
		for _, v := range s.Sieves {
			if w, ok := want[s.Name][v.Opening]; !ok || w != [2]float64{v.Least, v.Most} {
				t.Errorf("%s %s: %g to %g, want %v (%s)", s.Name, v.Opening, v.Least, v.Most, w, s.Source)
			}
		}
	}
}

// The two forms of the convergence term agree where they meet, and the equivalent
// depth grows with the true one and never exceeds it.
func TestPropertyEquivalentDepth(t *testing.T) {
	l := 20.0
	at := func(x float64) float64 { return equivalent(l, x*l/(2*math.Pi), 0.05) }
	near(t, "series and closed form", at(0.4999), at(0.5001), 0.001*at(0.5))
	last := 0.0
	for deep := 0.05; deep < 20; deep += 0.05 {
		d := equivalent(l, deep, 0.05)
		if d > deep || d < last-1e-9 {
			t.Fatalf("at %.2f m the equivalent depth is %.4f after %.4f", deep, d, last)
		}
		last = d
	}
}

// Oracle: the fall of the water table in small steps of time.
func TestOracleDrawdown(t *testing.T) {
	for _, below := range []unit.Length{0, 1.5} {
		d := Drains{Spacing: 8, Below: below, Radius: 0.15, Above: 0.01, Under: 0.005}
		want := float64(must(d.Drawdown(0.5, 0.1, 0.06))) / 60
		h, tt := 0.5, 0.0
		const dt = 0.01 // h
		for h > 0.1 {
			q := float64(must(d.Discharge(unit.Length(h)))) / 1000
			h -= q / 0.06 * dt
			tt += dt
		}
		near(t, fmt.Sprintf("hours with %g m below", below), tt, want, 0.002*want)
	}
}

// Hand: 60 m2 of pond, 3 m3 (5 cm). Trench 10 m by 0.3 m, cap 25.4 mm/h: 0.0762 m3/h;
// clay of 0.6 mm/h under 60 m2: 0.036 m3/h: 26.7 h likely. Slow end: 12.7 mm/h and 0.1
// mm/h: 0.0381 + 0.006: 68 h; quick end 50.8 and 1.5: 0.1524 + 0.09: 12.4 h.
func TestHandPond(t *testing.T) {
	clay, _ := TextureNamed("clay")
	grate := hydro.Flow(0.005)
	a := must(Drain(Pond{60, 3}, FrenchDrain{Length: 10, Width: 0.3, Intake: Cap(), Most: 1}, clay.Conductivity, 24, &grate))
	near(t, "likely", a.Hours.Likely, 26.74, 0.01)
	near(t, "slow", a.Hours.High, 68.03, 0.01)
	near(t, "quick", a.Hours.Low, 12.38, 0.01)
	near(t, "grate", *a.Instead, 0.1667, 0.001)
	if a.Verdict != WrongTool || len(a.Notes) != 1 || !strings.Contains(a.Notes[0].Text, "grate and solid pipe") {
		t.Errorf("%+v", a)
	}
	a = must(Drain(Pond{60, 3}, FrenchDrain{Length: 10, Width: 0.3, Intake: Cap(), Most: 1}, clay.Conductivity, 48, nil))
	if a.Verdict != Doubtful {
		t.Errorf("48 h: %s", a.Verdict)
	}
	sand, _ := TextureNamed("sand")
	if a := must(Drain(Pond{60, 3}, FrenchDrain{Intake: One(hydro.Intensity(0))}, sand.Conductivity, 24, nil)); a.Verdict != Works {
		t.Errorf("sand: %+v", a)
	}
	if a := must(Drain(Pond{60, 3}, FrenchDrain{Intake: One(hydro.Intensity(0))}, One(hydro.Conductivity(0)), 24, nil)); !math.IsInf(a.Hours.Likely, 1) || a.Verdict != WrongTool {
		t.Errorf("nothing goes: %+v", a)
	}
}

// Hand (practice rule): 1.5 ft of stone at 0.06 in/h soaks in 120 h, at 0.5 in/h in 14.
func TestHandInfiltration(t *testing.T) {
	r := must(Infiltration(1.5*unit.Foot, 0.4, Range[hydro.Conductivity]{0.06 * 0.0254, 0.5 * 0.0254, 1 * 0.0254}))
	near(t, "slow", float64(r.High)/60, 120, 0.01)
	near(t, "likely", float64(r.Likely)/60, 14.4, 0.01)
	if r.Low > r.Likely || r.Likely > r.High {
		t.Errorf("out of order: %+v", r)
	}
}

// Hand: 10 m by 0.3 m of cap at 12.7, 25.4, 50.8 mm/h: 0.0106, 0.0212, 0.0423 L/s; a
// gallon in 3 min at the likely rate.
func TestHandThroughCap(t *testing.T) {
	q := must(ThroughCap(10, 0.3, Cap()))
	near(t, "low", float64(q.Low)*1000, 0.010583, 1e-6)
	near(t, "likely", float64(q.Likely)*1000, 0.021167, 1e-6)
	near(t, "high", float64(q.High)*1000, 0.042333, 1e-6)
	if _, err := ThroughCap(-1, 0.3, Cap()); err == nil {
		t.Error("a negative length was accepted")
	}
}

func TestPropertyTextures(t *testing.T) {
	for _, x := range Textures() {
		c := x.Conductivity
		if !(0 < c.Low && c.Low <= c.Likely && c.Likely <= c.High) {
			t.Errorf("%s: %+v", x.Name, c)
		}
		for _, k := range x.Sources {
			if _, ok := source.Lookup(k); !ok {
				t.Errorf("%s: source %s is not listed", x.Name, k)
			}
		}
		mu := must(DrainablePorosity(c.Likely))
		if mu < 0.01 || mu > 0.3 {
			t.Errorf("%s: drainable porosity %.3f", x.Name, mu)
		}
	}
	if _, ok := TextureNamed("cheese"); ok {
		t.Error("cheese is a soil")
	}
	q := must(Over(Range[hydro.Conductivity]{0.001, 0.01, 0.1}, func(k hydro.Conductivity) (hydro.Flow, error) { return Interceptor(k, 0.05, 1, 30) }))
	if !(q.Low < q.Likely && q.Likely < q.High) {
		t.Errorf("%+v", q)
	}
	near(t, "interceptor", float64(q.Likely), 0.01/3600*0.05*30, 1e-12)
	near(t, "holes", float64(must(Perforations(0.002, 10, 0.1))), 0.61*0.02*math.Sqrt(2*9.81*0.1), 1e-9)
}

func TestBadInput(t *testing.T) {
	var re *hydro.RangeError
	good := Drains{Spacing: 8, Below: 1, Radius: 0.1, Above: 0.01, Under: 0.01}
	bad := good
	bad.Radius = 0
	for name, err := range map[string]error{
		"no conductivity":   errOf(Trench(0, 2, 1, 10, 10, 1)),
		"NaN conductivity":  errOf(Trench(hydro.Conductivity(math.NaN()), 2, 1, 10, 10, 1)),
		"trench over water": errOf(Trench(0.01, 1, 2, 10, 10, 1)),
		"no reach":          errOf(Trench(0.01, 2, 1, 0, 10, 1)),
		"three sides":       errOf(Trench(0.01, 2, 1, 10, 10, 3)),
		"no radius":         errOf(bad.EquivalentDepth()),
		"rising table":      errOf(good.Drawdown(0.2, 0.5, 0.1)),
		"no pores":          errOf(good.Drawdown(0.5, 0.2, 0)),
		"a flood":           errOf(good.SpacingFor(999, 0.01)),
		"no recharge":       errOf(good.SpacingFor(0, 0.5)),
		"no pond":           errOf(Drain(Pond{0, 1}, FrenchDrain{Intake: Cap()}, One(hydro.Conductivity(0.01)), 24, nil)),
		"range reversed":    errOf(Drain(Pond{1, 1}, FrenchDrain{Intake: Range[hydro.Intensity]{5, 4, 3}}, One(hydro.Conductivity(0.01)), 24, nil)),
	} {
		if !errors.As(err, &re) {
			t.Errorf("%s: got %v, want a RangeError", name, err)
		}
	}
}
