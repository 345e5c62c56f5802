package main

// The ground, in feet: a general fall to the west, a cross section by v (rear
// swale, pads, street), pads and graded falls at the houses, one lot that lies
// too low, micro-relief, and two closed bowls of known volume.

import "math"

const (
	baseLevel = 540.0 // flow line of the rear swale at u = 0
	baseSlope = 0.014 // falls to the west
)

func base(u float64) float64 { return baseLevel + baseSlope*u }

// section is the cross section: v, height over base.
var section = [][2]float64{
	{-360, -6.2}, {-310, -5.0}, {-252, -2.2}, {-205, -1.2}, {-180, 1.0}, {-169, 1.5}, {-155, 1.9}, {-141, 1.5}, {-130, 2.0},
	{-108, 2.7}, {-60, 2.3}, {-10, 0.85}, {-5, 0.7}, {0, 0}, {5, 0.7}, {10, 0.85}, {60, 2.3}, {108, 2.7},
	{130, 2.0}, {141, 1.5}, {155, 1.9}, {169, 1.5}, {180, 2.0}, {205, 2.8}, {250, 2.4}, {296, 0.1}, {300, -0.2}, {306, -0.9}, {310, -0.4}, {360, 0.6},
}

func along(v float64) float64 {
	if v <= section[0][0] {
		return section[0][1]
	}
	for i := 1; i < len(section); i++ {
		a, b := section[i-1], section[i]
		if v <= b[0] {
			return a[1] + (b[1]-a[1])*(v-a[0])/(b[0]-a[0])
		}
	}
	return section[len(section)-1][1]
}

func smooth(t float64) float64 {
	t = math.Max(0, math.Min(1, t))
	return t * t * (3 - 2*t)
}

// lowLot sinks lot D5 under the level of the street inlet at its front.
func lowLot(p uv) float64 {
	du := math.Min(p.u-346, 434-p.u) // inside positive
	dv := math.Min(-183-p.v, p.v+330)
	return -3.0 * smooth(du/30) * smooth(dv/28)
}

// swaleSag is a low spot in the rear swale where a neighbour filled it: the
// flow line stands 0.6 ft above its design at u = 445, which dams it.
func swaleSag(p uv) float64 {
	d := math.Hypot((p.u-445)/14, p.v/6)
	return 0.6 * (1 - smooth(d))
}

// hash is a number in [-1, 1) from two integers (splitmix64 finaliser).
func hash(i, j int64) float64 {
	z := uint64(i)*0x9E3779B97F4A7C15 + uint64(j)*0xC2B2AE3D27D4EB4F + 0x165667B19E3779F9
	z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9
	z = (z ^ (z >> 27)) * 0x94D049BB133111EB
	z ^= z >> 31
	return float64(z>>11)/float64(1<<52) - 1
}

// relief is the unevenness of lawns: value noise with a 40 ft grain.
func relief(p xy) float64 {
	gx, gy := (p.x-east0)/40, (p.y-north0)/40
	i, j := math.Floor(gx), math.Floor(gy)
	fx, fy := smooth(gx-i), smooth(gy-j)
	n := func(a, b float64) float64 { return hash(int64(i+a), int64(j+b)) }
	return 0.06 * ((n(0, 0)*(1-fx)+n(1, 0)*fx)*(1-fy) + (n(0, 1)*(1-fx)+n(1, 1)*fx)*fy)
}

// ground is the surface without the bowls.
func (s *site) ground(p xy) float64 {
	q := strip(p)
	z := base(q.u) + along(q.v) + lowLot(q) + swaleSag(q)
	quiet := smooth((math.Abs(q.v) - 6) / 6) // the swale's flow line is graded
	z += relief(p) * quiet
	// 5 % away from the wall, then into the general ground; between two houses
	// the lower of the two, so that a swale runs down the side line
	low := math.Inf(1)
	for _, h := range s.houses {
		d, in := toRing(p, h.ring)
		if in {
			d = 0
		}
		if d < 18 {
			low = math.Min(low, z+(1-smooth((d-8)/10))*(h.grade-0.06*d-z))
		}
	}
	if !math.IsInf(low, 1) {
		z = low
	}
	return z
}

// bowl is a closed hollow: a level rim of eight shots and a lowest shot in
// the middle, an eight-sided cone upside down.
type bowl struct {
	lot    string
	centre uv
	radius float64
	depth  float64
	rim    float64
}

// the octagon's area is 2 sqrt 2 r^2, the cone a third of area times depth.
var bowls = []bowl{
	{lot: "B4", centre: uv{276, 36}, radius: 11, depth: 0.75},
	{lot: "A6", centre: uv{456, 270}, radius: 10, depth: 0.60},
}

func (b bowl) ringPoints() []xy {
	f := newFrame(b.centre, 90)
	var out []xy
	for i := 0; i < 8; i++ {
		s, c := math.Sincos(float64(i) * math.Pi / 4)
		out = append(out, f.at(b.radius*c, -b.radius*s)) // clockwise in x-right, so counter-clockwise on the map either way by order
	}
	if signedArea(out) < 0 {
		for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
			out[i], out[j] = out[j], out[i]
		}
	}
	return out
}

// setBowls fixes the rim of each bowl a little under the lowest ground at its
// edge, so that it spills there and nowhere lower.
func (s *site) setBowls() {
	for i := range bowls {
		low := math.Inf(1)
		for _, p := range bowls[i].ringPoints() {
			low = math.Min(low, s.ground(p))
		}
		bowls[i].rim = round(low, 2)
	}
}

// surface is the ground as shot, with the bowls.
func (s *site) surface(p xy) float64 {
	for _, b := range bowls {
		ring := b.ringPoints()
		if _, in := toRing(p, ring); in {
			// height above the bottom grows with the distance to the middle as
			// a share of the way to the rim
			c := at(b.centre)
			share := 0.0
			for k, a := range ring {
				e := ring[(k+1)%8]
				den := (e.x-a.x)*(c.y-a.y) - (e.y-a.y)*(c.x-a.x)
				num := (e.x-a.x)*(p.y-a.y) - (e.y-a.y)*(p.x-a.x)
				share = math.Max(share, 1-num/den)
			}
			return b.rim - b.depth*(1-share)
		}
	}
	return s.ground(p)
}
