package display

import (
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
)

// Worked by hand from the exact definitions 1 ft = 0.3048 m, 1 gal = 231 in3.
func TestHandUnits(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{US.Length(30.48), "100.00 ft"},
		{SI.Length(30.48), "30.480 m"},
		{US.Slope(0.01), "1.00 %"},
		{US.Flow(hydro.Flow(0.003785411784 / 60 * 92)), "92 gpm"},
		{US.Flow(hydro.Flow(0.028316846592 * 1.5)), "1.50 cfs"},
		{SI.Flow(0.0058), "5.80 L/s"},
		{US.Area(92.90304), "1000 ft²"},
		{US.Volume(0.764554857984 * 3), "3.0 cu yd"},
		{Inches(3.125 * unit.Inch), "3 1/8 in"},
		{Inches(0.5 * unit.Inch), "1/2 in"},
		{Inches(-2 * unit.Inch), "-2 in"},
		{US.LengthBare(-0.0001), "0.00"},
		{Or[unit.Length](nil, US.Length), None},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
	if _, err := Parse("furlongs"); err == nil {
		t.Error("furlongs were taken")
	}
}

// What spreadsheets run as a formula becomes text; numbers stay numbers.
func TestHandCells(t *testing.T) {
	for in, want := range map[string]string{"=1+1": "'=1+1", " \t=cmd()": "'  =cmd()", "@SUM(A1)": "'@SUM(A1)", "-3.25": "-3.25", "-3+cmd": "'-3+cmd", "lot 7": "lot 7", "a\nb": "a b", "": "", "\u00a0+1": "'\u00a0+1"} {
		if got := Cell(in); got != want {
			t.Errorf("%q became %q, want %q", in, got, want)
		}
	}
}

// 305 mm / 25.4 = 12.0 in; 0.98 / 0.3048 = 3.2152 ft; 2.2 m2 / 0.09290304 = 23.7
// ft2; 1 m3 = 264.172 gal; 0.45 / 0.3048 = 1.4764 ft/s. What is no quantity stays.
func TestHandTextInUnits(t *testing.T) {
	for _, w := range [][2]string{
		{"Run R4 drops 305 mm over 0.98 m: bed it.", "Run R4 drops 12.0 in over 3.22 ft: bed it."},
		{"A way out is asked from 1.219 m (4 ft).", "A way out is asked from 4 ft."},
		{"2.2 m2 and 1.00 m3 and 20 litres.", "24 ft² and 264 gal and 5 gal."},
		{"0.45 m/s, 0.0063 m3/s, 6.3 l/s, 25 mm/h, 10 m.", "1.48 ft/s, 100 gpm, 100 gpm, 0.98 in/h, 32.8 ft."},
		{"44 minutes, roof_area_m2, run 3 m2x, P-12 marks", "44 minutes, roof_area_m2, run 3 m2x, P-12 marks"},
		{"-0.10 m", "-0.33 ft"},
		{"within 3.05 m, 1.5 m, 0.30 m, 0.02 m", "within 10.00 ft, 4.9 ft, 1.00 ft, 0.07 ft"},
	} {
		if got := US.Text(w[0]); got != w[1] {
			t.Errorf("%q: %q, want %q", w[0], got, w[1])
		}
		if got := SI.Text(w[0]); got != w[0] {
			t.Errorf("in SI %q became %q", w[0], got)
		}
	}
}
