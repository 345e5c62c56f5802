package auditor

// Does the ground fall away at the sides of the house? Away from the wall (IRC
// R401.3: 6 in in the first 10 ft); where the side yard is too narrow for that,
// along it, as a swale: no low spot, and no flatter than a swale may be.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/siting"
)

// widestYard is up to where the ground between a wall and a side line is a side
// yard: twice the distance over which the fall is asked for.
const widestYard = 2

func checkSideYards(w *lotWork) error {
	if w.a.surface == nil {
		return nil
	}
	owns := false
	for i := range w.site.Buildings {
		owns = owns || w.owns(&w.site.Buildings[i])
	}
	if !owns {
		return nil
	}
	roles, err := w.roles()
	if err != nil {
		return err
	}
	over := w.site.Criteria.Ground.FoundationFallOver
	ring := w.lot.Shape[0][0]
	for i := range w.site.Buildings {
		b := &w.site.Buildings[i]
		if !w.owns(b) || len(b.Shape) == 0 {
			continue
		}
		walls, err := siting.Walls(b)
		if err != nil {
			return err
		}
		wall := orb.LineString(walls[0][0])
		for e, role := range roles {
			if role != parcels.Side {
				continue
			}
			line := orb.LineString{ring[e], ring[e+1]}
			d, p, q := shape.LineLine(wall, line)
			if d <= 0 || d > widestYard*over {
				continue
			}
			w.sideYard(b, wall, line, d, p, q)
		}
	}
	return nil
}

func (w *lotWork) sideYard(b *parcels.Building, wall, line orb.LineString, d unit.Length, p, q orb.Point) {
	c := w.site.Criteria.Ground
	run := min(c.FoundationFallOver, d)
	t := float64(run / d)
	foot := orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
	zp, zq := w.level(p), w.level(foot)
	if zp == nil || zq == nil {
		return
	}
	fall := zp.Above(*zq)
	name := siting.Label(b.Common)
	if fall < 0 {
		w.find(parcels.Finding{Code: "side_yard_to_house", Severity: parcels.Warn, Feature: name, Location: &p, Measured: ptr(float64(fall / run)), Required: ptr(float64(c.FoundationFall)), Source: "P-64",
			Message: fmt.Sprintf("Beside %s the ground falls towards the wall: %.3f m in %.3f m.", name, -float64(fall), float64(run))})
		return
	}
	if fall/run >= unit.Length(c.FoundationFall)-1e-9 {
		return
	}
	if d >= c.FoundationFallOver {
		w.find(parcels.Finding{Code: "side_yard_flat", Severity: parcels.Warn, Feature: name, Location: &p, Measured: ptr(float64(fall / run)), Required: ptr(float64(c.FoundationFall)), Source: "P-64",
			Message: fmt.Sprintf("Beside %s the ground falls %.2f %% away from the wall over %.3f m; %.2f %% are asked for.", name, 100*float64(fall/run), float64(run), 100*float64(c.FoundationFall))})
		return
	}
	// too narrow for the fall across: it has to run along
	along := yardLine(wall, line, d)
	if len(along) < 2 {
		return
	}
	prof := w.a.surface.Along(along)
	if !prof.Complete() || len(prof.Stations) < 2 {
		return
	}
	z := make([]float64, len(prof.Stations))
	for i, s := range prof.Stations {
		z[i] = float64(s.Elevation)
	}
	pond, i := deepest(z)
	if pond > float64(c.PondLeastDepth) {
		w.find(parcels.Finding{Code: "side_yard_low_spot", Severity: parcels.Warn, Feature: name, Location: ptr(prof.Stations[i].At), Measured: ptr(pond), Required: ptr(float64(c.PondLeastDepth)), Unit: "m", Source: "P-65",
			Message: fmt.Sprintf("The side yard of %s, %.3f m wide, has a low spot %.3f m deep along its middle.", name, float64(d), pond)})
		return
	}
	top := 0
	for k := range z {
		if z[k] > z[top] {
			top = k
		}
	}
	n := len(z) - 1
	s := math.Max(grade(prof.Stations[top].Distance, z[top], prof.Stations[0].Distance, z[0]), grade(prof.Stations[top].Distance, z[top], prof.Stations[n].Distance, z[n]))
	if s < float64(c.SwaleLeastSlope) {
		w.find(parcels.Finding{Code: "side_yard_flat", Severity: parcels.Warn, Feature: name, Location: &p, Measured: &s, Required: ptr(float64(c.SwaleLeastSlope)), Source: "P-65",
			Message: fmt.Sprintf("The side yard of %s, %.3f m wide, is too narrow to fall away from the wall and falls only %.2f %% along.", name, float64(d), 100*s)})
	}
}

func grade(d0 unit.Length, z0 float64, d1 unit.Length, z1 float64) float64 {
	if d0 == d1 {
		return 0
	}
	return (z0 - z1) / math.Abs(float64(d1-d0))
}

// deepest is the depth of the deepest hollow of a profile, water leaving at
// either end, and where.
func deepest(z []float64) (float64, int) {
	n := len(z)
	right := make([]float64, n)
	top := math.Inf(-1)
	for i := n - 1; i >= 0; i-- {
		top = math.Max(top, z[i])
		right[i] = top
	}
	best, at := 0.0, 0
	top = math.Inf(-1)
	for i := range z {
		top = math.Max(top, z[i])
		if d := math.Min(top, right[i]) - z[i]; d > best {
			best, at = d, i
		}
	}
	return best, at
}

// yardLine is the middle of a side yard: the stretch of the lot line that the
// wall faces, moved half the yard's width towards the wall.
func yardLine(wall, line orb.LineString, d unit.Length) orb.LineString {
	a, b := line[0], line[1]
	l := dist(a, b)
	if l == 0 {
		return nil
	}
	ux, uy := (b[0]-a[0])/l, (b[1]-a[1])/l
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range wall {
		s := ux*(v[0]-a[0]) + uy*(v[1]-a[1])
		lo, hi = math.Min(lo, s), math.Max(hi, s)
	}
	lo, hi = math.Max(lo, 0), math.Min(hi, l)
	if hi-lo < 1 {
		return nil
	}
	// the lot's ring runs counter-clockwise: inside is to the left
	h := float64(d) / 2
	at := func(s float64) orb.Point { return orb.Point{a[0] + ux*s - uy*h, a[1] + uy*s + ux*h} }
	return orb.LineString{at(lo), at(hi)}
}
