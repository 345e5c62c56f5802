//go:build !purego

package zone

import "golang.org/x/sys/cpu"

// vector tells whether signs can be asked.
var vector = cpu.X86.HasAVX

// signs is sight.tell for n vertices, four at a time, and some sides; it reads up to
// three vertices more. See sight_amd64.s.
//
//go:noescape
func signs(xs, ys, gs *float64, n int64, s *side, sides int64, t *sight)
