package route

// What depth and size cost at least: the part of the caller's price that is no
// sum over a graph, told so that the bound may charge it.

import (
	"math"

	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Depth tells the bound what depth and size cost at least. A run is a straight
// line in the ground from one level to another; it starts no higher than the
// water can have come, falls at least so much a metre, and nowhere comes nearer
// to the ground than the cover. Nothing that the caller's price charges may be
// less than what follows from it.
type Depth struct {
	// Over says in words which trees alone it is right for, such as those laid at
	// a slope or steeper; empty: for all.
	Over string
	// Start is the highest level, in metres, at which the water of each source
	// can begin; +Inf, or no entry, where it is not known.
	Start []float64
	// Ground is the ground under a straight line with every break of it, from
	// station 0 to the line's length. Nil: not known, and the line is charged at
	// Prices.Metre.
	Ground func(a, b orb.Point) []Station
	// Pipes lists what a run may be made of when it carries the water of the
	// sources given (ascending; none for a kept line by itself); the cheapest is
	// charged. What may carry more may carry less.
	Pipes func(sources []int) []Pipe
	// Price is that of a square metre of cut, seen from the side.
	Price float64
	// Shallow is the depth of cut that Prices.Metre holds already.
	Shallow unit.Length
	// A cleanout of the price Cleanout stands at least every Every of the way
	// from one source to the next or to the end; 0: none asked.
	Every    unit.Length
	Cleanout float64
	// Kept is, by kept line, what it costs beyond its metres at Prices.Metre, and
	// Beside what a metre of the pipe costs that takes other water along it.
	Kept, Beside []float64
}

// Station is the level of the ground at a distance along a line, in metres.
type Station struct{ At, Level float64 }

// Pipe is what a run may be made of.
type Pipe struct {
	Price float64     // of a metre, beyond Prices.Metre
	Slope float64     // least fall of a metre
	Cover unit.Length // least from the ground down to the water's level
	Under unit.Length // from the water's level down to the bottom of the cut
}

// ceiling is the highest lower end that a run can have whose upper end lies at
// y: falling at least slope a metre, cover under the ground; and by how much it
// falls when y rises by one.
func ceiling(g []Station, slope, cover, y float64) (z, rate float64) {
	l := g[len(g)-1].At
	z, rate = y-slope*l, 1
	for _, st := range g {
		if st.At <= 0 {
			continue
		}
		t := st.At / l
		if c := (st.Level - cover - y*(1-t)) / t; c < z {
			z, rate = c, -(1-t)/t
		}
	}
	return z, rate
}

// highest finds the ends (y, z) of a run, y no more than level, for which
// weight*y + z is greatest. The lower end as a function of the upper is concave and made
// of straight pieces, so the pieces of a rising and a falling place close in on
// the answer.
func highest(g []Station, slope, cover, level, weight float64) (y, z float64) {
	y = math.Min(level, g[0].Level-cover)
	z, rate := ceiling(g, slope, cover, y)
	if weight+rate >= 0 {
		return y, z
	}
	// a place far enough down for the slope to bind
	hiY, hiZ, hiR := y, z, rate
	loY := y
	for _, st := range g {
		loY = math.Min(loY, st.Level-cover)
	}
	loY -= slope * g[len(g)-1].At
	loZ, loR := ceiling(g, slope, cover, loY)
	for range 64 {
		// where the two pieces meet
		m := (loZ - loR*loY - hiZ + hiR*hiY) / (hiR - loR)
		mz, mr := ceiling(g, slope, cover, m)
		if line := hiZ + hiR*(m-hiY); mz >= line-1e-9 {
			return m, mz
		}
		if weight+mr >= 0 {
			loY, loZ, loR = m, mz, mr
		} else {
			hiY, hiZ, hiR = m, mz, mr
		}
	}
	return hiY, hiZ
}

// deep is one straight line asked about depth.
type deep struct {
	ground []Station
	level  float64 // mean of the ground
}

// newDeep asks for the ground under ab; ok is false where it is not known.
func (s *site) newDeep(a, b orb.Point) (deep, bool) {
	g := s.depth.Ground(add(a, s.origin), add(b, s.origin))
	if len(g) < 2 || !(g[len(g)-1].At > 0) {
		return deep{}, false
	}
	d := deep{ground: g}
	for i := 0; i+1 < len(g); i++ {
		d.level += (g[i+1].At - g[i].At) * (g[i].Level + g[i+1].Level) / 2
	}
	d.level /= g[len(g)-1].At
	return d, true
}

// exit is the highest level at the lower end when water comes in at level.
func (d deep) exit(pipes []Pipe, level float64) float64 {
	best := math.Inf(-1)
	for _, p := range pipes {
		_, z := highest(d.ground, p.Slope, float64(p.Cover), level, 0)
		best = math.Max(best, z)
	}
	return best
}

// extra is what a run costs at least beyond Prices.Metre when its water comes in
// no higher than level.
func (s *site) extra(d deep, pipes []Pipe, level float64) float64 {
	p := s.depth
	l := d.ground[len(d.ground)-1].At
	best := math.Inf(1)
	for _, k := range pipes {
		y, z := highest(d.ground, k.Slope, float64(k.Cover), level, 1)
		cut := d.level - (y+z)/2 + float64(k.Under)
		best = math.Min(best, l*(k.Price+p.Price*math.Max(0, cut-float64(p.Shallow))))
	}
	return best
}

// start is the highest level at which the water of head k begins.
func (s *site) start(k int) float64 {
	if i := s.heads[k].source; i >= 0 && i < len(s.depth.Start) {
		return s.depth.Start[i]
	}
	return math.Inf(1)
}

// pipesFor lists what a run may be made of with the water of these heads.
func (s *site) pipesFor(heads []int) []Pipe {
	var sources []int
	for _, k := range heads {
		if i := s.heads[k].source; i >= 0 {
			sources = append(sources, i)
		}
	}
	return s.depth.Pipes(sources)
}

// deepHead is what the lines of head k cost at least beyond its sums, and the
// highest level at which water leaves them.
func (s *site) deepHead(k int) (extra, level float64) {
	h := &s.heads[k]
	level = s.start(k)
	pipes := s.pipesFor([]int{k})
	for i := 0; i+1 < len(h.pts); i++ {
		if d, ok := s.newDeep(h.pts[i], h.pts[i+1]); ok {
			extra += s.extra(d, pipes, level)
			level = d.exit(pipes, level)
		}
	}
	if h.kept && h.line < len(s.depth.Kept) {
		extra += s.depth.Kept[h.line]
	}
	return extra, level
}
