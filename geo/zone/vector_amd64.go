//go:build !purego

package zone

// What is reckoned four numbers at a time, in assembly (vector_amd64.s). Each has a
// twin in Go, which gives the same to the last bit.

import (
	"github.com/paulmach/orb"
	"golang.org/x/sys/cpu"
)

// vector tells whether they can be asked.
var vector = cpu.X86.HasAVX

// signs is sight.tell for n vertices and some sides; it reads up to three vertices
// more.
//
//go:noescape
func signs(xs, ys, gs *float64, n int64, s *side, sides int64, t *sight)

// turn is turnSteps for n > 0 steps.
//
//go:noescape
func turn(to *vec, steps *step, n int64, at, u *vec)

// shift is shiftPoints of n > 0.
//
//go:noescape
func shift(to *orb.Point, pts *vec, n int64, by *vec)

// twice is twiceArea of n > 1 points.
//
//go:noescape
func twice(pts *vec, n int64) float64
