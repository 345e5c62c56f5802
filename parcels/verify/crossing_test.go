package verify

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// Hand: a line along x is crossed square by one along y, at 45 degrees by the
// diagonal, and not by one that ends on it.
func TestHandCrossedAt(t *testing.T) {
	line := [][]pt{{{x: -5, y: 0}, {x: 5, y: 0}}}
	for _, c := range []struct {
		a, b  pt
		angle float64
		ok    bool
	}{
		{pt{x: 0, y: -1}, pt{x: 0, y: 1}, 90, true},
		{pt{x: -1, y: -1}, pt{x: 1, y: 1}, 45, true},
		{pt{x: 1, y: 1}, pt{x: -1, y: -1}, 45, true},
		{pt{x: -3, y: -1}, pt{x: 3, y: 1}, math.Atan2(2, 6) * 180 / math.Pi, true},
		{pt{x: 0, y: -1}, pt{x: 0, y: 0}, 0, false},
		{pt{x: 6, y: -1}, pt{x: 6, y: 1}, 0, false},
	} {
		angle, ok := crossedAt(c.a, c.b, line)
		if ok != c.ok || ok && math.Abs(angle-c.angle) > 1e-9 {
			t.Errorf("%v to %v: %v, %v; want %v, %v", c.a, c.b, angle, ok, c.angle, c.ok)
		}
	}
}

// A run over a utility that no finding tells, and one aslant that is told as a
// crossing only, are caught; told as both it passes.
func TestUtilityCrossedInSilence(t *testing.T) {
	for codes, caught := range map[string]bool{"": true, "utility_crossing": true, "utility_crossing utility_aslant": false} {
		f := metres(t)
		line := f.feature("R5")["geometry"].(obj)["coordinates"].([]any)
		a, b := line[0].([]any), line[len(line)-1].([]any)
		m := [2]float64{(a[0].(float64) + b[0].(float64)) / 2, (a[1].(float64) + b[1].(float64)) / 2}
		d := [2]float64{(b[0].(float64) - a[0].(float64)) / 2, (b[1].(float64) - a[1].(float64)) / 2}
		// turned by 20 degrees about the run's middle
		c, s := math.Cos(0.35), math.Sin(0.35)
		e := [2]float64{d[0]*c - d[1]*s, d[0]*s + d[1]*c}
		f.add("obstacles", obj{"type": "LineString", "coordinates": []any{[]any{m[0] - e[0], m[1] - e[1]}, []any{m[0] + e[0], m[1] + e[1]}}}, obj{"obstacle": "W", "kind": "utility", "crossing": "costly", "width_m": 0.1})
		for _, code := range strings.Fields(codes) {
			f.find(code, "warn", "R5", "told")
		}
		names, detail := failed(f.verify())
		if slices.Contains(names, "warnings") != caught {
			t.Errorf("told %q: caught %v, want %v\n%s", codes, !caught, caught, detail)
		}
	}
}
