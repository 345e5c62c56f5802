//go:build !amd64 || purego

package zone

// vector: there is no signs to ask.
const vector = false

func signs(xs, ys, gs *float64, n int64, s *side, sides int64, t *sight) {}
