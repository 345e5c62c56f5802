package planner

// The ground as a remedy leaves it, written down as shots, so that the lot can be
// planned anew on it and the plan be checked.

import (
	"context"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"fallwright/geo/ground"
	"fallwright/geo/shape"
	"fallwright/geo/unit"
	"fallwright/parcels"
	"fallwright/parcels/document"
	"fallwright/parcels/siting"
	"fallwright/parcels/yardwater"
)

// grading is what a remedy makes of the ground: shots to be, those of the site in
// whose place they stand, and levels of outlets.
type grading struct {
	shots  []parcels.Graded
	drop   []int
	levels map[string]float64
}

// bankStep is how far apart along a new bed its shots stand, m.
const bankStep = 1.0

// gradable says whether the ground is made of shots that can be changed about an
// area: no line with levels of its own comes in, and no raster stands in its place.
func (lp *lotPlan) gradable(box orb.Bound) bool {
	_, lines := shotsOf(lp.site)
	return lp.surface != nil && !lp.given && !slices.ContainsFunc(lines, func(l ground.Line) bool { return l.Path.Bound().Intersects(box) })
}

// filledGround is that of a hollow filled to where it runs over: each shot in it at
// that level; nil: it has none, or it cannot be written as shots.
func (lp *lotPlan) filledGround(h *yardwater.Pond) *grading {
	if !lp.gradable(h.Shape.Bound().Pad(1)) {
		return nil
	}
	g := &grading{}
	for i, sp := range lp.site.Spots {
		if sp.Z < h.Level && shape.Locate(sp.At, h.Shape) != shape.Outside {
			g.drop = append(g.drop, i)
			g.shots = append(g.shots, parcels.Graded{At: sp.At, Level: unit.Elevation(math.Ceil(float64(h.Level)*1000) / 1000)})
		}
	}
	if len(g.drop) == 0 {
		return nil
	}
	return g
}

// bedGround is that of a new swale, straight from an outlet whose level is the bed's to
// where it meets the ground: shots along the bed and along the tops of its banks, the
// head at a grade of steepHead behind it.
func (lp *lotPlan) bedGround(e *end, bed unit.Elevation, to orb.Point) *grading {
	s := float64(lp.site.Criteria.Ground.SwaleLeastSlope)
	d := math.Hypot(to[0]-e.at[0], to[1]-e.at[1])
	if e.outlet == nil || d < bankStep/2 || !lp.gradable(orb.MultiPoint{e.at, to}.Bound().Pad(10)) {
		return nil
	}
	ux, uy := (to[0]-e.at[0])/d, (to[1]-e.at[1])/d
	g := &grading{levels: map[string]float64{e.id: float64(bed)}}
	place := func(along, aside float64) orb.Point {
		return lp.snap(orb.Point{e.at[0] + along*ux - aside*uy, e.at[1] + along*uy + aside*ux})
	}
	widest := 0.0
	put := func(along float64, level unit.Elevation) {
		p := place(along, 0)
		z, ok := lp.surface.At(p)
		if !ok {
			return
		}
		deep := float64(z.Elevation - level)
		if deep <= 0.01 {
			return
		}
		g.shots = append(g.shots, parcels.Graded{At: p, Level: level})
		for _, side := range []float64{-1, 1} { // the banks end where they meet the ground
			q := place(along, side*swaleSide*deep)
			if z, ok := lp.surface.At(q); ok {
				g.shots = append(g.shots, parcels.Graded{At: q, Level: unit.Elevation(math.Round(float64(z.Elevation)*1e4) / 1e4)})
			}
		}
		widest = max(widest, swaleSide*deep)
	}
	for along := 0.0; along < d; along += bankStep {
		put(along, bed.Plus(-unit.Length(s*along)))
	}
	if z, ok := lp.surface.At(e.at); ok {
		head := float64(z.Elevation-bed) / steepHead
		q := place(-head, 0)
		if z, ok := lp.surface.At(q); ok && head > 0 {
			g.shots = append(g.shots, parcels.Graded{At: q, Level: unit.Elevation(math.Round(float64(z.Elevation)*1e4) / 1e4)})
		}
	}
	for i, sp := range lp.site.Spots { // what stood in the cut is gone
		if off, _ := shape.PointLine(sp.At, orb.LineString{e.at, to}); float64(off) < widest {
			g.drop = append(g.drop, i)
		}
	}
	if len(g.shots) == 0 {
		return nil
	}
	return g
}

// and joins what two remedies make of the ground; nil where neither moves any.
func (g *grading) and(o *grading) *grading {
	switch {
	case g == nil:
		return o
	case o == nil:
		return g
	}
	j := &grading{shots: slices.Concat(g.shots, o.shots), drop: slices.Concat(g.drop, o.drop), levels: map[string]float64{}}
	for _, m := range []map[string]float64{g.levels, o.levels} {
		for k, v := range m {
			j.levels[k] = v
		}
	}
	return j
}

// replanOn is replan on graded ground. A nil plan: that ground cannot be written down.
func (lp *lotPlan) replanOn(ctx context.Context, g *grading, outlet string, rule func(*parcels.Criteria)) (*lotPlan, parcels.Verdict, string, error) {
	s, err := document.Graded(lp.site, g.drop, g.shots, g.levels)
	if err != nil {
		return nil, "", "", nil // then the pair stays an estimate
	}
	surface, _, err := Surface(s)
	lot := s.Lot(lp.lot.ID)
	if err != nil || surface == nil || lot == nil {
		return nil, "", "", nil
	}
	ruled := *s
	rule(&ruled.Criteria)
	q, err := newLotPlan(&ruled, siting.New(s), lot, surface, Options{Outlet: outlet, Quick: true}, lp.prefix)
	if err == nil {
		err = q.drain(ctx)
	}
	if err != nil {
		return nil, "", "", err
	}
	q.prove = nil
	if lp.proveOn != nil {
		q.prove = lp.proveOn(s, surface, lot)
	}
	v, why := q.drains()
	return q, v, why, nil
}
