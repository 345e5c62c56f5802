package soilwater

import (
	"testing"

	"fallwright/hydro"
)

// Every line of the sheets works out again.
func TestPropertySheets(t *testing.T) {
	loam, _ := TextureNamed("loam")
	grate := hydro.Flow(0.004)
	for _, s := range []hydro.Sheet{
		must(Drains{Spacing: 8, Below: 1.5, Radius: 0.15, Above: 0.01, Under: 0.005}.Sheet(0.5, 0.1, 0.06)),
		must(Drains{Spacing: 8, Below: 0, Radius: 0.15, Above: 0.01, Under: 0.005}.Sheet(0.5, 0.1, 0.06)),
		must(PondSheet(Pond{60, 3}, FrenchDrain{Length: 10, Width: 0.3, Intake: Cap(), Most: 1}, loam.Conductivity, 24, &grate)),
		must(PondSheet(Pond{60, 3}, FrenchDrain{Intake: One(hydro.Intensity(0))}, One(hydro.Conductivity(0)), 24, nil)),
	} {
		if err := s.Check(); err != nil {
			t.Errorf("%s: %v\n%s", s.Subject, err, s.Text())
		}
	}
}
