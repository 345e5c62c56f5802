package answer

// Rounding of what is sent: whole millimetres.

import (
	"math"

	"fallwright/geo/unit"
)

func round(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	r := math.Round(v*p) / p
	if r == 0 {
		return 0
	}
	return r
}

func mm(v unit.Length) unit.Length { return unit.Length(round(float64(v), 3)) }
