package shape

// Cleaning that moves no line by more than a millimetre, and says what it did.

import (
	"github.com/paulmach/orb"

	"fallwright/geo/unit"
)

// Weld is the distance within which a vertex counts as a repetition of the one
// before it. It serves cleaning only and is no allowance in any verdict.
const Weld = unit.Millimetre

// ChangeKind says what Clean did.
type ChangeKind string

const (
	// RepeatedVertex: a vertex within Weld of the one before it was dropped.
	RepeatedVertex ChangeKind = "repeated-vertex"
	// RingReversed: a ring was turned to run the other way.
	RingReversed ChangeKind = "ring-reversed"
)

// Change is one thing Clean did. The place is in the geometry as given; Moved
// is how far the vertex lay from the one kept in its stead, 0 for a reversal.
type Change struct {
	Kind  ChangeKind
	Spot  Spot
	At    orb.Point
	Moved unit.Length
}

// Cleaned is a shape after Clean. Edge[p][r][e] is the edge of the input that
// edge e of ring r of part p comes from, so that what is known edge by edge
// (roles, accuracies) follows.
type Cleaned struct {
	Shape   orb.MultiPolygon
	Edge    [][][]int
	Changes []Change
}

// Clean turns shells counter-clockwise and holes clockwise and drops vertices
// within Weld of the vertex kept before them. The input is valid (see Check)
// and is not changed. A ring that this leaves with fewer than three corners, a
// faulty shape before or after, is refused with the faults found, first first.
func Clean(mp orb.MultiPolygon) (Cleaned, []*InvalidError) {
	if faults := Check(mp); len(faults) > 0 {
		return Cleaned{}, faults
	}
	out := Cleaned{Shape: make(orb.MultiPolygon, len(mp)), Edge: make([][][]int, len(mp))}
	dropped := false
	for i, poly := range mp {
		for j, r := range poly {
			ring, edge := make(orb.Ring, 0, len(r)), make([]int, 0, len(r))
			n := len(r) - 1
			for k := 0; k < n; k++ {
				spot := Spot{i, j, k}
				if len(ring) > 0 {
					if d := unit.Length(hypot(ring[len(ring)-1], r[k])); d <= Weld {
						out.Changes = append(out.Changes, Change{RepeatedVertex, spot, r[k], d})
						edge[len(edge)-1] = k // the edge that leaves the kept vertex
						dropped = true
						continue
					}
				}
				ring, edge = append(ring, r[k]), append(edge, k)
			}
			for len(ring) > 1 {
				last := len(ring) - 1
				d := unit.Length(hypot(ring[last], ring[0]))
				if d > Weld {
					break
				}
				out.Changes = append(out.Changes, Change{RepeatedVertex, Spot{i, j, edge[last]}, ring[last], d})
				ring, edge = ring[:last], edge[:last]
				dropped = true
			}
			if len(ring) < 3 {
				at := r[0]
				return Cleaned{}, []*InvalidError{{Rule: RuleRingNoArea, Part: i, Ring: j, At: &at, Detail: "without vertices closer than 1 mm the ring has no area; draw it again or take it out"}}
			}
			ring = append(ring, ring[0])
			if (RingArea(ring) < 0) == (j == 0) {
				out.Changes = append(out.Changes, Change{RingReversed, Spot{i, j, 0}, r[0], 0})
				ring.Reverse()
				for a, b := 0, len(edge)-1; a < b; a, b = a+1, b-1 {
					edge[a], edge[b] = edge[b], edge[a]
				}
			}
			out.Shape[i] = append(out.Shape[i], ring)
			out.Edge[i] = append(out.Edge[i], edge)
		}
	}
	if dropped {
		if faults := Check(out.Shape); len(faults) > 0 {
			return Cleaned{}, faults
		}
	}
	return out, nil
}
