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
