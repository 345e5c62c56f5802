package profile

// How sure a fall is: the chance that a run ends with less than the least fall,
// given how well levels are shot and pipe is laid.
//
// The model, stated so that it can be doubted: each error is normal with mean
// zero; the level to which an end is set out errs by Ground, once an end, and
// independently of the other end; the pipe is laid with an error of Laying at
// each end, all independent. A laser set wrong, a datum mixed up or a settling
// trench is not in it.

import (
	"math"

	"fallwright/geo/unit"
)

// Errors are standard errors, in metres.
type Errors struct {
	Ground unit.Length // of the level that an end is set out from
	Laying unit.Length // of the invert at an end
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
