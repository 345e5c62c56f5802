// Package shape owns the plain geometry of the plane: whether a shape is valid
// and where it is not, exact predicates, distances, places along a line.
//
// Unit and frame: every coordinate is in metres in the plane of one site
// (package frame), its origin near the site. Types are those of orb. A ring is
// closed: its last position repeats its first. Vertex n of a ring is its n-th
// position, edge n runs from vertex n to vertex n+1, both counted from 0.
//
// The exported pieces:
//
//   - Check lists every fault of a geometry as *InvalidError with its place;
//     Clean orients shells and drops repeated vertices and says what it did.
//   - Orient is the exact sign of a turn; Cross says how two segments meet;
//     Locate places a point inside, on the boundary of, or outside an area.
//   - PointSegment, SegmentSegment, PointLine, LineLine, LineBoundary are
//     distances with the two nearest points.
//   - Nearest, PointAt, Substring work by the distance along a line from its
//     start.
//   - Length, Area, RingArea measure.
//
// Tolerances, never mixed: Orient, Cross and Locate decide exactly for the
// coordinates as given; Weld (1 mm) is for cleaning input only; no function
// here has a legal tolerance.
//
// It may import geo/unit and orb; it is pure.
//
// Sources: J. R. Shewchuk, "Adaptive Precision Floating-Point Arithmetic and
// Fast Robust Geometric Predicates", 1997 (error bound and expansions, from
// memory, held by tests against rational arithmetic); OGC 06-103r4 Simple
// Feature Access, 6.1.11.1 (what makes a polygon valid).
package shape
