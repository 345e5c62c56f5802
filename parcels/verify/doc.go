// Package verify is the second piece of code: it judges a plan against the
// site document it was made from, with arithmetic of its own, and shares no
// code with the planner, the geometry rooms or the readers. It takes bytes and
// gives rows: what was checked, whether it holds, the worst place.
//
// # What it stands on
//
// The standard library and the types of package parcels. The reading of JSON,
// the units, the transverse Mercator plane (Krüger's series in n to the sixth
// order; Karney, J. Geodesy 85, 2011, equations 7 to 11 and 35), distances,
// the ground surface, Manning's formula and the rainfall interpolation are all
// written here a second time. Slow and plain is preferred to quick and clever.
//
// # Exactness
//
// Clearances and containment are decided exactly, given the plane coordinates:
// a distance worked in float64 decides only where it is further from the limit
// than a proven bound of its rounding error; else the same question is decided
// with rational numbers. A number counts as what its shortest decimal says, so
// that 0.6096 m is 2 ft exactly. In a projected system the rationals start at
// the document's own numbers; in longitude and latitude at the plane
// coordinates, whose own error is under a micrometre within 100 km of the
// centre. A roof outline's wall is worked in float64 and must be cleared by a
// micrometre more. What can't be decided counts as failing.
//
// # Limits stated
//
//   - Lengths and falls may differ by 1 mm and what rounding of coordinates does.
//   - The ground is the Delaunay triangulation of the shots, constrained by
//     breaklines and contours, found triangle by triangle. Where more than three
//     shots lie on one circle (any square grid), every triangulation of them is
//     a right one and the ground is an interval; a plan is held to what no
//     choice of diagonals allows, and no more.
//   - A terrain raster is not in the document: the ground is then the plan's own
//     statement and the row says so.
//   - Where line_roles is silent and the criteria set distances by role, an edge
//     along a street area of the document is held to the front's, each other to
//     the least of the three; where no street is by the lot, the plan must tell
//     that the roles were guessed.
//   - The chance that a trench lies over a true lot line is worked line by line, of
//     the outer ring; where one line alone makes it more than is allowed the plan
//     must tell so, not proven. The chance over several is not summed.
//   - An overlap with another lot must be told where the other's outline comes more
//     than 6 mm within the lot, looked for every 0.1 m; that a lot lies wholly within
//     another, where each end of its lines does and the other's outline nowhere comes
//     within it. Gaps are not looked for.
//   - A downspout's share of its roof is worked along the eaves and held to one
//     per cent of the roof; the finding roof_shared must tell it.
//   - The first run may be 60 mm longer than the shortest way to ground that the
//     lot's widest trench may use: the zone may have been made for larger pipes.
//   - A layer in another reference system than the document is not judged by:
//     Verify returns an error. It has no projections but its own plane.
//   - A run of a shared trunk that lies by right of an easement is held, stretch by
//     stretch and in float64 with a micrometre more, to the zones of the plan's
//     lots and the easements that it names. Where lots are divided among outlets, all
//     of a lot's water must come to the one named, and trenches of two trunks may not
//     meet (in float64).
//   - A remedy is held to the criteria and to the plan that it stands in; the plan of
//     a remedy is not seen here, so that its price and its checked are the planner's.
//   - Prices, alternatives and bounds are not worked again; of a cost only that it
//     is not under its own bound.
//
// # Told
//
// A criterion broken may stand only in a plan whose verdict is not_feasible and
// only where a stop finding names the run or the point: an infeasible plan is
// still sent, with its reasons. Such a check passes and its detail says `told`.
// The code of the stop must be of the rule's kind. Arithmetic, connectivity of
// what is drawn, and leaving the lot are never excused, but for a perforated run
// that the document itself draws over the line.
package verify
