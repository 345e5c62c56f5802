package route

// The grain of a zone: the directions of its long lines. Runs that lie along
// them, square or at 45 degrees to them are what people draw and stake; where it
// costs next to nothing the search prefers them.

import (
	"math"
	"slices"
	"sort"

	"github.com/paulmach/orb"
)

const eighth = math.Pi / 4

// offGrain is the angle between two directions, both taken modulo 45 degrees.
func offGrain(a, b float64) float64 {
	d := math.Mod(math.Abs(a-b), eighth)
	return min(d, eighth-d)
}

// findGrain keeps the up to three directions, modulo 45 degrees, to which most
// metres of the zone's long edges lie.
func (s *site) findGrain() {
	type family struct{ dir, metres float64 }
	var fs []family
	longest := 0.0
	for _, e := range s.zone.edges {
		longest = max(longest, dist(e.p, e.q))
	}
	for _, e := range s.zone.edges {
		l := dist(e.p, e.q)
		if l < max(2, longest/10) {
			continue
		}
		d := sub(e.q, e.p)
		a := math.Mod(math.Atan2(d[1], d[0])+2*math.Pi, eighth)
		i := slices.IndexFunc(fs, func(f family) bool { return offGrain(f.dir, a) < 1e-3 })
		if i < 0 {
			fs = append(fs, family{a, l})
			continue
		}
		fs[i].metres += l
	}
	sort.SliceStable(fs, func(i, j int) bool { return fs[i].metres > fs[j].metres+1e-6 })
	for i := 0; i < len(fs) && i < 3; i++ {
		sin, cos := math.Sincos(fs[i].dir)
		s.grain, s.along = append(s.grain, fs[i].dir), append(s.along, orb.Point{cos, sin})
	}
}

// askewPrice is what a run from a to b costs for lying across the grain: nothing
// within a quarter of a degree of it, all of it from five degrees on.
func (s *site) askewPrice(a, b orb.Point) float64 {
	d := sub(b, a)
	// the tangents of the angles to the grain, taken modulo 45 degrees
	least := 1.0
	for _, g := range s.along {
		x, y := math.Abs(dot(d, g)), math.Abs(cross(d, g))
		if x < y {
			x, y = y, x
		}
		least = min(least, y/x, (x-y)/(x+y))
	}
	off := eighth
	if least < 0.1 {
		off = math.Atan(least)
	}
	const free, full = 0.25 * float64(Degree), 5 * float64(Degree)
	return s.askew * math.Sqrt(dot(d, d)) * min(max((off-free)/(full-free), 0), 1)
}

// squared returns the places for a corner between a and c that put both its
// runs on one grain, nearest to where it is, at most far from it.
func (s *site) squared(a, at, c orb.Point, far float64) []orb.Point {
	var out []orb.Point
	for _, g := range s.grain {
		for i := range 4 {
			u := orb.Point{math.Cos(g + float64(i)*eighth), math.Sin(g + float64(i)*eighth)}
			// one run on the grain, the other as it is
			for _, e := range [2]orb.Point{a, c} {
				if q := along(e, u, dot(sub(at, e), u)); dist(q, at) > 1e-6 && dist(q, at) < far {
					out = append(out, q)
				}
			}
			for j := range 4 {
				if i == j {
					continue
				}
				v := orb.Point{math.Cos(g + float64(j)*eighth), math.Sin(g + float64(j)*eighth)}
				if q, ok := meet(a, u, c, v); ok && dist(q, at) > 1e-6 && dist(q, at) < far {
					out = append(out, q)
				}
			}
		}
	}
	return out
}

// bare is the price of a plan without what is charged for lying askew.
func (s *site) bare(p *plan) float64 {
	if s.askew == 0 {
		return p.cost
	}
	a := s.askew
	s.askew = 0
	c := 0.0
	for i := range p.branch {
		c += s.branchPrice(&p.branch[i])
	}
	s.askew = a
	return c
}

// shaken is the plan polished without regard to the grain and then with it: small
// moves leave the grain too dearly to come from one neat tree to a shorter one.
func (s *site) shaken(p *plan) *plan {
	a := s.askew
	s.askew, s.settled = 0, nil
	p = s.polish(s.priced(p))
	s.askew, s.settled = a, nil
	return s.polish(s.priced(p))
}

// priced is the plan with its branches priced anew.
func (s *site) priced(p *plan) *plan {
	q := p.clone()
	for i := range q.branch {
		q.branch[i].cost = s.branchPrice(&q.branch[i])
	}
	q.sum()
	return q
}
