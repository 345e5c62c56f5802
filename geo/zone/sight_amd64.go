//go:build !purego

package zone

import "golang.org/x/sys/cpu"

// vector tells whether signs can be asked.
var vector = cpu.X86.HasAVX

// signs is sight.tell for n vertices, four at a time, and reads up to three behind
// them; see sight_amd64.s.
//
//go:noescape
func signs(xs, ys, gs *float64, n int64, p *probe, t *sight)
