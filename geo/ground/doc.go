// Package ground holds elevation surfaces: a triangulation of survey shots,
// breaklines and contours, or a raster. It owns what the elevation is at a
// place, along a line and how sure that is; it knows nothing of water.
//
// Everything is in the site's plane, metres, easting then northing; heights
// are unit.Elevation above the site's one datum. Outside a surface there is no
// number: the second result is false, or the profile has a gap.
//
// Both kinds of surface are made of plane triangles, so that a profile is a
// straight line between neighbouring stations and nothing hides between them.
// A raster is the triangulation of its cell centres (see Raster), not bilinear
// patches, whose profiles bend between the stations.
//
// Contours draws the contours of a surface of either kind.
//
// May import geo/unit and geo/shape. Sources: constrained Delaunay
// triangulation by incremental insertion and cavity retriangulation (Anglada
// 1997, from memory); exact predicates by floating-point expansions (Shewchuk
// 1997, from memory: his error bounds, our code, fused multiply-add in place of
// splitting).
package ground
