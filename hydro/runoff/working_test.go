package runoff

import (
	"testing"

	"fallwright/geo/unit"
	"fallwright/hydro"
	"fallwright/hydro/internal/published"
	"fallwright/hydro/rain"
	"fallwright/hydro/source"
)

// Every line of the sheet works out again, and its last line is the peak.
func TestPropertySheet(t *testing.T) {
	table := must(rain.FromRows([]rain.Row{{Duration: 5, Return: 10, Depth: 16.4}, {Duration: 10, Return: 10, Depth: 25.4}, {Duration: 30, Return: 10, Depth: 43},
		{Duration: 5, Return: 100, Depth: 22}, {Duration: 10, Return: 100, Depth: 33}, {Duration: 30, Return: 100, Depth: 60}}, rain.Partial, source.NOAA14))
	curve := must(rain.NewCurve(3000, 10, 0.9))
	parts := []Part{{Surface{Area: 120, C: 0.95, LeafLoss: 0.05}, 3}, {Surface{Area: 400, C: 0.35}, 14}, {Surface{Area: 50, C: 0.9}, 40}}
	for name, r := range map[string]rain.Rainfall{"table": table, "curve": curve, "single": rain.Single{Value: 150}} {
		for _, years := range []hydro.ReturnPeriod{10, 40, 100} {
			for _, p := range [][]Part{parts[:1], parts[:2], parts} {
				s, err := PeakSheet(p, r, years, 5, DefaultFactors())
				if err != nil {
					t.Fatal(name, err)
				}
				if err := s.Check(); err != nil {
					t.Errorf("%s, %g years: %v\n%s", name, years, err, s.Text())
				}
				peak := must(PeakOf(p, r, years, 5, DefaultFactors()))
				if last := s.Steps[len(s.Steps)-1].Result; last.Symbol != "Q" || last.Value != float64(peak.Flow) {
					t.Errorf("%s: the sheet ends at %+v, the peak is %g", name, last, peak.Flow)
				}
			}
		}
	}
}

// Hand: (95 + 40) m2 at 180 mm/h is 0.00675 m3/s, with 0.001 stated 0.00775.
func TestHandRunFlow(t *testing.T) {
	s := must(RunFlow{RoofCA: 95, YardCA: 40, Tc: 10, Intensity: 180, Stated: 0.001}.Sheet())
	if err := s.Check(); err != nil {
		t.Error(err)
	}
	if q := s.Steps[len(s.Steps)-1].Result.Value; q < 0.00775-1e-12 || q > 0.00775+1e-12 {
		t.Errorf("%g m3/s", q)
	}
	if _, err := (RunFlow{RoofCA: -1}).Sheet(); err == nil {
		t.Error("a negative area was accepted")
	}
}

// pc-wall
func TestPublishedWall(t *testing.T) {
	const ft2 = unit.Area(0.3048 * 0.3048)
	published.Check(t,
		published.Value{What: "Chicago", Src: source.Chicago, Loc: "18-29, a quarter of the wall", Got: float64(must(RoofShare(1000*ft2, 400*ft2, 0.25)) / ft2), Want: 1100, Tol: 1e-6},
		published.Value{What: "IPC", Src: source.IPC2018, Loc: "1106.4, half of the wall", Got: float64(must(RoofShare(1000*ft2, 400*ft2, 0.5)) / ft2), Want: 1200, Tol: 1e-6})
}
