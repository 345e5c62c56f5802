package answer

// Rounding of what is sent: whole millimetres.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
	"fallwright/geo/zone"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/siting"
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

// narrowest is the narrowest passage of a zone and where it is, nil where the
// zone has none.
func narrowest(s *parcels.Site, g *siting.Ground, z zone.Zone) (*unit.Length, *orb.Point) {
	ps := z.Passages(g.Lines, g.Barred())
	if len(ps) == 0 {
		return nil, nil
	}
	return parcels.Num(mm(ps[0].Width)), parcels.Num(document.Position(s.Frame, ps[0].At))
}
