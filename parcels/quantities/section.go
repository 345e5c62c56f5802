package quantities

// The long section of a trench: lengths by depth class and volumes, by average
// end area between stations.

import (
	"math"

	"fallwright/geo/unit"
	"fallwright/parcels"
)

// class is a class of trench depth.
type class struct {
	name  string
	least unit.Length
	most  unit.Length
}

// The classes of trench depth (P-143), the last one open; and the same in metric
// steps.
var classes = []class{
	{"trench, to 24 in deep", 0, 24 * unit.Inch},
	{"trench, 24 to 36 in deep", 24 * unit.Inch, 36 * unit.Inch},
	{"trench, 36 to 48 in deep", 36 * unit.Inch, 48 * unit.Inch},
	{"trench, 48 to 60 in deep", 48 * unit.Inch, 60 * unit.Inch},
	{"trench, over 60 in deep", 60 * unit.Inch, unit.Length(math.Inf(1))},
}

var metricClasses = []class{
	{"trench, to 0.6 m deep", 0, 0.6},
	{"trench, 0.6 to 0.9 m deep", 0.6, 0.9},
	{"trench, 0.9 to 1.2 m deep", 0.9, 1.2},
	{"trench, 1.2 to 1.5 m deep", 1.2, 1.5},
	{"trench, over 1.5 m deep", 1.5, unit.Length(math.Inf(1))},
}

// section is what a stretch of trench holds. Volumes in cubic metres.
type section struct {
	length [5]float64 // m, by class
	bank   [5]float64
	known  float64 // m whose depth is known
	stone  float64 // net of pipes
	pipe   float64 // outside volume of pipes
	cap    float64
	fabric float64 // m2, laps along the trench included
	ends   float64 // m2, laps at its ends
}

func (s *section) add(o section) {
	for i := range s.length {
		s.length[i] += o.length[i]
		s.bank[i] += o.bank[i]
	}
	s.known += o.known
	s.stone += o.stone
	s.pipe += o.pipe
	s.cap += o.cap
	s.fabric += o.fabric
	s.ends += o.ends
}

func (s *section) dug() float64 {
	v := 0.0
	for _, b := range s.bank {
		v += b
	}
	return v
}

// bed is how pipes lie in a trench: its width, the height of stone over the
// trench bottom (negative: up to the cap), the wall of the lower pipe under its
// invert, the outside area of all pipes.
type bed struct {
	width, height, wall, pipes float64
	wrap                       bool
}

// cut works the section along rows. Between two stations ground and invert are
// straight, so depth is too.
//
//	d  ground to trench bottom, m
//	b  bedding under the pipe, m
func (b bed) cut(rows []parcels.ProfileRow, c *parcels.Criteria, classes []class) section {
	var s section
	var last float64
	at := func(r parcels.ProfileRow) float64 {
		return float64(r.Ground.Above(r.Invert)) + b.wall + float64(c.Trench.Bedding)
	}
	capT := float64(c.Trench.Cap)
	for i := 1; i < len(rows); i++ {
		p, q := rows[i-1], rows[i]
		step := float64(q.Station - p.Station)
		if step <= 0 || p.Ground == nil || q.Ground == nil {
			continue
		}
		d0, d1 := math.Max(at(p), 0), math.Max(at(q), 0)
		last = (d0 + d1) / 2
		s.known += step
		for k, cl := range classes {
			lo, hi := between(d0, d1, float64(cl.least), float64(cl.most))
			if hi <= lo {
				continue
			}
			e0, e1 := d0+(d1-d0)*lo, d0+(d1-d0)*hi
			s.length[k] += (hi - lo) * step
			s.bank[k] += (e0 + e1) / 2 * (hi - lo) * step * b.width
		}
		h := last - capT
		if b.height >= 0 {
			h = math.Min(h, b.height)
		}
		h = math.Max(h, 0)
		s.pipe += b.pipes * step
		s.stone += math.Max(h*b.width-b.pipes, 0) * step
		s.cap += capT * b.width * step
		if b.wrap {
			s.fabric += (2*h + 2*b.width + float64(c.Takeoff.FabricLap)) * step
			if s.ends == 0 {
				s.ends = 2 * float64(c.Takeoff.FabricLap) * (2*h + 2*b.width)
			}
		}
	}
	return s
}

// between gives the part of 0..1 in which a depth going straight from d0 to d1
// lies in [least, most). A level stretch lies in one class whole.
func between(d0, d1, least, most float64) (lo, hi float64) {
	if d0 == d1 {
		if d0 >= least && d0 < most {
			return 0, 1
		}
		return 0, 0
	}
	a, b := (least-d0)/(d1-d0), (most-d0)/(d1-d0)
	if a > b {
		a, b = b, a
	}
	return math.Max(a, 0), math.Min(b, 1)
}
