// Package yardwater joins a site with the water over its ground: which hollows
// hold water and whether anything takes it, what runs over each lot line before
// and after the plan's basins and downspout lines take their part, where each
// grate's water goes when it is clogged, and whether the ground falls away from
// the houses. The working out is geo/overland's; here it meets lots, intakes,
// criteria and words.
//
// Lengths and levels as in package parcels. Flows are not made here: line flows
// are areas times runoff coefficients (C A, m2), which the rational method
// multiplies by the intensity.
//
// What it says of the ground is as good as the ground: a raster of it with
// cells of Report.Cell. May import parcels, geo/ground, geo/overland, geo/shape
// and geo/unit.
package yardwater
