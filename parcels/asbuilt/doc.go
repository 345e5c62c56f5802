// Package asbuilt holds shots on the laid pipe, taken before backfill, against
// the plan: slope of each stretch, bellies and back-falls with the depth and
// volume of water left standing, cover, offset from the line, distance to the
// lot line.
//
// What is wrong with the pipe is told apart from what is wrong with the file.
// Northing and easting swapped, feet for metres, another datum, the top of the
// pipe shot for its invert, shots of another run, ends left out: each has a
// finding code of its own (Code constants), and none of them is put right in
// silence. Where a fault of the file leaves something that can still be
// judged, it is: a constant shift of all levels leaves slopes and bellies
// as they are, but nothing is said of cover.
//
// Everything is in the site's plane: metres, easting then northing; elevations
// in metres above the site's datum. Depths of standing water are hydrostatic:
// what stays behind the next sill downstream when the flow has ended.
//
// The room may import parcels and its readers (parcels/exchange/survey),
// geo/frame, geo/shape, geo/unit. Sources: trade practice P-157 (tolerance of
// a point on grade 6 to 12 mm, no back-fall), P-158 (pipe lifted by stone),
// P-159 (shoot every fitting and every 25 ft), P-17 and P-22 (swapped
// northing and easting, mixed units), P-4 (mixed datums).
package asbuilt
