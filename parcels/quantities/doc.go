// Package quantities reckons what a plan takes to build, from its long sections
// and the criteria alone: digging by depth class, stone, fabric, pipe, fittings,
// what is hauled away, what is put back; and turns it into money by a price book.
//
// Volumes of digging are bank volumes by average end area between the stations of
// the profile; what is hauled is loose (bank times swell). Net quantities stand in
// the unit that is measured, order quantities in the unit that a yard sells: feet,
// cubic yards, short tons, square yards, sticks, coils, pieces; or in SI metres,
// cubic metres, tonnes. P-n is the note of that number in parcels/PRACTICE.md.
//
// It may import parcels, parcels/siting, parcels/display, geo/shape and geo/unit. It
// uses no clock and no file: the same plan gives the same rows.
package quantities
