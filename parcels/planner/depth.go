package planner

// What depth and size cost at least, told to the route search for its bound: the
// same ground, cover, stock, flows and prices as the profile's, each taken from the
// side from which the profile can't be cheaper.

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/route"
	"fallwright/hydro"
	"fallwright/hydro/pipe"
)

// depth is what depth and size cost at least. The profile falls at the target slope
// wherever there is the fall for it, so where the best tree does, the bound is over
// those trees.
func (lp *lotPlan) depth(best *route.Tree) *route.Depth {
	c := lp.site.Criteria
	slope := c.Pipe.LeastSlope
	l := lp.layout(best)
	l.split(c.Route.CleanoutEvery)
	l.perforate()
	atTarget := lp.profile(l, &lp.result) == nil && lp.result.Target
	if atTarget {
		slope = c.Pipe.TargetSlope
	}
	first := lp.stock[lp.solidPipe[0]]
	d := &route.Depth{
		Price:   c.Prices.DepthPerM2,
		Shallow: c.Pipe.LeastCover + first.Outside + c.Trench.Bedding,
		Every:   c.Route.CleanoutEvery + cleanoutLate, Cleanout: c.Prices.CleanoutEach,
	}
	if atTarget {
		d.Over = fmt.Sprintf("laid at %.2f %% or steeper", 100*float64(slope))
	}
	for i := range lp.waters {
		in := lp.waters[i].intake
		top := math.Inf(1)
		if g, ok := lp.surface.At(in.At); ok {
			cover := c.Pipe.LeastCover
			if in.StartCover != nil {
				cover = max(cover, *in.StartCover)
			}
			top = float64(g.Elevation) - float64(cover+first.Inside)
		}
		if in.Invert != nil {
			top = float64(*in.Invert)
		}
		d.Start = append(d.Start, top)
	}
	d.Ground = func(a, b orb.Point) []route.Station {
		g := lp.along(a, b).stations
		out := make([]route.Station, len(g))
		for i, st := range g {
			out[i] = route.Station{At: float64(st.At), Level: float64(st.Ground)}
		}
		return out
	}
	// no cheaper tree is longer than its price buys of bare trench
	latest := hydro.Duration(best.Cost / c.Prices.TrenchPerM / float64(slowest) / 60)
	d.Pipes = func(sources []int) []route.Pipe {
		q := lp.leastFlow(sources, latest)
		var out []route.Pipe
		for _, k := range lp.solidPipe {
			s := lp.stock[k]
			wall := (s.Outside - s.Inside) / 2
			r := route.Pipe{Price: s.Price - first.Price, Slope: math.Max(float64(slope), float64(s.LeastSlope)),
				Cover: c.Pipe.LeastCover + s.Inside + wall, Under: wall + c.Trench.Bedding}
			if q > 0 {
				if full, err := (pipe.Pipe{Diameter: s.Inside, N: s.N}).FrictionSlope(q); err == nil {
					r.Slope = math.Max(r.Slope, float64(full))
				}
			}
			out = append(out, r)
			if r.Slope <= float64(slope) {
				break // a larger pipe is dearer and no flatter
			}
		}
		return out
	}
	for _, w := range lp.wanted {
		d.Kept = append(d.Kept, lp.keptLeast(lp.downhill(w.Line), w.PipeCount))
		d.Beside = append(d.Beside, first.Price)
	}
	return d
}

// leastFlow is the least flow of a pipe with the water of these intakes in it:
// all of it when the last can have come, latest minutes after it began to run off, as
// rain thins with time.
func (lp *lotPlan) leastFlow(sources []int, latest hydro.Duration) hydro.Flow {
	var stated hydro.Flow
	var ca float64
	var last hydro.Duration
	for _, i := range sources {
		w := &lp.waters[i]
		stated += w.stated
		for _, in := range w.in {
			ca += float64(in.CA)
			last = max(last, in.Tc)
		}
	}
	if lp.intensity == nil || ca == 0 {
		return stated
	}
	return stated + hydro.Flow(float64(lp.intensity(last+latest))*ca/3.6e6) // mm/h
}

// slowest is the slowest that water is taken to go in a drain at its least slope.
const slowest hydro.Velocity = 0.25

// keptLeast is what a wanted perforated run costs beyond a solid pipe's metres: the
// cleanout at its upper end, and the pipes beside the first.
func (lp *lotPlan) keptLeast(line orb.LineString, count int) float64 {
	c := lp.site.Criteria
	cleanout := c.Prices.CleanoutEach
	for i := range lp.waters {
		if at := lp.waters[i].intake.At; math.Hypot(at[0]-line[0][0], at[1]-line[0][1]) < 2e-3 {
			cleanout = 0
		}
	}
	length := 0.0
	for i := 0; i+1 < len(line); i++ {
		length += math.Hypot(line[i+1][0]-line[i][0], line[i+1][1]-line[i][1])
	}
	least := math.Inf(1)
	for _, k := range lp.perfPipe {
		least = math.Min(least, lp.stock[k].Price)
	}
	return cleanout + length*(float64(max(1, count))*least-lp.stock[lp.solidPipe[0]].Price)
}
