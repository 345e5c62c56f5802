package profile

// Flows: the rational method over the tree, with the time of travel.
//
//	Q = max over t of i(t) · A(t) / 3.6e6 + stated
//
//	symbol   meaning                                              unit
//	i(t)     rain intensity of duration t                         mm/h
//	A(t)     summed C·A whose water has arrived by t              m2
//
// Testing every t at which another area has arrived, and not only the longest,
// keeps a short, tight roof from being thinned out by a long, slow yard.

import (
	"math"

	"fallwright/hydro"
)

// arrival is an area whose water arrives t minutes after the rain begins.
type arrival struct{ t, ca float64 }

type rainfall struct {
	list   []arrival
	span   [][2]int32
	tc     []float64
	i      []float64
	stated []float64
	travel []float64
}

// flows sets s.flow for every reach, with the travel times of the profile at
// hand or without any.
func (s *Solver) flows(p *Problem, laid bool) error {
	n := len(p.Reaches)
	w := &s.rain
	w.span = size(w.span, n)
	w.tc, w.i = size(w.tc, n), size(w.i, n)
	w.stated, w.travel = size(w.stated, n), size(w.travel, n)
	w.list = w.list[:0]
	for _, i := range s.order {
		r, g := &p.Reaches[i], &s.geo[i]
		a := len(w.list)
		for _, f := range r.Inflow {
			if f.CA > 0 {
				w.list = append(w.list, arrival{float64(f.Tc), float64(f.CA)})
			}
		}
		stated := float64(r.Stated)
		for _, c := range s.children[g.firstChild:g.lastChild] {
			stated += w.stated[c]
			for x := w.span[c][0]; x < w.span[c][1]; x++ {
				e := w.list[x]
				w.list = append(w.list, arrival{e.t + w.travel[c], e.ca})
			}
		}
		own := w.list[a:]
		for x := 1; x < len(own); x++ { // mostly in order already
			for y := x; y > 0 && own[y].t < own[y-1].t; y-- {
				own[y], own[y-1] = own[y-1], own[y]
			}
		}
		w.span[i] = [2]int32{int32(a), int32(len(w.list))}
		w.stated[i] = stated
		q, t, in, err := peak(own, p.Intensity)
		if err != nil {
			return err
		}
		w.tc[i], w.i[i] = t, in
		s.flow[i] = q + stated
		w.travel[i] = 0
		if laid && s.flow[i] > 0 {
			b := &s.pipes[s.pipeOf[i]]
			slope := (s.upOf[i] - s.downOf[i]) / g.length
			full := b.full * math.Sqrt(slope) * float64(r.Count)
			v := full / float64(r.Count) / (math.Pi / 4 * b.inside * b.inside)
			w.travel[i] = g.length / (v * quickVelocity(s.flow[i]/full)) / 60
		}
	}
	return nil
}

// peak returns the greatest i(t)·A(t) in m3/s with its t and i. The list
// ascends by t.
func peak(list []arrival, intensity func(hydro.Duration) hydro.Intensity) (q, t, in float64, err error) {
	if len(list) == 0 {
		return 0, 0, 0, nil
	}
	var sum float64
	for _, e := range list {
		sum += e.ca
	}
	rain := func(t float64) (float64, error) {
		v := float64(intensity(hydro.Duration(t)))
		if !(v >= 0) || math.IsInf(v, 0) {
			return 0, bad("rain intensity", v, 0, math.Inf(1), "mm/h")
		}
		return v, nil
	}
	most, err := rain(list[0].t)
	if err != nil {
		return 0, 0, 0, err
	}
	best := -1.0
	for x := len(list) - 1; x >= 0; x-- {
		if x < len(list)-1 && list[x].t == list[x+1].t {
			sum -= list[x].ca
			continue
		}
		// No earlier time can beat the best once its area at the heaviest
		// rain does not.
		if sum*most <= best {
			break
		}
		v, err := rain(list[x].t)
		if err != nil {
			return 0, 0, 0, err
		}
		if v*sum > best {
			best, t, in = v*sum, list[x].t, v
		}
		sum -= list[x].ca
	}
	return best / 3.6e6, t, in, nil
}

// fullFlow is Manning's full flow of one circular pipe in m3/s: d inside
// diameter in m, n roughness, s slope.
func fullFlow(d, n, s float64) float64 {
	return math.Pi / 4 * d * d * math.Pow(d/4, 2.0/3) * math.Sqrt(s) / n
}

// partFull returns flow and velocity over those of the full pipe at the wetted
// angle theta (2·acos(1-2y/D)).
func partFull(theta float64) (q, v float64) {
	if theta <= 0 {
		return 0, 0
	}
	r := (theta - math.Sin(theta)) / theta // hydraulic radius over D/4
	v = math.Cbrt(r * r)
	return v * (theta - math.Sin(theta)) / (2 * math.Pi), v
}

// wetted solves partFull's q for the lesser theta; q in [0, 1].
func wetted(q float64) float64 {
	lo, hi := 0.0, 4.5 // q(4.5) > 1, and q rises to there
	for range 60 {
		m := (lo + hi) / 2
		if v, _ := partFull(m); v < q {
			lo = m
		} else {
			hi = m
		}
	}
	return (lo + hi) / 2
}

const speedSteps = 256

// speeds is V/Vfull at Q/Qfull = (j/speedSteps)^3: the cube spreads the steep
// beginning.
var speeds = func() (t [speedSteps + 1]float64) {
	for j := 1; j <= speedSteps; j++ {
		x := float64(j) / speedSteps
		_, t[j] = partFull(wetted(x * x * x))
	}
	return t
}()

// quickVelocity is V/Vfull at q = Q/Qfull, read off a table, within 1e-4 of
// the solved value above q = 1e-4. Above full it is 1.
func quickVelocity(q float64) float64 {
	if q >= 1 {
		return 1
	}
	x := math.Cbrt(q) * speedSteps
	j := int(x)
	return speeds[j] + (speeds[j+1]-speeds[j])*(x-float64(j))
}
