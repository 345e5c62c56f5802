package inlet

import (
	"testing"

	"fallwright/hydro"
	"fallwright/hydro/pipe"
)

// Every line of the sheets works out again.
func TestPropertySheets(t *testing.T) {
	var sheets []hydro.Sheet
	for _, q := range []hydro.Flow{0, 0.001, 0.01, 0.1} {
		sheets = append(sheets, must(lawn(0.5).Sheet(q)))
	}
	e := Emitter{Pipe: pipe.Pipe{Diameter: 0.1, N: 0.012}, Length: 30, InvertUp: 99.9, InvertLo: 99.6, Rim: 100, Opening: 0.02, Losses: 3}
	sheets = append(sheets, must(e.Sheet(0.005, 100.5)), must(e.Sheet(0.005, 99)))
	sheets = append(sheets, must(Sump{Inflow: 0.002, Pumped: 0.003, Off: 98, Discharge: 100, Pipe: pipe.Pipe{Diameter: 0.05, N: 0.011}, Length: 15, Losses: 4, Cycle: 6, Plan: 0.18, Wire: 0.4}.Sheet()))
	for _, s := range sheets {
		if err := s.Check(); err != nil {
			t.Errorf("%s: %v\n%s", s.Subject, err, s.Text())
		}
	}
}
