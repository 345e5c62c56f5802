package runoff

// Runoff coefficients as data, with the range that the source prints.

import "fallwright/hydro/source"

// Coefficient is a published range of C for storms of 2 to 10 years.
type Coefficient struct {
	Name      string
	Low, High float64
	Source    string
}

// Coefficients returns the ranges of HDS2, table 5.7, p. 5-33 (from ASCE 1960).
// Lawn values elsewhere differ by half and more: local rules print 0.16 to 0.70.
func Coefficients() []Coefficient {
	rows := []Coefficient{
		{Name: "lawn, sandy soil, flat under 2 %", Low: 0.05, High: 0.10},
		{Name: "lawn, sandy soil, average 2 to 7 %", Low: 0.10, High: 0.15},
		{Name: "lawn, sandy soil, steep over 7 %", Low: 0.15, High: 0.20},
		{Name: "lawn, heavy soil, flat under 2 %", Low: 0.13, High: 0.17},
		{Name: "lawn, heavy soil, average 2 to 7 %", Low: 0.18, High: 0.22},
		{Name: "lawn, heavy soil, steep over 7 %", Low: 0.25, High: 0.35},
		{Name: "asphalt", Low: 0.70, High: 0.95},
		{Name: "concrete", Low: 0.80, High: 0.95},
		{Name: "brick", Low: 0.70, High: 0.85},
		{Name: "drives and walks", Low: 0.75, High: 0.85},
		{Name: "roofs", Low: 0.75, High: 0.95},
		{Name: "single-family residential", Low: 0.30, High: 0.50},
	}
	for i := range rows {
		rows[i].Source = source.HDS2
	}
	return rows
}
