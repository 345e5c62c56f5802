package hydro

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"fallwright/hydro/source"
)

func TestHandEvaluate(t *testing.T) {
	vars := map[string]float64{"Q": 2, "D_1": 0.5, "n": 0.012}
	for expr, want := range map[string]float64{
		"1 + 2*3":                       7,
		"-2^2":                          -4,
		"2^3^2":                         512,
		"2^-1":                          0.5,
		"(1+2)*3/4 - 1":                 1.25,
		"Q/n":                           2 / 0.012,
		"sqrt(D_1)*pi":                  math.Sqrt(0.5) * math.Pi,
		"max(1, 2, min(5,3))":           3,
		"1e-3*1.5e2":                    0.15,
		"ln(2.718281828459045)":         1,
		"2*acos(1 - 2*0.25/1)":          2 * math.Acos(0.5),
		"abs(-3) - -3":                  6,
		"log10(1000)^2":                 9,
		"  ( ( 4 ) )  ":                 4,
		"10 - 4 - 3":                    3,
		"100/10/2":                      5,
		"0.3117/n*D_1^(8/3)*Q^(1/2)":    0.3117 / 0.012 * math.Pow(0.5, 8.0/3) * math.Sqrt2,
		"sin(pi/6)+cos(0)+asin(1)*2/pi": 2.5,
	} {
		got, err := Evaluate(expr, vars)
		if err != nil || math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
			t.Errorf("%s: got %g, %v, want %g", expr, got, err, want)
		}
	}
	for _, bad := range []string{"", "1+", "(1", "x", "1 2", "sqrt()", "sqrt(1,2)", "f(1)", "1..2", "*3", ")", "min()", strings.Repeat("(", 1000)} {
		if v, err := Evaluate(bad, vars); err == nil {
			t.Errorf("%q: accepted as %g", bad, v)
		}
	}
}

func FuzzEvaluate(f *testing.F) {
	f.Add("1+2*x")
	f.Add("sqrt(-1)^(2/3)")
	f.Fuzz(func(t *testing.T, s string) { _, _ = Evaluate(s, map[string]float64{"x": 1}) })
}

func sample() Sheet {
	return Sheet{Subject: "Flow of one roof", Steps: []Step{{Title: "Rational flow", Formula: "C*i*A/3600000",
		Given:  []Quantity{{"C", "coefficient", 0.95, ""}, {"i", "intensity", 180, "mm/h"}, {"A", "roof", 100, "m2"}},
		Result: Quantity{"Q", "peak flow", 0.00475, "m3/s"}, Source: source.HEC22, Place: "equation 3-1"}},
		Notes: []Note{{Code: "x", Text: "a note", Source: source.TR55}}}
}

// Hand: 0.95*180*100/3.6e6 = 0.00475.
func TestHandSheet(t *testing.T) {
	s := sample()
	if err := s.Check(); err != nil {
		t.Fatal(err)
	}
	text := s.Text()
	for _, want := range []string{"Flow of one roof", "Q = C*i*A/3600000", "0.00475", "m3/s", "[fhwa-hec-22-2009, equation 3-1]", "from memory", "a note", "TR-55", "licensed engineer"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks %q:\n%s", want, text)
		}
	}
	data, err := json.Marshal(s)
	if err != nil || !strings.Contains(string(data), `"formula":"C*i*A/3600000"`) {
		t.Errorf("data: %s, %v", data, err)
	}
	wrong := sample()
	wrong.Steps[0].Result.Value = 0.005
	missing := sample()
	missing.Steps[0].Given = missing.Steps[0].Given[:2]
	unlisted := sample()
	unlisted.Steps[0].Source = "hearsay"
	for name, s := range map[string]Sheet{"wrong result": wrong, "missing symbol": missing, "unlisted source": unlisted} {
		if s.Check() == nil {
			t.Errorf("%s passes the check", name)
		}
	}
}

func TestHandHydrograph(t *testing.T) {
	h := Hydrograph{{0, 0}, {10, 2}, {20, 0}}
	// a triangle of 20 min and 2 m3/s: 1200 m3
	if h.Volume() != 1200 || h.At(5) != 1 || h.At(-1) != 0 || h.At(21) != 0 || h.Check() != nil {
		t.Errorf("%g, %g, %v", h.Volume(), h.At(5), h.Check())
	}
	for name, bad := range map[string]Hydrograph{"back in time": {{5, 0}, {5, 1}}, "negative": {{0, -1}}, "NaN": {{Duration(math.NaN()), 1}}} {
		if bad.Check() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestHandUnits(t *testing.T) {
	for name, c := range map[string][2]float64{
		"1 cfs in gpm":    {FlowCFS(1).GPM(), 448.831169},
		"1 cfs":           {FlowCFS(1).CFS(), 1},
		"100 gpm":         {FlowGPM(100).GPM(), 100},
		"1 in":            {float64(DepthInches(1)), 25.4},
		"2 in/h":          {Intensity(50.8).InchesPerHour(), 2},
		"0.0254 m/h":      {Conductivity(0.0254).InchesPerHour(), 1},
		"90 min":          {Duration(90).Hours(), 1.5},
		"depth in inches": {Depth(50.8).Inches(), 2},
	} {
		if math.Abs(c[0]-c[1]) > 1e-6 {
			t.Errorf("%s: got %.9g, want %.9g", name, c[0], c[1])
		}
	}
}

func TestRangeErrorText(t *testing.T) {
	for want, err := range map[string]error{
		"hydro: slope is 0 m/m; it must be above 0 and at most 10":   Check("slope", 0, Positive, 10, "m/m", ""),
		"hydro: length is -1 m; it must be a number above 0":         Check("length", -1, Positive, Huge, "m", ""),
		"hydro: flow is NaN m3/s; it must be a number of at least 0": Check("flow", math.NaN(), 0, Huge, "m3/s", ""),
		"hydro: runoff coefficient C is 1.2, outside 0 to 1":         Check("runoff coefficient C", 1.2, 0, 1, "", ""),
	} {
		if err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	if err := Check("x", 0, 0, 1, "", ""); err != nil {
		t.Errorf("an end is inside: %v", err)
	}
}
