//go:build !amd64 || purego

package zone

import "github.com/paulmach/orb"

// vector: there is nothing in assembly to ask (vector_amd64.go).
const vector = false

func signs(xs, ys, gs *float64, n int64, s *side, sides int64, t *sight) {}
func turn(to *vec, steps *step, n int64, at, u *vec)                     {}
func shift(to *orb.Point, pts *vec, n int64, by *vec)                    {}
func twice(pts *vec, n int64) float64                                    { return 0 }
