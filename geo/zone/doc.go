// Package zone owns the trench zone: where on a lot a trench, edge to edge, may
// lie.
//
// Unit and frame: metres in the plane of one site (package frame). Distances
// are named types of package unit. Arcs lie on the safe side: a zone is never
// closer to a line or a thing than asked, and never more than a millimetre
// further off. Verdicts on a drawn line (CheckLine) don't use the polygon at
// all but exact distances; touching at exactly the distance passes.
//
// The exported pieces:
//
//   - Lot is a parcel with the clearance of each of its lines; KeepOut is a
//     thing that takes ground away with the clearance it asks for.
//   - Trench gives the Zone of a lot: where the trench may lie. CentreLine
//     gives the zone of the trench's middle, half its width further in.
//     A zone that is empty always says why.
//   - Zone.Passages finds narrow places, narrowest first, with what holds each
//     side; a side yard is named. Zone.PiecesNear tells which pieces are in
//     reach of an inlet.
//   - Neighbours holds all parcels: Roles says which edges are front, side and
//     rear and whether that is a guess; Borders lists gaps and overlaps.
//   - CheckLine measures a drawn line: each Stretch outside or too close, how
//     far short, of what, and the move that mends it; the strip of the fence
//     posts.
//   - LineAccuracy gives the chance that a trench lies over the true lot line,
//     the clearance that brings it under the chance allowed, and which lines'
//     pins would settle it; the model is stated in accuracy.go.
//   - Walls takes a roof outline in by its overhang.
//   - Strip, Merge, Near and Between put areas together before a zone is asked
//     for in them.
//
// It may import geo/unit, geo/shape, geo/internal/geosop and orb; it is pure.
package zone
