package jobs

// The order of the work: along a Hilbert curve over the items' centres, so that
// a chunk is one patch of ground and neighbours' features are read once.

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// curveBits is the resolution of the curve: 2^16 cells a side.
const curveBits = 16

// Order returns the indices of the points along a Hilbert curve over their
// bounds; equal places stay in the order given. Points must be finite.
func Order(points []orb.Point) []int {
	idx := make([]int, len(points))
	if len(points) == 0 {
		return idx
	}
	b := orb.Bound{Min: points[0], Max: points[0]}
	for _, p := range points {
		b = b.Extend(p)
	}
	side := math.Max(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1])
	scale := 0.0
	if side > 0 {
		scale = (1<<curveBits - 1) / side
	}
	keys := make([]uint64, len(points))
	for i, p := range points {
		idx[i] = i
		keys[i] = hilbert(uint32((p[0]-b.Min[0])*scale), uint32((p[1]-b.Min[1])*scale))
	}
	slices.SortStableFunc(idx, func(i, j int) int {
		switch {
		case keys[i] < keys[j]:
			return -1
		case keys[i] > keys[j]:
			return 1
		}
		return 0
	})
	return idx
}

// hilbert is the distance along the curve of a cell: quadrant by quadrant,
// turning the rest into the quadrant's own axes.
func hilbert(x, y uint32) uint64 {
	var d uint64
	for s := uint32(1) << (curveBits - 1); s > 0; s >>= 1 {
		rx, ry := x&s != 0, y&s != 0
		var q uint64
		switch {
		case rx && !ry:
			q = 3
		case rx && ry:
			q = 2
		case ry:
			q = 1
		}
		d += q * uint64(s) * uint64(s)
		if !ry {
			if rx {
				x, y = ^x, ^y
			}
			x, y = y, x
		}
		x, y = x&(s-1), y&(s-1)
	}
	return d
}
