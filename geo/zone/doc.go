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
//   - Trench gives the Zone of a lot: where the trench may lie; a Workspace does
//     so for many lots without memory for each. CentreLine
//     gives the zone of the trench's middle, half its width further in.
//     A zone that is empty always says why. Zone.MeasureRemoved tells how much
//     ground each thing takes.
//   - Zone.Passages finds narrow places, narrowest first, with what holds each
//     side; a side yard is named. Zone.PiecesNear tells which pieces are in
//     reach of an inlet.
//   - Neighbours holds all parcels: Roles says which edges are front, side and
//     rear and whether that is a guess; Borders lists gaps and overlaps.
//   - Keeps gives the verdict on a drawn line; CheckLine measures it too: each
//     Stretch outside or too close, how far short, of what, and the move that
//     mends it; the strip of the fence posts.
//   - LineAccuracy gives the chance that a trench lies over the true lot line,
//     the clearance that brings it under the chance allowed, and which lines'
//     pins would settle it; the model is stated in accuracy.go.
//   - Walls takes a roof outline in by its overhang.
//   - Strip, Merge, Near and Between put areas together before a zone is asked
//     for in them.
//
// How a zone is found: the usual lot goes through a routine of this package
// (direct.go, walk.go, sight.go, cut.go, link.go) whose answer is certified by exact
// distances before it is used (certify.go); what it leaves, and every empty zone,
// goes to an overlay of exact pieces by GEOS (zone.go, stroke.go), which is also
// its reference in the tests. That a lot and its things are valid shapes is told by
// the same routine where each is one ring, else by package shape. limit.go refuses by
// name what would take more than seconds.
//
// The direct routine is safe for use by several goroutines at once, and so is
// all else here.
//
// It may import geo/unit, geo/shape, geo/internal/geosop, orb and
// tidwall/rtree; it is pure.
//
// Sources: the routine follows the idea of offsetting by winding of Chen and
// McMains, "Polygon Offsetting by Computing Winding Numbers", 2005, and of the
// clipping of Greiner and Hormann, 1998, with parts cut by distance in place of
// crossings found (both from memory); the model of line accuracy is stated in
// accuracy.go.
package zone
