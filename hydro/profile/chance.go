package profile

// How sure a fall is: the chance that a run, or one stick of it, ends with
// less than the least fall, given how well levels are shot and pipe is laid.
//
// The model, stated so that it can be doubted: each error is normal with mean
// zero; the level to which an end is set out errs by Ground, once an end, and
// independently of the other end; the pipe is laid with an error of Laying at
// each end and at each joint between, all independent. A laser set wrong, a
// datum mixed up or a settling trench is not in it.

import (
	"fmt"
	"math"

	"fallwright/geo/unit"
)

// Errors are standard errors, in metres.
type Errors struct {
	Ground unit.Length // of the level that an end is set out from
	Laying unit.Length // of the invert at an end or a joint
}

func (e Errors) check() error {
	if !(e.Ground >= 0 && e.Ground < 10) {
		return bad("standard error of the ground", float64(e.Ground), 0, 10, "m")
	}
	if !(e.Laying >= 0 && e.Laying < 10) {
		return bad("standard error of laying", float64(e.Laying), 0, 10, "m")
	}
	return nil
}

// normalBelow is the chance that a standard normal value lies under z.
func normalBelow(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// ChanceUnder returns the chance that a run of the given length, planned with
// the given fall, ends with less than slope least between its ends, and the
// standard error of that fall:
//
//	P = Phi((least·L - fall) / sd),  sd^2 = 2 (ground^2 + laying^2)
//
// Without any error it is 0 or 1. length must be positive.
func ChanceUnder(length, fall unit.Length, least unit.Slope, e Errors) (chance float64, sd unit.Length, err error) {
	if err := e.check(); err != nil {
		return 0, 0, err
	}
	if !(length > 0) || math.IsInf(float64(length), 0) {
		return 0, 0, bad("length of a run", float64(length), 0, math.Inf(1), "m")
	}
	if !finite(float64(fall)) || !finite(float64(least)) {
		return 0, 0, bad("fall of a run", float64(fall), math.Inf(-1), math.Inf(1), "m")
	}
	spare := float64(fall - least.Over(length))
	sd = unit.Length(math.Sqrt2 * math.Hypot(float64(e.Ground), float64(e.Laying)))
	if sd == 0 {
		if spare < 0 {
			return 1, 0, nil
		}
		return 0, 0, nil
	}
	return normalBelow(-spare / float64(sd)), sd, nil
}

// mostSticks bounds the work of ChanceAnyStick.
const mostSticks = 10000

// ChanceAnyStick returns the chance that at least one of the sticks of a run
// ends with less than slope least, each joint off by laying alone (the level of
// the run's ends moves whole sticks together and is left out). Least 0 asks for
// back-fall. Joints between neighbours are shared, so that the sticks are not
// independent: the chance is worked by passing the distribution of the error
// from joint to joint, to about 1e-6.
//
//	m     spare fall of a stick: its planned fall less the least
//	e_j   error of joint j; stick j holds when e_j+1 <= e_j + m
//	f_j   density of e_j where all sticks above it hold
//
//	f_j+1(y) = phi(y) · integral of f_j(x) dx over x >= y - m
func ChanceAnyStick(length, fall, stick unit.Length, least unit.Slope, laying unit.Length) (float64, error) {
	if err := (Errors{Laying: laying}).check(); err != nil {
		return 0, err
	}
	if !(length > 0) || math.IsInf(float64(length), 0) {
		return 0, bad("length of a run", float64(length), 0, math.Inf(1), "m")
	}
	if !(stick > 0) {
		return 0, bad("length of a stick", float64(stick), 0, math.Inf(1), "m")
	}
	if !finite(float64(fall)) || !finite(float64(least)) {
		return 0, bad("fall of a run", float64(fall), math.Inf(-1), math.Inf(1), "m")
	}
	n := int(math.Ceil(float64(length/stick) - 1e-9))
	if n > mostSticks {
		return 0, fmt.Errorf("hydro/profile: %d sticks in a run, at most %d", n, mostSticks)
	}
	per := float64(fall/length - unit.Length(least))
	whole := per * float64(min(stick, length))
	last := per * (float64(length) - float64(n-1)*float64(min(stick, length)))
	if laying == 0 {
		if per < 0 {
			return 1, nil
		}
		return 0, nil
	}
	// Cells of equal width over 7 standard errors on each side; density at the
	// middle of each.
	const cells = 1400
	const width = 14.0 / cells
	var phi, f, above [cells + 1]float64
	for x := range cells {
		z := -7 + (float64(x)+0.5)*width
		phi[x] = normalBelow(z+width/2) - normalBelow(z-width/2)
		f[x] = phi[x]
	}
	for j := range n {
		m := whole
		if j == n-1 {
			m = last
		}
		// above[x]: what lies in cells x and higher
		above[cells] = 0
		for x := cells - 1; x >= 0; x-- {
			above[x] = above[x+1] + f[x]
		}
		shift := m / float64(laying) / width
		for x := range cells {
			// The stick holds when the last error is at least this one less m.
			at := float64(x) + 0.5 - shift
			switch {
			case at <= 0:
				f[x] = phi[x] * above[0]
			case at >= cells:
				f[x] = 0
			default:
				c := int(at)
				f[x] = phi[x] * (above[c+1] + (above[c]-above[c+1])*(1-at+float64(c)))
			}
		}
	}
	held := 0.0
	for x := range cells {
		held += f[x]
	}
	return min(max(1-held, 0), 1), nil
}

// Chance is how sure the falls of a reach are.
type Chance struct {
	// Under: the reach ends with less than its least slope between its ends.
	Under float64
	// Stick: at least one stick of it does.
	Stick float64
	// Back: at least one stick of it falls the wrong way.
	Back float64
}

// Chances returns how sure the falls of each reach of a result are, against
// the least slope of the rules and the size, for pipe in sticks of the given
// length. Where pipes come in coils the length is the distance at which the
// grade is shot.
func Chances(p *Problem, r *Result, e Errors, stick unit.Length) ([]Chance, error) {
	if len(r.Reaches) != len(p.Reaches) {
		return nil, fmt.Errorf("hydro/profile: a result of %d reaches for a problem of %d", len(r.Reaches), len(p.Reaches))
	}
	out := make([]Chance, len(r.Reaches))
	for i := range out {
		l, length := &r.Reaches[i], p.Reaches[i].Length
		fall := l.InvertUp.Above(l.InvertDown)
		least := max(p.Rules.LeastSlope, p.Stock[l.Pipe].LeastSlope)
		var err error
		if out[i].Under, _, err = ChanceUnder(length, fall, least, e); err != nil {
			return nil, err
		}
		if out[i].Stick, err = ChanceAnyStick(length, fall, stick, least, e.Laying); err != nil {
			return nil, err
		}
		if out[i].Back, err = ChanceAnyStick(length, fall, stick, 0, e.Laying); err != nil {
			return nil, err
		}
	}
	return out, nil
}
