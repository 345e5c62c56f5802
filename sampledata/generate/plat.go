package main

// The plat. Lots are laid out in a bent strip: u runs along the rear line of
// the middle block (the spine, an arc of radius bend), v square to it, both in
// feet. Every corner is given in u, v and mapped to the state plane; lines
// between corners are straight. Neighbours share their corners exactly, so
// that lots neither gap nor overlap.

import "math"

type xy struct{ x, y float64 }

type uv struct{ u, v float64 }

const (
	bend     = 2200.0 // radius of the spine
	rotation = 17.35 * math.Pi / 180
	east0    = 2131400.0 // of u = 0, v = 0
	north0   = 598250.0

	bulbU, bulbV, bulbR = 600.0, 155.0, 50.0 // turning circle of the north street
)

// at maps the strip to the state plane.
func at(p uv) xy {
	th := p.u / bend
	x := (bend - p.v) * math.Sin(th)
	y := bend - (bend-p.v)*math.Cos(th)
	s, c := math.Sincos(rotation)
	return xy{east0 + x*c - y*s, north0 + x*s + y*c}
}

// strip is the inverse of at.
func strip(p xy) uv {
	s, c := math.Sincos(rotation)
	dx, dy := p.x-east0, p.y-north0
	x, y := dx*c+dy*s, -dx*s+dy*c
	return uv{bend * math.Atan2(x, bend-y), bend - math.Hypot(x, bend-y)}
}

// heading is the direction in the state plane, in radians, of an angle in
// degrees from the u axis at u.
func heading(u, deg float64) float64 { return u/bend + rotation + deg*math.Pi/180 }

// bulb is a point of the turning circle, deg from the u axis. The stretch of
// the strip is taken out so that the circle is round on the ground.
func bulb(deg float64) uv {
	s, c := math.Sincos(deg * math.Pi / 180)
	v := bulbV + bulbR*s
	return uv{bulbU + bulbR*c*bend/(bend-v), v}
}

// bulbArc gives the points of the turning circle from one angle to another,
// every ten degrees, both ends included.
func bulbArc(from, to float64) []uv {
	step := 10.0
	if to < from {
		step = -10
	}
	var out []uv
	for d := from; (step > 0 && d <= to+1e-9) || (step < 0 && d >= to-1e-9); d += step {
		out = append(out, bulb(d))
	}
	return out
}

// edge roles
const (
	front = "front"
	side  = "side"
	rear  = "rear"
)

// corner is a lot corner with the role of the line that begins there.
type corner struct {
	uv
	role string
}

type lot struct {
	id    string
	parts [][]corner // counter-clockwise
	row   byte
}

func line(role string, pts ...uv) []corner {
	out := make([]corner, len(pts))
	for i, p := range pts {
		out[i] = corner{p, role}
	}
	return out
}

func join(parts ...[]corner) []corner {
	var out []corner
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

// quad is a plain lot between two side lines. low and high are the u of the
// side lines at vLow and vHigh; roles of those two lines follow.
func quad(l, r [2]float64, vLow, vHigh float64, roleLow, roleHigh string) []corner {
	return []corner{
		{uv{l[0], vLow}, roleLow}, {uv{r[0], vLow}, side},
		{uv{r[1], vHigh}, roleHigh}, {uv{l[1], vHigh}, side},
	}
}

// Breaks of the side lines along front and rear.
var (
	aFront = []float64{0, 84, 166, 246, 330, 412, 492}
	aRear  = []float64{0, 80, 168, 250, 326, 416, 500}
	bFront = []float64{0, 78, 158, 240, 322, 404, 486}
	bRear  = []float64{0, 82, 160, 236, 318, 402, 488}
	cFront = []float64{0, 86, 172, 258, 344, 430, 516, 602, 688, 780}
	cRear  = []float64{0, 84, 170, 262, 340, 428, 520, 598, 692, 780}
	dFront = []float64{0, 88, 176, 262, 346, 434, 520, 606, 694, 780}
	dRear  = []float64{0, 84, 180, 262, 350, 430, 524, 608, 690, 780}
)

const east = 780.0 // end of the subdivision

// the shape of the flag lot's pole and of its neighbours' lines
var (
	poleNW = uv{680, 226}
	poleSE = uv{701, 207}
)

func plat() []lot {
	var lots []lot
	add := func(id string, parts ...[]corner) { lots = append(lots, lot{id: id, row: id[0], parts: parts}) }
	name := func(row string, i int) string { return row + string(rune('1'+i)) }

	for i := 0; i < 6; i++ {
		add(name("A", i), quad([2]float64{aFront[i], aRear[i]}, [2]float64{aFront[i+1], aRear[i+1]}, 180, 310, front, rear))
	}
	// A7: partly on the street, partly on the turning circle.
	arc := bulbArc(150, 100)
	add("A7", join(line(front, uv{492, 180}), line(front, arc[:len(arc)-1]...), line(side, arc[len(arc)-1]), line(rear, uv{588, 310}), line(side, uv{500, 310})))
	// A8: pie.
	arc = bulbArc(100, 50)
	add("A8", join(line(front, arc[:len(arc)-1]...), line(side, arc[len(arc)-1], poleNW), line(rear, uv{684, 310}), line(side, uv{588, 310})))
	// A9: flag.
	arc = bulbArc(50, 20)
	add("A9", join(line(front, arc[:len(arc)-1]...), line(side, arc[len(arc)-1], poleSE), line(side, uv{east, 204}), line(rear, uv{east, 310}), line(side, uv{684, 310}, poleNW)))

	for i := 0; i < 6; i++ {
		add(name("B", i), quad([2]float64{bRear[i], bFront[i]}, [2]float64{bRear[i+1], bFront[i+1]}, 0, 130, rear, front))
	}
	arc = bulbArc(-90, -150)
	add("B7", join(line(rear, uv{488, 0}), line(side, uv{648, 0}), line(front, arc...), line(side, uv{486, 130})))
	arc = bulbArc(-30, -90)
	add("B8", join(line(rear, uv{648, 0}), line(side, uv{east, 0}), line(side, uv{east, 88}), line(front, arc[:len(arc)-1]...), line(side, arc[len(arc)-1])))
	arc = bulbArc(20, -30)
	add("B9", join(line(front, arc[:len(arc)-1]...), line(side, arc[len(arc)-1]), line(rear, uv{east, 88}), line(side, uv{east, 204}, poleSE)))

	for i := 0; i < 9; i++ {
		switch name("C", i) {
		case "C6": // L: takes the ground behind C7
			add("C6", join(line(front, uv{430, -130}), line(side, uv{516, -130}, uv{517, -62}, uv{599.85, -60}), line(rear, uv{598, 0}), line(side, uv{428, 0})))
		case "C7":
			add("C7", join(line(front, uv{516, -130}), line(side, uv{602, -130}), line(rear, uv{599.85, -60}), line(side, uv{517, -62})))
		case "C8":
			add("C8", join(line(front, uv{602, -130}), line(side, uv{688, -130}), line(rear, uv{692, 0}), line(side, uv{598, 0}, uv{599.85, -60})))
		default:
			add(name("C", i), quad([2]float64{cFront[i], cRear[i]}, [2]float64{cFront[i+1], cRear[i+1]}, -130, 0, front, rear))
		}
	}
	for i := 0; i < 8; i++ {
		add(name("D", i), quad([2]float64{dRear[i], dFront[i]}, [2]float64{dRear[i+1], dFront[i+1]}, -310, -180, rear, front))
	}
	// D9: a path, which is no lot, cuts off its south-east corner.
	add("D9",
		join(line(rear, uv{690, -310}), line(side, uv{708, -310}, uv{east, -232}), line(front, uv{east, -180}), line(side, uv{694, -180})),
		join(line(rear, uv{728, -310}), line(side, uv{east, -310}, uv{east, -254})))

	insertTouching(lots)
	return lots
}

// insertTouching puts every lot corner that lies on the spine inside another
// lot's line into that line, so that both sides have the same corners.
func insertTouching(lots []lot) {
	var us []float64
	for _, l := range lots {
		for _, part := range l.parts {
			for _, c := range part {
				if c.v == 0 {
					us = append(us, c.u)
				}
			}
		}
	}
	for i := range lots {
		for k, part := range lots[i].parts {
			var out []corner
			for j, c := range part {
				out = append(out, c)
				n := part[(j+1)%len(part)]
				if c.v != 0 || n.v != 0 {
					continue
				}
				for u := c.u; ; {
					next, found := 0.0, false
					for _, w := range us {
						between := (w-u)*(n.u-w) > 0
						if between && (!found || math.Abs(w-u) < math.Abs(next-u)) {
							next, found = w, true
						}
					}
					if !found {
						break
					}
					out = append(out, corner{uv{next, 0}, c.role})
					u = next
				}
			}
			lots[i].parts[k] = out
		}
	}
}

// streetAreas are the rights of way: the collector on the west, the north
// street with its turning circle, the south street.
func streetAreas() []struct {
	id   string
	ring []uv
} {
	north := []uv{{0, 130}, {78, 130}, {158, 130}, {240, 130}, {322, 130}, {404, 130}, {486, 130}}
	north = append(north, bulbArc(-150, 150)...)
	for i := len(aFront) - 1; i >= 0; i-- {
		north = append(north, uv{aFront[i], 180})
	}
	var south []uv
	for _, u := range dFront {
		south = append(south, uv{u, -180})
	}
	for i := len(cFront) - 1; i >= 0; i-- {
		south = append(south, uv{cFront[i], -130})
	}
	west := []uv{{-60, -310}, {0, -310}, {0, -180}, {0, -130}, {0, 0}, {0, 130}, {0, 180}, {0, 310}, {-60, 310}, {-60, 0}}
	return []struct {
		id   string
		ring []uv
	}{{"collector", west}, {"north_street", north}, {"south_street", south}}
}

// frame is a straight local frame on the ground: origin and the direction of
// its y axis (towards the rear); x is to the right of one who looks along y.
type localFrame struct {
	o    xy
	s, c float64
}

func newFrame(origin uv, deg float64) localFrame {
	h := heading(origin.u, deg)
	return localFrame{at(origin), math.Sin(h), math.Cos(h)}
}

func (f localFrame) at(x, y float64) xy {
	return xy{f.o.x + y*f.c + x*f.s, f.o.y + y*f.s - x*f.c}
}

func (f localFrame) ring(pts ...[2]float64) []xy {
	out := make([]xy, len(pts))
	for i, p := range pts {
		out[i] = f.at(p[0], p[1])
	}
	return out
}

func mapAll(pts []uv) []xy {
	out := make([]xy, len(pts))
	for i, p := range pts {
		out[i] = at(p)
	}
	return out
}

func dist(a, b xy) float64 { return math.Hypot(a.x-b.x, a.y-b.y) }

// toSegment is the distance from p to the line a-b.
func toSegment(p, a, b xy) float64 {
	dx, dy := b.x-a.x, b.y-a.y
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = math.Max(0, math.Min(1, ((p.x-a.x)*dx+(p.y-a.y)*dy)/l))
	}
	return math.Hypot(p.x-a.x-t*dx, p.y-a.y-t*dy)
}

// toRing is the distance from p to the ring's line, and whether p is inside.
func toRing(p xy, ring []xy) (float64, bool) {
	d, in := math.Inf(1), false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		d = math.Min(d, toSegment(p, a, b))
		if (a.y > p.y) != (b.y > p.y) && p.x < a.x+(p.y-a.y)/(b.y-a.y)*(b.x-a.x) {
			in = !in
		}
	}
	return d, in
}

func signedArea(ring []xy) float64 {
	var s float64
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		s += (a.x-ring[0].x)*(b.y-ring[0].y) - (b.x-ring[0].x)*(a.y-ring[0].y)
	}
	return s / 2
}

func round(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}
