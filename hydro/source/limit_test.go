package source

import (
	"math"
	"testing"
)

// tr-d2321: the rule is read; the outside diameters are ours (the first four SDR 35).
func TestPublishedTrenchWidth(t *testing.T) {
	want := []float64{20.215, 22.275, 24.4, 28.5, 32, 42}
	for i, od := range []float64{4.215, 6.275, 8.4, 12.5, 16, 24} {
		if w := TrenchWidth(od*inch) / inch; math.Abs(w-want[i]) > 0.01 {
			t.Errorf("%g in: %.3f in, want %.3f (%s)", od, w, want[i], ASTMD2321)
		}
	}
}

// tr-osha-slopes, tr-osha-limits, tr-local-width, pc-irc-grade, pc-wall: read.
func TestPublishedLimits(t *testing.T) {
	get := func(name string) float64 {
		l, ok := LimitNamed(name)
		if !ok {
			t.Errorf("no limit %q", name)
		}
		if _, ok := Lookup(l.Source); !ok {
			t.Errorf("%s: source %q is not listed", name, l.Source)
		}
		return l.Value
	}
	for name, feet := range map[string]float64{
		"protective system from a depth of": 5, "design by a registered engineer over": 20, "way out from a depth of": 4, "way out within": 25,
		"spoil back from the edge": 2, "ladder above the top": 3, "shield above the side": 1.5, "type A open at most 24 h, to a depth of": 12,
		"fall in the first 10 ft from a foundation": 0.5,
	} {
		if got := get(name) / foot; math.Abs(got-feet) > 1e-9 {
			t.Errorf("%s: %g ft, want %g", name, got, feet)
		}
	}
	// Angles in print: 90, 53, 45, 34 degrees, rounded.
	for name, c := range map[string][2]float64{
		"side slope, stable rock, run over rise": {0, 90}, "side slope, type A, run over rise": {0.75, 53},
		"side slope, type B, run over rise": {1, 45}, "side slope, type C, run over rise": {1.5, 34}, "type A open at most 24 h, run over rise": {0.5, 63.4},
	} {
		got := get(name)
		if got != c[0] || math.Abs(math.Atan2(1, got)*180/math.Pi-c[1]) > 0.5 {
			t.Errorf("%s: %g, %.1f degrees, want %v", name, got, math.Atan2(1, got)*180/math.Pi, c)
		}
	}
	// 6 in in 10 ft is 5 %.
	if s := get("fall in the first 10 ft from a foundation") / (10 * foot); math.Abs(s-0.05) > 1e-12 {
		t.Errorf("slope at the foundation %g", s)
	}
	if get("slope of impervious ground within 10 ft of a foundation") != 0.02 || get("slope of a swale within 10 ft of a foundation") != 0.02 {
		t.Error("2 % within 10 ft")
	}
	// Local rule: a 6 in pipe asks 2.5 ft to 4 ft deep, 3.5 ft at 6 ft deep.
	if w := (0.5*foot + get("trench width beyond the pipe, to 5 ft deep")) / foot; math.Abs(w-2.5) > 1e-9 {
		t.Errorf("local width at 4 ft: %g ft", w)
	}
	if w := (0.5*foot + get("trench width beyond the pipe, deeper than 5 ft or shored")) / foot; math.Abs(w-3.5) > 1e-9 {
		t.Errorf("local width at 6 ft: %g ft", w)
	}
	// 1000 ft2 of roof under 400 ft2 of wall.
	if a := 1000 + 400*get("share of a wall added to the roof, Chicago"); a != 1100 {
		t.Errorf("Chicago: %g ft2", a)
	}
	if a := 1000 + 400*get("share of a wall added to the roof, IPC"); a != 1200 {
		t.Errorf("IPC: %g ft2", a)
	}
	if _, ok := LimitNamed("no such limit"); ok {
		t.Error("an unknown limit was found")
	}
}
