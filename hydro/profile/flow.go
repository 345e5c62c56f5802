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
	"fallwright/hydro/pipe"
)

// arrival is an area whose water arrives t minutes after the rain begins.
type arrival struct{ t, ca float64 }

type rainfall struct {
	list   []arrival
	span   [][2]int32
	tc     []float64
	i      []float64
	ca     []float64
	stated []float64
	travel []float64

	lastT, lastI float64
}

// flows sets s.flow for every reach, with the travel times of the profile at
// hand or without any.
func (s *Solver) flows(p *Problem, laid bool) error {
	n := len(p.Reaches)
	w := &s.rain
	w.span = size(w.span, n)
	w.tc, w.i, w.ca = size(w.tc, n), size(w.i, n), size(w.ca, n)
	w.stated, w.travel = size(w.stated, n), size(w.travel, n)
	w.list = w.list[:0]
	w.lastI = 0
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
		ca, t, in, err := w.peak(own, p.Intensity)
		if err != nil {
			return err
		}
		w.tc[i], w.i[i], w.ca[i] = t, in, ca
		s.flow[i] = ca*in/3.6e6 + stated
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

// rate asks the rain, and remembers the last answer: the least times of
// concentration come again and again.
func (w *rainfall) rate(t float64, intensity func(hydro.Duration) hydro.Intensity) (float64, error) {
	if t == w.lastT && w.lastI > 0 {
		return w.lastI, nil
	}
	v := float64(intensity(hydro.Duration(t)))
	if !(v >= 0) || math.IsInf(v, 0) {
		return 0, bad("rain intensity", v, 0, math.Inf(1), "mm/h")
	}
	w.lastT, w.lastI = t, v
	return v, nil
}

// peak returns the area, the time and the intensity of the greatest i(t)·A(t).
// The list ascends by t.
func (w *rainfall) peak(list []arrival, intensity func(hydro.Duration) hydro.Intensity) (ca, t, in float64, err error) {
	if len(list) == 0 {
		return 0, 0, 0, nil
	}
	var sum float64
	for _, e := range list {
		sum += e.ca
	}
	most, err := w.rate(list[0].t, intensity)
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
		v := most
		if list[x].t != list[0].t {
			v = float64(intensity(hydro.Duration(list[x].t)))
			if !(v >= 0) || v > most*(1+1e-9) {
				return 0, 0, 0, bad("rain intensity", v, 0, most, "mm/h")
			}
		}
		if v*sum > best {
			best, ca, t, in = v*sum, sum, list[x].t, v
		}
		sum -= list[x].ca
	}
	return ca, t, in, nil
}

const speedSteps = 256

// speeds is V/Vfull at Q/Qfull = (j/speedSteps)^3: the cube spreads the steep
// beginning.
var speeds = func() (t [speedSteps + 1]float64) {
	unitPipe := pipe.Pipe{Diameter: 1, N: 0.01}
	full := fullFlow(unitPipe)
	for j := 1; j <= speedSteps; j++ {
		x := float64(j) / speedSteps
		st, err := unitPipe.State(hydro.Flow(x*x*x*full), 1)
		if err != nil {
			panic(err) // the pipe above is our own
		}
		t[j] = float64(st.Velocity) / (full / (math.Pi / 4))
	}
	return t
}()

// fullFlow is the full flow of a pipe at slope 1, m3/s; it goes with the root
// of the slope. The pipe has been checked.
func fullFlow(p pipe.Pipe) float64 {
	q, err := p.Capacity(1)
	if err != nil {
		panic(err)
	}
	return float64(q)
}

// quickVelocity is V/Vfull at q = Q/Qfull, read off a table, within 1e-4 of
// the solved value above q = 1e-4. Above full it is 1.
func quickVelocity(q float64) float64 {
	if q >= 1 {
		return 1
	}
	x := math.Cbrt(q) * speedSteps
	j := min(int(x), speedSteps-1)
	return speeds[j] + (speeds[j+1]-speeds[j])*(x-float64(j))
}
